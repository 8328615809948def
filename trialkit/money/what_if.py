"""The cost again with one thing changed, or with several.

Answers: what if the price, the life, the labor rate, the miles, the discount rate or the breakage were different, and which of
them matters?
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
from scipy.special import gammaincinv

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.formatting import listed, money, percent, sentence_case
from trialkit.money import prices
from trialkit.money.costs import EDGES_ALONE, estimate_costs, estimated_difference
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.season import HARD, LIGHT
from trialkit.results import Labelled
from trialkit.stats.inference import mean_interval, two_sided_tail

HIGHEST_RATE = 0.07
"""Upper discount rate of the sensitivity: OMB Circular A-94 (1992), section 8.b, its base case for public investment."""

TURNS = "turns"
AT_LOW, AT_HIGH = "at_low", "at_high"
SETTING_LOW, SETTING_HIGH = "setting_low", "setting_high"
AS_FOUND = "as found"

TERM_COLUMNS = [
    c.EDGE_TYPE, c.TERM, SETTING_LOW, SETTING_HIGH, AT_LOW, AT_HIGH, c.ESTIMATE, TURNS,
]  # fmt: skip
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


@dataclass(frozen=True, eq=False)
class Sensitivity(Labelled):
    """What the difference in cost comes to with one thing at a time at its low and its high end.

    Attributes
    ----------
    table : DataFrame
        One row per edge type and term, the one that moves the difference most first: `setting_low`, `setting_high` (in words),
        `at_low`, `at_high` (cost per mile less that of the reference), `estimate` (as found), `turns` (yes where the sign differs
        between the two ends).
    currency : str
    """

    labels: Mapping[str, str]
    currency: str = field(default="USD")

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type: which things could turn the finding."""
        said = []
        for kind, rows in self.table.groupby(c.EDGE_TYPE, sort=False):
            turning = list(rows.loc[rows[TURNS] == "yes", c.TERM])
            who = sentence_case(self.label(str(kind)))
            widest = rows.iloc[0][c.TERM]
            said.append(
                f"{who}: what matters most is {widest}; "
                + (
                    f"within the ranges tried {listed(turning)} can turn which type is cheaper."
                    if turning
                    else "nothing within the ranges tried turns which type is cheaper."
                )
            )
        return tuple(said)

    def sentence(self) -> str:
        """What could turn the finding, in words."""
        return " ".join(self.sentences()) or "There is nothing to compare."


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


# ---------------------------------------------------------------- one thing at a time
def estimate_sensitivity(
    inputs: CostInputs, *, price_pct: float = 20.0, labour_pct: float = 25.0
) -> Sensitivity:
    """Estimate what each uncertain figure does to the difference in cost, one at a time.

    Use it to see where a better figure would be worth having. Not as an interval: the ends do not come together.

    Parameters
    ----------
    inputs : CostInputs
    price_pct, labour_pct : float
        How far the price of the type and the labor rates are moved either way. [%]

    Returns
    -------
    Sensitivity

    Notes
    -----
    Life of the type and of the reference: ends of the interval of their use. Breakage of the type: ends of the interval of its
    rate. Miles: light and hard winter. Discount rate: 0 to 7 %. Early removal: sets come off with as much of the depth of the
    thinnest spot left as in the trial, where that is known, against not at all.
    """
    rows = []
    for edge in inputs.others if inputs.has_reference else ():
        base, other = estimated_difference(edge, inputs)
        if not math.isfinite(base) or not other > 0:
            continue
        of_type = [
            _term_row(edge, inputs, base, *term) for term in _terms(edge, inputs, price_pct, labour_pct)
        ]
        rows.extend(sorted(of_type, key=lambda row: -abs(row[AT_HIGH] - row[AT_LOW])))
    return Sensitivity(
        table=pd.DataFrame(rows, columns=TERM_COLUMNS),
        method="One figure at a time at its low and its high end, everything else as found; edges alone.",
        notes=(),
        labels=inputs.labels,
        currency=inputs.currency,
    )


