"""The tables that are used when they are there; the report says what was not studied when they are not.

Answers: what else may a trial record?
"""

from __future__ import annotations

from trialkit import columns as c
from trialkit.columns import CHOICE, ID, MOMENT, NUMBER, TEXT, WHOLE, Column
from trialkit.table_parts import (
    COST_PER,
    DATE_OPTIONAL,
    DURATION,
    EDGE_TYPE_COLUMN,
    EDGE_TYPE_OR_ALL,
    MATERIALS,
    POSITION_COLUMN,
    POSITION_OPTIONAL,
    PRACTICE,
    SET_OPTIONAL,
    SHIFT_OPTIONAL,
    SHIFT_REF,
    SLIP,
    STORM_REF,
    SURFACE_COLUMN,
    TOOLS,
    TRUCK_ID_COLUMN,
    TRUCK_OPTIONAL,
    Table,
    odometer,
)

STORMS = Table(
    "storms",
    "one storm",
    (c.STORM_ID,),
    (
        Column(c.STORM_ID, ID, "Storm", "Name or number of the storm.", required=True),
        Column(c.START, MOMENT, "Start", "When it began.", required=True),
        Column(c.END, MOMENT, "End", "When it ended."),
        Column(
            c.SNOW_IN, NUMBER, "Snow", "Depth of new snow.", "in", low=0, high=200, doubt_high=48,
            bounds_source=PRACTICE,
        ),
        Column(
            c.PRECIP, CHOICE, "Precipitation", "Kind of precipitation.",
            choices=("snow", "wet_snow", "freezing_rain", "sleet", "mixed"),
        ),
        Column(
            c.AIR_TEMP_F, NUMBER, "Air temperature", "Typical air temperature.", "f", low=-90, high=120, doubt_low=-40,
            doubt_high=45, bounds_source=PRACTICE,
        ),
        Column(
            c.PAVEMENT_TEMP_F, NUMBER, "Pavement temperature", "Typical pavement temperature.", "f", low=-90, high=150,
            doubt_low=-30, doubt_high=60, bounds_source=PRACTICE,
        ),
        Column(
            c.WIND_MPH, NUMBER, "Wind", "Typical wind speed.", "mph", low=0, high=250, doubt_high=80,
            bounds_source=PRACTICE,
        ),
    ),
)  # fmt: skip

SHIFTS = Table(
    "shifts",
    "one truck in one storm on one crew shift",
    (c.SHIFT_ID,),
    (
        Column(c.SHIFT_ID, ID, "Shift", "Number of the shift record.", required=True),
        STORM_REF,
        TRUCK_ID_COLUMN,
        POSITION_OPTIONAL,
        Column(c.ROUTE, TEXT, "Route", "Route plowed."),
        Column(c.OPERATOR, ID, "Operator", "Who drove, as a code, never a name."),
        Column(c.START, MOMENT, "Start", "When the shift began.", required=True),
        Column(c.END, MOMENT, "End", "When the shift ended."),
        odometer(c.ODOMETER_START_MI, "Odometer at start"),
        odometer(c.ODOMETER_END_MI, "Odometer at end"),
        Column(
            c.BLADE_DOWN_MI, NUMBER, "Blade-down miles", "Miles plowed with the blade down.", "mi", low=0, high=2000,
            doubt_high=400, bounds_source=PRACTICE,
        ),
        Column(
            c.MILES_SOURCE, CHOICE, "Source of miles", "Where the blade-down miles come from.",
            choices=("counter", "gps", "route_log", "estimated"),
        ),
        Column(
            c.BLADE_DOWN_H, NUMBER, "Blade-down hours", "Hours with the blade down.", "h", low=0, high=48,
            doubt_high=16, bounds_source=PRACTICE,
        ),
        Column(
            c.LANE_MILES_TREATED, NUMBER, "Lane-miles treated",
            "Lane-miles treated with material; 0 if it only plowed. `material.treated_basis` says if it counts road miles or km.",
            low=0, high=5000, doubt_high=600, bounds_source=PRACTICE,
        ),
        Column(
            c.PASSES, NUMBER, "Passes", "Passes over the route in the shift.", low=0, high=200, doubt_high=40,
            bounds_source=PRACTICE,
        ),
        SURFACE_COLUMN,
        Column(
            c.RESIDUAL_SNOW_IN, NUMBER, "Residual snow", "Depth left behind after the last pass.", "in", low=0, high=60,
            doubt_high=6, bounds_source=PRACTICE,
        ),
    ),
)  # fmt: skip

