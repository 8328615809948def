"""Bids, compared by what a mile costs and not by the price alone.

Answers: which bid costs least per blade-down mile, how sure is that, and which bids cannot be compared?
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.formatting import (
    counted,
    level_words,
    listed,
    money,
    money_interval,
    money_interval_decimals,
)
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.costs import PER_MILE, estimate_costs
from trialkit.money.inputs import CostInputs
from trialkit.money.left_out import wears
from trialkit.results import Labelled
from trialkit.table_parts import NO, YES

SCORED, WHY = "scored", "why_not"
RANK = "rank"
NOT_TRIED = "this edge type was not in the trial, so nothing is known about its life"
NO_SPEC = "does not meet the specification"

TABLE_COLUMNS = [
    c.BID, c.EDGE_TYPE, c.PRICE_PER_SET_USD, c.QUANTITY, c.LEAD_TIME_DAYS, c.MEETS_SPEC, SCORED, c.COST_PER_MI, c.CONF_LOW,
    c.CONF_HIGH, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT, RANK, WHY,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Bids(Labelled):
    """Bids by cost per mile.

    Attributes
    ----------
    table : DataFrame
        One row per bid, scored ones first, the cheapest mile first: the columns of the bid, `scored` (yes or no), `cost_per_mi` with its
        ends, `saving_pct` with its ends (against the reference at the price in the trial), `rank` (among the bids that are scored and
        are not outside the specification), `why_not` (why it is not scored or not ranked).
    currency, confidence_level
    labels : dict
    from_above : frozenset of str
        Edge types of which no wear could be measured, so that only the upper end of their cost is known.
    """

    currency: str
    confidence_level: float
    labels: Mapping[str, str]
    from_above: frozenset[str] = frozenset()

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each bid."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The cheapest mile, and whether it is the lowest price."""
        ranked = self.table[self.table[RANK].notna()]
        if ranked.empty:
            return "No bid can be scored."
        first = ranked.to_dict("records")[0]
        lowest = self.table.sort_values(c.PRICE_PER_SET_USD, kind="stable").to_dict("records")[0]
        said = f"Bid {first[c.BID]}, {self.label(first[c.EDGE_TYPE])}, has the cheapest {display.word('mile')}: {self._cost(first)}."
        if lowest[c.BID] == first[c.BID]:
            return f"{said} It is also the lowest price.{_settled(first)}"
        asked = money(lowest[c.PRICE_PER_SET_USD], self.currency)
        return f"{said}{_settled(first)} The lowest price is bid {lowest[c.BID]} at {asked} a set.{_settled(lowest)}"

    def _sentence(self, row: Mapping[Hashable, Any]) -> str:
        start = f"Bid {row[c.BID]}, {self.label(str(row[c.EDGE_TYPE]))} at {money(row[c.PRICE_PER_SET_USD], self.currency)} a set"
        why = f" Not ranked: {row[WHY]}." if row[WHY] else ""
        if row[SCORED] == NO:
            return f"{start}, is listed and not scored: {row[WHY]}."
        return f"{start}: {self._cost(row)}.{why}"

    def _cost(self, row: Mapping[Hashable, Any]) -> str:
        middle, low, high = (
            display.value(row[name], PER_MILE) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)
        )
        sure = f" ({level_words(self.confidence_level)})" if math.isfinite(low) else ""
        if row[c.EDGE_TYPE] in self.from_above and math.isfinite(high):
            most = money(high, self.currency, money_interval_decimals(middle, low, high))
            return f"at most {most} per {_mile()}{sure}"
        return f"{money_interval(middle, low, high, self.currency, f'per {_mile()}')}{sure}"


