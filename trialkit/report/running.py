"""Notebooks run by papermill, two at a time.

Answers: how do the notebooks get their parameters, and what does the analyst read when one of them fails?

papermill only logs a parameter that a notebook does not have, so a misspelt one would run with the default; here it is an
error. Threads are safe as long as papermill's `cwd` is not used (it changes the folder of the whole process), so every
path goes in as an absolute parameter.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit.errors import ReportError, UsageError, near_match, os_reason
from trialkit.report.kernels import Kernels, engine

AT_A_TIME = 2
ENGINE: str | None = None
"""Name of another papermill engine than that of `kernels`, which has a kernel for each notebook."""
_OUR_ERRORS = {"TrialDataError", "NotEnoughDataError", "ReportError", "UsageError", "TrialkitError"}
"""Errors whose text is meant for the analyst as it stands."""
_NAME = re.compile(r"^\d\d_\w+\.ipynb$")
PLAN_NOTEBOOK = "08_plan.ipynb"
"""The notebook of `trialkit plan`; a report is made without it."""
_QUIET_KERNEL = ["--IPKernelApp.log_level=50"]
"""A kernel that is shut down while it is busy would tell so as an error; a failing cell is told by papermill anyway."""


def skip_unused_grammar() -> None:
    """Keep jsonschema from building an address grammar that no notebook schema uses.

    jsonschema imports `rfc3987_syntax` if it is there, which takes over two seconds of every start of papermill and
    nbconvert; marked as absent, it is passed over.
    """
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class NotebookRun:
    """One executed notebook: its source, where the executed copy is, and how long it took."""

    source: Path
    executed: Path
    seconds: float


def notebook_folder() -> Path:
    """Folder of the notebooks: inside the package when installed from a wheel, else beside it."""
    inside = Path(__file__).parents[1] / "notebooks"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "notebooks"


def notebooks(folder: Path | None = None) -> tuple[Path, ...]:
    """The numbered notebooks of a report in order.

    Raises
    ------
    ReportError
        If there are none.
    """
    given, folder = folder is not None, folder or notebook_folder()
    numbered = (path for path in folder.glob("*.ipynb") if _NAME.match(path.name))
    found = tuple(sorted(path for path in numbered if path.name != PLAN_NOTEBOOK))
    if not found:
        what_to_do = "copy the installed ones and change them" if given else "install trialkit again"
        raise ReportError(f"there are no notebooks such as 02_wear.ipynb in {folder}; {what_to_do}.")
    return found


def plan_notebook() -> Path:
    """The notebook of the plan.

    Raises
    ------
    ReportError
        If it is not there.
    """
    found = notebook_folder() / PLAN_NOTEBOOK
    if not found.is_file():
        raise ReportError(f"there is no {PLAN_NOTEBOOK} in {notebook_folder()}; install trialkit again.")
    return found


def parameters_of(notebook: Path) -> dict[str, Any]:
    """Names and defaults (as text) of a notebook's parameters cell; ReportError if it is not a notebook."""
    skip_unused_grammar()
    import nbformat
    import papermill

    try:
        return {name: facts["default"] for name, facts in papermill.inspect_notebook(str(notebook)).items()}
    except (nbformat.reader.NotJSONError, nbformat.ValidationError, OSError) as error:
        raise ReportError(
            f"{notebook.name} is not a notebook that can be run: {type(error).__name__}."
        ) from None


def check_parameters(
    given: Iterable[str], sources: Sequence[Path], reserved: Sequence[str] = ()
) -> dict[Path, frozenset[str]]:
    """Which parameters each notebook has; every given name must be one of them, and none of the `reserved`.

    Raises
    ------
    UsageError
        Naming the parameters that no notebook has, with near matches.
    """
    known = {source: frozenset(parameters_of(source)) for source in sources}
    all_names = sorted(set().union(*known.values()) - set(reserved))
    lines = [
        f'"{name}" is not a parameter of any notebook. {near_match(name, all_names)}'
        for name in given
        if name not in all_names
    ]
    if lines:
        names = f"The parameters are: {', '.join(all_names)}." if all_names else "There are none to set."
        raise UsageError("\n".join([*(line.strip() for line in lines), names]))
    return known


def run_notebooks(
    sources: Sequence[Path],
    parameters: Mapping[str, Any],
    executed: Path,
    done: Callable[[NotebookRun], None] = lambda run: None,
    out_dir: Callable[[Path], Path] | None = None,
) -> tuple[NotebookRun, ...]:
    """Run notebooks that do not depend on each other, two at a time.

    Parameters
    ----------
    sources : sequence of Path
        The notebooks.
    parameters : mapping
        Values by name; each notebook gets those it has.
    executed : Path
        Folder for the executed copies; it must exist. The notebooks run in it, so a path among the parameters is absolute.
    done : callable
        Called with each finished run.
    out_dir : callable, optional
        Folder for the tables of each notebook, where each has its own.

    Returns
    -------
    tuple of NotebookRun
        In the order of `sources`.

    Raises
    ------
    UsageError
        If a parameter is not known to any notebook.
    ReportError
        If a notebook fails: it names the notebook, the cell and the reason.
    KeyboardInterrupt
        If the run is stopped; the kernels that were running are ended first.
    """
    known = check_parameters(parameters, sources)
    kernels = Kernels(executed.resolve())
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        waiting: dict[Future[NotebookRun], Path] = {}
        try:
            for source in sources:
                own = {name: value for name, value in parameters.items() if name in known[source]}
                if out_dir is not None and "out_dir" in known[source]:
                    own["out_dir"] = str(out_dir(source))
                waiting[pool.submit(_run, source, executed / source.name, own, done, kernels)] = source
            finished, _ = wait(waiting, return_when=FIRST_EXCEPTION)
            failed = [future for future in waiting if future in finished and future.exception() is not None]
        except KeyboardInterrupt:
            kernels.stop()
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
    if failed:
        raise failed[0].exception()  # type: ignore[misc]
    return tuple(future.result() for future in waiting)


def _run(
    source: Path,
    target: Path,
    parameters: dict[str, Any],
    done: Callable[[NotebookRun], None],
    kernels: Kernels,
) -> NotebookRun:
    skip_unused_grammar()
    import papermill

    started = time.perf_counter()
    try:
        papermill.execute_notebook(
            str(source), str(target), parameters=parameters, progress_bar=False, log_output=False,
            engine_name=ENGINE or engine(), extra_arguments=_QUIET_KERNEL, kernel_manager_class=kernels.manager_class(),
        )  # fmt: skip
    except papermill.PapermillExecutionError as error:
        raise ReportError(failure(source, target, error.cell_index, error.ename, error.evalue)) from None
    except Exception as error:
        reason = os_reason(error) + "." if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        raise ReportError(f"{source.name} could not be run: {reason}") from error
    run = NotebookRun(source, target, time.perf_counter() - started)
    done(run)
    return run


def failure(source: Path, executed: Path, cell_index: int, error_name: str, message: str) -> str:
    """What the analyst reads when a cell fails: notebook, cell, the heading above it, and the reason."""
    import nbformat

    heading = ""
    if executed.exists():
        cells = nbformat.read(executed, as_version=4).cells[: cell_index + 1]
        headings = [
            line for cell in cells if cell.cell_type == "markdown" for line in cell.source.splitlines()
        ]
        headings = [line.lstrip("# ") for line in headings if line.startswith("#")]
        heading = f', under "{headings[-1]}"' if headings else ""
    reason = message if error_name in _OUR_ERRORS else f"{error_name}: {message}"
    return f"{source.name} stopped at cell {cell_index + 1}{heading}:\n{reason}"
