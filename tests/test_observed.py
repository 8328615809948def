from __future__ import annotations

import math

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges import observed as ob
from trialkit.edges.observed import cause_of_end, observe_lives
from trialkit.errors import UsageError
from trialkit.trial.stays import END_EVENT, END_REASON


def stays_of(rows):
    names = [c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.INSTALLED, c.MILES_MI, END_EVENT, END_REASON]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(**{c.INSTALLED: pd.to_datetime(frame[c.INSTALLED])})


STAYS = stays_of(
    [
        ("S1", "T1", "front", "2030-11-20", 900.0, "remove", "worn_to_limit"),
        ("S2", "T2", "front", "2030-11-20", 700.0, "break", "curb_strike"),
        ("S3", "T3", "front", "2030-11-20", 1200.0, "remove", "worn_uneven"),
        ("S4", "T4", "front", "2030-11-20", 1200.0, None, None),
        ("C1", "T5", "front", "2030-11-20", 2000.0, "season_end", "trial_end"),
        ("C2", "T6", "front", "2030-11-20", 3000.0, "remove", "other"),
    ]
)
EDGE_SETS = pd.DataFrame(
    {
        c.SET_ID: ["S1", "S2", "S3", "S4", "C1", "C2"],
        c.EDGE_TYPE: pd.Categorical(
            ["plain_steel"] * 4 + ["carbide_insert"] * 2, categories=["plain_steel", "carbide_insert"]
        ),
    }
)
LABELS = {"plain_steel": "plain steel", "carbide_insert": "carbide insert"}


@pytest.mark.parametrize(
    ("event", "reason", "cause"),
    [
        ("remove", "worn_to_limit", ob.WORN_OUT),
        ("remove", "worn_uneven", ob.WORN_OUT),
        ("remove", "curb_strike", ob.BROKEN_OR_LOST),
        ("remove", "loose", ob.BROKEN_OR_LOST),
        ("remove", "trial_end", ob.NOT_ENDED),
        ("remove", None, ob.NOT_ENDED),
        ("break", None, ob.BROKEN_OR_LOST),
        ("lost", "worn_to_limit", ob.BROKEN_OR_LOST),
        ("season_end", "worn_to_limit", ob.NOT_ENDED),
        (None, None, ob.NOT_ENDED),
        (float("nan"), float("nan"), ob.NOT_ENDED),
    ],
)
def test_causes(event, reason, cause):
    assert cause_of_end(event, reason) == cause


def rate_row(result, kind, cause):
    table = result.table
    return table[(table[c.EDGE_TYPE] == kind) & (table[ob.CAUSE] == cause)].iloc[0]


def test_rates_by_cause():
    result = observe_lives(STAYS, EDGE_SETS)
    worn = rate_row(result, "plain_steel", ob.WORN_OUT)
    # by hand: 2 of 4 sets over 4,000 miles
    assert (worn[ob.EVENTS], worn[c.MILES_MI], worn[c.ESTIMATE]) == (2, 4000, pytest.approx(0.5))
    # published: exact limits of 2 events, 0.242 and 7.225 (Garwood 1936, from memory), over 4
    assert worn[c.CONF_LOW] == pytest.approx(0.242 / 4, abs=2e-4)
    # published: as above
    assert worn[c.CONF_HIGH] == pytest.approx(7.225 / 4, abs=2e-4)
    broken = rate_row(result, "plain_steel", ob.BROKEN_OR_LOST)
    assert (broken[ob.EVENTS], broken[c.N_SETS], broken[c.N_TRUCKS], broken[c.UNIT]) == (
        1,
        4,
        4,
        "per 1000 mi",
    )
    none = rate_row(result, "carbide_insert", ob.BROKEN_OR_LOST)
    # closed form: -log 0.05 over 5,000 miles
    assert (none[ob.EVENTS], none[c.UPPER_BOUND]) == (0, pytest.approx(2.995732 / 5, rel=1e-6))


