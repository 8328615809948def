"""The real command, as the analyst types it: what it prints and how it exits."""

import subprocess
import sys
from pathlib import Path

import pytest
from conftest import replaced, write_trial

from trialkit import __main__ as command_line
from trialkit import __version__

DEMO = Path(__file__).parents[2] / "data_demo"


def run(*arguments, cwd=None):
    return subprocess.run(
        [sys.executable, "-m", "trialkit", *map(str, arguments)], capture_output=True, text=True, cwd=cwd
    )


def here(*arguments):
    """Exit code of the command in this process."""
    try:
        return command_line.main([str(argument) for argument in arguments])
    except SystemExit as stopped:  # wrong use that the parser itself tells
        return stopped.code


def test_help_lists_the_commands():
    said = run("--help")
    assert said.returncode == 0
    for command in ("check", "report", "demo"):
        assert f"\n    {command} " in said.stdout


def test_version():
    assert run("--version").stdout.strip() == f"trialkit {__version__}"


def test_the_installed_command_is_the_module():
    command = Path(sys.executable).with_name("trialkit")
    assert (
        subprocess.run([command, "--version"], capture_output=True, text=True).stdout.strip()
        == f"trialkit {__version__}"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "required: COMMAND"),
        (("chek", "x"), "invalid choice: 'chek'"),
        (("check",), "required: DIR"),
        (("check", "nowhere"), "there is no folder nowhere"),
        (("report", "nowhere"), "there is no folder nowhere"),
        (("check", DEMO / "trucks.csv"), "trucks.csv is not a folder."),
        (("report", DEMO / "trucks.csv"), "trucks.csv is not a folder."),
        (("check", "x" * 5000), "the folder cannot be read: File name too long"),
        (("check", DEMO, "--through", "31.12.2030"), '"31.12.2030" is not a day such as 2031-01-14'),
        (("report", DEMO, "-p", "lvl", "1"), '"lvl" is not a parameter of any notebook'),
        (("report", DEMO, "-p", "data_dir", "x"), "data_dir cannot be set with -p"),
    ],
)
def test_wrong_use_exits_with_2_and_says_why(capsys, arguments, words):
    assert here(*arguments) == command_line.WRONG_USE
    said = capsys.readouterr().err
    assert words in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("arguments", "words"), [(("check",), "required: DIR"), (("check", "nowhere"), "there is no folder")]
)
def test_wrong_use_of_the_real_command_exits_with_2(arguments, words):
    said = run(*arguments)
    assert said.returncode == command_line.WRONG_USE
    assert words in said.stderr
    assert "Traceback" not in said.stderr


def test_check_of_the_demo_is_clean():
    said = run("check", DEMO)
    assert said.returncode == command_line.CLEAN
    assert "no error" in said.stdout


def test_check_tells_every_problem_at_once_and_writes_the_table(tmp_path, capsys):
    folder = write_trial(
        tmp_path / "trial",
        edge_sets=replaced("edge_sets", "S2,carbide_insert", "S2,carbid_insert"),
        wear_readings=replaced("wear_readings", "S1,2030-12-18,1,1,5.600", "S1,2030-12-18,1,1,5-Jun"),
    )
    assert here("check", folder, "--out", tmp_path / "out") == command_line.PROBLEMS
    said = capsys.readouterr().out
    for part in (
        "unknown-key",
        "carbid_insert",
        'Did you mean "carbide_insert"?',
        "date-for-number",
        "5-Jun",
        "2 errors",
    ):
        assert part in said
    rows = (tmp_path / "out" / "data_problems.csv").read_text().splitlines()
    assert rows[0] == "severity,code,file,row,key,column,found,allowed,fix"
    assert [row.split(",")[:4] for row in rows[1:]] == [
        ["error", "unknown-key", "edge_sets.csv", "3"],
        ["error", "date-for-number", "wear_readings.csv", "5"],
    ]


def test_report_of_a_broken_trial_tells_the_problems_and_leaves_nothing(tmp_path, capsys):
    folder = write_trial(tmp_path / "trial", trucks=None)
    assert here("report", folder, "--out", tmp_path / "reports") == command_line.PROBLEMS
    said = capsys.readouterr().err
    assert "trucks.csv" in said
    assert "nothing was computed" in said
    assert not (tmp_path / "reports").exists()


def test_demo_writes_a_folder_and_never_over_one(tmp_path, capsys):
    folder = tmp_path / "my trial"
    assert command_line.main(["demo", str(folder)]) == command_line.CLEAN
    assert capsys.readouterr().out.strip() == str(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert before == {path.name: path.read_bytes() for path in DEMO.iterdir()}
    assert command_line.main(["demo", str(folder)]) == command_line.WRONG_USE
    assert str(folder) in capsys.readouterr().err
    assert before == {path.name: path.read_bytes() for path in folder.iterdir()}


def test_parameters_read_as_numbers_and_yes_or_no(monkeypatch):
    given = {}

    def write_report(folder, *, parameters, **rest):
        given.update(parameters)
        return folder

    monkeypatch.setattr("trialkit.report.reporting.write_report", write_report)
    command_line.main(
        ["report", str(DEMO), "-p", "a", "1", "-p", "b", "0.5", "-p", "c", "true", "-p", "d", "x"]
    )
    assert given == {"a": 1, "b": 0.5, "c": True, "d": "x"}


def test_a_stop_by_the_keyboard_is_told(monkeypatch, capsys, trial_folder):
    def stopped(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("trialkit.trial.checks.check_trial", stopped)
    assert command_line.main(["check", str(trial_folder)]) == command_line.PROBLEMS
    assert "nothing was changed" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [("check", DEMO, "--out"), ("demo",)])
def test_a_place_that_cannot_be_written_is_named(tmp_path, capsys, arguments):
    (tmp_path / "file").write_text("in the way")
    assert here(*arguments, tmp_path / "file" / "x") == command_line.PROBLEMS
    said = capsys.readouterr().err
    assert said.startswith("trialkit: it could not be written: Not a directory (")
    assert "Traceback" not in said


def test_a_reader_that_stops_reading_is_no_trouble(trial_folder):
    (trial_folder / "trucks.csv").unlink()
    command = [sys.executable, "-m", "trialkit", "check", str(trial_folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        running.stdout.close()
        said = running.stderr.read()
    assert said == ""
    assert running.returncode == command_line.PROBLEMS


def test_a_command_without_a_console_still_runs(monkeypatch, trial_folder):
    monkeypatch.setattr(sys, "stdout", None)
    assert command_line.main(["check", str(trial_folder)]) == command_line.CLEAN
