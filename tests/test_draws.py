"""Draws: their quantiles are the ends of the intervals they stand for, and a known truth is covered."""

import math
import sys
import time
from pathlib import Path

import money_samples as ms
import numpy as np
import pytest
from scipy import stats

from trialkit.money import draws, lines
from trialkit.money.costs import estimate_costs
from trialkit.money.draws import LOWER, MIDDLE, UPPER
from trialkit.money.inputs import Use
from trialkit.stats.inference import Pairing, Sample, mean_interval

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
import cost_coverage

SHARES = [0.025, 0.5, 0.975]


def test_the_use_has_the_ends_of_the_t_interval():
    inputs = ms.cost_inputs(n_draws=400_000)
    edge = inputs.edge(ms.STEEL)
    found = np.quantile(draws.draw_edge(edge, inputs).use * 1000, SHARES)
    ends = mean_interval(edge.use.sample)
    assert found == pytest.approx([ends.conf_low, 2.0, ends.conf_high], abs=0.015)


def test_the_bound_of_rounding_shifts_the_ends_and_nothing_is_negative():
    given = ms.uses() | {ms.STEEL: Use(Sample(0.1, 0.16, 4, 0.0, 0.05), 0, 0, 8000.0)}
    inputs = ms.cost_inputs(uses=given)
    drawn = draws.draw_edge(inputs.edge(ms.STEEL), inputs)
    low, middle, high = (drawn.at(side).use for side in (LOWER, MIDDLE, UPPER))
    assert low.min() == 0 and np.all(low <= middle) and np.all(middle <= high)
    assert (drawn.use < 0).any()
    np.testing.assert_allclose(high[drawn.use > 0] - middle[drawn.use > 0], 0.05 / 1000)


@pytest.mark.parametrize("events", [0, 1, 5])
def test_breaks_have_the_quantiles_of_their_distribution(events):
    given = ms.uses() | {ms.STEEL: Use(Sample(2.0, 0.16, 4), events, 0, 8000.0)}
    inputs = ms.cost_inputs(uses=given, n_draws=400_000)
    found = np.quantile(draws.draw_edge(inputs.edge(ms.STEEL), inputs).breaks * 8000, SHARES)
    # scipy 1.17, stats.gamma.ppf(share, events + 0.5)
    assert found == pytest.approx(stats.gamma.ppf(SHARES, events + 0.5), rel=0.03, abs=0.002)


def test_breaks_of_a_section_type_are_divided_as_they_were_seen():
    for sets, sections in ((0, 0), (1, 3), (2, 0)):
        given = ms.uses() | {ms.RUBBER: Use(Sample(0.2, 0.0016, 4), sets, sections, 8000.0)}
        inputs = ms.cost_inputs(uses=given)
        drawn = draws.draw_edge(inputs.edge(ms.RUBBER), inputs)
        share = sets / (sets + sections) if sets + sections else 0.0
        np.testing.assert_allclose(drawn.breaks * (1 - share), drawn.section_breaks * share)


def test_unknown_miles_draw_no_breaks():
    inputs = ms.cost_inputs(uses={ms.STEEL: Use(Sample(2.0, 0.16, 4), 3, 0, math.nan)})
    assert not draws.draw_edge(inputs.edge(ms.STEEL), inputs).breaks.any()


def test_a_pair_has_the_correlation_of_the_trucks():
    given = ms.cost_inputs(pairings={ms.CARBIDE: Pairing(4, 0.8)}, n_draws=100_000)
    (own, other), alone = draws.draw_pairs(given.edge(ms.CARBIDE), given.edge(ms.STEEL), given, lines.LINES)
    assert not alone[0].breaks.any() and (alone[1].labour_h["change"] == 3.0).all()
    # of the means of the same trucks the correlation is that of the trucks; ranks, since t draws have wild tails
    ranks = stats.spearmanr(own.use, other.use).statistic
    assert 2 * math.sin(math.pi * ranks / 6) == pytest.approx(0.8, abs=0.03)


