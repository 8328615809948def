"""What a season of readings says about one truck's wear rate.

Answers: how far off is the slope of one truck, when its edge is read so often, at so many stations, with this tool?

The sums are those of the wear analysis: every set has its own line at every station, a set's slope is the mean of its
stations, and a truck's slope is the mean of its sets, weighted by their miles.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trialkit.stats.power import slope_variance, variance_nodes
from trialkit.stats.rounding import rounding_amplitude, uncancelled_share

LEAST_LAST_SET = 0.25
"""A last set of fewer miles than this share of a reading interval is not put on (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """How edges are read, and how far the trucks go.

    Attributes
    ----------
    miles_mi : tuple of float
        Expected blade-down miles of the trucks in the season, one for each, or one for all. [mi]
    every_mi : float
        Blade-down miles from one reading of an edge to the next. [mi]
    stations : int
        Stations at which an edge is read.
    repeats : int
        Readings of each station on one occasion.
    error_in : float
        Standard deviation of one reading before it is rounded. [in]
    step_in : float
        Step to which readings are rounded; 0 for none. [in]
    studied : bool
        Whether a gauge study gives the reading error, which the analysis then uses.

    Raises
    ------
    ValueError
        If a number is not one of that kind.
    """

    miles_mi: tuple[float, ...] = (1500.0,)
    every_mi: float = 120.0
    stations: int = 5
    repeats: int = 1
    error_in: float = 0.03
    step_in: float = 1 / 16
    studied: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "miles_mi", tuple(float(m) for m in np.atleast_1d(self.miles_mi)))
        if not self.miles_mi or not all(m > 0 and math.isfinite(m) for m in self.miles_mi):
            raise ValueError("miles_mi needs the expected miles of at least one truck, all above 0")
        if not self.every_mi > 0:
            raise ValueError(f"every_mi is {self.every_mi:g}; allowed: above 0")
        if self.stations < 1 or self.repeats < 1:
            raise ValueError("an edge is read at one station or more, once or more")
        if not (self.error_in >= 0 and self.step_in >= 0):
            raise ValueError("error_in and step_in are 0 or more")

    @classmethod
    def of_repeatability(
        cls,
        repeatability_in: float,
        step_in: float,
        *,
        miles_mi: Sequence[float] = (1500.0,),
        every_mi: float = 120.0,
        stations: int = 5,
        repeats: int = 1,
    ) -> Schedule:
        """The schedule with the reading error of a gauge study, in which the rounding is already contained."""
        error_in = math.sqrt(max(repeatability_in**2 - step_in**2 / 12, 0.0))
        return cls(tuple(miles_mi), every_mi, stations, repeats, error_in, step_in, studied=True)

    def shared_by(self, edge_types: int) -> Schedule:
        """The schedule when the miles of each truck are divided among so many edge types."""
        return replace(self, miles_mi=tuple(m / edge_types for m in self.miles_mi))

    @property
    def reading_variance(self) -> float:
        """Variance of one reading, rounding included. [in^2]"""
        return self.error_in**2 + self.step_in**2 / 12


@dataclass(frozen=True, slots=True)
class SlopeError:
    """Error of one truck's slope that comes from reading. [in/1,000 mi, and its square]

    Attributes
    ----------
    variance : float
        Variance of the slope, mean over the trucks.
    floor : float
        Part of it that the analysis knows beforehand: rounding, or the reading error of a gauge study.
    bound : float
        Largest error that rounding can give all trucks alike.
    sets : float
        Sets that a truck uses up, mean over the trucks.
    """

    variance: float
    floor: float
    bound: float
    sets: float


def set_miles(miles_mi: float, life_mi: float, every_mi: float) -> tuple[tuple[float, int], ...]:
    """Miles of the sets that one truck uses one after the other, and how many sets go so far. [mi]

    Parameters
    ----------
    miles_mi, life_mi : float
        Miles of the truck, and miles after which a set is worn off; infinite if it outlasts the season. [mi]
    every_mi : float
        Miles from one reading to the next. [mi]

    Examples
    --------
    >>> set_miles(1500.0, 600.0, 120.0)
    ((600.0, 2), (300.0, 1))
    """
    whole = int(miles_mi / life_mi) if math.isfinite(life_mi) else 0
    if not whole:
        return ((miles_mi, 1),)
    rest = miles_mi - whole * life_mi
    return ((life_mi, whole), (rest, 1)) if rest > LEAST_LAST_SET * every_mi else ((life_mi, whole),)


