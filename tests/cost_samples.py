"""Studies of cost made by hand from the small samples of money, each with another verdict."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
from money_samples import CARBIDE, LABELS, RUBBER, STEEL, cost_inputs, plan, trucks, uses

from trialkit import columns as c
from trialkit.money import (
    alternatives,
    bids,
    break_even,
    cost_sensitivity,
    costs,
    decision,
    life_cycle,
    order,
)
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.inputs import Use
from trialkit.report.cost_study import NO_LIFE, CostStudy
from trialkit.stats.inference import Sample

CARRIED = {"T-1": STEEL, "T-2": CARBIDE, "T-3": RUBBER}
DRAWS = 2_000


def use(mean, variance, n=4, breaks=0):
    return Use(Sample(mean, variance, n), breaks, 0, 8000.0)


def not_shown():
    """Carbide may save or cost: its wear differs much from truck to truck."""
    return {STEEL: use(2.0, 0.6), CARBIDE: use(0.8, 0.25, breaks=2)}


def dearer():
    """Carbide lasts as long as steel and costs twice as much."""
    return {STEEL: use(2.0, 0.02), CARBIDE: use(2.0, 0.02)}


def one_truck():
    """Carbide was read on a single truck."""
    return {STEEL: use(2.0, 0.16), CARBIDE: use(0.8, math.nan, n=1)}


def offered(*rows) -> pd.DataFrame:
    """Bids: name, edge type, price, whether the specification is met."""
    return pd.DataFrame(rows, columns=[c.BID, c.EDGE_TYPE, c.PRICE_PER_SET_USD, c.MEETS_SPEC])


def study(of=None, *, rule=None, bid_rows=None, supplied=None, **given) -> CostStudy:
    """A study of cost on three trucks with front plows."""
    inputs = replace(cost_inputs(uses=of or uses(), **given), n_draws=DRAWS)
    found = costs.estimate_costs(inputs)
    verdicts = decision.check_rule(found, rule or decision.Rule(10.0))
    better = verdicts.better()
    alone = found.compared[found.compared[c.BASIS] == EDGES_ALONE].dropna(subset=[c.SAVING_PCT])
    nearest = (
        better[0]
        if better
        else str(alone.sort_values(c.SAVING_PCT).iloc[-1][c.EDGE_TYPE])
        if len(alone)
        else ""
    )
    recommended = better[0] if better else inputs.reference
    wanted = trucks(len(inputs.plan.table)).assign(**{c.EDGE_TYPE: recommended})
    return CostStudy(
        costs=found,
        cycle=life_cycle.estimate_life_cycle(inputs),
        even=break_even.find_break_even(inputs),
        verdicts=verdicts,
        recommended=recommended,
        nearest=nearest,
        choices=alternatives.cost_alternatives(found, nearest, trial_trucks=CARRIED) if nearest else None,
        order=order.project_order(wanted, [inputs], inputs.plan, n_draws=DRAWS) if len(wanted) else None,
        sensitivity=cost_sensitivity.estimate_sensitivity(inputs),
        bids=bids.compare_bids(offered(*bid_rows), inputs) if bid_rows else None,
        specification=pd.DataFrame(),
        labels=LABELS,
        notes=found.notes,
        supplied=supplied or {},
    )


def nothing() -> CostStudy:
    """No life of any edge type is known."""
    return CostStudy(
        None, None, None, None, STEEL, "", None, None, None, None, pd.DataFrame(), LABELS, (NO_LIFE,)
    )  # fmt: skip


def only_the_reference() -> CostStudy:
    return study({STEEL: uses()[STEEL]})


def without_costs() -> CostStudy:
    return study(costs=None)


def without_plan() -> CostStudy:
    return study(plan=plan(()))
