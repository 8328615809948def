"""From a frame to a printed table: headings, units, rounding, missing values."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from trialkit.report import cells, figures

nan, inf = float("nan"), float("inf")


def printed(frame, **options):
    """Titles and rows as they are printed."""
    columns, _, texts, _ = cells.lay_out(frame, **options)
    shown = [place for place, column in enumerate(columns) if column.shown]
    return [columns[place].title for place in shown], [[row[place] for place in shown] for row in texts]


def raw(frame):
    columns, rows, _, _ = cells.lay_out(frame)
    return [column.name for column in columns if column.kept], rows


def rates(**changes):
    frame = pd.DataFrame(
        {
            "edge_type": ["plain", "carbide"],
            "plow_position": ["front", "wing_left"],
            "estimate": [1.52345, 0.15321],
            "std_error": [0.1, 0.01],
            "conf_low": [1.2, 0.12],
            "conf_high": [1.84, 0.19],
            "unit": "in/1000 mi",
            "n_trucks": [4, 3],
            "method": "mean of truck slopes, t interval",
        }
    )
    return frame.assign(**changes)


def test_rates_are_printed_to_what_the_interval_supports():
    titles, rows = printed(rates(), labels={"plain": "Plain steel"}, confidence_level=0.95)
    assert titles == [
        "Edge type",
        "Plow position",
        "Estimate [in/1000 mi]",
        "Standard error [in/1000 mi]",
        "95% interval [in/1000 mi]",
        "Trucks",
    ]
    assert rows == [
        ["Plain steel", "front", "1.52", "0.10", "1.20 to 1.84", "4"],
        ["carbide", "left wing", "0.153", "0.010", "0.120 to 0.190", "3"],
    ]


def test_a_range_has_two_digits_at_each_end():
    _, rows = printed(rates(unit="mi", pred_low=[313.2, 712.0], pred_high=[225_680.0, inf]))
    assert [row[-1] for row in rows] == ["310 to 230,000", "at least 710"]


def test_what_every_row_says_is_said_once():
    columns, _, _, notes = cells.lay_out(rates())
    assert notes == ["Method: mean of truck slopes, t interval."]
    assert {column.name for column in columns if not column.shown} == {
        "conf_low",
        "conf_high",
        "unit",
        "method",
    }


def test_what_differs_stays_a_column():
    titles, rows = printed(rates(unit=["in/1000 mi", "mm"], method=["a", "b"]))
    assert titles[-2:] == ["Trucks", "Method"]
    assert "Unit" in titles
    assert [row[-1] for row in rows] == ["a", "b"]


def test_raw_values_keep_their_names_and_digits():
    names, rows = raw(rates())
    assert names == list(rates().columns)
    assert rows[0][:3] == ["plain", "front", 1.52345]


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (1.0, 2.0, "1.00 to 2.00"),
        (1.0, inf, "at least 1.00"),
        (1.0, nan, "at least 1.00"),
        (-inf, 2.0, "at most 2.00"),
        (nan, nan, "no interval"),
        (-inf, inf, "no interval"),
        (0.0, nan, "any value"),
    ],
)
def test_interval_in_one_cell(low, high, said):
    assert cells.interval_text(low, high, 2) == said


def test_interval_column_without_an_estimate():
    frame = pd.DataFrame({"edge_type": ["a"], "conf_low": [1.234], "conf_high": [2.345]})
    assert printed(frame) == (["Edge type", "Interval"], [["a", "1.23 to 2.35"]])


def test_a_ratio_in_a_table_has_the_digits_of_sentences_and_figures():
    frame = pd.DataFrame(
        {"edge_type": ["a", "b", "c"], "reference": "plain", "estimate": [11.42, 4.0, nan], "conf_low": [6.83, 2.04, nan],
         "conf_high": [16.81, inf, nan]}
    )  # fmt: skip
    _, rows = printed(frame)
    assert [row[-2:] for row in rows] == [["11", "6.8 to 17"], ["4.0", "at least 2.0"], ["–", "–"]]
    assert figures.ratio_words(11.42, 6.83, 16.81) == "11 (6.8 to 17) times"
    _, rows = printed(frame.assign(unit="dB"))
    assert rows[0][-1] == "6.8 to 16.8"


def test_lives_in_a_table_have_the_digits_of_sentences_and_figures():
    frame = rates(
        unit="mi", estimate=[1962.4, 21000.0], conf_low=[nan, 18123.0], conf_high=[nan, inf], std_error=nan
    )
    _, rows = printed(frame)
    assert [(row[2], row[4]) for row in rows] == [("1,960", "no interval"), ("21,000", "at least 18,100")]


def test_range_for_a_next_set_is_its_own_column():
    titles, rows = printed(rates(pred_low=[0.9, 0.1], pred_high=[2.1, 0.21]))
    assert titles[-1] == "Range for the next set [in/1000 mi]"
    assert [row[-1] for row in rows] == ["0.90 to 2.1", "0.10 to 0.21"]


@pytest.mark.parametrize(
    ("name", "heading", "unit"),
    [
        ("n_trucks", "Trucks", ""),
        ("height_in", "Height", "in"),
        ("unit_price_usd", "Price of a set", "$"),
        ("air_temp_f", "Air temperature", "°F"),
        ("annual_cost_usd", "Annual cost", "$"),
        ("something_else", "Something else", ""),
        ("what", "What", ""),
    ],
)
def test_heading_and_unit_of_a_column(name, heading, unit):
    said, printed_unit = cells.heading_and_unit(name)
    assert (said, printed_unit) == (heading, unit)


def test_headings_can_be_given():
    assert printed(pd.DataFrame({"a": ["x"]}), headings={"a": "Answer"})[0] == ["Answer"]


def test_hidden_columns_are_kept():
    frame = pd.DataFrame({"a": ["x"], "b": [1.0]})
    columns, rows, _, _ = cells.lay_out(frame, hide=["b"])
    assert [column.shown for column in columns] == [True, False]
    assert rows == [["x", 1.0]]


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        ([1204, 3], ["1,204", "3"]),
        ([3.0, nan], ["3", "–"]),
        ([0.5, 0.25, 2.0], ["0.500", "0.250", "2.000"]),
        ([1234.5, 10.25], ["1,234", "10"]),
        ([0.0, 0.0], ["0", "0"]),
        ([nan, inf], ["–", "–"]),
        ([True, False], ["yes", "no"]),
        (["a", None], ["a", "–"]),
        ([], []),
        ([pd.Timestamp("2031-01-14"), pd.NaT], ["Jan\u00a014,\u00a02031", "–"]),
        ([pd.Timestamp("2031-01-14T05:30")], ["Jan\u00a014,\u00a02031, 05:30"]),
        ([dt.date(2031, 1, 14)], ["Jan\u00a014,\u00a02031"]),
        ([1.5, "x"], ["1.50", "x"]),
    ],
)
def test_cells_in_words(values, texts):
    assert [row[0] for row in printed(pd.DataFrame({"value": values}))[1]] == texts


def test_rows_and_stations_have_no_thousands_mark():
    assert printed(pd.DataFrame({"row": [12345], "station": [1]}))[1] == [["12345", "1"]]


def test_money_has_two_decimals_where_there_are_cents():
    assert printed(pd.DataFrame({"cost_usd": [12.5, 1000.0]}))[1] == [["12.50"], ["1,000.00"]]
    assert printed(pd.DataFrame({"cost_usd": [12.0, 1000.0]}))[1] == [["12"], ["1,000"]]


def test_choices_lose_their_underscores_but_names_do_not():
    frame = pd.DataFrame({"plow_position": ["wing_left"], "truck_id": ["T_1"], "verdict": ["not_shown"]})
    assert printed(frame)[1] == [["left wing", "T_1", "not shown"]]


def test_numbers_stand_at_the_end_and_words_at_the_start():
    columns, *_ = cells.lay_out(pd.DataFrame({"a": ["x"], "b": [1], "flag": [True]}))
    assert [column.align for column in columns] == ["start", "end", "start"]


@pytest.mark.parametrize(
    ("value", "kept"),
    [
        (1 / 3, 0.3333333333),
        (np.float64(2.0), 2.0),
        (np.int64(7), 7),
        (np.bool_(True), True),
        (-0.0, 0.0),
        (nan, None),
        (inf, None),
        (None, None),
        (pd.NA, None),
        (pd.NaT, None),
        (pd.Timestamp("2031-01-14"), "2031-01-14T00:00:00"),
        (dt.date(2031, 1, 14), "2031-01-14"),
        ("<b>", "<b>"),
    ],
)
def test_raw_value(value, kept):
    found = cells.raw_value(value)
    assert found == kept
    assert type(found) is type(kept)
    assert not (isinstance(found, float) and math.copysign(1, found) < 0 and found == 0)


def test_categories_and_their_missing_cells():
    values = pd.Categorical(["b", None], categories=["a", "b"])
    assert printed(pd.DataFrame({"edge_type": values}))[1] == [["b"], ["–"]]
