"""How many plows of each block get each edge type, when the numbers do not divide evenly.

Answers: which counts are as even as they can be within every block, and then over all blocks?
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field


@dataclass(slots=True)
class _Block:
    """One block while its counts are worked out.

    `counts` holds what every type has for certain, `open` the types that may get one more, `given` those that do.
    """

    counts: dict[str, int]
    open: list[str] = field(default_factory=list)
    extra: int = 0
    given: set[str] = field(default_factory=set)


def even_counts(
    free: Mapping[str, int], forced: Mapping[str, Mapping[str, int]], types: Sequence[str]
) -> dict[str, dict[str, int]]:
    """Plows of each block that each type gets beside the forced ones.

    Parameters
    ----------
    free : mapping
        Block to its number of plows that are not forced, in the order in which ties are settled.
    forced : mapping
        Block to the number of its plows that are forced to each type.
    types : sequence of str
        The edge types, in the order in which ties are settled.

    Returns
    -------
    dict
        Block to type to count. Within a block the counts, forced plows included, differ by no more than one as far as the
        forced ones leave a choice; among all ways to do so the totals over the blocks are as even as they can be.

    Notes
    -----
    Each block is filled up from its lowest counts, which leaves it a number of extra plows and the types that may have
    one. The extras are dealt to the types with the lowest totals; then an extra is passed on along a chain of blocks
    while that evens out two totals that differ by two or more, which ends at the least sum of squares.
    """
    blocks = {name: _filled(n, dict(forced.get(name, {})), types) for name, n in free.items()}
    totals = {kind: sum(block.counts[kind] for block in blocks.values()) for kind in types}
    rank = {kind: place for place, kind in enumerate(types)}
    for block in blocks.values():
        for kind in sorted(block.open, key=lambda kind: (totals[kind], rank[kind]))[: block.extra]:
            block.given.add(kind)
            totals[kind] += 1
    while _passed_on(list(blocks.values()), totals, types):
        pass
    return {
        name: {
            kind: block.counts[kind] + (kind in block.given) - forced.get(name, {}).get(kind, 0)
            for kind in types
        }
        for name, block in blocks.items()
    }


def _filled(free: int, forced: dict[str, int], types: Sequence[str]) -> _Block:
    """A block filled up from its lowest counts as far as all of the lowest get one more."""
    counts = {kind: forced.get(kind, 0) for kind in types}
    while True:
        lowest = min(counts.values())
        low = [kind for kind in types if counts[kind] == lowest]
        if free < len(low):
            return _Block(counts, low, free)
        for kind in low:
            counts[kind] += 1
        free -= len(low)


def _passed_on(blocks: list[_Block], totals: dict[str, int], types: Sequence[str]) -> bool:
    """Pass one extra from a type with a high total to one with a low total, through as many types as it takes."""
    for start in types:
        came_from: dict[str, tuple[str, _Block]] = {}
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for block in blocks:
                if here not in block.given:
                    continue
                for there in types:
                    if (
                        there in block.given
                        or there not in block.open
                        or there in came_from
                        or there == start
                    ):
                        continue
                    came_from[there] = (here, block)
                    queue.append(there)
        ends = [kind for kind in came_from if totals[start] - totals[kind] >= 2]
        if ends:
            end = min(ends, key=lambda kind: (totals[kind], types.index(kind)))
            step = end
            while step != start:
                before, block = came_from[step]
                block.given.remove(before)
                block.given.add(step)
                step = before
            totals[start] -= 1
            totals[end] += 1
            return True
    return False
