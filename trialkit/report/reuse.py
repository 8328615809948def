"""Which notebooks of an earlier run still hold, so that only what changed is run again.

Answers: may the executed copy of this notebook be taken from an earlier run?

It may if the notebook's own text, the parameters it was given, the code and packages, and everything that it read of the
trial are what they were, and if the earlier copy and the tables it wrote are on the disk as they were recorded. What a
notebook read it says itself, in the table of provenance at its end; one that does not say is taken to have read
everything.
"""

from __future__ import annotations

import ast
import datetime as dt
import hashlib
import importlib.metadata
import json
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from trialkit import columns as c
from trialkit.report import blocks
from trialkit.trial.checks import EVERYTHING, Trial

RUN_RECORD = "run.json"
NOTEBOOKS, TABLES = "notebooks", "tables"
NOT_OF_THE_RESULT = ("data_dir", "out_dir")
"""Parameters that say where things are; the results do not depend on them."""
RECORDED_PACKAGES = (
    "numpy", "pandas", "scipy", "statsmodels", "matplotlib", "seaborn", "papermill", "nbconvert", "pandera", "pydantic",
    "typst", "python-docx", "openpyxl",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class EarlierRun:
    """A finished run folder and what its `run.json` says."""

    folder: Path
    record: Mapping[str, Any]

    @property
    def made(self) -> str:
        """When it was made, as ISO text."""
        return str(self.record.get("made", ""))

    def holds(self, names: Iterable[str]) -> bool:
        """Whether files of the run are on the disk as they were recorded."""
        recorded = self.record["files"]
        return all(name in recorded and sha256_of(self.folder / name) == recorded[name] for name in names)

    def is_whole(self) -> bool:
        """Whether every file of the run is on the disk as it was recorded."""
        return self.holds(self.record["files"])


@dataclass(frozen=True, slots=True)
class Needs:
    """What the result of one notebook depends on, beside the trial.

    Attributes
    ----------
    notebook, code : str
        SHA-256 of the notebook, and of the library with its packages.
    parameters : mapping
        What the notebook is given, without the folders.
    """

    notebook: str
    code: str
    parameters: Mapping[str, Any]


def needs_of(notebook: Path, parameters: Mapping[str, Any]) -> Needs:
    """What the result of a notebook depends on, beside the trial.

    Parameters
    ----------
    notebook : Path
        The notebook.
    parameters : mapping
        Everything that the run gives; the notebook gets what it has a parameter for.
    """
    own = parameter_names(notebook) - set(NOT_OF_THE_RESULT)
    given = {name: value for name, value in sorted(parameters.items()) if name in own}
    return Needs(sha256_of(notebook), code_hash(), given)


def earlier_runs(home: Path) -> list[EarlierRun]:
    """The finished runs of a trial, the newest first; a folder without a readable record is passed over.

    A run that was made later than now, by a clock that was wrong, comes last: it must not stand as the newest for good.

    Parameters
    ----------
    home : Path
        Folder of the trial's runs.
    """
    found = [read_run(record.parent) for record in home.glob(f"[!.]*/{RUN_RECORD}")]
    known = [run for run in found if run is not None]
    now = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
    return sorted(known, key=lambda run: (run.made <= now, run.made, run.folder.name), reverse=True)


def read_run(folder: Path) -> EarlierRun | None:
    """A finished run from its folder; None if it has no readable record of itself."""
    try:
        said = json.loads((folder / RUN_RECORD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    is_whole = (
        isinstance(said, dict) and said.get("run") == folder.name and isinstance(said.get("files"), dict)
    )
    return EarlierRun(folder, said) if is_whole else None


def reusable(source: Path, needs: Needs, trial: Trial, runs: Sequence[EarlierRun]) -> EarlierRun | None:
    """The newest run whose copy of a notebook still holds; None if it has to be run.

    Parameters
    ----------
    source : Path
        The notebook.
    needs : Needs
        What it depends on now.
    trial : Trial
        The trial as it is now.
    runs : sequence of EarlierRun
        The newest first.
    """
    for run in runs:
        said = entry(run, source.name)
        if said is None or said.get("notebook") != needs.notebook or run.record.get("code") != needs.code:
            continue
        if said.get("parameters") != dict(needs.parameters):
            continue
        reads = said.get("reads") or {}
        if (
            reads
            and all(trial.digest(name) == digest for name, digest in reads.items())
            and run.holds(kept(said))
        ):
            return run
    return None


def entry(run: EarlierRun, name: str) -> Mapping[str, Any] | None:
    """What a run recorded of one of its notebooks."""
    return next((said for said in run.record.get("notebooks", ()) if said.get("name") == name), None)


def kept(said: Mapping[str, Any]) -> list[str]:
    """Files of a run that came from one notebook: the executed copy and its tables."""
    return [f"{NOTEBOOKS}/{said['name']}", *(f"{TABLES}/{name}" for name in said.get("writes", ()))]


def reads_of(report: Sequence[blocks.Block], trial: Trial) -> dict[str, str]:
    """What a notebook read of the trial, each with its digest: out of the table of provenance that it shows.

    Parameters
    ----------
    report : sequence of Block
        The blocks of the executed notebook.
    trial : Trial
        The trial.
    """
    for block in report:
        if isinstance(block, blocks.Table) and {c.READ, c.DIGEST} <= {
            column.name for column in block.columns
        }:
            frame = block.raw_frame()
            return {name: digest for name, digest in zip(frame[c.READ], frame[c.DIGEST], strict=True) if name}
    return {EVERYTHING: trial.digest(EVERYTHING)}


def parameter_names(notebook: Path) -> frozenset[str]:
    """Names of a notebook's parameters: what the cell tagged "parameters" assigns; none if it cannot be read."""
    try:
        cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
        sources = [
            "".join(cell.get("source", ""))
            for cell in cells
            if "parameters" in cell["metadata"].get("tags", ())
        ]
        bodies = [ast.parse(source).body for source in sources]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, SyntaxError):
        return frozenset()  # papermill says what is wrong with it
    names: set[str] = set()
    for statement in (statement for body in bodies for statement in body):
        targets = (
            statement.targets if isinstance(statement, ast.Assign) else [getattr(statement, "target", None)]
        )
        names.update(target.id for target in targets if isinstance(target, ast.Name))
    return frozenset(names)


@cache
def code_hash() -> str:
    """SHA-256 of the library, the Python version and the packages on which results rest."""
    package = Path(__file__).parents[1]
    files = sorted(
        path for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".ipynb"
    )  # fmt: skip
    digest = hashlib.sha256(platform.python_version().encode())
    for path in files:
        digest.update(path.relative_to(package).as_posix().encode())
        digest.update(path.read_bytes())
    for name in RECORDED_PACKAGES:
        digest.update(f"{name} {importlib.metadata.version(name)}".encode())
    return digest.hexdigest()


def sha256_of(path: Path) -> str:
    """SHA-256 of a file; empty if it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def files_in(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below a folder but the record itself, by its path in it."""
    return {
        path.relative_to(folder).as_posix(): sha256_of(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != RUN_RECORD
    }
