"""How edge types differ in whole-body vibration, with the truck as the unit.

Answers: is the driver shaken less with this edge type?
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.cab import vibration
from trialkit.cab.criteria import AXIS_FACTORS, VIBRATION_CAUTIONS
from trialkit.cab.samples import EdgeLabels, edge_types_in_order
from trialkit.cab.truck_comparison import (
    by_chance,
    compare_by_truck,
    is_shown,
    require_reference,
    truck_notes,
)
from trialkit.formatting import counted, fixed, interval_decimals, listed, number, percent, span
from trialkit.results import Summary

LARGEST = "largest"
"""The largest axis of each truck, factor included."""
UNEVEN_SHARE = 0.2
"""Share of the sampled time on different surfaces that gets a note (our choice)."""


@dataclass(frozen=True, eq=False)
class VibrationComparison(Summary):
    """Vibration of each edge type against the reference.

    Attributes
    ----------
    table : DataFrame
        One row per axis (and the largest axis) and edge type: edge_type, reference, axis, estimate (how many times the
        reference's vibration; below 1 is less), df, conf_low, conf_high, p_value, p_holm (adjusted over the edge types of an axis),
        unit, n_trucks, n_pairs, method, reason.
    confidence_level : float
    label : EdgeLabels
        Names of the edge types.
    """

    confidence_level: float
    label: EdgeLabels

    def sentence(self) -> str:
        """How the largest axis differs, one clause per edge type."""
        rows = self.table[self.table[c.AXIS] == LARGEST]
        if rows.empty:
            return "No two edge types were measured in all three axes, so their vibration cannot be compared."
        clauses = [ratio_clause(row, self.label, self.confidence_level) for _, row in rows.iterrows()]
        return f"In the largest axis of whole-body vibration, {listed(clauses)}."


def ratio_clause(row: pd.Series, label: EdgeLabels, confidence_level: float) -> str:
    """One line of the comparison as part of a sentence: what is shown, with its interval, or that nothing is."""
    ratio, low, high = row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]
    name, reference = label(row[c.EDGE_TYPE]), label(row[c.REFERENCE])
    if math.isnan(low):
        return (
            f"{name} had {number(ratio, 2)} times the vibration of {reference} in the samples (no interval)"
        )
    if not is_shown(row, confidence_level):
        decimals = interval_decimals(ratio, low, high)
        ends = f"{fixed(ratio, decimals)} times its vibration in the samples, interval {span(low, high, decimals)}"
        return f"no difference between {name} and {reference} is shown ({ends}){by_chance(low, high, 1.0)}"
    if ratio < 1:
        places = (
            f"{percent(100 * (1 - ratio))} ({fixed(100 * (1 - high), 0)} to {fixed(100 * (1 - low), 0)}%)"
        )
        return f"{name} had less vibration than {reference} by {places}"
    places = f"{percent(100 * (ratio - 1))} ({fixed(100 * (low - 1), 0)} to {fixed(100 * (high - 1), 0)}%)"
    return f"{name} had more vibration than {reference} by {places}"


def compare_edge_types(
    samples: pd.DataFrame,
    *,
    reference: str | None = None,
    factors: Mapping[str, float] = AXIS_FACTORS,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> VibrationComparison:
    """How many times the reference's vibration each edge type has, by axis and for the largest axis.

    When to use: to say whether an edge type shakes the driver less. Runs of the same truck with both edge types on the same
    route and surface are the surest; the surface matters more than most edges.

    Parameters
    ----------
    samples : DataFrame
        As for `vibration.estimate_exposure`.
    reference : str, optional
        Edge type with which the others are compared; by default the first one.
    factors : mapping
        Factor of each axis.
    confidence_level : float
        Two-sided level.
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Returns
    -------
    VibrationComparison

    Raises
    ------
    UsageError
        If the reference has no samples.
    TrialDataError, NotEnoughDataError
        As for `vibration.estimate_exposure`.

    Notes
    -----
    Ratio of the trucks' root-mean-square averages: Student's t on the logarithms, the truck being the unit; paired where trucks
    carried both edge types. A difference is shown where the p value after Holm's adjustment over the edge types of an axis is small;
    the intervals are not adjusted. Trucks without any vibration in an axis have no logarithm and are left out of it, with a note.
    """
    usable, notes = vibration.usable_vibration(samples)
    label = EdgeLabels(labels or {})
    types = edge_types_in_order(usable)
    reference = require_reference(reference, types)
    by_truck = vibration.average_by_truck(usable)
    weighted = by_truck[c.RMS_M_S2] * by_truck[c.AXIS].astype(object).map(dict(factors)).astype(float)
    wide = by_truck.assign(**{c.WEIGHTED_M_S2: weighted}).groupby([c.TRUCK_ID, c.EDGE_TYPE], observed=True)
    complete = wide[c.AXIS].nunique() == len(vibration.AXES)
    largest = wide[c.WEIGHTED_M_S2].max()[complete].reset_index(name=c.RMS_M_S2).assign(**{c.AXIS: LARGEST})
    if not complete.all():
        short = int((~complete).sum())
        verb = "lacks" if short == 1 else "lack"
        notes.append(
            f"{counted(short, 'truck with an edge type', 'trucks with an edge type')} {verb} an axis and stay out of the largest axis."
        )
    tables = []
    for axis, group in [(axis, by_truck[by_truck[c.AXIS] == axis]) for axis in vibration.AXES] + [
        (LARGEST, largest)
    ]:
        still = int((group[c.RMS_M_S2] <= 0).sum())
        if still:
            notes.append(f"{counted(still, 'truck')} showed no vibration in axis {axis}: left out there.")
        moving = group[group[c.RMS_M_S2] > 0]
        logs = moving.assign(**{c.ESTIMATE: np.log(moving[c.RMS_M_S2])})
        found = compare_by_truck(logs, c.ESTIMATE, types, reference, confidence_level=confidence_level)
        if found.empty:
            continue
        notes += truck_notes(found, logs, label)
        ratios = {name: np.exp(found[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)}
        tables.append(found.assign(**ratios, **{c.AXIS: axis, c.UNIT: "times"}))
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()
    if not tables:
        notes.append(f"Only {listed([label(name) for name in types])} was measured; nothing can be compared.")
    notes += _surface_notes(usable, reference, label)
    method = (
        "Root-mean-square average by truck and edge type; the ratios are compared with Student's t on logarithms, the truck being "
        "the unit; Holm's adjustment over the edge types of an axis."
    )
    kept = (*dict.fromkeys(notes), VIBRATION_CAUTIONS[1])
    return VibrationComparison(table.reindex(columns=RATIO_COLUMNS), method, kept, confidence_level, label)


RATIO_COLUMNS = [
    c.EDGE_TYPE,
    c.REFERENCE,
    c.AXIS,
    c.ESTIMATE,
    c.DF,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.P_VALUE,
    c.P_HOLM,
    c.UNIT,
    c.N_TRUCKS,
    c.N_PAIRS,
    c.METHOD,
    c.REASON,
]


def _surface_notes(usable: pd.DataFrame, reference: str, label: EdgeLabels) -> list[str]:
    """Whether the edge types were sampled on different surfaces."""
    if c.SURFACE not in usable or usable[c.SURFACE].isna().all():
        return ["The surface was not recorded with the vibration samples; a difference may come from there."]
    minutes = usable.pivot_table(
        index=c.EDGE_TYPE,
        columns=c.SURFACE,
        values=c.DURATION_MIN,
        aggfunc="sum",
        observed=True,
        fill_value=0.0,
    )
    share = minutes.div(minutes.sum(axis=1), axis=0)
    blank = [label(name) for name in edge_types_in_order(usable) if name not in share.index]
    notes = [f"The surface was not recorded with the samples of {listed(blank)}."] if blank else []
    if reference not in share.index:
        return notes
    apart = (share - share.loc[reference]).abs().sum(axis=1) / 2
    return notes + [
        f"{label(str(name))} and {label(reference)} were sampled on different surfaces for {percent(100 * gap)} of the time; a "
        "difference may come from there."
        for name, gap in apart.items()
        if gap > UNEVEN_SHARE
    ]
