"""Gathering what the cost of edges is worked out from.

Answers: what do the records of a town and the findings of a trial say about prices, hours, lives and miles?
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError, near_match
from trialkit.formatting import listed
from trialkit.money import prices, work
from trialkit.money.inputs import SAVING_COLUMNS, CostInputs, EdgeCosts, Terms, Use
from trialkit.money.season import SeasonMiles
from trialkit.stats.inference import Pairing
from trialkit.table_parts import SECTION, SET, YES

UNEVEN_FRAC, EARLY_FRAC = "uneven_frac", "early_frac"
SAVED = "material and passes"


@dataclass(frozen=True, eq=False, slots=True)
class Records:
    """What a town has on record about prices and work.

    Attributes
    ----------
    edge_types : DataFrame
        Columns edge_type, replaced_as, sections_n.
    edge_sets : DataFrame
        Columns set_id, edge_type, unit_price_usd, supplied_by.
    set_events : DataFrame
        See `work.change_work`.
    costs : DataFrame or None
        See `prices.cost_amounts`.
    as_of : date or None
        Day whose prices are used; the latest if there is none.
    """

    edge_types: pd.DataFrame
    edge_sets: pd.DataFrame
    set_events: pd.DataFrame
    costs: pd.DataFrame | None = None
    as_of: Any = None


@dataclass(frozen=True, eq=False, slots=True)
class Findings:
    """What the trial found at one plow position.

    Attributes
    ----------
    uses : mapping
        Edge type to its `Use`.
    pairings : mapping
        Edge type to the trucks it shares with the reference.
    savings : DataFrame or None
        Columns edge_type, estimate, conf_low, conf_high (saved against the reference, per blade-down mile, positive where the type
        saves), shown ("yes" or "no"); item if there are several. Rows that were not shown are left out and named in the notes.
    unused : DataFrame or None
        Columns edge_type, uneven_frac, early_frac: shares of the usable depth thrown away with worn sets.
    """

    uses: Mapping[str, Use]
    pairings: Mapping[str, Pairing] = field(default_factory=dict)
    savings: pd.DataFrame | None = None
    unused: pd.DataFrame | None = None


def read_inputs(
    findings: Findings,
    records: Records,
    plan: SeasonMiles,
    *,
    plow_position: str,
    reference: str,
    terms: Terms | None = None,
    labels: Mapping[str, str] | None = None,
) -> CostInputs:
    """Gather what the costs are worked out from.

    Parameters
    ----------
    findings : Findings
    records : Records
    plan : SeasonMiles
        Planned miles.
    plow_position : str
        The position that the findings are of.
    reference : str
        Edge type with which the others are compared.
    terms : Terms, optional
    labels : mapping, optional

    Returns
    -------
    CostInputs

    Raises
    ------
    UsageError
        A negative price; an edge type with a use that is not in `edge_types`; sections replaced on their own without a number of
        sections.
    """
    terms, labels = terms or Terms(), dict(labels or {})
    order = list(dict.fromkeys(kind for kind in (reference, *findings.uses) if kind in findings.uses))
    sections = _sections(records.edge_types, order)
    of_sets = prices.set_prices(records.edge_sets)
    amounts = prices.cost_amounts(records.costs, order, reference, as_of=records.as_of)
    hours = work.change_work(records.set_events, records.edge_sets, sections)
    edges = tuple(
        EdgeCosts(
            edge_type=kind,
            replaced_as=SECTION if kind in sections else SET,
            sections_n=sections.get(kind, 1.0),
            price=_price(of_sets, kind, c.PRICE),
            price_low=_price(of_sets, kind, c.PRICE_LOW),
            price_high=_price(of_sets, kind, c.PRICE_HIGH),
            items=amounts[kind],
            work=hours.get(kind, {}),
            use=findings.uses[kind],
            **_thrown_away(findings.unused, kind),
        )
        for kind in order
    )
    shown, left_out = _savings(findings.savings, order, reference, labels)
    notes = [
        *prices.price_notes(of_sets, labels, terms.currency, order),
        *prices.misfit_notes(amounts),
        *prices.kit_notes(amounts, labels, reference),
        *work.work_notes(hours, labels, order),
        *_section_notes(edges, labels),
        *left_out,
        *plan.notes,
    ]
    return CostInputs(
        edges, reference, plow_position, plan, pairings=findings.pairings, savings=shown, labels=labels, notes=tuple(notes),
        **asdict(terms),
    )  # fmt: skip


def _sections(edge_types: pd.DataFrame, edge_types_used: list[str]) -> dict[str, float]:
    """Sections of a set, of the types of which sections are replaced on their own."""
    known = edge_types.astype({c.EDGE_TYPE: object}).set_index(c.EDGE_TYPE)
    found = {}
    for kind in edge_types_used:
        if kind not in known.index:
            raise UsageError(
                f'Edge type "{kind}" has a life but is not in edge_types. {near_match(kind, known.index)}'.rstrip()
            )
        if c.REPLACED_AS in known and known.loc[kind, c.REPLACED_AS] == SECTION:
            found[kind] = _sections_of(kind, known)
    return found


def _sections_of(kind: str, known: pd.DataFrame) -> float:
    n = float(known[c.SECTIONS_N].astype(float)[kind]) if c.SECTIONS_N in known else math.nan
    if not n >= 1:
        raise UsageError(
            f'Sections of "{kind}" are replaced on their own, but edge_types does not say how many a set has; fill '
            f"{c.SECTIONS_N}, or put {SET} in {c.REPLACED_AS}."
        )
    return n


def _price(of_sets: pd.DataFrame, kind: str, column: str) -> float:
    return float(of_sets[column].get(kind, math.nan))


def _thrown_away(unused: pd.DataFrame | None, kind: str) -> dict[str, float]:
    """Shares of the usable depth thrown away, as far as they are known."""
    if unused is None or unused.empty:
        return {}
    own = unused[unused[c.EDGE_TYPE].astype(object) == kind]
    return {name: float(own[name].iloc[-1]) for name in (UNEVEN_FRAC, EARLY_FRAC)} if len(own) else {}


def _savings(
    savings: pd.DataFrame | None, order: list[str], reference: str, labels: Mapping[str, str]
) -> tuple[pd.DataFrame, list[str]]:
    """The savings that were shown, and what is said of the others."""
    if savings is None or savings.empty:
        return pd.DataFrame(columns=SAVING_COLUMNS), []
    rows = savings if c.ITEM in savings else savings.assign(**{c.ITEM: SAVED})
    rows = rows.astype({c.EDGE_TYPE: object, c.ITEM: object})
    rows = rows[rows[c.EDGE_TYPE].isin(order) & (rows[c.EDGE_TYPE] != reference)]
    ends = rows[[c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]].astype(float)
    whole = ends.notna().all(axis=1)
    shown = (rows[c.SHOWN].astype(object) == YES) & whole
    notes = []
    for row in rows[~shown].to_dict("records"):
        who = labels.get(row[c.EDGE_TYPE], str(row[c.EDGE_TYPE]).replace("_", " "))
        notes.append(
            f"A saving in {row[c.ITEM]} with {who} was not shown, so nothing is counted for it."
            if row[c.SHOWN] != YES
            else f"The saving in {row[c.ITEM]} with {who} has no interval, so nothing is counted for it."
        )
    return rows.loc[shown, SAVING_COLUMNS].reset_index(drop=True), notes


def _section_notes(edges: tuple[EdgeCosts, ...], labels: Mapping[str, str]) -> list[str]:
    singly = [labels.get(one.edge_type, one.edge_type) for one in edges if one.replaced_as == SECTION]
    if not singly:
        return []
    return [
        f"Sections of {listed(singly)} are replaced on their own: a section costs its share of the price of a set, of the hardware "
        "and of the disposal, and its own hours."
    ]
