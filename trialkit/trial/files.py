"""A trial folder: which files are in it, and what text stands in their cells.

Answers: which tables are there, where do they come from, and is anything in the folder that is not read?

Tables come as one CSV file each, or as the sheets of one ``.xlsx`` workbook, or some of each; never the same table
twice. Lock files of a spreadsheet program (``~$...``), files that start with a period, README files and the log of
additions are left alone. Nothing in the folder is ever changed. Files that change while they are read are read again, and
rows whose addition is not complete do not count (`unfinished`), so that what is read was there at one moment.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from trialkit.errors import Problem, near_match, nearest_name
from trialkit.tables import NEEDED, TABLES
from trialkit.trial.delimited import read_delimited
from trialkit.trial.headings import BLANK, RawTable
from trialkit.trial.unfinished import JOURNAL, Change, JournalError, read_journal, stamp, wait_for_others
from trialkit.trial.workbooks import Book, read_workbook

SETTINGS_FILE = "trial.toml"
FIELD_WORKBOOK = "field_workbook"
"""Start of the name of a workbook that is typed into and brought in by `trialkit intake`; a trial folder is read without it."""
LOG_FILE = "intake_log.csv"
"""What was added when; kept by the logbook, not read as data."""
READINGS_TRIED = 5
"""How often a folder is read again if files of it change meanwhile."""
TABLE_ENDINGS = (".csv", ".xlsx")
SPREADSHEETS = (".xls", ".xlsm", ".xlsb", ".xltx", ".ods", ".numbers")
LIKE_TABLES = (".tsv", ".txt", ".toml", *SPREADSHEETS)
"""Endings of files that may hold tables or settings but are not read; a warning says so."""


@dataclass(eq=False)
class RawTables:
    """What a trial folder holds, as text.

    Attributes
    ----------
    tables : dict of str to RawTable
        Tables that could be read, by name.
    problems : list of Problem
        What is wrong with files, encodings, headers and rows.
    hashes : dict of str to str
        SHA-256 of every file that was read and of trial.toml, by file name.
    files : dict of str to str
        For every table, there or not, the file as problems print it.
    paths : dict of str to Path
        For every table that has a CSV file, readable or not, where that is.
    unfinished : dict of str to Change
        Additions that are not complete, by name of the file.
    is_settled : bool
        Whether no file changed while the folder was read.
    """

    tables: dict[str, RawTable] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    paths: dict[str, Path] = field(default_factory=dict)
    unfinished: dict[str, Change] = field(default_factory=dict)
    is_settled: bool = True


def read_raw_tables(folder: Path) -> RawTables:
    """Read every table of a trial folder as text.

    Parameters
    ----------
    folder : Path
        The trial folder.

    Returns
    -------
    RawTables
        Tables that are missing or cannot be read are not among its tables; its problems say why.
    """
    raw = _read_once(folder)
    for _ in range(READINGS_TRIED - 1):
        if raw.is_settled:
            break
        raw = _read_once(folder)
    return raw


def changed_since(folder: Path, hashes: Mapping[str, str]) -> list[str]:
    """Files of the folder that no longer hold what they held when these hashes were taken.

    Use it at the end of work that has read the folder more than once.

    Parameters
    ----------
    folder : Path
        The trial folder.
    hashes : mapping of str to str
        SHA-256 by file name, as `read_raw_tables` gives them.
    """
    now = RawTables()
    _note_unfinished(folder, now)
    for name in hashes:
        _content(folder / name, now)
    return [name for name, digest in hashes.items() if now.hashes.get(name) != digest]


def _read_once(folder: Path) -> RawTables:
    """Read the folder once; the result knows whether it stayed as it was meanwhile."""
    raw = RawTables(files={name: f"{name}.csv" for name in TABLES})
    try:
        wait_for_others(folder)
        before = stamp(folder)
        _note_unfinished(folder, raw)
        there = sorted(folder.iterdir())
    except (OSError, ValueError) as error:
        found = getattr(error, "strerror", None) or "not a path"
        fix = "Give the folder that holds trial.toml and the tables."
        raw.problems.append(Problem("not-a-folder", _printed(str(folder)), found=found, fix=fix))
        return raw
    paths = [path for path in there if not _is_left_alone(path.name)]
    form = next((path.name for path in there if is_field_workbook(path.name)), "")
    given: dict[str, str] = {}
    csv_files, workbooks, unread = _sorted_out(paths, given, raw)
    _read_csv_files(csv_files, given, raw)
    unread_sheets = _read_workbooks(workbooks, given, raw)
    hinted_at = _report_missing(given, unread, unread_sheets, form, raw)
    _report_unread(
        [file for file in unread if file not in hinted_at],
        [(file, title) for file, title in unread_sheets if title not in hinted_at],
        given,
        raw,
    )
    settings = folder / SETTINGS_FILE
    if settings.is_file():
        _content(
            settings, RawTables(hashes=raw.hashes)
        )  # what is wrong with it is said where settings are read
    try:
        raw.is_settled = stamp(folder) == before
    except OSError:
        raw.is_settled = False
    return raw


def _note_unfinished(folder: Path, raw: RawTables) -> None:
    """Additions that are not complete into `raw`."""
    try:
        raw.unfinished.update({change.name: change for change in read_journal(folder) or ()})
    except JournalError as error:
        fix = (
            "Look whether the last rows of every table are complete, mend them, then delete the journal "
            f"{JOURNAL} from the folder."
        )
        raw.problems.append(Problem("addition-unclear", JOURNAL, found=str(error), fix=fix))


def _finished(data: bytes, path: Path, raw: RawTables) -> bytes | None:
    """What counts of the content of a file; None if the file was not there before an addition that is not complete."""
    name = path.name
    change = raw.unfinished.get(name)
    if change is None:
        return data
    try:
        old = change.before(path.parent, data)
    except OSError:  # the copy of a rewritten file is gone
        old = None
    if old is None:
        fix = f"Look whether the last rows are complete, mend them, then delete the journal {JOURNAL} from the folder."
        raw.problems.append(Problem("addition-unclear", _printed(name), fix=fix))
        return data
    fix = "Run `trialkit check` on the folder, which takes the beginning back, then add the rows again."
    raw.problems.append(Problem("addition-cut-short", _printed(name), fix=fix))
    return old if change.size is not None else None


def _is_left_alone(name: str) -> bool:
    stem = name.split(".", 1)[0].strip().casefold()
    kept = name.startswith((".", "~$")) or stem == "readme" or name in (SETTINGS_FILE, LOG_FILE)
    return kept or is_field_workbook(name)


def is_field_workbook(name: str) -> bool:
    """Whether a file is a form to type into, by its name."""
    plain = name.casefold()
    return plain.startswith(FIELD_WORKBOOK) and plain.endswith(".xlsx")


def _printed(name: str) -> str:
    """A file name that can be printed, whatever bytes it is made of."""
    plain = name.encode("utf-8", "replace").decode("utf-8")
    return "".join(sign if sign.isprintable() else "?" for sign in plain)


def _table_name(name: str) -> str:
    return name.strip(BLANK).casefold()


def _sorted_out(
    paths: list[Path], given: dict[str, str], raw: RawTables
) -> tuple[list[Path], list[Path], list[str]]:
    """CSV files of tables, workbooks, and names of files that are not read."""
    csv_files, workbooks, unread = [], [], []
    for path in paths:
        ending = path.suffix.casefold()
        is_table = ending in TABLE_ENDINGS
        if is_table and not path.is_file():
            fix = "Rename it, and put the table there as a file."
            raw.problems.append(Problem("not-a-file", _printed(path.name), fix=fix))
            if _table_name(path.stem) in TABLES:
                given[_table_name(path.stem)] = _printed(path.name)
        elif ending == ".csv" and _table_name(path.stem) in TABLES:
            csv_files.append(path)
        elif ending == ".xlsx":
            workbooks.append(path)
        elif path.is_file() and (is_table or ending in LIKE_TABLES):
            unread.append(_printed(path.name))
    return csv_files, workbooks, unread


def _content(path: Path, raw: RawTables) -> bytes | None:
    """The bytes of a file, and their hash into `raw`; None and a problem if they cannot be read."""
    try:
        data = _finished(path.read_bytes(), path, raw)
    except OSError as error:
        found = error.strerror or type(error).__name__
        fix = "Close it in other programs and check that you may read it."
        raw.problems.append(Problem("file-unreadable", _printed(path.name), found=found, fix=fix))
        return None
    if data is not None:
        raw.hashes[_printed(path.name)] = hashlib.sha256(data).hexdigest()
    return data


def _read_csv_files(paths: list[Path], given: dict[str, str], raw: RawTables) -> None:
    """Read the CSV files, and note in `given` which tables are there, readable or not, and in which file."""
    for path in paths:
        name, file = _table_name(path.stem), _printed(path.name)
        if name in given:
            fix = "Keep one of the two files."
            raw.problems.append(
                Problem("table-twice", file, found=f"a second file beside {given[name]}", fix=fix)
            )
            continue
        data = _content(path, raw)
        if data is None and path.name in raw.unfinished:
            continue
        given[name] = raw.files[name] = file
        raw.paths[name] = path
        if data is None:
            continue
        table, problems = read_delimited(data, TABLES[name], file)
        raw.problems.extend(problems)
        if table is not None:
            raw.tables[name] = table


def _read_workbooks(paths: list[Path], given: dict[str, str], raw: RawTables) -> list[tuple[str, str]]:
    """Read the workbook; the sheets, as file and title, that are not read."""
    first = ""
    unread = []
    for path in paths:
        file = _printed(path.name)
        alone = RawTables(problems=raw.problems, unfinished=raw.unfinished)
        data = _content(path, alone)
        book = read_workbook(data, file) if data is not None else Book(is_open=False)
        if book.named and first:
            fix = "Keep one workbook; move the other one out of the folder."
            raw.problems.append(
                Problem("workbook-twice", file, found=f"a second workbook beside {first}", fix=fix)
            )
            continue
        raw.problems.extend(book.problems)
        unread += [(file, title) for title in book.others]
        if not book.is_open:
            given.update(
                {name: file for name in TABLES if name not in given}
            )  # any missing table may be in it
        if not book.named:
            continue
        first = file
        raw.hashes.update(alone.hashes)
        for name, printed in book.named.items():
            if name in given:
                fix = "Keep the table in one place: delete the sheet or the CSV file."
                raw.problems.append(
                    Problem("table-twice", printed, found=f"a second {name} beside {given[name]}", fix=fix)
                )
            else:
                given[name] = raw.files[name] = printed
                if name in book.tables:
                    raw.tables[name] = book.tables[name]
        raw.files.update({name: f"{file} [{name}]" for name in TABLES if name not in given})
    return unread


# ---------------------------------------------------------------- what is not read, and what is missing
def _report_unread(
    unread: list[str], sheets: list[tuple[str, str]], given: dict[str, str], raw: RawTables
) -> None:
    for file in unread:
        raw.problems.append(Problem("file-unknown", file, fix=_unread_fix(file, given)))
    for file, title in sheets:
        near = near_match(title, TABLES)
        fix = (
            f"{near} Rename the sheet if it is that table."
            if near
            else "Nothing is to be done if the sheet is your own."
        )
        raw.problems.append(Problem("file-unknown", f"{file} [{_printed(title)}]", fix=fix))


def _unread_fix(file: str, given: dict[str, str]) -> str:
    """What to do with a file that is not read."""
    stem, _, ending = file.partition(".")
    name = _table_name(stem)
    if name in TABLES:
        return f"Save it as {name}.csv, with commas between the cells, if it is that table."
    if "toml" in ending.casefold():
        return f"Rename it to {SETTINGS_FILE} if it holds the settings."
    if ending.casefold() != "csv":
        advice = ": save it as .xlsx if it holds tables" if file.casefold().endswith(SPREADSHEETS) else ""
        return f"Only .csv files and one .xlsx workbook are read{advice}."
    near = nearest_name(stem, TABLES)
    if near in given:
        return f"If it is a copy of {given[near]}, move it out of the folder."
    if near:
        return f'Did you mean "{near}.csv"? Rename the file if it is that table.'
    return f"Tables are named {', '.join(TABLES)}."


def _report_missing(
    given: dict[str, str], unread: list[str], sheets: list[tuple[str, str]], form: str, raw: RawTables
) -> set[str]:
    """Needed tables that are not there or have no rows; the files and sheets that may hold one under another name."""
    typed = f" Rows typed into {_printed(form)} come in with `trialkit intake`." if form else ""
    like = {file[:-4]: (file, "{}.csv") for file in unread if file.casefold().endswith(".csv")}
    like |= {title: (f"the sheet {title}", "{}") for _, title in sheets}
    hinted_at: set[str] = set()
    for name in NEEDED:
        if name not in given:
            near = nearest_name(name, like)
            old, new = like.get(near, ("", ""))
            hinted_at |= {near, old}
            fix = (
                f"Rename {old} to {new.format(name)} if it is that table."
                if old
                else f"Add it; a row is {TABLES[name].about}.{typed}"
            )
            code = "sheet-missing" if raw.files[name].endswith("]") else "file-missing"
            raw.problems.append(Problem(code, raw.files[name], fix=fix))
        elif name in raw.tables and raw.tables[name].frame.empty:
            raw.problems.append(
                Problem("no-rows", raw.files[name], fix=f"Fill it; a row is {TABLES[name].about}.{typed}")
            )
    return hinted_at
