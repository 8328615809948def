"""How edge types differ in cab noise, with the truck as the unit and like conditions compared with like.

Answers: is it quieter in the cab with this edge type, and by how many decibels?

A radio or an open window changes the level in a cab about as much as an edge might: in over 400 measurements in heavy trucks
the radio added 2.8 dB, an open driver's window 1.3 dB and both together 3.9 dB (Seshagiri 1998). A comparison that leaves
them out of account may compare radios. The truck itself counts as well; its own level with the blade up, when the edge does not
touch the road, says how loud it is.

References
----------
.. [1] B. Seshagiri, "Occupational noise exposure of operators of heavy trucks", American Industrial Hygiene Association
   Journal 59(3), 205-213, 1998 (abstract).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.cab import noise
from trialkit.cab.noise_conditions import (
    CONDITIONS,
    Conditions,
    adjustment_variance,
    fit_conditions,
    uneven_notes,
)
from trialkit.cab.samples import EdgeLabels, edge_types_in_order
from trialkit.cab.task_shares import TASKS
from trialkit.cab.truck_comparison import (
    by_chance,
    compare_by_truck,
    is_shown,
    require_reference,
    truck_notes,
)
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import counted, fixed, level_words, listed, sentence_case
from trialkit.results import Summary

AS_MEASURED = "as measured"
ABOVE_OWN = "above each truck's own level with the blade up"


@dataclass(frozen=True, eq=False)
class NoiseComparison(Summary):
    """Difference in level between edge types.

    Attributes
    ----------
    table : DataFrame
        One row per task, exchange rate, basis and edge type: edge_type, reference, task, exchange_rate_db, basis, estimate,
        std_error, df, conf_low, conf_high, p_value, p_holm (adjusted over the edge types of a task, exchange rate and basis), unit,
        n_trucks, n_pairs, n_samples, method, reason. A negative estimate is quieter than the reference.
    effects : DataFrame
        What radio, window and speed were found to do: task, exchange_rate_db, term, estimate, std_error, df.
    uneven : tuple of str
        Which of radio, window and speed differed between edge types with the blade down, or were never recorded.
    confidence_level : float
    label : EdgeLabels
        Names of the edge types.
    """

    effects: pd.DataFrame
    uneven: tuple[str, ...]
    confidence_level: float
    label: EdgeLabels

    def primary(self, task: str = noise.BLADE_DOWN) -> pd.DataFrame:
        """The rows that count for one task: energy averages, adjusted where that could be done, else as measured."""
        rows = self._rows(task)
        rows = rows[~rows[c.BASIS].str.endswith(ABOVE_OWN)]
        adjusted = rows[rows[c.BASIS] != AS_MEASURED]
        return (adjusted if len(adjusted) else rows).copy()

    def above_own(self) -> pd.DataFrame:
        """The rows with the blade down above each truck's own level with the blade up; empty if there are none."""
        rows = self._rows(noise.BLADE_DOWN)
        return rows[rows[c.BASIS].str.endswith(ABOVE_OWN)].copy()

    def _rows(self, task: str) -> pd.DataFrame:
        rows = self.table[self.table[c.TASK] == task]
        return rows[rows[c.EXCHANGE_RATE_DB] == rows[c.EXCHANGE_RATE_DB].min()].astype({c.BASIS: str})

    def headline(self) -> str:
        """The difference with the blade down, one clause per edge type: the line that counts."""
        rows = self.primary()
        if rows.empty:
            return "No two edge types were measured with the blade down, so they cannot be compared."
        basis = rows[c.BASIS].iloc[0]
        tail = "" if basis == AS_MEASURED else f" ({basis})"
        return f"In the cab with the blade down{tail}, {self._clauses(rows)}."

    def support(self) -> str:
        """The difference above each truck's own level with the blade up; empty if there is none."""
        own = self.above_own()
        if own.empty:
            return ""
        return f"Taken {ABOVE_OWN}, {self._clauses(own)}."

    def _clauses(self, rows: pd.DataFrame) -> str:
        return listed(
            [difference_clause(row, self.label, self.confidence_level) for _, row in rows.iterrows()]
        )

    def sentence(self) -> str:
        """The difference with the blade down: the line that counts, then the one that supports it."""
        return " ".join(part for part in (self.headline(), self.support()) if part)


