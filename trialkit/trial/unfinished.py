"""Which bytes of a trial folder count while rows are being added to it.

Answers: what did a file hold before an addition that is under way or was cut short?

Rows are added to several files in one step. Before the first byte is written, a journal in the folder names every file
that will grow, how long it was and what will follow; when all of them are complete the journal is deleted, and only then
do the new rows count. Of a file that gets new columns as well, a copy is kept until then. A reader that finds a journal
reads each file as it was before. `logbook.journal` writes and clears journals; here they are only read.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

JOURNAL = ".logbook_journal"
COPY = ".logbook_before_{}"
"""Name of the copy of a file that is being rewritten."""
LONGEST_JOURNAL = 256 * 1024 * 1024
"""Bytes beyond which a journal is not one of ours."""
PATIENCE_S = 1.0
"""How long a reader waits for an addition that is under way; it takes some milliseconds."""
_STEP_S = 0.02


@dataclass(frozen=True, slots=True)
class Change:
    """What is being added to one file of the folder.

    Attributes
    ----------
    name : str
        Name of the file in the folder.
    size : int or None
        Its length before [bytes]; None if the file is new.
    sha256 : str
        SHA-256 of its content before; of nothing if the file is new.
    tail : bytes
        What is added at the end; of a file that is rewritten all that it will hold.
    is_rewritten : bool
        Whether the file is written anew, since it gets new columns; its copy holds what it was.
    """

    name: str
    size: int | None
    sha256: str
    tail: bytes
    is_rewritten: bool = False

    def before(self, folder: Path, content: bytes) -> bytes | None:
        """What the file held before; None if something else has changed it since.

        A tail of which only a part arrived is recognized, and so is one of which a part reads as zeros, which a power
        failure can leave.

        Parameters
        ----------
        folder : Path
            The trial folder.
        content : bytes
            What the file holds now.
        """
        old = (
            (folder / COPY.format(self.name)).read_bytes() if self.is_rewritten else content[: self.size or 0]
        )
        if hashlib.sha256(old).hexdigest() != self.sha256:
            return None
        if self.is_rewritten:
            return old if _is_between(content, old, self.tail) else None
        new = content[len(old) :]
        is_ours = self.tail.startswith(new) or _is_between(new, b"", self.tail)
        return old if is_ours else None


def _is_between(content: bytes, old: bytes, new: bytes) -> bool:
    """Whether every byte is that of the old content, that of the new one or zero."""
    if len(content) > max(len(old), len(new)):
        return False
    now, was, will = (
        np.frombuffer(part[: len(content)].ljust(len(content), b"\0"), dtype=np.uint8)
        for part in (content, old, new)
    )
    return bool(((now == 0) | (now == was) | (now == will)).all())


class JournalError(ValueError):
    """The journal is not one that the logbook has written."""


def read_journal(folder: Path) -> tuple[Change, ...] | None:
    """The additions that are under way or were cut short.

    Parameters
    ----------
    folder : Path
        The trial folder.

    Returns
    -------
    tuple of Change or None
        None if there are none.

    Raises
    ------
    JournalError
        If there is a journal that cannot be read.
    """
    path = folder / JOURNAL
    try:
        if path.stat().st_size > LONGEST_JOURNAL:
            raise JournalError("too long")
        content = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise JournalError(error.strerror or type(error).__name__) from None
    try:
        changes = tuple(_change(item) for item in json.loads(content)["files"])
    except (ValueError, KeyError, TypeError, RecursionError, binascii.Error):
        raise JournalError("damaged") from None
    if len({change.name for change in changes}) < len(changes):
        raise JournalError("damaged")
    return changes


def journal_bytes(changes: tuple[Change, ...]) -> bytes:
    """The content of a journal of these changes."""
    files = [
        {
            "name": change.name,
            "size": change.size,
            "sha256": change.sha256,
            "tail": base64.b64encode(change.tail).decode("ascii"),
            "is_rewritten": change.is_rewritten,
        }
        for change in changes
    ]
    return json.dumps({"files": files}, indent=1).encode("ascii")


def _change(item: dict) -> Change:
    name, size, sha256 = item["name"], item["size"], item["sha256"]
    plain = isinstance(name, str) and name not in ("", ".", "..") and not set(name) & set('/\\:\0"')
    whole = size is None or (isinstance(size, int) and not isinstance(size, bool) and size >= 0)
    rewritten = item.get("is_rewritten", False)
    if not plain or not whole or not isinstance(sha256, str) or (rewritten and size is None):
        raise ValueError(name)
    return Change(name, size, sha256, base64.b64decode(item["tail"], validate=True), bool(rewritten))


def wait_for_others(folder: Path, patience_s: float = PATIENCE_S) -> None:
    """Wait until no addition is under way, but no longer than `patience_s` [s]."""
    end = time.monotonic() + patience_s
    while (folder / JOURNAL).exists() and time.monotonic() < end:
        time.sleep(_STEP_S)


def stamp(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Name, length and time of change of every file that is not hidden: the same twice if nothing changed in between."""
    found = []
    for path in folder.iterdir():
        if path.name.startswith(".") and path.name != JOURNAL:
            continue
        try:
            status = path.stat()
        except OSError:
            continue
        found.append((path.name, status.st_size, status.st_mtime_ns))
    return tuple(sorted(found))
