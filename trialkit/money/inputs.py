"""Everything that the cost of edges is worked out from, in one place.

Answers: which prices, hours, lives and miles go into the cost of each edge type?

The figures are gathered once (`gathering`); `costs`, `life_cycle`, `break_even`, `what_if` and `bids` all read the same `CostInputs`,
so that a what-if is the same calculation with one figure changed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError, near_match
from trialkit.formatting import counted
from trialkit.money.prices import Amount
from trialkit.money.season import SeasonMiles
from trialkit.money.work import Work
from trialkit.stats.inference import Pairing, Sample
from trialkit.table_parts import SET

DRAWS = 10_000
SAVING_COLUMNS = [c.EDGE_TYPE, c.ITEM, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]


@dataclass(frozen=True, eq=False, slots=True)
class Use:
    """How fast an edge type is used up on one plow position.

    Attributes
    ----------
    sample : Sample
        Sets used up by wear per 1,000 blade-down miles, the truck as the unit; sections at one place where they are replaced
        on their own. Its mean is 1,000 over the life.
    breaks, section_breaks : int
        Sets, and single sections, that broke or were lost.
    miles_mi : float
        Blade-down miles in which they were counted. [mi]
    """

    sample: Sample
    breaks: int = 0
    section_breaks: int = 0
    miles_mi: float = math.nan

    @property
    def has_interval(self) -> bool:
        """Whether the spread between trucks is known."""
        return math.isfinite(float(self.sample.variance_of_mean))


@dataclass(frozen=True, eq=False, slots=True)
class EdgeCosts:
    """Prices, work and use of one edge type.

    Attributes
    ----------
    edge_type : str
    replaced_as : str
        "set" or "section".
    sections_n : float
        Sections of a set; 1 for a set replaced as a whole.
    price, price_low, price_high : float
        Of a complete set; NaN if not known.
    items : mapping
        Cost item to `Amount`.
    work : mapping
        "change", "break" and, for sections, "section_change" to `Work`.
    use : Use
    uneven_frac : float
        Share of the usable depth that is lost because a set comes off at its thinnest spot; NaN if not known.
    early_frac : float
        Share of the usable depth that was still on the thinnest spot of worn sets when they came off; NaN if not known.
    """

    edge_type: str
    replaced_as: str
    sections_n: float
    price: float
    price_low: float
    price_high: float
    items: Mapping[str, Amount]
    work: Mapping[str, Work]
    use: Use
    uneven_frac: float = math.nan
    early_frac: float = math.nan

    @property
    def life_mi(self) -> float:
        """Life at the mean rate of wear; infinite where no wear was measured. [mi]"""
        mean = float(self.use.sample.mean)
        return 1000.0 / mean if mean > 0 else math.inf if mean <= 0 else math.nan

    @property
    def broken_sets_frac(self) -> float:
        """Share of what broke or was lost that was whole sets; where nothing did, what would be replaced."""
        seen = self.use.breaks + self.use.section_breaks
        return self.use.breaks / seen if seen else float(self.replaced_as == SET)


@dataclass(frozen=True, slots=True)
class Terms:
    """Terms on which costs are worked out.

    Attributes
    ----------
    discount_rate : float
        Real, per year, as a fraction.
    horizon_years : int
        Years that the life-cycle cost spans.
    confidence_level : float
    seed : int
        Of everything that is drawn.
    n_draws : int
    currency : str
        Three-letter code.
    """

    discount_rate: float = 0.03
    horizon_years: int = 10
    confidence_level: float = 0.95
    seed: int = 1
    n_draws: int = DRAWS
    currency: str = "USD"


@dataclass(frozen=True, eq=False)
class CostInputs:
    """What the costs of the edge types on one plow position are worked out from.

    Attributes
    ----------
    edges : tuple of EdgeCosts
        The reference first.
    reference : str
    plow_position : str
    plan : SeasonMiles
        Miles of the season.
    discount_rate : float
        Real, per year, as a fraction.
    horizon_years : int
    pairings : mapping
        Edge type to the trucks it shares with the reference.
    savings : DataFrame
        edge_type, item, estimate, conf_low, conf_high: material and passes saved, per blade-down mile; only what was shown.
    confidence_level : float
    seed : int
    n_draws : int
    currency : str
    labels : mapping
    notes : tuple of str
    """

    edges: tuple[EdgeCosts, ...]
    reference: str
    plow_position: str
    plan: SeasonMiles
    discount_rate: float
    horizon_years: int
    pairings: Mapping[str, Pairing] = field(default_factory=dict)
    savings: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=SAVING_COLUMNS))
    confidence_level: float = 0.95
    seed: int = 1
    n_draws: int = DRAWS
    currency: str = "USD"
    labels: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def edge(self, edge_type: str) -> EdgeCosts:
        """The figures of one edge type."""
        for one in self.edges:
            if one.edge_type == edge_type:
                return one
        known = [one.edge_type for one in self.edges]
        hint = near_match(edge_type, known) or f"Edge types with a cost: {', '.join(known)}."
        raise UsageError(f'Edge type "{edge_type}" has no cost here. {hint}')

    @property
    def others(self) -> tuple[EdgeCosts, ...]:
        """The edge types but the reference."""
        return tuple(one for one in self.edges if one.edge_type != self.reference)

    @property
    def has_reference(self) -> bool:
        """Whether the reference is among the types that have a cost."""
        return any(one.edge_type == self.reference for one in self.edges)

    def with_edge(self, edge: EdgeCosts) -> CostInputs:
        """The same inputs with the figures of one edge type replaced."""
        edges = tuple(edge if one.edge_type == edge.edge_type else one for one in self.edges)
        return replace(self, edges=edges)

    def label(self, edge_type: str) -> str:
        """Name of an edge type as sentences print it."""
        return self.labels.get(edge_type, edge_type.replace("_", " "))

    @cached_property
    def fleet_miles(self) -> float:
        """Miles of the fleet at this plow position in a middling winter; NaN without a plan. [mi]"""
        miles = self.plan.miles(self.plow_position)
        return float(miles.sum()) if len(miles) and miles.sum() > 0 else math.nan

    @cached_property
    def n_positions(self) -> int:
        """Truck positions in the plan."""
        return len(self.plan.at(self.plow_position))


def use_notes(inputs: CostInputs) -> list[str]:
    """What has to be said about the lives: one truck only, no wear measured, a life without an upper end."""
    notes = []
    for one in inputs.edges:
        who = inputs.label(one.edge_type)
        sample = one.use.sample
        if not math.isfinite(float(sample.mean)):
            notes.append(f"No wear of {who} was read, so its cost is not known.")
        elif not one.use.has_interval:
            trucks = counted(int(sample.n), "truck")
            notes.append(f"The cost of {who} rests on {trucks} and has no interval.")
        elif sample.mean <= 0:
            notes.append(
                f"No wear of {who} was measured: what it costs is known from above only, and what it saves from below."
            )
        if not math.isfinite(one.use.miles_mi):
            notes.append(f"The miles of {who} are not known, so breakage is not in its cost.")
    return notes
