"""What a blade-down mile costs with each edge type, and how sure that is.

Answers: what does each edge type cost per mile and per season, of which parts, and is it cheaper than the reference?
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    listed,
    money_interval,
    percent,
    sentence_case,
)
from trialkit.money import draws, lines
from trialkit.money.inputs import CostInputs, EdgeCosts, use_notes
from trialkit.results import Labelled

YES, NO = "yes", "no"
OF_WHICH = "of_which"
PER_MILE = "$/mi"
EDGES_ALONE, WITH_SAVINGS = "edges alone", "with the material and passes saved"

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.ANNUAL_LOW, c.ANNUAL_HIGH, c.PLOW_POSITION, c.PRICE,
    c.PRICE_LOW, c.PRICE_HIGH, c.N_TRUCKS, c.UNKNOWN_LINES,
]  # fmt: skip
LINE_COLUMNS = [c.EDGE_TYPE, c.LINE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.KNOWN, OF_WHICH]
COMPARED_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.BASIS, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT,
    c.CHANCE_CHEAPER, c.UNKNOWN_LINES, c.N_TRUCKS, c.N_TRUCKS_REFERENCE,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Costs(Labelled):
    """Cost of each edge type on one plow position.

    Attributes
    ----------
    table : DataFrame
        One row per edge type, the reference first: `edge_type`, `cost_per_mi`, `conf_low`, `conf_high` (cost per blade-down mile),
        `annual_cost`, `annual_low`, `annual_high` (the planned miles of the middling winter on every truck), `plow_position`,
        `price`, `price_low`, `price_high`, `n_trucks`, `unknown_lines` (lines that are not in the total, in words).
    lines : DataFrame
        One row per edge type and cost line: `edge_type`, `line`, `estimate`, `conf_low`, `conf_high` (per blade-down mile; missing
        where unknown), `annual_cost`, `known` (yes or no), `of_which` (yes where the line is a part of another line and not added,
        or stands beside the total).
    compared : DataFrame
        One row per edge type but the reference and basis ("edges alone"; "with the material and passes saved" where such a saving
        was shown): `estimate`, `conf_low`, `conf_high` (cost per mile less that of the reference; negative saves), `saving_pct`
        and its ends, `chance_cheaper` (probability that it costs less; see `Difference.chance_cheaper`), `unknown_lines` (left out of both).
    differences : dict
        (edge type, basis) to the draws of the difference and of the reference's cost; see `Difference`.
    inputs : CostInputs
        What it was worked out from.
    labels : dict
    """

    lines: pd.DataFrame
    compared: pd.DataFrame
    differences: Mapping[tuple[str, str], Difference] = field(repr=False)
    inputs: CostInputs = field(repr=False)
    labels: Mapping[str, str]

    @property
    def confidence_level(self) -> float:
        """Two-sided level of every interval."""
        return self.inputs.confidence_level

    @property
    def currency(self) -> str:
        """Three-letter code."""
        return self.inputs.currency

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The costs in words."""
        return " ".join(self.sentences()) or "No cost can be stated: there is no life of any edge type."

    def difference_sentences(self, basis: str = EDGES_ALONE) -> tuple[str, ...]:
        """One sentence for each edge type against the reference."""
        rows = self.compared[self.compared[c.BASIS] == basis]
        return tuple(self._difference(row) for row in rows.to_dict("records"))

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        who = sentence_case(self.label(row[c.EDGE_TYPE]))
        if not math.isfinite(row[c.COST_PER_MI]):
            return f"What {self.label(row[c.EDGE_TYPE])} costs per {_mile()} is not known."
        said = self.per_mile(row[c.COST_PER_MI], row[c.CONF_LOW], row[c.CONF_HIGH])
        trucks = counted(int(row[c.N_TRUCKS]), "truck")
        sure = (
            f"{level_words(self.confidence_level)}; {trucks}" if math.isfinite(row[c.CONF_HIGH]) else trucks
        )
        left = f" Not included because not known: {row[c.UNKNOWN_LINES]}." if row[c.UNKNOWN_LINES] else ""
        return f"{who} costs {said} ({sure}).{left}"

    def _difference(self, row: dict[Hashable, Any]) -> str:
        who, other = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        if not math.isfinite(row[c.ESTIMATE]):
            return f"The cost of {who} cannot be set against that of {other}."
        more = row[c.ESTIMATE] > 0
        ends = (row[c.CONF_LOW], row[c.CONF_HIGH]) if more else (-row[c.CONF_HIGH], -row[c.CONF_LOW])
        said = self.per_mile(abs(row[c.ESTIMATE]), *ends)
        start = f"{sentence_case(who)} costs {said} {'more' if more else 'less'} than {other}"
        if not math.isfinite(row[c.CONF_LOW]):
            return f"{start}."
        return f"{start} ({level_words(self.confidence_level)}; chance that it is cheaper {chance_words(row[c.CHANCE_CHEAPER])})."

    def per_mile(self, estimate: float, low: float, high: float) -> str:
        """An amount per mile with its interval, in the units that are shown."""
        middle, first, last = (display.value(one, PER_MILE) for one in (estimate, low, high))
        return money_interval(middle, first, last, self.currency, f"per {_mile()}")


