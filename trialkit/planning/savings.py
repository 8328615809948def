"""Which saving in the cost of edges a trial of some size can show, at known prices.

Answers: how much longer must a dearer edge last before the trial shows that it is cheaper per mile, and would a saving that is
just worth a change be seen?

What is counted is the price of a set over its life, so that the saving is ``1 - price ratio / life ratio``. Labor, down time,
kits and breakage are left out: before the season nobody knows them well enough.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.formatting import counted, level_percent, listed, number, percent
from trialkit.planning.life_power import detectable_life_ratio
from trialkit.planning.sizing import rounded_up, share_of_trials
from trialkit.planning.wear_plan import PARALLEL, WearPlan
from trialkit.results import Summary

TABLE_COLUMNS = [c.DESIGN, c.N_TRUCKS, c.DETECTABLE_LIFE_RATIO, c.DETECTABLE_SAVING_PCT]
NOTES = (
    "Savings are those in the price of edges per mile, a set over its life. Labor, down time, kits and breakage are left out, and the "
    "prices are taken as known.",
)


@dataclass(frozen=True, eq=False)
class SavingSizing(Summary):
    """Which savings in the cost of edges trials of several sizes can show.

    Attributes
    ----------
    table : DataFrame
        One row per number of trucks: `design`, `n_trucks` (that carry each edge type), `detectable_life_ratio` (how many times
        as long as the reference the type must last to be shown cheaper) and `detectable_saving_pct` (what it then saves per
        mile, of the cost of the reference). Missing where nothing can be counted on to show.
    plan : WearPlan
        What was assumed.
    price_ratio : float
        Price of a set over that of a set of the reference.
    worthwhile_pct : float
        Smallest saving that is worth a change; 0 if none was set. [%]
    name, reference_name : str
        What sentences call the two edge types.
    """

    plan: WearPlan
    price_ratio: float
    worthwhile_pct: float
    name: str
    reference_name: str

    def saving_pct(self, n_trucks: int) -> float:
        """Smallest saving that a trial of this size shows; NaN if none can be counted on. [%]"""
        return self._of(n_trucks, c.DETECTABLE_SAVING_PCT)

    def _of(self, n_trucks: int, column: str) -> float:
        found = self.table.loc[self.table[c.N_TRUCKS] == n_trucks, column]
        if found.empty:
            sizes = listed([str(n) for n in self.table[c.N_TRUCKS]])
            raise UsageError(f"No trial with {n_trucks} trucks was sized; sized: {sizes or 'none'}.")
        return float(found.iloc[0])

    def sentence_for(self, n_trucks: int) -> str:
        """What a trial of one size can show of the saving, beside the smallest that is worth a change."""
        saving = self.saving_pct(n_trucks)
        dearer = f"At {number(self.price_ratio, 2)} times the price of a set of {self.reference_name}"
        surely = share_of_trials(self.plan.power)
        if not math.isfinite(saving):
            said = f"{dearer}, {self.name} cannot be counted on to be shown cheaper per {display.word('mile')} ({surely})"
            return f"{said}. {self._worthwhile(n_trucks)}".strip()
        ratio = rounded_up(self._of(n_trucks, c.DETECTABLE_LIFE_RATIO))
        return (
            f"{dearer}, {self.name} must last {ratio} times as long, or more, to be shown cheaper: a saving of "
            f"{saving_words(saving)} in the price of edges per {display.word('mile')} ({surely}). {self._worthwhile(n_trucks)}"
        ).strip()

    def brief_for(self, n_trucks: int) -> str:
        """The same in brief, without the lives that it takes."""
        saving, surely = self.saving_pct(n_trucks), share_of_trials(self.plan.power)
        what = f"saving in the price of edges per {display.word('mile')}"
        if not math.isfinite(saving):
            return f"No {what} can be counted on to show ({surely}). {self._worthwhile(n_trucks)}".strip()
        return f"It can show a {what} of {saving_words(saving)} or more ({surely}). {self._worthwhile(n_trucks)}".strip()

    def sentence(self) -> str:
        """What the largest trial of the table can show."""
        return (
            self.sentence_for(int(self.table[c.N_TRUCKS].max())) if len(self.table) else "No trial was sized."
        )

    def _worthwhile(self, n_trucks: int) -> str:
        if not self.worthwhile_pct:
            return ""
        start = f"The smallest saving worth a change, {percent(self.worthwhile_pct, 1 if self.worthwhile_pct % 1 else 0)},"
        if self.saving_pct(n_trucks) <= self.worthwhile_pct:
            return f"{start} can be shown."
        enough = self.table[self.table[c.DETECTABLE_SAVING_PCT] <= self.worthwhile_pct][c.N_TRUCKS]
        larger = [int(n) for n in enough if n > n_trucks]
        most = int(self.table[c.N_TRUCKS].max())
        if larger:
            return f"{start} cannot be counted on to show; it takes {counted(min(larger), 'truck')} per type."
        more = f", not even with {most} trucks per type" if most > n_trucks else ""
        return f"{start} cannot be counted on to show{more}."


def size_savings(
    plan: WearPlan,
    price_ratio: float,
    trucks: Sequence[int],
    design: str = PARALLEL,
    *,
    worthwhile_pct: float = 0.0,
    whole_interval: bool = False,
    name: str = "the other type",
    reference_name: str = "the reference",
) -> SavingSizing:
    """Which savings in the cost of edges trials of these sizes can show.

    Use it when prices are known and cost decides. Not where the conversion or the work of a change is a large part of the cost.

    Parameters
    ----------
    plan : WearPlan
        What is assumed of the two types; both usable depths are needed.
    price_ratio : float
        Price of a set over that of a set of the reference.
    trucks : sequence of int
        Numbers of trucks that carry each type.
    design : str
        ``"parallel"`` or ``"rotated"``.
    worthwhile_pct : float
        Smallest saving that is worth a change. [%]
    whole_interval : bool
        Whether the whole interval must reach it, and not only exclude no difference.
    name, reference_name : str
        What sentences call the two types.

    Raises
    ------
    UsageError
        If the ratio of the prices is not above 0, or the saving is not below 100%.

    Notes
    -----
    A type is cheaper per mile when its life ratio exceeds the ratio of the prices. That is shown when the interval of
    ``price x sets used per mile`` excludes no difference, the prices being constants; the ratio of lives from which on that
    happens with the power planned for is `life_power.detectable_life_ratio` beyond the ratio of the prices, R, and the saving
    is ``100 (1 - price ratio / R)``.
    """
    if not (math.isfinite(price_ratio) and price_ratio > 0):
        raise UsageError(f"The ratio of the prices is {price_ratio:g}; allowed: above 0.")
    if not 0 <= worthwhile_pct < 100:
        raise UsageError(f"The smallest saving is {worthwhile_pct:g}%; allowed: 0 to 100.")
    beyond = price_ratio / (1 - worthwhile_pct / 100) if whole_interval else price_ratio
    rows = []
    for n in trucks:
        ratio = detectable_life_ratio(plan, int(n), design, beyond)
        rows.append((design, int(n), ratio, 100 * (1 - price_ratio / ratio)))
    method = (
        f"A saving counts as shown when the {level_percent(plan.confidence_level)} interval of the difference in the price of edges per "
        f"{display.word('mile')} excludes {'a smaller saving than the smallest worthwhile one' if whole_interval else 'none'}; the prices "
        "are constants, the lives vary as they do for the comparison of lives."
    )
    return SavingSizing(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS), method=method, notes=NOTES, plan=plan, price_ratio=price_ratio,
        worthwhile_pct=worthwhile_pct, name=name, reference_name=reference_name,
    )  # fmt: skip


def saving_words(saving_pct: float) -> str:
    """A saving in whole percent, never less than it is: what can be shown is not overstated.

    Examples
    --------
    >>> saving_words(66.2), saving_words(67.0)
    ('67%', '67%')
    """
    return percent(math.ceil(saving_pct - 1e-9))
