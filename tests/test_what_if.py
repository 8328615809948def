"""What-ifs start from what was found and change one thing; the sensitivity puts the largest first."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import what_if as wi
from trialkit.money.costs import estimate_costs
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample


def cost(inputs, kind=ms.CARBIDE):
    return estimate_costs(inputs).table.set_index(c.EDGE_TYPE).loc[kind, c.COST_PER_MI]


def test_each_change_by_hand():
    inputs = ms.cost_inputs(uses=ms.uses(2))
    lines = {
        wi.Change(ms.CARBIDE, price_pct=25): ("price", 1000.0),
        wi.Change(ms.CARBIDE, price=600.0): ("price", 600.0),
    }
    for change, (field, value) in lines.items():
        assert getattr(wi.changed(inputs, change).edge(ms.CARBIDE), field) == value
        assert wi.changed(inputs, change).edge(ms.STEEL).price == 400
    assert wi.changed(inputs, wi.Change(life_pct=25)).edge(ms.CARBIDE).life_mi == pytest.approx(1562.5)
    assert wi.changed(inputs, wi.Change(miles_pct=50)).fleet_miles == 9000
    assert wi.changed(inputs, wi.Change(discount_rate=0.07)).discount_rate == 0.07
    twice = wi.changed(inputs, wi.Change(ms.CARBIDE, breakage_pct=100)).edge(ms.CARBIDE).use
    assert twice.breaks / twice.miles_mi == pytest.approx(4 / 8000)
    assert wi.changed(inputs, wi.Change(breakage_pct=-100)).edge(ms.CARBIDE).use.breaks == 0
    dearer = wi.changed(inputs, wi.Change(labour_pct=10)).edge(ms.STEEL).items["labour_overtime"].amount
    assert dearer == pytest.approx(82.5)


def test_labor_changes_for_all_types_even_where_one_is_named():
    inputs = ms.cost_inputs()
    found = wi.changed(inputs, wi.Change(ms.CARBIDE, labour_pct=10, price_pct=10))
    assert found.edge(ms.STEEL).items["labour_regular"].amount == pytest.approx(55)
    assert found.edge(ms.STEEL).price == 400 and found.edge(ms.CARBIDE).price == pytest.approx(880)


def test_the_table_has_what_was_found_first():
    found = wi.compare_changes(
        ms.cost_inputs(), [{"edge_type": ms.CARBIDE, "price_pct": 20}, wi.Change(life_pct=-20)]
    )
    assert list(dict.fromkeys(found.table[c.VARIANT])) == [
        wi.AS_FOUND,
        "Price of carbide insert +20%",
        "Life -20%",
    ]
    first = found.table.iloc[:3].set_index(c.EDGE_TYPE)[c.COST_PER_MI]
    assert first[ms.CARBIDE] == pytest.approx(cost(ms.cost_inputs()))
    assert pd.isna(found.table.iloc[0][c.SAVING_PCT]) and found.sentence() == "2 changes were tried."


def test_words_of_several_changes_at_once():
    one = wi.Change("x", price=700, breakage_pct=50, labour_pct=-5, miles_pct=30, discount_rate=0.07)
    assert (
        one.words({})
        == "Breakage of x +50%, labor rates -5%, miles +30%, price of x $700 and discount rate 7.0%"
    )
    assert wi.Change(name="the bid").words({}) == "the bid" and wi.Change().words({}) == wi.AS_FOUND


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"life_pct": -100}, "life_pct is -100"),
        ({"price_pct": -101}, "price_pct is -101"),
        ({"price": -1.0}, "price is -1"),
        ({"edge_type": "carbid_insert"}, 'Did you mean "carbide_insert"'),
        ({"prise_pct": 5}, "does not know prise_pct"),
    ],
)
def test_changes_that_are_not_possible(change, said):
    with pytest.raises(UsageError, match=said):
        wi.compare_changes(ms.cost_inputs(), [change])


def test_the_sensitivity_puts_the_largest_first_and_says_what_turns():
    found = wi.estimate_sensitivity(ms.cost_inputs(uses=ms.uses(2)))
    for _, rows in found.table.groupby(c.EDGE_TYPE):
        widths = (rows[wi.AT_HIGH] - rows[wi.AT_LOW]).abs().tolist()
        assert widths == sorted(widths, reverse=True)
    price = found.table[(found.table[c.TERM] == "the price of carbide insert")].iloc[0]
    # by hand: 0.8 sets and two breaks in 8,000 mi, 20 % of 800
    assert price[wi.AT_HIGH] - price[c.ESTIMATE] == pytest.approx(
        160 * (price[c.ESTIMATE] * 0 + sets_a_mile())
    )
    assert "what matters most is" in found.sentences()[0]


def sets_a_mile() -> float:
    broken = 2 / 8000
    return broken / -math.expm1(-broken * 1250)


def test_a_close_finding_is_turned_by_its_price():
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = 1600.0
    found = wi.estimate_sensitivity(ms.cost_inputs(edge_sets=sets))
    row = found.table[found.table[c.TERM] == "the price of carbide insert"].iloc[0]
    assert row[wi.TURNS] == "yes" and "the price of carbide insert" in found.sentences()[0]


def test_a_steady_finding_is_turned_by_nothing():
    firm = {name: Use(Sample(use.sample.mean, 1e-6, 4), 5, 5, 8000.0) for name, use in ms.uses().items()}
    firm[ms.CARBIDE] = Use(Sample(0.2, 1e-6, 4), 0, 0, 80_000.0)
    said = wi.estimate_sensitivity(ms.cost_inputs(uses=firm)).sentences()[0]
    assert said.endswith("nothing within the ranges tried turns which type is cheaper.")


def test_early_removal_is_tried_where_it_is_known():
    unused = pd.DataFrame({c.EDGE_TYPE: [ms.CARBIDE], "uneven_frac": [0.1], "early_frac": [0.2]})
    found = wi.estimate_sensitivity(ms.cost_inputs(unused=unused)).table
    row = found[found[c.TERM] == "early removal of carbide insert"].iloc[0]
    # by hand: a fifth of the depth left, so 0.8 / 0.8 sets per 1,000 mi instead of 0.8
    assert row[wi.AT_HIGH] - row[wi.AT_LOW] == pytest.approx(0.2 * 1.22)


def test_unknown_prices_and_lonely_trucks_have_no_sensitivity():
    sets = ms.edge_sets().assign(**{c.UNIT_PRICE_USD: math.nan})
    assert wi.estimate_sensitivity(ms.cost_inputs(edge_sets=sets)).table.empty
    assert (
        wi.estimate_sensitivity(ms.cost_inputs(edge_sets=sets)).sentence() == "There is nothing to compare."
    )
    alone = wi.estimate_sensitivity(
        ms.cost_inputs(uses={n: Use(Sample(u.sample.mean, math.nan, 1)) for n, u in ms.uses().items()})
    )
    assert not alone.table[c.TERM].str.startswith("the life").any()
    assert not alone.table[c.TERM].str.startswith("the breakage").any()
