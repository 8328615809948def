"""What a trial folder has named already: its trucks, sets, storms, stations and readers.

Answers: which names can a field workbook offer, and under which headers does the folder keep its tables?

The cells are taken as they stand in the files, before any decision, so that a row that comes back from a workbook is the
row that is in the folder.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from trialkit import columns as c
from trialkit.columns import Column
from trialkit.errors import UsageError
from trialkit.tables import TABLES, Table
from trialkit.trial.files import SETTINGS_FILE, read_raw_tables
from trialkit.trial.headings import RawTable
from trialkit.units import METRIC_SUFFIXES

NAMED_BY = {
    "edge_types": c.EDGE_TYPE,
    "trucks": c.TRUCK_ID,
    "edge_sets": c.SET_ID,
    "storms": c.STORM_ID,
    "shifts": c.SHIFT_ID,
}
"""Tables whose rows other tables name, and the column that holds the name."""
MOST_ROWS = 2000
"""Rows of a table that a workbook offers: the last ones, where there are more."""
STATIONS_OFFERED = 5
"""Stations that a workbook offers until a reading names more (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Known:
    """What a workbook can offer.

    Attributes
    ----------
    headers : mapping of str to tuple of str
        Header of every table, in the spelling and units of the folder.
    rows : mapping of str to list of dict
        Rows of the tables of `NAMED_BY`: text of the cell by header.
    stations : int
        Stations from 1 on.
    readers, operators : tuple of str
        Codes that were used.
    """

    headers: Mapping[str, tuple[str, ...]]
    rows: Mapping[str, list[dict[str, str]]] = field(default_factory=dict)
    stations: int = STATIONS_OFFERED
    readers: tuple[str, ...] = ()
    operators: tuple[str, ...] = ()


def nothing_known(metric: bool = False) -> Known:
    """What is offered for a trial that has not begun: headers, and stations 1 to `STATIONS_OFFERED`."""
    return Known({name: header(table, metric) for name, table in TABLES.items()})


def known_in(folder: str | Path) -> Known:
    """What a trial folder has named.

    Parameters
    ----------
    folder : str or Path
        The trial folder; its tables need not be clean.

    Returns
    -------
    Known
        Headers as the folder spells them; for tables that it does not have, in its units where these are metric.

    Raises
    ------
    UsageError
        If the folder has neither settings nor a table.
    """
    folder = Path(folder)
    raw = read_raw_tables(folder).tables
    if not raw and not (folder / SETTINGS_FILE).is_file():
        raise UsageError(f"{folder} is not a trial folder: it has no {SETTINGS_FILE} and no table.")
    metric = _is_metric(raw.values())
    numbers = {int(text) for text in _texts(raw, "wear_readings", c.STATION) if text.isdecimal()}
    stations = max((number for number in numbers if number <= _most_stations()), default=STATIONS_OFFERED)
    return Known(
        headers={name: _header_of(table, raw.get(name), metric) for name, table in TABLES.items()},
        rows={name: _rows(raw[name]) for name in NAMED_BY if name in raw},
        stations=stations,
        readers=tuple(
            dict.fromkeys([*_texts(raw, "wear_readings", c.READER), *_texts(raw, "gauge_readings", c.READER)])
        ),
        operators=tuple(_texts(raw, "shifts", c.OPERATOR)),
    )


def header(table: Table, metric: bool = False) -> tuple[str, ...]:
    """Header of an empty table.

    Examples
    --------
    >>> from trialkit.tables import EDGE_TYPES
    >>> header(EDGE_TYPES, metric=True)[2:4]
    ('new_height_mm', 'usable_depth_mm')
    """
    return tuple(_spelled(column, metric) for column in table.columns)


def header_text(table: Table, metric: bool = False) -> str:
    """The header as the only line of a CSV file."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerow(header(table, metric))
    return written.getvalue()


def _spelled(column: Column, metric: bool) -> str:
    stem = column.name.removesuffix(f"_{column.unit}")
    other = METRIC_SUFFIXES.get(column.unit)
    return f"{stem}_{other}" if metric and other and stem != column.name else column.name


def _is_metric(tables: Iterable[RawTable]) -> bool:
    """Whether the folder gives more of its columns in metric units than not."""
    found = [heading.unit for table in tables for heading in table.headings if heading.column is not None]
    ours = sum(unit in METRIC_SUFFIXES for unit in found)
    return sum(unit in METRIC_SUFFIXES.values() for unit in found) > ours


def _header_of(table: Table, raw: RawTable | None, metric: bool) -> tuple[str, ...]:
    """The folder's own header, and after it the columns that it lacks."""
    if raw is None:
        return header(table, metric)
    there = {heading.column.name for heading in raw.headings if heading.column is not None}
    lacking = [_spelled(column, metric) for column in table.columns if column.name not in there]
    return tuple([heading.spelled for heading in raw.headings] + lacking)


def _rows(raw: RawTable) -> list[dict[str, str]]:
    texts = raw.frame.iloc[-MOST_ROWS:].astype(object)
    names = [str(name) for name in texts.columns]
    return [
        {name: str(cell) for name, cell in zip(names, row, strict=True) if isinstance(cell, str)}
        for row in texts.itertuples(index=False, name=None)
    ]


def _texts(raw: Mapping[str, RawTable], table: str, column: str) -> list[str]:
    """The different cells of a column, sorted."""
    if table not in raw:
        return []
    for place, heading in enumerate(raw[table].headings):
        if heading.column is not None and heading.column.name == column:
            return sorted({str(text) for text in raw[table].frame.iloc[:, place].dropna().unique()})
    return []


def _most_stations() -> int:
    return int(TABLES["wear_readings"].column(c.STATION).high or STATIONS_OFFERED)
