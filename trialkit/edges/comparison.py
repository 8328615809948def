"""Edge types set against the reference.

Answers: how many times slower does each edge type wear than the reference, and how much is that in inches?

The trucks of `wear` are the units. A truck position that carried both types is compared with itself.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges import slopes as sl
from trialkit.edges.against_reference import (
    DIFFERENCE_METHOD,
    NO_INTERVAL,
    ONE_TRUCK,
    PAIRED,
    PAIRS_IGNORED,
    PAIRS_ONLY,
    PART_PAIRED,
    AgainstReference,
    methods,
)
from trialkit.edges.wear import RATE_UNIT, WearRates, edge_type_order, sample_of_slopes
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    position_words,
    ratio_ends,
    ratio_number,
    sentence_case,
)
from trialkit.stats import ratios
from trialkit.stats.inference import Pairing, Sample, difference_interval, holm_adjusted
from trialkit.stats.ratios import RatioSet, ratio_set
from trialkit.table_parts import NO, YES

_REFERENCE_SLOPE = "reference_slope"


@dataclass(frozen=True, eq=False)
class WearComparison(AgainstReference):
    """Wear of each edge type against the reference, on each plow position.

    Attributes
    ----------
    table : DataFrame
        How many times slower the type wears (reference wear / its wear): `edge_type`, `reference`, `plow_position`,
        `estimate`, `conf_low`, `conf_high` (missing where there is no upper end), `bounded` (yes or no), `method`,
        `p_value` and `p_holm` (of no difference), `n_trucks`, `n_trucks_reference`, `n_pairs`.
    differences : DataFrame
        Reference wear minus its wear: `edge_type`, `reference`, `plow_position`, `estimate`, `std_error`, `df`,
        `conf_low`, `conf_high`, `unit`, `p_value`, `p_holm`, `method`.
    alternatives : DataFrame
        Where only some trucks carried both types: the same ratio from those trucks alone, and from all trucks as if
        none were shared, with the columns of `table` up to `method`.
    confidence_level, labels
        As of `AgainstReference`; two-sided.
    """

    differences: pd.DataFrame
    alternatives: pd.DataFrame

    def _sentence(self, row: dict[Hashable, Any], say_place: bool) -> str:
        type_, reference = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        place = f"on {position_words(row[c.PLOW_POSITION])}, " if say_place else ""
        start = sentence_case(f"{place}{type_}")
        ratio, low, high = row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]
        level = level_words(self.confidence_level)
        best = f"best estimate {ratio_number(ratio)}; " if math.isfinite(ratio) and ratio >= 1 else ""
        if row[c.METHOD] in (ONE_TRUCK, NO_INTERVAL):
            if not ratio > 0:
                return f"{start} cannot be set against {reference}: no wear ratio can be given."
            pace, times = ("slower", ratio) if ratio >= 1 else ("faster", 1 / ratio)
            trucks = counted(int(min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE])), "truck")
            return f"{start} wore {ratio_number(times)} times {pace} than {reference}, but {trucks} cannot show how sure that is."
        if not math.isfinite(low):
            return f"{start} cannot be set against {reference}: heights rose, and wear cannot be negative."
        if not math.isfinite(high):
            if low > 1:
                return f"{start} wears at least {ratio_number(low)} times slower than {reference} ({best}{level} without an upper end)."
            said = sentence_case(f"{place}the trial cannot tell how {type_} wears against {reference}")
            if low > 0:
                return f"{said}: it may wear up to {ratio_number(1 / low)} times faster, or slower without a limit ({level})."
            return f"{said}: any ratio of their wear fits the readings ({level})."
        if low > 1:
            return f"{start} wears {_between(low, high)} slower than {reference} ({best}{level})."
        if high < 1:
            best = f"best estimate {ratio_number(1 / ratio)}; " if ratio > 0 else ""
            ends = _between(1 / high, 1 / low) if low > 0 else f"at least {ratio_number(1 / high)} times"
            return f"{start} wears {ends} faster than {reference} ({best}{level})."
        slow = f"up to {ratio_number(high)} times slower"
        fast = f"up to {ratio_number(1 / low)} times faster" if low > 0 else "faster without a limit"
        said = sentence_case(f"{place}no difference in wear between {type_} and {reference} is shown")
        return f"{said}: it may wear {fast} or {slow} ({level})."


def compare_edge_types(rates: WearRates, reference: str | None = None) -> WearComparison:
    """Compare the wear of each edge type with that of the reference, position by position.

    Use it for "how many times slower". Do not read it as a ratio of lives: usable depths differ by type.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    reference : str, optional
        Edge type to compare with; that of `rates` otherwise.

    Returns
    -------
    WearComparison
        Without rows if no other type shares a plow position with the reference.

    Raises
    ------
    UsageError
        If the reference is not among the edge types.

    Notes
    -----
    Differences and ratios come from one test (`inference.difference_interval`, `ratios.ratio_set`), so that they never
    disagree on whether there is a difference. Trucks that carried both types enter as pairs. Holm's adjustment is over
    the edge types of a plow position. A ratio without an upper end is given as its lower end alone.
    """
    order = edge_type_order(rates.table[c.EDGE_TYPE], reference or rates.reference or None)
    chosen = order[0] if order else ""
    table = _rows(rates.table, chosen)
    codes, cells = sl.grouped(rates.trucks, sl.CELL)
    known = sample_of_slopes(rates.trucks, codes, len(cells), rates.confidence_level)
    of_type = _picked(known, cells, table[c.PLOW_POSITION], table[c.EDGE_TYPE])
    of_reference = _picked(known, cells, table[c.PLOW_POSITION], table[c.REFERENCE])
    pairs = _pairs(rates.trucks, table)
    difference = difference_interval(of_reference, of_type, pairs, rates.confidence_level)
    ratio = ratio_set(of_reference, of_type, pairs, rates.confidence_level).known_non_negative(of_type.mean)
    method = methods(of_type.n, of_reference.n, pairs.n, np.isfinite(difference.std_error))

    counts = {c.N_TRUCKS: of_type.n, c.N_TRUCKS_REFERENCE: of_reference.n, c.N_PAIRS: pairs.n}
    tests = {
        c.P_VALUE: difference.p_value,
        c.P_HOLM: _holm_by_position(table[c.PLOW_POSITION], difference.p_value),
    }
    differences = table.assign(
        **{
            c.ESTIMATE: difference.estimate,
            c.STD_ERROR: difference.std_error,
            c.DF: difference.df,
            c.CONF_LOW: difference.conf_low,
            c.CONF_HIGH: difference.conf_high,
            c.UNIT: RATE_UNIT,
            **tests,
            c.METHOD: [DIFFERENCE_METHOD[name] for name in method],
        }
    )
    part = method == PART_PAIRED
    table = table.assign(
        **_ratio_columns(ratio),
        **{c.METHOD: method},
        **tests,
        **{k: v.astype(int) for k, v in counts.items()},
    )
    result = WearComparison(
        table=table,
        method=_method(rates.confidence_level),
        notes=(),
        differences=differences,
        alternatives=_alternatives(rates, table[part]),
        confidence_level=rates.confidence_level,
        labels=rates.labels,
    )
    return replace(result, notes=tuple(_notes(result, rates, chosen, ratio)))


# ---------------------------------------------------------------- what is compared
def _rows(rates: pd.DataFrame, reference: str) -> pd.DataFrame:
    """Keys of the comparisons: every other type on a plow position that the reference is on too."""
    kind = rates[c.EDGE_TYPE].astype(object)
    places = set(rates.loc[(kind == reference) & (rates[c.N_TRUCKS] > 0), c.PLOW_POSITION])
    rows = rates[(kind != reference) & rates[c.PLOW_POSITION].isin(places)]
    rows = rows[[c.EDGE_TYPE, c.PLOW_POSITION]].reset_index(drop=True)
    rows.insert(1, c.REFERENCE, reference)
    return rows


def _picked(known: Sample, cells: pd.DataFrame, places: pd.Series, types: pd.Series) -> Sample:
    """The samples of these plow positions and edge types; an empty one where there is none."""
    index = pd.MultiIndex.from_arrays([cells[name].astype(object) for name in sl.CELL])
    at = index.get_indexer(pd.MultiIndex.from_arrays([places.astype(object), types.astype(object)]))

    def taken(values: Any, otherwise: float) -> np.ndarray:
        return np.append(np.asarray(values, dtype=float), otherwise)[at]

    return Sample(
        taken(known.mean, np.nan),
        taken(known.variance, np.nan),
        taken(known.n, 0.0),
        taken(known.variance_floor, 0.0),
        taken(known.bound, 0.0),
    )


def _paired_slopes(trucks: pd.DataFrame, table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row of `table`, slope with its type and slope with the reference for each truck that carried both."""
    keys = [c.PLOW_POSITION, c.TRUCK_UNIT]
    plain = trucks[[*keys, c.EDGE_TYPE, c.ESTIMATE]].astype(dict.fromkeys((*keys, c.EDGE_TYPE), object))
    rows = (
        table[[c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION]]
        .astype(object)
        .assign(**{c.ROW: np.arange(len(table))})
    )
    mine = plain.merge(rows, on=[c.PLOW_POSITION, c.EDGE_TYPE])
    others = plain.rename(columns={c.EDGE_TYPE: c.REFERENCE, c.ESTIMATE: _REFERENCE_SLOPE})
    both = mine.merge(others, on=[*keys, c.REFERENCE])
    return both[c.ROW].to_numpy(dtype=int), both[c.ESTIMATE].to_numpy(), both[_REFERENCE_SLOPE].to_numpy()


