"""Every column name once, and what a column can be.

Answers: what is this column called, in which unit, and what may stand in it?

`tables` puts the columns together into the input tables; here are the names (as constants, so that no other module
spells a column) and the columns of the tidy result tables. The `Column` description is in `column_kinds` and handed on here.
"""

from __future__ import annotations

from trialkit.column_kinds import CHOICE, ID, KIND_WORDS, MOMENT, NUMBER, TEXT, WHOLE, Column

__all__ = ["CHOICE", "ID", "KIND_WORDS", "MOMENT", "NUMBER", "TEXT", "WHOLE", "Column"]

# ---------------------------------------------------------------- names of input columns
EDGE_TYPE = "edge_type"
LABEL = "label"
NEW_HEIGHT_IN = "new_height_in"
USABLE_DEPTH_IN = "usable_depth_in"
SECTIONS_N = "sections_n"
SECTION_LENGTH_IN = "section_length_in"
REPLACED_AS = "replaced_as"
DESCRIPTION = "description"

TRUCK_ID = "truck_id"
PLOW_POSITION = "plow_position"
PLOW_WIDTH_FT = "plow_width_ft"
PLOW_TYPE = "plow_type"
BLOCK = "block"
SPREADER_CALIBRATED_ON = "spreader_calibrated_on"
NOTES = "notes"

SET_ID = "set_id"
LOT = "lot"
UNIT_PRICE_USD = "unit_price_usd"
SUPPLIED_BY = "supplied_by"

DATE = "date"
EVENT = "event"
STATION = "station"
COUNTER_MI = "counter_mi"
ODOMETER_MI = "odometer_mi"
REASON = "reason"
DURING_STORM = "during_storm"
LABOUR_H = "labour_h"
TRUCK_DOWN_H = "truck_down_h"
ATTACK_ANGLE_DEG = "attack_angle_deg"

REPEAT = "repeat"
HEIGHT_IN = "height_in"
READER = "reader"
TOOL = "tool"
RESOLUTION_IN = "resolution_in"
BASELINE = "baseline"
NOTE = "note"

STORM_ID = "storm_id"
START = "start"
END = "end"
SNOW_IN = "snow_in"
PRECIP = "precip"
AIR_TEMP_F = "air_temp_f"
PAVEMENT_TEMP_F = "pavement_temp_f"
WIND_MPH = "wind_mph"

SHIFT_ID = "shift_id"
ROUTE = "route"
OPERATOR = "operator"
ODOMETER_START_MI = "odometer_start_mi"
ODOMETER_END_MI = "odometer_end_mi"
BLADE_DOWN_MI = "blade_down_mi"
MILES_SOURCE = "miles_source"
BLADE_DOWN_H = "blade_down_h"
LANE_MILES_TREATED = "lane_miles_treated"
PASSES = "passes"
SURFACE = "surface"
RESIDUAL_SNOW_IN = "residual_snow_in"

MATERIAL = "material"
QUANTITY_LB = "quantity_lb"
QUANTITY_GAL = "quantity_gal"
CONCENTRATION_PCT = "concentration_pct"
CHLORIDE_FRAC = "chloride_frac"

SOUND_ID = "sound_id"
TASK = "task"
DURATION_MIN = "duration_min"
LEVEL_DBA = "level_dba"
EXCHANGE_RATE_DB = "exchange_rate_db"
INSTRUMENT = "instrument"
WINDOW = "window"
RADIO = "radio"
SPEED_MPH = "speed_mph"
CAL_BEFORE_DB = "cal_before_db"
CAL_AFTER_DB = "cal_after_db"

VIBRATION_ID = "vibration_id"
AXIS = "axis"
RMS_M_S2 = "rms_m_s2"

ITEM = "item"
EFFECTIVE_FROM = "effective_from"
AMOUNT_USD = "amount_usd"
PER = "per"
SOURCE = "source"

PIECE = "piece"
SCORE = "score"
COMMENT = "comment"

PERIOD = "period"
HOW = "how"

MILES_LOW_MI = "miles_low_mi"
MILES_MID_MI = "miles_mid_mi"
MILES_HIGH_MI = "miles_high_mi"

BID = "bid"
PRICE_PER_SET_USD = "price_per_set_usd"
QUANTITY = "quantity"
LEAD_TIME_DAYS = "lead_time_days"
MEETS_SPEC = "meets_spec"

WHEN = "when"
TABLE = "table"
ROW_KEY = "row_key"
ACTION = "action"
COLUMN = "column"
OLD = "old"
NEW = "new"
BY = "by"

SHA256 = "sha256"
ROWS_ADDED = "rows_added"
ROWS_THERE = "rows_there"
ROWS_REJECTED = "rows_rejected"
LEFT_OUT = "left_out"

