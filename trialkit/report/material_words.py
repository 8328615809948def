"""What the report says about material and clearing, in sentences and short tables.

Answers: what may a council be told about salt, passes and how well the road was cleared, and what has to be said with it?

A difference that is not shown is never said to be none: the smallest one that the trial would probably have shown stands
beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.clearing import measures, rates, severity
from trialkit.clearing import season_saving as ss
from trialkit.clearing.comparison import ClearingComparison
from trialkit.clearing.ratings import EVEN_PCT
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_words,
    listed,
    money,
    number,
    percent,
)
from trialkit.report.block_types import Finding
from trialkit.report.material_figures import basis_word, edge_order
from trialkit.report.material_records import RATINGS
from trialkit.report.material_study import CLEARING_ITEM, MaterialStudy
from trialkit.report.material_tables import RATE_LB_PER_LANE_MI, is_shown
from trialkit.verdicts import BETTER, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE, Verdict

RATING_QUESTION = "Do operators rate the clearing higher?"
RATING_RULE = (
    "better where the exact p value over trucks after Holm is below the level and scores are higher, worse where they are lower; not "
    "enough data where so few trucks could not give such a p value"
)
RATED_ALIKE = "The clearing was not rated, and no difference is shown in what was."
VERDICT_COLUMNS = [c.QUESTION, c.EDGE_TYPE, c.VERDICT, c.SENTENCE, c.RULE]
QUESTIONS = {
    rates.ALL_MATERIAL: "Is less salt and other material needed?",
    measures.PASSES.name: "Are fewer passes needed?",
    measures.HOURS.name: "Are fewer hours needed?",
    measures.RESIDUAL_SNOW.name: "Is less snow left behind?",
}
"""Measure to the question that its verdict answers."""
NOTHING_COMPARED = "Salt and clearing were not compared: no storm has records of two edge types."
NOT_A_RATE = "These are totals divided: storms, routes and trucks differ between edge types, so that a difference here is no finding."
SAFETY = (
    "Nothing here says how much salt a road needs. Spread what conditions and the town's own policy ask for, whatever edge is on the "
    "plow."
)


# ---------------------------------------------------------------- what was recorded
def record_sentences(found: MaterialStudy) -> list[str]:
    """How much was recorded, and why material was not studied where it was not."""
    if found.records is None or found.not_studied:
        return [found.not_studied]
    shifts = found.records.shifts
    rated = shifts[found.records.rated]
    tons = float(display.value(rated[rates.DRY_LB].sum() / 2000.0, "short ton"))
    lane_mi = float(display.value(rated[c.LANE_MILES_TREATED].sum(), "lane-mi"))
    trucks, storms = rated[c.TRUCK_ID].nunique(), rated[c.STORM_ID].nunique()
    said = [
        f"{counted(len(rated), 'shift')} of {counted(trucks, 'truck')} in {counted(storms, 'storm')} have both material and "
        f"{display.word('lane-miles')} on record: {number(tons, 3)} {display.word('tons')} over {number(lane_mi, 3)} "
        f"{display.word('lane-miles')}, counted as dry material."
    ]
    if len(found.records.kinds) > 1:
        said.append(
            f"What was spread, by mass: {listed([rates.word(kind) for kind in found.records.kinds])}."
        )
    return said


def rate_sentences(found: MaterialStudy) -> list[str]:
    """The rate of each edge type over the season, the basis of every rate, and the town's own rate beside it."""
    rows = found.spread[found.spread[c.MATERIAL] == rates.ALL_MATERIAL]
    if rows.empty:
        return []
    by_type = dict(zip(rows[c.EDGE_TYPE].astype(str), rows[RATE_LB_PER_LANE_MI], strict=True))
    parts = [
        f"{rate_text(found, by_type[name])} with {found.label(name)}" for name in edge_order(found, by_type)
    ]
    said = [f"Over the season it came to {listed(parts)}, per {basis_word(found)}. {NOT_A_RATE}"]
    if math.isfinite(found.policy_rate_lb_lane_mi):
        said.append(
            f"The town's own rate is {rate_text(found, found.policy_rate_lb_lane_mi)} per {basis_word(found)}."
        )
    return said


def rate_text(found: MaterialStudy, rate_lb_lane_mi: float) -> str:
    """A rate of material in the basis and the unit that are printed, without what it is per: ``"212 lb"``."""
    unit = rates.basis_unit(found.rate_basis)
    shown = float(display.value(rates.rate_on_basis(rate_lb_lane_mi, found.rate_basis), unit))
    return f"{number(shown, 3)} {display.unit('lb')}"


