"""Rows added to several files in one step.

Answers: how do all files grow together or not at all, whatever happens on the way?

First the journal says what each file was; then every file grows; then the journal is deleted, and with that the new rows
count. Until then everything can be taken back without any room on the disk: each file is cut to its old length, one
that is new is deleted, and one that was to get new columns is written back from its copy. Readers that meet a journal read the files as they were (`trial.unfinished`); the next command
that may write takes back what a stopped program had begun.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from trialkit.errors import TrialkitError, os_reason
from trialkit.logbook.disk import Disk
from trialkit.logbook.folder_lock import FolderBusyError, hold
from trialkit.trial.unfinished import COPY, JOURNAL, Change, JournalError, journal_bytes, read_journal

TAKEN_BACK = (
    "An earlier addition to {} was cut short. What it had begun was taken back; none of its rows was added."
)
_DRAFT = f"{JOURNAL}_draft"


class NotAddedError(TrialkitError):
    """Nothing was added; the text says why."""


@dataclass(frozen=True, slots=True)
class Addition:
    """What is to be added to one file.

    Attributes
    ----------
    path : Path
        The file.
    sha256 : str or None
        SHA-256 of the content to which the rows were fitted; None if the file is to be new.
    tail : bytes
        What is to be added at its end; of a file that is rewritten all that it is to hold.
    is_rewritten : bool
        Whether the file is to be written anew, since it gets new columns.
    """

    path: Path
    sha256: str | None
    tail: bytes
    is_rewritten: bool = False


def add(folder: Path, additions: Sequence[Addition], disk: Disk | None = None) -> None:
    """Add to all of the files or to none; `folder_lock.hold` must be held.

    Parameters
    ----------
    folder : Path
        The trial folder, in which all of the files are.
    additions : sequence of Addition
        What to add to which file.
    disk : Disk, optional
        How to write.

    Raises
    ------
    NotAddedError
        If anything fails; the files are then as they were, or will be once `settle` is called.
    """
    disk = disk or Disk()
    take_back(folder, disk)
    is_written = False
    with contextlib.ExitStack() as open_files:
        try:
            files = {
                item.path: open_files.enter_context(disk.open(item.path)) for item in additions if item.sha256
            }
            changes = tuple(_change(item, files.get(item.path), disk) for item in additions)
            _write_journal(folder, changes, disk)
            for item in additions:
                if item.path not in files:
                    disk.create(item.path, item.tail)
                elif item.is_rewritten:
                    disk.rewrite(files[item.path], item.tail)
                else:
                    disk.write(files[item.path], item.tail)
            disk.sync_folder(folder)
            is_written = True
            disk.remove(folder / JOURNAL)
            disk.sync_folder(folder)
            _clear(folder, disk)
        except BaseException as error:
            if not is_written or (folder / JOURNAL).exists():
                more = _undone(folder, disk, open_files)
                if isinstance(error, OSError):
                    raise NotAddedError(f"nothing was added: {os_reason(error)}.{more}") from error
                raise


def _change(item: Addition, file: IO[bytes] | None, disk: Disk) -> Change:
    """How the file is now, with a copy if it is to be rewritten; it must still be what the rows were fitted to."""
    if file is None:
        if item.path.exists():
            raise NotAddedError(
                f"nothing was added: {item.path.name} has come into being meanwhile. Try again."
            )
        return Change(item.path.name, None, hashlib.sha256(b"").hexdigest(), item.tail)
    content = file.read()
    sha256 = hashlib.sha256(content).hexdigest()
    if sha256 != item.sha256:
        raise NotAddedError(f"nothing was added: {item.path.name} was changed meanwhile. Try again.")
    if item.is_rewritten:
        disk.write_new(item.path.with_name(COPY.format(item.path.name)), content)
    return Change(item.path.name, len(content), sha256, item.tail, item.is_rewritten)


def _write_journal(folder: Path, changes: tuple[Change, ...], disk: Disk) -> None:
    disk.write_new(folder / _DRAFT, journal_bytes(changes))
    disk.rename(folder / _DRAFT, folder / JOURNAL)
    disk.sync_folder(folder)


def _undone(folder: Path, disk: Disk, open_files: contextlib.ExitStack) -> str:
    """Take back what was begun; what to say if that fails too."""
    try:
        with contextlib.suppress(OSError):  # what a full disk did not take is tried once more on closing
            open_files.close()
        take_back(folder, disk)
    except (OSError, TrialkitError):
        return " What was begun does not count, and is taken back by the next `trialkit check` of the folder."
    return ""


# ---------------------------------------------------------------- what a stopped program has left
def take_back(folder: Path, disk: Disk | None = None) -> bool:
    """Take back an addition that is not complete; `folder_lock.hold` must be held.

    Returns
    -------
    bool
        Whether there was one.

    Raises
    ------
    NotAddedError
        If a file was changed since, so that it is not clear which rows count; nothing is changed then.
    """
    disk = disk or Disk()
    try:
        changes = read_journal(folder)
        if changes is None:
            _clear(folder, disk)
            return False
        begun = [change for change in changes if _is_begun(folder, change)]
    except JournalError as error:
        raise NotAddedError(_unclear(JOURNAL, f"it is {error}")) from None
    for change in begun:
        if change.size is None:
            disk.remove(folder / change.name)
        elif change.is_rewritten:
            with disk.open(folder / change.name) as file:
                disk.rewrite(file, (folder / COPY.format(change.name)).read_bytes())
        else:
            disk.cut(folder / change.name, change.size)
    disk.sync_folder(folder)
    disk.remove(folder / JOURNAL)
    disk.sync_folder(folder)
    _clear(folder, disk)
    return True


def _clear(folder: Path, disk: Disk) -> None:
    """Delete what only counts beside a journal: copies of rewritten files and the draft of a journal."""
    with contextlib.suppress(OSError):
        for path in _left_over(folder):
            disk.remove(path)


def _left_over(folder: Path) -> list[Path]:
    return [*folder.glob(COPY.format("*")), *folder.glob(_DRAFT)]


def _is_begun(folder: Path, change: Change) -> bool:
    """Whether the file holds anything of the addition."""
    try:
        content = (folder / change.name).read_bytes()
    except FileNotFoundError:
        if change.size is None:
            return False
        raise NotAddedError(_unclear(change.name, "it is gone")) from None
    try:
        before = change.before(folder, content)
    except FileNotFoundError:
        raise NotAddedError(_unclear(change.name, "its copy is gone")) from None
    if before is None:
        raise NotAddedError(_unclear(change.name, "it was changed since"))
    return change.size is None or content != before


def _unclear(name: str, why: str) -> str:
    return (
        f"an addition was cut short, and {name} does not fit to it: {why}. Look whether the last rows of every table "
        f"are complete, mend them, then delete the journal {JOURNAL} from the folder."
    )


def settle(folder: Path, disk: Disk | None = None) -> str:
    """Take back what a stopped program had begun, if there is anything and the folder may be written in.

    Use it at the start of a command that reads. A folder that is left as it is, is read as it was before.

    Returns
    -------
    str
        What was done, for the analyst; empty if there was nothing to do.
    """
    try:
        if not (folder / JOURNAL).exists() and not _left_over(folder):
            return ""
        with hold(folder):
            return TAKEN_BACK.format(folder) if take_back(folder, disk) else ""
    except (OSError, FolderBusyError, NotAddedError):
        return ""  # reading copes with it and says what is to be done
