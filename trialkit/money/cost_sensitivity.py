"""What each uncertain figure does to the difference in cost, one at a time.

Answers: which of price, life, breakage, labor rate, miles and discount rate matters most, and which can turn the finding?
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
from scipy.special import gammaincinv

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import listed, percent, sentence_case
from trialkit.money.cost_differences import estimated_difference
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.what_if import Change, changed
from trialkit.results import Labelled
from trialkit.stats.inference import mean_interval, two_sided_tail
from trialkit.table_parts import HARD, LIGHT, NO, YES

HIGHEST_RATE = 0.07
"""Upper discount rate of the sensitivity: OMB Circular A-94 (1992), section 8.b, its base case for public investment."""

TURNS = "turns"
AT_LOW, AT_HIGH = "at_low", "at_high"
SETTING_LOW, SETTING_HIGH = "setting_low", "setting_high"

TERM_COLUMNS = [
    c.EDGE_TYPE, c.TERM, SETTING_LOW, SETTING_HIGH, AT_LOW, AT_HIGH, c.ESTIMATE, TURNS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Sensitivity(Labelled):
    """What the difference in cost comes to with one thing at a time at its low and its high end.

    Attributes
    ----------
    table : DataFrame
        One row per edge type and term, the one that moves the difference most first: `setting_low`, `setting_high` (in words),
        `at_low`, `at_high` (cost per mile less that of the reference), `estimate` (as found), `turns` (yes where the sign differs
        between the two ends).
    currency : str
    """

    labels: Mapping[str, str]
    currency: str = field(default="USD")

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type: which things could turn the finding."""
        said = []
        for kind, rows in self.table.groupby(c.EDGE_TYPE, sort=False):
            turning = list(rows.loc[rows[TURNS] == YES, c.TERM])
            who = sentence_case(self.label(str(kind)))
            widest = rows.iloc[0][c.TERM]
            said.append(
                f"{who}: what matters most is {widest}; "
                + (
                    f"within the ranges tried {listed(turning)} can turn which type is cheaper."
                    if turning
                    else "nothing within the ranges tried turns which type is cheaper."
                )
            )
        return tuple(said)

    def sentence(self) -> str:
        """What could turn the finding, in words."""
        return " ".join(self.sentences()) or "There is nothing to compare."


def estimate_sensitivity(
    inputs: CostInputs, *, price_pct: float = 20.0, labour_pct: float = 25.0
) -> Sensitivity:
    """Estimate what each uncertain figure does to the difference in cost, one at a time.

    Use it to see where a better figure would be worth having. Not as an interval: the ends do not come together.

    Parameters
    ----------
    inputs : CostInputs
    price_pct, labour_pct : float
        How far the price of the type and the labor rates are moved either way. [%]

    Returns
    -------
    Sensitivity

    Notes
    -----
    Life of the type and of the reference: ends of the interval of their use. Breakage of the type: ends of the interval of its
    rate. Miles: light and hard winter. Discount rate: 0 to 7 %. Early removal: sets come off with as much of the depth of the
    thinnest spot left as in the trial, where that is known, against not at all.
    """
    rows = []
    for edge in inputs.others if inputs.has_reference else ():
        base, other = estimated_difference(edge, inputs)
        if not math.isfinite(base) or not other > 0:
            continue
        of_type = [_term_row(edge, base, *term) for term in _terms(edge, inputs, price_pct, labour_pct)]
        rows.extend(sorted(of_type, key=lambda row: -abs(row[AT_HIGH] - row[AT_LOW])))
    return Sensitivity(
        table=pd.DataFrame(rows, columns=TERM_COLUMNS),
        method="One figure at a time at its low and its high end, everything else as found; edges alone.",
        notes=(),
        labels=inputs.labels,
        currency=inputs.currency,
    )


