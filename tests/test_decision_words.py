"""The action that is recommended follows from the verdict, and no sentence says more than was found."""

from __future__ import annotations

from dataclasses import replace

import cost_samples as made
import pytest
from money_samples import CARBIDE, RUBBER, STEEL, edge_sets, trucks, uses
from money_samples import costs as prices_of

from trialkit import columns as c
from trialkit.money import alternatives as alt
from trialkit.money.decision import Rule
from trialkit.money.kept import Kept
from trialkit.money.season import season_miles
from trialkit.report import (
    cost_sections,
    cost_tables,
    cost_words,
    decision_words,
    fiscal_words,
    question_words,
    verdict_table,
)
from trialkit.report.decision_words import (
    AMOUNT_BLANK,
    BUY,
    CONTINUE,
    EXTEND,
    FUND_BLANK,
    NO_CHANGE,
    PRICE_FIRST,
    WAIT,
)
from trialkit.table_parts import LIGHT, MIDDLING
from trialkit.verdicts import BETTER, INTERIM, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE


@pytest.fixture(scope="module")
def sure():
    return made.study(
        bid_rows=[("B-1", RUBBER, 2400.0, "yes"), ("B-2", STEEL, 390.0, "yes")],
        supplied={"bought": 4, "donated": 2},
    )


@pytest.fixture(scope="module")
def open_():
    return made.study(made.not_shown())


def said(found, **options):
    action = decision_words.recommended_action(found, **options)
    return action, " ".join(action.sentences)


def test_a_type_found_better_is_bought(sure):
    assert sure.verdicts.verdict_of(sure.recommended) == BETTER
    action, text = said(sure)
    assert (action.kind, action.edge_type) == (BUY, sure.recommended)
    assert cost_words.pieces_words(sure.order) in text
    assert f"{AMOUNT_BLANK}, from {FUND_BLANK}" in text
    assert sure.verdicts.table[c.SENTENCE].iloc[0] in text
    assert "Bid B-1" in text


def test_a_type_that_is_not_shown_is_never_bought(open_):
    assert open_.verdicts.verdict_of(CARBIDE) == NOT_SHOWN
    action, text = said(open_)
    assert (action.kind, action.edge_type) == (EXTEND, STEEL)
    assert "Authorize" not in text
    assert "plain steel stays on" in text
    assert "it is not shown" in text


def test_a_dearer_type_changes_nothing():
    found = made.study(made.dearer())
    assert found.verdicts.verdict_of(CARBIDE) == WORSE
    action, text = said(found)
    assert action.kind == NO_CHANGE
    assert "go on" not in text
    assert "costs" in text


def test_a_small_saving_that_is_not_shown_is_not_tried_again():
    found = made.study(made.not_shown(), rule=Rule(60.0))
    assert said(found)[0].kind == NO_CHANGE


def test_too_little_data_asks_for_more():
    found = made.study(made.one_truck())
    assert found.verdicts.verdict_of(CARBIDE) == NOT_ENOUGH_DATA
    action, text = said(found)
    assert action.kind == CONTINUE
    assert "until the rule can be applied" in text


def test_without_any_life_the_trial_goes_on():
    action, text = said(made.nothing())
    assert action.kind == CONTINUE
    assert made.NO_LIFE in text


def test_an_interim_run_decides_nothing():
    found = made.study(rule=Rule(10.0, interim=True))
    action, text = said(found)
    assert action.kind == WAIT
    assert INTERIM in text
    assert "Authorize" not in text


def test_a_cost_that_was_not_agreed_to_decide_buys_nothing():
    found = made.study(rule=Rule(10.0, primary_measure="life"))
    action, text = said(found)
    assert action.kind == NO_CHANGE
    assert "The verdict on life, the measure set to decide, has to be weighed" in text
    agreed = made.study(rule=Rule(10.0, primary_measure="life", agreed="Buy what lasts."))
    assert "life, the measure agreed before the season to decide" in said(agreed)[1]
    assert said(found, deciding={found.nearest: NOT_SHOWN})[0].kind == NO_CHANGE
    assert said(found, deciding={found.nearest: BETTER})[0].kind == BUY


def test_better_by_the_agreed_measure_but_not_cheaper_says_why_nothing_is_bought():
    found = made.study(made.not_shown(), rule=Rule(10.0, primary_measure="life"))
    action, text = said(found, deciding={CARBIDE: BETTER, RUBBER: NOT_SHOWN})
    assert action.kind != BUY
    assert "By life, the measure set to decide, carbide insert is found better." in text
    assert "found better" not in said(found, deciding={CARBIDE: NOT_SHOWN})[1]


