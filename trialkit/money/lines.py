"""What a blade-down mile costs, line by line.

Answers: of which parts does the cost of an edge type consist, for any life, price, breakage and hours?

A set that wears out after a life of L miles and breaks at a constant rate b is replaced ``b / (1 - exp(-b L))`` times per
mile: b times because it broke and ``b / (exp(b L) - 1)`` times because it wore out. A set that breaks is not worn out as well, so
the two are not added up twice. Without breakage that is 1/L.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np

from trialkit.money import prices as pr
from trialkit.money.discounting import uniform_capital_recovery
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.work import BREAK, CHANGE, SECTION_CHANGE, Work
from trialkit.table_parts import SECTION

SETS, BREAKAGE = "sets", "breakage"
LINES = (
    SETS, pr.HARDWARE, pr.LABOUR_REGULAR, pr.LABOUR_OVERTIME, pr.TRUCK_DOWN, pr.DISPOSAL, BREAKAGE, pr.CONVERSION, pr.STOCK,
    pr.OTHER,
)  # fmt: skip
UNUSED = "unused"
"""The part of `SETS` that pays for depth thrown away; an "of which" line."""
SAVED = "saved"
"""Material and passes saved; a line of its own, never part of the cost of the edges."""
LINE_WORDS = {
    SETS: "sets or sections worn out",
    pr.HARDWARE: "bolts and hardware",
    pr.LABOUR_REGULAR: "regular labor",
    pr.LABOUR_OVERTIME: "overtime labor",
    pr.TRUCK_DOWN: "truck down time",
    pr.DISPOSAL: "disposal",
    BREAKAGE: "breaks and losses",
    pr.CONVERSION: "conversion kits",
    pr.STOCK: "stock holding",
    pr.OTHER: "other costs",
    UNUSED: "of the worn sets: depth thrown away because of uneven wear",
    SAVED: "material and passes saved",
}
PER_EVENT = (pr.HARDWARE, pr.LABOUR_REGULAR, pr.LABOUR_OVERTIME, pr.TRUCK_DOWN, pr.DISPOSAL, pr.OTHER)

Numbers = Any
"""A number or an array with one entry per draw."""


@dataclass(frozen=True, eq=False, slots=True)
class Rates:
    """How often things happen, as numbers or as draws.

    Attributes
    ----------
    use : float or ndarray
        Sets worn out per mile if none broke; sections at one place where they are replaced on their own. Not negative.
    breaks, section_breaks : float or ndarray
        Sets and sections broken or lost per mile of a set.
    labour_h, down_h : mapping
        Kind of change to its hours. [h]
    """

    use: Numbers
    breaks: Numbers
    section_breaks: Numbers
    labour_h: dict[str, Numbers]
    down_h: dict[str, Numbers]


def estimated_rates(edge: EdgeCosts) -> Rates:
    """The rates as estimated, without error."""
    use = edge.use
    known = use.miles_mi > 0
    return Rates(
        use=max(float(use.sample.mean), 0.0) / 1000.0,
        breaks=use.breaks / use.miles_mi if known else 0.0,
        section_breaks=use.section_breaks / use.miles_mi if known else 0.0,
        labour_h={kind: work.labour.mean for kind, work in edge.work.items()},
        down_h={kind: work.down.mean for kind, work in edge.work.items()},
    )


def worn_out_rate(use: Numbers, breaks: Numbers) -> Any:
    """Sets that wear out per mile when some of them break first.

    Parameters
    ----------
    use : float or ndarray
        1 over the life. [1/mi]
    breaks : float or ndarray
        Breaks and losses per mile. [1/mi]

    Notes
    -----
    ``b / (exp(b / use) - 1)``: of sets with a life of 1/use that break at a constant rate b, a share ``exp(-b / use)`` wears out,
    and a set lasts ``(1 - exp(-b / use)) / b`` miles on average.

    Examples
    --------
    >>> float(worn_out_rate(0.002, 0.0)), round(float(worn_out_rate(0.002, 0.001)), 6)
    (0.002, 0.001541)
    """
    u, b = np.broadcast_arrays(np.asarray(use, dtype=float), np.asarray(breaks, dtype=float))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        found = b / np.expm1(b / u)
        found = np.where(b * 1e9 <= u, u, found)
    return np.where(u > 0, found, np.where(u <= 0, 0.0, np.nan))[()]


def life_use(worn_out: Numbers, breaks: Numbers) -> Any:
    """The use, 1 over the life, at which so many sets wear out per mile; inverse of `worn_out_rate`."""
    w, b = np.broadcast_arrays(np.asarray(worn_out, dtype=float), np.asarray(breaks, dtype=float))
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(b * 1e9 <= w, w, b / np.log1p(b / w))
    return np.where(w > 0, found, np.where(w == 0, 0.0, np.nan))[()]


def replacements(edge: EdgeCosts, rates: Rates) -> tuple[Numbers, Numbers]:
    """Worn pieces per mile (sets or sections) and complete sets' worth of them per mile."""
    if edge.replaced_as == SECTION:
        hazard = np.asarray(rates.breaks) + np.asarray(rates.section_breaks) / edge.sections_n
        pieces = edge.sections_n * worn_out_rate(rates.use, hazard)
        return pieces, pieces / edge.sections_n
    pieces = worn_out_rate(rates.use, rates.breaks)
    return pieces, pieces


