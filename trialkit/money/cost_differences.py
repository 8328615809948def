"""What a blade-down mile with an edge type costs less, or more, than with the reference.

Answers: how large is the difference, how sure is that, and how likely is it that the type is cheaper?

Interval, p value and chance are read from the same draws and agree with each other.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trialkit import columns as c
from trialkit.formatting import listed, percent
from trialkit.money import draws, lines
from trialkit.money.inputs import CostInputs, EdgeCosts

EDGES_ALONE, WITH_SAVINGS = "edges alone", "with the material and passes saved"

COMPARED_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.BASIS, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT,
    c.CHANCE_CHEAPER, c.UNKNOWN_LINES, c.N_TRUCKS, c.N_TRUCKS_REFERENCE,
]  # fmt: skip


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


def compare_edge(edge: EdgeCosts, inputs: CostInputs) -> list[tuple[dict[str, Any], Difference]]:
    """An edge type against the reference, without and with what it saves in material and passes: rows and their draws."""
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


def chance_words(chance: float) -> str:
    """A probability from draws: ``"72%"``, ``"above 99%"``, ``"below 1%"``."""
    if not math.isfinite(chance):
        return "not known"
    if chance > 0.99:
        return "above 99%"
    return "below 1%" if chance < 0.01 else percent(100 * chance)
