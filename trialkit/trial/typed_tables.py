"""One table with its cells as numbers, moments and words, still in the units of its file.

Answers: what is the value of each cell, which cells cannot be read, and which are blank that must not be?

Every different text of a column is read once, so a million rows cost little more than a thousand. A `TypedTable` is what
the lines of decisions are carried out on; problems are drawn up only afterwards, since a correction mends its cell and an
exclusion takes its row out.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.columns import CHOICE, MOMENT, WHOLE, Column
from trialkit.errors import Problem
from trialkit.tables import DECISIONS, KEY_SEPARATOR, Table
from trialkit.trial.headings import MOST_ROWS, Heading, RawTable, counted_rest, shown
from trialkit.trial.values import FREE_TEXT, Fault, allowed_words, read_cell, read_cells

Values = np.ndarray | pd.Categorical
RESERVED = frozenset(
    name for constant, name in vars(c).items() if constant.isupper() and isinstance(name, str)
)
EXTRA = "{} (extra)"
"""Name in the frame of a column of the analyst's own whose name means something else here."""
QUANTITIES = (c.QUANTITY_LB, c.QUANTITY_GAL)
"""Two ways to give one quantity; a row fills only one of them."""


@dataclass(eq=False)
class TypedTable:
    """The cells of one table, as typed and as values.

    Attributes
    ----------
    table : Table
        What the table is.
    file : str
        File as problems print it.
    raw : RawTable or None
        The cells as typed; None if the table is not there.
    headings : dict of str to Heading
        For every column of the file, by its name in the frame.
    rows : ndarray of int
        Rows as the spreadsheet shows them.
    values : dict of str to ndarray or Categorical
        Values by name in the frame, in the unit of the file; every column of the table is among them.
    faults : dict of str to dict of str to Fault
        Texts that cannot be read, by name and text.
    changed : dict of str to dict of int to str
        Cells that a decision has corrected, by name and position; the text that stands there now.
    kept : ndarray of bool
        False where a decision has taken the row out.
    """

    table: Table
    file: str
    raw: RawTable | None
    headings: dict[str, Heading]
    rows: np.ndarray
    values: dict[str, Values]
    faults: dict[str, dict[str, Fault]]
    changed: dict[str, dict[int, str]] = field(default_factory=dict)
    kept: np.ndarray = field(default_factory=lambda: np.ones(0, dtype=bool))

    # ------------------------------------------------------------ cells
    def heading(self, name: str) -> Heading:
        """The heading of a column; for one that the file does not have, its canonical name and unit."""
        if name in self.headings:
            return self.headings[name]
        column = self.table.column(name)
        return Heading(column.name, column, column.unit)

    def text(self, name: str, position: int) -> str:
        """What is typed in a cell, after corrections; empty if it is blank."""
        if position in self.changed.get(name, {}):
            return self.changed[name][position]
        codes, texts = self._typed(name)
        return str(texts[codes[position]]) if codes[position] >= 0 else ""

    def _typed(self, name: str) -> tuple[np.ndarray, pd.Index]:
        """The cells as typed in the file: the place of each in an index of texts, -1 where blank."""
        if self.raw is None or name not in self.headings:
            return np.full(len(self.rows), -1, dtype=np.int8), pd.Index([], dtype=object)
        cells = self.raw.frame[self.headings[name].spelled].array
        return cells.codes, cells.categories

    def is_blank(self, name: str) -> np.ndarray:
        """Where nothing is typed."""
        blank = self._typed(name)[0] == -1
        for position, text in self.changed.get(name, {}).items():
            blank[position] = text == ""
        return blank

    def is_unreadable(self, name: str) -> np.ndarray:
        """Where a text cannot be read."""
        faults = self.faults.get(name)
        if not faults:
            return np.zeros(len(self.rows), dtype=bool)
        codes, texts = self._typed(name)
        unreadable = np.isin(codes, texts.get_indexer(pd.Index(list(faults))))
        unreadable[list(self.changed.get(name, {}))] = False
        return unreadable & ~self._doubtful(name)

    def is_missing(self, name: str) -> np.ndarray:
        """Where there is no value, though the text that stands there, if any, could be read."""
        return pd.isna(self.values[name]) & ~self.is_unreadable(name) & ~self._doubtful(name)

    def _doubtful(self, name: str) -> np.ndarray:
        """Where the cell may stand under the wrong header, since the row has too many cells."""
        if self.raw is None or not self.raw.wide_rows or name in self.table.key:
            return np.zeros(len(self.rows), dtype=bool)
        return np.isin(self.rows, list(self.raw.wide_rows))

    def equals(self, name: str, text: str, positions: np.ndarray) -> np.ndarray:
        """Whether each of the cells at `positions` holds `text`, as typed or as a value."""
        if text == "":
            default = _blank_value(self.heading(name).column or FREE_TEXT)
            blank = self.is_blank(name)[positions]
            return blank if default is None else blank | np.asarray(self.values[name][positions] == default)
        codes, texts = self._typed(name)
        same = codes[positions] == (texts.get_loc(text) if text in texts else -2)
        if name in self.changed:
            now = self.changed[name]
            same = np.array(
                [
                    now[at] == text if at in now else was
                    for at, was in zip(positions.tolist(), same, strict=True)
                ],
                dtype=bool,
            )
        value = read_cell(text, self.heading(name))
        if isinstance(value, Fault):
            return same
        if isinstance(value, float):
            return same | np.isclose(self.values[name][positions], value, rtol=1e-9, atol=0)
        sought = np.datetime64(value) if isinstance(value, dt.datetime) else value
        return same | np.asarray(self.values[name][positions] == sought)

    def correct(self, name: str, position: int, text: str, value: object) -> None:
        """Put another text and value into a cell; an empty text makes it blank."""
        self.changed.setdefault(name, {})[position] = text
        if text == "":
            value = _blank_value(self.heading(name).column or FREE_TEXT)
        values = self.values[name]
        if isinstance(values, pd.Categorical):
            if value is not None and value not in values.categories:
                values = values.add_categories([value])
            else:
                values = values.copy()
        else:
            values = values.copy()
        values[position] = value if value is not None else _nothing(values)
        self.values[name] = values

    # ------------------------------------------------------------ keys
    def key(self, position: int) -> str:
        """The key of a row as a line of decisions names it."""
        parts = [self.text(name, position) for name in self.table.key]
        while parts and parts[-1] == "":
            parts.pop()
        return KEY_SEPARATOR.join(parts)

    def about(self, position: int) -> str:
        """The key of a row in words: ``"S1, 2031-01-14, station 3"``."""
        words = []
        for name in self.table.key:
            text = shown(self.text(name, position))
            if text and self.heading(name).column is not None and self.table.column(name).kind == WHOLE:
                text = f"{name} {text}" if name != c.REPEAT or text != "1" else ""
            words.append(text)
        return ", ".join(word for word in words if word)

    # ------------------------------------------------------------ problems
    def problems(self, inside: np.ndarray) -> list[Problem]:
        """What is wrong with the cells of the rows that are kept and lie `inside` the period that is looked at."""
        looked_at = self.kept & inside
        found: list[Problem] = []
        for name in self.headings:
            found += self._unreadable_problems(name, looked_at)
        for column in self.table.columns:
            if column.required and column.name in self.headings:
                blank = self.is_missing(column.name) & looked_at
                fix = (
                    "Fill it in."
                    if self.table is DECISIONS
                    else "Fill in what was recorded, or leave the row out by a line in decisions."
                )
                found += self._listed(
                    "cell-missing",
                    column.name,
                    np.flatnonzero(blank),
                    "blank",
                    allowed_words(self.heading(column.name)),
                    fix,
                )
        return found + self._either_problems(looked_at) + self._quantity_problems(looked_at)

    def _unreadable_problems(self, name: str, looked_at: np.ndarray) -> list[Problem]:
        faults = self.faults.get(name)
        if not faults:
            return []
        positions = np.flatnonzero(self.is_unreadable(name) & looked_at)
        codes, texts = self._typed(name)
        kind_of = {texts.get_loc(text): fault.code for text, fault in faults.items()}
        kinds = np.array([kind_of[code] for code in codes[positions].tolist()], dtype=object)
        problems = []
        for kind in sorted(set(kinds)):
            chosen = positions[kinds == kind]
            for position in chosen[:MOST_ROWS].tolist():
                fault = faults[self.text(name, position)]
                problems.append(
                    self._problem(
                        kind, name, position, shown(self.text(name, position)), fault.allowed, fault.fix
                    )
                )
            problems += counted_rest(
                kind, self.file, self.headings[name].spelled, len(chosen) - MOST_ROWS, ""
            )
        return problems

    def _problem(self, code: str, name: str, position: int, found: str, allowed: str, fix: str) -> Problem:
        row, spelled = int(self.rows[position]), shown(self.heading(name).spelled)
        return Problem(code, self.file, row, self.about(position), spelled, found, allowed, fix)

    def _listed(
        self, code: str, name: str, positions: np.ndarray, found: str, allowed: str, fix: str
    ) -> list[Problem]:
        """One problem for each row, and a count for the rest where there are very many."""
        listed = [
            self._problem(code, name, position, found, allowed, fix)
            for position in positions[:MOST_ROWS].tolist()
        ]
        return listed + counted_rest(
            code, self.file, self.heading(name).spelled, len(positions) - MOST_ROWS, fix
        )

    def _either_problems(self, looked_at: np.ndarray) -> list[Problem]:
        """Rows that fill none of several columns of which one is needed."""
        problems = []
        for group in self.table.either:
            there = [name for name in group if name in self.headings]
            if not there:
                continue
            blank = np.logical_and.reduce([self.is_missing(name) for name in there])
            words = " or ".join(self.heading(name).spelled for name in group)
            problems += self._listed(
                "cell-missing",
                there[0],
                np.flatnonzero(blank & looked_at),
                "blank",
                words,
                f"Fill in {words}.",
            )
            if group == (c.SHIFT_ID, c.TRUCK_ID) and c.TRUCK_ID in there:
                undated = self.is_missing(c.SHIFT_ID) & ~self.is_missing(c.TRUCK_ID) & self.is_missing(c.DATE)
                fix = "Name the shift, or give the date beside the truck."
                allowed = allowed_words(self.heading(c.DATE))
                problems += self._listed(
                    "cell-missing", c.DATE, np.flatnonzero(undated & looked_at), "blank", allowed, fix
                )
        return problems

    def _quantity_problems(self, looked_at: np.ndarray) -> list[Problem]:
        """Rows that give one quantity both by weight and by volume."""
        if not set(QUANTITIES) <= set(self.headings):
            return []
        both = looked_at & ~pd.isna(self.values[QUANTITIES[0]]) & ~pd.isna(self.values[QUANTITIES[1]])
        allowed = f"either {self.heading(QUANTITIES[0]).spelled} or {self.heading(QUANTITIES[1]).spelled}"
        positions = np.flatnonzero(both)
        problems = [
            self._problem(
                "unit-of-quantity", QUANTITIES[1], position,
                f"{self.text(QUANTITIES[1], position)} beside {self.text(QUANTITIES[0], position)} in {self.heading(QUANTITIES[0]).spelled}",
                allowed, "Leave one of the two cells blank.",
            )
            for position in positions[:MOST_ROWS].tolist()
        ]  # fmt: skip
        return problems + counted_rest("unit-of-quantity", self.file, "", len(positions) - MOST_ROWS, "")


