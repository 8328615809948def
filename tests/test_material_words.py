"""What a report says about material and clearing."""

import re

import material_trial as ct
import pytest
from conftest import write_trial
from material_trial import material_trial

from trialkit import columns as c
from trialkit import display
from trialkit.report import material_brief, material_study, material_words
from trialkit.trial import checks


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return material_study.study_material(material_trial(tmp_path_factory.mktemp("trial")))


@pytest.fixture(scope="module")
def same(tmp_path_factory):
    """A trial in which carbide insert takes as much material as plain steel."""
    folder = tmp_path_factory.mktemp("same")
    return material_study.study_material(material_trial(folder, material=ct.material(factor=1.0)))


@pytest.fixture(scope="module")
def nothing(tmp_path_factory):
    trial = checks.check_trial(write_trial(tmp_path_factory.mktemp("nothing"))).require_clean()
    return material_study.study_material(trial)


def study(folder, settings="", **tables):
    return material_study.study_material(material_trial(folder, settings, **tables))


def test_how_much_was_recorded(found):
    # by hand: 20 shifts x 20 lane-miles x 214 lb x (1 + 1.02 + 0.8 x (1.01 + 0.99)) / 4 = 38.7 short tons
    assert material_words.record_sentences(found) == [
        "20 shifts of 4 trucks in 5 storms have both material and lane-miles on record: 38.7 tons over 400 lane-miles, counted as dry "
        "material."
    ]


def test_rates_name_their_basis_and_claim_nothing(found):
    (said,) = material_words.rate_sentences(found)
    assert said.startswith(
        "Over the season it came to 216 lb with Plain steel and 171 lb with Carbide insert, per lane-mile."
    )
    assert "no finding" in said


def test_rates_per_two_lane_mile_are_twice_as_large_and_say_so(tmp_path):
    two = study(tmp_path, 'rate_basis = "two_lane_mile"\npolicy_rate_lb = 250.0')
    said = material_words.rate_sentences(two)
    assert said[0].startswith("Over the season it came to 432 lb with Plain steel and 342 lb with")
    assert "per mile of road with two lanes" in said[0]
    assert said[1] == "The town's own rate is 500 lb per mile of road with two lanes."


def test_metric_rates(tmp_path):
    metric = study(tmp_path)
    with display.showing("metric"):
        said = material_words.rate_sentences(metric)[0]
        tons = material_words.record_sentences(metric)[0]
    # 216.1 lb per lane-mile x 0.45359237 / 1.609344 (NIST SP 811)
    assert "60.9 kg with Plain steel" in said
    assert "per lane-kilometer" in said
    assert "35.1 metric tons over 644 lane-kilometers" in tons


def test_a_shown_saving_is_better(found):
    (item,) = material_words.material_findings(found)
    assert item.verdict == "better"
    assert "used 21% less material per lane-mile than Plain steel (95% interval" in item.sentence
    assert "chloride" in item.detail


def test_more_is_worse(tmp_path):
    worse = study(tmp_path, material=ct.material(factor=1.3))
    assert material_words.material_findings(worse)[0].verdict == "worse"
    season = material_words.season_findings(worse)[0]
    assert season.verdict == "worse"
    assert "Carbide insert takes" in season.sentence
    assert season.sentence.endswith("more.")


def test_not_shown_says_what_could_have_been(same):
    (item,) = material_words.material_findings(same)
    assert item.verdict == "not_shown"
    assert "would probably have been seen" in item.sentence


def test_one_truck_of_a_type_is_not_enough_data(tmp_path):
    keep = [line for line in ct.shifts().splitlines() if ",T4," not in line]
    salt = [line for line in ct.material().splitlines() if "-T4," not in line]
    few = study(
        tmp_path, shifts="\n".join(keep) + "\n", material="\n".join(salt) + "\n", operator_ratings=None
    )
    assert material_words.material_findings(few)[0].verdict == "not_enough_data"
    season = material_words.season_findings(few)[0]
    assert season.verdict == "not_enough_data"
    assert "How sure that is cannot be said." in season.sentence


def test_season_in_words_where_it_is_shown(found):
    (item,) = material_words.season_findings(found)
    assert item.sentence.startswith(
        "In a middling winter of 2,000 blade-down miles, in which Plain steel takes 108 tons of material, Carbide insert saves 22"
    )
    assert item.verdict == "better"
    assert "In money: $" in item.detail
    assert "In a light winter:" in item.detail


def test_season_in_words_where_it_is_not_shown(same):
    (item,) = material_words.season_findings(same)
    assert (
        "a saving with Carbide insert is not shown. This trial would probably have shown one of"
        in item.sentence
    )
    # made without any saving, so that the interval runs from more on the one side to less on the other
    assert re.search(r"95% interval \d+(\.\d+)? tons more to \d+(\.\d+)? tons less\)", item.detail)
    assert "the smallest saving that would probably have been shown is $" in item.detail


def test_why_there_is_no_season(tmp_path, nothing, found):
    assert "since material was not compared" in material_words.season_findings(nothing)[0].sentence
    assert "no fleet plan" in material_words.season_findings(study(tmp_path, fleet_plan=None))[0].sentence


