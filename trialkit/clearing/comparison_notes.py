"""The caveats of a comparison of clearing.

Answers: what was left out, what could not be compared, and which other figure disagrees?
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import fdtrc

from trialkit import columns as c
from trialkit.clearing import selection as sel
from trialkit.clearing.comparison_words import Label, change_words, ends_words
from trialkit.clearing.differences import estimate_column
from trialkit.clearing.measures import RATIO, Measure
from trialkit.clearing.variants import TWO_STAGES, WITH_NONE, Variants
from trialkit.formatting import counted, listed, number, sentence_case
from trialkit.stats.inference import PAIRS_UNUSED, pairing_used
from trialkit.stats.two_stage import BlockedDifferences
from trialkit.table_parts import NO

Tables = tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]
"""The comparison, what each truck used, and the season totals."""
UNLIKELY = 0.05
"""Chance of spreads so different, were they alike, below which a note says so; common practice, no source."""


def left_out_notes(
    left_out: pd.DataFrame, measured: pd.DataFrame, measure: Measure, label: Label
) -> Iterator[str]:
    """One note for each reason for which shifts were left out, counts by edge type where they matter."""
    totals = left_out.groupby(c.REASON, sort=False)[c.N_SHIFTS].sum()
    for reason, words in _REASONS.items():
        if reason in totals.index:
            n = int(totals[reason])
            yield words.format(
                shifts=counted(n, "shift"), were="was" if n == 1 else "were",
                it="it" if n == 1 else "they", has="has" if n == 1 else "have", noun=measure.phrase,
            )  # fmt: skip
    zeros = left_out[left_out[c.REASON] == sel.ZERO]
    if not zeros.empty:
        n, of = int(zeros[c.N_SHIFTS].sum()), measured.groupby(c.EDGE_TYPE)[sel.VALUE].size()
        by_type = zeros.set_index(c.EDGE_TYPE)[c.N_SHIFTS]
        shares = [f"{by_type.get(name, 0)} of {of[name]} with {label(name)}" for name in of.index]
        what = "no passes" if measure.fewer else f"no {measure.noun}"
        yield (
            f"{counted(n, 'shift')} {'has' if n == 1 else 'have'} {what} on record ({listed(shares)}). None has no place in a comparison "
            f"of ratios, so {'it is' if n == 1 else 'they are'} left out: the percentage speaks of the shifts that had some."
        )


_REASONS = {
    sel.UNKNOWN_TYPE: "{shifts} {were} left out because edge type, truck or storm is not known.",
    sel.NO_VALUE: "{shifts} without a record of {noun} {were} left out.",
    sel.CHANGED: (
        "{shifts} of trucks that changed their edge type within a storm {were} set apart: it is not known which edge did what."
    ),
    sel.ONE_TYPE: "{shifts} in storms with one edge type only {were} left out: {it} {has} nothing to be compared with.",
    sel.NOT_LINKED: "{shifts} with an edge type that shares no storm with the reference {were} left out.",
}


def row_notes(row: dict[Any, Any]) -> Iterator[str]:
    """Caveats of one row of the table, without naming it."""
    fewest = int(min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]))
    if row[c.N_STORMS] == 0:
        if pd.isna(row[c.DF]) and fewest == 0:
            yield "they were never out in the same storm, nor compared by way of another edge type."
            return
        yield "they were never out in the same storm; they are compared by way of the other edge types."
    if fewest < 2:
        yield f"{counted(fewest, 'truck')} with one of them, so no interval is given."
    pairs = int(row[c.N_PAIRS])
    if pairing_used(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE], pairs) == PAIRS_UNUSED:
        yield f"{counted(pairs, 'truck')} carried both, too few to make use of it; trucks are taken as different."
    elif pairs:
        yield f"{counted(pairs, 'truck')} carried both and {'is' if pairs == 1 else 'are'} compared with themselves."


def spread_notes(trucks: pd.DataFrame, table: pd.DataFrame, measure: Measure, label: Label) -> Iterator[str]:
    """Edge types whose trucks spread so differently that the model, which supposes one spread, is doubtful."""
    effect = trucks[estimate_column(measure)]
    effect = np.log1p(effect / 100.0) if measure.scale == RATIO else effect
    groups = effect.groupby(trucks[c.EDGE_TYPE])
    variance, n = groups.var().to_dict(), groups.count().to_dict()
    for row in table[(table[c.N_PAIRS] == 0) & table[c.DF].notna()].to_dict("records"):
        names = sorted((row[c.EDGE_TYPE], row[c.REFERENCE]), key=variance.__getitem__)
        low, high = (variance[name] for name in names)
        if low > 0 and 2 * fdtrc(n[names[1]] - 1, n[names[0]] - 1, high / low) < UNLIKELY:
            yield (
                f"The trucks with {label(names[1])} differ among themselves {number(math.sqrt(high / low), 2)} times as much as those "
                f"with {label(names[0])}, more than chance explains. The comparison supposes that they spread alike; of the other "
                f'ways, "{TWO_STAGES}" does not, and is to be preferred.'
            )


def notes(
    chosen: sel.Selection,
    fit: BlockedDifferences,
    ways: Variants,
    tables: Tables,
    measure: Measure,
    label: Label,
) -> Iterator[str]:
    """All caveats of a comparison, in the order in which they are printed."""
    table, trucks, totals = tables
    yield from left_out_notes(chosen.left_out, chosen.measured, measure, label)
    for row in table.to_dict("records"):
        who = f"{sentence_case(label(row[c.EDGE_TYPE]))} against {label(row[c.REFERENCE])}"
        yield from (f"{who}: {what}" for what in row_notes(row))
    if not fit.units_first:
        yield from spread_notes(trucks, table, measure, label)
    if not fit.converged:
        yield "The search for the spread between trucks did not end; the intervals are doubtful."
    yield from ways.notes
    yield from _variant_notes(ways.table, measure, label)
    yield from _naive_notes(totals, table, measure, label)


def _variant_notes(ways: pd.DataFrame, measure: Measure, label: Label) -> Iterator[str]:
    for row in ways[(ways[c.AGREE] == NO) | (ways[c.VARIANT] == WITH_NONE)].to_dict("records"):
        verdict = "comes to another finding" if row[c.AGREE] == NO else "gives"
        found = change_words(row[estimate_column(measure)], measure)
        ends = (
            f" ({ends_words(row[c.CONF_LOW], row[c.CONF_HIGH], measure)})"
            if pd.notna(row[c.CONF_LOW])
            else ""
        )
        colon = ":" if row[c.AGREE] == NO else ""
        yield (
            f"{sentence_case(label(row[c.EDGE_TYPE]))} against {label(row[c.REFERENCE])}, {row[c.VARIANT]}: this "
            f"{verdict}{colon} {found}{ends}."
        )


def _naive_notes(totals: pd.DataFrame, table: pd.DataFrame, measure: Measure, label: Label) -> Iterator[str]:
    column = estimate_column(measure)
    within = table.set_index(c.EDGE_TYPE)[column]
    for row in totals[totals[c.AGREE] == NO].to_dict("records"):
        points = (
            f"{abs(row[c.GAP]):.0f} points"
            if measure.scale == RATIO
            else change_words(row[c.GAP], measure, 1)
        )
        yield (
            f"Season totals divided would say that {label(row[c.EDGE_TYPE])} {measure.verb} "
            f"{change_words(row[column], measure)} than {label(row[c.REFERENCE])}; within storms it is "
            f"{change_words(within[row[c.EDGE_TYPE]], measure)} ({points} apart, outside the interval). The totals compare storms "
            "and routes as well as edges."
        )
