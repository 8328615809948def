"""Whole-body vibration at the seat: daily exposure A(8) by edge type.

Answers: how strongly is the driver shaken with each edge type?

Whole-body vibration of a seated driver only. Vibration of the hands is measured differently, has other limits, and is out of
scope. Each axis is looked at by itself and the largest one, with its factor, governs; the vector total is not used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trialkit import columns as c
from trialkit.cab.criteria import (
    AXIS_FACTORS,
    DAY_H,
    EU_VIBRATION_ACTION,
    VIBRATION_CAUTIONS,
    VibrationCriterion,
    require_hours,
    vibration_criteria,
    weights_of,
)
from trialkit.cab.samples import EdgeLabels, edge_types_in_order, usable_samples
from trialkit.cab.truck_comparison import spread_factor, truck_weights
from trialkit.errors import UsageError
from trialkit.formatting import NO_INTERVAL, fixed, interval_decimals, listed, span
from trialkit.results import Summary
from trialkit.stats.inference import Sample, mean_interval
from trialkit.table_parts import NO, YES
from trialkit.tables import VIBRATION

AXES = VIBRATION.column(c.AXIS).choices
REFERENCE_H = 8.0
HIGHEST_M_S2 = 50.0
UNCLEAR = "unclear"


# ---------------------------------------------------------------- formulas
def average_rms(rms_m_s2: ArrayLike, duration: ArrayLike | None = None) -> float:
    """Average of vibration samples, weighted by their durations [m/s²].

    When to use: in place of a plain mean, which is too low. ``sqrt(sum(t a^2) / sum(t))``.

    Parameters
    ----------
    rms_m_s2 : array_like
        Frequency-weighted r.m.s. acceleration of each sample [m/s²].
    duration : array_like, optional
        Length of each sample, in any one unit; equal if left out.

    Raises
    ------
    UsageError
        If a value is missing or impossible, or all durations are zero.
    """
    rms = _require_rms(rms_m_s2)
    weight = weights_of(duration, rms.size, "vibration value")
    return float(math.sqrt(np.average(np.square(rms), weights=weight)))


def daily_exposure(rms_m_s2: ArrayLike, duration_h: ArrayLike, factor: float = 1.0) -> float:
    """Daily exposure A(8) of one axis from one or several operations [m/s²].

    Parameters
    ----------
    rms_m_s2 : array_like
        Frequency-weighted r.m.s. acceleration of each operation [m/s²].
    duration_h : array_like
        Daily length of each operation [h].
    factor : float
        Factor of the axis: 1.4 for x and y, 1 for z of a seated person.

    Returns
    -------
    float

    Raises
    ------
    UsageError
        If a value or duration is missing or impossible, or the durations add up to more than a day.

    Notes
    -----
    ``A(8) = factor sqrt(sum(a^2 T) / 8 h)``: Directive 2002/44/EC, Annex B; UK SI 2005/1093, Schedule 2; ISO 2631-1:1997.

    Examples
    --------
    >>> round(daily_exposure(0.4, 6.5, AXIS_FACTORS["y"]), 1)
    0.5
    """
    rms, duration = _require_rms(rms_m_s2), require_hours(duration_h)
    if rms.size != duration.size:
        raise UsageError(
            f"There are {rms.size} vibration values but {duration.size} durations; each needs both."
        )
    if duration.sum() > DAY_H * (1 + 1e-9):
        raise UsageError(f"The operations add up to {duration.sum():g} h; a day has {DAY_H:g}.")
    if not factor > 0:
        raise UsageError(f"A factor of {factor:g}; allowed above 0.")
    return float(factor * math.sqrt((np.square(rms) * duration).sum() / REFERENCE_H))


def largest_axis(
    rms_m_s2: Mapping[str, float], factors: Mapping[str, float] = AXIS_FACTORS
) -> tuple[str, float]:
    """The axis that governs and its vibration with the factor [m/s²]: the largest of 1.4 x, 1.4 y and z."""
    weighted = {axis: factors[axis] * value for axis, value in rms_m_s2.items()}
    axis = max(weighted, key=weighted.__getitem__)
    return axis, weighted[axis]


def exposure_points(a8_m_s2: ArrayLike, criterion: VibrationCriterion = EU_VIBRATION_ACTION) -> np.ndarray:
    """Exposure points: 100 at the action value; points of several operations add up.

    ``100 (A(8) / criterion)^2``, the convention of the UK guidance on the vibration regulations (from memory).
    """
    return criterion.exposure_pct(a8_m_s2)


def _require_rms(rms_m_s2: ArrayLike) -> np.ndarray:
    rms = np.atleast_1d(np.asarray(rms_m_s2, dtype=float))
    bad = rms[~((rms >= 0) & (rms <= HIGHEST_M_S2))]
    if bad.size:
        raise UsageError(f"A vibration of {bad[0]:g} m/s²; allowed 0 to {HIGHEST_M_S2:g}.")
    return rms


# ---------------------------------------------------------------- results
@dataclass(frozen=True, eq=False)
class VibrationExposure(Summary):
    """Daily whole-body vibration exposure by edge type, axis and criterion.

    Attributes
    ----------
    table : DataFrame
        edge_type, axis, criterion, rms_m_s2, conf_low, conf_high, a8_m_s2, exposure_pct, permissible_h, n_samples; then
        weighted_m_s2 (with the axis factor), a8_low_m_s2, a8_high_m_s2, governs (yes for the largest axis), reached,
        duration_h (hours a day), n_trucks.
    by_truck : DataFrame
        truck_id, edge_type, axis, rms_m_s2, n_samples, duration_h (hours sampled).
    criteria : tuple of VibrationCriterion
    daily_h : float
        Hours a day that the driver sits in the moving truck [h].
    confidence_level : float
    label : EdgeLabels
        Names of the edge types.
    """

    by_truck: pd.DataFrame
    criteria: tuple[VibrationCriterion, ...]
    daily_h: float
    confidence_level: float
    label: EdgeLabels

    def governing(self) -> pd.DataFrame:
        """One row per edge type: its governing axis, A(8) and interval, whatever the criterion."""
        return self.table[self.table[c.GOVERNS] == YES].drop_duplicates(c.EDGE_TYPE)

    def a8_by_truck(self) -> pd.DataFrame:
        """A(8) of each truck in the axis that governs its edge type: truck_id, edge_type, axis, a8_m_s2."""
        governing = self.governing()
        scale = governing[c.A8_M_S2] / governing[c.RMS_M_S2].where(governing[c.RMS_M_S2] > 0)
        axes = governing[[c.EDGE_TYPE, c.AXIS]].assign(**{c.WEIGHTED_M_S2: scale})
        trucks = self.by_truck.merge(axes, on=[c.EDGE_TYPE, c.AXIS])
        a8 = trucks[c.RMS_M_S2] * trucks[c.WEIGHTED_M_S2].fillna(0.0)
        return trucks[[c.TRUCK_ID, c.EDGE_TYPE, c.AXIS]].assign(**{c.A8_M_S2: a8})

    def sentence(self) -> str:
        """A(8) of the governing axis of each edge type."""
        rows = self.governing()
        parts = [
            f"{_a8_words(row)} with {self.label(row[c.EDGE_TYPE])} (axis {row[c.AXIS]})"
            for _, row in rows.iterrows()
        ]
        return f"Over {self.daily_h:g} hours a day the whole-body vibration A(8) comes to {listed(parts)}."


def _a8_words(row: pd.Series) -> str:
    """A(8) with its interval, never finer than the hundredth that instruments show."""
    a8, low, high = row[c.A8_M_S2], row[c.A8_LOW_M_S2], row[c.A8_HIGH_M_S2]
    places = min(2, interval_decimals(a8, low, high))
    span_words = span(low, high, places) if math.isfinite(low) else NO_INTERVAL
    return f"{fixed(a8, places)} m/s² ({span_words})"


def estimate_exposure(
    samples: pd.DataFrame,
    *,
    daily_h: float = 12.0,
    criteria: Sequence[str | VibrationCriterion] = (),
    factors: Mapping[str, float] = AXIS_FACTORS,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> VibrationExposure:
    """Daily exposure A(8) by edge type and axis, beside action and limit value.

    When to use: for orientation. Every hour of `daily_h` is taken to be like the hours sampled; idling and breaks shake less.

    Parameters
    ----------
    samples : DataFrame
        Vibration samples placed by `samples.place_samples`: truck_id, edge_type, axis, duration_min, rms_m_s2.
    daily_h : float
        Hours a day in the moving truck [h].
    criteria : sequence of str or VibrationCriterion
        Names, or criteria of one's own; empty for the European action and limit value.
    factors : mapping
        Factor of each axis.
    confidence_level : float
        Two-sided level of the intervals.
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Returns
    -------
    VibrationExposure

    Raises
    ------
    TrialDataError
        If a sample holds something impossible.
    NotEnoughDataError
        If no sample has a truck and an edge type.
    UsageError
        If a criterion is not known or `daily_h` is impossible.

    Notes
    -----
    Root-mean-square average of the samples, weighted by duration. The interval is Student's on the logarithms of the trucks'
    averages, so that it stays above zero; the truck is the unit and with one truck there is none.
    """
    chosen = vibration_criteria(criteria)
    if not 0 < daily_h <= DAY_H:
        raise UsageError(f"daily_h is {daily_h:g}; allowed above 0 to 24.")
    usable, notes = usable_vibration(samples)
    label = EdgeLabels(labels or {})
    by_truck = average_by_truck(usable)
    rows = []
    for edge in edge_types_in_order(usable):
        lines = [_axis_line(usable, by_truck, edge, axis, factors, confidence_level) for axis in AXES]
        found = [line for line in lines if line]
        missing = [axis for axis, line in zip(AXES, lines, strict=True) if not line]
        if missing:
            notes.append(
                f"{label(edge)} has no samples of axis {listed(missing)}; the largest axis may be another than the one shown."
            )
        top = max(line[c.WEIGHTED_M_S2] for line in found)
        for line in found:
            governs = YES if line[c.WEIGHTED_M_S2] == top else NO
            rows += [_criterion_line(line, criterion, daily_h) | {c.GOVERNS: governs} for criterion in chosen]
        notes += _line_notes(found, label)
    table = pd.DataFrame(rows, columns=EXPOSURE_COLUMNS)
    method = (
        "Root-mean-square average of the samples, weighted by duration; A(8) per axis with factors "
        f"{listed([f'{factors[axis]:g} ({axis})' for axis in AXES])} over {daily_h:g} hours a day; the largest axis governs. The "
        "interval is Student's on logarithms, with the truck as the unit."
    )
    kept = (*dict.fromkeys(notes), *VIBRATION_CAUTIONS)
    return VibrationExposure(table, method, kept, by_truck, chosen, float(daily_h), confidence_level, label)


EXPOSURE_COLUMNS = [
    c.EDGE_TYPE,
    c.AXIS,
    c.CRITERION,
    c.RMS_M_S2,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.A8_M_S2,
    c.EXPOSURE_PCT,
    c.PERMISSIBLE_H,
    c.N_SAMPLES,
    c.WEIGHTED_M_S2,
    c.A8_LOW_M_S2,
    c.A8_HIGH_M_S2,
    c.GOVERNS,
    c.REACHED,
    c.DURATION_H,
    c.N_TRUCKS,
]


def usable_vibration(samples: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The vibration samples that can be used, with notes on the rest; see `samples.usable_samples`."""
    return usable_samples(samples, VIBRATION, (c.AXIS, c.DURATION_MIN, c.RMS_M_S2))


