"""The run folder takes its place in one step, and what a killed run has left is cleared away or put back."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from trialkit.report import workplace

NAME = "2031-01-14_0a1b2c3d"
NOBODY = 2**22 + 1
"""A process that cannot be there: Linux gives no number above 2**22."""


def left_by(home, process, *, machine=None, aside=False, words="left"):
    name = f".{NAME}.{process}@{machine or workplace._machine()}"
    return folder_with(home / (name + workplace.ASIDE if aside else name), words)


def folder_with(path: Path, words: str) -> Path:
    path.mkdir(parents=True)
    (path / "council_report.html").write_text(words)
    return path


def said_in(folder: Path) -> str:
    return (folder / "council_report.html").read_text()


def test_a_finished_run_takes_the_place_of_the_earlier_one(tmp_path):
    final = folder_with(tmp_path / "run", "old")
    workplace.replace(folder_with(tmp_path / ".run.1", "new"), final)
    assert said_in(final) == "new"
    assert list(tmp_path.iterdir()) == [final]


def test_two_runs_of_the_same_inputs_that_end_together_leave_one_report(tmp_path, monkeypatch):
    final = folder_with(tmp_path / "run", "old")
    work = folder_with(tmp_path / ".run.1", "first")
    rename = Path.rename

    def other_run_is_faster(self, target):
        moved = rename(self, target)
        if self == final:
            folder_with(final, "second")
        return moved

    monkeypatch.setattr(Path, "rename", other_run_is_faster)
    workplace.replace(work, final)
    assert said_in(final) == "second"
    assert not list(tmp_path.glob("*.earlier"))


def test_a_run_that_cannot_be_moved_leaves_the_earlier_report(tmp_path, monkeypatch):
    final = folder_with(tmp_path / "run", "old")
    work = folder_with(tmp_path / ".run.1", "new")
    rename = Path.rename

    def no_room(self, target):
        if self == work:
            raise OSError(28, "No space left on device")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", no_room)
    with pytest.raises(OSError, match="No space left"):
        workplace.replace(work, final)
    assert said_in(final) == "old"


def test_a_run_that_is_stopped_while_it_is_moved_leaves_the_earlier_report(tmp_path, monkeypatch):
    final = folder_with(tmp_path / "run", "old")
    work = folder_with(tmp_path / ".run.1", "new")
    rename = Path.rename

    def stopped(self, target):
        if self == work:
            raise KeyboardInterrupt
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", stopped)
    with pytest.raises(KeyboardInterrupt):
        workplace.replace(work, final)
    assert said_in(final) == "old"
    assert not list(tmp_path.glob("*.earlier"))


def test_a_report_that_cannot_be_set_aside_is_told(tmp_path, monkeypatch):
    final = folder_with(tmp_path / "run", "old")
    work = folder_with(tmp_path / ".run.1", "new")
    rename = Path.rename

    def in_use(self, target):
        if self == final:
            raise PermissionError(13, "Permission denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", in_use)
    with pytest.raises(PermissionError):
        workplace.replace(work, final)
    assert said_in(final) == "old"


def test_a_finished_workplace_becomes_the_run_folder(tmp_path):
    final = tmp_path / "home" / NAME
    with workplace.workplace(final, ("tables",)) as work:
        assert work.name.startswith(f".{NAME}.{os.getpid()}@")
        (work / "tables" / "a.csv").write_text("a")
    assert [path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.csv")] == [
        f"home/{NAME}/tables/a.csv"
    ]


def test_a_failed_workplace_leaves_nothing(tmp_path):
    with (
        pytest.raises(
            workplace.ReportError, match=r"the report could not be written: No space left on device \("
        ),
        workplace.workplace(tmp_path / NAME, ("tables",)),
    ):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []


def test_what_a_killed_run_left_is_cleared_away(tmp_path):
    left_by(tmp_path, NOBODY)
    left_by(tmp_path, os.getpid())  # the number of an earlier process, given again
    workplace.clear_left_over(tmp_path)
    assert list(tmp_path.iterdir()) == []
    workplace.clear_left_over(tmp_path / "not there")


def test_a_report_that_was_set_aside_is_put_back(tmp_path):
    left_by(tmp_path, NOBODY)
    left_by(tmp_path, NOBODY, aside=True, words="the last good report")
    workplace.clear_left_over(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [NAME]
    assert said_in(tmp_path / NAME) == "the last good report"


def test_a_report_that_was_set_aside_goes_where_the_new_one_stands(tmp_path):
    folder_with(tmp_path / NAME, "new")
    left_by(tmp_path, NOBODY, aside=True)
    workplace.clear_left_over(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [NAME]
    assert said_in(tmp_path / NAME) == "new"


def test_a_report_that_cannot_be_put_back_stays_where_it_is(tmp_path, monkeypatch):
    aside = left_by(tmp_path, NOBODY, aside=True)

    def read_only(self, target):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "rename", read_only)
    workplace.clear_left_over(tmp_path)
    assert said_in(aside) == "left"


def test_a_run_that_is_still_there_is_left_alone(tmp_path):
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as other:
        kept = [left_by(tmp_path, other.pid), left_by(tmp_path, other.pid, aside=True)]
        workplace.clear_left_over(tmp_path)
        assert all(path.is_dir() for path in kept)
        other.communicate(b"\n")
    workplace.clear_left_over(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_of_another_machine_only_what_is_old_is_cleared_away(tmp_path):
    new, old = (left_by(tmp_path, NOBODY, machine=name) for name in ("garage", "office"))
    last_week = old.stat().st_mtime - workplace.LONGEST_RUN_S - 60
    os.utime(old, (last_week, last_week))
    workplace.clear_left_over(tmp_path)
    assert list(tmp_path.iterdir()) == [new]


def test_nothing_else_is_touched(tmp_path):
    others = [
        tmp_path / name for name in (".git@work", f".{NAME}.x@y", ".nfs0001", f".copy_{NAME}.{NOBODY}@m")
    ]
    for path in others:
        path.mkdir()
    workplace.clear_left_over(tmp_path)
    assert sorted(tmp_path.iterdir()) == sorted(others)


def test_a_process_of_somebody_else_is_there(monkeypatch):
    def not_mine(process, signal):
        raise PermissionError

    monkeypatch.setattr(os, "kill", not_mine)
    assert workplace.is_running(1)
