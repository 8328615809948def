"""Noise in the cab: average levels by edge type and task.

Answers: how loud is it in the cab with each edge type?

The levels are energy averages weighted by duration, never plain means of decibels. Samples averaged with 5 dB and samples
averaged with 3 dB stand in separate lines. `noise_exposure` says what a whole shift comes to under each criterion,
`noise_comparison` how the edge types differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit.cab import sound
from trialkit.cab.criteria import NOISE_CAUTIONS
from trialkit.cab.samples import EdgeLabels, edge_types_in_order, usable_samples
from trialkit.cab.task_shares import BLADE_DOWN, BLADE_UP, IDLE, OTHER, REST, TASKS
from trialkit.cab.truck_comparison import spread_factor, truck_weights
from trialkit.formatting import NO_INTERVAL, counted, fixed, interval_decimals, listed, span
from trialkit.results import Summary
from trialkit.stats.inference import Sample, mean_interval
from trialkit.tables import SOUND

WHOLE_SHIFT = "whole_shift"
TASK_WORDS = {
    BLADE_DOWN: "with the blade down",
    BLADE_UP: "with the blade up",
    IDLE: "idling",
    OTHER: "at other work",
    REST: "with the blade up or idling",
    WHOLE_SHIFT: "over the whole shift",
}
"""How each task reads in a sentence."""

FEW_SAMPLES = 3
SAMPLE_SPREAD_DB = 3.0
"""ISO 9612:2009, 9.3: at least three samples of a task, and more if they span 3 dB or more."""


@dataclass(frozen=True, eq=False)
class NoiseLevels(Summary):
    """Average level by edge type, task and exchange rate of the samples.

    Attributes
    ----------
    table : DataFrame
        edge_type, task, exchange_rate_db, level_dba, conf_low, conf_high, std_error, df, expanded_db, n_trucks, n_samples,
        duration_h (hours sampled).
    by_truck : DataFrame
        The same for each truck: truck_id, edge_type, task, exchange_rate_db, level_dba, n_samples, duration_h.
    confidence_level : float
    label : EdgeLabels
        Names of the edge types.
    """

    by_truck: pd.DataFrame
    confidence_level: float
    label: EdgeLabels

    def sentence(self) -> str:
        """The average levels with the blade down, or of the first task there is."""
        task = next(name for name in TASKS if (self.table[c.TASK] == name).any())
        rows = self.table[self.table[c.TASK] == task]
        rate = rows[c.EXCHANGE_RATE_DB].min()
        parts = [
            f"{decibels(row[c.LEVEL_DBA], row[c.CONF_LOW], row[c.CONF_HIGH], 'dBA')} with {self.label(row[c.EDGE_TYPE])}"
            for _, row in rows[rows[c.EXCHANGE_RATE_DB] == rate].iterrows()
        ]
        return f"The average level in the cab {TASK_WORDS[task]} was {listed(parts)}."


def estimate_levels(
    samples: pd.DataFrame,
    *,
    confidence_level: float = 0.95,
    u2_db: Mapping[str, float] = sound.INSTRUMENT_U2_DB,
    u3_db: float = sound.POSITION_U3_DB,
    labels: Mapping[str, str] | None = None,
) -> NoiseLevels:
    """Average level by truck, edge type and task.

    When to use: for the levels themselves. For differences between edge types use `noise_comparison`, which compares trucks
    with themselves and like conditions with like.

    Parameters
    ----------
    samples : DataFrame
        Sound samples placed by `samples.place_samples`: truck_id, edge_type, task, duration_min, level_dba,
        exchange_rate_db; sound_id and instrument where they are there.
    confidence_level : float
        Two-sided level of the interval.
    u2_db : mapping
        Standard uncertainty of each instrument [dB].
    u3_db : float
        Standard uncertainty of the microphone position [dB].
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Returns
    -------
    NoiseLevels

    Raises
    ------
    TrialDataError
        If a sample has an impossible level, duration, task or exchange rate.
    NotEnoughDataError
        If no sample has a truck and an edge type.

    Notes
    -----
    Level of an edge type: energy average of all its samples, weighted by duration. Its interval is Student's, from the
    spread of the trucks' levels in decibels, n - 1 degrees of freedom, ``s sqrt(sum(w^2))`` with w the trucks' shares of the
    sampled time; none with a single truck. `expanded_db` is ISO 9612:2009's one-sided 95% uncertainty of the level from the
    spread of the samples, the instrument and the microphone position.
    """
    usable, notes = usable_sound(samples)
    label = EdgeLabels(labels or {})
    keys = [c.EDGE_TYPE, c.TASK, c.EXCHANGE_RATE_DB]
    order = {name: place for place, name in enumerate(edge_types_in_order(usable))}
    by_truck = average_by_truck(usable, keys)
    rows = []
    for (edge, task, exchange), group in usable.groupby(keys, observed=True, sort=False):
        rate = float(str(exchange))
        trucks = by_truck[
            (by_truck[c.EDGE_TYPE] == edge)
            & (by_truck[c.TASK] == task)
            & (by_truck[c.EXCHANGE_RATE_DB] == rate)
        ]
        level = sound.equivalent_level(group[c.LEVEL_DBA], group[c.DURATION_MIN], exchange_rate_db=rate)
        found = mean_interval(Sample.of(trucks[c.LEVEL_DBA]), confidence_level)
        wider = spread_factor(truck_weights(trucks[c.DURATION_H]))
        half = (found.conf_high - found.estimate) * wider
        u1a = sound.sampling_uncertainty_db(group[c.LEVEL_DBA])
        u2 = _instrument_u2(group, u2_db)
        rows.append(
            {
                c.EDGE_TYPE: edge,
                c.TASK: task,
                c.EXCHANGE_RATE_DB: rate,
                c.LEVEL_DBA: level,
                c.CONF_LOW: level - half,
                c.CONF_HIGH: level + half,
                c.STD_ERROR: found.std_error * wider,
                c.DF: found.df,
                c.EXPANDED_DB: sound.expanded_uncertainty_db(math.sqrt(u1a**2 + u2**2 + u3_db**2)),
                c.N_TRUCKS: len(trucks),
                c.N_SAMPLES: len(group),
                c.DURATION_H: group[c.DURATION_MIN].sum() / 60.0,
            }
        )
    rows.sort(key=lambda row: (row[c.EXCHANGE_RATE_DB], order[row[c.EDGE_TYPE]], TASKS.index(row[c.TASK])))
    table = pd.DataFrame(rows)
    notes += _level_notes(table, usable, label)
    method = (
        "Energy average of the samples, weighted by duration; the interval is Student's, with the truck as the unit. The "
        "expanded uncertainty (one-sided 95%) follows ISO 9612:2009: spread of the samples, instrument, microphone position."
    )
    return NoiseLevels(table, method, (*notes, *NOISE_CAUTIONS), by_truck, confidence_level, label)


def decibels(estimate: float, low: float, high: float, unit: str = "dB") -> str:
    """A level with its interval, never finer than the tenth of a decibel that instruments show.

    Examples
    --------
    >>> decibels(83.847, 83.42, 84.28, "dBA")
    '83.8 dBA (83.4 to 84.3)'
    """
    places = min(1, interval_decimals(estimate, low, high))
    span_words = span(low, high, places) if math.isfinite(low) else NO_INTERVAL
    return f"{fixed(estimate, places)} {unit} ({span_words})"


def average_by_truck(usable: pd.DataFrame, keys: Sequence[str]) -> pd.DataFrame:
    """Energy average by truck within `keys`, weighted by duration, with sample count and hours sampled.

    Parameters
    ----------
    usable : DataFrame
        truck_id, level_dba, duration_min, exchange_rate_db and the columns `keys`.
    keys : sequence of str
        Columns to keep apart; the exchange rate must be one of them.

    Returns
    -------
    DataFrame
        truck_id, `keys`, level_dba, n_samples, duration_h.
    """
    by = [
        usable[name].astype(object) if name != c.EXCHANGE_RATE_DB else usable[name]
        for name in (c.TRUCK_ID, *keys)
    ]
    minutes = usable[c.DURATION_MIN]
    energy = minutes * sound.energy_of(usable[c.LEVEL_DBA], usable[c.EXCHANGE_RATE_DB])
    sums = (
        pd.DataFrame({c.LEVEL_DBA: energy, c.N_SAMPLES: 1, c.DURATION_H: minutes / 60.0})
        .groupby(by)
        .sum()
        .reset_index()
    )
    average = sums[c.LEVEL_DBA] / (60.0 * sums[c.DURATION_H])
    return sums.assign(**{c.LEVEL_DBA: sound.level_of(average, sums[c.EXCHANGE_RATE_DB])})


def usable_sound(samples: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The sound samples that can be used, with notes on the rest; see `samples.usable_samples`."""
    return usable_samples(samples, SOUND, (c.TASK, c.DURATION_MIN, c.LEVEL_DBA, c.EXCHANGE_RATE_DB))


