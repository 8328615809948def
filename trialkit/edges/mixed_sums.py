"""From wear readings to the sums that the mixed model needs.

Answers: what do a hundred thousand readings boil down to, before a model is fitted to them?

One pass over the readings leaves six numbers for each segment: the count, the two means and the three sums of squares and
products about them. Heights of different segments have different zeros, so only what happens within a segment counts;
the means are dropped. The segments then fill one small cross-product matrix for each truck.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit import columns as c
from trialkit.errors import near_match
from trialkit.formatting import counted, listed
from trialkit.stats.mixed_terms import NO_PARAMETER, Codes, CovarianceBlock, CrossProducts, Floats

OWNERS = (c.SEGMENT, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.EDGE_TYPE)
"""Columns that say what a reading belongs to."""


class Segments(NamedTuple):
    """What each segment belongs to (as codes) and its sums about its own means; wear counts up as the height falls."""

    truck: Codes
    set_id: Codes
    station: Codes
    edge_type: Codes
    n: Codes
    sxx: Floats
    sxy: Floats
    syy: Floats

    def where(self, kept: NDArray[np.bool_]) -> Segments:
        """The segments that are marked."""
        return Segments(*(part[kept] for part in self))  # type: ignore[arg-type]


class Layout(NamedTuple):
    """How segments fill the model.

    For each segment `unit` (the truck with one edge type), `slot` (the number of its set within the unit) and `slope`
    (its station within its edge type); for each unit `unit_type` and `unit_truck`; for each set `set_unit`; for each
    slope `slope_type` and `slope_sxx`, the sum of squares of the miles behind it.
    """

    unit: Codes
    slot: Codes
    slope: Codes
    unit_type: Codes
    unit_truck: Codes
    set_unit: Codes
    slope_type: Codes
    slope_sxx: Floats


# ---------------------------------------------------------------- readings to segments
def sum_segments(readings: pd.DataFrame) -> tuple[Segments, list[str], int]:
    """Add up the readings of each segment.

    Parameters
    ----------
    readings : DataFrame
        One row per reading: truck_unit, set_id, segment, station, edge_type, miles_mi [mi], height_in [in].

    Returns
    -------
    tuple
        The segments, the edge types in their order, and the number of readings left out for want of miles or height.

    Raises
    ------
    ValueError
        If columns are missing or rows do not say what they belong to; the text names them all.

    Notes
    -----
    The first reading of a segment is taken off before the sums are formed, so that a counter that starts at 60,000 mi
    costs no digits. A segment label may repeat in another set or at another station.
    """
    absent = [name for name in (*OWNERS, c.MILES_MI, c.HEIGHT_IN) if name not in readings.columns]
    if absent:
        hints = (f'no column "{name}" {near_match(name, map(str, readings.columns))}' for name in absent)
        raise ValueError("the readings cannot be used: " + "; ".join(hint.rstrip() for hint in hints))
    x = readings[c.MILES_MI].to_numpy(float, na_value=np.nan)
    y = readings[c.HEIGHT_IN].to_numpy(float, na_value=np.nan)
    usable = np.isfinite(x) & np.isfinite(y)
    left_out = len(usable) - int(np.count_nonzero(usable))
    if left_out:
        readings, x, y = readings[usable], x[usable], y[usable]

    code = _codes(readings[c.SEGMENT])
    first = _first_rows(code)
    edge_type, labels = _codes_and_labels(readings[c.EDGE_TYPE])
    owners = [*(_codes(readings[name]) for name in (c.TRUCK_UNIT, c.SET_ID, c.STATION)), edge_type]
    named = dict(zip(OWNERS, [code, *owners], strict=True))
    blank = {name: int((codes < 0).sum()) for name, codes in named.items() if codes.min(initial=0) < 0}
    if blank:
        found = "; ".join(f'column "{name}" is blank in {counted(n, "row")}' for name, n in blank.items())
        raise ValueError(f"the readings cannot be used: {found}")
    if any((owner[first][code] != owner).any() for owner in owners):
        for owner in owners:
            code = pd.factorize(code.astype(np.int64) * (int(owner.max()) + 1) + owner)[0]
        first = _first_rows(code)

    n = np.bincount(code)
    x = x - x[first][code]
    y = y[first][code] - y
    sum_x, sum_y = np.bincount(code, x), np.bincount(code, y)
    share = 1.0 / np.maximum(n, 1)
    sxy = np.bincount(code, x * y) - sum_x * sum_y * share
    x *= x
    y *= y
    sxx = np.maximum(np.bincount(code, x) - sum_x**2 * share, 0.0)
    syy = np.maximum(np.bincount(code, y) - sum_y**2 * share, 0.0)
    truck, set_id, station, kind = (owner[first].astype(np.intp) for owner in owners)
    return Segments(truck, set_id, station, kind, n, sxx, sxy, syy), labels, left_out


def reference_label(labels: list[str], reference: str | None) -> str:
    """The edge type to compare with; the first when none is named.

    Raises
    ------
    ValueError
        If the one named has no reading.
    """
    if reference is None:
        return labels[0] if labels else ""
    if labels and reference not in labels:
        raise ValueError(
            f'no reading of the reference edge type "{reference}"; there are {listed(labels)}. '
            f"{near_match(reference, labels)}".strip()
        )
    return reference


def _codes(column: pd.Series) -> Codes:
    """Whole numbers from 0 that tell the values of a column apart; -1 where it is blank."""
    values = column.array
    return np.asarray(values.codes) if isinstance(values, pd.Categorical) else pd.factorize(column)[0]


def _codes_and_labels(column: pd.Series) -> tuple[Codes, list[str]]:
    """Codes and the labels they stand for: categories in their order, other values as they are met."""
    values = column.array
    if not isinstance(values, pd.Categorical):
        codes, found = pd.factorize(column)
        return codes, [str(value) for value in found]
    codes = np.asarray(values.codes)
    used = (
        np.bincount(
            codes[codes >= 0] if codes.min(initial=0) < 0 else codes, minlength=len(values.categories)
        )
        > 0
    )
    rank = np.append(np.cumsum(used) - 1, -1)
    return rank[codes], [str(value) for value in values.categories[used]]


def _first_rows(code: Codes) -> Codes:
    """First row of each code."""
    first = np.zeros(int(code.max(initial=-1)) + 1, np.intp)
    first[code[::-1]] = np.arange(len(code) - 1, -1, -1)
    return first


# ---------------------------------------------------------------- segments to the model
def lay_out(segments: Segments) -> Layout:
    """Sort segments into trucks, sets and fixed slopes; a truck that carried two edge types is two units."""
    owner, unit = _pairs(segments.edge_type, segments.truck)
    sets, place = _pairs(unit, segments.set_id)
    slopes, slope = _pairs(segments.edge_type, segments.station)
    set_unit = sets[:, 0]
    return Layout(
        unit=unit,
        unit_type=owner[:, 0],
        unit_truck=owner[:, 1],
        set_unit=set_unit,
        slot=(np.arange(len(sets)) - np.searchsorted(set_unit, set_unit))[place],
        slope=slope,
        slope_type=slopes[:, 0],
        slope_sxx=np.bincount(slope, segments.sxx).astype(float),
    )


def _pairs(left: Codes, right: Codes) -> tuple[Codes, Codes]:
    """The pairs of codes that occur, in order, and for each element which of them it is."""
    base = int(right.max()) + 1
    found, which = np.unique(left * base + right, return_inverse=True)
    return np.column_stack(np.divmod(found, base)), which


def scatter_freedom(segments: Segments, still: Segments, layout: Layout) -> int:
    """Degrees of freedom left for the reading error when every set and station has its own slope (at least)."""
    n_types = len(np.unique(layout.unit_type))
    readings = int((segments.n - 1).sum() + (still.n - 1).sum())
    return readings - len(layout.set_unit) - len(layout.slope_type) + n_types


def wear_products(segments: Segments, still: Segments, layout: Layout, labels: list[str]) -> CrossProducts:
    """Cross-products of the wear model, scaled, with the intercepts of the segments swept out.

    Parameters
    ----------
    segments : Segments
        Those with miles that vary.
    still : Segments
        Those with repeated readings at one mileage only; they tell of the reading error.
    layout : Layout
        From `lay_out`, of `segments`.
    labels : list of str
        The edge types, for the notes.

    Returns
    -------
    CrossProducts

    Notes
    -----
    Columns of Z: the slope of the truck, then one slope for each of its sets. The variance between trucks of a type
    needs two trucks, the variance between sets a truck with two sets; without them the column stays empty.
    """
    n_units, n_slopes = len(layout.unit_type), len(layout.slope_type)
    unit = layout.unit
    kind = layout.unit_type[unit]
    slope = np.bincount(layout.slope, segments.sxy) / layout.slope_sxx
    own = slope[layout.slope]
    sxy = segments.sxy - own * segments.sxx
    syy = segments.syy - own * (2.0 * segments.sxy - own * segments.sxx)
    n_each = np.bincount(unit, segments.n - 1).astype(np.intp)
    n_each[0] += (still.n - 1).sum()
    scatter = max(float(syy.sum() + still.syy.sum()), 0.0)
    y_scale = float(np.sqrt(scatter / (n_each.sum() - n_slopes))) or 1.0

    blocks, scale, number = _random_slopes(layout, np.bincount(unit, segments.sxx).astype(float), labels)

    # one matrix for each unit: every segment touches the truck's column, its set's, its fixed slope's and y
    with_sets = bool((number["set"] != NO_PARAMETER).any())
    n_random = 1 + (int(layout.slot.max()) + 1 if with_sets else 0)
    place = [np.zeros(len(kind), np.intp), n_random + layout.slope]
    size = [scale["truck"][kind], 1.0 / np.sqrt(layout.slope_sxx[layout.slope])]
    if with_sets:
        place.append(1 + layout.slot)
        size.append(scale["set"][kind])
    places, sizes = np.column_stack(place), np.column_stack(size)
    products = np.zeros((n_units, n_random + n_slopes + 1, n_random + n_slopes + 1))
    np.add.at(
        products,
        (unit[:, None, None], places[:, :, None], places[:, None, :]),
        sizes[:, :, None] * sizes[:, None, :] * segments.sxx[:, None, None],
    )
    last = np.full_like(places, n_random + n_slopes)
    np.add.at(products, (unit[:, None], places, last), sizes * (sxy / y_scale)[:, None])
    products[:, -1, :-1] = products[:, :-1, -1]
    products[:, -1, -1] = np.bincount(unit, syy) / y_scale**2
    products[0, -1, -1] += still.syy.sum() / y_scale**2

    entries = _entries(layout, number, n_random)
    return CrossProducts(
        products=products,
        n_each=n_each,
        n_random=n_random,
        entries=entries,
        blocks=tuple(blocks),
        x_basis=np.diag(1.0 / np.sqrt(layout.slope_sxx)),
        offset=slope * np.sqrt(layout.slope_sxx),
        y_scale=y_scale,
    )


def _random_slopes(
    layout: Layout, unit_sxx: Floats, labels: list[str]
) -> tuple[list[CovarianceBlock], dict[str, Floats], dict[str, Codes]]:
    """The variances of the model, and of trucks and of sets their scale and their number by edge type."""
    sets_of_unit = np.bincount(layout.set_unit, minlength=len(layout.unit_type))
    blocks: list[CovarianceBlock] = []
    scale = {"truck": np.zeros(len(labels)), "set": np.zeros(len(labels))}
    number = {"truck": np.full(len(labels), NO_PARAMETER), "set": np.full(len(labels), NO_PARAMETER)}
    for code in np.unique(layout.unit_type):
        mine = layout.unit_type == code
        for level, present, count in (
            ("truck", mine.sum() > 1, mine.sum()),
            ("set", sets_of_unit[mine].max() > 1, sets_of_unit[mine].sum()),
        ):
            if present:
                scale[level][code] = 1.0 / np.sqrt(unit_sxx[mine].sum() / count)
                number[level][code] = len(blocks)
                entries, basis = np.array([[len(blocks)]]), np.array([[scale[level][code]]])
                blocks.append(CovarianceBlock(f"{labels[code]}, between {level}s", entries, basis))
    return blocks, scale, number


def _entries(layout: Layout, number: dict[str, Codes], n_random: int) -> Codes:
    """Which variance stands in each place of the covariance matrix of each unit's random slopes."""
    n_units = len(layout.unit_type)
    sets_of_unit = np.bincount(layout.set_unit, minlength=n_units)
    entries = np.full((n_units, n_random, n_random), NO_PARAMETER)
    entries[:, 0, 0] = number["truck"][layout.unit_type]
    for slot in range(1, n_random):
        filled = sets_of_unit >= slot
        entries[filled, slot, slot] = number["set"][layout.unit_type[filled]]
    return entries
