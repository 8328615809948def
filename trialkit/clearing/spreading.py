"""What a mile of plowing takes with the reference edge type: lane-miles, material, price, chloride and hours.

Answers: how much would be spread if nothing were changed, so that a percentage can be turned into tons and money?

Everything is the trial's own. A shift that only plowed is on record with no lane-miles treated and counts; a shift whose
material or lane-miles are not on record is left out and never counted as none. A truck with a record of nothing spread on the
lane-miles it treated did spread nothing, and counts as that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.clearing.rates import CHLORIDE_LB, COST, DRY_LB
from trialkit.formatting import counted
from trialkit.stats.inference import Sample, mean_interval


@dataclass(frozen=True, eq=False)
class Factor:
    """A quantity, zero or more, with the interval that the trucks give it.

    Attributes
    ----------
    estimate, conf_low, conf_high : float
        Missing where there is none; the ends with fewer than two trucks, and where all of them are at zero.
    unit : str
        Its unit.
    n_trucks : int
        Trucks behind it.
    """

    estimate: float
    conf_low: float
    conf_high: float
    unit: str
    n_trucks: int

    @property
    def is_known(self) -> bool:
        """Whether there is an estimate."""
        return math.isfinite(self.estimate)


NOTHING = Factor(math.nan, math.nan, math.nan, "", 0)


@dataclass(frozen=True, eq=False)
class ReferenceUse:
    """What a mile of plowing takes with the reference edge type.

    Attributes
    ----------
    lane_mi_per_mi : Factor
        Lane-miles treated per blade-down mile, over all trucks.
    rate_lb_lane_mi : Factor
        Dry material per lane-mile with the reference.
    hours_per_lane_mi : Factor
        Blade-down hours per lane-mile treated with the reference.
    price_per_lb : float
        Mean price of dry material; missing where no price is recorded.
    chloride_per_lb : float
        Chloride in a pound of dry material; missing where it is not known.
    severity_factor : float
        What brings the rate from the storms of the trial to those of a typical season; 1 where it was left as it is.
    notes : tuple of str
        What was left out.
    """

    lane_mi_per_mi: Factor
    rate_lb_lane_mi: Factor
    hours_per_lane_mi: Factor
    price_per_lb: float
    chloride_per_lb: float
    severity_factor: float = 1.0
    notes: tuple[str, ...] = ()

    def sentence(self) -> str:
        """Why there is nothing to build on; empty where there is."""
        if not self.rate_lb_lane_mi.is_known:
            return display.words(
                "No shift with the reference edge type has both its material and its lane-miles on record."
            )
        if not self.lane_mi_per_mi.is_known:
            return display.words(
                "No shift has both its lane-miles treated and its blade-down miles on record."
            )
        return ""


def reference_use(
    shifts: pd.DataFrame, reference: str, *, severity_factor: float = 1.0, confidence_level: float = 0.95
) -> ReferenceUse:
    """What a mile of plowing takes with the reference edge type.

    When to use: before a difference in per cent is turned into tons and money. Not to compare edge types: trucks and storms
    differ, and only the comparison within storms allows for that.

    Parameters
    ----------
    shifts : DataFrame
        One row per shift: truck_id, edge_type, lane_miles_treated [lane-mi], blade_down_mi [mi], blade_down_h [h], dry_lb [lb],
        chloride_lb [lb], cost [currency]; missing where not on record.
    reference : str
        Edge type.
    severity_factor : float
        From `SeveritySlope.factor`; 1 leaves the rate as the trial's storms gave it.
    confidence_level : float

    Notes
    -----
    Of each truck the ratio of sums over its shifts; over trucks their mean, with the interval of Student's t on the logarithms
    of the trucks' ratios. Where a truck's is zero, which has no logarithm, the reach on that scale is ``t s / (m sqrt(n))`` from
    the ratios themselves, m their mean and s their standard deviation. Lane-miles per blade-down mile come from all trucks, since they depend on routes and habits and
    hardly on the edge. Price and chloride are ratios of sums over all shifts.
    """
    own = shifts[shifts[c.EDGE_TYPE].astype(object) == reference]
    ratio = _per_truck(shifts, c.LANE_MILES_TREATED, c.BLADE_DOWN_MI)
    rate = _per_truck(own, DRY_LB, c.LANE_MILES_TREATED)
    hours = _per_truck(own[own[c.LANE_MILES_TREATED] > 0], c.BLADE_DOWN_H, c.LANE_MILES_TREATED)
    idle, spread_nothing = int((ratio == 0).sum()), int((rate == 0).sum())
    notes = []
    if spread_nothing:
        notes.append(
            f"{counted(spread_nothing, 'truck')} with the reference edge type spread nothing on the "
            f"{display.word('lane-miles')} treated, by the records; {'it counts' if spread_nothing == 1 else 'they count'} with zero "
            "in the mean."
        )
    if idle:
        notes.append(
            f"{counted(idle, 'truck')} treated no {display.word('lane-miles')} and {'is' if idle == 1 else 'are'} not counted."
        )
    return ReferenceUse(
        _factor(ratio[ratio > 0], "lane-mi/mi", confidence_level),
        _factor(rate * severity_factor, "lb/lane-mi", confidence_level),
        _factor(hours, "h/lane-mi", confidence_level),
        _share(shifts, COST, DRY_LB),
        _share(shifts, CHLORIDE_LB, DRY_LB),
        severity_factor,
        tuple(notes),
    )


def _per_truck(shifts: pd.DataFrame, top: str, below: str) -> np.ndarray:
    """Ratio of sums of each truck over the shifts that know both."""
    known = shifts[shifts[top].notna() & shifts[below].notna()]
    sums = known.groupby(known[c.TRUCK_ID].astype(object), sort=True)[[top, below]].sum()
    sums = sums[sums[below] > 0]
    return (sums[top] / sums[below]).to_numpy(dtype=float)


def _factor(ratios: np.ndarray, unit: str, confidence_level: float) -> Factor:
    if not len(ratios):
        return NOTHING
    mean = float(ratios.mean())
    if mean == 0:
        return Factor(0.0, math.nan, math.nan, unit, len(ratios))
    scaled = np.log(ratios) if (ratios > 0).all() else ratios / mean
    found = mean_interval(Sample.of(scaled), confidence_level)
    reach = float(found.conf_high) - float(found.estimate)
    return Factor(mean, mean * math.exp(-reach), mean * math.exp(reach), unit, len(ratios))


def _share(shifts: pd.DataFrame, top: str, below: str) -> float:
    """Ratio of sums over the shifts that know both; missing where none does."""
    known = shifts[shifts[top].notna() & (shifts[below] > 0)]
    return float(known[top].sum() / known[below].sum()) if len(known) else math.nan


def saved(change_pct: Sequence[float], factors: Sequence[Factor]) -> tuple[float, float, float]:
    """What a change in per cent saves of a product of factors, with both intervals carried through.

    Parameters
    ----------
    change_pct : sequence of float
        Estimate and ends of the interval of the change; below zero is less. [%]
    factors : sequence of Factor
        What the change applies to; a factor without an interval is taken as it is.

    Returns
    -------
    estimate, conf_low, conf_high : float
        Above zero is saved. An end is missing where the change has none.

    Notes
    -----
    The estimate is the product. Uncertainties are independent and are put together end by end (method of variance estimates
    recovery, Donner and Zou, Stat. Methods Med. Res. 21 (2012) 347, from memory): where both ends of the change have the same
    sign on the scale of logarithms, else on the scale of the product. So the saving leaves zero out exactly where the change
    does: how much is spread cannot make a difference that was not shown.
    """
    share, low, high = -change_pct[0] / 100.0, -change_pct[2] / 100.0, -change_pct[1] / 100.0
    use = math.prod(factor.estimate for factor in factors)
    down, up = (math.hypot(*(_log_reach(factor, side) for factor in factors)) for side in (-1, 1))
    if low > 0 or high < 0:
        near, far = (low, high) if low > 0 else (high, low)
        inner = use * share * math.exp(-math.hypot(math.log(share / near), down))
        outer = use * share * math.exp(math.hypot(math.log(far / share), up))
        return use * share, *((inner, outer) if low > 0 else (outer, inner))
    wide = use * math.expm1(up)
    return (
        use * share,
        use * share - math.hypot(use * (share - low), share * wide),
        use * share + math.hypot(use * (high - share), share * wide),
    )


def _log_reach(factor: Factor, side: int) -> float:
    end = factor.conf_low if side < 0 else factor.conf_high
    return abs(math.log(end / factor.estimate)) if math.isfinite(end) else 0.0
