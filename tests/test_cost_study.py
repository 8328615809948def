"""From a trial to its costs: what goes in, and what is said where something is missing."""

from pathlib import Path

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.report import cost_study, decision_words, life_study
from trialkit.trial import checks

DEMO = Path(__file__).parents[1] / "data_demo"
COSTS = """\
item,effective_from,edge_type,amount_usd,per,source
labour_regular,2030-07-01,,50,hour,shop
labour_overtime,2030-07-01,,70,hour,shop
truck_down,2030-07-01,,80,hour,shop
hardware_per_change,2030-07-01,,30,change,shop
"""
PLAN = """\
truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi
T1,front,800,1000,1500
T2,front,800,1000,1500
T3,front,800,1000,1500
T4,front,800,1000,1500
"""


def studied(folder, **options):
    trial = checks.check_trial(folder).require_clean()
    return cost_study.study_costs(trial, life_study.study_lives(trial), **options)


@pytest.fixture(scope="module")
def demo():
    return studied(DEMO)


def test_the_demo_has_every_table_of_the_contract(demo):
    assert list(demo.tables["cost"].columns[:8]) == [
        "edge_type",
        "cost_per_mi",
        "conf_low",
        "conf_high",
        "annual_cost",
        "npv",
        "break_even_life_ratio",
        "break_even_price",
    ]
    assert {"next_season", "next_season_fleet", "bids", "alternatives"} <= set(demo.tables)
    assert demo.inputs.plow_position == "front"
    assert set(demo.order.table["plow_position"]) == {"front", "wing_right"}


def test_a_plow_that_the_shop_forbids_to_change_is_bought_nothing_new_for(demo):
    """T-11 of the demo is a fixed plow on which only plain steel is allowed."""
    assert [one.truck_id for one in demo.kept] == ["T-11"]
    assert set(demo.order.table.query("truck_id == 'T-11'")["edge_type"]) == {"plain_steel"}
    assert demo.choices.table["n_positions"].iloc[0] == 11
    assert "T-11" not in demo.choices.busiest
    widths = demo.specification.set_index("property")["required"]["Width to be covered"]
    assert widths == "12 ft on 11 plows"  # the 9 ft wing and T-11 stay on plain steel
    first, second, *_ = decision_words.recommended_action(demo).sentences
    assert first.endswith("T-11 keeps plain steel.")
    assert second.startswith("T-11 stays with plain steel: Fixed plow without trip springs")
    assert "of plain steel for the front plow of T-11" in first
    assert "right wing" not in first  # none broke in 9,881 miles, and more than half of its set is left


def test_what_is_recommended_is_what_the_rule_finds_better(demo):
    assert demo.recommended == demo.verdicts.better()[0]
    front = demo.order.table.query("plow_position == 'front'").set_index("truck_id")["edge_type"]
    assert set(front.drop("T-11")) == {demo.recommended}
    assert set(demo.order.table.query("plow_position == 'wing_right'")["edge_type"]) == {"plain_steel"}
    assert len(demo.specification)


def test_breakage_is_that_which_was_seen(demo):
    carbide = demo.inputs.edge("carbide_insert").use
    # the planted season of the demo: two carbide sets broke, one section of the rubber-mounted type
    assert (carbide.breaks, carbide.section_breaks) == (2, 0)
    rubber = demo.inputs.edge("rubber_carbide").use
    assert (rubber.breaks, rubber.section_breaks) == (0, 1)


def test_depth_thrown_away_adds_up(demo):
    for edge in demo.inputs.edges:
        if edge.uneven_frac >= 0:
            assert 0 <= edge.early_frac <= 1 - edge.uneven_frac


def test_a_trial_without_prices_and_plan_says_so(tmp_path):
    found = studied(write_trial(tmp_path))
    assert cost_study.NO_COSTS in found.notes
    assert any("this season's stand in" in note for note in found.notes)
    assert found.bids is None
    assert "labor" in found.costs.table["unknown_lines"].iloc[0]


def test_no_bid_and_no_saving_are_made_up(tmp_path):
    found = studied(write_trial(tmp_path, costs=COSTS, fleet_plan=PLAN))
    assert found.costs.inputs.savings.empty
    assert "bids" not in found.tables
    assert found.costs.inputs.fleet_miles == 4000


def test_one_truck_per_type_is_not_enough_data(tmp_path):
    kept = {
        name: "\n".join(
            line for line in TABLES[name].splitlines() if not line.startswith(("T3", "T4", "S3", "S4"))
        )
        + "\n"
        for name in ("trucks", "edge_sets", "set_events", "wear_readings")
    }
    found = studied(write_trial(tmp_path, costs=COSTS, **kept))
    assert set(found.verdicts.table["verdict"]) == {"not_enough_data"}
    assert found.recommended == "plain_steel"
    assert found.nearest == "carbide_insert"
    assert found.specification.empty


def test_without_a_life_nothing_is_said_of_cost(tmp_path):
    first = [line for line in TABLES["wear_readings"].splitlines() if line.endswith((",yes", "baseline"))]
    found = studied(write_trial(tmp_path, wear_readings="\n".join(first) + "\n", costs=COSTS))
    assert found.costs is None
    assert found.tables == {}
    assert found.notes == (cost_study.NO_LIFE,)
    assert cost_study.what_if_table(found, price_change_pct=10) is None


def test_the_rule_is_that_of_the_settings(tmp_path):
    folder = write_trial(tmp_path)
    (folder / "trial.toml").write_text(
        f'{SETTINGS}\n[plan]\nsmallest_worthwhile_saving_pct = 12.0\nsaving_judged_by = "estimate"\ndecision_rule = "As agreed."\n'
    )
    rule = cost_study.agreed_rule(checks.check_trial(folder).require_clean(), interim=True)
    assert (rule.smallest_saving_pct, rule.saving_judged_by, rule.agreed, rule.interim) == (
        12.0,
        "estimate",
        "As agreed.",
        True,
    )


def test_what_if_moves_the_cost_the_right_way(demo):
    table = cost_study.what_if_table(demo, price_change_pct=50.0).table
    carbide = table[table["edge_type"] == "carbide_insert"]["cost_per_mi"].to_list()
    assert carbide[1] > carbide[0]
    assert cost_study.what_if_table(demo).table["variant"].nunique() == 1
