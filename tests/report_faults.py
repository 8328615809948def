"""A report that is made while the disk fails, or whose process is stopped or killed, at any step that it takes on the disk.

The steps are seen through Python's audit events, so they are those of the whole run: the library's, papermill's and the standard
library's. What a run leaves that is killed is what is on the disk before its next step, so one run shows it for every step.
The notebooks are two tiny ones, run in this process; everything else is the real thing.
"""

from __future__ import annotations

import contextlib
import copy
import errno
import functools
import io
import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

import nbformat
from conftest import write_trial
from in_process import notebooks_in_process
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from trialkit import __main__ as command_line
from trialkit.report import reporting, reuse

PARAMETERS = 'data_dir: str = ""\nout_dir: str = ""\nthrough_date: str = ""\nearlier_looks: str = ""\n'
COUNCIL = """\
from trialkit.report import blocks, council, saving
from trialkit.trial import checks
trial = checks.check_trial(data_dir, through=through_date).require_clean()
council.title(trial)
"""
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.truncate", "os.link", "os.symlink")


def _notebook(path: Path, *cells: str) -> None:
    parameters = new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]}, id="parameters")
    rest = [new_code_cell(source, id=f"cell-{number}") for number, source in enumerate(cells)]
    made = new_notebook(cells=[new_markdown_cell("# Tiny", id="title"), parameters, *rest])
    made.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(made, path)


def tiny_notebooks(folder: Path) -> Path:
    """Two notebooks: one that writes two tables, and a council report of three blocks."""
    folder.mkdir(parents=True)
    _notebook(
        folder / "02_tiny.ipynb",
        COUNCIL,
        "_ = saving.save_tables(out_dir, one=trial['trucks'], two=trial['edge_types'])",
        'blocks.table(trial["trucks"], "Trucks")',
    )
    _notebook(
        folder / reporting.COUNCIL_NOTEBOOK,
        COUNCIL,
        'blocks.findings(["Nothing was found."])',
        'blocks.text(f"Earlier: {earlier_looks or None}.")',
    )
    return folder


class Place:
    """A trial with its reports: one on the data up to December, and one on all of them."""

    def __init__(self, home: Path, *, new: bool = True):
        self.home, self.reports = home, home / "reports"
        self.trial, self.notebooks = home / "trial", home / "notebooks"
        if new:
            write_trial(self.trial)
            tiny_notebooks(self.notebooks)
        self.runs = self.reports / "small"

    def report(self, *more: str) -> int:
        """The exit code of the command, run here."""
        given = [
            "report",
            str(self.trial),
            "--out",
            str(self.reports),
            "--notebooks",
            str(self.notebooks),
            "--quiet",
        ]
        with notebooks_in_process():
            return command_line.main([*given, *more])

    def moved(self, reports: Path, trial: Path | None = None) -> Place:
        """The same place with its reports elsewhere, and its trial if one is given."""
        other = copy.copy(self)
        other.reports, other.runs, other.trial = reports, reports / "small", trial or self.trial
        return other

    @functools.cached_property
    def steps(self) -> int:
        """How many steps a report takes on the disk."""
        return steps_of(self)

    def quiet_report_on(self, day: str) -> int:
        """The same on the data up to a day, or all of them."""
        return self.quiet_report(*(["--through", day] if day else []))

    def quiet_report(self, *more: str) -> int:
        """The same, without a word."""
        with contextlib.redirect_stdout(_console()), contextlib.redirect_stderr(_console()):
            return self.report(*more)

    def visible(self) -> dict[str, dict[str, bytes]]:
        """Every finished run with the bytes of its files."""
        return {
            folder.name: {
                path.relative_to(folder).as_posix(): path.read_bytes()
                for path in folder.rglob("*")
                if path.is_file()
            }
            for folder in sorted(self.runs.glob("[!.]*"))
            if folder.name != reporting.LAST_FAILURE
        }

    def hidden(self) -> list[str]:
        """What lies hidden among the runs."""
        return sorted(path.name for path in self.runs.glob(".*"))

    def broken(self) -> list[str]:
        """Runs that are visible and not whole."""
        runs = {folder: reuse.read_run(self.runs / folder) for folder in self.visible()}
        return [name for name, run in runs.items() if run is None or not run.is_whole()]

    def data(self) -> dict[str, bytes]:
        """Every file of the trial."""
        return {path.name: path.read_bytes() for path in self.trial.iterdir()}


