"""Weibull distributions of lives: exact, still going, or found ended at an inspection.

Answers: do sets of this type wear out or fail at random, and by how many miles is a tenth of them gone?

Like `survival`, free of units, and on the footing that the lives are independent of each other.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import optimize, special

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats.survival import LifeEstimate, Lives, require_share

WALD_LOG = "Wald on the log scale"
LIKELIHOOD_RATIO = "likelihood ratio"

LEAST_FAILURES = 3
"""Fewer failures than this do not tell a Weibull shape from the data."""
_STARTS = (0.5, 1.0, 2.0, 4.0)
_LOG_SHAPE_BOUNDS = (math.log(0.02), math.log(200.0))
_PROFILE_REACH = 60.0


@dataclass(frozen=True, eq=False)
class WeibullFit:
    """A Weibull distribution of lives, fitted by maximum likelihood.

    Attributes
    ----------
    shape, scale : float
        Shape (above 1: sets wear out; 1: they fail at a constant rate) and scale, the life by which 63.2 % have ended.
    std_error_log_shape, std_error_log_scale, cov_log : float
        From the inverse of the second derivatives of the log-likelihood in (log shape, log scale). A shape that was
        given has standard error 0.
    log_likelihood : float
        At its maximum.
    n_lives, n_failed : float
        Lives in all, and those that ended.
    shape_given : bool
        Whether the shape was given and not fitted.
    lives : Lives
        What was fitted.
    """

    shape: float
    scale: float
    std_error_log_shape: float
    std_error_log_scale: float
    cov_log: float
    log_likelihood: float
    n_lives: float
    n_failed: float
    shape_given: bool
    lives: Lives = field(repr=False)

    @property
    def mean_life(self) -> float:
        """Mean of the fitted distribution."""
        return self.scale * math.gamma(1 + 1 / self.shape)

    @property
    def sd_life(self) -> float:
        """Standard deviation of the fitted distribution."""
        first = math.gamma(1 + 1 / self.shape)
        return self.scale * math.sqrt(math.gamma(1 + 2 / self.shape) - first**2)

    @property
    def aic(self) -> float:
        """Akaike's criterion."""
        return 2 * (1 if self.shape_given else 2) - 2 * self.log_likelihood

    def quantile(
        self, share_ended: float, *, confidence_level: float = 0.95, interval: str = LIKELIHOOD_RATIO
    ) -> LifeEstimate:
        """Life by which a share of the lives has ended.

        Parameters
        ----------
        share_ended : float
            0.1 for the life that nine in ten outlast.
        confidence_level : float
            Two-sided.
        interval : {"likelihood ratio", "Wald on the log scale"}
            With few failures the two differ by a factor of two; the likelihood ratio covers better. Print which.

        Returns
        -------
        LifeEstimate
            An end that the data do not bound is infinite (or 0).
        """
        require_share(share_ended, "the share that has ended")
        require_share(confidence_level, "the confidence level")
        offset = math.log(-math.log1p(-share_ended))
        log_life = math.log(self.scale) + offset / self.shape
        gradient = np.array([-offset / self.shape, 1.0])
        error = math.sqrt(max(0.0, float(gradient @ self._covariance @ gradient)))
        if interval == WALD_LOG:
            z = float(special.ndtri((1 + confidence_level) / 2))
            low, high = log_life - z * error, log_life + z * error
        elif interval == LIKELIHOOD_RATIO:
            low, high = self._ratio_interval(
                log_life, max(error, 0.01), confidence_level, lambda q: self._profile_life(q, offset)
            )
        else:
            raise UsageError(f'the interval is "{interval}"; allowed: {LIKELIHOOD_RATIO}, {WALD_LOG}')
        return LifeEstimate(
            math.exp(log_life), math.exp(low), _exp(high), interval, math.exp(log_life) * error
        )

    def shape_interval(
        self, *, confidence_level: float = 0.95, interval: str = LIKELIHOOD_RATIO
    ) -> LifeEstimate:
        """The shape with its interval; a shape that was given has none."""
        require_share(confidence_level, "the confidence level")
        error = self.std_error_log_shape
        if self.shape_given:
            return LifeEstimate(self.shape, math.nan, math.nan, "given, not fitted", 0.0)
        log_shape = math.log(self.shape)
        if interval == WALD_LOG:
            z = float(special.ndtri((1 + confidence_level) / 2))
            low, high = log_shape - z * error, log_shape + z * error
        elif interval == LIKELIHOOD_RATIO:
            low, high = self._ratio_interval(log_shape, error, confidence_level, self._profile_shape)
        else:
            raise UsageError(f'the interval is "{interval}"; allowed: {LIKELIHOOD_RATIO}, {WALD_LOG}')
        return LifeEstimate(self.shape, math.exp(low), _exp(high), interval, self.shape * error)

    @property
    def _covariance(self) -> np.ndarray:
        a, b, ab = self.std_error_log_shape, self.std_error_log_scale, self.cov_log
        return np.array([[a * a, ab], [ab, b * b]])

    def _profile_life(self, log_life: float, offset: float) -> float:
        """Largest log-likelihood of any shape when that quantile is held at `log_life`."""
        if self.shape_given:
            return log_likelihood(self.lives, math.log(self.shape), log_life - offset / self.shape)[0]

        def negative(log_shape: float) -> float:
            return -log_likelihood(self.lives, log_shape, log_life - offset * math.exp(-log_shape))[0]

        return -_lowest(negative, math.log(self.shape))

    def _profile_shape(self, log_shape: float) -> float:
        return -_lowest(lambda v: -log_likelihood(self.lives, log_shape, v)[0], math.log(self.scale))

    def _ratio_interval(
        self, centre: float, step: float, confidence_level: float, profile: Callable[[float], float]
    ) -> tuple[float, float]:
        drop = float(special.ndtri((1 + confidence_level) / 2)) ** 2 / 2

        def gap(value: float) -> float:
            return self.log_likelihood - profile(value) - drop

        ends = []
        for sign in (-1.0, 1.0):
            inner, reach = centre, step
            while reach < _PROFILE_REACH and gap(centre + sign * reach) < 0:
                inner, reach = centre + sign * reach, 2 * reach
            if reach >= _PROFILE_REACH:
                ends.append(sign * math.inf)
            else:
                ends.append(float(optimize.brentq(gap, inner, centre + sign * reach, xtol=1e-12, rtol=1e-13)))
        return ends[0], ends[1]


