"""The rows of the demo tables: the season as the town's records show it.

Answers: what stands in each table of the demo trial?

Salt, sound, vibration and ratings are drawn here from the shifts; the edge tables are the garage's log in rows. Every row
is a mapping from a column to what was typed.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from trialkit import columns as c
from trialkit import tables
from trialkit.demo.season import (
    OVERSTATED_STORMS,
    Assigned,
    Draws,
    Row,
    Rows,
    Shift,
    Typed,
    draw_assignments,
    draw_shifts,
    typed,
)
from trialkit.demo.sets import EdgeLog, draw_edges, draw_reader_biases, fraction
from trialkit.demo.town import (
    CARBIDE_INSERT,
    EDGE_TYPES,
    GAUGE_DAY,
    OPERATORS,
    OVERSTATED_TRUCK,
    PLAIN_STEEL,
    READERS,
    RUBBER_CARBIDE,
    STORMS,
    TRUCKS,
    TRUTH,
    UNTESTED_TYPE,
    WING,
    Storm,
)

LATER_LOT_FROM = dt.date(2031, 1, 15)
SOUND_STORMS = ("W-03", "W-05", "W-07", "W-10", "W-12", "W-14")
VIBRATION_STORMS = ("W-04", "W-08", "W-12")
FIVE_DB_STORM, FIVE_DB_TRUCKS = "W-03", ("T-02", "T-06", "T-11")
"""Where the old dosimeter, which averages with a 5 dB exchange rate, was used."""
FIVE_DB_LOWER_DB = 0.5
PLOW_ONLY, RECORD_LOST = 0.03, 0.02
"""Chance that nothing was spread in a shift, and that what was spread was not written down."""


def draw_records(seed: int) -> tuple[dict[str, Rows], list[Assigned], EdgeLog]:
    """Every table of the demo trial, with what was assigned and the edge log they come from."""
    assigned = draw_assignments(Draws(seed, "assignment"))
    shifts = draw_shifts(Draws(seed, "shifts"), assigned)
    gauge = Draws(seed, "gauge")
    biases_in = draw_reader_biases(gauge)
    log = draw_edges(seed, assigned, shifts, biases_in)
    fronts = [shift for shift in shifts if shift.is_front]
    rows = {
        tables.EDGE_TYPES.name: _edge_types(),
        tables.TRUCKS.name: _trucks(assigned),
        tables.EDGE_SETS.name: _edge_sets(log),
        tables.SET_EVENTS.name: _set_events(log),
        tables.WEAR_READINGS.name: _wear_readings(log),
        tables.STORMS.name: _storms(),
        tables.SHIFTS.name: _shifts(shifts),
        tables.MATERIAL.name: [],
        tables.SOUND.name: _sound(Draws(seed, "sound"), fronts, log),
        tables.VIBRATION.name: _vibration(Draws(seed, "vibration"), fronts, log),
        tables.COSTS.name: _costs(),
        tables.GAUGE_READINGS.name: _gauge_readings(gauge, biases_in),
        tables.OPERATOR_RATINGS.name: _ratings(Draws(seed, "ratings"), fronts),
        tables.ASSIGNMENTS.name: _assignments(assigned),
        tables.FLEET_PLAN.name: _fleet_plan(assigned, shifts),
        tables.BIDS.name: _bids(),
        tables.DECISIONS.name: _decisions(log, shifts),
    }
    _spread_material(Draws(seed, "material"), fronts, rows[tables.SHIFTS.name], rows[tables.MATERIAL.name])
    return rows, assigned, log


def _yes(value: bool) -> str:
    return "yes" if value else "no"


# ---------------------------------------------------------------- fleet and edges
def _edge_types() -> Rows:
    return [
        {
            c.EDGE_TYPE: edge.name, c.LABEL: edge.label, c.NEW_HEIGHT_IN: typed(edge.new_height_in, 1),
            c.USABLE_DEPTH_IN: typed(edge.usable_depth_in, 1), c.SECTIONS_N: edge.sections_n,
            c.SECTION_LENGTH_IN: typed(edge.section_length_in, 0), c.REPLACED_AS: edge.replaced_as,
            c.DESCRIPTION: edge.description,
        }
        for edge in EDGE_TYPES
    ]  # fmt: skip


def _trucks(assigned: Sequence[Assigned]) -> Rows:
    return [
        {
            c.TRUCK_ID: each.truck.truck_id, c.PLOW_POSITION: each.position,
            c.PLOW_WIDTH_FT: typed(9 if each.position == WING else 12, 0), c.PLOW_TYPE: each.truck.plow_type,
            c.BLOCK: each.truck.block, c.SPREADER_CALIBRATED_ON: each.truck.calibrated_on,
            c.NOTES: "Wing plow, no counter of its own" if each.position == WING else each.truck.notes,
        }
        for each in assigned
    ]  # fmt: skip


def _edge_sets(log: EdgeLog) -> Rows:
    rows: Rows = []
    for each in sorted(log.sets, key=lambda each: each.set_id):
        day = each.installed.date() if isinstance(each.installed, dt.datetime) else each.installed
        later = day >= LATER_LOT_FROM and each.edge is PLAIN_STEEL
        price = each.edge.later_price_usd if later else each.edge.price_usd
        lot = f"PO-30{'57' if later else '18'}-{each.edge.prefix}"
        rows.append(
            {
                c.SET_ID: each.set_id, c.EDGE_TYPE: each.edge.name, c.LOT: lot, c.UNIT_PRICE_USD: typed(price, 2),
                c.SUPPLIED_BY: "bought",
            }
        )  # fmt: skip
    return rows


def _set_events(log: EdgeLog) -> Rows:
    return [
        {
            c.SET_ID: event.edge_set.set_id, c.TRUCK_ID: event.edge_set.truck.truck_id,
            c.PLOW_POSITION: event.edge_set.position, c.DATE: event.moment, c.EVENT: event.event,
            c.STATION: event.station, c.COUNTER_MI: event.counter_mi,
            c.ODOMETER_MI: typed(event.odometer_mi, 0) if event.odometer_mi is not None else None,
            c.REASON: event.reason, c.DURING_STORM: _yes(event.during_storm), c.LABOUR_H: typed(event.labor_h, 2),
            c.TRUCK_DOWN_H: typed(event.truck_down_h, 2),
            c.ATTACK_ANGLE_DEG: event.attack_angle_deg, c.NOTES: event.notes,
        }
        for event in log.events
    ]  # fmt: skip


def _wear_readings(log: EdgeLog) -> Rows:
    return [
        {
            c.SET_ID: reading.edge_set.set_id, c.DATE: reading.moment, c.STATION: reading.station,
            c.REPEAT: reading.repeat, c.HEIGHT_IN: reading.height_in, c.COUNTER_MI: reading.counter_mi,
            c.READER: reading.reader, c.TOOL: reading.tool, c.RESOLUTION_IN: reading.resolution_in,
            c.BASELINE: _yes(reading.baseline), c.NOTE: reading.note,
        }
        for reading in log.readings
    ]  # fmt: skip


# ---------------------------------------------------------------- storms, shifts, salt
def _storms() -> Rows:
    return [
        {
            c.STORM_ID: storm.storm_id, c.START: storm.start, c.END: storm.end, c.SNOW_IN: typed(storm.snow_in, 1),
            c.PRECIP: storm.precip, c.AIR_TEMP_F: typed(storm.air_temp_f, 0),
            c.PAVEMENT_TEMP_F: typed(storm.pavement_temp_f, 0), c.WIND_MPH: typed(storm.wind_mph, 0),
        }
        for storm in STORMS
    ]  # fmt: skip


def _shifts(shifts: Sequence[Shift]) -> Rows:
    return [
        {
            c.SHIFT_ID: shift.shift_id, c.STORM_ID: shift.storm.storm_id, c.TRUCK_ID: shift.truck.truck_id,
            c.PLOW_POSITION: shift.position, c.ROUTE: shift.truck.route, c.OPERATOR: shift.operator,
            c.START: shift.start, c.END: shift.end,
            c.ODOMETER_START_MI: typed(shift.odometer_start_mi, 0) if shift.is_front else None,
            c.ODOMETER_END_MI: typed(shift.odometer_end_mi, 0) if shift.is_front else None,
            c.BLADE_DOWN_MI: shift.recorded_mi, c.MILES_SOURCE: shift.miles_source,
            c.BLADE_DOWN_H: typed(shift.true_mi / shift.speed_mph, 1), c.LANE_MILES_TREATED: None,
            c.PASSES: shift.passes, c.SURFACE: shift.surface, c.RESIDUAL_SNOW_IN: shift.residual_snow_in,
        }
        for shift in shifts
    ]  # fmt: skip


def _spread_material(draws: Draws, fronts: Sequence[Shift], shift_rows: Rows, rows: Rows) -> None:
    """What each shift spread: the storm decides most of it, the edge type very little."""
    storm_rates = {storm.storm_id: _storm_rate(draws, storm) for storm in STORMS}
    trucks = {truck.truck_id: draws.factor(TRUTH.salt_truck_sd) for truck in TRUCKS}
    by_shift = {row[c.SHIFT_ID]: row for row in shift_rows}
    for shift in fronts:
        if draws.chance(PLOW_ONLY):
            by_shift[shift.shift_id][c.LANE_MILES_TREATED] = typed(0, 0)
            continue
        lane_mi = typed(round(shift.truck.route_lane_mi * draws.pick((1.5, 2.0, 2.0, 2.5))), 0)
        by_shift[shift.shift_id][c.LANE_MILES_TREATED] = lane_mi
        rate = storm_rates[shift.storm.storm_id] * trucks[shift.truck.truck_id] * shift.edge.salt_factor
        quantity_lb = rate * draws.factor(TRUTH.salt_shift_sd) * lane_mi.value
        if draws.chance(RECORD_LOST):
            continue
        what = _material_for(shift)
        rows.append(_material_row(shift, what, typed(round(quantity_lb, -1), 0)))
        if what == "rock_salt" and shift.storm.pavement_temp_f < 28:
            gallons = quantity_lb / 2000 * draws.uniform(7.0, 10.0)
            rows.append(_material_row(shift, "brine", typed(gallons, 0)))


def _storm_rate(draws: Draws, storm: Storm) -> float:
    """Salt per lane-mile that the storm asks for. [lb/lane-mile]"""
    cold = 1 + 0.012 * max(0, 30 - storm.pavement_temp_f)
    icy = 1.25 if storm.precip in ("freezing_rain", "sleet") else 1.0
    return 170 * cold * icy * draws.factor(TRUTH.salt_storm_sd)


def _material_for(shift: Shift) -> str:
    if shift.storm.precip == "freezing_rain" and shift.truck.block == "hill routes":
        return "sand_salt"
    return "treated_salt" if shift.storm.pavement_temp_f < 18 else "rock_salt"


def _material_row(shift: Shift, what: str, quantity: Typed) -> Row:
    price = {"rock_salt": 0.038, "treated_salt": 0.046, "sand_salt": 0.015, "brine": 0.21}[what]
    brine = what == "brine"
    return {
        c.SHIFT_ID: shift.shift_id, c.MATERIAL: what, c.QUANTITY_LB: None if brine else quantity,
        c.QUANTITY_GAL: quantity if brine else None, c.UNIT_PRICE_USD: typed(price, 3),
        c.CONCENTRATION_PCT: typed(23, 0) if brine else None,
        c.CHLORIDE_FRAC: typed(0.15, 2) if what == "sand_salt" else None,
    }  # fmt: skip


# ---------------------------------------------------------------- what operators hear, feel and say
def _sound(draws: Draws, fronts: Sequence[Shift], log: EdgeLog) -> Rows:
    trucks = {truck.truck_id: draws.normal(TRUTH.truck_level_sd_db) for truck in TRUCKS}
    rows: Rows = []
    for shift in fronts:
        if shift.storm.storm_id not in SOUND_STORMS:
            continue
        tasks = ["blade_down", "blade_up"] + (["idle"] if draws.chance(0.3) else [])
        for task in tasks:
            rows.append(
                _sound_row(draws, shift, log, task, trucks[shift.truck.truck_id], f"SN-{len(rows) + 1:03d}")
            )
    return rows


def _sound_row(draws: Draws, shift: Shift, log: EdgeLog, task: str, truck_db: float, sound_id: str) -> Row:
    radio, window = draws.chance(0.12), draws.chance(0.08)
    speed = {"blade_down": shift.speed_mph, "blade_up": draws.uniform(24, 32), "idle": 0.0}[task]
    level = truck_db + draws.normal(TRUTH.sample_level_sd_db)
    if task == "blade_down":
        level += (
            TRUTH.steel_level_dba + shift.edge.level_difference_db + TRUTH.level_per_mph_db * (speed - 20)
        )
    else:
        level += TRUTH.blade_up_dba if task == "blade_up" else TRUTH.idle_dba
    level += (TRUTH.radio_db if radio else 0.0) + (TRUTH.window_db if window else 0.0)
    old = shift.storm.storm_id == FIVE_DB_STORM and shift.truck.truck_id in FIVE_DB_TRUCKS
    after = 114.0 + round(draws.normal(0.15), 1)
    return {
        c.SOUND_ID: sound_id, c.SHIFT_ID: shift.shift_id, c.TRUCK_ID: None, c.DATE: None,
        c.SET_ID: log.set_of_shift[shift.shift_id].set_id, c.TASK: task,
        c.DURATION_MIN: int(draws.uniform(20, 75)) if task == "blade_down" else int(draws.uniform(8, 20)),
        c.LEVEL_DBA: typed(level - (FIVE_DB_LOWER_DB if old else 0.0), 1), c.EXCHANGE_RATE_DB: 5 if old else 3,
        c.INSTRUMENT: "dosimeter", c.WINDOW: "open" if window else "closed", c.RADIO: "on" if radio else "off",
        c.SPEED_MPH: typed(speed, 0), c.SURFACE: shift.surface if task == "blade_down" else None,
        c.CAL_BEFORE_DB: typed(114.0, 1), c.CAL_AFTER_DB: typed(after, 1),
    }  # fmt: skip


def _vibration(draws: Draws, fronts: Sequence[Shift], log: EdgeLog) -> Rows:
    trucks = {truck.truck_id: draws.factor(TRUTH.vibration_sd) for truck in TRUCKS}
    rows: Rows = []
    for shift in fronts:
        if shift.storm.storm_id not in VIBRATION_STORMS:
            continue
        minutes = int(draws.uniform(20, 40))
        by_date = shift.truck.truck_id == "T-05"
        for axis, steel in zip(("x", "y", "z"), TRUTH.steel_vibration_m_s2, strict=True):
            rms = steel * shift.edge.vibration_factor * trucks[shift.truck.truck_id]
            rms *= draws.factor(TRUTH.vibration_sd)
            rows.append(
                {
                    c.VIBRATION_ID: f"VB-{len(rows) + 1:03d}", c.SHIFT_ID: None if by_date else shift.shift_id,
                    c.TRUCK_ID: shift.truck.truck_id if by_date else None,
                    c.DATE: shift.start if by_date else None,
                    c.SET_ID: log.set_of_shift[shift.shift_id].set_id, c.AXIS: axis, c.DURATION_MIN: minutes,
                    c.RMS_M_S2: typed(rms, 2), c.SURFACE: shift.surface,
                }
            )  # fmt: skip
    return rows


RATING_SHIFT = {
    PLAIN_STEEL.name: {"clearing": 0.1, "noise": -0.3, "vibration": -0.3, "control": 0.1, "fatigue": -0.2},
    CARBIDE_INSERT.name: {"clearing": 0.2, "noise": -0.2, "vibration": -0.2, "control": 0.1, "fatigue": -0.1},
    RUBBER_CARBIDE.name: {"clearing": 0.3, "noise": 0.9, "vibration": 0.8, "control": 0.2, "fatigue": 0.4},
}
"""Mean of an operator's leaning on each item, in standard deviations; above 0 is better than middling."""
_COMMENTS = {
    ("noise", True): "Could hear the radio",
    ("noise", False): "Loud on bare patches",
    ("vibration", False): "Shakes on the manholes",
    ("clearing", True): "Down to the blacktop",
}


