"""How surely a trial tells two lives apart, from made-up trials.

Answers: which ratio of lives does a trial of this size show, when what counts is the spot that takes a set off?

A set comes off at its thinnest station, and the analysis takes the luck of picking the thinnest of several noisy slopes off
(`stats.largest`). What that costs has no closed form, so trucks are drawn here and go through the same correction and the
same test. The draws are fixed: the same plan gives the same answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.optimize import brentq

from trialkit.errors import UsageError
from trialkit.planning.schedule import slope_error
from trialkit.planning.wear_plan import ROTATED, WearPlan
from trialkit.stats.inference import Pairing, Sample, difference_interval
from trialkit.stats.largest import correct_largest, expected_largest
from trialkit.stats.power import Arm, power_to_show

SEED = 20310114
QUICK, CAREFUL = 2_000, 20_000
"""Made-up sets of one edge type in all, which decides the number of made-up trials: to find about where a ratio lies, and for
the answer."""
FEWEST, MOST = 200, 5000
"""Made-up trials at least and at most."""
GRID = 21
LARGEST_LIFE_RATIO = 50.0
"""A type that lasts so many times as long is as good as one that lasts for ever."""
FIRST_TRY = 0.5
"""Logarithm of the ratio that is tried first."""
CLOSE = 0.02
"""Relative error to which a ratio is found before the careful look."""
STEP = 0.1
"""Step of the logarithm from which the slope of the power is taken."""


def power_of_life_ratio(
    plan: WearPlan,
    ratio: float,
    n_trucks: int,
    design: str = "parallel",
    n_reference: int | None = None,
    beyond: float = 1.0,
) -> float:
    """Share of made-up trials in which a type that lasts `ratio` times as long as the reference is shown to do so.

    Use it when planning. Not for "lasts no worse than", which is another test.

    Parameters
    ----------
    plan : WearPlan
        What is assumed; both usable depths are needed.
    ratio : float
        Its life over the reference's; below 1 it lasts less long, and that is what is to be shown.
    n_trucks : int
        Trucks that carry the type.
    design : str
        ``"parallel"`` or ``"rotated"``.
    n_reference : int, optional
        Trucks that carry the reference, if it is another number.
    beyond : float
        What is to be shown is more than so many times the life of the reference (less, for a ratio below it): 1 for any
        difference in life, the ratio of the prices of a set for a difference in the cost of edges.

    Raises
    ------
    UsageError
        If a usable depth is not known.

    Notes
    -----
    The share is steadied by a comparison whose power is known, that of the mean slopes of the same trucks: shares of both in the
    trials are subtracted, and the exact power of the second is added. Normal spread of trucks, of stations within a set and of reading errors; the sets of a truck go equally far. The lives are
    those at the mean rate of the thinnest spot, or of the sections where they are replaced singly.
    """
    if not math.isfinite(plan.depth_ratio):
        raise UsageError("The ratio of lives needs the usable depth of both edge types.")
    n_reference = n_reference or n_trucks
    if min(n_trucks, n_reference) < 2:
        return 0.0
    return _Draws(plan, design, n_reference, n_trucks, CAREFUL).power(ratio, beyond)


@lru_cache(maxsize=512)
def detectable_life_ratio(
    plan: WearPlan, n_trucks: int, design: str = "parallel", beyond: float = 1.0
) -> float:
    """Smallest ratio of lives that is shown to be above `beyond` with the power planned for; NaN if none is.

    Parameters
    ----------
    plan : WearPlan
        What is assumed; both usable depths are needed.
    n_trucks : int
        Trucks that carry each type.
    design : str
        ``"parallel"`` or ``"rotated"``.
    beyond : float
        As for `power_of_life_ratio`.
    """
    if n_trucks < 2:
        return math.nan
    quick, careful = (_Draws(plan, design, n_trucks, n_trucks, work) for work in (QUICK, CAREFUL))

    def excess(log_ratio: float, draws: _Draws = quick) -> float:
        return draws.power(math.exp(log_ratio), beyond) - plan.power

    none = math.log(beyond)
    most = none + math.log(LARGEST_LIFE_RATIO)
    if excess(most, careful) < 0:
        return math.nan
    low, high = none, none + FIRST_TRY
    while high < most and excess(high) < 0:
        low, high = high, min(none + 2 * (high - none), most)
    first = brentq(excess, low, high, xtol=CLOSE) if excess(high) >= 0 else most
    slope = max((excess(first + STEP) - excess(first - STEP)) / (2 * STEP), STEP)
    missed = excess(first, careful)
    second = first - missed / slope
    if abs(second - first) < CLOSE / 10:
        return math.exp(second)
    still = excess(second, careful)
    steeper = (still - missed) / (second - first)
    return math.exp(second - still / max(steeper, slope / 3))


@dataclass(frozen=True, eq=False, slots=True)
class _Side:
    """Made-up trucks of one edge type: what is drawn before the rate is known. Axes: trial, truck, set, station."""

    truck: np.ndarray
    station: np.ndarray
    error: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class _Use:
    """What the analysis knows of the use of sets, its value for every truck, their mean slopes, and what is expected of those."""

    sample: Sample
    values: np.ndarray
    means: np.ndarray
    arm: Arm

    def times(self, price: float) -> _Use:
        """The same as amounts, where a set costs `price`."""
        if price == 1:
            return self
        squared, sample, arm = price**2, self.sample, self.arm
        scaled = Sample(
            sample.mean * price,
            sample.variance * squared,
            sample.n,
            sample.variance_floor * squared,
            sample.bound * price,
        )
        of_arm = Arm(
            arm.mean * price, arm.variance * squared, arm.n, arm.variance_floor * squared, arm.bound * price
        )
        return _Use(scaled, self.values * price, self.means * price, of_arm)


class _Draws:
    """Made-up trials of one size, the same for every ratio."""

    def __init__(self, plan: WearPlan, design: str, n_reference: int, n: int, work: int) -> None:
        self.plan, self.design = plan, design
        self.schedule = plan.schedule_in(design)
        longest = max(self._sets(plan.reference_rate, plan.reference_depth_in), 1)
        self.trials = int(np.clip(work / (max(n, n_reference) * longest), FEWEST, MOST))
        self.rng = np.random.default_rng([SEED, n_reference, n])
        route = self.rng.standard_normal((self.trials, max(n, n_reference)))
        self.sides: dict[tuple[str, int], _Side] = {}
        self.trucks = {
            name: self._trucks(route[:, :size]) for name, size in (("reference", n_reference), ("other", n))
        }
        self.reference = self._side_at(
            "reference", plan.reference_rate, plan.reference_depth_in, plan.reference_by_section
        )

    def power(self, ratio: float, beyond: float = 1.0) -> float:
        """Share of the trials in which this ratio of lives is shown to be beyond another, steadied by that of mean slopes."""
        plan = self.plan
        share = (
            plan.reference_rate / plan.reference_depth_in / ratio
        )  # of the spot that counts, worn per 1,000 miles
        spots = self._spot(plan.reference_by_section) / self._spot(plan.other_by_section)
        rate = share * plan.other_depth_in * spots
        reference, other = (
            self.reference,
            self._side_at("other", rate, plan.other_depth_in, plan.other_by_section).times(beyond),
        )
        a, b = (reference, other) if ratio >= beyond else (other, reference)
        shown = self._shown(a.sample, b.sample, a.values, b.values)
        plain = self._shown(_plain(a.means), _plain(b.means), a.means, b.means)
        correlation = None
        if self.design == ROTATED:
            common = plan.route_share * plan.truck_cv**2 * a.arm.mean * b.arm.mean
            correlation = common / math.sqrt(a.arm.variance * b.arm.variance) if common else 0.0
        exact = power_to_show(a.arm, b.arm, correlation=correlation, confidence_level=plan.level_each)
        return float(np.mean(shown) - np.mean(plain)) + exact

    def _shown(self, a: Sample, b: Sample, a_values: np.ndarray, b_values: np.ndarray) -> np.ndarray:
        pairing = _pairing(a_values, b_values) if self.design == ROTATED else None
        return np.asarray(difference_interval(a, b, pairing, self.plan.level_each).conf_low > 0)

    def _sets(self, rate: float, depth_in: float) -> int:
        return max(1, round(slope_error(self.schedule, rate, depth_in, 1).sets))

    def _spot(self, by_section: bool) -> float:
        """Mean rate of the spot that counts, over the mean rate of the set."""
        stations = self.schedule.stations
        if by_section or stations == 1 or self.plan.station_cv == 0:
            return 1.0
        return float(
            expected_largest(np.ones((1, stations)), np.full((1, stations), self.plan.station_cv))[0]
        )

    def _trucks(self, route: np.ndarray) -> np.ndarray:
        """Rates of the trucks over the mean rate."""
        share = self.plan.route_share if self.design == ROTATED else 0.0
        own = self.rng.standard_normal(route.shape)
        return 1 + self.plan.truck_cv * (math.sqrt(share) * route + math.sqrt(1 - share) * own)

    def _side(self, name: str, sets: int) -> _Side:
        """The draws of one edge type for so many sets of a truck; made once, so that ratios are comparable."""
        if (name, sets) not in self.sides:
            truck = self.trucks[name]
            shape = (*truck.shape, sets, self.schedule.stations)
            rng = np.random.default_rng([SEED, truck.shape[1], sets, int(name == "other")])
            self.sides[name, sets] = _Side(truck, rng.standard_normal(shape), rng.standard_normal(shape))
        return self.sides[name, sets]

    def _side_at(self, name: str, rate: float, depth_in: float, by_section: bool) -> _Use:
        """The trucks of one edge type at a rate, in sets used per 1,000 miles."""
        plan = self.plan
        n, stations = self.trucks[name].shape[1], self.schedule.stations
        one = slope_error(self.schedule, rate, depth_in, 1, n_trucks=n)
        sets = max(1, round(one.sets))
        side = self._side(name, sets)
        share, error = rate / depth_in, math.sqrt(one.variance * sets) / depth_in
        seen = share * side.truck[..., None, None] * (1 + plan.station_cv * side.station) + error * side.error
        means = seen.mean(axis=(-2, -1))
        spread = (1 + plan.truck_cv**2) * (1 + plan.station_cv**2 / (sets * stations)) - 1
        arm = Arm(share, share**2 * spread + error**2 / (sets * stations), n)
        floor, bound = one.floor / depth_in**2, one.bound / depth_in
        if by_section:
            return _Use(_plain(means, floor / stations, bound), means, means, arm)
        flat = seen.reshape(-1, stations)
        noisier = expected_largest(flat, np.full(flat.shape, error), GRID).reshape(seen.shape[:-1])
        found = correct_largest(means, seen.max(axis=-1).mean(axis=-1), noisier.mean(axis=-1))
        sample = Sample(found.mean, found.variance, np.full(len(means), n), floor, bound + found.missed)
        return _Use(sample, found.values, means, arm)


def _plain(values: np.ndarray, floor: float = 0.0, bound: float = 0.0) -> Sample:
    n = values.shape[1]
    return Sample(values.mean(axis=1), values.var(axis=1, ddof=1), np.full(len(values), n), floor, bound)


def _pairing(a: np.ndarray, b: np.ndarray) -> Pairing:
    """Correlation of the values of trucks that carried both types, trial by trial."""
    da, db = (v - v.mean(axis=1, keepdims=True) for v in (a, b))
    spread: Any = np.sqrt((da**2).sum(axis=1) * (db**2).sum(axis=1))
    together = (da * db).sum(axis=1)
    return Pairing(
        np.full(len(a), a.shape[1]), np.divide(together, spread, out=np.zeros(len(a)), where=spread > 0)
    )
