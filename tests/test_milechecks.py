"""Counters, readings without miles, and shifts that do not fit the counter: one slip, one message."""

import pytest
from conftest import TABLES, write_trial
from season import shifts, table

from trialkit.trial import checks, milechecks


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def without_counters(name, *rows):
    return table(name, **{f"r{row}_counter_mi": "" for row in rows})


def test_shifts_that_fit_the_counter_give_nothing(tmp_path):
    assert problems(tmp_path, shifts=shifts()) == ()


# ---------------------------------------------------------------- counters
def test_counter_that_is_too_small(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r9_counter_mi="30"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "counter-backwards",
        9,
        "counter_mi",
        "30",
    )
    assert problem.allowed == "200 mi or more, as row 5 has before (2030-12-18)"
    assert problem.key == "T1, front, 2031-01-14"
    assert "replaced goes on from the old one" in problem.fix


def test_counter_that_is_too_large_is_named_rather_than_those_after_it(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r6_counter_mi="2000"))
    assert (problem.row, problem.found) == (6, "2000")
    assert problem.allowed == "up to 300 mi, as row 8 has later (2031-01-14)"


def test_counter_of_an_install_is_compared_with_the_readings(tmp_path):
    problem = only(tmp_path, set_events=table("set_events", r2_counter_mi="1000", r2_odometer_mi=""))
    assert (problem.file, problem.row, problem.found) == ("set_events.csv", 2, "1000")
    assert problem.allowed == "up to 200 mi, as row 5 of wear_readings.csv has later (2030-12-18)"


def test_counter_runs_on_across_the_sets_of_a_truck_position(tmp_path):
    sets = TABLES["edge_sets"] + "S5,plain_steel,,,\n"
    events = (
        TABLES["set_events"] + "S1,T1,front,2031-01-15,remove,,300,,\nS5,T1,front,2031-01-16,install,,0,,\n"
    )
    readings = TABLES["wear_readings"] + "S5,2031-01-20,1,1,6.0,5,R1,caliper,0.005,no\n"
    problem = only(tmp_path, edge_sets=sets, set_events=events, wear_readings=readings)
    assert (problem.code, problem.row, problem.found) == ("counter-backwards", 7, "0")
    assert problem.allowed == "300 mi or more, as row 6 has before (2031-01-15)"


def test_counter_in_kilometers_is_said_in_kilometers(tmp_path):
    text = TABLES["wear_readings"].replace("counter_mi", "counter_km")
    found = problems(
        tmp_path, set_events=TABLES["set_events"].replace("counter_mi", "counter_km"), wear_readings=text
    )
    assert found == ()
    problem = only(
        tmp_path,
        set_events=TABLES["set_events"].replace("counter_mi", "counter_km"),
        wear_readings=text.replace("5.180,300", "5.180,30"),
    )
    assert problem.column == "counter_km"
    assert problem.allowed.startswith("200 km or more")


@pytest.mark.parametrize(
    ("before", "after", "wrong"),
    [("200.4", "200", 0), ("201", "200", 1), ("200.4", "200.3", 1), ("200.4", "199", 1)],
)
def test_less_than_a_whole_mile_back_is_rounding(tmp_path, before, after, wrong):
    text = (
        TABLES["wear_readings"]
        .replace(",200,R1,caliper,0.005,no", f",{before},R1,caliper,0.005,no")
        .replace(",300,R1", f",{after},R1")
    )
    assert len(problems(tmp_path, wear_readings=text)) == wrong