def average_by_truck(usable: pd.DataFrame) -> pd.DataFrame:
    """Root-mean-square average by truck, edge type and axis, weighted by duration, with sample count and hours sampled."""
    by = [usable[name].astype(object) for name in (c.TRUCK_ID, c.EDGE_TYPE, c.AXIS)]
    minutes = usable[c.DURATION_MIN]
    parts = {c.RMS_M_S2: minutes * usable[c.RMS_M_S2] ** 2, c.N_SAMPLES: 1, c.DURATION_H: minutes / 60.0}
    sums = pd.DataFrame(parts).groupby(by).sum().reset_index()
    return sums.assign(**{c.RMS_M_S2: np.sqrt(sums[c.RMS_M_S2] / (60.0 * sums[c.DURATION_H]))})


def _axis_line(
    usable: pd.DataFrame,
    by_truck: pd.DataFrame,
    edge: str,
    axis: str,
    factors: Mapping[str, float],
    confidence_level: float,
) -> dict:
    """Average of one edge type and axis with its interval; empty if it was not sampled."""
    group = usable[(usable[c.EDGE_TYPE] == edge) & (usable[c.AXIS] == axis)]
    if group.empty:
        return {}
    trucks = by_truck[(by_truck[c.EDGE_TYPE] == edge) & (by_truck[c.AXIS] == axis)]
    rms = average_rms(group[c.RMS_M_S2], group[c.DURATION_MIN])
    low = high = math.nan
    if (trucks[c.RMS_M_S2] > 0).all():
        found = mean_interval(Sample.of(np.log(trucks[c.RMS_M_S2])), confidence_level)
        half = (found.conf_high - found.estimate) * spread_factor(truck_weights(trucks[c.DURATION_H]))
        low, high = rms * math.exp(-half), rms * math.exp(half)
    return {
        c.EDGE_TYPE: edge,
        c.AXIS: axis,
        c.RMS_M_S2: rms,
        c.CONF_LOW: low,
        c.CONF_HIGH: high,
        c.WEIGHTED_M_S2: factors[axis] * rms,
        "factor": factors[axis],
        c.N_TRUCKS: len(trucks),
        c.N_SAMPLES: len(group),
    }


