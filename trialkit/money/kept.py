"""Truck positions that keep their edge type, whatever is decided for the others.

Answers: which plows were given their edge type for a reason of their own, and what will each carry next season?

A plow on which the shop allows one edge type only is no place for another, however cheap its mile is. The reason stands in the
assignments of the trial; whether it still holds is for the shop to say.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import NamedTuple

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import listed, position_name

FORCED = "forced"


class Kept(NamedTuple):
    """A truck position that keeps its edge type, and the reason on record."""

    truck_id: str
    plow_position: str
    edge_type: str
    reason: str


def kept_positions(assignments: pd.DataFrame | None) -> tuple[Kept, ...]:
    """The positions that were given their edge type for a reason and not by lot.

    Use it for what is bought next. Not for what the trial compares: there a forced position counts like any other.

    Parameters
    ----------
    assignments : DataFrame or None
        Columns truck_id, plow_position, edge_type, how; period and reason if there are any. Where a position has several periods,
        the last one counts.

    Returns
    -------
    tuple of Kept
        Of the rows whose `how` is "forced", in the order of the table.
    """
    if assignments is None or assignments.empty:
        return ()
    rows = assignments.sort_values(c.PERIOD, kind="stable") if c.PERIOD in assignments else assignments
    last: dict[tuple[str, str], dict[Hashable, object]] = {}
    for row in rows.to_dict("records"):
        last[str(row[c.TRUCK_ID]), str(row[c.PLOW_POSITION])] = row
    return tuple(
        Kept(*place, str(row[c.EDGE_TYPE]), _text(row.get(c.REASON)))
        for place, row in last.items()
        if str(row[c.HOW]) == FORCED
    )


def next_types(positions: pd.DataFrame, chosen: Mapping[str, str], kept: Iterable[Kept]) -> pd.DataFrame:
    """What each truck position carries next season.

    Parameters
    ----------
    positions : DataFrame
        Columns truck_id, plow_position; positions at a place without a chosen type are left out.
    chosen : mapping
        Plow position to the edge type that is wanted there.
    kept : iterable of Kept
        Positions that keep their own type.

    Returns
    -------
    DataFrame
        truck_id, plow_position, edge_type.
    """
    wanted = positions[[c.TRUCK_ID, c.PLOW_POSITION]].astype(object)
    wanted = wanted[wanted[c.PLOW_POSITION].isin(list(chosen))].reset_index(drop=True)
    own = {(one.truck_id, one.plow_position): one.edge_type for one in kept}
    pairs = zip(wanted[c.TRUCK_ID], wanted[c.PLOW_POSITION], strict=True)
    kinds = [own.get((str(truck), str(place)), chosen[place]) for truck, place in pairs]
    return wanted.assign(**{c.EDGE_TYPE: pd.Series(kinds, index=wanted.index, dtype=object)})


def kept_in_brief(kept: Iterable[Kept], labels: Mapping[str, str]) -> list[str]:
    """One short sentence for each edge type that stays on: ``"T-11 keeps plain steel."``."""
    by_type: dict[str, list[str]] = {}
    for one in kept:
        by_type.setdefault(one.edge_type, []).append(one.truck_id)
    return [
        f"{listed(list(dict.fromkeys(names)))} {'keeps' if len(set(names)) == 1 else 'keep'} {labels.get(kind, kind.replace('_', ' '))}."
        for kind, names in by_type.items()
    ]


def kept_words(kept: Iterable[Kept], labels: Mapping[str, str], *, with_position: bool = False) -> list[str]:
    """One sentence for each reason: ``"T-11 stays with plain steel: fixed plow without trip springs."``."""
    groups: dict[tuple[str, str], list[str]] = {}
    for one in kept:
        name = f"{one.truck_id}, {position_name(one.plow_position)}," if with_position else one.truck_id
        groups.setdefault((one.edge_type, one.reason), []).append(name)
    said = []
    for (kind, reason), names in groups.items():
        stays = "stays" if len(names) == 1 else "stay"
        why = reason.rstrip(". ") or "it was given by choice, and no reason is recorded"
        said.append(f"{listed(names)} {stays} with {labels.get(kind, kind.replace('_', ' '))}: {why}.")
    return said


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value).strip()  # type: ignore[call-overload]
