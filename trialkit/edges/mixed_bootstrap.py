"""The cross-check of the wear rates, run again on made-up seasons.

Answers: if the fitted model were the truth, how would the wear rates scatter from season to season?

A parametric bootstrap: trucks, sets and reading errors are drawn anew from the fitted variances and the model is fitted
again, many times. Not the readings are drawn but their cross-products, which have a known distribution, so a made-up
season costs the same whether it holds a hundred readings or a million, and all refits run side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges.mixed import RATE_PER_MILES, RATE_UNIT, MixedWear, rate_in_words, shown_rate
from trialkit.errors import NotEnoughDataError
from trialkit.formatting import counted, interval, level_percent, listed
from trialkit.results import Summary
from trialkit.stats.mixed_reml import MixedFit, Response, minimize, start_rows
from trialkit.stats.mixed_terms import Floats

_NUMBERS_AT_ONCE = 2_000_000
"""Size of the arrays that are worked on at once."""


@dataclass(frozen=True, eq=False)
class MixedBootstrap(Summary):
    """Wear rates of the edge types with intervals from refits to made-up seasons. [in/1000 mi]

    Attributes
    ----------
    table : DataFrame
        One row per edge type with an interval in the fit: `edge_type`, `estimate`, `std_error` (standard deviation of
        the refitted rates), `conf_low`, `conf_high`, `unit`.
    method : str
        The method in words.
    notes : tuple of str
        Caveats that the report prints.
    refits : DataFrame
        The refitted rates, one row per refit and one column per edge type.
    """

    refits: pd.DataFrame

    def sentence(self) -> str:
        """The one line that a council reads."""
        rates = [
            f"{interval(*shown_rate(row))} for {row[c.EDGE_TYPE]}" for row in self.table.to_dict("records")
        ]
        return f"Refitted to {len(self.refits):,} made-up seasons, the wear is {listed(rates)}, in {rate_in_words()}."


def bootstrap_mixed_wear(
    result: MixedWear, n_refits: int = 1000, *, seed: int, confidence_level: float = 0.95
) -> MixedBootstrap:
    """Refit the mixed model to made-up seasons and take the intervals of the wear rates from them.

    Use it to see whether the t intervals of the cross-check hold up in an unbalanced trial. It trusts the model (normal
    spread, the fitted variances), so it does not stand in for the two-stage intervals.

    Parameters
    ----------
    result : MixedWear
        From `mixed.fit_mixed_wear`.
    n_refits : int
        Number of made-up seasons.
    seed : int
        For the random numbers; the same seed gives the same table.
    confidence_level : float
        Two-sided.

    Returns
    -------
    MixedBootstrap

    Raises
    ------
    NotEnoughDataError
        If the model was refused or no edge type was on two trucks.

    Notes
    -----
    The interval is the bootstrap-t: each refit gives t = (rate - fitted rate) / its own standard error, and the quantiles
    of t take the place of the t distribution. The plain percentile interval is not offered; with few trucks it is about
    as narrow as one that takes 1.96 for t. For one group with D = [Z X] of cross-products R'R, D'e is R'w with w standard
    normal, and e'e is w'w plus an independent chi-squared with the observations less the rank of D.
    """
    shown = result.table[c.STD_ERROR].notna().to_numpy(bool) if result.fit is not None else np.zeros(0, bool)
    if result.fit is None or not shown.any():
        raise NotEnoughDataError(
            f"{counted(int((result.table[c.N_TRUCKS] > 1).sum()), 'edge type')} on two trucks or more; the refits need 1."
        )
    rng = np.random.default_rng(seed)
    weights = result.contrasts[shown]
    batch = max(1, _NUMBERS_AT_ONCE // max(1, result.fit.sums.patterns.size, result.fit.sums.products.size))
    parts = []
    for first in range(0, n_refits, batch):
        responses = simulate_responses(result.fit, min(batch, n_refits - first), rng)
        parts.append(refit_contrasts(result.fit, responses, weights))
    refits, std_errors = (np.concatenate(part) * RATE_PER_MILES for part in zip(*parts, strict=True))

    rates = result.table.loc[shown, [c.EDGE_TYPE, c.ESTIMATE]]
    estimate = rates[c.ESTIMATE].to_numpy()
    std_error = np.sqrt(np.einsum("ci,ij,cj->c", weights, result.fit.covariance, weights)) * RATE_PER_MILES
    tail = (1.0 - confidence_level) / 2.0
    low, high = np.quantile((refits - estimate) / std_errors, [tail, 1.0 - tail], axis=0)
    table = pd.DataFrame(
        {
            c.EDGE_TYPE: rates[c.EDGE_TYPE].to_numpy(),
            c.ESTIMATE: estimate,
            c.STD_ERROR: refits.std(axis=0, ddof=1),
            c.CONF_LOW: estimate - high * std_error,
            c.CONF_HIGH: estimate - low * std_error,
            c.UNIT: RATE_UNIT,
        }
    )
    return MixedBootstrap(
        table=table,
        method=f"Parametric bootstrap of the mixed model, {n_refits:,} refits, seed {seed}; "
        f"{level_percent(confidence_level)} bootstrap-t intervals.",
        notes=result.notes,
        refits=pd.DataFrame(refits, columns=list(rates[c.EDGE_TYPE])),
    )


def simulate_responses(fit: MixedFit, n_responses: int, rng: np.random.Generator) -> Response:
    """Draw the cross-products of made-up responses from a fitted model.

    Parameters
    ----------
    fit : MixedFit
        The model taken as the truth.
    n_responses : int
        How many.
    rng : numpy Generator
        Source of the random numbers.

    Returns
    -------
    Response
        With a leading axis of length `n_responses`.
    """
    sums, q = fit.sums, fit.sums.n_random
    groups = len(sums.n_each)
    criterion = fit.criterion
    sigma = np.sqrt(fit.evaluation.rss[0] / criterion.freedom)
    factor = criterion.factor(fit.theta[None])[0]
    known = sums.products[:, :-1, :-1]
    size, axes = np.linalg.eigh(known)
    told = size > 1e-12 * size.max(axis=1, keepdims=True)
    root = np.where(told, np.sqrt(np.maximum(size, 0.0)), 0.0)[:, None, :] * axes

    effects = (factor @ rng.standard_normal((n_responses, groups, q, 1)))[..., 0] * sigma
    fixed = np.broadcast_to(fit.evaluation.beta[0], (n_responses, groups, sums.n_fixed))
    mean = np.concatenate([effects, fixed], axis=2)
    noise = rng.standard_normal((n_responses, groups, q + sums.n_fixed)) * told
    error = (root @ noise[..., None])[..., 0] * sigma
    product = (known @ mean[..., None])[..., 0]
    unseen = rng.chisquare(max(sums.n - int(told.sum()), 1), n_responses)
    yy = (mean * (product + 2.0 * error)).sum(axis=(1, 2)) + ((noise**2).sum(axis=(1, 2)) + unseen) * sigma**2
    products = product + error
    return criterion.respond(products[..., :q], products[..., q:].sum(axis=1), yy)


def refit_contrasts(fit: MixedFit, responses: Response, weights: Floats) -> tuple[Floats, Floats]:
    """Fit the model of `fit` to each response and estimate contrasts of the fixed effects.

    Parameters
    ----------
    fit : MixedFit
        Its data give Z and X, its parameters a start.
    responses : Response
        From `simulate_responses`.
    weights : (contrasts, p) array
        Weight of each fixed effect.

    Returns
    -------
    tuple of (responses, contrasts) arrays
        Estimates and standard errors.
    """
    sums = fit.sums
    criterion = fit.criterion
    scaled = weights @ sums.x_basis
    starts = [np.where(fit.theta == 0.0, 0.1, fit.theta)[None], start_rows(sums, np.ones(len(sums.diagonal)))]
    rows = len(responses.rest)
    one, other = (minimize(criterion, np.repeat(start, rows, axis=0), responses)[1] for start in starts)
    better = other.value < one.value
    beta = np.where(better[:, None], other.beta, one.beta)
    cov = np.where(better[:, None, None], other.beta_cov, one.beta_cov)
    rss = np.where(better, other.rss, one.rss)
    variance = np.einsum("ci,rij,cj->rc", scaled, cov, scaled) * (rss / criterion.freedom)[:, None]
    return (beta * sums.y_scale + sums.offset) @ scaled.T, np.sqrt(variance) * sums.y_scale
