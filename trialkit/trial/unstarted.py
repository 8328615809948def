"""A trial before its season: what must be right for a plan, though nothing has been read yet.

Answers: can this folder be planned from, and which of its problems only matter later?

A plan rests on the settings, the edge types and the trucks, and on a few more tables where they are there. Sets, events and
readings do not exist yet; that they are missing is no fault of a folder that is planned from.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.settings import FILE_NAME
from trialkit.tables import TABLES
from trialkit.trial.checks import Checked, check_draft
from trialkit.trial.intake import Draft, read_draft

PLANNED_FROM = ("edge_types", "trucks")
"""Tables without which nothing can be planned."""
ALSO_PLANNED_FROM = ("assignments", "fleet_plan", "gauge_readings")
"""Tables that a plan uses when they are there."""
_MATTER = (*PLANNED_FROM, *ALSO_PLANNED_FROM)
_BOOK = ".xlsx"


@dataclass(frozen=True, eq=False)
class Planned(Checked):
    """A folder that is planned from, with the problems that matter for a plan.

    Attributes
    ----------
    set_aside : tuple of str
        Tables with rows that are not looked at, because something in them is wrong; a plan does not need them.
    """

    set_aside: tuple[str, ...] = ()

    @property
    def begun_on(self) -> dt.date | None:
        """Day of the first install; None before the season."""
        events = self.draft.frames["set_events"]
        days = events.loc[events[c.EVENT] == "install", c.DATE].dropna()
        return pd.Timestamp(days.min()).date() if len(days) else None


def check_trial_to_plan(folder: str | Path, through: dt.date | str | None = None) -> Planned:
    """Read a trial folder and keep the problems that stand in the way of a plan.

    Use it before the season, and for the sheets of the next round of readings. For an analysis use `checks.check_trial`.

    Parameters
    ----------
    folder : str or Path
        The trial folder.
    through : date or str, optional
        Last day that is looked at. A blank text means all.

    Returns
    -------
    Planned
        Its `require_clean` gives a trial in which every table that has something wrong with it, and that a plan does not
        need, has no rows.
    """
    return planned(read_draft(folder, through))


def planned(draft: Draft) -> Planned:
    """As `check_trial_to_plan`, of a folder that is read already."""
    checked = check_draft(draft)
    file_of = {file: name for name, file in draft.files.items()}
    problems = [problem for problem in checked.problems if _matters(problem, file_of)]
    wrong = {
        file_of[problem.file]
        for problem in checked.problems
        if problem.stops and problem.file in file_of and file_of[problem.file] not in _MATTER
    }
    aside = tuple(name for name in TABLES if name in wrong and len(draft.frames[name]))
    frames = {name: frame.iloc[:0] if name in wrong else frame for name, frame in draft.frames.items()}
    kept = replace(draft, frames=frames, present=draft.present - wrong)
    return Planned(draft=kept, problems=tuple(problems), set_aside=aside)


def _matters(problem: Problem, file_of: Mapping[str, str]) -> bool:
    """Whether a problem stands in the way of a plan: of a table that it rests on, the settings, or the whole folder."""
    if problem.file in file_of:
        return file_of[problem.file] in _MATTER
    whole_folder = problem.code == "not-a-folder"
    whole_book = problem.file.endswith(_BOOK) and problem.stops
    return problem.file == FILE_NAME or whole_folder or whole_book
