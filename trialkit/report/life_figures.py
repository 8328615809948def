"""The figures of the lives of edges, one function each.

Answers: what do lives look like: projected, compared, and seen?

As `figures`: each function takes a result and ``ax=None`` and returns the Axes; it fits nothing and saves nothing. The words
come from `life_captions`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges.life import LIFE_UNIT
from trialkit.edges.life_check import NOT_YET
from trialkit.edges.observed import BROKEN_OR_LOST, CAUSE, NOT_ENDED, WORN_OUT
from trialkit.formatting import level_words
from trialkit.report import figures, theme
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import (
    EstimateRow,
    direct_label,
    draw_interval,
    estimate_rows,
    labels_of,
    name_rows,
    number_of,
    of_row,
    set_scale,
    types_of,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FARTHEST = 6.0
"""The axis ends at this many times the longest estimate or life seen; what reaches farther is an arrow."""
MOST_TRUCKS = 30
"""Trucks that the figure of projected against observed lives has room for."""
MARKS_SAID = "filled: worn out; open: broken or lost; arrow: neither yet"
_LIFE_ROW_IN, _TRUCK_ROW_IN = 0.95, 0.25
_CAUSES = (WORN_OUT, BROKEN_OR_LOST, NOT_ENDED)


def lives(
    projection: Any, observed: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None
) -> Axes:
    """Mean life of each edge type, where the next set may lie, and the sets of the trial.

    Parameters
    ----------
    projection : LifeProjection
        `table` with edge_type, plow_position, estimate, conf_low, conf_high, pred_low, pred_high [mi] and n_trucks;
        `confidence_level`.
    observed : ObservedLives
        `lives` with edge_type, plow_position, miles_mi [mi] and cause.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    Axes
        Line and large mark: mean life with its interval. Pale bar: range for the next set. Small marks: sets that ran;
        filled worn out, open broken or lost, an arrow neither yet. Logarithmic when the estimates differ by 10 times or more.
    """
    table, sets = displayed(life_rows(projection, observed)), displayed(that_ran(observed.lives))
    rows = list(estimate_rows(table, labels_of(projection, labels)))
    seen = [of_row(sets, row) for row in rows]
    with theme.print_style():
        ax = ax if ax is not None else _new_axes(0.95 + _LIFE_ROW_IN * max(len(rows), 1))
        left, right = _life_scale(ax, table, sets)
        for place, (row, own, entry) in enumerate(zip(rows, seen, table.to_dict("records"), strict=True)):
            _draw_range(ax, entry, place, 0.24, left, right, row.style.color)
            draw_interval(ax, _within(row, right), place, left, right)
            direct_label(ax, row, place, left, right, life_words(row.estimate, row.low, row.high), 10.0)
            _draw_sets(ax, own, place, row.style, left, right)
        name_rows(ax, rows)
        ax.set_ylim(len(rows) - 0.3, -0.7)
        scale = ", logarithmic scale" if ax.get_xscale() == "log" else ""
        ax.set_xlabel(
            f"Blade-down {display.word('miles')} until the discard limit{scale}\n"
            f"Line: {level_words(projection.confidence_level)} of the mean life. Pale bar: where the next set may lie.\n"
            f"Small marks: sets; {MARKS_SAID}.\n"
            "A line or bar that ends in an arrow goes on beyond the figure."
        )
        return ax


def life_ratios(result: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """How many times as long as the reference each edge type lasts, with its interval.

    Parameters
    ----------
    result : LifeComparison
        As the result of `figures.wear_ratios`.
    ax, labels
        As there.

    Returns
    -------
    Axes
    """
    said = "How many times as long as {reference} it lasts"
    return figures.ratio_forest(result, ax, labels, said, ("longer", "shorter"))


def predicted(check: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """Lives of sets against what the other trucks of their type had projected, truck by truck.

    Parameters
    ----------
    check : LifeCheck
        `table` with edge_type, plow_position, truck_id, miles_mi [mi], cause, pred_low, pred_high [mi] and verdict.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type.

    Returns
    -------
    Axes
        One row per truck position, grouped by edge type; at most 30, those with sets that can be judged first.
    """
    table = displayed(check.table, LIFE_UNIT)
    groups = check_rows(table)
    styles = theme.edge_styles(types_of(table))
    names = labels or {}
    with theme.print_style():
        height = len(groups) + 1.3 * len({key[:2] for key, _ in groups})
        ax = ax if ax is not None else _new_axes(0.95 + _TRUCK_ROW_IN * max(height, 2.0))
        left, right = _life_scale(ax, table, table)
        ticks: dict[float, str] = {}
        place, before = 0.0, None
        several = len({key[0] for key, _ in groups}) > 1
        for (position, kind, truck), own in groups:
            if (position, kind) != before:
                place += 1.3 if before is not None else 0.6
                tail = f", {formatting.position_name(position)}" if several else ""
                name = theme.drawable(formatting.named(kind, names), 48)
                ax.annotate(
                    f"{name}{tail}", (0, place - 0.55), xycoords=("axes fraction", "data"), xytext=(4, 0),
                    textcoords="offset points", color=styles[kind].color, fontweight="bold", va="center",
                )  # fmt: skip
                place, before = place + 0.35, (position, kind)
            ticks[place] = theme.drawable(truck, 18)
            _draw_range(ax, own.iloc[0].to_dict(), place, 0.55, left, right, styles[kind].color)
            ran = that_ran(own)
            for cause in _CAUSES:
                _draw_marks(ax, ran[ran[CAUSE] == cause][c.MILES_MI], place, cause, styles[kind], left)
            place += 1.0
        ax.set_yticks(list(ticks), list(ticks.values()))
        ax.set_ylim(max(place, 1.0) - 0.3, -0.4)
        ax.tick_params(axis="y", length=0, pad=6)
        if not groups:
            ax.text(
                0.5, 0.5, "No set can be set against a projection yet", ha="center", transform=ax.transAxes
            )
        scale = ", logarithmic scale" if ax.get_xscale() == "log" else ""
        ax.set_xlabel(
            f"Blade-down {display.word('miles')} of each set{scale}\n"
            "Pale bar: where a set should lie by the other trucks of its type; with an arrow: it goes on.\n"
            f"Marks: sets; {MARKS_SAID}."
        )
        return ax


def life_words(estimate: float, low: float, high: float) -> str:
    """A life with its interval, a lower end alone, or that there is none; in the unit in which it is shown."""
    places, unit = formatting.miles_decimals(estimate, low, high), display.unit(LIFE_UNIT)
    if math.isfinite(low):
        ends = formatting.span(low, high, places)
        return (
            f"{formatting.fixed(estimate, places)} ({ends}) {unit}"
            if math.isfinite(high)
            else f"{ends} {unit}"
        )
    if not math.isfinite(estimate):
        return "no projected life"
    return f"{formatting.fixed(estimate, places)} {unit} ({formatting.NO_INTERVAL})"


def that_ran(sets: pd.DataFrame) -> pd.DataFrame:
    """The sets that have run some miles; one that was only just put on has no place on an axis of lives."""
    return sets[sets[c.MILES_MI].astype(float) > 0]


def life_rows(projection: Any, observed: Any) -> pd.DataFrame:
    """The projected lives, followed by edge types that were on a truck but have none."""
    table = projection.table
    known = set(zip(table[c.PLOW_POSITION].astype(str), table[c.EDGE_TYPE].astype(str), strict=True))
    seen = observed.lives[[c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID]].astype(str)
    counts = seen.groupby([c.PLOW_POSITION, c.EDGE_TYPE], sort=False)[c.TRUCK_ID].nunique()
    more = [
        {c.EDGE_TYPE: kind, c.PLOW_POSITION: place, c.N_TRUCKS: n}
        for (place, kind), n in counts.items()
        if (place, kind) not in known
    ]
    if not more:
        return table
    return pd.concat([table.astype({c.EDGE_TYPE: object}), pd.DataFrame(more)], ignore_index=True)


def check_rows(table: pd.DataFrame) -> list[tuple[tuple[str, str, str], pd.DataFrame]]:
    """Truck positions of a check with their sets, by plow position and edge type; no more than a figure has room for."""
    keys = [c.PLOW_POSITION, c.EDGE_TYPE, c.TRUCK_ID]
    plain = table.astype(dict.fromkeys(keys, str))
    order = {name: place for place, name in enumerate(types_of(table))}
    places = {name: place for place, name in enumerate(dict.fromkeys(plain[c.PLOW_POSITION]))}
    groups = [((str(a), str(b), str(d)), own) for (a, b, d), own in plain.groupby(keys, sort=False)]
    if len(groups) > MOST_TRUCKS:
        groups.sort(key=lambda item: bool((item[1][c.VERDICT] == NOT_YET).all()))
        groups = groups[:MOST_TRUCKS]
    return sorted(groups, key=lambda item: (places[item[0][0]], order[item[0][1]], item[0][2]))


# ---------------------------------------------------------------- parts
def _new_axes(height_in: float) -> Axes:
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(theme.WIDTH_IN, height_in))
    return ax


def _life_scale(ax: Axes, table: pd.DataFrame, sets: pd.DataFrame) -> tuple[float, float]:
    """An axis for miles: long enough for what is known, cut where only a limit reaches on."""
    miles = [value for value in sets[c.MILES_MI].map(number_of) if value > 0]
    estimates = [number_of(value) for value in table.get(c.ESTIMATE, pd.Series(dtype=float))]
    sure = [value for value in estimates if math.isfinite(value)]
    lows = [number_of(value) for name in (c.CONF_LOW, c.PRED_LOW) if name in table for value in table[name]]
    highs = [
        number_of(value) for name in (c.CONF_HIGH, c.PRED_HIGH) if name in table for value in table[name]
    ]
    known = [*miles, *sure, *(value for value in lows if math.isfinite(value))]
    far = FARTHEST * max(sure or miles or known or [1.0])
    far = max([far, *known])
    inside = [value for value in highs if math.isfinite(value) and value <= far]
    beyond = [far] if len(inside) < len(highs) and known else []
    if c.ESTIMATE not in table:
        return set_scale(ax, [*known, *inside, *beyond], known)
    alone = [
        low
        for low, estimate in zip(table[c.CONF_LOW].map(number_of), estimates, strict=True)
        if not math.isfinite(estimate)
    ]
    return set_scale(ax, [*known, *inside, *beyond], [*sure, *(low for low in alone if low > 0)])


def _within(row: EstimateRow, right: float) -> EstimateRow:
    """The row with an upper end beyond the figure taken as open, so that it is drawn as an arrow."""
    from dataclasses import replace

    return row if not row.high > right else replace(row, high=math.inf)


def _draw_range(
    ax: Axes, entry: Mapping[Any, Any], place: float, height: float, left: float, right: float, color: str
) -> None:
    """The range for the next set as a pale bar, with an arrow where it goes on."""
    low, high = number_of(entry.get(c.PRED_LOW)), number_of(entry.get(c.PRED_HIGH))
    if not math.isfinite(low) or low >= right:
        return
    start, stop = max(low, left), min(high, right) if math.isfinite(high) else right
    ax.barh(place, stop - start, left=start, height=height, color=color, alpha=0.2, lw=0, zorder=1)
    if not high <= right:
        ax.plot(
            [right],
            [place],
            ls="",
            marker=">",
            ms=6,
            color=color,
            alpha=0.45,
            mec="none",
            zorder=2,
            clip_on=False,
        )


def _draw_sets(
    ax: Axes, sets: pd.DataFrame, place: int, style: theme.EdgeStyle, left: float, right: float
) -> None:
    """Single sets under the row of their type, apart from each other where they would meet."""
    miles = np.maximum(sets[c.MILES_MI].to_numpy(float), left)
    level = _levels(miles, left, right, ax.get_xscale() == "log")
    step = min(0.1, 0.3 / max(1, level.max(initial=0)))
    for cause in _CAUSES:
        own = (sets[CAUSE] == cause).to_numpy()
        _draw_marks(ax, miles[own], place + 0.25 + step * level[own], cause, style, left)


def _draw_marks(ax: Axes, miles: Any, place: Any, cause: str, style: theme.EdgeStyle, left: float) -> None:
    """Sets that ended of one cause: filled, open, or an arrow."""
    at = np.maximum(np.asarray(miles, dtype=float), left)
    marker, filled = {
        WORN_OUT: (style.marker, style.color), BROKEN_OR_LOST: (style.marker, "white"), NOT_ENDED: (">", "white"),
    }[cause]  # fmt: skip
    ax.plot(
        at, np.broadcast_to(place, at.shape), ls="", marker=marker, ms=4.4, mfc=filled, mec=style.color, mew=0.9, zorder=3,
        clip_on=False, rasterized=len(at) > figures.MOST_SHAPES,
    )  # fmt: skip


def _levels(miles: np.ndarray, left: float, right: float, log: bool) -> np.ndarray:
    """Lowest level for each mark at which it does not meet another, 0 first."""
    scale = np.log if log else np.asarray
    ends = scale(np.array([max(left, 1e-9) if log else left, right]))
    place = (scale(np.maximum(miles, 1e-9)) - ends[0]) / max(ends[1] - ends[0], 1e-12)
    gap = 0.016
    level, taken = np.zeros(len(miles), dtype=int), list[float]()
    for index in np.argsort(place, kind="stable"):
        free = next((k for k, last in enumerate(taken) if place[index] - last >= gap), len(taken))
        level[index] = free
        if free == len(taken):
            taken.append(place[index])
        else:
            taken[free] = place[index]
    return level
