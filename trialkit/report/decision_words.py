"""What a council may decide, in words that follow from the verdict and the agreed rule.

Answers: which action follows from this trial, and why?

The words are a draft for staff: what only the town knows (fund, account, amount to be asked for, way of purchase) stands as a marked
blank beside the computed figure. A type that is not shown to cost less is never recommended.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trialkit import columns as c
from trialkit.formatting import (
    level_percent,
    listed,
)
from trialkit.money import alternatives as alt
from trialkit.money import left_out
from trialkit.money.bids import RANK
from trialkit.money.cost_differences import EDGES_ALONE, WITH_SAVINGS
from trialkit.money.kept import Kept, kept_in_brief, kept_words
from trialkit.report import cost_words
from trialkit.report.cost_study import CostStudy
from trialkit.report.cost_tables import amount
from trialkit.report.fiscal_words import (
    AMOUNT_BLANK,
    FUND_BLANK,
    SETS_BLANK,
    alternative_row,
    cash,
    currency_of,
    reference_of,
    stays,
)
from trialkit.table_parts import MIDDLING
from trialkit.verdicts import BETTER, INTERIM, NOT_ENOUGH_DATA, NOT_SHOWN

BUY, NO_CHANGE, EXTEND, CONTINUE, WAIT = "buy", "no_change", "extend", "continue", "wait"
PRICE_FIRST = "price_first"
PURCHASE_BLANK = "[way of purchase to be set by staff]"
AWARD_BLANK = "[award to be confirmed by staff]"
TRUCKS_BLANK = "[number of trucks to be set by staff]"
COST = "cost"


# ---------------------------------------------------------------- the action
@dataclass(frozen=True, slots=True)
class Action:
    """What follows from the verdict and the agreed rule.

    Attributes
    ----------
    kind : str
        "buy" (a type was found better), "no_change", "extend" (not shown, but worth another winter if the council wants to know),
        "continue" (not enough data), "price_first" (better by the measure that decides, at a cost that is not known) or "wait" (the
        season is not over).
    edge_type : str
        Type that would be bought, or that stays on.
    acts : tuple of str
        What a council may adopt; the first by itself says the whole of it.
    why : str
        From what that follows; may be empty.
    """

    kind: str
    edge_type: str
    acts: tuple[str, ...]
    why: str = ""

    @property
    def sentences(self) -> tuple[str, ...]:
        """What a council may adopt, then why."""
        return (*self.acts, self.why) if self.why else self.acts


def recommended_action(
    found: CostStudy, deciding: Mapping[str, str] | None = None, told: Mapping[str, str] | None = None
) -> Action:
    """The action that follows from the verdicts, as a council may adopt it.

    Parameters
    ----------
    found : CostStudy
    deciding : mapping, optional
        Edge type to its verdict on the measure that was agreed to decide, where that is not cost. Without it nothing is bought on the
        strength of a cost that was not agreed to decide.
    told : mapping, optional
        Edge type to the sentence that says what was found by that measure.

    Returns
    -------
    Action
    """
    reference = reference_of(found)
    if found.verdicts is not None and found.verdicts.rule.interim:
        return Action(
            WAIT,
            reference,
            (
                "Go on with the trial as planned and decide nothing yet: the season is not over, and every result in this report is "
                f"{INTERIM}.",
            ),
        )
    verdicts = deciding or {}
    better = [kind for kind, verdict in verdicts.items() if verdict == BETTER]
    if found.verdicts is None or not found.nearest:
        if better and found.verdicts is not None and found.verdicts.rule.primary_measure != COST:
            return Action(PRICE_FIRST, reference, tuple(_price_first(found, better, told or {})))
        why = cost_words.nothing(found) or cost_words.NOTHING_JUDGED
        return Action(CONTINUE, reference, (f"Make no change of edge type. {why}", _go_on()))
    kind = _kind(found)
    measure = found.verdicts.rule.primary_measure
    if measure != COST:
        verdict = verdicts.get(found.nearest, "")
        if kind == BUY and verdict != BETTER:
            return Action(NO_CHANGE, reference, *_other_measure(found, measure, verdict))
    if kind == BUY and not _can_change(found):
        return Action(NO_CHANGE, reference, tuple(_nowhere_to_put_it(found)), _why(found))
    said = {BUY: _buy, EXTEND: _extend, NO_CHANGE: _no_change, CONTINUE: _continue}[kind](found)
    if measure != COST and kind != BUY:
        said += _better_but_dear(found, measure, better)
    return Action(kind, found.recommended if kind == BUY else reference, tuple(said), _why(found))


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


def _can_change(found: CostStudy) -> bool:
    """Whether any truck of the order carries the recommended type; True where there is no order."""
    if found.order is None or found.order.fleet.empty:
        return True
    return bool((found.order.fleet[c.EDGE_TYPE] == found.recommended).any())


def _nowhere_to_put_it(found: CostStudy) -> list[str]:
    who = found.labels.get(found.recommended, found.recommended)
    kept = " ".join(kept_words(_kept(found), found.labels))
    return [
        f"Make no change of edge type for next season: {who} costs less, but no truck with planned miles can carry it. {kept}".strip(),
        *_order_line(found),
    ]


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
            f"Authorize the purchase for next season of {cost_words.pieces_words(found.order)}: {cash(found, MIDDLING)} {AMOUNT_BLANK}, "
            f"from {FUND_BLANK}. That suffices in a middling winter with {sure} certainty; spare sets on the shelf come off it."
        )
    said = [
        " ".join([first, *kept_in_brief(_kept(found), found.labels)]),
        *kept_words(_kept(found), found.labels),
        f"Buy by {PURCHASE_BLANK}, on the specification drafted with this report, and let the cost per blade-down "
        f"{cost_words.mile()} decide where the rules of purchase allow it.",
    ]
    said += _of_the_bids(found, who)
    return [
        *said,
        f"Keep recording heights, {cost_words.mile()}s and breaks on {TRUCKS_BLANK} next season, to see whether the saving holds on other "
        "routes and with another lot.",
    ]


def _kept(found: CostStudy) -> list[Kept]:
    """Positions that are not to change to the recommended type."""
    return [one for one in found.kept if one.edge_type != found.recommended]


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
    who, today = found.labels.get(found.nearest, found.nearest), stays(found)
    row = alternative_row(found, alt.EXTEND)
    price = (
        f" A season of it costs {amount(currency_of(found), row[c.ANNUAL_COST], row[c.ANNUAL_LOW], row[c.ANNUAL_HIGH])} in edges "
        f"and their changing {AMOUNT_BLANK}, from {FUND_BLANK}."
        if row
        else f" {AMOUNT_BLANK}, from {FUND_BLANK}."
    )
    return [
        f"Make no change of edge type for next season: {today} stays on every truck outside the trial.",
        f"If the council wants to know whether {who} pays, let the trial go on for another winter on {TRUCKS_BLANK}: the best estimate "
        f"would be worth a change, but it is not shown.{price}",
        *_order_line(found),
    ]


def _no_change(found: CostStudy) -> list[str]:
    return [f"Make no change of edge type for next season: {stays(found)} stays on.", *_order_line(found)]


def _continue(found: CostStudy) -> list[str]:
    return [
        f"Make no change of edge type for next season: {stays(found)} stays on.",
        _go_on(),
        *_order_line(found),
    ]


def _go_on() -> str:
    return (
        f"Go on with the trial on {TRUCKS_BLANK}, at least two with each edge type and better four, until the rule can be applied; "
        f"{AMOUNT_BLANK}, from {FUND_BLANK}."
    )


def _measure_words(found: CostStudy, measure: str) -> str:
    """The measure that decides; only one that was written down is said to have been agreed."""
    agreed = found.verdicts is not None and bool(found.verdicts.rule.agreed)
    return f"{measure}, the measure {'agreed before the season' if agreed else 'set'} to decide"


def _other_measure(found: CostStudy, measure: str, told: str) -> tuple[tuple[str, ...], str]:
    who = found.labels.get(found.nearest, found.nearest)
    said = (
        f"By {_measure_words(found, measure)}, {who} is not found better"
        if told
        else f"The verdict on {_measure_words(found, measure)}, has to be weighed before {who} is bought"
    )
    return (f"Make no change of edge type on the strength of cost alone. {said}.",), (
        f"On cost the trial found: {' '.join(_judged(found))}"
    )


def _price_first(found: CostStudy, better: Sequence[str], told: Mapping[str, str]) -> list[str]:
    """What is better by the measure that decides, where no mile has a cost."""
    measure = found.verdicts.rule.primary_measure if found.verdicts is not None else COST
    names = [found.labels.get(kind, kind) for kind in better]
    said = " ".join(told[kind] for kind in better if kind in told)
    unknown = (
        [left_out.missing(found.costs.inputs, kind) for kind in better] if found.costs is not None else []
    )
    why = listed([one for one in dict.fromkeys(unknown) if one])
    return [
        f"Record what the edges cost before any are bought, and make no change of edge type until then. By "
        f"{_measure_words(found, measure)}, {listed(names)} {'is' if len(names) == 1 else 'are'} better.{' ' if said else ''}{said} "
        f"What a {cost_words.mile()} costs is not known{f', since {why}' if why else ''}.",
        *_order_line(found),
    ]


def _better_but_dear(found: CostStudy, measure: str, better: Sequence[str]) -> list[str]:
    """Why what is better by the measure that decides is not bought all the same."""
    if not better or found.costs is None:
        return []
    unknown = {kind: left_out.missing(found.costs.inputs, kind) for kind in better if _has_cost(found, kind)}
    said = []
    for kind in better:
        why = unknown.get(kind, "its cost was not worked out")
        who = found.labels.get(kind, kind)
        if why:
            said.append(
                f"By {_measure_words(found, measure)}, {who} is found better. What a {cost_words.mile()} with it costs is not known, "
                f"since {why}: record it before any is bought."
            )
    dear = [found.labels.get(kind, kind) for kind in better if unknown.get(kind) == ""]
    if dear:
        said.append(
            f"By {_measure_words(found, measure)}, {listed(dear)} {'is' if len(dear) == 1 else 'are'} found better. A purchase is not "
            "recommended all the same, since no saving in cost that is worth a change is shown."
        )
    return said


def _has_cost(found: CostStudy, kind: str) -> bool:
    return found.costs is not None and any(edge.edge_type == kind for edge in found.costs.inputs.edges)


def _why(found: CostStudy) -> str:
    rule = f" under the rule {found.verdicts.rule.origin}" if found.verdicts is not None else ""
    return f"This follows from what was found{rule}: {' '.join(_judged(found))}"


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
        f"For next season order {cost_words.pieces_words(found.order)}: {cash(found, MIDDLING)} {AMOUNT_BLANK}, from {FUND_BLANK}, less "
        "the sets on the shelf."
    ]
