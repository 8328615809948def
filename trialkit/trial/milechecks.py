"""Rules for blade-down miles: counters run forwards, and miles follow for every reading.

Answers: which counter cannot be right, which readings have no miles, and where do counter and shifts disagree?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import counted, listed
from trialkit.tables import ENDS_LIFE, STARTS_SEGMENT
from trialkit.trial import lineage
from trialkit.trial.backwards import check_forwards, points_of, rounding_slack
from trialkit.trial.findings import Source, day_text, number_text
from trialkit.trial.miles import UNKNOWN
from trialkit.trial.moments import DAY_S, Moments, moments_of, shift_spans
from trialkit.trial.references import unknown_rows
from trialkit.trial.stays import INSTALL_COUNTER_MI, REMOVE_COUNTER_MI
from trialkit.trial.timeline import SHIFTS, Timeline

AGREES_WITHIN = 0.05
"""Share of the counter's miles by which the shifts' miles may differ."""
FEWEST_MI = 20.0
"""Counter miles below which counter and shifts are not compared: rounding would decide [mi]."""
SAME_MI = 1.0
"""Difference up to which two counters of one moment are the same but for rounding [mi]."""
ROWS_SHOWN = 5
COUNTER_FIX = (
    "Correct the counter or the date of one of the two rows. A counter that was replaced goes on from the old one: "
    "add its last reading to those of the new one."
)


def check_miles(
    line: Timeline, bad_trucks: frozenset[str] = frozenset(), bad_shifts: frozenset[int] = frozenset()
) -> list[Problem]:
    """Everything that is wrong with counters and blade-down miles.

    Parameters
    ----------
    line : Timeline
        What happened to the sets.
    bad_trucks : frozenset of str
        Trucks of which an odometer is reported.
    bad_shifts : frozenset of int
        Rows of shifts that are reported.

    Returns
    -------
    list of Problem
        In no particular order.
    """
    problems, bad_units = _counters(line)
    more, beyond = _beyond_odometer(line, bad_units, bad_trucks)
    problems += more + _counter_differs(line, bad_units) + _miles_unknown(line)
    if SHIFTS in line.sources and line.sources[SHIFTS].has(c.TRUCK_ID, c.START):
        shifts = line.sources[SHIFTS]
        problems += _position_unknown(line, shifts) + _change_time_unknown(line, shifts)
        if shifts.has(c.BLADE_DOWN_MI):
            problems += _miles_disagree(line, shifts, bad_units | beyond, bad_shifts)
    return problems


# ---------------------------------------------------------------- counters
def _counters(line: Timeline) -> tuple[list[Problem], set[str]]:
    """Counters that fall, within and across the sets of a truck position, and those positions."""
    events, readings = line.events, line.readings
    event_unit = lineage.truck_unit(events.frame)
    names = pd.Index(event_unit.cat.categories.astype(object))
    parts = []
    if events.has(c.COUNTER_MI):
        group = lineage.codes_of(event_unit, names)
        sound = ~events.frame[c.SET_ID].isin(list(line.in_doubt)).to_numpy()
        parts.append((events, c.COUNTER_MI, group, moments_of(events.frame[c.DATE]), sound))
    if readings.has(c.COUNTER_MI):
        group = lineage.codes_of(line.segments[c.TRUCK_UNIT], names)
        use = line.readings_judged()
        parts.append((readings, c.COUNTER_MI, group, moments_of(readings.frame[c.DATE]), use))
    if not parts:
        return [], set()
    numbered = dict(enumerate(names.astype(str)))
    problems, groups = check_forwards(points_of(parts), "counter-backwards", numbered, COUNTER_FIX)
    return problems, {numbered[group] for group in groups}


def _beyond_odometer(
    line: Timeline, bad_units: set[str], bad_trucks: frozenset[str]
) -> tuple[list[Problem], set[str]]:
    """More blade-down miles than miles driven between two events of a truck position; and those positions."""
    source = line.events
    if not source.has(c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.COUNTER_MI, c.ODOMETER_MI):
        return [], set()
    when = moments_of(source.frame[c.DATE])
    units = lineage.truck_unit(source.frame)
    unit = units.cat.codes.to_numpy()
    counter, odometer = source.possible(c.COUNTER_MI), source.possible(c.ODOMETER_MI)
    good = line.judged(source.frame[c.SET_ID]) & ~units.isin(list(bad_units)).to_numpy()
    good = good & ~source.frame[c.TRUCK_ID].isin(list(bad_trucks)).to_numpy()
    rows = np.flatnonzero(good & (unit >= 0) & when.known & ~np.isnan(counter) & ~np.isnan(odometer))
    rows = rows[np.lexsort((counter[rows], when.first[rows], unit[rows]))]
    slack = rounding_slack(source, c.COUNTER_MI, counter) + rounding_slack(source, c.ODOMETER_MI, odometer)
    before, after = rows[:-1], rows[1:]
    plowed, driven = counter[after] - counter[before], odometer[after] - odometer[before]
    spare = np.maximum(slack[after], slack[before]) + 1e-6
    over = (unit[after] == unit[before]) & (plowed > 0) & (driven >= 0) & (plowed > driven + spare)
    previous = dict(zip(after[over], before[over], strict=True))

    def say(row: int) -> Problem:
        earlier = previous[row]
        more = source.number(c.COUNTER_MI, counter[row] - counter[earlier])
        found = f"{source.written(c.COUNTER_MI, row)}, {more} more than in row {source.row(earlier)}"
        driven = source.span(c.COUNTER_MI, None, odometer[row] - odometer[earlier])
        allowed = f"{driven} more, the miles driven since {day_text(source.frame[c.DATE].iloc[earlier])}"
        fix = "Correct the counter or the odometer of one of the two rows."
        return source.problem("blade-down-exceeds-odometer", row, c.COUNTER_MI, found, allowed, fix)

    beyond = set(units.iloc[after[over]].astype(str))
    return source.listed("blade-down-exceeds-odometer", c.COUNTER_MI, after[over], say), beyond


def _counter_differs(line: Timeline, bad_units: set[str]) -> list[Problem]:
    """Readings of one set at one moment with different counters, once for each set and moment."""
    source, frame = line.readings, line.segments
    use = (
        frame[c.COUNTER_MI].notna().to_numpy()
        & frame[c.DATE].notna().to_numpy()
        & frame[c.TRUCK_UNIT].notna().to_numpy()
    )
    use = use & line.readings_judged() & ~frame[c.TRUCK_UNIT].isin(list(bad_units)).to_numpy()
    rows = np.flatnonzero(use)
    part = frame[[c.SET_ID, c.DATE, c.BASELINE, c.COUNTER_MI]].iloc[rows]
    moments = part.groupby([c.SET_ID, c.DATE, c.BASELINE], observed=True, dropna=False, sort=False)
    number, counter = moments.ngroup().to_numpy(), moments[c.COUNTER_MI]
    spread = (counter.transform("max") - counter.transform("min")).to_numpy() if len(part) else np.zeros(0)
    apart = np.flatnonzero(spread > SAME_MI)
    first = apart[~pd.Series(number[apart]).duplicated().to_numpy()]

    def say(k: int) -> Problem:
        members = rows[apart[number[apart] == number[k]]]
        values = frame[c.COUNTER_MI].iloc[members]
        usual = values.mode().iloc[0]
        odd = int(members[int((values - usual).abs().to_numpy().argmax())])
        allowed = f"one counter for the readings of a moment, here {source.number(c.COUNTER_MI, usual)}"
        fix = "Correct the counter, or write the times of the readings if the truck plowed between them."
        return source.problem(
            "counter-differs", odd, c.COUNTER_MI, source.written(c.COUNTER_MI, odd), allowed, fix
        )

    return source.listed("counter-differs", c.COUNTER_MI, first, say)


# ---------------------------------------------------------------- readings without miles
def _miles_unknown(line: Timeline) -> list[Problem]:
    """Readings whose miles cannot be told, once for each set."""
    source, frame = line.readings, line.segments
    lost = (
        (frame[c.MILES_BASIS] == UNKNOWN).to_numpy()
        & frame[c.TRUCK_UNIT].notna().to_numpy()
        & line.readings_judged()
    )
    lost &= ~frame.index.isin(source.broken_rows)
    position = np.flatnonzero(lost)
    if not len(position):
        return []
    groups = pd.Series(position).groupby(frame[c.SET_ID].iloc[position].astype(str).to_numpy(), sort=False)
    first = groups.agg(["first", "size"])
    n_rows = dict(zip(first["first"], first["size"], strict=True))
    causes = _causes(line)

    def say(row: int) -> Problem:
        unit = str(frame[c.TRUCK_UNIT].iloc[row])
        found = f"blank in {counted(n_rows[row], 'reading')} of {frame[c.SET_ID].iloc[row]}, first on {day_text(frame[c.DATE].iloc[row])}"
        allowed = f"a counter, or shifts of {unit} from which the miles follow"
        fix = f"Fill {source.header(c.COUNTER_MI)}, or {causes.get(unit, 'add the shifts of that truck position')}."
        return source.problem("miles-unknown", row, c.COUNTER_MI, found, allowed, fix, key="")

    return source.listed("miles-unknown", c.COUNTER_MI, first["first"], say)


def _causes(line: Timeline) -> dict[str, str]:
    """Truck position -> what is missing in its shifts."""
    shifts = line.sources.get(SHIFTS)
    if shifts is None or not shifts.has(c.TRUCK_ID, c.START):
        return {}
    frame = shifts.frame
    units = lineage.shift_units(frame, line.events.frame)
    blank = frame[c.BLADE_DOWN_MI].isna().to_numpy()
    causes = {}
    for unit in units.cat.categories:
        rows = np.flatnonzero((units == unit).to_numpy() & blank)
        if len(rows):
            causes[str(unit)] = f"{shifts.header(c.BLADE_DOWN_MI)} in {shifts.file} ({_rows(shifts, rows)})"
    for truck in frame[c.TRUCK_ID][units.isna()].dropna().unique():
        rows = np.flatnonzero((units.isna() & (frame[c.TRUCK_ID] == truck)).to_numpy())
        for unit in line.segments[c.TRUCK_UNIT].cat.categories:
            if str(unit).startswith(f"{truck}, "):
                causes.setdefault(
                    str(unit), f"{shifts.header(c.PLOW_POSITION)} in {shifts.file} ({_rows(shifts, rows)})"
                )
    return causes


def _rows(source: Source, positions: np.ndarray) -> str:
    """``"row 4"``, ``"rows 4, 7 and 9"`` or ``"rows 4, 7, 9, 12, 13 and 20 more"``."""
    shown = [str(source.row(int(position))) for position in positions[:ROWS_SHOWN]]
    rest = len(positions) - len(shown)
    return f"row{'s' if len(positions) > 1 else ''} {listed([*shown, f'{rest:,} more'] if rest else shown)}"


# ---------------------------------------------------------------- shifts
def _position_unknown(line: Timeline, shifts: Source) -> list[Problem]:
    """Shifts of a truck with several positions that name none, once for each truck."""
    frame, events = shifts.frame, line.events.frame
    units = lineage.shift_units(frame, events)
    blank = (
        units.isna()
        & frame[c.PLOW_POSITION].isna()
        & frame[c.TRUCK_ID].isin(list(events[c.TRUCK_ID].dropna().unique()))
    )
    blank &= ~frame.index.isin(shifts.broken_rows)
    rows = pd.Series(np.flatnonzero(blank.to_numpy()))
    truck = frame[c.TRUCK_ID].iloc[rows].astype(str).to_numpy()
    places = events[[c.TRUCK_ID, c.PLOW_POSITION]].dropna().astype(str).drop_duplicates()
    problems = []
    for name, mine in rows.groupby(truck, sort=False):
        known = sorted(places[c.PLOW_POSITION][places[c.TRUCK_ID] == name])
        found = f"blank in {counted(len(mine), 'shift')} of {name}"
        fix = f"Fill it in; until then the miles of these shifts are unknown for both ({_rows(shifts, mine.to_numpy())})."
        problems.append(
            shifts.problem(
                "position-unknown",
                int(mine.iloc[0]),
                c.PLOW_POSITION,
                found,
                listed(known, "or"),
                fix,
                key="",
            )
        )
    return problems


def _change_time_unknown(line: Timeline, shifts: Source) -> list[Problem]:
    """Days on which a set was changed and plowing was done, with nothing that tells which came first."""
    events = line.events
    when, unit = moments_of(events.frame[c.DATE]), lineage.truck_unit(events.frame)
    code = unit.cat.codes.to_numpy()
    kind = events.frame[c.EVENT]
    install, end = (kind == "install").to_numpy(), kind.isin(ENDS_LIFE).to_numpy()
    change = kind.isin(STARTS_SEGMENT).to_numpy() & ~install
    judged = line.judged(events.frame[c.SET_ID]) & (code >= 0) & when.known
    frame = pd.DataFrame(
        {
            "unit": code, "day": when.day, "install": install, "removal": end, "change": change, "timed": when.timed,
            "counter": events.frame[c.COUNTER_MI].notna().to_numpy(), "position": np.arange(len(code)),
        }
    )[judged]  # fmt: skip
    days = frame.groupby(["unit", "day"]).agg(
        {**dict.fromkeys(("install", "removal", "change", "timed", "counter"), "any"), "position": "last"}
    )
    days = days[((days["install"] & days["removal"]) | days["change"]) & ~days["timed"] & ~days["counter"]]
    if not len(days):
        return []
    read = pd.DataFrame(
        {
            "unit": lineage.codes_of(line.segments[c.TRUCK_UNIT], unit.cat.categories),
            "day": moments_of(line.segments[c.DATE]).day,
        }
    )
    known = read[line.segments[c.COUNTER_MI].notna().to_numpy()].drop_duplicates()
    days = days[~days.index.isin(pd.MultiIndex.from_frame(known))]
    first, last, _ = shift_spans(shifts.frame)
    shift_unit = lineage.codes_of(lineage.shift_units(shifts.frame, events.frame), unit.cat.categories)
    problems = []
    for (number, day), position in days["position"].items():
        plowed = np.flatnonzero((shift_unit == number) & (last >= day * DAY_S) & (first < (day + 1) * DAY_S))
        if len(plowed):
            found = f"a day without a time, with plowing ({shifts.file} {_rows(shifts, plowed)})"
            fix = "Write the time of the change (2031-01-14T05:30) or the counter; until then it counts as made before that day's plowing."
            problems.append(
                events.problem(
                    "change-time-unknown", int(position), c.DATE, found, "a time or a counter", fix
                )
            )
    return problems


def _miles_disagree(
    line: Timeline, shifts: Source, bad_units: set[str], bad_shifts: frozenset[int]
) -> list[Problem]:
    """Stays in which the shifts' miles and the counter differ, where both are complete and nothing else is wrong."""
    lives = line.lives[line.judged(line.lives[c.SET_ID])]
    unit = lineage.truck_unit(lives).astype(object).to_numpy()
    start, end, span = _counter_ends(line, lives, unit)
    shift_unit = lineage.shift_units(shifts.frame, line.events.frame).astype(object).to_numpy()
    first, last, _ = shift_spans(shifts.frame)
    miles = shifts.possible(c.BLADE_DOWN_MI)
    by_unit = pd.Series(np.arange(len(shift_unit))).groupby(shift_unit).indices
    wrong = shifts.frame.index.isin(bad_shifts | shifts.broken_rows)
    lost = np.flatnonzero(wrong | _nowhere(line, shifts, shift_unit))
    problems = []
    for k in np.flatnonzero(span >= FEWEST_MI).tolist():
        mine = by_unit.get(unit[k], np.zeros(0, dtype=int))
        since, until = start.last[k], end.first[k]
        touching = mine[(last[mine] > start.first[k]) & (first[mine] < end.last[k])]
        unsure = ((last[lost] > start.first[k]) & (first[lost] < end.last[k])).any()
        if unit[k] in bad_units or not len(mine) or unsure or np.isnan(miles[touching]).any():
            continue
        inside = touching[(first[touching] >= since) & (last[touching] <= until)]
        low, high = float(miles[inside].sum()), float(miles[touching].sum())
        if low > span[k] * (1 + AGREES_WITHIN) or high < span[k] * (1 - AGREES_WITHIN):
            summed = low if low > span[k] else high
            position = int(line.event_position(lives.index[[k]])[0])
            problems.append(_disagreement(line, shifts, position, summed, float(span[k]), int(end.day[k])))
    return problems


