"""Whether edges wear in a straight line.

Answers: does an edge wear faster early or late, and may its wear rate be carried from the miles that were read to others?

A wear rate is the slope of a straight line. New edges often wear fast until they are seated, and some wear faster once
their hard part has become thin. Both bend the line.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import slopes as sl
from trialkit.edges.wear import (
    RATE_UNIT,
    WearRates,
    edge_type_order,
    rate_unit_words,
    run_in_words,
    sample_of_slopes,
)
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_words,
    number,
    position_words,
    sentence_case,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.inference import mean_interval
from trialkit.stats.rounding import rounding_amplitude

N_SEGMENTS = "n_segments"
NO_BEND = 1e-9
"""Share of the wear below which a change is rounding error of the arithmetic."""
TRUCK_COLUMNS = [*sl.UNIT_KEYS, c.ESTIMATE, c.EARLY_RATE, c.LATE_RATE, N_SEGMENTS, c.N_READINGS]
TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.EARLY_RATE, c.LATE_RATE, c.ESTIMATE, c.STD_ERROR, c.DF, c.CONF_LOW, c.CONF_HIGH,
    c.UNIT, c.P_VALUE, c.CHANGE_PCT, c.N_TRUCKS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class EarlyLate(Labelled):
    """Late against early wear of each edge type. [in/1000 mi]

    Attributes
    ----------
    table : DataFrame
        One row per edge type and plow position: `early_rate`, `late_rate`, their difference late minus early as
        `estimate` with `std_error`, `df`, `conf_low`, `conf_high`, `unit`, `p_value` (of no bend), `change_pct` (late
        against early) and `n_trucks`.
    trucks : DataFrame
        The same for each truck, with the number of segments and readings it rests on.
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    """

    trucks: pd.DataFrame
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        several = self.table[c.PLOW_POSITION].nunique() > 1
        return tuple(self._sentence(row, several) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """How straight the wear ran, in words."""
        return (
            " ".join(self.sentences())
            or "Whether wear runs straight cannot be told: no segment has three readings."
        )

    def _sentence(self, row: dict[Hashable, Any], several: bool) -> str:
        who = self.label(row[c.EDGE_TYPE])
        start = f"On {position_words(row[c.PLOW_POSITION])}, {who}" if several else sentence_case(who)
        names = (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.EARLY_RATE, c.LATE_RATE)
        change, low, high, early, late = (display.value(row[name], RATE_UNIT) for name in names)
        trucks = counted(int(row[c.N_TRUCKS]), "truck")
        if not math.isfinite(change):
            return f"{start}: whether wear runs straight cannot be told, since no segment has three readings at different {display.word('miles')}."
        if not math.isfinite(low):
            pace = f"{number(early)} early and {number(late)} late {rate_unit_words()}"
            return f"{start} wore {pace} ({trucks}; no interval)."
        places = interval_decimals(change, low, high)
        pace = f"{fixed(early, places)} early and {fixed(late, places)} late {rate_unit_words()}"
        level = f"{level_words(self.confidence_level)} of the change {span(low, high, places)}; {trucks}"
        if low <= 0 <= high:
            return f"{start} shows no bend: it wore {pace} ({level})."
        return f"{start} wears {'faster' if change > 0 else 'slower'} as it goes on: {pace} ({level})."


def compare_early_late(readings: pd.DataFrame, rates: WearRates, *, run_in_mi: float = 0.0) -> EarlyLate:
    """Compare the wear early in a segment with the wear late in it.

    Use it with the run-in of the rates to see whether a straight line fits what they were made from, and with none to see
    the running-in itself. Not for miles beyond those read.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to.
    rates : WearRates
        The wear rates; level, reference and names are taken from them.
    run_in_mi : float
        Miles after an install that are left out. [mi]

    Returns
    -------
    EarlyLate

    Notes
    -----
    In each segment a parabola with its own intercept and slope, ``h = a + b u + g u^2`` with u from 0 at the first to 1 at
    the last reading, so that the wear at a quarter and at three quarters of the way differ by ``-g / span``. A truck's
    change is the mean over its segments weighted by what they tell, ``-sum(Sqy span) / sum(Sqq span^2)`` with q the
    part of u^2 that no straight line follows; the trucks of a type make its change, with the t interval of
    `inference.mean_interval`. Early and late lie half the change below and above the wear half way, which is that of the
    straight lines plus ``change (1 - Sus / Suu)``, s the square of u: nothing with readings at even distances. Rounding
    enters as in `slopes.fit_slopes`. A segment needs readings at three different miles.
    """
    used, _ = sl.used_readings(readings, run_in_mi)
    parts = _bends(used)
    order = edge_type_order(rates.table[c.EDGE_TYPE], rates.reference or None)
    trucks = _by_truck(parts)
    table = _by_type(trucks, used, rates.confidence_level)
    rank = {name: place for place, name in enumerate(order)}
    places = list(dict.fromkeys(rates.table[c.PLOW_POSITION]))

    def sorted_rows(frame: pd.DataFrame) -> pd.DataFrame:
        kind = frame[c.EDGE_TYPE].astype(object).map(rank)
        place = frame[c.PLOW_POSITION].astype(object).map({name: k for k, name in enumerate(places)})
        return frame.iloc[np.lexsort((np.arange(len(frame)), kind, place))].reset_index(drop=True)

    return EarlyLate(
        table=sorted_rows(table)[TABLE_COLUMNS],
        method=_method(rates.confidence_level, run_in_mi),
        notes=(),
        trucks=sorted_rows(trucks)[TRUCK_COLUMNS],
        confidence_level=rates.confidence_level,
        labels=rates.labels,
    )


_WEIGHT, _SLOPE_WEIGHT, _SLOPE, _LEAN, _SPREAD = "_weight", "_slope_weight", "_slope", "_lean", "_spread"


def _bends(used: pd.DataFrame) -> pd.DataFrame:
    """Change of the slope of each segment with readings at three different miles, and its weight."""
    code, _ = pd.factorize(used[c.SEGMENT])
    size = int(code.max(initial=-1)) + 1
    x, y = (used[name].to_numpy(dtype=float, na_value=np.nan) for name in (c.MILES_MI, c.HEIGHT_IN))
    first, last, step = np.full(size, np.inf), np.full(size, -np.inf), np.zeros(size)
    np.minimum.at(first, code, x)
    np.maximum.at(last, code, x)
    if c.RESOLUTION_IN in used:
        np.maximum.at(step, code, np.nan_to_num(used[c.RESOLUTION_IN].to_numpy(dtype=float, na_value=np.nan)))
    span_mi = (last - first) / 1000.0
    u = np.divide(
        x / 1000.0 - first[code] / 1000.0, span_mi[code], out=np.zeros(len(x)), where=span_mi[code] > 0
    )
    n = np.bincount(code, minlength=size)

    def centered(values: np.ndarray) -> np.ndarray:
        return values - (np.bincount(code, values, size) / np.maximum(n, 1))[code]

    du, dy, square = centered(u), centered(y), centered(u * u)
    suu, sus, suy = (np.bincount(code, du * values, size) for values in (du, square, dy))
    with np.errstate(invalid="ignore", divide="ignore"):
        q = square - (sus / suu)[code] * du
        slope = suy / suu
        lean = 1 - sus / suu
    q = np.where(np.isfinite(q), q, 0.0)
    sqq, sqy = np.bincount(code, q * q, size), np.bincount(code, q * dy, size)
    bent = sqq > 1e-9
    left = dy - np.where(np.isfinite(slope), slope, 0.0)[code] * du
    left -= np.divide(sqy, sqq, out=np.zeros(size), where=bent)[code] * q
    scatter = np.bincount(code, left**2, size)
    spread = np.bincount(code, np.abs(q), size)
    heads = np.zeros(size, dtype=int)
    heads[code[::-1]] = np.arange(len(code) - 1, -1, -1)
    parts = used.iloc[heads][sl.UNIT_KEYS].reset_index(drop=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = parts.assign(
            **{
                c.ESTIMATE: -sqy / sqq / span_mi,
                _WEIGHT: sqq * span_mi**2,
                _SLOPE: -slope / span_mi,
                _LEAN: np.where(np.abs(lean) < NO_BEND, 0.0, lean),
                _SLOPE_WEIGHT: suu * span_mi**2,
                _SPREAD: spread * span_mi,
                c.N_READINGS: n,
                sl.STEP_IN: step,
                sl.SPREAD: scatter,
            }
        )
    return parts[bent].reset_index(drop=True)


def _by_truck(parts: pd.DataFrame) -> pd.DataFrame:
    """Early and late slope and their difference for each truck position."""
    code, trucks = sl.grouped(parts, sl.UNIT_KEYS)
    size = len(trucks)

    def summed(values: Any) -> np.ndarray:
        return np.bincount(code, values, size)

    weight, slope_weight = parts[_WEIGHT].to_numpy(), parts[_SLOPE_WEIGHT].to_numpy()
    total = summed(weight)
    change = summed(weight * parts[c.ESTIMATE]) / total
    straight, lean = (summed(slope_weight * parts[name]) / summed(slope_weight) for name in (_SLOPE, _LEAN))
    change = np.where(np.abs(change) < NO_BEND * np.abs(straight), 0.0, change)
    middle = straight + change * lean
    cell, cells = sl.grouped(parts, sl.CELL)
    free = np.bincount(cell, np.maximum(parts[c.N_READINGS] - 3, 0), len(cells))
    error = np.bincount(cell, parts[sl.SPREAD], len(cells)) / np.maximum(free, 1)
    step = parts[sl.STEP_IN].to_numpy()
    beyond = np.sqrt(np.maximum(error[cell] - step**2 / 12, 0))
    bound = rounding_amplitude(step, beyond) * parts[_SPREAD].to_numpy()
    return trucks.assign(
        **{
            c.ESTIMATE: change,
            c.EARLY_RATE: middle - change / 2,
            c.LATE_RATE: middle + change / 2,
            N_SEGMENTS: np.bincount(code, minlength=size),
            c.N_READINGS: summed(parts[c.N_READINGS]).astype(int),
            sl.ROUNDING_VARIANCE: summed(weight * step**2 / 12) / total**2,
            c.ROUNDING_BOUND: summed(bound) / total,
        }
    )


def _by_type(trucks: pd.DataFrame, used: pd.DataFrame, confidence_level: float) -> pd.DataFrame:
    """Mean change of the trucks of each edge type and plow position; a row without numbers where there is none."""
    code, cells = sl.grouped(trucks, sl.CELL)
    size = len(cells)
    sample = sample_of_slopes(trucks, code, size, confidence_level)
    found = mean_interval(sample, confidence_level)
    early, late = (
        np.bincount(code, trucks[name], size) / np.maximum(np.bincount(code, minlength=size), 1)
        for name in (c.EARLY_RATE, c.LATE_RATE)
    )
    table = cells.assign(
        **{
            c.EARLY_RATE: early,
            c.LATE_RATE: late,
            c.ESTIMATE: found.estimate,
            c.STD_ERROR: found.std_error,
            c.DF: found.df,
            c.CONF_LOW: found.conf_low,
            c.CONF_HIGH: found.conf_high,
            c.P_VALUE: found.p_value,
            c.CHANGE_PCT: np.divide(100 * (late - early), early, out=np.full(size, np.nan), where=early > 0),
            c.N_TRUCKS: sample.n,
        }
    )
    keys = dict.fromkeys(sl.CELL, object)
    table = sl.grouped(used, sl.CELL)[1].astype(keys).merge(table.astype(keys), on=sl.CELL, how="left")
    table[c.N_TRUCKS] = table[c.N_TRUCKS].fillna(0).astype(int)
    return table.assign(**{c.UNIT: RATE_UNIT})


def _method(confidence_level: float, run_in_mi: float) -> str:
    left_out = f", the first {run_in_words(run_in_mi)} after an install left out" if run_in_mi else ""
    return (
        "A parabola in each segment instead of a straight line; early and late are the wear at a quarter and at three "
        f"quarters of the {display.word('miles')} that were read{left_out}. The trucks give the mean change and its "
        f"{level_words(confidence_level)}."
    )
