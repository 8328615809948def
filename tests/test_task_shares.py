"""How a shift divides into tasks."""

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.cab import task_shares
from trialkit.cab.task_shares import BLADE_DOWN, BLADE_UP, IDLE, REST
from trialkit.errors import NotEnoughDataError, UsageError


def shift(name, hours, down_h, miles=None, down_mi=None):
    start = pd.Timestamp("2031-01-10T18:00")
    return {
        c.SHIFT_ID: name,
        c.START: start,
        c.END: start + pd.Timedelta(hours=hours) if hours is not None else pd.NaT,
        c.BLADE_DOWN_H: down_h,
        c.ODOMETER_START_MI: 1000.0 if miles is not None else None,
        c.ODOMETER_END_MI: 1000.0 + miles if miles is not None else None,
        c.BLADE_DOWN_MI: down_mi,
    }


def shifts(*rows):
    return pd.DataFrame(rows).astype(
        dict.fromkeys((c.BLADE_DOWN_H, c.ODOMETER_START_MI, c.ODOMETER_END_MI, c.BLADE_DOWN_MI), float)
    )


def test_ratio_of_sums():
    found = task_shares.estimate_task_shares(shifts(shift("A", 12, 6), shift("B", 8, 6)))
    # by hand: 12 of 20 hours
    assert found.by_task == pytest.approx({BLADE_DOWN: 0.6, REST: 0.4})
    assert found.table[c.DURATION_H].tolist() == [12, 8]
    assert (found.median_shift_h, found.longest_shift_h) == (10, 12)
    assert "60%" in found.sentence()
    assert "10.0 h at the median and 12.0 h at the longest" in found.sentence()
    assert any("taken together" in note for note in found.notes)


def test_blade_up_hours_are_the_other_miles_over_the_speed():
    found = task_shares.estimate_task_shares(
        shifts(shift("A", 10, 5, miles=160, down_mi=100)), travel_speed_mph=30
    )
    # by hand: 60 mi at 30 mph are 2 h; 10 - 5 - 2 = 3 h idling
    assert found.by_task == pytest.approx({BLADE_DOWN: 0.5, BLADE_UP: 0.2, IDLE: 0.3})
    assert found.notes == ()


def test_blade_up_hours_fit_into_the_shift():
    found = task_shares.estimate_task_shares(
        shifts(shift("A", 10, 8, miles=300, down_mi=100)), travel_speed_mph=20
    )
    assert found.by_task == pytest.approx({BLADE_DOWN: 0.8, BLADE_UP: 0.2, IDLE: 0.0})


def test_shifts_that_tell_blade_up_are_preferred_and_counted():
    found = task_shares.estimate_task_shares(
        shifts(shift("A", 10, 5, miles=160, down_mi=100), shift("B", 10, 9)), travel_speed_mph=30
    )
    assert found.by_task[BLADE_DOWN] == pytest.approx(0.5)
    assert any("1 of 2 shifts" in note for note in found.notes)


def test_speed_without_odometers_leaves_the_rest_together():
    bare = shifts(shift("A", 10, 5)).drop(columns=[c.ODOMETER_START_MI])
    assert set(task_shares.estimate_task_shares(bare, travel_speed_mph=30).by_task) == {BLADE_DOWN, REST}


def test_shifts_that_cannot_be_used_are_said():
    found = task_shares.estimate_task_shares(
        shifts(shift("A", 10, 5), shift("B", None, 5), shift("C", 10, None), shift("D", 8, 9))
    )
    assert found.by_task[BLADE_DOWN] == pytest.approx(0.5)
    assert any("2 shifts without times" in note for note in found.notes)
    assert any("1 shift (D)" in note for note in found.notes)


def test_nothing_to_go_by():
    with pytest.raises(NotEnoughDataError, match="Of 1 shift none"):
        task_shares.estimate_task_shares(shifts(shift("D", 8, 9)))


def test_impossible_speed():
    with pytest.raises(UsageError, match="travel_speed_mph is 0"):
        task_shares.estimate_task_shares(shifts(shift("A", 10, 5)), travel_speed_mph=0)