# ---------------------------------------------------------------- differences
def material_findings(found: MaterialStudy) -> list[Finding]:
    """How each edge type differs from the reference in material, with the chloride behind it and the verdict."""
    if found.main is None:
        return [Finding(sentence=found.not_studied or found.not_compared.get(rates.ALL_MATERIAL, ""))]
    chloride = next((one for one in found.material if one.measure.material == rates.CHLORIDE), None)
    beside = dict(zip(chloride.table[c.EDGE_TYPE], chloride.sentences(), strict=True)) if chloride else {}
    return [
        Finding(
            sentence=sentence, detail=beside.get(row[c.EDGE_TYPE], ""), verdict=verdict_of(found.main, row)
        )
        for row, sentence in zip(found.main.table.to_dict("records"), found.main.sentences(), strict=True)
    ]


def clearing_findings(found: MaterialStudy) -> list[Finding]:
    """How each edge type differs in passes, hours and snow left behind; what of it was not recorded."""
    said = [
        Finding(sentence=sentence, verdict=verdict_of(one, row))
        for one in found.clearing
        for row, sentence in zip(one.table.to_dict("records"), one.sentences(), strict=True)
    ]
    missing = [
        found.not_compared[name]
        for name in QUESTIONS
        if name != rates.ALL_MATERIAL and name in found.not_compared
    ]
    return [*said, *(Finding(sentence=why) for why in dict.fromkeys(missing))]


def rating_findings(found: MaterialStudy) -> list[Finding]:
    """What operators thought of the clearing, and whatever else they rated higher or lower; the table has every item."""
    if found.ratings is None:
        return [Finding(sentence=found.not_compared.get(RATINGS, found.not_studied))]
    items = sorted(dict.fromkeys(found.ratings.table[c.ITEM]), key=lambda item: item != CLEARING_ITEM)
    said = [
        (item, Finding(sentence=sentence, verdict=rating_verdict(found, row)))
        for item in items
        for row, sentence in zip(
            found.ratings.of_item(item).to_dict("records"), found.ratings.sentences(item), strict=True
        )
    ]
    kept = [one for item, one in said if item == CLEARING_ITEM or one.verdict in (BETTER, WORSE)]
    return kept or [Finding(sentence=RATED_ALIKE)]


def rating_verdict(found: MaterialStudy, row: Mapping[Any, Any]) -> Verdict:
    """Higher is better; no verdict where so few trucks could not have shown a difference."""
    needed = 1 - found.confidence_level
    if row[c.P_HOLM] < needed:
        return BETTER if row[c.ESTIMATE_PCT] > EVEN_PCT else WORSE
    return NOT_ENOUGH_DATA if row[c.P_SMALLEST] >= needed else NOT_SHOWN


def verdict_of(compared: ClearingComparison, row: Mapping[Any, Any]) -> Verdict:
    """Less is better: of material, passes, hours and snow left behind."""
    if not (math.isfinite(row[c.CONF_LOW]) and math.isfinite(row[c.CONF_HIGH])):
        return NOT_ENOUGH_DATA
    if not is_shown(compared, row):
        return NOT_SHOWN
    return BETTER if row[c.CONF_HIGH] < 0 else WORSE


def verdicts(found: MaterialStudy) -> pd.DataFrame:
    """The verdict on each edge type and question, with the sentence and the rule behind it.

    Returns
    -------
    DataFrame
        question, edge_type, verdict {better, worse, not_shown, not_enough_data}, sentence, rule; empty where nothing was compared.
    """
    rows: list[tuple[str, ...]] = []
    for one in (*([found.main] if found.main is not None else []), *found.clearing):
        rule = (
            f"better where the {level_words(one.confidence_level)} of the difference within storms lies below zero and the p value after "
            "Holm agrees, worse where it lies above"
        )
        question = QUESTIONS[one.measure.material or one.measure.name]
        rows += [
            (question, str(row[c.EDGE_TYPE]), verdict_of(one, row), sentence, rule)
            for row, sentence in zip(one.table.to_dict("records"), one.sentences(), strict=True)
        ]
    if found.ratings is not None:
        of_item = found.ratings.of_item(CLEARING_ITEM).to_dict("records")
        rows += [
            (RATING_QUESTION, str(row[c.EDGE_TYPE]), rating_verdict(found, row), sentence, RATING_RULE)
            for row, sentence in zip(of_item, found.ratings.sentences(CLEARING_ITEM), strict=True)
        ]
    return pd.DataFrame(rows, columns=VERDICT_COLUMNS)


