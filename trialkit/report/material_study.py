"""From a trial to what it takes to clear a road: material, passes, hours, snow left behind, ratings and a season's saving.

Answers: what was found about salt and clearing, or why was it not studied?

A trial need not have recorded any of it. A study then holds no results and one sentence that says so; a part that could not be
worked out says why. Nothing here fails for want of records.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.clearing import comparison, measures, rates, ratings, season_saving, severity, spreading
from trialkit.clearing.comparison import ClearingComparison
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import counted, sentence_case
from trialkit.report import material_tables, study
from trialkit.report.material_records import (
    MATERIAL,
    PLAN,
    RATINGS,
    STORMS,
    MaterialRecords,
    kind_column,
    read_records,
)
from trialkit.report.material_tables import shown_differences, stacked
from trialkit.trial.checks import Trial

ALL_MEASURE = measures.material_use(rates.ALL_MATERIAL, "material", amount=rates.DRY_LB)
CHLORIDE_MEASURE = measures.material_use(rates.CHLORIDE, "chloride", amount=rates.CHLORIDE_LB)
CLEARING = (measures.PASSES, measures.HOURS, measures.RESIDUAL_SNOW)
CLEARING_ITEM = "clearing"
"""The item of the ratings that a council is told about."""
FEWEST_SHIFTS_OF_A_KIND = 10
"""Shifts with one material, from which on it is compared by itself; common practice, no source."""
MATERIAL_ITEM, HOURS_ITEM = "material", "crew hours"
NO_SHIFTS = "Salt and clearing were not studied: no shift was recorded."
NO_RATINGS = "What operators thought was not recorded."
NO_MATERIAL = "Salt was not studied: no record of material spread was kept."


@dataclass(frozen=True, eq=False)
class MaterialStudy:
    """What a trial found about material and clearing.

    Attributes
    ----------
    records : MaterialRecords or None
        The shifts; None where there are none.
    material : tuple of ClearingComparison
        Material in all, its chloride, and each kind with enough shifts, per lane-mile.
    clearing : tuple of ClearingComparison
        Passes, hours per lane-mile, and the snow left behind.
    ratings : RatingComparison or None
        What operators thought of the clearing.
    storms : StormSeverity or None
        How hard the storms were.
    storms_by_type : DataFrame
        Mean severity of the storms that each edge type met.
    slope : SeveritySlope or None
        How much more material a harder storm takes.
    use : ReferenceUse or None
        What a mile takes with the reference.
    saving : SeasonSaving or None
        What another edge type would save the fleet.
    not_studied : str
        Why there are no results on material; empty where there are.
    not_compared : mapping
        Measure -> why it is not compared.
    notes : tuple of str
        What the records leave open and the caveats of all parts, each once.
    """

    records: MaterialRecords | None
    material: tuple[ClearingComparison, ...] = ()
    clearing: tuple[ClearingComparison, ...] = ()
    ratings: ratings.RatingComparison | None = None
    storms: severity.StormSeverity | None = None
    storms_by_type: pd.DataFrame = field(default_factory=pd.DataFrame)
    slope: severity.SeveritySlope | None = None
    use: spreading.ReferenceUse | None = None
    saving: season_saving.SeasonSaving | None = None
    not_studied: str = ""
    not_compared: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    reference: str = ""
    confidence_level: float = 0.95
    currency: str = "USD"
    rate_basis: str = rates.LANE_MILE
    policy_rate_lb_lane_mi: float = math.nan

    def label(self, edge_type: str) -> str:
        """Name of an edge type as sentences print it."""
        return self.labels.get(edge_type, edge_type.replace("_", " "))

    @property
    def main(self) -> ClearingComparison | None:
        """The comparison of material in all, if there is one."""
        return next((one for one in self.material if one.measure.material == rates.ALL_MATERIAL), None)

    @property
    def comparisons(self) -> tuple[ClearingComparison, ...]:
        """All comparisons, material first."""
        return (*self.material, *self.clearing)

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all was compared."""
        return not self.comparisons and self.ratings is None

    @property
    def spread(self) -> pd.DataFrame:
        """What each edge type spread, by material and in all."""
        return material_tables.spread_by_type(self.records)

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables that leave the tool, by name; with headings only where nothing was studied."""
        saving = self.saving
        return {
            "material": material_tables.material_table(self.material),
            "material_spread": self.spread,
            "material_naive": stacked([one.naive for one in self.comparisons]),
            "clearing": material_tables.clearing_table(self.clearing, self.ratings),
            "clearing_variants": stacked([one.variants for one in self.comparisons]),
            "storms": self.storms.frame()
            if self.storms is not None
            else pd.DataFrame(columns=severity.COLUMNS),
            "season_saving": saving.frame()
            if saving is not None
            else pd.DataFrame(columns=season_saving.SEASON_COLUMNS),
            "material_saving_per_mile": saving_per_mile(self),
            "hours_saved": hours_saved(self),
        }


def study_material(trial: Trial) -> MaterialStudy:
    """What this trial found about material and clearing; see the package `clearing`.

    Parameters
    ----------
    trial : Trial
        A trial without errors, with or without shifts, storms, material and ratings.
    """
    settings = trial.settings
    own = settings.material
    policy_lb = math.nan if own.policy_rate_lb is None else own.policy_rate_lb
    empty = MaterialStudy(
        None,
        labels=study.labels(trial),
        reference=settings.reference_edge_type,
        confidence_level=trial.confidence_level,
        currency=settings.currency,
        rate_basis=own.rate_basis,
        policy_rate_lb_lane_mi=rates.rate_per_lane_mile(policy_lb, own.policy_rate_basis),
    )
    storms = severity.rate_storms(trial[STORMS]) if trial.has(STORMS) else None
    if not trial.has(study.SHIFTS):
        return replace(empty, storms=storms, not_studied=NO_SHIFTS)
    records = read_records(trial)
    compared, not_compared = _compare_all(
        records, settings.reference_edge_type, trial.confidence_level, empty.labels
    )
    rated, why = _rated(trial, records)
    if why:
        not_compared[RATINGS] = why
    slope = _slope(records, storms, trial.confidence_level)
    typical = own.typical_severity
    use = spreading.reference_use(
        records.shifts,
        settings.reference_edge_type,
        severity_factor=slope.factor(typical) if slope is not None and typical is not None else 1.0,
        confidence_level=trial.confidence_level,
    )
    found = replace(
        empty,
        records=records,
        material=tuple(one for one in compared if one.measure.material),
        clearing=tuple(one for one in compared if not one.measure.material),
        ratings=rated,
        storms=storms,
        storms_by_type=_storms_by_type(records, storms),
        slope=slope,
        use=use,
        not_studied=_why_no_material(trial, records),
        not_compared=not_compared,
        notes=_once(
            records.notes,
            _severity_notes(storms, slope, typical),
            *_caveats(compared),
            rated.notes if rated else (),
        ),
    )
    return replace(found, saving=season_of(found, trial[PLAN])) if trial.has(PLAN) else found


def season_of(found: MaterialStudy, fleet_plan: pd.DataFrame) -> season_saving.SeasonSaving | None:
    """What each edge type would save the fleet in the winters of its plan; None where material was not compared."""
    if found.main is None or found.use is None or found.records is None:
        return None
    chloride = [one for one in found.material if one.measure.material == rates.CHLORIDE]
    return season_saving.project_season(
        stacked([shown_differences(one) for one in (found.main, *chloride)]),
        found.use,
        season_saving.fleet_miles(fleet_plan, found.records.positions),
        currency=found.currency,
        labels=found.labels,
    )


def saving_per_mile(found: MaterialStudy) -> pd.DataFrame:
    """What each edge type saves in material per blade-down mile, in money; for the cost of an edge.

    Returns
    -------
    DataFrame
        edge_type, reference, estimate, conf_low, conf_high (above zero is saved), unit, shown {yes, no}, smallest_shown, used;
        see `season_saving.saving_per_mile`. Without rows where material was not compared or has no price.
    """
    if found.main is None or found.use is None:
        return pd.DataFrame(columns=season_saving.MILE_COLUMNS)
    return season_saving.saving_per_mile(shown_differences(found.main), found.use, found.currency)


def cost_savings(found: MaterialStudy, hour_price: float = math.nan) -> pd.DataFrame:
    """What each edge type saves per blade-down mile, as the study of cost takes it.

    Parameters
    ----------
    found : MaterialStudy
    hour_price : float
        What an hour with the blade down costs the town; without it hours are not turned into money. [currency/h]

    Returns
    -------
    DataFrame
        edge_type, item ("material", "crew hours"), estimate, conf_low, conf_high (above zero is saved), unit, shown {yes, no}
        and the further columns of `saving_per_mile`.
    """
    parts = [saving_per_mile(found).assign(**{c.ITEM: MATERIAL_ITEM})]
    hours = _hours(found)
    if hours is not None and found.use is not None and math.isfinite(hour_price):
        worth = season_saving.crew_saving_per_mile(
            shown_differences(hours), found.use, hour_price, found.currency
        )
        parts.append(worth.assign(**{c.ITEM: HOURS_ITEM}))
    return stacked(parts, [c.EDGE_TYPE, c.ITEM, *season_saving.MILE_COLUMNS[1:]])


def _hours(found: MaterialStudy) -> ClearingComparison | None:
    return next((one for one in found.clearing if one.measure == measures.HOURS), None)


def hours_saved(found: MaterialStudy) -> pd.DataFrame:
    """Blade-down hours that each edge type saves per lane-mile treated; columns as those of `saving_per_mile`."""
    hours = _hours(found)
    if hours is None or found.use is None:
        return pd.DataFrame(columns=season_saving.MILE_COLUMNS)
    return season_saving.hours_saved(shown_differences(hours), found.use)


# ---------------------------------------------------------------- parts
def _measures(records: MaterialRecords) -> list[measures.Measure]:
    """What is compared: material in all, its chloride, each kind with enough shifts, then the clearing."""
    found = [ALL_MEASURE, CHLORIDE_MEASURE] if records.has_rates else []
    if len(records.kinds) > 1:
        for kind in records.kinds:
            column = kind_column(kind)
            if (records.shifts[column] > 0).sum() >= FEWEST_SHIFTS_OF_A_KIND:
                found.append(measures.material_use(kind, rates.word(kind), amount=column))
    return [*found, *CLEARING]


def _compare_all(
    records: MaterialRecords, reference: str, confidence_level: float, labels: Mapping[str, str]
) -> tuple[list[ClearingComparison], dict[str, str]]:
    """Every comparison that can be made, and why the others cannot."""
    compared, why = [], {}
    for measure in _measures(records):
        key = measure.material or measure.name
        if not (records.shifts[measure.amount].notna() & records.shifts[c.EDGE_TYPE].notna()).any():
            why[key] = f"No shift records {measure.noun}."
            continue
        try:
            compared.append(
                comparison.compare_edge_types(
                    records.shifts,
                    measure,
                    reference=reference,
                    confidence_level=confidence_level,
                    labels=labels,
                )
            )
        except (NotEnoughDataError, UsageError):
            name = labels.get(reference, reference)
            why[key] = (
                f"{sentence_case(measure.phrase)} could not be compared: no storm has it on record both with {name} and with another "
                "edge type."
            )
    return compared, why


def _rated(trial: Trial, records: MaterialRecords) -> tuple[ratings.RatingComparison | None, str]:
    """What operators thought, item by item, or why that is not known."""
    if not trial.has(RATINGS):
        return None, NO_RATINGS
    given = trial[RATINGS]
    shifts = records.shifts.drop_duplicates(c.SHIFT_ID)
    shifts = shifts.set_index(shifts[c.SHIFT_ID].astype(object))
    ids = given[c.SHIFT_ID].astype(object)
    frame = given.assign(
        **{name: ids.map(shifts[name].astype(object)) for name in (c.TRUCK_ID, c.EDGE_TYPE, c.OPERATOR)}
    )
    try:
        found = ratings.compare_ratings(
            frame, reference=trial.settings.reference_edge_type, confidence_level=trial.confidence_level,
            labels=study.labels(trial), seed=trial.settings.seed,
        )  # fmt: skip
    except (NotEnoughDataError, UsageError):
        name = study.reference_label(trial)
        return (
            None,
            f"Ratings could not be compared: no item was rated both with {name} and with another edge type.",
        )
    return found, ""


def _slope(
    records: MaterialRecords, storms: severity.StormSeverity | None, confidence_level: float
) -> severity.SeveritySlope | None:
    if storms is None or not records.has_rates:
        return None
    shifts = records.shifts
    rate = shifts[rates.DRY_LB] / shifts[c.LANE_MILES_TREATED].where(shifts[c.LANE_MILES_TREATED] > 0)
    try:
        return severity.fit_slope(rate, shifts[c.STORM_ID], storms.by_storm, confidence_level)
    except NotEnoughDataError:
        return None


def _storms_by_type(records: MaterialRecords, storms: severity.StormSeverity | None) -> pd.DataFrame:
    if storms is None:
        return pd.DataFrame()
    return severity.severity_by_type(records.shifts, storms.by_storm)


def _severity_notes(
    storms: severity.StormSeverity | None, slope: severity.SeveritySlope | None, typical: float | None
) -> tuple[str, ...]:
    notes = storms.notes if storms is not None else ()
    if typical is not None and slope is None:
        notes += (
            "A typical severity is set, but too few storms have both an index and a rate to bring the rate to it; savings are "
            "for storms like those of the trial.",
        )
    return notes


def _why_no_material(trial: Trial, records: MaterialRecords) -> str:
    if not trial.has(MATERIAL):
        return NO_MATERIAL
    if not records.has_rates:
        kept = counted(len(trial[MATERIAL]), "record")
        missing = (
            "a known mass"
            if records.shifts[rates.DRY_LB].isna().all()
            else f"{display.word('lane-miles')} treated"
        )
        return f"Salt was not studied: there {'is' if len(trial[MATERIAL]) == 1 else 'are'} {kept} of material, but no shift with {missing}."
    return ""


def _caveats(compared: Sequence[ClearingComparison]) -> list[tuple[str, ...]]:
    """The notes of material in all and of the clearing; single materials are left out of most shifts by their nature."""
    return [one.notes for one in compared if one.measure.material in ("", rates.ALL_MATERIAL)]


def _once(*groups: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(note for group in groups for note in group))
