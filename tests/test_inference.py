"""Intervals for a few units: edges, missing values, reasons."""

import numpy as np
import pytest
from scipy.special import stdtrit

from trialkit.stats.inference import (
    ALL_PAIRED,
    NO_SPREAD,
    ONE_UNIT,
    PAIRS_ALIKE,
    PAIRS_UNUSED,
    PARTLY_PAIRED,
    UNPAIRED,
    Pairing,
    Sample,
    difference_interval,
    holm_adjusted,
    mean_interval,
    pairing_used,
    prediction_limits,
    two_sided_tail,
)


@pytest.mark.parametrize("level", [0, 1, 95, -0.1])
def test_confidence_level_is_a_fraction(level):
    with pytest.raises(ValueError, match=f"confidence_level is {level}; allowed: above 0 and below 1"):
        two_sided_tail(level)


def test_sample_of_values():
    sample = Sample.of([1.0, 2.0, 6.0])
    assert (sample.mean, sample.n, sample.df) == (3.0, 3, 2)
    # by hand: (4 + 1 + 9) / 2
    assert sample.variance == pytest.approx(7.0)


@pytest.mark.parametrize("values", [[1.0, np.nan], [[1.0, 2.0]], [np.inf, 1.0]])
def test_sample_refuses_gaps_and_tables(values):
    with pytest.raises(ValueError, match="plain list of numbers without gaps"):
        Sample.of(values)


def test_one_unit_gives_the_estimate_and_a_reason():
    found = mean_interval(Sample.of([2.5]))
    assert found.estimate == 2.5
    assert found.reason == ONE_UNIT
    assert np.isnan([found.std_error, found.df, found.conf_low, found.conf_high, found.p_value]).all()
    assert np.isnan(prediction_limits(Sample.of([2.5]))).all()


def test_no_unit_gives_a_reason():
    assert mean_interval(Sample.of([])).reason == ONE_UNIT


def test_equal_units_without_floor_give_a_reason_and_not_a_zero_width():
    # the mean of three times 80.1 is not 80.1 to the last bit
    for values in ([2.0, 2.0, 2.0], [80.1, 80.1, 80.1]):
        found = mean_interval(Sample.of(values))
        assert found.reason == NO_SPREAD
        assert np.isnan([found.conf_low, found.p_value]).all()


def test_floor_and_bound_widen():
    found = mean_interval(Sample.of([2.0, 2.0, 2.0, 2.0], variance_floor=0.04, bound=0.3))
    # by hand: standard error sqrt(0.04 / 4) = 0.1, t of 3 df 3.182446, plus the bound
    assert found.std_error == pytest.approx(0.1)
    assert found.conf_high == pytest.approx(2.0 + 0.3182446 + 0.3, abs=1e-6)
    assert found.conf_low == pytest.approx(2.0 - 0.3182446 - 0.3, abs=1e-6)


def test_p_value_agrees_with_the_interval():
    for bound in (0.0, 0.2):
        sample = Sample.of([0.3, 0.9, 1.1, 1.4], bound=bound)
        p_value = mean_interval(sample).p_value
        edge = mean_interval(sample, confidence_level=1 - p_value)
        assert edge.conf_low == pytest.approx(0.0, abs=1e-9)


def test_bound_larger_than_the_estimate_leaves_no_evidence():
    assert mean_interval(Sample.of([0.1, 0.2, 0.3], bound=1.0)).p_value == 1.0


def test_arrays_give_one_entry_per_comparison():
    found = mean_interval(Sample(np.array([1.0, 2.0]), np.array([0.5, np.nan]), np.array([4, 1])))
    assert found.reason.tolist() == ["", ONE_UNIT]
    assert found.conf_low[0] == pytest.approx(1.0 - stdtrit(3, 0.975) * np.sqrt(0.5 / 4))
    assert np.isnan(found.conf_low[1])


def test_higher_level_is_wider():
    sample = Sample.of([1.0, 1.5, 2.5])
    assert mean_interval(sample, 0.99).conf_high > mean_interval(sample, 0.9).conf_high


# ---------------------------------------------------------------- differences
A, B = [1.4, 1.9, 1.6, 1.2], [0.1, 0.2, 0.15]


def test_difference_turns_its_sign_with_the_order():
    one, other = (difference_interval(Sample.of(x), Sample.of(y)) for x, y in ((A, B), (B, A)))
    assert one.conf_low == pytest.approx(-other.conf_high)
    assert one.p_value == pytest.approx(other.p_value)


@pytest.mark.parametrize(("a", "b"), [([1.0], B), (A, [1.0]), ([1.0], [2.0])])
def test_difference_with_one_unit_has_no_interval(a, b):
    found = difference_interval(Sample.of(a), Sample.of(b))
    assert found.estimate == pytest.approx(np.mean(a) - np.mean(b))
    assert found.reason == ONE_UNIT
    assert np.isnan(found.conf_low)


def test_difference_adds_both_bounds():
    plain = difference_interval(Sample.of(A), Sample.of(B))
    wider = difference_interval(Sample.of(A, bound=0.1), Sample.of(B, bound=0.05))
    assert wider.conf_high - plain.conf_high == pytest.approx(0.15)


def test_pairs_are_the_one_sample_t_of_their_differences():
    a, b = np.array([1.4, 1.9, 1.6, 1.2]), np.array([1.1, 1.7, 1.2, 1.0])
    paired = difference_interval(Sample.of(a), Sample.of(b), Pairing.of(a, b))
    alone = mean_interval(Sample.of(a - b))
    assert (paired.conf_low, paired.conf_high, paired.df) == pytest.approx(
        (alone.conf_low, alone.conf_high, alone.df)
    )


