import math
from dataclasses import replace

import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.planning import sizing
from trialkit.planning.life_power import power_of_life_ratio
from trialkit.planning.schedule import Schedule
from trialkit.planning.sizing import PARALLEL, ROTATED, WearPlan
from trialkit.stats.power import t_test_power

PLAN = WearPlan(4.0, Schedule(miles_mi=(1000,)), truck_cv=0.2, station_cv=0.0)


def test_exact_rates_leave_only_the_spread_between_trucks():
    exact = Schedule(miles_mi=(1e6,), every_mi=1e3, error_in=0.0, step_in=0.0)
    plan = WearPlan(4.0, exact, truck_cv=0.2, route_share=0.0, station_cv=0.0)
    ratio = 1.4
    # by hand: paired differences with the mean 4 - 4 / 1.4 and the variance 0.04 (16 + 16 / 1.96), noncentral t
    spread = 0.2 * math.sqrt(16 + 16 / 1.96)
    expected = t_test_power(4 - 4 / 1.4, spread, 6, confidence_level=0.975, one_sided=True)
    assert sizing.power_of_ratio(plan, ratio, 6, ROTATED) == pytest.approx(expected, abs=1e-6)


def test_a_difference_that_can_be_shown_has_the_power_planned_for():
    found = sizing.size_wear(replace(PLAN, power=0.9, reference_depth_in=3.0, other_depth_in=0.9), [5, 9])
    for row in found.table.to_dict("records"):
        n, design = row[c.N_TRUCKS], row[c.DESIGN]
        for column, power_of, inverse in (
            (c.DETECTABLE_RATIO, sizing.power_of_ratio, False),
            (c.DETECTABLE_FASTER, sizing.power_of_ratio, True),
            (c.DETECTABLE_LIFE_RATIO, power_of_life_ratio, False),
        ):
            ratio = 1 / row[column] if inverse else row[column]
            assert power_of(found.plan, ratio, n, design) == pytest.approx(0.9, abs=0.01)


def test_more_trucks_show_smaller_differences_and_rotation_helps():
    table = sizing.size_wear(PLAN, range(4, 10)).table
    parallel, rotated = (
        table.loc[table[c.DESIGN] == design, c.DETECTABLE_RATIO] for design in (PARALLEL, ROTATED)
    )
    assert parallel.is_monotonic_decreasing
    assert rotated.is_monotonic_decreasing
    assert (rotated.to_numpy() < parallel.to_numpy()).all()


def test_trucks_in_all():
    table = sizing.size_wear(replace(PLAN, edge_types=3), [4]).table
    assert table[c.TRUCKS_TOTAL].tolist() == [12, 4]


def test_more_types_need_a_larger_difference():
    two, three = (
        sizing.size_wear(replace(PLAN, edge_types=k), [5], [PARALLEL]).table[c.DETECTABLE_RATIO].iloc[0]
        for k in (2, 3)
    )
    assert three > two
    # by hand: two comparisons share the 5 %
    assert replace(PLAN, edge_types=3).level_each == pytest.approx(0.975)


def test_unequal_numbers_of_trucks():
    more_reference = sizing.power_of_ratio(PLAN, 1.6, 4, n_reference=8)
    assert more_reference > sizing.power_of_ratio(PLAN, 1.6, 4)


def test_unequal_miles_show_less_than_the_same_miles_for_all():
    coarse = Schedule(miles_mi=(300,), stations=1, error_in=0.1)
    plan = WearPlan(1.0, coarse, truck_cv=0.1)
    mixed = replace(plan, schedule=replace(coarse, miles_mi=(100, 500)))
    assert sizing.power_of_ratio(mixed, 2.0, 6) < sizing.power_of_ratio(plan, 2.0, 6)
    assert any("different distances" in note for note in sizing.size_wear(mixed, [6]).notes)


def test_trucks_needed_is_the_first_number_that_suffices():
    n = sizing.trucks_needed(PLAN, 1.5)
    assert sizing.power_of_ratio(PLAN, 1.5, n) >= 0.8 > sizing.power_of_ratio(PLAN, 1.5, n - 1)
    assert sizing.trucks_needed(PLAN, 1.5, ROTATED) < n
    assert sizing.trucks_needed(replace(PLAN, truck_cv=2.5), 1.01) is None


def test_one_truck_and_two_show_nothing():
    found = sizing.size_wear(PLAN, [1, 2], [PARALLEL])
    assert found.table[c.DETECTABLE_RATIO].isna().all()
    assert found.sentence_for(1) == (
        "With 1 truck per type this trial cannot be counted on to show any difference in wear (in 80 of 100 such trials)."
    )


