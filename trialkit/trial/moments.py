"""Days and times of day as whole seconds, and what a date without a time means.

Answers: when did it happen, if only the day is written down?

Midnight means that no time was given. A moment without a time may lie anywhere within its day: `Moments.first` and
`Moments.last` are the two ends. Which end counts depends on what happened; `lineage` says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c

DAY_S = 86_400
NOON_S = DAY_S // 2
NO_DAY = -1_000_000
"""Day number of a missing date; far before any real one."""


@dataclass(frozen=True, eq=False, slots=True)
class Moments:
    """Moments of one column, as whole seconds since 1970.

    Attributes
    ----------
    day : int array
        Days since 1970-01-01; `NO_DAY` where the date is missing.
    second : int array
        Second of the day; 0 where no time was given.
    """

    day: np.ndarray
    second: np.ndarray

    @property
    def known(self) -> np.ndarray:
        """Whether there is a date at all."""
        return self.day != NO_DAY

    @property
    def timed(self) -> np.ndarray:
        """Whether a time of day was given."""
        return self.second > 0

    @property
    def first(self) -> np.ndarray:
        """Earliest second at which it can have happened."""
        return self.day * DAY_S + self.second

    @property
    def last(self) -> np.ndarray:
        """Latest second at which it can have happened."""
        return self.day * DAY_S + np.where(self.timed, self.second, DAY_S - 1)

    def take(self, where: np.ndarray) -> Moments:
        """The moments at these positions, or where the mask is true."""
        return Moments(self.day[where], self.second[where])


def moments_of(dates: pd.Series) -> Moments:
    """Moments of a column of dates; blanks are kept as missing."""
    stamps = pd.to_datetime(dates, errors="coerce").to_numpy(dtype="datetime64[s]")
    missing = np.isnat(stamps)
    seconds = np.where(missing, 0, stamps.astype(np.int64))
    day = np.where(missing, NO_DAY, seconds // DAY_S)
    return Moments(day, seconds % DAY_S)


def shift_spans(shifts: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Earliest start, latest end and the second at which the miles of each shift count.

    A shift counts at its end, at its start if the end is blank, and at noon if only a day is given: after what is done
    at the start of that day, before what is read at its end. An end at midnight is a time of day where the start has
    one.

    Parameters
    ----------
    shifts : DataFrame
        Columns `start` and, if there is one, `end`.

    Returns
    -------
    first, last, counted : int arrays
        Seconds since 1970; before any real day where nothing is known.
    """
    start = moments_of(shifts[c.START])
    end = moments_of(shifts[c.END]) if c.END in shifts else start.take(np.zeros(len(shifts), dtype=int))
    has_end = end.known if c.END in shifts else np.zeros(len(shifts), dtype=bool)
    clock_end = end.timed | start.timed
    end_last = np.where(clock_end, end.first, end.last)
    end_counted = np.where(clock_end, end.first, end.first + NOON_S)
    start_counted = np.where(start.timed, start.first, start.first + NOON_S)
    first = np.where(start.known, start.first, end.first)
    last = np.where(has_end, np.maximum(end_last, first), start.last)
    return first, last, np.where(has_end, end_counted, start_counted)
