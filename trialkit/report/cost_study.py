"""From a trial to what its edges cost: which prices, lives and miles go in, and everything that follows from them.

Answers: what goes into the cost analyses of this trial, and what comes out?

As `life_study` does for lives: this is where a trial meets its analyses of cost, which take plain frames and values. The costs are
those of one plow position, the one at which most edge types were tried; the order for next season has every position.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from trialkit import columns as c
from trialkit.edges import depth_left
from trialkit.edges.life_comparison import truck_pairs
from trialkit.edges.observed import (
    BROKEN_OR_LOST,
    CAUSE,
    EVENTS,
    NOT_ENDED,
    SECTION_BROKEN_OR_LOST,
    WORN_OUT,
)
from trialkit.money import (
    alternatives,
    bids,
    break_even,
    cost_sensitivity,
    cost_table,
    costs,
    decision,
    life_cycle,
    order,
    what_if,
)
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.gathering import EARLY_FRAC, UNEVEN_FRAC, Findings, Records, read_inputs
from trialkit.money.inputs import CostInputs, Terms, Use
from trialkit.money.kept import Kept, kept_positions, next_types
from trialkit.money.season import SeasonMiles, season_miles
from trialkit.money.sets_needed import Spread, remaining_shares, spread_of_use
from trialkit.money.specification import specification
from trialkit.money.without_trucks import WithoutTrucks, leave_out_trucks
from trialkit.report import study
from trialkit.report.life_study import LifeStudy
from trialkit.table_parts import SECTION
from trialkit.trial import lineage
from trialkit.trial.checks import Trial

COSTS, PLAN, BIDS, ASSIGNMENTS = "costs", "fleet_plan", "bids", "assignments"
NO_LIFE = "No life of any edge type is known, so nothing is said about what edges cost."
NO_COSTS = "No prices of labor, hardware or down time are recorded, so only what is paid for the edges themselves is counted."


@dataclass(frozen=True, eq=False)
class CostStudy:
    """Every analysis of cost of one trial; all but `notes` are missing where no life is known.

    Attributes
    ----------
    costs : Costs or None
        Cost per blade-down mile, line by line, and against the reference.
    cycle : LifeCycle or None
        Costs over the horizon.
    even : BreakEven or None
        Where each type just pays.
    verdicts : Verdicts or None
        The agreed rule, applied.
    recommended : str
        Edge type that the rule finds better, the one that saves most; the reference if there is none.
    nearest : str
        Edge type that the alternatives are about: the recommended one, or the one that comes nearest; empty if there is no other type.
    choices : Alternatives or None
        What the council can choose between.
    order : Order or None
        Sets and sections for next season with the recommended type on every truck that can change.
    sensitivity : Sensitivity or None
        What could turn the finding.
    bids : Bids or None
        The bids, if there are any.
    specification : DataFrame
        Testable properties of the recommended type; without rows if no change is recommended.
    labels : mapping
        Edge type to the name that sentences print.
    notes : tuple of str
        Caveats of all of them, each once.
    supplied : mapping
        How many sets were bought, donated or loaned.
    kept : tuple of Kept
        Truck positions where other types were tried and that keep their own, whatever is decided.
    """

    costs: costs.Costs | None
    cycle: life_cycle.LifeCycle | None
    even: break_even.BreakEven | None
    verdicts: decision.Verdicts | None
    recommended: str
    nearest: str
    choices: alternatives.Alternatives | None
    order: order.Order | None
    sensitivity: cost_sensitivity.Sensitivity | None
    bids: bids.Bids | None
    specification: pd.DataFrame
    labels: Mapping[str, str]
    notes: tuple[str, ...]
    supplied: Mapping[str, int] = field(default_factory=dict)
    kept: tuple[Kept, ...] = ()

    @property
    def inputs(self) -> CostInputs | None:
        """What the costs were worked out from."""
        return None if self.costs is None else self.costs.inputs

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that leave the tool, by the name of their file."""
        if self.costs is None or self.cycle is None or self.even is None:
            return {}
        found = {
            "cost": cost_table.cost_table(self.costs, self.cycle, self.even),
            "cost_lines": self.costs.lines,
            "cost_differences": self.costs.compared,
            "cash_flows": self.cycle.flows,
        }
        if self.order is not None:
            found |= {"next_season": self.order.table, "next_season_fleet": self.order.fleet}
        if self.choices is not None:
            found["alternatives"] = self.choices.table
        if self.sensitivity is not None:
            found["cost_sensitivity"] = self.sensitivity.table
        if self.bids is not None:
            found["bids"] = self.bids.table
        return found