def slope_error(
    schedule: Schedule,
    rate: float,
    usable_depth_in: float = math.inf,
    stations: int | None = None,
    n_trucks: int | None = None,
) -> SlopeError:
    """How far reading errors push the slope of one truck, averaged over the trucks of the schedule.

    Use it for an expected wear rate. It holds what reading does and not how trucks differ.

    Parameters
    ----------
    schedule : Schedule
        Miles, readings and tool.
    rate : float
        Expected wear rate. [in/1,000 mi]
    usable_depth_in : float
        Depth at which a set is replaced; infinite if none is replaced in the season. [in]
    stations : int, optional
        Stations whose mean is meant; those of the schedule otherwise.
    n_trucks : int, optional
        Trucks from whose readings the analysis works out the reading error; taken as known otherwise, as after a gauge study.

    Returns
    -------
    SlopeError

    Notes
    -----
    Variance of a set's slope ``s^2 / (stations * repeats * Sxx)``, Sxx the sum of squared miles about their mean of
    the readings of one station, taken at equal distances from install to removal, at least two; a truck's slope weights
    its sets by their miles. The rounding variance is known, ``(d^2/12) / Sxx``, and so is that of the reading error after
    a gauge study. The largest error from rounding is ``A sum|x - mean| / Sxx`` with the amplitude of
    `rounding.rounding_amplitude`, less once the wear runs over several steps; its mean over what the scatter about the lines
    may say of the reading error.

    References
    ----------
    .. [1] P. J. Diggle, P. Heagerty, K.-Y. Liang and S. L. Zeger, "Analysis of Longitudinal Data", 2nd edition, 2002,
       section 2.4 (from memory).
    """
    life_mi = 1000 * usable_depth_in / rate if rate > 0 else math.inf
    known = schedule.reading_variance if schedule.studied else schedule.step_in**2 / 12
    amplitude = _expected_amplitude(schedule, life_mi, None if schedule.studied else n_trucks)
    read = (stations or schedule.stations) * schedule.repeats
    parts = []
    for miles in schedule.miles_mi:
        stays, counts = np.array(set_miles(miles, life_mi, schedule.every_mi)).T
        weights = stays / (stays @ counts)
        squared, absolute = np.array([_sums(stay, schedule.every_mi) for stay in stays]).T
        squares = float(counts @ (weights**2 / squared))
        step = np.full(len(stays), schedule.step_in)
        bounds = amplitude * absolute / squared * uncancelled_share(rate * stays / 1000, step)
        bound = float((counts * weights) @ np.minimum(bounds, step / (stays / 1000)))
        parts.append(
            (schedule.reading_variance * squares / read, known * squares / read, bound, counts.sum())
        )
    variance, floor, bound, sets = np.mean(parts, axis=0)
    return SlopeError(float(variance), float(floor), float(bound), float(sets))


def _expected_amplitude(schedule: Schedule, life_mi: float, n_trucks: int | None) -> float:
    """Largest mean error of a rounded reading, when the reading error comes from so many trucks' scatter. [in]"""
    if n_trucks is None or schedule.step_in == 0:
        return float(rounding_amplitude(schedule.step_in, schedule.error_in))
    stays = [set_miles(miles, life_mi, schedule.every_mi) for miles in schedule.miles_mi]
    free, sets = (
        np.mean([sum(n * value(stay) for stay, n in truck) for truck in stays])
        for value in (
            lambda stay: readings_of_set(stay, schedule.every_mi) * schedule.repeats - 2,
            lambda stay: 1,
        )
    )
    df = n_trucks * (schedule.stations * free if free > 0 else (schedule.stations - 1) * sets)
    if df < 1:
        return schedule.step_in / 2
    share, weight = variance_nodes(round(df) + 1)
    beyond = np.sqrt(np.maximum(schedule.reading_variance * share - schedule.step_in**2 / 12, 0))
    return float(weight @ rounding_amplitude(np.full(len(beyond), schedule.step_in), beyond))


def readings_of_set(stay_mi: float, every_mi: float) -> int:
    """Occasions on which a set is read that stays on for so many miles, install and removal included."""
    return max(2, round(stay_mi / every_mi) + 1)


def _sums(stay_mi: float, every_mi: float) -> tuple[float, float]:
    """Sum of squared and of absolute miles about their mean, of one station of one set. [(1,000 mi)^2, 1,000 mi]"""
    x = np.linspace(0, stay_mi / 1000, readings_of_set(stay_mi, every_mi))
    return 1 / slope_variance(x, 1.0), float(np.abs(x - x.mean()).sum())
