"""Cost per blade-down mile: lines by hand, intervals, differences, and what is said of missing figures."""

import math

import money_samples as ms
import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.money import costs, lines, prices
from trialkit.money.cost_differences import EDGES_ALONE, WITH_SAVINGS
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample


def amounts(found: costs.Costs, edge_type: str) -> dict[str, float]:
    rows = found.lines[found.lines[c.EDGE_TYPE] == edge_type]
    return dict(zip(rows[c.LINE], rows[c.ESTIMATE], strict=True))


def row(found: costs.Costs, edge_type: str) -> pd.Series:
    return found.table.set_index(c.EDGE_TYPE).loc[edge_type]


def test_every_line_of_a_set_by_hand():
    # by hand: 2 sets per 1,000 mi; 3 h at 50, 3 h down at 80; 300 a year over 3 x 2,000 mi; no breakage
    found = amounts(costs.estimate_costs(ms.cost_inputs()), ms.STEEL)
    assert found == pytest.approx(
        {
            "sets": 0.8, "hardware_per_change": 0.08, "labour_regular": 0.3, "labour_overtime": 0.0, "truck_down": 0.48,
            "disposal": -0.02, "breakage": 0.0, "conversion_kit": 0.0, "stock_holding": 0.05,
        }
    )  # fmt: skip


def test_every_line_of_sections_by_hand():
    # by hand: 5 places x 0.2 sections per 1,000 mi = 1 section per 1,000 mi, each a fifth of 2,500, of 40 and of 20; 1 h of
    # overtime at 75, 1 h down at 80; a kit of 100 at UCR(3 %, 10 y) = 0.1172305 over 2,000 mi
    found = amounts(costs.estimate_costs(ms.cost_inputs()), ms.RUBBER)
    assert found == pytest.approx(
        {
            "sets": 0.5, "hardware_per_change": 0.008, "labour_regular": 0.0, "labour_overtime": 0.075, "truck_down": 0.08,
            "disposal": 0.004, "breakage": 0.0, "conversion_kit": 11.72305 / 2000, "stock_holding": 0.05,
        },
        rel=1e-6,
    )  # fmt: skip


def test_the_total_is_the_sum_of_the_lines_and_the_season_the_miles_times_it():
    found = costs.estimate_costs(ms.cost_inputs())
    for kind in (ms.STEEL, ms.CARBIDE, ms.RUBBER):
        cost = row(found, kind)
        assert cost[c.COST_PER_MI] == pytest.approx(sum(amounts(found, kind).values()))
        assert cost[c.ANNUAL_COST] == pytest.approx(6000 * cost[c.COST_PER_MI])
        assert cost[c.CONF_LOW] < cost[c.COST_PER_MI] < cost[c.CONF_HIGH]


def test_the_interval_of_a_cost_without_other_doubt_is_that_of_the_life():
    # by hand: cost = 1.64 per set and 1,000 mi beside the yearly 0.05; t(0.975, 3 df) = 3.1824 (Student's table)
    inputs = ms.cost_inputs(uses={ms.STEEL: Use(Sample(2.0, 0.16, 4), 0, 0, 1e12)}, n_draws=200_000)
    found = row(costs.estimate_costs(inputs), ms.STEEL)
    half = 3.1824 * math.sqrt(0.16 / 4) / 1000 * 820
    assert found[c.CONF_LOW] == pytest.approx(1.69 - half, abs=0.01)
    assert found[c.CONF_HIGH] == pytest.approx(1.69 + half, abs=0.01)


def test_wear_that_may_be_nothing_gives_a_cost_with_a_lower_bound():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.1, 0.04, 3), 0, 0, 8000.0)}
    found = costs.estimate_costs(ms.cost_inputs(uses=given))
    cost = row(found, ms.CARBIDE)
    assert cost[c.CONF_LOW] == pytest.approx(0.05, abs=0.002)  # the yearly amounts and a little breakage
    assert 0 < cost[c.COST_PER_MI] < cost[c.CONF_HIGH] < math.inf
    given = ms.uses() | {ms.CARBIDE: Use(Sample(-0.01, 0.0004, 3), 0, 0, 8000.0)}
    found = costs.estimate_costs(ms.cost_inputs(uses=given))
    assert row(found, ms.CARBIDE)[c.COST_PER_MI] == pytest.approx(0.05)
    assert "No wear of carbide insert was measured" in " ".join(found.notes)


def test_rounding_that_does_not_average_out_widens_both_ends():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, 0.0256, 4, 0.0, 0.1), 0, 0, 8000.0)}
    plain, wide = (
        row(costs.estimate_costs(ms.cost_inputs(uses=one)), ms.CARBIDE) for one in (ms.uses(), given)
    )
    assert plain[c.CONF_LOW] - wide[c.CONF_LOW] == pytest.approx(0.1 * 1.22, rel=0.02)
    assert wide[c.CONF_HIGH] - plain[c.CONF_HIGH] == pytest.approx(0.1 * 1.22, rel=0.02)


