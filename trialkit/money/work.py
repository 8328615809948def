"""How many hours a change of edges takes, in the shop and of the truck.

Answers: what work goes with each set that wears out, each section that is changed and each edge that breaks?

Hours are taken from the records of this trial's own changes. A change in the middle of the season is two records: the worn
set comes off and the next one goes on. The first mounting in the fall is no change, and its down time of zero is not averaged
in; nor is taking a set off in spring.

A step whose hours are not recorded is *unknown*, never zero: half a change would make the type cheap whose records are missing.
Who writes the hours of a whole change into one record enters 0 in the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.formatting import listed
from trialkit.table_parts import BROKEN_EVENTS, BROKEN_REASONS, ENDS_LIFE, TRIAL_END, WORN_REASONS, YES

CHANGE, SECTION_CHANGE, BREAK = "change", "section_change", "break"
TAKING_OFF, PUTTING_ON = "taking a set off", "putting a set on"
_ONCE = {
    CHANGE: "change of a whole set",
    SECTION_CHANGE: "change of a section",
    BREAK: "change after a break",
}


@dataclass(frozen=True, slots=True)
class Hours:
    """A mean number of hours and its error.

    Attributes
    ----------
    mean, std_error, df : float
        NaN for `std_error` where fewer than two changes were recorded: its error is then not known.
    n : int
        Records behind it.
    """

    mean: float = math.nan
    std_error: float = math.nan
    df: float = math.nan
    n: int = 0

    @classmethod
    def of(cls, values: pd.Series) -> Hours:
        """Mean of the recorded values; a blank is left out, never zero."""
        known = values.dropna().to_numpy(dtype=float)
        n = len(known)
        if n < 2:
            return cls(float(known[0]) if n else math.nan, n=n)
        return cls(float(known.mean()), float(known.std(ddof=1)) / math.sqrt(n), n - 1.0, n)

    def plus(self, other: Hours) -> Hours:
        """Hours of two steps of one change; unknown where those of a step are."""
        if not (math.isfinite(self.mean) and math.isfinite(other.mean)):
            return Hours()
        parts = [one for one in (self, other) if math.isfinite(one.std_error)]
        variance = sum(one.std_error**2 for one in parts)
        if not parts or variance == 0:
            return Hours(self.mean + other.mean, 0.0 if parts else math.nan, 1.0, min(self.n, other.n))
        df = variance**2 / sum(one.std_error**4 / one.df for one in parts)
        return Hours(self.mean + other.mean, math.sqrt(variance), df, min(self.n, other.n))

    def times(self, factor: float) -> Hours:
        """The hours multiplied by a number."""
        return replace(self, mean=self.mean * factor, std_error=self.std_error * factor)


@dataclass(frozen=True, slots=True)
class Work:
    """The work of one change.

    Attributes
    ----------
    labour : Hours
        Shop hours. [h]
    down : Hours
        Hours in which the truck cannot plow. [h]
    storm_share : float
        Share of such changes made during a storm: their labor is overtime. NaN if it is not recorded.
    basis : str
        Where it comes from, if not from this type's own changes of this kind.
    no_labour, no_down : tuple of str
        Steps, in words, of which no hours are known.
    """

    labour: Hours
    down: Hours
    storm_share: float
    basis: str = ""
    no_labour: tuple[str, ...] = ()
    no_down: tuple[str, ...] = ()


def change_work(
    set_events: pd.DataFrame, edge_sets: pd.DataFrame, sections_n: Mapping[str, float]
) -> dict[str, dict[str, Work]]:
    """Work of each kind of change, for each edge type.

    Parameters
    ----------
    set_events : DataFrame
        Columns set_id, truck_id, plow_position, date, event, reason, during_storm, labour_h [h], truck_down_h [h].
    edge_sets : DataFrame
        Columns set_id, edge_type.
    sections_n : mapping
        Edge type to the sections of a set, for the types of which sections are replaced on their own.

    Returns
    -------
    dict
        Edge type to "change", "section_change" and "break", each a `Work`.

    Notes
    -----
    Labor of a change: mean of the recorded hours of taking a worn set off plus mean of those of putting the next one on, plus
    the hours spent on flips divided by the sets that were put on (a flip without recorded hours takes those of a change). Down
    time likewise, without flips. A set is taken off as worn where the reason says so; removals for another reason, or none, count
    only where a type has no other. A set put on after one that came off at the end of a season replaces none. Where the hours of
    a step are not recorded, the first mountings or the taking off in spring stand in for its labor, and the other types' changes
    for its down time; where there are none of these either, the hours of the change are unknown. Where no section was changed, a
    section takes its share of a whole set's hours. A broken set takes its own hours where one broke, else those of a worn one.
    """
    events = _events_with_type(set_events, edge_sets)
    kinds = list(dict.fromkeys(edge_sets[c.EDGE_TYPE].astype(object).dropna()))
    pooled = _Steps(events)
    found: dict[str, dict[str, Work]] = {}
    for kind in kinds:
        own = _Steps(events[events[c.EDGE_TYPE] == kind])
        change = own.change(pooled)
        found[kind] = {CHANGE: change, BREAK: own.broken(change, pooled)}
        if kind in sections_n:
            found[kind][SECTION_CHANGE] = own.section(change, sections_n[kind])
    return found


_REPLACES = "replaces"


def _events_with_type(set_events: pd.DataFrame, edge_sets: pd.DataFrame) -> pd.DataFrame:
    """Events in order with their edge type, and for installs whether they follow a set that came off in the season."""
    types = dict(zip(edge_sets[c.SET_ID].astype(object), edge_sets[c.EDGE_TYPE].astype(object), strict=True))
    names = (c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.EVENT, c.REASON, c.DURING_STORM)
    events = set_events.astype({name: object for name in names if name in set_events})
    for name in (c.REASON, c.DURING_STORM, c.LABOUR_H, c.TRUCK_DOWN_H):
        if name not in events:
            events[name] = np.nan
    events = events.sort_values(c.DATE, kind="stable")
    before: dict[tuple[object, object], bool] = {}
    replaces: list[bool] = []
    seasons_end = _ends_season(events)
    for truck, place, event, ends_season in zip(
        events[c.TRUCK_ID], events[c.PLOW_POSITION], events[c.EVENT], seasons_end, strict=True
    ):
        replaces.append(bool(event == "install" and before.get((truck, place), False)))
        if event in ENDS_LIFE:
            before[truck, place] = not ends_season
    events[c.EDGE_TYPE] = events[c.SET_ID].map(types)
    events[_REPLACES] = replaces
    return events


def _ends_season(events: pd.DataFrame) -> pd.Series:
    """Whether the set came off because the season was over."""
    return (events[c.EVENT] == "season_end") | (
        (events[c.EVENT] == "remove") & (events[c.REASON] == TRIAL_END)
    )


class _Steps:
    """The steps of changes among some events: taking off, putting on, section changes, breaks, flips."""

    def __init__(self, events: pd.DataFrame) -> None:
        event, reason = events[c.EVENT], events[c.REASON]
        broken = event.isin(BROKEN_EVENTS) | ((event == "remove") & reason.isin(BROKEN_REASONS))
        over = _ends_season(events)
        removed = (event == "remove") & ~broken & ~over
        self.any_worn = bool((removed & reason.isin(WORN_REASONS)).any())
        self.off = events[removed & reason.isin(WORN_REASONS)] if self.any_worn else events[removed]
        self.broke = events[broken]
        self.on = events[events[_REPLACES]]
        self.first = events[(event == "install") & ~events[_REPLACES]]
        self.spring = events[over]
        self.swaps = events[event == "section_swap"]
        self.flips = events[event == "flip"]
        self.n_put_on = int((event == "install").sum())

    def change(self, pooled: _Steps) -> Work:
        """A worn set off and the next one on."""
        off, from_spring = _recorded(c.LABOUR_H, self.off, self.spring)
        on, from_fall = _recorded(c.LABOUR_H, self.on, self.first)
        down_off, off_borrowed = _recorded(c.TRUCK_DOWN_H, self.off, pooled.off)
        down_on, on_borrowed = _recorded(c.TRUCK_DOWN_H, self.on, pooled.on)
        labour = off.plus(on)
        if self.n_put_on and len(self.flips):
            flip = Hours.of(self.flips[c.LABOUR_H]).mean
            each = flip if math.isfinite(flip) else labour.mean
            labour = replace(labour, mean=labour.mean + each * len(self.flips) / self.n_put_on)
        changed = [self.off, self.on] if len(self.on) else [pooled.off, pooled.on]
        return Work(
            labour,
            down_off.plus(down_on),
            storm_share(changed),
            self._basis(from_spring, from_fall, off_borrowed or on_borrowed),
            _unrecorded(off, on),
            _unrecorded(down_off, down_on),
        )

    def _basis(self, from_spring: bool, from_fall: bool, borrowed: bool) -> str:
        """What stands in for hours that were not recorded."""
        said = []
        if from_spring and from_fall:
            said.append("mounting in fall and taking off in spring stand in for the labor")
        elif from_spring:
            said.append("taking off in spring stands in for the labor of taking a worn set off")
        elif from_fall:
            said.append("mounting in fall stands in for the labor of putting the next one on")
        if borrowed:
            verb = "" if said else "stand in "
            said.append(f"changes of the other types {verb}for the down time")
        parts = [", ".join(said)] if said else []
        if self.off.empty and self.on.empty and said:
            parts.insert(0, "no whole set was changed in the season")
        if len(self.off) and not self.any_worn:
            parts.insert(0, "no removal for wear is recorded; those for another reason, or none, stand in")
        return "; ".join(parts)

    def section(self, change: Work, sections_n: float) -> Work:
        """One section changed."""
        labour, down = Hours.of(self.swaps[c.LABOUR_H]), Hours.of(self.swaps[c.TRUCK_DOWN_H])
        basis = ""
        if not math.isfinite(labour.mean):
            labour = change.labour.times(1.0 / sections_n)
            basis = "no hours of a section change are recorded; a section's share of a whole set's stands in"
        if not math.isfinite(down.mean):
            down = change.down.times(1.0 / sections_n)
        worn = self.swaps[~self.swaps[c.REASON].isin(BROKEN_REASONS)]
        return Work(labour, down, storm_share([worn]) if len(worn) else change.storm_share, basis)

    def broken(self, change: Work, pooled: _Steps) -> Work:
        """A broken set off and the next one on."""
        known = storm_share([self.broke])
        share = known if math.isfinite(known) else storm_share([pooled.broke])
        share = share if math.isfinite(share) else change.storm_share
        if self.broke.empty:
            return replace(
                change, storm_share=share, basis=change.basis or "no set broke; a worn one stands in"
            )
        on, _ = _recorded(c.LABOUR_H, self.on, self.first)
        labour = Hours.of(self.broke[c.LABOUR_H]).plus(on)
        down = Hours.of(self.broke[c.TRUCK_DOWN_H]).plus(Hours.of(self.on[c.TRUCK_DOWN_H]))
        return Work(
            labour if math.isfinite(labour.mean) else change.labour,
            down if math.isfinite(down.mean) else change.down,
            share,
        )


def _recorded(column: str, own: pd.DataFrame, other: pd.DataFrame) -> tuple[Hours, bool]:
    """Hours of a step, and whether other records stand in for its own."""
    found = Hours.of(own[column])
    if found.n:
        return found, False
    found = Hours.of(other[column])
    return found, found.n > 0


def _unrecorded(off: Hours, on: Hours) -> tuple[str, ...]:
    """The steps of a change of which no hours are known, in words."""
    return tuple(words for hours, words in ((off, TAKING_OFF), (on, PUTTING_ON)) if not hours.n)


def storm_share(parts: Sequence[pd.DataFrame]) -> float:
    """Share of the changes that were made during a storm, among those of which it is recorded."""
    said = pd.concat([part[c.DURING_STORM] for part in parts]).dropna()
    return float((said == YES).mean()) if len(said) else math.nan


def work_notes(
    work: Mapping[str, Mapping[str, Work]], labels: Mapping[str, str], edge_types: Sequence[str]
) -> list[str]:
    """What has to be said about the hours."""
    notes = []
    for kind in edge_types:
        who = labels.get(kind, kind.replace("_", " "))
        of_type = work.get(kind, {})
        bases = [one.basis for name, one in of_type.items() if one.basis and name != BREAK]
        if bases:
            notes.append(f"Hours of {who}: {'; '.join(dict.fromkeys(bases))}.")
        once = [
            words
            for name, words in _ONCE.items()
            if name in of_type and of_type[name].labour.n == 1 and not of_type[name].basis
        ]
        if once:
            notes.append(
                f"Hours of {who}: one {listed(once)} was recorded, so how much those hours vary is not in its interval."
            )
        if of_type:
            notes += _unknown_notes(who, of_type)
        if of_type and not math.isfinite(of_type[CHANGE].storm_share):
            notes.append(
                f"Whether {who} was changed during a storm is not recorded; its labor is put at the regular rate."
            )
    return notes


def _unknown_notes(who: str, of_type: Mapping[str, Work]) -> list[str]:
    """Which hours of a type are unknown, and for want of what."""
    change, main = of_type[CHANGE], of_type.get(SECTION_CHANGE, of_type[CHANGE])
    notes = []
    for missing, hours, what, unknown in (
        (change.no_labour, main.labour, "labor hours", "labor lines are"),
        (change.no_down, main.down, "down time", "truck down time is"),
    ):
        if math.isfinite(hours.mean):
            continue
        is_ = "are" if what.endswith("s") else "is"
        half = f" of {missing[0]}" if len(missing) == 1 else ""
        said = f"Hours of {who}: no {what}{half} {is_} recorded, so its {unknown} unknown."
        if half:
            said += " Where one record has the hours of the whole change, enter 0 in the other."
        notes.append(said)
    return notes