# ---------------------------------------------------------------- names made on the way
ROW = "row"
"""Name of the index of every frame that is read: the row as the spreadsheet shows it."""
UNIT = "unit"
SEGMENT = "segment"
MILES_MI = "miles_mi"
TRUCK_UNIT = "truck_unit"
INSTALLED = "installed"
REMOVED = "removed"
MILES_BASIS = "miles_basis"

# ---------------------------------------------------------------- names of result columns
ESTIMATE = "estimate"
STD_ERROR = "std_error"
DF = "df"
CONF_LOW = "conf_low"
CONF_HIGH = "conf_high"
P_VALUE = "p_value"
PRED_LOW = "pred_low"
PRED_HIGH = "pred_high"
N_TRUCKS = "n_trucks"
N_SETS = "n_sets"
N_READINGS = "n_readings"
METHOD = "method"
REFERENCE = "reference"
BOUNDED = "bounded"
QUESTION = "question"
VERDICT = "verdict"
SENTENCE = "sentence"
RULE = "rule"
SEVERITY = "severity"
CODE = "code"
FILE = "file"
KEY = "key"
FOUND = "found"
ALLOWED = "allowed"
FIX = "fix"

P_HOLM = "p_holm"
USE_PER_1000_MI = "use_per_1000_mi"
N_TRUCKS_REFERENCE = "n_trucks_reference"
ROUNDING_BOUND = "rounding_bound"
MEASURABLE = "measurable"
DEPTH_PCT = "depth_pct"
DEPTH_PCT_LOW = "depth_pct_low"
DEPTH_PCT_HIGH = "depth_pct_high"

CRITERION = "criterion"
TWA_DBA = "twa_dba"
DOSE_PCT = "dose_pct"
DOSE_LOW_PCT = "dose_low_pct"
DOSE_HIGH_PCT = "dose_high_pct"
PERMISSIBLE_H = "permissible_h"
REACHED = "reached"
DURATION_H = "duration_h"
SHIFT_LENGTH_H = "shift_length_h"
SHARE_FRAC = "share_frac"
EXPANDED_DB = "expanded_db"
DRIFT_DB = "drift_db"
BASIS = "basis"
TERM = "term"
N_SAMPLES = "n_samples"
N_SHIFTS = "n_shifts"
N_PAIRS = "n_pairs"
WEIGHTED_M_S2 = "weighted_m_s2"
A8_M_S2 = "a8_m_s2"
A8_LOW_M_S2 = "a8_low_m_s2"
A8_HIGH_M_S2 = "a8_high_m_s2"
EXPOSURE_PCT = "exposure_pct"
GOVERNS = "governs"

MIXED_ESTIMATE = "mixed_estimate"
MIXED_STD_ERROR = "mixed_std_error"
MIXED_DF = "mixed_df"
MIXED_LOW = "mixed_low"
MIXED_HIGH = "mixed_high"
MIXED_STD_ERROR_KR = "mixed_std_error_kr"
MIXED_DF_KR = "mixed_df_kr"
MIXED_LOW_KR = "mixed_low_kr"
MIXED_HIGH_KR = "mixed_high_kr"
SHIFT_SHARE = "shift_share"
WIDTH_RATIO = "width_ratio"
AGREE = "agree"
VARIANT = "variant"
VARIANT_GROUP = "variant_group"
STANDS = "stands"
EARLY_RATE = "early_rate"
LATE_RATE = "late_rate"
CHANGE_PCT = "change_pct"
STANDS_APART = "stands_apart"
DISTANCE = "distance"
LIMIT = "limit"
RESIDUAL_IN = "residual_in"
SHEET_ROWS = "sheet_rows"
DIGEST, READ = "digest", "read"
DRIVEN_MI = "driven_mi"
MEASURE = "measure"
ESTIMATE_PCT = "estimate_pct"
N_STORMS = "n_storms"
DETECTABLE = "detectable"
N_ZERO = "n_zero"
TOTAL = "total"
PER_TOTAL = "per_total"
NAIVE_RATE = "naive_rate"
GAP = "gap"
N_OPERATORS = "n_operators"
N_RATINGS = "n_ratings"
MEAN_SCORE = "mean_score"
MEAN_SCORE_REFERENCE = "mean_score_reference"
P_SMALLEST = "p_smallest"
N_RECORDS = "n_records"
UPPER_BOUND = "upper_bound"

