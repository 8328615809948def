"""What the report says about the cost of edges, in sentences.

Answers: what does a mile cost with each edge type, of what, where does a type just pay, what could turn the finding, and what has
to be ordered?

Everything is said from a `cost_study.CostStudy`; no figure is typed here. A difference that is not shown is never said as one: its
sentence names both ends of the interval.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    PLOWS,
    counted,
    decimals_for,
    level_percent,
    level_words,
    listed,
    money,
    money_interval_decimals,
    money_span,
    percent,
    position_name,
    sentence_case,
)
from trialkit.money import break_even as break_even_of
from trialkit.money import left_out, life_cycle, lines, order
from trialkit.money.bids import RANK
from trialkit.money.cost_differences import EDGES_ALONE, chance_words
from trialkit.money.costs import OF_WHICH, PER_MILE
from trialkit.money.order import PIECE, TO_HAVE
from trialkit.report.block_types import Finding
from trialkit.report.cost_study import CostStudy
from trialkit.report.cost_tables import amount, no_wear
from trialkit.table_parts import MIDDLING, NO, WINTERS
from trialkit.verdicts import BETTER

GROUPS: dict[str, tuple[str, ...]] = {
    "worn edges": (lines.SETS,),
    "labor": (lines.pr.LABOUR_REGULAR, lines.pr.LABOUR_OVERTIME),
    "truck down time": (lines.pr.TRUCK_DOWN,),
    "breaks and losses": (lines.BREAKAGE,),
    "bolts and hardware": (lines.pr.HARDWARE,),
    "kits, stock, disposal, other": (lines.pr.CONVERSION, lines.pr.STOCK, lines.pr.DISPOSAL, lines.pr.OTHER),
}
"""Cost lines that are told together, in the order in which a figure stacks them."""
GROUP, REST = "group", "the rest"
MOST_SHARES = 3
NOTHING_JUDGED = "No edge type can be set against the reference in cost."
NOTHING_TO_ORDER = "There is nothing to order: no miles are planned, or no life is known."
NO_BIDS = "No bids were recorded, so none are compared."
NO_SPECIFICATION = "No change of edge type is recommended, so there is no specification to buy by."
NO_PRICE = "No edge type has both a price and a life, so nothing can be drawn."
NO_PLAN = "No miles of a season are known, so nothing is said about the cost of a season or of several years."
NO_COST = "No cost was worked out, for want of a price or of a life."
NOTHING_CHANGED = "No change was asked for: the table shows the costs as they were found."
NOT_SHOWN_TO_PAY = "These are best estimates: that it pays is not shown."


# ---------------------------------------------------------------- sentences
def mile() -> str:
    """The unit of length in a sentence: mile or kilometer."""
    return display.word("mile")


def nothing(found: CostStudy) -> str:
    """Why nothing is said about cost; empty where something is."""
    return "" if found.costs is not None else " ".join(found.notes)


def costs(found: CostStudy) -> list[str]:
    """What a blade-down mile costs with each edge type."""
    if found.costs is None:
        return [nothing(found)]
    rows = zip(found.costs.sentences(), found.costs.table.to_dict("records"), strict=True)
    return [_from_above(found, row) or sentence for sentence, row in rows] or [found.costs.sentence()]


def costs_not_known(found: CostStudy) -> list[str]:
    """Why no mile has a cost, where the prices of all types are missing."""
    if found.costs is None:
        return [nothing(found)]
    names = [found.costs.label(str(kind)) for kind in found.costs.table[c.EDGE_TYPE]]
    return [
        f"What a {mile()} costs is not known: no price of a set of {listed(names, 'or')} is recorded. With prices in edge_sets the report "
        "says what each edge type costs and saves."
    ]


def _from_above(found: CostStudy, row: Mapping[Hashable, Any]) -> str:
    """The cost of a type of which no wear could be measured; empty for the others."""
    kind = str(row[c.EDGE_TYPE])
    if found.costs is None or not no_wear(found, kind) or not math.isfinite(row[c.CONF_HIGH]):
        return ""
    why = left_out.without_wear(replace(found.costs.inputs, reference=kind), kind)
    left = f" Not included because not known: {row[c.UNKNOWN_LINES]}." if row[c.UNKNOWN_LINES] else ""
    return (
        f"{sentence_case(found.costs.label(kind))} costs {per_mile_words(found, kind)} ({level_words(found.costs.confidence_level)}; "
        f"{why}).{left}"
    )


def per_mile_words(found: CostStudy, kind: str) -> str:
    """What a mile with a type costs; empty where that is not known."""
    if found.costs is None:
        return ""
    row = found.costs.table[found.costs.table[c.EDGE_TYPE] == kind].to_dict("records")[0]
    ends = [float(row[name]) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)]
    if not math.isfinite(ends[0]):
        return ""
    if no_wear(found, kind):
        ends = [float(display.value(one, PER_MILE)) for one in ends]
        return f"{amount(found.costs.currency, *ends, at_most=True)} per blade-down {mile()}"
    return found.costs.per_mile(*ends)


def made_of(found: CostStudy) -> list[str]:
    """What the cost of each edge type is made of, its largest parts first."""
    if found.costs is None:
        return []
    said = []
    for kind, parts in grouped_lines(found.costs).groupby(c.EDGE_TYPE, sort=False):
        total = float(parts[c.ESTIMATE].sum())
        if not total > 0 or no_wear(found, str(kind)):
            continue
        largest = parts[parts[c.ESTIMATE] > 0].sort_values(c.ESTIMATE, ascending=False, kind="stable")[
            :MOST_SHARES
        ]
        shares = [100.0 * one / total for one in largest[c.ESTIMATE]]
        told = [f"{percent(share)} is {name}" for share, name in zip(shares, largest[GROUP], strict=True)]
        rest = 100.0 - sum(round(share) for share in shares)
        told += [f"{percent(rest)} {REST}"] if rest >= 1 else []
        said.append(f"Of what a {mile()} with {found.costs.label(str(kind))} costs, {listed(told)}.")
    return said


def differences(found: CostStudy) -> list[Finding]:
    """Whether each edge type costs less than the reference, with the verdict, the amount and the chance."""
    if found.costs is None or found.verdicts is None:
        return [Finding(sentence=nothing(found))]
    judged = found.verdicts.table
    if judged.empty:
        return [Finding(sentence=NOTHING_JUDGED)]
    amounts = {(row[c.EDGE_TYPE], row[c.BASIS]): row for row in found.costs.compared.to_dict("records")}
    return [
        Finding(
            sentence=row[c.SENTENCE],
            detail=amount_words(found, amounts[row[c.EDGE_TYPE], row[c.BASIS]]),
            verdict=row[c.VERDICT],
        )
        for row in judged.to_dict("records")
    ]


def front(found: CostStudy) -> list[Finding]:
    """The verdicts on the edges alone in one line each, for the front of a report."""
    if found.verdicts is None:
        return [Finding(sentence=nothing(found))]
    judged = found.verdicts.table
    rows = judged[judged[c.BASIS] == EDGES_ALONE].to_dict("records")
    return [Finding(sentence=row[c.SENTENCE], verdict=row[c.VERDICT]) for row in rows] or [
        Finding(sentence=NOTHING_JUDGED)
    ]


def amount_words(found: CostStudy, row: Mapping[Any, Any]) -> str:
    """A difference in cost per mile as an amount, and the chance that the type is cheaper; empty where there is none."""
    if found.costs is None or not math.isfinite(row[c.ESTIMATE]):
        return ""
    bound = no_wear(found, row[c.EDGE_TYPE])
    said = less_or_more(found, row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH], at_least=bound)
    if not math.isfinite(row[c.CONF_LOW]):
        return f"{sentence_case(said)}, without an interval."
    sure = level_words(found.costs.confidence_level)
    return (
        f"{sentence_case(said)} ({sure}). Chance that it is cheaper: {chance_words(row[c.CHANCE_CHEAPER])}."
    )


def less_or_more(
    found: CostStudy, estimate: float, low: float, high: float, *, at_least: bool = False
) -> str:
    """A difference per mile in words: ``"$0.82 ($0.24 to $1.37) less per blade-down mile"``, or both ends where they differ."""
    currency = found.costs.currency if found.costs is not None else "USD"
    middle, first, last = (float(display.value(one, PER_MILE)) for one in (estimate, low, high))
    per = f"per blade-down {mile()}"
    return f"{saved_words(-middle, -last, -first, currency, at_least=at_least)} {per}"


def saved_words(saving: float, low: float, high: float, currency: str, *, at_least: bool = False) -> str:
    """An amount saved (below zero: spent), with its ends, as ``less`` or ``more``; without an estimate where only ends are known."""
    places = money_interval_decimals(saving, low, high)
    middle = f"{money(abs(saving), currency, places)} {'less' if saving >= 0 else 'more'}"
    if saving > 0 and 0 <= low < high and round(low, places) == 0:
        ends = f"between nothing and {money(high, currency, places)} less"
        return ends if at_least else f"{ends}, best estimate {middle}"
    if not (math.isfinite(low) and math.isfinite(high)):
        return middle
    if low < 0 < high:
        ends = f"{money(-low, currency, places)} more to {money(high, currency, places)} less"
        return f"anywhere from {ends}" if at_least else f"anywhere from {ends}, best estimate {middle}"
    if at_least and low > 0:
        return f"at least {money(low, currency, places)} less"
    first, last = (low, high) if saving >= 0 else (-high, -low)
    return f"{money(abs(saving), currency, places)} ({money_span(first, last, currency, places)}) {'less' if saving >= 0 else 'more'}"


def break_even(found: CostStudy) -> list[str]:
    """Where each edge type just pays; where that it pays is not shown, this is said."""
    if found.even is None or found.verdicts is None:
        return [nothing(found)]
    rows = found.even.table.to_dict("records")
    said = zip(found.even.sentences(), rows, strict=True)
    told = [
        _pays_from(found, row)
        if no_wear(found, row[c.EDGE_TYPE])
        else sentence
        if found.verdicts.verdict_of(row[c.EDGE_TYPE]) == BETTER or not math.isfinite(row[c.PRICE])
        else f"{sentence} {NOT_SHOWN_TO_PAY}"
        for sentence, row in said
    ]
    return told or [found.even.sentence()]


def _pays_from(found: CostStudy, row: Mapping[Hashable, Any]) -> str:
    """Where a type pays of which no wear could be measured: known from one side."""
    who = sentence_case(found.labels.get(str(row[c.EDGE_TYPE]), str(row[c.EDGE_TYPE])))
    low, currency = (
        float(row[break_even_of.PRICE_FROM]),
        found.costs.currency if found.costs is not None else "USD",
    )
    said = f"{who}: no wear could be measured, so up to which price a set pays is known from one side only"
    if not math.isfinite(low) or low <= 0:
        return f"{said}."
    sure = level_words(found.costs.confidence_level) if found.costs is not None else ""
    return f"{said}: {money(low, currency, decimals_for(low))} or more ({sure})."


def several_years(found: CostStudy) -> list[str]:
    """What each type saves or costs over the horizon; a saving whose interval holds zero is not said as one."""
    if found.cycle is None:
        return [nothing(found)]
    rows = found.cycle.table[found.cycle.table[c.EDGE_TYPE] != found.cycle.inputs.reference]
    if not found.cycle.table[life_cycle.LCC].notna().any():
        return [NO_PLAN]
    said = zip(found.cycle.sentences(), rows.to_dict("records"), strict=True)
    told = [_over_years(found, sentence, row) for sentence, row in said]
    return [*told, *_counted_all_the_same(found)] if told else [found.cycle.sentence()]


def _counted_all_the_same(found: CostStudy) -> list[str]:
    """The trucks that keep their type, which the comparison of the types over the years counts like the others."""
    names = listed([one.truck_id for one in found.kept])
    is_one = len(found.kept) == 1
    return (
        [
            f"The types are compared on every truck; {names}, which {'keeps its' if is_one else 'keep their'} edge type, "
            f"{'is' if is_one else 'are'} counted too."
        ]
        if names
        else []
    )


def _over_years(found: CostStudy, sentence: str, row: Mapping[Hashable, Any]) -> str:
    if found.cycle is None or not row[c.NPV_LOW] < 0 < row[c.NPV_HIGH]:
        return sentence
    given = found.cycle.inputs
    who, other = given.label(str(row[c.EDGE_TYPE])), given.label(given.reference)
    said = saved_words(row[c.NPV], row[c.NPV_LOW], row[c.NPV_HIGH], given.currency)
    return (
        f"Over {found.cycle.horizon_years} years {who} is not shown to save or to cost the fleet anything against {other}: {said} "
        f"({level_words(given.confidence_level)}; today's money, {percent(100 * given.discount_rate, 1)} real)."
    )


def turning(found: CostStudy) -> list[str]:
    """What matters most to the difference, and what could turn it."""
    if found.sensitivity is None or found.sensitivity.table.empty:
        return [nothing(found) or NOTHING_JUDGED]
    return [
        *found.sensitivity.sentences(),
        "One figure is moved at a time; the ends do not come together, so they are no interval.",
    ]


def to_order(found: CostStudy) -> list[str]:
    """What to order for a middling, a light and a hard winter, and what that rests on."""
    if found.order is None or found.order.fleet.empty:
        return [NOTHING_TO_ORDER]
    sure = level_percent(found.order.service_level)
    said = []
    for winter in (MIDDLING, *(one for one in WINTERS if one != MIDDLING)):
        said.append(
            f"For a {winter} winter: {pieces_words(found.order, winter)} ({found.order.cash_words(winter)})."
        )
    return [*said, f"Each number suffices for the fleet together with {sure} certainty."]


def pieces_words(found: order.Order, winter: str = MIDDLING) -> str:
    """What the fleet needs in one winter: ``"8 sets and 11 sections of ... for 11 front plows"``."""
    rows = found.fleet[(found.fleet[c.WINTER] == winter) & (found.fleet[TO_HAVE] > 0)]
    several = len(found.fleet.drop_duplicates([c.PLOW_POSITION, c.EDGE_TYPE])) > 1
    said = []
    for (place, kind), own in rows.groupby([c.PLOW_POSITION, c.EDGE_TYPE], sort=False):
        pieces = [counted(int(n), piece) for n, piece in zip(own[TO_HAVE], own[PIECE], strict=True)]
        where = f" for {_plows_words(found, str(place), str(kind))}" if several else ""
        said.append(f"{listed(pieces)} of {found.label(str(kind))}{where}")
    nested = len(said) > 1 and any(" and " in one for one in said)
    return (", and ".join([", ".join(said[:-1]), said[-1]]) if nested else listed(said)) or "no new sets"


def _plows_words(found: order.Order, place: str, kind: str) -> str:
    """The plows that carry an edge type: ``"front plows"``, or ``"the front plow of T-11"`` where there is one."""
    words = PLOWS.get(place, place)
    own = found.table[(found.table[c.PLOW_POSITION] == place) & (found.table[c.EDGE_TYPE] == kind)]
    trucks = list(dict.fromkeys(own[c.TRUCK_ID]))
    return f"the {words.removesuffix('s')} of {trucks[0]}" if len(trucks) == 1 else words


def bids(found: CostStudy) -> list[str]:
    """The bid with the cheapest mile, then every bid."""
    if found.bids is None or found.bids.table.empty:
        return [NO_BIDS]
    return [found.bids.sentence(), *found.bids.sentences()]


def limits(found: CostStudy) -> list[str]:
    """What the costs do not say, in plain words."""
    said = [
        "The cost is that of the edges and of changing them. What an edge does to the road, to the plow, to salt use and to the ears of "
        "the driver is not in it, unless a line of the table says so.",
        "Prices, wages and planned miles are taken as recorded: the intervals are about wear, breakage and hours.",
        "One winter, one town and one lot of edges: another lot, other routes or another price can turn a cost around.",
    ]
    if found.inputs is not None:
        place = PLOWS.get(found.inputs.plow_position, position_name(found.inputs.plow_position))
        said.append(f"The costs are those of {place}; other plow positions are in the order only.")
    return [display.words(sentence) for sentence in said]


def caveats(found: CostStudy) -> list[str]:
    """What the analyses of cost themselves ask to be kept in mind."""
    return [display.words(note) for note in found.notes]


def method(found: CostStudy) -> list[str]:
    """How it was worked out, a paragraph for each analysis."""
    judged = found.costs is not None and found.costs.compared[c.ESTIMATE].notna().any()
    years = found.cycle is not None and found.cycle.table[life_cycle.LCC].notna().any()
    results = (
        (found.costs, found.costs is not None and found.costs.table[c.COST_PER_MI].notna().any()),
        (found.verdicts, judged), (found.even, judged), (found.cycle, years),
        (found.choices, found.choices is not None and len(found.choices.table)),
        (found.sensitivity, found.sensitivity is not None and len(found.sensitivity.table)),
        (found.order, found.order is not None and len(found.order.fleet)),
        (found.bids, found.bids is not None and found.bids.table[RANK].notna().any()),
    )  # fmt: skip
    said = [display.words(result.method) for result, is_done in results if result is not None and is_done]
    return said if judged else [*said, nothing(found) or NO_COST]


# ---------------------------------------------------------------- numbers of the figures
def grouped_lines(found: Any) -> pd.DataFrame:
    """Cost per mile of each edge type by group of lines, in the order of `GROUPS`; unknown lines are left out.

    Returns
    -------
    DataFrame
        edge_type, group, estimate [per mile].
    """
    table = found.lines[found.lines[OF_WHICH] == NO]
    rows = []
    for kind in found.table[c.EDGE_TYPE]:
        own = table[table[c.EDGE_TYPE] == kind].set_index(c.LINE)[c.ESTIMATE]
        for name, members in GROUPS.items():
            every = [own[line] for line in members if line in own]
            there = [value for value in every if not math.isnan(value)]
            if there and (
                any(there) or len(there) == len(every)
            ):  # nothing beside something unknown is not zero
                rows.append((kind, name, float(sum(there))))
    return pd.DataFrame(rows, columns=[c.EDGE_TYPE, GROUP, c.ESTIMATE])
