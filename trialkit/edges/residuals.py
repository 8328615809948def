"""How far each reading lies off the line of its segment.

Answers: which single reading does not fit the others of its segment?

One at a time the reading of a segment that fits worst is set aside and the line is drawn again without it, since a wild
reading pulls the line towards itself and makes its neighbors look wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from trialkit import columns as c
from trialkit.edges import slopes as sl
from trialkit.table_parts import NO, YES

FALSE_ALARMS = 0.05
"""Probability that an edge type without any odd reading is said to have one."""
FEWEST_READINGS = 4
"""With fewer readings in a segment it cannot be told which of them is the wrong one."""
NO_SCATTER = 1e-18
"""Share of the sum of squares within segments below which a remainder is rounding error of the arithmetic."""
MOST_PASSES = 20


@dataclass(frozen=True, eq=False)
class Residuals:
    """Distances of readings from their lines, and the sums by segment and cell that other tests need.

    Attributes
    ----------
    readings : DataFrame
        The readings with `residual_in` (height above the line of its segment [in]), `distance` (the same in standard
        deviations), `limit` and `stands_apart` (yes or no). A reading that stands apart is measured from the line of the
        others.
    segment : int array
        Segment of each reading.
    squares, free : float array
        Residual sum of squares [in^2] and its degrees of freedom, by segment, readings that stand apart left out.
    cell_of_segment : int array
        Edge type and plow position of each segment.
    squares_of_cell, free_of_cell, least : float array
        The sums, and the variance of a reading that rounding alone gives [in^2], by edge type and plow position.
    """

    readings: pd.DataFrame
    segment: np.ndarray
    squares: np.ndarray
    free: np.ndarray
    cell_of_segment: np.ndarray
    squares_of_cell: np.ndarray
    free_of_cell: np.ndarray
    least: np.ndarray


def reading_residuals(readings: pd.DataFrame) -> Residuals:
    """Measure every reading from the line of its segment and find those that stand apart.

    Use it on the readings behind the rates (`slopes.used_readings`).

    Parameters
    ----------
    readings : DataFrame
        Columns edge_type, plow_position, segment, miles_mi [mi], height_in [in]; resolution_in [in] if known.

    Returns
    -------
    Residuals
        Readings of a segment with fewer than four have no distance.

    Notes
    -----
    ``r / (s sqrt(1 - 1/n - (x - mean)^2 / Sxx))`` with s^2 the residual sum of squares of the edge type and plow position
    over its degrees of freedom, never below what rounding gives a reading. A reading stands apart if its externally
    studentized residual would be so large by chance in `FALSE_ALARMS` of such trials (Bonferroni's limit over the readings
    of its edge type and plow position [1]_); of each segment the farthest is set aside, and all is done again.

    References
    ----------
    .. [1] R. D. Cook and S. Weisberg, "Residuals and influence in regression", section 2.2.2, 1982.
    """
    segment, _ = pd.factorize(readings[c.SEGMENT])
    cell, cells = sl.grouped(readings, sl.CELL)
    x, y = (readings[name].to_numpy(dtype=float, na_value=np.nan) for name in (c.MILES_MI, c.HEIGHT_IN))
    step = np.zeros(len(cells))
    if c.RESOLUTION_IN in readings:
        np.maximum.at(
            step, cell, np.nan_to_num(readings[c.RESOLUTION_IN].to_numpy(dtype=float, na_value=np.nan))
        )
    kept = np.ones(len(x), dtype=bool)
    for _ in range(MOST_PASSES):
        found = _measured(segment, cell, x, y, kept, step)
        worst = _worst(found, segment, kept)
        if not worst.any():
            break
        kept &= ~worst
    columns: dict[str, Any] = {
        c.RESIDUAL_IN: found.residual,
        c.DISTANCE: found.distance,
        c.LIMIT: found.limit,
        c.STANDS_APART: np.where(kept, NO, YES),
    }
    return Residuals(
        readings.assign(**columns), segment, found.squares, found.free, found.cell_of_segment, found.squares_of_cell,
        found.free_of_cell, step**2 / 12,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Measured:
    residual: np.ndarray
    distance: np.ndarray
    limit: np.ndarray
    squares: np.ndarray
    free: np.ndarray
    cell_of_segment: np.ndarray
    squares_of_cell: np.ndarray
    free_of_cell: np.ndarray


def _measured(
    segment: np.ndarray, cell: np.ndarray, x: np.ndarray, y: np.ndarray, kept: np.ndarray, step: np.ndarray
) -> _Measured:
    """Residuals and distances of all readings from the lines through those that are kept."""
    size, n_cells = int(segment.max(initial=-1)) + 1, len(step)

    def summed(values: np.ndarray) -> np.ndarray:
        return np.bincount(segment, np.where(kept, values, 0.0), size)

    n = summed(np.ones(len(x)))
    dx, dy = (values - (summed(values) / np.maximum(n, 1))[segment] for values in (x, y))
    sxx, sxy = summed(dx * dx), summed(dx * dy)
    slope = np.divide(sxy, sxx, out=np.zeros(size), where=sxx > 0)
    residual = dy - slope[segment] * dx
    lined = (sxx > 0)[segment]
    pull = 1 / np.maximum(n[segment], 1) + np.divide(dx * dx, sxx[segment], out=np.zeros(len(x)), where=lined)

    free = np.where(sxx > 0, np.maximum(n - 2, 0), 0.0)
    cell_of_segment = np.zeros(size, dtype=int)
    cell_of_segment[segment] = cell
    squares = summed(np.where(lined, residual**2, 0.0))
    total = np.bincount(cell_of_segment, squares, n_cells)
    nothing = total <= NO_SCATTER * np.bincount(cell, np.where(kept, dy * dy, 0.0), n_cells)
    total = np.where(nothing, 0.0, total)
    df = np.bincount(cell_of_segment, free, n_cells)
    variance = np.maximum(np.divide(total, df, out=np.zeros(n_cells), where=df > 0), step**2 / 12)
    factor = np.where(kept, np.maximum(1 - pull, 0), 1 + pull)
    spread = np.sqrt(variance[cell] * factor)
    enough = np.bincount(segment, minlength=size)[segment] >= FEWEST_READINGS
    judged = lined & enough & (spread > 0) & (factor > 1e-9)
    distance = np.divide(residual, spread, out=np.full(len(x), np.nan), where=judged)
    limit = np.where(judged, _limits(np.bincount(cell, judged, n_cells), df)[cell], np.nan)
    squares = np.where(nothing[cell_of_segment], 0.0, squares)
    return _Measured(residual, distance, limit, squares, free, cell_of_segment, total, df)


def _worst(found: _Measured, segment: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """The farthest reading of each segment, if it is beyond the limit and enough others are left for a line."""
    far = np.where(kept, np.abs(np.nan_to_num(found.distance)), 0.0)
    most = np.zeros(len(found.free))
    np.maximum.at(most, segment, far)
    beyond = (far > np.where(np.isnan(found.limit), np.inf, found.limit)) & (far == most[segment])
    beyond &= found.free[segment] >= FEWEST_READINGS - 2
    first = np.zeros(len(segment), dtype=bool)
    rows = np.flatnonzero(beyond)
    first[rows[np.unique(segment[rows], return_index=True)[1]]] = True
    return first


def _limits(n: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Largest internally studentized residual of n readings that chance allows, by degrees of freedom.

    The external one t follows Student's t with one degree of freedom less; ``r = t sqrt(df / (df - 1 + t^2))``.
    """
    t = stdtrit(np.maximum(df - 1, 1), 1 - FALSE_ALARMS / 2 / np.maximum(n, 1))
    limit = t * np.sqrt(df / np.maximum(df - 1 + t**2, 1e-9))
    return np.where(df > 1, limit, np.inf)
