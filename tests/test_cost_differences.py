"""Differences in cost: Welch's interval, the wear as the least of the doubt, and interval and chance that agree."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import costs
from trialkit.money.cost_differences import EDGES_ALONE, chance_words
from trialkit.money.inputs import Use
from trialkit.stats.inference import Pairing, Sample


def test_a_difference_without_other_doubt_has_welchs_interval():
    # Welch by hand: 2 sets/1,000 mi at 820 and 0.8 at 1,220 with variances 0.16/4 and 0.0256/4:
    # SE = sqrt(0.82^2 0.04 + 1.22^2 0.0064) = 0.19080, df = SE^4 / (0.026896^2/3 + 0.0095258^2/3) = 4.887,
    # t(0.975, 4.887) = 2.5881 (scipy 1.17, stats.t.ppf)
    given = {
        ms.STEEL: Use(Sample(2.0, 0.16, 4), 0, 0, 1e12),
        ms.CARBIDE: Use(Sample(0.8, 0.0256, 4), 0, 0, 1e12),
    }
    found = costs.estimate_costs(ms.cost_inputs(uses=given, n_draws=200_000)).compared.iloc[0]
    assert found[c.ESTIMATE] == pytest.approx(0.8 * 1.22 - 2 * 0.82)
    half = (found[c.CONF_HIGH] - found[c.CONF_LOW]) / 2
    assert half == pytest.approx(2.5881 * 0.19080, rel=0.02)


def test_no_difference_is_narrower_than_that_of_the_wear_alone():
    given = ms.uses(2)
    few = given | {
        ms.CARBIDE: Use(Sample(0.8, 0.0256, 2), 2, 0, 8000.0),
        ms.STEEL: Use(Sample(2.0, 0.16, 2), 2, 0, 8000.0),
    }
    for uses in (given, few):
        found = costs.estimate_costs(ms.cost_inputs(uses=uses))
        drawn = found.differences[ms.CARBIDE, EDGES_ALONE]
        low, high = drawn.interval(0.95)
        alone = drawn.wear.interval(0.95)
        assert low <= alone[0] and alone[1] <= high
        assert drawn.p_saves(0.0) >= drawn.wear.p_saves(0.0)


def test_trucks_that_carried_both_types_narrow_the_difference():
    paired = {ms.CARBIDE: Pairing(4, 0.9)}
    apart, together = (
        costs.estimate_costs(ms.cost_inputs(pairings=pairs)).compared.iloc[0] for pairs in ({}, paired)
    )
    assert together[c.CONF_HIGH] - together[c.CONF_LOW] < apart[c.CONF_HIGH] - apart[c.CONF_LOW]


@pytest.mark.parametrize("bound", [0.0, 0.3])
@pytest.mark.parametrize("n", [2, 3, 8])
def test_the_chance_agrees_with_the_interval_of_the_difference(n, bound):
    # what a two-sided 95 % interval leaves on each side is 2.5 %
    for mean in (0.2, 0.6, 1.0, 1.3, 2.0, 4.0):
        given = ms.uses() | {ms.CARBIDE: Use(Sample(mean, 0.04, n, 0.0, bound), 0, 0, 8000.0)}
        compared = costs.estimate_costs(ms.cost_inputs(uses=given)).compared.iloc[0]
        low, high, chance = (compared[name] for name in (c.CONF_LOW, c.CONF_HIGH, c.CHANCE_CHEAPER))
        assert (high < 0) == (chance > 0.975) and (low > 0) == (chance < 0.025)
        assert (chance >= 0.5) if compared[c.ESTIMATE] < 0 else (chance <= 0.5)


def test_lines_unknown_for_one_type_are_left_out_of_both_in_the_difference():
    short = ms.costs()[lambda frame: (frame[c.ITEM] != "disposal") | (frame[c.EDGE_TYPE] != ms.CARBIDE)]
    found = costs.estimate_costs(ms.cost_inputs(costs=short))
    compared = found.compared.iloc[0]
    assert compared[c.UNKNOWN_LINES] == "disposal"
    assert compared[c.ESTIMATE] == pytest.approx(0.8 * 1.23 - 2 * 0.83)


def test_a_line_unknown_for_one_type_is_left_out_of_the_breaks_of_both():
    rows = ms.costs()
    down = rows[rows[c.ITEM] == "truck_down"].assign(**{c.EDGE_TYPE: ms.STEEL})
    partly = pd.concat([rows[rows[c.ITEM] != "truck_down"], down])
    nowhere = rows[rows[c.ITEM] != "truck_down"]
    found = [costs.estimate_costs(ms.cost_inputs(costs=one, uses=ms.uses(2))) for one in (partly, nowhere)]
    # where down time counts for neither, it makes no difference that it is known for one
    compared = [one.compared.iloc[0][[c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]].astype(float) for one in found]
    assert list(compared[0]) == pytest.approx(list(compared[1]))
    assert found[0].compared.iloc[0][c.UNKNOWN_LINES] == "truck down time"


def test_chance_words():
    assert [chance_words(one) for one in (0.5, 0.995, 0.001, math.nan)] == [
        "50%",
        "above 99%",
        "below 1%",
        "not known",
    ]