def study_costs(
    trial: Trial, lives: LifeStudy, savings: pd.DataFrame | None = None, *, interim: bool = False
) -> CostStudy:
    """Run every analysis of cost on a trial.

    Parameters
    ----------
    trial : Trial
        A trial without errors.
    lives : LifeStudy
        Its lives.
    savings : DataFrame, optional
        Material and hours saved per blade-down mile, for `money.gathering.Findings`.
    interim : bool
        Whether the season is still going on, so that nothing is decided yet.
    """
    plan = planned_miles(trial)
    sources = {place: cost_inputs(trial, lives, plan, place, savings) for place in positions(lives)}
    labels = study.labels(trial)
    reference = trial.settings.reference_edge_type
    place = main_position(sources)
    if place is None:
        return CostStudy(
            None, None, None, None, reference, "", None, None, None, _bids(trial, None), pd.DataFrame(), labels, (NO_LIFE,)
        )  # fmt: skip
    inputs = sources[place]
    found = costs.estimate_costs(inputs)
    verdicts = decision.check_rule(found, agreed_rule(trial, interim))
    better = verdicts.better()
    recommended = better[0] if better else reference
    nearest = recommended if better else _nearest(found)
    kept = kept_positions(trial[ASSIGNMENTS] if trial.has(ASSIGNMENTS) else None)
    wanted = _next_season(trial, sources, plan, recommended, kept)
    cycle, even = life_cycle.estimate_life_cycle(inputs), break_even.find_break_even(inputs)
    choices = (
        alternatives.cost_alternatives(
            found,
            nearest,
            busiest_share=trial.settings.cost.busiest_share,
            trial_trucks=carried_types(trial, place),
            kept=kept,
        )
        if nearest
        else None
    )
    ordered = _order(trial, lives, sources, plan, wanted)
    tried = cost_sensitivity.estimate_sensitivity(inputs) if inputs.has_reference and inputs.others else None
    offered = _bids(trial, inputs)
    parts = (inputs, found, verdicts, cycle, even, choices, ordered, tried, offered)
    notes = [NO_COSTS] if not trial.has(COSTS) else []
    notes += [note for part in parts if part is not None for note in part.notes]
    return CostStudy(
        costs=found, cycle=cycle, even=even, verdicts=verdicts, recommended=recommended, nearest=nearest, choices=choices,
        order=ordered, sensitivity=tried, bids=offered,
        specification=specification(recommended, trial[study.TYPES], _plows(trial, wanted, recommended)) if better else pd.DataFrame(),
        labels=labels, notes=tuple(dict.fromkeys(notes)), supplied=_supplied(trial),
        kept=tuple(one for one in kept if one.plow_position == place),
    )  # fmt: skip


def what_if_table(
    found: CostStudy,
    *,
    price_change_pct: float = 0.0,
    life_change_pct: float = 0.0,
    labor_change_pct: float = 0.0,
    miles_change_pct: float = 0.0,
    breakage_change_pct: float = 0.0,
    discount_rate: float | None = None,
) -> what_if.WhatIf | None:
    """The costs with some things changed, for every edge type but the reference; None where nothing has a cost.

    Parameters
    ----------
    found : CostStudy
        The costs.
    price_change_pct, life_change_pct, breakage_change_pct : float
        Change of each type's price of a set, life and breakage. [%]
    labor_change_pct, miles_change_pct : float
        Change of labor rates and planned miles. [%]
    discount_rate : float, optional
        Another real rate per year, as a fraction.
    """
    if found.inputs is None:
        return None
    changes = [
        what_if.Change(
            edge_type=edge.edge_type, price_pct=price_change_pct, life_pct=life_change_pct, labour_pct=labor_change_pct,
            miles_pct=miles_change_pct, breakage_pct=breakage_change_pct, discount_rate=discount_rate,
        )
        for edge in found.inputs.others
    ]  # fmt: skip
    is_changed = any(
        (price_change_pct, life_change_pct, labor_change_pct, miles_change_pct, breakage_change_pct)
    )
    return what_if.compare_changes(found.inputs, changes if is_changed or discount_rate is not None else [])


def without_trucks(found: CostStudy, lives: LifeStudy) -> WithoutTrucks | None:
    """The verdict on the type that comes nearest, with one truck left out at a time; None where nothing is judged or decided yet."""
    if found.inputs is None or found.verdicts is None or not found.nearest or found.verdicts.rule.interim:
        return None
    return leave_out_trucks(found.inputs, lives.projection.trucks, found.verdicts.rule, found.nearest)


