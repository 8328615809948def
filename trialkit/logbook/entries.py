"""The log of what was taken in.

Answers: when was which file taken in, by whom, and how many of its rows were added?

The log stands in the trial folder as ``intake_log.csv`` and grows in the same step as the tables.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from trialkit import columns as c
from trialkit.logbook.dialect import Dialect
from trialkit.logbook.growth import existing_target
from trialkit.logbook.journal import Addition, NotAddedError
from trialkit.tables import INTAKE_LOG, Table
from trialkit.trial.delimited import read_delimited
from trialkit.trial.files import LOG_FILE
from trialkit.trial.typed_tables import read_typed_table


def now() -> dt.datetime:
    """The moment by the clock of the computer, to the second."""
    return dt.datetime.now().replace(microsecond=0)


def log_addition(folder: Path, entries: Sequence[Mapping[str, str]]) -> Addition:
    """What is to be added to the log.

    Parameters
    ----------
    folder : Path
        The trial folder.
    entries : sequence of mapping
        Cells by column of `tables.INTAKE_LOG`.

    Raises
    ------
    NotAddedError
        If the log that is there cannot be read as one.
    """
    return lines_addition(INTAKE_LOG, folder / LOG_FILE, entries)


def lines_addition(table: Table, path: Path, lines: Sequence[Mapping[str, str]]) -> Addition:
    """Lines to be added to a file that is only ever added to; the file is begun if it is not there.

    Parameters
    ----------
    table : Table
        What a line holds.
    path : Path
        The file.
    lines : sequence of mapping
        Cells by canonical column.

    Raises
    ------
    NotAddedError
        If the file that is there cannot be read, or lacks a column that is to be filled.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        header = Dialect(table.names)
        return Addition(
            path, None, header.new_file([[line.get(name, "") for name in table.names] for line in lines])
        )
    raw, problems = read_delimited(data, table, path.name)
    stopping = [problem for problem in problems if problem.stops]
    if raw is None or stopping:
        why = f" {stopping[0]}" if stopping else ""
        raise NotAddedError(
            f"nothing was added: {path.name} is there but cannot be read.{why} Mend it, or move it away; a new one is begun then."
        )
    target = existing_target(table, path, hashlib.sha256(data).hexdigest(), data, raw)
    there = [heading.column.name if heading and heading.column else "" for heading in target.headings]
    filled = {name for line in lines for name, text in line.items() if text}
    missing = sorted(filled - set(there))
    if missing:
        raise NotAddedError(
            f"nothing was added: {path.name} has no column {' or '.join(missing)}. Add it at the end of its header."
        )
    rows = [[line.get(name, "") for name in there] for line in lines]
    if not all(target.dialect.can_hold(cell) for row in rows for cell in row):
        raise NotAddedError(
            f"nothing was added: {path.name} is written in {target.dialect.encoding}, which lacks a letter of the new line. "
            f"Save {path.name} as CSV UTF-8."
        )
    return Addition(path, target.sha256, target.dialect.tail(rows))


def last_moment(folder: Path) -> dt.datetime | None:
    """The latest moment in the log; None if there is none."""
    try:
        raw, _ = read_delimited((folder / LOG_FILE).read_bytes(), INTAKE_LOG, LOG_FILE)
    except OSError:
        return None
    moments = read_typed_table(INTAKE_LOG, LOG_FILE, raw).values[c.WHEN]
    known = np.asarray(moments)[~np.isnat(np.asarray(moments))]
    return known.max().item() if len(known) else None
