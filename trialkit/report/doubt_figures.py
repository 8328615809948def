"""The figures that put the wear findings in doubt.

Answers: does wear run straight, which truck and which reading stands apart, and on what does the comparison hang?

As in `figures`, a function draws a result that is handed in, fits nothing and saves nothing.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.formatting import level_words
from trialkit.report import theme
from trialkit.report.displayed import displayed
from trialkit.report.figure_rows import PAPER_BOX, labels_of, new_panels, number_of, types_of
from trialkit.report.figures import MOST_SHAPES, n_trucks, name_trucks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WEAR_IN = "wear_in"
MOST_COMPARISONS = 4
"""Comparisons that the figure of the board holds; the table under it has them all."""
MOST_NAMED_READINGS = 8
LOWEST_TRUCK = "without one truck, lowest"
HIGHEST_TRUCK = "without one truck, highest"
NEAREST_TRUCK = "without one truck, nearest to 1"
BOARD_ROW_IN = 0.26
FOOT_CHARACTERS = 88
NAME_CHARACTERS = 37
CANNOT_TELL, NO = "cannot tell", "no"


def truck_wear(rates: Any, readings: pd.DataFrame, *, labels: Mapping[str, str] | None = None) -> np.ndarray:
    """Wear since install of every set of every truck, one panel for each edge type, each with its own scale of wear.

    Parameters
    ----------
    rates : WearRates
        `table` with edge_type, estimate; `labels`.
    readings : DataFrame
        The readings by segment: edge_type, truck_id, truck_unit, set_id, segment, miles_mi [mi], height_in [in].
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    array of Axes
        A line joins the mean wear of the stations of one set that were begun together. The dashed line is the mean rate.
    """
    labels = labels_of(rates, labels)
    wear = displayed(wear_since_install(readings))
    table = displayed(rates.table)
    names = types_of(wear)
    with theme.print_style():
        axes = _panels(len(names), sharey=False)
        styles = theme.edge_styles(types_of(readings))
        for panel, name in zip(axes, names, strict=False):
            own = wear[wear[c.EDGE_TYPE].astype(str) == name]
            _title(panel, name, labels, own, len(names))
            panel.grid(axis="y")
            _wear_lines(panel, own, styles[name])
            _mean_lines(panel, table[table[c.EDGE_TYPE].astype(str) == name], own)
            panel.set_ylabel(f"Wear [{display.unit('in')}]")
        if names:
            far = float(wear[c.MILES_MI].max()) or 1.0
            axes[0].set_xlim(-0.02 * far, 1.12 * far)
            if len(names) <= 3:
                for panel, name in zip(axes, names, strict=False):
                    name_trucks(panel, wear[wear[c.EDGE_TYPE].astype(str) == name], WEAR_IN)
        else:
            _nothing(axes[0], display.words("No readings with miles and height"))
        _name_miles(
            axes,
            "Line: mean wear of the stations of one set. Dashed: mean rate of the edge type. "
            "Each panel has its own scale of wear.",
        )
        return axes


def wear_since_install(readings: pd.DataFrame) -> pd.DataFrame:
    """Mean wear of the stations of each set since they were begun, at each reading.

    Parameters
    ----------
    readings : DataFrame
        The readings by segment: edge_type, truck_id, truck_unit, set_id, segment, miles_mi [mi], height_in [in].

    Returns
    -------
    DataFrame
        `edge_type`, `truck_id`, `truck_unit`, `set_id`, `start` (miles at the first reading of the segments), `miles_mi`
        since then and `wear_in` [in], in the order of the miles.
    """
    keys = [c.EDGE_TYPE, c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID]
    known = readings.dropna(subset=[c.MILES_MI, c.HEIGHT_IN, c.TRUCK_UNIT, c.SEGMENT])
    known = known[[*keys, c.SEGMENT, c.MILES_MI, c.HEIGHT_IN]].sort_values(c.MILES_MI, kind="stable")
    segments = known.groupby(c.SEGMENT, observed=True, sort=False)
    known = known.assign(
        **{
            WEAR_IN: segments[c.HEIGHT_IN].transform("first") - known[c.HEIGHT_IN],
            c.START: segments[c.MILES_MI].transform("first"),
        }
    )
    known[c.MILES_MI] -= known[c.START]
    known = known[known.groupby(c.SEGMENT, observed=True)[c.MILES_MI].transform("max") > 0]
    means = known.groupby([*keys, c.START, c.MILES_MI], observed=True, sort=False)[WEAR_IN].mean()
    return means.reset_index()


def residuals(result: Any, *, labels: Mapping[str, str] | None = None) -> np.ndarray:
    """Distance of every reading from the line of its segment against miles, one panel for each edge type.

    Parameters
    ----------
    result : Outliers
        `readings` with edge_type, truck_unit, set_id, miles_mi [mi], distance, limit and stands_apart; its index is the row
        of the readings table.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    array of Axes
        In residual standard deviations. Readings that stand apart are ringed and named by their row.
    """
    labels = labels_of(result, labels)
    every = displayed(result.readings).dropna(subset=[c.DISTANCE])
    start = every.groupby([c.TRUCK_UNIT, c.SET_ID], observed=True)[c.MILES_MI].transform("min")
    every = every.assign(**{c.MILES_MI: every[c.MILES_MI] - start})
    names = types_of(every)
    with theme.print_style():
        axes = _panels(len(names), sharey=True)
        styles = theme.edge_styles(types_of(result.readings))
        for panel, name in zip(axes, names, strict=False):
            own = every[every[c.EDGE_TYPE].astype(str) == name]
            _title(panel, name, labels, own, len(names), f"{len(own):,} readings")
            panel.axhline(0, color=theme.QUIET_INK, lw=0.8, zorder=1)
            for side in (-1, 1):
                panel.axhline(
                    side * float(own[c.LIMIT].max()), color=theme.QUIET_INK, lw=0.8, ls=(0, (4, 3)), zorder=1
                )
            panel.plot(
                own[c.MILES_MI], own[c.DISTANCE], ls="", marker=styles[name].marker, ms=2.8, mfc=styles[name].color,
                mec="none", alpha=0.5, rasterized=len(every) > MOST_SHAPES,
            )  # fmt: skip
            _ring(panel, own[own[c.STANDS_APART] != NO])
            panel.set_ylabel("Distance [SD]")
        if not names:
            _nothing(axes[0], display.words("No segment has enough readings at different miles"))
        _name_miles(
            axes,
            "Height above the line of its segment, in residual standard deviations (SD). Dashed: beyond it a reading "
            "stands apart.",
        )
        return axes


def board(result: Any, *, labels: Mapping[str, str] | None = None) -> np.ndarray:
    """The comparison as reported and with one thing changed at a time, one panel for each comparison.

    Parameters
    ----------
    result : SensitivityBoard
        `table` with edge_type, reference, plow_position, variant, truck_id, estimate, conf_low, conf_high, stands and
        reason; `confidence_level`.
    labels : mapping, optional
        Printed name of each edge type, if not as in the result.

    Returns
    -------
    array of Axes
        Logarithmic, with the rows of `board_rows`. The band is the interval
        as reported; an open mark is a variant in which the finding does not stand.
    """
    labels = labels_of(result, labels)
    every = result.comparisons()
    shown = every[:MOST_COMPARISONS]
    drawn = [board_rows(rows) for rows in shown]
    names = _merged([rows[c.VARIANT].tolist() for rows in drawn])
    with theme.print_style():
        axes = _board_panels(len(drawn), max(1, len(names)))
        references = list(dict.fromkeys(result.table[c.REFERENCE].astype(str)))
        styles = theme.edge_styles([*references, *types_of(result.table)])
        for panel, rows in zip(axes, drawn, strict=False):
            first = rows.iloc[0]
            several = result.table[c.PLOW_POSITION].nunique() > 1
            where = f", {formatting.position_name(str(first[c.PLOW_POSITION]))}" if several else ""
            name = f"{formatting.named(str(first[c.EDGE_TYPE]), labels)}{where}"
            panel.set_title("\n".join(textwrap.wrap(theme.drawable(name, 56), 23 if len(drawn) > 1 else 60)))
            _draw_board(
                panel,
                rows,
                names,
                styles[str(first[c.EDGE_TYPE])].color,
                styles[str(first[c.EDGE_TYPE])].marker,
            )
        if not drawn:
            _nothing(axes[0], "No edge type can be compared with the reference")
        reference = formatting.listed([theme.drawable(labels.get(name, name)) for name in references])
        said = f"Line: {level_words(result.confidence_level)}. Shaded: as reported."
        if not result.table[c.CONF_HIGH].notna().all():
            said += " An arrow has no end on that side."
        if (result.table[c.STANDS] == NO).any():
            said += " Open mark: the finding does not stand."
        axes[0].get_figure().supxlabel(
            f"How many times slower than {reference} it wears, logarithmic scale\n"
            + "\n".join(textwrap.wrap(said, FOOT_CHARACTERS)),
            fontsize=theme.BODY_PT,
        )
        return axes


def board_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows of one comparison as the figure shows them: of the trucks left out only those that matter most.

    Parameters
    ----------
    rows : DataFrame
        Rows of one comparison of a `SensitivityBoard`.

    Returns
    -------
    DataFrame
        Those rows; of the variants without one truck the lowest and the highest estimate and, if it is another one, the
        interval that comes nearest to 1. `variant` says which of them it is, `truck_id` which truck.
    """
    first, own = np.arange(len(rows)) == 0, (rows[c.TRUCK_ID] == "").to_numpy()
    kept = [rows[own & first]]
    trucks = rows[~own & rows[c.ESTIMATE].notna().to_numpy()]
    if len(trucks):
        ends = {LOWEST_TRUCK: trucks[c.ESTIMATE].idxmin(), HIGHEST_TRUCK: trucks[c.ESTIMATE].idxmax()}
        low, high = rows[c.CONF_LOW].iloc[0], rows[c.CONF_HIGH].iloc[0]
        if low > 1 and trucks[c.CONF_LOW].notna().any():
            ends[NEAREST_TRUCK] = trucks[c.CONF_LOW].idxmin()
        elif high < 1 and trucks[c.CONF_HIGH].notna().any():
            ends[NEAREST_TRUCK] = trucks[c.CONF_HIGH].idxmax()
        if ends.get(NEAREST_TRUCK) in (ends[LOWEST_TRUCK], ends[HIGHEST_TRUCK]):
            del ends[NEAREST_TRUCK]
        kept += [trucks.loc[[at]].assign(**{c.VARIANT: name}) for name, at in ends.items()]
    kept.append(rows[own & ~first])
    return pd.concat(kept)


