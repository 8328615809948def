"""Break-even points: put back into the cost they give equal costs."""

import math
from dataclasses import replace

import money_samples as ms
import pytest

from trialkit import columns as c
from trialkit.money import break_even as be
from trialkit.money.cost_differences import estimated_difference
from trialkit.money.inputs import Use
from trialkit.money.what_if import Change, changed
from trialkit.stats.inference import Sample


def row(inputs, kind=ms.CARBIDE):
    return be.find_break_even(inputs).table.set_index(c.EDGE_TYPE).loc[kind]


def test_by_hand():
    # steel 0.82 x 2 sets; carbide 1.22 a set without the yearly amount: w = 1.64 / 1.22 sets; ratio 2 / w; price 1.64 / 0.8 - 0.42
    found = row(ms.cost_inputs())
    assert found[be.LIFE_RATIO] == pytest.approx(2.5)
    assert found[c.BREAK_EVEN_LIFE_RATIO] == pytest.approx(2 / (1.64 / 1.22))
    assert found[c.BREAK_EVEN_PRICE] == pytest.approx(1640 / 0.8 - 420)


@pytest.mark.parametrize("kind", [ms.CARBIDE, ms.RUBBER])
@pytest.mark.parametrize("breaks", [0, 3])
def test_at_the_break_even_point_the_costs_are_equal(kind, breaks):
    inputs = ms.cost_inputs(uses=ms.uses(breaks))
    found = row(inputs, kind)
    at_price = changed(inputs, Change(kind, price=found[c.BREAK_EVEN_PRICE]))
    assert estimated_difference(at_price.edge(kind), at_price)[0] == pytest.approx(0, abs=1e-9)
    longer = 100 * (found[c.BREAK_EVEN_LIFE_RATIO] / found[be.LIFE_RATIO] - 1)
    at_life = changed(inputs, Change(kind, life_pct=longer))
    assert estimated_difference(at_life.edge(kind), at_life)[0] == pytest.approx(0, abs=1e-9)


def test_intervals_hold_the_estimate():
    found = row(ms.cost_inputs(uses=ms.uses(2)))
    assert found[be.RATIO_LOW] < found[c.BREAK_EVEN_LIFE_RATIO] < found[be.RATIO_HIGH]
    assert found[be.PRICE_FROM] < found[c.BREAK_EVEN_PRICE] < found[be.PRICE_TO]


def test_no_life_is_long_enough_where_breakage_alone_costs_more():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, 0.0256, 4), 40, 0, 8000.0)}
    inputs = ms.cost_inputs(uses=given)
    found = row(inputs)
    assert math.isnan(found[c.BREAK_EVEN_LIFE_RATIO])
    assert "does not pay, however long it lasts" in be.find_break_even(inputs).sentences()[0]


def test_a_reference_without_wear_leaves_no_life_to_compare_with():
    # a set that does not wear has no life, so no multiple of it can be stated: neither 0 times nor "however long it lasts"
    for sample in (Sample(0.0, 0.0, 4), Sample(0.0, 0.04, 4), Sample(-0.1, 0.04, 4)):
        inputs = ms.cost_inputs(uses=ms.uses() | {ms.STEEL: Use(sample, 2, 0, 8000.0)})
        found = row(inputs)
        assert found[[c.BREAK_EVEN_LIFE_RATIO, be.RATIO_LOW, be.RATIO_HIGH]].isna().all()
        assert (
            be.find_break_even(inputs)
            .sentences()[0]
            .startswith(
                "How long carbide insert must last is not known, since no wear of plain steel was measured."
            )
        )


def test_a_reference_that_may_not_wear_leaves_the_lower_end_missing():
    given = ms.uses() | {ms.STEEL: Use(Sample(2.0, 8.0, 3), 40, 0, 8000.0)}
    found = row(ms.cost_inputs(uses=given))
    assert found[c.BREAK_EVEN_LIFE_RATIO] > 0 and math.isnan(found[be.RATIO_LOW])


def test_a_type_that_would_not_pay_as_a_gift():
    short = Use(Sample(6.0, 0.1, 4), 0, 0, 8000.0)
    inputs = ms.cost_inputs(uses=ms.uses() | {ms.CARBIDE: short})
    assert row(inputs)[c.BREAK_EVEN_PRICE] < 0
    assert "not pay even as a gift" in be.find_break_even(inputs).sentences()[0]


def test_no_wear_at_all_leaves_no_price_at_which_it_breaks_even():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.0, 0.0001, 4), 0, 0, 8000.0)}
    inputs = ms.cost_inputs(uses=given)
    found = row(inputs)
    assert math.isnan(found[c.BREAK_EVEN_PRICE]) and math.isnan(found[be.LIFE_RATIO])
    assert "must last 1.5 times" in be.find_break_even(inputs).sentences()[0]


def test_sections_and_words():
    said = be.find_break_even(ms.cost_inputs()).sentences()[1]
    assert (
        "a section of rubber-mounted carbide must last" in said
        and "At the lives found a set may cost $" in said
    )


def test_without_a_price_or_an_interval():
    inputs = ms.cost_inputs()
    unknown = inputs.with_edge(replace(inputs.edge(ms.CARBIDE), price=math.nan))
    assert be.find_break_even(unknown).sentences()[0] == "Where carbide insert breaks even is not known."
    alone = ms.cost_inputs(uses=ms.uses() | {ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 2000.0)})
    assert (
        math.isnan(row(alone)[be.PRICE_FROM]) and "(no interval)" in be.find_break_even(alone).sentences()[0]
    )
    assert be.find_break_even(ms.cost_inputs(uses={ms.CARBIDE: ms.uses()[ms.CARBIDE]})).table.empty
