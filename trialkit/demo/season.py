"""Drawing the demo season: who carries what, and every shift of every storm.

Answers: which edge type does each demo truck carry, and how far does it plow in each storm?

Each topic has its own stream of random numbers, so that a change in one leaves the others as they are. Only uniform and
normal numbers are drawn; everything else is made from them here.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from numpy.random import PCG64, Generator, SeedSequence

from trialkit.demo.town import (
    BLOCKS,
    EDGE_TYPES,
    FORCED_TRUCK,
    FRONT,
    OPERATORS,
    OVERSTATED_TRUCK,
    PLAIN_STEEL,
    STORMS,
    TRUCKS,
    TRUTH,
    WING,
    WING_TRUCK,
    EdgeTruth,
    Storm,
    Truck,
)

TOPICS = ("assignment", "shifts", "wear", "readings", "material", "sound", "vibration", "ratings", "gauge")
OVERSTATED_STORMS = ("W-04", "W-05", "W-06")
OVERSTATED_FACTOR = 1.12
OUT_OF_SERVICE = 0.03
"""Chance that a truck misses a storm."""

T = TypeVar("T")


class Draws:
    """Random numbers for one topic of one seed."""

    def __init__(self, seed: int, topic: str):
        self._stream = Generator(PCG64(SeedSequence([seed, TOPICS.index(topic)])))

    def normal(self, sd: float = 1.0) -> float:
        """A normal number with mean 0."""
        return sd * float(self._stream.standard_normal())

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A uniform number from `low` up to `high`."""
        return low + (high - low) * float(self._stream.random())

    def factor(self, sd: float) -> float:
        """A lognormal factor with mean 1; `sd` is that of its logarithm."""
        return math.exp(self.normal(sd) - sd * sd / 2)

    def waiting(self, rate: float) -> float:
        """An exponential distance to the next event at `rate` events per unit."""
        return -math.log(1.0 - self.uniform()) / rate

    def chance(self, share: float) -> bool:
        """Whether something of this probability happens."""
        return self.uniform() < share

    def pick(self, things: Sequence[T]) -> T:
        """One of `things`, all alike."""
        return things[int(self.uniform() * len(things))]

    def shuffled(self, things: Sequence[T]) -> list[T]:
        """The things in random order."""
        return [
            thing
            for _, _, thing in sorted((self.uniform(), place, thing) for place, thing in enumerate(things))
        ]


@dataclass(frozen=True, slots=True)
class Typed:
    """A number as somebody typed it: its value is exactly that of the text."""

    value: float
    text: str


Cell = str | int | dt.date | Typed | None
Row = dict[str, Cell]
Rows = list[Row]


def typed(value: float, decimals: int) -> Typed:
    """The number with so many decimals, as typed."""
    text = f"{value:.{decimals}f}"
    return Typed(float(text), text)


@dataclass(frozen=True, slots=True)
class Assigned:
    """Which edge type a truck position carries, and how that came about."""

    truck: Truck
    position: str
    edge: EdgeTruth
    how: str
    reason: str = ""


def draw_assignments(draws: Draws) -> list[Assigned]:
    """Edge types drawn at random within each block of like routes; one truck could carry only one of them."""
    drawn: dict[str, Assigned] = {}
    for block in BLOCKS:
        trucks = [truck for truck in TRUCKS if truck.block == block]
        edges = {edge.name: edge for edge in EDGE_TYPES}
        if any(truck.truck_id == FORCED_TRUCK for truck in trucks):
            forced = next(truck for truck in trucks if truck.truck_id == FORCED_TRUCK)
            reason = "Fixed plow without trip springs; the shop allows only plain steel on it"
            drawn[forced.truck_id] = Assigned(forced, FRONT, edges.pop(PLAIN_STEEL.name), "forced", reason)
            trucks.remove(forced)
        for truck, name in zip(trucks, draws.shuffled(list(edges)), strict=True):
            drawn[truck.truck_id] = Assigned(truck, FRONT, edges[name], "random")
    assigned = []
    for truck in TRUCKS:
        assigned.append(drawn[truck.truck_id])
        if truck.truck_id == WING_TRUCK:
            reason = "The only wing; plain steel all winter, outside the comparison of front plows"
            assigned.append(Assigned(truck, WING, PLAIN_STEEL, "forced", reason))
    return assigned


@dataclass(slots=True)
class Shift:
    """One truck position in one storm on one crew shift."""

    storm: Storm
    truck: Truck
    position: str
    edge: EdgeTruth
    operator: str
    start: dt.datetime
    end: dt.datetime
    odometer_start_mi: int
    odometer_end_mi: int
    true_mi: float
    recorded_mi: Typed
    miles_source: str
    speed_mph: float
    passes: Typed | None
    surface: str
    residual_snow_in: Typed | None
    is_last_of_storm: bool
    shift_id: str = ""

    @property
    def is_front(self) -> bool:
        """Whether this is the truck's front plow, which carries crew, spreader and samples."""
        return self.position == FRONT


