"""Looking at results more than once without raising the chance of a false finding.

Answers: how far apart must two means lie at each look, so that all looks together err no more often than one does?

Standardized differences at successive looks are correlated; `crossing_probabilities` follows them from look to look by
numerical integration, for any shares of information. Limits are z limits of a two-sided test; with few units their p value
is turned into a t limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtrit

Floats = NDArray[np.float64]

OBRIEN_FLEMING, POCOCK = "obrien_fleming", "pocock"
SPENDINGS = (OBRIEN_FLEMING, POCOCK)
FARTHEST_Z = 9.0
"""z limits beyond this one are as good as never reached (probability 2e-19)."""
PANEL_NODES, FEWEST_PANELS, MOST_PANELS = 24, 4, 200
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(PANEL_NODES)


def spent(information: float, alpha: float = 0.05, spending: str = OBRIEN_FLEMING) -> float:
    """Share of the allowed error that may be spent up to a share of the information.

    Parameters
    ----------
    information : float
        Share of the information, 0 to 1.
    alpha : float
        Allowed two-sided error over all looks.
    spending : str
        ``"obrien_fleming"`` spends next to nothing early, ``"pocock"`` almost evenly.

    Returns
    -------
    float
        0 at the start, `alpha` at the end.

    Notes
    -----
    ``4 (1 - Phi(z_{alpha/4} / sqrt(t)))`` and ``alpha log(1 + (e - 1) t)``: the functions of [1]_, the first for each side
    of the test by itself.

    References
    ----------
    .. [1] K. K. G. Lan and D. L. DeMets, "Discrete sequential boundaries for clinical trials", Biometrika 70, 1983.
    """
    _require_spending(spending)
    t = min(max(information, 0.0), 1.0)
    if t == 0:
        return 0.0
    if spending == OBRIEN_FLEMING:
        return float(4 * ndtr(ndtri(alpha / 4) / np.sqrt(t)))
    return float(alpha * np.log1p((np.e - 1) * t))


@dataclass(frozen=True, eq=False, slots=True)
class Limits:
    """Limits of the looks, one entry for each.

    Attributes
    ----------
    information : ndarray
        Share of the information at each look.
    alpha_spent : ndarray
        Error spent up to each look, that look included.
    z : ndarray
        Two-sided z limits.
    nominal_p : ndarray
        Two-sided p value below which a difference counts as shown.
    """

    information: Floats
    alpha_spent: Floats
    z: Floats
    nominal_p: Floats


def spending_limits(
    information: Sequence[float], alpha: float = 0.05, spending: str = OBRIEN_FLEMING, final: bool = True
) -> Limits:
    """Limits of looks at these shares of the information.

    Use it for looks that are agreed beforehand; their shares need not be equal. Not for looks that are added because of what
    was seen.

    Parameters
    ----------
    information : sequence of float
        Growing shares above 0 and at most 1.
    alpha : float
        Allowed two-sided error over all looks.
    spending : str
        ``"obrien_fleming"`` or ``"pocock"``.
    final : bool
        Whether the last look is the final one and spends all that is left, even below a share of 1.

    Returns
    -------
    Limits

    Raises
    ------
    ValueError
        If the shares do not grow, or lie outside 0 to 1; if the spending is not known.
    """
    _require_spending(spending)
    shares = np.asarray(information, dtype=float)
    if (
        shares.ndim != 1
        or not len(shares)
        or shares[0] <= 0
        or shares[-1] > 1
        or (np.diff(shares) <= 0).any()
    ):
        raise ValueError(
            f"the shares of information {list(information)} do not grow from above 0 to at most 1"
        )
    spent_by = np.array([spent(t, alpha, spending) for t in shares])
    if final:
        spent_by[-1] = alpha
    walk = _Walk()
    z = np.array(
        [walk.limit(t, step) for t, step in zip(shares, np.diff(spent_by, prepend=0.0), strict=True)]
    )
    return Limits(shares, spent_by, z, 2 * ndtr(-z))


def crossing_probabilities(z: ArrayLike, information: ArrayLike) -> Floats:
    """Probability, without any difference, that the limit of each look is the first that is reached.

    Use it for the error of any limits, for instance of 1.96 at every look.

    Parameters
    ----------
    z : array_like
        Two-sided z limits.
    information : array_like
        Growing shares of the information.

    Notes
    -----
    The standardized difference times the root of the information is a random walk with independent normal steps. The density
    of the walks that have not been stopped is carried from look to look by Gauss and Legendre's rule [1]_.

    References
    ----------
    .. [1] P. Armitage, C. K. McPherson and B. C. Rowe, "Repeated significance tests on accumulating data", Journal of the
       Royal Statistical Society A 132, 1969.
    """
    walk = _Walk()
    limits, shares = np.asarray(z, dtype=float), np.asarray(information, dtype=float)
    return np.array([walk.stopped(t, limit) for limit, t in zip(limits, shares, strict=True)])


def pocock_constant(looks: int, alpha: float = 0.05) -> float:
    """The z limit that is the same at every one of some equally spaced looks.

    Parameters
    ----------
    looks : int
        Number of looks.
    alpha : float
        Allowed two-sided error over all looks.

    References
    ----------
    .. [1] S. J. Pocock, "Group sequential methods in the design and analysis of clinical trials", Biometrika 64, 1977.
    """
    return _constant(looks, alpha, np.ones(looks))


def obrien_fleming_constant(looks: int, alpha: float = 0.05) -> float:
    """The z limit of the last of some equally spaced looks; look k of K has it times ``sqrt(K / k)``.

    Parameters
    ----------
    looks : int
        Number of looks.
    alpha : float
        Allowed two-sided error over all looks.

    References
    ----------
    .. [1] P. C. O'Brien and T. R. Fleming, "A multiple testing procedure for clinical trials", Biometrics 35, 1979.
    """
    return _constant(looks, alpha, np.sqrt(looks / np.arange(1, looks + 1)))


def t_limit(nominal_p: float, df: float) -> float:
    """The t limit with the same two-sided p value.

    Parameters
    ----------
    nominal_p : float
        P value below which a difference counts as shown.
    df : float
        Degrees of freedom.
    """
    return float(stdtrit(df, 1 - nominal_p / 2))


def _constant(looks: int, alpha: float, shape: Floats) -> float:
    from scipy.optimize import brentq

    information = np.arange(1, looks + 1) / looks

    def excess(constant: float) -> float:
        return float(crossing_probabilities(constant * shape, information).sum()) - alpha

    return float(brentq(excess, 0.5, FARTHEST_Z / shape[0] + 4, xtol=1e-13))


class _Walk:
    """Density of the walks that have not been stopped, look by look."""

    def __init__(self) -> None:
        self.at: Floats = np.zeros(1)
        self.mass: Floats = np.ones(1)
        self.information = 0.0

    def outside(self, information: float, z: float) -> float:
        """Probability that walks that have not been stopped lie beyond the limit at this look."""
        step = np.sqrt(information - self.information)
        edge = z * np.sqrt(information)
        return float(self.mass @ (ndtr((-edge - self.at) / step) + ndtr((self.at - edge) / step)))

    def stopped(self, information: float, z: float) -> float:
        """Stop the walks beyond the limit, and say with which probability that happens."""
        probability = self.outside(information, z)
        step = np.sqrt(information - self.information)
        edge = min(z, FARTHEST_Z) * np.sqrt(information)
        panels = int(np.clip(np.ceil(edge / step), FEWEST_PANELS, MOST_PANELS))
        middle = edge * (np.arange(panels) * 2 + 1 - panels) / panels
        at = (middle[:, None] + edge / panels * _NODES).ravel()
        weight = np.tile(edge / panels * _WEIGHTS, panels)
        density = np.exp(-(((at[:, None] - self.at) / step) ** 2) / 2) / (step * np.sqrt(2 * np.pi))
        self.at, self.mass, self.information = at, weight * (density @ self.mass), information
        return probability

    def limit(self, information: float, probability: float) -> float:
        """The limit that is reached with this probability at this look; walks beyond it are stopped."""
        low, high = 0.0, FARTHEST_Z
        if probability <= self.outside(information, high):
            low = high
        while high - low > 1e-13:
            middle = (low + high) / 2
            low, high = (middle, high) if self.outside(information, middle) > probability else (low, middle)
        z = (low + high) / 2
        self.stopped(information, z)
        return z


def _require_spending(spending: str) -> None:
    if spending not in SPENDINGS:
        raise ValueError(f'"{spending}" is not a way to spend the error; allowed: {", ".join(SPENDINGS)}')
