"""How large a difference in wear and life a trial of this size can show.

Answers: with so many trucks per edge type, which difference is shown with 80 % power, and how many trucks does a wanted
difference need?

What is counted as shown is what the analysis counts: an interval of the difference that excludes none, with the truck as
the unit (`stats.power.power_to_show`). Two designs are set side by side: *parallel*, each truck carries one type, and
*rotated*, each truck carries every type for a share of the season.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd
from scipy.special import ndtri, stdtrit

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.formatting import counted, fixed, level_percent, listed, number, percent
from trialkit.planning.life_power import detectable_life_ratio
from trialkit.planning.schedule import Schedule, slope_error
from trialkit.planning.wear_plan import DESIGNS, PARALLEL, ROTATED, WearPlan
from trialkit.results import Summary
from trialkit.stats.power import Arm, least_detected, least_units, power_to_show

LARGEST_RATIO = 1000.0
"""A type that wears so many times slower is as good as one that does not wear."""
LARGEST_FASTER = 100.0
"""A type that wears so many times faster than the reference is not looked for."""
TRUCKS = tuple(range(2, 13))
NEVER = math.nan


@dataclass(frozen=True, eq=False)
class WearSizing(Summary):
    """Which differences in wear and life trials of several sizes can show.

    Attributes
    ----------
    table : DataFrame
        One row per design and number of trucks: `design`, `n_trucks` (that carry each edge type), `trucks_total`,
        `detectable_ratio` (how many times slower a type must wear to be shown), `detectable_faster` (how many times
        faster) and `detectable_life_ratio` (how many times as long it must last; missing without usable depths). Missing where no difference of any size is shown with the power planned for.
    plan : WearPlan
        What was assumed.
    """

    plan: WearPlan

    def row(self, n_trucks: int, design: str = PARALLEL) -> pd.Series:
        """The row of one design and number of trucks.

        Raises
        ------
        UsageError
            If the table has no such row.
        """
        found = self.table[(self.table[c.DESIGN] == design) & (self.table[c.N_TRUCKS] == n_trucks)]
        if found.empty:
            sizes = [str(n) for n in self.table.loc[self.table[c.DESIGN] == design, c.N_TRUCKS]]
            raise UsageError(
                f"No {design} trial with {n_trucks} trucks was sized; sized: {listed(sizes) or 'none'}."
            )
        return found.iloc[0]

    def sentence_for(self, n_trucks: int, design: str = PARALLEL, life: bool = False) -> str:
        """What a trial of one size can show, in words."""
        ratio = self.row(n_trucks, design)[c.DETECTABLE_LIFE_RATIO if life else c.DETECTABLE_RATIO]
        trucks = counted(n_trucks, "truck")
        start = (
            f"With {trucks} per type"
            if design == PARALLEL
            else f"With {trucks} that {'carries' if n_trucks == 1 else 'carry'} every type in turn"
        )
        what = "life" if life else "wear"
        if not math.isfinite(ratio):
            said = (
                f"{start} this trial cannot be counted on to show any difference in {what} ({self._surely()})"
            )
            return f"{said}{self._larger(n_trucks, design, life)}."
        return f"{start} this trial can show a difference in {what} of {rounded_up(ratio)} times or more ({self._surely()})."

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(
            self.sentence_for(int(n), design)
            for design, n in zip(self.table[c.DESIGN], self.table[c.N_TRUCKS], strict=True)
        )

    def sentence(self) -> str:
        """What the smallest and the largest parallel trial of the table can show."""
        said = self.sentences()
        return " ".join(dict.fromkeys((said[0], said[-1]))) if said else "No trial was sized."

    def _surely(self) -> str:
        return share_of_trials(self.plan.power)

    def _larger(self, n_trucks: int, design: str, life: bool) -> str:
        """What the next larger trial that shows anything would show; empty if none of the table does."""
        name = c.DETECTABLE_LIFE_RATIO if life else c.DETECTABLE_RATIO
        rows = self.table[(self.table[c.DESIGN] == design) & (self.table[c.N_TRUCKS] > n_trucks)]
        rows = rows[rows[name].notna()].sort_values(c.N_TRUCKS)
        if rows.empty:
            return ""
        first = rows.iloc[0]
        trucks = f"{int(first[c.N_TRUCKS])} trucks{' per type' if design == PARALLEL else ''}"
        return f"; {trucks} would show one of {rounded_up(first[name])} times or more"


def share_of_trials(power: float) -> str:
    """In how many trials something shows, in words.

    Examples
    --------
    >>> share_of_trials(0.8), share_of_trials(0.825)
    ('in 80 of 100 such trials', 'in 82.5% of such trials')
    """
    share = 100 * power
    if abs(share - round(share)) < 1e-9:
        return f"in {round(share)} of 100 such trials"
    return f"in {percent(share, 1)} of such trials"


def size_wear(plan: WearPlan, trucks: Sequence[int] = TRUCKS, designs: Sequence[str] = DESIGNS) -> WearSizing:
    """Which ratios of wear and life trials of these sizes can show.

    Use it before edges are bought. Not after the season: what was shown then stands in the intervals.

    Parameters
    ----------
    plan : WearPlan
        What is assumed.
    trucks : sequence of int
        Numbers of trucks that carry each type.
    designs : sequence of str
        ``"parallel"``, ``"rotated"`` or both.

    Returns
    -------
    WearSizing
        A parallel trial of n trucks per type takes n times the number of edge types, a rotated one n trucks.

    Raises
    ------
    UsageError
        If a design is not known or a number of trucks is below 1.

    Notes
    -----
    A truck's slope has the variance ``(CV^2 + CV_s^2 / stations) rate^2`` between trucks, CV_s the spread of stations of one
    set, plus that of `schedule.slope_error`. The two types
    scatter differently, since their rates differ. Lives are compared as shares of the usable depth worn per mile at the
    spot that takes a set off, as the analysis does; what its correction for the luck of the thinnest spot costs has no closed
    form, so their power is that of made-up trials (`life_power`).
    """
    _require_known(trucks, designs)
    rows = [_row(plan, design, int(n)) for design in designs for n in trucks]
    return WearSizing(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_method(plan),
        notes=tuple(_notes(plan, designs)),
        plan=plan,
    )


def power_of_ratio(
    plan: WearPlan, ratio: float, n_trucks: int, design: str = PARALLEL, n_reference: int | None = None
) -> float:
    """Probability that a type that wears `ratio` times slower than the reference is shown to do so.

    Parameters
    ----------
    plan : WearPlan
        What is assumed.
    ratio : float
        Reference wear over the type's wear; below 1 it wears faster, and that is what is to be shown.
    n_trucks : int
        Trucks that carry the type.
    design : str
        ``"parallel"`` or ``"rotated"``.
    n_reference : int, optional
        Trucks that carry the reference, if it is another number.
    """
    _require_known([n_trucks], [design])
    reference, other = _wear_arms(plan, ratio, design, n_reference or n_trucks, n_trucks)
    return _power(plan, design, reference, other, ratio >= 1)


def trucks_needed(plan: WearPlan, ratio: float, design: str = PARALLEL) -> int | None:
    """Fewest trucks per type that show a wear ratio with the power planned for; None if 1,000 are too few.

    Parameters
    ----------
    plan : WearPlan
        What is assumed.
    ratio : float
        Reference wear over the type's wear.
    design : str
        ``"parallel"`` or ``"rotated"``.
    """
    return least_units(lambda n: power_of_ratio(plan, ratio, n, design), plan.power)


TABLE_COLUMNS = [
    c.DESIGN, c.N_TRUCKS, c.TRUCKS_TOTAL, c.DETECTABLE_RATIO, c.DETECTABLE_FASTER, c.DETECTABLE_LIFE_RATIO,
]  # fmt: skip


def _row(plan: WearPlan, design: str, n: int) -> dict[str, object]:
    slower = least_detected(lambda r: power_of_ratio(plan, r, n, design), 1.0, LARGEST_RATIO, plan.power)
    faster = least_detected(lambda r: power_of_ratio(plan, 1 / r, n, design), 1.0, LARGEST_FASTER, plan.power)
    longer = detectable_life_ratio(plan, n, design) if math.isfinite(plan.depth_ratio) else NEVER
    total = n * plan.edge_types if design == PARALLEL else n
    return dict(zip(TABLE_COLUMNS, (design, n, total, slower, faster, longer), strict=True))


# ---------------------------------------------------------------- what is expected of the trucks
def _wear_arms(plan: WearPlan, ratio: float, design: str, n_reference: int, n: int) -> tuple[Arm, Arm]:
    schedule = plan.schedule_in(design)
    return (
        _arm(plan, schedule, plan.reference_rate, plan.reference_depth_in, n_reference),
        _arm(plan, schedule, plan.reference_rate / ratio, plan.other_depth_in, n),
    )


def _arm(plan: WearPlan, schedule: Schedule, rate: float, depth_in: float, n: int) -> Arm:
    """What is expected of n trucks with a type that wears at this rate. [in/1,000 mi]"""
    error = slope_error(schedule, rate, depth_in, n_trucks=n)
    stations = plan.station_cv**2 / (error.sets * schedule.stations)
    variance = (plan.truck_cv**2 + stations) * rate**2 + error.variance
    return Arm(rate, variance, n, error.floor * _known_against_estimated(n, plan.level_each), error.bound)


def _known_against_estimated(n: int, level: float) -> float:
    """Factor with which the wear analysis takes a known variance into a t interval: ``(z / t)^2``."""
    upper = (1 + level) / 2
    return float((ndtri(upper) / stdtrit(max(n - 1, 1), upper)) ** 2)


def _power(plan: WearPlan, design: str, reference: Arm, other: Arm, slower: bool) -> float:
    correlation = None
    if design == ROTATED:
        common = plan.route_share * plan.truck_cv**2 * reference.mean * other.mean
        correlation = common / math.sqrt(reference.variance * other.variance) if common else 0.0
    high, low = (reference, other) if slower else (other, reference)
    return power_to_show(high, low, correlation=correlation, confidence_level=plan.level_each)


def _require_known(trucks: Sequence[int], designs: Sequence[str]) -> None:
    unknown = [design for design in designs if design not in DESIGNS]
    if unknown:
        raise UsageError(f"{listed(unknown)} is not a design; the designs are: {listed(DESIGNS)}.")
    if any(n < 1 for n in trucks):
        raise UsageError("The number of trucks per edge type is 1 or more.")


# ---------------------------------------------------------------- words
def _method(plan: WearPlan) -> str:
    schedule = plan.schedule
    miles = sum(schedule.miles_mi) / len(schedule.miles_mi)
    error = f"{number(display.value(schedule.error_in, 'in'), 2)} {display.unit('in')}"
    step = step_words(schedule.step_in)
    return (
        f"A difference counts as shown when the {level_percent(plan.confidence_level)} interval of the comparison excludes none "
        f"({counted(plan.edge_types - 1, 'comparison')} with the reference, sharing the allowed error), with the truck as the "
        f"unit. Assumed: the reference wears {rate_words(plan.reference_rate)}; wear differs from truck to truck by "
        f"{percent(100 * plan.truck_cv)} and from station to station of a set by {percent(100 * plan.station_cv)}; {miles_words(miles)} a truck with the blade down; a reading every "
        f"{miles_words(schedule.every_mi)} at {counted(schedule.stations, 'station')}, off by {error} and rounded to {step}. "
        f"Power {percent(100 * plan.power)}: of wear by integration over the sample variances, of lives by made-up trials."
    )


def rounded_up(value: float, significant: int = 2) -> str:
    """A size with so many digits, never less than it is: what can be shown is not overstated.

    Examples
    --------
    >>> rounded_up(1.21), rounded_up(1.034), rounded_up(28.75)
    ('1.3', '1.04', '29')
    """
    if not math.isfinite(value):
        return "none"
    places = significant - 1 - math.floor(math.log10(abs(value)))
    places += int(1 < value < 1.1)
    return fixed(math.ceil(value * 10.0**places - 1e-9) / 10.0**places, max(places, 0))


def rate_words(rate: float) -> str:
    """A wear rate as a sentence says it."""
    unit = f"{display.unit('in')} per 1,000 {display.word('miles')}"
    return f"{number(display.value(rate, 'in/1000 mi'))} {unit}"


def miles_words(miles_mi: float) -> str:
    """A distance as a sentence says it, in whole miles."""
    return f"{display.value(miles_mi, 'mi'):,.0f} {display.word('miles')}"


def step_words(step_in: float) -> str:
    """The step of a tool as people read it off: a fraction of an inch where it is one, else with the digits that it has.

    Examples
    --------
    >>> step_words(0.0625), step_words(0.03125), step_words(0.01)
    ('1/16 in', '1/32 in', '0.01 in')
    """
    shown, unit = display.value(step_in, "in"), display.unit("in")
    parts = 1 / shown if shown > 0 else math.inf
    if unit == "in" and parts in (2, 4, 8, 16, 32, 64, 128):
        return f"1/{parts:.0f} {unit}"
    return f"{shown:.3g} {unit}"


def _notes(plan: WearPlan, designs: Sequence[str]) -> list[str]:
    notes = [
        "The spread from truck to truck is assumed; a trial in which it is larger shows less. The analysis says after the "
        "season how large it was."
    ]
    if ROTATED in designs:
        notes.append(
            f"In the rotated design {percent(100 * plan.route_share)} of the variance between trucks is taken to stay with the "
            "truck; each type gets a share of the miles, and half of the season may wear edges faster than the other, so the "
            "order of the types must be balanced."
        )
    if len(set(plan.schedule.miles_mi)) > 1:
        notes.append(
            "The trucks go different distances; what is stated holds for trucks picked among them at random."
        )
    return notes


def plans_by_type(
    plan: WearPlan,
    usable_depth_in: Mapping[str, float],
    reference: str,
    by_section: Collection[str] = (),
) -> dict[str, WearPlan]:
    """The plan for each edge type against the reference, with their usable depths.

    Parameters
    ----------
    plan : WearPlan
        What is assumed of all.
    usable_depth_in : mapping
        Edge type to its usable depth, reference included. [in]
    reference : str
        The reference edge type.
    by_section : collection of str
        Edge types whose sections are replaced singly.

    Returns
    -------
    dict
        Edge type to its plan, without the reference.
    """
    own = usable_depth_in[reference]
    return {
        name: replace(
            plan,
            reference_depth_in=own,
            other_depth_in=depth,
            reference_by_section=reference in by_section,
            other_by_section=name in by_section,
        )
        for name, depth in usable_depth_in.items()
        if name != reference
    }
