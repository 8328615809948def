"""How the depth worn away runs across the blade as the miles add up.

Answers: what does an edge look like from the front after a quarter, a half and all of the miles that were read?

For looking at, not for inference: `unevenness` says how sure a tilt or a bow is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import slopes as sl
from trialkit.edges.wear import edge_type_order
from trialkit.formatting import counted, number, percent, position_words
from trialkit.results import Summary

SHARES = (0.25, 0.5, 0.75, 1.0)
"""Shares of the miles over which each set was read at which its profile is taken."""

WORN_IN = "worn_in"
USED_PCT = "used_pct"
FALL_IN = "fall_in"

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.SHARE_FRAC, c.MILES_MI, c.STATION, WORN_IN, USED_PCT, c.N_TRUCKS, c.N_SETS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Profiles(Summary):
    """Depth worn away at each station, at several shares of the miles that the sets were read over.

    Attributes
    ----------
    table : DataFrame
        One row per plow position, edge type, share and station: `edge_type`, `plow_position`, `share_frac`, `miles_mi`
        (mean miles of the sets at that share), `station`, `worn_in` (mean over the trucks), `used_pct` (in percent of the
        usable depth), `n_trucks`, `n_sets`.
    labels : dict
        Edge type to its printed name.
    """

    labels: Mapping[str, str]

    def sentence(self) -> str:
        """How much of the usable depth was gone at the thinnest and the thickest station."""
        said = []
        last = self.table[self.table[c.SHARE_FRAC] == SHARES[-1]]
        for (place, kind), group in last.groupby(sl.CELL, sort=False):
            name = self.labels.get(str(kind), str(kind).replace("_", " "))
            said.append(
                f"On {position_words(str(place))}, after {number(display.value(group[c.MILES_MI].iloc[0], 'mi'))} "
                f"{display.word('miles')} on average, between {percent(group[USED_PCT].min())} and {percent(group[USED_PCT].max())} of the usable depth of {name} was worn "
                f"away across the blade ({counted(int(group[c.N_TRUCKS].iloc[0]), 'truck')})."
            )
        return " ".join(said) or "No set was read twice, so there is no profile."


def profile_over_miles(
    readings: pd.DataFrame,
    usable_depth_in: Mapping[str, float],
    *,
    labels: Mapping[str, str] | None = None,
) -> Profiles:
    """Depth worn away by station at a quarter, a half, three quarters and all of each set's miles.

    Use it for the picture of an edge that wears. Each set counts over its own miles, so that sets that lasted longer do
    not bend the later profiles.

    Parameters
    ----------
    readings : DataFrame
        The frame of `lineage.wear_segments`.
    usable_depth_in : mapping
        Edge type to the depth that may wear off. [in]
    labels : mapping, optional
        Edge type to its printed name.

    Returns
    -------
    Profiles

    Notes
    -----
    Wear is added up at a place of the plow: across a flip or a changed section it goes on from where it was. Between
    readings it is interpolated in a straight line. A station that was not read at the first or the last miles of its set is
    taken as it was first or last read, which a note says. Sets count alike within a truck, trucks alike within a type.
    """
    falls = segment_falls(readings)
    order = edge_type_order(readings[c.EDGE_TYPE])
    heights = _worn(readings, falls)
    at_shares, cut_short = _at_shares(heights)
    keys = [*sl.UNIT_KEYS, c.SHARE_FRAC, c.STATION]
    trucks = at_shares.groupby(keys, observed=True, sort=False).agg(
        **{WORN_IN: (WORN_IN, "mean"), c.MILES_MI: (c.MILES_MI, "mean"), c.N_SETS: (c.SET_ID, "nunique")}
    )
    cells = [*sl.CELL, c.SHARE_FRAC, c.STATION]
    groups = trucks.reset_index().groupby(cells, observed=True, sort=False)
    table = groups.agg(
        **{
            WORN_IN: (WORN_IN, "mean"),
            c.MILES_MI: (c.MILES_MI, "mean"),
            c.N_TRUCKS: (c.TRUCK_UNIT, "nunique"),
            c.N_SETS: (c.N_SETS, "sum"),
        }
    ).reset_index()
    plain = table.astype(dict.fromkeys(sl.CELL, object))
    plain[USED_PCT] = 100 * plain[WORN_IN] / plain[c.EDGE_TYPE].map(usable_depth_in).astype(float)
    rank = {name: place for place, name in enumerate(order)}
    places = {name: place for place, name in enumerate(dict.fromkeys(plain[c.PLOW_POSITION]))}
    plain = plain.sort_values(
        [c.PLOW_POSITION, c.EDGE_TYPE, c.SHARE_FRAC, c.STATION],
        key=lambda values: (
            values.map(places)
            if values.name == c.PLOW_POSITION
            else values.map(rank)
            if values.name == c.EDGE_TYPE
            else values
        ),
        kind="stable",
    )
    return Profiles(
        table=plain[TABLE_COLUMNS].reset_index(drop=True),
        method=(
            "Depth worn away since the first reading, by station, at a quarter, a half, three quarters and all of the "
            f"{display.word('miles')} over which each set was read; mean of the sets of a truck, then of the trucks."
        ),
        notes=(_cut_short_note(cut_short),) if cut_short else (),
        labels=dict(labels or {}),
    )


def _cut_short_note(n: int) -> str:
    one = n == 1
    return (
        f"{counted(n, 'station')} of a set {'was' if one else 'were'} not read at the first or the last {display.word('miles')} at which "
        f"other stations of the set were; {'it is' if one else 'they are'} taken as first or last read, so that the edge looks less worn "
        "there than it was."
    )


def segment_falls(readings: pd.DataFrame) -> pd.DataFrame:
    """First and last height of each segment and the miles between them.

    Use it where the depth that is gone counts, rather than a rate. Repeated readings at the same miles are averaged.

    Parameters
    ----------
    readings : DataFrame
        The frame of `lineage.wear_segments`.

    Returns
    -------
    DataFrame
        One row per segment in the order of miles: set keys, `station`, `segment`, `first_mi`, `last_mi`,
        `first_height_in`, `last_height_in` and `fall_in`, the first height less the last. [mi, in]
    """
    known = readings.dropna(subset=[c.SEGMENT, c.EDGE_TYPE, c.TRUCK_UNIT, c.HEIGHT_IN, c.MILES_MI])
    code, heads = sl.grouped(known, [c.SEGMENT])
    miles, height = (known[name].to_numpy(dtype=float) for name in (c.MILES_MI, c.HEIGHT_IN))
    n = len(heads)
    first, last = np.full(n, np.inf), np.full(n, -np.inf)
    np.minimum.at(first, code, miles)
    np.maximum.at(last, code, miles)

    def mean_at(end: np.ndarray) -> np.ndarray:
        there = miles == end[code]
        return np.bincount(code[there], height[there], n) / np.maximum(
            np.bincount(code[there], minlength=n), 1
        )

    start, stop = mean_at(first), mean_at(last)
    rows = known.drop_duplicates(c.SEGMENT)[[*sl.SET_KEYS, c.STATION, c.SEGMENT]].reset_index(drop=True)
    rows = rows.assign(
        **{sl.FIRST_MI: first, sl.LAST_MI: last, sl.FIRST_HEIGHT_IN: start, sl.LAST_HEIGHT_IN: stop, FALL_IN: start - stop}
    )  # fmt: skip
    return rows.sort_values(sl.FIRST_MI, kind="stable").reset_index(drop=True)


def _worn(readings: pd.DataFrame, falls: pd.DataFrame) -> pd.DataFrame:
    """Every reading with the depth worn away at its place of the plow since the set's first reading there."""
    places = [*sl.SET_KEYS, c.STATION]
    before = falls.groupby(places, observed=True, sort=False)[FALL_IN].cumsum() - falls[FALL_IN]
    start = pd.Series((falls[sl.FIRST_HEIGHT_IN] + before).to_numpy(), falls[c.SEGMENT].astype(object))
    known = readings.dropna(subset=[c.SEGMENT, c.EDGE_TYPE, c.TRUCK_UNIT, c.HEIGHT_IN, c.MILES_MI])
    worn = known[c.SEGMENT].astype(object).map(start).to_numpy(dtype=float) - known[c.HEIGHT_IN].to_numpy(
        float
    )
    return known[[*places, c.MILES_MI]].assign(**{WORN_IN: worn})


