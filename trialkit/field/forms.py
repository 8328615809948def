"""What stands on the forms that are filled in during the season: shifts, changes of edges, ratings, the assignment.

Answers: what is asked of the operator after a shift, and of the shop after a change?

Fields, units and words to tick come from the data dictionary, so a form asks for what the tables hold and nothing else. The
questions to the operator are worded alike for every edge type and do not name it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit import cautions
from trialkit import columns as c
from trialkit.columns import CHOICE, MOMENT
from trialkit.field.reading_sheets import labels_of, unit_name
from trialkit.formatting import named, position_name, sentence_case
from trialkit.tables import TABLES
from trialkit.trial.intake import Draft

QUESTIONS = {
    "clearing": ("How clean was the road after a pass?", "left a lot", "down to the road"),
    "noise": ("How loud was it in the cab?", "very loud", "quiet"),
    "vibration": ("How much did the cab and seat shake?", "shook hard", "ran smooth"),
    "control": ("How well did the truck hold its line with the blade down?", "hard to hold", "easy to hold"),
    "fatigue": ("How tired were you at the end of the shift?", "worn out", "fresh"),
}
"""Question about each item of operator_ratings, and the words at 1 and at 5."""
SIGNERS = ("Drawn up by", "Fleet shop", "Streets supervisor", "Witness to the draw")
"""Who signs the assignment."""
_SAID_AS = {"gps": "GPS", "re_reference": "new reference mark"}
_SHIFT_HEAD = (c.TRUCK_ID, c.STORM_ID, c.SHIFT_ID, c.OPERATOR, c.ROUTE, c.PLOW_POSITION, c.START, c.END)
_SHIFT_MILES = (
    c.ODOMETER_START_MI, c.ODOMETER_END_MI, c.BLADE_DOWN_MI, c.MILES_SOURCE, c.BLADE_DOWN_H, c.LANE_MILES_TREATED,
)  # fmt: skip
_SHIFT_ROAD = (c.PASSES, c.RESIDUAL_SNOW_IN, c.SURFACE)
_SPREAD = (c.MATERIAL, c.QUANTITY_LB, c.QUANTITY_GAL, c.CONCENTRATION_PCT)
_METER = (c.INSTRUMENT, c.EXCHANGE_RATE_DB)
_SAMPLE = (
    c.TASK,
    c.DURATION_MIN,
    c.LEVEL_DBA,
    c.WINDOW,
    c.RADIO,
    c.SPEED_MPH,
    c.CAL_BEFORE_DB,
    c.CAL_AFTER_DB,
)
_CHANGE_HEAD = (c.SET_ID, c.TRUCK_ID, c.DATE, c.PLOW_POSITION, c.EVENT, c.REASON)
_CHANGE_FACTS = (
    c.STATION, c.COUNTER_MI, c.ODOMETER_MI, c.LABOUR_H, c.TRUCK_DOWN_H, c.ATTACK_ANGLE_DEG, c.DURING_STORM,
)  # fmt: skip
_NEW_SET = (c.EDGE_TYPE, c.LOT, c.SUPPLIED_BY)


def shift_form(draft: Draft) -> dict[str, Any]:
    """One truck in one storm on one shift: the tables shifts, material and sound."""
    parts = [
        _fields(draft, "shifts", "Who and when", _SHIFT_HEAD, 4),
        _fields(draft, "shifts", "Miles and hours", _SHIFT_MILES, 3),
        _fields(draft, "shifts", "The road", _SHIFT_ROAD, 2),
        _rows(draft, "material", "What was spread", _SPREAD, 3),
        _fields(draft, "sound", "Sound samples in the cab, if any were taken", _METER, 2),
        _rows(draft, "sound", "", _SAMPLE, 2),
    ]
    how = (
        "One sheet for each truck and shift. Leave blank what was not recorded; a dash or a zero is not a blank. The operator "
        "is a code, never a name."
    )
    return _form("Storm shift", how, parts, cautions.IN_THE_CAB)


def change_form(draft: Draft) -> dict[str, Any]:
    """One thing that happened to a set: the table set_events, and of a set that is new what edge_sets has of it."""
    parts: list[dict[str, Any]] = [
        _fields(draft, "set_events", "What happened", _CHANGE_HEAD, 3),
        _fields(draft, "set_events", "Counters, work and setting", _CHANGE_FACTS, 3),
        _fields(draft, "edge_sets", "If the set goes on for the first time", _NEW_SET, 3),
        {"kind": "lines", "title": "Notes: settings, shoes and guards, photos taken, who decided", "rows": 4},
    ]
    how = (
        "One sheet for each install, removal, flip, section swap, new reference mark, break or loss, filled in when it happens. "
        "Read every station just before an edge comes off and just after one goes on."
    )
    return _form("Edge change", how, parts, cautions.UNDER_THE_PLOW)


def rating_form() -> dict[str, Any]:
    """An operator's scores after a shift: the table operator_ratings."""
    words = TABLES["operator_ratings"].column(c.ITEM).choices
    items = [dict(zip(("question", "low", "high"), QUESTIONS[word], strict=True)) for word in words]
    head = [_field("Truck"), _field("Shift"), _field("Operator (code)"), _field("Date")]
    parts: list[dict[str, Any]] = [
        {"kind": "fields", "title": "", "columns": 4, "items": head},
        {"kind": "scale", "title": "Ring one number in each line; 5 is best", "items": items},
    ]
    how = (
        "To be filled in by the operator at the end of a shift, for every edge type alike and after as many shifts. Say what it "
        "was like, not which edge you think is on."
    )
    return _form("Operator rating", how, parts, cautions.IN_THE_CAB)


