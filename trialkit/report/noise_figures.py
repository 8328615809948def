"""The figures of noise and vibration in the cab.

Answers: how loud is it, how does that compare with what the criteria count, and how much of each is a shift?

As in `figures`, a figure draws a result that is handed in, fits nothing and saves nothing.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import formatting
from trialkit.cab.criteria import NoiseCriterion, VibrationCriterion
from trialkit.cab.noise import TASK_WORDS
from trialkit.cab.noise_exposure import USUAL_SHIFTS_H, hours_words
from trialkit.cab.sound import ENERGY
from trialkit.cab.task_shares import TASKS
from trialkit.formatting import level_words
from trialkit.report import theme
from trialkit.report.figure_rows import (
    ROW_IN,
    EstimateRow,
    direct_label,
    draw_interval,
    estimate_rows,
    name_rows,
    new_panels,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RULER_H = (8.0, 16.0, 4.0, 12.0, 24.0, 2.0, 1.0, 0.5)
"""Hours that stand on the ruler of a criterion, those that matter most first."""
RULER_ROW = 0.8
"""Height of a ruler in rows."""
RULER_GAP = 0.35
"""Rows between the last edge type and the first ruler."""
RULER_WORDS = " Rulers: hours at a\nsteady level until the criterion is reached."
NARROWEST_SCALE_DB = 6.0
PANEL_IN = 2.35
CLUSTER_WIDTH = 0.5


def levels(result: Any, ax: Axes | None = None) -> Axes:
    """Average level of each edge type with its trucks, over rulers that show the hours until each criterion is reached.

    Parameters
    ----------
    result : NoiseExposure
        `levels` (its table and trucks), `criteria` and `shift_length_h`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.

    Returns
    -------
    Axes
        The levels of `shown_task`. Averages with 5 dB stand in rows of their own. A ruler is dotted where its criterion
        counts nothing.
    """
    task = shown_task(result.levels)
    table = result.levels.table
    table = table[table[c.TASK] == task]
    rows = list(_level_rows(table, result.levels.label.labels))
    trucks = result.levels.by_truck[result.levels.by_truck[c.TASK] == task]
    own = [_trucks_of(trucks, row, rate) for row, rate in zip(rows, table[c.EXCHANGE_RATE_DB], strict=True)]
    with theme.print_style():
        ax = ax if ax is not None else _level_axes(len(rows), len(result.criteria))
        values = [
            value for row, dots in zip(rows, own, strict=True) for value in (row.estimate, row.low, row.high, *dots)
        ]  # fmt: skip
        left, right = _level_scale(ax, values, result.criteria)
        name_rows(ax, rows)
        for place, (row, dots) in enumerate(zip(rows, own, strict=True)):
            draw_interval(ax, row, place, left, right)
            _truck_marks(ax, dots, place, row)
            direct_label(ax, row, place, left, right, level_text(row.estimate, row.low, row.high))
        _rulers(ax, len(rows), result, left, right)
        ax.set_xlabel(
            f"Average level in the cab {TASK_WORDS[task]} [dBA]\n"
            f"{_marks_words(result.confidence_level)}"
            f"{RULER_WORDS if result.criteria else ''}"
        )
        return ax


def doses(result: Any, ax: Any = None) -> list[Axes]:
    """Dose of shifts of several lengths by edge type, one panel for each criterion.

    Parameters
    ----------
    result : NoiseExposure
        `by_shift_length`, `criteria` and `shift_length_h`.
    ax : array of Axes, optional
        One for each criterion that has a dose; a new figure if not given.

    Returns
    -------
    list of Axes
        The line across a panel is the dose at which its criterion is reached.
    """
    hours = shift_lengths(result)
    table = result.by_shift_length(hours)
    shown = [criterion for criterion in result.criteria if (table[c.CRITERION] == criterion.name).any()]
    names = list(dict.fromkeys(result.table[c.EDGE_TYPE]))
    styles = theme.edge_styles(names)
    with theme.print_style():
        axes = _dose_panels(len(shown)) if ax is None else list(np.atleast_1d(ax).ravel())
        for panel, criterion in zip(axes, shown, strict=False):
            _dose_panel(panel, criterion, table[table[c.CRITERION] == criterion.name], hours, names, styles)
        if shown:
            _legend(axes[0], names, styles, result.levels.label)
            figure: Any = axes[0].get_figure()
            figure.supxlabel(
                "Length of the shift [hours]\nUpright lines: dose with the levels lowered and raised by their interval or their "
                "uncertainty,\nwhichever is wider.",
                fontsize=theme.BODY_PT,
            )
        else:
            axes[0].text(0.5, 0.5, "No dose could be worked out", ha="center", transform=axes[0].transAxes)
            axes[0].set_axis_off()
        return axes


def daily_vibration(result: Any, ax: Axes | None = None) -> Axes:
    """Daily whole-body vibration A(8) of each edge type with its trucks, beside the criteria.

    Parameters
    ----------
    result : VibrationExposure
        `governing`, `a8_by_truck`, `criteria`, `daily_h`.
    ax : Axes, optional
        Where to draw; a new figure of the printed width if not given.

    Returns
    -------
    Axes
        The axis that governs each edge type; upright lines are the criteria.
    """
    table = result.governing()
    ends = {c.ESTIMATE: c.A8_M_S2, c.CONF_LOW: c.A8_LOW_M_S2, c.CONF_HIGH: c.A8_HIGH_M_S2}
    table = table.assign(**{name: table[source] for name, source in ends.items()})
    axes_words = [f"axis {axis}" for axis in table[c.AXIS]]
    rows = [
        replace(row, position_words=words)
        for row, words in zip(estimate_rows(table, result.label.labels), axes_words, strict=True)
    ]
    trucks = result.a8_by_truck()
    own = [trucks.loc[trucks[c.EDGE_TYPE] == row.edge_type, c.A8_M_S2].to_numpy(float) for row in rows]
    with theme.print_style():
        ax = ax if ax is not None else _level_axes(len(rows), 0)
        far = [criterion.a8_m_s2 for criterion in result.criteria]
        values = [
            value for row, dots in zip(rows, own, strict=True) for value in (row.estimate, row.high, *dots)
        ]
        right = 1.08 * max(value for value in [*values, *far] if math.isfinite(value))
        ax.set_xlim(0.0, right)
        ax.grid(axis="x")
        name_rows(ax, rows)
        for place, (row, dots) in enumerate(zip(rows, own, strict=True)):
            draw_interval(ax, row, place, 0.0, right)
            _truck_marks(ax, dots, place, row)
            direct_label(ax, row, place, 0.0, right, a8_text(row.estimate, row.low, row.high))
        _criterion_lines(ax, result.criteria, right)
        ax.set_xlabel(
            f"Whole-body vibration over {hours_words(result.daily_h)} hours a day, A(8) [m/s²]\n"
            f"{_marks_words(result.confidence_level)}"
        )
        return ax


def shown_task(result: Any) -> str:
    """The task that the figure of levels shows: blade down, or the first task that was sampled."""
    return next(task for task in TASKS if (result.table[c.TASK] == task).any())


def shift_lengths(result: Any) -> list[float]:
    """The usual shift lengths and that of the settings [h]."""
    return sorted({*USUAL_SHIFTS_H, result.shift_length_h})


def level_text(level_dba: float, low: float, high: float) -> str:
    """A level with its interval, to the tenth of a decibel."""
    return _with_ends(level_dba, low, high, 1)


def a8_text(a8_m_s2: float, low: float, high: float) -> str:
    """An A(8) with its interval, to the hundredth."""
    return _with_ends(a8_m_s2, low, high, 2)


def _marks_words(confidence_level: float) -> str:
    return f"Line: {level_words(confidence_level)}, from the spread over trucks.\nSmall open marks: single trucks."


def _with_ends(estimate: float, low: float, high: float, finest: int) -> str:
    places = min(finest, formatting.interval_decimals(estimate, low, high))
    known = math.isfinite(low) and math.isfinite(high)
    ends = formatting.span(low, high, places) if known else formatting.NO_INTERVAL
    return f"{formatting.fixed(estimate, places)} ({ends})"


# ---------------------------------------------------------------- levels and rulers
def _level_rows(table: pd.DataFrame, labels: Any) -> Iterator[EstimateRow]:
    """A row for each line of the table; averages with 5 dB say so where there are others."""
    mixed = table[c.EXCHANGE_RATE_DB].nunique() > 1
    rows = estimate_rows(table.assign(**{c.ESTIMATE: table[c.LEVEL_DBA]}), labels)
    for row, rate in zip(rows, table[c.EXCHANGE_RATE_DB], strict=True):
        words = f"{rate:g} dB average" if rate != ENERGY and mixed else ""
        yield replace(row, position_words=words)


def _trucks_of(trucks: pd.DataFrame, row: EstimateRow, rate: float) -> np.ndarray:
    own = (trucks[c.EDGE_TYPE].astype(str) == row.edge_type) & (trucks[c.EXCHANGE_RATE_DB] == rate)
    return trucks.loc[own, c.LEVEL_DBA].to_numpy(float)


def _level_axes(rows: int, rulers: int) -> Axes:
    import matplotlib.pyplot as plt

    height = 1.05 + ROW_IN * max(rows, 1) + (ROW_IN * (RULER_GAP + RULER_ROW * rulers) if rulers else 0.0)
    _, ax = plt.subplots(figsize=(theme.WIDTH_IN, height))
    return ax


def _level_scale(
    ax: Axes, values: Sequence[float], criteria: Sequence[NoiseCriterion]
) -> tuple[float, float]:
    """A scale that holds every level and each criterion's level for its reference hours; it does not begin at zero."""
    finite = [value for value in values if math.isfinite(value)]
    finite += [float(criterion.shift_level_dba(criterion.reference_h)[0]) for criterion in criteria]
    low, high = min(finite), max(finite)
    room = max(0.08 * (high - low), (NARROWEST_SCALE_DB - (high - low)) / 2, 0.5)
    ax.set_xlim(low - room, high + room)
    ax.grid(axis="x")
    return low - room, high + room


