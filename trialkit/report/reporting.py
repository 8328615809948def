"""A trial folder in, a run folder with the council report out.

Answers: what does `trialkit report` leave behind, and what stays as it was when something fails?

Everything is made in a hidden neighbour of the run folder and moved into place in one step at the end, so a failed or
interrupted run leaves the last good report untouched. The executed copy of a notebook that failed is kept in
``last_failure`` for a look.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import importlib.metadata
import json
import platform
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit import __version__, display
from trialkit.errors import ReportError, UsageError, near_match
from trialkit.report import (
    blocks,
    changes,
    document,
    layout,
    look_study,
    pdf,
    reuse,
    running,
    saving,
    word,
    word_template,
    workbook,
    workplace,
)  # fmt: skip
from trialkit.report.reuse import NOTEBOOKS, RUN_RECORD, TABLES
from trialkit.trial import checks, files

COUNCIL_NOTEBOOK = "10_council_report.ipynb"
COUNCIL_REPORT = "council_report.html"
COUNCIL_PDF = "council_report.pdf"
COUNCIL_WORD = "council_report.docx"
APPENDIX = "appendix.html"
WORKBOOK = "appendix.xlsx"
LAST_FAILURE = "last_failure"
PARTS = "parts"
"""Folder of the workplace in which each notebook has a folder of its own for the tables that it writes."""
SET_BY_THE_RUN = (
    "data_dir",
    "out_dir",
    "through_date",
    "since_run",
    "earlier_looks",
    "confidence_level",
    "interim",
)


def write_report(
    folder: str | Path,
    reports: str | Path = "reports",
    through: dt.date | None = None,
    parameters: Mapping[str, Any] | None = None,
    notebook_folder: Path | None = None,
    quiet: bool = False,
    force: bool = False,
    template: Path | None = None,
    since: str | Path | None = None,
    done: Callable[[running.NotebookRun], None] = lambda run: None,
) -> Path:
    """Run the notebooks on a trial folder and write the council report.

    A notebook is run only if something that it depends on has changed since an earlier run; see `reuse`.

    Parameters
    ----------
    folder : str or Path
        The trial folder.
    reports : str or Path
        Where reports go; the run folder is ``<reports>/<trial_id>/<last data date>_<hash of inputs and settings>``.
    through : date, optional
        Use readings up to and including this day.
    parameters : mapping, optional
        Notebook parameters by name.
    notebook_folder : Path, optional
        Other notebooks than the installed ones.
    quiet : bool
        Say nothing on the way.
    force : bool
        Run every notebook anew, whatever an earlier run holds.
    template : Path, optional
        The agency's own Word document with placeholders, see `word_template`; it is looked at before anything is run.
    since : str or Path, optional
        The earlier run to compare with, as its folder or its name; by default the run that was made last.
    done : callable
        Called with each notebook that was run, and not with one that was taken from an earlier run.

    Returns
    -------
    Path
        The council report as a web page; its PDF and its Word document are beside it.

    Raises
    ------
    TrialDataError
        If the data hold impossible things; nothing is written then.
    UsageError
        If a parameter is unknown or belongs to the run itself, the template cannot be used, or there is no run such as
        `since`.
    ReportError
        If a notebook fails; the earlier report stays.
    """
    parameters = dict(parameters or {})
    own = [name for name in SET_BY_THE_RUN if name in parameters]
    if own:
        raise UsageError(
            f"{', '.join(own)} cannot be set with -p; name the folder, --out or --through instead."
        )
    sources = running.notebooks(notebook_folder)
    if parameters:
        running.check_parameters(parameters, sources, reserved=SET_BY_THE_RUN)
    if template is not None:
        word_template.read_template(template)
    checked = checks.check_trial(folder, through=through)
    trial = checked.require_clean()

    home = Path(reports).resolve() / trial.settings.trial_id
    brought = [*([template] if template else []), *(sources if notebook_folder else [])]
    made_from = {**trial.hashes, **{f"{path.name} (given)": reuse.sha256_of(path) for path in brought}}
    final = home / f"{trial.last_data_date.isoformat()}_{run_hash(made_from, parameters, through)}"
    workplace.clear_left_over(home)
    earlier = reuse.earlier_runs(home)
    last = _run_to_compare_with(since, earlier, final)
    looks = look_study.earlier_looks(earlier, trial.last_data_date)
    level, interim = look_study.judged_by(trial, looks)
    given = {
        "data_dir": str(Path(folder).resolve()),
        "through_date": through.isoformat() if through else "",
        "since_run": str(last.folder) if last is not None else "",
        "earlier_looks": looks,
        "confidence_level": level,
        "interim": interim,
        **parameters,
    }
    compared_with = f"{last.folder.name}, {last.made}" if last is not None else ""
    needs = {source: reuse.needs_of(source, {**given, "since_run": compared_with}) for source in sources}
    earlier = [] if force else earlier
    from_run = {source: reuse.reusable(source, needs[source], trial, earlier) for source in sources}
    if _stands(final, from_run):
        return final / COUNCIL_REPORT
    with workplace.workplace(final, (NOTEBOOKS, TABLES)) as work:
        try:
            with _progress(sum(run is None for run in from_run.values()), quiet, done) as tell:
                runs = _run_or_reuse(from_run, given, work, tell)
            _require_unchanged(trial)
            council, others = _blocks(runs)
            origin = _origin(trial, made_from, given, council, final) | {"warnings": checked.n_warnings}
            _save_documents(council, others, work, template, trial.settings.units)
            if others:
                tables = checked.frame(), trial.exclusions
                saving.save_bytes(workbook.xlsx(others, *tables, origin), work / WORKBOOK)
        except ReportError as error:
            raise ReportError(f"{error}{_keep_failure(work / NOTEBOOKS, home / LAST_FAILURE)}") from None
        changes.save_fingerprints(trial, work / changes.FINGERPRINTS)
        record = origin | _run_record(trial, given, runs, needs, work)
        saving.save_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", work / RUN_RECORD)
    shutil.rmtree(home / LAST_FAILURE, ignore_errors=True)
    return final / COUNCIL_REPORT


def _require_unchanged(trial: checks.Trial) -> None:
    """Refuse a report whose notebooks may have read different states of the trial."""
    changed = files.changed_since(trial.folder, trial.hashes)
    if changed:
        raise ReportError(
            f"the trial changed while the report was made ({', '.join(changed)}). Run the report again."
        )


def _run_to_compare_with(
    since: str | Path | None, earlier: Sequence[reuse.EarlierRun], final: Path
) -> reuse.EarlierRun | None:
    """The earlier run that was asked for, or the one made last on no later data; never the run that is being made."""
    if since is None:
        day = final.name.partition("_")[0]
        return next(
            (run for run in earlier if run.folder != final and run.folder.name[: len(day)] <= day), None
        )
    named = [run for run in earlier if str(since) == run.folder.name]
    run = named[0] if named else reuse.read_run(Path(since).resolve())
    if run is None:
        names = [run.folder.name for run in earlier]
        hint = near_match(str(since), names) or (
            f"The runs are: {', '.join(names)}." if names else "There is none yet."
        )
        raise UsageError(f'"{since}" is not a finished run of this trial. {hint}')
    return run


def _stands(final: Path, from_run: Mapping[Path, reuse.EarlierRun | None]) -> bool:
    """Whether the very run is there already, whole, with the same notebooks, none of which has to be run again."""
    first = next(iter(from_run.values()))
    return (
        first is not None
        and first.folder == final
        and all(run is not None and run.folder == final for run in from_run.values())
        and [said["name"] for said in first.record["notebooks"]] == [source.name for source in from_run]
        and first.is_whole()
    )


@dataclass(frozen=True, slots=True)
class _Ran:
    """One notebook of a run: its executed copy, how long it took, and the tables that it wrote."""

    source: Path
    executed: Path
    seconds: float
    writes: tuple[str, ...]
    reused_from: str


def _run_or_reuse(
    from_run: Mapping[Path, reuse.EarlierRun | None],
    given: Mapping[str, Any],
    work: Path,
    tell: Callable[[running.NotebookRun], None],
) -> tuple[_Ran, ...]:
    """Run the notebooks that no earlier run can stand for, copy the others, and bring all tables together."""
    parts = work / PARTS
    fresh = [source for source, run in from_run.items() if run is None]
    runs: tuple[running.NotebookRun, ...] = ()
    if fresh:
        taken = frozenset().union(*(reuse.parameter_names(source) for source in fresh))
        given = {name: value for name, value in {**given, "out_dir": ""}.items() if name in taken}
        runs = running.run_notebooks(fresh, given, work / NOTEBOOKS, tell, lambda source: parts / source.stem)
    seconds = {run.source: run.seconds for run in runs}
    ran = []
    for source, run in from_run.items():
        executed = work / NOTEBOOKS / source.name
        if run is None:
            folder = parts / source.stem / TABLES
            made = sorted(folder.iterdir()) if folder.is_dir() else []
        else:
            said = reuse.entry(run, source.name) or {}
            shutil.copyfile(run.folder / NOTEBOOKS / source.name, executed)
            made = [run.folder / TABLES / name for name in said["writes"]]
        for table in made:
            _add_table(table, work / TABLES, source)
        ran.append(
            _Ran(
                source, executed, seconds.get(source, 0.0), tuple(table.name for table in made),
                run.folder.name if run is not None else "",
            )
        )  # fmt: skip
    shutil.rmtree(parts, ignore_errors=True)
    return tuple(ran)


def _add_table(table: Path, tables: Path, source: Path) -> None:
    """Copy one notebook's table to those of the run; two notebooks may not write the same one."""
    if (tables / table.name).exists():
        raise ReportError(
            f"{source.name} writes {table.name}, and so does a notebook before it; rename one of them."
        )
    shutil.copyfile(table, tables / table.name)


