"""The invented town of the demo trial and the truth behind its numbers.

Answers: who runs the demo trial, on which trucks, in which storms, and what is really true there?

Everything here is made up: the town, its trucks, its storms and every rate. The figures were chosen to be plausible and
are not those of any product, agency or study. What cannot be known in a real trial, the truth, stands in `TRUTH` and is
written to ``truth.json`` so that an analysis can be held against it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

SEED = 2032
TOWN = "Pellowmere"
AGENCY = f"Town of {TOWN}, Streets Division"
TRIAL_ID = "pellowmere_2030-31"
SEASON = "2030-31"
TITLE = "Cutting edge trial, winter 2030-31"
STATIONS = (1, 2, 3, 4, 5)
FRONT, WING = "front", "wing_right"

INSTALL_DAY = dt.date(2030, 11, 6)
CLOSE_DAY = dt.date(2031, 4, 2)
INTERIM_LOOK = dt.date(2031, 1, 20)
FINAL_LOOK = dt.date(2031, 4, 8)
GAUGE_DAY = dt.date(2030, 10, 9)


@dataclass(frozen=True, slots=True)
class EdgeTruth:
    """One edge type: what the town knows of it, and what is true of it.

    Attributes
    ----------
    name, label, description : str
        As in edge_types.
    new_height_in, usable_depth_in : float
        As in edge_types. [in]
    sections_n : int
        Sections in a set.
    section_length_in : float
        Length of a section. [in]
    replaced_as : str
        "set" or "section".
    prefix : str
        Start of its set numbers.
    price_usd, later_price_usd : float
        Price of a set from the first and from the second lot. [$]
    hardware_usd : float
        Bolts and nuts for a change. [$]
    install_h, remove_h : float
        Typical hours of work. [h]
    rate_in_per_1000_mi : float
        True mean wear rate over trucks, stations and storms, after running-in. [in/1,000 mi]
    breaks_per_1000_mi : float
        True rate of broken sets, or of broken sections where they are replaced singly. [1/1,000 mi]
    level_difference_db : float
        True difference in level at the ear, blade down, from the reference type. [dB]
    vibration_factor, salt_factor, passes_factor : float
        True factor on seat vibration, on salt per lane-mile and on passes, against the reference type.
    spare_at_in : float
        The shop changes a set when its thinnest station has this much usable depth left. [in]
    """

    name: str
    label: str
    description: str
    new_height_in: float
    usable_depth_in: float
    sections_n: int
    section_length_in: float
    replaced_as: str
    prefix: str
    price_usd: float
    later_price_usd: float
    hardware_usd: float
    install_h: float
    remove_h: float
    rate_in_per_1000_mi: float
    breaks_per_1000_mi: float
    level_difference_db: float
    vibration_factor: float
    salt_factor: float
    passes_factor: float
    spare_at_in: float


PLAIN_STEEL = EdgeTruth(
    name="plain_steel", label="plain steel", description="Flat high-carbon steel blade, reversible",
    new_height_in=6.0, usable_depth_in=3.0, sections_n=4, section_length_in=36.0, replaced_as="set", prefix="PS",
    price_usd=412.0, later_price_usd=428.0, hardware_usd=38.0, install_h=1.6, remove_h=0.8,
    rate_in_per_1000_mi=4.6, breaks_per_1000_mi=0.05, level_difference_db=0.0, vibration_factor=1.0, salt_factor=1.0,
    passes_factor=1.0, spare_at_in=0.55,
)  # fmt: skip
CARBIDE_INSERT = EdgeTruth(
    name="carbide_insert", label="carbide insert", description="Steel body with a brazed row of carbide inserts",
    new_height_in=6.0, usable_depth_in=0.6, sections_n=4, section_length_in=36.0, replaced_as="set", prefix="CI",
    price_usd=765.0, later_price_usd=765.0, hardware_usd=42.0, install_h=1.7, remove_h=0.8,
    rate_in_per_1000_mi=0.44, breaks_per_1000_mi=0.12, level_difference_db=-0.8, vibration_factor=0.97,
    salt_factor=0.99, passes_factor=1.0, spare_at_in=0.05,
)  # fmt: skip
RUBBER_CARBIDE = EdgeTruth(
    name="rubber_carbide", label="rubber-mounted segmented carbide",
    description="Short carbide segments held in a rubber body, sections replaced singly",
    new_height_in=5.5, usable_depth_in=0.9, sections_n=6, section_length_in=24.0, replaced_as="section", prefix="RC",
    price_usd=2480.0, later_price_usd=2480.0, hardware_usd=64.0, install_h=2.4, remove_h=1.1,
    rate_in_per_1000_mi=0.16, breaks_per_1000_mi=0.10, level_difference_db=-3.6, vibration_factor=0.82,
    salt_factor=0.96, passes_factor=0.97, spare_at_in=0.05,
)  # fmt: skip
EDGE_TYPES = (PLAIN_STEEL, CARBIDE_INSERT, RUBBER_CARBIDE)
UNTESTED_TYPE = "ceramic_insert"


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of the demo season beyond the edge types.

    Spreads are standard deviations; one of a factor is that of its logarithm, and the factor has mean 1.

    Attributes
    ----------
    truck_sd, set_sd, storm_sd, set_station_sd, tilt_sd : float
        Spread of the wear factor over trucks of a block, sets, storms, stations of a set, and of each truck's tilt from
        the left to the right end.
    station_profile : tuple of float
        Mean wear factor of each station; mean 1.
    run_in_mi, run_in_factor : float
        A new or flipped edge wears so many times as fast over its first miles. [mi]
    wing_factor : float
        Wear rate of the wing against the front, same edge type.
    loose_end_factor : float
        Extra wear factor at station 5 of the one set with a loose end.
    new_height_sd_in : float
        Spread of a new edge's height over stations. [in]
    rule_sd_in, caliper_sd_in, reader_sd_in : float
        Repeat error of a reading with the rule and with the caliper, before rounding, and spread over readers. [in]
    steel_level_dba, blade_up_dba, idle_dba : float
        Mean level at the ear by task, radio off and window closed, with plain steel. [dBA]
    truck_level_sd_db, sample_level_sd_db : float
        Spread of the level over trucks and over samples. [dB]
    radio_db, window_db, level_per_mph_db : float
        Effect of the radio on, of the window open, and of each mph above 20. [dB]
    salt_storm_sd, salt_truck_sd, salt_shift_sd : float
        Spread of salt per lane-mile over storms, trucks and shifts.
    passes_shift_sd : float
        Spread of passes over shifts of a storm.
    steel_vibration_m_s2 : tuple of float
        Mean weighted r.m.s. acceleration at the seat with plain steel, axes x, y and z. [m/s²]
    vibration_sd : float
        Spread of vibration over trucks, and again over samples.
    """

    truck_sd: float = 0.12
    set_sd: float = 0.04
    storm_sd: float = 0.06
    set_station_sd: float = 0.03
    tilt_sd: float = 0.04
    station_profile: tuple[float, ...] = (1.03, 0.96, 0.91, 0.98, 1.12)
    run_in_mi: float = 40.0
    run_in_factor: float = 1.5
    wing_factor: float = 0.45
    loose_end_factor: float = 1.45
    new_height_sd_in: float = 0.025
    rule_sd_in: float = 0.026
    caliper_sd_in: float = 0.011
    reader_sd_in: float = 0.008
    steel_level_dba: float = 84.6
    blade_up_dba: float = 78.8
    idle_dba: float = 69.5
    truck_level_sd_db: float = 1.1
    sample_level_sd_db: float = 0.9
    radio_db: float = 2.4
    window_db: float = 1.1
    level_per_mph_db: float = 0.12
    salt_storm_sd: float = 0.22
    salt_truck_sd: float = 0.07
    salt_shift_sd: float = 0.10
    passes_shift_sd: float = 0.10
    steel_vibration_m_s2: tuple[float, ...] = (0.27, 0.24, 0.52)
    vibration_sd: float = 0.08


