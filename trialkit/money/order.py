"""What to order for next season, truck by truck and for the fleet.

Answers: how many sets and sections are needed in a light, a middling and a hard winter, what do they cost, and which part-worn sets
go on again?
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import PLOWS, counted, level_percent, listed, money, position_name
from trialkit.money.fleet_needs import (
    CASH_AT_LEVEL,
    EXPECTED,
    FIRST_YEAR_CASH,
    KITS,
    N_CARRIED,
    PIECE,
    STEADY_CASH,
    SUM_OF_TRUCKS,
    TO_HAVE,
    Position,
    TypeNeeds,
)
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.season import SeasonMiles
from trialkit.money.sets_needed import CARRIED_FRAC, SetsUsed, Spread
from trialkit.results import Labelled
from trialkit.table_parts import MIDDLING, WINTERS

DRAWS = 10_000

POSITION_COLUMNS = [c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE]
TABLE_COLUMNS = [
    c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE, c.WINTER, c.MILES_MI, PIECE, EXPECTED, TO_HAVE, CARRIED_FRAC,
]  # fmt: skip
FLEET_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.WINTER, PIECE, EXPECTED, TO_HAVE, SUM_OF_TRUCKS, N_CARRIED, KITS, c.PRICE, FIRST_YEAR_CASH, CASH_AT_LEVEL,
    STEADY_CASH,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Order(Labelled):
    """Sets and sections for next season.

    Attributes
    ----------
    table : DataFrame
        One row per truck position, winter and piece ("set" or "section"): `truck_id`, `plow_position`, `edge_type`, `winter`, `miles_mi`,
        `expected` (new pieces on average), `to_have` (so many suffice at the service level), `carried_frac` (share of life left in the
        part-worn set it starts with; 0 where it starts with a new one).
    fleet : DataFrame
        One row per edge type, plow position, winter and piece: `expected`, `to_have` (suffices for the fleet together at the service level),
        `sum_of_trucks` (the trucks' own numbers added up: what is needed if nothing is shared), `n_carried`, `kits`, `price` (of one
        piece), `first_year_cash` (expected pieces and kits), `cash_at_level` (at `to_have`), `steady_year_cash` (a year once the
        first outfit is past).
    service_level : float
        Probability that the number suffices.
    currency : str
    labels : dict
    """

    fleet: pd.DataFrame
    service_level: float
    currency: str
    labels: Mapping[str, str]

    def sentences(self, winter: str = MIDDLING) -> tuple[str, ...]:
        """One sentence for each edge type and piece in one winter."""
        rows = self.fleet[self.fleet[c.WINTER] == winter]
        return tuple(self._sentence(row) for row in rows.to_dict("records"))

    def sentence(self) -> str:
        """The order for a middling winter in words."""
        return (
            " ".join(self.sentences())
            or "There is nothing to order: no miles are planned, or no life is known."
        )

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        what = f"{row[PIECE]} of {self.label(row[c.EDGE_TYPE])}"
        many = counted(int(row[TO_HAVE]), what, f"{row[PIECE]}s of {self.label(row[c.EDGE_TYPE])}")
        price = f" ({_cash_words([row], self.currency)})"
        alone = int(row[SUM_OF_TRUCKS])
        shared = f"; {alone} if every truck keeps its own stock" if alone > row[TO_HAVE] else ""
        return (
            f"In a {row[c.WINTER]} winter {many}{price} suffice{'s' if row[TO_HAVE] == 1 else ''} for {self._where(row)} with "
            f"{level_percent(self.service_level)} certainty{shared}."
        )

    def _where(self, row: dict[Hashable, Any]) -> str:
        if self.fleet[c.PLOW_POSITION].nunique() < 2:
            return "the fleet"
        return f"the fleet's {PLOWS.get(row[c.PLOW_POSITION], row[c.PLOW_POSITION])}"

    def cash(self, winter: str = MIDDLING) -> tuple[float, float, float]:
        """First-year cash as expected and at the service level, and the cash of a steady year, over all types and pieces."""
        rows = self.fleet[self.fleet[c.WINTER] == winter]
        found = [rows[name].sum(skipna=False) for name in (FIRST_YEAR_CASH, CASH_AT_LEVEL, STEADY_CASH)]
        return float(found[0]), float(found[1]), float(found[2])

    def cash_words(self, winter: str = MIDDLING) -> str:
        """Cash at the service level over all types and pieces; where a price is not recorded, what is left out or that it is not known."""
        rows = self.fleet[self.fleet[c.WINTER] == winter]
        return _cash_words(rows.to_dict("records"), self.currency)

    def row_cash_words(self, row: Mapping[Hashable, Any]) -> str:
        """The same for one row of `fleet`."""
        return _cash_words([row], self.currency)


def project_order(
    assignment: pd.DataFrame,
    sources: Sequence[CostInputs],
    plan: SeasonMiles,
    *,
    service_level: float = 0.9,
    carried: pd.DataFrame | None = None,
    spreads: Mapping[tuple[str, str], Spread] | None = None,
    fitted: Sequence[tuple[str, str, str]] = (),
    n_draws: int = DRAWS,
    seed: int = 1,
) -> Order:
    """Project the sets and sections that next season needs.

    Use it for the budget line and the purchase order. Not for a single truck's exact needs: no truck's own record is used, each is
    taken as one more of the fleet.

    Parameters
    ----------
    assignment : DataFrame
        Columns truck_id, plow_position, edge_type: what each position will carry.
    sources : sequence of CostInputs
        One for each plow position; their edge types give lives, breakage and prices.
    plan : SeasonMiles
        Miles of each winter.
    service_level : float
        Probability that the number suffices.
    carried : DataFrame, optional
        Columns truck_id, plow_position, edge_type, carried_frac: part-worn sets that go on again; see `sets_needed.remaining_shares`.
    spreads : mapping, optional
        (edge type, plow position) to `Spread`; the spread between trucks alone where there is none.
    fitted : sequence of (truck_id, plow_position, edge_type)
        Positions that have their conversion kit already.
    n_draws, seed : int

    Returns
    -------
    Order

    Raises
    ------
    UsageError
        If the service level is not between 0 and 1.

    Notes
    -----
    See `sets_needed.SetsUsed`. Where none of a type broke at a plow position, the breaks and miles of all positions of that type are
    taken together: few miles without a break leave room for a rate that the other positions speak against. The number for the fleet is the quantile of the fleet's total in the same draws, not the sum of the
    trucks' numbers: sets are shared, and not every truck has its worst winter at once. A new set to start with counts as needed
    where none is carried over. A section type takes whole sets to start with and single sections after that. Cash of a steady year:
    sets worn out and broken per mile times the miles and the price.
    """
    if not 0 < service_level < 1:
        raise UsageError(f"the service level is {service_level:g}; it lies above 0 and below 1, such as 0.9")
    known = _known(sources)
    miles_of = plan.table.set_index([c.TRUCK_ID, c.PLOW_POSITION])[list(WINTERS.values())]
    starts, have_kit = _starts(carried), set(fitted)
    types: dict[tuple[str, str], TypeNeeds] = {}
    rows: list[dict[str, Any]] = []
    left_out: list[str] = []
    for truck, place, kind in assignment[POSITION_COLUMNS].astype(object).itertuples(index=False):
        key = (kind, place)
        if key not in known or (truck, place) not in miles_of.index:
            left_out.append(f"{truck} {place}")
            continue
        if key not in types:
            edge, source = known[key]
            rng = np.random.default_rng([seed, zlib.crc32(f"{kind} {place} order".encode())])
            spread = (spreads or {}).get(key) or Spread(_truck_spread(edge))
            types[key] = TypeNeeds(edge, source, SetsUsed(edge, spread, rng, n_draws), service_level)
        left = starts.get((truck, place, kind), 0.0)
        lacks_kit = left <= 0 and (truck, place, kind) not in have_kit
        miles = miles_of.loc[(truck, place)].to_numpy(dtype=float)
        rows += types[key].take(Position(truck, miles, left, lacks_kit))
    fleet = [row for one in types.values() for row in one.rows()]
    return Order(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=(
            f"{n_draws:,} seasons drawn (seed {seed}): sets wear out or break one after the other on each truck, with the spread between "
            f"trucks, sets and sections and what the trial leaves open. The number suffices in {level_percent(service_level)} of them."
        ),
        notes=tuple(_notes(left_out, list(types.values()))),
        fleet=pd.DataFrame(fleet, columns=FLEET_COLUMNS),
        service_level=service_level,
        currency=sources[0].currency if sources else "USD",
        labels=sources[0].labels if sources else {},
    )


def _known(sources: Sequence[CostInputs]) -> dict[tuple[str, str], tuple[EdgeCosts, CostInputs]]:
    """(edge type, plow position) to its figures, of all whose wear was read."""
    return {
        (edge.edge_type, one.plow_position): (_with_pooled_breaks(edge, sources), one)
        for one in sources
        for edge in one.edges
        if math.isfinite(float(edge.use.sample.mean))
    }


def _cash_words(rows: Sequence[Mapping[Hashable, Any]], currency: str) -> str:
    """Cash of some pieces; without the kits if only their price is not recorded."""
    whole = sum(float(row[CASH_AT_LEVEL]) for row in rows)
    if math.isfinite(whole):
        return money(whole, currency)
    pieces = sum(int(row[TO_HAVE]) * float(row[c.PRICE]) for row in rows)
    if not math.isfinite(pieces):
        return "price not known"
    return f"{money(pieces, currency)} and conversion kits whose price is not recorded"


def _with_pooled_breaks(edge: EdgeCosts, sources: Sequence[CostInputs]) -> EdgeCosts:
    """The edge with what broke at all plow positions together, where none broke at its own."""
    if edge.use.breaks + edge.use.section_breaks > 0:
        return edge
    uses = [one.use for source in sources for one in source.edges if one.edge_type == edge.edge_type]
    uses = [use for use in uses if use.miles_mi > 0]
    if len(uses) < 2:
        return edge
    together = replace(
        edge.use,
        breaks=sum(use.breaks for use in uses),
        section_breaks=sum(use.section_breaks for use in uses),
        miles_mi=sum(use.miles_mi for use in uses),
    )
    return replace(edge, use=together)


def _truck_spread(edge: EdgeCosts) -> float:
    sample = edge.use.sample
    if not edge.use.has_interval:
        return 0.0
    return math.sqrt(max(float(sample.variance), float(sample.variance_floor)))


def _starts(carried: pd.DataFrame | None) -> dict[tuple[Any, Any, Any], float]:
    """Share of life left in the set that a position starts with."""
    if carried is None or carried.empty:
        return {}
    keys = carried[POSITION_COLUMNS].astype(object).itertuples(index=False, name=None)
    return {tuple(key): float(left) for key, left in zip(keys, carried[CARRIED_FRAC], strict=True)}


def _notes(left_out: Sequence[str], types: Sequence[TypeNeeds]) -> list[str]:
    notes = []
    if left_out:
        names = [position_name(name) for name in left_out[:5]]
        more = f" and {len(left_out) - 5} more" if len(left_out) > 5 else ""
        notes.append(
            f"Not in the order, for want of planned miles or of a life of that type at that position: {listed(names)}{more}."
        )
    n_carried = sum(one.n_carried for one in types)
    if n_carried:
        notes.append(
            f"{counted(n_carried, 'part-worn set')} of the type planned for {'its' if n_carried == 1 else 'their'} truck can go on "
            f"again in fall and {'is' if n_carried == 1 else 'are'} counted with the life left."
        )
    for one in types:
        if not one.edge.use.has_interval:
            where = PLOWS.get(one.source.plow_position, one.source.plow_position)
            notes.append(
                f"The life of {one.source.label(one.edge.edge_type)} on {where} rests on a single truck: how trucks differ is not in its "
                "numbers, and more may be needed."
            )
    if types:
        notes.append("Spare sets on the shelf are not counted: take them off the order.")
    return notes
