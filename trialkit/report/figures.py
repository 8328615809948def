"""The figures of the report, one function each.

Answers: what do the results look like?

A figure draws a result or a frame that is handed in; it fits nothing and saves nothing. Each function takes ``ax=None`` and
returns the Axes. The words that belong to a figure (caption, description, the numbers behind it) come from `captions`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.edges import slopes as sl
from trialkit.formatting import level_words
from trialkit.report import theme
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import (
    LOW_ROW_IN,
    direct_label,
    draw_interval,
    estimate_rows,
    labels_of,
    name_rows,
    name_sides,
    new_axes,
    new_panels,
    of_row,
    one_of,
    set_scale,
    types_of,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_SHAPES = 1500
"""Above this many points a figure holds them as a picture, not as shapes."""
MOST_NAMED_TRUCKS = 6
AXIS_CHARACTERS = 85
"""Characters in a line of an axis's name."""


def wear_rates(result: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """Mean wear rate of each edge type with its interval, and the trucks as small dots.

    Parameters
    ----------
    result : WearRates
        `table` with edge_type, plow_position, estimate, conf_low, conf_high, unit and n_trucks; `trucks` with edge_type,
        plow_position and estimate of each truck; `confidence_level`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    Axes
        The axis is logarithmic when the estimates differ by 10 times or more and all are positive.
    """
    said = f"Mean wear rate [{theme.drawable(display.unit(one_of(result.table, c.UNIT)))}]"
    return mean_forest(result, ax, labels, c.ESTIMATE, rate_words, said)


def mean_forest(
    result: Any,
    ax: Axes | None,
    labels: Mapping[str, str] | None,
    of_trucks: str,
    words: Callable[[float, float, float], str],
    said: str,
) -> Axes:
    """Means over trucks, one row each, with the trucks as small marks.

    Parameters
    ----------
    result, ax, labels
        As for `wear_rates`.
    of_trucks : str
        Column of `result.trucks` that is the truck's own value.
    words : callable
        Estimate and ends of the interval as the label of a row says them.
    said : str
        Name of the axis.
    """
    unit = one_of(result.table, c.UNIT)
    rows = list(estimate_rows(displayed(result.table), labels_of(result, labels)))
    trucks = [
        display.value(of_row(result.trucks, row)[of_trucks].dropna().to_numpy(float), unit) for row in rows
    ]
    with theme.print_style():
        ax = ax if ax is not None else new_axes(len(rows))
        values = [
            value
            for row, own in zip(rows, trucks, strict=True)
            for value in (row.estimate, row.low, row.high, *own)
        ]
        left, right = set_scale(ax, values, [row.estimate for row in rows])
        for place, (row, own) in enumerate(zip(rows, trucks, strict=True)):
            draw_interval(ax, row, place, left, right)
            ax.plot(
                own,
                np.full(len(own), place + 0.27),
                ls="",
                marker=row.style.marker,
                ms=3.6,
                mfc="white",
                mec=row.style.color,
                mew=0.9,
            )
            direct_label(ax, row, place, left, right, words(row.estimate, row.low, row.high))
        name_rows(ax, rows)
        scale = ", logarithmic scale" if ax.get_xscale() == "log" else ""
        named = "\n".join(textwrap.wrap(f"{said}{scale}", AXIS_CHARACTERS))
        ax.set_xlabel(
            f"{named}\n"
            f"Line: {level_words(result.confidence_level)} of the mean over trucks. Small open marks: single trucks."
        )
        return ax


def wear_ratios(result: Any, ax: Axes | None = None, *, labels: Mapping[str, str] | None = None) -> Axes:
    """How many times slower than the reference each edge type wears, with its interval.

    Parameters
    ----------
    result : WearComparison
        `table` with edge_type, reference, plow_position, estimate, conf_low, conf_high and bounded; `confidence_level`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    Axes
        Logarithmic; the upright line at 1 is the reference. An interval without an upper end is an arrow.
    """
    return ratio_forest(
        result, ax, labels, "How many times slower than {reference} it wears", ("slower", "faster")
    )


def ratio_forest(
    result: Any, ax: Axes | None, labels: Mapping[str, str] | None, said: str, sides: tuple[str, str]
) -> Axes:
    """Ratios against the reference, one row each, on a logarithmic axis with a line at 1.

    Parameters
    ----------
    result, ax, labels
        As for `wear_ratios`.
    said : str
        Name of the axis, with ``{reference}`` in it.
    sides : tuple of str
        What lies to the right and to the left of 1.
    """
    table = result.table
    references = list(dict.fromkeys(str(name) for name in table[c.REFERENCE]))
    labels = labels_of(result, labels)
    rows = list(estimate_rows(table, labels, first=references))
    with theme.print_style():
        ax = ax if ax is not None else new_axes(len(rows), LOW_ROW_IN)
        values = [1.0, *(value for row in rows for value in (row.estimate, row.low, row.high))]
        left, right = set_scale(ax, values, [0.1, 10.0])
        ax.axvline(1.0, color=theme.QUIET_INK, lw=1.0, zorder=1)
        for place, row in enumerate(rows):
            draw_interval(ax, row, place, left, right)
            direct_label(ax, row, place, left, right, ratio_words(row.estimate, row.low, row.high))
        name_rows(ax, rows)
        name_sides(ax, left, right, sides)
        reference = formatting.listed([theme.drawable(labels.get(name, name)) for name in references])
        open_ended = any(math.isfinite(row.low) and not math.isfinite(row.high) for row in rows)
        ax.set_xlabel(
            f"{said.format(reference=reference)}, logarithmic scale\n"
            f"Line: {level_words(result.confidence_level)}, from the spread over trucks.{' An arrow has no end on that side.' if open_ended else ''}"
        )
        return ax


def rate_words(estimate: float, low: float, high: float) -> str:
    """A wear rate with its interval, or that there is none; an edge does not grow, so an end below zero is none."""
    if not math.isfinite(estimate):
        return "no wear rate"
    if not low <= 0 < high < math.inf:
        return formatting.interval(estimate, low, high)
    if estimate <= 0:
        return f"at most {formatting.fixed(high, formatting.decimals_for(high))}"
    places = formatting.interval_decimals(estimate, low, high)
    return f"{formatting.fixed(estimate, places)} ({formatting.span(-math.inf, high, places)})"


def ratio_words(estimate: float, low: float, high: float) -> str:
    """A ratio with its interval, or what can be said when there is no upper end."""
    if math.isfinite(low) and math.isfinite(high):
        return f"{formatting.ratio_number(estimate)} ({formatting.ratio_span(low, high)}) times"
    if math.isfinite(low) and low > 0:
        return f"at least {formatting.times(low)}"
    if math.isfinite(estimate) and not math.isfinite(low):
        return f"{formatting.times(estimate)} ({formatting.NO_INTERVAL})"
    return "cannot be told from these readings"


def heights(
    result: Any, readings: pd.DataFrame, ax: Any = None, *, labels: Mapping[str, str] | None = None
) -> np.ndarray:
    """Height against blade-down miles, one panel for each edge type on the same scales.

    Parameters
    ----------
    result : WearRates or None
        `segments` with the fitted line of each segment; None draws the readings alone.
    readings : DataFrame
        The readings by segment: edge_type, truck_id, truck_unit, set_id, segment, miles_mi [mi], height_in
        [in].
    ax : array of Axes, optional
        One for each edge type that has readings; a new figure if not given.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    array of Axes
        Miles are counted from the first reading of each set on each truck position. No line crosses a flip, a swap or a
        new reference.
    """
    labels = labels_of(result, labels)
    known = displayed(readings).dropna(subset=[c.MILES_MI, c.HEIGHT_IN, c.TRUCK_UNIT, c.SEGMENT])
    names = types_of(known)
    by_set = known.groupby([c.TRUCK_UNIT, c.SET_ID], observed=True)[c.MILES_MI]
    start = by_set.min()
    known = known.assign(**{c.MILES_MI: known[c.MILES_MI] - by_set.transform("min")})
    lines = displayed(result.segments).dropna(subset=[c.ESTIMATE]) if result is not None else None
    with theme.print_style():
        axes = _new_panels(len(names)) if ax is None else np.atleast_1d(ax).ravel()
        styles = theme.edge_styles(names)
        for panel, name in zip(axes, names, strict=False):
            own = known[known[c.EDGE_TYPE].astype(str) == name]
            trucks = formatting.counted(n_trucks(own), "truck")
            panel.set_title(
                f"{theme.drawable(formatting.named(name, labels), 48 if len(names) <= 3 else 22)}: {trucks}"
            )
            panel.grid(axis="y")
            panel.plot(
                own[c.MILES_MI], own[c.HEIGHT_IN], ls="", marker=styles[name].marker, ms=2.6, mfc=styles[name].color, mec="none",
                alpha=0.45, rasterized=len(known) > MOST_SHAPES,
            )  # fmt: skip
            if lines is not None:
                own_lines = lines[lines[c.EDGE_TYPE].astype(str) == name]
                _draw_lines(panel, own_lines, _zero_miles(own_lines, start), styles[name].color)
        if names:
            far = known[c.MILES_MI].max() or 1.0
            axes[0].set_xlim(-0.02 * far, 1.12 * far)
        else:
            axes[0].text(
                0.5,
                0.5,
                display.words("No readings with miles and height"),
                ha="center",
                transform=axes[0].transAxes,
            )
        if len(names) <= 3:
            for panel, name in zip(axes, names, strict=False):
                name_trucks(panel, known[known[c.EDGE_TYPE].astype(str) == name])
        said = "Marks: readings at each station."
        _name_scales(
            axes, f"{said} Lines: straight line fitted to each segment." if lines is not None else said
        )
        return axes


# ---------------------------------------------------------------- panels of heights
def n_trucks(readings: pd.DataFrame) -> int:
    """Trucks in the readings; one that carries edges in two positions counts once."""
    return int(readings[c.TRUCK_ID].astype(str).nunique())


def _new_panels(n: int) -> np.ndarray:
    return new_panels(n, 1 if n <= 3 else 2, 0.6, 1.8, sharex=True, sharey=True)


def _zero_miles(frame: pd.DataFrame, start: pd.Series) -> np.ndarray:
    """Miles of the first reading of each row's set on its truck position."""
    units, sets = (start.index.get_level_values(level).astype(str) for level in (0, 1))
    zero = dict(zip(zip(units, sets, strict=True), start, strict=True))
    keys = zip(frame[c.TRUCK_UNIT].astype(str), frame[c.SET_ID].astype(str), strict=True)
    return np.array([zero.get(key, math.nan) for key in keys], dtype=float)


def _draw_lines(panel: Axes, lines: pd.DataFrame, zero: np.ndarray, color: str) -> None:
    from matplotlib.collections import LineCollection

    miles = lines[[sl.FIRST_MI, sl.LAST_MI]].to_numpy(float) - zero[:, None]
    ends = lines[[sl.FIRST_HEIGHT_IN, sl.LAST_HEIGHT_IN]].to_numpy(float)
    drawn = LineCollection(
        list(np.stack([miles, ends], axis=2)),
        colors=color,
        linewidths=0.8,
        alpha=0.8,
        rasterized=len(lines) > MOST_SHAPES / 4,
    )
    panel.add_collection(drawn, autolim=True)
    panel.autoscale_view()


def _name_scales(axes: np.ndarray, said: str) -> None:
    """Height beside the panels of the first column, miles under the lowest panel of each column, what is drawn under all."""
    figure = axes[0].get_figure()
    for panel in axes:
        place = panel.get_subplotspec()
        if place is None or place.is_first_col():
            panel.set_ylabel(f"Height [{display.unit('in')}]")
    for panel in axes[-2:] if len(axes) > 3 else axes[-1:]:
        panel.tick_params(labelbottom=True)
    miles = display.words("Blade-down miles since the first reading of the set")
    figure.supxlabel(f"{miles}\n{said}", fontsize=theme.BODY_PT)


def name_trucks(panel: Axes, own: pd.DataFrame, value: str = c.HEIGHT_IN) -> None:
    """The name of each truck beside the panel's last reading, with a thin line to the end of its longest set.

    `own` has the columns truck_unit, miles_mi and `value`, the one that is drawn; above a few trucks none is named.
    """
    at_end = own[own[c.MILES_MI] == own.groupby(c.TRUCK_UNIT, observed=True)[c.MILES_MI].transform("max")]
    ends = at_end.groupby(c.TRUCK_UNIT, observed=True)[[c.MILES_MI, value]].mean()
    ends = ends.sort_values(value, kind="stable")
    if len(ends) > MOST_NAMED_TRUCKS:
        return
    low, high = panel.get_ylim()
    step = 0.11 * (high - low)
    places = apart(ends[value].to_numpy(float), step, low + step / 2, high - step / 2)
    names = [formatting.position_name(str(unit)) for unit in ends.index]
    if len({name.rpartition(", ")[2] for name in names}) == 1:
        names = [name.rpartition(", ")[0] or name for name in names]
    beside = ends[c.MILES_MI].max() + 0.03 * panel.get_xlim()[1]
    for name, miles, height, place in zip(names, ends[c.MILES_MI], ends[value], places, strict=True):
        panel.annotate(
            theme.drawable(name, 18),
            (miles, height),
            xytext=(beside, place),
            textcoords="data",
            ha="left",
            va="center",
            fontsize=theme.SMALL_PT,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "lw": 0.6,
                "color": theme.QUIET_INK,
                "shrinkA": 0,
                "shrinkB": 1,
                "relpos": (0, 0.5),
            },
        )


def apart(wanted: np.ndarray, step: float, low: float, high: float) -> np.ndarray:
    """Ascending places as near to `wanted` as a distance of `step` allows, between `low` and `high` where they fit."""
    places = wanted.copy()
    for index in range(1, len(places)):
        places[index] = max(places[index], places[index - 1] + step)
    places -= np.mean(places - wanted)
    for index in range(1, len(places)):
        places[index] = max(places[index], places[index - 1] + step)
    return places - max(0.0, places[-1] - high) + max(0.0, low - places[0])
