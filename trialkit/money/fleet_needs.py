"""What the truck positions that carry one edge type need, one by one and together.

Answers: how many sets and sections does each position need in each winter, how many suffice for all of them, and what do those cost?
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from trialkit import columns as c
from trialkit.money import lines, prices
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.sets_needed import CARRIED_FRAC, SetsUsed, order_quantity
from trialkit.table_parts import SECTION, SET, WINTERS

PIECE = "piece"
EXPECTED, TO_HAVE, SUM_OF_TRUCKS = "expected", "to_have", "sum_of_trucks"
FIRST_YEAR_CASH, STEADY_CASH, CASH_AT_LEVEL = "first_year_cash", "steady_year_cash", "cash_at_level"
KITS, N_CARRIED = "kits", "n_carried"


@dataclass(frozen=True, eq=False, slots=True)
class Position:
    """One truck position of next season.

    Attributes
    ----------
    truck_id : str
    miles : ndarray
        Miles of each winter. [mi]
    carried_frac : float
        Share of life left in the part-worn set that it starts with; 0 where it starts with a new one.
    lacks_kit : bool
        Whether it has nothing yet to mount the type with.
    """

    truck_id: str
    miles: np.ndarray
    carried_frac: float
    lacks_kit: bool


class TypeNeeds:
    """What all positions of one edge type at one plow position need.

    Parameters
    ----------
    edge : EdgeCosts
    source : CostInputs
        Of the plow position.
    drawn : SetsUsed
        Draws of the sets that are used up.
    service_level : float
        Probability that the numbers suffice.
    """

    def __init__(self, edge: EdgeCosts, source: CostInputs, drawn: SetsUsed, service_level: float) -> None:
        self.edge, self.source, self.drawn, self.service_level = edge, source, drawn, service_level
        self.pieces: Any = 0
        self.outfit = self.kits = self.n_carried = 0
        self.alone = np.zeros(len(WINTERS), dtype=int)
        self.miles = np.zeros(len(WINTERS))

    def take(self, position: Position) -> list[dict[str, Any]]:
        """Draw the needs of one more position and count them; its rows of the table by truck."""
        needs = self.drawn.of_truck(position.miles, position.carried_frac)
        self.pieces = self.pieces + needs.pieces
        self.outfit += needs.outfit
        self.n_carried += int(position.carried_frac > 0)
        self.miles = self.miles + position.miles
        if position.lacks_kit and lines.conversion_outlay(self.edge, self.source) != 0:
            self.kits += 1
        rows = []
        for column, winter in enumerate(WINTERS):
            for piece, expected, to_have in self._of_winter(needs.pieces[:, column], needs.outfit):
                if piece == self.edge.replaced_as:
                    self.alone[column] += to_have
                rows.append(
                    {
                        c.TRUCK_ID: position.truck_id,
                        **self._about(winter),
                        c.MILES_MI: position.miles[column],
                        PIECE: piece,
                        EXPECTED: expected,
                        TO_HAVE: to_have,
                        CARRIED_FRAC: position.carried_frac,
                    }
                )
        return rows

    def rows(self) -> list[dict[str, Any]]:
        """Rows of the table of the fleet."""
        edge = self.edge
        kit = edge.items[prices.CONVERSION].amount if self.kits else 0.0
        a_year = float(lines.sets_bought(edge, lines.estimated_rates(edge))) * edge.price * self.miles
        rows = []
        for column, winter in enumerate(WINTERS):
            for piece, expected, to_have in self._of_winter(self.pieces[:, column], self.outfit):
                as_worn = piece == edge.replaced_as
                price = edge.price / edge.sections_n if piece == SECTION else edge.price
                kits = self.kits if piece == SET else 0
                rows.append(
                    {
                        **self._about(winter),
                        N_CARRIED: self.n_carried,
                        PIECE: piece,
                        EXPECTED: expected,
                        TO_HAVE: to_have,
                        SUM_OF_TRUCKS: int(self.alone[column]) if as_worn else self.outfit,
                        KITS: kits,
                        c.PRICE: price,
                        FIRST_YEAR_CASH: expected * price + kits * kit,
                        CASH_AT_LEVEL: to_have * price + kits * kit,
                        STEADY_CASH: a_year[column] if as_worn else 0.0,
                    }
                )
        return rows

    def _about(self, winter: str) -> dict[str, Any]:
        return {
            c.EDGE_TYPE: self.edge.edge_type,
            c.PLOW_POSITION: self.source.plow_position,
            c.WINTER: winter,
        }

    def _of_winter(self, used: np.ndarray, outfit: int) -> list[tuple[str, float, int]]:
        """Each piece with how many are needed on average and how many suffice; a first outfit is of whole sets."""
        if self.edge.replaced_as == SECTION:
            return [(SET, float(outfit), outfit), (SECTION, *self._enough(used))]
        return [(SET, *self._enough(used + outfit))]

    def _enough(self, needed: np.ndarray) -> tuple[float, int]:
        return float(needed.mean()), order_quantity(needed, self.service_level)
