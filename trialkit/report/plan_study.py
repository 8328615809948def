"""From a trial folder before its season to its plan: how large the trial is, who carries what, how well it is read.

Answers: what goes into the plan of this trial, and what comes out?

As `study` does for wear: this is where a trial meets the planning, which takes plain frames and values. A folder that has
begun can be planned from as well; the plan then says so.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.planning import assignment, savings, sizing
from trialkit.planning.balance import covariate_balance
from trialkit.planning.gauge import NO_TOOL, GaugeStudy, fit_gauge
from trialkit.planning.looks import LookPlan, plan_looks
from trialkit.planning.miles_needed import MilesNeeded, miles_needed
from trialkit.planning.schedule import Schedule
from trialkit.planning.season import Season
from trialkit.report import plan_savings, study
from trialkit.settings import Plan
from trialkit.table_parts import POSITIONS
from trialkit.trial.checks import Trial
from trialkit.trial.heightchecks import repeatability_of

TRUCKS, ASSIGNMENTS, MILES = "trucks", "assignments", "fleet_plan"
SIZES = (2, 3, 4, 6, 8, 12)
"""Trucks per edge type for which a trial is sized, beside the number that there is."""
SLOWER = 10.0
"""The miles until wear is seen are also given for a type that wears so many times slower than the reference."""
SLOWER_LABEL = f"a type that wears {SLOWER:g} times slower"


@dataclass(frozen=True, eq=False)
class Assigned:
    """Who carries what, drawn now or before.

    Attributes
    ----------
    table : DataFrame
        Rows of `assignments`, with the `block` of each plow.
    balance : DataFrame
        As `balance.covariate_balance` gives it.
    sentences, notes : tuple of str
        How it came about, and what to keep in mind.
    seed : int
        The seed of the draw.
    kept : bool
        Whether the folder had it already.
    repeatable : bool
        Whether the seed gives it again.
    without : tuple of str
        Plows that have no edge type.
    """

    table: pd.DataFrame
    balance: pd.DataFrame
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    seed: int
    kept: bool
    repeatable: bool
    without: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class TrialPlan:
    """Everything that the plan of a trial says.

    Attributes
    ----------
    trial : Trial
        The folder, as far as a plan needs it.
    begun_on : date or None
        Day of the first install; None before the season.
    assigned : Assigned
        Who carries what.
    position : str
        Plow position for which the trial is sized: the one with the most plows.
    n_trucks : int
        Trucks per edge type on it: the fewest of any type.
    sizes : mapping of str to WearSizing
        Edge type to what can be shown of it against the reference; empty if there is nothing to compare.
    schedule : Schedule
        Miles, readings and reading error that were assumed.
    looks : LookPlan or None
        The planned looks with their limits; None where no look is planned or the season has no first day yet.
    miles : MilesNeeded
        Miles until readings say something.
    gauge : GaugeStudy or None
        How far off a reading is; None where that was not studied.
    gauge_missing : str
        Why it was not studied; empty if it was.
    labels : mapping
        Edge type to its printed name.
    prices : mapping
        Edge type to the price of a set and the table that says so; a type without a known price is not in it.
    savings : mapping of str to SavingSizing
        Edge type to what can be shown of its saving in the cost of edges; empty unless cost decides, and without the types
        whose price, or that of the reference, is not known.
    """

    trial: Trial
    begun_on: dt.date | None
    assigned: Assigned
    position: str
    n_trucks: int
    sizes: Mapping[str, sizing.WearSizing]
    schedule: Schedule
    miles: MilesNeeded
    looks: LookPlan | None
    gauge: GaugeStudy | None
    gauge_missing: str
    labels: Mapping[str, str]
    prices: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    savings: Mapping[str, savings.SavingSizing] = field(default_factory=dict)

    @property
    def agreed(self) -> Plan:
        """What the settings say was agreed."""
        return self.trial.settings.plan

    @property
    def reference(self) -> str:
        """The reference edge type."""
        return self.trial.settings.reference_edge_type

    @property
    def others(self) -> tuple[str, ...]:
        """The edge types that are compared with it."""
        return tuple(name for name in edge_types(self.trial) if name != self.reference)

    @property
    def is_about_life(self) -> bool:
        """Whether the trial is sized by lives; a cost per mile rests on them."""
        return self.agreed.primary_measure != "wear"


def plan_trial(trial: Trial, begun_on: dt.date | None = None, seed: str = "") -> TrialPlan:
    """Size a trial, draw who carries what unless that is settled, and say how well edges are read.

    Parameters
    ----------
    trial : Trial
        The folder; see `unstarted.check_trial_to_plan`.
    begun_on : date, optional
        Day of the first install.
    seed : str
        Seed of the draw, if not that of the settings.

    Raises
    ------
    UsageError
        If there are fewer than two edge types, the seed is not a whole number, or a forced assignment cannot be carried out.
    """
    assigned = who_carries_what(trial, seed)
    gauge, gauge_missing = gauge_study(trial)
    position, n_trucks = trucks_per_type(trial, assigned.table)
    schedule = reading_schedule(trial, position)
    rate = reference_rate(trial)
    labels = study.labels(trial)
    sized, prices = sizes(trial, schedule, n_trucks), plan_savings.prices_of_sets(trial)
    rates = {trial.settings.reference_edge_type: rate, SLOWER_LABEL: rate / SLOWER}
    return TrialPlan(
        trial=trial, begun_on=begun_on, assigned=assigned, position=position, n_trucks=n_trucks,
        sizes=sized, schedule=schedule,
        miles=miles_needed(schedule, rates, {**labels, SLOWER_LABEL: SLOWER_LABEL}),
        looks=planned_looks(trial, begun_on), gauge=gauge, gauge_missing=gauge_missing, labels=labels,
        prices=prices, savings=plan_savings.savings_to_show(trial, sized, prices),
    )  # fmt: skip


def edge_types(trial: Trial) -> list[str]:
    """The edge types of the trial, the reference first."""
    names = [str(name) for name in trial[study.TYPES][c.EDGE_TYPE]]
    reference = trial.settings.reference_edge_type
    return [reference, *(name for name in names if name != reference)]


# ---------------------------------------------------------------- who carries what
def who_carries_what(trial: Trial, seed: str = "") -> Assigned:
    """The assignment of the folder; drawn where it has none, or only plows that are forced.

    Parameters
    ----------
    trial : Trial
        The folder.
    seed : str
        Seed of the draw, if not that of the settings.
    """
    number = seed_number(seed, trial.settings.seed)
    there = _plain(trial[ASSIGNMENTS])
    plows = _plows(trial)
    settled = {
        (truck, place) for truck, place in there[[c.TRUCK_ID, c.PLOW_POSITION]].itertuples(index=False)
    }
    without = [plow for plow in plows if plow not in settled]
    if without and (there[c.HOW].isin(("", assignment.RANDOM)) & there[c.REASON].eq("")).sum() == 0:
        drawn = _draw(trial, number, there)
        return _assigned(
            trial, drawn.table, drawn.sentences(), drawn.notes, number, kept=False, repeatable=True
        )
    again = _drawn_again(trial, number, there)
    if again is not None:
        return _assigned(trial, there, again.sentences(), again.notes, number, kept=True, repeatable=True)
    said = _kept_sentences(there)
    left = tuple(f"{truck} {place}" for truck, place in without)
    return _assigned(trial, there, said, (), number, kept=True, repeatable=False, without=left)


def seed_number(seed: str, otherwise: int) -> int:
    """The seed as a number; that of the settings where none is given."""
    text = str(seed).strip()
    if not text:
        return otherwise
    if not (text.isascii() and text.isdecimal()):
        raise UsageError(f'The seed is "{text}"; allowed: a whole number, 0 or more.')
    return int(text)


def new_rows(trial: Trial, assigned: Assigned) -> pd.DataFrame:
    """The rows that the folder's table of assignments does not have yet."""
    there = _plain(trial[ASSIGNMENTS])
    keys = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD]
    known = set(there[keys].itertuples(index=False, name=None))
    rows = assigned.table[assignment.TABLE_COLUMNS]
    return rows[[key not in known for key in rows[keys].itertuples(index=False, name=None)]]


