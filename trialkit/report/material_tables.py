"""The tables of material and clearing that leave the tool.

Answers: which rows and columns stand in material.csv, clearing.csv and their neighbors?

Values are unrounded and in canonical units: per cent, pounds, lane-miles, inches.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.clearing import rates, season_saving
from trialkit.clearing.comparison import ClearingComparison
from trialkit.clearing.differences import detectable_column, estimate_column
from trialkit.clearing.ratings import RatingComparison
from trialkit.formatting import sentence_case
from trialkit.report.material_records import MaterialRecords, kind_column

MATERIAL_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.MATERIAL, c.ESTIMATE_PCT, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_STORMS, c.N_SHIFTS, c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE, c.N_PAIRS, c.P_VALUE, c.P_HOLM, c.DF, c.DETECTABLE_PCT, c.METHOD, c.REASON,
]  # fmt: skip
CLEARING_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.MEASURE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_STORMS, c.N_SHIFTS, c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE, c.N_PAIRS, c.P_VALUE, c.P_HOLM, c.DF, c.DETECTABLE, c.METHOD, c.REASON,
]  # fmt: skip
RATE = c.RATE
RATE_LB_PER_LANE_MI = "rate_lb_per_lane_mi"
RATING_UNIT = "% of pairs won; 50 is even"
LANE_MI = season_saving.LANE_MI
SPREAD_COLUMNS = [
    c.EDGE_TYPE, c.MATERIAL, c.N_TRUCKS, c.N_STORMS, c.N_SHIFTS, rates.DRY_LB, LANE_MI, RATE_LB_PER_LANE_MI,
]  # fmt: skip


def spread_by_type(records: MaterialRecords | None) -> pd.DataFrame:
    """What each edge type spread in the season, by material, in all, and as chloride: totals and their ratio.

    Returns
    -------
    DataFrame
        One row per edge type and material (``"all"`` and ``"chloride"`` among them): n_trucks, n_storms, n_shifts, dry_lb [lb],
        lane_mi [lane-mi], rate_lb_per_lane_mi; of the shifts with that material and their lane-miles on record. Not a
        comparison: storms, routes and trucks differ.
    """
    if records is None:
        return pd.DataFrame(columns=SPREAD_COLUMNS)
    sources = [(rates.ALL_MATERIAL, rates.DRY_LB), (rates.CHLORIDE, rates.CHLORIDE_LB)]
    sources[1:1] = [(kind, kind_column(kind)) for kind in records.kinds]
    parts = []
    for material, column in sources:
        known = records.shifts[
            (records.shifts[column] > 0)
            & (records.shifts[c.LANE_MILES_TREATED] > 0)
            & records.shifts[c.EDGE_TYPE].notna()
        ]
        groups = known.groupby(c.EDGE_TYPE, observed=True, sort=True)
        found = groups.agg(
            **{
                c.N_TRUCKS: (c.TRUCK_ID, "nunique"),
                c.N_STORMS: (c.STORM_ID, "nunique"),
                c.N_SHIFTS: (c.SHIFT_ID, "size"),
                rates.DRY_LB: (column, "sum"),
                LANE_MI: (c.LANE_MILES_TREATED, "sum"),
            }
        ).reset_index()
        found[c.MATERIAL] = material
        found[RATE_LB_PER_LANE_MI] = found[rates.DRY_LB] / found[LANE_MI]
        parts.append(found)
    return stacked(parts, SPREAD_COLUMNS)


def storm_rates(records: MaterialRecords | None) -> pd.DataFrame:
    """Material per lane-mile of each edge type in each storm: the geometric mean over its shifts.

    Returns
    -------
    DataFrame
        storm_id, start (of the first shift), edge_type, rate [lb/lane-mi], n_shifts; as plain text and numbers.
    """
    names = [c.STORM_ID, c.START, c.EDGE_TYPE, RATE, c.N_SHIFTS]
    if records is None:
        return pd.DataFrame(columns=names)
    rate = records.shifts[rates.DRY_LB] / records.shifts[c.LANE_MILES_TREATED].where(
        records.shifts[c.LANE_MILES_TREATED] > 0
    )
    known = records.shifts.assign(**{RATE: np.log(rate.where(rate > 0))})
    known = known.dropna(subset=[c.STORM_ID, c.EDGE_TYPE, RATE])
    known = known.assign(**{name: known[name].astype(str) for name in (c.STORM_ID, c.EDGE_TYPE)})
    found = known.groupby([c.STORM_ID, c.EDGE_TYPE], sort=False).agg(
        **{c.START: (c.START, "min"), RATE: (RATE, "mean"), c.N_SHIFTS: (RATE, "size")}
    )
    return found.assign(**{RATE: np.exp(found[RATE])}).reset_index()[names]


def material_table(comparisons: Sequence[ClearingComparison]) -> pd.DataFrame:
    """Every edge type against the reference, by material; material.csv.

    Parameters
    ----------
    comparisons : sequence of ClearingComparison
        Of material; those of other measures are left out.
    """
    return stacked([one.table for one in comparisons if one.measure.material], MATERIAL_COLUMNS)


def clearing_table(
    comparisons: Sequence[ClearingComparison], rated: RatingComparison | None = None
) -> pd.DataFrame:
    """Every edge type against the reference in passes, hours, snow left behind and ratings; clearing.csv.

    Parameters
    ----------
    comparisons : sequence of ClearingComparison
        Those of material are left out. The unit says what an estimate is: per cent, or the unit of a difference.
    rated : RatingComparison, optional
        The ratings, whose measure is ``rating_<item>`` and whose estimate is how often a score beats one of the reference.
    """
    parts = [
        one.table.rename(
            columns={estimate_column(one.measure): c.ESTIMATE, detectable_column(one.measure): c.DETECTABLE}
        )
        for one in comparisons
        if not one.measure.material
    ]
    if rated is not None:
        names = {c.ITEM: c.MEASURE, c.ESTIMATE_PCT: c.ESTIMATE}
        table = rated.table.rename(columns=names)
        table[c.MEASURE], table[c.UNIT] = "rating_" + table[c.MEASURE].astype(str), RATING_UNIT
        parts.append(table)
    return stacked(parts, CLEARING_COLUMNS)


def unified(comparisons: Sequence[ClearingComparison]) -> pd.DataFrame:
    """All comparisons below each other, the measure in words and the estimate in one column whatever its unit."""
    parts = [
        one.table.rename(
            columns={estimate_column(one.measure): c.ESTIMATE, detectable_column(one.measure): c.DETECTABLE}
        ).assign(**{c.MEASURE: sentence_case(one.measure.phrase)})
        for one in comparisons
    ]
    return stacked(parts, [*CLEARING_COLUMNS])


def is_shown(compared: ClearingComparison, row: Mapping[Any, Any]) -> bool:
    """Whether a row of a comparison shows a difference, all edge types that were compared counted (Holm)."""
    return bool(row[c.P_HOLM] < 1 - compared.confidence_level)


def shown_differences(compared: ClearingComparison) -> pd.DataFrame:
    """A comparison as the savings take it: its table with a column `shown`, all edge types counted."""
    table = compared.table
    shown = [
        season_saving.YES if is_shown(compared, row) else season_saving.NO for row in table.to_dict("records")
    ]
    return table.assign(**{season_saving.SHOWN: shown})


def stacked(parts: Iterable[pd.DataFrame], columns: Sequence[str] | None = None) -> pd.DataFrame:
    """Frames below each other with their names as plain text; the columns alone where there are no rows."""
    kept = [
        part.astype({name: object for name in (c.EDGE_TYPE, c.REFERENCE) if name in part})
        for part in parts
        if len(part)
    ]
    if not kept:
        return pd.DataFrame(columns=list(columns or [c.EDGE_TYPE, c.REFERENCE, c.MEASURE]))
    both = pd.concat(kept, ignore_index=True)
    return both if columns is None else both.reindex(columns=list(columns))
