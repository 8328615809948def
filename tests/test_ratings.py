"""What the operators thought."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.clearing import ratings
from trialkit.errors import NotEnoughDataError, UsageError

STEEL, RUBBER, CARBIDE = "plain_steel", "rubber_carbide", "carbide_insert"
LABELS = {STEEL: "plain steel", RUBBER: "rubber-mounted carbide", CARBIDE: "carbide insert"}


def rated(scores: dict[tuple[str, str], list[int]], item: str = "noise") -> pd.DataFrame:
    """(truck, edge type) -> scores."""
    return pd.DataFrame(
        [
            {c.ITEM: item, c.TRUCK_ID: truck, c.EDGE_TYPE: kind, c.SCORE: score, c.OPERATOR: f"OP-{truck}"}
            for (truck, kind), given in scores.items()
            for score in given
        ]
    )


CLEAR = {(f"S{k}", STEEL): [2, 1, 2, 3] for k in range(4)} | {
    (f"R{k}", RUBBER): [4, 5, 4, 3 + k % 2] for k in range(4)
}


def compare(frame: pd.DataFrame, **options) -> ratings.RatingComparison:
    return ratings.compare_ratings(frame, reference=STEEL, labels=LABELS, **options)


def test_every_truck_counts_once():
    # truck R0 gives a hundred fives, R1 one two; against one truck of steel with a three the two count the same
    frame = rated({("R0", RUBBER): [5] * 100, ("R1", RUBBER): [2], ("S0", STEEL): [3], ("S1", STEEL): [3]})
    row = compare(frame).table.loc[0]
    assert row[c.ESTIMATE_PCT] == pytest.approx(50.0)
    assert (row[c.MEAN_SCORE], row[c.MEAN_SCORE_REFERENCE]) == (pytest.approx(3.5), pytest.approx(3.0))
    assert (row[c.N_RATINGS], row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]) == (103, 2, 2)


def test_a_clear_difference_is_said():
    found = compare(rated(CLEAR))
    row = found.table.loc[0]
    # by hand: all 4 trucks of rubber lie above all of steel: 2 of the 70 ways to choose 4 of 8
    assert row[c.P_VALUE] == pytest.approx(2 / 70)
    assert row[c.CONF_LOW] > 50
    said = found.sentence()
    assert said.startswith("On noise, operators rated rubber-mounted carbide higher than plain steel: ")
    assert f"{row[c.ESTIMATE_PCT]:.0f} times in 100, ties counting half (95% interval " in said


def test_lower_ratings_are_called_lower():
    worse = rated(
        {(truck, RUBBER if kind == STEEL else STEEL): given for (truck, kind), given in CLEAR.items()}
    )
    found = compare(worse)
    assert "operators rated rubber-mounted carbide lower than plain steel" in found.sentence()
    assert found.table[c.ESTIMATE_PCT][0] == pytest.approx(
        100 - compare(rated(CLEAR)).table[c.ESTIMATE_PCT][0]
    )


def test_three_trucks_each_cannot_show_anything_and_the_sentence_says_so():
    few = rated({key: given for key, given in CLEAR.items() if not key[0].endswith("3")})
    found = compare(few)
    assert found.table[c.P_SMALLEST][0] == pytest.approx(0.10)
    assert (
        "cannot be told apart: with 3 trucks against 3 no scores at all could have shown a difference"
        in found.sentence()
    )


def test_no_difference_is_not_claimed():
    rng = np.random.default_rng(2)
    same = rated({(f"T{k}", STEEL if k < 5 else RUBBER): list(rng.integers(2, 5, 12)) for k in range(10)})
    assert (
        "no difference between the ratings of rubber-mounted carbide and plain steel is shown"
        in compare(same).sentence()
    )


def test_an_interval_clear_of_even_does_not_overrule_the_exact_p():
    # three types: Holm doubles the smaller p of 2/70 to 0.057, though the interval excludes 50
    frame = pd.concat(
        [rated(CLEAR), rated({(f"C{k}", CARBIDE): [2, 3, 2, 1 + k] for k in range(4)})], ignore_index=True
    )
    found = compare(frame)
    row = found.table.set_index(c.EDGE_TYPE).loc[RUBBER]
    assert row[c.P_HOLM] == pytest.approx(4 / 70)
    assert row[c.CONF_LOW] > 50
    assert "Dealing the edge types to 4 trucks against 4 in other ways" in found.sentences()[0]


def test_trucks_with_both_are_compared_with_themselves():
    # six trucks of very different drivers, each one point higher with rubber: 2 of 2^6 exchanges are as far out
    both = {
        (f"T{k}", kind): [base + up] * 3
        for k, base in enumerate([1, 1, 2, 3, 4, 4])
        for kind, up in ((STEEL, 0), (RUBBER, 1))
    }
    row = compare(rated(both)).table.loc[0]
    assert row[c.P_VALUE] == pytest.approx(2 / 64)
    assert row[c.P_SMALLEST] == pytest.approx(2 / 64)
    assert (row[c.N_PAIRS], row[c.METHOD]) == (6, ratings.PAIRED)


def test_some_trucks_with_both():
    mixed = CLEAR | {("R0", STEEL): [2, 2], ("R1", STEEL): [1, 3]}
    row = compare(rated(mixed)).table.loc[0]
    assert (row[c.N_PAIRS], row[c.METHOD]) == (2, ratings.PARTLY)
    # two exchanges and 2 of the 6 others: 4 * C(6, 2) = 60 ways
    assert row[c.P_SMALLEST] == pytest.approx(2 / 60)


def test_many_trucks_are_drawn_at_random_with_a_seed():
    rng = np.random.default_rng(4)
    many = rated({(f"T{k}", STEEL if k % 2 else RUBBER): list(rng.integers(1, 6, 4)) for k in range(40)})
    one, other = (compare(many, seed=7).table[c.P_VALUE][0] for _ in range(2))
    assert one == other
    assert 0 < one <= 1


def test_separated_trucks_have_no_interval_and_a_note():
    apart = rated(
        {(f"S{k}", STEEL): [1, 2] for k in range(4)} | {(f"R{k}", RUBBER): [4, 5] for k in range(4)}
    )
    found = compare(apart)
    assert found.table[c.ESTIMATE_PCT][0] == 100
    assert "(no interval)" in found.sentence()
    assert any(
        "no interval, every unit of one is above every unit of the other" in note for note in found.notes
    )


def test_one_truck_of_a_type():
    found = compare(rated({("S0", STEEL): [3, 4], ("R0", RUBBER): [4, 4], ("R1", RUBBER): [2, 5]}))
    assert np.isnan(found.table[c.CONF_LOW][0])
    assert "fewer than two units" in found.table[c.REASON][0]


def test_the_distribution_counts_every_score():
    shown = compare(rated(CLEAR)).distribution
    steel = shown[shown[c.EDGE_TYPE] == STEEL].set_index(c.SCORE)
    assert steel[c.N_RATINGS].to_dict() == {1: 4, 2: 8, 3: 4, 4: 0, 5: 0}
    assert steel[c.SHARE_FRAC].sum() == pytest.approx(1.0)
    assert (steel[c.N_TRUCKS].iloc[0], steel[c.N_OPERATORS].iloc[0]) == (4, 4)


def test_what_is_left_out_and_who_rated_is_told():
    frame = rated(CLEAR)
    frame.loc[0, c.EDGE_TYPE] = None
    frame.loc[frame[c.EDGE_TYPE] == RUBBER, c.OPERATOR] = "OP-1"
    found = compare(pd.concat([frame, rated({("C0", CARBIDE): [3]}, item="control")], ignore_index=True))
    said = " ".join(found.notes)
    assert ratings.UNBLINDED in found.notes
    assert "1 rating was left out because score, truck or edge type is not known." in said
    assert "All ratings of rubber-mounted carbide come from one operator." in said
    assert "On control, carbide insert cannot be compared" in said
    assert "No operator rated more than one edge type" in said
    unnamed = compare(rated(CLEAR).drop(columns=c.OPERATOR))
    assert any("Operators are not recorded" in note for note in unnamed.notes)
    assert unnamed.table[c.N_OPERATORS][0] == 0


def test_the_order_of_the_rows_is_that_of_the_categories():
    frame = pd.concat([rated({("C0", CARBIDE): [3], ("C1", CARBIDE): [4]}), rated(CLEAR)], ignore_index=True)
    ordered = frame.assign(**{c.EDGE_TYPE: pd.Categorical(frame[c.EDGE_TYPE], [STEEL, RUBBER, CARBIDE])})
    assert list(compare(ordered).table[c.EDGE_TYPE]) == [RUBBER, CARBIDE]
    assert list(compare(frame).table[c.EDGE_TYPE]) == [CARBIDE, RUBBER]


def test_wrong_use_is_named():
    with pytest.raises(UsageError, match="no column truck_id, edge_type"):
        ratings.compare_ratings(pd.DataFrame({c.ITEM: [], c.SCORE: []}), reference=STEEL)
    with pytest.raises(UsageError, match=r"A score is 0 and 7; allowed"):
        compare(rated({("S0", STEEL): [0, 3], ("R0", RUBBER): [7]}))
    with pytest.raises(UsageError, match=r'"asphalt".*Edge types with ratings: plain_steel, rubber_carbide'):
        ratings.compare_ratings(rated(CLEAR), reference="asphalt")
    with pytest.raises(NotEnoughDataError, match=r"plain_steel and with another edge type \(2 ratings\)"):
        compare(rated({("S0", STEEL): [3, 4]}))


def test_names_may_be_categories():
    frame = pd.concat([rated(CLEAR), rated({("C0", CARBIDE): [3]}, item="control")], ignore_index=True)
    narrow = frame.astype(dict.fromkeys((c.EDGE_TYPE, c.TRUCK_ID, c.ITEM, c.OPERATOR), "category"))
    pd.testing.assert_frame_equal(compare(narrow).table, compare(frame).table)
