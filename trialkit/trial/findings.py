"""How a finding about rows of a trial is put into words.

Answers: in which file and row is it, what is the row about, and what does the number read in the file's own unit?

The checks look at typed frames; the analyst looks at the files. A `Source` stands between the two for one table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from trialkit import units
from trialkit.columns import Column
from trialkit.errors import Problem
from trialkit.tables import TABLES, Table
from trialkit.trial.headings import MOST_ROWS, counted_rest, shown, spellings
from trialkit.trial.intake import Draft, row_about, typed_text

UNIT_WORDS = {
    "in": "inches", "mm": "millimeters", "mi": "miles", "km": "kilometers", "ft": "feet", "m": "meters",
    "f": "degrees Fahrenheit", "c": "degrees Celsius", "lb": "pounds", "kg": "kilograms", "ton": "short tons",
    "t": "metric tons", "gal": "gallons", "l": "liters", "mph": "miles per hour", "kmh": "kilometers per hour",
}  # fmt: skip
"""Units that can be mistaken for each other, in words."""


@dataclass(frozen=True, eq=False)
class Source:
    """One table of a draft as its file spells it.

    Attributes
    ----------
    table : Table
        Its description.
    frame : DataFrame
        Typed rows, in canonical units; the index is the row as the spreadsheet shows it.
    file : str
        File as problems print it.
    spelled : mapping
        Canonical column -> header of the file, for the columns that the file has.
    units : mapping
        Canonical column -> unit suffix of the file.
    broken_rows : frozenset of int
        Rows with a cell that could not be read.
    typed : function, optional
        Row and canonical column -> the cell as typed.
    about : function, optional
        Row -> its key in words.
    """

    table: Table
    frame: pd.DataFrame
    file: str
    spelled: Mapping[str, str]
    units: Mapping[str, str]
    broken_rows: frozenset[int] = frozenset()
    typed: Callable[[int, str], str] | None = None
    about: Callable[[int], str] | None = None

    def has(self, *names: str) -> bool:
        """Whether the file has all these columns."""
        return all(name in self.spelled for name in names)

    def header(self, name: str) -> str:
        """The column as the file spells it."""
        return self.spelled.get(name, name)

    def unit(self, name: str) -> str:
        """Unit suffix of the column in the file."""
        return self.units.get(name) or self.table.column(name).unit

    def possible(self, name: str) -> np.ndarray:
        """A column of numbers with the impossible ones left blank; those are reported by themselves."""
        column, values = self.table.column(name), self.frame[name].to_numpy(dtype=float)
        low = -np.inf if column.low is None else column.low
        high = np.inf if column.high is None else column.high
        good = (values > low if column.low_excluded else values >= low) & (values <= high)
        return np.where(good, values, np.nan)

    def in_file_unit(self, name: str, value):
        """A canonical value, or several, in the unit of the file."""
        return units.from_canonical(value, self.table.column(name).unit, self.unit(name))

    def number(self, name: str, value: float) -> str:
        """A canonical value as it reads in the file."""
        return number_text(float(self.in_file_unit(name, value)))

    def span(self, name: str, low: float | None, high: float | None, low_excluded: bool = False) -> str:
        """From where to where, in the unit of the file."""
        unit = self.unit(name)
        tail = f" {units.UNIT_NAMES.get(unit, unit)}" if unit else ""
        if low is None:
            return f"up to {self.number(name, high or 0.0)}{tail}"
        if high is None and low_excluded:
            return f"above {self.number(name, low)}{tail}"
        if high is None:
            return f"{self.number(name, low)}{tail} or more"
        return f"{'above' if low_excluded else 'from'} {self.number(name, low)} to {self.number(name, high)}{tail}"

    def row(self, position: int) -> int:
        """Row as the spreadsheet shows it."""
        return int(self.frame.index[position])

    def written(self, name: str, position: int) -> str:
        """A cell as typed; as a number in the unit of the file where that is not known."""
        text = shown(self.typed(self.row(position), name)) if self.typed is not None else ""
        return text or self.number(name, float(self.frame[name].iloc[position]))

    def problem(
        self,
        code: str,
        position: int,
        column: str = "",
        found: str = "",
        allowed: str = "",
        fix: str = "",
        key: str | None = None,
    ) -> Problem:
        """A problem of one row; `column` is canonical, and the key is the row's own unless another is given."""
        row = self.row(position)
        about = key if key is not None else self.about(row) if self.about is not None else ""
        return Problem(
            code, self.file, row, about, self.header(column) if column else "", found, allowed, fix
        )

    def listed(
        self, code: str, column: str, positions: Iterable[int], say: Callable[[int], Problem]
    ) -> list[Problem]:
        """One problem for each row; beyond `MOST_ROWS` the rest is counted in one more."""
        positions = np.asarray(list(positions), dtype=int)
        told = [say(int(position)) for position in positions[:MOST_ROWS]]
        fix = told[-1].fix if told else ""
        return told + counted_rest(code, self.file, self.header(column), len(positions) - MOST_ROWS, fix)


def sources_of(draft: Draft) -> dict[str, Source]:
    """Every table of a draft that is there, by name."""
    return {name: _source_of(draft, name) for name in TABLES if name in draft.present}


def _source_of(draft: Draft, name: str) -> Source:
    file = draft.files[name]
    return Source(
        table=TABLES[name], frame=draft.frames[name], file=file, spelled=draft.spellings[name], units=draft.units_found[name],
        broken_rows=frozenset(p.row for p in draft.problems if p.file == file and p.row is not None and p.stops),
        typed=partial(typed_text, draft, name), about=partial(row_about, draft, name),
    )  # fmt: skip


def number_text(value: float) -> str:
    """A number without the noise of a conversion and without an exponent where that is possible.

    Examples
    --------
    >>> number_text(5.374015748031496 * 25.4), number_text(2000000.0)
    ('136.5', '2000000')
    """
    return f"{value:.10g}"


def day_text(moment: pd.Timestamp) -> str:
    """A moment as it is typed: the day, with the time where one was given."""
    return f"{moment:%Y-%m-%d}" if moment == moment.normalize() else f"{moment:%Y-%m-%dT%H:%M}"


def other_unit(
    column: Column, unit: str, value: float, low: float | None, high: float | None
) -> tuple[str, str] | None:
    """The unit in which a value would be likely, and the header that says so.

    Parameters
    ----------
    column : Column
        Description of the column.
    unit : str
        Unit suffix of the file.
    value : float
        The value as it stands in the file.
    low, high : float or None
        What would be likely, in the canonical unit.

    Returns
    -------
    tuple or None
        Unit suffix and header; None if no other unit makes the value likely.
    """
    for header, other in spellings(column).items():
        if other == unit:
            continue
        meant = units.to_canonical(value, other, column.unit)
        if (low is None or meant > low) and (high is None or meant <= high):
            return other, header
    return None
