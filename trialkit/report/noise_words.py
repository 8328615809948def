"""The sentences about noise and vibration that people read.

Answers: what may a council be told about noise and shaking in the cab, and what has to be said with it?

No sentence calls an exposure harmless or says that a rule is kept: the criteria stand beside the samples, and risk
management and an occupational hygienist judge.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.cab import noise_comparison, vibration_comparison
from trialkit.cab.criteria import NOISE_CAUTIONS, VIBRATION_CAUTIONS, NoiseCriterion
from trialkit.cab.noise import BLADE_DOWN, TASK_WORDS, NoiseLevels
from trialkit.cab.noise_exposure import UNCLEAR, hours_words
from trialkit.cab.sound import ENERGY
from trialkit.formatting import (
    NO_INTERVAL,
    counted,
    fixed,
    level_words,
    listed,
    number,
    percent,
    sentence_case,
)
from trialkit.report import noise_support
from trialkit.report.block_types import Finding
from trialkit.report.noise_captions import dose_text, steady_level_dba
from trialkit.report.noise_figures import shown_task
from trialkit.report.noise_study import NoiseStudy, VibrationStudy
from trialkit.report.noise_support import verdict_of
from trialkit.table_parts import NO, YES
from trialkit.verdicts import BETTER, NOT_SHOWN, WORSE

VERDICT_COLUMNS = [c.QUESTION, c.EDGE_TYPE, c.VERDICT, c.SENTENCE, c.RULE]
NOISE_QUESTION = "Is it quieter in the cab with the blade down?"
VIBRATION_QUESTION = "Is the driver shaken less?"
NO_RANGE = "no range"
"""A dose of which no range can be given."""
VERBS = {YES: "reaches", UNCLEAR: "may reach", NO: "stays below"}
REACHED_WORDS = {YES: "reached", UNCLEAR: "may be reached", NO: "not reached"}
NO_SHARES = "No shift record shows how a shift divides into tasks, so a shift is taken with the blade down throughout."
NEITHER_MEASURED = "Neither noise nor shaking in the cab was measured."
NOT_WHOLE = "Not every task of a shift was sampled, so only its hours with the blade down are counted; a whole shift comes to more."
MAY_REACH = "May reach means that the criterion lies within the range of the dose."
QUIET_SAMPLES = (
    "A dosimeter counts loud moments even where the average of a sample lies below the level from which a criterion counts; here "
    "such a sample adds nothing, so a dose can come out too low."
)
HOURS_LIKE_SAMPLES = (
    "Every hour of the shift is taken to be like the hours sampled; idling and breaks shake less."
)


# ---------------------------------------------------------------- levels
def level_sentences(study: NoiseStudy) -> list[str]:
    """How loud it was in the cab, and what the samples cannot say; why there is nothing where noise was not studied."""
    if study.levels is None:
        return [study.not_studied]
    return [study.levels.sentence(), _basis(study.levels), *gaps(study)]


def _basis(result: NoiseLevels) -> str:
    """How many samples on how many trucks the levels rest on."""
    table = result.table
    sampled = counted(int(table[c.N_SAMPLES].sum()), "sample")
    trucks = counted(result.by_truck[c.TRUCK_ID].nunique(), "truck")
    return f"The levels rest on {sampled}, {number(table[c.DURATION_H].sum(), 2)} hours in all, on {trucks}."


def gaps(study: NoiseStudy) -> list[str]:
    """What the sound samples leave open, each in a sentence; empty where they leave out nothing."""
    if study.levels is None:
        return []
    table, by_truck = study.levels.table, study.levels.by_truck
    said = []
    if BLADE_DOWN not in set(table[c.TASK]):
        task = TASK_WORDS[shown_task(study.levels)]
        said.append(
            f"No sample was taken with the blade down, when the edge makes its noise: the levels are those {task}, and neither a "
            "shift nor a difference between edge types follows from them."
        )
    if (table[c.EXCHANGE_RATE_DB] != ENERGY).all():
        said.append(
            "All samples were averaged with 5 dB. They are no energy averages and can be held against criteria of the same kind "
            "only, such as OSHA's."
        )
    trucks = by_truck[c.TRUCK_ID].unique()
    if len(trucks) == 1:
        said.append(
            f"All samples come from one truck, {trucks[0]}, so nothing can be said about other trucks and no interval is given."
        )
    elif (table[c.N_SAMPLES] == 1).all():
        said.append(
            "There is only one sample for each edge type and task, so how far levels vary is not known and no interval is given."
        )
    lonely = _only_5_db(study, table)
    if lonely:
        verb = "was" if len(lonely) == 1 else "were"
        said.append(
            f"{sentence_case(listed(lonely))} {verb} sampled with 5 dB averages only, which are not compared with the energy averages "
            "of the others."
        )
    if study.exposure is not None and not study.exposure.is_whole and BLADE_DOWN in set(table[c.TASK]):
        said.append(NO_SHARES if study.shares is None else NOT_WHOLE)
    return [*said, *study.unplaced]


def _only_5_db(study: NoiseStudy, table: pd.DataFrame) -> list[str]:
    """Edge types without an energy average, where others have one."""
    lowest = table.groupby(c.EDGE_TYPE, sort=False)[c.EXCHANGE_RATE_DB].min()
    lonely = [study.labels.get(name, name) for name in lowest.index[lowest != ENERGY]]
    return lonely if len(lonely) < len(lowest) else []


# ---------------------------------------------------------------- a shift and the criteria
def shift_findings(study: NoiseStudy) -> list[Finding]:
    """What a shift comes to under each criterion that is reported, with what the criterion means."""
    if study.exposure is None:
        return [Finding(sentence=study.not_studied)]
    hours = study.exposure.shift_length_h
    held, left = _held(study, study.criteria)
    found = [
        Finding(sentence=shift_sentence(study, [criterion]), detail=criterion_words(criterion, hours))
        for criterion in held
    ]
    return [*found, *([Finding(sentence=shift_sentence(study, left))] if left else [])]


def shift_sentence(study: NoiseStudy, criteria: Sequence[NoiseCriterion]) -> str:
    """What a shift comes to under some criteria, in one sentence; criteria with the same answer are said together."""
    exposure = study.exposure
    if exposure is None:
        return study.not_studied
    rows = exposure.shift_rows()
    held, left = _held(study, criteria)
    groups: dict[tuple, list[NoiseCriterion]] = {}
    for criterion in held:
        mine = rows[rows[c.CRITERION] == criterion.name]
        answers = [(str(row[c.EDGE_TYPE]), _answer(row)) for _, row in mine.iterrows()]
        alone = (criterion.name,) if any(answer == NO_RANGE for _, answer in answers) else ()
        groups.setdefault((*answers, *alone), []).append(criterion)
    clauses = [_group_clause(study, group, rows) for group in groups.values()]
    said = []
    if clauses:
        said.append(f"At the levels sampled, {exposure.shift_words} {'; it '.join(clauses)}.")
    if left:
        names = listed([f"the {criterion.label}" for criterion in left], "or")
        said.append(f"What a shift comes to under {names} cannot be told: {_why_not(study)}.")
    return " ".join(said)


def _held(
    study: NoiseStudy, criteria: Sequence[NoiseCriterion]
) -> tuple[list[NoiseCriterion], list[NoiseCriterion]]:
    """The criteria against which a shift could be held, and those against which it could not."""
    names = set() if study.exposure is None else set(study.exposure.shift_rows()[c.CRITERION])
    held = [criterion for criterion in criteria if criterion.name in names]
    return held, [criterion for criterion in criteria if criterion.name not in names]


def criterion_words(criterion: NoiseCriterion, hours: float) -> str:
    """What a criterion means: its 8-hour average, and the steady level that reaches it in a shift."""
    average = float(criterion.shift_level_dba(criterion.reference_h)[0])
    said = f"The {criterion.label} is {_article(criterion.reference_h)}-hour average of {_level(average)} dBA"
    steady = steady_level_dba(criterion, hours)
    if hours == criterion.reference_h:
        return f"{said}."
    if steady is None:
        return (
            f"{said}; levels below {criterion.threshold_dba:g} dBA are not counted, however long the shift."
        )
    return f"{said}; in {hours_words(hours)} hours a steady {_level(steady)} dBA reaches it."


def _article(hours: float) -> str:
    return f"{'an' if hours in (8.0, 11.0, 18.0) else 'a'} {hours_words(hours)}"


def _level(level_dba: float) -> str:
    return fixed(level_dba, 0 if abs(level_dba - round(level_dba)) < 0.05 else 1)


def _answer(row: pd.Series) -> str:
    return str(row[c.REACHED]) if math.isfinite(row[c.DOSE_LOW_PCT]) else NO_RANGE


def _group_clause(study: NoiseStudy, group: Sequence[NoiseCriterion], rows: pd.DataFrame) -> str:
    """Which edge types reach, may reach or stay below these criteria."""
    mine = rows[rows[c.CRITERION] == group[0].name]
    by_answer: dict[str, list[pd.Series]] = {}
    for _, row in mine.iterrows():
        by_answer.setdefault(_answer(row), []).append(row)
    what = listed([f"the {criterion.label}" for criterion in group])
    clauses = []
    for answer, verb in VERBS.items():
        if answer in by_answer:
            clauses.append(f"{verb} {what} with {_types(study, by_answer[answer], len(mine))}")
            what = "it" if len(group) == 1 else "them"
    if NO_RANGE in by_answer:
        action = group[0].action_dose_pct
        shares = [
            f"{percent(100 * row[c.DOSE_PCT] / action)} with {study.labels.get(row[c.EDGE_TYPE], row[c.EDGE_TYPE])}"
            for row in by_answer[NO_RANGE]
        ]
        clauses.append(f"comes to {listed(shares)} of the dose that reaches {what}, without an interval")
    return listed(clauses)


def _types(study: NoiseStudy, rows: Sequence[pd.Series], n_types: int) -> str:
    if len(rows) == n_types and n_types > 1:
        return "every edge type"
    return listed([study.labels.get(row[c.EDGE_TYPE], row[c.EDGE_TYPE]) for row in rows])


def _why_not(study: NoiseStudy) -> str:
    table = study.exposure.levels.table if study.exposure is not None else pd.DataFrame()
    if BLADE_DOWN not in set(table[c.TASK]):
        return "no sample was taken with the blade down"
    if (table[c.EXCHANGE_RATE_DB] != ENERGY).all():
        return "all samples were averaged with 5 dB and are no energy averages"
    return "no edge type was sampled at all the tasks of a shift"


# ---------------------------------------------------------------- how edge types differ
def difference_findings(study: NoiseStudy) -> list[Finding]:
    """How each edge type differs from the reference, with the supporting line behind it and the verdict."""
    if study.comparison is None:
        return [Finding(sentence=study.not_compared or study.not_studied)]
    compared = study.comparison
    rows, own = compared.primary(), compared.above_own()
    if rows.empty:
        return [Finding(sentence=compared.headline())]
    basis = rows[c.BASIS].iloc[0]
    tail = "" if basis == noise_comparison.AS_MEASURED else f" ({basis})"
    found = []
    for _, row in rows.iterrows():
        clause = noise_comparison.difference_clause(row, compared.label, compared.confidence_level)
        support = [
            noise_support.support(compared, row, line)
            for _, line in own[own[c.EDGE_TYPE] == row[c.EDGE_TYPE]].iterrows()
        ]
        found.append(
            Finding(
                sentence=f"In the cab with the blade down{tail}, {clause}.",
                detail=" ".join(support),
                verdict=verdict_of(row, 0.0, compared.confidence_level),
            )
        )
    return found


def front_findings(study: NoiseStudy) -> list[Finding]:
    """How each edge type differs from the reference in the cab, in one short line with the verdict; for the front of a report.

    The conditions under which that holds, and the supporting line, are said by `difference_findings`.
    """
    if study.comparison is None:
        return []
    compared = study.comparison
    return [
        Finding(
            sentence=noise_comparison.short_sentence(row, compared.label, compared.confidence_level),
            verdict=verdict_of(row, 0.0, compared.confidence_level),
        )
        for _, row in compared.primary().iterrows()
    ]


def front_brief(study: NoiseStudy) -> list[Finding]:
    """The same with one line for all edge types where no difference is shown for any."""
    told = front_findings(study)
    if study.comparison is None or len(told) < 2 or {item.verdict for item in told} != {NOT_SHOWN}:
        return told
    compared = study.comparison
    rows = compared.primary()
    reference = compared.label(str(rows[c.REFERENCE].iloc[0]))
    return [
        Finding(
            sentence=f"No difference in cab noise from {reference} is shown: {noise_support.sizes(compared, rows)}.",
            verdict=NOT_SHOWN,
        )
    ]


def council_brief(noise: NoiseStudy, vibration: VibrationStudy) -> list[str]:
    """What a council has room for: what a storm shift comes to, and differences in the cab that are shown."""
    said = [shift_sentence(noise, noise.brief)] if noise.levels is not None else []
    both = [*difference_findings(noise)] if noise.comparison is not None else []
    both += vibration_findings(vibration) if vibration.comparison is not None else []
    said += [item.sentence for item in both if item.verdict in (BETTER, WORSE)]
    said += noise_support.only_above_own(noise)
    if noise.levels is None and noise.is_recorded:
        said.append(noise.not_studied)
    if not said:
        said = (
            [NEITHER_MEASURED]
            if not noise.is_recorded and not vibration.is_recorded
            else [front_sentence(noise, vibration)]
        )
    return said


def front_sentence(noise: NoiseStudy, vibration: VibrationStudy) -> str:
    """Why there is no more to say about the cab."""
    return vibration.not_compared or vibration.not_studied or noise.not_compared or NEITHER_MEASURED


def vibration_findings(study: VibrationStudy) -> list[Finding]:
    """How each edge type differs from the reference in whole-body vibration, with the verdict."""
    if study.comparison is None:
        return [Finding(sentence=study.not_compared or study.not_studied)]
    compared = study.comparison
    rows = _largest(compared)
    if rows.empty:
        return [Finding(sentence=compared.sentence())]
    return [
        Finding(
            sentence="In the largest axis of whole-body vibration at the seat, "
            f"{vibration_comparison.ratio_clause(row, compared.label, compared.confidence_level)}.",
            verdict=verdict_of(row, 1.0, compared.confidence_level),
        )
        for _, row in rows.iterrows()
    ]


def _largest(compared: vibration_comparison.VibrationComparison) -> pd.DataFrame:
    return compared.table[compared.table[c.AXIS] == vibration_comparison.LARGEST]


def daily_vibration_finding(study: VibrationStudy) -> Finding:
    """The daily exposure, with what it comes to beside the criteria; why there is nothing where it was not studied."""
    if study.exposure is None:
        return Finding(sentence=study.not_studied)
    result = study.exposure
    governing = result.governing()
    said: list[str] = []
    for criterion in result.criteria:
        mine = result.table[
            (result.table[c.CRITERION] == criterion.name) & result.table.index.isin(_governing_rows(result))
        ]
        clauses: list[str] = []
        for answer, verb in VERBS.items():
            names = [
                result.label(row[c.EDGE_TYPE])
                for _, row in mine.iterrows()
                if row[c.REACHED] == answer and math.isfinite(row[c.A8_LOW_M_S2])
            ]
            if names:
                every = len(names) == len(governing) and len(names) > 1
                what = f"the {criterion.label} of {criterion.a8_m_s2:g} m/s²" if not clauses else "it"
                clauses.append(f"{verb} {what} with {'every edge type' if every else listed(names)}")
        if clauses:
            said.append(f"That {listed(clauses)}.")
    beside = " ".join([*said, HOURS_LIKE_SAMPLES, *study.unplaced])
    return Finding(sentence=result.sentence(), detail=beside)


def _governing_rows(result) -> pd.Index:
    return result.table.index[result.table[c.GOVERNS] == YES]


def verdicts(noise: NoiseStudy, vibration: VibrationStudy) -> pd.DataFrame:
    """The verdict on each edge type and question, with the sentence and the rule behind it.

    Returns
    -------
    DataFrame
        question, edge_type, verdict {better, worse, not_shown, not_enough_data}, sentence, rule; empty where nothing was
        compared.
    """
    rows: list[tuple[str, ...]] = []
    if noise.comparison is not None:
        types = noise.comparison.primary()[c.EDGE_TYPE]
        level = noise.comparison.confidence_level
        rows += _verdict_rows(NOISE_QUESTION, types, difference_findings(noise), level)
    if vibration.comparison is not None:
        types = _largest(vibration.comparison)[c.EDGE_TYPE]
        level = vibration.comparison.confidence_level
        rows += _verdict_rows(VIBRATION_QUESTION, types, vibration_findings(vibration), level)
    return pd.DataFrame(rows, columns=VERDICT_COLUMNS)


def _verdict_rows(
    question: str, types: pd.Series, found: Sequence[Finding], confidence_level: float
) -> list[tuple[str, ...]]:
    """One row for each edge type that was compared."""
    holm = ", after Holm's adjustment over the edge types" if len(types) > 1 else ""
    rule = (
        f"Better or worse only where the {level_words(confidence_level)}, the truck being the unit, leaves out that there is no "
        f"difference{holm}."
    )
    return [
        (question, str(edge), item.verdict, item.sentence, rule)
        for edge, item in zip(types, found, strict=False)
    ]


# ---------------------------------------------------------------- for the council
def council_findings(noise: NoiseStudy, vibration: VibrationStudy) -> list[Finding]:
    """What a council is told: differences first, then what a storm shift comes to under at most three criteria.

    That a trial has no sample of noise, or of vibration, is said where a report lists what was not studied, and here only if
    it has neither.
    """
    if not noise.is_recorded and not vibration.is_recorded:
        return [Finding(sentence=NEITHER_MEASURED)]
    found: list[Finding] = []
    if noise.levels is None:
        found = [Finding(sentence=noise.not_studied)] if noise.is_recorded else []
    else:
        exposure = noise.exposure
        hours = exposure.shift_length_h if exposure is not None else math.nan
        meaning = " ".join([*(criterion_words(criterion, hours) for criterion in noise.brief), MAY_REACH])
        found = [
            *difference_findings(noise),
            Finding(sentence=shift_sentence(noise, noise.brief), detail=meaning),
        ]
    if vibration.exposure is None:
        return [*found, Finding(sentence=vibration.not_studied)] if vibration.is_recorded else found
    return [*found, *vibration_findings(vibration), daily_vibration_finding(vibration)]


def council_notes(noise: NoiseStudy, vibration: VibrationStudy) -> list[str]:
    """What has to be said with it: uneven conditions, what the samples leave open, and the cautions."""
    uneven = noise.comparison.uneven if noise.comparison is not None else ()
    counts_from = [one for one in noise.brief if one.threshold_dba is not None]
    quiet = [QUIET_SAMPLES] if counts_from and noise.levels is not None else []
    return [*uneven, *gaps(noise), *quiet, *cautions(noise, vibration)]


def cautions(noise: NoiseStudy, vibration: VibrationStudy) -> list[str]:
    """The cautions that go with every such result; none where nothing was studied."""
    return [
        *(NOISE_CAUTIONS if noise.levels is not None else ()),
        *(VIBRATION_CAUTIONS if vibration.exposure is not None else ()),
    ]


def dose_cell(row: Mapping[Any, Any]) -> str:
    """A dose with its range, not to be broken over two lines."""
    return dose_text(row).replace(" ", "\u00a0")


def reached_cell(row: Mapping[Any, Any]) -> str:
    """Whether the criterion is reached, in the words of the sentences; nothing where the dose has no range."""
    return REACHED_WORDS[str(row[c.REACHED])] if math.isfinite(row[c.DOSE_LOW_PCT]) else NO_INTERVAL
