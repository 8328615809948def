"""A trial folder in, its plan and the sheets for the garage out.

Answers: what does `trialkit plan` leave behind, and what stays as it was?

Everything is made in a folder of its own first and moved into place at the end, so that a failure leaves nothing half done.
Files of the same names are replaced, others in the folder are left alone. Once a set is on a truck an existing plan is not
written again: what was agreed beforehand stays, and only the sheets for the next readings are new. Rows are only ever added
to the table of assignments, never changed.
"""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trialkit import __version__, tables
from trialkit import columns as c
from trialkit.errors import ReportError, UsageError, os_reason
from trialkit.field import printing
from trialkit.formatting import counted, day
from trialkit.report import blocks, document, pdf, plan_study, running, saving
from trialkit.trial import unstarted
from trialkit.trial.headings import BLANK
from trialkit.trial.intake import Draft

PLAN_FOLDER = "plan"
PLAN_PAGE, PLAN_PDF = "trial_plan.html", "trial_plan.pdf"
RECORD = "plan.json"
ASSIGNMENTS_FILE = "assignments.csv"
BOTH = "both"
PAPERS = (*printing.PAPERS, BOTH)
"""Papers on which the plan can be printed."""


@dataclass(frozen=True, slots=True)
class Written:
    """What was written where, and what is to be said about it.

    Attributes
    ----------
    folder : Path
        Where the plan and the sheets are.
    files : tuple of str
        Names of the new files.
    said : tuple of str
        Sentences for the analyst.
    """

    folder: Path
    files: tuple[str, ...]
    said: tuple[str, ...]

    @property
    def first(self) -> Path:
        """The file to look at first."""
        return self.folder / (PLAN_PAGE if PLAN_PAGE in self.files else self.files[0])


def write_plan(
    folder: str | Path, out: str | Path | None = None, *, seed: str = "", paper: str = "", through: str = ""
) -> Written:
    """Size the trial, draw who carries what, and write the plan and the sheets to print.

    Parameters
    ----------
    folder : str or Path
        The trial folder; edge types, trucks and settings must be filled in.
    out : str or Path, optional
        Where to write; the folder `plan` in the trial folder if not given.
    seed : str
        Seed of the draw, if not that of the settings.
    paper : str
        ``"letter"``, ``"a4"`` or ``"both"``; by the units of the settings if blank.
    through : str
        Last day that is looked at.

    Returns
    -------
    Written
        What was written.

    Raises
    ------
    TrialDataError
        If what a plan rests on is wrong.
    UsageError
        If the seed, the paper or a forced assignment cannot be used.
    ReportError
        If a document cannot be made.
    """
    if paper and paper not in PAPERS:
        raise UsageError(f'"{paper}" is not a paper; allowed: {", ".join(PAPERS)}.')
    folder = Path(folder)
    out = Path(out) if out is not None else folder / PLAN_FOLDER
    checked = unstarted.check_trial_to_plan(folder, through=through)
    trial = checked.require_clean()
    assigned = plan_study.who_carries_what(trial, seed)
    missing = plan_study.new_rows(trial, assigned)
    keep_plan = checked.begun_on is not None and (out / PLAN_PAGE).exists()
    papers = _papers(paper, trial.settings.units)
    with _workplace() as work:
        said = [] if keep_plan else _plan_documents(folder, work, seed, through, papers)
        drawn = (
            [*assigned.sentences, f"Seed of the draw: {assigned.seed}."]
            if assigned.repeatable
            else list(assigned.sentences)
        )
        for position, name in enumerate(papers):
            made = printing.garage_sheets(
                checked.draft,
                assigned.table,
                stations=trial.settings.plan.stations,
                repeats=trial.settings.plan.repeats,
                said=drawn,
                paper=name,
            )
            for file, content in made.items():
                (work / _with_paper(file, name, position)).write_bytes(content)
        record = _record(trial.settings.model_dump(mode="json"), trial.hashes, assigned)
        (work / RECORD).write_text(
            json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
        )
        said += _write_assignments(checked.draft, missing)
        files = _moved(work, out)
    if keep_plan:
        begun = day(checked.begun_on)
        said.append(
            f"The first set went on a truck on {begun}, so {PLAN_PAGE} stays as it was; the sheets are new."
        )
    if seed and not assigned.kept and assigned.seed != trial.settings.seed:
        said.append(
            f"Write seed = {assigned.seed} into trial.toml, so that the draw can be repeated from the folder."
        )
    said += [f"Set aside, because something in it is wrong: {name}." for name in checked.set_aside]
    return Written(out, files, tuple(said))


