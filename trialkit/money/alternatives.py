"""What a council can choose between, each with its cost.

Answers: what does it cost to put the type on the whole fleet, on the busiest trucks only, to go on trying, or to change nothing?
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import counted, level_words, listed, money_interval, number, percent, sentence_case
from trialkit.money import draws, lines, season
from trialkit.money.cost_differences import EDGES_ALONE, Difference, chance_words, drawn_difference
from trialkit.money.costs import Costs
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.kept import Kept, kept_words
from trialkit.money.sets_needed import SetsUsed, spread_of_use
from trialkit.results import Labelled

WHOLE_FLEET, BUSIEST, EXTEND, NO_CHANGE = "whole_fleet", "busiest_trucks", "extend_trial", "no_change"
ALTERNATIVE = "alternative"
N_POSITIONS, MILES_SHARE = "n_positions", "miles_share_pct"
SAVING, SAVING_LOW, SAVING_HIGH = "season_saving", "season_saving_low", "season_saving_high"
OUTFIT_CASH, FIRST_YEAR, STEADY = "outfit_cash", "first_year_purchases", "steady_year_purchases"
RISK, NOT_KNOWN = "risk", "not_known"
FIRST_SEASON_DRAWS = 2_000

TABLE_COLUMNS = [
    ALTERNATIVE, c.EDGE_TYPE, N_POSITIONS, MILES_SHARE, c.ANNUAL_COST, c.ANNUAL_LOW, c.ANNUAL_HIGH, SAVING, SAVING_LOW,
    SAVING_HIGH, OUTFIT_CASH, FIRST_YEAR, STEADY, RISK, NOT_KNOWN,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Alternatives(Labelled):
    """Alternatives for the trucks at one plow position; what the others carry stays as it is and is not in it.

    Attributes
    ----------
    table : DataFrame
        One row per alternative: `alternative` ("whole_fleet", "busiest_trucks", "extend_trial", "no_change"), `edge_type` (of which
        there would be more; the reference for no change), `n_positions` and `miles_share_pct` (truck positions that carry another
        type than the reference, and their share of the miles), `annual_cost` with its ends (a middling winter), `season_saving` with
        its ends (against no change), `outfit_cash` (first sets and kits for the positions that
        change; missing where a kit has no price), `first_year_purchases` (outfit and the edges used up in the first season, labor not included), `steady_year_purchases`, `risk`, `not_known`.
    busiest : tuple of str
        Truck positions of "busiest_trucks".
    kept : mapping
        Truck to the edge type that it keeps in every alternative.
    currency, confidence_level
    labels : dict
    """

    busiest: tuple[str, ...]
    kept: Mapping[str, str]
    currency: str
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each alternative."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The alternatives in words."""
        return (
            " ".join(self.sentences())
            or "No alternatives can be costed: no miles are planned, or a cost is not known."
        )

    def name(self, row: Mapping[Hashable, Any]) -> str:
        """What an alternative is called."""
        who = self.label(str(row[c.EDGE_TYPE]))
        trucks = counted(int(row[N_POSITIONS]), "truck")
        where = "every truck that can change" if self.kept else "the whole fleet"
        apart = [truck for truck, kind in self.kept.items() if kind != row[c.EDGE_TYPE]]
        return {
            WHOLE_FLEET: f"{who} on {where} ({trucks})",
            BUSIEST: f"{who} on the busiest routes only ({trucks}, {percent(row[MILES_SHARE])} of the {display.word('miles')})",
            EXTEND: f"the trial goes on for another winter ({trucks} with other types)",
            NO_CHANGE: f"no change: {who} on every truck{f' but {listed(apart)}' if apart else ''}",
        }[str(row[ALTERNATIVE])]

    def _sentence(self, row: Mapping[Hashable, Any]) -> str:
        cost = money_interval(row[c.ANNUAL_COST], row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH], self.currency)
        sure = f"{level_words(self.confidence_level)}" if math.isfinite(row[c.ANNUAL_LOW]) else "no interval"
        return f"{sentence_case(self.name(row))}: {cost} a season ({sure})."