def test_counters_of_one_day_are_not_put_in_order(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-14,remove,,290,,\n"
    assert problems(tmp_path, set_events=events) == ()


def test_counters_of_one_day_with_times_are(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-14T17:00,remove,,290,,\n"
    readings = TABLES["wear_readings"].replace("S1,2031-01-14", "S1,2031-01-14T09:00")
    assert only(tmp_path, set_events=events, wear_readings=readings).code == "counter-backwards"


def test_stations_of_one_day_with_different_counters(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r9_counter_mi="3000"))
    assert (problem.code, problem.severity, problem.row, problem.found) == (
        "counter-differs",
        "warning",
        9,
        "3000",
    )
    assert problem.allowed == "one counter for the readings of a moment, here 300"


def test_more_blade_down_miles_than_miles_driven_between_two_events(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-02-20,remove,,400,40350,\n"
    problem = only(tmp_path, set_events=events)
    assert (problem.code, problem.row, problem.found) == (
        "blade-down-exceeds-odometer",
        6,
        "400, 300 more than in row 2",
    )
    assert problem.allowed == "up to 250 mi more, the miles driven since 2030-11-20"


@pytest.mark.parametrize(("odometer", "wrong"), [("40398", 0), ("40397", 1), ("40400", 0)])
def test_whole_counters_and_odometers_may_each_be_off_by_a_mile(tmp_path, odometer, wrong):
    events = TABLES["set_events"] + f"S1,T1,front,2031-02-20,remove,,400,{odometer},\n"
    assert len(problems(tmp_path, set_events=events)) == wrong


# ---------------------------------------------------------------- readings without miles
def test_blank_counters_without_shifts(tmp_path):
    problem = only(tmp_path, wear_readings=without_counters("wear_readings", 8, 9, 10))
    assert (problem.code, problem.severity, problem.row) == ("miles-unknown", "warning", 8)
    assert problem.found == "blank in 3 readings of S1, first on 2031-01-14"
    assert problem.allowed == "a counter, or shifts of T1, front from which the miles follow"
    assert problem.fix == "Fill counter_mi, or add the shifts of that truck position."


def test_blank_counters_with_shifts_are_no_problem(tmp_path):
    assert (
        problems(tmp_path, shifts=shifts(), wear_readings=without_counters("wear_readings", 8, 9, 10)) == ()
    )


def test_blank_miles_of_a_shift_are_named(tmp_path):
    readings = without_counters("wear_readings", 8, 9, 10)
    problem = only(tmp_path, shifts=shifts(r9_blade_down_mi=""), wear_readings=readings)
    assert problem.code == "miles-unknown"
    assert problem.fix == "Fill counter_mi, or blade_down_mi in shifts.csv (row 9)."


def test_one_counter_on_a_day_is_enough_for_all_its_stations(tmp_path):
    assert problems(tmp_path, wear_readings=without_counters("wear_readings", 9, 10)) == ()


def test_counter_that_cannot_be_read_is_not_unknown_as_well(tmp_path):
    cells = {f"r{row}_counter_mi": "3OO" for row in (8, 9, 10)}
    assert {p.code for p in problems(tmp_path, wear_readings=table("wear_readings", **cells))} == {
        "not-a-number"
    }


# ---------------------------------------------------------------- shifts
def test_shift_that_does_not_say_which_of_two_positions(tmp_path):
    trucks = TABLES["trucks"] + "T1,underbody,11,fixed,north\n"
    sets = TABLES["edge_sets"] + "S5,plain_steel,,,\n"
    events = TABLES["set_events"] + "S5,T1,underbody,2030-11-20,install,,0,,new\n"
    readings = TABLES["wear_readings"] + "S5,2030-12-18,1,1,5.9,100,R1,caliper,0.005,no\n"
    text = shifts(r4_plow_position="", r6_plow_position="")
    problem = only(
        tmp_path, trucks=trucks, edge_sets=sets, set_events=events, wear_readings=readings, shifts=text
    )
    assert (problem.code, problem.row, problem.column) == ("position-unknown", 4, "plow_position")
    assert problem.found == "blank in 2 shifts of T1"
    assert problem.allowed == "front or underbody"
    assert "rows 4 and 6" in problem.fix


def test_reading_whose_miles_hang_on_a_shift_without_a_position(tmp_path):
    trucks = TABLES["trucks"] + "T1,underbody,11,fixed,north\n"
    sets = TABLES["edge_sets"] + "S5,plain_steel,,,\n"
    events = TABLES["set_events"] + "S5,T1,underbody,2030-11-20,install,,0,,new\n"
    readings = without_counters("wear_readings", 8, 9, 10) + "S5,2030-12-18,1,1,5.9,100,R1,caliper,0.005,no\n"
    text = shifts(r10_plow_position="")
    found = problems(
        tmp_path, trucks=trucks, edge_sets=sets, set_events=events, wear_readings=readings, shifts=text
    )
    assert [p.code for p in found] == ["position-unknown", "miles-unknown"]
    assert found[1].fix == "Fill counter_mi, or plow_position in shifts.csv (row 10)."


def test_trial_without_any_counter_column(tmp_path):
    def without(name):
        rows = [line.split(",") for line in TABLES[name].splitlines()]
        place = rows[0].index("counter_mi")
        return "\n".join(",".join(row[:place] + row[place + 1 :]) for row in rows)

    lost = problems(
        tmp_path / "lost", set_events=without("set_events"), wear_readings=without("wear_readings")
    )
    assert [p.code for p in lost] == ["miles-unknown"] * 4
    text = shifts() + "".join(f"Y{k},T{k},front,2030-12-01T05:00,,,,30\n" for k in (2, 3, 4))
    tables = {"set_events": without("set_events"), "wear_readings": without("wear_readings"), "shifts": text}
    assert problems(tmp_path / "shifts", **tables) == ()


def test_blank_position_of_a_truck_with_one_is_no_problem(tmp_path):
    assert problems(tmp_path, shifts=shifts(**{f"r{row}_plow_position": "" for row in range(2, 12)})) == ()


def test_change_on_a_day_with_plowing_and_nothing_that_tells_the_order(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2030-12-20,flip,,,,\n"
    problem = only(tmp_path, set_events=events, shifts=shifts())
    assert (problem.code, problem.severity, problem.row, problem.column) == (
        "change-time-unknown",
        "warning",
        6,
        "date",
    )
    assert "shifts.csv row 7" in problem.found
    assert "before that day's plowing" in problem.fix


@pytest.mark.parametrize(
    "line",
    [
        "S1,T1,front,2030-12-20T04:00,flip,,,,",
        "S1,T1,front,2030-12-20,flip,,200,,",
        "S1,T1,front,2030-12-21,flip,,,,",
    ],
)
def test_change_with_a_time_or_a_counter_or_on_a_day_without_plowing(tmp_path, line):
    assert problems(tmp_path, set_events=TABLES["set_events"] + line + "\n", shifts=shifts()) == ()


def test_shifts_and_counter_that_differ_by_more_than_5_percent(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-15,remove,,300,,\n"
    problem = only(tmp_path, set_events=events, shifts=shifts(r4_blade_down_mi="31.0"))
    assert (problem.code, problem.severity, problem.file, problem.row) == (
        "miles-disagree",
        "warning",
        "set_events.csv",
        2,
    )
    assert (
        problem.found
        == "211 mi by the shifts and 200 mi by the counter for S1 on T1, front until 2031-01-15, 6% apart"
    )
    assert problem.allowed == "within 5% of the counter"


def test_shifts_and_counter_of_a_set_still_on_are_compared_up_to_its_last_reading(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_blade_down_mi="8.0"))
    assert problem.found.startswith(
        "188 mi by the shifts and 200 mi by the counter for S1 on T1, front until 2031-01-14"
    )


@pytest.mark.parametrize("miles", ["29.9", "10.1", ""])
def test_shifts_that_agree_or_are_not_complete(tmp_path, miles):
    assert problems(tmp_path, shifts=shifts(r4_blade_down_mi=miles)) == ()


def test_shift_on_the_day_of_the_install_may_belong_to_either(tmp_path):
    text = shifts(r2_start="2030-11-20T05:00", r2_end="2030-11-20T11:30", r2_blade_down_mi="32.0")
    assert problems(tmp_path, shifts=text) == ()


def test_few_counter_miles_are_not_compared(tmp_path):
    near = {f"r{row}_counter_mi": "115" for row in (5, 6, 7)} | {
        f"r{row}_counter_mi": "119" for row in (8, 9, 10)
    }
    assert milechecks.FEWEST_MI > 19
    assert problems(tmp_path, shifts=shifts(), wear_readings=table("wear_readings", **near)) == ()


def test_shift_with_an_impossible_odometer_is_not_said_to_disagree_as_well(tmp_path):
    assert only(tmp_path, shifts=shifts(r4_blade_down_mi="200.0")).code == "blade-down-exceeds-odometer"
