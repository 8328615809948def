"""From a trial to the analyses that put its findings in doubt.

Answers: what is tried on the wear findings of this trial, and with which of its readings?
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit.edges import blade_share, crosscheck, curvature, outliers, seasons, sensitivity, variants, wear
from trialkit.formatting import counted
from trialkit.report import assignment_study, season_study, study
from trialkit.trial.checks import Trial
from trialkit.trial.heightchecks import repeatability_of

MOST_ONE_BY_ONE = 12
"""Readings that were left out are put back one by one up to so many; more of them only all together."""


@dataclass(frozen=True, eq=False)
class Doubt:
    """What was tried on the wear findings of a trial.

    Attributes
    ----------
    rates : WearRates
        The wear rates as reported.
    readings : DataFrame
        The readings behind them.
    cross : CrossCheck
        The rates against one mixed model of all readings.
    board : SensitivityBoard
        The comparison with one thing changed at a time.
    bend, run_in : EarlyLate
        Late against early wear, without and with the readings that are left out as running-in.
    apart : Outliers
        Trucks, segments and readings that stand apart.
    shares : BladeShares
        Share of the odometer miles with the blade down.
    run_in_mi : float
        Miles after an install that are left out. [mi]
    winters : SeasonComparison or None
        Lives winter by winter; None if the trial holds one.
    """

    rates: wear.WearRates
    readings: pd.DataFrame
    cross: crosscheck.CrossCheck
    board: sensitivity.SensitivityBoard
    bend: curvature.EarlyLate
    run_in: curvature.EarlyLate
    apart: outliers.Outliers
    shares: blade_share.BladeShares
    run_in_mi: float
    winters: seasons.SeasonComparison | None = None

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that leave the tool, by name."""
        return {
            "sensitivity": self.board.frame(),
            "crosscheck": self.cross.frame(),
            "early_late": self.bend.frame(),
            "stands_apart": self.apart.frame(),
            "blade_shares": self.shares.frame(),
            **season_study.tables(self.winters),
        }


def doubts(trial: Trial, rates: wear.WearRates | None = None) -> Doubt:
    """Everything that is tried on the wear findings of this trial.

    Parameters
    ----------
    trial : Trial
        A trial without errors.
    rates : WearRates, optional
        The wear rates of the trial, if they are at hand.
    """
    readings = study.segments(trial)
    rates = rates or study.wear_rates(trial)
    run_in_mi = trial.settings.plan.run_in_mi
    repeatability_in = repeatability_of(trial[study.GAUGE]) if trial.has(study.GAUGE) else None
    cross = crosscheck.compare_with_mixed(readings, rates, run_in_mi=run_in_mi)
    apart = outliers.compare_with_the_rest(readings, rates, run_in_mi=run_in_mi)
    shares = blade_share.blade_shares(
        trial[study.EVENTS], trial[study.SHIFTS] if trial.has(study.SHIFTS) else None
    )
    tried = sensitivity.usual_variants(
        readings,
        rates,
        repeatability_in=repeatability_in,
        run_in_mi=run_in_mi,
        cross=cross,
        apart=apart,
        shares=shares,
        others=[
            *_with_readings_put_back(trial, rates, repeatability_in),
            *_only_drawn_by_lot(trial, rates),
        ],
    )
    return Doubt(
        rates=rates,
        readings=readings,
        cross=cross,
        board=sensitivity.compare_variants(rates, tried),
        bend=curvature.compare_early_late(readings, rates, run_in_mi=run_in_mi),
        run_in=curvature.compare_early_late(readings, rates),
        apart=apart,
        shares=shares,
        run_in_mi=run_in_mi,
        winters=season_study.seasons_of(trial, rates),
    )


def _with_readings_put_back(
    trial: Trial, rates: wear.WearRates, repeatability_in: float | None
) -> list[variants.Change]:
    """The comparison with each reading that a decision left out, and with all of them."""
    left_out = trial.excluded.get(study.READINGS)
    if left_out is None or left_out.empty:
        return []
    back = {}
    if len(left_out) <= MOST_ONE_BY_ONE:
        back = {f"with the reading left out, row {row}": left_out.loc[[row]] for row in left_out.index}
    if len(left_out) > 1:
        back[f"with all {counted(len(left_out), 'reading')} left out"] = left_out
    found = []
    for name, rows in back.items():
        readings = study.segments(trial, pd.concat([trial[study.READINGS], rows]).sort_index())
        trucks = readings.loc[rows.index, c.TRUCK_UNIT].astype(str)
        own = rates.trucks[rates.trucks[c.TRUCK_UNIT].astype(str).isin(trucks)]
        found.append(
            variants.refitted(
                variants.READINGS,
                name,
                readings,
                rates,
                repeatability_in=repeatability_in,
                run_in_mi=trial.settings.plan.run_in_mi,
                touched=variants.touched_by(rates, own),
            )
        )
    return [one for one in found if one is not None]


def _only_drawn_by_lot(trial: Trial, rates: wear.WearRates) -> list[variants.Change]:
    """The comparison without the trucks whose edge type was not drawn by lot, or not carried, if there are several."""
    if not trial.has(assignment_study.ASSIGNMENTS):
        return []
    units = assignment_study.not_by_lot(trial)
    trucks = rates.trucks
    own = [
        unit in units
        for unit in zip(trucks[c.TRUCK_ID].astype(str), trucks[c.PLOW_POSITION].astype(str), strict=True)
    ]
    out = trucks[pd.Series(own, index=trucks.index, dtype=bool)]
    compared = set(rates.table.loc[rates.table[c.EDGE_TYPE] != rates.reference, c.PLOW_POSITION])
    out = out[out[c.PLOW_POSITION].isin(compared)]
    if out[c.TRUCK_ID].nunique() < 2:
        return []
    name = "without the trucks whose edge type was not drawn by lot"
    return [variants.without_trucks(rates, out[c.TRUCK_UNIT].astype(str).tolist(), name)]
