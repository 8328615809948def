"""The plan of a trial as blocks of a document.

Answers: what stands in this place of the plan, whatever is known before the season?

Each call returns one block. Where there is nothing to show it says so in a sentence, so that a notebook needs no condition.
"""

from __future__ import annotations

import platform

import pandas as pd

from trialkit import __version__, cautions
from trialkit import columns as c
from trialkit.report import blocks, plan_captions, plan_figures, plan_study, plan_words
from trialkit.report.plan_study import TrialPlan
from trialkit.settings import FILE_NAME
from trialkit.trial.unstarted import ALSO_PLANNED_FROM, PLANNED_FROM

SUBTITLE = "Plan of the cutting edge trial"
BRIEF_TITLE = "The plan in brief"
SIZE_TITLE = "What this trial can show"
READING_TITLE = "How far off a reading is"
DRAW_TITLE = "How it was drawn"
FORCED_TITLE = "Not left to chance"
OPEN_TITLE = "Still open"
LIMITS_TITLE = "What a plan does not say"
CAUTIONS_TITLE = "Before anyone reaches under a plow"
RULES_CAPTION = "What was agreed before the season"
LOOKS_CAPTION = "Planned looks, and what a difference must reach at each"
LOOK_NOTES = (
    "Between the looks nothing is decided: results that are read again and again show differences that are not there.",
    "At each look the report judges by that limit and draws its intervals to match. Before the final look it shows what it finds and "
    "buys nothing.",
)
GAUGE_CAPTION = "Where the spread of the readings comes from (standard deviations)"
NO_GAUGE = "There is no gauge study to show."
HOW_TO_STUDY = (
    "For a gauge study two or three people each read five to ten worn pieces three times, in mixed order and without seeing the "
    "earlier readings, with the tool that will be used in the season; the readings go into gauge_readings."
)
NO_LOOKS = "No look is planned before the end of the season; what is seen on the way decides nothing."
NO_START = "The looks get their limits once the first day of the season is known."
SIZES_CAPTION = "Smallest difference that a trial of some size shows"
ASSUMED_CAPTION = "What the size of the trial rests on"
ASSIGNED_CAPTION = "Which edge type each plow carries"
BALANCE_CAPTION = "What chance made of it: the plows of each edge type"
TASKS_CAPTION = "Who measures what, and when"
SIGN_CAPTION = "Signed before the first set is put on"
MADE_FROM_CAPTION = "What this plan was made from"
NOTHING_FORCED = "Every plow was left to chance."
NOTHING_OPEN = "Nothing that a plan needs is missing."
NOTHING_KNOWN = "Nothing is known of the plows beside their numbers, so chance cannot be looked over."


def title(plan: TrialPlan) -> blocks.Block:
    """The head of the plan."""
    settings = plan.trial.settings
    try:
        last = plan.trial.last_data_date
    except ValueError:  # nothing has happened yet
        last = None
    return blocks.meta(
        settings.title, agency=settings.agency, season=settings.season, date=last, subtitle=SUBTITLE
    )


def in_brief(plan: TrialPlan) -> blocks.Block:
    """What is to be read first."""
    return blocks.findings(plan_words.in_brief(plan), title=BRIEF_TITLE)


def still_open(plan: TrialPlan) -> blocks.Block:
    """What a good plan would have and this one has not."""
    found = plan_words.still_open(plan)
    return blocks.notes(found, title=OPEN_TITLE) if found else blocks.text(NOTHING_OPEN)


# ---------------------------------------------------------------- rules
def rules(plan: TrialPlan) -> blocks.Block:
    """What was agreed."""
    return blocks.table(plan_words.rules(plan), RULES_CAPTION, headings=plan_words.RULE_HEADINGS)


def looks_table(plan: TrialPlan) -> blocks.Block:
    """When the results are looked at, and what a difference must reach."""
    if not plan.agreed.looks:
        return blocks.text(NO_LOOKS)
    if plan.looks is None:
        return blocks.text(NO_START)
    frame = plan_words.looks_in_brief(plan)
    return blocks.table(frame, LOOKS_CAPTION, headings=plan_words.LOOK_HEADINGS, notes=LOOK_NOTES)


# ---------------------------------------------------------------- size
def can_show(plan: TrialPlan) -> blocks.Block:
    """What the trial can show, in words."""
    return blocks.findings(plan_words.can_show(plan), title=SIZE_TITLE)


def sizes_figure(plan: TrialPlan) -> blocks.Block:
    """Smallest difference that trials of several sizes show."""
    given = (plan.sizes, plan.n_trucks, plan.is_about_life)
    return blocks.figure(
        plan_figures.sizes(*given, labels=plan.labels), **plan_captions.sizes(*given, labels=plan.labels)
    )


