"""The command line: `trialkit` and `python -m trialkit` are the same thing.

Argument parsing and printing only; the library does the work. Exit codes: 0 clean, 1 problems, 2 wrong use.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import signal
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from trialkit import __version__
from trialkit.errors import TrialkitError, UsageError, os_reason

CLEAN, PROBLEMS, WRONG_USE = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    if sys.stdout is not None:
        sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]  # a console without UTF-8 still prints
    options = _parser().parse_args(arguments)
    try:
        with _stopped_alike():
            code = options.run(options)
        print(end="", flush=True)  # a full disk or a closed pipe shows here, not at the very end
        return code
    except BrokenPipeError:  # whoever read the output, such as `head`, has seen enough
        sys.stdout = None
        return PROBLEMS
    except (TrialkitError, OSError, KeyboardInterrupt) as error:
        code, said = _told(error)
        print(f"trialkit: {said}", file=sys.stderr)
        return code


def _told(error: BaseException) -> tuple[int, str]:
    """The exit code of an error, and how it is told."""
    if isinstance(error, UsageError):
        return WRONG_USE, str(error)
    if isinstance(error, TrialkitError):
        return PROBLEMS, str(error)
    if isinstance(error, OSError):
        return PROBLEMS, f"it could not be written: {os_reason(error)}."
    if isinstance(error, KeyboardInterrupt):
        return PROBLEMS, "stopped; nothing was changed."
    return PROBLEMS, f"{type(error).__name__}: {error}"


@contextmanager
def _stopped_alike() -> Iterator[None]:
    """A request to end the process is taken as Ctrl-C, so that what was begun is cleared away."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _check(options: argparse.Namespace) -> int:
    from trialkit.report import saving
    from trialkit.trial import checks

    checked = checks.check_trial(_settled(options.folder), through=options.through)
    print(checked.text())
    if options.out is not None:
        print(f"Written: {saving.save_table(checked.frame(), options.out / 'data_problems.csv')}")
    return CLEAN if checked.is_clean else PROBLEMS


def _report(options: argparse.Namespace) -> int:
    ran: list[object] = []
    if options.log is None:
        print(_made(options, ran))
        return CLEAN
    started = time.monotonic()
    try:
        path = _made(options, ran)
        print(path, flush=True)
    except BaseException as error:
        code, said = _told(error)
        _logged(options, code, started, said)
        raise
    return CLEAN if _logged(options, CLEAN, started, "", path, len(ran)) else PROBLEMS


def _made(options: argparse.Namespace, ran: list[object]) -> Path:
    """The report; `ran` gets the notebooks that were run for it."""
    from trialkit.report import reporting

    return reporting.write_report(
        _settled(options.folder),
        reports=options.out,
        through=options.through,
        parameters={name: _literal(text) for name, text in options.parameter},
        quiet=options.quiet,
        force=options.force,
        template=options.template,
        notebook_folder=_existing(options.notebooks) if options.notebooks else None,
        since=options.since,
        done=ran.append,
    )


def _logged(
    options: argparse.Namespace, code: int, started: float, said: str, path: Path | None = None, ran: int = 0
) -> bool:
    """Whether the line about this run could be added to the log; if not, that is told."""
    from trialkit.report import run_log

    trial, run = (options.folder.absolute().name, "") if path is None else (path.parts[-3], path.parts[-2])
    rest = [run_log.reason(said)] if path is None else run_log.success(path, ran)
    try:
        run_log.append(options.log, run_log.line(code, trial, run, time.monotonic() - started, rest))
    except OSError as error:
        where = error.filename or options.log
        print(f"trialkit: nothing was added to the log: {os_reason(error, where)}.", file=sys.stderr)
        return False
    return True


def _new(options: argparse.Namespace) -> int:
    from trialkit.field import new_trial

    if options.workbook:
        written = new_trial.fresh_workbook(options.folder)
        if said := new_trial.fresh_sentence(written):
            print(said)
        print(written)
        return CLEAN
    started = new_trial.start_trial(options.folder, metric=options.units == "metric")
    print(f"Written: {started.sentence()}.")
    for number, step in enumerate(started.next_steps, start=1):
        print(f"{number}. {step}")
    print(started.folder)
    return CLEAN


def _plan(options: argparse.Namespace) -> int:
    from trialkit.report import plan_files

    written = plan_files.write_plan(
        _existing(options.folder),
        options.out,
        seed=options.seed,
        paper=options.paper,
        through=options.through,
    )
    for sentence in written.said:
        print(sentence)
    print(f"Written: {', '.join(written.files)}.")
    print(written.first)
    return CLEAN


