"""From the winters of a trial to the comparison over all of them.

Answers: which lives of which winters are compared, and what do several winters say together?
"""

from __future__ import annotations

import pandas as pd

from trialkit import columns as c
from trialkit.edges import life, seasons, wear
from trialkit.report import blocks, life_study, study
from trialkit.trial.checks import Trial

TITLE = "Winter by winter"
CAPTION = "How many times as long as the reference each edge type lasted, by winter"
CAVEATS_TITLE = "Small print of the winters"
ONE_WINTER = (
    "This trial holds one winter. The folders of earlier winters can be named in trial.toml (earlier_seasons); then every "
    "winter is compared with itself, and all of them together if that was agreed."
)
HEADINGS = {c.ESTIMATE: "Times as long"}


def compare_seasons(trial: Trial, projection: life.LifeProjection) -> seasons.SeasonComparison | None:
    """Lives against the reference winter by winter; None if the trial holds one winter.

    Parameters
    ----------
    trial : Trial
        The trial, with its earlier winters.
    projection : LifeProjection
        The lives of its own winter.
    """
    if not trial.earlier:
        return None
    every = [
        (trial, projection),
        *((earlier, life_study.life_projection(earlier)) for earlier in trial.earlier),
    ]
    every.sort(key=lambda pair: pair[0].settings.season)
    trucks = [found.trucks.assign(**{seasons.SEASON: own.settings.season}) for own, found in every]
    kept = [frame.astype(dict.fromkeys(frame.select_dtypes("category").columns, object)) for frame in trucks]
    labels = {name: label for own, _ in every for name, label in study.labels(own).items()}
    return seasons.compare_over_seasons(
        pd.concat(kept, ignore_index=True), trial.settings.reference_edge_type, rule=trial.settings.plan.pool_seasons,
        confidence_level=trial.confidence_level, labels=labels,
    )  # fmt: skip


def seasons_of(trial: Trial, rates: wear.WearRates) -> seasons.SeasonComparison | None:
    """The same from the wear rates of the trial's own winter."""
    return compare_seasons(trial, life_study.life_projection(trial, rates)) if trial.earlier else None


def in_blocks(found: seasons.SeasonComparison | None) -> list[blocks.Block]:
    """What the winters say in words, the figures of each and of all together, and what to keep in mind."""
    if found is None:
        return [blocks.text(ONE_WINTER)]
    shown = found.table.drop(columns=[seasons.P_ALIKE])
    return [
        blocks.findings(found.sentences() or (found.sentence(),), title=TITLE),
        blocks.table(
            shown, CAPTION, headings=HEADINGS, labels=found.labels, confidence_level=found.confidence_level
        ),
        blocks.notes([found.method, *found.notes], title=CAVEATS_TITLE),
    ]


def tables(found: seasons.SeasonComparison | None) -> dict[str, pd.DataFrame]:
    """`seasons`, if the trial holds several winters."""
    return {} if found is None else {"seasons": found.frame()}
