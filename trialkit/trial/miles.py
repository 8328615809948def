"""The blade-down miles axis of every truck position, from counters and shifts.

Answers: how many miles had this plow position done with the blade down at that moment?

A counter that was read at the moment is taken as it is. Else the last counter before it plus the shift miles since;
else the next counter less the shift miles between; and where a position has no counter at all, the shift miles summed
up. A shift whose miles are blank makes unknown whatever depends on it; it is never taken as zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

COUNTER = "counter"
SHIFTS = "shifts"
UNKNOWN = "unknown"
BASES = (UNKNOWN, SHIFTS, COUNTER)
"""What a mile mark can rest on; `MileAxis.marks` gives positions in this tuple."""


class Keys:
    """One sortable number for a group and a moment, so that a search finds both at once."""

    def __init__(self, *seconds: np.ndarray):
        parts = [part for part in seconds if len(part)]
        self.base = min((int(part.min()) for part in parts), default=0) - 1
        self.span = max((int(part.max()) for part in parts), default=0) - self.base + 2

    def of(self, group: np.ndarray, second: np.ndarray) -> np.ndarray:
        """The numbers; a moment outside the range is moved to its nearest end."""
        inside = np.clip(second - self.base, 0, self.span - 1)  # 0 and span - 1 lie outside what was given
        return group.astype(np.int64) * self.span + inside


@dataclass(frozen=True, eq=False, slots=True)
class Marks:
    """Counters, or shifts, of truck positions.

    Attributes
    ----------
    unit : int array
        Number of the truck position.
    at : int array
        Moment [s since 1970].
    miles : float array
        Counter, or miles of the shift [mi]; NaN where it is blank.
    """

    unit: np.ndarray
    at: np.ndarray
    miles: np.ndarray


class MileAxis:
    """Blade-down miles of truck positions at any moment.

    Parameters
    ----------
    n_units : int
        Number of truck positions.
    counters : Marks
        Counters without blanks.
    shifts : Marks
        Shifts with the moment at which they count; NaN where the miles are unknown.
    """

    def __init__(self, n_units: int, counters: Marks, shifts: Marks):
        self._keys = Keys(counters.at, shifts.at)
        keys = self._keys.of(counters.unit, counters.at)
        order = np.lexsort((counters.miles, keys))
        self._counter_key = keys[order]
        self._counter_unit = counters.unit[order]
        self._counter_mi = counters.miles[order]
        keys = self._keys.of(shifts.unit, shifts.at)
        order = np.argsort(keys, kind="stable")
        self._shift_key = keys[order]
        blank = np.isnan(shifts.miles[order])
        self._total = np.concatenate([[0.0], np.cumsum(np.where(blank, 0.0, shifts.miles[order]))])
        self._blanks = np.concatenate([[0], np.cumsum(blank)])
        self._first_shift = np.searchsorted(
            self._shift_key, np.arange(n_units) * self._keys.span, side="left"
        )
        self.has_shifts = np.bincount(shifts.unit, minlength=n_units)[:n_units] > 0
        self.has_counters = np.bincount(counters.unit, minlength=n_units)[:n_units] > 0
        self._counter_shifts = self._shifts_until(self._counter_key)

    def _shifts_until(self, key: np.ndarray) -> np.ndarray:
        """How many shifts (of all positions, in order) count at or before the moment."""
        return np.searchsorted(self._shift_key, key, side="right")

    def shift_miles(self, unit: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Miles of the shifts after `start` up to `end` [mi]; NaN if any of them is blank."""
        since = self._shifts_until(self._keys.of(unit, start))
        until = self._shifts_until(self._keys.of(unit, end))
        return self._between(since, until)

    def _between(self, since: np.ndarray, until: np.ndarray) -> np.ndarray:
        miles = self._total[until] - self._total[since]
        return np.where(self._blanks[until] == self._blanks[since], miles, np.nan)

    def marks(
        self, unit: np.ndarray, at: np.ndarray, own: np.ndarray, since: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Miles at moments, and what they rest on.

        Parameters
        ----------
        unit : int array
            Truck position of each moment; -1 if it has none.
        at : int array
            Moments [s since 1970].
        own : float array
            Counter read at the moment [mi]; NaN if none was.
        since : int array
            Moment from which a sum of shifts must be complete where the position has no counter: when the set was
            installed.

        Returns
        -------
        miles : float array
            [mi]; NaN where unknown.
        basis : int array
            Positions in `BASES`.
        """
        miles = np.full(len(unit), np.nan)
        basis = np.zeros(len(unit), dtype=np.int8)
        has = ~np.isnan(own) & (unit >= 0)
        miles[has] = own[has]
        basis[has] = BASES.index(COUNTER)
        open_ = np.flatnonzero(~has & (unit >= 0))
        if len(open_):
            miles[open_], basis[open_] = self._without_counter(unit[open_], at[open_], since[open_])
        return miles, basis

    def _without_counter(
        self, unit: np.ndarray, at: np.ndarray, since: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        key = self._keys.of(unit, at)
        until = self._shifts_until(key)
        miles = np.full(len(unit), np.nan)
        after = np.searchsorted(self._counter_key, key, side="right")
        if len(self._counter_key):
            following = np.minimum(after, len(self._counter_key) - 1)
            valid = (
                (after < len(self._counter_key))
                & (self._counter_unit[following] == unit)
                & self.has_shifts[unit]
            )
            driven = self._between(until, self._counter_shifts[following])
            miles = np.where(valid, self._counter_mi[following] - driven, miles)
            previous = np.maximum(after - 1, 0)
            valid = (after > 0) & (self._counter_unit[previous] == unit)
            same = valid & (self._counter_key[previous] == key)
            driven = self._between(self._counter_shifts[previous], until)
            valid &= self.has_shifts[unit] & ~np.isnan(driven)
            miles = np.where(valid, self._counter_mi[previous] + driven, miles)
            miles = np.where(same, self._counter_mi[previous], miles)
        else:
            same = np.zeros(len(unit), dtype=bool)
        only_shifts = self.has_shifts[unit] & ~self.has_counters[unit]
        complete = ~np.isnan(
            self._between(np.minimum(self._shifts_until(self._keys.of(unit, since)), until), until)
        )
        summed = self._total[until] - self._total[self._first_shift[unit]]
        miles = np.where(only_shifts & complete, summed, miles)
        basis = np.where(same, BASES.index(COUNTER), np.where(np.isnan(miles), 0, BASES.index(SHIFTS)))
        return miles, basis.astype(np.int8)