def _intake(options: argparse.Namespace) -> int:
    from trialkit.logbook import folder_lock, intake_text, intakes, journal, taking

    folder = _existing(options.into)
    with contextlib.nullcontext() if options.dry_run else folder_lock.hold(folder):
        if not options.dry_run and journal.take_back(folder):
            print(journal.TAKEN_BACK.format(folder))
        plan = intakes.plan_intake(
            options.file, folder, tables=options.table, accept_clean=options.accept_clean,
            leave_out=options.leave_out, add_columns=options.add_columns,
        )  # fmt: skip
        print(intake_text.plan_text(plan, all_rows=options.all_rows))
        if not plan.may_be_added:
            print("Nothing was added.")
            return PROBLEMS
        if options.dry_run:
            print("Nothing was added: this was a dry run.")
            return PROBLEMS if plan.n_rejected else CLEAN
        taken = taking.take_in(plan, by=options.by)
    with contextlib.suppress(KeyboardInterrupt):  # it is in, and must not be said to be stopped
        print("\n".join([*taken.notes, intake_text.done_text(plan, str(taken.rejects))]))
    return PROBLEMS if plan.n_rejected else CLEAN


def _decide(options: argparse.Namespace) -> int:
    from trialkit.logbook import deciding, folder_lock, journal
    from trialkit.trial import problem_text

    folder = _existing(options.folder)
    if not options.by.strip():
        raise UsageError("say who decided, as a code and not a name: --by AN-1.")
    with contextlib.nullcontext() if options.dry_run else folder_lock.hold(folder):
        if not options.dry_run and journal.take_back(folder):
            print(journal.TAKEN_BACK.format(folder))
        plan = deciding.plan_decision(
            folder, table=options.table, row=options.row, action=options.action, column=options.column,
            old=options.old, new=options.new, reason=options.reason, by=options.by,
        )  # fmt: skip
        if plan.against:
            print(problem_text.text(plan.against, "Nothing was written."))
            return PROBLEMS
        print(problem_text.printable(plan.sentence()))
        if plan.follows:
            print(
                problem_text.text(
                    plan.follows, "This comes to light with it; it was not there to be seen before."
                )
            )
        if options.dry_run:
            print("Nothing was written: this was a dry run.")
            return CLEAN
        print(f"Written: {deciding.write_decision(plan)}")
    return CLEAN


def _demo(options: argparse.Namespace) -> int:
    from trialkit.demo import writing

    writing.write_demo(options.folder)
    print(options.folder)
    return CLEAN


def _existing(folder: Path) -> Path:
    try:
        if folder.is_dir():
            return folder
        there = folder.exists()
    except OSError as error:  # a name that no folder can have
        raise UsageError(f"the folder cannot be read: {os_reason(error)}.") from None
    raise UsageError(f"{folder} is not a folder." if there else f"there is no folder {folder}.")


def _settled(folder: Path) -> Path:
    """An existing trial folder, in which nothing that was cut short is left if it may be written in."""
    from trialkit.logbook import journal

    said = journal.settle(_existing(folder))
    if said:
        print(said, file=sys.stderr)
    return folder


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day such as 2031-01-14') from None


