"""One cell: what is read, what is refused, and what the analyst is told to type instead."""

import datetime as dt
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit import columns as c
from trialkit.tables import MATERIAL, SET_EVENTS, SOUND, TABLES, WEAR_READINGS
from trialkit.trial.headings import NUL_SHOWN, Heading
from trialkit.trial.values import FREE_TEXT, Fault, allowed_words, read_cell, read_cells

INCHES = Heading("height_in", WEAR_READINGS.column(c.HEIGHT_IN), "in")
MILLIMETERS = Heading("height_mm", WEAR_READINGS.column(c.HEIGHT_IN), "mm")
MILES = Heading("counter_mi", WEAR_READINGS.column(c.COUNTER_MI), "mi")
STATION = Heading("station", WEAR_READINGS.column(c.STATION))
DATE = Heading("date", WEAR_READINGS.column(c.DATE))
TOOL = Heading("tool", WEAR_READINGS.column(c.TOOL))
EVENT = Heading("event", SET_EVENTS.column(c.EVENT))
SET_ID = Heading("set_id", WEAR_READINGS.column(c.SET_ID))
NOTE = Heading("note", WEAR_READINGS.column(c.NOTE))
EXCHANGE = Heading("exchange_rate_db", SOUND.column(c.EXCHANGE_RATE_DB), "db")
PERCENT = Heading("concentration_pct", MATERIAL.column(c.CONCENTRATION_PCT), "pct")
SHARE = Heading("chloride_frac", MATERIAL.column(c.CHLORIDE_FRAC))
OWN = Heading("garage bay")


@pytest.mark.parametrize(
    ("text", "value"),
    [("5.375", 5.375), ("5 3/8", 5.375), ("5-3/8", 5.375), ("5 6/16", 5.375), ("5⅜", 5.375), ("5.", 5.0), (".5", 0.5),
     ("+5", 5.0), ("-5", -5.0), ("1e1", 10.0), ("0", 0.0), ("005", 5.0)],
)  # fmt: skip
def test_numbers_in_inches(text, value):
    assert read_cell(text, INCHES) == value


@pytest.mark.parametrize(
    ("text", "code", "advice"),
    [
        ("5-Mar", "date-for-number", "turned a fraction into a date"),
        ("Mar-5", "date-for-number", "Format the column as text"),
        ("8 March", "date-for-number", "5 3/8"),
        ("3/8/2031", "date-for-number", "Format the column as text"),
        ("5/3/08", "date-for-number", "Format the column as text"),
        ("2031-03-08", "date-for-number", "Format the column as text"),
        ("2031-03-08T00:00:00", "date-for-number", "Format the column as text"),
        ("8.3.2031", "date-for-number", "Format the column as text"),
        (
            "5,375",
            "decimal-comma",
            "Write 5.375 if the comma is a decimal sign, 5375 if it parts the thousands.",
        ),
        ("5,4", "decimal-comma", "Write 5.4: decimals have a period."),
        ("-5,4", "decimal-comma", "Write -5.4:"),
        ("1,234.5", "decimal-comma", "Write 1234.5: thousands"),
        ("1,234,567", "decimal-comma", "Write 1234567: thousands"),
        ("1.234,5", "decimal-comma", "Write 1234.5: decimals"),
        ("5 1/3", "not-a-number", "decimal"),
        ("1/14", "not-a-number", "2, 4, 8"),
        ("5 11/8", "not-a-number", "below one"),
        (
            "5.4 in",
            "not-a-number",
            "Write the number alone, in inches: the header height_in already says the unit.",
        ),
        ('5.4"', "not-a-number", "Write the number alone, in inches"),
        ('5 3/8"', "not-a-number", "Write the number alone, in inches"),
        ("136 mm", "not-a-number", "Write the number alone, in inches"),
        ("5%", "not-a-number", "Write the number alone"),
        ("inf", "not-a-number", "such as 5.375"),
        ("Infinity", "not-a-number", "such as 5.375"),
        ("1e999", "not-a-number", "such as 5.375"),
        ("0x1A", "not-a-number", "such as 5.375"),
        ("1_000", "not-a-number", "such as 5.375"),
        ("５", "not-a-number", "such as 5.375"),
        ("TRUE", "not-a-number", "such as 5.375"),
        ("five", "not-a-number", "such as 5.375"),
        ("nan", "not-a-number", "Leave the cell blank"),
        ("N/A", "not-a-number", "Leave the cell blank"),
        ("-", "not-a-number", "Leave the cell blank"),
        ("?", "not-a-number", "Leave the cell blank"),
        ("#REF!", "formula-error", "Mend the formula"),
        ("#N/A", "formula-error", "Mend the formula"),
        ("#VALUE!", "formula-error", "Mend the formula"),
        ("#DIV/0!", "formula-error", "Mend the formula"),
        ("####", "formula-error", "Mend the formula"),
        ("=B2*2", "formula-unsaved", "save it"),
        (f"5{NUL_SHOWN}4", "control-character", "Type the cell again"),
        ("5\u200b", "control-character", "Type the cell again"),
        ("5\x1b", "control-character", "Type the cell again"),
    ],
)
def test_what_is_no_number_in_inches(text, code, advice):
    fault = read_cell(text, INCHES)
    assert isinstance(fault, Fault) and fault.code == code
    assert advice in fault.fix
    assert fault.allowed == "a number or a fraction, in inches"


