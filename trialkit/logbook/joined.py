"""The trial as it would be with the new rows, and what is wrong then that was not wrong before.

Answers: do the new rows break any rule, by themselves or together with the old ones?

Every rule of `trial.checks` is applied to the old and new rows together; what was wrong without the new rows is not held
against them. In a very large trial the rules look at the trucks that the new rows are about, and at all the sets and
trucks that are linked with them: no rule ties a truck to one with which it shares no set, save the doubts about the whole
trial (how many trucks an edge type is on, whether exchange rates are mixed), for which `trialkit check` is there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.logbook.growth import Growth
from trialkit.trial.checks import Checked, check_draft
from trialkit.trial.files import RawTables
from trialkit.trial.intake import Draft, draft_of

LARGE = 100_000
"""Rows of readings and shifts above which only what is linked with the new rows is looked at."""
READINGS, EVENTS, SHIFTS = "wear_readings", "set_events", "shifts"
OF_SHIFTS = ("material", "operator_ratings", "sound", "vibration")
_NOT_THERE = ("no-rows", "file-missing", "sheet-missing")


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the rules say about the trial with the new rows.

    Attributes
    ----------
    problems : tuple of Problem
        What is wrong now and was not before.
    draft : Draft
        The trial with the new rows.
    is_partial : bool
        Whether only the trucks and sets linked with the new rows were looked at.
    """

    problems: tuple[Problem, ...]
    draft: Draft
    is_partial: bool


def judge(
    folder: Path,
    raw: RawTables,
    growths: Mapping[str, Growth],
    earlier: dict[Linked | None, Counter[Problem]],
) -> Judgement:
    """Apply every rule to the trial with the new rows.

    Parameters
    ----------
    folder : Path
        The trial folder, for its settings.
    raw : RawTables
        The trial as it is.
    growths : mapping of str to Growth
        The rows to be added, by table.
    earlier : dict
        What is wrong without the new rows, by what was looked at; filled as it is found, so that the same trial need not be
        looked at again.

    Returns
    -------
    Judgement
        What is wrong only with the new rows there.
    """
    after = draft_of(joined_tables(raw, growths), folder)
    if not any(growth.positions for growth in growths.values()):
        return Judgement((), after, is_partial=False)
    linked = _linked(after, growths)
    checked = _checked(after, linked)
    problems: tuple[Problem, ...] = ()
    if checked.problems:
        if linked not in earlier:
            earlier[linked] = Counter(_checked(draft_of(raw, folder), linked).problems)
        problems = tuple((Counter(checked.problems) - earlier[linked]).elements())
    return Judgement(problems, after, linked is not None)


def joined_tables(raw: RawTables, growths: Mapping[str, Growth]) -> RawTables:
    """The tables of the trial with the new rows at their ends."""
    grown = {name: growth for name, growth in growths.items() if growth.positions}
    files = {name: growth.raw.file for name, growth in grown.items()}
    given = set(files.values())
    return replace(
        raw,
        tables={**raw.tables, **{name: growth.joined() for name, growth in grown.items()}},
        files={**raw.files, **files},
        problems=[p for p in raw.problems if p.code not in _NOT_THERE or not _is_given(p, given, grown)],
    )


def _is_given(problem: Problem, given: set[str], grown: Iterable[str]) -> bool:
    """Whether a table that was missing is there now."""
    return problem.file in given or any(problem.file.endswith(f"[{name}]") for name in grown)


# ---------------------------------------------------------------- what is linked with the new rows
@dataclass(frozen=True, slots=True)
class Linked:
    """Sets, trucks and shifts that the rules look at together."""

    sets: frozenset[str]
    trucks: frozenset[str]


def _linked(draft: Draft, growths: Mapping[str, Growth]) -> Linked | None:
    """What is linked with the new rows; None where the whole trial is looked at."""
    frames = draft.frames
    if len(frames[READINGS]) + len(frames[SHIFTS]) <= LARGE:
        return None
    sets: set[str] = set()
    trucks: set[str] = set()
    shifts: set[str] = set()
    for name, growth in growths.items():
        new = frames[name].loc[frames[name].index >= growth.target.next_row]
        for column, names in ((c.SET_ID, sets), (c.TRUCK_ID, trucks), (c.SHIFT_ID, shifts)):
            if column in new:
                names |= set(new[column].dropna().astype(str))
    of_shifts = frames[SHIFTS][c.TRUCK_ID][frames[SHIFTS][c.SHIFT_ID].isin(list(shifts))]
    trucks |= set(of_shifts.dropna().astype(str))
    pairs = frames[EVENTS][[c.SET_ID, c.TRUCK_ID]].dropna().astype(str).drop_duplicates()
    while True:
        more = pairs[pairs[c.SET_ID].isin(list(sets)) | pairs[c.TRUCK_ID].isin(list(trucks))]
        grown_sets, grown_trucks = sets | set(more[c.SET_ID]), trucks | set(more[c.TRUCK_ID])
        if len(grown_sets) == len(sets) and len(grown_trucks) == len(trucks):
            return Linked(frozenset(sets), frozenset(trucks))
        sets, trucks = grown_sets, grown_trucks


def _checked(draft: Draft, linked: Linked | None) -> Checked:
    return check_draft(draft if linked is None else replace(draft, frames=_only(draft.frames, linked)))


def _only(frames: Mapping[str, pd.DataFrame], linked: Linked) -> dict[str, pd.DataFrame]:
    """The frames without rows that are about other sets and trucks."""
    kept = dict(frames)
    kept[READINGS] = _rows_with(kept[READINGS], c.SET_ID, linked.sets)
    kept[EVENTS] = _rows_with(kept[EVENTS], c.SET_ID, linked.sets)
    kept[SHIFTS] = _rows_with(kept[SHIFTS], c.TRUCK_ID, linked.trucks)
    others = set(frames[SHIFTS][c.SHIFT_ID].dropna()) - set(kept[SHIFTS][c.SHIFT_ID].dropna())
    for name in OF_SHIFTS:
        kept[name] = kept[name].loc[~kept[name][c.SHIFT_ID].isin(others).to_numpy()]
    return kept


def _rows_with(frame: pd.DataFrame, column: str, names: frozenset[str]) -> pd.DataFrame:
    """Rows that name one of these, or nothing."""
    return frame.loc[(frame[column].isin(list(names)) | frame[column].isna()).to_numpy()]