def run_hash(hashes: Mapping[str, str], parameters: Mapping[str, Any], through: dt.date | None) -> str:
    """Eight characters that change with any input file, setting, parameter or `through`."""
    said = json.dumps([sorted(hashes.items()), sorted(parameters.items()), str(through)], default=str)
    return hashlib.sha256(said.encode()).hexdigest()[:8]


def _blocks(runs: Sequence[_Ran]) -> tuple[list[blocks.Block], list[blocks.Block]]:
    """The blocks of the council report, and those of the other notebooks."""
    by_name = {run.source.name: run.executed for run in runs}
    if COUNCIL_NOTEBOOK not in by_name:
        raise ReportError(
            f"{COUNCIL_NOTEBOOK} is not among the notebooks, so there is no council report to write."
        )
    council = blocks.read_blocks(by_name.pop(COUNCIL_NOTEBOOK))
    return council, [block for executed in by_name.values() for block in blocks.read_blocks(executed)]


def _save_documents(
    council: Sequence[blocks.Block],
    others: Sequence[blocks.Block],
    work: Path,
    template: Path | None,
    system: str,
) -> None:
    """The council report in its three forms with its figures, and the appendix as a page."""
    paper = layout.A4 if system == display.METRIC else layout.LETTER
    saving.save_text(document.html(council, paper), work / COUNCIL_REPORT)
    saving.save_bytes(pdf.pdf(council, paper), work / COUNCIL_PDF)
    saving.save_bytes(word.docx(council, template, paper), work / COUNCIL_WORD)
    for number, block in enumerate((block for block in council if isinstance(block, blocks.Figure)), 1):
        saving.save_text(block.svg, work / "figures" / f"figure_{number}.svg")
    if others:
        saving.save_text(document.html(others, paper), work / APPENDIX)


