"""The words that belong to the figures of uneven wear.

Answers: what does this figure say, in words that can never disagree with it?

As `captions`: each function returns the arguments that `blocks.figure` takes besides the drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges.profile import SHARES, USED_PCT, WORN_IN
from trialkit.edges.unevenness import RANGE
from trialkit.formatting import level_words
from trialkit.report.captions import (
    SHOWN,
    FigureWords,
    figure_words,
    rows_counted,
    several_positions,
    some,
    who,
)
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import labels_of, number_of
from trialkit.report.profile_figures import profile_cells, range_words


def profiles(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `profile_figures.profiles`; the same arguments as there."""
    names = labels_of(result, labels)
    several = several_positions(result.table)
    last = result.table[result.table[c.SHARE_FRAC] == SHARES[-1]]
    said = []
    for place, kind in profile_cells(result.table):
        own = last[(last[c.PLOW_POSITION] == place) & (last[c.EDGE_TYPE] == kind)]
        name = formatting.sentence_case(who({c.EDGE_TYPE: kind, c.PLOW_POSITION: place}, names, several))
        gone = formatting.listed([formatting.percent(value) for value in own[USED_PCT]])
        said.append(
            f"{name}: after {formatting.number(display.value(own[c.MILES_MI].iloc[0], 'mi'))} {display.word('miles')} {gone} of the usable depth is gone at stations "
            f"{own[c.STATION].iloc[0]} to {own[c.STATION].iloc[-1]}."
        )
    caption = (
        "Share of the usable depth that is gone at each station across the blade, as seen from the cab, after a quarter, a half, "
        f"three quarters and all of the {display.word('miles')} over which each set was read."
    )
    panels = formatting.counted(len(said), "panel")
    alt = f"{panels}, one for each edge type and plow position: profiles across the blade from new down to the discard limit. {some(said)}"
    shown = [c.EDGE_TYPE, c.PLOW_POSITION, c.MILES_MI, c.STATION, WORN_IN, USED_PCT, c.N_TRUCKS, c.N_SETS]
    headings = {USED_PCT: "Usable depth gone", WORN_IN: "Worn away"}
    return figure_words(caption, alt, result.table[shown], names, None, headings)


def unevenness(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `profile_figures.unevenness`; the same arguments as there."""
    names = labels_of(result, labels)
    table = result.table
    several = several_positions(table)
    said = []
    for row in displayed(table).to_dict("records"):
        ends = [number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)]
        trucks = formatting.counted(int(row[c.N_TRUCKS]), "truck")
        said.append(f"{formatting.sentence_case(who(row, names, several))}: {range_words(*ends)}, {trucks}.")
    level = level_words(result.confidence_level)
    caption = (
        f"{display.words('Inches')} by which the thinnest and the thickest spot grow apart in 1,000 {display.word('miles')}, mean of "
        f"the trucks with its {level}; small open marks are single trucks."
    )
    alt = f"Chart with a row for {rows_counted(table)}: growth of the range across the stations, its {level} and the trucks. {some(said)}"
    kept = [c.EDGE_TYPE, c.PLOW_POSITION, SHOWN, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]
    means = table.assign(**{SHOWN: "mean of the trucks"})[kept]
    trucks_shown = result.trucks.assign(
        **{
            SHOWN: result.trucks[c.TRUCK_UNIT].astype(str).map(formatting.position_name),
            c.ESTIMATE: result.trucks[RANGE],
        }
    )
    data = pd.concat([means, trucks_shown[kept[:4]]], ignore_index=True)
    unit = table[c.UNIT].iloc[0] if len(table) else ""
    return figure_words(
        caption, alt, data.assign(**{c.UNIT: unit}), names, result.confidence_level, {SHOWN: "Shown as"}
    )