def _merged(lists: Sequence[Sequence[str]]) -> list[str]:
    """All names in one order: each list keeps its own, and a name that is new follows the one before it."""
    merged: list[str] = []
    for names in lists:
        at = 0
        for name in names:
            if name not in merged:
                merged.insert(at, name)
            at = merged.index(name) + 1
    return merged


# ---------------------------------------------------------------- panels
def _panels(n: int, *, sharey: bool) -> np.ndarray:
    return new_panels(n, 1 if n <= 3 else 2, 0.75, 1.65, sharex=True, sharey=sharey)


def _board_panels(n: int, rows: int) -> np.ndarray:
    return new_panels(n, 2 if n > 1 else 1, 0.95, 0.55 + BOARD_ROW_IN * rows, sharey=True)


def _title(
    panel: Axes, name: str, labels: Mapping[str, str], own: pd.DataFrame, n_panels: int, more: str = ""
) -> None:
    longest = 48 if n_panels <= 3 else 22
    counts = formatting.counted(n_trucks(own), "truck") + (f", {more}" if more and n_panels <= 3 else "")
    panel.set_title(f"{theme.drawable(formatting.named(name, labels), longest)}: {counts}")


def _nothing(panel: Axes, words: str) -> None:
    panel.text(0.5, 0.5, words, ha="center", va="center", transform=panel.transAxes)
    panel.set_xticks([])
    panel.set_yticks([])


