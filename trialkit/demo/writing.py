"""The demo trial: an invented town's winter, written as a trial folder.

Answers: what does a complete trial look like, and do the analyses find what is known to be true of it?

`write_demo` writes ``trial.toml``, every table, ``truth.json`` and a ``README.md`` with the column dictionary. The same
seed gives the same bytes. The town stands in `town`, the season in `season` and `sets`, the records in
`records`; here they are put on paper, in US or in metric units.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import Any

from trialkit import columns as c
from trialkit import tables, units
from trialkit.demo.records import FIVE_DB_LOWER_DB, FIVE_DB_STORM, FIVE_DB_TRUCKS, draw_records
from trialkit.demo.season import OVERSTATED_FACTOR, OVERSTATED_STORMS, Assigned, Cell, Row, Rows, Typed
from trialkit.demo.sets import EdgeLog
from trialkit.demo.town import (
    AGENCY,
    BLOCK_WEAR,
    EDGE_TYPES,
    FINAL_LOOK,
    INTERIM_LOOK,
    OVERSTATED_TRUCK,
    PLAIN_STEEL,
    SEASON,
    SEED,
    TITLE,
    TOWN,
    TRIAL_ID,
    TRUTH,
)
from trialkit.errors import UsageError

SYNTHETIC = (
    f"Synthetic: {TOWN}, its trucks, its storms and every number are invented. Nothing here was measured, and nothing "
    "describes a real town, product or supplier."
)

DECISION_RULE = (
    "Buy another edge type only if plowing with it costs less than with plain steel, the interval excludes no difference, "
    "and the saving is at least 10%."
)

REPLACEMENT_RULE = (
    "A set comes off when a station has no usable depth left, when it is broken or loose, or when the mechanic on duty says so. "
    "The mechanic decides and logs the reason; the edge type plays no part."
)

EXCLUSION_RULE = (
    "A reading over ice or packed snow, or one that was marked doubtful when it was taken, is left out by a line of decisions "
    "with its reason, before the comparison is looked at."
)


def write_demo(folder: str | Path, *, metric: bool = False, seed: int = SEED) -> Path:
    """Write the demo trial into a new or empty folder.

    Use it to try the tool, or to hold an analysis against a known truth. Do not read the figures as evidence about any
    real cutting edge.

    Parameters
    ----------
    folder : str or Path
        Where to write; made if it is not there.
    metric : bool
        Write the same trial in millimeters, kilometers, kilograms, liters and degrees Celsius. The numbers are those of
        the US folder, converted without rounding.
    seed : int
        Seed of everything that is drawn; the committed demo has the default.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    UsageError
        If the folder holds anything already, or is not a folder. Nothing is overwritten.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is not a folder; name a new or empty one.")
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty and nothing in it was changed; name a new or empty folder.")
    rows, assigned, log = draw_records(seed)
    files = {f"{name}.csv": _table_text(tables.TABLES[name], rows[name], metric) for name in tables.TABLES}
    files["trial.toml"] = _settings_text(seed, metric)
    files["truth.json"] = json.dumps(truth_record(seed, assigned, log), indent=2, ensure_ascii=False) + "\n"
    files["README.md"] = _readme(rows, seed, metric)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_bytes(text.encode("utf-8"))
    return folder


# ---------------------------------------------------------------- tables
def _table_text(table: tables.Table, rows: Rows, metric: bool) -> str:
    """One table as CSV text with line feeds."""
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(_spelled(column, metric) for column in table.columns)
    for row in rows:
        writer.writerow(_cell_text(table, column, row, metric) for column in table.columns)
    return written.getvalue()


def _spelled(column: c.Column, metric: bool) -> str:
    """The column's header: its canonical name, or with the metric unit."""
    if metric and column.unit in units.METRIC_SUFFIXES:
        return column.name.removesuffix(column.unit) + units.METRIC_SUFFIXES[column.unit]
    return column.name


def _cell_text(table: tables.Table, column: c.Column, row: Row, metric: bool) -> str:
    value: Cell = row.get(column.name)
    if table is tables.DECISIONS and metric:
        return _metric_decision(column, row)
    if metric and isinstance(value, Typed) and column.unit in units.METRIC_SUFFIXES:
        return repr(units.from_canonical(value.value, column.unit, units.METRIC_SUFFIXES[column.unit]))
    if metric and table is tables.MATERIAL and column.name == c.UNIT_PRICE_USD and isinstance(value, Typed):
        unit = "gal" if row[c.QUANTITY_GAL] is not None else "lb"
        return repr(value.value / units.from_canonical(1.0, unit, units.METRIC_SUFFIXES[unit]))
    return _plain_text(value)


def _metric_decision(column: c.Column, row: Row) -> str:
    """A cell of decisions whose row names a column: spelled and converted as that column is."""
    value = row.get(column.name)
    if not row[c.COLUMN]:
        return _plain_text(value)
    named = tables.TABLES[str(row[c.TABLE])].column(str(row[c.COLUMN]))
    if column.name == c.COLUMN:
        return _spelled(named, metric=True)
    if isinstance(value, Typed):
        return repr(units.from_canonical(value.value, named.unit, units.METRIC_SUFFIXES[named.unit]))
    return _plain_text(value)