MATERIAL = Table(
    "material",
    "one material spread in one shift",
    (c.SHIFT_ID, c.MATERIAL),
    (
        SHIFT_REF,
        Column(c.MATERIAL, CHOICE, "Material", "What was spread.", choices=MATERIALS, required=True),
        Column(
            c.QUANTITY_LB, NUMBER, "Quantity by weight", "How much, by weight; blank where it is given by volume.",
            "lb", low=0, high=2_000_000, bounds_source=SLIP,
        ),
        Column(
            c.QUANTITY_GAL, NUMBER, "Quantity by volume", "How much, by volume; blank where it is given by weight.",
            "gal", low=0, high=200_000, bounds_source=SLIP,
        ),
        Column(
            c.UNIT_PRICE_USD, NUMBER, "Price", "Price per the unit in which the quantity is given.", "usd", low=0,
            high=100_000, bounds_source=SLIP,
        ),
        Column(
            c.CONCENTRATION_PCT, NUMBER, "Concentration", "Of a brine, by mass.", "pct", low=0, low_excluded=True,
            high=100, doubt_low=10, doubt_high=36, bounds_source=PRACTICE,
        ),
        Column(
            c.CHLORIDE_FRAC, NUMBER, "Chloride fraction",
            "Chloride by mass, as a fraction of the material; of a brine, of the salt dissolved in it.", low=0, high=1,
            blank_means="the stated default for that material",
        ),
    ),
    either=((c.QUANTITY_LB, c.QUANTITY_GAL),),
)  # fmt: skip

SOUND = Table(
    "sound",
    "one sound level sample in the cab",
    (c.SOUND_ID,),
    (
        Column(c.SOUND_ID, ID, "Sample", "Number of the sample.", required=True),
        SHIFT_OPTIONAL,
        TRUCK_OPTIONAL,
        DATE_OPTIONAL,
        SET_OPTIONAL,
        Column(
            c.TASK, CHOICE, "Task", "What the truck was doing.", choices=("blade_down", "blade_up", "idle", "other"),
            required=True,
        ),
        DURATION,
        Column(
            c.LEVEL_DBA, NUMBER, "Level", "A-weighted equivalent level of the sample at the operator's ear.", "dba",
            low=0, high=140, doubt_low=65, doubt_high=105, bounds_source=PRACTICE, required=True,
        ),
        Column(
            c.EXCHANGE_RATE_DB, NUMBER, "Exchange rate", "Exchange rate of the instrument's average.", "db",
            choices=("3", "5"), low=3, high=5, required=True,
        ),
        Column(c.INSTRUMENT, CHOICE, "Instrument", "What it was measured with.", choices=("dosimeter", "meter")),
        Column(c.WINDOW, CHOICE, "Window", "Whether a window was open.", choices=("open", "closed")),
        Column(c.RADIO, CHOICE, "Radio", "Whether the radio was on.", choices=("on", "off")),
        Column(c.SPEED_MPH, NUMBER, "Speed", "Typical speed.", "mph", low=0, high=90, doubt_high=45, bounds_source=PRACTICE),
        SURFACE_COLUMN,
        Column(c.CAL_BEFORE_DB, NUMBER, "Calibration before", "Calibrator reading before.", "db", low=70, high=130),
        Column(c.CAL_AFTER_DB, NUMBER, "Calibration after", "Calibrator reading after.", "db", low=70, high=130),
    ),
    either=((c.SHIFT_ID, c.TRUCK_ID),),
)  # fmt: skip

