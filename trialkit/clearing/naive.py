"""What season totals divided would say.

Answers: which figure would be quoted without a comparison within storms, and how far off is it?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.clearing.differences import estimate_column
from trialkit.clearing.measures import RATIO, Measure
from trialkit.table_parts import NO, YES

COLUMNS = (
    c.EDGE_TYPE,
    c.REFERENCE,
    c.MEASURE,
    c.MATERIAL,
    c.TOTAL,
    c.PER_TOTAL,
    c.NAIVE_RATE,
    c.UNIT,
    c.N_SHIFTS,
    c.N_ZERO,
    c.ESTIMATE_PCT,
    c.GAP,
    c.AGREE,
)


def naive_totals(
    measured: pd.DataFrame, measure: Measure, reference: str, table: pd.DataFrame
) -> pd.DataFrame:
    """Season totals of each edge type divided, and set against the reference: to be shown as what it is, naive.

    Storms, routes and trucks are not taken into account: a type that ran in the heavier storms looks worse.

    Parameters
    ----------
    measured : DataFrame
        All shifts with an edge type and a value, zeros and storms with one edge type included.
    measure : Measure
        What is compared.
    reference : str
        Edge type with which the others are compared.
    table : DataFrame
        The comparison within storms.

    Returns
    -------
    DataFrame
        One row per edge type, reference first: `edge_type`, `reference`, `measure`, `material`, `total`, `per_total`
        (lane-miles, or shifts where the measure is not divided), `naive_rate`, `unit` (of the rate), `n_shifts`, `n_zero`,
        `estimate_pct` [%] against the reference (`estimate` in the unit for a difference), `gap` (naive minus within
        storms, in points or the unit), `agree` (whether the naive figure lies inside the interval; empty without one).
    """
    groups = measured.groupby(measured[c.EDGE_TYPE].astype(object), sort=False)
    per = measure.per or measure.amount
    found = groups.agg(
        **{
            c.TOTAL: (measure.amount, "sum"),
            c.PER_TOTAL: (per, "sum" if measure.per else "count"),
            c.N_SHIFTS: (measure.amount, "size"),
            c.N_ZERO: (measure.amount, lambda values: int((values == 0).sum())),
        }
    )
    found[c.NAIVE_RATE] = found[c.TOTAL] / found[c.PER_TOTAL]
    known = table.set_index(c.EDGE_TYPE)
    order = [reference, *(name for name in known.index if name in found.index)]
    found = found.loc[[name for name in order if name in found.index]].rename_axis(c.EDGE_TYPE).reset_index()
    base = float(found.loc[found[c.EDGE_TYPE] == reference, c.NAIVE_RATE].sum())
    column = estimate_column(measure)
    if measure.scale == RATIO:
        change = 100.0 * (found[c.NAIVE_RATE] / base - 1.0) if base > 0 else pd.Series(np.nan, found.index)
    else:
        change = found[c.NAIVE_RATE] - base
    change = change.where(found[c.EDGE_TYPE] != reference)
    at = known.reindex(found[c.EDGE_TYPE])
    low, high = at[c.CONF_LOW].to_numpy(), at[c.CONF_HIGH].to_numpy()
    inside = (change >= low) & (change <= high)
    found = found.assign(
        **{
            c.REFERENCE: reference,
            c.MEASURE: measure.name,
            c.MATERIAL: measure.material,
            c.UNIT: measure.unit,
            column: change,
            c.GAP: change - at[column].to_numpy(),
            c.AGREE: np.where(np.isfinite(low), np.where(inside, YES, NO), ""),
        }
    )
    return found[[column if name == c.ESTIMATE_PCT else name for name in COLUMNS]]
