"""A trial folder, read: typed frames in canonical units, with the decisions carried out.

Answers: what did the trial record, in which columns and units, and what could not be read?

`read_draft` reads everything and never stops at a problem; `checks` looks at what was read and decides whether it may be
used. Nothing is imputed: a blank cell is NA, and so is one that cannot be read, which has its problem.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.columns import MOMENT, WHOLE, Column
from trialkit.errors import Problem, UsageError, sorted_problems
from trialkit.tables import DECISIONS, EDGE_TYPES, MATERIAL, NEEDED, TABLES, Table
from trialkit.trial.corrections import carry_out
from trialkit.trial.files import SETTINGS_FILE, RawTables, read_raw_tables
from trialkit.trial.typed_tables import QUANTITIES, TypedTable, Values, read_typed_table
from trialkit.units import to_canonical

if TYPE_CHECKING:
    from trialkit.settings import Settings

DATED_BY = {
    "set_events": c.DATE,
    "wear_readings": c.DATE,
    "storms": c.START,
    "shifts": c.START,
    "sound": c.DATE,
    "vibration": c.DATE,
    "gauge_readings": c.DATE,
}
"""Tables whose rows have a day of their own, and the column that holds it."""
DATED_BY_SHIFT = ("material", "sound", "vibration", "operator_ratings")
"""Tables whose rows belong to a shift and go with it."""
_LARGEST_WHOLE = 2**53
_OF_ROWS = ("row-cells", "row-short")


@dataclass(frozen=True, eq=False)
class Draft:
    """What a trial folder holds, clean or not.

    Attributes
    ----------
    folder : Path
        The folder.
    settings : Settings or None
        None if trial.toml is missing or wrong.
    frames : mapping of str to DataFrame
        Every table by name. Columns in the order of `tables`, in canonical units, then the analyst's own columns as
        text; the index, named "row", is the row as the spreadsheet shows it. Numbers are float64, whole numbers int64
        where none is missing, moments datetime64[us] (midnight means that no time was given), words categories. Edge
        types are ordered categories, the reference first, the same in every table that refers to edge_types. A table
        that is not there has no rows.
    present : frozenset of str
        Tables that are there and could be read.
    files : mapping of str to str
        For every table, there or not, the file as problems print it.
    spellings, units_found : mapping of str to mapping of str to str
        For every table that is there, the header and the unit suffix of each column in its file.
    hashes : mapping of str to str
        SHA-256 of every file that was read.
    exclusions : DataFrame
        One row for each line of decisions that excluded a row or corrected a cell: table, row_key, action, column, old,
        new, reason, when, by, row. The index, "line", is the row of decisions.
    excluded : mapping of str to DataFrame
        The rows that were taken out, by table, typed like the frames.
    problems : tuple of Problem
        What is wrong with files, headers, cells and decisions; ranges, keys and cross-table rules are for `checks`.
    typed : mapping of str to TypedTable
        The cells as typed; `typed_text` and `row_about` read them.
    """

    folder: Path
    settings: Settings | None
    frames: Mapping[str, pd.DataFrame]
    present: frozenset[str]
    files: Mapping[str, str]
    spellings: Mapping[str, Mapping[str, str]]
    units_found: Mapping[str, Mapping[str, str]]
    hashes: Mapping[str, str]
    exclusions: pd.DataFrame
    excluded: Mapping[str, pd.DataFrame]
    problems: tuple[Problem, ...]
    typed: Mapping[str, TypedTable] = field(repr=False, default_factory=dict)


def read_draft(folder: str | Path, through: dt.date | str | None = None) -> Draft:
    """Read a trial folder.

    Use it to look at data that may still have problems; for analyses use `checks.check_trial`, which refuses them.

    Parameters
    ----------
    folder : str or Path
        Folder with trial.toml and the tables, as CSV files or one workbook.
    through : date or str, optional
        Last day that is looked at; a blank text means all. Later rows of tables with a date, and rows that belong to a
        later shift, are left out, and so are their problems. Prices, assignments and plans are kept.

    Returns
    -------
    Draft
        What was read, and everything that is wrong with it.

    Raises
    ------
    UsageError
        If `through` is a text but not a day.
    """
    return draft_of(read_raw_tables(Path(folder)), folder, through)


def draft_of(raw: RawTables, folder: str | Path, through: dt.date | str | None = None) -> Draft:
    """What the text of the tables means.

    Use it to look at a trial with other rows than its files hold; `read_draft` reads the files.

    Parameters
    ----------
    raw : RawTables
        The tables as text.
    folder : str or Path
        Folder with trial.toml.
    through : date or str, optional
        As in `read_draft`.

    Returns
    -------
    Draft
        What was read, and everything that is wrong with it.
    """
    folder, through = Path(folder), _last_day(through)
    settings, settings_problems = _settings(folder, raw.problems)
    typed = {
        name: read_typed_table(TABLES[name], raw.files[name], table) for name, table in raw.tables.items()
    }
    exclusions, decision_problems = _carried_out(typed)
    inside = _inside(typed, through)
    if len(exclusions):
        exclusions = exclusions[
            [
                _is_inside(typed[name], inside[name], row)
                for name, row in zip(exclusions[c.TABLE], exclusions[c.ROW], strict=True)
            ]
        ]
    problems = [*settings_problems, *_of_rows_looked_at(raw.problems, typed, inside), *decision_problems]
    for name, table in typed.items():
        problems += table.problems(inside[name])
        if name in NEEDED:
            problems += _none_left(table, inside[name], through)
    edge_types = _edge_types(typed, settings)
    full = {name: frame_of(_typed_or_empty(typed, name), edge_types) for name in TABLES}
    kept = {name: table.kept & inside[name] for name, table in typed.items()}
    out = {name: ~table.kept & inside[name] for name, table in typed.items()}
    return Draft(
        folder=folder,
        settings=settings,
        frames={name: _rows_of(frame, kept.get(name)) for name, frame in full.items()},
        present=frozenset(typed),
        files=raw.files,
        spellings={
            name: {key: heading.spelled for key, heading in table.headings.items()}
            for name, table in typed.items()
        },
        units_found={
            name: {key: heading.unit for key, heading in table.headings.items() if heading.unit}
            for name, table in typed.items()
        },
        hashes=raw.hashes,
        exclusions=exclusions,
        excluded={name: full[name].loc[rows] for name, rows in out.items() if rows.any()},
        problems=sorted_problems(problems),
        typed=typed,
    )


def typed_text(draft: Draft, table: str, row: int, column: str) -> str:
    """A cell as typed, after corrections, for a message.

    Parameters
    ----------
    draft : Draft
        What was read.
    table : str
        Name of the table.
    row : int
        Row as the spreadsheet shows it.
    column : str
        Name of the column in the frame.

    Returns
    -------
    str
        ``"5 3/8"``; empty if the cell is blank or the table has no such row.
    """
    typed = draft.typed.get(table)
    if typed is None:
        return ""
    position = int(np.searchsorted(typed.rows, row))
    there = position < len(typed.rows) and typed.rows[position] == row
    return typed.text(column, position) if there else ""


def row_about(draft: Draft, table: str, row: int) -> str:
    """What a row is about, for a message: its key in words, such as ``"S1, 2031-01-14, station 3"``."""
    typed = draft.typed.get(table)
    if typed is None:
        return ""
    position = int(np.searchsorted(typed.rows, row))
    there = position < len(typed.rows) and typed.rows[position] == row
    return typed.about(position) if there else ""


# ---------------------------------------------------------------- steps of reading
def _settings(folder: Path, problems: Iterable[Problem]) -> tuple[Settings | None, list[Problem]]:
    from trialkit.settings import read_settings

    if any(problem.code == "not-a-folder" for problem in problems):
        return None, []
    return read_settings(folder / SETTINGS_FILE)


def _carried_out(typed: Mapping[str, TypedTable]) -> tuple[pd.DataFrame, list[Problem]]:
    """Carry out the decisions, if there are any."""
    decisions = _typed_or_empty(typed, DECISIONS.name)
    return carry_out(decisions, {name: table for name, table in typed.items() if name != DECISIONS.name})


def _inside(typed: Mapping[str, TypedTable], through: dt.date | None) -> dict[str, np.ndarray]:
    """Which rows lie in the period that is looked at; a row without a day does."""
    inside = {name: np.ones(len(table.rows), dtype=bool) for name, table in typed.items()}
    if through is None:
        return inside
    end = np.datetime64(through) + np.timedelta64(1, "D")
    for name in set(DATED_BY) & set(typed):
        inside[name] &= ~(typed[name].values[DATED_BY[name]] >= end)
    if "shifts" in typed:
        shifts = pd.Series(typed["shifts"].values[c.SHIFT_ID])
        later = set(shifts[~inside["shifts"]].dropna()) - set(shifts[inside["shifts"]].dropna())
        for name in set(DATED_BY_SHIFT) & set(typed):
            inside[name] &= ~pd.Series(typed[name].values[c.SHIFT_ID]).isin(later).to_numpy()
    return inside


def _last_day(through: dt.date | str | None) -> dt.date | None:
    if isinstance(through, dt.datetime):
        return through.date()
    if through is None or isinstance(through, dt.date):
        return through
    try:
        return dt.date.fromisoformat(through.strip()) if through.strip() else None
    except ValueError:
        raise UsageError(f'"{through}" is not a day such as 2031-01-14.') from None


def _none_left(table: TypedTable, inside: np.ndarray, through: dt.date | None) -> list[Problem]:
    """That no row of a needed table is left, though it has some."""
    if not len(table.rows) or (table.kept & inside).any():
        return []
    if inside.any():
        fix = "Look through the decisions: they leave out every row."
        return [Problem("no-rows", table.file, found="no row that is not left out by a decision", fix=fix)]
    first = pd.Series(table.values[DATED_BY[table.table.name]]).min()
    fix = f"Choose a later day: the first row is of {first:%Y-%m-%d}."
    return [Problem("no-rows", table.file, found=f"no row up to {through}", fix=fix)]


def _is_inside(table: TypedTable, inside: np.ndarray, row: int) -> bool:
    return bool(inside[np.searchsorted(table.rows, row)])


def _of_rows_looked_at(
    problems: Iterable[Problem], typed: Mapping[str, TypedTable], inside: Mapping[str, np.ndarray]
) -> list[Problem]:
    """The problems of files without those about rows that are excluded or lie after the period."""
    left_out = {
        (table.file, int(row))
        for name, table in typed.items()
        if not (table.kept & inside[name]).all()
        for row in table.rows[~(table.kept & inside[name])]
    }
    return [
        problem
        for problem in problems
        if problem.code not in _OF_ROWS or (problem.file, problem.row) not in left_out
    ]


def _typed_or_empty(typed: Mapping[str, TypedTable], name: str) -> TypedTable:
    return typed[name] if name in typed else read_typed_table(TABLES[name], f"{name}.csv", None)


# ---------------------------------------------------------------- frames
def _edge_types(typed: Mapping[str, TypedTable], settings: Settings | None) -> list[str]:
    """Edge types in their order: the reference, the others as edge_types lists them, then any that it does not or no longer list."""
    order: dict[str, None] = {}
    if EDGE_TYPES.name in typed:
        table = typed[EDGE_TYPES.name]
        order = dict.fromkeys(pd.Series(table.values[c.EDGE_TYPE])[table.kept].dropna())
    if settings is not None and settings.reference_edge_type in order:
        order = {settings.reference_edge_type: None, **order}
    for name, table in typed.items():
        if name == EDGE_TYPES.name or _refers_to_edge_types(TABLES[name]):
            order |= dict.fromkeys(pd.Series(table.values[c.EDGE_TYPE]).dropna().unique())
    return list(order)


def _refers_to_edge_types(table: Table) -> bool:
    return any(column.name == c.EDGE_TYPE and column.refers_to == EDGE_TYPES.name for column in table.columns)


def frame_of(typed: TypedTable, edge_types: list[str]) -> pd.DataFrame:
    """All rows of a table, in canonical units; `edge_types` are the categories of columns that name one."""
    ready = _with_canonical_prices(typed)
    columns: dict[str, Values] = {}
    for column in typed.table.columns:
        values = ready.get(column.name, typed.values[column.name])
        if isinstance(values, pd.Categorical):
            used = values.remove_unused_categories()
            is_edge_type = column.name == c.EDGE_TYPE and (typed.table is EDGE_TYPES or column.refers_to)
            columns[column.name] = pd.Categorical(used, edge_types, ordered=True) if is_edge_type else used
        elif column.kind == MOMENT:
            columns[column.name] = values
        else:
            columns[column.name] = _number(
                to_canonical(values, typed.heading(column.name).unit, column.unit), column
            )
    for name in typed.headings:
        if name not in columns:
            columns[name] = typed.values[name]
    return pd.DataFrame(columns, index=pd.Index(typed.rows, name=c.ROW), copy=False)


def _number(values: np.ndarray, column: Column) -> np.ndarray:
    """Whole numbers as such where none is missing."""
    if column.kind == WHOLE and not np.isnan(values).any() and (np.abs(values) < _LARGEST_WHOLE).all():
        return values.astype(np.int64)
    return values


def _with_canonical_prices(typed: TypedTable) -> dict[str, Values]:
    """Prices of material per pound or gallon: the file gives them per the unit in which the quantity of the row stands."""
    if typed.table is not MATERIAL:
        return {}
    prices = np.array(typed.values[c.UNIT_PRICE_USD])
    for name in QUANTITIES:
        filled = ~np.isnan(typed.values[name])
        column = typed.table.column(name)
        prices[filled] /= to_canonical(1.0, typed.heading(name).unit, column.unit)
    return {c.UNIT_PRICE_USD: prices}


def _rows_of(frame: pd.DataFrame, rows: np.ndarray | None) -> pd.DataFrame:
    return frame if rows is None or rows.all() else frame.loc[rows]