def test_two_pairs_are_used_when_they_are_all_there_is():
    a, b = [1.4, 1.9], [1.1, 1.5]
    paired = difference_interval(Sample.of(a), Sample.of(b), Pairing.of(a, b))
    assert paired.df == 1
    # by hand: differences 0.3 and 0.4, standard deviation 0.0707107, standard error 0.05
    assert paired.std_error == pytest.approx(0.05)


def test_two_pairs_among_more_are_not_used():
    a, b = [1.4, 1.9, 1.6, 1.2], [1.1, 1.7, 0.9, 1.3]
    partly = difference_interval(Sample.of(a), Sample.of(b), Pairing.of(a[:2], b[:2]))
    separate = difference_interval(Sample.of(a), Sample.of(b))
    assert (partly.conf_low, partly.df) == pytest.approx((separate.conf_low, separate.df))


def test_pairing_without_spread_or_with_one_unit_has_no_correlation():
    assert Pairing.of([1.0], [2.0]).correlation == 0.0
    assert Pairing.of([1.0, 1.0], [2.0, 3.0]).correlation == 0.0


@pytest.mark.parametrize(
    ("n_a", "n_b", "n_pairs", "used"),
    [
        (4, 4, 4, ALL_PAIRED),
        (2, 2, 2, ALL_PAIRED),
        (5, 4, 3, PARTLY_PAIRED),
        (5, 4, 2, PAIRS_UNUSED),
        (4, 4, 0, UNPAIRED),
        (0, 0, 0, UNPAIRED),
    ],
)
def test_how_shared_units_are_used(n_a, n_b, n_pairs, used):
    assert str(pairing_used(n_a, n_b, n_pairs)) == used


def test_pairing_needs_lists_of_one_length():
    with pytest.raises(ValueError, match="two lists of the same length"):
        Pairing.of([1.0, 2.0], [1.0])


@pytest.mark.parametrize(
    ("a", "b"),
    # by hand: every difference is 2, so the spread of the differences is zero; scipy.stats.ttest_rel gives p = 0 or NaN
    [([80.0, 82.0], [78.0, 80.0]), ([80.0, 83.0, 81.0], [78.0, 81.0, 79.0]), ([80.1, 82.3], [78.1, 80.3])],
)
def test_pairs_that_all_differ_alike_give_neither_certainty_nor_silence(a, b):
    found = difference_interval(Sample.of(a), Sample.of(b), Pairing.of(a, b))
    assert found.estimate == pytest.approx(2.0)
    assert found.reason == PAIRS_ALIKE
    assert np.isnan([found.std_error, found.df, found.conf_low, found.conf_high, found.p_value]).all()


@pytest.mark.parametrize("paired", [True, False])
@pytest.mark.parametrize("level", [80.0, 80.1])
def test_one_sample_of_equal_units_leaves_the_spread_of_the_other(paired, level):
    a, b = [level] * 3, [level + 2, level + 2.5, level + 3]
    found = difference_interval(Sample.of(a), Sample.of(b), Pairing.of(a, b) if paired else None)
    # R 4.2.2, t.test(c(80, 80, 80), c(82, 82.5, 83)), the same with paired = TRUE: t = -8.6603, df = 2, p = 0.01307,
    # interval -3.742069 to -1.257931
    assert (found.conf_low, found.conf_high) == pytest.approx((-3.742069, -1.257931), abs=1e-6)
    assert found.df == pytest.approx(2)
    assert found.p_value == pytest.approx(0.01307, abs=5e-6)
    assert found.reason == ""


def test_equal_units_of_both_samples_give_a_reason():
    found = difference_interval(Sample.of([80.1] * 3), Sample.of([82.3] * 4))
    assert (found.reason, found.estimate) == (NO_SPREAD, pytest.approx(-2.2))
    assert np.isnan(found.p_value)


def test_floor_holds_for_pairs_that_move_together():
    a = [1.0, 1.2, 1.4]
    pair = Sample.of(a, variance_floor=0.03), Sample.of(a, variance_floor=0.03)
    found = difference_interval(*pair, Pairing.of(a, a))
    # by hand: the difference is 0 for each pair; two floors of 0.03 / 3
    assert found.std_error == pytest.approx(np.sqrt(0.02))


def test_three_units_never_count_for_more_than_four_degrees_of_freedom():
    quiet, noisy = [1.0, 1.01, 0.99], list(np.linspace(0, 3, 12))
    assert difference_interval(Sample.of(quiet), Sample.of(noisy)).df == 4


def test_two_units_against_more_lie_between_the_two_t_quantiles():
    found = difference_interval(Sample.of([1.0, 1.3]), Sample.of([2.0, 2.1, 2.2, 1.9]))
    assert 1 < found.df < 4


# ---------------------------------------------------------------- Holm
def test_holm_of_none_and_one():
    assert np.isnan(holm_adjusted([np.nan])).all()
    assert holm_adjusted([0.02]).tolist() == [0.02]


def test_holm_never_exceeds_one_and_keeps_the_order():
    adjusted = holm_adjusted([0.9, 0.5, 0.04])
    # by hand: 0.04 x 3, then 0.5 x 2, then at least that and at most 1
    assert adjusted.tolist() == pytest.approx([1.0, 1.0, 0.12])
