"""Rows that were not taken in, in a workbook to mend and take in again.

Answers: which rows are still to be added, and what is wrong with each?

One sheet for each table, with the headers and cells of the incoming file and one more column that says why; that column
is not taken in. Every cell is a text cell, so a spreadsheet turns no fraction into a date and takes no text for a
formula.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Sequence
from pathlib import Path

from trialkit.errors import Problem
from trialkit.logbook.incoming import REJECTED_BECAUSE
from trialkit.logbook.intakes import IntakePlan, TablePlan

_ILLEGAL = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\ud800-\\udfff\\ufffe\\uffff]")
_LONGEST = 32_767


def save_rejects(plan: IntakePlan) -> Path | None:
    """Write the rejected rows beside the incoming file.

    Parameters
    ----------
    plan : IntakePlan
        A plan that accepts clean rows.

    Returns
    -------
    Path or None
        A new workbook; None if no row is rejected.
    """
    tables = [table for table in plan.tables if table.rejected]
    if not tables:
        return None
    content = workbook_bytes([(table.name, _rows(table)) for table in tables])
    path = _free_name(plan.incoming.path)
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return path


def workbook_bytes(sheets: Sequence[tuple[str, Sequence[Sequence[str]]]]) -> bytes:
    """A workbook of text cells.

    Parameters
    ----------
    sheets : sequence of (name, rows)
        The first row of each is its header.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for cells in rows:
            made = []
            for text in cells:
                cell = WriteOnlyCell(sheet, _printable(text) or None)
                if text:
                    cell.data_type = "s"  # else a text that starts with an equals sign would be a formula
                    cell.number_format = "@"
                    cell.quotePrefix = text[:1] in "=+-@"
                made.append(cell)
            sheet.append(made)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def _printable(text: str) -> str:
    """The text without signs that no workbook can hold, which are made visible, and no longer than a cell may be."""
    return _ILLEGAL.sub(lambda match: f"\\u{ord(match[0]):04x}", text)[:_LONGEST]


def _rows(table: TablePlan) -> list[list[str]]:
    names = list(table.incoming.headings)
    header = [heading.spelled for heading in table.incoming.headings.values()]
    rows = [[*header, REJECTED_BECAUSE]]
    for position in sorted(table.rejected):
        cells = [table.incoming.text(name, position) for name in names]
        rows.append([*cells, "; ".join(_why(problem) for problem in table.rejected[position])])
    return rows


def _why(problem: Problem) -> str:
    allowed = f", allowed: {problem.allowed}" if problem.allowed else ""
    found = f"{problem.column} is {problem.found}" if problem.column and problem.found else problem.found
    return f"row {problem.row}: {found or problem.column}{allowed}. {problem.fix} [{problem.code}]"


def _free_name(source: Path) -> Path:
    """A name beside the incoming file that no file has."""
    stem = re.sub(r"_rejects(?:_[0-9]+)?$", "", source.stem)
    number = 1
    while True:
        tail = "_rejects" if number == 1 else f"_rejects_{number}"
        path = source.with_name(f"{stem}{tail}.xlsx")
        if not path.exists():
            return path
        number += 1
