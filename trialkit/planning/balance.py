"""Whether chance treated the edge types alike.

Answers: do the plows of the edge types differ in width, kind, block or expected miles, and by how much?
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit import columns as c

COVARIATES = (c.MILES_MID_MI, c.PLOW_WIDTH_FT, c.PLOW_TYPE, c.BLOCK)
COVARIATE_WORDS = {
    c.MILES_MID_MI: "expected miles",
    c.PLOW_WIDTH_FT: "plow width",
    c.PLOW_TYPE: "plow type",
    c.BLOCK: "block",
}
UNITS = {c.MILES_MID_MI: "mi", c.PLOW_WIDTH_FT: "ft"}
BALANCE_COLUMNS = [
    c.PLOW_POSITION, c.COVARIATE, c.LEVEL, c.EDGE_TYPE, c.ESTIMATE, c.UNIT, c.N_UNITS, c.STD_DIFFERENCE,
]  # fmt: skip


def covariate_balance(
    assigned: pd.DataFrame, edge_types: Sequence[str], expected_miles: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Mean or share of what is known of the plows, by edge type.

    Use it to see what chance left uneven. Not to test: the draw was random, so a difference is chance by construction.

    Parameters
    ----------
    assigned : DataFrame
        One row per plow: truck_id, plow_position, edge_type; block, plow_width_ft [ft], plow_type where known.
    edge_types : sequence of str
        The edge types, the reference first.
    expected_miles : DataFrame, optional
        Columns truck_id, plow_position and miles_mid_mi [mi].

    Returns
    -------
    DataFrame
        One row per plow position, covariate, level and edge type: `plow_position`, `covariate`, `level` (empty for a
        number), `edge_type`, `estimate` (mean, or share in percent), `unit`, `n_units` (plows of which it is known) and
        `std_difference` from the reference.

    Notes
    -----
    ``(mean - mean of the reference) / SD over all plows of the position``; for a share p over all of them the SD is
    ``sqrt(p (1 - p))``. 0 where nothing differs. It is usual to look twice from 0.25 on (common practice, no source), but
    with a few trucks a value of 1 is nothing out of the way.
    """
    plows = assigned
    if expected_miles is not None and c.MILES_MID_MI in expected_miles.columns:
        keys = [c.TRUCK_ID, c.PLOW_POSITION]
        miles = expected_miles[[*keys, c.MILES_MID_MI]].astype(dict.fromkeys(keys, object))
        plows = plows.drop(columns=c.MILES_MID_MI, errors="ignore").merge(miles, on=keys, how="left")
    rows = []
    for place, here in plows.groupby(c.PLOW_POSITION, sort=True):
        for covariate in COVARIATES:
            if covariate not in here or here[covariate].isna().all():
                continue
            for level, values, unit in _numbers(here, covariate):
                rows += [
                    {
                        c.PLOW_POSITION: place,
                        c.COVARIATE: COVARIATE_WORDS[covariate],
                        c.LEVEL: level,
                        c.UNIT: unit,
                        **row,
                    }
                    for row in _by_type(values, here[c.EDGE_TYPE], edge_types)
                ]
    return pd.DataFrame(rows, columns=BALANCE_COLUMNS)


def _numbers(plows: pd.DataFrame, covariate: str) -> list[tuple[str, pd.Series, str]]:
    """The covariate as numbers: itself, or a share in percent for each of its words."""
    if covariate in UNITS:
        return [("", plows[covariate].astype(float), UNITS[covariate])]
    words = plows[covariate].astype(object)
    known = words.notna()
    return [
        (str(word), (words == word).astype(float).where(known) * 100, "%")
        for word in sorted(words[known].unique(), key=str)
    ]


def _by_type(values: pd.Series, kinds: pd.Series, edge_types: Sequence[str]) -> list[dict[str, object]]:
    spread = float(np.nanstd(values.to_numpy()))
    base = float(values[kinds == edge_types[0]].mean())
    rows: list[dict[str, object]] = []
    for kind in edge_types:
        mine = values[kinds == kind].dropna()
        gap = float(mine.mean()) - base if len(mine) else math.nan
        standardized = gap / spread if spread > 0 else 0.0 * gap
        rows.append(
            {
                c.EDGE_TYPE: kind,
                c.ESTIMATE: float(mine.mean()) if len(mine) else math.nan,
                c.N_UNITS: len(mine),
                c.STD_DIFFERENCE: standardized,
            }
        )
    return rows
