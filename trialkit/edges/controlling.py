"""Which station takes a set off, and how fast it really wears.

Answers: how fast does the thinnest spot of a set wear, once the luck of picking the largest of several noisy slopes is
taken off?

A set that is replaced as a whole comes off when its thinnest spot reaches the limit. The largest of several measured
slopes is too large on average: it is the largest partly by reading error. `life` turns the corrected rates into miles.

What was tried, by simulation (`tests/benchmarks/largest_slope.py`, 180 kinds of trial: 3, 6 or 12 trucks that differ by
5 to 20 %, 3 or 5 stations that differ by 0 to 30 % or by a lasting profile, reading error of 5 to 30 % of a station's
slope). Bias of the mean rate, and coverage of its 95 % interval over the kinds of trial:

========================================  ===================  =======================
rate of the thinnest spot                 bias                 coverage (mean)
========================================  ===================  =======================
largest slope as measured                 0 to +24 %           0 to 96 % (79 %)
station fastest on average over trucks    -18 to +13 %         28 to 99 % (92 %)
deviations shrunk by their reliability    -10 to +4 %          14 to 96 % (86 %)
deviations shrunk by its root             -6 to +6 %           55 to 96 % (89 %)
`correct_largest`, used here              -2 to +8 %           93.7 to 98.1 % (96.2 %)
========================================  ===================  =======================

The bias of +8 %, a life stated too short, is left where the stations do not differ at all and are read badly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges import slopes as sl
from trialkit.edges.wear import WearRates
from trialkit.stats.inference import Sample
from trialkit.stats.largest import correct_largest as corrected
from trialkit.stats.largest import expected_largest

LARGEST = "largest"
LARGEST_STATION = "largest_station"
NOISIER = "noisier"
LARGEST_FLOOR = "largest_floor"
LARGEST_BOUND = "largest_bound"
ERROR_VARIANCE = "error_variance"
BETWEEN_STATIONS = "between_stations"


def station_slopes(readings: pd.DataFrame, rates: WearRates) -> pd.DataFrame:
    """Slopes of the stations of each set with the variance that reading error gives them.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to: columns segment, height_in [in], miles_mi [mi].
    rates : WearRates
        The wear rates.

    Returns
    -------
    DataFrame
        `rates.set_stations` with `error_variance` [(in/1,000 mi)^2].

    Notes
    -----
    The scatter of the readings about the lines of their segments, pooled over each edge type and plow position, divided
    by the sum of squared miles of the station; never less than what rounding or the known repeatability gives. Without
    a third reading in any segment there is no scatter, and rounding alone remains.
    """
    lines = rates.segments.dropna(subset=[c.ESTIMATE]).reset_index(drop=True)
    code, segments = pd.factorize(readings[c.SEGMENT])
    row = np.append(
        pd.Index(lines[c.SEGMENT].astype(object)).get_indexer(pd.Index(segments).astype(object)), -1
    )[code]
    miles, height = (
        readings[name].to_numpy(dtype=float, na_value=np.nan) for name in (c.MILES_MI, c.HEIGHT_IN)
    )
    first, last, start, slope = (
        lines[name].to_numpy() for name in (sl.FIRST_MI, sl.LAST_MI, sl.INTERCEPT_IN, c.ESTIMATE)
    )
    used = (row >= 0) & np.isfinite(miles) & np.isfinite(height)
    used[used] = (miles[used] >= first[row[used]] - 1e-6) & (miles[used] <= last[row[used]] + 1e-6)
    row, x, height = row[used], miles[used] / 1000.0, height[used]
    residual = height - (start[row] - slope[row] * x)
    n = np.bincount(row, minlength=len(lines))
    middle = np.bincount(row, x, len(lines)) / np.maximum(n, 1)
    sxx = np.bincount(row, (x - middle[row]) ** 2, len(lines))
    scatter = np.bincount(row, residual**2, len(lines))

    cell, cells = sl.grouped(lines, sl.CELL)
    free = np.bincount(cell, np.maximum(n - 2, 0), len(cells))
    pooled = np.bincount(cell, scatter, len(cells)) / np.maximum(free, 1)
    names = [*sl.SET_KEYS, c.STATION]
    part, parts = sl.grouped(lines, names)
    information = np.bincount(part, sxx / np.maximum(pooled[cell], 1e-300), len(parts))
    parts[ERROR_VARIANCE] = np.where(
        np.bincount(part, pooled[cell], len(parts)) > 0, 1 / np.maximum(information, 1e-300), 0.0
    )
    found = rates.set_stations.merge(parts, on=names, how="left")
    found[ERROR_VARIANCE] = np.maximum(found[ERROR_VARIANCE].fillna(0.0), found[sl.ROUNDING_VARIANCE])
    return found


def set_rates(stations: pd.DataFrame, rates: WearRates) -> pd.DataFrame:
    """Mean and largest slope of each set.

    Parameters
    ----------
    stations : DataFrame
        From `station_slopes`.
    rates : WearRates
        The wear rates.

    Returns
    -------
    DataFrame
        `rates.sets` with `largest` and `noisier` (the measured largest slope, and what it would be on average if the
        reading errors were made once more on top), `largest_station`, `largest_floor` and `largest_bound` (variance and
        largest error that rounding gives that station), and `between_stations` (variance of the stations about the set's
        mean beyond the reading error). [in/1,000 mi]
    """
    keys = stations.groupby(sl.SET_KEYS, observed=True, sort=False).ngroup().to_numpy()
    order = np.argsort(keys, kind="stable")
    ordered, codes = stations.iloc[order], keys[order]
    sizes = np.bincount(codes)
    column = np.arange(len(codes)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    shape = (len(sizes), int(sizes.max(initial=1)))
    values, errors = np.full(shape, np.nan), np.full(shape, np.nan)
    values[codes, column] = ordered[c.ESTIMATE]
    errors[codes, column] = np.sqrt(ordered[ERROR_VARIANCE])
    heads = ordered.iloc[np.cumsum(sizes) - sizes].reset_index(drop=True)
    found = heads[sl.SET_KEYS].copy()
    top = np.nanargmax(values, axis=1) if len(values) else np.zeros(0, dtype=int)
    chosen = ordered.iloc[np.cumsum(sizes) - sizes + top].reset_index(drop=True)
    found[LARGEST] = chosen[c.ESTIMATE]
    found[LARGEST_STATION] = chosen[c.STATION]
    found[NOISIER] = expected_largest(values, errors)
    spare = np.maximum(sizes - 1, 1)
    raw = np.nansum((values - np.nanmean(values, axis=1, keepdims=True)) ** 2, axis=1) / spare
    found[BETWEEN_STATIONS] = np.where(sizes > 1, raw - np.nanmean(errors**2, axis=1), np.nan)
    found[LARGEST_FLOOR] = chosen[sl.ROUNDING_VARIANCE]
    found[LARGEST_BOUND] = chosen[c.ROUNDING_BOUND]
    return rates.sets.merge(found, on=sl.SET_KEYS, how="inner")


@dataclass(frozen=True, eq=False)
class Controlling:
    """Rates of the thinnest spot, one for each truck, with the luck of the largest taken off.

    Attributes
    ----------
    values : ndarray
        Rate of each truck. [in/1,000 mi]
    sample : Sample
        Their mean with what is known about its error; `bound` holds what the correction may miss.
    kept : float
        Share of the measured excess over the mean slope that is not reading error.
    measured : float
        Mean of the largest slopes as measured. [in/1,000 mi]
    """

    values: np.ndarray
    sample: Sample
    kept: float
    measured: float


def correct_largest(
    mean: np.ndarray,
    largest: np.ndarray,
    noisier: np.ndarray,
    variance_floor: float = 0.0,
    bound: float = 0.0,
) -> Controlling:
    """Take the luck of the largest off the slopes of the thinnest spots of one edge type.

    Use it with one entry for each truck. Not for a type whose stations were never the same in number from set to set:
    a set read at more stations shows a thinner spot.

    Parameters
    ----------
    mean, largest, noisier : ndarray
        Mean slope of each truck, its largest station slope as measured, and what that would be on average with the
        reading errors made once more on top. [in/1,000 mi]
    variance_floor : float
        Variance that rounding alone gives one truck's value. [(in/1,000 mi)^2]
    bound : float
        Largest error that rounding can give all trucks alike. [in/1,000 mi]

    Returns
    -------
    Controlling

    Notes
    -----
    See `stats.largest.correct_largest`. How far its straight trend lies above is added to both sides as a bound.
    """
    n = len(mean)
    if n == 0:
        return Controlling(mean, Sample(np.nan, np.nan, 0), np.nan, np.nan)
    found = corrected(mean, largest, noisier)
    sample = Sample(float(found.mean), float(found.variance), n, variance_floor, bound + float(found.missed))
    return Controlling(found.values, sample, float(found.kept), float(largest.mean()))
