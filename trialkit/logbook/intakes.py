"""A file of new rows taken into a trial folder.

Answers: what would be added, what is there already, what speaks against it, and is it in?

`plan_intake` looks and changes nothing; `take_in` adds what was planned, all of it or nothing. Nothing that the trial
holds is ever overwritten: a row of the same key that says something else is shown beside the one that is there.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from trialkit.errors import Problem, UsageError, sorted_problems
from trialkit.formatting import listed
from trialkit.logbook.blame import Row, row_of, rows_to_leave_out
from trialkit.logbook.growth import (
    Growth,
    Target,
    columns_without_place,
    existing_target,
    grown,
    new_target,
    widened,
)
from trialkit.logbook.incoming import Incoming, faulty, read_incoming
from trialkit.logbook.joined import Judgement, Linked, judge
from trialkit.logbook.journal import NotAddedError
from trialkit.logbook.keyed_rows import CONFLICT, NEW, THERE, TWICE, Standing, filled, standings
from trialkit.tables import DECISIONS, TABLES
from trialkit.trial.corrections import carry_out
from trialkit.trial.files import RawTables, is_field_workbook, read_raw_tables
from trialkit.trial.headings import shown
from trialkit.trial.typed_tables import TypedTable, read_typed_table

MOST_ROUNDS = 60
"""How often rows are left out and the rest is looked at again, before all that is doubtful is left out."""
CELL_CODES = frozenset(
    {
        "cell-missing", "control-character", "date-for-number", "decimal-comma", "formula-error", "formula-unsaved",
        "not-a-choice", "not-a-date", "not-a-number", "not-whole", "out-of-range", "row-cells", "unit-of-quantity",
    }
)  # fmt: skip
"""Problems of single rows; where there are very many, the rest is counted in one that names no row."""


@dataclass(frozen=True, eq=False)
class TablePlan:
    """What becomes of the rows of one table.

    Attributes
    ----------
    name : str
        The table.
    incoming : TypedTable
        Its incoming rows.
    growth : Growth
        What is added, and to which file.
    standings : tuple of Standing
        How each incoming row stands to the trial.
    rejected : mapping of int to tuple of Problem
        Rows that are left out at the analyst's wish, by position, and why.
    """

    name: str
    incoming: TypedTable
    growth: Growth
    standings: tuple[Standing, ...]
    rejected: Mapping[int, tuple[Problem, ...]] = field(default_factory=dict)

    def positions(self, *kinds: str) -> list[int]:
        """Rows that stand to the trial in one of these ways."""
        return [place for place, standing in enumerate(self.standings) if standing.kind in kinds]

    @property
    def n_added(self) -> int:
        """Rows that are added."""
        return len(self.growth.positions)

    @property
    def n_there(self) -> int:
        """Rows that are skipped since the trial has them, or since they stand twice in the incoming file."""
        return len([place for place in self.positions(THERE, TWICE) if place not in self.rejected])


@dataclass(frozen=True, eq=False)
class IntakePlan:
    """What an intake would do.

    Attributes
    ----------
    folder : Path
        The trial folder.
    incoming : Incoming
        What is to be taken in.
    tables : tuple of TablePlan
        Table by table.
    errors : tuple of Problem
        What speaks against it. With `accepts_clean` only what concerns no single row.
    warnings : tuple of Problem
        Doubts that come with it.
    accepts_clean : bool
        Whether rows that something speaks against are left out and the rest is added.
    left_out : tuple of str
        Columns that are not taken over.
    is_partial : bool
        Whether the rules across tables looked only at what is linked with the new rows.
    """

    folder: Path
    incoming: Incoming
    tables: tuple[TablePlan, ...]
    errors: tuple[Problem, ...]
    warnings: tuple[Problem, ...]
    accepts_clean: bool
    left_out: tuple[str, ...]
    is_partial: bool

    @property
    def n_added(self) -> int:
        """Rows that are added."""
        return sum(table.n_added for table in self.tables)

    @property
    def n_there(self) -> int:
        """Rows that are skipped."""
        return sum(table.n_there for table in self.tables)

    @property
    def n_rejected(self) -> int:
        """Rows that are left out since something speaks against them."""
        return sum(len(table.rejected) for table in self.tables)

    @property
    def may_be_added(self) -> bool:
        """Whether nothing speaks against adding what is planned."""
        return not self.errors


def plan_intake(
    source: str | Path,
    folder: str | Path,
    *,
    tables: Sequence[str] = (),
    accept_clean: bool = False,
    leave_out: Iterable[str] = (),
    add_columns: bool = False,
) -> IntakePlan:
    """Look what taking a file into a trial would do; nothing is changed.

    Parameters
    ----------
    source : str or Path
        Field workbook, or CSV file of one table.
    folder : str or Path
        The trial folder.
    tables : sequence of str
        The table of a CSV file, or the only sheets of a workbook to look at.
    accept_clean : bool
        Whether to plan to add the rows that nothing speaks against if something speaks against others.
    leave_out : iterable of str
        Headers of columns that are not taken over.
    add_columns : bool
        Whether columns that a file of the trial does not have are added to it, blank in its old rows.

    Returns
    -------
    IntakePlan
        What would be added and everything that speaks against it.

    Raises
    ------
    UsageError
        If the file is not there, is part of the trial folder, or holds no table.
    NotAddedError
        If a table of the trial cannot be added to at all.
    """
    source, folder, left_out = Path(source), Path(folder), tuple(leave_out)
    if source.resolve().parent == folder.resolve() and not is_field_workbook(source.name):
        raise UsageError(
            f"{source.name} is in the trial folder itself, where it is part of the trial. Move it to another folder first."
        )
    raw = read_raw_tables(folder)
    incoming = read_incoming(source, tables, left_out, {*raw.files.values(), *raw.hashes})
    planner = _Planner(folder, incoming, raw, accept_clean, add_columns)
    return planner.plan(left_out)


class _Planner:
    """The steps of a plan, which all look at the same incoming rows and the same trial."""

    def __init__(
        self, folder: Path, incoming: Incoming, raw: RawTables, accept_clean: bool, add_columns: bool
    ):
        self.folder, self.incoming, self.accept_clean = folder, incoming, accept_clean
        _require_csv(incoming, raw)
        self.targets = {
            name: _target(table, folder, raw, add_columns) for name, table in incoming.tables.items()
        }
        self.raw = raw
        self.standings = self._standings()
        self.against: dict[Row, list[Problem]] = {}
        self.general: list[Problem] = []
        self.earlier: dict[Linked | None, Counter[Problem]] = {}

    # ------------------------------------------------------------ what speaks against rows by themselves
    def _standings(self) -> dict[str, list[Standing]]:
        there = {
            name: read_typed_table(TABLES[name], self.raw.files[name], self.raw.tables[name])
            for name in self.incoming.tables
            if name in self.raw.tables
        }
        corrected: dict[str, TypedTable] = {}
        if DECISIONS.name in self.raw.tables:
            corrected = {
                name: read_typed_table(TABLES[name], self.raw.files[name], raw)
                for name, raw in self.raw.tables.items()
            }
            decisions = corrected.pop(DECISIONS.name)
            carry_out(decisions, corrected)
        return {
            name: standings(table, there.get(name), corrected.get(name))
            for name, table in self.incoming.tables.items()
        }

    def _speak(self, problem: Problem, row: Row | None) -> None:
        if row is None:
            self.general.append(problem)
        else:
            self.against.setdefault(row, []).append(problem)

    def _note_own_problems(self) -> list[Problem]:
        """Note what is wrong with the file by itself; its warnings."""
        place = {table.file: name for name, table in self.incoming.tables.items()}
        for problem in self.incoming.problems:
            if not problem.stops:
                continue
            name = place.get(problem.file, "")
            at: list[int] = (
                np.flatnonzero(self.incoming.tables[name].rows == problem.row).tolist() if name else []
            )
            if at:
                self._speak(problem, (name, at[0]))
            elif name and self.accept_clean and problem.code in CELL_CODES:
                for position in np.flatnonzero(faulty(self.incoming.tables[name])).tolist():
                    if (name, position) not in self.against:
                        self._speak(
                            replace(problem, row=int(self.incoming.tables[name].rows[position])),
                            (name, position),
                        )
            elif name and self.accept_clean:
                for position in range(len(self.incoming.tables[name].rows)):
                    self._speak(problem, (name, position))
            else:
                self._speak(problem, None)
        return [problem for problem in self.incoming.problems if not problem.stops]

    def _note_conflicts(self) -> None:
        for name, found in self.standings.items():
            table = self.incoming.tables[name]
            for position, standing in enumerate(found):
                if standing.kind != CONFLICT:
                    continue
                self._speak(_conflict(table, position, standing), (name, position))
                if standing.file == table.file:  # two rows of the incoming file: neither is the right one
                    other = int(np.flatnonzero(table.rows == standing.row)[0])
                    self._speak(_conflict(table, position, standing), (name, other))

    def _note_columns(self) -> None:
        """Note rows that fill a column which the trial's file does not have."""
        for name, table in self.incoming.tables.items():
            target = self.targets[name]
            for column in columns_without_place(table, target):
                spelled = table.headings[column].spelled
                for position in np.flatnonzero(filled(table, column)).tolist():
                    allowed = f"the columns of {target.path.name}"
                    fix = f"Take it over with --add-columns, or leave it out with --leave-out {spelled}."
                    problem = Problem(
                        "column-not-in-trial", table.file, int(table.rows[position]), table.about(position),
                        spelled, shown(table.text(column, position)), allowed, fix,
                    )  # fmt: skip
                    self._speak(problem, (name, position))

    # ------------------------------------------------------------ what speaks against them in the trial
    def _growths(self, without: Iterable[Row]) -> dict[str, Growth]:
        """The new rows without some, fitted to the files; rows that cannot be kept are noted."""
        aside = set(without)
        growths = {}
        for name, table in self.incoming.tables.items():
            new = [
                position
                for position, standing in enumerate(self.standings[name])
                if standing.kind == NEW and (name, position) not in aside
            ]
            growths[name], not_kept = grown(table, new, self.targets[name])
            for position, problem in not_kept:
                if not any(known.code == problem.code for known in self.against.get((name, position), ())):
                    self._speak(problem, (name, position))
        return growths

    def plan(self, left_out: tuple[str, ...]) -> IntakePlan:
        """The whole plan."""
        doubts = self._note_own_problems()
        self._note_conflicts()
        self._note_columns()
        aside = set(self.against) if self.accept_clean else set()
        growths = self._growths(aside)
        judged = judge(self.folder, self.raw, growths, self.earlier)
        rounds = 0
        while self.accept_clean and any(problem.stops for problem in judged.problems):
            errors = [problem for problem in judged.problems if problem.stops]
            found = rows_to_leave_out(errors, judged.draft, growths)
            if rounds == MOST_ROUNDS:
                found = {
                    (name, place): errors for name, growth in growths.items() for place in growth.positions
                }
            if not found:
                break
            for row, problems in found.items():
                for problem in problems:
                    self._speak(self._as_typed(problem, growths), row)
            growths = self._growths(set(self.against))
            judged = judge(self.folder, self.raw, growths, self.earlier)
            rounds += 1
        errors, warnings = self._told(judged, growths)
        rejected = self.against if self.accept_clean else {}
        if not self.accept_clean:
            errors += [problem for problems in self.against.values() for problem in problems]
        plans = tuple(
            TablePlan(
                name, table, growths[name], tuple(self.standings[name]),
                {place: tuple(dict.fromkeys(found)) for (other, place), found in rejected.items() if other == name},
            )
            for name, table in self.incoming.tables.items()
        )  # fmt: skip
        return IntakePlan(
            self.folder, self.incoming, plans, sorted_problems([*errors, *self.general]),
            sorted_problems([*doubts, *warnings]), self.accept_clean, left_out, judged.is_partial,
        )  # fmt: skip

    def _told(self, judged: Judgement, growths: Mapping[str, Growth]) -> tuple[list[Problem], list[Problem]]:
        """Errors and warnings of the rules, with the rows of the incoming file, without what was told of it already."""
        said = {
            (problem.file, problem.row, problem.code)
            for problem in (*self.incoming.problems, *(p for found in self.against.values() for p in found))
        }
        told = [self._as_typed(problem, growths) for problem in judged.problems]
        told = [problem for problem in told if (problem.file, problem.row, problem.code) not in said]
        return [p for p in told if p.stops], [p for p in told if not p.stops]

    def _as_typed(self, problem: Problem, growths: Mapping[str, Growth]) -> Problem:
        """The problem with file and row of the incoming file, if it is about a new row."""
        row = row_of(problem, growths)
        if row is None:
            return problem
        name, position = row
        table = self.incoming.tables[name]
        return replace(problem, file=table.file, row=int(table.rows[position]))


