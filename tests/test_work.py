"""Hours of changes: what is a change, what stands in where none was made, and blanks that are not zero."""

import math

import money_samples as ms
import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import work
from trialkit.money.work import BREAK, CHANGE, SECTION_CHANGE, Hours


def found(events=None, sections=None):
    return work.change_work(
        ms.set_events() if events is None else events, ms.edge_sets(), sections or {ms.RUBBER: 5.0}
    )


def events(*rows) -> pd.DataFrame:
    names = [
        c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT, c.REASON, c.DURING_STORM, c.LABOUR_H, c.TRUCK_DOWN_H,
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(**{c.DATE: pd.to_datetime(frame[c.DATE], format="ISO8601")})


def test_a_change_is_taking_off_and_putting_on_in_the_season():
    steel = found()[ms.STEEL][CHANGE]
    # by hand: 1 h off and 2 h on; 3 h down, not halved by the 0 of the first mounting in fall
    assert (steel.labour.mean, steel.down.mean, steel.storm_share) == (3.0, 3.0, 0.0)


def test_section_changes_have_their_own_hours():
    rubber = found()[ms.RUBBER]
    assert (rubber[SECTION_CHANGE].labour.mean, rubber[SECTION_CHANGE].down.mean) == (1.0, 1.0)
    assert rubber[SECTION_CHANGE].storm_share == 1.0


def test_a_type_that_was_never_changed_borrows():
    rubber = found()[ms.RUBBER][CHANGE]
    # by hand: taking off in spring 1 h and mounting in fall 2 h; 3 h down as with the other types
    assert (rubber.labour.mean, rubber.down.mean) == (3.0, 3.0)
    assert "no whole set was changed in the season" in rubber.basis
    notes = work.work_notes(found(), ms.LABELS, [ms.RUBBER])
    assert notes[0].startswith("Hours of rubber-mounted carbide: no whole set was changed in the season")


def test_sections_that_were_never_changed_take_their_share_of_a_set():
    few = ms.set_events()[lambda frame: frame[c.EVENT] != "section_swap"]
    section = found(few)[ms.RUBBER][SECTION_CHANGE]
    assert section.labour.mean == pytest.approx(3.0 / 5) and section.down.mean == pytest.approx(3.0 / 5)
    assert "share of a whole set" in section.basis


def test_blank_hours_are_left_out_and_never_zero():
    blank = ms.set_events().assign(**{c.LABOUR_H: np.nan})
    steel = found(blank)[ms.STEEL][CHANGE]
    assert math.isnan(steel.labour.mean)
    said = work.work_notes(found(blank), ms.LABELS, [ms.STEEL])
    assert said == ["Hours of plain steel: no labor hours are recorded, so its labor lines are unknown."]


def without_hours(event, column=c.LABOUR_H, kind=""):
    """The events with the hours of some of them left blank."""
    rows = ms.set_events()
    rows.loc[(rows[c.EVENT] == event) & rows[c.SET_ID].str.startswith(kind), column] = np.nan
    return rows


def test_a_step_without_hours_takes_those_of_fall_or_spring():
    # by hand: 1 h off in spring stands in for the blank removal, 2 h on as recorded
    off = found(without_hours("remove"))[ms.STEEL][CHANGE]
    assert off.labour.mean == 3.0
    assert off.basis == "taking off in spring stands in for the labor of taking a worn set off"
    # by hand: 1 h off as recorded, 2 h of the mounting in fall for the blank one in January
    rows = ms.set_events()
    rows.loc[(rows[c.EVENT] == "install") & (rows[c.DATE] > "2032-01-01"), c.LABOUR_H] = np.nan
    on = found(rows)[ms.STEEL][CHANGE]
    assert on.labour.mean == 3.0
    assert on.basis == "mounting in fall stands in for the labor of putting the next one on"


def test_a_step_without_any_hours_leaves_the_change_unknown():
    # two records of taking off, 0.7 and 0.9 h, are not the hours of a whole change
    rows = without_hours("install")
    rows.loc[rows[c.EVENT] == "remove", c.LABOUR_H] = [0.7, 0.9]
    done = found(rows)
    assert math.isnan(done[ms.STEEL][CHANGE].labour.mean)
    said = work.work_notes(done, ms.LABELS, [ms.STEEL])
    assert said[0] == (
        "Hours of plain steel: no labor hours of putting a set on are recorded, so its labor lines are unknown. Where one record has "
        "the hours of the whole change, enter 0 in the other."
    )


def test_down_time_of_a_step_is_borrowed_or_unknown():
    # by hand: 0 h of the carbide removal and 3 h of the steel installation
    borrowed = found(without_hours("remove", c.TRUCK_DOWN_H, "PL"))[ms.STEEL][CHANGE]
    assert borrowed.down.mean == 3.0
    assert borrowed.basis == "changes of the other types stand in for the down time"
    nowhere = found(without_hours("remove", c.TRUCK_DOWN_H))
    assert math.isnan(nowhere[ms.STEEL][CHANGE].down.mean)
    assert (
        "Hours of plain steel: no down time of taking a set off is recorded, so its truck down time is unknown. Where one record has "
        "the hours of the whole change, enter 0 in the other."
    ) in work.work_notes(nowhere, ms.LABELS, [ms.STEEL])


def test_a_spring_take_off_is_no_change_whatever_it_is_called():
    rows = ms.set_events()
    spring = rows[c.EVENT] == "season_end"
    rows.loc[spring & (rows[c.SET_ID] == "PL-2"), c.LABOUR_H] = 5.0
    rows.loc[spring, c.EVENT] = "remove"  # the reason stays "trial_end"
    fall = events(("PL-3", "T-1", "front", "2032-11-01", "install", "new", "no", 9.0, 0.0))
    steel = found(pd.concat([rows, fall]))[ms.STEEL][CHANGE]
    # by hand: 1 h off for wear and 2 h on in January; neither the 5 h in spring nor the 9 h of the next fall
    assert (steel.labour.mean, steel.labour.n, steel.down.mean) == (3.0, 1, 3.0)


def test_a_removal_for_another_reason_counts_only_where_none_was_for_wear():
    rows = ms.set_events()
    rows.loc[rows[c.EVENT] == "remove", [c.REASON, c.LABOUR_H]] = [None, 1.5]
    steel = found(rows)[ms.STEEL][CHANGE]
    assert steel.labour.mean == 3.5  # by hand: 1.5 h off, 2 h on
    assert steel.basis == "no removal for wear is recorded; those for another reason, or none, stand in"
    both = pd.concat(
        [rows, events(("PL-2", "T-1", "front", "2032-02-01", "remove", "worn_uneven", "no", 1.0, 0.0))]
    )
    assert found(both)[ms.STEEL][CHANGE].labour.mean == 3.0


def test_flips_without_hours_take_those_of_a_change():
    flip = events(("PL-1", "T-1", "front", "2031-12-01", "flip", "worn_uneven", "no", np.nan, 0.0))
    # by hand: two sets were put on and one was flipped, at the 3 h of a change
    assert found(pd.concat([ms.set_events(), flip]))[ms.STEEL][CHANGE].labour.mean == pytest.approx(4.5)


def test_whether_it_was_during_a_storm_may_not_be_recorded():
    blank = ms.set_events().assign(**{c.DURING_STORM: None})
    assert math.isnan(found(blank)[ms.STEEL][CHANGE].storm_share)
    assert "its labor is put at the regular rate" in work.work_notes(found(blank), ms.LABELS, [ms.STEEL])[-1]


def test_columns_that_are_not_there_are_not_recorded():
    bare = ms.set_events().drop(columns=[c.LABOUR_H, c.TRUCK_DOWN_H, c.DURING_STORM, c.REASON])
    assert math.isnan(found(bare)[ms.STEEL][CHANGE].labour.mean)


def test_breaks_have_their_own_hours_and_storms():
    broken = events(
        ("PL-1", "T-1", "front", "2031-11-01", "install", "new", "no", 2.0, 0.0),
        ("PL-1", "T-1", "front", "2032-01-05T03:00", "remove", "curb_strike", "yes", 1.5, 0.0),
        ("PL-2", "T-1", "front", "2032-01-05T05:00", "install", "new", "yes", 2.5, 6.0),
    )
    steel = found(broken)[ms.STEEL][BREAK]
    assert (steel.labour.mean, steel.down.mean, steel.storm_share) == (4.0, 6.0, 1.0)
    # a type that never broke takes the storms of those that did
    assert found(pd.concat([broken, ms.set_events()[4:]]))[ms.CARBIDE][BREAK].storm_share == 1.0


def test_flips_are_spread_over_the_sets_put_on():
    flip = events(("PL-1", "T-1", "front", "2031-12-01", "flip", "worn_uneven", "no", 1.0, 0.0))
    # by hand: two sets of steel were put on, one hour of flipping
    assert found(pd.concat([ms.set_events(), flip]))[ms.STEEL][CHANGE].labour.mean == pytest.approx(3.5)


def test_hours_and_their_error():
    three = Hours.of(pd.Series([1.0, 2.0, 3.0, np.nan]))
    assert (three.mean, three.df, three.n) == (2.0, 2.0, 3)
    assert three.std_error == pytest.approx(1 / math.sqrt(3))
    both = three.plus(three)
    # by hand: variance 2/3, Welch-Satterthwaite df = (2/3)^2 / (2 (1/3)^2 / 2) = 4
    assert (both.mean, both.df) == (4.0, pytest.approx(4.0))
    assert both.std_error == pytest.approx(math.sqrt(2 / 3))
    assert math.isnan(three.plus(Hours()).mean) and math.isnan(Hours().plus(three).mean)
    assert math.isnan(Hours(1.0, n=1).plus(Hours(2.0, n=1)).std_error)


def test_one_change_says_so():
    said = " ".join(work.work_notes(found(), ms.LABELS, [ms.STEEL]))
    assert "one change of a whole set was recorded, so how much those hours vary" in said
