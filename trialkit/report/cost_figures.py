"""The figures of the cost of edges, one function each.

Answers: what do costs look like: by line, over the life of a type, and over the miles?

As `figures`: each function takes a result and ``ax=None`` and returns the Axes; it fits nothing and saves nothing. The words come
from `cost_captions`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.formatting import level_words, money, money_interval, ratio_number
from trialkit.money.break_even import LIFE_RATIO
from trialkit.money.costs import PER_MILE
from trialkit.money.curves import SPENT
from trialkit.report import theme
from trialkit.report.cost_words import GROUP, GROUPS, grouped_lines, mile
from trialkit.report.figure_rows import PAPER_BOX, labels_of, number_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROW_IN, _BAR = 0.78, 0.42
_PALEST = 0.16


def cost_per_mile(result: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """Cost per blade-down mile of each edge type, stacked by line, with its interval.

    Parameters
    ----------
    result : Costs
        `table`, `lines`, `labels`, `confidence_level`, `currency`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    Axes
        One bar per edge type; the parts run from dark to pale in the same order everywhere. Line with a mark: total with its
        interval. A credit lies to the left of zero.
    """
    names = labels_of(result, labels)
    parts, table = grouped_lines(result), result.table
    styles = theme.edge_styles(table[c.EDGE_TYPE])
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(1.25 + _ROW_IN * max(len(table), 1))
        shown = table[[c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH]].apply(
            lambda column: display.value(column, PER_MILE)
        )
        sums = display.value(parts[parts[c.ESTIMATE] > 0].groupby(c.EDGE_TYPE)[c.ESTIMATE].sum(), PER_MILE)
        right = 1.06 * max([1e-9, *(one for one in shown.to_numpy().ravel() if math.isfinite(one)), *sums])
        left = min(
            0.0, float(display.value(parts[c.ESTIMATE].clip(upper=0).min(), PER_MILE)) if len(parts) else 0.0
        )
        ax.set_xlim(1.3 * left, right)
        for place, row in enumerate(table.to_dict("records")):
            style = styles[row[c.EDGE_TYPE]]
            own = parts[parts[c.EDGE_TYPE] == row[c.EDGE_TYPE]]
            _stack(ax, own, place, style.color, right - 1.3 * left)
            ends = [number_of(shown[name].iloc[place]) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)]
            _total_mark(ax, ends, place, style, result.currency, right)
        ticks = [
            "\n".join(textwrap.wrap(theme.drawable(formatting.named(kind, names), 56), 20))
            for kind in table[c.EDGE_TYPE]
        ]
        ax.set_yticks(range(len(table)), ticks)
        ax.set_ylim(len(table) - 0.45, -0.75)
        ax.tick_params(axis="y", length=0, pad=9)
        ax.spines["left"].set_visible(False)
        ax.axvline(0.0, color=theme.QUIET_INK, lw=0.8)
        ax.grid(axis="x")
        money_axis(ax, "x", result.currency)
        ax.set_xlabel(
            f"Cost per blade-down {mile()}\nLine: {level_words(result.confidence_level)} of the total."
        )
        _key(ax, [name for name in GROUPS if name in set(parts[GROUP])])
        return ax


def break_even(curve: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """Cost per mile of each edge type over its life, and where it meets the reference.

    Parameters
    ----------
    curve : LifeCurve
        `table`, `bands`, `even`, `inputs`, `labels`.
    ax, labels
        As for `cost_per_mile`.

    Returns
    -------
    Axes
        Band: the reference with its interval. Open mark: where a curve meets the reference. Filled mark: the life that was found.
        The axis of lives is logarithmic.
    """
    names, inputs = labels_of(curve, labels), curve.inputs
    styles = theme.edge_styles([inputs.reference, *(edge.edge_type for edge in inputs.others)])
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(3.9)
        ax.set_xscale("log")
        band = curve.bands.iloc[0]
        middle, low, high = (
            float(display.value(band[name], PER_MILE)) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        of_reference = styles[inputs.reference]
        if math.isfinite(low):
            ax.axhspan(low, high, color=of_reference.color, alpha=0.13, lw=0)
        ax.axhline(middle, color=of_reference.color, lw=1.6)
        top = 1.25 * max(high if math.isfinite(high) else middle, 1.2 * middle)
        first, last = curve.table[LIFE_RATIO].min(), curve.table[LIFE_RATIO].max()
        for kind, own in curve.table.groupby(c.EDGE_TYPE, sort=False):
            style = styles[str(kind)]
            y = np.asarray(display.value(own[c.COST_PER_MI], PER_MILE))
            ax.plot(own[LIFE_RATIO], y, color=style.color, ls=style.dash, lw=1.8, zorder=3)
            row = curve.even.table[curve.even.table[c.EDGE_TYPE] == kind].iloc[0]
            _even_marks(
                ax, own[LIFE_RATIO].to_numpy(), y, row, style, middle, names.get(str(kind), str(kind))
            )
        ax.set_xlim(first, last)
        ax.set_ylim(0.0, top)
        where = (first * 1.04, middle)
        label(
            ax,
            theme.drawable(formatting.named(inputs.reference, names)),
            where,
            of_reference.color,
            (0, 4),
            "left",
            "bottom",
        )
        _plain_ticks(ax, first, last)
        ax.grid(axis="y")
        money_axis(ax, "y", inputs.currency)
        ax.set_ylabel(f"Cost per blade-down {mile()}")
        sure = f"band: its {level_words(inputs.confidence_level)}. " if math.isfinite(low) else ""
        ax.set_xlabel(
            f"Times as long as {names.get(inputs.reference, inputs.reference)} that a type lasts, logarithmic scale\n"
            f"Level line: cost of the reference; {sure}\n"
            "Open mark: where a type just pays. Filled mark: life found."
        )
        return ax


def cumulative(curve: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """What one truck has cost in edges after so many miles, by edge type.

    Parameters
    ----------
    curve : SpentCurve
        `table`, `season_mi`, `inputs`, `labels`.
    ax, labels
        As for `cost_per_mile`.

    Returns
    -------
    Axes
        A line with steps for each edge type: each step is a worn set or section with its change. Dotted: ends of middling winters.
    """
    from matplotlib.ticker import FixedLocator, MaxNLocator

    names, inputs = labels_of(curve, labels), curve.inputs
    styles = theme.edge_styles([inputs.reference, *(edge.edge_type for edge in inputs.others)])
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(3.7)
        ends = []
        for kind, own in curve.table.groupby(c.EDGE_TYPE, sort=False):
            style = styles[str(kind)]
            x = np.asarray(display.value(own[c.MILES_MI], "mi"))
            ax.plot(x, own[SPENT], color=style.color, ls=style.dash, lw=1.8, zorder=3)
            ax.plot(
                x[:1],
                own[SPENT].iloc[:1],
                ls="",
                marker=style.marker,
                ms=6,
                color=style.color,
                clip_on=False,
                zorder=4,
            )
            ends.append(
                (
                    float(own[SPENT].iloc[-1]),
                    theme.drawable(formatting.named(str(kind), names), 56),
                    style.color,
                )
            )
        end = float(display.value(curve.table[c.MILES_MI].max(), "mi"))
        ax.set_xlim(0.0, 1.25 * end)
        ax.set_ylim(0.0, 1.06 * float(curve.table[SPENT].max()))
        season = float(display.value(curve.season_mi, "mi"))
        if season > 0:
            for n in range(1, int(end / season + 1e-9) + 1):
                ax.axvline(n * season, color=theme.QUIET_INK, lw=0.9, ls=":")
                label(
                    ax,
                    f"{n} winter{'s' if n > 1 else ''}",
                    (n * season, ax.get_ylim()[1]),
                    theme.QUIET_INK,
                    (-3, -2),
                    "right",
                    "top",
                )
        _end_labels(ax, ends, end)
        ax.xaxis.set_major_locator(
            FixedLocator([one for one in MaxNLocator(7).tick_values(0.0, end) if one <= end])
        )
        ax.spines["bottom"].set_bounds(0.0, end)
        ax.grid(axis="y")
        money_axis(ax, "y", inputs.currency)
        ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
        ax.set_ylabel("Spent so far for one plow")
        winters = "Dotted: ends of middling winters. " if season > 0 else ""
        ax.set_xlabel(
            f"Blade-down {display.word('miles')} of one plow\n"
            f"{winters}Mark: first set, with its kit.\n"
            "Step: worn edges and their change. Best estimates, no interval."
        )
        return ax


def cost_text(estimate: float, low: float, high: float, currency: str) -> str:
    """A cost per mile, already in the units shown, with its interval."""
    if not math.isfinite(estimate):
        return "not known"
    return (
        money_interval(estimate, low, high, currency) if math.isfinite(low) else money(estimate, currency, 2)
    )


# ---------------------------------------------------------------- parts
def _new_axes(height_in: float) -> Axes:
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(theme.WIDTH_IN, height_in))
    return ax


def shade(color: str, place: int, n: int) -> tuple[float, float, float]:
    """The color from full at place 0 to pale at the last place."""
    from matplotlib.colors import to_rgb

    share = 1.0 - (1.0 - _PALEST) * place / max(n - 1, 1)
    return tuple(share * part + 1.0 - share for part in to_rgb(color))  # type: ignore[return-value]


def _stack(ax: Axes, own: pd.DataFrame, place: int, color: str, width: float) -> None:
    """The parts of one bar, each named where it has room."""
    at, below = 0.0, 0.0
    for step, name in enumerate(GROUPS):
        part = own.loc[own[GROUP] == name, c.ESTIMATE]
        length = float(display.value(part.iloc[0], PER_MILE)) if len(part) else 0.0
        if not length:
            continue
        start = at if length > 0 else below
        face = shade(color, step, len(GROUPS))
        ax.barh(place, length, left=start, height=_BAR, color=face, edgecolor=color, lw=0.7, zorder=2)
        words = f"{name.split(',')[0]}" if length / width > 0.013 * len(name) else ""
        if words:
            pale = step > (len(GROUPS) - 1) / 2 - 0.5
            ax.text(
                start + length / 2, place, words, ha="center", va="center", fontsize=theme.SMALL_PT - 0.5,
                color=theme.INK if pale else theme.PAPER, zorder=3,
            )  # fmt: skip
        at, below = (at + length, below) if length > 0 else (at, below + length)


def _total_mark(
    ax: Axes, ends: list[float], place: int, style: theme.EdgeStyle, currency: str, right: float
) -> None:
    middle, low, high = ends
    if not math.isfinite(middle):
        label(ax, "not known", (0.0, place), style.color, (4, 0), "left", "center", bold=True)
        return
    y = place - _BAR / 2 - 0.13
    if math.isfinite(low):
        ax.plot([low, high], [y, y], color=style.color, lw=2.0, solid_capstyle="butt", zorder=4)
        ax.plot([low, high], [y, y], ls="", marker="|", ms=8, mew=1.6, color=style.color, zorder=4)
    ax.plot(
        [middle], [y], ls="", marker=style.marker, ms=7, color=style.color, mec="white", mew=0.9, zorder=5
    )
    far = middle > 0.55 * right
    words = cost_text(middle, low, high, currency)
    label(ax, words, (middle, y), style.color, (0, 6), "right" if far else "left", "bottom", bold=True)


def _key(ax: Axes, names: list[str]) -> None:
    """The order of the parts, from dark to pale in gray."""
    from matplotlib.patches import Patch

    height = max(float(ax.get_figure(root=True).get_size_inches()[1]), 1.0)  # type: ignore[union-attr]
    order = list(GROUPS)
    patches = [
        Patch(
            facecolor=shade(theme.COLORS[2], order.index(name), len(order)),
            edgecolor=theme.COLORS[2],
            lw=0.7,
            label=name,
        )
        for name in names
    ]
    ax.legend(
        handles=patches, loc="upper center", bbox_to_anchor=(0.42, -0.83 / height), ncols=3,
        handlelength=1.2, columnspacing=1.4, title="In each bar from left to right:", title_fontsize=theme.SMALL_PT, alignment="left",
    )  # fmt: skip


def _even_marks(
    ax: Axes, x: np.ndarray, y: np.ndarray, row: pd.Series, style: theme.EdgeStyle, level: float, name: str
) -> None:
    needed, found = float(row[c.BREAK_EVEN_LIFE_RATIO]), float(row[LIFE_RATIO])
    if math.isfinite(needed):
        ax.plot(
            [needed],
            [level],
            ls="",
            marker=style.marker,
            ms=8,
            mfc=theme.PAPER,
            mec=style.color,
            mew=1.6,
            zorder=5,
        )
        label(
            ax,
            f"pays from {ratio_number(needed)} times",
            (needed, level),
            style.color,
            (6, 7),
            "left",
            "bottom",
        )
    if math.isfinite(found):
        at = float(np.interp(found, x, y))
        ax.plot(
            [found], [at], ls="", marker=style.marker, ms=8, color=style.color, mec="white", mew=0.9, zorder=6
        )
        words = f"{theme.drawable(formatting.sentence_case(name), 48)}\nfound: {ratio_number(found)} times"
        label(
            ax,
            words,
            (found, at),
            style.color,
            (0, -7),
            "right" if found > 0.4 * x.max() else "center",
            "top",
            bold=True,
        )


def _end_labels(ax: Axes, ends: list[tuple[float, str, str]], right: float) -> None:
    """Names to the right of the ends of the lines, apart from each other."""
    low, high = ax.get_ylim()
    gap, last = 0.13 * (high - low), -math.inf
    for value, name, color in sorted(ends):
        last = max(value, last + gap)
        words = "\n".join(textwrap.wrap(name, 16)[:3])
        label(ax, words, (right, last), color, (6, 0), "left", "center", bold=True)


def label(
    ax: Axes, words: str, where: tuple[float, float], color: str, shift: tuple[float, float], ha: str, va: str, *,
    bold: bool = False, size: float = theme.SMALL_PT, on_paper: bool = False,
) -> None:  # fmt: skip
    """Words beside a point, with a pale edge, or on paper of their own, so that lines do not strike them out."""
    from matplotlib import patheffects

    edge = [] if on_paper else [patheffects.withStroke(linewidth=3, foreground=theme.PAPER)]
    ax.annotate(
        words, where, xytext=shift, textcoords="offset points", ha=ha, va=va, color=color, fontsize=size,
        fontweight="bold" if bold else "normal", zorder=8, annotation_clip=False, path_effects=edge,
        bbox=PAPER_BOX if on_paper else None,
    )  # fmt: skip


def money_axis(ax: Axes, which: str, currency: str) -> None:
    """Ticks as amounts, with as many decimals as the largest of them needs."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axis = getattr(ax, f"{which}axis")
    axis.set_major_locator(MaxNLocator(nbins=7))
    steps = np.diff(axis.get_majorticklocs())
    places = 0 if len(steps) and steps[0] >= 1 else 2 if not len(steps) or steps[0] >= 0.01 else 3
    axis.set_major_formatter(FuncFormatter(lambda value, _: money(value, currency, places)))


def _plain_ticks(ax: Axes, low: float, high: float) -> None:
    """Whole and half numbers on a logarithmic axis."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    nice = [one * 10.0**power for power in range(-3, 6) for one in (1.0, 2.0, 5.0)]
    ax.xaxis.set_major_locator(FixedLocator([one for one in nice if low <= one <= high]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
