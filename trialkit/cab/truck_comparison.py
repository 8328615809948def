"""Comparison of edge types with the truck as the unit, for anything measured in the cab.

Answers: by how much does an edge type differ from the reference, when the trucks are what varies?

Several samples from one truck are not independent; the trucks are. Each truck enters with one value per edge type. Trucks
that carried both types are compared with themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from trialkit import columns as c
from trialkit.cab.samples import EdgeLabels
from trialkit.errors import UsageError, near_match
from trialkit.formatting import counted
from trialkit.stats import inference
from trialkit.stats.inference import (
    NO_SPREAD,
    PAIRS_ALIKE,
    Interval,
    Pairing,
    Sample,
    difference_interval,
    holm_adjusted,
    two_sided_tail,
)

PAIRED = "paired t interval: every truck carried both edge types"
PART_PAIRED = "t interval for trucks of which some carried both edge types"
PAIRS_IGNORED = "Welch t interval: too few trucks carried both edge types to make use of it"
SEPARATE = "Welch t interval: different trucks"
_BY_PAIRING = {
    inference.ALL_PAIRED: PAIRED,
    inference.PARTLY_PAIRED: PART_PAIRED,
    inference.PAIRS_UNUSED: PAIRS_IGNORED,
    inference.UNPAIRED: SEPARATE,
}


def require_reference(reference: str | None, types: list[str]) -> str:
    """The reference edge type, by default the first; UsageError if no sample has it.

    Parameters
    ----------
    reference : str or None
        Name asked for.
    types : list of str
        Edge types that have samples.
    """
    if reference is None:
        if not types:
            raise UsageError("No sample has an edge type, so there is nothing to compare.")
        return types[0]
    if reference not in types:
        hint = near_match(reference, types) or f"Edge types with samples: {', '.join(types) or 'none'}."
        raise UsageError(f'No sample has the reference edge type "{reference}". {hint}')
    return reference


def compare_by_truck(
    values: pd.DataFrame,
    value: str,
    types: Sequence[str],
    reference: str,
    *,
    confidence_level: float = 0.95,
    extra_variance: Mapping[str, tuple[float, float]] | None = None,
) -> pd.DataFrame:
    """Difference of each edge type from the reference, truck by truck.

    Parameters
    ----------
    values : DataFrame
        One row per truck and edge type: truck_id, edge_type and the column `value`, on a scale on which differences make
        sense (decibels; logarithms of a vibration).
    value : str
        Name of the column that is compared.
    types : sequence of str
        Edge types in the order of the table.
    reference : str
        Edge type with which the others are compared.
    confidence_level : float
        Two-sided level.
    extra_variance : mapping, optional
        Edge type -> (variance, degrees of freedom) of an adjustment that shifts the whole difference.

    Returns
    -------
    DataFrame
        One row per other edge type: edge_type, reference, estimate, std_error, df, conf_low, conf_high, p_value, p_holm
        (adjusted over the edge types of the table), n_trucks (with either type), n_pairs (with both), method, reason. Limits
        are missing, and `reason` says why, where a type was on a single truck.
    """
    tail = two_sided_tail(confidence_level)
    wide = values.assign(**{c.EDGE_TYPE: values[c.EDGE_TYPE].astype(object)})
    wide = wide.pivot(index=c.TRUCK_ID, columns=c.EDGE_TYPE, values=value)
    rows = []
    for name in types:
        if name == reference or reference not in wide or name not in wide:
            continue
        a, b = wide[name].dropna(), wide[reference].dropna()
        both = a.index.intersection(b.index)
        found = difference_interval(
            Sample.of(a), Sample.of(b), Pairing.of(a[both], b[both]) if len(both) else None, confidence_level
        )
        if extra_variance and name in extra_variance:
            found = widened(found, *extra_variance[name], tail)
        rows.append(
            {
                c.EDGE_TYPE: name,
                c.REFERENCE: reference,
                c.ESTIMATE: found.estimate,
                c.STD_ERROR: found.std_error,
                c.DF: found.df,
                c.CONF_LOW: found.conf_low,
                c.CONF_HIGH: found.conf_high,
                c.P_VALUE: found.p_value,
                c.N_TRUCKS: len(a.index.union(b.index)),
                c.N_PAIRS: len(both),
                c.METHOD: _BY_PAIRING[str(inference.pairing_used(len(a), len(b), len(both)))],
                c.REASON: found.reason,
            }
        )
    table = pd.DataFrame(rows, columns=COMPARISON_COLUMNS)
    return table.assign(**{c.P_HOLM: holm_adjusted(table[c.P_VALUE].astype(float))})


def is_shown(row: pd.Series, confidence_level: float) -> bool:
    """Whether a row shows a difference: its p value, adjusted for the edge types compared, lies below 1 less the level.

    Its interval, which is not adjusted, then leaves out no difference as well, since the p value agrees with it.
    """
    return bool(row[c.P_HOLM] < 1 - confidence_level)


def by_chance(low: float, high: float, none: float) -> str:
    """Why a difference is not shown though its interval leaves out no difference; empty where it holds it."""
    return (
        ""
        if low <= none <= high
        else ", since several edge types were compared and one may stand out by chance"
    )


COMPARISON_COLUMNS = [
    c.EDGE_TYPE,
    c.REFERENCE,
    c.ESTIMATE,
    c.STD_ERROR,
    c.DF,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.P_VALUE,
    c.P_HOLM,
    c.N_TRUCKS,
    c.N_PAIRS,
    c.METHOD,
    c.REASON,
]


def widened(found: Interval, variance: float, df: float, tail: float) -> Interval:
    """An interval with the error of an adjustment added.

    Notes
    -----
    The variances add; the degrees of freedom are Satterthwaite's, ``(v1 + v2)^2 / (v1^2 / df1 + v2^2 / df2)``.
    """
    if not math.isfinite(found.std_error) or variance <= 0:
        return found
    own = found.std_error**2
    total = own + variance
    joint = total**2 / (own**2 / found.df + variance**2 / df)
    error = math.sqrt(total)
    half = float(stdtrit(joint, 1 - tail)) * error
    p_value = float(2 * stdtr(joint, -abs(found.estimate) / error))
    return replace(
        found,
        std_error=error,
        df=joint,
        conf_low=found.estimate - half,
        conf_high=found.estimate + half,
        p_value=p_value,
    )


def truck_notes(compared: pd.DataFrame, levels: pd.DataFrame, label: EdgeLabels) -> list[str]:
    """Caveats about trucks: a type on one truck, all samples on one truck.

    Parameters
    ----------
    compared : DataFrame
        As `compare_by_truck` returns it.
    levels : DataFrame
        The values that went in: truck_id, edge_type.
    label : EdgeLabels
        Names of the edge types.

    Returns
    -------
    list of str
    """
    notes = []
    trucks = levels[c.TRUCK_ID].nunique()
    if trucks == 1:
        notes.append(
            "All samples come from one truck, so nothing can be said about other trucks and no interval is given."
        )
    per_type = levels.groupby(c.EDGE_TYPE, observed=True)[c.TRUCK_ID].nunique()
    for name, n in per_type.items():
        if n == 1 and trucks > 1:
            notes.append(
                f"{label(str(name))} was measured on one truck only, so no interval is given for it."
            )
    for _, row in compared.iterrows():
        if 0 < row[c.N_PAIRS] < row[c.N_TRUCKS]:
            notes.append(
                f"{label(row[c.EDGE_TYPE])} against {label(row[c.REFERENCE])}: {counted(int(row[c.N_PAIRS]), 'truck')} of "
                f"{row[c.N_TRUCKS]} carried both edge types."
            )
    for _, row in compared.iterrows():
        name, other = label(row[c.EDGE_TYPE]), label(row[c.REFERENCE])
        if row[c.REASON] == NO_SPREAD:
            notes.append(
                f"All trucks gave {name} the same value to the digit, and {other} as well, so no error can be stated for their "
                "difference."
            )
        elif row[c.REASON] == PAIRS_ALIKE:
            notes.append(
                f"All trucks gave the same difference between {name} and {other} to the digit, so no error can be stated for it."
            )
    return notes


def truck_weights(durations: pd.Series) -> np.ndarray:
    """Share of the sampled time that each truck holds; the shares add up to 1."""
    total = durations.to_numpy(dtype=float)
    return total / total.sum()


def spread_factor(weights: np.ndarray) -> float:
    """How much wider the interval of a weighted mean is than that of a plain mean: ``sqrt(n sum(w^2))``; 1 if equal."""
    return math.sqrt(len(weights) * float(np.square(weights).sum()))
