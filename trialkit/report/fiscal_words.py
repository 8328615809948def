"""What the alternatives and the recommended action cost the town, in short tables and sentences.

Answers: what can a council choose between, and what does it pay once, next season and every year?

What only the town knows (fund, account, amount to be asked for) stands as a marked blank beside the computed figure. An amount that
is known from above only is said as a bound, and one that leaves something out says what.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import (
    PLOWS,
    counted,
    level_percent,
    level_words,
    listed,
    money,
    money_interval,
    money_interval_decimals,
    position_name,
    sentence_case,
)
from trialkit.money import alternatives as alt
from trialkit.money import lines
from trialkit.money.bids import RANK
from trialkit.money.kept import kept_words
from trialkit.money.order import N_CARRIED
from trialkit.report import cost_words
from trialkit.report.cost_study import CostStudy
from trialkit.report.cost_tables import NONE, NOT_KNOWN, amount, no_wear
from trialkit.table_parts import HARD, LIGHT, MIDDLING
from trialkit.verdicts import BETTER

AMOUNT_BLANK = "[amount to be confirmed by staff]"
FUND_BLANK = "[fund and account]"
SETS_BLANK = "[number of sets to be set by staff]"
ANNUAL = (c.ANNUAL_COST, c.ANNUAL_LOW, c.ANNUAL_HIGH)
ALTERNATIVE_TEXT, SEASON_TEXT, SAVED_TEXT, FIRST_TEXT, LATER_TEXT = (
    "alternative_text", "season_text", "saved_text", "first_text", "later_text",
)  # fmt: skip
ALTERNATIVE_HEADINGS = {
    ALTERNATIVE_TEXT: "Alternative", FIRST_TEXT: "Bought in the first year", LATER_TEXT: "Bought in a later year",
    alt.RISK: "Risk", alt.NOT_KNOWN: "What is not known",
}  # fmt: skip
BOUGHT = "What is bought is edges and kits, without labor"
ROUNDED = "Amounts are rounded to what their intervals support, so one less another need not give the difference that is printed."
IMPACT, AMOUNT_TEXT, BASIS_TEXT, STAFF = "impact", "amount_text", "basis_text", "staff"
FISCAL_HEADINGS = {
    IMPACT: "What", AMOUNT_TEXT: "Computed", BASIS_TEXT: "How it is meant", STAFF: "To be filled in by staff",
}  # fmt: skip


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
        bound = not base and no_wear(found, row[c.EDGE_TYPE])
        rows.append(
            {
                ALTERNATIVE_TEXT: sentence_case(found.choices.name(row)),
                SEASON_TEXT: amount(currency, *(row[name] for name in ANNUAL), at_most=bound),
                SAVED_TEXT: NONE
                if base
                else sentence_case(
                    cost_words.saved_words(saved[0], saved[1], saved[2], currency, at_least=bound)
                ),
                FIRST_TEXT: amount(currency, row[alt.FIRST_YEAR]),
                LATER_TEXT: NOT_KNOWN if bound else amount(currency, row[alt.STEADY]),
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


def alternative_notes(found: CostStudy, *, brief: bool = False) -> list[str]:
    """How the costs of the alternatives are meant; in brief without why some trucks keep their edges, which the text then says."""
    if found.choices is None:
        return []
    why = kept_words(found.kept, found.labels) if brief else []
    notes = [note for note in found.choices.notes if note not in why]
    if len(found.choices.table) and brief:
        notes.append(f"{BOUGHT}. {ROUNDED}")
    elif len(found.choices.table):
        notes.append(
            f"{BOUGHT}; every truck that changes is taken to start with a new set, while the order for next season counts the part-worn "
            "sets that go on again."
        )
        notes.append(ROUNDED)
    return notes


# ---------------------------------------------------------------- what it costs the town
def fiscal_impact(found: CostStudy, *, brief: bool = False) -> pd.DataFrame:
    """One-time and recurring cost of the recommended action, next season's order, and what doing nothing costs.

    Parameters
    ----------
    found : CostStudy
    brief : bool
        Whether the order is told of a middling winter only.

    Returns
    -------
    DataFrame
        impact, amount_text, basis_text, staff (marked blanks); empty where no cost is known.
    """
    if found.costs is None or found.verdicts is None:
        return pd.DataFrame(columns=list(FISCAL_HEADINGS))
    currency = currency_of(found)
    bought = found.recommended != found.costs.inputs.reference
    row = alternative_row(found, alt.WHOLE_FLEET if bought else alt.NO_CHANGE)
    base = alternative_row(found, alt.NO_CHANGE)
    who = found.labels.get(found.recommended, found.recommended)
    today = stays(found)
    rows: list[tuple[str, str, str, str]] = []
    if bought:
        label, once = _outfit(found, row)
        rows.append(
            (
                label,
                once,
                f"a new set of {who} on each of the {row[alt.N_POSITIONS] if row else ''} {_place(found)} that change; {_carried(found)}",
                f"{AMOUNT_BLANK}, {FUND_BLANK}",
            )
        )
    rows += _order_rows(found, () if brief else (LIGHT, HARD))
    ends = [row[name] for name in ANNUAL] if row else []
    season = (
        amount(currency, *ends, at_most=bought and no_wear(found, found.recommended)) if ends else NOT_KNOWN
    )
    rows.append(
        (
            "Every year from then on",
            season,
            f"{who} at {_place(found)}{_but_for(found) if bought else ''}, middling winter, {_counted_in(found)}{_sure(found, ends)}",
            FUND_BLANK,
        )
    )
    if bought and base:
        ends = [base[name] for name in ANNUAL]
        rows.append(
            (
                "Every year so far",
                amount(currency, *ends),
                f"{today} instead, the same winter{_sure(found, ends)}",
                "",
            )
        )
    rows.append(("Doing nothing", *_doing_nothing(found), ""))
    return pd.DataFrame(rows, columns=list(FISCAL_HEADINGS))


def fiscal_notes(found: CostStudy, *, brief: bool = False) -> list[str]:
    """How the amounts of the fiscal impact go together, and at which price they are; in brief the first only."""
    row = alternative_row(found, alt.WHOLE_FLEET)
    if (
        found.costs is None
        or found.order is None
        or not row
        or found.recommended == found.costs.inputs.reference
    ):
        return []
    price = found.costs.inputs.edge(found.recommended).price
    if brief:
        return [
            "The order is what has to be paid next season. The first sets and the first year's purchases tell of the same purchase: they "
            "are not to be added to it."
        ]
    said = [
        "The order for next season, the first outfit and what is bought in the first year tell of the same purchase: they are not to be "
        "added up. The order is what has to be paid next season; the first outfit takes every set as new, and the first year adds what "
        "is used up in it."
    ]
    if math.isfinite(price):
        who = found.labels.get(found.recommended, found.recommended)
        said.append(
            f"A set of {who} is taken at {money(price, currency_of(found))}, the price in the trial{_bid_price(found)}."
        )
    return said


def _bid_price(found: CostStudy) -> str:
    """The price of the bid that is ranked first, where it is for the recommended type."""
    if found.bids is None or found.bids.table.empty:
        return ""
    ranked = found.bids.table[found.bids.table[RANK].notna()].to_dict("records")
    if not ranked or ranked[0][c.EDGE_TYPE] != found.recommended:
        return ""
    return f"; bid {ranked[0][c.BID]} asks {money(ranked[0][c.PRICE_PER_SET_USD], currency_of(found))}"


def _order_rows(found: CostStudy, also: Sequence[str]) -> list[tuple[str, str, str, str]]:
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
            cash(found, MIDDLING),
            f"{cost_words.pieces_words(found.order)}; suffices in a middling winter with {sure} certainty",
            f"{AMOUNT_BLANK}, {FUND_BLANK}",
        )
    ]
    apart = found.costs is None or found.costs.inputs.plan.tells_winters_apart
    for winter in also if apart else ():
        rows.append(
            (
                f"The same in a {winter} winter",
                cash(found, winter),
                cost_words.pieces_words(found.order, winter),
                "",
            )
        )
    return rows


def _doing_nothing(found: CostStudy) -> tuple[str, str]:
    """What a season without the change costs, and how it is meant."""
    row = alternative_row(found, alt.WHOLE_FLEET)
    who = found.labels.get(found.nearest, found.nearest)
    if not row or found.verdicts is None:
        return NOT_KNOWN, "no alternative can be costed"
    if found.verdicts.verdict_of(found.nearest) != BETTER:
        return "nothing that is shown", f"{who} is not shown to cost less than {stays(found)}"
    ends = [row[name] for name in (alt.SAVING, alt.SAVING_LOW, alt.SAVING_HIGH)]
    said = (
        f"at least {money(ends[1], currency_of(found), money_interval_decimals(*ends))} a season"
        if no_wear(found, found.nearest)
        else money_interval(ends[0], ends[1], ends[2], currency_of(found), "a season")
    )
    return said, f"saving of {who} that is given up{_sure(found, ends)}"


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
    if lines.LINE_WORDS[lines.SETS] in missing:
        return "what a set costs is not known"
    return f"without {missing}, which are not known" if missing else "labor and down time included"


def reference_of(found: CostStudy) -> str:
    """The edge type with which the others are compared."""
    return found.costs.inputs.reference if found.costs is not None else found.recommended


def stays(found: CostStudy) -> str:
    """What today's edge is called."""
    reference = reference_of(found)
    return found.labels.get(reference, reference.replace("_", " "))


