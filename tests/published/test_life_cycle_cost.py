"""Discounting, net savings, payback and order quantities against published examples.

Status of every source is in the README beside this file. Tolerances follow the printed digits.
"""

import itertools
import math

import numpy as np
import pytest
from scipy import optimize, stats

from trialkit.money import discounting as ds
from trialkit.money.sets_needed import critical_ratio, order_quantity

# ---------------------------------------------------------------- factors


@pytest.mark.parametrize(
    ("rate", "years", "printed"),
    [
        # Posted ordinary-annuity factor table (pastebin.com/WvpADPLQ), rows 1, 5 and 9
        (0.02, 1, 0.980), (0.03, 1, 0.971), (0.04, 1, 0.962), (0.05, 1, 0.952), (0.07, 1, 0.935), (0.10, 1, 0.909),
        (0.02, 5, 4.713), (0.03, 5, 4.580), (0.04, 5, 4.452), (0.05, 5, 4.329), (0.07, 5, 4.100), (0.10, 5, 3.791),
        (0.02, 9, 8.162), (0.03, 9, 7.786), (0.04, 9, 7.435), (0.05, 9, 7.108), (0.07, 9, 6.515), (0.10, 9, 5.759),
        # NISTIR 85-3273-24 (2009), Table A-2, UPV at 3 % (from memory)
        (0.03, 10, 8.530), (0.03, 20, 14.877), (0.03, 25, 17.413),
    ],
)  # fmt: skip
def test_uniform_present_value(rate, years, printed):
    assert ds.uniform_present_value(rate, years) == pytest.approx(printed, abs=5.01e-4)
    assert ds.uniform_capital_recovery(rate, years) == pytest.approx(1 / printed, rel=6e-4)


def test_factors_quoted_from_nistir_85_3273():
    # NISTIR 85-3273-24 (2009), Table A-1, 3 %, 7 years, as quoted in the OpenStudio Economics unit test (truncated to 6 figures)
    assert ds.single_present_value(0.03, 7) == pytest.approx(0.813091, abs=1e-6)
    assert ds.uniform_present_value(0.03, 7) == pytest.approx(6.23028, abs=1e-5)


@pytest.mark.parametrize(
    ("years", "printed"),
    # FHWA-SA-98-079 (1998), discount factors at 4 % (from memory)
    [(10, 0.6756), (15, 0.5553), (20, 0.4564), (30, 0.3083)],
)
def test_single_present_value_at_four_percent(years, printed):
    assert ds.single_present_value(0.04, years) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(
    ("years", "printed"),
    # R package financial, manual page sppv, SPFV at 10 %
    [(5, 1.610510), (10, 2.593742), (20, 6.727500), (30, 17.449402)],
)
def test_single_compound_amount_at_ten_percent(years, printed):
    assert ds.single_compound_amount(0.10, years) == pytest.approx(printed, abs=5e-7)


def test_annuity_examples():
    # R package EngrEcon 1.0.0, manual page annual_to_present: A = 30,000, 30 years, 8 %
    assert 30_000 * ds.uniform_present_value(0.08, 30) == pytest.approx(337_733.5, abs=0.05)
    # R package EngrEcon 1.0.0, manual page future_to_present: F = 30,000, 30 years, 8 %
    assert 30_000 * ds.single_present_value(0.08, 30) == pytest.approx(2981.32, abs=0.005)
    # numpy-financial f47e8af, tests of pmt: 200,000 over 15 x 12 months at 7.5 %/12
    assert 200_000 * ds.uniform_capital_recovery(0.075 / 12, 180) == pytest.approx(1854.02472, abs=5e-6)
    # numpy-financial f47e8af, tests of fv: 2,000 a year, 20 years, 7.5 %, end of period
    assert 2000 * ds.uniform_compound_amount(0.075, 20) == pytest.approx(86609.362673, abs=5e-7)
    # numpy-financial f47e8af, tests of pmt at a rate of zero: 15,000 over 60 months
    assert 15_000 * ds.uniform_capital_recovery(0.0, 60) == 250


def test_capital_recovery_less_salvage():
    # Posted solution (techwhiff.com 72677), machine A: 15,000, salvage 3,000, 2 years, 10 %, 1,500 a year; 4-digit factors
    capital = 15_000 * ds.uniform_capital_recovery(0.10, 2) - 3000 * ds.uniform_sinking_fund(0.10, 2)
    assert capital == pytest.approx(7214.4, abs=1)
    assert capital + 1500 == pytest.approx(8714.4, abs=1)
    # Posted solution (wizedu.com 1097152), method 1: 20,000, salvage 5,000, 3 years, 15 %, 8,500 a year
    one = 20_000 * ds.uniform_capital_recovery(0.15, 3) - 5000 * ds.uniform_sinking_fund(0.15, 3) + 8500
    assert one == pytest.approx(15_820, abs=1)
    # the same, method 2: 15,000, salvage 3,000, 2 years, 7,000 a year
    two = 15_000 * ds.uniform_capital_recovery(0.15, 2) - 3000 * ds.uniform_sinking_fund(0.15, 2) + 7000
    assert two == pytest.approx(14_831.2, abs=1)


