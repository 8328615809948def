"""Material and clearing as blocks of a report.

Answers: what stands in this place of the report, whatever the trial has recorded?

Each call returns one block. Where there is nothing to show it says so in a sentence, so that a notebook needs no condition and
a report no empty table.
"""

from __future__ import annotations

import pandas as pd

from trialkit.report import blocks, material_brief, material_captions, material_figures, material_words
from trialkit.report.material_records import MATERIAL, STORMS, TRUCKS
from trialkit.report.material_study import MaterialStudy
from trialkit.report.study import SHIFTS
from trialkit.trial.checks import Trial
from trialkit.trial.materialchecks import CODES

RECORDS_TITLE = "The records in words"
MATERIAL_TITLE = "Material in words"
CLEARING_TITLE = "Passes, hours and snow left behind in words"
RATINGS_TITLE = "Ratings in words"
SEASON_TITLE = "A season in words"
COUNCIL_TITLE = "Salt and clearing in words"
NOTES_TITLE = "Small print of material and clearing"
LIMITS_TITLE = "What these figures do not say"
SPREAD_CAPTION = "What was spread with each edge type over the season; totals divided, no comparison"
MATERIAL_CAPTION = "Material within storms: difference from {reference}"
CLEARING_CAPTION = "Passes, hours and snow left behind within storms: difference from {reference}"
NAIVE_CAPTION = "What season totals divided would have said, beside the comparison within storms"
VARIANTS_CAPTION = "The same differences worked out in other ways"
RATINGS_CAPTION = "Operators' scores against those of {reference}; 50 of 100 is even"
STORMS_CAPTION = "The storms and how hard they were, on an index from 0 to 1"
SEASON_CAPTION = (
    "Saved with each edge type in the winters of the fleet plan, against {reference}; below zero is more"
)
COUNCIL_CAPTION = "Difference of each edge type from {reference} within storms"
NOTHING_COMPARED = "There is no comparison to show."
NOTHING_SPREAD = "There is nothing to show, since no rate of material is on record."
NO_STORMS = "There is nothing to show, since no storm was recorded."
NO_SHIFTS = "No shift was recorded, so there is nothing to check."


# ---------------------------------------------------------------- records
def problems(trial: Trial) -> blocks.Block:
    """What the check found doubtful in material, lane-miles and spreaders."""
    if not trial.has(SHIFTS):
        return blocks.text(NO_SHIFTS)
    beside = [problem for problem in trial.problems_of(SHIFTS, TRUCKS) if problem.code in CODES]
    return blocks.problems([*trial.problems_of(MATERIAL, STORMS), *beside])


def records(found: MaterialStudy) -> blocks.Block:
    """How much was recorded; or why material was not studied."""
    said = material_words.record_sentences(found)
    return blocks.text(*said) if found.not_studied else blocks.findings(said, title=RECORDS_TITLE)


# ---------------------------------------------------------------- what was spread
def spread_words(found: MaterialStudy) -> blocks.Block:
    """The rates of the season in words, with their basis."""
    return blocks.text(*(material_words.rate_sentences(found) or [NOTHING_SPREAD]))


def storms_figure(found: MaterialStudy) -> blocks.Block:
    """Material per lane-mile in each storm."""
    if material_figures.shown_storms(found).empty:
        return _nothing()
    return blocks.figure(material_figures.rates_by_storm(found), **material_captions.rates_by_storm(found))


def spread_table(found: MaterialStudy) -> blocks.Block:
    """What was spread, by material and edge type."""
    frame = material_brief.spread_in_brief(found)
    if frame.empty:
        return _nothing()
    return blocks.table(
        frame, SPREAD_CAPTION, labels=found.labels, headings=material_brief.spread_headings(found)
    )


# ---------------------------------------------------------------- differences
def material(found: MaterialStudy) -> blocks.Block:
    """How the edge types differ in material, in words."""
    return blocks.findings(material_words.material_findings(found), title=MATERIAL_TITLE)


def clearing(found: MaterialStudy) -> blocks.Block:
    """How the edge types differ in passes, hours and snow left behind, in words."""
    items = material_words.clearing_findings(found)
    return blocks.findings(items, title=CLEARING_TITLE) if items else blocks.text(NOTHING_COMPARED)


def differences_figure(found: MaterialStudy) -> blocks.Block:
    """Every difference with its interval."""
    if not material_figures.forest_panels(found):
        return blocks.text(NOTHING_COMPARED)
    return blocks.figure(material_figures.differences(found), **material_captions.differences(found))


def material_table(found: MaterialStudy) -> blocks.Block:
    """Differences in material, all of it and by kind."""
    return _differences(found, material_brief.differences_in_brief(found.material), MATERIAL_CAPTION)


def clearing_table(found: MaterialStudy) -> blocks.Block:
    """Differences in passes, hours and snow left behind."""
    return _differences(found, material_brief.differences_in_brief(found.clearing), CLEARING_CAPTION)


