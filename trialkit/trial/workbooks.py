"""One Excel workbook: its sheets to text cells, with the row numbers that the spreadsheet shows.

Answers: what stands in each cell of each sheet, as if the sheet had been saved as CSV?

Values that a formula gave when the workbook was last saved are read; a formula without one stays text that starts with
an equals sign. Date cells become ISO dates. Workbooks are slow: about 10,000 rows a second, so large tables are better
kept as CSV.
"""

from __future__ import annotations

import datetime as dt
import io
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.tables import TABLES, Table
from trialkit.trial.headings import (
    BLANK,
    RawTable,
    match_headings,
    no_header,
    ragged_rows,
    shown,
    unnamed_column,
)

MOST_UNPACKED_BYTES = 256 * 1024 * 1024
"""A workbook that unpacks to more is not opened; a sheet of a few hundred thousand rows stays below."""
MOST_PARTS = 2000
"""Parts that a workbook may have; each sheet, chart and picture is one."""
MOST_SQUEEZED = 200
"""How many times smaller than its content a large part may be; sheets of like rows reach 15 times."""
MOST_CELLS = 10_000_000
"""Cells of a sheet, blank ones between filled ones included, that are looked at."""
_SMALL_PART = 1024 * 1024
_FROM_ELSEWHERE = {
    "xl/externallinks/": "links to other workbooks",
    "xl/connections": "connections to data elsewhere",
    "xl/querytables/": "connections to data elsewhere",
    "xl/vbaproject": "macros",
    "xl/macrosheets/": "macros",
}
"""Parts that bring in what is not in the workbook itself, and what they are called."""
_DECLARATIONS = (b"<!DOCTYPE", b"<!ENTITY", "<!DOCTYPE".encode("utf-16-le"), "<!DOCTYPE".encode("utf-16-be"))
_BLOCK = 1 << 20
_SAVE_AGAIN = "Open it in a spreadsheet and save it again as .xlsx, or go back to an older copy."
LAST_ROW = 1_048_576
"""Rows that a sheet of this file format can have."""
_CELLS_BESIDE = "Move the cells to the right of the table to another sheet, or give their column a name."
IGNORED_SHEETS = ("readme",)
IGNORED_STARTS = ("_", ".")


@dataclass(frozen=True, eq=False)
class Book:
    """What a workbook holds.

    Attributes
    ----------
    tables : dict of str to RawTable
        Tables that could be read.
    named : dict of str to str
        Every table that has a sheet, readable or not, and the file and sheet as problems print them.
    others : list of str
        Sheets with cells that are not a table of the trial.
    problems : list of Problem
        What is wrong with the workbook and its sheets.
    is_open : bool
        Whether it could be opened at all.
    """

    tables: dict[str, RawTable] = field(default_factory=dict)
    named: dict[str, str] = field(default_factory=dict)
    others: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    is_open: bool = True


def read_workbook(data: bytes, file: str) -> Book:
    """Read every sheet of a workbook that is named like a table.

    Parameters
    ----------
    data : bytes
        Content of the ``.xlsx`` file.
    file : str
        Name of the file.

    Returns
    -------
    Book
        Sheets whose name starts with an underscore or a period, and one called README, are left alone.
    """
    refused = _why_not_opened(data, file)
    if refused is not None:
        return Book(problems=[refused], is_open=False)
    book = Book()
    try:
        _read_sheets(data, file, book)
    except Exception as error:  # a damaged workbook can raise anything inside the reader
        found = shown(f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else 'no details'}")
        fix = "Open it in a spreadsheet, save it again as .xlsx, or save the sheets as CSV."
        return Book(problems=[Problem("file-unreadable", file, found=found, fix=fix)], is_open=False)
    return book


