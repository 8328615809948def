"""The figures of uneven wear, one function each.

Answers: what does the edge look like across the blade, and how fast do its stations grow apart?

As `figures`: each function takes a result and ``ax=None`` and returns the Axes. The words come from `profile_captions`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges.profile import USED_PCT
from trialkit.edges.unevenness import RANGE
from trialkit.report import theme
from trialkit.report.figure_rows import labels_of, new_panels, types_of
from trialkit.report.figures import apart, mean_forest

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LIMIT_PCT = 100.0


def profiles(result: Any, ax: Any = None, *, labels: Mapping[str, str] | None = None) -> np.ndarray:
    """The edge as seen from the cab: how much of the usable depth is gone at each station as the miles add up.

    Parameters
    ----------
    result : Profiles
        `table` with edge_type, plow_position, share_frac, miles_mi [mi], station and used_pct.
    ax : array of Axes, optional
        One for each edge type on each plow position; a new figure if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    array of Axes
        New edge at the top, discard limit at the bottom; the lines go from pale to dark as the miles add up.
    """
    names = labels_of(result, labels)
    cells = profile_cells(result.table)
    styles = theme.edge_styles(types_of(result.table))
    with theme.print_style():
        axes = _new_panels(len(cells)) if ax is None else np.atleast_1d(ax).ravel()
        several = len({place for place, _ in cells}) > 1
        for panel, (place, kind) in zip(axes, cells, strict=False):
            table = result.table
            own = table[(table[c.PLOW_POSITION] == place) & (table[c.EDGE_TYPE] == kind)]
            trucks = formatting.counted(int(own[c.N_TRUCKS].max()), "truck")
            where = f"{formatting.position_name(place)}, {trucks}" if several else trucks
            panel.set_title(
                f"{theme.drawable(formatting.named(kind, names), 38)}\n{where}", fontsize=theme.BODY_PT
            )
            _draw_profile(panel, own, styles[kind])
        if not cells:
            axes[0].text(0.5, 0.5, "No set was read twice", ha="center", transform=axes[0].transAxes)
        else:
            lowest = max(LIMIT_PCT, float(result.table[USED_PCT].max()))
            axes[0].set_ylim(1.06 * lowest, min(-4.0, 1.05 * float(result.table[USED_PCT].min())))
        figure, miles = axes[0].get_figure(), display.word("miles")
        for panel in axes:
            spot = panel.get_subplotspec()
            if spot is None or spot.is_first_col():
                panel.set_ylabel("Usable depth gone [%]")
        figure.supxlabel(
            "Station, from the left end seen from the cab to the right end\n"
            f"Lines: a quarter, a half, three quarters and all of the {miles} over which each set was read, mean of\n"
            f"the trucks; the {miles} stand beside them. Dashed: discard limit.",
            fontsize=theme.BODY_PT,
        )
        return axes


def unevenness(result: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """How fast the thinnest and the thickest spot grow apart, with its interval, and the trucks as small marks.

    Parameters
    ----------
    result : Unevenness
        `table` with edge_type, plow_position, estimate, conf_low, conf_high and n_trucks; `trucks` with range.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    Axes
        Logarithmic when the estimates differ by 10 times or more and all are positive.
    """
    said = display.words("Inches that thinnest and thickest spot grow apart in 1,000 miles")
    return mean_forest(result, ax, labels, RANGE, range_words, said)


def range_words(estimate: float, low: float, high: float) -> str:
    """A range with its interval, or only its upper end where none is shown; in the unit in which it is shown."""
    unit = display.unit("in")
    if math.isfinite(high) and not low > 0:
        return f"at most {formatting.fixed(high, formatting.interval_decimals(high, 0.0, high))} {unit}"
    if not math.isfinite(high):
        alone = formatting.fixed(estimate, formatting.interval_decimals(estimate, low, high))
        return f"{alone} {unit} ({formatting.NO_INTERVAL})"
    return f"{formatting.interval(estimate, low, high)} {unit}"


def profile_cells(table: pd.DataFrame) -> list[tuple[str, str]]:
    """Plow positions and edge types of the profiles, in their order."""
    return list(
        dict.fromkeys(zip(table[c.PLOW_POSITION].astype(str), table[c.EDGE_TYPE].astype(str), strict=True))
    )


def _draw_profile(panel: Axes, own: pd.DataFrame, style: theme.EdgeStyle) -> None:
    """The profiles of one edge type, pale to dark, with their miles."""
    shares = list(dict.fromkeys(own[c.SHARE_FRAC]))
    stations = sorted(set(own[c.STATION]))
    panel.axhline(LIMIT_PCT, color=theme.QUIET_INK, lw=0.9, ls=(0, (4, 3)))
    panel.axhline(0.0, color=theme.QUIET_INK, lw=0.9)
    ends = []
    for number, share in enumerate(shares, 1):
        line = own[own[c.SHARE_FRAC] == share]
        panel.plot(
            line[c.STATION], line[USED_PCT], color=style.color, lw=1.8, marker=style.marker, ms=4,
            alpha=0.3 + 0.7 * number / len(shares),
        )  # fmt: skip
        ends.append(
            (float(line[USED_PCT].iloc[-1]), float(line[c.STATION].iloc[-1]), float(line[c.MILES_MI].iloc[0]))
        )
    ends.sort()
    heights = apart(np.array([end[0] for end in ends]), 9.0, 0.0, math.inf)
    for (_, station, miles), height in zip(ends, heights, strict=True):
        panel.annotate(
            f"{formatting.number(display.value(miles, 'mi'))} {display.unit('mi')}", (station, height), xytext=(7, 0), textcoords="offset points", va="center",
            fontsize=theme.SMALL_PT, color=theme.INK, annotation_clip=False,
        )  # fmt: skip
    room = max(0.4, 0.3 * (stations[-1] - stations[0]))
    panel.set_xlim(stations[0] - 0.35, stations[-1] + room)
    panel.set_xticks(stations if len(stations) <= 12 else stations[:: math.ceil(len(stations) / 12)])
    panel.grid(axis="y")


def _new_panels(n: int) -> np.ndarray:
    return new_panels(n, 1 if n <= 1 else 2, 0.8, 2.3, sharey=True)
