"""Lives over several winters: the season as a block, the rule for pooling, and what is not compared."""

import math

import numpy as np
import pandas as pd
import pytest

from trialkit.edges import seasons
from trialkit.errors import UsageError

LABELS = {"plain_steel": "plain steel", "carbide_insert": "carbide insert"}


def frame(rows):
    columns = ["season", "truck_unit", "edge_type", "use_per_1000_mi"]
    return pd.DataFrame(rows, columns=columns).assign(plow_position="front")


def winter(season, steel, carbide, first=0):
    """Trucks of one winter with their use."""
    return [(season, f"T{first + i}", "plain_steel", use) for i, use in enumerate(steel)] + [
        (season, f"T{first + 50 + i}", "carbide_insert", use) for i, use in enumerate(carbide)
    ]


ALIKE = frame(
    winter("2029-30", [2.0, 2.2, 1.8], [1.0, 1.1, 0.9])
    + winter("2030-31", [3.0, 3.3, 2.7], [1.5, 1.7, 1.4], 10)
)
UNLIKE = frame(
    winter("2029-30", [2.0, 2.1, 1.9], [1.0, 1.05, 0.95])
    + winter("2030-31", [2.0, 2.1, 1.9], [2.0, 2.05, 1.95], 10)
)


def whole(found):
    return found.table[found.table["season"] == seasons.ALL_SEASONS].iloc[0]


def test_a_hard_winter_does_not_pass_for_a_worse_edge():
    # steel ran in both winters, carbide mostly in the hard one, in which everything wears twice as fast
    rows = winter("mild", [1.0, 1.1, 0.9], [0.5, 0.52]) + winter(
        "hard", [2.0, 2.1], [1.0, 1.05, 0.95, 1.0], 10
    )
    found = seasons.compare_over_seasons(frame(rows), "plain_steel", rule="always")
    assert whole(found)["estimate"] == pytest.approx(
        2.0, rel=0.03
    )  # known truth: twice as long in either winter
    pooled_without_seasons = np.mean([1.0, 1.1, 0.9, 2.0, 2.1]) / np.mean([0.5, 0.52, 1.0, 1.05, 0.95, 1.0])
    assert pooled_without_seasons < 1.8


def test_every_winter_has_its_row_and_the_ratio_is_that_of_geometric_means():
    found = seasons.compare_over_seasons(ALIKE, "plain_steel", rule="always", labels=LABELS)
    assert list(found.table["season"]) == ["2029-30", "2030-31", seasons.ALL_SEASONS]
    first = found.table.iloc[0]
    assert first["estimate"] == pytest.approx(((2.0 * 2.2 * 1.8) / (1.0 * 1.1 * 0.9)) ** (1 / 3))
    assert (first["n_trucks"], first["n_trucks_reference"]) == (3, 3)
    assert (whole(found)["n_trucks"], whole(found)["n_trucks_reference"]) == (6, 6)
    assert whole(found)["conf_low"] < whole(found)["estimate"] < whole(found)["conf_high"]


@pytest.mark.parametrize(
    ("data", "rule", "pooled"),
    [
        (ALIKE, "never", False),
        (ALIKE, "when_alike", True),
        (ALIKE, "always", True),
        (UNLIKE, "never", False),
        (UNLIKE, "when_alike", False),
        (UNLIKE, "always", True),
    ],
)
def test_winters_are_taken_together_only_as_agreed(data, rule, pooled):
    found = seasons.compare_over_seasons(data, "plain_steel", rule=rule, labels=LABELS)
    assert whole(found)["pooled"] == pooled
    assert ("over all seasons" in found.sentence()) == pooled


def test_what_is_said_when_they_are_not():
    never = seasons.compare_over_seasons(ALIKE, "plain_steel", labels=LABELS).sentence()
    assert (
        "lasted 2.0 times in 2029-30 and 1.9 times in 2030-31 as long as plain steel; as agreed" in never
        or ("lasted 2.0 times in 2029-30 and 2.0 times in 2030-31 as long as plain steel; as agreed" in never)
    )
    unlike = seasons.compare_over_seasons(UNLIKE, "plain_steel", rule="when_alike", labels=LABELS).sentence()
    assert "the seasons differ (P value " in unlike


def test_steel_of_one_winter_is_never_set_against_carbide_of_another():
    rows = winter("2029-30", [2.0, 2.2], []) + winter("2030-31", [], [1.0, 1.1])
    found = seasons.compare_over_seasons(frame(rows), "plain_steel", rule="always", labels=LABELS)
    assert found.table.empty
    assert found.notes == (
        "In 2029-30 and 2030-31 only one of carbide insert and plain steel was tried on the front plow, so nothing is "
        "compared there: winters differ, and edges of different winters are not set against each other.",
    )
    assert found.sentence() == "No edge type was tried beside the reference in more than one season."


def test_a_truck_without_measurable_wear_is_named_and_left_out():
    data = pd.concat([ALIKE, frame([("2030-31", "T99", "carbide_insert", 0.0)])])
    found = seasons.compare_over_seasons(data, "plain_steel", rule="always", labels=LABELS)
    assert found.notes == (
        "T99 in 2030-31 (carbide insert) shows no measurable wear, so it is not in the comparison over seasons.",
    )
    assert whole(found)["n_trucks"] == 6


def test_one_truck_of_each_type_gives_ratios_without_an_interval():
    rows = winter("2029-30", [2.0], [1.0]) + winter("2030-31", [3.0], [1.5], 10)
    found = seasons.compare_over_seasons(frame(rows), "plain_steel", rule="never")
    assert found.table["conf_low"].iloc[:2].isna().all()
    assert math.isnan(whole(found)["p_alike"])


def test_another_rule_is_refused():
    with pytest.raises(
        UsageError, match='"sometimes" is not a rule for pooling seasons; allowed: never, when_alike, always'
    ):
        seasons.compare_over_seasons(ALIKE, "plain_steel", rule="sometimes")


@pytest.mark.parametrize("shared", [False, True])
def test_the_interval_over_two_winters_holds_the_truth(shared):
    """Known truth: twice as long; winters differ by 1.6 times, trucks by 20 %, and a truck's winters by 8 %."""
    rng, held, trials = np.random.default_rng(20310114), 0, 300
    for _ in range(trials):
        rows = []
        trucks = {name: math.exp(rng.normal(0, 0.2)) for name in range(40)}
        for season, level, first in (("a", 2.0, 0), ("b", 3.2, 0 if shared else 20)):
            for i in range(4):
                for edge_type, life, place in (
                    ("plain_steel", 1.0, first),
                    ("carbide_insert", 2.0, first + 10),
                ):
                    use = level / life * trucks[place + i] * math.exp(rng.normal(0, 0.08))
                    rows.append((season, f"T{place + i}", edge_type, use))
        row = whole(seasons.compare_over_seasons(frame(rows), "plain_steel", rule="always"))
        held += row["conf_low"] < 2.0 < row["conf_high"]
    # 0.95 give or take three standard errors of 300 trials
    assert 0.912 <= held / trials <= 0.988
