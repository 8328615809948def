"""Other ways to the same comparison: one thing changed at a time.

Answers: what would the ratio of wear be without this truck, with other miles, or worked out in another way?

A `Change` holds wear rates with one thing changed, a `Variant` the ratios that come of it; `work_out` leads from one to the
other. `sensitivity` lays the variants beside the comparison as it is reported.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges import slopes as sl
from trialkit.edges.against_reference import NO_INTERVAL, ONE_TRUCK
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.crosscheck import CrossCheck
from trialkit.edges.life import SET, project_life
from trialkit.edges.life_comparison import compare_lives
from trialkit.edges.wear import WearRates, edge_type_order, fit_wear_rates
from trialkit.stats.inference import Sample
from trialkit.stats.ratios import BOUNDED, ratio_set
from trialkit.table_parts import NO, YES

AS_REPORTED = "as reported"
TRUCKS, READINGS, MILES, METHOD = "trucks", "readings", "miles", "way of working it out"
RATIO_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.BOUNDED, c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE,
]  # fmt: skip
KEYS = [c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION]
Comparison = tuple[str, str]
"""Edge type and plow position of a comparison with the reference."""


@dataclass(frozen=True, eq=False)
class Variant:
    """The comparison with one thing changed, worked out.

    Attributes
    ----------
    group : str
        What kind of change it is: of the trucks, the readings, the miles or the way of working it out.
    name : str
        The change in words.
    ratios : DataFrame
        The ratios (reference wear / the type's wear), with the columns `RATIO_COLUMNS`.
    why_not : mapping
        (edge type, plow position) to why there is no ratio, for comparisons that the change makes impossible.
    truck : str
        The truck that is left out, if that is the change.
    touched : set of (edge type, plow position), optional
        The comparisons that the change touches; all of them if not given.
    """

    group: str
    name: str
    ratios: pd.DataFrame
    why_not: Mapping[Comparison, str] = field(default_factory=dict)
    truck: str = ""
    touched: frozenset[Comparison] | None = None


@dataclass(frozen=True, eq=False)
class Change:
    """Wear rates with one thing changed, to be worked out by `work_out`; the other fields are those of `Variant`.

    Attributes
    ----------
    rates : WearRates
        Only `trucks` and the trucks counted in `table` are read.
    """

    group: str
    name: str
    rates: WearRates
    truck: str = ""
    touched: frozenset[Comparison] | None = None


def work_out(changes: Sequence[Change]) -> list[Variant]:
    """The comparisons of all changes, in one go.

    Parameters
    ----------
    changes : sequence of Change
        Wear rates of the same reference and level.

    Returns
    -------
    list of Variant
        In the order of the changes. A comparison with no truck left on one side has no row.

    Notes
    -----
    `comparison.compare_edge_types` treats every plow position by itself and works with arrays, so that each change is given
    as a set of plow positions of its own: a hundred changes take little longer than one.
    """
    if not changes:
        return []
    tables = [_marked(change.rates.table, number) for number, change in enumerate(changes)]
    trucks = [_marked(change.rates.trucks, number) for number, change in enumerate(changes)]
    first = changes[0].rates
    order = edge_type_order(
        first.table[c.EDGE_TYPE], first.reference or None
    )  # the reference, even if never read
    rows = pd.concat(tables, ignore_index=True)
    together = replace(
        first,
        table=rows.assign(**{c.EDGE_TYPE: pd.Categorical(rows[c.EDGE_TYPE], categories=order)}),
        trucks=pd.concat(trucks, ignore_index=True),
    )
    table = compare_edge_types(together).table
    table = table[(table[c.N_TRUCKS] > 0) & (table[c.N_TRUCKS_REFERENCE] > 0)]
    table = _without_ends(table)[RATIO_COLUMNS]
    places = [str(place).split(_MARK, 1) for place in table[c.PLOW_POSITION]]
    which = np.array([int(number) for number, _ in places], dtype=int)
    table[c.PLOW_POSITION] = [place for _, place in places]
    return [
        Variant(
            change.group,
            change.name,
            table[which == k].reset_index(drop=True),
            {},
            change.truck,
            change.touched,
        )
        for k, change in enumerate(changes)
    ]


_MARK = "|"


def _marked(frame: pd.DataFrame, number: int) -> pd.DataFrame:
    """The frame with its plow positions told apart from those of other changes."""
    place = f"{number}{_MARK}" + frame[c.PLOW_POSITION].astype(object)
    return frame.assign(**{c.PLOW_POSITION: place, c.EDGE_TYPE: frame[c.EDGE_TYPE].astype(object)})


def _without_ends(table: pd.DataFrame) -> pd.DataFrame:
    """The table with plain text in its keys, and no interval where its method says that there is none."""
    table = table.astype(dict.fromkeys(KEYS, object))
    table.loc[table[c.METHOD].isin([ONE_TRUCK, NO_INTERVAL]), [c.CONF_LOW, c.CONF_HIGH]] = np.nan
    return table


def with_trucks(rates: WearRates, trucks: pd.DataFrame) -> WearRates:
    """The rates with other truck slopes; only what a comparison reads is brought up to date.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    trucks : DataFrame
        `rates.trucks` with rows left out or slopes changed.
    """
    counts = trucks.groupby(sl.CELL, observed=True, sort=False).size()
    index = pd.MultiIndex.from_frame(rates.table[sl.CELL])
    n = counts.reindex(index).fillna(0).astype(int).to_numpy()
    return replace(rates, trucks=trucks.reset_index(drop=True), table=rates.table.assign(**{c.N_TRUCKS: n}))


# ---------------------------------------------------------------- trucks
def without_each_truck(rates: WearRates) -> list[Change]:
    """One change for each truck: without it on any of its plow positions.

    Use it to see whether the finding hangs on one truck. The slopes of the other trucks stay as they are.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    """
    names = rates.trucks[c.TRUCK_ID].astype(str)
    return [
        Change(
            TRUCKS,
            f"without truck {name}",
            with_trucks(rates, rates.trucks[names != name]),
            name,
            touched_by(rates, rates.trucks[names == name]),
        )
        for name in dict.fromkeys(names)
    ]


def without_trucks(rates: WearRates, leave_out: Sequence[str], name: str) -> Change:
    """The comparison without these truck positions.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    leave_out : sequence of str
        Values of `truck_unit`.
    name : str
        The change in words.
    """
    out = rates.trucks[c.TRUCK_UNIT].astype(str).isin(leave_out)
    return Change(
        TRUCKS, name, with_trucks(rates, rates.trucks[~out]), touched=touched_by(rates, rates.trucks[out])
    )


def touched_by(rates: WearRates, rows: pd.DataFrame) -> frozenset[Comparison]:
    """The comparisons in which these trucks, or readings, take part.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    rows : DataFrame
        Columns plow_position, edge_type.
    """
    kinds: dict[str, set[str]] = {}
    for row in rates.table.to_dict("records"):
        kinds.setdefault(row[c.PLOW_POSITION], set()).add(row[c.EDGE_TYPE])
    found = set()
    for place, kind in set(zip(rows[c.PLOW_POSITION], rows[c.EDGE_TYPE], strict=True)):
        here = kinds.get(place, set())
        found |= {(other, place) for other in (here if kind == rates.reference else {kind} & here)}
    return frozenset(found)


# ---------------------------------------------------------------- readings
def refitted(
    group: str,
    name: str,
    readings: pd.DataFrame,
    rates: WearRates,
    *,
    repeatability_in: float | None = None,
    run_in_mi: float = 0.0,
    touched: frozenset[Comparison] | None = None,
) -> Change | None:
    """The comparison from other readings, or with another run-in; None if the reference is not among them.

    Parameters
    ----------
    group, name : str
        As in `Variant`.
    readings : DataFrame
        The readings; see `wear.fit_wear_rates`.
    rates : WearRates
        The rates as reported; level, reference and names are taken from them.
    repeatability_in, run_in_mi : float
        As for `wear.fit_wear_rates`.
    touched : set of (edge type, plow position), optional
        As in `Variant`.
    """
    there = readings[c.EDGE_TYPE].astype(object)
    if not (there == rates.reference).any():
        return None
    found = fit_wear_rates(
        readings,
        confidence_level=rates.confidence_level,
        reference=rates.reference,
        repeatability_in=repeatability_in,
        run_in_mi=run_in_mi,
        labels=rates.labels,
    )
    return Change(group, name, found, touched=touched)


def without_first_readings(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings without those at the first miles of each segment, as where every edge was run in.

    Parameters
    ----------
    readings : DataFrame
        Columns segment, miles_mi [mi].
    """
    first = readings.groupby(c.SEGMENT, observed=True)[c.MILES_MI].transform("min")
    return readings[~(readings[c.MILES_MI] <= first)]


# ---------------------------------------------------------------- miles
def per_odometer_mile(rates: WearRates, shares: Mapping[str, float], name: str) -> Change:
    """The comparison of wear per odometer mile.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    shares : mapping
        Truck position to the share of its odometer miles with the blade down; trucks without one drop out.
    name : str
        The change in words.
    """
    share = rates.trucks[c.TRUCK_UNIT].astype(str).map(shares).to_numpy(dtype=float, na_value=np.nan)
    trucks = rates.trucks.assign(
        **{
            c.ESTIMATE: rates.trucks[c.ESTIMATE] * share,
            sl.ROUNDING_VARIANCE: rates.trucks[sl.ROUNDING_VARIANCE] * share**2,
            c.ROUNDING_BOUND: rates.trucks[c.ROUNDING_BOUND] * share,
        }
    )[np.isfinite(share)]
    return Change(MILES, name, with_trucks(rates, trucks))


# ---------------------------------------------------------------- ways of working it out
def of_log_slopes(rates: WearRates) -> Variant:
    """The ratio of the geometric means of the trucks, from the difference of the logarithms of their slopes.

    Use it where the spread between trucks is skewed. Not where a truck's slope is zero or below, or wear is not measurable.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    """
    slope = rates.trucks[c.ESTIMATE]
    small = rates.table[~rates.table[c.MEASURABLE].astype(bool)]
    bad = set(zip(small[c.PLOW_POSITION], small[c.EDGE_TYPE], strict=True))
    sunk = rates.trucks[~(slope > rates.trucks[c.ROUNDING_BOUND])]
    bad |= set(zip(sunk[c.PLOW_POSITION], sunk[c.EDGE_TYPE], strict=True))
    cells = zip(rates.trucks[c.PLOW_POSITION], rates.trucks[c.EDGE_TYPE], strict=True)
    kept = np.array([cell not in bad for cell in cells], dtype=bool)
    good = rates.trucks[kept]
    logs = good.assign(
        **{
            c.ESTIMATE: np.log(good[c.ESTIMATE].to_numpy(dtype=float)),
            sl.ROUNDING_VARIANCE: good[sl.ROUNDING_VARIANCE] / good[c.ESTIMATE] ** 2,
            c.ROUNDING_BOUND: good[c.ROUNDING_BOUND] / good[c.ESTIMATE],
        }
    )
    compared = compare_edge_types(with_trucks(rates, logs))
    gap = compared.differences
    known = ((compared.table[c.N_TRUCKS] > 0) & (compared.table[c.N_TRUCKS_REFERENCE] > 0)).to_numpy()
    counts = compared.table[[c.N_TRUCKS, c.N_TRUCKS_REFERENCE]]
    low, high = (np.exp(np.clip(gap[name].astype(float), -50, 50)) for name in (c.CONF_LOW, c.CONF_HIGH))
    table = (
        gap[KEYS]
        .astype(object)
        .assign(
            **{
                c.ESTIMATE: np.exp(gap[c.ESTIMATE].astype(float)),
                c.CONF_LOW: low,
                c.CONF_HIGH: high,
                c.BOUNDED: np.where(np.isfinite(high), YES, NO),
            }
        )
    )
    table = pd.concat([table, counts], axis=1)[RATIO_COLUMNS]
    why = "a truck's wear is not above zero, or not measurable"
    lost = {
        (kind, place): why
        for place, kind in zip(rates.table[c.PLOW_POSITION], rates.table[c.EDGE_TYPE], strict=True)
        if {(place, kind), (place, rates.reference)} & bad
    }
    return Variant(METHOD, "geometric means of the trucks", table[known].reset_index(drop=True), lost)


def of_thinnest_spots(readings: pd.DataFrame, rates: WearRates) -> Variant:
    """The ratio of the rates of the thinnest spots instead of the means of the stations.

    Use it where sets are replaced as a whole. It is the ratio of lives at equal usable depths.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to.
    rates : WearRates
        The wear rates.
    """
    kinds = list(dict.fromkeys(rates.table[c.EDGE_TYPE]))
    alike = pd.DataFrame({c.EDGE_TYPE: kinds, c.USABLE_DEPTH_IN: 1.0, c.REPLACED_AS: SET})
    table = _without_ends(compare_lives(project_life(rates, readings, alike)).table)
    return Variant(METHOD, "thinnest spot of each set", table[RATIO_COLUMNS])


def of_mixed_model(cross: CrossCheck, rates: WearRates) -> Variant:
    """The ratio of the rates of the mixed model, by Fieller's set with its own standard errors.

    Parameters
    ----------
    cross : CrossCheck
        The rates beside those of the mixed model.
    rates : WearRates
        The wear rates.

    Notes
    -----
    Trucks that carried both types are taken as different trucks, as the mixed model takes them.
    """
    (reported,) = work_out([Change(METHOD, AS_REPORTED, rates)])
    table = reported.ratios
    cells = cross.table.set_index([c.EDGE_TYPE, c.PLOW_POSITION])
    own, other = (
        _sample(cells.reindex(pd.MultiIndex.from_frame(table[[name, c.PLOW_POSITION]])))
        for name in (c.EDGE_TYPE, c.REFERENCE)
    )
    found = ratio_set(other, own, confidence_level=rates.confidence_level).known_non_negative(own.mean)
    table = table.assign(
        **{
            c.ESTIMATE: found.estimate,
            c.CONF_LOW: found.conf_low,
            c.CONF_HIGH: found.conf_high,
            c.BOUNDED: np.where(np.asarray(found.kind) == BOUNDED, YES, NO),
        }
    )
    return Variant(METHOD, "one mixed model of all readings", table)


def _sample(rows: pd.DataFrame) -> Sample:
    """Rates of the mixed model with their standard errors, as samples of as many units as they have degrees of freedom."""
    usable = rows[c.MIXED_LOW].notna().to_numpy()
    n = np.where(usable, rows[c.MIXED_DF].to_numpy(dtype=float) + 1, 1.0)
    variance = np.where(usable, rows[c.MIXED_STD_ERROR].to_numpy(dtype=float) ** 2 * n, np.nan)
    return Sample(rows[c.MIXED_ESTIMATE].to_numpy(dtype=float), variance, n)
