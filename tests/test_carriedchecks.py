"""Rules for what trucks carry: the type assigned, new sets that are new, and trucks that fall silent."""

import datetime as dt

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.trial import checks

ASSIGNED = """\
truck_id,plow_position,period,edge_type,how,reason
T1,front,1,plain_steel,random,
T2,front,1,carbide_insert,random,
T3,front,,plain_steel,random,
T4,front,1,carbide_insert,random,
"""
ROTATING = """\
truck_id,plow_position,period,edge_type,how,reason
T1,front,1,plain_steel,random,
T1,front,2,carbide_insert,random,
T1,front,3,plain_steel,random,
"""
CHANGED = {
    "edge_sets": TABLES["edge_sets"] + "S5,carbide_insert,,,\nS6,plain_steel,,,\nS7,plain_steel,,,\n",
    "wear_readings": TABLES["wear_readings"]
    + "S5,2031-01-20,1,1,5.0,350,R1,caliper,0.005,yes\n"
    + "S6,2031-02-20,1,1,6.0,350,R1,caliper,0.005,yes\n"
    + "S7,2031-01-20,1,1,6.0,350,R1,caliper,0.005,yes\n",
}


def problems(folder, settings=SETTINGS, **tables):
    return checks.check_trial(write_trial(folder, settings=settings, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def events(*lines, reason=""):
    return TABLES["set_events"] + "".join(f"{line},,,,{reason}\n" for line in lines)


def changed(kept, *lines):
    """The trial with further sets, of which only those that are named are read."""
    sets = [
        line
        for line in CHANGED["edge_sets"].splitlines()
        if not line.startswith(("S5", "S6", "S7")) or line[:2] in kept
    ]
    read = [
        line
        for line in CHANGED["wear_readings"].splitlines()
        if not line.startswith(("S5", "S6", "S7")) or line[:2] in kept
    ]
    return {
        "edge_sets": "\n".join(sets) + "\n",
        "wear_readings": "\n".join(read) + "\n",
        "set_events": events(*lines),
    }


# ---------------------------------------------------------------- the type assigned
def test_what_was_assigned_is_carried(tmp_path):
    assert problems(tmp_path, assignments=ASSIGNED) == ()


def test_a_position_that_carries_another_type_than_assigned(tmp_path):
    swapped = ASSIGNED.replace("T3,front,,plain_steel", "T3,front,,carbide_insert")
    problem = only(tmp_path, assignments=swapped)
    assert (problem.code, problem.severity) == ("edge-not-assigned", "warning")
    assert (problem.file, problem.row, problem.column) == ("set_events.csv", 4, "set_id")
    assert problem.key == "T3, front, 2030-11-20"
    assert problem.found == "S3 of type plain_steel"
    assert problem.allowed == "a set of type carbide_insert, which assignments.csv gives T3, front"
    assert "how swap, with the reason" in problem.fix and "for want of stock" in problem.fix


def test_only_the_set_put_on_for_want_of_stock_departs(tmp_path):
    lines = (
        "S1,T1,front,2031-01-20,break", "S5,T1,front,2031-01-20,install", "S5,T1,front,2031-02-20,remove",
        "S6,T1,front,2031-02-20,install",
    )  # fmt: skip
    problem = only(tmp_path, assignments=ASSIGNED, **changed(("S5", "S6"), *lines))
    assert (problem.code, problem.row, problem.found) == ("edge-not-assigned", 7, "S5 of type carbide_insert")


def test_several_sets_of_one_wrong_type_are_told_once(tmp_path):
    lines = ("S1,T1,front,2031-01-20,remove", "S7,T1,front,2031-01-20,install")
    swapped = ASSIGNED.replace("T1,front,1,plain_steel", "T1,front,1,carbide_insert")
    problem = only(tmp_path, assignments=swapped, **changed(("S7",), *lines))
    assert (problem.row, problem.found) == (2, "S1 and S7 of type plain_steel")


def test_a_plow_that_is_not_assigned_or_twice_is_not_judged(tmp_path):
    assert problems(tmp_path, assignments=ASSIGNED.replace("T3,front,,plain_steel,random,\n", "")) == ()
    twice = ASSIGNED + "T1,front,1,carbide_insert,random,\n"
    assert [p.code for p in problems(tmp_path, assignments=twice)] == ["duplicate-key"]


def test_rotating_types_are_judged_by_their_order(tmp_path):
    lines = (
        "S1,T1,front,2031-01-20,remove", "S5,T1,front,2031-01-20,install", "S5,T1,front,2031-02-20,remove",
        "S6,T1,front,2031-02-20,install",
    )  # fmt: skip
    as_planned = changed(("S5", "S6"), *lines)
    assert problems(tmp_path, assignments=ROTATING, **as_planned) == ()
    begun = changed(("S5",), *lines[:2])
    assert problems(tmp_path, assignments=ROTATING, **begun) == ()
    left_out = ROTATING.replace("T1,front,2,carbide_insert", "T1,front,2,plain_steel")
    problem = only(tmp_path, assignments=left_out, **begun)
    assert (problem.row, problem.found) == (7, "S5 of type carbide_insert")
    other = ROTATING.replace("2,carbide_insert", "2,plain_steel").replace("3,plain_steel", "3,carbide_insert")
    assert problems(tmp_path, assignments=other, **begun) == ()


def test_a_type_that_rotates_out_of_turn(tmp_path):
    lines = ("S1,T1,front,2031-01-20,remove", "S7,T1,front,2031-01-20,install")
    turns = ROTATING.replace("T1,front,1,plain_steel", "T1,front,1,carbide_insert").replace(
        "T1,front,2,carbide_insert", "T1,front,2,plain_steel"
    )
    problem = only(tmp_path, assignments=turns, **changed(("S7",), *lines))
    assert (problem.row, problem.found) == (2, "S1 of type plain_steel")
    assert (
        problem.allowed == "a set of type carbide_insert, which assignments.csv gives T1, front for period 1"
    )


@pytest.mark.parametrize(("end", "told"), [("2031-01-31", True), ("2031-04-30", False)])
def test_a_change_over_that_is_not_made_by_the_middle_of_its_period(tmp_path, end, told):
    plan = f'[plan]\ndesign = "rotated"\nseason_start = 2030-11-01\nseason_end = {end}\n'
    two = ROTATING.replace("T1,front,3,plain_steel,random,\n", "")
    found = problems(tmp_path, settings=SETTINGS + plan, assignments=two)
    # of 92 days from November 1 the second of two halves has its middle on day 69, January 9; the last reading is of January 14
    assert [p.found for p in found] == (
        ["S1 of type plain_steel, still on in the middle of period 2"] if told else []
    )


# ---------------------------------------------------------------- worn sets as new ones
@pytest.mark.parametrize(
    ("event", "off", "on", "told"),
    [
        ("remove", "worn_to_limit", "new", "worn_to_limit"),
        ("remove", "worn_uneven", "new", "worn_uneven"),
        ("break", "", "new", "break"),
        ("lost", "", "new", "lost"),
        ("remove", "worn_to_limit", "other", None),
        ("remove", "worn_to_limit", "", None),
        ("remove", "loose", "new", None),
    ],
)
def test_a_worn_set_that_is_put_on_again_as_new(tmp_path, event, off, on, told):
    lines = f"S1,T1,front,2031-02-20,{event},,,,{off}\nS1,T1,front,2031-02-21,install,,,,{on}\n"
    found = problems(tmp_path, set_events=TABLES["set_events"] + lines)
    if told is None:
        assert found == ()
        return
    (problem,) = found
    assert (problem.code, problem.severity, problem.row) == ("worn-set-as-new", "warning", 7)
    assert (problem.column, problem.found) == ("reason", "new")
    assert problem.allowed == f"another reason: it came off T1, front on 2031-02-20 (row 6, {told})"
    assert "give it its own number in edge_sets.csv" in problem.fix


# ---------------------------------------------------------------- trucks that fall silent
def stopped(*days, plow="S4"):
    """The readings without those of one set on some days."""
    lines = TABLES["wear_readings"].splitlines(keepends=True)
    return "".join(line for line in lines if not line.startswith(tuple(f"{plow},{day}" for day in days)))


def test_a_truck_without_records_while_the_others_go_on(tmp_path):
    problem = only(tmp_path, wear_readings=stopped("2030-12-18", "2031-01-14"))
    assert (problem.code, problem.severity) == ("position-silent", "warning")
    assert (problem.file, problem.row, problem.key) == ("set_events.csv", 5, "T4, front")
    assert problem.found == (
        "nothing after 2030-11-20, while two thirds of the others have records up to 2031-01-14 or later"
    )
    assert "the removal of S4 with its day and the reason trial_end" in problem.fix


def test_four_weeks_are_the_least_silence(tmp_path):
    # from 2030-12-18 to 2031-01-14 are 27 days, of 55 since the install
    assert problems(tmp_path, wear_readings=stopped("2031-01-14")) == ()
    later = TABLES["wear_readings"].replace("2031-01-14", "2031-01-15")
    lines = [line for line in later.splitlines(keepends=True) if not line.startswith("S4,2031-01-15")]
    assert only(tmp_path, wear_readings="".join(lines)).code == "position-silent"


def test_a_set_that_came_off_is_not_missed(tmp_path):
    off = events("S4,T4,front,2030-11-25,remove", reason="trial_end")
    assert problems(tmp_path, set_events=off, wear_readings=stopped("2030-12-18", "2031-01-14")) == ()


@pytest.mark.parametrize("place", ["front", ""])
def test_a_shift_is_a_record_too(tmp_path, place):
    shifts = (
        "shift_id,truck_id,plow_position,start,end\n"
        f"X1,T4,{place},2031-01-10T05:00,2031-01-10T11:00\n"
    )  # fmt: skip
    found = problems(tmp_path, wear_readings=stopped("2030-12-18", "2031-01-14"), shifts=shifts)
    assert found == ()


def test_while_the_rows_of_half_of_the_trucks_are_typed_in_the_other_half_is_not_silent(tmp_path):
    later = TABLES["wear_readings"]
    for number, height, counter in (("S1", "5.0", 400), ("S2", "4.8", 500)):
        later += f"{number},2031-02-20,1,1,{height},{counter},R1,caliper,0.005,no\n"
    trucks = TABLES["trucks"] + "T5,front,11,trip_edge,south\n"
    sets = TABLES["edge_sets"] + "S5,plain_steel,L1,400,bought\n"
    on = events("S5,T5,front,2030-11-20,install")
    read = "".join(
        f"S5,{day},1,1,{height},{counter},R2,caliper,0.005,no\n"
        for day, height, counter in (("2030-11-20", 6, 1), ("2031-01-14", 5, 200))
    )
    tables = {"trucks": trucks, "edge_sets": sets, "set_events": on}
    assert problems(tmp_path, wear_readings=later + read, **tables) == ()
    more = later + read + "S3,2031-02-20,1,1,4.8,600,R2,caliper,0.005,no\n"
    assert {p.key for p in problems(tmp_path, wear_readings=more, **tables)} == {"T4, front", "T5, front"}


def test_one_late_record_of_one_truck_makes_nobody_else_silent(tmp_path):
    late = TABLES["wear_readings"] + "S1,2031-04-14,1,1,5.1,320,R1,caliper,0.005,no\n"
    assert problems(tmp_path, wear_readings=late) == ()


def read_weekly(weeks, without=()):
    """Readings of four sets at one station every week; some weeks of the last set left out."""
    lines = [TABLES["wear_readings"].splitlines()[0]]
    for k in range(weeks):
        day = dt.date(2030, 11, 20) + dt.timedelta(days=7 * k)
        for number, new in enumerate((6.0, 5.0, 6.0, 5.0), start=1):
            if number < 4 or k not in without:
                lines.append(
                    f"S{number},{day},1,1,{new - 0.05 * k:.3f},{100 * number + 50 * k},R1,caliper,0.005,no"
                )
    return "\n".join(lines) + "\n"


def test_three_rounds_of_the_others_are_enough(tmp_path):
    # six weekly rounds from November 20; 21 days and three rounds without T4
    assert only(tmp_path, wear_readings=read_weekly(6, (3, 4, 5))).code == "position-silent"
    assert problems(tmp_path, wear_readings=read_weekly(5, (3, 4))) == ()


def test_a_truck_that_was_silent_as_long_before_is_only_read_more_seldom(tmp_path):
    assert problems(tmp_path, wear_readings=read_weekly(8, (1, 2, 3, 5, 6, 7))) == ()


def test_where_no_set_can_be_judged_nobody_is_silent(tmp_path):
    shifts = (
        "shift_id,truck_id,plow_position,start,end,odometer_start_mi,odometer_end_mi,blade_down_mi\n"
        "H1,T1,front,2030-12-01T05:00,2030-12-01T11:00,40110,40150,20\n"
    )
    twice = (
        TABLES["set_events"]
        + "\n".join(TABLES["set_events"].splitlines()[1:]).replace("2030-11-20", "2030-11-21")
        + "\n"
    )
    found = problems(tmp_path, set_events=twice, shifts=shifts)
    assert any(problem.stops and problem.file == "set_events.csv" for problem in found)
    assert "position-silent" not in {problem.code for problem in found}
