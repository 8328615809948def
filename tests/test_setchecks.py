"""Sets: the order of their events, one at a time on a truck, readings within their life; one slip, one message."""

import pytest
from conftest import TABLES, replaced, write_trial
from season import table

from trialkit.trial import checks


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def events(*lines):
    return TABLES["set_events"] + "".join(f"{line},,,,\n" for line in lines)


FIVE = {
    "edge_sets": TABLES["edge_sets"] + "S5,plain_steel,,,\n",
    "wear_readings": TABLES["wear_readings"] + "S5,2031-01-20,1,1,6.0,350,R1,caliper,0.005,yes\n",
}


# ---------------------------------------------------------------- edge types
@pytest.mark.parametrize(
    ("label", "found"),
    [("Plain steel", '"Plain steel", as in row 2'), ("plain  STEEL", '"plain  STEEL", as in row 2')],
)
def test_two_edge_types_with_one_label(tmp_path, label, found):
    types = (
        TABLES["edge_types"].replace("Carbide insert", "Plain steel").replace(",Plain steel,6", f",{label},6")
    )
    problem = only(tmp_path, edge_types=types)
    assert (problem.code, problem.row, problem.column, problem.found) == ("label-twice", 3, "label", found)
    assert problem.stops
    assert problem.fix == "Give one of them another label."


def test_a_label_that_is_the_name_of_a_type_without_one(tmp_path):
    types = TABLES["edge_types"].replace("Plain steel,", "carbide_insert,").replace("Carbide insert,", ",")
    assert only(tmp_path, edge_types=types).found == '"carbide_insert", as in row 2'


def test_types_without_labels_are_told_by_their_names(tmp_path):
    types = TABLES["edge_types"].replace("Plain steel,", ",").replace("Carbide insert,", ",")
    assert problems(tmp_path, edge_types=types) == ()


# ---------------------------------------------------------------- the order of events
@pytest.mark.parametrize(
    ("lines", "row", "found", "allowed"),
    [
        (["S1,T1,front,2031-02-20,install"], 6, "install", "nothing but a removal after the install of 2030-11-20 in row 2"),
        (
            ["S1,T1,front,2031-02-20,break", "S1,T1,front,2031-02-21,remove"], 7, "remove",
            "nothing but an install after the break of 2031-02-20 in row 6, which took the set off",
        ),
        (["S1,T1,front,2030-11-01,remove"], 6, "remove", "an install first"),
    ],
)  # fmt: skip
def test_events_that_cannot_follow_each_other(tmp_path, lines, row, found, allowed):
    problem = only(tmp_path, set_events=events(*lines))
    assert (problem.code, problem.row, problem.column, problem.found) == ("event-order", row, "event", found)
    assert problem.allowed == allowed