@dataclass(frozen=True, eq=False, slots=True)
class Difference:
    """Draws of what an edge type costs per mile less what the reference costs.

    Attributes
    ----------
    lower, upper : ndarray
        Draws for the lower and the upper end.
    reference_lower, reference_upper : ndarray
        Cost of the reference in the same draws.
    has_interval : bool
        Whether both rest on at least two trucks.
    wear : Difference or None
        The same with the wear alone drawn: no interval is narrower than that.
    """

    lower: np.ndarray
    upper: np.ndarray
    reference_lower: np.ndarray
    reference_upper: np.ndarray
    has_interval: bool
    wear: Difference | None = None

    def interval(self, confidence_level: float) -> tuple[float, float]:
        """Ends of the difference; missing without an interval."""
        if not self.has_interval:
            return math.nan, math.nan
        ends = draws.ends(self.lower, self.upper, confidence_level)
        return ends if self.wear is None else _hull(ends, self.wear.interval(confidence_level))

    def saving_pct(self, confidence_level: float) -> tuple[float, float]:
        """Ends of the saving in percent of the reference's cost."""
        if not self.has_interval:
            return math.nan, math.nan
        with np.errstate(divide="ignore", invalid="ignore"):
            low = -100.0 * self.upper / self.reference_lower
            high = -100.0 * self.lower / self.reference_upper
        ends = draws.ends(low, high, confidence_level)
        return ends if self.wear is None else _hull(ends, self.wear.saving_pct(confidence_level))

    def p_saves(self, share: float) -> float:
        """Two-sided p value of the claim that the type costs less by more than a share of the reference's cost."""
        found = self._p(self.upper + share * self.reference_lower > 0)
        return found if self.wear is None else max(found, self.wear.p_saves(share))

    def p_costs_more(self) -> float:
        """Two-sided p value of the claim that the type costs more."""
        found = self._p(self.lower < 0)
        return found if self.wear is None else max(found, self.wear.p_costs_more())

    def chance_cheaper(self, estimate: float) -> float:
        """Probability that the type costs less, given what it costs more by the estimate; missing without an interval.

        The nearest to one half that any of the draws gives, so it agrees with the interval and the p values: where the interval
        takes in no difference, no more than what its level leaves is certain.
        """
        if not (self.has_interval and math.isfinite(estimate)):
            return math.nan
        draws = [self] if self.wear is None else [self, self.wear]
        if estimate < 0:
            return max(0.5, min(float((one.upper < 0).mean()) for one in draws))
        return min(0.5, max(float((one.lower < 0).mean()) for one in draws))

    def _p(self, against: np.ndarray) -> float:
        if not self.has_interval:
            return math.nan
        n = len(against)
        return min(2.0 * (int(against.sum()) + 1) / (n + 1), 1.0)


