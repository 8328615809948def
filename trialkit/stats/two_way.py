"""Totals of two-way tables, with nothing left out for being zero.

Answers: how much more or less did each unit use than its blocks would lead one to expect?
"""

from __future__ import annotations

import numpy as np

from trialkit.stats.blocked_sums import Codes, Floats

_MOST_ROUNDS = 2000
_CLOSE_ENOUGH = 1e-10


def relative_use(amount: Floats, exposure: Floats, block: Codes, cell: Codes) -> Floats:
    """How much each cell used, relative to what blocks and exposure lead one to expect.

    Use it where some amounts are zero, so that logarithms cannot be averaged.

    Parameters
    ----------
    amount, exposure : (n,) array
        What was used, and over how much (lane-miles); exposure above zero.
    block, cell : (n,) array of int
        Numbers of the blocks and of the cells (a unit with a treatment), from 0, none left out.

    Returns
    -------
    (cells,) array
        With an average of 1 over the cells; zero for a cell that used nothing.

    Notes
    -----
    The multiplicative model ``amount = exposure * block * cell`` whose totals for every block and every cell are those
    of the table: the Poisson likelihood's equations, solved one side at a time (iterative proportional fitting). Only
    the mean must be right for the estimates to be right, not the Poisson distribution.
    """
    m, n_blocks = int(cell.max()) + 1, int(block.max()) + 1
    over = np.bincount(cell * n_blocks + block, exposure, m * n_blocks).reshape(m, n_blocks)
    of_cell, of_block = np.bincount(cell, amount, m), np.bincount(block, amount, n_blocks)
    use = np.where(of_cell > 0, 1.0, 0.0)
    for _ in range(_MOST_ROUNDS):
        expected = use @ over
        level = np.divide(of_block, expected, out=np.zeros(n_blocks), where=expected > 0)
        reach = over @ level
        new = np.divide(of_cell, reach, out=np.zeros(m), where=reach > 0)
        new /= new.mean() or 1.0
        moved, use = float(np.abs(new - use).max()), new
        if moved < _CLOSE_ENOUGH:
            break
    return use
