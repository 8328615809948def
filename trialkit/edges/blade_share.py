"""Odometer miles against miles with the blade down.

Answers: what share of its driving does each truck do with the blade down, and would odometer miles give another answer?

An edge wears only with the blade down. A trial that had nothing but odometers would set the wear of trucks that drive far
between their routes too low, and if these carry one edge type more than another the comparison would be wrong.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import counted, listed, percent, position_name
from trialkit.results import Summary
from trialkit.trial.lineage import shift_units
from trialkit.trial.stays import numbers_of, truck_unit

SEASON = "all driving, from the first to the last event that noted both"
PLOWING = "plowing shifts"
TABLE_COLUMNS = [
    c.TRUCK_ID, c.PLOW_POSITION, c.TRUCK_UNIT, c.BASIS, c.BLADE_DOWN_MI, c.DRIVEN_MI, c.SHARE_FRAC, c.N_RECORDS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class BladeShares(Summary):
    """Share of the odometer miles of each truck position that it drove with the blade down.

    Attributes
    ----------
    table : DataFrame
        One row per truck position and basis: `truck_id`, `plow_position`, `truck_unit`, `basis` (all driving, from the
        odometers of set events; or plowing shifts), `blade_down_mi`, `driven_mi` [mi], `share_frac` and `n_records` (the
        events or shifts it rests on).
    """

    def shares(self, basis: str) -> dict[str, float]:
        """Truck position to its share, on one basis."""
        rows = self.table[self.table[c.BASIS] == basis]
        return dict(zip(rows[c.TRUCK_UNIT].astype(str), rows[c.SHARE_FRAC].astype(float), strict=True))

    @property
    def bases(self) -> tuple[str, ...]:
        """The bases for which there are shares."""
        return tuple(basis for basis in (SEASON, PLOWING) if (self.table[c.BASIS] == basis).any())

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each basis."""
        return tuple(self._sentence(basis) for basis in self.bases)

    def sentence(self) -> str:
        """The shares in words."""
        return " ".join(self.sentences()) or (
            display.words(
                "What share of its odometer miles a truck drives with the blade down cannot be told: odometers were not noted."
            )
        )

    def _sentence(self, basis: str) -> str:
        rows = self.table[self.table[c.BASIS] == basis].to_dict("records")
        low, high = (choose(rows, key=lambda row: row[c.SHARE_FRAC]) for choose in (min, max))
        of = display.words(
            "all its odometer miles" if basis == SEASON else "the odometer miles of its plowing shifts"
        )
        if len(rows) == 1:
            return f"{_name(low)} drove {_percent(low)} of {of} with the blade down."
        return (
            f"A truck drove between {_percent(low)} ({_name(low)}) and {_percent(high)} ({_name(high)}) of {of} with the blade "
            f"down ({counted(len(rows), 'truck position')})."
        )


def blade_shares(set_events: pd.DataFrame, shifts: pd.DataFrame | None = None) -> BladeShares:
    """Share of the odometer miles of each truck position with the blade down.

    Use it to see what a trial without blade-down miles would have been worth. A share of one position of a truck is not
    that of another.

    Parameters
    ----------
    set_events : DataFrame
        Columns `truck_id`, `plow_position`, `counter_mi` [mi]; `odometer_mi` [mi] if there is one.
    shifts : DataFrame, optional
        Columns `truck_id`, `odometer_start_mi`, `odometer_end_mi`, `blade_down_mi` [mi]; `plow_position` if there is one.

    Returns
    -------
    BladeShares

    Notes
    -----
    From events: the counter from the least to the most, over the odometer from the least to the most, of the events of a
    truck position that noted both. From shifts: the sums over the shifts with all three figures. Shares above one, or
    without a mile, are left out and named in the notes.
    """
    parts, notes = [], []
    for found in (_from_events(set_events), _from_shifts(shifts, set_events)):
        good = found[c.SHARE_FRAC].between(0, 1 + 1e-9) & (found[c.SHARE_FRAC] > 0)
        if len(found) and not good.all():
            names = [_name(row) for row in found[~good].to_dict("records")]
            notes.append(
                f"{listed(names)}: no share of the odometer {display.word('miles')} from {found[c.BASIS].iloc[0]}, since "
                f"blade-down {display.word('miles')} and odometer do not go together."
            )
        parts.append(found[good])
    table = pd.concat(parts, ignore_index=True)[TABLE_COLUMNS]
    return BladeShares(table=table, method=display.words(_METHOD), notes=tuple(notes))


