"""A result shows its table under headings and hands out copies."""

from dataclasses import FrozenInstanceError, dataclass

import pandas as pd
import pytest

from trialkit.results import Labelled, Summary


@dataclass(frozen=True, eq=False)
class Rates(Summary):
    def sentence(self):
        return "Plain steel wore."


@dataclass(frozen=True, eq=False)
class Named(Labelled):
    labels: dict

    def sentence(self):
        return f"{self.label('plain_steel')} and {self.label('carbide_insert')}"


RATES = Rates(pd.DataFrame({"edge_type": ["plain"], "estimate": [1.5]}), "two stages", ("One truck only.",))


def test_summary_has_headings_method_and_notes():
    assert str(RATES) == "Edge type  Estimate\n    plain       1.5\n\ntwo stages\nNote: One truck only."


def test_frame_is_a_copy():
    own = RATES.frame()
    own.loc[0, "estimate"] = 99
    assert RATES.table.loc[0, "estimate"] == 1.5


def test_is_frozen():
    with pytest.raises(FrozenInstanceError):
        RATES.method = "other"


def test_edge_types_are_named_by_their_labels_or_else_with_spaces():
    named = Named(RATES.table, "", (), {"carbide_insert": "carbide"})
    assert named.sentence() == "plain steel and carbide"
