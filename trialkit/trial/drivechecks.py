"""Rules for shifts and odometers.

Answers: does a shift end after it starts, does the odometer run forwards, and are there no more miles plowed than driven?
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.trial import lineage
from trialkit.trial.backwards import check_forwards, points_of, rounding_slack
from trialkit.trial.findings import Source, day_text
from trialkit.trial.moments import Moments, moments_of
from trialkit.trial.timeline import EVENTS, SHIFTS

BACKWARDS_FIX = "Correct the odometer or the date of one of the two rows."


def check_spans(source: Source) -> list[Problem]:
    """Shifts or storms that end before they start.

    Parameters
    ----------
    source : Source
        A table with `start` and `end`.
    """
    if not source.has(c.START, c.END):
        return []
    wrong = ~_in_order(source)
    fix = f"Correct {source.header(c.START)} or {source.header(c.END)}; work past midnight ends on the next day."

    def say(row: int) -> Problem:
        start, end = (day_text(source.frame[name].iloc[row]) for name in (c.START, c.END))
        return source.problem("shift-times", row, c.END, end, f"{start}, the start, or later", fix)

    return source.listed("shift-times", c.END, np.flatnonzero(wrong), say)


def check_odometers(
    sources: Mapping[str, Source], in_doubt: frozenset[str] = frozenset()
) -> tuple[list[Problem], frozenset[str], frozenset[int]]:
    """Odometers that run backwards, and blade-down miles of a shift above the miles driven.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name; events and shifts are looked at.
    in_doubt : frozenset of str
        Sets whose events are left alone.

    Returns
    -------
    problems : list of Problem
        In no particular order.
    bad_trucks : frozenset of str
        Trucks of which an odometer is wrong.
    bad_shifts : frozenset of int
        Rows of shifts of which an odometer or the miles are wrong.
    """
    within = _within_shifts(sources[SHIFTS]) if SHIFTS in sources else []
    between, bad_trucks = _between_rows(sources, in_doubt)
    shifts_file = sources[SHIFTS].file if SHIFTS in sources else ""
    bad_shifts = {p.row for p in (*within, *between) if p.file == shifts_file and p.row is not None}
    return within + between, frozenset(bad_trucks), frozenset(bad_shifts)


def _in_order(source: Source) -> np.ndarray:
    """Whether each row ends no sooner than it starts; rows without an end do."""
    start, end = moments_of(source.frame[c.START]), moments_of(source.frame[c.END])
    last = np.where(end.timed | start.timed & (end.day > start.day), end.first, end.last)
    return ~(start.known & end.known) | (last >= start.first)


# ---------------------------------------------------------------- one shift
def _within_shifts(source: Source) -> list[Problem]:
    if not source.has(c.ODOMETER_START_MI, c.ODOMETER_END_MI):
        return []
    start, end = source.possible(c.ODOMETER_START_MI), source.possible(c.ODOMETER_END_MI)
    slack = np.maximum(
        rounding_slack(source, c.ODOMETER_START_MI, start), rounding_slack(source, c.ODOMETER_END_MI, end)
    )
    back = np.flatnonzero(end < start)

    def say_back(row: int) -> Problem:
        found = source.written(c.ODOMETER_END_MI, row)
        allowed = f"{source.span(c.ODOMETER_END_MI, start[row], None)}, {source.header(c.ODOMETER_START_MI)} of this shift"
        fix = "Correct the odometer at the start or at the end of the shift."
        return source.problem("odometer-backwards", row, c.ODOMETER_END_MI, found, allowed, fix)

    problems = source.listed("odometer-backwards", c.ODOMETER_END_MI, back, say_back)
    if not source.has(c.BLADE_DOWN_MI):
        return problems
    plowed = source.possible(c.BLADE_DOWN_MI)
    over = np.flatnonzero((end >= start) & (plowed > end - start + slack + 1e-6))

    def say_over(row: int) -> Problem:
        found = source.written(c.BLADE_DOWN_MI, row)
        driven = source.span(c.BLADE_DOWN_MI, None, end[row] - start[row])
        ends = " to ".join(source.written(name, row) for name in (c.ODOMETER_START_MI, c.ODOMETER_END_MI))
        fix = "Correct the blade-down miles or the odometer of the shift."
        return source.problem(
            "blade-down-exceeds-odometer",
            row,
            c.BLADE_DOWN_MI,
            found,
            f"{driven}, the miles driven (odometer {ends})",
            fix,
        )

    return problems + source.listed("blade-down-exceeds-odometer", c.BLADE_DOWN_MI, over, say_over)


# ---------------------------------------------------------------- one truck
def _between_rows(sources: Mapping[str, Source], in_doubt: frozenset[str]) -> tuple[list[Problem], set[str]]:
    """Odometers of a truck that fall from one event or shift to the next, and the trucks that have them."""
    parts, trucks = [], pd.Index([])
    for name in (EVENTS, SHIFTS):
        if name in sources and sources[name].has(c.TRUCK_ID):
            trucks = trucks.union(
                pd.Index(sources[name].frame[c.TRUCK_ID].dropna().astype(object).unique()), sort=False
            )
    if EVENTS in sources and sources[EVENTS].has(c.TRUCK_ID, c.DATE, c.ODOMETER_MI):
        source = sources[EVENTS]
        group = lineage.codes_of(source.frame[c.TRUCK_ID], trucks)
        sound = ~source.frame[c.SET_ID].isin(list(in_doubt)).to_numpy()
        parts.append((source, c.ODOMETER_MI, group, moments_of(source.frame[c.DATE]), sound))
    if SHIFTS in sources and sources[SHIFTS].has(c.TRUCK_ID, c.START):
        source = sources[SHIFTS]
        group = lineage.codes_of(source.frame[c.TRUCK_ID], trucks)
        start, end = moments_of(source.frame[c.START]), moments_of(source.frame[c.END])
        sound = _in_order(source)
        if source.has(c.ODOMETER_START_MI, c.ODOMETER_END_MI):
            sound &= ~(source.possible(c.ODOMETER_END_MI) < source.possible(c.ODOMETER_START_MI))
        clock_end = Moments(
            end.day, np.where(end.known & ~end.timed & start.timed & (end.day > start.day), 1, end.second)
        )
        if source.has(c.ODOMETER_START_MI):
            parts.append((source, c.ODOMETER_START_MI, group, start, sound))
        if source.has(c.ODOMETER_END_MI):
            parts.append((source, c.ODOMETER_END_MI, group, clock_end, sound))
    if not parts:
        return [], set()
    names = dict(enumerate(trucks.astype(str)))
    problems, groups = check_forwards(points_of(parts), "odometer-backwards", names, BACKWARDS_FIX)
    return problems, {names[group] for group in groups}