def sizes_table(plan: TrialPlan) -> blocks.Block:
    """The same as a table, for wear and for lives."""
    return blocks.table(
        plan_words.sizes_in_brief(plan), SIZES_CAPTION, headings=plan_words.SIZE_HEADINGS, labels=plan.labels
    )


def assumptions(plan: TrialPlan) -> blocks.Block:
    """What the size rests on."""
    return blocks.table(plan_words.assumptions(plan), ASSUMED_CAPTION, headings=plan_words.ASSUMED_HEADINGS)


# ---------------------------------------------------------------- how well it is read
def reading_error(plan: TrialPlan) -> blocks.Block:
    """How far off a reading is, and after how many miles it says something."""
    return blocks.findings(plan_words.reading_error(plan), title=READING_TITLE)


def gauge_figure(plan: TrialPlan) -> blocks.Block:
    """Readings of the gauge study by piece and person."""
    if plan.gauge is None:
        return blocks.text(NO_GAUGE)
    given = (plan.gauge, plan_study.gauge_deviations(plan.trial))
    return blocks.figure(plan_figures.gauge(*given), **plan_captions.gauge(*given))


def gauge_table(plan: TrialPlan) -> blocks.Block:
    """Where the spread of the readings comes from."""
    if plan.gauge is None:
        return blocks.text(HOW_TO_STUDY)
    level = plan.gauge.confidence_level
    return blocks.table(plan.gauge.table, GAUGE_CAPTION, hide=(c.STUDY_PCT,), confidence_level=level)


# ---------------------------------------------------------------- assignment
def how_drawn(plan: TrialPlan) -> blocks.Block:
    """How the assignment came about."""
    return blocks.findings(plan.assigned.sentences, title=DRAW_TITLE)


def assignment_table(plan: TrialPlan) -> blocks.Block:
    """Who carries what."""
    return blocks.table(plan_words.assignment_in_brief(plan), ASSIGNED_CAPTION, labels=plan.labels)


def forced(plan: TrialPlan) -> blocks.Block:
    """What was not left to chance."""
    found = plan_words.forced(plan)
    return blocks.notes(found, title=FORCED_TITLE) if found else blocks.text(NOTHING_FORCED)


def balance_table(plan: TrialPlan) -> blocks.Block:
    """What chance made of it."""
    frame = plan_words.balance_in_brief(plan)
    if frame.empty:
        return blocks.text(NOTHING_KNOWN)
    return blocks.table(frame, BALANCE_CAPTION, headings=plan_words.balance_headings(plan))


# ---------------------------------------------------------------- work, care and signatures
def tasks(plan: TrialPlan) -> blocks.Block:
    """Who measures what, and when."""
    return blocks.table(plan_words.tasks(plan), TASKS_CAPTION, headings=plan_words.TASK_HEADINGS)


def care() -> blocks.Block:
    """The usual cautions."""
    return blocks.notes(
        [*cautions.UNDER_THE_PLOW, *cautions.IN_THE_CAB, cautions.GOVERNS], title=CAUTIONS_TITLE
    )


def to_sign() -> blocks.Block:
    """Lines for names and signatures."""
    return blocks.table(plan_words.to_sign(), SIGN_CAPTION, headings=plan_words.SIGN_HEADINGS)


def limits(plan: TrialPlan) -> blocks.Block:
    """What the plan does not say."""
    return blocks.notes(plan_words.limits(plan), title=LIMITS_TITLE)


def method(plan: TrialPlan) -> blocks.Block:
    """How the size was worked out."""
    return blocks.text(*plan_words.method(plan))


def made_from(plan: TrialPlan) -> blocks.Block:
    """The files that a plan rests on, seed and versions."""
    hashes = plan.trial.hashes
    priced = dict.fromkeys(source for _, source in plan.prices.values()) if plan.savings else {}
    used = [FILE_NAME, *(plan.trial.files[name] for name in (*PLANNED_FROM, *ALSO_PLANNED_FROM, *priced))]
    files = dict.fromkeys(name.split(" [")[0] for name in used)
    rows = [(name, f"sha256 {hashes[name][:12]}") for name in files if name in hashes]
    rows += [
        ("seed of the draw", str(plan.assigned.seed)),
        ("trialkit", __version__),
        ("Python", platform.python_version()),
    ]
    frame = pd.DataFrame(rows, columns=[plan_words.WHAT, plan_words.AGREED])
    return blocks.table(
        frame, MADE_FROM_CAPTION, headings={plan_words.WHAT: "What", plan_words.AGREED: "Value"}
    )
