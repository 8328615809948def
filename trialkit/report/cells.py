"""How a frame becomes a table for people: headings, units, alignment and the text of every cell.

Answers: what stands in each cell of a printed table, and what is the number behind it?

Raw values are kept beside the text, so that a spreadsheet gets numbers and a page gets words; both are in the units in
which results are shown. An estimate is printed to
what its interval supports, and the two ends of an interval are printed as one cell. Lives, ranges and ratios follow the
rules of `formatting` that sentences and figures follow, so that a quantity has the same digits wherever it is printed. A
column that says the same in every row (the unit, the method) is said once.
"""

from __future__ import annotations

import datetime as dt
import math
import numbers
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict

from trialkit import columns as c
from trialkit import display, formatting, units
from trialkit.report.displayed import column_unit, declared, displayed, displayed_name, is_number

Cell = int | float | bool | str | None
DASH = "–"
NO_ENDS = "any value"
SIGNIFICANT = 10
"""Significant digits of a number in a block, so that the same result gives the same text on every machine."""

DIGEST_LENGTH = 12
"""Characters of a hash that are printed; the whole stands behind it."""

_SHARED_DECIMALS = (c.ESTIMATE, c.STD_ERROR, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH)
_INTERVALS = ((c.CONF_LOW, c.CONF_HIGH, "Interval"), (c.PRED_LOW, c.PRED_HIGH, "Range for the next set"))
_OF_LIVES = ("mi", "km")
_PLAIN_WHOLE = (c.ROW, c.STATION, c.REPEAT, c.PERIOD)
_NAMED = (c.EDGE_TYPE, c.REFERENCE)


