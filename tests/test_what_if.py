"""What-ifs start from what was found and change one thing; the sensitivity puts the largest first."""

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import what_if as wi
from trialkit.money.costs import estimate_costs


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
