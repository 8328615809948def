"""An intake carried out: everything, or nothing, and what is left behind."""

import contextlib
import csv
import datetime as dt
import hashlib
import os
import random
import signal
import stat
import time

import pytest
from conftest import TABLES, write_trial
from faulty_disk import FaultyDisk, SlowDisk, contents, full_disk, in_a_child, keyboard, killed, steps_of
from intake_trials import FEBRUARY, HEADER, OLD, book, trial_and_source

from trialkit.logbook import entries, taking
from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.journal import NotAddedError, settle
from trialkit.logbook.taking import take_in
from trialkit.trial import unfinished
from trialkit.trial.checks import check_trial
from trialkit.trial.files import read_raw_tables

DEMO_READINGS = TABLES["wear_readings"]


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(unfinished.wait_for_others, "__defaults__", (0.0,))


def log(folder):
    with (folder / "intake_log.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_rows_are_added_and_entered_in_the_log(tmp_path, monkeypatch):
    monkeypatch.setattr(taking, "now", lambda: dt.datetime(2031, 2, 11, 7, 30))
    folder, path = trial_and_source(tmp_path, OLD, *FEBRUARY)
    take_in(plan_intake(path, folder), by="AN-1")
    assert (folder / "wear_readings.csv").read_text() == DEMO_READINGS + "\n".join(FEBRUARY) + "\n"
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    assert log(folder) == [
        {"when": "2031-02-11T07:30:00", "file": path.name, "sha256": sha256, "table": "wear_readings", "rows_added": "3",
         "rows_there": "1", "rows_rejected": "0", "left_out": "", "by": "AN-1"}
    ]  # fmt: skip
    checked = check_trial(folder)
    assert checked.problems == () and len(checked.draft.frames["wear_readings"]) == 39
    again = plan_intake(path, folder)
    assert (again.n_added, again.n_there) == (0, 4)
    before = (folder / "wear_readings.csv").read_bytes()
    assert take_in(again).notes == ()
    assert (folder / "wear_readings.csv").read_bytes() == before and [
        row["rows_added"] for row in log(folder)
    ] == ["3", "0"]


def test_several_tables_grow_in_one_step(tmp_path):
    folder = write_trial(tmp_path / "trial")
    path = book(
        tmp_path / "f.xlsx",
        storms=[["storm_id", "start"], ["W1", dt.date(2031, 2, 1)]],
        wear_readings=[HEADER.split(","), [*FEBRUARY[0].split(",")[:4], 4.8, 400]],
    )
    take_in(plan_intake(path, folder))
    assert (folder / "storms.csv").read_text() == "storm_id,start\nW1,2031-02-01\n"
    assert (folder / "wear_readings.csv").read_text().endswith("S1,2031-02-10,1,1,4.8,400,,,,\n")
    assert [row["table"] for row in log(folder)] == ["storms", "wear_readings"]


def test_what_is_planned_against_something_is_not_added(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("S1", "S9"))
    before = contents(folder)
    with pytest.raises(NotAddedError, match="something speaks against it"):
        take_in(plan_intake(path, folder))
    assert contents(folder) == before


def test_a_file_that_changed_since_the_plan_is_not_added_to(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    plan = plan_intake(path, folder)
    (folder / "wear_readings.csv").write_text(DEMO_READINGS + FEBRUARY[0] + "\n")
    before = contents(folder)
    with pytest.raises(NotAddedError, match=r"wear_readings.csv (was changed meanwhile|would not read back)"):
        take_in(plan)
    assert contents(folder) == before


def test_a_whole_file_that_would_read_otherwise_is_not_added_to(tmp_path, monkeypatch):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    plan = plan_intake(path, folder)
    monkeypatch.setattr(taking, "read_delimited", lambda data, table, file: (None, []))
    with pytest.raises(
        NotAddedError, match=r"wear_readings.csv would not read back as it is with the new rows"
    ):
        take_in(plan)
    monkeypatch.setattr(taking, "LARGEST_READ_AGAIN", 10)
    take_in(plan)


def test_the_clock_may_go_backwards(tmp_path, monkeypatch):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    monkeypatch.setattr(taking, "now", lambda: dt.datetime(2031, 2, 11, 7, 30))
    take_in(plan_intake(path, folder))
    monkeypatch.setattr(taking, "now", lambda: dt.datetime(1999, 1, 1))
    (note,) = take_in(plan_intake(path, folder)).notes
    assert "1999-01-01T00:00:00, which is before the last entry of the log (2031-02-11T07:30:00)" in note
    assert [row["when"] for row in log(folder)] == ["2031-02-11T07:30:00", "1999-01-01T00:00:00"]


def test_the_moment_has_whole_seconds():
    assert entries.now().microsecond == 0 and abs(entries.now() - dt.datetime.now()) < dt.timedelta(minutes=1)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("nothing like a log\n", "intake_log.csv is there but cannot be read"),
        ("when,file\n", "intake_log.csv is there but cannot be read"),
        ("", "intake_log.csv is there but cannot be read"),
    ],
)
def test_a_log_that_is_none_stops(tmp_path, content, words):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    (folder / "intake_log.csv").write_text(content)
    before = contents(folder)
    with pytest.raises(NotAddedError, match=words):
        take_in(plan_intake(path, folder))
    assert contents(folder) == before