TRUTH = Truth()

BLOCK_WEAR = {"hill routes": 1.09, "main roads": 0.97, "village streets": 1.02, "outer roads": 0.92}
"""Wear factor of each block of like routes; mean 1."""


@dataclass(frozen=True, slots=True)
class Truck:
    """One truck of the demo fleet, its route and its habits."""

    truck_id: str
    block: str
    route: str
    route_lane_mi: float
    plow_type: str
    odometer_mi: int
    counter_mi: float
    plowing_share: float
    miles_source: str
    calibrated_on: dt.date | None
    notes: str = ""


def _truck(number: int, block: str, route: str, lane_mi: float, plow_type: str, odometer: int, counter: float,
           share: float, source: str, calibrated: tuple[int, int] | None, notes: str = "") -> Truck:  # fmt: skip
    day = dt.date(2030, *calibrated) if calibrated else None
    return Truck(
        f"T-{number:02d}", block, route, lane_mi, plow_type, odometer, counter, share, source, day, notes
    )


TRUCKS = (
    _truck(1, "hill routes", "H1 Quarry Hill", 23.0, "trip_edge", 41_210, 812.4, 0.66, "counter", (10, 14)),
    _truck(2, "hill routes", "H2 Upper Notch", 22.0, "trip_edge", 63_875, 2_204.0, 0.62, "counter", (10, 14)),
    _truck(3, "hill routes", "H3 Orchard Ridge", 24.5, "full_trip", 28_430, 390.7, 0.64, "gps", (10, 15)),
    _truck(4, "main roads", "M1 River Road", 30.0, "full_trip", 52_118, 1_655.2, 0.74, "counter", (10, 15),
           "Also carries the fleet's only wing."),
    _truck(5, "main roads", "M2 Station Avenue", 28.5, "full_trip", 35_790, 1_020.9, 0.72, "gps", (10, 15)),
    _truck(6, "main roads", "M3 Mill Bridge", 29.5, "full_trip", 71_342, 2_871.3, 0.73, "counter", (10, 16)),
    _truck(7, "village streets", "V1 Old Green", 21.0, "trip_edge", 88_026, 3_310.8, 0.58, "gps", (10, 16)),
    _truck(8, "village streets", "V2 Chapel Lanes", 20.5, "trip_edge", 47_655, 1_288.5, 0.60, "counter", (10, 16)),
    _truck(9, "village streets", "V3 School Loop", 21.5, "trip_edge", 19_904, 145.6, 0.59, "counter", None,
           "Spreader controller replaced in August; calibration slip not found."),
    _truck(10, "outer roads", "R1 Long Meadow", 31.0, "trip_edge", 56_483, 1_930.1, 0.69, "counter", (10, 17)),
    _truck(11, "outer roads", "R2 Heron Pond", 32.0, "fixed", 94_567, 3_742.6, 0.70, "route_log", (10, 17),
           "Fixed plow without trip springs."),
    _truck(12, "outer roads", "R3 Gravel Pit Road", 30.5, "trip_edge", 33_249, 704.0, 0.68, "gps", (10, 17)),
)  # fmt: skip
BLOCKS = tuple(dict.fromkeys(truck.block for truck in TRUCKS))
WING_TRUCK = "T-04"
FORCED_TRUCK = "T-11"
OVERSTATED_TRUCK = "T-11"
DARK_TRUCK = "T-10"
"""Its counter could not be read at two visits."""
FLIPPED_TRUCK_RANK, LOOSE_TRUCK_RANK = 1, 0
"""Among the trucks with the reference type, in order of their numbers: which has a set flipped, which a loose end."""


