"""The sensitivity board: does the finding stand when one thing is changed?

Answers: on which truck, reading, mile or way of working it out does the comparison hang?

`variants` changes one thing at a time; here the results are laid out beside the comparison as it is reported and judged by
one rule: a finding stands if it is the same finding.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import variants as vr
from trialkit.edges.blade_share import PLOWING, SEASON, BladeShares
from trialkit.edges.crosscheck import CrossCheck
from trialkit.edges.outliers import TRUCK, Outliers
from trialkit.edges.variants import AS_REPORTED, KEYS, MILES, READINGS, Change, Variant
from trialkit.edges.wear import WearRates, run_in_words
from trialkit.formatting import counted, level_words, number, position_words, ratio_number, sentence_case
from trialkit.results import Labelled
from trialkit.table_parts import NO, YES

SLOWER, FASTER, NOT_SHOWN, NO_FINDING = "slower", "faster", "no difference shown", "none"
CANNOT_TELL = "cannot tell"
MOST_NAMED = 4
ODOMETER_NAMES = {
    SEASON: "per odometer mile, all driving",
    PLOWING: "per odometer mile of plowing shifts",
}
TABLE_COLUMNS = [
    *KEYS, c.VARIANT_GROUP, c.VARIANT, c.TRUCK_ID, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.BOUNDED, c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE, c.FOUND, c.STANDS, c.CHANGE_PCT, c.REASON,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class SensitivityBoard(Labelled):
    """Every comparison as reported and with one thing changed at a time.

    Attributes
    ----------
    table : DataFrame
        One row per comparison and variant, the comparison as reported first: `edge_type`, `reference`, `plow_position`,
        `variant_group`, `variant` (what was changed), `truck_id` (the truck that is left out), `estimate` (how many times
        slower), `conf_low`, `conf_high`, `bounded`, `n_trucks`, `n_trucks_reference`, `found` (slower, faster, no
        difference shown, none), `stands` (yes, no, cannot tell), `change_pct` (of the estimate against that reported) and
        `reason` (why there is no ratio).
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    """

    confidence_level: float
    labels: Mapping[str, str]

    def comparisons(self) -> list[pd.DataFrame]:
        """The rows of each comparison, the one as reported first."""
        return [rows for _, rows in self.table.groupby(KEYS, sort=False, observed=True)]

    def trucks(self) -> pd.DataFrame:
        """The rows with one truck left out, and which of them moves each estimate most.

        Returns
        -------
        DataFrame
            Those rows of the table with `moves_most` (yes or no).
        """
        rows = self.table[self.table[c.TRUCK_ID] != ""].reset_index(drop=True)
        moved = rows[c.CHANGE_PCT].abs()
        most = moved.groupby([rows[name] for name in KEYS], sort=False).transform("max")
        return rows.assign(**{MOVES_MOST: np.where((moved == most) & moved.notna(), YES, NO)})

    def sentences(self) -> tuple[str, ...]:
        """For each comparison, whether its finding stands, and the truck that moves it most."""
        several = self.table[c.PLOW_POSITION].nunique() > 1
        return tuple(self._sentence(rows, several) for rows in self.comparisons())

    def sentence(self) -> str:
        """Whether the findings stand, in words."""
        return " ".join(self.sentences()) or "There is no comparison whose finding could be tried."

    def _sentence(self, rows: pd.DataFrame, several: bool) -> str:
        base, others = rows.iloc[0], rows.iloc[1:]
        kind, reference = self.label(base[c.EDGE_TYPE]), self.label(base[c.REFERENCE])
        where = f"on {position_words(base[c.PLOW_POSITION])}, " if several else ""
        if base[c.FOUND] == NO_FINDING:
            return sentence_case(
                f"{where}{kind} against {reference} has no interval, so there is no finding that could stand or fall."
            )
        judged = others[others[c.STANDS] != CANNOT_TELL]
        fallen = judged[judged[c.STANDS] == NO]
        n = len(judged)
        if base[c.FOUND] == NOT_SHOWN:
            finding = f"no difference between {kind} and {reference} is shown"
        else:
            finding = f"{kind} wears {base[c.FOUND]} than {reference}"
        if not n:
            return sentence_case(f"{where}{finding}; no variant of the comparison could be worked out.")
        if fallen.empty:
            every = (
                "in the one other way of working it out" if n == 1 else f"in all {n} ways of working it out"
            )
            said = f"{where}the finding holds {every}: {finding}{' in each' if n > 1 else ''}.{self._range(base, judged)}"
        else:
            named = [self._fallen(row) for row in fallen.head(MOST_NAMED).to_dict("records")]
            more = [f"{len(fallen) - MOST_NAMED} more"] if len(fallen) > MOST_NAMED else []
            said = (
                f"{where}the finding that {finding} holds in {n - len(fallen)} of {n} ways of working it out and falls in "
                f"{len(fallen)}: {'; '.join([*named, *more])}."
            )
        return sentence_case(said) + self._truck(rows) + self._not_possible(others)

    def _range(self, base: pd.Series, judged: pd.DataFrame) -> str:
        """How far the best estimates run, and the end that comes nearest to 1."""
        found = base[c.FOUND]
        if found == NOT_SHOWN:
            return ""
        end = c.CONF_LOW if found == SLOWER else c.CONF_HIGH
        nearest = judged[end].idxmin() if found == SLOWER else judged[end].idxmax()
        row = judged.loc[[nearest]].to_dict("records")[0]
        least = f"the {level_words(self.confidence_level)}s begin at {_times(row[end], found)} or more ({row[c.VARIANT]})"
        values = judged.loc[judged[c.ESTIMATE] > 0, c.ESTIMATE]
        if values.empty:
            return f" {sentence_case(least)}."
        ends = sorted((_times(value, found) for value in (values.min(), values.max())), key=_as_number)
        if ends[0] == ends[1]:
            return f" The best estimate stays at {ends[0]} times {found}; {least}."
        return f" Best estimates run from {' to '.join(ends)} times {found}; {least}."

    def _fallen(self, row: dict[Hashable, Any]) -> str:
        low, high = row[c.CONF_LOW], row[c.CONF_HIGH]
        if row[c.FOUND] != NOT_SHOWN:
            return f"{row[c.VARIANT]} ({row[c.FOUND]})"
        ends = f"{number(low, 2)} to {number(high, 2)} times" if math.isfinite(high) else "no upper end"
        return f"{row[c.VARIANT]} ({NOT_SHOWN}, {ends})"

    def _truck(self, rows: pd.DataFrame) -> str:
        most = self.trucks()
        most = most[(most[MOVES_MOST] == YES) & (most[KEYS] == rows.iloc[0][KEYS]).all(axis=1)]
        if most.empty:
            return ""
        row = most.iloc[0]
        up = "raises" if row[c.CHANGE_PCT] > 0 else "lowers"
        if abs(row[c.CHANGE_PCT]) < 0.5:  # less than what the percent prints
            return " No single truck moves the estimate by a percent."
        return f" Truck {row[c.TRUCK_ID]} moves it most: leaving it out {up} the estimate by {abs(row[c.CHANGE_PCT]):.0f}%."

    def _not_possible(self, others: pd.DataFrame) -> str:
        apart = others[others[c.STANDS] == CANNOT_TELL]
        if apart.empty:
            return ""
        return f" {counted(len(apart), 'variant')} could not be judged."


MOVES_MOST = "moves_most"


def compare_variants(rates: WearRates, variants: Sequence[Variant | Change]) -> SensitivityBoard:
    """Lay the comparison as reported and its variants side by side and judge whether the finding stands.

    Use it with `usual_variants`, and with any variant of one's own. Not as a search for the most pleasing variant: the
    comparison as reported stays the finding.

    Parameters
    ----------
    rates : WearRates
        The wear rates as reported.
    variants : sequence of Variant or Change
        The comparison with one thing changed each.

    Returns
    -------
    SensitivityBoard

    Notes
    -----
    The finding is *slower* if the interval of the ratio lies above 1, *faster* if it lies below, *no difference shown* if it
    holds 1. It stands in a variant if the variant's finding is the same. A variant without an interval cannot tell.
    """
    changes = [one for one in variants if isinstance(one, Change)]
    base, *changed = vr.work_out([Change(AS_REPORTED, AS_REPORTED, rates), *changes])
    worked_out = iter(changed)
    every = [next(worked_out) if isinstance(one, Change) else one for one in variants]
    rows: list[dict[str, Any]] = []
    for reported in base.ratios.to_dict("records"):
        key = (reported[c.EDGE_TYPE], reported[c.PLOW_POSITION])
        for variant in (base, *every):
            if variant.touched is None or key in variant.touched:
                rows.append(_board_row(_row_of(variant, key), variant, reported))
    return SensitivityBoard(
        table=pd.DataFrame(rows, columns=TABLE_COLUMNS),
        method=_METHOD,
        notes=(_NOT_INDEPENDENT,) if rows else (),
        confidence_level=rates.confidence_level,
        labels=rates.labels,
    )


def usual_variants(
    readings: pd.DataFrame,
    rates: WearRates,
    *,
    repeatability_in: float | None = None,
    run_in_mi: float = 0.0,
    cross: CrossCheck | None = None,
    apart: Outliers | None = None,
    shares: BladeShares | None = None,
    others: Sequence[Variant | Change] = (),
) -> list[Variant | Change]:
    """The variants that every trial is tried with.

    Parameters
    ----------
    readings : DataFrame
        The frame that `rates` was fitted to.
    rates : WearRates
        The wear rates as reported.
    repeatability_in, run_in_mi : float
        With which they were fitted.
    cross : CrossCheck, optional
        The mixed model beside the rates.
    apart : Outliers, optional
        What stands apart.
    shares : BladeShares, optional
        Shares of the odometer miles with the blade down.
    others : sequence of Variant or Change
        Variants of this trial's own, for instance with a reading that was left out.

    Returns
    -------
    list of Variant or Change
        Each truck left out; another run-in; what stands apart left out; those of `others`; miles from counters alone;
        odometer miles; geometric means; the thinnest spot; the mixed model. Empty if the reference was never read, since
        there is no comparison to vary then.
    """
    if rates.reference not in set(rates.table[c.EDGE_TYPE].astype(str)):
        return []
    found: list[Variant | Change | None] = [*vr.without_each_truck(rates)]

    def fitted(
        group: str, name: str, frame: pd.DataFrame, run_in: float = run_in_mi, touched: Any = None
    ) -> Change | None:
        return vr.refitted(
            group, name, frame, rates, repeatability_in=repeatability_in, run_in_mi=run_in, touched=touched
        )

    if apart is not None:
        odd = apart.table[apart.table[c.STANDS_APART] == TRUCK][c.TRUCK_UNIT].astype(str).tolist()
        if len(odd) > 1:
            found.append(vr.without_trucks(rates, odd, f"without the {len(odd)} trucks that stand apart"))
        lone = apart.readings[apart.readings[c.STANDS_APART] == YES]
        if len(lone):
            which = (
                "reading that stands apart" if len(lone) == 1 else f"{len(lone):,} readings that stand apart"
            )
            kept = readings[~readings.index.isin(lone.index)]
            touched = vr.touched_by(rates, lone)
            found.append(fitted(READINGS, f"without the {which}", kept, touched=touched))
    if run_in_mi > 0:
        found.append(fitted(READINGS, "nothing left out as running-in", readings, 0.0))
        found.append(
            fitted(READINGS, f"{run_in_words(2 * run_in_mi)} left out as running-in", readings, 2 * run_in_mi)
        )
    else:
        found.append(fitted(READINGS, "without the first readings", vr.without_first_readings(readings)))
    found += others
    if c.MILES_BASIS in readings and readings[c.MILES_BASIS].nunique() > 1:
        counters = readings[readings[c.MILES_BASIS].astype(str) == "counter"]
        if 0 < len(counters) < int(readings[c.MILES_MI].notna().sum()):
            found.append(fitted(MILES, display.words("miles from counters alone"), counters))
    if shares is not None:
        found += [
            vr.per_odometer_mile(rates, shares.shares(name), display.words(ODOMETER_NAMES[name]))
            for name in shares.bases
        ]
    found += [vr.of_log_slopes(rates), vr.of_thinnest_spots(readings, rates)]
    if cross is not None:
        found.append(vr.of_mixed_model(cross, rates))
    return [one for one in found if one is not None]


def _finding(row: Mapping[Any, Any]) -> str:
    low, high = row[c.CONF_LOW], row[c.CONF_HIGH]
    if not math.isfinite(low):
        return NO_FINDING
    if low > 1:
        return SLOWER
    return FASTER if math.isfinite(high) and high < 1 else NOT_SHOWN


def _row_of(variant: Variant, key: vr.Comparison) -> dict[Hashable, Any]:
    """The variant's ratio of this comparison; no trucks and no numbers if it has none."""
    own = variant.ratios
    own = own[(own[c.EDGE_TYPE] == key[0]) & (own[c.PLOW_POSITION] == key[1])]
    if len(own):
        return own.iloc[0].to_dict()
    nothing: dict[Hashable, Any] = dict.fromkeys((c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH), math.nan)
    return nothing | {c.BOUNDED: NO, c.N_TRUCKS: 0, c.N_TRUCKS_REFERENCE: 0}