def test_a_factor_printed_with_few_digits_must_not_be_inverted():
    # IE 492 lecture notes: 10,000 a year for 100 years at 10 % by inverting A/P = 0.10001 gives 99,990; the factor itself does not
    assert 10_000 * ds.uniform_present_value(0.10, 100) == pytest.approx(
        10_000 / 0.1 * (1 - 1.1**-100), abs=1e-6
    )
    assert abs(10_000 * ds.uniform_present_value(0.10, 100) - 99_990) > 1


# ---------------------------------------------------------------- present values

# OMB Circular A-94 (rev. 2023), Appendix B, section 1: costs and benefits of years 1 to 10
A94_COSTS = [10, 20, 30, 30, 20, 10, 5, 5, 5, 5]
A94_BENEFITS = [0, 0, 5, 10, 30, 40, 40, 40, 40, 25]


@pytest.mark.parametrize(
    ("rate", "costs", "benefits", "net"),
    [
        # the same page, 3.1 %, as quoted in a public unit test
        (0.031, 123.37, 184.92, 61.55),
        # OMB Circular A-94 (1992), Appendix B, 7 % (from memory)
        (0.07, 106.40, 142.41, 36.01),
    ],
)
def test_a94_appendix_b(rate, costs, benefits, net):
    paid, gained = (ds.present_value([0, *flows], rate) for flows in (A94_COSTS, A94_BENEFITS))
    assert paid == pytest.approx(costs, abs=0.005)
    assert gained == pytest.approx(benefits, abs=0.005)
    assert gained - paid == pytest.approx(net, abs=0.005)


@pytest.mark.parametrize(
    ("rate", "flows", "printed", "tolerance"),
    [
        # numpy-financial f47e8af, docstring and tests of npv
        (0.08, [-40000, 5000, 8000, 12000, 30000], 3065.22267, 5e-6),
        (0.05, [-15000, 1500, 2500, 3500, 4500, 6000], 122.89, 0.005),
        (0.0, [-4000, 500, 800], -2700.0, 0.005),
        (0.05, [-5000, 600, 900], -3612.24, 0.005),
        (0.1, [-4000, 500, 800], -2884.30, 0.005),
        # public unit test of cash-flow measures
        (0.1, [-1000, 400, 400, 400], -5.26, 0.005),
    ],
)
def test_present_value(rate, flows, printed, tolerance):
    assert ds.present_value(flows, rate) == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize(
    ("flows", "printed", "tolerance"),
    [
        # numpy-financial f47e8af, docstring and tests of irr
        ([-100, 39, 59, 55, 20], 0.28095, 5e-6),
        ([-100, 0, 0, 74], -0.0955, 5e-5),
        ([-100, 100, 0, -7], -0.0833, 5e-5),
        ([-100, 100, 0, 7], 0.06206, 5e-6),
        ([-5, 10.5, 1, -8, 1], 0.0886, 5e-5),
        # spreadsheet documentation example, quoted in the OpenStudio Economics unit test (truncated to 4 decimals)
        ([-70000, 12000, 15000], -0.4435, 1e-4),
        ([-70000, 12000, 15000, 18000], -0.1821, 1e-4),
        ([-70000, 12000, 15000, 18000, 21000], -0.0212, 1e-4),
        ([-70000, 12000, 15000, 18000, 21000, 26000], 0.0866, 1e-4),
        # public unit test of cash-flow measures
        ([-1000, 300, 400, 500, 600], 0.248883, 5e-7),
    ],
)
def test_internal_rate(flows, printed, tolerance):
    assert ds.internal_rate(flows) == pytest.approx(printed, abs=tolerance)


def test_internal_rate_against_a_root_finder_on_its_definition():
    # scipy 1.17, optimize.brentq on sum(flow / (1 + r)^t) = 0
    rng = np.random.default_rng(11)
    for _ in range(50):
        flows = [-1000.0, *rng.uniform(50, 600, 6)]
        root = optimize.brentq(
            lambda r, flows=flows: sum(a / (1 + r) ** t for t, a in enumerate(flows)), -0.9, 10
        )
        assert ds.internal_rate(flows) == pytest.approx(root, abs=1e-9)


# ---------------------------------------------------------------- payback


def test_payback():
    # public unit test of cash-flow measures: -1000, then 400 a year; simple 2.5 years
    assert ds.payback_years(1000, [400, 400, 400]) == pytest.approx(2.5, abs=0.05)
    # the same at 10 %: 3.0193 with four years, not reached within three
    assert ds.payback_years(1000, [400] * 4, 0.1) == pytest.approx(3.0193, abs=5.1e-5)
    assert math.isnan(ds.payback_years(1000, [400] * 3, 0.1))


# ---------------------------------------------------------------- NIST Handbook 135


