"""Life-cycle cost: by hand, against the cost per mile at a rate of zero, and what is not known."""

import math

import money_samples as ms
import pytest

from trialkit import columns as c
from trialkit.money import discounting as ds
from trialkit.money import life_cycle as lc
from trialkit.money.costs import estimate_costs
from trialkit.money.inputs import Use
from trialkit.money.season import season_miles
from trialkit.stats.inference import Sample


def found(**changed):
    return lc.estimate_life_cycle(ms.cost_inputs(**changed))


def row(result, kind):
    return result.table.set_index(c.EDGE_TYPE).loc[kind]


def test_by_hand():
    # steel: 3 trucks x 2,000 mi, life 500 mi: 4 sets a truck and year; each year 12 x 400, and 6,000 x (1.69 - 0.8) of the rest
    steel = row(found(horizon_years=5), ms.STEEL)
    upv = ds.uniform_present_value(0.03, 5)
    assert steel[lc.OUTFIT] == 1200
    assert steel[lc.REPLACED] == pytest.approx(12 * 400 * upv)
    assert steel[lc.RECURRING] == pytest.approx(6000 * 0.89 * upv)
    # a set is bought at the very end and is still new
    assert steel[lc.RESIDUAL] == pytest.approx(-1200 * 1.03**-5)
    assert steel[lc.LCC] == pytest.approx(1200 + (4800 + 5340) * upv - 1200 * 1.03**-5)
    assert steel[lc.EQUIVALENT] == pytest.approx(steel[lc.LCC] / upv)


def test_a_set_is_bought_in_the_year_in_which_one_wears_out():
    # carbide: life 1,250 mi, 2,000 mi a year: worn out by the end of years 1 to 5: 1, 3, 4, 6, 8 sets a truck
    flows = found(horizon_years=5).flows
    bought = flows[(flows[c.EDGE_TYPE] == ms.CARBIDE) & (flows[lc.FLOW] == lc.REPLACED)][lc.AMOUNT]
    assert bought.tolist() == pytest.approx([2400 * n for n in (1, 2, 1, 2, 2)])


@pytest.mark.parametrize("breaks", [0, 3])
def test_at_a_rate_of_zero_it_is_the_cost_per_mile_times_the_miles(breaks):
    given = {"discount_rate": 0.0, "horizon_years": 7, "uses": ms.uses(breaks)}
    cycle, costs = found(**given), estimate_costs(ms.cost_inputs(**given))
    for kind in (ms.STEEL, ms.CARBIDE, ms.RUBBER):
        per_mile = costs.table.set_index(c.EDGE_TYPE).loc[kind, c.COST_PER_MI]
        assert row(cycle, kind)[lc.LCC] == pytest.approx(7 * 6000 * per_mile)
        assert row(cycle, kind)[lc.EQUIVALENT] == pytest.approx(6000 * per_mile)


def test_net_savings_ratio_and_rate_agree():
    result = found()
    for kind in (ms.CARBIDE, ms.RUBBER):
        one = row(result, kind)
        assert one[c.NPV] == pytest.approx(row(result, ms.STEEL)[lc.LCC] - one[lc.LCC])
        assert (one[c.NPV] > 0) == (one[lc.SIR] > 1) == (one[lc.AIRR] > 0.03)
        assert one[c.NPV_LOW] < one[c.NPV] < one[c.NPV_HIGH]
        assert 0 < one[lc.SIMPLE_PAYBACK] <= one[lc.DISCOUNTED_PAYBACK]
    assert row(result, ms.STEEL)[c.NPV] == 0


def test_kits_are_paid_once():
    outfit = row(found(), ms.RUBBER)[lc.OUTFIT]
    assert outfit == 3 * (2500 + 100)


def test_a_dear_type_never_pays_back():
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = 9000.0
    result = found(edge_sets=sets)
    assert math.isnan(row(result, ms.CARBIDE)[lc.SIMPLE_PAYBACK])
    assert (
        "costs the fleet $" in result.sentences()[0]
        and "is not paid back in that time" in result.sentences()[0]
    )


def test_a_cheaper_outfit_pays_at_once():
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = 300.0
    result = found(edge_sets=sets)
    assert row(result, ms.CARBIDE)[lc.SIMPLE_PAYBACK] == 0 and math.isnan(row(result, ms.CARBIDE)[lc.SIR])
    assert "real)." in result.sentences()[0]


def test_savings_shown_come_on_top():
    import pandas as pd

    saved = pd.DataFrame(
        [{c.EDGE_TYPE: ms.RUBBER, c.ESTIMATE: 0.1, c.CONF_LOW: 0.05, c.CONF_HIGH: 0.2, c.SHOWN: "yes"}]
    )
    one = row(found(savings=saved), ms.RUBBER)
    assert one[lc.NPV_SAVED] - one[c.NPV] == pytest.approx(600 * ds.uniform_present_value(0.03, 10))


def test_without_miles_a_price_or_a_second_truck():
    empty = found(plan=season_miles(None, ms.trucks()))
    assert empty.table[lc.LCC].isna().all() and "No miles are planned" in empty.notes[0]
    assert empty.sentences()[0] == "What carbide insert saves over 10 years is not known."
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.STEEL, c.UNIT_PRICE_USD] = math.nan
    assert math.isnan(row(found(edge_sets=sets), ms.CARBIDE)[c.NPV])
    one = found(uses=ms.uses() | {ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 2000.0)})
    assert math.isnan(row(one, ms.CARBIDE)[c.NPV_LOW]) and math.isfinite(row(one, ms.CARBIDE)[c.NPV])


def test_unknown_lines_are_left_out_and_named():
    short = ms.costs()[lambda frame: frame[c.ITEM] != "conversion_kit"]
    result = found(costs=short)
    assert row(result, ms.RUBBER)[lc.OUTFIT] == 7500
    assert any("conversion kits" in note for note in result.notes)


def test_flows_add_up_to_the_cost():
    result = found()
    sums = result.flows.groupby(c.EDGE_TYPE)[lc.PRESENT].sum()
    for kind in (ms.STEEL, ms.CARBIDE, ms.RUBBER):
        assert sums[kind] == pytest.approx(row(result, kind)[lc.LCC])
    assert set(result.flows[lc.FLOW]) == set(lc.FLOW_WORDS)


def test_a_payback_is_said_in_whole_years():
    """Amounts fall due at the end of a year, so a part of one says nothing."""
    assert [lc.payback_words(years) for years in (0.2, 0.95, 1.0, 1.3, 3.0)] == [
        "about a year", "about a year", "about a year", "about 2 years", "about 3 years",
    ]  # fmt: skip
