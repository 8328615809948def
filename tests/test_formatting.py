"""Numbers and intervals as text say no more than they know."""

import doctest
import math

import pandas as pd
import pytest

from trialkit import formatting

NAN = math.nan


def test_examples_in_the_docstrings_hold():
    assert doctest.testmod(formatting).failed == 0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (2, "2.00"),
        (1234.5, "1,234"),
        (-0.04, "-0.0400"),
        (NAN, "–"),
        (math.inf, "–"),
        (None, "–"),
    ],
)
def test_number(value, text):
    assert formatting.number(value) == text


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-0.0004, 2, "0.00"), (-0.04, 1, "0.0"), (-0.06, 1, "-0.1"), (NAN, 1, "–"), (1e4, 0, "10,000")],
)
def test_fixed_has_no_minus_zero(value, decimals, text):
    assert formatting.fixed(value, decimals) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (6.83, 16.81, "6.8 to 17"),
        (2.04, math.inf, "at least 2.0"),
        (-math.inf, 0.978, "at most 0.98"),
        (0.996, 1.04, "0.996 to 1.04"),
        (2.341, 2.343, "2.341 to 2.343"),
        (1.5, 1.5, "1.5 to 1.5"),
    ],
)
def test_ratios_have_two_digits_or_what_tells_them_apart(low, high, text):
    assert formatting.ratio_span(low, high) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.9, 2.1, "0.90 to 2.1"),
        (3900.0, 19_280.0, "3,900 to 19,000"),
        (0.134, 9.38, "0.13 to 9.4"),
        (-0.2, 1.0, "-0.20 to 1.00"),
        (5.21, 230.0, "5.2 to 230"),
        (math.nan, 230.0, "at most 230"),
    ],
)
def test_a_range_for_the_next_set_has_two_digits_at_each_end(low, high, text):
    assert formatting.range_span(low, high) == text


@pytest.mark.parametrize(
    ("estimate", "low", "high", "text"),
    [
        (1.5234, 1.21, 1.83, "1.52 (1.21 to 1.83)"),
        (152.34, 121, 183, "152 (121 to 183)"),
        (0.0152, 0.0121, 0.0183, "0.0152 (0.0121 to 0.0183)"),
        (8.0, 3.1, math.inf, "8.0 (at least 3.1)"),
        (0.02, -math.inf, 0.05, "0.020 (at most 0.050)"),
        (1.52, NAN, NAN, "1.52 (no interval)"),
    ],
)
def test_interval_is_rounded_to_what_it_supports(estimate, low, high, text):
    assert formatting.interval(estimate, low, high) == text


def test_a_lower_end_without_an_estimate_is_rounded_to_its_own_size():
    places = formatting.interval_decimals(NAN, 1782.96, math.inf)
    assert formatting.span(1782.96, math.inf, places) == "at least 1,780"
    assert formatting.interval_decimals(NAN, 0.3333, NAN) == 3
    assert formatting.interval_decimals(NAN, NAN, NAN) == 2


def test_interval_carries_its_unit():
    assert formatting.interval(1.5, 1.2, 1.8, "in/1,000 mi") == "1.50 (1.20 to 1.80) in/1,000 mi"


@pytest.mark.parametrize("step", [0.0, -1.0, NAN, math.inf])
def test_decimals_for_a_step_that_is_none(step):
    assert formatting.decimals_for(step) == 2


def test_counts_lists_and_days():
    assert formatting.counted(1, "truck") == "1 truck"
    assert formatting.counted(1200, "reading") == "1,200 readings"
    assert formatting.counted(2, "entry", "entries") == "2 entries"
    assert formatting.listed(["a", "b", "c"]) == "a, b and c"
    assert formatting.listed(["a", "b"], last="or") == "a or b"
    assert formatting.listed(["a"]) == "a"
    assert formatting.listed([]) == ""
    assert formatting.day(pd.Timestamp("2031-01-04T05:30")) == "January 4, 2031"
    assert formatting.day(None) == formatting.day(pd.NaT) == "–"
    assert formatting.times(12.34) == "12 times"
    assert formatting.percent(95) == "95%"
    assert formatting.sentence_case("plain steel") == "Plain steel"


@pytest.mark.parametrize(
    ("value", "currency", "decimals", "text"),
    [
        (0, "USD", None, "$0.00"),
        (99.994, "USD", None, "$99.99"),
        (9_999.4, "USD", None, "$9,999"),
        (-48_260, "EUR", None, "-48,300 EUR"),
        (-0.004, "USD", None, "$0.00"),
        (1234.5, "USD", -2, "$1,200"),
        (NAN, "CAD", None, "–"),
        (None, "USD", None, "–"),
    ],
)
def test_money(value, currency, decimals, text):
    assert formatting.money(value, currency, decimals) == text


@pytest.mark.parametrize(
    ("estimate", "low", "high", "text"),
    [
        (0.8712, 0.8212, 0.9212, "$0.87 ($0.82 to $0.92) per mile"),
        (0.0042, -0.001, 0.009, "$0.004 (-$0.001 to $0.009) per mile"),
        (12.34, 9.9, 14.9, "$12.34 ($9.90 to $14.90) per mile"),
        (48_210.0, 43_300.0, 52_900.0, "$48,200 ($43,300 to $52,900) per mile"),
        (1.2, NAN, NAN, "$1.20 (no interval) per mile"),
        (1.2, -math.inf, 1.5, "$1.20 (at most $1.50) per mile"),
    ],
)
def test_money_with_its_interval(estimate, low, high, text):
    assert formatting.money_interval(estimate, low, high, unit="per mile") == text
