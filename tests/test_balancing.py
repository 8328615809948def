from itertools import product

import pytest

from trialkit.planning.balancing import even_counts

TYPES = ["a", "b", "c"]


def totals(counts, forced=None):
    return [
        sum(block[kind] for block in counts.values())
        + sum(fixed.get(kind, 0) for fixed in (forced or {}).values())
        for kind in TYPES
    ]


def test_blocks_that_divide_evenly():
    assert even_counts({"x": 3, "y": 6}, {}, TYPES) == {
        "x": {"a": 1, "b": 1, "c": 1},
        "y": {"a": 2, "b": 2, "c": 2},
    }


@pytest.mark.parametrize("sizes", list(product(range(6), repeat=3)))
def test_uneven_blocks_are_even_within_and_over_all(sizes):
    counts = even_counts(dict(zip("xyz", sizes, strict=True)), {}, TYPES)
    for block, size in zip("xyz", sizes, strict=True):
        assert sum(counts[block].values()) == size
        assert max(counts[block].values()) - min(counts[block].values()) <= 1
    assert max(totals(counts)) - min(totals(counts)) <= 1


def test_forced_plows_count_for_their_block():
    counts = even_counts({"x": 4}, {"x": {"a": 2}}, TYPES)
    assert counts == {"x": {"a": 0, "b": 2, "c": 2}}


def test_more_forced_than_evenness_allows():
    counts = even_counts({"x": 1, "y": 2}, {"x": {"a": 4}, "y": {}}, TYPES)
    # by hand: the free one of x goes to b or c, and the two of y to the other and whichever is lowest
    assert counts["x"]["a"] == 0
    assert totals(counts, {"x": {"a": 4}})[0] == 4
    assert sorted(totals(counts, {"x": {"a": 4}}))[:2] in ([1, 2], [2, 1])


def exhaustive_least(free, forced):
    """Least sum of squared totals over all ways to keep every block as even as it can be."""
    options = []
    for block, n in free.items():
        ways = [way for way in product(range(n + 1), repeat=3) if sum(way) == n]
        full = [
            [w + forced.get(block, {}).get(k, 0) for w, k in zip(way, TYPES, strict=True)] for way in ways
        ]
        least = min(sum(v * v for v in way) for way in full)
        options.append([way for way in full if sum(v * v for v in way) == least])
    return min(sum(sum(col) ** 2 for col in zip(*ways, strict=True)) for ways in product(*options))


@pytest.mark.parametrize("case", range(60))
def test_totals_are_as_even_as_they_can_be(case):
    # by hand: every possible division of small fleets is tried
    numbers = [(case * 7 + k * k * 5 + k) % 4 for k in range(9)]
    free = dict(zip("xyz", [(n % 3) + 1 for n in numbers[:3]], strict=True))
    forced = {
        block: {kind: numbers[3 + (i + j) % 6] % 3 for j, kind in enumerate(TYPES)}
        for i, block in enumerate("xyz")
    }
    found = totals(even_counts(free, forced, TYPES), forced)
    assert sum(n * n for n in found) == exhaustive_least(free, forced)


@pytest.mark.parametrize(
    ("free", "forced"),
    [
        ({"x": 2, "y": 1, "z": 1}, {"y": {"b": 1}, "z": {"c": 1}}),
        ({"x": 1, "y": 2, "z": 1}, {"x": {"a": 1}, "z": {"c": 1}}),
        ({"x": 1, "y": 1, "z": 0}, {"x": {"b": 1}, "y": {"c": 1}, "z": {"a": 1, "b": 1}}),
        ({"x": 1, "y": 1, "z": 2}, {"x": {"b": 1}, "y": {"b": 1}, "z": {"b": 1, "c": 2}}),
    ],
)
def test_an_extra_is_passed_on_where_dealing_to_the_lowest_is_not_enough(free, forced):
    found = totals(even_counts(free, forced, TYPES), forced)
    # by hand: the plows divide evenly by the three types
    assert len(set(found)) == 1
    assert sum(n * n for n in found) == exhaustive_least(free, forced)
