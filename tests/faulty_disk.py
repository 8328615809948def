"""A disk whose steps fail, are cut short or never return, one after the other."""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path

from trialkit.logbook.disk import Disk


class FaultyDisk(Disk):
    """Takes so many steps, then fails in the next one.

    `fault` is called in place of step number `fails_at` (counted from 0) or, with `half=True`, after half of its bytes
    were written. Steps of the clearing up that follows go through if `only_once` is true.
    """

    def __init__(
        self, fails_at: int, fault, *, half: bool = False, after: bool = False, only_once: bool = True
    ):
        self.fails_at, self.fault, self.half, self.after, self.only_once = (
            fails_at,
            fault,
            half,
            after,
            only_once,
        )
        self.taken = 0

    def _step(self, whole, part=None):
        number = self.taken
        self.taken += 1
        if number == self.fails_at or (number > self.fails_at and not self.only_once):
            if self.half and part is not None:
                part()
            if self.after:
                whole()
            self.fault()
        return whole()

    def write(self, file, content):
        self._step(
            lambda: Disk.write(self, file, content),
            lambda: Disk.write(self, file, content[: len(content) // 2]),
        )

    def open(self, path):
        return self._step(lambda: Disk.open(self, path))

    def rewrite(self, file, content):
        def half():
            file.seek(0)
            Disk.write(self, file, content[: len(content) // 2])

        self._step(lambda: Disk.rewrite(self, file, content), half)

    def cut(self, path, size):
        self._step(
            lambda: Disk.cut(self, path, size),
            lambda: Disk.cut(self, path, (size + path.stat().st_size) // 2),
        )

    def rename(self, path, target):
        self._step(lambda: Disk.rename(self, path, target))

    def remove(self, path):
        self._step(lambda: Disk.remove(self, path))

    def sync_folder(self, folder):
        self._step(lambda: Disk.sync_folder(self, folder))


class SlowDisk(FaultyDisk):
    """Never fails, and takes a while for each step, so that a random moment is likely to fall between two of them."""

    def __init__(self):
        super().__init__(-1, full_disk)

    def _step(self, whole, part=None):
        time.sleep(0.006)
        done = super()._step(whole)
        time.sleep(0.003)
        return done


def full_disk():
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def keyboard():
    raise KeyboardInterrupt


def killed():
    os._exit(9)


def steps_of(work) -> int:
    """How many steps a piece of work takes on a disk that never fails."""
    disk = FaultyDisk(10**9, full_disk)
    work(disk)
    return disk.taken


def in_a_child(work) -> int:
    """Run a piece of work in a forked process and return how it ended; nothing is cleared up if it is killed."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder that an analyst sees, and what it holds."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}
