"""Frames in the units that people read: every column by the unit of its name, of the dictionary or of its row."""

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.report import cells, displayed

# exact by definition, NIST Special Publication 811 (2008), appendix B.8
INCH_MM, MILE_KM, POUND_KG = 25.4, 1.609344, 0.45359237


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("miles_mi", "mi"),
        ("height_in", "in"),
        ("snow_in", "in"),
        ("pavement_temp_f", "°F"),
        ("speed_mph", "mph"),
        ("plow_width_ft", "ft"),
        ("use_per_1000_mi", "per 1000 mi"),
        ("cost_per_mi", "per mi"),
        ("rate_lb_per_lane_mi", "lb/lane-mi"),
        ("labour_h_per_set", ""),
        ("depth_pct", "%/1000 mi"),
        ("dose_pct", "%"),
        ("estimate", ""),
        ("df", ""),
    ],
)
def test_unit_of_a_column(name, unit):
    assert displayed.column_unit(name) == unit


def test_us_units_leave_the_frame_as_it_is():
    frame = pd.DataFrame({"miles_mi": [1.0]})
    assert displayed.displayed(frame) is frame
    assert displayed.displayed_name("miles_mi") == "miles_mi"


def test_a_frame_in_metric_units():
    frame = pd.DataFrame(
        {
            "edge_type": ["a", "b", "b"], "miles_mi": [1000, 2000, None], "height_in": [2.0, 1.0, 0.5], "n_trucks": [3, 4, 5],
            "estimate": [1.0, 100.0, 2.0], "unit": ["in/1000 mi", "mi", None], "depth_pct": [10.0, 20.0, 30.0],
            "level_dba": [80.0, 81.0, 82.0], "reached": [True, False, True],
        },
        index=[7, 7, 8],
    )  # fmt: skip
    with display.showing("metric"):
        found = displayed.displayed(frame)
    assert found["miles_mi"].tolist()[:2] == pytest.approx([1000 * MILE_KM, 2000 * MILE_KM])
    assert found["height_in"].tolist() == pytest.approx([2 * INCH_MM, INCH_MM, INCH_MM / 2])
    assert found["estimate"].tolist() == pytest.approx([INCH_MM / MILE_KM, 100 * MILE_KM, 2.0])
    assert found["unit"].tolist() == ["mm/1000 km", "km", ""]
    assert found["depth_pct"].tolist() == pytest.approx([10 / MILE_KM, 20 / MILE_KM, 30 / MILE_KM])
    untouched = ["edge_type", "n_trucks", "level_dba", "reached"]
    pd.testing.assert_frame_equal(found[untouched], frame[untouched])
    assert frame["miles_mi"].iloc[0] == 1000


def test_names_of_columns_that_are_shown_in_other_units():
    names = [
        "miles_mi",
        "left_in",
        "air_temp_f",
        "rate_lb_per_lane_mi",
        "use_per_1000_mi",
        "df",
        "level_dba",
        "std_error",
    ]
    with display.showing("metric"):
        assert [displayed.displayed_name(name) for name in names] == [
            "miles_km", "left_mm", "air_temp_c", "rate_kg_per_lane_km", "use_per_1000_km", "df", "level_dba", "std_error",
        ]  # fmt: skip


def laid_out(frame, **options):
    columns, rows, texts, _ = cells.lay_out(frame, **options)
    return {column.name: (column.title, rows[0][at], texts[0][at]) for at, column in enumerate(columns)}


def test_a_table_in_metric_units_says_so_in_its_headings():
    frame = pd.DataFrame(
        {
            "miles_mi": [1234.5], "height_in": [2.125], "residual_in": [0.01], "longest_mi": [10.0],
            "Mile saver": [1.0], "estimate": [0.5], "conf_low": [0.4], "conf_high": [0.6], "unit": ["in/1000 mi"],
        }
    )  # fmt: skip
    headings = {"longest_mi": "Most miles of a set", "Mile saver": "Mile saver"}
    with display.showing("metric"):
        found = laid_out(frame, headings=headings, confidence_level=0.95)
    assert found["miles_km"] == ("Blade-down kilometers", pytest.approx(1234.5 * MILE_KM), "1,987")
    assert found["height_mm"] == ("Height [mm]", pytest.approx(53.975), "54.0")
    assert found["residual_mm"][0] == "Off its line, mm"
    assert found["longest_km"][0] == "Most kilometers of a set [km]"
    assert found["Mile saver"][0] == "Mile saver"
    assert found["estimate"] == ("Estimate [mm/1000 km]", pytest.approx(0.5 * INCH_MM / MILE_KM), "7.9")
    assert found["conf_low_to_conf_high"][::2] == ("95% interval [mm/1000 km]", "6.3 to 9.5")
    assert laid_out(frame, headings=headings)["residual_in"][0] == "Off its line, in"


@pytest.mark.parametrize(("currency", "unit"), [("USD", "$"), ("CAD", "CAD")])
def test_amounts_stand_under_the_currency_of_the_trial(currency, unit):
    frame = pd.DataFrame({"unit_price_usd": [400.0], c.MILES_MI: [10.0]})
    with display.showing("us", currency):
        found = laid_out(frame)
    assert found["unit_price_usd"] == (f"Price of a set [{unit}]", 400.0, "400")