@dataclass(frozen=True, slots=True)
class Storm:
    """One storm of the demo winter."""

    storm_id: str
    start: dt.datetime
    hours: int
    snow_in: float
    precip: str
    air_temp_f: int
    pavement_temp_f: int
    wind_mph: int

    @property
    def end(self) -> dt.datetime:
        """When it ended."""
        return self.start + dt.timedelta(hours=self.hours)

    @property
    def crews(self) -> int:
        """How many crew shifts it took: two for a long storm."""
        return 2 if self.hours > 15 else 1

    @property
    def passes(self) -> float:
        """Passes over a route that a crew shift makes on average with the reference type."""
        return 3.3 + 0.28 * min(self.snow_in / self.crews, 7.0)


def _storm(
    number: int, start: str, hours: int, snow: float, precip: str, air: int, pavement: int, wind: int
) -> Storm:
    return Storm(
        f"W-{number:02d}", dt.datetime.fromisoformat(start), hours, snow, precip, air, pavement, wind
    )


STORMS = (
    _storm(1, "2030-11-19T02:00", 11, 3.2, "wet_snow", 31, 33, 9),
    _storm(2, "2030-11-27T15:00", 12, 4.1, "snow", 27, 30, 12),
    _storm(3, "2030-12-03T04:00", 10, 2.4, "mixed", 32, 32, 8),
    _storm(4, "2030-12-09T20:00", 12, 5.0, "snow", 22, 25, 14),
    _storm(5, "2030-12-15T05:00", 22, 10.6, "snow", 19, 21, 18),
    _storm(6, "2030-12-22T03:00", 9, 2.8, "snow", 17, 19, 11),
    _storm(7, "2030-12-29T13:00", 13, 4.7, "wet_snow", 30, 31, 10),
    _storm(8, "2031-01-04T01:00", 12, 3.9, "snow", 14, 15, 16),
    _storm(9, "2031-01-10T18:00", 24, 9.2, "snow", 18, 19, 21),
    _storm(10, "2031-01-17T06:00", 9, 1.6, "freezing_rain", 29, 27, 7),
    _storm(11, "2031-01-25T02:00", 12, 5.3, "snow", 9, 12, 13),
    _storm(12, "2031-02-01T16:00", 11, 3.4, "snow", 21, 22, 9),
    _storm(13, "2031-02-09T03:00", 26, 12.4, "snow", 24, 25, 24),
    _storm(14, "2031-02-18T07:00", 10, 2.9, "sleet", 29, 30, 12),
    _storm(15, "2031-03-01T00:00", 13, 5.8, "wet_snow", 31, 33, 10),
    _storm(16, "2031-03-13T21:00", 11, 3.7, "wet_snow", 32, 35, 8),
)

OPERATORS = tuple(f"OP-{number:02d}" for number in range(1, 17))
READERS = ("R1", "R2", "R3")
