"""Counters and odometers that run backwards, and which of two readings is the wrong one.

Answers: where does a number fall that can only grow, and which row is to be looked at?

Only what is certain is reported: two readings of one day are compared only if both have a time, and a fall of less than
one unit is taken for rounding where either reading is a whole number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.columns import MOMENT
from trialkit.errors import Problem
from trialkit.trial.findings import Source, day_text
from trialkit.trial.headings import MOST_ROWS, counted_rest
from trialkit.trial.miles import Keys
from trialkit.trial.moments import Moments
from trialkit.units import to_canonical

FEW = 3
"""Up to so many points in a row can be a slip; more are a counter that was replaced."""
_PARTS = ("group", "first", "last", "value", "slack", "origin", "position")


@dataclass(frozen=True, eq=False)
class Points:
    """Readings of a counter: each value of a group and moment once, ordered by group and time.

    Attributes
    ----------
    frame : DataFrame
        `group` (number of the truck or truck position), `first`, `last` (seconds between which it was read), `value`,
        `slack` (by how much rounding may have changed it) [mi], `origin` (place in `origins`), `position`, `rows` (how
        many rows hold it).
    origins : tuple of (Source, str)
        The tables and columns from which readings come.
    """

    frame: pd.DataFrame
    origins: tuple[tuple[Source, str], ...]

    def told(self, k: int) -> tuple[Source, str, int]:
        """Source, column and position of one point."""
        row = self.frame.iloc[k]
        source, column = self.origins[int(row["origin"])]
        return source, column, int(row["position"])


def rounding_slack(source: Source, column: str, values: np.ndarray) -> np.ndarray:
    """One unit of the file where a value is a whole number there, else nothing [mi]."""
    written = np.round(source.in_file_unit(column, values), 6)
    canonical = source.table.column(column).unit
    one = float(to_canonical(1.0, source.unit(column), canonical)) if canonical else 1.0
    return np.where(written == np.floor(written), one, 0.0)


def points_of(parts: list[tuple[Source, str, np.ndarray, Moments, np.ndarray]]) -> Points:
    """Gather readings of counters from several tables.

    Parameters
    ----------
    parts : list of (source, column, group, moments, use)
        `group` is -1 and `use` false for rows to be left out; so are impossible and blank values.
    """
    columns: dict[str, list[np.ndarray]] = {name: [] for name in _PARTS}
    for origin, (source, column, group, when, use) in enumerate(parts):
        value = source.possible(column)
        rows = np.flatnonzero(use & (group >= 0) & when.known & ~np.isnan(value))
        moments = when.take(rows)
        values = (
            group[rows],
            moments.first,
            moments.last,
            value[rows],
            rounding_slack(source, column, value[rows]),
        )
        for name, part in zip(_PARTS, (*values, np.full(len(rows), origin), rows), strict=True):
            columns[name].append(part)
    frame = pd.DataFrame({name: np.concatenate(part) for name, part in columns.items()})
    same = ["group", "first", "last", "value"]
    order = np.lexsort(
        (frame["position"], frame["origin"], frame["value"], frame["first"], frame["last"], frame["group"])
    )
    frame = frame.iloc[order].reset_index(drop=True)
    begins = ~frame.duplicated(same).to_numpy()
    starts = np.flatnonzero(begins)
    kept = frame[begins].reset_index(drop=True)
    kept["rows"] = np.diff(np.append(starts, len(frame)))
    return Points(kept, tuple((source, column) for source, column, *_ in parts))


def falls(points: Points) -> list[tuple[int, int, bool]]:
    """Pairs of points of which the later is smaller, and whether the earlier one is the likelier slip.

    Each point is compared with the last one that certainly came before it. The earlier of the two is the likelier slip
    if it is out of line with more of those after it than the later one is with those before (as long as these are few:
    else the counter was replaced), or with another point of its own moment.
    """
    frame = points.frame
    n = len(frame)
    if n < 2:
        return []
    first, last, group = (frame[name].to_numpy() for name in ("first", "last", "group"))
    value, slack = frame["value"].to_numpy(), frame["slack"].to_numpy()
    keys = Keys(first, last)
    key = keys.of(group, last)
    before = np.searchsorted(key, keys.of(group, first), side="left") - 1
    valid = (before >= 0) & (group[before] == group)
    fall = value[before] - value
    allowed = np.maximum(slack[before], slack)
    wrong = np.flatnonzero(valid & np.where(allowed > 0, fall > allowed - 1e-6, fall > 1e-6))
    begins = np.searchsorted(group, group[wrong], side="left")
    ends = np.searchsorted(group, group[wrong], side="right")
    found = []
    for later, begin, end in zip(wrong.tolist(), begins.tolist(), ends.tolist(), strict=True):
        earlier = int(before[later])
        above = int((value[begin : earlier + 1] > value[later]).sum())
        below = int((value[later:end] < value[earlier]).sum())
        beside = earlier > begin and key[earlier - 1] == key[earlier] and first[earlier - 1] == first[earlier]
        fits_beside = bool(beside and value[earlier - 1] <= value[later])
        found.append((earlier, later, above <= FEW and (above < below or (above == below and fits_beside))))
    return found


def check_forwards(
    points: Points, code: str, names: Mapping[int, str], fix: str
) -> tuple[list[Problem], set[int]]:
    """Problems for every fall, and the groups that have one.

    Parameters
    ----------
    points : Points
        What was read.
    code : str
        Code of the problems.
    names : mapping
        Number of each group -> its name.
    fix : str
        What else to do than to correct the row.
    """
    frame = points.frame
    found = falls(points)
    group = frame["group"].to_numpy()
    groups = {int(group[later]) for _, later, _ in found}
    origin, position = (frame[name].to_numpy() for name in ("origin", "position"))
    rows: dict[tuple[int, int], tuple[int, int, bool]] = {}
    for earlier, later, earlier_is_wrong in found:
        wrong, other = (earlier, later) if earlier_is_wrong else (later, earlier)
        table = id(points.origins[int(origin[wrong])][0])  # of one row one number is enough
        rows.setdefault((table, int(position[wrong])), (wrong, other, earlier_is_wrong))
    problems = [_say_fall(points, *fall, code, names, fix) for fall in list(rows.values())[:MOST_ROWS]]
    if problems:
        last = problems[-1]
        problems += counted_rest(code, last.file, last.column, len(rows) - MOST_ROWS, fix)
    return problems, groups


def _say_fall(
    points: Points,
    wrong: int,
    other: int,
    earlier_is_wrong: bool,
    code: str,
    names: Mapping[int, str],
    fix: str,
) -> Problem:
    frame = points.frame
    source, column, position = points.told(wrong)
    beside, beside_column, beside_position = points.told(other)
    n, value = int(frame["rows"].iloc[wrong]), float(frame["value"].iloc[other])
    found = source.written(column, position) + (f" in {n:,} rows" if n > 1 else "")
    limit = (
        beside.span(beside_column, None, value)
        if earlier_is_wrong
        else beside.span(beside_column, value, None)
    )
    row = f"row {beside.row(beside_position)}" + (f" of {beside.file}" if beside is not source else "")
    allowed = f"{limit}, as {row} has {'later' if earlier_is_wrong else 'before'} ({_moment(beside, beside_position)})"
    key = f"{names[int(frame['group'].iloc[wrong])]}, {_moment(source, position)}"
    return source.problem(code, position, column, found, allowed, fix, key=key)


def _moment(source: Source, position: int) -> str:
    """Date of a row, from its first column of dates."""
    name = next(column.name for column in source.table.columns if column.kind == MOMENT)
    return day_text(source.frame[name].iloc[position])
