"""The figures of material and clearing.

Answers: how much was spread in each storm with each edge type, how do they differ, and what did operators think?

As in `figures`, a figure draws a result that is handed in, fits nothing and saves nothing. The words come from
`material_captions`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.clearing import rates
from trialkit.clearing.comparison import ClearingComparison
from trialkit.clearing.comparison_words import change_words, ends_words
from trialkit.clearing.differences import estimate_column
from trialkit.clearing.measures import RATIO
from trialkit.clearing.ratings import item_words
from trialkit.formatting import level_words, sentence_case
from trialkit.report import theme
from trialkit.report.figure_rows import EstimateRow, direct_label, draw_interval, number_of
from trialkit.report.material_study import CLEARING_ITEM, MaterialStudy
from trialkit.report.material_tables import RATE, storm_rates

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_STORMS = 30
"""Storms that the figure of rates has room for: those with most shifts."""
_STORM_ROW_IN, _ROW_IN, _HEAD_ROWS = 0.29, 0.47, 0.72
_BESIDE = 0.2
"""Rows between the marks of two edge types in one storm."""
_SHADES = ("#3b3b3b", "#6f6f6f", "#a9a9a9", "#d4d4d4", "#f2f2f2")
"""Scores from 1 to 5, dark to pale; the number stands in each part."""
_WIDEST = 20.0
"""How many times the largest estimate the forest reaches at most."""
LEAST_REACH_PCT = 100.0
"""How far a forest of percentages reaches at least where its intervals do."""
_BAR_IN = 0.29
_NARROWEST_PCT = 3.0
"""Share from which on the score stands in its part of the bar. [%]"""


@dataclass(frozen=True)
class ForestRow:
    """One difference of a forest with the measure above it."""

    row: EstimateRow
    words: str
    head: str


def rates_by_storm(found: MaterialStudy, ax: Axes | None = None) -> Axes:
    """Material per lane-mile in each storm, one mark for each edge type, joined across the storm.

    Parameters
    ----------
    found : MaterialStudy
        With material that was compared or at least recorded.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.

    Returns
    -------
    Axes
        Storms in order of time, at most 30. Within a row the marks are from the same storm, so that their distance is not
        the weather's.
    """
    table = shown_storms(found)
    storms = list(dict.fromkeys(table[c.STORM_ID]))
    names = edge_order(found, table[c.EDGE_TYPE])
    styles = theme.edge_styles(names)
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(1.15 + _STORM_ROW_IN * max(len(storms), 3))
        place = {storm: row for row, storm in enumerate(storms)}
        for storm, own in table.groupby(c.STORM_ID, sort=False):
            ax.plot(
                [own[RATE].min(), own[RATE].max()], [place[storm]] * 2, color=theme.GRID, lw=2.2, zorder=1, solid_capstyle="round"
            )  # fmt: skip
        for number, name in enumerate(names):
            own = table[table[c.EDGE_TYPE] == name]
            style = styles[name]
            shift = _BESIDE * (
                number - (len(names) - 1) / 2
            )  # like values lie under each other, not on top of each other
            ax.plot(
                own[RATE], own[c.STORM_ID].map(place) + shift, ls="", marker=style.marker, ms=6.2, color=style.color, mec="white", mew=0.7,
                zorder=3, label=theme.drawable(sentence_case(found.label(name)), 44), clip_on=False,
            )  # fmt: skip
        ax.set_yticks(
            range(len(storms)), [theme.drawable(_storm_words(found, storm), 26) for storm in storms]
        )
        ax.set_ylim(len(storms) - 0.4, -0.7)
        ax.set_xlim(0.0, 1.06 * float(table[RATE].max()) if len(table) else 1.0)
        ax.grid(axis="x")
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        _policy_line(ax, found)
        ax.set_xlabel(
            f"Dry material per {basis_word(found)} [{display.unit(rates.basis_unit(found.rate_basis))}]"
        )
        ax.legend(
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=min(len(names), 3) or 1,
            borderaxespad=0.2,
            handletextpad=0.3,
        )
        return ax


def differences(found: MaterialStudy, ax: Any = None) -> list[Axes]:
    """How each edge type differs from the reference in every measure, with the intervals.

    Parameters
    ----------
    found : MaterialStudy
        With at least one comparison.
    ax : sequence of Axes, optional
        One for differences in per cent and one for the snow left behind, as far as there are any; a new figure if not given.

    Returns
    -------
    list of Axes
        Left of the line is less than the reference.
    """
    panels = forest_panels(found)
    rows = [forest_rows(found, part) for part in panels]
    with theme.print_style():
        axes = (
            list(np.atleast_1d(ax).ravel())
            if ax is not None
            else _forest_axes([_height(part) for part in rows])
        )
        for panel, part, compared in zip(axes, rows, panels, strict=False):
            _forest(panel, part, compared[0])
        level = level_words(found.confidence_level)
        axes[-1].set_xlabel(
            f"{axes[-1].get_xlabel()}\nLine: {level}, from comparisons within storms.\nWhere it crosses the upright line, no difference is shown."
        )
        return axes


def forest_panels(found: MaterialStudy) -> list[list[ClearingComparison]]:
    """The comparisons that the forest shows, those in per cent and those in their own unit; single materials are in the table."""
    drawn = [
        one for one in found.comparisons if one.measure.material in ("", rates.ALL_MATERIAL, rates.CHLORIDE)
    ]
    parts = ([one for one in drawn if (one.measure.scale == RATIO) is ratio] for ratio in (True, False))
    return [part for part in parts if part]


def forest_rows(found: MaterialStudy, compared: Sequence[ClearingComparison]) -> list[ForestRow]:
    """The rows of a forest: under each measure its edge types."""
    styles = theme.edge_styles(
        [found.reference, *(name for one in compared for name in one.table[c.EDGE_TYPE].astype(str))]
    )
    rows = []
    for one in compared:
        head = sentence_case(one.measure.phrase)
        for entry in one.table.to_dict("records"):
            kind = str(entry[c.EDGE_TYPE])
            ends = [
                number_of(entry[name]) for name in (estimate_column(one.measure), c.CONF_LOW, c.CONF_HIGH)
            ]
            words = change_text(one, ends[0]) if math.isfinite(ends[0]) else "not compared"
            if math.isfinite(ends[1]) and math.isfinite(ends[2]):
                words += f" ({ends_words(ends[1], ends[2], one.measure)})"
            shown = [
                float(display.value(end, one.measure.unit)) if one.measure.scale != RATIO else end
                for end in ends
            ]
            row = EstimateRow(
                theme.drawable(sentence_case(found.label(kind)), 40), kind, "", shown[0], shown[1], shown[2], "",
                formatting.counted(int(entry[c.N_TRUCKS]), "truck"), styles[kind],
            )  # fmt: skip
            rows.append(ForestRow(row, words, head))
            head = ""
    return rows


def change_text(compared: ClearingComparison, change: float) -> str:
    """A difference as figures and tables print it: whole per cent, or hundredths of an inch."""
    places = 0 if compared.measure.scale == RATIO else display.decimals(2, compared.measure.unit)
    return change_words(change, compared.measure, places)


# ---------------------------------------------------------------- ratings
def ratings(found: Any, ax: Axes | None = None) -> Axes:
    """How often operators gave each score to each edge type, item by item.

    Parameters
    ----------
    found : RatingComparison
        `distribution` and `labels`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.

    Returns
    -------
    Axes
        One bar for each item and edge type, from the lowest score to the highest; the number in each part is its score.
    """
    bars = rating_bars(found)
    heads = sum(bool(head) for head, *_ in bars)
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(1.0 + _BAR_IN * (len(bars) + 0.9 * heads))
        ticks, names, place = [], [], 0.0
        for head, name, own in bars:
            if head:
                place += 0.9
                ax.annotate(
                    head, (0.0, place - 0.78), xycoords=("axes fraction", "data"), xytext=(2, 0), textcoords="offset points",
                    fontweight="bold", va="center", annotation_clip=False,
                )  # fmt: skip
            _score_bar(ax, own, place)
            ticks.append(place)
            names.append(f"{theme.drawable(name, 40)}, {int(own[c.N_RATINGS].sum())}")
            place += 1.0
        ax.set_yticks(ticks, names)
        ax.set_ylim(place - 0.4, -0.1)
        ax.set_xlim(0.0, 100.0)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        ax.set_xlabel(
            "Share of the ratings [%]\nThe number in a part is its score: 1 is worst, 5 is best.\nBeside each name: number of ratings."
        )
        return ax


def rating_bars(found: Any) -> list[tuple[str, str, pd.DataFrame]]:
    """The bars of the figure of ratings: heading of an item at its first bar, edge type, and its scores."""
    table = found.distribution
    items = sorted(dict.fromkeys(table[c.ITEM]), key=lambda item: item != CLEARING_ITEM)
    bars = []
    for item in items:
        head = sentence_case(item_words(str(item)))
        for kind, own in table[table[c.ITEM] == item].groupby(c.EDGE_TYPE, sort=False, observed=True):
            bars.append((head, sentence_case(found.label(str(kind))), own))
            head = ""
    return bars


def _score_bar(ax: Axes, own: pd.DataFrame, place: float) -> None:
    left = 0.0
    for score, share in zip(own[c.SCORE], own[c.SHARE_FRAC], strict=True):
        width = 100.0 * float(share)
        shade = _SHADES[int(score) - 1]
        ax.barh(place, width, left=left, height=0.72, color=shade, edgecolor=theme.PAPER, linewidth=1.0)
        if width >= _NARROWEST_PCT:
            ink = theme.PAPER if score <= 2 else theme.INK
            ax.text(
                left + width / 2,
                place,
                f"{int(score)}",
                ha="center",
                va="center",
                color=ink,
                fontsize=theme.SMALL_PT,
            )
        left += width
    ax.barh(place, left, height=0.72, facecolor="none", edgecolor=theme.QUIET_INK, linewidth=0.5)


# ---------------------------------------------------------------- rates by storm
def shown_storms(found: MaterialStudy) -> pd.DataFrame:
    """The storms that the figure of rates shows, in order of time, with rates in the basis and the units that are printed."""
    table = storm_rates(found.records)
    starts = (
        found.storms.table.set_index(c.STORM_ID)[c.START]
        if found.storms is not None
        else pd.Series(dtype=object)
    )
    if table[c.STORM_ID].nunique() > MOST_STORMS:
        most = table.groupby(c.STORM_ID)[c.N_SHIFTS].sum().nlargest(MOST_STORMS).index
        table = table[table[c.STORM_ID].isin(most)]
    start = table[c.STORM_ID].map(starts) if len(starts) else pd.Series(pd.NaT, table.index)
    start = pd.to_datetime(start).fillna(table[c.START])
    table = table.assign(**{c.START: start}).sort_values([c.START, c.STORM_ID], kind="stable")
    unit = rates.basis_unit(found.rate_basis)
    return table.assign(**{RATE: display.value(rates.rate_on_basis(table[RATE], found.rate_basis), unit)})


def edge_order(found: MaterialStudy, names: Any) -> list[str]:
    """Edge types, the reference first, then as the trial lists them."""
    there = set(map(str, names))
    order = [found.reference, *found.labels, *sorted(there)]
    return [name for name in dict.fromkeys(order) if name in there]


def basis_word(found: MaterialStudy) -> str:
    """What a printed rate is per: ``"lane-mile"``, ``"kilometer of road with two lanes"``."""
    return display.words(rates.basis_words(found.rate_basis))


def _storm_words(found: MaterialStudy, storm: str) -> str:
    starts: dict[str, pd.Timestamp] = {}
    if found.storms is not None:
        starts = dict(
            zip(found.storms.table[c.STORM_ID].astype(str), found.storms.table[c.START], strict=True)
        )
    start = starts.get(storm, pd.NaT)
    return storm if pd.isna(start) else f"{storm}, {start:%b} {start.day}"


def _policy_line(ax: Axes, found: MaterialStudy) -> None:
    """The town's own rate as an upright line with its name."""
    if not math.isfinite(found.policy_rate_lb_lane_mi):
        return
    unit = rates.basis_unit(found.rate_basis)
    at = float(display.value(rates.rate_on_basis(found.policy_rate_lb_lane_mi, found.rate_basis), unit))
    ax.axvline(at, color=theme.INK, lw=1.0, ls=(0, (6, 2)))
    ax.set_xlim(0.0, max(ax.get_xlim()[1], 1.12 * at))
    ax.annotate(
        "town's own rate", (at, 0.0), xycoords=("data", "axes fraction"), xytext=(-4, 4), textcoords="offset points", ha="right",
        va="bottom", rotation=90, fontsize=theme.SMALL_PT, color=theme.QUIET_INK,
    )  # fmt: skip


