"""What a linear mixed model needs to know of the data: one small matrix of cross-products for each group.

Answers: how are random effects laid out, and what remains of the readings once they are added up?

The model is y = X b + Z u + e with independent groups (trucks, subjects, batches), u normal with a covariance built from
blocks, e normal with one variance. `cross_products` reduces a table of any layout to `CrossProducts`, which
`mixed_reml.fit_cross_products` fits; `mixed_sums` makes the same from the wear readings of a trial.

Columns are scaled on the way: X to orthogonal columns, the columns of Z to unit size in the average level, y to unit
scatter about the fixed effects. So the fit does not see in which units miles and heights were given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.signedinteger[Any]]

NO_PARAMETER = -1
"""Entry of a covariance factor that is fixed at zero."""


@dataclass(frozen=True, eq=False)
class RandomTerm:
    """Effects that vary at random between the levels of a factor.

    Attributes
    ----------
    columns : (n, k) array
        What the random effects multiply: a column of ones for an intercept, the miles for a slope.
    within : (n,) labels or None
        Levels inside a group, such as the set inside a truck; None when the group itself is the level.
    correlated : bool
        Whether the k effects of a level have a full covariance matrix or k variances only.
    block : (n,) labels or None
        Levels with the same label share their (co)variances, such as the edge type; None when all do.
    """

    columns: ArrayLike
    within: ArrayLike | None = None
    correlated: bool = True
    block: ArrayLike | None = None


@dataclass(frozen=True, eq=False)
class CovarianceBlock:
    """The (co)variances shared by some levels of a random term.

    Attributes
    ----------
    name : str
        For the notes, such as ``"truck, plain steel"``.
    entries : (k, k) array of int
        Number of the parameter at each place of the lower triangular factor, `NO_PARAMETER` where it is zero.
    basis : (k, k) array
        The scaled columns are the columns as given times this.
    """

    name: str
    entries: Codes
    basis: Floats


@dataclass(frozen=True, eq=False)
class CrossProducts:
    """All that a fit needs to know of the data, scaled so that the fit does not see their units.

    Attributes
    ----------
    products : (groups, d, d) array
        For each group the cross-products of [Z X y], d = `n_random` + fixed effects + 1.
    n_each : (groups,) array of int
        Observations of each group.
    n_random : int
        Columns of Z; groups with fewer levels carry columns of zeros.
    entries : (groups, n_random, n_random) array of int
        Number of the covariance parameter at each place of the factor of a group, `NO_PARAMETER` where it is zero.
    blocks : tuple of CovarianceBlock
        The parameters by block.
    x_basis : (p, p) array
        The scaled X is X times this.
    offset : (p,) array
        Fixed effects (of the scaled X) already taken out of y.
    y_scale : float
        What y was divided by.
    """

    products: Floats
    n_each: Codes
    n_random: int
    entries: Codes
    blocks: tuple[CovarianceBlock, ...]
    x_basis: Floats
    offset: Floats
    y_scale: float

    @property
    def n(self) -> int:
        """Number of observations."""
        return int(self.n_each.sum())

    @property
    def n_fixed(self) -> int:
        """Number of fixed effects."""
        return len(self.offset)

    @property
    def n_parameters(self) -> int:
        """Number of covariance parameters."""
        return max((int(block.entries.max()) + 1 for block in self.blocks), default=0)

    @property
    def diagonal(self) -> Codes:
        """Numbers of the parameters that are standard deviations, beside the residual, of effects in the scaled columns."""
        return np.array([number for block in self.blocks for number in np.diag(block.entries)], dtype=int)

    @cached_property
    def lead(self) -> Codes:
        """For each parameter the one on the diagonal of its column of the factor."""
        lead = np.zeros(self.n_parameters, int)
        for block in self.blocks:
            used = block.entries != NO_PARAMETER
            lead[block.entries[used]] = np.broadcast_to(np.diag(block.entries), used.shape)[used]
        return lead

    @cached_property
    def patterns(self) -> Floats:
        """For each parameter the places it fills in the factor of each group, (parameters, groups, q, q) of 0 and 1."""
        numbers = np.arange(self.n_parameters)[:, None, None, None]
        return (self.entries == numbers).astype(float)


def cross_products(
    y: ArrayLike, x: ArrayLike, terms: Sequence[RandomTerm], group: ArrayLike
) -> CrossProducts:
    """Reduce readings to the cross-products that `fit_cross_products` needs.

    Meant for tables of any layout up to some hundred thousand rows. The wear readings of a trial take the shorter way
    of `mixed.fit_mixed_wear`.

    Parameters
    ----------
    y : (n,) array
        Response.
    x : (n, p) array
        Columns of the fixed effects, linearly independent.
    terms : sequence of RandomTerm
        At least one.
    group : (n,) labels
        The independent groups; every level of every term lies inside one of them.

    Returns
    -------
    CrossProducts

    Raises
    ------
    ValueError
        If the columns of `x` depend on each other, leave no observation over, or describe y without remainder; if a
        random term has as many effects as there are observations, or its block changes inside a level.
    """
    y, x = np.asarray(y, float), np.asarray(x, float)
    if x.shape[0] <= x.shape[1]:
        raise ValueError(f"{x.shape[0]} observations are too few for {x.shape[1]} fixed effects")
    length = np.linalg.norm(x, axis=0)
    orthogonal, upper = np.linalg.qr(x / np.where(length > 0, length, 1.0))
    if np.abs(np.diag(upper)).min() < 1e-10:
        raise ValueError("the columns of the fixed effects depend on each other; leave one out")
    offset = orthogonal.T @ y
    rest = y - orthogonal @ offset
    y_scale = float(np.sqrt(rest @ rest / (x.shape[0] - x.shape[1])))
    if y_scale <= 1e-13 * float(np.abs(y).max(initial=0.0)):
        raise ValueError(
            "the fixed effects describe the response without remainder; there is no scatter to model"
        )

    labels, codes = np.unique(np.asarray(group), return_inverse=True)
    z, entries, blocks = _random_columns(terms, codes, len(labels))
    everything = np.column_stack([z, orthogonal, rest / y_scale])
    order = np.argsort(codes, kind="stable")
    n_each = np.bincount(codes, minlength=len(labels))
    pieces = np.split(everything[order], np.cumsum(n_each)[:-1])
    return CrossProducts(
        products=np.stack([piece.T @ piece for piece in pieces]),
        n_each=n_each,
        n_random=z.shape[1],
        entries=entries,
        blocks=blocks,
        x_basis=np.linalg.inv(upper) / length[:, None],
        offset=offset,
        y_scale=y_scale,
    )


def _random_columns(
    terms: Sequence[RandomTerm], codes: Codes, n_groups: int
) -> tuple[Floats, Codes, tuple[CovarianceBlock, ...]]:
    """Lay the random effects of all terms side by side, level by level."""
    columns: list[Floats] = []
    layouts: list[Codes] = []
    blocks: list[CovarianceBlock] = []
    first = 0
    for number, term in enumerate(terms, start=1):
        raw = np.asarray(term.columns, float)
        raw = raw[:, None] if raw.ndim == 1 else raw
        n, k = raw.shape
        _, inner = _labels_and_codes(term.within, n)
        names, kind = _labels_and_codes(term.block, n)
        pairs, level = np.unique(np.column_stack([codes, inner]), axis=0, return_inverse=True)
        level = level.ravel()
        owner = pairs[:, 0]
        if len(pairs) * k >= n:
            raise ValueError(
                f"random term {number} has {len(pairs) * k} effects for {n} observations; the residual cannot be told "
                "from them"
            )
        slot = np.arange(len(pairs)) - np.searchsorted(owner, owner)
        kind_of_level = np.zeros(len(pairs), int)
        kind_of_level[level] = kind
        if (kind_of_level[level] != kind).any():
            raise ValueError(f"random term {number}: the block changes inside a level")

        width = k * int(slot.max() + 1)
        z = np.zeros((n, width))
        layout = np.full((n_groups, width, width), NO_PARAMETER)
        places = slot[:, None] * k + np.arange(k)
        for index, name in enumerate(names):
            rows, members = np.flatnonzero(kind == index), np.flatnonzero(kind_of_level == index)
            block = _new_block(
                f"term {number} {name}".strip(), raw[rows], len(members), term.correlated, first
            )
            first = int(block.entries.max()) + 1
            z[rows[:, None], places[level[rows]]] = raw[rows] @ block.basis
            at = places[members]
            layout[owner[members, None, None], at[:, :, None], at[:, None, :]] = block.entries
            blocks.append(block)
        columns.append(z)
        layouts.append(layout)

    z = np.hstack(columns)
    entries = np.full((n_groups, z.shape[1], z.shape[1]), NO_PARAMETER)
    start = 0
    for layout in layouts:
        stop = start + layout.shape[1]
        entries[:, start:stop, start:stop] = layout
        start = stop
    return z, entries, tuple(blocks)


def _labels_and_codes(column: ArrayLike | None, n: int) -> tuple[list[str], Codes]:
    """Sorted labels of a column and the number of the label in each row; one label when there is no column."""
    if column is None:
        return [""], np.zeros(n, int)
    labels, codes = np.unique(np.asarray(column), return_inverse=True)
    return [str(label) for label in labels], codes


def _new_block(name: str, raw: Floats, n_levels: int, correlated: bool, first: int) -> CovarianceBlock:
    """Number the parameters of a block and scale its columns to unit cross-products in the average level.

    A full covariance matrix may be written in any basis, so its columns are made orthogonal too; variances alone belong
    to their own columns, which are only stretched.
    """
    k = raw.shape[1]
    entries = np.full((k, k), NO_PARAMETER)
    where = np.tril_indices(k) if correlated else np.diag_indices(k)
    entries[where] = first + np.arange(len(where[0]))
    length = np.linalg.norm(raw, axis=0) / np.sqrt(n_levels)
    length = np.where(length > 0, length, 1.0)
    basis = np.diag(1.0 / length)
    if correlated:
        upper = np.linalg.qr(raw / (length * np.sqrt(n_levels))).R
        if upper.shape == (k, k) and np.abs(np.diag(upper)).min() > 1e-10:
            basis = basis @ np.linalg.inv(upper)
    return CovarianceBlock(name, entries, basis)