def test_work_that_is_not_known_is_not_said_to_be_included(sure):
    table = sure.costs.table.assign(**{c.UNKNOWN_LINES: "regular labor and truck down time"})
    poor = replace(sure, costs=replace(sure.costs, table=table))
    basis = fiscal_words.fiscal_impact(poor).set_index(fiscal_words.IMPACT)[fiscal_words.BASIS_TEXT]
    assert (
        "without regular labor and truck down time, which are not known" in basis["Every year from then on"]
    )
    assert not basis.str.contains("included").any()


def test_a_bid_with_a_cheaper_mile_of_another_type_is_pointed_out():
    found = made.study(bid_rows=[("B-1", RUBBER, 90000.0, "yes"), ("B-2", STEEL, 1.0, "yes")])
    assert "weigh the two before an award" in said(found)[1]
    none = made.study(bid_rows=[("B-2", STEEL, 390.0, "yes")])
    assert "can be ranked: ask for bids" in said(none)[1]


def test_alternatives_stand_with_their_money(sure):
    frame, headings = fiscal_words.alternatives_in_brief(sure)
    assert len(frame) == len(sure.choices.table)
    base = sure.choices.table[alt.ALTERNATIVE].eq(alt.NO_CHANGE).idxmax()
    assert frame[fiscal_words.SAVED_TEXT].iloc[base] == "–"
    assert "95% interval" in headings[fiscal_words.SEASON_TEXT]
    weighed, _ = fiscal_words.alternatives_weighed(sure)
    assert weighed[alt.RISK].str.len().min() > 0


def test_fiscal_impact_of_a_change_and_of_none(sure, open_):
    frame = fiscal_words.fiscal_impact(sure).set_index(fiscal_words.IMPACT)
    assert "One time: first sets and kits" in frame.index
    assert "a season" in frame.loc["Doing nothing", fiscal_words.AMOUNT_TEXT]
    assert AMOUNT_BLANK in frame.loc["Next season's order", fiscal_words.STAFF]
    assert frame.loc["The same in a light winter", fiscal_words.BASIS_TEXT] == cost_words.pieces_words(
        sure.order, LIGHT
    )
    none = fiscal_words.fiscal_impact(open_).set_index(fiscal_words.IMPACT)
    assert "One time: first sets and kits" not in none.index
    assert none.loc["Doing nothing", fiscal_words.AMOUNT_TEXT] == "nothing that is shown"


def test_a_difference_that_is_not_shown_is_said_with_both_ends(open_):
    detail = cost_words.differences(open_)[0].detail
    assert detail.startswith("Anywhere from ")
    assert " more to " in detail
    assert " less, best estimate " in detail
    assert "is not shown to save or to cost" in cost_words.several_years(open_)[0]
    assert cost_words.break_even(open_)[0].endswith(cost_words.NOT_SHOWN_TO_PAY)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ((20.0, 6.0, 34.0), "$20 ($6 to $34) less"),
        ((-20.0, -34.0, -6.0), "$20 ($6 to $34) more"),
        ((50.0, 0.0, 100.0), "between nothing and $100 less, best estimate $50 less"),
        ((5.0, -10.0, 20.0), "anywhere from $10 more to $20 less, best estimate $5 less"),
        ((5.0, float("nan"), float("nan")), "$5.00 less"),
    ],
)
def test_savings_in_words(given, expected):
    assert cost_words.saved_words(*given, "USD") == expected


def test_questions_are_answered_from_the_numbers(sure, open_):
    asked = dict(question_words.questions(sure, None, ["No saving was shown."]))
    assert sure.verdicts.table[c.SENTENCE].iloc[1] in asked[question_words.HOW_SURE]
    assert asked[question_words.SALT] == "No saving was shown."
    assert "was not studied" in asked[question_words.QUIETER]
    assert "2 sets were donated" in asked[question_words.SUPPLIER]
    assert "price is not cost" in asked[question_words.CHEAPEST]
    assert "suffice" in asked[question_words.MILD]
    assert "nothing in 8,000 miles" in asked[question_words.BREAKS]
    assert "that is given up" in asked[question_words.WAITING]
    other = dict(question_words.questions(open_))
    assert other[question_words.WAITING].startswith("Nothing that this trial shows")
    assert "2 sets in 8,000 miles" in other[question_words.BREAKS]
    assert "the edge that this report would buy" in other[question_words.CHEAPEST]
    assert other[question_words.SUPPLIER] == question_words.NOT_RECORDED


