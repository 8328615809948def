"""The smallest difference that a trial would probably have shown.

Answers: when no difference is shown, how large could one have been and still be missed?
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import nctdtrinc, stdtrit

from trialkit.stats.inference import two_sided_tail

POWER = 0.8
"""Share of like trials that would show the difference; common practice, no source."""


def detectable_difference(
    std_error: Any, df: Any, confidence_level: float = 0.95, power: float = POWER
) -> Any:
    """Smallest true difference that would be shown in this share of trials with this standard error.

    Use it to say what a trial without a finding could have found. It is no probability about the trial at hand, whose
    interval says more.

    Parameters
    ----------
    std_error, df : float or ndarray
        Standard error of the difference and its degrees of freedom.
    confidence_level : float
        Two-sided level at which a difference counts as shown.
    power : float
        Share of trials.

    Returns
    -------
    float or ndarray
        In the unit of the standard error; NaN where there is none.

    Notes
    -----
    ``std_error * d`` with d the noncentrality at which a noncentral t variable exceeds Student's two-sided quantile with
    probability `power`; the other tail, below 1e-4 there, is left out.
    """
    quantile = stdtrit(df, 1 - two_sided_tail(confidence_level))
    known = np.isfinite(quantile) & np.isfinite(std_error)
    shift = nctdtrinc(np.where(known, df, 1.0), 1 - power, np.where(known, quantile, 1.0))
    found = np.where(known, std_error * shift, np.nan)
    return found.item() if found.ndim == 0 else found