def _truck_marks(ax: Axes, dots: np.ndarray, place: int, row: EstimateRow) -> None:
    ax.plot(
        dots, np.full(len(dots), place + 0.27), ls="", marker=row.style.marker, ms=3.6, mfc="white", mec=row.style.color,
        mew=0.9,
    )  # fmt: skip


def _rulers(ax: Axes, n_rows: int, result: Any, left: float, right: float) -> None:
    """One ruler for each criterion below the rows: ticks at the hours until it is reached."""
    if not result.criteria:
        return
    places = [n_rows + RULER_GAP + RULER_ROW * number for number in range(len(result.criteria))]
    names = [label.get_text() for label in ax.get_yticklabels()]
    rulers = ["\n".join(textwrap.wrap(theme.drawable(one.label, 56), 20)) for one in result.criteria]
    ax.set_yticks([*range(n_rows), *places], [*names, *rulers])
    ax.set_ylim(places[-1] + 0.35, -0.75)
    ax.axhline(n_rows - 0.4, color=theme.GRID, lw=0.8)
    for place, criterion in zip(places, result.criteria, strict=True):
        counted_from = (
            left if criterion.threshold_dba is None else min(max(left, criterion.threshold_dba), right)
        )
        ax.plot([counted_from, right], [place, place], color=theme.QUIET_INK, lw=0.9)
        ax.plot([left, counted_from], [place, place], ls=(0, (1, 3)), color=theme.QUIET_INK, lw=0.9)
        if counted_from - left > 0.22 * (right - left):
            words = f"not counted below {criterion.threshold_dba:g} dBA"
            ax.annotate(
                words, (left, place), xytext=(4, 3), textcoords="offset points", va="bottom", fontsize=theme.SMALL_PT,
                color=theme.QUIET_INK,
            )  # fmt: skip
        _ticks(ax, criterion, place, result.shift_length_h, counted_from, right)