def _criterion_line(line: dict, criterion: VibrationCriterion, daily_h: float) -> dict:
    to_a8 = line["factor"] * math.sqrt(daily_h / REFERENCE_H)
    low, high = line[c.CONF_LOW] * to_a8, line[c.CONF_HIGH] * to_a8
    a8 = line[c.RMS_M_S2] * to_a8
    reached = YES if low >= criterion.a8_m_s2 else NO if high < criterion.a8_m_s2 else UNCLEAR
    return line | {
        c.CRITERION: criterion.name,
        c.A8_M_S2: a8,
        c.A8_LOW_M_S2: low,
        c.A8_HIGH_M_S2: high,
        c.EXPOSURE_PCT: float(criterion.exposure_pct(a8)),
        c.PERMISSIBLE_H: float(criterion.permissible_h(line[c.WEIGHTED_M_S2])),
        c.REACHED: reached,
        c.DURATION_H: float(daily_h),
    }


def _line_notes(lines: Sequence[dict], label: EdgeLabels) -> list[str]:
    notes = []
    for line in lines:
        what = f"{label(line[c.EDGE_TYPE])}, axis {line[c.AXIS]}"
        if line[c.N_SAMPLES] == 1:
            notes.append(f"There is one sample for {what}, so no interval is given.")
        elif line[c.N_TRUCKS] == 1:
            notes.append(f"All samples for {what} come from one truck, so no interval is given.")
        elif math.isnan(line[c.CONF_LOW]):
            notes.append(
                f"A truck shows no vibration, or all trucks the same, for {what}: no interval is given."
            )
    return notes
