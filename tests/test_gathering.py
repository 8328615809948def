"""Gathering: the reference first, sections with their number, and depth thrown away where it is known."""

import math

import money_samples as ms
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.table_parts import SECTION


def test_the_reference_comes_first_and_the_others_in_order():
    given = dict(reversed(ms.uses().items()))
    found = ms.cost_inputs(uses=given)
    assert [edge.edge_type for edge in found.edges] == [ms.STEEL, ms.RUBBER, ms.CARBIDE]
    assert [edge.edge_type for edge in found.others] == [ms.RUBBER, ms.CARBIDE]
    assert found.edge(ms.RUBBER).replaced_as == SECTION and found.edge(ms.RUBBER).sections_n == 5
    assert found.fleet_miles == 6000 and found.n_positions == 3
    assert found.edge(ms.STEEL).life_mi == 500


def test_sections_need_their_number():
    types = ms.edge_types()
    types[c.SECTIONS_N] = types[c.SECTIONS_N].astype(float)
    types.loc[types[c.EDGE_TYPE] == ms.RUBBER, c.SECTIONS_N] = math.nan
    with pytest.raises(UsageError, match='Sections of "rubber_carbide" are replaced on their own'):
        ms.cost_inputs(edge_types=types)
    with pytest.raises(UsageError, match="rubber_carbide"):
        ms.cost_inputs(edge_types=types.drop(columns=c.SECTIONS_N))


def test_without_a_column_of_how_they_are_replaced_all_are_sets():
    found = ms.cost_inputs(edge_types=ms.edge_types().drop(columns=c.REPLACED_AS))
    assert {edge.replaced_as for edge in found.edges} == {"set"}


def test_depth_thrown_away_is_that_of_the_type():
    unused = pd.DataFrame({c.EDGE_TYPE: [ms.STEEL], "uneven_frac": [0.1], "early_frac": [0.05]})
    found = ms.cost_inputs(unused=unused)
    assert (found.edge(ms.STEEL).uneven_frac, found.edge(ms.STEEL).early_frac) == (0.1, 0.05)
    assert math.isnan(found.edge(ms.CARBIDE).uneven_frac)
    assert math.isnan(ms.cost_inputs(unused=unused.iloc[:0]).edge(ms.STEEL).early_frac)
