"""The commented trial.toml: it holds every setting, says what each means, and means what the defaults mean."""

import datetime as dt
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.field.settings_text import settings_text, toml_value
from trialkit.settings import Settings, check_settings, section_of

NEEDED = {
    "trial_id": "north_2031", "title": "A title", "agency": "Town", "season": "2030-31", "reference_edge_type": "plain_steel",
}  # fmt: skip


def names(section=Settings, prefix=""):
    for name, field in section.model_fields.items():
        inner = section_of(field.annotation)
        yield name, field.description or ""
        if inner is not None:
            yield from names(inner)


def test_the_defaults_that_stand_in_it_are_the_defaults():
    settings, problems = check_settings(tomllib.loads(settings_text(NEEDED)))
    assert problems == []
    assert settings == Settings(**NEEDED)


def test_blank_settings_are_asked_for_and_nothing_else_is_wrong():
    raw = tomllib.loads(settings_text({"trial_id": "x", "title": "y"}))
    _, problems = check_settings(raw)
    assert [problem.column for problem in problems] == ["agency", "season", "reference_edge_type"]
    assert all(problem.found == '""' for problem in problems)
    assert problems[0].allowed.startswith("who runs the trial")


@pytest.mark.parametrize(("name", "about"), list(names()), ids=lambda value: value[:30])
def test_every_setting_is_there_with_its_meaning(name, about):
    text = settings_text()
    assert f"{name} =" in text or f"[{name}]" in text or f".{name}]]" in text
    in_one_line = " ".join(text.replace("#", " ").split())
    assert " ".join(about.split()) in in_one_line


def test_what_must_be_given_says_so():
    lines = settings_text().splitlines()
    place = lines.index('agency = ""')
    assert lines[place - 1] == "# who runs the trial; must be given"


def test_lines_are_short_enough_to_read():
    assert max(map(len, settings_text(NEEDED).splitlines())) <= 120


@given(st.text(max_size=60))
def test_any_text_is_read_back_as_it_was(text):
    assert tomllib.loads(f"a = {toml_value(text)}") == {"a": text}


@pytest.mark.parametrize(
    "value",
    [
        True,
        7,
        0.25,
        [0.5, 1.0],
        {"a": 1, "b c": [True]},
        dt.date(2031, 1, 14),
        dt.datetime(2031, 1, 14, 5, 30),
    ],
)
def test_other_values_are_read_back_as_they_were(value):
    assert tomllib.loads(f"a = {toml_value(value)}") == {"a": value}
