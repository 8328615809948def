"""The same comparison in other ways.

Answers: does the finding stand with one model of all shifts instead of truck averages, when surface and lane-miles are taken
into account, or when shifts with none are counted?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.clearing.differences import (
    codes_of,
    difference_columns,
    direction,
    estimate_column,
    sums_of,
    type_codes,
    unit_of,
)
from trialkit.clearing.measures import RATIO, Measure
from trialkit.clearing.selection import VALUE, ZERO, Selection, select_shifts
from trialkit.stats.blocked import fit_blocked
from trialkit.stats.inference import Pairing, Sample, two_sided_tail
from trialkit.stats.ratios import BOUNDED, ratio_set
from trialkit.stats.two_stage import BlockedDifferences, fit_differences, fit_two_stage
from trialkit.stats.two_way import relative_use
from trialkit.table_parts import NO, YES

TWO_STAGES = "each truck averaged first"
ONE_MODEL = "one model of all shifts"
WITH_NONE = "shifts with none included"
ADJUSTED = "adjusted for"
COVARIATE_WORDS = {c.LANE_MILES_TREATED: "lane-miles", c.SURFACE: "surface"}
_BLANK = "not recorded"


@dataclass(frozen=True, eq=False)
class Variants:
    """The comparison in other ways.

    Attributes
    ----------
    table : DataFrame
        One row per way and edge type: `variant`, `edge_type`, `reference`, `measure`, `material`, `estimate_pct` (or
        `estimate`), `conf_low`, `conf_high`, `unit`, `p_value`, `df`, `agree`.
    notes : tuple of str
        What could not be taken into account.
    """

    table: pd.DataFrame
    notes: tuple[str, ...]


def other_ways(
    chosen: Selection,
    shifts: pd.DataFrame,
    measure: Measure,
    headline: BlockedDifferences,
    table: pd.DataFrame,
    adjust_for: Sequence[str],
    confidence_level: float,
) -> Variants:
    """The comparison by the way that the headline did not take, adjusted, and with zeros.

    Parameters
    ----------
    chosen : Selection
        The shifts of the headline.
    shifts : DataFrame
        All shifts.
    measure : Measure
        What is compared.
    headline : BlockedDifferences
        How the headline was made.
    table : DataFrame
        The headline.
    adjust_for : sequence of str
        Columns to adjust for, where they are recorded.
    confidence_level : float
        Two-sided level.
    """
    tail = two_sided_tail(confidence_level)
    found: list[tuple[str, dict]] = []
    sums = sums_of(chosen.used, chosen.types, measure)
    way = fit_blocked if headline.units_first else fit_two_stage
    other = way(sums, confidence_level)
    name = ONE_MODEL if headline.units_first else TWO_STAGES
    found.append((name, difference_columns(other.estimate, other.std_error, other.df, measure, tail)))
    covariates, names, notes = _covariates(chosen.used, adjust_for)
    if names:
        sums = sums_of(chosen.used, chosen.types, measure, covariates)
        if sums.kept.any():
            fit = fit_differences(sums, confidence_level)
            words = " and ".join(COVARIATE_WORDS.get(name, name.replace("_", " ")) for name in names)
            columns = difference_columns(fit.estimate, fit.std_error, fit.df, measure, tail)
            found.append((f"{ADJUSTED} {words}", columns))
    if measure.scale == RATIO and (chosen.left_out[c.REASON] == ZERO).any():
        zeros = _with_none(shifts, measure, chosen.types, confidence_level)
        if zeros:
            found.append((WITH_NONE, zeros))
    column = estimate_column(measure)
    known = table.set_index(c.EDGE_TYPE).loc[list(chosen.types[1:])]
    single = known[c.CONF_LOW].isna().to_numpy()
    shown = direction(known[c.CONF_LOW], known[c.CONF_HIGH])
    rows = []
    for variant, columns in found:
        ends = {
            name: np.where(single, np.nan, columns[name])
            for name in (c.CONF_LOW, c.CONF_HIGH, c.P_VALUE, c.DF)
        }
        same = direction(ends[c.CONF_LOW], ends[c.CONF_HIGH]) == shown
        agree = np.where(np.isfinite(ends[c.CONF_LOW]), np.where(same, YES, NO), "")
        rows.append(
            pd.DataFrame(
                {
                    c.VARIANT: variant,
                    c.EDGE_TYPE: chosen.types[1:],
                    c.REFERENCE: chosen.types[0],
                    c.MEASURE: measure.name,
                    c.MATERIAL: measure.material,
                    column: columns[column],
                    c.CONF_LOW: ends[c.CONF_LOW],
                    c.CONF_HIGH: ends[c.CONF_HIGH],
                    c.UNIT: unit_of(measure),
                    c.P_VALUE: ends[c.P_VALUE],
                    c.DF: ends[c.DF],
                    c.AGREE: agree,
                }
            )
        )
    return Variants(pd.concat(rows, ignore_index=True), tuple(notes))


def _covariates(used: pd.DataFrame, adjust_for: Sequence[str]) -> tuple[np.ndarray, list[str], list[str]]:
    """Columns of the covariates, the names of those that are used, and what could not be used."""
    columns: list[np.ndarray] = []
    names, notes = [], []
    for name in adjust_for:
        word = COVARIATE_WORDS.get(name, name.replace("_", " "))
        known = used[name].notna() if name in used else pd.Series(False, used.index)
        if not known.any():
            notes.append(f"No {word} is recorded, so no adjustment for it could be made.")
            continue
        if pd.api.types.is_numeric_dtype(used[name]):
            known &= used[name] > 0
            logs = np.log(used[name].where(known).to_numpy(dtype=float))
            columns.append(np.where(known, logs, np.nanmean(logs)) if known.any() else np.zeros(len(used)))
            if not known.all():
                columns.append((~known).to_numpy(dtype=float))
        else:
            kinds = used[name].astype(object).where(known, _BLANK)
            columns.extend((kinds == kind).to_numpy(dtype=float) for kind in sorted(kinds.unique())[1:])
        names.append(name)
    return np.column_stack(columns) if columns else np.empty((len(used), 0)), names, notes


def _with_none(
    shifts: pd.DataFrame, measure: Measure, types: Sequence[str], confidence_level: float
) -> dict | None:
    """The comparison of totals, storm by storm, with shifts that used nothing."""
    chosen = select_shifts(shifts, measure, types[0], keep_zeros=True)
    used = chosen.used[chosen.used[c.EDGE_TYPE].isin(types)]
    over = used[measure.per].to_numpy(dtype=float) if measure.per else np.ones(len(used))
    kind = type_codes(used[c.EDGE_TYPE], types)
    truck = codes_of(used[c.TRUCK_ID])
    cells, cell = np.unique(truck * len(types) + kind, return_inverse=True)
    use = relative_use(used[VALUE].to_numpy(dtype=float) * over, over, codes_of(used[c.STORM_ID]), cell)
    of = [
        pd.Series(use[cells % len(types) == k], cells[cells % len(types) == k] // len(types))
        for k in range(len(types))
    ]
    found = []
    for mine in of[1:]:
        both = mine.index.intersection(of[0].index)
        pairs = Pairing.of(mine[both], of[0][both]) if len(both) else None
        found.append(ratio_set(Sample.of(mine), Sample.of(of[0]), pairs, confidence_level))
    bounded = np.array([each.kind == BOUNDED for each in found])
    ends = np.array([[each.estimate, each.conf_low, each.conf_high] for each in found], dtype=float)
    ends[:, 1:][~bounded] = np.nan
    pct = 100.0 * (ends - 1.0)
    return {
        estimate_column(measure): pct[:, 0],
        c.CONF_LOW: pct[:, 1],
        c.CONF_HIGH: pct[:, 2],
        c.P_VALUE: np.full(len(found), np.nan),
        c.DF: np.full(len(found), np.nan),
    }
