"""The ratio of two means with its confidence set.

Answers: how many times slower does one edge type wear than the other, and is there an upper end at all?

With few trucks the set of ratios that the data allow may have no upper end. It is then said as a bound, "at least L
times", never as an infinite number, and never replaced by an interval that is always finite.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtr, stdtrit

from trialkit.stats.inference import Contrast, Pairing, Sample, plain, two_sided_tail

BOUNDED = "bounded"
EXCLUSIVE = "exclusive"
WHOLE_LINE = "whole line"
AT_LEAST = "at least"
UNKNOWN = "unknown"
NONE = "none"

GRID = 240
BISECTIONS = 55
AT_ONCE = 50_000
"""Points of the grid that are looked at together, for all comparisons."""


@dataclass(frozen=True, eq=False, slots=True)
class RatioSet:
    """A ratio a / b and the ratios that the data allow.

    Attributes
    ----------
    estimate : float or ndarray
        Ratio of the two means; NaN if the divisor is zero.
    conf_low, conf_high : float or ndarray
        Ends of the set, read according to `kind`; NaN where there is no such end.
    kind : str or ndarray of str
        ``"bounded"``: from `conf_low` to `conf_high`. ``"exclusive"``: everything outside those two. ``"whole line"``:
        every ratio. After `known_non_negative` also ``"at least"``: from `conf_low` upwards; ``"unknown"``: every ratio
        from zero upwards; and ``"none"``: no set can be given.
    """

    estimate: Any
    conf_low: Any
    conf_high: Any
    kind: Any

    def known_non_negative(self, divisor: Any = None) -> RatioSet:
        """The set once it is known that neither mean is negative, as with wear.

        An exclusive set with ends of both signs becomes "at least". A set that keeps ratios near zero as well as ratios
        without an upper end, or no non-negative ratio at all, says nothing: ``"unknown"`` and ``"none"``.

        Parameters
        ----------
        divisor : float or ndarray, optional
            Mean of the divisor. Where both means came out negative by more than chance allows, their ratio is no ratio
            of wear, though it looks like one: ``"none"``.
        """
        kind = np.asarray(self.kind, dtype=object)
        low, high = np.asarray(self.conf_low, dtype=float), np.asarray(self.conf_high, dtype=float)
        estimate = np.asarray(self.estimate, dtype=float)
        with np.errstate(invalid="ignore"):
            bounded = (kind == BOUNDED) & (high >= 0)
            at_least = (kind == EXCLUSIVE) & (low < 0) & (high > 0)
            unknown = (kind == WHOLE_LINE) | ((kind == EXCLUSIVE) & ((low >= 0) | (high <= 0)))
            if divisor is not None:
                sunk = (np.asarray(divisor, dtype=float) < 0) & (estimate > 0) & ~unknown
                bounded, at_least = bounded & ~sunk, at_least & ~sunk
                estimate = np.where(sunk, np.nan, estimate)
        new_kind = np.select([bounded, at_least, unknown], [BOUNDED, AT_LEAST, UNKNOWN], NONE)
        new_low = np.select([bounded, at_least, unknown], [np.maximum(low, 0.0), high, 0.0], np.nan)
        new_high = np.where(bounded, high, np.nan)
        estimate = np.where(estimate >= 0, estimate, np.nan)
        return RatioSet(plain(estimate), plain(new_low), plain(new_high), plain(new_kind))


def fieller_set(a: Any, b: Any, var_a: Any, var_b: Any, cov_ab: Any, t: Any) -> RatioSet:
    """Fieller's set for the ratio a / b of two estimates with known covariance matrix.

    Use it when one t quantile belongs to the whole matrix: pooled spread, paired values, a regression. With different
    spread in the two samples use `ratio_set`.

    Parameters
    ----------
    a, b : float or ndarray
        The two estimates.
    var_a, var_b, cov_ab : float or ndarray
        Their squared standard errors and covariance.
    t : float or ndarray
        Two-sided t quantile.

    Returns
    -------
    RatioSet

    Notes
    -----
    The ratios r with ``(a - r b)^2 <= t^2 (var_a - 2 r cov_ab + r^2 var_b)``: with ``A = b^2 - t^2 var_b``,
    ``B = a b - t^2 cov_ab``, ``C = a^2 - t^2 var_a`` and ``D = B^2 - A C`` bounded between ``(B -+ sqrt(D)) / A`` if
    A > 0, outside those two if A < 0 and D > 0, and the whole line otherwise.

    References
    ----------
    .. [1] E. C. Fieller, "Some problems in interval estimation", Journal of the Royal Statistical Society B 16, 1954.
    """
    a, b, t = (np.asarray(value, dtype=float) for value in (a, b, t))
    lead = b**2 - t**2 * var_b
    half = a * b - t**2 * cov_ab
    inside = half**2 - lead * (a**2 - t**2 * var_a)
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(np.where(inside > 0, inside, np.nan))
        ends = np.stack([(half - root) / lead, (half + root) / lead])
        estimate = np.where(b != 0, a / b, np.nan)
    exclusive = (lead < 0) & (inside > 0)
    kind = np.select([lead > 0, exclusive, np.isfinite(inside)], [BOUNDED, EXCLUSIVE, WHOLE_LINE], NONE)
    low, high = np.where((lead > 0) | exclusive, np.sort(ends, axis=0), np.nan)
    return RatioSet(plain(estimate), plain(low), plain(high), plain(kind))


def ratio_set(
    a: Sample, b: Sample, pairing: Pairing | None = None, confidence_level: float = 0.95
) -> RatioSet:
    """Ratios a / b of two means that the data allow, without assuming equal spread.

    Use it for "how many times slower": a is the reference's wear rate, b the other type's. Units that carried both
    types are told by `pairing`.

    Parameters
    ----------
    a, b : Sample
        The two samples; their `bound` widens the set.
    pairing : Pairing, optional
        Units that are in both.
    confidence_level : float
        Two-sided level.

    Returns
    -------
    RatioSet
        Of kind ``"none"`` if a sample has fewer than two units, if all units of both are equal, or if the units that
        carried both all have the same ratio or the same difference, and no reading error is known.

    Notes
    -----
    The set of ratios r that the two-sided test of "mean of a = r times mean of b" does not reject. The test is that of
    `inference.difference_interval` applied to a and r b, so its degrees of freedom change with r and its decision at
    r = 1 agrees with the interval of the difference. Where the set falls into several pieces the whole stretch from
    the first to the last is given. The search runs over the angle of the line a = r b, in which a ratio without upper
    end is a point like any other.
    """
    tail = two_sided_tail(confidence_level)
    shape = np.broadcast(np.asarray(a.mean), np.asarray(b.mean)).shape
    a, b, pairing = _stacked(a, shape), _stacked(b, shape), _stacked_pairing(pairing, shape)
    contrast = Contrast.of(a, b, pairing)
    var_a, var_b = a.spread_of_mean, b.spread_of_mean
    scale, noise = _scales(a, b, var_a, var_b)
    centre = np.arctan2(a.mean, b.mean * scale)
    centre = np.where(
        centre > np.pi / 2, centre - np.pi, np.where(centre <= -np.pi / 2, centre + np.pi, centre)
    )

    def allowed(angle: np.ndarray) -> np.ndarray:
        x, y = np.cos(angle), np.sin(angle) * scale
        variance, df = contrast.at(x, y, tail)
        distance = np.abs(a.mean * x - b.mean * y) - np.abs(x) * a.bound - np.abs(y) * b.bound
        return stdtr(df, -np.maximum(distance, 0) / np.sqrt(variance)) >= tail

    ways = ((np.ones_like(scale), np.ones_like(scale)), (np.cos(centre), np.sin(centre) * scale))
    known = np.all([np.isfinite(contrast.at(x, y, tail)[0]) for x, y in ways], axis=0)
    strength = np.hypot(a.mean, b.mean * scale) / noise
    down, up = (_reach(allowed, centre, strength, side) for side in (-1.0, 1.0))
    whole = (down >= np.pi / 2) | (up >= np.pi / 2)
    first, last = centre - down, centre + up
    exclusive = ~whole & ((first <= -np.pi / 2) | (last >= np.pi / 2))
    ends = np.sort(np.stack([np.tan(first), np.tan(last)]) * scale, axis=0)
    low, high = np.where(known & ~whole, ends, np.nan)
    kind = np.select([~known, whole, exclusive], [NONE, WHOLE_LINE, EXCLUSIVE], BOUNDED)
    with np.errstate(invalid="ignore", divide="ignore"):
        estimate = np.where(b.mean != 0, a.mean / b.mean, np.nan)
    parts = (part.reshape(shape) for part in (estimate, low, high, kind))
    return RatioSet(*(plain(part) for part in parts))


def _scales(a: Sample, b: Sample, var_a: np.ndarray, var_b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What one unit of b weighs in units of a, and the error beside which the two means are seen; by the means where units of
    a sample are all equal."""
    both = (var_a > 0) & (var_b > 0)
    ratio = np.divide(a.mean, b.mean, out=np.ones(len(both)), where=(a.mean != 0) & (b.mean != 0))
    scale = np.where(both, np.sqrt(np.where(both, var_a, 1.0) / np.where(both, var_b, 1.0)), np.abs(ratio))
    total = var_a + scale**2 * var_b
    return scale, np.sqrt(np.where(both, var_a, np.where(total > 0, total, 1.0)))


