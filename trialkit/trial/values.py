"""One cell: from the text that was typed to a number, a moment or a word, or to what is wrong with it.

Answers: what does ``5 3/8`` mean in a column of inches, and what should be typed instead of ``5-Mar``?

Nothing is guessed at. A text that is not exactly what the column asks for gives a `Fault`, which says what may stand
there and what to do. Numbers are left in the unit of the file; `units` converts them.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trialkit import units
from trialkit.columns import CHOICE, KIND_WORDS, MOMENT, NUMBER, TEXT, WHOLE, Column
from trialkit.errors import near_match
from trialkit.trial.headings import NUL_SHOWN, Heading

FIRST_YEAR, LAST_YEAR = 1990, 2100
"""Years in which a date of a trial may lie; any other is a slip."""
DATE_SHOWN = "2031-01-14"
MOMENT_SHOWN = "2031-01-14T05:30"
MOMENT_ALLOWED = f"a date such as {DATE_SHOWN} or {MOMENT_SHOWN}"
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Invisible signs that turn the direction of all that follows, the numbers of a report included."""
LONGEST_SLIP = 200
"""Characters up to which a text that is no number is looked at for the likely slip; a longer one is no slip of the pen."""
FREE_TEXT = Column("", TEXT, "", "")
"""What a column that the table does not have is read as."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_MOMENT = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:[T ]([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:\.([0-9]{1,6}))?)?)?"
)
_SHEET_ERROR = re.compile(
    r"#(?:REF!|N/A|VALUE!|DIV/0!|NAME\?|NUM!|NULL!|SPILL!|CALC!|FIELD!|BLOCKED!|#+)", re.IGNORECASE
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = (
    r"(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    r"|nov(?:ember)?|dec(?:ember)?)\b\.?"
)
_DATES = re.compile(
    rf"[0-9]{{1,4}}[-/ .]*{_MONTH}(?:[-/ .,]+[0-9]{{1,4}})?|{_MONTH}[-/ .]*[0-9]{{1,4}}(?:[-/ .,]+[0-9]{{1,4}})?"
    r"|[0-9]{1,4}([-/])[0-9]{1,2}\1[0-9]{1,4}(?:[T ].*)?|[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{4}",
    re.IGNORECASE | re.ASCII,
)
_FRACTION_LIKE = re.compile(r"(?:[0-9]+[\s-]+)?[0-9]+\s*/\s*[0-9]+")
_DECIMAL_COMMA = re.compile(r"([+-]?)([0-9]+),([0-9]+)")
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?")
_THOUSANDS_POINT = re.compile(r"([+-]?[0-9]{1,3}(?:\.[0-9]{3})+),([0-9]+)")
_WITH_SIGNS = re.compile(r"[$€£]?\s*([+-]?[0-9][0-9./ -]*?)\s*([^0-9\s][^0-9]*)?")
_NOT_RECORDED = {
    "na", "n/a", "n.a.", "nan", "none", "null", "nil", "-", "--", "–", "—", "?", "??", "x", "tbd", "missing", "unknown",
    "blank", ".", "not recorded", "not read", "no reading",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the text of a cell: the code of the problem, what may stand there and what to do."""

    code: str
    allowed: str
    fix: str


def read_cell(text: str, heading: Heading) -> float | dt.datetime | str | Fault:
    """What one cell means, in the unit of the file.

    Parameters
    ----------
    text : str
        The cell as typed, not blank, without spaces around it.
    heading : Heading
        What it stands under.

    Returns
    -------
    float, datetime, str or Fault
        A number for `NUMBER` and `WHOLE`, a datetime (midnight if no time is given) for `MOMENT`, else the text itself;
        a Fault if it cannot be read.
    """
    column = heading.column or FREE_TEXT
    fault = _unreadable(text, heading, column)
    if fault is not None:
        return fault
    if column.is_numeric:
        return _number(text, heading, column)
    if column.kind == MOMENT:
        return _moment(text)
    if column.kind == CHOICE and text not in column.choices:
        return Fault(
            "not-a-choice", column.allowed, near_match(text, column.choices) or _one_of_these(column)
        )
    return text


def allowed_words(heading: Heading) -> str:
    """What may stand in the cell, with the unit of the file.

    Without the bounds of a number: they are in the canonical unit, which need not be the file's.
    """
    column = heading.column or FREE_TEXT
    if not column.is_numeric:
        return column.allowed
    if column.choices:
        return " or ".join(column.choices)
    fraction = " or a fraction" if heading.unit == "in" else ""
    return KIND_WORDS[column.kind] + fraction + (f", in {_unit(heading)}" if _unit(heading) else "")