def agreed_rule(trial: Trial, interim: bool = False) -> decision.Rule:
    """The decision rule of `trial.toml`."""
    plan = trial.settings.plan
    return decision.Rule(
        smallest_saving_pct=plan.smallest_worthwhile_saving_pct,
        confidence_level=trial.confidence_level,
        saving_judged_by=plan.saving_judged_by,
        agreed=plan.decision_rule,
        primary_measure=plan.primary_measure,
        interim=interim,
    )


# ---------------------------------------------------------------- what goes in
def planned_miles(trial: Trial) -> SeasonMiles:
    """Miles of next season, or of this one where none are planned."""
    driven = lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], _shifts(trial))
    return season_miles(trial[PLAN] if trial.has(PLAN) else None, trial["trucks"], driven=driven)


def positions(lives: LifeStudy) -> list[str]:
    """Plow positions at which some edge type has a life."""
    return list(
        dict.fromkeys(place for (place, _), sample in lives.projection.samples.items() if sample.n > 0)
    )


def main_position(sources: Mapping[str, CostInputs]) -> str | None:
    """The position at which most edge types, the reference among them, have a cost; None if there is none at all."""
    return max(
        sources, key=lambda place: (sources[place].has_reference, len(sources[place].edges)), default=None
    )


def cost_inputs(
    trial: Trial, lives: LifeStudy, plan: SeasonMiles, place: str, savings: pd.DataFrame | None = None
) -> CostInputs:
    """Prices, work, lives and miles at one plow position."""
    settings = trial.settings
    reference = settings.reference_edge_type
    samples = lives.projection.samples
    kinds = [kind for (position, kind), sample in samples.items() if position == place and sample.n > 0]
    paired = {
        kind: truck_pairs(lives.projection.trucks, place, kind, reference)
        for kind in kinds
        if kind != reference and reference in kinds
    }
    findings = Findings(
        uses={kind: _use(lives, place, kind) for kind in kinds},
        pairings=paired,
        savings=savings,
        unused=_unused(lives, place),
    )
    records = Records(
        edge_types=trial[study.TYPES],
        edge_sets=trial[study.SETS],
        set_events=trial[study.EVENTS],
        costs=trial[COSTS] if trial.has(COSTS) else None,
        as_of=_as_of(settings.cost.analysis_year),
    )
    terms = Terms(
        discount_rate=settings.cost.discount_rate,
        horizon_years=settings.cost.horizon_years,
        confidence_level=trial.confidence_level,
        seed=settings.seed,
        currency=settings.currency,
    )
    labels = study.labels(trial)
    return read_inputs(
        findings, records, plan, plow_position=place, reference=reference, terms=terms, labels=labels
    )


def carried_types(trial: Trial, place: str) -> dict[str, str]:
    """Truck to the edge type that it carried last at a plow position."""
    stays = lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], _shifts(trial))
    types = trial[study.SETS].set_index(c.SET_ID)[c.EDGE_TYPE].astype(str)
    own = stays[stays[c.PLOW_POSITION].astype(str) == place].sort_values(c.INSTALLED, kind="stable")
    return {str(truck): types[set_id] for truck, set_id in zip(own[c.TRUCK_ID], own[c.SET_ID], strict=True)}


def _as_of(year: int | None) -> pd.Timestamp | None:
    return None if year is None else pd.Timestamp(year, 12, 31)


def _use(lives: LifeStudy, place: str, kind: str) -> Use:
    """How fast a type is used up, and what broke in how many miles."""
    seen = lives.observed.table
    own = seen[(seen[c.EDGE_TYPE].astype(str) == kind) & (seen[c.PLOW_POSITION].astype(str) == place)]
    counts = dict(zip(own[CAUSE], own[EVENTS], strict=True))
    miles = float(own[c.MILES_MI].max()) if len(own) else math.nan
    sample = lives.projection.samples[place, kind]
    return Use(sample, int(counts.get(BROKEN_OR_LOST, 0)), int(counts.get(SECTION_BROKEN_OR_LOST, 0)), miles)


def _unused(lives: LifeStudy, place: str) -> pd.DataFrame:
    """Shares of the usable depth that went to scrap with worn sets."""
    left = lives.left.table
    own = left[
        (left[c.PLOW_POSITION].astype(str) == place)
        & (left[CAUSE] == WORN_OUT)
        & (left[depth_left.PIECE] == depth_left.SET)
    ]
    uneven = own[depth_left.UNEVEN_PCT] / 100.0
    return pd.DataFrame(
        {
            c.EDGE_TYPE: own[c.EDGE_TYPE].astype(str),
            UNEVEN_FRAC: uneven,
            EARLY_FRAC: own[c.ESTIMATE] / 100.0 - uneven,
        }
    )


