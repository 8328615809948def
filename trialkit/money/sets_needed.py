"""How many sets and sections a truck may use up in a season, drawn one set after the other.

Answers: with these miles, how many sets does this truck need at most, nine winters in ten?

Miles divided by the mean life says how many sets a fleet uses over many years. A truck needs whole sets, some trucks are harder
on edges than others, and edges break: so each draw lets sets wear out, or break, one after the other until the miles are done.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money.inputs import EdgeCosts, Use
from trialkit.stats.inference import Sample, two_sided_tail
from trialkit.table_parts import SECTION

CARRIED_FRAC = "carried_frac"
CARRIED_COLUMNS = [c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE, c.SET_ID, CARRIED_FRAC]
MOST_SETS = 400
"""Sets of one place in one season after which drawing stops; no edge lasts so short."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How the use of sets spreads. [sets per 1,000 mi]

    Attributes
    ----------
    between_trucks : float
        Standard deviation from truck to truck.
    between_sets : float
        Standard deviation between the sets of one truck.
    between_places : float
        Standard deviation between the sections of one set; 0 for a set replaced as a whole.
    """

    between_trucks: float
    between_sets: float = 0.0
    between_places: float = 0.0


def spread_of_use(
    use: Use,
    set_uses: pd.DataFrame | None = None,
    *,
    pred_low_mi: float = math.nan,
    section: bool = False,
    confidence_level: float = 0.95,
) -> Spread:
    """Spread of the use of sets, from the trucks, their sets and the limits of the next set.

    Parameters
    ----------
    use : Use
        Of the edge type.
    set_uses : DataFrame, optional
        Columns truck_unit, use_per_1000_mi: one row per set of the edge type.
    pred_low_mi : float
        Lower limit of the life of one next section, from which the spread between sections follows. [mi]
    section : bool
        Whether sections are replaced on their own.
    confidence_level : float
        Level of that limit.

    Returns
    -------
    Spread
        All zero with a single truck.

    Notes
    -----
    Between sets: pooled within trucks. Between trucks: the sample variance less the part of it that is sets, averaged. Between
    sections: what is left of ``((1000 / pred_low - mean) / t)^2`` after those, with the trucks' degrees of freedom.
    """
    sample = use.sample
    if not use.has_interval:
        return Spread(0.0)
    total = max(float(sample.variance), float(sample.variance_floor))
    between_sets, averaged = 0.0, 0.0
    if set_uses is not None and len(set_uses):
        groups = set_uses.groupby(set_uses[c.TRUCK_UNIT].astype(object))[c.USE_PER_1000_MI]
        counts = groups.size().to_numpy(dtype=float)
        df = float((counts - 1).sum())
        if df > 0:
            within = set_uses[c.USE_PER_1000_MI] - groups.transform("mean")
            between_sets = float((within**2).sum()) / df
            averaged = between_sets * float((1 / counts).mean())
    between_trucks = max(total - averaged, 0.0)
    places = 0.0
    if section and pred_low_mi > 0:
        t = float(stdtrit(float(sample.df), 1 - two_sided_tail(confidence_level)))
        seen = ((1000.0 / pred_low_mi - float(sample.mean)) / t) ** 2
        own = between_trucks + between_sets + float(sample.variance_of_mean)
        places = max(seen - own, 0.0)
    return Spread(math.sqrt(between_trucks), math.sqrt(between_sets), math.sqrt(places))


@dataclass(frozen=True, eq=False, slots=True)
class Needs:
    """Draws of what one truck position uses up.

    Attributes
    ----------
    pieces : ndarray
        Sets, or sections where they are replaced on their own, put on after the first outfit; one row per draw, one column per
        winter.
    outfit : int
        New sets that are needed to start with: 1, or 0 where a part-worn set is carried over.
    """

    pieces: np.ndarray
    outfit: int


class SetsUsed:
    """Draws of one edge type, of which each truck position is one more from the same fleet.

    The mean use and its error are common to all trucks in a draw, as is the rate of breakage: if a type wears faster than the trial
    showed, it does so on every truck. So the need of a fleet spreads more than that of independent trucks.
    """

    def __init__(self, edge: EdgeCosts, spread: Spread, rng: np.random.Generator, n_draws: int) -> None:
        self.edge, self.spread, self.rng, self.n = edge, spread, rng, n_draws
        self.mean, self.wider = _fleet(edge.use.sample, rng, n_draws)
        use = edge.use
        seen = use.breaks + use.section_breaks
        rate = (
            rng.standard_gamma(seen + 0.5, n_draws) / use.miles_mi if use.miles_mi > 0 else np.zeros(n_draws)
        )
        of_sets = edge.broken_sets_frac
        self.break_rate = rate * (of_sets + (1.0 - of_sets) / edge.sections_n)

    def of_truck(self, miles: ArrayLike, carried_frac: float = 0.0) -> Needs:
        """What one truck position uses up in winters with so many miles.

        Parameters
        ----------
        miles : array_like
            Miles of each winter, rising. [mi]
        carried_frac : float
            Share of its life that the set now on the truck has left; 0 where a new set is put on.

        Returns
        -------
        Needs
        """
        limits = np.asarray(miles, dtype=float)
        places = int(self.edge.sections_n) if self.edge.replaced_as == SECTION else 1
        truck = self.mean + self.wider * self.spread.between_trucks * self.rng.standard_normal(self.n)
        found = np.zeros((self.n, len(limits)), dtype=int)
        for _ in range(places):
            found += self._of_place(truck, limits, carried_frac)
        return Needs(found, int(carried_frac <= 0))

    def _of_place(self, truck: np.ndarray, limits: np.ndarray, carried_frac: float) -> np.ndarray:
        """Pieces put on at one place after the first, in each draw and winter."""
        rng, spread = self.rng, self.spread
        used = np.zeros((self.n, len(limits)), dtype=int)
        ran = np.zeros(self.n)
        going = np.arange(self.n)
        part = carried_frac if carried_frac > 0 else 1.0
        varies = math.hypot(spread.between_sets, spread.between_places)
        for _ in range(MOST_SETS):
            use = (
                truck[going] + varies * self.wider[going] * rng.standard_normal(len(going))
                if varies
                else truck[going]
            )
            with np.errstate(divide="ignore"):
                life = np.where(use > 0, 1000.0 * part / use, np.inf)
                broke = rng.standard_exponential(len(going)) / self.break_rate[going]
            ran[going] += np.minimum(life, broke)
            ended = ran[going, None] < limits
            used[going] += ended
            going = going[ended[:, -1]]
            part = 1.0
            if not len(going):
                break
        return used


def _fleet(sample: Sample, rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean use in each draw, and how much wider the spread is than the one seen."""
    variance = float(sample.variance_of_mean)
    if not math.isfinite(variance):
        return np.full(n, float(sample.mean)), np.ones(n)
    df = max(float(sample.df), 1.0)
    wider = np.sqrt(df / rng.chisquare(df, n))
    return float(sample.mean) + math.sqrt(variance) * wider * rng.standard_normal(n), wider