def read_typed_table(table: Table, file: str, raw: RawTable | None) -> TypedTable:
    """Read every cell of a table.

    Parameters
    ----------
    table : Table
        What the table is.
    file : str
        File as problems print it.
    raw : RawTable or None
        Its cells as text; None gives a table without rows.

    Returns
    -------
    TypedTable
        Nothing is corrected or taken out yet.
    """
    rows = raw.frame.index.to_numpy() if raw is not None else np.empty(0, dtype=np.int64)
    typed = TypedTable(table, file, raw, {}, rows, {}, {}, kept=np.ones(len(rows), dtype=bool))
    if raw is not None:
        for heading in raw.headings:
            _add_column(typed, heading, raw.frame[heading.spelled].array)
    for column in table.columns:
        if column.name not in typed.values:
            typed.values[column.name] = _absent(column, len(rows))
    return typed


def _add_column(typed: TypedTable, heading: Heading, cells: pd.Categorical) -> None:
    """Read the cells under one header."""
    column = heading.column or FREE_TEXT
    name = column.name or (EXTRA.format(heading.spelled) if heading.spelled in RESERVED else heading.spelled)
    typed.headings[name] = heading
    texts = cells.categories.to_numpy(dtype=object).tolist()
    read, faults = read_cells(texts, heading)
    if faults:
        typed.faults[name] = {texts[place]: fault for place, fault in faults.items()}
    values: Values
    if column.is_numeric or column.kind == MOMENT:
        values = np.append(read, np.array([_nothing(read)], dtype=read.dtype))[cells.codes]
    else:
        values = cells.remove_categories([texts[place] for place in faults]) if faults else cells
    typed.values[name] = _filled(values, cells.codes == -1, _blank_value(column))
    doubtful = typed._doubtful(name)
    if doubtful.any():
        blanked = typed.values[name].copy()
        blanked[doubtful] = _nothing(blanked)
        typed.values[name] = blanked


