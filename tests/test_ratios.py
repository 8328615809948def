"""Ratio sets: their kinds, how they are read for wear, and their agreement with the difference."""

import numpy as np
import pytest

from trialkit.stats.inference import Pairing, Sample, difference_interval
from trialkit.stats.ratios import (
    AT_LEAST,
    BOUNDED,
    EXCLUSIVE,
    NONE,
    UNKNOWN,
    WHOLE_LINE,
    RatioSet,
    fieller_set,
    margin_test,
    ratio_set,
)

STEEL = Sample.of([1.4, 1.9, 1.6, 1.2])
QUIET = Sample.of([0.10, 0.20, 0.15, 0.16])


def test_ends_of_the_set_are_where_the_test_turns():
    found = ratio_set(STEEL, QUIET)
    assert found.kind == BOUNDED
    for end in (found.conf_low, found.conf_high):
        scaled = Sample(end * QUIET.mean, end**2 * QUIET.variance, QUIET.n)
        assert difference_interval(STEEL, scaled).p_value == pytest.approx(0.05, abs=1e-8)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_ratio_of_one_and_difference_of_zero_are_the_same_question(level):
    rng = np.random.default_rng(11)
    a = Sample(rng.normal(1.2, 0.2, 400), rng.chisquare(3, 400) / 3 * 0.1, 4, bound=0.05)
    b = Sample(np.full(400, 1.0), rng.chisquare(2, 400) / 2 * 0.05, 3, bound=0.02)
    ratio, gap = ratio_set(a, b, confidence_level=level), difference_interval(a, b, confidence_level=level)
    zero = (gap.conf_low <= 0) & (gap.conf_high >= 0)
    kind, low, high = ratio.kind, ratio.conf_low, ratio.conf_high
    one = np.where(kind == BOUNDED, (low <= 1) & (high >= 1), (kind == WHOLE_LINE) | (low >= 1) | (high <= 1))
    assert (one == zero).all()


def test_pairs_are_fieller_with_covariance():
    a, b = np.array([1.4, 1.9, 1.6, 1.2]), np.array([0.9, 1.3, 1.2, 0.7])
    covariance = np.cov(a, b) / 4
    known = fieller_set(a.mean(), b.mean(), covariance[0, 0], covariance[1, 1], covariance[0, 1], 3.182446305)
    found = ratio_set(Sample.of(a), Sample.of(b), Pairing.of(a, b))
    assert (found.conf_low, found.conf_high) == pytest.approx((known.conf_low, known.conf_high), rel=1e-8)


def test_turning_the_ratio_over_turns_the_ends_over():
    one, other = ratio_set(STEEL, QUIET), ratio_set(QUIET, STEEL)
    assert (1 / other.conf_high, 1 / other.conf_low) == pytest.approx((one.conf_low, one.conf_high))


def test_a_sample_of_equal_units_leaves_the_spread_of_the_other():
    equal, varied = Sample.of([80.1 - 0.1] * 3), Sample.of([82.0, 82.5, 83.0])
    # by hand: a mean of 82.5 -+ 4.302653 * 0.5 / sqrt(3) = 81.257931 to 83.742069, 80 over it, and it over 80
    ends = (80 / 83.742069, 80 / 81.257931)
    one, other = ratio_set(equal, varied), ratio_set(varied, equal)
    assert (one.kind, other.kind) == (BOUNDED, BOUNDED)
    assert (one.conf_low, one.conf_high) == pytest.approx(ends, abs=1e-7)
    assert (1 / other.conf_high, 1 / other.conf_low) == pytest.approx(ends, abs=1e-7)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ([2.0, 2.0, 2.0], [1.0, 1.0, 1.0]),  # no spread at all
        ([80.0, 83.0, 81.0], [78.0, 81.0, 79.0]),  # the same difference of every pair
        ([1.4, 1.9, 1.6], [0.7, 0.95, 0.8]),  # the same ratio of every pair
    ],
)
def test_pairs_without_any_spread_give_no_set(a, b):
    found = ratio_set(Sample.of(a), Sample.of(b), Pairing.of(a, b))
    assert found.kind == NONE
    assert found.estimate == pytest.approx(np.mean(a) / np.mean(b))
    assert np.isnan([found.conf_low, found.conf_high]).all()


def test_scale_does_not_matter():
    small = ratio_set(Sample.of([1.4e-9, 1.9e-9, 1.6e-9]), Sample.of([1.0e6, 1.1e6, 0.9e6]))
    plain = ratio_set(Sample.of([1.4, 1.9, 1.6]), Sample.of([1.0, 1.1, 0.9]))
    assert small.conf_high * 1e15 == pytest.approx(plain.conf_high)


def test_very_sure_ratio():
    found = ratio_set(Sample(3.0, 1e-12, 4), Sample(2.0, 1e-12, 4))
    assert (found.conf_low, found.conf_high) == pytest.approx((1.5, 1.5), rel=1e-5)
    assert found.conf_low < 1.5 < found.conf_high


@pytest.mark.parametrize("bound", [0.0, 0.05])
def test_wear_that_may_be_zero_gives_a_lower_end_only(bound):
    found = ratio_set(STEEL, Sample.of([-0.02, 0.03, 0.01], bound=bound)).known_non_negative()
    assert found.kind == AT_LEAST
    assert found.conf_low > 1
    assert np.isnan(found.conf_high)