def _term_row(
    edge: EdgeCosts,
    base: float,
    term: str,
    low: tuple[str, CostInputs],
    high: tuple[str, CostInputs],
) -> dict[str, Any]:
    at_low, at_high = (estimated_difference(given.edge(edge.edge_type), given)[0] for _, given in (low, high))
    return {
        c.EDGE_TYPE: edge.edge_type,
        c.TERM: term,
        SETTING_LOW: low[0],
        SETTING_HIGH: high[0],
        AT_LOW: at_low,
        AT_HIGH: at_high,
        c.ESTIMATE: base,
        TURNS: YES if at_low * at_high < 0 or base * at_low < 0 or base * at_high < 0 else NO,
    }


def _terms(
    edge: EdgeCosts, inputs: CostInputs, price_pct: float, labour_pct: float
) -> list[tuple[str, tuple[str, CostInputs], tuple[str, CostInputs]]]:
    """Terms with their two settings."""
    who, other = inputs.label(edge.edge_type), inputs.label(inputs.reference)
    kind = edge.edge_type

    def by(change: Change) -> CostInputs:
        return changed(inputs, change)

    found = [
        (
            f"the price of {who}",
            (f"-{percent(price_pct)}", by(Change(kind, price_pct=-price_pct))),
            (f"+{percent(price_pct)}", by(Change(kind, price_pct=price_pct))),
        ),
        (
            "the labor rates",
            (f"-{percent(labour_pct)}", by(Change(labour_pct=-labour_pct))),
            (f"+{percent(labour_pct)}", by(Change(labour_pct=labour_pct))),
        ),
        (
            "the discount rate",
            ("0%", by(Change(discount_rate=0.0))),
            (percent(100 * HIGHEST_RATE), by(Change(discount_rate=HIGHEST_RATE))),
        ),
    ]
    for one, name in ((edge, who), (inputs.edge(inputs.reference), other)):
        settings = _life_ends(one, inputs)
        if settings is not None:
            found.append((f"the life of {name}", *settings))
    breakage = _breakage_ends(edge, inputs)
    if breakage is not None:
        found.append((f"the breakage of {who}", *breakage))
    if inputs.n_positions:
        light, hard = (replace(inputs, plan=inputs.plan.winter(one)) for one in (LIGHT, HARD))
        found.append(
            (f"the {display.word('miles')} of the winter", ("light winter", light), ("hard winter", hard))
        )
    for one, name in ((edge, who), (inputs.edge(inputs.reference), other)):
        if one.early_frac > 0:
            shorter = by(Change(one.edge_type, life_pct=-100 * min(one.early_frac, 0.9)))
            found.append(
                (
                    f"early removal of {name}",
                    ("at the limit", inputs),
                    (f"with {percent(100 * one.early_frac)} of the depth left, as in the trial", shorter),
                )
            )
    return found


def _life_ends(
    edge: EdgeCosts, inputs: CostInputs
) -> tuple[tuple[str, CostInputs], tuple[str, CostInputs]] | None:
    """The inputs with the life at the ends of its interval."""
    if not edge.use.has_interval:
        return None
    ends = mean_interval(edge.use.sample, inputs.confidence_level)

    def at(use: float) -> CostInputs:
        sample = replace(edge.use.sample, mean=max(use, 0.0))
        return inputs.with_edge(replace(edge, use=replace(edge.use, sample=sample)))

    return ("short end", at(ends.conf_high)), ("long end", at(ends.conf_low))


def _breakage_ends(
    edge: EdgeCosts, inputs: CostInputs
) -> tuple[tuple[str, CostInputs], tuple[str, CostInputs]] | None:
    """The inputs with the breakage at the ends of its interval, divided between sets and sections as it was seen."""
    use = edge.use
    if not use.miles_mi > 0:
        return None
    seen = use.breaks + use.section_breaks
    tail = two_sided_tail(inputs.confidence_level)
    low, high = (float(gammaincinv(seen + 0.5, share)) for share in (tail, 1 - tail))

    def at(events: float) -> CostInputs:
        if seen:
            new = replace(use, miles_mi=use.miles_mi * seen / events)
        else:
            of_sets = int(edge.broken_sets_frac)
            new = replace(use, breaks=of_sets, section_breaks=1 - of_sets, miles_mi=use.miles_mi / events)
        return inputs.with_edge(replace(edge, use=new))

    return ("low end", at(low)), ("high end", at(high))
