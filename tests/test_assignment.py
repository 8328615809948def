import hashlib
import math
from collections import Counter

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.planning.assignment import assign_edge_types
from trialkit.planning.draws import draw_number, draw_plows, drawn_order
from trialkit.planning.forced import TOO_FEW

STEEL, CARBIDE, RUBBER = TYPES = ["steel", "carbide", "rubber"]
PLACE = "front"


def fleet(*blocks, place=PLACE):
    """Plows T-01, T-02, ... in these blocks."""
    return pd.DataFrame(
        {
            c.TRUCK_ID: [f"T-{k + 1:02d}" for k in range(len(blocks))],
            c.PLOW_POSITION: place,
            c.BLOCK: list(blocks),
        }
    )


def forced(*rows):
    """Rows of (truck, type, reason, period)."""
    return pd.DataFrame(
        [(truck, PLACE, kind, reason, period) for truck, kind, reason, period in rows],
        columns=[c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE, c.REASON, c.PERIOD],
    )


def carried(assignment, period=1):
    rows = assignment.table[assignment.table[c.PERIOD] == period]
    return dict(zip(rows[c.TRUCK_ID], rows[c.EDGE_TYPE], strict=True))


# ---------------------------------------------------------------- the draw
def test_a_draw_is_the_digest_of_seed_and_names():
    # by hand: the definition
    text = "7|trucks|front|T-01"
    assert draw_number(7, "trucks", "front", "T-01") == int(hashlib.sha256(text.encode()).hexdigest(), 16)


def test_the_same_seed_gives_the_same_draw_in_any_row_order():
    trucks = fleet(*"aaabbbccc")
    first = assign_edge_types(trucks, TYPES, 11)
    shuffled = assign_edge_types(trucks.sample(frac=1, random_state=3), [STEEL, RUBBER, CARBIDE], 11)
    assert carried(first) == carried(shuffled)
    assert carried(first) != carried(assign_edge_types(trucks, TYPES, 12))
    assert first.table[c.TRUCK_ID].is_monotonic_increasing


def test_types_are_even_within_blocks_and_over_all():
    found = assign_edge_types(fleet(*"aaaabbbbccccdd"), TYPES, 5)
    by_block = found.counts.pivot(index=c.BLOCK, columns=c.EDGE_TYPE, values=c.N_UNITS)
    assert ((by_block.max(axis=1) - by_block.min(axis=1)) <= 1).all()
    totals = by_block.sum()
    assert totals.max() - totals.min() <= 1
    assert totals.sum() == 14


def test_what_does_not_divide_goes_to_the_reference_where_there_is_one_block():
    for seed in range(20):
        assert Counter(carried(assign_edge_types(fleet(*"aaaaaaa"), TYPES, seed)).values()) == {
            STEEL: 3, CARBIDE: 2, RUBBER: 2,
        }  # fmt: skip
        eight = Counter(carried(assign_edge_types(fleet(*"aaaaaaaa"), TYPES, seed)).values())
        assert eight[STEEL] == 3 and sorted(eight.values()) == [2, 3, 3]
    assert not any("left to the lot" in note for note in assign_edge_types(fleet(*"aaaaaaa"), TYPES, 1).notes)


def test_with_several_blocks_the_lot_settles_who_gets_one_more_and_says_why():
    found = [assign_edge_types(fleet(*"aaaabbb"), TYPES, seed) for seed in range(60)]
    most = Counter(Counter(carried(one).values()).most_common(1)[0][0] for one in found)
    assert set(most) == set(TYPES)
    (note,) = [note for note in found[0].notes if "left to the lot" in note]
    assert note.startswith("The front plows cannot be divided evenly by the edge types.")
    assert not any("left to the lot" in note for note in assign_edge_types(fleet(*"aaabbb"), TYPES, 1).notes)


def test_each_plow_of_one_block_has_the_same_chance_of_the_extra():
    seeds = 2000
    block_of = {f"T-{k}": "a" for k in range(4)}
    counts = Counter(
        truck
        for seed in range(seeds)
        for truck, (kind,) in draw_plows(PLACE, block_of, TYPES, seed).items()
        if kind == STEEL
    )
    # known truth: two of four plows carry the reference; chi-square with 3 degrees of freedom, for shares of a half
    statistic = sum((counts[truck] - seeds / 2) ** 2 / (seeds / 4) for truck in block_of) * 3 / 4
    assert sum(counts.values()) == 2 * seeds and statistic < chi2.ppf(0.999, 3)


