import math
from dataclasses import replace

import pytest

from trialkit.errors import UsageError
from trialkit.planning.life_power import detectable_life_ratio, power_of_life_ratio
from trialkit.planning.schedule import Schedule
from trialkit.planning.sizing import power_of_ratio
from trialkit.planning.wear_plan import ROTATED, WearPlan

PLAN = WearPlan(
    3.0, Schedule(miles_mi=(900,), every_mi=100), truck_cv=0.2, reference_depth_in=30.0, other_depth_in=9.0
)


@pytest.mark.parametrize("design", ["parallel", "rotated"])
def test_sections_replaced_singly_are_the_comparison_of_mean_slopes(design):
    plan = replace(
        PLAN,
        reference_by_section=True,
        other_by_section=True,
        station_cv=0.0,
        schedule=replace(PLAN.schedule, step_in=0.0),
    )
    # by hand: with the same usable depth the ratio of lives is that of the wear rates
    same = replace(plan, other_depth_in=30.0)
    assert power_of_life_ratio(same, 1.6, 5, design) == pytest.approx(
        power_of_ratio(same, 1.6, 5, design), abs=0.01
    )


def test_the_ratio_that_is_shown_has_the_power_planned_for():
    for design in ("parallel", ROTATED):
        ratio = detectable_life_ratio(PLAN, 6, design)
        assert power_of_life_ratio(PLAN, ratio, 6, design) == pytest.approx(0.8, abs=0.01)


def test_the_same_plan_gives_the_same_answer():
    # without the cache in front of it, which would compare a result with itself
    worked_out = detectable_life_ratio.__wrapped__
    assert worked_out(PLAN, 5) == worked_out(replace(PLAN), 5) == detectable_life_ratio(PLAN, 5)


def test_more_trucks_show_smaller_ratios_and_rotation_helps():
    four, eight = (detectable_life_ratio(PLAN, n) for n in (4, 8))
    assert 1 < detectable_life_ratio(PLAN, 8, ROTATED) < eight < four


def test_a_shorter_life_may_be_looked_for():
    assert power_of_life_ratio(PLAN, 0.3, 6) > 0.9
    assert power_of_life_ratio(PLAN, 0.95, 6) < 0.2


def test_unequal_numbers_of_trucks():
    assert power_of_life_ratio(PLAN, 1.6, 4, n_reference=8) > power_of_life_ratio(PLAN, 1.6, 4)


def test_sets_that_wear_off_are_replaced():
    worn = replace(PLAN, reference_depth_in=1.0, other_depth_in=0.3)
    assert 1 < detectable_life_ratio(worn, 6) < 3


def test_one_station():
    plan = replace(PLAN, schedule=replace(PLAN.schedule, stations=1))
    assert 1 < detectable_life_ratio(plan, 6) < 3


def test_one_truck_or_too_few_show_nothing():
    assert math.isnan(detectable_life_ratio(PLAN, 1))
    assert math.isnan(detectable_life_ratio(replace(PLAN, truck_cv=0.4), 2))
    assert power_of_life_ratio(PLAN, 5.0, 1) == 0.0


def test_lives_need_usable_depths():
    with pytest.raises(UsageError, match="usable depth of both"):
        power_of_life_ratio(replace(PLAN, other_depth_in=math.inf), 2.0, 5)