def cost_alternatives(
    found: Costs,
    edge_type: str,
    *,
    busiest_share: float = 0.5,
    trial_trucks: Mapping[str, str] | None = None,
    kept: Sequence[Kept] = (),
) -> Alternatives:
    """Cost the alternatives that a council chooses between.

    Use it for the edge type that is recommended, or that comes nearest. The busiest trucks stand in for priority routes: a plan
    records miles, not priorities, and where most is plowed a set is used up soonest.

    Parameters
    ----------
    found : Costs
        The costs.
    edge_type : str
        Type that would be bought.
    busiest_share : float
        Share of the planned miles of the trucks that can change that the busiest of them make up at least.
    trial_trucks : mapping, optional
        Truck to the edge type it carried in the trial, at this plow position: what would go on if the trial is extended.
    kept : sequence of Kept
        Positions that keep their type whatever is decided; those at other plow positions are passed over.

    Returns
    -------
    Alternatives
        Without rows if no miles are planned or a cost is not known.

    Notes
    -----
    Cost of a season = sum over the types of miles * cost per mile, each type drawn by itself and the reference the same on both sides
    of a saving. Lines that are unknown for any type that is in one of the alternatives are left out of all of them, of the costs and
    of the savings with their intervals, so that they can be set side by side.
    """
    inputs = found.inputs
    plan = inputs.plan.at(inputs.plow_position)
    here = [one for one in kept if one.plow_position == inputs.plow_position]
    here = [one for one in here if one.truck_id in set(plan[c.TRUCK_ID])]
    without = [one.truck_id for one in here if one.edge_type not in _types(inputs)]
    plan = plan[~plan[c.TRUCK_ID].isin(without)].reset_index(drop=True)
    stays = {one.truck_id: one.edge_type for one in here if one.truck_id not in without}
    edge, reference = inputs.edge(edge_type), inputs.edge(inputs.reference)
    extended = {truck: kind for truck, kind in (trial_trucks or {}).items() if kind in _types(inputs)}
    if plan.empty or not all(math.isfinite(one.price) for one in (edge, reference)):
        return _result(
            [], (), found, ("No alternatives are costed: no miles are planned, or a price is not known.",)
        )
    free = plan[~plan[c.TRUCK_ID].isin(list(stays))]
    if free.empty:
        return _result(
            [], (), found, ("No alternatives are costed: every truck keeps its edge type.",), stays
        )
    busy = season.busiest(free, busiest_share).to_numpy()
    base = {
        WHOLE_FLEET: dict.fromkeys(free[c.TRUCK_ID], edge_type),
        BUSIEST: dict.fromkeys(free[c.TRUCK_ID][busy], edge_type),
        EXTEND: extended,
        NO_CHANGE: {},
    }
    if not any(kind != inputs.reference for kind in extended.values()):
        del base[EXTEND]
    model = _Model(inputs, [*dict.fromkeys([edge_type, *extended.values(), *stays.values()])])
    before = {truck: stays.get(truck, inputs.reference) for truck in plan[c.TRUCK_ID]}
    today = np.array(list(before.values()), dtype=object)
    rows = []
    for name, carries in base.items():
        kinds = np.array([carries.get(truck, kind) for truck, kind in before.items()], dtype=object)
        rows.append(_row(name, edge_type, kinds, today, plan, model, found))
    names = tuple(str(truck) for truck in free[c.TRUCK_ID][busy])
    notes = [
        "Costs of a season are for a middling winter and for the edges alone, without material and passes.",
        f"The busiest trucks are those with the most planned {display.word('miles')} that together plow at least {percent(100 * busiest_share)} of "
        f"{_those(stays)}: {listed(names)}.",
        *kept_words([one for one in here if one.truck_id in stays], inputs.labels),
    ]
    if without:
        notes.append(
            f"Left out of every alternative, since no cost of the edge type that is kept is known: {listed(without)}."
        )
    if model.left_out:
        words = listed([lines.LINE_WORDS[line] for line in model.left_out])
        notes.append(f"Left out of every alternative, since not known for every type: {words}.")
    if math.isnan(_kit(inputs, edge_type)):
        notes.append(
            f"What the conversion kits of {found.label(edge_type)} cost is not recorded, so what is bought in the first year is not known."
        )
    return _result(rows, names, found, tuple(notes), stays)


def _those(stays: Mapping[str, str]) -> str:
    return f"the {display.word('miles')} of the trucks that can change" if stays else "them"


