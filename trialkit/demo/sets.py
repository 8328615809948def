"""Drawing what happens to the demo edges: installs, wear, readings, changes, breakage.

Answers: which sets were on which truck, what heights were read on them, and what went wrong?

A set wears by the mile; the garage reads it after the storms, changes it when its thinnest station is nearly at the limit
and writes down what it reads, mostly right. The slips that any season has are put in at the end, with the decisions that
settle them.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from trialkit.demo.season import Assigned, Draws, Shift, Typed, typed
from trialkit.demo.town import (
    BLOCK_WEAR,
    CLOSE_DAY,
    DARK_TRUCK,
    FLIPPED_TRUCK_RANK,
    FRONT,
    INSTALL_DAY,
    LOOSE_TRUCK_RANK,
    PLAIN_STEEL,
    READERS,
    STATIONS,
    STORMS,
    TRUTH,
    WING,
    EdgeTruth,
    Truck,
)

SKIPPED_VISIT = {"plain_steel": 0.03, "carbide_insert": 0.12, "rubber_carbide": 0.15}
"""Chance that the garage does not get round to reading a set after a storm."""
LATER_LOT_FROM = dt.date(2031, 1, 15)
UNEVEN_IN = 0.6
"""Mean height less thinnest station beyond which the garage calls a set unevenly worn."""


@dataclass(eq=False, slots=True)
class EdgeSet:
    """One set on a truck position, as it wears."""

    edge: EdgeTruth
    truck: Truck
    position: str
    installed: dt.date
    heights_in: list[float]
    rates_in_per_mi: list[float]
    break_at_mi: float
    run_in_left_mi: float = TRUTH.run_in_mi
    miles_mi: float = 0.0
    is_loose: bool = False
    set_id: str = ""

    @property
    def spare_in(self) -> float:
        """Usable depth left at the thinnest station."""
        return min(self.heights_in) - (self.edge.new_height_in - self.edge.usable_depth_in)

    def wear(self, miles_mi: float, storm_factor: float) -> None:
        """Plow so many miles."""
        run_in_mi = min(self.run_in_left_mi, miles_mi)
        worn_mi = (miles_mi + (TRUTH.run_in_factor - 1) * run_in_mi) * storm_factor
        self.run_in_left_mi -= run_in_mi
        self.miles_mi += miles_mi
        self.heights_in = [
            height - rate * worn_mi
            for height, rate in zip(self.heights_in, self.rates_in_per_mi, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the event log."""

    edge_set: EdgeSet
    moment: dt.date
    event: str
    reason: str
    counter_mi: Typed | None
    odometer_mi: int | None
    during_storm: bool
    labor_h: float
    truck_down_h: float
    station: int | None = None
    attack_angle_deg: int | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of the reading log."""

    edge_set: EdgeSet
    moment: dt.date
    station: int
    repeat: int | None
    height_in: Typed
    counter_mi: Typed | None
    reader: str
    tool: str
    resolution_in: Typed
    baseline: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """One decision about a reading: what it named, what was done and why."""

    reading: Reading
    action: str
    reason: str
    old: Typed | None = None
    new: Typed | None = None


@dataclass(slots=True)
class EdgeLog:
    """Everything the garage wrote down about edges, and the truck factors that were really at work."""

    sets: list[EdgeSet] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    settled: list[Settled] = field(default_factory=list)
    truck_factors: dict[str, float] = field(default_factory=dict)
    set_of_shift: dict[str, EdgeSet] = field(default_factory=dict)


@dataclass(slots=True)
class _Gauge:
    """Reads heights as the garage does: each reader with a bias, each tool with its step."""

    draws: Draws
    biases_in: dict[str, float]

    def read(self, true_in: float, tool: str, reader: str) -> tuple[Typed, Typed]:
        """What is typed for a height, and the step of the tool."""
        sd = TRUTH.rule_sd_in if tool == "rule" else TRUTH.caliper_sd_in
        seen = true_in + self.biases_in[reader] + self.draws.normal(sd)
        if tool != "rule":
            return typed(seen, 2), typed(0.01, 2)
        step = 16 if reader == "R3" else 32
        parts = math.floor(seen * step + 0.5)
        if reader == "R2":
            return typed(parts / step, 3), typed(1 / step, 5)
        return fraction(parts, step, joint="-" if reader == "R3" else " "), typed(1 / step, 5)


def fraction(parts: int, step: int, joint: str = " ") -> Typed:
    """A length as a mechanic types it: ``5 3/8``, or ``5-6/16`` with a hyphen and unreduced."""
    whole, rest = divmod(parts, step)
    if rest == 0:
        return Typed(parts / step, str(whole))
    common = 1 if joint == "-" else math.gcd(rest, step)
    return Typed(parts / step, f"{whole}{joint}{rest // common}/{step // common}")


def draw_reader_biases(draws: Draws) -> dict[str, float]:
    """How much each reader reads too high, the same all winter. [in]"""
    return {reader: draws.normal(TRUTH.reader_sd_in) for reader in READERS}


def draw_edges(
    seed: int, assigned: Sequence[Assigned], shifts: Sequence[Shift], biases_in: dict[str, float]
) -> EdgeLog:
    """Run every truck position through the season and log what the garage would have logged."""
    draws = Draws(seed, "wear")
    gauge = _Gauge(Draws(seed, "readings"), biases_in)
    storm_factors = _storm_factors(draws)
    log = EdgeLog()
    log.truck_factors = {
        each.truck.truck_id: BLOCK_WEAR[each.truck.block] * draws.factor(TRUTH.truck_sd)
        for each in assigned
        if each.position == FRONT
    }
    steel = [each for each in assigned if each.edge is PLAIN_STEEL and each.position == FRONT]
    for each in assigned:
        garage = _Garage(draws, gauge, log, each, storm_factors)
        garage.flips = each is steel[FLIPPED_TRUCK_RANK]
        garage.comes_loose = each is steel[LOOSE_TRUCK_RANK]
        garage.run(
            [shift for shift in shifts if (shift.truck, shift.position) == (each.truck, each.position)]
        )
    _number_sets(log)
    _put_in_slips(log)
    log.events.sort(
        key=lambda event: (_moment(event.moment), event.edge_set.truck.truck_id, event.edge_set.set_id)
    )
    log.readings.sort(
        key=lambda reading: (
            _moment(reading.moment), reading.edge_set.truck.truck_id, reading.edge_set.set_id, reading.repeat or 1,
            reading.station,
        )
    )  # fmt: skip
    return log


def _storm_factors(draws: Draws) -> dict[str, float]:
    """How hard each storm is on edges; scaled to mean 1 over the season."""
    drawn = {storm.storm_id: draws.factor(TRUTH.storm_sd) for storm in STORMS}
    mean = sum(drawn.values()) / len(drawn)
    return {storm_id: value / mean for storm_id, value in drawn.items()}


def _moment(day: dt.date) -> dt.datetime:
    return day if isinstance(day, dt.datetime) else dt.datetime.combine(day, dt.time())


class _Garage:
    """One truck position through the season."""

    def __init__(
        self, draws: Draws, gauge: _Gauge, log: EdgeLog, each: Assigned, storm_factors: dict[str, float]
    ):
        self.draws, self.gauge, self.log = draws, gauge, log
        self.truck, self.position, self.edge = each.truck, each.position, each.edge
        self.storm_factors = storm_factors
        self.counter_mi, self.odometer_mi = each.truck.counter_mi, each.truck.odometer_mi
        self.tilt = draws.normal(TRUTH.tilt_sd)
        self.angle_deg = int(draws.uniform(62, 70))
        self.flips = self.comes_loose = False
        self.sets_used = 0
        self.current = self._install(INSTALL_DAY, INSTALL_DAY, during_storm=False, down_h=0.0)

    @property
    def tool(self) -> str:
        """Steel is read with a rule, carbide with a caliper."""
        return "rule" if self.edge is PLAIN_STEEL else "caliper"

    def run(self, shifts: Sequence[Shift]) -> None:
        """All shifts of the season, then the last readings."""
        for shift in shifts:
            self.log.set_of_shift[shift.shift_id] = self.current
            self.current.wear(shift.true_mi, self.storm_factors[shift.storm.storm_id])
            self.counter_mi += shift.true_mi
            self.odometer_mi = shift.odometer_end_mi + 1
            if self.current.miles_mi > self.current.break_at_mi:
                self._break(shift)
            elif not shift.is_last_of_storm and self.current.spare_in < self.edge.spare_at_in / 4:
                self._change(shift.end, during_storm=True)
            if shift.is_last_of_storm:
                self._visit(shift)
        self._close()

    def _visit(self, shift: Shift) -> None:
        """The day after a storm: read the set, and change or flip it if it is time."""
        day = shift.end.date() + dt.timedelta(days=1)
        read = not self.draws.chance(SKIPPED_VISIT[self.edge.name] if self.position == FRONT else 0.4)
        worn_out = self.current.spare_in < self.edge.spare_at_in
        morning = dt.datetime.combine(day, dt.time(8, 0))
        if worn_out:
            self._change(morning, during_storm=False)
        elif self.flips and self.sets_used == 1 and self.current.spare_in < 0.6 * self.edge.usable_depth_in:
            self._flip(morning)
        elif read:
            self._read(day)

    def _change(self, begin: dt.datetime, during_storm: bool) -> None:
        """Last readings, the old set off, a new one on."""
        self._read(_later(begin, 10))
        heights = self.current.heights_in
        uneven = sum(heights) / len(heights) - min(heights) > UNEVEN_IN
        note = "Bolts at the right end found loose" if self.current.is_loose else ""
        self._log(
            "remove",
            _later(begin, 25),
            "worn_uneven" if uneven else "worn_to_limit",
            during_storm,
            notes=note,
        )
        down_h = self.draws.uniform(1.5, 3.0)
        self.current = self._install(_later(begin, 75), _later(begin, 90), during_storm, down_h)

    def _flip(self, morning: dt.datetime) -> None:
        self._read(_later(morning, 15))
        note = "Turned end for end; reference marks punched anew"
        self._log("flip", _later(morning, 60), "worn_uneven", False, notes=note)
        self.current.heights_in.reverse()
        self.current.run_in_left_mi = TRUTH.run_in_mi
        self._read(_later(morning, 100), baseline=True)
        self.flips = False

    def _break(self, shift: Shift) -> None:
        """A set broke during the shift, or one section where sections are replaced singly."""
        struck = self.draws.chance(0.5)
        reason = "curb_strike" if struck else "broken"
        during = not shift.is_last_of_storm or shift.end < shift.storm.end
        if self.edge.replaced_as == "section":
            station = self.draws.pick(STATIONS)
            note = "One section replaced from stock"
            self._log("section_swap", _later(shift.end, 30), reason, during, station=station, notes=note)
            self.current.heights_in[station - 1] = self._new_height()
            self.current.break_at_mi = self.current.miles_mi + self._miles_to_break()
            self._read(_later(shift.end, 70), baseline=True, stations=(station,))
            return
        note = "Hit a raised curb" if struck else "Found broken at the end of the shift"
        self._log("break", _later(shift.end, 15), reason, during, notes=note)
        down_h = self.draws.uniform(2.5, 4.5)
        self.current = self._install(_later(shift.end, 80), _later(shift.end, 90), during, down_h)

    def _close(self) -> None:
        """Last day of the trial: every set is read twice and comes off."""
        self._read(CLOSE_DAY, repeat=1)
        self._read(CLOSE_DAY, repeat=2)
        self._log("season_end", CLOSE_DAY, "trial_end", False)

    def _install(self, moment: dt.date, baseline: dt.date, during_storm: bool, down_h: float) -> EdgeSet:
        self.sets_used += 1
        loose = self.comes_loose and self.sets_used == 2
        self.current = EdgeSet(
            self.edge, self.truck, self.position, moment, [self._new_height() for _ in STATIONS], self._rates(loose),
            self._miles_to_break(), is_loose=loose,
        )  # fmt: skip
        self.log.sets.append(self.current)
        angle = self.angle_deg + int(self.draws.uniform(-1, 2))
        self._log("install", moment, "new", during_storm, down_h=down_h, angle=angle)
        self._read(baseline, baseline=True)
        return self.current

    def _miles_to_break(self) -> float:
        return self.draws.waiting(self.edge.breaks_per_1000_mi / 1000)

    def _new_height(self) -> float:
        return self.edge.new_height_in + self.draws.normal(TRUTH.new_height_sd_in)

    def _rates(self, loose: bool) -> list[float]:
        """True wear rate of a new set at each station. [in/mi]"""
        rate = self.edge.rate_in_per_1000_mi / 1000 * self.log.truck_factors[self.truck.truck_id]
        rate *= self.draws.factor(TRUTH.set_sd) * (TRUTH.wing_factor if self.position == WING else 1.0)
        middle = (len(STATIONS) + 1) / 2
        return [
            rate * profile * (1 + self.tilt * (station - middle) / (middle - 1))
            * self.draws.factor(TRUTH.set_station_sd)
            * (TRUTH.loose_end_factor if loose and station == STATIONS[-1] else 1.0)
            for station, profile in zip(STATIONS, TRUTH.station_profile, strict=True)
        ]  # fmt: skip

    def _counter(self) -> Typed | None:
        return typed(self.counter_mi, 1) if self.position == FRONT else None

    def _log(
        self, event: str, moment: dt.date, reason: str, during_storm: bool, *, down_h: float | None = None,
        station: int | None = None, angle: int | None = None, notes: str = "",
    ) -> None:  # fmt: skip
        hours = self.edge.install_h if event in ("install", "flip") else self.edge.remove_h
        hours *= 0.65 if self.position == WING else 1.0
        down = down_h if down_h is not None else (1.0 if during_storm else 0.0)
        self.log.events.append(
            Event(
                self.current, moment, event, reason, self._counter(), self.odometer_mi, during_storm,
                _quarter_hours(hours * self.draws.uniform(0.85, 1.2)), _quarter_hours(down), station, angle, notes,
            )
        )  # fmt: skip

    def _read(
        self, moment: dt.date, *, baseline: bool = False, repeat: int | None = None,
        stations: Sequence[int] = STATIONS,
    ) -> None:  # fmt: skip
        reader = self.gauge.draws.pick(READERS)
        for station in stations:
            height, step = self.gauge.read(self.current.heights_in[station - 1], self.tool, reader)
            self.log.readings.append(
                Reading(
                    self.current, moment, station, repeat, height, self._counter(), reader, self.tool, step, baseline
                )
            )  # fmt: skip


def _later(moment: dt.datetime, minutes: int) -> dt.datetime:
    return moment + dt.timedelta(minutes=minutes)


def _quarter_hours(hours: float) -> float:
    return round(hours * 4) / 4


def _number_sets(log: EdgeLog) -> None:
    """Sets are numbered by type in the order in which they went on."""
    counts: dict[str, int] = {}
    log.sets.sort(key=lambda each: (_moment(each.installed), each.truck.truck_id, each.position))
    for each in log.sets:
        counts[each.edge.prefix] = counts.get(each.edge.prefix, 0) + 1
        each.set_id = f"{each.edge.prefix}-{counts[each.edge.prefix]:02d}"


def _put_in_slips(log: EdgeLog) -> None:
    """The slips of the season: a wrong half inch, ice or dirt on a tip, a reading not taken, a dark counter."""
    readings = log.readings
    plain = [reading for reading in readings if _is_plain(reading)]
    typos = [r for r in plain if r.tool == "rule" and r.reader == "R1" and r.height_in.value < 5.0]
    right = typos[len(typos) // 2]
    wrong = replace(right, height_in=fraction(round((right.height_in.value + 0.5) * 32), 32))
    readings[readings.index(right)] = wrong
    log.settled.append(
        Settled(wrong, "correct", "Half an inch too high; the paper sheet has the lower value",
                wrong.height_in, right.height_in)
    )  # fmt: skip
    inserts = [r for r in plain if r.edge_set.edge.name == "carbide_insert" and r.station == 2]
    clean = inserts[len(inserts) // 2]
    iced = replace(clean, height_in=typed(clean.height_in.value + 0.13, 2), note="ice left on the tip")
    readings[readings.index(clean)] = iced
    log.settled.append(Settled(iced, "exclude", "Read over ice; the edge was not cleaned before reading"))
    segments = [r for r in plain if r.edge_set.edge.name == "rubber_carbide" and r.station == 4]
    readings.remove(segments[len(segments) // 3])
    kept = [r for r in plain if r.edge_set.edge.name == "rubber_carbide" and r.station == 2]
    dirty = kept[2 * len(kept) // 3]
    high = replace(dirty, height_in=typed(dirty.height_in.value + 0.09, 2))
    readings[readings.index(dirty)] = high
    log.settled.append(Settled(high, "query", "Higher than the reading before; the reader does not remember"))
    loose = [r for r in readings if r.edge_set.is_loose and r.station == STATIONS[-1] and not r.baseline]
    if loose:
        log.settled.append(
            Settled(loose[-1], "keep", "Low but true: the right end was loose and wore faster")
        )
    dark = sorted({r.moment for r in plain if r.edge_set.truck.truck_id == DARK_TRUCK})[5:7]
    for place, reading in enumerate(readings):
        if reading.edge_set.truck.truck_id == DARK_TRUCK and reading.moment in dark:
            readings[place] = replace(reading, counter_mi=None, note="counter display dark")


def _is_plain(reading: Reading) -> bool:
    """Whether it is an everyday reading: front plow, after a storm, once."""
    return (
        reading.edge_set.position == FRONT
        and not reading.baseline
        and reading.repeat is None
        and not isinstance(reading.moment, dt.datetime)
    )