def test_what_is_said():
    found = sizing.size_wear(replace(PLAN, reference_depth_in=3.0, other_depth_in=0.9), [4, 8])
    ratio = found.row(4)[c.DETECTABLE_RATIO]
    said = sizing.rounded_up(ratio)
    assert float(said) >= ratio
    assert found.sentence_for(4) == (
        f"With 4 trucks per type this trial can show a difference in wear of {said} times or more (in 80 of 100 such trials)."
    )
    life = sizing.rounded_up(found.row(8, ROTATED)[c.DETECTABLE_LIFE_RATIO])
    assert found.sentence_for(8, ROTATED, life=True) == (
        f"With 8 trucks that carry every type in turn this trial can show a difference in life of {life} times or more "
        "(in 80 of 100 such trials)."
    )
    assert found.sentence() == f"{found.sentence_for(4)} {found.sentence_for(8, ROTATED)}"
    assert "4.00 in per 1,000 miles" in found.method
    assert "Times slower that can be shown" in found.summary()


def test_what_is_said_in_metric_units():
    with display.showing("metric"):
        method = sizing.size_wear(PLAN, [4], [PARALLEL]).method
    # by hand: 4 * 25.4 / 1.609344 = 63.1; 1,000 miles are 1,609 km, 120 are 193
    for part in (
        "63.1 mm per 1,000 kilometers",
        "1,609 kilometers a truck",
        "every 193 kilometers",
        "0.76 mm",
    ):
        assert part in method


def test_no_sizes_no_rows():
    found = sizing.size_wear(PLAN, [])
    assert found.table.empty
    assert found.sentence() == "No trial was sized."


def test_lives_need_usable_depths():
    assert sizing.size_wear(PLAN, [5]).table[c.DETECTABLE_LIFE_RATIO].isna().all()


def test_wrong_use_is_said():
    with pytest.raises(UsageError, match="crossed is not a design; the designs are: parallel and rotated"):
        sizing.size_wear(PLAN, [4], ["crossed"])
    with pytest.raises(UsageError, match="1 or more"):
        sizing.power_of_ratio(PLAN, 2.0, 0)
    with pytest.raises(UsageError, match="No parallel trial with 7 trucks was sized; sized: 4 and 5"):
        sizing.size_wear(PLAN, [4, 5]).row(7)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"reference_rate": 0.0}, "reference_rate is 0; allowed: above 0"),
        ({"truck_cv": -0.1}, "truck_cv is -0.1"),
        ({"station_cv": 4.0}, "station_cv is 4"),
        ({"route_share": 1.5}, "route_share is 1.5; allowed: 0 to 1"),
        ({"edge_types": 1}, "edge_types is 1; allowed: 2 or more"),
        ({"power": 1.0}, "power is 1;"),
        ({"confidence_level": 95}, "confidence_level is 95;"),
        (
            {"reference_depth_in": 0.0, "other_depth_in": -1.0},
            "reference_depth_in is 0; .*; other_depth_in is -1",
        ),
    ],
)
def test_impossible_plans_are_refused(changes, said):
    with pytest.raises(ValueError, match=said):
        replace(PLAN, **changes)


def test_plans_by_type():
    depths = {"steel": 3.0, "carbide": 0.6, "rubber": 0.9}
    plans = sizing.plans_by_type(PLAN, depths, "steel", by_section=["rubber"])
    assert list(plans) == ["carbide", "rubber"]
    assert plans["carbide"].depth_ratio == pytest.approx(0.2)
    by_section = [(plan.reference_by_section, plan.other_by_section) for plan in plans.values()]
    assert by_section == [(False, False), (False, True)]


def test_stations_that_differ_add_to_the_spread():
    uneven = replace(PLAN, station_cv=0.4)
    assert sizing.power_of_ratio(uneven, 1.6, 5) < sizing.power_of_ratio(PLAN, 1.6, 5)


def test_a_trial_that_is_too_small_is_told_what_a_larger_one_would_show():
    found = sizing.size_wear(PLAN, [1, 6], [PARALLEL, ROTATED])
    larger = sizing.rounded_up(found.row(6)[c.DETECTABLE_RATIO])
    assert found.sentence_for(1) == (
        "With 1 truck per type this trial cannot be counted on to show any difference in wear (in 80 of 100 such trials); 6 trucks per "
        f"type would show one of {larger} times or more."
    )
    turned = sizing.rounded_up(found.row(6, ROTATED)[c.DETECTABLE_RATIO])
    assert found.sentence_for(1, ROTATED).endswith(f"; 6 trucks would show one of {turned} times or more.")