@pytest.mark.parametrize("blocks", ["aaabbb", "aaaabb", "aabbbcc"])
def test_every_plow_carries_every_type_equally_often(blocks):
    seeds = 3000
    block_of = {f"T-{k}": block for k, block in enumerate(blocks)}
    counts = {truck: Counter() for truck in block_of}
    for seed in range(seeds):
        for truck, (kind,) in draw_plows(PLACE, block_of, TYPES, seed).items():
            counts[truck][kind] += 1
    expected = seeds / 3
    for truck in counts:
        statistic = sum((counts[truck][kind] - expected) ** 2 / expected for kind in TYPES)
        # known truth: chi-square with 2 degrees of freedom, 0.1 % over the plows of a fleet
        assert statistic < chi2.ppf(1 - 0.001 / len(counts), 2), (truck, counts[truck])


def test_plows_of_a_block_do_not_follow_each_other():
    """Of six plows in two blocks every division of a block occurs, and the blocks are independent."""
    block_of = {f"T-{k}": block for k, block in enumerate("aaabbb")}
    pairs = Counter()
    for seed in range(1800):
        found = draw_plows(PLACE, block_of, TYPES, seed)
        pairs[found["T-0"], found["T-1"], found["T-3"]] += 1
    # by hand: 6 orders of the first block times 3 types of the first plow of the other
    assert len(pairs) == 18
    statistic = sum((n - 100) ** 2 / 100 for n in pairs.values())
    assert statistic < chi2.ppf(0.999, 17)


def test_positions_are_drawn_apart():
    trucks = pd.concat([fleet(*"aaa"), fleet(*"aaa", place="wing_right")])
    found = assign_edge_types(trucks, TYPES, 1)
    for _, rows in found.table.groupby(c.PLOW_POSITION):
        assert sorted(rows[c.EDGE_TYPE]) == sorted(TYPES)
    assert found.sentences()[1].startswith("3 right wing plows in 1 block were drawn with seed 1")


# ---------------------------------------------------------------- few trucks
def test_a_position_with_fewer_plows_than_types_stays_on_the_reference():
    trucks = pd.concat([fleet(*"aaaaaa"), fleet("a", "a", place="wing_right")])
    for seed in range(10):
        found = assign_edge_types(trucks, TYPES, seed, labels={STEEL: "plain steel"})
        wings = found.table[found.table[c.PLOW_POSITION] == "wing_right"]
        assert wings[c.EDGE_TYPE].tolist() == [STEEL, STEEL]
        assert wings[c.HOW].tolist() == ["forced", "forced"] and set(wings[c.REASON]) == {TOO_FEW}
        assert (
            found.sentences()[1] == "2 right wing plows stay on plain steel: too few to compare 3 edge types."
        )
        assert not any("right wing" in note or "Not left to chance" in note for note in found.notes)


def test_as_many_plows_as_types_are_drawn():
    found = assign_edge_types(fleet("a", "b", "b"), TYPES, 4)
    assert found.table[c.EDGE_TYPE].nunique() == 3 and set(found.table[c.HOW]) == {"random"}
    assert any("one truck alone carries" in note for note in found.notes)


def test_one_truck():
    found = assign_edge_types(fleet("a"), TYPES, 1, labels={STEEL: "plain steel"})
    assert carried(found) == {"T-01": STEEL}
    assert found.sentence() == "1 front plow stays on plain steel: too few to compare 3 edge types."


def test_where_types_rotate_two_plows_are_enough():
    two = assign_edge_types(fleet("a", "a"), TYPES, 4, periods=3)
    assert set(two.table[c.HOW]) == {"random"} and two.table[c.EDGE_TYPE].nunique() == 3
    one = assign_edge_types(fleet("a"), TYPES, 4, periods=3)
    assert one.table[c.EDGE_TYPE].tolist() == [STEEL] * 3


def test_a_plow_that_is_forced_elsewhere_stays_so_where_plows_are_few():
    rows = forced(("T-02", CARBIDE, "the shop wants to see it", None))
    found = assign_edge_types(fleet("a", "a"), TYPES, 4, forced=rows)
    assert carried(found) == {"T-01": STEEL, "T-02": CARBIDE}
    assert any(note.startswith("Not left to chance: T-02 front.") for note in found.notes)


def test_blocks_of_one():
    found = assign_edge_types(fleet(*"abcdef"), TYPES, 9)
    assert sorted(Counter(carried(found).values()).values()) == [2, 2, 2]


def test_no_blocks():
    trucks = fleet(*"abc").drop(columns=c.BLOCK)
    assert any("No plow has a block" in note for note in assign_edge_types(trucks, TYPES, 1).notes)
    some = fleet("a", "a", "a", None, None)
    notes = assign_edge_types(some, TYPES, 1).notes
    assert "2 plows have no block and were drawn as a block of their own." in notes


