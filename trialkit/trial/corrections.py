"""The lines of decisions, carried out on the tables as they are read.

Answers: which rows are left out and which cells are corrected, by whom and why, and does every line fit the data?

The files themselves are never changed. Lines are carried out in the order of the file: ``exclude`` takes a row out,
``correct`` puts another value into one cell, ``keep`` and ``query`` only record that the row was looked at. A line whose
row is not there, or whose old value is not what stands there, is a problem: it was written about other data. A row that
an earlier line has excluded is no longer there for later ones, save for a ``query``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem, near_match, nearest_name
from trialkit.tables import DECISIONS, KEY_SEPARATOR, TABLES, Table
from trialkit.trial.headings import Heading, shown, spellings
from trialkit.trial.typed_tables import TypedTable
from trialkit.trial.values import Fault, read_cell
from trialkit.units import from_canonical, to_canonical

EXCLUDE, CORRECT, QUERY = "exclude", "correct", "query"
CARRIED_OUT = (c.TABLE, c.ROW_KEY, c.ACTION, c.COLUMN, c.OLD, c.NEW, c.REASON, c.WHEN, c.BY, c.ROW)
"""Columns of the list of lines that were carried out; `row` is the row of the table that the line names."""
_KEYS_COMPARED = 2000


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of decisions, with where it stands."""

    file: str
    row: int
    cells: Mapping[str, str]
    spelled: Mapping[str, str]

    def problem(self, code: str, column: str, found: str, allowed: str, fix: str) -> Problem:
        """A problem with one cell of this line."""
        key = ": ".join(part for part in (self.cells[c.TABLE], self.cells[c.ROW_KEY]) if part)
        return Problem(
            code, self.file, self.row, shown(key), self.spelled[column], shown(found), allowed, fix
        )


class _CannotBeCarriedOutError(Exception):
    """Carries the problem of a line out of the steps that look at it."""

    def __init__(self, problem: Problem):
        self.problem = problem
        super().__init__(str(problem))


def carry_out(decisions: TypedTable, tables: Mapping[str, TypedTable]) -> tuple[pd.DataFrame, list[Problem]]:
    """Carry out every line of decisions that can be.

    Parameters
    ----------
    decisions : TypedTable
        The decisions.
    tables : mapping of str to TypedTable
        The tables that are there, by name; they are changed.

    Returns
    -------
    carried_out : DataFrame
        One row per ``exclude`` or ``correct`` line, with the columns `CARRIED_OUT`; its index, "line", is the row of the
        decisions table. `old` is what stood in the cell.
    problems : list of Problem
        Lines that fit no row, and lines that cannot be carried out.
    """
    carried_out: list[dict[str, object]] = []
    lines: list[int] = []
    problems: list[Problem] = []
    usable = decisions.kept.copy()
    for column in DECISIONS.columns:
        if column.required:
            usable &= ~pd.isna(decisions.values[column.name])
    spelled = {name: decisions.heading(name).spelled for name in DECISIONS.names}
    for position in np.flatnonzero(usable).tolist():
        cells = {name: decisions.text(name, position) for name in DECISIONS.names}
        line = _Line(decisions.file, int(decisions.rows[position]), cells, spelled)
        try:
            done = _carried_out(line, tables)
        except _CannotBeCarriedOutError as error:
            problems.append(error.problem)
            continue
        if done is not None:
            carried_out.append({**done, c.WHEN: decisions.values[c.WHEN][position]})
            lines.append(line.row)
    frame = pd.DataFrame(
        carried_out, columns=list(CARRIED_OUT), index=pd.Index(lines, dtype="int64", name="line")
    )
    return frame.astype({c.WHEN: "datetime64[us]", c.ROW: "int64"}), problems


def _carried_out(line: _Line, tables: Mapping[str, TypedTable]) -> dict[str, object] | None:
    """Carry out one line; what it did, or None if it changes nothing."""
    typed = _table(line, tables)
    position = _position(line, typed)
    action = line.cells[c.ACTION]
    if action == EXCLUDE:
        done: dict[str, object] = {**line.cells}
        typed.kept[position] = False
    elif action == CORRECT:
        done = {**line.cells, c.OLD: _correct(line, typed, position)}
    else:
        return None
    return {**{name: done[name] for name in CARRIED_OUT if name != c.ROW}, c.ROW: int(typed.rows[position])}


# ---------------------------------------------------------------- which row
def _table(line: _Line, tables: Mapping[str, TypedTable]) -> TypedTable:
    name = line.cells[c.TABLE]
    with_key = [known for known, table in TABLES.items() if table.key]
    if name not in with_key:
        fix = near_match(name, with_key) or "Name one of the tables that have a key."
        raise _CannotBeCarriedOutError(
            line.problem("decision-invalid", c.TABLE, name, ", ".join(with_key), fix)
        )
    if name not in tables:
        fix = "Add the table, or mend what is wrong with its file."
        raise _CannotBeCarriedOutError(
            line.problem("decision-unmatched", c.TABLE, name, "a table that could be read", fix)
        )
    return tables[name]


