"""A trial that is shown in metric units: figures, captions and sentences of wear, life and doubt."""

from __future__ import annotations

import re

import matplotlib.pyplot as plt
import numpy as np
import pytest
from life_trials import two_types

from trialkit import columns as c
from trialkit import display
from trialkit.report import (
    captions,
    doubt_captions,
    doubt_figures,
    doubt_study,
    doubt_words,
    figures,
    life_captions,
    life_figures,
    life_study,
    life_words,
    profile_captions,
    profile_figures,
    study,
)
from trialkit.trial.checks import check_trial

# exact by definition, NIST Special Publication 811 (2008), appendix B.8
INCH_MM, MILE_KM = 25.4, 1.609344
RATE = INCH_MM / MILE_KM
US_WORDS = re.compile(
    r"\b(mi|miles?|mileages?|inch(es)?|feet|foot|ft|mph|lbs?|pounds?|gallons?|tons?)\b|\bin/|\[in\]|\d in\b(?! all| a | the | \d+ storms)",
    re.IGNORECASE,
)


def us_words(text: str) -> list[str]:
    """Words of US units in a text, but not those of metric tons."""
    return [found[0] for found in US_WORDS.finditer(re.sub("metric ton", "", text, flags=re.IGNORECASE))]


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """Two edge types on three trucks each: rates off the middle, sets that wore out, broke or were lost, a section swap."""
    made = two_types(1.0, settings="[plan]\nrun_in_mi = 50\nno_worse_than_ratio = 1.5\n")
    for number, factor in enumerate((1.0, 1.2, 0.9), 1):
        made.carry(
            f"T{number}", "plain_steel", tuple(factor * rate for rate in (1.0, 1.3, 1.4, 1.2)), miles=(0, 60, 300, 500, 1400),
            end="remove", reason="worn_to_limit",
        )  # fmt: skip
        made.carry(
            f"C{number}", "carbide_insert", tuple(factor * rate for rate in (0.10, 0.13, 0.11, 0.10)),
            miles=(0, 60, 300, 500, 1500), end="lost" if number == 3 else "", swaps={2: "broken"} if number == 1 else None,
        )  # fmt: skip
    with display.showing("us"):
        return check_trial(made.write(tmp_path_factory.mktemp("metric") / "trial")).require_clean()


@pytest.fixture(scope="module")
def results(trial):
    with display.showing("metric"):
        rates = study.wear_rates(trial)
        return (
            rates, study.segments(trial), life_study.study_lives(trial, rates), doubt_study.doubts(trial, rates),
            study.wear_comparison(trial, rates),
        )  # fmt: skip


# ---------------------------------------------------------------- figures
def drawings(results):
    """Each figure with the words that belong to it, and the factors of its two axes."""
    rates, readings, lives, doubt, _ = results
    seen = (lives.projection, lives.observed)
    return {
        "wear_rates": (lambda: figures.wear_rates(rates), lambda: captions.wear_rates(rates), RATE, 1),
        "heights": (
            lambda: figures.heights(rates, readings), lambda: captions.heights(rates, readings), MILE_KM, INCH_MM,
        ),
        "lives": (lambda: life_figures.lives(*seen), lambda: life_captions.lives(*seen), MILE_KM, 1),
        "predicted": (
            lambda: life_figures.predicted(lives.check), lambda: life_captions.predicted(lives.check), MILE_KM, 1,
        ),
        "profiles": (
            lambda: profile_figures.profiles(lives.profiles), lambda: profile_captions.profiles(lives.profiles), 1, 1,
        ),
        "unevenness": (
            lambda: profile_figures.unevenness(lives.evenness), lambda: profile_captions.unevenness(lives.evenness), RATE, 1,
        ),
        "truck_wear": (
            lambda: doubt_figures.truck_wear(rates, readings), lambda: doubt_captions.truck_wear(rates, readings), MILE_KM,
            INCH_MM,
        ),
        "residuals": (
            lambda: doubt_figures.residuals(doubt.apart), lambda: doubt_captions.residuals(doubt.apart), MILE_KM, 1,
        ),
        "board": (lambda: doubt_figures.board(doubt.board), lambda: doubt_captions.board(doubt.board), 1, 1),
    }  # fmt: skip


