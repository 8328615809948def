import math

import numpy as np
import pytest

from trialkit.stats.inference import Pairing, Sample, difference_interval
from trialkit.stats.power import Arm, least_detected, least_units, power_to_show, power_with_df, t_test_power

TRIALS = 40_000


def share_shown(a, b, seed, correlation=None):
    """Share of simulated comparisons whose interval lies above zero."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((TRIALS, a.n))
    y = rng.standard_normal((TRIALS, b.n))
    pairing = None
    if correlation is not None:
        y = correlation * x + math.sqrt(1 - correlation**2) * y
    x, y = a.mean + math.sqrt(a.variance) * x, b.mean + math.sqrt(b.variance) * y
    if correlation is not None:
        dx, dy = x - x.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
        pairing = Pairing(
            np.full(TRIALS, a.n),
            (dx * dy).sum(axis=1) / np.sqrt((dx**2).sum(axis=1) * (dy**2).sum(axis=1)),
        )
    samples = (
        Sample(v.mean(axis=1), v.var(axis=1, ddof=1), np.full(TRIALS, arm.n), arm.variance_floor, arm.bound)
        for v, arm in ((x, a), (y, b))
    )
    return float((difference_interval(*samples, pairing).conf_low > 0).mean())


@pytest.mark.parametrize(
    ("a", "b", "correlation"),
    [
        (Arm(8.0, 1.0, 2), Arm(0.0, 0.05, 2), None),
        (Arm(3.0, 1.0, 3), Arm(0.0, 0.05, 3), None),
        (Arm(2.4, 1.0, 4), Arm(0.0, 1.0, 4), None),
        (Arm(1.4, 1.0, 6), Arm(0.0, 0.3, 6), None),
        (Arm(2.2, 1.0, 2), Arm(0.0, 0.3, 6), None),
        (Arm(2.0, 1.0, 3), Arm(0.0, 0.3, 8), None),
        (Arm(2.0, 0.5, 4, 0.6, 0.2), Arm(0.0, 0.01, 4, 0.2, 0.3), None),
        (Arm(1.2, 1.0, 5), Arm(0.0, 0.4, 5), 0.7),
        (Arm(1.2, 1.0, 4, 0.1, 0.2), Arm(0.0, 0.9, 4, 0.1, 0.1), 0.9),
    ],
)
def test_power_is_that_of_the_test_the_analyses_make(a, b, correlation):
    # known truth: normal units; the standard error of the simulated share is at most 0.0025
    assert power_to_show(a, b, correlation=correlation) == pytest.approx(
        share_shown(a, b, 20310114, correlation), abs=0.0085
    )


def test_one_unit_shows_nothing():
    assert power_to_show(Arm(5.0, 0.1, 1), Arm(0.0, 0.1, 4)) == 0.0


def test_without_spread_the_bound_decides():
    assert power_to_show(Arm(1.0, 0.0, 3, bound=0.4), Arm(0.0, 0.0, 3, bound=0.5)) == 1.0
    assert power_to_show(Arm(1.0, 0.0, 3, bound=0.4), Arm(0.0, 0.0, 3, bound=0.7)) == 0.0
    assert power_to_show(Arm(1.0, 0.0, 3), Arm(0.0, 0.0, 3), correlation=1.0) == 1.0


def test_pairs_come_in_the_same_number():
    with pytest.raises(ValueError, match="there are 3 and 4 of them"):
        power_to_show(Arm(1.0, 0.1, 3), Arm(0.0, 0.1, 4), correlation=0.5)


def test_one_pair_or_unit_has_no_t_test():
    assert math.isnan(t_test_power(1.0, 1.0, 1))
    assert math.isnan(t_test_power(1.0, 1.0, 1, 1))


def test_power_without_a_difference_is_the_level():
    assert t_test_power(0.0, 1.0, 5, 5) == pytest.approx(0.05)
    assert t_test_power(0.0, 1.0, 5, 5, one_sided=True) == pytest.approx(0.05)


def test_power_with_given_degrees_of_freedom_is_the_noncentral_t():
    expected = t_test_power(1.2, 1.0, 5, 5, confidence_level=0.975, one_sided=True)
    assert power_with_df(1.2, math.sqrt(2 / 5), 8) == pytest.approx(expected, abs=1e-6)
    assert power_with_df(1.2, 0.0, 8) == 1.0
    assert power_with_df(1.2, 1.0, 0) == 0.0


def test_a_huge_difference_is_always_shown():
    assert t_test_power(60.0, 1.0, 5, 5) == pytest.approx(1.0)


def test_least_detected_of_a_known_curve():
    # by hand: power x / 10
    assert least_detected(lambda x: x / 10, 0.0, 10.0) == pytest.approx(8.0)
    assert math.isnan(least_detected(lambda x: x / 10, 0.0, 7.0))
    assert least_detected(lambda x: 1.0, 1.0, 7.0) == 1.0


@pytest.mark.parametrize("units", [2, 3, 7, 8, 9, 600])
def test_fewest_units_of_a_known_curve(units):
    assert least_units(lambda n: float(n >= units)) == units


def test_fewest_units_may_be_out_of_reach():
    assert least_units(lambda n: 0.1) is None
    assert least_units(lambda n: float(n >= 1000)) == 1000
    assert least_units(lambda n: float(n >= 1001)) is None