def _papers(asked: str, units: str) -> tuple[str, ...]:
    if asked == BOTH:
        return tuple(printing.PAPERS)
    return (asked or ("a4" if units == "metric" else "letter"),)


def _with_paper(file: str, paper: str, position: int) -> str:
    """The name of a file; on a second paper it says which."""
    return file if not position else f"{Path(file).stem}_{paper}{Path(file).suffix}"


def _plan_documents(folder: Path, work: Path, seed: str, through: str, papers: tuple[str, ...]) -> list[str]:
    """Run the notebook of the plan and write its documents; what the analyst is told."""
    source = running.plan_notebook()
    given = {
        "data_dir": str(folder.resolve()),
        "out_dir": str(work.resolve()),
        "through_date": through,
        "seed": str(seed),
    }
    (work / "notebooks").mkdir()
    run = running.run_notebooks([source], given, work / "notebooks")[0]
    found = blocks.read_blocks(run.executed)
    (work / PLAN_PAGE).write_text(document.html(found), encoding="utf-8", newline="\n")
    for position, paper in enumerate(papers):
        (work / _with_paper(PLAN_PDF, paper, position)).write_bytes(pdf.pdf(found, paper, run_on=True))
    return [item[c.SENTENCE] for item in blocks.findings_of(found[:2])]


def _record(
    settings: dict[str, Any], hashes: Mapping[str, str], assigned: plan_study.Assigned
) -> dict[str, Any]:
    """What the plan was made from."""
    return {
        "made": dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        "trialkit": __version__,
        "seed": assigned.seed,
        "assignment": "kept" if assigned.kept else "drawn",
        "seed_gives_the_assignment": assigned.repeatable,
        "inputs": dict(sorted(hashes.items())),
        "settings": settings,
    }


# ---------------------------------------------------------------- the table of assignments
def _write_assignments(draft: Draft, missing: pd.DataFrame) -> list[str]:
    """Add the rows that are not there yet, and say what was done."""
    name = tables.ASSIGNMENTS.name
    if missing.empty:
        return [f"{draft.files[name]} was kept as it is."]
    place = draft.files[name]
    if name in draft.present and place.endswith("]"):
        return [
            f"The draw is in planned_assignment.csv: copy its {counted(len(missing), 'row')} into {place}. A workbook is not written "
            "to."
        ]
    path = draft.folder / (place if name in draft.present else ASSIGNMENTS_FILE)
    text = _decoded(path.read_bytes() if path.exists() else b"", path)
    saving.save_text(_with_rows(text, missing, draft.spellings.get(name, {})), path)
    return [f"{counted(len(missing), 'row')} added to {path.name}."]


def _with_rows(text: str, missing: pd.DataFrame, spelled: Mapping[str, str]) -> str:
    """The text of the file with more rows under its own header; a header of ours where it has none."""
    lines = text.replace("\r\n", "\n")
    first = next((line for line in lines.splitlines() if line.strip("\ufeff ,")), "")
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    header = (
        [cell.strip(BLANK) for cell in next(csv.reader([first]))] if first else list(tables.ASSIGNMENTS.names)
    )
    if not first:
        writer.writerow(header)
    under = {spelled.get(name, name): name for name in missing.columns}
    for row in missing.to_dict("records"):
        writer.writerow([row[under[name]] if name in under else "" for name in header])
    gap = "" if not lines or lines.endswith("\n") else "\n"
    return lines + gap + written.getvalue()


def _decoded(content: bytes, path: Path) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        raise UsageError(
            f"{path.name} is not UTF-8, so nothing is added to it; save it as UTF-8 and plan again."
        ) from None


# ---------------------------------------------------------------- into place
@contextlib.contextmanager
def _workplace() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="trialkit-plan-") as place:
        yield Path(place)


def _moved(work: Path, out: Path) -> tuple[str, ...]:
    """Move every file into place, each in one step; files of other names stay."""
    made = sorted(path.relative_to(work) for path in work.rglob("*") if path.is_file())
    try:
        for name in made:
            target = out / name
            target.parent.mkdir(parents=True, exist_ok=True)
            unfinished = target.with_name(f".{target.name}.{os.getpid()}")
            shutil.copyfile(work / name, unfinished)
            unfinished.replace(target)
    except OSError as error:
        raise ReportError(f"the plan could not be written: {os_reason(error, out)}.") from error
    return tuple(name.as_posix() for name in made)
