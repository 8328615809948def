"""How many miles must pass before a reading says anything about wear.

Answers: after how many blade-down miles does "no measurable wear" mean something, and after how many is a rate known?

A height is read with error. Until an edge has lost clearly more than that error, two readings that agree say nothing about
it, and with an edge that wears slowly that can be a good part of the season.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd
from scipy.special import ndtri

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import number, percent, sentence_case
from trialkit.planning.schedule import Schedule
from trialkit.planning.sizing import miles_words
from trialkit.results import Labelled
from trialkit.stats.rounding import rounding_amplitude

SURE = 0.95
"""How surely wear is told from none, and none from wear (Currie's convention)."""
KNOWN_TO = 0.2
"""Relative standard error at which a rate counts as known (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class MilesNeeded(Labelled):
    """Miles before the readings of one set say something about its wear.

    Attributes
    ----------
    table : DataFrame
        One row per edge type: `edge_type`, `rate` (assumed wear rate [in/1,000 mi]), `least_wear_in` (least wear that is
        told from none [in]), `miles_to_see_mi` (miles until so much has worn off [mi]) and `miles_to_know_mi` (miles until
        the first and the last reading give the rate with a standard error of a fifth [mi]); infinite without wear.
    schedule : Schedule
        Readings and tool that were assumed.
    labels : dict
        Edge type to the name that sentences print.
    """

    schedule: Schedule
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type."""
        return tuple(
            self._sentence(str(kind), float(miles))
            for kind, miles in zip(self.table[c.EDGE_TYPE], self.table[c.MILES_TO_SEE_MI], strict=True)
        )

    def sentence(self) -> str:
        """The miles in words."""
        return " ".join(self.sentences())

    def _sentence(self, kind: str, miles: float) -> str:
        who = sentence_case(self.label(kind))
        if not math.isfinite(miles):
            return f"{who} is assumed not to wear, so no number of {display.word('miles')} shows its wear."
        least = float(self.table[c.LEAST_WEAR_IN].iloc[0])
        unit = display.unit("in")
        return (
            f'"No measurable wear" on {self.label(kind)} means something only after about {miles_words(tens_up(miles))} with the blade '
            f"down: less than {number(display.value(least, 'in'), 2)} {unit} of wear cannot be told from none."
        )


def miles_needed(
    schedule: Schedule, rates: Mapping[str, float], labels: Mapping[str, str] | None = None
) -> MilesNeeded:
    """Miles of one set before its readings say something about its wear.

    Use it to choose the first reading after an install, and to judge a set that shows no wear. Not for the comparison of
    types, which rests on all readings of all trucks.

    Parameters
    ----------
    schedule : Schedule
        Stations, repeats, reading error and step of the tool.
    rates : mapping
        Edge type to its assumed wear rate. [in/1,000 mi]
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    MilesNeeded

    Raises
    ------
    ValueError
        If a rate is negative.

    Notes
    -----
    The wear of a set is the mean over its stations of the first height less the last, with the standard deviation
    ``s = sqrt(2 v / (stations * repeats))``, v the variance of a reading. Wear is called seen above ``z s`` and is seen
    with 95 % certainty from the detection limit ``2 z s = 3.29 s`` on [1]_; with a step of the tool d it is never less
    than half a step beyond that. The rate is known to a fifth when ``s / wear = 0.2``.

    References
    ----------
    .. [1] L. A. Currie, "Limits for qualitative detection and quantitative determination", Analytical Chemistry 40, 1968,
       equation for paired observations, L_D = 4.65 s_B = 3.29 sqrt(2) s_B.
    """
    bad = [name for name, rate in rates.items() if not rate >= 0]
    if bad:
        raise ValueError(f"the wear rate of {bad[0]} is {rates[bad[0]]:g}; allowed: 0 or more")
    least = least_wear_in(schedule)
    spread = _wear_spread(schedule)
    rows = [
        {
            c.EDGE_TYPE: name,
            c.RATE: rate,
            c.LEAST_WEAR_IN: least,
            c.MILES_TO_SEE_MI: 1000 * least / rate if rate else math.inf,
            c.MILES_TO_KNOW_MI: 1000 * spread / KNOWN_TO / rate if rate else math.inf,
        }
        for name, rate in rates.items()
    ]
    return MilesNeeded(
        table=pd.DataFrame(rows),
        method=(
            "Detection limit of the wear of one set, from the mean of its stations at the first and the last reading: "
            f"{percent(100 * SURE)} sure to be seen if it is there, {percent(100 * SURE)} sure not to be if it is not."
        ),
        notes=(
            f"The wear rates are assumed before the season; half the rate needs twice the {display.word('miles')}.",
        ),
        schedule=schedule,
        labels=dict(labels or {}),
    )


def least_wear_in(schedule: Schedule) -> float:
    """Least wear of one set that its first and last reading tell from none. [in]"""
    return least_wear_told(_wear_spread(schedule), schedule.step_in, schedule.error_in)


def least_wear_told(spread_in: float, step_in: float, error_in: float) -> float:
    """Least wear that is told from none, 95 % sure both ways. [in]

    Parameters
    ----------
    spread_in : float
        Standard deviation of the wear of a set between two readings. [in]
    step_in : float
        Step of the tool; 0 for none. [in]
    error_in : float
        Standard deviation of one reading before it is rounded. [in]

    Notes
    -----
    ``2 z s`` with z the 95 % normal quantile, and what rounding can hide at all stations alike: twice the largest mean error of
    a rounded reading (`stats.rounding.rounding_amplitude`).
    """
    return 2 * float(ndtri(SURE)) * spread_in + 2 * float(rounding_amplitude(step_in, error_in))


def _wear_spread(schedule: Schedule) -> float:
    return math.sqrt(2 * schedule.reading_variance / (schedule.stations * schedule.repeats))


def tens_up(miles: float) -> float:
    """Miles rounded up to two digits, and to whole miles. [mi]"""
    if miles <= 0:
        return 0.0
    step = 10.0 ** max(0, math.floor(math.log10(miles)) - 1)
    return math.ceil(miles / step) * step