def _origin(
    trial: checks.Trial,
    made_from: Mapping[str, str],
    given: Mapping[str, Any],
    council: Sequence[blocks.Block],
    final: Path,
) -> dict[str, Any]:
    """What the run was made from, for `run.json` and the workbook: the same for the same inputs."""
    return {
        "trial_id": trial.settings.trial_id,
        "run": final.name,
        "headline": blocks.findings_of(council),
        "trialkit": __version__,
        "python": platform.python_version(),
        "packages": {name: importlib.metadata.version(name) for name in reuse.RECORDED_PACKAGES},
        "code": reuse.code_hash(),
        "inputs": dict(sorted(made_from.items())),
        "settings": trial.settings.model_dump(mode="json"),
        "seed": trial.settings.seed,
        "parameters": {name: value for name, value in given.items() if name not in reuse.NOT_OF_THE_RESULT},
    }


def _run_record(
    trial: checks.Trial,
    given: Mapping[str, Any],
    runs: Sequence[_Ran],
    needs: Mapping[Path, reuse.Needs],
    work: Path,
) -> dict[str, Any]:
    """What `run.json` says of this one run: when, where, which notebooks, and what it made."""
    return {
        "made": dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds"),
        "parameters": dict(given),
        "notebooks": [
            {
                "name": run.source.name,
                "seconds": round(run.seconds, 2),
                "reused_from": run.reused_from,
                "notebook": needs[run.source].notebook,
                "parameters": dict(needs[run.source].parameters),
                "reads": reuse.reads_of(blocks.read_blocks(run.executed), trial),
                "writes": list(run.writes),
            }
            for run in runs
        ],
        "files": reuse.files_in(work),
    }


def _keep_failure(executed: Path, kept: Path) -> str:
    """Move the executed notebooks to where they can be looked at, and say where that is."""
    try:
        shutil.rmtree(kept, ignore_errors=True)
        executed.rename(kept)
    except OSError:  # the reason for the failure is what has to be told
        return ""
    return f"\nThe executed notebooks are kept in {kept}."


@contextlib.contextmanager
def _progress(
    total: int, quiet: bool, done: Callable[[running.NotebookRun], None]
) -> Iterator[Callable[[running.NotebookRun], None]]:
    """A progress bar on a terminal, plain lines elsewhere, nothing when quiet; `done` is told in any case."""
    if quiet:
        yield done
        return
    from tqdm import tqdm

    plain = not sys.stderr.isatty()
    with tqdm(total=total, unit="notebook", desc="notebooks", disable=plain) as bar:

        def tell(run: running.NotebookRun) -> None:
            if plain:
                sys.stderr.write(f"{run.source.name} ran in {run.seconds:.1f} s\n")
            bar.update()
            done(run)

        yield tell