def _position(line: _Line, typed: TypedTable) -> int:
    """Where the row is that the line names."""
    key = typed.table.key
    parts = [part.strip() for part in line.cells[c.ROW_KEY].split(KEY_SEPARATOR.strip())]
    allowed = _key_words(typed.table)
    optional = [not typed.table.column(name).required for name in key]
    if len(parts) > len(key) or not all(optional[len(parts) :]):
        fix = "Write the key columns' values in this order."
        raise _CannotBeCarriedOutError(
            line.problem("decision-unmatched", c.ROW_KEY, line.cells[c.ROW_KEY], allowed, fix)
        )
    said = len(parts)
    parts += [""] * (len(key) - said)
    looked_at = np.ones(len(typed.rows), dtype=bool) if line.cells[c.ACTION] == QUERY else typed.kept
    found = _matching(typed, parts, np.flatnonzero(looked_at))
    if len(found) > 1 and line.cells[c.COLUMN] and line.cells[c.OLD]:
        found = _narrowed(line, typed, found)
    if len(found) == 1:
        return int(found[0])
    if len(found) > 1:
        rows = ", ".join(str(typed.rows[position]) for position in found[:5])
        fix = f"Rows {rows} have this key: name the column and old value that tell them apart, or correct the file."
        raise _CannotBeCarriedOutError(
            line.problem("decision-invalid", c.ROW_KEY, line.cells[c.ROW_KEY], "the key of one row", fix)
        )
    if len(_matching(typed, parts, np.flatnonzero(~typed.kept))):
        fix = "An earlier line has excluded this row: delete one of the two lines."
    else:
        keys = _near_keys(typed, parts, said)
        near = keys.get(nearest_name(line.cells[c.ROW_KEY], keys))
        fix = f'Did you mean "{near}"?' if near else f"No row of {typed.table.name} has this key."
    raise _CannotBeCarriedOutError(
        line.problem("decision-unmatched", c.ROW_KEY, line.cells[c.ROW_KEY], allowed, fix)
    )


def _matching(typed: TypedTable, parts: list[str], positions: np.ndarray) -> np.ndarray:
    for name, part in zip(typed.table.key, parts, strict=True):
        positions = positions[typed.equals(name, part, positions)]
    return positions


def _narrowed(line: _Line, typed: TypedTable, positions: np.ndarray) -> np.ndarray:
    """Those of several rows with one key whose cell holds the old value."""
    name, heading = _column(line, typed)
    holding = [_holds(typed, name, heading, line.cells[c.OLD], int(position)) for position in positions]
    return positions[np.array(holding, dtype=bool)]


def _key_words(table: Table) -> str:
    return KEY_SEPARATOR.join(table.key)


def _near_keys(typed: TypedTable, parts: list[str], said: int) -> dict[str, str]:
    """Keys with which that of the line is compared: those with the same first part, else the first ones.

    Each is cut to as many parts as the line has, and leads to the whole key.
    """
    positions = np.flatnonzero(typed.kept)
    first = positions[typed.equals(typed.table.key[0], parts[0], positions)]
    chosen = first if len(first) else positions
    keys = [typed.key(position) for position in chosen[:_KEYS_COMPARED].tolist()]
    return {KEY_SEPARATOR.join(key.split(KEY_SEPARATOR)[:said]): key for key in reversed(keys)}


# ---------------------------------------------------------------- which cell, and what goes into it
def _column(line: _Line, typed: TypedTable) -> tuple[str, Heading]:
    """The column that the line corrects: its name in the frame, and in which unit the line speaks."""
    wanted = line.cells[c.COLUMN]
    for column in typed.table.columns:
        for spelled, unit in spellings(column).items():
            if wanted.casefold() == spelled:
                return column.name, Heading(wanted, column, unit)
    for name, heading in typed.headings.items():
        if wanted in (name, heading.spelled):
            return name, heading
    known = [heading.spelled for heading in typed.headings.values()]
    fix = near_match(wanted, [*known, *typed.table.names]) or f"Name a column of {typed.table.name}."
    raise _CannotBeCarriedOutError(
        line.problem("decision-invalid", c.COLUMN, wanted or "blank", ", ".join(known), fix)
    )


def _in_unit_of_file(value: object, said: Heading, typed: TypedTable, name: str) -> object:
    """A number of the line in the unit in which the file gives the column."""
    unit = typed.heading(name).unit
    if not isinstance(value, float) or said.column is None or said.unit == unit:
        return value
    return from_canonical(to_canonical(value, said.unit, said.column.unit), said.column.unit, unit)


def _holds(typed: TypedTable, name: str, said: Heading, old: str, position: int) -> bool:
    """Whether the cell holds the old value, as typed or as a value."""
    here = np.array([position])
    if said.unit == typed.heading(name).unit:
        return bool(typed.equals(name, old, here)[0])
    value = _in_unit_of_file(read_cell(old, said), said, typed, name)
    stands = typed.values[name][position]
    return (
        isinstance(value, float) and isinstance(stands, float) and math.isclose(stands, value, rel_tol=1e-9)
    )


def _correct(line: _Line, typed: TypedTable, position: int) -> str:
    """Put the new value into the cell; what stood there."""
    name, said = _column(line, typed)
    stood = typed.text(name, position)
    old, new = line.cells[c.OLD], line.cells[c.NEW]
    if old and not _holds(typed, name, said, old, position):
        fix = f"In row {typed.rows[position]} of {typed.file} stands {shown(stood) or 'nothing'}: correct the old value, or the line is no longer needed."
        raise _CannotBeCarriedOutError(
            line.problem("decision-unmatched", c.OLD, old, shown(stood) or "blank", fix)
        )
    if new == "":
        if not old or (said.column is not None and said.column.required):
            fix = "Write what is to be read instead, or exclude the row."
            allowed = "a value; blank only to take a value out of a column that may be blank, with the old value named"
            raise _CannotBeCarriedOutError(line.problem("decision-invalid", c.NEW, "blank", allowed, fix))
        typed.correct(name, position, "", None)
        return stood
    value = read_cell(new, said)
    if isinstance(value, Fault):
        raise _CannotBeCarriedOutError(line.problem("decision-invalid", c.NEW, new, value.allowed, value.fix))
    typed.correct(name, position, new, _in_unit_of_file(value, said, typed, name))
    return stood