VIBRATION = Table(
    "vibration",
    "one whole-body vibration sample at the seat, one axis",
    (c.VIBRATION_ID,),
    (
        Column(c.VIBRATION_ID, ID, "Sample", "Number of the sample.", required=True),
        SHIFT_OPTIONAL,
        TRUCK_OPTIONAL,
        DATE_OPTIONAL,
        SET_OPTIONAL,
        Column(c.AXIS, CHOICE, "Axis", "x fore-and-aft, y side to side, z up and down.", choices=("x", "y", "z"), required=True),
        DURATION,
        Column(
            c.RMS_M_S2, NUMBER, "Vibration", "Frequency-weighted r.m.s. acceleration.", "m_s2", low=0, high=50,
            doubt_high=3, bounds_source=PRACTICE, required=True,
        ),
        SURFACE_COLUMN,
    ),
    either=((c.SHIFT_ID, c.TRUCK_ID),),
)  # fmt: skip

COSTS = Table(
    "costs",
    "one price or rate from a date on",
    (c.ITEM, c.EFFECTIVE_FROM, c.EDGE_TYPE),
    (
        Column(
            c.ITEM, CHOICE, "Item", "What is paid for.", required=True,
            choices=tuple(COST_PER),
        ),
        Column(c.EFFECTIVE_FROM, MOMENT, "Effective from", "Day from which it holds.", required=True),
        EDGE_TYPE_OR_ALL,
        Column(
            c.AMOUNT_USD, NUMBER, "Amount", "Amount; a disposal credit is negative.", "usd", low=-1_000_000,
            high=1_000_000, bounds_source=SLIP, required=True,
        ),
        Column(c.PER, CHOICE, "Per", "What the amount is for.", choices=("hour", "change", "set", "year"), required=True),
        Column(c.SOURCE, TEXT, "Source", "Where the figure comes from."),
    ),
)  # fmt: skip

GAUGE_READINGS = Table(
    "gauge_readings",
    "one repeated reading of the gauge study",
    (c.PIECE, c.STATION, c.READER, c.REPEAT),
    (
        Column(c.PIECE, ID, "Piece", "Piece that was read.", required=True),
        Column(c.STATION, WHOLE, "Station", "Station on the piece.", low=1, high=60, bounds_source=SLIP, required=True),
        Column(c.READER, ID, "Reader", "Who read it, as a code.", required=True),
        Column(c.REPEAT, WHOLE, "Repeat", "Number of the repeated reading.", low=1, high=50, bounds_source=SLIP, required=True),
        Column(c.HEIGHT_IN, NUMBER, "Height", "Height read.", "in", low=0, high=24, bounds_source=SLIP, required=True),
        Column(c.TOOL, CHOICE, "Tool", "What it was read with.", choices=TOOLS),
        DATE_OPTIONAL,
    ),
)  # fmt: skip

OPERATOR_RATINGS = Table(
    "operator_ratings",
    "one score an operator gave after a shift",
    (c.SHIFT_ID, c.ITEM),
    (
        SHIFT_REF,
        Column(
            c.ITEM, CHOICE, "Item", "What was rated.",
            choices=("clearing", "noise", "vibration", "control", "fatigue"), required=True,
        ),
        Column(c.SCORE, WHOLE, "Score", "1 to 5; 5 is best.", low=1, high=5, required=True),
        Column(c.COMMENT, TEXT, "Comment", "The operator's words."),
    ),
)  # fmt: skip

ASSIGNMENTS = Table(
    "assignments",
    "which edge type a truck position carries in a period",
    (c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD),
    (
        TRUCK_ID_COLUMN,
        POSITION_COLUMN,
        Column(c.PERIOD, WHOLE, "Period", "1, 2, ... where edge types rotate.", low=1, high=50, blank_means="1"),
        EDGE_TYPE_COLUMN,
        Column(c.HOW, CHOICE, "How", "How it was assigned.", choices=("random", "swap", "forced")),
        Column(c.REASON, TEXT, "Reason", "Why, if it was not at random."),
    ),
    group_refers_to=(((c.TRUCK_ID, c.PLOW_POSITION), "trucks"),),
)  # fmt: skip


