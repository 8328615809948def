"""The cross-check of the wear rates: one mixed model of all readings at once.

Answers: does a model of all readings together give the same wear rates as the two-stage analysis?

The two-stage analysis takes each truck's own slope and compares trucks. Here restricted maximum likelihood weighs
trucks by what their readings tell, separates truck-to-truck spread from reading error, and gives its own standard errors
and degrees of freedom. In a balanced trial both agree to the last digit; where they part, the trial is unbalanced or the
readings are coarse, and the report says so.

`mixed_sums` adds up the readings, `mixed_reml` fits, `mixed_df` gives standard errors and degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit import columns as c
from trialkit import display
from trialkit.edges import mixed_sums
from trialkit.edges.mixed_sums import Layout, Segments
from trialkit.formatting import counted, interval, level_percent, listed
from trialkit.results import Summary
from trialkit.stats import mixed_df, mixed_reml
from trialkit.stats.mixed_reml import MixedFit
from trialkit.stats.mixed_terms import Codes, Floats

DF_SATTERTHWAITE = "df_satterthwaite"
STD_ERROR_KR = "std_error_kr"
DF_KR = "df_kr"
CONF_LOW_KR = "conf_low_kr"
CONF_HIGH_KR = "conf_high_kr"

_ALTERNATIVES = [DF_SATTERTHWAITE, STD_ERROR_KR, DF_KR, CONF_LOW_KR, CONF_HIGH_KR]
_RATES = [c.ESTIMATE, c.STD_ERROR, c.DF, c.CONF_LOW, c.CONF_HIGH, c.UNIT]
TABLE_COLUMNS = [c.EDGE_TYPE, *_RATES, c.N_TRUCKS, c.N_SETS, c.N_READINGS, *_ALTERNATIVES]
DIFFERENCE_COLUMNS = [c.EDGE_TYPE, c.REFERENCE, *_RATES, *_ALTERNATIVES]

_NO_SCATTER = 1e-11
"""Share of the sum of squares within segments below which a remainder is rounding error of the arithmetic."""
RATE_UNIT = "in/1000 mi"
RATE_PER_MILES = 1000.0
"""Wear rates are given for so many miles."""


@dataclass(frozen=True, eq=False)
class MixedWear(Summary):
    """Wear rates of the edge types from one mixed model. [in/1000 mi]

    Attributes
    ----------
    table : DataFrame
        One row per edge type: `edge_type`, `estimate`, `std_error`, `df`, `conf_low`, `conf_high`, `unit`, `n_trucks`,
        `n_sets`, `n_readings` (with miles and height), then `df_satterthwaite` (before the limit on `df`) and the
        Kenward-Roger alternatives `std_error_kr`, `df_kr`, `conf_low_kr`, `conf_high_kr`. Only the estimate is given for
        an edge type that was on one truck; there are no rows when the model was refused.
    differences : DataFrame
        One row per edge type but the reference: its rate minus the reference's, with `edge_type`, `reference` and the
        columns above but the counts.
    method : str
        The method in words.
    notes : tuple of str
        Caveats that the report prints.
    reference : str
        Edge type that the others are compared with.
    confidence_level : float
        Of every interval.
    converged : bool
        Whether a minimum was reached; False when the model was refused.
    singular : bool
        Whether a spread between trucks, or between sets, is estimated as zero.
    fit : MixedFit or None
        The fit behind the table; None when the model was refused.
    contrasts : (rows of table, p) array
        Weights of the fixed effects in each rate.
    """

    differences: pd.DataFrame
    reference: str
    confidence_level: float
    converged: bool
    singular: bool
    fit: MixedFit | None
    contrasts: Floats

    def sentence(self) -> str:
        """The one line that a council reads."""
        if self.table.empty:
            return self.notes[-1]
        rates = [
            f"{interval(*shown_rate(row))} for {row[c.EDGE_TYPE]}" for row in self.table.to_dict("records")
        ]
        return f"As a cross-check, one model of all readings puts the wear at {listed(rates)}, in {rate_in_words()}."


def shown_rate(row: Mapping[Hashable, Any]) -> tuple[float, float, float]:
    """A rate and the ends of its interval as they are shown."""
    estimate, low, high = (
        display.value(row[name], RATE_UNIT) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
    )
    return estimate, low, high


def rate_in_words() -> str:
    """The unit of the rates, spelled out."""
    return display.words("inches per 1,000 miles")


def fit_mixed_wear(
    readings: pd.DataFrame,
    *,
    reference: str | None = None,
    confidence_level: float = 0.95,
) -> MixedWear:
    """Fit one mixed model to all readings and read the wear rate of each edge type from it.

    Use it beside the two-stage analysis, as its cross-check. Do not use it to predict the next single set, and do not
    put its interval in the headline: with few trucks the two-stage interval keeps its stated level more surely.

    Parameters
    ----------
    readings : DataFrame
        One row per reading: truck_unit (truck and plow position), set_id, segment (one stretch of one set at one station
        between re-references), station, edge_type, miles_mi (blade-down) [mi], height_in (falls as the edge wears) [in].
        Categorical columns are fastest.
    reference : str, optional
        Edge type that the others are compared with; by default the first category, or the first edge type met.
    confidence_level : float
        Two-sided, for every interval.

    Returns
    -------
    MixedWear
        Refused, with an empty table and the reason in the last note, when the readings hold no scatter or no
        information on wear.

    Raises
    ------
    ValueError
        If columns are missing, rows do not say what they belong to, the reference is not among the edge types, or the
        confidence level does not lie between 0 and 1.

    Notes
    -----
    For a reading of segment s, of set l on truck i with edge type t, at station k:

        wear = a_s + (b_tk + u_i + w_il) miles + e,   u_i ~ N(0, tau_t^2),  w_il ~ N(0, omega_t^2),  e ~ N(0, sigma^2)

    *Every segment has its own fixed intercept a_s.* A new zero is set at each install and re-reference, so heights of
    different segments cannot be compared, and only the fall within a segment tells of wear. A random intercept for each
    set would borrow from comparisons between segments: it takes seating, a re-cut reference mark or a bowed section for
    chance around one level, puts what differs between stations into the reading error, and needs a correlation with the
    slope that a few trucks cannot give. Fixed intercepts are swept out by centering the readings of each segment. Under
    restricted maximum likelihood that is exact, not an approximation, and leaves n, Sxx, Sxy and Syy of each segment as
    sufficient statistics. The price is the information between segments; in a balanced trial there is none.

    *Slope variances go by edge type*, since a type that wears ten times faster also varies more; a common variance makes
    the interval of the quiet type far too wide and that of the noisy one too narrow. The variance between the sets of a
    truck is there for the edge types with a truck that had two sets or more. A truck that carried several edge types
    stands for one unit in each.

    *Stations have fixed slopes within each edge type.* The rate of a type is their mean weighted by the sum of squares
    of the miles behind each: the plain mean when all stations were read alike.

    The intervals use Satterthwaite's degrees of freedom, but never more than trucks minus edge types, counted among the
    edge types that the statement is about: a rate has no more than its own trucks less one. When a spread between trucks
    is estimated as zero, Satterthwaite counts readings, and readings are not replicates of the trucks; nor are the trucks
    of another edge type. The Kenward-Roger intervals keep the same limit.
    """
    if not 0.0 < confidence_level < 1.0:
        raise ValueError(f"the confidence level is {confidence_level}; it lies between 0 and 1, such as 0.95")
    every, labels, left_out = mixed_sums.sum_segments(readings)
    reference = mixed_sums.reference_label(labels, reference)
    segments, still = every.where(every.sxx > 0.0), every.where((every.sxx == 0.0) & (every.n > 1))
    notes = _notes_on_readings(every, labels, left_out)

    def refuse(reason: str) -> MixedWear:
        return _refused(reason, notes, reference, confidence_level)

    if not len(segments.n):
        return refuse("no segment has readings at two different mileages, so there is no wear to see.")
    if not segments.syy.any():
        return refuse(
            "within every segment all readings are equal: the wear is below what the readings resolve. The two-stage "
            "analysis says how large it can be at most."
        )
    layout = mixed_sums.lay_out(segments)
    if mixed_sums.scatter_freedom(segments, still, layout) < 1:
        return refuse("there are too few readings to tell the reading error from the spread between sets.")
    sums = mixed_sums.wear_products(segments, still, layout, labels)
    criterion = mixed_reml.Criterion(sums, reml=True)
    if criterion.least_scatter() * sums.y_scale**2 <= _NO_SCATTER * every.syy.sum():
        return refuse(
            "the readings lie on straight lines without scatter, so there is no reading error to go by."
        )

    fit = mixed_reml.fit_criterion(criterion)
    table, differences, contrasts = _tables(fit, every, layout, labels, reference, confidence_level)
    return MixedWear(
        table=table,
        method=_method_words(fit, confidence_level),
        notes=(*notes, *_notes_on_fit(fit, segments, layout, labels), *_notes_on_intervals(table)),
        differences=differences,
        reference=reference,
        confidence_level=confidence_level,
        converged=fit.converged,
        singular=fit.singular,
        fit=fit,
        contrasts=contrasts,
    )


def _tables(
    fit: MixedFit,
    every: Segments,
    layout: Layout,
    labels: list[str],
    reference: str,
    confidence_level: float,
) -> tuple[pd.DataFrame, pd.DataFrame, Floats]:
    """Rates of the edge types, their differences from the reference, and the contrasts behind the rates."""
    present = np.unique(layout.slope_type)
    names = np.array([labels[code] for code in present], dtype=object)
    weights = _rate_weights(layout, present)
    others = np.flatnonzero((names != reference) & (reference in names))
    base = int(np.argmax(names == reference))
    one_each = np.eye(len(present), dtype=bool)
    every_weight = np.concatenate([weights, weights[others] - weights[base]])
    involved = np.concatenate([one_each, one_each[others] | one_each[base]])
    found = _intervals(fit, every_weight, _most_df(layout, present, involved), confidence_level)
    rates, gaps = (
        {name: column[part] for name, column in found.items()}
        for part in (slice(len(names)), slice(len(names), None))
    )
    counts = {
        c.N_TRUCKS: np.bincount(layout.unit_type)[present],
        c.N_SETS: np.bincount(layout.unit_type[layout.set_unit])[present],
        c.N_READINGS: np.bincount(every.edge_type, every.n).astype(int)[present],
    }
    table = _frame(TABLE_COLUMNS, {c.EDGE_TYPE: names, c.UNIT: RATE_UNIT, **rates, **counts})
    fixed = {c.EDGE_TYPE: names[others], c.REFERENCE: reference, c.UNIT: RATE_UNIT}
    return table, _frame(DIFFERENCE_COLUMNS, {**fixed, **gaps}), weights


# ---------------------------------------------------------------- intervals
def _rate_weights(layout: Layout, present: Codes) -> Floats:
    """Weights of the fixed slopes in the rate of each edge type: the share of the sum of squares of the miles."""
    sxx = np.where(layout.slope_type == present[:, None], layout.slope_sxx, 0.0)
    return sxx / sxx.sum(axis=1, keepdims=True)


def _most_df(layout: Layout, present: Codes, involved: NDArray[np.bool_]) -> Floats:
    """Trucks minus edge types, among the edge types involved in each row; none where one of them was on one truck.

    A truck that carried several edge types is still one truck.
    """
    carried = np.zeros((len(present), int(layout.unit_truck.max()) + 1))
    carried[np.searchsorted(present, layout.unit_type), layout.unit_truck] = 1.0
    units = carried.sum(axis=1)
    trucks = (involved @ carried > 0).sum(axis=1)
    most = np.minimum(involved @ units - involved.sum(axis=1), trucks - 1.0)
    return np.where((involved & (units < 2)).any(axis=1), np.nan, most)


def _frame(order: list[str], columns: dict[str, Any]) -> pd.DataFrame:
    """The columns in their order."""
    return pd.DataFrame({name: columns[name] for name in order})


def _intervals(fit: MixedFit, weights: Floats, most_df: Floats, confidence_level: float) -> dict[str, Floats]:
    """Result columns of contrasts, in inches per 1,000 miles; no interval where there are no degrees of freedom."""
    from scipy.special import stdtrit

    found = mixed_df.estimate_contrasts(fit, weights)
    estimate = found.estimate * RATE_PER_MILES
    given = np.where(np.isnan(most_df), np.nan, 1.0)
    result: dict[str, Floats] = {c.ESTIMATE: estimate}
    for std_error, df, names in (
        (
            found.std_error,
            found.df_satterthwaite,
            (c.STD_ERROR, DF_SATTERTHWAITE, c.DF, c.CONF_LOW, c.CONF_HIGH),
        ),
        (found.std_error_kr, found.df_kr, (STD_ERROR_KR, DF_KR, "", CONF_LOW_KR, CONF_HIGH_KR)),
    ):
        spread, raw = std_error * RATE_PER_MILES * given, df * given
        limited = np.minimum(raw, most_df)
        half = stdtrit(limited, 0.5 + confidence_level / 2.0) * spread
        result |= dict(zip(names, (spread, raw, limited, estimate - half, estimate + half), strict=True))
    return result


# ---------------------------------------------------------------- words
def _refused(reason: str, notes: list[str], reference: str, confidence_level: float) -> MixedWear:
    """The result when there is nothing to fit: empty tables, and the reason as the last note."""
    return MixedWear(
        table=pd.DataFrame(columns=TABLE_COLUMNS),
        method="Cross-check by one mixed model of all readings: not fitted.",
        notes=(*notes, f"The cross-check by one model of all readings was not made: {reason}"),
        differences=pd.DataFrame(columns=DIFFERENCE_COLUMNS),
        reference=reference,
        confidence_level=confidence_level,
        converged=False,
        singular=False,
        fit=None,
        contrasts=np.zeros((0, 0)),
    )


def _method_words(fit: MixedFit, confidence_level: float) -> str:
    random = "for each truck and for each set of a truck" if fit.sums.n_random > 1 else "for each truck"
    return (
        "Cross-check by one mixed model of all readings (restricted maximum likelihood): own starting height for each "
        f"segment, a random wear rate {random} with its spread by edge type, fixed differences between stations; "
        f"{level_percent(confidence_level)} t intervals with Satterthwaite's degrees of freedom, never more than the "
        "trucks less the edge types they stand for."
    )


def _notes_on_readings(every: Segments, labels: list[str], left_out: int) -> list[str]:
    """What the readings lack."""
    notes = []
    if left_out:
        notes.append(f"{counted(left_out, 'reading')} without miles or height left out of the cross-check.")
    lone = int((every.n == 1).sum())
    if lone:
        notes.append(f"{counted(lone, 'reading')} with no other in the same segment: no information on wear.")
    moved = np.bincount(every.edge_type, every.sxx > 0.0, len(labels))
    still = [label for label, n in zip(labels, moved, strict=True) if not n]
    if still:
        notes.append(
            f"{listed(still)}: no segment with readings at two different {display.word('mileages')}, so no wear rate."
        )
    return notes


def _notes_on_fit(fit: MixedFit, segments: Segments, layout: Layout, labels: list[str]) -> list[str]:
    """What the reader of the rates must know."""
    notes = []
    n_trucks = np.bincount(layout.unit_type, minlength=len(labels))
    alone = [label for label, n in zip(labels, n_trucks, strict=True) if n == 1]
    if alone:
        notes.append(
            f"{listed(alone)}: on one truck only, so the spread between trucks is unknown and there is no interval."
        )
    n_several = int((np.bincount(layout.unit_truck) > 1).sum())
    if n_several:
        notes.append(
            f"{counted(n_several, 'truck')} carried more than one edge type: each counts as one truck under each type, as "
            "if unrelated. The interval of the difference is then wider than a comparison within trucks would give."
        )
    zero = [name for name, covariance in fit.random_covariances.items() if covariance[0, 0] == 0.0]
    if zero:
        notes.append(
            f"{listed(zero)}: the spread of the wear rate is estimated as zero. Reading error alone can explain the "
            "differences seen; with few trucks that does not show that there are none."
        )
    syy = np.bincount(segments.edge_type, segments.syy, len(labels))
    equal = [label for label, n, total in zip(labels, n_trucks, syy, strict=True) if n and total == 0.0]
    if equal:
        notes.append(
            f"{listed(equal)}: within every segment all readings are equal. The rate of 0 is what the readings can "
            "resolve, and its interval rests on the reading error seen on the other edge types."
        )
    if not fit.converged:
        notes.append("The fit of the mixed model did not settle; do not rely on the cross-check.")
    return notes


def _notes_on_intervals(table: pd.DataFrame) -> list[str]:
    """Which edge types have the one interval and not the other."""
    lost = np.isfinite(table[c.STD_ERROR]) & np.isnan(table[STD_ERROR_KR])
    if not lost.any():
        return []
    return [
        f"{listed(table.loc[lost, c.EDGE_TYPE].tolist())}: the readings say too little of the spread between trucks for a Kenward-Roger "
        "interval."
    ]
