"""How a CSV file of the trial is written, so that added rows look like the ones that are there.

Answers: in which encoding, with which line ends and quotation marks would this file's own program have written the row?

Nothing of what is there is ever rewritten; rows are added at the end.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from trialkit.trial.delimited import as_utf8, encoding_of, header_row

WHERE_NEEDED, TEXTS, ALL, ALL_AND_BLANKS = "where needed", "texts", "all", "all and blanks"
"""Which cells a file puts into quotation marks."""
_SAMPLE = 1 << 16
_CELL = re.compile(r'(?:\A|,|\r\n|\n|\r)(?:"((?:[^"]|"")*)"(?=,|\r|\n|\Z)|([^,\r\n]*))')
_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*")
_NEEDS_MARKS = re.compile(r'[,"\r\n]')
_BREAK = re.compile(r"\r\n?")


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a file is written.

    Attributes
    ----------
    header : tuple of str
        Cells of the header row, as they stand there.
    encoding : str
        Codec of the text, without a byte order mark.
    line_end : str
        What ends a row.
    is_open : bool
        Whether the last row lacks its end.
    quoted : str
        `WHERE_NEEDED`, `TEXTS`, `ALL` or `ALL_AND_BLANKS`.
    """

    header: tuple[str, ...]
    encoding: str = "utf-8"
    line_end: str = "\n"
    is_open: bool = False
    quoted: str = WHERE_NEEDED

    def tail(self, rows: Iterable[Sequence[str]]) -> bytes:
        """What is to be added to the file so that these rows follow; each has as many cells as the header.

        Raises
        ------
        UnicodeEncodeError
            If a letter is not in the encoding; `can_hold` tells beforehand.
        """
        lines = "".join(self.line(cells) for cells in rows)
        return ((self.line_end if self.is_open and lines else "") + lines).encode(self.encoding)

    def new_file(self, rows: Iterable[Sequence[str]]) -> bytes:
        """A file with the header and these rows."""
        return self.tail([self.header, *rows])

    def line(self, cells: Sequence[str]) -> str:
        """One row with its end."""
        return ",".join(map(self.cell, cells)) + self.line_end

    def can_hold(self, text: str) -> bool:
        """Whether every letter is in the encoding of the file."""
        try:
            text.encode(self.encoding)
        except UnicodeEncodeError:
            return False
        return True

    def cell(self, text: str) -> str:
        """One cell, in quotation marks where this file would have them."""
        if _NEEDS_MARKS.search(text) or self._is_quoted(text):
            return '"' + _BREAK.sub("\n", text).replace('"', '""') + '"'
        return text

    def _is_quoted(self, text: str) -> bool:
        if self.quoted == ALL:
            return text != ""
        if self.quoted == TEXTS:
            return text != "" and _NUMBER.fullmatch(text) is None
        return self.quoted == ALL_AND_BLANKS


def dialect_of(data: bytes) -> Dialect | None:
    """How a file is written.

    Parameters
    ----------
    data : bytes
        Its content.

    Returns
    -------
    Dialect or None
        None if it cannot be read as a table.
    """
    text, _ = as_utf8(data, "")
    if text is None:
        return None
    header, _, begin, _ = header_row(text)
    if not header:
        return None
    encoding = encoding_of(data)
    wide = encoding.startswith(("utf-16", "utf-32"))
    plain = data.decode(encoding).encode("utf-8") if wide else data
    cut = text.rfind(b"\n", begin, begin + _SAMPLE) if len(text) > begin + _SAMPLE else len(text)
    sample = text[begin:cut].decode("utf-8", "replace")
    line_end = _line_end(plain)
    return Dialect(
        header=tuple(header),
        encoding=encoding,
        line_end=line_end,
        is_open=not plain.endswith((b"\n", b"\r")),
        quoted=_quoted(sample),
    )


def with_columns(data: bytes, names: Sequence[str]) -> bytes:
    """The content of a file with more columns at the right, blank in every row.

    All else stays as it is, byte for byte; a row with fewer cells than the header gets the ones it lacks.

    Parameters
    ----------
    data : bytes
        Content of a file that can be read as a table.
    names : sequence of str
        Headers of the new columns.
    """
    dialect = dialect_of(data)
    if dialect is None:
        raise ValueError("the file cannot be read as a table")
    text = data.decode(dialect.encoding)
    mark = text[:1] if text.startswith("\ufeff") else ""
    lines = list(io.StringIO(text[len(mark) :], newline=""))
    reader = csv.reader(lines)
    is_header = True
    for cells in reader:
        if is_header and not any(cell.strip() for cell in cells):
            continue
        if cells:
            row = lines[reader.line_num - 1]
            ready = row.rstrip("\r\n")
            blanks = "," * (len(dialect.header) - len(cells) + len(names))
            added = "".join(f",{dialect.cell(name)}" for name in names) if is_header else blanks
            lines[reader.line_num - 1] = ready + added + row[len(ready) :]
            is_header = False
    return (mark + "".join(lines)).encode(dialect.encoding)


def _line_end(data: bytes) -> str:
    both = data.count(b"\r\n")
    counts = {"\r\n": both, "\n": data.count(b"\n") - both, "\r": data.count(b"\r") - both}
    most = max(counts, key=counts.__getitem__)
    return most if counts[most] else "\n"


def _quoted(sample: str) -> str:
    """Which cells of the sample are in quotation marks."""
    bare_text = bare_number = needless = quoted_number = quoted_blank = 0
    for match in _CELL.finditer(sample):
        inside, bare = match.groups()
        if inside is None:
            is_number = _NUMBER.fullmatch(bare) is not None
            bare_number += is_number
            bare_text += bool(bare.strip()) and not is_number
        elif inside == "":
            quoted_blank += 1
        elif not _NEEDS_MARKS.search(inside):
            needless += 1
            quoted_number += _NUMBER.fullmatch(inside) is not None
    if not needless or bare_text:
        return WHERE_NEEDED
    if bare_number and not quoted_number:
        return TEXTS
    return WHERE_NEEDED if bare_number else ALL_AND_BLANKS if quoted_blank else ALL
