"""From set events to the stays of sets on truck positions.

Answers: which set was on which truck position, from when to when?

Nothing here stops at dirty data: an event without a set, a date or a kind is passed over, an event that ends nothing
ends nothing, and an install that follows an install begins a stay of its own. `crosschecks` says what is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.tables import ENDS_LIFE
from trialkit.trial.miles import Keys
from trialkit.trial.moments import Moments, moments_of

INSTALL = "install"
INSTALL_COUNTER_MI = "install_counter_mi"
REMOVE_COUNTER_MI = "remove_counter_mi"
END_EVENT = "end_event"
END_REASON = "end_reason"
END_ROW = "end_row"


@dataclass(frozen=True, eq=False)
class Events:
    """Set events as arrays, those left out that lack a set, a date or a kind.

    Attributes
    ----------
    position : int array
        Position of the event in the frame.
    group, sets : int array, Index
        Number of the set, and the names of the sets.
    unit, units : int array, Index
        Number of the truck position (-1 if unknown), and their names.
    kind : object array
        What happened.
    when : Moments
        As written down.
    at : int array
        Second at which it counts on the miles axis.
    station, counter : float array
        Station and blade-down counter [mi]; NaN where blank.
    """

    position: np.ndarray
    group: np.ndarray
    sets: pd.Index
    unit: np.ndarray
    units: pd.Index
    kind: np.ndarray
    when: Moments
    at: np.ndarray
    station: np.ndarray
    counter: np.ndarray

    @property
    def installs(self) -> np.ndarray:
        """Whether the event puts a set on."""
        return self.kind == INSTALL

    @property
    def ends(self) -> np.ndarray:
        """Whether the event takes a set off."""
        return np.isin(self.kind, ENDS_LIFE)


@dataclass(frozen=True, eq=False)
class Stays:
    """Stays of sets on truck positions, ordered by set and time.

    Attributes
    ----------
    order : int array
        Installs and ends, as positions in `Events`, in the order in which they happened to each set.
    install, end : int array
        Events that begin and end each stay, as positions in `Events`; -1 while the set is still on.
    first : int array
        Position of the first stay of each set; one more entry than there are sets.
    """

    order: np.ndarray
    install: np.ndarray
    end: np.ndarray
    first: np.ndarray


def set_lives(set_events: pd.DataFrame) -> pd.DataFrame:
    """Every stay of a set on a truck position.

    A set that was moved to another truck has two stays.

    Parameters
    ----------
    set_events : DataFrame
        Columns `set_id`, `truck_id`, `plow_position`, `date`, `event`; `counter_mi` [mi] and `reason` if there are any.

    Returns
    -------
    DataFrame
        One row per stay, its index the row of the install: `set_id`, `truck_id`, `plow_position`, `installed`,
        `removed` (missing while the set is on), `install_counter_mi`, `remove_counter_mi` [mi], `end_event`,
        `end_reason`, `end_row` (row of the event that ended it). Ordered by truck, position and install.
    """
    events = read_events(set_events)
    return by_truck(lives_frame(set_events, events, find_stays(events)))


def stay_events(set_events: pd.DataFrame) -> pd.DataFrame:
    """Installs and life-ending events of each set, in the order in which they happened.

    Parameters
    ----------
    set_events : DataFrame
        As for `set_lives`.

    Returns
    -------
    DataFrame
        Those rows of `set_events` that have a set, a date and such an event.
    """
    events = read_events(set_events)
    return set_events.iloc[events.position[find_stays(events).order]]


def truck_unit(frame: pd.DataFrame) -> pd.Series:
    """Truck and position as one name, ``"truck_id, plow_position"``; missing where either is missing.

    Parameters
    ----------
    frame : DataFrame
        Columns `truck_id`, `plow_position`.

    Returns
    -------
    Series
        Of categories, in the order of their first row.
    """
    truck, trucks = pd.factorize(frame[c.TRUCK_ID])
    place, places = pd.factorize(frame[c.PLOW_POSITION])
    n_places = max(len(places), 1)
    both = np.where((truck >= 0) & (place >= 0), truck * n_places + place, -1)
    number, pairs = pd.factorize(np.where(both >= 0, both, np.nan))
    names = [f"{trucks[int(pair) // n_places]}, {places[int(pair) % n_places]}" for pair in pairs]
    values = pd.Categorical.from_codes(number, pd.Index(names, dtype=object))
    return pd.Series(values, index=frame.index, name=c.TRUCK_UNIT)


def codes_of(values: pd.Series, names: pd.Index) -> np.ndarray:
    """Position of each value in `names`; -1 where it is missing or not among them."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        of_category = names.get_indexer(values.cat.categories.astype(object))
        return np.append(of_category, -1)[values.cat.codes.to_numpy()]
    return np.where(values.isna(), -1, names.get_indexer(pd.Index(values.astype(object))))