def _from_events(set_events: pd.DataFrame) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            c.TRUCK_ID: set_events[c.TRUCK_ID].astype(object).to_numpy(),
            c.PLOW_POSITION: set_events[c.PLOW_POSITION].astype(object).to_numpy(),
            c.TRUCK_UNIT: truck_unit(set_events).astype(object).to_numpy(),
            c.BLADE_DOWN_MI: numbers_of(set_events, c.COUNTER_MI),
            c.DRIVEN_MI: numbers_of(set_events, c.ODOMETER_MI),
        }
    ).dropna()
    groups = frame.groupby(c.TRUCK_UNIT, sort=False)
    miles = groups[[c.BLADE_DOWN_MI, c.DRIVEN_MI]].agg(np.ptp)
    return _with_share(groups[[c.TRUCK_ID, c.PLOW_POSITION]].first().join(miles), groups.size(), SEASON)


def _from_shifts(shifts: pd.DataFrame | None, set_events: pd.DataFrame) -> pd.DataFrame:
    names = [c.TRUCK_ID, c.PLOW_POSITION, c.TRUCK_UNIT, c.BLADE_DOWN_MI, c.DRIVEN_MI]
    if shifts is None or shifts.empty:
        frame = pd.DataFrame({name: pd.Series(dtype=object) for name in names})
    else:
        driven = numbers_of(shifts, c.ODOMETER_END_MI) - numbers_of(shifts, c.ODOMETER_START_MI)
        frame = pd.DataFrame(
            {
                c.TRUCK_ID: shifts[c.TRUCK_ID].astype(object).to_numpy(),
                c.TRUCK_UNIT: shift_units(shifts, set_events).astype(object).to_numpy(),
                c.BLADE_DOWN_MI: numbers_of(shifts, c.BLADE_DOWN_MI),
                c.DRIVEN_MI: driven,
            }
        ).dropna()
        frame[c.PLOW_POSITION] = frame[c.TRUCK_UNIT].str.rpartition(", ")[2]
    frame = frame.astype({c.BLADE_DOWN_MI: float, c.DRIVEN_MI: float})
    groups = frame.groupby(c.TRUCK_UNIT, sort=False)
    miles = groups[[c.BLADE_DOWN_MI, c.DRIVEN_MI]].sum()
    return _with_share(groups[[c.TRUCK_ID, c.PLOW_POSITION]].first().join(miles), groups.size(), PLOWING)


def _with_share(found: pd.DataFrame, records: pd.Series, basis: str) -> pd.DataFrame:
    found = found.assign(**{c.N_RECORDS: records})
    found = found[found[c.N_RECORDS] > 1] if basis == SEASON else found
    found[c.BASIS] = basis
    driven = found[c.DRIVEN_MI].to_numpy(dtype=float)
    share = np.divide(
        found[c.BLADE_DOWN_MI].to_numpy(dtype=float),
        driven,
        out=np.full(len(found), np.nan),
        where=driven > 0,
    )
    return found.assign(**{c.SHARE_FRAC: share}).reset_index()


def _name(row: Mapping[Hashable, Any]) -> str:
    return position_name(str(row[c.TRUCK_UNIT]))


def _percent(row: Mapping[Hashable, Any]) -> str:
    return percent(100 * row[c.SHARE_FRAC])


_METHOD = (
    "Blade-down miles over odometer miles of each truck position: from the counters and odometers of its set events, and "
    "from its plowing shifts."
)