def periods_of(trial: Trial) -> int:
    """Periods of the season: as many as edge types where these rotate, else one."""
    return len(edge_types(trial)) if trial.settings.plan.design == sizing.ROTATED else 1


def _plows(trial: Trial) -> list[tuple[str, str]]:
    trucks = trial[TRUCKS]
    return list(zip(trucks[c.TRUCK_ID].astype(str), trucks[c.PLOW_POSITION].astype(str), strict=True))


def _plain(assignments: pd.DataFrame) -> pd.DataFrame:
    """The table with plain text; a blank period is 1."""
    frame = assignments.reindex(columns=assignment.TABLE_COLUMNS).astype(object)
    frame = frame.where(frame.notna(), "")
    frame[c.PERIOD] = [int(period) if period != "" else 1 for period in frame[c.PERIOD]]
    return frame.reset_index(drop=True)


def _draw(trial: Trial, seed: int, forced: pd.DataFrame | None) -> assignment.Assignment:
    return assignment.assign_edge_types(
        trial[TRUCKS],
        edge_types(trial),
        seed,
        periods=periods_of(trial),
        forced=forced,
        expected_miles=trial[MILES] if trial.has(MILES) else None,
        labels=study.labels(trial),
    )


def _drawn_again(trial: Trial, seed: int, there: pd.DataFrame) -> assignment.Assignment | None:
    """The draw that gives the same table again with this seed; None if it does not."""
    try:
        again = _draw(trial, seed, there[there[c.HOW] != assignment.RANDOM])
    except UsageError:  # a row that was written by hand need not be one that can be drawn
        return None
    columns = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE]
    rows = [set(frame[columns].itertuples(index=False, name=None)) for frame in (again.table, there)]
    return again if rows[0] == rows[1] else None