def _ticks(
    ax: Axes, criterion: NoiseCriterion, place: float, shift_length_h: float, left: float, right: float
) -> None:
    """Hours on a ruler, those of the shift in bold; hours that would run into more important ones are left out."""
    room = 0.055 * (ax.get_xlim()[1] - ax.get_xlim()[0])
    taken: list[float] = []
    for hours in dict.fromkeys((float(shift_length_h), *RULER_H)):
        level = float(criterion.shift_level_dba(hours)[0])
        if not left - 1e-9 <= level <= right - 0.3 * room or any(
            abs(level - other) < room for other in taken
        ):
            continue
        taken.append(level)
        bold = hours == shift_length_h
        ax.plot([level, level], [place - 0.07, place + 0.07], color=theme.INK, lw=1.6 if bold else 0.9)
        ax.annotate(
            f"{hours_words(hours)} h", (level, place), xytext=(0, 4), textcoords="offset points", ha="center", va="bottom",
            fontsize=theme.SMALL_PT, fontweight="bold" if bold else "normal",
        )  # fmt: skip


# ---------------------------------------------------------------- doses
def _dose_panels(n: int) -> list[Axes]:
    across = 2 if n in (2, 4) else min(max(n, 1), 3)
    panels = list(new_panels(n, across, 0.95, PANEL_IN, sharex=True))
    for lowest in panels[-across:]:
        lowest.tick_params(labelbottom=True)
    return panels


