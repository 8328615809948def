"""How likely a comparison of a few units is to show a difference that is there.

Answers: with so many trucks, how surely is a true difference of this size shown, and which difference is shown surely?

`t_test_power` is the textbook case of equal spread. `power_to_show` is the test that the analyses make themselves
(`inference.difference_interval`): unequal spread, its special rules for two and three units, floors and bounds from
coarse readings. Its power comes from integrating over what the two sample variances may turn out to be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv, nctdtr, ndtr, ndtri, stdtrit

from trialkit.stats.inference import Contrast, Sample, two_sided_tail

NODES = 32
"""Nodes of the integration over each sample variance."""
MOST_UNITS = 1000
"""Most units per arm that are looked for."""


def t_test_power(
    difference: float,
    std_dev: float,
    n_a: float,
    n_b: float | None = None,
    *,
    confidence_level: float = 0.95,
    one_sided: bool = False,
) -> float:
    """Power of the t test of two samples with equal spread, or of pairs.

    Use it for paired values, and to hold other power computations against; two edge types seldom scatter alike.

    Parameters
    ----------
    difference : float
        True difference of the means, or mean of the paired differences.
    std_dev : float
        Standard deviation between the units of a sample, or of the paired differences.
    n_a, n_b : float
        Units in the two samples; without `n_b` the number of pairs.
    confidence_level : float
        One minus the level of the test.
    one_sided : bool
        Whether only a positive difference counts.

    Returns
    -------
    float
        Probability of rejecting equality; both tails count unless `one_sided`.

    Notes
    -----
    ``1 - F(t; df, d)`` plus the other tail, F the noncentral t distribution with ``d = difference / std_error``.

    References
    ----------
    .. [1] J. Cohen, "Statistical Power Analysis for the Behavioral Sciences", 2nd edition, 1988, chapter 2.
    """
    tail = (1 - confidence_level) if one_sided else two_sided_tail(confidence_level)
    if n_b is None:
        df, error = n_a - 1, std_dev / np.sqrt(n_a)
    else:
        df, error = n_a + n_b - 2, std_dev * np.sqrt(1 / n_a + 1 / n_b)
    if df <= 0:
        return float("nan")
    t, shift = float(stdtrit(df, 1 - tail)), difference / error
    power = 1 - np.nan_to_num(nctdtr(df, shift, t))  # nan where nothing is left of the tail
    if not one_sided:
        power += np.nan_to_num(nctdtr(df, shift, -t))
    return float(power)


def slope_variance(x: ArrayLike, reading_variance: float, between: float = 0.0) -> float:
    """Variance of the slope fitted to one unit's readings, over units.

    Use it to plan a comparison of rates. Not for readings of one unit whose errors hang together.

    Parameters
    ----------
    x : array_like
        Where the unit is read, such as its miles.
    reading_variance : float
        Variance of a reading about the unit's line.
    between : float
        Variance of the true slopes between units.

    Notes
    -----
    ``between + reading_variance / sum((x - mean)^2)``; where a line begins, and how that hangs together with its slope,
    drops out.

    References
    ----------
    .. [1] P. J. Diggle, P. Heagerty, K.-Y. Liang and S. L. Zeger, "Analysis of Longitudinal Data", 2nd edition, 2002,
       section 2.4.
    """
    where = np.asarray(x, dtype=float)
    away = where - where.mean()
    return float(between + reading_variance / (away @ away))


def units_by_normal_curve(
    difference: float,
    variance: float,
    *,
    power: float = 0.8,
    confidence_level: float = 0.95,
    one_sided: bool = False,
) -> float:
    """Units per arm that show a difference, if there were many of them.

    Use it to hold a plan against textbook tables. Not to plan with few trucks: it asks for too few of them.

    Parameters
    ----------
    difference, variance : float
        True difference of the means, and the variance between the units of an arm.
    power, confidence_level : float
        Wanted power, and one minus the level of the test.
    one_sided : bool
        Whether only one direction counts.

    Returns
    -------
    float
        Not rounded.

    Notes
    -----
    ``2 (z_a + z_b)^2 variance / difference^2``.
    """
    tail = (1 - confidence_level) if one_sided else two_sided_tail(confidence_level)
    return float(2 * (ndtri(1 - tail) + ndtri(power)) ** 2 * variance / difference**2)


@dataclass(frozen=True, slots=True)
class Arm:
    """What is expected of the units of one edge type.

    Attributes
    ----------
    mean : float
        Expected mean.
    variance : float
        Expected variance between units.
    n : int
        Number of units.
    variance_floor, bound : float
        As in `inference.Sample`: what coarse readings add.
    """

    mean: float
    variance: float
    n: int
    variance_floor: float = 0.0
    bound: float = 0.0


def power_to_show(
    a: Arm, b: Arm, *, correlation: float | None = None, confidence_level: float = 0.95
) -> float:
    """Probability that the mean of `a` is shown to lie above the mean of `b`.

    Use it when planning a comparison of two edge types. Not for "no worse than", which is another test.

    Parameters
    ----------
    a, b : Arm
        The two samples.
    correlation : float, optional
        Correlation of the two values of a unit when the same units carry both; None for different units.
    confidence_level : float
        Two-sided level of the interval that must exclude no difference.

    Returns
    -------
    float
        0 with fewer than two units in an arm.

    Raises
    ------
    ValueError
        If the same units are to carry both and the arms differ in number.

    Notes
    -----
    Different units: ``E[1 - Phi((t s + bound - d) / sigma)]`` over the two sample variances, each a chi-square times its
    expectation over n - 1; t and s are those of the test for these sample variances. Same units: the same with the
    variance of the paired differences and n - 1 degrees of freedom, which without floor and bound is the noncentral t.
    Exact for normal units of equal variance within an arm.
    """
    tail = two_sided_tail(confidence_level)
    if min(a.n, b.n) < 2:
        return 0.0
    difference, bound = a.mean - b.mean, a.bound + b.bound
    if correlation is not None:
        if a.n != b.n:
            raise ValueError(f"the same units carry both, but there are {a.n} and {b.n} of them")
        return _paired_power(a, b, correlation, difference - bound, tail)
    if a.variance <= 0 and b.variance <= 0:
        return float(difference > bound)
    (share_a, weight_a), (share_b, weight_b) = variance_nodes(a.n), variance_nodes(b.n)
    seen_a, seen_b = np.meshgrid(a.variance * share_a, b.variance * share_b, indexing="ij")
    contrast = Contrast.of(
        Sample(0.0, seen_a, a.n, a.variance_floor, a.bound),
        Sample(0.0, seen_b, b.n, b.variance_floor, b.bound),
    )
    one = np.ones(seen_a.shape)
    variance, df = contrast.at(one, one, tail)
    with np.errstate(invalid="ignore"):
        least = stdtrit(df, 1 - tail) * np.sqrt(variance) + bound
    shown = ndtr((difference - least) / np.sqrt(a.variance / a.n + b.variance / b.n))
    return float(weight_a @ np.nan_to_num(shown) @ weight_b)


def _paired_power(a: Arm, b: Arm, correlation: float, difference: float, tail: float) -> float:
    variance = max(a.variance + b.variance - 2 * correlation * np.sqrt(a.variance * b.variance), 0.0)
    floor = a.variance_floor + b.variance_floor
    if variance <= 0:
        return float(difference > stdtrit(a.n - 1, 1 - tail) * np.sqrt(floor / a.n))
    share, weight = variance_nodes(a.n)
    least = stdtrit(a.n - 1, 1 - tail) * np.sqrt(np.maximum(variance * share, floor) / a.n)
    return float(weight @ ndtr((difference - least) / np.sqrt(variance / a.n)))


def power_with_df(difference: float, std_error: float, df: float, *, confidence_level: float = 0.95) -> float:
    """Probability that a difference is shown whose estimated standard error has so many degrees of freedom.

    Use it where all arms share one variance, as in a mixed model. Where each has its own use `power_to_show`.

    Parameters
    ----------
    difference, std_error : float
        True difference and the true standard error of its estimate.
    df : float
        Degrees of freedom; 0 without one.
    confidence_level : float
        Two-sided level of the interval that must exclude no difference.

    Notes
    -----
    ``E[Phi(d / se - t s)]`` over the estimated standard error s se: the noncentral t, also where it is far out.
    """
    tail = two_sided_tail(confidence_level)
    if df < 1:
        return 0.0
    if std_error <= 0:
        return float(difference > 0)
    share, weight = variance_nodes(round(df) + 1)
    t = stdtrit(round(df), 1 - tail)
    return float(weight @ ndtr(difference / std_error - t * np.sqrt(share)))


@lru_cache(maxsize=256)
def variance_nodes(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Sample variances over their expectation, and their weights, for integration over what n units may show.

    Parameters
    ----------
    n : int
        Number of units, at least two.

    Notes
    -----
    The nodes are those of Gauss and Legendre in the angle whose squared sine is the probability, so that both ends,
    where the chi-square quantile bends, are well covered.
    """
    x, w = np.polynomial.legendre.leggauss(NODES)
    angle = np.pi / 4 * (x + 1)
    weight = w * np.pi / 4 * np.sin(2 * angle)
    half = (n - 1) / 2
    return gammaincinv(half, np.sin(angle) ** 2) / half, weight


def least_detected(
    power_at: Callable[[float], float], start: float, most: float, power: float = 0.8
) -> float:
    """Smallest size of an effect that is shown with this power.

    Parameters
    ----------
    power_at : callable
        Power at a size; grows with the size.
    start, most : float
        No effect, and the largest size that is looked at.
    power : float
        Wanted power.

    Returns
    -------
    float
        To six digits; NaN if even the largest size is not shown with this power.
    """
    from scipy.optimize import brentq

    if power_at(most) < power:
        return float("nan")
    if power_at(start) >= power:
        return start
    return float(brentq(lambda size: power_at(size) - power, start, most, xtol=1e-9 * most, rtol=1e-7))


def least_units(power_with: Callable[[int], float], power: float = 0.8, most: int = MOST_UNITS) -> int | None:
    """Fewest units per arm, from two on, with which an effect is shown with this power; None if `most` are too few.

    Parameters
    ----------
    power_with : callable
        Power with so many units; grows with them.
    power : float
        Wanted power.
    most : int
        Most units that are looked at.
    """
    step = 2
    while power_with(min(step, most)) < power:
        if step >= most:
            return None
        step *= 2
    low, high = step // 2, min(step, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_with(middle) >= power else (middle, high)
    return max(high, 2)
