"""Needs of the positions of one edge type: by hand where nothing varies, and together no more than one by one."""

import money_samples as ms
import numpy as np
import pytest

from trialkit import columns as c
from trialkit.money import fleet_needs as fn
from trialkit.money.inputs import Use
from trialkit.money.sets_needed import SetsUsed, Spread
from trialkit.stats.inference import Sample

MILES = np.array([400.0, 1200.0, 2200.0])
"""Of a light, a middling and a hard winter; a set of steel lasts 500 miles, a section 5,000."""


def needs(kind, spread=0.0):
    """Needs of a type of which no edge breaks."""
    mean = float(ms.uses()[kind].sample.mean)
    inputs = ms.cost_inputs(uses=ms.uses() | {kind: Use(Sample(mean, 0.0, 4), 0, 0, 1e12)})
    edge = inputs.edge(kind)
    return fn.TypeNeeds(edge, inputs, SetsUsed(edge, Spread(spread), np.random.default_rng(1), 500), 0.9)


def test_a_truck_by_hand():
    steel = needs(ms.STEEL)
    new = steel.take(fn.Position("T-1", MILES, 0.0, True))
    # by hand: worn out after 500, 1,000, 1,500 and 2,000 miles, and one to start with
    assert [row[fn.TO_HAVE] for row in new] == [1, 3, 5] and [row[fn.EXPECTED] for row in new] == [1, 3, 5]
    carried = steel.take(fn.Position("T-2", MILES, 0.5, False))
    # by hand: the part-worn set ends after 250 miles, the next after 750, 1,250, 1,750 and 2,250
    assert [row[fn.TO_HAVE] for row in carried] == [1, 2, 4]
    fleet = steel.rows()
    assert [row[fn.TO_HAVE] for row in fleet] == [2, 5, 9] == [row[fn.SUM_OF_TRUCKS] for row in fleet]
    assert [row[fn.N_CARRIED] for row in fleet] == [1, 1, 1]
    # by hand: 2 sets of 400 per 1,000 miles on two trucks
    assert [row[fn.STEADY_CASH] for row in fleet] == pytest.approx([640, 1920, 3520])
    assert [row[fn.CASH_AT_LEVEL] for row in fleet] == [800, 2000, 3600]


def test_sections_by_hand():
    rubber = needs(ms.RUBBER)
    rubber.take(fn.Position("T-1", np.array([1000.0, 5500.0, 9000.0]), 0.0, True))
    rubber.take(fn.Position("T-2", np.array([1000.0, 4000.0, 4500.0]), 0.0, False))
    fleet = rubber.rows()
    assert [(row[c.WINTER], row[fn.PIECE], row[fn.TO_HAVE], row[fn.KITS]) for row in fleet] == [
        ("light", "set", 2, 1), ("light", "section", 0, 0), ("middling", "set", 2, 1), ("middling", "section", 5, 0),
        ("hard", "set", 2, 1), ("hard", "section", 5, 0),
    ]  # fmt: skip
    # by hand: two sets at 2,500 and one kit of 100; five sections at a fifth of a set
    assert [row[fn.CASH_AT_LEVEL] for row in fleet[2:4]] == [5100, 2500]


def test_trucks_that_differ_share_their_sets():
    steel = needs(ms.STEEL, spread=0.6)
    rows = [steel.take(fn.Position(f"T-{n}", MILES, 0.0, False)) for n in range(6)]
    middling = steel.rows()[1]
    assert middling[fn.SUM_OF_TRUCKS] == sum(own[1][fn.TO_HAVE] for own in rows) > middling[fn.TO_HAVE]
