"""The words and tables that say how far the wear findings can be trusted.

Answers: do the findings stand, where do two ways of working them out differ, and what should be looked at?

Everything is said from the results of `doubt_study`; no figure is typed here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges.blade_share import PLOWING, SEASON
from trialkit.edges.sensitivity import CANNOT_TELL
from trialkit.edges.wear import RATE_UNIT, run_in_words
from trialkit.formatting import interval, level_words, number, sentence_case
from trialkit.report import blocks, season_study
from trialkit.report.captions import several_positions, who
from trialkit.report.displayed import displayed
from trialkit.report.doubt_study import Doubt
from trialkit.report.figure_rows import number_of
from trialkit.report.figures import ratio_words
from trialkit.results import Summary
from trialkit.table_parts import NO, YES

STANDS_TITLE = "Do the findings stand?"
CROSS_TITLE = "Worked out in two ways"
BEND_TITLE = "Straight or bent"
APART_TITLE = "Worth a look"
SHARES_TITLE = "Blade down and odometer"
NOTES_TITLE = "Small print of these checks"
BOARD_CAPTION = "The comparison with one thing changed at a time"
TRUCKS_CAPTION = "The comparison without each truck"
CROSS_CAPTION = "Wear rates worked out in two ways"
BEND_CAPTION = "Wear early and late in a segment"
APART_CAPTION = "What stands apart"
SHARES_CAPTION = "Share of the odometer miles with the blade down"
NOTHING_APART = "Nothing stands apart, so there is nothing to list."
NO_SHARES = "Odometers were not noted, so there is no share to show."
NOTHING_TO_DOUBT = "There is no comparison of edge types and no interval of a wear rate yet, so there is no finding that could be tried."
NO_COMPARISON = "No edge type can be compared with the reference, so there is nothing to try."

RATE_COLUMNS = {
    "Truck by truck": (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.DF),
    "One model of all readings": (c.MIXED_ESTIMATE, c.MIXED_LOW, c.MIXED_HIGH, c.MIXED_DF),
    "The same, Kenward-Roger": (c.MIXED_ESTIMATE, c.MIXED_LOW_KR, c.MIXED_HIGH_KR, c.MIXED_DF_KR),
}
SHARE_WORDS = {
    SEASON: ("Odometer miles, all driving", "Blade down, % of all driving"),
    PLOWING: ("Odometer miles of plowing shifts", "Blade down, % of plowing shifts"),
}


def said(result: Summary, title: str) -> blocks.Findings:
    """What a result says, sentence by sentence; one that has nothing to compare says so."""
    return blocks.findings(result.sentences() or (result.sentence(),), title=title)  # type: ignore[attr-defined]


def findings(doubt: Doubt) -> list[str]:
    """Whether the findings stand and the rates come out alike, for a report that has room for little."""
    if doubt.board.table.empty and doubt.cross.agrees and not (doubt.cross.table[c.AGREE] == YES).any():
        return [NOTHING_TO_DOUBT]
    return [*doubt.board.sentences(), *doubt.cross.sentences()]


def board(doubt: Doubt) -> blocks.Block:
    """Every variant but those without one truck, with a column for each comparison."""
    table = doubt.board.table
    if table.empty:
        return blocks.text(NO_COMPARISON)
    return _side_by_side(doubt, table[table[c.TRUCK_ID] == ""], c.VARIANT, BOARD_CAPTION)


def trucks(doubt: Doubt) -> blocks.Block:
    """Every comparison without each truck, with the change of the estimate."""
    rows = doubt.board.trucks()
    if rows.empty:
        return blocks.text(NO_COMPARISON)
    return _side_by_side(doubt, rows.sort_values(c.TRUCK_ID, kind="stable"), c.TRUCK_ID, TRUCKS_CAPTION)


def _side_by_side(doubt: Doubt, rows: pd.DataFrame, first: str, caption: str) -> blocks.Table:
    """A row for each change and a column for each comparison, with what can be said there."""
    columns: dict[str, dict[str, str]] = {
        _comparison(doubt, row): {} for row in doubt.board.table.to_dict("records")
    }
    for row in rows.to_dict("records"):
        columns[_comparison(doubt, row)][str(row[first])] = _ratio_cell(row)
    names = list(dict.fromkeys(rows[first].astype(str)))
    shown = pd.DataFrame({first: names})
    for name, cells in columns.items():
        shown[name] = [cells.get(one, "takes no part") for one in names]
    level = level_words(doubt.board.confidence_level)
    reference = doubt.board.label(str(rows[c.REFERENCE].iloc[0]))
    return blocks.table(
        shown, caption, headings={**{name: name for name in columns}, c.TRUCK_ID: "Truck left out"},
        notes=[f"How many times slower than {reference} it wears, with the {level}."],
    )  # fmt: skip


def _comparison(doubt: Doubt, row: Mapping[Any, Any]) -> str:
    return sentence_case(who(row, doubt.board.labels, several_positions(doubt.board.table)))


def _ratio_cell(row: Mapping[Any, Any]) -> str:
    """The ratio, the change of the estimate where a truck is left out, and whether the finding falls."""
    if row[c.STANDS] == CANNOT_TELL and row[c.REASON]:
        return str(row[c.REASON])
    ends = [number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)]
    parts = [ratio_words(*ends).removesuffix(" times")]
    if row[c.TRUCK_ID] and math.isfinite(row[c.CHANGE_PCT]):
        parts.append(f"{row[c.CHANGE_PCT]:+.0f}%".replace("+0%", "0%").replace("-0%", "0%"))
    if row[c.STANDS] == NO:
        parts.append("does not stand")
    return "; ".join(parts)


def crosscheck(doubt: Doubt) -> blocks.Table:
    """Each rate truck by truck, by one model of all readings, and by that model after Kenward and Roger."""
    rows = doubt.cross.table
    shown = rows[[c.EDGE_TYPE, c.PLOW_POSITION]].copy()
    rows = displayed(rows)
    for heading, names in RATE_COLUMNS.items():
        shown[heading] = [_rate_cell(*(row[name] for name in names)) for row in rows.to_dict("records")]
    shown[c.AGREE] = rows[c.AGREE]
    hide = [c.PLOW_POSITION] if rows[c.PLOW_POSITION].nunique() < 2 else []
    level = level_words(doubt.cross.confidence_level)
    return blocks.table(
        shown, CROSS_CAPTION, labels=doubt.cross.labels, headings={name: name for name in RATE_COLUMNS}, hide=hide,
        notes=[f"Wear in {display.unit(RATE_UNIT)} with its {level} and degrees of freedom (df)."],
    )  # fmt: skip


def _rate_cell(estimate: float, low: float, high: float, df: float) -> str:
    if not math.isfinite(estimate):
        return "not fitted"
    if not math.isfinite(low):
        return f"{number(estimate)} (no interval)"
    return f"{interval(estimate, low, high)}, {df:.1f} df"


def bend(doubt: Doubt) -> blocks.Table:
    """Early and late wear of each edge type, as used for the rates."""
    kept = [
        c.EDGE_TYPE, c.PLOW_POSITION, c.EARLY_RATE, c.LATE_RATE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.P_VALUE,
        c.N_TRUCKS,
    ]  # fmt: skip
    return blocks.table(
        doubt.bend.table[kept], BEND_CAPTION, labels=doubt.bend.labels, headings={c.ESTIMATE: "Late less early"},
        confidence_level=doubt.bend.confidence_level,
    )  # fmt: skip


def run_in(doubt: Doubt) -> list[str]:
    """What the readings just after an install show of running-in."""
    if doubt.run_in_mi > 0:
        first = (
            f"The first {run_in_words(doubt.run_in_mi)} after an install are left out of the rates as running-in. With them the wear "
            "runs like this."
        )
    else:
        first = "Nothing is left out of the rates as running-in."
    return [first, *doubt.run_in.sentences()]


def apart(doubt: Doubt) -> blocks.Block:
    """Trucks, segments and readings that stand apart."""
    table = doubt.apart.table
    if table.empty:
        return blocks.text(NOTHING_APART)
    kept = [
        c.STANDS_APART, c.EDGE_TYPE, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.DATE, c.FOUND, c.DISTANCE, c.LIMIT, c.SHEET_ROWS,
    ]  # fmt: skip
    return blocks.table(table[kept], APART_CAPTION, labels=doubt.apart.labels, headings={c.FOUND: "Found"})


def shares(doubt: Doubt) -> blocks.Block:
    """Share of the odometer miles of each truck position with the blade down, one row for each."""
    table = doubt.shares.table
    if table.empty:
        return blocks.text(NO_SHARES)
    units = sorted(dict.fromkeys(table[c.TRUCK_UNIT].astype(str)))
    shown = pd.DataFrame({c.TRUCK_UNIT: units})
    for basis, (miles, percent) in SHARE_WORDS.items():
        rows = table[table[c.BASIS] == basis].set_index(c.TRUCK_UNIT)
        if len(rows):
            driven = display.value(rows[c.DRIVEN_MI], "mi")
            shown[display.words(miles)] = driven.reindex(units).round(0).to_numpy()
            shown[percent] = (100 * rows[c.SHARE_FRAC]).reindex(units).round(0).to_numpy()
    return blocks.table(
        shown, display.words(SHARES_CAPTION), headings={name: name for name in shown.columns[1:]}
    )


def method(doubt: Doubt) -> list[str]:
    """How the findings were tried, in a few paragraphs."""
    return [
        doubt.board.method,
        doubt.cross.method,
        doubt.bend.method,
        doubt.apart.method,
        doubt.shares.method,
    ]


def caveats(doubt: Doubt) -> list[str]:
    """What these checks themselves ask to be kept in mind."""
    every = (doubt.board, doubt.cross, doubt.bend, doubt.apart, doubt.shares)
    return [note for result in every for note in result.notes]


def winters(doubt: Doubt) -> list[blocks.Block]:
    """The lives winter by winter, if the trial holds several."""
    return season_study.in_blocks(doubt.winters)
