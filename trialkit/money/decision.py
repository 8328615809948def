"""Whether an edge type is better, worse, or not shown to differ in cost, under the rule agreed before the season.

Answers: what does the agreed rule say of each edge type?

The rule is applied as it was written down. *Not shown* is no proof that there is no difference, and *not enough data* is no
result at all.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    level_percent,
    level_words,
    listed,
    percent,
    sentence_case,
)
from trialkit.money import left_out
from trialkit.money.cost_differences import EDGES_ALONE, WITH_SAVINGS, Difference
from trialkit.money.costs import Costs
from trialkit.results import Labelled
from trialkit.stats.inference import holm_adjusted
from trialkit.verdicts import BETTER, INTERIM, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE, Verdict

QUESTIONS = {
    EDGES_ALONE: "Does it cost less per blade-down mile?",
    WITH_SAVINGS: "Does it cost less per blade-down mile, with the material and passes saved?",
}
ESTIMATE, INTERVAL = "estimate", "interval"
TRUCKS_NEEDED = 2
WIDEST_PCT = 200.0
"""An interval of the saving about zero that is wider than this tells nothing: it holds half the cost and twice the cost alike."""

TABLE_COLUMNS = [
    c.QUESTION, c.EDGE_TYPE, c.VERDICT, c.SENTENCE, c.RULE, c.BASIS, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT,
    c.P_VALUE, c.P_HOLM,
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rule:
    """The rule agreed before the season.

    Attributes
    ----------
    smallest_saving_pct : float
        Saving below which a change is not worth it, in percent of the reference's cost. [%]
    confidence_level : float
    saving_judged_by : str
        "interval": the whole interval must lie beyond the smallest saving. "estimate": the interval must leave out no difference and
        the best estimate must reach the smallest saving.
    agreed : str
        The rule in the town's own words, if any were written down.
    primary_measure : str
        What was to decide: "wear", "life" or "cost".
    interim : bool
        Whether the season is still going on.
    """

    smallest_saving_pct: float = 0.0
    confidence_level: float = 0.95
    saving_judged_by: Literal["interval", "estimate"] = "interval"
    agreed: str = ""
    primary_measure: str = "cost"
    interim: bool = False

    @property
    def origin(self) -> str:
        """Where the rule comes from, in words: only one that was written down is said to have been agreed."""
        return "agreed before the season" if self.agreed else "as set for this trial"

    def words(self, n_types: int = 1) -> str:
        """The rule as it was applied."""
        level = level_words(self.confidence_level)
        holm = f", after Holm's adjustment over the {n_types} edge types compared" if n_types > 1 else ""
        least = self.smallest_saving_pct
        if least > 0 and self.saving_judged_by == INTERVAL:
            better = f"the whole {level} of the saving lies above {percent(least, _digits(least))}{holm}"
        elif least > 0:
            better = (
                f"the {level} of the saving lies above zero{holm} and the best estimate is at least "
                f"{percent(least, _digits(least))}"
            )
        else:
            better = f"the {level} of the saving lies above zero{holm}"
        said = (
            f"Better if {better}; worse if it lies below zero; not enough data with fewer than {TRUCKS_NEEDED} trucks of either type, "
            f"an unknown price, or an interval of more than {WIDEST_PCT:.0f} points about zero; otherwise not shown. The truck is the unit."
        )
        return f"{said} Agreed before the season: {self.agreed}" if self.agreed else said


@dataclass(frozen=True, eq=False)
class Verdicts(Labelled):
    """Verdicts on cost.

    Attributes
    ----------
    table : DataFrame
        One row per question and edge type: `question`, `edge_type`, `verdict`, `sentence`, `rule`, `basis` ("edges alone" is the
        primary one), `saving_pct` and its ends, `p_value` (two-sided, of the claim that the verdict would make), `p_holm`.
    rule : Rule
    currency : str
    labels : dict
    """

    rule: Rule
    currency: str
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(self.table[c.SENTENCE])

    def sentence(self) -> str:
        """The verdicts in words."""
        return " ".join(self.sentences()) or "There is no edge type to judge."

    def verdict_of(self, edge_type: str, basis: str = EDGES_ALONE) -> str:
        """The verdict on one edge type; "not_enough_data" if it was not judged."""
        rows = self.table[(self.table[c.EDGE_TYPE] == edge_type) & (self.table[c.BASIS] == basis)]
        return str(rows.iloc[0][c.VERDICT]) if len(rows) else NOT_ENOUGH_DATA

    def better(self) -> tuple[str, ...]:
        """Edge types found better on the edges alone, the largest saving first."""
        rows = self.table[(self.table[c.VERDICT] == BETTER) & (self.table[c.BASIS] == EDGES_ALONE)]
        return tuple(rows.sort_values(c.SAVING_PCT, ascending=False, kind="stable")[c.EDGE_TYPE])


def check_rule(found: Costs, rule: Rule) -> Verdicts:
    """Apply the agreed rule to the costs.

    Use it once the season is over; before that with `interim`, which marks every sentence.

    Parameters
    ----------
    found : Costs
        The costs, at the confidence level of the rule.
    rule : Rule

    Returns
    -------
    Verdicts

    Notes
    -----
    The p value of a saving beyond the smallest worthwhile one, or of a cost above the reference's, is twice the share of draws that
    speak against it: the draws have the t distribution of Welch's test, so the p value agrees with the interval. Holm's adjustment
    runs over the edge types of one question.
    """
    rows: list[dict[str, Any]] = []
    rule = replace(rule, confidence_level=found.confidence_level)
    for basis, question in QUESTIONS.items():
        of_basis = found.compared[found.compared[c.BASIS] == basis].to_dict("records")
        n_types = len(of_basis)
        p_values = [_p_value(row, found.differences[row[c.EDGE_TYPE], basis], rule) for row in of_basis]
        for row, p, adjusted in zip(of_basis, p_values, holm_adjusted(p_values), strict=True):
            verdict = _verdict(row, adjusted, rule)
            by_holm = p < 1 - rule.confidence_level <= adjusted
            rows.append(
                {
                    c.QUESTION: question,
                    c.EDGE_TYPE: row[c.EDGE_TYPE],
                    c.VERDICT: verdict,
                    c.SENTENCE: _sentence(row, verdict, by_holm, rule, found),
                    c.RULE: rule.words(n_types),
                    c.BASIS: basis,
                    c.SAVING_PCT: row[c.SAVING_PCT],
                    c.SAVING_LOW_PCT: row[c.SAVING_LOW_PCT],
                    c.SAVING_HIGH_PCT: row[c.SAVING_HIGH_PCT],
                    c.P_VALUE: p,
                    c.P_HOLM: adjusted,
                }
            )
    return Verdicts(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=f"The rule {rule.origin}, at {level_percent(rule.confidence_level)}, on the draws of the difference in cost.",
        notes=tuple(_notes(rows, rule, found)),
        rule=rule,
        currency=found.currency,
        labels=found.labels,
    )


def _p_value(row: Mapping[Hashable, Any], drawn: Difference, rule: Rule) -> float:
    """P value of the claim that the estimate makes: saves enough, or costs more."""
    if not math.isfinite(row[c.CONF_LOW]):
        return math.nan
    if row[c.ESTIMATE] > 0:
        return drawn.p_costs_more()
    share = rule.smallest_saving_pct / 100 if rule.saving_judged_by == INTERVAL else 0.0
    return drawn.p_saves(share)


def _verdict(row: Mapping[Hashable, Any], p_holm: float, rule: Rule) -> Verdict:
    if _why_no_data(row):
        return NOT_ENOUGH_DATA
    if not p_holm < 1 - rule.confidence_level:
        return NOT_SHOWN
    if row[c.ESTIMATE] > 0:
        return WORSE
    return BETTER if row[c.SAVING_PCT] >= rule.smallest_saving_pct else NOT_SHOWN


def _why_no_data(row: Mapping[Hashable, Any]) -> str:
    """Why nothing can be said; empty where something can."""
    if not math.isfinite(row[c.ESTIMATE]):
        return "a price or a life is not known"
    few = min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE])
    if few < TRUCKS_NEEDED:
        return f"one of the two was read on {counted(int(few), 'truck')} only"
    if not math.isfinite(row[c.CONF_LOW]):
        return "no interval can be given"
    low, high = row[c.SAVING_LOW_PCT], row[c.SAVING_HIGH_PCT]
    if low < 0 < high and high - low > WIDEST_PCT:
        return "the trial leaves open whether it costs half or twice as much"
    return ""


def _sentence(row: Mapping[Hashable, Any], verdict: str, by_holm: bool, rule: Rule, found: Costs) -> str:
    """The verdict in words; `by_holm` where it would be another one if this type were the only one compared."""
    who, other = found.label(row[c.EDGE_TYPE]), found.label(row[c.REFERENCE])
    saved = "" if row[c.BASIS] == EDGES_ALONE else ", the material and passes saved included,"
    tail = f" ({INTERIM})" if rule.interim else ""
    if verdict == NOT_ENOUGH_DATA:
        why = left_out.missing(found.inputs, row[c.EDGE_TYPE]) or _why_no_data(row)
        return f"Not enough data to say whether {who} costs less than {other}: {why}{tail}."
    unread = left_out.without_wear(found.inputs, row[c.EDGE_TYPE])
    alone, more = left_out.words(found.inputs, row[c.EDGE_TYPE])
    end = f"{alone}{tail}.{more}"
    start = f"{sentence_case(who)}{saved}"
    level, mile = level_words(rule.confidence_level), display.word("mile")
    saving = [row[name] for name in (c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT)]
    if verdict in (BETTER, WORSE):
        amount = _amount(saving, level, unread)
        return f"{start} costs {amount.replace('|', f' per {mile} than {other}')}{end}"
    middle, low = saving[:2]
    if by_holm and (middle < 0 or middle >= rule.smallest_saving_pct):
        less = "less" if middle >= 0 else "more"
        amount = _amount(saving, level, unread).replace("|", "")
        return f"{start} is not shown to cost {less} than {other}, several types being compared at once: best estimate {amount}{end}"
    if low > 0:
        least = percent(rule.smallest_saving_pct, _digits(rule.smallest_saving_pct))
        amount = _amount(saving, level, unread).replace("|", f" than {other}")
        return (
            f"{start} is not shown to save the {least} that would be worth a change: it costs {amount}{end}"
        )
    return f"{start} is not shown to cost less or more than {other}: {_both_ways(saving, level, unread)}{end}"


def _amount(saving: Sequence[float], level: str, unread: str) -> str:
    """A saving in percent with its interval and a mark for what it is compared with; as a bound where wear could not be measured."""
    more = saving[0] < 0
    middle, low, high = (-saving[0], -saving[2], -saving[1]) if more else saving
    places = max(min(interval_decimals(middle, low, high), 1), 0)
    words = "more" if more else "less"
    if unread:
        return f"at least {percent(low, places)} {words}| ({level}; {unread})"
    return f"{percent(middle, places)} {words}| ({level} {fixed(low, places)} to {fixed(high, places)}%)"


def _both_ways(saving: Sequence[float], level: str, unread: str) -> str:
    """A saving that may be a loss: both ends, each said as what it is."""
    middle, low, high = saving
    places = max(min(interval_decimals(middle, low, high), 1), 0)
    ends = (
        f"anywhere from {percent(-low, places)} more to {percent(high, places)} less"
        if high > 0
        else (f"{percent(-high, places)} to {percent(-low, places)} more")
    )
    if unread:
        return f"{ends} ({level}; {unread})"
    best = f"{percent(abs(middle), places)} {'less' if middle >= 0 else 'more'}"
    return f"{ends}, best estimate {best} ({level})"


def _notes(rows: list[dict[str, Any]], rule: Rule, found: Costs) -> list[str]:
    notes = []
    if rule.interim:
        notes.append(f"The season is not over: every verdict is {INTERIM}.")
    if rule.primary_measure != "cost":
        notes.append(
            f"The measure {'agreed' if rule.agreed else 'set'} to decide is {rule.primary_measure}, not cost; the verdicts on cost stand beside it."
        )
    left = {
        row[c.EDGE_TYPE]: row[c.UNKNOWN_LINES]
        for row in found.compared.to_dict("records")
        if row[c.UNKNOWN_LINES]
    }
    for kind, unknown in left.items():
        notes.append(
            f"The verdict on {found.label(kind)} leaves out {unknown}: what is not known for one of two types is left out of both."
        )
    better = {row[c.EDGE_TYPE] for row in rows if row[c.VERDICT] == BETTER and row[c.BASIS] == WITH_SAVINGS}
    alone = {row[c.EDGE_TYPE] for row in rows if row[c.VERDICT] == BETTER and row[c.BASIS] == EDGES_ALONE}
    only = [found.label(kind) for kind in sorted(better - alone)]
    if only:
        notes.append(
            f"{sentence_case(listed(only))} {'is' if len(only) == 1 else 'are'} better only with the material and passes saved."
        )
    return notes


def _digits(value: float) -> int:
    return 0 if abs(value - round(value)) < 1e-9 else 1
