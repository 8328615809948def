"""The cost verdict without one truck at a time: it is the verdict of a trial that never had the truck."""

from dataclasses import replace

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.money import without_trucks as wt
from trialkit.money.costs import estimate_costs
from trialkit.money.decision import Rule, check_rule
from trialkit.money.inputs import Use
from trialkit.stats.inference import Sample
from trialkit.verdicts import BETTER, NOT_ENOUGH_DATA, NOT_SHOWN

STEADY = {ms.STEEL: [2.0, 2.2, 1.8, 2.0], ms.CARBIDE: [0.5, 0.55, 0.45, 0.5]}
LEANS_ON_ONE = {ms.STEEL: [2.0, 2.2, 1.8, 2.0], ms.CARBIDE: [1.0, 1.1, 2.3, 0.9]}


def trucks(uses) -> pd.DataFrame:
    rows = [
        ("front", kind, f"{kind[:2]}-{n}, front", f"{kind[:2]}-{n}", use)
        for kind, values in uses.items()
        for n, use in enumerate(values)
    ]
    names = [c.PLOW_POSITION, c.EDGE_TYPE, c.TRUCK_UNIT, c.TRUCK_ID, c.USE_PER_1000_MI]
    return pd.DataFrame(rows, columns=names)


def inputs(uses):
    given = {kind: Use(Sample.of(values), 0, 0, 8000.0) for kind, values in uses.items()}
    return replace(ms.cost_inputs(uses=given), n_draws=4000)


def left_out(uses, rule=Rule()):  # noqa: B008
    return wt.leave_out_trucks(inputs(uses), trucks(uses), rule, ms.CARBIDE)


def test_each_row_is_the_trial_without_that_truck():
    found = left_out(STEADY)
    assert list(found.table[c.TRUCK_ID]) == [f"{kind}-{n}" for kind in ("ca", "pl") for n in range(4)]
    row = found.table.set_index(c.TRUCK_ID).loc["ca-1"]
    never = {**STEADY, ms.CARBIDE: [0.5, 0.45, 0.5]}
    judged = check_rule(estimate_costs(inputs(never)), Rule()).table.iloc[0]
    assert row[c.SAVING_PCT] == pytest.approx(judged[c.SAVING_PCT])
    assert row[c.SAVING_LOW_PCT] == pytest.approx(judged[c.SAVING_LOW_PCT])
    assert found.sentence().startswith("With any one of 8 trucks left out, carbide insert costs ")
    assert found.sentence().endswith('% less by the best estimate, and the verdict on cost stays "better".')


def test_a_verdict_that_hangs_on_one_truck_names_it():
    found = left_out(LEANS_ON_ONE)
    assert found.verdict == NOT_SHOWN
    assert found.table.set_index(c.TRUCK_ID)[c.VERDICT]["ca-2"] == BETTER
    assert 'the verdict on cost, "not shown" with all of them, is ' in found.sentence()
    assert '"better" without ca-2' in found.sentence()


def test_two_trucks_each_leave_too_few():
    found = left_out({kind: values[:2] for kind, values in STEADY.items()})
    assert set(found.table[c.VERDICT]) <= {NOT_ENOUGH_DATA}
    assert '"not enough data" without' in found.sentence()


def test_nothing_is_left_out_where_nothing_is_found():
    found = left_out({ms.STEEL: [2.0, 2.1], ms.CARBIDE: [0.5]})
    assert found.table.empty and found.sentence() == ""


def test_a_truck_that_carried_both_is_left_out_of_both():
    uses = {ms.STEEL: [2.0, 2.2, 1.8], ms.CARBIDE: [0.5, 0.55, 0.45]}
    rows = trucks(uses)
    same = rows.assign(**{c.TRUCK_UNIT: ["A", "B", "C"] * 2, c.TRUCK_ID: ["A", "B", "C"] * 2})
    found = wt.leave_out_trucks(inputs(uses), same, Rule(), ms.CARBIDE)
    assert list(found.table[c.TRUCK_ID]) == ["A", "B", "C"]
    never = check_rule(
        estimate_costs(inputs({ms.STEEL: [2.2, 1.8], ms.CARBIDE: [0.55, 0.45]})), Rule()
    ).table.iloc[0]
    assert found.table[c.SAVING_PCT].iloc[0] == pytest.approx(never[c.SAVING_PCT])


def test_without_measured_wear_the_saving_is_said_from_below():
    found = left_out({ms.STEEL: STEADY[ms.STEEL], ms.CARBIDE: [0.0, 0.02, -0.02, 0.0]})
    low = found.table[c.SAVING_LOW_PCT].min()
    assert f"carbide insert costs at least {low:.0f}% less, and the verdict" in found.sentence()
