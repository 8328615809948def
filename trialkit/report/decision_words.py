"""What a council may decide, in words that follow from the verdict and the agreed rule.

Answers: which action follows from this trial, what are the alternatives, and what does it cost the town?

The words are a draft for staff: what only the town knows (fund, account, amount to be asked for, way of purchase) stands as a marked
blank beside the computed figure. A type that is not shown to cost less is never recommended.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    listed,
    money_interval,
    position_name,
    sentence_case,
)
from trialkit.money import alternatives as alt
from trialkit.money.bids import RANK
from trialkit.money.costs import EDGES_ALONE, WITH_SAVINGS
from trialkit.money.kept import kept_words
from trialkit.money.order import N_CARRIED, POSITION_WORDS
from trialkit.money.season import HARD, LIGHT, MIDDLING
from trialkit.report import cost_words
from trialkit.report.cost_study import CostStudy
from trialkit.report.cost_tables import NONE, NOT_KNOWN, amount
from trialkit.verdicts import BETTER, INTERIM, NOT_ENOUGH_DATA, NOT_SHOWN

BUY, NO_CHANGE, EXTEND, CONTINUE, WAIT = "buy", "no_change", "extend", "continue", "wait"
AMOUNT_BLANK = "[amount to be confirmed by staff]"
FUND_BLANK = "[fund and account]"
PURCHASE_BLANK = "[way of purchase to be set by staff]"
AWARD_BLANK = "[award to be confirmed by staff]"
SETS_BLANK = "[number of sets to be set by staff]"
TRUCKS_BLANK = "[number of trucks to be set by staff]"
COST = "cost"

ALTERNATIVE_TEXT, SEASON_TEXT, SAVED_TEXT, FIRST_TEXT, LATER_TEXT = (
    "alternative_text", "season_text", "saved_text", "first_text", "later_text",
)  # fmt: skip
ALTERNATIVE_HEADINGS = {
    ALTERNATIVE_TEXT: "Alternative", FIRST_TEXT: "Bought in the first year", LATER_TEXT: "Bought in a later year",
    alt.RISK: "Risk", alt.NOT_KNOWN: "What is not known",
}  # fmt: skip
IMPACT, AMOUNT_TEXT, BASIS_TEXT, STAFF = "impact", "amount_text", "basis_text", "staff"
FISCAL_HEADINGS = {
    IMPACT: "What", AMOUNT_TEXT: "Computed", BASIS_TEXT: "How it is meant", STAFF: "To be filled in by staff",
}  # fmt: skip


# ---------------------------------------------------------------- the action
@dataclass(frozen=True, slots=True)
class Action:
    """What follows from the verdict and the agreed rule.

    Attributes
    ----------
    kind : str
        "buy" (a type was found better), "no_change", "extend" (not shown, but worth another winter if the council wants to know),
        "continue" (not enough data) or "wait" (the season is not over).
    edge_type : str
        Type that would be bought, or that stays on.
    sentences : tuple of str
        What a council may adopt, then why.
    """

    kind: str
    edge_type: str
    sentences: tuple[str, ...]


def recommended_action(found: CostStudy, deciding: Mapping[str, str] | None = None) -> Action:
    """The action that follows from the verdicts, as a council may adopt it.

    Parameters
    ----------
    found : CostStudy
    deciding : mapping, optional
        Edge type to its verdict on the measure that was agreed to decide, where that is not cost. Without it nothing is bought on the
        strength of a cost that was not agreed to decide.

    Returns
    -------
    Action
    """
    reference = _reference(found)
    if found.verdicts is not None and found.verdicts.rule.interim:
        return Action(
            WAIT,
            reference,
            (
                "Go on with the trial as planned and decide nothing yet: the season is not over, and every result in this report is "
                f"{INTERIM}.",
            ),
        )
    if found.verdicts is None or not found.nearest:
        why = cost_words.nothing(found) or cost_words.NOTHING_JUDGED
        return Action(CONTINUE, reference, (f"Make no change of edge type. {why}", _go_on()))
    kind = _kind(found)
    measure = found.verdicts.rule.primary_measure
    if measure != COST:
        told = (deciding or {}).get(found.nearest, "")
        if kind == BUY and told != BETTER:
            return Action(NO_CHANGE, reference, _other_measure(found, measure, told))
    said = {BUY: _buy, EXTEND: _extend, NO_CHANGE: _no_change, CONTINUE: _continue}[kind](found)
    if measure != COST and kind != BUY:
        said += _better_but_dear(found, measure, deciding or {})
    return Action(kind, found.recommended if kind == BUY else reference, (*said, _why(found)))


def _kind(found: CostStudy) -> str:
    """Which kind of action follows from the verdict on the type that comes nearest."""
    if found.verdicts is None:
        return CONTINUE
    if found.verdicts.better():
        return BUY
    judged = found.verdicts.table[found.verdicts.table[c.BASIS] == EDGES_ALONE]
    if set(judged[c.VERDICT]) <= {NOT_ENOUGH_DATA}:
        return CONTINUE
    row = judged[judged[c.EDGE_TYPE] == found.nearest].iloc[0]
    least = found.verdicts.rule.smallest_saving_pct
    worth_it = row[c.SAVING_PCT] > 0 and row[c.SAVING_PCT] >= least
    return EXTEND if row[c.VERDICT] in (NOT_SHOWN, NOT_ENOUGH_DATA) and worth_it else NO_CHANGE


def _buy(found: CostStudy) -> list[str]:
    who = found.labels.get(found.recommended, found.recommended)
    if found.order is None or found.order.fleet.empty:
        first = (
            f"Authorize the purchase of {who} for next season, {SETS_BLANK}, {AMOUNT_BLANK}, from {FUND_BLANK}. No miles are planned, so "
            "no number is computed."
        )
    else:
        sure = level_percent(found.order.service_level)
        first = (
            f"Authorize the purchase for next season of {cost_words.pieces_words(found.order)}: {_cash(found, MIDDLING)} {AMOUNT_BLANK}, "
            f"from {FUND_BLANK}. That suffices in a middling winter with {sure} certainty; spare sets on the shelf come off it."
        )
    first = " ".join([first, *_stay_as_they_are(found)])
    said = [
        first,
        f"Buy by {PURCHASE_BLANK}, on the specification drafted with this report, and let the cost per blade-down "
        f"{cost_words.mile()} decide where the rules of purchase allow it.",
    ]
    said += _of_the_bids(found, who)
    return [
        *said,
        f"Keep recording heights, {cost_words.mile()}s and breaks on {TRUCKS_BLANK} next season, to see whether the saving holds on other "
        "routes and with another lot.",
    ]


def _stay_as_they_are(found: CostStudy) -> list[str]:
    """Which trucks are not to change, and the reason on record."""
    return kept_words([one for one in found.kept if one.edge_type != found.recommended], found.labels)


def _of_the_bids(found: CostStudy, who: str) -> list[str]:
    """What the bids on hand say about the recommended type."""
    if found.bids is None or found.bids.table.empty:
        return []
    ranked = found.bids.table[found.bids.table[RANK].notna()]
    if not (ranked[c.EDGE_TYPE] == found.recommended).any():
        return [f"No bid on hand for {who} can be ranked: ask for bids."]
    if ranked.iloc[0][c.EDGE_TYPE] == found.recommended:
        return [f"{found.bids.sentence()} {AWARD_BLANK}"]
    other = found.bids.label(str(ranked.iloc[0][c.EDGE_TYPE]))
    return [
        f"{found.bids.sentence()} That is a bid for {other}, which this trial does not find to be the one to buy; weigh the two before an "
        f"award. {AWARD_BLANK}"
    ]


def _extend(found: CostStudy) -> list[str]:
    who, stays = found.labels.get(found.nearest, found.nearest), _stays(found)
    row = _alternative(found, alt.EXTEND)
    price = (
        f" A season of it costs {amount(_currency(found), row[c.ANNUAL_COST], row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH])} in edges "
        f"and their changing {AMOUNT_BLANK}, from {FUND_BLANK}."
        if row
        else f" {AMOUNT_BLANK}, from {FUND_BLANK}."
    )
    return [
        f"Make no change of edge type for next season: {stays} stays on every truck outside the trial.",
        f"If the council wants to know whether {who} pays, let the trial go on for another winter on {TRUCKS_BLANK}: the best estimate "
        f"would be worth a change, but it is not shown.{price}",
        *_order_line(found),
    ]


def _no_change(found: CostStudy) -> list[str]:
    return [f"Make no change of edge type for next season: {_stays(found)} stays on.", *_order_line(found)]


def _continue(found: CostStudy) -> list[str]:
    return [
        f"Make no change of edge type for next season: {_stays(found)} stays on.",
        _go_on(),
        *_order_line(found),
    ]


def _go_on() -> str:
    return (
        f"Go on with the trial on {TRUCKS_BLANK}, at least two with each edge type and better four, until the rule can be applied; "
        f"{AMOUNT_BLANK}, from {FUND_BLANK}."
    )


def _other_measure(found: CostStudy, measure: str, told: str) -> tuple[str, ...]:
    who = found.labels.get(found.nearest, found.nearest)
    said = (
        f"By that measure {who} is not found better"
        if told
        else f"The verdict on {measure} has to be weighed before {who} is bought"
    )
    return (
        f"Make no change of edge type on the strength of cost alone. The measure agreed before the season to decide is {measure}, not "
        f"cost. {said}.",
        f"On cost the trial found: {' '.join(_judged(found))}",
    )


def _better_but_dear(found: CostStudy, measure: str, deciding: Mapping[str, str]) -> list[str]:
    """Why what is better by the measure that was agreed to decide is not bought all the same."""
    better = [found.labels.get(kind, kind) for kind, told in deciding.items() if told == BETTER]
    if not better:
        return []
    return [
        f"By the measure agreed before the season to decide, {measure}, {listed(better)} {'is' if len(better) == 1 else 'are'} found "
        "better. A purchase is not recommended all the same, since no saving in cost that is worth a change is shown."
    ]


def _why(found: CostStudy) -> str:
    return f"This follows from what was found under the rule agreed before the season: {' '.join(_judged(found))}"


def _judged(found: CostStudy) -> list[str]:
    """The verdicts on the edges alone, then those that need the material saved."""
    if found.verdicts is None:
        return []
    table = found.verdicts.table
    own = table[table[c.BASIS] == EDGES_ALONE]
    own = own.sort_values(c.EDGE_TYPE, key=lambda kinds: kinds != found.nearest, kind="stable")
    said = list(own[c.SENTENCE])
    alone = set(found.verdicts.better())
    more = table[
        (table[c.BASIS] == WITH_SAVINGS) & (table[c.VERDICT] == BETTER) & ~table[c.EDGE_TYPE].isin(alone)
    ]
    for sentence in more[c.SENTENCE]:
        said.append(f"{sentence} That is not what decides here, since the rule is on the edges alone.")
    return said


def _order_line(found: CostStudy) -> list[str]:
    if found.order is None or found.order.fleet.empty:
        return []
    return [
        f"For next season order {cost_words.pieces_words(found.order)}: {_cash(found, MIDDLING)} {AMOUNT_BLANK}, from {FUND_BLANK}, less "
        "the sets on the shelf."
    ]


# ---------------------------------------------------------------- the alternatives
def alternatives_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """What a council can choose between, with the cost of a season and the cash, and the headings; no rows without a plan."""
    if found.choices is None:
        return pd.DataFrame(), {}
    currency = found.choices.currency
    rows = []
    for row in found.choices.table.to_dict("records"):
        saved = [row[name] for name in (alt.SAVING, alt.SAVING_LOW, alt.SAVING_HIGH)]
        base = row[alt.ALTERNATIVE] == alt.NO_CHANGE
        rows.append(
            {
                ALTERNATIVE_TEXT: sentence_case(found.choices.name(row)),
                SEASON_TEXT: amount(currency, row[c.ANNUAL_COST], row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH]),
                SAVED_TEXT: NONE
                if base
                else sentence_case(cost_words.saved_words(saved[0], saved[1], saved[2], currency)),
                FIRST_TEXT: amount(currency, row[alt.FIRST_YEAR]),
                LATER_TEXT: amount(currency, row[alt.STEADY]),
            }
        )
    level = level_words(found.choices.confidence_level)
    headings = {
        **ALTERNATIVE_HEADINGS, SEASON_TEXT: f"Cost of a season ({level})", SAVED_TEXT: f"Against no change ({level})",
    }  # fmt: skip
    return pd.DataFrame(rows), headings


def alternatives_weighed(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """The risk of each alternative and what is not known about it, with the headings."""
    if found.choices is None or found.choices.table.empty:
        return pd.DataFrame(), {}
    table = found.choices.table
    names = [sentence_case(found.choices.name(row)) for row in table.to_dict("records")]
    frame = pd.DataFrame(
        {ALTERNATIVE_TEXT: names, alt.RISK: table[alt.RISK], alt.NOT_KNOWN: table[alt.NOT_KNOWN]}
    )
    return frame, ALTERNATIVE_HEADINGS


def alternative_notes(found: CostStudy) -> list[str]:
    """How the costs of the alternatives are meant."""
    if found.choices is None:
        return []
    notes = list(found.choices.notes)
    if len(found.choices.table):
        notes.append(
            "What is bought is edges and kits, without labor; every truck that changes is taken to start with a new set, while the order "
            "for next season counts the part-worn sets that go on again."
        )
    return notes


# ---------------------------------------------------------------- what it costs the town
def fiscal_impact(found: CostStudy) -> pd.DataFrame:
    """One-time and recurring cost of the recommended action, next season's order, and what doing nothing costs.

    Returns
    -------
    DataFrame
        impact, amount_text, basis_text, staff (marked blanks); empty where no cost is known.
    """
    if found.costs is None or found.verdicts is None:
        return pd.DataFrame(columns=list(FISCAL_HEADINGS))
    currency = _currency(found)
    bought = found.recommended != found.costs.inputs.reference
    row = _alternative(found, alt.WHOLE_FLEET if bought else alt.NO_CHANGE)
    base = _alternative(found, alt.NO_CHANGE)
    who = found.labels.get(found.recommended, found.recommended)
    stays = _stays(found)
    rows: list[tuple[str, str, str, str]] = []
    if bought:
        once = amount(currency, row[alt.OUTFIT_CASH]) if row else NOT_KNOWN
        rows.append(
            (
                "One time: first sets and kits",
                once,
                f"a new set of {who} on each of the {row[alt.N_POSITIONS] if row else ''} {_place(found)} that change; {_carried(found)}",
                f"{AMOUNT_BLANK}, {FUND_BLANK}",
            )
        )
    rows += _order_rows(found)
    season = amount(currency, row[c.ANNUAL_COST], row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH]) if row else NOT_KNOWN
    rows.append(
        (
            "Every year from then on",
            season,
            f"{who} at {_place(found)}, middling winter, {_counted_in(found)}{_sure(found)}",
            FUND_BLANK,
        )
    )
    if bought and base:
        before = amount(currency, base[c.ANNUAL_COST], base[c.ANNUAL_LOW], base[c.ANNUAL_HIGH])
        rows.append(("Every year so far", before, f"{stays} instead, the same winter{_sure(found)}", ""))
    rows.append(("Doing nothing", *_doing_nothing(found), ""))
    return pd.DataFrame(rows, columns=list(FISCAL_HEADINGS))


def _order_rows(found: CostStudy) -> list[tuple[str, str, str, str]]:
    if found.order is None or found.order.fleet.empty:
        return [
            (
                "Next season's order",
                NOT_KNOWN,
                "no miles are planned",
                f"{SETS_BLANK}, {AMOUNT_BLANK}, {FUND_BLANK}",
            )
        ]
    sure = level_percent(found.order.service_level)
    rows = [
        (
            "Next season's order",
            _cash(found, MIDDLING),
            f"{cost_words.pieces_words(found.order)}; suffices in a middling winter with {sure} certainty",
            f"{AMOUNT_BLANK}, {FUND_BLANK}",
        )
    ]
    for winter in (LIGHT, HARD):
        rows.append(
            (
                f"The same in a {winter} winter",
                _cash(found, winter),
                cost_words.pieces_words(found.order, winter),
                "",
            )
        )
    return rows


def _doing_nothing(found: CostStudy) -> tuple[str, str]:
    """What a season without the change costs, and how it is meant."""
    row = _alternative(found, alt.WHOLE_FLEET)
    who = found.labels.get(found.nearest, found.nearest)
    if not row or found.verdicts is None:
        return NOT_KNOWN, "no alternative can be costed"
    if found.verdicts.verdict_of(found.nearest) != BETTER:
        return "nothing that is shown", f"{who} is not shown to cost less than {_stays(found)}"
    said = money_interval(
        row[alt.SAVING], row[alt.SAVING_LOW], row[alt.SAVING_HIGH], _currency(found), "a season"
    )
    return said, f"saving of {who} that is given up{_sure(found)}"


def waiting(found: CostStudy) -> str:
    """What waiting for another season costs, in one sentence."""
    cost, basis = _doing_nothing(found)
    if cost == NOT_KNOWN:
        return "That is not known: no alternative can be costed."
    if cost == "nothing that is shown":
        return f"Nothing that this trial shows: {basis}."
    return f"{sentence_case(cost)}: the {basis}."


# ---------------------------------------------------------------- parts
def _counted_in(found: CostStudy) -> str:
    """Whether the work is in the cost of the recommended type, or what of it is not known."""
    table = found.costs.table.set_index(c.EDGE_TYPE) if found.costs is not None else pd.DataFrame()
    missing = str(table.loc[found.recommended, c.UNKNOWN_LINES]) if found.recommended in table.index else ""
    return f"without {missing}, not known" if missing else "labor and down time included"


def _reference(found: CostStudy) -> str:
    return found.costs.inputs.reference if found.costs is not None else found.recommended


def _stays(found: CostStudy) -> str:
    reference = _reference(found)
    return found.labels.get(reference, reference.replace("_", " "))


def _currency(found: CostStudy) -> str:
    return found.costs.currency if found.costs is not None else "USD"


def _place(found: CostStudy) -> str:
    place = found.costs.inputs.plow_position if found.costs is not None else ""
    return POSITION_WORDS.get(place, position_name(place))


def _sure(found: CostStudy) -> str:
    return f" ({level_words(found.costs.confidence_level)})" if found.costs is not None else ""


def _cash(found: CostStudy, winter: str) -> str:
    return found.order.cash_words(winter) if found.order is not None else "price not known"


def _carried(found: CostStudy) -> str:
    """How many part-worn sets of the recommended type go on again."""
    if found.order is None:
        return "part-worn sets that go on again come off it"
    own = found.order.fleet[
        (found.order.fleet[c.EDGE_TYPE] == found.recommended) & (found.order.fleet[c.WINTER] == MIDDLING)
    ]
    n = int(own.drop_duplicates(c.PLOW_POSITION)[N_CARRIED].sum()) if len(own) else 0
    return (
        f"the order counts {counted(n, 'part-worn set')} that {'goes' if n == 1 else 'go'} on again, so less is bought"
        if n
        else "no part-worn set goes on again"
    )


def _alternative(found: CostStudy, name: str) -> dict[Any, Any]:
    """One alternative as a row; empty where it is not costed."""
    if found.choices is None:
        return {}
    rows = found.choices.table[found.choices.table[alt.ALTERNATIVE] == name].to_dict("records")
    return rows[0] if rows else {}
