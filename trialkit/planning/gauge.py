"""The gauge study: how far off a single reading of an edge is.

Answers: how much do readings of one spot differ when one person repeats them, how much from person to person, and how much
wear can be told from none?

A piece of the study is one station of one edge. Tools are told apart, since a rule and a caliper do not err alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import (
    counted,
    fixed,
    level_percent,
    level_words,
    listed,
    number,
    percent,
    sentence_case,
)
from trialkit.planning.miles_needed import least_wear_told, tens_up
from trialkit.planning.sizing import miles_words
from trialkit.results import Labelled
from trialkit.stats import crossed
from trialkit.stats.crossed import CrossedFit
from trialkit.stats.rounding import common_step

NEEDED = [c.PIECE, c.STATION, c.READER, c.HEIGHT_IN]
NO_TOOL = "tool not recorded"
COMPONENT_WORDS = {
    crossed.REPEATABILITY: "one person, repeated",
    crossed.READER: "from person to person",
    crossed.INTERACTION: "person by piece",
    crossed.READING_ERROR: "reading error in all",
    crossed.PIECE: "from piece to piece",
    crossed.TOTAL: "all readings",
}
NEARLY_ALL = 6.0
"""Standard deviations that hold nearly all readings, for the share of the usable depth (common practice, no source)."""
TABLE_COLUMNS = [c.TOOL, c.COMPONENT, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, c.STUDY_PCT]
WEAR_COLUMNS = [
    c.TOOL, c.EDGE_TYPE, c.USABLE_DEPTH_IN, c.WEAR_PCT, c.LEAST_WEAR_IN, c.LEAST_WEAR_ANY_IN, c.RATE, c.MILES_TO_SEE_MI,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class GaugeStudy(Labelled):
    """How far off a single reading is, tool by tool.

    Attributes
    ----------
    table : DataFrame
        One row per tool and part of the spread: `tool`, `component`, `estimate` (standard deviation [in]), `conf_low`,
        `conf_high` (missing where none can be given), `unit`, `study_pct` (share of the standard deviation of all readings).
    wear : DataFrame
        One row per tool and edge type: `tool`, `edge_type`, `usable_depth_in`, `wear_pct` (six standard deviations of the
        reading error as a share of the usable depth), `least_wear_in` (least wear of a set that is told from none when one
        person reads it), `least_wear_any_in` (when another person reads it each time), `rate` and `miles_to_see_mi` (miles
        until so much has worn off, if a rate is assumed).
    anova : DataFrame
        Analysis of variance of each tool: `tool`, `component`, `sum_of_squares`, `df`, `mean_square`, `p_value`.
    fits : dict
        Tool to its fit.
    repeatability_in : float or None
        Standard deviation of the repeats of one piece by one person, over all tools: the reading error that the wear analysis
        and the check of rising heights use. None if nothing was read twice, or all repeats agree. [in]
    stations, repeats : int
        Stations and repeats on which the detection limits rest.
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    """

    wear: pd.DataFrame
    anova: pd.DataFrame
    fits: Mapping[str, CrossedFit]
    repeatability_in: float | None
    stations: int
    repeats: int
    confidence_level: float
    labels: Mapping[str, str]

    def distinct_categories(self, tool: str) -> int:
        """How many groups of pieces the readings with a tool tell apart."""
        return crossed.distinct_categories(self.fits[tool])

    def repeats_in(self, tool: str) -> float:
        """Standard deviation of the repeats of one person with a tool. [in]"""
        return math.sqrt(self.fits[tool].variances[crossed.REPEATABILITY])

    @property
    def rise_limit_in(self) -> float | None:
        """Rise of a height from one day to the next above which it is doubtful, one reading each. [in]"""
        return None if self.repeatability_in is None else 2 * math.sqrt(2) * self.repeatability_in

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each tool."""
        return tuple(self._sentence(tool) for tool in self.fits)

    def sentence(self) -> str:
        """The reading errors in words."""
        return " ".join(self.sentences())

    def wear_sentences(self) -> tuple[str, ...]:
        """What the reading error means for the wear of each edge type."""
        unit = display.unit("in")
        said = []
        for row in self.wear.to_dict("records"):
            if not row[c.LEAST_WEAR_IN] > 0:
                said.append(
                    f"{self._with(row[c.TOOL])}, all repeats agree, so how much wear can be told from none is not known."
                )
                continue
            least = number(display.value(row[c.LEAST_WEAR_IN], "in"), 2)
            line = f"{self._with(row[c.TOOL])}, less than {least} {unit} of wear of a set cannot be told from none"
            if math.isfinite(row[c.MILES_TO_SEE_MI]):
                miles = miles_words(tens_up(row[c.MILES_TO_SEE_MI]))
                line += f"; {self.label(str(row[c.EDGE_TYPE]))} takes about {miles} to wear so much"
            said.append(f"{line}.")
        return tuple(dict.fromkeys(said))

    def _sentence(self, tool: str) -> str:
        rows = self.table[self.table[c.TOOL] == tool].set_index(c.COMPONENT)
        unit, fit = display.unit("in"), self.fits[tool]

        def said_in(component: str, column: str) -> str:
            return number(display.value(float(rows[column][COMPONENT_WORDS[component]]), "in"), 2)

        one, low, high = (
            said_in(crossed.REPEATABILITY, column) for column in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        start = self._with(tool)
        if not fit.repeated:
            return f"{start}, readings scatter with a standard deviation of {one} {unit}, people and pieces taken together."
        said = f"{start}, repeated readings of one person scatter with a standard deviation of {one} {unit}"
        said += f" ({level_words(self.confidence_level)} {low} to {high})"
        if crossed.READER in fit.told:
            said += f", readings of different people with {said_in(crossed.READING_ERROR, c.ESTIMATE)} {unit}"
        return f"{said}."

    def _with(self, tool: str) -> str:
        return sentence_case(tool if tool == NO_TOOL else f"with the {tool}")


def fit_gauge(
    readings: pd.DataFrame,
    *,
    usable_depth_in: Mapping[str, float] | None = None,
    rates: Mapping[str, float] | None = None,
    stations: int = 5,
    repeats: int = 1,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> GaugeStudy:
    """Work out the gauge study.

    Use it before the season, with edges on the bench that do not change. Not with readings of the season.

    Parameters
    ----------
    readings : DataFrame
        Columns piece, station, reader and height_in [in]; tool where it was recorded.
    usable_depth_in : mapping, optional
        Edge type to the depth that may wear off. [in]
    rates : mapping, optional
        Edge type to an assumed wear rate, for the miles. [in/1,000 mi]
    stations, repeats : int
        Stations of a set, and readings of each on one occasion, in the trial.
    confidence_level : float
        Two-sided level of every interval.
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    UsageError
        If a column is missing.
    NotEnoughDataError
        If no tool has readings that tell an error: a piece read twice, or two pieces read by two people.

    Notes
    -----
    See `stats.crossed.fit_crossed`. Least wear told from none, 95 % sure both ways: ``3.29 sqrt(2 v)`` with
    ``v = e / (stations repeats)`` for one person, e the variance of the repeats; for another person each time v also has the
    variance between people, which does not average out over stations, and that of person by piece over the stations. To it
    comes what the step of the tool can hide (`miles_needed.least_wear_told`), the step being the coarsest that the readings with
    it are multiples of: repeats that all agree speak of a coarse tool, not of one without error.
    """
    missing = [name for name in NEEDED if name not in readings.columns]
    if missing:
        raise UsageError(f"The gauge readings lack the columns {listed(missing)}.")
    whole = readings.dropna(subset=NEEDED)
    tools = _tools(whole)
    notes = []
    if len(whole) < len(readings):
        notes.append(f"{counted(len(readings) - len(whole), 'gauge reading')} with a blank cell left out.")
    fits: dict[str, CrossedFit] = {}
    steps: dict[str, float] = {}
    for tool in dict.fromkeys(tools):
        here = whole[tools == tool]
        steps[tool] = common_step(here[c.HEIGHT_IN])
        piece = here[c.PIECE].astype(str) + "|" + here[c.STATION].astype(str)
        try:
            fits[tool] = crossed.fit_crossed(
                piece,
                here[c.READER].astype(str),
                here[c.HEIGHT_IN].astype(float),
                confidence_level=confidence_level,
            )
        except ValueError as error:
            notes.append(f"{tool}: {error}.")
    if not fits:
        raise NotEnoughDataError(
            f"The {counted(len(whole), 'gauge reading')} tell no reading error: at least one piece must be read twice by one person, "
            "or two pieces by two people."
        )
    for tool, fit in fits.items():
        notes += [sentence_case(f"{tool}: {note}") for note in _notes(fit)]
    known = crossed.repeats_std_dev(list(fits.values()))
    if len(fits) > 1 and known is not None:
        size = f"{number(display.value(known, 'in'), 2)} {display.unit('in')}"
        notes.append(
            f"The wear analysis takes the repeats of all tools together: a standard deviation of {size}."
        )
    return GaugeStudy(
        table=pd.DataFrame(
            [row for tool, fit in fits.items() for row in _parts(tool, fit)], columns=TABLE_COLUMNS
        ),
        method=_method(confidence_level),
        notes=tuple(notes),
        wear=_wear(fits, steps, usable_depth_in or {}, rates or {}, stations, repeats),
        anova=_anova(fits),
        fits=fits,
        repeatability_in=known,
        stations=stations,
        repeats=repeats,
        confidence_level=confidence_level,
        labels=dict(labels or {}),
    )


def _tools(readings: pd.DataFrame) -> pd.Series:
    if c.TOOL not in readings.columns:
        return pd.Series(NO_TOOL, readings.index)
    return readings[c.TOOL].astype(object).where(readings[c.TOOL].notna(), NO_TOOL).astype(str)


def _parts(tool: str, fit: CrossedFit) -> list[dict[str, Any]]:
    rows = []
    total = math.sqrt(fit.variances[crossed.TOTAL])
    for part in crossed.PARTS:
        spread = math.sqrt(fit.variances[part])
        low, high = (math.sqrt(limit) if limit >= 0 else math.nan for limit in fit.intervals[part])
        if part == crossed.INTERACTION and part not in fit.told:
            continue
        told = part in (crossed.REPEATABILITY, crossed.READING_ERROR, crossed.TOTAL) or part in fit.told
        rows.append(
            dict(
                zip(
                    TABLE_COLUMNS,
                    (
                        tool,
                        COMPONENT_WORDS[part],
                        spread if told else math.nan,
                        low,
                        high,
                        "in",
                        100 * spread / total if told and total > 0 else math.nan,
                    ),
                    strict=True,
                )
            )
        )
    return rows


def _wear(
    fits: Mapping[str, CrossedFit],
    steps_in: Mapping[str, float],
    depths_in: Mapping[str, float],
    rates: Mapping[str, float],
    stations: int,
    repeats: int,
) -> pd.DataFrame:
    rows = []
    for tool, fit in fits.items():
        v, step = fit.variances, steps_in[tool]
        one = v[crossed.REPEATABILITY] / (stations * repeats)
        another = one + v[crossed.READER] + v[crossed.INTERACTION] / stations
        before = math.sqrt(max(v[crossed.REPEATABILITY] - step**2 / 12, 0.0))
        least, least_any = (
            least_wear_told(math.sqrt(2 * variance), step, before) for variance in (one, another)
        )
        for kind, depth in depths_in.items():
            rate = rates.get(kind, math.nan)
            rows.append(
                {
                    c.TOOL: tool,
                    c.EDGE_TYPE: kind,
                    c.USABLE_DEPTH_IN: depth,
                    c.WEAR_PCT: 100 * NEARLY_ALL * math.sqrt(v[crossed.READING_ERROR]) / depth,
                    c.LEAST_WEAR_IN: least,
                    c.LEAST_WEAR_ANY_IN: least_any,
                    c.RATE: rate,
                    c.MILES_TO_SEE_MI: 1000 * least / rate if rate > 0 and least > 0 else math.nan,
                }
            )
    return pd.DataFrame(rows, columns=WEAR_COLUMNS)


def _anova(fits: Mapping[str, CrossedFit]) -> pd.DataFrame:
    rows = []
    for tool, fit in fits.items():
        table = fit.anova
        for source, squares, df, mean in zip(
            table.source, table.sum_of_squares, table.df, table.mean_square, strict=True
        ):
            rows.append(
                {
                    c.TOOL: tool,
                    c.COMPONENT: ANOVA_WORDS[source],
                    c.SUM_OF_SQUARES: squares,
                    c.DF: df,
                    c.MEAN_SQUARE: mean,
                    c.P_VALUE: table.p_interaction if source == crossed.INTERACTION else math.nan,
                }
            )
    return pd.DataFrame(rows)


ANOVA_WORDS = {
    crossed.READER: "people",
    crossed.PIECE: "pieces",
    crossed.INTERACTION: "people by pieces",
    crossed.REPEATS: "repeats",
}


# ---------------------------------------------------------------- words
def _method(confidence_level: float) -> str:
    return (
        "Analysis of variance of pieces (a station of an edge is a piece), people and repeats; with gaps, restricted maximum "
        "likelihood. Person by piece is pooled with the repeats when its p value is above "
        f"{fixed(crossed.POOL_ABOVE, 2)}. {level_percent(confidence_level)} intervals: chi-square for the repeats, modified "
        "large-sample intervals for the rest."
    )


def _notes(fit: CrossedFit) -> list[str]:
    notes = []
    if fit.pooled:
        notes.append(
            f"how people differ from piece to piece is no more than chance (p = {fixed(fit.anova.p_interaction, 2)}) and is pooled "
            "with the repeats."
        )
    if fit.truncated:
        parts = listed([COMPONENT_WORDS[part] for part in fit.truncated])
        notes.append(f"the variance {parts} comes out negative or zero and is taken as zero.")
    if not fit.balanced:
        notes.append(
            "not every piece was read equally often by everybody, so the parts were fitted by likelihood."
        )
    if not fit.repeated:
        notes.append(
            "nobody read a piece twice, so repeats cannot be told from how people differ from piece to piece."
        )
    elif fit.variances[crossed.REPEATABILITY] <= 1e-12:
        notes.append(
            "all repeats agree to the last digit; the tool is coarser than the reading error and says nothing of it."
        )
    if fit.n_readers == 1:
        notes.append("one person read, so how much people differ is not known.")
    elif crossed.READER not in fit.told:
        notes.append("no piece was read by two people, so how much people differ is not known.")
    elif fit.n_readers < 5:
        notes.append(
            f"{counted(fit.n_readers, 'person', 'people')} read, too few to know well how much people differ."
        )
    if fit.n_pieces == 1:
        notes.append("one piece was read, so nothing can be said about other heights.")
    share = (
        math.sqrt(fit.variances[crossed.READING_ERROR] / fit.variances[crossed.TOTAL])
        if fit.variances[crossed.TOTAL]
        else 0
    )
    if crossed.PIECE in fit.told and fit.repeated:
        groups = counted(crossed.distinct_categories(fit), "group")
        notes.append(
            f"the reading error is {percent(100 * share, 1)} of the spread of the pieces on the bench, of which {groups} can be told "
            "apart; edges in other states of wear would give another share."
        )
    return notes