def _conflict(table: TypedTable, position: int, standing: Standing) -> Problem:
    """The problem of a row that says something else than another of the same key."""
    several = len(standing.differences) > 1
    columns = listed([item.column for item in standing.differences])
    here = "; ".join(f"{item.column} {item.here}" if several else item.here for item in standing.differences)
    there = "; ".join(
        f"{item.column} {item.there}" if several else item.there for item in standing.differences
    )
    if standing.file == table.file:
        fix = "Keep the row that is right."
    else:
        fix = "Nothing is overwritten. If the new value is right, correct the old one with `trialkit decide`."
    return Problem(
        "row-differs", table.file, int(table.rows[position]), table.about(position), "" if several else columns,
        here, f"{there}, as in row {standing.row} of {standing.file}", fix,
    )  # fmt: skip


# ---------------------------------------------------------------- the files of the trial
def _require_csv(incoming: Incoming, raw: RawTables) -> None:
    """Refuse tables that the trial keeps in a workbook or in a file that cannot be read."""
    in_books = [name for name in incoming.tables if raw.files[name].endswith("]") and name in raw.tables]
    if in_books:
        book = raw.files[in_books[0]].rpartition(" [")[0]
        raise NotAddedError(
            f"nothing was added: the trial keeps {', '.join(in_books)} in {book}, and rows are added to CSV files only, "
            f"since a workbook cannot be changed without the risk of losing what else is in it. To keep the trial as "
            f"CSV files: move {book} out of the folder, then run `trialkit intake {book} --into` the folder, which makes "
            f"a CSV file of every sheet."
        )
    broken = [raw.files[name] for name in incoming.tables if name in raw.paths and name not in raw.tables]
    if broken:
        raise NotAddedError(
            f"nothing was added: {', '.join(broken)} of the trial cannot be read; `trialkit check` says why."
        )


