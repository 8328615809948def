from __future__ import annotations

import math

import pandas as pd
import pytest
from scipy.stats import t as student
from test_life import project, straight
from test_observed import stays_of

from trialkit import columns as c
from trialkit.edges.life_check import AS_PROJECTED, LONGER, NOT_YET, SHORTER, check_projection
from trialkit.edges.observed import observe_lives

RATES = [[[1.4]], [[1.5]], [[1.6]], [[1.5]], [[1.5]]]
FRAME = straight(RATES, miles=(0, 900, 1800))
EDGE_SETS = pd.DataFrame({c.SET_ID: FRAME[c.SET_ID].unique(), c.EDGE_TYPE: "plain_steel"})
SETS = list(EDGE_SETS[c.SET_ID])


def checked(ends):
    rows = [(SETS[i], f"T{i + 1}", "front", "2030-11-20", *end) for i, end in enumerate(ends)]
    return check_projection(project(FRAME), observe_lives(stays_of(rows), EDGE_SETS))


WORN = ("remove", "worn_to_limit")
RESULT = checked(
    [(2050.0, *WORN), (900.0, *WORN), (2900.0, None, None), (1000.0, None, None), (1000.0, "break", None)]
)


def test_each_set_is_judged_by_the_other_trucks():
    row = RESULT.table.iloc[0]
    # by hand: shares 0.5, 1.6/3, 0.5, 0.5 of the other four trucks; t with 3 df
    others = pd.Series([0.5, 1.6 / 3, 0.5, 0.5])
    half = student.ppf(0.975, 3) * others.std() * math.sqrt(5 / 4)
    assert row[c.PRED_LOW] == pytest.approx(1000 / (others.mean() + half))
    assert row[c.PRED_HIGH] == pytest.approx(1000 / (others.mean() - half))


def test_verdicts():
    assert RESULT.table[c.VERDICT].tolist() == [AS_PROJECTED, SHORTER, LONGER, NOT_YET, NOT_YET]
    assert RESULT.sentence() == (
        "Of 3 sets that can be judged, 1 lasted as long as projected from the other trucks, 1 less and 1 more."
    )


def test_one_truck_behind_all_misses_is_said():
    sets = pd.DataFrame({c.SET_ID: ["A", "B"], c.EDGE_TYPE: "plain_steel"})
    stays = stays_of([(name, "T2", "front", "2030-11-20", 500.0, *WORN) for name in ("A", "B")])
    result = check_projection(project(FRAME), observe_lives(stays, sets))
    assert "All 2 sets that lasted less than projected were on truck T2." in result.notes


def test_nothing_can_be_told_yet():
    result = checked([(100.0, None, None)])
    assert result.sentence() == "No set has run long enough to tell whether the projected lives hold."


def test_too_few_other_trucks():
    frame = straight(RATES[:2])
    stays = stays_of([(SETS[0], "T1", "front", "2030-11-20", 900.0, *WORN)])
    assert check_projection(project(frame), observe_lives(stays, EDGE_SETS)).table.empty


def test_other_trucks_without_any_error_or_wear():
    stays = stays_of([(SETS[0], "T1", "front", "2030-11-20", 900.0, *WORN)])
    for rates in ([[[1.5]], [[1.4123456789]], [[1.4123456789]]], [[[1.5]], [[-2.0]], [[-2.1]]]):
        projection = project(straight(rates, step=None))
        assert check_projection(projection, observe_lives(stays, EDGE_SETS)).table.empty


def test_a_set_of_a_type_without_projection_is_left_out():
    stays = stays_of([("X1", "T9", "front", "2030-11-20", 900.0, *WORN)])
    sets = pd.DataFrame({c.SET_ID: ["X1"], c.EDGE_TYPE: ["plow_rubber"]})
    assert check_projection(project(FRAME), observe_lives(stays, sets)).table.empty
