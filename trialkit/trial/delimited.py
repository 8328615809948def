"""One CSV file: bytes to text cells, with the row numbers that a spreadsheet shows.

Answers: what stands in each cell of this file, and can its rows and cells be told apart at all?

The file is checked as a whole first (is it text, in which encoding, what separates the cells, does every row have as
many cells as the header), then read by pandas' C parser with every column as categories of text. A million rows take
about a second. Nothing is guessed: a file whose rows could run together is not read, and says why.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.tables import Table
from trialkit.trial.headings import (
    BLANK,
    NUL_SHOWN,
    Heading,
    RawTable,
    match_headings,
    no_header,
    ragged_rows,
    shown,
    unnamed_column,
)

NOT_TEXT_SHARE = 0.02
_CONTROLS = bytes(code for code in range(32) if code not in (9, 10, 13)) + b"\x7f"
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CODECS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "vertical bars"}
_BLOCK = 1 << 23
_PIECE = 50_000
_TOO_MANY_CELLS = (
    "Put a cell that holds a comma into quotation marks, and write decimals with a period: 5.375, not 5,375."
)
_END = "\u2400end\u2400"


@dataclass(eq=False)
class _Rows:
    """How the rows of a file are built: how many there are, and which have too many or too few cells."""

    count: int = 0
    wide: list[tuple[int, int]] = field(default_factory=list)
    short: list[tuple[int, int]] = field(default_factory=list)


def read_delimited(data: bytes, table: Table, file: str) -> tuple[RawTable | None, list[Problem]]:
    """Read the bytes of a CSV file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    table : Table
        The table it holds.
    file : str
        File as problems print it.

    Returns
    -------
    raw : RawTable or None
        None if the file cannot be read as a table at all.
    problems : list of Problem
        Everything that is wrong with encoding, separators, header and rows.
    """
    text, problems = as_utf8(data, file)
    if text is None:
        return None, problems
    header, header_at, begin, start = header_row(text)
    if header is None or _swallows_rows(header):
        return None, [*problems, _quote_open(file, max(header_at, 1))]
    if not header:
        return None, [*problems, no_header(table, file)]
    separator = _other_separator(header)
    if separator:
        fix = "Save it as CSV with commas between the cells (CSV UTF-8), with a period as the decimal sign."
        return None, [
            *problems,
            Problem(
                "delimiter", file, row=header_at, found=_SEPARATORS[separator], allowed="commas", fix=fix
            ),
        ]
    headings, found = match_headings(table, header, file)
    problems += found
    if not any(headings):
        return None, problems
    named_to = 1 + max(number for number, heading in enumerate(headings) if heading is not None)
    rows = _rows(text, start, (named_to, len(header)), header_at + 1)
    if isinstance(rows, int):
        return None, [*problems, _quote_open(file, rows)]
    frame = _cells(text, begin, rows.count, len(header), header_at + 1)
    if frame is None:
        return None, [*problems, _quote_open(file, None)]
    filled = frame.notna().any(axis=1).to_numpy()
    if not filled.all():
        frame = frame.loc[filled]
    short = [item for item in rows.short if item[0] in frame.index]
    problems += ragged_rows("row-cells", rows.wide, len(header), file, _TOO_MANY_CELLS)
    problems += ragged_rows("row-short", short, len(header), file, "Look whether a comma is missing.")
    problems += _unnamed(frame, header, file)
    named = [number for number, heading in enumerate(headings) if heading is not None]
    kept = tuple(heading for heading in headings if heading is not None)
    wide = frozenset(row for row, _ in rows.wide)
    return _raw_table(table, file, frame[named], kept, wide, header_at + 1 + rows.count), problems


def _raw_table(
    table: Table,
    file: str,
    frame: pd.DataFrame,
    kept: tuple[Heading, ...],
    wide: frozenset[int],
    next_row: int,
) -> RawTable:
    frame.columns = pd.Index([heading.spelled for heading in kept], dtype=object)
    return RawTable(table.name, file, frame, kept, wide, next_row)


# ---------------------------------------------------------------- encoding
def encoding_of(data: bytes) -> str:
    """The codec with which a file is read, without its byte order mark: ``"utf-8"``, ``"utf-16-le"``, ``"cp1252"``..."""
    for mark, codec in _CODECS:
        if data.startswith(mark):
            return codec
    if _first_wrong_byte(data.removeprefix(codecs.BOM_UTF8)) is None:
        return "utf-8"
    try:
        data.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1"
    return "cp1252"


def as_utf8(data: bytes, file: str) -> tuple[bytes | None, list[Problem]]:
    """The content as UTF-8 without byte order mark, line ends that every reader knows, and no NUL."""
    problems: list[Problem] = []
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            try:
                data = data.decode(encoding).encode("utf-8")
            except UnicodeError:
                fix = "Open it in a spreadsheet and save it as CSV UTF-8."
                return None, [
                    Problem("file-unreadable", file, found=f"damaged {encoding.upper()} text", fix=fix)
                ]
            problems.append(
                Problem(
                    "encoding", file, found=encoding.upper(), allowed="UTF-8", fix="Save it as CSV UTF-8."
                )
            )
            break
    data = data.removeprefix(codecs.BOM_UTF8)
    if _is_not_text(data[:4096]):
        fix = "Open it in the program it was made with and save it as CSV UTF-8."
        return None, [Problem("file-unreadable", file, found="not a text file", allowed="CSV", fix=fix)]
    wrong = _first_wrong_byte(data)
    if wrong is not None:
        encoding, data, sample = _from_one_byte_letters(data, wrong)
        fix = f'Look whether the letters in "{sample}" are right, then save the file as CSV UTF-8.'
        problems.append(Problem("encoding", file, found=encoding, allowed="UTF-8", fix=fix))
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data.replace(b"\0", NUL_SHOWN.encode()), problems


def _is_not_text(start: bytes) -> bool:
    controls = len(start) - len(start.translate(None, delete=_CONTROLS))
    return start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF")) or controls > NOT_TEXT_SHARE * len(
        start
    )


def _first_wrong_byte(data: bytes) -> int | None:
    """Where the content stops being UTF-8, looked at block by block to save memory."""
    if data.isascii():
        return None
    decoder = codecs.getincrementaldecoder("utf-8")()
    for start in range(0, len(data), _BLOCK):
        held = len(decoder.getstate()[0])
        try:
            decoder.decode(data[start : start + _BLOCK], final=start + _BLOCK >= len(data))
        except UnicodeDecodeError as error:
            return start - held + error.start
    return None


def _from_one_byte_letters(data: bytes, wrong: int) -> tuple[str, bytes, str]:
    """The content read as Windows-1252 or else Latin-1, and the letters around the first odd one."""
    try:
        encoding, text = "Windows-1252", data.decode("cp1252")
    except UnicodeDecodeError:
        encoding, text = "Latin-1", data.decode("latin-1")
    before = text[max(0, wrong - 12) : wrong].splitlines()[-1:] or [""]
    return encoding, text.encode("utf-8"), shown(before[0] + text[wrong : wrong + 12].splitlines()[0])


# ---------------------------------------------------------------- header and rows
def _lines(data: bytes, start: int) -> Iterator[str]:
    content = io.BytesIO(data)
    content.seek(start)
    return iter(io.TextIOWrapper(content, encoding="utf-8", newline=""))


def header_row(data: bytes) -> tuple[list[str] | None, int, int, int]:
    """Cells of the first row that is not blank, its number, and where it and the row after it start.

    No cells if there is no such row, None if a quotation mark runs on and on.
    """
    reader = csv.reader(_lines(data, 0))
    number = line = 0
    try:
        for number, cells in enumerate(reader, start=1):
            if any(cell.strip(BLANK) for cell in cells):
                return cells, number, _offset_of_line(data, line), _offset_of_line(data, reader.line_num)
            line = reader.line_num
    except csv.Error:  # a cell longer than any cell can be
        return None, number + 1, 0, len(data)
    return [], number, 0, len(data)


def _offset_of_line(data: bytes, line: int) -> int:
    """Where the text after so many line ends begins."""
    offset = 0
    for _ in range(line):
        offset = data.find(b"\n", offset) + 1
        if offset == 0:
            return len(data)
    return offset


def _other_separator(header: list[str]) -> str:
    """The sign that separates the cells if it is not the comma."""
    line = ",".join(header)
    counts = {sign: line.count(sign) for sign in _SEPARATORS}
    likely = max(counts, key=counts.__getitem__)
    return likely if counts[likely] >= len(header) else ""


def _rows(data: bytes, start: int, width: tuple[int, int], first_row: int) -> _Rows | int:
    """How the rows are built, or the row in which a quotation mark stays open.

    `width` holds the fewest and the most cells that a row should have.
    """
    if data.find(b'"', start) == -1:
        return _plain_rows(data, start, width, first_row)
    return _quoted_rows(data, start, width, first_row)


def _plain_rows(data: bytes, start: int, width: tuple[int, int], first_row: int) -> _Rows:
    """Rows of a file without quotation marks: every line end ends a row, every comma a cell."""
    fewest, most = width
    signs = np.frombuffer(data, dtype=np.uint8)
    rows = _Rows()
    while start < len(data):
        stop = data.rfind(b"\n", start, start + _BLOCK) + 1 or data.find(b"\n", start) + 1 or len(data)
        block = signs[start:stop]
        starts = np.concatenate(([0], np.flatnonzero(block == ord("\n")) + 1))
        starts = starts[starts < len(block)]
        cells = np.add.reduceat(block == ord(","), starts, dtype=np.int32) + 1
        for at in np.flatnonzero(cells > most).tolist():
            end = starts[at + 1] if at + 1 < len(starts) else len(block)
            if block[starts[at] : end].tobytes().strip(b", \t\r\n"):
                rows.wide.append((first_row + rows.count + at, int(cells[at])))
        rows.short += [
            (first_row + rows.count + at, int(cells[at])) for at in np.flatnonzero(cells < fewest).tolist()
        ]
        rows.count += len(starts)
        start = stop
    return rows


def _quoted_rows(data: bytes, start: int, width: tuple[int, int], first_row: int) -> _Rows | int:
    """Rows of a file with quotation marks, by the csv module; the row of a mark that stays open."""
    fewest, most = width
    rows = _Rows()
    reader = csv.reader(chain(_lines(data, start), [_END]))
    line = 0
    try:
        for cells in reader:
            row = first_row + rows.count
            if reader.line_num > line + 1 and (_swallows_rows(cells) or cells[-1].endswith(_END)):
                return row
            if cells == [_END]:
                break
            if len(cells) > most and any(cell.strip(BLANK) for cell in cells):
                rows.wide.append((row, len(cells)))
            elif len(cells) < fewest:
                rows.short.append((row, len(cells)))
            rows.count += 1
            line = reader.line_num
    except csv.Error:  # a cell longer than any cell can be
        return first_row + rows.count
    return rows


def _swallows_rows(cells: list[str]) -> bool:
    """Whether a cell of several lines looks like rows that a lost quotation mark has run together."""
    return any(
        line.count(",") >= max(number, 2)
        for number, cell in enumerate(cells)
        for line in cell.split("\n")[1:]
    )


def _cells(data: bytes, begin: int, count: int, width: int, first_row: int) -> pd.DataFrame | None:
    """Every cell below the header as a category of text; None if the parser sees other rows than were counted.

    The categories are made here, piece by piece: the parser would turn ``007`` into the number 7.
    """
    names = list(range(width))
    content = io.BytesIO(data)
    content.seek(begin)
    texts: list[dict[str, int]] = [{} for _ in names]
    codes: list[list[np.ndarray]] = [[] for _ in names]
    try:
        pieces = pd.read_csv(
            content, header=0, names=names, usecols=names, index_col=False, dtype=object, engine="c", chunksize=_PIECE,
            keep_default_na=False, na_values=[""], skip_blank_lines=False, encoding="utf-8",
        )  # fmt: skip
        for piece in pieces:
            for name in names:
                codes[name].append(_codes(piece[name].to_numpy(), texts[name]))
    except (pd.errors.ParserError, pd.errors.EmptyDataError):
        return None
    columns = {}
    for name in names:
        joined = np.concatenate([np.empty(0, dtype=np.int32), *codes[name]])
        codes[name] = []
        if len(joined) != count:
            return None
        columns[name] = pd.Categorical.from_codes(joined, pd.Index(list(texts[name])))
    return pd.DataFrame(columns, index=pd.RangeIndex(first_row, first_row + count, name=c.ROW), copy=False)


def _codes(cells: np.ndarray, texts: dict[str, int]) -> np.ndarray:
    """The place of every cell among the texts seen so far, without the spaces around it; -1 where it is blank."""
    local, unique = pd.factorize(cells)
    stripped = [text.strip(BLANK) for text in unique]
    places = [texts.setdefault(text, len(texts)) if text else -1 for text in stripped]
    return np.array([*places, -1], dtype=np.int32)[local]


# ---------------------------------------------------------------- what is wrong with them
def _quote_open(file: str, row: int | None) -> Problem:
    fix = 'Close the quotation mark in the same cell, or take it away. An inch mark within quotes is written twice: "5 3/8""".'
    return Problem("quote-open", file, row=row, fix=fix)


def _unnamed(frame: pd.DataFrame, header: list[str], file: str) -> list[Problem]:
    """Columns that hold cells but have no name."""
    problems = []
    for number, name in enumerate(header):
        if name.strip(BLANK) == "" and frame[number].notna().any():
            row = frame.index[frame[number].notna()][0]
            problems.append(unnamed_column(number + 1, int(row), str(frame[number].loc[row]), file))
    return problems
