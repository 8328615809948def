"""The words that belong to the figures of lives: caption, description, and the numbers behind them.

Answers: what does this figure of lives say, in words that can never disagree with it?

As `captions`: each function returns the arguments that `blocks.figure` takes besides the drawing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges.life import LIFE_UNIT
from trialkit.edges.life_check import NOT_YET
from trialkit.edges.observed import BROKEN_OR_LOST, CAUSE, NOT_ENDED, WORN_OUT
from trialkit.formatting import level_words
from trialkit.report import captions
from trialkit.report.captions import (
    MOST_SETS,
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
from trialkit.report.life_figures import MOST_TRUCKS, check_rows, life_rows, life_words, that_ran

CAUSE_NOUNS = {
    WORN_OUT: "worn out",
    BROKEN_OR_LOST: "broken or lost",
    NOT_ENDED: "neither worn out nor broken",
}
MEAN_LIFE = "mean life"
MOST_NAMED = 5
_MEAN_COLUMNS = [c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH]


def lives(projection: Any, observed: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `life_figures.lives`; the same arguments as there."""
    names = labels_of(projection, labels)
    table = life_rows(projection, observed)
    several = several_positions(table)
    said = []
    sets = displayed(that_ran(observed.lives))
    for row in displayed(table).to_dict("records"):
        estimate, low, high = (number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH))
        parts = [life_words(estimate, low, high)]
        low, high = number_of(row[c.PRED_LOW]), number_of(row[c.PRED_HIGH])
        if math.isfinite(low):
            parts.append(f"next set {formatting.range_span(low, high)} {display.unit(LIFE_UNIT)}")
        parts += _sets_counted(_own(sets, row))
        said.append(f"{formatting.sentence_case(who(row, names, several))}: {'; '.join(parts)}.")
    level = level_words(projection.confidence_level)
    caption = (
        f"Mean life of each edge type to its discard limit with its {level}, where the next set may lie, and the sets of the "
        f"trial.{_not_drawn(observed.lives)}"
    )
    alt = f"Chart with a row for {rows_counted(table)}: mean life, its {level}, the range for the next set, and single sets. {some(said)}"
    data = _lives_data(table, observed.lives)
    headings = {SHOWN: "Shown as", c.ESTIMATE: "Mean life", c.MILES_MI: "Miles of the set"}
    return figure_words(caption, alt, data, names, projection.confidence_level, headings)


def life_ratios(result: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `life_figures.life_ratios`; the same arguments as there."""
    title = "How many times as long as {reference} each edge type lasts"
    return captions.ratio_forest(result, labels, title, "times as long as {reference}", "Times as long")


def predicted(check: Any, *, labels: Mapping[str, str] | None = None) -> FigureWords:
    """Words for `life_figures.predicted`; the same arguments as there."""
    names = labels or {}
    table = check.table
    shown = check_rows(table)
    trucks = table[[c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE]].astype(str).drop_duplicates()
    more = len(trucks) - len(shown)
    said = [check.sentence()]
    for (_, kind, truck), own in shown:
        outside = own[~own[c.VERDICT].isin([NOT_YET, "as projected"])]
        if len(outside):
            words = formatting.listed(list(dict.fromkeys(outside[c.VERDICT])))
            said.append(
                f"Truck {truck} ({names.get(kind, kind)}): {formatting.counted(len(outside), 'set')} {words} than projected."
            )
    rest = (
        f" Of {len(trucks)} trucks {MOST_TRUCKS} are shown, those with sets that can be judged first."
        if more > 0
        else ""
    )
    caption = (
        "Lives of sets, truck by truck, against the range that the other trucks of the same edge type project (pale bar). "
        f"{check.sentence()}{rest}{_not_drawn(table)}"
    )
    alt = (
        f"Chart with a row for each of {formatting.counted(len(shown), 'truck')}: its sets as marks on an axis of {display.word('miles')}, "
        f"over the range projected from the other trucks. {some(said)}"
    )
    kept = [
        c.EDGE_TYPE,
        c.PLOW_POSITION,
        c.TRUCK_ID,
        c.SET_ID,
        c.MILES_MI,
        CAUSE,
        c.PRED_LOW,
        c.PRED_HIGH,
        c.VERDICT,
    ]
    data = table[kept].assign(
        **{
            CAUSE: table[CAUSE].map(CAUSE_NOUNS).fillna(""),
            **{name: display.value(table[name], LIFE_UNIT) for name in (c.PRED_LOW, c.PRED_HIGH)},
        }
    )
    headings = {CAUSE: "Ended", c.PRED_LOW: "Projected from", c.VERDICT: "Against the projection"}
    return figure_words(caption, alt, data, names, None, headings)


def _not_drawn(sets: pd.DataFrame) -> str:
    """Which sets have run no miles yet and so have no mark."""
    names = sorted(set(sets[c.SET_ID].astype(str)) - set(that_ran(sets)[c.SET_ID].astype(str)))
    if not names:
        return ""
    more = [f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else []
    verb = "have" if len(names) > 1 else "has"
    return display.words(
        f" {formatting.listed([*names[:MOST_NAMED], *more])} {verb} run no miles yet and {verb} no mark."
    )


def _own(sets: pd.DataFrame, row: Mapping[Any, Any]) -> pd.DataFrame:
    kind, place = (sets[name].astype(str) == str(row[name]) for name in (c.EDGE_TYPE, c.PLOW_POSITION))
    return sets[kind & place]


def _sets_counted(sets: pd.DataFrame) -> list[str]:
    """How many sets ended of each cause, and after how many miles, as they are shown."""
    said = []
    for cause, words in CAUSE_NOUNS.items():
        own = sets.loc[sets[CAUSE] == cause, c.MILES_MI]
        if own.empty:
            continue
        low, high = (formatting.fixed(value, 0) for value in (own.min(), own.max()))
        miles = f"{low} to {high}" if low != high else low
        after = f"after {miles} {display.word('miles')}"
        said.append(f"{formatting.counted(len(own), 'set')} {words} {after}")
    return said


def _lives_data(table: pd.DataFrame, sets: pd.DataFrame) -> pd.DataFrame:
    """Mean life and next set of each edge type, followed by its sets (or their number, where they are many)."""
    keys = [c.EDGE_TYPE, c.PLOW_POSITION]
    rows = []
    for row in table.to_dict("records"):
        key = {name: str(row[name]) for name in keys}
        rows.append({**key, SHOWN: MEAN_LIFE, **{name: row[name] for name in _MEAN_COLUMNS}})
        own = _own(sets, row)
        if len(sets) <= MOST_SETS:
            rows += [
                {**key, SHOWN: f"{one[c.SET_ID]}, {CAUSE_NOUNS[one[CAUSE]]}", c.MILES_MI: one[c.MILES_MI]}
                for one in own.sort_values(c.MILES_MI).to_dict("records")
            ]
        else:
            rows += [{**key, SHOWN: words} for words in _sets_counted(displayed(own))]
    data = pd.DataFrame(rows, columns=[*keys, SHOWN, *_MEAN_COLUMNS, c.MILES_MI])
    return data.astype(dict.fromkeys([*_MEAN_COLUMNS, c.MILES_MI], float)).assign(**{c.UNIT: LIFE_UNIT})
