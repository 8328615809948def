"""Made-up seasons of shifts whose truth is known: storms, trucks, and what an edge type saves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit import columns as c

STEEL, RUBBER, CARBIDE = "plain_steel", "rubber_carbide", "carbide_insert"
LANE_MILES = 40.0


def season(
    rng: np.random.Generator,
    trucks: Mapping[str, Sequence[str]],
    *,
    n_storms: int = 15,
    change: Mapping[str, float] | None = None,
    storm_sd: float = 0.4,
    truck_sd: float = 0.1,
    carry_sd: float = 0.0,
    error_sd: float = 0.12,
    missing: float | Sequence[float] = 0.0,
) -> pd.DataFrame:
    """One row per truck and storm, with pounds of salt over 40 lane-miles.

    Parameters
    ----------
    trucks : mapping
        Truck to the edge types that it carries, one after the other, in equal shares of the storms.
    change : mapping
        Edge type to its true change, in logarithms.
    missing : float or sequence
        Share of storms that a truck stays away from; a sequence is dealt out to the trucks in turn.
    """
    shares = np.resize(np.atleast_1d(missing), len(trucks))
    storms = rng.normal(5.0, storm_sd, n_storms)
    rows = []
    for (truck, kinds), share in zip(trucks.items(), shares, strict=True):
        own = rng.normal(0.0, truck_sd)
        carried = {kind: rng.normal(0.0, carry_sd) for kind in kinds}
        for storm in range(n_storms):
            kind = kinds[storm * len(kinds) // n_storms]
            if rng.random() < share:
                continue
            rate = (
                storms[storm]
                + own
                + carried[kind]
                + (change or {}).get(kind, 0.0)
                + rng.normal(0.0, error_sd)
            )
            rows.append((f"W-{storm:03d}", truck, kind, LANE_MILES * np.exp(rate)))
    frame = pd.DataFrame(rows, columns=[c.STORM_ID, c.TRUCK_ID, c.EDGE_TYPE, c.QUANTITY_LB])
    return frame.assign(**{c.LANE_MILES_TREATED: LANE_MILES})


def separate(n_reference: int, n_other: int) -> dict[str, list[str]]:
    """Trucks with one edge type each."""
    return {f"S-{k}": [STEEL] for k in range(n_reference)} | {f"R-{k}": [RUBBER] for k in range(n_other)}


def rotated(n: int) -> dict[str, list[str]]:
    """Trucks that carry both edge types, half of them in the other order."""
    return {f"T-{k}": [STEEL, RUBBER] if k % 2 else [RUBBER, STEEL] for k in range(n)}
