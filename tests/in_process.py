"""Notebooks run inside the test process, by papermill as always but without a kernel of their own.

A kernel takes longer to start and to import its packages than most notebooks take to run. What a kernel adds (a fresh
process, its messages) is tested where a whole report is made with one; reports on odd trials use this engine. Each
notebook gets a namespace of its own, and matplotlib is as each notebook would find it.
"""

import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
import matplotlib.pyplot as plt
import nbformat
from IPython.core.displayhook import CapturingDisplayHook
from IPython.core.displaypub import CapturingDisplayPublisher
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output
from papermill.engines import Engine, papermill_engines
from traitlets.config import Config

from trialkit.report import running

NAME = "in_process"
WITHOUT_HISTORY = Config({"HistoryManager": {"enabled": False}})
"""No file outside of the test is written."""


class InProcess(Engine):
    """Runs the cells of a notebook one after another in an IPython shell of this process."""

    @classmethod
    def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **options: Any) -> None:
        """Run every cell; papermill raises on the first error that it finds in the outputs."""
        InteractiveShell.clear_instance()
        shell = InteractiveShell.instance(colors="nocolor", config=WITHOUT_HISTORY)
        backend = matplotlib.get_backend()
        path, nb_man.output_path = nb_man.output_path, None  # written when it has ended, as with kernels
        try:
            with matplotlib.rc_context():
                for number, cell in enumerate(nb_man.nb.cells):
                    if cell.cell_type != "code":
                        continue
                    nb_man.cell_start(cell, number)
                    cell.execution_count = number + 1
                    failed = _run(shell, cell)
                    nb_man.cell_complete(cell, number)
                    if failed:
                        nb_man.cell_exception(cell, number)
                        break
        finally:
            nb_man.output_path = path
            plt.close("all")
            matplotlib.use(backend)
            InteractiveShell.clear_instance()


def _run(shell: InteractiveShell, cell: Any) -> bool:
    """Run one cell and keep what it showed; says whether it failed."""
    shell.display_trap.hook = CapturingDisplayHook(shell=shell, outputs=[])
    shown = shell.display_trap.hook.outputs
    shell.display_pub = CapturingDisplayPublisher()
    with capture_output(display=False) as streams, warnings.catch_warnings():
        warnings.simplefilter("default")  # what warns in a kernel is seen in the cell, and stops the report
        for quiet in (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning):
            warnings.simplefilter("ignore", quiet)
        warnings.showwarning = _show_warning
        result = shell.run_cell(cell.source, store_history=False)
    error = result.error_before_exec or result.error_in_exec
    outputs = [
        nbformat.v4.new_output("stream", name=name, text=text)
        for name, text in (("stdout", "" if error else streams.stdout), ("stderr", streams.stderr))
        if text
    ]
    outputs += [_display("display_data", one) for one in shell.display_pub.outputs]
    outputs += [_display("execute_result", one) for one in shown]
    if error is not None:
        outputs.append(
            nbformat.v4.new_output("error", ename=type(error).__name__, evalue=str(error), traceback=[])
        )
    cell.outputs = outputs
    return error is not None


def _show_warning(message: Any, category: type[Warning], filename: str, lineno: int, *rest: Any) -> None:
    sys.stderr.write(warnings.formatwarning(message, category, filename, lineno))


def _display(kind: str, shown: Any) -> Any:
    return nbformat.v4.new_output(kind, data=dict(shown["data"]), metadata=dict(shown["metadata"] or {}))


papermill_engines.register(NAME, InProcess)


@contextmanager
def notebooks_in_process() -> Iterator[None]:
    """Within it, `running.run_notebooks` uses this process, one notebook at a time."""
    before = running.ENGINE, running.AT_A_TIME
    running.ENGINE, running.AT_A_TIME = NAME, 1
    try:
        yield
    finally:
        running.ENGINE, running.AT_A_TIME = before
