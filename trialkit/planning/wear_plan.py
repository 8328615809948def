"""What is assumed about wear before the season.

Answers: which rate, which spread, which miles and readings does the size of the trial rest on?
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from trialkit.planning.schedule import Schedule

PARALLEL, ROTATED = "parallel", "rotated"
DESIGNS = (PARALLEL, ROTATED)
POWER = 0.8
"""Power that is planned for (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class WearPlan:
    """What is assumed about wear before the season.

    Attributes
    ----------
    reference_rate : float
        Wear rate of the reference edge type. [in/1,000 mi]
    schedule : Schedule
        Miles and readings.
    truck_cv : float
        Spread of the wear of one edge type from truck to truck, as a fraction of its mean.
    route_share : float
        Share of the variance from truck to truck that belongs to the truck and its route and stays with the truck
        whichever type it carries; it cancels when types rotate.
    edge_types : int
        Edge types in the trial, the reference included; each other one is compared with it, and the comparisons share
        the error that is allowed (Bonferroni's share, the first step of Holm's).
    reference_depth_in, other_depth_in : float
        Usable depth of the reference and of the other type; infinite if no set is worn off in the season. [in]
    reference_by_section, other_by_section : bool
        Whether sections are replaced singly; otherwise a set comes off at its thinnest station.
    station_cv : float
        Spread of the wear from station to station of a set, as a fraction of its mean.
    power : float
        Power that is planned for.
    confidence_level : float
        Two-sided level of the interval that must exclude no difference.

    Raises
    ------
    ValueError
        If a number is not one of that kind.
    """

    reference_rate: float
    schedule: Schedule = field(default_factory=Schedule)
    truck_cv: float = 0.25
    route_share: float = 0.64
    edge_types: int = 2
    reference_depth_in: float = math.inf
    other_depth_in: float = math.inf
    reference_by_section: bool = False
    other_by_section: bool = False
    station_cv: float = 0.15
    power: float = POWER
    confidence_level: float = 0.95

    def __post_init__(self) -> None:
        rules = {
            "reference_rate": (self.reference_rate > 0, "above 0"),
            "truck_cv": (0 <= self.truck_cv < 3, "0 up to 3, such as 0.25"),
            "station_cv": (0 <= self.station_cv < 3, "0 up to 3, such as 0.15"),
            "route_share": (0 <= self.route_share <= 1, "0 to 1"),
            "edge_types": (self.edge_types >= 2, "2 or more"),
            "reference_depth_in": (self.reference_depth_in > 0, "above 0"),
            "other_depth_in": (self.other_depth_in > 0, "above 0"),
            "power": (0 < self.power < 1, "above 0 and below 1, such as 0.8"),
            "confidence_level": (0 < self.confidence_level < 1, "above 0 and below 1, such as 0.95"),
        }
        wrong = [
            f"{name} is {getattr(self, name):g}; allowed: {what}"
            for name, (ok, what) in rules.items()
            if not ok
        ]
        if wrong:
            raise ValueError("; ".join(wrong))

    @property
    def level_each(self) -> float:
        """Level of the interval of each comparison, so that all of them together err no more than agreed."""
        return 1 - (1 - self.confidence_level) / (self.edge_types - 1)

    @property
    def depth_ratio(self) -> float:
        """Usable depth of the other type over that of the reference; missing if one of them is not known."""
        known = math.isfinite(self.reference_depth_in) and math.isfinite(self.other_depth_in)
        return self.other_depth_in / self.reference_depth_in if known else math.nan

    def schedule_in(self, design: str) -> Schedule:
        """The readings of one edge type: in a rotated design it gets a share of the miles."""
        return self.schedule.shared_by(self.edge_types) if design == ROTATED else self.schedule
