"""Costs drawn at random as often as the trial leaves them open.

Answers: what might the rates and hours behind a cost be, given what few trucks showed?

A life of "at least so many miles" has draws in which nothing wears. They are kept, at a wear of zero: the cost of a mile then
has a lower bound (what is paid without wear), and is never negative or infinite.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from trialkit import columns as c
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.lines import Rates, estimated_rates, total_cost
from trialkit.stats.inference import Contrast, Pairing, two_sided_tail

LOWER, MIDDLE, UPPER = -1, 0, 1


@dataclass(frozen=True, eq=False, slots=True)
class DrawnRates:
    """Draws of everything that is not known about one edge type.

    Attributes
    ----------
    use : ndarray
        Sets, or sections at a place, worn out per mile; may be negative here. [1/mi]
    use_bound : float
        Error of the use from rounding, which does not average out. [1/mi]
    breaks, section_breaks : ndarray
        Sets and sections that break or get lost, per mile. [1/mi]
    labour_h, down_h : dict
        Kind of change to its hours. [h]
    """

    use: np.ndarray
    use_bound: float
    breaks: np.ndarray
    section_breaks: np.ndarray
    labour_h: dict[str, np.ndarray]
    down_h: dict[str, np.ndarray]

    def at(self, side: int) -> Rates:
        """The draws from which the lower end, the middle or the upper end of an interval is read."""
        return Rates(
            use=np.maximum(self.use + side * self.use_bound, 0.0),
            breaks=self.breaks,
            section_breaks=self.section_breaks,
            labour_h=self.labour_h,
            down_h=self.down_h,
        )


Result = TypeVar("Result")


def ends(lower: ArrayLike, upper: ArrayLike, confidence_level: float) -> tuple[float, float]:
    """Ends of an interval between quantiles of draws.

    Parameters
    ----------
    lower, upper : array_like
        Draws from which the lower and the upper end are read.
    confidence_level : float

    Notes
    -----
    Each end is a draw and no value between two draws: so the interval leaves out a value exactly where the p value of the draws on
    its other side, ``2 (count + 1) / (n + 1)``, is below what its level leaves.
    """
    tail = two_sided_tail(confidence_level)
    return _end(np.asarray(lower), tail), -_end(-np.asarray(upper), tail)


def _end(values: np.ndarray, tail: float) -> float:
    """The draw above which an interval begins: as many lie below it as still leave a p value ``(count + 1) / (n + 1)`` under the tail."""
    drawn = np.atleast_1d(values).astype(float)
    if np.isnan(drawn).any():
        return math.nan
    place = max(math.ceil(tail * (len(drawn) + 1) - 1e-9) - 2, 0)
    return float(np.partition(drawn, place)[place])


def on_each_side(drawn: DrawnRates, cost: Callable[[Rates], Result]) -> tuple[Result, Result, Result]:
    """What follows from the draws of the lower end, the middle and the upper end; once where rounding makes no difference."""
    middle = cost(drawn.at(MIDDLE))
    if not drawn.use_bound:
        return middle, middle, middle
    return cost(drawn.at(LOWER)), middle, cost(drawn.at(UPPER))


def generator(inputs: CostInputs, *names: str) -> np.random.Generator:
    """Random numbers of their own for each purpose, so that one more edge type changes no other type's draws."""
    return np.random.default_rng([inputs.seed, *(zlib.crc32(name.encode()) for name in names)])


def draw_edge(edge: EdgeCosts, inputs: CostInputs) -> DrawnRates:
    """Draws for the cost of one edge type by itself.

    Notes
    -----
    Use: estimate + standard error * t with the trucks' degrees of freedom, so that its quantiles are the ends of the t interval.
    Breaks: gamma with x + 1/2 events over the miles [1]_, so that none seen is not taken for none possible. Its quantiles lie a
    little inside the exact interval, which holds the truth more often than it says. Where sections are replaced on their own, breaks of sets and of sections are drawn
    together and divided as they were seen; if none was seen, as sections. Hours: estimate + standard error * t over the changes
    recorded, not below zero.

    References
    ----------
    .. [1] H. Jeffreys, "Theory of Probability", 3rd edition, 1961, section 3.1; its intervals for a count are compared with the
       exact ones in L. D. Brown, T. T. Cai and A. DasGupta, "Interval estimation in exponential families", Statistica Sinica 13,
       2003.
    """
    rng = generator(inputs, edge.edge_type, "own")
    sample = edge.use.sample
    n = inputs.n_draws
    spread = math.sqrt(float(sample.variance_of_mean)) if edge.use.has_interval else 0.0
    t = rng.standard_t(max(float(sample.df), 1.0), n) if spread else np.zeros(n)
    return _drawn(edge, float(sample.mean) + spread * t, rng, n)


