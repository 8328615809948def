"""Miles to the discard limit, projected from the wear rates.

Answers: how many blade-down miles does a set of this type last, how long may the next one last, and how many times as
long as the reference?

Life is usable depth over the rate of the spot that takes the set off, truck by truck (`controlling` finds that rate and
takes the luck of the largest off). Usable depths differ by type, so a ratio of wear rates is not a ratio of lives. The
life stated is the *life at the mean rate*: what a fleet gets from a set on average over equal miles on every truck. The
mean of the trucks' lives is longer by about one plus the squared spread between trucks, and would flatter.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from trialkit import columns as c
from trialkit import display
from trialkit.edges import controlling as ct
from trialkit.edges import slopes as sl
from trialkit.edges.profile import FALL_IN, segment_falls
from trialkit.edges.wear import WearRates
from trialkit.errors import UsageError, near_match
from trialkit.formatting import (
    counted,
    fixed,
    level_percent,
    level_words,
    listed,
    miles_decimals,
    percent,
    position_words,
    range_span,
    sentence_case,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.inference import Sample, mean_interval, two_sided_tail
from trialkit.table_parts import NO, SECTION, SET, YES

BASIS_WORDS = {
    SET: "thinnest spot of each set, life at the mean rate",
    SECTION: "each section by itself, life at the mean rate",
}
STATION_MEAN_MI = "station_mean_mi"
KEPT_PCT = "kept_pct"
DEPTH_READ_PCT = "depth_read_pct"
DEPTH_READ_IN = "depth_read_in"
LIFE_MI = "life_mi"
LIFE_UNIT = "mi"

MOSTLY_ERROR_PCT = 70
"""Below this share of the measured excess the notes say that reading error makes up the rest."""


@dataclass(frozen=True, eq=False)
class LifeProjection(Labelled):
    """Projected life of a set of each edge type on each plow position. [mi]

    Attributes
    ----------
    table : DataFrame
        One row per plow position and edge type: `edge_type`, `plow_position`, `estimate`, `conf_low`, `conf_high` (life
        at the mean rate), `pred_low`, `pred_high` (where the life of one next set lies), `unit`, `basis`, `bounded`
        (whether the interval has an upper end), `n_trucks`, `n_sets`, `usable_depth_in`, `station_mean_mi` (what the
        mean of the stations would give), `kept_pct` (share of the thinnest spot's excess that is not reading error),
        `depth_read_pct` (deepest wear read, in percent of the usable depth). Ends that do not exist are missing.
    trucks : DataFrame
        `plow_position`, `edge_type`, `truck_unit`, `truck_id`, `n_sets`, `use_per_1000_mi` and `life_mi` of each truck.
    sets : DataFrame
        The same for each set, with `largest_station`, the thinnest as measured, and `depth_read_pct`.
    confidence_level : float
        Two-sided level of every interval.
    reference : str
        Edge type with which the others are compared.
    labels : dict
        Edge type to the name that sentences print.
    samples : dict
        (plow position, edge type) to the sample of the trucks' use: sets, or sections, used up per 1,000 miles at each
        place. Its mean is 1,000 over the life.
    """

    trucks: pd.DataFrame
    sets: pd.DataFrame
    confidence_level: float
    reference: str
    labels: Mapping[str, str]
    samples: Mapping[tuple[str, str], Sample] = field(repr=False)

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The lives in words."""
        return " ".join(self.sentences()) or "No life can be projected: there is no wear rate."

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        piece = "section" if row[c.BASIS] == BASIS_WORDS[SECTION] else "set"
        who = f"a {piece} of {self.label(row[c.EDGE_TYPE])}"
        where = f"On {position_words(row[c.PLOW_POSITION])}, {who}"
        life, low, high = (
            display.value(row[name], LIFE_UNIT) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        miles = display.word("miles")
        trucks = counted(int(row[c.N_TRUCKS]), "truck")
        level = level_words(self.confidence_level)
        if not math.isfinite(low):
            if row[c.N_TRUCKS] == 0:
                return f"{where} has no projected life: no set has two readings at different {miles}."
            if not math.isfinite(life):
                return f"{where} has no projected life: no wear was measured ({trucks})."
            return f"{where} is projected to last {fixed(life, miles_decimals(life, life, math.inf))} {miles} ({trucks}; no interval)."
        places = miles_decimals(life, low, high)
        next_one = self._next(row, piece)
        if not math.isfinite(high):
            return f"{where} lasts {span(low, high, places)} {miles} ({level}; {trucks}).{next_one}"
        return f"{where} lasts {fixed(life, places)} {miles} ({level} {span(low, high, places)}; {trucks}).{next_one}"

    def _next(self, row: dict[Hashable, Any], piece: str) -> str:
        low, high = (display.value(row[name], LIFE_UNIT) for name in (c.PRED_LOW, c.PRED_HIGH))
        return f" The next {piece} may last {range_span(low, high)} {display.word('miles')}."


def project_life(rates: WearRates, readings: pd.DataFrame, edge_types: pd.DataFrame) -> LifeProjection:
    """Project the miles that a set of each type lasts until its discard limit.

    Use it for the headline life and for one next set. Not for sets that break or are lost first (`observed` counts
    those), and not beyond the usable depth, where an insert edge is plain steel.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    readings : DataFrame
        The frame that `rates` was fitted to.
    edge_types : DataFrame
        Columns `edge_type`, `usable_depth_in` [in]; `replaced_as` ("set" or "section"; blank is "set") if there is one.

    Returns
    -------
    LifeProjection

    Raises
    ------
    UsageError
        If an edge type that was read is not in `edge_types`, or has no usable depth.

    Notes
    -----
    With r_i the rate of truck i and D the usable depth, the life at the mean rate is ``D / mean(r_i)``; its ends are D
    over the ends of the t interval of the mean rate, n - 1 degrees of freedom. Where the lower end of the rate is not
    above zero there is no upper end of the life: it is "at least" the lower one.

    A set replaced as a whole: r_i is the rate of its thinnest spot (`controlling.correct_largest`). Sections replaced
    singly: r_i is the mean over the stations, and the next section also varies as stations do.

    Next set: ``mean +- t sqrt(s^2 + SE^2 + e)``, where e is the variance between sets of one truck (or between
    stations) that averaging takes out of s^2; degrees of freedom by Satterthwaite, but never narrower than the interval of the mean. Reading error is part of s, so that
    for a type that hardly wears the limits are wider than the lives themselves scatter.

    Straight-line wear is assumed from new to the limit. `depth_read_pct` says how much of that was read.
    """
    depth, replaced = _read_edge_types(rates, edge_types)
    falls = segment_falls(readings)
    stations = ct.station_slopes(readings, rates)
    sets = _with_depth_read(ct.set_rates(stations, rates), falls)
    rows, samples, truck_parts, set_parts = [], {}, [], []
    for row in rates.table.to_dict("records"):
        place, kind = row[c.PLOW_POSITION], row[c.EDGE_TYPE]
        here = sets[(sets[c.PLOW_POSITION] == place) & (sets[c.EDGE_TYPE] == kind)]
        cell = _project_cell(here, depth[kind], replaced[kind], rates.confidence_level)
        rows.append({c.EDGE_TYPE: kind, c.PLOW_POSITION: place, **cell.row})
        samples[place, kind] = cell.sample
        truck_parts.append(cell.trucks)
        set_parts.append(cell.sets)
    table = pd.DataFrame(rows, columns=TABLE_COLUMNS)
    result = LifeProjection(
        table=table,
        method=_method(rates.confidence_level),
        notes=(),
        trucks=pd.concat(truck_parts, ignore_index=True)
        if truck_parts
        else pd.DataFrame(columns=TRUCK_COLUMNS),
        sets=pd.concat(set_parts, ignore_index=True) if set_parts else pd.DataFrame(columns=SET_COLUMNS),
        confidence_level=rates.confidence_level,
        reference=rates.reference,
        labels=rates.labels,
        samples=samples,
    )
    return replace(result, notes=tuple(_notes(result)))


TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH, c.UNIT, c.BASIS,
    c.BOUNDED, c.N_TRUCKS, c.N_SETS, c.USABLE_DEPTH_IN, STATION_MEAN_MI, KEPT_PCT, DEPTH_READ_PCT,
]  # fmt: skip
TRUCK_COLUMNS = [*sl.UNIT_KEYS, c.N_SETS, c.USE_PER_1000_MI, LIFE_MI]
SET_COLUMNS = [
    *sl.SET_KEYS, sl.N_STATIONS, ct.LARGEST_STATION, c.MILES_MI, c.USE_PER_1000_MI, LIFE_MI, DEPTH_READ_PCT,
]  # fmt: skip


def _with_depth_read(sets: pd.DataFrame, falls: pd.DataFrame) -> pd.DataFrame:
    """The sets with the deepest wear read in one of their segments, running-in included. [in]"""
    deepest = falls.groupby(sl.SET_KEYS, observed=True, sort=False)[FALL_IN].max().rename(DEPTH_READ_IN)
    plain = deepest.reset_index().astype(dict.fromkeys(sl.SET_KEYS, object))
    found = sets[sl.SET_KEYS].astype(object).merge(plain, on=sl.SET_KEYS, how="left")
    return sets.assign(**{DEPTH_READ_IN: found[DEPTH_READ_IN].to_numpy()})


# ---------------------------------------------------------------- one edge type on one plow position
@dataclass(frozen=True, eq=False)
class _Cell:
    row: dict[str, Any]
    sample: Sample
    trucks: pd.DataFrame
    sets: pd.DataFrame


def _read_edge_types(rates: WearRates, edge_types: pd.DataFrame) -> tuple[dict[str, float], dict[str, str]]:
    """Usable depth of each edge type that was read, and whether it is replaced as a set or by section."""
    known = edge_types.assign(**{c.EDGE_TYPE: edge_types[c.EDGE_TYPE].astype(object)}).set_index(c.EDGE_TYPE)
    depth, replaced = {}, {}
    for kind in dict.fromkeys(rates.table[c.EDGE_TYPE]):
        if kind not in known.index:
            hint = near_match(kind, [str(name) for name in known.index])
            raise UsageError(f'Edge type "{kind}" was read but is not in edge_types. {hint}'.rstrip())
        found = float(known.loc[kind, c.USABLE_DEPTH_IN])
        if not found > 0:
            raise UsageError(f'Edge type "{kind}" has the usable depth {found:g} in; it must be above 0.')
        depth[kind] = found
        how = known.loc[kind, c.REPLACED_AS] if c.REPLACED_AS in known else None
        replaced[kind] = SECTION if how == SECTION else SET
    return depth, replaced


def _project_cell(sets: pd.DataFrame, depth_in: float, replaced_as: str, confidence_level: float) -> _Cell:
    """Life on one plow position; `sets` are the sets of one edge type there, with their rates."""
    truck, trucks = sl.grouped(sets, sl.UNIT_KEYS)
    n, miles = len(trucks), sets[c.MILES_MI].to_numpy(dtype=float)
    share = miles / np.maximum(np.bincount(truck, miles, n)[truck], 1e-300)

    def by_truck(values: Any, power: int = 1) -> np.ndarray:
        return np.bincount(truck, share**power * np.asarray(values, dtype=float), n)

    mean, largest = (sets[name].to_numpy(dtype=float) for name in (c.ESTIMATE, ct.LARGEST))
    found = ct.correct_largest(
        by_truck(mean),
        by_truck(largest),
        by_truck(sets[ct.NOISIER]),
        _mean(by_truck(sets[ct.LARGEST_FLOOR], 2)),
        _mean(by_truck(sets[ct.LARGEST_BOUND])),
    )
    if replaced_as == SECTION:
        used, of_set = by_truck(mean), mean
        floor, bound = by_truck(sets[sl.ROUNDING_VARIANCE], 2), by_truck(sets[c.ROUNDING_BOUND])
        sample = replace(_plain_sample(used), variance_floor=_mean(floor), bound=_mean(bound))
    else:
        used, sample = found.values, found.sample
        of_set = mean + found.kept * (largest - mean)
    averaged_out = [_between_sets(truck, of_set, n)]
    if replaced_as == SECTION:
        averaged_out.append(_between_stations(sets))
    row = {
        **_life_columns(sample, used, averaged_out, depth_in, confidence_level),
        c.UNIT: LIFE_UNIT,
        c.BASIS: BASIS_WORDS[replaced_as],
        c.N_TRUCKS: n,
        c.N_SETS: sets[c.SET_ID].nunique(),
        c.USABLE_DEPTH_IN: depth_in,
        STATION_MEAN_MI: _life_mi(_mean(by_truck(mean)), depth_in),
        KEPT_PCT: 100 * found.kept if replaced_as == SET and (largest > mean).any() else math.nan,
        DEPTH_READ_PCT: 100 * float(sets[DEPTH_READ_IN].max()) / depth_in if n else math.nan,
    }
    trucks = trucks.assign(**{c.N_SETS: np.bincount(truck, minlength=n), **_use_columns(used, depth_in)})
    sets = sets.assign(
        **_use_columns(of_set, depth_in), **{DEPTH_READ_PCT: 100 * sets[DEPTH_READ_IN] / depth_in}
    )
    return _Cell(row, _scaled(sample, depth_in), trucks[TRUCK_COLUMNS], sets[SET_COLUMNS])


def _life_columns(
    sample: Sample,
    used: np.ndarray,
    averaged_out: list[tuple[float, float]],
    depth_in: float,
    confidence_level: float,
) -> dict[str, Any]:
    """Life with its interval, and the limits of the next one, from the rates of the trucks."""
    rate = mean_interval(sample, confidence_level)
    found: dict[str, Any] = {
        c.ESTIMATE: _life_mi(sample.mean, depth_in),
        c.CONF_LOW: _life_mi(rate.conf_high, depth_in),
        c.CONF_HIGH: _life_mi(rate.conf_low, depth_in),
        c.PRED_LOW: math.nan,
        c.PRED_HIGH: math.nan,
    }
    found[c.BOUNDED] = YES if math.isfinite(found[c.CONF_HIGH]) else NO
    squared_error = float(sample.variance_of_mean)
    if math.isfinite(squared_error):
        own = max(float(used.var(ddof=1)), float(sample.variance_floor)) + squared_error
        parts = [(own, float(sample.df)), *averaged_out]
        variance = sum(part for part, _ in parts)
        df = variance**2 / sum(part**2 / free for part, free in parts)
        half = float(stdtrit(df, 1 - two_sided_tail(confidence_level))) * math.sqrt(variance) + float(
            sample.bound
        )
        if math.isfinite(
            rate.conf_high
        ):  # with two or three trucks, more degrees of freedom must not make it narrower
            half = max(half, rate.conf_high - sample.mean)
        found[c.PRED_LOW] = _life_mi(sample.mean + half, depth_in)
        found[c.PRED_HIGH] = _life_mi(sample.mean - half, depth_in)
    return found


def _between_sets(truck: np.ndarray, of_set: np.ndarray, n: int) -> tuple[float, float]:
    """Variance between the sets of one truck that averaging them takes out of the trucks' spread, and its df."""
    count = np.bincount(truck, minlength=n)
    df = float((count - 1).sum())
    if df < 1:
        return 0.0, 1.0
    middle = np.bincount(truck, of_set, n) / count
    return float(((of_set - middle[truck]) ** 2).sum() / df * (1 - (1 / count).mean())), df


def _between_stations(sets: pd.DataFrame) -> tuple[float, float]:
    """Variance between the stations of one set, beyond reading error, that their mean takes out, and its df."""
    count = sets[sl.N_STATIONS].to_numpy(dtype=float)
    df = float((count - 1).sum())
    if df < 1:
        return 0.0, 1.0
    pooled = float(np.nansum(sets[ct.BETWEEN_STATIONS] * (count - 1)) / df)
    return max(pooled, 0.0) * (1 - float((1 / count).mean())), df


def _plain_sample(values: np.ndarray) -> Sample:
    return Sample(_mean(values), float(values.var(ddof=1)) if len(values) > 1 else math.nan, len(values))


def _scaled(sample: Sample, depth_in: float) -> Sample:
    """The sample of rates as shares of the usable depth: sets used per 1,000 miles."""
    mean, variance, floor, bound = sample.mean, sample.variance, sample.variance_floor, sample.bound
    return Sample(mean / depth_in, variance / depth_in**2, sample.n, floor / depth_in**2, bound / depth_in)


def _use_columns(rate: np.ndarray, depth_in: float) -> dict[str, np.ndarray]:
    return {c.USE_PER_1000_MI: rate / depth_in, LIFE_MI: np.array([_life_mi(one, depth_in) for one in rate])}


def _life_mi(rate: float, depth_in: float) -> float:
    """Miles until the depth is worn off; missing if the rate is not above zero. [mi]"""
    return 1000.0 * depth_in / rate if rate > 0 else math.nan


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if len(values) else math.nan


# ---------------------------------------------------------------- words
def _method(confidence_level: float) -> str:
    return (
        "Usable depth over the mean rate of the spot that takes a set off (the thinnest of the set, with the luck of the "
        "largest of several measured slopes taken off; the mean of the sections where they are replaced singly), the "
        f"truck as the unit, ends by the {level_percent(confidence_level)} t interval of that rate. The next set: t prediction "
        "limits of the trucks' rates. The estimate is the life at the mean rate, not the mean of the lives."
    )


def _notes(result: LifeProjection) -> list[str]:
    """Caveats that the lives must carry."""
    notes: list[str] = []
    for row in result.table.to_dict("records"):
        who = sentence_case(f"{result.label(row[c.EDGE_TYPE])} on {position_words(row[c.PLOW_POSITION])}")
        notes.extend(f"{who}: {what}" for what in _row_notes(row))
    single = result.sets[result.sets[sl.N_STATIONS] == 1]
    if len(single):
        names = [str(name) for name in single[c.SET_ID].unique()]
        more = f" and {len(names) - 5} more" if len(names) > 5 else ""
        notes.append(
            f"{counted(len(names), 'set was', 'sets were')} read at a single station ({listed(names[:5])}{more}); a thinner "
            "spot elsewhere would not be seen, and their life may be shorter than stated."
        )
    return notes


def _row_notes(row: dict[Hashable, Any]) -> list[str]:
    notes: list[str] = []
    if row[c.N_TRUCKS] == 1:
        notes.append("one truck, so the life has no interval.")
    if not math.isfinite(row[c.ESTIMATE]):
        notes.append("no wear was measured, so there is no estimate of the life.")
    elif math.isfinite(row[c.CONF_LOW]) and row[c.BOUNDED] == NO:
        notes.append("the readings set no upper end to the life; only the lower one is stated.")
    read = row[DEPTH_READ_PCT]
    if read > 105:
        notes.append(
            f"the deepest reading is {percent(read)} of the usable depth; wear beyond the discard limit is in the rate, though it "
            "is no part of a life."
        )
    elif read < 95:
        notes.append(
            f"the deepest wear read is {percent(read)} of the usable depth; the life holds if wear goes on in a straight line."
        )
    if row[KEPT_PCT] < MOSTLY_ERROR_PCT:
        notes.append(
            f"of the thinnest spot's excess over the mean of the stations {percent(row[KEPT_PCT])} is taken as real; the rest "
            "is what picking the largest of several readings with error gives."
        )
    return notes
