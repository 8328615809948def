"""Comparison with the truck as the unit."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit import columns as c
from trialkit.cab import truck_comparison as tc
from trialkit.cab.samples import EdgeLabels
from trialkit.errors import UsageError
from trialkit.stats.inference import Interval

VALUE = c.LEVEL_DBA


def values(**by_type):
    rows = [
        {c.TRUCK_ID: truck, c.EDGE_TYPE: edge, VALUE: value}
        for edge, trucks in by_type.items()
        for truck, value in trucks.items()
    ]
    return pd.DataFrame(rows)


def compared(frame, reference="steel", **options):
    return tc.compare_by_truck(frame, VALUE, list(dict.fromkeys(frame[c.EDGE_TYPE])), reference, **options)


def test_different_trucks_are_welchs():
    steel, carbide = {"A": 86.1, "B": 85.2, "C": 87.0}, {"D": 83.9, "E": 84.4, "F": 82.7}
    row = compared(values(steel=steel, carbide=carbide)).iloc[0]
    # other software: scipy.stats.ttest_ind(equal_var=False) and its confidence interval
    other = stats.ttest_ind(list(carbide.values()), list(steel.values()), equal_var=False)
    low, high = other.confidence_interval()
    assert (row[c.CONF_LOW], row[c.CONF_HIGH], row[c.DF]) == pytest.approx((low, high, other.df))
    assert row[c.P_VALUE] == pytest.approx(other.pvalue)
    assert (row[c.N_TRUCKS], row[c.N_PAIRS], row[c.METHOD]) == (6, 0, tc.SEPARATE)


def test_same_trucks_are_paired():
    steel, carbide = {"A": 86.1, "B": 83.2, "C": 89.0}, {"A": 84.0, "B": 80.7, "C": 87.2}
    row = compared(values(steel=steel, carbide=carbide)).iloc[0]
    # other software: scipy.stats.ttest_rel and its confidence interval
    low, high = stats.ttest_rel(list(carbide.values()), list(steel.values())).confidence_interval()
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((low, high))
    assert (row[c.N_TRUCKS], row[c.N_PAIRS], row[c.METHOD]) == (3, 3, tc.PAIRED)


def test_partly_paired_is_said():
    frame = values(
        steel={"A": 86.0, "B": 83.0, "C": 89.0, "D": 85.0},
        carbide={"A": 84.0, "B": 81.0, "C": 87.5, "E": 82.0},
    )
    found = compared(frame)
    assert found[c.METHOD].iloc[0] == tc.PART_PAIRED
    assert found[c.N_PAIRS].iloc[0] == 3
    assert "carbide against steel: 3 trucks of 5 carried both edge types." in tc.truck_notes(
        found, frame, EdgeLabels({})
    )


def test_two_trucks_of_more_that_carried_both_count_as_different_ones():
    steel = {"A": 86.0, "B": 83.0, "C": 89.0}
    carbide = {"A": 84.0, "B": 81.0, "D": 87.5}
    row = compared(values(steel=steel, carbide=carbide)).iloc[0]
    assert (row[c.N_PAIRS], row[c.METHOD]) == (2, tc.PAIRS_IGNORED)
    # other software: scipy.stats.ttest_ind(equal_var=False)
    other = stats.ttest_ind(list(carbide.values()), list(steel.values()), equal_var=False)
    assert row[c.P_VALUE] == pytest.approx(other.pvalue)


def test_one_truck_in_an_arm_has_no_interval():
    frame = values(steel={"A": 86.0, "B": 85.0}, carbide={"D": 83.0})
    found = compared(frame)
    assert found[c.ESTIMATE].iloc[0] == pytest.approx(-2.5)
    assert np.isnan(found[c.CONF_LOW].iloc[0])
    assert found[c.REASON].iloc[0]
    assert tc.truck_notes(found, frame, EdgeLabels({})) == [
        "carbide was measured on one truck only, so no interval is given for it."
    ]


def test_everything_on_one_truck():
    frame = values(steel={"A": 86.0}, carbide={"A": 83.0})
    found = compared(frame)
    assert found[c.ESTIMATE].iloc[0] == pytest.approx(-3)
    assert np.isnan(found[c.CONF_HIGH].iloc[0])
    assert any("come from one truck" in note for note in tc.truck_notes(found, frame, EdgeLabels({})))


def test_trucks_without_any_spread_give_no_interval():
    frame = values(steel={"A": 86.0, "B": 86.0}, carbide={"C": 83.0, "D": 83.0})
    found = compared(frame)
    assert np.isnan(found[c.CONF_LOW].iloc[0])
    assert any("the same value to the digit" in note for note in tc.truck_notes(found, frame, EdgeLabels({})))


def test_trucks_that_all_differ_alike_give_no_interval():
    frame = values(steel={"A": 78.0, "B": 80.0}, carbide={"A": 80.0, "B": 82.0})
    found = compared(frame)
    assert np.isnan(found[c.P_VALUE].iloc[0])
    assert tc.truck_notes(found, frame, EdgeLabels({"steel": "steel", "carbide": "carbide"})) == [
        "All trucks gave the same difference between carbide and steel to the digit, so no error can be stated for it."
    ]


def test_several_types_are_adjusted_for_their_number():
    steel = {"A": 86.0, "B": 85.0, "C": 87.0, "D": 86.4}
    insert = {"E": 84.0, "F": 83.6, "G": 84.9, "H": 84.4}
    rubber = {"I": 85.6, "J": 86.2, "K": 84.9, "L": 85.8}
    found = compared(values(steel=steel, insert=insert, rubber=rubber))
    # other software: scipy.stats.ttest_ind(equal_var=False)
    alone = [
        stats.ttest_ind(list(own.values()), list(steel.values()), equal_var=False).pvalue
        for own in (insert, rubber)
    ]
    assert found[c.P_VALUE].tolist() == pytest.approx(alone)
    # by hand: Holm doubles the smaller of two and leaves the larger
    assert found[c.P_HOLM].tolist() == pytest.approx([2 * alone[0], alone[1]])


def test_a_difference_that_only_stands_out_among_several_is_not_shown():
    steel = {"A": 86.0, "B": 85.0, "C": 87.0, "D": 86.4}
    insert = {"E": 84.5, "F": 83.6, "G": 85.6, "H": 84.4}
    rubber = {"I": 85.6, "J": 86.2, "K": 84.9, "L": 85.8}
    one = compared(values(steel=steel, insert=insert)).iloc[0]
    two = compared(values(steel=steel, insert=insert, rubber=rubber)).iloc[0]
    assert one[c.P_VALUE] == two[c.P_VALUE] == pytest.approx(0.034, abs=0.012)
    assert one[c.CONF_HIGH] == two[c.CONF_HIGH] < 0
    assert (tc.is_shown(one, 0.95), tc.is_shown(two, 0.95)) == (True, False)


def test_no_interval_is_not_counted_among_the_types():
    frame = values(
        steel={"A": 86.0, "B": 85.0, "C": 87.0}, insert={"E": 84.0, "F": 83.6, "G": 84.9}, rubber={"I": 85.6}
    )
    found = compared(frame)
    assert found[c.P_HOLM].iloc[0] == found[c.P_VALUE].iloc[0]
    assert np.isnan(found[c.P_HOLM].iloc[1]) and not tc.is_shown(found.iloc[1], 0.95)


def test_order_and_missing_reference():
    frame = values(carbide={"A": 84.0}, steel={"B": 86.0}, rubber={"C": 81.0})
    assert tc.compare_by_truck(frame, VALUE, ["steel", "rubber", "carbide"], "steel")[
        c.EDGE_TYPE
    ].tolist() == ["rubber", "carbide"]
    assert compared(frame, reference="brass").empty


def test_adjustment_widens_the_interval():
    frame = values(steel={"A": 86.1, "B": 85.2, "C": 87.0}, carbide={"D": 83.9, "E": 84.4, "F": 82.7})
    plain = compared(frame).iloc[0]
    wide = compared(frame, extra_variance={"carbide": (plain[c.STD_ERROR] ** 2, 1e9)}).iloc[0]
    # by hand: twice the variance; df = (2v)^2 / (v^2 / df + 0)
    assert wide[c.STD_ERROR] == pytest.approx(plain[c.STD_ERROR] * 2**0.5)
    assert wide[c.DF] == pytest.approx(4 * plain[c.DF])
    assert wide[c.ESTIMATE] == plain[c.ESTIMATE]
    assert wide[c.CONF_HIGH] - wide[c.CONF_LOW] > plain[c.CONF_HIGH] - plain[c.CONF_LOW] - 1.5


def test_nothing_is_widened_without_an_error():
    bare = Interval(-2.0, float("nan"), float("nan"), float("nan"), float("nan"), float("nan"), "one unit")
    assert tc.widened(bare, 1.0, 5.0, 0.025) is bare


def test_reference_is_found_or_refused():
    assert tc.require_reference(None, ["steel", "carbide"]) == "steel"
    assert tc.require_reference("carbide", ["steel", "carbide"]) == "carbide"
    with pytest.raises(UsageError, match=r'"steal".*Did you mean "steel"'):
        tc.require_reference("steal", ["steel", "carbide"])
    with pytest.raises(UsageError, match=r'"zzz".*steel, carbide'):
        tc.require_reference("zzz", ["steel", "carbide"])
    with pytest.raises(UsageError, match="nothing to compare"):
        tc.require_reference(None, [])


def test_weights_and_their_spread():
    weights = tc.truck_weights(pd.Series([30.0, 10.0]))
    assert weights.tolist() == [0.75, 0.25]
    # by hand: sqrt(2 (0.5625 + 0.0625)) = 1.118
    assert tc.spread_factor(weights) == pytest.approx(1.118, abs=5e-4)
    assert tc.spread_factor(np.array([0.5, 0.5])) == pytest.approx(1)
