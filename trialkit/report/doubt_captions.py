"""The words that belong to the figures of `doubt_figures`.

Answers: what do these figures say, in words that can never disagree with them?

As in `captions`: ``blocks.figure(doubt_figures.board(board), **doubt_captions.board(board))``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.formatting import level_words, ratio_number
from trialkit.report import doubt_figures
from trialkit.report.captions import FigureWords, figure_words, several_positions, some, who
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import labels_of, number_of, types_of
from trialkit.report.figures import n_trucks, ratio_words

MOST_ROWS = 60
LONGEST_MI = "longest_mi"


def truck_wear(rates: Any, readings: pd.DataFrame, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `doubt_figures.truck_wear`; the same arguments as there."""
    names = labels_of(rates, labels)
    wear = doubt_figures.wear_since_install(readings)
    shown, miles = displayed(wear), display.word("miles")
    said = []
    for name in types_of(wear):
        own = shown[shown[c.EDGE_TYPE].astype(str) == name]
        said.append(
            f"{formatting.named(name, names)}: {formatting.counted(n_trucks(own), 'truck')}, "
            f"{formatting.counted(own[c.SET_ID].nunique(), 'set')}, up to "
            f"{formatting.fixed(own[doubt_figures.WEAR_IN].max(), display.decimals(2, 'in'))} {display.unit('in')} of wear over up "
            f"to {formatting.number(own[c.MILES_MI].max())} {miles}."
        )
    caption = (
        "Wear since install of every set, one panel for each edge type, with the mean rate as a dashed line; each panel has "
        "its own scale of wear."
    )
    alt = (
        f"{formatting.counted(len(said), 'panel')}, one for each edge type: mean wear of the stations of each set against "
        f"blade-down {miles}. {some(said)}"
    )
    keys = [c.EDGE_TYPE, c.TRUCK_UNIT]
    table = wear.astype(dict.fromkeys(keys, str)).groupby(keys, sort=False)
    data = table.agg(
        **{
            c.N_SETS: (c.SET_ID, "nunique"),
            LONGEST_MI: (c.MILES_MI, "max"),
            doubt_figures.WEAR_IN: (doubt_figures.WEAR_IN, "max"),
        }
    ).reset_index()
    headings = {LONGEST_MI: "Most miles of a set", doubt_figures.WEAR_IN: "Most wear of a set"}
    return figure_words(caption, alt, data, names, None, headings)


def residuals(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `doubt_figures.residuals`; the same arguments as there."""
    names = labels_of(result, labels)
    every = result.readings.dropna(subset=[c.DISTANCE])
    said = []
    for name in types_of(every):
        own = every[every[c.EDGE_TYPE].astype(str) == name]
        odd = own[own[c.STANDS_APART] != doubt_figures.NO]
        rows = [str(row) for row in odd.index[: doubt_figures.MOST_NAMED_READINGS]]
        which = f" ({'row' if len(odd) == 1 else 'rows'} {formatting.listed(rows)})" if rows else ""
        more = " and more" if len(odd) > len(rows) else ""
        said.append(
            f"{formatting.named(name, names)}: {formatting.counted(len(own), 'reading')} between "
            f"{formatting.fixed(own[c.DISTANCE].min(), 1)} and {formatting.fixed(own[c.DISTANCE].max(), 1)}; "
            f"{formatting.counted(len(odd), 'stands', 'stand') if len(odd) else 'none stands'} apart{which}{more}."
        )
    caption = (
        "Distance of every reading from the line of its segment, in residual standard deviations; ringed readings stand apart "
        "and are named by their row in the readings table."
    )
    alt = (
        f"{formatting.counted(len(said), 'panel')}, one for each edge type: distance from the fitted line against blade-down "
        f"{display.word('miles')}, with the limits beyond which a reading stands apart. {some(said)}"
    )
    counted = every.astype({c.EDGE_TYPE: str, c.TRUCK_UNIT: str}).groupby(
        [c.EDGE_TYPE, c.TRUCK_UNIT], sort=False
    )
    data = counted[c.DISTANCE].agg([("n", "size"), ("least", "min"), ("most", "max")]).reset_index()
    headings = {"n": "Readings", "least": "Farthest below, SD", "most": "Farthest above, SD"}
    return figure_words(caption, alt, data, names, None, headings)


def board(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `doubt_figures.board`; the same arguments as there."""
    names = labels_of(result, labels)
    every = result.comparisons()
    shown = [doubt_figures.board_rows(rows) for rows in every[: doubt_figures.MOST_COMPARISONS]]
    references = [names.get(name, name) for name in dict.fromkeys(result.table[c.REFERENCE].astype(str))]
    reference = formatting.listed(references) or "the reference"
    said = []
    for rows in shown:
        first = rows.iloc[0]
        ends = [number_of(first[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)]
        fallen = rows.loc[rows[c.STANDS] == doubt_figures.NO, c.VARIANT].tolist()
        known = rows[c.ESTIMATE].dropna()
        reach = (
            f"; estimates in the rows between {ratio_number(known.min())} and {ratio_number(known.max())} times"
            if len(known) > 1
            else ""
        )
        falls = f"; it does not stand {formatting.listed(fallen)}" if fallen else ""
        said.append(f"{_name(first, names, result)}: as reported {ratio_words(*ends)}{reach}{falls}.")
    rest = len(every) - len(shown)
    more = f" The first {len(shown)} of {len(every)} comparisons are drawn." if rest > 0 else ""
    caption = (
        f"How many times slower than {reference} each edge type wears, as reported and with one thing changed at a time, with "
        f"its {level_words(result.confidence_level)}.{more}"
    )
    alt = (
        f"{formatting.counted(len(shown), 'panel')} with a row for each change: times slower than {reference} with its "
        f"{level_words(result.confidence_level)}, and a band for the interval as reported. {some(said)}"
    )
    kept = [
        c.EDGE_TYPE, c.PLOW_POSITION, c.VARIANT, c.TRUCK_ID, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.N_TRUCKS,
        c.N_TRUCKS_REFERENCE, c.STANDS,
    ]  # fmt: skip
    data = pd.concat(shown)[kept] if shown else result.table[kept]
    headings = {
        c.ESTIMATE: "Times slower", c.TRUCK_ID: "Truck left out", c.N_TRUCKS_REFERENCE: "Trucks with the reference",
    }  # fmt: skip
    return figure_words(caption, alt, data, names, result.confidence_level, headings)


def _name(row: pd.Series, names: Mapping[str, str], result: Any) -> str:
    return formatting.sentence_case(who(row, names, several_positions(result.table)))
