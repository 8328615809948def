"""The table that leaves the tool begins with the columns of the contract."""

import money_samples as ms
import pytest

from trialkit import columns as c
from trialkit.money.break_even import find_break_even
from trialkit.money.cost_table import cost_table
from trialkit.money.costs import estimate_costs
from trialkit.money.life_cycle import estimate_life_cycle


def test_the_first_columns_and_one_row_per_type():
    inputs = ms.cost_inputs()
    costs, cycle, even = estimate_costs(inputs), estimate_life_cycle(inputs), find_break_even(inputs)
    table = cost_table(costs, cycle, even)
    assert list(table.columns[:8]) == [
        "edge_type", "cost_per_mi", "conf_low", "conf_high", "annual_cost", "npv", "break_even_life_ratio", "break_even_price",
    ]  # fmt: skip
    assert table[c.EDGE_TYPE].tolist() == [ms.STEEL, ms.CARBIDE, ms.RUBBER]
    assert table[c.NPV].tolist() == pytest.approx(cycle.table[c.NPV].tolist())
    assert table[c.BREAK_EVEN_PRICE].tolist()[1:] == pytest.approx(even.table[c.BREAK_EVEN_PRICE].tolist())
    assert table.columns.is_unique
