"""The rows that are to be added, as their own file holds them.

Answers: which tables does the field workbook or CSV file hold, what is typed in each cell, and which rows are wrong by
themselves?

The same readers as for the trial are used, so the same headers, units, fractions and dates are understood. The rules
that need the rest of the trial are for `joined`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from trialkit import columns as c
from trialkit.errors import Problem, UsageError, near_match, os_reason
from trialkit.tables import TABLES
from trialkit.trial.delimited import read_delimited
from trialkit.trial.files import SPREADSHEETS
from trialkit.trial.findings import Source
from trialkit.trial.headings import BLANK, RawTable
from trialkit.trial.intake import frame_of
from trialkit.trial.schemas import check_cells
from trialkit.trial.typed_tables import TypedTable, read_typed_table
from trialkit.trial.workbooks import read_workbook

REJECTED_BECAUSE = "rejected_because"
"""Column of a file of rejected rows that says why; it is not taken in when the mended file is."""
LONGEST_FILE = 1024**3
"""Bytes beyond which a file is not read."""


@dataclass(frozen=True, eq=False)
class Incoming:
    """What a file offers to the trial.

    Attributes
    ----------
    path : Path
        The file.
    sha256 : str
        SHA-256 of its content.
    tables : mapping of str to TypedTable
        The tables of which it holds rows, by name, in the units of the file.
    problems : tuple of Problem
        What is wrong with the file, its headers, cells and ranges.
    notes : tuple of str
        What is left alone.
    """

    path: Path
    sha256: str
    tables: Mapping[str, TypedTable]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...] = field(default=())


def read_incoming(
    path: str | Path,
    tables: Sequence[str] = (),
    leave_out: Iterable[str] = (),
    taken: Container[str] = (),
) -> Incoming:
    """Read a field workbook or a CSV file of one table.

    Parameters
    ----------
    path : str or Path
        An ``.xlsx`` workbook with a sheet for each table, or a ``.csv`` file of one.
    tables : sequence of str
        For a CSV file its table, where the name of the file does not say it; for a workbook the only sheets to look at.
    leave_out : iterable of str
        Headers of columns that are not taken over.
    taken : container of str
        Names of files of the trial; a file of such a name is told apart by its folder.

    Returns
    -------
    Incoming
        What the file holds and what is wrong with it by itself.

    Raises
    ------
    UsageError
        If there is no such file, or it cannot be told which table it holds.
    """
    path = Path(path)
    for name in tables:
        if name not in TABLES:
            known = near_match(name, TABLES) or f"Tables are {', '.join(TABLES)}."
            raise UsageError(f'there is no table "{name}". {known}')
    data = _content(path)
    sha256 = hashlib.sha256(data).hexdigest()
    file = path.name if path.name not in taken else f"{path.resolve().parent.name}/{path.name}"
    if path.suffix.casefold() == ".xlsx":
        raw, problems, notes = _from_workbook(data, file, tables)
    else:
        raw, problems = _from_csv(data, path, file, tables)
        notes = []
    left_out = {REJECTED_BECAUSE, *(name.strip(BLANK).casefold() for name in leave_out)}
    unknown = left_out - {heading.spelled.casefold() for table in raw.values() for heading in table.headings}
    if unknown - {REJECTED_BECAUSE}:
        raise UsageError(f"{path.name} has no column {' or '.join(sorted(unknown - {REJECTED_BECAUSE}))}.")
    raw = {name: _without(table, left_out) for name, table in raw.items()}
    typed = {name: read_typed_table(TABLES[name], table.file, table) for name, table in raw.items()}
    problems = [problem for problem in problems if problem.column.casefold() not in left_out]
    wrong = {problem.file for problem in problems if problem.stops}
    empty = [name for name, table in typed.items() if not len(table.rows) and table.file not in wrong]
    typed = {name: table for name, table in typed.items() if name not in empty}
    if empty:
        notes.append(f"Without rows: {', '.join(empty)}.")
    for table in typed.values():
        problems += _wrong_by_itself(table, problems)
    return Incoming(path, sha256, typed, tuple(problems), tuple(notes))


def _content(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise UsageError(f"{path} is a folder; name the workbook or CSV file that holds the new rows.")
        if not path.is_file():
            raise UsageError(f"there is no file {path}.")
        if path.stat().st_size > LONGEST_FILE:
            raise UsageError(f"{path} is larger than {LONGEST_FILE // 1024**2:,} MB.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, UsageError):
            raise
        reason = os_reason(error) if isinstance(error, OSError) else str(error)
        raise UsageError(f"the file cannot be read: {reason}.") from None


def _from_workbook(
    data: bytes, file: str, tables: Sequence[str]
) -> tuple[dict[str, RawTable], list[Problem], list[str]]:
    book = read_workbook(data, file)
    notes = []
    if book.is_open and not book.named:
        raise UsageError(
            f"no sheet of {file} is named like a table. Sheets: {', '.join(book.others) or 'none with cells'}; "
            f"tables: {', '.join(TABLES)}."
        )
    for title in book.others:
        near = near_match(title, set(TABLES) - set(book.named))
        notes.append(f'The sheet "{title}" is not a table of the trial and was left alone. {near}'.strip())
    for name in tables:
        if book.is_open and name not in book.named:
            raise UsageError(f"{file} has no sheet {name}. Its sheets: {', '.join(book.named)}.")
    aside = [name for name in book.named if tables and name not in tables]
    if aside:
        notes.append(f"Not looked at, since --table names others: {', '.join(aside)}.")
    printed_aside = {book.named[name] for name in aside}
    problems = [problem for problem in book.problems if problem.file not in printed_aside]
    return {name: raw for name, raw in book.tables.items() if name not in aside}, problems, notes


def _from_csv(
    data: bytes, path: Path, file: str, tables: Sequence[str]
) -> tuple[dict[str, RawTable], list[Problem]]:
    ending = path.suffix.casefold()
    if ending in SPREADSHEETS:
        raise UsageError(f"{path.name} is not read: save it as .xlsx, or the table as CSV.")
    if len(tables) > 1:
        raise UsageError("a CSV file holds one table; name it once with --table.")
    name = tables[0] if tables else table_named(path.stem)
    if not name:
        raise UsageError(
            f"the name {path.name} does not say which table it holds: name it with --table, or begin the file name "
            f"with the table, such as wear_readings_january.csv. Tables are {', '.join(TABLES)}."
        )
    raw, problems = read_delimited(data, TABLES[name], file)
    return ({name: raw} if raw is not None else {}), problems


def table_named(stem: str) -> str:
    """The table with whose name a file name begins; empty if there is none.

    Examples
    --------
    >>> table_named("wear_readings"), table_named("Wear_Readings 2031-01-14"), table_named("readings")
    ('wear_readings', 'wear_readings', '')
    """
    plain = stem.strip(BLANK).casefold()
    fitting = [name for name in TABLES if plain.startswith(name) and not plain[len(name) :][:1].isalpha()]
    return max(fitting, key=len, default="")


def _without(table: RawTable, left_out: set[str]) -> RawTable:
    """The table without some columns, and without rows that are blank then."""
    kept = tuple(heading for heading in table.headings if heading.spelled.casefold() not in left_out)
    if len(kept) == len(table.headings):
        return table
    frame = table.frame[[heading.spelled for heading in kept]]
    frame = frame.loc[frame.notna().any(axis=1).to_numpy()]
    return RawTable(table.name, table.file, frame, kept, table.wide_rows, table.next_row)


def _wrong_by_itself(table: TypedTable, problems: Iterable[Problem]) -> list[Problem]:
    """What is wrong with cells and ranges of one table."""
    found = table.problems(np.ones(len(table.rows), dtype=bool))
    broken = frozenset(
        problem.row
        for problem in (*problems, *found)
        if problem.file == table.file and problem.row is not None and problem.stops
    )
    return found + check_cells(source_of(table, broken))


def faulty(table: TypedTable) -> np.ndarray:
    """Rows with a cell that cannot be read, is missing or is impossible by itself."""
    wrong = (
        np.isin(table.rows, list(table.raw.wide_rows)) if table.raw is not None else np.zeros(0, dtype=bool)
    )
    for name in table.headings:
        wrong |= table.is_unreadable(name)
    frame = frame_of(table, _edge_types(table))
    for column in table.table.columns:
        if column.required and column.name in table.headings:
            wrong |= table.is_missing(column.name)
        if column.is_numeric:
            values = frame[column.name].to_numpy(dtype=float)
            low = -np.inf if column.low is None else column.low
            high = np.inf if column.high is None else column.high
            wrong |= (values < low) | (values > high) | ((values == low) & column.low_excluded)
    return wrong


def source_of(table: TypedTable, broken_rows: frozenset[int] = frozenset()) -> Source:
    """The table as the checks want it."""
    position = {int(row): place for place, row in enumerate(table.rows.tolist())}
    return Source(
        table=table.table,
        frame=frame_of(table, _edge_types(table)),
        file=table.file,
        spelled={name: heading.spelled for name, heading in table.headings.items()},
        units={name: heading.unit for name, heading in table.headings.items() if heading.unit},
        broken_rows=broken_rows,
        typed=lambda row, name: table.text(name, position[row]),
        about=lambda row: table.about(position[row]),
    )


def _edge_types(table: TypedTable) -> list[str]:
    values = table.values.get(c.EDGE_TYPE)
    return [] if values is None else sorted({str(value) for value in values if isinstance(value, str)})