def _plain_text(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, Typed):
        return value.text
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="minutes")
    return value.isoformat() if isinstance(value, dt.date) else str(value)


# ---------------------------------------------------------------- truth
def truth_record(seed: int, assigned: list[Assigned], log: EdgeLog) -> dict[str, Any]:
    """What is really true of the demo trial, for ``truth.json``."""
    steel = PLAIN_STEEL
    return {
        "about": SYNTHETIC,
        "seed": seed,
        "how_to_read": (
            "Names end in their units. A spread (sd) of a factor is that of its logarithm; such factors have mean 1. The "
            "wear rate is the mean over trucks, stations and storms for a front plow after running-in."
        ),
        "reference": steel.name,
        "edge_types": {
            edge.name: {
                "wear_rate_in_per_1000_mi": edge.rate_in_per_1000_mi,
                "slower_than_reference_times": round(steel.rate_in_per_1000_mi / edge.rate_in_per_1000_mi, 6),
                "mean_life_to_usable_depth_mi": round(1000 * edge.usable_depth_in / edge.rate_in_per_1000_mi, 3),
                "breaks_per_1000_mi": edge.breaks_per_1000_mi,
                "level_at_ear_blade_down_dba": round(TRUTH.steel_level_dba + edge.level_difference_db, 3),
                "level_difference_from_reference_db": edge.level_difference_db,
                "vibration_factor": edge.vibration_factor,
                "salt_per_lane_mile_factor": edge.salt_factor,
                "passes_factor": edge.passes_factor,
            }
            for edge in EDGE_TYPES
        },
        "wear": {
            "truck_sd_within_block": TRUTH.truck_sd,
            "block_factors": BLOCK_WEAR,
            "set_sd": TRUTH.set_sd,
            "storm_sd": TRUTH.storm_sd,
            "station_profile": list(TRUTH.station_profile),
            "set_station_sd": TRUTH.set_station_sd,
            "tilt_sd": TRUTH.tilt_sd,
            "run_in_mi": TRUTH.run_in_mi,
            "run_in_factor": TRUTH.run_in_factor,
            "wing_factor": TRUTH.wing_factor,
        },
        "reading_error": {
            "rule_sd_in": TRUTH.rule_sd_in,
            "caliper_sd_in": TRUTH.caliper_sd_in,
            "reader_sd_in": TRUTH.reader_sd_in,
            "note": "before rounding to the tool's step",
        },
        "sound": {
            name: asdict(TRUTH)[name]
            for name in (
                "steel_level_dba", "blade_up_dba", "idle_dba", "truck_level_sd_db", "sample_level_sd_db", "radio_db",
                "window_db", "level_per_mph_db",
            )
        },
        "vibration": {
            "steel_z_axis_m_s2": TRUTH.steel_vibration_m_s2[2],
            "truck_sd": TRUTH.vibration_sd,
            "sample_sd": TRUTH.vibration_sd,
        },
        "salt": {
            "storm_sd": TRUTH.salt_storm_sd,
            "truck_sd": TRUTH.salt_truck_sd,
            "shift_sd": TRUTH.salt_shift_sd,
        },
        "passes": {"shift_sd": TRUTH.passes_shift_sd},
        "drawn": {
            "truck_wear_factors": {name: round(value, 6) for name, value in log.truck_factors.items()},
            "assigned": {f"{each.truck.truck_id} {each.position}": each.edge.name for each in assigned},
        },
        "put_in_on_purpose": _slips(log),
        "choice_of_seed": (
            "The first seed from 2031 on whose winter has a broken set, a replaced section and a curb strike. No result "
            "was looked at in choosing it."
        ),
    }  # fmt: skip


def _slips(log: EdgeLog) -> dict[str, Any]:
    """The planted slips and oddities, so that a check can be held against them."""
    keys = {
        each.action: f"{each.reading.edge_set.set_id}, {each.reading.moment}, station {each.reading.station}"
        for each in log.settled
    }
    return {
        "reading_excluded": keys["exclude"],
        "reading_corrected": keys["correct"],
        "reading_too_high_and_left_in": keys["query"],
        "set_with_a_loose_end": [each.set_id for each in log.sets if each.is_loose],
        "loose_end_factor": TRUTH.loose_end_factor,
        "miles_overstated": {
            "truck": OVERSTATED_TRUCK, "storms": list(OVERSTATED_STORMS), "factor": OVERSTATED_FACTOR,
        },
        "five_db_dosimeter": {
            "storm": FIVE_DB_STORM, "trucks": list(FIVE_DB_TRUCKS), "reads_lower_by_db": FIVE_DB_LOWER_DB,
        },
    }  # fmt: skip


