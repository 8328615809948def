"""Which heights belong together, and at how many blade-down miles they were read.

Answers: which readings of a set and station may be joined by a line, on which truck were they taken, and how many miles
had it plowed by then?

Everything here takes plain frames and never stops at dirty data: what cannot be told is left blank, and `checks` says
what is wrong.

Notes
-----
What a date without a time means: an install, flip, section swap or re-reference is made at the start of its day, a
baseline reading just after it; a set is removed, and any other reading taken, at the end of its day. Where these meet on
one day, the order of the work decides: the reading that is not a baseline, then the removal, then the next install (or
the flip), then the baseline reading. That day's plowing then counts for what was put on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.tables import STARTS_SEGMENT
from trialkit.trial.miles import BASES, Keys, Marks, MileAxis
from trialkit.trial.moments import DAY_S, Moments, moments_of, shift_spans
from trialkit.trial.stays import (
    Events,
    Stays,
    by_truck,
    codes_of,
    find_stays,
    lives_frame,
    numbers_of,
    on_before,
    read_events,
    set_lives,
    stay_events,
    truck_unit,
)

__all__ = ["life_miles", "mileage", "set_lives", "shift_units", "stay_events", "truck_unit", "wear_segments"]

UNTIL = "until"
LONG_AGO = np.iinfo(np.int64).min // 2


@dataclass(frozen=True, eq=False)
class _Placed:
    """Readings with their set, stay, place on the miles axis and stretch.

    `stay` is the last stay begun before the reading (-1 if none); `inside` whether the reading lies in it; `unit` the
    truck position (-1 outside); `at` and `since` the seconds of the reading and of its install on the miles axis;
    `stretch` how many events have started a segment before it.
    """

    group: np.ndarray
    when: Moments
    baseline: np.ndarray
    station: np.ndarray
    counter: np.ndarray
    stay: np.ndarray
    inside: np.ndarray
    unit: np.ndarray
    at: np.ndarray
    since: np.ndarray
    stretch: np.ndarray


def wear_segments(
    readings: pd.DataFrame,
    set_events: pd.DataFrame,
    edge_sets: pd.DataFrame,
    shifts: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Readings with their truck, edge type, segment and blade-down miles.

    A segment is a stretch of one set and station within which heights may be compared: an install, a flip, a section
    swap or a re-reference starts a new one. No line may be drawn across two segments.

    Parameters
    ----------
    readings : DataFrame
        Columns `set_id`, `date`, `station`; `counter_mi` [mi] and `baseline` if there are any.
    set_events : DataFrame
        As for `set_lives`; `station` if there is one (of a section swap; blank is the whole set).
    edge_sets : DataFrame
        Columns `set_id`, `edge_type`.
    shifts : DataFrame, optional
        Columns `truck_id`, `start`, `blade_down_mi` [mi]; `plow_position` and `end` if there are any.

    Returns
    -------
    DataFrame
        The readings with `truck_id`, `plow_position`, `truck_unit`, `edge_type`, `segment` ("set/station/number"),
        `miles_mi` [mi on the axis of the truck position] and `miles_basis` ("counter", "shifts" or "unknown"). A
        reading outside the life of its set has neither truck nor segment nor miles.

    Notes
    -----
    Where a truck position has no counter, `miles_mi` may be compared only within one stay of a set.
    """
    events = read_events(set_events)
    stays = find_stays(events)
    placed = _place_readings(readings, events, stays)
    axis = _mile_axis(events, placed, _shift_marks(events, set_events, shifts))
    miles, basis = axis.marks(placed.unit, placed.at, _same_day_counter(placed, axis), placed.since)

    out = readings.copy(deep=False)
    install = np.append(stays.install, -1)[placed.stay]
    event_row = np.append(events.position, -1)[np.where(placed.inside, install, -1)]
    for name in (c.TRUCK_ID, c.PLOW_POSITION):
        out[name] = _taken(set_events[name], event_row, out.index)
    out[c.TRUCK_UNIT] = pd.Categorical.from_codes(placed.unit, events.units)
    out[c.EDGE_TYPE] = edge_type_of(readings[c.SET_ID], edge_sets)
    out[c.SEGMENT] = _segment_names(events, placed)
    out[c.MILES_MI] = miles
    out[c.MILES_BASIS] = pd.Categorical.from_codes(basis, pd.Index(BASES, dtype=object))
    return out