def _dose_panel(
    panel: Axes,
    criterion: NoiseCriterion,
    table: pd.DataFrame,
    hours: Sequence[float],
    names: Sequence[str],
    styles: Any,
) -> None:
    """Clusters of edge types for each shift length, and the dose at which the criterion is reached."""
    step = CLUSTER_WIDTH / max(1, len(names) - 1) if len(names) > 1 else 0.0
    for place, name in enumerate(names):
        own = table[table[c.EDGE_TYPE] == name].set_index(c.SHIFT_LENGTH_H).reindex(list(hours))
        x = np.arange(len(hours)) + (place - (len(names) - 1) / 2) * step
        style = styles[name]
        panel.vlines(x, own[c.DOSE_LOW_PCT], own[c.DOSE_HIGH_PCT], color=style.color, lw=1.8)
        panel.plot(
            x, own[c.DOSE_PCT], ls="", marker=style.marker, ms=6, color=style.color, mec="white", mew=0.8, clip_on=False,
            zorder=3,
        )  # fmt: skip
    doses_pct = table[[c.DOSE_PCT, c.DOSE_HIGH_PCT]].to_numpy(float)
    reached = criterion.action_dose_pct
    top = 1.14 * max(1.25 * reached, np.nanmax(doses_pct))
    panel.set_ylim(0.0, top)
    panel.set_xlim(-0.6, len(hours) - 0.4)
    panel.set_xticks(range(len(hours)), [hours_words(length) for length in hours])
    panel.grid(axis="y")
    panel.axhline(reached, color=theme.INK, lw=1.2, ls=(0, (6, 2)))
    title = [
        *textwrap.wrap(theme.drawable(criterion.label, 56), 22),
        f"reached at {formatting.percent(reached)}",
    ]
    panel.set_title("\n".join(title), fontsize=theme.BODY_PT)
    place_in_grid = panel.get_subplotspec()
    if place_in_grid is None or place_in_grid.is_first_col():
        panel.set_ylabel("Dose of the shift [%]")


def _legend(ax: Axes, names: Sequence[str], styles: Any, label: Any) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D(
            [], [], ls="", marker=styles[name].marker, color=styles[name].color, label=theme.drawable(formatting.sentence_case(label(name)), 44)
        )
        for name in names
    ]  # fmt: skip
    figure: Any = ax.get_figure()
    figure.legend(handles=handles, loc="outside upper left", ncols=min(3, len(names)), handletextpad=0.3)


# ---------------------------------------------------------------- vibration
def _criterion_lines(ax: Axes, criteria: Sequence[VibrationCriterion], right: float) -> None:
    """Each criterion as an upright line with its name at the top."""
    for criterion in criteria:
        ax.axvline(criterion.a8_m_s2, color=theme.INK, lw=1.2, ls=(0, (6, 2)), zorder=1)
        late = criterion.a8_m_s2 > 0.6 * right
        ax.annotate(
            f"{theme.drawable(criterion.label)}, {criterion.a8_m_s2:g}", (criterion.a8_m_s2, 1.0),
            xycoords=("data", "axes fraction"), xytext=(-4 if late else 4, 2), textcoords="offset points",
            ha="right" if late else "left", va="bottom", fontsize=theme.SMALL_PT, annotation_clip=False,
        )  # fmt: skip
