"""How large a difference in cab noise, and how large a change in material use, a trial of this size can show.

Answers: with so many trucks per edge type, how many decibels, or how many percent of salt, must a type save to be shown?

The truck is the unit, as in the analyses of sound and of material. Levels are compared as they are, in decibels; rates of
material on the log scale, within storms, so that the storms themselves drop out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import counted, fixed, level_percent, listed, percent
from trialkit.planning.sizing import TRUCKS, share_of_trials
from trialkit.planning.wear_plan import DESIGNS, PARALLEL, POWER, ROTATED
from trialkit.results import Summary
from trialkit.stats.power import Arm, least_detected, power_to_show, power_with_df

SOUND, MATERIAL = "sound", "material"
LARGEST_DB = 30.0
LARGEST_LOG = math.log(10.0)
"""Larger differences than these, 30 dB and a fall of 90 %, are not looked for: no edge type makes them."""


@dataclass(frozen=True, slots=True)
class DifferencePlan:
    """What is assumed about levels or rates before the season.

    Attributes
    ----------
    truck_spread : float
        Standard deviation from truck to truck with the same edge type: decibels for sound, a fraction for material.
    single_spread : float
        Standard deviation of a single sample, or of one truck in one storm once the storm is taken out, in the same unit.
    n_each : float
        Samples of each truck with each type, or storms in which each truck worked with it.
    shared : float
        Share of the variance from truck to truck that stays with the truck whichever type it carries; it cancels when types
        rotate.
    edge_types : int
        Edge types in the trial, the reference included.
    power : float
        Power that is planned for.
    confidence_level : float
        Two-sided level of the interval that must exclude no difference.

    Raises
    ------
    ValueError
        If a number is not one of that kind.
    """

    truck_spread: float
    single_spread: float
    n_each: float
    shared: float = 0.8
    edge_types: int = 2
    power: float = POWER
    confidence_level: float = 0.95

    def __post_init__(self) -> None:
        rules = {
            "truck_spread": (self.truck_spread >= 0, "0 or more"),
            "single_spread": (self.single_spread >= 0, "0 or more"),
            "n_each": (self.n_each >= 1, "1 or more"),
            "shared": (0 <= self.shared <= 1, "0 to 1"),
            "edge_types": (self.edge_types >= 2, "2 or more"),
            "power": (0 < self.power < 1, "above 0 and below 1, such as 0.8"),
            "confidence_level": (0 < self.confidence_level < 1, "above 0 and below 1, such as 0.95"),
        }
        wrong = [
            f"{name} is {getattr(self, name):g}; allowed: {what}"
            for name, (ok, what) in rules.items()
            if not ok
        ]
        if wrong:
            raise ValueError("; ".join(wrong))

    @property
    def level_each(self) -> float:
        """Level of the interval of each comparison, so that all of them together err no more than agreed."""
        return 1 - (1 - self.confidence_level) / (self.edge_types - 1)


@dataclass(frozen=True, eq=False)
class DifferenceSizing(Summary):
    """Which differences in sound or material trials of several sizes can show.

    Attributes
    ----------
    table : DataFrame
        One row per design and number of trucks: `design`, `n_trucks` (that carry each edge type), `trucks_total` and
        `detectable_db` or `detectable_pct`; missing where no difference of any size is shown with the power planned for.
    plan : DifferencePlan
        What was assumed.
    measure : str
        ``"sound"`` or ``"material"``.
    """

    plan: DifferencePlan
    measure: str

    @property
    def column(self) -> str:
        """Column of `table` that holds the difference."""
        return c.DETECTABLE_DB if self.measure == SOUND else c.DETECTABLE_PCT

    def sentence_for(self, n_trucks: int, design: str = PARALLEL) -> str:
        """What a trial of one size can show, in words.

        Raises
        ------
        UsageError
            If the table has no such row.
        """
        found = self.table[(self.table[c.DESIGN] == design) & (self.table[c.N_TRUCKS] == n_trucks)]
        if found.empty:
            raise UsageError(f"No {design} trial with {n_trucks} trucks was sized.")
        size = float(found[self.column].iloc[0])
        trucks = counted(n_trucks, "truck")
        start = (
            f"With {trucks} per type"
            if design == PARALLEL
            else f"With {trucks} that {'carries' if n_trucks == 1 else 'carry'} every type in turn"
        )
        sure = share_of_trials(self.plan.power)
        what = "cab noise" if self.measure == SOUND else "material use"
        if not math.isfinite(size):
            return f"{start} this trial cannot be counted on to show any plausible difference in {what} ({sure})."
        if self.measure == SOUND:
            return f"{start} this trial can show a difference in cab noise of {_up(size, 1)} dB or more ({sure})."
        return f"{start} this trial can show a fall in material use of {_up(size, 0)}% or more ({sure})."

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        rows = zip(self.table[c.DESIGN], self.table[c.N_TRUCKS], strict=True)
        return tuple(self.sentence_for(int(n), design) for design, n in rows)

    def sentence(self) -> str:
        """What the smallest and the largest trial of the table can show."""
        said = self.sentences()
        return " ".join(dict.fromkeys((said[0], said[-1]))) if said else "No trial was sized."


def size_sound(
    plan: DifferencePlan, trucks: Sequence[int] = TRUCKS, designs: Sequence[str] = DESIGNS
) -> DifferenceSizing:
    """Which difference in cab noise trials of these sizes can show. [dB]

    Use it for levels with the blade down under like conditions. Not for a dose or a shift's average, which mix tasks.

    Parameters
    ----------
    plan : DifferencePlan
        Spreads in decibels.
    trucks : sequence of int
        Numbers of trucks that carry each type.
    designs : sequence of str
        ``"parallel"``, ``"rotated"`` or both.

    Notes
    -----
    A truck's level has the variance ``truck_spread^2 + single_spread^2 / n_each``.
    """
    return _sized(plan, SOUND, trucks, designs, LARGEST_DB, lambda size: size)


def size_material(
    plan: DifferencePlan, trucks: Sequence[int] = TRUCKS, designs: Sequence[str] = DESIGNS
) -> DifferenceSizing:
    """Which fall in material use trials of these sizes can show. [%]

    Use it for rates per lane-mile compared within storms. Not for season totals.

    Parameters
    ----------
    plan : DifferencePlan
        Spreads as fractions: 0.2 is 20 %.
    trucks : sequence of int
        Numbers of trucks that carry each type.
    designs : sequence of str
        ``"parallel"``, ``"rotated"`` or both.

    Notes
    -----
    On the log scale, where a spread of a fraction v has the variance ``log(1 + v^2)``; a truck's mean over the storms has
    the variance between trucks plus that of one storm over `n_each`. A difference d is a fall of ``1 - exp(-d)``. The
    analysis lets all edge types share one variance between trucks, so its degrees of freedom are the trucks less the types;
    where types rotate, of k types on n trucks, ``(n - 2) (k - 1)``.
    """
    return _sized(plan, MATERIAL, trucks, designs, LARGEST_LOG, lambda size: 100 * -math.expm1(-size))


def power_of_difference(
    plan: DifferencePlan, size: float, n_trucks: int, design: str = PARALLEL, log: bool = False
) -> float:
    """Probability that a true difference of this size is shown.

    Parameters
    ----------
    plan : DifferencePlan
        What is assumed.
    size : float
        Difference in decibels, or of logarithms.
    n_trucks : int
        Trucks that carry each type.
    design : str
        ``"parallel"`` or ``"rotated"``.
    log : bool
        Whether the spreads are fractions and `size` is a difference of logarithms.
    """
    between, single = (np.log1p(s**2) if log else s**2 for s in (plan.truck_spread, plan.single_spread))
    variance = float(between + single / plan.n_each)
    correlation = 0.0
    if design == ROTATED and variance > 0:
        correlation = float(plan.shared * between / variance)
    if log:
        error = math.sqrt(2 * variance * (1 - correlation) / n_trucks)
        rotated_df = (n_trucks - 2) * (plan.edge_types - 1)  # the storms take out the periods
        df = (n_trucks - 1) * plan.edge_types if design == PARALLEL else rotated_df
        return power_with_df(size, error, df, confidence_level=plan.level_each)
    a, b = Arm(size, variance, n_trucks), Arm(0.0, variance, n_trucks)
    paired = correlation if design == ROTATED else None
    return power_to_show(a, b, correlation=paired, confidence_level=plan.level_each)


def _sized(
    plan: DifferencePlan,
    measure: str,
    trucks: Sequence[int],
    designs: Sequence[str],
    largest: float,
    shown_as: Callable[[float], float],
) -> DifferenceSizing:
    unknown = [design for design in designs if design not in DESIGNS]
    if unknown:
        raise UsageError(f"{listed(unknown)} is not a design; the designs are: {listed(DESIGNS)}.")
    column = c.DETECTABLE_DB if measure == SOUND else c.DETECTABLE_PCT
    rows = []
    for design in designs:
        for n in trucks:
            size = least_detected(
                lambda d, n=n, design=design: power_of_difference(plan, d, n, design, measure == MATERIAL),  # type: ignore[misc]
                0.0,
                largest,
                plan.power,
            )
            total = n * plan.edge_types if design == PARALLEL else n
            rows.append({c.DESIGN: design, c.N_TRUCKS: n, c.TRUCKS_TOTAL: total, column: shown_as(size)})
    return DifferenceSizing(
        table=pd.DataFrame(rows, columns=[c.DESIGN, c.N_TRUCKS, c.TRUCKS_TOTAL, column]),
        method=_method(plan, measure),
        notes=("The spreads are assumed; a trial in which they are larger shows less.",),
        plan=plan,
        measure=measure,
    )


def _method(plan: DifferencePlan, measure: str) -> str:
    def said(spread: float) -> str:
        return f"{fixed(spread, 1)} dB" if measure == SOUND else percent(100 * spread)

    single = "a single sample" if measure == SOUND else "one truck in one storm"
    each = counted(int(plan.n_each), "sample" if measure == SOUND else "storm")
    return (
        f"A difference counts as shown when the {level_percent(plan.confidence_level)} interval of the comparison excludes none "
        f"({counted(plan.edge_types - 1, 'comparison')} with the reference, sharing the allowed error), with the truck as the "
        f"unit. Assumed: a spread of {said(plan.truck_spread)} from truck to truck and of {said(plan.single_spread)} of {single}, "
        f"{each} of each truck with each type. Power {percent(100 * plan.power)}."
    )


def _up(value: float, decimals: int) -> str:
    """A size rounded up: what can be shown is not overstated."""
    return fixed(math.ceil(value * 10.0**decimals - 1e-9) / 10.0**decimals, decimals)