def test_half_lives_count_the_other_cause_as_not_ended():
    medians = observe_lives(STAYS, EDGE_SETS).medians
    worn = medians[(medians[c.EDGE_TYPE] == "plain_steel") & (medians[ob.CAUSE] == ob.WORN_OUT)].iloc[0]
    # by hand: 700 not ended; at 900 one of three left ends, at 1,200 one of two: 2/3, 1/3
    assert worn[c.ESTIMATE] == 1200
    assert (worn[c.N_SETS], worn[ob.N_ENDED], worn[ob.LONGEST_MI]) == (4, 2, 1200)
    broken = medians[(medians[c.EDGE_TYPE] == "plain_steel") & (medians[ob.CAUSE] == ob.BROKEN_OR_LOST)].iloc[
        0
    ]
    # by hand: one of four ended at 700, and never half
    assert math.isnan(broken[c.ESTIMATE]) and broken[ob.N_ENDED] == 1


def test_breakage_against_the_reference():
    found = observe_lives(STAYS, EDGE_SETS).comparisons.iloc[0]
    assert (found[c.EDGE_TYPE], found[c.REFERENCE]) == ("carbide_insert", "plain_steel")
    # by hand: none against one: a ratio of 0 that reaches up, and p = 1 (the one event falls to steel with 4/9)
    assert found[c.ESTIMATE] == 0 and found[c.CONF_LOW] == 0 and found[c.CONF_HIGH] > 1
    assert found[c.P_VALUE] > 0.4
    other = observe_lives(STAYS, EDGE_SETS, reference="carbide_insert").comparisons.iloc[0]
    assert other[c.REFERENCE] == "carbide_insert" and math.isnan(other[c.CONF_HIGH])
    whole = STAYS.assign(**{END_EVENT: None, END_REASON: None})
    assert observe_lives(whole, EDGE_SETS).comparisons[c.P_VALUE].isna().all()


def test_unknown_reference():
    with pytest.raises(UsageError, match=r'"carbide" is on no set.*Did you mean "carbide_insert"'):
        observe_lives(STAYS, EDGE_SETS, reference="carbide")


def test_a_set_that_was_moved_is_one_life():
    moved = stays_of(
        [
            ("S1", "T1", "front", "2030-11-20", 300.0, "remove", "other"),
            ("S1", "T2", "front", "2031-01-20", 400.0, "remove", "worn_to_limit"),
        ]
    )
    result = observe_lives(moved, EDGE_SETS)
    assert result.lives.iloc[0][c.MILES_MI] == 700
    assert result.lives.iloc[0][ob.CAUSE] == ob.WORN_OUT


def test_sets_without_miles_are_named():
    blank = STAYS.copy()
    blank.loc[0, c.MILES_MI] = float("nan")
    result = observe_lives(blank, EDGE_SETS)
    assert "S1" not in set(result.lives[c.SET_ID])
    assert any("1 set left out" in note and "S1" in note for note in result.notes)


def test_breaks_on_one_truck_are_said():
    twice = stays_of(
        [
            ("S1", "T1", "front", "2030-11-20", 300.0, "break", None),
            ("S2", "T1", "front", "2031-01-20", 400.0, "lost", None),
            ("S3", "T2", "front", "2031-01-20", 400.0, None, None),
        ]
    )
    assert any(
        "All 2 sets of plain steel" in note and "truck T1" in note
        for note in observe_lives(twice, EDGE_SETS).notes
    )


def test_sections_that_were_changed():
    events = pd.DataFrame(
        {
            c.SET_ID: ["C1", "C1", "C1", "S1", "X9"],
            c.EVENT: ["section_swap", "section_swap", "section_swap", "remove", "section_swap"],
            c.REASON: ["broken", "worn_to_limit", "other", "worn_to_limit", "broken"],
        }
    )
    result = observe_lives(STAYS, EDGE_SETS, set_events=events)
    assert rate_row(result, "carbide_insert", ob.SECTION_BROKEN_OR_LOST)[ob.EVENTS] == 1
    assert rate_row(result, "carbide_insert", ob.SECTION_WORN_OUT)[ob.EVENTS] == 1
    assert ob.SECTION_WORN_OUT not in set(
        result.table.loc[result.table[c.EDGE_TYPE] == "plain_steel", ob.CAUSE]
    )