DESIGN = "design"
TRUCKS_TOTAL = "trucks_total"
DETECTABLE_RATIO = "detectable_ratio"
DETECTABLE_FASTER = "detectable_faster"
DETECTABLE_LIFE_RATIO = "detectable_life_ratio"
DETECTABLE_DB = "detectable_db"
DETECTABLE_PCT = "detectable_pct"
DETECTABLE_SAVING_PCT = "detectable_saving_pct"
RATE = "rate"
LEAST_WEAR_IN = "least_wear_in"
LEAST_WEAR_ANY_IN = "least_wear_any_in"
MILES_TO_SEE_MI = "miles_to_see_mi"
MILES_TO_KNOW_MI = "miles_to_know_mi"
COVARIATE = "covariate"
LEVEL = "level"
STD_DIFFERENCE = "std_difference"
N_UNITS = "n_units"
COMPONENT = "component"
STUDY_PCT = "study_pct"
WEAR_PCT = "wear_pct"
SUM_OF_SQUARES = "sum_of_squares"
MEAN_SQUARE = "mean_square"
LOOK = "look"
INFORMATION = "information"
ALPHA_SPENT = "alpha_spent"
NOMINAL_P = "nominal_p"
Z_LIMIT = "z_limit"
T_LIMIT = "t_limit"

COST_PER_MI = "cost_per_mi"
ANNUAL_COST = "annual_cost"
ANNUAL_LOW = "annual_low"
ANNUAL_HIGH = "annual_high"
NPV = "npv"
NPV_LOW = "npv_low"
NPV_HIGH = "npv_high"
BREAK_EVEN_LIFE_RATIO = "break_even_life_ratio"
BREAK_EVEN_PRICE = "break_even_price"
LINE = "line"
KNOWN = "known"
UNKNOWN_LINES = "unknown_lines"
SAVING_PCT = "saving_pct"
SAVING_LOW_PCT = "saving_low_pct"
SAVING_HIGH_PCT = "saving_high_pct"
CHANCE_CHEAPER = "chance_cheaper"
WINTER = "winter"
SHOWN = "shown"
PRICE = "price"
PRICE_LOW = "price_low"
PRICE_HIGH = "price_high"

