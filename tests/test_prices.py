"""Prices of sets and cost items: which row holds, what differs, what is not known."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import prices


def sets(*rows) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=[c.EDGE_TYPE, c.UNIT_PRICE_USD, c.SUPPLIED_BY])
    return frame.assign(**{c.SET_ID: [f"S-{n}" for n in range(len(frame))]})


def test_prices_that_differ_give_their_mean_and_range():
    found = prices.set_prices(sets((ms.STEEL, 400.0, "bought"), (ms.STEEL, 430.0, None)))
    row = found.loc[ms.STEEL]
    assert (row[c.PRICE], row[c.PRICE_LOW], row[c.PRICE_HIGH]) == (415, 400, 430)
    assert prices.price_notes(found, ms.LABELS, "USD", [ms.STEEL]) == [
        "Sets of plain steel were bought at $400 to $430; the mean over 2 sets, $415, is used."
    ]


def test_donated_sets_count_only_where_none_was_bought():
    found = prices.set_prices(
        sets(
            (ms.STEEL, 400.0, "bought"),
            (ms.STEEL, 0.0, "donated"),
            (ms.CARBIDE, 800.0, "loaned"),
            (ms.CARBIDE, 0.0, "donated"),
        )
    )
    assert found.loc[ms.STEEL, c.PRICE] == 400 and found.loc[ms.CARBIDE, c.PRICE] == 800
    notes = prices.price_notes(found, ms.LABELS, "USD", [ms.STEEL])
    assert notes == [
        "The price of a set of plain steel is that of 1 of 2 sets; the others have none that counts."
    ]


def test_a_bought_set_without_a_price_above_zero_does_not_count():
    # by hand: one set has a price, 400; a blank or a 0 for a set that was bought is a price that was not entered
    found = prices.set_prices(
        sets((ms.STEEL, 400.0, "bought"), (ms.STEEL, 0.0, "bought"), (ms.STEEL, math.nan, "bought"))
    )
    row = found.loc[ms.STEEL]
    assert (row[c.PRICE], row[c.PRICE_LOW], row[c.PRICE_HIGH], row[prices.N_PRICED]) == (400, 400, 400, 1)
    assert prices.price_notes(found, ms.LABELS, "USD", [ms.STEEL]) == [
        "The price of a set of plain steel is that of 1 of 3 sets; the others have none that counts."
    ]


@pytest.mark.parametrize("supplied_by", ["donated", "bought"])
@pytest.mark.parametrize("price", [math.nan, 0.0])
def test_a_type_without_a_price(price, supplied_by):
    found = prices.set_prices(sets((ms.STEEL, price, supplied_by)))
    assert math.isnan(found.loc[ms.STEEL, c.PRICE])
    said = "No price of a set of plain steel is recorded, so its cost is not known."
    assert prices.price_notes(found, ms.LABELS, "USD", [ms.STEEL]) == [said]


def test_a_frame_without_a_column_of_who_supplied_it():
    assert (
        prices.set_prices(sets((ms.STEEL, 400.0, "bought")).drop(columns=c.SUPPLIED_BY)).loc[
            ms.STEEL, c.PRICE
        ]
        == 400
    )


def test_negative_prices_are_refused_together():
    with pytest.raises(
        UsageError, match=r"price of set S-0 is -4; price of set S-1 is -5\. Only a disposal credit"
    ):
        prices.set_prices(sets((ms.STEEL, -4.0, "bought"), (ms.STEEL, -5.0, "bought")))
    wrong = ms.costs()
    wrong.loc[wrong[c.ITEM] == "truck_down", c.AMOUNT_USD] = -80.0
    with pytest.raises(UsageError, match="amount of truck_down is -80"):
        prices.cost_amounts(wrong, [ms.STEEL], ms.STEEL)


def dated() -> pd.DataFrame:
    rows = [
        ("labour_regular", "2031-07-01", None, 50.0, "hour", "a"),
        ("labour_regular", "2032-01-01", None, 55.0, "hour", "b"),
        ("labour_regular", "2031-07-01", ms.CARBIDE, 60.0, "hour", None),
    ]
    names = [c.ITEM, c.EFFECTIVE_FROM, c.EDGE_TYPE, c.AMOUNT_USD, c.PER, c.SOURCE]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(**{c.EFFECTIVE_FROM: pd.to_datetime(frame[c.EFFECTIVE_FROM])})


@pytest.mark.parametrize(
    ("as_of", "amount"), [("2031-12-31", 50.0), ("2032-01-01", 55.0), (None, 55.0), ("2030-01-01", math.nan)]
)
def test_the_price_of_the_day(as_of, amount):
    found = prices.cost_amounts(dated(), [ms.STEEL], ms.STEEL, as_of=as_of)[ms.STEEL][prices.LABOUR_REGULAR]
    assert found.amount == amount or (math.isnan(amount) and not found.is_known)


def test_a_price_of_the_type_goes_before_a_later_one_for_all():
    found = prices.cost_amounts(dated(), [ms.CARBIDE], ms.STEEL)[ms.CARBIDE][prices.LABOUR_REGULAR]
    assert (found.amount, found.source) == (60.0, "")


def test_kits_that_are_recorded_for_some_types_are_not_needed_by_the_others():
    found = [
        prices.cost_amounts(costs, [ms.STEEL, ms.CARBIDE, ms.RUBBER], ms.STEEL)
        for costs in (ms.costs(), ms.costs()[lambda frame: frame[c.ITEM] != "conversion_kit"])
    ]
    with_row, without = ([of_type[prices.CONVERSION] for of_type in one.values()] for one in found)
    assert [kit.needed for kit in with_row] == [False, False, True]
    assert [kit.is_known for kit in without] == [True, False, False]


def kits(*rows):
    """Amounts of the conversion kit: edge type (None: all), amount, per, since when."""
    names = [c.EDGE_TYPE, c.AMOUNT_USD, c.PER, c.EFFECTIVE_FROM]
    frame = pd.DataFrame(rows, columns=names).assign(**{c.ITEM: "conversion_kit", c.SOURCE: "shop"})
    frame[c.EFFECTIVE_FROM] = pd.to_datetime(frame[c.EFFECTIVE_FROM])
    found = prices.cost_amounts(frame, [ms.STEEL, ms.CARBIDE, ms.RUBBER], ms.STEEL, as_of="2031-12-31")
    return found, [of_type[prices.CONVERSION] for of_type in found.values()]


@pytest.mark.parametrize(
    "row",
    [
        (ms.RUBBER, 100.0, "hour", "2031-07-01"),  # paid per something that does not fit
        (ms.RUBBER, math.nan, "set", "2031-07-01"),  # no amount
        (ms.RUBBER, 100.0, "set", "2032-07-01"),  # not yet in force
    ],
)
def test_a_kit_of_which_the_price_is_not_known_is_unknown_and_not_unneeded(row):
    _, (steel, carbide, rubber) = kits(row, (ms.CARBIDE, 60.0, "set", "2031-07-01"))
    assert rubber.needed and not rubber.is_known
    assert (steel.needed, carbide.amount) == (False, 60.0)


def test_a_kit_for_all_types_is_not_one_for_the_reference():
    _, (steel, carbide, rubber) = kits((None, 100.0, "set", "2031-07-01"))
    assert (steel.needed, carbide.amount, rubber.amount) == (False, 100.0, 100.0)


def test_a_kit_recorded_for_the_reference_is_not_counted_and_said():
    found, (steel, _, _) = kits((ms.STEEL, 100.0, "set", "2031-07-01"))
    assert not steel.needed
    assert prices.kit_notes(found, ms.LABELS, ms.STEEL) == [
        "The trucks carry plain steel today, so the conversion kit that is recorded for it is not counted."
    ]
    assert prices.kit_notes(kits((None, 100.0, "set", "2031-07-01"))[0], ms.LABELS, ms.STEEL) == []


def test_an_amount_without_what_it_is_paid_per_is_unknown():
    rows = ms.costs().assign(**{c.PER: None})
    rows = pd.concat([rows, rows.iloc[:1].assign(**{c.ITEM: "other"})])
    found = prices.cost_amounts(rows, [ms.RUBBER], ms.STEEL)
    assert not any(amount.is_known for amount in found[ms.RUBBER].values())
    assert len(prices.misfit_notes(found)) == len(prices.ITEMS)
    assert (
        "The amount of other costs is given without what it is paid per; it may be per hour, change, set or year. It is taken as "
        "unknown."
    ) in prices.misfit_notes(found)


def test_no_costs_at_all_are_all_unknown():
    found = prices.cost_amounts(None, [ms.STEEL, ms.CARBIDE], ms.STEEL)
    assert not found[ms.STEEL][prices.TRUCK_DOWN].is_known and found[ms.STEEL][prices.OTHER].is_known
    assert prices.misfit_notes(found) == []


def test_an_amount_per_something_that_does_not_fit_is_unknown():
    wrong = ms.costs()
    wrong.loc[wrong[c.ITEM] == "disposal", c.PER] = "hour"
    found = prices.cost_amounts(wrong, [ms.STEEL], ms.STEEL)
    assert not found[ms.STEEL][prices.DISPOSAL].is_known
    assert prices.misfit_notes(found) == [
        "The amount of disposal is given per hour, which does not fit; it may be per set, change or year. It is taken as unknown."
    ]
