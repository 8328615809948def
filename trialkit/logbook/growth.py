"""One table with rows added at its end: the bytes to be added, and what a reader will make of them.

Answers: what exactly will stand in the file, and does it read back as it was typed?

The bytes are made first and then read with the trial's own reader, so the rules look at what will stand in the file and at
nothing else. A row whose cells do not read back the same is reported and never added.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.logbook.cell_texts import canonical_values, number_text_in, price_factors, price_text
from trialkit.logbook.dialect import Dialect, dialect_of, with_columns
from trialkit.logbook.journal import Addition, NotAddedError
from trialkit.tables import MATERIAL, Table
from trialkit.trial.delimited import read_delimited
from trialkit.trial.headings import BLANK, Heading, RawTable, match_headings, shown
from trialkit.trial.typed_tables import QUANTITIES, TypedTable
from trialkit.units import to_canonical

LONGEST_CELL = 32_767
"""Characters that a cell of a spreadsheet can hold; a longer text is no cell."""
KEEP_FIX = "Write it in one line, in plain letters, or shorten it; then add the row again."
_BREAK = re.compile(r"\r\n?")


@dataclass(frozen=True, eq=False)
class Target:
    """The file of the trial to which rows of a table are added.

    Attributes
    ----------
    table : Table
        What it holds.
    path : Path
        Where it is, or will be.
    sha256 : str or None
        SHA-256 of its content; None if it is to be new.
    dialect : Dialect
        How it is written.
    headings : tuple of Heading or None
        What stands under each cell of its header.
    raw : RawTable or None
        What it holds; None if it is to be new.
    rewritten : bytes or None
        Its content with new columns, to which the rows are added; None if it gets none.
    """

    table: Table
    path: Path
    sha256: str | None
    dialect: Dialect
    headings: tuple[Heading | None, ...]
    raw: RawTable | None
    rewritten: bytes | None = None

    @property
    def next_row(self) -> int:
        """Row that the first added one will have."""
        return self.raw.next_row if self.raw is not None else 2


@dataclass(frozen=True, eq=False)
class Growth:
    """Rows that are to be added to one table.

    Attributes
    ----------
    target : Target
        To which file.
    positions : tuple of int
        The rows, as positions in the incoming table.
    tail : bytes
        What is added to the file.
    raw : RawTable
        What a reader makes of the added rows, with the row numbers that they will have.
    """

    target: Target
    positions: tuple[int, ...]
    tail: bytes
    raw: RawTable

    def addition(self) -> Addition:
        """What is written."""
        if self.target.rewritten is not None:
            return Addition(self.target.path, self.target.sha256, self.target.rewritten + self.tail, True)
        return Addition(self.target.path, self.target.sha256, self.tail)

    def position_of(self, row: int) -> int | None:
        """The incoming row that will stand in a row of the file; None if the row is an old one."""
        place = row - self.target.next_row
        return self.positions[place] if 0 <= place < len(self.positions) else None

    def joined(self) -> RawTable:
        """The whole table, the old rows and the new ones."""
        old = self.target.raw
        if old is None:
            return self.raw
        columns = {
            place: _end_to_end(old.frame.iloc[:, place].array, self.raw.frame.iloc[:, place].array)
            for place in range(old.frame.shape[1])
        }
        index = np.concatenate([old.frame.index.to_numpy(), self.raw.frame.index.to_numpy()])
        frame = pd.DataFrame(columns, index=pd.Index(index, dtype="int64", name=c.ROW), copy=False)
        frame.columns = old.frame.columns
        return replace(old, frame=frame, next_row=old.next_row + len(self.positions))


def existing_target(table: Table, path: Path, sha256: str, data: bytes, raw: RawTable) -> Target:
    """The file of a table that the trial has."""
    dialect = dialect_of(data) or Dialect(tuple(heading.spelled for heading in raw.headings))
    headings, _ = match_headings(table, dialect.header, raw.file)
    return Target(table, path, sha256, dialect, tuple(headings), raw)


def widened(target: Target, data: bytes, names: Sequence[str]) -> Target | None:
    """The file with more columns at its right; None if it cannot be read then.

    Parameters
    ----------
    target : Target
        The file as it is.
    data : bytes
        Its content.
    names : sequence of str
        Headers of the new columns.
    """
    rewritten = with_columns(data, names)
    raw, _ = read_delimited(rewritten, target.table, target.path.name)
    if raw is None:
        return None
    wider = existing_target(target.table, target.path, target.sha256 or "", rewritten, raw)
    return replace(wider, rewritten=rewritten)


def new_target(incoming: TypedTable, folder: Path) -> Target:
    """The file of a table that the trial does not have yet: the columns and units of the incoming one."""
    headings = tuple(incoming.headings.values())
    header = tuple(heading.spelled for heading in headings)
    return Target(
        incoming.table, folder / f"{incoming.table.name}.csv", None, Dialect(header), headings, None
    )


def columns_without_place(incoming: TypedTable, target: Target) -> list[str]:
    """Incoming columns that the file of the trial does not have."""
    there = set(_names_for(incoming, target.headings))
    return [name for name in incoming.headings if name not in there]


def grown(
    incoming: TypedTable, positions: Sequence[int], target: Target
) -> tuple[Growth, list[tuple[int, Problem]]]:
    """The rows at these positions added to a file.

    Parameters
    ----------
    incoming : TypedTable
        The incoming table.
    positions : sequence of int
        Which of its rows.
    target : Target
        To which file.

    Returns
    -------
    growth : Growth
        What is added; without the rows that cannot be kept.
    not_kept : list of (int, Problem)
        Positions of rows of which a cell does not read back as it is, and why.
    """
    rows = _texts(incoming, positions, target)
    not_kept = []
    for place, position in enumerate(positions):
        problem = _unkept(incoming, position, rows[place], target)
        if problem is not None:
            not_kept.append((position, problem))
    refused = {position for position, _ in not_kept}
    kept = [place for place, position in enumerate(positions) if position not in refused]
    raw = _read_back([rows[place] for place in kept], target)
    if raw is None:
        odd = set(_odd(kept, rows, target))
        not_kept += [(positions[place], _not_kept(incoming, positions[place], target)) for place in odd]
        kept = [place for place in kept if place not in odd]
        raw = _read_back([rows[place] for place in kept], target)
    if (
        raw is None and not kept
    ):  # a header of few and odd letters may read as no text where no row stands below it
        raw = _read_back([], _plainly_headed(target))
    if raw is None:
        raise NotAddedError(
            f"nothing was added: the rows for {target.path.name} would not read back together."
        )
    cells = [rows[place] for place in kept]
    tail = target.dialect.tail(cells) if target.raw is not None else target.dialect.new_file(cells)
    index = pd.RangeIndex(target.next_row, target.next_row + len(kept), name=c.ROW)
    growth = Growth(
        target,
        tuple(positions[place] for place in kept),
        tail,
        replace(raw, frame=raw.frame.set_axis(index, axis=0), file=_file(target), next_row=index.stop),
    )
    return growth, not_kept


def _plainly_headed(target: Target) -> Target:
    """The file with a header in which a sign that is not printed is a question mark."""
    header = tuple(
        "".join(sign if sign.isprintable() else "?" for sign in cell) for cell in target.dialect.header
    )
    return replace(target, dialect=replace(target.dialect, header=header))


def _file(target: Target) -> str:
    return target.raw.file if target.raw is not None else target.path.name


# ---------------------------------------------------------------- cells
def _names_for(incoming: TypedTable, headings: Sequence[Heading | None]) -> list[str]:
    """The incoming column that belongs under each heading of the trial's file; empty where there is none."""
    own = {
        heading.spelled.casefold(): name
        for name, heading in reversed(incoming.headings.items())
        if heading.column is None
    }
    names = []
    for heading in headings:
        if heading is None:
            names.append("")
        elif heading.column is not None:
            names.append(heading.column.name if heading.column.name in incoming.headings else "")
        else:
            names.append(own.get(heading.spelled.casefold(), ""))
    return names


