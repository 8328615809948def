from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from test_life import EDGE_TYPES, THREE, project, straight

from trialkit import columns as c
from trialkit.edges.life_comparison import compare_lives
from trialkit.errors import UsageError
from trialkit.stats.inference import Sample, difference_interval
from trialkit.stats.ratios import ratio_set

CARBIDE = straight([[[0.10, 0.16]], [[0.20, 0.15]], [[0.24, 0.2]]], kind="carbide_insert", truck="U")
BOTH = pd.concat([THREE, CARBIDE], ignore_index=True)


def test_ratio_of_lives_is_not_the_ratio_of_rates():
    table = compare_lives(project(BOTH)).table
    assert len(table) == 1
    row = table.iloc[0]
    # by hand: 0.8 in / 0.20 against 3 in / 1.5, so twice as long though it wears 7.5 times slower
    assert row[c.ESTIMATE] == pytest.approx(2.0)
    # by hand: Welch-Fieller on the shares of the usable depth, 0.4 0.5 0.6 and 0.2 0.25 0.3 per 1,000 mi
    expected = ratio_set(Sample.of([0.4, 0.5, 0.6]), Sample.of([0.2, 0.25, 0.3]))
    assert row[c.CONF_LOW] == pytest.approx(expected.conf_low, rel=1e-6)
    assert row[c.CONF_HIGH] == pytest.approx(expected.conf_high, rel=1e-6)
    # by hand: the same test decides at a ratio of one
    test = difference_interval(Sample.of([0.4, 0.5, 0.6]), Sample.of([0.2, 0.25, 0.3]))
    assert row[c.P_VALUE] == pytest.approx(test.p_value)
    assert row[c.P_HOLM] == pytest.approx(row[c.P_VALUE])
    assert (row[c.BOUNDED], row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE], row[c.N_PAIRS]) == ("yes", 3, 3, 0)
    assert row[c.METHOD].startswith("different trucks")


def test_sentence_says_between():
    said = compare_lives(
        project(BOTH, labels={"carbide_insert": "carbide insert", "plain_steel": "plain steel"})
    ).sentence()
    assert (
        said.startswith("Carbide insert lasts between ")
        and "times as long as plain steel (best estimate 2.0; 95% interval)" in said
    )


def test_reference_can_be_chosen():
    table = compare_lives(project(BOTH), "carbide_insert").table
    assert table[c.EDGE_TYPE].tolist() == ["plain_steel"]
    assert table[c.ESTIMATE].iloc[0] == pytest.approx(0.5)
    with pytest.raises(UsageError, match=r'"carbide" .*Did you mean "carbide_insert"'):
        compare_lives(project(BOTH), "carbide")


def test_a_slow_type_lasts_at_least():
    slow = straight([[[0.0]], [[0.02]], [[0.04]]], kind="carbide_insert", truck="U")
    result = compare_lives(project(pd.concat([THREE, slow], ignore_index=True)))
    row = result.table.iloc[0]
    assert row[c.BOUNDED] == "no" and math.isnan(row[c.CONF_HIGH]) and row[c.CONF_LOW] > 1
    assert "lasts at least " in result.sentence() and "without an upper end" in result.sentence()
    assert any("no upper end" in note for note in result.notes)


def test_nothing_is_told_by_a_ratio_without_ends():
    wild = straight([[[-0.4]], [[0.1]], [[0.7]]], kind="carbide_insert", truck="U")
    result = compare_lives(project(pd.concat([THREE, wild], ignore_index=True)))
    assert "cannot tell how long" in result.sentence()


def test_no_difference_is_said():
    same = straight([[[0.3]], [[0.4]], [[0.5]]], kind="carbide_insert", truck="U")
    said = compare_lives(project(pd.concat([THREE, same], ignore_index=True))).sentence()
    assert said.startswith("No difference in life between carbide insert and plain steel is shown")


def test_trucks_that_carried_both_are_paired():
    carbide = straight([[[0.16]], [[0.21]], [[0.24]]], kind="carbide_insert")
    carbide[c.MILES_MI] += 2000
    result = compare_lives(project(pd.concat([THREE, carbide], ignore_index=True)))
    row = result.table.iloc[0]
    assert row[c.N_PAIRS] == 3 and row[c.METHOD].startswith("same trucks")
    apart = compare_lives(
        project(pd.concat([THREE, carbide.replace({f"T{i}, front": f"U{i}, front" for i in (1, 2, 3)})]))
    ).table.iloc[0]
    # by hand: lives that rise and fall together over the trucks are compared more closely in pairs
    assert row[c.CONF_HIGH] - row[c.CONF_LOW] < apart[c.CONF_HIGH] - apart[c.CONF_LOW]
    assert any("3 trucks carried both" in note for note in result.notes)