# ---------------------------------------------------------------- storms
def storm_sentences(found: MaterialStudy) -> list[str]:
    """How hard the storms were, who met the hard ones, and whether harder storms took more material."""
    if found.storms is None:
        return ["How hard the storms were is not known: no storm was recorded."]
    said = [found.storms.sentence()]
    met = found.storms_by_type
    if len(met) > 1:
        index = met.set_index(met[c.EDGE_TYPE].astype(str))[severity.INDEX]
        parts = [
            f"{fixed(index[name], 2)} with {found.label(name)}" for name in edge_order(found, index.index)
        ]
        said.append(f"The shifts met storms of a mean index of {listed(parts)}.")
    if found.slope is not None:
        said.append(found.slope.sentence())
    return said


# ---------------------------------------------------------------- a season
def season_findings(found: MaterialStudy) -> list[Finding]:
    """What each edge type would save the fleet in a middling winter, or how large a saving would have been shown."""
    if found.saving is None or found.saving.table.empty:
        return [Finding(sentence=why_no_season(found))]
    return [
        Finding(
            sentence=_season_sentence(found, row),
            detail=" ".join(_season_details(found, row)),
            verdict=_season_verdict(row),
        )
        for row in found.saving.rows().to_dict("records")
    ]


def why_no_season(found: MaterialStudy) -> str:
    """Why there is no saving of a season."""
    if found.main is None:
        return "No saving of a season can be worked out, since material was not compared."
    why = found.use.sentence() if found.use is not None else ""
    return (
        why
        or f"No saving of a season can be worked out, since the trial has no fleet plan with the {display.word('miles')} of next season."
    )


def _season_sentence(found: MaterialStudy, row: Mapping[Any, Any]) -> str:
    name, reference = found.label(str(row[c.EDGE_TYPE])), found.label(str(row[c.REFERENCE]))
    miles = f"{number(float(display.value(row[c.MILES_MI], 'mi')), 3)} blade-down {display.word('miles')}"
    base = f"In a middling winter of {miles}, in which {reference} takes {amount(row[ss.USED], row, found)} of material"
    if row[ss.SHOWN] == ss.YES:
        verb = "saves" if row[c.ESTIMATE] > 0 else "takes"
        more = "" if row[c.ESTIMATE] > 0 else " more"
        return f"{base}, {name} {verb} {saving_text(row, found)}{more}."
    return f"{base}, a saving with {name} is not shown.{_smallest(row, found)}"


def _smallest(row: Mapping[Any, Any], found: MaterialStudy) -> str:
    if not math.isfinite(row[ss.SMALLEST]):
        return " How sure that is cannot be said."
    return f" This trial would probably have shown one of {amount(row[ss.SMALLEST], row, found)} or more."


def _season_details(found: MaterialStudy, row: Mapping[Any, Any]) -> Iterator[str]:
    """Money and chloride of the same winter, and the other winters, where a saving is shown."""
    if found.saving is None:
        return
    own = found.saving.table[found.saving.table[c.EDGE_TYPE] == row[c.EDGE_TYPE]]
    middling = own[own[ss.WINTER] == row[ss.WINTER]].set_index(ss.QUANTITY)
    if row[ss.SHOWN] != ss.YES:
        if math.isfinite(row[c.CONF_LOW]):
            yield f"Best estimate and interval: {saving_text(row, found, signed=True)}."
        if ss.MONEY in middling.index and math.isfinite(middling.loc[ss.MONEY, ss.SMALLEST]):
            entry = middling.loc[ss.MONEY].to_dict()
            yield f"In money, the smallest saving that would probably have been shown is {amount(entry[ss.SMALLEST], entry, found)}."
        return
    for quantity, words in ((ss.MONEY, "In money"), (rates.CHLORIDE, "As chloride")):
        if quantity in middling.index:
            yield f"{words}: {saving_text({**middling.loc[quantity].to_dict(), ss.QUANTITY: quantity}, found, signed=True)}."
    others = own[(own[ss.QUANTITY] == ss.MASS) & (own[ss.WINTER] != row[ss.WINTER])]
    for entry in others.to_dict("records"):
        yield f"In a {entry[ss.WINTER]} winter: {saving_text(entry, found, signed=True)}."


def _season_verdict(row: Mapping[Any, Any]) -> Verdict:
    if not math.isfinite(row[c.CONF_LOW]):
        return NOT_ENOUGH_DATA
    if row[ss.SHOWN] != ss.YES:
        return NOT_SHOWN
    return BETTER if row[c.ESTIMATE] > 0 else WORSE


def amount(value: float, row: Mapping[Any, Any], found: MaterialStudy) -> str:
    """A mass or an amount of money of a season, without an interval."""
    if row[c.UNIT] == found.currency:
        return money(value, found.currency)
    return f"{number(float(display.value(value, row[c.UNIT])), 3)} {display.word('tons')}"


