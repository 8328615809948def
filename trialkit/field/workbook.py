"""The field workbook: one sheet for each table, to be typed into in the garage.

Answers: how does the garage type in what it read, so that it comes back without a slip of the keyboard?

Each sheet has the header of its table in row 1, locked, with a note on every column; the cells below are open. Drop-downs
take their words from the data dictionary and their names from the sheets of the workbook itself, so they grow as rows are
added. Rows that the trial has already are shown in gray and locked. The sheets whose names start with an underscore explain
and list; they are not tables and are not read.

Text from data is written as text: a name that starts with ``=`` never becomes a formula.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Iterable, Mapping
from typing import Any

from trialkit import columns as c
from trialkit import units
from trialkit.columns import MOMENT, Column
from trialkit.field import entry_rules
from trialkit.field.entry_rules import AS_TEXT, Names
from trialkit.field.known import Known, nothing_known
from trialkit.tables import TABLES, Table
from trialkit.trial.files import FIELD_WORKBOOK
from trialkit.trial.headings import spellings

START_SHEET, DICTIONARY_SHEET, LISTS_SHEET = "_start", "_dictionary", "_lists"
DICTIONARY_HEADER = ("table", "column", "meaning", "unit", "what may stand in it", "needed", "blank means")
LISTED = (c.STATION, c.READER, c.OPERATOR)
"""Columns whose names are offered from the sheet of lists; more can be added there."""
_WIDEST = 42.0
_INK, _PALE, _OPEN, _GRAY, _WHITE = "1D2328", "E4E8EC", "4C5660", "F1F3F5", "FFFFFF"
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_TOO_LONG = 32_767
"""Characters that a cell of this file format can hold."""
_AUTHOR = "trialkit"
_SAID = (
    "Field workbook",
    "One sheet for each table; one row for each thing that happened or was read. Row 1 says what goes where: rest the pointer "
    "on a heading to read what it means. Dark headings must be filled, pale ones can be left blank.",
    "A blank cell means that it was not recorded. Do not type 0 for it, nor a dash.",
    "Lengths in inches may be typed as on the rule: 5 3/8, 5-3/8 or 5.375. Heights are from the reference mark down to the "
    "cutting tip: they fall as the edge wears. Station 1 is the left end seen from the cab.",
    "Gray rows are in the trial already and are here for the drop-downs; leave them as they are.",
    "List a new set on the sheet edge_sets first, then it is offered on the other sheets.",
    "Rows typed here are not in the trial yet. Bring them in with: trialkit intake {file} --into FOLDER. It "
    "takes all rows or none, says what is wrong, and leaves out rows that the trial has already.",
    "For a fresh workbook with the names that the trial knows by then: trialkit new FOLDER --workbook.",
    "Before anything is measured or changed under a plow: block and chock it, lock out the hydraulics, wear gloves, lift with "
    "two. Local rules and the shop's licensed practice govern.",
)


def workbook_bytes(known: Known | None = None, file: str = f"{FIELD_WORKBOOK}.xlsx") -> bytes:
    """The field workbook as the content of an ``.xlsx`` file.

    Parameters
    ----------
    known : Known, optional
        Headers, rows and names of a trial that is under way; an unstarted trial in US units if not given.
    file : str
        Name of the file, which its first sheet names.
    """
    from openpyxl import Workbook

    known = known or nothing_known()
    book = Workbook()
    start = book.active
    start.title = START_SHEET
    _fill_start(start, file)
    for name, table in TABLES.items():
        _fill_table(book.create_sheet(name), table, known)
    _fill_dictionary(book.create_sheet(DICTIONARY_SHEET), known)
    _fill_lists(book.create_sheet(LISTS_SHEET), known)
    book.properties.creator = _AUTHOR
    book.properties.title = "Field workbook"
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def unit_of(table: Table, spelled: str) -> tuple[Column | None, str]:
    """The column that a header names, and the unit suffix of the header; None if it is one of the analyst's own."""
    for column in table.columns:
        found = spellings(column)
        if spelled.casefold() in found:
            return column, found[spelled.casefold()]
    return None, ""