def difference_clause(row: pd.Series, label: EdgeLabels, confidence_level: float) -> str:
    """One line of the comparison as part of a sentence: what is shown, with its interval, or that nothing is."""
    name, other = label(row[c.EDGE_TYPE]), label(row[c.REFERENCE])
    estimate, low, high = row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]
    if math.isnan(low):
        word = "quieter" if estimate < 0 else "louder"
        return f"{name} was {fixed(abs(estimate), 1)} dB {word} than {other} in the samples (no interval)"
    if not is_shown(row, confidence_level):
        ends = f"{difference_words(estimate)} in the samples, interval {difference_words(low)} to {difference_words(high)}"
        return f"no difference between {name} and {other} is shown ({ends}){by_chance(low, high, 0.0)}"
    if estimate < 0:
        return f"{name} was quieter than {other} by {noise.decibels(-estimate, -high, -low)}"
    return f"{name} was louder than {other} by {noise.decibels(estimate, low, high)}"


def short_sentence(row: pd.Series, label: EdgeLabels, confidence_level: float) -> str:
    """One line of the comparison as a short sentence of its own.

    Examples
    --------
    >>> row = {"edge_type": "a", "reference": "b", "estimate": -1.1, "conf_low": -3.1, "conf_high": 1.0, "p_holm": 0.2}
    >>> short_sentence(pd.Series(row), lambda name: name, 0.95)
    'No difference in cab noise between a and b is shown (95% interval 3.1 dB quieter to 1.0 dB louder).'
    """
    name, other = label(row[c.EDGE_TYPE]), label(row[c.REFERENCE])
    estimate, low, high = row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]
    level = level_words(confidence_level)
    word = "quieter" if estimate < 0 else "louder"
    if math.isnan(low):
        said = f"{name} was {fixed(abs(estimate), 1)} dB {word} in the cab than {other} in the samples (no interval)."
    elif not is_shown(row, confidence_level):
        ends = f"{level} {difference_words(low)} to {difference_words(high)}"
        said = f"no difference in cab noise between {name} and {other} is shown ({ends}){by_chance(low, high, 0.0)}."
    else:
        sizes = sorted((abs(low), abs(high)))
        size = noise.decibels(abs(estimate), *sizes).replace("(", f"({level} ", 1)
        said = f"{name} was {word} in the cab than {other} by {size}."
    return sentence_case(said)


def difference_words(difference_db: float) -> str:
    """A difference in words: ``"3.1 dB quieter"``."""
    size = fixed(abs(difference_db), 1)
    return f"{size} dB {'quieter' if difference_db < 0 else 'louder'}" if float(size) else "no difference"