def _reach(allowed: Any, centre: np.ndarray, strength: np.ndarray, side: float) -> np.ndarray:
    """How far from `centre` to one side the farthest allowed angle lies; a quarter turn if nothing stops it."""
    shortest = 1e-3 / (1 + strength)
    steps = shortest * (np.pi / 2 / shortest) ** np.linspace(0, 1, GRID)[:, None]
    rows = max(1, AT_ONCE // max(len(centre), 1))
    inside = np.concatenate(
        [allowed(centre + side * steps[start : start + rows]) for start in range(0, GRID, rows)]
    )
    farthest = np.where(inside.any(axis=0), GRID - 1 - inside[::-1].argmax(axis=0), -1)
    columns = np.arange(len(centre))
    low = np.where(farthest >= 0, steps[farthest, columns], 0.0)
    high = steps[np.minimum(farthest + 1, GRID - 1), columns]
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        within = allowed(centre + side * middle)
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    return np.where(farthest == GRID - 1, np.pi / 2, low)


@dataclass(frozen=True, eq=False, slots=True)
class MarginTest:
    """Whether a ratio lies below a margin.

    Attributes
    ----------
    statistic, df, p_value : float
        One-sided test against "the ratio is the margin or more".
    conf_high : float
        One-sided upper limit of the ratio; NaN if there is none.
    """

    statistic: float
    df: float
    p_value: float
    conf_high: float


def margin_test(
    a: Sample,
    b: Sample,
    margin: float,
    confidence_level: float = 0.95,
    equal_variance: bool = False,
    pairing: Pairing | None = None,
) -> MarginTest:
    """One-sided test that the ratio a / b of two means lies below a margin.

    Use it to show "no worse than", for instance that the other type wears less than 1.25 times as fast as the
    reference. Two of them, at both margins, show equivalence. A difference that is "not shown" shows neither.

    Parameters
    ----------
    a, b : Sample
        The two samples; b is known to be positive.
    margin : float
        Ratio that must be ruled out.
    confidence_level : float
        One-sided level.
    equal_variance : bool
        Whether to pool the spread of the two samples; not together with `pairing`.
    pairing : Pairing, optional
        Units that are in both.

    Returns
    -------
    MarginTest
        All NaN if a sample has fewer than two units.

    Notes
    -----
    ``t = (mean a - margin * mean b + bounds) / sqrt(var a + margin^2 var b)``, Welch's degrees of freedom at the
    margin, or n_a + n_b - 2 with pooled spread. It agrees with the upper end of the two-sided set at twice the tail.
    """
    level = 1 - 4 * two_sided_tail(confidence_level)
    bound = float(a.bound + margin * b.bound)
    if equal_variance:
        df = float(a.df + b.df)
        pooled = (a.df * a.variance + b.df * b.variance) / df
        var_a, var_b = pooled / a.n, pooled / b.n
        variance = var_a + margin**2 * var_b
        found = fieller_set(a.mean, b.mean, var_a, var_b, 0.0, stdtrit(df, 1 - two_sided_tail(level)))
    else:
        at_margin = Contrast.of(a, b, pairing).at(np.asarray(1.0), np.asarray(margin), two_sided_tail(level))
        variance, df = float(at_margin[0]), float(at_margin[1])
        found = ratio_set(a, b, pairing, level)
    statistic = float((a.mean - margin * b.mean + bound) / np.sqrt(variance))
    conf_high = found.conf_high if found.kind == BOUNDED else np.nan
    return MarginTest(statistic, df, float(stdtr(df, statistic)), conf_high)


def _stacked(sample: Sample, shape: tuple[int, ...]) -> Sample:
    """The sample with every field as an array in one dimension."""
    fields = (sample.mean, sample.variance, sample.n, sample.variance_floor, sample.bound)
    return Sample(*(np.broadcast_to(np.asarray(field, dtype=float), shape).reshape(-1) for field in fields))


def _stacked_pairing(pairing: Pairing | None, shape: tuple[int, ...]) -> Pairing | None:
    if pairing is None:
        return None
    fields = (pairing.n, pairing.correlation)
    return Pairing(*(np.broadcast_to(np.asarray(field, dtype=float), shape).reshape(-1) for field in fields))
