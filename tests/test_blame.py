"""Which new rows a problem is about."""

import pytest
from conftest import write_trial
from intake_trials import FEBRUARY, HEADER, book

from trialkit.errors import Problem
from trialkit.logbook.blame import row_of, rows_to_leave_out
from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.joined import judge
from trialkit.trial.files import read_raw_tables

NEW_READING = 38
"""Row that the first new reading will have."""


@pytest.fixture(scope="module")
def joined(tmp_path_factory):
    """A trial with new rows of several tables: the draft with them, and the growths."""
    place = tmp_path_factory.mktemp("blame")
    folder = write_trial(place / "trial", storms="storm_id,start\nW1,2031-01-01\n")
    readings = [
        *FEBRUARY,
        "S2,2031-02-10,1,1,99,500,R1,caliper,0.005,no",
        "S3,2031-02-10,1,1,98,600,R1,caliper,0.005,no",
    ]
    path = book(
        place / "f.xlsx",
        wear_readings=[HEADER.split(","), *(line.split(",") for line in readings)],
        set_events=[
            ["set_id", "truck_id", "plow_position", "date", "event"],
            ["S1", "T1", "wing_left", "2031-02-12", "flip"],
            ["S9", "T4", "wing_left", "2031-02-12", "flip"],
            ["S4", "T4", "wing_left", "2031-02-13", "flip"],
        ],
        sound=[
            [
                "sound_id",
                "truck_id",
                "date",
                "set_id",
                "task",
                "duration_min",
                "level_dba",
                "exchange_rate_db",
            ],
            ["N1", "T9", "2031-02-01", "S9", "idle", 5, 80, 3],
            ["N2", "T3", "2031-02-01", "", "idle", 5, 80, 3],
        ],
    )
    plan = plan_intake(path, folder)
    growths = {table.name: table.growth for table in plan.tables}
    return judge(folder, read_raw_tables(folder), growths, {}).draft, growths


def about(joined, *problems):
    draft, growths = joined
    return sorted(rows_to_leave_out(problems, draft, growths))


def test_a_new_row_that_is_named(joined):
    problem = Problem("height-rises", "wear_readings.csv", NEW_READING + 2)
    assert row_of(problem, joined[1]) == ("wear_readings", 2)
    assert about(joined, problem) == [("wear_readings", 2)]
    assert row_of(Problem("height-rises", "wear_readings.csv", 5), joined[1]) is None
    assert row_of(Problem("height-rises", "trucks.csv", NEW_READING), joined[1]) is None


def test_every_row_that_names_the_same_unknown_thing(joined):
    assert about(joined, Problem("unknown-key", "set_events.csv", 7, column="set_id")) == [
        ("set_events", 1),
        ("sound", 0),
    ]
    assert about(joined, Problem("unknown-key", "set_events.csv", 7, column="plow_position")) == [
        ("set_events", 1),
        ("set_events", 2),
    ]
    assert about(joined, Problem("unknown-key", "sound.csv", 2, column="truck_id")) == [("sound", 0)]
    assert about(joined, Problem("unknown-key", "sound.csv", 3, column="set_id")) == [
        ("sound", 1)
    ]  # blank: itself
    assert about(joined, Problem("unknown-key", "sound.csv", 3, column="odd")) == [("sound", 1)]


def test_every_impossible_number_of_the_column(joined):
    problem = Problem("out-of-range", "wear_readings.csv", NEW_READING + 3, column="height_in")
    assert about(joined, problem) == [("wear_readings", 3), ("wear_readings", 4)]
    problem = Problem("out-of-range", "wear_readings.csv", NEW_READING, column="reader")
    assert about(joined, problem) == [("wear_readings", 0)]
    problem = Problem("out-of-range", "wear_readings.csv", NEW_READING, column="odd")
    assert about(joined, problem) == [("wear_readings", 0)]


def test_an_old_row_leads_to_the_new_rows_of_its_set_truck_or_shift(joined):
    assert about(joined, Problem("counter-backwards", "wear_readings.csv", 8)) == [
        ("set_events", 0), ("wear_readings", 0), ("wear_readings", 1), ("wear_readings", 2),
    ]  # fmt: skip
    assert about(joined, Problem("odometer-backwards", "trucks.csv", 4)) == [("sound", 1)]
    assert about(joined, Problem("odometer-backwards", "trucks.csv", 3)) == [
        ("wear_readings", 3)
    ]  # S2 was on T2


def test_what_leads_nowhere_is_about_all_new_rows(joined):
    everything = [(name, place) for name, growth in joined[1].items() for place in growth.positions]
    assert about(joined, Problem("exchange-rates-mixed", "storms.csv", 2)) == sorted(everything)
    assert about(joined, Problem("exchange-rates-mixed", "trial.toml")) == sorted(everything)
    assert about(joined, Problem("no-rows", "sound.csv")) == [("sound", 0), ("sound", 1)]


def test_what_names_no_row_waits_for_what_does(joined):
    located, rest = (
        Problem("height-rises", "wear_readings.csv", NEW_READING),
        Problem("height-rises", "wear_readings.csv"),
    )
    assert about(joined, located, rest) == [("wear_readings", 0)]


def test_no_problem_is_about_no_row(joined):
    assert about(joined) == []