def _pairs(trucks: pd.DataFrame, table: pd.DataFrame) -> Pairing:
    """Number of trucks that carried both types, and the correlation of their slopes, for each row of `table`."""
    row, x, y = _paired_slopes(trucks, table)
    n = np.bincount(row, minlength=len(table))
    dx, dy = (v - (np.bincount(row, v, len(table)) / np.maximum(n, 1))[row] for v in (x, y))
    xx, xy, yy = (np.bincount(row, v, len(table)) for v in (dx * dx, dx * dy, dy * dy))
    spread = np.sqrt(xx * yy)
    return Pairing(n, np.divide(xy, spread, out=np.zeros(len(table)), where=spread > 0))


def _moments(
    codes: np.ndarray, values: np.ndarray, n_groups: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean, sample variance and number of the values of each group."""
    n = np.bincount(codes, minlength=n_groups)
    mean = np.bincount(codes, values, n_groups) / np.maximum(n, 1)
    squares = np.bincount(codes, (values - mean[codes]) ** 2, n_groups)
    return mean, np.where(n > 1, squares / np.maximum(n - 1, 1), np.nan), n


def _ratio_columns(ratio: RatioSet) -> dict[str, Any]:
    bounded = np.where(np.asarray(ratio.kind) == ratios.BOUNDED, YES, NO)
    return {
        c.ESTIMATE: ratio.estimate,
        c.CONF_LOW: ratio.conf_low,
        c.CONF_HIGH: ratio.conf_high,
        c.BOUNDED: bounded,
    }


def _holm_by_position(places: pd.Series, p_values: np.ndarray) -> np.ndarray:
    adjusted = np.full(len(places), np.nan)
    for rows in places.groupby(places.astype(object), sort=False).indices.values():
        adjusted[rows] = holm_adjusted(p_values[rows])
    return adjusted


def _alternatives(rates: WearRates, partly: pd.DataFrame) -> pd.DataFrame:
    """The ratio by the shared trucks alone and by all trucks as if none were shared."""
    names = [
        c.EDGE_TYPE,
        c.REFERENCE,
        c.PLOW_POSITION,
        c.ESTIMATE,
        c.CONF_LOW,
        c.CONF_HIGH,
        c.BOUNDED,
        c.METHOD,
    ]
    if partly.empty:
        return pd.DataFrame(columns=names)
    table = partly[names[:3]].reset_index(drop=True)
    codes, cells = sl.grouped(rates.trucks, sl.CELL)
    known = sample_of_slopes(rates.trucks, codes, len(cells), rates.confidence_level)
    of_type = _picked(known, cells, table[c.PLOW_POSITION], table[c.EDGE_TYPE])
    of_reference = _picked(known, cells, table[c.PLOW_POSITION], table[c.REFERENCE])
    as_separate = ratio_set(of_reference, of_type, None, rates.confidence_level).known_non_negative(
        of_type.mean
    )
    row, x, y = _paired_slopes(rates.trucks, table)
    of_type, of_reference = (
        Sample(*_moments(row, values, len(table)), known.variance_floor, known.bound)
        for values, known in ((x, of_type), (y, of_reference))
    )
    pairs = _pairs(rates.trucks, table)
    pairs_only = ratio_set(of_reference, of_type, pairs, rates.confidence_level).known_non_negative(
        of_type.mean
    )
    return pd.concat(
        [
            table.assign(**_ratio_columns(found), **{c.METHOD: how})[names]
            for found, how in ((pairs_only, PAIRS_ONLY), (as_separate, PAIRS_IGNORED))
        ],
        ignore_index=True,
    )


# ---------------------------------------------------------------- words
def _between(low: float, high: float) -> str:
    """Two ends in as few digits as tell them apart."""
    first, last = ratio_ends(low, high)
    return f"between {first} and {last} times"


def _method(confidence_level: float) -> str:
    return (
        "Ratio of the reference's mean truck slope to the type's, by inverting the t test of equality (Fieller's set, "
        f"Welch's degrees of freedom) at {level_percent(confidence_level)}; trucks that carried both types are paired; "
        "Holm's adjustment over the edge types of a plow position."
    )


def _notes(result: WearComparison, rates: WearRates, reference: str, ratio: RatioSet) -> list[str]:
    """Caveats that the comparison must carry."""
    notes = []
    kind = rates.table[c.EDGE_TYPE].astype(object)
    alone = rates.table[
        (kind != reference) & ~rates.table[c.PLOW_POSITION].isin(result.table[c.PLOW_POSITION])
    ]
    for row in alone.to_dict("records"):
        notes.append(
            f"{sentence_case(result.label(row[c.EDGE_TYPE]))} on {position_words(row[c.PLOW_POSITION])} is not compared: "
            f"{result.label(reference)} has no wear rate there."
        )
    for row, read_as in zip(result.table.to_dict("records"), np.atleast_1d(ratio.kind), strict=True):
        who = f"{sentence_case(result.label(row[c.EDGE_TYPE]))} against {result.label(reference)} on {position_words(row[c.PLOW_POSITION])}"
        notes.extend(f"{who}: {what}" for what in _row_notes(row, str(read_as)))
    return notes


def _row_notes(row: dict[Hashable, Any], kind: str) -> list[str]:
    method, pairs = row[c.METHOD], row[c.N_PAIRS]
    fewest = min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE])
    notes = []
    if fewest < 2:
        return [
            f"{'one truck' if fewest else 'no truck'} with a wear rate for one of them, so no interval is given."
        ]
    if method == NO_INTERVAL:
        return ["the readings show no error and no resolution is recorded, so no interval is given."]
    if method == PAIRED:
        notes.append(
            f"the same {counted(pairs, 'truck')} carried both, so each truck is compared with itself."
        )
    elif method == PART_PAIRED:
        notes.append(
            f"{counted(pairs, 'truck')} carried both and the others one; both kinds of comparison are used."
        )
    elif method == PAIRS_IGNORED:
        notes.append(
            f"{counted(pairs, 'truck')} carried both, too few to make use of it; trucks are taken as different."
        )
    if kind == ratios.AT_LEAST:
        notes.append("the ratio has no upper end with these readings; only its lower end is stated.")
    elif kind == ratios.UNKNOWN:
        notes.append("any ratio of wear is possible with these readings.")
    elif kind == ratios.NONE:
        notes.append("a height rose on average by more than chance allows, so no ratio of wear can be given.")
    return notes
