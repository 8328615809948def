"""What a blocked comparison needs to know of the data: a few small matrices.

Answers: what remains of a table of blocks, units and treatments once the blocks are taken out and the rows are added up?

A *block* is what all units share for a while (a storm); a *unit* carries a treatment (a truck carries an edge type); a
*cell* is one unit with one treatment. Block effects are taken out exactly, by subtracting block means, so the cost of
everything that follows depends on the number of cells and not on the number of rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

ROUNDING = 1e-10
"""Share of a size below which what is left of it is rounding error."""
_NO_SCATTER = 1e-24
"""The same for a sum of squares about the block means, beside that about zero."""


@dataclass(frozen=True, eq=False)
class BlockedSums:
    """A table of blocks, units and treatments, reduced.

    Every column (each covariate, and the response) is split, after its block means are subtracted, into a part that the
    cells explain and a rest that they do not.

    Attributes
    ----------
    inner : (m, m) array
        Z'MZ, with Z the marks of the cells and M the subtraction of block means: how the cells meet in the blocks.
    unit, treatment : (m,) array of int
        Unit and treatment of each cell; treatment 0 is the reference.
    covariates : (m, q) array
        Cell effects on the covariates that are kept.
    response : (m,) array
        Cell effects on the response, without covariates; each connected part of the table sums to zero.
    rest : (q + 1, q + 1) array
        Cross-products of what cells leave of the covariates and the response.
    kept : (covariates,) array of bool
        Which covariates are kept: not those that blocks, treatments and earlier covariates already tell.
    n, n_blocks, n_units, n_treatments : int
        Rows, blocks, units and treatments.
    scatter : float
        Sum of squares of the response about the block means; zero if that is rounding error.
    """

    inner: Floats
    unit: Codes
    treatment: Codes
    covariates: Floats
    response: Floats
    rest: Floats
    kept: NDArray[np.bool_]
    n: int
    n_blocks: int
    n_units: int
    n_treatments: int
    scatter: float

    @property
    def n_cells(self) -> int:
        """Number of units, each counted once for every treatment that it carried."""
        return len(self.unit)

    @property
    def n_changing_units(self) -> int:
        """Number of units that carried more than one treatment."""
        return int((np.bincount(self.unit) > 1).sum())

    @property
    def treatment_marks(self) -> Floats:
        """(m, treatments - 1) array that marks the cells of each treatment but the reference."""
        return (self.treatment[:, None] == np.arange(1, self.n_treatments)).astype(float)

    @property
    def unit_marks(self) -> Floats:
        """(m, units) array that marks the cells of each unit."""
        return (self.unit[:, None] == np.unique(self.unit)).astype(float)

    def coordinates(self) -> Floats:
        """(m, r) array F with Z'MZ = F F': columns of cell marks in it have the products that they have in the table."""
        size, axes = np.linalg.eigh(self.inner)
        told = size > ROUNDING * max(size.max(), 1e-300)
        return axes[:, told] * np.sqrt(size[told])

    def parts(self) -> Codes:
        """Number of the part of each cell; cells that share a block, directly or by way of others, share a part."""
        from scipy.sparse.csgraph import connected_components

        return connected_components(np.abs(self.inner) > 1e-9, directed=False)[1].astype(np.int64)


def blocked_sums(
    response: ArrayLike,
    block: ArrayLike,
    unit: ArrayLike,
    treatment: ArrayLike,
    covariates: ArrayLike | None = None,
) -> BlockedSums:
    """Reduce a table to what `blocked.fit_blocked` needs.

    Parameters
    ----------
    response : (n,) array
        What was measured, on a scale on which differences make sense.
    block, unit : (n,) array of int
        Numbers of the blocks and units, from 0, none left out.
    treatment : (n,) array of int
        Numbers of the treatments, from 0, none left out; 0 is the reference.
    covariates : (n, q) array, optional
        Further columns.

    Returns
    -------
    BlockedSums

    Raises
    ------
    ValueError
        If there is one treatment only, or one shares no block with the reference, directly or by way of others.

    Notes
    -----
    One pass over the rows for each column. Blocks with one row carry nothing and do no harm.
    """
    y = np.asarray(response, float)
    block, unit, treatment = (np.asarray(codes, np.int64) for codes in (block, unit, treatment))
    n_treatments, n_blocks = int(treatment.max()) + 1, int(block.max()) + 1
    pairs, cell = np.unique(unit * n_treatments + treatment, return_inverse=True)
    m, size = len(pairs), np.bincount(block, minlength=n_blocks).astype(float)
    meeting = np.bincount(cell * n_blocks + block, minlength=m * n_blocks).reshape(m, n_blocks).astype(float)
    inner = np.diag(meeting.sum(axis=1)) - (meeting / size) @ meeting.T
    marks = (pairs[:, None] % n_treatments == np.arange(1, n_treatments)).astype(float)
    told = marks.T @ inner @ marks
    if n_treatments < 2 or np.linalg.matrix_rank(told, hermitian=True) < n_treatments - 1:
        raise ValueError("a treatment shares no block with the reference, directly or by way of others")

    def centred(column: Floats) -> Floats:
        once = column - (np.bincount(block, column, n_blocks) / size)[block]
        return once - (np.bincount(block, once, n_blocks) / size)[block]  # what rounding left the first time

    inverse = np.linalg.pinv(inner, rcond=ROUNDING, hermitian=True)
    raw = np.empty((len(y), 0)) if covariates is None else np.asarray(covariates, float).reshape(len(y), -1)
    columns = np.column_stack([raw, y])
    along, rest, scatter = (
        np.empty((m, columns.shape[1])),
        np.empty(columns.shape),
        np.empty(columns.shape[1]),
    )
    for k, column in enumerate(columns.T):
        about_block = centred(column)
        scatter[k] = about_block @ about_block
        if scatter[k] <= _NO_SCATTER * (column @ column):
            about_block[:], scatter[k] = 0.0, 0.0
        along[:, k] = inverse @ np.bincount(cell, about_block, m)
        rest[:, k] = about_block - centred(along[cell, k])
    left = rest.T @ rest
    kept = _independent(inner, marks, along[:, :-1], left[:-1, :-1], scatter[:-1])
    which = np.append(np.flatnonzero(kept), columns.shape[1] - 1)
    return BlockedSums(
        inner=inner,
        unit=pairs // n_treatments,
        treatment=pairs % n_treatments,
        covariates=along[:, :-1][:, kept],
        response=along[:, -1],
        rest=left[np.ix_(which, which)],
        kept=kept,
        n=len(y),
        n_blocks=n_blocks,
        n_units=len(np.unique(unit)),
        n_treatments=n_treatments,
        scatter=float(scatter[-1]),
    )


def _independent(
    inner: Floats, marks: Floats, along: Floats, left: Floats, scatter: Floats
) -> NDArray[np.bool_]:
    """Which covariates say something that the treatments and the covariates before them do not."""
    kept = np.zeros(along.shape[1], bool)
    d = marks.shape[1]
    for k in np.flatnonzero(scatter > 0.0):
        held = np.flatnonzero(kept)
        base = np.column_stack([marks, along[:, held]])
        products, cross = base.T @ inner @ base, base.T @ inner @ along[:, k]
        products[d:, d:] += left[np.ix_(held, held)]
        cross[d:] += left[held, k]
        own = along[:, k] @ inner @ along[:, k] + left[k, k]
        length = np.sqrt(np.diag(products))
        pull = np.linalg.pinv(products / np.outer(length, length), rcond=1e-12, hermitian=True)
        kept[k] = own - (cross / length) @ pull @ (cross / length) > 1e-8 * own
    return kept