def test_handbook_135_base_case():
    # NIST Handbook 135 (1995), Table 5-2, present values of the base case, quoted in the OpenStudio Economics unit test;
    # the inputs behind them (12,000 in year 12, 3,500 in year 20, 7,000 a year, 20,000 a year at UPV* 15.13, 3 %) are from memory
    printed = {
        "initial": 103_000,
        "replacement": 8412,
        "residual": -1939,
        "electricity": 302_600,
        "om": 104_160,
    }
    assert sum(printed.values()) == 516_233
    assert round(ds.single_present_value(0.03, 12), 3) * 12_000 == pytest.approx(
        printed["replacement"], abs=0.5
    )
    assert round(ds.single_present_value(0.03, 20), 3) * 3500 == pytest.approx(-printed["residual"], abs=0.5)
    assert round(ds.uniform_present_value(0.03, 20), 2) * 7000 == pytest.approx(printed["om"], abs=0.5)
    # at full precision the total moves by less than 0.01 %
    full = (
        103_000
        + 12_000 * ds.single_present_value(0.03, 12)
        - 3500 * ds.single_present_value(0.03, 20)
        + 302_600
        + 7000 * ds.uniform_present_value(0.03, 20)
    )
    assert full == pytest.approx(516_233, rel=1e-4)


def test_handbook_135_net_savings_sir_and_airr():
    # NIST Handbook 135 (1995), HVAC example, alternative against base case (from memory): initial 110,000, replacement 8,762,
    # residual 2,050, electricity 196,690, O&M 119,040; net savings 83,790; SIR 12.6; AIRR 16.9 % at 3 % over 20 years
    base = {"initial": 103_000, "replacement": 8412, "residual": 1939, "running": 302_600 + 104_160}
    other = {"initial": 110_000, "replacement": 8762, "residual": 2050, "running": 196_690 + 119_040}
    saved = base["running"] - other["running"]
    put_in = sum(
        sign * (other[name] - base[name])
        for name, sign in (("initial", 1), ("replacement", 1), ("residual", -1))
    )
    assert saved - put_in == pytest.approx(83_790, abs=1)
    sir = ds.savings_to_investment(saved, put_in)
    assert sir == pytest.approx(12.6, abs=0.05)
    assert ds.adjusted_internal_rate(sir, 0.03, 20) == pytest.approx(0.169, abs=5e-4)


def test_airr_is_its_definition():
    # 10 CFR 436.22: (terminal value of the savings, reinvested at the discount rate / present value of the investment)^(1/n) - 1;
    # numpy-financial f47e8af, docstring of mirr: with one outlay first that is the modified rate of return, 0.126094 where
    # the savings are put aside at 12 % (discounting of the single outlay at 10 % does not matter)
    flows = [39_000, 30_000, 21_000, 37_000, 46_000]
    sir = ds.savings_to_investment(ds.present_value([0, *flows], 0.12), 120_000)
    assert ds.adjusted_internal_rate(sir, 0.12, 5) == pytest.approx(0.126094, abs=5e-7)


def test_the_criteria_of_10_cfr_436_agree():
    # 10 CFR 436.18: net savings above 0, SIR above 1 and AIRR above the discount rate are one criterion
    for rate, saved, put_in in itertools.product(
        (0.0, 0.03, 0.07), (500.0, 999.0, 1001.0, 4000.0), (1000.0,)
    ):
        sir = ds.savings_to_investment(saved, put_in)
        pays = saved - put_in > 0
        assert (sir > 1) == pays and (ds.adjusted_internal_rate(sir, rate, 10) > rate) == pays


def test_residual_value_by_remaining_life():
    # NIST Handbook 135 (2022), section 4.5.3: 25-year study, 15-year asset bought in years 0 and 15: a third of its life is left
    left = (2 * 15 - 25) / 15
    assert ds.remaining_life_value(1.0, left) == pytest.approx(0.3333, abs=5e-5)
    # and at a rate of zero its annual cost is 1/15 per dollar
    assert (2 - ds.remaining_life_value(1.0, left)) * ds.uniform_capital_recovery(0.0, 25) == pytest.approx(
        0.0667, abs=5e-5
    )


# ---------------------------------------------------------------- order quantity


def test_order_quantity_is_the_quantile_of_a_known_demand():
    # scipy 1.17, stats.poisson.ppf(0.9, 7.5) = 11 and stats.binom.ppf(0.95, 20, 0.3) = 9
    poisson = stats.poisson.ppf((np.arange(100_000) + 0.5) / 100_000, 7.5)
    binomial = stats.binom.ppf((np.arange(100_000) + 0.5) / 100_000, 20, 0.3)
    assert order_quantity(poisson, 0.9) == stats.poisson.ppf(0.9, 7.5) == 11
    assert order_quantity(binomial, 0.95) == stats.binom.ppf(0.95, 20, 0.3) == 9


def test_order_quantity_is_the_cheapest_by_brute_force():
    # the newsvendor problem by its definition: expected cost of every order quantity, tried one by one
    rng = np.random.default_rng(5)
    for short, excess in ((450.0, 50.0), (100.0, 100.0), (900.0, 60.0)):
        demand = rng.poisson(rng.gamma(5.0, 2.0, 4001))
        cost = [
            short * np.maximum(demand - q, 0).mean() + excess * np.maximum(q - demand, 0).mean()
            for q in range(80)
        ]
        assert order_quantity(demand, critical_ratio(short, excess)) == int(np.argmin(cost))