def _ratings(draws: Draws, fronts: Sequence[Shift]) -> Rows:
    leanings = {operator: draws.normal(0.4) for operator in OPERATORS}
    rows: Rows = []
    for shift in fronts:
        if not draws.chance(0.25):
            continue
        for item, mean in RATING_SHIFT[shift.edge.name].items():
            felt = mean + leanings[shift.operator] + draws.normal(0.8)
            score = 1 + sum(felt > cut for cut in (-1.5, -0.5, 0.5, 1.5))
            comment = _COMMENTS.get((item, score >= 4), "") if draws.chance(0.12) and score != 3 else ""
            rows.append({c.SHIFT_ID: shift.shift_id, c.ITEM: item, c.SCORE: score, c.COMMENT: comment})
    return rows


# ---------------------------------------------------------------- office and bench
def _costs() -> Rows:
    july, january = dt.date(2030, 7, 1), dt.date(2031, 1, 1)
    lines: list[tuple[str, dt.date, str, float, str, str]] = [
        ("labour_regular", july, "", 58.00, "hour", "Shop rate with benefits, budget 2030-31"),
        ("labour_overtime", july, "", 79.50, "hour", "Shop rate with benefits, budget 2030-31"),
        ("labour_regular", january, "", 60.00, "hour", "Labor agreement from January"),
        ("labour_overtime", january, "", 82.25, "hour", "Labor agreement from January"),
        ("truck_down", july, "", 74.00, "hour", "Hire of a replacement truck"),
        *(
            (
                "hardware_per_change",
                july,
                edge.name,
                edge.hardware_usd,
                "change",
                "Bolts and nuts, parts room",
            )
            for edge in EDGE_TYPES
        ),
        ("conversion_kit", july, RUBBER_CARBIDE.name, 95.00, "set", "Clamp bars, shared over sets"),
        *(("disposal", july, edge.name, -6.00, "set", "Scrap credit") for edge in EDGE_TYPES[:2]),
        ("disposal", july, RUBBER_CARBIDE.name, 18.00, "set", "Rubber to the transfer station"),
        ("stock_holding", july, "", 350.00, "year", "Rack space in the parts room"),
    ]
    return [
        {
            c.ITEM: item, c.EFFECTIVE_FROM: start, c.EDGE_TYPE: edge_type, c.AMOUNT_USD: typed(amount, 2), c.PER: per,
            c.SOURCE: source,
        }
        for item, start, edge_type, amount, per, source in lines
    ]  # fmt: skip


