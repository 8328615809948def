"""What the report says about lives, in sentences and short tables.

Answers: how long does each edge type last, how many times as long as the reference, how often does one break, and what may
a council not read out of that?

Everything is said from a `life_study.LifeStudy`; no figure is typed here.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import depth_left as dl
from trialkit.edges import observed as ob
from trialkit.edges import unevenness as un
from trialkit.edges.life import BASIS_WORDS, SECTION
from trialkit.edges.life_check import SHORTER
from trialkit.edges.life_margin import MARGIN
from trialkit.formatting import (
    counted,
    level_percent,
    listed,
    money,
    number,
    percent,
    position_words,
    ratio_number,
    sentence_case,
)
from trialkit.report.block_types import Finding
from trialkit.report.life_study import LifeStudy, evenness_table
from trialkit.verdicts import BETTER, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE, Verdict

BRIEF_LIVES = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH, c.UNIT, c.USABLE_DEPTH_IN,
    c.N_TRUCKS, c.N_SETS,
]  # fmt: skip
LIVES_NOTE = "Trucks and sets are those with a wear rate; a set that was read only once has none."
BRIEF_RATIOS = [
    c.EDGE_TYPE,
    c.REFERENCE,
    c.PLOW_POSITION,
    c.ESTIMATE,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.BOUNDED,
    c.N_TRUCKS,
]
BRIEF_EVENTS = [
    c.EDGE_TYPE, c.PLOW_POSITION, ob.CAUSE, ob.EVENTS, c.MILES_MI, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT,
]  # fmt: skip
BRIEF_LEFT = [
    c.EDGE_TYPE, c.PLOW_POSITION, ob.CAUSE, dl.PIECE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, dl.LEFT_IN, dl.UNEVEN_PCT,
    dl.LEFT_USD, dl.TOTAL_USD, dl.N_PIECES, c.N_TRUCKS,
]  # fmt: skip
BRIEF_EVENNESS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.TERM, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, un.SHAPE_PCT, c.N_TRUCKS,
]  # fmt: skip
EARLY_PCT = 10.0
"""Usable depth at the thinnest spot above which a set is said to have come off early: common practice, no source. [%]"""
MOST_NAMED = 5
SHORT_CAUSES = {
    ob.WORN_OUT: "worn out",
    ob.BROKEN_OR_LOST: "broken or lost",
    ob.SECTION_WORN_OUT: "section worn out",
    ob.SECTION_BROKEN_OR_LOST: "section broken or lost",
}
TERM_WORDS = {
    un.RANGE: "thinnest less thickest spot",
    un.TILT: "right end less left end",
    un.BOW: "ends less middle",
}

SEEN = "sets_seen"
LIVES_HEADINGS = {c.ESTIMATE: "Mean life", SEEN: "Sets of the trial, miles"}
RATIOS_HEADINGS = {c.ESTIMATE: "Times as long"}
EVENTS_HEADINGS = {
    ob.CAUSE: "What happened", ob.EVENTS: "Number", c.ESTIMATE: "Rate",
}  # fmt: skip
LEFT_HEADINGS = {
    ob.CAUSE: "Came off as", dl.PIECE: "Piece", c.ESTIMATE: "Depth thrown away", dl.LEFT_IN: "The same",
    dl.UNEVEN_PCT: "Of it by uneven wear", dl.LEFT_USD: "Of a piece's price", dl.TOTAL_USD: "In all", dl.N_PIECES: "Pieces",
}  # fmt: skip
EVENNESS_HEADINGS = {c.TERM: "Wear of the", un.SHAPE_PCT: "Share of the mean wear"}


# ---------------------------------------------------------------- sentences
def how_long(lives: LifeStudy) -> list[str]:
    """How long a set of each type lasts to its limit, and what the range for the next set means."""
    said = list(lives.projection.sentences()) or [lives.projection.sentence()]
    ranged = lives.projection.table[c.PRED_LOW].notna().any()
    return [*said, *([next_set(lives.confidence_level), *seen_to_end(lives)] if ranged else [])]


def seen_to_end(lives: LifeStudy) -> list[str]:
    """How long the sets of the trial really lasted, to be read beside the range for the next set."""
    table = lives.projection.table
    several = table[c.PLOW_POSITION].nunique() > 1
    clauses = []
    for row in table.to_dict("records"):
        where = f" on {position_words(row[c.PLOW_POSITION])}" if several else ""
        clauses.append(f"{lives.projection.label(row[c.EDGE_TYPE])}{where}, {_seen(lives, row)}")
    said = display.words("The sets of the trial themselves, in miles")
    return [f"{said}: {'; '.join(clauses)}."] if clauses else []


def _seen(lives: LifeStudy, row: Mapping[Hashable, Any]) -> str:
    """How many sets of a cell wore out and after how many miles; else how far its sets have run."""
    sets = lives.observed.lives
    own = sets[
        (sets[c.EDGE_TYPE].astype(str) == str(row[c.EDGE_TYPE]))
        & (sets[c.PLOW_POSITION].astype(str) == str(row[c.PLOW_POSITION]))
    ]
    worn = own[own[ob.CAUSE] == ob.WORN_OUT][c.MILES_MI]
    if worn.empty:
        return f"none worn out by {_whole(own[c.MILES_MI].max())}" if len(own) else "none that ran"
    first, last = _whole(worn.min()), _whole(worn.max())
    return f"{len(worn)} worn out after {first}{f' to {last}' if last != first else ''}"


def _whole(miles: float) -> str:
    """Miles of a set as they are shown, without a fraction."""
    return f"{display.value(float(miles), 'mi'):,.0f}"


def next_set(confidence_level: float) -> str:
    """What the range for the next set is, beside the interval of the mean."""
    level = level_percent(confidence_level)
    return (
        f"The range for the next set is meant to hold the life of one more set on one more truck in {level} of cases. It is never "
        "narrower than the interval, which only says how well the mean is known: buy by the mean, and keep spares for the short end."
    )


def how_many_times(lives: LifeStudy) -> list[str]:
    """How many times as long as the reference, why that is not the ratio of wear rates, and the agreed margin."""
    margin = lives.margin.sentences() if lives.margin is not None else ()
    return [*compared(lives), *margin]


def compared(lives: LifeStudy) -> list[str]:
    """How many times as long as the reference, and why that is not the ratio of wear rates."""
    said = list(lives.compared.sentences()) or [lives.compared.sentence()]
    return [*said, *depth_matters(lives)]


def findings(lives: LifeStudy) -> list[Finding]:
    """How many times as long as the reference each edge type lasts, with the verdict."""
    said = lives.compared.sentences() or (lives.compared.sentence(),)
    rows: list[dict[Hashable, Any]] = lives.compared.table.to_dict("records") or [{}]
    return [
        Finding(sentence=sentence, verdict=verdict_of(row, lives.confidence_level))
        for sentence, row in zip(said, rows, strict=True)
    ]


def verdict_of(row: Mapping[Hashable, Any], confidence_level: float) -> Verdict:
    """Better or worse only if the interval leaves out no difference and so does Holm's adjustment over the types."""
    if not row or not math.isfinite(row[c.CONF_LOW]):
        return NOT_ENOUGH_DATA
    shown = not row[c.P_HOLM] >= 1 - confidence_level
    if shown and row[c.CONF_LOW] > 1:
        return BETTER
    if shown and row[c.CONF_HIGH] < 1:
        return WORSE
    return NOT_SHOWN


