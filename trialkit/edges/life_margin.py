"""Whether an edge type lasts no worse than the reference, by a margin agreed beforehand.

Answers: if a difference in life is not shown, is at least shown that there is no loss that matters?

"Not shown to differ" is not "the same": with few trucks almost nothing is shown to differ. A margin agreed before the season
says how much shorter a life would still be of no account, and the trial then shows, or does not show, that the loss is
smaller than that.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges.against_reference import AgainstReference
from trialkit.edges.life import LifeProjection
from trialkit.edges.life_comparison import compared_by_place, truck_pairs
from trialkit.edges.wear import edge_type_order
from trialkit.errors import UsageError
from trialkit.formatting import level_percent, number, position_words, sentence_case
from trialkit.stats.ratios import margin_test
from trialkit.verdicts import NO_WORSE, NOT_ENOUGH_DATA, NOT_SHOWN, Verdict

MARGIN = "margin"

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_HIGH, MARGIN, c.P_VALUE, c.P_HOLM, c.VERDICT,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class LifeMargin(AgainstReference):
    """Use of sets against the reference, tested against the agreed margin.

    Attributes
    ----------
    table : DataFrame
        One row per plow position and edge type but the reference: `edge_type`, `reference`, `plow_position`, `estimate`
        (sets used per mile over those of the reference), `conf_high` (one-sided upper bound; missing where there is
        none), `margin`, `p_value` (missing where the wear of one is no wear: see `check_margin`), `p_holm`, `verdict`
        ("no_worse", "not_shown", "not_enough_data").
    confidence_level, labels
        As of `AgainstReference`; one-sided.
    """

    def _sentence(self, row: dict[Hashable, Any], say_place: bool) -> str:
        kind, reference = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        where = f", on {position_words(row[c.PLOW_POSITION])}" if say_place else ""
        agreed = f"{number(row[MARGIN], 3)} times"
        if row[c.VERDICT] == NOT_ENOUGH_DATA:
            return (
                f"Whether {kind} lasts no worse than {reference}{where} cannot be told: it takes two trucks with a wear rate of "
                "each, and edges that wore."
            )
        bound = f"{level_percent(self.confidence_level)} bound"
        most, mile = row[c.CONF_HIGH], display.word("mile")
        if row[c.VERDICT] == NO_WORSE:
            used = f"it uses at most {number(most, 2)} times as many sets per {mile} ({bound}), fewer than the agreed {agreed}"
            return sentence_case(f"{kind} is shown to last no worse than {reference}{where}: {used}.")
        start = f"It is not shown that {kind} lasts no worse than {reference}{where}"
        if not math.isfinite(most):
            return f"{start}: how many more sets it may use has no upper end with these readings."
        if most < row[MARGIN]:
            return f"{start}, once the number of comparisons is taken into account."
        return f"{start}: it may use up to {number(most, 2)} times as many sets per {mile} ({bound}); agreed was fewer than {agreed}."


def check_margin(
    projection: LifeProjection, no_worse_than_ratio: float, reference: str | None = None
) -> LifeMargin:
    """Test whether each edge type uses fewer sets than the margin times those of the reference.

    Use it only with a margin agreed before the season; one chosen afterwards shows whatever it is chosen to show. Not for
    showing that a type is better (`life_comparison`).

    Parameters
    ----------
    projection : LifeProjection
        The projected lives.
    no_worse_than_ratio : float
        Most sets per mile, as a multiple of the reference's, that still count as no worse; above 1.
    reference : str, optional
        Edge type to compare with; that of `projection` otherwise.

    Returns
    -------
    LifeMargin
        Without rows if no other type shares a plow position with the reference.

    Raises
    ------
    UsageError
        If the margin is not above 1, or the reference has no readings.

    Notes
    -----
    `ratios.margin_test` on the use of sets by truck, one-sided at the level of the projection; Holm's adjustment over the
    edge types of a plow position. At a margin of 1.25 a life of more than 1 / 1.25 = 0.8 of the reference's is shown.

    The test supposes that both wear. Where the reference's mean use is not above zero, or the type's heights rose by more than
    chance allows, there is no p value and nothing is told; where the use has no upper end, nothing is shown.
    """
    if not no_worse_than_ratio > 1:
        raise UsageError(f"The margin is {no_worse_than_ratio:g}; it must be above 1, such as 1.25.")
    level = projection.confidence_level
    order = edge_type_order(projection.table[c.EDGE_TYPE], reference or projection.reference or None)
    chosen = order[0] if order else ""

    def row_of(place: str, kind: str) -> dict[str, Any]:
        of_type, of_reference = projection.samples[place, kind], projection.samples[place, chosen]
        pairing = truck_pairs(projection.trucks, place, kind, chosen)
        found = margin_test(of_type, of_reference, no_worse_than_ratio, level, pairing=pairing)
        ratio = of_type.mean / of_reference.mean if of_reference.mean > 0 else math.nan
        both_wear = of_reference.mean > 0 and not found.conf_high < 0
        return {
            c.EDGE_TYPE: kind,
            c.REFERENCE: chosen,
            c.PLOW_POSITION: place,
            c.ESTIMATE: ratio if ratio >= 0 else math.nan,
            c.CONF_HIGH: found.conf_high if both_wear else math.nan,
            MARGIN: no_worse_than_ratio,
            c.P_VALUE: found.p_value if both_wear else math.nan,
        }

    rows = [
        {**row, c.VERDICT: _verdict(row[c.P_HOLM], row[c.CONF_HIGH], level)}
        for row in compared_by_place(projection, order, row_of)
    ]
    return LifeMargin(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=(
            f"One-sided t test that a type uses fewer than {no_worse_than_ratio:g} times as many sets per {display.word('mile')} as the "
            f"reference, at {level_percent(level)}; Holm's adjustment over the edge types of a plow position."
        ),
        notes=(),
        confidence_level=level,
        labels=projection.labels,
    )


def _verdict(p: float, conf_high: float, confidence_level: float) -> Verdict:
    if not math.isfinite(p):
        return NOT_ENOUGH_DATA
    return NO_WORSE if p < 1 - confidence_level and math.isfinite(conf_high) else NOT_SHOWN
