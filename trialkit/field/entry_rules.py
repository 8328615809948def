"""What a cell of the field workbook takes: its format, its drop-down and the words beside it.

Answers: how does the workbook keep a height from becoming a date and a word from being misspelled?

Words of a choice column must be taken from its drop-down. Names of trucks, sets and the like are offered, but another one
can be typed after a question, because a storm does not wait until the office has listed a set. Heights and other lengths
in inches are text cells: ``5 3/8`` stays what it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trialkit import columns as c
from trialkit import units
from trialkit.columns import CHOICE, ID, MOMENT, TEXT, WHOLE, Column
from trialkit.trial.values import FIRST_YEAR, LAST_YEAR

AS_TEXT = "@"
DAY = "yyyy-mm-dd"
DAY_AND_TIME = "yyyy-mm-dd hh:mm"
WHOLE_NUMBER = "0"
GENERAL = "General"
LAST_ROW = 5000
"""Rows that a drop-down looks through and a rule covers."""
LONGEST_LIST = 255
"""Characters that a list of words inside a rule may have (ECMA-376 Part 1, 18.3.1.33, from memory)."""
_TIMED = (c.START, c.END, c.WHEN)


@dataclass(frozen=True, slots=True)
class Names:
    """Where a drop-down finds its names: a column of a sheet of the same workbook."""

    sheet: str
    letter: str

    @property
    def formula(self) -> str:
        """The cells that are filled now; the list grows as rows are added."""
        first, all_of_it = f"{self.letter}$2", f"{self.letter}$2:${self.letter}${LAST_ROW}"
        return f"OFFSET({self.sheet}!${first},0,0,MAX(COUNTA({self.sheet}!${all_of_it}),1),1)"


def number_format(column: Column | None, unit: str) -> str:
    """The format of the cells of a column that is given in `unit`."""
    if column is None or column.kind in (TEXT, ID, CHOICE) or unit == "in":
        return AS_TEXT
    if column.kind == MOMENT:
        return DAY_AND_TIME if column.name in _TIMED else DAY
    return WHOLE_NUMBER if column.kind == WHOLE else GENERAL


def rule(column: Column | None, unit: str, names: Names | None) -> Any | None:
    """What may be typed into the cells of a column; None if anything may.

    Parameters
    ----------
    column : Column or None
        What the column is; None if it is one of the analyst's own.
    unit : str
        Unit suffix of its header.
    names : Names, optional
        Where its names are listed.

    Returns
    -------
    openpyxl.worksheet.datavalidation.DataValidation or None
        Without cells yet.
    """
    from openpyxl.worksheet.datavalidation import DataValidation

    if names is not None:
        asked = DataValidation(type="list", formula1=names.formula, allow_blank=True)
        asked.errorStyle = "warning"
        return _with_words(
            asked, "Not listed yet", "This name is not on its sheet. Keep it all the same?", ""
        )
    if column is None:
        return None
    if column.choices:
        asked = DataValidation(type="list", formula1=f'"{",".join(column.choices)}"', allow_blank=True)
        return _with_words(
            asked, "One of the list", f"Choose from the list: {', '.join(column.choices)}.", ""
        )
    if column.kind == MOMENT:
        asked = DataValidation(
            type="date", operator="between", formula1=f"DATE({FIRST_YEAR},1,1)", formula2=f"DATE({LAST_YEAR},12,31)",
            allow_blank=True,
        )  # fmt: skip
        typed = "2031-01-14 05:30" if column.name in _TIMED else "2031-01-14"
        return _with_words(asked, "A date", f"Type a date such as {typed}.", f"Such as {typed}")
    if not column.is_numeric:
        return None
    if unit == "in":
        return _fraction_prompt(DataValidation)
    return _number_rule(DataValidation, column, unit)


def meaning(column: Column | None, unit: str) -> str:
    """What the note on a header says."""
    if column is None:
        return "A column of your own; it is kept."
    lines = [column.about]
    if unit:
        lines.append(f"Unit: {units.described(unit)}.")
    lines.append(f"Holds: {allowed(column, unit)}.")
    lines.append("Must be filled." if column.required else f"Blank means: {column.blank_means}.")
    return "\n".join(lines)


def allowed(column: Column, unit: str) -> str:
    """What may stand in a cell, in the unit of its header."""
    words = column.allowed if unit == column.unit else c.KIND_WORDS[column.kind]
    if column.choices and column.kind != CHOICE:
        words = " or ".join(column.choices)
    if unit == "in":
        words += ", as a decimal or a fraction such as 5 3/8"
    return words + (f"; as on the sheet {column.refers_to}" if column.refers_to else "")


def _number_rule(make: Any, column: Column, unit: str) -> Any | None:
    """Bounds of a number; they are in the canonical unit, so only a column that is given in it has them."""
    kind = "whole" if column.kind == WHOLE else "decimal"
    low, high = (column.low, column.high) if unit == column.unit else (None, None)
    if low is None or high is None:
        low, high = -1e9, 1e9
        words = f"Type {c.KIND_WORDS[column.kind]}."
    else:
        words = f"Type {allowed(column, unit)}."
    asked = make(type=kind, operator="between", formula1=f"{low:g}", formula2=f"{high:g}", allow_blank=True)
    return _with_words(asked, "A number", words, "")


def _fraction_prompt(make: Any) -> Any:
    """Any text, with a word on how lengths are typed."""
    asked = make(type="textLength", operator="lessThanOrEqual", formula1="40", allow_blank=True)
    return _with_words(asked, "Inches", "Type inches such as 5 3/8 or 5.375.", "Such as 5 3/8 or 5.375")


def _with_words(asked: Any, title: str, error: str, prompt: str) -> Any:
    """The words of a rule: spreadsheets show 32 characters of a title and 255 of a text."""
    asked.errorTitle, asked.error, asked.showErrorMessage = title, error[:255], True
    if prompt:
        asked.promptTitle, asked.prompt, asked.showInputMessage = title, prompt, True
    return asked
