"""Which shifts can be compared, and which are set apart and why.

Answers: what goes into the comparison, and what was left out of it?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.clearing.measures import RATIO, Measure

UNKNOWN_TYPE = "edge type, truck or storm not recorded"
NO_VALUE = "not measured"
ZERO = "none: no logarithm"
CHANGED = "edge type changed in the storm"
ONE_TYPE = "storm with one edge type only"
NOT_LINKED = "edge type that no storm links with the reference"

VALUE = "value"


@dataclass(frozen=True, eq=False)
class Selection:
    """The shifts of one comparison.

    Attributes
    ----------
    used : DataFrame
        Shifts that are compared, with the rate in column `value` (not its logarithm).
    measured : DataFrame
        All shifts with an edge type and a value, whether they are compared or not.
    left_out : DataFrame
        One row per reason and edge type: reason, edge_type, n_storms, n_shifts.
    types : tuple of str
        Edge types that are compared, reference first.
    not_linked : tuple of str
        Edge types without a comparison.
    """

    used: pd.DataFrame
    measured: pd.DataFrame
    left_out: pd.DataFrame
    types: tuple[str, ...]
    not_linked: tuple[str, ...]


def select_shifts(
    shifts: pd.DataFrame, measure: Measure, reference: str, keep_zeros: bool = False
) -> Selection:
    """Choose the shifts that say something about edge types.

    Parameters
    ----------
    shifts : DataFrame
        One row per shift: storm_id, truck_id, edge_type, the amount of the measure and what it is divided by.
    measure : Measure
        What is compared.
    reference : str
        Edge type with which the others are compared.
    keep_zeros : bool
        Whether shifts with an amount of zero stay, though they have no logarithm.

    Returns
    -------
    Selection
    """
    frame = shifts.reset_index(drop=True)
    frame = frame.astype(dict.fromkeys((c.STORM_ID, c.TRUCK_ID), object))
    kind = frame[c.EDGE_TYPE].astype(object)
    amount = frame[measure.amount].astype(float)
    value = amount / frame[measure.per].astype(float) if measure.per else amount
    value = value.where(np.isfinite(value) & (value >= 0))
    frame = frame.assign(**{c.EDGE_TYPE: kind, VALUE: value})
    reason = pd.Series("", frame.index)

    def mark(rows: pd.Series, why: str) -> None:
        reason[rows & (reason == "")] = why

    mark(kind.isna() | frame[c.STORM_ID].isna() | frame[c.TRUCK_ID].isna(), UNKNOWN_TYPE)
    mark(value.isna(), NO_VALUE)
    measured = frame[reason == ""]
    placed = frame[reason != UNKNOWN_TYPE]
    n_types = placed.groupby([c.STORM_ID, c.TRUCK_ID], observed=True)[c.EDGE_TYPE].transform("nunique")
    mark((n_types > 1).reindex(frame.index, fill_value=False), CHANGED)
    if measure.scale == RATIO and not keep_zeros:
        mark(value == 0, ZERO)
    left = frame[reason == ""]
    n_types = left.groupby(c.STORM_ID, observed=True)[c.EDGE_TYPE].transform("nunique")
    mark((n_types < 2).reindex(frame.index, fill_value=False), ONE_TYPE)
    linked = _linked(frame[reason == ""], reference)
    mark(~kind.isin(linked), NOT_LINKED)

    used = frame[reason == ""]
    order = list(dict.fromkeys(shifts[c.EDGE_TYPE].dropna().astype(object)))
    if isinstance(shifts[c.EDGE_TYPE].dtype, pd.CategoricalDtype):
        order = [name for name in shifts[c.EDGE_TYPE].cat.categories if name in order]
    types = (reference, *(name for name in order if name in linked and name != reference))
    out = frame.assign(**{c.REASON: reason})[reason != ""]
    left_out = (
        out.groupby([c.REASON, c.EDGE_TYPE], sort=False, dropna=False)
        .agg(**{c.N_STORMS: (c.STORM_ID, "nunique"), c.N_SHIFTS: (c.STORM_ID, "size")})
        .reset_index()
    )
    return Selection(used, measured, left_out, types, tuple(name for name in order if name not in types))


def _linked(shifts: pd.DataFrame, reference: str) -> set[str]:
    """Edge types that share a storm with the reference, directly or by way of others."""
    types_of = shifts.groupby(c.STORM_ID, observed=True)[c.EDGE_TYPE].agg(frozenset).unique()
    linked, grown = {reference}, True
    while grown:
        reached = linked.union(*(types for types in types_of if types & linked))
        grown, linked = reached != linked, reached
    return linked if len(linked) > 1 else set()