def saving_text(row: Mapping[Any, Any], found: MaterialStudy, signed: bool = False) -> str:
    """A saving with its interval: ``"24 tons (95% interval 5 to 43 less)"``.

    Parameters
    ----------
    row : mapping
        A row of the season's table.
    found : MaterialStudy
        For currency and level.
    signed : bool
        Whether to say which side each number lies on, where an interval may hold zero.
    """
    in_money = row[c.UNIT] == found.currency
    ends = [row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]]
    shown = ends if in_money else [float(display.value(end, row[c.UNIT])) for end in ends]
    places = min(interval_decimals(*shown), 0 if in_money else 1)
    estimate, low, high = shown
    level = level_words(found.confidence_level)

    def said(value: float) -> str:
        return money(value, found.currency, places) if in_money else fixed(value, places)

    tons = "" if in_money else f" {display.word('tons')}"
    if not signed:
        a, b = sorted((abs(low), abs(high)))
        return f"{said(abs(estimate))}{tons} ({level} {said(a)} to {said(b)})"

    def side(value: float) -> str:
        return f"{said(abs(value))}{tons} {'less' if value >= 0 else 'more'}"

    if not (math.isfinite(low) and math.isfinite(high)):
        return side(estimate)
    first, last = (low, high) if estimate >= 0 else (high, low)
    same = (low < 0) == (high < 0)
    ends_said = f"{said(abs(first))} to {side(last)}" if same else f"{side(first)} to {side(last)}"
    return f"{side(estimate)} ({level} {ends_said})"


# ---------------------------------------------------------------- what goes with it
def limits() -> list[str]:
    """What these figures do not say."""
    return [
        "The storms are those of one winter: how an edge does in storms of another kind is not known.",
        "What is on record is what was loaded, set or written down, not what lay on the road.",
        SAFETY,
    ]


def method(found: MaterialStudy) -> list[str]:
    """How it was worked out."""
    said = [one.method for one in found.comparisons[:1]]
    if found.main is not None:
        said.append(
            "Material is counted dry: solids as weighed, of brine the salt dissolved in it, by its volume, strength and density at 20 \u00b0C. "
            f"Sodium chloride is {percent(100 * rates.SODIUM_CHLORIDE_FRAC, 1)} chloride by mass. Every rate is per {basis_word(found)}; a rate "
            f"per {display.word('mile')} of road with two lanes is twice that per {display.word('lane-mile')}."
        )
    if found.storms is not None:
        said.append(f"{found.storms.method}.")
    if found.ratings is not None:
        said.append(found.ratings.method)
    if found.saving is not None:
        said.append(display.words(f"{found.saving.method}."))
    return said


# ---------------------------------------------------------------- for the council
def told_comparisons(found: MaterialStudy) -> tuple[ClearingComparison, ...]:
    """Material in all and the clearing; single materials and chloride stand in the table only."""
    return (*([found.main] if found.main is not None else []), *found.clearing)


def front(found: MaterialStudy) -> list[Finding]:
    """What was shown of material, one line for each edge type; one line for all where nothing was."""
    compared = found.main
    if compared is None:
        return []
    told = [
        Finding(sentence=sentence, verdict=verdict_of(compared, row))
        for row, sentence in zip(compared.table.to_dict("records"), compared.sentences(), strict=True)
    ]
    shown = [item for item in told if item.verdict in (BETTER, WORSE)]
    if shown or not told:
        return shown
    types = [found.label(str(name)) for name in compared.table[c.EDGE_TYPE]]
    least = compared.table[c.DETECTABLE_PCT].max()
    seen = f"; a saving of {percent(least)} would probably have been seen" if math.isfinite(least) else ""
    sentence = f"No difference in material per {display.word('lane-mile')} between {listed(types, 'or')} and {found.label(found.reference)} is shown{seen}."
    return [
        Finding(
            sentence=sentence,
            verdict=NOT_SHOWN if NOT_SHOWN in {item.verdict for item in told} else NOT_ENOUGH_DATA,
        )
    ]


def council_findings(found: MaterialStudy) -> list[Finding]:
    """What a council is told: material, passes and snow left behind, and what a season would save."""
    if found.is_empty:
        return [Finding(sentence=found.not_studied or NOTHING_COMPARED)]
    told = [
        Finding(sentence=sentence, verdict=verdict_of(one, row))
        for one in told_comparisons(found)
        if one.measure.name in ("material", measures.PASSES.name)
        for row, sentence in zip(one.table.to_dict("records"), one.sentences(), strict=True)
    ]
    head = [Finding(sentence=found.not_studied)] if found.not_studied else []
    told += [item for item in rating_findings(found) if item.verdict]
    shown = [item for item in season_findings(found) if item.verdict in (BETTER, WORSE)]
    return [*head, *told, *shown]
