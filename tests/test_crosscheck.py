"""The rates worked out in two ways: when they agree, when they differ, and what is said."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.edges import crosscheck, mixed
from trialkit.edges.crosscheck import MOST_SHIFT, MOST_WIDTH_FACTOR, compare_with_mixed
from trialkit.edges.slopes import used_readings
from trialkit.edges.wear import fit_wear_rates


def checked(rows, run_in_mi=0.0, **options):
    readings = frame(rows)
    rates = fit_wear_rates(readings, reference="plain_steel", labels=LABELS, run_in_mi=run_in_mi, **options)
    return compare_with_mixed(readings, rates, run_in_mi=run_in_mi)


def row(result, kind="plain_steel", place="front"):
    table = result.table
    return table[(table[c.EDGE_TYPE] == kind) & (table[c.PLOW_POSITION] == place)].iloc[0]


def test_a_balanced_trial_comes_out_alike():
    result = checked(fleet(spread=0.3))
    found = row(result)
    assert found[c.MIXED_ESTIMATE] == pytest.approx(found[c.ESTIMATE], rel=1e-9)
    assert found[c.AGREE] == "yes"
    assert found[c.SHIFT_SHARE] == pytest.approx(0, abs=1e-6)
    assert found[c.WIDTH_RATIO] == pytest.approx(1, abs=0.02)
    assert result.agrees
    assert "the wear comes out the same to the digits shown: 1.5" in result.sentence()
    assert "either way" not in result.sentence()
    assert "for plain steel and" in result.sentence()


def test_two_rates_are_printed_only_where_they_differ_as_printed():
    result = checked(fleet(spread=0.3))
    half = (row(result)[c.CONF_HIGH] - row(result)[c.ESTIMATE]) * 0.3
    table = result.table.copy()
    table.loc[table[c.EDGE_TYPE] == "plain_steel", c.MIXED_ESTIMATE] += half
    said = replace(result, table=table).sentence()
    plain, insert = said.partition(": ")[2].split(" for ")[:2]
    one, other = plain.split(" instead of ")
    assert one != other
    assert insert.endswith("either way")


def test_mixed_columns_are_those_of_the_mixed_model_on_the_same_readings():
    rows = fleet(miles=[200.0, 500.0, 900.0, 1500.0], seed=6, spread=0.3)
    found = row(checked(rows, run_in_mi=60.0), "carbide_insert")
    used, _ = used_readings(frame(rows), 60.0)
    expected = mixed.fit_mixed_wear(used, reference="plain_steel").table.set_index(c.EDGE_TYPE)
    own = expected.loc["carbide_insert"]
    assert (
        found[c.MIXED_ESTIMATE],
        found[c.MIXED_LOW],
        found[c.MIXED_HIGH],
        found[c.MIXED_DF],
    ) == pytest.approx((own[c.ESTIMATE], own[c.CONF_LOW], own[c.CONF_HIGH], own[c.DF]))
    assert (found[c.MIXED_LOW_KR], found[c.MIXED_DF_KR]) == pytest.approx(
        (own[mixed.CONF_LOW_KR], own[mixed.DF_KR])
    )


def test_each_position_has_its_own_model():
    result = checked([*fleet(), *fleet(place="wing_left", seed=5, rates=(3.0, 0.4))])
    alone = checked(fleet(place="wing_left", seed=5, rates=(3.0, 0.4)))
    assert row(result, place="wing_left")[c.MIXED_ESTIMATE] == pytest.approx(
        row(alone, place="wing_left")[c.MIXED_ESTIMATE]
    )
    assert "for plain steel on the left wing" in result.sentence()


def test_a_note_names_its_position_without_a_second_colon():
    rows = [*fleet(seed=5), *fleet(n_types=1, trucks=1, seed=6, place="wing_left")]
    (note,) = [one for one in checked(rows).notes if "on one truck only" in one]
    assert note.startswith("On the left wing, plain steel: on one truck only")


def test_coarse_steps_differ_in_how_sure_and_the_report_says_which_to_rely_on():
    result = checked(fleet(rates=(1.5, 0.0), error=0.004, step=1 / 16))
    found = row(result, "carbide_insert")
    assert (found[c.AGREE], found[c.REASON]) == ("no", "the intervals differ in length")
    assert found[c.WIDTH_RATIO] < 1 / MOST_WIDTH_FACTOR
    assert not result.agrees
    said = result.sentences()[1]
    assert said.startswith(
        "Carbide insert: the two ways differ in how sure they are. Truck by truck the wear is 0.00 ("
    )
    assert "by one model of all readings 0.000 (" in said
    assert any("the truck-by-truck interval is the one to rely on" in note for note in result.notes)


def two_stage(shift=0.0, factor=1.0):
    """A row with a two-stage interval of half-width 0.2 and a mixed one that lies elsewhere."""
    return pd.DataFrame(
        {
            c.EDGE_TYPE: ["plain_steel"], c.ESTIMATE: 1.0, c.CONF_LOW: 0.8, c.CONF_HIGH: 1.2, c.MIXED_ESTIMATE: 1.0 + 0.2 * shift,
            c.MIXED_LOW: 1.0 + 0.2 * (shift - factor), c.MIXED_HIGH: 1.0 + 0.2 * (shift + factor),
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shift", "factor", "agree"),
    [
        (MOST_SHIFT - 0.01, 1.0, "yes"),
        (-MOST_SHIFT + 0.01, 1.0, "yes"),
        (MOST_SHIFT + 0.01, 1.0, "no"),
        (0.0, MOST_WIDTH_FACTOR - 0.01, "yes"),
        (0.0, MOST_WIDTH_FACTOR + 0.01, "no"),
        (0.0, 1 / MOST_WIDTH_FACTOR + 0.01, "yes"),
        (0.0, 1 / MOST_WIDTH_FACTOR - 0.01, "no"),
    ],
)
def test_the_rule_is_the_stated_one(shift, factor, agree):
    found = crosscheck._judged(two_stage(shift, factor)).iloc[0]
    assert found[c.AGREE] == agree
    assert found[c.SHIFT_SHARE] == pytest.approx(abs(shift))
    assert found[c.WIDTH_RATIO] == pytest.approx(factor)


def test_one_truck_is_not_compared():
    result = checked(fleet(trucks=1))
    assert set(result.table[c.AGREE]) == {"not compared"}
    assert result.agrees
    assert result.sentence() == "Not cross-checked: plain steel and carbide insert."
    assert "Plain steel is not cross-checked: the truck-by-truck rate has no interval." in result.notes


def test_a_refused_model_gives_its_reason():
    result = checked(fleet(error=0.0, step=0.0))
    assert set(result.table[c.REASON]) == {"the model of all readings was not fitted"}
    assert any("lie on straight lines without scatter" in note for note in result.notes)


def test_an_interval_on_less_than_one_degree_of_freedom_is_not_shown():
    table = pd.DataFrame(
        {c.EDGE_TYPE: ["plain steel"], **dict.fromkeys(crosscheck._MIXED, 1.0), c.DF: 0.4, mixed.DF_KR: 2.0}
    )

    class Found:
        converged = True

    Found.table = table
    rates = fit_wear_rates(frame(fleet()), labels=LABELS)
    rows = crosscheck._mixed_rows(Found, "front", rates).iloc[0]
    assert np.isnan(rows[c.MIXED_LOW])
    assert rows[c.MIXED_LOW_KR] == 1.0


def test_two_types_with_one_printed_name_stay_apart():
    readings = frame(fleet())
    rates = fit_wear_rates(readings, reference="plain_steel", labels=dict.fromkeys(LABELS, "edge"))
    table = compare_with_mixed(readings, rates).table
    assert table[c.MIXED_ESTIMATE].to_numpy() == pytest.approx(table[c.ESTIMATE].to_numpy())


def test_a_swapped_section_can_pull_the_two_apart():
    """Short segments count for little in the model; a station that is always swapped is such a one."""
    rows = []
    x = np.linspace(0, 600, 7)
    for truck, rate in enumerate((1.4, 1.5, 1.6)):
        name = f"T{truck}"
        for station, factor in ((1, 1.0), (2, 1.0), (3, 4.0)):
            own = rate * factor
            if factor > 1:
                for part in range(3):
                    piece = x[2 * part : 2 * part + 3]
                    height = 6.0 - own * (piece - piece[0]) / 1000 + 0.005 * np.cos(7.0 * piece + truck)
                    rows += segment("plain_steel", name, name, station, piece, height, part=part)
            else:
                rows += segment(
                    "plain_steel", name, name, station, x, 6.0 - own * x / 1000 + 0.005 * np.cos(5.0 * x)
                )
    found = row(checked(rows))
    # by hand: the mean of the stations' slopes, (1 + 1 + 4) / 3 times the mean rate of 1.5
    assert found[c.ESTIMATE] == pytest.approx(3.0, abs=0.05)
    assert found[c.MIXED_ESTIMATE] < found[c.ESTIMATE]
    assert (found[c.AGREE], found[c.REASON]) == ("no", "the estimates lie apart")
