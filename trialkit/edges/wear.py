"""Wear rates of the edge types: the second of two stages.

Answers: how fast does each edge type wear, and how sure is that with this few trucks?

`slopes` gives one slope per truck position; here the trucks of an edge type make its rate. The truck is the unit:
stations, dates and successive sets of one truck are not independent. `comparison` sets the types against each other.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtrit

from trialkit import columns as c
from trialkit import display
from trialkit.edges import slopes as sl
from trialkit.errors import UsageError, near_match
from trialkit.formatting import (
    counted,
    decimals_for,
    fixed,
    interval_decimals,
    level_percent,
    level_words,
    listed,
    number,
    position_words,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.inference import Sample, mean_interval, prediction_limits, two_sided_tail

RATE_UNIT = "in/1000 mi"

FEW_MILES = 0.1
"""Share of the usual miles of the trucks of a type below which the report names a truck."""

T_METHOD = "mean of truck slopes, t interval"
WIDENED = ", widened for coarse readings"
ONE_TRUCK = "one truck, no interval"
NO_ERROR = "mean of truck slopes, no interval: the readings show no error"
NO_SLOPE = "no slope"
NO_RATE = "No wear rate can be given: no set has two readings at different miles."


@dataclass(frozen=True, eq=False)
class WearRates(Labelled):
    """Mean wear rate of each edge type on each plow position. [in/1,000 mi]

    Attributes
    ----------
    table : DataFrame
        One row per plow position and edge type, reference first: `edge_type`, `plow_position`, `estimate`,
        `std_error`, `df`, `conf_low`, `conf_high`, `unit`, `n_trucks`, `n_sets`, `n_readings`, `method`, `pred_low`
        and `pred_high` (where the slope of a next set lies), `rounding_bound` (part of the interval that comes from
        coarse readings), `measurable` (whether the height fell by more than one step of the tool), and with usable
        depths `depth_pct`, `depth_pct_low`, `depth_pct_high` (share of the usable depth worn per 1,000 miles).
    confidence_level : float
        Two-sided level of every interval.
    reference : str
        Edge type with which the others are compared.
    labels : dict
        Edge type to the name that sentences print.
    trucks, sets, set_stations : DataFrame
        Slope of each truck position, set and station of a set, with the miles it rests on.
    stations : DataFrame
        Rate of each station across trucks, with the columns of `table` from `estimate` to `n_readings`.
    segments : DataFrame
        Fitted line of each segment: `first_mi`, `last_mi`, `first_height_in`, `last_height_in`, `intercept_in`, slope
        as `estimate`.
    """

    confidence_level: float
    reference: str
    labels: Mapping[str, str]
    trucks: pd.DataFrame
    sets: pd.DataFrame
    set_stations: pd.DataFrame
    stations: pd.DataFrame
    segments: pd.DataFrame

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        rows = self.table.to_dict("records")
        return tuple(f"On {position_words(row[c.PLOW_POSITION])}, {self._clause(row)}." for row in rows)

    def sentence(self) -> str:
        """The rates in words, a sentence for each plow position."""
        clauses: dict[str, list[str]] = {}
        for row in self.table.to_dict("records"):
            clauses.setdefault(row[c.PLOW_POSITION], []).append(self._clause(row))
        said = [f"On {position_words(place)}, {'; '.join(rates)}." for place, rates in clauses.items()]
        return " ".join(said) or display.words(NO_RATE)

    def _clause(self, row: dict[Hashable, Any]) -> str:
        who = self.label(row[c.EDGE_TYPE])
        rate, low, high = (
            display.value(row[name], RATE_UNIT) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        per = rate_unit_words()
        level, trucks = level_words(self.confidence_level), counted(int(row[c.N_TRUCKS]), "truck")
        if not math.isfinite(rate):
            return f"{who} has no wear rate yet, since no set has two readings at different {display.word('miles')}"
        if not math.isfinite(high):
            why = "no interval" if row[c.N_TRUCKS] == 1 else "no interval, since the readings show no error"
            if not row[c.MEASURABLE]:
                return f"{who} showed no measurable wear ({trucks}; {why})"
            return f"{who} {'wore' if rate > 0 else 'gained'} {number(abs(rate))} {per} ({trucks}; {why})"
        if low <= 0 < high and not row[c.MEASURABLE]:
            most = fixed(high, decimals_for(high))
            return f"{who} showed no measurable wear: less than {most} {per} ({level}; {trucks})"
        places = interval_decimals(rate, low, high)
        if rate < 0:
            gain = (
                f"{who} gained {fixed(-rate, places)} {per}, which no edge does, so the readings need a look"
            )
            return f"{gain} ({level} of the wear {span(low, high, places)}; {trucks})"
        ends = span(low if low > 0 else -math.inf, high, places)
        return f"{who} wore {fixed(rate, places)} {per} ({level} {ends}; {trucks})"


def fit_wear_rates(
    readings: pd.DataFrame,
    *,
    confidence_level: float = 0.95,
    reference: str | None = None,
    repeatability_in: float | None = None,
    run_in_mi: float = 0.0,
    labels: Mapping[str, str] | None = None,
    usable_depth_in: Mapping[str, float] | None = None,
) -> WearRates:
    """Estimate how fast each edge type wears on each plow position.

    Use it for the headline wear rates. Do not use the interval for one next set (that is `pred_low` to `pred_high`),
    nor beyond the miles and the depth that were read.

    Parameters
    ----------
    readings : DataFrame
        The frame of `lineage.wear_segments`: columns edge_type, plow_position, truck_id, truck_unit, set_id, station,
        segment, height_in [in], miles_mi [mi]; resolution_in [in] if known.
    confidence_level : float
        Two-sided level of every interval.
    reference : str, optional
        Edge type listed first and compared with; the first one otherwise.
    repeatability_in : float, optional
        Standard deviation of repeated readings from a gauge study. [in]
    run_in_mi : float
        Miles after an install that are left out. [mi]
    labels : mapping, optional
        Edge type to the name that sentences print.
    usable_depth_in : mapping, optional
        Edge type to the depth that may wear off, for the share per 1,000 miles. [in]

    Returns
    -------
    WearRates

    Raises
    ------
    UsageError
        If a column is missing or the reference is not among the edge types.

    Notes
    -----
    Unweighted mean of the truck slopes of `slopes.fit_slopes` with n - 1 degrees of freedom. The interval is never
    narrower than rounding alone makes it (a known variance, so with the normal quantile instead of t), and it is widened
    by the largest error that rounding can give all trucks alike. Assumes that wear is a straight
    line of blade-down miles within a segment and that the trucks stand for the fleet. With a strongly skewed spread
    between trucks (40 %, lognormal) it covers 93 % instead of 95 %.

    References
    ----------
    .. [1] Student, "The probable error of a mean", Biometrika 6, 1908.
    """
    found = sl.fit_slopes(readings, repeatability_in, run_in_mi)
    order = edge_type_order(readings[c.EDGE_TYPE], reference)
    table = _rates(found.trucks, sl.CELL, confidence_level)
    stations = _rates(found.truck_stations, [*sl.CELL, c.STATION], confidence_level)
    table = _with_every_cell(table, found.segments)
    table = table.merge(_set_counts(found.sets), on=sl.CELL, how="left")
    table[c.N_SETS] = table[c.N_SETS].fillna(0).astype(int)
    table[c.MEASURABLE] = _fall_in_steps(table, found.segments, repeatability_in) > 1
    table[c.UNIT] = RATE_UNIT
    table = _in_order(table, order)[
        [
            c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.STD_ERROR, c.DF, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_TRUCKS,
            c.N_SETS, c.N_READINGS, c.METHOD, c.PRED_LOW, c.PRED_HIGH, c.ROUNDING_BOUND, c.MEASURABLE,
        ]
    ]  # fmt: skip
    if usable_depth_in is not None:
        depth = table[c.EDGE_TYPE].astype(object).map(usable_depth_in).astype(float)
        for name, source in (
            (c.DEPTH_PCT, c.ESTIMATE),
            (c.DEPTH_PCT_LOW, c.CONF_LOW),
            (c.DEPTH_PCT_HIGH, c.CONF_HIGH),
        ):
            table[name] = 100 * table[source] / depth
    result = WearRates(
        table=table,
        method=_method(confidence_level, run_in_mi),
        notes=found.notes,
        confidence_level=confidence_level,
        reference=order[0] if order else "",
        labels=dict(labels or {}),
        trucks=_in_order(found.trucks, order),
        sets=_in_order(found.sets, order),
        set_stations=_in_order(found.set_stations, order),
        stations=_in_order(stations, order),
        segments=_in_order(found.segments, order),
    )
    return replace(result, notes=(*found.notes, *_notes(result)))


def rate_unit_words() -> str:
    """The unit of a wear rate as a sentence says it: ``"in per 1,000 blade-down miles"``."""
    return f"{display.unit('in')} per 1,000 {display.words('blade-down miles')}"


def run_in_words(run_in_mi: float) -> str:
    """How much is left out as running-in: ``"50 miles"``."""
    return f"{display.typed(run_in_mi, 'mi')} {display.word('miles')}"


def edge_type_order(edge_types: pd.Series, reference: str | None = None) -> list[str]:
    """Edge types, reference first, then in the order of their categories or of first sight.

    Parameters
    ----------
    edge_types : Series
        Edge type of each row.
    reference : str, optional
        Edge type to put first.

    Raises
    ------
    UsageError
        If the reference is neither among the values nor among the categories.
    """
    if isinstance(edge_types.dtype, pd.CategoricalDtype):
        order = [str(name) for name in edge_types.cat.categories]
    else:
        order = [str(name) for name in edge_types.dropna().unique()]
    if reference is None or not order:
        return order
    if reference not in order:
        hint = near_match(reference, order) or f"The edge types are: {', '.join(order)}."
        raise UsageError(f'The reference edge type "{reference}" is not among the edge types. {hint}')
    return [reference, *(name for name in order if name != reference)]


# ---------------------------------------------------------------- the second stage
def _rates(units: pd.DataFrame, keys: list[str], confidence_level: float) -> pd.DataFrame:
    """Mean slope of the units by `keys`, with interval and prediction limits."""
    codes, rates = sl.grouped(units, keys)
    sample = sample_of_slopes(units, codes, len(rates), confidence_level)
    found = mean_interval(sample, confidence_level)
    low, high = prediction_limits(sample, confidence_level)
    rates[c.ESTIMATE] = found.estimate
    rates[c.STD_ERROR] = found.std_error
    rates[c.DF] = found.df
    rates[c.CONF_LOW] = found.conf_low
    rates[c.CONF_HIGH] = found.conf_high
    rates[c.PRED_LOW] = low
    rates[c.PRED_HIGH] = high
    rates[c.N_TRUCKS] = sample.n
    rates[c.N_READINGS] = np.bincount(codes, units[c.N_READINGS], len(rates)).astype(int)
    rates[c.ROUNDING_BOUND] = sample.bound
    widened = (sample.bound > 0.02 * (found.conf_high - found.conf_low)) | (
        sample.variance_floor > sample.variance
    )
    rates[c.METHOD] = np.select(
        [sample.n == 1, ~np.isfinite(found.std_error), widened],
        [ONE_TRUCK, NO_ERROR, T_METHOD + WIDENED],
        T_METHOD,
    )
    return rates


def sample_of_slopes(
    units: pd.DataFrame, codes: np.ndarray, n_groups: int, confidence_level: float
) -> Sample:
    """Means, spreads and rounding errors of the slopes of trucks, one entry per group.

    Parameters
    ----------
    units : DataFrame
        Columns estimate [in/1,000 mi], rounding_variance and rounding_bound, one row per truck.
    codes : ndarray
        Group of each row.
    n_groups : int
        Number of groups.
    confidence_level : float
        Level of the intervals for which it is used.

    Notes
    -----
    The variance from rounding is known, not estimated from the trucks, so the floor is scaled by ``(z / t)^2``: the t
    interval then never becomes narrower than the z interval of rounding alone, nor wider than it must.
    """
    n = np.bincount(codes, minlength=n_groups)
    slope = units[c.ESTIMATE].to_numpy()

    def mean_of(values: Any) -> np.ndarray:
        return np.bincount(codes, values, n_groups) / np.maximum(n, 1)

    mean = mean_of(slope)
    squares = np.bincount(codes, (slope - mean[codes]) ** 2, n_groups)
    variance = np.where(n > 1, squares / np.maximum(n - 1, 1), np.nan)
    tail = two_sided_tail(confidence_level)
    known_against_estimated = (ndtri(1 - tail) / stdtrit(np.maximum(n - 1, 1), 1 - tail)) ** 2
    floor = mean_of(units[sl.ROUNDING_VARIANCE]) * known_against_estimated
    return Sample(mean, variance, n, floor, mean_of(units[c.ROUNDING_BOUND]))


def _with_every_cell(table: pd.DataFrame, segments: pd.DataFrame) -> pd.DataFrame:
    """The rates, with a row without numbers for edge types that were read but give no slope."""
    cells = sl.grouped(segments, sl.CELL)[1]
    table = cells.merge(table, on=sl.CELL, how="left")
    table[c.METHOD] = table[c.METHOD].fillna(NO_SLOPE)
    for name in (c.N_TRUCKS, c.N_READINGS):
        table[name] = table[name].fillna(0).astype(int)
    return table


def _set_counts(sets: pd.DataFrame) -> pd.DataFrame:
    counts = sets.groupby(sl.CELL, observed=True, sort=False)[c.SET_ID].nunique()
    return counts.rename(c.N_SETS).reset_index()


def _fall_in_steps(table: pd.DataFrame, segments: pd.DataFrame, repeatability_in: float | None) -> pd.Series:
    """Height lost over the average segment with two readings at different miles, in steps of the tool or twice the repeatability,
    whichever is larger."""
    by_cell = segments.groupby(sl.CELL, observed=True, sort=False)
    ran = segments[segments[sl.SPAN_MI] > 0]
    miles = ran.groupby(sl.CELL, observed=True, sort=False)[sl.SPAN_MI].mean()
    least = by_cell[sl.STEP_IN].max().clip(lower=2 * (repeatability_in or 0.0))
    index = pd.MultiIndex.from_frame(table[sl.CELL])
    fall = table[c.ESTIMATE].abs().to_numpy() * miles.reindex(index).to_numpy() / 1000.0
    least_in = least.reindex(index).to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        return pd.Series(
            np.where(least_in > 0, fall / least_in, np.where(fall > 0, np.inf, 0.0)), table.index
        )


def _in_order(frame: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    """Rows by plow position and edge type, the reference first, with plain text in both."""
    places = frame[c.PLOW_POSITION]
    rank = places.cat.codes if isinstance(places.dtype, pd.CategoricalDtype) else pd.factorize(places)[0]
    kind = frame[c.EDGE_TYPE].astype(object).map({name: number for number, name in enumerate(order)})
    by = np.lexsort((np.arange(len(frame)), kind.to_numpy(), np.asarray(rank)))
    return frame.iloc[by].reset_index(drop=True)


def _method(confidence_level: float, run_in_mi: float) -> str:
    left_out = (
        f" The first {run_in_words(run_in_mi)} after an install are left out as running-in."
        if run_in_mi
        else ""
    )
    return (
        f"Each segment has its own straight line of height against blade-down {display.word('miles')}; the slopes of a truck "
        f"are pooled over its stations and sets, and the trucks give the mean and its {level_percent(confidence_level)} t interval. "
        "The interval is widened where the steps of the tool are coarse for the wear seen." + left_out
    )


def _notes(result: WearRates) -> list[str]:
    """Caveats that the rates themselves call for."""
    notes = []
    for row in result.table.to_dict("records"):
        who = f"{result.label(row[c.EDGE_TYPE])} on {position_words(row[c.PLOW_POSITION])}"
        if row[c.METHOD] == NO_SLOPE:
            notes.append(
                f"No set of {who} has two readings at different {display.word('miles')}, so it has no wear rate."
            )
        elif row[c.METHOD] == ONE_TRUCK:
            notes.append(
                f"Only one truck carried {who}; how much trucks differ is not known, so its rate has no interval."
            )
        elif row[c.METHOD] == NO_ERROR:
            notes.append(
                f"All trucks with {who} wore alike to the last digit and no resolution is recorded; no interval."
            )
        elif row[c.N_TRUCKS] == 2:
            notes.append(
                f"Only two trucks carried {who}; its interval is wide and rests on the spread of two values."
            )
        if row[c.ESTIMATE] < 0 and row[c.MEASURABLE]:
            notes.append(
                f"The height of {who} rose on average: look for an unlogged swap, a wrong station or a wrong set."
            )
    usual = result.trucks.groupby(sl.CELL, observed=True)[c.MILES_MI].transform("median")
    for row in result.trucks[result.trucks[c.MILES_MI] < FEW_MILES * usual].to_dict("records"):
        notes.append(
            f"{row[c.TRUCK_UNIT]} ({result.label(row[c.EDGE_TYPE])}) was read over "
            f"{fixed(display.value(row[c.MILES_MI], 'mi'), 0)} {display.word('miles')}, far fewer than the others; its slope is "
            "uncertain and counts like theirs."
        )
    moved = result.sets.groupby(c.SET_ID, observed=True)[c.TRUCK_UNIT].nunique()
    notes += [
        f"Set {name} was on {counted(int(n), 'truck position')} and counts on each of them."
        for name, n in moved[moved > 1].items()
    ]
    rose = result.trucks[result.trucks[c.ESTIMATE] < 0]
    if len(rose):
        which = [
            f"{unit} ({result.label(kind)})"
            for unit, kind in zip(rose[c.TRUCK_UNIT], rose[c.EDGE_TYPE], strict=True)
        ]
        more = f" and {len(rose) - 5} more" if len(rose) > 5 else ""
        notes.append(
            f"{counted(len(rose), 'truck')} with a rising height: {listed(which[:5])}{more}. Reading error does that when "
            "there is next to no wear; otherwise a change was not logged. They count like all others."
        )
    return notes