# ---------------------------------------------------------------- settings and README
def _settings_text(seed: int, metric: bool) -> str:
    return f"""\
# {SYNTHETIC}
# Only the first five settings must be given; README.md lists them all with their defaults.

trial_id = "{TRIAL_ID}"  # names the folder of the report
title = "{TITLE}"
agency = "{AGENCY}"
season = "{SEASON}"
reference_edge_type = "{PLAIN_STEEL.name}"  # the other edge types are compared with this one

units = "{"metric" if metric else "us"}"  # how results are shown; the headers of the tables decide how they are read
currency = "USD"
confidence_level = 0.95
seed = {seed}  # of everything that the analyses draw at random
earlier_seasons = []  # folders of earlier winters within this one; there is none

[plan]  # agreed in October, before the first storm
primary_measure = "cost"  # what decides: wear, life or cost
looks = [{INTERIM_LOOK}, {FINAL_LOOK}]  # days on which the results are looked at
spending = "obrien_fleming"  # next to none of the allowed error is spent at the early look
season_start = 2030-11-01  # first day on which a set may go on a truck
season_end = 2031-04-08
run_in_mi = {TRUTH.run_in_mi}  # miles after an install that are left out as running-in
smallest_worthwhile_saving_pct = 10.0  # a smaller saving is not worth a change
saving_judged_by = "estimate"  # the interval leaves out no difference, and the best estimate is large enough
pool_seasons = "never"  # several winters would be shown side by side
# no_worse_than_ratio = 1.25  # sets per mile, against the reference, up to which a type counts as no worse; none was agreed
decision_rule = "{DECISION_RULE}"
replacement_rule = "{REPLACEMENT_RULE}"
exclusion_rule = "{EXCLUSION_RULE}"
# what the size of the trial was worked out from
design = "parallel"  # each truck keeps its edge type
stations = 5  # at which each edge is read
repeats = 1  # readings of each station on one occasion
reading_every_mi = 150.0  # miles from one reading of an edge to the next, about one storm
reading_error_in = 0.03  # standard deviation of one reading; the gauge study of October takes its place
reading_step_in = 0.03125  # the rule reads to 1/32 in
truck_spread_pct = 25.0  # assumed spread of wear from truck to truck
reference_life_mi = 600.0  # miles that a set of plain steel lasted in earlier winters
season_miles_mi = 1500.0  # of a truck that is not in fleet_plan
power_pct = 80.0  # share of such trials in which a difference of the stated size shows

[noise]
shift_length_h = 12.0  # length of a storm shift
drift_limit_db = 1.0  # difference of the calibrations before and after a sample above which there is a warning
criteria = []  # empty: every criterion is reported
# A criterion of your own begins with a line [[noise.criterion]]; then name, criterion_level_dba, exchange_rate_db,
# threshold_dba (left out if every level counts) and citation.

[cost]
discount_rate = 0.03  # real, per year, as a fraction
horizon_years = 10
analysis_year = 2031  # year whose prices are used
service_level = 0.9  # probability with which the sets ordered for next season are to suffice
busiest_share = 0.5  # share of the planned miles that the busiest trucks plow

[material]
treated_basis = "lane_mile"  # what lane_miles_treated counts; two_lane_mile if a mile of road with two lanes counts once
rate_basis = "lane_mile"  # how rates are printed: lane_mile or two_lane_mile
# policy_rate_lb = 250.0  # the town's own application rate, per mile of policy_rate_basis; none was set
# typical_severity = 0.45  # severity index of a typical season; without it savings are for storms like those of the trial
"""


def _readme(rows: dict[str, Rows], seed: int, metric: bool) -> str:
    from trialkit.demo import dictionary

    twin = " This folder is its twin in metric units: the same numbers, converted." if metric else ""
    about = (
        f"{SYNTHETIC} The town tries three edge types on twelve trucks for one winter. The season is drawn with seed "
        f"{seed} from true rates that stand in `truth.json`, so that every result can be held against the truth. "
        "`trialkit demo FOLDER` writes the same files again, byte for byte, into a new or empty folder, this page "
        f"included.{twin}"
    )
    slips = (
        "Some things are wrong with the data on purpose, as they are in any season: a reading that was not taken, one "
        "over ice that is left out, one mistyped and corrected, one too high that is left in, a dark counter, a broken "
        "set, a replaced section, an edge turned end for end, a set with a loose end, a wing without a counter, shifts "
        "whose salt was not written down, a spreader without a calibration date, sound samples with the radio on, a "
        "dosimeter with another exchange rate, and shifts whose miles were guessed too high. `trialkit check` answers "
        "with no error and three warnings: the guessed miles, the height that is left in and the dosimeter."
    )
    lines = [
        f"# The demo trial: {TOWN}, winter {SEASON}",
        *("", _wrapped(about), "", _wrapped(slips), ""),
        "| File | Rows | One row is |",
        "| --- | ---: | --- |",
        *(f"| `{name}.csv` | {len(rows[name]):,} | {table.about} |" for name, table in tables.TABLES.items()),
        "| `trial.toml` | | the settings of the trial |",
        "| `truth.json` | | what is really true, with the seed |",
        "",
    ]
    return "\n".join(lines) + "\n" + dictionary.dictionary_markdown()


def _wrapped(text: str) -> str:
    return textwrap.fill(text, 118, break_long_words=False, break_on_hyphens=False)
