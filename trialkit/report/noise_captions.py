"""The words that belong to the figures of noise and vibration.

Answers: what does such a figure say, in words that can never disagree with it?

As in `captions`, everything is built from the result that was drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import formatting
from trialkit.cab.criteria import NoiseCriterion
from trialkit.cab.noise import TASK_WORDS
from trialkit.cab.noise_exposure import hours_words
from trialkit.cab.sound import ENERGY
from trialkit.formatting import level_words
from trialkit.report.captions import SHOWN, FigureWords, figure_words, some
from trialkit.report.noise_figures import a8_text, level_text, shift_lengths, shown_task

MEAN = "average of all samples"
CRITERION_HEADINGS = {c.CRITERION: "Criterion"}


def levels(result: Any) -> FigureWords:
    """Words for `noise_figures.levels`; the same result as there."""
    task = shown_task(result.levels)
    table = result.levels.table
    table = table[table[c.TASK] == task]
    label = result.levels.label
    mixed = table[c.EXCHANGE_RATE_DB].nunique() > 1
    said = []
    for row in table.to_dict("records"):
        averaged = f", averaged with {row[c.EXCHANGE_RATE_DB]:g} dB" if mixed else ""
        words = level_text(row[c.LEVEL_DBA], row[c.CONF_LOW], row[c.CONF_HIGH])
        trucks = formatting.counted(int(row[c.N_TRUCKS]), "truck")
        said.append(f"{formatting.sentence_case(label(row[c.EDGE_TYPE]))}{averaged}: {words} dBA, {trucks}.")
    level = level_words(result.confidence_level)
    rulers = _rulers_said(result)
    caption = (
        f"Average level in the cab {TASK_WORDS[task]} with its {level}; small open marks are single trucks."
        f"{' Rulers show how many hours at a steady level reach each criterion.' if result.criteria else ''}"
    )
    if mixed:
        caption += " Averages with 5 dB are no energy averages and stand by themselves."
    elif (table[c.EXCHANGE_RATE_DB] != ENERGY).all():
        caption += " All were averaged with 5 dB, so they are no energy averages and rulers of criteria that count energy do not fit them."
    alt = f"Chart of the level in dBA {TASK_WORDS[task]} for each edge type, with its {level}. {some(said)} {rulers}"
    data = _levels_and_trucks(result, table, task)
    return figure_words(caption, alt, data, label.labels, result.confidence_level, {SHOWN: "Shown as"})


def doses(result: Any) -> FigureWords:
    """Words for `noise_figures.doses`; the same result as there."""
    hours = shift_lengths(result)
    table = result.by_shift_length(hours)
    label = result.levels.label
    shift = table[table[c.SHIFT_LENGTH_H] == result.shift_length_h]
    said = []
    for criterion in result.criteria:
        mine = shift[shift[c.CRITERION] == criterion.name].to_dict("records")
        parts = [f"{label(row[c.EDGE_TYPE])} {dose_text(row)}" for row in mine]
        if parts:
            action = formatting.percent(criterion.action_dose_pct)
            said.append(f"{criterion.label}, reached at {action}: {formatting.listed(parts)}.")
    lengths = formatting.listed([hours_words(length) for length in hours])
    caption = (
        f"Dose of shifts of {lengths} hours by edge type and criterion; dashed lines are the doses at which the criteria are reached."
        f"{'' if result.is_whole else f' Counted for {result.shift_words}, and in proportion for the other lengths.'}"
    )
    alt = (
        f"{formatting.counted(len(said), 'panel')}, one for each criterion: dose of shifts of {lengths} hours by edge type. For "
        f"{result.shift_words}: {some(said)}"
    )
    doses_pct = [c.DOSE_PCT, c.DOSE_LOW_PCT, c.DOSE_HIGH_PCT]
    names = table[c.CRITERION].map(criterion_labels(result.criteria))
    data = table.assign(**{c.CRITERION: names}, **{name: table[name].round() for name in doses_pct})
    return figure_words(caption, alt, data, label.labels, None, CRITERION_HEADINGS)


def daily_vibration(result: Any) -> FigureWords:
    """Words for `noise_figures.daily_vibration`; the same result as there."""
    label = result.label
    said = []
    for row in result.governing().to_dict("records"):
        words = a8_text(row[c.A8_M_S2], row[c.A8_LOW_M_S2], row[c.A8_HIGH_M_S2])
        trucks = formatting.counted(int(row[c.N_TRUCKS]), "truck")
        said.append(
            f"{formatting.sentence_case(label(row[c.EDGE_TYPE]))}, axis {row[c.AXIS]}: {words} m/s², {trucks}."
        )
    lines = formatting.listed([f"{one.label}, {one.a8_m_s2:g}" for one in result.criteria])
    level = level_words(result.confidence_level)
    caption = (
        f"Whole-body vibration A(8) over {hours_words(result.daily_h)} hours a day in the axis that governs, with its {level}; small "
        f"open marks are single trucks. Dashed lines: {lines} m/s²."
    )
    alt = f"Chart of A(8) in m/s² for each edge type, with its {level}, beside {lines}. {some(said)}"
    data = _a8_and_trucks(result)
    return figure_words(caption, alt, data, label.labels, result.confidence_level, {SHOWN: "Shown as"})


def criterion_labels(criteria: Any) -> dict[str, str]:
    """Name of each criterion -> the name that the report prints."""
    return {criterion.name: criterion.label for criterion in criteria}


def dose_text(row: Mapping[Any, Any]) -> str:
    """A dose with its range."""
    dose, low, high = (float(row[name]) for name in (c.DOSE_PCT, c.DOSE_LOW_PCT, c.DOSE_HIGH_PCT))
    if not math.isfinite(low):
        return f"{formatting.percent(dose)} ({formatting.NO_INTERVAL})"
    said, ends = formatting.percent(dose), (formatting.fixed(low, 0), formatting.percent(high))
    return said if ends == (said.removesuffix("%"), said) else f"{said} ({ends[0]} to {ends[1]})"


def _rulers_said(result: Any) -> str:
    """The level at which a shift of this length reaches each criterion, where the criterion counts such levels."""
    parts = [
        f"{one.label} {formatting.fixed(level, 1)} dBA"
        for one in result.criteria
        if (level := steady_level_dba(one, result.shift_length_h)) is not None
    ]
    if not parts:
        return ""
    hours = hours_words(result.shift_length_h)
    return f"Steady level that reaches a criterion in {hours} hours: {formatting.listed(parts)}."


def steady_level_dba(criterion: NoiseCriterion, hours: float) -> float | None:
    """Steady level that reaches a criterion in so many hours; None where the criterion does not count such a level."""
    level = float(criterion.shift_level_dba(hours)[0])
    counts = criterion.threshold_dba is None or level >= criterion.threshold_dba - 1e-9
    return level if counts else None


def _levels_and_trucks(result: Any, table: pd.DataFrame, task: str) -> pd.DataFrame:
    """The average of each edge type, followed by its trucks."""
    by_truck = result.levels.by_truck
    by_truck = by_truck[by_truck[c.TASK] == task]
    kept = [c.EDGE_TYPE, SHOWN, c.EXCHANGE_RATE_DB, c.LEVEL_DBA, c.CONF_LOW, c.CONF_HIGH, c.N_SAMPLES]
    parts = []
    for _, row in table.iterrows():
        own = by_truck[
            (by_truck[c.EDGE_TYPE] == row[c.EDGE_TYPE])
            & (by_truck[c.EXCHANGE_RATE_DB] == row[c.EXCHANGE_RATE_DB])
        ]
        parts += [row.to_frame().T.assign(**{SHOWN: MEAN}), own.assign(**{SHOWN: own[c.TRUCK_ID]})]
    both = pd.concat([part.astype(object) for part in parts], ignore_index=True).reindex(columns=kept)
    return both.astype(dict.fromkeys(kept[2:], float))


def _a8_and_trucks(result: Any) -> pd.DataFrame:
    """A(8) of each edge type, followed by its trucks."""
    kept = [c.EDGE_TYPE, SHOWN, c.AXIS, c.A8_M_S2, c.CONF_LOW, c.CONF_HIGH]
    trucks = result.a8_by_truck()
    parts = []
    governing = result.governing()
    ends = {c.CONF_LOW: governing[c.A8_LOW_M_S2], c.CONF_HIGH: governing[c.A8_HIGH_M_S2]}
    for _, row in governing.assign(**ends).iterrows():
        own = trucks[trucks[c.EDGE_TYPE] == row[c.EDGE_TYPE]]
        parts += [row.to_frame().T.assign(**{SHOWN: MEAN}), own.assign(**{SHOWN: own[c.TRUCK_ID]})]
    both = pd.concat([part.astype(object) for part in parts], ignore_index=True).reindex(columns=kept)
    return both.astype(dict.fromkeys(kept[3:], float))