def _name_miles(axes: np.ndarray, said: str) -> None:
    for panel in axes[-2:] if len(axes) > 3 else axes[-1:]:
        panel.tick_params(labelbottom=True)
    words = "\n".join(textwrap.wrap(said, FOOT_CHARACTERS))
    miles = display.words("Blade-down miles since the first reading of the set")
    axes[0].get_figure().supxlabel(f"{miles}\n{words}", fontsize=theme.BODY_PT)


def _wear_lines(panel: Axes, own: pd.DataFrame, style: theme.EdgeStyle) -> None:
    from matplotlib.collections import LineCollection

    groups = own.groupby([c.TRUCK_UNIT, c.SET_ID, c.START], observed=True, sort=False)
    lines = [part[[c.MILES_MI, WEAR_IN]].to_numpy(float) for _, part in groups]
    drawn = LineCollection(
        [line for line in lines if len(line) > 1], colors=style.color, linewidths=1.0, alpha=0.75,
        rasterized=len(own) > MOST_SHAPES,
    )  # fmt: skip
    panel.add_collection(drawn, autolim=True)
    panel.plot(
        own[c.MILES_MI], own[WEAR_IN], ls="", marker=style.marker, ms=2.4, mfc=style.color, mec="none", alpha=0.75,
        rasterized=len(own) > MOST_SHAPES,
    )  # fmt: skip
    panel.autoscale_view()