def mileage(
    moments: pd.DataFrame,
    set_events: pd.DataFrame,
    readings: pd.DataFrame | None = None,
    shifts: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Blade-down miles of truck positions at any moment.

    The last counter at or before the moment plus the shift miles since; if there is no counter before, the next counter
    less the shift miles between; if the position has no counter at all, the shift miles summed up from the first shift.

    Parameters
    ----------
    moments : DataFrame
        Columns `truck_id`, `plow_position`, `date` (a date without a time is the end of that day).
    set_events, readings, shifts : DataFrame
        As for `wear_segments`: the counters and the shift miles.

    Returns
    -------
    DataFrame
        `miles_mi` [mi] and `miles_basis` for each row of `moments`.
    """
    events = read_events(set_events)
    placed = _place_readings(readings, events, find_stays(events))
    axis = _mile_axis(events, placed, _shift_marks(events, set_events, shifts))
    when = moments_of(moments[c.DATE])
    unit = np.where(when.known, codes_of(truck_unit(moments), events.units), -1)
    nothing = np.full(len(moments), np.nan)
    miles, basis = axis.marks(unit, when.last, nothing, np.full(len(moments), LONG_AGO))
    shown = {
        c.MILES_MI: miles,
        c.MILES_BASIS: pd.Categorical.from_codes(basis, pd.Index(BASES, dtype=object)),
    }
    return pd.DataFrame(shown, index=moments.index)


def life_miles(
    set_events: pd.DataFrame, readings: pd.DataFrame | None = None, shifts: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Every stay of a set with the blade-down miles it plowed.

    Parameters
    ----------
    set_events, readings, shifts : DataFrame
        As for `wear_segments`.

    Returns
    -------
    DataFrame
        The stays of `set_lives` with `until` (up to when the miles are counted: the removal or, for a set still on, its
        last reading or the last shift of its truck position; a day), `miles_mi` [mi] and `miles_basis`. A set still on of which
        nothing is known after the install has no miles.
    """
    events = read_events(set_events)
    stays = find_stays(events)
    placed = _place_readings(readings, events, stays)
    steps = _shift_marks(events, set_events, shifts)
    axis = _mile_axis(events, placed, steps)

    start, unit = events.at[stays.install], events.unit[stays.install]
    still_on = stays.end < 0
    end = np.where(still_on, start, np.append(events.at, 0)[stays.end])
    reading = placed.inside & np.append(still_on, False)[placed.stay]
    np.maximum.at(end, placed.stay[reading], placed.at[reading])
    last_install, last_shift = (np.full(len(events.units) + 1, LONG_AGO) for _ in range(2))
    np.maximum.at(last_install, unit, start)
    np.maximum.at(last_shift, steps.unit, steps.at)
    newest = still_on & (unit >= 0) & (start == last_install[unit])
    end = np.where(newest, np.maximum(end, last_shift[unit]), end)

    miles, basis = axis.marks(
        np.concatenate([unit, np.where(still_on & (end == start), -1, unit)]),
        np.concatenate([start, end]),
        np.concatenate([events.counter[stays.install], np.append(events.counter, np.nan)[stays.end]]),
        np.concatenate([start, start]),
    )
    n = len(start)
    lives = lives_frame(set_events, events, stays)
    lives[UNTIL] = pd.to_datetime(end, unit="s").normalize()
    lives[c.MILES_MI] = miles[n:] - miles[:n]
    lives[c.MILES_BASIS] = pd.Categorical.from_codes(
        np.minimum(basis[:n], basis[n:]), pd.Index(BASES, dtype=object)
    )
    return by_truck(lives)


def shift_units(shifts: pd.DataFrame, set_events: pd.DataFrame) -> pd.Series:
    """Truck and position of each shift; where the position is blank, the truck's only position in the trial.

    Parameters
    ----------
    shifts : DataFrame
        Column `truck_id`; `plow_position` if there is one.
    set_events : DataFrame
        Columns `truck_id`, `plow_position`: a position is in the trial if a set was ever on it.

    Returns
    -------
    Series
        As `truck_unit`; missing where the truck has several positions in the trial and the shift does not say which.
    """
    place = (
        shifts[c.PLOW_POSITION].astype(object) if c.PLOW_POSITION in shifts else pd.Series(None, shifts.index)
    )
    pairs = set_events[[c.TRUCK_ID, c.PLOW_POSITION]].dropna().astype(object).drop_duplicates()
    only = pairs[~pairs.duplicated(c.TRUCK_ID, keep=False)].set_index(c.TRUCK_ID)[c.PLOW_POSITION]
    truck = shifts[c.TRUCK_ID].astype(object)
    place = place.where(place.notna(), truck.map(only))
    return truck_unit(pd.DataFrame({c.TRUCK_ID: truck, c.PLOW_POSITION: place}))


def edge_type_of(set_ids: pd.Series, edge_sets: pd.DataFrame) -> pd.Series:
    """Edge type of each set; missing where the set is not in `edge_sets`.

    Parameters
    ----------
    set_ids : Series
        Sets.
    edge_sets : DataFrame
        Columns `set_id`, `edge_type`.

    Returns
    -------
    Series
        Of the categories of `edge_sets`.
    """
    types = edge_sets.dropna(subset=[c.SET_ID]).drop_duplicates(c.SET_ID)
    found = codes_of(set_ids, pd.Index(types[c.SET_ID].astype(object)))
    return _taken(types[c.EDGE_TYPE], found, set_ids.index)


# ---------------------------------------------------------------- placing readings
def _place_readings(readings: pd.DataFrame | None, events: Events, stays: Stays) -> _Placed:
    """Find the stay, the truck position, the moment on the axis and the stretch of each reading."""
    if readings is None:
        readings = pd.DataFrame({name: pd.Series(dtype=object) for name in (c.SET_ID, c.DATE, c.STATION)})
    when = moments_of(readings[c.DATE])
    group = np.where(when.known, codes_of(readings[c.SET_ID], events.sets), -1)
    station = numbers_of(readings, c.STATION)
    baseline = np.zeros(len(readings), dtype=bool)
    if c.BASELINE in readings:
        baseline = (readings[c.BASELINE] == "yes").fillna(False).to_numpy(dtype=bool)

    # a reading on the day of an install follows it, unless the set was on another truck that morning
    after_install = baseline | ~on_before(events, np.maximum(group, 0), when.day)
    installs = _passed(group, when, after_install, events, events.installs)
    stay = np.where(installs > 0, stays.first[np.maximum(group, 0)] + installs - 1, -1)
    end = np.append(stays.end, -1)[stay]
    end_when = events.when.take(end) if len(events.at) else when
    late = when.day > end_when.day
    late |= (when.day == end_when.day) & when.timed & end_when.timed & (when.second > end_when.second)
    inside = (stay >= 0) & ~((end >= 0) & late)

    starts = np.isin(events.kind, STARTS_SEGMENT) & ~events.installs
    stretch = installs + _passed(group, when, baseline, events, starts & np.isnan(events.station))
    swaps = starts & ~np.isnan(events.station)
    if swaps.any():
        places, numbers = pd.factorize(np.concatenate([events.station[swaps], station]))
        n_places = max(len(numbers), 1)
        swap_group = events.group.astype(np.int64) * n_places
        swap_group[swaps] += places[: swaps.sum()]
        own_group = np.where(
            (group >= 0) & (places[swaps.sum() :] >= 0), group * n_places + places[swaps.sum() :], -1
        )
        stretch = stretch + _passed(own_group, when, baseline, events, swaps, swap_group)

    install = np.append(stays.install, -1)[stay]
    return _Placed(
        group=group, when=when, baseline=baseline, station=station, counter=numbers_of(readings, c.COUNTER_MI),
        stay=stay, inside=inside, unit=np.where(inside, np.append(events.unit, -1)[install], -1),
        at=_read_at(group, when, baseline, events), since=np.append(events.at, 0)[install], stretch=stretch,
    )  # fmt: skip


def _passed(
    group: np.ndarray,
    when: Moments,
    after: np.ndarray,
    events: Events,
    which: np.ndarray,
    event_group: np.ndarray | None = None,
) -> np.ndarray:
    """How many of the chosen events of its group came before each reading.

    On one day times decide where both have one; else the reading follows the event if `after` is true for it.
    """
    chosen = np.flatnonzero(which)
    if not len(chosen):
        return np.zeros(len(group), dtype=np.int64)
    owner = (events.group if event_group is None else event_group)[chosen]
    moments = events.when.take(chosen)
    known = group >= 0
    own = np.maximum(group, 0)
    keys = Keys(moments.day, when.day[known])
    key = np.sort(keys.of(owner, moments.day))
    begin = np.searchsorted(key, own.astype(np.int64) * keys.span, side="left")
    today = keys.of(own, when.day)
    before = np.searchsorted(key, today, side="left")
    same_day = np.searchsorted(key, today, side="right") - before
    count = before - begin + same_day * after
    meeting = np.flatnonzero(known & when.timed & (same_day > 0))
    if len(meeting) and moments.timed.any():
        clock = Keys(moments.first, when.first[meeting])
        timed = np.sort(clock.of(owner, moments.first)[moments.timed])
        own, then = own[meeting], when.take(meeting)
        now = clock.of(own, then.first)
        day_start = np.searchsorted(timed, clock.of(own, then.day * DAY_S), side="left")
        day_end = np.searchsorted(timed, clock.of(own, then.day * DAY_S + DAY_S - 1), side="right")
        earlier = np.searchsorted(timed, now, side="left") - day_start
        ties = np.searchsorted(timed, now, side="right") - day_start - earlier
        untimed = same_day[meeting] - (day_end - day_start)
        follows = after[meeting]
        count[meeting] = (before - begin)[meeting] + earlier + (ties + untimed) * follows
    return np.where(known, count, 0)


def _read_at(group: np.ndarray, when: Moments, baseline: np.ndarray, events: Events) -> np.ndarray:
    """Second at which each reading counts: its time; else the end of its day, for a baseline the start.

    On the day of a change the reading counts at the change: before the first one, a baseline after the last.
    """
    at = np.where(baseline, when.first, when.last)
    undated = ~when.timed & (group >= 0)
    key = Keys(events.when.day, when.day[when.known])
    for chosen, which, nearest, choose in (
        (undated & ~baseline, ~events.installs, "min", np.minimum),
        (undated & baseline, np.isin(events.kind, STARTS_SEGMENT), "max", np.maximum),
    ):
        if chosen.any() and which.any():
            change = (
                pd.Series(events.at[which])
                .groupby(key.of(events.group[which], events.when.day[which]))
                .agg(nearest)
            )
            found = change.index.get_indexer(pd.Index(key.of(group[chosen], when.day[chosen])))
            moment = np.append(change.to_numpy(), 0)[found]
            at[chosen] = np.where(found >= 0, choose(at[chosen], moment), at[chosen])
    return at


# ---------------------------------------------------------------- miles
def _shift_marks(events: Events, set_events: pd.DataFrame, shifts: pd.DataFrame | None) -> Marks:
    """Shifts on the miles axis; one whose position is unknown makes unknown every position of its truck."""
    if shifts is None or not len(shifts) or not len(set_events):
        return Marks(np.zeros(0, dtype=int), np.zeros(0, dtype=np.int64), np.zeros(0))
    units = shift_units(shifts, set_events)
    unit = codes_of(units, events.units)
    _, _, counted = shift_spans(shifts)
    miles = numbers_of(shifts, c.BLADE_DOWN_MI)
    dated = moments_of(shifts[c.START]).known
    lost = np.flatnonzero(units.isna().to_numpy() & dated)
    if len(lost):
        truck_of_unit = set_events[[c.TRUCK_ID]].assign(
            **{c.UNIT: codes_of(truck_unit(set_events), events.units)}
        )
        pairs = truck_of_unit[truck_of_unit[c.UNIT] >= 0].astype({c.TRUCK_ID: object}).drop_duplicates()
        spread = pd.DataFrame(
            {c.TRUCK_ID: shifts[c.TRUCK_ID].astype(object).to_numpy()[lost], "at": counted[lost]}
        )
        spread = spread.merge(pairs, on=c.TRUCK_ID)
        unit = np.concatenate([unit, spread[c.UNIT].to_numpy(dtype=int)])
        counted = np.concatenate([counted, spread["at"].to_numpy(dtype=np.int64)])
        miles = np.concatenate([miles, np.full(len(spread), np.nan)])
        dated = np.concatenate([dated, np.ones(len(spread), dtype=bool)])
    keep = (unit >= 0) & dated
    return Marks(unit[keep], counted[keep], miles[keep])


def _mile_axis(events: Events, placed: _Placed, steps: Marks) -> MileAxis:
    """The axis from the counters of events and readings and from the shifts."""
    event = ~np.isnan(events.counter) & (events.unit >= 0)
    reading = ~np.isnan(placed.counter) & (placed.unit >= 0)
    counters = Marks(
        np.concatenate([events.unit[event], placed.unit[reading]]),
        np.concatenate([events.at[event], placed.at[reading]]),
        np.concatenate([events.counter[event], placed.counter[reading]]),
    )
    return MileAxis(len(events.units), counters, steps)


def _same_day_counter(placed: _Placed, axis: MileAxis) -> np.ndarray:
    """Counters of the readings; where no shift tells more, the one counter that was noted for the set that day."""
    counter = placed.counter
    if not len(axis.has_shifts):
        return counter
    bare = (placed.unit >= 0) & ~axis.has_shifts[placed.unit]
    if not (bare & np.isnan(counter)).any():
        return counter
    rows = np.flatnonzero(bare)
    noted = pd.Series(counter[rows]).groupby(
        [placed.stay[rows], placed.when.day[rows], placed.baseline[rows]]
    )
    low, high = noted.transform("min").to_numpy(), noted.transform("max").to_numpy()
    filled = counter.copy()
    filled[rows] = np.where(np.isnan(counter[rows]) & (low == high), low, counter[rows])
    return filled


def _segment_names(events: Events, placed: _Placed) -> pd.Categorical:
    """Names of the segments; missing for a reading outside the life of its set or without a station."""
    rows = np.flatnonzero(placed.inside & ~np.isnan(placed.station))
    stations, numbers = pd.factorize(placed.station[rows])
    width = int(placed.stretch.max(initial=0)) + 1
    code, keys = pd.factorize(
        (placed.group[rows] * max(len(numbers), 1) + stations) * width + placed.stretch[rows]
    )
    example = np.zeros(len(keys), dtype=int)
    example[code[::-1]] = rows[::-1]
    sets, places, stretches = (
        events.sets[placed.group[example]],
        placed.station[example],
        placed.stretch[example],
    )
    names = [f"{a}/{b:g}/{k}" for a, b, k in zip(sets, places, stretches, strict=True)]
    every = np.full(len(placed.group), -1)
    every[rows] = code
    return pd.Categorical.from_codes(every, pd.Index(names, dtype=object))


def _taken(values: pd.Series, position: np.ndarray, index: pd.Index) -> pd.Series:
    """Values at these positions, missing where the position is -1."""
    return pd.Series(values.array.take(position, allow_fill=True), index=index)
