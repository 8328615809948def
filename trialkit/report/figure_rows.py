"""Rows of estimates: the parts that figures of estimates with intervals share.

Answers: how does a table of estimates become rows with names, intervals and words on one axis?
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import formatting
from trialkit.report import theme

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LOG_FROM_RATIO = 10.0
"""An axis is logarithmic when the estimates differ by this factor or more."""
ROW_IN, LOW_ROW_IN = 0.62, 0.53
"""Height of a row with small marks under it, and of one without. [in]"""
PAPER_BOX = {"boxstyle": "square,pad=0.1", "facecolor": theme.PAPER, "edgecolor": "none"}
"""What lies behind a label, so that lines of the figure stop at it."""


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """One estimate of a figure."""

    name: str
    edge_type: str
    position: str
    estimate: float
    low: float
    high: float
    position_words: str
    trucks: str
    style: theme.EdgeStyle


def estimate_rows(
    table: pd.DataFrame, labels: Mapping[str, str], first: Sequence[str] = ()
) -> Iterator[EstimateRow]:
    """The rows of a table of estimates, each with its printed name and style; `first` come first in the order of styles."""
    positions = table[c.PLOW_POSITION].nunique(dropna=False) if c.PLOW_POSITION in table else 1
    styles = theme.edge_styles([*first, *types_of(table)])
    for _, entry in table.iterrows():
        edge_type = str(entry[c.EDGE_TYPE])
        position = str(entry.get(c.PLOW_POSITION, ""))
        name = theme.drawable(formatting.named(edge_type, labels), 56)
        trucks = entry.get(c.N_TRUCKS)
        yield EstimateRow(
            name, edge_type, position, number_of(entry[c.ESTIMATE]), number_of(entry[c.CONF_LOW]), number_of(entry[c.CONF_HIGH]),
            formatting.position_name(position) if positions > 1 else "", "" if trucks is None or pd.isna(trucks) else formatting.counted(int(trucks), "truck"),
            styles[edge_type],
        )  # fmt: skip


def labels_of(result: Any, labels: Mapping[str, str] | None) -> Mapping[str, str]:
    """Printed names of the edge types: those that are asked for, else those of the result."""
    return labels if labels is not None else getattr(result, "labels", None) or {}


def number_of(value: Any) -> float:
    """The value as a number; NaN where there is none."""
    return math.nan if value is None or pd.isna(value) else float(value)


def types_of(frame: pd.DataFrame) -> list[str]:
    """Edge types in the frame, the reference first where the column knows its order."""
    column = frame[c.EDGE_TYPE]
    there = set(column.dropna().astype(str))
    order = (
        [str(name) for name in column.cat.categories]
        if isinstance(column.dtype, pd.CategoricalDtype)
        else column.dropna().astype(str)
    )
    return [name for name in dict.fromkeys(order) if name in there]


def of_row(frame: pd.DataFrame, row: EstimateRow) -> pd.DataFrame:
    """The rows of another table that belong to the same edge type and plow position."""
    own = frame[frame[c.EDGE_TYPE].astype(str) == row.edge_type]
    return (
        own[own[c.PLOW_POSITION].astype(str) == row.position]
        if c.PLOW_POSITION in own and row.position
        else own
    )


def one_of(table: pd.DataFrame, column: str) -> str:
    """What a column says, said once; several things as a list."""
    return formatting.listed(list(dict.fromkeys(str(value) for value in table[column])))


def new_axes(rows: int, row_in: float = ROW_IN) -> Axes:
    """A figure of the printed width with room for so many rows, each of that height. [in]"""
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(theme.WIDTH_IN, 0.85 + row_in * max(rows, 1)))
    return ax


def new_panels(
    n: int, across: int, rest_in: float, panel_in: float, *, sharex: bool = False, sharey: bool = False
) -> np.ndarray:
    """`n` panels of the printed width, so many beside each other; at least one.

    Parameters
    ----------
    n, across : int
        How many panels, and how many in a row.
    rest_in, panel_in : float
        Height of what is not a panel, and of each panel. [in]
    sharex, sharey : bool
        Whether all have the same axis.
    """
    import matplotlib.pyplot as plt

    n = max(n, 1)
    down = math.ceil(n / across)
    size = (theme.WIDTH_IN, rest_in + panel_in * down)
    _, axes = plt.subplots(down, across, figsize=size, squeeze=False, sharex=sharex, sharey=sharey)
    for spare in axes.ravel()[n:]:
        spare.remove()
    return axes.ravel()[:n]


def set_scale(ax: Axes, values: Sequence[float], estimates: Sequence[float]) -> tuple[float, float]:
    """Set a linear or logarithmic axis that holds every finite value; return its ends."""
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullLocator

    finite = [value for value in values if math.isfinite(value)]
    sure = [value for value in estimates if math.isfinite(value)]
    log = len(sure) > 1 and min(sure) > 0 and max(sure) / min(sure) >= LOG_FROM_RATIO
    if log:
        positive = [value for value in finite if value > 0]
        floor = min(sure) / 10
        low, high = max(min(positive), floor) / 1.5, max(positive) * 1.6
        ax.set_xscale("log")
        few = math.log10(high / low) < 2.2
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if few else (1.0,), numticks=12))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
    else:
        low, high = min([0.0, *finite]), max([0.0, *finite])
        room = (high - low or 1.0) * 0.06
        low, high = low - (room if low < 0 else 0), high + room
        ax.xaxis.set_major_locator(MaxNLocator(nbins=7) if sure or any(finite) else NullLocator())
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
    ax.set_xlim(low, high)
    ax.grid(axis="x")
    return low, high


def draw_interval(ax: Axes, row: EstimateRow, place: float, left: float, right: float) -> None:
    """The interval as a line, arrows where it leaves the figure, and the estimate as a large mark."""
    color = row.style.color
    bounded = math.isfinite(row.low) or math.isfinite(row.high)
    start = row.low if math.isfinite(row.low) and row.low > left else left
    stop = row.high if math.isfinite(row.high) else right
    if bounded:
        ax.plot([start, stop], [place, place], color=color, lw=2.4, solid_capstyle="butt", zorder=2)
        for end, there, arrow in ((start, start == row.low, "<"), (stop, stop == row.high, ">")):
            marker, size = ("|", 9.0) if there else (arrow, 7.0)
            ax.plot(
                [end], [place], ls="", marker=marker, ms=size, mew=1.8, color=color, zorder=3, clip_on=there
            )
    if math.isfinite(row.estimate) and left <= row.estimate <= right:
        ax.plot(
            [row.estimate], [place], ls="", marker=row.style.marker, ms=8, color=color, mec="white", mew=1.0, zorder=4,
            clip_on=False,
        )  # fmt: skip


def direct_label(
    ax: Axes, row: EstimateRow, place: float, left: float, right: float, words: str, above_pt: float = 7.0
) -> None:
    """The estimate in words, so many points above its mark, on paper of its own: no line runs through it."""
    anchor = next((value for value in (row.estimate, row.low, row.high) if math.isfinite(value)), left)
    ratio = (ax.transData.transform((anchor, 0))[0] - ax.bbox.x0) / ax.bbox.width
    side = "left" if ratio < 0.3 else "right" if ratio > 0.7 else "center"
    at = {"left": max(min(anchor, right), left), "right": min(anchor, right), "center": anchor}[side]
    ax.annotate(
        words, (at, place), xytext=(0, above_pt), textcoords="offset points", ha=side, va="bottom", color=row.style.color,
        fontsize=theme.BODY_PT, fontweight="bold", bbox=PAPER_BOX, zorder=3.5, annotation_clip=False,
    )  # fmt: skip


def name_sides(ax: Axes, left: float, right: float, words: tuple[str, str]) -> None:
    """What lies to the right of 1, and to the left if that side has room."""
    share = math.log(1 / left) / math.log(right / left)
    sides = [(f"{words[0]} \u2192", 5, "left")] if share < 0.85 else []
    sides += [(f"\u2190 {words[1]}", -5, "right")] if share > 0.15 else []
    for side_words, shift, side in sides:
        ax.annotate(
            side_words, (1.0, 1.0), xycoords=("data", "axes fraction"), xytext=(shift, -2), textcoords="offset points", ha=side,
            va="top", color=theme.QUIET_INK, fontsize=theme.SMALL_PT,
        )  # fmt: skip


def name_rows(ax: Axes, rows: Sequence[EstimateRow]) -> None:
    """Edge type, plow position and number of trucks beside each row."""
    names = []
    for row in rows:
        below = ", ".join(part for part in (row.position_words, row.trucks) if part)
        names.append("\n".join([*textwrap.wrap(row.name, 20), *([below] if below else [])]))
    ax.set_yticks(range(len(rows)), names)
    ax.set_ylim(len(rows) - 0.4, -0.75)
    ax.tick_params(axis="y", length=0, pad=9)
    ax.spines["left"].set_visible(False)
