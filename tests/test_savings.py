"""Savings in the cost of edges: what must be saved to be shown, beside the smallest saving that is worth a change."""

import math
from dataclasses import replace

import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.planning import savings
from trialkit.planning.life_power import detectable_life_ratio, power_of_life_ratio
from trialkit.planning.schedule import Schedule
from trialkit.planning.sizing import power_of_ratio, rounded_up, share_of_trials, step_words
from trialkit.planning.wear_plan import ROTATED, WearPlan

PLAN = WearPlan(
    3.0, Schedule(miles_mi=(900,), every_mi=100), truck_cv=0.2, reference_depth_in=30.0, other_depth_in=9.0
)
EXACT = replace(
    PLAN, station_cv=0.0, reference_by_section=True, other_by_section=True, other_depth_in=30.0,
    schedule=Schedule(miles_mi=(900,), every_mi=100, error_in=1e-6, step_in=0.0),
)  # fmt: skip


@pytest.mark.parametrize("design", ["parallel", ROTATED])
@pytest.mark.parametrize("price", [0.5, 2.0, 6.0])
def test_with_exact_readings_only_the_ratio_of_the_costs_counts(design, price):
    # by hand: costs are price x wear, both spread in proportion to their means, so a type that costs `price` times as much and
    # lasts 1.6 x price times as long is told from the reference as surely as one of the same price that lasts 1.6 times as long
    found = power_of_life_ratio(EXACT, 1.6 * price, 5, design, beyond=price)
    assert found == pytest.approx(power_of_ratio(EXACT, 1.6, 5, design), abs=0.01)


def test_a_type_that_lasts_just_as_much_longer_as_it_is_dearer_is_seldom_said_to_be_cheaper():
    # known truth: no difference in cost; a two-sided 95% interval finds it on this side in 2.5 of 100 trials
    assert power_of_life_ratio(PLAN, 3.0, 6, beyond=3.0) == pytest.approx(0.025, abs=0.012)


def test_the_saving_is_that_of_the_life_from_which_on_it_shows():
    found = savings.size_savings(PLAN, 2.0, [4, 8])
    lives, saved = found.table[c.DETECTABLE_LIFE_RATIO], found.table[c.DETECTABLE_SAVING_PCT]
    assert power_of_life_ratio(PLAN, lives[1], 8, beyond=2.0) == pytest.approx(0.8, abs=0.01)
    # by hand: the price of a set over its life, against 1 for the reference
    assert saved.tolist() == pytest.approx([100 * (1 - 2.0 / life) for life in lives])
    assert saved[1] < saved[0] and lives[0] > 2 * detectable_life_ratio(PLAN, 4) * 0.9


def test_where_the_whole_interval_must_reach_it_more_must_be_saved():
    least = savings.size_savings(PLAN, 2.0, [6], worthwhile_pct=10.0)
    whole = savings.size_savings(PLAN, 2.0, [6], worthwhile_pct=10.0, whole_interval=True)
    assert whole.saving_pct(6) > max(least.saving_pct(6), 10.0)
    assert "excludes none" in least.method
    assert "excludes a smaller saving than the smallest worthwhile one" in whole.method


def test_what_is_said_of_a_saving_that_cannot_be_counted_on():
    found = savings.size_savings(
        PLAN, 1.83, [4, 8], worthwhile_pct=10.0, name="carbide insert", reference_name="plain steel"
    )
    life = rounded_up(found.table[c.DETECTABLE_LIFE_RATIO][0])
    saved = math.ceil(found.saving_pct(4))
    assert found.sentence_for(4) == (
        f"At 1.8 times the price of a set of plain steel, carbide insert must last {life} times as long, or more, to be shown "
        f"cheaper: a saving of {saved}% in the price of edges per mile (in 80 of 100 such trials). The smallest saving worth a "
        "change, 10%, cannot be counted on to show, not even with 8 trucks per type."
    )
    assert found.sentence().endswith("cannot be counted on to show.")


def test_what_is_said_where_it_can_or_more_trucks_are_needed():
    found = savings.size_savings(PLAN, 1.5, [4, 6, 12], worthwhile_pct=math.ceil(
        savings.size_savings(PLAN, 1.5, [12]).saving_pct(12)
    ))  # fmt: skip
    assert found.sentence_for(12).endswith("can be shown.")
    assert found.sentence_for(4).endswith("cannot be counted on to show; it takes 12 trucks per type.")
    assert "worth a change" not in savings.size_savings(PLAN, 1.5, [4]).sentence_for(4)


def test_one_truck_shows_no_saving():
    found = savings.size_savings(PLAN, 1.5, [1], worthwhile_pct=12.5, name="carbide")
    assert math.isnan(found.saving_pct(1))
    assert found.sentence_for(1) == (
        "At 1.5 times the price of a set of the reference, carbide cannot be counted on to be shown cheaper per mile (in 80 of 100 "
        "such trials). The smallest saving worth a change, 12.5%, cannot be counted on to show."
    )
    assert found.brief_for(1).startswith(
        "No saving in the price of edges per mile can be counted on to show ("
    )


def test_wrong_use_is_said():
    with pytest.raises(UsageError, match="ratio of the prices is 0"):
        savings.size_savings(PLAN, 0.0, [4])
    with pytest.raises(UsageError, match="smallest saving is 100%"):
        savings.size_savings(PLAN, 1.0, [4], worthwhile_pct=100.0)
    with pytest.raises(UsageError, match="No trial with 5 trucks was sized; sized: 4"):
        savings.size_savings(PLAN, 1.0, [4]).sentence_for(5)


def test_shares_and_steps_in_words():
    assert share_of_trials(0.9) == "in 90 of 100 such trials"
    # by hand: 1/16 = 0.0625
    assert step_words(0.0625) == "1/16 in" and step_words(0.005) == "0.005 in"
