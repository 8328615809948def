"""The words that belong to a figure: caption, description for people who cannot see it, and the numbers behind it.

Answers: what does this figure say, in words that can never disagree with it?

Everything is built from the result that was drawn. Each function returns the arguments that `blocks.figure` takes:
``blocks.figure(figures.wear_rates(rates), **captions.wear_rates(rates))``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, TypedDict

import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges import slopes as sl
from trialkit.formatting import level_words
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import number_of, types_of
from trialkit.report.figures import n_trucks, rate_words, ratio_words

MOST_ROWS_SAID = 8
"""Rows that a description spells out; the table under the figure has them all."""
MOST_SETS = 60
SHOWN = "shown"


class FigureWords(TypedDict):
    """What `blocks.figure` takes besides the drawing."""

    caption: str
    alt: str
    data: pd.DataFrame
    labels: Mapping[str, str]
    confidence_level: float | None
    headings: Mapping[str, str]


def wear_rates(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `figures.wear_rates`; the same arguments as there."""
    names = result.labels if labels is None else labels
    table = displayed(result.table)
    unit = formatting.listed(list(dict.fromkeys(table[c.UNIT].astype(str))))
    several = several_positions(table)
    said = []
    for row in table.to_dict("records"):
        estimate, low, high = (number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH))
        rate = rate_words(estimate, low, high)
        trucks = formatting.counted(int(row[c.N_TRUCKS]), "truck")
        said.append(f"{formatting.sentence_case(who(row, names, several))}: {rate}, {trucks}.")
    level = level_words(result.confidence_level)
    ends = _extremes(table, names, several, unit)
    shown_unit = f" ({unit})" if unit else ""
    caption = f"Mean wear rate of each edge type with its {level}; small open marks are single trucks.{ends}"
    alt = f"Chart with a row for {rows_counted(table)}: mean wear rate{shown_unit}, its {level} and the single trucks. {some(said)}"
    return figure_words(
        caption, alt, _rates_and_trucks(result), names, result.confidence_level, {SHOWN: "Shown as"}
    )


def wear_ratios(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `figures.wear_ratios`; the same arguments as there."""
    said = ("How many times slower than {reference} each edge type wears", "times slower than {reference}")
    return ratio_forest(result, labels, *said, "Times slower")


def ratio_forest(
    result: Any, labels: Mapping[str, str] | None, title: str, shown: str, heading: str
) -> FigureWords:
    """Words for `figures.ratio_forest`.

    Parameters
    ----------
    result, labels
        As for `wear_ratios`.
    title, shown : str
        What the caption and the description say is shown, with ``{reference}`` in it.
    heading : str
        Heading of the ratios in the table of numbers.
    """
    names = result.labels if labels is None else labels
    table = result.table
    several = several_positions(table)
    references = formatting.listed(
        [names.get(name, name) for name in dict.fromkeys(table[c.REFERENCE].astype(str))]
    )
    said = []
    open_ended = False
    for row in table.to_dict("records"):
        ends = [number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)]
        open_ended |= math.isfinite(ends[1]) and not math.isfinite(ends[2])
        said.append(f"{formatting.sentence_case(who(row, names, several))}: {ratio_words(*ends)}.")
    level = level_words(result.confidence_level)
    arrow = " An arrow has no end on that side." if open_ended else ""
    caption = f"{title.format(reference=references)}, with its {level}; 1 is the same.{arrow}"
    alt = f"Chart with a row for {rows_counted(table)}: {shown.format(reference=references)}, with its {level}. {some(said)}"
    kept = [c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.BOUNDED]
    return figure_words(caption, alt, table[kept], names, result.confidence_level, {c.ESTIMATE: heading})


def heights(result: Any, readings: pd.DataFrame, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `figures.heights`; the same arguments as there."""
    names = (getattr(result, "labels", None) or {}) if labels is None else labels
    known = readings.dropna(subset=[c.MILES_MI, c.HEIGHT_IN, c.TRUCK_UNIT, c.SEGMENT])
    sets = _sets(known)
    unit, places, miles = display.unit("in"), display.decimals(2, "in"), display.word("miles")
    said = []
    for name in types_of(known):
        own, own_sets = known[known[c.EDGE_TYPE].astype(str) == name], sets[sets[c.EDGE_TYPE] == name]
        trucks = formatting.counted(n_trucks(own), "truck")
        low, high = (display.value(own[c.HEIGHT_IN].agg(end), "in") for end in ("min", "max"))
        said.append(
            f"{formatting.sentence_case(names.get(name, name))}: {trucks}, {formatting.counted(len(own_sets), 'set')}, heights from "
            f"{formatting.fixed(high, places)} down to {formatting.fixed(low, places)} {unit} over up to "
            f"{formatting.number(display.value(own_sets[sl.SPAN_MI].max(), 'mi'))} {miles}."
        )
    lines = " with the straight line fitted to each segment" if result is not None else ""
    caption = f"Height of the edges against blade-down {miles}{lines}, one panel for each edge type on the same scales."
    alt = f"{formatting.counted(len(said), 'panel')}, one for each edge type: height against blade-down {miles}{lines}. {some(said)}"
    headings = {
        c.N_READINGS: "Readings", sl.SPAN_MI: "Miles between first and last reading",
        sl.FIRST_HEIGHT_IN: "Highest reading", sl.LAST_HEIGHT_IN: "Lowest reading",
    }  # fmt: skip
    return figure_words(
        caption, alt, sets if len(sets) <= MOST_SETS else _trucks(sets), names, None, headings
    )


def figure_words(
    caption: str, alt: str, data: pd.DataFrame, labels: Any, level: float | None, headings: Any
) -> FigureWords:
    """The arguments of `blocks.figure` besides the drawing."""
    return FigureWords(
        caption=caption, alt=alt.strip(), data=data.reset_index(drop=True), labels=labels, confidence_level=level, headings=headings
    )  # fmt: skip


def several_positions(table: pd.DataFrame) -> bool:
    """Whether the rows are of more than one plow position."""
    return table[c.PLOW_POSITION].nunique() > 1


def who(row: Mapping[Any, Any] | pd.Series, labels: Mapping[str, str], several: bool) -> str:
    """Edge type of a row as a description names it, with the plow position if there are several."""
    name = labels.get(str(row[c.EDGE_TYPE]), str(row[c.EDGE_TYPE]))
    return f"{name}, {formatting.position_name(str(row[c.PLOW_POSITION]))}" if several else name


def rows_counted(table: pd.DataFrame) -> str:
    """How many rows a figure has, and of what."""
    if several_positions(table):
        return f"each of {len(table)} pairs of edge type and plow position"
    return f"each of {formatting.counted(len(table), 'edge type')}" if len(table) != 1 else "one edge type"


def some(said: list[str]) -> str:
    """The first sentences, and that the table has the rest."""
    more = len(said) - MOST_ROWS_SAID
    return " ".join(
        [*said[:MOST_ROWS_SAID], *([f"{more} more are in the table of numbers."] if more > 0 else [])]
    )


def _extremes(table: pd.DataFrame, labels: Mapping[str, str], several: bool, unit: str) -> str:
    """The fastest and the slowest, if there are two to tell apart."""
    rated = table.dropna(subset=[c.ESTIMATE]).sort_values(c.ESTIMATE, kind="stable").to_dict("records")
    if len(rated) < 2:
        return ""
    ends = []
    for row in (rated[0], rated[-1]):
        estimate, low, high = (number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH))
        places = formatting.interval_decimals(estimate, low, high)
        said = formatting.fixed(estimate, places) if estimate > 0 else rate_words(estimate, low, high)
        ends.append((who(row, labels, several), said, formatting.fixed(estimate, places)))
    (slow, least, low_end), (fast, most, high_end) = ends
    return f" Slowest: {slow}, {least}; fastest: {fast}, {most} {unit}." if low_end != high_end else ""


