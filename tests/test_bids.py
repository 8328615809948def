"""Bids by cost per mile: what is scored, ranked, listed, and said."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.money import bids as bd
from trialkit.money.costs import estimate_costs
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample


def offers(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=[c.BID, c.EDGE_TYPE, c.PRICE_PER_SET_USD, c.MEETS_SPEC])


ROWS = (
    ("B-1", ms.STEEL, 380.0, "yes"),
    ("B-2", ms.CARBIDE, 800.0, "unclear"),
    ("B-3", ms.CARBIDE, 700.0, "no"),
    ("B-4", "ceramic_insert", 300.0, "yes"),
)


def compared(*rows, **changed):
    return bd.compare_bids(offers(*(rows or ROWS)), ms.cost_inputs(**changed))


def test_the_cheapest_mile_comes_first_and_what_was_not_tried_last():
    table = compared().table
    assert table[c.BID].tolist() == ["B-3", "B-2", "B-1", "B-4"]
    assert table[bd.SCORED].tolist() == ["yes", "yes", "yes", "no"]
    assert table[bd.RANK].tolist()[1:3] == [1, 2] and math.isnan(table[bd.RANK][0])
    assert table[bd.WHY].tolist() == [bd.NO_SPEC, "", "", bd.NOT_TRIED]
    assert math.isnan(table[c.COST_PER_MI][3])


def test_a_bid_at_the_price_of_the_trial_costs_what_the_trial_found():
    found = compared().table.set_index(c.BID).loc["B-2"]
    trial = estimate_costs(ms.cost_inputs())
    cost = trial.table.set_index(c.EDGE_TYPE).loc[ms.CARBIDE]
    assert [found[n] for n in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)] == pytest.approx(
        [cost[n] for n in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)]
    )
    assert found[c.SAVING_PCT] == pytest.approx(trial.compared.iloc[0][c.SAVING_PCT])


def test_what_is_said():
    found = compared()
    assert found.sentence().startswith("Bid B-2, carbide insert, has the cheapest mile: $1.03 ($")
    assert found.sentence().endswith("The lowest price is bid B-4 at $300 a set.")
    said = found.sentences()
    assert said[0].endswith("Not ranked: does not meet the specification.")
    assert said[3] == (
        "Bid B-4, ceramic insert at $300 a set, is listed and not scored: this edge type was not in the trial, so nothing is known "
        "about its life."
    )
    assert "Whether 1 bid (B-2) meets the specification is not settled" in found.notes[1]
    assert found.notes[2] == (
        "Not scored: B-4 (this edge type was not in the trial, so nothing is known about its life)."
    )
    alone = compared(("B-1", ms.STEEL, 380.0, "yes"))
    assert alone.sentence().endswith("It is also the lowest price.")
    assert compared(("B-4", "ceramic", 380.0, "yes")).sentence() == "No bid can be scored."


def test_bids_without_the_columns_that_may_be_missing():
    short = offers(*ROWS).drop(columns=c.MEETS_SPEC)
    found = bd.compare_bids(short, ms.cost_inputs())
    assert found.table[bd.RANK].notna().sum() == 3
    assert list(found.table.columns[:6]) == [
        c.BID,
        c.EDGE_TYPE,
        c.PRICE_PER_SET_USD,
        c.QUANTITY,
        c.LEAD_TIME_DAYS,
        c.MEETS_SPEC,
    ]


def test_prices_that_are_none():
    with pytest.raises(UsageError, match="correct bid B-9 at -5"):
        compared(("B-9", ms.STEEL, -5.0, "yes"))
    assert compared(("B-9", ms.STEEL, math.nan, "yes")).table[bd.WHY][0] == "it has no price"


def test_a_type_whose_wear_was_not_read():
    from trialkit.money.inputs import Use
    from trialkit.stats.inference import Sample

    given = ms.uses() | {ms.CARBIDE: Use(Sample(math.nan, math.nan, 0))}
    assert compared(ROWS[1], uses=given).table[bd.WHY][0] == "no wear of this edge type was read"
    lonely = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 900.0)}
    assert "(no interval) per blade-down mile." in compared(ROWS[1], uses=lonely).sentences()[0]


def test_a_bid_for_a_type_without_measured_wear_costs_so_much_at_most():
    flat = ms.uses() | {ms.CARBIDE: Use(Sample(0.0, 0.0009, 4), 0, 0, 8000.0)}
    said = compared(uses=flat).sentences()
    assert all((": at most $" in one) == ("carbide insert" in one) for one in said if "not scored" not in one)


def test_a_lowest_price_that_may_not_meet_the_specification_says_so():
    def said(meets):
        return compared(("B-1", ms.STEEL, 380.0, meets), ("B-2", ms.CARBIDE, 500.0, "yes")).sentence()

    assert said("yes").endswith("The lowest price is bid B-1 at $380 a set.")
    assert said("unclear").endswith("at $380 a set. Whether it meets the specification is not settled.")
    assert said("no").endswith("at $380 a set. It does not meet the specification.")
