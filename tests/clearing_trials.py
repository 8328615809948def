"""Made-up seasons of shifts whose truth is known: storms, trucks, and what an edge type saves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from trialkit import columns as c

STEEL, RUBBER, CARBIDE = "plain_steel", "rubber_carbide", "carbide_insert"
LANE_MILES = 40.0


class Draw(NamedTuple):
    """Numbers of storm, truck and edge type of every shift, and the logarithm of its rate."""

    storm: np.ndarray
    truck: np.ndarray
    kind: np.ndarray
    rate: np.ndarray


def draw(
    rng: np.random.Generator,
    trucks: Sequence[Sequence[int]],
    *,
    n_storms: int = 15,
    change: Sequence[float] = (0.0, 0.0),
    storm_sd: float = 0.4,
    truck_sd: float | Sequence[float] = 0.1,
    carry_sd: float = 0.0,
    error_sd: float = 0.12,
    missing: float | Sequence[float] = 0.0,
    crews: int = 1,
    visit_sd: float = 0.0,
) -> Draw:
    """One season.

    Parameters
    ----------
    trucks : sequence
        For each truck the edge types that it carries, one after the other, in equal shares of the storms.
    change : sequence of float
        True change of each edge type, in logarithms.
    truck_sd, carry_sd, visit_sd, error_sd : float
        Spread of trucks (by edge type, if it differs), of trucks with an edge type, of trucks in a storm, and of shifts.
    missing : float or sequence
        Share of storms that a truck stays away from; a sequence is dealt out to the trucks in turn.
    crews : int
        Shifts of a truck in a storm.
    """
    n = len(trucks)
    truck, storm = np.divmod(np.arange(n * n_storms), n_storms)
    carried = np.array([len(kinds) for kinds in trucks])
    turn = storm * carried[truck] // n_storms
    table = np.array([np.resize(kinds, carried.max()) for kinds in trucks])
    kind = table[truck, turn]
    spread = np.broadcast_to(truck_sd, len(change))[table[:, 0]]
    rate = rng.normal(5.0, storm_sd, n_storms)[storm] + (spread * rng.normal(size=n))[truck]
    rate += rng.normal(0.0, carry_sd, (n, carried.max()))[truck, turn] + np.asarray(change)[kind]
    rate += rng.normal(0.0, visit_sd, len(rate))
    there = rng.random(len(rate)) >= np.resize(np.atleast_1d(missing), n)[truck]
    storm, truck, kind, rate = (np.repeat(part[there], crews) for part in (storm, truck, kind, rate))
    return Draw(storm, truck, kind, rate + rng.normal(0.0, error_sd, len(rate)))


def season(
    rng: np.random.Generator,
    trucks: Mapping[str, Sequence[str]],
    *,
    change: Mapping[str, float] | None = None,
    **options,
) -> pd.DataFrame:
    """The shifts of `draw` as a table: truck to its edge types, with pounds of salt over 40 lane-miles."""
    kinds = list(dict.fromkeys(kind for carried in trucks.values() for kind in carried))
    numbers = [[kinds.index(kind) for kind in carried] for carried in trucks.values()]
    drawn = draw(rng, numbers, change=[(change or {}).get(kind, 0.0) for kind in kinds], **options)
    return pd.DataFrame(
        {
            c.STORM_ID: [f"W-{storm:03d}" for storm in drawn.storm],
            c.TRUCK_ID: np.array(list(trucks), object)[drawn.truck],
            c.EDGE_TYPE: np.array(kinds, object)[drawn.kind],
            c.QUANTITY_LB: LANE_MILES * np.exp(drawn.rate),
            c.LANE_MILES_TREATED: LANE_MILES,
        }
    )


def separate(n_reference: int, n_other: int) -> dict[str, list[str]]:
    """Trucks with one edge type each."""
    return {f"S-{k}": [STEEL] for k in range(n_reference)} | {f"R-{k}": [RUBBER] for k in range(n_other)}


def rotated(n: int) -> dict[str, list[str]]:
    """Trucks that carry both edge types, half of them in the other order."""
    return {f"T-{k}": [STEEL, RUBBER] if k % 2 else [RUBBER, STEEL] for k in range(n)}
