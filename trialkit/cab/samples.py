"""Which truck and which edge type a sound or vibration sample belongs to, and whether the sample can be used.

Answers: on which truck, with which edge, was this sample taken?

A sample names its shift, or its truck and day, and perhaps the set that was on the plow. The edge type follows from the
set, or else from the sets that were on the truck at that time. Where two edge types are possible the sample keeps no edge
type; it is never guessed.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.columns import Column
from trialkit.errors import NotEnoughDataError, Problem, TrialDataError, UsageError
from trialkit.formatting import counted, listed
from trialkit.tables import Table
from trialkit.trial.soundchecks import outlasts_shift, shift_lengths_h

NAMED_IN_NOTES = 5
"""How many samples a note names one by one."""
_REST_OF_DAY = pd.Timedelta(days=1) - pd.Timedelta(seconds=1)


@dataclass(frozen=True, eq=False)
class EdgeLabels:
    """Names of edge types as sentences print them.

    Attributes
    ----------
    labels : mapping
        Edge type -> name; an edge type without one is printed with spaces for underscores.
    """

    labels: Mapping[str, str]

    def __call__(self, edge_type: str) -> str:
        """Name of an edge type."""
        return self.labels.get(edge_type, edge_type.replace("_", " "))


@dataclass(frozen=True, eq=False)
class PlacedSamples:
    """Samples with their truck and edge type.

    Attributes
    ----------
    frame : DataFrame
        The samples as they came, with truck_id, set_id and edge_type filled where they follow from the other tables, and
        shift_length_h (missing where the shift's end is not recorded).
    notes : tuple of str
        What could not be placed, for the report.
    """

    frame: pd.DataFrame
    notes: tuple[str, ...]


def place_samples(
    samples: pd.DataFrame,
    edge_sets: pd.DataFrame,
    *,
    shifts: pd.DataFrame | None = None,
    lives: pd.DataFrame | None = None,
) -> PlacedSamples:
    """Find truck and edge type of each sample.

    When to use: before any analysis of the `sound` or `vibration` table.

    Parameters
    ----------
    samples : DataFrame
        Table `sound` or `vibration`: shift_id, truck_id, date, set_id (any of them may be missing).
    edge_sets : DataFrame
        set_id, edge_type.
    shifts : DataFrame, optional
        shift_id, truck_id, start, end; plow_position narrows the search where it is given.
    lives : DataFrame, optional
        One row per stay of a set on a truck: set_id, truck_id, plow_position, installed, removed (missing = still on).

    Returns
    -------
    PlacedSamples

    Notes
    -----
    A stay that ends on a day without a time counts to the end of that day. A sample without a set is given the edge type of
    the sets on its truck during the shift (or day) if they all have the same one, else none.
    """
    out = samples.copy()
    for column in (c.SHIFT_ID, c.TRUCK_ID, c.SET_ID):
        out[column] = (
            out[column].astype(object) if column in out else pd.Series(pd.NA, out.index, dtype=object)
        )
    date = out[c.DATE] if c.DATE in out else pd.Series(pd.NaT, out.index)
    out[c.DATE] = pd.to_datetime(date)
    spans = _spans(out, shifts)
    out[c.TRUCK_ID] = spans[c.TRUCK_ID].where(spans[c.TRUCK_ID].notna(), out[c.TRUCK_ID])
    lengths = shift_lengths_h(shifts) if shifts is not None and not shifts.empty else pd.Series(dtype=float)
    out[c.SHIFT_LENGTH_H] = out[c.SHIFT_ID].map(lengths).astype(float)
    day_only = out[c.DATE].where(out[c.DATE] != out[c.DATE].dt.normalize(), out[c.DATE] + _REST_OF_DAY)
    spans[c.END] = spans[c.END].where(spans[c.START].notna(), day_only)
    spans[c.START] = spans[c.START].where(spans[c.START].notna(), out[c.DATE])
    types = pd.Series(edge_sets[c.EDGE_TYPE].astype(object).to_numpy(), edge_sets[c.SET_ID].astype(object))
    edge = out[c.SET_ID].map(types).astype(object)
    if lives is not None and not lives.empty:
        missing = edge.isna() & out[c.TRUCK_ID].notna()
        edge = edge.where(
            ~missing, _edge_on_truck(spans[missing], out.loc[missing, c.TRUCK_ID], lives, types)
        )
    kept = edge_sets[c.EDGE_TYPE]
    ordered = isinstance(kept.dtype, pd.CategoricalDtype)
    out[c.EDGE_TYPE] = pd.Categorical(edge, categories=kept.cat.categories, ordered=True) if ordered else edge
    return PlacedSamples(out, tuple(_unplaced(out)))


def _spans(out: pd.DataFrame, shifts: pd.DataFrame | None) -> pd.DataFrame:
    """Truck, position, start and end of the time in which each sample was taken."""
    columns = [c.TRUCK_ID, c.PLOW_POSITION, c.START, c.END]
    if shifts is None or shifts.empty:
        spans = pd.DataFrame(index=out.index, columns=columns, dtype=object)
    else:
        known = shifts.drop_duplicates(c.SHIFT_ID).reindex(columns=[c.SHIFT_ID, *columns])
        known = known.set_index(known[c.SHIFT_ID].astype(object))[columns]
        spans = known.reindex(out[c.SHIFT_ID].to_numpy()).set_axis(out.index)
    for column in (c.TRUCK_ID, c.PLOW_POSITION):
        spans[column] = spans[column].astype(object)
    for column in (c.START, c.END):
        spans[column] = pd.to_datetime(spans[column])
    return spans


def _edge_on_truck(
    spans: pd.DataFrame, trucks: pd.Series, lives: pd.DataFrame, types: pd.Series
) -> pd.Series:
    """Edge type on each truck during each span; missing where none or several types were on it."""
    wanted = pd.DataFrame(
        {c.ROW: spans.index, c.TRUCK_ID: trucks, c.START: spans[c.START], c.END: spans[c.END]}
    )
    wanted["asked"] = spans[c.PLOW_POSITION].to_numpy()
    stays = lives[[c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.INSTALLED, c.REMOVED]].copy()
    for column in (c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION):
        stays[column] = stays[column].astype(object)
    both = wanted.merge(stays, on=c.TRUCK_ID)
    until = both[c.REMOVED].where(
        both[c.REMOVED] != both[c.REMOVED].dt.normalize(), both[c.REMOVED] + _REST_OF_DAY
    )
    last = both[c.END].where(both[c.END].notna(), both[c.START])
    same_time = (both[c.INSTALLED] <= last) & (until.isna() | (until > both[c.START]))
    same_place = both["asked"].isna() | (both["asked"] == both[c.PLOW_POSITION])
    on = both[same_time & same_place].assign(**{c.EDGE_TYPE: lambda rows: rows[c.SET_ID].map(types)})
    found = on.groupby(c.ROW)[c.EDGE_TYPE].agg(["nunique", "first"])
    return found.loc[found["nunique"] == 1, "first"].reindex(spans.index).astype(object)


def _unplaced(out: pd.DataFrame) -> Iterator[str]:
    truckless = int(out[c.TRUCK_ID].isna().sum())
    if truckless:
        yield f"{counted(truckless, 'sample')} could not be given a truck and {_be(truckless)} not used."
    edgeless = int((out[c.EDGE_TYPE].isna() & out[c.TRUCK_ID].notna()).sum())
    if edgeless:
        yield (
            f"{counted(edgeless, 'sample')} could not be given an edge type, because no set or several edge types were on "
            f"the truck at that time, and {_be(edgeless)} not used."
        )


def _be(n: int) -> str:
    return "was" if n == 1 else "were"


def named(ids: pd.Series) -> str:
    """Samples in a note: the first few by name, the rest as a number."""
    words = [str(item) for item in ids.head(NAMED_IN_NOTES)]
    rest = len(ids) - len(words)
    return listed([*words, f"{rest} more"] if rest else words)


def require_samples(samples: pd.DataFrame, table: Table, needed: tuple[str, ...]) -> None:
    """Stop when a sample holds something impossible.

    Parameters
    ----------
    samples : DataFrame
        With the columns `needed`.
    table : Table
        Description of the table, from which the allowed values come.
    needed : tuple of str
        Columns that every sample must fill.

    Raises
    ------
    TrialDataError
        With every missing or impossible cell.
    """
    problems: list[Problem] = []
    ids = samples[table.key[0]] if table.key[0] in samples else pd.Series(samples.index, samples.index)
    for name in needed:
        column = table.column(name)
        if name not in samples:
            problems.append(Problem("column-missing", table.name, column=name, fix=f"Add the column {name}."))
            continue
        values = samples[name]
        if column.is_numeric:
            low = values > column.low if column.low_excluded else values >= column.low
            allowed = values.isin([float(choice) for choice in column.choices]) if column.choices else low
            good = allowed & (values <= column.high) & np.isfinite(values.astype(float))
        else:
            good = values.astype(object).isin(column.choices)
        bad = ~good.fillna(False).astype(bool)
        for row, key, value in zip(samples.index[bad], ids[bad], values[bad], strict=True):
            problems.append(_cell_problem(table, column, row, str(key), value))
    if problems:
        raise TrialDataError(problems)


def _cell_problem(table: Table, column: Column, row: Hashable, key: str, value: Any) -> Problem:
    """A missing or impossible cell."""
    allowed = " or ".join(column.choices) if column.is_numeric and column.choices else column.allowed
    if pd.isna(value):
        code, found = "cell-missing", "blank"
    elif column.is_numeric:
        code, found = "out-of-range", f"{value:g}"
    else:
        code, found = "not-a-choice", f'"{value}"'
    number = row if isinstance(row, int) else None
    return Problem(
        code, table.name, number, key, column.name, found, allowed, "Correct it, or exclude the sample."
    )


def usable_samples(
    samples: pd.DataFrame, table: Table, needed: tuple[str, ...]
) -> tuple[pd.DataFrame, list[str]]:
    """The samples that have a truck and an edge type, and notes on the rest.

    Parameters
    ----------
    samples : DataFrame
        As `place_samples` returns them.
    table : Table
        Description of the table.
    needed : tuple of str
        Columns that every sample must fill.

    Returns
    -------
    usable : DataFrame
    notes : list of str
        How many were left out, and which last longer than the shift they were taken in.

    Raises
    ------
    UsageError
        If the samples have not been placed.
    TrialDataError
        If a sample holds something impossible.
    NotEnoughDataError
        If no sample has a truck and an edge type.
    """
    missing = [name for name in (c.TRUCK_ID, c.EDGE_TYPE) if name not in samples]
    if missing:
        raise UsageError(
            f"The samples have no {listed(missing, 'or')}; place them with samples.place_samples first."
        )
    require_samples(samples, table, needed)
    placed = samples[c.TRUCK_ID].notna() & samples[c.EDGE_TYPE].notna()
    if not placed.any():
        raise NotEnoughDataError(
            f"Of {counted(len(samples), f'{table.name} sample')} none has both a truck and an edge type; at least 1 is needed."
        )
    usable, notes = samples[placed], []
    if not placed.all():
        left = int((~placed).sum())
        notes.append(f"{counted(left, 'sample')} without a truck or an edge type {_be(left)} left out.")
    long = longer_than_shift(usable)
    if len(long):
        ids = long[table.key[0]] if table.key[0] in long else pd.Series(long.index)
        verb = "lasts" if len(long) == 1 else "last"
        notes.append(
            f"{counted(len(long), 'sample')} {verb} longer than the shift ({named(ids)}); check the durations, which weight the "
            "averages."
        )
    return usable, notes


def longer_than_shift(samples: pd.DataFrame) -> pd.DataFrame:
    """Samples that last longer than the shift in which they were taken, as `place_samples` found it.

    Parameters
    ----------
    samples : DataFrame
        duration_min, shift_length_h.

    Returns
    -------
    DataFrame
        The rows concerned, unchanged; empty if none or if no shift lengths are known.
    """
    if c.SHIFT_LENGTH_H not in samples:
        return samples.iloc[:0]
    return samples[outlasts_shift(samples[c.DURATION_MIN], samples[c.SHIFT_LENGTH_H])]


def edge_types_in_order(samples: pd.DataFrame) -> list[str]:
    """Edge types that have samples, the reference first where the column is an ordered category."""
    column = samples[c.EDGE_TYPE]
    present = list(dict.fromkeys(column.dropna()))
    if isinstance(column.dtype, pd.CategoricalDtype):
        return [name for name in column.cat.categories if name in set(present)]
    return present
