"""Treatments compared within blocks, with few units as what varies.

Answers: by how much does a treatment differ from the reference when every block (a storm) is compared with itself and
the units (trucks) that carry the treatments differ among themselves?

The model is ``y = block + treatment + covariates + unit + unit x treatment + error`` with blocks fixed and units random.
Where every unit carries one treatment the two random terms are one. The variances come from restricted maximum
likelihood. It supposes that units of all treatments spread alike; `two_stage` does not.

References
----------
.. [1] Kenward, M. G. and Roger, J. H., "Small sample inference for fixed effects from restricted maximum likelihood",
   Biometrics 53, 983-997, 1997.
.. [2] Hartung, J. and Knapp, G., "On tests of the overall treatment effect in meta-analysis with normally distributed
   responses", Statistics in Medicine 20, 2001: a scale from the spread of the units as it is found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from trialkit.stats.blocked_sums import BlockedSums, Floats
from trialkit.stats.inference import PAIRS_NEEDED, two_sided_tail

_STARTS = (0.1, 3.0)
"""Variances beside the error, at the size of an average unit, from which the search starts."""
_MOST_STEPS = 200
_LONGEST_STEP = 3.0
_CLOSE_ENOUGH = 1e-11
_LIMITS = (-34.0, 34.0)
"""Of the logarithm of a variance beside the error; the lower one is zero, the upper one no error."""
_AS_GOOD_AS_ZERO = 1e-5
"""Variance of a unit, beside that of the mean of its rows, that is zero."""
_LEAST_LENGTH = 0.7
"""Shortest interval, beside the one that supposes that units do not differ."""
_NOTHING_LEFT = 1e-13
"""Share of the scatter about treatments and covariates that is rounding error."""
_SMALLEST_REST = 1e-9
"""Share of the scatter that the error has at least, so that exact data do not divide by zero."""


@dataclass(frozen=True, eq=False)
class BlockedFit:
    """A fitted blocked comparison.

    Attributes
    ----------
    estimate, std_error, df : (treatments - 1,) array
        Difference of each treatment from the reference, its standard error and degrees of freedom; not numbers where
        no unit is left over to tell the spread between units, or nothing varies.
    covariate_effects : array
        Effects of the covariates that were kept.
    error_variance, unit_variance, cell_variance : float
        Variances of the error, of the units and of the units with a treatment; not a number where a term is not in the
        model: the unit's where all units carried one treatment (or too few changed), both where every cell has one row.
    uses_changes : bool
        Whether units that carried several treatments are compared with themselves.
    no_spread : bool
        Whether the variance of the cells was estimated as zero, so that the standard error is taken from their spread.
    converged : bool
        Whether the search for the variances ended.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    covariate_effects: Floats
    error_variance: float
    unit_variance: float
    cell_variance: float
    uses_changes: bool
    no_spread: bool
    converged: bool


class _Design(NamedTuple):
    """The table in orthonormal coordinates along the cells, and what they leave."""

    x: Floats
    y: Floats
    rest_xx: Floats
    rest_xy: Floats
    rest_yy: float
    shapes: Floats
    units: Floats
    freedom: int


class _Point(NamedTuple):
    """The criterion for one choice of the variances, and what is made on the way."""

    value: float
    beta: Floats
    phi: Floats
    rss: float
    weight: Floats
    weighed_x: Floats
    gradient: Floats
    traces: Floats
    information: Floats


