"""The words that belong to the figures of the plan: caption, description, and the numbers behind them.

Answers: what does this figure of the plan say, in words that can never disagree with it?

As `captions`: each function returns the arguments that `blocks.figure` takes besides the drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import counted, listed, sentence_case
from trialkit.planning.sizing import rounded_up, share_of_trials
from trialkit.report.captions import FigureWords, figure_words, some
from trialkit.report.displayed import displayed
from trialkit.report.plan_figures import same_curves


def sizes(
    found: Mapping[str, Any], n_trucks: int, life: bool, *, labels: Mapping[str, str] | None = None
) -> FigureWords:
    """Words for `plan_figures.sizes`; the same arguments as there."""
    names = labels or {}
    what = "lasts so many times as long as" if life else "wears so many times slower than"
    power = next((share_of_trials(sized.plan.power) for sized in found.values()), "")
    said, rows = [], []
    for group, curve in same_curves(found, life):
        who = sentence_case(listed([names.get(name, name) for name in group]))
        pairs = list(zip(curve[c.N_TRUCKS].astype(int), curve[c.ESTIMATE].astype(float), strict=True))
        if not pairs:
            said.append(f"{who}: no difference can be counted on.")
            continue
        each = [f"{rounded_up(ratio)} with {counted(n, 'truck')}" for n, ratio in pairs]
        said.append(f"{who}: {listed(each)}.")
        rows += [
            {c.EDGE_TYPE: who, c.N_TRUCKS: n, c.ESTIMATE: float(rounded_up(ratio).replace(",", ""))}
            for n, ratio in pairs
        ]
    mark = f" The band marks this trial, with {counted(n_trucks, 'truck')} per edge type." if n_trucks else ""
    caption = (
        f"Smallest difference that a trial shows {power}, by the number of trucks per edge type: an edge type that "
        f"{what} the reference, or more. Numbers of trucks without a mark cannot be counted on to show any difference.{mark}"
    )
    alt = f"Chart of the smallest ratio that is shown, falling as more trucks carry each edge type. {some(said)}"
    data = pd.DataFrame(rows, columns=[c.EDGE_TYPE, c.N_TRUCKS, c.ESTIMATE])
    heading = "Lasts times as long, or more" if life else "Wears times slower, or more"
    return figure_words(caption, alt, data, {}, None, {c.ESTIMATE: heading, c.N_TRUCKS: "Trucks per type"})


def gauge(study: Any, deviations: pd.DataFrame, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `plan_figures.gauge`; the same arguments as there."""
    tools = listed([str(tool) for tool in study.fits])
    readers = deviations[c.READER].nunique()
    caption = (
        f"Readings of the gauge study less the mean of their piece, by person ({tools}). The band holds two standard deviations of "
        "one person's repeats to either side; a person who lies to one side of it reads high or low throughout."
    )
    alt = f"Chart with a column of marks for each piece, from {counted(readers, 'person', 'people')}, for each tool. {study.sentence()}"
    headings = {c.RESIDUAL_IN: f"Off the mean of the piece, {display.unit('in')}"}
    return figure_words(caption, alt, displayed(deviations), {}, None, headings)
