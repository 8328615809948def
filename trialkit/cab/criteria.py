"""Exposure criteria for noise and whole-body vibration, each with where it comes from.

Answers: which rule is a level held against, and what does that rule make of it?

A criterion is a named object, so that several stand side by side and nobody has to guess which rule a dose belongs to.
To add one, make a `NoiseCriterion` or `VibrationCriterion` with its citation and pass it to the analysis.

Whether a federal or state rule binds a town's own crews differs from state to state. The criteria say what a document
prints; they decide nothing. A measured level near a criterion belongs before the town's risk manager and an occupational
hygienist before it is published.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trialkit import columns as c
from trialkit.errors import UsageError, near_match

EQUAL_ENERGY_DB = 10 * math.log10(2)
"""Twice the sound energy, in decibels: 3.0103. The "3 dB" of ISO 1999, to which the European directive refers."""

LOWEST_DBA = 0.0
HIGHEST_DBA = 140.0
"""Levels outside these are no cab noise: a slip or a broken instrument."""

DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class NoiseCriterion:
    """A rule for daily noise exposure.

    Attributes
    ----------
    name : str
        Short name, as in the settings and in tables.
    label : str
        Name as the report prints it.
    level_dba : float
        Steady level that gives a dose of 100% in `reference_h` hours [dBA].
    exchange_rate_db : float
        Rise in level that halves the time [dB]; `EQUAL_ENERGY_DB` for a pure energy average.
    threshold_dba : float or None
        Levels below it are not counted [dBA]; None counts all.
    citation : str
        Document, clause and year.
    action_dose_pct : float
        Dose at which the criterion is reached [%].
    reference_h : float
        Hours over which `level_dba` holds [h].
    printed_coefficient : float or None
        Rounded coefficient that the document prints before the logarithm, if it differs from the exact one.
    """

    name: str
    label: str
    level_dba: float
    exchange_rate_db: float
    threshold_dba: float | None
    citation: str
    action_dose_pct: float = 100.0
    reference_h: float = 8.0
    printed_coefficient: float | None = None

    def __post_init__(self) -> None:
        wrong = []
        if not self.name or not self.label:
            wrong.append("name and label must be given")
        if not self.citation.strip():
            wrong.append("citation is empty; say which document the criterion comes from")
        if not LOWEST_DBA < self.level_dba <= HIGHEST_DBA:
            wrong.append(f"level_dba is {self.level_dba:g}; allowed above 0 to 140")
        if not 1 <= self.exchange_rate_db <= 10:
            wrong.append(f"exchange_rate_db is {self.exchange_rate_db:g}; allowed 1 to 10")
        if self.threshold_dba is not None and not LOWEST_DBA <= self.threshold_dba <= HIGHEST_DBA:
            wrong.append(f"threshold_dba is {self.threshold_dba:g}; allowed 0 to 140, or None")
        if not 0 < self.action_dose_pct <= 1000:
            wrong.append(f"action_dose_pct is {self.action_dose_pct:g}; allowed above 0 to 1000")
        if not 0 < self.reference_h <= DAY_H:
            wrong.append(f"reference_h is {self.reference_h:g}; allowed above 0 to 24")
        if wrong:
            raise UsageError(f'The noise criterion "{self.name}" cannot be used: {"; ".join(wrong)}.')

    @property
    def coefficient(self) -> float:
        """Decibels per tenfold dose: exchange rate over log10(2); 16.61, 9.966 and 10 for 5 dB, 3 dB and equal energy."""
        return self.exchange_rate_db / math.log10(2)

    @property
    def counts_energy(self) -> bool:
        """Whether the criterion averages energy, so that an average taken with 5 dB must not be used for it."""
        return abs(self.exchange_rate_db - 3.0) < 0.5

    def reference_duration_h(self, level_dba: ArrayLike) -> np.ndarray:
        """Hours at a steady level for a dose of 100% [h].

        Notes
        -----
        ``T = reference_h / 2 ** ((L - level_dba) / exchange_rate_db)``, the T of 29 CFR 1910.95 Appendix A and of
        NIOSH 98-126, 1.1.1. The threshold is not applied: OSHA's own table goes on below 90 dBA.
        """
        level = np.asarray(level_dba, dtype=float)
        return self.reference_h / 2.0 ** ((level - self.level_dba) / self.exchange_rate_db)

    def permissible_h(self, level_dba: ArrayLike) -> np.ndarray:
        """Hours at a steady level until the criterion is reached [h]: `reference_duration_h` times the action dose."""
        return self.reference_duration_h(level_dba) * self.action_dose_pct / 100.0

    def dose_rate_pct_per_h(self, level_dba: ArrayLike) -> np.ndarray:
        """Dose gathered in one hour at a level [% per h]; 0 below the threshold."""
        level = np.asarray(level_dba, dtype=float)
        rate = 100.0 / self.reference_duration_h(level)
        return rate if self.threshold_dba is None else np.where(level >= self.threshold_dba, rate, 0.0)

    def dose_pct(self, level_dba: ArrayLike, duration_h: ArrayLike) -> float:
        """Dose of a day made of periods at steady levels [%].

        Parameters
        ----------
        level_dba : array_like
            Level of each period [dBA].
        duration_h : array_like
            Length of each period [h].

        Returns
        -------
        float

        Raises
        ------
        UsageError
            If a level lies outside 0 to 140 dBA, a duration is missing or negative, or they add up to more than a day.

        Notes
        -----
        ``D = 100 (C1/T1 + C2/T2 + ...)``; 29 CFR 1910.95 Appendix A, I(1); NIOSH 98-126, 1.1.3.

        Examples
        --------
        >>> round(OSHA_ACTION.dose_pct([100, 90, 85], [1, 4, 3]), 2)
        118.75
        """
        level = require_levels(level_dba)
        duration = require_hours(duration_h)
        if level.shape != duration.shape:
            raise UsageError(
                f"There are {level.size} levels but {duration.size} durations; each period needs both."
            )
        if duration.sum() > DAY_H * (1 + 1e-9):
            raise UsageError(f"The periods add up to {duration.sum():g} h; a day has {DAY_H:g}.")
        return float((self.dose_rate_pct_per_h(level) * duration).sum())

    def twa_dba(self, dose_pct: ArrayLike, *, printed: bool = False) -> np.ndarray:
        """The 8-hour average level that belongs to a dose [dBA]; LEX,8h for the European values.

        Parameters
        ----------
        dose_pct : array_like
            Dose [%]. A dose of 0 has no average level and gives NaN.
        printed : bool
            Use the rounded coefficient that the document prints (16.61, 10.0) in place of the exact one. Needed only to
            reproduce its tables: with NIOSH's 10.0 a steady 100 dBA over 8 hours comes back as 100.05.

        Returns
        -------
        ndarray

        Notes
        -----
        ``TWA = q log10(D / 100) + level_dba``; 29 CFR 1910.95 Appendix A, I(2); NIOSH 98-126, 1.1.3.
        """
        dose = np.asarray(dose_pct, dtype=float)
        if (dose < 0).any():
            raise UsageError(f"A dose of {np.nanmin(dose):g}% is impossible; it is 0 or more.")
        q = self.printed_coefficient if printed and self.printed_coefficient is not None else self.coefficient
        with np.errstate(divide="ignore"):
            return np.where(dose > 0, q * np.log10(dose / 100.0) + self.level_dba, np.nan)

    def shift_level_dba(self, shift_length_h: ArrayLike) -> np.ndarray:
        """Steady level at which a shift of this length reaches the criterion [dBA].

        When to use: to hold a 12- or 16-hour storm shift against a value that is printed for 8 hours.

        Notes
        -----
        ``level_dba + q log10((action_dose / 100) (reference_h / shift))``; for OSHA's action level the form
        16.61 log10(50 / (12.5 h)) + 90 of the OSHA Technical Manual, Section III Chapter 5. OSHA's permissible limit is
        not lowered for long shifts and counts nothing below its threshold; the level for its dose of 100% is
        arithmetic only.
        """
        hours = require_hours(shift_length_h)
        if (hours == 0).any() or (hours > DAY_H).any():
            raise UsageError(
                f"A shift of {hours[(hours == 0) | (hours > DAY_H)][0]:g} h; allowed above 0 to 24."
            )
        return self.level_dba + self.coefficient * np.log10(
            self.action_dose_pct / 100.0 * self.reference_h / hours
        )


def require_levels(level_dba: ArrayLike) -> np.ndarray:
    """Levels as an array; UsageError if one is missing or outside 0 to 140 dBA."""
    level = np.atleast_1d(np.asarray(level_dba, dtype=float))
    bad = level[~((level >= LOWEST_DBA) & (level <= HIGHEST_DBA))]
    if bad.size:
        raise UsageError(
            f"A level of {bad[0]:g} dBA; allowed 0 to 140. Correct it, or leave it out with a reason."
        )
    return level


def require_hours(duration_h: ArrayLike) -> np.ndarray:
    """Durations as an array; UsageError if one is missing or negative."""
    duration = np.atleast_1d(np.asarray(duration_h, dtype=float))
    bad = duration[~((duration >= 0) & np.isfinite(duration))]
    if bad.size:
        raise UsageError(f"A duration of {bad[0]:g} h; allowed 0 or more.")
    return duration


def weights_of(duration: ArrayLike | None, n: int, what: str) -> np.ndarray:
    """Durations as the weights of `n` values, equal if left out.

    UsageError, naming `what` is averaged, if one is missing or negative, if their number is another, or if all are zero.
    """
    if duration is None:
        return np.ones(n)
    weight = require_hours(duration)
    if weight.size != n:
        raise UsageError(f"There are {n} {what}s but {weight.size} durations; each {what} needs one.")
    if not weight.sum() > 0:
        raise UsageError("All durations are zero, so there is nothing to average.")
    return weight


@dataclass(frozen=True, slots=True)
class VibrationCriterion:
    """A rule for daily whole-body vibration exposure.

    Attributes
    ----------
    name, label : str
        Short name, and name as the report prints it.
    a8_m_s2 : float
        Daily exposure A(8) at which the criterion is reached [m/s²].
    citation : str
        Document, clause and year.
    reference_h : float
        Hours to which the exposure is referred [h].
    """

    name: str
    label: str
    a8_m_s2: float
    citation: str
    reference_h: float = 8.0

    def __post_init__(self) -> None:
        wrong = []
        if not self.name or not self.label:
            wrong.append("name and label must be given")
        if not self.citation.strip():
            wrong.append("citation is empty; say which document the criterion comes from")
        if not 0 < self.a8_m_s2 <= 50:
            wrong.append(f"a8_m_s2 is {self.a8_m_s2:g}; allowed above 0 to 50")
        if not 0 < self.reference_h <= DAY_H:
            wrong.append(f"reference_h is {self.reference_h:g}; allowed above 0 to 24")
        if wrong:
            raise UsageError(f'The vibration criterion "{self.name}" cannot be used: {"; ".join(wrong)}.')

    def permissible_h(self, weighted_m_s2: ArrayLike) -> np.ndarray:
        """Hours at a steady vibration, axis factor included, until the criterion is reached [h].

        Infinite where there is no vibration. ``T = reference_h (A / a) ** 2``.
        """
        weighted = np.asarray(weighted_m_s2, dtype=float)
        with np.errstate(divide="ignore"):
            return self.reference_h * (self.a8_m_s2 / weighted) ** 2

    def exposure_pct(self, a8_m_s2: ArrayLike) -> np.ndarray:
        """Share of the criterion's daily exposure that is used up [%]: ``100 (A(8) / criterion) ** 2``."""
        return 100.0 * (np.asarray(a8_m_s2, dtype=float) / self.a8_m_s2) ** 2


