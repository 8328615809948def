"""How many hours a change of edges takes, in the shop and of the truck.

Answers: what work goes with each set that wears out, each section that is changed and each edge that breaks?

Hours are taken from the records of this trial's own changes. A change in the middle of the season is two records: the worn
set comes off and the next one goes on. The first mounting in the fall is no change, and its down time of zero is not averaged
in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.formatting import listed
from trialkit.table_parts import ENDS_LIFE

CHANGE, SECTION_CHANGE, BREAK = "change", "section_change", "break"
_ONCE = {
    CHANGE: "change of a whole set",
    SECTION_CHANGE: "change of a section",
    BREAK: "change after a break",
}
BROKEN_REASONS = ("broken", "curb_strike", "loose")
BROKEN_EVENTS = ("break", "lost")
YES = "yes"


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
        """Hours of two steps of one change; a step that was not recorded adds nothing."""
        if not math.isfinite(other.mean):
            return self
        if not math.isfinite(self.mean):
            return other
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
    """

    labour: Hours
    down: Hours
    storm_share: float
    basis: str = ""


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
    the hours spent on flips divided by the sets that were put on. Down time likewise. Where a type was never changed in the
    season its first mountings and its taking off in spring stand in for the labor, and the other types' changes for the down
    time. Where no section was changed, a section takes its share of a whole set's hours. A broken set takes its own hours
    where one broke, else those of a worn one.
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
            found[kind][SECTION_CHANGE] = own.section(change, sections_n[kind], pooled)
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
    for truck, place, event in zip(events[c.TRUCK_ID], events[c.PLOW_POSITION], events[c.EVENT], strict=True):
        replaces.append(bool(event == "install" and before.get((truck, place), False)))
        if event in ENDS_LIFE:
            before[truck, place] = event != "season_end"
    events[c.EDGE_TYPE] = events[c.SET_ID].map(types)
    events[_REPLACES] = replaces
    return events


class _Steps:
    """The steps of changes among some events: taking off, putting on, section changes, breaks, flips."""

    def __init__(self, events: pd.DataFrame) -> None:
        event, reason = events[c.EVENT], events[c.REASON]
        broken = event.isin(BROKEN_EVENTS) | ((event == "remove") & reason.isin(BROKEN_REASONS))
        self.off = events[(event == "remove") & ~broken]
        self.broke = events[broken]
        self.on = events[events[_REPLACES]]
        self.first = events[(event == "install") & ~events[_REPLACES]]
        self.spring = events[event == "season_end"]
        self.swaps = events[event == "section_swap"]
        self.flips = events[event == "flip"]
        self.n_put_on = int((event == "install").sum())

    def change(self, pooled: _Steps) -> Work:
        """A worn set off and the next one on."""
        off, on, basis = self.off, self.on, ""
        labour = Hours.of(off[c.LABOUR_H]).plus(Hours.of(on[c.LABOUR_H]))
        down = Hours.of(off[c.TRUCK_DOWN_H]).plus(Hours.of(on[c.TRUCK_DOWN_H]))
        storm = storm_share([off, on])
        if on.empty:
            labour = Hours.of(self.spring[c.LABOUR_H]).plus(Hours.of(self.first[c.LABOUR_H]))
            basis = "no whole set was changed in the season; mounting in fall and taking off in spring stand in for the labor"
            down = Hours.of(pooled.off[c.TRUCK_DOWN_H]).plus(Hours.of(pooled.on[c.TRUCK_DOWN_H]))
            storm = storm_share([pooled.off, pooled.on])
            if math.isfinite(down.mean):
                basis += ", changes of the other types for the down time"
        flips = self.flips[c.LABOUR_H].sum(min_count=1)
        if self.n_put_on and flips > 0:
            labour = replace(labour, mean=labour.mean + float(flips) / self.n_put_on)
        return Work(labour, down, storm, basis)

    def section(self, change: Work, sections_n: float, pooled: _Steps) -> Work:
        """One section changed."""
        labour, down = Hours.of(self.swaps[c.LABOUR_H]), Hours.of(self.swaps[c.TRUCK_DOWN_H])
        share = storm_share([self.swaps])
        basis = []
        if not math.isfinite(labour.mean):
            labour = change.labour.times(1.0 / sections_n)
            basis.append(
                "no hours of a section change are recorded; a section's share of a whole set's stands in"
            )
        if not math.isfinite(down.mean):
            down = change.down.times(1.0 / sections_n)
        worn = self.swaps[~self.swaps[c.REASON].isin(BROKEN_REASONS)]
        if worn.empty:
            share = change.storm_share
        return Work(labour, down, storm_share([worn]) if len(worn) else share, "; ".join(basis))

    def broken(self, change: Work, pooled: _Steps) -> Work:
        """A broken set off and the next one on."""
        known = storm_share([self.broke])
        share = known if math.isfinite(known) else storm_share([pooled.broke])
        share = share if math.isfinite(share) else change.storm_share
        if self.broke.empty:
            return replace(
                change, storm_share=share, basis=change.basis or "no set broke; a worn one stands in"
            )
        on = self.on if len(self.on) else self.first
        labour = Hours.of(self.broke[c.LABOUR_H]).plus(Hours.of(on[c.LABOUR_H]))
        down = Hours.of(self.broke[c.TRUCK_DOWN_H]).plus(Hours.of(self.on[c.TRUCK_DOWN_H]))
        return Work(
            labour if math.isfinite(labour.mean) else change.labour,
            down if math.isfinite(down.mean) else change.down,
            share,
        )


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
        if of_type and not math.isfinite(of_type[CHANGE].labour.mean):
            notes.append(f"Hours of {who}: no labor hours are recorded, so its labor lines are unknown.")
        if of_type and not math.isfinite(of_type[CHANGE].storm_share):
            notes.append(
                f"Whether {who} was changed during a storm is not recorded; its labor is put at the regular rate."
            )
    return notes