def fit_blocked(sums: BlockedSums, confidence_level: float = 0.95) -> BlockedFit:
    """Fit the blocked comparison.

    Use it for differences, or for ratios after taking logarithms. It supposes that units of all treatments spread
    alike; `two_stage.fit_two_stage` does not.

    Parameters
    ----------
    sums : BlockedSums
        From `blocked_sums.blocked_sums`.
    confidence_level : float
        Two-sided level of the intervals that will be made; it matters for the floor below alone.

    Returns
    -------
    BlockedFit

    Notes
    -----
    Standard errors and degrees of freedom are those of Kenward and Roger [1]_, the latter never more than cells minus
    treatments: units minus treatments where each unit carries one.

    With few units that differ little the variance between them is often estimated as zero. Its true value is not known
    to be zero, so the standard error is then scaled to the spread of the cells as it was found, as in [2]_: with Q the
    weighted sum of squares of the cell effects about the treatments and f its degrees of freedom, ``variance = c Q / f``
    for a contrast of variance ``c`` times the error variance, with f degrees of freedom. In a balanced table both are
    the t interval from the unit means. Where units are compared with themselves, Q is taken within units. That interval
    is right overall, but too narrow when units happen to agree far better than their rows: given a variance of zero it
    holds the truth in 92 % of trials. So it is never shorter than 0.7 of what the scatter of the rows alone gives, which
    makes that 93 to 94 % (and 95 to 97 % overall, where units are truly alike).

    Fewer than three units that changed their treatment say too little of how changes vary; their cells then count as
    units of their own.
    """
    uses_changes = sums.n_changing_units >= PAIRS_NEEDED
    design = _design(sums, uses_changes)
    if not _varies(design, sums.scatter):
        return _exact(design, sums.n_treatments - 1, uses_changes)
    if len(design.shapes):
        design = design._replace(rest_yy=max(design.rest_yy, _SMALLEST_REST * sums.scatter))
    theta, here, converged = _search(design)
    n_contrasts = sums.n_treatments - 1
    error_variance = here.rss / design.freedom
    size = _level(design) * _AS_GOOD_AS_ZERO
    no_spread = bool(len(theta) and theta[0] <= size[0])
    if no_spread:
        std_error, df = _from_spread(design, here, theta, n_contrasts)
        alone = np.sqrt(np.diag(here.phi)[:n_contrasts] * error_variance)
        tail = two_sided_tail(confidence_level)
        alone *= _LEAST_LENGTH * stdtrit(design.freedom, 1 - tail) / stdtrit(df, 1 - tail)
        std_error = np.maximum(std_error, alone)
    else:
        std_error, df = _kenward_roger(design, here, n_contrasts)
        std_error *= np.sqrt(error_variance)
    most = sums.n_cells - sums.n_treatments
    if most < 1:
        std_error[:] = np.nan
    df = np.where(np.isfinite(std_error), np.minimum(df, most), np.nan)
    variances = np.append(np.where(theta > size, theta, 0.0) * error_variance, [np.nan, np.nan])
    return BlockedFit(
        estimate=here.beta[:n_contrasts],
        std_error=std_error,
        df=df,
        covariate_effects=here.beta[n_contrasts:],
        error_variance=error_variance,
        unit_variance=float(variances[1]),
        cell_variance=float(variances[0]),
        uses_changes=uses_changes,
        no_spread=no_spread,
        converged=converged,
    )


def _varies(design: _Design, scatter: float) -> bool:
    """Whether treatments and covariates leave more of the response than rounding error."""
    info, pull = design.rest_xx + design.x.T @ design.x, design.rest_xy + design.x.T @ design.y
    left = design.y @ design.y + design.rest_yy - pull @ np.linalg.pinv(info, hermitian=True) @ pull
    return bool(scatter > 0 and design.freedom > 0 and left > _NOTHING_LEFT * scatter)


def _exact(design: _Design, n_contrasts: int, uses_changes: bool) -> BlockedFit:
    """The fit of a response that does not vary: differences without an error."""
    info, pull = design.rest_xx + design.x.T @ design.x, design.rest_xy + design.x.T @ design.y
    beta, unknown = np.linalg.pinv(info, hermitian=True) @ pull, np.full(n_contrasts, np.nan)
    return BlockedFit(
        beta[:n_contrasts],
        unknown,
        unknown,
        beta[n_contrasts:],
        0.0,
        np.nan,
        np.nan,
        uses_changes,
        False,
        True,
    )


