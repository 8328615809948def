"""The words that belong to the figures of cost: caption, description, and the numbers behind them.

Answers: what does this figure of cost say, in words that can never disagree with it?

As `captions`: each function returns the arguments that `blocks.figure` takes besides the drawing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    counted,
    level_words,
    listed,
    money,
    number,
    percent,
    ratio_number,
    sentence_case,
)
from trialkit.money.break_even import LIFE_RATIO
from trialkit.money.cost_sensitivity import AT_HIGH, AT_LOW, SETTING_HIGH, SETTING_LOW
from trialkit.money.costs import PER_MILE
from trialkit.money.curves import SPENT
from trialkit.report import turning_figures
from trialkit.report.captions import FigureWords, figure_words, some
from trialkit.report.cost_tables import cost_text_of, line_text
from trialkit.report.cost_words import GROUP, grouped_lines, mile
from trialkit.report.figure_rows import labels_of

TEXT = "text"
PER, AT_LOW_TEXT, AT_HIGH_TEXT = "per_mile_text", "at_low_text", "at_high_text"
FARTHER = 1.02
"""Steps that stand this many times the life apart, or more, are told of."""
NEEDED, FOUND_RATIO = "needed_ratio", "found_ratio"


def cost_per_mile(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `cost_figures.cost_per_mile`; the same arguments as there."""
    names = labels_of(result, labels)
    level = level_words(result.confidence_level)
    parts = grouped_lines(result)
    said, rows = [], []
    for row in result.table.to_dict("records"):
        kind = row[c.EDGE_TYPE]
        told = cost_text_of(row, result.currency)
        own = parts[parts[c.EDGE_TYPE] == kind]
        largest = own.sort_values(c.ESTIMATE, ascending=False, kind="stable")[GROUP].head(1).to_list()
        most = f", most of it {largest[0]}" if largest and math.isfinite(row[c.COST_PER_MI]) else ""
        said.append(f"{sentence_case(names.get(kind, kind))}: {told}{most}.")
        rows += [
            (kind, part[GROUP], line_text(part[c.ESTIMATE], result.currency))
            for part in own.to_dict("records")
        ]
        rows.append((kind, "total", told))
    caption = f"Cost per blade-down {mile()} of each edge type by its parts, and the {level} of the total."
    alt = (
        f"Bar chart with a bar for {_types(len(result.table))}: cost per blade-down {mile()}, stacked by its parts, with the {level} of the "
        f"total. {some(said)}"
    )
    data = pd.DataFrame(rows, columns=[c.EDGE_TYPE, GROUP, TEXT])
    return figure_words(caption, alt, data, names, None, {GROUP: "Part", TEXT: f"Per blade-down {mile()}"})


