"""Life data: how long sets lasted when some are still running or were found worn at an inspection.

Answers: what share of the sets lasts so many miles, and after how many miles is a tenth of them gone?

`Lives` holds what is known of each life; `fit_kaplan_meier` takes them without assuming a shape, `weibull` with one.
Everything here is free of units: the answers come in the unit of the lives.

Both treat the lives as independent. Successive sets on one truck are not: with few trucks the intervals are too narrow,
and the comparison of edge types rests on the trucks instead (`life`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from trialkit.errors import NotEnoughDataError, UsageError

LOG = "log"
PLAIN = "plain"
LOG_LOG = "log-log"


@dataclass(frozen=True, eq=False)
class Lives:
    """What is known of each life: it ended after `low` and not after `high`.

    Attributes
    ----------
    low, high : ndarray
        Equal for a life known exactly; `high` infinite for one that had not ended; different for one that ended
        between two inspections (`low` 0: before the first).
    count : ndarray
        How many lives each entry stands for.
    """

    low: np.ndarray
    high: np.ndarray
    count: np.ndarray

    def __post_init__(self) -> None:
        if not (self.low.shape == self.high.shape == self.count.shape) or self.low.ndim != 1:
            raise UsageError(
                f"the ends of the lives and their counts differ in length: {self.low.size}, {self.high.size}, {self.count.size}"
            )
        wrong = ~(np.isfinite(self.low) & (self.high >= self.low) & (self.low >= 0) & (self.high > 0))
        if wrong.any():
            k = int(np.flatnonzero(wrong)[0])
            raise UsageError(
                f"life {k + 1} lies between {self.low[k]:g} and {self.high[k]:g}; a life is above 0 and its later end "
                "is not before its earlier one"
            )
        bad = ~((self.count >= 0) & np.isfinite(self.count))
        if bad.any():
            k = int(np.flatnonzero(bad)[0])
            raise UsageError(f"life {k + 1} has the count {self.count[k]:g}; a count is 0 or more")

    @classmethod
    def exact(
        cls,
        life: Sequence[float] | np.ndarray,
        ended: Sequence[bool] | np.ndarray,
        count: Sequence[float] | np.ndarray | None = None,
    ) -> Lives:
        """Lives that ended at a known moment, or had not ended when last seen."""
        low = np.asarray(life, dtype=float)
        over = np.asarray(ended, dtype=bool)
        if low.shape != over.shape:
            raise UsageError(f"{low.size} lives but {over.size} words on whether they ended")
        return cls(low, np.where(over, low, np.inf), _counts(count, low.size))

    @classmethod
    def between(
        cls,
        low: Sequence[float] | np.ndarray,
        high: Sequence[float] | np.ndarray,
        count: Sequence[float] | np.ndarray | None = None,
    ) -> Lives:
        """Lives that ended between two moments; equal ends are exact, an infinite later end means not ended."""
        first = np.asarray(low, dtype=float)
        return cls(first, np.asarray(high, dtype=float), _counts(count, first.size))

    @classmethod
    def of_cause(
        cls,
        life: Sequence[float] | np.ndarray,
        cause: Sequence[str],
        of: str,
        count: Sequence[float] | np.ndarray | None = None,
    ) -> Lives:
        """Lives as one cause sees them: a life that another cause ended is one that had not ended of this cause.

        The curve fitted to them is the life that would be seen if the other causes were taken away and did not hang
        together with this one.
        """
        return cls.exact(life, np.asarray([word == of for word in cause], dtype=bool), count)

    @property
    def ended(self) -> np.ndarray:
        """Which lives ended."""
        return np.isfinite(self.high)

    @property
    def n_lives(self) -> float:
        """Number of lives."""
        return float(self.count.sum())

    @property
    def n_failed(self) -> float:
        """Number of lives that ended."""
        return float(self.count[self.ended].sum())


def _counts(count: Sequence[float] | np.ndarray | None, size: int) -> np.ndarray:
    return np.ones(size) if count is None else np.asarray(count, dtype=float)


@dataclass(frozen=True, slots=True)
class LifeEstimate:
    """A life, or a share of lives, with its interval and the interval's name."""

    estimate: float
    conf_low: float
    conf_high: float
    interval: str
    std_error: float = math.nan


