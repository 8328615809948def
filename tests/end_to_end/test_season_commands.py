"""The commands of the season as they are typed: rows taken in and decisions written, and killed on the way."""

import os
import subprocess
import sys

import pytest
from conftest import TABLES, write_trial
from faulty_disk import contents
from intake_trials import FEBRUARY, OLD, source, trial_and_source

from trialkit import __main__ as command_line
from trialkit.logbook import folder_lock
from trialkit.trial.unfinished import JOURNAL


def run(*arguments, **options):
    command = [sys.executable, "-m", "trialkit", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, **options)


def here(*arguments):
    """The command in this process."""
    return command_line.main([str(argument) for argument in arguments])


def readings(folder):
    return (folder / "wear_readings.csv").read_text().splitlines()


def test_intake_shows_adds_and_says_so(tmp_path, capsys):
    folder, path = trial_and_source(tmp_path, OLD, *FEBRUARY)
    before = contents(folder)
    assert here("intake", path, "--into", folder, "--dry-run") == command_line.CLEAN
    shown = capsys.readouterr().out
    assert shown.endswith("Nothing was added: this was a dry run.\n")
    assert "3 rows to add and 1 row already there" in shown and contents(folder) == before
    said = run("intake", path, "--into", folder, "--by", "AN-1")
    assert said.returncode == command_line.CLEAN and said.stderr == ""
    assert "Added: 3 rows to wear_readings.csv. Skipped, since the trial has them: 1 row." in said.stdout
    assert len(readings(folder)) == 40 and "AN-1" in (folder / "intake_log.csv").read_text()
    assert sorted(contents(folder)) == sorted([*before, "intake_log.csv"])
    assert here("check", folder) == command_line.CLEAN
    assert "nothing wrong" in capsys.readouterr().out


def test_intake_of_problems_adds_nothing_unless_the_clean_rows_are_asked_for(tmp_path, capsys):
    folder, path = trial_and_source(tmp_path, *FEBRUARY[:2], FEBRUARY[2].replace("S1", "S9"))
    before = contents(folder)
    assert here("intake", path, "--into", folder) == command_line.PROBLEMS
    assert capsys.readouterr().out.endswith(
        "nothing can be added until it is mended. `--accept-clean` adds the rows that nothing speaks against.\n"
        "Nothing was added.\n"
    )
    assert contents(folder) == before
    assert here("intake", path, "--into", folder, "--accept-clean", "--dry-run") == command_line.PROBLEMS
    assert contents(folder) == before and len(list(path.parent.iterdir())) == 1
    assert here("intake", path, "--into", folder, "--accept-clean") == command_line.PROBLEMS
    assert "Left out: 1 row, with the reasons in" in capsys.readouterr().out
    assert len(readings(folder)) == 39 and path.with_name("wear_readings_feb_rejects.xlsx").exists()


def test_options_of_intake(tmp_path, capsys):
    folder = write_trial(tmp_path / "trial")
    path = source(
        tmp_path / "in", "W1,2031-01-02,x,y", header="storm_id,start,mine,yours", name="from the garage.csv"
    )
    assert here("intake", path, "--into", folder) == command_line.WRONG_USE
    assert (
        here("intake", path, "--into", folder, "--table", "storms", "--leave-out", "mine", "--all-rows")
        == command_line.CLEAN
    )
    assert (folder / "storms.csv").read_text() == "storm_id,start,yours\nW1,2031-01-02,y\n"
    path = source(tmp_path / "in", "W2,2031-01-03,x", header="storm_id,start,mine", name="storms.csv")
    assert here("intake", path, "--into", folder) == command_line.PROBLEMS
    assert here("intake", path, "--into", folder, "--add-columns") == command_line.CLEAN
    assert (
        folder / "storms.csv"
    ).read_text() == "storm_id,start,yours,mine\nW1,2031-01-02,y,\nW2,2031-01-03,,x\n"
    assert "mine" in capsys.readouterr().out


def test_decide_writes_a_line_that_fits(tmp_path, capsys):
    folder = write_trial(tmp_path / "trial")
    line = ("decide", folder, "--table", "wear_readings", "--row", "S1 | 2031-01-14 | 1 | 1", "--action", "correct",
            "--column", "height_in", "--new", "5 1/8", "--reason", "slip", "--by", "AN-1")  # fmt: skip
    assert here(*line, "--dry-run") == command_line.CLEAN
    assert not (folder / "decisions.csv").exists()
    assert here(*line) == command_line.CLEAN
    assert "height_in was 5.190 and is read as 5 1/8" in capsys.readouterr().out
    assert (folder / "decisions.csv").read_text().endswith(",correct,height_in,5.190,5 1/8,slip,AN-1\n")
    assert here(*line[:-6], "--new", "x", *line[-4:]) == command_line.PROBLEMS
    assert "Nothing was written." in capsys.readouterr().out


def test_what_a_decision_brings_to_light_is_shown(tmp_path, capsys):
    events = TABLES["set_events"].replace("S1,T1,front,2030-11-20", "S1,T1,front,2030-13-20")
    worn = TABLES["wear_readings"].replace("S1,2031-01-14,1,1,5.190,300", "S1,2031-01-14,1,1,5.190,50")
    folder = write_trial(tmp_path / "t", set_events=events, wear_readings=worn)
    assert here("decide", folder, "--table", "set_events", "--row", "S1 | 2030-13-20 | install", "--action", "correct",
                "--column", "date", "--new", "2030-11-20", "--reason", "slip", "--by", "AN-1") == command_line.CLEAN  # fmt: skip
    said = capsys.readouterr().out
    assert "counter-backwards" in said and "This comes to light with it" in said