def test_questions_say_why_where_nothing_is_known():
    asked = dict(question_words.questions(made.nothing()))
    assert asked[question_words.HOW_SURE] == made.NO_LIFE
    assert asked[question_words.AGAIN] == "That is not worked out: no miles are planned."
    assert "not known" in asked[question_words.WAITING]


def test_all_sets_bought_by_the_town():
    assert (
        question_words.supplied_words(made.study(supplied={"bought": 1}))
        == "No: the one set on record was bought by the town."
    )
    assert "all 6 sets on record were bought" in question_words.supplied_words(
        made.study(supplied={"bought": 6})
    )


def test_verdicts_are_marked_in_an_interim_run(sure):
    table = verdict_table.verdicts(sure)
    assert list(table.columns) == verdict_table.VERDICT_COLUMNS
    assert len(table) == len(sure.verdicts.table)
    assert not table[c.SENTENCE].str.contains(INTERIM).any()
    material = table.head(1).assign(
        **{c.QUESTION: "Is less salt needed?", c.SENTENCE: "No difference is shown."}
    )
    marked = verdict_table.verdicts(sure, material=material, interim=True)
    assert marked[c.SENTENCE].str.count(INTERIM).eq(1).all()
    assert marked[c.SENTENCE].iloc[-1] == f"No difference is shown ({INTERIM})."
    assert verdict_table.verdicts(made.nothing()).empty


def test_better_by_the_measure_that_decides_asks_for_prices_where_no_mile_has_a_cost():
    """The five tables that a trial must have hold no price: the answer is not that nothing was found."""
    found = made.study(
        edge_sets=edge_sets().assign(**{c.UNIT_PRICE_USD: float("nan")}), rule=Rule(primary_measure="life")
    )
    told = {CARBIDE: "Carbide insert lasts between 1.6 and 3.8 times as long."}
    action, text = said(found, deciding={CARBIDE: BETTER, RUBBER: NOT_SHOWN}, told=told)
    assert (action.kind, action.edge_type) == (PRICE_FIRST, STEEL)
    assert action.acts[0].startswith(
        "Record what the edges cost before any are bought, and make no change of edge type until then."
    )
    assert f"By life, the measure set to decide, carbide insert is better. {told[CARBIDE]}" in action.acts[0]
    assert "no price of a set of plain steel or carbide insert is recorded" in action.acts[0]
    assert "No edge type can be set against the reference" not in text
    assert said(found, deciding={CARBIDE: NOT_SHOWN})[0].kind == CONTINUE
    asked = dict(question_words.questions(found))
    assert asked[question_words.CHEAPEST].startswith("No price of a set is recorded")
    assert "(–)" not in asked[question_words.MILD]
    assert cost_words.method(found)[-1] == cost_words.NO_COST
    assert not any("Present value" in one or "10,000 draws" in one for one in cost_words.method(found))


def test_a_better_type_without_a_price_beside_one_with_a_price():
    found = made.study(
        made.not_shown() | {RUBBER: uses()[RUBBER]},
        edge_sets=edge_sets()[lambda sets: sets[c.EDGE_TYPE] != RUBBER],
        rule=Rule(10.0, primary_measure="life"),
    )
    action, text = said(found, deciding={CARBIDE: NOT_SHOWN, RUBBER: BETTER})
    assert action.kind != BUY
    assert (
        "What a mile with it costs is not known, since no price of a set of rubber-mounted carbide is recorded"
        in text
    )


def test_acts_and_reason_stand_apart(sure):
    action, _ = said(sure)
    assert action.sentences == (*action.acts, action.why)
    assert action.why.startswith("This follows from what was found under the rule as set for this trial: ")


def test_kits_without_a_price_are_not_said_to_be_in_the_first_outfit():
    found = made.study(costs=prices_of()[lambda frame: frame[c.ITEM] != "conversion_kit"])
    frame = fiscal_words.fiscal_impact(found).set_index(fiscal_words.IMPACT)
    label = "One time: first sets, without kits (price not known)"
    # by hand: three trucks, a set of rubber at $2,500
    assert frame.loc[label, fiscal_words.AMOUNT_TEXT] == "$7,500"


