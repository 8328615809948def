"""The input tables: which columns each has, its key and its place in the trial. The data dictionary as code.

Answers: what must a trial folder hold?

Messages, figures, the column checks, the workbook template and the dictionary in ``data_demo/README.md`` all read these
descriptions. The tables themselves are in `tables_needed` and `tables_optional`.
"""

from __future__ import annotations

from trialkit.table_parts import ENDS_LIFE, EVENTS, STARTS_SEGMENT, Table
from trialkit.tables_needed import EDGE_SETS, EDGE_TYPES, SET_EVENTS, TRUCKS, WEAR_READINGS
from trialkit.tables_optional import (
    ASSIGNMENTS,
    BIDS,
    COSTS,
    DECISIONS,
    FLEET_PLAN,
    GAUGE_READINGS,
    INTAKE_LOG,
    MATERIAL,
    OPERATOR_RATINGS,
    SHIFTS,
    SOUND,
    STORMS,
    VIBRATION,
)

__all__ = [
    "ASSIGNMENTS",
    "BIDS",
    "COSTS",
    "DECISIONS",
    "EDGE_SETS",
    "EDGE_TYPES",
    "ENDS_LIFE",
    "EVENTS",
    "FLEET_PLAN",
    "GAUGE_READINGS",
    "INTAKE_LOG",
    "KEY_SEPARATOR",
    "MATERIAL",
    "NEEDED",
    "OPERATOR_RATINGS",
    "SET_EVENTS",
    "SHIFTS",
    "SOUND",
    "STARTS_SEGMENT",
    "STORMS",
    "TABLES",
    "TRUCKS",
    "VIBRATION",
    "WEAR_READINGS",
    "Table",
]

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        EDGE_TYPES, TRUCKS, EDGE_SETS, SET_EVENTS, WEAR_READINGS, STORMS, SHIFTS, MATERIAL, SOUND, VIBRATION, COSTS,
        GAUGE_READINGS, OPERATOR_RATINGS, ASSIGNMENTS, FLEET_PLAN, BIDS, DECISIONS,
    )
}  # fmt: skip
"""All input tables by name, the needed ones first."""

NEEDED = tuple(name for name, table in TABLES.items() if table.needed)
KEY_SEPARATOR = " | "
"""Joins the key columns' values in a decision's row key."""