def marks(drawn):
    """Coordinates of everything that is drawn by data, and every text of the figure."""
    figure = np.atleast_1d(drawn).ravel()[0].get_figure()
    points, texts = [], [text.get_text() for text in figure.findobj(plt.Text)]
    for panel in figure.axes:
        points += [line.get_xydata() for line in panel.lines if line.get_transform() == panel.transData]
        points += [part for lines in panel.collections for part in getattr(lines, "get_segments", list)()]
        points += [np.array([[bar.get_x(), bar.get_y()], [bar.get_x() + bar.get_width(), bar.get_y()]])
                   for bar in panel.patches if hasattr(bar, "get_width")]  # fmt: skip
    plt.close(figure)
    return np.concatenate(points), texts


@pytest.mark.parametrize(
    "name",
    [
        "wear_rates",
        "heights",
        "lives",
        "predicted",
        "profiles",
        "unevenness",
        "truck_wear",
        "residuals",
        "board",
    ],
)
def test_a_figure_is_drawn_and_told_in_metric_units(results, name):
    draw, tell, across, up = drawings(results)[name]
    with display.showing("us"):
        points, _ = marks(draw())
    with display.showing("metric"):
        shown, texts = marks(draw())
        words = tell()
    assert len(points) > 5
    np.testing.assert_allclose(shown, points * [across, up], rtol=1e-9, atol=1e-9)
    said = "\n".join([*texts, words["caption"], words["alt"]])
    assert us_words(said) == []
    wanted = {MILE_KM: "kilometers", RATE: "mm"}.get(across, "")
    assert wanted in said and ("[mm]" in said) == (up == INCH_MM)


# ---------------------------------------------------------------- words
def test_no_sentence_method_or_note_speaks_of_us_units(results):
    rates, _, lives, doubt, compared = results
    analyses = [
        rates, compared, lives.projection, lives.compared, lives.margin, lives.observed, lives.check, lives.evenness,
        lives.profiles, lives.left, doubt.cross, doubt.board, doubt.bend, doubt.run_in, doubt.apart, doubt.shares,
    ]  # fmt: skip
    with display.showing("metric"):
        said = [text for one in analyses for text in (one.sentence(), one.method, *one.notes)]
        said += [
            *life_words.how_long(lives), *life_words.how_many_times(lives), *life_words.what_broke(lives),
            *life_words.limits(lives), *doubt_words.run_in(doubt),
        ]  # fmt: skip
        tables = [doubt_words.board(doubt), doubt_words.crosscheck(doubt), doubt_words.bend(doubt)]
    said += [table.plain() for table in tables]
    assert {text: us_words(text) for text in said if us_words(text)} == {}


def test_a_wear_rate_in_words(tmp_path):
    made = two_types().carry("T1", "plain_steel", (1.0, 1.0)).carry("C1", "carbide_insert", (0.1, 0.1))
    rates = study.wear_rates(check_trial(made.write(tmp_path / "trial")).require_clean())
    # by hand: 1 in per 1,000 mi is 25.4 mm per 1,609.344 km, 15.78 mm per 1,000 km
    with display.showing("metric"):
        assert "plain steel wore 15.8 mm per 1,000 blade-down kilometers (1 truck;" in rates.sentence()
    assert "plain steel wore 1.00 in per 1,000 blade-down miles (1 truck;" in rates.sentence()


def test_a_life_in_words(results):
    lives = results[2]
    row = lives.projection.table.set_index(c.EDGE_TYPE).loc["carbide_insert"]
    with display.showing("metric"):
        said = lives.projection.sentences()[1]
        broke = next(one for one in lives.observed.sentences() if "carbide insert" in one and "lost" in one)
        depth = life_words.depth_matters(lives)[0]
    found = [float(number.replace(",", "")) for number in re.findall(r"[\d,]*\d(?:\.\d+)?", said)]
    assert "kilometers (95% interval" in said
    assert found[0] == pytest.approx(row[c.ESTIMATE] * MILE_KM, rel=0.05)
    # by hand: sets of carbide insert ran 2 x 1,500 mi and 1 x 1,500 mi, 4,500 mi or 7,242 km; one lost, 1 / 7.242
    assert "in 7,242 kilometers with 3 sets: 0.1" in broke
    # by hand: 1.0 in is 25.4 mm, 2.0 in is 50.8 mm; to two digits
    assert "of which 25 mm may wear off against 51 mm of plain steel" in depth


def test_running_in_is_said_in_kilometers(results):
    doubt = results[3]
    # by hand: 50 mi is 80.4672 km, 100 mi is 160.93 km
    with display.showing("metric"):
        assert "first 80.5 kilometers after" in doubt_words.run_in(doubt)[0]
    assert "161 kilometers left out as running-in" in set(doubt.board.table[c.VARIANT])