def read_cells(texts: Sequence[str], heading: Heading) -> tuple[np.ndarray, dict[int, Fault]]:
    """What each of many different texts means, and the faults by their place in `texts`.

    Parameters
    ----------
    texts : sequence of str
        Different texts of one column, none of them blank.
    heading : Heading
        What they stand under.

    Returns
    -------
    values : ndarray
        float64, datetime64[us] or object (text); NaN, NaT or None where there is a fault.
    faults : dict of int to Fault
        What is wrong, by position.
    """
    column = heading.column or FREE_TEXT
    if column.is_numeric and not column.choices:
        plain = _plain_numbers(texts)
        if plain is not None and (column.kind == NUMBER or (plain == np.floor(plain)).all()):
            return plain, {}
    read = [read_cell(text, heading) for text in texts]
    faults = {place: item for place, item in enumerate(read) if isinstance(item, Fault)}
    kept = [None if isinstance(item, Fault) else item for item in read]
    if column.is_numeric:
        return np.array(kept, dtype=np.float64), faults
    if column.kind == MOMENT:
        return np.array(kept, dtype="datetime64[us]"), faults
    values = np.empty(len(kept), dtype=object)
    values[:] = kept
    return values, faults


def _plain_numbers(texts: Sequence[str]) -> np.ndarray | None:
    """All texts as numbers at once, or None if any of them needs a closer look."""
    joined = "".join(texts)
    if not joined.isascii() or joined.translate(_PLAIN_SIGNS):
        return None
    try:
        numbers = np.array(list(map(float, texts)), dtype=np.float64)
    except ValueError:
        return None
    return numbers if np.isfinite(numbers).all() else None


_PLAIN_SIGNS = str.maketrans("", "", "0123456789.+-eE")


# ---------------------------------------------------------------- any cell
def _unreadable(text: str, heading: Heading, column: Column) -> Fault | None:
    """What makes the cell unreadable whatever it should hold."""
    if text.isascii() and text.isprintable() and text[:1] not in "#=":
        return None
    allowed = allowed_words(heading)
    if any(_is_unprintable(sign, column) for sign in text):
        return Fault(
            "control-character", allowed, "Type the cell again; it holds characters that cannot be seen."
        )
    if _SHEET_ERROR.fullmatch(text):
        return Fault("formula-error", allowed, "Mend the formula, or type the value itself.")
    if text.startswith("=") and column.kind != TEXT:
        return Fault(
            "formula-unsaved",
            allowed,
            "Open the file in a spreadsheet and save it, or type the value itself.",
        )
    return None


def _is_unprintable(sign: str, column: Column) -> bool:
    category = unicodedata.category(sign)
    return (
        sign == NUL_SHOWN
        or (category == "Cc" and sign not in "\n\r\t")
        or (category == "Cf" and (column.kind != TEXT or sign in _TURNING))
    )


def _one_of_these(column: Column) -> str:
    return (
        "Use one of these words."
        if column.required
        else "Use one of these words, or leave the cell blank if it was not recorded."
    )


# ---------------------------------------------------------------- numbers
def _number(text: str, heading: Heading, column: Column) -> float | Fault:
    value = float(text) if _NUMBER.fullmatch(text) else None
    if value is None and heading.unit == "in":
        value = units.fraction_value(text)
    if value is None or not math.isfinite(value):
        return _not_a_number(text, heading, column)
    if column.choices and value not in {float(choice) for choice in column.choices}:
        return Fault("not-a-choice", allowed_words(heading), f"Write {' or '.join(column.choices)}.")
    if column.kind == WHOLE and not value.is_integer():
        return Fault("not-whole", allowed_words(heading), "Write a whole number.")
    return value


def _not_a_number(text: str, heading: Heading, column: Column) -> Fault:
    """Why the text is not a number, and what to type instead; the likeliest slip first."""
    in_inches = heading.unit == "in"
    allowed = allowed_words(heading)
    example = "3" if column.kind == WHOLE else "5.375" if in_inches else "12.5"
    plain = f"Write a plain number, such as {example}."
    if len(text) > LONGEST_SLIP:
        return Fault("not-a-number", allowed, plain)
    inches = units.fraction_value(text)
    if inches is not None:
        return Fault("not-a-number", allowed, _inches_fix(inches, heading))
    if _DATES.fullmatch(text):
        return Fault("date-for-number", allowed, _date_fix(in_inches))
    if _FRACTION_LIKE.fullmatch(text):
        return Fault("not-a-number", allowed, _fraction_fix(in_inches))
    comma = _comma_fix(text)
    if comma:
        return Fault("decimal-comma", allowed, comma)
    if text.casefold() in _NOT_RECORDED:
        return Fault("not-a-number", allowed, "Leave the cell blank where nothing was recorded.")
    return Fault("not-a-number", allowed, _typed_unit_fix(text, heading) or plain)


def _unit(heading: Heading) -> str:
    return "inches" if heading.unit == "in" else units.UNIT_NAMES.get(heading.unit, "")


