"""Noise and vibration as blocks of a report.

Answers: what stands in this place of the report, whether noise was measured or not?

Each call returns one block. Where nothing was studied the first block of a section says so in one sentence and the others are
empty, so that a notebook needs no condition and a report no empty table.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.cab.noise import TASK_WORDS, NoiseLevels
from trialkit.cab.noise_exposure import hours_words
from trialkit.formatting import NO_INTERVAL, fixed, level_words, sentence_case
from trialkit.report import blocks, noise_captions, noise_figures, noise_words
from trialkit.report.noise_captions import criterion_labels, steady_level_dba
from trialkit.report.noise_study import SOUND, VIBRATION, NoiseStudy, VibrationStudy
from trialkit.trial.checks import Trial

LEVELS_TITLE = "Levels in words"
SHIFT_TITLE = "A storm shift in words"
DIFFERENCE_TITLE = "Differences in words"
VIBRATION_TITLE = "Vibration in words"
COUNCIL_TITLE = "Noise and shaking in words"
CAUTIONS_TITLE = "Before these figures are used"
NOTES_TITLE = "Small print of noise and vibration"
LEVELS_CAPTION = "Average level in the cab by edge type and task"
EXPOSURE_CAPTION = "{shift} under each criterion"
STEADY_CAPTION = "Steady level at which a shift reaches each criterion, in dBA"
DIFFERENCE_CAPTION = "Difference in level from {reference}; below zero is quieter"
CONDITIONS_CAPTION = "What radio, window and speed did to the level, found within trucks"
VIBRATION_CAPTION = "Whole-body vibration by edge type and axis, over {hours} hours a day"
RATIOS_CAPTION = "How many times the vibration of {reference} each edge type has; below 1 is less"
COUNCIL_CAPTION = "Level in the cab {task}, and dose of {shift}"
NOTHING_TO_SHOW = "There is nothing to show, since noise was not studied."
NO_SAMPLES = "No sound level or vibration sample was recorded."
NOTHING_ADJUSTED = "Radio, window and speed could not be adjusted for."
INTERVAL, RANGE, NOT_COUNTED = "with_interval", "range", "not counted"


# ---------------------------------------------------------------- samples
def problems(trial: Trial) -> blocks.Block:
    """What the check found wrong or doubtful in the samples themselves."""
    recorded = [name for name in (SOUND, VIBRATION) if trial.has(name)]
    if not recorded:
        return blocks.text(NO_SAMPLES)
    return blocks.problems(trial.problems_of(*recorded))


# ---------------------------------------------------------------- levels
def levels(study: NoiseStudy) -> blocks.Block:
    """How loud it was in the cab, in words; or why noise was not studied."""
    return _said(study.not_studied, noise_words.level_sentences(study), LEVELS_TITLE)


def levels_figure(study: NoiseStudy) -> blocks.Block:
    """Levels by edge type and truck, over the hours until each criterion is reached."""
    return _levels_figure(study)


def levels_table(study: NoiseStudy) -> blocks.Block:
    """Levels by edge type and task."""
    if study.levels is None:
        return _nothing()
    table = study.levels.table
    rates = [c.EXCHANGE_RATE_DB] if table[c.EXCHANGE_RATE_DB].nunique() > 1 else []
    ends = table[[c.LEVEL_DBA, c.CONF_LOW, c.CONF_HIGH]].itertuples(index=False)
    texts = [_unbroken(noise_figures.level_text(*row)) for row in ends]
    kept = [c.EDGE_TYPE, c.TASK, *rates, INTERVAL, c.EXPANDED_DB, c.N_TRUCKS, c.N_SAMPLES]
    expanded = [fixed(value, 1) for value in table[c.EXPANDED_DB]]
    shown = table.assign(**{INTERVAL: texts}, **{c.EXPANDED_DB: expanded})[kept]
    headings = {INTERVAL: f"Level, dBA ({level_words(study.levels.confidence_level)})"}
    return blocks.table(shown, LEVELS_CAPTION, labels=study.labels, headings=headings)


# ---------------------------------------------------------------- a shift
def shift(study: NoiseStudy) -> blocks.Block:
    """What a storm shift comes to under each criterion, in words."""
    return _said(study.not_studied and NOTHING_TO_SHOW, noise_words.shift_findings(study), SHIFT_TITLE)


def doses_figure(study: NoiseStudy) -> blocks.Block:
    """Dose of shifts of several lengths by edge type and criterion."""
    if study.exposure is None or study.exposure.shift_rows().empty:
        return _nothing()
    return blocks.figure(noise_figures.doses(study.exposure), **noise_captions.doses(study.exposure))


def exposure_table(study: NoiseStudy) -> blocks.Block:
    """8-hour average and dose of the shift by edge type and criterion; noise.csv has every task."""
    if study.exposure is None or study.exposure.shift_rows().empty:
        return _nothing()
    rows = study.exposure.shift_rows()
    shown = pd.DataFrame(
        {
            c.CRITERION: rows[c.CRITERION].map(criterion_labels(study.criteria)),
            c.EDGE_TYPE: rows[c.EDGE_TYPE],
            c.TWA_DBA: rows[c.TWA_DBA],
            RANGE: [noise_words.dose_cell(row) for row in rows.to_dict("records")],
            c.REACHED: [noise_words.reached_cell(row) for row in rows.to_dict("records")],
        }
    )
    order = {name: place for place, name in enumerate(criterion_labels(study.criteria).values())}
    shown = shown.sort_values(c.CRITERION, key=lambda names: names.map(order), kind="stable")
    caption = EXPOSURE_CAPTION.format(shift=sentence_case(study.exposure.shift_words))
    return blocks.table(
        shown, caption, labels=study.labels, headings={RANGE: "Dose (range)", c.REACHED: "The criterion is"}
    )


def steady_levels_table(study: NoiseStudy) -> blocks.Block:
    """Steady level at which shifts of several lengths reach each criterion."""
    if study.exposure is None:
        return _nothing()
    hours = noise_figures.shift_lengths(study.exposure)
    columns = {hours_words(length): length for length in hours}
    rows = []
    for criterion in study.criteria:
        levels_dba = {name: steady_level_dba(criterion, length) for name, length in columns.items()}
        texts = {name: NOT_COUNTED if level is None else f"{level:.1f}" for name, level in levels_dba.items()}
        rows.append({c.CRITERION: criterion.label, **texts})
    headings = {name: f"{name} hours" for name in columns}
    below = [one for one in study.criteria if one.threshold_dba is not None]
    notes = [
        f"The {one.label} does not count levels below {one.threshold_dba:g} dBA."
        for one in below
        if any(steady_level_dba(one, length) is None for length in hours)
    ]
    sources = [f"{one.label}: {one.citation}." for one in study.criteria]
    return blocks.table(
        pd.DataFrame(rows), STEADY_CAPTION, headings=headings, notes=[*notes, " ".join(sources)]
    )


# ---------------------------------------------------------------- differences
def differences(study: NoiseStudy) -> blocks.Block:
    """How the edge types differ in noise, in words."""
    found = noise_words.difference_findings(study)
    return _said(study.not_studied and NOTHING_TO_SHOW, found, DIFFERENCE_TITLE)


def differences_table(study: NoiseStudy) -> blocks.Block:
    """Differences by task, as measured, adjusted, and above each truck's own level with the blade up."""
    if study.comparison is None or study.comparison.table.empty:
        return _nothing()
    table = study.comparison.table
    rates = [c.EXCHANGE_RATE_DB] if table[c.EXCHANGE_RATE_DB].nunique() > 1 else []
    ends = table[[c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]].itertuples(index=False)
    texts = [_unbroken(noise_figures.level_text(*row)) for row in ends]
    shown = table.assign(**{INTERVAL: texts})
    shown = shown[[c.TASK, *rates, c.BASIS, c.EDGE_TYPE, INTERVAL, c.N_TRUCKS, c.N_PAIRS]]
    caption = DIFFERENCE_CAPTION.format(reference=study.comparison.label(table[c.REFERENCE].iloc[0]))
    headings = {INTERVAL: f"Difference, dB ({level_words(study.comparison.confidence_level)})"}
    return blocks.table(shown, caption, labels=study.labels, headings=headings)


