"""Treatments compared within blocks by the averages of the units, and which way of comparing counts.

Answers: by how much does a treatment differ from the reference when each unit (a truck) counts once and the units of every
treatment may spread in their own way?

`blocked` fits one model to all rows, which supposes one spread between units for all treatments. Where that is not so the
interval of the model may hold the truth far too seldom: `fit_differences` says which of the two is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.stats.blocked import fit_blocked
from trialkit.stats.blocked_sums import BlockedSums, Floats
from trialkit.stats.inference import PAIRS_NEEDED, Pairing, Sample, difference_interval

_TOLD_WITHIN = 1e-8
"""Share of the scatter of a covariate that has to lie within cells for its effect to be seen there."""


@dataclass(frozen=True, eq=False)
class TwoStageFit:
    """Differences from the cell averages.

    Attributes
    ----------
    estimate, std_error, df : (treatments - 1,) array
        As in `blocked.BlockedFit`.
    separate_spread : bool
        Whether each treatment has a spread of its own (Welch); otherwise one spread serves all.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    separate_spread: bool


def fit_two_stage(sums: BlockedSums, confidence_level: float = 0.95) -> TwoStageFit:
    """Average every cell over the blocks, then compare the averages with each unit counting once.

    Use it where each unit carries one treatment: it does not suppose that the treatments spread alike. It does not weigh units
    by their rows, and takes covariates out only as far as they vary within cells.

    Parameters
    ----------
    sums : BlockedSums
        From `blocked_sums.blocked_sums`.
    confidence_level : float
        Two-sided level of the intervals that will be made; it matters for the degrees of freedom of two units against more.

    Returns
    -------
    TwoStageFit

    Notes
    -----
    First least squares with block, cell and covariates. Then Welch's interval for the cell effects of two treatments,
    partly paired where units are shared (`inference.difference_interval`). Where the blocks fall into parts without a
    common cell, the effects of different parts cannot be compared; then least squares of the cell effects on
    treatment, part and (where units changed) unit, with one spread for all.
    """
    effects = sums.response
    if sums.covariates.shape[1]:
        inner, cross = sums.rest[:-1, :-1], sums.rest[:-1, -1]
        effects = effects - sums.covariates @ (np.linalg.pinv(inner, rcond=1e-10, hermitian=True) @ cross)
    parts = sums.parts()
    treatments = range(1, sums.n_treatments)
    if parts.max() == 0:
        estimate, std_error, df = np.array(
            [_of_cells(sums, effects, k, confidence_level) for k in treatments]
        ).T
        return TwoStageFit(estimate, std_error, df, separate_spread=True)
    marks = [sums.treatment_marks, (parts[:, None] == np.arange(parts.max() + 1)).astype(float)]
    if sums.n_changing_units >= PAIRS_NEEDED:
        marks.append(sums.unit_marks)
    x = np.column_stack(marks)
    inverse = np.linalg.pinv(x, rcond=1e-10)
    beta, df = inverse @ effects, sums.n_cells - np.linalg.matrix_rank(x)
    n = sums.n_treatments - 1
    if df < 1:
        return TwoStageFit(beta[:n], np.full(n, np.nan), np.full(n, np.nan), separate_spread=False)
    spread = float(((effects - x @ beta) ** 2).sum()) / df
    return TwoStageFit(
        beta[:n],
        np.sqrt(spread * (inverse[:n] ** 2).sum(axis=1)),
        np.full(n, float(df)),
        separate_spread=False,
    )


def _of_cells(
    sums: BlockedSums, effects: Floats, treatment: int, confidence_level: float
) -> tuple[float, float, float]:
    of = {
        k: dict(zip(sums.unit[sums.treatment == k], effects[sums.treatment == k], strict=True))
        for k in (0, treatment)
    }
    both = sorted(of[0].keys() & of[treatment].keys())
    pairs = Pairing.of([of[treatment][u] for u in both], [of[0][u] for u in both]) if both else None
    found = difference_interval(
        Sample.of(list(of[treatment].values())), Sample.of(list(of[0].values())), pairs, confidence_level
    )
    return found.estimate, found.std_error, found.df


@dataclass(frozen=True, eq=False)
class BlockedDifferences:
    """Differences of the treatments from the reference, in the way that counts.

    Attributes
    ----------
    estimate, std_error, df : (treatments - 1,) array
        As in `blocked.BlockedFit`.
    units_first : bool
        Whether each unit was averaged first, every treatment with a spread of its own; otherwise one model of all rows.
    converged : bool
        Whether the search for the variances of the model ended.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    units_first: bool
    converged: bool


def fit_differences(sums: BlockedSums, confidence_level: float = 0.95) -> BlockedDifferences:
    """Compare the treatments by unit averages where each unit carries one, and by the model where units change.

    Use it for the figures that count. `fit_blocked` and `fit_two_stage` give the other way beside it.

    Parameters
    ----------
    sums : BlockedSums
        From `blocked_sums.blocked_sums`.
    confidence_level : float
        Two-sided level of the intervals that will be made.

    Returns
    -------
    BlockedDifferences

    Notes
    -----
    Different units: Welch's interval of the cell effects, without a test of the spreads beforehand; such a test has next to no
    power with a handful of units. Where the units of one treatment spread three times as much, the model's 95 % interval holds
    the truth in 72 to 90 % of trials if they are the fewer, or if there are three treatments, and in 98 to 99.7 % otherwise;
    Welch's in 92 to 97 %. The price is an interval that is longer by a tenth where the spreads are alike, and more with two
    units.

    The model is kept where three units or more changed their treatment, where the blocks fall into parts that no cell links,
    and for covariates that do not vary within cells.
    """
    changing = sums.n_changing_units >= PAIRS_NEEDED
    if not changing and sums.parts().max() == 0 and _told_within(sums):
        stages = fit_two_stage(sums, confidence_level)
        return BlockedDifferences(stages.estimate, stages.std_error, stages.df, True, True)
    fit = fit_blocked(sums, confidence_level)
    return BlockedDifferences(fit.estimate, fit.std_error, fit.df, False, fit.converged)


def _told_within(sums: BlockedSums) -> bool:
    """Whether all covariates vary within cells enough to be taken out there."""
    within = sums.rest[:-1, :-1]
    if not len(within):
        return True
    along = np.einsum("iq,ij,jq->q", sums.covariates, sums.inner, sums.covariates)
    size = np.sqrt(np.diag(within) + along)
    return bool(np.linalg.eigvalsh(within / np.outer(size, size)).min() > _TOLD_WITHIN)