def _result(
    rows: list[dict[str, Any]],
    names: tuple[str, ...],
    found: Costs,
    notes: tuple[str, ...],
    kept: Mapping[str, str] | None = None,
) -> Alternatives:
    return Alternatives(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method="Planned miles of each truck times the cost per mile of the type it would carry; intervals from the draws.",
        notes=notes,
        busiest=names,
        kept=kept or {},
        currency=found.currency,
        confidence_level=found.confidence_level,
        labels=found.labels,
    )


def _types(inputs: CostInputs) -> set[str]:
    return {edge.edge_type for edge in inputs.edges if math.isfinite(edge.price)}


class _Model:
    """Cost per mile of some types over the lines known for all, as estimated and as drawn."""

    def __init__(self, inputs: CostInputs, kinds: Sequence[str]) -> None:
        reference = inputs.edge(inputs.reference)
        self.inputs = inputs
        known = set(lines.LINES)
        for kind in kinds:
            known &= set(lines.shared_lines(inputs.edge(kind), reference, inputs))
        self.left_out = [
            line
            for line in lines.LINES
            if line not in known and (line != lines.pr.OTHER or reference.items[line].needed)
        ]
        self.known = known
        self.estimate: dict[str, float] = {}
        self.low: dict[str, np.ndarray] = {}
        self.high: dict[str, np.ndarray] = {}
        self.sets_per_mi: dict[str, float] = {}
        self.has_interval = True
        for kind in dict.fromkeys([inputs.reference, *kinds]):
            edge = inputs.edge(kind)
            rates = lines.estimated_rates(edge)
            self.estimate[kind] = float(lines.total_cost(edge, rates, inputs, known))
            self.low[kind], self.high[kind] = self._drawn(edge)
            self.sets_per_mi[kind] = float(lines.sets_bought(edge, rates))
            self.has_interval &= edge.use.has_interval

    def _drawn(self, edge: EdgeCosts) -> tuple[np.ndarray, np.ndarray]:
        drawn = draws.draw_edge(edge, self.inputs)
        low, _, high = draws.on_each_side(
            drawn, lambda rates: lines.total_cost(edge, rates, self.inputs, self.known)
        )
        return low, high

    def difference(self, kind: str) -> Difference:
        """Draws of the cost per mile of a type less that of the reference."""
        return drawn_difference(self.inputs.edge(kind), self.inputs, known=self.known)

    def first_season(self, kinds: np.ndarray, miles: np.ndarray) -> float:
        """Price of the pieces that wear out or break in the season after trucks were put on new sets, on average."""
        total = 0.0
        for kind in dict.fromkeys(kinds):
            edge = self.inputs.edge(kind)
            spread = spread_of_use(edge.use)
            drawn = SetsUsed(
                edge, spread, draws.generator(self.inputs, kind, "first season"), FIRST_SEASON_DRAWS
            )
            pieces = sum(float(drawn.of_truck([one]).pieces.mean()) for one in miles[kinds == kind])
            total += pieces * edge.price / edge.sections_n
        return total


