"""Column rules as pandera schemas, built from the table descriptions.

Answers: is every number of this table possible, is it likely, and does every row have a key of its own?

There are two schemas for each table: outside the first a value is impossible, outside the second it is doubtful. All
rules are looked at together, and what pandera finds is told as problems in the words and the unit of the file.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.columns import Column
from trialkit.errors import Problem
from trialkit.tables import Table
from trialkit.trial.findings import UNIT_WORDS, Source, number_text, other_unit

if TYPE_CHECKING:
    import pandera.pandas as pa

LOW, HIGH, WHOLE, CHOICE = "low", "high", "whole", "choice"
FEW = 3
"""Up to so many like cells are told one by one, even if they are most of the column."""
FAR = 2.0
"""How many times beyond what is usual a value is before another unit is suggested for it."""


@cache
def table_schema(table: Table, *, doubtful: bool = False) -> pa.DataFrameSchema:
    """The schema of one table, for a typed frame in canonical units.

    Parameters
    ----------
    table : Table
        Description of the table.
    doubtful : bool
        Whether the bounds are those outside which a value is doubtful, instead of impossible.

    Returns
    -------
    pandera.pandas.DataFrameSchema
        Blanks pass, and so do columns that are not there: reading reports those. The `error` of each check is its rule.
    """
    import pandera.pandas as pa

    described = {}
    for column in table.columns:
        if not column.is_numeric:
            continue
        low, high = _bounds(column, doubtful)
        checks = []
        if low is not None:
            excluded = column.low_excluded and not doubtful
            checks.append(pa.Check.gt(low, error=LOW) if excluded else pa.Check.ge(low, error=LOW))
        if high is not None:
            checks.append(pa.Check.le(high, error=HIGH))
        if not doubtful and column.kind == c.WHOLE:
            checks.append(pa.Check(_is_whole, error=WHOLE))
        if not doubtful and column.choices:
            checks.append(pa.Check.isin([float(choice) for choice in column.choices], error=CHOICE))
        described[column.name] = pa.Column(nullable=True, required=False, checks=checks)
    return pa.DataFrameSchema(described, strict=False)


def _is_whole(values: pd.Series) -> pd.Series:
    return values % 1 == 0


def _bounds(column: Column, doubtful: bool) -> tuple[float | None, float | None]:
    return (column.doubt_low, column.doubt_high) if doubtful else (column.low, column.high)


def check_cells(source: Source) -> list[Problem]:
    """Impossible and doubtful numbers of one table.

    Parameters
    ----------
    source : Source
        The table.

    Returns
    -------
    list of Problem
        A value that is impossible is not called doubtful as well.
    """
    problems, impossible = [], {}
    for name, rules in _failures(source, doubtful=False).items():
        impossible[name] = np.unique(np.concatenate(list(rules.values())))
        if CHOICE in rules:  # says more than the bounds do
            rules = {CHOICE: rules[CHOICE]}
        for rule, positions in rules.items():
            problems += _impossible(source, name, rule, positions)
    for name, rules in _failures(source, doubtful=True).items():
        for positions in rules.values():
            rest = np.setdiff1d(positions, impossible.get(name, positions[:0]))
            problems += _doubtful(source, name, rest)
    return problems


def check_keys(source: Source) -> tuple[list[Problem], frozenset[int]]:
    """Rows of one table whose key another row has already.

    Parameters
    ----------
    source : Source
        The table.

    Returns
    -------
    problems : list of Problem
        One for each later row, naming the first. Rows of which a part of the key is missing or unreadable are left out.
    doubled : frozenset of int
        All rows that share their key with another.
    """
    table, frame = source.table, source.frame
    needed = [name for name in table.key if table.column(name).required]
    if not table.key or not len(frame) or not source.has(*needed):
        return [], frozenset()
    whole = frame[needed].notna().all(axis=1).to_numpy()
    if source.broken_rows:
        whole = whole & ~frame.index.isin(source.broken_rows)
    rows = np.flatnonzero(whole)
    keys = frame[list(table.key)].iloc[rows]
    again = keys.duplicated().to_numpy()
    if not again.any():
        return [], frozenset()
    shared = np.flatnonzero(keys.duplicated(keep=False).to_numpy())
    group = (
        keys.iloc[shared]
        .groupby(list(table.key), observed=True, dropna=False, sort=False)
        .ngroup()
        .to_numpy()
    )
    first = pd.Series(rows[shared]).groupby(group).transform("first").to_numpy()
    first_of = dict(zip(rows[shared], first, strict=True))
    copy = dict(zip(rows[shared], frame.iloc[rows[shared]].duplicated().to_numpy(), strict=True))
    problems = source.listed(
        "duplicate-key", "", rows[again], lambda row: _same_key(source, row, first_of[row], copy[row])
    )
    return problems, frozenset(frame.index[rows[shared]].tolist())


def _same_key(source: Source, position: int, first: int, is_copy: bool) -> Problem:
    if is_copy:
        fix = "Delete one of the two rows if it is a copy (they agree in every column), or correct its key."
    elif c.REPEAT in source.table.key:
        fix = f"Number repeated readings 1, 2, ... in {source.header(c.REPEAT)}, or correct the row that is wrong."
    else:
        fix = "Correct the row that is wrong, or delete it."
    words = [source.header(name) for name in source.table.key]
    return source.problem(
        "duplicate-key",
        position,
        found=f"also in row {source.row(first)}",
        allowed=f"one row for each {' + '.join(words)}",
        fix=fix,
    )


# ---------------------------------------------------------------- what pandera finds
def _failures(source: Source, *, doubtful: bool) -> dict[str, dict[str, np.ndarray]]:
    """Column -> rule -> positions of the cells that break it."""
    import pandera.pandas as pa

    schema = table_schema(source.table, doubtful=doubtful)
    names = [name for name, column in schema.columns.items() if column.checks and source.has(name)]
    frame = source.frame[names].reset_index(drop=True)
    try:
        schema.validate(frame, lazy=True)
    except pa.errors.SchemaErrors as found:
        failures: dict[str, dict[str, np.ndarray]] = {}
        for item in found.schema_errors:
            positions = np.sort(item.failure_cases["index"].to_numpy(dtype=int))
            failures.setdefault(item.schema.name, {})[item.check.error] = positions
        return failures
    return {}


def _impossible(source: Source, name: str, rule: str, positions: np.ndarray) -> list[Problem]:
    column = source.table.column(name)
    code = {WHOLE: "not-whole", CHOICE: "not-a-choice"}.get(rule, "out-of-range")
    if rule == CHOICE:
        allowed = " or ".join(column.choices)
    else:
        allowed = (
            f"{c.KIND_WORDS[column.kind]} {source.span(name, column.low, column.high, column.low_excluded)}"
        )
    if code == "out-of-range":
        whole = _whole_column(source, name, positions, code, allowed)
        if whole:
            return whole

    def say(position: int) -> Problem:
        value = source.frame[name].iloc[position]
        fix = "Correct the cell."
        guess = _guess(source, name, value) if code == "out-of-range" else None
        if guess:
            fix = f"It looks like {UNIT_WORDS[guess[0]]}: convert it, or name the column {guess[1]} if all of it is."
        return source.problem(code, position, name, source.written(name, position), allowed, fix)

    return source.listed(code, name, positions, say)


def _doubtful(source: Source, name: str, positions: np.ndarray) -> list[Problem]:
    column = source.table.column(name)
    allowed = f"usually {source.span(name, column.doubt_low, column.doubt_high)}"
    whole = _whole_column(source, name, positions, "doubtful-value", allowed)
    if whole:
        return whole

    def say(position: int) -> Problem:
        value = float(source.frame[name].iloc[position])
        far = (column.doubt_high is not None and value > FAR * abs(column.doubt_high)) or (
            column.doubt_low is not None and value * FAR < column.doubt_low
        )
        guess = _guess(source, name, value) if far else None
        fix = "Check it; if it is right, nothing is to be done."
        if guess:
            fix = f"Check it: in {UNIT_WORDS[guess[0]]} it would be usual (then the column is {guess[1]}). If it is right, nothing is to be done."
        return source.problem("doubtful-value", position, name, source.written(name, position), allowed, fix)

    return source.listed("doubtful-value", name, positions, say)


def _guess(source: Source, name: str, value: float) -> tuple[str, str] | None:
    """Another unit that would make a canonical value likely."""
    column = source.table.column(name)
    low = column.doubt_low if column.doubt_low is not None else column.low
    high = column.doubt_high if column.doubt_high is not None else column.high
    return other_unit(column, source.unit(name), float(source.in_file_unit(name, value)), low, high)


def _whole_column(source: Source, name: str, positions: np.ndarray, code: str, allowed: str) -> list[Problem]:
    """One problem for a column of which most cells are wrong in the same other unit; none if it is not so."""
    values = source.frame[name]
    filled = int(values.notna().sum())
    if len(positions) <= FEW or len(positions) * 2 <= filled:
        return []
    wrong = values.iloc[positions]
    guesses = [_guess(source, name, value) for value in (wrong.min(), wrong.max())]
    if guesses[0] is None or guesses[0] != guesses[1]:
        return []
    unit, header = guesses[0]
    ends = [number_text(float(source.in_file_unit(name, value))) for value in (wrong.min(), wrong.max())]
    found = f"from {ends[0]} to {ends[1]} in {len(positions):,} of {filled:,} rows"
    fix = f"The column looks like {UNIT_WORDS[unit]}: name it {header}."
    return [source.problem(code, int(positions[0]), name, found, allowed, fix, key="")]
