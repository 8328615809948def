"""Rules for prices, costs and planned miles: amounts below zero, units of payment that do not fit, and trucks without a plan.

Answers: can the amounts be added up, and does every truck position have planned miles?
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import counted, listed, position_name
from trialkit.table_parts import COST_PER, DISPOSAL, WINTERS
from trialkit.trial.findings import Source

COSTS, PLAN, TRUCKS, SETS = "costs", "fleet_plan", "trucks", "edge_sets"
WITH_AMOUNTS = ("costs", "edge_sets", "bids", "material")
CURRENCY = "currency"
"""A column of the analyst's own that says in which currency a row is; the trial has one currency."""
NAMED = 5


def check_costs(sources: Mapping[str, Source], currency: str) -> list[Problem]:
    """Everything that is wrong or doubtful about prices, costs and planned miles.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name.
    currency : str
        Currency of the trial, as a three-letter code.
    """
    problems = []
    for name in WITH_AMOUNTS:
        if name in sources:
            problems += _other_currencies(sources[name], currency)
    if COSTS in sources and sources[COSTS].has(c.ITEM, c.AMOUNT_USD):
        problems += _below_zero(sources[COSTS]) + _per(sources[COSTS])
    if SETS in sources:
        problems += _prices(sources[SETS])
    if PLAN in sources:
        problems += _winters(sources[PLAN])
        if TRUCKS in sources:
            problems += _without_plan(sources[PLAN], sources[TRUCKS])
    return problems


def _other_currencies(source: Source, currency: str) -> list[Problem]:
    """Rows that name another currency than the trial's."""
    if CURRENCY not in source.frame:
        return []
    said = source.frame[CURRENCY].astype(object)
    plain = said.map(lambda word: str(word).strip().upper() if pd.notna(word) else "")
    wrong = np.flatnonzero(((plain != "") & (plain != currency)).to_numpy())
    fix = f"Convert the amount to {currency} at the rate of the day it was paid, and note the rate in the source; then leave the column out."
    return source.listed(
        "currency-mixed", CURRENCY, wrong,
        lambda row: source.problem("currency-mixed", row, CURRENCY, str(said.iloc[row]), f"{currency}, the trial's currency", fix),
    )  # fmt: skip


def _below_zero(costs: Source) -> list[Problem]:
    """Amounts below zero that are no disposal credit."""
    amounts = costs.possible(c.AMOUNT_USD)
    credit = (costs.frame[c.ITEM].astype(object) == DISPOSAL).to_numpy()
    wrong = np.flatnonzero((amounts < 0) & ~credit)
    fix = "Enter the amount without its sign; only a disposal credit is negative."
    return costs.listed(
        "amount-negative", c.AMOUNT_USD, wrong,
        lambda row: costs.problem("amount-negative", row, c.AMOUNT_USD, costs.written(c.AMOUNT_USD, row), "0 or more", fix),
    )  # fmt: skip


def _per(costs: Source) -> list[Problem]:
    """Items that are paid per something that does not fit them."""
    if not costs.has(c.PER):
        return []
    items, per = (costs.frame[name].astype(object) for name in (c.ITEM, c.PER))
    wrong = [
        row
        for row, (item, one) in enumerate(zip(items, per, strict=True))
        if item in COST_PER and isinstance(one, str) and one not in COST_PER[item]
    ]
    fix = "Give the amount per one of these; as it stands it is taken as unknown."

    def say(row: int) -> Problem:
        allowed = f"{listed(COST_PER[items.iloc[row]], 'or')} for {items.iloc[row]}"
        return costs.problem("amount-per", row, c.PER, str(per.iloc[row]), allowed, fix)

    return costs.listed("amount-per", c.PER, wrong, say)


def _prices(sets: Source) -> list[Problem]:
    """One problem for the sets that were bought and have no price."""
    if not sets.has(c.SUPPLIED_BY, c.SET_ID) or c.UNIT_PRICE_USD not in sets.frame:
        return []
    bought = (sets.frame[c.SUPPLIED_BY].astype(object) == "bought").to_numpy()
    prices = sets.possible(c.UNIT_PRICE_USD)
    recorded = sets.frame[c.UNIT_PRICE_USD].to_numpy(float)
    bare = np.flatnonzero(bought & ~(prices > 0) & ~(recorded < 0))
    if not len(bare):
        return []
    fix = "Enter the price paid for a complete set; sets without one do not count for the price of their edge type."
    found = f"blank or 0 for {counted(len(bare), 'set')} that {'was' if len(bare) == 1 else 'were'} bought ({_some([str(sets.frame[c.SET_ID].iloc[row]) for row in bare])})"
    return [
        Problem(
            "price-missing",
            sets.file,
            column=sets.header(c.UNIT_PRICE_USD),
            found=found,
            allowed="a price above 0",
            fix=fix,
        )
    ]


def _winters(plan: Source) -> list[Problem]:
    """Truck positions whose planned miles do not rise from the light to the hard winter."""
    if not plan.has(*WINTERS.values()):
        return []
    low, mid, high = (plan.possible(name) for name in WINTERS.values())
    wrong = np.flatnonzero((low > mid) | (mid > high))

    def say(row: int) -> Problem:
        found = ", ".join(plan.written(name, row) for name in WINTERS.values())
        fix = "Correct the miles of the light, the middling or the hard winter."
        return plan.problem(
            "plan-order", row, c.MILES_MID_MI, found, "rising from a light to a hard winter", fix
        )

    return plan.listed("plan-order", c.MILES_MID_MI, wrong, say)


def _without_plan(plan: Source, trucks: Source) -> list[Problem]:
    """One problem for the truck positions without planned miles."""
    keys = (c.TRUCK_ID, c.PLOW_POSITION)
    if not (plan.has(*keys) and trucks.has(*keys)) or plan.frame.empty:
        return []
    if not len(plan.frame):  # without a plan the miles of this season stand in for the next
        return []
    planned = {_key(one) for one in plan.frame[list(keys)].astype(object).itertuples(index=False)}
    wanted = dict.fromkeys(
        _key(one) for one in trucks.frame[list(keys)].astype(object).itertuples(index=False)
    )
    missing = [f"{truck} {place}" for truck, place in wanted if (truck, place) not in planned]
    if not missing:
        return []
    found = f"no row for {counted(len(missing), 'truck position')} of trucks ({_some([position_name(name) for name in missing])})"
    fix = "Add a row for each, or leave it: costs of a season and the order leave them out."
    return [Problem("plan-missing", plan.file, found=found, fix=fix)]


def _key(row: tuple) -> tuple[str, str]:
    return str(row[0]), str(row[1])


def _some(names: list[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return f"{listed(names[:NAMED]) if not more else ', '.join(names[:NAMED])}{more}"