def test_sections_changed_for_another_reason_or_none_are_said():
    events = pd.DataFrame(
        {
            c.SET_ID: ["C1", "C1", "C2", "S1"],
            c.EVENT: ["section_swap"] * 4,
            c.REASON: ["other", None, "broken", "new"],
        }
    )
    notes = observe_lives(STAYS, EDGE_SETS, labels=LABELS, set_events=events).notes
    assert notes == (
        "2 changed sections of carbide insert have another reason on record or none, and count neither as worn out nor as "
        "broken or lost.",
        "1 changed section of plain steel has another reason on record or none, and counts neither as worn out nor as broken or "
        "lost.",
    )


def test_sentences():
    events = pd.DataFrame(
        {c.SET_ID: ["C1"] * 2, c.EVENT: ["section_swap"] * 2, c.REASON: ["broken", "curb_strike"]}
    )
    said = observe_lives(STAYS, EDGE_SETS, labels=LABELS, set_events=events).sentences()
    assert said[0].startswith(
        "On the front plow, 1 set of plain steel broke or was lost in 4,000 miles with 4 sets: 0.2"
    )
    assert said[1] == (
        "On the front plow, no set of carbide insert broke or was lost in 5,000 miles with 2 sets: "
        "at most 0.60 per 1,000 miles (95% bound)."
    )
    assert said[2].startswith(
        "On the front plow, 2 sections of carbide insert broke or were lost in 5,000 miles with 2 sets: 0.4"
    )


def test_nothing_was_put_on():
    result = observe_lives(STAYS.iloc[:0], EDGE_SETS)
    assert result.table.empty and result.sentence().startswith("No set ran any known miles")


def test_a_type_that_ran_no_miles_has_no_rate():
    idle = STAYS.assign(**{c.MILES_MI: [900.0, 700.0, 1200.0, 1200.0, 0.0, 0.0]})
    assert set(observe_lives(idle, EDGE_SETS).table[c.EDGE_TYPE]) == {"plain_steel"}


def test_a_tenth_needs_three_ended():
    tenths = observe_lives(STAYS, EDGE_SETS).tenths
    worn = tenths[(tenths[c.EDGE_TYPE] == "plain_steel") & (tenths[ob.CAUSE] == ob.WORN_OUT)].iloc[0]
    assert math.isnan(worn[c.ESTIMATE]) and worn[c.METHOD].startswith("2 of 4 lives ended")


def test_a_tenth_from_a_weibull_fit():
    ends = [410.0, 520.0, 560.0, 700.0, 700.0]
    rows = [
        (f"S{i}", f"T{i}", "front", "2030-11-20", miles, "remove", "worn_to_limit")
        for i, miles in enumerate(ends)
    ]
    rows[4] = (*rows[4][:5], None, None)
    sets = pd.DataFrame({c.SET_ID: [row[0] for row in rows], c.EDGE_TYPE: "plain_steel"})
    row = observe_lives(stays_of(rows), sets).tenths.iloc[0]
    # other software: R 4.2.2, survival 3.5-3: survreg(Surv(c(410,520,560,700,700), c(1,1,1,1,0)) ~ 1) has shape 5.066715
    assert row[ob.SHAPE] == pytest.approx(5.066715, rel=1e-6)
    # by hand: 643.486664 (the same fit's scale) times (-log 0.9)^(1/shape)
    assert row[c.ESTIMATE] == pytest.approx(643.486664 * (-math.log(0.9)) ** (1 / 5.066715), rel=1e-6)
    assert row[c.CONF_LOW] < row[c.ESTIMATE] < row[c.CONF_HIGH]
    assert row[c.METHOD] == "Weibull, likelihood ratio interval"
    assert row[ob.SHAPE_LOW] < row[ob.SHAPE] < row[ob.SHAPE_HIGH]
