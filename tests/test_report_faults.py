"""A report that meets a full disk, a stop, a kill or an odd place: the data and the last good report are unharmed."""

import contextlib
import json
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
import report_faults as rf

from trialkit.report import reuse

EVERY = 12
"""Of the steps of a report, every so many is tried here; tests/benchmarks/report_faults.py tries them all."""


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    place = rf.Place(tmp_path_factory.mktemp("faults"))
    assert [place.quiet_report_on(day) for day in ("2030-12-18", "")] == [0, 0]
    return place


@pytest.fixture
def place(first, tmp_path):
    """Copies of the reports, since a test may harm them."""
    return first.moved(shutil.copytree(first.reports, tmp_path / "reports"))


def test_a_run_that_is_killed_at_any_step_leaves_the_last_report_and_the_next_run_clears_up(place, tmp_path):
    before, data = place.visible(), place.data()
    left = rf.as_if_killed(place, tmp_path / "killed")
    assert len(left) > 50
    tried = sorted(
        {*left[::EVERY], *left[-12:]}
    )  # the last ones are those in which the report takes its place
    found = {copy.name: rf.complaints(place.moved(copy), None, before, data) for copy in tried}
    assert {step: said for step, said in found.items() if said} == {}


@pytest.mark.parametrize(
    ("fault", "share"), [*((fault, 0.55) for fault in rf.FAULTS), ("full disk", 0.0), ("Ctrl-C", 0.94)]
)
def test_a_fault_is_told_and_harms_nothing(place, fault, share, first):
    before, data = place.visible(), place.data()
    ended = rf.faulty(place, int(share * first.steps), rf.FAULTS[fault])
    assert rf.complaints(place, ended, before, data) == []
    if share < 0.9:
        assert ended.code == 1
        told = {"full disk": "No space left on device", "read-only": "Read-only file system",
                "other drive": "Invalid cross-device link", "Ctrl-C": "stopped; nothing was changed."}  # fmt: skip
        assert told[fault] in ended.said


@pytest.mark.skipif(sys.platform == "win32", reason="the size of files cannot be limited")
@pytest.mark.parametrize("most", [100, 20_000])
def test_files_that_are_cut_short_become_no_report(place, most):
    import resource

    before, data = place.visible(), place.data()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, limits[1]))
    try:
        ended = rf.watched(place, lambda step: None)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert ended.code == 1 and "File too large" in ended.said
    assert place.visible() == before
    assert rf.complaints(place, ended, before, data) == []


@pytest.mark.parametrize(
    "name",
    ["reports of the d\u00e9p\u00f4t", "\u96ea \u043e\u0442\u0447\u0451\u0442", "50% & more; $HOME 'x'"],
)
def test_odd_names_of_folders_are_no_trouble(first, tmp_path, name):
    place = first.moved(
        tmp_path / name / "reports", trial=shutil.copytree(first.trial, tmp_path / name / "trial")
    )
    assert place.quiet_report() == 0
    assert (len(place.visible()), place.broken(), place.hidden()) == (1, [], [])


def test_a_very_long_path_works_or_is_told(first, tmp_path):
    deep = tmp_path.joinpath(*["n" * 60] * 9)
    ended = rf.watched(first.moved(deep), lambda step: None)
    assert ended.code in (0, 1) and "Traceback" not in ended.said
    impossible = rf.watched(first.moved(tmp_path / ("n" * 500)), lambda step: None)
    assert impossible.code == 1
    assert "File name too long" in impossible.said or "trialkit: " in impossible.said


def test_reports_may_lie_on_another_drive(first, tmp_path):
    shared = Path("/dev/shm")
    if not shared.is_dir() or shared.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("there is no other drive")
    with tempfile.TemporaryDirectory(dir=shared) as other:
        (tmp_path / "link").symlink_to(other, target_is_directory=True)
        place = first.moved(tmp_path / "link" / "reports")
        assert [place.quiet_report(), place.quiet_report("--force")] == [0, 0]
        assert (len(place.visible()), place.broken(), place.hidden()) == (1, [], [])


def test_a_clock_that_went_backwards_confuses_nothing(place):
    older, last = sorted(place.visible())
    record = place.runs / older / reuse.RUN_RECORD
    said = json.loads(record.read_text(encoding="utf-8"))
    record.write_text(json.dumps({**said, "made": "2099-01-01T00:00:00.000+00:00"}), encoding="utf-8")
    assert [run.folder.name for run in reuse.earlier_runs(place.runs)] == [last, older]
    ended = rf.watched(place, lambda step: None)
    assert ended.code == 0
    assert [run.folder.name for run in reuse.earlier_runs(place.runs)] == [last, older]
    assert place.broken() == []


def test_a_run_is_told_the_days_of_earlier_reports(place):
    _, last = sorted(place.visible())
    said = json.loads((place.runs / last / reuse.RUN_RECORD).read_text(encoding="utf-8"))
    assert said["parameters"]["earlier_looks"] == "2030-12-18"
    assert "Earlier: 2030-12-18." in (place.runs / last / "council_report.html").read_text(encoding="utf-8")
    before = place.visible()
    assert place.quiet_report() == 0  # the same looks again: nothing is run, nothing is touched
    assert place.visible() == before


def test_what_cannot_be_written_to_is_told(place):
    shutil.rmtree(place.runs)
    place.runs.write_text("in the way")
    ended = rf.watched(place, lambda step: None)
    assert ended.code == 1 and ended.said.startswith("trialkit: ")
    with contextlib.suppress(FileNotFoundError):
        assert place.runs.read_text() == "in the way"
