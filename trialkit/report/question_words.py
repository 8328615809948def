"""Questions that a member of the council may ask, with answers from the numbers of the trial.

Answers: what is said when somebody asks how sure this is, why not the cheapest edge, what breaks, or what waiting costs?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import PLOWS, counted, listed, money, number, percent, sentence_case
from trialkit.money import cost_sensitivity, lines
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.order import N_CARRIED
from trialkit.money.without_trucks import WithoutTrucks
from trialkit.report import cost_words, fiscal_words, noise_words
from trialkit.report.block_types import Finding
from trialkit.report.cost_study import CostStudy
from trialkit.report.cost_tables import no_wear
from trialkit.report.noise_study import NoiseStudy
from trialkit.table_parts import LIGHT, MIDDLING
from trialkit.verdicts import BETTER

HOW_SURE, CHEAPEST, MILD = "How sure are you?", "Why not the cheapest edge?", "What if the winter is mild?"
BREAKS, QUIETER, SALT = "What breaks?", "Is it quieter?", "Does it save salt?"
SUPPLIER, AGAIN, WAITING = (
    "Did a supplier pay?",
    "Can leftover edges be used again?",
    "What does waiting cost?",
)
GIVEN = ("donated", "loaned")
STAYS_GOOD = "What is bought and not used stays good for the winter after."
NOT_RECORDED = "Who paid for the sets is not recorded."


class Answer(NamedTuple):
    """A question and its answer."""

    question: str
    answer: str


def questions(
    found: CostStudy,
    noise: NoiseStudy | None = None,
    salt: Sequence[str | Finding] = (),
    without: WithoutTrucks | None = None,
) -> list[Answer]:
    """Questions a member may ask, each with its answer; a question that the trial cannot answer says why.

    Parameters
    ----------
    found : CostStudy
    noise : NoiseStudy, optional
        What was found of noise in the cab.
    salt : sequence of str or Finding
        What was found of material; empty where it was not studied.
    without : WithoutTrucks, optional
        The rule on cost applied again without one truck at a time.
    """
    quieter = [item.sentence for item in noise_words.front_findings(noise)] if noise is not None else []
    why_not = noise.not_compared or noise.not_studied if noise is not None else ""
    told = [one.sentence if isinstance(one, Finding) else one for one in salt]
    answers = [
        Answer(HOW_SURE, _how_sure(found, without)),
        Answer(CHEAPEST, _cheapest(found)),
        Answer(MILD, _mild(found)),
        Answer(BREAKS, _breaks(found)),
        Answer(QUIETER, " ".join(quieter) or why_not or "Noise in the cab was not studied."),
        Answer(SALT, " ".join(told) or "Use of salt was not studied, so nothing is counted for it."),
        Answer(SUPPLIER, supplied_words(found)),
        Answer(AGAIN, _again(found)),
        Answer(WAITING, fiscal_words.waiting(found)),
    ]
    return [one for one in answers if one.answer]


def _how_sure(found: CostStudy, without: WithoutTrucks | None) -> str:
    if found.costs is None or found.verdicts is None or not found.nearest:
        return cost_words.nothing(found) or cost_words.NOTHING_JUDGED
    judged = found.verdicts.table
    own = judged[(judged[c.EDGE_TYPE] == found.nearest) & (judged[c.BASIS] == EDGES_ALONE)]
    compared = found.costs.compared
    row = compared[(compared[c.EDGE_TYPE] == found.nearest) & (compared[c.BASIS] == EDGES_ALONE)].to_dict(
        "records"
    )[0]
    trucks = f"{counted(int(row[c.N_TRUCKS]), 'truck')} against {int(row[c.N_TRUCKS_REFERENCE])}"
    said = [
        *own[c.SENTENCE],
        cost_words.amount_words(found, row),
        f"That rests on {trucks}; the interval is as wide as these trucks differ. It knows nothing of another winter, other routes or "
        "another lot of edges.",
        without.sentence() if without is not None else "",
    ]
    if found.sensitivity is not None:
        kinds = list(dict.fromkeys(found.sensitivity.table[c.EDGE_TYPE]))
        told = dict(zip(kinds, found.sensitivity.sentences(), strict=True))
        said.append(told.get(found.nearest, ""))
    return " ".join(one for one in said if one)


def _cheapest(found: CostStudy) -> str:
    """The edge with the lowest price, and what a mile with it costs."""
    if found.costs is None or found.verdicts is None:
        return cost_words.nothing(found)
    table = found.costs.table.dropna(subset=[c.PRICE])
    if table.empty:
        return "No price of a set is recorded, so which edge is the cheapest is not known."
    if len(table) < 2:
        return "Only one edge type has a price here, so there is no cheaper one to choose."
    rows = {row[c.EDGE_TYPE]: row for row in table.sort_values(c.PRICE, kind="stable").to_dict("records")}
    cheapest = next(iter(rows))
    who, price = found.costs.label(cheapest), money(rows[cheapest][c.PRICE], found.costs.currency)
    if cheapest == found.recommended:
        return f"It is: a set of {who} has the lowest price, {price}, and it is the edge that this report would buy next season."
    per = {
        kind: cost_words.per_mile_words(found, kind)
        for kind, row in rows.items()
        if math.isfinite(row[c.COST_PER_MI])
    }
    chosen = found.recommended
    if cheapest not in per or chosen not in per:
        return f"A set of {who} has the lowest price, {price}; what a {cost_words.mile()} with one of the two costs is not known."
    said = (
        f"A set of {who} has the lowest price, {price}, but price is not cost: a set that lasts longer is bought and changed less "
        f"often. {sentence_case(who)} costs {per[cheapest]}, {found.costs.label(chosen)} {per[chosen]}."
    )
    if found.verdicts.verdict_of(chosen) == BETTER and cheapest == found.costs.inputs.reference:
        return said
    if chosen == found.costs.inputs.reference:
        return f"{said} {sentence_case(who)} is not shown to cost less than {found.costs.label(chosen)}."
    return f"{said} The two were each set against {found.costs.label(found.costs.inputs.reference)}, not against each other."


def _mild(found: CostStudy) -> str:
    if found.costs is None or found.order is None or found.order.fleet.empty:
        return cost_words.nothing(found) or cost_words.NO_PLAN
    if not found.costs.inputs.plan.tells_winters_apart:
        return (
            "That is not known: no miles are planned for a light winter, so this season's stand in for every winter. "
            f"{sentence_case(cost_words.pieces_words(found.order))} suffice for another season like it. {STAYS_GOOD}"
        )
    cash = [found.order.cash(winter)[1] for winter in (LIGHT, MIDDLING)]
    light, middling = (money(one, found.order.currency) for one in cash)
    known = all(math.isfinite(one) for one in cash)
    pieces = [cost_words.pieces_words(found.order, winter) for winter in (LIGHT, MIDDLING)]
    beside = (
        "as in a middling one"
        if pieces[0] == pieces[1]
        else f"against {middling} in a middling one"
        if known
        else f"against {pieces[1]} in a middling one"
    )
    said = [f"In a light winter {pieces[0]} suffice{f' ({light})' if known else ''}, {beside}. {STAYS_GOOD}"]
    if found.sensitivity is not None and found.choices is not None:
        rows = found.sensitivity.table
        own = rows[
            (rows[c.EDGE_TYPE] == found.nearest) & (rows[cost_sensitivity.SETTING_LOW] == "light winter")
        ]
        miles = found.costs.inputs.plan.miles(found.costs.inputs.plow_position, LIGHT).sum()
        if (
            len(own)
            and miles > 0
            and found.verdicts is not None
            and found.verdicts.verdict_of(found.nearest) == BETTER
            and not no_wear(found, found.nearest)
        ):
            saved = money(-float(own.iloc[0][cost_sensitivity.AT_LOW]) * miles, found.costs.currency)
            who = found.costs.label(found.nearest)
            said.append(
                f"With the {number(display.value(miles, 'mi'))} {cost_words.mile()}s of a light winter the best estimate of what {who} "
                f"saves is {saved} a season."
            )
    return " ".join(said)


def _breaks(found: CostStudy) -> str:
    """What broke or was lost of each edge type, and which part of its cost that is."""
    if found.costs is None:
        return cost_words.nothing(found)
    of_lines = found.costs.lines[found.costs.lines[c.LINE] == lines.BREAKAGE].set_index(c.EDGE_TYPE)[
        c.ESTIMATE
    ]
    totals = found.costs.table.set_index(c.EDGE_TYPE)[c.COST_PER_MI]
    said = []
    for edge in found.costs.inputs.edges:
        use, who = edge.use, found.costs.label(edge.edge_type)
        if not use.miles_mi > 0:
            said.append(f"{sentence_case(who)}: not known.")
            continue
        pieces = [counted(n, word) for n, word in ((use.breaks, "set"), (use.section_breaks, "section")) if n]
        run = f"in {number(display.value(use.miles_mi, 'mi'))} {cost_words.mile()}s"
        total = float(totals[edge.edge_type])
        share = 100.0 * float(of_lines.get(edge.edge_type, math.nan)) / total if total else math.nan
        known = math.isfinite(share) and not no_wear(found, edge.edge_type)
        part = f", {percent(share)} of its cost" if pieces and known else ""
        said.append(f"{sentence_case(who)}: {listed(pieces) or 'nothing'} {run}{part}.")
    seen = sum(edge.use.breaks + edge.use.section_breaks for edge in found.costs.inputs.edges)
    tail = (
        "So few breaks say little about the next winter; the intervals of the costs hold how often it may happen."
        if seen
        else "No break seen is not a rate of zero; the intervals of the costs hold how often it may happen."
    )
    where = PLOWS.get(found.costs.inputs.plow_position, "plows")
    return f"Broken or lost in the trial, on {where} alone. {' '.join(said)} {tail}"


def supplied_words(found: CostStudy) -> str:
    """Who paid for the sets of the trial."""
    if not found.supplied:
        return NOT_RECORDED
    total = sum(found.supplied.values())
    given = {name: n for name, n in found.supplied.items() if name in GIVEN}
    if not given:
        return f"No: {'the one set' if total == 1 else f'all {total} sets'} on record {'was' if total == 1 else 'were'} bought by the town."
    parts = [
        f"{counted(n, 'set')} {'was' if n == 1 else 'were'} {name.replace('_', ' ')}"
        for name, n in found.supplied.items()
    ]
    return (
        f"Partly: {listed(parts)}. The cost takes every set at its price, so a gift makes no type look cheaper; who gave what belongs "
        "into the minutes."
    )


def _again(found: CostStudy) -> str:
    if found.order is None or found.order.fleet.empty:
        return "That is not worked out: no miles are planned."
    rows = found.order.fleet[found.order.fleet[c.WINTER] == MIDDLING]
    n = int(rows.drop_duplicates([c.EDGE_TYPE, c.PLOW_POSITION])[N_CARRIED].sum())
    one = n == 1
    again = (
        f"Yes: {counted(n, 'part-worn set')} of the type planned for {'its truck' if one else 'their trucks'} can go on again in fall, and "
        f"the order counts {'it' if one else 'them'} with the life left."
        if n
        else "No part-worn set of the type planned for its truck is left to go on again."
    )
    return f"{again} Unused sets on the shelf stay good and come off the order; worn sets go for scrap."
