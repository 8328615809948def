"""How a finding is worded: numbers and bounds in the unit of the file, rows that are counted, likely units."""

import pandas as pd
import pytest

from trialkit.tables import EDGE_TYPES, STORMS, WEAR_READINGS
from trialkit.trial import findings


def source(units=None, **columns):
    frame = pd.DataFrame(columns, index=pd.RangeIndex(2, 2 + len(next(iter(columns.values()))), name="row"))
    return findings.Source(WEAR_READINGS, frame, "wear_readings.csv", {"height_in": "height_mm"}, units or {})


def test_numbers_and_spans_are_in_the_unit_of_the_file():
    metric = source({"height_in": "mm"}, height_in=[136.5 / 25.4])
    assert metric.header("height_in") == "height_mm"
    assert metric.header("station") == "station"
    assert metric.number("height_in", 136.5 / 25.4) == "136.5"
    assert metric.written("height_in", 0) == "136.5"
    assert metric.span("height_in", 0, 24) == "from 0 to 609.6 mm"
    assert metric.span("height_in", 0, None, low_excluded=True) == "above 0 mm"
    assert metric.span("height_in", 1, None) == "25.4 mm or more"
    assert metric.span("height_in", None, 1) == "up to 25.4 mm"
    assert metric.span("height_in", 0, 1, low_excluded=True) == "above 0 to 25.4 mm"
    assert metric.span("station", 1, 60) == "from 1 to 60"


def test_cell_is_shown_as_typed():
    typed = findings.Source(
        WEAR_READINGS,
        pd.DataFrame({"height_in": [5.375]}, index=[2]),
        "f.csv",
        {},
        {},
        typed=lambda row, name: f"{row} {name} 5 3/8",
    )
    assert typed.written("height_in", 0) == "2 height_in 5 3/8"


def test_impossible_numbers_are_left_blank():
    values = source(height_in=[-1.0, 0.0, 24.0, 25.0, None]).possible("height_in")
    assert pd.isna(values).tolist() == [True, False, False, True, True]
    types = findings.Source(EDGE_TYPES, pd.DataFrame({"new_height_in": [0.0, 5.0]}), "f.csv", {}, {})
    assert pd.isna(types.possible("new_height_in")).tolist() == [True, False]
    storms = findings.Source(STORMS, pd.DataFrame({"air_temp_f": [-50.0, 500.0]}), "f.csv", {}, {})
    assert pd.isna(storms.possible("air_temp_f")).tolist() == [False, True]


def test_problem_carries_row_header_and_key():
    found = source(height_in=[1.0, 2.0])
    problem = found.problem("out-of-range", 1, "height_in", "2", "1", "Mend it.")
    assert (problem.file, problem.row, problem.column, problem.key) == (
        "wear_readings.csv",
        3,
        "height_mm",
        "",
    )
    assert found.problem("out-of-range", 1, key="S1").key == "S1"


def test_rows_beyond_a_thousand_are_counted():
    found = source(height_in=[0.0] * 1500)
    told = found.listed(
        "out-of-range",
        "height_in",
        range(1500),
        lambda k: found.problem("out-of-range", k, "height_in", fix="Mend it."),
    )
    assert len(told) == 1001
    assert told[-1].found == "500 more rows like the 1,000 listed"
    assert told[-1].fix == "Mend it."
    assert found.listed("out-of-range", "height_in", [], lambda k: None) == []


@pytest.mark.parametrize(
    ("value", "expected"),
    [(5.374015748031496 * 25.4, "136.5"), (2_000_000.0, "2000000"), (-0.25, "-0.25"), (1e300, "1e+300")],
)
def test_number_text(value, expected):
    assert findings.number_text(value) == expected


def test_day_text_shows_a_time_only_where_there_is_one():
    assert findings.day_text(pd.Timestamp("2031-01-14")) == "2031-01-14"
    assert findings.day_text(pd.Timestamp("2031-01-14T05:30")) == "2031-01-14T05:30"


@pytest.mark.parametrize(
    ("unit", "value", "expected"),
    [
        ("in", 136.5, ("mm", "height_mm")),
        ("mm", 5.4, ("in", "height_in")),
        ("in", 700.0, None),
        ("in", -1.0, None),
    ],
)
def test_unit_that_would_make_a_height_likely(unit, value, expected):
    assert findings.other_unit(WEAR_READINGS.column("height_in"), unit, value, 0, 24) == expected
