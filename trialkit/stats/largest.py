"""The largest of several values that are measured with error, without the luck of being picked.

Answers: how large is the largest really, when it is the largest partly by its error?

The largest of several noisy values is too large on average. What error does to it is seen by adding more error, and the
trend is followed back to none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

GRID = 121
REACH = 5.0


def expected_largest(values: Floats, errors: Floats, grid: int = GRID) -> Floats:
    """Mean of the largest of independent normal values, row by row.

    Parameters
    ----------
    values : ndarray
        Centers, one row for each set and one column for each station; NaN where a set has fewer stations.
    errors : ndarray
        Standard deviations in the same layout.
    grid : int
        Points of the trapezoid rule.

    Returns
    -------
    ndarray
        One mean for each row.

    Notes
    -----
    ``E max = top - integral of prod_j Phi((x - m_j) / s_j)`` up to a point that no value reaches, by the trapezoid rule;
    good to a thousandth of the largest standard deviation.

    Examples
    --------
    >>> expected_largest(np.zeros((1, 2)), np.ones((1, 2))).round(3)  # 1 / sqrt(pi)
    array([0.564])
    """
    known = np.isfinite(values)
    largest = np.max(np.where(known, values, -np.inf), axis=1)
    errors = np.where(known, errors, 0.0)
    spread = errors.max(axis=1)
    if not (spread > 0).any():
        return largest
    errors = np.maximum(errors, 1e-6 * np.where(spread > 0, spread, 1.0)[:, None])
    low = np.max(np.where(known, values - REACH * errors, -np.inf), axis=1)
    high = np.max(np.where(known, values + REACH * errors, -np.inf), axis=1)
    x = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, grid)
    below = np.ones_like(x)
    whole = bool(known.all())
    for j in range(values.shape[1]):
        one = known[:, j] if not whole else slice(None)
        below[one] *= ndtr((x[one] - values[one, j, None]) / errors[one, j, None])
    found = high - np.trapezoid(below, x, axis=1)
    return np.where(spread > 0, found, largest)


@dataclass(frozen=True, eq=False, slots=True)
class Corrected:
    """Largest values of units with the luck of the largest taken off; the last axis of the data were the units.

    Attributes
    ----------
    values : ndarray
        Value of each unit.
    mean, variance : ndarray
        Mean over the units, and the variance of one unit's value that belongs to it; NaN with one unit.
    kept : ndarray
        Share of the measured excess over the mean that is not error.
    missed : ndarray
        How far the straight trend lies above.
    """

    values: Floats
    mean: Floats
    variance: Floats
    kept: Floats
    missed: Floats


def correct_largest(mean: Floats, largest: Floats, noisier: Floats) -> Corrected:
    """Take the luck of the largest off the largest values of units of one kind.

    Use it with units that have equally many values. Not for a single value with a known error.

    Parameters
    ----------
    mean, largest, noisier : ndarray
        Mean of each unit's values, its largest value as measured, and what that would be on average with the errors made
        once more on top (`expected_largest`); units along the last axis.

    Returns
    -------
    Corrected

    Notes
    -----
    Let E be the mean excess of the largest value over the mean, and E' the same with the errors doubled. Among values that
    differ like normal ones with variance v the squared excess grows in proportion to v plus the error variance, so without
    error it is ``2 E^2 - E'^2`` (none if that is negative): error is added where its effect is known, and the trend is
    followed back to none [1]_. One lasting largest value, well apart from the others, is left as it is by the same rule.

    The variance comes from leaving out one unit at a time [2]_, or from the spread of the corrected values where that is
    larger. `missed` is how far the trend followed on the excess itself, ``2 E - E'``, lies above.

    References
    ----------
    .. [1] J. R. Cook and L. A. Stefanski, "Simulation-extrapolation estimation in parametric measurement error models",
       Journal of the American Statistical Association 89, 1994.
    .. [2] R. G. Miller, "The jackknife: a review", Biometrika 61, 1974.
    """
    n = mean.shape[-1]
    once, twice = largest - mean, noisier - mean
    excess = once.mean(axis=-1)
    true = _without_error(excess, twice.mean(axis=-1))
    kept = np.divide(true, excess, out=np.zeros_like(true), where=excess > 0)
    values = mean + kept[..., None] * once
    variance = np.full(true.shape, np.nan)
    if n > 1:
        parts = np.stack([mean, once, twice])
        left_out = (parts.sum(axis=-1, keepdims=True) - parts) / (n - 1)
        without = left_out[0] + _without_error(left_out[1], left_out[2])
        jackknife = (n - 1) / n * np.sum((without - without.mean(axis=-1, keepdims=True)) ** 2, axis=-1)
        variance = np.maximum(n * jackknife, values.var(axis=-1, ddof=1))
    missed = np.maximum(2 * excess - twice.mean(axis=-1) - true, 0.0)
    return Corrected(values, mean.mean(axis=-1) + true, variance, kept, missed)


def _without_error(once: Floats, twice: Floats) -> Floats:
    return np.asarray(np.sqrt(np.maximum(2 * np.square(once) - np.square(twice), 0.0)))
