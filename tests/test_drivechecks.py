"""Shifts, storms and odometers: ends before starts, odometers that run backwards, more plowed than driven."""

import pytest
from conftest import TABLES, write_trial
from season import shifts

from trialkit.trial import checks

STORMS = "storm_id,start,end,snow_in\nW1,2030-12-01T06:00,{end},4\n"


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


# ---------------------------------------------------------------- start and end
def test_shift_that_ends_before_it_starts(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_start="2030-12-02T22:00", r4_end="2030-12-02T05:30"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "shift-times",
        4,
        "end",
        "2030-12-02T05:30",
    )
    assert problem.allowed == "2030-12-02T22:00, the start, or later"
    assert problem.fix == "Correct start or end; work past midnight ends on the next day."


def test_storm_that_ends_before_it_starts(tmp_path):
    problem = only(tmp_path, storms=STORMS.format(end="2030-11-30"))
    assert (problem.code, problem.file, problem.found) == ("shift-times", "storms.csv", "2030-11-30")


@pytest.mark.parametrize("end", ["", "2030-12-01", "2030-12-01T06:00", "2030-12-02"])
def test_ends_that_are_not_before_the_start(tmp_path, end):
    assert problems(tmp_path, storms=STORMS.format(end=end)) == ()


def test_shift_of_a_day_without_times(tmp_path):
    assert problems(tmp_path, shifts=shifts(r4_start="2030-12-02", r4_end="2030-12-02")) == ()


# ---------------------------------------------------------------- odometers
def test_odometer_that_falls_within_a_shift(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_odometer_end_mi="4225"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "odometer-backwards",
        4,
        "odometer_end_mi",
        "4225",
    )
    assert problem.allowed == "40190 mi or more, odometer_start_mi of this shift"


def test_odometer_that_falls_between_shifts(tmp_path):
    problem = only(tmp_path, shifts=shifts(r5_odometer_start_mi="40130", r5_odometer_end_mi="40165"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "odometer-backwards",
        5,
        "odometer_start_mi",
        "40130",
    )
    assert problem.allowed == "40225 mi or more, as row 4 has before (2030-12-02T05:00)"
    assert problem.key == "T1, 2030-12-10T05:00"


def test_odometer_that_is_too_large_is_named_rather_than_those_after_it(tmp_path):
    problem = only(tmp_path, shifts=shifts(r5_odometer_start_mi="403000", r5_odometer_end_mi="403035"))
    assert (problem.row, problem.found) == (5, "403035")
    assert problem.allowed == "up to 40270 mi, as row 6 has later (2030-12-16T05:00)"


def test_odometer_of_an_event_is_compared_with_the_shifts(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-15,remove,,300,4500,\n"
    problem = only(tmp_path, set_events=events, shifts=shifts())
    assert (problem.file, problem.row, problem.found) == ("set_events.csv", 6, "4500")
    assert problem.allowed == "40505 mi or more, as row 11 of shifts.csv has before (2031-01-10T05:00)"


def test_odometer_of_an_event_without_a_time_is_not_put_in_order_within_its_day(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-10,remove,,300,40480,\n"
    readings = TABLES["wear_readings"].replace("S1,2031-01-14", "S1,2031-01-10")
    assert problems(tmp_path, set_events=events, wear_readings=readings, shifts=shifts()) == ()


def test_shift_of_another_truck(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_truck_id="T2"))
    assert (problem.code, problem.row, problem.key) == ("odometer-backwards", 4, "T2, 2030-12-02T05:00")
    assert problem.allowed == "40200 mi or more, as row 3 of set_events.csv has before (2030-11-20)"


def test_odometers_are_checked_without_any_events(tmp_path):
    found = problems(tmp_path, set_events=None, shifts=shifts(r4_odometer_end_mi="4225"))
    assert sorted(p.code for p in found) == ["file-missing", "odometer-backwards"]


# ---------------------------------------------------------------- plowed and driven
def test_more_plowed_than_driven_in_a_shift(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_blade_down_mi="37"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "blade-down-exceeds-odometer",
        4,
        "blade_down_mi",
        "37",
    )
    assert problem.allowed == "up to 35 mi, the miles driven (odometer 40190 to 40225)"


@pytest.mark.parametrize(("miles", "wrong"), [("36.0", 0), ("36.1", 1)])
def test_whole_odometers_may_be_off_by_a_mile(tmp_path, miles, wrong):
    found = problems(tmp_path, shifts=shifts(r4_blade_down_mi=miles))
    assert [p.code for p in found].count("blade-down-exceeds-odometer") == wrong


def test_odometer_in_kilometers_against_miles(tmp_path):
    text = shifts().replace("odometer_start_mi,odometer_end_mi", "odometer_start_km,odometer_end_km")
    events = TABLES["set_events"].replace("40100", "24900")
    found = problems(tmp_path, shifts=text.replace(",20.0", ",21.0"), set_events=events)
    assert found == ()
    found = problems(tmp_path, shifts=text.replace(",20.0", ",22.5"), set_events=events)
    assert {p.code for p in found} == {"blade-down-exceeds-odometer"}
    assert found[0].allowed == "up to 21.74799173 mi, the miles driven (odometer 40110 to 40145)"


def test_shifts_without_odometers_or_ends(tmp_path):
    text = "shift_id,truck_id,start,blade_down_mi\nX1,T1,2030-12-02,20\n"
    assert [p.code for p in problems(tmp_path, shifts=text)] == ["miles-disagree"]
