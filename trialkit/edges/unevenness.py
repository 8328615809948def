"""How unevenly an edge wears across the blade.

Answers: does one end wear faster, do the ends wear faster than the middle, and how many inches apart are the thinnest and
the thickest spot after 1,000 miles?

A set that is replaced as a whole comes off when its thinnest spot reaches the limit, so what the other spots still had is
thrown away (`depth_left` counts it). Stations that wear alike would still differ as read: the range of several readings
with error is never zero. That luck is taken off in the same way as for the thinnest spot (`controlling`).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import controlling as ct
from trialkit.edges import slopes as sl
from trialkit.edges.wear import RATE_UNIT, WearRates
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_percent,
    level_words,
    number,
    percent,
    position_words,
    sentence_case,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.inference import Sample, mean_interval

RANGE, TILT, BOW = "range", "tilt", "bow"
RANGE_PCT = "range_pct"
MEASURED = "measured"
MEAN_RATE = "mean_rate"
TILT_ERROR, BOW_ERROR = "tilt_error", "bow_error"
SHAPE_PCT = "shape_pct"

LEAST_STATIONS = {TILT: 2, BOW: 3}
"""Stations that a set needs before it can show a tilt, or a bow."""


@dataclass(frozen=True, eq=False)
class Unevenness(Labelled):
    """How unevenly each edge type wears across the blade, on each plow position.

    Attributes
    ----------
    table : DataFrame
        One row per plow position and edge type: `edge_type`, `plow_position`, `estimate`, `conf_low`, `conf_high` (inches
        by which the range across the stations grows per 1,000 miles), `unit`, `n_trucks`, `n_sets`, `range_pct` (the
        same in percent of the mean wear), `measured` (the range of the slopes as read, reading error included).
    shapes : DataFrame
        One row per plow position, edge type and term: `term` ("tilt": wear of the right end less that of the left; "bow":
        wear of the two ends less that of the middle), `estimate`, `conf_low`, `conf_high`, `p_value`, `unit`,
        `shape_pct` (in percent of the mean wear), `n_trucks`.
    trucks : DataFrame
        `mean_rate`, `range`, `tilt` and `bow` of each truck, with `tilt_error` and `bow_error`, the standard deviations
        that reading error gives them. [in/1,000 mi]
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    """

    shapes: pd.DataFrame
    trucks: pd.DataFrame
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """For each row of the table how fast the range grows, where the wear is, and the most lopsided truck."""
        return tuple(
            " ".join(part for part in (self._range(row), *self._shapes(row), self._truck(row)) if part)
            for row in self.table.to_dict("records")
        )

    def sentence(self) -> str:
        """The unevenness in words."""
        return " ".join(self.sentences()) or "No set was read at two stations, so evenness was not studied."

    def _range(self, row: dict[Hashable, Any]) -> str:
        kind = self.label(row[c.EDGE_TYPE])
        start = f"On {position_words(row[c.PLOW_POSITION])}, the thinnest and the thickest spot of {kind}"
        trucks = counted(int(row[c.N_TRUCKS]), "truck")
        estimate, low, high = (
            display.value(row[name], RATE_UNIT) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        apart = f"{display.unit('in')} apart in 1,000 {display.word('miles')}"
        share = f"{percent(row[RANGE_PCT])} of its mean wear; " if row[RANGE_PCT] > 0 else ""
        if not math.isfinite(high):
            alone = fixed(estimate, interval_decimals(estimate, low, high))
            return f"{start} grow {alone} {apart} ({share}{trucks}; no interval)."
        places = interval_decimals(estimate, low, high)
        level = level_words(self.confidence_level)
        if not low > 0:
            most = fixed(high, interval_decimals(high, 0.0, high))
            return f"{start} grow at most {most} {apart} ({level}; {trucks}): no unevenness is shown."
        ends = span(low, high, places)
        return f"{start} grow {fixed(estimate, places)} {apart} ({share}{level} {ends}; {trucks})."

    def _shapes(self, row: dict[Hashable, Any]) -> list[str]:
        here = self.shapes[
            (self.shapes[c.PLOW_POSITION] == row[c.PLOW_POSITION])
            & (self.shapes[c.EDGE_TYPE] == row[c.EDGE_TYPE])
        ]
        shown = [one for one in here.to_dict("records") if one[c.CONF_LOW] > 0 or one[c.CONF_HIGH] < 0]
        known = here[c.CONF_LOW].notna().any()
        if not shown:
            return (
                ["Neither end is shown to wear faster than the other, nor the ends faster than the middle."]
                if known
                else []
            )
        return [f"{sentence_case(_shape_words(one))}." for one in shown]

    def _truck(self, row: dict[Hashable, Any]) -> str:
        """The truck with the largest tilt, if that is more than reading error."""
        trucks = self.trucks
        here = trucks[
            (trucks[c.PLOW_POSITION] == row[c.PLOW_POSITION]) & (trucks[c.EDGE_TYPE] == row[c.EDGE_TYPE])
        ]
        here = here[(here[TILT].abs() > 2 * here[TILT_ERROR]) & (here[MEAN_RATE] > 0)]
        if here.empty:
            return ""
        worst = here.loc[(here[TILT] / here[MEAN_RATE]).abs().idxmax()]
        end, other = ("right", "left") if worst[TILT] > 0 else ("left", "right")
        share = percent(100 * abs(worst[TILT]) / worst[MEAN_RATE])
        gap = _gap_words(worst[TILT])
        return (
            f"Most lopsided is truck {worst[c.TRUCK_ID]}: its {end} end wears {gap} faster than its {other} "
            f"end ({share} of its mean wear)."
        )


def measure_unevenness(rates: WearRates, readings: pd.DataFrame) -> Unevenness:
    """Measure how fast the stations of a set grow apart, and whether ends or middle wear faster.

    Use it to see plows that are set up askew and to judge how much of an edge cannot be used. Not for sets read at a
    single station, which are left out, nor for the height differences of a new set: only wear counts.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    readings : DataFrame
        The frame that `rates` was fitted to.

    Returns
    -------
    Unevenness
        Without rows if no set was read at two stations.

    Notes
    -----
    Range: the largest less the smallest station slope of a set, averaged over the sets of a truck by their miles. Let E
    be its mean over trucks and E' what it would be with the reading errors made once more on top; without error it is
    ``sqrt(2 E^2 - E'^2)`` (`controlling.correct_largest`). Interval: t over trucks, n - 1 degrees of freedom.

    Tilt and bow: with the stations at x from -1 (left end) to 1 (right end), the least squares line and parabola through
    a set's station slopes; tilt is twice the line's slope, bow the parabola's coefficient of x^2. Both are unbiased by
    reading error. They take the stations as equally spaced, and belong to places on the plow: a set turned end for end
    keeps the tilt of its plow.

    By simulation (`tests/benchmarks/unevenness_coverage.py`, 54 kinds of trial with 3, 6 or 12 trucks) the 95 % interval of
    the range holds the truth in 93 to 100 %, but only in 89 % with 12 trucks whose stations wear exactly alike and are read
    badly: there it leaves out zero too often. Tilt and bow: 92 to 100 %.
    """
    stations = ct.station_slopes(readings, rates)
    several = stations.groupby(sl.SET_KEYS, observed=True, sort=False)[c.STATION].transform("nunique") >= 2
    sets = _set_shapes(stations[several].reset_index(drop=True))
    rows, shapes, trucks = [], [], []
    for place, kind in rates.table[sl.CELL].itertuples(index=False):
        here = sets[(sets[c.PLOW_POSITION] == place) & (sets[c.EDGE_TYPE] == kind)]
        if here.empty:
            continue
        key = {c.EDGE_TYPE: kind, c.PLOW_POSITION: place}
        range_row, truck_rows = _of_cell(here, rates.confidence_level)
        rows.append({**key, **range_row})
        trucks.append(truck_rows)
        for term in (TILT, BOW):
            shape = _shape(truck_rows, term, rates.confidence_level)
            if shape is not None:
                shapes.append({**key, c.TERM: term, **shape})
    result = Unevenness(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_method(rates.confidence_level),
        notes=(),
        shapes=pd.DataFrame(shapes, columns=SHAPE_COLUMNS),
        trucks=pd.concat(trucks, ignore_index=True)[TRUCK_COLUMNS]
        if trucks
        else pd.DataFrame(columns=TRUCK_COLUMNS),
        confidence_level=rates.confidence_level,
        labels=rates.labels,
    )
    single = rates.sets.loc[rates.sets[sl.N_STATIONS] == 1, c.SET_ID].nunique()
    return replace(result, notes=tuple(_notes(result, int(single))))


TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_TRUCKS, c.N_SETS, RANGE_PCT, MEASURED,
]  # fmt: skip
SHAPE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.TERM, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.P_VALUE, c.UNIT, SHAPE_PCT, c.N_TRUCKS,
]  # fmt: skip
TRUCK_COLUMNS = [*sl.UNIT_KEYS, c.N_SETS, MEAN_RATE, RANGE, TILT, TILT_ERROR, BOW, BOW_ERROR]
_NOISIER, _FLOOR, _BOUND, _ERROR = "noisier", "_floor", "_bound", "_error"


# ---------------------------------------------------------------- sets
def _set_shapes(stations: pd.DataFrame) -> pd.DataFrame:
    """Mean, range, tilt and bow of the station slopes of each set, with their errors."""
    code, sets = sl.grouped(stations, sl.SET_KEYS)
    order = np.argsort(code, kind="stable")
    sizes = np.bincount(code, minlength=len(sets))
    column = np.arange(len(code)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    x = _places(stations)

    def laid_out(values: Any) -> np.ndarray:
        padded = np.full((len(sets), int(sizes.max(initial=1))), np.nan)
        padded[code[order], column] = np.asarray(values, dtype=float)[order]
        return padded

    rate, error = laid_out(stations[c.ESTIMATE]), laid_out(stations[ct.ERROR_VARIANCE])
    floor, bound = laid_out(stations[sl.ROUNDING_VARIANCE]), laid_out(stations[c.ROUNDING_BOUND])
    known, errors = np.isfinite(rate), np.sqrt(error)
    rows = np.arange(len(sets))
    top, low = np.where(known, rate, -np.inf).argmax(axis=1), np.where(known, rate, np.inf).argmin(axis=1)
    columns = {
        c.MILES_MI: np.bincount(code, stations[c.MILES_MI], len(sets)) / np.maximum(sizes, 1),
        MEAN_RATE: np.nansum(rate, axis=1) / np.maximum(sizes, 1),
        RANGE: rate[rows, top] - rate[rows, low],
        _NOISIER: ct.expected_largest(rate, errors) + ct.expected_largest(-rate, errors),
        _FLOOR: floor[rows, top] + floor[rows, low],
        _BOUND: bound[rows, top] + bound[rows, low],
    }
    for term, weights in zip((TILT, BOW), _weights(laid_out(x)), strict=True):
        enough = sizes >= LEAST_STATIONS[term]
        for tail, weighted in (
            ("", weights * rate), (_FLOOR, weights**2 * floor), (_BOUND, np.abs(weights) * bound), (_ERROR, weights**2 * error),
        ):  # fmt: skip
            columns[f"{term}{tail}"] = np.where(enough, np.nansum(weighted, axis=1), np.nan)
    return sets.assign(**columns)


def _places(stations: pd.DataFrame) -> np.ndarray:
    """Place of each row's station: -1 at the left end of the stations read on its truck position, 1 at the right."""
    groups = stations.groupby(sl.UNIT_KEYS, observed=True, sort=False)[c.STATION]
    left, right = (groups.transform(end).to_numpy(dtype=float) for end in ("min", "max"))
    return (2 * stations[c.STATION].to_numpy(dtype=float) - left - right) / np.maximum(right - left, 1.0)


def _weights(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the stations (columns) of each set (row) that give tilt and bow."""
    known = np.isfinite(x).astype(float)
    x = np.where(known > 0, x, 0.0)
    centered = (x - (x.sum(axis=1) / known.sum(axis=1))[:, None]) * known
    tilt = 2 * centered / np.maximum((centered**2).sum(axis=1), 1e-300)[:, None]
    design = np.stack([known, x, x**2], axis=2)
    return tilt, np.linalg.pinv(design)[:, 2, :]


# ---------------------------------------------------------------- trucks and edge types
def _of_cell(sets: pd.DataFrame, confidence_level: float) -> tuple[dict[str, Any], pd.DataFrame]:
    """Range of one edge type on one plow position, and its trucks."""
    truck, trucks = sl.grouped(sets, sl.UNIT_KEYS)
    n, miles = len(trucks), sets[c.MILES_MI].to_numpy(dtype=float)
    share = miles / np.maximum(np.bincount(truck, miles, n)[truck], 1e-300)

    def by_truck(name: str, power: int = 1) -> np.ndarray:
        return np.bincount(truck, share**power * sets[name].to_numpy(dtype=float), n)

    found = ct.correct_largest(
        np.zeros(n),
        by_truck(RANGE),
        by_truck(_NOISIER),
        float(by_truck(_FLOOR, 2).mean()),
        float(by_truck(_BOUND).mean()),
    )
    interval = mean_interval(found.sample, confidence_level)
    mean = by_truck(MEAN_RATE)
    row = {
        c.ESTIMATE: interval.estimate,
        c.CONF_LOW: max(interval.conf_low, 0.0) if math.isfinite(interval.conf_low) else math.nan,
        c.CONF_HIGH: interval.conf_high,
        c.UNIT: RATE_UNIT,
        c.N_TRUCKS: n,
        c.N_SETS: sets[c.SET_ID].nunique(),
        RANGE_PCT: _percent_of(interval.estimate, float(mean.mean())),
        MEASURED: found.measured,
    }
    columns = {c.N_SETS: np.bincount(truck, minlength=n), MEAN_RATE: mean, RANGE: found.values}
    for term in (TILT, BOW):
        columns[term] = by_truck(term)
        columns[f"{term}{_ERROR}"] = np.sqrt(by_truck(f"{term}{_ERROR}", 2))
        columns[f"{term}{_FLOOR}"] = by_truck(f"{term}{_FLOOR}", 2)
        columns[f"{term}{_BOUND}"] = by_truck(f"{term}{_BOUND}")
    return row, trucks.assign(**columns)


def _shape(trucks: pd.DataFrame, term: str, confidence_level: float) -> dict[str, Any] | None:
    """Tilt or bow of one edge type on one plow position, over the trucks that can show it."""
    known = trucks.dropna(subset=[term])
    if known.empty:
        return None
    sample = Sample.of(
        known[term].to_numpy(), float(known[f"{term}{_FLOOR}"].mean()), float(known[f"{term}{_BOUND}"].mean())
    )
    found = mean_interval(sample, confidence_level)
    return {
        c.ESTIMATE: found.estimate,
        c.CONF_LOW: found.conf_low,
        c.CONF_HIGH: found.conf_high,
        c.P_VALUE: found.p_value,
        c.UNIT: RATE_UNIT,
        SHAPE_PCT: _percent_of(found.estimate, float(known[MEAN_RATE].mean())),
        c.N_TRUCKS: len(known),
    }


def _percent_of(value: float, mean: float) -> float:
    return 100 * value / mean if mean > 0 else math.nan


# ---------------------------------------------------------------- words
def _shape_words(row: Mapping[Any, Any]) -> str:
    """Where the wear is, for a shape that is shown."""
    gap = _gap_words(row[c.ESTIMATE])
    share = f" ({percent(abs(row[SHAPE_PCT]))} of the mean wear)" if row[SHAPE_PCT] == row[SHAPE_PCT] else ""
    more = row[c.ESTIMATE] > 0
    if row[c.TERM] == TILT:
        end, other = ("right", "left") if more else ("left", "right")
        return f"the {end} end wears faster than the {other} end, by {gap}{share}"
    fast, slow = ("the ends wear", "the middle") if more else ("the middle wears", "the ends")
    return f"{fast} faster than {slow}, by {gap}{share}"


def _gap_words(rate: float) -> str:
    """A difference of wear rates, without its sign, as a sentence says it."""
    return f"{number(abs(display.value(rate, RATE_UNIT)), 2)} {display.unit('in')} per 1,000 {display.word('miles')}"


def _method(confidence_level: float) -> str:
    return (
        "Largest less smallest station slope of each set, with what reading error adds to such a range taken off; tilt and bow "
        "by least squares through the station slopes. The truck as the unit, "
        f"{level_percent(confidence_level)} t intervals over the trucks."
    )


def _notes(result: Unevenness, single: int) -> list[str]:
    """Caveats that the unevenness must carry."""
    notes = []
    if single:
        notes.append(f"{counted(single, 'set')} read at a single station, which says nothing about evenness.")
    for row in result.table.to_dict("records"):
        who = sentence_case(f"{result.label(row[c.EDGE_TYPE])} on {position_words(row[c.PLOW_POSITION])}")
        if row[c.N_TRUCKS] == 1:
            notes.append(f"{who}: one truck, so its unevenness has no interval.")
        if row[c.ESTIMATE] < 0.7 * row[MEASURED]:
            notes.append(
                f"{who}: the range as read is {_gap_words(row[MEASURED])}; much of it is reading error."
            )
    return notes
