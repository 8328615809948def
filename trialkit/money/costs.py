"""What a blade-down mile costs with each edge type, and how sure that is.

Answers: what does each edge type cost per mile and per season, and of which parts?
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    listed,
    money_interval,
    sentence_case,
)
from trialkit.money import draws, lines
from trialkit.money.cost_differences import (
    COMPARED_COLUMNS,
    EDGES_ALONE,
    Difference,
    chance_words,
    compare_edge,
)
from trialkit.money.inputs import CostInputs, EdgeCosts, use_notes
from trialkit.results import Labelled
from trialkit.table_parts import NO, YES

OF_WHICH = "of_which"
PER_MILE = "$/mi"

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.ANNUAL_LOW, c.ANNUAL_HIGH, c.PLOW_POSITION, c.PRICE,
    c.PRICE_LOW, c.PRICE_HIGH, c.N_TRUCKS, c.UNKNOWN_LINES,
]  # fmt: skip
LINE_COLUMNS = [c.EDGE_TYPE, c.LINE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.ANNUAL_COST, c.KNOWN, OF_WHICH]


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


def estimate_costs(inputs: CostInputs) -> Costs:
    """Estimate the cost of each edge type per blade-down mile and per season, with intervals.

    Use it for the headline cost. Not for a plow position at which the type was not tried, and not for a price or a winter
    other than the one given: `what_if` does that.

    Parameters
    ----------
    inputs : CostInputs
        From `gathering.read_inputs`.

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
            found = compare_edge(edge, inputs)
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


# ---------------------------------------------------------------- words
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