Criterion = TypeVar("Criterion", NoiseCriterion, VibrationCriterion)

# ---------------------------------------------------------------- noise
OSHA_PEL = NoiseCriterion(
    "osha_pel",
    "OSHA permissible limit",
    90.0,
    5.0,
    90.0,
    "29 CFR 1910.95(a), (b), Table G-16 and Appendix A; levels below 90 dBA are not in Table G-16",
    printed_coefficient=16.61,
)
OSHA_ACTION = NoiseCriterion(
    "osha_action",
    "OSHA action level",
    90.0,
    5.0,
    80.0,
    "29 CFR 1910.95(c), (d) and Appendix A; a dose of 50%, which is an 8-hour average of 85 dBA",
    action_dose_pct=50.0,
    printed_coefficient=16.61,
)
NIOSH_REL = NoiseCriterion(
    "niosh_rel",
    "NIOSH recommended limit",
    85.0,
    3.0,
    80.0,
    "NIOSH Publication 98-126 (1998), 1.1.1 to 1.1.3; levels from 80 dBA are counted (1.3.3)",
    printed_coefficient=10.0,
)
EU_LOWER_ACTION = NoiseCriterion(
    "eu_lower_action",
    "EU lower action value",
    80.0,
    EQUAL_ENERGY_DB,
    None,
    "Directive 2003/10/EC, Article 3(1), lower action value",
)
EU_UPPER_ACTION = NoiseCriterion(
    "eu_upper_action",
    "EU upper action value",
    85.0,
    EQUAL_ENERGY_DB,
    None,
    "Directive 2003/10/EC, Article 3(1), upper action value",
)
EU_LIMIT = NoiseCriterion(
    "eu_limit",
    "EU limit value",
    87.0,
    EQUAL_ENERGY_DB,
    None,
    "Directive 2003/10/EC, Article 3(1), limit value; meant at the ear under any hearing protector (Article 3(2))",
)
NOISE_CRITERIA: dict[str, NoiseCriterion] = {
    criterion.name: criterion
    for criterion in (OSHA_PEL, OSHA_ACTION, NIOSH_REL, EU_LOWER_ACTION, EU_UPPER_ACTION, EU_LIMIT)
}
"""The noise criteria that are known by name."""

