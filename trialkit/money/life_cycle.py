"""Costs over several winters, brought to one year.

Answers: over the horizon, what does the fleet pay with each edge type, and does the dearer first outfit pay for itself?

Method and terms after NIST Handbook 135 and 10 CFR part 436: life-cycle cost as a sum of present values, net savings,
savings-to-investment ratio, adjusted internal rate of return, payback. Amounts are in the money of the analysis year, and the
discount rate is real.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.formatting import (
    level_words,
    money,
    money_interval,
    money_interval_decimals,
    percent,
    sentence_case,
)
from trialkit.money import discounting as ds
from trialkit.money import draws, left_out, lines
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.lines import Rates
from trialkit.results import Labelled

LCC, LCC_LOW, LCC_HIGH = "lcc", "lcc_low", "lcc_high"
EQUIVALENT = "equivalent_annual_cost"
SIR, AIRR = "sir", "airr"
SIMPLE_PAYBACK, DISCOUNTED_PAYBACK = "simple_payback_y", "discounted_payback_y"
NPV_SAVED = "npv_with_savings"
OUTFIT, REPLACED, RECURRING, RESIDUAL = "outfit", "replaced", "recurring", "residual"
FLOW_WORDS = {
    OUTFIT: "first sets and kits",
    REPLACED: "sets and sections bought as they wear out",
    RECURRING: "labor, down time, hardware, breakage and yearly costs",
    RESIDUAL: "value of the part-worn sets at the end",
}
YEAR, FLOW, AMOUNT, PRESENT = "year", "flow", "amount", "present_value"

TABLE_COLUMNS = [
    c.EDGE_TYPE, LCC, LCC_LOW, LCC_HIGH, EQUIVALENT, c.NPV, c.NPV_LOW, c.NPV_HIGH, NPV_SAVED, SIR, AIRR, SIMPLE_PAYBACK,
    DISCOUNTED_PAYBACK, OUTFIT, REPLACED, RECURRING, RESIDUAL,
]  # fmt: skip
FLOW_COLUMNS = [c.EDGE_TYPE, YEAR, FLOW, AMOUNT, PRESENT]


@dataclass(frozen=True, eq=False)
class LifeCycle(Labelled):
    """Life-cycle cost of each edge type on the whole fleet at one plow position.

    Attributes
    ----------
    table : DataFrame
        One row per edge type: `lcc` with its ends (present value of all costs), `equivalent_annual_cost`, `npv` with its ends (net
        savings against the reference: positive where the type saves), `npv_with_savings` (with the material and passes that were
        shown to be saved; missing where none), `sir` and `airr` (missing where no more is invested than with the reference),
        `simple_payback_y`, `discounted_payback_y` [years] (missing where not reached within the horizon), and the present values of
        `outfit`, `replaced`, `recurring` and `residual` (negative).
    flows : DataFrame
        One row per edge type, year and flow: `amount` and its `present_value`.
    discount_rate, horizon_years
    inputs : CostInputs
    labels : dict
    """

    flows: pd.DataFrame
    inputs: CostInputs = field(repr=False)
    labels: Mapping[str, str]

    @property
    def discount_rate(self) -> float:
        """Real rate per year, as a fraction."""
        return self.inputs.discount_rate

    @property
    def horizon_years(self) -> int:
        """Years that are looked at."""
        return self.inputs.horizon_years

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type but the reference."""
        rows = self.table[self.table[c.EDGE_TYPE] != self.inputs.reference]
        return tuple(self._sentence(row) for row in rows.to_dict("records"))

    def sentence(self) -> str:
        """The life-cycle comparison in words."""
        return " ".join(self.sentences()) or "No life-cycle cost can be compared."

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        who = self.label(row[c.EDGE_TYPE])
        if not math.isfinite(row[c.NPV]):
            return f"What {who} saves over {self.horizon_years} years is not known."
        more = row[c.NPV] < 0
        ends = (-row[c.NPV_HIGH], -row[c.NPV_LOW]) if more else (row[c.NPV_LOW], row[c.NPV_HIGH])
        said = money_interval(abs(row[c.NPV]), *ends, currency=self.inputs.currency)
        if not more and not left_out.wears(self.inputs.edge(row[c.EDGE_TYPE])) and math.isfinite(ends[0]):
            places = money_interval_decimals(row[c.NPV], *ends)
            said = f"at least {money(ends[0], self.inputs.currency, places)}"
        sure = f"{level_words(self.inputs.confidence_level)}; " if math.isfinite(row[c.NPV_LOW]) else ""
        start = (
            f"Over {self.horizon_years} years {who} {'costs' if more else 'saves'} the fleet {said} "
            f"{'more than' if more else 'against'} {self.label(self.inputs.reference)} ({sure}today's money, "
            f"{percent(100 * self.discount_rate, 1)} real)"
        )
        edge = self.inputs.edge(row[c.EDGE_TYPE])
        if not math.isfinite(lines.conversion_outlay(edge, self.inputs)):
            return f"{start}; without the conversion kits, of which the price is not known, no payback can be told."
        if not math.isfinite(row[SIMPLE_PAYBACK]):
            return f"{start}; the dearer first outfit is not paid back in that time."
        if row[SIMPLE_PAYBACK] == 0:
            return f"{start}."
        return (
            f"{start}; the dearer first outfit is paid back within {payback_words(row[SIMPLE_PAYBACK])}, counting the sets of "
            f"{self.label(self.inputs.reference)} that are not bought."
        )


