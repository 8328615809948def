"""From a trial to its analyses: which tables and settings each analysis is given.

Answers: what goes into the wear analysis of this trial, and what comes out with and without the excluded rows?

Analyses take plain frames and values and know nothing of a trial; this is the one place where the two meet, so that a
notebook stays thin and every notebook asks in the same way.
"""

from __future__ import annotations

import pandas as pd

from trialkit import columns as c
from trialkit.edges import comparison, wear
from trialkit.trial import lineage
from trialkit.trial.checks import Trial
from trialkit.trial.heightchecks import repeatability_of

READINGS, EVENTS, SETS, SHIFTS, TYPES, GAUGE = (
    "wear_readings", "set_events", "edge_sets", "shifts", "edge_types", "gauge_readings",
)  # fmt: skip
WITH_EXCLUSIONS = "as decided"
WITHOUT_EXCLUSIONS = "with every reading that was left out"


def labels(trial: Trial) -> dict[str, str]:
    """Edge type -> the name that the report prints."""
    types = trial[TYPES]
    return {
        str(name): str(label) if pd.notna(label) else str(name)
        for name, label in zip(types[c.EDGE_TYPE], types[c.LABEL], strict=True)
    }


def reference_label(trial: Trial) -> str:
    """The printed name of the edge type with which the others are compared."""
    return labels(trial)[trial.settings.reference_edge_type]


def segments(trial: Trial, readings: pd.DataFrame | None = None) -> pd.DataFrame:
    """The trial's readings with truck, edge type, segment and blade-down miles; see `lineage.wear_segments`.

    Parameters
    ----------
    trial : Trial
        A trial without errors.
    readings : DataFrame, optional
        Other readings than the trial's own.
    """
    shifts = trial[SHIFTS] if trial.has(SHIFTS) else None
    return lineage.wear_segments(
        trial[READINGS] if readings is None else readings, trial[EVENTS], trial[SETS], shifts
    )


def wear_rates(trial: Trial, readings: pd.DataFrame | None = None) -> wear.WearRates:
    """Wear rate of each edge type in this trial; see `wear.fit_wear_rates`."""
    types = trial[TYPES]
    return wear.fit_wear_rates(
        segments(trial, readings),
        confidence_level=trial.confidence_level,
        repeatability_in=repeatability_of(trial[GAUGE]) if trial.has(GAUGE) else None,
        run_in_mi=trial.settings.plan.run_in_mi,
        usable_depth_in=dict(zip(types[c.EDGE_TYPE].astype(str), types[c.USABLE_DEPTH_IN], strict=True)),
        labels=labels(trial),
    )


def wear_comparison(trial: Trial, rates: wear.WearRates | None = None) -> comparison.WearComparison:
    """Every edge type against the reference; see `comparison.compare_edge_types`."""
    return comparison.compare_edge_types(
        rates or wear_rates(trial), reference=trial.settings.reference_edge_type
    )


def exclusion_effect(trial: Trial) -> pd.DataFrame:
    """The wear ratios as decided and with every reading that a decision left out.

    Returns
    -------
    DataFrame
        The ratios of `wear_comparison` with a column `rule` that says which rows were used; empty if no reading was
        left out.
    """
    left_out = trial.excluded.get(READINGS)
    if left_out is None or left_out.empty:
        return pd.DataFrame()
    everything = pd.concat([trial[READINGS], left_out]).sort_index()
    both = {
        WITH_EXCLUSIONS: wear_comparison(trial),
        WITHOUT_EXCLUSIONS: wear_comparison(trial, wear_rates(trial, everything)),
    }
    return pd.concat(
        [found.table.assign(**{c.RULE: rule}) for rule, found in both.items()], ignore_index=True
    )
