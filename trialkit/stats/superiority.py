"""Ordered scores of a few units compared: how often does one beat the other?

Answers: how probable is it that a score with one treatment is better than one with the other, when the scores of a unit
belong together?

Scores from 1 to 5 have an order but no distances, and the many scores of one unit (truck) are one unit's word. Each unit
enters once, with the distribution of its scores. The p value comes from all ways in which the treatments could have been
dealt to the units; nothing is supposed of the scores.

References
----------
.. [1] Brunner, E. and Munzel, U., "The nonparametric Behrens-Fisher problem: asymptotic theory and a small-sample
   approximation", Biometrical Journal 42, 17-25, 2000.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from trialkit.stats.inference import Pairing, Sample, difference_interval, two_sided_tail

SEPARATED = (
    "every unit of one is above every unit of the other, so the spread says nothing of how sure that is"
)
MOST_DEALT = 50_000
"""Ways to deal the treatments up to which all are gone through; beyond, so many are drawn at random."""
_TIED = 1e-9


@dataclass(frozen=True, eq=False)
class Superiority:
    """Probability that a score of a is above one of b, ties counting half.

    Attributes
    ----------
    estimate : float
        With every unit counting the same.
    conf_low, conf_high, df : float
        Ends and degrees of freedom of the interval; not numbers where it cannot be given.
    p_value : float
        Share of the ways to deal the treatments that lie at least as far from one half; 1 where there is one way only.
    p_smallest : float
        Smallest p value that so few units can give.
    reason : str
        Why there is no interval.
    """

    estimate: float
    conf_low: float
    conf_high: float
    df: float
    p_value: float
    p_smallest: float
    reason: str


def superiority(
    score: ArrayLike, unit: ArrayLike, is_a: ArrayLike, confidence_level: float = 0.95, seed: int = 0
) -> Superiority:
    """Compare the scores of two treatments, unit by unit.

    Parameters
    ----------
    score : (n,) array
        Ordered scores; larger is better.
    unit : (n,) array
        Unit of each score. A unit may have scores of both treatments.
    is_a : (n,) array of bool
        Treatment of each score; each of the two has some.
    confidence_level : float
        Two-sided level.
    seed : int
        Of the random draw, where there are too many ways to go through.

    Returns
    -------
    Superiority

    Notes
    -----
    ``P(a > b) + P(a = b) / 2``, averaged over all pairs of a unit with a and a unit with b. With one score to a unit the
    standard error and the degrees of freedom are those of [1]_ (with the further rules of `inference.difference_interval`
    for two and three units, and pairs where units had both); the interval is taken on the scale of the logit, so that
    its ends lie between 0 and 1. The treatments are dealt anew among the units that had one of them, and exchanged
    within those that had both.
    """
    levels, at = np.unique(np.asarray(score, float), return_inverse=True)
    _, owner = np.unique(np.asarray(unit), return_inverse=True)
    kind = np.asarray(is_a, bool)
    cells, cell = np.unique(owner * 2 + kind, return_inverse=True)
    counts = np.bincount(cell * len(levels) + at, minlength=len(cells) * len(levels)).reshape(len(cells), -1)
    share = counts / counts.sum(axis=1, keepdims=True)
    below = np.cumsum(share, axis=1) - share / 2
    wins = share @ below.T
    in_a, of = cells % 2 == 1, cells // 2
    between = wins[np.ix_(in_a, ~in_a)]
    estimate = float(between.mean())

    placed_a, placed_b = between.mean(axis=1), 1.0 - between.mean(axis=0)
    at_a, at_b = of[in_a], of[~in_a]
    both = np.intersect1d(at_a, at_b)
    pairs = Pairing.of(placed_a[np.isin(at_a, both)], placed_b[np.isin(at_b, both)]) if len(both) else None
    some = _TIED * max(
        float(np.var(placed_a)), float(np.var(placed_b))
    )  # units of one side alone may be all alike
    found = difference_interval(Sample.of(placed_a, some), Sample.of(placed_b, some), pairs, confidence_level)
    low, high = _logit_ends(estimate, found.std_error, found.df, two_sided_tail(confidence_level))
    reason = (
        SEPARATED
        if min(len(placed_a), len(placed_b)) > 1 and min(estimate, 1.0 - estimate) < _TIED
        else found.reason
    )
    p_value, ways = _dealt_again(wins, in_a, of, seed)
    return Superiority(
        estimate,
        low,
        high,
        float(found.df) if math.isfinite(low) else math.nan,
        p_value,
        min(1.0, 2.0 / ways),
        reason,
    )


def _logit_ends(estimate: float, std_error: float, df: float, tail: float) -> tuple[float, float]:
    if min(estimate, 1.0 - estimate) < _TIED or not math.isfinite(std_error):
        return math.nan, math.nan
    centre = math.log(estimate / (1.0 - estimate))
    half = float(stdtrit(df, 1 - tail)) * std_error / (estimate * (1.0 - estimate))
    low, high = (1.0 / (1.0 + math.exp(-min(max(end, -700), 700))) for end in (centre - half, centre + half))
    return low, high


def _dealt_again(wins: np.ndarray, in_a: np.ndarray, of: np.ndarray, seed: int) -> tuple[float, float]:
    """Share of the ways to deal the treatments that lie at least as far from one half, and how many ways there are."""
    twice = np.flatnonzero(np.bincount(of) == 2)
    first = np.flatnonzero(np.isin(of, twice) & in_a)
    second = np.flatnonzero(np.isin(of, twice) & ~in_a)
    single = np.flatnonzero(~np.isin(of, twice))
    n_a = int(in_a[single].sum())
    ways = math.comb(len(single), n_a) * 2.0 ** len(first)
    observed = abs(_mean_win(wins, in_a[None]) - 0.5)[0]
    if ways <= MOST_DEALT:
        labels = np.array(list(_all_labels(len(in_a), single, n_a, first, second)))
        far = np.abs(_mean_win(wins, labels) - 0.5) >= observed - _TIED
        return float(far.mean()), ways
    labels = _drawn_labels(np.random.default_rng(seed), len(in_a), single, n_a, first, second)
    far = np.abs(_mean_win(wins, labels) - 0.5) >= observed - _TIED
    return float((far.sum() + 1) / (len(labels) + 1)), ways


def _mean_win(wins: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """Mean over the pairs of an a and a b, for each row of labels."""
    a, b = labels.astype(float), (~labels).astype(float)
    return ((a @ wins) * b).sum(axis=1) / (a.sum(axis=1) * b.sum(axis=1))


def _all_labels(
    n: int, single: np.ndarray, n_a: int, first: np.ndarray, second: np.ndarray
) -> Iterator[np.ndarray]:
    for chosen in combinations(single, n_a):
        for swap in range(2 ** len(first)):
            labels = np.zeros(n, bool)
            labels[list(chosen)] = True
            swapped = (swap >> np.arange(len(first))) & 1 == 1
            labels[np.where(swapped, second, first)] = True
            yield labels


def _drawn_labels(
    rng: np.random.Generator, n: int, single: np.ndarray, n_a: int, first: np.ndarray, second: np.ndarray
) -> np.ndarray:
    labels = np.zeros((MOST_DEALT, n), bool)
    if len(single):
        rank = rng.random((MOST_DEALT, len(single))).argsort(axis=1)
        labels[:, single] = rank < n_a
    swapped = rng.random((MOST_DEALT, len(first))) < 0.5
    labels[:, first], labels[:, second] = ~swapped, swapped
    return labels