def _why_not_opened(data: bytes, file: str) -> Problem | None:
    """Why the file is no workbook that can be opened, or None."""
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        fix = "Save it without a password as .xlsx."
        return Problem(
            "file-unreadable", file, found="protected by a password, or in the old .xls form", fix=fix
        )
    try:
        parts = zipfile.ZipFile(io.BytesIO(data)).infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError, EOFError):
        fix = "Open it in a spreadsheet and save it again as .xlsx, or go back to an older copy."
        return Problem(
            "file-unreadable", file, found="not a workbook, or damaged", allowed="an .xlsx workbook", fix=fix
        )
    if any(part.flag_bits & 1 for part in parts):
        return Problem(
            "file-unreadable", file, found="protected by a password", fix="Save it without a password."
        )
    found, allowed, fix = _too_much(parts) or _from_elsewhere(parts) or _declares(data, parts) or ("", "", "")
    return Problem("file-unreadable", file, found=found, allowed=allowed, fix=fix) if found else None


def _too_much(parts: list[zipfile.ZipInfo]) -> tuple[str, str, str] | None:
    """What is too large to be unpacked: found, allowed, to do."""
    fix = "Save the sheets as CSV files, one for each table."
    if len(parts) > MOST_PARTS:
        return f"{len(parts):,} parts", f"up to {MOST_PARTS:,} parts", fix
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MOST_UNPACKED_BYTES:
        allowed = f"up to {MOST_UNPACKED_BYTES // 1024**2} MB unpacked"
        return f"{unpacked // 1024**2:,} MB unpacked", allowed, fix
    for part in parts:
        if part.file_size > max(_SMALL_PART, MOST_SQUEEZED * part.compress_size):
            found = f"{shown(part.filename)} unpacks to {part.file_size // max(part.compress_size, 1):,} times its size"
            return found, f"up to {MOST_SQUEEZED} times", fix
    return None


def _from_elsewhere(parts: list[zipfile.ZipInfo]) -> tuple[str, str, str] | None:
    """What the workbook brings in from elsewhere: found, allowed, to do."""
    for part in parts:
        for start, words in _FROM_ELSEWHERE.items():
            if part.filename.casefold().replace("\\", "/").lstrip("/").startswith(start):
                fix = "Break the links or take the macros out, then save it as .xlsx; or save the sheets as CSV."
                return words, "values that are in the workbook itself", fix
    return None


def _declares(data: bytes, parts: list[zipfile.ZipInfo]) -> tuple[str, str, str] | None:
    """Whether a part declares words that stand for longer ones, which no spreadsheet program writes."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        for part in parts:
            if not part.filename.casefold().endswith((".xml", ".rels")):
                continue
            held = b""
            try:
                with book.open(part) as content:
                    while block := content.read(_BLOCK):
                        if any(mark in held + block for mark in _DECLARATIONS):
                            return f"declarations in {shown(part.filename)}", "none", _SAVE_AGAIN
                        held = block[-32:]
            except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError, ValueError):
                return f"{shown(part.filename)} is damaged", "an .xlsx workbook", _SAVE_AGAIN
    return None


def _read_sheets(data: bytes, file: str, book: Book) -> None:
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        values = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        formulas = (
            load_workbook(io.BytesIO(data), read_only=True, data_only=False) if _has_formulas(data) else None
        )
        sheets = [sheet for sheet in values.worksheets if not _is_left_alone(sheet.title)]
        for sheet in sheets:
            name = sheet.title.strip(BLANK).casefold()
            printed = f"{file} [{shown(sheet.title)}]"
            if name not in TABLES:
                if any(any(cells) for cells in _texts(sheet)):
                    book.others.append(sheet.title)
            elif name in book.named:
                fix = "Keep one of the two sheets."
                book.problems.append(
                    Problem(
                        "table-twice", printed, found=f"a second sheet beside {book.named[name]}", fix=fix
                    )
                )
            else:
                book.named[name] = printed
                again = formulas[sheet.title] if formulas is not None else None
                raw, problems = _read_rows(_texts(sheet, again), TABLES[name], printed)
                book.problems.extend(problems)
                if raw is not None:
                    book.tables[name] = raw


def _is_left_alone(title: str) -> bool:
    return title.strip().casefold() in IGNORED_SHEETS or title.startswith(IGNORED_STARTS)


def _has_formulas(data: bytes) -> bool:
    """Whether any sheet holds a formula; only then are the formulas themselves looked at."""
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        names = [
            name for name in parts.namelist() if name.startswith("xl/worksheets/") and name.endswith(".xml")
        ]
        return any(
            mark in content for content in map(parts.read, names) for mark in (b"<f>", b"<f ", b":f>", b":f ")
        )


# ---------------------------------------------------------------- cells
def _texts(sheet: Any, formulas: Any = None) -> Iterator[list[str]]:
    """Every row of a sheet as texts without spaces around them; a blank cell is an empty text."""
    sheet.reset_dimensions()
    again: Iterable[tuple] = ()
    if formulas is not None:
        formulas.reset_dimensions()
        again = formulas.iter_rows()
    beside = iter(again)
    count = 0
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        count += len(cells)
        if count > MOST_CELLS:
            raise ValueError(f"more than {MOST_CELLS:,} cells")
        if number > LAST_ROW:
            raise ValueError(f"a row beyond {LAST_ROW:,}")
        texts = [_text(cell.value) for cell in cells]
        for place, other in enumerate(next(beside, ())):
            if other.data_type == "f" and cells[place].value is None and cells[place].data_type == "n":
                texts[place] = _formula(other.value)
        while texts and texts[-1] == "":
            texts.pop()
        yield texts


def _text(value: Any) -> str:
    """A cell's value as it would stand in a CSV file."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        moment = (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)
        return (
            moment.date().isoformat() if moment.time() == dt.time() else moment.isoformat(timespec="seconds")
        )
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return str(value).strip(BLANK)


