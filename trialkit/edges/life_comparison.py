"""Lives of the edge types set against the reference.

Answers: how many times as long as the reference does a set of this type last?

Not the ratio of wear rates: usable depths differ by type, and what counts is the spot that takes the set off.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges.against_reference import (
    NO_INTERVAL,
    ONE_TRUCK,
    PAIRED,
    PART_PAIRED,
    AgainstReference,
    methods,
)
from trialkit.edges.life import BASIS_WORDS, SECTION, LifeProjection
from trialkit.edges.wear import edge_type_order
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    position_words,
    ratio_ends,
    ratio_number,
    sentence_case,
)
from trialkit.stats import ratios
from trialkit.stats.inference import Pairing, difference_interval, holm_adjusted
from trialkit.stats.ratios import ratio_set
from trialkit.table_parts import NO, YES

TABLE_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.BOUNDED, c.METHOD, c.P_VALUE, c.P_HOLM,
    c.N_TRUCKS, c.N_TRUCKS_REFERENCE, c.N_PAIRS,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class LifeComparison(AgainstReference):
    """Life of each edge type against the reference, on each plow position.

    Attributes
    ----------
    table : DataFrame
        How many times as long the type lasts (its life / the reference's): `edge_type`, `reference`, `plow_position`,
        `estimate`, `conf_low`, `conf_high` (missing where there is no upper end), `bounded` (yes or no), `method`,
        `p_value` and `p_holm` (of equal lives), `n_trucks`, `n_trucks_reference`, `n_pairs`.
    confidence_level, labels
        As of `AgainstReference`; two-sided.
    """

    def _sentence(self, row: dict[Hashable, Any], say_place: bool) -> str:
        kind, reference = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        place = f"on {position_words(row[c.PLOW_POSITION])}, " if say_place else ""
        start = sentence_case(f"{place}{kind}")
        life_of = sentence_case(f"{place}the life of {kind}")
        ratio, low, high = row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH]
        level = level_words(self.confidence_level)
        if row[c.METHOD] in (ONE_TRUCK, NO_INTERVAL):
            if not ratio > 0:
                return f"{life_of} cannot be set against that of {reference}."
            return f"{start} is projected to last {ratio_number(ratio)} times as long as {reference} (no interval)."
        if not math.isfinite(low):
            return f"{life_of} cannot be set against that of {reference}: heights rose."
        best = f"best estimate {ratio_number(ratio)}; " if ratio > 0 else ""
        if not math.isfinite(high):
            if low > 1:
                return f"{start} lasts at least {ratio_number(low)} times as long as {reference} ({best}{level} without an upper end)."
            said = sentence_case(f"{place}the trial cannot tell how long {kind} lasts against {reference}")
            return f"{said}: the {level} has no upper end."
        first, last = ratio_ends(low, high)
        ends = f"between {first} and {last}" if low > 0 else f"at most {last}"
        between = f"{ends} times as long as {reference} ({best}{level})."
        if low > 1 or high < 1:
            return f"{start} lasts {between}"
        said = sentence_case(f"{place}no difference in life between {kind} and {reference} is shown")
        return f"{said}: {kind} may last {between}"


def compare_lives(projection: LifeProjection, reference: str | None = None) -> LifeComparison:
    """Compare the projected life of each edge type with that of the reference, position by position.

    Use it for "how many times as long". Not for lives that end by breakage (`observed`).

    Parameters
    ----------
    projection : LifeProjection
        The projected lives.
    reference : str, optional
        Edge type to compare with; that of `projection` otherwise.

    Returns
    -------
    LifeComparison
        Without rows if no other type shares a plow position with the reference.

    Raises
    ------
    UsageError
        If the reference has no readings.

    Notes
    -----
    The ratio of lives is the reference's mean use over the type's, in sets per 1,000 miles; its set comes from
    inverting the t test of equal use (`ratios.ratio_set`: Fieller's set, Welch's degrees of freedom), with trucks that
    carried both types as pairs. Where the set has no upper end the type lasts "at least" its lower end.
    """
    order = edge_type_order(projection.table[c.EDGE_TYPE], reference or projection.reference or None)
    chosen = order[0] if order else ""
    rows = compared_by_place(
        projection, order, lambda place, kind: _compared(projection, place, kind, chosen)
    )
    result = LifeComparison(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_method(projection.confidence_level),
        notes=(),
        confidence_level=projection.confidence_level,
        labels=projection.labels,
    )
    return replace(result, notes=tuple(_notes(result, projection, chosen)))


def _compared(projection: LifeProjection, place: str, kind: str, reference: str) -> dict[str, Any]:
    """One row of the comparison."""
    level = projection.confidence_level
    of_type, of_reference = projection.samples[place, kind], projection.samples[place, reference]
    pairing = truck_pairs(projection.trucks, place, kind, reference)
    found = ratio_set(of_reference, of_type, pairing, level).known_non_negative(of_type.mean)
    difference = difference_interval(of_reference, of_type, pairing, level)
    how = methods(of_type.n, of_reference.n, pairing.n, math.isfinite(difference.std_error))
    return {
        c.EDGE_TYPE: kind,
        c.REFERENCE: reference,
        c.PLOW_POSITION: place,
        c.ESTIMATE: found.estimate,
        c.CONF_LOW: found.conf_low,
        c.CONF_HIGH: found.conf_high,
        c.BOUNDED: YES if found.kind == ratios.BOUNDED else NO,
        c.METHOD: str(how),
        c.P_VALUE: difference.p_value,
        c.N_TRUCKS: of_type.n,
        c.N_TRUCKS_REFERENCE: of_reference.n,
        c.N_PAIRS: pairing.n,
    }


def compared_by_place(
    projection: LifeProjection, order: Sequence[str], row_of: Callable[[str, str], dict[str, Any]]
) -> list[dict[str, Any]]:
    """Rows for every type on a plow position of the reference, with Holm's adjustment over the types of each.

    Parameters
    ----------
    projection : LifeProjection
        The projected lives.
    order : sequence of str
        Edge types, the reference first.
    row_of : callable
        Plow position and edge type to a row with its `p_value`.
    """
    rows: list[dict[str, Any]] = []
    for place in dict.fromkeys(projection.table[c.PLOW_POSITION]):
        here = [
            kind
            for kind in order
            if (place, kind) in projection.samples and projection.samples[place, kind].n > 0
        ]
        if not order or order[0] not in here:
            continue
        block = [row_of(place, kind) for kind in here if kind != order[0]]
        adjusted = holm_adjusted([row[c.P_VALUE] for row in block])
        rows.extend({**row, c.P_HOLM: float(p)} for row, p in zip(block, adjusted, strict=True))
    return rows


def truck_pairs(trucks: pd.DataFrame, place: str, kind: str, reference: str) -> Pairing:
    """The trucks that carried both types on a plow position, by their use of sets."""
    here = trucks[trucks[c.PLOW_POSITION] == place]
    one, other = (
        pd.Series(rows[c.USE_PER_1000_MI].to_numpy(), rows[c.TRUCK_UNIT].astype(object))
        for rows in (here[here[c.EDGE_TYPE] == name] for name in (kind, reference))
    )
    both = one.index.intersection(other.index)
    return Pairing.of(other[both], one[both])


# ---------------------------------------------------------------- words
def _method(confidence_level: float) -> str:
    return (
        f"Ratio of the lives at the mean rate, by inverting the t test of equal use of sets per {display.word('mile')} (Fieller's "
        f"set, Welch's degrees of freedom) at {level_percent(confidence_level)}; trucks that carried both types are paired; Holm's adjustment "
        "over the edge types of a plow position."
    )


def _notes(result: LifeComparison, projection: LifeProjection, reference: str) -> list[str]:
    """Caveats that the comparison must carry."""
    notes: list[str] = []
    table = projection.table
    alone = table[
        (table[c.EDGE_TYPE] != reference) & ~table[c.PLOW_POSITION].isin(result.table[c.PLOW_POSITION])
    ]
    for row in alone.to_dict("records"):
        notes.append(
            sentence_case(
                f"{result.label(row[c.EDGE_TYPE])} on {position_words(row[c.PLOW_POSITION])} is not compared: "
            )
            + f"{result.label(reference)} has no projected life there."
        )
    basis = {(row[c.PLOW_POSITION], row[c.EDGE_TYPE]): row[c.BASIS] for row in table.to_dict("records")}
    for row in result.table.to_dict("records"):
        kind, place = row[c.EDGE_TYPE], row[c.PLOW_POSITION]
        who = sentence_case(
            f"{result.label(kind)} against {result.label(reference)} on {position_words(place)}"
        )
        if min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]) < 2:
            notes.append(f"{who}: one truck with a wear rate for one of them, so no interval is given.")
        elif row[c.N_PAIRS] and row[c.METHOD] in (PAIRED, PART_PAIRED):
            notes.append(
                f"{who}: {counted(int(row[c.N_PAIRS]), 'truck')} carried both and are compared with themselves."
            )
        if math.isfinite(row[c.CONF_LOW]) and row[c.BOUNDED] == NO:
            notes.append(
                f"{who}: the ratio has no upper end with these readings; only its lower end is stated."
            )
        if (basis[place, kind] == BASIS_WORDS[SECTION]) != (basis[place, reference] == BASIS_WORDS[SECTION]):
            notes.append(
                f"{who}: one is replaced by section and the other as a set, so the life of a section at its place is set "
                "against the life of a set."
            )
    return notes
