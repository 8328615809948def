"""The first stage: lines, pooling, what is left out, and what rounding can do."""

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges.slopes import (
    FIRST_HEIGHT_IN,
    FIRST_MI,
    INTERCEPT_IN,
    LAST_HEIGHT_IN,
    LAST_MI,
    N_STATIONS,
    ROUNDING_VARIANCE,
    fit_slopes,
)
from trialkit.errors import UsageError


def readings(*rows, resolution_in=0.001):
    """Rows of (set, station, segment number, miles, height) on one truck of one type."""
    frame = pd.DataFrame(rows, columns=[c.SET_ID, c.STATION, "number", c.MILES_MI, c.HEIGHT_IN])
    frame[c.SEGMENT] = [
        f"{s}/{k}/{n}" for s, k, n in zip(frame[c.SET_ID], frame[c.STATION], frame["number"], strict=True)
    ]
    frame[c.TRUCK_ID], frame[c.PLOW_POSITION], frame[c.TRUCK_UNIT] = "T1", "front", "T1, front"
    frame[c.EDGE_TYPE], frame[c.RESOLUTION_IN] = "steel", resolution_in
    return frame


def line(set_id, station, number, miles, start, rate):
    return [(set_id, station, number, mi, start - rate * (mi - miles[0]) / 1000) for mi in miles]


def test_line_of_a_segment():
    found = fit_slopes(readings(*line("S1", 1, 1, [100, 200, 400], 6.0, 1.5)))
    row = found.segments.iloc[0]
    # by hand: 1.5 in per 1,000 mi from 6.000 in at 100 mi
    assert row[c.ESTIMATE] == pytest.approx(1.5)
    assert (row[FIRST_MI], row[LAST_MI]) == (100, 400)
    assert (row[FIRST_HEIGHT_IN], row[LAST_HEIGHT_IN]) == pytest.approx((6.0, 5.55))
    assert row[INTERCEPT_IN] == pytest.approx(6.15)
    assert row[c.N_READINGS] == 3


def test_two_readings_are_a_line():
    found = fit_slopes(readings(*line("S1", 1, 1, [0, 250], 6.0, 2.0)))
    assert found.trucks[c.ESTIMATE].tolist() == pytest.approx([2.0])


def test_no_line_is_drawn_across_segments():
    rows = [*line("S1", 1, 1, [0, 100, 200], 6.0, 1.0), *line("S1", 1, 2, [200, 300, 400], 5.9, 1.0)]
    assert fit_slopes(readings(*rows)).trucks[c.ESTIMATE].tolist() == pytest.approx([1.0])


def test_stations_of_a_set_count_alike_though_one_was_swapped():
    rows = [
        *line("S1", 1, 1, [0, 100, 200, 300, 400], 6.0, 1.0),
        *line("S1", 2, 1, [0, 100, 200], 6.0, 2.0),
        *line("S1", 2, 2, [200, 300, 400], 6.0, 2.0),
    ]
    found = fit_slopes(readings(*rows))
    # by hand: (1.0 + 2.0) / 2
    assert found.sets[c.ESTIMATE].tolist() == pytest.approx([1.5])
    assert found.sets[N_STATIONS].tolist() == [2]
    assert found.set_stations[c.ESTIMATE].tolist() == pytest.approx([1.0, 2.0])


def test_sets_of_a_truck_count_by_their_miles():
    rows = [*line("S1", 1, 1, [0, 300], 6.0, 1.0), *line("S2", 1, 1, [300, 400], 6.0, 2.0)]
    found = fit_slopes(readings(*rows))
    # by hand: (300 x 1.0 + 100 x 2.0) / 400
    assert found.trucks[c.ESTIMATE].tolist() == pytest.approx([1.25])
    assert found.trucks[c.MILES_MI].tolist() == [400.0]
    assert found.trucks[c.N_SETS].tolist() == [2]