@pytest.mark.parametrize("rest", ["", " 1/2", "x"])
def test_a_cell_of_very_many_digits_is_refused_at_once(rest):
    started = time.perf_counter()
    fault = read_cell("9" * 100_000 + rest, INCHES)
    assert (fault.code, fault.fix) == ("not-a-number", "Write a plain number, such as 5.375.")
    assert time.perf_counter() - started < 2


@pytest.mark.parametrize(
    ("heading", "text", "code", "allowed", "advice"),
    [
        (
            MILLIMETERS,
            "5 3/8",
            "not-a-number",
            "a number, in mm",
            "5.375 in are 136.525 mm. Convert it, or end the",
        ),
        (MILES, "5 3/8", "not-a-number", "a number, in mi", "Write 5.375: only lengths in inches"),
        (MILES, "5-Mar", "date-for-number", "a number, in mi", "text or number"),
        (MILES, "1/14", "not-a-number", "a number, in mi", "Write it as a decimal"),
        (MILES, "120 miles", "not-a-number", "a number, in mi", "in mi: the header counter_mi"),
        (MILES, "abc", "not-a-number", "a number, in mi", "such as 12.5"),
        (STATION, "3.5", "not-whole", "a whole number", "whole number"),
        (STATION, "three", "not-a-number", "a whole number", "such as 3."),
        (EXCHANGE, "4", "not-a-choice", "3 or 5", "Write 3 or 5."),
        (EXCHANGE, "5 dB", "not-a-number", "3 or 5", "Write the number alone, in dB"),
        (PERCENT, "23%", "not-a-number", "a number, in %", "Write the number alone, in %"),
        (SHARE, "60 %", "not-a-number", "a number", "share between 0 and 1"),
        (SHARE, "$3", "not-a-number", "a number", "Write the number alone: 3."),
        (TOOL, "Rule", "not-a-choice", "rule, tape, caliper, ultrasonic, template", '"rule"'),
        (TOOL, "calliper", "not-a-choice", "caliper", '"caliper"'),
        (TOOL, "hammer", "not-a-choice", "caliper", "or leave the cell blank"),
        (EVENT, "section swap", "not-a-choice", "section_swap", '"section_swap"'),
        (EVENT, "zzz", "not-a-choice", "install", "Use one of these words."),
        (SET_ID, "S1\u200b", "control-character", "a name or code", "cannot be seen"),
        (SET_ID, "#N/A", "formula-error", "a name or code", "Mend the formula"),
        (SET_ID, "=A2", "formula-unsaved", "a name or code", "save it"),
        (NOTE, "bad\x07", "control-character", "text", "cannot be seen"),
        (NOTE, "steel\u202eevil", "control-character", "text", "cannot be seen"),
    ],
)
def test_what_other_columns_refuse(heading, text, code, allowed, advice):
    fault = read_cell(text, heading)
    assert isinstance(fault, Fault) and fault.code == code
    assert allowed in fault.allowed and advice in fault.fix


@pytest.mark.parametrize(
    ("heading", "text"),
    [(SET_ID, "007"), (SET_ID, "1e5"), (SET_ID, "NA"), (NOTE, "=x"), (NOTE, "two\nlines"), (NOTE, "a\u200bb"), (TOOL, "rule"),
     (OWN, "anything"), (OWN, "12")],
)  # fmt: skip
def test_words_are_left_as_typed(heading, text):
    assert read_cell(text, heading) == text


