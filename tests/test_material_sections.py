"""Material and clearing as blocks, whatever the trial has recorded."""

import material_trial as ct
import pytest
from conftest import write_trial
from material_trial import material_trial

from trialkit import columns as c
from trialkit.report import blocks, material_sections, material_study
from trialkit.trial import checks

ALL = [
    "records", "spread_words", "storms_figure", "spread_table", "material", "clearing", "differences_figure", "material_table",
    "clearing_table", "naive_table", "variants_table", "ratings", "ratings_figure", "ratings_table", "storms", "storms_table",
    "season", "season_table", "limits", "notes", "method", "council", "council_figure", "council_table", "council_notes",
]  # fmt: skip


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    return material_trial(tmp_path_factory.mktemp("trial"), material=ct.material(skip=("W1-T1",)))


@pytest.fixture(scope="module")
def found(trial):
    return material_study.study_material(trial)


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    return checks.check_trial(write_trial(tmp_path_factory.mktemp("bare"))).require_clean()


@pytest.mark.parametrize("name", ALL)
def test_every_section_is_a_block(found, name):
    assert isinstance(getattr(material_sections, name)(found), blocks.Block)


@pytest.mark.parametrize("name", ALL)
def test_every_section_stands_without_records(bare, name):
    assert isinstance(getattr(material_sections, name)(material_study.study_material(bare)), blocks.Block)


def test_what_is_said_where_nothing_was_recorded(bare):
    nothing = material_study.study_material(bare)
    sentence = "Salt and clearing were not studied: no shift was recorded."
    assert material_sections.records(nothing).plain() == sentence
    assert material_sections.council(nothing).plain() == sentence
    assert material_sections.council_table(nothing).plain() == ""
    assert material_sections.problems(bare).plain() == "No shift was recorded, so there is nothing to check."


def test_problems_are_those_of_material_alone(trial):
    shown = material_sections.problems(trial)
    assert "material_missing" not in shown.plain()
    assert "above 0 in 1 shift without a row in material (W1-T1)" in shown.plain()


def test_findings_carry_their_verdict(found):
    assert material_sections.material(found).items[0].verdict == "better"
    assert material_sections.season(found).items[0].verdict == "better"


def test_tables_say_what_they_are_against(found):
    table = material_sections.material_table(found)
    assert table.caption == "Material within storms: difference from Plain steel"
    assert [column.title for column in table.shown_columns][2:4] == [
        "Difference (95% interval)", "Likely to be seen from",
    ]  # fmt: skip


def test_the_records_left_out_are_in_the_small_print(found):
    assert (
        "1 shift treated lane-miles but has no record of material" in material_sections.notes(found).plain()
    )


def test_storms_table_dashes_what_is_not_known(found):
    table = material_sections.storms_table(found)
    assert table.raw_frame()[c.STORM_ID].tolist()[-1] == "W5"
    assert table.shown_texts[-1][-1] == "–"
