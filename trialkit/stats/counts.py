"""Exact intervals for counts: how often something breaks per 1,000 miles, and in what share of cases.

Answers: how many breaks per 1,000 blade-down miles, how sure is that, and what if there was none at all?

No normal approximation anywhere: with few events it gives intervals of no width or below zero. Zero events never mean a
rate of zero; they give an upper bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats.survival import require_share


@dataclass(frozen=True, slots=True)
class EventRate:
    """A rate of events per so much exposure, with exact intervals.

    Attributes
    ----------
    events : int
        Events counted.
    exposure : float
        Exposure in which they were counted, for instance blade-down miles [mi].
    per : float
        The rate is per so much exposure.
    estimate : float
        ``per * events / exposure``.
    conf_low, conf_high : float
        Two-sided exact interval; `conf_low` is 0 when there was no event.
    upper_bound : float
        One-sided exact upper bound at the same level: the figure to quote when there was no event.
    confidence_level : float
        Of interval and bound.
    """

    events: int
    exposure: float
    per: float
    estimate: float
    conf_low: float
    conf_high: float
    upper_bound: float
    confidence_level: float


@dataclass(frozen=True, slots=True)
class RateRatio:
    """How many times as often events happen in one group as in another, with the exact conditional interval.

    Attributes
    ----------
    estimate : float
        Rate of the first group over rate of the second; infinite when only the first had events.
    conf_low, conf_high : float
        Exact conditional interval; `conf_high` is infinite when the second group had no event.
    p_value : float
        Exact two-sided test that the rates are equal; below 1 less the level exactly where the interval leaves 1 out.
    events : tuple of int
        Events of the first and the second group.
    confidence_level : float
        Two-sided.
    """

    estimate: float
    conf_low: float
    conf_high: float
    p_value: float
    events: tuple[int, int]
    confidence_level: float


@dataclass(frozen=True, slots=True)
class Share:
    """A share of cases with the exact interval of Clopper and Pearson; `upper_bound` is one-sided."""

    cases: int
    n: int
    estimate: float
    conf_low: float
    conf_high: float
    upper_bound: float
    confidence_level: float


def estimate_rate(
    events: int, exposure: float, *, per: float = 1000.0, confidence_level: float = 0.95
) -> EventRate:
    """Estimate how often an event happens per 1,000 miles.

    Use it for breaks, losses and removals counted over known blade-down miles. Not when events come in clusters (one
    truck that hits the same curb again and again): the interval takes each event as independent of the others.

    Parameters
    ----------
    events : int
        Events counted, 0 or more.
    exposure : float
        Miles in which they were counted [mi], above 0.
    per : float
        Miles to which the rate refers [mi].
    confidence_level : float
        Two-sided for the interval, one-sided for the bound.

    Returns
    -------
    EventRate

    Raises
    ------
    UsageError
        A negative or fractional count, or an exposure that is not above 0.

    Notes
    -----
    Limits of the mean count: ``chi2(a/2; 2x)/2`` and ``chi2(1 - a/2; 2x + 2)/2``. With no event the one-sided 95 %
    bound is 3.00 events over the exposure.

    References
    ----------
    .. [1] Garwood (1936), Biometrika 28, 437-442.

    Examples
    --------
    >>> rate = estimate_rate(0, 2000.0)
    >>> rate.estimate, round(rate.upper_bound, 3)
    (0.0, 1.498)
    """
    require_share(confidence_level, "the confidence level")
    x = _whole(events, "events")
    _require_positive(exposure, "the exposure")
    _require_positive(per, "the exposure that the rate is per")
    low, high = _mean_limits(x, (1 + confidence_level) / 2)
    _, bound = _mean_limits(x, confidence_level)
    factor = per / exposure
    return EventRate(
        x,
        float(exposure),
        float(per),
        factor * x,
        factor * low,
        factor * high,
        factor * bound,
        confidence_level,
    )


def compare_rates(
    events: int,
    exposure: float,
    reference_events: int,
    reference_exposure: float,
    *,
    confidence_level: float = 0.95,
) -> RateRatio:
    """Compare how often events happen in two groups, exactly.

    Given the total of both counts, the first is binomial with share ``r E1 / (r E1 + E2)``; the limits of that share
    are Clopper's and Pearson's. The interval is never too narrow, and wide with few events. The p value is twice the smaller
    tail of that binomial, at most 1: the test that belongs to the interval [2]_. The one that adds up all outcomes that are
    no likelier than the one seen, as R's ``poisson.test`` does, is smaller now and then and may contradict it.

    Parameters
    ----------
    events, reference_events : int
        Events of the group and of the one it is compared with.
    exposure, reference_exposure : float
        Their exposures in the same unit [mi].
    confidence_level : float
        Two-sided.

    Returns
    -------
    RateRatio

    Raises
    ------
    NotEnoughDataError
        Neither group had an event.
    UsageError
        A negative or fractional count, or an exposure that is not above 0.

    References
    ----------
    .. [1] Przyborowski and Wilenski (1940), Biometrika 31, 313-323.
    .. [2] Fay (2010), R Journal 2(1), 53-58: central tests and the intervals that match them (from
       memory).
    """
    require_share(confidence_level, "the confidence level")
    x, y = _whole(events, "events"), _whole(reference_events, "events of the reference")
    _require_positive(exposure, "the exposure")
    _require_positive(reference_exposure, "the exposure of the reference")
    if x + y == 0:
        raise NotEnoughDataError(
            "there were 0 events in both groups; their rates cannot be compared, only bounded"
        )
    low, high = _share_limits(x, x + y, (1 + confidence_level) / 2)
    factor = reference_exposure / exposure
    share = exposure / (exposure + reference_exposure)
    tails = stats.binom.cdf(x, x + y, share), stats.binom.sf(x - 1, x + y, share)
    p_value = min(2 * float(min(tails)), 1.0)
    estimate = factor * x / y if y else math.inf
    return RateRatio(estimate, factor * _odds(low), factor * _odds(high), p_value, (x, y), confidence_level)


def estimate_share(cases: int, n: int, *, confidence_level: float = 0.95) -> Share:
    """Estimate a share from a count of cases, with the exact interval.

    Raises
    ------
    UsageError
        A negative or fractional count, more cases than there are in all, or none in all.

    References
    ----------
    .. [1] Clopper and Pearson (1934), Biometrika 26, 404-413.

    Examples
    --------
    >>> round(estimate_share(0, 10).conf_high, 4)
    0.3085
    """
    require_share(confidence_level, "the confidence level")
    x, total = _whole(cases, "cases"), _whole(n, "cases in all")
    if total == 0 or x > total:
        raise UsageError(
            f"there are {x} cases among {total}; a share needs at least one in all and no more cases than that"
        )
    low, high = _share_limits(x, total, (1 + confidence_level) / 2)
    _, bound = _share_limits(x, total, confidence_level)
    return Share(x, total, x / total, low, high, bound, confidence_level)


def _mean_limits(x: int, level: float) -> tuple[float, float]:
    """One-sided limits, each at `level`, of the mean of a Poisson count."""
    low = 0.0 if x == 0 else float(stats.chi2.ppf(1 - level, 2 * x)) / 2
    return low, float(stats.chi2.ppf(level, 2 * x + 2)) / 2


def _share_limits(x: int, n: int, level: float) -> tuple[float, float]:
    """One-sided limits, each at `level`, of the share behind a binomial count."""
    low = 0.0 if x == 0 else float(stats.beta.ppf(1 - level, x, n - x + 1))
    high = 1.0 if x == n else float(stats.beta.ppf(level, x + 1, n - x))
    return low, high


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else math.inf


def _whole(value: float, what: str) -> int:
    if not (math.isfinite(value) and value >= 0 and value == int(value)):
        raise UsageError(f"the number of {what} is {value:g}; it is a whole number, 0 or more")
    return int(value)


def _require_positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise UsageError(f"{what} is {value:g}; it must be above 0")
