"""From fitted differences to the columns of a comparison.

Answers: what does a difference of logarithms come to in per cent, with which ends, and what could have been seen?
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from trialkit import columns as c
from trialkit.clearing.measures import RATIO, Measure
from trialkit.clearing.selection import VALUE
from trialkit.stats.blocked_sums import BlockedSums, blocked_sums

PERCENT = "%"


def sums_of(
    used: pd.DataFrame, types: Sequence[str], measure: Measure, covariates: np.ndarray | None = None
) -> BlockedSums:
    """The shifts reduced to what the blocked comparison needs.

    Parameters
    ----------
    used : DataFrame
        Columns `storm_id`, `truck_id`, `edge_type` and `value`, all filled; values above zero for a ratio.
    types : sequence of str
        Edge types, reference first.
    measure : Measure
        What is compared.
    covariates : array, optional
        Further columns.
    """
    value = used[VALUE].to_numpy(dtype=float)
    return blocked_sums(
        np.log(value) if measure.scale == RATIO else value,
        codes_of(used[c.STORM_ID]),
        codes_of(used[c.TRUCK_ID]),
        type_codes(used[c.EDGE_TYPE], types),
        covariates,
    )


def codes_of(names: pd.Series) -> np.ndarray:
    """Numbers of the names, from 0, in order of appearance."""
    return pd.factorize(names.astype(object))[0]


def type_codes(kinds: pd.Series, types: Sequence[str]) -> np.ndarray:
    """Number of each edge type in the list of types; -1 where it is not in it."""
    return kinds.astype(object).map({name: k for k, name in enumerate(types)}).fillna(-1).to_numpy(dtype=int)


def estimate_column(measure: Measure) -> str:
    """Name of the column with the estimates: `estimate_pct`, or `estimate` for a difference."""
    return c.ESTIMATE_PCT if measure.scale == RATIO else c.ESTIMATE


def detectable_column(measure: Measure) -> str:
    """Name of the column with the smallest change that would probably have been shown."""
    return c.DETECTABLE_PCT if measure.scale == RATIO else c.DETECTABLE


def unit_of(measure: Measure) -> str:
    """Unit of the estimates."""
    return PERCENT if measure.scale == RATIO else measure.unit


def on_scale(change: Any, measure: Measure) -> Any:
    """A difference as it is reported: of logarithms in per cent, otherwise as it is."""
    if measure.scale != RATIO:
        return change
    with np.errstate(over="ignore"):
        return 100.0 * np.expm1(change)


def difference_columns(
    estimate: Any, std_error: Any, df: Any, measure: Measure, tail: float
) -> dict[str, Any]:
    """Estimate, ends, unit, p value and degrees of freedom of differences on the scale of the fit."""
    half = stdtrit(df, 1 - tail) * std_error
    return {
        estimate_column(measure): on_scale(estimate, measure),
        c.CONF_LOW: on_scale(estimate - half, measure),
        c.CONF_HIGH: on_scale(estimate + half, measure),
        c.UNIT: unit_of(measure),
        c.P_VALUE: 2 * stdtr(df, -np.abs(estimate) / std_error),
        c.DF: df,
    }


def direction(low: Any, high: Any) -> Any:
    """-1 where an interval lies below zero, 1 where it lies above, 0 where it holds zero or is missing."""
    return np.where(np.asarray(high) < 0, -1, np.where(np.asarray(low) > 0, 1, 0))