def payback_words(years: float) -> str:
    """A payback in whole years, since amounts fall due at the end of a year: ``"about a year"``, ``"about 3 years"``."""
    whole = max(math.ceil(years - 1e-9), 1)
    return "about a year" if whole == 1 else f"about {whole} years"


def estimate_life_cycle(inputs: CostInputs) -> LifeCycle:
    """Estimate the life-cycle cost of each edge type on the fleet, and what it saves against the reference.

    Use it for a purchase that is looked at over several winters. Not for next season's budget line (`order`).

    Parameters
    ----------
    inputs : CostInputs

    Returns
    -------
    LifeCycle
        Without numbers where no miles are planned or a price is not known.

    Notes
    -----
    Every truck position starts with a new set in year 0 (and a conversion kit where the type needs one). Each winter brings the
    middling miles; a set is bought in the year in which one wears out, and at the end of the horizon the part-worn sets are
    worth their price times the life that is left. Labor, hardware, down time, disposal, breakage and yearly amounts recur at the
    end of each year. With a discount rate of zero the cost over the horizon is exactly the cost per mile times the miles.

    Investment is the outfit of year 0 less the residual value; everything after it is a running cost, since edges are consumed
    and not capital. So SIR = present value of the running costs saved over the extra outfit less extra residual value. Net
    savings above 0, SIR above 1 and AIRR above the discount rate are then the same statement.
    """
    rows, flows = [], []
    for edge in inputs.edges:
        row, of_type = _cycle_of(edge, inputs)
        rows.append(row)
        flows.extend(of_type)
    return LifeCycle(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=(
            f"Present value over {inputs.horizon_years} years at {percent(100 * inputs.discount_rate, 1)} real per year, end-of-year "
            "amounts, full-precision factors; terms of NIST Handbook 135 and 10 CFR part 436. Intervals between quantiles of "
            f"{inputs.n_draws:,} draws."
        ),
        notes=tuple(_notes(inputs)),
        flows=pd.DataFrame(flows, columns=FLOW_COLUMNS),
        inputs=inputs,
        labels=inputs.labels,
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Cycle:
    """Flows of the fleet: present values, and the running amounts of each year along the last axis."""

    outfit: Any
    replaced: Any
    recurring: Any
    residual: Any
    yearly: np.ndarray
    yearly_replaced: np.ndarray

    @property
    def total(self) -> Any:
        """Life-cycle cost."""
        return self.outfit + self.replaced + self.recurring - self.residual

    @property
    def running(self) -> Any:
        """Present value of everything after year 0 but the residual value."""
        return self.replaced + self.recurring


def _cycle(edge: EdgeCosts, rates: Rates, inputs: CostInputs, known: tuple[str, ...]) -> _Cycle:
    """The flows of an edge type, for numbers or for draws."""
    rate, years = inputs.discount_rate, inputs.horizon_years
    of_lines = lines.cost_lines(edge, rates, inputs, known)
    kits = lines.conversion_cost(edge, inputs)
    _, sets_per_mi = lines.replacements(edge, rates)
    miles = inputs.plan.miles(inputs.plow_position)
    per_mile = lines.total(of_lines, known) - of_lines[lines.SETS]
    if lines.pr.CONVERSION in known:
        per_mile = per_mile - kits
    recurring = np.asarray(per_mile) * inputs.fleet_miles
    worn = np.asarray(sets_per_mi)[..., None] * miles
    bought = np.zeros((*worn.shape[:-1], years))
    before = np.zeros_like(worn)
    for year in range(1, years + 1):
        so_far = np.floor(worn * year + 1e-9)
        bought[..., year - 1] = (so_far - before).sum(axis=-1)
        before = so_far
    left = np.clip(1.0 - (worn * years - before), 0.0, 1.0)
    factors = ds.single_present_value(rate, np.arange(1, years + 1))
    replaced = bought * edge.price
    outfit = edge.price * len(miles)
    if lines.pr.CONVERSION in known:
        outfit += lines.conversion_outlay(edge, inputs)
    return _Cycle(
        outfit=outfit,
        replaced=replaced @ factors,
        recurring=recurring * ds.uniform_present_value(rate, years),
        residual=ds.remaining_life_value(edge.price, left).sum(axis=-1)
        * float(ds.single_present_value(rate, years)),
        yearly=replaced + recurring[..., None],
        yearly_replaced=replaced,
    )


def _cycle_of(edge: EdgeCosts, inputs: CostInputs) -> tuple[dict[str, Any], list[tuple[Any, ...]]]:
    """Row and flows of one edge type."""
    rates = lines.estimated_rates(edge)
    unknown = lines.unknown_lines(lines.cost_lines(edge, rates, inputs))
    known = tuple(line for line in lines.LINES if line not in unknown)
    if inputs.n_positions == 0 or lines.SETS in unknown:
        return {c.EDGE_TYPE: edge.edge_type}, []
    own = _cycle(edge, rates, inputs, known)
    rate, years = inputs.discount_rate, inputs.horizon_years
    row = {
        c.EDGE_TYPE: edge.edge_type,
        LCC: float(own.total),
        EQUIVALENT: float(own.total) * ds.uniform_capital_recovery(rate, years),
        OUTFIT: own.outfit,
        REPLACED: float(own.replaced),
        RECURRING: float(own.recurring),
        RESIDUAL: -float(own.residual),
    }
    if edge.use.has_interval:
        drawn = draws.draw_edge(edge, inputs)
        low, _, high = draws.on_each_side(drawn, lambda rates: _cycle(edge, rates, inputs, known).total)
        row[LCC_LOW], row[LCC_HIGH] = draws.ends(low, high, inputs.confidence_level)
    if inputs.has_reference and edge.edge_type != inputs.reference:
        row |= _against_reference(edge, inputs)
    elif edge.edge_type == inputs.reference:
        row[c.NPV] = 0.0
    return row, _flow_rows(edge.edge_type, own, inputs)


def _against_reference(edge: EdgeCosts, inputs: CostInputs) -> dict[str, Any]:
    """Net savings and the other measures, over the lines that are known for both."""
    reference = inputs.edge(inputs.reference)
    both = lines.shared_lines(edge, reference, inputs)
    if math.isnan(reference.price):
        return {}
    rate, years = inputs.discount_rate, inputs.horizon_years
    own, other = (_cycle(one, lines.estimated_rates(one), inputs, both) for one in (edge, reference))
    saved, outfit = other.running - own.running, own.outfit - other.outfit
    sir = ds.savings_to_investment(saved, outfit - (own.residual - other.residual))
    row = {
        c.NPV: float(other.total - own.total),
        SIR: float(sir),
        AIRR: float(ds.adjusted_internal_rate(sir, rate, years)),
        SIMPLE_PAYBACK: float(ds.payback_years(outfit, other.yearly - own.yearly)),
        DISCOUNTED_PAYBACK: float(ds.payback_years(outfit, other.yearly - own.yearly, rate)),
    }
    of_type = inputs.savings[inputs.savings[c.EDGE_TYPE] == edge.edge_type]
    if len(of_type):
        yearly = float(of_type[c.ESTIMATE].sum()) * inputs.fleet_miles
        row[NPV_SAVED] = row[c.NPV] + yearly * ds.uniform_present_value(rate, years)
    if edge.use.has_interval and reference.use.has_interval:
        ends = []
        for of_own, of_other in draws.draw_pairs(edge, reference, inputs, both):
            cheap, _, dear = draws.on_each_side(of_own, lambda rates: _cycle(edge, rates, inputs, both).total)
            low, _, high = draws.on_each_side(
                of_other, lambda rates: _cycle(reference, rates, inputs, both).total
            )
            ends.append(draws.ends(low - dear, high - cheap, inputs.confidence_level))
        row[c.NPV_LOW], row[c.NPV_HIGH] = min(end[0] for end in ends), max(end[1] for end in ends)
    return row


def _flow_rows(kind: str, cycle: _Cycle, inputs: CostInputs) -> list[tuple[Any, ...]]:
    rate, years = inputs.discount_rate, inputs.horizon_years
    rows: list[tuple[Any, ...]] = [(kind, 0, OUTFIT, float(cycle.outfit), float(cycle.outfit))]
    for year in range(1, years + 1):
        factor = float(ds.single_present_value(rate, year))
        bought = float(cycle.yearly_replaced[year - 1])
        rest = float(cycle.yearly[year - 1]) - bought
        rows.append((kind, year, REPLACED, bought, bought * factor))
        rows.append((kind, year, RECURRING, rest, rest * factor))
    end = float(ds.single_present_value(rate, years))
    rows.append((kind, years, RESIDUAL, -float(cycle.residual) / end, -float(cycle.residual)))
    return rows


def _notes(inputs: CostInputs) -> list[str]:
    if inputs.n_positions == 0:
        return ["No miles are planned, so no life-cycle cost is stated."]
    notes = [
        "Every truck is taken to start with a new set of the type in year 0 and to plow the miles of a middling winter each year; "
        "part-worn sets of today's type that are at hand are not counted."
    ]
    for edge in inputs.others:
        rates = lines.estimated_rates(edge)
        unknown = lines.unknown_lines(lines.cost_lines(edge, rates, inputs))
        if unknown:
            names = [lines.LINE_WORDS[line] for line in unknown]
            notes.append(
                f"{sentence_case(inputs.label(edge.edge_type))}: not in the life-cycle cost, because unknown: {', '.join(names)}."
            )
    return notes