def compare_bids(bids: pd.DataFrame, inputs: CostInputs) -> Bids:
    """Compare bids by the cost per mile that their price leads to.

    Use it where the bid documents say that cost per mile decides; where the lowest price decides by law, it only informs. A bid for
    a type that was not tried is listed and not scored.

    Parameters
    ----------
    bids : DataFrame
        Columns bid, edge_type, price_per_set_usd; quantity, lead_time_days, meets_spec if there are any.
    inputs : CostInputs
        The costs of the trial, of which the price is replaced.

    Returns
    -------
    Bids

    Raises
    ------
    UsageError
        If a price is negative.

    Notes
    -----
    The life, breakage and hours are those of the lot that was tried: a bid for another lot is taken to wear the same, which the
    certificates of the specification have to show. The draws are the same for every bid, so that a cheaper set of one type never
    comes out dearer. A bid that does not meet the specification is scored and not ranked.
    """
    rows = bids.astype({c.BID: object, c.EDGE_TYPE: object})
    for name in (c.QUANTITY, c.LEAD_TIME_DAYS, c.MEETS_SPEC):
        if name not in rows:
            rows[name] = None
    below = rows[rows[c.PRICE_PER_SET_USD].astype(float) < 0]
    if len(below):
        named = listed(
            [f"bid {row[c.BID]} at {row[c.PRICE_PER_SET_USD]:g}" for row in below.to_dict("records")]
        )
        raise UsageError(f"A price of a set is 0 or more; correct {named}.")
    scored = [_scored(row, inputs) for row in rows.to_dict("records")]
    table = pd.DataFrame(scored, columns=TABLE_COLUMNS)
    table = table.sort_values(
        [SCORED, c.COST_PER_MI], ascending=[False, True], kind="stable", ignore_index=True
    )
    ranked = (table[SCORED] == YES) & (table[c.MEETS_SPEC].astype(object) != NO)
    table[RANK] = ranked.cumsum().where(ranked)
    table.loc[(table[SCORED] == YES) & ~ranked, WHY] = NO_SPEC
    return Bids(
        table=table,
        method="Cost per mile of the trial with the price of the bid in place; life, breakage and hours as in the trial.",
        notes=tuple(_notes(table)),
        currency=inputs.currency,
        confidence_level=inputs.confidence_level,
        labels=inputs.labels,
        from_above=frozenset(edge.edge_type for edge in inputs.edges if not wears(edge)),
    )


def _scored(row: dict[Hashable, Any], inputs: CostInputs) -> dict[str, Any]:
    """The bid with its cost, or with the reason why it has none."""
    kept = {name: row[name] for name in TABLE_COLUMNS[:6]}
    kind, price = str(row[c.EDGE_TYPE]), float(row[c.PRICE_PER_SET_USD])
    tried = {edge.edge_type for edge in inputs.edges}
    if kind not in tried:
        return {**kept, SCORED: NO, WHY: NOT_TRIED}
    if not math.isfinite(price):
        return {**kept, SCORED: NO, WHY: "it has no price"}
    edge = inputs.edge(kind)
    if not math.isfinite(float(edge.use.sample.mean)):
        return {**kept, SCORED: NO, WHY: "no wear of this edge type was read"}
    offered = replace(edge, price=price, price_low=price, price_high=price)
    alone = replace(inputs, edges=(offered,), reference=kind)
    cost = estimate_costs(alone).table.iloc[0]
    found = {name: cost[name] for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)}
    return {**kept, SCORED: YES, **found, **_saving(offered, inputs), WHY: ""}


def _saving(offered: Any, inputs: CostInputs) -> dict[str, float]:
    """Saving against the reference at the price it had in the trial."""
    if not inputs.has_reference or offered.edge_type == inputs.reference:
        return {}
    both = replace(inputs.with_edge(offered), edges=(inputs.edge(inputs.reference), offered))
    rows = estimate_costs(both).compared
    row = rows[rows[c.BASIS] == EDGES_ALONE].iloc[0]
    return {name: row[name] for name in (c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT)}


def _notes(table: pd.DataFrame) -> list[str]:
    notes = [
        "A bid is taken to wear like the lot that was tried. Lots differ: ask for the certificates of the specification, and measure "
        "new edges on delivery."
    ]
    unclear = list(
        table.loc[
            (table[SCORED] == YES) & (table[c.MEETS_SPEC].astype(object) != YES) & table[RANK].notna(), c.BID
        ]
    )
    if unclear:
        notes.append(
            f"Whether {counted(len(unclear), 'bid')} ({listed([str(one) for one in unclear])}) meets the specification is not settled; "
            "settle it before an award."
        )
    out = table[table[SCORED] == NO]
    for why, rows in out.groupby(WHY, sort=False):
        notes.append(f"Not scored: {listed([str(one) for one in rows[c.BID]])} ({why}).")
    return notes


def _settled(row: Mapping[Hashable, Any]) -> str:
    """Whether a bid meets the specification, where it does not or nobody has said; empty where it does."""
    if row[c.MEETS_SPEC] == YES:
        return ""
    if row[c.MEETS_SPEC] == NO:
        return " It does not meet the specification."
    return " Whether it meets the specification is not settled."


def _mile() -> str:
    return f"blade-down {display.word('mile')}"