def assignment_sheet(
    assignments: pd.DataFrame, labels: Mapping[str, str], said: Sequence[str] = ()
) -> dict[str, Any]:
    """Who carries what, with place to sign: the table assignments.

    Parameters
    ----------
    assignments : DataFrame
        Columns `truck_id`, `plow_position`, `period`, `edge_type`, `how`, `reason`, and `block` if it is known.
    labels : mapping
        Edge type to its printed name.
    said : sequence of str
        How it was drawn, in sentences: blocks, seed.
    """
    names = [c.TRUCK_ID, c.PLOW_POSITION, c.BLOCK, c.PERIOD, c.EDGE_TYPE, c.HOW, c.REASON]
    frame = assignments.reindex(columns=names).astype(object)
    shown = [name for name in names if name in (c.TRUCK_ID, c.EDGE_TYPE) or frame[name].notna().any()]
    if c.PERIOD in shown and set(frame[c.PERIOD].dropna().astype(int)) <= {1}:
        shown.remove(c.PERIOD)
    cells = [[_cell(name, row[name], labels) for name in shown] for row in frame.to_dict("records")]
    widths = {c.REASON: 2.2, c.EDGE_TYPE: 1.7, c.BLOCK: 1.3, c.PERIOD: 0.7}
    parts: list[dict[str, Any]] = [{"kind": "words", "title": "", "words": list(said)}] if said else []
    parts += [
        {
            "kind": "filled", "title": "", "columns": [_heading(name) for name in shown],
            "widths": [widths.get(name, 1.0) for name in shown], "cells": cells,
        },
        {"kind": "signing", "title": "Signed before the first set is put on", "who": list(SIGNERS)},
    ]  # fmt: skip
    how = "Which edge type each truck carries. A change after signing is written on the back with its date and reason."
    return _form("Assignment of edge types", how, parts, cautions.UNDER_THE_PLOW)


# ---------------------------------------------------------------- parts of a form
def _form(title: str, how: str, parts: Sequence[dict[str, Any]], said: Sequence[str]) -> dict[str, Any]:
    return {"title": title, "how": how, "parts": list(parts), "cautions": list(said)}


def _fields(draft: Draft, table: str, title: str, names: Sequence[str], columns: int) -> dict[str, Any]:
    return {
        "kind": "fields", "title": title, "columns": columns, "items": [_field_of(draft, table, name) for name in names],
    }  # fmt: skip


def _rows(draft: Draft, table: str, title: str, names: Sequence[str], rows: int) -> dict[str, Any]:
    """A short table to fill in; under a heading with a choice stand its words."""
    fields = [_field_of(draft, table, name) for name in names]
    heads = [
        f"{item['asked']} [{item['unit']}]" if item["unit"] else _with_words(item["asked"], item["choices"])
        for item in fields
    ]
    widths = [2.2 if len(item["choices"]) > 2 else 1.0 for item in fields]
    return {"kind": "table", "title": title, "columns": heads, "widths": widths, "rows": rows}


def _with_words(label: str, words: Sequence[str]) -> str:
    return f"{label}: {', '.join(words)}" if words else label


def _field_of(draft: Draft, table: str, name: str) -> dict[str, Any]:
    column = TABLES[table].column(name)
    label = column.label
    if column.kind == MOMENT:
        label = "Date and time" if name == c.DATE else f"{label}, date and time"
    unit = unit_name(draft, table, name)
    if name == c.EDGE_TYPE:
        words = list(labels_of(draft).values())
    elif column.kind == CHOICE:
        words = [word_shown(word) for word in column.choices]
    else:
        words = [f"{word} {unit}".strip() for word in column.choices]
    return _field(label, unit, words)


def _field(label: str, unit: str = "", choices: Sequence[str] = ()) -> dict[str, Any]:
    return {"asked": label, "unit": unit, "choices": list(choices)}


def word_shown(word: str) -> str:
    """A word of a choice column as people say it.

    Examples
    --------
    >>> word_shown("wing_left"), word_shown("worn_to_limit")
    ('left wing', 'worn to limit')
    """
    return _SAID_AS.get(word, position_name(word).replace("_", " "))


def _heading(name: str) -> str:
    own = TABLES["trucks" if name == c.BLOCK else "assignments"].column(name)
    return own.label


def _cell(name: str, value: Any, labels: Mapping[str, str]) -> str:
    if value is None or pd.isna(value):
        return ""
    if name == c.EDGE_TYPE:
        return named(str(value), labels)
    if name == c.PLOW_POSITION:
        return sentence_case(position_name(str(value)))
    return str(int(value)) if name == c.PERIOD else str(value)