def test_bounds_lower_the_lower_end():
    lows = [
        ratio_set(STEEL, Sample.of([-0.02, 0.03, 0.01], bound=b)).known_non_negative().conf_low
        for b in (0, 0.1)
    ]
    assert lows[1] < lows[0]


def test_no_wear_at_all_has_no_estimate():
    found = ratio_set(
        STEEL, Sample.of([0.0, 0.0, 0.0], variance_floor=0.001, bound=0.05)
    ).known_non_negative()
    assert np.isnan(found.estimate)
    assert found.kind == AT_LEAST
    # by hand: about 1.5 over an upper end of a little more than the bound of 0.05
    assert 5 < found.conf_low < 30


def test_two_quiet_types_say_nothing():
    found = ratio_set(Sample.of([-0.02, 0.03, 0.01]), Sample.of([0.01, -0.03, 0.02])).known_non_negative()
    assert (found.kind, found.conf_low) == (UNKNOWN, 0.0)
    assert np.isnan(found.conf_high)


def test_rising_heights_leave_no_ratio():
    found = ratio_set(STEEL, Sample.of([-0.5, -0.6, -0.55])).known_non_negative()
    assert found.kind == NONE
    assert np.isnan([found.estimate, found.conf_low, found.conf_high]).all()


def test_one_unit_has_no_set():
    found = ratio_set(STEEL, Sample.of([0.2]))
    assert found.kind == NONE
    assert found.estimate == pytest.approx(STEEL.mean / 0.2)
    assert np.isnan(found.conf_low)


@pytest.mark.parametrize(
    ("kind", "low", "high", "read"),
    [
        (BOUNDED, 0.5, 2.0, (BOUNDED, 0.5, 2.0)),
        (BOUNDED, -0.5, 2.0, (BOUNDED, 0.0, 2.0)),
        (BOUNDED, -2.0, -0.5, (NONE, np.nan, np.nan)),
        (EXCLUSIVE, -3.0, 4.0, (AT_LEAST, 4.0, np.nan)),
        (EXCLUSIVE, 0.5, 4.0, (UNKNOWN, 0.0, np.nan)),
        (EXCLUSIVE, -4.0, -0.5, (UNKNOWN, 0.0, np.nan)),
        (WHOLE_LINE, np.nan, np.nan, (UNKNOWN, 0.0, np.nan)),
        (NONE, np.nan, np.nan, (NONE, np.nan, np.nan)),
    ],
)
def test_reading_a_set_when_wear_cannot_be_negative(kind, low, high, read):
    found = RatioSet(1.0, low, high, kind).known_non_negative()
    assert found.kind == read[0]
    assert (found.conf_low, found.conf_high) == pytest.approx(read[1:], nan_ok=True)


def test_fieller_takes_arrays():
    found = fieller_set(np.array([2.4, 2.4]), np.array([1.6, 0.3]), 0.04, 0.04, 0.0, 2.228138852)
    assert found.kind.tolist() == [BOUNDED, EXCLUSIVE]


def test_empty_arrays_give_empty_sets():
    nothing = Sample(np.array([]), np.array([]), np.array([]))
    assert ratio_set(nothing, nothing).known_non_negative().kind.tolist() == []


def test_margin_agrees_with_the_end_of_the_set():
    at_end = ratio_set(QUIET, STEEL, confidence_level=0.90).conf_high
    found = margin_test(QUIET, STEEL, at_end)
    assert found.p_value == pytest.approx(0.05)
    assert found.conf_high == pytest.approx(at_end)


def test_margin_without_upper_end():
    found = margin_test(STEEL, Sample.of([-0.02, 0.03, 0.01]), 1.25)
    assert np.isnan(found.conf_high)
    assert found.p_value > 0.5


def test_margin_with_the_same_units_is_the_paired_test():
    type_, reference = [0.31, 0.36, 0.30, 0.42], [1.2, 1.9, 1.4, 1.6]
    found = margin_test(Sample.of(type_), Sample.of(reference), 0.3, pairing=Pairing.of(type_, reference))
    # other software: scipy 1.17.1, stats.ttest_rel(type_, 0.3 * np.array(reference), alternative="less")
    assert (found.statistic, found.p_value) == (
        pytest.approx(-2.993821, abs=5e-7),
        pytest.approx(0.028977, abs=5e-7),
    )
    assert found.p_value != pytest.approx(margin_test(Sample.of(type_), Sample.of(reference), 0.3).p_value)


def test_both_means_negative_is_no_ratio_of_wear():
    """Two heights that rose by more than chance allows make a positive ratio that means nothing."""
    found = ratio_set(Sample.of([-0.8, -0.9, -0.7, -0.8]), Sample.of([-0.3, -0.2, -0.3, -0.25]))
    assert found.kind == BOUNDED
    assert found.known_non_negative().kind == BOUNDED
    known = found.known_non_negative(-0.2625)
    assert (known.kind, np.isnan(known.estimate), np.isnan(known.conf_low)) == (NONE, True, True)


def test_a_divisor_that_chance_made_negative_still_says_nothing():
    found = ratio_set(Sample.of([-0.1, 0.2, -0.3]), Sample.of([-0.3, 0.2, -0.1]))
    assert found.known_non_negative(-0.0667).kind == UNKNOWN