def test_large_counters_do_not_hurt():
    near = fit_slopes(readings(*line("S1", 1, 1, [0, 55, 131, 240], 6.0, 0.153))).trucks[c.ESTIMATE].iloc[0]
    far = readings(*line("S1", 1, 1, [0, 55, 131, 240], 6.0, 0.153))
    far[c.MILES_MI] += 987_654.0
    assert fit_slopes(far).trucks[c.ESTIMATE].iloc[0] == pytest.approx(near, rel=1e-9)


def test_single_readings_are_counted_and_named():
    rows = [
        *line("S1", 1, 1, [0, 100], 6.0, 1.0),
        ("S1", 2, 1, 50.0, 5.9),
        ("S1", 3, 1, 70.0, 5.9),
        ("S1", 3, 1, 70.0, 5.8),
    ]
    found = fit_slopes(readings(*rows))
    assert found.segments[c.ESTIMATE].isna().sum() == 2
    assert found.notes == (
        "2 segments have a single reading or no miles between readings and give no slope: S1/2/1 and S1/3/1.",
    )


def test_many_single_readings_are_not_all_named():
    rows = [("S1", k, 1, 50.0, 5.9) for k in range(1, 8)]
    note = fit_slopes(readings(*rows)).notes[0]
    assert note.startswith("7 segments have")
    assert note.endswith("S1/5/1 and others.")


def test_what_cannot_be_used_is_said():
    frame = readings(*line("S1", 1, 1, [0, 100, 200, 300, 400, 500], 6.0, 1.0))
    frame.loc[0, c.SEGMENT] = None
    frame.loc[1, c.HEIGHT_IN] = np.nan
    frame.loc[[2, 3], c.MILES_MI] = np.nan
    found = fit_slopes(frame)
    assert found.trucks[c.N_READINGS].tolist() == [2]
    assert found.notes == (
        "1 reading without a set on a truck at that time left out.",
        "1 reading without a height left out.",
        "2 readings whose blade-down miles are not known (no counter and no shifts give them) left out.",
    )


def test_running_in_is_left_out_of_each_stay():
    rows = [*line("S1", 1, 1, [0, 40, 100, 200], 6.0, 1.0), *line("S2", 1, 1, [200, 290, 300, 400], 6.0, 2.0)]
    found = fit_slopes(readings(*rows), run_in_mi=100)
    assert found.segments[FIRST_MI].tolist() == [100.0, 300.0]
    assert "4 readings in the first 100 miles after an install left out" in found.notes[0]


def test_missing_columns_are_named():
    frame = readings(*line("S1", 1, 1, [0, 100], 6.0, 1.0)).drop(columns=[c.MILES_MI, c.SEGMENT])
    with pytest.raises(UsageError, match=r"lack the columns segment and miles_mi; lineage\.wear_segments"):
        fit_slopes(frame)


def test_categories_and_text_give_the_same():
    rows = [*line("S1", 1, 1, [0, 100, 200], 6.0, 1.0), *line("S2", 1, 1, [0, 100, 210], 6.0, 1.1)]
    text = readings(*rows)
    coded = text.astype(dict.fromkeys([c.SEGMENT, c.SET_ID, c.TRUCK_ID, c.EDGE_TYPE], "category"))
    coded[c.SEGMENT] = (
        coded[c.SEGMENT]
        .cat.add_categories("not used")
        .cat.reorder_categories(["not used", *text[c.SEGMENT].unique()])
    )
    assert fit_slopes(coded).sets[c.ESTIMATE].tolist() == fit_slopes(text).sets[c.ESTIMATE].tolist()


# ---------------------------------------------------------------- resolution
@pytest.mark.parametrize(
    ("heights", "said"),
    [
        ([5.0, 4.9375, 4.8125], "all of them lie on steps of 0.0625 in, which is used"),
        ([5.0, 4.97, 4.93], "all of them lie on steps of 0.01 in, which is used"),
        ([127 / 25.4, 126 / 25.4, 124 / 25.4], "all of them lie on steps of 0.0394 in, which is used"),
        ([5.0, 4.93217, 4.8], "no common step shows; none is assumed"),
    ],
)
def test_resolution_that_is_not_recorded_is_looked_for(heights, said):
    rows = [("S1", 1, 1, mi, height) for mi, height in zip([0.0, 100.0, 200.0], heights, strict=True)]
    found = fit_slopes(readings(*rows, resolution_in=np.nan))
    assert found.notes == (f"The resolution of the readings is not recorded; {said}.",)
    without = fit_slopes(readings(*rows).drop(columns=[c.RESOLUTION_IN]))
    assert without.notes == found.notes


