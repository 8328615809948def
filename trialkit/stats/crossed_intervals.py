"""Intervals for variances that are put together from several mean squares.

Answers: how sure is a variance that is a sum or difference of mean squares with a few degrees of freedom each?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, fdtri


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """A mean square with its degrees of freedom."""

    value: float
    df: float


def chi_square_interval(variance: float, df: float, tail: float) -> tuple[float, float]:
    """Limits of a variance with so many degrees of freedom.

    Parameters
    ----------
    variance, df : float
        The estimate and its degrees of freedom.
    tail : float
        Probability beyond each limit.

    Notes
    -----
    ``df s^2 / chi-square``. NaN without a degree of freedom.
    """
    if not df > 0:
        return np.nan, np.nan
    low, high = chdtri(df, tail), chdtri(df, 1 - tail)
    return float(df * variance / low), float(df * variance / high) if high > 0 else np.inf


def combination_interval(terms: Sequence[tuple[float, MeanSquare]], tail: float) -> tuple[float, float]:
    """Limits of ``sum(factor * mean square)``, factors of both signs, never below zero.

    Use it for variance components of a balanced study. Not for mean squares that are not independent.

    Parameters
    ----------
    terms : sequence of (float, MeanSquare)
        Factors and independent mean squares; the same mean square may come several times.
    tail : float
        Probability beyond each limit.

    Notes
    -----
    The modified large-sample interval: exact when all but one of the mean squares vanish. With upper quantiles F of the F
    distribution at `tail`, ``G_i = 1 - 1/F(n_i, inf)``, ``H_i = 1/F'(n_i, inf) - 1`` (F' at 1 - `tail`), the lower limit is
    ``sum - sqrt(sum+ G_i^2 k_i^2 + sum- H_j^2 k_j^2 + sum G_ij k_i k_j)``, ``G_ij = ((F_ij - 1)^2 - G_i^2 F_ij^2 - H_j^2) / F_ij``
    over pairs of a positive and a negative term k; the upper limit mirrors it.
    """
    merged: dict[tuple[float, float], float] = {}
    for factor, ms in terms:
        key = (ms.value, ms.df)
        merged[key] = merged.get(key, 0.0) + factor
    plus = [(factor * value, df) for (value, df), factor in merged.items() if factor > 1e-15]
    minus = [(-factor * value, df) for (value, df), factor in merged.items() if factor < -1e-15]
    estimate = sum(k for k, _ in plus) - sum(k for k, _ in minus)
    low = estimate - np.sqrt(max(_spread(plus, minus, tail), 0.0))
    high = estimate + np.sqrt(max(_spread(minus, plus, tail), 0.0))
    return float(max(low, 0.0)), float(max(high, 0.0))


def _spread(plus: Sequence[tuple[float, float]], minus: Sequence[tuple[float, float]], tail: float) -> float:
    """Square of the way to the limit on the side on which the `plus` terms are taken too large."""
    total = sum((_g(df, tail) * k) ** 2 for k, df in plus) + sum((_h(df, tail) * k) ** 2 for k, df in minus)
    for k, df in plus:
        for m, df_m in minus:
            f = float(fdtri(df, df_m, 1 - tail))
            cross = ((f - 1) ** 2 - (_g(df, tail) * f) ** 2 - _h(df_m, tail) ** 2) / f
            total += cross * k * m
    return float(total)


def _g(df: float, tail: float) -> float:
    return float(1 - df / chdtri(df, tail))


def _h(df: float, tail: float) -> float:
    return float(df / chdtri(df, 1 - tail) - 1)