def _kept_sentences(there: pd.DataFrame) -> tuple[str, ...]:
    from trialkit.formatting import counted

    n = len(there[[c.TRUCK_ID, c.PLOW_POSITION]].drop_duplicates())
    drawn = there[there[c.HOW] == assignment.RANDOM]
    n_drawn = len(drawn[[c.TRUCK_ID, c.PLOW_POSITION]].drop_duplicates())
    return (
        f"The assignment of {counted(n, 'plow')} stands in the trial folder already and was kept; it says of {n_drawn} of them "
        "that they were drawn at random.",
    )


def _assigned(
    trial: Trial,
    table: pd.DataFrame,
    sentences: tuple[str, ...],
    notes: tuple[str, ...],
    seed: int,
    *,
    kept: bool,
    repeatable: bool,
    without: tuple[str, ...] = (),
) -> Assigned:
    keys = [c.TRUCK_ID, c.PLOW_POSITION]
    known = [name for name in (c.BLOCK, c.PLOW_WIDTH_FT, c.PLOW_TYPE) if name in trial[TRUCKS]]
    trucks = trial[TRUCKS][[*keys, *known]].astype(dict.fromkeys(keys, str))
    first = table[table[c.PERIOD] == 1].merge(trucks, on=keys, how="left")
    miles = trial[MILES].astype(dict.fromkeys(keys, str)) if trial.has(MILES) else None
    return Assigned(
        table=table.merge(trucks[[*keys, c.BLOCK]], on=keys, how="left"),
        balance=covariate_balance(first, edge_types(trial), miles),
        sentences=sentences, notes=notes, seed=seed, kept=kept, repeatable=repeatable, without=without,
    )  # fmt: skip


