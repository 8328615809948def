"""What a storm shift's noise comes to under several criteria side by side.

Answers: how large is the dose of a whole shift with each edge type, and how long until each criterion is reached?

The criteria stand side by side because they differ: OSHA's permissible limit counts from 90 dBA and halves the time every
5 dB, its action level counts from 80 dBA, NIOSH halves every 3 dB from 85 dBA. The same shift has a different dose under each.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.cab import noise, sound
from trialkit.cab.criteria import NOISE_CAUTIONS, NoiseCriterion, noise_criteria, shift_levels
from trialkit.cab.samples import EdgeLabels
from trialkit.cab.task_shares import BLADE_DOWN, BLADE_UP, IDLE, REST, TASKS, TaskShares
from trialkit.errors import UsageError
from trialkit.formatting import listed, number
from trialkit.results import Summary
from trialkit.table_parts import NO, YES

SMALL_SHARE = 0.05
"""A task with less than this share of a shift's sound energy may lack an interval (our choice)."""
USUAL_SHIFTS_H = (8.0, 12.0, 16.0)
NEAR_THRESHOLD_DB = 3.0
"""A level this near to, or below, the level from which a criterion counts gets a note (our choice)."""

UNCLEAR, NOT_KNOWN = "unclear", "not known"
"""Whether a criterion is reached: at both ends of the dose's range, at neither, at one of them (or there is no range);
not known where the hours of the task are not."""
_WORDS = ((YES, "reaches"), (UNCLEAR, "may reach"), (NO, "stays below"))


@dataclass(frozen=True, eq=False)
class NoiseExposure(Summary):
    """Exposure of a storm shift by edge type, task and criterion.

    Attributes
    ----------
    table : DataFrame
        One row per edge type, task (and the whole shift) and criterion: edge_type, task, criterion, level_dba, conf_low,
        conf_high, twa_dba, dose_pct, permissible_h, n_samples; then dose_low_pct, dose_high_pct (the dose with the levels
        lowered and raised by their interval or their expanded uncertainty, whichever is wider), reached,
        duration_h (hours of the task in the shift), shift_length_h, expanded_db, n_trucks, exchange_rate_db. `permissible_h` is for a steady `level_dba`.
    levels : NoiseLevels
        The levels that went in.
    limits : DataFrame
        Steady level at which a shift of 8, 12, 16 hours, and of this length, reaches each criterion.
    criteria : tuple of NoiseCriterion
    shift_length_h : float
    confidence_level : float
    """

    levels: noise.NoiseLevels
    limits: pd.DataFrame
    criteria: tuple[NoiseCriterion, ...]
    shift_length_h: float
    confidence_level: float

    @property
    def is_whole(self) -> bool:
        """Whether shifts were put together from their tasks; else each task is shown as if it lasted the whole shift."""
        return bool((self.table[c.TASK] == noise.WHOLE_SHIFT).any())

    @property
    def shift_words(self) -> str:
        """What `shift_rows` are about: a whole shift, one with the blade down throughout, or its part with the blade down."""
        length = hours_words(self.shift_length_h)
        rows = self.shift_rows()
        if self.is_whole or rows.empty:
            return f"a {length}-hour shift"
        hours = float(rows[c.DURATION_H].iloc[0])
        if math.isclose(hours, self.shift_length_h):
            return f"a {length}-hour shift with the blade down throughout"
        return f"the blade-down part of a {length}-hour shift ({number(hours, 2)} h)"

    def shift_rows(self) -> pd.DataFrame:
        """One row per edge type and criterion for a shift: from averages with 3 dB where there are any.

        The whole shift. Where no whole shift could be put together, the hours with the blade down, which are the whole shift
        where no task shares are known. Edge types for which neither is known are missing.
        """
        rows = self.table[self.table[c.TASK] == (noise.WHOLE_SHIFT if self.is_whole else BLADE_DOWN)]
        rows = rows.dropna(subset=[c.DOSE_PCT]).sort_values(c.EXCHANGE_RATE_DB, kind="stable")
        return rows.drop_duplicates([c.EDGE_TYPE, c.CRITERION]).sort_index()

    def by_shift_length(self, hours: Sequence[float] = USUAL_SHIFTS_H) -> pd.DataFrame:
        """Dose of shifts of several lengths in which the tasks take the same shares.

        Parameters
        ----------
        hours : sequence of float
            Shift lengths [h].

        Returns
        -------
        DataFrame
            One row per criterion, edge type and length: criterion, edge_type, shift_length_h, dose_pct, dose_low_pct,
            dose_high_pct, reached. A dose is in proportion to the hours.
        """
        rows = self.shift_rows()
        parts = []
        for criterion in self.criteria:
            mine = rows[rows[c.CRITERION] == criterion.name]
            for edge in dict.fromkeys(mine[c.EDGE_TYPE]):
                row = mine[mine[c.EDGE_TYPE] == edge].iloc[0]
                for length in hours:
                    dose, low, high = (
                        float(row[name]) * length / self.shift_length_h
                        for name in (c.DOSE_PCT, c.DOSE_LOW_PCT, c.DOSE_HIGH_PCT)
                    )
                    reached = _reached(dose, low, high, criterion.action_dose_pct)
                    parts.append((criterion.name, edge, float(length), dose, low, high, reached))
        return pd.DataFrame(parts, columns=LENGTH_COLUMNS)

    def sentence(self) -> str:
        """What a shift comes to under each criterion, without a judgment."""
        rows = self.table[self.table[c.TASK] == (noise.WHOLE_SHIFT if self.is_whole else BLADE_DOWN)]
        if rows.empty:
            return self.levels.sentence()
        said: dict[str, list[str]] = {}
        for criterion in self.criteria:
            mine = rows[rows[c.CRITERION] == criterion.name]
            by_word = {
                word: list(dict.fromkeys(mine.loc[mine[c.REACHED] == word, c.EDGE_TYPE]))
                for word, _ in _WORDS
            }
            found = [
                f"{verb} {{}} with {listed([self.levels.label(name) for name in by_word[word]])}"
                for word, verb in _WORDS
                if by_word[word]
            ]
            if found:
                said.setdefault(" and ".join(found), []).append(f"the {criterion.label}")
        parts = [form.format(*[listed(labels)] * form.count("{}")) for form, labels in said.items()]
        return f"At the levels sampled, {self.shift_words} {'; '.join(parts)}."