def conditions_table(study: NoiseStudy) -> blocks.Block:
    """What radio, window and speed were found to do."""
    if study.comparison is None:
        return _nothing()
    effects = study.comparison.effects
    if effects.empty:
        return blocks.text(NOTHING_ADJUSTED)
    rates = [c.EXCHANGE_RATE_DB] if effects[c.EXCHANGE_RATE_DB].nunique() > 1 else []
    words = {
        c.RADIO: "radio on",
        c.WINDOW: "window open",
        c.SPEED_MPH: display.words("each mile per hour"),
    }
    shown = effects[[c.TASK, *rates, c.TERM, c.ESTIMATE, c.STD_ERROR, c.DF]]
    speed = effects[c.TERM] == c.SPEED_MPH
    for name in (c.ESTIMATE, c.STD_ERROR):
        shown = shown.assign(**{name: shown[name].mask(speed, display.value(shown[name], "dB/mph"))})
    shown = shown.assign(**{c.TERM: effects[c.TERM].replace(words)})
    return blocks.table(shown, CONDITIONS_CAPTION, headings={c.ESTIMATE: "Louder by, dB"})


# ---------------------------------------------------------------- vibration
def vibration(study: VibrationStudy) -> blocks.Block:
    """Whole-body vibration in words; or why it was not studied."""
    found = [*noise_words.vibration_findings(study), noise_words.daily_vibration_finding(study)]
    return _said(study.not_studied, found, VIBRATION_TITLE)


