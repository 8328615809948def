"""What is said about lives: every sentence that depends on the trial, with its numbers."""

from __future__ import annotations

import pytest
from life_trials import Made, two_types

from trialkit import columns as c
from trialkit.report import cells, life_study, life_words
from trialkit.trial.checks import check_trial

STEEL, INSERT = (1.0, 1.2, 1.4), (0.10, 0.12, 0.11)
FACTORS = (1.0, 1.2, 0.9)


def both_types(made=None, **ends):
    made = made or two_types()
    for number, factor in enumerate(FACTORS, 1):
        made.carry(f"T{number}", "plain_steel", tuple(factor * rate for rate in STEEL), **ends)
        made.carry(f"C{number}", "carbide_insert", tuple(factor * rate for rate in INSERT))
    return made


def lives_of(made, folder):
    return life_study.study_lives(check_trial(made.write(folder)).require_clean())


@pytest.fixture(scope="module")
def lives(tmp_path_factory):
    return lives_of(both_types(), tmp_path_factory.mktemp("words"))


def test_how_long_says_what_the_range_for_the_next_set_is(lives):
    said = life_words.how_long(lives)
    assert len(said) == 4
    assert said[0].startswith("On the front plow, a set of plain steel lasts 1,380 miles (95% interval ")
    assert said[-2] == life_words.next_set(0.95)
    assert "one more truck in 95% of cases" in said[-2]
    assert said[-1] == (
        "The sets of the trial themselves, in miles: plain steel, none worn out by 400; carbide insert, none worn out by 400."
    )
    assert "in 90% of cases" in life_words.next_set(0.9)


def test_no_range_no_word_about_it(tmp_path):
    made = two_types().carry("T1", "plain_steel", STEEL).carry("T2", "carbide_insert", INSERT)
    said = life_words.how_long(lives_of(made, tmp_path))
    assert said == [
        "On the front plow, a set of plain steel is projected to last 1,430 miles (1 truck; no interval).",
        "On the front plow, a set of carbide insert is projected to last 8,330 miles (1 truck; no interval).",
    ]


def test_the_ratio_of_wear_rates_stands_beside_that_of_lives(lives):
    (said,) = life_words.depth_matters(lives)
    # known truth: mean wear 1.24 against 0.1137 in per 1,000 miles; lives 1,383 against 8,065 miles
    assert said == (
        "The ratio of lives is not that of wear rates, because usable depths differ. By the best estimates carbide insert, of which "
        "1.0 in may wear off against 2.0 in of plain steel, wears 11 times slower and lasts 5.8 times as long."
    )


def test_equal_depths_need_no_such_word(tmp_path):
    assert life_words.depth_matters(lives_of(both_types(two_types(depth=2.0)), tmp_path)) == []


def test_a_margin_is_told_with_the_ratios(tmp_path):
    lives = lives_of(both_types(two_types(settings="[plan]\nno_worse_than_ratio = 1.25\n")), tmp_path)
    assert life_words.how_many_times(lives)[-1].startswith(
        "Carbide insert is shown to last no worse than plain steel"
    )
    assert any("The margin of 1.25 was taken from trial.toml" in said for said in life_words.limits(lives))
    assert any("fewer than 1.25 times as many sets" in said for said in life_words.method(lives))


def test_a_margin_that_could_not_be_tested_is_told(tmp_path):
    made = two_types(settings="[plan]\nno_worse_than_ratio = 1.25\n").carry("T1", "plain_steel", STEEL)
    assert "The margin in trial.toml could not be tested." in life_words.limits(lives_of(made, tmp_path))


def test_no_break_is_a_bound(lives):
    said = life_words.what_broke(lives)
    # published: 3.00 over the miles (Hanley and Lippman-Hand 1983, "rule of three", from memory), here 1,200 miles
    assert said[0] == (
        "On the front plow, no set of plain steel broke or was lost in 1,200 miles with 3 sets: at most 2.5 per 1,000 miles (95% bound)."
    )
    assert said[-1].startswith("No break seen is not a rate of zero")
    table = life_words.events_in_brief(lives)
    columns, _, texts, _ = cells.lay_out(table, headings=life_words.EVENTS_HEADINGS, confidence_level=0.95)
    shown = dict(zip([column.heading for column in columns], texts[0], strict=True))
    assert "upper_bound" not in table and "At most, as none was seen" not in shown
    assert shown["95% interval"] == "at most 2.5"
    assert life_words.events_notes(lives) == [
        "Where nothing happened the rate is at most the one-sided 95% bound."
    ]
    assert set(table["cause"]) == {"worn out", "broken or lost"}


