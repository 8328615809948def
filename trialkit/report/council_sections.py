"""The sections of the council report, each as a list of blocks.

Answers: what stands in each section, whatever the trial has to show?

A section takes what was worked out (`council_study.Studies`) and gives its blocks in order; the notebook shows them. Where
there is nothing to show the section says so.
"""

from __future__ import annotations

from trialkit.report import (
    blocks,
    captions,
    changes_sections,
    council,
    doubt_words,
    figures,
    life_sections,
    life_words,
    noise_sections,
)
from trialkit.report.changes import Changes
from trialkit.report.council_study import Studies
from trialkit.trial.checks import Checked, Trial

CHANGED_TITLE = "What changed since the last report"
TRUST_TITLE = "How far the findings can be trusted"
QUALITY_TITLE = "Quality of the data"
METHOD_TITLE = "How it was worked out"


def answer(trial: Trial, found: Studies) -> list[blocks.Block]:
    """The head of the report and the finding in plain words."""
    finding = blocks.findings(council.finding(found.lives, found.noise), title=council.FINDING_TITLE)
    return [council.title(trial), finding]


def tried(trial: Trial, found: Studies) -> list[blocks.Block]:
    """What was tried, as facts."""
    facts = council.tried(trial, found.rates)
    return [blocks.table(facts, council.TRIED_CAPTION, headings=council.FACT_HEADINGS)]


def wear_and_life(found: Studies) -> list[blocks.Block]:
    """How long the edges last, how fast they wear, and what breaks."""
    rates = found.rates
    return [
        blocks.text(*life_words.how_many_times(found.lives)),
        life_sections.lives_table(found.lives),
        life_sections.ratios_table(found.lives),
        life_sections.events_table(found.lives),
        blocks.table(
            council.rates_in_brief(rates),
            council.RATES_CAPTION,
            labels=rates.labels,
            confidence_level=rates.confidence_level,
        ),
    ]


def wear_figure(found: Studies) -> blocks.Block:
    """The wear rates with their intervals."""
    return blocks.figure(figures.wear_rates(found.rates), **captions.wear_rates(found.rates))


def noise(found: Studies) -> list[blocks.Block]:
    """Noise and shaking in the cab."""
    return [
        noise_sections.council(found.noise, found.shaking),
        noise_sections.council_table(found.noise),
        noise_sections.council_notes(found.noise, found.shaking),
    ]


def appendix(trial: Trial, found: Studies, changed: Changes | None, checked: Checked) -> list[blocks.Block]:
    """What changed, how far the findings can be trusted, the quality of the data, and the method."""
    return [
        blocks.heading(CHANGED_TITLE),
        changes_sections.what_changed(changed),
        *([] if changed is None else _change_tables(changed)),
        blocks.heading(TRUST_TITLE),
        blocks.text(*council.trust(found.doubt)),
        *([] if found.doubt.winters is None else doubt_words.winters(found.doubt)),
        blocks.heading(QUALITY_TITLE),
        blocks.problems(checked.problems),
        council.exclusions(trial),
        council.exclusion_effect(trial),
        blocks.heading(METHOD_TITLE),
        blocks.text(*council.method(found.rates, found.compared), *life_words.method(found.lives)),
        blocks.notes(council.small_print(found), title=council.CAVEATS_TITLE),
    ]


def _change_tables(changed: Changes) -> list[blocks.Block]:
    return [
        changes_sections.estimates_table(changed),
        changes_sections.forecast_table(changed),
        changes_sections.rows_table(changed),
    ]
