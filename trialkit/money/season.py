"""The miles of a season, truck by truck.

Answers: how many blade-down miles will each truck plow in a light, a middling and a hard winter?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import counted, listed, position_name
from trialkit.table_parts import HARD, LIGHT, MIDDLING, WINTERS

PLAN_COLUMNS = [c.TRUCK_ID, c.PLOW_POSITION, *WINTERS.values()]


@dataclass(frozen=True, eq=False)
class SeasonMiles:
    """Planned miles of every truck position.

    Attributes
    ----------
    table : DataFrame
        truck_id, plow_position, miles_low_mi, miles_mid_mi, miles_high_mi [mi]; only positions whose miles are known.
    notes : tuple of str
        Positions without miles, and where the miles come from if not from a plan.
    """

    table: pd.DataFrame
    notes: tuple[str, ...] = ()

    @property
    def tells_winters_apart(self) -> bool:
        """Whether a light winter has other miles than a hard one; not so where one season stands in for all."""
        light, hard = self.table[WINTERS[LIGHT]], self.table[WINTERS[HARD]]
        return bool((light.astype(float) < hard.astype(float)).any())

    def at(self, plow_position: str) -> pd.DataFrame:
        """The rows of one plow position."""
        return self.table[self.table[c.PLOW_POSITION] == plow_position].reset_index(drop=True)

    def miles(self, plow_position: str, winter: str = MIDDLING) -> np.ndarray:
        """Miles of each truck at one plow position. [mi]"""
        return self.at(plow_position)[WINTERS[winter]].to_numpy(dtype=float)

    def scaled(self, factor: float) -> SeasonMiles:
        """The plan with every mile multiplied by a factor."""
        changed = {name: self.table[name] * factor for name in WINTERS.values()}
        return SeasonMiles(self.table.assign(**changed), self.notes)

    def winter(self, winter: str) -> SeasonMiles:
        """The plan in which the middling winter is that winter."""
        return SeasonMiles(self.table.assign(**{c.MILES_MID_MI: self.table[WINTERS[winter]]}), self.notes)


def season_miles(
    fleet_plan: pd.DataFrame | None,
    trucks: pd.DataFrame,
    *,
    driven: pd.DataFrame | None = None,
) -> SeasonMiles:
    """Planned miles of the truck positions, or the miles of this season where there is no plan.

    Parameters
    ----------
    fleet_plan : DataFrame or None
        Columns truck_id, plow_position, miles_low_mi, miles_mid_mi, miles_high_mi [mi].
    trucks : DataFrame
        Columns truck_id, plow_position: every position that needs an edge.
    driven : DataFrame, optional
        Columns truck_id, plow_position, miles_mi: this season's blade-down miles, used for all three winters if there is no plan
        at all; a position of which any miles are missing is not known.

    Returns
    -------
    SeasonMiles

    Raises
    ------
    UsageError
        If the miles of a position are negative, or fall from the light to the hard winter.
    """
    if fleet_plan is None or fleet_plan.empty:
        return _from_driven(driven, trucks)
    plan = (
        fleet_plan[PLAN_COLUMNS].astype({c.TRUCK_ID: object, c.PLOW_POSITION: object}).reset_index(drop=True)
    )
    values = plan[list(WINTERS.values())].to_numpy(dtype=float)
    names = _names(plan)
    wrong = [
        f"{name}: {low:g}, {mid:g} and {high:g}"
        for name, (low, mid, high) in zip(names, values, strict=True)
        if min(low, mid, high) < 0 or low > mid or mid > high
    ]
    if wrong:
        raise UsageError(
            f"The planned miles of {listed(wrong)} are not in order; they are 0 or more and rise from a light to a hard winter."
        )
    known = np.isfinite(values).all(axis=1)
    plan = plan[known].reset_index(drop=True)
    return SeasonMiles(plan, _left_out(plan, trucks, "No miles are planned for"))


def _left_out(plan: pd.DataFrame, trucks: pd.DataFrame, start: str) -> tuple[str, ...]:
    """What has to be said about the truck positions without miles."""
    keys = [c.TRUCK_ID, c.PLOW_POSITION]
    planned = set(plan[keys].itertuples(index=False, name=None))
    wanted = dict.fromkeys(trucks[keys].astype(object).itertuples(index=False, name=None))
    missing = [f"{truck} {place}" for truck, place in wanted if (truck, place) not in planned]
    if not missing:
        return ()
    return (
        f"{start} {counted(len(missing), 'truck position')} ({_some(missing)}); costs of a season and the order leave them out.",
    )


def _from_driven(driven: pd.DataFrame | None, trucks: pd.DataFrame) -> SeasonMiles:
    if driven is None or driven.empty:
        nothing = "No miles are planned for next season, so nothing is said about a season's cost or about what to order."
        return SeasonMiles(pd.DataFrame(columns=PLAN_COLUMNS), (nothing,))
    total = (
        driven.astype({c.TRUCK_ID: object, c.PLOW_POSITION: object})
        .groupby([c.TRUCK_ID, c.PLOW_POSITION], sort=False)[c.MILES_MI]
        .agg(lambda miles: miles.sum(skipna=False))
        .dropna()
        .reset_index()
    )
    plan = total.assign(**dict.fromkeys(WINTERS.values(), total[c.MILES_MI]))[PLAN_COLUMNS]
    said = (
        "No miles are planned for next season; this season's stand in for a light, a middling and a hard winter alike, so the "
        "difference between winters is not shown."
    )
    return SeasonMiles(plan, (said, *_left_out(plan, trucks, "The miles of this season are not known for")))


def busiest(plan: pd.DataFrame, share: float) -> pd.Series:
    """Which truck positions make up a share of the miles, the busiest first.

    Use it for the routes that are plowed most: a plan records no priority of routes, and the trucks with the most planned miles
    are those where a set is used up soonest and a dearer one earns the most in a season.

    Parameters
    ----------
    plan : DataFrame
        Rows of `SeasonMiles.table`.
    share : float
        Share of the middling winter's miles that they make up at least.

    Returns
    -------
    Series of bool
        In the order of `plan`.
    """
    if not 0 < share <= 1:
        raise UsageError(f"the share of the miles is {share:g}; it lies above 0 and at most 1")
    miles = plan[c.MILES_MID_MI].astype(float)
    order = miles.sort_values(ascending=False, kind="stable")
    before = order.cumsum() - order
    return (before < share * miles.sum() - 1e-9).reindex(plan.index) & (miles > 0)


def _names(plan: pd.DataFrame) -> list[str]:
    return [
        position_name(f"{truck} {place}")
        for truck, place in zip(plan[c.TRUCK_ID], plan[c.PLOW_POSITION], strict=True)
    ]


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return f"{listed([position_name(name) for name in names[:5]])}{more}"


def mean_miles(plan: pd.DataFrame) -> float:
    """Miles of one truck position in a middling winter, averaged over the plan. [mi]"""
    return float(plan[c.MILES_MID_MI].mean()) if len(plan) else math.nan