@pytest.mark.parametrize(
    ("heading", "text", "value"),
    [(STATION, "3", 3.0), (STATION, "3.0", 3.0), (EXCHANGE, "5", 5.0), (EXCHANGE, "3.0", 3.0)],
)
def test_whole_numbers_and_numbers_to_choose_from(heading, text, value):
    assert read_cell(text, heading) == value


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2031-01-14", dt.datetime(2031, 1, 14)),
        ("2031-01-14T05:30", dt.datetime(2031, 1, 14, 5, 30)),
        ("2031-01-14 05:30", dt.datetime(2031, 1, 14, 5, 30)),
        ("2031-01-14T05:30:15", dt.datetime(2031, 1, 14, 5, 30, 15)),
        ("2031-01-14 05:30:15.25", dt.datetime(2031, 1, 14, 5, 30, 15, 250_000)),
        ("2032-02-29", dt.datetime(2032, 2, 29)),
    ],
)
def test_dates(text, moment):
    assert read_cell(text, DATE) == moment


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("2031-02-30", "no such day"),
        ("2031-02-29", "no such day"),
        ("2031-01-14T25:00", "no such day or time"),
        ("1/14/2031", "Write 2031-01-14."),
        ("14/1/2031", "Write 2031-01-14."),
        ("1/2/2031", "Write 2031-01-02 or 2031-02-01"),
        ("14.1.2031", "Write 2031-01-14."),
        ("13/13/2031", "year-month-day"),
        ("1/14/31", "year-month-day"),
        ("Jan 14", "year-month-day"),
        ("Jan 14, 2031", "Write 2031-01-14."),
        ("14 January 2031", "Write 2031-01-14."),
        ("30 Feb 2031", "year-month-day"),
        ("2031-1-14", "Write 2031-01-14."),
        ("2031/01/14", "Write 2031-01-14."),
        ("2031/13/14", "year-month-day"),
        ("20310114", "Write 2031-01-14."),
        ("20311414", "year-month-day"),
        ("47862", "If 2031-01-14 is meant"),
        ("99999", "year-month-day"),
        ("2031-01-14T05:30Z", "without a zone"),
        ("2031-01-14T05:30+01:00", "without a zone"),
        ("yesterday", "year-month-day"),
    ],
)
def test_what_is_no_date(text, advice):
    fault = read_cell(text, DATE)
    assert isinstance(fault, Fault) and fault.code == "not-a-date"
    assert advice in fault.fix and "2031-01-14T05:30" in fault.allowed


@pytest.mark.parametrize("text", ["1889-01-14", "1989-12-31", "2101-01-01", "0031-01-14"])
def test_years_outside_any_trial(text):
    fault = read_cell(text, DATE)
    assert (
        isinstance(fault, Fault)
        and fault.code == "not-a-date"
        and fault.allowed == "a year from 1990 to 2100"
    )


def test_days_a_spreadsheet_counts_agree_with_openpyxl():
    from openpyxl.utils.datetime import to_excel  # openpyxl 3.1: openpyxl.utils.datetime.to_excel(date)

    for day in (dt.date(2030, 11, 1), dt.date(2031, 1, 14), dt.date(2032, 2, 29)):
        fault = read_cell(str(int(to_excel(day))), DATE)
        assert isinstance(fault, Fault) and f"If {day} is meant" in fault.fix


def test_many_cells_are_read_as_one_by_one():
    texts = ["5.375", "5 3/8", "5-Mar", "6"]
    values, faults = read_cells(texts, INCHES)
    np.testing.assert_array_equal(values, [5.375, 5.375, np.nan, 6.0])
    assert set(faults) == {2} and faults[2] == read_cell("5-Mar", INCHES)
    moments, faults = read_cells(["2031-01-14T05:30", "x"], DATE)
    assert moments.dtype == "datetime64[us]" and np.isnat(moments[1]) and set(faults) == {1}
    words, faults = read_cells(["rule", "Rule"], TOOL)
    assert list(words) == ["rule", None] and set(faults) == {1}
    for heading in (INCHES, DATE, TOOL):
        assert len(read_cells([], heading)[0]) == 0


@pytest.mark.parametrize("odd", ["inf", "1e999", "nan", "1_0", "٣", "--5", "5e"])
def test_plain_numbers_are_read_at_once_unless_one_is_odd(odd):
    values, faults = read_cells(["1", "2.5", "-3e2"], MILES)
    np.testing.assert_array_equal(values, [1.0, 2.5, -300.0])
    assert faults == {}
    values, faults = read_cells(["1", odd], MILES)
    assert np.isnan(values[1]) and set(faults) == {1}


def test_what_a_column_of_ones_own_may_hold():
    assert allowed_words(OWN) == "text" == FREE_TEXT.allowed


@settings(max_examples=150, deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_every_number_that_is_written_out_is_read_back(number):
    assert read_cell(repr(number), MILES) == number


@settings(max_examples=200, deadline=None)
@given(text=st.text(min_size=1, max_size=12), place=st.integers(0, 10**6))
def test_no_text_is_too_odd(text, place):
    columns = [column for table in TABLES.values() for column in table.columns]
    column = columns[place % len(columns)]
    result = read_cell(text, Heading(column.name, column, column.unit))
    assert isinstance(result, (float, dt.datetime, str, Fault))
    if isinstance(result, Fault):
        assert result.fix.endswith((".", "?")) and result.allowed