def _gauge_readings(draws: Draws, biases_in: dict[str, float]) -> Rows:
    """Five pieces, three readers, three repeats: worn steel by rule, carbide by caliper."""
    pieces = (("G1", 5.83, "rule"), ("G2", 4.71, "rule"), ("G3", 3.42, "rule"), ("G4", 5.64, "caliper"),
              ("G5", 5.18, "caliper"))  # fmt: skip
    rows: Rows = []
    for piece, true_in, tool in pieces:
        for reader in READERS:
            for repeat in (1, 2, 3):
                sd = TRUTH.rule_sd_in if tool == "rule" else TRUTH.caliper_sd_in
                seen = true_in + biases_in[reader] + draws.normal(sd)
                height = fraction(math.floor(seen * 32 + 0.5), 32) if tool == "rule" else typed(seen, 2)
                rows.append(
                    {
                        c.PIECE: piece, c.STATION: 1, c.READER: reader, c.REPEAT: repeat, c.HEIGHT_IN: height,
                        c.TOOL: tool, c.DATE: GAUGE_DAY,
                    }
                )  # fmt: skip
    return rows


def _assignments(assigned: Sequence[Assigned]) -> Rows:
    return [
        {
            c.TRUCK_ID: each.truck.truck_id, c.PLOW_POSITION: each.position, c.PERIOD: 1,
            c.EDGE_TYPE: each.edge.name, c.HOW: each.how, c.REASON: each.reason,
        }
        for each in assigned
    ]  # fmt: skip


