"""Uneven wear across the blade: range, tilt and bow by hand, and how often the intervals hold a known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from known_truth import OTHER, Fleet
from scipy.stats import t as student
from test_life import straight

from trialkit import columns as c
from trialkit.edges import unevenness as un
from trialkit.edges.unevenness import measure_unevenness
from trialkit.edges.wear import fit_wear_rates


def measured(frame, **keywords):
    return measure_unevenness(fit_wear_rates(frame, **keywords), frame)


def shape(result, term, kind="plain_steel"):
    rows = result.shapes
    return rows[(rows[c.TERM] == term) & (rows[c.EDGE_TYPE] == kind)].iloc[0]


# three trucks with three stations: ranges 0.4, 0.5, 0.3; right less left 0.4, 0.5, 0.3; ends less middle 0
LEANING = straight([[[1.0, 1.2, 1.4]], [[1.1, 1.35, 1.6]], [[1.2, 1.35, 1.5]]])


def test_range_grows_by_the_largest_less_the_smallest_slope():
    row = measured(LEANING).table.iloc[0]
    # by hand: mean of 0.4, 0.5, 0.3; t with 2 df on a standard deviation of 0.1
    assert row[c.ESTIMATE] == pytest.approx(0.4)
    half = student.ppf(0.975, 2) * 0.1 / math.sqrt(3)
    assert row[c.CONF_LOW] == pytest.approx(0.4 - half)
    assert row[c.CONF_HIGH] == pytest.approx(0.4 + half)
    # by hand: mean slopes 1.2, 1.35, 1.35
    assert row[un.RANGE_PCT] == pytest.approx(100 * 0.4 / 1.3)
    assert (row[c.UNIT], row[c.N_TRUCKS], row[c.N_SETS]) == ("in/1000 mi", 3, 3)


def test_tilt_is_right_less_left_and_bow_ends_less_middle():
    result = measured(LEANING)
    tilt, bow = shape(result, un.TILT), shape(result, un.BOW)
    # by hand
    assert (tilt[c.ESTIMATE], bow[c.ESTIMATE]) == (pytest.approx(0.4), pytest.approx(0.0, abs=1e-9))
    bowed = measured(straight([[[1.4, 1.0, 1.0, 1.0, 1.4]], [[1.5, 1.1, 1.1, 1.1, 1.5]]]))
    # other software: numpy 2.4.6, np.polyfit([-1, -0.5, 0, 0.5, 1], [1.4, 1, 1, 1, 1.4], 2), first coefficient 0.457143
    assert shape(bowed, un.BOW)[c.ESTIMATE] == pytest.approx(0.457143, abs=5e-7)
    assert shape(bowed, un.TILT)[c.ESTIMATE] == pytest.approx(0.0, abs=1e-9)


def test_tilt_of_a_line_through_several_stations():
    result = measured(straight([[[1.0, 1.3, 1.2, 1.6]], [[1.0, 1.3, 1.2, 1.6]]]))
    # other software: numpy 2.4.6, 2 * np.polyfit([-1, -1/3, 1/3, 1], [1, 1.3, 1.2, 1.6], 1)[0] = 0.51
    assert shape(result, un.TILT)[c.ESTIMATE] == pytest.approx(0.51)


def test_a_station_that_was_not_read_leaves_the_others_in_their_place():
    frame = straight([[[1.0, 1.1, 1.2, 1.3, 1.4], [1.0, 1.1, 1.2, 1.3, 1.4]]])
    second = frame[c.SET_ID].str.endswith("-1")
    result = measured(frame[~(second & (frame[c.STATION] == 1))])
    # by hand: right end less left end 0.4 along the same line, whether the left end was read or not
    assert shape(result, un.TILT)[c.ESTIMATE] == pytest.approx(0.4)


def test_the_truck_is_the_unit():
    one = measured(straight([[[1.0, 1.4], [1.0, 1.2]], [[1.0, 1.5], [1.0, 1.5]]]))
    # by hand: trucks 0.3 and 0.5
    assert one.trucks[un.RANGE].tolist() == pytest.approx([0.3, 0.5])
    assert one.table.iloc[0][c.ESTIMATE] == pytest.approx(0.4)
    assert one.table.iloc[0][c.N_SETS] == 4


def test_two_stations_have_no_bow_and_one_station_nothing():
    two = measured(straight([[[1.0, 1.2]], [[1.1, 1.2]]]))
    assert set(two.shapes[c.TERM]) == {un.TILT}
    none = measured(straight([[[1.0]], [[1.1]]]))
    assert none.table.empty and none.shapes.empty and none.trucks.empty
    assert none.sentence() == "No set was read at two stations, so evenness was not studied."
    assert none.notes == ("2 sets read at a single station, which says nothing about evenness.",)


def test_words_name_the_end_that_wears_faster():
    said = measured(LEANING, labels={"plain_steel": "plain steel"}).sentence()
    assert (
        "plain steel grow 0.40 in apart in 1,000 miles (31% of its mean wear; 95% interval 0.15 to 0.65"
        in said
    )
    assert (
        "The right end wears faster than the left end, by 0.40 in per 1,000 miles (31% of the mean wear)."
        in said
    )
    assert (
        "Most lopsided is truck T2: its right end wears 0.50 in per 1,000 miles faster than its left end (37%"
        in said
    )
    mirrored = LEANING.assign(**{c.STATION: 4 - LEANING[c.STATION]})
    assert "The left end wears faster than the right end" in measured(mirrored).sentence()


def test_words_name_the_ends_or_the_middle():
    ends = measured(straight([[[1.4, 1.0, 1.4]], [[1.5, 1.1, 1.51]], [[1.6, 1.2, 1.6]]])).sentence()
    assert "The ends wear faster than the middle, by 0.40 in" in ends
    middle = measured(straight([[[1.0, 1.4, 1.0]], [[1.1, 1.5, 1.11]], [[1.2, 1.6, 1.2]]])).sentence()
    assert "The middle wears faster than the ends, by 0.40 in" in middle


def test_nothing_is_shown_where_trucks_disagree():
    said = measured(
        straight([[[1.0, 1.2, 1.4]], [[1.4, 1.2, 1.0]], [[1.0, 1.2, 1.4]], [[1.4, 1.2, 1.0]]])
    ).sentence()
    assert "Neither end is shown to wear faster than the other, nor the ends faster than the middle." in said
    # every truck is lopsided all the same
    assert "Most lopsided is truck T" in said


def test_one_truck_has_no_interval():
    result = measured(straight([[[1.0, 1.2, 1.4]]]))
    assert math.isnan(result.table.iloc[0][c.CONF_HIGH])
    assert "(33% of its mean wear; 1 truck; no interval)" in result.sentence()
    assert result.notes == ("Plain steel on the front plow: one truck, so its unevenness has no interval.",)


def test_no_measurable_wear_gives_an_upper_end_only():
    result = measured(straight([[[0.0, 0.0, 0.0]], [[0.0, 0.0, 0.0]]], step=0.0625))
    row = result.table.iloc[0]
    assert (row[c.ESTIMATE], row[c.CONF_LOW]) == (0, 0)
    assert row[c.CONF_HIGH] > 0
    assert "in apart in 1,000 miles (95% interval; 2 trucks): no unevenness is shown." in result.sentence()
    assert math.isnan(row[un.RANGE_PCT])


def test_reading_error_is_taken_off():
    error = (0.05, -0.05, 0.0, 0.03, -0.04, 0.02, -0.01)
    frame = straight([[[1.2] * 5]] * 6, miles=(0, 200, 400, 600, 800), error=error)
    row = measured(frame).table.iloc[0]
    # known truth: stations wear alike, yet the range as read is not zero
    assert row[un.MEASURED] > 0.02
    assert row[c.ESTIMATE] < 0.7 * row[un.MEASURED]
    assert any("much of it is reading error" in note for note in measured(frame).notes)


FLEETS = {
    "lasting profile": Fleet(
        trucks=(4, 4), profile=(1.03, 0.96, 0.91, 0.98, 1.12), station_cv=0.05, error_in=0.02
    ),
    "leaning": Fleet(trucks=(6, 6), profile=(1.2, 1.1, 1.0, 0.9, 0.8), error_in=0.03),
    "stations of their own": Fleet(trucks=(5, 5), profile=(1.0, 1.0, 1.0), station_cv=0.15, error_in=0.02),
}


@pytest.mark.parametrize("name", FLEETS)
def test_intervals_hold_the_truth_about_as_often_as_they_say(name):
    fleet = FLEETS[name]
    frame = fleet.readings(np.random.default_rng(20), 250)
    result = measured(frame)
    profile = np.array(fleet.profile)
    own = profile * (1 + fleet.station_cv * np.random.default_rng(1).standard_normal((100_000, len(profile))))
    # known truth: mean range of the true station slopes of a set, by simulation of the slopes alone
    truth = fleet.rates[0] * float((own.max(axis=1) - own.min(axis=1)).mean())
    rows = result.table[result.table[c.EDGE_TYPE] != OTHER]
    assert 0.90 <= ((rows[c.CONF_LOW] <= truth) & (truth <= rows[c.CONF_HIGH])).mean() <= 0.995
    assert rows[c.ESTIMATE].mean() == pytest.approx(truth, rel=0.05)
    x = np.linspace(-1, 1, len(profile))
    for term, known in ((un.TILT, 2 * np.polyfit(x, profile, 1)[0]), (un.BOW, np.polyfit(x, profile, 2)[0])):
        shapes = result.shapes[(result.shapes[c.EDGE_TYPE] != OTHER) & (result.shapes[c.TERM] == term)]
        truth = fleet.rates[0] * known
        assert ((shapes[c.CONF_LOW] <= truth) & (truth <= shapes[c.CONF_HIGH])).mean() >= 0.90
        assert shapes[c.ESTIMATE].mean() == pytest.approx(truth, abs=0.03)
