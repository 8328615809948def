"""From a trial to one row per shift: what was spread, how long it took, what was left, and which edge was on.

Answers: which shifts can say something about an edge, and what is missing from the others?

Nothing is filled in. A shift without a record of material is not one that spread nothing; a shift in which the edge changed
to another type has no edge type; treated miles are lane-miles here whatever the file counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.cab import samples
from trialkit.clearing import rates
from trialkit.formatting import counted, listed, position_name
from trialkit.report import study
from trialkit.table_parts import POSITIONS
from trialkit.trial import lineage
from trialkit.trial.checks import Trial

MATERIAL, STORMS, TRUCKS, RATINGS, PLAN = "material", "storms", "trucks", "operator_ratings", "fleet_plan"
NAMED = 6
"""How many trucks or storms a note names one by one."""


@dataclass(frozen=True, eq=False)
class MaterialRecords:
    """The shifts of a trial and what they spread.

    Attributes
    ----------
    shifts : DataFrame
        One row per shift that is compared (see `read_records`): the columns of `shifts` with lane_miles_treated in lane-miles, edge_type, block, dry_lb, chloride_lb
        and cost of what was spread, and one column `<material>_lb` for each solid material and for brine. Missing where not on record.
    kinds : tuple of str
        Materials that were spread, the one with most mass first.
    positions : tuple of str
        Plow positions whose shifts have material.
    notes : tuple of str
        What is missing, and what was taken for granted.
    """

    shifts: pd.DataFrame
    kinds: tuple[str, ...]
    positions: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def has_rates(self) -> bool:
        """Whether any shift has a rate of material: its mass and the lane-miles treated."""
        return bool(self.rated.any())

    @property
    def rated(self) -> pd.Series:
        """Whether each shift has a rate of material."""
        return (self.shifts[rates.DRY_LB] > 0) & (self.shifts[c.LANE_MILES_TREATED] > 0)


def kind_column(material: str) -> str:
    """Column of the shifts with the dry mass of one material."""
    return f"{material}_lb"


def read_records(trial: Trial) -> MaterialRecords:
    """The shifts of a trial with edge type and material.

    A truck with several plows has a shift for each. Material, passes and what is left on the road belong to the truck, so
    that only the plow counts at which material is recorded, or else the foremost: a wing of another edge type would pass for
    a change of edge.

    Parameters
    ----------
    trial : Trial
        A trial without errors that has shifts; material, storms and ratings may be missing.
    """
    shifts = trial[study.SHIFTS]
    placed = samples.place_samples(
        shifts[[c.SHIFT_ID]], trial[study.SETS], shifts=shifts, lives=lineage.set_lives(trial[study.EVENTS])
    )
    basis = trial.settings.material.treated_basis
    frame = shifts.assign(
        **{
            c.EDGE_TYPE: placed.frame[c.EDGE_TYPE],
            c.LANE_MILES_TREATED: rates.lane_miles(shifts[c.LANE_MILES_TREATED].astype(float), basis),
        }
    )
    trucks = trial[TRUCKS].dropna(subset=[c.BLOCK]).drop_duplicates(c.TRUCK_ID)
    blocks = pd.Series(trucks[c.BLOCK].astype(object).to_numpy(), trucks[c.TRUCK_ID].astype(object))
    frame[c.BLOCK] = frame[c.TRUCK_ID].astype(object).map(blocks)
    spread = rates.spread(trial[MATERIAL])
    ids = frame[c.SHIFT_ID].astype(object)
    for name in (rates.DRY_LB, rates.CHLORIDE_LB, rates.COST):
        frame[name] = ids.map(spread.shifts[name]).astype(float)
    by_kind = spread.rows.groupby(c.MATERIAL, sort=False)[rates.DRY_LB].sum()
    kinds = tuple(by_kind[by_kind > 0].sort_values(ascending=False, kind="stable").index)
    for kind in kinds:
        own = spread.rows[spread.rows[c.MATERIAL] == kind].groupby(c.SHIFT_ID)[rates.DRY_LB].sum(min_count=1)
        frame[kind_column(kind)] = ids.map(own).astype(float)
    at = frame.loc[ids.isin(set(spread.rows[c.SHIFT_ID])), c.PLOW_POSITION].dropna().astype(str)
    positions = tuple(name for name in POSITIONS if name in set(at))
    kept = _one_plow(frame, positions)
    notes = [*_plow_notes(frame, kept), *_shift_notes(trial, frame[kept])]
    return MaterialRecords(frame[kept], kinds, positions, (*notes, *spread.notes))


def _one_plow(frame: pd.DataFrame, positions: tuple[str, ...]) -> pd.Series:
    """Whether each shift is of the plow that counts for its truck in its storm."""
    place = frame[c.PLOW_POSITION].astype(object)
    order = [name for name in (*positions, *POSITIONS) if name]
    rank = (
        place.map({name: number for number, name in reversed(list(enumerate(order)))})
        .astype(float)
        .fillna(-1.0)
    )
    first = rank.groupby(
        [frame[c.TRUCK_ID].astype(object), frame[c.STORM_ID].astype(object)], dropna=False
    ).transform("min")
    return (rank == first) & (place.isna() | place.isin(positions) if positions else True)


def _plow_notes(frame: pd.DataFrame, kept: pd.Series) -> Iterator[str]:
    others = frame.loc[~kept, c.PLOW_POSITION].dropna().astype(str).unique()
    if len(others):
        n = int((~kept).sum())
        yield (
            f"{counted(n, 'shift')} of the {listed([position_name(name).replace('_', ' ') for name in others])} plow "
            f"{'is' if n == 1 else 'are'} not counted by {'itself' if n == 1 else 'themselves'}: material, passes and snow left behind "
            "belong to the truck."
        )


def _shift_notes(trial: Trial, frame: pd.DataFrame) -> Iterator[str]:
    recorded = frame[c.SHIFT_ID].isin(set(trial[MATERIAL][c.SHIFT_ID].dropna()))
    treated = frame[c.LANE_MILES_TREATED]
    if recorded.any():
        lost, bare = int((~recorded & (treated > 0)).sum()), int((~recorded & (treated == 0)).sum())
        if lost:
            yield (
                f"{counted(lost, 'shift')} treated {display.word('lane-miles')} but {_have(lost)} no record of material. "
                f"{'It is' if lost == 1 else 'They are'} left out and not counted as none spread."
            )
        if bare:
            yield f"{counted(bare, 'shift')} only plowed: no {display.word('lane-miles')} treated, and no material."
        unrated = int((recorded & treated.isna()).sum())
        if unrated:
            yield f"{counted(unrated, 'shift')} with material {_have(unrated)} no {display.word('lane-miles')} treated on record, and so no rate."
        yield from _uncalibrated(trial, frame[recorded])
    yield from _unplaced(frame)
    if trial.settings.material.treated_basis != rates.LANE_MILE:
        words = rates.basis_words(trial.settings.material.treated_basis)
        yield f"Treated miles were counted in units of one {words}, as trial.toml says, and converted to {display.word('lane-miles')}."


def _uncalibrated(trial: Trial, spread: pd.DataFrame) -> Iterator[str]:
    """Trucks that spread and have no calibration date, with how many of their shifts."""
    dates = trial[TRUCKS].groupby(c.TRUCK_ID, observed=True)[c.SPREADER_CALIBRATED_ON].min()
    truck = spread[c.TRUCK_ID].astype(object)
    undated = truck.map(pd.Series(pd.to_datetime(dates).to_numpy(), dates.index.astype(object))).isna()
    names = sorted(truck[undated].unique())
    if not names:
        return
    if len(names) == truck.nunique():
        yield "No spreader has a calibration date, so what was spread rests on settings that nobody checked."
        return
    yield (
        f"{_named(names)} {_have(len(names))} no calibration date for the spreader, on {counted(int(undated.sum()), 'shift')} with "
        "material; an error of a spreader passes for its truck's edge."
    )


def _unplaced(frame: pd.DataFrame) -> Iterator[str]:
    """Shifts that cannot be compared because storm or edge type is not known."""
    stormless = int(frame[c.STORM_ID].isna().sum())
    if stormless:
        yield f"{counted(stormless, 'shift')} {_have(stormless)} no storm on record and cannot be compared within one."
    bare = int((frame[c.EDGE_TYPE].isna() & frame[c.TRUCK_ID].notna()).sum())
    if bare:
        yield (
            f"{counted(bare, 'shift')} {_have(bare)} no edge type, since no set or several edge types were on the truck at the time; "
            f"{'it is' if bare == 1 else 'they are'} set apart."
        )


def _named(names: list[str]) -> str:
    rest = len(names) - NAMED
    return listed([*names[:NAMED], f"{rest} more"] if rest > 0 else names)


def _have(n: int) -> str:
    return "has" if n == 1 else "have"
