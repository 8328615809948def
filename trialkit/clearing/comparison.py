"""How edge types differ in what it takes to clear a road, storm by storm, with the truck as the unit.

Answers: does this edge type save salt, passes or hours, or leave less snow behind, and how sure is that?

A season's totals compare storms, routes and trucks as much as edges. Here each storm is compared with itself, and each
truck counts once: trucks with one edge type are set against trucks with another, and trucks that carried both against
themselves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.clearing import comparison_notes, comparison_words, naive, selection
from trialkit.clearing.differences import (
    detectable_column,
    difference_columns,
    estimate_column,
    on_scale,
    sums_of,
    unit_of,
)
from trialkit.clearing.measures import RATIO, Measure
from trialkit.clearing.selection import Selection
from trialkit.clearing.variants import other_ways
from trialkit.errors import NotEnoughDataError, UsageError, near_match
from trialkit.formatting import counted
from trialkit.results import Labelled
from trialkit.stats.blocked_sums import BlockedSums
from trialkit.stats.detectable import detectable_difference
from trialkit.stats.inference import (
    ALL_PAIRED,
    NO_SPREAD,
    ONE_UNIT,
    PARTLY_PAIRED,
    holm_adjusted,
    pairing_used,
    two_sided_tail,
)
from trialkit.stats.two_stage import BlockedDifferences, fit_differences

SEPARATE = "storm by storm, different trucks"
WITHIN = "storm by storm, trucks against themselves"
PARTLY = "storm by storm, some trucks against themselves"
ONE_TRUCK = "one truck of a type, no interval"
NO_INTERVAL = "no interval"
NOT_COMPARED = "not compared"
NO_STORM = "no storm links it with the reference"


@dataclass(frozen=True, eq=False)
class ClearingComparison(Labelled):
    """One measure of clearing, each edge type against the reference.

    Attributes
    ----------
    table : DataFrame
        One row per other edge type: `edge_type`, `reference`, `measure`, `material` (empty unless the measure is of one),
        `estimate_pct` [%] (`estimate` in the unit of the measure where it is a difference; negative is less than the
        reference), `conf_low`, `conf_high`, `unit`, `p_value`, `p_holm`, `df`, `n_storms` and `n_shifts` (of storms in
        which both ran), `n_trucks`, `n_trucks_reference`, `n_pairs` (trucks that carried both), `detectable_pct` (or
        `detectable`: the smallest change that 8 of 10 like trials would show), `method`, `reason` (why there is no
        interval).
    naive : DataFrame
        What season totals divided would say; see `naive.naive_totals`.
    variants : DataFrame
        The same comparison in other ways: `variant`, then the columns of `table` up to `df`, and `agree` (whether both
        show a difference the same way, or neither does).
    trucks : DataFrame
        What each truck used with each edge type, averaged over its storms: `truck_id`, `edge_type`, `estimate_pct` (or
        `estimate`) against the mean of the reference's trucks that shared its storms, directly or by way of others
        (missing without such), `unit`, `n_storms`, `n_shifts`.
    left_out : DataFrame
        Shifts that are not compared: `reason`, `edge_type`, `n_storms`, `n_shifts`.
    measure : Measure
        What is compared.
    confidence_level : float
        Two-sided level of every interval.
    labels : mapping
        Edge type to the name that sentences print.
    """

    naive: pd.DataFrame
    variants: pd.DataFrame
    trucks: pd.DataFrame
    left_out: pd.DataFrame
    measure: Measure
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(
            comparison_words.row_sentence(
                row, self.measure, self.confidence_level, self.label, len(self.table)
            )
            for row in self.table.to_dict("records")
        )

    def sentence(self) -> str:
        """The comparisons in words."""
        return " ".join(self.sentences())


def compare_edge_types(
    shifts: pd.DataFrame,
    measure: Measure,
    *,
    reference: str,
    adjust_for: Sequence[str] = (c.LANE_MILES_TREATED, c.SURFACE),
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> ClearingComparison:
    """Compare the edge types with the reference, within storms.

    When to use: to say whether an edge type saves material, passes or hours, or leaves less snow. Not for comparing
    winters, and not where trucks chose their storms by edge type.

    Parameters
    ----------
    shifts : DataFrame
        One row per truck, storm and crew shift: `storm_id`, `truck_id`, `edge_type` (missing where it is not known, or
        changed in the shift), the amount of the measure and the column that it is divided by; `lane_miles_treated` and
        `surface` for the adjusted variant. An ordered or unordered categorical `edge_type` gives the order of the rows.
    measure : Measure
        What is compared: `measures.PASSES`, `measures.material_use("rock_salt")`, ...
    reference : str
        Edge type with which the others are compared.
    adjust_for : sequence of str
        Columns whose part is taken out in a variant of the comparison, where they are recorded.
    confidence_level : float
        Two-sided level.
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    ClearingComparison

    Raises
    ------
    UsageError
        If a column is missing, or no shift has the reference edge type.
    NotEnoughDataError
        If no storm has both the reference and another edge type.

    Notes
    -----
    Of the logarithm of the rate (of a residual depth the depth itself) the storms are taken out by least squares. Where each
    truck carries one edge type its average over the storms counts once, and the averages of two edge types are compared by
    Welch's interval, so that the trucks of each may spread in their own way. Where three trucks or more carried several:
    ``y = storm + edge type + truck + truck x edge type + error`` with storms fixed and trucks random, restricted maximum
    likelihood and small-sample degrees of freedom. `stats.two_stage.fit_differences` says why; the other way is among the
    variants. A ratio is ``100 (exp(difference) - 1)`` %: a ratio of typical (geometric mean) rates.

    The headline is not adjusted for the surface or the lane-miles: the edge itself may change them, and then an
    adjustment would take away what is looked for. The adjusted comparison is among the variants.

    A rate of zero has no logarithm. Shifts with none are left out, counted in a note, and brought back in a variant that
    divides totals storm by storm. The result holds for the storms of this trial: how much an edge type's effect would
    differ in another winter's storms cannot be told from one winter.
    """
    two_sided_tail(confidence_level)
    _require(shifts, measure, reference)
    chosen = selection.select_shifts(shifts, measure, reference)
    if len(chosen.types) < 2:
        raise NotEnoughDataError(_nothing_shared(chosen, measure, reference))
    sums = sums_of(chosen.used, chosen.types, measure)
    fit = fit_differences(sums, confidence_level)
    table = _table(chosen, fit, measure, confidence_level)
    result = ClearingComparison(
        table=table,
        method=comparison_words.method(measure, confidence_level, fit.units_first),
        notes=(),
        naive=naive.naive_totals(chosen.measured, measure, reference, table),
        variants=pd.DataFrame(),
        trucks=_trucks(chosen, sums, measure),
        left_out=chosen.left_out,
        measure=measure,
        confidence_level=confidence_level,
        labels=dict(labels or {}),
    )
    ways = other_ways(chosen, shifts, measure, fit, table, adjust_for, confidence_level)
    tables = (table, result.trucks, result.naive)
    notes = comparison_notes.notes(chosen, fit, ways, tables, measure, result.label)
    return replace(result, variants=ways.table, notes=tuple(notes))


# ---------------------------------------------------------------- the table
def _table(
    chosen: Selection, fit: BlockedDifferences, measure: Measure, confidence_level: float
) -> pd.DataFrame:
    """The rows of the comparison: those of the fit, then the edge types that no storm links with the reference."""
    counts = pd.DataFrame([_counts(chosen, name) for name in (*chosen.types[1:], *chosen.not_linked)])
    rest = np.full(len(chosen.not_linked), np.nan)
    std_error, df, estimate = (np.append(part, rest) for part in (fit.std_error, fit.df, fit.estimate))
    few = counts[[c.N_TRUCKS, c.N_TRUCKS_REFERENCE]].min(axis=1).to_numpy() < 2
    std_error, df = np.where(few, np.nan, std_error), np.where(few, np.nan, df)
    found = difference_columns(estimate, std_error, df, measure, two_sided_tail(confidence_level))
    detectable = detectable_difference(std_error, df, confidence_level)
    unknown = np.isnan(estimate)
    pairs, trucks = counts[c.N_PAIRS].to_numpy(), counts[[c.N_TRUCKS, c.N_TRUCKS_REFERENCE]].to_numpy()
    used = pairing_used(trucks[:, 0], trucks[:, 1], pairs)
    method = np.select(
        [unknown, few, np.isnan(std_error), used == ALL_PAIRED, used == PARTLY_PAIRED],
        [NOT_COMPARED, ONE_TRUCK, NO_INTERVAL, WITHIN, PARTLY],
        SEPARATE,
    )
    reason = np.select([unknown, few, np.isnan(std_error)], [NO_STORM, ONE_UNIT, NO_SPREAD], "")
    return pd.DataFrame(
        {
            c.EDGE_TYPE: [*chosen.types[1:], *chosen.not_linked],
            c.REFERENCE: chosen.types[0],
            c.MEASURE: measure.name,
            c.MATERIAL: measure.material,
            estimate_column(measure): found[estimate_column(measure)],
            c.CONF_LOW: found[c.CONF_LOW],
            c.CONF_HIGH: found[c.CONF_HIGH],
            c.UNIT: unit_of(measure),
            c.P_VALUE: found[c.P_VALUE],
            c.P_HOLM: holm_adjusted(found[c.P_VALUE]),
            c.DF: df,
            **{name: counts[name].to_numpy() for name in counts},
            detectable_column(measure): -on_scale(-detectable, measure)
            if measure.scale == RATIO
            else detectable,
            c.METHOD: method,
            c.REASON: reason,
        }
    )


def _counts(chosen: Selection, name: str) -> dict[str, int]:
    """Storms in which an edge type and the reference both ran, their shifts there, and the trucks of each."""
    used, reference = chosen.used, chosen.types[0]
    mine, other = (used[used[c.EDGE_TYPE] == kind] for kind in (name, reference))
    storms = set(mine[c.STORM_ID]) & set(other[c.STORM_ID])
    trucks, others = set(mine[c.TRUCK_ID]), set(other[c.TRUCK_ID])
    return {
        c.N_STORMS: len(storms),
        c.N_SHIFTS: int(mine[c.STORM_ID].isin(storms).sum() + other[c.STORM_ID].isin(storms).sum()),
        c.N_TRUCKS: len(trucks),
        c.N_TRUCKS_REFERENCE: len(others),
        c.N_PAIRS: len(trucks & others),
    }


def _trucks(chosen: Selection, sums: BlockedSums, measure: Measure) -> pd.DataFrame:
    """What each truck used with each edge type, storms taken out, against the mean of the reference's trucks."""
    used = chosen.used
    effect, parts = sums.response.copy(), sums.parts()
    for part in np.unique(parts):
        base = effect[(parts == part) & (sums.treatment == 0)]
        effect[parts == part] -= base.mean() if len(base) else np.nan
    table = pd.DataFrame(
        {
            c.TRUCK_ID: used[c.TRUCK_ID].unique()[sums.unit],
            c.EDGE_TYPE: np.array(chosen.types, object)[sums.treatment],
            estimate_column(measure): on_scale(effect, measure),
            c.UNIT: unit_of(measure),
        }
    )
    counts = used.groupby([c.TRUCK_ID, c.EDGE_TYPE], sort=False)[c.STORM_ID].agg(["nunique", "size"])
    of = counts.loc[list(zip(table[c.TRUCK_ID], table[c.EDGE_TYPE], strict=True))]
    table[c.N_STORMS], table[c.N_SHIFTS] = of["nunique"].to_numpy(), of["size"].to_numpy()
    return table


# ---------------------------------------------------------------- what is asked for
def _require(shifts: pd.DataFrame, measure: Measure, reference: str) -> None:
    """UsageError unless the columns and the reference edge type are there."""
    needed = [c.STORM_ID, c.TRUCK_ID, c.EDGE_TYPE, measure.amount, *([measure.per] if measure.per else [])]
    missing = [name for name in needed if name not in shifts]
    if missing:
        raise UsageError(f"The shifts have no column {', '.join(missing)}, which {measure.phrase} needs.")
    types = [str(name) for name in shifts[c.EDGE_TYPE].dropna().unique()]
    if reference not in types:
        hint = near_match(reference, types) or f"Edge types with shifts: {', '.join(types) or 'none'}."
        raise UsageError(f'No shift has the reference edge type "{reference}". {hint}')


def _nothing_shared(chosen: Selection, measure: Measure, reference: str) -> str:
    kinds = chosen.measured[c.EDGE_TYPE]
    mine, others = int((kinds == reference).sum()), int((kinds != reference).sum())
    return (
        f"No storm has {measure.phrase} of both {reference} and another edge type "
        f"({counted(mine, 'shift')} of {reference}, {others} of others); at least 1 such storm is needed."
    )
