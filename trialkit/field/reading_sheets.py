"""What goes onto the sheets for reading edges: one page for each truck position and round.

Answers: which set is on this truck now, at which stations is it read, and what was read there last time?

The sheets are made from whatever the folder holds; a trial that has not begun gives sheets for the first round. A cell that
cannot be read is left out, so look at `trialkit check` first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import units
from trialkit.formatting import position_name, sentence_case
from trialkit.tables import TABLES
from trialkit.trial.intake import Draft, typed_text
from trialkit.trial.lineage import set_lives

FIRST_ROUND = "First reading, just after the install and before plowing"
NONE_ON = "No set is on since {}. Next set: first reading, before plowing"
EVENTS, READINGS, SETS, TRUCKS, TYPES, ASSIGNED = (
    "set_events", "wear_readings", "edge_sets", "trucks", "edge_types", "assignments",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Station:
    """One box of a sheet: its number, what was read there last and when, and how far it is from the left end."""

    number: int
    last: str = ""
    last_day: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class ReadingSheet:
    """One page: a truck position and its next round of readings.

    Attributes
    ----------
    truck, position, block : str
        As printed.
    edge_type, set_id : str
        What is on it; empty if that is not known yet.
    round : str
        Which reading it is.
    stations : tuple of Station
        From left to right, as seen from the cab.
    height_unit, miles_unit : str
        Units in which the folder keeps heights and counters.
    last_counter : str
        Counter at the last reading, with its day; empty if there is none.
    """

    truck: str
    position: str
    block: str
    edge_type: str
    set_id: str
    round: str
    stations: tuple[Station, ...]
    height_unit: str
    miles_unit: str
    last_counter: str = ""

    def data(self) -> dict[str, Any]:
        """The page as data for its template."""
        return asdict(self)


def reading_sheets(
    draft: Draft, stations: int, assignments: pd.DataFrame | None = None
) -> tuple[ReadingSheet, ...]:
    """The sheets of the next round, one for each truck position, in the order of the table of trucks.

    Parameters
    ----------
    draft : Draft
        What the trial folder holds.
    stations : int
        Stations of a set that was never read.
    assignments : DataFrame, optional
        Columns `truck_id`, `plow_position`, `period` and `edge_type`, if not those of the folder.
    """
    frames = draft.frames
    trucks = frames[TRUCKS].dropna(subset=[c.TRUCK_ID, c.PLOW_POSITION])
    on, off = _sets_on(frames[EVENTS])
    types = _types_of_sets(frames[SETS])
    assigned = _assigned(frames[ASSIGNED] if assignments is None else assignments)
    labels = labels_of(draft)
    sheets = []
    for row in trucks.drop_duplicates([c.TRUCK_ID, c.PLOW_POSITION]).to_dict("records"):
        place = (str(row[c.TRUCK_ID]), str(row[c.PLOW_POSITION]))
        set_id = on.get(place, "")
        kind = types.get(set_id, "") or assigned.get(place, "")
        read = frames[READINGS][frames[READINGS][c.SET_ID].astype(str) == set_id] if set_id else None
        sheets.append(
            ReadingSheet(
                truck=place[0],
                position=sentence_case(position_name(place[1])),
                block=_text(row.get(c.BLOCK)),
                edge_type=labels.get(kind, kind),
                set_id=set_id,
                round=_round(read, "" if set_id else off.get(place, "")),
                stations=_stations(draft, read, stations, row),
                height_unit=unit_name(draft, READINGS, c.HEIGHT_IN),
                miles_unit=unit_name(draft, READINGS, c.COUNTER_MI),
                last_counter=_last_counter(draft, read),
            )
        )
    return tuple(sheets)


def unit_name(draft: Draft, table: str, column: str) -> str:
    """The printed unit in which the folder keeps a column."""
    suffix = draft.units_found.get(table, {}).get(column) or TABLES[table].column(column).unit
    return units.UNIT_NAMES.get(suffix, suffix)


# ---------------------------------------------------------------- what is on which truck
def _sets_on(events: pd.DataFrame) -> tuple[dict[tuple[str, str], str], dict[tuple[str, str], str]]:
    """Truck position to the set that is on it now, and to the day on which the last set came off."""
    known = events.dropna(subset=[c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT])
    if known.empty:
        return {}, {}
    lives = set_lives(known)
    still = lives[lives[c.REMOVED].isna()].sort_values(c.INSTALLED, kind="stable")
    ended = lives[lives[c.REMOVED].notna()].sort_values(c.REMOVED, kind="stable")
    on = dict(zip(_places_of(still), still[c.SET_ID].astype(str), strict=True))
    return on, dict(zip(_places_of(ended), map(_day, ended[c.REMOVED]), strict=True))


def _places_of(frame: pd.DataFrame) -> list[tuple[str, str]]:
    return list(zip(frame[c.TRUCK_ID].astype(str), frame[c.PLOW_POSITION].astype(str), strict=True))


def _types_of_sets(sets: pd.DataFrame) -> dict[str, str]:
    known = sets.dropna(subset=[c.SET_ID, c.EDGE_TYPE])
    return dict(zip(known[c.SET_ID].astype(str), known[c.EDGE_TYPE].astype(str), strict=True))


def _assigned(assignments: pd.DataFrame) -> dict[tuple[str, str], str]:
    """Truck position to the edge type of its first period."""
    known = assignments.dropna(subset=[c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE])
    periods = pd.to_numeric(known[c.PERIOD], errors="coerce").fillna(1)
    known = known.assign(**{c.PERIOD: periods}).sort_values(c.PERIOD, ascending=False, kind="stable")
    return dict(zip(_places_of(known), known[c.EDGE_TYPE].astype(str), strict=True))


def labels_of(draft: Draft) -> dict[str, str]:
    """Edge type to its printed name."""
    known = draft.frames[TYPES].dropna(subset=[c.EDGE_TYPE])
    return {
        str(name): str(label) if pd.notna(label) else str(name)
        for name, label in zip(known[c.EDGE_TYPE], known[c.LABEL], strict=True)
    }


# ---------------------------------------------------------------- what was read
def _round(read: pd.DataFrame | None, off_since: str) -> str:
    if off_since:
        return NONE_ON.format(off_since)
    days = 0 if read is None else pd.to_datetime(read[c.DATE]).dt.normalize().nunique()
    return f"Reading {days + 1} of this set" if days else FIRST_ROUND


def _stations(
    draft: Draft, read: pd.DataFrame | None, stations: int, truck: Mapping[Any, Any]
) -> tuple[Station, ...]:
    last = _last_at_stations(draft, read)
    if last:
        return tuple(Station(number, *last.get(number, ("", ""))) for number in range(1, max(last) + 1))
    return tuple(
        Station(number, place=place) for number, place in enumerate(_places(draft, truck, stations), start=1)
    )


def _last_at_stations(draft: Draft, read: pd.DataFrame | None) -> dict[int, tuple[str, str]]:
    """Station to the height as it was typed and the day on which it was read last."""
    if read is None:
        return {}
    known = read.dropna(subset=[c.STATION, c.DATE, c.HEIGHT_IN]).sort_values(c.DATE, kind="stable")
    return {
        int(station): (typed_text(draft, READINGS, int(row), c.HEIGHT_IN), _day(when))
        for row, station, when in zip(known.index, known[c.STATION], known[c.DATE], strict=True)
    }


def _last_counter(draft: Draft, read: pd.DataFrame | None) -> str:
    if read is None:
        return ""
    known = read.dropna(subset=[c.COUNTER_MI, c.DATE]).sort_values(c.DATE, kind="stable")
    if known.empty:
        return ""
    return (
        f"{typed_text(draft, READINGS, int(known.index[-1]), c.COUNTER_MI)} on {_day(known[c.DATE].iloc[-1])}"
    )


def _places(draft: Draft, truck: Mapping[Any, Any], stations: int) -> Sequence[str]:
    """How far each station is from the left end, where the width of the plow is known: at equal distances."""
    width_ft = truck.get(c.PLOW_WIDTH_FT)
    if width_ft is None or not math.isfinite(width_ft):
        return [""] * stations
    width_in = width_ft * units.FOOT_IN
    middle = [width_in * (number + 0.5) / stations for number in range(stations)]
    if unit_name(draft, READINGS, c.HEIGHT_IN) == units.UNIT_NAMES["mm"]:
        return [f"{place * units.INCH_MM / 10:.0f} cm" for place in middle]
    return [f"{place:.0f} in" for place in middle]


def _day(when: Any) -> str:
    return f"{pd.Timestamp(when):%Y-%m-%d}"


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)
