"""What stands apart: planted and found, and not found where there is nothing."""

import numpy as np
import pytest
from known_truth import Fleet
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.edges import outliers
from trialkit.edges.outliers import LIMITS, compare_with_the_rest, limit_of_distance, truck_distances
from trialkit.edges.residuals import reading_residuals
from trialkit.edges.wear import fit_wear_rates


def apart(rows, run_in_mi=0.0):
    readings = frame(rows)
    rates = fit_wear_rates(readings, reference="plain_steel", labels=LABELS, run_in_mi=run_in_mi)
    return compare_with_the_rest(readings, rates, run_in_mi=run_in_mi)


def with_height(rows, at, by):
    """The rows with one height changed."""
    changed = [list(row) for row in rows]
    changed[at][9] += by
    return [tuple(row) for row in changed]


# ---------------------------------------------------------------- trucks
def test_distance_is_the_modified_z_score():
    x = [0.0, 300.0, 600.0]
    rows = [
        reading
        for k, rate in enumerate((1.0, 1.1, 1.3, 1.4, 3.0))
        for reading in segment("plain_steel", f"T{k}", f"S{k}", 1, x, 6.0 - rate * np.array(x) / 1000)
    ]
    found = truck_distances(fit_wear_rates(frame(rows)))
    # by hand: median 1.3, absolute deviations 0.3, 0.2, 0, 0.1, 1.7, their median 0.2
    assert found[c.DISTANCE].tolist() == pytest.approx(
        [0.6745 * d / 0.2 for d in (0.3, 0.2, 0.0, 0.1, 1.7)], rel=1e-6
    )
    assert set(found[c.LIMIT]) == {LIMITS[5]}


def test_a_truck_on_another_road_is_named():
    x = np.linspace(0, 600, 6)
    odd = segment("carbide_insert", "odd", "odd", 1, x, 6.0 - 2.0 * x / 1000)
    result = apart([*fleet(trucks=6, seed=3), *odd])
    trucks = result.table[result.table[c.STANDS_APART] == "truck"]
    assert trucks[c.TRUCK_UNIT].tolist() == ["odd, front"]
    assert result.sentences()[0].startswith(
        "1 truck stands apart: odd, front (carbide insert, 2.00 in/1000 mi, middle of its type 0.1"
    )


def test_three_trucks_are_too_few():
    result = apart(fleet(trucks=3))
    assert result.trucks[c.LIMIT].isna().all()
    assert (
        result.sentences()[0] == "Whether a truck stands apart cannot be told: no edge type was on 4 trucks."
    )


def test_types_that_could_not_be_judged_are_not_passed_over():
    result = apart(
        [*fleet(trucks=5, n_types=1), *[r for r in fleet(trucks=2, seed=2) if r[0] == "carbide_insert"]]
    )
    assert result.sentences()[0] == "No truck stands apart, as far as an edge type was on 4 trucks or more."


@pytest.mark.parametrize("n", [4, 5, 8, 12, 15, 25])
def test_fleets_of_trucks_all_alike_name_one_in_five_of_a_hundred(n):
    """Known truth: normal slopes, the limit of the distance, 40,000 fleets; standard error 0.1 points."""
    slopes = np.random.default_rng(n).standard_normal((40_000, n))
    off = np.abs(slopes - np.median(slopes, axis=1, keepdims=True))
    largest = outliers.NORMAL_SCALE * off.max(axis=1) / np.median(off, axis=1)
    assert (largest > limit_of_distance(n)).mean() == pytest.approx(0.05, abs=0.01)


def test_the_limit_of_a_very_large_fleet_is_the_normal_one():
    # scipy 1.17: scipy.stats.norm.isf(0.05 / 2 / 2000)
    assert limit_of_distance(2000) == pytest.approx(4.215, abs=5e-4)


def test_trucks_all_alike_but_for_rounding_are_not_named():
    x = np.linspace(0, 600, 6)
    rows = [
        reading
        for k in range(5)
        for reading in segment(
            "plain_steel", f"T{k}", f"S{k}", 1, x, np.round((6.0 - 1.5 * x / 1000) * 16) / 16, step=1 / 16
        )
    ]
    assert apart(rows).table.empty


# ---------------------------------------------------------------- readings and segments
def test_a_wrong_reading_is_named_with_its_row():
    rows = with_height(fleet(readings=8, seed=3), 60, 0.3)
    result = apart(rows)
    found = result.table[result.table[c.STANDS_APART] == "reading"]
    assert found[c.SHEET_ROWS].tolist() == ["62"]  # the header is row 1
    assert found[c.DISTANCE].iloc[0] > found[c.LIMIT].iloc[0]
    assert result.readings.loc[62, c.RESIDUAL_IN] == pytest.approx(
        0.3, abs=0.08
    )  # from the line of the others
    assert "above its line; row 62)" in result.sentence()
    assert len(result.table) == 1  # neither its neighbors nor its segment