# ---------------------------------------------------------------- forced
def test_forced_plows_are_kept_and_said():
    rows = forced(("T-02", STEEL, "fixed plow", None), ("T-03", STEEL, "shop", None))
    found = assign_edge_types(fleet(*"aaaaaa"), TYPES, 3, forced=rows)
    assert {carried(found)[t] for t in ("T-02", "T-03")} == {STEEL}
    kept = found.table.set_index(c.TRUCK_ID)
    assert kept.loc["T-02", [c.HOW, c.REASON]].tolist() == ["forced", "fixed plow"]
    assert kept.loc["T-01", [c.HOW, c.REASON]].tolist() == ["random", ""]
    # by hand: two of six are steel already, so the four others are carbide and rubber
    assert Counter(carried(found).values()) == {STEEL: 2, CARBIDE: 2, RUBBER: 2}
    assert "4 front plows in 1 block were drawn with seed 3 and 2 were fixed beforehand" in found.sentence()
    assert any(note.startswith("Not left to chance: T-02 front and T-03 front.") for note in found.notes)


def test_a_swap_keeps_its_word():
    rows = forced(("T-02", STEEL, "truck in the shop", None)).assign(**{c.HOW: "swap"})
    found = assign_edge_types(fleet(*"aaa"), TYPES, 3, forced=rows)
    assert found.table.set_index(c.TRUCK_ID).loc["T-02", c.HOW] == "swap"


def test_all_forced():
    rows = forced(*((f"T-0{k}", STEEL, "old rig", None) for k in (1, 2)))
    found = assign_edge_types(fleet("a", "a"), TYPES, 3, forced=rows)
    assert found.sentence() == "2 front plows were fixed beforehand: steel on 2."


def test_everything_wrong_with_forced_plows_is_said_at_once():
    rows = forced(
        ("T-1", STEEL, "x", None),
        ("T-02", "steal", "x", None),
        ("T-03", STEEL, "", None),
        ("T-03", CARBIDE, "x", 1),
        ("T-03", RUBBER, "y", 1),
        ("T-01", STEEL, "x", 4),
    )
    wing = rows.head(1).assign(**{c.TRUCK_ID: "T-02", c.PLOW_POSITION: "wing_left"})
    with pytest.raises(UsageError) as caught:
        assign_edge_types(fleet(*"aaa"), TYPES, 3, periods=2, forced=pd.concat([rows, wing]))
    said = str(caught.value)
    for part in (
        'T-1 is not among the trucks. Did you mean "T-01"?',
        'T-02 front: steal is not an edge type of the trial. Did you mean "steel"?',
        "T-03 front: no reason is given why it carries steel.",
        "T-03 front: forced to carbide and to rubber in period 1; keep one of them.",
        "T-01 front: the period is 4; allowed: 1 to 2.",
        "T-02 has no plow position wing_left; it has: front.",
    ):
        assert part in said


def test_forced_rows_lack_columns():
    with pytest.raises(UsageError, match="lack the columns edge_type"):
        assign_edge_types(
            fleet("a", "a"), TYPES, 1, forced=pd.DataFrame({c.TRUCK_ID: ["T-01"], c.PLOW_POSITION: [PLACE]})
        )