def _texts(incoming: TypedTable, positions: Sequence[int], target: Target) -> list[list[str]]:
    """The cells of each row in the order and the units of the file."""
    places = np.array(positions, dtype=int)
    columns: list[list[str]] = []
    for heading, name in zip(target.headings, _names_for(incoming, target.headings), strict=True):
        if heading is None or not name:
            columns.append([""] * len(positions))
        elif name == c.UNIT_PRICE_USD and incoming.table is MATERIAL:
            columns.append(_prices(incoming, places, target))
        else:
            columns.append(_column(incoming, name, places, heading))
    return [list(cells) for cells in zip(*columns, strict=True)]


def _column(incoming: TypedTable, name: str, places: np.ndarray, heading: Heading) -> list[str]:
    texts = [incoming.text(name, place) for place in places.tolist()]
    said = incoming.heading(name)
    if heading.column is None or said.unit == heading.unit:
        return texts
    values = canonical_values(incoming, name, places)
    return [
        text
        if text == "" or np.isnan(value)
        else number_text_in(float(value), heading.column.unit, heading.unit)
        for text, value in zip(texts, values, strict=True)
    ]


def _prices(incoming: TypedTable, places: np.ndarray, target: Target) -> list[str]:
    """Prices of material per the unit in which the file of the trial gives the quantity."""
    units = {
        heading.column.name: heading.unit
        for heading in target.headings
        if heading is not None and heading.column
    }
    here = price_factors(incoming, places)
    there = np.ones(len(places))
    for name in QUANTITIES:
        if name in units:
            filled = ~np.isnan(incoming.values[name][places])
            there[filled] = to_canonical(1.0, units[name], incoming.table.column(name).unit)
    texts = [incoming.text(c.UNIT_PRICE_USD, place) for place in places.tolist()]
    values = canonical_values(incoming, c.UNIT_PRICE_USD, places)
    return [
        text if mine == theirs or np.isnan(value) else price_text(float(value), float(theirs))
        for text, value, mine, theirs in zip(texts, values, here, there, strict=True)
    ]


