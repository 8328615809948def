"""The lives of edges as blocks of a report.

Answers: what stands in this place of the report, whatever the trial has to show?

Each call returns one block. Where there is nothing to show it says so in a sentence, so that a notebook needs no condition
and a report no empty table.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd

from trialkit import display
from trialkit.report import blocks, life_captions, life_figures, life_words, profile_captions, profile_figures
from trialkit.report.captions import FigureWords
from trialkit.report.life_study import LifeStudy

LONG_TITLE = "Lives in words"
TIMES_TITLE = "Lives compared in words"
BROKE_TITLE = "Breaks and losses in words"
PROJECTED_TITLE = "Projected and seen, in words"
EVEN_TITLE = "Uneven wear in words"
AWAY_TITLE = "What was thrown away, in words"
LIMITS_TITLE = "What a projected life does not say"
CAVEATS_TITLE = "Small print of the lives"
LIVES_CAPTION = "Life of each edge type to its discard limit, and range for the next set"
RATIOS_CAPTION = "How many times as long as the reference each edge type lasts"
EVENTS_CAPTION = "How often sets and sections wore out, broke or were lost"
LEFT_CAPTION = "Usable depth thrown away when sets and sections came off"
EVEN_CAPTION = "Growth of the differences across the blade"
NOTHING_COMPARED = "There is no comparison of lives to show."
NOTHING_JUDGED = (
    "No set can be set against the projection of other trucks: that takes three trucks with a wear rate."
)
NOTHING_OFF = "No set or section came off as worn or broken, so nothing was thrown away."
NOTHING_ACROSS = "No set was read at two stations, so wear across the blade was not studied."
NOTHING_TWICE = "No set was read twice, so there is no profile to show."
NOTHING_SEEN = "No set ran any known miles, so nothing was seen to wear out or break."
NO_RATE = "No set has two readings at different miles, so no life can be projected."


# ---------------------------------------------------------------- how long
def how_long(lives: LifeStudy) -> blocks.Block:
    """How long a set of each type lasts, in words."""
    return blocks.findings(life_words.how_long(lives), title=LONG_TITLE)


def lives_figure(lives: LifeStudy) -> blocks.Block:
    """Mean lives, ranges for the next set, and the sets of the trial."""
    nothing = lives.projection.table.empty and lives.observed.lives.empty
    return _figure(
        nothing, NO_RATE, life_figures.lives, life_captions.lives, lives.projection, lives.observed
    )


def lives_table(lives: LifeStudy) -> blocks.Block:
    """Mean lives and ranges for the next set."""
    frame = life_words.lives_in_brief(lives)
    return _table(lives, frame, LIVES_CAPTION, life_words.LIVES_HEADINGS, NO_RATE, [life_words.LIVES_NOTE])


# ---------------------------------------------------------------- how many times as long
def how_many_times(lives: LifeStudy) -> blocks.Block:
    """How many times as long as the reference, in words."""
    return blocks.findings(
        [*life_words.compared(lives), *life_words.margin_findings(lives)], title=TIMES_TITLE
    )


def ratios_figure(lives: LifeStudy) -> blocks.Block:
    """Ratios of lives with their intervals."""
    drawn, nothing = lives.compared, lives.compared.table.empty
    return _figure(nothing, NOTHING_COMPARED, life_figures.life_ratios, life_captions.life_ratios, drawn)


def ratios_table(lives: LifeStudy) -> blocks.Block:
    """Ratios of lives."""
    frame = life_words.ratios_in_brief(lives)
    return _table(lives, frame, RATIOS_CAPTION, life_words.RATIOS_HEADINGS, NOTHING_COMPARED)


# ---------------------------------------------------------------- what was seen
def what_broke(lives: LifeStudy) -> blocks.Block:
    """Breaks and losses, in words."""
    return blocks.findings(life_words.what_broke(lives), title=BROKE_TITLE)


def events_table(lives: LifeStudy) -> blocks.Block:
    """How often sets and sections wore out, broke or were lost."""
    frame = life_words.events_in_brief(lives)
    notes = life_words.events_notes(lives)
    return _table(lives, frame, EVENTS_CAPTION, life_words.EVENTS_HEADINGS, NOTHING_SEEN, notes)


def as_projected(lives: LifeStudy) -> blocks.Block:
    """Whether sets lasted as projected, in words."""
    return blocks.findings(life_words.as_projected(lives), title=PROJECTED_TITLE)


def predicted_figure(lives: LifeStudy) -> blocks.Block:
    """Lives of sets against what the other trucks had projected."""
    drawn, nothing = lives.check, lives.check.table.empty
    return _figure(
        nothing, NOTHING_JUDGED, life_figures.predicted, life_captions.predicted, drawn, labels=lives.labels
    )


# ---------------------------------------------------------------- across the blade
def profiles_figure(lives: LifeStudy) -> blocks.Block:
    """Profiles across the blade as the miles add up."""
    drawn, nothing = lives.profiles, lives.profiles.table.empty
    return _figure(nothing, NOTHING_TWICE, profile_figures.profiles, profile_captions.profiles, drawn)


def evenness(lives: LifeStudy) -> blocks.Block:
    """How unevenly edges wear, in words."""
    return blocks.findings(life_words.evenness(lives), title=EVEN_TITLE)


def evenness_figure(lives: LifeStudy) -> blocks.Block:
    """How fast the thinnest and the thickest spot grow apart."""
    drawn, nothing = lives.evenness, lives.evenness.table.empty
    return _figure(nothing, NOTHING_ACROSS, profile_figures.unevenness, profile_captions.unevenness, drawn)


def evenness_table(lives: LifeStudy) -> blocks.Block:
    """Range, tilt and bow of each edge type."""
    frame = life_words.evenness_in_brief(lives)
    return _table(lives, frame, EVEN_CAPTION, life_words.EVENNESS_HEADINGS, NOTHING_ACROSS)


def thrown_away(lives: LifeStudy) -> blocks.Block:
    """What was thrown away, in words."""
    return blocks.findings(life_words.thrown_away(lives), title=AWAY_TITLE)


def left_table(lives: LifeStudy) -> blocks.Block:
    """Usable depth thrown away."""
    frame = life_words.left_in_brief(lives)
    return _table(lives, frame, LEFT_CAPTION, life_words.LEFT_HEADINGS, NOTHING_OFF)


# ---------------------------------------------------------------- what to keep in mind
def limits(lives: LifeStudy) -> blocks.Block:
    """What a projected life does not say."""
    return blocks.notes(life_words.limits(lives), title=LIMITS_TITLE)


def caveats(lives: LifeStudy) -> blocks.Block:
    """What the analyses ask to be kept in mind."""
    return blocks.notes(life_words.caveats(lives), title=CAVEATS_TITLE)


def method(lives: LifeStudy) -> blocks.Block:
    """How it was worked out."""
    return blocks.text(*life_words.method(lives))


def _figure(
    nothing: bool,
    otherwise: str,
    draw: Callable[..., Any],
    tell: Callable[..., FigureWords],
    *results: Any,
    **options: Any,
) -> blocks.Block:
    """A figure of results with its words, or the sentence that there is nothing to draw."""
    if nothing:
        return blocks.text(display.words(otherwise))
    return blocks.figure(draw(*results, **options), **tell(*results, **options))


def _table(
    lives: LifeStudy,
    frame: pd.DataFrame,
    caption: str,
    headings: dict[str, str],
    otherwise: str,
    notes: Sequence[str] = (),
) -> blocks.Block:
    if frame.empty:
        return blocks.text(display.words(otherwise))
    return blocks.table(
        frame, caption, labels=lives.labels, headings=headings, confidence_level=lives.confidence_level, notes=notes,
    )  # fmt: skip