@dataclass(frozen=True, eq=False)
class KaplanMeier:
    """Share of lives still going, by Kaplan and Meier.

    Attributes
    ----------
    life : ndarray
        Each life at which at least one ended.
    n_at_risk, n_failed : ndarray
        Lives that had lasted so long and were watched; lives that ended there.
    survival, std_error, conf_low, conf_high : ndarray
        Share that lasts longer than `life`, Greenwood's standard error and the interval; not a number where nothing
        is left.
    last_seen : float
        The longest life seen, ended or not; nothing is known beyond it.
    confidence_level : float
        Of the intervals.
    interval : str
        How they were made: `LOG`, `PLAIN` or `LOG_LOG`.
    """

    life: np.ndarray
    n_at_risk: np.ndarray
    n_failed: np.ndarray
    survival: np.ndarray
    std_error: np.ndarray
    conf_low: np.ndarray
    conf_high: np.ndarray
    last_seen: float
    confidence_level: float
    interval: str

    def survival_at(self, life: float) -> LifeEstimate:
        """Share of lives that lasts longer than `life`."""
        if life > self.last_seen and not (self.survival.size and self.survival[-1] == 0):
            raise UsageError(f"no life was watched to {life:g}; the longest is {self.last_seen:g}")
        k = int(np.searchsorted(self.life, life, side="right")) - 1
        if k < 0:
            return LifeEstimate(1.0, 1.0, 1.0, self.interval, 0.0)
        return LifeEstimate(
            float(self.survival[k]),
            float(self.conf_low[k]),
            float(self.conf_high[k]),
            self.interval,
            float(self.std_error[k]),
        )

    def quantile(self, share_ended: float = 0.5) -> LifeEstimate:
        """Life by which a share of the lives has ended (0.5: the median); infinite where the curve never falls so far.

        Where the curve runs exactly along the level, the middle of that run. The interval is where the interval of
        the curve crosses the level (Brookmeyer and Crowley).
        """
        require_share(share_ended, "the share that has ended")
        level = 1.0 - share_ended
        estimate = self._crossing(self.survival, level)
        return LifeEstimate(
            estimate,
            self._crossing(self.conf_low, level),
            self._crossing(self.conf_high, level),
            self.interval,
        )

    def _crossing(self, curve: np.ndarray, level: float) -> float:
        tolerance = 1e-9
        below = np.flatnonzero(curve <= level + tolerance)
        if below.size == 0:
            return math.inf
        first = int(below[0])
        if abs(curve[first] - level) > tolerance:
            return float(self.life[first])
        lower = np.flatnonzero(curve < level - tolerance)
        end = float(self.life[lower[0]]) if lower.size else self.last_seen
        return (float(self.life[first]) + end) / 2

    def restricted_mean(self, limit: float) -> LifeEstimate:
        """Mean life when each life is counted up to `limit` only: the area under the curve up to there.

        The interval is normal, estimate plus or minus z standard errors.
        """
        if limit <= 0:
            raise UsageError(f"the limit of a restricted mean is above 0; it is {limit:g}")
        if limit > self.last_seen and not (self.survival.size and self.survival[-1] == 0):
            raise UsageError(f"no life was watched to {limit:g}; the longest is {self.last_seen:g}")
        inside = self.life < limit
        edges = np.concatenate([[0.0], self.life[inside], [limit]])
        areas = np.diff(edges) * np.concatenate([[1.0], self.survival[inside]])
        ahead = areas.sum() - np.cumsum(areas)[:-1]
        left = (self.n_at_risk - self.n_failed)[inside]
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = self.n_failed[inside] / (self.n_at_risk[inside] * left)
        variance = float(np.sum(np.where(left > 0, ahead**2 * shares, 0.0)))
        estimate, error = float(areas.sum()), math.sqrt(variance)
        z = float(special.ndtri((1 + self.confidence_level) / 2))
        return LifeEstimate(estimate, estimate - z * error, estimate + z * error, PLAIN, error)


