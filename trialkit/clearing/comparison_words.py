"""The sentences about what it takes to clear a road.

Answers: how is a difference in salt, passes, hours or residual snow said, when it is shown and when it is not?
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping
from typing import Any

from trialkit import columns as c
from trialkit import display
from trialkit.clearing.differences import detectable_column, estimate_column
from trialkit.clearing.measures import RATIO, Measure
from trialkit.formatting import counted, decimals_for, fixed, level_percent, level_words, sentence_case

Label = Callable[[str], str]
MANY_TIMES_PCT = 900.0
"""Above this, ten times as much, a percentage says no more than "many times"."""


def row_sentence(
    row: Mapping[Hashable, Any], measure: Measure, confidence_level: float, label: Label, n_compared: int
) -> str:
    """One row of a comparison as a sentence.

    Parameters
    ----------
    row : mapping
        A row of `comparison.ClearingComparison.table`.
    measure : Measure
        What is compared.
    confidence_level : float
        Level of the intervals.
    label : callable
        Edge type to the name that sentences print.
    n_compared : int
        Edge types that are compared with the reference.
    """
    kind, reference = label(row[c.EDGE_TYPE]), label(row[c.REFERENCE])
    start, noun = sentence_case(kind), measure.phrase
    change, low, high = row[estimate_column(measure)], row[c.CONF_LOW], row[c.CONF_HIGH]
    if not math.isfinite(change):
        return f"{start} cannot be set against {reference} in {noun}: no storm links the two."
    places = _places(low, high, measure)
    best = _amount(change, measure, places)
    if not (math.isfinite(low) and math.isfinite(high)):
        said = (
            f"{measure.verb} {best} {noun} than"
            if best
            else f"{measure.verb} as {'many' if measure.fewer else 'much'} {noun} as"
        )
        few = int(min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]))
        why = (
            f"{counted(few, 'truck')} cannot show"
            if few < 2
            else "trucks that agree to the digit cannot show"
        )
        return f"In this trial {kind} {said} {reference}, but {why} how sure that is."
    ends = f"{level_words(confidence_level)} {_ends(low, high, measure, places)}"
    if row[c.P_HOLM] < 1 - confidence_level:
        return f"{start} {measure.verb} {best} {noun} than {reference} ({ends})."
    said = f"No difference in {noun} between {kind} and {reference} is shown"
    if low > 0 or high < 0:
        said += f", since {n_compared} edge types were compared and one may stand out by chance"
    found = f"the best estimate is {best}" if best else "the best estimate is no difference"
    return f"{said}: {found} ({ends}). {_detectable(row, measure, places)}".rstrip()


def change_words(change: float, measure: Measure, decimals: int = 0) -> str:
    """A change as it is said: ``"8% less"``, ``"0.2 in more"``; "no difference" where it rounds to nothing."""
    return _amount(change, measure, decimals) or "no difference"


def ends_words(low: float, high: float, measure: Measure) -> str:
    """An interval as it is said: ``"3% to 13% less"``, ``"12% less to 7% more"``."""
    return _ends(low, high, measure, _places(low, high, measure))


def method(measure: Measure, confidence_level: float, trucks_first: bool) -> str:
    """The method in words, for the report: truck averages, or one model of all shifts."""
    scale = (
        "logarithms of the rates, so that the difference is a ratio of typical rates, in per cent"
        if measure.scale == RATIO
        else "the depths themselves, since some are zero"
    )
    seen = (
        "A difference that could have been seen is one that 8 of 10 like trials would show at the "
        f"{level_percent(confidence_level)} level."
    )
    if trucks_first:
        return (
            f"Every storm is compared with itself: storms are taken out of {scale}; each truck's average then counts once, and "
            f"Welch's {level_words(confidence_level)}s compare the trucks of two edge types, each with a spread of its own; Holm's "
            f"adjustment over the edge types. {seen}"
        )
    return (
        f"Every storm is compared with itself: a mixed model of {scale}, with storms as fixed blocks and trucks as random "
        "effects (a truck that carried several edge types has one of its own for each, too), fitted by restricted maximum "
        f"likelihood. {level_words(confidence_level)}s of Student's t with Kenward and Roger's degrees of freedom; Holm's "
        "adjustment over the edge types. Trucks of all edge types are supposed to spread alike. Where they do not differ more "
        f"than chance, the standard error is taken from their spread as it was found. {seen}"
    )


def _shown(value: float, measure: Measure) -> float:
    return value if measure.scale == RATIO else float(display.value(value, measure.unit))


def _places(low: float, high: float, measure: Measure) -> int:
    """Decimals: whole per cent where the interval is wide, otherwise what it supports."""
    if measure.scale == RATIO:
        known = [abs(end) for end in (low, high) if math.isfinite(end)]
        return 1 if (known and high - low < 4) or 0 < min(known, default=1.0) < 0.5 else 0
    finest = 1 if display.is_metric() else 2
    width = _shown(high - low, measure) / 2
    return min(max(decimals_for(width), 0), finest) if width > 0 else finest


def _number(value: float, measure: Measure, decimals: int) -> str:
    """The size of a change with its unit; empty where it rounds to nothing."""
    size = fixed(abs(_shown(value, measure)), decimals)
    if not any(ch in "123456789" for ch in size):
        return ""
    return f"{size}%" if measure.scale == RATIO else f"{size} {display.unit(measure.unit)}"


def _amount(change: float, measure: Measure, decimals: int) -> str:
    if measure.scale == RATIO and change > MANY_TIMES_PCT:
        return f"many times {measure.amount_word(change)}"
    size = _number(change, measure, decimals)
    return f"{size} {measure.amount_word(change)}" if size else ""


def _ends(low: float, high: float, measure: Measure, decimals: int) -> str:
    from_, to = (_amount(end, measure, decimals) for end in (low, high))
    if not from_ or not to or (low < 0) != (high < 0) or "many" in to:
        return f"{from_ or 'no difference'} to {to or 'no difference'}"
    smaller, larger = sorted((low, high), key=abs)
    near = _number(smaller, measure, decimals)
    near = near if measure.scale == RATIO else near.removesuffix(f" {display.unit(measure.unit)}")
    return f"{near} to {_amount(larger, measure, decimals)}"


def _detectable(row: Mapping[Hashable, Any], measure: Measure, decimals: int) -> str:
    size = row[detectable_column(measure)]
    if not math.isfinite(size):
        return ""
    what = _number(size, measure, decimals) or _number(size, measure, 2)
    trucks = f"{counted(int(row[c.N_TRUCKS]), 'truck')} against {int(row[c.N_TRUCKS_REFERENCE])}"
    storms = f" in {counted(int(row[c.N_STORMS]), 'storm')}" if row[c.N_STORMS] else ""
    if measure.scale == RATIO and size > 99.5:
        return f"With {trucks}{storms} hardly any saving could have been seen."
    change = "A saving" if measure.scale == RATIO else "A difference"
    return f"{change} of {what} or more would probably have been seen with {trucks}{storms}."
