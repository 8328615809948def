"""From a trial and the days of its earlier reports to what this report is: interim, a planned look, or the final one.

Answers: may a finding of this report be acted on, and how small must a p value be for that?

The looks stand in the section `[plan]` of `trial.toml`. A trial with a last day of the season but without looks has one, the
final look on that day; a trial with neither is never interim.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import day
from trialkit.planning.looks import INTERIM, NO_LOOKS, PLANNED, LookStatus, look_status
from trialkit.planning.season import SEASON_END, Season, season_of
from trialkit.report import study
from trialkit.report.reuse import EarlierRun
from trialkit.trial.checks import Trial


def status(trial: Trial, earlier_looks: str = "") -> LookStatus:
    """What a report on the trial as it is now is: interim, a planned look, or the final one.

    Use it in every report that says how edge types differ, before anything is said. Not in a notebook for the analyst alone:
    one that is run every week would be marked for a reader that it does not have.

    Parameters
    ----------
    trial : Trial
        The trial.
    earlier_looks : str
        Days up to which the data of earlier reports go, in ISO form with commas between; empty if there is none.

    Returns
    -------
    LookStatus

    Raises
    ------
    UsageError
        If a day cannot be read, or the agreed days contradict each other.
    NotEnoughDataError
        If looks are planned and the season has no first day.
    """
    agreed, last = trial.settings.plan, trial.last_data_date
    looks = agreed.looks or ((agreed.season_end,) if agreed.season_end else ())
    return look_status(
        looks, season(trial) if looks else _season_without_looks(trial), last,
        earlier_runs=days_of(earlier_looks), spending=agreed.spending, confidence_level=trial.settings.confidence_level,
    )  # fmt: skip


def decides_nothing(look: LookStatus) -> bool:
    """Whether the season's verdict is still to come: between the looks, and at a planned look before the last.

    An early look is for stopping a trial that does harm. Its verdicts are judged by its own, far stricter limit and are marked;
    what half a winter says of a whole one is not known, so nothing is bought on them.
    """
    return look.kind in (INTERIM, PLANNED)


def judged_by(trial: Trial, earlier_looks: str = "") -> tuple[float, bool]:
    """How every notebook of a report judges: the level of the look, else the agreed one, and whether it decides nothing.

    Where the looks cannot be worked out the agreed level stands; the council report then says what is wrong with them.

    Parameters
    ----------
    trial, earlier_looks
        As for `status`.
    """
    try:
        look = status(trial, earlier_looks)
    except (UsageError, NotEnoughDataError):
        return trial.settings.confidence_level, False
    return look.confidence_level, decides_nothing(look)


def season(trial: Trial) -> Season:
    """First and last day of the season: as agreed, else as the set events tell it.

    It is over when the events say so. A moment without any set on a truck in the middle of an agreed season is not its end;
    a `season_end` event is.

    Parameters
    ----------
    trial : Trial
        The trial.

    Raises
    ------
    UsageError
        If the agreed last day is not after the first.
    NotEnoughDataError
        If nothing was installed and no first day was agreed.
    """
    agreed, events = trial.settings.plan, trial[study.EVENTS]
    try:
        seen = season_of(events)
    except NotEnoughDataError:
        if agreed.season_start is None:
            raise
        seen = Season.starting(agreed.season_start)
    start, end = agreed.season_start or seen.start, agreed.season_end
    if end is not None and end <= start:
        raise UsageError(
            f"The season ends on {day(end)}, which is not after its start on {day(start)}. Correct plan.season_end in trial.toml."
        )
    closed = (events[c.EVENT].astype(object) == SEASON_END).any()
    if seen.over and seen.end > start and (end is None or closed or trial.last_data_date >= end):
        return Season(start, seen.end, over=True)
    return Season(start, end) if end is not None else Season.starting(start)


def days_of(earlier_looks: str) -> tuple[dt.date, ...]:
    """The days in a list with commas, in order and each once.

    Raises
    ------
    UsageError
        Naming what is not a day.
    """
    found = set()
    for part in filter(None, (part.strip() for part in earlier_looks.split(","))):
        try:
            found.add(dt.date.fromisoformat(part))
        except ValueError:
            raise UsageError(
                f'earlier_looks: "{part}" is not a day such as 2031-01-14. Give ISO days with commas between, or nothing.'
            ) from None
    return tuple(sorted(found))


def earlier_looks(runs: Iterable[EarlierRun], last: dt.date) -> str:
    """Days up to which the data of earlier runs go, before that of the present one, as `status` takes them.

    The day stands in the name of a run folder; the clock under which a run was made plays no part.

    Parameters
    ----------
    runs : iterable of EarlierRun
        The finished runs of the trial.
    last : date
        Last day of the present data.
    """
    days = set()
    for run in runs:
        try:
            days.add(dt.date.fromisoformat(run.folder.name.partition("_")[0]))
        except ValueError:  # a copy under a name of its own
            continue
    return ",".join(found.isoformat() for found in sorted(days) if found < last)


def sentences(look: LookStatus) -> list[str]:
    """What this report is and what it may decide, for the head of the report."""
    unplanned = "" if look.kind == NO_LOOKS else look.unplanned_sentence()
    return [said for said in (look.sentence(), unplanned, *look.notes) if said]


def _season_without_looks(trial: Trial) -> Season:
    """The season of a trial that plans no look; one in which nothing is installed yet begins with the data."""
    try:
        return season(trial)
    except NotEnoughDataError:
        return Season.starting(trial.last_data_date)
