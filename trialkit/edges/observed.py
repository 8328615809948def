"""Lives that were seen to end, and the breaks and losses that the wear rate does not show.

Answers: how long did sets really last, how often did one break or get lost, and did the projection hold?

Every set counts with the miles it ran: one still on, or taken off because the season ended, has lasted at least that
long. A set that was deleted because it broke would flatter the fragile type.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges.wear import edge_type_order
from trialkit.errors import NotEnoughDataError, UsageError, near_match
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_percent,
    level_words,
    listed,
    number,
    position_words,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.counts import EventRate, RateRatio, compare_rates, estimate_rate
from trialkit.stats.survival import LOG_LOG, LifeEstimate, Lives, fit_kaplan_meier
from trialkit.stats.weibull import LIKELIHOOD_RATIO, fit_weibull
from trialkit.table_parts import BROKEN_EVENTS, BROKEN_REASONS, WORN_REASONS
from trialkit.trial.stays import END_EVENT, END_REASON

CAUSE = "cause"
EVENTS = "events"
N_ENDED = "n_ended"
LONGEST_MI = "longest_mi"
SHAPE, SHAPE_LOW, SHAPE_HIGH = "shape", "shape_low", "shape_high"

WORN_OUT = "worn_out"
BROKEN_OR_LOST = "broken_or_lost"
NOT_ENDED = "not_ended"
SECTION_WORN_OUT = "section_worn_out"
SECTION_BROKEN_OR_LOST = "section_broken_or_lost"
CAUSE_WORDS = {
    WORN_OUT: "worn out",
    BROKEN_OR_LOST: "broken or lost",
    SECTION_WORN_OUT: "section changed because it was worn",
    SECTION_BROKEN_OR_LOST: "section changed because it broke or was lost",
}
RATE_UNIT = "per 1000 mi"


@dataclass(frozen=True, eq=False)
class ObservedLives(Labelled):
    """How often sets came off, by cause, and how long they lasted.

    Attributes
    ----------
    table : DataFrame
        One row per plow position, edge type and cause: `edge_type`, `plow_position`, `cause`, `events`, `miles_mi`,
        `estimate` (events per 1,000 miles), `conf_low`, `conf_high`, `upper_bound` (one-sided: what to quote when there
        was no event), `unit`, `n_sets`, `n_trucks`.
    medians : DataFrame
        One row per plow position, edge type and cause worn out or broken or lost: life by which half the sets have ended
        of that cause, the other cause counted as not ended: `estimate`, `conf_low`, `conf_high` (missing where fewer
        than half ended, or no end can be given), `n_sets`, `n_ended`, `longest_mi`, `method`.
    tenths : DataFrame
        As `medians` for the life by which a tenth of the sets have ended, from a Weibull fit, with its `shape`,
        `shape_low` and `shape_high` (above 1: it grows likelier with the miles); where there is no fit `method` says why.
    comparisons : DataFrame
        Broken or lost against the reference: `edge_type`, `reference`, `plow_position`, `estimate` (ratio of the rates),
        `conf_low`, `conf_high`, `p_value`.
    lives : DataFrame
        One row per set: `set_id`, `edge_type`, `plow_position`, `truck_id`, `miles_mi`, `cause`.
    confidence_level : float
    labels : dict
        Edge type to the name that sentences print.
    """

    medians: pd.DataFrame
    tenths: pd.DataFrame
    comparisons: pd.DataFrame
    lives: pd.DataFrame
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type and plow position: how many sets, or sections, broke or were lost."""
        rows = self.table[self.table[CAUSE].isin([BROKEN_OR_LOST, SECTION_BROKEN_OR_LOST])]
        return tuple(self._sentence(row) for row in rows.to_dict("records"))

    def sentence(self) -> str:
        """The breaks and losses in words."""
        return " ".join(self.sentences()) or display.words(
            "No set ran any known miles, so nothing can be said about breaks."
        )

    def _sentence(self, row: Mapping[Any, Any]) -> str:
        piece = "set" if row[CAUSE] == BROKEN_OR_LOST else "section"
        many = counted(row[EVENTS], piece) if row[EVENTS] else f"no {piece}"
        lost = "broke or were lost" if row[EVENTS] > 1 else "broke or was lost"
        start = f"On {position_words(row[c.PLOW_POSITION])}, {many} of {self.label(row[c.EDGE_TYPE])} {lost}"
        start += f" in {number(display.value(row[c.MILES_MI], 'mi'))} {display.word('miles')} with {counted(int(row[c.N_SETS]), 'set')}"
        per = display.words("per 1,000 miles")
        if row[EVENTS] == 0:
            most = f"at most {number(display.value(row[c.UPPER_BOUND], RATE_UNIT), 2)} {per}"
            return f"{start}: {most} ({level_percent(self.confidence_level)} bound)."
        rate, low, high = (
            display.value(row[name], RATE_UNIT) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        places = interval_decimals(rate, low, high)
        return f"{start}: {fixed(rate, places)} {per} ({level_words(self.confidence_level)} {span(low, high, places)})."


def observe_lives(
    stays: pd.DataFrame,
    edge_sets: pd.DataFrame,
    *,
    set_events: pd.DataFrame | None = None,
    confidence_level: float = 0.95,
    reference: str | None = None,
    labels: Mapping[str, str] | None = None,
) -> ObservedLives:
    """Count how sets came off, by cause, over the miles they ran.

    Use it beside the projected lives: it is what really happened, breakage included. With a handful of sets it says
    little about how long a type lasts; the projection does that.

    Parameters
    ----------
    stays : DataFrame
        From `lineage.life_miles`: set_id, truck_id, plow_position, miles_mi [mi], end_event, end_reason. A set that was
        moved has several stays; their miles add up and the last one says how it ended.
    edge_sets : DataFrame
        Columns set_id, edge_type.
    set_events : DataFrame, optional
        Columns set_id, event, reason; gives the sections that were changed.
    confidence_level : float
        Two-sided for the intervals, one-sided for the bounds.
    reference : str, optional
        Edge type with which breakage is compared; the first one otherwise.
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    ObservedLives

    Raises
    ------
    UsageError
        If the reference is on no set.

    Notes
    -----
    Worn out: taken off as worn to the limit or worn unevenly. Broken or lost: the events break and lost, and sets taken
    off as broken, loose or after a curb strike. Everything else (season end, trial end, another reason) has not ended.
    Sections likewise, by the reason of the change; changes for another reason or for none on record are counted in a note.
    Rates per mile are exact Poisson intervals (`counts`), medians Kaplan and Meier's (`survival`), each with the other
    cause as not ended. Both take the sets as independent of each other; sets of one truck are not quite.
    """
    lives, unknown = _read_lives(stays, edge_sets)
    order = edge_type_order(lives[c.EDGE_TYPE])
    if reference is not None and order:
        if reference not in order:
            hint = near_match(reference, order) or f"Edge types with a known life: {', '.join(order)}."
            raise UsageError(f'The reference edge type "{reference}" is on no set with known miles. {hint}')
        order = [reference, *(name for name in order if name != reference)]
    swaps, other_swaps = _section_changes(set_events, lives)
    rows, medians, tenths, comparisons = [], [], [], []
    for place in dict.fromkeys(lives[c.PLOW_POSITION]):
        broken: dict[str, EventRate] = {}
        for kind in order:
            here = lives[(lives[c.PLOW_POSITION] == place) & (lives[c.EDGE_TYPE] == kind)]
            if here.empty or not here[c.MILES_MI].sum() > 0:
                continue
            key = {c.EDGE_TYPE: kind, c.PLOW_POSITION: place}
            counts = here[CAUSE].value_counts()
            changed = swaps.get((place, kind), {})
            for cause, events in {WORN_OUT: None, BROKEN_OR_LOST: None, **changed}.items():
                n = int(counts.get(cause, 0)) if events is None else events
                rate = estimate_rate(n, float(here[c.MILES_MI].sum()), confidence_level=confidence_level)
                rows.append({**key, **_rate_row(cause, rate, here)})
                if cause == BROKEN_OR_LOST:
                    broken[kind] = rate
                if events is None:
                    ran = here[here[c.MILES_MI] > 0]
                    of_cause = Lives.of_cause(ran[c.MILES_MI].to_numpy(), list(ran[CAUSE]), cause)
                    medians.append({**key, CAUSE: cause, **_median(of_cause, confidence_level)})
                    tenths.append({**key, CAUSE: cause, **_tenth(of_cause, confidence_level)})
        comparisons.extend(_comparisons(place, broken, order[0], confidence_level) if order else [])
    return ObservedLives(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=(
            f"Sets and their causes over the blade-down {display.word('miles')} they ran, sets still on included; exact "
            f"{level_percent(confidence_level)} Poisson intervals, and for no event the one-sided bound. Half-lives by Kaplan and "
            "Meier, the other cause counted as not ended."
        ),
        notes=tuple(_notes(lives, unknown, other_swaps, labels or {})),
        medians=pd.DataFrame(medians, columns=MEDIAN_COLUMNS),
        tenths=pd.DataFrame(tenths, columns=TENTH_COLUMNS),
        comparisons=pd.DataFrame(comparisons, columns=COMPARISON_COLUMNS),
        lives=lives,
        confidence_level=confidence_level,
        labels=dict(labels or {}),
    )


TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, CAUSE, EVENTS, c.MILES_MI, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UPPER_BOUND, c.UNIT,
    c.N_SETS, c.N_TRUCKS,
]  # fmt: skip
MEDIAN_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, CAUSE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_SETS, N_ENDED, LONGEST_MI, c.METHOD,
]  # fmt: skip
TENTH_COLUMNS = [*MEDIAN_COLUMNS, SHAPE, SHAPE_LOW, SHAPE_HIGH]
COMPARISON_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.P_VALUE,
]  # fmt: skip
LIVES_COLUMNS = [c.SET_ID, c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.MILES_MI, CAUSE]


