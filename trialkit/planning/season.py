"""The season that shares of it refer to.

Answers: when did the trial begin, when does it end, and is it over?
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError

ASSUMED_DAYS = 181
"""Length of a season whose end is not known, from the first install (common practice, no source)."""
INSTALL, SEASON_END = "install", "season_end"
ENDS = ("remove", "break", "lost", SEASON_END)
FULL_SEASON_DAYS = 100
"""Where the end is not known, a last look from so many days on is the final one (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Season:
    """First and last day of a trial's season.

    Attributes
    ----------
    start, end : date
        First and last day.
    over : bool
        Whether the data say that it is over.
    end_assumed : bool
        Whether the last day is assumed.

    Raises
    ------
    ValueError
        If it ends before it begins.
    """

    start: dt.date
    end: dt.date
    over: bool = False
    end_assumed: bool = False

    def __post_init__(self) -> None:
        if self.end <= self.start:
            raise ValueError(f"the season ends on {self.end}, which is not after its start on {self.start}")

    @classmethod
    def starting(cls, start: dt.date) -> Season:
        """A season whose end is not known yet."""
        return cls(start, start + dt.timedelta(days=ASSUMED_DAYS), end_assumed=True)

    def least_last_days(self, share: float) -> float:
        """Days from the start from which the last planned look is the final one."""
        return FULL_SEASON_DAYS if self.end_assumed else share * (self.end - self.start).days


def season_of(events: pd.DataFrame) -> Season:
    """The season as the set events tell it.

    Use it once sets are on trucks. Before that take `Season.starting` with the day of the first install.

    Parameters
    ----------
    events : DataFrame
        Columns set_id, date and event; station if it is there (an event of a single station ends no set).

    Returns
    -------
    Season
        From the first install. It is over, on the day of the last event that took a set off, once no set is left on a
        truck; until then its end is assumed.

    Raises
    ------
    NotEnoughDataError
        If no set was installed.
    """
    whole = events[events[c.STATION].isna()] if c.STATION in events else events
    kinds, days = whole[c.EVENT].astype(object), pd.to_datetime(whole[c.DATE])
    installed = whole[(kinds == INSTALL) & days.notna()]
    if installed.empty:
        raise NotEnoughDataError(
            "No set was installed yet, so the season has no first day; one install is needed."
        )
    start = days[installed.index].min().date()
    ended = whole[kinds.isin(ENDS) & days.notna()]
    last = days[ended.index].max().date() if len(ended) else start
    balance = kinds.map(lambda kind: 1 if kind == INSTALL else -1 if kind in ENDS else 0)
    still_on = balance.groupby(whole[c.SET_ID].astype(object)).sum().gt(0).any()
    if still_on or last <= start:
        return Season.starting(start)
    return Season(start, last, over=True)