def _fleet_plan(assigned: Sequence[Assigned], shifts: Sequence[Shift]) -> Rows:
    """Next season's miles: this season's, and a lighter and a harder winter, to the nearest 50."""
    rows: Rows = []
    for each in assigned:
        mine = [shift for shift in shifts if (shift.truck, shift.position) == (each.truck, each.position)]
        season_mi = sum(shift.true_mi for shift in mine)
        low, middle, high = (typed(50 * round(season_mi * share / 50), 0) for share in (0.6, 0.95, 1.35))
        rows.append(
            {
                c.TRUCK_ID: each.truck.truck_id, c.PLOW_POSITION: each.position, c.MILES_LOW_MI: low,
                c.MILES_MID_MI: middle, c.MILES_HIGH_MI: high,
            }
        )  # fmt: skip
    return rows


def _bids() -> Rows:
    lines = (
        ("B-01", PLAIN_STEEL.name, 419.00, 60, 21, "yes"),
        ("B-02", PLAIN_STEEL.name, 388.00, 60, 45, "unclear"),
        ("B-03", CARBIDE_INSERT.name, 742.00, 30, 42, "yes"),
        ("B-04", CARBIDE_INSERT.name, 655.00, 30, 30, "no"),
        ("B-05", RUBBER_CARBIDE.name, 2395.00, 14, 56, "yes"),
        ("B-06", UNTESTED_TYPE, 1540.00, 20, 70, "unclear"),
    )
    return [
        {
            c.BID: bid, c.EDGE_TYPE: edge_type, c.PRICE_PER_SET_USD: typed(price, 2), c.QUANTITY: quantity,
            c.LEAD_TIME_DAYS: days, c.MEETS_SPEC: meets,
        }
        for bid, edge_type, price, quantity, days, meets in lines
    ]  # fmt: skip