# ---------------------------------------------------------------- whole-body vibration
AXIS_FACTORS = {"x": 1.4, "y": 1.4, "z": 1.0}
"""Factor of each axis for a seated person: Directive 2002/44/EC, Annex B; UK SI 2005/1093, Schedule 2."""

EU_VIBRATION_ACTION = VibrationCriterion(
    "eu_vibration_action",
    "EU action value",
    0.5,
    "Directive 2002/44/EC, Article 3(2), whole-body vibration, action value",
)
EU_VIBRATION_LIMIT = VibrationCriterion(
    "eu_vibration_limit",
    "EU limit value",
    1.15,
    "Directive 2002/44/EC, Article 3(2), whole-body vibration, limit value",
)
VIBRATION_CRITERIA: dict[str, VibrationCriterion] = {
    criterion.name: criterion for criterion in (EU_VIBRATION_ACTION, EU_VIBRATION_LIMIT)
}
"""The vibration criteria that are known by name."""

# ---------------------------------------------------------------- words that go with every result
NOISE_CAUTIONS = (
    "Hearing-conservation duties may start at the OSHA action level, an 8-hour average of 85 dBA. Whether federal or "
    "state rules bind a town differs from state to state: take these figures to risk management before they are published.",
    "A few samples in a cab do not replace a survey. An occupational hygienist decides how crews are measured and protected; "
    "hearing protection already in use is not counted here, and peaks, such as a blade striking a curb, were not measured.",
)
"""Cautions that every noise result carries."""

