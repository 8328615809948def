"""Savings of a season: tons, money, chloride, and what could have been shown."""

import math

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.clearing import season_saving as ss
from trialkit.clearing.spreading import NOTHING, Factor, ReferenceUse


def exactly(value, unit):
    return Factor(value, math.nan, math.nan, unit, 1)


USE = ReferenceUse(
    exactly(0.5, "lane-mi/mi"), exactly(200.0, "lb/lane-mi"), exactly(0.2, "h/lane-mi"), 0.04, 0.6, 1.0, ()
)
MILES = {"light": 1000.0, "middling": 2000.0, "hard": 4000.0}


def differences(*rows):
    names = [c.EDGE_TYPE, c.REFERENCE, ss.CHANGE_PCT, c.CONF_LOW, c.CONF_HIGH, ss.DETECTABLE_PCT]
    return pd.DataFrame([(name, "steel", *row) for name, *row in rows], columns=names)


SHOWN = ("carbide", -10.0, -15.0, -5.0, 6.0)
NOT_SHOWN = ("rubber", -2.0, -9.0, 5.0, 8.0)


def test_tons_money_and_chloride_of_a_winter():
    saving = ss.project_season(differences(SHOWN), USE, MILES, currency="EUR")
    # by hand: 2,000 mi x 0.5 x 200 lb = 200,000 lb = 100 short tons, of which 10% are saved
    mass = saving.rows().iloc[0]
    assert (mass[c.ESTIMATE], mass[c.CONF_LOW], mass[c.CONF_HIGH]) == pytest.approx((10.0, 5.0, 15.0))
    assert (mass[ss.USED], mass[ss.SMALLEST], mass[ss.LANE_MI]) == pytest.approx((100.0, 6.0, 1000.0))
    money = saving.rows(quantity=ss.MONEY).iloc[0]
    assert (money[c.ESTIMATE], money[c.UNIT]) == (pytest.approx(20_000 * 0.04), "EUR")
    assert saving.rows(quantity="chloride").iloc[0][c.ESTIMATE] == pytest.approx(6.0)
    assert saving.rows("hard").iloc[0][c.ESTIMATE] == pytest.approx(20.0)
    assert saving.rows("light").iloc[0][c.ESTIMATE] == pytest.approx(5.0)


def test_a_saving_whose_interval_holds_zero_is_not_shown_and_says_what_could_have_been():
    saving = ss.project_season(differences(NOT_SHOWN), USE, MILES)
    row = saving.rows().iloc[0]
    assert row[ss.SHOWN] == "no"
    assert row[c.CONF_LOW] < 0 < row[c.CONF_HIGH]
    assert row[ss.SMALLEST] == pytest.approx(8.0)
    assert "does not show that another edge type saves material" in saving.sentence()


def test_a_shown_saving_is_named_and_nothing_is_nothing():
    assert ss.project_season(differences(SHOWN, NOT_SHOWN), USE, MILES).sentence() == (
        "Material saved in a season is shown for carbide."
    )
    assert (
        ss.project_season(differences(), USE, MILES).sentence() == "No saving of a season can be worked out."
    )


def test_more_material_is_a_loss_that_is_shown():
    row = ss.project_season(differences(("carbide", 10.0, 5.0, 15.0, 6.0)), USE, MILES).rows().iloc[0]
    assert (row[ss.SHOWN], row[c.ESTIMATE]) == ("yes", pytest.approx(-10.0))


def test_chloride_has_a_change_of_its_own_where_there_is_one():
    both = pd.concat([differences(SHOWN), differences(("carbide", -20.0, -30.0, -10.0, 9.0))])
    both[c.MATERIAL] = ["all", "chloride"]
    saving = ss.project_season(both, USE, MILES)
    assert len(saving.rows()) == 1
    assert saving.rows(quantity="chloride").iloc[0][c.ESTIMATE] == pytest.approx(12.0)


def test_a_difference_that_several_comparisons_leave_open_is_not_shown():
    counted = differences(SHOWN).assign(**{ss.SHOWN: "no"})
    assert ss.project_season(counted, USE, MILES).rows().iloc[0][ss.SHOWN] == "no"
    assert ss.saving_per_mile(counted, USE).iloc[0][ss.SHOWN] == "no"


def test_no_interval_is_not_shown():
    row = (
        ss.project_season(differences(("carbide", -10.0, math.nan, math.nan, math.nan)), USE, MILES)
        .rows()
        .iloc[0]
    )
    assert (row[ss.SHOWN], row[c.ESTIMATE]) == ("no", pytest.approx(10.0))
    assert math.isnan(row[c.CONF_LOW])


def test_without_prices_there_are_tons_but_no_money():
    use = ReferenceUse(USE.lane_mi_per_mi, USE.rate_lb_lane_mi, NOTHING, math.nan, math.nan)
    saving = ss.project_season(differences(SHOWN), use, MILES)
    assert set(saving.table[ss.QUANTITY]) == {ss.MASS}
    assert ss.saving_per_mile(differences(SHOWN), use).empty
    assert ss.hours_saved(differences(SHOWN), use).empty


def test_saving_per_blade_down_mile_is_what_the_cost_takes():
    row = ss.saving_per_mile(differences(SHOWN), USE, "CAD").iloc[0]
    # by hand: 0.5 x 200 lb x 0.04 = 4.00 per mile, of which 10%
    assert (row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((0.4, 0.2, 0.6))
    assert (row[ss.USED], row[c.UNIT], row[ss.SHOWN]) == (pytest.approx(4.0), "CAD/mi", "yes")


def test_hours_saved_per_lane_mile():
    row = ss.hours_saved(differences(SHOWN), USE).iloc[0]
    assert (row[c.ESTIMATE], row[c.UNIT]) == (pytest.approx(0.02), "h/lane-mi")


def test_hours_are_worth_what_the_town_says():
    row = ss.crew_saving_per_mile(differences(SHOWN), USE, 80.0).iloc[0]
    # by hand: 0.5 lane-miles x 0.2 h x 80 = 8.00 per mile, of which 10%
    assert (row[c.ESTIMATE], row[ss.USED], row[c.UNIT]) == (pytest.approx(0.8), pytest.approx(8.0), "USD/mi")
    assert ss.crew_saving_per_mile(differences(SHOWN), USE, math.nan).empty


def test_a_wing_spreads_nothing():
    plan = pd.DataFrame(
        [
            ("T1", "front", 100, 200, 300),
            ("T1", "wing_right", 400, 500, 600),
            ("T2", "underbody", 10, 20, 30),
        ],
        columns=[c.TRUCK_ID, c.PLOW_POSITION, *ss.WINTERS.values()],
    )
    assert ss.fleet_miles(plan, ["front"]) == {"light": 110.0, "middling": 220.0, "hard": 330.0}
    assert ss.fleet_miles(plan)["middling"] == 520.0


def test_notes_say_what_is_taken_for_granted_and_what_was_brought_to_a_typical_season():
    moved = ReferenceUse(USE.lane_mi_per_mi, USE.rate_lb_lane_mi, NOTHING, 0.04, 0.6, 1.25, ("a note",))
    notes = ss.project_season(differences(SHOWN), moved, MILES).notes
    assert "as they were in the trial" in notes[0]
    assert notes[1:] == (
        "a note",
        "The rate of the reference was brought to the severity of a typical season, times 1.25.",
    )