# ---------------------------------------------------------------- rotation
@pytest.mark.parametrize("kinds", [TYPES[:2], TYPES, [*TYPES, "glass"]])
def test_rotating_types_are_even_in_every_period(kinds):
    found = assign_edge_types(fleet(*"aaaabbbbcccc"), kinds, 8, periods=len(kinds))
    for period in range(1, len(kinds) + 1):
        assert set(Counter(carried(found, period).values()).values()) == {12 // len(kinds)}
    assert (found.table.groupby(c.TRUCK_ID)[c.EDGE_TYPE].nunique() == len(kinds)).all()
    assert f"rotate over {len(kinds)} periods" in found.sentence()


def test_both_directions_of_rotation_are_used():
    found = assign_edge_types(fleet(*"aaaaaa"), TYPES, 8, periods=3)
    orders = found.table.groupby(c.TRUCK_ID)[c.EDGE_TYPE].agg(tuple)
    assert orders.nunique() == 6


def test_two_periods_of_three_types_are_said():
    notes = assign_edge_types(fleet(*"aaa"), TYPES, 8, periods=2).notes
    assert any("no truck carries all of them" in note for note in notes)


def test_a_period_may_be_forced():
    rows = forced(("T-01", STEEL, "rig free only then", 2))
    found = assign_edge_types(fleet(*"aaaaaa"), TYPES, 8, periods=3, forced=rows)
    mine = found.table[found.table[c.TRUCK_ID] == "T-01"]
    assert mine[c.EDGE_TYPE].tolist()[1] == STEEL
    assert sorted(mine[c.EDGE_TYPE]) == sorted(TYPES)
    assert mine[c.HOW].tolist() == ["random", "forced", "random"]


def test_forced_periods_that_no_order_has():
    rows = forced(("T-01", STEEL, "a", 1), ("T-01", STEEL, "b", 2))
    found = assign_edge_types(fleet(*"aaaaaa"), TYPES, 8, periods=3, forced=rows)
    mine = found.table[found.table[c.TRUCK_ID] == "T-01"][c.EDGE_TYPE].tolist()
    assert mine[:2] == [STEEL, STEEL]
    assert mine[2] != STEEL


def test_forced_for_the_whole_season():
    rows = forced(("T-01", STEEL, "a", None))
    found = assign_edge_types(fleet(*"aaa"), TYPES, 8, periods=3, forced=rows)
    assert set(found.table[found.table[c.TRUCK_ID] == "T-01"][c.EDGE_TYPE]) == {STEEL}


# ---------------------------------------------------------------- balance
def test_balance_of_what_is_known_of_the_plows():
    trucks = fleet(*"abab").assign(
        **{c.PLOW_WIDTH_FT: [10.0, 12.0, 10.0, np.nan], c.PLOW_TYPE: ["trip", "trip", "fixed", "trip"]}
    )
    miles = trucks[[c.TRUCK_ID, c.PLOW_POSITION]].assign(**{c.MILES_MID_MI: [100.0, 200.0, 300.0, 400.0]})
    rows = forced(
        ("T-01", STEEL, "x", None),
        ("T-02", STEEL, "x", None),
        ("T-03", CARBIDE, "x", None),
        ("T-04", CARBIDE, "x", None),
    )
    table = assign_edge_types(trucks, TYPES[:2], 1, forced=rows, expected_miles=miles).balance
    found = table.set_index([c.COVARIATE, c.LEVEL, c.EDGE_TYPE])
    # by hand: means 150 and 350, standard deviation of 100, 200, 300, 400 about their mean sqrt(12500)
    assert found.loc[("expected miles", "", CARBIDE), c.ESTIMATE] == 350
    assert found.loc[("expected miles", "", CARBIDE), c.STD_DIFFERENCE] == pytest.approx(
        200 / math.sqrt(12500)
    )
    assert found.loc[("expected miles", "", STEEL), c.STD_DIFFERENCE] == 0
    # by hand: the width of T-04 is not known; 10 against 11, standard deviation of 10, 12, 10
    assert found.loc[("plow width", "", CARBIDE), [c.ESTIMATE, c.N_UNITS]].tolist() == [10.0, 1]
    assert found.loc[("plow width", "", CARBIDE), c.STD_DIFFERENCE] == pytest.approx(-1 / math.sqrt(8 / 9))
    # by hand: one of two fixed against none; share 0.25 over all
    assert found.loc[("plow type", "fixed", CARBIDE), c.STD_DIFFERENCE] == pytest.approx(
        0.5 / math.sqrt(3 / 16)
    )
    assert found.loc[("block", "a", CARBIDE), c.STD_DIFFERENCE] == 0


def test_balance_leaves_out_what_nobody_recorded():
    table = assign_edge_types(fleet(*"aabb"), TYPES[:2], 1).balance
    assert set(table[c.COVARIATE]) == {"block"}


# ---------------------------------------------------------------- wrong use
@pytest.mark.parametrize(
    ("trucks", "types", "options", "said"),
    [
        (fleet("a").drop(columns=c.TRUCK_ID), TYPES, {}, "lacks the columns truck_id"),
        (fleet(), TYPES, {}, "no trucks"),
        (pd.concat([fleet("a"), fleet("a")]), TYPES, {}, "more than once: T-01 front"),
        (fleet("a"), [STEEL, STEEL], {}, "named twice"),
        (fleet("a"), [STEEL], {}, "1 type is named"),
        (fleet("a"), TYPES, {"periods": 0}, "number of periods is 0"),
    ],
)
def test_wrong_use_is_said(trucks, types, options, said):
    with pytest.raises(UsageError, match=said):
        assign_edge_types(trucks, types, 1, **options)


def test_order_of_names_does_not_depend_on_their_order():
    assert drawn_order("abc", 1, "x") == drawn_order("cab", 1, "x")
    orders = {tuple(drawn_order("abc", seed, "x")) for seed in range(60)}
    assert len(orders) == 6