def test_storms_in_words(found, nothing):
    said = material_words.storm_sentences(found)
    assert "4 storms of 5 lie between" in said[0]
    assert said[1].startswith("The shifts met storms of a mean index of")
    assert "harder on the index took" in said[2]
    assert material_words.storm_sentences(nothing) == [
        "How hard the storms were is not known: no storm was recorded."
    ]


def test_ratings_with_two_trucks_each_could_not_have_shown_anything(found):
    (item,) = material_words.rating_findings(found)
    assert item.verdict == "not_enough_data"
    assert "cannot be told apart: with 2 trucks" in item.sentence


def test_items_beside_the_clearing_are_told_where_a_difference_is_shown(tmp_path):
    noise = ct.ratings().replace(",clearing,", ",noise,")
    (item,) = material_words.rating_findings(study(tmp_path, operator_ratings=noise))
    assert item.sentence == "The clearing was not rated, and no difference is shown in what was."


def test_verdicts_have_one_row_for_each_question_and_type(found, nothing):
    table = material_words.verdicts(found)
    assert list(table.columns) == ["question", "edge_type", "verdict", "sentence", "rule"]
    assert list(table[c.QUESTION]) == [
        "Is less salt and other material needed?", "Are fewer passes needed?", "Are fewer hours needed?",
        "Is less snow left behind?", "Do operators rate the clearing higher?",
    ]  # fmt: skip
    assert table[c.VERDICT].iloc[0] == "better"
    assert material_words.verdicts(nothing).empty


def test_council_is_told_of_material_passes_and_a_shown_season(found, same, nothing):
    assert material_words.council_findings(found)[0].verdict == "better"
    assert any("In a middling winter" in item.sentence for item in material_words.council_findings(found))
    assert not any("In a middling winter" in item.sentence for item in material_words.council_findings(same))
    (only,) = material_words.council_findings(nothing)
    assert only.sentence == "Salt and clearing were not studied: no shift was recorded."


def test_council_without_material_hears_of_passes(tmp_path):
    bare = study(tmp_path, material=None, operator_ratings=None)
    said = [item.sentence for item in material_words.council_findings(bare)]
    assert said[0] == "Salt was not studied: no record of material spread was kept."
    assert "passes over the route" in said[1]


def test_no_word_of_safety_is_said(found):
    text = " ".join([*material_words.limits(), *material_words.method(found)])
    assert "compliant" not in text
    assert "Spread what conditions and the town's own policy ask for" in text


# ---------------------------------------------------------------- short tables
def test_differences_in_brief(found):
    table = material_brief.differences_in_brief(found.material)
    assert table[material_brief.DIFFERENCE].iloc[0].replace("\xa0", " ").startswith("21% less (")
    assert table[c.N_SHIFTS].iloc[0] == 20


def test_snow_is_told_in_hundredths_of_an_inch_or_tenths_of_a_millimeter(found):
    snow = [one for one in found.clearing if one.measure.name == "residual_snow"]
    row = material_brief.differences_in_brief(snow).iloc[0]
    assert row[material_brief.DIFFERENCE].replace("\xa0", " ").startswith("0.10 in less")
    with display.showing("metric"):
        row = material_brief.differences_in_brief(snow).iloc[0]
    assert row[material_brief.DIFFERENCE].replace("\xa0", " ").startswith("2.5 mm less")


def test_spread_in_brief_names_the_basis(found):
    table = material_brief.spread_in_brief(found)
    headings = material_brief.spread_headings(found)
    assert list(table[c.ESTIMATE])[:2] == ["216", "171"]
    assert headings[c.ESTIMATE] == "Pounds per lane-mile"


def test_season_in_brief_has_every_winter(found):
    table = material_brief.season_in_brief(found)
    assert [text.replace("\xa0", " ") for text in table["winter"]] == [
        "Light, 1,000 mi",
        "Middling, 2,000 mi",
        "Hard, 3,000 mi",
    ]
    assert set(table["shown"]) == {"yes"}
    assert table["saved_money"].str.startswith("$").all()


def test_naive_and_variants_stand_beside_the_comparison(found):
    naive, ways = material_brief.naive_in_brief(found), material_brief.variants_in_brief(found)
    assert naive[material_brief.NAIVE].iloc[0] == "21% less"
    assert set(ways[c.AGREE]) <= {"yes", "no", "–"}


def test_council_table_has_one_row_for_each_type(found):
    table = material_brief.council_in_brief(found)
    assert list(table[c.EDGE_TYPE]) == ["carbide_insert"]
    assert "Material per lane-mile" in table.columns


def test_brief_tables_of_nothing_are_empty(nothing):
    for frame in (
        material_brief.spread_in_brief(nothing), material_brief.differences_in_brief(()),
        material_brief.season_in_brief(nothing), material_brief.naive_in_brief(nothing),
        material_brief.variants_in_brief(nothing), material_brief.ratings_in_brief(nothing),
        material_brief.storms_in_brief(nothing), material_brief.council_in_brief(nothing),
    ):  # fmt: skip
        assert frame.empty
