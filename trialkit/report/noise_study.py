"""From a trial to its analyses of noise and vibration: which tables and settings each is given.

Answers: what was found about noise and vibration in the cab, or why was it not studied?

A trial need not have measured either. A study then holds no results and one sentence that says so; a part that could not be
worked out says why. Nothing here fails for want of samples.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from trialkit import columns as c
from trialkit.cab import (
    noise_comparison,
    noise_exposure,
    samples,
    task_shares,
    vibration,
    vibration_comparison,
)
from trialkit.cab.criteria import NOISE_CAUTIONS, NOISE_CRITERIA, VIBRATION_CAUTIONS, NoiseCriterion
from trialkit.cab.noise import NoiseLevels
from trialkit.errors import NotEnoughDataError
from trialkit.formatting import counted
from trialkit.report import study
from trialkit.settings import Noise
from trialkit.trial import lineage
from trialkit.trial.checks import Trial

SOUND, VIBRATION = "sound", "vibration"
MOST_FOR_COUNCIL = 3
"""Criteria that a council is told about; the appendix has them all."""
COUNCIL_CRITERIA = ("osha_action", "niosh_rel", "osha_pel")
"""The criteria a council is told about where the settings choose none: two limits that US towns meet, and the level at which
duties may start."""


@dataclass(frozen=True, eq=False)
class NoiseStudy:
    """What a trial found about noise in the cab.

    Attributes
    ----------
    levels : NoiseLevels or None
        Average levels; None where noise was not studied.
    exposure : NoiseExposure or None
        What a shift comes to under every criterion that is reported.
    comparison : NoiseComparison or None
        How the edge types differ; None where the reference has no samples.
    criteria : tuple of NoiseCriterion
        The criteria that are reported.
    brief : tuple of NoiseCriterion
        Those of them that a council is told about.
    shares : TaskShares or None
        How shifts divide into tasks; None where the shifts do not show it.
    not_studied, not_compared : str
        Why there are no results, or no comparison; empty where there are.
    unplaced : tuple of str
        Samples without a truck or an edge type.
    notes : tuple of str
        These and the caveats of all parts, each once, without the cautions that every such result carries.
    is_recorded : bool
        Whether the trial has any sample.
    """

    levels: NoiseLevels | None
    exposure: noise_exposure.NoiseExposure | None
    comparison: noise_comparison.NoiseComparison | None
    criteria: tuple[NoiseCriterion, ...]
    brief: tuple[NoiseCriterion, ...]
    shares: task_shares.TaskShares | None = None
    not_studied: str = ""
    not_compared: str = ""
    unplaced: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    is_recorded: bool = True

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that leave the tool, by name; with headings only where nothing was studied."""
        return {
            "noise": _table(self.exposure, noise_exposure.COLUMNS),
            "noise_differences": _table(self.comparison, noise_comparison.COLUMNS),
        }