def test_pairs_that_all_tell_the_same_difference_are_drawn_apart():
    plain = ms.cost_inputs()
    weights = [draws.marginal_cost(plain.edge(kind), plain, lines.LINES) for kind in (ms.STEEL, ms.CARBIDE)]
    alike = 0.16 * (weights[0] / weights[1]) ** 2  # the cost of both varies alike from truck to truck
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, alike, 4), 0, 0, 8000.0)}
    inputs = ms.cost_inputs(uses=given, pairings={ms.CARBIDE: Pairing(4, 1.0)}, n_draws=20_000)
    own, other = draws.draw_pairs(inputs.edge(ms.CARBIDE), inputs.edge(ms.STEEL), inputs, lines.LINES)[0]
    assert np.isfinite(own.use).all() and np.isfinite(other.use).all()
    assert abs(stats.spearmanr(own.use, other.use).statistic) < 0.05


def test_hours_are_drawn_and_never_negative():
    inputs = ms.cost_inputs(n_draws=1000)
    steel = inputs.edge(ms.STEEL)
    fixed = draws.draw_edge(steel, inputs).labour_h["change"]
    assert (fixed == 3.0).all()
    from dataclasses import replace

    from trialkit.money.work import Hours

    vague = replace(steel.work["change"], labour=Hours(1.0, 2.0, 2.0, 3))
    drawn = draws.draw_edge(replace(steel, work={"change": vague}), inputs).labour_h["change"]
    assert drawn.min() == 0 and drawn.std() > 1


def test_ten_thousand_draws_take_less_than_a_second():
    started = time.process_time()
    estimate_costs(ms.cost_inputs())
    assert time.process_time() - started < 1.0


@pytest.mark.parametrize("name", ["4 trucks", "8 v 3 trucks"])
def test_the_difference_covers_a_known_truth(name):
    """Known truth: 200 trials of the benchmark; 93 to 97.5 %, each with three of its standard errors."""
    cell = next(cell for cell in cost_coverage.CELLS if cell.name == name)
    found = cost_coverage.coverage(cell, 200)["difference"]
    below, above = (
        3 * math.sqrt(bound * (1 - bound) / 200) for bound in (cost_coverage.LOW, cost_coverage.HIGH)
    )
    assert cost_coverage.LOW - below < found < cost_coverage.HIGH + above


@pytest.mark.parametrize(
    ("n", "level"), [(39, 0.8), (199, 0.9), (200, 0.95), (997, 0.99), (1001, 0.95), (10_000, 0.95)]
)
def test_an_interval_leaves_out_exactly_what_its_p_value_does(n, level):
    drawn = np.random.default_rng(2).standard_normal(n)
    low, high = draws.ends(drawn, drawn, level)
    for value in np.linspace(-4, 4, 801):
        below, above = (drawn <= value).sum(), (drawn >= value).sum()
        # p value of a simulated test, (count + 1) / (n + 1), on two sides (Davison and Hinkley, "Bootstrap methods and their
        # application", 1997, equation 4.11; from memory)
        assert (low > value) == (2 * (below + 1) / (n + 1) < 1 - level)
        assert (high < value) == (2 * (above + 1) / (n + 1) < 1 - level)


def test_ends_of_draws_of_which_some_are_infinite_or_missing():
    drawn = np.r_[np.arange(1.0, 100.0), np.inf]
    # by hand: of 100 draws at most 4 may lie beyond an end, since 2 x 5 / 101 is below a tenth and 2 x 6 / 101 is not
    assert draws.ends(drawn, drawn, 0.9) == (5.0, 96.0)
    assert np.isnan(draws.ends([1.0, np.nan], [1.0, 2.0], 0.9)[0])
    assert draws.ends(0.5, 0.5, 0.95) == (0.5, 0.5)