def numbers_of(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A column as floats; all NaN if the frame does not have it."""
    if name not in frame:
        return np.full(len(frame), np.nan)
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)


def read_events(set_events: pd.DataFrame) -> Events:
    """The set events as arrays."""
    when = moments_of(set_events[c.DATE])
    keep = set_events[c.SET_ID].notna().to_numpy() & set_events[c.EVENT].notna().to_numpy() & when.known
    position = np.flatnonzero(keep)
    rows = set_events.iloc[position]
    group, sets = pd.factorize(rows[c.SET_ID])
    units = truck_unit(rows)
    events = Events(
        position=position, group=group, sets=pd.Index(sets).astype(object), unit=units.cat.codes.to_numpy(dtype=int),
        units=units.cat.categories, kind=rows[c.EVENT].astype(object).to_numpy(), when=when.take(position),
        at=when.first[position], station=numbers_of(rows, c.STATION), counter=numbers_of(rows, c.COUNTER_MI),
    )  # fmt: skip
    return replace(events, at=_counted_at(events))


def _counted_at(events: Events) -> np.ndarray:
    """Second at which each event counts: at the start of its day, a removal at the end of it.

    Where a set is taken off and another put on on one day and one of them has a time, both count at that time; where
    neither has, at the start of the day.
    """
    when, installs = events.when, events.installs & (events.unit >= 0)
    ends = events.ends & (events.unit >= 0) & on_before(events, events.group, events.when.day)
    key = Keys(when.day).of(events.unit, when.day)
    at = np.where(events.ends, when.last, when.first)
    for moved, fixed, nearest in (
        (ends & ~when.timed, installs, "min"),
        (installs & ~when.timed, ends & when.timed, "max"),
    ):
        if moved.any() and fixed.any():
            target = pd.Series(when.first[fixed]).groupby(key[fixed]).agg(nearest)
            found = target.reindex(key[moved]).to_numpy(dtype=float, na_value=np.nan)
            at[moved] = np.where(np.isnan(found), at[moved], found).astype(np.int64)
    return at


def find_stays(events: Events) -> Stays:
    """Pair each install with the event that ends it."""
    chosen = np.flatnonzero(events.installs | events.ends)
    group, day, second = events.group[chosen], events.when.day[chosen], events.when.second[chosen]
    install = events.installs[chosen]
    # a date without a time: what was on before that day comes off before the next goes on; else on before off
    early = np.where(install, -1, 1) * np.where(on_before(events, group, day), -1, 1)
    slot = np.where(second > 0, 0, early)
    sequence = np.lexsort((early, second, slot, day, group))
    order = chosen[sequence]
    is_install = events.installs[order]
    first_of = np.flatnonzero(is_install)
    following = np.minimum(first_of + 1, max(len(order) - 1, 0))
    closes = (first_of + 1 < len(order)) & ~is_install[following]
    closes &= events.group[order][following] == events.group[order][first_of]
    begun = order[first_of]
    first = np.searchsorted(events.group[begun], np.arange(len(events.sets) + 1), side="left")
    return Stays(order, begun, np.where(closes, order[following], -1), first)


def on_before(events: Events, group: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Whether each set was on a truck when the day began."""
    change = np.flatnonzero(events.installs | events.ends)
    keys = Keys(events.when.day[change], day)
    key = keys.of(events.group[change], events.when.day[change])
    order = np.argsort(key, kind="stable")
    step = np.where(events.installs[change], 1, -1)[order]
    total = np.concatenate([[0], np.cumsum(step)])
    here = np.searchsorted(key[order], keys.of(group, day), side="left")
    begin = np.searchsorted(key[order], group.astype(np.int64) * keys.span, side="left")
    return total[here] - total[begin] > 0


def lives_frame(set_events: pd.DataFrame, events: Events, stays: Stays) -> pd.DataFrame:
    """The stays as a table, in the order of `stays`."""
    on = set_events.iloc[events.position[stays.install]]
    off = set_events.iloc[events.position[np.maximum(stays.end, 0)]] if len(events.position) else on
    ended = stays.end >= 0
    lives = on[[c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION]].copy()
    lives[c.INSTALLED] = pd.to_datetime(on[c.DATE]).to_numpy()
    lives[c.REMOVED] = pd.Series(pd.to_datetime(off[c.DATE]).to_numpy(), index=on.index).where(ended)
    lives[INSTALL_COUNTER_MI] = numbers_of(on, c.COUNTER_MI)
    lives[REMOVE_COUNTER_MI] = np.where(ended, numbers_of(off, c.COUNTER_MI), np.nan)
    lives[END_EVENT] = np.where(ended, off[c.EVENT].astype(object), None)
    reason = off[c.REASON].astype(object) if c.REASON in off else None
    lives[END_REASON] = np.where(ended, reason, None)
    lives[END_ROW] = pd.array(np.where(ended, off.index, 0), dtype="Int64")
    lives.loc[~ended, END_ROW] = pd.NA
    return lives


def by_truck(lives: pd.DataFrame) -> pd.DataFrame:
    """Stays ordered by truck, position and install."""
    return lives.sort_values([c.TRUCK_ID, c.PLOW_POSITION, c.INSTALLED], kind="stable")
