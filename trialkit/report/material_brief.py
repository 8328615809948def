"""Short tables about material and clearing, as the report prints them.

Answers: which differences, rates and savings stand in a table for people, each with its interval and its unit?

Every number is text already, in the units of display, since one column may hold per cent and inches.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.clearing import rates, severity
from trialkit.clearing import season_saving as ss
from trialkit.clearing.comparison import ClearingComparison
from trialkit.clearing.comparison_words import ends_words
from trialkit.clearing.differences import detectable_column, estimate_column
from trialkit.clearing.ratings import item_words
from trialkit.formatting import (
    NO_INTERVAL,
    fixed,
    interval,
    level_words,
    money_interval,
    number,
    sentence_case,
)
from trialkit.report.material_figures import basis_word, change_text, edge_order
from trialkit.report.material_study import CLEARING_ITEM, MaterialStudy
from trialkit.report.material_tables import LANE_MI, RATE_LB_PER_LANE_MI
from trialkit.report.material_words import amount, told_comparisons

TREATED = "treated"


def spread_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """What each edge type spread, by material, with every rate in the printed basis and its unit."""
    rows = found.spread
    if rows.empty:
        return rows
    order = {name: place for place, name in enumerate(edge_order(found, rows[c.EDGE_TYPE]))}
    rows = rows.sort_values(c.EDGE_TYPE, key=lambda names: names.astype(str).map(order), kind="stable")
    return pd.DataFrame(
        {
            c.MATERIAL: [sentence_case(rates.word(str(name))) for name in rows[c.MATERIAL]],
            c.EDGE_TYPE: rows[c.EDGE_TYPE],
            c.ESTIMATE: [
                number(
                    float(
                        display.value(
                            rates.rate_on_basis(rate, found.rate_basis), rates.basis_unit(found.rate_basis)
                        )
                    ),
                    3,
                )
                for rate in rows[RATE_LB_PER_LANE_MI]
            ],
            TREATED: [fixed(float(display.value(value, "lane-mi")), 0) for value in rows[LANE_MI]],
            c.N_TRUCKS: rows[c.N_TRUCKS].astype(int),
            c.N_STORMS: rows[c.N_STORMS].astype(int),
            c.N_SHIFTS: rows[c.N_SHIFTS].astype(int),
        }
    ).sort_values(c.MATERIAL, key=lambda names: names.map(_material_order(found)), kind="stable")


def _material_order(found: MaterialStudy) -> dict[str, int]:
    kinds = found.records.kinds if found.records is not None else ()
    names = (rates.ALL_MATERIAL, rates.CHLORIDE, *kinds)
    return {sentence_case(rates.word(name)): place for place, name in enumerate(names)}


def spread_headings(found: MaterialStudy) -> dict[str, str]:
    """Headings of `spread_in_brief`."""
    return {
        c.MATERIAL: "Material",
        c.ESTIMATE: f"{sentence_case(display.word('pounds'))} per {basis_word(found)}",
        TREATED: f"{sentence_case(display.word('lane-miles'))} treated",
    }


DIFFERENCE, LIKELY = "difference", "could_have_been_seen"


def differences_in_brief(compared: tuple[ClearingComparison, ...]) -> pd.DataFrame:
    """Measure, edge type, difference with its interval in words, and the smallest one that would have been seen."""
    rows = [
        {
            c.MEASURE: sentence_case(one.measure.phrase),
            c.EDGE_TYPE: row[c.EDGE_TYPE],
            DIFFERENCE: _kept(difference_text(one, row)),
            LIKELY: _unbroken(_detectable_text(one, row)),
            c.N_STORMS: int(row[c.N_STORMS]),
            c.N_SHIFTS: int(row[c.N_SHIFTS]),
        }
        for one in compared
        for row in one.table.to_dict("records")
    ]
    return pd.DataFrame(rows)


def difference_text(compared: ClearingComparison, row: Mapping[Any, Any]) -> str:
    """A difference with its interval: ``"3% more (7% less to 15% more)"``."""
    change = row[estimate_column(compared.measure)]
    if not math.isfinite(change):
        return "not compared"
    said = change_text(compared, change)
    if not (math.isfinite(row[c.CONF_LOW]) and math.isfinite(row[c.CONF_HIGH])):
        return f"{said} ({NO_INTERVAL})"
    return f"{said} ({ends_words(row[c.CONF_LOW], row[c.CONF_HIGH], compared.measure)})"


def _detectable_text(compared: ClearingComparison, row: Mapping[Any, Any]) -> str:
    size = row[detectable_column(compared.measure)]
    return change_text(compared, -size) if math.isfinite(size) else "\u2013"


def difference_headings(found: MaterialStudy) -> dict[str, str]:
    """Headings of `differences_in_brief`."""
    return {
        DIFFERENCE: f"Difference ({level_words(found.confidence_level)})",
        LIKELY: "Likely to be seen from",
    }


NAIVE, WITHIN = "naive", "within"
NAIVE_HEADINGS = {NAIVE: "Season totals divided", WITHIN: "Within storms", c.AGREE: "Inside the interval"}
VARIANT_HEADINGS = {DIFFERENCE: "Difference", c.AGREE: "Same finding"}
STORM_HEADINGS = {severity.STORM_TYPE: "Rated as", severity.INDEX: "Index"}


def storms_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """The storms with their index; empty where none was recorded."""
    if found.storms is None:
        return pd.DataFrame()
    table = found.storms.frame()
    return table.assign(
        **{
            severity.STORM_TYPE: [
                sentence_case(kind.replace("_", " ")) or "\u2013" for kind in table[severity.STORM_TYPE]
            ],
            severity.INDEX: [fixed(index, 2) for index in table[severity.INDEX]],
        }
    )


def naive_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """What season totals divided say about each edge type, beside what the comparison within storms says."""
    rows = []
    for one in told_comparisons(found):
        column = estimate_column(one.measure)
        within = {row[c.EDGE_TYPE]: row for row in one.table.to_dict("records")}
        for row in one.naive.to_dict("records"):
            if row[c.EDGE_TYPE] in within and math.isfinite(row[column]):
                rows.append(
                    {
                        c.MEASURE: sentence_case(one.measure.phrase),
                        c.EDGE_TYPE: row[c.EDGE_TYPE],
                        NAIVE: change_text(one, row[column]),
                        WITHIN: _kept(difference_text(one, within[row[c.EDGE_TYPE]])),
                        c.AGREE: row[c.AGREE] or "\u2013",
                    }
                )
    return pd.DataFrame(rows)


def variants_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """Each difference worked out in other ways, and whether the finding is the same."""
    rows = [
        {
            c.MEASURE: sentence_case(one.measure.phrase),
            c.EDGE_TYPE: row[c.EDGE_TYPE],
            c.VARIANT: display.words(sentence_case(str(row[c.VARIANT]))),
            DIFFERENCE: _kept(difference_text(one, row)),
            c.AGREE: row[c.AGREE] or "\u2013",
        }
        for one in told_comparisons(found)
        for row in one.variants.to_dict("records")
    ]
    return pd.DataFrame(rows)


WON = "won"
RATING_HEADINGS = {
    c.ITEM: "Item",
    WON: "Better score, times in 100",
    c.MEAN_SCORE: "Mean score, reference",
}


def ratings_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """What operators thought: how often a score beats one of the reference, mean scores, and on how many trucks."""
    if found.ratings is None:
        return pd.DataFrame()
    table = found.ratings.table.sort_values(c.ITEM, key=lambda items: items != CLEARING_ITEM, kind="stable")
    return pd.DataFrame(
        [
            {
                c.ITEM: sentence_case(item_words(str(row[c.ITEM]))),
                c.EDGE_TYPE: row[c.EDGE_TYPE],
                WON: _unbroken(interval(row[c.ESTIMATE_PCT], row[c.CONF_LOW], row[c.CONF_HIGH])),
                c.P_HOLM: _p_text(row[c.P_HOLM]),
                c.MEAN_SCORE: f"{fixed(row[c.MEAN_SCORE], 1)}, {fixed(row[c.MEAN_SCORE_REFERENCE], 1)}",
                c.N_RATINGS: int(row[c.N_RATINGS]),
            }
            for row in table.to_dict("records")
        ]
    )


def _p_text(p_value: float) -> str:
    return "below 0.001" if p_value < 0.001 else fixed(p_value, 3 if p_value < 0.01 else 2)


# ---------------------------------------------------------------- a season, as a table
def season_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """Savings of each edge type and winter, in tons, money and chloride, and what the reference takes."""
    if found.saving is None or found.saving.table.empty:
        return pd.DataFrame()
    rows = []
    for (kind, winter), own in found.saving.table.groupby([c.EDGE_TYPE, ss.WINTER], sort=False):
        by = {row[ss.QUANTITY]: row for row in own.to_dict("records")}
        mass = by[ss.MASS]
        miles = f"{number(float(display.value(mass[c.MILES_MI], 'mi')), 3)} {display.unit('mi')}"
        entry = {
            ss.WINTER: f"{sentence_case(str(winter))}, {_unbroken(miles)}",
            c.EDGE_TYPE: kind,
            ss.USED: amount(mass[ss.USED], mass, found),
        }
        for quantity in (ss.MASS, ss.MONEY, rates.CHLORIDE):
            entry[f"saved_{quantity}"] = (
                _kept(_ends_text(by[quantity], found)) if quantity in by else "\u2013"
            )
        entry[ss.SHOWN] = mass[ss.SHOWN]
        rows.append(entry)
    return pd.DataFrame(rows)


def _ends_text(row: Mapping[Any, Any], found: MaterialStudy) -> str:
    in_money = row[c.UNIT] == found.currency
    if in_money:
        return money_interval(row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH], found.currency)
    ends = [float(display.value(row[name], row[c.UNIT])) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)]
    return interval(ends[0], ends[1], ends[2])


def season_headings(found: MaterialStudy) -> dict[str, str]:
    """Headings of `season_in_brief`."""
    tons = "Tons"  # the table turns the word into that of the units shown
    return {
        ss.WINTER: f"Winter, blade-down {display.word('miles')}",
        ss.USED: f"{sentence_case(found.label(found.reference))} takes",
        f"saved_{ss.MASS}": f"{tons} saved ({level_words(found.confidence_level)})",
        f"saved_{ss.MONEY}": "Money saved",
        f"saved_{rates.CHLORIDE}": f"{tons} of chloride saved",
        ss.SHOWN: "Shown",
    }


# ---------------------------------------------------------------- for the council
def council_in_brief(found: MaterialStudy) -> pd.DataFrame:
    """One row for each edge type, a column for each measure with difference and interval in words."""
    parts: dict[str, dict[str, str]] = {}
    for one in told_comparisons(found):
        for row in one.table.to_dict("records"):
            parts.setdefault(str(row[c.EDGE_TYPE]), {})[sentence_case(one.measure.phrase)] = difference_text(
                one, row
            )
    order = edge_order(found, parts)
    return pd.DataFrame([{c.EDGE_TYPE: name, **parts[name]} for name in order]).fillna("\u2013")


def _kept(words: str) -> str:
    """A difference whose interval stays together on one line, under it if need be."""
    first, bracket, rest = words.partition(" (")
    return f"{_unbroken(first)} {_unbroken(f'({rest}')}" if bracket else _unbroken(first)


def _unbroken(words: str) -> str:
    """Words that a table cell keeps on one line."""
    return words.replace(" ", "\u00a0")