def _plan_miles(name: str, winter: str) -> Column:
    return Column(
        name, NUMBER, f"Miles in a {winter} winter", f"Blade-down miles expected next season in a {winter} winter.", "mi",
        low=0, high=100_000, doubt_high=8_000, bounds_source=PRACTICE, required=True,
    )  # fmt: skip


FLEET_PLAN = Table(
    "fleet_plan",
    "one truck position in next season's plan",
    (c.TRUCK_ID, c.PLOW_POSITION),
    (
        TRUCK_ID_COLUMN,
        POSITION_COLUMN,
        _plan_miles(c.MILES_LOW_MI, "light"),
        _plan_miles(c.MILES_MID_MI, "middling"),
        _plan_miles(c.MILES_HIGH_MI, "hard"),
    ),
    group_refers_to=(((c.TRUCK_ID, c.PLOW_POSITION), "trucks"),),
)

BIDS = Table(
    "bids",
    "one bid for one edge type",
    (c.BID,),
    (
        Column(c.BID, ID, "Bid", "Code of the bid, never the bidder's name.", required=True),
        Column(c.EDGE_TYPE, TEXT, "Edge type", "Edge type offered; one that was not tried is listed, not scored.", required=True),
        Column(
            c.PRICE_PER_SET_USD, NUMBER, "Price of a set", "Price of one complete set.", "usd", low=0,
            low_excluded=True, high=1_000_000, bounds_source=SLIP, required=True,
        ),
        Column(c.QUANTITY, WHOLE, "Quantity", "Sets offered.", low=0, high=10_000, bounds_source=SLIP),
        Column(c.LEAD_TIME_DAYS, WHOLE, "Lead time", "Days from order to delivery.", low=0, high=1000, bounds_source=SLIP),
        Column(
            c.MEETS_SPEC, CHOICE, "Meets the specification", "Whether it meets the specification.",
            choices=("yes", "no", "unclear"),
        ),
    ),
)  # fmt: skip

DECISIONS = Table(
    "decisions",
    "one decision about one row; lines are only ever added",
    (),
    (
        Column(c.WHEN, MOMENT, "When", "When it was decided.", required=True),
        Column(c.TABLE, TEXT, "Table", "Table of the row.", required=True),
        Column(
            c.ROW_KEY, TEXT, "Row key", "Key of the row: its key columns' values joined by ' | '.", required=True
        ),
        Column(
            c.ACTION, CHOICE, "Action", "What is done with it.", choices=("exclude", "correct", "keep", "query"),
            required=True,
        ),
        Column(c.COLUMN, TEXT, "Column", "Column that is corrected."),
        Column(c.OLD, TEXT, "Old value", "What stood there."),
        Column(c.NEW, TEXT, "New value", "What is to be read instead."),
        Column(c.REASON, TEXT, "Reason", "Why.", required=True),
        Column(c.BY, ID, "By", "Who decided, as a code."),
    ),
)  # fmt: skip

INTAKE_LOG = Table(
    "intake_log",
    "one table of one file that was taken in; kept by `trialkit intake`, not read as data",
    (),
    (
        Column(c.WHEN, MOMENT, "When", "When it was taken in, by the clock of the computer.", required=True),
        Column(c.FILE, TEXT, "File", "Name of the file.", required=True),
        Column(c.SHA256, TEXT, "SHA-256", "Fingerprint of the file's content.", required=True),
        Column(c.TABLE, TEXT, "Table", "Table of the rows.", required=True),
        Column(c.ROWS_ADDED, WHOLE, "Rows added", "Rows that were added.", low=0, required=True),
        Column(c.ROWS_THERE, WHOLE, "Rows there", "Rows that were skipped since the trial had them.", low=0, required=True),
        Column(
            c.ROWS_REJECTED, WHOLE, "Rows rejected", "Rows that were left for the file of rejected rows.", low=0,
            required=True,
        ),
        Column(c.LEFT_OUT, TEXT, "Left out", "Columns that were not taken over at the analyst's wish.", blank_means="none"),
        Column(c.BY, ID, "By", "Who took it in, as a code."),
    ),
)  # fmt: skip
"""The log of additions; it is kept in the trial folder beside the tables but is not one of them."""