def _board_row(row: Mapping[Any, Any], variant: Variant, reported: Mapping[Any, Any]) -> dict[str, Any]:
    own, finding = _finding(row), _finding(reported)
    stands = CANNOT_TELL if NO_FINDING in (own, finding) else YES if own == finding else NO
    key = (reported[c.EDGE_TYPE], reported[c.PLOW_POSITION])
    why = variant.why_not.get(key, "")
    if not why and own == NO_FINDING:
        few = int(min(row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]))
        why = {0: "no truck on one side", 1: "one truck on one side, no interval"}.get(few, "no interval")
    known = reported[c.ESTIMATE] > 0 and math.isfinite(row[c.ESTIMATE])
    return {
        **{name: reported[name] for name in KEYS},
        **{name: row[name] for name in vr.RATIO_COLUMNS if name not in KEYS},
        c.VARIANT_GROUP: variant.group,
        c.VARIANT: variant.name,
        c.TRUCK_ID: variant.truck,
        c.FOUND: own,
        c.STANDS: stands,
        c.CHANGE_PCT: 100 * (row[c.ESTIMATE] / reported[c.ESTIMATE] - 1) if known else math.nan,
        c.REASON: why,
    }


# ---------------------------------------------------------------- words
def _times(value: float, found: str) -> str:
    return ratio_number(value if found == SLOWER else 1 / value)


def _as_number(text: str) -> float:
    return float(text.replace(",", ""))


_NOT_INDEPENDENT = (
    "The variants use the same trucks and are not independent of each other. They show on what a finding hangs, not how "
    "probable it is."
)
_METHOD = (
    "The comparison is worked out again with one thing changed at a time. The finding (slower, faster, or no difference shown) "
    "stands in a variant if the interval of the ratio gives the same finding there."
)
