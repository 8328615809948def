"""Sets a truck uses up: against arithmetic without spread, renewal theory with breakage, and the spread that is put in."""

import math

import money_samples as ms
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import sets_needed as sn
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample

LEVELS = [1000.0, 2000.0, 3000.0]


def used(use, spread=None, kind=ms.STEEL, n=20_000, seed=1):
    inputs = ms.cost_inputs(uses=ms.uses() | {kind: use})
    return sn.SetsUsed(inputs.edge(kind), spread or sn.Spread(0.0), np.random.default_rng(seed), n)


def firm(mean, events=0, miles=1e15, sections=0):
    return Use(Sample(mean, 1e-18, 4), events, sections, miles)


def test_without_spread_it_is_the_miles_over_the_life():
    # by hand: a life of 400 mi wears out at 400, 800, ...: 2, 4 and 7 by 1,000, 2,000 and 3,000 mi (a set that ends at 2,000 is not
    # replaced in that winter)
    found = used(firm(2.5001)).of_truck(LEVELS)
    assert found.outfit == 1 and (found.pieces == [2, 5, 7]).all()
    assert (used(firm(2.4999)).of_truck(LEVELS).pieces == [2, 4, 7]).all()


def test_a_part_worn_set_ends_sooner_and_needs_no_first_one():
    found = used(firm(2.5001)).of_truck(LEVELS, carried_frac=0.5)
    # by hand: 200, 600, 1000, ...
    assert found.outfit == 0 and (found.pieces == [3, 5, 8]).all()


def test_sections_wear_at_every_place():
    found = used(firm(0.6), kind=ms.RUBBER).of_truck([2000.0])
    assert (found.pieces == 5).all()


def test_only_breakage_is_a_poisson_process():
    # sets that never wear out and break 1 in 1,000 mi: Poisson with mean 3 in 3,000 mi (scipy 1.17, stats.poisson)
    found = used(firm(0.0, 10**9, 1e12)).of_truck([3000.0]).pieces[:, 0]
    assert found.mean() == pytest.approx(3, abs=0.05)
    assert [(found <= k).mean() for k in (1, 3, 6)] == pytest.approx(
        stats.poisson.cdf([1, 3, 6], 3), abs=0.01
    )


def test_wear_and_breakage_over_many_miles_agree_with_the_rate_of_the_cost():
    from trialkit.money.lines import worn_out_rate

    found = used(firm(2.0, 10**9, 1e12), n=2000).of_truck([100_000.0]).pieces
    assert found.mean() / 100_000 == pytest.approx(worn_out_rate(0.002, 0.001) + 0.001, rel=0.01)


def test_the_spread_of_trucks_and_sets_is_in_the_counts():
    wide = Use(Sample(2.0, 0.16, 4), 0, 0, 1e15)
    narrow, spread = used(firm(2.0)), used(wide, sn.Spread(0.4, 0.3))
    assert spread.of_truck([5000.0]).pieces.std() > narrow.of_truck([5000.0]).pieces.std()


def test_what_the_trial_leaves_open_is_common_to_all_trucks():
    made = used(Use(Sample(2.0, 0.16, 4), 0, 0, 1e15), n=4000)
    a, b = (made.of_truck([5000.0]).pieces[:, 0] for _ in range(2))
    assert stats.spearmanr(a, b).statistic > 0.3


def test_use_below_zero_does_not_run_on_forever():
    found = used(Use(Sample(0.001, 4.0, 3), 0, 0, 1e15), sn.Spread(2.0, 1.0)).of_truck([2000.0])
    assert found.pieces.min() == 0 and np.isfinite(found.pieces).all()


def test_the_parts_of_the_spread():
    # by hand: trucks 1.9 (2.0, 1.8) and 2.5 (2.4, 2.6): within (0.02 + 0.02) / 2 = 0.02; between 0.18 - 0.02 / 2
    sets = pd.DataFrame({c.TRUCK_UNIT: ["a", "a", "b", "b"], c.USE_PER_1000_MI: [2.0, 1.8, 2.4, 2.6]})
    found = sn.spread_of_use(Use(Sample(2.2, 0.18, 2)), sets)
    assert found.between_sets == pytest.approx(math.sqrt(0.02))
    assert found.between_trucks == pytest.approx(math.sqrt(0.17))
    assert sn.spread_of_use(Use(Sample(2.2, 0.18, 2))).between_trucks == pytest.approx(math.sqrt(0.18))
    assert sn.spread_of_use(Use(Sample(2.2, math.nan, 1)), sets) == sn.Spread(0.0)


def test_the_spread_between_sections_follows_from_the_next_one():
    # by hand: t(0.975, 3) = 3.18245; limit at mean + t x sqrt(0.04 + 0.01 + 0.05)
    use = Use(Sample(1.0, 0.04, 4))
    limit = 1000 / (1 + 3.18245 * math.sqrt(0.04 + 0.01 + 0.05))
    found = sn.spread_of_use(use, pred_low_mi=limit, section=True)
    assert found.between_places == pytest.approx(math.sqrt(0.05), rel=1e-4)
    assert sn.spread_of_use(use, pred_low_mi=900.0, section=True).between_places == 0


@pytest.mark.parametrize(("level", "expected"), [(0.1, 2), (0.3, 3), (0.9, 5), (0.91, 7), (0.999, 7)])
def test_order_quantity(level, expected):
    assert sn.order_quantity([2, 3, 3, 4, 4, 4, 4, 5, 5, 7], level) == expected


def test_levels_and_costs_that_are_none():
    with pytest.raises(UsageError, match="service level is 1"):
        sn.order_quantity([1, 2], 1.0)
    with pytest.raises(UsageError, match="a set short costs 0"):
        sn.critical_ratio(0.0, 5.0)


def test_sets_that_can_go_on_again():
    rows = [
        ("S-1", 400.0),  # by hand: 0.4 of its life is used up, 0.6 is left
        ("S-2", 950.0),  # less than a tenth is left
        ("S-4", 100.0),  # its use is not known
    ]
    lives = pd.DataFrame(rows, columns=[c.SET_ID, c.MILES_MI]).assign(
        **{c.EDGE_TYPE: ms.STEEL, c.PLOW_POSITION: "front", c.TRUCK_ID: "T-1"}
    )
    found = sn.remaining_shares(lives, {"S-1": 1.0, "S-2": 1.0})
    assert found[c.SET_ID].tolist() == ["S-1"] and found[sn.CARRIED_FRAC].tolist() == [0.6]
    assert sn.remaining_shares(lives, {"S-1": -0.1}).iloc[0][sn.CARRIED_FRAC] == 1.0