def margin_findings(lives: LifeStudy) -> list[Finding]:
    """Whether each edge type lasts no worse than the reference by the agreed margin, with the verdict; none without one."""
    if lives.margin is None:
        return []
    said = zip(lives.margin.sentences(), lives.margin.table[c.VERDICT], strict=True)
    return [Finding(sentence=sentence, verdict=verdict) for sentence, verdict in said]


def depth_matters(lives: LifeStudy) -> list[str]:
    """Where usable depths differ: the ratio of wear rates beside the ratio of lives."""
    said = []
    rate = _by_cell(lives.rates.table, c.ESTIMATE)
    depth = _by_cell(lives.projection.table, c.USABLE_DEPTH_IN)
    several = lives.compared.table[c.PLOW_POSITION].nunique() > 1
    for row in lives.compared.table.to_dict("records"):
        own, other = _keys(row)
        slower = rate[other] / rate[own] if rate[own] > 0 else math.nan
        known = row[c.CONF_LOW] > 1 or math.isfinite(row[c.CONF_HIGH])
        if not (slower > 1 and row[c.ESTIMATE] > 0 and known):
            continue
        if depth[own] == depth[other]:
            continue
        kind, reference = lives.compared.label(row[c.EDGE_TYPE]), lives.compared.label(row[c.REFERENCE])
        where = f" on {position_words(row[c.PLOW_POSITION])}" if several else ""
        said.append(
            f"By the best estimates {kind}{where}, of which {_inches(depth[own])} may wear off against "
            f"{_inches(depth[other])} of {reference}, wears {ratio_number(slower)} times slower and lasts "
            f"{ratio_number(row[c.ESTIMATE])} times as long."
        )
    why = "The ratio of lives is not that of wear rates, because usable depths differ."
    return [f"{why} {said[0]}", *said[1:]] if said else []


