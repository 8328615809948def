"""The sets, stays and readings of a draft that the rules across tables look at.

Answers: what happened to which set, and which sets cannot be judged because a row about them is already reported?

One mistake gives one message: a set whose events are incomplete, misspelled or unreadable is left to the message about
that row. It is judged on the next check, when that row is mended.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.tables import TABLES
from trialkit.trial import lineage
from trialkit.trial.findings import Source
from trialkit.trial.references import unknown_rows

EVENTS, READINGS, SETS, TYPES, SHIFTS = "set_events", "wear_readings", "edge_sets", "edge_types", "shifts"
EVENT_COLUMNS = (c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT)
READING_COLUMNS = (c.SET_ID, c.DATE, c.STATION, c.HEIGHT_IN)


@dataclass(frozen=True, eq=False)
class Timeline:
    """What happened to the sets of a draft.

    Attributes
    ----------
    sources : mapping
        The tables that are there, by name.
    events, readings, sets : Source
        Those three; they may be empty.
    lives : DataFrame
        Stays of the sets, as `lineage.set_lives` gives them.
    segments : DataFrame
        Readings as `lineage.wear_segments` gives them, in the order of the file.
    in_doubt : frozenset of str
        Sets that are not judged.
    aside : frozenset of int
        Rows of readings that are not judged.
    complete : bool
        Whether every row of events and readings names a set that is known.
    """

    sources: Mapping[str, Source]
    events: Source
    readings: Source
    sets: Source
    lives: pd.DataFrame
    segments: pd.DataFrame
    in_doubt: frozenset[str]
    aside: frozenset[int]
    complete: bool

    def judged(self, set_ids: pd.Series) -> np.ndarray:
        """Whether each row is about a set that is judged."""
        return (set_ids.notna() & ~set_ids.isin(list(self.in_doubt))).to_numpy()

    def readings_judged(self) -> np.ndarray:
        """Whether each reading is judged."""
        judged = self.judged(self.segments[c.SET_ID])
        return judged & ~self.segments.index.isin(self.aside) if self.aside else judged

    def event_position(self, rows: pd.Index) -> np.ndarray:
        """Positions of these rows in the events."""
        return self.events.frame.index.get_indexer(rows)


def read_timeline(
    sources: Mapping[str, Source], empty: Mapping[str, pd.DataFrame], doubled: Mapping[str, frozenset[int]]
) -> Timeline | None:
    """Put events, readings and shifts of a draft together.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name.
    empty : mapping
        Frames of all tables by name; used for those that are not there.
    doubled : mapping
        Table -> rows that share their key with another row.

    Returns
    -------
    Timeline or None
        None if there are no events, or they lack a column without which nothing can be told.
    """
    events = sources.get(EVENTS)
    if events is None or not events.has(*EVENT_COLUMNS) or events.frame.empty:
        return None
    readings = sources.get(READINGS)
    if readings is None or not readings.has(*READING_COLUMNS):
        readings = Source(TABLES[READINGS], empty[READINGS].iloc[:0], f"{READINGS}.csv", {}, {})
    sets = sources.get(SETS) or Source(TABLES[SETS], empty[SETS].iloc[:0], f"{SETS}.csv", {}, {})
    shifts = sources[SHIFTS].frame if SHIFTS in sources else None
    lost_events = events.frame[c.SET_ID].isna().to_numpy() | unknown_rows(events, c.SET_ID, sets)
    unknown = unknown_rows(readings, c.SET_ID, sets)
    in_doubt = set(readings.frame[c.SET_ID][unknown].astype(str).unique())
    in_doubt |= _in_doubt(events, lost_events, sources.get("trucks"), doubled.get(EVENTS, frozenset()))
    return Timeline(
        sources=sources, events=events, readings=readings, sets=sets, lives=lineage.set_lives(events.frame),
        segments=lineage.wear_segments(readings.frame, events.frame, sets.frame, shifts),
        in_doubt=frozenset(in_doubt), aside=doubled.get(READINGS, frozenset()),
        complete=not (lost_events.any() or unknown.any() or readings.frame[c.SET_ID].isna().any()),
    )  # fmt: skip


def _in_doubt(events: Source, lost: np.ndarray, trucks: Source | None, doubled: frozenset[int]) -> set[str]:
    """Sets with an event that is blank, doubled or on an unknown truck, or on a truck with an event of no known set."""
    frame = events.frame
    wrong = frame[[c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT]].isna().any(axis=1).to_numpy()
    wrong = wrong | frame.index.isin(doubled) | unknown_rows(events, c.TRUCK_ID, trucks)
    places = frame[c.TRUCK_ID][lost]
    beside = places.isna().any() | frame[c.TRUCK_ID].isin(list(places.dropna().unique())).to_numpy()
    doubtful = frame[c.SET_ID][wrong | lost | beside]
    return set(doubtful.dropna().astype(str).unique())
