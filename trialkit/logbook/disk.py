"""Every step that changes something on the disk, one by one.

Answers: which steps can fail or be cut short?

`journal` changes files through these steps and in no other way, so that each of them can be made to fail in a test. Each
step is on the disk when it returns.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

PATIENCE_S = 2.0
"""How long a step that another program is in the way of is tried again: on Windows a file that is being read."""
_STEP_S = 0.05


class Disk:
    """The steps as the operating system takes them."""

    def write_new(self, path: Path, content: bytes) -> None:
        """Write a file that nobody looks at yet; an earlier one of that name is replaced."""
        with path.open("wb") as file:
            self.write(file, content)

    def create(self, path: Path, content: bytes) -> None:
        """Write a file that must not be there yet."""
        with path.open("xb") as file:
            self.write(file, content)

    def open(self, path: Path) -> IO[bytes]:
        """Open a file to read and change it; fails if it may not be changed or another program holds it."""
        return path.open("r+b")

    def write(self, file: IO[bytes], content: bytes) -> None:
        """Write at the present place of an open file."""
        file.write(content)
        file.flush()
        os.fsync(file.fileno())

    def rewrite(self, file: IO[bytes], content: bytes) -> None:
        """Put other content in the place of all that an open file holds."""
        file.seek(0)
        self.write(file, content)
        file.truncate(len(content))
        os.fsync(file.fileno())

    def cut(self, path: Path, size: int) -> None:
        """Take away what stands after the first `size` bytes."""
        with path.open("r+b") as file:
            file.truncate(size)
            file.flush()
            os.fsync(file.fileno())

    def rename(self, path: Path, target: Path) -> None:
        """Give a file another name, in place of any that has it."""
        _until_free(lambda: path.replace(target))

    def remove(self, path: Path) -> None:
        """Delete a file."""
        _until_free(path.unlink)

    def sync_folder(self, folder: Path) -> None:
        """Make sure that new, renamed and deleted names of the folder are on the disk, where the system can do that."""
        if sys.platform == "win32":
            return
        place = os.open(folder, os.O_RDONLY)
        try:
            with contextlib.suppress(OSError):  # some network drives cannot
                os.fsync(place)
        finally:
            os.close(place)


def _until_free(step: Callable[[], object]) -> None:
    """Take a step; where another program is in the way for a moment, try again."""
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            step()
            return
        except PermissionError:
            if sys.platform != "win32" or time.monotonic() >= end:
                raise
            time.sleep(_STEP_S)