def what_broke(lives: LifeStudy) -> list[str]:
    """Breaks and losses per 1,000 miles, and what it means that none was seen."""
    seen = lives.observed
    said = list(seen.sentences()) or [seen.sentence()]
    broken = seen.table[seen.table[ob.CAUSE].isin([ob.BROKEN_OR_LOST, ob.SECTION_BROKEN_OR_LOST])]
    if (broken[ob.EVENTS] == 0).any():
        said.append(
            "No break seen is not a rate of zero: the bound is the highest rate with which so many "
            f"{display.word('miles')} without a break still agree."
        )
    return said


def broke_in_brief(lives: LifeStudy) -> list[str]:
    """How many sets and sections broke or were lost, all plow positions together, in one sentence."""
    table = lives.observed.table
    clauses = []
    for edge_type, own in table.groupby(c.EDGE_TYPE, sort=False, observed=True):
        for cause, piece in ((ob.BROKEN_OR_LOST, "set"), (ob.SECTION_BROKEN_OR_LOST, "section")):
            rows = own[own[ob.CAUSE] == cause]
            events, miles = int(rows[ob.EVENTS].sum()), float(rows[c.MILES_MI].sum())
            if not miles > 0 or (piece == "section" and not events):
                continue
            many = counted(events, piece) if events else f"no {piece}"
            shown = f"{display.value(miles, 'mi'):,.0f} {display.word('miles')}"
            clauses.append(f"{many} of {lives.observed.label(str(edge_type))} in {shown}")
    return [f"Broken or lost: {listed(clauses)}."] if clauses else []


def thrown_in_brief(lives: LifeStudy) -> list[str]:
    """How much usable depth was still on the sets that came off as worn, in one sentence."""
    table = lives.left.table
    rows = table[(table[ob.CAUSE] == ob.WORN_OUT) & (table[dl.PIECE] == dl.SET)].to_dict("records")
    clauses = [
        f"{percent(row[c.ESTIMATE])} with {lives.left.label(row[c.EDGE_TYPE])}"
        + (
            f" ({money(row[dl.LEFT_USD], display.currency(), 0)} of the price of a set)"
            if math.isfinite(row[dl.LEFT_USD])
            else ""
        )
        for row in rows
    ]
    if not clauses:
        return []
    return [f"When sets came off as worn, part of their usable depth was still on: {listed(clauses)}."]


def as_projected(lives: LifeStudy) -> list[str]:
    """Whether sets lasted as projected from the other trucks, and what stands out."""
    return [lives.check.sentence(), *lives.check.notes, *came_off_early(lives)]


def came_off_early(lives: LifeStudy) -> list[str]:
    """Sets that came off as worn, sooner than projected, though their thinnest spot was far from its limit."""
    check = lives.check.table
    shorter = set(check.loc[check[c.VERDICT] == SHORTER, c.SET_ID])
    pieces = lives.left.pieces
    own = pieces[(pieces[dl.PIECE] == dl.SET) & pieces[c.SET_ID].isin(shorter)]
    thinnest = own[dl.LEFT_PCT] - own[dl.UNEVEN_PCT].fillna(0.0)
    early = own[thinnest > EARLY_PCT]
    if early.empty:
        return []
    names = [
        f"{name} ({percent(left)})" for name, left in zip(early[c.SET_ID], thinnest[early.index], strict=True)
    ]
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    verb = (
        "came off with some of its usable depth"
        if len(names) == 1
        else "came off with some of their usable depth"
    )
    return [
        f"Of the sets that lasted less, {listed(names[:MOST_NAMED])}{more} {verb} left even at the thinnest spot, so it was the shop that ended the life, "
        "not the limit."
    ]


def evenness(lives: LifeStudy) -> list[str]:
    """How unevenly edges wear across the blade."""
    return list(lives.evenness.sentences()) or [lives.evenness.sentence()]


def thrown_away(lives: LifeStudy) -> list[str]:
    """How much usable depth was thrown away, in percent, inches and money."""
    return list(lives.left.sentences()) or [lives.left.sentence()]


def for_the_council(lives: LifeStudy) -> list[str]:
    """The findings about life in the order in which a council asks: how long, and how many times as long."""
    said = list(lives.projection.sentences()) or [lives.projection.sentence()]
    return [*said, *how_many_times(lives)]


def limits(lives: LifeStudy) -> list[str]:
    """What the lives do not say, in plain words."""
    said = [
        "A projected life assumes that an edge wears as fast to its limit as it did while it was read, and that no set breaks or "
        "gets lost before."
    ]
    sections = [
        lives.projection.label(row[c.EDGE_TYPE])
        for row in lives.projection.table.to_dict("records")
        if row[c.BASIS] == BASIS_WORDS[SECTION]
    ]
    if sections:
        said.append(
            f"The life of {listed(list(dict.fromkeys(sections)))} is that of a section at its place: sections are replaced singly, so "
            "the set as a whole has no end."
        )
    if lives.margin is not None:
        said.append(
            f"The margin of {number(float(lives.margin.table[MARGIN].iloc[0]), 3)} was taken from trial.toml; it means something only "
            "if it was agreed before the season."
            if len(lives.margin.table)
            else "The margin in trial.toml could not be tested."
        )
    return [sentence_case(sentence) for sentence in said]