def test_the_log_goes_on_in_its_own_way(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    old = "by,when,mine,file,sha256,table,rows_added,rows_there,rows_rejected\r\nA,2031-01-01,x,f,s,t,1,0,0"
    (folder / "intake_log.csv").write_text(old, newline="")
    take_in(plan_intake(path, folder), by="B")
    lines = (folder / "intake_log.csv").read_bytes().decode().split("\r\n")
    assert lines[0] + "\r\n" + lines[1] == old and lines[2].startswith("B,") and lines[3:] == [""]
    with pytest.raises(NotAddedError, match=r"intake_log\.csv has no column left_out"):
        take_in(plan_intake(path, folder, leave_out=["tool"]))


def test_a_log_of_other_letters(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    header = "when,file,sha256,table,rows_added,rows_there,rows_rejected,left_out,by\r\n"
    (folder / "intake_log.csv").write_bytes((header + "2031-01-01,f,s,t,1,0,0,,Noël\r\n").encode("cp1252"))
    with pytest.raises(NotAddedError, match="cp1252, which lacks a letter"):
        take_in(plan_intake(path, folder), by="Łódź")
    take_in(plan_intake(path, folder), by="Zoë")
    assert (folder / "intake_log.csv").read_bytes().decode("cp1252").endswith(",Zoë\r\n")


# ---------------------------------------------------------------- faults
def small(tmp_path, name):
    folder = write_trial(tmp_path / name)
    path = book(
        tmp_path / "f.xlsx",
        storms=[["storm_id", "start"], ["W1", "2031-02-01"]],
        wear_readings=[HEADER.split(","), *(row.split(",") for row in FEBRUARY)],
    )
    return plan_intake(path, folder)


def as_read(folder):
    tables = read_raw_tables(folder).tables
    return {name: len(tables[name].frame) if name in tables else 0 for name in ("wear_readings", "storms")}


OLD_ROWS, NEW_ROWS = {"wear_readings": 36, "storms": 0}, {"wear_readings": 39, "storms": 1}


@pytest.fixture(scope="module")
def n_steps(tmp_path_factory):
    plan = small(tmp_path_factory.mktemp("steps"), "trial")
    return steps_of(lambda disk: take_in(plan, disk=disk))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_kill_at_any_step_is_survived_by_readers_and_by_the_next_intake(tmp_path, n_steps):
    plan = small(tmp_path, "trial")
    start = contents(plan.folder)
    for number in range(n_steps):
        for path in plan.folder.iterdir():
            path.unlink()
        for name, content in start.items():
            (plan.folder / name).write_bytes(content)
        assert in_a_child(lambda n=number: take_in(plan, disk=FaultyDisk(n, killed, half=True))) == 9
        left = as_read(plan.folder)
        assert left in (OLD_ROWS, NEW_ROWS)
        settle(plan.folder)
        assert as_read(plan.folder) == left
        take_in(plan_intake(tmp_path / "f.xlsx", plan.folder))
        assert as_read(plan.folder) == NEW_ROWS
        readings = (plan.folder / "wear_readings.csv").read_text().splitlines()
        assert len(readings) == len(set(readings)) == 40


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")
def test_killed_at_any_time_the_trial_is_the_old_or_the_new_one(tmp_path):
    """Killed from outside after a random time between the start of the plan and well after its end."""
    random.seed(20310114)
    plan = small(tmp_path, "trial")
    folder = plan.folder
    start = contents(folder)
    seen = set()
    for number in range(24):
        for path in folder.iterdir():
            path.unlink()
        for name, content in start.items():
            (folder / name).write_bytes(content)
        child = os.fork()
        if child == 0:
            take_in(plan, disk=SlowDisk())
            os._exit(0)
        time.sleep(number * 0.01 + random.uniform(0.0, 0.01))
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        left = as_read(folder)
        assert left in (OLD_ROWS, NEW_ROWS)
        seen.add(left["storms"])
        settle(folder)
        assert as_read(folder) == left
    assert seen == {0, 1}


@pytest.mark.parametrize("fault", [full_disk, keyboard])
def test_a_failure_at_any_step_leaves_nothing_behind(tmp_path, n_steps, fault):
    plan = small(tmp_path, "trial")
    before = contents(plan.folder)
    for number in range(n_steps - 3):
        with pytest.raises((NotAddedError, KeyboardInterrupt)):
            take_in(plan, disk=FaultyDisk(number, fault, half=True))
        assert contents(plan.folder) == before
    take_in(plan)
    assert as_read(plan.folder) == NEW_ROWS


def test_rejected_rows_do_not_stay_when_nothing_is_added(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY, FEBRUARY[0].replace("S1", "S9"))
    plan = plan_intake(path, folder, accept_clean=True)
    for fault in (full_disk, keyboard):
        with pytest.raises((NotAddedError, KeyboardInterrupt)):
            take_in(plan, disk=FaultyDisk(2, fault))
        assert [item.name for item in path.parent.iterdir()] == [path.name]
    rejects = take_in(plan).rejects
    assert (
        rejects == path.with_name("wear_readings_feb_rejects.xlsx") and log(folder)[0]["rows_rejected"] == "1"
    )


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_in(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    plan = plan_intake(path, folder)
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        with pytest.raises(NotAddedError, match="Permission denied"):
            take_in(plan)
    finally:
        folder.chmod(stat.S_IRWXU)


def test_a_file_that_may_not_be_written_stays_and_so_do_the_others(tmp_path):
    plan = small(tmp_path, "trial")
    before = contents(plan.folder)

    def denied():
        raise PermissionError(13, "Permission denied", "wear_readings.csv")

    with pytest.raises(NotAddedError, match=r"nothing was added: Permission denied \(wear_readings.csv\)"):
        take_in(plan, disk=FaultyDisk(0, denied))
    assert contents(plan.folder) == before


@pytest.mark.parametrize(
    "name", ["a folder with spaces", "čapka ❄ 'n' [x]", "x" * 200 + "/" + "y" * 200 + "/" + "z" * 90]
)
def test_odd_and_long_paths(tmp_path, name):
    folder, path = trial_and_source(tmp_path / name, *FEBRUARY, FEBRUARY[0].replace("S1", "S9"))
    taken = take_in(plan_intake(path, folder, accept_clean=True))
    assert as_read(folder)["wear_readings"] == 39 and taken.rejects.exists()


def test_a_table_on_another_drive_is_added_to_where_it_is(tmp_path):
    elsewhere = tmp_path / "other drive"
    elsewhere.mkdir()
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    (folder / "wear_readings.csv").rename(elsewhere / "wear_readings.csv")
    (folder / "wear_readings.csv").symlink_to(elsewhere / "wear_readings.csv")
    take_in(plan_intake(path, folder))
    assert (folder / "wear_readings.csv").is_symlink() and as_read(folder)["wear_readings"] == 39
