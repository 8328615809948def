"""Where an edge type just pays for itself.

Answers: how many times as long as the reference must it last, and what may a set cost at most?
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.formatting import level_words, money, money_interval, number, sentence_case
from trialkit.money import draws, lines
from trialkit.money.draws import LOWER, UPPER
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.lines import Rates
from trialkit.results import Labelled
from trialkit.table_parts import SECTION

LIFE_RATIO = "life_ratio"
RATIO_LOW, RATIO_HIGH = "break_even_ratio_low", "break_even_ratio_high"
PRICE_FROM, PRICE_TO = "break_even_price_low", "break_even_price_high"

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, LIFE_RATIO, c.BREAK_EVEN_LIFE_RATIO, RATIO_LOW, RATIO_HIGH, c.PRICE, c.BREAK_EVEN_PRICE,
    PRICE_FROM, PRICE_TO,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class BreakEven(Labelled):
    """Life ratio and price at which each edge type costs as much per mile as the reference.

    Attributes
    ----------
    table : DataFrame
        One row per edge type but the reference: `life_ratio` (as estimated), `break_even_life_ratio` with its ends (missing where no
        life is long enough, or the reference showed no wear; a missing upper end means "at least", a missing lower end that the
        reference may not wear at all), `price` (as it is), `break_even_price` with its ends (below zero
        where the type would not pay even as a gift; missing where it hardly wears or breaks).
    inputs : CostInputs
    labels : dict
    """

    inputs: CostInputs = field(repr=False)
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The break-even points in words."""
        return " ".join(self.sentences()) or "There is nothing to break even with."

    @property
    def _reference_wears(self) -> bool:
        return math.isfinite(self.inputs.edge(self.inputs.reference).life_mi)

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        who, other = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        piece = "a section of " if self.inputs.edge(str(row[c.EDGE_TYPE])).replaced_as == SECTION else ""
        needed, found = row[c.BREAK_EVEN_LIFE_RATIO], row[LIFE_RATIO]
        if not math.isfinite(row[c.PRICE]):
            return f"Where {who} breaks even is not known."
        if not self._reference_wears:
            life = f"How long {who} must last is not known, since no wear of {other} was measured"
        elif not math.isfinite(needed):
            life = f"At {money(row[c.PRICE], self.inputs.currency)} a set {who} does not pay, however long it lasts"
        else:
            seen = f"; the trial puts it at {number(found, 2)} times" if math.isfinite(found) else ""
            life = (
                f"At {money(row[c.PRICE], self.inputs.currency)} a set {piece}{who} must last {number(needed, 2)} times as long as a "
                f"set of {other} to cost the same{seen}"
            )
        price = row[c.BREAK_EVEN_PRICE]
        if not math.isfinite(price):
            return f"{sentence_case(life)}."
        if price <= 0:
            return f"{sentence_case(life)}. At the lives found it would not pay even as a gift."
        sure = f" ({level_words(self.inputs.confidence_level)})" if math.isfinite(row[PRICE_FROM]) else ""
        said = money_interval(price, row[PRICE_FROM], row[PRICE_TO], self.inputs.currency)
        return f"{sentence_case(life)}. At the lives found a set may cost {said}{sure}."


def find_break_even(inputs: CostInputs) -> BreakEven:
    """Find the life ratio and the price at which each edge type just pays.

    Use it to see how much room there is, and for what to offer at most. It is over the cost of the edges alone, without material
    and passes.

    Parameters
    ----------
    inputs : CostInputs

    Returns
    -------
    BreakEven

    Notes
    -----
    The cost per mile is linear in the pieces worn out per mile and in the price, so both follow in closed form: the pieces at which
    the costs are equal give the life (`lines.life_use`), and the cost difference over the sets bought per mile, worn and broken,
    gives the price. The life ratio is that of the reference's use to the use found, with the reference as it is. Intervals come
    from the same draws as the difference in cost.
    """
    rows = [_row(edge, inputs) for edge in inputs.others] if inputs.has_reference else []
    return BreakEven(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method="Cost of the edges alone set equal to that of the reference; intervals from the draws of the difference.",
        notes=(),
        inputs=inputs,
        labels=inputs.labels,
    )


def _row(edge: EdgeCosts, inputs: CostInputs) -> dict[str, Any]:
    reference = inputs.edge(inputs.reference)
    own, other = lines.estimated_rates(edge), lines.estimated_rates(reference)
    row: dict[str, Any] = {
        c.EDGE_TYPE: edge.edge_type,
        c.REFERENCE: inputs.reference,
        LIFE_RATIO: other.use / own.use if own.use > 0 and other.use > 0 else math.nan,
        c.PRICE: edge.price,
    }
    if math.isnan(edge.price) or math.isnan(reference.price):
        return row
    wears = other.use > 0
    if wears:
        row[c.BREAK_EVEN_LIFE_RATIO] = _finite(float(_life_ratio(edge, reference, own, other, inputs)))
    row[c.BREAK_EVEN_PRICE] = _finite(float(_price(edge, reference, own, other, inputs)))
    if edge.use.has_interval and reference.use.has_interval:
        pairs = draws.draw_pairs(edge, reference, inputs, lines.shared_lines(edge, reference, inputs))

        def ends(found: Any) -> tuple[float, float]:
            drawn = [
                found(edge, reference, of_own.at(-side), of_other.at(side), inputs)
                for of_own, of_other in pairs
                for side in (LOWER, UPPER)
            ]
            of_each = [draws.ends(one, one, inputs.confidence_level) for one in drawn]
            return _finite(min(low for low, _ in of_each)), _finite(max(high for _, high in of_each))

        if wears:
            low, high = ends(_life_ratio)
            row[RATIO_LOW], row[RATIO_HIGH] = low if low > 0 else math.nan, high
        row[PRICE_FROM], row[PRICE_TO] = ends(_price)
    return row


def _life_ratio(edge: EdgeCosts, reference: EdgeCosts, own: Rates, other: Rates, inputs: CostInputs) -> Any:
    """Life over the reference's life at which the costs are equal; infinite where none is long enough."""
    both = lines.shared_lines(edge, reference, inputs)
    target = lines.total_cost(reference, other, inputs, both)
    fixed = lines.total_cost(
        edge, replace(own, use=np.zeros_like(np.asarray(own.use, dtype=float))), inputs, both
    )
    some = replace(own, use=np.full_like(np.asarray(own.use, dtype=float), 1e-3))
    pieces, _ = lines.replacements(edge, some)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = (lines.total_cost(edge, some, inputs, both) - fixed) / pieces
        hazard = np.asarray(own.breaks)
        if edge.replaced_as == SECTION:
            hazard = hazard + np.asarray(own.section_breaks) / edge.sections_n
        use = lines.life_use(np.maximum(target - fixed, 0.0) / each / edge.sections_n, hazard)
        return np.where((target > fixed) & (use > 0), np.asarray(other.use) / use, np.inf)


def _price(edge: EdgeCosts, reference: EdgeCosts, own: Rates, other: Rates, inputs: CostInputs) -> Any:
    """Price of a set at which the costs are equal; infinite where no set is used up."""
    both = lines.shared_lines(edge, reference, inputs)
    gap = lines.total_cost(reference, other, inputs, both) - lines.total_cost(edge, own, inputs, both)
    bought = lines.sets_bought(edge, own)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(bought > 0, edge.price + gap / bought, np.inf)


def _finite(value: float) -> float:
    return value if math.isfinite(value) else math.nan
