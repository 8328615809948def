"""The five tables that every trial needs.

Answers: without which records can nothing be said about wear?
"""

from __future__ import annotations

from trialkit import columns as c
from trialkit.columns import CHOICE, ID, MOMENT, NUMBER, TEXT, WHOLE, Column
from trialkit.table_parts import (
    BROKEN_REASONS,
    DATE_COLUMN,
    EDGE_TYPE_COLUMN,
    EVENTS,
    NOTES_COLUMN,
    POSITION_COLUMN,
    PRACTICE,
    SECTION,
    SET,
    SET_ID_COLUMN,
    SLIP,
    TOOLS,
    TRIAL_END,
    TRUCK_ID_COLUMN,
    WORN_REASONS,
    YES_NO,
    Table,
    counter,
    odometer,
)

EDGE_TYPES = Table(
    "edge_types",
    "one kind of cutting edge",
    (c.EDGE_TYPE,),
    (
        Column(c.EDGE_TYPE, ID, "Edge type", "Short name of the edge type.", required=True),
        Column(c.LABEL, TEXT, "Label", "Name as it reads within a sentence, such as \"plain steel\".", blank_means="the edge type's short name"),
        Column(
            c.NEW_HEIGHT_IN, NUMBER, "New height", "Height of a new edge from the reference mark to the cutting tip.",
            "in", low=0, low_excluded=True, high=24, doubt_low=2, doubt_high=12, bounds_source=PRACTICE, required=True,
        ),
        Column(
            c.USABLE_DEPTH_IN, NUMBER, "Usable depth",
            "How much may wear off before the edge must come off; for an insert edge the insert, not the steel body.",
            "in", low=0, low_excluded=True, high=24, doubt_low=0.2, doubt_high=6, bounds_source=PRACTICE, required=True,
        ),
        Column(c.SECTIONS_N, WHOLE, "Sections", "Sections in one set.", low=1, high=50, bounds_source=SLIP),
        Column(
            c.SECTION_LENGTH_IN, NUMBER, "Section length", "Length of one section.", "in", low=0, low_excluded=True,
            high=200, bounds_source=SLIP,
        ),
        Column(
            c.REPLACED_AS, CHOICE, "Replaced as", "Whether the whole set or single sections are replaced.",
            choices=(SET, SECTION), blank_means=SET,
        ),
        Column(c.DESCRIPTION, TEXT, "Description", "What it is, in generic words."),
    ),
    needed=True,
)  # fmt: skip

TRUCKS = Table(
    "trucks",
    "one plow position on one truck",
    (c.TRUCK_ID, c.PLOW_POSITION),
    (
        Column(c.TRUCK_ID, ID, "Truck", "Fleet number of the truck.", required=True),
        POSITION_COLUMN,
        Column(
            c.PLOW_WIDTH_FT, NUMBER, "Plow width", "Width of the plow.", "ft", low=0, low_excluded=True, high=40,
            doubt_low=5, doubt_high=16, bounds_source=PRACTICE,
        ),
        Column(
            c.PLOW_TYPE, CHOICE, "Plow type", "How the plow gives way.", choices=("trip_edge", "full_trip", "fixed")
        ),
        Column(c.BLOCK, TEXT, "Block", "Group of like routes within which edge types were assigned."),
        Column(c.SPREADER_CALIBRATED_ON, MOMENT, "Spreader calibrated on", "Date of the last spreader calibration."),
        NOTES_COLUMN,
    ),
    needed=True,
)  # fmt: skip

EDGE_SETS = Table(
    "edge_sets",
    "one set of edges, as it is bolted on",
    (c.SET_ID,),
    (
        Column(c.SET_ID, ID, "Set", "Number painted or stamped on the set.", required=True),
        EDGE_TYPE_COLUMN,
        Column(c.LOT, TEXT, "Lot", "Lot or purchase order."),
        Column(
            c.UNIT_PRICE_USD, NUMBER, "Price of a set", "Price of one complete set, without labor.", "usd", low=0,
            high=1_000_000, bounds_source=SLIP,
        ),
        Column(
            c.SUPPLIED_BY, CHOICE, "Supplied by", "How the set was come by.", choices=("bought", "donated", "loaned")
        ),
    ),
    needed=True,
)  # fmt: skip

