"""The figure of what could turn the finding on cost.

Answers: which uncertain figure moves the difference in cost most, and which can turn it?

As `figures`: a function takes a result and returns the Axes; it fits nothing and saves nothing. The words come from `cost_captions`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.money.cost_sensitivity import AT_HIGH, AT_LOW, SETTING_HIGH, SETTING_LOW, TURNS
from trialkit.money.costs import PER_MILE
from trialkit.report import theme
from trialkit.report.cost_figures import label, money_axis, shade
from trialkit.report.cost_words import mile
from trialkit.report.figure_rows import labels_of, new_panels
from trialkit.table_parts import YES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_PANELS = 3
LEAST_SHARE = 0.01
"""A figure that moves the difference by less than this share of the largest move has no bar; the table has it."""


def tornado(
    result: Any,
    axes: Sequence[Axes] | None = None,
    *,
    labels: Mapping[str, str] | None = None,
    first: str = "",
) -> Sequence[Axes]:
    """The difference in cost from the reference with one figure moved at a time, the most telling on top.

    Parameters
    ----------
    result : Sensitivity
        `table`, `labels`, `currency`.
    axes : sequence of Axes, optional
        One for each of `shown_types`; new ones otherwise.
    labels : mapping, optional
    first : str
        Edge type that comes first; at most three are shown.

    Returns
    -------
    sequence of Axes
        Bar: from the low to the high setting. Line: as found. To the left of zero the type costs less.
    """
    names = labels_of(result, labels)
    kinds = shown_types(result, first)
    order = list(dict.fromkeys(result.table[c.EDGE_TYPE].astype(str)))
    styles = theme.edge_styles(["", *order])
    with theme.print_style():
        rows = {kind: bars(result, kind) for kind in kinds}
        longest = max(len(own) for own in rows.values())
        height_in = 0.62 + 0.34 * longest
        panels = list(new_panels(len(kinds), 1, 0.65, height_in, sharex=True) if axes is None else axes)
        for ax, kind in zip(panels, kinds, strict=True):
            _tornado(ax, rows[kind], styles[kind], result.currency)
            ax.set_title(theme.drawable(formatting.named(kind, names), 70), color=styles[kind].color)
        _tornado_scale(panels, rows)
        panels[-1].set_xlabel(
            f"Cost per blade-down {mile()} less that of the reference\nBelow zero the type costs less. Line: as found.\nHatched: can turn which of the two is cheaper."
        )
        return panels


def shown_types(result: Any, first: str = "") -> list[str]:
    """Edge types that a figure of what could turn the finding has room for."""
    kinds = list(dict.fromkeys(result.table[c.EDGE_TYPE].astype(str)))
    return sorted(kinds, key=lambda kind: kind != first)[:MOST_PANELS]


def bars(result: Any, kind: str) -> pd.DataFrame:
    """The figures that move the difference of one edge type by more than next to nothing."""
    own = result.table[result.table[c.EDGE_TYPE] == kind]
    span = (own[AT_HIGH] - own[AT_LOW]).abs()
    return own[span >= LEAST_SHARE * span.max()] if len(own) else own


def _tornado(ax: Axes, rows: pd.DataFrame, style: theme.EdgeStyle, currency: str) -> None:
    for place, row in enumerate(rows.to_dict("records")):
        low, high = (float(display.value(row[name], PER_MILE)) for name in (AT_LOW, AT_HIGH))
        turns = row[TURNS] == YES
        ax.barh(
            place, abs(high - low), left=min(low, high), height=0.52, color=shade(style.color, 2, 4), edgecolor=style.color, lw=1.0,
            hatch="////" if turns else "", zorder=2,
        )  # fmt: skip
        sides = sorted([(low, row[SETTING_LOW]), (high, row[SETTING_HIGH])])
        for (at, words), (shift, side) in zip(sides, ((-4, "right"), (4, "left")), strict=True):
            label(
                ax,
                words.split(",")[0],
                (at, place),
                theme.INK,
                (shift, 0),
                side,
                "center",
                size=theme.SMALL_PT - 0.5,
                on_paper=True,
            )
    base = float(display.value(rows[c.ESTIMATE].iloc[0], PER_MILE)) if len(rows) else 0.0
    ax.axvline(base, color=style.color, lw=1.6, zorder=3)
    ax.axvline(0.0, color=theme.INK, lw=1.0, zorder=1)
    ax.set_yticks(
        range(len(rows)),
        [
            "\n".join(textwrap.wrap(formatting.sentence_case(theme.drawable(term, 60)), 30))
            for term in rows[c.TERM]
        ],
    )
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0, pad=6)
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x")
    money_axis(ax, "x", currency)


def _tornado_scale(axes: Sequence[Axes], rows: Mapping[str, pd.DataFrame]) -> None:
    ends = [0.0]
    for own in rows.values():
        ends += [float(display.value(one, PER_MILE)) for name in (AT_LOW, AT_HIGH) for one in own[name]]
    low, high = min(ends), max(ends)
    room = 0.3 * (high - low or 1.0)
    for ax in axes:
        ax.set_xlim(low - room, high + room)