def _target(incoming: TypedTable, folder: Path, raw: RawTables, add_columns: bool) -> Target:
    """The file to which the rows are added, with the columns that it lacks if they are to be added."""
    name = incoming.table.name
    if name not in raw.tables:
        return new_target(incoming, folder)
    path = raw.paths[name]
    try:
        data = path.read_bytes()
    except OSError as error:
        raise NotAddedError(f"nothing was added: {path.name} cannot be read: {error.strerror}.") from None
    if path.name in raw.unfinished:
        data = raw.unfinished[path.name].before(folder, data) or b""
    sha256 = hashlib.sha256(data).hexdigest()
    if sha256 != raw.hashes.get(raw.files[name]):
        raise NotAddedError(f"nothing was added: {path.name} was changed meanwhile. Try again.")
    target = existing_target(TABLES[name], path, sha256, data, raw.tables[name])
    lacking = [column for column in columns_without_place(incoming, target) if filled(incoming, column).any()]
    if not lacking or not add_columns:
        return target
    names = [incoming.headings[column].spelled for column in lacking]
    strange = [shown(spelled) for spelled in names if not target.dialect.can_hold(spelled)]
    if strange:
        raise NotAddedError(
            f"nothing was added: {path.name} is written in {target.dialect.encoding}, which lacks a letter of the new "
            f"{'column' if len(strange) == 1 else 'columns'} {listed(strange)}. Save {path.name} as UTF-8, or leave it out with --leave-out."
        )
    wider = widened(target, data, names)
    if wider is None:
        raise NotAddedError(f"nothing was added: columns cannot be added to {path.name}; add them by hand.")
    return wider