def vibration_figure(study: VibrationStudy) -> blocks.Block:
    """Daily vibration by edge type, beside action and limit value."""
    if study.exposure is None:
        return _nothing()
    return blocks.figure(
        noise_figures.daily_vibration(study.exposure), **noise_captions.daily_vibration(study.exposure)
    )


def vibration_table(study: VibrationStudy) -> blocks.Block:
    """Vibration by edge type and axis, with A(8) and whether each criterion is reached."""
    if study.exposure is None:
        return _nothing()
    result = study.exposure
    keys = [c.EDGE_TYPE, c.AXIS]
    reached = result.table.pivot(index=keys, columns=c.CRITERION, values=c.REACHED)
    rows = result.table.drop_duplicates(keys).set_index(keys)
    ends = rows[[c.A8_M_S2, c.A8_LOW_M_S2, c.A8_HIGH_M_S2]]
    texts = [_unbroken(noise_figures.a8_text(*row)) for row in ends.itertuples(index=False)]
    shown = rows.assign(**{INTERVAL: texts})[[c.RMS_M_S2, INTERVAL, c.GOVERNS]]
    for criterion in result.criteria:
        words = reached[criterion.name].map(noise_words.REACHED_WORDS)
        shown[criterion.name] = words.where(rows[c.A8_LOW_M_S2].notna(), NO_INTERVAL)
    headings = {one.name: f"{one.label} is" for one in result.criteria}
    headings[INTERVAL] = f"A(8), m/s² ({level_words(result.confidence_level)})"
    caption = VIBRATION_CAPTION.format(hours=hours_words(result.daily_h))
    return blocks.table(shown.reset_index(), caption, labels=study.labels, headings=headings)


def vibration_ratios_table(study: VibrationStudy) -> blocks.Block:
    """How many times the reference's vibration each edge type has, by axis."""
    if study.comparison is None or study.comparison.table.empty:
        return _nothing()
    table = study.comparison.table
    kept = [c.AXIS, c.EDGE_TYPE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.N_TRUCKS, c.N_PAIRS]
    caption = RATIOS_CAPTION.format(reference=study.comparison.label(table[c.REFERENCE].iloc[0]))
    return blocks.table(
        table[kept], caption, labels=study.labels, headings={c.ESTIMATE: "Times"},
        confidence_level=study.comparison.confidence_level,
    )  # fmt: skip


# ---------------------------------------------------------------- what goes with it
def cautions(noise: NoiseStudy, shaking: VibrationStudy) -> blocks.Block:
    """The cautions that go with these figures; nothing where nothing was studied."""
    said = noise_words.cautions(noise, shaking)
    return blocks.notes(said, title=CAUTIONS_TITLE) if said else _nothing()


