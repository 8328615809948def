"""The specification: figures of the trial, blanks for what only a certificate shows, no make."""

import math

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError
from trialkit.money import specification as sp


def types(**changed) -> pd.DataFrame:
    row = {
        c.EDGE_TYPE: "rubber_carbide", c.NEW_HEIGHT_IN: 5.5, c.USABLE_DEPTH_IN: 0.9, c.SECTIONS_N: 6.0,
        c.SECTION_LENGTH_IN: 24.0, c.REPLACED_AS: "section", c.DESCRIPTION: "Short segments in rubber",
    }  # fmt: skip
    return pd.DataFrame([row | changed])


def required(table: pd.DataFrame) -> dict[str, str]:
    return dict(zip(table[sp.PROPERTY], table[sp.REQUIRED], strict=True))


def test_figures_of_the_trial():
    found = required(sp.specification("rubber_carbide", types()))
    assert found["Kind"] == "Short segments in rubber"
    assert (found["Height, new"], found["Sections of a set"], found["Length of a section"]) == (
        "5.5 in",
        "6",
        "24 in",
    )
    assert found["Depth that can wear off"].startswith("at least 0.9 in")
    assert "each section" in found["Replacement"]
    assert sp.FILL_IN in found["Hardness of the wearing part"]


def test_every_property_can_be_tested():
    table = sp.specification("rubber_carbide", types())
    assert (table[sp.TEST].str.len() > 5).all()


def test_what_is_not_recorded_is_left_out_or_to_be_filled_in():
    bare = types(
        **{
            c.SECTIONS_N: math.nan,
            c.SECTION_LENGTH_IN: None,
            c.REPLACED_AS: "set",
            c.DESCRIPTION: None,
            c.NEW_HEIGHT_IN: math.nan,
        }
    )
    found = required(sp.specification("rubber_carbide", bare))
    assert found["Height, new"] == sp.FILL_IN and found["Kind"] == "like the lot tried: rubber carbide"
    assert not {"Sections of a set", "Length of a section", "Replacement"} & set(found)


def test_widths_of_the_plows_and_metric_units():
    trucks = pd.DataFrame({c.PLOW_WIDTH_FT: [11.0, 11.0, 9.0, math.nan]})
    found = required(sp.specification("rubber_carbide", types(), trucks))
    assert found["Width to be covered"] == "9 ft on 1 plow; 11 ft on 2 plows"
    with display.showing("metric"):
        assert required(sp.specification("rubber_carbide", types()))["Height, new"] == "140 mm"


def test_words():
    said = sp.specification_words("rubber_carbide", sp.specification("rubber_carbide", types()), {})
    assert said[0].startswith("Rubber carbide: the properties below") and "heavy and sharp" in said[-1]
    assert any(line.startswith("Hardness of the body: ____. Shown by: certificate") for line in said)


def test_a_type_that_is_not_there():
    with pytest.raises(UsageError, match='Did you mean "rubber_carbide"'):
        sp.specification("rubber carbid", types())
