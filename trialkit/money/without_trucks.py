"""The verdict on cost again, with one truck left out at a time.

Answers: does what was found about cost hang on a single truck?

A trial of few trucks can owe its finding to one of them. Only the wear of the truck is left out: the breaks, hours and prices are few
and stay as they were seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import listed, percent
from trialkit.money.cost_differences import EDGES_ALONE
from trialkit.money.costs import estimate_costs
from trialkit.money.decision import Rule, check_rule
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.left_out import wears
from trialkit.results import Labelled
from trialkit.stats.inference import Pairing, Sample
from trialkit.verdicts import NOT_ENOUGH_DATA, words

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.TRUCK_ID, c.VERDICT, c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT,
]  # fmt: skip
DRAWS_IN_ALL, FEWEST_DRAWS = 240_000, 2_000
"""Draws over all trucks left out, and for each at least: a large fleet takes no longer than a small one."""


@dataclass(frozen=True, eq=False)
class WithoutTrucks(Labelled):
    """The verdict on the cost of one edge type without each truck.

    Attributes
    ----------
    table : DataFrame
        One row per truck left out: `edge_type`, `truck_id`, `verdict`, `saving_pct` and its ends.
    edge_type : str
    verdict : str
        With every truck.
    from_below : bool
        Whether the saving is known from below only, since no wear of the type could be measured.
    labels : mapping
    """

    edge_type: str
    verdict: str
    from_below: bool
    labels: Mapping[str, str]

    def sentence(self) -> str:
        """Whether the verdict stays the same; empty where nothing was left out."""
        if self.table.empty:
            return ""
        who = self.label(self.edge_type)
        start = f"With any one of {len(self.table)} trucks left out, {who} {self._range()}"
        turned = self.table[self.table[c.VERDICT] != self.verdict]
        if turned.empty:
            return f'{start}, and the verdict on cost stays "{words(self.verdict).lower()}".'
        parts = [
            f'"{words(str(verdict)).lower()}" without {listed(list(rows[c.TRUCK_ID].astype(str)), "or")}'
            for verdict, rows in turned.groupby(c.VERDICT, sort=False)
        ]
        return f'{start}; but with so few trucks the verdict on cost, "{words(self.verdict).lower()}" with all of them, is {listed(parts)}.'

    def _range(self) -> str:
        """Between which savings the estimate runs; from below where no wear could be measured."""
        if self.from_below:
            low = self.table[c.SAVING_LOW_PCT].min()
            return f"costs at least {_saving(low)}" if low > 0 else f"may cost {_saving(low)}"
        ends = sorted({_saving(self.table[c.SAVING_PCT].min()), _saving(self.table[c.SAVING_PCT].max())})
        return f"costs {' to '.join(ends)} by the best estimate"


def leave_out_trucks(inputs: CostInputs, trucks: pd.DataFrame, rule: Rule, edge_type: str) -> WithoutTrucks:
    """Apply the rule again without the wear of each truck that carried the type or the reference.

    Use it for the type that is recommended, or that comes nearest. Not where a type rests on fewer than three trucks: without one
    of them too few are left for any verdict, which is what it then says.

    Parameters
    ----------
    inputs : CostInputs
    trucks : DataFrame
        Columns plow_position, edge_type, truck_unit, truck_id, use_per_1000_mi: one row per truck and type.
    rule : Rule
    edge_type : str

    Returns
    -------
    WithoutTrucks
        Without rows where the verdict with every truck is "not enough data".
    """
    labels = inputs.labels
    verdict = check_rule(estimate_costs(inputs), rule).verdict_of(edge_type)
    here = trucks[trucks[c.PLOW_POSITION].astype(object) == inputs.plow_position]
    here = here.astype({c.EDGE_TYPE: object, c.TRUCK_UNIT: object})
    own = here[here[c.EDGE_TYPE].isin([edge_type, inputs.reference])]
    units = own[c.TRUCK_UNIT].nunique()
    fewer = replace(inputs, n_draws=max(min(inputs.n_draws, DRAWS_IN_ALL // max(units, 1)), FEWEST_DRAWS))
    rows: list[dict[str, Any]] = []
    if verdict != NOT_ENOUGH_DATA:
        for unit, of_truck in own.groupby(c.TRUCK_UNIT, sort=True):
            left = here[here[c.TRUCK_UNIT] != unit]
            again = check_rule(estimate_costs(_without(fewer, here, left)), rule)
            found = again.table[
                (again.table[c.EDGE_TYPE] == edge_type) & (again.table[c.BASIS] == EDGES_ALONE)
            ]
            kept = found.to_dict("records")[0]
            rows.append(
                {
                    c.TRUCK_ID: str(of_truck[c.TRUCK_ID].iloc[0]),
                    **{name: kept[name] for name in TABLE_COLUMNS if name != c.TRUCK_ID},
                }
            )
    return WithoutTrucks(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method="The rule applied again without the wear of one truck at a time; breaks, hours and prices as they were.",
        notes=(),
        edge_type=edge_type,
        verdict=verdict,
        from_below=not wears(inputs.edge(edge_type)),
        labels=labels,
    )


def _without(inputs: CostInputs, trucks: pd.DataFrame, left: pd.DataFrame) -> CostInputs:
    """The inputs with the wear of the trucks that are left, where that differs."""
    uses = {
        kind: pd.Series(rows[c.USE_PER_1000_MI].to_numpy(dtype=float), rows[c.TRUCK_UNIT])
        for kind, rows in left.groupby(c.EDGE_TYPE, sort=False)
    }
    counts = trucks[c.EDGE_TYPE].value_counts()
    nothing = pd.Series(dtype=float)
    edges = tuple(
        _with_uses(edge, uses.get(edge.edge_type, nothing))
        if len(uses.get(edge.edge_type, nothing)) < counts.get(edge.edge_type, 0)
        else edge
        for edge in inputs.edges
    )
    pairings = dict(inputs.pairings)
    if inputs.reference in uses:
        for kind in pairings:
            one, other = uses.get(kind, nothing), uses[inputs.reference]
            both = one.index.intersection(other.index)
            pairings[kind] = Pairing.of(other[both], one[both])
    return replace(inputs, edges=edges, pairings=pairings)


def _with_uses(edge: EdgeCosts, uses: pd.Series) -> EdgeCosts:
    sample = edge.use.sample
    again = Sample.of(uses.to_numpy(), float(sample.variance_floor), float(sample.bound))
    return replace(edge, use=replace(edge.use, sample=again))


def _saving(percent_saved: float) -> str:
    return f"{percent(abs(percent_saved))} {'less' if percent_saved >= 0 else 'more'}"