def _mean_lines(panel: Axes, table: pd.DataFrame, own: pd.DataFrame) -> None:
    """The mean rate of each plow position, as far as its sets went and as deep as they wore."""
    place = own[c.TRUCK_UNIT].astype(str).str.rpartition(", ")[2]
    for row in table.dropna(subset=[c.ESTIMATE]).to_dict("records"):
        here = own[place == str(row[c.PLOW_POSITION])]
        far = float((here if len(here) else own)[c.MILES_MI].max())
        ends = np.array([0.0, far])
        panel.plot(ends, row[c.ESTIMATE] * ends / 1000.0, color=theme.INK, lw=1.1, ls=(0, (6, 3)), zorder=4)


def _ring(panel: Axes, odd: pd.DataFrame) -> None:
    """A ring about each reading that stands apart, and the rows of the farthest ones."""
    panel.plot(
        odd[c.MILES_MI],
        odd[c.DISTANCE],
        ls="",
        marker="o",
        ms=8,
        mfc="none",
        mec=theme.INK,
        mew=1.1,
        zorder=5,
    )
    farthest = odd.iloc[np.argsort(-odd[c.DISTANCE].abs().to_numpy(), kind="stable")][:MOST_NAMED_READINGS]
    middle = float(np.mean(panel.get_xlim()))
    for row, miles, distance in zip(farthest.index, farthest[c.MILES_MI], farthest[c.DISTANCE], strict=True):
        side, shift = ("left", 7) if miles < middle else ("right", -7)
        panel.annotate(
            f"row {row}", (miles, distance), xytext=(shift, 0), textcoords="offset points", ha=side, va="center",
            fontsize=theme.SMALL_PT, annotation_clip=False,
        )  # fmt: skip


