"""From a trial folder before its season to what the trial can show of savings.

Answers: what does a set of each edge type cost, as far as that is known before the season, and which saving follows?
"""

from __future__ import annotations

from collections.abc import Mapping

from trialkit import columns as c
from trialkit.money.prices import set_prices
from trialkit.planning import savings, sizing
from trialkit.report import study
from trialkit.trial.checks import Trial

BIDS = "bids"


def prices_of_sets(trial: Trial) -> dict[str, tuple[float, str]]:
    """Edge type to the price of a set and the table that says so: what was paid for the sets, else the lowest bid that may do."""
    found: dict[str, tuple[float, str]] = {}
    if trial.has(BIDS):
        bids = trial[BIDS]
        offered = bids[(bids[c.MEETS_SPEC].astype(object) != "no").to_numpy()]
        for kind, price in (
            offered.groupby(offered[c.EDGE_TYPE].astype(str))[c.PRICE_PER_SET_USD].min().items()
        ):
            found[str(kind)] = (float(price), BIDS)
    if trial.has(study.SETS):
        for kind, price in set_prices(trial[study.SETS])[c.PRICE].dropna().items():
            found[str(kind)] = (float(price), study.SETS)
    return {kind: known for kind, known in found.items() if kind in study.labels(trial) and known[0] > 0}


def savings_to_show(
    trial: Trial, sized: Mapping[str, sizing.WearSizing], prices: Mapping[str, tuple[float, str]]
) -> dict[str, savings.SavingSizing]:
    """What trials of several sizes can show of each type's saving in the cost of edges, where cost decides and prices are known."""
    agreed, reference = trial.settings.plan, trial.settings.reference_edge_type
    if agreed.primary_measure != "cost" or reference not in prices:
        return {}
    labels = study.labels(trial)
    return {
        name: savings.size_savings(
            found.plan, prices[name][0] / prices[reference][0], [int(n) for n in found.table[c.N_TRUCKS]], agreed.design,
            worthwhile_pct=agreed.smallest_worthwhile_saving_pct,
            whole_interval=agreed.saving_judged_by == "interval", name=labels[name], reference_name=labels[reference],
        )
        for name, found in sized.items() if name in prices
    }  # fmt: skip
