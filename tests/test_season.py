"""Miles of a season: plans, trucks without one, and the busiest trucks."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import season
from trialkit.table_parts import HARD


def frame(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=season.PLAN_COLUMNS)


def test_a_truck_without_a_plan_is_named_and_left_out():
    found = season.season_miles(frame(("T-1", "front", 1, 2, 3)), ms.trucks(2))
    assert found.notes == (
        "No miles are planned for 1 truck position (T-2 front); costs of a season and the order leave them out.",
    )
    assert list(found.miles("front")) == [2]


def test_a_blank_in_the_plan_is_no_plan():
    found = season.season_miles(frame(("T-1", "front", 1, math.nan, 3)), ms.trucks(1))
    assert found.table.empty and "(T-1 front)" in found.notes[0]


def test_many_trucks_without_a_plan_are_counted():
    found = season.season_miles(frame(("T-1", "front", 1, 2, 3)), ms.trucks(9))
    assert "8 truck positions" in found.notes[0] and "and 3 more" in found.notes[0]


@pytest.mark.parametrize("miles", [(-1, 2, 3), (5, 2, 3), (1, 5, 3)])
def test_miles_that_are_not_in_order(miles):
    with pytest.raises(UsageError, match=f"T-1 right wing: {miles[0]:g}, {miles[1]:g} and {miles[2]:g}"):
        season.season_miles(frame(("T-1", "wing_right", *miles)), ms.trucks(1))


def test_without_a_plan_this_seasons_miles_stand_in():
    driven = pd.DataFrame({c.TRUCK_ID: ["T-1", "T-1"], c.PLOW_POSITION: "front", c.MILES_MI: [100.0, 50.0]})
    found = season.season_miles(None, ms.trucks(1), driven=driven)
    assert found.table.iloc[0].tolist() == ["T-1", "front", 150, 150, 150]
    assert "this season's stand in" in found.notes[0]
    assert season.season_miles(None, ms.trucks(1)).table.empty


def test_other_miles():
    plan = ms.plan((1000.0, 3000.0))
    assert list(plan.scaled(2).miles("front")) == [2000, 6000]
    assert list(plan.winter(HARD).miles("front")) == [1500, 4500]
    assert season.mean_miles(plan.at("front")) == 2000 and math.isnan(season.mean_miles(plan.at("wing_left")))


def test_the_busiest_trucks_make_up_the_share():
    plan = ms.plan((1000.0, 4000.0, 3000.0, 0.0)).at("front")
    assert list(season.busiest(plan, 0.5)) == [False, True, False, False]
    assert list(season.busiest(plan, 0.6)) == [False, True, True, False]
    assert list(season.busiest(plan, 1.0)) == [True, True, True, False]
    with pytest.raises(UsageError, match=r"1\.5"):
        season.busiest(plan, 1.5)


def test_the_miles_of_this_season_are_whole_or_not_known():
    driven = pd.DataFrame(
        {
            c.TRUCK_ID: ["T-1", "T-2", "T-2", "T-3", "T-4"],
            c.PLOW_POSITION: "front",
            c.MILES_MI: [500.0, 400.0, math.nan, 300.0, math.nan],
        }
    )
    found = season.season_miles(None, ms.trucks(5), driven=driven)
    # by hand: T-2 drove 400 miles and some more, T-4 some, T-5 carried nothing: none of the three has miles that could be planned
    assert list(found.table[c.TRUCK_ID]) == ["T-1", "T-3"]
    assert list(found.miles("front")) == [500.0, 300.0]
    assert found.notes[1] == (
        "The miles of this season are not known for 3 truck positions (T-2 front, T-4 front and T-5 front); costs of a season and the "
        "order leave them out."
    )


def test_a_season_whose_miles_are_all_known_has_one_note():
    driven = pd.DataFrame({c.TRUCK_ID: ["T-1"], c.PLOW_POSITION: "front", c.MILES_MI: [500.0]})
    assert len(season.season_miles(None, ms.trucks(1), driven=driven).notes) == 1
