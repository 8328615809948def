"""The technical appendix as one Excel workbook.

Answers: where does somebody who wants to work with the numbers find them, unrounded and with their units?

One sheet for each table of the appendix and for the numbers behind each figure, under the same number as in the appendix,
then every problem found in the data, every decision that was carried out, what every column of the trial's tables means,
and what the run was made from. Text from data stays text: a cell that begins with ``=`` is never a formula.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit import columns as c
from trialkit import tables, units, verdicts
from trialkit.report import blocks, cells, layout, saving

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

CONTENTS, PROBLEMS, DECISIONS, DICTIONARY, RUN = "Contents", "Problems", "Decisions", "Columns", "Run"
_STARTS_OF_FORMULAS = ("=", "+", "-", "@", "\t", "\r")
GENERAL = "General"
ABOUT_VALUES = "Numbers are not rounded. Their formats show the decimals that the report prints; what it rounds to tens or more stands to the unit."
ABOUT_TEXTS = (
    "Amounts, intervals and other cells that the report prints as words are the same words here; their numbers are in the folder "
    '"tables" of the run.'
)
HEADLINE = "headline"
_RUN_WORDS = {
    "trial_id": "Trial", "run": "Run", "python": "Python", "packages": "Package", "code": "Code, SHA-256", "inputs": "SHA-256 of",
    "settings": "Setting", "seed": "Seed of random numbers", "parameters": "Parameter",
}  # fmt: skip
_DATE = re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d)?")
_WIDEST, _NARROWEST = 60, 9
_ROWS_MEASURED = 200
_TITLE_WIDTH, _NOTES_WIDTH = 70, 60
_LINE_PT = 15.0
_KINDS = {
    c.TEXT: "text", c.ID: "name", c.CHOICE: "one of a few words", c.NUMBER: "number", c.WHOLE: "whole number",
    c.MOMENT: "date or date and time",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its name, where it belongs, what it shows, and its rows with raw values and the number format of each."""

    name: str
    section: str
    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[cells.Cell, ...], ...]
    formats: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


def xlsx(
    report: Sequence[blocks.Block], problems: pd.DataFrame, decisions: pd.DataFrame, record: Mapping[str, Any]
) -> bytes:
    """The workbook.

    Parameters
    ----------
    report : sequence of Block
        The blocks of the appendix, as for `document.html`.
    problems, decisions : DataFrame
        Every problem of the data check, and every decision that was carried out.
    record : mapping
        The record of the run, without times.

    Returns
    -------
    bytes
        The same arguments give the same bytes.
    """
    import openpyxl

    laid_out = layout.lay_out(report)
    sheets = [
        *_block_sheets(laid_out),
        _frame_sheet(PROBLEMS, "Every problem that the check of the trial data found", problems),
        _frame_sheet(DECISIONS, "Every decision that was carried out", decisions),
        _dictionary(),
        _run_sheet(record),
    ]
    book = openpyxl.Workbook()
    book.remove(book.active)
    _write_contents(book.create_sheet(CONTENTS), laid_out.meta, sheets)
    for number, sheet in enumerate(sheets, 1):
        _write_sheet(book.create_sheet(sheet.name), sheet, number)
    _properties(book, laid_out.meta)
    buffer = io.BytesIO()
    book.save(buffer)
    return saving.same_bytes(buffer.getvalue())


# ---------------------------------------------------------------- what goes on the sheets
def _block_sheets(laid_out: layout.Layout) -> list[Sheet]:
    sheets, section = [], ""
    for part in laid_out.parts:
        block = part.block
        if isinstance(block, blocks.Heading) and block.level + part.shift == 2:
            section = block.plain()
        name = part.label.rstrip(".")
        if isinstance(block, blocks.Table):
            sheets.append(_table_sheet(name, section, block.caption, block))
        elif isinstance(block, blocks.Problems) and block.data is not None:
            sheets.append(_table_sheet(name, section, block.data.caption, block.data))
        elif isinstance(block, blocks.Figure) and block.data is not None:
            sheets.append(_table_sheet(name, section, block.caption, block.data))
    return sheets


