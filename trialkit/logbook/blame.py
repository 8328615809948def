"""Which of the new rows a problem is about.

Answers: which rows are to be left out so that the rest can be added?

A problem that names a new row is about that row. One that names an unknown set, truck, shift or storm is about every new
row that names it, and one about impossible numbers of a column about every new row with such a number. Where a problem
names an old row, or none, the new rows of the same set, truck or shift are left out; only when there are none, all new
rows of the table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.logbook.growth import Growth
from trialkit.trial.intake import Draft

Row = tuple[str, int]
"""A table and a position in the incoming file's rows of it."""
LINKS = (c.SET_ID, c.TRUCK_ID, c.SHIFT_ID)


def row_of(problem: Problem, growths: Mapping[str, Growth]) -> Row | None:
    """The new row that a problem names; None if it names an old one or none."""
    for name, growth in growths.items():
        if problem.file == growth.raw.file and problem.row is not None:
            position = growth.position_of(problem.row)
            if position is not None:
                return name, position
    return None


def rows_to_leave_out(
    problems: Iterable[Problem], draft: Draft, growths: Mapping[str, Growth]
) -> dict[Row, list[Problem]]:
    """New rows without which the problems would be gone, with the problems that speak against them.

    Parameters
    ----------
    problems : iterable of Problem
        Errors that are there only with the new rows.
    draft : Draft
        The trial with the new rows.
    growths : mapping of str to Growth
        The new rows, by table.

    Returns
    -------
    dict
        Empty only if there is no problem or no new row.
    """
    against: dict[Row, list[Problem]] = {}
    problems = list(problems)
    located = [problem for problem in problems if problem.row is not None]
    for problem in located or problems:  # what names no row is often only the rest of what does
        for row in _rows_about(problem, draft, growths):
            against.setdefault(row, []).append(problem)
    return against


def _rows_about(problem: Problem, draft: Draft, growths: Mapping[str, Growth]) -> list[Row]:
    name = next((name for name, file in draft.files.items() if file == problem.file), "")
    named = row_of(problem, growths)
    if problem.code == "unknown-key" and problem.row is not None:
        alike = _with_the_same_name(problem, name, draft, growths)
    elif problem.code == "out-of-range" and named is not None:
        alike = _out_of_range(problem, name, draft, growths)
    elif named is None:
        alike = _linked(problem, name, draft, growths)
    else:
        alike = []
    found = list(dict.fromkeys([*([named] if named is not None else []), *alike]))
    if found:
        return found
    there = [name] if name in growths and growths[name].positions else list(growths)
    return [(table, position) for table in there for position in growths[table].positions]


def _new(name: str, draft: Draft, growths: Mapping[str, Growth]) -> pd.DataFrame:
    """The new rows of a table that the decisions have kept."""
    frame = draft.frames[name]
    return frame.loc[frame.index >= growths[name].target.next_row]


def _positions(name: str, rows: pd.Index, growths: Mapping[str, Growth]) -> list[Row]:
    places = [growths[name].position_of(int(row)) for row in rows]
    return [(name, place) for place in places if place is not None]


def _column(problem: Problem, name: str, draft: Draft) -> str:
    spelled = draft.spellings.get(name, {})
    return next((column for column, header in spelled.items() if header == problem.column), "")


def _with_the_same_name(
    problem: Problem, name: str, draft: Draft, growths: Mapping[str, Growth]
) -> list[Row]:
    """New rows of any table that name the same unknown thing."""
    frame, column = draft.frames[name], _column(problem, name, draft)
    if not column or problem.row is None or problem.row not in frame.index:
        return []
    value = frame[column].loc[problem.row]
    group = (c.TRUCK_ID, c.PLOW_POSITION) if column == c.PLOW_POSITION else (column,)
    values = [frame[part].loc[problem.row] for part in group if part in frame]
    found = []
    for other in growths:
        new = _new(other, draft, growths)
        if pd.isna(value) or not set(group) <= set(new.columns):
            continue
        same = np.ones(len(new), dtype=bool)
        for part, wanted in zip(group, values, strict=True):
            same &= (new[part].astype(object) == wanted).to_numpy()
        found += _positions(other, new.index[same], growths)
    return found


def _out_of_range(problem: Problem, name: str, draft: Draft, growths: Mapping[str, Growth]) -> list[Row]:
    """New rows with an impossible number in the same column."""
    column = _column(problem, name, draft)
    if not column:
        return []
    described = next((item for item in growths[name].target.table.columns if item.name == column), None)
    if described is None or not described.is_numeric:
        return []
    new = _new(name, draft, growths)
    values = new[column].to_numpy(dtype=float)
    low = -np.inf if described.low is None else described.low
    high = np.inf if described.high is None else described.high
    wrong = (values < low) | (values > high) | ((values == low) & described.low_excluded)
    return _positions(name, new.index[wrong], growths)


def _linked(problem: Problem, name: str, draft: Draft, growths: Mapping[str, Growth]) -> list[Row]:
    """New rows of the same set, truck or shift as the old row that a problem names."""
    if name not in draft.frames or problem.row is None or problem.row not in draft.frames[name].index:
        return []
    row = draft.frames[name].loc[[problem.row]].iloc[0]
    found: list[Row] = []
    for column in LINKS:
        if column not in row.index or pd.isna(row[column]):
            continue
        for other in growths:
            new = _new(other, draft, growths)
            if column in new:
                found += _positions(other, new.index[(new[column].astype(object) == row[column])], growths)
        if found:
            return found
    return _on_the_same_truck(row, draft, growths)


def _on_the_same_truck(row: pd.Series, draft: Draft, growths: Mapping[str, Growth]) -> list[Row]:
    """New rows of sets that were on the truck of the old row, or on that of its set."""
    events = draft.frames["set_events"]
    trucks = {row.get(c.TRUCK_ID)} if pd.notna(row.get(c.TRUCK_ID)) else set()
    if pd.notna(row.get(c.SET_ID)):
        trucks |= set(events[c.TRUCK_ID][events[c.SET_ID].astype(object) == row[c.SET_ID]].dropna())
    sets = set(events[c.SET_ID][events[c.TRUCK_ID].isin(list(trucks))].dropna())
    found: list[Row] = []
    for other in growths:
        new = _new(other, draft, growths)
        for column, names in ((c.SET_ID, sets), (c.TRUCK_ID, trucks)):
            if column in new:
                found += _positions(other, new.index[new[column].isin(list(names)).to_numpy()], growths)
    return list(dict.fromkeys(found))