# ---------------------------------------------------------------- the board
def _draw_board(panel: Axes, rows: pd.DataFrame, names: Sequence[str], color: str, marker: str) -> None:
    left, right = _board_scale(panel, rows)
    first = rows.iloc[0]
    low, high = number_of(first[c.CONF_LOW]), number_of(first[c.CONF_HIGH])
    if math.isfinite(low):
        panel.axvspan(
            max(low, left), high if math.isfinite(high) else right, color=color, alpha=0.09, lw=0, zorder=0
        )
    panel.axvline(1.0, color=theme.QUIET_INK, lw=1.0, zorder=1)
    for row in rows.to_dict("records"):
        place = names.index(row[c.VARIANT])
        _draw_variant(panel, row, place, (left, right), color, marker)
    wrapped = [theme.drawable(formatting.sentence_case(name), 52) for name in names]
    panel.set_yticks(range(len(names)), ["\n".join(textwrap.wrap(name, NAME_CHARACTERS)) for name in wrapped])
    panel.set_ylim(len(names) - 0.4, -0.6)
    panel.tick_params(axis="y", length=0, pad=6)
    panel.spines["left"].set_visible(False)
    panel.grid(axis="x")


def _draw_variant(
    panel: Axes, row: Mapping[Any, Any], place: int, ends: tuple[float, float], color: str, marker: str
) -> None:
    left, right = ends
    estimate, low, high = (number_of(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH))
    stands = row[c.STANDS]
    if math.isfinite(low):
        start, stop = max(low, left), high if math.isfinite(high) else right
        panel.plot([start, stop], [place, place], color=color, lw=1.8, solid_capstyle="butt", zorder=2)
        for end, there, arrow in ((start, low > left, "<"), (stop, math.isfinite(high), ">")):
            if not there:
                panel.plot([end], [place], ls="", marker=arrow, ms=5, color=color, zorder=3, clip_on=False)
    if math.isfinite(estimate) and left <= estimate <= right:
        face = theme.PAPER if stands == NO else color
        panel.plot(
            [estimate], [place], ls="", marker=marker, ms=6.2, mfc=face, mec=color if stands == NO else theme.PAPER,
            mew=1.3 if stands == NO else 0.8, zorder=4,
        )  # fmt: skip
    said = str(row[c.TRUCK_ID])
    if stands == CANNOT_TELL:
        said = (
            f"{said}: no interval" if said else "no interval" if math.isfinite(estimate) else "cannot be told"
        )
    elif stands == NO:
        said = f"{said}: does not stand" if said else "does not stand"
    if said:
        _say_above(
            panel, theme.drawable(said, 30), place, ends, next(filter(math.isfinite, (estimate, low)), left)
        )


def _say_above(panel: Axes, words: str, place: int, ends: tuple[float, float], at: float) -> None:
    """Words just above the line of a row, at the estimate, kept inside the panel."""
    left, right = ends
    at = min(max(at, left), right)
    inside = math.log(at / left) / math.log(right / left)
    side = "left" if inside < 0.3 else "right" if inside > 0.7 else "center"
    panel.annotate(
        words, (at, place), xytext=({"left": 5, "right": -5, "center": 0}[side], 4), textcoords="offset points", ha=side,
        va="bottom", fontsize=theme.SMALL_PT, color=theme.INK, annotation_clip=False, bbox=PAPER_BOX,
    )  # fmt: skip


def _board_scale(panel: Axes, rows: pd.DataFrame) -> tuple[float, float]:
    """A logarithmic axis that holds 1 and every end that is not far below it; returns its ends."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    values = np.concatenate([rows[name].to_numpy(float) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)])
    values = values[np.isfinite(values) & (values > 0)]
    sure = np.concatenate([rows[name].to_numpy(float) for name in (c.ESTIMATE, c.CONF_LOW)])
    sure = sure[np.isfinite(sure) & (sure > 0)]
    estimates = rows[c.ESTIMATE].to_numpy(float)
    estimates = estimates[np.isfinite(estimates) & (estimates > 0)]
    near = float(estimates.min()) if len(estimates) else 1.0
    far = float(sure.max()) if len(sure) else 1.0
    low = max(min([1.0, *values]), min(1.0, near) / 20) / 1.25
    high = min(max([1.0, *values]), max(1.0, far) * 20) * 1.35
    panel.set_xscale("log")
    panel.set_xlim(low, high)
    few = math.log10(high / low) < 1.6
    panel.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if few else (1.0, 3.0), numticks=12))
    panel.xaxis.set_minor_locator(NullLocator())
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
    return low, high
