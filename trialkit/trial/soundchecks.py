"""Rules for sound and vibration samples: calibrations, lengths and exchange rates.

Answers: did the instrument drift, does a sample fit into its shift, and were all samples averaged in the same way?

All three are doubtful and none is impossible. A drifting instrument shifts levels by about its drift; a dosimeter may run
on after the shift, or the times of the shift may be rounded, and only the weight of the sample is in doubt then; and a fleet
may own instruments with different exchange rates, whose averages the analysis keeps apart.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import counted
from trialkit.tables import TABLES
from trialkit.trial.findings import Source, number_text
from trialkit.trial.moments import shift_spans
from trialkit.trial.timeline import SHIFTS

SOUND, VIBRATION = "sound", "vibration"
ROUNDED_H = 0.25
"""How much longer than its shift a sample may last [h]: shifts are often written to the quarter hour (common practice, no
source)."""
RATES_DB = tuple(float(choice) for choice in TABLES[SOUND].column(c.EXCHANGE_RATE_DB).choices)


def check_samples(sources: Mapping[str, Source], drift_limit_db: float) -> list[Problem]:
    """Every doubt about sound and vibration samples.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name.
    drift_limit_db : float
        Largest difference of two calibrations that passes [dB].
    """
    problems = []
    shifts = sources.get(SHIFTS)
    for name in (SOUND, VIBRATION):
        if name in sources and shifts is not None and shifts.has(c.SHIFT_ID, c.START, c.END):
            problems += _outlasting(sources[name], shifts)
    if SOUND in sources:
        problems += _drift(sources[SOUND], drift_limit_db) + _mixed_rates(sources[SOUND])
    return problems


def drifted_samples(samples: pd.DataFrame, limit_db: float) -> pd.DataFrame:
    """Samples whose calibrations before and after differ by more than a limit.

    When to use: to query them before the analysis; a drifting instrument shifts every level that it read.

    Parameters
    ----------
    samples : DataFrame
        cal_before_db, cal_after_db [dB]; samples without both cannot be judged and are not returned.
    limit_db : float
        Largest difference that passes [dB].

    Returns
    -------
    DataFrame
        The samples concerned with a column drift_db, after minus before [dB].
    """
    drift = samples[c.CAL_AFTER_DB] - samples[c.CAL_BEFORE_DB]
    off = drift.abs() > limit_db + 1e-9
    return samples[off].assign(**{c.DRIFT_DB: drift[off]})


def outlasts_shift(duration_min: pd.Series, shift_length_h: pd.Series) -> pd.Series:
    """Whether each sample lasts longer than its shift; no where either is not known.

    Parameters
    ----------
    duration_min : Series
        Length of each sample [min].
    shift_length_h : Series
        Length of its shift [h], as `shift_lengths_h` gives it.
    """
    return duration_min / 60.0 > shift_length_h + ROUNDED_H + 1e-9


def shift_lengths_h(shifts: pd.DataFrame) -> pd.Series:
    """The longest that each shift can have lasted [h]; missing where its start or end is.

    Parameters
    ----------
    shifts : DataFrame
        shift_id, start, end. A day without a time counts whole; a shift that is listed twice is not judged.

    Returns
    -------
    Series
        By shift_id.
    """
    first, last, _ = shift_spans(shifts)
    known = pd.to_datetime(shifts[c.START]).notna() & pd.to_datetime(shifts[c.END]).notna()
    hours = np.where(known & (last > first), (last - first) / 3600.0, np.nan)
    lengths = pd.Series(hours, index=pd.Index(shifts[c.SHIFT_ID].astype(object)), name=c.SHIFT_LENGTH_H)
    return lengths[lengths.index.notna() & ~lengths.index.duplicated(keep=False)]


# ---------------------------------------------------------------- one sample
def _outlasting(source: Source, shifts: Source) -> list[Problem]:
    if not source.has(c.SHIFT_ID, c.DURATION_MIN):
        return []
    lengths = shift_lengths_h(shifts.frame)
    hours = source.frame[c.SHIFT_ID].astype(object).map(lengths).astype(float)
    minutes = pd.Series(source.possible(c.DURATION_MIN), index=hours.index)
    rows = np.flatnonzero(outlasts_shift(minutes, hours))

    def say(row: int) -> Problem:
        shift, length = source.frame[c.SHIFT_ID].iloc[row], hours.iloc[row]
        allowed = f"{source.span(c.DURATION_MIN, None, round(60 * length))}, the length of shift {shift}"
        fix = f"Correct {source.header(c.DURATION_MIN)}, the shift of the sample, or the times of the shift; the length weights the average."
        found = source.written(c.DURATION_MIN, row)
        return source.problem("sample-outlasts-shift", row, c.DURATION_MIN, found, allowed, fix)

    return source.listed("sample-outlasts-shift", c.DURATION_MIN, rows, say)


def _drift(source: Source, limit_db: float) -> list[Problem]:
    if not source.has(c.CAL_BEFORE_DB, c.CAL_AFTER_DB):
        return []
    before = source.possible(c.CAL_BEFORE_DB)
    judged = source.frame.assign(
        **{c.CAL_BEFORE_DB: before, c.CAL_AFTER_DB: source.possible(c.CAL_AFTER_DB)},
        **{c.ROW: np.arange(len(source.frame))},
    )
    rows = drifted_samples(judged, limit_db)[c.ROW]

    def say(row: int) -> Problem:
        low, high = (number_text(before[row] + step) for step in (-limit_db, limit_db))
        started = f"{source.header(c.CAL_BEFORE_DB)} {source.written(c.CAL_BEFORE_DB, row)}"
        allowed = f"from {low} to {high} dB, within {number_text(limit_db)} dB of {started}"
        fix = (
            "Check what the calibrator showed. If the instrument drifted, its levels may be off by as much: leave the sample out "
            "with a line of decisions, or keep it and say why."
        )
        found = source.written(c.CAL_AFTER_DB, row)
        return source.problem("calibration-drift", row, c.CAL_AFTER_DB, found, allowed, fix)

    return source.listed("calibration-drift", c.CAL_AFTER_DB, rows, say)


# ---------------------------------------------------------------- all samples
def _mixed_rates(source: Source) -> list[Problem]:
    """One problem at the first sample of the rarer exchange rate."""
    if not source.has(c.EXCHANGE_RATE_DB):
        return []
    rate = source.possible(c.EXCHANGE_RATE_DB)
    low, high = (np.flatnonzero(rate == value) for value in RATES_DB)
    if not (len(low) and len(high)):
        return []
    few, many = sorted((high, low), key=len)
    rare, usual = (number_text(rate[rows[0]]) for rows in (few, many))
    found = f"{rare} in {counted(len(few), 'row')} and {usual} in {counted(len(many), 'row')}"
    fix = (
        "Correct it where it is mistyped. Otherwise leave it: the two are shown apart, and only averages with 3 dB are held "
        "against criteria that count energy."
    )
    allowed = "one exchange rate for all samples"
    return [
        source.problem("exchange-rates-mixed", int(few[0]), c.EXCHANGE_RATE_DB, found, allowed, fix, key="")
    ]