def cause_of_end(event: Any, reason: Any) -> str:
    """Why a set came off: `WORN_OUT`, `BROKEN_OR_LOST`, or `NOT_ENDED`.

    Parameters
    ----------
    event, reason : str or missing
        End event and its reason.
    """
    if event in BROKEN_EVENTS:
        return BROKEN_OR_LOST
    if event != "remove":
        return NOT_ENDED
    if reason in WORN_REASONS:
        return WORN_OUT
    return BROKEN_OR_LOST if reason in BROKEN_REASONS else NOT_ENDED


def _read_lives(stays: pd.DataFrame, edge_sets: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """One row per set, and the sets whose miles are not known."""
    types = edge_sets.dropna(subset=[c.SET_ID]).drop_duplicates(c.SET_ID).set_index(c.SET_ID)[c.EDGE_TYPE]
    plain = stays.astype(dict.fromkeys((c.SET_ID, c.PLOW_POSITION, c.TRUCK_ID), object))
    rows = []
    for name, group in plain.sort_values(c.INSTALLED, kind="stable").groupby(c.SET_ID, sort=False):
        last = group.iloc[-1]
        miles = group[c.MILES_MI].sum(skipna=False)
        cause = cause_of_end(last[END_EVENT], last[END_REASON])
        rows.append((name, types.get(name), last[c.PLOW_POSITION], last[c.TRUCK_ID], miles, cause))
    lives = pd.DataFrame(rows, columns=LIVES_COLUMNS)
    if isinstance(types.dtype, pd.CategoricalDtype):
        lives[c.EDGE_TYPE] = pd.Categorical(lives[c.EDGE_TYPE], categories=types.cat.categories)
    known = lives[c.MILES_MI].notna() & lives[c.EDGE_TYPE].notna() & lives[c.PLOW_POSITION].notna()
    return lives[known].reset_index(drop=True), [str(name) for name in lives.loc[~known, c.SET_ID]]


def _section_changes(
    set_events: pd.DataFrame | None, lives: pd.DataFrame
) -> tuple[dict[tuple[str, str], dict[str, int]], dict[str, int]]:
    """Sections changed by cause, for the types on a plow position of which any section was changed, and how many of each type
    for another reason or none."""
    if set_events is None:
        return {}, {}
    swaps = set_events[set_events[c.EVENT] == "section_swap"]
    of_set = lives.set_index(c.SET_ID)
    found: dict[tuple[str, str], dict[str, int]] = {}
    other: dict[str, int] = {}
    for name, reason in zip(swaps[c.SET_ID].astype(object), swaps[c.REASON].astype(object), strict=True):
        if name not in of_set.index:
            continue
        kind = str(of_set.loc[name, c.EDGE_TYPE])
        key = (str(of_set.loc[name, c.PLOW_POSITION]), kind)
        counts = found.setdefault(key, {SECTION_WORN_OUT: 0, SECTION_BROKEN_OR_LOST: 0})
        if reason in WORN_REASONS:
            counts[SECTION_WORN_OUT] += 1
        elif reason in BROKEN_REASONS:
            counts[SECTION_BROKEN_OR_LOST] += 1
        else:
            other[kind] = other.get(kind, 0) + 1
    return found, other


def _rate_row(cause: str, rate: EventRate, here: pd.DataFrame) -> dict[str, Any]:
    return {
        CAUSE: cause,
        EVENTS: rate.events,
        c.MILES_MI: rate.exposure,
        c.ESTIMATE: rate.estimate,
        c.CONF_LOW: rate.conf_low,
        c.CONF_HIGH: rate.conf_high,
        c.UPPER_BOUND: rate.upper_bound,
        c.UNIT: RATE_UNIT,
        c.N_SETS: len(here),
        c.N_TRUCKS: here[c.TRUCK_ID].nunique(),
    }


def _median(lives: Lives, confidence_level: float) -> dict[str, Any]:
    """Life by which half the sets have ended."""
    curve = fit_kaplan_meier(lives, confidence_level=confidence_level, interval=LOG_LOG)
    return {
        **_limits(curve.quantile(0.5)),
        c.UNIT: "mi",
        c.N_SETS: int(lives.n_lives),
        N_ENDED: int(lives.n_failed),
        LONGEST_MI: curve.last_seen,
        c.METHOD: f"Kaplan-Meier, {LOG_LOG} interval",
    }


def _tenth(lives: Lives, confidence_level: float) -> dict[str, Any]:
    """Life by which a tenth of the sets have ended, or why there is none."""
    about = {
        c.UNIT: "mi",
        c.N_SETS: int(lives.n_lives),
        N_ENDED: int(lives.n_failed),
        LONGEST_MI: float(lives.low.max()),
    }
    try:
        fit = fit_weibull(lives, confidence_level=confidence_level)
    except NotEnoughDataError as problem:
        return {**about, c.METHOD: str(problem)}
    shape = fit.shape_interval(confidence_level=confidence_level)
    return {
        **about,
        **_limits(fit.quantile(0.1, confidence_level=confidence_level)),
        c.METHOD: f"Weibull, {LIKELIHOOD_RATIO} interval",
        SHAPE: shape.estimate,
        SHAPE_LOW: shape.conf_low,
        SHAPE_HIGH: shape.conf_high,
    }


def _limits(found: LifeEstimate | RateRatio) -> dict[str, float]:
    """Estimate and ends under their column names; missing where there is none."""
    values = (found.estimate, found.conf_low, found.conf_high)
    names = (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
    return {
        name: value if math.isfinite(value) else math.nan for name, value in zip(names, values, strict=True)
    }


def _comparisons(
    place: str, broken: Mapping[str, EventRate], reference: str, confidence_level: float
) -> list[dict[str, Any]]:
    """Rate of breakage and loss of each type over that of the reference."""
    rows = []
    for kind, rate in broken.items():
        if kind == reference or reference not in broken:
            continue
        other = broken[reference]
        key: dict[str, Any] = {c.EDGE_TYPE: kind, c.REFERENCE: reference, c.PLOW_POSITION: place}
        try:
            found = compare_rates(
                rate.events, rate.exposure, other.events, other.exposure, confidence_level=confidence_level
            )
        except NotEnoughDataError:
            rows.append(key)
            continue
        rows.append({**key, **_limits(found), c.P_VALUE: found.p_value})
    return rows


def _notes(
    lives: pd.DataFrame, unknown: list[str], other_swaps: Mapping[str, int], labels: Mapping[str, str]
) -> list[str]:
    """Caveats about the lives."""

    def name(kind: str) -> str:
        return labels.get(kind, kind.replace("_", " "))

    notes = []
    if unknown:
        more = f" and {len(unknown) - 5} more" if len(unknown) > 5 else ""
        notes.append(
            f"{counted(len(unknown), 'set')} left out because the {display.word('miles')}, the edge type or the plow position "
            f"is not known: {listed(unknown[:5])}{more}."
        )
    notes += [
        f"{counted(n, 'changed section')} of {name(kind)} {'has' if n == 1 else 'have'} another reason on record or none, and "
        f"{'counts' if n == 1 else 'count'} neither as worn out nor as broken or lost."
        for kind, n in other_swaps.items()
    ]
    broken = lives[lives[CAUSE] == BROKEN_OR_LOST]
    for kind, group in broken.groupby(c.EDGE_TYPE, observed=True):
        if len(group) > 1 and group[c.TRUCK_ID].nunique() == 1:
            notes.append(
                f"All {len(group)} sets of {name(str(kind))} that broke or were lost were on truck {group[c.TRUCK_ID].iloc[0]}: it may be "
                "the truck or its route rather than the edge, and the interval takes them as independent."
            )
    return notes
