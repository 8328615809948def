"""What is said of differences in noise besides the verdict: their sizes, and what shows above each truck's own level.

Answers: how does the comparison above each truck's own level go with the one that counts?
"""

from __future__ import annotations

import math

import pandas as pd

from trialkit import columns as c
from trialkit.cab import noise_comparison
from trialkit.cab.truck_comparison import is_shown
from trialkit.formatting import level_words, listed
from trialkit.report.noise_study import NoiseStudy
from trialkit.verdicts import BETTER, NOT_ENOUGH_DATA, NOT_SHOWN, WORSE, Verdict

DOES_SHOW = "a difference does show"


def verdict_of(row: pd.Series, none: float, confidence_level: float) -> Verdict:
    """Better where a difference is shown, all edge types that were compared counted, and it lies below `none`; worse above."""
    low, high = row[c.CONF_LOW], row[c.CONF_HIGH]
    if not (math.isfinite(low) and math.isfinite(high)):
        return NOT_ENOUGH_DATA
    if not is_shown(row, confidence_level):
        return NOT_SHOWN
    return BETTER if row[c.ESTIMATE] < none else WORSE


def support(compared: noise_comparison.NoiseComparison, row: pd.Series, line: pd.Series) -> str:
    """The same edge type above each truck's own level with the blade up, and how that goes with the line that counts."""
    level = compared.confidence_level
    clause = noise_comparison.difference_clause(line, compared.label, level)
    of_row, of_line = verdict_of(row, 0.0, level), verdict_of(line, 0.0, level)
    if of_line in (BETTER, WORSE) and of_row not in (BETTER, WORSE):
        return (
            f"Taken {noise_comparison.ABOVE_OWN} {DOES_SHOW}: {clause}. The verdict goes by the stricter line above, in "
            "which trucks that differ in loudness count in full."
        )
    said = f"Taken {noise_comparison.ABOVE_OWN}: {clause}."
    if of_row == of_line:
        return f"{said} This agrees with the line above and does not replace it."
    if of_row in (BETTER, WORSE) and of_line != NOT_ENOUGH_DATA:
        return f"{said} This does not bear out the line above, by which the verdict goes; part of the difference may be the trucks'."
    return f"{said} The verdict goes by the line above."


def sizes(compared: noise_comparison.NoiseComparison, rows: pd.DataFrame) -> str:
    """Estimate and interval of each edge type, the level of the interval said once."""
    level = f"{level_words(compared.confidence_level)} "
    said = []
    for _, row in rows.iterrows():
        size, low, high = (
            noise_comparison.difference_words(row[name]) for name in (c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH)
        )
        said.append(f"{compared.label(str(row[c.EDGE_TYPE]))} {size} ({level}{low} to {high})")
        level = ""
    return listed(said)


def only_above_own(study: NoiseStudy) -> list[str]:
    """Differences that show only above each truck's own level with the blade up, in one sentence."""
    if study.comparison is None:
        return []
    compared = study.comparison
    level, own = compared.confidence_level, compared.above_own()
    clauses = [
        noise_comparison.difference_clause(line, compared.label, level)
        for _, row in compared.primary().iterrows()
        for _, line in own[own[c.EDGE_TYPE] == row[c.EDGE_TYPE]].iterrows()
        if verdict_of(line, 0.0, level) in (BETTER, WORSE) and verdict_of(row, 0.0, level) == NOT_SHOWN
    ]
    if not clauses:
        return []
    return [
        f"Taken {noise_comparison.ABOVE_OWN} {DOES_SHOW} in noise: {listed(clauses)}. The verdict goes by the levels themselves, in which "
        "trucks that differ in loudness count in full."
    ]