# ---------------------------------------------------------------- one table
def _fill_table(sheet: Any, table: Table, known: Known) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill, Protection
    from openpyxl.utils import get_column_letter

    header, rows = known.headers[table.name], known.rows.get(table.name, [])
    dark, pale = (PatternFill("solid", fgColor=color) for color in (_INK, _PALE))
    for place, spelled in enumerate(header, start=1):
        column, unit = unit_of(table, spelled)
        letter = get_column_letter(place)
        must = column is not None and column.required
        cell = sheet.cell(1, place)
        _write_text(cell, spelled)
        cell.font = Font(bold=True, color=_WHITE if must else _INK)
        cell.fill = dark if must else pale
        cell.alignment = Alignment(horizontal="left", vertical="center")
        cell.comment = _note(entry_rules.meaning(column, unit))
        own = sheet.column_dimensions[letter]
        longest = max((len(row.get(spelled, "")) for row in rows), default=0)
        own.width = max(12.0, 1.25 * len(spelled) + 3.0, min(1.1 * longest + 2.0, _WIDEST))
        own.number_format = entry_rules.number_format(column, unit)
        own.protection = Protection(locked=False)
        rule = entry_rules.rule(column, unit, _names_for(table, column, known))
        if rule is not None:
            rule.add(f"{letter}2:{letter}{entry_rules.LAST_ROW}")
            sheet.add_data_validation(rule)
    sheet.row_dimensions[1].height = 22
    _fill_rows(sheet, table, header, rows)
    sheet.freeze_panes = "B2"
    _lock(sheet)
    _print_wide(sheet, table.name)


def _names_for(table: Table, column: Column | None, known: Known) -> Names | None:
    """Where a drop-down of this column finds its names; none where the names themselves are given."""
    if column is None or column.choices:
        return None
    source = column.refers_to
    if column.name == c.EDGE_TYPE and table.name != "edge_types":  # a bid may name one that was not tried
        source = "edge_types"
    if source:
        return Names(source, _letter_of(TABLES[source], column.name, known.headers[source]))
    if column.name in LISTED:
        return Names(LISTS_SHEET, "ABC"[LISTED.index(column.name)])
    return None


def _letter_of(table: Table, name: str, header: tuple[str, ...]) -> str:
    from openpyxl.utils import get_column_letter

    for place, spelled in enumerate(header, start=1):
        column, _ = unit_of(table, spelled)
        if column is not None and column.name == name:
            return get_column_letter(place)
    raise KeyError(name)


def _fill_rows(sheet: Any, table: Table, header: tuple[str, ...], rows: Iterable[Mapping[str, str]]) -> None:
    from openpyxl.styles import Font, PatternFill, Protection

    gray, quiet, locked = PatternFill("solid", fgColor=_GRAY), Font(color=_OPEN), Protection(locked=True)
    described = [(spelled, *unit_of(table, spelled)) for spelled in header]
    for number, row in enumerate(rows, start=2):
        for place, (spelled, column, unit) in enumerate(described, start=1):
            cell = sheet.cell(number, place)
            _write_typed(cell, row.get(spelled, ""), column, unit)
            cell.fill, cell.font, cell.protection = gray, quiet, locked


def _write_typed(cell: Any, text: str, column: Column | None, unit: str) -> None:
    """Write a cell of the folder so that it reads back as the same text: as a number or a day only if nothing is lost."""
    form = entry_rules.number_format(column, unit)
    if not text:
        cell.number_format = form
        return
    if column is not None and form != AS_TEXT:
        value = _day_value(text) if column.kind == MOMENT else _number_value(text)
        if value is not None:
            cell.value = value
            cell.number_format = form
            return
    _write_text(cell, text)


def _number_value(text: str) -> float | int | None:
    try:
        value = float(text)
    except ValueError:
        return None
    plain = int(value) if value.is_integer() and abs(value) < 1e15 else value
    return plain if repr(plain) == text else None