def _nowhere(line: Timeline, shifts: Source, shift_unit: np.ndarray) -> np.ndarray:
    """Shifts of no truck, or of a truck in the trial without saying which position."""
    truck = shifts.frame[c.TRUCK_ID]
    in_trial = truck.isin(list(line.events.frame[c.TRUCK_ID].dropna().unique()))
    unknown = unknown_rows(shifts, c.TRUCK_ID, line.sources.get("trucks"))
    return (pd.isna(shift_unit) & (truck.isna() | in_trial).to_numpy()) | unknown


def _counter_ends(
    line: Timeline, lives: pd.DataFrame, unit: np.ndarray
) -> tuple[Moments, Moments, np.ndarray]:
    """From when to when each stay has counters, and the miles between: install and removal, else its readings."""
    frame = line.segments
    fits = frame[c.COUNTER_MI].notna().to_numpy() & frame[c.TRUCK_UNIT].notna().to_numpy()
    stay = {c.SET_ID: pd.Index(lives[c.SET_ID].astype(object)), c.TRUCK_UNIT: pd.Index(unit)}
    sets, units = stay[c.SET_ID].unique(), stay[c.TRUCK_UNIT].unique()
    own = lineage.codes_of(frame[c.SET_ID], sets) * len(units) + lineage.codes_of(frame[c.TRUCK_UNIT], units)
    key = sets.get_indexer(stay[c.SET_ID]) * len(units) + units.get_indexer(stay[c.TRUCK_UNIT])
    read = pd.DataFrame(
        {"key": own, "date": frame[c.DATE].to_numpy(), "counter": frame[c.COUNTER_MI].to_numpy()}
    )[fits]
    spans = read.groupby("key").agg(
        first=("date", "min"), last=("date", "max"), low=("counter", "min"), high=("counter", "max")
    )
    once = (
        ~pd.Series(key).duplicated(keep=False).to_numpy()
    )  # of two stays on one position, which one was read is not told
    spans = spans.reindex(np.where(once, key, -1))
    begin_mi, end_mi = lives[INSTALL_COUNTER_MI].to_numpy(), lives[REMOVE_COUNTER_MI].to_numpy()
    begin = lives[c.INSTALLED].where(
        ~np.isnan(begin_mi), pd.Series(spans["first"].to_numpy(), index=lives.index)
    )
    finish = lives[c.REMOVED].where(~np.isnan(end_mi), pd.Series(spans["last"].to_numpy(), index=lives.index))
    low = np.where(np.isnan(begin_mi), spans["low"].to_numpy(), begin_mi)
    high = np.where(np.isnan(end_mi), spans["high"].to_numpy(), end_mi)
    return moments_of(begin), moments_of(finish), high - low


def _disagreement(
    line: Timeline, shifts: Source, position: int, summed: float, span: float, day: int
) -> Problem:
    frame = line.events.frame
    name, truck, place = (frame[column].iloc[position] for column in (c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION))
    until = f"{pd.Timestamp(day, unit='D'):%Y-%m-%d}"
    share = abs(summed - span) / span * 100
    found = (
        f"{number_text(round(summed, 1))} mi by the shifts and {number_text(round(span, 1))} mi by the counter "
        f"for {name} on {truck}, {place} until {until}, {share:.0f}% apart"
    )
    fix = f"Look for shifts that are missing or counted twice in {shifts.file}, and at the counters."
    return line.events.problem(
        "miles-disagree", position, "", found, f"within {AGREES_WITHIN * 100:g}% of the counter", fix, key=""
    )