# ---------------------------------------------------------------- when the results are looked at
def planned_looks(trial: Trial, begun_on: dt.date | None = None) -> LookPlan | None:
    """The planned looks with their limits; None where none is planned or the season has no first day yet.

    Parameters
    ----------
    trial : Trial
        The folder.
    begun_on : date, optional
        Day of the first install, from which a season counts that has no first day in the settings.
    """
    agreed = trial.settings.plan
    start = agreed.season_start or begun_on
    if start is None or not agreed.looks:
        return None
    season = Season(start, agreed.season_end) if agreed.season_end else Season.starting(start)
    return plan_looks(
        agreed.looks, season, spending=agreed.spending, confidence_level=trial.settings.confidence_level
    )


# ---------------------------------------------------------------- how large
def trucks_per_type(trial: Trial, table: pd.DataFrame) -> tuple[str, int]:
    """The plow position with the most plows, and the fewest trucks on it that carry any one edge type."""
    places = [place for _, place in _plows(trial)]
    position = max(POSITIONS, key=places.count)
    here = table[table[c.PLOW_POSITION] == position]
    if trial.settings.plan.design == sizing.ROTATED:
        return position, places.count(position)
    counts = here[here[c.PERIOD] == 1][c.EDGE_TYPE].astype(str).value_counts()
    return position, min(int(counts.get(name, 0)) for name in edge_types(trial))


def reading_schedule(trial: Trial, position: str) -> Schedule:
    """Miles and readings that are expected; the reading error is that of the gauge study where there is one."""
    agreed = trial.settings.plan
    miles = expected_miles(trial, position)
    repeatability = repeatability_of(trial[study.GAUGE]) if trial.has(study.GAUGE) else None
    if repeatability is not None:
        return Schedule.of_repeatability(
            repeatability, agreed.reading_step_in, miles_mi=miles, every_mi=agreed.reading_every_mi,
            stations=agreed.stations, repeats=agreed.repeats,
        )  # fmt: skip
    return Schedule(
        miles, agreed.reading_every_mi, agreed.stations, agreed.repeats, agreed.reading_error_in, agreed.reading_step_in
    )  # fmt: skip


def expected_miles(trial: Trial, position: str) -> tuple[float, ...]:
    """Blade-down miles of a middling season for each plow of a position; those of the settings where the fleet plan has none. [mi]"""
    planned: dict[tuple[str, str], float] = {}
    if trial.has(MILES):
        plan = trial[MILES]
        keys = zip(plan[c.TRUCK_ID].astype(str), plan[c.PLOW_POSITION].astype(str), strict=True)
        planned = dict(zip(keys, plan[c.MILES_MID_MI].astype(float), strict=True))
    otherwise = trial.settings.plan.season_miles_mi
    found = [planned.get(plow, math.nan) for plow in _plows(trial) if plow[1] == position]
    return tuple(miles if miles > 0 else otherwise for miles in found) or (otherwise,)


def gauge_study(trial: Trial) -> tuple[GaugeStudy | None, str]:
    """The gauge study of the folder, or why there is none."""
    if not trial.has(study.GAUGE):
        return None, "There is no gauge study yet, so the reading error is assumed."
    agreed = trial.settings.plan
    try:
        found = fit_gauge(
            trial[study.GAUGE], usable_depth_in=_depths(trial), rates={trial.settings.reference_edge_type: reference_rate(trial)},
            stations=agreed.stations, repeats=agreed.repeats, confidence_level=trial.settings.confidence_level,
            labels=study.labels(trial),
        )  # fmt: skip
    except NotEnoughDataError as error:
        return None, str(error)
    return found, ""