def test_breaks_are_counted(tmp_path):
    lives = lives_of(both_types(end="break", reason="curb_strike"), tmp_path)
    assert life_words.what_broke(lives)[0].startswith(
        "On the front plow, 3 sets of plain steel broke or were lost in 1,200 miles"
    )
    table = life_words.events_in_brief(lives)
    broken = table[(table[c.EDGE_TYPE] == "plain_steel") & (table["cause"] == "broken or lost")].iloc[0]
    assert broken["events"] == 3 and 0 < broken[c.CONF_LOW] < broken[c.CONF_HIGH]


def test_sets_that_came_off_early_are_named(tmp_path):
    made = two_types()
    for number, factor in enumerate((1.0, 1.01, 0.99, 1.0), 1):
        end = {"end": "remove", "reason": "worn_to_limit"} if number == 1 else {}
        made.carry(f"T{number}", "plain_steel", tuple(factor * rate for rate in STEEL), **end)
    said = life_words.as_projected(lives_of(made, tmp_path))
    assert (
        said[0]
        == "Of 1 set that can be judged, 0 lasted as long as projected from the other trucks, 1 less and 0 more."
    )
    # known truth: 0.56 of 2 in used at the thinnest spot
    assert said[-1] == (
        "Of the sets that lasted less, plain_steel-T1-front-0 (72%) came off with some of its usable depth left even at the thinnest "
        "spot, so it was the shop that ended the life, not the limit."
    )


def test_sections_are_said_to_have_no_end(tmp_path):
    made = (
        Made()
        .edge_type("plain_steel", "plain steel")
        .edge_type("segments", "segmented carbide", 1.0, "section")
    )
    for number, factor in enumerate(FACTORS, 1):
        made.carry(f"T{number}", "plain_steel", tuple(factor * rate for rate in STEEL))
        made.carry(
            f"C{number}", "segments", tuple(factor * rate for rate in INSERT), swaps={2: "worn_to_limit"}
        )
    lives = lives_of(made, tmp_path)
    assert any(
        "The life of segmented carbide is that of a section at its place" in said
        for said in life_words.limits(lives)
    )
    assert any("a section of segmented carbide lasts" in said for said in life_words.how_long(lives))
    assert "section worn out" in set(life_words.events_in_brief(lives)["cause"])
    assert life_words.left_in_brief(lives)["piece"].tolist() == ["section"]


def test_council_is_told_lives_and_ratios(lives):
    assert life_words.for_the_council(lives) == [
        *lives.projection.sentences(),
        *life_words.how_many_times(lives),
    ]


def test_caveats_are_said_once_and_methods_once_each(lives):
    said = life_words.caveats(lives)
    assert len(said) == len(set(said))
    assert any(
        note.startswith("Plain steel on the front plow: the deepest wear read is 34% of the usable depth")
        for note in said
    )
    assert len(life_words.method(lives)) == 6


def test_short_tables(lives):
    assert life_words.lives_in_brief(lives)[c.EDGE_TYPE].tolist() == ["plain_steel", "carbide_insert"]
    evenness = life_words.evenness_in_brief(lives)
    assert evenness[c.TERM].tolist() == [*life_words.TERM_WORDS.values()] * 2
    assert evenness[c.EDGE_TYPE].tolist() == ["plain_steel"] * 3 + ["carbide_insert"] * 3
    assert life_words.left_in_brief(lives).empty
    assert life_words.ratios_in_brief(lives)[c.REFERENCE].tolist() == ["plain_steel"]


def test_uneven_wear_is_a_reason_only_for_worn_sets(tmp_path):
    worn = life_words.left_in_brief(
        lives_of(both_types(end="remove", reason="worn_to_limit"), tmp_path / "worn")
    )
    broken = life_words.left_in_brief(lives_of(both_types(end="break", reason="broken"), tmp_path / "broken"))
    assert worn["uneven_pct"].notna().all() and broken["uneven_pct"].isna().all()


def test_the_range_for_the_next_set_says_its_level_in_full():
    assert "one more truck in 99.9% of cases" in life_words.next_set(0.999)
