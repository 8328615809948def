"""Amounts in different years brought to one year, and what follows from them.

Answers: what is a cost in year 7 worth today, and does an outlay now pay for itself?

Terms after NIST Handbook 135 and 10 CFR part 436: single present value (SPV), uniform present value (UPV), uniform capital
recovery (UCR), net savings, savings-to-investment ratio, adjusted internal rate of return. The rate is *real*: amounts are in
the money of the analysis year, and inflation is left out of both. Factors are used at full precision; printed factor tables
are rounded, and never inverted here.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trialkit.errors import UsageError


def single_present_value(discount_rate: float, years: ArrayLike) -> Any:
    """SPV factor: what 1 paid after so many years is worth now.

    Notes
    -----
    ``(1 + d)^-t``.
    """
    _require_rate(discount_rate)
    return (1.0 + discount_rate) ** -np.asarray(years, dtype=float)


def single_compound_amount(discount_rate: float, years: ArrayLike) -> Any:
    """SCA factor: what 1 now grows to in so many years; ``(1 + d)^t``."""
    _require_rate(discount_rate)
    return (1.0 + discount_rate) ** np.asarray(years, dtype=float)


def uniform_present_value(discount_rate: float, years: int) -> float:
    """UPV factor: what 1 paid at the end of each of so many years is worth now.

    Notes
    -----
    ``(1 - (1 + d)^-n) / d``, and n at a rate of zero.
    """
    _require_rate(discount_rate)
    _require_years(years)
    if discount_rate == 0:
        return float(years)
    return -math.expm1(-years * math.log1p(discount_rate)) / discount_rate


def uniform_capital_recovery(discount_rate: float, years: int) -> float:
    """UCR factor: the yearly amount, at the end of each year, that 1 now is worth; the inverse of UPV."""
    return 1.0 / uniform_present_value(discount_rate, years)


def uniform_compound_amount(discount_rate: float, years: int) -> float:
    """UCA factor: what 1 at the end of each of so many years has grown to at the end of the last."""
    return uniform_present_value(discount_rate, years) * float(single_compound_amount(discount_rate, years))


def uniform_sinking_fund(discount_rate: float, years: int) -> float:
    """USF factor: the yearly amount that grows to 1 at the end of the last year; the inverse of UCA."""
    return 1.0 / uniform_compound_amount(discount_rate, years)


def escalating_present_value(discount_rate: float, years: int, escalation_rate: float) -> float:
    """UPV* factor: what a yearly amount that grows at a real rate of its own is worth now, per 1 at today's price.

    Notes
    -----
    ``sum over t of ((1 + e) / (1 + d))^t``, the first amount grown by one year.
    """
    _require_rate(discount_rate)
    _require_years(years)
    steps = np.arange(1, years + 1)
    return float((((1.0 + escalation_rate) / (1.0 + discount_rate)) ** steps).sum())


def present_value(flows: ArrayLike, discount_rate: float) -> Any:
    """Present value of yearly amounts, the first of them now.

    Parameters
    ----------
    flows : array_like
        Amounts of years 0, 1, 2, ... along the last axis.
    discount_rate : float
        Real rate per year, as a fraction.
    """
    values = np.asarray(flows, dtype=float)
    return values @ single_present_value(discount_rate, np.arange(values.shape[-1]))


def internal_rate(flows: ArrayLike) -> float:
    """Rate at which the present value of the flows is zero; missing if no such rate above -99 % can be found.

    With several changes of sign there may be several rates; then the one nearest to zero is returned. Prefer net savings and
    the adjusted rate for a decision.
    """
    values = np.trim_zeros(np.asarray(flows, dtype=float))
    if not (values > 0).any() or not (values < 0).any():
        return math.nan
    roots = np.roots(values[::-1])
    factors = roots[(np.abs(roots.imag) < 1e-9 * np.abs(roots)) & (roots.real > 0)].real
    rates = 1.0 / factors - 1.0
    rates = rates[rates > -0.99]
    return float(rates[np.argmin(np.abs(rates))]) if len(rates) else math.nan


def savings_to_investment(savings_pv: ArrayLike, investment_pv: ArrayLike) -> Any:
    """Savings-to-investment ratio (SIR): present value of the yearly savings over that of the extra investment.

    Missing where there is no extra investment: the ratio then says nothing, and net savings decide.

    Notes
    -----
    NIST Handbook 135: operation-related savings over extra investment less extra residual value. Above 1 it pays.
    """
    saved, put_in = np.asarray(savings_pv, dtype=float), np.asarray(investment_pv, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(put_in > 0, saved / put_in, np.nan)[()]


def adjusted_internal_rate(sir: ArrayLike, discount_rate: float, years: int) -> Any:
    """Adjusted internal rate of return (AIRR): the yearly yield if savings are put aside at the discount rate.

    Notes
    -----
    ``(1 + d) SIR^(1/n) - 1`` (NIST Handbook 135; 10 CFR 436.22). Missing where the ratio is missing or negative. Above the
    discount rate it pays; that is so exactly if SIR is above 1 and net savings are above 0.
    """
    _require_rate(discount_rate)
    _require_years(years)
    ratio = np.asarray(sir, dtype=float)
    with np.errstate(invalid="ignore"):
        grown = np.where(ratio >= 0, ratio, np.nan) ** (1.0 / years)
    return ((1.0 + discount_rate) * grown - 1.0)[()]


def payback_years(outlay: ArrayLike, yearly: ArrayLike, discount_rate: float = 0.0) -> Any:
    """Years until savings have paid back an outlay; linear within the year.

    Parameters
    ----------
    outlay : float or array_like
        Extra amount paid now.
    yearly : array_like
        Savings of years 1, 2, ... along the last axis; negative where a year costs more.
    discount_rate : float
        0 for the simple payback, the real rate for the discounted one.

    Returns
    -------
    float or ndarray
        0 where there is no outlay; missing where the savings of these years do not pay it back. The first time that the sum
        reaches the outlay counts, even if a later year takes it below again.
    """
    _require_rate(discount_rate)
    saved = np.asarray(yearly, dtype=float)
    saved = saved * single_present_value(discount_rate, np.arange(1, saved.shape[-1] + 1))
    total = np.cumsum(saved, axis=-1)
    owed = np.asarray(outlay, dtype=float)[..., None]
    reached = (total >= owed - 1e-9 * np.abs(owed)) & (owed > 0)
    year = reached.argmax(axis=-1)
    here = np.take_along_axis(saved, year[..., None], -1)[..., 0]
    before = np.take_along_axis(total, year[..., None], -1)[..., 0] - here
    with np.errstate(divide="ignore", invalid="ignore"):
        within = np.clip((owed[..., 0] - before) / here, 0.0, 1.0)
    found = np.where(reached.any(axis=-1), year + within, np.nan)
    return np.where(owed[..., 0] <= 0, 0.0, found)[()]


def remaining_life_value(price: ArrayLike, remaining_frac: ArrayLike) -> Any:
    """Residual value of a part-worn piece: its price times the share of its life that is left.

    Notes
    -----
    The linear proration of NIST Handbook 135; it is what the piece is worth to an owner who goes on using it, not what it
    would fetch.
    """
    left = np.clip(np.asarray(remaining_frac, dtype=float), 0.0, 1.0)
    return (np.asarray(price, dtype=float) * left)[()]


def _require_rate(discount_rate: float) -> None:
    if not (math.isfinite(discount_rate) and discount_rate > -1):
        raise UsageError(f"the discount rate is {discount_rate:g} per year; it is a fraction such as 0.03")


def _require_years(years: int) -> None:
    if not (years == int(years) and years >= 1):
        raise UsageError(f"the number of years is {years:g}; it is a whole number, 1 or more")