# ---------------------------------------------------------------- the criterion
def _design(sums: BlockedSums, uses_changes: bool) -> _Design:
    root = sums.coordinates()  # orthogonal columns
    x = root.T @ np.column_stack([sums.treatment_marks, sums.covariates])
    d, p = sums.n_treatments - 1, x.shape[1]
    rest_xx, rest_xy = np.zeros((p, p)), np.zeros(p)
    rest_xx[d:, d:], rest_xy[d:] = sums.rest[:-1, :-1], sums.rest[:-1, -1]
    units = root.T @ sums.unit_marks if uses_changes else np.empty((len(x), 0))
    shapes = [root.T @ root, *([units @ units.T] if uses_changes else [])]
    if sums.n - sums.n_blocks - len(x) - sums.covariates.shape[1] < 1:
        shapes = []  # every cell has one row: its own variance cannot be told from the error
    return _Design(
        x,
        root.T @ sums.response,
        rest_xx,
        rest_xy,
        float(sums.rest[-1, -1]),
        np.array(shapes).reshape(len(shapes), len(x), len(x)),
        units,
        sums.n - sums.n_blocks - p,
    )


def _level(design: _Design) -> Floats:
    """Variance of each random term, beside the error, at the size of the mean of an average cell or unit."""
    return np.array([len(shape) / np.trace(shape) for shape in design.shapes])


def _point(design: _Design, theta: Floats) -> _Point:
    """The restricted criterion at these variances (beside the error), with its gradient and expected information."""
    if len(design.shapes) == 1:
        relative = 1.0 + theta[0] * np.diag(design.shapes[0])
        weight, log_det = np.diag(1.0 / relative), float(np.log(relative).sum())
    else:
        relative = np.eye(len(design.y)) + np.tensordot(theta, design.shapes, 1)
        weight, log_det = np.asarray(np.linalg.inv(relative), float), float(np.linalg.slogdet(relative)[1])
    weighed_x = weight @ design.x
    info = design.rest_xx + design.x.T @ weighed_x
    phi = np.asarray(np.linalg.inv(info), float)
    beta = phi @ (design.rest_xy + weighed_x.T @ design.y)
    error = weight @ (design.y - design.x @ beta)
    rss = float((design.y - design.x @ beta) @ error + design.rest_yy)
    rss += float(beta @ design.rest_xx @ beta - 2 * beta @ design.rest_xy)
    log_dets = log_det + np.linalg.slogdet(info)[1]
    traces, information = _traces(design, weight, weighed_x, phi)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = float(log_dets + design.freedom * np.log(rss))
        gradient = traces - design.freedom * np.einsum("i,kij,j->k", error, design.shapes, error) / rss
    return _Point(value, beta, phi, rss, weight, weighed_x, gradient, traces, information)


def _traces(design: _Design, weight: Floats, weighed_x: Floats, phi: Floats) -> tuple[Floats, Floats]:
    """Traces of P S_k and of P S_k P S_l, with P the weight beside the fixed effects and S_k the shapes."""
    if len(design.shapes) != 1:
        turned = (weight - weighed_x @ phi @ weighed_x.T) @ design.shapes
        return np.trace(turned, axis1=1, axis2=2), np.einsum("kij,lji->kl", turned, turned)
    # the coordinates are such that the first shape, and with it the weight, is diagonal
    size, w = np.diag(design.shapes[0]), np.diag(weight)
    once = phi @ (weighed_x.T @ (size[:, None] * weighed_x))
    twice = phi @ (weighed_x.T @ ((size * w * size)[:, None] * weighed_x))
    trace = size @ w - np.trace(once)
    square = (size * w) @ (size * w) - 2 * np.trace(twice) + np.trace(once @ once)
    return np.array([trace]), np.array([[square]])


def _search(design: _Design) -> tuple[Floats, _Point, bool]:
    """Variances with the lowest criterion, the criterion there, and whether the search ended."""
    if not len(design.shapes):
        return np.zeros(0), _point(design, np.zeros(0)), True
    found = [_climb(design, np.log(_level(design) * start)) for start in _STARTS]
    return min(found, key=lambda each: each[1].value)