def _at_shares(heights: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Depth worn away at each share of the miles of each set, by station, and how many stations were read over part of them."""
    sets = heights.groupby(sl.SET_KEYS, observed=True, sort=False)[c.MILES_MI]
    start, stop = (sets.transform(end).to_numpy(dtype=float) for end in ("min", "max"))
    ran = stop > start
    heights, start, stop = heights[ran], start[ran], stop[ran]
    share = (heights[c.MILES_MI].to_numpy(dtype=float) - start) / (stop - start)
    code, heads = sl.grouped(heights, [*sl.SET_KEYS, c.STATION])
    n = len(heads)
    low, high, length = np.full(n, np.inf), np.full(n, -np.inf), np.zeros(n)
    np.minimum.at(low, code, share)
    np.maximum.at(high, code, share)
    length[code] = stop - start
    order = np.lexsort((share, code))
    known_at, worn = (10 * code + share)[order], heights[WORN_IN].to_numpy()[order]
    parts = []
    for wanted in SHARES if n else ():
        at = np.clip(wanted, low, high)
        found = np.interp(10 * np.arange(n) + at, known_at, worn)
        parts.append(heads.assign(**{c.SHARE_FRAC: wanted, c.MILES_MI: wanted * length, WORN_IN: found}))
    empty = heads.assign(**dict.fromkeys((c.SHARE_FRAC, c.MILES_MI, WORN_IN), np.zeros(n)))
    cut_short = int(((low > 0) | (high < 1)).sum())
    return (pd.concat(parts, ignore_index=True) if parts else empty), cut_short
