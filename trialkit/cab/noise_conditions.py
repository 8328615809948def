"""What radio, window and speed do to the level in a cab, found within trucks, and whether they were spread evenly.

Answers: how much of a difference between edge types may come from the radio, the window or the speed?

A radio or an open window changes the level in a cab about as much as an edge might: in over 400 measurements in heavy trucks
the radio added 2.8 dB, an open driver's window 1.3 dB and both together 3.9 dB [1]_.

References
----------
.. [1] B. Seshagiri, "Occupational noise exposure of operators of heavy trucks", American Industrial Hygiene Association
   Journal 59(3), 205-213, 1998 (abstract).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.cab.noise import TASK_WORDS
from trialkit.cab.samples import EdgeLabels
from trialkit.formatting import counted, fixed, listed, percent

STATES = {c.RADIO: "on", c.WINDOW: "open"}
"""Recorded states that shift a level, with the louder one."""
WORDS = {c.RADIO: "radio", c.WINDOW: "window", c.SPEED_MPH: "speed"}
CONDITIONS = tuple(WORDS)
UNEVEN_SHARE = 0.2
UNEVEN_SPEED_MPH = 3.0
"""Differences between edge types in the time with radio on or window open, and in mean speed, that get a note (our choice)."""
FEWEST_DF = 3
"""Samples beyond the terms fitted that an adjustment needs (our choice)."""
_STUDY = "In a study of heavy trucks the radio added 2.8 dB and an open window 1.3 dB (Seshagiri 1998)"


@dataclass(frozen=True, eq=False)
class Conditions:
    """Effects of the conditions within trucks, and the samples brought to the same conditions.

    Attributes
    ----------
    terms : tuple of str
        Conditions that could be adjusted for; empty if none.
    effect, covariance : ndarray
        Effect of each [dB, or dB per mph] and its covariance.
    df : int
        Degrees of freedom of the fit.
    adjusted : DataFrame
        The samples with radio off, window closed and the mean speed, as far as `terms` go.
    notes : tuple of str
        What could not be adjusted for, and why.
    """

    terms: tuple[str, ...]
    effect: np.ndarray
    covariance: np.ndarray
    df: int
    adjusted: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def basis(self) -> str:
        """What was adjusted for, in words."""
        return f"adjusted for {listed([WORDS[name] for name in self.terms])}"

    def frame(self) -> pd.DataFrame:
        """One row per term: estimate, std_error, df."""
        errors = np.sqrt(np.diag(self.covariance))
        return pd.DataFrame({c.TERM: self.terms, c.ESTIMATE: self.effect, c.STD_ERROR: errors, c.DF: self.df})


def _design(group: pd.DataFrame, terms: list[str] | tuple[str, ...]) -> pd.DataFrame:
    """One column per condition: 1 for the louder state, or the speed; missing where not recorded."""
    columns = {}
    for name in terms:
        if name in STATES:
            state = group[name].astype(object)
            columns[name] = state.eq(STATES[name]).astype(float).where(state.notna())
        else:
            columns[name] = group[name].astype(float)
    return pd.DataFrame(columns, index=group.index)


def fit_conditions(group: pd.DataFrame, wanted: Sequence[str]) -> Conditions:
    """Effects of the conditions on the level, by least squares within truck and edge type.

    Use it on samples of one task and one exchange rate. Where a condition never changed within a truck and edge type, its
    effect cannot be told from theirs.

    Parameters
    ----------
    group : DataFrame
        truck_id, edge_type, task, level_dba and the columns `wanted`.
    wanted : sequence of str
        Conditions out of radio, window and speed_mph.

    Returns
    -------
    Conditions
        Without terms, with a note, where nothing could be adjusted for.

    Notes
    -----
    ``L = own intercept of each truck and edge type + sum(effect * condition) + error``, samples weighing alike.
    """
    nothing = Conditions((), np.empty(0), np.empty((0, 0)), 0, group, ())
    design = _design(group, [name for name in wanted if group[name].notna().any()])
    if design.empty:
        return nothing
    known = design.notna().all(axis=1)
    design, level = design[known], group.loc[known, c.LEVEL_DBA]
    cell = [group.loc[known, c.TRUCK_ID].astype(object), group.loc[known, c.EDGE_TYPE].astype(object)]
    within = design - design.groupby(cell).transform("mean")
    moves = within.abs().max() > 1e-9
    terms = tuple(design.columns[moves])
    notes = []
    task = TASK_WORDS[group[c.TASK].iloc[0]]
    for name in design.columns[~moves]:
        if design[name].nunique() > 1:
            notes.append(
                f"{name} never changed within a truck and edge type {task}, so its effect cannot be told from theirs and is not "
                "adjusted for."
            )
    x = within[list(terms)].to_numpy(float)
    cells = design.groupby(cell).ngroups
    df = len(design) - cells - len(terms)
    if not terms or df < FEWEST_DF or np.linalg.matrix_rank(x) < len(terms):
        if terms:
            notes.append(f"There are too few samples {task} to adjust for {listed(list(terms))}.")
        return Conditions((), np.empty(0), np.empty((0, 0)), 0, group, tuple(notes))
    y = (level - level.groupby(cell).transform("mean")).to_numpy(float)
    gram = np.linalg.inv(x.T @ x)
    effect = gram @ x.T @ y
    residual = y - x @ effect
    covariance = gram * float(residual @ residual) / df
    base = np.array([0.0 if name in STATES else design[name].mean() for name in terms])
    adjusted = group[known].assign(
        **{c.LEVEL_DBA: level - (design[list(terms)] - base).to_numpy(float) @ effect}
    )
    if not known.all():
        notes.append(
            f"{counted(int((~known).sum()), 'sample')} {task} without a record of {listed(list(design.columns), 'or')} "
            "count in the line as measured, not in the adjusted one."
        )
    return Conditions(terms, effect, covariance, df, adjusted, tuple(notes))


def adjustment_variance(
    group: pd.DataFrame, reference: str, fit: Conditions
) -> dict[str, tuple[float, float]]:
    """Variance that the error of the effects adds to each difference, with its degrees of freedom."""
    design = _design(group, fit.terms)
    keys = [group[c.TRUCK_ID].astype(object), group[c.EDGE_TYPE].astype(object)]
    by_type = design.groupby(keys).mean().groupby(level=1).mean()
    gaps = (by_type - by_type.loc[reference]).drop(index=reference)
    return {
        str(name): (float(gap @ fit.covariance @ gap), float(fit.df))
        for name, gap in zip(gaps.index, gaps.to_numpy(float), strict=True)
    }


def uneven_notes(group: pd.DataFrame, reference: str, task: str, label: EdgeLabels) -> list[str]:
    """Notes on conditions that differ between an edge type and the reference, or were never recorded.

    Parameters
    ----------
    group : DataFrame
        Samples of one task: edge_type, duration_min; radio, window and speed_mph where they are recorded.
    reference : str
        Edge type with which the others are compared.
    task : str
        The task.
    label : EdgeLabels
        Names of the edge types.

    Returns
    -------
    list of str
    """
    notes = []
    words = TASK_WORDS[task]
    unrecorded = [name for name in STATES if name not in group or group[name].isna().all()]
    if unrecorded:
        notes.append(
            f"{listed(unrecorded).capitalize()} {'was' if len(unrecorded) == 1 else 'were'} not recorded {words}, so a difference "
            f"may come from there. {_STUDY}."
        )
    edge = group[c.EDGE_TYPE].astype(object)
    for name in [one for one in STATES if one not in unrecorded]:
        known = group[name].notna()
        minutes = group.loc[known, c.DURATION_MIN]
        loud = minutes.where(group.loc[known, name].astype(object) == STATES[name], 0.0)
        share = loud.groupby(edge[known]).sum() / minutes.groupby(edge[known]).sum()
        for other in share.index:
            if reference in share.index and abs(share[other] - share[reference]) > UNEVEN_SHARE:
                notes.append(
                    f"The {name} was {STATES[name]} for {percent(100 * share[other])} of the time sampled {words} with {label(other)} and "
                    f"{percent(100 * share[reference])} with {label(reference)}. {_STUDY}, about as much as an edge might; compare "
                    "the adjusted line, or sample again with radio off and window closed."
                )
    if c.SPEED_MPH in group and group[c.SPEED_MPH].notna().any():
        speed = group.groupby(edge)[c.SPEED_MPH].mean()
        for other in speed.index:
            if reference in speed.index and abs(speed[other] - speed[reference]) > UNEVEN_SPEED_MPH:
                own, usual = (
                    f"{fixed(display.value(speed[name], 'mph'), 0)} {display.unit('mph')}"
                    for name in (other, reference)
                )
                notes.append(
                    f"The mean speed {words} was {own} with {label(other)} and {usual} with {label(reference)}; faster is louder."
                )
    return notes
