"""Rules for what trucks carry: the edge type assigned, no worn set as a new one, and no truck that falls silent.

Answers: was the draw carried out, is a set that goes on as new a new one, and does every truck in the trial still have records?

All of it is doubtful and none is impossible: a set that breaks is replaced by what is in stock, and a truck may leave the
trial. But what was drawn by lot is only a fair comparison if it was carried out, and a set that nobody took off counts as on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import counted, listed
from trialkit.settings import Plan
from trialkit.trial import lineage
from trialkit.trial.assigned import CARRIED, LATE, departures, past_middles
from trialkit.trial.findings import Source, day_text
from trialkit.trial.moments import moments_of
from trialkit.trial.stays import END_EVENT, END_REASON, END_ROW
from trialkit.trial.timeline import SHIFTS, Timeline

ASSIGNMENTS = "assignments"
WORN = ("worn_to_limit", "worn_uneven")
"""Reasons for which a set that comes off is worn."""
GONE = ("break", "lost")
"""Events after which a set is no new one either."""
SILENT_SHARE = 0.2
"""A position is silent that has no record for this share of the season while the others go on (common practice, no source)."""
SILENT_DAYS = 28
"""Days for which it has none at least (common practice, no source)."""
SILENT_ROUNDS, SILENT_ROUND_DAYS = 3, 14
"""Or so many rounds of readings of the others, over so many days at least (common practice, no source)."""
NAMED = 5
"""How many sets a problem names one by one."""
_DAY, _UNIT, _READ = "day", "unit_name", "read"


def check_carried(line: Timeline, plan: Plan | None) -> list[Problem]:
    """Every doubt about what trucks carry.

    Parameters
    ----------
    line : Timeline
        What happened to the sets.
    plan : Plan or None
        What was agreed before the season, if the settings could be read.
    """
    problems = _worn_as_new(line)
    assigned = line.sources.get(ASSIGNMENTS)
    if assigned is not None and assigned.has(c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE):
        problems += _not_assigned(line, assigned, plan)
    return problems + _silent(line)


# ---------------------------------------------------------------- the edge type assigned
def _not_assigned(line: Timeline, assigned: Source, plan: Plan | None) -> list[Problem]:
    """Sets of another type than assigned, once for each position, period and type."""
    if not line.sets.has(c.SET_ID, c.EDGE_TYPE):
        return []
    lives = line.lives[line.judged(line.lives[c.SET_ID])]
    found = departures(assigned.frame, lives, line.sets.frame, _middles(line, assigned, plan))
    fix = (
        "Correct the row that is mistyped. If the plan was changed before the set went on, say so in assignments: how swap, with the "
        "reason. If it was so by mistake or for want of stock, leave it and say why in the notes: the report names it."
    )
    problems = []
    keys = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE, CARRIED, LATE]
    for key, own in found.groupby(keys, sort=False):
        truck, place, period, kind, carried, late = key
        unit = f"{truck}, {place}"
        turn = f" for period {period}" if _rotates(assigned, str(truck), str(place)) else ""
        still = f", still on in the middle of period {period}" if late else ""
        position = int(line.event_position(own.index[[0]])[0])
        problems.append(
            line.events.problem(
                "edge-not-assigned",
                position,
                c.SET_ID,
                f"{_named(own[c.SET_ID])} of type {carried}{still}",
                f"a set of type {kind}, which {assigned.file} gives {unit}{turn}",
                fix,
                key=f"{unit}, {day_text(pd.Timestamp(own[c.INSTALLED].min()))}",
            )
        )
    return problems


def _rotates(assigned: Source, truck: str, place: str) -> bool:
    """Whether a position has several types to carry."""
    frame = assigned.frame
    own = (frame[c.TRUCK_ID].astype(str) == truck) & (frame[c.PLOW_POSITION].astype(str) == place)
    return frame.loc[own, c.EDGE_TYPE].astype(object).nunique() > 1


def _middles(line: Timeline, assigned: Source, plan: Plan | None) -> dict[int, dt.date]:
    """Middle days of the periods that are past."""
    last = max(line.events.frame[c.DATE].max(), line.segments[c.DATE].max())
    if plan is None or pd.isna(last):
        return {}
    return past_middles(assigned.frame, plan.season_start, plan.season_end, last.date())


# ---------------------------------------------------------------- worn sets as new ones
def _worn_as_new(line: Timeline) -> list[Problem]:
    """Installs, as new, of a set that came off worn, broken or lost before."""
    if not line.events.has(c.REASON):
        return []
    lives = line.lives[line.judged(line.lives[c.SET_ID])]
    lives = lives.sort_values([c.SET_ID, c.INSTALLED], kind="stable")
    before = lives.groupby(lives[c.SET_ID].astype(str)).shift(1)
    reason = line.events.frame[c.REASON].astype(object).reindex(lives.index)
    used = before[END_REASON].isin((*WORN, "broken")) | before[END_EVENT].isin(GONE)
    again = lives.index[(used & (reason == "new")).to_numpy()]

    def say(position: int) -> Problem:
        row = line.events.row(position)
        earlier = before.loc[row]
        off = day_text(pd.Timestamp(str(earlier[c.REMOVED])))
        how = earlier[END_REASON] if earlier[END_REASON] in (*WORN, "broken") else earlier[END_EVENT]
        allowed = (
            f"another reason: it came off {earlier[c.TRUCK_ID]}, {earlier[c.PLOW_POSITION]} on {off} "
            f"(row {earlier[END_ROW]}, {how})"
        )
        fix = (
            f"If another set went on, give it its own number in {line.sets.file}; its wear would be taken for that of the old one. If "
            "the same set went on again, give another reason."
        )
        return line.events.problem("worn-set-as-new", position, c.REASON, "new", allowed, fix)

    return line.events.listed("worn-set-as-new", c.REASON, line.event_position(again), say)


# ---------------------------------------------------------------- trucks that fall silent
def _silent(line: Timeline) -> list[Problem]:
    """Positions with a set on that have no record long before the others have their last."""
    units = lineage.truck_unit(line.lives).astype(object)
    judged = line.judged(line.lives[c.SET_ID])
    doubtful = set(units[~judged].dropna())
    lives = line.lives.assign(**{_UNIT: units})[judged & units.notna().to_numpy()]
    if lives.empty:
        return []
    days = _recorded(line, set(lives[_UNIT]))
    if days[_UNIT].nunique() < 2:
        return []
    last = days.groupby(_UNIT)[_DAY].max()
    begun = int(moments_of(lives[c.INSTALLED]).day.min())
    on = lives[lives[c.REMOVED].isna()].drop_duplicates(_UNIT, keep="last")
    problems = []
    for row, unit, set_id in zip(on.index, on[_UNIT], on[c.SET_ID], strict=True):
        if unit in doubtful or unit not in last.index:
            continue
        others = last.drop(unit)
        until = int(np.sort(others)[::-1][-(-2 * len(others) // 3) - 1])
        gap = until - int(last[unit])
        if gap < SILENT_ROUND_DAYS:
            continue
        whole_share = gap >= max(SILENT_SHARE * (until - begun), SILENT_DAYS)
        if whole_share or (
            gap > _longest_pause(days, unit)
            and _rounds_since(days, others.index, int(last[unit])) >= SILENT_ROUNDS
        ):
            problems.append(_silence(line, int(row), str(unit), str(set_id), int(last[unit]), until))
    return problems


def _recorded(line: Timeline, units: set[str]) -> pd.DataFrame:
    """Days with an event, a reading or a shift of each truck position: `unit_name`, `day`, and whether it was `read`."""
    events, read = line.events.frame, line.segments
    parts = [
        _days_of(lineage.truck_unit(events), events[c.DATE], read=False),
        _days_of(read[c.TRUCK_UNIT], read[c.DATE], read=True),
    ]
    shifts = line.sources.get(SHIFTS)
    if shifts is not None and shifts.has(c.TRUCK_ID, c.START):
        frame = shifts.frame
        parts.append(_days_of(lineage.truck_unit(frame), frame[c.START], read=False))
        anywhere = frame[frame[c.PLOW_POSITION].isna() & frame[c.TRUCK_ID].notna()]
        of_truck = _days_of(anywhere[c.TRUCK_ID], anywhere[c.START], read=False)
        places = {"unit": sorted(units), _UNIT: [unit.rpartition(", ")[0] for unit in sorted(units)]}
        both = of_truck.merge(pd.DataFrame(places, dtype=object), on=_UNIT)
        parts.append(both.assign(**{_UNIT: both["unit"]})[[_UNIT, _DAY, _READ]])
    found = pd.concat(parts, ignore_index=True)
    return found[found[_UNIT].isin(units)].drop_duplicates()


def _days_of(names: pd.Series, when: pd.Series, *, read: bool) -> pd.DataFrame:
    """Each name with each of its days once."""
    codes, known = pd.factorize(names)
    days = moments_of(when)
    told = (codes >= 0) & days.known
    pairs = pd.DataFrame({_UNIT: codes[told], _DAY: days.day[told]}).drop_duplicates()
    names_of = np.asarray(known, dtype=object)[pairs[_UNIT].to_numpy()]
    return pd.DataFrame({_UNIT: names_of, _DAY: pairs[_DAY].to_numpy(), _READ: read})


def _rounds_since(days: pd.DataFrame, others: pd.Index, day: int) -> float:
    """On how many days the others were read since, half of them at least."""
    later = days[days[_READ] & (days[_DAY] > day)]
    return float(np.median(later.groupby(_UNIT)[_DAY].nunique().reindex(others, fill_value=0)))


def _longest_pause(days: pd.DataFrame, unit: str) -> int:
    """Most days from one record of a position to its next."""
    own = np.unique(days.loc[days[_UNIT] == unit, _DAY])
    return int(np.diff(own).max()) if len(own) > 1 else 0


def _silence(line: Timeline, row: int, unit: str, set_id: str, last: int, until: int) -> Problem:
    position = int(line.event_position(pd.Index([row]))[0])
    found = f"nothing after {_day(last)}, while two thirds of the others have records up to {_day(until)} or later"
    fix = (
        f"Add the readings and shifts that are missing. If the truck left the trial, add the removal of {set_id} with its day and the "
        "reason trial_end; until then the set counts as on, and next season's order plans for the truck."
    )
    return line.events.problem("position-silent", position, found=found, fix=fix, key=unit)


def _day(number: int) -> str:
    return f"{dt.date(1970, 1, 1) + dt.timedelta(days=number):%Y-%m-%d}"


def _named(ids: Iterable[str]) -> str:
    """The first few sets, and how many more there are."""
    words = [str(item) for item in ids]
    rest = len(words) - NAMED
    return listed([*words[:NAMED], counted(rest, "more set")] if rest > 0 else words)
