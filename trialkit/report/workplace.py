"""Where a run folder is made before it takes its place, and what a run that was killed has left there.

Answers: how does a report appear whole or not at all, and who clears up after a run that could not do it itself?

A run folder is made in a hidden neighbour named after it, the machine and the process, and moved into place in one step. A
process that is killed, or a machine that goes down, leaves its neighbour behind; the next run of the trial clears it away. If
it was killed in the moment in which the earlier report of the same inputs had been set aside, the next run puts that back.
"""

from __future__ import annotations

import contextlib
import os
import platform
import re
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from trialkit.errors import ReportError, os_reason

ASIDE = ".earlier"
"""End of the name under which an earlier report waits while the new one is moved."""
LONGEST_RUN_S = 7 * 24 * 3600.0
"""What another machine has not touched for so long is left over (common practice, no source)."""
_MADE_BY = re.compile(
    r"\.(?P<run>\d{4}-\d\d-\d\d_[0-9a-f]{8})\.(?P<process>\d+)@(?P<machine>[\w-]*)(?P<aside>\.earlier)?"
)


@contextlib.contextmanager
def workplace(final: Path, parts: tuple[str, ...]) -> Iterator[Path]:
    """A hidden folder beside the run folder that takes its place only if all goes well.

    Parameters
    ----------
    final : Path
        The run folder; its parents are made.
    parts : tuple of str
        Folders that are made in it.

    Raises
    ------
    ReportError
        If something cannot be written.
    """
    work = final.with_name(f".{final.name}.{os.getpid()}@{_machine()}")
    try:
        for part in parts:
            (work / part).mkdir(parents=True, exist_ok=True)
        yield work
        replace(work, final)
    except OSError as error:
        raise ReportError(f"the report could not be written: {os_reason(error, final)}.") from error
    finally:
        shutil.rmtree(work, ignore_errors=True)


def replace(work: Path, final: Path) -> None:
    """Move the finished run folder into place; the earlier one is gone only after the new one stands there.

    Where another run of the same inputs has just put its report there, that one stays: it says the same.
    """
    earlier = work.with_name(f"{work.name}{ASIDE}")
    aside = False
    try:
        with contextlib.suppress(FileNotFoundError):
            final.rename(earlier)
        aside = True
        work.rename(final)
    except BaseException as error:  # a run that is stopped just here must leave the earlier report too
        if not final.exists() and earlier.exists():
            earlier.rename(final)
            raise
        if not (aside and final.exists() and isinstance(error, OSError)):
            raise
    finally:
        if final.exists():
            shutil.rmtree(earlier, ignore_errors=True)


def clear_left_over(home: Path) -> None:
    """Clear away what runs have left that are no longer there, and put back a report that one of them had set aside.

    Parameters
    ----------
    home : Path
        Folder of the trial's runs; it need not be there.
    """
    for left in sorted(home.glob(".*@*"), reverse=True):  # what was set aside comes before its neighbour
        made_by = _MADE_BY.fullmatch(left.name)
        if made_by is None or not _is_left_over(left, int(made_by["process"]), made_by["machine"]):
            continue
        if made_by["aside"] and not (home / made_by["run"]).exists():
            with contextlib.suppress(OSError):  # nothing may be written here, or another run has just done it
                left.rename(home / made_by["run"])
        else:
            shutil.rmtree(left, ignore_errors=True)


def _is_left_over(left: Path, process: int, machine: str) -> bool:
    """Whether the run that made a folder has ended; of another machine only its age can tell."""
    if machine == _machine():
        return process == os.getpid() or not is_running(process)
    try:
        return time.time() - left.stat().st_mtime > LONGEST_RUN_S
    except OSError:
        return False


def _machine() -> str:
    """Name of this machine as far as a file name can hold it."""
    return re.sub(r"[^\w-]", "-", platform.node(), flags=re.ASCII)[:40]


if sys.platform == "win32":

    def is_running(process: int) -> bool:
        """Whether a process of this machine is there."""
        import ctypes

        still_active, may_ask = 259, 0x1000
        kernel = ctypes.windll.kernel32
        opened = kernel.OpenProcess(may_ask, False, process)
        if not opened:
            return bool(kernel.GetLastError() == 5)  # it is there, and nobody may ask it
        code = ctypes.c_ulong()
        known = kernel.GetExitCodeProcess(opened, ctypes.byref(code))
        kernel.CloseHandle(opened)
        return not known or code.value == still_active

else:

    def is_running(process: int) -> bool:
        """Whether a process of this machine is there."""
        try:
            os.kill(process, 0)
        except (ProcessLookupError, OverflowError):
            return False
        except PermissionError:
            return True
        return True
