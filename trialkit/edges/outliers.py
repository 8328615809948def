"""Trucks, segments and readings that stand apart.

Answers: which truck, which segment and which single reading is so unlike the others that somebody should look at it?

Nothing is left out because of it. `sensitivity` shows what becomes of the findings without them.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import fdtrc, fdtri, ndtri

from trialkit import columns as c
from trialkit import display
from trialkit.edges import slopes as sl
from trialkit.edges.residuals import FALSE_ALARMS, Residuals, reading_residuals
from trialkit.edges.wear import RATE_UNIT, WearRates
from trialkit.formatting import counted, fixed, listed, number, position_name
from trialkit.results import Labelled
from trialkit.table_parts import YES

TRUCK, SEGMENT, READING = "truck", "segment", "reading"

FEWEST_TRUCKS = 4
"""With fewer trucks of a type none can be told to stand apart from the others."""
LIMITS = {4: 7.0, 5: 7.9, 6: 5.6, 7: 5.9, 8: 4.9, 9: 5.1, 10: 4.6, 11: 4.7, 12: 4.4}
"""Limit of the distance by number of trucks: where the largest distance lies in 5 of 100 fleets of alike, normally spread
trucks (400,000 fleets each; tests/test_outliers.py draws such fleets again)."""
NORMAL_SCALE = 0.6745
"""The median absolute deviation of a normal spread, in standard deviations."""
MOST_SAID = 5
MOST_ROWS_SAID = 6

TABLE_COLUMNS = [
    c.STANDS_APART, c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.DATE, c.MILES_MI, c.FOUND,
    c.DISTANCE, c.LIMIT, c.SHEET_ROWS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Outliers(Labelled):
    """What stands apart from the rest of its edge type.

    Attributes
    ----------
    table : DataFrame
        One row for each truck, segment and reading that stands apart: `stands_apart` (truck, segment or reading),
        `edge_type`, `plow_position`, `truck_unit`, `set_id`, `station`, `date`, `miles_mi`, `found` (in words),
        `distance`, `limit` and `sheet_rows`, the rows of the readings table.
    trucks : DataFrame
        Every truck with its rate as `estimate` [in/1000 mi], `distance` and `limit` (missing with fewer than four trucks
        of a type).
    readings : DataFrame
        The frame of `residuals.reading_residuals`; its index is the row of the readings table.
    labels : dict
        Edge type to the name that sentences print.
    """

    trucks: pd.DataFrame
    readings: pd.DataFrame
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """What stands apart, by kind; a kind without any is said too."""
        said = []
        for kind, plural in ((TRUCK, "trucks"), (SEGMENT, "segments"), (READING, "readings")):
            rows = self.table[self.table[c.STANDS_APART] == kind].to_dict("records")
            if not rows:
                said.append(self._none(kind))
                continue
            which = [self._which(row) for row in rows[:MOST_SAID]]
            more = [f"{len(rows) - MOST_SAID} more"] if len(rows) > MOST_SAID else []
            verb = "stands" if len(rows) == 1 else "stand"
            said.append(f"{counted(len(rows), kind, plural)} {verb} apart: {listed([*which, *more])}.")
        return tuple(said)

    def sentence(self) -> str:
        """What stands apart, in words."""
        return " ".join(self.sentences())

    def _none(self, kind: str) -> str:
        known = (self.trucks if kind == TRUCK else self.readings)[c.DISTANCE].notna()
        if not known.any():
            why = (
                f"no edge type was on {FEWEST_TRUCKS} trucks"
                if kind == TRUCK
                else "no segment has enough readings, or they show no scatter"
            )
            return f"Whether a {kind} stands apart cannot be told: {why}."
        if kind == TRUCK and not known.all():
            return f"No truck stands apart, as far as an edge type was on {FEWEST_TRUCKS} trucks or more."
        return f"No {kind} stands apart."

    def _which(self, row: dict[Hashable, Any]) -> str:
        name = position_name(str(row[c.TRUCK_UNIT]))
        if row[c.STANDS_APART] == TRUCK:
            return f"{name} ({self.label(row[c.EDGE_TYPE])}, {row[c.FOUND]})"
        place = f"set {row[c.SET_ID]}, station {row[c.STATION]:g}"
        rows = row[c.SHEET_ROWS]
        where = f"{'rows' if ',' in rows else 'row'} {rows}"
        return f"{place} of {name} ({row[c.FOUND]}; {where})"


def compare_with_the_rest(readings: pd.DataFrame, rates: WearRates, *, run_in_mi: float = 0.0) -> Outliers:
    """Find trucks, segments and readings that stand apart from the rest of their edge type.

    Use it as a list of things to look at: a swap that was not logged, a wrong station, a truck on another kind of road.
    Do not leave anything out because it is on the list.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to; `date` if it is known. Its index is the row of the readings table.
    rates : WearRates
        The wear rates.
    run_in_mi : float
        Miles after an install that were left out. [mi]

    Returns
    -------
    Outliers

    Notes
    -----
    Trucks by `truck_distances`, readings by `residuals.reading_residuals`. A segment stands apart if the F ratio of its
    scatter, readings that stand apart left out, to that of the other segments would be so large by chance in
    `FALSE_ALARMS` of such trials (Bonferroni's limit over the segments of its edge type and plow position).
    """
    trucks = truck_distances(rates)
    found = reading_residuals(sl.used_readings(readings, run_in_mi)[0])
    rows = [*_truck_rows(trucks), *_segment_rows(found), *_reading_rows(found.readings)]
    return Outliers(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_METHOD,
        notes=(),
        trucks=trucks,
        readings=found.readings,
        labels=rates.labels,
    )


def truck_distances(rates: WearRates) -> pd.DataFrame:
    """How far each truck lies from the middle of the trucks of its edge type and plow position.

    Parameters
    ----------
    rates : WearRates
        The wear rates.

    Returns
    -------
    DataFrame
        `rates.trucks` with `distance`, `limit` and `found` (the middle rate, for the sentence).

    Notes
    -----
    The modified z score ``0.6745 |r - median| / MAD`` [1]_, with the median absolute deviation never below what rounding
    gives a truck's rate. The limit of 3.5 that is usual with it would name a truck in 10 to 20 of 100 fleets of this size
    whose trucks are all alike; that of `LIMITS`, and of ``3.6 + 10 / n`` from 13 trucks on, does so in 5 of 100.

    References
    ----------
    .. [1] B. Iglewicz and D. C. Hoaglin, "How to detect and handle outliers", ASQC, 1993; NIST/SEMATECH e-Handbook of
       Statistical Methods, section 1.3.5.17.
    """
    trucks = rates.trucks.reset_index(drop=True)
    distance, limit, middle = (np.full(len(trucks), np.nan) for _ in range(3))
    for rows in trucks.groupby(sl.CELL, observed=True, sort=False).indices.values():
        slope = trucks[c.ESTIMATE].to_numpy()[rows]
        middle[rows] = np.median(slope)
        off = np.abs(slope - middle[rows])
        rounding = np.sqrt(np.median(trucks[sl.ROUNDING_VARIANCE].to_numpy()[rows]))
        scale = max(float(np.median(off)), NORMAL_SCALE * float(rounding))
        if len(rows) >= FEWEST_TRUCKS and scale > 0:
            distance[rows] = NORMAL_SCALE * off / scale
            limit[rows] = limit_of_distance(len(rows))
    words = [f"middle of its type {number(display.value(value, RATE_UNIT))}" for value in middle]
    found: dict[str, Any] = {c.DISTANCE: distance, c.LIMIT: limit, c.FOUND: words}
    return trucks.assign(**found)


def limit_of_distance(n_trucks: int) -> float:
    """Distance beyond which one of so many trucks stands apart; see `truck_distances`."""
    in_a_large_fleet = float(ndtri(1 - FALSE_ALARMS / 2 / n_trucks))
    return LIMITS.get(n_trucks, max(3.6 + 10 / n_trucks, in_a_large_fleet))


# ---------------------------------------------------------------- rows of the table
def _truck_rows(trucks: pd.DataFrame) -> list[dict[str, Any]]:
    apart = trucks[trucks[c.DISTANCE] > trucks[c.LIMIT]].sort_values(
        c.DISTANCE, ascending=False, kind="stable"
    )
    return [
        {
            **{name: row[name] for name in (c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_UNIT, c.MILES_MI, c.DISTANCE, c.LIMIT)},
            c.STANDS_APART: TRUCK,
            c.FOUND: f"{number(display.value(row[c.ESTIMATE], RATE_UNIT))} {display.unit(RATE_UNIT)}, {row[c.FOUND]}",
            c.SHEET_ROWS: "",
        }
        for row in apart.to_dict("records")
    ]  # fmt: skip


def _segment_rows(found: Residuals) -> list[dict[str, Any]]:
    """Segments that scatter more than the others, readings that stand apart left out."""
    free, cell = found.free, found.cell_of_segment
    rest = found.squares_of_cell[cell] - found.squares
    rest_free = found.free_of_cell[cell] - free
    usual = np.maximum(
        np.divide(rest, rest_free, out=np.zeros(len(free)), where=rest_free > 0), found.least[cell]
    )
    known = (usual > 0) & (rest_free > 0) & (free > 0)
    ratio = np.divide(found.squares, free * usual, out=np.zeros(len(free)), where=known)
    count = np.bincount(cell, known, len(found.least))[cell]
    tail = fdtrc(np.maximum(free, 1), np.maximum(rest_free, 1), ratio)
    chance = np.where(known, tail * count, 1.0)
    apart = np.flatnonzero(chance < FALSE_ALARMS)
    rows = []
    for at in apart[np.argsort(-ratio[apart], kind="stable")]:
        own, times = found.readings[found.segment == at], float(np.sqrt(ratio[at]))
        rows.append(
            {
                **_place(own.iloc[0]),
                c.STANDS_APART: SEGMENT,
                c.FOUND: f"scatters {number(times, 2)} times as much as the others",
                c.DISTANCE: times,
                c.LIMIT: float(np.sqrt(fdtri(free[at], rest_free[at], 1 - FALSE_ALARMS / count[at]))),
                c.SHEET_ROWS: _rows_in_brief(own.index),
            }
        )
    return rows


def _rows_in_brief(rows: pd.Index) -> str:
    """All rows if they are few, else the first ones and how many there are."""
    few = [str(row) for row in rows[:MOST_ROWS_SAID]]
    return (
        ", ".join(few) if len(rows) <= MOST_ROWS_SAID else f"{', '.join(few)} and {len(rows) - len(few)} more"
    )


def _reading_rows(used: pd.DataFrame) -> list[dict[str, Any]]:
    apart = used[used[c.STANDS_APART] == YES]
    apart = apart.iloc[np.argsort(-apart[c.DISTANCE].abs().to_numpy(), kind="stable")]
    rows = []
    for row, reading in zip(apart.index, apart.to_dict("records"), strict=True):
        off = display.value(reading[c.RESIDUAL_IN], "in")
        unit, places = display.unit("in"), display.decimals(3, "in")
        rows.append(
            {
                **_place(reading),
                c.DATE: reading.get(c.DATE),
                c.MILES_MI: reading[c.MILES_MI],
                c.STANDS_APART: READING,
                c.FOUND: f"{fixed(abs(off), places)} {unit} {'above' if off > 0 else 'below'} its line",
                c.DISTANCE: abs(reading[c.DISTANCE]),
                c.LIMIT: reading[c.LIMIT],
                c.SHEET_ROWS: str(row),
            }
        )
    return rows


def _place(reading: Mapping[Hashable, Any] | pd.Series) -> dict[str, Any]:
    return {name: reading[name] for name in (c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_UNIT, c.SET_ID, c.STATION)}


_METHOD = (
    "A truck stands apart if its rate lies farther from the median of its edge type than trucks that are alike would in 95 "
    "of 100 fleets (modified z score: distance over the median absolute deviation). A reading stands apart by its "
    "externally studentized distance from the line of its segment, a segment by the F ratio of its scatter to that of "
    "the others, both with Bonferroni's limit at 5% over the edge type."
)
