import math

import numpy as np
import pytest

from trialkit.planning.schedule import Schedule, readings_of_set, set_miles, slope_error


def test_miles_may_be_one_number_or_one_for_each_truck():
    assert Schedule(miles_mi=900).miles_mi == (900.0,)
    assert Schedule(miles_mi=[900, 1200]).miles_mi == (900.0, 1200.0)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"miles_mi": ()}, "at least one truck"),
        ({"miles_mi": (900, 0)}, "all above 0"),
        ({"miles_mi": (math.nan,)}, "all above 0"),
        ({"every_mi": 0}, "every_mi is 0"),
        ({"stations": 0}, "one station or more"),
        ({"repeats": 0}, "once or more"),
        ({"error_in": -0.01}, "0 or more"),
        ({"step_in": -1}, "0 or more"),
    ],
)
def test_impossible_schedules_are_refused(changes, said):
    with pytest.raises(ValueError, match=said):
        Schedule(**changes)


def test_repeatability_of_a_gauge_study_holds_the_rounding():
    found = Schedule.of_repeatability(0.05, 0.0625, miles_mi=(800,), every_mi=100, stations=3, repeats=2)
    assert found.reading_variance == pytest.approx(0.05**2)
    assert (found.studied, found.stations, found.repeats, found.every_mi) == (True, 3, 2, 100)
    # by hand: a repeatability below the rounding is the rounding alone
    assert Schedule.of_repeatability(0.001, 0.0625).reading_variance == pytest.approx(0.0625**2 / 12)


def test_types_that_take_turns_share_the_miles():
    assert Schedule(miles_mi=(900, 600)).shared_by(3).miles_mi == (300.0, 200.0)


def test_sets_of_a_truck():
    assert set_miles(1000, math.inf, 120) == ((1000, 1),)
    assert set_miles(500, 600, 120) == ((500, 1),)
    # by hand: two sets of 450 miles and 100 left; 10 miles are not worth a set
    assert set_miles(1000, 450, 120) == ((450, 2), (100, 1))
    assert set_miles(910, 450, 120) == ((450, 2),)


def test_a_set_is_read_at_install_and_removal_at_least():
    assert [readings_of_set(miles, 120) for miles in (10, 120, 600, 650, 670)] == [2, 2, 6, 6, 7]


def test_error_of_the_slope_of_one_set():
    schedule = Schedule(miles_mi=(600,), every_mi=300, stations=4, repeats=2, error_in=0.03, step_in=0.0)
    found = slope_error(schedule, rate=1.0)
    # by hand: readings at 0, 0.3 and 0.6 thousand miles, Sxx 0.18; 0.03^2 / (8 * 0.18)
    assert found.variance == pytest.approx(0.0009 / 1.44)
    assert (found.floor, found.bound, found.sets) == (0.0, 0.0, 1.0)
    assert slope_error(schedule, 1.0, stations=1).variance == pytest.approx(0.0009 / 0.36)


def test_error_of_several_sets_of_one_truck():
    schedule = Schedule(miles_mi=(750,), every_mi=300, stations=1, error_in=0.03, step_in=0.0)
    found = slope_error(schedule, rate=5.0, usable_depth_in=3.0)
    # by hand: a set of 600 miles (weight 0.8, Sxx 0.18) and one of 150 (weight 0.2, two readings, Sxx 0.01125)
    assert found.variance == pytest.approx(0.0009 * (0.64 / 0.18 + 0.04 / 0.01125))
    assert found.sets == 2


def test_trucks_of_different_miles_are_averaged():
    one, other, both = (
        slope_error(Schedule(miles_mi=miles), 1.0) for miles in ((500,), (1500,), (500, 1500))
    )
    assert both.variance == pytest.approx((one.variance + other.variance) / 2)
    assert both.bound == pytest.approx((one.bound + other.bound) / 2)


def test_a_gauge_study_makes_the_whole_reading_error_known():
    assert slope_error(Schedule(studied=True), 1.0).floor == pytest.approx(
        slope_error(Schedule(), 1.0).variance
    )
    # by hand: without one only the rounding is known
    shares = slope_error(Schedule(), 1.0)
    assert shares.floor / shares.variance == pytest.approx(
        (1 / 16) ** 2 / 12 / (0.03**2 + (1 / 16) ** 2 / 12)
    )


def test_rounding_bound_of_an_edge_that_hardly_wears():
    schedule = Schedule(miles_mi=(600,), every_mi=600, stations=3, error_in=0.0, step_in=0.1)
    # by hand: two readings off by half a step each way at most, that is one step over 0.6 thousand miles
    assert slope_error(schedule, rate=0.0).bound == pytest.approx(0.1 / 0.6)
    # by hand: once the wear runs over ten steps the errors cancel, (2 / pi) / 9.5 of it is left
    assert slope_error(schedule, rate=1.0 / 0.6).bound == pytest.approx(0.1 / 0.6 * 2 / np.pi / 9.5)


def test_a_reading_error_seen_in_few_readings_bounds_the_rounding_less_well():
    schedule = Schedule(miles_mi=(400,), every_mi=200, stations=3)
    known, many, few = (slope_error(schedule, 0.3, n_trucks=n).bound for n in (None, 1000, 4))
    assert few > 2 * known
    assert many == pytest.approx(known, rel=0.3)
    # by hand: after a gauge study the reading error is known
    studied = Schedule(miles_mi=(400,), every_mi=200, stations=3, studied=True)
    assert slope_error(studied, 0.3, n_trucks=4).bound == pytest.approx(known)


def test_two_readings_tell_the_reading_error_by_the_stations():
    two = Schedule(miles_mi=(400,), every_mi=400, stations=4)
    one = Schedule(miles_mi=(400,), every_mi=400, stations=1)
    # by hand: one station with two readings tells nothing, so half a step is possible at both ends: a step over 400 miles,
    # less what cancels over 1.92 steps of wear
    assert slope_error(one, 0.3, n_trucks=4).bound == pytest.approx(1 / 16 / 0.4 * 2 / np.pi / (1.92 - 0.5))
    assert slope_error(two, 0.3, n_trucks=4).bound < slope_error(one, 0.3, n_trucks=4).bound / 3
