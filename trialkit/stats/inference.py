"""Intervals for means, differences and ratios of a few independent units.

Answers: how far can one be off, with this few trucks?

Everything here uses Student's t with the few degrees of freedom that a handful of units give, never the normal
curve. Each function takes numbers, or arrays with one entry per comparison. Where no interval can be given, the limits
are missing and `reason` says why.

`ratios` holds the same for the ratio of two means.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtridf, stdtrit

ONE_UNIT = "fewer than two units, so the spread between units is not known"
NO_SPREAD = "all units are equal and the reading error is not known, so no error can be stated"
PAIRS_ALIKE = "all units that carried both differ by the same amount and the reading error is not known, so no error can be stated"
PAIRS_NEEDED = 3
"""Pairs from which a correlation is used when only part of the units are paired; with fewer it is noise."""

ALL_PAIRED, PARTLY_PAIRED, PAIRS_UNUSED, UNPAIRED = "all", "part", "too few", "none"
"""Which units of two samples are compared with themselves: all, some, none although a few could be, none."""

ARITHMETIC = 1e-10
"""Spread beside the mean, and squared error of a difference beside those of its two means, that is rounding of the arithmetic."""

MOST_DF_OF_THREE = 4
"""Most degrees of freedom when the smaller of two unpaired samples has three units."""


def two_sided_tail(confidence_level: float) -> float:
    """Probability beyond each end of a two-sided interval; ValueError unless the level lies between 0 and 1."""
    if not 0 < confidence_level < 1:
        raise ValueError(
            f"confidence_level is {confidence_level!r}; allowed: above 0 and below 1, such as 0.95"
        )
    return (1 - confidence_level) / 2


@dataclass(frozen=True, eq=False, slots=True)
class Sample:
    """The mean of independent units and what is known about its error.

    Attributes
    ----------
    mean : float or ndarray
        Mean over the units.
    variance : float or ndarray
        Sample variance between the units; NaN with fewer than two.
    n : float or ndarray
        Number of units.
    variance_floor : float or ndarray
        Variance of one unit's value that is there even if all units agree, from the rounding of the readings.
    bound : float or ndarray
        Largest error of the mean that does not average out over units; added to both sides of every interval.
    """

    mean: Any
    variance: Any
    n: Any
    variance_floor: Any = 0.0
    bound: Any = 0.0

    @classmethod
    def of(cls, values: ArrayLike, variance_floor: float = 0.0, bound: float = 0.0) -> Sample:
        """The sample that these values make: one value per unit."""
        values = np.asarray(values, dtype=float)
        if values.ndim != 1 or not np.isfinite(values).all():
            raise ValueError("a sample needs a plain list of numbers without gaps")
        n = len(values)
        mean = float(values.mean()) if n else np.nan
        variance = float(values.var(ddof=1)) if n > 1 else np.nan
        return cls(mean, variance, n, variance_floor, bound)

    @property
    def df(self) -> np.ndarray:
        """Degrees of freedom of the spread between units."""
        return np.asarray(self.n, dtype=float) - 1

    @property
    def floor_of_mean(self) -> np.ndarray:
        """Squared error of the mean that is there even if all units agree."""
        return np.asarray(self.variance_floor, dtype=float) / np.maximum(self.n, 1)

    @property
    def spread_of_mean(self) -> np.ndarray:
        """Squared standard error of the mean, floor included; 0 if all units are equal, NaN with fewer than two."""
        n = np.asarray(self.n, dtype=float)
        variance = np.asarray(self.variance, dtype=float)
        equal = variance <= (ARITHMETIC * np.asarray(self.mean, dtype=float)) ** 2
        spread = np.maximum(np.where(equal, 0.0, variance), self.variance_floor) / np.maximum(n, 1)
        return np.where(n >= 2, spread, np.nan)

    @property
    def variance_of_mean(self) -> np.ndarray:
        """As `spread_of_mean`, NaN also where all units are equal: that does not make their mean certain."""
        spread = self.spread_of_mean
        return np.where(spread > 0, spread, np.nan)


@dataclass(frozen=True, eq=False, slots=True)
class Pairing:
    """Units that two samples share, such as trucks that carried both edge types.

    Attributes
    ----------
    n : float or ndarray
        Number of shared units.
    correlation : float or ndarray
        Correlation of the two values over the shared units.
    """

    n: Any
    correlation: Any

    @classmethod
    def of(cls, values_a: ArrayLike, values_b: ArrayLike) -> Pairing:
        """The pairing of two lists, one value per shared unit in the same order."""
        a, b = np.asarray(values_a, dtype=float), np.asarray(values_b, dtype=float)
        if a.shape != b.shape or a.ndim != 1:
            raise ValueError("paired values come as two lists of the same length")
        if len(a) < 2 or a.std() == 0 or b.std() == 0:
            return cls(len(a), 0.0)
        return cls(len(a), float(np.corrcoef(a, b)[0, 1]))


def pairing_used(n_a: ArrayLike, n_b: ArrayLike, n_pairs: ArrayLike) -> np.ndarray:
    """Whether the units that two samples share are compared with themselves.

    Parameters
    ----------
    n_a, n_b : array_like
        Numbers of units.
    n_pairs : array_like
        Number of units in both.

    Returns
    -------
    ndarray of str
        `ALL_PAIRED`, `PARTLY_PAIRED`, `PAIRS_UNUSED` (some are shared, but fewer than `PAIRS_NEEDED`) or `UNPAIRED`.
    """
    n_a, n_b, n = (np.asarray(each, dtype=float) for each in (n_a, n_b, n_pairs))
    cases = [(n == n_a) & (n == n_b) & (n > 0), n >= PAIRS_NEEDED, n > 0]
    return np.select(cases, [ALL_PAIRED, PARTLY_PAIRED, PAIRS_UNUSED], UNPAIRED)


@dataclass(frozen=True, eq=False, slots=True)
class Interval:
    """An estimate with its interval.

    Attributes
    ----------
    estimate, std_error, df, conf_low, conf_high : float or ndarray
        NaN where no interval can be given.
    p_value : float or ndarray
        Two-sided probability of an estimate at least this far from zero if the truth were zero.
    reason : str or ndarray of str
        Why there is no interval; empty where there is one.
    """

    estimate: Any
    std_error: Any
    df: Any
    conf_low: Any
    conf_high: Any
    p_value: Any
    reason: Any


def mean_interval(sample: Sample, confidence_level: float = 0.95) -> Interval:
    """Mean of a sample with its t interval.

    Use it for the wear rate of one edge type, with one value per truck. Do not use it with one value per reading or
    station: those are not independent.

    Parameters
    ----------
    sample : Sample
        The units.
    confidence_level : float
        Two-sided level.

    Returns
    -------
    Interval
        With n - 1 degrees of freedom; without limits if there are fewer than two units.

    Notes
    -----
    ``mean +- (t * sqrt(max(s^2, floor) / n) + bound)``. Exact for normal values without floor and bound; with them at
    least as wide. Skewed values cost a point or two of coverage.
    """
    tail = two_sided_tail(confidence_level)
    return _interval(sample.mean, sample.variance_of_mean, sample.df, sample.bound, tail, _why(sample))


def prediction_limits(sample: Sample, confidence_level: float = 0.95) -> tuple[Any, Any]:
    """Limits between which the value of one further unit lies.

    Use it for the next set on the next truck; the interval of the mean is too narrow for that.

    Parameters
    ----------
    sample : Sample
        The units.
    confidence_level : float
        Two-sided level.

    Returns
    -------
    low, high : float or ndarray
        NaN with fewer than two units.

    Notes
    -----
    ``mean +- (t * s * sqrt(1 + 1/n) + bound)`` with n - 1 degrees of freedom.
    """
    tail = two_sided_tail(confidence_level)
    n = np.asarray(sample.n, dtype=float)
    half = _t_quantile(sample.df, tail) * np.sqrt(sample.variance_of_mean * (n + 1)) + sample.bound
    return plain(sample.mean - half), plain(sample.mean + half)


def difference_interval(
    a: Sample, b: Sample, pairing: Pairing | None = None, confidence_level: float = 0.95
) -> Interval:
    """Difference of two means, a - b, without assuming equal spread.

    Use it for two edge types on different trucks, on the same trucks (`pairing` covers all units), or on trucks some of
    which carried both.

    Parameters
    ----------
    a, b : Sample
        The two samples.
    pairing : Pairing, optional
        Units that are in both.
    confidence_level : float
        Two-sided level.

    Returns
    -------
    Interval
        Without limits if a sample has fewer than two units, if all units of both are equal, or if all pairs differ by the
        same amount. One sample of equal units is no hindrance: the other one's spread is then all there is.

    Notes
    -----
    Welch's interval [1]_ without shared units, the paired t interval if all are shared, and between them the partly
    overlapping t of [2]_ (from three shared units on; with fewer the pairing is left out of account). Welch's interval
    holds the truth too seldom when the smaller sample is tiny and the noisier one: 89 % with two units against six, 93 %
    with three against eight. So with two units against more the t quantiles of both samples are weighted by their
    variances [3]_ (94.5 % or more), and with three in the smaller sample the degrees of freedom are at most 4 (94 %).

    References
    ----------
    .. [1] B. L. Welch, "The generalization of 'Student's' problem when several different population variances are
       involved", Biometrika 34, 1947.
    .. [2] B. Derrick, B. Russ, D. Toher and P. White, "Test statistics for the comparison of means for two samples that
       include both paired and independent observations", Journal of Modern Applied Statistical Methods 16(1), 2017.
    .. [3] W. G. Cochran and G. M. Cox, "Experimental Designs", section 4.14, 1950.
    """
    tail = two_sided_tail(confidence_level)
    contrast = Contrast.of(a, b, pairing)
    one = np.ones(np.broadcast(np.asarray(a.mean), np.asarray(b.mean)).shape)
    variance, df = contrast.at(one, one, tail)
    bound = np.asarray(a.bound, dtype=float) + np.asarray(b.bound, dtype=float)
    few = np.minimum(a.n, b.n) < 2
    equal = ~((a.spread_of_mean > 0) | (b.spread_of_mean > 0))
    reason = np.select([few, equal, ~np.isfinite(variance)], [ONE_UNIT, NO_SPREAD, PAIRS_ALIKE], "")
    return _interval(np.asarray(a.mean) - b.mean, variance, df, bound, tail, reason)


@dataclass(frozen=True, eq=False, slots=True)
class Contrast:
    """Error of ``x * a - y * b`` for two sample means a and b, for any weights x and y.

    Attributes
    ----------
    a, b : Sample
        The two samples.
    shared : ndarray
        Number of shared units that are used, 0 if the pairing is left out of account.
    covariance : ndarray
        Covariance of the two means.
    weighted : ndarray of bool
        Where the weighted t quantile replaces Welch's degrees of freedom.
    """

    a: Sample
    b: Sample
    shared: np.ndarray
    covariance: np.ndarray
    weighted: np.ndarray

    @classmethod
    def of(cls, a: Sample, b: Sample, pairing: Pairing | None = None) -> Contrast:
        """The contrast of two samples that share the units of `pairing`."""
        n_a, n_b = np.asarray(a.n, dtype=float), np.asarray(b.n, dtype=float)
        shared = np.zeros(np.broadcast(n_a, n_b).shape)
        correlation: Any = 0.0
        if pairing is not None:
            used = np.isin(pairing_used(n_a, n_b, pairing.n), [ALL_PAIRED, PARTLY_PAIRED])
            shared = np.where(used, pairing.n, 0.0)
            correlation = np.where(shared > 0, pairing.correlation, 0.0)
        spread = np.sqrt(np.asarray(a.variance, dtype=float) * b.variance)
        covariance = np.where(shared > 0, correlation * spread * shared / np.maximum(n_a * n_b, 1), 0.0)
        weighted = (np.minimum(n_a, n_b) == 2) & (n_a != n_b) & (shared == 0)
        return cls(a, b, shared, covariance, weighted)

    def at(self, x: np.ndarray, y: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
        """Variance of ``x * a - y * b``, NaN where it is zero but for the arithmetic, and its degrees of freedom."""
        part_a, part_b = x**2 * self.a.spread_of_mean, y**2 * self.b.spread_of_mean
        floor = x**2 * self.a.floor_of_mean + y**2 * self.b.floor_of_mean
        variance = np.maximum(part_a + part_b - 2 * x * y * self.covariance, floor)
        known = variance > ARITHMETIC * (part_a + part_b)
        return np.where(known, variance, np.nan), self._df(part_a, part_b, tail)

    def _df(self, part_a: np.ndarray, part_b: np.ndarray, tail: float) -> np.ndarray:
        df_a, df_b = np.maximum(self.a.df, 1), np.maximum(self.b.df, 1)
        total = part_a + part_b
        with np.errstate(invalid="ignore", divide="ignore"):
            df = total**2 / (part_a**2 / df_a + part_b**2 / df_b)
            if np.any(self.shared):
                alone = self.a.n + self.b.n - 2 * self.shared
                overlap = self.shared - 1 + (df - self.shared + 1) * alone / (self.a.n + self.b.n)
                df = np.where(self.shared > 0, overlap, df)
            if np.any(self.weighted):
                t = (part_a * _t_quantile(df_a, tail) + part_b * _t_quantile(df_b, tail)) / total
                df = np.where(self.weighted, stdtridf(1 - tail, t), df)
        return np.where(
            (self.shared == 0) & (np.minimum(self.a.n, self.b.n) == 3), np.minimum(df, MOST_DF_OF_THREE), df
        )


def holm_adjusted(p_values: ArrayLike) -> np.ndarray:
    """P values adjusted for their number, so that together they err no more often than one does.

    Use it when several edge types are compared with the reference.

    Parameters
    ----------
    p_values : array_like
        One per comparison; NaN where there is none, which is not counted.

    Returns
    -------
    ndarray
        Adjusted p values in the same order.

    References
    ----------
    .. [1] S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of Statistics 6,
       1979.
    """
    p = np.asarray(p_values, dtype=float)
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    steps = p[order] * (len(order) - np.arange(len(order)))
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted


def _interval(estimate: Any, variance: Any, df: Any, bound: Any, tail: float, reason: Any) -> Interval:
    std_error = np.sqrt(variance)
    df = np.where(np.isfinite(std_error), df, np.nan)
    half = _t_quantile(df, tail) * std_error + bound
    with np.errstate(invalid="ignore", divide="ignore"):
        statistic = np.maximum(np.abs(estimate) - bound, 0) / std_error
    p_value = 2 * stdtr(df, -statistic)
    parts = (estimate, std_error, df, estimate - half, estimate + half, p_value, reason)
    return Interval(*(plain(part) for part in parts))


def _t_quantile(df: Any, tail: float) -> np.ndarray:
    return np.asarray(stdtrit(df, 1 - tail))


def _why(sample: Sample) -> np.ndarray:
    known = np.isfinite(sample.variance_of_mean)
    return np.where(known, "", np.where(np.asarray(sample.n) < 2, ONE_UNIT, NO_SPREAD))


def plain(values: Any) -> Any:
    """A Python number or text from an array without dimensions; other arrays as they are."""
    values = np.asarray(values)
    return values.item() if values.ndim == 0 else values