def _table_sheet(name: str, section: str, title: str, table: blocks.Table) -> Sheet:
    kept = [place for place, column in enumerate(table.columns) if column.kept]
    rows = tuple(tuple(row[place] for place in kept) for row in table.rows)
    usual = {
        place: _number_format([row[place] for row in table.texts], table.columns[place]) for place in kept
    }
    ends = _places_of_ends(table)
    formats = tuple(
        tuple(
            _end_format(row[ends[place][0]], ends[place][1])
            if place in ends
            else _own_format(row[place], usual[place])
            for place in kept
        )
        for row in table.texts
    )
    headings = _each_once(table.columns[place].title for place in kept)
    return Sheet(name, section, title, headings, rows, formats, table.notes)


def _number_format(texts: Sequence[str], column: cells.Column) -> str:
    """The format that shows a column as the report prints it; the value behind it is not rounded."""
    if column.align != "end":
        return GENERAL
    places = max(
        (len(text.partition(".")[2]) for text in texts if re.fullmatch(r"[−-]?[\d,]+\.\d+", text)), default=-1
    )
    grouped = "#,##0" if any("," in text for text in texts) else "0"
    if not column.shown or (places < 0 and not any(re.fullmatch(r"[−-]?[\d,]+", text) for text in texts)):
        return GENERAL
    return f"{grouped}.{'0' * places}" if places > 0 else grouped


def _own_format(text: str, usual: str) -> str:
    """The format of one value: the decimals of its own text, where that is a number; else that of its column."""
    found = re.fullmatch(r"[−-]?[\d,]+(?:\.(\d+))?", text)
    if usual == GENERAL or not found:
        return usual
    grouped = usual.partition(".")[0]
    return f"{grouped}.{'0' * len(found[1])}" if found[1] else grouped


def _places_of_ends(table: blocks.Table) -> dict[int, tuple[int, int]]:
    """Columns that hold one end of an interval -> the column that prints both, and which of its numbers is this end."""
    names = [column.name for column in table.columns]
    pairs = [name.split("_to_") for name in names if "_to_" in name]
    return {
        names.index(end): (names.index("_to_".join(pair)), place)
        for pair in pairs
        if len(pair) == 2 and set(pair) <= set(names)
        for end, place in zip(pair, (0, -1), strict=True)
    }


def _end_format(text: str, place: int) -> str:
    """The format of one end of an interval, by the decimals with which it is printed."""
    found = re.findall(r"[\d,]*\d(?:\.\d+)?", text)
    return _own_format(found[place], "#,##0" if "," in found[place] else "0") if found else GENERAL


def _frame_sheet(name: str, title: str, frame: pd.DataFrame) -> Sheet:
    headings = _each_once(
        " [".join(part for part in cells.heading_and_unit(str(column)) if part) for column in frame
    )
    rows = tuple(tuple(cells.raw_value(value) for value in row) for row in frame.itertuples(index=False))
    return Sheet(name, "Data", title, headings, rows, _general(rows))


def _dictionary() -> Sheet:
    headings = (
        "Table",
        "Column",
        "Heading",
        "Unit",
        "What it means",
        "Kind",
        "Needed",
        "Allowed",
        "Blank means",
    )
    rows = tuple(
        (
            table.name, column.name, column.label, units.described(column.unit), column.about,
            _KINDS[column.kind], "yes" if column.required else "no", _allowed(column),
            "" if column.required else column.blank_means,
        )
        for table in tables.TABLES.values()
        for column in table.columns
    )  # fmt: skip
    return Sheet(
        DICTIONARY, "Data", "What every column of the trial's tables means", headings, rows, _general(rows)
    )


def _general(rows: Sequence[Sequence[cells.Cell]]) -> tuple[tuple[str, ...], ...]:
    """No format of their own for all of these values."""
    return tuple((GENERAL,) * len(row) for row in rows)


