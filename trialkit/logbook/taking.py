"""A planned intake carried out.

Answers: is it in, and where are the rows that are not?

Rejected rows are written first, then everything that is added is added in one step, the log included. Whoever calls
holds the lock of the folder from before the plan was made.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from trialkit import columns as c
from trialkit.logbook.disk import Disk
from trialkit.logbook.entries import last_moment, log_addition, now
from trialkit.logbook.intakes import IntakePlan, TablePlan
from trialkit.logbook.journal import NotAddedError, add
from trialkit.logbook.rejects import save_rejects
from trialkit.trial.delimited import read_delimited

LARGEST_READ_AGAIN = 32 * 1024 * 1024
"""Bytes up to which a file is read as it will be before anything is added to it."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What an intake has left behind.

    Attributes
    ----------
    rejects : Path or None
        The workbook of rejected rows, if there are any.
    notes : tuple of str
        What the analyst should know beside it.
    """

    rejects: Path | None
    notes: tuple[str, ...] = ()


def take_in(plan: IntakePlan, by: str = "", disk: Disk | None = None) -> Taken:
    """Add what was planned, all of it or nothing.

    Parameters
    ----------
    plan : IntakePlan
        A plan against which nothing speaks.
    by : str
        Code of the person who takes it in, for the log.
    disk : Disk, optional
        How to write.

    Returns
    -------
    Taken
        What was left behind.

    Raises
    ------
    NotAddedError
        If anything fails; nothing was added then.
    """
    if not plan.may_be_added:
        raise NotAddedError("nothing was added: something speaks against it.")
    for table in plan.tables:
        _require_reads_back(table)
    if not plan.tables:
        return Taken(None)
    moment = now()
    additions = [table.growth.addition() for table in plan.tables if table.growth.positions]
    additions.append(log_addition(plan.folder, _entries(plan, by, moment)))
    notes = _clock_notes(plan.folder, moment)
    rejects = save_rejects(plan)
    try:
        add(plan.folder, additions, disk)
    except BaseException:
        if rejects is not None:
            with contextlib.suppress(OSError):
                rejects.unlink()
        raise
    return Taken(rejects, notes)


def _require_reads_back(table: TablePlan) -> None:
    """Read the whole file as it will be and compare; files that are very large were only looked at row by row."""
    growth, old = table.growth, table.growth.target.raw
    if old is None or not growth.positions:
        return
    addition = growth.addition()
    data = b"" if addition.is_rewritten else growth.target.path.read_bytes()
    if len(data) + len(addition.tail) > LARGEST_READ_AGAIN:
        return
    raw, _ = read_delimited(data + addition.tail, growth.target.table, old.file)
    expected = growth.joined().frame.astype(object)
    if raw is None or not raw.frame.astype(object).equals(expected):
        raise NotAddedError(
            f"nothing was added: {growth.target.path.name} would not read back as it is with the new rows at its end. "
            f"Open it in a text editor and look how its last rows end."
        )


def _entries(plan: IntakePlan, by: str, moment: dt.datetime) -> list[dict[str, str]]:
    return [
        {
            c.WHEN: moment.isoformat(),
            c.FILE: plan.incoming.path.name,
            c.SHA256: plan.incoming.sha256,
            c.TABLE: table.name,
            c.ROWS_ADDED: str(table.n_added),
            c.ROWS_THERE: str(table.n_there),
            c.ROWS_REJECTED: str(len(table.rejected)),
            c.LEFT_OUT: ", ".join(plan.left_out),
            c.BY: by,
        }
        for table in plan.tables
    ]


def _clock_notes(folder: Path, moment: dt.datetime) -> tuple[str, ...]:
    last = last_moment(folder)
    if last is None or last <= moment:
        return ()
    return (
        f"The clock of this computer says {moment.isoformat()}, which is before the last entry of the log "
        f"({last.isoformat()}). Look whether the clock is right; nothing depends on it but the log.",
    )
