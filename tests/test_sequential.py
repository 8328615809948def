import numpy as np
import pytest

from trialkit.stats.inference import Sample, difference_interval
from trialkit.stats.sequential import (
    OBRIEN_FLEMING,
    POCOCK,
    crossing_probabilities,
    spending_limits,
    spent,
    t_limit,
)


@pytest.mark.parametrize("spending", [OBRIEN_FLEMING, POCOCK])
@pytest.mark.parametrize("shares", [[1.0], [0.5, 1.0], [0.1, 0.15, 0.9], [0.4, 0.4004, 1.0]])
def test_all_looks_together_spend_the_error(spending, shares):
    limits = spending_limits(shares, 0.05, spending)
    found = np.cumsum(crossing_probabilities(limits.z, shares))
    assert found == pytest.approx(limits.alpha_spent, abs=1e-10)
    assert limits.alpha_spent[-1] == 0.05


def test_limits_hold_in_simulated_trials():
    # known truth: random walks without a drift; standard error 0.0007
    rng = np.random.default_rng(5)
    shares = np.array([0.3, 0.7, 1.0])
    steps = rng.standard_normal((100_000, 3)) * np.sqrt(np.diff(shares, prepend=0))
    z = np.cumsum(steps, axis=1) / np.sqrt(shares)
    for spending in (OBRIEN_FLEMING, POCOCK):
        crossed = (np.abs(z) >= spending_limits(shares, spending=spending).z).any(axis=1).mean()
        assert crossed == pytest.approx(0.05, abs=0.0025)


@pytest.mark.parametrize("spending", [OBRIEN_FLEMING, POCOCK])
def test_limits_turned_into_t_hold_with_few_trucks(spending):
    """Four trucks each; a truck's value at a look is the mean of what it has done so far."""
    # known truth: no difference; standard error 0.0015
    rng = np.random.default_rng(7)
    n, shares = 20_000, (0.5, 1.0)
    limits = spending_limits(shares, spending=spending)
    halves = rng.standard_normal((2, 2, n, 4))  # look, type, trial, truck
    crossed = np.zeros(n, dtype=bool)
    for look in (1, 2):
        so_far = halves[:look].mean(axis=0)
        a, b = (Sample(v.mean(axis=1), v.var(axis=1, ddof=1), np.full(n, 4)) for v in so_far)
        crossed |= difference_interval(a, b).p_value < limits.nominal_p[look - 1]
    assert 0.035 < crossed.mean() < 0.055  # the Welch test itself errs in 4.4 % here


def test_next_to_nothing_is_spent_on_a_very_early_look():
    limits = spending_limits([0.01, 1.0])
    assert limits.z[0] == 9.0
    assert limits.nominal_p[1] == pytest.approx(0.05)


def test_nothing_spent_before_the_start():
    assert spent(0.0) == 0.0
    assert spent(-1.0, spending=POCOCK) == 0.0


def test_a_look_that_is_not_the_final_one_leaves_some():
    limits = spending_limits([0.5, 0.8], final=False)
    assert limits.alpha_spent[-1] == pytest.approx(spent(0.8))


def test_t_limit_of_a_p_value():
    # by hand: two-sided 5 % with 4 degrees of freedom, 2.776445 in every table
    assert t_limit(0.05, 4) == pytest.approx(2.776445, abs=5e-7)


@pytest.mark.parametrize("shares", [[], [0.0, 1.0], [0.5, 0.5], [0.9, 0.2], [0.5, 1.1]])
def test_shares_must_grow(shares):
    with pytest.raises(ValueError, match="do not grow"):
        spending_limits(shares)


def test_spending_must_be_known():
    with pytest.raises(
        ValueError, match='"haybittle" is not a way to spend the error; allowed: obrien_fleming, pocock'
    ):
        spent(0.5, spending="haybittle")
