"""Incoming rows held against those that the trial has.

Answers: which rows are new, which are there already, and which say something else about the same thing?

Rows are recognized by the values of their key, whatever the spelling or unit: ``5-3/8`` in inches and ``136.525`` in
millimeters are one height. They are looked for among the rows as the file holds them and as decisions have corrected
them, excluded ones too. A row of a table without a key is there if all of its cells are.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.columns import MOMENT
from trialkit.logbook.cell_texts import canonical_values
from trialkit.trial.findings import number_text
from trialkit.trial.headings import shown
from trialkit.trial.typed_tables import TypedTable
from trialkit.units import from_canonical

NEW, THERE, TWICE, CONFLICT = "new", "there", "twice", "conflict"
"""A row that the trial does not have; that it has; that stands twice in the incoming file; that says something else."""
SAME_NUMBER = 1e-9
"""Relative difference up to which two numbers are the same: what a conversion of units can do."""
_ALMOST_ZERO = 1e-12


@dataclass(frozen=True, slots=True)
class Difference:
    """One cell that says something else: the column, what stands in the trial and what the incoming file has."""

    column: str
    there: str
    here: str


@dataclass(frozen=True, slots=True)
class Standing:
    """How one incoming row stands to the trial.

    Attributes
    ----------
    kind : str
        `NEW`, `THERE`, `TWICE` or `CONFLICT`.
    file : str
        Where the other row of the same key is.
    row : int
        Its row as the spreadsheet shows it; 0 for a new row.
    differences : tuple of Difference
        What a conflict is about.
    fuller : bool
        Whether the other row has cells that are blank here.
    """

    kind: str
    file: str = ""
    row: int = 0
    differences: tuple[Difference, ...] = ()
    fuller: bool = False


def standings(
    incoming: TypedTable, there: TypedTable | None, corrected: TypedTable | None = None
) -> list[Standing]:
    """How every incoming row stands to the trial.

    Parameters
    ----------
    incoming : TypedTable
        The rows to be added.
    there : TypedTable or None
        The rows of the trial as the file holds them; None if it has no such table.
    corrected : TypedTable, optional
        The same with the decisions carried out.

    Returns
    -------
    list of Standing
        One for each row, in order. A row with an unreadable or missing part of the key is new; its problem is told
        elsewhere.
    """
    names = incoming.table.key or incoming.table.names
    keys = _keys(incoming, names, np.arange(len(incoming.rows)))
    known: dict[tuple[Hashable, ...], int] = {}
    if there is not None:
        candidates = _candidates(there, names[0], incoming)
        known = dict(zip(_keys(there, names, candidates), candidates.tolist(), strict=True))
    first: dict[tuple[Hashable, ...], int] = {}
    found = []
    for position, key in enumerate(keys):
        if not _is_whole(incoming, key):
            found.append(Standing(NEW))
        elif there is not None and key in known:
            found.append(_against_trial(incoming, position, there, known[key], corrected))
        elif key in first:
            found.append(_compared(incoming, position, incoming, first[key], TWICE))
        else:
            first[key] = position
            found.append(Standing(NEW))
    return found


def _against_trial(
    incoming: TypedTable, position: int, there: TypedTable, place: int, corrected: TypedTable | None
) -> Standing:
    standing = _compared(incoming, position, there, place, THERE)
    if standing.kind == CONFLICT and corrected is not None:
        again = _compared(incoming, position, corrected, place, THERE)
        return again if again.kind == THERE else standing
    return standing


def _compared(incoming: TypedTable, position: int, other: TypedTable, place: int, same: str) -> Standing:
    """A row held against the other row of the same key."""
    differences = []
    fuller = False
    for name in incoming.headings:
        if name not in other.headings or name in incoming.table.key:
            continue
        here, there = _cell(incoming, name, position), _cell(other, name, place)
        if here is None and there is not None:
            fuller = True
        elif not _is_same(here, there):
            differences.append(_difference(incoming, position, other, place, name))
    row = int(other.rows[place])
    if differences:
        return Standing(CONFLICT, other.file, row, tuple(differences), fuller)
    return Standing(same, other.file, row, (), fuller)


def _difference(incoming: TypedTable, position: int, other: TypedTable, place: int, name: str) -> Difference:
    """The two cells as typed; with the number in the unit of the trial where the units differ."""
    said, meant = incoming.heading(name), other.heading(name)
    here, there = incoming.text(name, position), other.text(name, place)
    if said.unit != meant.unit and said.column is not None and here:
        value = canonical_values(incoming, name, np.array([position]))[0]
        here = f"{here} {said.unit} ({number_text(float(from_canonical(value, said.column.unit, meant.unit)))} {meant.unit})"
    return Difference(meant.spelled, shown(there) or "blank", shown(here) or "blank")


# ---------------------------------------------------------------- values
def _candidates(there: TypedTable, first: str, incoming: TypedTable) -> np.ndarray:
    """Rows of the trial whose first key column holds one of the incoming values."""
    values, wanted = there.values[first], incoming.values[first]
    if isinstance(values, pd.Categorical) and isinstance(wanted, pd.Categorical):
        codes = values.categories.get_indexer(pd.Index(wanted.categories))
        return np.flatnonzero(np.isin(values.codes, codes[codes >= 0]))
    return np.arange(len(there.rows))


def _keys(typed: TypedTable, names: tuple[str, ...], positions: np.ndarray) -> list[tuple[Hashable, ...]]:
    columns = [_values(typed, name, positions) for name in names]
    return list(zip(*columns, strict=True)) if columns else [() for _ in positions]


def _values(typed: TypedTable, name: str, positions: np.ndarray) -> list[Hashable]:
    """The values of a column at positions in canonical units; None where there is none."""
    column = typed.heading(name).column
    if column is not None and column.is_numeric:
        return [
            None if math.isnan(value) else float(value) for value in canonical_values(typed, name, positions)
        ]
    values = typed.values[name][positions]
    if column is not None and column.kind == MOMENT:
        return [None if np.isnat(value) else value.item() for value in np.asarray(values)]
    return [value if isinstance(value, str) else None for value in values]


def _is_whole(typed: TypedTable, key: tuple[Hashable, ...]) -> bool:
    """Whether every needed part of the key is there."""
    parts = zip(typed.table.key, key, strict=False)
    return all(value is not None or not typed.table.column(name).required for name, value in parts)


def _cell(typed: TypedTable, name: str, position: int) -> Hashable:
    """The value of a cell; its text where that cannot be read."""
    value = _values(typed, name, np.array([position]))[0]
    text = typed.text(name, position)
    return text if value is None and text else value


def _is_same(here: Hashable, there: Hashable) -> bool:
    if isinstance(here, float) and isinstance(there, float):
        return math.isclose(here, there, rel_tol=SAME_NUMBER, abs_tol=_ALMOST_ZERO)
    return here == there


def filled(typed: TypedTable, name: str) -> np.ndarray:
    """Where a column says something that a blank cell would not."""
    blank = typed.is_blank(name)
    heading = typed.heading(name)
    default = heading.column.blank_means if heading.column is not None else ""
    if default.isdigit():
        return ~blank & ~(np.asarray(typed.values[name], dtype=float) == float(default))
    if heading.column is not None and default in heading.column.choices:
        return ~blank & ~np.asarray(typed.values[name] == default)
    return ~blank
