"""Every verdict of a trial in one table.

Answers: what was found of each edge type, question by question, and under which rule?
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import level_words, position_name
from trialkit.report import life_words, noise_words
from trialkit.report.cost_study import CostStudy
from trialkit.report.life_study import LifeStudy
from trialkit.report.noise_study import NoiseStudy, VibrationStudy
from trialkit.verdicts import INTERIM

VERDICT_COLUMNS = [c.QUESTION, c.EDGE_TYPE, c.VERDICT, c.SENTENCE, c.RULE]
LIFE_QUESTION = "Does a set last longer?"
MARGIN_QUESTION = "Does a set last no worse, by the agreed margin?"


def verdicts(
    found: CostStudy,
    lives: LifeStudy | None = None,
    noise: NoiseStudy | None = None,
    vibration: VibrationStudy | None = None,
    material: pd.DataFrame | None = None,
    *,
    interim: bool = False,
) -> pd.DataFrame:
    """One table of all questions: what was found of each edge type, and under which rule.

    Parameters
    ----------
    found : CostStudy
    lives : LifeStudy, optional
    noise, vibration : NoiseStudy, VibrationStudy, optional
        Both or none.
    material : DataFrame, optional
        question, edge_type, verdict, sentence, rule of material and clearing.
    interim : bool
        Whether the season is still going on: every sentence is then marked.

    Returns
    -------
    DataFrame
        question, edge_type, verdict {better, worse, no_worse, not_shown, not_enough_data}, sentence, rule; cost first.
    """
    parts = [found.verdicts.table[VERDICT_COLUMNS]] if found.verdicts is not None else []
    if lives is not None:
        parts.append(_life_verdicts(lives))
    if noise is not None and vibration is not None:
        parts.append(noise_words.verdicts(noise, vibration))
    if material is not None and len(material):
        parts.append(material[VERDICT_COLUMNS])
    kept = [part.astype(object) for part in parts if len(part)]
    table = pd.concat(kept, ignore_index=True) if kept else pd.DataFrame(columns=VERDICT_COLUMNS)
    is_interim = interim or (found.verdicts is not None and found.verdicts.rule.interim)
    return table.assign(**{c.SENTENCE: [marked(one) for one in table[c.SENTENCE]]}) if is_interim else table


def marked(sentence: str) -> str:
    """The sentence with the mark of an interim result."""
    return sentence if INTERIM in sentence else f"{sentence.removesuffix('.')} ({INTERIM})."


def _life_verdicts(lives: LifeStudy) -> pd.DataFrame:
    """The verdicts on life, and on the agreed margin if there is one."""
    level = level_words(lives.confidence_level)
    rule = (
        f"Better or worse only where the {level} of the ratio of lives, the truck being the unit, leaves out that both last as long"
        + (
            ", after Holm's adjustment over the edge types."
            if lives.compared.table[c.EDGE_TYPE].nunique() > 1
            else "."
        )
    )
    several = lives.compared.table[c.PLOW_POSITION].nunique() > 1

    def rows(question: str, table: pd.DataFrame, told: Sequence[Any], words: str) -> list[tuple[str, ...]]:
        where = [f" ({position_name(str(place))})" if several else "" for place in table[c.PLOW_POSITION]]
        asked = [f"{question}{one}" for one in where]
        kinds = [str(kind) for kind in table[c.EDGE_TYPE]]
        return [
            (ask, kind, one.verdict, one.sentence, words)
            for ask, kind, one in zip(asked, kinds, told, strict=False)
        ]

    found = rows(LIFE_QUESTION, lives.compared.table, life_words.findings(lives), rule)
    if lives.margin is not None:
        agreed = lives.margin.method
        found += rows(MARGIN_QUESTION, lives.margin.table, life_words.margin_findings(lives), agreed)
    return pd.DataFrame(found, columns=VERDICT_COLUMNS)
