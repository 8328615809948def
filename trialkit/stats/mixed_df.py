"""Standard errors and degrees of freedom for contrasts of a fitted mixed model.

Answers: how many degrees of freedom does the standard error of this contrast carry?

With few trucks a standard error is itself uncertain, and an interval of plus or minus 1.96 of it is too narrow. Two
small-sample answers are given side by side: Satterthwaite's, from the curvature of the criterion at the estimate, and
Kenward and Roger's, from the expected information, which also enlarges the standard error. In a balanced trial both are
the degrees of freedom of the t interval from the trucks' own slopes. On the boundary (a variance estimated as zero)
they part: Satterthwaite takes the zero for known, Kenward and Roger do not.

References
----------
Fai, A. H.-T. and Cornelius, P. L. (1996), Approximate F-tests of multiple degree of freedom hypotheses in generalized
least squares analyses of unbalanced split-plot experiments, Journal of Statistical Computation and Simulation 54.
Kenward, M. G. and Roger, J. H. (1997), Small sample inference for fixed effects from restricted maximum likelihood,
Biometrics 53, 983-997.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trialkit.stats.mixed_reml import MixedFit
from trialkit.stats.mixed_terms import Floats

_LEAST_CURVATURE = 1e-8
"""Directions of the variance parameters with less curvature than this are taken as known (as lmerTest does); large
parameters count in shares of themselves."""


@dataclass(frozen=True, eq=False)
class Contrasts:
    """Contrasts of fixed effects, one array element for each.

    Attributes
    ----------
    estimate : array
        Contrast of the fixed effects.
    std_error : array
        Its standard error, from (X'V^-1X)^-1 at the estimated variances.
    df_satterthwaite : array
        Satterthwaite degrees of freedom of that standard error.
    std_error_kr, df_kr : array
        Standard error and degrees of freedom after Kenward and Roger; nan after a fit by maximum likelihood, for which
        they are not defined, and where the data say so little of the variances that the adjustment breaks down.
    """

    estimate: Floats
    std_error: Floats
    df_satterthwaite: Floats
    std_error_kr: Floats
    df_kr: Floats


def estimate_contrasts(fit: MixedFit, weights: ArrayLike) -> Contrasts:
    """Estimate contrasts of the fixed effects with their small-sample standard errors and degrees of freedom.

    Each contrast stands alone: the degrees of freedom are those of a t statistic, not of a joint test.

    Parameters
    ----------
    fit : MixedFit
        From `mixed_reml.fit_cross_products`.
    weights : (p,) or (contrasts, p) array
        Weight of each fixed effect.

    Returns
    -------
    Contrasts
    """
    weights = np.atleast_2d(np.asarray(weights, float))
    scaled = weights @ fit.sums.x_basis
    std_error = np.sqrt(np.einsum("ci,ij,cj->c", weights, fit.covariance, weights))
    undefined = np.full(len(weights), np.nan)
    inflation, df_kr = _kenward_roger(fit, scaled) if fit.criterion.reml else (undefined, undefined)
    return Contrasts(
        estimate=weights @ fit.coefficients,
        std_error=std_error,
        df_satterthwaite=_satterthwaite(fit, scaled),
        std_error_kr=std_error * inflation,
        df_kr=df_kr,
    )


def _satterthwaite(fit: MixedFit, weights: Floats) -> Floats:
    """Twice the squared variance of a contrast over the variance of that variance.

    The variance of the variance parameters is twice the inverse Hessian of the deviance in (theta, log sigma), before
    sigma is profiled out; the gradient of the contrast's variance follows from d(X'V^-1X) = -X'V^-1 dV V^-1X.
    """
    now, k = fit.evaluation, len(fit.theta)
    freedom = fit.sums.n - fit.sums.n_fixed if fit.criterion.reml else fit.sums.n
    slope = now.rss_slope[0] / now.rss[0]
    hessian = np.empty((k + 1, k + 1))
    hessian[:k, :k] = now.hessian[0] + freedom * np.outer(slope, slope)
    hessian[k, :k] = hessian[:k, k] = -2.0 * freedom * slope
    hessian[k, k] = 4.0 * freedom
    stretch = np.append(np.maximum(np.abs(fit.theta), 1.0), 1.0)
    curvature, axes = np.linalg.eigh(hessian * np.outer(stretch, stretch))
    known = curvature <= _LEAST_CURVATURE
    spread = np.where(known, 0.0, 2.0 / np.where(known, 1.0, curvature))

    leverage = weights @ now.beta_cov[0]
    variance = (leverage * weights).sum(axis=1)
    gradient = np.empty((len(weights), k + 1))
    gradient[:, :k] = np.einsum("ci,kij,cj->ck", leverage, now.information_slope[0], leverage)
    gradient[:, k] = 2.0 * variance
    return 2.0 * variance**2 / (((gradient * stretch) @ axes) ** 2 @ spread)


def _kenward_roger(fit: MixedFit, weights: Floats) -> tuple[Floats, Floats]:
    """Factor on the standard error, and degrees of freedom, after Kenward and Roger.

    V is linear in the (co)variances, with fixed patterns V_k = Z K_k Z', and in the residual variance; in place of the
    latter stands V itself, which spans the same space and makes its terms plain. For a single contrast the scaling
    factor of the F statistic is one and the degrees of freedom are 2 / A, with A the paper's A1 = A2.
    """
    sums, k = fit.sums, len(fit.theta)
    p, n, mq = sums.n_fixed, sums.n, sums.n_random * len(sums.n_each)
    criterion = fit.criterion
    weight = criterion.weigh(criterion.factor(fit.theta[None]))[0][0]
    unrooted = criterion.root.swapaxes(-1, -2)
    b, f = unrooted @ weight @ criterion.root, unrooted @ weight @ criterion.x_along
    phi = fit.evaluation.beta_cov[0]
    patterns = np.maximum(sums.patterns, sums.patterns.swapaxes(-1, -2))

    turned = b @ patterns
    tilted = (patterns @ f).reshape(k, mq, p)
    first = f.reshape(mq, p).T @ tilted
    second = np.einsum("kai,laj->klij", tilted, (b @ patterns @ f).reshape(k, mq, p))
    traces = np.einsum("kmij,lmji->kl", turned, turned)
    trace = turned.trace(axis1=-1, axis2=-2).sum(axis=-1)

    # the direction of V itself (relative to the residual variance): V^-1 V is the identity
    slope = np.concatenate([first, np.linalg.inv(phi)[None]])
    curve = np.empty((k + 1, k + 1, p, p))
    curve[:k, :k] = second
    curve[k, :] = slope
    curve[:, k] = slope
    all_traces = np.empty((k + 1, k + 1))
    all_traces[:k, :k] = traces
    all_traces[k, :k] = all_traces[:k, k] = trace
    all_traces[k, k] = n

    shifted = phi @ slope
    information = (
        all_traces - 2.0 * np.einsum("ij,klji->kl", phi, curve) + np.einsum("kij,lji->kl", shifted, shifted)
    )
    size = np.sqrt(np.where(np.diag(information) > 0.0, np.diag(information), 1.0))
    scale = np.outer(size, size)
    spread = 2.0 * np.linalg.pinv(information / scale, rcond=1e-10, hermitian=True) / scale
    excess = np.einsum("kl,klij->ij", spread, curve - np.einsum("kia,laj->klij", slope, shifted))

    leverage = weights @ phi
    variance = (leverage * weights).sum(axis=1)
    added = 2.0 * np.einsum("ci,ij,cj->c", leverage, excess, leverage)
    share = np.einsum("ci,kij,cj->ck", leverage, slope, leverage) / variance[:, None]
    df = 2.0 / np.einsum("ck,kl,cl->c", share, spread, share)
    inflation = 1.0 + added / variance
    usable = inflation > 0.0
    return np.sqrt(np.where(usable, inflation, np.nan)), np.where(usable, df, np.nan)