def test_one_truck_has_a_cost_and_no_interval():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 2000.0)}
    found = costs.estimate_costs(ms.cost_inputs(uses=given))
    cost = row(found, ms.CARBIDE)
    assert math.isfinite(cost[c.COST_PER_MI]) and math.isnan(cost[c.CONF_LOW])
    assert math.isnan(found.compared.iloc[0][c.CHANCE_CHEAPER])
    assert "The cost of carbide insert rests on 1 truck and has no interval." in found.notes
    assert "(1 truck)" in found.sentences()[1]


def test_no_wear_at_all_that_was_read_has_no_cost():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(math.nan, math.nan, 0))}
    found = costs.estimate_costs(ms.cost_inputs(uses=given))
    assert math.isnan(row(found, ms.CARBIDE)[c.COST_PER_MI])
    assert "What carbide insert costs per blade-down mile is not known." in found.sentences()


def test_breakage_counts_once():
    found = amounts(costs.estimate_costs(ms.cost_inputs(uses=ms.uses(breaks=2))), ms.STEEL)
    # by hand: 2 breaks in 8,000 mi; with a life of 500 mi exp(-0.125) of the sets wear out
    broken = 2 / 8000
    worn = broken / math.expm1(broken * 500)
    assert found["sets"] == pytest.approx(400 * worn)
    assert found["breakage"] == pytest.approx(broken * (400 + 40 + 150 + 240 - 10))
    assert worn + broken == pytest.approx(broken / -math.expm1(-broken * 500))


def test_worn_out_and_broken_sets_as_simulated():
    rng = np.random.default_rng(3)
    for use, breaks in ((0.002, 0.001), (0.0005, 0.002)):
        life, worn, ran = 1 / use, 0, 0.0
        ended = np.minimum(rng.exponential(1 / breaks, 200_000), life)
        worn, ran = int((ended == life).sum()), float(ended.sum())
        assert lines.worn_out_rate(use, breaks) == pytest.approx(worn / ran, rel=0.02)
        assert lines.life_use(lines.worn_out_rate(use, breaks), breaks) == pytest.approx(use)


def test_a_missing_amount_is_unknown_and_the_total_says_so():
    short = ms.costs()[lambda frame: frame[c.ITEM] != "truck_down"]
    found = costs.estimate_costs(ms.cost_inputs(costs=short))
    cost = row(found, ms.STEEL)
    assert cost[c.UNKNOWN_LINES] == "truck down time"
    assert cost[c.COST_PER_MI] == pytest.approx(1.69 - 0.48)
    of_line = found.lines[
        (found.lines[c.LINE] == "truck_down") & (found.lines[c.EDGE_TYPE] == ms.STEEL)
    ].iloc[0]
    assert math.isnan(of_line[c.ESTIMATE]) and of_line[c.KNOWN] == "no"
    assert found.sentences()[0].endswith(
        "(95% interval; 4 trucks). Not included because not known: truck down time."
    )
    assert (
        "Not known for plain steel, carbide insert and rubber-mounted carbide: truck down time. They are in no total, and never taken as "
        "zero: record the amounts, with 0 where nothing is paid."
    ) in found.notes


def test_a_kit_per_something_that_does_not_fit_is_not_free():
    wrong = ms.costs()
    wrong.loc[wrong[c.ITEM] == "conversion_kit", c.PER] = "hour"
    found = costs.estimate_costs(ms.cost_inputs(costs=wrong))
    assert row(found, ms.RUBBER)[c.UNKNOWN_LINES] == "conversion kits"
    assert row(found, ms.STEEL)[c.UNKNOWN_LINES] == ""
    assert (
        "The amount of conversion kits is given per hour, which does not fit; it may be per set, change or year. It is taken as "
        "unknown."
    ) in found.notes


def test_no_costs_at_all_leave_the_price_of_the_sets():
    found = costs.estimate_costs(ms.cost_inputs(costs=None))
    assert row(found, ms.STEEL)[c.COST_PER_MI] == pytest.approx(0.8)
    assert row(found, ms.STEEL)[c.UNKNOWN_LINES].count(",") >= 3


def test_an_unknown_price_leaves_no_cost():
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = math.nan
    found = costs.estimate_costs(ms.cost_inputs(edge_sets=sets))
    assert math.isnan(row(found, ms.CARBIDE)[c.COST_PER_MI])
    assert math.isnan(found.compared.iloc[0][c.CONF_LOW])
    assert "No price of a set of carbide insert is recorded, so its cost is not known." in found.notes
    assert (
        "The cost of carbide insert cannot be set against that of plain steel."
        in found.difference_sentences()
    )


def savings(shown: str = "yes") -> pd.DataFrame:
    row = {c.EDGE_TYPE: ms.RUBBER, c.ESTIMATE: 0.10, c.CONF_LOW: 0.04, c.CONF_HIGH: 0.20, c.SHOWN: shown}
    return pd.DataFrame([row])


