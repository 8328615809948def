"""The decision as blocks of a report.

Answers: what stands under recommended action, alternatives, fiscal impact, questions and verdicts?

Each call returns one block. Where there is nothing to show it says so in a sentence.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from trialkit import columns as c
from trialkit import display, verdicts
from trialkit.money.without_trucks import WithoutTrucks
from trialkit.report import blocks, cost_words, fiscal_words, prose, question_words
from trialkit.report.cost_study import CostStudy
from trialkit.report.noise_study import NoiseStudy

ACTION_TITLE = "Recommended action"
ALTERNATIVES_CAPTION = "Alternatives"
WEIGHED_CAPTION = "The alternatives weighed"
FISCAL_CAPTION = "Fiscal impact; what stands in brackets is for staff to fill in"
VERDICTS_CAPTION = "Every verdict"
NO_ALTERNATIVES = "No alternatives can be costed: no miles are planned, or a cost is not known."
NO_VERDICTS = "There is no edge type to judge."


def alternatives_table(found: CostStudy, *, brief: bool = False) -> blocks.Block:
    """What a council can choose between, in money; in brief with fewer notes."""
    frame, headings = fiscal_words.alternatives_in_brief(found)
    if frame.empty:
        return blocks.text(cost_words.nothing(found) or NO_ALTERNATIVES)
    notes = fiscal_words.alternative_notes(found, brief=brief)
    return blocks.table(frame, ALTERNATIVES_CAPTION, headings=headings, notes=notes)


def weighed_table(found: CostStudy) -> blocks.Block:
    """The risk of each alternative, and what is not known."""
    frame, headings = fiscal_words.alternatives_weighed(found)
    if frame.empty:
        return blocks.text(cost_words.nothing(found) or NO_ALTERNATIVES)
    return blocks.table(frame, WEIGHED_CAPTION, headings=headings)


def fiscal_table(found: CostStudy, *, brief: bool = False) -> blocks.Block:
    """One-time and recurring cost, next season's order, and the cost of doing nothing; in brief without what each rests on."""
    frame = fiscal_words.fiscal_impact(found, brief=brief)
    if frame.empty:
        return blocks.text(cost_words.nothing(found) or cost_words.NO_PLAN)
    frame = frame.drop(columns=fiscal_words.BASIS_TEXT) if brief else frame
    notes = fiscal_words.fiscal_notes(found, brief=brief)
    return blocks.table(frame, FISCAL_CAPTION, headings=fiscal_words.FISCAL_HEADINGS, notes=notes)


def questions(
    found: CostStudy,
    noise: NoiseStudy | None = None,
    salt: Sequence[str | blocks.Finding] = (),
    without: WithoutTrucks | None = None,
) -> blocks.Block:
    """Questions a member may ask, each a paragraph with its answer."""
    asked = question_words.questions(found, noise, salt, without)
    paragraphs = [
        (prose.Run(text=one.question, bold=True), *prose.literal(f" {one.answer}")) for one in asked
    ]
    return blocks.Text(paragraphs=tuple(paragraphs))


def verdicts_table(found: CostStudy, table: pd.DataFrame) -> blocks.Block:
    """Every verdict with its sentence; the rules stand in verdicts.csv.

    Parameters
    ----------
    found : CostStudy
        For the names of the edge types.
    table : DataFrame
        From `verdict_table.verdicts`.
    """
    if table.empty:
        return blocks.text(cost_words.nothing(found) or NO_VERDICTS)
    shown = table[[c.QUESTION, c.EDGE_TYPE, c.VERDICT, c.SENTENCE]]
    asked, told = shown[c.QUESTION].map(display.words), shown[c.VERDICT].map(verdicts.words)
    shown = shown.assign(**{c.QUESTION: asked, c.VERDICT: told})
    return blocks.table(shown, VERDICTS_CAPTION, labels=found.labels)