def test_three_amounts_of_one_purchase_are_not_to_be_added_up(sure):
    notes = " ".join(fiscal_words.fiscal_notes(sure))
    assert "not to be added up" in notes
    assert (
        "A set of rubber-mounted carbide is taken at $2,500, the price in the trial; bid B-1 asks $2,400."
        in notes
    )


def test_without_a_fleet_plan_the_winters_are_not_told_apart():
    found = made.study(plan=season_miles(None, trucks(3), driven=trucks(3).assign(**{c.MILES_MI: 2000.0})))
    asked = dict(question_words.questions(found))
    assert asked[question_words.MILD].startswith("That is not known: no miles are planned")
    assert not fiscal_words.fiscal_impact(found)[fiscal_words.IMPACT].str.contains("winter").any()


def test_a_light_winter_is_told_by_its_pieces_where_no_price_is_known():
    found = made.study(edge_sets=edge_sets().assign(**{c.UNIT_PRICE_USD: float("nan")}))
    answer = dict(question_words.questions(found))[question_words.MILD]
    light, middling = (cost_words.pieces_words(found.order, one) for one in (LIGHT, MIDDLING))
    assert light != middling
    assert answer.startswith(f"In a light winter {light} suffice, against {middling} in a middling one.")


def test_a_type_without_measured_wear_has_bounds_only():
    """Rubber shows no wear: what it costs is known from above, and what it saves from below."""
    found = made.study({STEEL: made.use(2.0, 0.16), RUBBER: made.use(0.0, 0.0004)})
    assert found.recommended == RUBBER
    fiscal = fiscal_words.fiscal_impact(found).set_index(fiscal_words.IMPACT)[fiscal_words.AMOUNT_TEXT]
    assert fiscal["Every year from then on"].startswith("at most $")
    assert fiscal["Doing nothing"].startswith("at least $")
    rows, _ = fiscal_words.alternatives_in_brief(found)
    assert rows[fiscal_words.SEASON_TEXT].iloc[0].startswith("at most $")
    assert rows[fiscal_words.SAVED_TEXT].iloc[0].startswith("At least $")
    brief = cost_tables.costs_in_brief(found)[0].set_index(c.EDGE_TYPE)
    assert brief.loc[RUBBER, cost_tables.COST_TEXT].startswith("at most $")
    assert brief.loc[RUBBER, cost_tables.SAVING_TEXT].startswith("at least ")
    parts = cost_tables.lines_table(found).set_index(c.LINE)
    assert parts.loc["Sets or sections worn out"].iloc[1].startswith("at most $")
    assert parts.loc["Total"].iloc[1].startswith("at most $")
    assert "costs at most $" in cost_words.costs(found)[1]
    assert cost_words.differences(found)[0].detail.startswith("At least $")
    assert "at least $" in cost_words.several_years(found)[0]
    assert "known from one side only" in cost_words.break_even(found)[0]
    assert cost_words.made_of(found)[0].startswith("Of what a mile with plain steel costs")
    assert len(cost_words.made_of(found)) == 1


def test_trucks_that_keep_their_type_are_named(sure):
    kept = (Kept("T-1", "front", STEEL, "fixed plow"),)
    found = replace(sure, kept=kept)
    first, second, *_ = decision_words.recommended_action(found).acts
    assert first.endswith(" T-1 keeps plain steel.") and second == "T-1 stays with plain steel: fixed plow."
    assert "T-1, which keeps its edge type, is counted too" in " ".join(cost_words.several_years(found))


def test_what_is_better_is_not_bought_where_no_truck_can_carry_it(sure):
    fleet = sure.order.fleet.assign(**{c.EDGE_TYPE: STEEL})
    kept = tuple(Kept(f"T-{n}", "front", STEEL, "fixed plows") for n in (1, 2, 3))
    found = replace(sure, kept=kept, order=replace(sure.order, fleet=fleet))
    action, text = said(found)
    assert action.kind == NO_CHANGE and "Authorize" not in text
    assert "rubber-mounted carbide costs less, but no truck with planned miles can carry it" in action.acts[0]
    assert "T-1, T-2 and T-3 stay with plain steel: fixed plows." in action.acts[0]


def test_no_table_of_unknown_costs():
    found = made.study(edge_sets=edge_sets().assign(**{c.UNIT_PRICE_USD: float("nan")}))
    said_of = cost_sections.costs_table(found).plain()
    assert said_of.startswith(
        "What a mile costs is not known: no price of a set of plain steel, carbide insert or rubber-mounted carbide"
    )
    assert "\n" not in said_of.strip()
