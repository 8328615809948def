"""A value in another unit, as it is typed into the trial's file."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.logbook.cell_texts import number_text_in, price_text
from trialkit.units import to_canonical

# Exact by definition: 1 in = 25.4 mm, 1 mi = 1.609344 km, 1 lb = 0.45359237 kg (NIST SP 811, 2008, Appendix B.8)
EXACT = {
    ("in", "mm"): Fraction("25.4"),
    ("mi", "km"): Fraction("1.609344"),
    ("lb", "kg"): Fraction("0.45359237"),
}


@pytest.mark.parametrize(
    ("canonical", "unit", "to_unit", "text"),
    [
        (5.375, "in", "mm", "136.525"),
        (136.5 / 25.4, "in", "mm", "136.5"),
        (2.0, "lb", "lb", "2"),
        (32.0, "f", "c", "0"),
        (0.0, "in", "mm", "0"),
        (5000.0, "lb", "ton", "2.5"),
        (-40.0, "f", "c", "-40"),
        (1e-7, "in", "mm", "0.00000254"),
        (1_000_000.0, "mi", "km", "1609344"),
    ],
)
def test_the_shortest_text_that_reads_back(canonical, unit, to_unit, text):
    assert number_text_in(canonical, unit, to_unit) == text


@pytest.mark.parametrize("pair", list(EXACT))
def test_short_decimals_convert_exactly(pair):
    unit, to_unit = pair
    for thousandths in (1, 125, 375, 5375, 4990, 123_456):
        text = number_text_in(thousandths / 1000, unit, to_unit)
        assert abs(Fraction(text) - Fraction(thousandths, 1000) * EXACT[pair]) < Fraction(1, 10**12)


UNITS = st.sampled_from(
    [("in", "mm"), ("mi", "km"), ("ft", "m"), ("f", "c"), ("lb", "kg"), ("lb", "ton"), ("lb", "t"), ("gal", "l"), ("mph", "kmh")]
)  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(UNITS, st.floats(-1e6, 1e6), st.integers(0, 6))
def test_a_decimal_of_the_other_unit_comes_back_as_it_was_typed(pair, value, decimals):
    unit, to_unit = pair
    typed = round(value, decimals)
    canonical = to_canonical(typed, to_unit, unit)
    assert to_canonical(float(number_text_in(canonical, unit, to_unit)), to_unit, unit) == canonical


@settings(max_examples=400, deadline=None)
@given(UNITS, st.floats(1e-9, 1e6))
def test_any_number_comes_back_but_for_the_last_digits(pair, canonical):
    unit, to_unit = pair
    text = number_text_in(canonical, unit, to_unit)
    again = to_canonical(float(text), to_unit, unit)
    size = max(abs(canonical), 40.0 if unit == "f" else 0.0)  # the zeros of the two scales differ
    assert abs(again - canonical) <= 4 * np.spacing(size)


def test_prices_per_another_unit():
    assert price_text(0.038, 2000.0) == "76"
    assert float(price_text(1 / 3, 2000.0)) / 2000.0 == pytest.approx(1 / 3, rel=1e-15)