# ---------------------------------------------------------------- headings of the result tables
RESULT_LABELS: dict[str, str] = {
    EDGE_TYPE: "Edge type",
    REFERENCE: "Compared with",
    PLOW_POSITION: "Plow position",
    ESTIMATE: "Estimate",
    STD_ERROR: "Standard error",
    DF: "Degrees of freedom",
    CONF_LOW: "Interval from",
    CONF_HIGH: "to",
    PRED_LOW: "Next set from",
    PRED_HIGH: "to",
    UNIT: "Unit",
    N_TRUCKS: "Trucks",
    N_SETS: "Sets",
    N_READINGS: "Readings",
    METHOD: "Method",
    BOUNDED: "Has an upper end",
    QUESTION: "Question",
    VERDICT: "Verdict",
    SENTENCE: "In words",
    RULE: "Rule",
    SEVERITY: "Kind",
    CODE: "Code",
    FILE: "File",
    ROW: "Row",
    KEY: "About",
    COLUMN: "Column",
    FOUND: "Found",
    ALLOWED: "Allowed",
    FIX: "What to do",
    TRUCK_ID: "Truck",
    STATION: "Station",
    SET_ID: "Set",
    SEGMENT: "Segment",
    TRUCK_UNIT: "Truck and position",
    MILES_MI: "Blade-down miles",
    HEIGHT_IN: "Height",
    TASK: "Task",
    LEVEL_DBA: "Level",
    EXCHANGE_RATE_DB: "Exchange rate",
    CRITERION: "Criterion",
    TWA_DBA: "8-hour average, dBA",
    DOSE_PCT: "Dose, %",
    DOSE_LOW_PCT: "Dose from, %",
    DOSE_HIGH_PCT: "to, %",
    PERMISSIBLE_H: "Hours until reached",
    REACHED: "Reached",
    DURATION_H: "Hours",
    SHIFT_LENGTH_H: "Shift length, h",
    SHARE_FRAC: "Share of the shift",
    EXPANDED_DB: "Expanded uncertainty, dB",
    DRIFT_DB: "Drift, dB",
    BASIS: "Basis",
    N_SAMPLES: "Samples",
    N_SHIFTS: "Shifts",
    N_PAIRS: "Trucks with both",
    AXIS: "Axis",
    RMS_M_S2: "Vibration",
    WEIGHTED_M_S2: "Vibration with axis factor, m/s²",
    A8_M_S2: "A(8), m/s²",
    A8_LOW_M_S2: "A(8) from, m/s²",
    A8_HIGH_M_S2: "to, m/s²",
    EXPOSURE_PCT: "Share of the daily value, %",
    GOVERNS: "Governs",
    TERM: "Condition",
    P_VALUE: "P value",
    P_HOLM: "P value after Holm",
    N_TRUCKS_REFERENCE: "Trucks with the reference",
    ROUNDING_BOUND: "Error from rounding, at most",
    MEASURABLE: "More than the reading error",
    DEPTH_PCT: "Usable depth worn in 1,000 miles, %",
    DEPTH_PCT_LOW: "from, %",
    DEPTH_PCT_HIGH: "to, %",
    MIXED_ESTIMATE: "One model",
    MIXED_STD_ERROR: "One model, standard error",
    MIXED_DF: "One model, degrees of freedom",
    MIXED_LOW: "One model, from",
    MIXED_HIGH: "to",
    MIXED_STD_ERROR_KR: "Kenward-Roger standard error",
    MIXED_DF_KR: "Kenward-Roger degrees of freedom",
    MIXED_LOW_KR: "Kenward-Roger, from",
    MIXED_HIGH_KR: "to",
    SHIFT_SHARE: "Gap over half the interval",
    WIDTH_RATIO: "Length against the two-stage interval",
    AGREE: "Agree",
    REASON: "Reason",
    VARIANT: "What was changed",
    VARIANT_GROUP: "Kind of change",
    STANDS: "Finding stands",
    EARLY_RATE: "Early wear",
    LATE_RATE: "Late wear",
    CHANGE_PCT: "Change, %",
    STANDS_APART: "What stands apart",
    DISTANCE: "How far",
    LIMIT: "Limit",
    RESIDUAL_IN: "Off its line, in",
    SHEET_ROWS: "Rows of the table",
    DRIVEN_MI: "Odometer miles",
    MEASURE: "Measure",
    ESTIMATE_PCT: "Estimate, %",
    N_STORMS: "Storms",
    DETECTABLE: "Difference that can be shown",
    N_ZERO: "Shifts with none",
    TOTAL: "Total",
    PER_TOTAL: "Divided by",
    NAIVE_RATE: "Totals divided",
    GAP: "Apart by",
    N_OPERATORS: "Operators",
    N_RATINGS: "Ratings",
    MEAN_SCORE: "Mean score",
    MEAN_SCORE_REFERENCE: "Mean score of the reference",
    P_SMALLEST: "Smallest P value possible",
    N_RECORDS: "Records",
    UPPER_BOUND: "At most",
    TOOL: "Tool",
    USABLE_DEPTH_IN: "Usable depth",
    PERIOD: "Period",
    HOW: "How",
    BLOCK: "Block",
    DATE: "Date",
    PLOW_WIDTH_FT: "Plow width",
    DESIGN: "Design",
    TRUCKS_TOTAL: "Trucks in all",
    DETECTABLE_RATIO: "Times slower that can be shown",
    DETECTABLE_FASTER: "Times faster that can be shown",
    DETECTABLE_LIFE_RATIO: "Times the life that can be shown",
    DETECTABLE_DB: "Difference that can be shown, dB",
    DETECTABLE_PCT: "Change that can be shown, %",
    DETECTABLE_SAVING_PCT: "Saving in the price of edges that can be shown, %",
    RATE: "Wear rate",
    LEAST_WEAR_IN: "Least wear that can be told from none",
    LEAST_WEAR_ANY_IN: "The same with another reader each time",
    MILES_TO_SEE_MI: "Miles until wear shows",
    MILES_TO_KNOW_MI: "Miles until the rate is known",
    COVARIATE: "What was compared",
    LEVEL: "Group",
    STD_DIFFERENCE: "Standardized difference",
    N_UNITS: "Plows",
    COMPONENT: "Part of the spread",
    STUDY_PCT: "Share of the study's spread, %",
    WEAR_PCT: "Share of the usable depth, %",
    SUM_OF_SQUARES: "Sum of squares",
    MEAN_SQUARE: "Mean square",
    LOOK: "Look",
    INFORMATION: "Share of the season",
    ALPHA_SPENT: "Error spent",
    NOMINAL_P: "P value needed",
    Z_LIMIT: "z limit",
    T_LIMIT: "t limit",
    COST_PER_MI: "Cost per blade-down mile",
    ANNUAL_COST: "Cost per season",
    ANNUAL_LOW: "Cost per season from",
    ANNUAL_HIGH: "to",
    NPV: "Net savings over the horizon",
    NPV_LOW: "Net savings from",
    NPV_HIGH: "to",
    BREAK_EVEN_LIFE_RATIO: "Life ratio at which it just pays",
    BREAK_EVEN_PRICE: "Price at which it just pays",
    LINE: "Cost line",
    KNOWN: "Known",
    UNKNOWN_LINES: "Not in the total",
    SAVING_PCT: "Saving, %",
    SAVING_LOW_PCT: "Saving from, %",
    SAVING_HIGH_PCT: "to, %",
    CHANCE_CHEAPER: "Chance that it is cheaper",
    WINTER: "Winter",
    SHOWN: "Shown",
    PRICE: "Price of a set",
    PRICE_LOW: "Price from",
    PRICE_HIGH: "to",
}
"""Heading of every column that a result table may show."""
