"""One writer at a time in a trial folder.

Answers: is somebody else adding to this folder just now?

The lock is the operating system's own, held on a hidden file of the folder, so it ends with the program that holds it,
however that ends; there are no stale locks. It works between the computers that share a drive as far as the drive knows
locks; one that does not is refused.
"""

from __future__ import annotations

import contextlib
import os
import platform
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from trialkit.errors import TrialkitError, os_reason

LOCK_FILE = ".logbook_lock"
PATIENCE_S = 10.0
"""How long to wait for another writer before giving up."""
_STEP_S = 0.05


class FolderBusyError(TrialkitError):
    """Another program is adding to the folder."""


@contextlib.contextmanager
def hold(folder: Path, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Be the only writer in the folder while the block runs.

    Parameters
    ----------
    folder : Path
        The trial folder.
    patience_s : float
        How long to wait for another writer [s].

    Raises
    ------
    FolderBusyError
        If another writer is still at work then.
    OSError
        If the folder cannot be written in, or its drive knows no locks.
    """
    path = folder / LOCK_FILE
    end = time.monotonic() + patience_s
    while True:
        file = _opened(path)
        if _is_locked_by_me(file) and _is_still(path, file):
            break
        said = _who(file)
        file.close()
        if time.monotonic() >= end:
            raise FolderBusyError(
                f"another program is adding to {folder}{said}; nothing was changed. Try again when it is done."
            )
        time.sleep(_STEP_S)
    try:
        _write_who(file)
        yield
    finally:
        _let_go(path, file)


def _opened(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o666), "r+b", buffering=0)


def _is_still(path: Path, file: IO[bytes]) -> bool:
    """Whether the file that was locked is the one that stands in the folder; its last holder may have deleted it."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except FileNotFoundError:
        return False


def _write_who(file: IO[bytes]) -> None:
    with contextlib.suppress(OSError):  # a full disk: the lock holds all the same
        file.seek(1)
        file.truncate()
        file.write(f" process {os.getpid()} on {platform.node()}".encode("utf-8", "replace"))


def _who(file: IO[bytes]) -> str:
    """Who holds the lock, as far as that can be read."""
    with contextlib.suppress(OSError):
        file.seek(1)
        said = file.read(200).decode("utf-8", "replace").strip()
        return f" ({said})" if said.isprintable() and said else ""
    return ""


if sys.platform == "win32":
    import msvcrt

    def _is_locked_by_me(file: IO[bytes]) -> bool:
        """Whether the lock could be had; the first byte of the file stands for it."""
        file.seek(0)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        return True

    def _let_go(path: Path, file: IO[bytes]) -> None:
        """Give the lock back; the file stays, since an open file cannot be deleted."""
        with contextlib.suppress(OSError):
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)
        file.close()

else:
    import fcntl

    def _is_locked_by_me(file: IO[bytes]) -> bool:
        """Whether the lock could be had."""
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as error:
            file.close()
            raise OSError(
                error.errno, f"the drive does not know locks ({os_reason(error)})", LOCK_FILE
            ) from None
        return True

    def _let_go(path: Path, file: IO[bytes]) -> None:
        """Delete the lock file while it is still held, then give the lock back."""
        with contextlib.suppress(OSError):
            path.unlink()
        file.close()
