"""Costs as curves: they agree with the costs, the break-even points and hand-made sums."""

import math

import numpy as np
import pytest
from money_samples import CARBIDE, RUBBER, STEEL, cost_inputs, costs, plan, uses

from trialkit import columns as c
from trialkit.money import curves
from trialkit.money.break_even import LIFE_RATIO, find_break_even
from trialkit.money.costs import estimate_costs
from trialkit.money.curves import SPENT
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample


@pytest.fixture(scope="module")
def inputs():
    return cost_inputs()


def of(table, kind):
    return table[table[c.EDGE_TYPE] == kind].reset_index(drop=True)


def test_the_curve_meets_the_reference_where_the_type_breaks_even(inputs):
    even = find_break_even(inputs)
    found = curves.curve_over_life(inputs, even)
    assert set(found.table[c.EDGE_TYPE]) == {CARBIDE, RUBBER}
    for row, band in zip(even.table.to_dict("records"), found.bands.to_dict("records"), strict=True):
        own = of(found.table, row[c.EDGE_TYPE])
        crossing = np.interp(-band[c.ESTIMATE], -own[c.COST_PER_MI], own[LIFE_RATIO])
        assert crossing == pytest.approx(row[c.BREAK_EVEN_LIFE_RATIO], rel=0.001)


def test_the_curve_passes_through_the_cost_that_was_found(inputs):
    found = curves.curve_over_life(inputs, find_break_even(inputs))
    table = estimate_costs(inputs).table.set_index(c.EDGE_TYPE)
    # lives of 500 and 1,250 miles: 2.5 times as long
    own = of(found.table, CARBIDE)
    assert np.interp(2.5, own[LIFE_RATIO], own[c.COST_PER_MI]) == pytest.approx(
        table[c.COST_PER_MI][CARBIDE], rel=0.001
    )
    assert found.bands[c.ESTIMATE].to_list() == pytest.approx([table[c.COST_PER_MI][STEEL]] * 2)
    assert found.bands[c.CONF_LOW].to_list() == pytest.approx([table[c.CONF_LOW][STEEL]] * 2)


def test_one_truck_gives_a_level_without_a_band():
    found = uses() | {STEEL: Use(Sample(2.0, math.nan, 1), 0, 0, 8000.0)}
    inputs = cost_inputs(uses=found)
    band = curves.curve_over_life(inputs, find_break_even(inputs)).bands.iloc[0]
    assert math.isfinite(band[c.ESTIMATE])
    assert math.isnan(band[c.CONF_LOW])


def test_nothing_is_drawn_against_a_reference_that_did_not_wear():
    found = uses() | {STEEL: Use(Sample(0.0, 0.01, 4), 0, 0, 8000.0)}
    inputs = cost_inputs(uses=found)
    assert curves.curve_over_life(inputs, find_break_even(inputs)).table.empty


def test_money_spent_by_hand():
    only = {kind: use for kind, use in uses().items() if kind == STEEL}
    inputs = cost_inputs(uses=only, costs=costs()[costs()[c.ITEM] != "stock_holding"])
    found = curves.curve_over_miles(inputs)
    own = found.table
    # a set of 400; every 500 miles another 400 with hardware 40, 3 h of labor at 50, 3 h of the truck at 80, 10 for scrap
    each = 400.0 + 40.0 + 3 * 50.0 + 3 * 80.0 - 10.0
    assert own[SPENT].iloc[0] == 400.0
    steps = own[own[c.MILES_MI].diff() == 0]
    assert steps[c.MILES_MI].to_list()[:3] == pytest.approx([500.0, 1000.0, 1500.0])
    assert own[SPENT].iloc[2] - own[SPENT].iloc[1] == pytest.approx(each)
    assert found.paid_back == {}
    assert found.sentence() == "There is nothing to set against each other."


def test_the_slope_in_the_long_run_is_the_cost_per_mile_without_the_kit(inputs):
    found = curves.curve_over_miles(inputs)
    table = estimate_costs(inputs)
    kit = table.lines[(table.lines[c.EDGE_TYPE] == RUBBER) & (table.lines[c.LINE] == "conversion_kit")][
        c.ESTIMATE
    ].iloc[0]
    own = of(found.table, RUBBER)
    steps = own[own[c.MILES_MI].diff() == 0]
    # from just after one step to just after the next is a whole life of 5,000 miles
    assert steps[c.MILES_MI].iloc[0] == pytest.approx(5000.0)
    rise = (steps[SPENT].iloc[0] - own[SPENT].iloc[0]) / 5000.0
    cost = table.table.set_index(c.EDGE_TYPE)[c.COST_PER_MI][RUBBER]
    assert rise == pytest.approx(cost - kit)
    assert own[SPENT].iloc[0] == 2500.0 + 100.0


def test_a_dearer_set_is_paid_back_when_its_line_stays_below(inputs):
    found = curves.curve_over_miles(inputs)
    steel, rubber = (of(found.table, kind) for kind in (STEEL, RUBBER))
    back = found.paid_back[RUBBER]
    grid = np.linspace(back, found.table[c.MILES_MI].max(), 300)[1:]
    ahead = np.interp(grid, steel[c.MILES_MI] + np.arange(len(steel)) * 1e-9, steel[SPENT])
    own = np.interp(grid, rubber[c.MILES_MI] + np.arange(len(rubber)) * 1e-9, rubber[SPENT])
    assert (own <= ahead + 0.01).all()
    assert 0 < back < found.season_mi * curves.MOST_WINTERS
    assert (
        f"Rubber-mounted carbide stays below plain steel after {round(back, -2):,.0f} miles."
        in found.sentence()
    )


def test_a_type_that_costs_more_in_the_long_run_is_never_paid_back():
    dear = uses() | {CARBIDE: Use(Sample(2.0, 0.16, 4), 0, 0, 8000.0)}
    assert curves.curve_over_miles(cost_inputs(uses=dear)).paid_back[CARBIDE] == math.inf
    assert "does not come to stay below" in curves.curve_over_miles(cost_inputs(uses=dear)).sentence()
    turned = cost_inputs(reference=RUBBER)
    assert curves.curve_over_miles(turned).paid_back[CARBIDE] == math.inf


def test_without_a_plan_the_curve_spans_the_longest_life():
    inputs = cost_inputs(plan=plan(()))
    found = curves.curve_over_miles(inputs)
    assert math.isnan(found.season_mi)
    assert found.table[c.MILES_MI].max() == pytest.approx(1.25 * 5000.0)
