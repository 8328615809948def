"""Averages of sound levels, and how sure such an average is.

Answers: what is the average of several decibel readings, and how far may it be off?

Decibels are logarithms. Their arithmetic mean says nothing about sound energy and is always too low: 6 hours at 80 dBA and
2 hours at 92 dBA average 86.7 dBA, not 83. The uncertainty follows the task-based method of ISO 9612:2009, Annex C.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from trialkit.cab.criteria import require_hours, require_levels, weights_of
from trialkit.errors import UsageError

ENERGY = 3
"""Exchange rate, as samples record it, of an energy average [dB]."""
FIVE_DB = 5
"""Exchange rate of an average taken the way 29 CFR 1910.95 counts [dB]."""

REFERENCE_H = 8.0
COVERAGE_FACTOR = 1.65
"""One-sided 95%: ISO 9612:2009, Annex C."""
INSTRUMENT_U2_DB = {"dosimeter": 1.5, "meter": 1.5, "class_1": 0.7}
"""Standard uncertainty of the instrument [dB]: ISO 9612:2009, Table C.5. A meter of unknown class is taken as class 2."""
POSITION_U3_DB = 1.0
"""Standard uncertainty of the microphone position [dB]: ISO 9612:2009, C.6 (from memory; the examples need this value)."""


def equivalent_level(
    level_dba: ArrayLike, duration: ArrayLike | None = None, *, exchange_rate_db: float = ENERGY
) -> float:
    """Average level of periods, weighted by their durations [dBA].

    When to use: samples that were all averaged with the same exchange rate. Never put samples averaged with 5 dB and with
    3 dB together: the first are not energy averages.

    Parameters
    ----------
    level_dba : array_like
        Level of each period [dBA].
    duration : array_like, optional
        Length of each period, in any one unit; equal if left out.
    exchange_rate_db : {3, 5}
        Exchange rate with which the instrument averaged [dB].

    Returns
    -------
    float

    Raises
    ------
    UsageError
        If a level or duration is impossible, all durations are zero, or the exchange rate is neither 3 nor 5.

    Notes
    -----
    ``q log10(sum(t 10^(L/q)) / sum(t))``, q = 10 for an energy average (ISO 1999) and 16.61 for 5 dB (29 CFR 1910.95,
    Appendix A).

    Examples
    --------
    >>> round(equivalent_level([80, 92], [6, 2]), 1)
    86.7
    """
    if exchange_rate_db not in (ENERGY, FIVE_DB):
        raise UsageError(f"An exchange rate of {exchange_rate_db:g} dB; allowed 3 or 5.")
    level = require_levels(level_dba)
    weight = weights_of(duration, level.size, "level")
    return float(level_of(np.average(energy_of(level, exchange_rate_db), weights=weight), exchange_rate_db))


def energy_of(level_dba: ArrayLike, exchange_rate_db: ArrayLike = ENERGY) -> np.ndarray:
    """What a level adds to an average, relative to 0 dBA: ``10^(L/q)``; sound energy for an exchange rate of 3 dB."""
    return 10.0 ** (np.asarray(level_dba, dtype=float) / coefficient(exchange_rate_db))


def level_of(energy: ArrayLike, exchange_rate_db: ArrayLike = ENERGY) -> np.ndarray:
    """The level that belongs to an average of `energy_of` [dBA]."""
    return coefficient(exchange_rate_db) * np.log10(energy)


def coefficient(exchange_rate_db: ArrayLike) -> np.ndarray:
    """Decibels per tenfold energy, q: 10 for samples averaged with 3 dB, 16.61 with 5 dB."""
    return np.where(np.asarray(exchange_rate_db) == ENERGY, 10.0, FIVE_DB / math.log10(2))


def level_sum(level_dba: ArrayLike) -> float:
    """Level of several sources that sound at the same time [dBA]: ``10 log10(sum(10^(L/10)))``.

    Examples
    --------
    >>> round(level_sum([40, 45]), 1)
    46.2
    """
    level = require_levels(level_dba)
    return equivalent_level(level) + 10.0 * math.log10(level.size)


def exposure_level(level_dba: float, duration_h: float, reference_h: float = REFERENCE_H) -> float:
    """Level that spreads the energy of a period over 8 hours, LEX,8h [dBA]: ``L + 10 log10(T / 8)``."""
    if not duration_h > 0:
        raise UsageError(f"A duration of {duration_h:g} h; allowed above 0.")
    return float(level_dba + 10.0 * math.log10(duration_h / reference_h))


def weekly_exposure_level(daily_dba: ArrayLike, nominal_days: int = 5) -> float:
    """Weekly exposure level from the daily ones [dBA]: the energy of all days over five nominal days.

    Notes
    -----
    The divisor stays 5 however many days were worked: Directive 2003/10/EC, Article 2; UK SI 2005/1643, Schedule 1.
    """
    return level_sum(daily_dba) - 10.0 * math.log10(nominal_days)


def sampling_uncertainty_db(level_dba: ArrayLike) -> float:
    """Standard uncertainty of a task's level from the spread of its samples, u1a [dB]; NaN with one sample.

    Notes
    -----
    ``sqrt(sum((L - mean L)^2) / (N (N - 1)))``, ISO 9612:2009, Equation (C.6): here, and only here, the plain mean of
    levels is meant.
    """
    level = require_levels(level_dba)
    return float(level.std(ddof=1) / math.sqrt(level.size)) if level.size > 1 else math.nan


def level_sensitivity(level_dba: ArrayLike, duration_h: ArrayLike) -> np.ndarray:
    """Share of each task in the day's sound energy, c1a: ISO 9612:2009, Equation (C.4). The shares add up to 1."""
    level, duration = require_levels(level_dba), require_hours(duration_h)
    energy = duration * 10.0 ** ((level - level.max()) / 10.0)
    return energy / energy.sum()