def compare_edge_types(
    samples: pd.DataFrame,
    *,
    reference: str | None = None,
    only: Mapping[str, str | tuple[float, float]] | None = None,
    adjust_for: tuple[str, ...] = (c.RADIO, c.WINDOW, c.SPEED_MPH),
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> NoiseComparison:
    """Difference in average level from the reference edge type, by task.

    When to use: to say whether an edge type is quieter. Paired runs, the same truck with both edge types, are compared truck by
    truck; that is the surest way. The levels themselves are in `noise.estimate_levels`.

    Parameters
    ----------
    samples : DataFrame
        As for `noise.estimate_levels`; radio, window and speed_mph where they are recorded.
    reference : str, optional
        Edge type with which the others are compared; by default the first one.
    only : mapping, optional
        Restrict to these conditions, such as ``{"radio": "off", "window": "closed", "speed_mph": (15, 25)}``.
    adjust_for : tuple of str
        Conditions that are adjusted for, out of radio, window and speed_mph; empty for none.
    confidence_level : float
        Two-sided level.
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Returns
    -------
    NoiseComparison
        With the difference as measured and, where the conditions changed within trucks, the adjusted one.

    Raises
    ------
    UsageError
        If the reference has no samples or a condition is not one of radio, window and speed_mph.
    NotEnoughDataError
        If no sample is left.
    TrialDataError
        If a sample holds something impossible.

    Notes
    -----
    Each truck's level with an edge type is an energy average of its samples. The differences between these levels, in decibels,
    are then compared with Student's t, the truck being the unit: paired, Welch's, or in between. A difference is shown where the
    p value after Holm's adjustment over the edge types is small; the intervals are not adjusted.

    Adjusted: a least-squares fit within truck, edge type and task (own intercept for each) gives the effect of radio, window
    and speed in decibels; each sample is brought to radio off, window closed and the mean speed; then as above. The error of
    the fitted effects, times the mean difference in conditions between the two edge types, is added to the variance.

    With the blade down there is a further line: each truck's level less its own level with the blade up. It supports the main
    line where trucks differ much in loudness; it is not the one that counts, because part of what it takes out is engine noise
    that adds to the edge's in energy and not in decibels.
    """
    usable, notes = noise.usable_sound(samples)
    label = EdgeLabels(labels or {})
    wanted = [name for name in adjust_for if name in usable]
    _require_conditions([*adjust_for, *(only or {})])
    usable, restricted = _restrict(usable, only or {})
    notes += restricted
    types = edge_types_in_order(usable)
    reference = require_reference(reference, types)
    lines: list[pd.DataFrame] = []
    effects: list[pd.DataFrame] = []
    uneven: list[str] = []
    for rate in sorted(usable[c.EXCHANGE_RATE_DB].unique()):
        known: dict[str, _Levels] = {}
        for task in TASKS:
            group = usable[(usable[c.EXCHANGE_RATE_DB] == rate) & (usable[c.TASK] == task)]
            if group[c.EDGE_TYPE].nunique() < 2 or not (group[c.EDGE_TYPE] == reference).any():
                continue
            found = _compare_task(group, wanted, types, reference, confidence_level, label)
            where = {c.TASK: task, c.EXCHANGE_RATE_DB: rate}
            uneven += found.uneven if task == noise.BLADE_DOWN and not uneven else []
            notes += found.notes
            lines += [line.assign(**where) for line in found.lines]
            effects += [effect.assign(**where) for effect in found.effects]
            known[task] = found.levels
        if noise.BLADE_DOWN in known and noise.BLADE_UP in known:
            above = known[noise.BLADE_DOWN].above(known[noise.BLADE_UP])
            line = above.compare(types, reference, confidence_level)
            place = 1 + max(i for i, each in enumerate(lines) if _is(each, noise.BLADE_DOWN, rate))
            lines.insert(place, line.assign(**{c.TASK: noise.BLADE_DOWN, c.EXCHANGE_RATE_DB: rate}))
    if not lines:
        notes.append(
            f"No task was sampled with {label(reference)} and another edge type; nothing can be compared."
        )
    table = pd.concat(lines, ignore_index=True) if lines else pd.DataFrame()
    table = table.assign(**{c.UNIT: "dB"}).reindex(columns=COLUMNS)
    effect_table = pd.concat(effects, ignore_index=True) if effects else pd.DataFrame()
    method = (
        "Energy average by truck and edge type; the differences in decibels are compared with Student's t, the truck being the "
        "unit; Holm's adjustment over the edge types. Adjusted lines bring every sample to radio off, window closed and the mean speed, as far as these were recorded "
        "and changed within trucks. The line above each truck's own level with the blade up takes out how loud the truck is."
    )
    kept = tuple(dict.fromkeys(notes))
    return NoiseComparison(
        table,
        method,
        kept,
        effect_table.reindex(columns=EFFECT_COLUMNS),
        tuple(uneven),
        confidence_level,
        label,
    )


COLUMNS = [
    c.EDGE_TYPE,
    c.REFERENCE,
    c.TASK,
    c.EXCHANGE_RATE_DB,
    c.BASIS,
    c.ESTIMATE,
    c.STD_ERROR,
    c.DF,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.P_VALUE,
    c.P_HOLM,
    c.UNIT,
    c.N_TRUCKS,
    c.N_PAIRS,
    c.N_SAMPLES,
    c.METHOD,
    c.REASON,
]
EFFECT_COLUMNS = [c.TASK, c.EXCHANGE_RATE_DB, c.TERM, c.ESTIMATE, c.STD_ERROR, c.DF]


@dataclass(frozen=True, eq=False)
class _Levels:
    """One level for each truck and edge type, and the error that an adjustment adds to differences."""

    table: pd.DataFrame
    basis: str
    extra_variance: Mapping[str, tuple[float, float]] | None = None

    def compare(self, types: list[str], reference: str, confidence_level: float) -> pd.DataFrame:
        """Difference of each edge type from the reference."""
        found = compare_by_truck(
            self.table,
            c.LEVEL_DBA,
            types,
            reference,
            confidence_level=confidence_level,
            extra_variance=self.extra_variance,
        )
        counts = self.table.groupby(self.table[c.EDGE_TYPE].astype(object))[c.N_SAMPLES].sum()
        samples = [int(counts[name] + counts[reference]) for name in found[c.EDGE_TYPE]]
        return found.assign(**{c.N_SAMPLES: samples}, **{c.BASIS: self.basis})

    def above(self, other: _Levels) -> _Levels:
        """These levels less the other ones of the same truck and edge type."""
        keys = [c.TRUCK_ID, c.EDGE_TYPE]
        both = self.table.merge(other.table[[*keys, c.LEVEL_DBA]], on=keys, suffixes=("", "_own"))
        table = both.assign(**{c.LEVEL_DBA: both[c.LEVEL_DBA] - both[f"{c.LEVEL_DBA}_own"]})
        mine, its = self.extra_variance or {}, other.extra_variance or {}
        extra = {}
        for name in {*mine, *its}:
            parts = [one[name] for one in (mine, its) if name in one]
            extra[name] = (sum(part[0] for part in parts), min(part[1] for part in parts))
        basis = ABOVE_OWN if self.basis == AS_MEASURED else f"{self.basis}; {ABOVE_OWN}"
        return _Levels(table, basis, extra or None)


class _Task(NamedTuple):
    """One task compared: the levels that count, the lines of the table, effects of conditions, and what is uneven."""

    levels: _Levels
    lines: list[pd.DataFrame]
    effects: list[pd.DataFrame]
    uneven: list[str]
    notes: list[str]


def _compare_task(
    group: pd.DataFrame,
    wanted: list[str],
    types: list[str],
    reference: str,
    confidence_level: float,
    label: EdgeLabels,
) -> _Task:
    """The samples of one task and exchange rate, as measured and adjusted."""
    measured = _Levels(noise.average_by_truck(group, [c.EDGE_TYPE, c.EXCHANGE_RATE_DB]), AS_MEASURED)
    fit = fit_conditions(group, wanted)
    recorded = (fit.adjusted[c.EDGE_TYPE] == reference).any()
    adjusted = _adjusted(fit, reference) if fit.terms and recorded else None
    lines = [each.compare(types, reference, confidence_level) for each in (measured, adjusted) if each]
    spread = uneven_notes(group, reference, str(group[c.TASK].iloc[0]), label)
    notes = [*truck_notes(lines[0], measured.table, label), *spread, *fit.notes]
    return _Task(adjusted or measured, lines, [fit.frame()] if fit.terms else [], spread, notes)


def _adjusted(fit: Conditions, reference: str) -> _Levels:
    levels = noise.average_by_truck(fit.adjusted, [c.EDGE_TYPE, c.EXCHANGE_RATE_DB])
    return _Levels(levels, fit.basis, adjustment_variance(fit.adjusted, reference, fit))


def _is(line: pd.DataFrame, task: str, rate: float) -> bool:
    return bool(((line[c.TASK] == task) & (line[c.EXCHANGE_RATE_DB] == rate)).all())


def _require_conditions(names: list[str]) -> None:
    unknown = [name for name in names if name not in CONDITIONS]
    if unknown:
        raise UsageError(
            f'"{unknown[0]}" is not a condition; they are {c.RADIO}, {c.WINDOW} and {c.SPEED_MPH}.'
        )


def _restrict(
    usable: pd.DataFrame, only: Mapping[str, str | tuple[float, float]]
) -> tuple[pd.DataFrame, list[str]]:
    keep = pd.Series(True, usable.index)
    words = []
    for name, wanted in only.items():
        if name not in usable:
            raise UsageError(f"The samples have no column {name}, so they cannot be restricted by it.")
        if isinstance(wanted, str):
            keep &= usable[name].astype(object).eq(wanted).fillna(False)
            words.append(f"{name} {wanted}")
        else:
            keep &= usable[name].between(*wanted)
            low, high = (display.typed(speed, "mph") for speed in wanted)
            words.append(f"{low} to {high} {display.unit('mph')}")
    if not only:
        return usable, []
    if not keep.any():
        raise NotEnoughDataError(
            f"None of {counted(len(usable), 'sample')} has {listed(words)}; at least 1 is needed."
        )
    note = (
        f"Restricted to {listed(words)}: {counted(int((~keep).sum()), 'sample')} of {len(usable)} left out."
    )
    return usable[keep], [note]
