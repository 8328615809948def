"""What a table is, and the words and columns that several tables share.

Answers: what has every input table in common?

Bounds marked "common practice, no source" are warnings only; bounds that stop a run are physical impossibilities or slips
of the keyboard.
"""

from __future__ import annotations

from dataclasses import dataclass

from trialkit import columns as c
from trialkit.columns import CHOICE, ID, MOMENT, NUMBER, TEXT, Column

PRACTICE = "common practice, no source"
SLIP = "beyond anything a plow truck carries: a slip or a wrong unit"

POSITIONS = ("front", "underbody", "wing_left", "wing_right")
YES, NO = "yes", "no"
YES_NO = (YES, NO)
SET, SECTION = "set", "section"
"""What is replaced when an edge is worn: the whole set, or single sections."""
MATERIALS = ("rock_salt", "treated_salt", "sand_salt", "brine", "other")
DISPOSAL = "disposal"
_ANY = ("hour", "change", "set", "year")
COST_PER = {
    "labour_regular": _ANY, "labour_overtime": _ANY, "truck_down": _ANY,
    "hardware_per_change": ("change", "set", "year"),
    "conversion_kit": ("set", "change", "year"),
    DISPOSAL: ("set", "change", "year"),
    "stock_holding": ("year", "set", "change"),
    "other": _ANY,
}  # fmt: skip
"""Cost items, and what each may be paid per."""
LIGHT, MIDDLING, HARD = "light", "middling", "hard"
WINTERS = {LIGHT: c.MILES_LOW_MI, MIDDLING: c.MILES_MID_MI, HARD: c.MILES_HIGH_MI}
"""Winters of a plan, and the column of each."""
TOOLS = ("rule", "tape", "caliper", "ultrasonic", "template")
EVENTS = ("install", "remove", "flip", "section_swap", "re_reference", "break", "lost", "season_end")
STARTS_SEGMENT = ("install", "flip", "section_swap", "re_reference")
"""Events after which heights start anew: no line is drawn across one."""
ENDS_LIFE = ("remove", "break", "lost", "season_end")
"""Events after which the set is no longer on the truck (a broken set that stays on has no such event)."""
BROKEN_EVENTS = ("break", "lost")
WORN_REASONS = ("worn_to_limit", "worn_uneven")
"""Reasons of a removal that ends the life of a set by wear."""
BROKEN_REASONS = ("broken", "curb_strike", "loose")
TRIAL_END = "trial_end"
"""Reason of a removal that ends the season and no life."""


@dataclass(frozen=True, slots=True)
class Table:
    """One input table.

    Attributes
    ----------
    name : str
        Name of the CSV file without its ending, and of the workbook sheet.
    about : str
        What one row is.
    key : tuple of str
        Columns that together name a row; no two rows may agree in all of them. Empty if rows need no name.
    columns : tuple of Column
        In the order of the template.
    needed : bool
        Whether a trial cannot do without it.
    group_refers_to : tuple of (columns, table)
        Several columns that together must be in another table.
    either : tuple of tuple of str
        Groups of columns of which each row must fill at least one.
    """

    name: str
    about: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    needed: bool = False
    group_refers_to: tuple[tuple[tuple[str, ...], str], ...] = ()
    either: tuple[tuple[str, ...], ...] = ()

    def column(self, name: str) -> Column:
        """The description of one column; KeyError if the table has no such column."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        """Canonical column names in order."""
        return tuple(column.name for column in self.columns)


# ---------------------------------------------------------------- columns that several tables share
NOTES_COLUMN = Column(c.NOTES, TEXT, "Notes", "Anything worth keeping.")
EDGE_TYPE_COLUMN = Column(
    c.EDGE_TYPE, ID, "Edge type", "Edge type, as in edge_types.", required=True, refers_to="edge_types"
)
EDGE_TYPE_OR_ALL = Column(
    c.EDGE_TYPE,
    ID,
    "Edge type",
    "Edge type, as in edge_types.",
    blank_means="all edge types",
    refers_to="edge_types",
)
SET_ID_COLUMN = Column(c.SET_ID, ID, "Set", "Set, as in edge_sets.", required=True, refers_to="edge_sets")
SET_OPTIONAL = Column(
    c.SET_ID, ID, "Set", "Set on the truck at the time, as in edge_sets.", refers_to="edge_sets"
)
TRUCK_ID_COLUMN = Column(c.TRUCK_ID, ID, "Truck", "Truck, as in trucks.", required=True, refers_to="trucks")
TRUCK_OPTIONAL = Column(
    c.TRUCK_ID, ID, "Truck", "Truck, as in trucks; with date, if no shift is named.", refers_to="trucks"
)
POSITION_COLUMN = Column(
    c.PLOW_POSITION,
    CHOICE,
    "Plow position",
    "Where on the truck the edge is.",
    choices=POSITIONS,
    required=True,
)
POSITION_OPTIONAL = Column(
    c.PLOW_POSITION, CHOICE, "Plow position", "Where on the truck the edge is.", choices=POSITIONS,
    blank_means="the truck's only position",
)  # fmt: skip
STORM_REF = Column(c.STORM_ID, ID, "Storm", "Storm, as in storms.", refers_to="storms")
SHIFT_REF = Column(c.SHIFT_ID, ID, "Shift", "Shift, as in shifts.", required=True, refers_to="shifts")
SHIFT_OPTIONAL = Column(
    c.SHIFT_ID, ID, "Shift", "Shift, as in shifts; else truck and date.", refers_to="shifts"
)
DATE_COLUMN = Column(
    c.DATE, MOMENT, "Date", "Day, with a time where the order within the day matters.", required=True
)
DATE_OPTIONAL = Column(c.DATE, MOMENT, "Date", "Day of the sample, if no shift is named.")
SURFACE_COLUMN = Column(
    c.SURFACE, CHOICE, "Surface", "What lay on the road.", choices=("loose", "packed", "slush", "ice", "bare")
)
DURATION = Column(
    c.DURATION_MIN, NUMBER, "Duration", "Length of the sample.", "min", low=0, low_excluded=True, high=1440,
    bounds_source="a sample lasts no longer than a day", required=True,
)  # fmt: skip


def counter(about: str) -> Column:
    """The blade-down counter of a truck position."""
    return Column(
        c.COUNTER_MI, NUMBER, "Blade-down counter", about, "mi", low=0, high=1_000_000, bounds_source=SLIP,
    )  # fmt: skip


def odometer(name: str, label: str) -> Column:
    """An odometer reading of a truck."""
    return Column(
        name, NUMBER, label, "Odometer of the truck.", "mi", low=0, high=2_000_000, bounds_source=SLIP
    )