def test_savings_that_were_shown_are_a_line_of_their_own():
    without, saved = (costs.estimate_costs(ms.cost_inputs(savings=one)) for one in (None, savings()))
    assert row(saved, ms.RUBBER)[c.COST_PER_MI] == row(without, ms.RUBBER)[c.COST_PER_MI]
    line = saved.lines[saved.lines[c.LINE].str.startswith(lines.SAVED)].iloc[0]
    assert (line[c.ESTIMATE], line[c.CONF_LOW], line[c.CONF_HIGH]) == (-0.10, -0.20, -0.04)
    assert line[costs.OF_WHICH] == "yes"
    both = saved.compared[saved.compared[c.EDGE_TYPE] == ms.RUBBER].set_index(c.BASIS)[c.ESTIMATE]
    assert both[EDGES_ALONE] - both[WITH_SAVINGS] == pytest.approx(0.10)


def test_drawn_savings_have_the_ends_of_their_interval():
    from trialkit.money.draws import draw_savings

    found = draw_savings(ms.cost_inputs(savings=savings(), n_draws=200_000), ms.RUBBER)
    assert np.quantile(found, [0.025, 0.5, 0.975]) == pytest.approx([0.04, 0.10, 0.20], abs=0.002)


def test_savings_that_were_not_shown_count_for_nothing_and_are_named():
    found = costs.estimate_costs(ms.cost_inputs(savings=savings("no")))
    assert not found.lines[c.LINE].str.startswith(lines.SAVED).any()
    assert (
        "A saving in material and passes with rubber-mounted carbide was not shown, so nothing is counted for it."
        in found.notes
    )
    missing = savings().assign(**{c.CONF_LOW: math.nan})
    assert any(
        "has no interval" in note for note in costs.estimate_costs(ms.cost_inputs(savings=missing)).notes
    )


def test_depth_thrown_away_is_part_of_the_sets_and_not_added():
    unused = pd.DataFrame({c.EDGE_TYPE: [ms.STEEL], "uneven_frac": [0.1], "early_frac": [0.05]})
    found = costs.estimate_costs(ms.cost_inputs(unused=unused))
    line = found.lines[found.lines[c.LINE] == lines.UNUSED].iloc[0]
    assert line[c.ESTIMATE] == pytest.approx(0.08) and line[costs.OF_WHICH] == "yes"
    assert row(found, ms.STEEL)[c.COST_PER_MI] == pytest.approx(1.69)


def test_the_same_seed_gives_the_same_costs_and_another_type_changes_none_of_them():
    first, again = (costs.estimate_costs(ms.cost_inputs()) for _ in range(2))
    pd.testing.assert_frame_equal(first.table, again.table)
    two = {name: use for name, use in ms.uses().items() if name != ms.RUBBER}
    fewer = costs.estimate_costs(ms.cost_inputs(uses=two))
    pd.testing.assert_series_equal(row(first, ms.CARBIDE), row(fewer, ms.CARBIDE))


def test_a_cheaper_and_a_dearer_type_in_words():
    found = costs.estimate_costs(ms.cost_inputs())
    assert found.difference_sentences()[0].startswith("Carbide insert costs $0.66 ($0.")
    sets = ms.edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == ms.CARBIDE, c.UNIT_PRICE_USD] = 4000.0
    dear = costs.estimate_costs(ms.cost_inputs(edge_sets=sets))
    assert "per blade-down mile more than plain steel" in dear.difference_sentences()[0]
    assert "below 1%" in dear.difference_sentences()[0]
    with display.showing("metric"):
        assert "per blade-down kilometer" in found.sentences()[0]


def test_a_trial_without_the_reference_is_not_compared():
    given = {name: use for name, use in ms.uses().items() if name != ms.STEEL}
    found = costs.estimate_costs(ms.cost_inputs(uses=given))
    assert found.compared.empty and len(found.table) == 2
    assert costs.estimate_costs(ms.cost_inputs(uses={})).sentence().startswith("No cost can be stated")


def test_without_a_plan_the_yearly_lines_are_unknown():
    from trialkit.money.season import season_miles

    found = costs.estimate_costs(ms.cost_inputs(plan=season_miles(None, ms.trucks())))
    assert row(found, ms.RUBBER)[c.UNKNOWN_LINES] == "conversion kits and stock holding"
    assert math.isnan(row(found, ms.STEEL)[c.ANNUAL_COST])
    assert any("No miles are planned" in note for note in found.notes)


def test_items_have_words():
    assert set(prices.ITEM_WORDS) == set(prices.ITEMS) and set(lines.LINES) <= set(lines.LINE_WORDS)


def test_overtime_is_not_nothing_where_neither_hours_nor_storms_are_recorded():
    events = ms.set_events().assign(**{c.DURING_STORM: None, c.LABOUR_H: math.nan})
    found = costs.estimate_costs(ms.cost_inputs(set_events=events))
    unknown = found.lines[found.lines[c.KNOWN] == "no"]
    assert {"labour_regular", "labour_overtime"} <= set(unknown[c.LINE])
    known = costs.estimate_costs(ms.cost_inputs(set_events=ms.set_events().assign(**{c.DURING_STORM: None})))
    assert not (known.lines[known.lines[c.KNOWN] == "no"][c.LINE] == "labour_overtime").any()
