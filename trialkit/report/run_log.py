"""One line about a run of `trialkit report`, at the end of a log.

Answers: did last night's report come about, how long did it take, and if not, why?

Whoever has the report made at night does not see what it prints. The line holds, with tabs between: when the run ended, its
exit code, the trial, the run, how long it took, how many notebooks were run and how many taken from earlier runs, and how many
warnings the data have; or why there is no report. It is written in one piece at the end of the file, so that two runs that end
together leave two whole lines.
"""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Sequence
from pathlib import Path

from trialkit.formatting import counted
from trialkit.report import reuse

LONGEST_REASON = 300
NOTHING = "-"
_STARTS = re.compile(rb"\d{4}-\d\d-\d\dT")


def success(report: Path, ran: int) -> list[str]:
    """What the line says of a run that made a report.

    Parameters
    ----------
    report : Path
        The council report.
    ran : int
        Notebooks that were run for it; the others were taken from earlier runs.
    """
    run = reuse.read_run(report.parent)
    record = {} if run is None else run.record
    reused = max(len(record.get("notebooks", ())) - ran, 0)
    warnings = record.get("warnings")
    return [
        f"{counted(ran, 'notebook')} run, {reused} reused",
        NOTHING if warnings is None else counted(int(warnings), "warning"),
    ]


def reason(message: str) -> str:
    """Why there is no report, in one line without tabs."""
    words = re.sub(r"\s+", " ", "; ".join(filter(None, (line.strip() for line in message.splitlines()))))
    return words if len(words) <= LONGEST_REASON else f"{words[: LONGEST_REASON - 1]}…"


def line(
    exit_code: int, trial: str, run: str, seconds: float, said: Sequence[str], now: dt.datetime | None = None
) -> str:
    """The line, without its end.

    Parameters
    ----------
    exit_code : int
        With which the run ends.
    trial, run : str
        Name of the trial and of its run folder; a dash if there is none.
    seconds : float
        How long it took [s].
    said : sequence of str
        What else there is to say: `success`, or the `reason` of a failure.
    now : datetime, optional
        When the run ended; the present time by default.
    """
    ended = (now or dt.datetime.now(dt.UTC)).astimezone().isoformat(timespec="seconds")
    cells = [ended, f"exit {exit_code}", trial or NOTHING, run or NOTHING, f"{seconds:.1f} s", *said]
    return "\t".join(re.sub(r"[\t\r\n]", " ", cell) for cell in cells)


def append(log: str | Path, text: str) -> None:
    """Add a line at the end of a log, which is made if need be.

    Parameters
    ----------
    log : str or Path
        The file.
    text : str
        The line, without its end.

    Raises
    ------
    OSError
        If it cannot be written, or holds something that is no log of this kind; nothing is added then.
    """
    log = Path(log)
    with log.open("a+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        start, last = b"", b"\n"
        if size:
            file.seek(0)
            start = file.read(11)
            file.seek(size - 1)
            last = file.read(1)
            if not _STARTS.match(start):
                raise OSError(None, "this file holds something else than a log of reports", str(log))
        whole = text.encode("utf-8", "replace") + b"\n"
        if last != b"\n":  # a line that was cut short by a full disk stays by itself
            whole = b"\n" + whole
        if file.write(whole) != len(whole):
            raise OSError(None, "there was no room for the whole line", str(log))
