"""The sections of the council report, each as a list of blocks.

Answers: what stands in each section, whatever the trial has to show?

A section takes what was worked out (`council_study.Studies`) and gives its blocks in order; the notebook shows them. Where
there is nothing to show the section says so.
"""

from __future__ import annotations

from trialkit import columns as c
from trialkit.money.costs import EDGES_ALONE
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
    noise_words,
)
from trialkit.report.changes import Changes
from trialkit.report.cost_study import CostStudy
from trialkit.report.council_study import Studies
from trialkit.trial.checks import Checked, Trial

CHANGED_TITLE = "What changed since the last report"
TRUST_TITLE = "How far the findings can be trusted"
QUALITY_TITLE = "Quality of the data"
METHOD_TITLE = "How it was worked out"


def answer(trial: Trial, found: Studies) -> list[blocks.Block]:
    """The head of the report and the finding in plain words."""
    return [council.title(trial), blocks.findings(front(found), title=council.FINDING_TITLE)]


def front(found: Studies) -> list[blocks.Finding]:
    """The answer in plain words, what was to decide first, and what it all rests on."""
    cost, life = (
        cost_findings(found.cost),
        [*life_words.findings(found.lives), *life_words.margin_findings(found.lives)],
    )
    decides = found.cost.verdicts is not None and found.cost.verdicts.rule.primary_measure == "cost"
    return [
        *([*cost, *life] if decides else [*life, *cost]),
        *noise_words.front_findings(found.noise),
        blocks.Finding(sentence=council.basis(found.lives)),
    ]


def cost_findings(cost: CostStudy) -> list[blocks.Finding]:
    """What the agreed rule says of the cost of each edge type."""
    if cost.verdicts is None:
        return []
    rows = cost.verdicts.table[cost.verdicts.table[c.BASIS] == EDGES_ALONE]
    return [
        blocks.Finding(sentence=sentence, verdict=verdict)
        for sentence, verdict in zip(rows[c.SENTENCE], rows[c.VERDICT], strict=True)
    ]


def tried(trial: Trial, found: Studies) -> list[blocks.Block]:
    """What was tried, as facts."""
    facts = council.tried(trial, found.rates)
    return [blocks.table(facts, council.TRIED_CAPTION, headings=council.FACT_HEADINGS)]


def wear_and_life(found: Studies) -> list[blocks.Block]:
    """How long the edges last, how fast they wear, what breaks, and what is thrown away."""
    rates, lives = found.rates, found.lives
    return [
        blocks.text(*life_words.how_long(lives), *life_words.depth_matters(lives)),
        life_sections.lives_table(lives),
        life_sections.ratios_table(lives),
        blocks.table(
            council.rates_in_brief(rates),
            council.RATES_CAPTION,
            headings={c.ESTIMATE: "Wear rate"},
            labels=rates.labels,
            confidence_level=rates.confidence_level,
        ),
        blocks.text(
            *life_words.what_broke(lives), *life_words.evenness(lives), *life_words.thrown_away(lives)
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
