"""Blade-down against odometer miles."""

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges.blade_share import PLOWING, SEASON, blade_shares


def events(rows):
    names = [c.TRUCK_ID, c.PLOW_POSITION, c.COUNTER_MI, c.ODOMETER_MI]
    return pd.DataFrame(rows, columns=names)


def shifts(rows):
    names = [c.TRUCK_ID, c.ODOMETER_START_MI, c.ODOMETER_END_MI, c.BLADE_DOWN_MI]
    return pd.DataFrame(rows, columns=names)


EVENTS = events(
    [
        ("T1", "front", 100.0, 5000.0),
        ("T1", "front", 400.0, None),
        ("T1", "front", 700.0, 6000.0),
        ("T2", "front", 0.0, 100.0),
        ("T2", "front", 300.0, 500.0),
    ]
)


def test_events_give_counter_over_odometer():
    result = blade_shares(EVENTS)
    # by hand: 600 of 1,000 and 300 of 400 miles
    assert result.shares(SEASON) == pytest.approx({"T1, front": 0.6, "T2, front": 0.75})
    assert result.table[c.N_RECORDS].tolist() == [2, 2]
    assert result.bases == (SEASON,)
    assert result.sentence() == (
        "A truck drove between 60% (T1, front) and 75% (T2, front) of all its odometer miles with the blade down (2 truck "
        "positions)."
    )


def test_shifts_give_sums_and_find_the_only_position():
    result = blade_shares(
        EVENTS, shifts([("T1", 0, 100, 50.0), ("T1", 100, 200, 70.0), ("T1", 200, 300, None)])
    )
    # by hand: 120 of 200 miles; the shift without blade-down miles does not count
    assert result.shares(PLOWING) == pytest.approx({"T1, front": 0.6})
    assert (
        result.sentences()[1]
        == "T1, front drove 60% of the odometer miles of its plowing shifts with the blade down."
    )


@pytest.mark.parametrize("driven", [500.0, 0.0])
def test_more_blade_than_odometer_is_left_out_and_said(driven):
    result = blade_shares(events([("T1", "front", 100.0, 5000.0), ("T1", "front", 700.0, 5000.0 + driven)]))
    assert result.table.empty
    assert result.notes == (
        f"T1, front: no share of the odometer miles from {SEASON}, since blade-down miles and odometer do not go together.",
    )


def test_one_event_is_no_distance():
    assert blade_shares(events([("T1", "front", 100.0, 5000.0)])).table.empty


def test_without_odometers_there_is_nothing():
    result = blade_shares(EVENTS.drop(columns=c.ODOMETER_MI), shifts([]))
    assert result.bases == ()
    assert "odometers were not noted" in result.sentence()
