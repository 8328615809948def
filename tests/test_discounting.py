"""Factors, payback and ratios at their edges; published values are in tests/published."""

import math

import numpy as np
import pytest

from trialkit.errors import UsageError
from trialkit.money import discounting as ds


def test_a_rate_of_zero_adds_up():
    assert ds.uniform_present_value(0.0, 10) == 10
    assert ds.uniform_sinking_fund(0.0, 10) == pytest.approx(0.1)
    assert ds.present_value([-100, 30, 30, 30], 0.0) == -10


def test_a_tiny_rate_is_close_to_zero():
    assert ds.uniform_present_value(1e-12, 10) == pytest.approx(10, abs=1e-9)


def test_an_escalating_amount_at_the_discount_rate_counts_fully():
    assert ds.escalating_present_value(0.03, 20, 0.03) == pytest.approx(20)
    assert ds.escalating_present_value(0.03, 20, 0.0) == pytest.approx(ds.uniform_present_value(0.03, 20))


def test_present_values_of_several_rows_at_once():
    flows = np.array([[0, 100], [0, 206]])
    assert ds.present_value(flows, 0.03) == pytest.approx([100 / 1.03, 200])


@pytest.mark.parametrize("flows", [[100, 200], [-100, -5], [0, 0]])
def test_flows_of_one_sign_have_no_internal_rate(flows):
    assert math.isnan(ds.internal_rate(flows))


def test_no_extra_investment_has_no_ratio():
    assert np.isnan(ds.savings_to_investment([100.0, 100.0], [0.0, -50.0])).all()
    assert math.isnan(ds.adjusted_internal_rate(math.nan, 0.03, 10))
    assert math.isnan(ds.adjusted_internal_rate(-0.5, 0.03, 10))
    assert ds.adjusted_internal_rate(0.0, 0.03, 10) == -1


def test_payback_without_an_outlay_within_a_year_and_never():
    assert ds.payback_years(0.0, [-5, -5]) == 0
    assert ds.payback_years(-10.0, [-5, -5]) == 0
    assert ds.payback_years(100, [400, 400]) == 0.25
    assert math.isnan(ds.payback_years(100, [-10, 20, 30]))
    assert ds.payback_years(
        np.array([100.0, 300.0]), np.array([[100.0, 0.0], [200.0, 200.0]])
    ) == pytest.approx([1.0, 1.5])


def test_payback_after_a_year_that_costs_more():
    assert ds.payback_years(100, [-50, 100, 100]) == pytest.approx(2.5)


def test_a_part_worn_piece_is_worth_no_more_than_a_new_one():
    assert ds.remaining_life_value(400.0, [1.2, 0.25, -0.1]) == pytest.approx([400, 100, 0])


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: ds.single_present_value(-1.0, 3), "-1 per year"),
        (lambda: ds.uniform_present_value(0.03, 0), "years is 0"),
        (lambda: ds.uniform_present_value(0.03, 2.5), "years is 2.5"),
        (lambda: ds.payback_years(1, [1], math.nan), "rate is nan"),
    ],
)
def test_what_is_not_a_rate_or_a_number_of_years(call, said):
    with pytest.raises(UsageError, match=said):
        call()