class Column(BaseModel):
    """One column of a printed table.

    Attributes
    ----------
    name : str
        Name in the tidy table.
    heading, unit : str
        What stands over it; the unit may be empty.
    align : str
        ``"start"`` for words, ``"end"`` for numbers.
    shown : bool
        Whether it is printed; the others are kept for the spreadsheet only.
    kept : bool
        Whether it has raw values; a column made for print only, such as an interval in one cell, has none.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    heading: str
    unit: str = ""
    align: Literal["start", "end"] = "start"
    shown: bool = True
    kept: bool = True

    @property
    def title(self) -> str:
        """Heading with the unit."""
        return f"{self.heading} [{self.unit}]" if self.unit else self.heading


def raw_value(value: object) -> Cell:
    """A value as it is kept in a block: numbers to ten significant digits, dates as ISO text, nothing for missing."""
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        number = float(value)
        return float(f"{number:.{SIGNIFICANT}g}") + 0.0 if math.isfinite(number) else None
    if isinstance(value, (dt.datetime, dt.date)):
        return value.isoformat()
    return str(value)


@cache
def heading_and_unit(name: str) -> tuple[str, str]:
    """Heading and printed unit of a column: from the result headings, the data dictionary, or its name."""
    if name in c.RESULT_LABELS:
        unit = next((column.unit for column in declared(name)), "")
        return c.RESULT_LABELS[name], units.UNIT_NAMES.get(unit, unit)
    for column in declared(name):
        return column.label, units.UNIT_NAMES.get(column.unit, column.unit)
    if "_per_" in name and column_unit(name):
        top, _, below = column_unit(name).rpartition("/")
        words = name.partition("_per_")[0]
        words = words.rpartition("_")[0] or words if top else words
        return formatting.sentence_case(words.replace("_", " ")), f"{top}/{below}" if top else below
    stem, _, suffix = name.rpartition("_")
    if stem and suffix in units.UNIT_NAMES:
        return formatting.sentence_case(stem.replace("_", " ")), units.UNIT_NAMES[suffix]
    return formatting.sentence_case(name.replace("_", " ")), ""


@cache
def _is_choice(name: str) -> bool:
    return name == c.VERDICT or any(column.kind == c.CHOICE for column in declared(name))


def lay_out(
    frame: pd.DataFrame,
    *,
    headings: Mapping[str, str] | None = None,
    labels: Mapping[str, str] | None = None,
    hide: Sequence[str] = (),
    confidence_level: float | None = None,
) -> tuple[list[Column], list[list[Cell]], list[list[str]], list[str]]:
    """Columns, raw rows, printed rows and notes of a table.

    Parameters
    ----------
    frame : DataFrame
        Any tidy table; its index is not shown.
    headings : mapping, optional
        Headings that differ from the usual ones, by column.
    labels : mapping, optional
        Printed name of each edge type.
    hide : sequence of str
        Columns that are kept for the spreadsheet but not printed.
    confidence_level : float, optional
        Level of the interval, said in its heading.

    Returns
    -------
    columns, rows, texts, notes
        `rows` and `texts` have one entry for each column.
    """
    frame = displayed(frame)
    said_once, notes = _said_once(frame)
    unit = said_once.get(c.UNIT, "")
    pair = {name: (low, high) for low, high, _ in _INTERVALS for name in (low, high)}
    hidden = {*hide, c.READ, *said_once, *(name for name in pair if set(pair[name]) <= set(frame.columns))}
    columns: list[Column] = []
    kept: list[list[Cell]] = []
    texts: list[list[str]] = []
    for name in frame.columns:
        values = frame[name]
        heading, own_unit = _shown_heading(str(name), headings or {})
        own_unit = unit if name in _SHARED_DECIMALS and unit else own_unit
        said = displayed_name(str(name)) if is_number(values) else str(name)
        columns.append(
            Column(name=said, heading=heading, unit=own_unit, align=_align(values), shown=name not in hidden)
        )
        kept.append([raw_value(value) for value in values])
        texts.append(_texts(frame, str(name), labels or {}))
        for low, high, words in _INTERVALS:
            if name == high and low in frame.columns:
                words = (
                    formatting.level_words(confidence_level)
                    if confidence_level and low == c.CONF_LOW
                    else words
                )
                columns.append(
                    Column(name=f"{low}_to_{high}", heading=words, unit=own_unit, align="end", kept=False)
                )
                kept.append([None] * len(frame))
                texts.append(_interval_texts(frame, low, high))
    return columns, _across(kept), _across(texts), notes


def _shown_heading(name: str, headings: Mapping[str, str]) -> tuple[str, str]:
    """Heading and unit of a column in the units of display; a heading that is the column's own name stays as it is."""
    usual, unit = heading_and_unit(name)
    heading, shown = headings.get(name, usual), display.unit(unit)
    if heading == name:
        return heading, shown
    own = column_unit(name)
    if own and heading.endswith(f", {own}"):
        return display.words(heading.removesuffix(own)) + display.unit(own), shown
    return display.words(heading), shown


def _across(by_column: list[list]) -> list[list]:
    return [list(row) for row in zip(*by_column, strict=True)]


def _said_once(frame: pd.DataFrame) -> tuple[dict[str, str], list[str]]:
    """Unit and method, where every row says the same; the method becomes a note."""
    said = {}
    for name in (c.UNIT, c.METHOD):
        if name in frame.columns and len(frame) and frame[name].nunique(dropna=False) == 1:
            said[name] = str(frame[name].iloc[0])
    return said, [f"Method: {said[c.METHOD]}."] if said.get(c.METHOD) else []


def _align(values: pd.Series) -> Literal["start", "end"]:
    return "end" if is_number(values) else "start"


def _texts(frame: pd.DataFrame, name: str, labels: Mapping[str, str]) -> list[str]:
    values = frame[name]
    if _align(values) == "end":
        if name in _SHARED_DECIMALS and _is_ratio(frame):
            return [formatting.ratio_number(float(value)) for value in values]
        if name in _SHARED_DECIMALS and {c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH} <= set(frame.columns):
            return [
                formatting.fixed(float(value), places)
                for value, places in zip(values, _row_decimals(frame), strict=True)
            ]
        return _number_texts(values, name)
    texts = [_word(value) for value in values]
    if name == c.DIGEST:
        return [text[:DIGEST_LENGTH] for text in texts]
    if name in _NAMED:
        texts = [formatting.named(text, labels) for text in texts]
    elif _is_choice(name):
        texts = [formatting.position_name(text).replace("_", " ") for text in texts]
    elif name == c.TRUCK_UNIT:
        texts = [formatting.position_name(text) for text in texts]
    return texts


