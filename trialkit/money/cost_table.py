"""The table of costs that leaves the tool.

Answers: what stands in `cost.csv`?
"""

from __future__ import annotations

import pandas as pd

from trialkit import columns as c
from trialkit.money import break_even, life_cycle
from trialkit.money.break_even import BreakEven
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.costs import Costs
from trialkit.money.life_cycle import LifeCycle

FIRST_COLUMNS = [
    c.EDGE_TYPE, c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.NPV, c.BREAK_EVEN_LIFE_RATIO, c.BREAK_EVEN_PRICE,
]  # fmt: skip


def cost_table(costs: Costs, cycle: LifeCycle, even: BreakEven) -> pd.DataFrame:
    """One row per edge type: the cost, its season, what it saves over the horizon and where it breaks even.

    Returns
    -------
    DataFrame
        First the columns of the contract: edge_type, cost_per_mi, conf_low, conf_high, annual_cost, npv (net savings against the
        reference over the horizon), break_even_life_ratio, break_even_price; then the ends of the intervals, the saving in percent, the
        life-cycle measures and the lines that are not known.
    """
    alone = costs.compared[costs.compared[c.BASIS] == EDGES_ALONE]
    compared = [c.EDGE_TYPE, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT, c.CHANCE_CHEAPER]
    of_cycle = [
        c.EDGE_TYPE, c.NPV, c.NPV_LOW, c.NPV_HIGH, life_cycle.NPV_SAVED, life_cycle.LCC, life_cycle.EQUIVALENT, life_cycle.SIR,
        life_cycle.AIRR, life_cycle.SIMPLE_PAYBACK, life_cycle.DISCOUNTED_PAYBACK,
    ]  # fmt: skip
    of_even = [
        c.EDGE_TYPE, break_even.LIFE_RATIO, c.BREAK_EVEN_LIFE_RATIO, break_even.RATIO_LOW, break_even.RATIO_HIGH,
        c.BREAK_EVEN_PRICE, break_even.PRICE_FROM, break_even.PRICE_TO,
    ]  # fmt: skip
    table = costs.table
    for part in (alone[compared], cycle.table[of_cycle], even.table[of_even]):
        table = table.merge(part, on=c.EDGE_TYPE, how="left")
    return table[[*FIRST_COLUMNS, *(name for name in table if name not in FIRST_COLUMNS)]]
