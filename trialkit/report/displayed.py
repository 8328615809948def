"""A frame of a result in the units that people read.

Answers: in which unit does a column stand, and what is the frame in the units in which results are shown?

Results and saved tables stay in canonical units. A figure draws, and a table prints, what `displayed` makes of them: each
number converted by the unit of its column, which is that of its name (``miles_mi``, ``cost_per_mi_usd``), of the data
dictionary, or of the column `unit` beside an estimate.
"""

from __future__ import annotations

from functools import cache

import pandas as pd

from trialkit import columns as c
from trialkit import display, tables, units

OF_THE_UNIT_COLUMN = (
    c.ESTIMATE, c.STD_ERROR, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH, c.ROUNDING_BOUND, c.EARLY_RATE, c.LATE_RATE,
    c.MIXED_ESTIMATE, c.MIXED_STD_ERROR, c.MIXED_LOW, c.MIXED_HIGH, c.MIXED_STD_ERROR_KR, c.MIXED_LOW_KR, c.MIXED_HIGH_KR,
    c.UPPER_BOUND,
)  # fmt: skip
"""Columns whose unit stands in the column `unit` of their row."""
_PER_MILES = dict.fromkeys((c.DEPTH_PCT, c.DEPTH_PCT_LOW, c.DEPTH_PCT_HIGH), "%/1000 mi")
_BELOW = {
    "mi": "mi", "1000_mi": "1000 mi", "lane_mi": "lane-mi", "two_lane_mi": "two-lane mi", "lb": "lb", "ton": "short ton",
    "gal": "gal", "ft": "ft", "in": "in",
}  # fmt: skip
"""What a name may say after ``_per_``, and how it is printed."""
_RENAMED = {"in": "mm", "mi": "km", "ft": "m", "f": "c", "lb": "kg", "ton": "t", "gal": "l", "mph": "kmh"}


@cache
def column_unit(name: str) -> str:
    """The canonical unit of a column as it is printed; blank if it has none or another column says it.

    Examples
    --------
    >>> column_unit("miles_mi"), column_unit("air_temp_f"), column_unit("rate_lb_per_lane_mi"), column_unit("n_sets")
    ('mi', '°F', 'lb/lane-mi', '')
    """
    if name in _PER_MILES:
        return _PER_MILES[name]
    top, per, below = name.partition("_per_")
    if per and below in _BELOW:
        suffix = top.rpartition("_")[2]
        return (
            f"{units.UNIT_NAMES[suffix]}/{_BELOW[below]}"
            if suffix in units.UNIT_NAMES
            else f"per {_BELOW[below]}"
        )
    for column in declared(name):
        return units.UNIT_NAMES.get(column.unit, column.unit)
    stem, _, suffix = name.rpartition("_")
    return units.UNIT_NAMES.get(suffix, "") if stem else ""


def declared(name: str) -> list[c.Column]:
    """The columns of that name in the input tables."""
    return [column for table in tables.TABLES.values() for column in table.columns if column.name == name]


def displayed(frame: pd.DataFrame, unit: str = "") -> pd.DataFrame:
    """The frame with every number in the unit in which it is shown; the frame itself where that changes nothing.

    Parameters
    ----------
    frame : DataFrame
        Any frame of a result, in canonical units; columns keep their names.
    unit : str
        Unit of its estimates and their ends where it has no column `unit`.

    Returns
    -------
    DataFrame
        Numbers converted by the unit of their column, and the column `unit` with the units shown.
    """
    if not display.is_metric():
        return frame
    found = frame.copy()
    by_row = (
        frame[c.UNIT].astype(object).fillna("").astype(str)
        if c.UNIT in frame.columns
        else pd.Series(unit, frame.index)
    )
    for name in frame.columns:
        if not is_number(frame[name]):
            continue
        if name in OF_THE_UNIT_COLUMN:
            numbers = frame[name].to_numpy(dtype=float, copy=True)
            for of_rows in by_row.unique():
                numbers[by_row == of_rows] = display.value(numbers[by_row == of_rows], of_rows)
            found[name] = numbers
        elif (own := column_unit(str(name))) != display.unit(own):
            found[name] = display.value(frame[name].astype(float), own)
    if c.UNIT in frame.columns:
        found[c.UNIT] = by_row.map(display.unit)
    return found


def displayed_name(name: str) -> str:
    """The name of a column when its numbers are shown: ``"miles_mi"`` is ``"miles_km"`` in metric units."""
    if not display.is_metric():
        return name
    head, per, tail = name.partition("_per_")
    return f"{_renamed(head)}{per}{_renamed(tail)}" if per else _renamed(name)


def is_number(values: pd.Series) -> bool:
    """Whether a column holds numbers; yes and no are none."""
    return pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)


def _renamed(name: str) -> str:
    stem, _, suffix = name.rpartition("_")
    if not stem and name not in _RENAMED:
        return name
    return f"{stem}_{_RENAMED.get(suffix, suffix)}" if stem else _RENAMED[name]