def _console() -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(), encoding="utf-8")


def _shown(console: io.TextIOWrapper) -> str:
    console.flush()
    return console.buffer.getvalue().decode("utf-8")


@dataclass(frozen=True)
class Ended:
    """How a run ended: its exit code and what it said."""

    code: int
    out: str
    said: str


class _Steps:
    """The steps on the disk below one folder; `taken` is called with the number of each before it is carried out."""

    root, number, taken = "", 0, None

    @classmethod
    def hook(cls, event, args):
        if cls.taken is None or not cls._counts(event, args):
            return
        number, taken = cls.number, cls.taken
        cls.number += 1
        cls.taken = None  # what is done here is no step of the run
        try:
            taken(number)
        finally:
            cls.taken = taken

    @classmethod
    def _counts(cls, event, args):
        if event == "open":
            path, _, flags = args
            if not isinstance(path, str | os.PathLike) or not (isinstance(flags, int) and flags & WRITES):
                return False
        elif event in CHANGES:
            path = args[0]
            if event in ("os.remove", "os.rmdir") and args[-1] not in (-1, None):
                return True  # of a folder that is cleared away, by its handle
        else:
            return False
        return os.fspath(path).startswith(cls.root)


sys.addaudithook(_Steps.hook)


def watched(place: Place, taken, *more: str) -> Ended:
    """Make a report anew; `taken` is called before every step below the reports, and may raise."""
    out, said = _console(), _console()
    _Steps.root, _Steps.number, _Steps.taken = str(place.runs), 0, taken
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
            code = place.report("--force", *more)
    finally:
        _Steps.taken = None
    return Ended(code, _shown(out), _shown(said))


def faulty(place: Place, number: int, fault) -> Ended:
    """Make a report whose step of this number (from 0) is a fault."""

    def taken(step):
        if step == number:
            fault()

    return watched(place, taken)


def steps_of(place: Place) -> int:
    """How many steps a report takes on the disk."""
    steps: list[int] = []
    ended = watched(place, steps.append)
    assert ended.code == 0, ended.said
    return len(steps)


def as_if_killed(place: Place, copies: Path) -> list[Path]:
    """What a run leaves if it is killed before any of its steps: a copy of the reports for each."""

    def taken(step):
        shutil.copytree(place.reports, copies / f"{step:04d}")

    ended = watched(place, taken)
    assert ended.code == 0, ended.said
    return sorted(copies.iterdir())


def full_disk():
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def read_only():
    raise OSError(errno.EROFS, os.strerror(errno.EROFS))


def other_drive():
    raise OSError(errno.EXDEV, os.strerror(errno.EXDEV))


def keyboard():
    raise KeyboardInterrupt


FAULTS = {
    "full disk": full_disk, "read-only": read_only, "other drive": other_drive, "Ctrl-C": keyboard,
}  # fmt: skip


def complaints(place: Place, ended: Ended | None, before: dict, data: dict) -> list[str]:
    """What a run that met a fault, or was killed (`ended` is None), did wrong: nothing, if all is well."""
    found = []
    last, older = max(before), min(before)
    visible = place.visible()
    if place.data() != data:
        found.append("the trial folder was changed")
    if place.broken():
        found.append(f"visible and not whole: {place.broken()}")
    if visible.get(older) != before[older]:
        found.append("the report on other data was changed")
    if last not in visible and (ended is not None or not any(last in name for name in place.hidden())):
        found.append("the last report is missing")
    if ended is not None and ended.code != 0:
        if ended.code != 1 or not ended.said.startswith("trialkit: ") or "Traceback" in ended.said:
            found.append(f"exit code {ended.code}, {ended.said!r}")
        if ended.out:
            found.append("it named a report although it failed")
    if place.quiet_report() != 0:
        found.append("the next run failed")
    if place.hidden():
        found.append(f"left hidden: {place.hidden()}")
    after = place.visible()
    if set(after) != set(before) or place.broken():
        found.append(f"after the next run there are {sorted(after)}, not whole: {place.broken()}")
    return found