# ---------------------------------------------------------------- reading back
def _unkept(incoming: TypedTable, position: int, cells: list[str], target: Target) -> Problem | None:
    """Why a row cannot be kept in the file; None if it can."""
    row, about = int(incoming.rows[position]), incoming.about(position)
    if not any(cell.strip(BLANK) for cell in cells):
        allowed = f"a row with a cell under a column of {target.path.name}"
        return Problem(
            "cell-not-kept", incoming.file, row, about, "", "", allowed, "Fill in the row, or delete it."
        )
    for heading, text in zip(target.headings, cells, strict=True):
        if heading is None or not text:
            continue
        if not target.dialect.can_hold(text):
            allowed = f"letters of {target.dialect.encoding}, in which {target.path.name} is written"
            fix = f"Save {target.path.name} as CSV UTF-8, or write it in other letters."
        elif len(text) > LONGEST_CELL:
            allowed, fix = f"up to {LONGEST_CELL:,} characters", KEEP_FIX
        elif ("\n" in text or "\r" in text) and not _reads_back([cells], target):
            allowed, fix = "a text of one line", KEEP_FIX
        else:
            continue
        return Problem("cell-not-kept", incoming.file, row, about, heading.spelled, shown(text), allowed, fix)
    return None


def _not_kept(incoming: TypedTable, position: int, target: Target) -> Problem:
    row, about = int(incoming.rows[position]), incoming.about(position)
    allowed = f"cells that read back from {target.path.name} as they are"
    return Problem("cell-not-kept", incoming.file, row, about, "", "", allowed, KEEP_FIX)


def _odd(places: list[int], rows: list[list[str]], target: Target) -> list[int]:
    """Rows that do not read back, found by halving."""
    if not places or _reads_back([rows[place] for place in places], target):
        return []
    if len(places) == 1:
        return places
    middle = len(places) // 2
    return _odd(places[:middle], rows, target) + _odd(places[middle:], rows, target)


def _reads_back(rows: list[list[str]], target: Target) -> bool:
    return _read_back(rows, target) is not None


def _read_back(rows: list[list[str]], target: Target) -> RawTable | None:
    """What a reader makes of these rows; None if any of them reads otherwise."""
    plain = replace(target.dialect, encoding="utf-8", is_open=False)
    content = (plain.line(plain.header) + "".join(map(plain.line, rows))).encode("utf-8", "surrogatepass")
    raw, _ = read_delimited(content, target.table, target.path.name)
    if raw is None or len(raw.frame) != len(rows):
        return None
    named = [place for place, heading in enumerate(target.headings) if heading is not None]
    for place, column in zip(named, range(raw.frame.shape[1]), strict=True):
        array = raw.frame.iloc[:, column].array
        texts = ["" if code < 0 else array.categories[code] for code in array.codes]
        if any(
            text != _BREAK.sub("\n", cells[place]).strip(BLANK)
            for text, cells in zip(texts, rows, strict=True)
        ):
            return None
    return raw


def _end_to_end(old: pd.Categorical, new: pd.Categorical) -> pd.Categorical:
    """Two columns as one, the categories of the new one after those of the old."""
    codes = old.categories.get_indexer(new.categories)
    added = new.categories[codes < 0]
    codes[codes < 0] = len(old.categories) + np.arange(len(added))
    categories = pd.Index([*old.categories, *added], dtype=object) if len(added) else old.categories
    moved = np.append(codes, -1)[new.codes]
    return pd.Categorical.from_codes(np.concatenate([old.codes, moved]), categories)
