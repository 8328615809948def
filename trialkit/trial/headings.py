"""Which column of a table stands under which header of a file, and in which unit.

Answers: what is ``Height_MM`` in the header of wear_readings.csv?

The unit suffix of the header decides the unit of the column. Capital letters and spaces around a header do not count;
anything else that differs is not guessed at but reported with the nearest known name.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import pandas as pd

from trialkit import units
from trialkit.columns import Column
from trialkit.errors import Problem, near_match, nearest_name
from trialkit.tables import Table

BLANK = " \t\r\n\u00a0\u2007\u202f\u3000\ufeff"
"""Characters that are taken off both ends of a header or cell."""
NUL_SHOWN = "\u2400"
"""Stands for a NUL, which no parser carries; cells with it are reported."""
SHOWN = 60
"""Characters of a cell that a message shows."""
MOST_ROWS = 1000
"""Rows that are listed one by one for one kind of problem in one column; the rest is counted."""
NAMES_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Heading:
    """One named column of a file.

    Attributes
    ----------
    spelled : str
        Header as the file spells it, without spaces around it.
    column : Column or None
        What it is; None if the table has no such column.
    unit : str
        Unit suffix of the file, empty if the column has none.
    """

    spelled: str
    column: Column | None = None
    unit: str = ""


@dataclass(frozen=True, eq=False)
class RawTable:
    """One table as text, as it stands in its file.

    Attributes
    ----------
    name : str
        Name of the table.
    file : str
        File as problems print it: ``"wear_readings.csv"`` or ``"trial.xlsx [wear_readings]"``.
    frame : DataFrame
        Every cell as text without spaces around it; each column is a Categorical, a blank cell is NA. The columns are
        named as the file spells them; the index, named "row", is the row as the spreadsheet shows it.
    headings : tuple of Heading
        One for each column of `frame`, in order.
    wide_rows : frozenset of int
        Rows with more cells than the header, in which cells may stand under the wrong header.
    next_row : int
        Number that a row added at the end of the file would have; 0 for a sheet.
    """

    name: str
    file: str
    frame: pd.DataFrame
    headings: tuple[Heading, ...]
    wide_rows: frozenset[int] = field(default=frozenset())
    next_row: int = 0


def spellings(column: Column) -> dict[str, str]:
    """Headers under which a column may come, and the unit suffix of each.

    Examples
    --------
    >>> from trialkit.tables import WEAR_READINGS
    >>> spellings(WEAR_READINGS.column("height_in"))
    {'height_in': 'in', 'height_mm': 'mm'}
    """
    names = {column.name: column.unit}
    stem = column.name.removesuffix(f"_{column.unit}")
    if column.unit and stem != column.name:
        names |= {f"{stem}_{other}": other for other in units.alternatives(column.unit)}
    return names


def match_headings(
    table: Table, header: Sequence[str], file: str
) -> tuple[list[Heading | None], list[Problem]]:
    """Match the cells of a header row to the columns of a table.

    Parameters
    ----------
    table : Table
        The table that the file holds.
    header : sequence of str
        Cells of the header row.
    file : str
        File as problems print it.

    Returns
    -------
    headings : list of Heading or None
        One for each cell; None where the header is blank or repeats an earlier one.
    problems : list of Problem
        Columns given twice, unknown and missing.
    """
    known = {name: (column, unit) for column in table.columns for name, unit in spellings(column).items()}
    names = [cell.strip(BLANK) for cell in header]
    if not any(name.casefold() in known for name in names) and not _is_misspelled(names, known):
        return [None] * len(names), [no_header(table, file, names)]
    headings: list[Heading | None] = []
    first: dict[str, str] = {}
    problems = []
    for name in names:
        column, unit = known.get(name.casefold(), (None, ""))
        meant = column.name if column is not None else name
        if name == "":
            headings.append(None)
        elif meant in first:
            headings.append(None)
            problems.append(_twice(first[meant], name, column, file))
        else:
            first[meant] = name
            headings.append(Heading(name, column, unit))
    taken = {
        heading.column.name for heading in headings if heading is not None and heading.column is not None
    }
    unknown = [heading.spelled for heading in headings if heading is not None and heading.column is None]
    free = [name for name, (column, _) in known.items() if column.name not in taken]
    missing, hinted_at = _missing(table, taken, unknown, file)
    problems += [_unknown(name, free, file) for name in unknown if name not in hinted_at]
    return headings, problems + missing


def shown(text: str) -> str:
    """The cell as typed, for a message: line breaks and unprintable characters made visible, long text cut."""
    visible = "".join(_visible(sign) for sign in text[: SHOWN + 1])
    return visible if len(text) <= SHOWN else visible[:SHOWN] + "..."


def _visible(sign: str) -> str:
    if sign in "\n\r\t":
        return " "
    if unicodedata.category(sign) == "Zs":
        return " "
    return sign if sign.isprintable() else f"\\u{ord(sign):04x}"


def counted_rest(code: str, file: str, column: str, rest: int, fix: str) -> list[Problem]:
    """One problem for the rows beyond `MOST_ROWS` that are not listed one by one; none if there are none."""
    if rest <= 0:
        return []
    return [
        Problem(code, file, key=column, found=f"{rest:,} more rows like the {MOST_ROWS:,} listed", fix=fix)
    ]


def _is_misspelled(names: Sequence[str], known: Iterable[str]) -> bool:
    """Whether a row without any known name still looks like a header: half of its cells are near one."""
    filled = [name for name in names if name]
    return 2 * sum(bool(nearest_name(name, known)) for name in filled) >= len(filled) > 0


def no_header(table: Table, file: str, names: Sequence[str] = ()) -> Problem:
    """That a file has no header row; `names` is what stands in its first row, if there is one."""
    row = 1 if names else None
    names = [name for name in names if name]
    found = ", ".join(map(shown, names[:NAMES_SHOWN])) + (", ..." if len(names) > NAMES_SHOWN else "")
    fix = f"Put the column names into the first row: {', '.join(table.names)}."
    return Problem("file-empty", file, row=row, found=found, fix=fix)


def unnamed_column(number: int, row: int, cell: str, file: str) -> Problem:
    """That a column holds cells but has no name; `cell` is the first of them and `row` its row."""
    fix = "Give the column a name in the header, or delete its cells."
    return Problem("column-unnamed", file, row=row, column=f"column {number}", found=shown(cell), fix=fix)


def ragged_rows(code: str, odd: Sequence[tuple[int, int]], width: int, file: str, fix: str) -> list[Problem]:
    """One problem for each row with more or fewer cells than the header; `odd` holds row and number of cells."""
    allowed = f"{width} cells, as in the header"
    listed = [
        Problem(code, file, row=row, found=f"{cells} cells", allowed=allowed, fix=fix)
        for row, cells in odd[:MOST_ROWS]
    ]
    return listed + counted_rest(code, file, "", len(odd) - MOST_ROWS, fix)


def _twice(first: str, again: str, column: Column | None, file: str) -> Problem:
    if first.casefold() == again.casefold():
        fix = "Keep one of the two columns and rename or delete the other."
    else:
        fix = "Give each quantity once, in one unit: delete one of the two columns."
    allowed = "each column once" if column is None else f"one of {', '.join(spellings(column))}"
    return Problem(
        "column-twice",
        file,
        row=1,
        column=shown(again),
        found=f"a second column beside {shown(first)}",
        allowed=allowed,
        fix=fix,
    )


def _unknown(name: str, free: Sequence[str], file: str) -> Problem:
    fix = near_match(name, free) or "Nothing is to be done if it is a column of your own."
    return Problem("column-unknown", file, row=1, column=shown(name), fix=fix)


def _missing(
    table: Table, taken: set[str], unknown: Sequence[str], file: str
) -> tuple[list[Problem], set[str]]:
    """The needed columns that are not there, and the unknown headers that these problems point at."""
    absent: list[tuple[str, ...]] = [
        (column.name,) for column in table.columns if column.required and column.name not in taken
    ]
    absent += [group for group in table.either if not taken.intersection(group)]
    problems: list[Problem] = []
    hinted_at: set[str] = set()
    for group in absent:
        names = [name for part in group for name in spellings(table.column(part))]
        other = next(filter(None, (nearest_name(name, unknown) for name in names)), "")
        hinted_at.add(other)
        problems.append(_absent(names, other, file))
    return problems, hinted_at


def _absent(names: Sequence[str], other: str, file: str) -> Problem:
    """That none of these columns is there; `other` is a header that may be meant for one of them."""
    others = f" (or {', '.join(names[1:])})" if len(names) > 1 else ""
    fix = f"Add the column {names[0]}{others}."
    if other:
        meant = nearest_name(other, names) or names[0]
        unit = ", in that unit" if meant.rpartition("_")[2] in units.UNIT_NAMES else ""
        fix = f'The header has "{shown(other)}": rename it to {meant} if that is what it holds{unit}.'
    return Problem("column-missing", file, row=1, column=names[0], fix=fix)
