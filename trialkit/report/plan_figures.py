"""The figures of the plan: how large a difference a trial shows, and how readers and pieces differ in the gauge study.

Answers: what does one more truck buy, and whose readings differ from whose?

As `figures`: each function takes results and ``ax=None`` and returns the Axes; it fits nothing and saves nothing. The words
come from `plan_captions`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import listed, sentence_case
from trialkit.planning.sizing import rounded_up
from trialkit.report import theme

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LARGEST = 20.0
"""Larger ratios are beyond the figure; the table has them."""
_HEIGHT_IN, _PANEL_IN = 3.3, 1.9
_MOST_NAMED = 14


def sizes(
    found: Mapping[str, Any],
    n_trucks: int,
    life: bool,
    ax: Axes | None = None,
    *,
    labels: Mapping[str, str] | None = None,
) -> Axes:
    """Smallest difference that trials of several sizes show, a curve for each edge type.

    Parameters
    ----------
    found : mapping of str to WearSizing
        Edge type to its sizes: `table` with n_trucks, detectable_ratio and detectable_life_ratio.
    n_trucks : int
        Trucks per edge type of this trial, which are marked; 0 for none.
    life : bool
        Whether ratios of lives are drawn, or of wear.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type.

    Returns
    -------
    Axes
        Numbers of trucks that cannot be counted on to show any difference have no mark.
    """
    import matplotlib.pyplot as plt
    from matplotlib.ticker import FuncFormatter, MaxNLocator, NullFormatter, NullLocator

    names = labels or {}
    curves = same_curves(found, life)
    styles = theme.edge_styles(["reference", *(group[0] for group, _ in curves)])
    with theme.print_style():
        if ax is None:
            _, ax = plt.subplots(figsize=(theme.WIDTH_IN, _HEIGHT_IN))
        ax.axhline(1, color=theme.QUIET_INK, lw=0.8)
        top, right = 1.5, max([n_trucks, 4, *(int(n) for _, curve in curves for n in curve[c.N_TRUCKS])])
        for group, curve in curves:
            style = styles[group[0]]
            shown = curve[curve[c.ESTIMATE] <= LARGEST]
            if shown.empty:
                continue
            top = max(top, float(shown[c.ESTIMATE].max()))
            ax.plot(
                shown[c.N_TRUCKS], shown[c.ESTIMATE], color=style.color, ls=style.dash, marker=style.marker, ms=5, zorder=3,
                label=theme.drawable(sentence_case(listed([names.get(name, name) for name in group])), 60),
            )  # fmt: skip
            here = shown[shown[c.N_TRUCKS] == n_trucks]
            if len(here):
                ax.plot(
                    here[c.N_TRUCKS],
                    here[c.ESTIMATE],
                    ls="",
                    marker="o",
                    ms=13,
                    mfc="none",
                    mec=style.color,
                    mew=1.6,
                )
                ax.annotate(
                    f"{rounded_up(float(here[c.ESTIMATE].iloc[0]))} times", (n_trucks, float(here[c.ESTIMATE].iloc[0])),
                    xytext=(11, 5), textcoords="offset points", color=style.color, fontweight="bold",
                )  # fmt: skip
        if n_trucks:
            ax.axvline(n_trucks, color=theme.GRID, lw=6, zorder=0)
            ax.annotate(
                "this trial", (n_trucks, 1), xycoords=("data", "axes fraction"), xytext=(0, 3), textcoords="offset points",
                ha="center", color=theme.QUIET_INK, fontsize=theme.SMALL_PT,
            )  # fmt: skip
        ax.set_yscale("log")
        ticks = [tick for tick in (1, 1.2, 1.5, 2, 3, 5, 7, 10, 15, 20) if tick <= top * 1.15]
        ax.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
        ax.yaxis.set_minor_locator(NullLocator())
        ax.yaxis.set_minor_formatter(NullFormatter())
        ax.set_ylim(0.96, top * 1.25)
        ax.set_xlim(1.5, right + 0.6)
        ax.xaxis.set_major_locator(MaxNLocator(nbins=12, integer=True))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0f}"))
        ax.grid(axis="y")
        ax.set_xlabel("Trucks that carry each edge type")
        ax.set_ylabel("Times as long, or more" if life else "Times slower, or more")
        if len(found) > 1 and ax.get_legend_handles_labels()[0]:
            ax.legend(loc="upper right")
        if not any(curve[c.ESTIMATE].notna().any() for _, curve in curves):
            ax.text(0.5, 0.5, "No size of trial shows a difference", ha="center", transform=ax.transAxes)
        return ax


def same_curves(found: Mapping[str, Any], life: bool) -> list[tuple[list[str], pd.DataFrame]]:
    """Edge types with the same sizes put together: their names, and `n_trucks` with the smallest ratio as `estimate`."""
    column = c.DETECTABLE_LIFE_RATIO if life else c.DETECTABLE_RATIO
    curves: list[tuple[list[str], pd.DataFrame]] = []
    for name, sized in found.items():
        curve = sized.table[[c.N_TRUCKS, column]].rename(columns={column: c.ESTIMATE})
        curve = curve[np.isfinite(curve[c.ESTIMATE].astype(float))]
        for group, other in curves:
            if len(other) == len(curve) and all(
                rounded_up(a) == rounded_up(b) and n == m
                for a, b, n, m in zip(
                    other[c.ESTIMATE], curve[c.ESTIMATE], other[c.N_TRUCKS], curve[c.N_TRUCKS], strict=True
                )
            ):
                group.append(name)
                break
        else:
            curves.append(([name], curve))
    return curves


def gauge(
    study: Any, deviations: pd.DataFrame, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None
) -> list[Axes]:
    """Each reading of the gauge study less the mean of its piece, a panel for each tool.

    Parameters
    ----------
    study : GaugeStudy
        `fits`: tool to its fit; `repeats_in` gives the spread of the repeats. [in]
    deviations : DataFrame
        Columns tool, piece, reader and residual_in [in].
    ax : Axes, optional
        Where to draw, for one tool; new panels of the printed width if not given.
    labels : mapping, optional
        Not used; edge types play no part.

    Returns
    -------
    list of Axes
        The band is two standard deviations of one person's repeats to either side.
    """
    import matplotlib.pyplot as plt

    tools = [tool for tool in study.fits if (deviations[c.TOOL] == tool).any()]
    readers = sorted(deviations[c.READER].unique(), key=str)
    styles = theme.edge_styles(readers)
    unit = display.unit("in")
    with theme.print_style():
        if ax is None:
            size = (theme.WIDTH_IN, 0.7 + _PANEL_IN * max(len(tools), 1))
            _, grid = plt.subplots(max(len(tools), 1), 1, figsize=size, squeeze=False, sharey=True)
            axes = list(grid.ravel())
        else:
            axes = [ax]
        for tool, panel in zip(tools, axes, strict=False):
            here = deviations[deviations[c.TOOL] == tool]
            pieces = list(dict.fromkeys(here[c.PIECE]))
            spread = study.repeats_in(tool)
            panel.axhspan(
                *(display.value(side * 2 * spread, "in") for side in (-1, 1)),
                color=theme.GRID,
                alpha=0.55,
                lw=0,
            )
            panel.axhline(0, color=theme.QUIET_INK, lw=0.8)
            for number, reader in enumerate(readers):
                own = here[here[c.READER] == reader]
                shift = 0.6 * ((number + 0.5) / len(readers) - 0.5)
                panel.plot(
                    [pieces.index(piece) + shift for piece in own[c.PIECE]], display.value(own[c.RESIDUAL_IN].to_numpy(float), "in"),
                    ls="", marker=styles[reader].marker, ms=4.5, color=styles[reader].color, mec="white", mew=0.5,
                    label=theme.drawable(reader, 16), zorder=3,
                )  # fmt: skip
            panel.set_title(theme.drawable(sentence_case(tool)))
            panel.set_xticks(range(len(pieces)), [theme.drawable(piece, 10) for piece in pieces])
            if len(pieces) > _MOST_NAMED:
                panel.tick_params(axis="x", labelrotation=90)
            panel.set_xlim(-0.6, max(len(pieces) - 0.4, 0.6))
            panel.set_ylabel(f"Off the mean [{unit}]")
            panel.grid(axis="y")
        if tools:
            axes[0].legend(
                loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=min(len(readers), 6), borderaxespad=0.1,
                handletextpad=0.1, columnspacing=1.0,
            )  # fmt: skip
            axes[len(tools) - 1].set_xlabel("Piece of the gauge study")
        return axes
