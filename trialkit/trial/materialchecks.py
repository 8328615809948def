"""Rules for material: rates that no handbook knows, shifts without a record, and spreaders without a calibration.

Answers: does what was spread fit the lane-miles treated, is a shift without material one that spread nothing, and can the
spreader be trusted?

All of it is doubtful and none is impossible. A rate outside the bounds is most often a slip of the unit, or miles of road
with two lanes counted as lane-miles, which halves every rate.

References
----------
.. [1] TRB Special Report 235, Highway Deicing (1991), Table 2-1: policies of the states, up to 500 lb per lane-mile (read in a
   reprint).
.. [2] MaineDOT treatment recommendations: 0 to 450 lb of salt per lane-mile; nothing below 15 °F.
.. [3] Minnesota Snow and Ice Control Field Handbook (2012), p. 17: from 100 lb per mile of road with two lanes (from memory).
.. [4] NCHRP Report 526 (2004), p. 25: abrasives from 500 to 1,500 lb per lane-mile.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import units
from trialkit.errors import Problem
from trialkit.formatting import counted, listed
from trialkit.trial.findings import Source, number_text
from trialkit.trial.timeline import SHIFTS

MATERIAL, TRUCKS = "material", "trucks"
WITH_SAND = ("sand_salt", "other")
LEAST_LB_LANE_MI = 50.0
"""Least solid material per lane-mile that passes [lb]: 100 lb per mile of road with two lanes [3]."""
MOST_SALT_LB_LANE_MI = 500.0
"""Most salt per lane-mile that passes [lb]: the highest policy of a state [1], above the highest rate of [2]."""
MOST_SAND_LB_LANE_MI = 1500.0
"""Most material per lane-mile that passes where sand or other material is in it [lb] [4]."""
CODES = ("material-rate", "material-missing", "lane-miles-missing", "spreader-uncalibrated")
"""What this module can find."""
METRIC_WEIGHTS = ("kg", "t")
NAMED = 5
"""How many shifts or trucks a problem names one by one."""


def check_material(sources: Mapping[str, Source], treated_basis: str = "lane_mile") -> list[Problem]:
    """Every doubt about material.

    Parameters
    ----------
    sources : mapping
        The tables that are there, by name.
    treated_basis : str
        What one unit of `lane_miles_treated` is; a key of `units.LANE_MILES`.
    """
    if MATERIAL not in sources or SHIFTS not in sources:
        return []
    material, shifts = sources[MATERIAL], sources[SHIFTS]
    if not (material.has(c.SHIFT_ID) and shifts.has(c.SHIFT_ID)):
        return []
    problems = []
    if shifts.has(c.LANE_MILES_TREATED):
        treated = shifts.possible(c.LANE_MILES_TREATED) * units.LANE_MILES[treated_basis]
        by_shift = pd.Series(treated, index=shifts.frame[c.SHIFT_ID].astype(object))
        by_shift = by_shift[by_shift.index.notna() & ~by_shift.index.duplicated(keep=False)]
        problems += _rates(material, by_shift, treated_basis)
        if len(material.frame):  # where nobody wrote material down, the report says that it was not studied
            problems += _unrecorded(material, shifts, treated)
    elif len(material.frame):
        fix = "Add the column lane_miles_treated; without it there is no rate of material."
        problems.append(
            Problem(
                "lane-miles-missing",
                shifts.file,
                column=c.LANE_MILES_TREATED,
                found="not in the header",
                fix=fix,
            )
        )
    if TRUCKS in sources:
        problems += _uncalibrated(material, shifts, sources[TRUCKS])
    return problems


# ---------------------------------------------------------------- one shift
def _rates(material: Source, lane_mi: pd.Series, basis: str) -> list[Problem]:
    """Shifts whose solid material per lane-mile no handbook knows, and material where no lane-mile was treated."""
    if not material.has(c.QUANTITY_LB, c.MATERIAL):
        return []
    frame = pd.DataFrame(
        {
            c.SHIFT_ID: material.frame[c.SHIFT_ID].astype(object).to_numpy(),
            c.QUANTITY_LB: material.possible(c.QUANTITY_LB),
            "sand": material.frame[c.MATERIAL].astype(object).isin(WITH_SAND).to_numpy(),
        }
    )
    dry = (material.frame[c.MATERIAL].astype(object) != "brine").to_numpy()
    solid = frame[dry & frame[c.QUANTITY_LB].notna()]
    found = solid.groupby(c.SHIFT_ID, sort=False).agg(
        lb=(c.QUANTITY_LB, "sum"), sand=("sand", "any"), row=(c.QUANTITY_LB, "idxmax")
    )
    found["lane_mi"] = lane_mi.reindex(found.index)
    found = found[found["lane_mi"].notna() & (found["lb"] > 0)]
    none = found["lane_mi"] == 0
    found["rate"] = found["lb"] / found["lane_mi"].mask(none)
    found["most"] = np.where(found["sand"], MOST_SAND_LB_LANE_MI, MOST_SALT_LB_LANE_MI)
    few, much = found["rate"] < LEAST_LB_LANE_MI - 1e-9, found["rate"] > found["most"] + 1e-9
    by_row = found[none | few | much].set_index("row").sort_index()

    def say(row: int) -> Problem:
        return _rate_problem(material, row, by_row.loc[row].to_dict(), basis)

    return material.listed("material-rate", c.QUANTITY_LB, by_row.index, say)


def _rate_problem(material: Source, row: int, shift: Mapping[Any, Any], basis: str) -> Problem:
    metric = material.unit(c.QUANTITY_LB) in METRIC_WEIGHTS
    allowed = f"{_rate(LEAST_LB_LANE_MI, metric)} to {_rate(shift['most'], metric, unit=True)}"
    mass = f"{material.number(c.QUANTITY_LB, shift['lb'])} {units.UNIT_NAMES[material.unit(c.QUANTITY_LB)]}"
    if not shift["lane_mi"]:
        found = f"{mass} in a shift that treated no lane-miles"
        fix = "Correct the quantity, or give the lane-miles treated in shifts; the shift is not counted."
        return material.problem("material-rate", row, c.QUANTITY_LB, found, allowed, fix)
    treated = number_text(float(f"{shift['lane_mi'] * (units.MILE_KM if metric else 1.0):.4g}"))
    rate = _rate(shift["rate"], metric, unit=True)
    found = f"{mass} over {treated} lane-{'kilometers' if metric else 'miles'}, which is {rate}"
    fix = "Check the quantity, its unit and the lane-miles treated."
    if basis == "lane_mile" and LEAST_LB_LANE_MI <= shift["rate"] / 2 <= shift["most"]:
        fix += (
            " If miles of road with two lanes were counted once, set material.treated_basis to two_lane_mile."
        )
    return material.problem("material-rate", row, c.QUANTITY_LB, found, allowed, fix)


def _rate(lb_lane_mi: float, metric: bool, unit: bool = False) -> str:
    value = lb_lane_mi * units.POUND_KG / units.MILE_KM if metric else lb_lane_mi
    name = "kg per lane-kilometer" if metric else "lb per lane-mile"
    return f"{value:.0f}{f' {name}' if unit else ''}"


# ---------------------------------------------------------------- all shifts
def _unrecorded(material: Source, shifts: Source, treated: np.ndarray) -> list[Problem]:
    """One problem for shifts that treated lane-miles without material, one for material without lane-miles."""
    ids = shifts.frame[c.SHIFT_ID].astype(object)
    spread = ids.isin(set(material.frame[c.SHIFT_ID].dropna().astype(object))).to_numpy()
    problems = []
    bare = np.flatnonzero((treated > 0) & ~spread)
    if len(bare):
        them = "it" if len(bare) == 1 else "them"
        fix = f"Look for the loading slips, or leave {them}: a shift without a record is left out and never counted as none spread."
        found = (
            f"above 0 in {counted(len(bare), 'shift')} without a row in material ({_named(ids.iloc[bare])})"
        )
        problems.append(
            shifts.problem("material-missing", int(bare[0]), c.LANE_MILES_TREATED, found, "", fix, key="")
        )
    blank = np.flatnonzero(np.isnan(treated) & shifts.frame[c.LANE_MILES_TREATED].isna().to_numpy() & spread)
    if len(blank):
        fix = "Give the lane-miles treated; without them there is no rate, and the shift is left out."
        found = f"blank in {counted(len(blank), 'shift')} with material ({_named(ids.iloc[blank])})"
        problems.append(
            shifts.problem("lane-miles-missing", int(blank[0]), c.LANE_MILES_TREATED, found, "", fix, key="")
        )
    return problems


def _uncalibrated(material: Source, shifts: Source, trucks: Source) -> list[Problem]:
    """One problem for trucks that spread material and have no calibration on record before they did."""
    if not (shifts.has(c.TRUCK_ID, c.START) and trucks.has(c.TRUCK_ID)):
        return []
    spread = shifts.frame[shifts.frame[c.SHIFT_ID].isin(set(material.frame[c.SHIFT_ID].dropna()))]
    first = pd.to_datetime(spread[c.START]).groupby(spread[c.TRUCK_ID].astype(object)).min()
    names = trucks.frame[c.TRUCK_ID].astype(object)
    on = (
        pd.to_datetime(trucks.frame[c.SPREADER_CALIBRATED_ON])
        if trucks.has(c.SPREADER_CALIBRATED_ON)
        else None
    )
    dates = pd.Series(pd.NaT, names.dropna().unique()) if on is None else on.groupby(names).min()
    known = dates.reindex(first.index)
    bad = first.index[
        (known.isna() | (known.dt.normalize() > first.dt.normalize())) & first.index.isin(names)
    ]
    if not len(bad):
        return []
    row = int(np.flatnonzero(names.isin(set(bad)).to_numpy())[0])
    fix = (
        "Give the day of the last calibration before the season, or calibrate: what a spreader puts out can be far from its setting, "
        "and an error of one truck passes for its edge."
    )
    late = known.reindex(bad).notna()
    parts = [("blank for", bad[~late]), ("after the first material of", bad[late])]
    found = listed([f"{words} {_named(pd.Series(names))}" for words, names in parts if len(names)])
    column = c.SPREADER_CALIBRATED_ON
    return [trucks.problem("spreader-uncalibrated", row, column, found, "", fix, key="")]


def _named(ids: pd.Series) -> str:
    words = [str(item) for item in ids.head(NAMED)]
    rest = len(ids) - len(words)
    return listed([*words, f"{rest} more"] if rest else words)