@pytest.mark.parametrize(("shared", "method"), [(1, "pairing left out"), (3, "some trucks carried both")])
def test_trucks_some_of_which_carried_both(shared, method):
    four = straight([[[1.0]], [[1.5]], [[1.8]], [[1.3]]])
    names = {f"T{i}, front": f"U{i}, front" for i in range(shared + 1, 5)}
    carbide = straight([[[0.16]], [[0.21]], [[0.24]], [[0.2]]], kind="carbide_insert").replace(names)
    row = compare_lives(project(pd.concat([four, carbide], ignore_index=True))).table.iloc[0]
    assert row[c.N_PAIRS] == shared and row[c.METHOD].startswith(method)


def test_one_truck_has_a_ratio_without_interval():
    one = straight([[[0.1]]], kind="carbide_insert", truck="U")
    result = compare_lives(project(pd.concat([THREE, one], ignore_index=True)))
    row = result.table.iloc[0]
    assert row[c.ESTIMATE] == pytest.approx(4.0) and math.isnan(row[c.CONF_LOW])
    assert "4.0 times as long as plain steel (no interval)" in result.sentence()
    assert any("one truck" in note for note in result.notes)


def test_one_truck_without_wear_has_no_ratio():
    flat = straight([[[0.0]]], kind="carbide_insert", truck="U")
    said = compare_lives(project(pd.concat([THREE, flat], ignore_index=True))).sentence()
    assert said == "The life of carbide insert cannot be set against that of plain steel."


def test_rising_heights_have_no_ratio():
    rising = straight([[[-0.8]], [[-0.9]], [[-1.0]]], kind="carbide_insert", truck="U")
    said = compare_lives(project(pd.concat([THREE, rising], ignore_index=True))).sentence()
    assert said.endswith("heights rose.")


def test_readings_without_any_error_give_no_interval():
    alike = straight([[[0.2123456789]], [[0.2123456789]]], kind="carbide_insert", truck="U", step=None)
    steel = straight([[[0.5123456789]], [[0.5123456789]]], truck="T", step=None)
    row = compare_lives(project(pd.concat([steel, alike], ignore_index=True))).table.iloc[0]
    assert row[c.METHOD] == "no interval" and math.isnan(row[c.CONF_LOW])


def test_trucks_of_one_type_that_wear_alike_leave_the_spread_of_the_other():
    alike = straight([[[0.2123456789]]] * 3, kind="carbide_insert", truck="U", step=None)
    steel = straight([[[1.2123456789]], [[1.5123456789]], [[1.8123456789]]], step=None)
    row = compare_lives(project(pd.concat([steel, alike], ignore_index=True))).table.iloc[0]
    # by hand: a mean use of 1.5123456789 / 3 with a standard deviation of 0.1 against 0.2123456789 / 0.8, each per 1,000 mi,
    # so (0.5041152 -+ 4.302653 * 0.1 / sqrt(3)) / 0.2654321
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((0.963340, 2.835109), abs=2e-6)


def test_positions_stand_apart():
    wing = straight([[[1.0]], [[1.4]]], kind="carbide_insert", place="wing_left", truck="U")
    result = compare_lives(project(pd.concat([BOTH, wing], ignore_index=True)))
    assert result.table[c.PLOW_POSITION].tolist() == ["front"]
    assert any("the left wing is not compared" in note for note in result.notes)
    both_places = pd.concat(
        [BOTH, wing, straight([[[1.0]], [[1.2]]], place="wing_left", truck="V")], ignore_index=True
    )
    said = compare_lives(project(both_places)).sentences()
    assert len(said) == 2 and said[0].startswith("On the front plow, carbide insert")


def test_a_section_against_a_set_is_said():
    mixed = EDGE_TYPES.assign(**{c.REPLACED_AS: ["set", "section"]})
    result = compare_lives(project(BOTH, mixed))
    assert any("replaced by section and the other as a set" in note for note in result.notes)


def test_nothing_to_compare():
    result = compare_lives(project(THREE))
    assert result.table.empty
    assert result.sentence() == (
        "No edge type is set against the reference: on no plow position could both be measured."
    )


def test_ratio_covers_a_known_truth():
    rng = np.random.default_rng(23)
    held, trials = 0, 50
    # known truth: one station, so 0.8 / 0.3 thousand miles against 3 / 1.5: four thirds
    for _ in range(trials):
        steel = 1.5 * (1 + 0.2 * rng.standard_normal((4, 1, 1)))
        carbide = 0.3 * (1 + 0.2 * rng.standard_normal((4, 1, 1)))
        frame = pd.concat(
            [straight(steel.tolist()), straight(carbide.tolist(), kind="carbide_insert", truck="U")],
            ignore_index=True,
        )
        frame[c.HEIGHT_IN] += 0.01 * rng.standard_normal(len(frame))
        row = compare_lives(project(frame)).table.iloc[0]
        held += row[c.CONF_LOW] <= 4 / 3 and not row[c.CONF_HIGH] < 4 / 3
    # binomial: 50 trials at 0.95 stay above 0.85 but once in 250
    assert held / trials > 0.85
