"""Alternatives for a council: costs of a season, cash, and what is said of each."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import alternatives as al
from trialkit.money.costs import estimate_costs
from trialkit.money.inputs import Use
from trialkit.money.kept import Kept
from trialkit.stats.inference import Sample

MILES = (4000.0, 1000.0, 2000.0)


def costed(**changed):
    inputs = ms.cost_inputs(plan=ms.plan(MILES), **changed)
    return al.cost_alternatives(
        estimate_costs(inputs), ms.CARBIDE, trial_trucks={"T-2": ms.CARBIDE, "T-1": ms.STEEL}
    )


def test_the_whole_fleet_no_change_and_all_between():
    found = costed()
    rows = found.table.set_index(al.ALTERNATIVE)
    costs = estimate_costs(ms.cost_inputs(plan=ms.plan(MILES))).table.set_index(c.EDGE_TYPE)[c.COST_PER_MI]
    steel, carbide = costs[ms.STEEL], costs[ms.CARBIDE]
    assert rows.loc[al.WHOLE_FLEET, c.ANNUAL_COST] == pytest.approx(7000 * carbide)
    assert rows.loc[al.NO_CHANGE, c.ANNUAL_COST] == pytest.approx(7000 * steel)
    assert rows.loc[al.BUSIEST, c.ANNUAL_COST] == pytest.approx(4000 * carbide + 3000 * steel)
    assert rows.loc[al.EXTEND, c.ANNUAL_COST] == pytest.approx(1000 * carbide + 6000 * steel)
    for name, miles in ((al.WHOLE_FLEET, 7000), (al.BUSIEST, 4000), (al.EXTEND, 1000), (al.NO_CHANGE, 0)):
        row = rows.loc[name]
        assert row[al.SAVING] == pytest.approx(miles * (steel - carbide))
        assert row[al.SAVING_LOW] <= row[al.SAVING] <= row[al.SAVING_HIGH]
        assert row[c.ANNUAL_LOW] < row[c.ANNUAL_COST] < row[c.ANNUAL_HIGH]
        assert row[al.RISK] and row[al.NOT_KNOWN]
    assert found.busiest == ("T-1",)
    assert math.copysign(1, rows.loc[al.NO_CHANGE, al.SAVING_LOW]) == 1


def test_a_truck_that_keeps_its_type_changes_in_no_alternative():
    found = al.cost_alternatives(
        estimate_costs(ms.cost_inputs(plan=ms.plan(MILES))),
        ms.CARBIDE,
        kept=[
            Kept("T-1", "front", ms.STEEL, "fixed plow"),
            Kept("T-2", "wing_left", ms.STEEL, "other place"),
        ],
    )
    rows = found.table.set_index(al.ALTERNATIVE)
    costs = estimate_costs(ms.cost_inputs(plan=ms.plan(MILES))).table.set_index(c.EDGE_TYPE)[c.COST_PER_MI]
    steel, carbide = costs[ms.STEEL], costs[ms.CARBIDE]
    assert rows.loc[al.WHOLE_FLEET, al.N_POSITIONS] == 2
    assert rows.loc[al.WHOLE_FLEET, c.ANNUAL_COST] == pytest.approx(3000 * carbide + 4000 * steel)
    assert rows.loc[al.WHOLE_FLEET, al.SAVING] == pytest.approx(3000 * (steel - carbide))
    assert rows.loc[al.WHOLE_FLEET, al.OUTFIT_CASH] == pytest.approx(2 * 800)
    assert found.busiest == ("T-3",)
    assert found.sentences()[0].startswith("Carbide insert on every truck that can change (2 trucks)")
    assert "T-1 stays with plain steel: fixed plow." in found.notes


def test_a_truck_that_keeps_another_type_is_the_same_on_both_sides():
    inputs = ms.cost_inputs(plan=ms.plan(MILES))
    found = al.cost_alternatives(
        estimate_costs(inputs), ms.CARBIDE, kept=[Kept("T-3", "front", ms.RUBBER, "its own")]
    )
    rows = found.table.set_index(al.ALTERNATIVE)
    costs = estimate_costs(inputs).table.set_index(c.EDGE_TYPE)[c.COST_PER_MI]
    assert rows.loc[al.NO_CHANGE, c.ANNUAL_COST] == pytest.approx(
        5000 * costs[ms.STEEL] + 2000 * costs[ms.RUBBER]
    )
    assert rows.loc[al.NO_CHANGE, al.SAVING] == 0
    assert rows.loc[al.WHOLE_FLEET, al.SAVING] == pytest.approx(5000 * (costs[ms.STEEL] - costs[ms.CARBIDE]))
    assert "No change: plain steel on every truck but T-3" in found.sentences()[-1]
    every = [Kept(f"T-{n}", "front", ms.STEEL, "fixed") for n in (1, 2, 3)]
    none = al.cost_alternatives(estimate_costs(inputs), ms.CARBIDE, kept=every)
    assert none.table.empty and "every truck keeps its edge type" in none.notes[0]


def test_a_truck_that_keeps_a_type_without_a_cost_is_left_out_and_named():
    inputs = ms.cost_inputs(plan=ms.plan(MILES))
    found = al.cost_alternatives(
        estimate_costs(inputs), ms.CARBIDE, kept=[Kept("T-1", "front", "ceramic_insert", "on loan")]
    )
    steel = estimate_costs(inputs).table.set_index(c.EDGE_TYPE).loc[ms.STEEL, c.COST_PER_MI]
    rows = found.table.set_index(al.ALTERNATIVE)
    assert rows.loc[al.NO_CHANGE, c.ANNUAL_COST] == pytest.approx(3000 * steel)
    assert any("no cost of the edge type that is kept is known: T-1." in note for note in found.notes)


def test_the_first_outfit_is_paid_by_the_trucks_that_change():
    rows = costed().table.set_index(al.ALTERNATIVE)
    assert rows.loc[al.WHOLE_FLEET, al.OUTFIT_CASH] == pytest.approx(3 * 800)
    assert rows.loc[al.BUSIEST, al.OUTFIT_CASH] == pytest.approx(800)
    assert rows.loc[al.EXTEND, al.OUTFIT_CASH] == rows.loc[al.NO_CHANGE, al.OUTFIT_CASH] == 0
    # by hand: 2 sets of 400 per 1,000 mi, no breakage
    assert rows.loc[al.NO_CHANGE, al.STEADY] == pytest.approx(7 * 2 * 400)
    assert rows.loc[al.WHOLE_FLEET, al.FIRST_YEAR] > rows.loc[al.WHOLE_FLEET, al.OUTFIT_CASH]


def test_kits_are_part_of_the_first_outfit():
    found = al.cost_alternatives(estimate_costs(ms.cost_inputs(plan=ms.plan(MILES))), ms.RUBBER)
    rows = found.table.set_index(al.ALTERNATIVE)
    assert rows.loc[al.WHOLE_FLEET, al.OUTFIT_CASH] == pytest.approx(3 * (2500 + 100))
    assert al.EXTEND not in rows.index


def test_what_is_said_of_each():
    said = costed().sentences()
    assert said[0].startswith("Carbide insert on the whole fleet (3 trucks): $")
    assert said[1].startswith("Carbide insert on the busiest routes only (1 truck, 57% of the miles): $")
    assert said[2].startswith("The trial goes on for another winter (1 truck with other types): $")
    assert said[3].startswith("No change: plain steel on every truck: $")
    assert "T-1." in costed().notes[1]
    risks = costed(uses=ms.uses(breaks=2)).table[al.RISK]
    assert "2 edges broke or were lost in 8,000 miles" in risks[0]


def test_without_an_interval_or_without_miles():
    given = ms.uses() | {ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 2000.0)}
    found = costed(uses=given)
    assert found.table[c.ANNUAL_LOW].isna().all() and "no interval" in found.sentences()[0]
    from trialkit.money.season import season_miles

    empty = ms.cost_inputs(plan=season_miles(None, ms.trucks()))
    nothing = al.cost_alternatives(estimate_costs(empty), ms.CARBIDE)
    assert nothing.table.empty and nothing.sentence().startswith("No alternatives can be costed")


def without_down_time_of_rubber():
    """Down time has a price for steel and carbide only."""
    rows = ms.costs()
    down = rows[rows[c.ITEM] == "truck_down"]
    own = [down.assign(**{c.EDGE_TYPE: kind}) for kind in (ms.STEEL, ms.CARBIDE)]
    return pd.concat([rows[rows[c.ITEM] != "truck_down"], *own])


def test_a_saving_and_its_interval_are_over_the_same_lines():
    inputs = ms.cost_inputs(plan=ms.plan(MILES), costs=without_down_time_of_rubber())
    trial = {"T-2": ms.CARBIDE, "T-3": ms.RUBBER}
    found = al.cost_alternatives(estimate_costs(inputs), ms.CARBIDE, trial_trucks=trial)
    rows = found.table.set_index(al.ALTERNATIVE)
    # the same alternatives where nobody has a price of down time: then no line is left out of one and counted in the other
    nowhere = ms.costs()[lambda frame: frame[c.ITEM] != "truck_down"]
    same = al.cost_alternatives(
        estimate_costs(ms.cost_inputs(plan=ms.plan(MILES), costs=nowhere)), ms.CARBIDE, trial_trucks=trial
    ).table.set_index(al.ALTERNATIVE)
    for name in (al.SAVING, al.SAVING_LOW, al.SAVING_HIGH):
        assert rows.loc[al.WHOLE_FLEET, name] == pytest.approx(same.loc[al.WHOLE_FLEET, name])
    # by hand, 7,000 miles: steel 2 x (0.42 + 0.15 + 0.04 - 0.01 ...) less carbide 0.8 x ..., without 0.24 of down time a change
    assert rows.loc[al.WHOLE_FLEET, al.SAVING] == pytest.approx(7000 * (2 * 0.58 - 0.8 * 0.98))
    assert any("truck down time" in note for note in found.notes)


def test_a_kit_without_a_price_leaves_the_first_outfit_unknown():
    short = ms.costs()[lambda frame: frame[c.ITEM] != "conversion_kit"]
    found = al.cost_alternatives(estimate_costs(ms.cost_inputs(costs=short)), ms.RUBBER)
    rows = found.table.set_index(al.ALTERNATIVE)
    for name in (al.WHOLE_FLEET, al.BUSIEST):
        assert math.isnan(rows.loc[name, al.OUTFIT_CASH]) and math.isnan(rows.loc[name, al.FIRST_YEAR])
        assert math.isfinite(rows.loc[name, al.STEADY])
    assert rows.loc[al.NO_CHANGE, al.OUTFIT_CASH] == 0
    assert (
        "What the conversion kits of rubber-mounted carbide cost is not recorded, so what is bought in the first year is not known."
    ) in found.notes


def test_lines_that_are_not_known_for_all_are_left_out_and_named():
    short = ms.costs()[lambda frame: frame[c.ITEM] != "truck_down"]
    assert any("truck down time" in note for note in costed(costs=short).notes)
