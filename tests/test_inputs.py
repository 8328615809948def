"""What the costs are worked out from: gathered once, with everything that is missing said."""

import math

import money_samples as ms
import pytest

from trialkit.errors import UsageError
from trialkit.money.inputs import Use, use_notes
from trialkit.stats.inference import Sample


def test_an_edge_type_that_is_not_there():
    with pytest.raises(UsageError, match='Did you mean "carbide_insert"'):
        ms.cost_inputs().edge("carbide insert")
    with pytest.raises(UsageError, match='"ceramic" has a life but is not in edge_types'):
        ms.cost_inputs(uses=ms.uses() | {"ceramic": Use(Sample(1.0, 0.1, 3))})


def test_what_is_said_of_lives():
    given = {
        ms.STEEL: Use(Sample(math.nan, math.nan, 0)),
        ms.CARBIDE: Use(Sample(0.8, math.nan, 1), 0, 0, 100.0),
        ms.RUBBER: Use(Sample(-0.1, 0.01, 3), 0, 0, 100.0),
    }
    notes = use_notes(ms.cost_inputs(uses=given))
    assert notes[0] == "No wear of plain steel was read, so its cost is not known."
    assert notes[1] == "The miles of plain steel are not known, so breakage is not in its cost."
    assert notes[2] == "The cost of carbide insert rests on 1 truck and has no interval."
    assert notes[3].startswith("No wear of rubber-mounted carbide was measured")


def test_lives_at_the_edges():
    found = ms.cost_inputs(
        uses={ms.STEEL: Use(Sample(0.0, 0.1, 3)), ms.CARBIDE: Use(Sample(math.nan, math.nan, 0))}
    )
    assert found.edge(ms.STEEL).life_mi == math.inf and math.isnan(found.edge(ms.CARBIDE).life_mi)


def test_a_name_without_a_label():
    assert ms.cost_inputs(labels={}).label(ms.STEEL) == "plain steel"