def draw_pairs(
    edge: EdgeCosts, reference: EdgeCosts, inputs: CostInputs, known: Collection[str]
) -> tuple[tuple[DrawnRates, DrawnRates], ...]:
    """Draws for the difference in cost of an edge type and the reference: of everything, and of the wear alone.

    Whatever is read from them takes the wider of the two intervals: that of everything is not to be narrower than that of the wear,
    which is a part of it.

    Parameters
    ----------
    edge, reference : EdgeCosts
    inputs : CostInputs
    known : collection of str
        Cost lines that are compared.

    Returns
    -------
    tuple
        Draws of the type and of the reference, of everything and then of the wear alone; only the first where one of them rests on
        fewer than two trucks.

    Notes
    -----
    The two uses are drawn together from a bivariate t with the degrees of freedom of Welch's test of the difference in cost
    (`inference.Contrast` with each use weighted by what it costs) and the correlation of the trucks that carried both. Drawn apart,
    each with its own few degrees of freedom, they would give too wide an interval. Together with breakage and hours, of which
    the error is better known than that of the wear, the degrees of freedom are ``df (1 + v / w)^2``, as in Satterthwaite's formula
    [1]_ for variances w of the wear and v of all else.

    References
    ----------
    .. [1] F. E. Satterthwaite, "An approximate distribution of estimates of variance components", Biometrics Bulletin 2, 1946.
    """
    rng = generator(inputs, edge.edge_type, reference.edge_type, "pair")
    both = (edge, reference)
    n = inputs.n_draws
    means = [float(one.use.sample.mean) for one in both]
    rest = [_drawn(one, np.full(n, mean), rng, n) for one, mean in zip(both, means, strict=True)]
    if not all(one.use.has_interval for one in both):
        return ((rest[0], rest[1]),)
    variance, df, correlation = _contrast(edge, reference, inputs, known)
    errors = [math.sqrt(float(one.use.sample.variance_of_mean)) for one in both]
    other = sum(
        float(np.nan_to_num(np.var(total_cost(one, drawn.at(MIDDLE), inputs, known))))
        for one, drawn in zip(both, rest, strict=True)
    )
    first = rng.standard_normal(n)
    normals = (first, correlation * first + math.sqrt(1.0 - correlation**2) * rng.standard_normal(n))
    wider, plain = (
        np.sqrt(rng.chisquare(free, n) / free) for free in (df * (1.0 + other / variance) ** 2, df)
    )
    of_all, of_wear = (
        [
            (mean + error * normal / scale) / 1000.0
            for mean, error, normal in zip(means, errors, normals, strict=True)
        ]
        for scale in (wider, plain)
    )
    alone = [
        replace(_settled(one, rest_of.use_bound, n), use=use)
        for one, rest_of, use in zip(both, rest, of_wear, strict=True)
    ]
    everything = [replace(one, use=use) for one, use in zip(rest, of_all, strict=True)]
    return (everything[0], everything[1]), (alone[0], alone[1])


def _contrast(
    edge: EdgeCosts, reference: EdgeCosts, inputs: CostInputs, known: Collection[str]
) -> tuple[float, float, float]:
    """Variance of the difference in cost that comes from the wear, its degrees of freedom, and the correlation of the uses."""
    a, b = edge.use.sample, reference.use.sample
    weights = [np.asarray(marginal_cost(one, inputs, known)) for one in (edge, reference)]
    tail = two_sided_tail(inputs.confidence_level)
    pairing = inputs.pairings.get(edge.edge_type, Pairing(0, 0.0))
    variance, df = (float(part) for part in Contrast.of(a, b, pairing).at(weights[0], weights[1], tail))
    if not math.isfinite(
        variance
    ):  # every truck tells the same difference: a chance of few trucks, not certainty
        variance, df = (float(part) for part in Contrast.of(a, b).at(weights[0], weights[1], tail))
    parts = [
        float(weight) * math.sqrt(float(one.variance_of_mean))
        for weight, one in zip(weights, (a, b), strict=True)
    ]
    correlation = (parts[0] ** 2 + parts[1] ** 2 - variance) / (2.0 * parts[0] * parts[1])
    df = df if math.isfinite(df) else max(min(float(a.df), float(b.df)), 1.0)
    return variance, df, min(max(correlation, -1.0), 1.0)