def sets_bought(edge: EdgeCosts, rates: Rates) -> Any:
    """Complete sets' worth of pieces bought per mile, worn out, broken or lost."""
    _, worn = replacements(edge, rates)
    return worn + np.asarray(rates.breaks) + np.asarray(rates.section_breaks) / edge.sections_n


def cost_lines(
    edge: EdgeCosts, rates: Rates, inputs: CostInputs, known: Collection[str] = LINES
) -> dict[str, Numbers]:
    """Cost per blade-down mile, line by line.

    Parameters
    ----------
    edge : EdgeCosts
        Prices and amounts.
    rates : Rates
        Numbers or draws.
    inputs : CostInputs
        Miles of the season, horizon and discount rate.
    known : collection of str
        Lines that are counted: what a break costs is over the same ones.

    Returns
    -------
    dict
        Line to amount per mile: NaN where it is unknown, 0 where the edge type has no such cost. `UNUSED` is a part of `SETS`.
    """
    section = edge.replaced_as == SECTION
    share = 1.0 / edge.sections_n
    pieces, sets = replacements(edge, rates)
    worn = event_cost(edge, rates, SECTION_CHANGE if section else CHANGE, share)
    found: dict[str, Numbers] = {SETS: sets * edge.price}
    found |= {item: pieces * amount for item, amount in worn.items()}
    found[BREAKAGE] = breakage_cost(edge, rates, known)
    yearly = _yearly(edge, inputs)
    for item, amount in yearly.items():
        found[item] = found.get(item, 0.0) + amount
    found[pr.CONVERSION] = (
        found.get(pr.CONVERSION, 0.0)
        + conversion_cost(edge, inputs)
        + pieces * _each(edge, pr.CONVERSION, share)
    )
    found[pr.STOCK] = found.get(pr.STOCK, 0.0) + pieces * _each(edge, pr.STOCK, share)
    found = {line: found[line] for line in LINES if line in found}
    found[UNUSED] = found[SETS] * edge.uneven_frac if not section else math.nan
    return found


def event_cost(edge: EdgeCosts, rates: Rates, kind: str, share: float) -> dict[str, Numbers]:
    """What one change costs beside the edge itself, by item; `share` is the part of a set that is changed."""
    work = edge.work.get(BREAK if kind == BREAK else kind)
    return {item: _event_amount(edge, item, work, kind, rates, share) for item in PER_EVENT}


def breakage_cost(edge: EdgeCosts, rates: Rates, known: Collection[str] = LINES) -> Numbers:
    """Cost per mile of the sets and sections that break or get lost, over some lines; items that are unknown are left out of it."""
    total = np.asarray(rates.breaks) * _with_edge(edge, rates, BREAK, 1.0, known)
    if edge.replaced_as == SECTION:
        share = 1.0 / edge.sections_n
        total = total + np.asarray(rates.section_breaks) * _with_edge(
            edge, rates, SECTION_CHANGE, share, known
        )
    return total


def _with_edge(edge: EdgeCosts, rates: Rates, kind: str, share: float, known: Collection[str]) -> Numbers:
    items = event_cost(edge, rates, kind, share)
    counted = [amount for item, amount in items.items() if item in known and not np.isnan(amount).any()]
    return edge.price * share + sum(counted, 0.0)


