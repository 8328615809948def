"""What a comparison of costs leaves out, and why.

Answers: which parts of the cost are in no total because they are not known, and which way does that lean?

A reader of one headline has to see what it counts. A part that is not known for one of two types is left out of both; where only
the new type lacks it, that makes the new type look cheaper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trialkit import display
from trialkit.formatting import counted, listed, number, sentence_case
from trialkit.money import lines
from trialkit.money.inputs import CostInputs, EdgeCosts

LABOR = "labor"
OF_EDGES = (lines.SETS, lines.BREAKAGE)


def line_words(unknown: Sequence[str]) -> str:
    """Cost lines in words, regular and overtime labor said together."""
    both = {lines.pr.LABOUR_REGULAR, lines.pr.LABOUR_OVERTIME} <= set(unknown)
    said = [
        LABOR if both and line == lines.pr.LABOUR_REGULAR else lines.LINE_WORDS[line]
        for line in unknown
        if not (both and line == lines.pr.LABOUR_OVERTIME)
    ]
    return listed(said)


def words(inputs: CostInputs, edge_type: str) -> tuple[str, str]:
    """What the comparison of a type with the reference leaves out, for the end of a sentence about it.

    Use it behind every statement of a difference in cost. Not where nothing is compared: `missing` says why.

    Returns
    -------
    tuple of str
        What goes on in the sentence (", in the price of edges alone"; empty where more is counted), and the sentences after it, each
        with a space before it.
    """
    own, other = inputs.edge(edge_type), inputs.edge(inputs.reference)
    of_own, of_other = _unknown(own, inputs), _unknown(other, inputs)
    both = [line for line in lines.LINES if line in of_own and line in of_other]
    only_own = [line for line in lines.LINES if line in of_own and line not in of_other]
    only_other = [line for line in lines.LINES if line in of_other and line not in of_own]
    alone = ", in the price of edges alone" if both and _counts_edges_alone(own, other, inputs) else ""
    said = ""
    if both:
        said += f" Not recorded, so not counted: {line_words(both)}."
    if only_own:
        said += (
            f" {sentence_case(line_words(only_own))}, not known for {inputs.label(edge_type)}, {_is(only_own)} left out of both, which "
            "makes it look cheaper."
        )
    if only_other:
        said += (
            f" {sentence_case(line_words(only_other))}, not known for {inputs.label(inputs.reference)}, {_is(only_other)} left out of both, "
            f"which makes {inputs.label(inputs.reference)} look cheaper."
        )
    return alone, said


def missing(inputs: CostInputs, edge_type: str) -> str:
    """Which price or life is missing where a type cannot be set against the reference in cost; empty where none is."""
    pair = [inputs.edge(kind) for kind in dict.fromkeys((inputs.reference, edge_type))]
    unpriced = [inputs.label(one.edge_type) for one in pair if not math.isfinite(one.price)]
    unread = [inputs.label(one.edge_type) for one in pair if not math.isfinite(float(one.use.sample.mean))]
    said = []
    if unpriced:
        said.append(f"no price of a set of {listed(unpriced, 'or')} is recorded")
    if unread:
        said.append(f"no wear of {listed(unread, 'or')} was read")
    return " and ".join(said)


def without_wear(inputs: CostInputs, edge_type: str) -> str:
    """That no wear of a type or of the reference could be measured, and in how many miles; empty where it could."""
    pair = [inputs.edge(kind) for kind in dict.fromkeys((edge_type, inputs.reference))]
    flat = [one for one in pair if not wears(one)]
    return " and ".join(_flat_words(one, inputs, "it" if one.edge_type == edge_type else "") for one in flat)


def wears(edge: EdgeCosts) -> bool:
    """Whether wear of a type was measured; False where its life, and so its cost, is only known from one side."""
    return not float(edge.use.sample.mean) <= 0


def _flat_words(edge: EdgeCosts, inputs: CostInputs, name: str) -> str:
    miles = edge.use.miles_mi
    ran = f" in {number(display.value(miles, 'mi'))} {display.word('miles')}" if math.isfinite(miles) else ""
    trucks = counted(int(edge.use.sample.n), "truck")
    return f"no wear of {name or inputs.label(edge.edge_type)} could be measured{ran} on {trucks}"


def _unknown(edge: EdgeCosts, inputs: CostInputs) -> tuple[str, ...]:
    return lines.unknown_lines(lines.cost_lines(edge, lines.estimated_rates(edge), inputs))


def _counts_edges_alone(own: EdgeCosts, other: EdgeCosts, inputs: CostInputs) -> bool:
    """Whether nothing but the edges themselves is in the comparison."""
    amounts = [lines.cost_lines(one, lines.estimated_rates(one), inputs) for one in (own, other)]
    beside = [line for line in lines.LINES if line not in OF_EDGES and all(line in of for of in amounts)]
    return not any(
        all(np.isfinite(of[line]) for of in amounts) and any(of[line] != 0 for of in amounts)
        for line in beside
    )


def _is(unknown: Sequence[str]) -> str:
    words = [lines.LINE_WORDS[line] for line in unknown]
    return "is" if len(words) == 1 and not words[0].endswith(("s", "hardware")) else "are"
