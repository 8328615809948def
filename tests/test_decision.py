"""Verdicts under the agreed rule: every branch, its sentence, and Holm's adjustment."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import decision
from trialkit.money.cost_differences import EDGES_ALONE, WITH_SAVINGS
from trialkit.money.costs import estimate_costs
from trialkit.money.decision import Rule, check_rule
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample
from trialkit.verdicts import BETTER, INTERIM, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE


def judged(rule=None, **changed):
    return check_rule(estimate_costs(ms.cost_inputs(**changed)), rule or Rule())


def row(found, kind=ms.CARBIDE, basis=EDGES_ALONE):
    table = found.table
    return table[(table[c.EDGE_TYPE] == kind) & (table[c.BASIS] == basis)].iloc[0]


def dearer(price):
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = price
    return sets


def with_carbide(sample, breaks=0):
    return ms.uses() | {ms.CARBIDE: Use(sample, breaks, 0, 8000.0)}


def test_better():
    found = judged(uses=with_carbide(Sample(0.3, 0.001, 4)))
    one = row(found)
    assert one[c.VERDICT] == BETTER and one[c.SAVING_LOW_PCT] > 0
    assert (
        one[c.SENTENCE].startswith("Carbide insert costs 7")
        and "less per mile than plain steel (95% interval" in one[c.SENTENCE]
    )
    assert found.better()[0] == ms.CARBIDE and found.verdict_of(ms.CARBIDE) == BETTER
    assert found.verdict_of("ceramic") == NOT_ENOUGH_DATA


def test_worse():
    one = row(judged(edge_sets=dearer(5000.0)))
    assert one[c.VERDICT] == WORSE
    assert "more per mile than plain steel (95% interval" in one[c.SENTENCE]
    low, high = (float(part) for part in one[c.SENTENCE].split("interval ")[1].rstrip("%).").split(" to "))
    assert 0 < low < high


def test_not_shown():
    one = row(judged(edge_sets=dearer(1500.0)))
    assert one[c.VERDICT] == NOT_SHOWN
    assert "is not shown to cost less or more than plain steel: anywhere from " in one[c.SENTENCE]
    assert "% more to " in one[c.SENTENCE] and "% less, best estimate " in one[c.SENTENCE]
    assert "-" not in one[c.SENTENCE]  # no saving below zero is left for the reader to turn round


def test_a_saving_that_is_shown_but_not_shown_to_be_worth_it():
    given = {"uses": with_carbide(Sample(0.8, 0.0001, 4))}
    plain = row(judged(**given))
    assert plain[c.VERDICT] == BETTER and 20 < plain[c.SAVING_PCT] < 45
    strict = row(judged(Rule(35.0), **given))
    assert strict[c.VERDICT] == NOT_SHOWN
    assert "is not shown to save the 35% that would be worth a change: it costs" in strict[c.SENTENCE]
    assert strict[c.P_VALUE] > plain[c.P_VALUE]


def test_the_saving_may_be_judged_by_its_estimate():
    given = {"uses": with_carbide(Sample(0.8, 0.0001, 4))}
    by_estimate = Rule(35.0, saving_judged_by="estimate")
    found = judged(by_estimate, **given)
    assert row(found)[c.VERDICT] == BETTER
    assert "the best estimate is at least 35%" in row(found)[c.RULE]
    assert row(judged(Rule(60.0, saving_judged_by="estimate"), **given))[c.VERDICT] == NOT_SHOWN


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"uses": with_carbide(Sample(0.8, math.nan, 1))}, "one of the two was read on 1 truck only"),
        ({"edge_sets": dearer(math.nan)}, "no price of a set of carbide insert is recorded"),
        ({"uses": with_carbide(Sample(0.8, 0.0, 3))}, "no interval can be given"),
        (
            {"uses": with_carbide(Sample(0.8, 1.5, 2))},
            "the trial leaves open whether it costs half or twice as much",
        ),
    ],
)
def test_not_enough_data(changed, why):
    one = row(judged(**changed))
    assert one[c.VERDICT] == NOT_ENOUGH_DATA
    assert (
        one[c.SENTENCE]
        == f"Not enough data to say whether carbide insert costs less than plain steel: {why}."
    )


def test_holm_over_the_types():
    found = judged()
    p = found.table[c.P_VALUE].tolist()
    assert found.table[c.P_HOLM].tolist() == pytest.approx(
        [
            min(1, 2 * p[0]) if p[0] < p[1] else max(p[0], 2 * p[1]),
            min(1, 2 * p[1]) if p[1] < p[0] else max(p[1], 2 * p[0]),
        ]
    )
    assert "after Holm's adjustment over the 2 edge types" in found.table.iloc[0][c.RULE]


def test_a_saving_that_does_not_stand_beside_other_types():
    vague = with_carbide(Sample(0.8, 0.0256, 4)) | {ms.RUBBER: Use(Sample(0.3, 0.03, 3), 0, 0, 8000.0)}
    tried = (row(judged(uses=vague, edge_sets=dearer(price))) for price in range(800, 1300, 20))
    one = next(found for found in tried if found[c.P_VALUE] < 0.05 <= found[c.P_HOLM])
    assert one[c.VERDICT] == NOT_SHOWN and one[c.SAVING_LOW_PCT] > 0
    assert "several types being compared at once: best estimate " in one[c.SENTENCE]


def rounded(bound, smallest, **changed):
    """Carbide alone against steel whose wear has an error of rounding, under a rule that asks for a smallest saving."""
    given = {
        ms.STEEL: Use(Sample(2.0, 0.01, 4, 0.0, bound), 0, 0, 1e12),
        ms.CARBIDE: Use(Sample(0.8, 0.002, 4, 0.0, bound), 0, 0, 1e12),
    }
    return row(judged(Rule(smallest), uses=given, **changed))


@pytest.mark.parametrize("bound", [0.0, 0.1, 0.2])
def test_a_saving_beyond_the_smallest_is_better_exactly_where_its_interval_is(bound):
    # the rule as it is printed: better if the whole interval of the saving lies above the smallest saving
    low = rounded(bound, 0.0)[c.SAVING_LOW_PCT]
    assert low > 1
    for smallest in (low - 0.5, low - 0.01, low + 0.01, low + 0.5):
        one = rounded(bound, smallest)
        assert one[c.SAVING_LOW_PCT] == low
        assert one[c.VERDICT] == (BETTER if low > smallest else NOT_SHOWN)
        assert "several types" not in one[c.SENTENCE]


def test_several_types_are_named_as_the_reason_only_where_they_are():
    vague = with_carbide(Sample(0.8, 0.0256, 4)) | {ms.RUBBER: Use(Sample(0.3, 0.03, 3), 0, 0, 8000.0)}
    for rule in (Rule(), Rule(10.0), Rule(20.0, saving_judged_by="estimate")):
        for price in range(800, 5000, 200):
            one = row(judged(rule, uses=vague, edge_sets=dearer(price)))
            because = one[c.VERDICT] == NOT_SHOWN and one[c.P_VALUE] < 0.05 <= one[c.P_HOLM]
            enough = one[c.SAVING_PCT] >= rule.smallest_saving_pct or one[c.SAVING_PCT] < 0
            assert ("several types being compared at once" in one[c.SENTENCE]) == (because and enough)


def test_a_cost_that_is_not_shown_beside_other_types_says_so():
    # Holm (1979): of two p values the larger is not doubled, so a dearer type beside one of p near 1 stays as it is; the smaller is
    vague = with_carbide(Sample(0.8, 0.0256, 4)) | {ms.RUBBER: Use(Sample(0.3, 0.03, 3), 0, 0, 8000.0)}
    tried = (row(judged(uses=vague, edge_sets=dearer(price))) for price in range(2000, 5000, 20))
    one = next(found for found in tried if found[c.P_VALUE] < 0.05 <= found[c.P_HOLM])
    assert one[c.SAVING_HIGH_PCT] < 0 and one[c.VERDICT] == NOT_SHOWN
    assert (
        "is not shown to cost more than plain steel, several types being compared at once" in one[c.SENTENCE]
    )


def test_the_p_value_agrees_with_the_interval():
    for price in (800.0, 1000.0, 1200.0, 1400.0, 2500.0, 4000.0):
        found = estimate_costs(ms.cost_inputs(edge_sets=dearer(price)))
        compared = found.compared.iloc[0]
        shown = compared[c.CONF_HIGH] < 0 or compared[c.CONF_LOW] > 0
        assert shown == (check_rule(found, Rule()).table.iloc[0][c.P_VALUE] < 0.05)


def test_the_rule_is_printed_with_the_words_agreed():
    rule = Rule(10.0, agreed="Buy only what saves a tenth.")
    words = judged(rule).table.iloc[0][c.RULE]
    assert "lies above 10%" in words and words.endswith(
        "Agreed before the season: Buy only what saves a tenth."
    )
    assert "2.5%" in Rule(2.5).words()


def test_interim_verdicts_are_marked():
    found = judged(Rule(interim=True))
    assert all(sentence.endswith(f"({INTERIM}).") for sentence in found.sentences())
    assert any(INTERIM in note for note in found.notes)


def test_another_primary_measure_is_said():
    assert "The measure set to decide is life" in judged(Rule(primary_measure="life")).notes[0]
    agreed = judged(Rule(primary_measure="life", agreed="Buy what lasts."))
    assert "The measure agreed to decide is life" in agreed.notes[0]
    assert agreed.method.startswith("The rule agreed before the season")
    assert judged(Rule()).method.startswith("The rule as set for this trial")


def test_savings_have_a_question_of_their_own():
    saved = pd.DataFrame(
        [{c.EDGE_TYPE: ms.CARBIDE, c.ESTIMATE: 2.0, c.CONF_LOW: 1.9, c.CONF_HIGH: 2.1, c.SHOWN: "yes"}]
    )
    found = judged(savings=saved, edge_sets=dearer(1500.0))
    assert row(found)[c.VERDICT] == NOT_SHOWN and row(found, basis=WITH_SAVINGS)[c.VERDICT] == BETTER
    assert ", the material and passes saved included, costs" in row(found, basis=WITH_SAVINGS)[c.SENTENCE]
    assert "Carbide insert is better only with the material and passes saved." in found.notes


def test_lines_left_out_are_said():
    short = ms.costs()[lambda frame: (frame[c.ITEM] != "disposal") | (frame[c.EDGE_TYPE] != ms.CARBIDE)]
    found = judged(costs=short)
    assert (
        "The verdict on carbide insert leaves out disposal: what is not known for one of two types is left out of both."
        in found.notes
    )
    assert row(found)[c.SENTENCE].endswith(
        "Disposal, not known for carbide insert, is left out of both, which makes it look cheaper."
    )


def test_the_price_of_edges_alone_is_said_to_be_that():
    one = row(judged(costs=None, uses=with_carbide(Sample(0.3, 0.001, 4))))
    assert ", in the price of edges alone. Not recorded, so not counted: " in one[c.SENTENCE]
    assert "labor" in one[c.SENTENCE] and "conversion kits" not in one[c.SENTENCE].split(".")[1]
    assert "Conversion kits, not known for carbide insert, are left out of both" in one[c.SENTENCE]
    assert "edges alone" not in row(judged())[c.SENTENCE]


def test_where_no_wear_was_measured_only_the_end_of_the_interval_is_said():
    one = row(judged(uses=with_carbide(Sample(0.0, 0.0009, 4))))
    assert one[c.VERDICT] == BETTER
    assert one[c.SENTENCE] == (
        f"Carbide insert costs at least {one[c.SAVING_LOW_PCT]:.0f}% less per mile than plain steel (95% interval; no wear of it could be "
        "measured in 8,000 miles on 4 trucks)."
    )


def test_nothing_to_judge():
    found = judged(uses={ms.STEEL: ms.uses()[ms.STEEL]})
    assert found.table.empty and found.sentence() == "There is no edge type to judge."
    assert list(found.table.columns[:5]) == ["question", "edge_type", "verdict", "sentence", "rule"]
    assert set(decision.QUESTIONS) == {EDGES_ALONE, WITH_SAVINGS}
