"""Every analysis that has a part of the council report, run once.

Answers: what does the council report rest on, and which of its results can be compared with those of an earlier report?
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from trialkit.edges import comparison, wear
from trialkit.errors import UsageError
from trialkit.report import (
    changes,
    cost_study,
    doubt_study,
    life_study,
    material_study,
    noise_study,
    reuse,
    study,
)
from trialkit.report.cost_study import CostStudy
from trialkit.report.doubt_study import Doubt
from trialkit.report.life_study import LifeStudy
from trialkit.report.material_study import MaterialStudy
from trialkit.report.noise_study import NoiseStudy, VibrationStudy
from trialkit.trial.checks import Trial


@dataclass(frozen=True, eq=False)
class Studies:
    """Everything that was worked out for the report."""

    rates: wear.WearRates
    compared: comparison.WearComparison
    lives: LifeStudy
    cost: CostStudy
    noise: NoiseStudy
    shaking: VibrationStudy
    material: MaterialStudy
    doubt: Doubt

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The results that leave the tool, by the name of their file."""
        return {
            "wear_rates": self.rates.frame(),
            "wear_ratios": self.compared.frame(),
            **life_study.tables(self.lives),
            **self.cost.tables,
            **self.noise.tables,
            **self.shaking.tables,
            **self.material.tables,
        }


def studies(trial: Trial, *, interim: bool = False) -> Studies:
    """Run every analysis that has a part of the report; an interim one decides nothing."""
    rates = study.wear_rates(trial)
    lives = life_study.study_lives(trial, rates)
    material = material_study.study_material(trial)
    return Studies(
        rates=rates,
        compared=study.wear_comparison(trial, rates),
        lives=lives,
        cost=cost_study.study_costs(trial, lives, material_study.saving_per_mile(material), interim=interim),
        noise=noise_study.noise_in_cab(trial),
        shaking=noise_study.vibration_at_seat(trial),
        material=material,
        doubt=doubt_study.doubts(trial, rates),
    )


def changes_since(run_folder: str, trial: Trial, found: Studies) -> changes.Changes | None:
    """What has changed since an earlier run; None if no run is named.

    Parameters
    ----------
    run_folder : str
        Folder of the earlier run; may be empty.
    trial : Trial
        The trial as it is now.
    found : Studies
        Its results.

    Raises
    ------
    UsageError
        If the folder is not that of a finished run.
    """
    if not run_folder:
        return None
    run = reuse.read_run(Path(run_folder))
    if run is None:
        raise UsageError(
            f"{run_folder} is not the folder of a finished run: it has no readable {reuse.RUN_RECORD}."
        )
    return changes.compare_with(run, trial, found.tables)
