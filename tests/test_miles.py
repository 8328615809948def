"""The miles axis: counters, shifts between them, and what a blank makes unknown."""

import numpy as np
import pytest

from trialkit.trial.miles import BASES, Keys, Marks, MileAxis


def marks(*rows):
    unit, at, miles = zip(*rows, strict=True) if rows else ((), (), ())
    return Marks(np.array(unit, dtype=int), np.array(at, dtype=np.int64), np.array(miles, dtype=float))


def read(axis, unit, at, own=np.nan, since=-(10**6)):
    arrays = np.array([unit]), np.array([at]), np.array([own]), np.array([since])
    miles, basis = axis.marks(*arrays)
    return miles[0], BASES[basis[0]]


def test_keys_keep_groups_and_moments_in_order():
    keys = Keys(np.array([10, 20]))
    ordered = keys.of(np.array([0, 0, 0, 0, 1]), np.array([-500, 10, 20, 900, -500]))
    assert (np.diff(ordered) > 0).all()


def test_own_counter_is_taken_as_it_is():
    axis = MileAxis(1, marks((0, 10, 100)), marks((0, 12, 30)))
    assert read(axis, 0, 20, own=125.0) == (125.0, "counter")


def test_last_counter_plus_the_shifts_since():
    axis = MileAxis(
        1, marks((0, 10, 100), (0, 30, 200)), marks((0, 5, 7), (0, 12, 30), (0, 14, 4), (0, 35, 9))
    )
    assert read(axis, 0, 14) == (134.0, "shifts")  # a shift counts at its own moment
    assert read(axis, 0, 13) == (130.0, "shifts")
    assert read(axis, 0, 40) == (209.0, "shifts")


def test_counter_of_the_same_moment_counts_as_counter():
    axis = MileAxis(1, marks((0, 10, 100)), marks())
    assert read(axis, 0, 10) == (100.0, "counter")


def test_before_the_first_counter_shifts_are_taken_off_the_next():
    axis = MileAxis(1, marks((0, 30, 200)), marks((0, 12, 30), (0, 30, 5)))
    assert read(axis, 0, 11) == (165.0, "shifts")
    assert read(axis, 0, 12) == (195.0, "shifts")


def test_blank_shift_makes_unknown_what_depends_on_it_and_nothing_else():
    axis = MileAxis(1, marks((0, 10, 100), (0, 30, 200)), marks((0, 12, 30), (0, 20, np.nan), (0, 26, 9)))
    assert read(axis, 0, 15) == (130.0, "shifts")
    assert read(axis, 0, 25) == (191.0, "shifts")  # the next counter less the shift between
    only_last = MileAxis(1, marks((0, 10, 100)), marks((0, 20, np.nan)))
    miles, basis = read(only_last, 0, 25)
    assert np.isnan(miles)
    assert basis == "unknown"


def test_without_counters_shifts_are_summed_up_for_each_position():
    axis = MileAxis(2, marks(), marks((0, 5, 7), (1, 6, 1000), (0, 12, 30)))
    assert read(axis, 0, 4) == (0.0, "shifts")
    assert read(axis, 0, 12) == (37.0, "shifts")
    assert read(axis, 1, 12) == (1000.0, "shifts")


@pytest.mark.parametrize(("since", "expected"), [(0, np.nan), (8, np.nan), (9, 37.0), (11, 37.0)])
def test_without_counters_a_blank_shift_matters_from_the_install_on(since, expected):
    axis = MileAxis(1, marks(), marks((0, 5, 7), (0, 9, np.nan), (0, 12, 30)))
    assert read(axis, 0, 12, since=since)[0] == pytest.approx(expected, nan_ok=True)


def test_neither_counter_nor_shifts_is_unknown_never_zero():
    axis = MileAxis(2, marks((0, 10, 100)), marks())
    assert np.isnan(read(axis, 0, 11)[0])
    assert np.isnan(read(axis, 1, 11)[0])
    assert np.isnan(read(axis, -1, 10, own=5.0)[0])


def test_shift_miles_between_two_moments():
    axis = MileAxis(1, marks(), marks((0, 5, 7), (0, 9, np.nan), (0, 12, 30)))
    between = axis.shift_miles(np.array([0, 0, 0]), np.array([4, 5, 9]), np.array([5, 12, 12]))
    assert between.tolist()[::2] == [7.0, 30.0]
    assert np.isnan(between[1])
