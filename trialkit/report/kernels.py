"""The kernels in which notebooks run, and how they are stopped before their time.

Answers: what happens to the cells that are running when somebody stops a report, and what can they import?

Each notebook runs in a process of its own. A run that is stopped must not wait for cells that may take minutes, nor leave
processes behind that write into a folder which is about to be cleared away. Nor may it run anything but the notebooks and what
is installed, whatever lies in the trial folder.
"""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path
from typing import Any

_ENGINE = "written_at_the_end"


class Kernels:
    """The kernels of one run. `stop` ends those that are running, and every one that is started afterwards.

    Parameters
    ----------
    folder : Path
        Where they are started. Python imports from there before anything that is installed, so it must hold nothing but
        what the run itself puts there: neither the trial folder nor the folder from which the command was given, where a
        file may have the name of a module.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._processes: list[Any] = []
        self._stopped = False

    def started(self, process: Any) -> None:
        """Take note of a process that was started; it is ended at once if the run has been stopped."""
        with self._lock:
            self._processes.append(process)
            stopped = self._stopped
        if stopped:
            _end(process)

    def stop(self) -> None:
        """End every process, without waiting for it."""
        with self._lock:
            self._stopped = True
            processes = list(self._processes)
        for process in processes:
            _end(process)

    def manager_class(self) -> type:
        """A kernel manager that tells these kernels of each process that it starts, for nbclient."""
        from jupyter_client.manager import AsyncKernelManager

        noted, folder = self.started, str(self._folder)

        class Noted(AsyncKernelManager):
            async def start_kernel(self, **options: Any) -> None:  # type: ignore[override]
                await super().start_kernel(**{**options, "cwd": folder})
                noted(getattr(self.provisioner, "process", None))

        return Noted


def engine() -> str:
    """The name of papermill's own engine, save that it writes a notebook when it has ended and not at every cell.

    An ended notebook is written however it ended. Twice for each cell, with all pictures so far, would take a fifth of the
    time of a report.
    """
    from papermill.engines import NBClientEngine, papermill_engines

    class WrittenAtTheEnd(NBClientEngine):
        @classmethod
        def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **options: Any) -> None:
            path, nb_man.output_path = nb_man.output_path, None
            try:
                super().execute_managed_notebook(nb_man, kernel_name, **options)
            finally:
                nb_man.output_path = path

    papermill_engines.register(_ENGINE, WrittenAtTheEnd)
    return _ENGINE


def _end(process: Any) -> None:
    if process is not None:
        with contextlib.suppress(OSError):  # it has ended by itself
            process.kill()
