"""Conversions are exact, go both ways, and fractions mean what a rule shows."""

import numpy as np
import pytest
from scipy import constants

from trialkit import tables, units

# scipy.constants (scipy 1.15 or later): inch, mile, foot, pound, short_ton, gallon_US, mph and kmh in SI units,
# and convert_temperature; "t" is 1000 kg by definition (SI Brochure, 9th edition, 2019, Table 8).
OTHER_SOFTWARE = {
    ("mm", "in"): constants.milli / constants.inch,
    ("km", "mi"): constants.kilo / constants.mile,
    ("m", "ft"): 1.0 / constants.foot,
    ("kg", "lb"): 1.0 / constants.pound,
    ("ton", "lb"): constants.short_ton / constants.pound,
    ("t", "lb"): 1000.0 / constants.pound,
    ("l", "gal"): constants.liter / constants.gallon_US,
    ("kmh", "mph"): constants.kmh / constants.mph,
}


@pytest.mark.parametrize(("pair", "factor"), OTHER_SOFTWARE.items(), ids=lambda item: str(item))
def test_factors_agree_with_other_software(pair, factor):
    assert units.to_canonical(1.0, *pair) == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "from_unit", "unit", "printed"),
    [
        # M. Bishop, Conversion Factors, Tables A.2 to A.3 (mpcfaculty.net, read 2026): 1 km = 0.62137119 mi,
        # 1 m = 3.2808399 ft, 1 kg = 2.2046226 lb, 1 metric ton = 1.1023113 short tons; 25.4 mm = 1 in exactly
        (1.0, "km", "mi", 0.62137119),
        (1.0, "m", "ft", 3.2808399),
        (1.0, "kg", "lb", 2.2046226),
        (1.0, "t", "lb", 1.1023113 * 2000),
        (25.4, "mm", "in", 1.0),
    ],
)
def test_factors_agree_with_printed_tables(value, from_unit, unit, printed):
    assert units.to_canonical(value, from_unit, unit) == pytest.approx(printed, rel=5e-8)


@pytest.mark.parametrize("celsius", [-40.0, -17.5, 0.0, 3.3, 100.0])
def test_temperatures_agree_with_other_software(celsius):
    # scipy.constants.convert_temperature(celsius, "C", "F")
    expected = constants.convert_temperature(celsius, "C", "F")
    assert units.to_canonical(celsius, "c", "f") == pytest.approx(expected, abs=1e-9)


def test_minus_forty_is_the_same_on_both_scales():
    assert units.to_canonical(-40.0, "c", "f") == pytest.approx(-40.0, abs=1e-12)
    assert units.from_canonical(-40.0, "f", "c") == pytest.approx(-40.0, abs=1e-12)


@pytest.mark.parametrize("unit", ["in", "mi", "ft", "f", "lb", "gal", "mph"])
def test_there_and_back(unit):
    values = np.array([-3.0, 0.0, 5.375, 136.5, np.nan])
    for other in units.alternatives(unit):
        back = units.from_canonical(units.to_canonical(values, other, unit), unit, other)
        np.testing.assert_allclose(back, values, rtol=1e-13, atol=1e-12)


def test_the_canonical_unit_is_left_alone():
    values = np.array([1.0, 2.0])
    assert units.to_canonical(values, "in", "in") is values
    assert units.from_canonical(values, "in", "in") is values
    assert units.to_canonical(3.0, "", "") == 3.0


def test_units_without_a_conversion_are_refused():
    assert units.alternatives("dba") == ()
    with pytest.raises(KeyError):
        units.to_canonical(1.0, "km", "in")


def test_every_unit_of_a_column_can_be_printed():
    for table in tables.TABLES.values():
        for column in table.columns:
            for unit in (column.unit, *units.alternatives(column.unit)):
                assert unit == "" or unit in units.UNIT_NAMES, f"{table.name}.{column.name}: {unit}"


@pytest.mark.parametrize(
    "text",
    [
        "5 3/8",
        "5-3/8",
        "5 6/16",
        "43/8",
        "5 - 3/8",
        " 5  3/8 ",
        "5 3\u20448",
        "5 3\u22158",
        "5\u215c",
        "5 \u215c",
        "5\u20133/8",
    ],
)
def test_ways_to_write_five_and_three_eighths(text):
    assert units.fraction_value(text) == 5.375


@pytest.mark.parametrize(
    ("text", "value"), [("3/8", 0.375), ("½", 0.5), ("0 1/64", 1 / 64), ("12 7/10", 12.7), ("5 0/8", 5.0)]
)
def test_other_fractions(text, value):
    assert units.fraction_value(text) == pytest.approx(value, abs=1e-15)


@pytest.mark.parametrize(
    "text",
    ["", "5", "5.375", "5 3/0", "5 11/8", "1/14", "5/3", "5 1/3", "⅓", "-5 3/8", "5½½", "3/8/2031", "a/b", "５ ３/８",
     "5 3/8 in", "1/" + "8" * 5000, "8" * 5000 + "/8"],
)  # fmt: skip
def test_what_is_no_fraction_of_a_rule(text):
    assert units.fraction_value(text) is None