def order_quantity(needs: ArrayLike, service_level: float) -> int:
    """Smallest number that suffices with the asked probability.

    Parameters
    ----------
    needs : array_like
        Draws, or equally likely values, of the number needed.
    service_level : float
        Probability that it suffices, above 0 and below 1.

    Notes
    -----
    ``min {q: P(need <= q) >= service level}``, the order quantity of the single-period (newsvendor) problem when the service level is
    its critical ratio.

    Examples
    --------
    >>> order_quantity([2, 3, 3, 4, 4, 4, 4, 5, 5, 7], 0.9)
    5
    """
    values = np.sort(np.asarray(needs))
    if not 0 < service_level < 1:
        raise UsageError(f"the service level is {service_level:g}; it lies above 0 and below 1, such as 0.9")
    place = math.ceil(service_level * len(values) - 1e-9) - 1
    return int(values[max(place, 0)])


def critical_ratio(short_cost: float, excess_cost: float) -> float:
    """Service level at which one more set just pays: the critical ratio of the newsvendor problem.

    Parameters
    ----------
    short_cost : float
        What it costs to be one set short: an express order, a truck that stands still.
    excess_cost : float
        What it costs to have one set over at the end of the season: storage and money tied up, since the set is still good.

    Examples
    --------
    >>> critical_ratio(450.0, 50.0)
    0.9
    """
    if not (short_cost > 0 and excess_cost > 0):
        raise UsageError(
            f"a set short costs {short_cost:g} and one over {excess_cost:g}; both must be above 0 for a service level to follow"
        )
    return short_cost / (short_cost + excess_cost)


def remaining_shares(lives: pd.DataFrame, set_uses: Mapping[str, float], worn: float = 0.9) -> pd.DataFrame:
    """Part-worn sets that can go on again next season, with the share of their life that is left.

    Parameters
    ----------
    lives : DataFrame
        Columns set_id, edge_type, plow_position, truck_id, miles_mi [mi]: sets that have not ended.
    set_uses : mapping
        Set to the share of its life that it uses up in 1,000 miles.
    worn : float
        A set that has used up more than this share is not carried over.

    Returns
    -------
    DataFrame
        truck_id, plow_position, edge_type, set_id, carried_frac.
    """
    rows = []
    for row in lives.to_dict("records"):
        use = set_uses.get(row[c.SET_ID], math.nan)
        if not math.isfinite(use):
            continue
        left = min(1.0 - max(use, 0.0) * row[c.MILES_MI] / 1000.0, 1.0)
        if left >= 1.0 - worn:
            rows.append((row[c.TRUCK_ID], row[c.PLOW_POSITION], row[c.EDGE_TYPE], row[c.SET_ID], left))
    return pd.DataFrame(rows, columns=CARRIED_COLUMNS)
