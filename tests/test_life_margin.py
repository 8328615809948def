"""The agreed margin: verdicts, words, and agreement with the test they rest on."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from test_life import project, straight

from trialkit import columns as c
from trialkit.edges.life_margin import MARGIN, NO_WORSE, NOT_ENOUGH_DATA, NOT_SHOWN, check_margin
from trialkit.errors import UsageError
from trialkit.stats.inference import Sample
from trialkit.stats.ratios import margin_test

STEEL = straight([[[1.4]], [[1.5]], [[1.6]], [[1.5]]])
LABELS = {"plain_steel": "plain steel", "carbide_insert": "carbide insert"}


def against(rates, margin=1.25, truck="C"):
    """Carbide insert has 0.8 in, plain steel 3 in of usable depth."""
    both = pd.concat([STEEL, straight(rates, kind="carbide_insert", truck=truck)], ignore_index=True)
    return check_margin(project(both, labels=LABELS), margin)


def only_row(result):
    assert len(result.table) == 1
    return result.table.iloc[0]


def test_no_worse():
    result = against([[[0.40]], [[0.42]], [[0.38]], [[0.40]]])
    row = only_row(result)
    # by hand: 0.4 / 0.8 in against 1.5 / 3 in: the same use of sets
    assert row[c.ESTIMATE] == pytest.approx(1.0)
    uses = Sample.of([0.5, 0.525, 0.475, 0.5]), Sample.of([1.4 / 3, 0.5, 1.6 / 3, 0.5])
    found = margin_test(*uses, 1.25)
    assert (row[c.P_VALUE], row[c.CONF_HIGH]) == (
        pytest.approx(found.p_value),
        pytest.approx(found.conf_high),
    )
    assert (row[c.VERDICT], row[MARGIN]) == (NO_WORSE, 1.25)
    assert result.sentence() == (
        "Carbide insert is shown to last no worse than plain steel: it uses at most 1.1 times as many sets per mile (95% bound), "
        "fewer than the agreed 1.25 times."
    )


def test_not_shown():
    result = against([[[0.40]], [[0.70]], [[0.30]], [[0.50]]])
    assert only_row(result)[c.VERDICT] == NOT_SHOWN
    assert result.sentence().startswith(
        "It is not shown that carbide insert lasts no worse than plain steel: it may use up to 1."
    )
    assert result.sentence().endswith("agreed was fewer than 1.25 times.")


def test_a_wider_margin_is_easier_to_show():
    rates = [[[0.45]], [[0.52]], [[0.42]], [[0.47]]]
    assert only_row(against(rates, 1.25))[c.VERDICT] == NOT_SHOWN
    assert only_row(against(rates, 2.0))[c.VERDICT] == NO_WORSE


def test_one_truck_is_not_enough():
    result = against([[[0.4]]])
    assert only_row(result)[c.VERDICT] == NOT_ENOUGH_DATA
    assert result.sentence() == (
        "Whether carbide insert lasts no worse than plain steel cannot be told: it takes two trucks with a wear rate of each, "
        "and edges that wore."
    )


def test_trucks_that_carried_both_are_paired():
    rates = [[[0.37]], [[0.40]], [[0.43]], [[0.40]]]
    paired, separate = (only_row(against(rates, 1.1, truck)) for truck in ("T", "C"))
    assert paired[c.P_VALUE] < separate[c.P_VALUE]


def test_the_number_of_comparisons_counts():
    frames = [STEEL]
    rates = {
        "carbide_insert": [[[0.40]], [[0.42]], [[0.38]], [[0.40]]],
        "other": [[[0.40]], [[0.70]], [[0.30]], [[0.50]]],
    }
    frames += [straight(own, kind=kind, truck=kind[0]) for kind, own in rates.items()]
    types = pd.DataFrame(
        {c.EDGE_TYPE: ["plain_steel", "carbide_insert", "other"], c.USABLE_DEPTH_IN: [3.0, 0.8, 0.8]}
    )
    table = check_margin(project(pd.concat(frames, ignore_index=True), types), 1.25).table
    # by hand: Holm's adjustment doubles the smaller of two
    assert table[c.P_HOLM].iloc[0] == pytest.approx(2 * table[c.P_VALUE].iloc[0])


def test_positions_are_named_where_there_are_several():
    wing = [
        straight(rates, kind=kind, place="wing_left", truck=name)
        for rates, kind, name in (
            ([[[1.4]], [[1.5]], [[1.6]]], "plain_steel", "W"),
            ([[[0.4]], [[0.42]], [[0.38]]], "carbide_insert", "V"),
        )
    ]
    front = straight([[[0.4]], [[0.42]], [[0.38]]], kind="carbide_insert", truck="C")
    result = check_margin(project(pd.concat([STEEL, front, *wing], ignore_index=True), labels=LABELS), 1.25)
    assert "is shown to last no worse than plain steel, on the left wing:" in result.sentence()


def test_no_upper_end():
    steel = straight([[[0.05]], [[0.30]], [[0.55]]])
    both = pd.concat(
        [steel, straight([[[0.1]], [[0.11]], [[0.1]]], kind="carbide_insert", truck="C")], ignore_index=True
    )
    result = check_margin(project(both, labels=LABELS), 1.25)
    assert math.isnan(only_row(result)[c.CONF_HIGH])
    assert result.sentence().endswith("how many more sets it may use has no upper end with these readings.")


def both_of(steel, carbide, margin=1.25):
    frames = [straight(steel), straight(carbide, kind="carbide_insert", truck="C")]
    return check_margin(project(pd.concat(frames, ignore_index=True), labels=LABELS), margin)


@pytest.mark.parametrize(
    ("steel", "carbide"),
    [
        # heights of both rose: a ratio of -0.51 to -0.11 would be 4.6, far above any margin
        ([-0.10, -0.11, -0.12], [-0.50, -0.51, -0.52]),
        # the type's heights rose by far more than chance, the reference wore for certain: the ratio is below zero
        ([1.4, 1.5, 1.6], [-0.24, -0.25, -0.26]),
        # the reference did not wear
        ([-0.10, 0.0, 0.04], [0.3, 0.4, 0.5]),
    ],
)
def test_no_wear_is_no_proof_of_a_long_life(steel, carbide):
    result = both_of(*([[[rate]] for rate in rates] for rates in (steel, carbide)))
    row = only_row(result)
    assert row[c.VERDICT] == NOT_ENOUGH_DATA
    assert pd.isna([row[c.P_VALUE], row[c.P_HOLM], row[c.ESTIMATE], row[c.CONF_HIGH]]).all()
    assert "cannot be told" in result.sentence()


def test_a_use_without_an_upper_end_shows_nothing_however_small_its_p_value():
    # a reference between next to nothing and a lot, and a type whose heights rose: the test against 1.25 times is passed only
    # because the type's use is below zero
    result = both_of([[[0.25]], [[0.65]], [[1.05]]], [[[-0.20]], [[-0.25]], [[-0.30]]])
    row = only_row(result)
    assert row[c.P_VALUE] < 0.05 and math.isnan(row[c.CONF_HIGH])
    assert row[c.VERDICT] == NOT_SHOWN
    assert result.sentence().endswith("how many more sets it may use has no upper end with these readings.")


def test_heights_that_rose_by_chance_are_no_obstacle():
    result = both_of([[[1.4]], [[1.5]], [[1.6]]], [[[-0.03]], [[0.01]], [[0.01]]])
    row = only_row(result)
    assert row[c.VERDICT] == NO_WORSE and 0 <= row[c.CONF_HIGH] < 1.25


def test_without_the_reference_there_is_nothing_to_say():
    result = check_margin(project(STEEL), 1.25)
    assert result.table.empty
    assert result.sentence() == (
        "No edge type is set against the reference: on no plow position could both be measured."
    )
    assert "fewer than 1.25 times as many sets" in result.method


@pytest.mark.parametrize("margin", [1.0, 0.8, float("nan")])
def test_a_margin_of_one_or_less_is_refused(margin):
    with pytest.raises(UsageError, match=f"The margin is {margin:g}; it must be above 1"):
        check_margin(project(STEEL), margin)
