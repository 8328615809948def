"""One line of decisions, written after it has been tried on the trial.

Answers: which row is meant, what stands there now, does the decision fit, and what does it change?

The tables themselves are never changed: a line is added to ``decisions.csv``, and reading carries it out. A line that
does not fit is not written.
"""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from trialkit import columns as c
from trialkit.errors import Problem, UsageError, near_match
from trialkit.logbook.cell_texts import canonical_values
from trialkit.logbook.disk import Disk
from trialkit.logbook.entries import lines_addition, now
from trialkit.logbook.journal import Addition, NotAddedError, add
from trialkit.tables import DECISIONS, TABLES
from trialkit.trial.checks import check_draft
from trialkit.trial.corrections import CORRECT
from trialkit.trial.delimited import read_delimited
from trialkit.trial.files import RawTables, read_raw_tables
from trialkit.trial.findings import number_text
from trialkit.trial.headings import shown, spellings
from trialkit.trial.intake import Draft, draft_of
from trialkit.units import from_canonical

FILE = f"{DECISIONS.name}.csv"
LONGEST_TEXT = 2_000
"""Characters that one cell of the line may have."""


@dataclass(frozen=True, eq=False)
class DecisionPlan:
    """A line of decisions that has been tried.

    Attributes
    ----------
    folder : Path
        The trial folder.
    line : mapping of str to str
        Its cells by column, the old value filled in.
    addition : Addition
        What is written.
    against : tuple of Problem
        What speaks against it: the line does not fit, or what it puts into the cell is impossible.
    follows : tuple of Problem
        Problems of other rows that come to light with it; they do not speak against it.
    mended : int
        How many problems it takes away.
    """

    folder: Path
    line: Mapping[str, str]
    addition: Addition
    against: tuple[Problem, ...]
    follows: tuple[Problem, ...]
    mended: int

    def sentence(self) -> str:
        """What the line does, in words."""
        about = f"{self.line[c.TABLE]}, {self.line[c.ROW_KEY]}"
        if self.line[c.ACTION] == CORRECT:
            old, new = shown(self.line[c.OLD]) or "blank", shown(self.line[c.NEW]) or "blank"
            said = f"{about}: {self.line[c.COLUMN]} was {old} and is read as {new} from now on."
        else:
            words = {
                "exclude": "is left out of the analysis; the report says so and shows the comparison with it too",
                "keep": "was looked at and is kept as it is",
                "query": "is in question; it is used as it stands",
            }
            said = f"{about} {words.get(self.line[c.ACTION], self.line[c.ACTION])}."
        if self.mended:
            said += f" {self.mended} problem{'s are' if self.mended > 1 else ' is'} gone with that."
        return said


def plan_decision(
    folder: str | Path,
    *,
    table: str,
    row: str,
    action: str,
    reason: str,
    column: str = "",
    old: str = "",
    new: str = "",
    by: str = "",
) -> DecisionPlan:
    """Try a line of decisions on the trial; nothing is changed.

    Parameters
    ----------
    folder : str or Path
        The trial folder.
    table : str
        Table of the row.
    row : str
        Key of the row: its key columns' values joined by ``|``; blank ones at the end may be left out.
    action : str
        ``exclude``, ``correct``, ``keep`` or ``query``.
    reason : str
        Why.
    column, old, new : str
        The column that is corrected, what stands there (found if not given) and what is to be read instead.
    by : str
        Who decided, as a code.

    Returns
    -------
    DecisionPlan
        The line and what it changes.

    Raises
    ------
    UsageError
        If the line lacks what it needs.
    NotAddedError
        If the trial keeps its decisions where no line can be added.
    """
    folder = Path(folder)
    line = {
        c.WHEN: now().isoformat(),
        c.TABLE: table.strip(),
        c.ROW_KEY: row.strip(),
        c.ACTION: action,
        c.COLUMN: column.strip(),
        c.OLD: old.strip(),
        c.NEW: new.strip(),
        c.REASON: reason.strip(),
        c.BY: by.strip(),
    }
    _require_whole(line)
    raw = read_raw_tables(folder)
    if raw.files[DECISIONS.name].endswith("]") and DECISIONS.name in raw.tables:
        book = raw.files[DECISIONS.name].rpartition(" [")[0]
        raise NotAddedError(
            f"nothing was written: the decisions are a sheet of {book}, and lines are added to a CSV file only. "
            f"Save the sheet as {FILE} and delete it from {book}."
        )
    before = draft_of(raw, folder)
    line, tried, addition = _with_old_value(folder, raw, line, before)
    after = draft_of(tried, folder)
    checked, earlier = check_draft(after), check_draft(before)
    fresh = list((Counter(checked.problems) - Counter(earlier.problems)).elements())
    gone = Counter(earlier.problems) - Counter(checked.problems)
    row_meant = _row_meant(after, addition)
    against = [problem for problem in fresh if problem.stops and _is_about(problem, row_meant, before)]
    return DecisionPlan(
        folder=folder,
        line=line,
        addition=addition,
        against=tuple(against),
        follows=tuple(problem for problem in fresh if problem not in against),
        mended=sum(gone.values()),
    )


