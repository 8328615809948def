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
from trialkit.formatting import counted, sentence_case

COLUMNS = (c.SEVERITY, c.CODE, c.FILE, c.ROW, c.KEY, c.COLUMN, c.FOUND, c.ALLOWED, c.FIX)
NARROWEST = 40
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
        lines += [_clean(f"{file}: {', '.join(counts)}", ascii_only)]
        for problem in mine:
            lines += _lines(problem, width, ascii_only)
        lines.append("")
    return "\n".join([*lines, _clean(sentence, ascii_only)])


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


def _lines(problem: Problem, width: int, ascii_only: bool) -> list[str]:
    """One problem: a line that says where, then what, what is allowed and what to do."""
    where = f"row {problem.row}" if problem.row is not None else "whole file"
    where += f" ({problem.key})" if problem.key else ""
    said = (
        f"{problem.column} is {problem.found}"
        if problem.column and problem.found
        else problem.column or problem.found
    )
    meaning = sentence_case(CODES[problem.code].meaning) + "."
    parts = [("", meaning), ("found", said), ("allowed", problem.allowed), ("to do", problem.fix)]
    first = f"{problem.severity}, {where} [{problem.code}]"
    lines = textwrap.wrap(
        _clean(first, ascii_only),
        width,
        initial_indent="  ",
        subsequent_indent="      ",
        break_on_hyphens=False,
    )
    for word, words in parts:
        if words:
            lead = f"      {word + ':':<9}" if word else "      "
            lines += textwrap.wrap(
                _clean(words, ascii_only),
                width,
                initial_indent=lead,
                subsequent_indent=" " * len(lead),
                break_on_hyphens=False,
            )
    return lines


def _clean(words: str, ascii_only: bool) -> str:
    """The words without what a terminal must not be sent."""
    if ascii_only:
        words = words.translate(_PLAIN).encode("ascii", "replace").decode("ascii")
    return "".join(sign if sign.isprintable() else "?" for sign in words)