def _formula(value: Any) -> str:
    text = str(getattr(value, "text", None) or value)
    return text if text.startswith("=") else f"={text}"


def _read_rows(rows: Iterable[list[str]], table: Table, file: str) -> tuple[RawTable | None, list[Problem]]:
    """A table from the rows of its sheet."""
    numbered = ((number, cells) for number, cells in enumerate(rows, start=1) if any(cells))
    _, header = next(numbered, (0, []))
    if not header:
        return None, [no_header(table, file)]
    headings, problems = match_headings(table, header, file)
    if not any(headings):
        return None, problems
    index: list[int] = []
    cells_of: list[list[str | None]] = [[] for _ in header]
    beside: list[tuple[int, int]] = []
    for number, cells in numbered:
        index.append(number)
        if len(cells) > len(header):
            beside.append((number, len(cells)))
        for place, column in enumerate(cells_of):
            column.append((cells[place] or None) if place < len(cells) else None)
    problems += ragged_rows("row-cells", beside, len(header), file, _CELLS_BESIDE)
    problems += _unnamed(cells_of, index, header, file)
    kept = [
        (heading, _categories(cells))
        for heading, cells in zip(headings, cells_of, strict=True)
        if heading is not None
    ]
    frame = pd.DataFrame(
        dict(enumerate(cells for _, cells in kept)), index=pd.Index(index, dtype="int64", name=c.ROW)
    )
    frame.columns = pd.Index([heading.spelled for heading, _ in kept], dtype=object)
    return RawTable(
        table.name, file, frame, tuple(heading for heading, _ in kept), frozenset(row for row, _ in beside)
    ), problems


def _categories(cells: list[str | None]) -> pd.Categorical:
    codes, texts = pd.factorize(np.array(cells, dtype=object))
    return pd.Categorical.from_codes(codes, pd.Index(list(texts)))


def _unnamed(
    cells_of: list[list[str | None]], index: list[int], header: list[str], file: str
) -> list[Problem]:
    """Columns that hold cells but have no name."""
    problems = []
    for number, (name, cells) in enumerate(zip(header, cells_of, strict=True), start=1):
        filled = ((row, cell) for row, cell in zip(index, cells, strict=True) if cell is not None)
        row, cell = next(filled, (0, ""))
        if name == "" and row:
            problems.append(unnamed_column(number, row, cell, file))
    return problems