def _event_amount(
    edge: EdgeCosts, item: str, work: Work | None, kind: str, rates: Rates, share: float
) -> Numbers:
    amount = edge.items[item]
    if not amount.needed or amount.per == pr.YEAR:
        return 0.0
    told = work is not None and math.isfinite(work.storm_share)
    storm = work.storm_share if work is not None and told else 0.0
    hours, down = rates.labour_h.get(kind, math.nan), rates.down_h.get(kind, math.nan)
    regular = edge.items[pr.LABOUR_REGULAR].amount
    if item == pr.LABOUR_OVERTIME and not told and (math.isnan(regular) or np.isnan(hours).any()):
        return (
            math.nan
        )  # hours at the regular rate are not known, so that none were at the other is not either
    part = {pr.LABOUR_REGULAR: 1.0 - storm, pr.LABOUR_OVERTIME: storm}.get(item, 1.0)
    if part == 0.0:
        return 0.0
    of_set = share if item in (pr.HARDWARE, pr.DISPOSAL) else 1.0
    quantity = {
        pr.HOUR: part * (down if item == pr.TRUCK_DOWN else hours),
        pr.CHANGE: part * of_set,
        pr.SET: part * share,
    }.get(amount.per, math.nan)
    return amount.amount * quantity


def _yearly(edge: EdgeCosts, inputs: CostInputs) -> dict[str, float]:
    """Amounts per year, over the miles of the fleet."""
    return {
        item: amount.amount / inputs.fleet_miles
        for item, amount in edge.items.items()
        if amount.needed and amount.per == pr.YEAR
    }


def _each(edge: EdgeCosts, item: str, share: float) -> float:
    """Amount of a yearly or one-time item that is recorded per change or per set instead."""
    amount = edge.items[item]
    if not amount.needed or amount.per == pr.YEAR:
        return 0.0
    if item == pr.CONVERSION:
        return amount.amount if amount.per == pr.CHANGE else 0.0
    return amount.amount * {pr.SET: share, pr.CHANGE: 1.0}.get(amount.per, math.nan)


def conversion_cost(edge: EdgeCosts, inputs: CostInputs) -> float:
    """One-time kits, one for each truck position, spread evenly over the horizon. [per mile]

    Notes
    -----
    ``kit * UCR * positions / miles of the fleet``. NaN if the amount or the miles are not known.
    """
    return conversion_outlay(edge, inputs) * _recovery(inputs) / inputs.fleet_miles if _has_kit(edge) else 0.0


def conversion_outlay(edge: EdgeCosts, inputs: CostInputs) -> float:
    """What the kits of all truck positions cost once."""
    return edge.items[pr.CONVERSION].amount * inputs.n_positions if _has_kit(edge) else 0.0


def _has_kit(edge: EdgeCosts) -> bool:
    kit = edge.items[pr.CONVERSION]
    return kit.needed and kit.per not in (pr.CHANGE, pr.YEAR)


def _recovery(inputs: CostInputs) -> float:
    return uniform_capital_recovery(inputs.discount_rate, inputs.horizon_years)


def total(lines: dict[str, Numbers], known: Collection[str] = LINES) -> Any:
    """Sum of some lines, as far as they are known; NaN if the price of the edge itself is not."""
    if np.isnan(lines[SETS]).all():
        return np.full(np.shape(lines[SETS]), np.nan)[()]
    parts = [
        lines[line] for line in LINES if line in lines and line in known and not np.isnan(lines[line]).any()
    ]
    return sum(parts, np.zeros(np.shape(lines[SETS])))[()]


def total_cost(edge: EdgeCosts, rates: Rates, inputs: CostInputs, known: Collection[str] = LINES) -> Any:
    """Cost per blade-down mile over some lines, as far as they are known; see `cost_lines`."""
    return total(cost_lines(edge, rates, inputs, known), known)


def shared_lines(edge: EdgeCosts, reference: EdgeCosts, inputs: CostInputs) -> tuple[str, ...]:
    """Lines that are known for both, which alone are compared."""
    unknown: set[str] = set()
    for one in (edge, reference):
        unknown |= set(unknown_lines(cost_lines(one, estimated_rates(one), inputs)))
    return tuple(line for line in LINES if line not in unknown or line == SETS)


def unknown_lines(lines: dict[str, Numbers]) -> tuple[str, ...]:
    """Lines without a known amount."""
    return tuple(line for line in LINES if line in lines and np.isnan(lines[line]).any())