def _row(
    name: str,
    edge_type: str,
    kinds: np.ndarray,
    today: np.ndarray,
    plan: pd.DataFrame,
    model: _Model,
    found: Costs,
) -> dict[str, Any]:
    """One alternative: what each truck carries in it, and today."""
    inputs = found.inputs
    miles = plan[c.MILES_MID_MI].to_numpy(dtype=float)
    reference = inputs.reference
    of = {kind: float(miles[kinds == kind].sum()) for kind in dict.fromkeys(kinds)}
    cost = sum(part * model.estimate[kind] for kind, part in of.items())
    everything = miles.sum()
    changed = kinds != today
    before = sum(part * model.estimate[kind] for part, kind in zip(miles, today, strict=True))
    fitted = name == EXTEND
    outfit = (
        0.0 if fitted else float(sum(inputs.edge(kind).price + _kit(inputs, kind) for kind in kinds[changed]))
    )
    a_year = {kind: model.sets_per_mi[kind] * inputs.edge(kind).price for kind in of}
    steady = sum(part * a_year[kind] for kind, part in of.items())
    same = sum(part * a_year[kind] for part, kind in zip(miles[~changed], kinds[~changed], strict=True))
    goes_on = steady if fitted else same
    first = outfit + goes_on + (0.0 if fitted else model.first_season(kinds[changed], miles[changed]))
    row: dict[str, Any] = {
        ALTERNATIVE: name,
        c.EDGE_TYPE: reference if name == NO_CHANGE else edge_type,
        N_POSITIONS: len(kinds) if name == NO_CHANGE else int(changed.sum()),
        MILES_SHARE: 100.0 * float(miles[changed].sum()) / everything if everything > 0 else math.nan,
        c.ANNUAL_COST: cost,
        SAVING: float(before - cost),
        OUTFIT_CASH: outfit,
        FIRST_YEAR: first,
        STEADY: steady,
        RISK: _risk(name, edge_type, found),
        NOT_KNOWN: _not_known(name, edge_type, found),
    }
    if model.has_interval:
        low = sum(part * model.low[kind] for kind, part in of.items())
        high = sum(part * model.high[kind] for kind, part in of.items())
        row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH] = draws.ends(low, high, inputs.confidence_level)
        rest = {kind: float(miles[changed & (kinds == kind)].sum()) for kind in dict.fromkeys(kinds[changed])}
        if list(rest) == [edge_type]:
            ends = model.difference(edge_type).interval(inputs.confidence_level)
            less, more = (rest[edge_type] * end for end in ends)
        else:
            low = sum(
                (part * (model.low[kind] - model.high[reference]) for kind, part in rest.items()), np.zeros(1)
            )
            high = sum(
                (part * (model.high[kind] - model.low[reference]) for kind, part in rest.items()), np.zeros(1)
            )
            less, more = draws.ends(low, high, inputs.confidence_level)
        row[SAVING_LOW], row[SAVING_HIGH] = 0.0 - more, 0.0 - less
    return row


def _kit(inputs: CostInputs, kind: str) -> float:
    """What the kit of one truck position costs; NaN if it is not known."""
    return lines.conversion_outlay(inputs.edge(kind), inputs) / inputs.n_positions


# ---------------------------------------------------------------- words
def _risk(name: str, edge_type: str, found: Costs) -> str:
    """What may go wrong with an alternative."""
    who, other = found.label(edge_type), found.label(found.inputs.reference)
    rows = found.compared[
        (found.compared[c.EDGE_TYPE] == edge_type) & (found.compared[c.BASIS] == EDGES_ALONE)
    ]
    chance = float(rows.iloc[0][c.CHANCE_CHEAPER]) if len(rows) else math.nan
    edge = found.inputs.edge(edge_type)
    seen = edge.use.breaks + edge.use.section_breaks
    broke = f"{counted(seen, 'edge') if seen else 'none'} broke or was lost in {number(display.value(edge.use.miles_mi, 'mi'))} {display.word('miles')} of the trial"
    if seen > 1:
        broke = broke.replace(" was lost", " were lost")
    dearer = (
        f"the chance that {who} costs more than {other} is {chance_words(1 - chance)}"
        if math.isfinite(chance)
        else f"the trial gives no chance that {who} costs more than {other}"
    )
    return {
        WHOLE_FLEET: f"{sentence_case(dearer)}; {broke}; the first outfit is paid at once.",
        BUSIEST: f"{sentence_case(dearer)}, for a part of the fleet; two types have to be kept in stock.",
        EXTEND: f"Whatever {who} would save or cost on the rest of the fleet is put off by a year.",
        NO_CHANGE: f"If {who} is as cheap as the best estimate, that saving is given up."
        if len(rows) and rows.iloc[0][c.ESTIMATE] < 0
        else "None that the trial shows.",
    }[name]


def _not_known(name: str, edge_type: str, found: Costs) -> str:
    """What is not known about an alternative."""
    who = found.label(edge_type)
    trucks = counted(int(found.inputs.edge(edge_type).use.sample.n), "truck")
    return {
        WHOLE_FLEET: f"Whether {who} wears on the other routes as on the {trucks} of the trial, in another winter and from another lot.",
        BUSIEST: f"Whether the busiest routes wear {who} as the {trucks} of the trial did, and which routes the council puts first.",
        EXTEND: "How much a second winter would narrow the interval: more trucks narrow it, the same trucks again hardly do.",
        NO_CHANGE: f"What {who} would have done on the trucks that never carried it.",
    }[name]
