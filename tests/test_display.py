"""Units of display: exact factors, quotients, words, and the switch."""

import pandas as pd
import pytest

from trialkit import display


def test_us_units_are_shown_as_they_are():
    assert display.unit("in/1000 mi") == "in/1000 mi"
    assert display.value(3.0, "in") == 3.0
    assert display.word("miles") == "miles"


# NIST Special Publication 811 (2008), appendix B.8: 1 in = 25.4 mm, 1 mi = 1.609344 km, 1 lb = 0.45359237 kg, 1 short ton =
# 907.18474 kg, 1 gal (US) = 3.785412 L; tolerance: the printed digits
@pytest.mark.parametrize(
    ("name", "shown", "factor"),
    [
        ("in", "mm", 25.4),
        ("mi", "km", 1.609344),
        ("ft", "m", 0.3048),
        ("lb", "kg", 0.45359237),
        ("short ton", "metric ton", 0.90718474),
        ("gal", "L", 3.785412),
        ("in/1000 mi", "mm/1000 km", 25.4 / 1.609344),
        ("lb/lane-mi", "kg/lane-km", 0.45359237 / 1.609344),
        ("$/mi", "$/km", 1 / 1.609344),
        ("per 1000 mi", "per 1000 km", 1 / 1.609344),
        ("dBA", "dBA", 1.0),
    ],
)
def test_metric_units(name, shown, factor):
    with display.showing("metric"):
        assert display.unit(name) == shown
        assert display.value(1.0, name) == pytest.approx(factor, rel=2e-7)
        assert display.value(pd.Series([2.0]), name)[0] == pytest.approx(2 * factor, rel=2e-7)


def test_temperatures_have_an_offset():
    with display.showing("metric"):
        assert (display.unit("°F"), display.value(212.0, "°F")) == ("°C", 100.0)


def test_words_and_the_way_back():
    with display.showing("metric"):
        assert [display.word(w) for w in ("miles", "lane-mile", "storms")] == [
            "kilometers",
            "lane-kilometer",
            "storms",
        ]
    assert display.word("miles") == "miles"


def test_fixed_texts_and_decimals():
    said = "Mileages, inches and foot-pounds of 1,000 blade-down miles; smiles stay."
    assert display.words(said) == said
    assert display.decimals(2, "in") == 2
    with display.showing("metric"):
        assert display.words(said) == (
            "Distances, millimeters and meter-kilograms of 1,000 blade-down kilometers; smiles stay."
        )
        assert display.words("Miles") == "Kilometers"
        assert [display.decimals(2, "in"), display.decimals(0, "mi"), display.decimals(1, "dBA")] == [1, 0, 1]


def test_the_switch_holds_in_every_thread():
    from concurrent.futures import ThreadPoolExecutor

    with display.showing("metric"), ThreadPoolExecutor(1) as pool:
        assert pool.submit(display.unit, "in").result() == "mm"


def test_the_dollar_sign_is_for_dollars_only():
    assert display.unit("$/mi") == "$/mi"
    with display.showing("us", "CAD"):
        assert [display.currency(), display.unit("$"), display.unit("$/mi"), display.value(2.0, "$/mi")] == [
            "CAD", "CAD", "CAD/mi", 2.0,
        ]  # fmt: skip
    assert display.currency() == "USD"


def test_another_system_is_refused():
    with pytest.raises(ValueError, match='"imperial" is not a system of units; allowed: us, metric'):
        display.use("imperial")