@dataclass(frozen=True, eq=False)
class VibrationStudy:
    """What a trial found about whole-body vibration at the seat.

    Attributes
    ----------
    exposure : VibrationExposure or None
        Daily exposure by edge type and axis; None where vibration was not studied.
    comparison : VibrationComparison or None
        How the edge types differ; None where the reference has no samples.
    not_studied, not_compared : str
        Why there are no results, or no comparison; empty where there are.
    unplaced : tuple of str
        Samples without a truck or an edge type.
    notes : tuple of str
        These and the caveats of both parts, each once, without the cautions that every such result carries.
    is_recorded : bool
        Whether the trial has any sample.
    """

    exposure: vibration.VibrationExposure | None
    comparison: vibration_comparison.VibrationComparison | None
    not_studied: str = ""
    not_compared: str = ""
    unplaced: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    is_recorded: bool = True

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that leave the tool, by name; with headings only where nothing was studied."""
        return {
            "vibration": _table(self.exposure, vibration.EXPOSURE_COLUMNS),
            "vibration_differences": _table(self.comparison, vibration_comparison.RATIO_COLUMNS),
        }


def noise_in_cab(trial: Trial) -> NoiseStudy:
    """What this trial found about noise in the cab; see `cab.noise`, `cab.noise_exposure` and `cab.noise_comparison`.

    Parameters
    ----------
    trial : Trial
        A trial without errors, with or without the table `sound`.
    """
    settings = trial.settings
    criteria, brief = reported_criteria(settings.noise)
    placed, reason = _placed(trial, SOUND, "Noise in the cab", "sound level sample")
    if placed is None:
        return NoiseStudy(None, None, None, criteria, brief, not_studied=reason, is_recorded=trial.has(SOUND))
    names, level = study.labels(trial), trial.confidence_level
    shares, blank = _task_shares(trial)
    exposure = noise_exposure.estimate_exposure(
        placed.frame,
        shares,
        criteria=criteria,
        shift_length_h=settings.noise.shift_length_h,
        confidence_level=level,
        labels=names,
    )
    not_compared = _not_compared(trial, placed.frame)
    compared = None
    if not not_compared:
        compared = noise_comparison.compare_edge_types(
            placed.frame, reference=settings.reference_edge_type, confidence_level=level, labels=names
        )
    notes = _once(placed.notes, blank, compared.notes if compared else (), exposure.notes)
    return NoiseStudy(
        exposure.levels,
        exposure,
        compared,
        criteria,
        brief,
        shares,
        "",
        not_compared,
        placed.notes,
        notes,
        names,
    )


def vibration_at_seat(trial: Trial) -> VibrationStudy:
    """What this trial found about vibration; see `cab.vibration` and `cab.vibration_comparison`.

    Parameters
    ----------
    trial : Trial
        A trial without errors, with or without the table `vibration`.
    """
    settings = trial.settings
    placed, reason = _placed(trial, VIBRATION, "Shaking of the seat", "vibration sample")
    if placed is None:
        return VibrationStudy(None, None, not_studied=reason, is_recorded=trial.has(VIBRATION))
    names, level = study.labels(trial), trial.confidence_level
    exposure = vibration.estimate_exposure(
        placed.frame, daily_h=settings.noise.shift_length_h, confidence_level=level, labels=names
    )
    not_compared = _not_compared(trial, placed.frame)
    compared = None
    if not not_compared:
        compared = vibration_comparison.compare_edge_types(
            placed.frame, reference=settings.reference_edge_type, confidence_level=level, labels=names
        )
    notes = _once(placed.notes, compared.notes if compared else (), exposure.notes)
    return VibrationStudy(exposure, compared, "", not_compared, placed.notes, notes, names)


def reported_criteria(settings: Noise) -> tuple[tuple[NoiseCriterion, ...], tuple[NoiseCriterion, ...]]:
    """The criteria that a trial reports, and those of them that its council is told about.

    Parameters
    ----------
    settings : Noise
        Section `[noise]` of the settings: the criteria chosen by name, and those of the town's own.

    Returns
    -------
    reported : tuple of NoiseCriterion
        As chosen; all that are known, the town's own last, where none is chosen.
    brief : tuple of NoiseCriterion
        The first three chosen; where none is chosen, the town's own before the usual ones.
    """
    own = {each.name: _own_criterion(each) for each in settings.criterion}
    known = NOISE_CRITERIA | own
    chosen = settings.criteria or tuple(known)
    brief = settings.criteria or (*own, *COUNCIL_CRITERIA)
    return tuple(known[name] for name in chosen), tuple(known[name] for name in brief[:MOST_FOR_COUNCIL])


def _own_criterion(given) -> NoiseCriterion:
    return NoiseCriterion(
        given.name,
        given.name.replace("_", " "),
        given.criterion_level_dba,
        given.exchange_rate_db,
        given.threshold_dba,
        given.citation,
    )


def _placed(trial: Trial, table: str, subject: str, sample: str) -> tuple[samples.PlacedSamples | None, str]:
    """The samples with truck and edge type, or why there is nothing to study."""
    if not trial.has(table):
        return None, f"{subject} was not studied: no {sample} was recorded."
    shifts = trial[study.SHIFTS] if trial.has(study.SHIFTS) else None
    lives = lineage.set_lives(trial[study.EVENTS])
    placed = samples.place_samples(trial[table], trial[study.SETS], shifts=shifts, lives=lives)
    if (placed.frame[c.TRUCK_ID].notna() & placed.frame[c.EDGE_TYPE].notna()).any():
        return placed, ""
    n = len(placed.frame)
    none = "it" if n == 1 else "none of them"
    said = f"{counted(n, sample)} {'was' if n == 1 else 'were'} recorded, but {none} could{'' if n > 1 else ' not'}"
    return None, f"{subject} was not studied: {said} be given both a truck and an edge type."


def _task_shares(trial: Trial) -> tuple[task_shares.TaskShares | None, Sequence[str]]:
    """How shifts divide into tasks, or why that is not known."""
    if not trial.has(study.SHIFTS):
        return None, ()
    try:
        return task_shares.estimate_task_shares(trial[study.SHIFTS]), ()
    except NotEnoughDataError as error:
        return None, (str(error),)


def _not_compared(trial: Trial, placed: pd.DataFrame) -> str:
    """Why the edge types cannot be compared; empty if they can be."""
    usable = placed[placed[c.TRUCK_ID].notna()]
    if (usable[c.EDGE_TYPE].astype(object) == trial.settings.reference_edge_type).any():
        return ""
    return f"No sample could be used with {study.reference_label(trial)}, with which the other edge types are to be compared."


def _once(*groups: Sequence[str]) -> tuple[str, ...]:
    """All notes in order, each once, without the cautions, which stand by themselves."""
    cautions = (*NOISE_CAUTIONS, *VIBRATION_CAUTIONS)
    return tuple(dict.fromkeys(note for group in groups for note in group if note not in cautions))


def _table(result, names: Sequence[str]) -> pd.DataFrame:
    return result.frame() if result is not None else pd.DataFrame(columns=list(names))
