"""Problems in the trial data as a table, as text for a terminal and as a page.

Answers: how does the analyst read what is wrong?

Nothing that comes from the data can become markup or a control code: on a page it is escaped, in a terminal what cannot
be printed is replaced.
"""

from __future__ import annotations

import html
import textwrap
from collections.abc import Iterable, Sequence
from itertools import groupby

import pandas as pd

from trialkit import columns as c
from trialkit.errors import CODES, Problem
from trialkit.formatting import counted, listed, sentence_case

COLUMNS = (c.SEVERITY, c.CODE, c.FILE, c.ROW, c.KEY, c.COLUMN, c.FOUND, c.ALLOWED, c.FIX)
NARROWEST = 40
MOST_RUNS = 12
"""Runs of rows that are named where many rows have the same thing wrong; `frame` has every row."""
MOST_KEYS = 3
"""Keys that are named where several rows have the same thing wrong; of more only the rows."""
_PLAIN = str.maketrans(
    {"–": "-", "—": "-", "−": "-", "’": "'", "“": '"', "”": '"', "…": "...", "°": " deg ", "²": "2", "µ": "u"}
)
_ON_PAGE = (c.SEVERITY, c.FILE, c.ROW, c.KEY, c.COLUMN, c.FOUND, c.ALLOWED, c.FIX, c.CODE)


def frame(problems: Iterable[Problem]) -> pd.DataFrame:
    """Problems as a tidy table.

    Returns
    -------
    DataFrame
        Columns severity, code, file, row, key, column, found, allowed, fix; row is missing where a whole file is meant.
    """
    rows = [[getattr(problem, name) for name in COLUMNS] for problem in problems]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({name: "Int64" if name == c.ROW else object for name in COLUMNS})


def text(problems: Sequence[Problem], sentence: str, width: int = 100, ascii_only: bool = False) -> str:
    """Problems for a terminal: grouped by file, each with where, what, what is allowed and what to do.

    Rows of a file that have the very same thing wrong are told together.

    Parameters
    ----------
    problems : sequence of Problem
        In reading order.
    sentence : str
        The last line, with the counts.
    width : int
        Characters in a line.
    ascii_only : bool
        Whether other characters are replaced.
    """
    width = max(width, NARROWEST)
    lines = []
    for file, group in groupby(problems, key=lambda problem: problem.file):
        mine = list(group)
        n_errors = sum(problem.stops for problem in mine)
        counts = [
            counted(n, noun) for n, noun in ((n_errors, "error"), (len(mine) - n_errors, "warning")) if n
        ]
        lines += [printable(f"{file}: {', '.join(counts)}", ascii_only)]
        for alike in _alike(mine):
            lines += _lines(alike, width, ascii_only)
        lines.append("")
    return "\n".join([*lines, printable(sentence, ascii_only)])


def html_table(problems: Sequence[Problem], sentence: str) -> str:
    """Problems as an HTML table for a notebook, everything from the data escaped."""
    said = f"<p>{html.escape(sentence)}</p>"
    if not problems:
        return said
    head = "".join(
        f"<th style='text-align:left'>{html.escape(c.RESULT_LABELS[name])}</th>" for name in _ON_PAGE
    )
    body = []
    for problem in problems:
        cells = (
            "" if value is None else str(value) for value in (getattr(problem, name) for name in _ON_PAGE)
        )
        body.append(
            "<tr>"
            + "".join(f"<td style='text-align:left'>{html.escape(cell)}</td>" for cell in cells)
            + "</tr>"
        )
    return f"{said}<table><thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table>"


def _alike(problems: Sequence[Problem]) -> list[list[Problem]]:
    """The problems of one file, those together that differ in nothing but the row."""
    groups: dict[tuple, list[Problem]] = {}
    for problem in problems:
        said = (problem.code, problem.column, problem.found, problem.allowed, problem.fix)
        groups.setdefault((*said, problem.row is None and problem.key), []).append(problem)
    return list(groups.values())


def _rows(rows: Iterable[int]) -> str:
    """Row numbers, runs of neighbors as from-to: ``"rows 4, 5 and 10-12"``."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    words: list[str] = []
    for run in runs[:MOST_RUNS]:
        words += map(str, run) if len(run) < 3 else [f"{run[0]}-{run[-1]}"]
    rest = sum(map(len, runs[MOST_RUNS:]))
    noun = "row" if len(runs) == len(runs[0]) == 1 else "rows"
    return f"{noun} {listed([*words, f'{rest:,} more'] if rest else words)}"


def _lines(alike: Sequence[Problem], width: int, ascii_only: bool) -> list[str]:
    """Problems that differ only in the row: a line that says where, then what, what is allowed and what to do."""
    problem = alike[0]
    rows = [one.row for one in alike if one.row is not None]
    where = _rows(rows) if rows else "whole file"
    keys = dict.fromkeys(one.key for one in alike if one.key)
    where += f" ({'; '.join(keys)})" if 0 < len(keys) <= MOST_KEYS else ""
    if problem.column and not problem.found:
        said = ("name", problem.column)
    else:
        said = ("found", " is ".join(filter(None, (problem.column, problem.found))))
    meaning = sentence_case(CODES[problem.code].meaning) + "."
    parts = [("", meaning), said, ("allowed", problem.allowed), ("to do", problem.fix)]
    first = f"{problem.severity}, {where} [{problem.code}]"
    lines = textwrap.wrap(
        printable(first, ascii_only),
        width,
        initial_indent="  ",
        subsequent_indent="      ",
        break_on_hyphens=False,
    )
    for word, words in parts:
        if words:
            lead = f"      {word + ':':<9}" if word else "      "
            lines += textwrap.wrap(
                printable(words, ascii_only),
                width,
                initial_indent=lead,
                subsequent_indent=" " * len(lead),
                break_on_hyphens=False,
            )
    return lines


def printable(words: str, ascii_only: bool = False) -> str:
    """The words without what a terminal must not be sent."""
    if ascii_only:
        words = words.translate(_PLAIN).encode("ascii", "replace").decode("ascii")
    return "".join(sign if sign.isprintable() else "?" for sign in words)