# ---------------------------------------------------------------- forest
def _forest(ax: Axes, rows: Sequence[ForestRow], compared: ClearingComparison) -> None:
    left, right = _forest_scale(rows, compared)
    ax.set_xlim(left, right)
    ax.grid(axis="x")
    ax.axvline(0.0, color=theme.INK, lw=1.1)
    ticks: list[float] = []
    names: list[str] = []
    place = 0.0
    for each in rows:
        if each.head:
            place += _HEAD_ROWS if ticks else 0.0
            ax.annotate(
                each.head, (0.0, place - 0.92), xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points",
                fontweight="bold", va="center", annotation_clip=False,
            )  # fmt: skip
        draw_interval(ax, _within(each.row, left, right), place, left, right)
        direct_label(ax, each.row, place, left, right, each.words)
        ticks.append(place)
        names.append("\n".join([*textwrap.wrap(each.row.name, 20), each.row.trucks]))
        place += 1.0
    ax.set_yticks(ticks, names)
    ax.set_ylim(place - 0.5, -1.25)
    ax.tick_params(axis="y", length=0, pad=9)
    ax.spines["left"].set_visible(False)
    what = "%" if compared.measure.scale == RATIO else display.unit(compared.measure.unit)
    ax.set_xlabel(
        f"Difference from {theme.drawable(compared.label(compared.table[c.REFERENCE].iloc[0]))} [{what}]; left is less"
    )


