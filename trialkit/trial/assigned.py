"""What each truck position was to carry, and what it carried.

Answers: which sets depart from the assignment, and is that one set out of stock or the whole plan?

Where edge types rotate, the day of a change-over is not fixed: it waits for a storm. What counts is the order in which a
position carried the types; only a change-over that is not made by the middle of its period is a departure as well.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit import columns as c

CARRIED, LATE = "carried", "late"
DEPARTURE_COLUMNS = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE, CARRIED, c.SET_ID, c.INSTALLED, LATE]


def departures(
    assignments: pd.DataFrame,
    lives: pd.DataFrame,
    edge_sets: pd.DataFrame,
    middles: Mapping[int, dt.date] | None = None,
) -> pd.DataFrame:
    """Stays of sets of another edge type than the one assigned.

    Use it to see whether the draw was carried out. Not to tell why it was not: a set that broke and was replaced by what was
    in stock departs as well as one that was put on by mistake.

    Parameters
    ----------
    assignments : DataFrame
        Columns truck_id, plow_position, edge_type; period if there is one (blank: 1).
    lives : DataFrame
        Stays as `lineage.set_lives` gives them.
    edge_sets : DataFrame
        Columns set_id, edge_type.
    middles : mapping, optional
        Period to its middle day, for the periods of which that day is past; see `past_middles`.

    Returns
    -------
    DataFrame
        One row for each such stay, indexed by the row of its install: `truck_id`, `plow_position`, `period` and `edge_type`
        as assigned, `carried` (its edge type), `set_id`, `installed`, and `late` (whether it is of an earlier period and was
        still on in the middle of this one). Positions that are not assigned, and those with two types in one period, are
        left out.
    """
    types = edge_sets.dropna(subset=[c.SET_ID, c.EDGE_TYPE]).drop_duplicates(c.SET_ID)
    type_of = dict(zip(types[c.SET_ID].astype(str), types[c.EDGE_TYPE].astype(str), strict=True))
    stays = lives.dropna(subset=[c.TRUCK_ID, c.PLOW_POSITION]).sort_values(c.INSTALLED, kind="stable")
    stays = stays.assign(**{CARRIED: stays[c.SET_ID].astype(str).map(type_of)}).dropna(subset=[CARRIED])
    planned = _planned(assignments)
    rows, index = [], []
    for (truck, position), own in stays.groupby(
        [stays[c.TRUCK_ID].astype(str), stays[c.PLOW_POSITION].astype(str)], sort=True
    ):
        place = (str(truck), str(position))
        turns = planned.get(place)
        if not turns:
            continue
        for row, turn, late in _departed(own, turns, middles or {}):
            stay = own.loc[row]
            rows.append((*place, *turns[turn], stay[CARRIED], str(stay[c.SET_ID]), stay[c.INSTALLED], late))
            index.append(row)
    return pd.DataFrame(rows, columns=DEPARTURE_COLUMNS, index=pd.Index(index, dtype=int, name=c.ROW))


def past_middles(
    assignments: pd.DataFrame, start: dt.date | None, end: dt.date | None, last: dt.date
) -> dict[int, dt.date]:
    """Middle day of each period of a season cut into equal ones, of those whose middle is past.

    Parameters
    ----------
    assignments : DataFrame
        Columns as for `departures`; they say how many periods there are.
    start, end : date or None
        First and last day of the season; where one is not agreed no period has a middle.
    last : date
        Last day of which anything is known.
    """
    periods = assignments[c.PERIOD].astype(float).max() if c.PERIOD in assignments else np.nan
    if start is None or end is None or not periods > 1:
        return {}
    days = (end - start).days + 1
    found = {
        k: start + dt.timedelta(days=round(days * (k - 0.5) / periods)) for k in range(1, int(periods) + 1)
    }
    return {period: day for period, day in found.items() if day < last}


def _planned(assignments: pd.DataFrame) -> dict[tuple[str, str], list[tuple[int, str]]]:
    """Truck position to its turns, each with its first period and edge type; periods of one type after another are one turn."""
    known = assignments.dropna(subset=[c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE])
    period = known[c.PERIOD].astype(float).fillna(1).astype(int) if c.PERIOD in known else 1
    known = known.assign(**{c.PERIOD: period}).sort_values(c.PERIOD, kind="stable")
    found: dict[tuple[str, str], list[tuple[int, str]]] = {}
    places = [known[c.TRUCK_ID].astype(str), known[c.PLOW_POSITION].astype(str)]
    for (truck, position), own in known.groupby(places):
        if own[c.PERIOD].duplicated().any():
            continue
        turns: list[tuple[int, str]] = []
        for number, kind in zip(own[c.PERIOD], own[c.EDGE_TYPE].astype(str), strict=True):
            if not turns or turns[-1][1] != kind:
                turns.append((int(number), kind))
        found[str(truck), str(position)] = turns
    return found


def _departed(
    own: pd.DataFrame, turns: Sequence[tuple[int, str]], middles: Mapping[int, dt.date]
) -> list[tuple[int, int, bool]]:
    """Row, turn and lateness of each stay of one position that departs from its turns."""
    kinds = [kind for _, kind in turns]
    turn_of = _turns_of(list(own[CARRIED]), kinds)
    found = {
        row: (turn, False)
        for row, kind, turn in zip(own.index, own[CARRIED], turn_of, strict=True)
        if kind != kinds[turn]
    }
    for turn, (period, kind) in enumerate(turns):
        day = middles.get(period)
        if day is None or turn == 0:
            continue
        moment = pd.Timestamp(day)
        on = own[(own[c.INSTALLED] < moment) & ~(own[c.REMOVED] <= moment)]
        for row in on.index[(on[CARRIED] != kind).to_numpy()]:
            found.setdefault(row, (turn, True))
    return [(row, *found[row]) for row in own.index if row in found]


def _turns_of(carried: Sequence[str], kinds: Sequence[str]) -> list[int]:
    """The turn of each stay, in order and none left out, so that as few stays as possible are of another type.

    The first stay belongs to the first turn, and every other one to the turn of the stay before or to the next.
    """
    cost = np.full((len(carried), len(kinds)), np.inf)
    came = np.zeros(cost.shape, dtype=int)
    for k, kind in enumerate(carried):
        other = np.array([kind != wanted for wanted in kinds], dtype=float)
        if k == 0:
            cost[0, 0] = other[0]
            continue
        moved = np.append(np.inf, cost[k - 1, :-1])
        came[k] = (moved < cost[k - 1]).astype(int)
        cost[k] = np.minimum(moved, cost[k - 1]) + other
    turn = int(np.argmin(cost[-1]))
    found = [turn]
    for k in range(len(carried) - 1, 0, -1):
        turn -= int(came[k, turn])
        found.append(turn)
    return found[::-1]