def test_flip_of_a_set_that_is_not_on_a_truck(tmp_path):
    problem = only(tmp_path, set_events=events("S1,T1,front,2030-10-20,flip"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "event-order",
        6,
        "date",
        "2030-10-20",
    )
    assert problem.allowed == "a day on which the set was on a truck: from 2030-11-20 on (T1, front)"


@pytest.mark.parametrize("event", ["remove", "flip"])
def test_event_that_names_another_truck_than_the_install(tmp_path, event):
    problem = only(tmp_path, set_events=events(f"S1,T2,front,2031-02-20,{event}"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "event-order",
        6,
        "truck_id",
        "T2, front",
    )
    assert problem.allowed == "T1, front, where the set was installed"


@pytest.mark.parametrize(
    "lines",
    [
        ["S1,T1,front,2031-02-20,remove", "S1,T1,front,2031-02-25,install"],
        ["S1,T1,front,2031-02-20,season_end"],
        ["S1,T1,front,2031-01-14,flip", "S1,T1,front,2031-02-20,lost"],
        ["S1,T1,front,2030-11-20,flip"],
        ["S1,T1,front,2031-02-20,re_reference", "S1,T1,front,2031-02-20,remove"],
    ],
)
def test_events_that_may_follow_each_other(tmp_path, lines):
    assert problems(tmp_path, set_events=events(*lines)) == ()


def test_set_moved_to_another_truck_on_one_day(tmp_path):
    trucks = TABLES["trucks"] + "T5,front,11,trip_edge,north\n"
    moved = events("S1,T1,front,2031-02-20,remove", "S1,T5,front,2031-02-20,install")
    assert problems(tmp_path, trucks=trucks, set_events=moved) == ()


# ---------------------------------------------------------------- sets without an install
def test_readings_of_a_set_that_was_never_installed(tmp_path):
    problem = only(
        tmp_path,
        set_events=TABLES["set_events"].replace("S1,T1,front,2030-11-20,install,,100,40100,new\n", ""),
    )
    assert (problem.code, problem.file, problem.row) == ("no-install", "wear_readings.csv", 2)
    assert problem.found == "S1 with 9 readings and no install"
    assert problem.fix == "Add the install of this set to set_events.csv, or correct the set."


def test_events_of_a_set_that_was_never_installed(tmp_path):
    problem = only(
        tmp_path,
        set_events=replaced("set_events", "S1,T1,front,2030-11-20,install", "S1,T1,front,2030-11-20,flip"),
    )
    assert (problem.code, problem.file, problem.row) == ("no-install", "set_events.csv", 2)
    assert problem.found == "S1 with 1 event and no install"


@pytest.mark.parametrize(("day", "code"), [("2030-11-20", "duplicate-key"), ("2030-11-21", "event-order")])
@pytest.mark.parametrize("removal", ["", "S1,T1,front,2031-02-20,remove,,,,\n"])
def test_install_under_the_name_of_another_set_is_said_once(tmp_path, day, code, removal):
    assert only(tmp_path, set_events=table("set_events", r2_set_id="S3", r2_date=day) + removal).code == code


def test_install_under_an_unknown_name_is_said_once(tmp_path):
    assert only(tmp_path, set_events=table("set_events", r2_set_id="X7")).code == "unknown-key"


def test_removal_under_an_unknown_name_does_not_leave_two_sets_on(tmp_path):
    text = events("S9,T1,front,2031-01-15,remove", "S5,T1,front,2031-01-16,install")
    assert only(tmp_path, set_events=text, **FIVE).code == "unknown-key"


def test_event_without_a_set_does_not_leave_two_sets_on(tmp_path):
    text = events(",T1,front,2031-01-15,remove", "S5,T1,front,2031-01-16,install")
    assert only(tmp_path, set_events=text, **FIVE).code == "cell-missing"


def test_event_twice_in_the_file_is_only_a_double(tmp_path):
    problem = only(
        tmp_path, set_events=TABLES["set_events"] + "S1,T1,front,2030-11-20,install,,100,40100,new\n"
    )
    assert problem.code == "duplicate-key"


# ---------------------------------------------------------------- two sets on one position
def test_set_put_on_while_another_is_still_on(tmp_path):
    problem = only(tmp_path, set_events=events("S5,T1,front,2031-01-16,install"), **FIVE)
    assert (problem.code, problem.row, problem.column) == ("two-sets-active", 6, "set_id")
    assert problem.found == "S5 on T1, front, where S1 is on since 2030-11-20 (row 2, not removed)"
    assert problem.fix == "Add the removal of S1, or correct the truck, the position or a date."


def test_set_put_on_before_the_other_came_off(tmp_path):
    text = events("S5,T1,front,2031-01-16,install", "S1,T1,front,2031-01-18,remove")
    problem = only(tmp_path, set_events=text, **FIVE)
    assert (
        problem.found
        == "S5 on T1, front, where S1 is on since 2030-11-20 (row 2, removed on 2031-01-18 in row 7)"
    )


def test_set_on_the_wrong_truck_is_said_once(tmp_path):
    assert only(tmp_path, set_events=replaced("set_events", "S2,T2", "S2,T1")).code == "two-sets-active"


@pytest.mark.parametrize(
    ("off", "on", "wrong"),
    [
        ("2031-01-16", "2031-01-16", 0),
        ("2031-01-16T10:00", "2031-01-16", 0),
        ("2031-01-16", "2031-01-16T10:00", 0),
        ("2031-01-16T10:00", "2031-01-16T10:00", 0),
        ("2031-01-16T10:00", "2031-01-16T09:00", 1),
        ("2031-01-16T10:00", "2031-01-16T11:00", 0),
        ("2031-01-17", "2031-01-16", 1),
    ],
)
def test_swap_on_one_day(tmp_path, off, on, wrong):
    text = events(f"S1,T1,front,{off},remove", f"S5,T1,front,{on},install")
    assert [p.code for p in problems(tmp_path, set_events=text, **FIVE)] == ["two-sets-active"] * wrong


def test_one_set_in_the_way_is_said_once(tmp_path):
    tables = {
        "edge_sets": FIVE["edge_sets"] + "S6,plain_steel,,,\n",
        "wear_readings": FIVE["wear_readings"] + "S6,2031-02-10,1,1,6.0,400,R1,caliper,0.005,yes\n",
    }
    text = events(
        "S5,T1,front,2031-01-16,install", "S5,T1,front,2031-02-01,remove", "S6,T1,front,2031-02-01,install"
    )
    assert only(tmp_path, set_events=text, **tables).row == 6


# ---------------------------------------------------------------- readings outside the life
def test_reading_before_the_install(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r5_date="2030-10-18"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "reading-outside-life",
        5,
        "date",
        "2030-10-18",
    )
    assert problem.allowed == "from 2030-11-20 on (T1, front)"
    assert problem.key == "S1, 2030-10-18, station 1"


def test_readings_after_the_removal_are_one_problem(tmp_path):
    problem = only(tmp_path, set_events=events("S1,T1,front,2030-12-01,remove"))
    assert problem.found == "2030-12-18 to 2031-01-14 in 6 rows"
    assert problem.allowed == "from 2030-11-20 to 2030-12-01 (T1, front)"


def test_reading_on_the_day_of_the_removal_is_inside(tmp_path):
    assert problems(tmp_path, set_events=events("S1,T1,front,2031-01-14,remove")) == ()


def test_reading_at_a_time_after_the_removal_is_outside(tmp_path):
    readings = TABLES["wear_readings"].replace("S1,2031-01-14", "S1,2031-01-14T15:00")
    problem = only(tmp_path, set_events=events("S1,T1,front,2031-01-14T14:00,remove"), wear_readings=readings)
    assert problem.found == "2031-01-14T15:00 in 3 rows"


# ---------------------------------------------------------------- stations, sets and types without enough
def test_station_that_was_not_there_at_the_install(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r10_station="33"))
    assert (problem.code, problem.severity, problem.row, problem.found) == (
        "station-off-edge",
        "warning",
        10,
        "33",
    )
    assert problem.allowed == "up to 3, the largest station read at first"


def test_installed_set_that_was_never_read(tmp_path):
    text = events("S1,T1,front,2031-01-15,remove", "S5,T1,front,2031-01-16,install")
    problem = only(tmp_path, set_events=text, edge_sets=FIVE["edge_sets"])
    assert (problem.code, problem.severity, problem.row, problem.found) == ("no-readings", "warning", 7, "S5")
    assert "wear_readings.csv" in problem.fix


@pytest.mark.parametrize(
    ("extra", "found"), [("", "rubber, read on no truck"), ("S1", "rubber, read on 1 truck")]
)
def test_edge_type_on_fewer_than_two_trucks(tmp_path, extra, found):
    types = TABLES["edge_types"] + "rubber,Rubber,6,3,set\n"
    sets, settled = TABLES["edge_sets"], TABLES["set_events"]
    trucks, read = TABLES["trucks"], TABLES["wear_readings"]
    if extra:
        sets += "S5,rubber,,,\n"
        trucks += "T5,front,11,trip_edge,north\n"
        settled += "S5,T5,front,2031-01-20,install,,350,,\n"
        read = FIVE["wear_readings"]
    problem = only(
        tmp_path, edge_types=types, edge_sets=sets, trucks=trucks, set_events=settled, wear_readings=read
    )
    assert (problem.code, problem.severity, problem.row, problem.found) == ("few-trucks", "warning", 4, found)
    assert problem.allowed == "2 trucks or more"


def test_reference_that_the_sets_name_is_said_once(tmp_path):
    problem = only(tmp_path, edge_types=TABLES["edge_types"].replace("plain_steel", "plain_stele"))
    assert (problem.code, problem.found) == ("unknown-key", '"plain_steel" in 2 rows')
