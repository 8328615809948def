"""Pieces read by several readers several times: what part of the spread belongs to whom.

Answers: how much do readings of one spot differ when one person repeats them, and how much more from person to person?

Every piece is read by every reader (a crossed study). A balanced study is taken apart by its analysis of variance; one with
gaps by restricted maximum likelihood (`mixed_reml`). A variance that comes out negative is zero, and a note says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from trialkit.stats.crossed_intervals import (
    MeanSquare,
    chi_square_interval,
    combination_interval,
)
from trialkit.stats.inference import two_sided_tail
from trialkit.stats.mixed_reml import fit_cross_products
from trialkit.stats.mixed_terms import Codes, Floats, RandomTerm, cross_products

POOL_ABOVE = 0.25
"""The interaction of readers and pieces is pooled with the repeats when its p value is above this one (common practice,
no source)."""
REPEATABILITY, INTERACTION, READER, PIECE = "repeatability", "interaction", "reader", "piece"
READING_ERROR, TOTAL = "reading error", "total"
REPEATS = "repeats"
_NOTHING = 1e-13
"""Share of all variances below which one is rounding of the arithmetic."""
PARTS = (REPEATABILITY, READER, INTERACTION, READING_ERROR, PIECE, TOTAL)
"""`REPEATABILITY`, `READER` and `INTERACTION` make the `READING_ERROR`; with `PIECE` they make the `TOTAL`."""


@dataclass(frozen=True, eq=False, slots=True)
class Anova:
    """Analysis of variance of a crossed study.

    Attributes
    ----------
    source : tuple of str
        ``"reader"``, ``"piece"``, ``"interaction"``, ``"repeats"``; those that the study has.
    sum_of_squares, df : ndarray
        For each source.
    f_interaction, p_interaction : float
        Test of the interaction against the repeats; NaN where there is none.
    """

    source: tuple[str, ...]
    sum_of_squares: Floats
    df: Floats
    f_interaction: float
    p_interaction: float

    @property
    def mean_square(self) -> Floats:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.df


@dataclass(frozen=True, eq=False, slots=True)
class CrossedFit:
    """Variances of a crossed study.

    Attributes
    ----------
    variances : dict
        Part to variance, never negative; the parts are those of `PARTS`.
    intervals : dict
        Part to the two limits of its variance; NaN where none can be given.
    df : float
        Degrees of freedom of the repeatability.
    anova : Anova
        The analysis of variance; for a study with gaps the sums of squares are those that each factor adds last.
    pooled : bool
        Whether the interaction was pooled with the repeats.
    balanced : bool
        Whether every piece was read by every reader equally often.
    repeated : bool
        Whether anything was read twice by one reader.
    truncated : tuple of str
        Parts whose variance came out negative, or on the boundary, and is taken as zero.
    told : tuple of str
        Parts that the study can tell; the others are zero here and have no interval.
    n_pieces, n_readers, n : int
        Pieces, readers and readings.
    """

    variances: dict[str, float]
    intervals: dict[str, tuple[float, float]]
    df: float
    anova: Anova
    pooled: bool
    balanced: bool
    repeated: bool
    truncated: tuple[str, ...]
    told: tuple[str, ...]
    n_pieces: int
    n_readers: int
    n: int


def fit_crossed(
    piece: ArrayLike,
    reader: ArrayLike,
    value: ArrayLike,
    *,
    pool_above: float = POOL_ABOVE,
    confidence_level: float = 0.95,
) -> CrossedFit:
    """Take the spread of a crossed study apart.

    Use it for a gauge study. Not when a piece changes between its readings, or when readers see each other's numbers.

    Parameters
    ----------
    piece, reader : (n,) labels
        What was read, and by whom.
    value : (n,) array
        What was read there.
    pool_above : float
        The interaction is pooled with the repeats when its p value is above this; 1 never pools.
    confidence_level : float
        Two-sided level of every interval.

    Returns
    -------
    CrossedFit

    Raises
    ------
    ValueError
        If there are no degrees of freedom for the error: nothing was read twice and there is one piece or one reader.

    Notes
    -----
    Balanced, p pieces, o readers, r repeats: ``reader = (MS_o - MS_po) / (p r)``, ``interaction = (MS_po - MS_e) / r``,
    ``piece = (MS_p - MS_po) / (o r)``, with the pooled mean square in place of MS_po and MS_e after pooling [1]_. Without
    repeats the interaction is part of the repeatability. Intervals: chi-square for the repeatability; for sums and
    differences of mean squares the modified large-sample intervals of [2]_ and [3]_; with gaps the same with the sums of
    squares that each factor adds last and what they expect, though the estimates are those of the restricted likelihood.

    References
    ----------
    .. [1] D. C. Montgomery and G. C. Runger, "Gauge capability analysis and designed experiments, part II: experimental
       design models and variance component estimation", Quality Engineering 6(2), 1993.
    .. [2] F. A. Graybill and C.-M. Wang, "Confidence intervals on nonnegative linear combinations of variances", Journal of
       the American Statistical Association 75, 1980.
    .. [3] N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam and T.-F. C. Lu, "Confidence intervals on linear combinations
       of variance components that are unrestricted in sign", Journal of Statistical Computation and Simulation 35, 1990.
    """
    tail = two_sided_tail(confidence_level)
    pieces, p = np.unique(np.asarray(piece), return_inverse=True)
    readers, o = np.unique(np.asarray(reader), return_inverse=True)
    y = np.asarray(value, dtype=float)
    layout = _Layout.of(p, o, len(pieces), len(readers))
    anova = _anova(y, layout)
    repeated = REPEATS in anova.source
    if not repeated and INTERACTION not in anova.source:
        raise ValueError("nothing was read twice, and there is one piece or one reader: no error can be told")
    pooled = INTERACTION in anova.source and (not repeated or anova.p_interaction > pool_above)
    squares, expected = _expected(anova, layout, pooled)
    parts = list(expected)
    weights = np.linalg.inv(np.array([expected[part] for part in parts]))
    sums = {
        part: [(float(w), ms) for w, ms in zip(row, squares, strict=True)]
        for part, row in zip(parts, weights, strict=True)
    }
    df = squares[0].df
    if layout.balanced:
        raw = {part: sum(w * ms.value for w, ms in terms) for part, terms in sums.items()}
    else:
        raw = _by_likelihood(y, layout, parts, squares[0])
    least = _NOTHING * sum(abs(value) for value in raw.values())
    truncated = tuple(part for part in parts if part != REPEATABILITY and raw[part] <= least)
    variances = {
        part: raw[part] if raw.get(part, 0.0) > least else 0.0
        for part in (REPEATABILITY, READER, INTERACTION, PIECE)
    }
    sums[READING_ERROR] = [term for part in parts if part != PIECE for term in sums[part]]
    sums[TOTAL] = [term for part in parts for term in sums[part]]
    variances[READING_ERROR] = variances[REPEATABILITY] + variances[READER] + variances[INTERACTION]
    variances[TOTAL] = variances[READING_ERROR] + variances[PIECE]
    intervals = dict.fromkeys(PARTS, (np.nan, np.nan))
    intervals |= {
        part: _around(combination_interval(terms, tail), variances[part]) for part, terms in sums.items()
    }
    intervals[REPEATABILITY] = chi_square_interval(variances[REPEATABILITY], df, tail)
    return CrossedFit(
        variances=variances,
        intervals=intervals,
        df=df,
        anova=anova,
        pooled=pooled and repeated,
        balanced=layout.balanced,
        repeated=repeated,
        truncated=truncated,
        told=tuple(parts),
        n_pieces=len(pieces),
        n_readers=len(readers),
        n=len(y),
    )


def _around(limits: tuple[float, float], variance: float) -> tuple[float, float]:
    """Limits that hold the estimate, which is not from the same mean squares where a study has gaps."""
    return min(limits[0], variance), max(limits[1], variance)


def repeats_std_dev(fits: Sequence[CrossedFit]) -> float | None:
    """Standard deviation of repeats of one piece by one reader, over several studies such as those of several tools.

    Use it as the reading error of an analysis: it rests on the repeats alone and on no decision about pooling.

    Parameters
    ----------
    fits : sequence of CrossedFit
        The studies.

    Returns
    -------
    float or None
        None if nothing was read twice, or if all repeats agree to the last digit (then the tool is coarser than the reading
        error, and says nothing about it).
    """
    known = [fit.anova for fit in fits if fit.repeated]
    total = sum(float(anova.sum_of_squares[-1]) for anova in known)
    df = sum(float(anova.df[-1]) for anova in known)
    return float(np.sqrt(total / df)) if df >= 1 and total > 1e-12 else None


# ---------------------------------------------------------------- sums of squares
@dataclass(frozen=True, eq=False, slots=True)
class _Layout:
    """Who read what how often: piece and reader of every reading; piece, reader and size of every filled cell."""

    p: Codes
    o: Codes
    cell: Codes
    cell_p: Codes
    cell_o: Codes
    size: Floats
    n_pieces: int
    n_readers: int

    @classmethod
    def of(cls, p: Codes, o: Codes, n_pieces: int, n_readers: int) -> _Layout:
        cells, cell, size = np.unique(p * n_readers + o, return_inverse=True, return_counts=True)
        cell_p, cell_o = np.divmod(cells, n_readers)
        return cls(p, o, cell, cell_p, cell_o, size.astype(float), n_pieces, n_readers)

    @property
    def balanced(self) -> bool:
        """Whether every piece was read by every reader equally often."""
        return len(self.size) == self.n_pieces * self.n_readers and bool((self.size == self.size[0]).all())

    @property
    def additive(self) -> Floats:
        """The model of pieces and readers without interaction, a row for each cell, weighted by its readings."""
        x = np.zeros((len(self.size), self.n_pieces + self.n_readers))
        rows = np.arange(len(self.size))
        x[rows, self.cell_p] = x[rows, self.n_pieces + self.cell_o] = np.sqrt(self.size)
        return x


def _anova(y: Floats, layout: _Layout) -> Anova:
    """Sums of squares: each factor after the other, the interaction after both, the repeats."""
    y = y - y.mean()
    mean = np.bincount(layout.cell, y) / layout.size
    within = float(np.sum((y - mean[layout.cell]) ** 2))

    def beyond(group: Codes) -> float:
        middle = np.bincount(group, layout.size * mean) / np.bincount(group, layout.size)
        return float(layout.size @ (mean - middle[group]) ** 2)

    x = layout.additive
    root = np.sqrt(layout.size)
    coefficients, _, full, _ = np.linalg.lstsq(x, root * mean, rcond=None)
    rank = int(full)
    rest = float(np.sum((root * mean - x @ coefficients) ** 2))
    found: dict[str, tuple[float, int]] = {
        READER: (beyond(layout.cell_p) - rest, rank - layout.n_pieces),
        PIECE: (beyond(layout.cell_o) - rest, rank - layout.n_readers),
        INTERACTION: (rest, len(layout.size) - rank),
        REPEATS: (within, len(y) - len(layout.size)),
    }
    kept = {name: (max(ss, 0.0), float(df)) for name, (ss, df) in found.items() if df > 0}
    f = p_value = np.nan
    if INTERACTION in kept and REPEATS in kept:
        (ss_i, df_i), (ss_e, df_e) = kept[INTERACTION], kept[REPEATS]
        f = (ss_i / df_i) / (ss_e / df_e) if ss_e > 0 else np.inf if ss_i > 0 else 0.0
        p_value = float(fdtrc(df_i, df_e, f)) if np.isfinite(f) else 0.0
    values = np.array(list(kept.values()), dtype=float).reshape(-1, 2)
    return Anova(tuple(kept), values[:, 0], values[:, 1], float(f), float(p_value))


def _expected(anova: Anova, layout: _Layout, pooled: bool) -> tuple[list[MeanSquare], dict[str, list[float]]]:
    """Mean squares that tell the parts, the error first, and what each of them expects of each part."""
    ss = dict(zip(anova.source, anova.sum_of_squares.tolist(), strict=True))
    df = dict(zip(anova.source, anova.df.tolist(), strict=True))
    size, left = layout.size, 1.0 - _leverage(layout.additive)
    of_interaction = {INTERACTION: float(size @ left)}
    of_factor = {}
    for source, other in ((READER, layout.cell_p), (PIECE, layout.cell_o)):
        alone = float(size @ (1 - size / np.bincount(other, size)[other]))
        of_interaction[source] = alone - of_interaction[INTERACTION]
        of_factor[source] = alone
    error = [name for name in (REPEATS, INTERACTION) if name in ss and (name == REPEATS or pooled)]
    squares = [MeanSquare(sum(ss[n] for n in error) / sum(df[n] for n in error), sum(df[n] for n in error))]
    sources = [n for n in (INTERACTION, READER, PIECE) if n in ss and not (n == INTERACTION and pooled)]
    squares += [MeanSquare(ss[name] / df[name], df[name]) for name in sources]
    rows = [[1.0, *(0.0 for _ in sources)]]
    for name in sources:
        row = [1.0]
        for part in sources:
            if part == INTERACTION:
                row.append(of_interaction[name] / df[name])
            else:
                row.append(of_factor[name] / df[name] if part == name else 0.0)
        rows.append(row)
    return squares, dict(zip([REPEATABILITY, *sources], rows, strict=True))


def _leverage(x: Floats) -> Floats:
    """Diagonal of the projection on the columns of x, which may depend on each other."""
    left, values, _ = np.linalg.svd(x, full_matrices=False)
    used = left[:, values > 1e-10 * values.max(initial=0.0)]
    return np.asarray(np.sum(used**2, axis=1))


# ---------------------------------------------------------------- with gaps
def _by_likelihood(y: Floats, layout: _Layout, parts: list[str], error: MeanSquare) -> dict[str, float]:
    """Variances by restricted maximum likelihood."""
    codes = {PIECE: layout.p, READER: layout.o, INTERACTION: layout.cell}
    factors = [part for part in parts if part != REPEATABILITY]
    if not factors:
        return {REPEATABILITY: error.value}
    one = np.ones(len(y))
    terms = [RandomTerm(one, within=codes[part]) for part in factors]
    fit = fit_cross_products(cross_products(y, one[:, None], terms, np.zeros(len(y), dtype=int)))
    found = [float(block[0, 0]) for block in fit.random_covariances.values()]
    return {REPEATABILITY: fit.residual_variance, **dict(zip(factors, found, strict=True))}


def distinct_categories(fit: CrossedFit) -> int:
    """How many groups of pieces the readings tell apart.

    Notes
    -----
    ``1.41 * SD of the pieces / SD of the reading error``, cut off to a whole number; five are usually asked for (common
    practice, no source).
    """
    error = fit.variances[READING_ERROR]
    return int(1.41 * np.sqrt(fit.variances[PIECE] / error)) if error > 0 else 0