def _hull(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
    return min(a[0], b[0]), max(a[1], b[1])


def estimate_costs(inputs: CostInputs) -> Costs:
    """Estimate the cost of each edge type per blade-down mile and per season, with intervals.

    Use it for the headline cost. Not for a plow position at which the type was not tried, and not for a price or a winter
    other than the one given: `what_if` does that.

    Parameters
    ----------
    inputs : CostInputs
        From `inputs.read_inputs`.

    Returns
    -------
    Costs

    Notes
    -----
    Cost of a mile = worn pieces per mile * (price + hardware + labor + down time + disposal) + breaks per mile * the same at a
    break's own hours + kits and yearly amounts over the miles (`lines`). Wear, breakage and recorded hours are drawn
    (`draws`); prices, amounts and miles are taken as given. The interval runs between quantiles of the draws. The seasonal
    mounting in fall and taking off in spring is the same number of jobs for every type and not counted.
    """
    level = inputs.confidence_level
    rows, parts = [], []
    for edge in inputs.edges:
        row, of_lines = _estimate_edge(edge, inputs, level)
        rows.append(row)
        parts.extend(of_lines)
    differences: dict[tuple[str, str], Difference] = {}
    compared: list[dict[str, Any]] = []
    if inputs.has_reference:
        for edge in inputs.others:
            found = _compare_edge(edge, inputs)
            compared.extend(row for row, _ in found)
            differences |= {(edge.edge_type, row[c.BASIS]): drawn for row, drawn in found}
    return Costs(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_method(inputs),
        notes=(*inputs.notes, *_unknown_notes(inputs), *use_notes(inputs), *_breakage_notes(inputs)),
        lines=pd.DataFrame(parts, columns=LINE_COLUMNS),
        compared=pd.DataFrame(compared, columns=COMPARED_COLUMNS),
        differences=differences,
        inputs=inputs,
        labels=inputs.labels,
    )


def _estimate_edge(
    edge: EdgeCosts, inputs: CostInputs, level: float
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Cost of one edge type and its lines."""
    estimate = lines.cost_lines(edge, lines.estimated_rates(edge), inputs)
    drawn = draws.draw_edge(edge, inputs)
    low, _, high = (
        of_side for of_side in draws.on_each_side(drawn, lambda rates: lines.cost_lines(edge, rates, inputs))
    )
    miles = inputs.fleet_miles
    has = edge.use.has_interval

    def ends(below: Any, above: Any) -> tuple[float, float]:
        return draws.ends(below, above, level) if has else (math.nan, math.nan)

    middle = float(lines.total(estimate))
    from_, to = ends(lines.total(low), lines.total(high)) if math.isfinite(middle) else (math.nan, math.nan)
    unknown = lines.unknown_lines(estimate)
    row = {
        c.EDGE_TYPE: edge.edge_type,
        c.COST_PER_MI: middle,
        c.CONF_LOW: from_,
        c.CONF_HIGH: to,
        c.ANNUAL_COST: middle * miles,
        c.ANNUAL_LOW: from_ * miles,
        c.ANNUAL_HIGH: to * miles,
        c.PLOW_POSITION: inputs.plow_position,
        c.PRICE: edge.price,
        c.PRICE_LOW: edge.price_low,
        c.PRICE_HIGH: edge.price_high,
        c.N_TRUCKS: int(edge.use.sample.n),
        c.UNKNOWN_LINES: listed([lines.LINE_WORDS[line] for line in unknown]),
    }
    parts = []
    for line in (*lines.LINES, lines.UNUSED):
        if line not in estimate or (line == lines.UNUSED and not math.isfinite(estimate[line])):
            continue
        if line == lines.pr.OTHER and not edge.items[line].needed:
            continue
        known = math.isfinite(estimate[line])
        end = ends(low[line], high[line]) if known else (math.nan, math.nan)
        amount = float(estimate[line])
        parts.append(_line_row(edge.edge_type, line, amount, end, miles, line == lines.UNUSED))
    parts.extend(_saving_rows(edge.edge_type, inputs))
    return row, parts


def _line_row(
    kind: str, line: str, amount: float, ends: tuple[float, float], miles: float, beside: bool
) -> dict[str, Any]:
    return {
        c.EDGE_TYPE: kind,
        c.LINE: line,
        c.ESTIMATE: amount,
        c.CONF_LOW: ends[0],
        c.CONF_HIGH: ends[1],
        c.ANNUAL_COST: amount * miles,
        c.KNOWN: YES if math.isfinite(amount) else NO,
        OF_WHICH: YES if beside else NO,
    }


def _saving_rows(kind: str, inputs: CostInputs) -> list[dict[str, Any]]:
    """What material and passes save, as lines of their own with a minus."""
    rows = inputs.savings[inputs.savings[c.EDGE_TYPE] == kind]
    return [
        _line_row(
            kind, f"{lines.SAVED}: {row[c.ITEM]}", -row[c.ESTIMATE], (-row[c.CONF_HIGH], -row[c.CONF_LOW]),
            inputs.fleet_miles, True,
        )
        for row in rows.to_dict("records")
    ]  # fmt: skip


def drawn_difference(
    edge: EdgeCosts, inputs: CostInputs, basis: str = EDGES_ALONE, known: Collection[str] | None = None
) -> Difference:
    """Draws of the cost of an edge type less that of the reference, over some lines: those known for both unless they are given."""
    reference = inputs.edge(inputs.reference)
    both = lines.shared_lines(edge, reference, inputs) if known is None else known
    drawn = draws.draw_pairs(edge, reference, inputs, both)
    as_found = _saved(inputs, edge.edge_type) if basis == WITH_SAVINGS else 0.0
    saved = draws.draw_savings(inputs, edge.edge_type) if basis == WITH_SAVINGS else 0.0
    found = [
        _difference(pair, (edge, reference), inputs, both, of_savings)
        for pair, of_savings in zip(drawn, (saved, as_found), strict=False)
    ]
    return replace(found[0], wear=found[1]) if len(found) > 1 else found[0]


def _difference(
    drawn: tuple[draws.DrawnRates, draws.DrawnRates],
    edges: tuple[EdgeCosts, EdgeCosts],
    inputs: CostInputs,
    known: Collection[str],
    saved: Any,
) -> Difference:
    def on_each_side(which: int) -> tuple[Any, Any, Any]:
        return draws.on_each_side(
            drawn[which], lambda rates: lines.total_cost(edges[which], rates, inputs, known)
        )

    (low, _, high), (other_low, _, other_high) = on_each_side(0), on_each_side(1)
    return Difference(
        lower=low - other_high - saved,
        upper=high - other_low - saved,
        reference_lower=other_low,
        reference_upper=other_high,
        has_interval=all(edge.use.has_interval for edge in edges),
    )


def _saved(inputs: CostInputs, edge_type: str) -> float:
    """Material and passes saved per mile, as estimated."""
    return float(inputs.savings.loc[inputs.savings[c.EDGE_TYPE] == edge_type, c.ESTIMATE].sum())


def estimated_difference(
    edge: EdgeCosts, inputs: CostInputs, basis: str = EDGES_ALONE
) -> tuple[float, float]:
    """Cost per mile less that of the reference, and the cost of the reference, over the lines known for both."""
    reference = inputs.edge(inputs.reference)
    both = lines.shared_lines(edge, reference, inputs)
    own, other = (
        float(lines.total_cost(one, lines.estimated_rates(one), inputs, both)) for one in (edge, reference)
    )
    saved = _saved(inputs, edge.edge_type) if basis == WITH_SAVINGS else 0.0
    return own - other - saved, other


def _compare_edge(edge: EdgeCosts, inputs: CostInputs) -> list[tuple[dict[str, Any], Difference]]:
    """An edge type against the reference, without and with what it saves in material and passes."""
    reference = inputs.edge(inputs.reference)
    bases = [EDGES_ALONE]
    if (inputs.savings[c.EDGE_TYPE] == edge.edge_type).any():
        bases.append(WITH_SAVINGS)
    left_out = [line for line in lines.LINES if line not in lines.shared_lines(edge, reference, inputs)]
    found = []
    for basis in bases:
        estimate, other = estimated_difference(edge, inputs, basis)
        drawn = drawn_difference(edge, inputs, basis)
        known = math.isfinite(estimate)
        low, high = drawn.interval(inputs.confidence_level) if known else (math.nan, math.nan)
        pct_low, pct_high = drawn.saving_pct(inputs.confidence_level) if known else (math.nan, math.nan)
        row = {
            c.EDGE_TYPE: edge.edge_type,
            c.REFERENCE: inputs.reference,
            c.BASIS: basis,
            c.ESTIMATE: estimate,
            c.CONF_LOW: low,
            c.CONF_HIGH: high,
            c.SAVING_PCT: -100.0 * estimate / other if other > 0 else math.nan,
            c.SAVING_LOW_PCT: pct_low,
            c.SAVING_HIGH_PCT: pct_high,
            c.CHANCE_CHEAPER: drawn.chance_cheaper(estimate),
            c.UNKNOWN_LINES: listed([lines.LINE_WORDS[line] for line in left_out]),
            c.N_TRUCKS: int(edge.use.sample.n),
            c.N_TRUCKS_REFERENCE: int(reference.use.sample.n),
        }
        found.append((row, drawn))
    return found


# ---------------------------------------------------------------- words
def chance_words(chance: float) -> str:
    """A probability from draws: ``"72%"``, ``"above 99%"``, ``"below 1%"``."""
    if not math.isfinite(chance):
        return "not known"
    if chance > 0.99:
        return "above 99%"
    return "below 1%" if chance < 0.01 else percent(100 * chance)


def _mile() -> str:
    return f"blade-down {display.word('mile')}"


def _method(inputs: CostInputs) -> str:
    return (
        "Sets worn out, broken and lost per blade-down mile, times price, hardware, labor, down time and disposal, plus yearly and "
        f"one-time amounts over the planned miles. {inputs.n_draws:,} draws (seed {inputs.seed}) of the wear (t, the truck as the "
        f"unit), of breakage (Poisson, Jeffreys) and of the recorded hours; {level_percent(inputs.confidence_level)} interval between "
        "quantiles of the draws. Differences: both types drawn together with Welch's degrees of freedom, and no interval narrower "
        "than that of the wear alone. Prices, amounts and miles are taken as given."
    )


def _unknown_notes(inputs: CostInputs) -> list[str]:
    """Lines that are not known, the types of which the same lines are not known said together."""
    of_lines: dict[tuple[str, ...], list[str]] = {}
    for edge in inputs.edges:
        unknown = lines.unknown_lines(lines.cost_lines(edge, lines.estimated_rates(edge), inputs))
        if unknown and lines.SETS not in unknown:
            of_lines.setdefault(unknown, []).append(inputs.label(edge.edge_type))
    return [
        f"Not known for {listed(names)}: {listed([lines.LINE_WORDS[line] for line in unknown])}. They are in no total, and never taken as "
        "zero: record the amounts, with 0 where nothing is paid."
        for unknown, names in of_lines.items()
    ]


def _breakage_notes(inputs: CostInputs) -> list[str]:
    """How breakage enters the cost."""
    none = [
        inputs.label(edge.edge_type)
        for edge in inputs.edges
        if edge.use.miles_mi > 0 and edge.use.breaks + edge.use.section_breaks == 0
    ]
    if not none:
        return []
    return [
        f"No edge of {listed(none, 'or')} broke or was lost: breakage is 0 in the estimate, and what it may be is in the interval."
    ]
