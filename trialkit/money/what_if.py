"""The cost again with one thing changed, or with several.

Answers: what if the price, the life, the labor rate, the miles, the discount rate or the breakage were different?
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import listed, money, percent, sentence_case
from trialkit.money import prices
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.costs import estimate_costs
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.results import Labelled

AS_FOUND = "as found"

WHAT_IF_COLUMNS = [
    c.VARIANT, c.EDGE_TYPE, c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.SAVING_PCT, c.SAVING_LOW_PCT,
    c.SAVING_HIGH_PCT, c.CHANCE_CHEAPER,
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """What is different from what was found.

    Attributes
    ----------
    edge_type : str
        Type whose price, life and breakage change; empty for all types.
    price_pct, life_pct, breakage_pct : float
        Change of its price of a set, its life and its rate of breakage. [%]
    labour_pct, miles_pct : float
        Change of the labor rates and of the planned miles, of all types. [%]
    discount_rate : float or None
        Another real rate.
    price : float or None
        Another price of a set, such as that of a bid.
    name : str
        How the table calls it; made from the changes if empty.
    """

    edge_type: str = ""
    price_pct: float = 0.0
    life_pct: float = 0.0
    breakage_pct: float = 0.0
    labour_pct: float = 0.0
    miles_pct: float = 0.0
    discount_rate: float | None = None
    price: float | None = None
    name: str = ""

    def words(self, labels: Mapping[str, str], currency: str = "USD") -> str:
        """What is changed, for the table."""
        if self.name:
            return self.name
        whose = f" of {labels.get(self.edge_type, self.edge_type)}" if self.edge_type else ""
        parts = [
            f"{what}{owner} {'+' if pct > 0 else '-'}{percent(abs(pct))}"
            for what, owner, pct in (
                ("price", whose, self.price_pct), ("life", whose, self.life_pct), ("breakage", whose, self.breakage_pct),
                ("labor rates", "", self.labour_pct), ("miles", "", self.miles_pct),
            )
            if pct
        ]  # fmt: skip
        if self.price is not None:
            parts.append(f"price{whose} {money(self.price, currency)}")
        if self.discount_rate is not None:
            parts.append(f"discount rate {percent(100 * self.discount_rate, 1)}")
        return sentence_case(listed(parts)) if parts else AS_FOUND


@dataclass(frozen=True, eq=False)
class WhatIf(Labelled):
    """The costs with something changed.

    Attributes
    ----------
    table : DataFrame
        One row per change and edge type, the first change being none: `variant` (what was changed), `cost_per_mi` with its ends,
        `annual_cost`, `saving_pct` with its ends, `chance_cheaper` (missing for the reference).
    """

    labels: Mapping[str, str]

    def sentence(self) -> str:
        """How many changes were tried."""
        n = self.table[c.VARIANT].nunique() - 1
        return f"{n} {'change was' if n == 1 else 'changes were'} tried."


def changed(inputs: CostInputs, change: Change) -> CostInputs:
    """The inputs with something changed.

    Raises
    ------
    UsageError
        A change of -100 % or less, a price below zero, or an edge type that has no cost.
    """
    for what in ("price_pct", "life_pct", "breakage_pct", "labour_pct", "miles_pct"):
        pct = getattr(change, what)
        if pct < -100 or (pct == -100 and what in ("life_pct", "miles_pct")):
            raise UsageError(f"{what} is {pct:g}; a change is above -100%")
    if change.price is not None and change.price < 0:
        raise UsageError(f"the price is {change.price:g}; it is 0 or more")
    if change.edge_type:
        inputs.edge(change.edge_type)
    edges = tuple(
        _changed_edge(edge, change)
        if change.edge_type in ("", edge.edge_type)
        else _relabour(edge, change.labour_pct)
        for edge in inputs.edges
    )
    return replace(
        inputs,
        edges=edges,
        plan=inputs.plan.scaled(1 + change.miles_pct / 100) if change.miles_pct else inputs.plan,
        discount_rate=inputs.discount_rate if change.discount_rate is None else change.discount_rate,
    )


def compare_changes(inputs: CostInputs, changes: Sequence[Change | Mapping[str, Any]]) -> WhatIf:
    """Estimate the costs again for each of some changes.

    Use it for questions from the floor: another price, a shorter life, a harder winter. Each change starts from what was found.

    Parameters
    ----------
    inputs : CostInputs
    changes : sequence of Change or mapping
        A mapping has the names of `Change`: ``{"edge_type": "carbide_insert", "price_pct": 20}``.

    Returns
    -------
    WhatIf

    Raises
    ------
    UsageError
        A change that `Change` does not know, or that is not possible.
    """
    tables = []
    for one in [Change(name=AS_FOUND), *changes]:
        change = one if isinstance(one, Change) else _read_change(one)
        found = estimate_costs(changed(inputs, change))
        alone = found.compared[found.compared[c.BASIS] == EDGES_ALONE]
        columns = [c.EDGE_TYPE, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT, c.CHANCE_CHEAPER]
        table = found.table.merge(alone[columns], on=c.EDGE_TYPE, how="left")
        tables.append(
            table.assign(**{c.VARIANT: change.words(inputs.labels, inputs.currency)})[WHAT_IF_COLUMNS]
        )
    return WhatIf(
        table=pd.concat(tables, ignore_index=True),
        method="The cost analysis repeated with the change; everything else as found.",
        notes=(),
        labels=inputs.labels,
    )


def _read_change(given: Mapping[str, Any]) -> Change:
    unknown = [name for name in given if name not in Change.__dataclass_fields__]
    if unknown:
        known = ", ".join(Change.__dataclass_fields__)
        raise UsageError(f"A change knows {known}; it does not know {', '.join(unknown)}.")
    return Change(**given)


def _changed_edge(edge: EdgeCosts, change: Change) -> EdgeCosts:
    price = edge.price * (1 + change.price_pct / 100) if change.price is None else change.price
    scale = (1 + change.price_pct / 100) if change.price is None else math.nan
    lower = 1 / (1 + change.life_pct / 100)
    sample = edge.use.sample
    of_life = replace(
        sample,
        mean=sample.mean * lower,
        variance=sample.variance * lower**2,
        variance_floor=sample.variance_floor * lower**2,
        bound=sample.bound * lower,
    )
    oftener = 1 + change.breakage_pct / 100
    use = replace(edge.use, sample=of_life)
    use = (
        replace(use, miles_mi=use.miles_mi / oftener)
        if oftener > 0
        else replace(use, breaks=0, section_breaks=0)
    )
    ends = (price, price) if change.price is not None else (edge.price_low * scale, edge.price_high * scale)
    new = replace(edge, price=price, price_low=ends[0], price_high=ends[1], use=use)
    return _relabour(new, change.labour_pct)


def _relabour(edge: EdgeCosts, pct: float) -> EdgeCosts:
    if not pct:
        return edge
    items = {
        item: replace(amount, amount=amount.amount * (1 + pct / 100))
        if item in (prices.LABOUR_REGULAR, prices.LABOUR_OVERTIME)
        else amount
        for item, amount in edge.items.items()
    }
    return replace(edge, items=items)