def _allowed(column: c.Column) -> str:
    if column.choices:
        return ", ".join(column.choices)
    if column.refers_to:
        return f"as in {column.refers_to}"
    low = (
        "" if column.low is None else f"{'above' if column.low_excluded else 'at least'} {_limit(column.low)}"
    )
    high = "" if column.high is None else f"at most {_limit(column.high)}"
    return ", ".join(part for part in (low, high) if part)


def _limit(value: float) -> str:
    """A limit as it was set, without digits that say nothing."""
    return f"{value:,.10g}"


def _run_sheet(record: Mapping[str, Any]) -> Sheet:
    rows: list[tuple[str, cells.Cell]] = [
        (f"Finding {number}", _finding_words(found))
        for number, found in enumerate(record.get(HEADLINE, ()), 1)
    ]
    rest = {name: value for name, value in record.items() if name != HEADLINE}
    rows += [(_said_of_run(name), value) for name, value in _flat(rest)]
    title = "What the run found, and what it was made from"
    return Sheet(RUN, "Data", title, ("What", "Value"), tuple(rows), _general(rows))


def _finding_words(found: Mapping[str, Any]) -> str:
    """A finding with its verdict as the report prints them."""
    verdict = verdicts.words(str(found.get(c.VERDICT) or ""))
    return f"{verdict}: {found[c.SENTENCE]}" if verdict else str(found[c.SENTENCE])


def _said_of_run(name: str) -> str:
    """The name of an entry of the run's record in words; names of files, settings and packages stay as they are typed."""
    first, _, rest = name.partition(".")
    return " ".join(part for part in (_RUN_WORDS.get(first, first), rest) if part)


def _flat(record: Any, name: str = "") -> Iterable[tuple[str, cells.Cell]]:
    """Every value of a nested record with the names that lead to it."""
    if isinstance(record, Mapping):
        for key, value in record.items():
            yield from _flat(value, f"{name}.{key}" if name else str(key))
    elif isinstance(record, (list, tuple)) and any(
        isinstance(value, (Mapping, list, tuple)) for value in record
    ):
        for number, value in enumerate(record, 1):
            yield from _flat(value, f"{name}.{number}")
    elif isinstance(record, (list, tuple)):
        yield name, json.dumps(record, ensure_ascii=False)
    else:
        yield name, cells.raw_value(record)


def _each_once(headings: Iterable[str]) -> tuple[str, ...]:
    """Headings of a sheet, each there once, as Excel's tables need it."""
    found: dict[str, None] = {}
    for heading in headings:
        words = " ".join(saving.xml_text(heading).split()) or "Column"
        name, turn = words, 1
        while name.casefold() in {other.casefold() for other in found}:
            turn += 1
            name = f"{words} ({turn})"
        found[name] = None
    return tuple(found)


