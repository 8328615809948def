"""The cost of edges as blocks of a report.

Answers: what stands in this place of the report, whatever is known about costs?

Each call returns one block. Where there is nothing to show it says so in a sentence, so that a notebook needs no condition and a
report no empty table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.money import curves
from trialkit.money.costs import NO, OF_WHICH, PER_MILE, Costs
from trialkit.money.what_if import WhatIf
from trialkit.report import blocks, cost_captions, cost_figures, cost_tables, cost_words, turning_figures
from trialkit.report.cost_study import CostStudy
from trialkit.trial.checks import Trial

COSTS_TITLE = "Costs in words"
COMPARED_TITLE = "Costs compared in words"
EVEN_TITLE = "Where it just pays, in words"
YEARS_TITLE = "Several years in words"
TURNING_TITLE = "What could turn it"
ORDER_TITLE = "The order in words"
BIDS_TITLE = "The bids in words"
LIMITS_TITLE = "What the costs do not say"
CAVEATS_TITLE = "Small print of the costs"
COSTS_CAPTION = "Cost of each edge type"
LINES_CAPTION = "Cost per blade-down mile, line by line"
YEARS_CAPTION = "Cost of the fleet over several years"
TURNING_CAPTION = "Difference in cost per blade-down mile from the reference, with one figure moved at a time"
WHAT_IF_CAPTION = "The costs with something changed"
ORDER_CAPTION = "Sets and sections to have for next season"
TRUCKS_CAPTION = "Next season truck by truck"
BIDS_CAPTION = "Bids by cost per blade-down mile, the cheapest first"
SPECIFICATION_CAPTION = "Draft of a specification with properties that can be tested"
ROUNDED_ALONE = "Each line is rounded by itself, so the lines may not add up to the total to the cent."
NO_AMOUNT = "There is no figure of costs: neither prices of edges nor other amounts are on record."
RECORDS = ("costs", "fleet_plan", "bids", "edge_sets")


# ---------------------------------------------------------------- what goes in
def problems(trial: Trial) -> blocks.Block:
    """What the check found wrong or doubtful in prices, plans and bids."""
    return blocks.problems(trial.problems_of(*(name for name in RECORDS if trial.has(name))))


# ---------------------------------------------------------------- what a mile costs
def costs(found: CostStudy) -> blocks.Block:
    """What a mile costs with each edge type and what that is made of, in words."""
    return blocks.findings([*cost_words.costs(found), *cost_words.made_of(found)], title=COSTS_TITLE)


def costs_figure(found: CostStudy) -> blocks.Block:
    """Cost per mile by line with the interval of the total."""
    if found.costs is None or found.costs.table.empty:
        return blocks.text(cost_words.nothing(found))
    if not _has_amounts(found.costs):
        return blocks.text(NO_AMOUNT)
    return blocks.figure(cost_figures.cost_per_mile(found.costs), **cost_captions.cost_per_mile(found.costs))


def _has_amounts(costs: Costs) -> bool:
    """Whether there is any total, or any part but a zero, to draw."""
    return bool(costs.table[c.COST_PER_MI].notna().any() or cost_words.grouped_lines(costs)[c.ESTIMATE].any())


def costs_table(found: CostStudy) -> blocks.Block:
    """Cost per mile and season, and the saving; a sentence where nothing of it is known."""
    if found.costs is not None and not found.costs.table[[c.PRICE, c.COST_PER_MI]].notna().any(axis=None):
        return blocks.text(" ".join(cost_words.costs_not_known(found)))
    return _table(found, *cost_tables.costs_in_brief(found), COSTS_CAPTION)


def lines_table(found: CostStudy) -> blocks.Block:
    """Cost per mile, line by line."""
    frame = cost_tables.lines_table(found)
    headings = {name: name for name in cost_tables.column_names(found).values()}
    return _table(found, frame, headings, LINES_CAPTION, notes=_rounding_note(found))


def _rounding_note(found: CostStudy) -> list[str]:
    """Why the lines do not add up to a total, where they do not."""
    if found.costs is None:
        return []
    shown = found.costs.lines[found.costs.lines[OF_WHICH] == NO].assign(
        **{c.ESTIMATE: lambda rows: display.value(rows[c.ESTIMATE], PER_MILE)}
    )
    added = shown.groupby(c.EDGE_TYPE)[c.ESTIMATE].agg(lambda one: one.round(2).sum())
    totals = display.value(found.costs.table.set_index(c.EDGE_TYPE)[c.COST_PER_MI], PER_MILE).round(2)
    off = (added.reindex(totals.index) - totals).abs() > 0.005
    return [ROUNDED_ALONE] if off.any() else []


def compared(found: CostStudy) -> blocks.Block:
    """Whether each edge type costs less than the reference, with the verdict."""
    return blocks.findings(cost_words.differences(found), title=COMPARED_TITLE)


# ---------------------------------------------------------------- where it pays, and over years
def break_even(found: CostStudy) -> blocks.Block:
    """Where each edge type just pays, in words."""
    return blocks.findings(cost_words.break_even(found), title=EVEN_TITLE)


def break_even_figure(found: CostStudy) -> blocks.Block:
    """Cost per mile over the life of each type, and where it meets the reference."""
    if found.inputs is None or found.even is None:
        return blocks.text(cost_words.nothing(found))
    curve = curves.curve_over_life(found.inputs, found.even)
    if curve.table.empty:
        return blocks.text(cost_words.NOTHING_JUDGED)
    return blocks.figure(cost_figures.break_even(curve), **cost_captions.break_even(curve))


def cumulative_figure(found: CostStudy) -> blocks.Block:
    """What one plow has cost in edges after so many miles."""
    if found.inputs is None:
        return blocks.text(cost_words.nothing(found))
    curve = curves.curve_over_miles(found.inputs)
    if curve.table.empty:
        return blocks.text(cost_words.NO_PRICE)
    return blocks.figure(cost_figures.cumulative(curve), **cost_captions.cumulative(curve))


def several_years(found: CostStudy) -> blocks.Block:
    """What each type saves or costs over the horizon, in words."""
    return blocks.findings(cost_words.several_years(found), title=YEARS_TITLE)


def years_table(found: CostStudy) -> blocks.Block:
    """Costs over the horizon."""
    return _table(found, *cost_tables.cycle_in_brief(found), YEARS_CAPTION, otherwise=cost_words.NO_PLAN)


# ---------------------------------------------------------------- what if
def turning(found: CostStudy) -> blocks.Block:
    """What could turn the finding, in words."""
    return blocks.findings(cost_words.turning(found), title=TURNING_TITLE)


def turning_figure(found: CostStudy) -> blocks.Block:
    """What each uncertain figure does to the difference."""
    if found.sensitivity is None or found.sensitivity.table.empty:
        return blocks.text(cost_words.nothing(found) or cost_words.NOTHING_JUDGED)
    drawn, first = found.sensitivity, found.nearest
    return blocks.figure(
        turning_figures.tornado(drawn, first=first), **cost_captions.tornado(drawn, first=first)
    )


def turning_table(found: CostStudy) -> blocks.Block:
    """The difference with one figure moved at a time."""
    otherwise = cost_words.NOTHING_JUDGED
    return _table(found, *cost_tables.sensitivity_in_brief(found), TURNING_CAPTION, otherwise=otherwise)


def what_if_table(found: CostStudy, changed: WhatIf | None) -> blocks.Block:
    """The costs with something changed, beside those that were found."""
    frame, headings = cost_tables.what_if_in_brief(changed, found)
    notes = [cost_words.NOTHING_CHANGED] if len(frame) and frame[c.VARIANT].nunique() < 2 else []
    return _table(found, frame, headings, WHAT_IF_CAPTION, otherwise=cost_words.NOTHING_CHANGED, notes=notes)


# ---------------------------------------------------------------- next season
def to_order(found: CostStudy) -> blocks.Block:
    """What to order, in words."""
    return blocks.findings(cost_words.to_order(found), title=ORDER_TITLE)


def order_table(found: CostStudy) -> blocks.Block:
    """Pieces and cash of the fleet by winter."""
    return _table(
        found, *cost_tables.order_in_brief(found), ORDER_CAPTION, otherwise=cost_words.NOTHING_TO_ORDER
    )


def trucks_table(found: CostStudy) -> blocks.Block:
    """What each truck needs by winter."""
    return _table(
        found, *cost_tables.trucks_in_brief(found), TRUCKS_CAPTION, otherwise=cost_words.NOTHING_TO_ORDER
    )


def bids(found: CostStudy) -> blocks.Block:
    """The bids, in words."""
    return blocks.findings(cost_words.bids(found), title=BIDS_TITLE)


def bids_table(found: CostStudy) -> blocks.Block:
    """The bids by cost per mile."""
    return _table(found, *cost_tables.bids_in_brief(found), BIDS_CAPTION, otherwise=cost_words.NO_BIDS)


def specification_table(found: CostStudy) -> blocks.Block:
    """Testable properties of the recommended type."""
    return _table(
        found, found.specification, {}, SPECIFICATION_CAPTION, otherwise=cost_words.NO_SPECIFICATION
    )


# ---------------------------------------------------------------- what to keep in mind
def limits(found: CostStudy) -> blocks.Block:
    """What the costs do not say."""
    return blocks.notes(cost_words.limits(found), title=LIMITS_TITLE)


def caveats(found: CostStudy) -> blocks.Block:
    """What the analyses ask to be kept in mind."""
    return blocks.notes(cost_words.caveats(found), title=CAVEATS_TITLE)


def method(found: CostStudy) -> blocks.Block:
    """How it was worked out."""
    return blocks.text(*cost_words.method(found))


def _table(
    found: CostStudy,
    frame: pd.DataFrame,
    headings: Mapping[str, str],
    caption: str,
    *,
    otherwise: str = "",
    notes: Sequence[str] = (),
) -> blocks.Block:
    """A table, or the sentence that there is nothing to show."""
    if frame.empty:
        return blocks.text(cost_words.nothing(found) or otherwise)
    return blocks.table(frame, display.words(caption), labels=found.labels, headings=headings, notes=notes)