def break_even(curve: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `cost_figures.break_even`; the same arguments as there."""
    names, inputs = labels_of(curve, labels), curve.inputs
    other = names.get(inputs.reference, inputs.reference)
    said, rows = [], []
    for row in curve.even.table.to_dict("records"):
        kind = row[c.EDGE_TYPE]
        needed, found = (_times(row[name]) for name in (c.BREAK_EVEN_LIFE_RATIO, LIFE_RATIO))
        said.append(
            f"{sentence_case(names.get(kind, kind))} just pays at {needed} and was found to last {found}."
        )
        rows.append((kind, needed, found))
    band = curve.bands.to_dict("records")[0]
    told = cost_text_of({**band, c.COST_PER_MI: band[c.ESTIMATE]}, inputs.currency)
    caption = (
        f"What a blade-down {mile()} would cost if a type lasted longer or shorter, against {other}. Filled marks are best estimates; "
        "whether a saving is shown is for the verdict to say."
    )
    alt = (
        f"Falling curves, one for {_types(len(curve.even.table))}: cost per blade-down {mile()} over the life of the type in times that of "
        f"{other}. A level band is {other} at {told}. {some(said)}"
    )
    data = pd.DataFrame(rows, columns=[c.EDGE_TYPE, NEEDED, FOUND_RATIO])
    headings = {NEEDED: f"Just pays at a life of, in times that of {other}", FOUND_RATIO: "Found"}
    return figure_words(caption, alt, data, names, None, headings)


def cumulative(curve: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `cost_figures.cumulative`; the same arguments as there."""
    names, currency = labels_of(curve, labels), curve.inputs.currency
    rows, said = [], []
    for kind, own in curve.table.groupby(c.EDGE_TYPE, sort=False):
        first, last = (money(float(own[SPENT].iloc[at]), currency) for at in (0, -1))
        rows.append((str(kind), first, last))
        said.append(
            f"{sentence_case(names.get(str(kind), str(kind)))}: {first} at the start, {last} at the end."
        )
    end = f"{number(display.value(curve.table[c.MILES_MI].max(), 'mi'))} {display.word('miles')}"
    caption = (
        f"What one plow costs in edges, {mile()} by {mile()}, by the best estimates and without discounting. {curve.sentence()} "
        f"Whether a saving is shown is for the verdict to say.{_far_steps(curve, names)}"
    )
    alt = f"Rising lines with steps, one for {_types(len(rows))}: money spent for one plow over {end}. {some(said)} {curve.sentence()}"
    data = pd.DataFrame(rows, columns=[c.EDGE_TYPE, AT_LOW_TEXT, AT_HIGH_TEXT])
    return figure_words(
        caption, alt, data, names, None, {AT_LOW_TEXT: "At the start", AT_HIGH_TEXT: f"After {end}"}
    )


def tornado(result: Any, *, labels: Mapping[str, str] | None = None, first: str = "") -> FigureWords:
    """Words for `turning_figures.tornado`; the same arguments as there."""
    names = labels_of(result, labels)
    kinds = turning_figures.shown_types(result, first)
    told = dict(zip(dict.fromkeys(result.table[c.EDGE_TYPE].astype(str)), result.sentences(), strict=True))
    rows = []
    for kind in kinds:
        for row in result.table[result.table[c.EDGE_TYPE] == kind].to_dict("records"):
            ends = [
                f"{row[setting]}: {money(float(display.value(row[at], PER_MILE)), result.currency, 2)}"
                for setting, at in ((SETTING_LOW, AT_LOW), (SETTING_HIGH, AT_HIGH))
            ]
            rows.append((kind, sentence_case(row[c.TERM]), *ends))
    missing = len(told) - len(kinds)
    rest = f" {counted(missing, 'edge type is', 'edge types are')} in the table only." if missing else ""
    small = (
        " A figure that moves next to nothing has no bar."
        if len(rows) > sum(len(turning_figures.bars(result, kind)) for kind in kinds)
        else ""
    )
    caption = f"What each uncertain figure does to the difference in cost, one at a time.{small}{rest}"
    alt = f"Bar chart, a panel for {_types(len(kinds))}, the longest bar on top. {some([told[kind] for kind in kinds])}"
    data = pd.DataFrame(rows, columns=[c.EDGE_TYPE, c.TERM, AT_LOW_TEXT, AT_HIGH_TEXT])
    headings = {c.TERM: "What is moved", AT_LOW_TEXT: "At its low end", AT_HIGH_TEXT: "At its high end"}
    return figure_words(caption, alt, data, names, None, headings)


def _far_steps(curve: Any, names: Mapping[str, str]) -> str:
    """Where steps stand farther apart than a life is long: what breaks first never wears out."""
    said = []
    for kind, own in curve.table.groupby(c.EDGE_TYPE, sort=False):
        steps = own.loc[own[c.MILES_MI].duplicated() & (own[c.MILES_MI] > 0), c.MILES_MI]
        life = curve.inputs.edge(str(kind)).life_mi
        if len(steps) and float(steps.iloc[0]) > FARTHER * life:
            said.append(
                f"{percent(100 * (float(steps.iloc[0]) / life - 1))} with {names.get(str(kind), str(kind))}"
            )
    if not said:
        return ""
    return (
        " Edges that broke first never wear out, so steps stand farther apart than a life is long "
        f"(by {listed(said)}); breaks are in the slope of the line."
    )


def _types(n: int) -> str:
    return f"each of {counted(n, 'edge type')}" if n != 1 else "one edge type"


def _times(ratio: float) -> str:
    return f"{ratio_number(ratio)} times" if math.isfinite(ratio) else "no known life"