def log_likelihood(lives: Lives, log_shape: float, log_scale: float) -> tuple[float, np.ndarray, np.ndarray]:
    """Weibull log-likelihood of the lives, with its first and second derivatives in (log shape, log scale).

    Notes
    -----
    With ``z(t) = (t / scale)^shape``: an exact life contributes ``log shape + log z - z - log t``, one not ended
    ``-z(low)``, one between inspections ``-z(low) + log(1 - exp(z(low) - z(high)))``.
    """
    shape = math.exp(log_shape)
    value, gradient, hessian = 0.0, np.zeros(2), np.zeros((2, 2))
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for kind, chosen in (
            ("exact", lives.ended & (lives.low == lives.high)),
            ("running", ~lives.ended),
            ("inspected", lives.ended & (lives.low < lives.high)),
        ):
            if not chosen.any():
                continue
            weight = lives.count[chosen]
            z, d1, d2, log_z = _hazard(lives.low[chosen], shape, log_scale)
            if kind == "exact":
                one = np.stack([log_z, np.full_like(log_z, -shape)])
                two = np.zeros_like(d2)
                two[0, 0], two[0, 1], two[1, 0] = log_z, -shape, -shape
                parts = log_shape + log_z - z - np.log(lives.low[chosen])
                first, second = one - d1, two - d2
                first[0] += 1.0
            elif kind == "running":
                parts, first, second = -z, -d1, -d2
            else:
                z_high, e1, e2, _ = _hazard(lives.high[chosen], shape, log_scale)
                width, w1, w2 = z_high - z, e1 - d1, e2 - d2
                parts = -z + np.log(-np.expm1(-width))
                pull = 1 / np.expm1(width)
                first = -d1 + pull * w1
                second = -d2 + pull * w2 - pull * (1 + pull) * w1[:, None] * w1[None, :]
            value += float(weight @ parts)
            gradient += first @ weight
            hessian += second @ weight
    return (value if math.isfinite(value) else -math.inf), gradient, hessian


