"""What another edge type would save the fleet in a season: tons, money and chloride.

Answers: if the difference in per cent that the trial found held all winter, how much less would be spread, and how sure is
that?

The trial's difference is carried to the miles of `fleet_plan` for a light, a middling and a hard winter. Where the interval
of the difference holds zero, a saving is not shown, and the smallest saving that such a trial could have shown is said
beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from trialkit import columns as c
from trialkit.clearing.rates import CHLORIDE
from trialkit.clearing.spreading import Factor, ReferenceUse, saved
from trialkit.results import Labelled
from trialkit.table_parts import NO, WINTERS, YES
from trialkit.units import SHORT_TON_LB

WINTER, QUANTITY = "winter", c.QUANTITY
MASS, MONEY = "material", "money"
QUANTITIES = (MASS, MONEY, CHLORIDE)
SHOWN = c.SHOWN
USED = "used"
SMALLEST = "smallest_shown"
LANE_MI = "lane_mi"
SEASON_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, WINTER, QUANTITY, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, SHOWN, SMALLEST, USED, c.MILES_MI,
    LANE_MI,
]  # fmt: skip
MILE_COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, SHOWN, SMALLEST, USED,
]  # fmt: skip
CHANGE_PCT, DETECTABLE_PCT = "estimate_pct", "detectable_pct"
"""Columns of a table of differences: the difference, and the smallest one that would probably have been shown. [%]"""


@dataclass(frozen=True, eq=False)
class SeasonSaving(Labelled):
    """What each edge type would save in a season.

    Attributes
    ----------
    table : DataFrame
        One row per edge type, winter and quantity (material, money, chloride): estimate, conf_low, conf_high (above zero is
        saved), unit, shown {yes, no}, smallest_shown (smallest saving that the trial would probably have shown), used (what
        the reference would use), miles_mi and lane_mi of that winter.
    use : ReferenceUse
        What a mile takes with the reference.
    method : str
        How it was worked out.
    notes : tuple of str
        What it rests on.
    labels : mapping
        Edge type -> the name that sentences print.
    """

    table: pd.DataFrame
    method: str
    notes: tuple[str, ...]
    use: ReferenceUse
    labels: Mapping[str, str] = field(default_factory=dict)

    def rows(self, winter: str = "middling", quantity: str = MASS) -> pd.DataFrame:
        """The rows of one winter and quantity."""
        return self.table[(self.table[WINTER] == winter) & (self.table[QUANTITY] == quantity)]

    def sentence(self) -> str:
        """Which edge types were shown to save material."""
        rows = self.rows()
        if rows.empty:
            return "No saving of a season can be worked out."
        shown = rows[(rows[SHOWN] == YES) & (rows[c.ESTIMATE] > 0)]
        if shown.empty:
            return "This trial does not show that another edge type saves material in a season."
        names = [self.label(str(name)) for name in shown[c.EDGE_TYPE]]
        return f"Material saved in a season is shown for {', '.join(names)}."


def project_season(
    differences: pd.DataFrame,
    use: ReferenceUse,
    fleet_miles_mi: Mapping[str, float],
    *,
    currency: str = "USD",
    labels: Mapping[str, str] | None = None,
) -> SeasonSaving:
    """What each edge type would save the fleet in a light, a middling and a hard winter.

    When to use: to give a difference in per cent its size in tons and money. Not a forecast of the season: the miles are
    the town's own plan, and the rest is taken to be as it was in the trial.

    Parameters
    ----------
    differences : DataFrame
        One row per edge type: edge_type, reference, estimate_pct, conf_low, conf_high, detectable_pct [%]; below zero is less.
        A column `material` with ``"chloride"`` in it tells the rows of chloride from the others; without them chloride follows
        the material. A column `shown` {yes, no} says which differences are shown once all of them are counted; without it the
        interval alone decides.
    use : ReferenceUse
        What a mile takes with the reference.
    fleet_miles_mi : mapping
        Blade-down miles of the trucks that spread, by winter; see `fleet_miles`.
    currency : str
        Currency of prices.
    labels : mapping, optional
        Edge type -> the name that sentences print.

    Notes
    -----
    saving = miles × lane-miles per mile × rate × difference; money by the mean price, chloride by the mean chloride, of a
    pound spread in the trial, which are taken as known. The interval is that of `spreading.saved`.
    """
    amounts, chloride_amounts = _split(differences)
    rows = []
    for row in amounts.to_dict("records"):
        chloride = chloride_amounts.get(row[c.EDGE_TYPE], row)
        for winter, miles in fleet_miles_mi.items():
            for quantity, change, per_lb, unit in (
                (MASS, row, 1.0 / SHORT_TON_LB, "short ton"),
                (MONEY, row, use.price_per_lb, currency),
                (CHLORIDE, chloride, use.chloride_per_lb / SHORT_TON_LB, "short ton"),
            ):
                if not (
                    math.isfinite(per_lb) and use.rate_lb_lane_mi.is_known and use.lane_mi_per_mi.is_known
                ):
                    continue
                scale = miles * per_lb
                found = _saving(change, scale, (use.lane_mi_per_mi, use.rate_lb_lane_mi))
                rows.append(
                    {
                        c.EDGE_TYPE: row[c.EDGE_TYPE], c.REFERENCE: row[c.REFERENCE], WINTER: winter, QUANTITY: quantity, **found,
                        c.UNIT: unit, c.MILES_MI: miles, LANE_MI: miles * use.lane_mi_per_mi.estimate,
                    }
                )  # fmt: skip
    return SeasonSaving(
        pd.DataFrame(rows, columns=SEASON_COLUMNS),
        "Planned blade-down miles, times lane-miles treated per blade-down mile and material per lane-mile with the reference as in "
        "this trial, times the difference found within storms; the uncertainty of all three is carried through",
        _notes(use),
        use,
        labels or {},
    )


def saving_per_mile(differences: pd.DataFrame, use: ReferenceUse, currency: str = "USD") -> pd.DataFrame:
    """What each edge type saves in material per blade-down mile, in money.

    When to use: in a cost per mile. Where `shown` is "no", the saving may not be counted as one.

    Parameters
    ----------
    differences, use, currency
        As for `project_season`.

    Returns
    -------
    DataFrame
        One row per edge type: edge_type, reference, estimate, conf_low, conf_high (above zero is saved), unit (``"USD/mi"``),
        shown {yes, no}, smallest_shown, used (what the reference costs in material per mile). Without rows where no price or no
        lane-miles are on record.
    """
    factors = (use.lane_mi_per_mi, use.rate_lb_lane_mi)
    return _per_unit(_split(differences)[0], use.price_per_lb, factors, f"{currency}/mi")


def hours_saved(differences: pd.DataFrame, use: ReferenceUse) -> pd.DataFrame:
    """Blade-down hours that each edge type saves per lane-mile treated.

    Parameters
    ----------
    differences : DataFrame
        As for `project_season`, of the hours per lane-mile.
    use : ReferenceUse
        What a mile takes with the reference.

    Returns
    -------
    DataFrame
        As `saving_per_mile`, in hours per lane-mile.
    """
    return _per_unit(differences, 1.0, (use.hours_per_lane_mi,), "h/lane-mi")


def crew_saving_per_mile(
    differences: pd.DataFrame, use: ReferenceUse, hour_price: float, currency: str = "USD"
) -> pd.DataFrame:
    """What the blade-down hours that each edge type saves are worth per blade-down mile.

    When to use: in a cost per mile, where the town says what an hour of truck and driver costs it. Hours that are paid
    anyway save no money.

    Parameters
    ----------
    differences : DataFrame
        As for `project_season`, of the hours per lane-mile.
    use : ReferenceUse
        What a mile takes with the reference.
    hour_price : float
        Cost of an hour with the blade down. [currency/h]
    currency : str

    Returns
    -------
    DataFrame
        As `saving_per_mile`.
    """
    return _per_unit(differences, hour_price, (use.lane_mi_per_mi, use.hours_per_lane_mi), f"{currency}/mi")


def fleet_miles(fleet_plan: pd.DataFrame, spreading_positions: Sequence[str] = ()) -> dict[str, float]:
    """Blade-down miles that spreaders cover next season, by winter. [mi]

    A truck spreads once however many plows it carries, so that the miles of its wing add nothing.

    Parameters
    ----------
    fleet_plan : DataFrame
        truck_id, plow_position, miles_low_mi, miles_mid_mi, miles_high_mi.
    spreading_positions : sequence of str
        Plow positions whose shifts have material; a truck without one of them counts by its position with most miles.
    """
    plan = fleet_plan.assign(
        spreads=fleet_plan[c.PLOW_POSITION].astype(object).isin(list(spreading_positions)).to_numpy()
    )
    order = ["spreads", c.MILES_MID_MI]
    one = plan.sort_values(order, ascending=False, kind="stable").drop_duplicates(c.TRUCK_ID)
    return {winter: float(one[column].sum()) for winter, column in WINTERS.items()}


def _split(differences: pd.DataFrame) -> tuple[pd.DataFrame, dict]:
    """Rows of the material, and those of its chloride by edge type."""
    if c.MATERIAL not in differences:
        return differences, {}
    salty = differences[c.MATERIAL].astype(object) == CHLORIDE
    chloride = {row[c.EDGE_TYPE]: row for row in differences[salty].to_dict("records")}
    return differences[~salty], chloride


def _saving(change: Mapping, scale: float, factors: Sequence[Factor]) -> dict[str, object]:
    """Estimate, interval, whether it is shown, the smallest saving that would be, and what the reference uses."""
    ends = [float(change[name]) for name in (CHANGE_PCT, c.CONF_LOW, c.CONF_HIGH)]
    used = scale * math.prod(factor.estimate for factor in factors)
    detectable = float(change.get(DETECTABLE_PCT, math.nan))
    if all(map(math.isfinite, ends)):
        estimate, low, high = (scale * value for value in saved(ends, factors))
    else:
        estimate, low, high = -ends[0] / 100.0 * used, math.nan, math.nan
    shown = (low > 0 or high < 0) and change.get(SHOWN, YES) == YES
    return {
        c.ESTIMATE: estimate, c.CONF_LOW: low, c.CONF_HIGH: high, SHOWN: YES if shown else NO,
        SMALLEST: abs(detectable) / 100.0 * used, USED: used,
    }  # fmt: skip


def _per_unit(changes: pd.DataFrame, scale: float, factors: Sequence[Factor], unit: str) -> pd.DataFrame:
    known = math.isfinite(scale) and all(factor.is_known for factor in factors)
    rows = [
        {
            c.EDGE_TYPE: row[c.EDGE_TYPE],
            c.REFERENCE: row[c.REFERENCE],
            c.UNIT: unit,
            **_saving(row, scale, factors),
        }
        for row in (changes.to_dict("records") if known else ())
    ]
    return pd.DataFrame(rows, columns=MILE_COLUMNS)


def _notes(use: ReferenceUse) -> tuple[str, ...]:
    notes = [
        "Savings of a season take routes, habits, prices and the mix of materials to be as they were in the trial, and the difference "
        "to be the same in every storm.",
        *use.notes,
    ]
    if use.severity_factor != 1.0:
        notes.append(
            f"The rate of the reference was brought to the severity of a typical season, times {use.severity_factor:.2f}."
        )
    return tuple(notes)