def _climb(design: _Design, place: Floats) -> tuple[Floats, _Point, bool]:
    """Fisher scoring in the logarithms of the variances, with steps cut in half until they pay."""
    here, ended = _point(design, np.exp(place)), False
    if not (np.isfinite(here.value) and np.isfinite(here.gradient).all()):
        return np.exp(place), here, True  # every value is the same: there is nothing to search for
    for _ in range(_MOST_STEPS):
        stretch = np.exp(place)
        slope = here.gradient * stretch
        matrix = here.information - np.outer(here.traces, here.traces) / design.freedom
        matrix = matrix * np.outer(stretch, stretch)
        if len(slope) == 1:
            step = -slope / max(matrix[0, 0], 1e-300)
        else:
            step = -np.linalg.pinv(matrix, rcond=1e-12, hermitian=True) @ slope
        step *= min(1.0, _LONGEST_STEP / max(float(np.abs(step).max()), 1e-300))
        ended = float(-(step @ slope)) < _CLOSE_ENOUGH
        while not ended:
            trial = np.clip(place + step, *_LIMITS)
            there = _point(design, np.exp(trial))
            if there.value < here.value:
                place, here = trial, there
                break
            step = step / 2
            ended = float(np.abs(step).max()) < 1e-9
        if ended:
            break
    return np.exp(place), here, ended


# ---------------------------------------------------------------- standard errors
def _kenward_roger(design: _Design, here: _Point, n_contrasts: int) -> tuple[Floats, Floats]:
    """Standard errors, in units of the error's standard deviation, and degrees of freedom.

    The whole (relative) covariance matrix stands in place of the error variance: it spans the same space, and what
    belongs to it falls out of the adjustment of the standard error.
    """
    k = len(design.shapes)
    information = np.empty((k + 1, k + 1))
    information[:k, :k] = here.information
    information[k, :k] = information[:k, k] = here.traces
    information[k, k] = design.freedom
    size = np.sqrt(np.where(np.diag(information) > 0, np.diag(information), 1.0))
    scale = np.outer(size, size)
    spread = np.linalg.pinv(information / scale, rcond=1e-10, hermitian=True) / scale
    std_error, df = np.empty(n_contrasts), np.empty(n_contrasts)
    for j in range(n_contrasts):
        variance = here.phi[j, j]
        pull = here.weighed_x @ here.phi[j]
        tilted = design.shapes @ pull
        slope = np.append(tilted @ pull, variance)
        pulled = tilted @ here.weighed_x
        across = tilted @ here.weight @ tilted.T - pulled @ here.phi @ pulled.T
        added = 4.0 * float((spread[:k, :k] * across).sum())
        std_error[j] = np.sqrt(variance + max(added, 0.0))
        df[j] = variance**2 / (slope @ spread @ slope)
    return std_error, df


def _from_spread(design: _Design, here: _Point, theta: Floats, n_contrasts: int) -> tuple[Floats, Floats]:
    """Standard errors and degrees of freedom from the spread of the cells as it was found."""
    lower = np.linalg.cholesky(np.linalg.inv(np.eye(len(design.y)) + theta[0] * design.shapes[0]))
    columns = lower.T @ np.column_stack([design.x, design.units])
    # a covariate that varies within cells is known from there: it takes away only a share of a degree of freedom
    told = np.zeros((columns.shape[1], columns.shape[1]))
    told[: len(here.beta), : len(here.beta)] = design.rest_xx
    pull = np.linalg.pinv(columns.T @ columns + told, rcond=1e-10, hermitian=True)
    fixed = lower.T @ (design.x[:, n_contrasts:] @ here.beta[n_contrasts:])
    only = np.column_stack([columns[:, :n_contrasts], columns[:, len(here.beta) :]])
    left = lower.T @ design.y - fixed
    left = left - only @ np.linalg.pinv(only, rcond=1e-10) @ left
    df = len(design.y) - float(np.trace(columns @ pull @ columns.T))
    if df < 0.5:
        return np.full(n_contrasts, np.nan), np.full(n_contrasts, np.nan)
    scale = float(left @ left) / df
    return np.sqrt(np.diag(here.phi)[:n_contrasts] * scale), np.full(n_contrasts, df)
