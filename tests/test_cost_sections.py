"""Cost and decision as blocks: whatever is known, every block can be printed and says the right thing."""

from __future__ import annotations

import warnings
from dataclasses import replace

import cost_samples as made
import matplotlib.pyplot as plt
import pytest
from money_samples import CARBIDE, STEEL, edge_sets

from trialkit import columns as c
from trialkit import display
from trialkit.money import what_if
from trialkit.report import (
    blocks,
    cost_sections,
    cost_tables,
    cost_words,
    decision_sections,
    document,
    verdict_table,
)

BLOCKS = (
    "costs", "costs_figure", "costs_table", "lines_table", "compared", "break_even", "break_even_figure", "cumulative_figure",
    "several_years", "years_table", "turning", "turning_figure", "turning_table", "to_order", "order_table", "trucks_table", "bids",
    "bids_table", "specification_table", "limits", "caveats", "method",
)  # fmt: skip
DECIDED = ("alternatives_table", "weighed_table", "fiscal_table", "questions")
STUDIES = {
    "sure": made.study,
    "not shown": lambda: made.study(made.not_shown()),
    "dearer": lambda: made.study(made.dearer()),
    "one truck": lambda: made.study(made.one_truck()),
    "only the reference": made.only_the_reference,
    "without costs": made.without_costs,
    "without plan": made.without_plan,
    "nothing": made.nothing,
}


@pytest.fixture(autouse=True)
def nothing_warns():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def every_block(found):
    shown = {name: getattr(cost_sections, name)(found) for name in BLOCKS}
    shown |= {name: getattr(decision_sections, name)(found) for name in DECIDED}
    shown["what_if"] = cost_sections.what_if_table(found, None)
    shown["verdicts"] = decision_sections.verdicts_table(found, verdict_table.verdicts(found))
    return shown


def test_no_figure_of_costs_is_drawn_where_none_is_known():
    sets = edge_sets()
    sets[c.UNIT_PRICE_USD] = float("nan")
    found = made.study(edge_sets=sets, costs=None)
    assert cost_sections.costs_figure(found).plain() == cost_sections.NO_AMOUNT
    sets.loc[sets[c.EDGE_TYPE] == STEEL, c.UNIT_PRICE_USD] = 400.0
    assert isinstance(cost_sections.costs_figure(made.study(edge_sets=sets)), blocks.Figure)


@pytest.fixture(scope="module")
def sure():
    return made.study(bid_rows=[("B-1", STEEL, 390.0, "yes"), ("B-2", "ceramic", 900.0, "yes")])


@pytest.mark.parametrize("name", list(STUDIES))
def test_every_block_can_be_printed_and_says_something(name):
    shown = every_block(STUDIES[name]())
    for block in shown.values():
        assert block.plain().strip()
        assert "nan" not in block.plain().lower().replace("financ", "")
        assert "inf" not in block.plain().split()
    page = document.html([blocks.meta("Cost", agency="Town", season="2031-32"), *shown.values()])
    assert all(len(block.plain()) < len(page) for block in shown.values())


def test_where_nothing_is_known_each_block_says_why():
    found = made.nothing()
    for name, block in every_block(found).items():
        if name not in (
            "limits",
            "questions",
            "bids",
            "bids_table",
            "to_order",
            "order_table",
            "trucks_table",
            "specification_table",
        ):
            assert made.NO_LIFE in block.plain(), name
    assert cost_words.NO_BIDS in cost_sections.bids(found).plain()
    assert cost_words.NOTHING_TO_ORDER in cost_sections.to_order(found).plain()


def test_without_a_plan_the_years_and_the_order_say_so():
    found = made.without_plan()
    assert cost_sections.years_table(found).plain() == cost_words.NO_PLAN
    assert cost_sections.order_table(found).plain() == cost_words.NOTHING_TO_ORDER
    assert "Cost of a season" not in cost_sections.costs_table(found).plain()
    assert decision_sections.alternatives_table(found).plain() == decision_sections.NO_ALTERNATIVES


