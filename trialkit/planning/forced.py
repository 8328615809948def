"""Assignments that are not left to chance: read, checked and looked up.

Answers: which plows must carry which edge type, and can that be done?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError, near_match
from trialkit.formatting import listed

FORCED = "forced"
TOO_FEW = "Too few plows on this position to compare edge types"
"""Reason of a plow that stays on the reference although nobody forced it to."""
NEEDED = [c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE]


@dataclass(frozen=True, eq=False)
class Forced:
    """What is fixed beforehand.

    Attributes
    ----------
    rows : dict
        Truck, plow position and period to edge type, how it came about, and the reason.
    """

    rows: dict[tuple[str, str, int], tuple[str, str, str]]

    def types_of(self, truck: str, place: str) -> dict[int, str]:
        """Period to edge type of one plow."""
        return {key[2]: found[0] for key, found in self.rows.items() if key[:2] == (truck, place)}

    def why(self, truck: str, place: str, period: int) -> tuple[str, str] | None:
        """How and why a plow carries its type in a period; None if that was left to chance."""
        found = self.rows.get((truck, place, period))
        return found[1:] if found else None


def read_forced(
    forced: pd.DataFrame | None, units: pd.DataFrame, edge_types: Sequence[str], periods: int
) -> Forced:
    """Check the forced assignments and spread those without a period over all of them.

    Parameters
    ----------
    forced : DataFrame or None
        As for `assignment.assign_edge_types`.
    units : DataFrame
        Columns truck_id and plow_position: the plows of the trial.
    edge_types : sequence of str
        The edge types of the trial.
    periods : int
        Number of periods.

    Raises
    ------
    UsageError
        Everything that is wrong, at once: a plow or type that the trial does not have, no reason, two types for one plow
        in one period, a period that does not exist.
    """
    if forced is None or forced.empty:
        return Forced({})
    missing = [name for name in NEEDED if name not in forced.columns]
    if missing:
        raise UsageError(f"The forced assignments lack the columns {listed(missing)}.")
    plows = {(str(t), str(p)) for t, p in zip(units[c.TRUCK_ID], units[c.PLOW_POSITION], strict=True)}
    wrong: list[str] = []
    rows: dict[tuple[str, str, int], tuple[str, str, str]] = {}
    for record in forced.to_dict("records"):
        truck, place, kind = (_text(record[name]) for name in NEEDED)
        who = f"{truck} {place}".strip() or "a row without a truck"
        reason, how = _text(record.get(c.REASON)), _text(record.get(c.HOW)) or FORCED
        found = [
            *_unknown_plow(truck, place, plows),
            *_unknown_type(who, kind, edge_types),
            *([] if reason else [f"{who}: no reason is given why it carries {kind or 'its type'}."]),
        ]
        period = _period(record.get(c.PERIOD))
        if period is not None and not (period == int(period) and 1 <= period <= periods):
            found.append(f"{who}: the period is {period:g}; allowed: 1 to {periods}.")
        wrong += found
        if found:
            continue
        for number in range(1, periods + 1) if period is None else [int(period)]:
            before = rows.get((truck, place, number))
            if before and before[0] != kind:
                wrong.append(
                    f"{who}: forced to {before[0]} and to {kind} in period {number}; keep one of them."
                )
            rows[truck, place, number] = (kind, how, reason)
    if wrong:
        lines = "\n".join(f"  {line}" for line in dict.fromkeys(wrong))
        raise UsageError(f"The forced assignments cannot be carried out; nothing was drawn.\n{lines}")
    return Forced(rows)


def with_too_few(fixed: Forced, units: pd.DataFrame, edge_types: Sequence[str], periods: int) -> Forced:
    """The same, with every plow on the reference of which there are too few on its position for a comparison.

    Parameters
    ----------
    fixed : Forced
        What is fixed beforehand; it stays.
    units : DataFrame
        Columns truck_id and plow_position: the plows of the trial.
    edge_types : sequence of str
        The edge types, the reference first.
    periods : int
        Number of periods; where types rotate two plows are enough, since each carries every type.
    """
    rows = dict(fixed.rows)
    for place, here in units.groupby(c.PLOW_POSITION):
        if len(here) >= (len(edge_types) if periods == 1 else 2):
            continue
        for truck in here[c.TRUCK_ID]:
            for period in range(1, periods + 1):
                rows.setdefault((str(truck), str(place), period), (edge_types[0], FORCED, TOO_FEW))
    return Forced(rows)


def _unknown_plow(truck: str, place: str, plows: set[tuple[str, str]]) -> list[str]:
    if (truck, place) in plows:
        return []
    places = sorted(p for t, p in plows if t == truck)
    if places:
        return [f"{truck} has no plow position {place or '(blank)'}; it has: {listed(places)}."]
    hint = near_match(truck, sorted({t for t, _ in plows}))
    return [f"{truck or '(blank)'} is not among the trucks. {hint}".rstrip()]


def _unknown_type(who: str, kind: str, edge_types: Sequence[str]) -> list[str]:
    if kind in edge_types:
        return []
    hint = near_match(kind, edge_types) or f"The edge types are: {listed(list(edge_types))}."
    return [f"{who}: {kind or '(blank)'} is not an edge type of the trial. {hint}"]


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value).strip()


def _period(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)