def naive_table(found: MaterialStudy) -> blocks.Block:
    """What season totals divided would have said."""
    frame = material_brief.naive_in_brief(found)
    if frame.empty:
        return _nothing()
    return blocks.table(frame, NAIVE_CAPTION, labels=found.labels, headings=material_brief.NAIVE_HEADINGS)


def variants_table(found: MaterialStudy) -> blocks.Block:
    """The same differences in other ways."""
    frame = material_brief.variants_in_brief(found)
    if frame.empty:
        return _nothing()
    return blocks.table(
        frame, VARIANTS_CAPTION, labels=found.labels, headings=material_brief.VARIANT_HEADINGS
    )


# ---------------------------------------------------------------- ratings
def ratings(found: MaterialStudy) -> blocks.Block:
    """What operators thought, in words; or that it was not recorded."""
    items = material_words.rating_findings(found)
    if found.ratings is None:
        return blocks.text(*[item.sentence for item in items])
    return blocks.findings(items, title=RATINGS_TITLE)


def ratings_figure(found: MaterialStudy) -> blocks.Block:
    """How often each score was given."""
    if found.ratings is None:
        return _nothing()
    return blocks.figure(material_figures.ratings(found.ratings), **material_captions.ratings(found.ratings))


def ratings_table(found: MaterialStudy) -> blocks.Block:
    """How often a score with each edge type beats one with the reference."""
    frame = material_brief.ratings_in_brief(found)
    if frame.empty:
        return _nothing()
    caption = RATINGS_CAPTION.format(reference=found.label(found.reference))
    return blocks.table(frame, caption, labels=found.labels, headings=material_brief.RATING_HEADINGS)


# ---------------------------------------------------------------- storms
def storms(found: MaterialStudy) -> blocks.Block:
    """How hard the storms were, in words."""
    return blocks.text(*material_words.storm_sentences(found))


def storms_table(found: MaterialStudy) -> blocks.Block:
    """The storms with their index."""
    frame = material_brief.storms_in_brief(found)
    if frame.empty:
        return blocks.text(NO_STORMS)
    return blocks.table(frame, STORMS_CAPTION, headings=material_brief.STORM_HEADINGS)


# ---------------------------------------------------------------- a season
def season(found: MaterialStudy) -> blocks.Block:
    """What a season would save, in words."""
    items = material_words.season_findings(found)
    return blocks.findings(items, title=SEASON_TITLE)


def season_table(found: MaterialStudy) -> blocks.Block:
    """Savings by winter, in tons, money and chloride."""
    frame = material_brief.season_in_brief(found)
    if frame.empty:
        return _nothing()
    caption = SEASON_CAPTION.format(reference=found.label(found.reference))
    headings = material_brief.season_headings(found)
    return blocks.table(frame, caption, labels=found.labels, headings=headings)


# ---------------------------------------------------------------- what goes with it
def limits(found: MaterialStudy) -> blocks.Block:
    """What these figures do not say."""
    return blocks.notes(material_words.limits(), title=LIMITS_TITLE)


def notes(found: MaterialStudy) -> blocks.Block:
    """What the records leave open, and the caveats of all parts."""
    said = [*found.notes, *(found.saving.notes if found.saving is not None else ())]
    return blocks.notes(said, title=NOTES_TITLE) if said else _nothing()


def method(found: MaterialStudy) -> blocks.Block:
    """How it was worked out; why there is nothing to work out where nothing was recorded."""
    return blocks.text(*(material_words.method(found) or [found.not_studied]))


# ---------------------------------------------------------------- for the council
def council(found: MaterialStudy) -> blocks.Block:
    """What a council is told about salt, passes and clearing, or that none of it was studied."""
    items = material_words.council_findings(found)
    if found.is_empty:
        return blocks.text(*[item.sentence for item in items])
    return blocks.findings(items, title=COUNCIL_TITLE)


def council_figure(found: MaterialStudy) -> blocks.Block:
    """Every difference with its interval."""
    return differences_figure(found) if not found.is_empty else _nothing()


def council_table(found: MaterialStudy) -> blocks.Block:
    """One row for each edge type: the differences that a council is told about."""
    frame = material_brief.council_in_brief(found)
    if frame.empty:
        return _nothing()
    caption = COUNCIL_CAPTION.format(reference=found.label(found.reference))
    return blocks.table(
        frame, caption, labels=found.labels, headings={name: name for name in frame.columns[1:]}
    )


def council_notes(found: MaterialStudy) -> blocks.Block:
    """What a council has to keep in mind; nothing where nothing was compared."""
    return limits(found) if not found.is_empty else _nothing()


def _differences(found: MaterialStudy, frame: pd.DataFrame, caption: str) -> blocks.Block:
    if frame.empty:
        return blocks.text(NOTHING_COMPARED)
    said = caption.format(reference=found.label(found.reference))
    return blocks.table(frame, said, labels=found.labels, headings=material_brief.difference_headings(found))


def _nothing() -> blocks.Block:
    """A block that prints nothing."""
    return blocks.text()