def _number_texts(values: pd.Series, name: str) -> list[str]:
    finite = [float(value) for value in values if not pd.isna(value) and math.isfinite(value)]
    if all(value.is_integer() for value in finite):
        grouped = name not in _PLAIN_WHOLE
        return [_no_number(value) or (f"{int(value):,}" if grouped else f"{int(value)}") for value in values]
    places = 2 if name.endswith("_usd") else _common_decimals(finite)
    return [_no_number(value) or formatting.fixed(float(value), places) for value in values]


def _no_number(value: float) -> str:
    return DASH if pd.isna(value) or not math.isfinite(value) else ""


def _common_decimals(values: Sequence[float]) -> int:
    """Decimals that give the middling value of a column three significant digits."""
    sizes = sorted(abs(value) for value in values if value)
    middle = sizes[len(sizes) // 2]
    return min(6, max(0, 2 - math.floor(math.log10(middle))))


def _is_ratio(frame: pd.DataFrame) -> bool:
    """Whether the estimates are ratios: they are set against a reference and have no unit."""
    return {c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH} <= set(frame.columns) and c.UNIT not in frame


def _row_decimals(frame: pd.DataFrame) -> list[int]:
    units_of = frame[c.UNIT] if c.UNIT in frame.columns else [""] * len(frame)
    ends = zip(frame[c.ESTIMATE], frame[c.CONF_LOW], frame[c.CONF_HIGH], units_of, strict=True)
    return [
        (formatting.miles_decimals if unit in _OF_LIVES else formatting.interval_decimals)(
            float(estimate), float(low), float(high)
        )
        for estimate, low, high, unit in ends
    ]


def _interval_texts(frame: pd.DataFrame, low: str, high: str) -> list[str]:
    ends = [(float(a), float(b)) for a, b in zip(frame[low], frame[high], strict=True)]
    if low == c.CONF_LOW and _is_ratio(frame):
        texts = [_ends_text(a, b, formatting.ratio_span(a, b)) for a, b in ends]
    elif low == c.PRED_LOW:
        texts = [_ends_text(a, b, formatting.range_span(a, b)) for a, b in ends]
    else:
        if {c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH} <= set(frame.columns):
            places = _row_decimals(frame)
        else:
            places = [formatting.interval_decimals(math.nan, a, b) for a, b in ends]
        texts = [interval_text(a, b, d) for (a, b), d in zip(ends, places, strict=True)]
    if c.ESTIMATE not in frame:
        return texts
    none = frame[[c.ESTIMATE, low, high]].isna().all(axis=1)
    return [DASH if without else text for text, without in zip(texts, none, strict=True)]


def interval_text(low: float, high: float, decimals: int) -> str:
    """The ends of an interval in one cell; says so when there is none, or when it allows every value from zero up."""
    return _ends_text(low, high, formatting.span(low, high, decimals))


def _ends_text(low: float, high: float, said: str) -> str:
    if not (math.isfinite(low) or math.isfinite(high)):
        return formatting.NO_INTERVAL
    return NO_ENDS if low == 0 and not math.isfinite(high) else said


def _short_day(day: dt.date) -> str:
    """A date as a table has room for it, ``"Jan 14, 2031"``, not to be broken over two lines."""
    return f"{day:%b}\u00a0{day.day},\u00a0{day.year}"


def _word(value: object) -> str:
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return DASH
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        time = f", {value:%H:%M}" if (value.hour, value.minute) != (0, 0) else ""
        return f"{_short_day(value)}{time}"
    if isinstance(value, dt.date):
        return _short_day(value)
    if isinstance(value, numbers.Real):
        return formatting.number(float(value))
    return str(value) or DASH