def write_decision(plan: DecisionPlan, disk: Disk | None = None) -> Path:
    """Add the line to the decisions.

    Parameters
    ----------
    plan : DecisionPlan
        A plan against which nothing speaks.
    disk : Disk, optional
        How to write.

    Returns
    -------
    Path
        The file of decisions.

    Raises
    ------
    NotAddedError
        If anything fails; nothing was written then.
    """
    if plan.against:
        raise NotAddedError("nothing was written: something speaks against it.")
    add(plan.folder, [plan.addition], disk)
    return plan.addition.path


# ---------------------------------------------------------------- the line
def _require_whole(line: Mapping[str, str]) -> None:
    """Refuse a line that lacks something, before the trial is read."""
    with_key = [name for name, table in TABLES.items() if table.key]
    if line[c.TABLE] not in with_key:
        near = near_match(line[c.TABLE], with_key) or f"Tables are {', '.join(with_key)}."
        raise UsageError(f'there is no table "{line[c.TABLE]}" with a key. {near}')
    actions = DECISIONS.column(c.ACTION).choices
    if line[c.ACTION] not in actions:
        raise UsageError(f'"{line[c.ACTION]}" is not an action; choose {", ".join(actions)}.')
    if not line[c.ROW_KEY]:
        raise UsageError(f"name the row by its key: {' | '.join(TABLES[line[c.TABLE]].key)}.")
    if not line[c.REASON]:
        raise UsageError("give the reason; the report prints it.")
    if line[c.ACTION] == CORRECT and not line[c.COLUMN]:
        raise UsageError("name the column that is corrected, with --column, and the new value, with --new.")
    if line[c.ACTION] != CORRECT and line[c.NEW]:
        raise UsageError(f"a new value goes with the action correct, not with {line[c.ACTION]}.")
    for name, text in line.items():
        if any(ord(sign) < 32 or ord(sign) == 127 or "\ud800" <= sign <= "\udfff" for sign in text):
            raise UsageError(f"{name} holds a character that cannot be printed.")
        if len(text) > LONGEST_TEXT:
            raise UsageError(f"{name} is longer than {LONGEST_TEXT:,} characters.")


def _with_old_value(
    folder: Path, raw: RawTables, line: dict[str, str], before: Draft
) -> tuple[dict[str, str], RawTables, Addition]:
    """The line with the old value that stands there, and the trial with it."""
    tried, addition = _tried(folder, raw, line)
    if line[c.ACTION] != CORRECT or line[c.OLD]:
        return line, tried, addition
    done = draft_of(tried, folder).exclusions
    if not len(done) or len(done) == len(before.exclusions):
        return line, tried, addition  # the line does not fit, and the problems say why
    line = {**line, c.OLD: _stood(before, line, int(done[c.ROW].iloc[-1]), str(done[c.OLD].iloc[-1] or ""))}
    if line[c.OLD] == line[c.NEW]:
        raise NotAddedError(
            f"nothing was written: {line[c.COLUMN]} of that row is {line[c.OLD] or 'blank'} already."
        )
    return line, *_tried(folder, raw, line)


def _stood(before: Draft, line: Mapping[str, str], row: int, text: str) -> str:
    """What stood in the cell, in the unit of the column that the line names."""
    typed = before.typed[line[c.TABLE]]
    for column in typed.table.columns:
        unit = spellings(column).get(line[c.COLUMN].casefold())
        if unit is None or unit == typed.heading(column.name).unit or not text:
            continue
        position = np.flatnonzero(typed.rows == row)
        value = float(canonical_values(typed, column.name, position)[0])
        return number_text(float(from_canonical(value, column.unit, unit))) if math.isfinite(value) else text
    return text


def _tried(folder: Path, raw: RawTables, line: Mapping[str, str]) -> tuple[RawTables, Addition]:
    """The tables of the trial with the line at the end of the decisions, as a reader will see them."""
    path = raw.paths.get(DECISIONS.name, folder / FILE)
    addition = lines_addition(DECISIONS, path, [line])
    data = path.read_bytes() if addition.sha256 is not None else b""
    if addition.sha256 is not None and hashlib.sha256(data).hexdigest() != addition.sha256:
        raise NotAddedError(f"nothing was written: {path.name} was changed meanwhile. Try again.")
    table, problems = read_delimited(data + addition.tail, DECISIONS, path.name)
    if table is None:
        raise NotAddedError(
            "nothing was written: the line would not read back. Write it in shorter texts of one line."
        )
    others = [problem for problem in raw.problems if problem.file != path.name]
    tables = {**raw.tables, DECISIONS.name: table}
    files = {**raw.files, DECISIONS.name: path.name}
    return replace(raw, tables=tables, files=files, problems=[*others, *problems]), addition


def _row_meant(after: Draft, addition: Addition) -> tuple[str, int] | None:
    """Table and row that the last line of decisions names; None if it names none or changes nothing."""
    done = after.exclusions
    lines = after.frames[DECISIONS.name]
    if not len(done) or not len(lines) or done.index[-1] != lines.index[-1]:
        return None
    return str(done[c.TABLE].iloc[-1]), int(done[c.ROW].iloc[-1])


def _is_about(problem: Problem, row_meant: tuple[str, int] | None, draft: Draft) -> bool:
    """Whether a new problem is one of the line itself or of the row that it is about."""
    if problem.file in (FILE, draft.files[DECISIONS.name]):
        return True
    return row_meant is not None and (problem.file, problem.row) == (draft.files[row_meant[0]], row_meant[1])