def _day_value(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if len(text) == len("2031-01-14") else None
    except ValueError:
        return None


def _write_text(cell: Any, text: str) -> None:
    """Write text that stays text, whatever sign it starts with."""
    cell.value = text[:_TOO_LONG]
    cell.data_type = "s"
    cell.number_format = AS_TEXT
    if text.startswith(_FORMULA_SIGNS):
        cell.quotePrefix = True


def _note(words: str) -> Any:
    from openpyxl.comments import Comment

    note = Comment(words, _AUTHOR)
    note.width, note.height = 320, 40 + 18 * (len(words) // 42 + words.count("\n") + 1)
    return note


def _lock(sheet: Any) -> None:
    """Lock what is not open to typing; there is no password, so anyone can unlock it on purpose."""
    sheet.protection.sheet = True
    for name in (
        "formatCells",
        "formatColumns",
        "formatRows",
        "insertRows",
        "deleteRows",
        "sort",
        "autoFilter",
    ):
        setattr(sheet.protection, name, False)


def _print_wide(sheet: Any, title: str) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
    sheet.oddHeader.left.text = title


# ---------------------------------------------------------------- the sheets that explain and list
def _fill_start(sheet: Any, file: str) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.column_dimensions["A"].width = 100
    for number, words in enumerate((words.replace("{file}", file) for words in _SAID), start=1):
        cell = sheet.cell(number, 1)
        _write_text(cell, words)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        cell.font = Font(bold=number == 1, size=16 if number == 1 else 11)
        sheet.row_dimensions[number].height = 24 if number == 1 else 16 * (len(words) // 95 + 1) + 6
    first = len(_SAID) + 2
    for number, (name, table) in enumerate(TABLES.items(), start=first):
        cell = sheet.cell(number, 1)
        needed = " (every trial needs it)" if table.needed else ""
        _write_text(cell, f"{name}: one row is {table.about}{needed}")
        cell.hyperlink = f"#'{name}'!A1"
        cell.font = Font(underline="single", color="005A9C")
    sheet.sheet_view.showGridLines = False
    _lock(sheet)


def _fill_dictionary(sheet: Any, known: Known) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill

    for place, (words, width) in enumerate(
        zip(DICTIONARY_HEADER, (18, 24, 60, 10, 48, 9, 24), strict=True), start=1
    ):
        cell = sheet.cell(1, place)
        _write_text(cell, words)
        cell.font, cell.fill = Font(bold=True, color=_WHITE), PatternFill("solid", fgColor=_INK)
        sheet.column_dimensions[cell.column_letter].width = width
    for number, row in enumerate(dictionary_rows(known), start=2):
        for place, words in enumerate(row, start=1):
            cell = sheet.cell(number, place)
            _write_text(cell, words)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.freeze_panes = "C2"
    _lock(sheet)
    _print_wide(sheet, "dictionary")


def dictionary_rows(known: Known) -> list[tuple[str, ...]]:
    """The sheet that says what every column means, row by row, under `DICTIONARY_HEADER`."""
    rows: list[tuple[str, ...]] = []
    for name, table in TABLES.items():
        for spelled in known.headers[name]:
            column, unit = unit_of(table, spelled)
            if column is None:
                rows.append((name, spelled, entry_rules.meaning(None, ""), "", "anything", "no", ""))
                continue
            needed = "yes" if column.required else "no"
            blank = "" if column.required else column.blank_means
            rows.append(
                (
                    name, spelled, column.about, units.described(unit), entry_rules.allowed(column, unit), needed,
                    blank,
                )
            )  # fmt: skip
    return rows


def _fill_lists(sheet: Any, known: Known) -> None:
    from openpyxl.styles import Font, Protection

    offered = ([str(n) for n in range(1, known.stations + 1)], list(known.readers), list(known.operators))
    for place, (name, items) in enumerate(zip(LISTED, offered, strict=True), start=1):
        cell = sheet.cell(1, place)
        _write_text(cell, name)
        cell.font = Font(bold=True)
        own = sheet.column_dimensions[cell.column_letter]
        own.width, own.protection = 14, Protection(locked=False)
        for number, item in enumerate(items, start=2):
            entry = sheet.cell(number, place)
            entry.protection = Protection(locked=False)
            if name == c.STATION:
                entry.value = int(item)
            else:
                _write_text(entry, item)
    sheet.freeze_panes = "A2"
    _lock(sheet)
