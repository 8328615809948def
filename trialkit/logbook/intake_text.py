"""An intake in words, for a terminal.

Answers: what does the analyst read before and after rows are added?
"""

from __future__ import annotations

from trialkit.formatting import counted, listed
from trialkit.logbook.intakes import IntakePlan, TablePlan
from trialkit.logbook.keyed_rows import CONFLICT, TWICE
from trialkit.trial import problem_text
from trialkit.trial.headings import shown

ROWS_SHOWN = 5
"""Rows that are spelled out for each table; `--all-rows` spells out the rest."""
FORMULA_SIGNS = "=+-@"


def plan_text(plan: IntakePlan, *, all_rows: bool = False, width: int = 100) -> str:
    """What would be added, what is there already, and what speaks against it.

    Parameters
    ----------
    plan : IntakePlan
        The plan.
    all_rows : bool
        Whether every row is spelled out.
    width : int
        Characters in a line.
    """
    parts = [_table_text(table, None if all_rows else ROWS_SHOWN) for table in plan.tables]
    parts += list(plan.incoming.notes)
    problems = [*plan.errors, *plan.warnings]
    if problems:
        parts.append(problem_text.text(problems, _sentence(plan), width))
    if plan.is_partial:
        parts.append(
            "The trial is very large: the rules looked at the trucks of the new rows and at what is linked with them. "
            "`trialkit check` looks at everything."
        )
    return "\n".join(problem_text.printable(line) for part in parts for line in part.split("\n"))


def _sentence(plan: IntakePlan) -> str:
    n_errors, n_warnings = len(plan.errors), len(plan.warnings)
    said = []
    if n_errors:
        said.append(
            f"{counted(n_errors, 'error')}: nothing can be added until {'it is' if n_errors == 1 else 'they are'} mended."
        )
        if not plan.accepts_clean and any(problem.row is not None for problem in plan.errors):
            said.append("`--accept-clean` adds the rows that nothing speaks against.")
    if n_warnings:
        said.append(f"{counted(n_warnings, 'warning')} would come with the new rows.")
    return " ".join(said)


def _table_text(table: TablePlan, most: int | None) -> str:
    """One table: the counts, then rows that are new and rows that say something else."""
    file = table.growth.target.path.name
    counts = [f"{counted(table.n_added, 'row')} to add"]
    if table.n_there:
        counts.append(f"{counted(table.n_there, 'row')} already there")
    if table.rejected:
        counts.append(f"{counted(len(table.rejected), 'row')} left out")
    conflicts = table.positions(CONFLICT)
    if conflicts and not table.rejected:
        counts.append(
            f"{counted(len(conflicts), 'row')} that {'says' if len(conflicts) == 1 else 'say'} something else"
        )
    new = " (a new file)" if table.growth.target.raw is None and table.n_added else ""
    lines = [f"{table.incoming.file} -> {file}{new}: {listed(counts)}."]
    if table.growth.target.rewritten is not None:
        lines.append(f"  {file} gets new columns at its right, blank in the old rows.")
    shown_rows = table.growth.positions if most is None else table.growth.positions[:most]
    lines += [f"  + {_row_text(table, position)}" for position in shown_rows]
    rest = len(table.growth.positions) - len(shown_rows)
    if rest:
        lines.append(f"  + {counted(rest, 'more row')}")
    lines += _conflict_lines(table, conflicts, most)
    twice = len(table.positions(TWICE))
    if twice:
        lines.append(
            f"  {counted(twice, 'row')} of the file {'stands' if twice == 1 else 'stand'} in it twice, and counted once."
        )
    fuller = sum(standing.fuller for standing in table.standings)
    if fuller:
        lines.append(
            f"  {counted(fuller, 'row')} of the trial {'has' if fuller == 1 else 'have'} cells that are blank in the file; they stay."
        )
    formulas = _formula_cells(table)
    if formulas:
        lines.append(
            f"  {counted(formulas, 'cell')} begin{'s' if formulas == 1 else ''} with one of {' '.join(FORMULA_SIGNS)} and "
            f"{'is' if formulas == 1 else 'are'} kept as text; a spreadsheet that opens the CSV file may take "
            f"{'it' if formulas == 1 else 'them'} for a formula."
        )
    return "\n".join(lines)


def _row_text(table: TablePlan, position: int) -> str:
    """A row as it is typed: its key, then the other filled cells."""
    incoming = table.incoming
    rest = []
    for name, heading in incoming.headings.items():
        text = incoming.text(name, position)
        if text and name not in incoming.table.key:
            rest.append(f"{heading.spelled} {shown(text)}")
    about = incoming.about(position) or f"row {incoming.rows[position]}"
    return f"{about}: {', '.join(rest)}" if rest else about


def _conflict_lines(table: TablePlan, conflicts: list[int], most: int | None) -> list[str]:
    lines = []
    for position in conflicts if most is None else conflicts[:most]:
        standing = table.standings[position]
        where = f"row {standing.row} of {standing.file}"
        lines.append(f"  ! {table.incoming.about(position)} is {where} already, and differs:")
        width = max(len(item.column) for item in standing.differences)
        lines += [
            f"      {item.column:<{width}}  there: {item.there}   here: {item.here}"
            for item in standing.differences
        ]
    rest = len(conflicts) - (len(conflicts) if most is None else min(most, len(conflicts)))
    return [*lines, f"  ! {counted(rest, 'more row')} that differ"] if rest else lines


def _formula_cells(table: TablePlan) -> int:
    """Text cells of the new rows that a spreadsheet may take for a formula."""
    incoming = table.incoming
    names = [
        name
        for name, heading in incoming.headings.items()
        if heading.column is None or not heading.column.is_numeric
    ]
    return sum(
        incoming.text(name, position)[:1] in tuple(FORMULA_SIGNS)
        for name in names
        for position in table.growth.positions
        if incoming.text(name, position)
    )


def done_text(plan: IntakePlan, rejects: str = "") -> str:
    """What was done, in a sentence."""
    if plan.n_added:
        files = listed([table.growth.target.path.name for table in plan.tables if table.n_added])
        said = f"Added: {counted(plan.n_added, 'row')} to {files}."
    else:
        said = "Nothing to add."
    if plan.n_there:
        said += f" Skipped, since the trial has them: {counted(plan.n_there, 'row')}."
    if plan.n_rejected:
        said += f" Left out: {counted(plan.n_rejected, 'row')}, with the reasons in {rejects}."
    return said