# ---------------------------------------------------------------- what comes out
def _nearest(found: costs.Costs) -> str:
    """The type with the largest saving, shown or not; empty if there is none."""
    rows = found.compared[found.compared[c.BASIS] == EDGES_ALONE].dropna(subset=[c.SAVING_PCT])
    return "" if rows.empty else str(rows.sort_values(c.SAVING_PCT, kind="stable").iloc[-1][c.EDGE_TYPE])


def _next_season(
    trial: Trial, sources: Mapping[str, CostInputs], plan: SeasonMiles, recommended: str, kept: Sequence[Kept]
) -> pd.DataFrame:
    """What each position carries: the recommended type where it was tried, the reference elsewhere, and what a plow has to keep."""
    reference = trial.settings.reference_edge_type
    chosen = {
        place: recommended if any(edge.edge_type == recommended for edge in source.edges) else reference
        for place, source in sources.items()
    }
    return next_types(plan.table if len(plan.table) else trial["trucks"], chosen, kept)


def _plows(trial: Trial, wanted: pd.DataFrame, recommended: str) -> pd.DataFrame:
    """The plows that will carry the recommended type."""
    bought = wanted[wanted[c.EDGE_TYPE] == recommended]
    keys = set(zip(bought[c.TRUCK_ID], bought[c.PLOW_POSITION], strict=True))
    plows = trial["trucks"]
    own = [
        (truck, place) in keys
        for truck, place in zip(
            plows[c.TRUCK_ID].astype(object), plows[c.PLOW_POSITION].astype(object), strict=True
        )
    ]
    return plows[own]


def _order(
    trial: Trial, lives: LifeStudy, sources: Mapping[str, CostInputs], plan: SeasonMiles, wanted: pd.DataFrame
) -> order.Order | None:
    """What next season needs with these types on the trucks."""
    if plan.table.empty:
        return None
    set_uses = dict(
        zip(lives.projection.sets[c.SET_ID], lives.projection.sets[c.USE_PER_1000_MI], strict=True)
    )
    seen = lives.observed.lives
    carried = remaining_shares(seen[seen[CAUSE] == NOT_ENDED], set_uses)
    return order.project_order(
        wanted,
        list(sources.values()),
        plan,
        service_level=trial.settings.cost.service_level,
        carried=carried,
        spreads=_spreads(lives, sources),
        fitted=_fitted(trial, sources),
        seed=trial.settings.seed,
    )


def _spreads(lives: LifeStudy, sources: Mapping[str, CostInputs]) -> dict[tuple[str, str], Spread]:
    """How much sets and trucks differ in use, by edge type and position."""
    table, sets = lives.projection.table, lives.projection.sets
    found = {}
    for place, source in sources.items():
        for edge in source.edges:
            row = table[
                (table[c.PLOW_POSITION].astype(str) == place)
                & (table[c.EDGE_TYPE].astype(str) == edge.edge_type)
            ]
            own = sets[
                (sets[c.PLOW_POSITION].astype(str) == place)
                & (sets[c.EDGE_TYPE].astype(str) == edge.edge_type)
            ]
            found[edge.edge_type, place] = spread_of_use(
                edge.use, own, pred_low_mi=float(row[c.PRED_LOW].iloc[0]), section=edge.replaced_as == SECTION,
                confidence_level=source.confidence_level,
            )  # fmt: skip
    return found


def _fitted(trial: Trial, sources: Mapping[str, CostInputs]) -> list[tuple[str, str, str]]:
    """Truck positions that carried an edge type already, so they have what it is mounted with."""
    stays = lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], _shifts(trial))
    types = trial[study.SETS].set_index(c.SET_ID)[c.EDGE_TYPE].astype(str)
    return [
        (str(truck), str(place), types[set_id])
        for truck, place, set_id in zip(
            stays[c.TRUCK_ID], stays[c.PLOW_POSITION], stays[c.SET_ID], strict=True
        )
        if str(place) in sources
    ]


def _bids(trial: Trial, inputs: CostInputs | None) -> bids.Bids | None:
    return bids.compare_bids(trial[BIDS], inputs) if trial.has(BIDS) and inputs is not None else None


def _supplied(trial: Trial) -> dict[str, int]:
    """How many sets were bought, donated or loaned; what is not recorded is not counted."""
    sets = trial[study.SETS]
    if c.SUPPLIED_BY not in sets:
        return {}
    return {
        str(name): int(n)
        for name, n in sets[c.SUPPLIED_BY].dropna().astype(str).value_counts(sort=False).items()
        if n
    }


def _shifts(trial: Trial) -> pd.DataFrame | None:
    return trial[study.SHIFTS] if trial.has(study.SHIFTS) else None