def caveats(lives: LifeStudy) -> list[str]:
    """What the analyses of life themselves ask to be kept in mind."""
    results = (
        lives.projection,
        lives.compared,
        lives.observed,
        lives.check,
        lives.evenness,
        lives.profiles,
        lives.left,
    )
    return list(dict.fromkeys(note for result in results for note in result.notes))


def method(lives: LifeStudy) -> list[str]:
    """How it was worked out, a paragraph for each analysis."""
    results = [lives.projection, lives.compared, lives.observed, lives.check, lives.evenness, lives.left]
    if lives.margin is not None:
        results.insert(2, lives.margin)
    return [result.method for result in results]


# ---------------------------------------------------------------- short tables
def lives_in_brief(lives: LifeStudy) -> pd.DataFrame:
    """Mean life and range for the next set, without the columns that only a statistician reads."""
    table = lives.projection.table
    seen = [_seen(lives, row) for row in table.to_dict("records")]
    place = BRIEF_LIVES.index(c.UNIT)
    return table.assign(**{SEEN: seen})[[*BRIEF_LIVES[:place], SEEN, *BRIEF_LIVES[place:]]]


def ratios_in_brief(lives: LifeStudy) -> pd.DataFrame:
    """Ratios of lives, without the columns that only a statistician reads or that say yes in every row."""
    table = lives.compared.table[BRIEF_RATIOS]
    return table.drop(columns=c.BOUNDED) if (table[c.BOUNDED] == "yes").all() else table


def events_in_brief(lives: LifeStudy) -> pd.DataFrame:
    """How often sets and sections wore out or broke; where nothing happened the one-sided bound is the only end."""
    table = lives.observed.table
    none = table[ob.EVENTS] == 0
    ends = {
        c.CONF_LOW: table[c.CONF_LOW].mask(none),
        c.CONF_HIGH: table[c.CONF_HIGH].mask(none, table[c.UPPER_BOUND]),
    }
    return table.assign(**ends, **{ob.CAUSE: table[ob.CAUSE].map(SHORT_CAUSES)})[BRIEF_EVENTS]


def events_notes(lives: LifeStudy) -> list[str]:
    """What the bound beside a count of none is."""
    if not (lives.observed.table[ob.EVENTS] == 0).any():
        return []
    level = level_percent(lives.confidence_level)
    return [f"Where nothing happened the rate is at most the one-sided {level} bound."]


def left_in_brief(lives: LifeStudy) -> pd.DataFrame:
    """Usable depth thrown away, by edge type and cause."""
    table = lives.left.table[BRIEF_LEFT]
    uneven = table[dl.UNEVEN_PCT].where(table[ob.CAUSE] == ob.WORN_OUT)
    return table.assign(**{ob.CAUSE: table[ob.CAUSE].map(ob.CAUSE_WORDS), dl.UNEVEN_PCT: uneven})


def evenness_in_brief(lives: LifeStudy) -> pd.DataFrame:
    """Range, tilt and bow of each edge type, one row each."""
    table = evenness_table(lives)[BRIEF_EVENNESS]
    order = {key: place for place, key in enumerate(_cells(lives.evenness.table))}
    rank = [order[key] for key in _cells(table)]
    table = table.assign(**{c.ROW: rank}).sort_values(c.ROW, kind="stable").drop(columns=c.ROW)
    return table.assign(**{c.TERM: table[c.TERM].map(TERM_WORDS)}).reset_index(drop=True)


def _inches(depth_in: float) -> str:
    """A depth to two digits, in the unit in which it is shown."""
    return f"{number(display.value(depth_in, 'in'), 2)} {display.unit('in')}"


def _cells(table: pd.DataFrame) -> list[tuple[str, str]]:
    return list(zip(table[c.PLOW_POSITION].astype(str), table[c.EDGE_TYPE].astype(str), strict=True))


def _by_cell(table: pd.DataFrame, column: str) -> dict[tuple[str, str], float]:
    return dict(zip(_cells(table), table[column].astype(float), strict=True))


def _keys(row: dict[Hashable, Any]) -> tuple[tuple[str, str], tuple[str, str]]:
    """The cell of a type and that of its reference."""
    place = str(row[c.PLOW_POSITION])
    return (place, str(row[c.EDGE_TYPE])), (place, str(row[c.REFERENCE]))