def _settled(edge: EdgeCosts, use_bound: float, n: int) -> DrawnRates:
    """Everything as estimated, as if it were drawn."""
    rates = estimated_rates(edge)
    return DrawnRates(
        use=np.full(n, float(rates.use)),
        use_bound=use_bound,
        breaks=np.full(n, float(rates.breaks)),
        section_breaks=np.full(n, float(rates.section_breaks)),
        labour_h={kind: np.full(n, hours) for kind, hours in rates.labour_h.items()},
        down_h={kind: np.full(n, hours) for kind, hours in rates.down_h.items()},
    )


def marginal_cost(edge: EdgeCosts, inputs: CostInputs, known: Collection[str]) -> float:
    """What one more set worn out per 1,000 miles adds to the cost of a mile over some lines, near the estimate."""
    rates = estimated_rates(edge)
    step = max(float(rates.use), 1e-9) * 1e-3
    more, less = (replace(rates, use=float(rates.use) + sign * step / 2 + step) for sign in (1, -1))
    gain = float(total_cost(edge, more, inputs, known)) - float(total_cost(edge, less, inputs, known))
    found = gain / step / 1000.0
    return found if math.isfinite(found) and found > 0 else 1.0


def draw_savings(inputs: CostInputs, edge_type: str) -> np.ndarray:
    """Draws of what material and passes save per mile against the reference; zeros where nothing was shown.

    Notes
    -----
    A normal curve on each side of the estimate, wide enough that its quantiles are the ends of the interval.
    """
    rng = generator(inputs, edge_type, "savings")
    z = float(ndtri(1 - two_sided_tail(inputs.confidence_level)))
    rows = inputs.savings[inputs.savings[c.EDGE_TYPE] == edge_type]
    saved = np.zeros(inputs.n_draws)
    for row in rows.to_dict("records"):
        normal = rng.standard_normal(inputs.n_draws)
        below, above = row[c.ESTIMATE] - row[c.CONF_LOW], row[c.CONF_HIGH] - row[c.ESTIMATE]
        saved += row[c.ESTIMATE] + normal / z * np.where(normal < 0, below, above)
    return saved


def _drawn(edge: EdgeCosts, use_per_1000_mi: np.ndarray, rng: np.random.Generator, n: int) -> DrawnRates:
    breaks, section_breaks = _broken(edge, rng, n)
    hours = {
        kind: (_hours(work.labour.mean, work.labour.std_error, work.labour.df, rng, n),
               _hours(work.down.mean, work.down.std_error, work.down.df, rng, n))
        for kind, work in edge.work.items()
    }  # fmt: skip
    return DrawnRates(
        use=use_per_1000_mi / 1000.0,
        use_bound=float(edge.use.sample.bound) / 1000.0,
        breaks=breaks,
        section_breaks=section_breaks,
        labour_h={kind: pair[0] for kind, pair in hours.items()},
        down_h={kind: pair[1] for kind, pair in hours.items()},
    )


def _broken(edge: EdgeCosts, rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Sets and sections broken or lost per mile."""
    use = edge.use
    if not use.miles_mi > 0:
        return np.zeros(n), np.zeros(n)
    rate = rng.standard_gamma(use.breaks + use.section_breaks + 0.5, n) / use.miles_mi
    return rate * edge.broken_sets_frac, rate * (1.0 - edge.broken_sets_frac)


def _hours(mean: float, std_error: float, df: float, rng: np.random.Generator, n: int) -> np.ndarray:
    if not (math.isfinite(std_error) and std_error > 0):
        return np.full(n, mean)
    return np.maximum(mean + std_error * rng.standard_t(max(df, 1.0), n), 0.0)
