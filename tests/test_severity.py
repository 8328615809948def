"""How hard storms were, and what that has to do with material."""

import math

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.clearing import severity
from trialkit.errors import NotEnoughDataError

START = pd.Timestamp("2031-01-10T00:00")


def storms(*rows):
    usual = {
        c.START: START, c.END: START + pd.Timedelta(hours=12), c.SNOW_IN: 4.0, c.PRECIP: "snow", c.PAVEMENT_TEMP_F: 28.0,
        c.WIND_MPH: 5.0,
    }  # fmt: skip
    return pd.DataFrame([{c.STORM_ID: f"W{n}", **usual, **row} for n, row in enumerate(rows, 1)])


def index_of(**row):
    return severity.rate_storms(storms(row)).table[severity.INDEX].iloc[0]


def by_hand(storm_type, road, wind):
    # Nixon and Qiu (2005), from memory: sqrt((type x road x wind - 0.0005) / 1.6995)
    return math.sqrt((storm_type * road * wind - 0.0005) / 1.6995)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({}, by_hand(0.52, 0.4, 1.0)),
        ({c.SNOW_IN: 1.9}, by_hand(0.35, 0.4, 1.0)),
        ({c.SNOW_IN: 2.0}, by_hand(0.52, 0.4, 1.0)),
        ({c.SNOW_IN: 6.0}, by_hand(0.52, 0.4, 1.0)),
        ({c.SNOW_IN: 6.1}, by_hand(1.0, 0.4, 1.0)),
        ({c.PAVEMENT_TEMP_F: 32.0}, by_hand(0.52, 0.4, 1.0)),
        ({c.PAVEMENT_TEMP_F: 32.5}, by_hand(0.52, 0.25, 1.0)),
        ({c.PAVEMENT_TEMP_F: 24.9}, by_hand(0.52, 1.0, 1.0)),
        ({c.WIND_MPH: 15.1}, by_hand(0.52, 0.4, 1.2)),
        ({c.PRECIP: "freezing_rain", c.SNOW_IN: math.nan}, by_hand(0.72, 0.4, 1.0)),
        ({c.PRECIP: "sleet", c.SNOW_IN: 1.0}, by_hand(0.35, 0.4, 1.0)),
    ],
)
def test_index_of_a_storm(row, expected):
    assert index_of(**row) == pytest.approx(expected)


def test_a_long_storm_is_rated_by_its_depth_in_24_hours():
    long = {c.SNOW_IN: 8.0, c.END: START + pd.Timedelta(hours=48)}
    assert index_of(**long) == pytest.approx(by_hand(0.52, 0.4, 1.0))


def test_a_storm_without_weather_has_no_index_and_is_said_to_count_all_the_same():
    rated = severity.rate_storms(
        storms({}, {c.PAVEMENT_TEMP_F: math.nan}, {c.SNOW_IN: math.nan, c.PRECIP: None})
    )
    assert rated.table[severity.INDEX].isna().tolist() == [False, True, True]
    assert "2 storms have no severity index" in rated.notes[0]
    assert "the comparison within storms counts them all the same" in rated.notes[0]
    assert "1 storm of 3 lies between 0.35 and 0.35" in rated.sentence()


def test_missing_wind_is_taken_as_calm_and_said():
    rated = severity.rate_storms(storms({c.WIND_MPH: math.nan}))
    assert rated.table[severity.INDEX].iloc[0] == pytest.approx(by_hand(0.52, 0.4, 1.0))
    assert rated.notes == ("1 storm without a recorded wind was taken as calm.",)


def test_no_weather_at_all():
    rated = severity.rate_storms(storms({c.SNOW_IN: math.nan, c.PRECIP: None}))
    assert rated.sentence() == "No storm has the weather from which its severity follows."
    assert math.isnan(rated.mean)


def test_snowfall_below_a_tenth_gives_no_points():
    assert severity.snowfall_points(0.04) == 0


# ---------------------------------------------------------------- what a harder storm takes
def test_slope_of_an_exact_relation_and_the_factor_to_a_typical_season():
    index = pd.Series({"W1": 0.2, "W2": 0.3, "W3": 0.5, "W4": 0.8})
    ids = pd.Series(["W1", "W1", "W2", "W3", "W4", "W5"])
    rates = 100 * np.exp(1.5 * ids.map(index)).fillna(1.0)
    found = severity.fit_slope(rates, ids, index)
    assert (found.slope, found.n_storms) == (pytest.approx(1.5), 4)
    assert found.factor(found.trial_mean) == 1.0
    assert found.factor(found.trial_mean + 0.1) == pytest.approx(math.exp(0.15))
    assert found.sentence().startswith(
        "A storm that is 0.1 harder on the index took 16% more material per lane-mile (95% interval 16% more"
    )


def test_slope_counts_each_storm_once():
    # by hand: sum of products 0.18 over sum of squares 0.2
    index = pd.Series({"W1": 0.2, "W2": 0.4, "W3": 0.6, "W4": 0.8})
    ids = pd.Series(["W1"] * 30 + ["W2", "W3", "W4"])
    logs = pd.Series([1.0] * 30 + [1.1, 1.4, 1.5])
    assert severity.fit_slope(np.exp(logs), ids, index).slope == pytest.approx(0.9)


def test_too_few_storms_for_a_slope():
    with pytest.raises(NotEnoughDataError, match="2 storms with both a severity and a rate"):
        severity.fit_slope(pd.Series([1.0, 2.0]), pd.Series(["W1", "W2"]), pd.Series({"W1": 0.1, "W2": 0.2}))


def test_severity_by_type_shows_who_had_the_harder_storms():
    shifts = pd.DataFrame({c.EDGE_TYPE: ["a", "a", "b", None], c.STORM_ID: ["W1", "W2", "W2", "W1"]})
    found = severity.severity_by_type(shifts, pd.Series({"W1": 0.2, "W2": 0.6}))
    assert found[severity.INDEX].tolist() == pytest.approx([0.4, 0.6])
    assert found[c.N_SHIFTS].tolist() == [2, 1]
