"""A linear mixed model, fitted from cross-products alone.

Answers: how much do the groups of a trial differ from each other, and what are the fixed effects worth beside that?

Everything the fit needs is one small matrix for each group, the cross-products of [Z X y] that `mixed_terms` describes;
once these are formed, the cost does not depend on the number of readings. Several parameter vectors are evaluated side
by side, so that several starts, or the refits of a bootstrap, cost little more than one. `mixed_df` turns a fit into
standard errors and degrees of freedom for contrasts.

References
----------
Bates, D., Maechler, M., Bolker, B. and Walker, S. (2015), Fitting linear mixed-effects models using lme4, Journal of
Statistical Software 67(1), sections 3.1 to 3.4: the relative covariance factor and the profiled criterion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trialkit.stats.mixed_terms import NO_PARAMETER, CovarianceBlock, CrossProducts, Floats

_LEVELS = (0.1, 1.0, 10.0, 100.0)
"""Standard deviations of a random effect beside the residual, at the size of an average level, that are looked at first."""
_MOST_CROSSED = 3
"""Random effects for which all combinations of levels are looked at; with more, one effect at a time."""
_STARTS, _WORTH_A_START = 6, 30.0
"""So many of the best of them start a search, unless their deviance is so much above that of the best."""
_SAME_GOAL = 0.2
"""Two searches whose next full steps end so close together (as a share) head for the same minimum."""
_MOST_STEPS = 200
_FIRST_REACH = 0.8
"""Longest step, as a share of each parameter (of 1 for small ones)."""
_CLOSE_ENOUGH = 1e-10
"""Predicted gain in deviance below which the last step is taken."""
_NOTHING_LEFT = 1e-13
"""What is left of X beside Z, or of the residual variance beside that about the fixed effects alone, when it is rounding
error; no step of the search goes to such a residual."""
_TOO_FAR = 1e6
"""Standard deviation beside the residual at which the residual is as good as zero: there is no minimum to reach."""
_NEAR_ZERO = 0.05
_NO_WORSE = 1e-8
"""A standard deviation ratio below `_NEAR_ZERO` is zero if that costs no more deviance than `_NO_WORSE`."""


# ---------------------------------------------------------------- the criterion
class Response(NamedTuple):
    """What the criterion needs of y; with a leading axis when there are several responses.

    `along` are the coordinates of y along the columns of Z of each group, `x_rest` and `rest` the products of X and y, and
    of y with itself, in what is orthogonal to Z.
    """

    along: Floats
    x_rest: Floats
    rest: Floats

    def rows(self, which: Any) -> Response:
        """The responses numbered `which`; a single response serves every row."""
        return self if len(self.rest) == 1 else Response(*(part[which] for part in self))


class Evaluation(NamedTuple):
    """The profiled deviance and all that is made on the way, with a leading axis of parameter vectors.

    `rss` is the penalized residual sum of squares y'Py, `rss_slope` its gradient, `beta_cov` is (X'V^-1X)^-1 and
    `information_slope` X'V^-1 V_k V^-1 X, all for V relative to the residual variance.
    """

    value: Floats
    gradient: Floats
    hessian: Floats
    rss: Floats
    rss_slope: Floats
    beta: Floats
    beta_cov: Floats
    information_slope: Floats


class Solution(NamedTuple):
    """Deviance, y'Py, fixed effects and (X'V^-1X)^-1, then the factor, V^-1, V^-1 X and V^-1 (y - X b) along Z."""

    value: Floats
    rss: Floats
    beta: Floats
    beta_cov: Floats
    factor: Floats
    weight: Floats
    weighed_x: Floats
    weighed_error: Floats


class Criterion:
    """Profiled deviance of the covariance parameters, with gradient and Hessian.

    With V = I + Z L L' Z', P = V^-1 - V^-1 X (X'V^-1X)^-1 X'V^-1 and r = y'Py, the restricted criterion is
    log|V| + log|X'V^-1X| + (n - p)(1 + log(2 pi r / (n - p))); without restriction log|X'V^-1X| falls away and n stands
    for n - p. L is the block diagonal factor that the parameters fill, linear in them.

    Each group is written in orthonormal coordinates along Z = U W and a rest that V leaves alone, so that nothing is
    formed as a small difference of large numbers, however large the random effects are beside the residual.

    Parameters
    ----------
    sums : CrossProducts
        The data.
    reml : bool
        Restricted likelihood (the default everywhere) or likelihood.
    """

    def __init__(self, sums: CrossProducts, reml: bool):
        q, p = sums.n_random, sums.n_fixed
        self.sums, self.reml = sums, reml
        self.freedom = sums.n - p if reml else sums.n
        size, axes = np.linalg.eigh(sums.products[:, :q, :q])
        told = size > 1e-12 * np.maximum(size.max(axis=1, keepdims=True), 1e-300)
        size = np.sqrt(np.where(told, size, 0.0))
        self.root = size[:, :, None] * axes.swapaxes(-1, -2)
        self.unroot = np.divide(1.0, size, out=np.zeros_like(size), where=told)[:, :, None] * axes.swapaxes(
            -1, -2
        )
        self.x_along = self.unroot @ sums.products[:, :q, q : q + p]
        flat = self.x_along.reshape(-1, p)
        size_x, axes_x = np.linalg.eigh(sums.products[:, q : q + p, q : q + p].sum(axis=0) - flat.T @ flat)
        size_x[size_x < _NOTHING_LEFT] = 0.0
        self.x_rest = axes_x * size_x @ axes_x.T
        self.x_beside = axes_x * (size_x > 0.0) @ axes_x.T
        self.observed = self.respond(
            sums.products[None, :, :q, -1],
            sums.products[:, q : q + p, -1].sum(axis=0)[None],
            sums.products[:, -1, -1].sum(keepdims=True),
        )

    def respond(self, zy: Floats, xy: Floats, yy: Floats) -> Response:
        """The response with these cross-products Z'y (of each group), X'y and y'y, each with a leading axis."""
        along = (self.unroot @ zy[..., None])[..., 0]
        flat = along.reshape(len(along), -1)
        x_rest = (xy - flat @ self.x_along.reshape(flat.shape[1], -1)) @ self.x_beside
        return Response(along, x_rest, np.maximum(yy - (flat**2).sum(axis=-1), 0.0))

    def least_scatter(self) -> float:
        """Sum of squares left when every random effect is free, in units of the scatter about the fixed effects.

        Nothing left means that there is no residual for a mixed model to estimate.
        """
        x_rest = self.observed.x_rest[0]
        pull = np.linalg.pinv(self.x_rest, rcond=1e-10, hermitian=True) @ x_rest
        return float(self.observed.rest[0] - x_rest @ pull)

    def factor(self, theta: Floats) -> Floats:
        """Covariance factor of each group for each row of `theta`."""
        extended = np.concatenate([theta, np.zeros((len(theta), 1))], axis=1)
        return extended[:, self.sums.entries]

    def weigh(self, factor: Floats) -> tuple[Floats, Floats]:
        """V^-1 along Z, in the coordinates of each group, and log|V|."""
        rooted = self.root @ factor
        inverse, log_det = _inverse_and_log_det(np.eye(factor.shape[-1]) + rooted @ rooted.swapaxes(-1, -2))
        return inverse, log_det.sum(axis=-1)

    def solve(self, theta: Floats, response: Response) -> Solution:
        """Deviance and generalized least squares for each row of `theta`."""
        s, p = len(theta), self.sums.n_fixed
        mq = self.x_along.size // p
        factor = self.factor(theta)
        weight, log_det_v = self.weigh(factor)
        flat_x = self.x_along.reshape(mq, p)
        weighed_x = weight @ self.x_along
        beta_cov, log_det_x = _inverse_and_log_det(self.x_rest + flat_x.T @ weighed_x.reshape(s, mq, p))
        weighed_y = (weight @ response.along[..., None])[..., 0]
        x_y = response.x_rest + weighed_y.reshape(s, mq) @ flat_x
        beta = (beta_cov @ x_y[..., None])[..., 0]
        error = response.along - (self.x_along @ beta[:, None, :, None])[..., 0]
        weighed_error = (weight @ error[..., None])[..., 0]
        rss = (error * weighed_error).sum(axis=(-1, -2)) + response.rest
        rss = rss + (beta * ((self.x_rest @ beta[..., None])[..., 0] - 2.0 * response.x_rest)).sum(axis=-1)
        rss = np.where(rss > _NOTHING_LEFT * self.freedom, rss, np.nan)
        value = log_det_v + self.freedom * (1.0 + np.log(2.0 * np.pi * rss / self.freedom))
        value = value + log_det_x if self.reml else value
        return Solution(value, rss, beta, beta_cov, factor, weight, weighed_x, weighed_error)

    def __call__(self, theta: Floats, response: Response) -> Evaluation:
        """Deviance, gradient and Hessian for each row of `theta`."""
        s, k = theta.shape
        p, q, freedom = self.sums.n_fixed, self.sums.n_random, self.freedom
        mq = len(self.root) * q
        patterns = self.sums.patterns
        value, rss, beta, beta_cov, factor, weight, weighed_x, weighed_error = self.solve(theta, response)

        # slopes along the parameters; V_k = Z T_k Z' with T_k = E_k L' + L E_k'
        half = patterns @ factor.swapaxes(-1, -2)[:, None]
        tilt = half + half.swapaxes(-1, -2)
        unrooted = self.root.swapaxes(-1, -2)
        zx = unrooted @ weighed_x
        weighed_zz = unrooted @ weight @ self.root
        residual = (unrooted @ weighed_error[..., None])[..., 0]
        tilted_x = tilt @ zx[:, None]
        tilted_r = (tilt @ residual[:, None, ..., None])[..., 0]
        information_slope = zx.reshape(s, 1, mq, p).swapaxes(-1, -2) @ tilted_x.reshape(s, k, mq, p)
        rss_slope = -(residual[:, None] * tilted_r).sum(axis=(-1, -2))
        explained = zx @ beta_cov[:, None] @ zx.swapaxes(-1, -2)
        weights = weighed_zz - explained if self.reml else weighed_zz
        log_det_slope = (weights[:, None] * tilt).sum(axis=(-1, -2, -3))
        gradient = log_det_slope + freedom * rss_slope / rss[:, None]

        # curvature
        turned = weighed_zz[:, None] @ tilt
        curve = -_pair_traces(turned, turned)
        if self.reml:
            cross = _pair_traces(turned, explained[:, None] @ tilt)
            projected = beta_cov[:, None] @ information_slope
            curve += cross + cross.swapaxes(-1, -2) - _pair_traces(projected, projected)
        x_r = (zx.reshape(s, 1, mq, p) * tilted_r.reshape(s, k, mq, 1)).sum(axis=-2)
        flat_r = tilted_r.reshape(s, k, mq)
        pulled = (weighed_zz[:, None] @ tilted_r[..., None]).reshape(s, k, mq)
        rss_curve = 2.0 * (flat_r @ pulled.swapaxes(-1, -2) - x_r @ beta_cov @ x_r.swapaxes(-1, -2))
        score = (
            weights - (freedom / rss)[:, None, None, None] * residual[..., :, None] * residual[..., None, :]
        )
        bent = (score[:, None] @ patterns).reshape(s, k, mq * q)
        hessian = curve + 2.0 * bent @ patterns.reshape(k, mq * q).T
        hessian = hessian + (freedom / rss)[:, None, None] * rss_curve
        slope = rss_slope / rss[:, None]
        hessian = hessian - freedom * slope[:, :, None] * slope[:, None, :]
        return Evaluation(value, gradient, hessian, rss, rss_slope, beta, beta_cov, information_slope)


def _inverse_and_log_det(matrix: Floats) -> tuple[Floats, Floats]:
    """Inverse and log-determinant of each matrix of a stack; not numbers for a singular one."""
    if matrix.shape[-1] == 1:
        return 1.0 / matrix, np.log(matrix[..., 0, 0])
    log_det = np.linalg.slogdet(matrix)[1]
    singular = np.isneginf(log_det)
    if singular.any():
        matrix = np.where(singular[..., None, None], np.nan, matrix)
    inverse: Any = np.linalg.inv(matrix)
    return inverse, log_det


def _pair_traces(left: Floats, right: Floats) -> Floats:
    """Traces of left_k right_l for all pairs of stacks, summed over the groups."""
    s, k = left.shape[:2]
    size = math.prod(left.shape[2:])
    return left.reshape(s, k, size) @ right.swapaxes(-1, -2).reshape(s, k, size).swapaxes(-1, -2)


# ---------------------------------------------------------------- the fit
@dataclass(frozen=True, eq=False)
class MixedFit:
    """A fitted linear mixed model.

    Attributes
    ----------
    coefficients : (p,) array
        Fixed effects, in the units of the data.
    covariance : (p, p) array
        Their covariance, residual variance times (X'V^-1X)^-1.
    residual_variance : float
        Variance of e.
    log_likelihood : float
        Of the restricted likelihood, unless the fit was by maximum likelihood.
    random_covariances : dict of str to (k, k) array
        Covariance matrix of the random effects of each block.
    theta : array
        Parameters of the relative covariance factor, in the scaled units of the data.
    criterion : Criterion
        What was minimized, with the data and whether the likelihood was restricted.
    evaluation : Evaluation
        The criterion at `theta`.
    converged, singular : bool
        Whether a minimum was reached, and whether a random effect has no variance of its own.
    notes : tuple of str
        Caveats, one for each block on the boundary.
    """

    coefficients: Floats
    covariance: Floats
    residual_variance: float
    log_likelihood: float
    random_covariances: dict[str, Floats]
    theta: Floats
    criterion: Criterion
    evaluation: Evaluation
    converged: bool
    singular: bool
    notes: tuple[str, ...]

    @property
    def sums(self) -> CrossProducts:
        """The data."""
        return self.criterion.sums


def fit_cross_products(sums: CrossProducts, reml: bool = True) -> MixedFit:
    """Fit the mixed model by minimizing the profiled deviance from several starts.

    Parameters
    ----------
    sums : CrossProducts
        From `mixed_terms.cross_products`, or made directly.
    reml : bool
        Restricted maximum likelihood (the default) or maximum likelihood.

    Returns
    -------
    MixedFit
        On the boundary (a variance of zero, a correlation of 1 or -1) the parameter is exactly zero, `singular` is True
        and a note says so.
    """
    return fit_criterion(Criterion(sums, reml))


def fit_criterion(criterion: Criterion) -> MixedFit:
    """Fit the mixed model whose criterion is at hand; see `fit_cross_products`."""
    sums = criterion.sums
    theta, now, settled = minimize(criterion, _starts(criterion), criterion.observed, rivals=True)
    best = int(np.nanargmin(now.value))
    theta, now, settled = theta[best : best + 1], _pick(now, slice(best, best + 1)), settled[best]
    theta, now = _settle_on_boundary(criterion, theta, now)

    variance = float(now.rss[0]) / criterion.freedom
    scaled_cov = now.beta_cov[0] * variance
    x_basis, scale = sums.x_basis, sums.y_scale
    deviance = float(now.value[0]) + 2.0 * criterion.freedom * np.log(scale)
    if criterion.reml:
        deviance -= 2.0 * float(np.linalg.slogdet(x_basis)[1])
    covariances, notes = {}, []
    for block in sums.blocks:
        small = _fill(block, theta[0])
        factor = block.basis @ small
        covariances[block.name] = factor @ factor.T * variance * scale**2
        notes += _boundary_notes(block, small)
    return MixedFit(
        coefficients=x_basis @ (sums.offset + scale * now.beta[0]),
        covariance=x_basis @ scaled_cov @ x_basis.T * scale**2,
        residual_variance=variance * scale**2,
        log_likelihood=-deviance / 2.0,
        random_covariances=covariances,
        theta=theta[0],
        evaluation=now,
        criterion=criterion,
        converged=bool(settled) and bool((np.abs(theta) < _TOO_FAR).all()),
        singular=bool(notes),
        notes=tuple(notes),
    )


def start_rows(sums: CrossProducts, sizes: ArrayLike) -> Floats:
    """Parameters of independent random effects with these standard deviations, a row of parameters for each row."""
    sizes = np.atleast_2d(np.asarray(sizes, float))
    theta = np.zeros((len(sizes), sums.n_parameters))
    theta[:, sums.diagonal] = sizes
    return theta


def _starts(criterion: Criterion) -> Floats:
    """The most promising of many parameter vectors."""
    n_effects = len(criterion.sums.diagonal)
    if n_effects <= _MOST_CROSSED:
        sizes = np.array(list(product(_LEVELS, repeat=n_effects)))
    else:
        one = np.eye(n_effects, dtype=bool)
        sizes = np.concatenate([np.where(one, a, b) for a, b in product(_LEVELS, repeat=2)])
        sizes = np.unique(sizes, axis=0)
    theta = start_rows(criterion.sums, sizes)
    value = criterion.solve(theta, criterion.observed).value
    best = np.argsort(value)[:_STARTS]
    return theta[best[value[best] < np.nanmin(value) + _WORTH_A_START]]


def minimize(
    criterion: Criterion, theta: Floats, response: Response, rivals: bool = False
) -> tuple[Floats, Evaluation, NDArray[np.bool_]]:
    """Lowest deviance reached from each row of `theta`, all rows side by side.

    Newton steps with the absolute curvature, so that a saddle (every zero variance is one or a minimum) is left behind,
    no longer than a reach that shrinks when a step does not pay. A row is done after a step that promises no more than
    `_CLOSE_ENOUGH`, or no more than the arithmetic can tell. With `rivals`, rows that head for the same minimum as the
    lowest of them are given up.

    Returns
    -------
    tuple
        Parameters, the criterion there, and whether each row settled.
    """
    here = criterion(theta, response)
    if not theta.shape[1]:
        return theta, here, np.isfinite(here.value)
    ends, end = theta.copy(), Evaluation(*(np.array(part) for part in here))
    settled = np.zeros(len(theta), bool)
    rows, reach = np.arange(len(theta)), np.full(len(theta), _FIRST_REACH)
    for _ in range(_MOST_STEPS):
        step, gain, convex = _newton_step(here.gradient, here.hessian)
        size = np.abs(step) / np.maximum(np.abs(theta), 1.0)
        short = step * np.minimum(1.0, reach / np.maximum(size.max(axis=-1), 1e-300))[:, None]
        there = criterion(theta + short, response.rows(rows))
        noise = 1e-15 * (np.abs(here.value) + criterion.freedom)
        last = gain < _CLOSE_ENOUGH + noise
        pays = last | (there.value <= here.value + noise)
        left = ~(last | (reach < 1e-12))
        if rivals and len(rows) > 1:
            left &= ~_same_goal(criterion.sums, theta + step, convex, int(np.nanargmin(here.value)))
        reach = np.where(pays, np.minimum(2.0 * reach, _FIRST_REACH), reach / 4.0)
        if pays.all():
            theta, here = theta + short, there
        else:
            theta = np.where(pays[:, None], theta + short, theta)
            here = Evaluation(
                *(
                    np.where(pays.reshape(-1, *[1] * (new.ndim - 1)), new, old)
                    for new, old in zip(there, here, strict=True)
                )
            )
        if not left.all():
            done = rows[~left]
            settled[done], ends[done] = True, theta[~left]
            for kept, new in zip(end, here, strict=True):
                kept[done] = new[~left]
            if not left.any():
                break
            rows, theta, reach, here = rows[left], theta[left], reach[left], _pick(here, left)
    return ends, end, settled & np.isfinite(end.value)


def _newton_step(gradient: Floats, hessian: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Newton step with the absolute curvature, the fall of the deviance it promises, and whether it goes to a minimum."""
    curvature, axes = np.linalg.eigh(hessian)
    size = np.abs(curvature)
    size = np.maximum(size, 1e-9 * np.maximum(size.max(axis=-1, keepdims=True), 1e-300))
    along = (axes.swapaxes(-1, -2) @ gradient[..., None])[..., 0]
    step = -(axes @ (along / size)[..., None])[..., 0]
    return step, 0.5 * (along**2 / size).sum(axis=-1), curvature[:, 0] > 0.0


def _same_goal(
    sums: CrossProducts, goal: Floats, convex: NDArray[np.bool_], leader: int
) -> NDArray[np.bool_]:
    """Rows, other than the leader, that head for the leader's minimum; the sign of a column of the factor is free."""
    goal = goal * np.where(goal[:, sums.lead] < 0.0, -1.0, 1.0)
    apart = np.abs(goal - goal[leader]) / np.maximum(np.abs(goal[leader]), 1.0)
    same = convex & convex[leader] & (apart.max(axis=-1) < _SAME_GOAL)
    same[leader] = False
    return same


def _pick(evaluation: Evaluation, rows: Any) -> Evaluation:
    return Evaluation(*(part[rows] for part in evaluation))


def _fill(block: CovarianceBlock, theta: Floats) -> Floats:
    return np.append(theta, 0.0)[block.entries]


def _settle_on_boundary(criterion: Criterion, theta: Floats, now: Evaluation) -> tuple[Floats, Evaluation]:
    """Put a standard deviation that is as good as zero to zero, and every factor into its usual form."""
    theta, moved = theta.copy(), False
    for block in criterion.sums.blocks:
        for number in np.diag(block.entries):
            if abs(theta[0, number]) < _NEAR_ZERO:
                trial = theta.copy()
                trial[0, number] = 0.0
                if criterion.solve(trial, criterion.observed).value[0] <= now.value[0] + _NO_WORSE:
                    moved |= theta[0, number] != 0.0
                    theta = trial
        small = _fill(block, theta[0])
        used = block.entries != NO_PARAMETER
        theta[0, block.entries[used]] = _usual_factor(small @ small.T)[used]
    if moved:
        theta, now, _ = minimize(criterion, theta, criterion.observed)
        return theta, now
    return theta, criterion(theta, criterion.observed)


def _usual_factor(matrix: Floats) -> Floats:
    """Lower triangular factor with a diagonal of zeros and positive numbers, also of a singular matrix."""
    k = len(matrix)
    factor = np.zeros((k, k))
    rest = matrix.copy()
    for j in range(k):
        if rest[j, j] > 1e-14 * max(matrix[j, j], 1e-300):
            factor[j:, j] = rest[j:, j] / np.sqrt(rest[j, j])
            rest -= np.outer(factor[:, j], factor[:, j])
    return factor


def _boundary_notes(block: CovarianceBlock, factor: Floats) -> list[str]:
    """What to say of a block whose covariance matrix is singular."""
    if (np.diag(factor) != 0).all():
        return []
    covariance = block.basis @ factor
    size = (covariance**2).sum(axis=1)
    if len(factor) == 1 or not (size > 1e-12 * max(size.max(), 1e-300)).all():
        return [f"{block.name}: a variance is estimated as zero"]
    return [f"{block.name}: the random effects are estimated as perfectly correlated"]
