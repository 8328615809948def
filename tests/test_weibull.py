from __future__ import annotations

import math

import numpy as np
import pytest

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats import weibull
from trialkit.stats.survival import Lives
from trialkit.stats.weibull import fit_weibull, log_likelihood

MIXED = Lives.between([410, 520, 0, 300, 700, 560], [410, 520, 350, 640, math.inf, 560], [1, 2, 1, 3, 4, 1])


def test_derivatives_agree_with_differences():
    at = np.array([0.4, math.log(650)])
    value, gradient, hessian = log_likelihood(MIXED, *at)
    step = 1e-5
    for k in range(2):
        shift = np.eye(2)[k] * step
        up, down = log_likelihood(MIXED, *(at + shift)), log_likelihood(MIXED, *(at - shift))
        assert gradient[k] == pytest.approx((up[0] - down[0]) / (2 * step), rel=1e-6)
        assert hessian[k] == pytest.approx((up[1] - down[1]) / (2 * step), rel=1e-6)
    assert math.isfinite(value)


def test_value_by_hand():
    lives = Lives.between([2.0, 3.0, 1.0], [2.0, math.inf, 4.0])
    # by hand: shape 2, scale 3: log(2*2/9) - 4/9; -1; log(exp(-1/9) - exp(-16/9))
    expected = math.log(4 / 9) - 4 / 9 - 1 + math.log(math.exp(-1 / 9) - math.exp(-16 / 9))
    assert log_likelihood(lives, math.log(2), math.log(3))[0] == pytest.approx(expected)


def test_gradient_is_zero_at_the_fit():
    fit = fit_weibull(MIXED)
    gradient = log_likelihood(MIXED, math.log(fit.shape), math.log(fit.scale))[1]
    assert np.abs(gradient).max() < 1e-7


def test_the_unit_does_not_matter():
    fit = fit_weibull(MIXED)
    km = fit_weibull(Lives(MIXED.low * 1.609344, MIXED.high * 1.609344, MIXED.count))
    assert km.shape == pytest.approx(fit.shape, rel=1e-9)
    assert km.scale == pytest.approx(1.609344 * fit.scale, rel=1e-9)
    assert km.std_error_log_scale == pytest.approx(fit.std_error_log_scale, rel=1e-7)
    tenth, longer = fit.quantile(0.1), km.quantile(0.1)
    assert longer.conf_low == pytest.approx(1.609344 * tenth.conf_low, rel=1e-7)


def test_counts_equal_repeated_lives():
    times = MIXED.count.astype(int)
    repeated = Lives.between(np.repeat(MIXED.low, times), np.repeat(MIXED.high, times))
    assert fit_weibull(repeated).shape == pytest.approx(fit_weibull(MIXED).shape, rel=1e-9)


def test_lives_with_count_zero_do_not_matter():
    more = Lives.between([*MIXED.low, 9000], [*MIXED.high, 9000], [*MIXED.count, 0])
    assert fit_weibull(more).scale == pytest.approx(fit_weibull(MIXED).scale, rel=1e-9)


def test_no_failures_give_a_bound():
    lives = Lives.exact([800, 900, 1000, 1100, 1200], [False] * 5)
    # closed form: 5000 / -log 0.05 = 1669.04
    with pytest.raises(
        NotEnoughDataError, match=r"none of 5 lives ended.*shape of 1 the scale is at least 1,669 .*95%"
    ):
        fit_weibull(lives)
    # closed form: (sum t^2 / -log 0.10)^(1/2) = sqrt(5.1e6 / 2.302585) = 1488.26
    with pytest.raises(NotEnoughDataError, match=r"shape of 2 the scale is at least 1,488 .*90%"):
        fit_weibull(lives, shape=2, confidence_level=0.90)