def notes(noise: NoiseStudy, shaking: VibrationStudy) -> blocks.Block:
    """What the analyses themselves ask to be kept in mind."""
    said = [*noise.notes, *shaking.notes]
    return blocks.notes(said, title=NOTES_TITLE) if said else _nothing()


def method(noise: NoiseStudy, shaking: VibrationStudy) -> blocks.Block:
    """How it was worked out; why there is nothing to work out where nothing was studied."""
    parts = [noise.exposure, noise.comparison, shaking.exposure, shaking.comparison]
    said = [part.method for part in parts if part is not None]
    return blocks.text(*(said or [noise.not_studied, shaking.not_studied]))


# ---------------------------------------------------------------- for the council
def council(noise: NoiseStudy, shaking: VibrationStudy) -> blocks.Block:
    """What a council is told about noise and shaking, or that neither was studied."""
    found = noise_words.council_findings(noise, shaking)
    if noise.levels is None and shaking.exposure is None:
        return blocks.text(*[item.sentence for item in found])
    return blocks.findings(found, title=COUNCIL_TITLE)


def council_figure(noise: NoiseStudy) -> blocks.Block:
    """Energy averages by edge type and truck, over the hours until the council's criteria are reached."""
    return _levels_figure(noise, brief=True)


def council_table(noise: NoiseStudy) -> blocks.Block:
    """Level with the blade down and dose of a shift under the council's criteria, one row for each edge type."""
    exposure = noise.exposure
    if exposure is None or exposure.shift_rows().empty:
        return _nothing()
    rows = exposure.shift_rows()
    levels_shown = _brief_levels(exposure.levels)
    table = levels_shown[[c.EDGE_TYPE, c.LEVEL_DBA, c.CONF_LOW, c.CONF_HIGH]].reset_index(drop=True)
    headings = {}
    for criterion in noise.brief:
        mine = rows[rows[c.CRITERION] == criterion.name].set_index(c.EDGE_TYPE)
        if mine.empty:
            continue
        table[criterion.name] = [
            f"{noise_words.dose_cell(mine.loc[edge])}, {noise_words.reached_cell(mine.loc[edge])}"
            if edge in mine.index
            else None
            for edge in table[c.EDGE_TYPE]
        ]
        headings[criterion.name] = f"{criterion.label}, reached at {criterion.action_dose_pct:g}%"
    task = TASK_WORDS[noise_figures.shown_task(exposure.levels)]
    caption = COUNCIL_CAPTION.format(task=task, shift=exposure.shift_words)
    return blocks.table(
        table, caption, labels=noise.labels, headings=headings, confidence_level=exposure.confidence_level
    )


def council_notes(noise: NoiseStudy, shaking: VibrationStudy) -> blocks.Block:
    """Uneven conditions, what the samples leave open, and the cautions; nothing where nothing was studied."""
    said = noise_words.council_notes(noise, shaking)
    return blocks.notes(said, title=CAUTIONS_TITLE) if said else _nothing()


def _levels_figure(study: NoiseStudy, brief: bool = False) -> blocks.Block:
    if study.exposure is None:
        return _nothing()
    result = study.exposure
    if brief:
        shown = replace(result.levels, table=_brief_levels(result.levels))
        result = replace(result, levels=shown, criteria=study.brief)
    return blocks.figure(noise_figures.levels(result), **noise_captions.levels(result))


def _brief_levels(result: NoiseLevels) -> pd.DataFrame:
    """Levels of the task shown, one row for each edge type: energy averages where there are any."""
    table = result.table[result.table[c.TASK] == noise_figures.shown_task(result)]
    table = table.sort_values(c.EXCHANGE_RATE_DB, kind="stable").drop_duplicates(c.EDGE_TYPE)
    return table.sort_index()


def _said(not_studied: str, found: list, title: str) -> blocks.Block:
    """Findings, or the one sentence that there are none."""
    return blocks.text(not_studied) if not_studied else blocks.findings(found, title=title)


def _unbroken(words: str) -> str:
    """Words that a table cell keeps on one line."""
    return words.replace(" ", "\u00a0")


def _nothing() -> blocks.Block:
    """A block that prints nothing."""
    return blocks.text()
