"""How far rounding to the steps of a tool can push a reading and a slope.

Answers: what does a coarse tool do to a mean, and when do its errors cancel?
"""

from __future__ import annotations

from typing import Any

import numpy as np


def rounding_amplitude(step_in: Any, error_in: Any) -> np.ndarray:
    """Largest mean error that rounding to steps gives a reading. [in]

    Use it for readings of one height with normal reading error before the rounding.

    Parameters
    ----------
    step_in : float or ndarray
        Step to which the reading is rounded. [in]
    error_in : float or ndarray
        Standard deviation of the reading error before the rounding. [in]

    Returns
    -------
    ndarray
        Half a step without reading error; next to nothing once the error is half a step.

    Notes
    -----
    The mean rounding error is ``sum_k (-1)^k d/(pi k) exp(-2 pi^2 k^2 s^2/d^2) sin(2 pi k y/d)``; the sum of its
    amplitudes bounds it.
    """
    step, error = np.asarray(step_in, dtype=float), np.asarray(error_in, dtype=float)
    relative = np.divide(error, step, out=np.full(step.shape, np.inf), where=step > 0)
    total = np.zeros(step.shape)
    for k in range(1, 31):
        total += np.exp(-2 * (np.pi * k * np.minimum(relative, 1e3)) ** 2) / k
    return step * np.minimum(0.5, total / np.pi)


_STEPS_IN = (
    *(1 / parts for parts in (8, 16, 32, 64)),
    *(0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001),
    *(mm / 25.4 for mm in (1.0, 0.5, 0.1, 0.05, 0.02, 0.01)),
)
"""Steps in which tools for lengths are marked or count: binary fractions and decimals of an inch, decimals of a millimeter. [in]"""


def common_step(heights_in: Any) -> float:
    """The coarsest step of a tool that all readings are multiples of; 0 if there is none. [in]

    Use it where the step of a tool was not recorded. With a handful of readings it may be a multiple of the true step.

    Parameters
    ----------
    heights_in : array-like
        Readings with one tool. [in]

    Examples
    --------
    >>> common_step([5.8125, 5.84375, 4.0]), common_step([5.015, 4.98])
    (0.03125, 0.005)
    """
    heights = np.asarray(heights_in, dtype=float)
    for step in sorted(_STEPS_IN, reverse=True):
        steps = heights / step
        if np.all(np.abs(steps - np.round(steps)) < 0.01):
            return float(step)
    return 0.0


def uncancelled_share(wear_in: Any, step_in: Any) -> np.ndarray:
    """Share of the rounding bound that is left once the wear runs over several steps.

    Parameters
    ----------
    wear_in, step_in : float or ndarray
        Wear over the readings of a line, and the step of the tool. [in]

    Notes
    -----
    ``min(1, (2/pi) / (W/d - 1/2))``.
    """
    wear, step = np.asarray(wear_in, dtype=float), np.asarray(step_in, dtype=float)
    steps = np.divide(wear, step, out=np.zeros_like(wear), where=step > 0)
    return np.minimum(1.0, 2 / np.pi / np.maximum(steps - 0.5, 1e-9))
