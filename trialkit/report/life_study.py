"""From a trial to its lives: how long edges last, how that compares, what was seen, and what is thrown away.

Answers: what goes into the life analyses of this trial, and what comes out?

As `study` does for wear: this is where a trial meets its analyses of life, which take plain frames and values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from trialkit import columns as c
from trialkit.edges import (
    depth_left,
    life,
    life_check,
    life_comparison,
    life_margin,
    observed,
    profile,
    unevenness,
    wear,
)
from trialkit.report import study
from trialkit.trial import lineage
from trialkit.trial.checks import Trial


@dataclass(frozen=True, eq=False)
class LifeStudy:
    """All analyses of life of one trial.

    Attributes
    ----------
    rates : WearRates
        The wear rates on which the lives rest.
    projection : LifeProjection
        Miles to the discard limit.
    compared : LifeComparison
        Lives against the reference.
    margin : LifeMargin or None
        The test against the agreed margin; None if none was agreed.
    observed : ObservedLives
        What was seen to wear out, break or get lost.
    check : LifeCheck
        Projected against observed lives.
    evenness : Unevenness
        Range, tilt and bow across the blade.
    profiles : Profiles
        Depth worn away by station.
    left : DepthLeft
        Usable depth thrown away at removal.
    labels : mapping
        Edge type to the name that sentences print.
    confidence_level : float
        Level of every interval.
    """

    rates: wear.WearRates
    projection: life.LifeProjection
    compared: life_comparison.LifeComparison
    margin: life_margin.LifeMargin | None
    observed: observed.ObservedLives
    check: life_check.LifeCheck
    evenness: unevenness.Unevenness
    profiles: profile.Profiles
    left: depth_left.DepthLeft
    labels: Mapping[str, str]
    confidence_level: float


def study_lives(trial: Trial, rates: wear.WearRates | None = None) -> LifeStudy:
    """Run every analysis of life on a trial.

    Parameters
    ----------
    trial : Trial
        A trial without errors.
    rates : WearRates, optional
        Its wear rates, if they are there already.
    """
    rates = rates or study.wear_rates(trial)
    readings = study.segments(trial)
    projection = life.project_life(rates, readings, trial[study.TYPES])
    seen = observed_lives(trial)
    return LifeStudy(
        rates=rates,
        projection=projection,
        compared=compared_lives(trial, projection),
        margin=agreed_margin(trial, projection),
        observed=seen,
        check=life_check.check_projection(projection, seen),
        evenness=unevenness.measure_unevenness(rates, readings),
        profiles=profile.profile_over_miles(readings, usable_depths(trial), labels=study.labels(trial)),
        left=depth_left.estimate_depth_left(
            rates, readings, seen.lives, trial[study.SETS], trial[study.TYPES], trial[study.EVENTS],
            currency=trial.settings.currency,
        ),
        labels=study.labels(trial),
        confidence_level=trial.confidence_level,
    )  # fmt: skip


def life_projection(trial: Trial, rates: wear.WearRates | None = None) -> life.LifeProjection:
    """Projected life of each edge type in this trial; see `life.project_life`."""
    return life.project_life(rates or study.wear_rates(trial), study.segments(trial), trial[study.TYPES])


def compared_lives(trial: Trial, projection: life.LifeProjection) -> life_comparison.LifeComparison:
    """Lives against the reference; see `life_comparison.compare_lives`. Nothing is compared if the reference was not read."""
    reference = trial.settings.reference_edge_type
    if reference in set(projection.table[c.EDGE_TYPE]):
        return life_comparison.compare_lives(projection, reference)
    nothing = life_comparison.compare_lives(replace(projection, table=projection.table.iloc[:0]))
    missing = f"The reference, {study.reference_label(trial)}, was not read, so no lives are compared."
    return replace(nothing, notes=(missing,))


def observed_lives(trial: Trial) -> observed.ObservedLives:
    """What was seen to wear out, break or get lost in this trial; see `observed.observe_lives`."""
    shifts = trial[study.SHIFTS] if trial.has(study.SHIFTS) else None
    return observed.observe_lives(
        lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], shifts),
        trial[study.SETS],
        set_events=trial[study.EVENTS],
        confidence_level=trial.confidence_level,
        reference=trial.settings.reference_edge_type,
        labels=study.labels(trial),
    )


def agreed_margin(trial: Trial, projection: life.LifeProjection) -> life_margin.LifeMargin | None:
    """The test against the margin of `trial.toml`; None if no margin was agreed or the reference was not read."""
    margin = trial.settings.plan.no_worse_than_ratio
    if margin is None or trial.settings.reference_edge_type not in set(projection.table[c.EDGE_TYPE]):
        return None
    return life_margin.check_margin(projection, margin, trial.settings.reference_edge_type)


def usable_depths(trial: Trial) -> dict[str, float]:
    """Edge type -> depth that may wear off. [in]"""
    types = trial[study.TYPES]
    return dict(zip(types[c.EDGE_TYPE].astype(str), types[c.USABLE_DEPTH_IN].astype(float), strict=True))


def set_table(lives: LifeStudy) -> pd.DataFrame:
    """Every set with its life, how it ended, what was projected for it and what was thrown away with it.

    Returns
    -------
    DataFrame
        One row per set whose miles are known: set_id, edge_type, plow_position, truck_id, miles_mi, cause, pred_low,
        pred_high, verdict (missing where the other trucks project nothing), left_pct, uneven_pct and left_usd (of sets that
        came off).
    """
    own = [c.SET_ID, c.PRED_LOW, c.PRED_HIGH, c.VERDICT]
    whole = lives.left.pieces[lives.left.pieces[depth_left.PIECE] == depth_left.SET]
    found = lives.observed.lives.merge(lives.check.table[own], on=c.SET_ID, how="left")
    thrown = [c.SET_ID, depth_left.LEFT_PCT, depth_left.UNEVEN_PCT, depth_left.LEFT_USD]
    return found.merge(whole[thrown], on=c.SET_ID, how="left")


def tables(lives: LifeStudy) -> dict[str, pd.DataFrame]:
    """The tables that leave the tool, by the name of their file.

    Returns
    -------
    dict of DataFrame
        `life`, `life_ratios`, `observed_lives` (one row per set), `breakage` (wear-outs, breaks and losses per 1,000 miles),
        `unevenness` and `depth_left`; `life_margin` if a margin was agreed.
    """
    agreed = {"life_margin": lives.margin.frame()} if lives.margin is not None else {}
    return {
        "life": lives.projection.frame(),
        "life_ratios": lives.compared.frame(),
        "observed_lives": set_table(lives),
        "breakage": lives.observed.frame(),
        "unevenness": evenness_table(lives),
        "depth_left": lives.left.frame(),
        **agreed,
    }


def evenness_table(lives: LifeStudy) -> pd.DataFrame:
    """Range, tilt and bow of each edge type, one row each: the column `term` says which."""
    ranges = lives.evenness.table.rename(columns={unevenness.RANGE_PCT: unevenness.SHAPE_PCT})
    ranges = ranges.assign(**{c.TERM: unevenness.RANGE})
    kept = [*unevenness.SHAPE_COLUMNS]
    parts = [part.reindex(columns=kept) for part in (ranges, lives.evenness.shapes) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=kept)