def estimate_exposure(
    samples: pd.DataFrame,
    shares: TaskShares | Mapping[str, float] | None = None,
    *,
    criteria: Sequence[str | NoiseCriterion] = (),
    shift_length_h: float = 12.0,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> NoiseExposure:
    """Dose, 8-hour average and hours until reached, by edge type, task and criterion, and for the whole shift.

    When to use: to put measured levels beside the criteria before they go to risk management. It is a comparison with
    printed values, not a finding about any rule.

    Parameters
    ----------
    samples : DataFrame
        As for `noise.estimate_levels`.
    shares : TaskShares or mapping, optional
        Share of the shift that each task takes. Without it there is no whole-shift row, and each task is taken to last the
        whole shift.
    criteria : sequence of str or NoiseCriterion
        Names, or criteria of one's own; empty for all that are known by name.
    shift_length_h : float
        Length of the shift [h].
    confidence_level : float
        Two-sided level of the intervals.
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Returns
    -------
    NoiseExposure

    Raises
    ------
    UsageError
        If a criterion is not known, the shift length is impossible, or the shares do not add up to 1.
    TrialDataError, NotEnoughDataError
        As for `noise.estimate_levels`.

    Notes
    -----
    The dose of a task is its hours times the mean dose per hour of its samples, weighted by duration, so that a threshold
    and the 5 dB exchange rate act on the samples and not on their average. Criteria that halve the time every 3 dB take only
    samples averaged with 3 dB; OSHA's take both, each in its own line. The whole shift's interval adds the half-widths of
    its tasks, each by its share of the energy: it holds however the tasks' errors go together. The time shares are taken as
    known.
    """
    chosen = noise_criteria(criteria)
    limits = shift_levels(chosen, sorted({*USUAL_SHIFTS_H, float(shift_length_h)}))
    levels = noise.estimate_levels(samples, confidence_level=confidence_level, labels=labels)
    usable, _ = noise.usable_sound(samples)
    by_task = require_shares(shares)
    notes = list(levels.notes)
    rows: list[dict[str, object]] = []
    for rate in sorted(levels.table[c.EXCHANGE_RATE_DB].unique()):
        mine = levels.table[levels.table[c.EXCHANGE_RATE_DB] == rate]
        sampled = usable[usable[c.EXCHANGE_RATE_DB] == rate]
        fitting = [item for item in chosen if rate == sound.ENERGY or not item.counts_energy]
        notes += _not_held(rate, [item.label for item in chosen if item not in fitting])
        for edge in dict.fromkeys(mine[c.EDGE_TYPE]):
            tasks = _tasks(mine[mine[c.EDGE_TYPE] == edge], sampled, by_task, shift_length_h)
            lines = [(task.row, [task], [task.reach]) for task in tasks]
            shift = (
                _shift(tasks, sampled, by_task, shift_length_h, confidence_level, notes, levels.label)
                if by_task
                else []
            )
            if shift:
                row, reaches = _whole_row(shift, notes, levels.label)
                lines.append((row, shift, reaches))
            rows += [_row(*line, criterion, shift_length_h) for line in lines for criterion in fitting]
    table = pd.DataFrame(rows, columns=COLUMNS)
    notes += _exposure_notes(table, chosen, shares, shift_length_h)
    method = (
        f"{levels.method} The dose is the hours of each task in a shift of {hours_words(shift_length_h)} h times the mean dose "
        "per hour of its samples, with each criterion's own level, exchange rate and threshold."
    )
    kept = tuple(note for note in dict.fromkeys(notes) if note not in NOISE_CAUTIONS) + NOISE_CAUTIONS
    return NoiseExposure(table, method, kept, levels, limits, chosen, float(shift_length_h), confidence_level)


COLUMNS = [
    c.EDGE_TYPE,
    c.TASK,
    c.CRITERION,
    c.LEVEL_DBA,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.TWA_DBA,
    c.DOSE_PCT,
    c.PERMISSIBLE_H,
    c.N_SAMPLES,
    c.DOSE_LOW_PCT,
    c.DOSE_HIGH_PCT,
    c.REACHED,
    c.DURATION_H,
    c.SHIFT_LENGTH_H,
    c.EXPANDED_DB,
    c.N_TRUCKS,
    c.EXCHANGE_RATE_DB,
]


LENGTH_COLUMNS = [
    c.CRITERION,
    c.EDGE_TYPE,
    c.SHIFT_LENGTH_H,
    c.DOSE_PCT,
    c.DOSE_LOW_PCT,
    c.DOSE_HIGH_PCT,
    c.REACHED,
]


def hours_words(hours: float) -> str:
    """Hours in a sentence: "12", "10.5"."""
    return f"{hours:g}" if hours == round(hours, 1) else number(hours, 3)


def require_shares(shares: TaskShares | Mapping[str, float] | None) -> dict[str, float]:
    """Task -> share of the shift, shares of zero left out; UsageError unless they add up to 1."""
    if shares is None:
        return {}
    by_task = dict(shares.by_task if isinstance(shares, TaskShares) else shares)
    unknown = [name for name in by_task if name not in (*TASKS, REST)]
    if unknown:
        raise UsageError(
            f'A share is given for the task "{unknown[0]}"; tasks are {", ".join(TASKS)} and {REST}.'
        )
    if any(not share >= 0 for share in by_task.values()) or abs(sum(by_task.values()) - 1) > 1e-6:
        words = ", ".join(f"{name} {share:g}" for name, share in by_task.items()) or "none"
        raise UsageError(f"The shares of a shift are 0 or more and add up to 1; found {words}.")
    return {name: share for name, share in by_task.items() if share > 0}


# ---------------------------------------------------------------- parts of a shift
@dataclass(frozen=True, eq=False)
class _Task:
    """Some hours at one task, with the samples that stand for it."""

    row: pd.Series
    samples: pd.DataFrame
    hours: float

    @property
    def half_width(self) -> float:
        """Half the interval of the level [dB]."""
        return (self.row[c.CONF_HIGH] - self.row[c.CONF_LOW]) / 2

    @property
    def reach(self) -> float:
        """The wider of half the interval and the expanded uncertainty [dB]; NaN without an interval."""
        return float(np.maximum(self.half_width, self.row[c.EXPANDED_DB]))

    def dose(self, criterion: NoiseCriterion, reach: float) -> np.ndarray:
        """Dose of these hours as measured, and with every sample lowered or raised by `reach` [%]."""
        level, weight = (
            self.samples[c.LEVEL_DBA].to_numpy(float),
            self.samples[c.DURATION_MIN].to_numpy(float),
        )
        moved = (0.0, -reach, reach)
        rates = [np.average(criterion.dose_rate_pct_per_h(level + move), weights=weight) for move in moved]
        return self.hours * np.where(np.isnan(moved), np.nan, rates)


def _tasks(
    mine: pd.DataFrame, sampled: pd.DataFrame, by_task: Mapping[str, float], shift_length_h: float
) -> list[_Task]:
    """The sampled tasks of one edge type; each lasts the whole shift where no shares are known at all."""
    found = []
    for _, row in mine.iterrows():
        own = sampled[(sampled[c.EDGE_TYPE] == row[c.EDGE_TYPE]) & (sampled[c.TASK] == row[c.TASK])]
        found.append(_Task(row, own, by_task.get(row[c.TASK], math.nan if by_task else 1.0) * shift_length_h))
    return found


def _shift(
    tasks: Sequence[_Task],
    sampled: pd.DataFrame,
    by_task: Mapping[str, float],
    shift_length_h: float,
    confidence_level: float,
    notes: list[str],
    label: EdgeLabels,
) -> list[_Task]:
    """The tasks that make up a whole shift of one edge type; empty, with a note, where one was never sampled."""
    edge = tasks[0].row[c.EDGE_TYPE]
    own = {task.row[c.TASK]: task for task in tasks}
    parts = []
    for name, share in by_task.items():
        names = (BLADE_UP, IDLE) if name == REST else (name,)
        options = [own[one] for one in names if one in own]
        if not options and name != BLADE_DOWN:
            options = _borrowed(sampled[sampled[c.TASK].isin(names)], edge, confidence_level)
            notes += [_borrowed_note(label(edge), name)] if options else []
        if not options:
            notes.append(
                f"No sample was taken {noise.TASK_WORDS[name]}, so no whole shift can be put together for {label(edge)}."
            )
            return []
        louder = max(options, key=lambda task: task.row[c.LEVEL_DBA])
        if name == REST:
            notes.append(
                f"The hours {noise.TASK_WORDS[REST]} are counted at the louder of the two that was sampled "
                f"({noise.TASK_WORDS[louder.row[c.TASK]]})."
            )
        parts.append(replace(louder, hours=share * shift_length_h))
    return parts


def _borrowed(others: pd.DataFrame, edge: str, confidence_level: float) -> list[_Task]:
    """Tasks at which the edge does not touch the road, from the samples of all edge types."""
    if others.empty:
        return []
    together = others.assign(**{c.EDGE_TYPE: edge})
    table = noise.estimate_levels(together, confidence_level=confidence_level).table
    return [_Task(row, together[together[c.TASK] == row[c.TASK]], 0.0) for _, row in table.iterrows()]


def _borrowed_note(edge: str, task: str) -> str:
    return (
        f"{edge} has no samples {noise.TASK_WORDS[task]}; those of the other edge types were used, since the edge does not "
        "touch the road then."
    )


def _whole_row(parts: Sequence[_Task], notes: list[str], label: EdgeLabels) -> tuple[pd.Series, list[float]]:
    """Level of the whole shift with its interval and uncertainty, and the reach of each of its tasks."""
    levels, hours = [part.row[c.LEVEL_DBA] for part in parts], [part.hours for part in parts]
    rate, edge = parts[0].row[c.EXCHANGE_RATE_DB], parts[0].row[c.EDGE_TYPE]
    level = sound.equivalent_level(levels, hours, exchange_rate_db=rate)
    energy = sound.level_sensitivity(levels, hours)
    halves, reaches, errors = [], [], []
    for part, share in zip(parts, energy, strict=True):
        half, reach, error = part.half_width, part.reach, part.row[c.EXPANDED_DB] / sound.COVERAGE_FACTOR
        if math.isnan(half) and share < SMALL_SHARE:
            notes.append(
                f"{label(edge)} {noise.TASK_WORDS[part.row[c.TASK]]}: no interval, but less than {100 * SMALL_SHARE:g}% of the sound "
                "energy of a shift; taken as measured in the whole shift."
            )
            half, reach, error = 0.0, 0.0, float(np.nan_to_num(error))
        halves.append(half)
        reaches.append(reach)
        errors.append(error)
    half = float(energy @ np.array(halves))
    u = sound.combined_uncertainty_db(levels, hours, u1a_db=errors, u2_db=0.0, u3_db=0.0)
    row = {
        c.EDGE_TYPE: edge,
        c.TASK: noise.WHOLE_SHIFT,
        c.EXCHANGE_RATE_DB: rate,
        c.LEVEL_DBA: level,
        c.CONF_LOW: level - half,
        c.CONF_HIGH: level + half,
        c.EXPANDED_DB: sound.expanded_uncertainty_db(u),
        c.N_TRUCKS: max(part.row[c.N_TRUCKS] for part in parts),
        c.N_SAMPLES: sum(part.row[c.N_SAMPLES] for part in parts),
    }
    return pd.Series(row), reaches


def _row(
    row: pd.Series,
    parts: Sequence[_Task],
    reaches: Sequence[float],
    criterion: NoiseCriterion,
    shift_length_h: float,
) -> dict[str, object]:
    """One line of the table: a task, or a whole shift made of several, under one criterion."""
    dose, low, high = np.sum(
        [part.dose(criterion, reach) for part, reach in zip(parts, reaches, strict=True)], axis=0
    )
    return {
        **{name: row[name] for name in COLUMNS if name in row.index},
        c.CRITERION: criterion.name,
        c.TWA_DBA: float(criterion.twa_dba(dose)),
        c.DOSE_PCT: dose,
        c.DOSE_LOW_PCT: low,
        c.DOSE_HIGH_PCT: high,
        c.PERMISSIBLE_H: float(criterion.permissible_h(row[c.LEVEL_DBA])),
        c.REACHED: _reached(dose, low, high, criterion.action_dose_pct),
        c.DURATION_H: sum(part.hours for part in parts),
        c.SHIFT_LENGTH_H: float(shift_length_h),
    }


def _reached(dose: float, low: float, high: float, action_pct: float) -> str:
    if math.isnan(dose):
        return NOT_KNOWN
    if low >= action_pct:
        return YES
    return NO if high < action_pct else UNCLEAR


# ---------------------------------------------------------------- notes
def _not_held(rate: float, left: Sequence[str]) -> list[str]:
    if not left:
        return []
    return [
        f"Samples averaged with {rate:g} dB are no energy averages and were not held against {listed(left)}."
    ]


def _exposure_notes(
    table: pd.DataFrame,
    criteria: Iterable[NoiseCriterion],
    shares: TaskShares | Mapping[str, float] | None,
    shift_length_h: float,
) -> list[str]:
    notes = []
    if shares is None:
        notes.append(
            f"No task shares are known, so each task is shown as if it lasted the whole {hours_words(shift_length_h)}-hour shift."
        )
    if isinstance(shares, TaskShares):
        notes += shares.notes
        if shares.longest_shift_h > shift_length_h + 0.5:
            notes.append(
                f"The longest shift recorded took {number(shares.longest_shift_h)} h, more than the "
                f"{hours_words(shift_length_h)} h shown; its dose was larger in proportion."
            )
    energy = table[c.EXCHANGE_RATE_DB] == sound.ENERGY
    worked_out, counting = [], []
    for criterion in criteria:
        mine = table[table[c.CRITERION] == criterion.name]
        if not criterion.counts_energy and energy[mine.index].any():
            worked_out.append(criterion.label)
        threshold = criterion.threshold_dba
        if threshold is not None and (mine[c.LEVEL_DBA] - NEAR_THRESHOLD_DB < threshold).any():
            counting.append(f"{criterion.label} (from {threshold:g} dBA)")
    if worked_out:
        notes.append(
            f"{listed(worked_out)}: worked out from energy averages, which are never below an average with a larger exchange rate "
            "of the same noise. An official reading needs an instrument set to that exchange rate."
        )
    if counting:
        notes.append(
            f"{listed(counting)}: a sample whose average lies below the level from which a criterion counts adds nothing here, "
            "though louder moments within it would count on a dosimeter. The hours until reached are for a steady level and "
            "leave this out."
        )
    return notes