def test_readings_left_out_as_running_in_are_not_judged():
    rows = with_height(fleet(readings=8, seed=3), 0, 0.5)
    assert apart(rows).table[c.SHEET_ROWS].tolist() == ["2"]
    assert apart(rows, run_in_mi=50.0).table.empty


def test_a_segment_that_scatters_is_named_with_its_rows():
    noise = 0.07 * np.cos(3.0 * np.arange(8))
    x = np.linspace(0, 600, 8)
    wild = segment("plain_steel", "pl0", "wild", 3, x, 6.0 - 1.5 * x / 1000 + noise)
    rows = [*fleet(readings=8, seed=3), *wild]
    result = apart(rows)
    found = result.table[result.table[c.STANDS_APART] == "segment"]
    assert found[c.SET_ID].tolist() == ["wild"]
    first = len(rows) - 8 + 2
    assert found[c.SHEET_ROWS].iloc[0] == ", ".join(str(first + k) for k in range(6)) + " and 2 more"
    assert found[c.DISTANCE].iloc[0] > found[c.LIMIT].iloc[0] > 1
    assert "set wild, station 3 of pl0, front (scatters" in result.sentence()


@pytest.mark.parametrize("readings", [1, 2])
def test_too_few_readings_give_no_distance(readings):
    result = apart(fleet(readings=readings))
    assert result.readings[c.DISTANCE].isna().all()
    assert result.table.empty
    assert result.sentences()[2].startswith("Whether a reading stands apart cannot be told")


def test_lines_without_scatter_give_no_distance_and_no_list():
    result = apart(fleet(error=0.0, step=0.0))
    assert result.readings[c.DISTANCE].isna().all()
    assert result.table.empty


def test_coarse_steps_set_the_least_spread():
    """Readings on a line to the last digit: a step of the tool is no wild reading, the same height read finely is one."""
    x = np.linspace(0, 640, 6)
    for step, named in ((1 / 8, []), (0.001, ["5"])):
        rows = [
            reading
            for k in range(4)
            for reading in segment("plain_steel", f"T{k}", f"S{k}", 1, x, 6.0 - 1.25 * x / 1000, step=step)
        ]
        table = apart(with_height(rows, 3, 1 / 16)).table
        assert table.loc[table[c.STANDS_APART] != "truck", c.SHEET_ROWS].tolist() == named


def test_one_of_three_readings_cannot_be_named_but_its_segment_can():
    rows = with_height(fleet(readings=3, stations=4, seed=2), 4, 0.5)
    result = apart(rows)
    assert result.table[c.STANDS_APART].tolist() == ["segment"]
    assert result.table[c.SHEET_ROWS].tolist() == ["5, 6, 7"]


def test_two_wrong_readings_of_one_segment_do_not_hide_each_other():
    rows = with_height(with_height(fleet(readings=9, seed=3), 64, 0.4), 66, 0.45)
    assert sorted(apart(rows).table[c.SHEET_ROWS]) == ["66", "68"]


def test_false_alarms_are_as_rare_as_stated():
    """Known truth: 400 trials with two types of 108 good readings; 5 of 100 types have a reading named."""
    readings = Fleet(step_in=0.0).readings(np.random.default_rng(7), 400)
    found = reading_residuals(readings).readings
    named = (
        found[found[c.STANDS_APART] == "yes"].groupby([c.PLOW_POSITION, c.EDGE_TYPE], observed=True).ngroups
    )
    assert named / 800 == pytest.approx(0.05, abs=0.023)  # three standard errors


def test_no_segment_is_named_more_often_than_stated():
    readings = Fleet(step_in=0.0).readings(np.random.default_rng(8), 200)
    rows = outliers._segment_rows(reading_residuals(readings))
    named = {(row[c.PLOW_POSITION], row[c.EDGE_TYPE]) for row in rows}
    assert len(named) / 400 == pytest.approx(0.05, abs=0.033)


def test_many_are_told_in_brief():
    rows = fleet(trucks=12, readings=12, n_types=1, seed=3)
    for at in (3, 40, 77, 114, 151, 188, 225):
        rows = with_height(rows, at, 0.4)
    said = apart(rows).sentences()[2]
    assert said.startswith("7 readings stand apart: ")
    assert said.endswith("and 2 more.")
