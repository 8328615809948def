"""Usable depth thrown away at removal, by hand."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from test_life import straight
from test_observed import stays_of

from trialkit import columns as c
from trialkit.edges import depth_left as dl
from trialkit.edges.depth_left import estimate_depth_left
from trialkit.edges.observed import BROKEN_OR_LOST, CAUSE, WORN_OUT, observe_lives
from trialkit.edges.wear import fit_wear_rates

EDGE_TYPES = pd.DataFrame(
    {c.EDGE_TYPE: ["plain_steel", "segments"], c.USABLE_DEPTH_IN: [2.0, 1.0], c.SECTIONS_N: [3.0, 2.0]}
)
WORN, BROKE = ("remove", "worn_to_limit"), ("break", "curb_strike")
LABELS = {"plain_steel": "plain steel", "segments": "segmented carbide"}


def left(frame, ends, *, price=400.0, events=(), edge_types=EDGE_TYPES, **keywords):
    """Depth left of sets that ended so: `ends` is set -> (miles, event, reason)."""
    names = list(frame[c.SET_ID].unique())
    kinds = frame.drop_duplicates(c.SET_ID).set_index(c.SET_ID)
    rows = [
        (n, kinds.loc[n, c.TRUCK_ID], kinds.loc[n, c.PLOW_POSITION], "2030-11-20", *ends[n])
        for n in names
        if n in ends
    ]
    sets = pd.DataFrame(
        {c.SET_ID: names, c.EDGE_TYPE: list(kinds.loc[names, c.EDGE_TYPE]), c.UNIT_PRICE_USD: price}
    )
    columns = [c.SET_ID, c.DATE, c.EVENT, c.STATION, c.REASON]
    installs = [(n, "2030-11-20", "install", math.nan, "new") for n in names]
    happened = pd.DataFrame([*installs, *events], columns=columns)
    happened[c.DATE] = pd.to_datetime(happened[c.DATE])
    lives = observe_lives(stays_of(rows), sets).lives
    rates = fit_wear_rates(frame, labels=LABELS)
    return estimate_depth_left(rates, frame, lives, sets, edge_types, happened, **keywords)


# two trucks, two stations, 800 miles: used 0.8 and 1.6, then 1.2 and 1.2 of 2 in
FRAME = straight([[[1.0, 2.0]], [[1.5, 1.5]]])
SETS = list(FRAME[c.SET_ID].unique())
WHOLE = left(FRAME, dict.fromkeys(SETS, (800.0, *WORN)))


def test_depth_left_is_the_mean_over_the_stations():
    first, second = WHOLE.pieces.to_dict("records")
    # by hand: 1.2 and 0.4 in left of 2 in; the thinnest station has 0.4
    assert (first[dl.LEFT_IN], first[dl.LEFT_PCT]) == (pytest.approx(0.8), pytest.approx(40))
    assert first[dl.UNEVEN_PCT] == pytest.approx(20)
    assert (second[dl.LEFT_IN], second[dl.UNEVEN_PCT]) == (pytest.approx(0.8), pytest.approx(0, abs=1e-9))
    # by hand: 40 % of 400 dollars
    assert first[dl.LEFT_USD] == pytest.approx(160)
    assert first[dl.READ_FRAC] == pytest.approx(1)


def test_table_over_the_trucks():
    row = WHOLE.table.iloc[0]
    assert (row[c.ESTIMATE], row[dl.LEFT_IN], row[dl.UNEVEN_PCT]) == (
        pytest.approx(40),
        pytest.approx(0.8),
        pytest.approx(10),
    )
    assert (row[dl.LEFT_USD], row[dl.TOTAL_USD]) == (pytest.approx(160), pytest.approx(320))
    assert (row[dl.N_PIECES], row[dl.N_PRICED], row[c.N_TRUCKS], row[c.UNIT]) == (2, 2, 2, "%")


def test_the_truck_is_the_unit():
    frame = straight([[[1.0], [1.0]], [[2.0]]])
    names = list(frame[c.SET_ID].unique())
    row = left(frame, dict.fromkeys(names, (800.0, *WORN))).table.iloc[0]
    # by hand: truck T1 60 % with both sets, truck T2 20 %
    assert row[c.ESTIMATE] == pytest.approx(40)
    assert (row[dl.N_PIECES], row[c.N_TRUCKS]) == (3, 2)


def test_miles_outside_the_readings_count_at_the_wear_rate():
    result = left(FRAME, dict.fromkeys(SETS, (1000.0, *WORN)))
    # by hand: 200 miles more at 1 and 2 in per 1,000 miles: 1.0 and 0.0 in left
    assert result.pieces[dl.LEFT_IN].iloc[0] == pytest.approx(0.5)
    assert result.pieces[dl.READ_FRAC].iloc[0] == pytest.approx(0.8)


def test_a_spot_worn_past_the_limit_is_not_less_than_nothing():
    result = left(FRAME, dict.fromkeys(SETS, (1600.0, *WORN)))
    # by hand: 0.4 in at one station; the other is 1.2 in past the limit
    assert result.pieces[dl.LEFT_IN].iloc[0] == pytest.approx(0.2)


def test_a_set_that_was_turned_end_for_end():
    frame = straight([[[2.0, 1.0]], [[1.5, 1.5]]], miles=(0, 400))
    own = frame[c.SET_ID] == SETS[0]
    turned = frame[own].assign(
        **{
            c.SEGMENT: lambda rows: rows[c.SEGMENT].str.replace("/1$", "/2", regex=True),
            c.MILES_MI: frame[c.MILES_MI] + 400,
        }
    )
    both = pd.concat([frame, turned], ignore_index=True)
    flip = (SETS[0], "2030-12-10", "flip", math.nan, "worn_uneven")
    result = left(both, {SETS[0]: (800.0, *WORN)}, events=[flip])
    # by hand: each end lost 0.8 in on one side and 0.4 in on the other
    assert result.pieces[dl.LEFT_IN].iloc[0] == pytest.approx(0.8)
    assert result.pieces[dl.UNEVEN_PCT].iloc[0] == pytest.approx(0, abs=1e-9)
    assert any("had been flipped, which is taken as turned end for end" in note for note in result.notes)


def swapped(reason):
    """One set of two sections, 800 miles at 1 in per 1,000; the section at station 2 is changed after 400 miles."""
    frame = straight([[[1.0, 1.0]]], kind="segments", miles=(0, 400, 800))
    second = (frame[c.STATION] == 2) & (frame[c.MILES_MI] > 400)
    fresh = frame[(frame[c.STATION] == 2) & (frame[c.MILES_MI] == 400)].assign(**{c.HEIGHT_IN: 6.0})
    later = frame[second].assign(**{c.HEIGHT_IN: 5.6})
    name = frame[c.SET_ID].iloc[0]
    new = pd.concat([fresh, later]).assign(**{c.SEGMENT: f"{name}/2/2"})
    event = (name, "2030-12-10", "section_swap", 2.0, reason)
    return pd.concat([frame[~second], new], ignore_index=True), name, event


def test_sections_that_were_changed():
    frame, name, event = swapped("worn_to_limit")
    result = left(frame, {name: (800.0, None, None)}, events=[event])
    (piece,) = result.pieces.to_dict("records")
    # by hand: 0.4 of 1 in used; 60 % of half of 400 dollars
    assert (piece[dl.PIECE], piece[c.STATION], piece[CAUSE]) == (dl.SECTION, 2, WORN_OUT)
    assert (piece[dl.LEFT_PCT], piece[dl.LEFT_USD]) == (pytest.approx(60), pytest.approx(120))
    assert math.isnan(piece[dl.UNEVEN_PCT])
    assert result.sentence() == (
        "On the front plow, 1 section of segmented carbide came off as worn with 60% of the usable depth still on (0.60 in; 1 truck, "
        "no interval). Of its price that is $120."
    )


def test_a_set_counts_from_its_last_sections():
    frame, name, event = swapped("curb_strike")
    result = left(frame, {name: (800.0, *WORN)}, events=[event])
    section, whole = result.pieces.to_dict("records")
    assert section[CAUSE] == BROKEN_OR_LOST
    # by hand: 0.2 in left at station 1, 0.6 in at station 2
    assert whole[dl.LEFT_IN] == pytest.approx(0.4)


def test_a_section_changed_for_another_reason_is_not_thrown_away():
    frame, name, event = swapped("other")
    assert left(frame, {name: (800.0, None, None)}, events=[event]).pieces.empty


def test_sets_still_on_are_not_thrown_away():
    result = left(FRAME, {SETS[0]: (800.0, None, None), SETS[1]: (800.0, "season_end", "trial_end")})
    assert result.table.empty and result.pieces.empty
    assert result.sentence() == "No set came off as worn or broken, so nothing was thrown away."


def test_a_set_without_a_second_reading_is_put_at_the_rate_of_its_type():
    once = straight([[[9.0, 9.0]]], truck="U", miles=(0,))
    frame = pd.concat([FRAME, once], ignore_index=True)
    name = once[c.SET_ID].iloc[0]
    result = left(frame, {name: (400.0, *BROKE)})
    # by hand: 1.5 in per 1,000 miles is the mean of the other two trucks; 0.6 of 2 in used
    assert result.pieces[dl.LEFT_PCT].iloc[0] == pytest.approx(70)
    assert math.isnan(result.pieces[dl.UNEVEN_PCT].iloc[0])
    assert any(f"Of {name} less than half of the miles lie between readings" in note for note in result.notes)


def test_a_set_of_which_nothing_is_known_is_named():
    frame = straight([[[1.0]]], miles=(0,))
    name = frame[c.SET_ID].iloc[0]
    result = left(frame, {name: (400.0, *BROKE)})
    assert result.table.empty
    assert result.notes == (
        f"How much was left on 1 set or section that came off cannot be told, for want of readings: {name}.",
    )


def test_words():
    frame = straight([[[1.0, 2.0]], [[1.0, 1.5]]])
    names = list(frame[c.SET_ID].unique())
    # by hand: 40 and 50 % left, 20 and 10 of it by unevenness; t with 1 df is 12.7, so the interval is cut at 0 and 100
    assert left(frame, dict.fromkeys(names, (800.0, *WORN))).sentence() == (
        "On the front plow, 2 sets of plain steel came off as worn with 45% of the usable depth still on (0.90 in; 95% interval 0 to "
        "100%; 2 trucks): 15% because they wore unevenly and 30% because the thinnest spot was not yet at its limit. Of the price "
        "of a set that is $180 on average, $360 in all."
    )


def test_no_price_and_another_currency():
    ends = dict.fromkeys(SETS, (800.0, *WORN))
    assert (
        left(FRAME, ends, price=math.nan)
        .sentence()
        .endswith("No price is recorded, so this is not put in money.")
    )
    assert "160 CAD on average, 320 CAD in all." in left(FRAME, ends, currency="CAD").sentence()


def test_price_of_some():
    frame = straight([[[1.0]], [[2.0]]])
    names = list(frame[c.SET_ID].unique())
    result = left(frame, dict.fromkeys(names, (800.0, *WORN)), price=[400.0, math.nan])
    # by hand: 60 % of 400 dollars
    assert (
        "Of the price of a set that is $240 on average, $240 in all (price known of 1)." in result.sentence()
    )


def test_broken_sets_are_told_without_why():
    said = left(FRAME, dict.fromkeys(SETS, (800.0, *BROKE))).sentence()
    assert "2 sets of plain steel broke or came loose with 40% of the usable depth still on" in said
    assert "unevenly" not in said
