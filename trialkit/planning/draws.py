"""Draws that anybody can repeat: an order that depends on the seed and on names alone.

Answers: which plow carries which edge type, whoever draws it, on whatever machine, in whatever row order?

The number behind a name is the SHA-256 digest of the seed, the purpose and the name, so that a draw can be checked with any
other program and does not change with the version of a library.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence

from trialkit.planning.balancing import even_counts
from trialkit.planning.rotation import consistent, sequences

SEPARATOR = "|"


def draw_number(seed: int, *words: str) -> int:
    """The number that a seed gives these words.

    Parameters
    ----------
    seed : int
        Recorded seed.
    *words : str
        What is drawn, and for what.

    Returns
    -------
    int
        SHA-256 of the seed and the words, joined by ``|`` and encoded as UTF-8, read as a number.
    """
    text = SEPARATOR.join([str(seed), *words])
    return int.from_bytes(hashlib.sha256(text.encode("utf-8")).digest(), "big")


def drawn_order(names: Iterable[str], seed: int, *purpose: str) -> list[str]:
    """The names in the order of their numbers.

    Parameters
    ----------
    names : iterable of str
        Different names, in any order.
    seed : int
        Recorded seed.
    *purpose : str
        What the order is for; the same names come in another order for another purpose.

    Examples
    --------
    >>> drawn_order(["a", "b", "c"], 1, "demo") == drawn_order(["c", "a", "b"], 1, "demo")
    True
    """
    return sorted(names, key=lambda name: (draw_number(seed, *purpose, name), name))


def draw_plows(
    place: str,
    block_of: Mapping[str, str],
    edge_types: Sequence[str],
    seed: int,
    periods: int = 1,
    wanted: Mapping[str, Mapping[int, str]] | None = None,
) -> dict[str, tuple[str, ...]]:
    """Edge types of the plows of one position, period by period.

    Parameters
    ----------
    place : str
        The plow position.
    block_of : mapping
        Truck to its block.
    edge_types : sequence of str
        The edge types, the reference first.
    seed : int
        Recorded seed.
    periods : int
        Number of periods.
    wanted : mapping, optional
        Truck to its forced types by period, counted from 1.

    Returns
    -------
    dict
        Truck to its edge type in every period.

    Notes
    -----
    What does not divide evenly goes to the reference first where all plows are of one block: every comparison gains from it,
    and each plow still has the same chance of each type. With several blocks the lot settles it: were it always the reference,
    its plows would come more often from some blocks than from others, and a block would pass for an edge.
    """
    order = drawn_order(edge_types, seed, "types", place)
    orders = sequences(len(order), periods)
    blocks = drawn_order(set(block_of.values()), seed, "blocks", place)
    chosen: dict[str, tuple[int, ...]] = {}
    by_block: dict[str, dict[str, int]] = {block: {} for block in blocks}
    for truck, kinds in (wanted or {}).items():
        if not kinds:
            continue
        fixed = {period - 1: order.index(kind) for period, kind in kinds.items()}
        chosen[truck] = _sequence_with(fixed, orders, len(order), seed, place, truck)
        first = order[chosen[truck][0]]
        counts = by_block[block_of[truck]]
        counts[first] = counts.get(first, 0) + 1
    left = {block: [t for t in block_of if block_of[t] == block and t not in chosen] for block in blocks}
    in_turn = order
    if len(blocks) == 1 and periods == 1:
        in_turn = [edge_types[0], *(kind for kind in order if kind != edge_types[0])]
    shares = even_counts({block: len(trucks) for block, trucks in left.items()}, by_block, in_turn)
    begins: dict[str, list[str]] = {kind: [] for kind in order}
    for block in blocks:
        trucks = drawn_order(left[block], seed, "trucks", place)
        for kind in order:
            n = shares[block][kind]
            begins[kind] += trucks[:n]
            trucks = trucks[n:]
    for kind, mine in begins.items():
        starting = [row for row in orders if row[0] == order.index(kind)]
        turn = draw_number(seed, "turn", place, kind)
        for number, truck in enumerate(drawn_order(mine, seed, "sequences", place)):
            chosen[truck] = starting[(number + turn) % len(starting)]
    return {truck: tuple(order[kind] for kind in chosen[truck]) for truck in block_of}


def _sequence_with(
    fixed: dict[int, int], orders: list[tuple[int, ...]], n_types: int, seed: int, place: str, truck: str
) -> tuple[int, ...]:
    """An order that has the fixed types in their periods, at random among those there are."""
    periods = len(orders[0])
    if len(fixed) < periods:
        fitting = [row for row in orders if consistent(row, fixed)]
        if fitting:
            return fitting[draw_number(seed, "forced", place, truck) % len(fitting)]
    others = [int(k) for k in drawn_order(map(str, range(n_types)), seed, "others", place, truck)]
    others = [kind for kind in others if kind not in fixed.values()] or others
    rest = iter(others * periods)
    return tuple(fixed[period] if period in fixed else next(rest) for period in range(periods))