def _hazard(
    t: np.ndarray, shape: float, log_scale: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cumulative hazard z at `t`, its derivatives in (log shape, log scale), and its log."""
    log_z = shape * (np.log(t) - log_scale)
    z = np.exp(log_z)
    z_log_z = np.where(t > 0, z * log_z, 0.0)
    first = np.stack([z_log_z, -shape * z])
    bent = np.where(t > 0, z_log_z * (log_z + 1), 0.0)
    cross = -shape * (z_log_z + z)
    second = np.array([[bent, cross], [cross, shape**2 * z]])
    return z, first, second, log_z


def fit_weibull(lives: Lives, *, shape: float | None = None, confidence_level: float = 0.95) -> WeibullFit:
    """Fit a two-parameter Weibull distribution to lives that ended, are still going, or ended between inspections.

    Use it for observed lives of sets of one edge type when at least three ended. With one or two the shape has to be
    given; with none there is only a bound (`bound_weibull_scale`). The threshold is 0: a third parameter is not
    something that a dozen lives can tell.

    Parameters
    ----------
    lives : Lives
        In any unit.
    shape : float, optional
        Held at this value instead of fitted.
    confidence_level : float
        One-sided, for the bound that the message quotes when nothing failed.

    Returns
    -------
    WeibullFit

    Raises
    ------
    NotEnoughDataError
        No life ended (the message holds the bound); one or two ended and no shape is given; or they ended so close
        together that the shape has no upper end.
    UsageError
        The shape is not above 0.

    Notes
    -----
    Newton steps with the analytic second derivatives from several starts, on lives divided by their geometric mean;
    the largest maximum is kept.

    References
    ----------
    .. [1] Lawless (2003), Statistical Models and Methods for Lifetime Data, 2nd edition, chapter 5.

    Examples
    --------
    >>> fit = fit_weibull(Lives.exact([410, 520, 560, 700, 700], [True, True, True, True, False]))
    >>> round(fit.shape, 1), round(fit.scale)
    (5.1, 643)
    """
    if shape is not None and not (math.isfinite(shape) and shape > 0):
        raise UsageError(f"the shape is {shape:g}; it must be above 0")
    _require_failures(lives, shape, confidence_level)
    used = lives.count > 0
    size = np.where(
        lives.ended & (lives.low > 0), np.sqrt(lives.low * np.where(lives.ended, lives.high, 1.0)), lives.low
    )
    size = np.where(size > 0, size, np.where(lives.ended, lives.high, 1.0))
    unit = math.exp(float(np.average(np.log(size[used]), weights=lives.count[used])))
    scaled = Lives(lives.low[used] / unit, lives.high[used] / unit, lives.count[used])
    size = size[used] / unit
    best: tuple[float, np.ndarray] | None = None
    for start in (shape,) if shape is not None else _STARTS:
        log_scale = math.log(float(scaled.count @ size**start) / scaled.n_failed) / start
        found = _climb(scaled, np.array([math.log(start), log_scale]), shape is None)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is None:
        raise NotEnoughDataError(
            f"the {lives.n_failed:g} lives that ended are too close together for a Weibull shape to be told; "
            "more lives are needed, or give the shape"
        )
    log_shape, log_scale = float(best[1][0]), float(best[1][1]) + math.log(unit)
    value, _, hessian = log_likelihood(lives, log_shape, log_scale)
    if shape is None:
        covariance = np.linalg.inv(-hessian)
    else:
        covariance = np.array([[0.0, 0.0], [0.0, -1 / hessian[1, 1]]])
    return WeibullFit(
        shape=math.exp(log_shape) if shape is None else shape,
        scale=math.exp(log_scale),
        std_error_log_shape=math.sqrt(covariance[0, 0]),
        std_error_log_scale=math.sqrt(covariance[1, 1]),
        cov_log=float(covariance[0, 1]),
        log_likelihood=value,
        n_lives=lives.n_lives,
        n_failed=lives.n_failed,
        shape_given=shape is not None,
        lives=lives,
    )


def bound_weibull_scale(lives: Lives, shape: float, *, confidence_level: float = 0.95) -> float:
    """Lower one-sided bound for the Weibull scale when no life ended and the shape is assumed.

    Notes
    -----
    ``(sum t^shape / -log(1 - confidence_level))^(1/shape)``: with a longer-lived true scale no failure would be seen
    more often than that. It rests on the assumed shape; show it for several.

    Raises
    ------
    UsageError
        A life ended, or the shape is not above 0.
    """
    require_share(confidence_level, "the confidence level")
    if not (math.isfinite(shape) and shape > 0):
        raise UsageError(f"the shape is {shape:g}; it must be above 0")
    if lives.n_failed > 0:
        raise UsageError(f"{lives.n_failed:g} lives ended; this bound is for lives of which none ended")
    total = float(lives.count @ (lives.low**shape))
    return float((total / -math.log1p(-confidence_level)) ** (1 / shape))


def _require_failures(lives: Lives, shape: float | None, confidence_level: float) -> None:
    n_failed, n_lives = lives.n_failed, lives.n_lives
    if n_lives == 0:
        raise NotEnoughDataError("there are 0 lives; a Weibull fit needs lives, at least 3 of them ended")
    if n_failed == 0:
        bound = bound_weibull_scale(lives, shape or 1.0, confidence_level=confidence_level)
        raise NotEnoughDataError(
            f"none of {n_lives:g} lives ended, so no Weibull distribution can be fitted. With a shape of {shape or 1.0:g} "
            f"the scale is at least {bound:,.0f} (one-sided {100 * confidence_level:g}%)"
        )
    if shape is None and n_failed < LEAST_FAILURES:
        raise NotEnoughDataError(
            f"{n_failed:g} of {n_lives:g} lives ended; a Weibull shape needs at least {LEAST_FAILURES}. "
            "Give the shape, or wait for more lives to end"
        )


def _climb(lives: Lives, start: np.ndarray, free_shape: bool) -> tuple[float, np.ndarray] | None:
    """Newton steps to the nearest maximum; None if there is none inside the bounds."""
    at = start.copy()
    value, gradient, hessian = log_likelihood(lives, *at)
    for _ in range(200):
        if not math.isfinite(value) or not np.isfinite(hessian).all():
            return None
        if free_shape:
            curve = np.linalg.eigvalsh(-hessian)
            damp = max(0.0, 1e-3 * abs(curve[1]) - curve[0])
            step = np.linalg.solve(-hessian + damp * np.eye(2), gradient)
        else:
            step = np.array([0.0, gradient[1] / abs(hessian[1, 1])])
        step *= min(1.0, 1.0 / max(float(np.abs(step).max()), 1e-300))
        if float(np.abs(step).max()) < 1e-11:
            return value, at
        for _ in range(60):
            new = log_likelihood(lives, *(at + step))
            if new[0] >= value - 1e-13 * abs(value):
                break
            step = step / 2
        at = at + step
        value, gradient, hessian = new
        if free_shape and not _LOG_SHAPE_BOUNDS[0] < at[0] < _LOG_SHAPE_BOUNDS[1]:
            return None
    return None


def _lowest(function: Callable[[float], float], centre: float) -> float:
    """Smallest value of a function of one variable near `centre`, searched ever wider while it lies at an edge."""
    reach = 0.5
    while True:
        found = optimize.minimize_scalar(
            function, bounds=(centre - reach, centre + reach), method="bounded", options={"xatol": 1e-9}
        )
        if abs(found.x - centre) < 0.95 * reach or reach > 8:
            return float(min(found.fun, function(centre)))
        reach *= 2


def _exp(value: float) -> float:
    return math.exp(value) if value < 700 else math.inf
