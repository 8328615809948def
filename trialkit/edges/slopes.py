"""How fast each segment, station, set and truck wore: the first of two stages.

Answers: what is the slope of height against blade-down miles, and how far can rounded readings push it?

One pass over the readings gives six sums for each segment (a stretch of one station of one set without a re-reference).
Everything else follows from the sums, so a million readings take a fraction of a second. `wear` is the second stage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.formatting import counted, listed
from trialkit.stats.rounding import rounding_amplitude, uncancelled_share

FIRST_MI = "first_mi"
LAST_MI = "last_mi"
SPAN_MI = "span_mi"
REACH_MI = "reach_mi"
INTERCEPT_IN = "intercept_in"
FIRST_HEIGHT_IN = "first_height_in"
LAST_HEIGHT_IN = "last_height_in"
N_STATIONS = "n_stations"
ROUNDING_VARIANCE = "rounding_variance"
SXX, SXY, SYY, SPREAD, STEP_IN = "sxx", "sxy", "syy", "spread", "step_in"

CELL = [c.PLOW_POSITION, c.EDGE_TYPE]
UNIT_KEYS = [*CELL, c.TRUCK_UNIT, c.TRUCK_ID]
SET_KEYS = [*UNIT_KEYS, c.SET_ID]
NEEDED = [*SET_KEYS, c.STATION, c.SEGMENT, c.HEIGHT_IN, c.MILES_MI]

KNOWN_STEPS_IN = (
    1 / 8,
    0.1,
    1 / 16,
    0.05,
    1 / 25.4,
    1 / 32,
    0.02,
    0.5 / 25.4,
    1 / 64,
    0.01,
    0.005,
    0.1 / 25.4,
    0.001,
)
"""Steps tried, coarsest first, when no resolution is recorded: common practice, no source."""


@dataclass(frozen=True, eq=False)
class Slopes:
    """Slopes at every level; wear is positive. [in/1,000 mi]

    Attributes
    ----------
    segments : DataFrame
        One fitted line per segment: ends, intercept and slope; the slope is missing with a single reading.
    set_stations, sets, trucks, truck_stations : DataFrame
        One row per station of a set on a truck position, per set, per truck position and per station of a truck
        position, for each edge type, with the slope, the miles it rests on, and the variance and the largest error that
        rounding alone gives it.
    notes : tuple of str
        What was left out or assumed.
    """

    segments: pd.DataFrame
    set_stations: pd.DataFrame
    sets: pd.DataFrame
    trucks: pd.DataFrame
    truck_stations: pd.DataFrame
    notes: tuple[str, ...]


def fit_slopes(
    readings: pd.DataFrame, repeatability_in: float | None = None, run_in_mi: float = 0.0
) -> Slopes:
    """Fit a line to each segment and pool the slopes by station, set and truck.

    Use it through `wear.fit_wear_rates`; by itself it gives no interval.

    Parameters
    ----------
    readings : DataFrame
        Columns edge_type, plow_position, truck_id, truck_unit, set_id, station, segment, height_in [in] and
        miles_mi [mi]; resolution_in [in] if known.
    repeatability_in : float, optional
        Standard deviation of repeated readings from a gauge study. [in]
    run_in_mi : float
        Miles after an install that are left out. [mi]

    Returns
    -------
    Slopes

    Raises
    ------
    UsageError
        If a column is missing.

    Notes
    -----
    A station's slope is ``-sum(Sxy) / sum(Sxx)`` over its segments, each with its own intercept. A set's slope is the
    mean of its stations, weighted by the miles from the first to the last reading of each, and a truck's the mean of its
    sets, weighted by their miles. Stations are not weighted by Sxx: a section that is swapped because it wears fastest
    has short segments and would count for too little.

    Rounding. With step d and reading error s beyond the rounding, the rounding variance of a slope is
    ``(d^2 / 12) / Sxx``. The mean rounding error of a reading is periodic in the height and at most
    ``A = min(d/2, (d/pi) sum_k exp(-2 pi^2 k^2 s^2 / d^2) / k)``, so that it moves a slope by no more than
    ``A sum|x - mean| / Sxx``. Once the wear W runs over several steps the errors along the line cancel, and the bound
    falls as ``(2/pi) / (W/d - 1/2)``. It is never taken above one step over the miles read, the steepest slope that can
    leave all readings equal. Repeatability, when given, takes the place of the rounding variance (whichever is larger)
    and of s; otherwise s comes from the scatter about the lines or, where no segment has more than two readings, from
    how much the slopes within a set differ.
    """
    missing = [name for name in NEEDED if name not in readings.columns]
    if missing:
        raise UsageError(
            f"The readings lack the columns {listed(missing)}; lineage.wear_segments gives them."
        )
    used, notes = used_readings(readings, run_in_mi)
    step_in, step_notes = _steps(used)
    segments = _segment_lines(used, step_in)
    flat = segments[c.ESTIMATE].isna()
    if flat.any():
        which = [str(name) for name in segments.loc[flat, c.SEGMENT].head(5)]
        which += ["others"] * int(flat.sum() > len(which))
        notes.append(
            f"{counted(int(flat.sum()), 'segment has', 'segments have')} a single reading or no "
            f"{display.word('miles')} between readings and give no slope: {listed(which)}."
        )
    lines = _with_rounding(segments[~flat].reset_index(drop=True), repeatability_in)
    set_stations = _pooled(lines, [*SET_KEYS, c.STATION], weights=SXX, miles=SPAN_MI)
    set_stations[REACH_MI] = _reach_mi(lines, [*SET_KEYS, c.STATION])
    sets = _pooled(set_stations, SET_KEYS, weights=REACH_MI, count=N_STATIONS)
    sets[c.MILES_MI] /= sets[N_STATIONS]
    trucks = _pooled(sets, UNIT_KEYS, weights=c.MILES_MI, count=c.N_SETS)
    truck_stations = _pooled(set_stations, [*UNIT_KEYS, c.STATION], weights=c.MILES_MI, count=c.N_SETS)
    shown = segments.drop(columns=[SXX, SXY, SYY, SPREAD])
    return Slopes(shown, set_stations, sets, trucks, truck_stations, (*notes, *step_notes))


def used_readings(readings: pd.DataFrame, run_in_mi: float = 0.0) -> tuple[pd.DataFrame, list[str]]:
    """Readings that can be used, and what was left out.

    Parameters
    ----------
    readings : DataFrame
        As for `fit_slopes`.
    run_in_mi : float
        Miles after an install that are left out. [mi]

    Returns
    -------
    DataFrame, list of str
        The readings with a place, a height and miles, after the running-in; a sentence for each kind that was left out.
    """
    notes = []
    segment = readings[c.SEGMENT]
    placed = segment.notna().to_numpy() & readings[c.EDGE_TYPE].notna().to_numpy()
    height = readings[c.HEIGHT_IN].notna().to_numpy()
    miles = readings[c.MILES_MI].notna().to_numpy()
    for left_out, why in (
        (~placed, "without a set on a truck at that time"),
        (placed & ~height, "without a height"),
        (
            placed & height & ~miles,
            display.words("whose blade-down miles are not known (no counter and no shifts give them)"),
        ),
    ):
        if left_out.any():
            notes.append(f"{counted(int(left_out.sum()), 'reading')} {why} left out.")
    kept = placed & height & miles
    used = readings if kept.all() else readings[kept]
    if run_in_mi > 0 and len(used):
        stays = used.groupby([c.SET_ID, c.TRUCK_UNIT], observed=True, sort=False)[c.MILES_MI]
        early = (used[c.MILES_MI] - stays.transform("min")).to_numpy() < run_in_mi
        notes.append(
            f"{counted(int(early.sum()), 'reading')} in the first {display.typed(run_in_mi, 'mi')} {display.word('miles')} after an install left out "
            "as running-in, counted from the set's first reading on the truck."
        )
        used = used[~early]
    return used, notes


def _steps(used: pd.DataFrame) -> tuple[np.ndarray, list[str]]:
    """Step of the tool for each reading, 0 where it is neither recorded nor seen. [in]"""
    if c.RESOLUTION_IN in used.columns:
        step = used[c.RESOLUTION_IN].to_numpy(dtype=float, na_value=np.nan)
    else:
        step = np.full(len(used), np.nan)
    blank = ~(step > 0)
    if not blank.any():
        return step, []
    seen = _step_seen(used[c.HEIGHT_IN].to_numpy(dtype=float)[blank])
    which = (
        "The resolution of the readings"
        if blank.all()
        else f"The resolution of {counted(int(blank.sum()), 'reading')}"
    )
    tail = (
        f"all of them lie on steps of {seen:.3g} in, which is used"
        if seen
        else "no common step shows; none is assumed"
    )
    return np.where(blank, seen, step), [f"{which} is not recorded; {tail}."]


def _step_seen(heights_in: np.ndarray) -> float:
    """Coarsest usual step on which all these heights lie; 0 if there is none. [in]"""
    for step in KNOWN_STEPS_IN:
        for some in (heights_in[:1000], heights_in):
            if np.abs(some / step - np.round(some / step)).max() > 1e-3:
                break
        else:
            return step
    return 0.0


def _segment_lines(used: pd.DataFrame, step_in: np.ndarray) -> pd.DataFrame:
    """The line through each segment, with its sums; the slope is missing where all miles are equal."""
    codes, heads = _coded(used[c.SEGMENT])
    n_segments = len(heads)
    x = used[c.MILES_MI].to_numpy(dtype=float) / 1000.0
    y = used[c.HEIGHT_IN].to_numpy(dtype=float)
    n = np.bincount(codes, minlength=n_segments)
    x_mean, y_mean = (np.bincount(codes, values, n_segments) / n for values in (x, y))
    dx, dy = x - x_mean[codes], y - y_mean[codes]
    sxx, sxy, syy, spread = (
        np.bincount(codes, values, n_segments) for values in (dx * dx, dx * dy, dy * dy, np.abs(dx))
    )
    ends = np.full((3, n_segments), np.inf)
    for row, values in zip(ends, (x, -x, -step_in), strict=True):
        np.minimum.at(row, codes, values)
    first, last, step = ends * np.array([[1000.0], [-1000.0], [-1.0]])
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(last > first, sxy / sxx, np.nan)
    lines = used.iloc[heads][[c.SEGMENT, *SET_KEYS, c.STATION]].reset_index(drop=True)
    intercept = y_mean - slope * x_mean
    return lines.assign(
        **{
            c.ESTIMATE: -slope,
            INTERCEPT_IN: intercept,
            FIRST_MI: first,
            LAST_MI: last,
            FIRST_HEIGHT_IN: intercept + slope * first / 1000.0,
            LAST_HEIGHT_IN: intercept + slope * last / 1000.0,
            SPAN_MI: last - first,
            c.N_READINGS: n,
            SXX: sxx,
            SXY: sxy,
            SYY: syy,
            SPREAD: spread,
            STEP_IN: step,
        }
    )


def _with_rounding(lines: pd.DataFrame, repeatability_in: float | None) -> pd.DataFrame:
    """The lines with the variance and the largest error that rounding gives their slopes."""
    cell, cells = grouped(lines, CELL)
    step = lines[STEP_IN].to_numpy()
    if repeatability_in is None:
        error_variance = _scatter(lines, cell, len(cells))[cell]
        reading_variance = step**2 / 12
    else:
        error_variance = np.full(len(lines), repeatability_in**2)
        reading_variance = np.maximum(step**2 / 12, error_variance)
    beyond = np.sqrt(np.maximum(error_variance - step**2 / 12, 0))
    rate = np.abs(np.bincount(cell, lines[SXY], len(cells)) / np.bincount(cell, lines[SXX], len(cells)))[cell]
    span = lines[SPAN_MI].to_numpy() / 1000.0
    bound = rounding_amplitude(step, beyond) * (lines[SPREAD] / lines[SXX]).to_numpy()
    bound = np.minimum(bound * uncancelled_share(rate * span, step), step / span)
    return lines.assign(**{ROUNDING_VARIANCE: reading_variance / lines[SXX], c.ROUNDING_BOUND: bound})


def _scatter(lines: pd.DataFrame, cell: np.ndarray, n_cells: int) -> np.ndarray:
    """Variance of a reading about its line, by cell. [in^2]

    Where no segment has more than two readings it comes from how much the slopes within a set differ.
    """
    explained = (lines[SXY] ** 2 / lines[SXX]).to_numpy()
    about = np.bincount(cell, lines[SYY] - explained, n_cells)
    free = np.bincount(cell, lines[c.N_READINGS] - 2, n_cells)
    of_set, sets = grouped(lines, SET_KEYS)
    common = np.bincount(of_set, lines[SXY], len(sets)) ** 2 / np.bincount(of_set, lines[SXX], len(sets))
    cell_of_set = np.zeros(len(sets), dtype=int)
    cell_of_set[of_set] = cell
    between = np.bincount(cell, explained, n_cells) - np.bincount(cell_of_set, common, n_cells)
    lines_free = np.bincount(cell, minlength=n_cells) - np.bincount(cell_of_set, minlength=n_cells)
    scatter = np.where(free > 0, about / np.maximum(free, 1), between / np.maximum(lines_free, 1))
    return np.maximum(scatter, 0)


# ---------------------------------------------------------------- pooling
def _pooled(
    parts: pd.DataFrame, keys: list[str], weights: str, miles: str = c.MILES_MI, count: str = ""
) -> pd.DataFrame:
    """Weighted mean of the slopes of `parts` by `keys`, with the sums of miles and readings and the number of parts."""
    codes, pooled = grouped(parts, keys)

    def summed(values: np.ndarray | pd.Series) -> np.ndarray:
        return np.bincount(codes, values, len(pooled))

    weight = parts[weights].to_numpy()
    share = weight / summed(weight)[codes]
    pooled[c.ESTIMATE] = summed(share * parts[c.ESTIMATE])
    pooled[c.MILES_MI] = summed(parts[miles])
    if count:
        pooled[count] = np.bincount(codes, minlength=len(pooled))
    pooled[c.N_READINGS] = summed(parts[c.N_READINGS]).astype(int)
    pooled[ROUNDING_VARIANCE] = summed(share**2 * parts[ROUNDING_VARIANCE])
    pooled[c.ROUNDING_BOUND] = summed(share * parts[c.ROUNDING_BOUND])
    return pooled


def _reach_mi(lines: pd.DataFrame, keys: list[str]) -> np.ndarray:
    """Miles from the first to the last reading of each group, gaps between its segments included. [mi]"""
    codes, groups = grouped(lines, keys)
    first, last = np.full(len(groups), np.inf), np.full(len(groups), -np.inf)
    np.minimum.at(first, codes, lines[FIRST_MI].to_numpy())
    np.maximum.at(last, codes, lines[LAST_MI].to_numpy())
    return last - first


def _coded(values: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """A code for each value and the position of the first row of each code."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        codes = values.cat.codes.to_numpy()
        present = np.bincount(codes, minlength=len(values.cat.categories)) > 0
        if not present.all():
            codes = (np.cumsum(present) - 1)[codes]
    else:
        codes = pd.factorize(values)[0]
    heads = np.zeros(int(codes.max(initial=-1)) + 1, dtype=np.intp)
    heads[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return codes, heads


def grouped(frame: pd.DataFrame, keys: list[str]) -> tuple[np.ndarray, pd.DataFrame]:
    """A code for each row and the keys of each code."""
    codes = frame.groupby(keys, observed=True, sort=False).ngroup().to_numpy()
    return codes, frame.iloc[_coded(pd.Series(codes))[1]][keys].reset_index(drop=True)
