"""One figure at a time: the largest move first, and what can turn the finding."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import cost_sensitivity as cs
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample
from trialkit.table_parts import YES


def test_the_sensitivity_puts_the_largest_first_and_says_what_turns():
    found = cs.estimate_sensitivity(ms.cost_inputs(uses=ms.uses(2)))
    for _, rows in found.table.groupby(c.EDGE_TYPE):
        widths = (rows[cs.AT_HIGH] - rows[cs.AT_LOW]).abs().tolist()
        assert widths == sorted(widths, reverse=True)
    price = found.table[(found.table[c.TERM] == "the price of carbide insert")].iloc[0]
    # by hand: 0.8 sets and two breaks in 8,000 mi, 20 % of 800
    assert price[cs.AT_HIGH] - price[c.ESTIMATE] == pytest.approx(
        160 * (price[c.ESTIMATE] * 0 + sets_a_mile())
    )
    assert "what matters most is" in found.sentences()[0]


def sets_a_mile() -> float:
    broken = 2 / 8000
    return broken / -math.expm1(-broken * 1250)


def test_a_close_finding_is_turned_by_its_price():
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = 1600.0
    found = cs.estimate_sensitivity(ms.cost_inputs(edge_sets=sets))
    row = found.table[found.table[c.TERM] == "the price of carbide insert"].iloc[0]
    assert row[cs.TURNS] == YES and "the price of carbide insert" in found.sentences()[0]


def test_a_steady_finding_is_turned_by_nothing():
    firm = {name: Use(Sample(use.sample.mean, 1e-6, 4), 5, 5, 8000.0) for name, use in ms.uses().items()}
    firm[ms.CARBIDE] = Use(Sample(0.2, 1e-6, 4), 0, 0, 80_000.0)
    said = cs.estimate_sensitivity(ms.cost_inputs(uses=firm)).sentences()[0]
    assert said.endswith("nothing within the ranges tried turns which type is cheaper.")


def test_early_removal_is_tried_where_it_is_known():
    unused = pd.DataFrame({c.EDGE_TYPE: [ms.CARBIDE], "uneven_frac": [0.1], "early_frac": [0.2]})
    found = cs.estimate_sensitivity(ms.cost_inputs(unused=unused)).table
    row = found[found[c.TERM] == "early removal of carbide insert"].iloc[0]
    # by hand: a fifth of the depth left, so 0.8 / 0.8 sets per 1,000 mi instead of 0.8
    assert row[cs.AT_HIGH] - row[cs.AT_LOW] == pytest.approx(0.2 * 1.22)


def test_unknown_prices_and_lonely_trucks_have_no_sensitivity():
    sets = ms.edge_sets().assign(**{c.UNIT_PRICE_USD: math.nan})
    assert cs.estimate_sensitivity(ms.cost_inputs(edge_sets=sets)).table.empty
    assert (
        cs.estimate_sensitivity(ms.cost_inputs(edge_sets=sets)).sentence() == "There is nothing to compare."
    )
    alone = cs.estimate_sensitivity(
        ms.cost_inputs(uses={n: Use(Sample(u.sample.mean, math.nan, 1)) for n, u in ms.uses().items()})
    )
    assert not alone.table[c.TERM].str.startswith("the life").any()
    assert not alone.table[c.TERM].str.startswith("the breakage").any()
