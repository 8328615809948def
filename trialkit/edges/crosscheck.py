"""The wear rates worked out in two ways, side by side.

Answers: does one model of all readings at once say the same as the truck-by-truck analysis, and what if it does not?

`wear` takes each truck's own slope and lets every truck count once. `mixed` fits one model to all readings and lets a
truck count by what its readings tell. Where both say the same, the rates do not hang on the way in which they were worked
out; where they part, the report says so and shows both.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import mixed as mx
from trialkit.edges import slopes as sl
from trialkit.edges.wear import RATE_UNIT, WearRates, rate_unit_words
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_words,
    listed,
    number,
    position_words,
    sentence_case,
    span,
)
from trialkit.results import Labelled
from trialkit.table_parts import NO, YES

MOST_SHIFT = 0.5
"""The two estimates may lie apart by so much of half the two-stage interval.

In simulated trials that suit both ways they hardly ever lie farther apart, unequal miles included. A larger gap means that
something pulls at one of them: a section that is swapped again and again, or a truck with many miles that is unlike the
others."""

MOST_WIDTH_FACTOR = 2.0
"""The longer of the two intervals may be so many times the shorter one.

With `MOST_SHIFT` the two are then said to differ for about 1 of 100 rates of a type that wears well, for 5 to 12 of 100 of
one whose trucks differ by no more than the reading error (there the mixed model guesses), for one in four with a section that
is swapped again and again, and for nearly all rates read with steps too coarse for the wear, whose rounding only the
two-stage interval knows (tests/benchmarks/README.md)."""

LEAST_DF = 1.0
"""Below so many degrees of freedom the interval of the mixed model says nothing and is not shown."""

NOT_COMPARED = "not compared"
EITHER_WAY = " either way"

_MIXED = {
    c.ESTIMATE: c.MIXED_ESTIMATE,
    c.STD_ERROR: c.MIXED_STD_ERROR,
    c.DF: c.MIXED_DF,
    c.CONF_LOW: c.MIXED_LOW,
    c.CONF_HIGH: c.MIXED_HIGH,
    mx.STD_ERROR_KR: c.MIXED_STD_ERROR_KR,
    mx.DF_KR: c.MIXED_DF_KR,
    mx.CONF_LOW_KR: c.MIXED_LOW_KR,
    mx.CONF_HIGH_KR: c.MIXED_HIGH_KR,
}
TWO_STAGE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.STD_ERROR, c.DF, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.N_TRUCKS,
]  # fmt: skip
TABLE_COLUMNS = [*TWO_STAGE_COLUMNS, *_MIXED.values(), c.SHIFT_SHARE, c.WIDTH_RATIO, c.AGREE, c.REASON]


@dataclass(frozen=True, eq=False)
class CrossCheck(Labelled):
    """The two-stage wear rates beside those of the mixed model. [in/1000 mi]

    Attributes
    ----------
    table : DataFrame
        One row per edge type and plow position, in the order of the rates: `edge_type`, `plow_position`, the two-stage
        `estimate`, `std_error`, `df`, `conf_low`, `conf_high`, `unit`, `n_trucks`; `mixed_estimate`, `mixed_std_error`,
        `mixed_df`, `mixed_low`, `mixed_high` (Satterthwaite's degrees of freedom, never more than the trucks less one) and
        the Kenward-Roger alternatives with the ending `_kr`; `shift_share` (gap of the estimates over half the two-stage
        interval), `width_ratio` (length of the mixed over the two-stage interval), `agree` (yes, no or not compared) and
        `reason` (why not).
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    """

    confidence_level: float
    labels: Mapping[str, str]

    @property
    def agrees(self) -> bool:
        """Whether no rate that could be compared differs."""
        return not (self.table[c.AGREE] == NO).any()

    def sentences(self) -> tuple[str, ...]:
        """What agrees, then one sentence for each rate that differs, then what could not be compared."""
        rows = self.table.to_dict("records")
        said = []
        alike = [row for row in rows if row[c.AGREE] == YES]
        if alike:
            both = [_both(row) for row in alike]
            same = all(one.endswith(EITHER_WAY) for one in both)
            clauses = [
                f"{one.removesuffix(EITHER_WAY) if same else one} for {self._who(row)}"
                for one, row in zip(both, alike, strict=True)
            ]
            said.append(
                "Worked out another way, by one model of all readings at once, the wear comes out "
                f"{'the same to the digits shown' if same else 'alike'}: {listed(clauses)} ({rate_unit_words()})."
            )
        said += [self._differs(row) for row in rows if row[c.AGREE] == NO]
        apart = [self._who(row) for row in rows if row[c.AGREE] == NOT_COMPARED]
        if apart:
            said.append(f"Not cross-checked: {listed(apart)}.")
        return tuple(said)

    def sentence(self) -> str:
        """How the two ways compare, in words."""
        return " ".join(self.sentences()) or "There is no wear rate to cross-check."

    def _who(self, row: dict[Hashable, Any]) -> str:
        name = self.label(row[c.EDGE_TYPE])
        several = self.table[c.PLOW_POSITION].nunique() > 1
        return f"{name} on {position_words(row[c.PLOW_POSITION])}" if several else name

    def _differs(self, row: dict[Hashable, Any]) -> str:
        what = []
        if not row[c.SHIFT_SHARE] <= MOST_SHIFT:
            what.append("in the estimate")
        if not 1 / MOST_WIDTH_FACTOR <= row[c.WIDTH_RATIO] <= MOST_WIDTH_FACTOR:
            what.append("in how sure they are")
        return (
            f"{sentence_case(self._who(row))}: the two ways differ {listed(what)}. Truck by truck the wear is "
            f"{_rate(row, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)}, by one model of all readings "
            f"{_rate(row, c.MIXED_ESTIMATE, c.MIXED_LOW, c.MIXED_HIGH)} {rate_unit_words()} ({level_words(self.confidence_level)}s); "
            "look at both, and rely on no more than both allow."
        )


def compare_with_mixed(readings: pd.DataFrame, rates: WearRates, *, run_in_mi: float = 0.0) -> CrossCheck:
    """Set the two-stage wear rates against one mixed model of the same readings.

    Use it to see whether the rates hang on the way in which they were worked out. Do not take the mixed model's interval
    for the headline: with few trucks the two-stage interval keeps its stated level more surely.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to; see `wear.fit_wear_rates` for its columns.
    rates : WearRates
        The two-stage rates.
    run_in_mi : float
        Miles after an install that were left out. [mi]

    Returns
    -------
    CrossCheck

    Notes
    -----
    One mixed model is fitted to each plow position. The two *agree* if the estimates lie no farther apart than
    `MOST_SHIFT` times half the two-stage interval and neither interval is longer than `MOST_WIDTH_FACTOR` times the other.
    A rate without a two-stage interval (one truck), or whose mixed interval has fewer degrees of freedom than `LEAST_DF`,
    is not compared.
    """
    used, _ = sl.used_readings(readings, run_in_mi)
    places = list(dict.fromkeys(rates.table[c.PLOW_POSITION]))
    parts, notes = [], []
    for place in places:
        here = used[used[c.PLOW_POSITION].astype(object) == place]
        found = _fit(here, rates)
        parts.append(_mixed_rows(found, place, rates))
        where = f"On {position_words(place)}, " if len(places) > 1 else ""
        notes += [f"{where}{note}" if where else sentence_case(note) for note in found.notes]
    table = rates.table[TWO_STAGE_COLUMNS].astype({c.EDGE_TYPE: object, c.PLOW_POSITION: object})
    if parts:
        table = table.merge(pd.concat(parts), on=[c.EDGE_TYPE, c.PLOW_POSITION], how="left")
    table = _judged(table.reindex(columns=[*TWO_STAGE_COLUMNS, *_MIXED.values()]))
    return CrossCheck(
        table=table[TABLE_COLUMNS],
        method=_method(rates.confidence_level),
        notes=tuple(dict.fromkeys([*notes, *_notes(table, rates)])),
        confidence_level=rates.confidence_level,
        labels=rates.labels,
    )


def _fit(readings: pd.DataFrame, rates: WearRates) -> mx.MixedWear:
    """The mixed model of one plow position; its edge types carry their printed names, for the notes."""
    names = _names(rates)
    kinds = readings[c.EDGE_TYPE].astype(object)
    there = rates.reference in set(kinds)
    return mx.fit_mixed_wear(
        readings.assign(**{c.EDGE_TYPE: kinds.map(names)}),
        reference=names[rates.reference] if there else None,
        confidence_level=rates.confidence_level,
    )


def _names(rates: WearRates) -> dict[str, str]:
    """Edge type to its printed name; to itself if two types have the same printed name."""
    names = {str(kind): rates.label(str(kind)) for kind in dict.fromkeys(rates.table[c.EDGE_TYPE])}
    return names if len(set(names.values())) == len(names) else {kind: kind for kind in names}


def _mixed_rows(found: mx.MixedWear, place: str, rates: WearRates) -> pd.DataFrame:
    """Rows of the mixed model under the names of this table."""
    kinds = {name: kind for kind, name in _names(rates).items()}
    rows = found.table[[c.EDGE_TYPE, *_MIXED]].rename(columns=_MIXED)
    rows[list(_MIXED.values())] = rows[list(_MIXED.values())].astype(float)
    rows[c.EDGE_TYPE] = rows[c.EDGE_TYPE].map(kinds)
    rows[c.PLOW_POSITION] = place
    if not found.converged:
        rows[[c.MIXED_DF, c.MIXED_DF_KR]] = np.nan
    for df, ends in (
        (c.MIXED_DF, (c.MIXED_LOW, c.MIXED_HIGH)),
        (c.MIXED_DF_KR, (c.MIXED_LOW_KR, c.MIXED_HIGH_KR)),
    ):
        rows.loc[~(rows[df] >= LEAST_DF), list(ends)] = np.nan
    return rows


def _judged(table: pd.DataFrame) -> pd.DataFrame:
    """The table with the two measures of agreement, the verdict and its reason."""
    half = (table[c.CONF_HIGH] - table[c.CONF_LOW]) / 2
    mixed_half = (table[c.MIXED_HIGH] - table[c.MIXED_LOW]) / 2
    shift = (table[c.MIXED_ESTIMATE] - table[c.ESTIMATE]).abs() / half.where(half > 0)
    ratio = mixed_half / half.where(half > 0)
    known = shift.notna() & ratio.notna()
    alike = (shift <= MOST_SHIFT) & ratio.between(1 / MOST_WIDTH_FACTOR, MOST_WIDTH_FACTOR)
    why = np.select(
        [known & alike, known, ~np.isfinite(half), table[c.MIXED_ESTIMATE].isna()],
        [
            "",
            np.where(shift > MOST_SHIFT, "the estimates lie apart", "the intervals differ in length"),
            "the truck-by-truck rate has no interval",
            "the model of all readings was not fitted",
        ],
        "the model of all readings gives no interval",
    )
    judged: dict[str, Any] = {
        c.SHIFT_SHARE: shift,
        c.WIDTH_RATIO: ratio,
        c.AGREE: np.select([known & alike, known], [YES, NO], NOT_COMPARED),
        c.REASON: why,
    }
    return table.assign(**judged)


# ---------------------------------------------------------------- words
def _close(row: dict[Hashable, Any], name: str) -> str:
    """A rate to the digits that its two-stage interval supports."""
    value, *ends = (display.value(row[one], RATE_UNIT) for one in (name, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH))
    return fixed(value, interval_decimals(*ends))


def _both(row: dict[Hashable, Any]) -> str:
    """Both rates to the digits that the two-stage interval supports; one number where these do not differ."""
    mixed, two_stage = _close(row, c.MIXED_ESTIMATE), _close(row, c.ESTIMATE)
    return f"{mixed} instead of {two_stage}" if mixed != two_stage else f"{mixed}{EITHER_WAY}"


def _rate(row: dict[Hashable, Any], estimate: str, low: str, high: str) -> str:
    """A rate with its interval in brackets."""
    ends = tuple(display.value(row[name], RATE_UNIT) for name in (estimate, low, high))
    if not math.isfinite(ends[1]):
        return f"{number(ends[0])} (no interval)"
    places = interval_decimals(*ends)
    return f"{fixed(ends[0], places)} ({span(ends[1], ends[2], places)})"


def _method(confidence_level: float) -> str:
    return (
        "Each rate is worked out twice: from the trucks' own slopes, every truck counting once, and by one mixed model of all "
        "readings (restricted maximum likelihood, spread between trucks by edge type, Satterthwaite's degrees of freedom but "
        f"never more than the trucks less one). They are said to agree if the estimates lie within {MOST_SHIFT:g} of half the "
        f"truck-by-truck {level_words(confidence_level)} of each other and neither interval is longer than "
        f"{MOST_WIDTH_FACTOR:g} times the other."
    )


def _notes(table: pd.DataFrame, rates: WearRates) -> list[str]:
    """Caveats that the comparison must carry."""
    notes = []
    several = table[c.PLOW_POSITION].nunique() > 1
    for row in table[table[c.AGREE] == NOT_COMPARED].to_dict("records"):
        where = f" on {position_words(row[c.PLOW_POSITION])}" if several else ""
        who = sentence_case(f"{rates.label(row[c.EDGE_TYPE])}{where}")
        notes.append(f"{who} is not cross-checked: {row[c.REASON]}.")
    shorter = table[(table[c.AGREE] == NO) & (table[c.WIDTH_RATIO] < 1 / MOST_WIDTH_FACTOR)]
    if len(shorter) and (rates.table[c.ROUNDING_BOUND] > 0).any():
        notes.append(
            f"The model of all readings knows nothing of the steps of the tool; for {counted(len(shorter), 'rate')} its "
            "interval is much the shorter one, and the truck-by-truck interval is the one to rely on."
        )
    return notes