def fit_kaplan_meier(lives: Lives, *, confidence_level: float = 0.95, interval: str = LOG) -> KaplanMeier:
    """Estimate the share of lives still going after each life, without assuming a shape.

    Use it to look at observed lives, with sets still running counted for the miles they have run. Not for lives found
    at an inspection (`weibull.fit_weibull` takes those), and not beyond the longest life.

    Parameters
    ----------
    lives : Lives
        Each exact or not ended. A life that ended and one that was last seen at the same length count as: the other
        lasted longer.
    confidence_level : float
        Two-sided, for the intervals at each single life (not for the whole curve).
    interval : {"log", "plain", "log-log"}
        `LOG` is symmetric in the log of the share, `PLAIN` in the share itself, `LOG_LOG` in the log of minus its log.

    Returns
    -------
    KaplanMeier

    Raises
    ------
    UsageError
        A life is known between two inspections only, or the interval has another name.
    NotEnoughDataError
        There are no lives.

    Notes
    -----
    ``S(t) = prod (1 - d_i/n_i)``; Greenwood's variance ``S^2 sum d_i / (n_i (n_i - d_i))``. With few lives the log-log
    interval comes nearest to its level.

    References
    ----------
    .. [1] Kaplan and Meier (1958), J. Amer. Statist. Assoc. 53, 457-481.
    .. [2] Brookmeyer and Crowley (1982), Biometrics 38, 29-41.

    Examples
    --------
    >>> curve = fit_kaplan_meier(Lives.exact([410, 520, 560, 700], [True, True, False, True]))
    >>> curve.survival_at(520).estimate
    0.5
    """
    require_share(confidence_level, "the confidence level")
    if interval not in (LOG, PLAIN, LOG_LOG):
        raise UsageError(f'the interval is "{interval}"; allowed: {LOG}, {PLAIN}, {LOG_LOG}')
    inspected = lives.ended & (lives.high > lives.low)
    if inspected.any():
        k = int(np.flatnonzero(inspected)[0])
        raise UsageError(
            f"life {k + 1} ended between {lives.low[k]:g} and {lives.high[k]:g}; this curve needs exact lives, "
            "fit_weibull takes inspections"
        )
    if lives.n_lives == 0:
        raise NotEnoughDataError("there are 0 lives; at least 1 is needed")
    length, count = lives.low, lives.count
    times = np.unique(length[lives.ended & (count > 0)])
    failed = np.array([count[(length == t) & lives.ended].sum() for t in times], dtype=float)
    at_risk = np.array([count[length >= t].sum() for t in times], dtype=float)
    survival = np.cumprod(1 - failed / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_error = np.sqrt(np.cumsum(failed / (at_risk * (at_risk - failed))))
        error = survival * log_error
        z = special.ndtri((1 + confidence_level) / 2)
        if interval == LOG:
            low, high = survival * np.exp(-z * log_error), survival * np.exp(z * log_error)
        elif interval == PLAIN:
            low, high = survival - z * error, survival + z * error
        else:
            spread = z * log_error / np.log(survival)
            low, high = survival ** np.exp(-spread), survival ** np.exp(spread)
    gone = survival <= 0
    error, low, high = (np.where(gone, np.nan, values) for values in (error, low, high))
    last_seen = float(length[count > 0].max())
    return KaplanMeier(
        times, at_risk, failed, survival, error, np.clip(low, 0, 1), np.clip(high, 0, 1), last_seen, confidence_level, interval
    )  # fmt: skip


def require_share(value: float, what: str) -> None:
    """Raise a UsageError unless `value` lies strictly between 0 and 1."""
    if not 0 < value < 1:
        raise UsageError(f"{what} is {value:g}; it lies between 0 and 1")