def _term_row(
    edge: EdgeCosts,
    inputs: CostInputs,
    base: float,
    term: str,
    low: tuple[str, CostInputs],
    high: tuple[str, CostInputs],
) -> dict[str, Any]:
    at_low, at_high = (estimated_difference(given.edge(edge.edge_type), given)[0] for _, given in (low, high))
    return {
        c.EDGE_TYPE: edge.edge_type,
        c.TERM: term,
        SETTING_LOW: low[0],
        SETTING_HIGH: high[0],
        AT_LOW: at_low,
        AT_HIGH: at_high,
        c.ESTIMATE: base,
        TURNS: "yes" if at_low * at_high < 0 or base * at_low < 0 or base * at_high < 0 else "no",
    }


def _terms(
    edge: EdgeCosts, inputs: CostInputs, price_pct: float, labour_pct: float
) -> list[tuple[str, tuple[str, CostInputs], tuple[str, CostInputs]]]:
    """Terms with their two settings."""
    who, other = inputs.label(edge.edge_type), inputs.label(inputs.reference)
    kind = edge.edge_type

    def by(change: Change) -> CostInputs:
        return changed(inputs, change)

    found = [
        (
            f"the price of {who}",
            (f"-{percent(price_pct)}", by(Change(kind, price_pct=-price_pct))),
            (f"+{percent(price_pct)}", by(Change(kind, price_pct=price_pct))),
        ),
        (
            "the labor rates",
            (f"-{percent(labour_pct)}", by(Change(labour_pct=-labour_pct))),
            (f"+{percent(labour_pct)}", by(Change(labour_pct=labour_pct))),
        ),
        (
            "the discount rate",
            ("0%", by(Change(discount_rate=0.0))),
            (percent(100 * HIGHEST_RATE), by(Change(discount_rate=HIGHEST_RATE))),
        ),
    ]
    for one, name in ((edge, who), (inputs.edge(inputs.reference), other)):
        settings = _life_ends(one, inputs)
        if settings is not None:
            found.append((f"the life of {name}", *settings))
    breakage = _breakage_ends(edge, inputs)
    if breakage is not None:
        found.append((f"the breakage of {who}", *breakage))
    if inputs.n_positions:
        light, hard = (replace(inputs, plan=inputs.plan.winter(one)) for one in (LIGHT, HARD))
        found.append(
            (f"the {display.word('miles')} of the winter", ("light winter", light), ("hard winter", hard))
        )
    for one, name in ((edge, who), (inputs.edge(inputs.reference), other)):
        if one.early_frac > 0:
            shorter = by(Change(one.edge_type, life_pct=-100 * min(one.early_frac, 0.9)))
            found.append(
                (
                    f"early removal of {name}",
                    ("at the limit", inputs),
                    (f"with {percent(100 * one.early_frac)} of the depth left, as in the trial", shorter),
                )
            )
    return found


def _life_ends(
    edge: EdgeCosts, inputs: CostInputs
) -> tuple[tuple[str, CostInputs], tuple[str, CostInputs]] | None:
    """The inputs with the life at the ends of its interval."""
    if not edge.use.has_interval:
        return None
    ends = mean_interval(edge.use.sample, inputs.confidence_level)

    def at(use: float) -> CostInputs:
        sample = replace(edge.use.sample, mean=max(use, 0.0))
        return inputs.with_edge(replace(edge, use=replace(edge.use, sample=sample)))

    return ("short end", at(ends.conf_high)), ("long end", at(ends.conf_low))


def _breakage_ends(
    edge: EdgeCosts, inputs: CostInputs
) -> tuple[tuple[str, CostInputs], tuple[str, CostInputs]] | None:
    """The inputs with the breakage at the ends of its interval, divided between sets and sections as it was seen."""
    use = edge.use
    if not use.miles_mi > 0:
        return None
    seen = use.breaks + use.section_breaks
    tail = two_sided_tail(inputs.confidence_level)
    low, high = (float(gammaincinv(seen + 0.5, share)) for share in (tail, 1 - tail))

    def at(events: float) -> CostInputs:
        if seen:
            new = replace(use, miles_mi=use.miles_mi * seen / events)
        else:
            of_sets = edge.sections_n == 1
            new = replace(
                use, breaks=int(of_sets), section_breaks=int(not of_sets), miles_mi=use.miles_mi / events
            )
        return inputs.with_edge(replace(edge, use=new))

    return ("low end", at(low)), ("high end", at(high))