@pytest.mark.parametrize("by", [[], ["--by", "  "]])
def test_a_decision_without_who_decided_is_refused(trial_folder, by):
    said = run(
        "decide",
        trial_folder,
        "--table",
        "trucks",
        "--row",
        "T1 | front",
        "--action",
        "keep",
        "--reason",
        "x",
        *by,
    )
    assert said.returncode == command_line.WRONG_USE
    assert "say who decided, as a code and not a name: --by AN-1." in said.stderr
    assert not (trial_folder / "decisions.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("intake", "x.csv"), "required: --into"),
        (("intake", "x.csv", "--into", "nowhere"), "there is no folder nowhere"),
        (("decide", "nowhere"), "the following arguments are required: --table, --row, --action, --reason"),
    ],
)
def test_wrong_use_exits_with_2(arguments, words):
    said = run(*arguments)
    assert (
        said.returncode == command_line.WRONG_USE and words in said.stderr and "Traceback" not in said.stderr
    )


@pytest.mark.parametrize(
    "fault", [OSError(30, "Read-only file system", "trial"), OSError(28, "No space left on device")]
)
def test_a_folder_that_cannot_be_written_in(tmp_path, monkeypatch, capsys, fault):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    before = contents(folder)

    def refuse(*args, **kwargs):
        raise fault

    monkeypatch.setattr(folder_lock, "_opened", refuse)
    assert here("intake", path, "--into", folder) == command_line.PROBLEMS
    said = capsys.readouterr()
    assert (
        said.err.startswith(f"trialkit: it could not be written: {fault.strerror}")
        and contents(folder) == before
    )
    assert here("intake", path, "--into", folder, "--dry-run") == command_line.CLEAN


def test_two_intakes_at_once_add_every_row_once(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    other = source(
        tmp_path / "in", *(row.replace("10,", "11,", 1) for row in FEBRUARY), name="wear_readings_2.csv"
    )
    command = [sys.executable, "-m", "trialkit", "intake"]
    running = [
        subprocess.Popen(
            [*command, str(file), "--into", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        for file in (path, other, path)
    ]
    said = [item.communicate()[0].decode() for item in running]
    for item, file, words in zip(running, (path, other, path), said, strict=True):
        if (
            "Try again when it is done." in words
        ):  # on a slow machine the first two take longer than the third waits
            assert item.returncode == command_line.PROBLEMS
            assert here("intake", file, "--into", folder) == command_line.CLEAN
        else:
            assert item.returncode == command_line.CLEAN, said
    assert len(readings(folder)) == len(set(readings(folder))) == 43
    assert (folder / "intake_log.csv").read_text().count("\n") == 4


def test_an_intake_gives_up_when_another_program_does_not_let_go(tmp_path, monkeypatch, capsys):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    monkeypatch.setattr(folder_lock.hold.__wrapped__, "__defaults__", (0.0,))
    with folder_lock.hold(folder):
        assert here("intake", path, "--into", folder) == command_line.PROBLEMS
    assert f"process {os.getpid()} on" in capsys.readouterr().err and len(readings(folder)) == 37


def test_a_stop_by_the_keyboard_changes_nothing_and_says_so(tmp_path, monkeypatch, capsys):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    before = contents(folder)

    def stopped(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("trialkit.logbook.disk.Disk.create", stopped)
    assert here("intake", path, "--into", folder) == command_line.PROBLEMS
    assert "stopped; nothing was changed" in capsys.readouterr().err and contents(folder) == before


def test_a_stop_after_the_rows_are_in_does_not_say_that_they_are_not(tmp_path, monkeypatch, capsys):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)

    def stopped(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("trialkit.logbook.intake_text.done_text", stopped)
    assert here("intake", path, "--into", folder) == command_line.CLEAN
    assert "nothing was changed" not in capsys.readouterr().err and len(readings(folder)) == 40


def test_check_takes_back_what_was_cut_short(tmp_path, capsys):
    from faulty_disk import FaultyDisk, in_a_child, killed

    from trialkit.logbook.intakes import plan_intake
    from trialkit.logbook.taking import take_in

    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    before = contents(folder)
    plan = plan_intake(path, folder)
    for command in (("check", folder), ("intake", path, "--into", folder), ("decide", folder, "--table", "trucks", "--row", "T1 | front", "--action", "keep", "--reason", "x", "--by", "A")):  # fmt: skip
        for number in range(20):
            in_a_child(lambda n=number: take_in(plan, disk=FaultyDisk(n, killed, half=True)))
            if (folder / JOURNAL).exists() and contents(folder) != before:
                break
        assert (folder / JOURNAL).exists()
        assert here(*command) == command_line.CLEAN
        told = capsys.readouterr()
        assert "An earlier addition to" in told.out + told.err and not (folder / JOURNAL).exists()
        for name in contents(folder):
            if name not in before:
                (folder / name).unlink()
        (folder / "wear_readings.csv").write_bytes(before["wear_readings.csv"])
