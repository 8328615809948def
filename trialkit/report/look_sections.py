"""What the plan of looks does to a report, as blocks of it.

Answers: what stands in a report that is made between the planned looks, and how is every report marked?

Between the looks a report shows what was recorded, how good the data are and what broke. How edge types differ is not shown: a
difference that is looked at again and again turns up sooner or later, whether it is there or not.
"""

from __future__ import annotations

import pandas as pd

from trialkit import display
from trialkit.edges import observed as ob
from trialkit.planning.looks import LookStatus
from trialkit.report import blocks, council, life_sections, life_words, look_study
from trialkit.report.council_study import Studies
from trialkit.trial.checks import Checked, Trial

STATUS_TITLE = "What this report is"
INTERIM_TITLE = "Interim, not for decision"
RECORDED_TITLE = "What was recorded so far"
BROKE_TITLE = "What broke or was lost"
QUALITY_TITLE = "Quality of the data"
BROKE_CAPTION = "How often sets and sections broke or were lost"
WITHHELD = (
    "Between the planned looks this report shows what was recorded, the quality of the data and what broke. How the edge types "
    "differ in wear, life, noise, material and cost is not shown: whoever looks often enough finds differences that are not there."
)
BREAKS = (ob.BROKEN_OR_LOST, ob.SECTION_BROKEN_OR_LOST)


def marked(head: blocks.Meta, look: LookStatus) -> blocks.Meta:
    """The head of a report, marked on every page if it is interim.

    Parameters
    ----------
    head : Meta
        The head without the mark, such as `council.title` gives it.
    look : LookStatus
        From `look_study.status`.
    """
    return head.model_copy(update={"interim": look.is_interim})


def status_text(look: LookStatus) -> blocks.Block:
    """What this report is, how small a p value must be for a finding, and how many looks were not planned."""
    return blocks.text(*look_study.sentences(look))


def interim(trial: Trial, found: Studies, look: LookStatus, checked: Checked) -> list[blocks.Block]:
    """Everything that an interim report shows, its head first.

    Parameters
    ----------
    trial : Trial
        The trial.
    found : Studies
        What was worked out; only what was recorded and what broke is shown of it.
    look : LookStatus
        From `look_study.status`.
    checked : Checked
        The check of the trial folder.
    """
    facts = council.tried(trial, found.rates)
    return [
        marked(council.title(trial), look),
        blocks.findings([*look_study.sentences(look), WITHHELD], title=INTERIM_TITLE),
        blocks.heading(RECORDED_TITLE),
        blocks.table(facts, council.TRIED_CAPTION, headings=council.FACT_HEADINGS),
        blocks.heading(BROKE_TITLE),
        life_sections.what_broke(found.lives),
        breaks_table(found),
        blocks.heading(QUALITY_TITLE),
        blocks.problems(checked.problems),
        council.exclusions(trial),
        blocks.notes(council.CAUTIONS, title=council.CAUTIONS_TITLE),
    ]


def breaks_table(found: Studies) -> blocks.Block:
    """How often sets and sections broke or were lost, without what wore out."""
    frame = _breaks(found)
    if frame.empty:
        return blocks.text(display.words(life_sections.NOTHING_SEEN))
    return blocks.table(
        frame, BROKE_CAPTION, labels=found.lives.labels, headings=life_words.EVENTS_HEADINGS,
        confidence_level=found.lives.confidence_level, notes=life_words.events_notes(found.lives),
    )  # fmt: skip


def _breaks(found: Studies) -> pd.DataFrame:
    own = found.lives.observed.table[ob.CAUSE].isin(BREAKS)
    return life_words.events_in_brief(found.lives)[own]