def _instrument_u2(group: pd.DataFrame, u2_db: Mapping[str, float]) -> float:
    """The largest standard uncertainty of the instruments used; of a meter of unknown class where none is recorded."""
    unknown = max(u2_db.values())
    if c.INSTRUMENT not in group:
        return unknown
    return max(
        unknown if pd.isna(name) else u2_db.get(name, unknown) for name in group[c.INSTRUMENT].unique()
    )


def _level_notes(table: pd.DataFrame, usable: pd.DataFrame, label: EdgeLabels) -> list[str]:
    notes = []
    if table[c.EXCHANGE_RATE_DB].nunique() > 1:
        notes.append(
            "Some samples were averaged with 5 dB and some with 3 dB. They measure different things and stand in separate lines."
        )
    for _, row in table.iterrows():
        what = f"{label(row[c.EDGE_TYPE])} {TASK_WORDS[row[c.TASK]]}"
        if row[c.N_SAMPLES] == 1:
            notes.append(
                f"There is one sample for {what}: it shows no spread, so neither interval nor uncertainty is given."
            )
        elif row[c.N_TRUCKS] == 1:
            notes.append(f"All samples for {what} come from one truck, so no interval is given.")
        elif math.isnan(row[c.CONF_LOW]):
            notes.append(f"All trucks gave {what} the same level, so no interval is given.")
    groups = usable.groupby([c.EDGE_TYPE, c.TASK, c.EXCHANGE_RATE_DB], observed=True)[c.LEVEL_DBA]
    sizes, spans = groups.size(), groups.max() - groups.min()
    thin = int(((sizes < FEW_SAMPLES) | ((sizes == FEW_SAMPLES) & (spans >= SAMPLE_SPREAD_DB))).sum())
    if thin:
        notes.append(
            f"{thin} of {counted(len(sizes), 'combination')} of edge type and task have fewer samples than ISO 9612:2009 asks "
            "for: at least three, and more if they span 3 dB or more."
        )
    return notes