def _literal(text: str) -> object:
    """The value of a parameter; what reads as a number or as true or false is one."""
    words = {"true": True, "false": False}
    if text.lower() in words:
        return words[text.lower()]
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="trialkit",
        description="Check, analyse and report a season-long field trial of snow-plow cutting edges.",
    )
    parser.add_argument("--version", action="version", version=f"trialkit {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    new = commands.add_parser(
        "new", help="start a trial folder: commented settings, empty tables and a field workbook"
    )
    new.add_argument("folder", type=Path, metavar="DIR", help="a new or empty folder")
    new.add_argument(
        "--units", choices=("us", "metric"), default="us", help="units that the headers ask for (default: us)"
    )
    new.add_argument(
        "--workbook",
        action="store_true",
        help="only write a fresh field workbook into an existing trial folder, with the names that it knows by now",
    )
    new.set_defaults(run=_new)

    plan = commands.add_parser(
        "plan", help="size the trial, draw who carries what, and write the trial plan and sheets to print"
    )
    plan.add_argument("folder", type=Path, metavar="DIR", help="the trial folder")
    plan.add_argument(
        "--seed", default="", metavar="NUMBER", help="seed of the draw (default: that of trial.toml)"
    )
    plan.add_argument("--out", type=Path, metavar="FOLDER", help="where the plan goes (default: DIR/plan)")
    plan.add_argument(
        "--paper",
        default="",
        metavar="PAPER",
        help="letter, a4 or both (default: by the units of trial.toml)",
    )
    plan.add_argument(
        "--through", default="", metavar="DAY", help="for sheets as they stood on that day: look no further"
    )
    plan.set_defaults(run=_plan)

    check = commands.add_parser("check", help="read a trial folder and list every problem at once")
    check.add_argument("folder", type=Path, metavar="DIR", help="the trial folder")
    check.add_argument("--through", type=_day, metavar="DAY", help="read up to and including this day")
    check.add_argument(
        "--out", type=Path, metavar="FOLDER", help="also write data_problems.csv into this folder"
    )
    check.set_defaults(run=_check)

    report = commands.add_parser("report", help="run the notebooks and write the council report")
    report.add_argument("folder", type=Path, metavar="DIR", help="the trial folder")
    report.add_argument(
        "--through", type=_day, metavar="DAY", help="use readings up to and including this day"
    )
    report.add_argument(
        "--out",
        type=Path,
        default=Path("reports"),
        metavar="FOLDER",
        help="where reports go (default: reports)",
    )
    report.add_argument(
        "-p", "--parameter", nargs=2, action="append", default=[], metavar=("NAME", "VALUE"),
        help="set a notebook parameter; may be repeated",
    )  # fmt: skip
    report.add_argument(
        "--template", type=Path, metavar="FILE", help="the agency's own Word document for the report (.docx)"
    )
    report.add_argument(
        "--notebooks", type=Path, metavar="FOLDER", help="other notebooks than the installed ones"
    )
    report.add_argument("--quiet", action="store_true", help="print only the path of the report")
    report.add_argument(
        "--force", action="store_true", help="run every notebook, also those in which nothing changed"
    )
    report.add_argument(
        "--since",
        metavar="RUN",
        help="earlier run to compare with, by name or folder (default: the one made last)",
    )
    report.add_argument(
        "--log", type=Path, metavar="FILE", help="add one line about this run to a log, also if it fails"
    )
    report.set_defaults(run=_report)

    intake = commands.add_parser(
        "intake", help="add new rows from a field workbook or a CSV file, all or nothing"
    )
    intake.add_argument(
        "file", type=Path, metavar="FILE", help="an .xlsx workbook, or a CSV file of one table"
    )
    intake.add_argument("--into", type=Path, required=True, metavar="DIR", help="the trial folder")
    intake.add_argument(
        "--table", action="append", default=[], metavar="NAME",
        help="the table of a CSV file whose name does not say it, or the only sheet of a workbook to look at",
    )  # fmt: skip
    intake.add_argument("--dry-run", action="store_true", help="only show what would be added")
    intake.add_argument(
        "--accept-clean", action="store_true",
        help="add the rows that nothing speaks against; the others go into a workbook beside FILE",
    )  # fmt: skip
    intake.add_argument(
        "--add-columns", action="store_true", help="add columns that a file of the trial does not have yet"
    )
    intake.add_argument(
        "--leave-out", action="append", default=[], metavar="COLUMN", help="do not take over this column"
    )
    intake.add_argument("--all-rows", action="store_true", help="show every row, not only the first ones")
    intake.add_argument("--by", default="", metavar="CODE", help="who takes it in, as a code, for the log")
    intake.set_defaults(run=_intake)

    decide = commands.add_parser(
        "decide", help="add a line to the decisions: correct a cell or leave a row out"
    )
    decide.add_argument("folder", type=Path, metavar="DIR", help="the trial folder")
    decide.add_argument("--table", required=True, metavar="NAME", help="the table of the row")
    decide.add_argument(
        "--row", required=True, metavar="KEY", help='the key of the row, such as "PS-03 | 2030-12-04 | 5 | 1"'
    )
    decide.add_argument(
        "--action", required=True, choices=("exclude", "correct", "keep", "query"), help="what is done"
    )
    decide.add_argument("--column", default="", metavar="NAME", help="the column that is corrected")
    decide.add_argument("--old", default="", metavar="VALUE", help="what stands there; found if not given")
    decide.add_argument("--new", default="", metavar="VALUE", help="what is to be read instead")
    decide.add_argument("--reason", required=True, metavar="TEXT", help="why; the report prints it")
    decide.add_argument("--by", default="", metavar="CODE", help="who decided, as a code; must be given")
    decide.add_argument("--dry-run", action="store_true", help="only show what the line would do")
    decide.set_defaults(run=_decide)

    demo = commands.add_parser("demo", help="write the demo trial")
    demo.add_argument("folder", type=Path, metavar="DIR", help="a new or empty folder")
    demo.set_defaults(run=_demo)
    return parser


if __name__ == "__main__":
    if not sys.flags.safe_path and Path(sys.path[0]) == Path.cwd():
        del sys.path[0]  # a file beside the data may have the name of a module
    sys.exit(main())
