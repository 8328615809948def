"""When the results are looked at, and what a difference must reach at each look.

Answers: is a look due, is this run one between the looks, and how small must a p value be for a decision?

The looks are agreed before the season as days or as shares of it. The error that is allowed is divided among them
(`stats.sequential`); a look that was planned counts as taken when its day is past. Whoever reads the results in between as if
they were final finds differences that are not there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from scipy.special import ndtri

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import counted, day, level_percent, number, percent
from trialkit.planning.season import Season
from trialkit.results import Summary
from trialkit.stats import sequential

FINAL, PLANNED, INTERIM, NO_LOOKS = "final look", "planned look", "interim", "no looks planned"
SPENDING_WORDS = {
    sequential.OBRIEN_FLEMING: "O'Brien and Fleming's kind of spending: next to none of the error early",
    sequential.POCOCK: "Pocock's kind of spending: about the same share of the error at each look",
}
LEVEL_DIGITS = 6
"""Digits to which the level of a look is rounded: the limits are worked out by numerical integration."""
NEAR = dt.timedelta(days=7)
"""A run whose data end within so many days of a planned look is that look (common practice, no source)."""
LAST_SHARE = 0.9
"""The last planned look is the final one from this share of the season on (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class LookPlan(Summary):
    """The planned looks and their limits.

    Attributes
    ----------
    table : DataFrame
        One row per look: `look`, `date`, `information` (share of the season), `alpha_spent` (error spent up to and with this
        look), `z_limit`, `nominal_p` (a difference counts as shown with a p value below it).
    season : Season
        The season that the shares refer to.
    spending : str
        How the error is spent.
    confidence_level : float
        One minus the error allowed over all looks.
    """

    season: Season
    spending: str
    confidence_level: float

    @property
    def n_looks(self) -> int:
        """Number of looks, the final one included."""
        return len(self.table)

    def t_limits(self, df: float) -> pd.Series:
        """The t limit of each look with these degrees of freedom."""
        limits = [sequential.t_limit(p, df) for p in self.table[c.NOMINAL_P]]
        return pd.Series(limits, self.table[c.LOOK], name=c.T_LIMIT)

    @property
    def final_level(self) -> float:
        """Level of the intervals by which the final look decides."""
        return round(1 - float(self.table[c.NOMINAL_P].iloc[-1]), LEVEL_DIGITS)

    def sentence(self) -> str:
        """The looks in words."""
        if self.n_looks == 1:
            row = self.table.iloc[0]
            return f"One look is planned, the final one on {day(row[c.DATE])}; a difference is shown with p below {p_words(row[c.NOMINAL_P])}."
        said = [
            f"{day(row[c.DATE])} (p below {p_words(row[c.NOMINAL_P])})"
            for row in self.table.to_dict("records")
        ]
        return f"{self.n_looks} looks are planned: {'; '.join(said[:-1])}; and the final one on {said[-1]}."


def plan_looks(
    looks: Sequence[dt.date | float],
    season: Season,
    *,
    spending: str = sequential.OBRIEN_FLEMING,
    confidence_level: float = 0.95,
) -> LookPlan:
    """The days and limits of the planned looks.

    Use it before the season. Where the last planned look comes well before the end of the season a final look at its end is
    added.

    Parameters
    ----------
    looks : sequence of date or float
        Days, or shares of the season above 0 and at most 1, as in the setting ``plan.looks``.
    season : Season
        First and last day.
    spending : str
        ``"obrien_fleming"`` or ``"pocock"``.
    confidence_level : float
        One minus the error allowed over all looks.

    Returns
    -------
    LookPlan

    Raises
    ------
    UsageError
        If a look lies before the season, or the spending is not known.

    Notes
    -----
    The share of information at a look is the share of the days of the season up to the final look.
    """
    if spending not in sequential.SPENDINGS:
        raise UsageError(
            f'"{spending}" is not a way to spend the error; allowed: {", ".join(sequential.SPENDINGS)}.'
        )
    days, added = _days(looks, season)
    length = (days[-1] - season.start).days
    shares = [(look - season.start).days / length for look in days]
    limits = sequential.spending_limits(shares, 1 - confidence_level, spending)
    table = pd.DataFrame(
        {
            c.LOOK: range(1, len(days) + 1),
            c.DATE: days,
            c.INFORMATION: limits.information,
            c.ALPHA_SPENT: limits.alpha_spent,
            c.Z_LIMIT: limits.z,
            c.NOMINAL_P: limits.nominal_p,
        }
    )
    notes = []
    if added:
        notes.append(
            "The last planned look comes well before the end of the season, so a final one at its end was added."
        )
    if season.end_assumed and (added or any(not isinstance(look, dt.date) for look in looks)):
        notes.append(f"The end of the season is not known; {day(season.end)} is assumed.")
    return LookPlan(
        table=table,
        method=(
            f"{SPENDING_WORDS[spending]} (Lan and DeMets), {level_percent(confidence_level)} over all looks; the limits by "
            "numerical integration."
        ),
        notes=tuple(notes),
        season=season,
        spending=spending,
        confidence_level=confidence_level,
    )


@dataclass(frozen=True, eq=False)
class LookStatus:
    """What a run of the report with these data is: a planned look, the final one, or one in between.

    Attributes
    ----------
    kind : str
        ``"planned look"``, ``"final look"``, ``"interim"`` or ``"no looks planned"``.
    data_date : date
        Last day of the data.
    plan : LookPlan
        The planned looks.
    number : int
        Number of the look; in between the number of looks that are past.
    nominal_p : float or None
        A difference counts as shown with a p value below it; None in between, where nothing is decided.
    alpha_spent : float
        Error spent by the looks so far, this one included.
    next_look : date or None
        Day of the next planned look.
    unplanned : int
        Runs that were no planned look, this one included if it is none.
    false_findings : float
        Chance of finding a difference that is not there if every run so far and the final look are read at the agreed level.
    notes : tuple of str
        Caveats that the report must print.
    """

    kind: str
    data_date: dt.date
    plan: LookPlan
    number: int
    nominal_p: float | None
    alpha_spent: float
    next_look: dt.date | None
    unplanned: int
    false_findings: float
    notes: tuple[str, ...] = ()

    @property
    def is_interim(self) -> bool:
        """Whether this run lies between the looks; its report is marked so and says nothing of differences."""
        return self.kind == INTERIM

    @property
    def decides(self) -> bool:
        """Whether a finding of this run may be acted on."""
        return self.nominal_p is not None

    @property
    def confidence_level(self) -> float:
        """Level of the intervals by which this look decides; the agreed one in between."""
        return (
            self.plan.confidence_level if self.nominal_p is None else round(1 - self.nominal_p, LEVEL_DIGITS)
        )

    def t_limit(self, df: float) -> float | None:
        """The t limit with these degrees of freedom; None where nothing is decided."""
        return None if self.nominal_p is None else sequential.t_limit(self.nominal_p, df)

    def sentence(self) -> str:
        """What this run is, in words."""
        total = self.plan.n_looks
        agreed = level_percent(self.plan.confidence_level)
        if self.kind == NO_LOOKS:
            return f"No looks were planned; a difference counts as shown at {agreed}."
        if self.kind == INTERIM:
            when = (
                f"the next planned look is on {day(self.next_look)}"
                if self.next_look
                else "no further look is planned"
            )
            past = (
                f"{counted(self.number, 'planned look')} of {total} past"
                if self.number
                else "before the first planned look"
            )
            return f"Interim, not for decision: the data end on {day(self.data_date)}, {past}; {when}."
        needed = f"a difference counts as shown with a p value below {p_words(self.nominal_p or 0.0)}"
        matched = f"the intervals are drawn to match, at {percent(100 * self.confidence_level, 1)}"
        if self.kind == FINAL:
            if total == 1:
                return f"Final look: {needed}."
            before = percent_words(self.plan.table[c.ALPHA_SPENT].iloc[-2])
            return f"Final look: {needed}, since {before} of error was spent before; {matched}."
        return (
            f"Planned look {self.number} of {total}{self._when()}: {needed}, which uses {percent_words(self.alpha_spent)} of error; "
            f"{matched}."
        )

    def _when(self) -> str:
        """The days of a planned look: of the data, and of the plan where it was taken late."""
        planned = self.plan.table[c.DATE].iloc[self.number - 1]
        if self.data_date <= planned + NEAR:
            return f", on data up to {day(self.data_date)}"
        return f", planned for {day(planned)} and taken late, on data up to {day(self.data_date)}"

    def unplanned_sentence(self) -> str:
        """How many runs were not planned and what that does; empty if there was none."""
        if not self.unplanned:
            return ""
        runs = counted(self.unplanned, "look was", "looks were")
        return (
            f"{runs} not planned; were every look up to the final one read at {level_percent(self.plan.confidence_level)}, a "
            f"difference that is not there would be found in {percent(100 * self.false_findings)} of such trials instead of "
            f"{percent_words(1 - self.plan.confidence_level)}."
        )


def look_status(
    looks: Sequence[dt.date | float],
    season: Season,
    data_date: dt.date,
    *,
    earlier_runs: Sequence[dt.date] = (),
    spending: str = sequential.OBRIEN_FLEMING,
    confidence_level: float = 0.95,
) -> LookStatus:
    """What a run of the report is: a planned look, the final one, or one in between.

    Use it in every report, before any verdict.

    Parameters
    ----------
    looks : sequence of date or float
        The planned looks; see `plan_looks`.
    season : Season
        First and last day, and whether it is over.
    data_date : date
        Last day of the data.
    earlier_runs : sequence of date
        Last days of the data of earlier runs; a day that comes twice is one run.
    spending, confidence_level
        As for `plan_looks`.

    Returns
    -------
    LookStatus

    Notes
    -----
    A run whose data end within a week of a planned look is that look. A later one is it as well if no earlier run was.
    From the final look on, or once the season is over, every run is the final look: data that are corrected afterwards do not
    make a new one. A planned look counts as taken when its day is past, whether there was a run or not, so that the limits do not
    depend on which runs were kept.
    """
    plan = plan_looks(looks, season, spending=spending, confidence_level=confidence_level)
    days = list(plan.table[c.DATE])
    runs = sorted({run for run in earlier_runs if run < data_date} | {data_date})
    taken = _taken(runs, days, season)
    unplanned = sum(look is None for look in taken)
    false = _false_findings(runs, season, days[-1], 1 - confidence_level)
    if not looks:
        notes = () if season.over else (NO_LOOKS_NOTE,)
        return LookStatus(
            NO_LOOKS, data_date, plan, 0, 1 - confidence_level, 1 - confidence_level, None, 0, false, notes
        )
    now = taken[-1]
    past = sum(look - NEAR <= data_date for look in days[:-1]) if now is None else now
    spent = float(plan.table[c.ALPHA_SPENT].iloc[past - 1]) if past else 0.0
    return LookStatus(
        kind=INTERIM if now is None else FINAL if now == len(days) else PLANNED,
        data_date=data_date,
        plan=plan,
        number=past,
        nominal_p=None if now is None else float(plan.table[c.NOMINAL_P].iloc[now - 1]),
        alpha_spent=spent,
        next_look=days[past] if past < len(days) else None,
        unplanned=unplanned,
        false_findings=false,
        notes=plan.notes,
    )


NO_LOOKS_NOTE = (
    "No looks were planned, and the data do not say that the season is over. Results that are read again and again until one "
    "looks right find differences that are not there."
)


def _days(looks: Sequence[dt.date | float], season: Season) -> tuple[list[dt.date], bool]:
    """The looks as days in order, and whether a final one was added."""
    length = (season.end - season.start).days
    days = sorted(
        {
            look
            if isinstance(look, dt.date)
            else season.start + dt.timedelta(days=round(float(look) * length))
            for look in looks
        }
    )
    if days and days[0] <= season.start:
        raise UsageError(
            f"A look is planned for {day(days[0])}, which is not after the start of the season on {day(season.start)}. "
            "Correct plan.looks in trial.toml."
        )
    if days and (days[-1] - season.start).days >= season.least_last_days(LAST_SHARE):
        return days, False
    end = max([season.end, *days])
    return [*days, end] if end not in days else days, bool(looks)


def _taken(runs: Sequence[dt.date], days: Sequence[dt.date], season: Season) -> list[int | None]:
    """Number of the planned look that each run is; None for a run in between."""
    found: list[int | None] = []
    for run in runs:
        if run >= days[-1] - NEAR or (season.over and season.end <= run):
            found.append(len(days))
            continue
        near = [k for k, look in enumerate(days, start=1) if abs(run - look) <= NEAR]
        past = [k for k, look in enumerate(days, start=1) if look <= run]
        late = past[-1] if past and past[-1] not in found else None
        found.append(near[-1] if near else late)
    return found


def _false_findings(runs: Sequence[dt.date], season: Season, final: dt.date, alpha: float) -> float:
    """Chance of a false finding if each of these runs and the final look are read at the agreed level."""
    length = max((final - season.start).days, 1)
    shares = sorted({min(max((run - season.start).days, 1) / length, 1.0) for run in runs} | {1.0})
    z = float(-ndtri(alpha / 2))
    return float(sequential.crossing_probabilities([z] * len(shares), shares).sum())


def p_words(p: float) -> str:
    """A p value with two digits, or "0.0001" for what is smaller."""
    return "0.0001" if p < 1e-4 else number(p, 2)


def percent_words(share: float) -> str:
    """A small probability in percent: ``"0.31%"``, ``"5%"``."""
    value = 100 * share
    return "less than 0.01%" if value < 0.01 else f"{float(f'{value:.2g}'):g}%"
