"""Projected lives against the lives that sets really had.

Answers: did sets that wore out last as long as the wear rate of the other trucks had said?

Each set is set against the limits projected from the other trucks of its type, never from its own readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.edges.life import LifeProjection
from trialkit.edges.observed import CAUSE, WORN_OUT, ObservedLives
from trialkit.formatting import counted, level_percent
from trialkit.results import Summary
from trialkit.stats.inference import Sample, prediction_limits

AS_PROJECTED = "as projected"
SHORTER = "shorter"
LONGER = "longer"
NOT_YET = "cannot be told yet"

TABLE_COLUMNS = [
    c.SET_ID, c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.MILES_MI, CAUSE, c.PRED_LOW, c.PRED_HIGH, c.VERDICT,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class LifeCheck(Summary):
    """Each set's life against its projection.

    Attributes
    ----------
    table : DataFrame
        One row per set: `set_id`, `edge_type`, `plow_position`, `truck_id`, `miles_mi` (run so far), `cause`,
        `pred_low`, `pred_high` (from the other trucks; missing ends do not exist), `verdict` ("as projected", "shorter", "longer", "cannot be told yet").
    """

    def sentence(self) -> str:
        """How many sets lasted as projected."""
        told = self.table[self.table[c.VERDICT] != NOT_YET]
        if told.empty:
            return "No set has run long enough to tell whether the projected lives hold."
        right = int((told[c.VERDICT] == AS_PROJECTED).sum())
        shorter, longer = (int((told[c.VERDICT] == word).sum()) for word in (SHORTER, LONGER))
        return (
            f"Of {counted(len(told), 'set')} that can be judged, {right:,} lasted as long as projected from the other trucks, "
            f"{shorter:,} less and {longer:,} more."
        )


def check_projection(projection: LifeProjection, observed: ObservedLives) -> LifeCheck:
    """Set the life of each set against the limits projected from the other trucks.

    Use it to see whether straight-line wear up to the limit holds. A set that came off early on the judgement of the
    shop reads as "shorter" here: look at how much was left on it (`depth_left`).

    Parameters
    ----------
    projection : LifeProjection
        Of the same trial.
    observed : ObservedLives
        Of the same trial.

    Returns
    -------
    LifeCheck
        Only sets of types of which at least two other trucks have a wear rate.

    Notes
    -----
    Limits: t prediction from the other trucks, n - 2 degrees of freedom. A set that wore out is judged on both sides; one
    that is still on, broke or was lost only once it has run longer than the upper limit. Short lives are told first, so
    before a season's end "shorter" is over-represented among the sets that can be judged.
    """
    rows = []
    known: dict[tuple[str, str, str], tuple[float, float] | None] = {}
    for row in observed.lives.to_dict("records"):
        key = (row[c.PLOW_POSITION], row[c.EDGE_TYPE], row[c.TRUCK_ID])
        if key not in known:
            known[key] = _limits(projection, *key)
        limits = known[key]
        if limits is None:
            continue
        low, high = limits
        rows.append(
            {
                **{str(name): value for name, value in row.items()},
                c.PRED_LOW: low,
                c.PRED_HIGH: high,
                c.VERDICT: _verdict(row[c.MILES_MI], row[CAUSE], low, high),
            }
        )
    table = pd.DataFrame(rows, columns=TABLE_COLUMNS)
    if isinstance(observed.lives[c.EDGE_TYPE].dtype, pd.CategoricalDtype):  # it knows which type comes first
        table[c.EDGE_TYPE] = table[c.EDGE_TYPE].astype(observed.lives[c.EDGE_TYPE].dtype)
    notes = []
    for word, fewer in ((SHORTER, "less"), (LONGER, "more")):
        here = table[table[c.VERDICT] == word]
        if len(here) > 1 and here[c.TRUCK_ID].nunique() == 1:
            notes.append(
                f"All {len(here)} sets that lasted {fewer} than projected were on truck {here[c.TRUCK_ID].iloc[0]}."
            )
    return LifeCheck(
        table=table,
        method=(
            f"Lives against {level_percent(projection.confidence_level)} t prediction limits from the other trucks of the same type."
        ),
        notes=tuple(notes),
    )


def _limits(projection: LifeProjection, place: str, kind: str, truck: str) -> tuple[float, float] | None:
    """Limits of the life of a set on that truck, from the other trucks; None with fewer than two of them."""
    trucks = projection.trucks
    here = trucks[
        (trucks[c.PLOW_POSITION] == place) & (trucks[c.EDGE_TYPE] == kind) & (trucks[c.TRUCK_ID] != truck)
    ]
    if len(here) < 2:
        return None
    whole = projection.samples[place, kind]
    sample = Sample.of(here[c.USE_PER_1000_MI].to_numpy(), whole.variance_floor, whole.bound)
    low, high = prediction_limits(sample, projection.confidence_level)
    if not (math.isfinite(high) and high > 0):
        return None
    return _miles(high), _miles(low)


def _miles(use_per_1000_mi: Any) -> float:
    return 1000.0 / use_per_1000_mi if use_per_1000_mi > 0 else math.nan


def _verdict(miles: float, cause: str, low: float, high: float) -> str:
    if miles > high:
        return LONGER
    if cause != WORN_OUT:
        return NOT_YET
    return SHORTER if not miles >= low else AS_PROJECTED
