"""The cost as a curve: over the life of an edge type, and over the miles that a truck plows.

Answers: what would a mile cost if the type lasted longer or shorter, and when has a dearer first set been earned back?
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import fixed, sentence_case
from trialkit.money import draws, lines
from trialkit.money.break_even import LIFE_RATIO, BreakEven
from trialkit.money.inputs import CostInputs, EdgeCosts
from trialkit.money.season import mean_miles
from trialkit.results import Labelled

POINTS = 160
MOST_WINTERS = 4.0
"""The curve over miles spans no more than so many middling winters of a truck."""
SPENT = "spent"

CURVE_COLUMNS = [c.EDGE_TYPE, LIFE_RATIO, c.COST_PER_MI]
BAND_COLUMNS = [c.EDGE_TYPE, c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]
SPENT_COLUMNS = [c.EDGE_TYPE, c.MILES_MI, SPENT]


@dataclass(frozen=True, eq=False)
class LifeCurve(Labelled):
    """Cost per mile of each edge type over its life.

    Attributes
    ----------
    table : DataFrame
        edge_type, life_ratio (life over the life found for the reference), cost_per_mi; the reference has no curve.
    bands : DataFrame
        One row per edge type: cost per mile of the reference over the lines known for both, with its interval.
    even : BreakEven
        Where each curve meets the reference, and the life ratio that was found.
    inputs : CostInputs
    labels : mapping
    """

    bands: pd.DataFrame
    even: BreakEven = field(repr=False)
    inputs: CostInputs = field(repr=False)
    labels: Mapping[str, str]

    def sentence(self) -> str:
        """Where each type breaks even."""
        return self.even.sentence()


@dataclass(frozen=True, eq=False)
class SpentCurve(Labelled):
    """What one truck has cost in edges after so many miles.

    Attributes
    ----------
    table : DataFrame
        edge_type, miles_mi, spent: two rows where a step is.
    paid_back : mapping
        Edge type to the miles after which it stays at or below the reference [mi]; 0 where it always is, infinite where it does not
        within the miles shown or where it costs more per mile in the long run.
    season_mi : float
        Miles of one truck in a middling winter, on average; NaN without a plan. [mi]
    inputs : CostInputs
    labels : mapping
    """

    paid_back: Mapping[str, float]
    season_mi: float
    inputs: CostInputs = field(repr=False)
    labels: Mapping[str, str]

    def sentence(self) -> str:
        """After how many miles each type stays below the reference, by the best estimates."""
        other = self.label(self.inputs.reference)
        said = []
        for kind, miles in self.paid_back.items():
            who, unit = sentence_case(self.label(kind)), display.word("miles")
            shown = float(display.value(miles, "mi"))
            if miles == 0:
                said.append(f"{who} costs no more than {other} from the first {display.word('mile')} on.")
            elif math.isfinite(miles):
                said.append(
                    f"{who} stays below {other} after {fixed(shown, -2 if shown >= 1000 else -1)} {unit}."
                )
            else:
                said.append(f"{who} does not come to stay below {other}.")
        return " ".join(said) or "There is nothing to set against each other."


def curve_over_life(inputs: CostInputs, even: BreakEven) -> LifeCurve:
    """The cost per mile of each edge type if it lasted longer or shorter than it was found to.

    Use it for the figure of the break-even point. Everything but the life of the type is as found.

    Parameters
    ----------
    inputs : CostInputs
    even : BreakEven
        From the same inputs.

    Returns
    -------
    LifeCurve
        Without rows where the life of the reference or a price is not known.
    """
    rows: list[tuple[str, float, float]] = []
    bands: list[dict[str, Any]] = []
    for row in even.table.to_dict("records"):
        edge, reference = inputs.edge(str(row[c.EDGE_TYPE])), inputs.edge(inputs.reference)
        own, other = lines.estimated_rates(edge), lines.estimated_rates(reference)
        if not (other.use > 0 and math.isfinite(edge.price) and math.isfinite(reference.price)):
            continue
        both = lines.shared_lines(edge, reference, inputs)
        ends = [row[name] for name in (c.BREAK_EVEN_LIFE_RATIO, LIFE_RATIO) if math.isfinite(row[name])]
        ratios = np.geomspace(0.5 * min([1.0, *ends]), 1.3 * max([2.0, *ends]), POINTS)
        along = replace(own, use=other.use / ratios)
        costs = lines.total_cost(edge, along, inputs, both)
        rows += [
            (edge.edge_type, float(x), float(y))
            for x, y in zip(ratios, np.broadcast_to(costs, ratios.shape), strict=True)
        ]
        bands.append(
            {c.EDGE_TYPE: edge.edge_type, c.REFERENCE: inputs.reference, **_band(reference, inputs, both)}
        )
    return LifeCurve(
        table=pd.DataFrame(rows, columns=CURVE_COLUMNS),
        method="Cost per mile with the life of the type changed and everything else as found, over the lines known for both types.",
        notes=(),
        bands=pd.DataFrame(bands, columns=BAND_COLUMNS),
        even=even,
        inputs=inputs,
        labels=inputs.labels,
    )


def _band(reference: EdgeCosts, inputs: CostInputs, known: tuple[str, ...]) -> dict[str, float]:
    """Cost of the reference with its interval."""
    middle = float(lines.total_cost(reference, lines.estimated_rates(reference), inputs, known))
    if not reference.use.has_interval:
        return {c.ESTIMATE: middle, c.CONF_LOW: math.nan, c.CONF_HIGH: math.nan}
    drawn = draws.draw_edge(reference, inputs)
    low, _, high = draws.on_each_side(drawn, lambda rates: lines.total_cost(reference, rates, inputs, known))
    from_, to = draws.ends(low, high, inputs.confidence_level)
    return {c.ESTIMATE: middle, c.CONF_LOW: from_, c.CONF_HIGH: to}


def curve_over_miles(inputs: CostInputs) -> SpentCurve:
    """What one truck has cost in edges, mile by mile, with each edge type.

    Use it to show when a dearer first set has been earned back. Not as a forecast for one truck: sets wear out at the mean rate, and
    breaks are spread evenly over the miles.

    Parameters
    ----------
    inputs : CostInputs

    Returns
    -------
    SpentCurve
        Of the types whose price is known, over the lines known for all of them.

    Notes
    -----
    At mile 0 a new set and, where the type needs one, its kit is paid. A worn set is paid when it wears out, with its change, and so are
    the sections of a set, which were put on together; breakage and yearly amounts run with the miles. So the slope in the long run is the cost per mile without the kit.
    """
    edges = [
        edge
        for edge in inputs.edges
        if math.isfinite(edge.price) and math.isfinite(float(edge.use.sample.mean))
    ]
    known = set(lines.LINES)
    for edge in edges:
        known -= set(lines.unknown_lines(lines.cost_lines(edge, lines.estimated_rates(edge), inputs))) - {
            lines.SETS
        }
    season = mean_miles(inputs.plan.at(inputs.plow_position))
    end = _last_mile(edges, season)
    parts = {edge.edge_type: _spent(edge, inputs, tuple(known), end) for edge in edges}
    rows = [(kind, x, y) for kind, points in parts.items() for x, y in points]
    reference = parts.get(inputs.reference)
    slopes = {edge.edge_type: _long_run(edge, inputs, tuple(known)) for edge in edges}
    back = (
        {
            kind: _paid_back(points, reference, end) if slopes[kind] <= slopes[inputs.reference] else math.inf
            for kind, points in parts.items()
            if kind != inputs.reference
        }
        if reference is not None
        else {}
    )
    return SpentCurve(
        table=pd.DataFrame(rows, columns=SPENT_COLUMNS),
        method=(
            "First set and kit at the start, each worn set, or the sections of a set, with the change when they wear out at the mean rate, breakage and yearly "
            "amounts evenly; best estimates over the lines known for every type, not discounted."
        ),
        notes=(),
        paid_back=back,
        season_mi=season,
        inputs=inputs,
        labels=inputs.labels,
    )


def _last_mile(edges: list[EdgeCosts], season: float) -> float:
    """Miles that the curve spans: past the longest life, and no more than some winters."""
    lives = [edge.life_mi for edge in edges if math.isfinite(edge.life_mi) and edge.life_mi > 0]
    if math.isfinite(season) and season > 0:
        return min(max([2 * season, *(1.25 * life for life in lives)]), MOST_WINTERS * season)
    return 1.25 * max(lives, default=1000.0)


def _spent(
    edge: EdgeCosts, inputs: CostInputs, known: tuple[str, ...], end: float
) -> list[tuple[float, float]]:
    rates = lines.estimated_rates(edge)
    pieces = float(lines.replacements(edge, rates)[0])
    whole = float(lines.total_cost(edge, rates, inputs, known))
    running = float(lines.total_cost(edge, replace(rates, use=0.0), inputs, known))
    pieces /= edge.sections_n  # the sections of a new set come due together, a life after they were put on
    each = (whole - running) / pieces if pieces > 0 else 0.0
    kit = (
        lines.conversion_outlay(edge, inputs) if lines.pr.CONVERSION in known and inputs.n_positions else 0.0
    )
    slope = running - (lines.conversion_cost(edge, inputs) if kit else 0.0)
    spent = edge.price + (kit / inputs.n_positions if kit else 0.0)
    points, at = [(0.0, spent)], 0.0
    for n in range(1, int(end * pieces) + 1):
        mile = n / pieces
        spent += slope * (mile - at)
        points += [(mile, spent), (mile, spent + each)]
        spent, at = spent + each, mile
    return [*points, (end, spent + slope * (end - at))]


def _long_run(edge: EdgeCosts, inputs: CostInputs, known: tuple[str, ...]) -> float:
    """Cost per mile without the kit, which is paid once."""
    whole = float(lines.total_cost(edge, lines.estimated_rates(edge), inputs, known))
    kit = lines.conversion_cost(edge, inputs) if lines.pr.CONVERSION in known and inputs.n_positions else 0.0
    return whole - kit


def _paid_back(own: list[tuple[float, float]], other: list[tuple[float, float]], end: float) -> float:
    """Miles after which the first curve stays at or below the second."""
    grid = np.linspace(0.0, end, 4001)
    above = _at(own, grid) > _at(other, grid) + 1e-9
    if not above.any():
        return 0.0
    last = int(np.flatnonzero(above)[-1])
    return math.inf if last == len(grid) - 1 else float(grid[last + 1])


def _at(points: list[tuple[float, float]], grid: np.ndarray) -> np.ndarray:
    x, y = (np.array(values) for values in zip(*points, strict=True))
    return np.interp(grid, x + np.arange(len(x)) * 1e-9, y)