def draw_shifts(draws: Draws, assigned: Sequence[Assigned]) -> list[Shift]:
    """Every shift of the season in order of its start, numbered."""
    edges = {(each.truck.truck_id, each.position): each.edge for each in assigned}
    odometers = {truck.truck_id: truck.odometer_mi for truck in TRUCKS}
    regulars = dict(zip((truck.truck_id for truck in TRUCKS), draws.shuffled(OPERATORS), strict=False))
    shifts: list[Shift] = []
    for storm in STORMS:
        out = {truck.truck_id for truck in TRUCKS if draws.chance(OUT_OF_SERVICE)}
        for crew in range(storm.crews):
            free = draws.shuffled(OPERATORS)
            for truck in TRUCKS:
                if truck.truck_id in out:
                    continue
                operator = _operator(draws, regulars[truck.truck_id], free)
                front = _front_shift(
                    draws,
                    storm,
                    crew,
                    truck,
                    edges[truck.truck_id, FRONT],
                    operator,
                    odometers[truck.truck_id],
                )
                odometers[truck.truck_id] = front.odometer_end_mi
                shifts.append(front)
                if truck.truck_id == WING_TRUCK and storm.snow_in >= 3.0:
                    shifts.append(_wing_shift(draws, front, edges[truck.truck_id, WING]))
    shifts.sort(key=lambda shift: (shift.start, shift.truck.truck_id, shift.position))
    for number, shift in enumerate(shifts, start=1):
        shift.shift_id = f"SH-{number:03d}"
    return shifts


def _operator(draws: Draws, regular: str, free: list[str]) -> str:
    """The truck's usual operator more often than not, so that nobody drives one edge type only."""
    operator = regular if regular in free and draws.chance(0.6) else free[0]
    free.remove(operator)
    return operator


def _front_shift(
    draws: Draws, storm: Storm, crew: int, truck: Truck, edge: EdgeTruth, operator: str, odometer: int
) -> Shift:
    start = storm.start + dt.timedelta(minutes=45 + 15 * int(draws.uniform(0, 4)), hours=12.5 * crew)
    hours = 10.0 if storm.crews == 2 else min(12.0, max(9.0, storm.hours + 0.5))
    passes = storm.passes * edge.passes_factor * draws.factor(TRUTH.passes_shift_sd)
    true_mi = passes * truck.route_lane_mi * draws.uniform(1.0, 1.05)
    speed = max(draws.uniform(16.0, 23.0), true_mi / (hours - 1.0))
    odometer_start = odometer + int(draws.uniform(4, 12))
    driven = true_mi / truck.plowing_share * draws.uniform(0.96, 1.06)
    recorded, source = _recorded_miles(draws, storm, truck, true_mi)
    return Shift(
        storm, truck, FRONT, edge, operator, start, start + dt.timedelta(hours=hours), odometer_start,
        odometer_start + math.ceil(driven) + 2, true_mi, recorded, source, speed, typed(round(passes * 2) / 2, 1),
        _surface(draws, storm), typed(max(0.1, 0.25 + 0.04 * storm.snow_in + draws.normal(0.1)), 1),
        is_last_of_storm=crew == storm.crews - 1,
    )  # fmt: skip


def _recorded_miles(draws: Draws, storm: Storm, truck: Truck, true_mi: float) -> tuple[Typed, str]:
    """Blade-down miles as the shift record gives them: to the tenth from a counter, roughly from a route log."""
    if truck.miles_source == "counter":
        return typed(true_mi, 1), "counter"
    if truck.miles_source == "gps":
        return typed(true_mi * (1 + draws.normal(0.004)), 1), "gps"
    overstated = truck.truck_id == OVERSTATED_TRUCK and storm.storm_id in OVERSTATED_STORMS
    if overstated:
        return typed(true_mi * OVERSTATED_FACTOR, 0), "estimated"
    return typed(true_mi * (1 + draws.normal(0.01)), 0), "route_log"


def _wing_shift(draws: Draws, front: Shift, edge: EdgeTruth) -> Shift:
    """The wing's part of a front plow's shift; it has no counter of its own."""
    true_mi = front.true_mi * draws.uniform(0.4, 0.6)
    return Shift(
        front.storm, front.truck, WING, edge, front.operator, front.start, front.end, front.odometer_start_mi,
        front.odometer_end_mi, true_mi, typed(true_mi, 0), "estimated", front.speed_mph, None, front.surface, None,
        front.is_last_of_storm,
    )  # fmt: skip


def _surface(draws: Draws, storm: Storm) -> str:
    likely = {"wet_snow": "slush", "freezing_rain": "ice", "sleet": "slush", "mixed": "slush"}.get(
        storm.precip, "loose"
    )
    if likely == "loose" and storm.pavement_temp_f < 16:
        likely = "packed"
    return likely if draws.chance(0.75) else draws.pick(("loose", "packed", "slush", "bare"))
