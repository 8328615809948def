"""Power of t tests and sizes of trials against R, printed tables and exact arithmetic.

The R values come from ``Rscript planning.R`` in ``r/`` (R 4.2.2, stats), 10 significant digits.
"""

import math

import pytest

from trialkit.planning.miles_needed import miles_needed
from trialkit.planning.schedule import Schedule
from trialkit.stats.power import (
    Arm,
    least_detected,
    power_to_show,
    slope_variance,
    t_test_power,
    units_by_normal_curve,
)


@pytest.mark.parametrize(
    ("n", "difference", "level", "power"),
    [
        # other software: R 4.2.2, power.t.test(n = 20, delta = 1, sd = 1, strict = TRUE)
        (20, 1.0, 0.05, 0.8689530277),
        # other software: R 4.2.2, power.t.test(n = 10, delta = 1, sd = 1, strict = TRUE)
        (10, 1.0, 0.05, 0.5620066466),
        # other software: R 4.2.2, power.t.test(n = 3, delta = 2, sd = 1, strict = TRUE)
        (3, 2.0, 0.05, 0.4626408119),
        # other software: R 4.2.2, power.t.test(n = 5, delta = 1.5, sd = 1, strict = TRUE)
        (5, 1.5, 0.05, 0.5493855978),
        # other software: R 4.2.2, power.t.test(n = 4, delta = 3, sd = 1, sig.level = 0.01, strict = TRUE)
        (4, 3.0, 0.01, 0.6875268778),
    ],
)
def test_power_of_two_equal_samples(n, difference, level, power):
    assert t_test_power(difference, 1.0, n, n, confidence_level=1 - level) == pytest.approx(power, abs=5e-11)


def test_power_of_two_unequal_samples():
    # other software: R package pwr 1.3-0, pwr.t2n.test(n1 = 6, n2 = 10, d = 1.2)
    assert t_test_power(1.2, 1.0, 6, 10) == pytest.approx(0.5804271089, abs=5e-11)


def test_units_for_a_wanted_power():
    # other software: R 4.2.2, power.t.test(power = .90, delta = 1): n = 22.02110 as printed in ?power.t.test
    assert t_test_power(1.0, 1.0, 22.02110, 22.02110) == pytest.approx(0.90, abs=5e-7)
    # other software: R 4.2.2, power.t.test(power = .90, delta = 1, alternative = "one.sided"): n = 17.84713
    assert t_test_power(1.0, 1.0, 17.84713, 17.84713, one_sided=True) == pytest.approx(0.90, abs=5e-7)
    # other software: R 4.2.2, power.t.test(delta = .5, sd = 1, power = .80, type = "paired"): n = 33.36713
    assert t_test_power(0.5, 1.0, 33.36713) == pytest.approx(0.80, abs=5e-7)


@pytest.mark.parametrize(
    ("units", "least"),
    [
        # other software: R 4.2.2, uniroot over pt(..., ncp), power 0.80, 2 units per arm
        (2, 5.653489266),
        # other software: R 4.2.2, same, 3 units
        (3, 3.070892844),
        # other software: R 4.2.2, same, 4 units
        (4, 2.380755568),
        # other software: R 4.2.2, same, 5 units
        (5, 2.024440977),
        # other software: R 4.2.2, same, 6 units
        (6, 1.795542618),
    ],
)
def test_least_difference_of_slopes(units, least):
    def near_tail(difference):
        return t_test_power(difference, 1.0, units, units, confidence_level=0.975, one_sided=True)

    assert least_detected(near_tail, 0.0, 20.0) == pytest.approx(
        least, rel=3e-6
    )  # R's noncentral t is good to about 1e-6 here


def test_paired_power_is_the_noncentral_t():
    arms = (Arm(1.0, 0.8, 7), Arm(0.4, 0.5, 7))
    # by hand: variance of a difference 0.8 + 0.5 - 2 * 0.6 * sqrt(0.4)
    spread = math.sqrt(1.3 - 1.2 * math.sqrt(0.4))
    expected = t_test_power(0.6, spread, 7, confidence_level=0.975, one_sided=True)
    assert power_to_show(*arms, correlation=0.6) == pytest.approx(expected, abs=1e-7)


DIGGLE = {
    # published: Diggle et al., "Analysis of Longitudinal Data", 2002, table on p. 29, read in the tests of the R package
    # longpower 1.0.27 (readings at 0, 2 and 5; difference of slopes 0.5; one-sided 0.05; power 0.80)
    (0.2, 100): 313, (0.2, 200): 625, (0.2, 300): 938,
    (0.5, 100): 196, (0.5, 200): 391, (0.5, 300): 586,
    (0.8, 100): 79, (0.8, 200): 157, (0.8, 300): 235,
}  # fmt: skip


@pytest.mark.parametrize(("correlation", "variance"), DIGGLE)
def test_units_for_a_difference_of_slopes(correlation, variance):
    of_slope = slope_variance([0, 2, 5], variance * (1 - correlation))
    assert math.ceil(units_by_normal_curve(0.5, of_slope, one_sided=True)) == DIGGLE[correlation, variance]


def test_units_with_slopes_that_differ_between_units():
    of_slope = slope_variance([0, 0.25, 0.5, 0.75, 1, 1.25, 1.5], 10.0, between=24.0)
    # other software: R package longpower 1.0.27, lmmpower with slope variance 24, residual 10: as its vignette prints
    assert units_by_normal_curve(1.5, of_slope) == pytest.approx(207.310, abs=5e-4)
    # other software: the same with n = 208: a difference of 1.4975
    assert units_by_normal_curve(1.497510289, of_slope) == pytest.approx(208, rel=1e-8)


def test_leaving_the_spread_of_slopes_out_asks_for_far_too_few():
    # published: Belenky et al. 2003 (data sleepstudy of R package lme4): slope 10.46729, slope variance 35.07171, residual
    # variance 654.94 (lme4 1.1-31, lmer(Reaction ~ Days + (Days | Subject))); 30 % change, days 0 to 9
    change, between, residual = 0.3 * 10.46729, 35.07171, 654.94
    with_slopes = units_by_normal_curve(change, slope_variance(range(10), residual, between))
    # other software: R package longpower 1.0.27, lmmpower(fit, pct.change = 0.30, t = 0:9, power = 0.80): 68.4699
    assert with_slopes == pytest.approx(68.4699, abs=0.01)  # the variances above are rounded to seven digits
    assert with_slopes / units_by_normal_curve(change, slope_variance(range(10), residual)) > 5


def test_detection_limit_of_a_difference():
    # published: Currie, Analytical Chemistry 40, 1968: L_D = 4.65 s_B for a difference of two readings (from memory)
    found = miles_needed(Schedule(stations=1, error_in=0.04, step_in=0.0), {"a": 1.8})
    assert found.table["least_wear_in"].iloc[0] == pytest.approx(4.65 * 0.04, abs=0.005 * 0.04)
    # by hand: sqrt(2) * 0.04 / 0.2 in of wear at 1.8 in per 1,000 miles
    assert found.table["miles_to_know_mi"].iloc[0] == pytest.approx(1000 * math.sqrt(2) * 0.04 / 0.2 / 1.8)
