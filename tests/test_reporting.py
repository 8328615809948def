"""The run folder takes its place in one step, and a failure is told by its own reason."""

from pathlib import Path

import pytest

from trialkit.errors import ReportError
from trialkit.report import reporting


def folder_with(path: Path, words: str) -> Path:
    path.mkdir(parents=True)
    (path / "council_report.html").write_text(words)
    return path


def said_in(folder: Path) -> str:
    return (folder / "council_report.html").read_text()


def test_a_finished_run_takes_the_place_of_the_earlier_one(tmp_path):
    final = folder_with(tmp_path / "run", "old")
    reporting._replace(folder_with(tmp_path / ".run.1", "new"), final)
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
    reporting._replace(work, final)
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
        reporting._replace(work, final)
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
        reporting._replace(work, final)
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
        reporting._replace(work, final)
    assert said_in(final) == "old"


def test_a_full_disk_is_told_and_not_that_the_failure_could_not_be_kept(tmp_path, monkeypatch, trial_folder):
    def full(*args, **kwargs):
        raise ReportError("02_wear.ipynb could not be run: No space left on device.")

    def no_room(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(reporting.running, "run_notebooks", full)
    monkeypatch.setattr(Path, "rename", no_room)
    with pytest.raises(ReportError) as caught:
        reporting.write_report(trial_folder, reports=tmp_path / "reports", quiet=True)
    assert str(caught.value) == "02_wear.ipynb could not be run: No space left on device."
    assert list((tmp_path / "reports" / "small").iterdir()) == []
