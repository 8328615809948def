"""One line for each run in the log, whatever becomes of the run."""

import datetime as dt
import json
import multiprocessing
import re

import pytest
from conftest import write_trial

from trialkit import __main__ as command_line
from trialkit.errors import ReportError
from trialkit.report import reporting, run_log

LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d")
NAME = "2031-01-14_0a1b2c3d"


@pytest.fixture
def log(tmp_path):
    return tmp_path / "nightly.log"


@pytest.fixture
def made(tmp_path, monkeypatch):
    """A report that is there at once, with two notebooks of which one was run."""
    folder = tmp_path / "reports" / "small" / NAME
    folder.mkdir(parents=True)
    record = {"run": NAME, "files": {}, "notebooks": [{"name": "a"}, {"name": "b"}], "warnings": 1}
    (folder / "run.json").write_text(json.dumps(record))

    def write_report(trial, *, done, **rest):
        done("a")
        return folder / "council_report.html"

    monkeypatch.setattr(reporting, "write_report", write_report)
    return folder / "council_report.html"


def report(folder, log, *more):
    return command_line.main(["report", str(folder), "--log", str(log), "--quiet", *more])


def cells(log):
    return [line.split("\t") for line in log.read_text(encoding="utf-8").splitlines()]


def failing(error):
    def write_report(*args, **rest):
        raise error

    return write_report


def test_a_run_that_went_well(trial_folder, made, log, capsys):
    assert report(trial_folder, log) == 0
    assert report(trial_folder, log) == 0
    first, second = cells(log)
    assert LINE.fullmatch(first[0])
    assert first[1:4] == ["exit 0", "small", NAME]
    assert re.fullmatch(r"\d+\.\d s", first[4])
    assert first[5:] == second[5:] == ["1 notebook run, 1 reused", "1 warning"]
    assert capsys.readouterr().out == f"{made}\n{made}\n"


def test_problems_in_the_data_are_logged(tmp_path, log):
    assert report(write_trial(tmp_path / "my trial", trucks=None), log) == 1
    ((_, code, trial, run, _, reason),) = cells(log)
    assert (code, trial, run) == ("exit 1", "my trial", "-")
    assert re.match(r"\d+ problems? in the trial data; nothing was computed\.; trucks\.csv", reason)


@pytest.mark.parametrize(
    ("error", "code", "reason"),
    [
        (ReportError("02_wear.ipynb stopped at cell 3:\nno\troom"), 1, "02_wear.ipynb stopped at cell 3:; no room"),
        (KeyboardInterrupt(), 1, "stopped; nothing was changed."),
        (OSError(28, "No space left on device", "reports"), 1, "it could not be written: No space left on device (reports)."),
        (reporting.UsageError("there is no such run"), 2, "there is no such run"),
    ],
)  # fmt: skip
def test_a_failure_is_logged_with_its_reason(trial_folder, log, monkeypatch, error, code, reason):
    monkeypatch.setattr(reporting, "write_report", failing(error))
    assert report(trial_folder, log) == code
    ((_, said, trial, _, _, why),) = cells(log)
    assert (said, trial, why) == (f"exit {code}", trial_folder.name, reason)


def test_an_error_of_the_tool_itself_is_logged_and_not_hidden(trial_folder, log, monkeypatch):
    monkeypatch.setattr(reporting, "write_report", failing(ZeroDivisionError("division by zero")))
    with pytest.raises(ZeroDivisionError):
        report(trial_folder, log)
    assert cells(log)[0][1::4] == ["exit 1", "ZeroDivisionError: division by zero"]


def test_a_folder_that_is_not_there_is_logged(tmp_path, log):
    assert report(tmp_path / "gone", log) == 2
    assert "there is no folder" in cells(log)[0][-1]


def test_a_log_that_cannot_be_written_is_told_and_the_report_is_there(trial_folder, made, tmp_path, capsys):
    assert report(trial_folder, tmp_path / "gone" / "nightly.log") == 1
    told = capsys.readouterr()
    assert told.out == f"{made}\n"
    assert told.err == (
        f"trialkit: nothing was added to the log: No such file or directory ({tmp_path / 'gone' / 'nightly.log'}).\n"
    )


def test_a_failed_run_keeps_its_own_exit_code(tmp_path, capsys):
    assert report(tmp_path / "gone", tmp_path) == 2
    said = capsys.readouterr().err
    assert "nothing was added to the log: Is a directory" in said and "there is no folder" in said


def test_nothing_is_added_to_a_file_that_is_no_log(trial_folder, made, capsys):
    table = trial_folder / "wear_readings.csv"
    before = table.read_bytes()
    assert report(trial_folder, table) == 1
    assert table.read_bytes() == before
    assert f"holds something else than a log of reports ({table})" in capsys.readouterr().err


def test_a_line_that_was_cut_short_stays_by_itself(log):
    log.write_text("2031-01-14T05:00:00+00:00\texit 0\tsma")
    run_log.append(log, run_log.line(0, "small", NAME, 1.0, ["x"]))
    assert [len(line) for line in cells(log)] == [3, 6]


def test_a_full_disk_is_told(log, monkeypatch):
    class Full:
        def __enter__(self):
            return self

        def __exit__(self, *rest):
            return False

        def seek(self, *rest):
            return 0

        def write(self, content):
            return len(content) // 2

    monkeypatch.setattr(run_log.Path, "open", lambda *rest, **options: Full())
    with pytest.raises(OSError, match="there was no room for the whole line"):
        run_log.append(log, "2031-01-14T05:00:00+00:00")


def test_a_long_reason_is_cut_and_a_cell_holds_no_tab():
    assert len(run_log.reason("x" * 1000)) == run_log.LONGEST_REASON
    noon = dt.datetime(2031, 1, 14, 12, tzinfo=dt.UTC)
    assert run_log.line(0, "a\tb\nc", "", 1.25, ["said"], noon).split("\t")[1:] == [
        "exit 0",
        "a b c",
        "-",
        "1.2 s",
        "said",
    ]


def _add_many(log, name, n):
    for number in range(n):
        run_log.append(log, run_log.line(0, name, f"{number}", 0.0, ["y" * 200]))


def test_lines_of_runs_that_end_together_stay_whole(log):
    runs = [
        multiprocessing.get_context("fork").Process(target=_add_many, args=(log, name, 200)) for name in "abc"
    ]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    found = cells(log)
    assert len(found) == 600
    assert {len(line) for line in found} == {6}
    assert [line[3] for line in found if line[2] == "b"] == [str(number) for number in range(200)]


def test_a_run_without_a_record_says_what_is_known(tmp_path):
    assert run_log.success(tmp_path / "council_report.html", 3) == ["3 notebooks run, 0 reused", "-"]