def test_a_single_type_has_nothing_to_be_set_against():
    found = made.only_the_reference()
    assert cost_words.NOTHING_JUDGED in cost_sections.compared(found).plain()
    assert cost_sections.turning_figure(found).plain() == cost_words.NOTHING_JUDGED
    assert cost_sections.break_even_figure(found).plain() == cost_words.NOTHING_JUDGED
    assert isinstance(cost_sections.costs_figure(found), blocks.Figure)


def test_unknown_lines_say_so_and_are_named():
    text = cost_sections.lines_table(made.without_costs()).plain()
    row = next(line for line in text.splitlines() if line.startswith("Regular labor"))
    assert row.count(cost_tables.NOT_KNOWN) == 2  # sections were swapped in a storm only: no regular hours
    assert "labor" in cost_sections.costs_table(made.without_costs()).plain()


def test_the_lines_of_the_table_add_up_to_its_total(sure):
    frame = cost_tables.lines_table(sure)
    for name in ("Plain steel", "Carbide insert"):
        cents = [
            float(text.replace("$", "")) if "under" not in text else 0.0
            for text in frame[name]
            if text != cost_tables.NONE
        ]
        total = frame["line"].eq(cost_tables.TOTAL)
        said = float(frame.loc[total, name].iloc[0].replace("$", ""))
        assert sum(cents[: int(total.idxmax())]) == pytest.approx(said, abs=0.01 * len(cents) / 2)


def test_a_bid_for_a_type_that_was_not_tried_keeps_its_name(sure):
    text = cost_sections.bids_table(sure).plain()
    assert "Ceramic" in text
    assert "not in the trial" in text


def test_what_if_shows_both_and_says_when_nothing_was_changed(sure):
    inputs = sure.inputs
    text = cost_sections.what_if_table(sure, what_if.compare_changes(inputs, [])).plain()
    assert cost_words.NOTHING_CHANGED in text
    changed = what_if.compare_changes(inputs, [what_if.Change(CARBIDE, price_pct=20.0)])
    text = cost_sections.what_if_table(sure, changed).plain()
    assert "Price of carbide insert +20%" in text
    assert cost_words.NOTHING_CHANGED not in text


def test_metric_units_and_another_currency_are_shown_everywhere():
    with display.showing("metric", "CAD"):
        found = made.study(currency="CAD")
        shown = every_block(found)
        for name in (
            "costs",
            "costs_table",
            "lines_table",
            "turning_table",
            "order_table",
            "alternatives_table",
            "fiscal_table",
        ):
            assert "$" not in shown[name].plain(), name
            assert "CAD" in shown[name].plain(), name
        assert "kilometer" in shown["costs"].plain()
        assert "per mile" not in shown["compared"].plain()
        assert "blade-down kilometer?" in shown["verdicts"].plain()
        assert "kilometer" in shown["costs_figure"].plain()
        # a cost per kilometer is the cost per mile over 1.609344 (exact: international mile)
        per_mile = float(found.costs.table["cost_per_mi"].iloc[0])
        assert f"{per_mile / 1.609344:.2f} CAD" in shown["costs"].plain()


def test_lines_that_do_not_add_up_to_the_cent_say_why():
    found = made.study()
    lines = found.costs.lines.copy()
    own = (lines[c.EDGE_TYPE] == STEEL) & (lines["of_which"] == "no")
    lines[c.ESTIMATE] = lines[c.ESTIMATE].round(2)
    table = found.costs.table.copy()
    sums = lines[lines["of_which"] == "no"].groupby(c.EDGE_TYPE)[c.ESTIMATE].sum()
    table[c.COST_PER_MI] = table[c.EDGE_TYPE].map(sums).to_numpy()
    even = replace(found, costs=replace(found.costs, lines=lines, table=table))
    assert cost_sections.ROUNDED_ALONE not in cost_sections.lines_table(even).notes
    # by hand: two lines of 0.4 of a cent more each are rounded away one by one and make a cent of the total
    for line in lines[own].index[:2]:
        lines.loc[line, c.ESTIMATE] += 0.004
    table.loc[table[c.EDGE_TYPE] == STEEL, c.COST_PER_MI] += 0.008
    odd = replace(found, costs=replace(found.costs, lines=lines, table=table))
    assert cost_sections.ROUNDED_ALONE in cost_sections.lines_table(odd).notes