def _inches_fix(inches: float, heading: Heading) -> str:
    """What to write for a fraction that stands in a column of another unit."""
    if heading.unit in units.alternatives("in"):
        there = f"{units.from_canonical(inches, 'in', heading.unit):g} {heading.unit}"
        return f"It looks like inches: {inches:.10g} in are {there}. Convert it, or end the header in _in if all of it is in inches."
    return f"Write {inches:.10g}: only lengths in inches may be typed as fractions."


def _date_fix(in_inches: bool) -> str:
    if in_inches:
        return (
            "A spreadsheet has turned a fraction into a date. Format the column as text before typing, "
            "then type the fraction again, such as 5 3/8, or its decimal, 5.375."
        )
    return "A spreadsheet may have turned the number into a date. Format the column as text or number and type it again."


def _fraction_fix(in_inches: bool) -> str:
    if not in_inches:
        return "Write it as a decimal, such as 5.375."
    parts = ", ".join(str(part) for part in units.RULE_PARTS)
    return f"Write it as a decimal, or as a fraction below one beside the whole inches, such as 5 3/8, with {parts} below the line."


def _comma_fix(text: str) -> str:
    decimal = _DECIMAL_COMMA.fullmatch(text)
    if decimal and len(decimal[3]) == 3 and len(decimal[2]) <= 3:
        sign, whole, part = decimal.groups()
        return f"Write {sign}{whole}.{part} if the comma is a decimal sign, {sign}{whole}{part} if it parts the thousands."
    if decimal:
        return f"Write {text.replace(',', '.')}: decimals have a period."
    if _THOUSANDS.fullmatch(text):
        return f"Write {text.replace(',', '')}: thousands are not parted by commas."
    point = _THOUSANDS_POINT.fullmatch(text)
    if point:
        return f"Write {point[1].replace('.', '')}.{point[2]}: decimals have a period, thousands no sign."
    return ""


def _typed_unit_fix(text: str, heading: Heading) -> str:
    """What to write if a unit, a currency or another sign stands beside the number."""
    match = _WITH_SIGNS.fullmatch(text)
    if match is None or not (_NUMBER.fullmatch(match[1]) or units.fraction_value(match[1]) is not None):
        return ""
    if (match[2] or "").startswith("%") and not heading.unit:
        return "Write the number without the percent sign, as a share between 0 and 1."
    if _unit(heading):
        return f"Write the number alone, in {_unit(heading)}: the header {heading.spelled} already says the unit."
    return f"Write the number alone: {match[1]}."


# ---------------------------------------------------------------- moments
def _moment(text: str) -> dt.datetime | Fault:
    match = _MOMENT.fullmatch(text)
    if match is None:
        return Fault("not-a-date", MOMENT_ALLOWED, _moment_fix(text))
    year, month, day, hour, minute, second = (int(part or 0) for part in match.groups()[:6])
    try:
        moment = dt.datetime(year, month, day, hour, minute, second, int((match[7] or "").ljust(6, "0")))
    except ValueError:
        return Fault("not-a-date", MOMENT_ALLOWED, "There is no such day or time.")
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return Fault("not-a-date", f"a year from {FIRST_YEAR} to {LAST_YEAR}", "Correct the year.")
    return moment


def _moment_fix(text: str) -> str:
    written = f"Write the date as year-month-day, such as {DATE_SHOWN}."
    numbers = [int(part) for part in re.findall(r"[0-9]+", text) if len(part) <= 8]
    month = re.search(_MONTH, text, re.IGNORECASE)
    if re.fullmatch(r"[0-9]{5}(?:\.[0-9]+)?", text):
        day = dt.date(1899, 12, 30) + dt.timedelta(days=numbers[0])
        if FIRST_YEAR <= day.year <= LAST_YEAR:
            return f"A spreadsheet has stored the number of a day. If {day} is meant, write {day}, or format the column as text."
        return written
    if _MOMENT.match(text) and re.search(r"(?:Z|[+-][0-9]{2}:?[0-9]{2})$", text, re.IGNORECASE):
        return f"Write the local time without a zone, such as {MOMENT_SHOWN}."
    if month and len(numbers) == 2 and max(numbers) >= FIRST_YEAR:
        return _write(max(numbers), _MONTHS.index(month[0][:3].lower()) + 1, min(numbers)) or written
    if re.fullmatch(r"[0-9]{8}", text):
        return _write(int(text[:4]), int(text[4:6]), int(text[6:])) or written
    if len(numbers) == 3 and numbers[0] > 31:
        return _write(*numbers) or written
    if len(numbers) == 3 and numbers[2] >= FIRST_YEAR:
        first, second, year = numbers
        if first <= 12 and second <= 12 and first != second:
            return f"Write {year}-{first:02d}-{second:02d} or {year}-{second:02d}-{first:02d}, whichever day is meant."
        return (_write(year, first, second) if first <= 12 else _write(year, second, first)) or written
    return written


def _write(year: int, month: int, day: int) -> str:
    """The advice to write that day, or nothing if there is no such day."""
    try:
        return f"Write {dt.date(year, month, day)}."
    except ValueError:
        return ""
