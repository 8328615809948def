"""Profiles across the blade: depth worn at shares of each set's miles, by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from test_life import straight

from trialkit import columns as c
from trialkit.edges import slopes as sl
from trialkit.edges.profile import FALL_IN, SHARES, USED_PCT, WORN_IN, profile_over_miles, segment_falls

DEPTH = {"plain_steel": 2.0, "carbide_insert": 0.5}


def at(result, share, station, kind="plain_steel"):
    table = result.table
    here = table[
        (table[c.SHARE_FRAC] == share) & (table[c.STATION] == station) & (table[c.EDGE_TYPE] == kind)
    ]
    assert len(here) == 1
    return here.iloc[0]


def test_depth_at_each_share_of_the_miles():
    result = profile_over_miles(straight([[[1.0, 2.0]]]), DEPTH)
    # by hand: 800 miles read; a quarter is 200
    assert at(result, 0.25, 1)[WORN_IN] == pytest.approx(0.2)
    assert at(result, 0.25, 2)[WORN_IN] == pytest.approx(0.4)
    row = at(result, 1.0, 2)
    assert (row[WORN_IN], row[USED_PCT], row[c.MILES_MI]) == (
        pytest.approx(1.6),
        pytest.approx(80),
        pytest.approx(800),
    )
    assert sorted(set(result.table[c.SHARE_FRAC])) == list(SHARES)


def test_each_set_counts_over_its_own_miles_and_each_truck_once():
    long = straight([[[1.0], [1.0]]])
    short = straight([[[3.0]]], truck="U", miles=(0, 100, 200))
    row = at(profile_over_miles(pd.concat([long, short], ignore_index=True), DEPTH), 1.0, 1)
    # by hand: truck T loses 0.8 in over 800 miles with both sets, truck U 0.6 in over 200
    assert row[WORN_IN] == pytest.approx(0.7)
    assert row[c.MILES_MI] == pytest.approx(500)
    assert (row[c.N_TRUCKS], row[c.N_SETS]) == (2, 3)


def test_a_changed_section_goes_on_from_where_the_place_was():
    frame = straight([[[1.0, 1.0]]], miles=(0, 400, 800))
    swapped = (frame[c.STATION] == 2) & (frame[c.MILES_MI] >= 400)
    fresh = frame[(frame[c.STATION] == 2) & (frame[c.MILES_MI] == 400)].assign(**{c.HEIGHT_IN: 6.0})
    later = frame[swapped & (frame[c.MILES_MI] > 400)].assign(**{c.HEIGHT_IN: 5.6})
    new = pd.concat([fresh, later]).assign(**{c.SEGMENT: "x/2/2"})
    whole = pd.concat([frame[~(swapped & (frame[c.MILES_MI] > 400))], new], ignore_index=True)
    result = profile_over_miles(whole, DEPTH)
    # by hand: 0.4 in before the change and 0.4 in after it, as at the other station
    assert at(result, 1.0, 2)[WORN_IN] == pytest.approx(0.8)
    assert at(result, 0.75, 2)[WORN_IN] == pytest.approx(0.6)


def test_a_station_read_over_part_of_the_miles_is_said():
    frame = straight([[[1.0, 1.0]]], miles=(0, 400, 800))
    result = profile_over_miles(frame[(frame[c.STATION] == 1) | (frame[c.MILES_MI] < 800)], DEPTH)
    # by hand: 0.4 in at the last reading of the station, at 400 of 800 miles
    assert at(result, 1.0, 2)[WORN_IN] == pytest.approx(0.4)
    assert result.notes == (
        "1 station of a set was not read at the first or the last miles at which other stations of the set were; it is taken as "
        "first or last read, so that the edge looks less worn there than it was.",
    )
    assert profile_over_miles(frame, DEPTH).notes == ()


def test_the_reference_comes_first():
    both = pd.concat(
        [straight([[[0.1]]], kind="carbide_insert", truck="C"), straight([[[1.0]]])], ignore_index=True
    )
    both[c.EDGE_TYPE] = pd.Categorical(both[c.EDGE_TYPE], categories=["plain_steel", "carbide_insert"])
    table = profile_over_miles(both, DEPTH).table
    assert list(dict.fromkeys(table[c.EDGE_TYPE])) == ["plain_steel", "carbide_insert"]
    # by hand: 0.08 of 0.5 in
    assert table[USED_PCT].iloc[-1] == pytest.approx(16)


def test_words():
    result = profile_over_miles(straight([[[1.0, 2.0]]]), DEPTH, labels={"plain_steel": "plain steel"})
    assert result.sentence() == (
        "On the front plow, after 800 miles on average, between 40% and 80% of the usable depth of plain steel was worn away "
        "across the blade (1 truck)."
    )


@pytest.mark.parametrize("frame", [straight([[[1.0]]]).iloc[:0], straight([[[1.0]]], miles=(0,))])
def test_nothing_read_twice(frame):
    result = profile_over_miles(frame, DEPTH)
    assert result.table.empty
    assert result.sentence() == "No set was read twice, so there is no profile."


def test_falls_average_repeated_readings():
    frame = straight([[[1.0]]], miles=(0, 400))
    again = frame.assign(**{c.HEIGHT_IN: frame[c.HEIGHT_IN] + 0.1})
    falls = segment_falls(pd.concat([frame, again], ignore_index=True))
    # by hand: 6.05 and 5.65
    assert falls[[sl.FIRST_HEIGHT_IN, sl.LAST_HEIGHT_IN, FALL_IN]].iloc[0].tolist() == pytest.approx(
        [6.05, 5.65, 0.4]
    )
    assert falls[[sl.FIRST_MI, sl.LAST_MI]].iloc[0].tolist() == [0, 400]