def _rates_and_trucks(result: Any) -> pd.DataFrame:
    """The mean of each edge type, followed by its trucks."""
    keys = [c.EDGE_TYPE, c.PLOW_POSITION]
    kept = [c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]
    means = without_ends_below_zero(result.table)[[*keys, *kept]].assign(**{SHOWN: "mean of the trucks"})
    means[c.ROW] = range(len(means))
    order = {
        key: place
        for place, key in enumerate(
            zip(means[c.EDGE_TYPE].astype(str), means[c.PLOW_POSITION].astype(str), strict=True)
        )
    }
    trucks = result.trucks[[*keys, c.ESTIMATE]].assign(
        **{SHOWN: result.trucks[c.TRUCK_UNIT].astype(str).map(formatting.position_name)}
    )
    own = zip(trucks[c.EDGE_TYPE].astype(str), trucks[c.PLOW_POSITION].astype(str), strict=True)
    trucks = trucks.assign(**{c.ROW: [order.get(key, len(order)) for key in own]})
    both = pd.concat([means.astype(dict.fromkeys(keys, object)), trucks.astype(dict.fromkeys(keys, object))])
    both = both.sort_values(c.ROW, kind="stable").assign(
        **{c.UNIT: result.table[c.UNIT].iloc[0] if len(result.table) else ""}
    )
    return both[[*keys, SHOWN, *kept, c.UNIT]]


def without_ends_below_zero(table: pd.DataFrame) -> pd.DataFrame:
    """Rates with a lower end of zero or less taken as open, as sentences and figures tell them: an edge does not grow."""
    none = (table[c.CONF_LOW] <= 0) & (table[c.CONF_HIGH] > 0)
    return table.assign(**{c.CONF_LOW: table[c.CONF_LOW].where(~none)})


def _sets(known: pd.DataFrame) -> pd.DataFrame:
    """Each set on each truck position: readings, miles and range of heights."""
    keys = [c.EDGE_TYPE, c.TRUCK_UNIT, c.SET_ID]
    plain = known.assign(**{name: known[name].astype(str) for name in keys})
    groups = plain.groupby(keys, sort=False)
    found = pd.DataFrame(
        {
            c.N_READINGS: groups.size(),
            sl.SPAN_MI: groups[c.MILES_MI].max() - groups[c.MILES_MI].min(),
            sl.FIRST_HEIGHT_IN: groups[c.HEIGHT_IN].max(),
            sl.LAST_HEIGHT_IN: groups[c.HEIGHT_IN].min(),
        }
    ).reset_index()
    order = {name: place for place, name in enumerate(types_of(known))}
    return found.sort_values(c.EDGE_TYPE, key=lambda names: names.map(order), kind="stable")


def _trucks(sets: pd.DataFrame) -> pd.DataFrame:
    """The sets summed up by truck position, where a table of sets would be too long."""
    groups = sets.groupby([c.EDGE_TYPE, c.TRUCK_UNIT], sort=False)
    return (
        groups.agg(
            {
                c.SET_ID: "count",
                c.N_READINGS: "sum",
                sl.SPAN_MI: "max",
                sl.FIRST_HEIGHT_IN: "max",
                sl.LAST_HEIGHT_IN: "min",
            }
        )
        .rename(columns={c.SET_ID: c.N_SETS})
        .reset_index()
    )
