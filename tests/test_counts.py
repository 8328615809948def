from __future__ import annotations

import math

import numpy as np
import pytest

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats import counts


def test_rate_is_per_thousand_miles():
    got = counts.estimate_rate(3, 6000)
    assert got.estimate == pytest.approx(0.5)
    assert (got.events, got.exposure, got.per) == (3, 6000, 1000)
    assert got.conf_low < 0.5 < got.upper_bound < got.conf_high


def test_no_events_are_not_a_rate_of_zero():
    got = counts.estimate_rate(0, 2000, confidence_level=0.90)
    assert (got.estimate, got.conf_low) == (0, 0)
    # closed form: -log 0.10 over 2,000 mi; two-sided -log 0.05
    assert got.upper_bound == pytest.approx(2.302585 / 2, rel=1e-6)
    # closed form: as above
    assert got.conf_high == pytest.approx(2.995732 / 2, rel=1e-6)


@pytest.mark.parametrize(
    ("events", "exposure", "words"),
    [
        (-1, 1000, "the number of events is -1"),
        (1.5, 1000, "the number of events is 1.5"),
        (math.nan, 1000, "the number of events is nan"),
        (1, 0, "the exposure is 0"),
        (1, math.inf, "the exposure is inf"),
    ],
)
def test_impossible_counts(events, exposure, words):
    with pytest.raises(UsageError, match=words):
        counts.estimate_rate(events, exposure)


def test_impossible_levels():
    with pytest.raises(UsageError, match="the confidence level is 95"):
        counts.estimate_rate(1, 1000, confidence_level=95)
    with pytest.raises(UsageError, match="the exposure that the rate is per is 0"):
        counts.estimate_rate(1, 1000, per=0)


def test_equal_rates_compare_as_one():
    got = counts.compare_rates(4, 1000, 8, 2000)
    assert got.estimate == pytest.approx(1)
    assert got.conf_low < 1 < got.conf_high
    assert got.p_value == pytest.approx(1)
    assert got.events == (4, 8)


def test_swapping_the_groups_turns_the_ratio_over():
    one, other = counts.compare_rates(5, 1000, 2, 1500), counts.compare_rates(2, 1500, 5, 1000)
    assert one.estimate == pytest.approx(1 / other.estimate)
    assert one.conf_low == pytest.approx(1 / other.conf_high)
    assert one.p_value == pytest.approx(other.p_value)


@pytest.mark.parametrize("exposure", [0.5, 1.0, 2.0, 7.0])
@pytest.mark.parametrize("events", [(0, 3), (3, 0), (1, 6), (2, 9), (5, 5), (0, 1), (11, 4)])
def test_p_value_agrees_with_the_interval(events, exposure):
    got = counts.compare_rates(events[0], exposure, events[1], 1.0)
    assert (got.p_value < 0.05) == (got.conf_low > 1 or got.conf_high < 1)
    at_p = counts.compare_rates(events[0], exposure, events[1], 1.0, confidence_level=1 - got.p_value + 1e-9)
    assert got.p_value == 1 or at_p.conf_low <= 1 <= at_p.conf_high


def test_three_events_against_none_in_half_the_miles_are_no_proof():
    got = counts.compare_rates(0, 2, 3, 1)
    # other software: R 4.2.2, poisson.test(c(0, 3), c(2, 1)): interval 0 to 1.209976, though its p value is 0.03704
    assert (got.conf_low, got.conf_high) == pytest.approx((0, 1.209976), abs=1e-6)
    # by hand: twice the probability of none of three when each falls into the first with 2/3: 2 / 27
    assert got.p_value == pytest.approx(2 / 27)


def test_no_events_in_the_first_group():
    got = counts.compare_rates(0, 1000, 4, 1000)
    assert (got.estimate, got.conf_low) == (0, 0)
    assert math.isfinite(got.conf_high)


def test_no_events_at_all_cannot_be_compared():
    with pytest.raises(NotEnoughDataError, match="0 events in both"):
        counts.compare_rates(0, 1000, 0, 1000)


@pytest.mark.parametrize(("cases", "n"), [(3, 2), (0, 0)])
def test_impossible_shares(cases, n):
    with pytest.raises(UsageError, match=f"{cases} cases among {n}"):
        counts.estimate_share(cases, n)


def test_all_cases():
    got = counts.estimate_share(10, 10)
    assert (got.estimate, got.conf_high, got.upper_bound) == (1, 1, 1)
    # closed form: 0.025^(1/10)
    assert got.conf_low == pytest.approx(0.6915028921)


def test_exact_intervals_never_cover_less_than_they_say():
    # known truth: mean counts 0.5 to 8; coverage summed over the Poisson probabilities
    from scipy import stats

    limits = [counts.estimate_rate(k, 1.0, per=1.0) for k in range(60)]
    for mean in np.linspace(0.5, 8, 16):
        inside = sum(
            stats.poisson.pmf(k, mean)
            for k, got in enumerate(limits)
            if got.conf_low <= mean <= got.conf_high
        )
        assert inside >= 0.95