VIBRATION_CAUTIONS = (
    "The action and limit values are European and are shown for orientation; ask risk management which rules apply to the "
    "town before these figures are published.",
    "Only whole-body vibration at the seat is looked at. Vibration of the hands on wheel and levers is a different "
    "measurement with different limits and is not covered, and single hard shocks weigh more than an average shows. "
    "An occupational hygienist or physician judges what an exposure means for a person.",
)
"""Cautions that every vibration result carries."""


def noise_criteria(chosen: Sequence[str | NoiseCriterion] = ()) -> tuple[NoiseCriterion, ...]:
    """Noise criteria by name or as objects, in the order given.

    Parameters
    ----------
    chosen : sequence of str or NoiseCriterion
        Names from `NOISE_CRITERIA`, or criteria of one's own. Empty means all that are known by name.

    Returns
    -------
    tuple of NoiseCriterion

    Raises
    ------
    UsageError
        If a name is not known or two criteria share a name.
    """
    if not chosen:
        return tuple(NOISE_CRITERIA.values())
    found = tuple(_known(item, NOISE_CRITERIA, "noise") if isinstance(item, str) else item for item in chosen)
    _require_different(found)
    return found


def vibration_criteria(chosen: Sequence[str | VibrationCriterion] = ()) -> tuple[VibrationCriterion, ...]:
    """Vibration criteria by name or as objects, in the order given; like `noise_criteria`."""
    if not chosen:
        return tuple(VIBRATION_CRITERIA.values())
    found = tuple(
        _known(item, VIBRATION_CRITERIA, "vibration") if isinstance(item, str) else item for item in chosen
    )
    _require_different(found)
    return found


def shift_levels(criteria: Sequence[NoiseCriterion], shift_length_h: Sequence[float]) -> pd.DataFrame:
    """Steady level at which a shift of each length reaches each criterion.

    Parameters
    ----------
    criteria : sequence of NoiseCriterion
    shift_length_h : sequence of float
        Shift lengths [h].

    Returns
    -------
    DataFrame
        One row per criterion and length: criterion, shift_length_h, level_dba.
    """
    rows = [
        {
            c.CRITERION: criterion.name,
            c.SHIFT_LENGTH_H: float(hours),
            c.LEVEL_DBA: float(criterion.shift_level_dba(hours)[0]),
        }
        for criterion in criteria
        for hours in shift_length_h
    ]
    return pd.DataFrame(rows, columns=[c.CRITERION, c.SHIFT_LENGTH_H, c.LEVEL_DBA])


def _known(name: str, known: Mapping[str, Criterion], what: str) -> Criterion:
    if name in known:
        return known[name]
    hint = near_match(name, known) or f"Known are: {', '.join(known)}."
    raise UsageError(f'There is no {what} criterion "{name}". {hint}')


def _require_different(found: Sequence[NoiseCriterion] | Sequence[VibrationCriterion]) -> None:
    names = [criterion.name for criterion in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UsageError(f'The criterion "{twice[0]}" is given twice.')
