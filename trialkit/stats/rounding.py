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