def test_resolution_that_is_partly_recorded():
    frame = readings(*line("S1", 1, 1, [0, 100, 200], 6.0, 0.625), resolution_in=[0.0625, np.nan, np.nan])
    assert fit_slopes(frame).notes[0].startswith("The resolution of 2 readings is not recorded")


# ---------------------------------------------------------------- rounding
def test_rounding_variance_of_a_slope():
    rows = [(s, k, 1, mi, 5.0) for s, k in (("S1", 1), ("S1", 2)) for mi in (0.0, 250.0, 500.0)]
    found = fit_slopes(readings(*rows, resolution_in=1 / 16))
    # by hand: (1/16)^2 / 12 over Sxx = 2 x 0.25^2 (miles in thousands), halved by the mean of two stations
    assert found.trucks[ROUNDING_VARIANCE].tolist() == pytest.approx([(1 / 16) ** 2 / 12 / 0.125 / 2])


def test_equal_readings_allow_a_slope_of_one_step_over_the_miles():
    rows = [("S1", 1, 1, mi, 5.0) for mi in np.linspace(0, 500, 9)]
    found = fit_slopes(readings(*rows, resolution_in=1 / 16))
    # by hand: 1/16 in over 0.5 thousand miles
    assert found.trucks[c.ROUNDING_BOUND].tolist() == pytest.approx([0.125])


def test_scatter_of_half_a_step_removes_the_bound():
    rng = np.random.default_rng(5)
    rows = [
        ("S1", 1, 1, mi, np.round((5 + 0.05 * rng.standard_normal()) * 16) / 16)
        for mi in np.linspace(0, 500, 200)
    ]
    assert fit_slopes(readings(*rows, resolution_in=1 / 16)).trucks[c.ROUNDING_BOUND].iloc[0] < 1e-3


def test_wear_of_many_steps_shrinks_the_bound():
    def bound(rate):
        rows = line("S1", 1, 1, list(np.linspace(0, 500, 9)), 6.0, rate)
        return fit_slopes(readings(*rows, resolution_in=1 / 16)).trucks[c.ROUNDING_BOUND].iloc[0]

    assert bound(10.0) < 0.05 * bound(0.0)


def test_repeatability_takes_the_place_of_scatter_and_floor():
    rows = [("S1", 1, 1, mi, 5.0) for mi in (0.0, 250.0, 500.0)]
    frame = readings(*rows, resolution_in=1 / 16)
    found = fit_slopes(frame, repeatability_in=0.05)
    # by hand: 0.05^2 / 0.125
    assert found.trucks[ROUNDING_VARIANCE].tolist() == pytest.approx([0.02])
    assert found.trucks[c.ROUNDING_BOUND].iloc[0] < fit_slopes(frame).trucks[c.ROUNDING_BOUND].iloc[0]
    small = fit_slopes(frame, repeatability_in=1e-4).trucks[ROUNDING_VARIANCE].iloc[0]
    assert small == fit_slopes(frame).trucks[ROUNDING_VARIANCE].iloc[0]


def test_two_readings_take_the_scatter_from_stations():
    rng = np.random.default_rng(8)
    rows = [
        (f"S{s}", k, 1, mi, 5 + 0.05 * rng.standard_normal())
        for s in range(20)
        for k in (1, 2, 3)
        for mi in (0.0, 500.0)
    ]
    steady = [(*row[:4], 5.0) for row in rows]
    scattered, equal = (
        fit_slopes(readings(*r, resolution_in=1 / 16)).trucks[c.ROUNDING_BOUND].iloc[0]
        for r in (rows, steady)
    )
    assert scattered < 0.01 * equal