@pytest.mark.parametrize("n_ended", [1, 2])
def test_few_failures_need_a_shape(n_ended):
    lives = Lives.exact([300, 400, 500, 600], [k < n_ended for k in range(4)])
    with pytest.raises(
        NotEnoughDataError, match=f"{n_ended} of 4 lives ended; a Weibull shape needs at least 3"
    ):
        fit_weibull(lives)
    fit = fit_weibull(lives, shape=2)
    # closed form: scale^2 = sum t^2 / failures
    assert fit.scale == pytest.approx(math.sqrt((300**2 + 400**2 + 500**2 + 600**2) / n_ended))
    # closed form: the standard error of log scale is 1 / (shape sqrt(failures))
    assert fit.std_error_log_scale == pytest.approx(1 / (2 * math.sqrt(n_ended)))
    assert fit.shape_given
    assert math.isnan(fit.shape_interval().conf_low)


def test_one_failure_with_shape_one_has_the_textbook_ratio_interval():
    fit = fit_weibull(Lives.exact([1000, 1000], [True, False]), shape=1)
    # closed form: 2 (r log(s0/s) + T/s - r) = 3.841459 with r = 1, T = 2000: s between these ends
    got = fit.quantile(1 - math.exp(-1))
    for end in (got.conf_low, got.conf_high):
        assert 2 * (math.log(end / 2000) + 2000 / end - 1) == pytest.approx(3.841458821, rel=1e-8)


def test_no_lives():
    with pytest.raises(NotEnoughDataError, match="there are 0 lives"):
        fit_weibull(Lives.exact([], []))


@pytest.mark.parametrize(
    ("low", "high"),
    [([100] * 4, [100] * 4), ([100] * 3, [200] * 3), ([0, 0, 0, 300], [200, 200, 200, math.inf])],
)
def test_lives_that_cannot_tell_a_shape(low, high):
    with pytest.raises(NotEnoughDataError, match="too close together"):
        fit_weibull(Lives.between(low, high))
    if high[-1] != 100:
        assert fit_weibull(Lives.between(low, high), shape=2).scale > 0


def test_wrong_names_and_values():
    fit = fit_weibull(MIXED)
    with pytest.raises(UsageError, match='the interval is "wald"'):
        fit.quantile(0.1, interval="wald")
    with pytest.raises(UsageError, match='the interval is "wald"'):
        fit.shape_interval(interval="wald")
    with pytest.raises(UsageError, match="the share that has ended is 0"):
        fit.quantile(0)
    with pytest.raises(UsageError, match="the shape is -1"):
        fit_weibull(MIXED, shape=-1)
    with pytest.raises(UsageError, match="the shape is 0"):
        weibull.bound_weibull_scale(MIXED, 0)
    with pytest.raises(UsageError, match="8 lives ended"):
        weibull.bound_weibull_scale(MIXED, 1)


def test_an_end_that_nothing_bounds_is_infinite():
    lives = Lives.exact([50, 60, 100, *[101] * 300], [True, True, True, *[False] * 300])
    fit = fit_weibull(lives)
    got = fit.quantile(0.9999, confidence_level=0.999999)
    assert got.conf_high > 1e6
    assert got.conf_low < fit.quantile(0.9999).estimate


def test_intervals_are_named_and_ordered():
    fit = fit_weibull(MIXED)
    for interval in (weibull.WALD_LOG, weibull.LIKELIHOOD_RATIO):
        for got in (fit.quantile(0.1, interval=interval), fit.shape_interval(interval=interval)):
            assert got.interval == interval
            assert got.conf_low < got.estimate < got.conf_high


@pytest.mark.parametrize("given", [None, 2.0])
def test_covers_a_known_truth(given):
    rng = np.random.default_rng(7)
    # known truth: shape 2, scale 600, so a tenth has ended by 600 sqrt(-log 0.9); watched to 700
    truth, inside = 600 * math.sqrt(-math.log(0.9)), 0
    for _ in range(80):
        life = 600 * rng.weibull(2, size=30)
        got = fit_weibull(Lives.exact(np.minimum(life, 700), life < 700), shape=given).quantile(0.1)
        inside += got.conf_low <= truth <= got.conf_high
    # binomial: 80 trials at 0.95 stay above 0.87 but once in 300
    assert inside / 80 > 0.87