def currency_of(found: CostStudy) -> str:
    """The currency of the amounts."""
    return found.costs.currency if found.costs is not None else "USD"


def _place(found: CostStudy) -> str:
    place = found.costs.inputs.plow_position if found.costs is not None else ""
    return PLOWS.get(place, position_name(place))


def _sure(found: CostStudy, ends: Sequence[float]) -> str:
    """The level of an amount's interval; nothing where it has none."""
    known = found.costs is not None and len(ends) > 1 and math.isfinite(ends[1])
    return f" ({level_words(found.costs.confidence_level)})" if known and found.costs is not None else ""


def _outfit(found: CostStudy, row: Mapping[Any, Any]) -> tuple[str, str]:
    """What the first outfit is called and comes to; without the kits where their price is not known."""
    if not row or found.costs is None:
        return "One time: first sets and kits", NOT_KNOWN
    inputs = found.costs.inputs
    edge = inputs.edge(found.recommended)
    if math.isfinite(lines.conversion_outlay(edge, inputs)):
        return "One time: first sets and kits", amount(inputs.currency, row[alt.OUTFIT_CASH])
    return (
        "One time: first sets, without kits (price not known)",
        amount(inputs.currency, edge.price * row[alt.N_POSITIONS]),
    )


def cash(found: CostStudy, winter: str) -> str:
    """What the order for a winter costs."""
    return found.order.cash_words(winter) if found.order is not None else "price not known"


def _but_for(found: CostStudy) -> str:
    """The trucks that keep another type, whose cost is in the amount all the same."""
    apart = [one for one in found.kept if one.edge_type != found.recommended]
    kinds = listed([found.labels.get(kind, kind) for kind in dict.fromkeys(one.edge_type for one in apart)])
    return f", {kinds} on {listed([one.truck_id for one in apart])}" if apart else ""


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


def alternative_row(found: CostStudy, name: str) -> dict[Any, Any]:
    """One alternative as a row; empty where it is not costed."""
    if found.choices is None:
        return {}
    rows = found.choices.table[found.choices.table[alt.ALTERNATIVE] == name].to_dict("records")
    return rows[0] if rows else {}