# ---------------------------------------------------------------- writing
def _write_contents(page: Worksheet, meta: blocks.Meta, sheets: Sequence[Sheet]) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.worksheet.hyperlink import Hyperlink

    head = [
        meta.title,
        f"{meta.agency}, winter {meta.season}{f', data up to {meta.date}' if meta.date else ''}",
    ]
    head += [f"{blocks.INTERIM.capitalize()}."] if meta.interim else []
    head += [ABOUT_VALUES, ABOUT_TEXTS]
    for number, words in enumerate(head, 1):
        _set_text(page.cell(number, 1), words)
    page.cell(1, 1).font = Font(bold=True, size=14)
    start = len(head) + 2
    for place, words in enumerate(("Sheet", "Section", "What it shows", "Rows", "Notes"), 1):
        page.cell(start, place, words).font = Font(bold=True)
    for number, sheet in enumerate(sheets, start + 1):
        link = page.cell(number, 1)
        _set_text(link, sheet.name)
        link.hyperlink = Hyperlink(ref=link.coordinate, location=f"'{sheet.name}'!A1")
        link.font = Font(color="0A5A78", underline="single")
        for place, words in ((2, sheet.section), (3, sheet.title), (5, " ".join(sheet.notes))):
            _set_text(page.cell(number, place), words)
            page.cell(number, place).alignment = Alignment(wrap_text=True, vertical="top")
        page.cell(number, 1).alignment = page.cell(number, 4).alignment = Alignment(vertical="top")
        page.cell(number, 4, len(sheet.rows))
        lines = (
            ceil(len(words) / width)
            for words, width in ((sheet.title, _TITLE_WIDTH), (" ".join(sheet.notes), _NOTES_WIDTH))
        )
        page.row_dimensions[number].height = _LINE_PT * max(1, *lines)
    for letter, width in zip("ABCDE", (12, 30, _TITLE_WIDTH, 8, _NOTES_WIDTH), strict=True):
        page.column_dimensions[letter].width = width
    _fit_to_paper(page)
    page.freeze_panes = page.cell(start + 1, 1)


def _write_sheet(page: Worksheet, sheet: Sheet, number: int) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.table import Table, TableStyleInfo

    for place, heading in enumerate(sheet.headings, 1):
        cell = page.cell(1, place)
        _set_text(cell, heading)
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    for line, row in enumerate(sheet.rows, 2):
        for place, (value, form) in enumerate(zip(row, sheet.formats[line - 2], strict=True), 1):
            if value is not None:
                _set_value(page.cell(line, place), value, form)
    for place, heading in enumerate(sheet.headings):
        shown = [len(str(row[place])) for row in sheet.rows[:_ROWS_MEASURED] if row[place] is not None]
        width = max([*shown, max(map(len, heading.split())), len(heading) // 2, _NARROWEST])
        page.column_dimensions[get_column_letter(place + 1)].width = min(width, _WIDEST) + 2
    page.freeze_panes = "B2"
    page.row_dimensions[1].height = _LINE_PT * max(
        ceil(len(heading) / (page.column_dimensions[get_column_letter(place)].width - 1))
        for place, heading in enumerate(sheet.headings, 1)
    )
    page.print_title_rows = "1:1"
    _fit_to_paper(page)
    if sheet.rows:
        span = f"A1:{get_column_letter(len(sheet.headings))}{len(sheet.rows) + 1}"
        table = Table(displayName=f"T{number}_{re.sub(r'[^A-Za-z0-9]', '_', sheet.name)}", ref=span)
        table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=False)
        page.add_table(table)


def _fit_to_paper(page: Worksheet) -> None:
    """Printed across the page and as wide as the paper, however many columns there are."""
    page.page_setup.orientation = "landscape"
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.page_setup.fitToHeight = 0


def _set_value(cell: Cell, value: cells.Cell, form: str) -> None:
    if isinstance(value, bool):
        _set_text(cell, "yes" if value else "no")
    elif isinstance(value, (int, float)):
        cell.value = value
        cell.number_format = form
    elif isinstance(value, str) and _DATE.fullmatch(value):
        moment = dt.datetime.fromisoformat(value)
        dated = (moment.hour, moment.minute, moment.second) == (0, 0, 0)
        cell.value = moment.date() if dated else moment
        cell.number_format = "yyyy-mm-dd" if dated else "yyyy-mm-dd hh:mm"
    else:
        _set_text(cell, str(value))


def _set_text(cell: Cell, text: str) -> None:
    """Text that stays text, also where it looks like a formula, an error or a number."""
    cell.value = saving.xml_text(text)
    cell.data_type = "s"
    if text.startswith(_STARTS_OF_FORMULAS):
        cell.quotePrefix = True


def _properties(book: Workbook, meta: blocks.Meta) -> None:
    facts = book.properties
    facts.title, facts.creator = saving.xml_text(layout.full_title(meta)), saving.xml_text(meta.agency)
    facts.language = "en-US"