def gauge_deviations(trial: Trial) -> pd.DataFrame:
    """Each reading of the gauge study less the mean of its piece and tool.

    Returns
    -------
    DataFrame
        Columns `tool`, `piece` (with its station where it has several), `reader` and `residual_in` [in].
    """
    keys = [c.TOOL, c.PIECE, c.STATION]
    whole = trial[study.GAUGE].dropna(subset=[c.PIECE, c.STATION, c.READER, c.HEIGHT_IN])
    whole = whole.astype({c.TOOL: object, c.PIECE: str, c.READER: str})
    whole[c.TOOL] = whole[c.TOOL].where(whole[c.TOOL].notna(), NO_TOOL)
    off = whole[c.HEIGHT_IN] - whole.groupby(keys, sort=False)[c.HEIGHT_IN].transform("mean")
    several = whole.groupby(c.PIECE)[c.STATION].transform("nunique") > 1
    names = whole[c.PIECE].where(~several, whole[c.PIECE] + ", " + whole[c.STATION].astype(int).astype(str))
    return pd.DataFrame(
        {c.TOOL: whole[c.TOOL], c.PIECE: names, c.READER: whole[c.READER], c.RESIDUAL_IN: off}
    )


def reference_rate(trial: Trial) -> float:
    """Wear rate of the reference that is expected from its life and usable depth. [in/1,000 mi]"""
    return 1000 * _depths(trial)[trial.settings.reference_edge_type] / trial.settings.plan.reference_life_mi


def sizes(trial: Trial, schedule: Schedule, n_trucks: int) -> dict[str, sizing.WearSizing]:
    """What trials of several sizes can show of each edge type against the reference, in the agreed design."""
    settings, agreed, looks = trial.settings, trial.settings.plan, planned_looks(trial)
    level = settings.confidence_level if looks is None else looks.final_level
    plan = sizing.WearPlan(
        reference_rate=reference_rate(trial), schedule=schedule, truck_cv=agreed.truck_spread_pct / 100,
        edge_types=len(edge_types(trial)), power=agreed.power_pct / 100, confidence_level=level,
    )  # fmt: skip
    trucks = sorted({*SIZES, n_trucks} - {0})
    alike: dict[tuple[float, bool], sizing.WearSizing] = {}
    found = {}
    plans = sizing.plans_by_type(plan, _depths(trial), settings.reference_edge_type, _by_section(trial))
    for name, own in plans.items():
        key = (own.other_depth_in, own.other_by_section)
        if key not in alike:
            alike[key] = sizing.size_wear(own, trucks, (agreed.design,))
        found[name] = alike[key]
    return found


def _by_section(trial: Trial) -> set[str]:
    """Edge types whose sections are replaced singly."""
    types = trial[study.TYPES]
    if c.REPLACED_AS not in types:
        return set()
    return set(types.loc[(types[c.REPLACED_AS] == "section").fillna(False), c.EDGE_TYPE].astype(str))


def _depths(trial: Trial) -> dict[str, float]:
    types = trial[study.TYPES]
    return dict(zip(types[c.EDGE_TYPE].astype(str), types[c.USABLE_DEPTH_IN].astype(float), strict=True))


# ---------------------------------------------------------------- tables that leave the tool
def tables(plan: TrialPlan) -> dict[str, pd.DataFrame]:
    """The tables of the plan, by the name of their file.

    Returns
    -------
    dict of DataFrame
        `planned_sizes` (what a trial of some size can show of each edge type), `planned_savings` where cost decides and prices
        are known, `planned_assignment`, `planned_balance`, `planned_looks` where looks are planned, and `gauge_study` and `gauge_wear` where there is a gauge study.
    """
    sized = [found.frame().assign(**{c.EDGE_TYPE: name}) for name, found in plan.sizes.items()]
    gauge = (
        {"gauge_study": plan.gauge.frame(), "gauge_wear": plan.gauge.wear} if plan.gauge is not None else {}
    )
    shown = [found.frame().assign(**{c.EDGE_TYPE: name}) for name, found in plan.savings.items()]
    saved = {"planned_savings": pd.concat(shown, ignore_index=True)} if shown else {}
    looks = {"planned_looks": plan.looks.frame()} if plan.looks is not None else {}
    return {
        "planned_sizes": pd.concat(sized, ignore_index=True)
        if sized
        else pd.DataFrame(columns=[c.EDGE_TYPE]),
        **saved,
        "planned_assignment": plan.assigned.table,
        "planned_balance": plan.assigned.balance,
        **looks,
        **gauge,
    }
