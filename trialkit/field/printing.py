"""The sheets for the garage as PDF files.

Answers: what is printed before the season, and again for each round of readings?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from trialkit import cautions
from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.field import forms, reading_sheets
from trialkit.field.reading_sheets import ReadingSheet
from trialkit.formatting import listed
from trialkit.tables import TABLES
from trialkit.trial.intake import Draft
from trialkit.typesetting import compiling

PAPERS = {"letter": "us-letter", "a4": "a4"}
"""Name of a paper on the command line, and as it is set."""
TEMPLATES = Path(__file__).parent / "templates"
HOW_TO_READ = (
    "Wipe the edge. Measure from the reference mark straight down to the cutting tip, at the same marks and on the same face as "
    "last time.",
    "A height that is more than last time is most likely a slip, a wrong station or a change that was not logged: measure again and "
    "note it.",
)
"""How an edge is read, before and after what is said of reading it more than once."""
MOST_LINES = 4
"""Lines for readings of a station on one page; more go on another copy of it."""
CHANGES = (
    "nothing", "another set was put on", "flipped end for end", "a section was replaced", "a new reference mark", "broken", "lost",
)  # fmt: skip
"""What may have happened to an edge since it was read, to be ticked."""
_READING_SHEETS, _FORMS, _SHARED = "reading_sheets.typ", "forms.typ", "sheet.typ"


def reading_sheets_pdf(
    sheets: Sequence[ReadingSheet], trial: str, paper: str = "letter", repeats: int = 2
) -> bytes:
    """A page for each truck position and its next round of readings.

    Parameters
    ----------
    sheets : sequence of ReadingSheet
        The pages.
    trial : str
        Name of the trial, at the foot of every page.
    paper : str
        ``"letter"`` or ``"a4"``.
    repeats : int
        How often each station is read on one occasion: a line of boxes for each, up to `MOST_LINES`.

    Raises
    ------
    UsageError
        If there is no page, or no such paper.
    """
    if not sheets:
        raise UsageError(
            "There is no truck to make a reading sheet for; list the trucks in trucks.csv first."
        )
    data = {
        "sheets": [sheet.data() for sheet in sheets],
        "tools": [forms.word_shown(word) for word in TABLES["wear_readings"].column(c.TOOL).choices],
        "events": list(CHANGES),
        "lines": min(repeats, MOST_LINES),
        "how": " ".join((HOW_TO_READ[0], _order_of_reading(repeats), HOW_TO_READ[1])),
        "cautions": list(cautions.UNDER_THE_PLOW),
        "governs": cautions.GOVERNS,
        "foot": f"{trial}, reading sheet",
    }
    return _compiled(_READING_SHEETS, data, paper, f"Reading sheets, {trial}")


def _order_of_reading(repeats: int) -> str:
    """In which order stations are read: a second reading is only of use if the first is not still in mind."""
    if repeats == 1:
        return "Read every station once."
    if repeats == 2:
        return "Read every station, then all of them again in the second line."
    more = (
        f" Use another copy of this page after the first {MOST_LINES} times." if repeats > MOST_LINES else ""
    )
    return f"Read every station, then all of them again in the next line, {repeats} times in all.{more}"


def forms_pdf(pages: Sequence[Mapping[str, Any]], trial: str, paper: str = "letter") -> bytes:
    """Forms of `forms`, one after the other.

    Parameters
    ----------
    pages : sequence of mapping
        The forms.
    trial, paper : str
        As for `reading_sheets_pdf`.
    """
    title = listed([str(page["title"]) for page in pages])
    data = {"forms": [dict(page) for page in pages], "governs": cautions.GOVERNS, "foot": trial}
    return _compiled(_FORMS, data, paper, f"{title}, {trial}")


def garage_sheets(
    draft: Draft,
    assignments: pd.DataFrame,
    *,
    stations: int,
    repeats: int = 2,
    said: Sequence[str] = (),
    paper: str = "letter",
) -> dict[str, bytes]:
    """Everything that is printed for the garage, by the name of its file.

    Parameters
    ----------
    draft : Draft
        What the trial folder holds.
    assignments : DataFrame
        Who carries what; without rows there is no assignment sheet.
    stations : int
        Stations of a set that was never read.
    repeats : int
        How often each station is read on one occasion.
    said : sequence of str
        How the assignment was drawn.
    paper : str
        ``"letter"`` or ``"a4"``.
    """
    trial = draft.settings.title if draft.settings is not None else draft.folder.name
    sheets = reading_sheets.reading_sheets(draft, stations, assignments)
    made = {
        "reading_sheets.pdf": reading_sheets_pdf(sheets, trial, paper, repeats),
        "change_form.pdf": forms_pdf([forms.change_form(draft)], trial, paper),
        "shift_form.pdf": forms_pdf([forms.shift_form(draft)], trial, paper),
        "rating_form.pdf": forms_pdf([forms.rating_form()], trial, paper),
    }
    if len(assignments):
        page = forms.assignment_sheet(_with_blocks(assignments, draft), reading_sheets.labels_of(draft), said)
        made["assignment_sheet.pdf"] = forms_pdf([page], trial, paper)
    return made


def _with_blocks(assignments: pd.DataFrame, draft: Draft) -> pd.DataFrame:
    if c.BLOCK in assignments:
        return assignments
    keys = [c.TRUCK_ID, c.PLOW_POSITION]
    trucks = draft.frames["trucks"][[*keys, c.BLOCK]].astype(object).drop_duplicates(keys)
    return assignments.astype(dict.fromkeys(keys, object)).merge(trucks, on=keys, how="left")


def _compiled(template: str, data: dict[str, Any], paper: str, title: str) -> bytes:
    if paper not in PAPERS:
        raise UsageError(f'"{paper}" is not a paper; allowed: {", ".join(PAPERS)}.')
    files = {_SHARED: (TEMPLATES / _SHARED).read_bytes()}
    return compiling.compile_pdf(
        TEMPLATES / template, {**data, "paper": PAPERS[paper]}, title=title, files=files
    )