SET_EVENTS = Table(
    "set_events",
    "one thing that happened to a set",
    (c.SET_ID, c.DATE, c.EVENT, c.STATION),
    (
        SET_ID_COLUMN,
        TRUCK_ID_COLUMN,
        POSITION_COLUMN,
        DATE_COLUMN,
        Column(c.EVENT, CHOICE, "Event", "What happened.", choices=EVENTS, required=True),
        Column(
            c.STATION, WHOLE, "Station", "Station of a section swap.", low=1, high=60, bounds_source=SLIP,
            blank_means="the whole set",
        ),
        counter("Blade-down counter of that truck and position at the event."),
        odometer(c.ODOMETER_MI, "Odometer"),
        Column(
            c.REASON, CHOICE, "Reason", "Why.",
            choices=(
                "new", *WORN_REASONS, *BROKEN_REASONS, TRIAL_END, "other",
            ),
        ),
        Column(c.DURING_STORM, CHOICE, "During a storm", "Whether it was done during a storm.", choices=YES_NO),
        Column(
            c.LABOUR_H, NUMBER, "Labor", "Hours of work.", "h", low=0, high=200, doubt_high=16, bounds_source=PRACTICE
        ),
        Column(
            c.TRUCK_DOWN_H, NUMBER, "Truck down", "Hours the truck stood.", "h", low=0, high=2000, doubt_high=72,
            bounds_source=PRACTICE,
        ),
        Column(
            c.ATTACK_ANGLE_DEG, NUMBER, "Attack angle", "Angle of the edge, measured from the road surface.", "deg",
            low=0, low_excluded=True, high=90, doubt_low=40, doubt_high=90, bounds_source=PRACTICE,
        ),
        NOTES_COLUMN,
    ),
    needed=True,
    group_refers_to=(((c.TRUCK_ID, c.PLOW_POSITION), "trucks"),),
)  # fmt: skip

WEAR_READINGS = Table(
    "wear_readings",
    "one height read at one station of one set",
    (c.SET_ID, c.DATE, c.STATION, c.REPEAT),
    (
        SET_ID_COLUMN,
        DATE_COLUMN,
        Column(
            c.STATION, WHOLE, "Station", "1 is the left end seen from the cab, counting to the right.", low=1, high=60,
            bounds_source=SLIP, required=True,
        ),
        Column(
            c.REPEAT, WHOLE, "Repeat", "Number of the repeated reading.", low=1, high=50, bounds_source=SLIP,
            blank_means="1",
        ),
        Column(
            c.HEIGHT_IN, NUMBER, "Height", "From the fixed reference mark to the cutting tip; falls as the edge wears.",
            "in", low=0, high=24, bounds_source=SLIP, required=True,
        ),
        counter("Blade-down counter at the reading; may be blank when shifts give the miles."),
        Column(c.READER, ID, "Reader", "Who read it, as a code."),
        Column(c.TOOL, CHOICE, "Tool", "What it was read with.", choices=TOOLS),
        Column(
            c.RESOLUTION_IN, NUMBER, "Resolution", "Smallest step of the tool.", "in", low=0, low_excluded=True, high=1,
            doubt_low=0.0005, doubt_high=0.25, bounds_source=PRACTICE,
        ),
        Column(
            c.BASELINE, CHOICE, "Baseline", "Whether it was read just after an install or change, before plowing.",
            choices=YES_NO, blank_means="no",
        ),
        Column(c.NOTE, TEXT, "Note", "Anything worth keeping."),
    ),
    needed=True,
)  # fmt: skip