def duration_sensitivity_db_per_h(level_dba: ArrayLike, duration_h: ArrayLike) -> np.ndarray:
    """Change of the day's level per hour that a task is longer, c1b [dB/h]: ISO 9612:2009, Equation (C.5)."""
    duration = require_hours(duration_h)
    return 10.0 / math.log(10.0) * level_sensitivity(level_dba, duration) / duration


def combined_uncertainty_db(
    level_dba: ArrayLike,
    duration_h: ArrayLike,
    *,
    u1a_db: ArrayLike,
    u1b_h: ArrayLike = 0.0,
    u2_db: ArrayLike = INSTRUMENT_U2_DB["dosimeter"],
    u3_db: ArrayLike = POSITION_U3_DB,
) -> float:
    """Combined standard uncertainty of a day made of tasks [dB].

    When to use: to say how far the level itself may be off, instrument and microphone position included. It is no
    comparison of edge types: instrument and position are much the same for all of them.

    Parameters
    ----------
    level_dba, duration_h : array_like
        Level [dBA] and length [h] of each task.
    u1a_db : array_like
        Sampling uncertainty of each task's level [dB], from `sampling_uncertainty_db`.
    u1b_h : array_like
        Standard uncertainty of each task's length [h]; half the range that crews report.
    u2_db, u3_db : array_like
        Standard uncertainty of instrument and of microphone position [dB].

    Returns
    -------
    float

    Notes
    -----
    ``u^2 = sum(c1a^2 (u1a^2 + u2^2 + u3^2) + (c1b u1b)^2)``, ISO 9612:2009, Annex C.3.
    """
    c1a = level_sensitivity(level_dba, duration_h)
    c1b = duration_sensitivity_db_per_h(level_dba, duration_h)
    within = np.square(u1a_db) + np.square(u2_db) + np.square(u3_db)
    return float(np.sqrt((c1a**2 * within + (c1b * np.asarray(u1b_h, dtype=float)) ** 2).sum()))


def expanded_uncertainty_db(standard_uncertainty_db: float) -> float:
    """Expanded uncertainty U [dB]: with 95% confidence the true level is not above level + U. ISO 9612:2009, Annex C."""
    return COVERAGE_FACTOR * standard_uncertainty_db
