"""A failure is told by its own reason."""

from pathlib import Path

import pytest

from trialkit.errors import ReportError
from trialkit.report import reporting


def test_a_trial_that_changes_meanwhile_gives_no_report(tmp_path, monkeypatch, trial_folder):
    def rows_come_in(from_run, given, work, tell):
        with (trial_folder / "wear_readings.csv").open("a") as file:
            file.write("S1,2031-02-10,1,1,4.800,400,R1,caliper,0.005,no\n")
        return ()

    monkeypatch.setattr(reporting, "_run_or_reuse", rows_come_in)
    words = r"the trial changed while the report was made \(wear_readings\.csv\)"
    with pytest.raises(ReportError, match=words):
        reporting.write_report(trial_folder, tmp_path / "reports", quiet=True)
    assert not list((tmp_path / "reports").rglob("council_report.html"))


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
