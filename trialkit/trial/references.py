"""Names that one table takes from another.

Answers: does every set, truck, shift and storm that a row names exist, and if not, what was probably meant?

A name that is unknown is reported once, with the number of rows; the other checks leave those rows alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import Problem, near_match
from trialkit.formatting import counted, listed
from trialkit.tables import TABLES
from trialkit.trial.findings import Source
from trialkit.trial.headings import MOST_ROWS, counted_rest, shown

NAMES_SHOWN = 10


def check_references(
    sources: Mapping[str, Source], unreadable: frozenset[str] = frozenset()
) -> list[Problem]:
    """Names that are not in the table to which they refer.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name.
    unreadable : frozenset of str
        Tables that are there but could not be read; what refers to them is not checked.

    Returns
    -------
    list of Problem
        One for each unknown name, at its first row; one for each column that refers to a table that is not there.
        Where a row of the other table has no name, up to so many unknown names are taken to be it and left out.
    """
    problems = []
    names: dict[str, list[_Unknown]] = {}
    pairs: dict[tuple[str, tuple[str, ...]], list[_Unknown]] = {}
    for source in sources.values():
        for column in source.table.columns:
            if not column.refers_to or not source.has(column.name) or column.refers_to in unreadable:
                continue
            target = sources.get(column.refers_to)
            if target is None or not len(target.frame):
                problems += _table_absent(source, column.name, column.refers_to)
            elif target.has(target.table.key[0]):
                names.setdefault(column.refers_to, []).extend(_unknown(source, column.name, target))
        for group, table in source.table.group_refers_to:
            target = sources.get(table)
            if target is not None and len(target.frame) and source.has(*group) and target.has(*group):
                pairs.setdefault((table, group), []).extend(_unknown_pairs(source, group, target))
    for table, items in names.items():
        problems += _say_names(sources[table], _by_value(items))
    for (table, group), items in pairs.items():
        problems += _say_pairs(sources[table], group, _by_value(items))
    return problems


def unknown_rows(source: Source, name: str, target: Source | None) -> np.ndarray:
    """Whether each row names something that the other table does not have; blanks and absent tables are not unknown."""
    values = source.frame[name]
    if target is None or not len(target.frame) or not target.has(target.table.key[0]):
        return np.zeros(len(values), dtype=bool)
    known = target.frame[target.table.key[0]].dropna().unique()
    return (values.notna() & ~values.isin(list(known))).to_numpy()


def suggestion(found: str, known: Iterable[str]) -> str:
    """``Did you mean "..."?`` for the nearest known name, or nothing.

    Names with numbers are near only if their numbers are the same and their letters near: S1 is for S-01, but SH-101 is
    not a slip for SH-211.
    """
    letters, numbers = _parts(found)
    if not numbers:
        return near_match(found, known)
    near = []
    for name in known:
        other, same = _parts(name)
        if same == numbers and (not letters or not other or near_match(letters, [other])):
            near.append(name)
    return near_match(found, near)


def _parts(name: str) -> tuple[str, tuple[int, ...]]:
    """The letters and the numbers of a name."""
    return re.sub(r"[^A-Za-z]", "", name), tuple(int(digits) for digits in re.findall(r"[0-9]+", name))


def _table_absent(source: Source, name: str, table: str) -> list[Problem]:
    filled = np.flatnonzero(source.frame[name].notna().to_numpy())
    if TABLES[table].needed or not len(filled):
        return []  # that a needed table is missing is reported where it is missing
    found = f"filled in {counted(len(filled), 'row')}"
    fix = f"Add the table {table}, or leave it: what the column names then stays unknown."
    return [source.problem("table-absent", int(filled[0]), name, found, f"names from {table}", fix, key="")]


# ---------------------------------------------------------------- what is unknown
@dataclass(frozen=True, eq=False)
class _Unknown:
    """A name in one column of one table that its own table does not have: where it is first, and in how many rows."""

    value: str | tuple[str, ...]
    source: Source
    column: str
    first: int
    rows: int


def _unknown(source: Source, name: str, target: Source) -> list[_Unknown]:
    rows = np.flatnonzero(unknown_rows(source, name, target))
    if not len(rows):
        return []
    wrong = source.frame[name].iloc[rows].astype(object).to_numpy()
    first = pd.Series(rows, index=wrong).groupby(level=0, sort=False).agg(["first", "size"])
    return [
        _Unknown(str(value), source, name, int(row), int(n)) for value, row, n in first.itertuples(name=None)
    ]


def _unknown_pairs(source: Source, names: tuple[str, ...], target: Source) -> list[_Unknown]:
    """Combinations that are unknown although the first name alone is known."""
    known = _known_pairs(target, names)
    heads = {pair[0] for pair in known}
    pairs = source.frame[list(names)].astype(object).assign(position=np.arange(len(source.frame))).dropna()
    first = pairs.groupby(list(names), sort=False)["position"].agg(["first", "size"])
    found = []
    for pair, row, n in first.itertuples(name=None):
        if pair[0] in heads and pair not in known:
            found.append(_Unknown(tuple(map(str, pair)), source, names[-1], int(row), int(n)))
    return found


def _known_pairs(target: Source, names: tuple[str, ...]) -> set[tuple]:
    return set(target.frame[list(names)].astype(object).dropna().itertuples(index=False, name=None))


def _by_value(items: Iterable[_Unknown]) -> list[list[_Unknown]]:
    """The places of each unknown name."""
    grouped: dict[str | tuple[str, ...], list[_Unknown]] = {}
    for item in items:
        grouped.setdefault(item.value, []).append(item)
    return list(grouped.values())


# ---------------------------------------------------------------- how it is said
def _say_names(target: Source, unknown: list[list[_Unknown]]) -> list[Problem]:
    """One problem for each unknown name, which says in which other tables it is too."""
    key = target.table.key[0]
    known = [str(value) for value in target.frame[key].dropna().unique()]
    if len(unknown) <= int(target.frame[key].isna().sum()):
        return []  # the rows without a name are reported
    allowed = f"a name from {target.file}"
    if len(known) <= NAMES_SHOWN:
        allowed += f" ({', '.join(known)})"
    add = f"add it to {target.file}"
    numbered: dict[tuple[int, ...], list[str]] = {}
    for name in known:
        numbered.setdefault(_parts(name)[1], []).append(name)
    problems = []
    for items in unknown[:MOST_ROWS]:
        value = str(items[0].value)
        numbers = _parts(value)[1]
        near = suggestion(value, numbered.get(numbers, []) if numbers else known[:MOST_ROWS])
        fix = f"{near} If not, {add}." if near else f"Correct the name, or {add}."
        problems.append(_say(items, f'"{shown(value)}"', allowed, fix))
    rest = len(unknown) - MOST_ROWS
    return problems + counted_rest("unknown-key", target.file, key, rest, "Correct the names, or add them.")


def _say_pairs(target: Source, names: tuple[str, ...], unknown: list[list[_Unknown]]) -> list[Problem]:
    """One problem for each unknown combination."""
    head, tail = names[0], names[-1]
    known = _known_pairs(target, names)
    if len(unknown) <= int(target.frame[list(names)].isna().any(axis=1).sum()):
        return []
    problems = []
    for items in unknown[:MOST_ROWS]:
        first, last = items[0].value[0], items[0].value[-1]
        places = sorted(str(pair[-1]) for pair in known if str(pair[0]) == first)
        source = items[0].source
        fix = f"Add {first} with {last} to {target.file}, or correct {source.header(head)} or {source.header(tail)}."
        problems.append(
            _say(items, f'"{shown(last)}" of {shown(first)}', f"{listed(places, 'or')} of {first}", fix)
        )
    rest = len(unknown) - MOST_ROWS
    return problems + counted_rest("unknown-key", target.file, tail, rest, "Correct the names, or add them.")


def _say(items: list[_Unknown], name: str, allowed: str, fix: str) -> Problem:
    head, *others = items
    found = name + (f" in {head.rows:,} rows" if head.rows > 1 else "")
    also = listed([f"{counted(item.rows, 'row')} of {item.source.file}" for item in others])
    found += f" (also in {also})" if others else ""
    return head.source.problem("unknown-key", head.first, head.column, found, allowed, fix)