def _blank_value(column: Column) -> float | str | None:
    """What a blank cell is read as where that is a value, such as 1 for a repeat."""
    if column.kind == WHOLE and column.blank_means.isdigit():
        return float(column.blank_means)
    if column.kind == CHOICE and column.blank_means in column.choices:
        return column.blank_means
    return None


def _nothing(values: Values) -> object:
    if isinstance(values, pd.Categorical):
        return None
    return np.datetime64("NaT") if values.dtype.kind == "M" else np.nan


def _filled(values: Values, blank: np.ndarray, default: float | str | None) -> Values:
    """The values with `default` where the cell is blank."""
    if default is None or not blank.any():
        return values
    if isinstance(values, pd.Categorical):
        values = values if default in values.categories else values.add_categories([default])
    values = values.copy()
    values[blank] = default
    return values


def _absent(column: Column, count: int) -> Values:
    """Values of a column that the file does not have."""
    default = _blank_value(column)
    if column.is_numeric:
        return np.full(count, np.nan if default is None else default, dtype=np.float64)
    if column.kind == MOMENT:
        return np.full(count, np.datetime64("NaT"), dtype="datetime64[us]")
    words = [] if default is None else [default]
    return pd.Categorical.from_codes(
        np.full(count, len(words) - 1, dtype=np.int8), pd.Index(words, dtype=object)
    )
