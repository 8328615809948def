"""How a storm shift divides into tasks: blade down, blade up, idling.

Answers: how long are shifts, and what share of them is spent with the blade down?

Sound samples last minutes; a shift lasts half a day. What a whole shift comes to depends on the time that each task takes,
which the shift records show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import counted, fixed, percent
from trialkit.results import Summary
from trialkit.tables import SOUND

TASKS = SOUND.column(c.TASK).choices
BLADE_DOWN, BLADE_UP, IDLE, OTHER = TASKS
REST = "rest"
"""Time with the blade up or idling, where the records do not tell the two apart."""


@dataclass(frozen=True, eq=False)
class TaskShares(Summary):
    """Share of shift time by task.

    Attributes
    ----------
    table : DataFrame
        task, share_frac, duration_h (in all shifts used), n_shifts.
    median_shift_h, longest_shift_h : float
        Of all shifts whose start and end are recorded [h].
    """

    median_shift_h: float
    longest_shift_h: float

    @property
    def by_task(self) -> dict[str, float]:
        """Task -> share; the shares add up to 1."""
        return dict(zip(self.table[c.TASK], self.table[c.SHARE_FRAC], strict=True))

    def sentence(self) -> str:
        """The share with the blade down, and how long shifts are."""
        down = self.by_task[BLADE_DOWN]
        return (
            f"The blade was down for {percent(100 * down)} of the shift hours; shifts lasted {fixed(self.median_shift_h, 1)} h "
            f"at the median and {fixed(self.longest_shift_h, 1)} h at the longest."
        )


def estimate_task_shares(shifts: pd.DataFrame, *, travel_speed_mph: float | None = None) -> TaskShares:
    """Share of shift time with the blade down, with the blade up, and idling.

    When to use: for a whole shift's noise exposure. The shares are those of the fleet, used for every edge type alike, so
    that a truck with a long approach does not count for or against its edge.

    Parameters
    ----------
    shifts : DataFrame
        start, end, blade_down_h; odometer_start_mi, odometer_end_mi and blade_down_mi where blade-up time is wanted.
    travel_speed_mph : float, optional
        Usual speed with the blade up [mph]. With it, blade-up hours are the miles driven blade-up over this speed, and the
        remaining time is idling. Without it the two stay together as "rest".

    Returns
    -------
    TaskShares

    Raises
    ------
    NotEnoughDataError
        If no shift has a start, an end and blade-down hours that fit into it.
    UsageError
        If the speed is not above zero.

    Notes
    -----
    Ratio of sums: all blade-down hours over all hours of the same shifts. Shifts without the records needed are left out and
    counted in the notes.
    """
    if travel_speed_mph is not None and not travel_speed_mph > 0:
        raise UsageError(f"travel_speed_mph is {travel_speed_mph:g}; allowed above 0.")
    hours = (pd.to_datetime(shifts[c.END]) - pd.to_datetime(shifts[c.START])).dt.total_seconds() / 3600.0
    hours = hours.where(hours > 0)
    down = shifts[c.BLADE_DOWN_H].where(shifts[c.BLADE_DOWN_H] >= 0)
    recorded = hours.notna() & down.notna()
    fits = recorded & (down <= hours + 1e-9)
    if not fits.any():
        raise NotEnoughDataError(
            f"Of {counted(len(shifts), 'shift')} none has a start, an end and blade-down hours that fit; at least 1 is needed."
        )
    notes = _left_out(shifts, recorded, fits)
    up = _blade_up_hours(shifts, hours, down, travel_speed_mph)
    split = fits & up.notna()
    used = split if split.any() else fits
    total = hours[used].sum()
    spent: Mapping[str, float] = {BLADE_DOWN: down[used].sum()}
    if split.any():
        spent = {**spent, BLADE_UP: up[used].sum(), IDLE: total - down[used].sum() - up[used].sum()}
        if split.sum() < fits.sum():
            notes.append(
                f"Blade-up time could be told from idling in {split.sum()} of {counted(int(fits.sum()), 'shift')}."
            )
    else:
        spent = {**spent, REST: total - down[used].sum()}
        notes.append(
            "The records do not tell driving with the blade up from idling; the two are taken together."
        )
    table = pd.DataFrame(
        {
            c.TASK: list(spent),
            c.SHARE_FRAC: [max(0.0, value) / total for value in spent.values()],
            c.DURATION_H: [max(0.0, value) for value in spent.values()],
            c.N_SHIFTS: int(used.sum()),
        }
    )
    method = f"Hours by task over all hours of {counted(int(used.sum()), 'shift')}."
    return TaskShares(table, method, tuple(notes), float(hours.median()), float(hours.max()))


def _left_out(shifts: pd.DataFrame, recorded: pd.Series, fits: pd.Series) -> list[str]:
    notes = []
    blank = int((~recorded).sum())
    if blank:
        notes.append(
            f"{counted(blank, 'shift')} without times or blade-down hours were left out of the task shares."
        )
    over = shifts.loc[recorded & ~fits, c.SHIFT_ID]
    if len(over):
        names = ", ".join(str(name) for name in over.head(5))
        notes.append(
            f"More blade-down hours than hours in {counted(len(over), 'shift')} ({names}); left out of the task shares."
        )
    return notes


def _blade_up_hours(
    shifts: pd.DataFrame, hours: pd.Series, down: pd.Series, speed_mph: float | None
) -> pd.Series:
    """Hours driven with the blade up, no more than the shift leaves room for; missing where it cannot be told."""
    needed = [c.ODOMETER_START_MI, c.ODOMETER_END_MI, c.BLADE_DOWN_MI]
    if speed_mph is None or any(name not in shifts for name in needed):
        return pd.Series(float("nan"), shifts.index)
    miles = shifts[c.ODOMETER_END_MI] - shifts[c.ODOMETER_START_MI] - shifts[c.BLADE_DOWN_MI]
    return (miles.where(miles >= 0) / speed_mph).clip(upper=(hours - down).clip(lower=0))