def _within(row: EstimateRow, left: float, right: float) -> EstimateRow:
    """The row with ends beyond the figure taken as open, which draws an arrow."""
    if not (math.isfinite(row.low) and math.isfinite(row.high)):
        return row
    return replace(
        row, low=row.low if row.low > left else -math.inf, high=row.high if row.high < right else math.inf
    )


def _forest_scale(rows: Sequence[ForestRow], compared: ClearingComparison) -> tuple[float, float]:
    """Ends that hold every estimate and zero; an interval that goes far beyond the estimates ends in an arrow."""
    found = [each.row.estimate for each in rows if math.isfinite(each.row.estimate)]
    ends = [end for each in rows for end in (each.row.low, each.row.high) if math.isfinite(end)]
    widest = _WIDEST * max([abs(value) for value in found], default=0.0)
    far = max(widest, LEAST_REACH_PCT) if compared.measure.scale == RATIO else math.inf
    low, high = (max(-far, min(far, end)) for end in (min([*ends, *found, 0.0]), max([*ends, *found, 0.0])))
    room = 0.12 * ((high - low) or 1.0)
    least = -105.0 if compared.measure.scale == RATIO else -math.inf
    return max(low - room, least), high + room


def _height(rows: Sequence[ForestRow]) -> float:
    return len(rows) + _HEAD_ROWS * sum(bool(each.head) for each in rows) + 0.75


def _forest_axes(heights: Sequence[float]) -> list[Axes]:
    import matplotlib.pyplot as plt

    size = (theme.WIDTH_IN, 0.75 + _ROW_IN * sum(heights) + 0.35 * len(heights))
    _, axes = plt.subplots(len(heights), 1, figsize=size, squeeze=False, height_ratios=list(heights))
    return list(axes.ravel())


def _new_axes(height_in: float) -> Axes:
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(theme.WIDTH_IN, height_in))
    return ax
