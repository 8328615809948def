"""An interim report shows what was recorded, how good it is and what broke, and nothing of how edge types differ."""

import dataclasses

import pytest
from conftest import SETTINGS, write_trial

from trialkit.planning import looks
from trialkit.report import blocks, council, council_study, look_sections, look_study
from trialkit.trial import checks

PLAN = "[plan]\nlooks = [2031-02-20, 2031-04-08]\nseason_end = 2031-04-08\n"


@pytest.fixture(scope="module")
def interim(tmp_path_factory):
    checked = checks.check_trial(write_trial(tmp_path_factory.mktemp("trial"), settings=SETTINGS + PLAN))
    trial = checked.require_clean()
    found = council_study.studies(trial)
    look = look_study.status(trial, "2030-12-18")
    return trial, found, look, look_sections.interim(trial, found, look, checked)


def words_of(shown):
    return " ".join(str(block.model_dump(exclude={"svg", "png"})) for block in shown)


def test_the_head_is_marked_and_the_first_box_says_why(interim):
    _, _, look, shown = interim
    assert look.is_interim
    head, box = shown[:2]
    assert isinstance(head, blocks.Meta) and head.interim and head.date == "January 14, 2031"
    said = [item["sentence"] for item in blocks.findings_of([box])]
    assert said[0].startswith("Interim, not for decision: the data end on January 14, 2031")
    assert said[1].startswith("2 looks were not planned")
    assert said[-1] == look_sections.WITHHELD


def test_data_quality_and_breaks_are_there(interim):
    shown = interim[-1]
    captions = [block.caption for block in shown if isinstance(block, blocks.Table)]
    assert captions == [council.TRIED_CAPTION, look_sections.BROKE_CAPTION]
    assert any(isinstance(block, blocks.Problems) for block in shown)


def test_nothing_is_said_of_wear_lives_or_differences(interim):
    _, found, _, shown = interim
    text = words_of(shown)
    assert not any(isinstance(block, blocks.Figure) for block in shown)
    assert "worn out" not in text and "times" not in text.replace(look_sections.WITHHELD, "")
    for sentence in [
        *found.rates.sentences(),
        *found.compared.sentences(),
        *found.lives.projection.sentences(),
    ]:
        assert sentence not in text


def test_a_report_at_a_look_is_not_marked(interim):
    trial, _, look, _ = interim
    due = dataclasses.replace(look, kind=looks.PLANNED, nominal_p=0.01)
    assert look_sections.marked(council.title(trial), look).interim
    assert not look_sections.marked(council.title(trial), due).interim
    assert words_of([look_sections.status_text(look)]).count("Interim, not for decision") == 1
    assert "Planned look 0 of 2" in words_of([look_sections.status_text(due)])


def test_where_no_set_ran_any_miles_it_is_said(interim, monkeypatch):
    found = interim[1]
    monkeypatch.setattr(look_sections, "_breaks", lambda found: found.lives.observed.table.iloc[:0])
    assert "nothing was seen to wear out or break" in words_of([look_sections.breaks_table(found)])