def _decisions(log: EdgeLog, shifts: Sequence[Shift]) -> Rows:
    """The audit trail: each slip that was settled, some days after it was found."""
    rows: Rows = []
    for each in log.settled:
        reading = each.reading
        moment = reading.moment.isoformat(timespec="minutes") if isinstance(reading.moment, dt.datetime) else str(reading.moment)  # fmt: skip
        key = (reading.edge_set.set_id, moment, str(reading.station), str(reading.repeat or 1))
        day = reading.moment.date() if isinstance(reading.moment, dt.datetime) else reading.moment
        rows.append(
            {
                c.WHEN: day + dt.timedelta(days=4), c.TABLE: tables.WEAR_READINGS.name,
                c.ROW_KEY: tables.KEY_SEPARATOR.join(key), c.ACTION: each.action,
                c.COLUMN: c.HEIGHT_IN if each.new is not None else "", c.OLD: each.old, c.NEW: each.new,
                c.REASON: each.reason, c.BY: "AN-1",
            }
        )  # fmt: skip
    doubted = [
        shift for shift in shifts
        if shift.truck.truck_id == OVERSTATED_TRUCK and shift.storm.storm_id in OVERSTATED_STORMS
    ]  # fmt: skip
    for shift in doubted[-1:]:
        rows.append(
            {
                c.WHEN: dt.date(2030, 12, 27), c.TABLE: tables.SHIFTS.name, c.ROW_KEY: shift.shift_id,
                c.ACTION: "query", c.COLUMN: c.BLADE_DOWN_MI, c.OLD: None, c.NEW: None,
                c.REASON: "Estimated miles are well above the counter since W-04; the operator was asked", c.BY: "AN-1",
            }
        )  # fmt: skip
    return sorted(rows, key=lambda row: str(row[c.WHEN]))
