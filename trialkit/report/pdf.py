"""A list of blocks as one PDF for print.

Answers: how does a council read the report on paper, or with a reader for people who do not see it?

The pages are set by the template ``templates/pdf/report.typ``. Numbers, order and words are those of the web page; the
pictures are the same drawings, sharp at any size, with their descriptions. The numbers behind a picture are left to the
page and the workbook, where they can be used.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

from trialkit.report import blocks, layout, prose
from trialkit.report.block_types import TEMPLATES
from trialkit.report.column_widths import MOST_UPRIGHT, column_widths
from trialkit.typesetting import compiling

MOST_ROWS_TOGETHER, MOST_LINES_TOGETHER = 9, 14
"""Rows and lines of a table that are kept on one page; a longer table runs on, with its header repeated."""
FEW_LINES = 10
"""Lines of a table that are kept on one page where tables run on."""
PAPERS = {layout.LETTER: "us-letter", layout.A4: "a4"}
LINES_PT = {layout.LETTER: (468.0, 648.0), layout.A4: (470.55, 717.18)}
"""Width of a line on an upright and a turned page. [pt]"""
_GAPS_PT = (10.0, 6.0)


def pdf(report: Sequence[blocks.Block], paper: str = layout.LETTER, *, run_on: bool = False) -> bytes:
    """The report as PDF/UA-1, tagged and with its fonts.

    Parameters
    ----------
    report : sequence of Block
        As for `document.html`.
    paper : str
        ``"letter"`` or ``"a4"``.
    run_on : bool
        Whether tables of more than a few lines may run on to the next page, and the sentence under a heading stays with what
        follows: for a document that is mostly tables of words, which would leave pages half empty.

    Returns
    -------
    bytes
        The same blocks give the same bytes.

    Raises
    ------
    ReportError
        If there is no `Meta` at the start, a heading skips a level, or the pages cannot be set.
    """
    laid_out = layout.lay_out(report)
    return compiling.compile_pdf(
        TEMPLATES / "pdf" / "report.typ",
        content(laid_out, paper, run_on=run_on),
        title=layout.full_title(laid_out.meta),
        files=_pictures(laid_out),
    )


def content(laid_out: layout.Layout, paper: str, *, run_on: bool = False) -> dict[str, Any]:
    """What the template is given."""
    meta = laid_out.meta
    parts = [_part(part, paper) for part in laid_out.parts]
    if run_on:
        _let_run_on(parts)
    return {
        "paper": PAPERS[paper],
        "mark": blocks.INTERIM.capitalize() if meta.interim else "",
        "foot": layout.foot(meta),
        "agency": meta.agency,
        "title": meta.title,
        "subtitle": meta.subtitle,
        "facts": [
            ["Winter", meta.season],
            *([["Data up to", meta.date]] if meta.date else []),
            *map(list, meta.facts),
        ],
        "first_figure": next(
            (part.label for part in laid_out.parts if isinstance(part.block, blocks.Figure)), ""
        ),
        "parts": parts,
    }


def _let_run_on(parts: list[dict[str, Any]]) -> None:
    """Keep only short tables together, and a paragraph alone under a heading with what follows it."""
    for before, part, after in zip(parts, parts[1:], parts[2:], strict=False):
        opens = before["kind"] == "heading" and part["kind"] == "text" and len(part["paragraphs"]) == 1
        if opens and after["kind"] not in ("heading", "text"):
            part["sticky"] = True
    for part in parts:
        if "together" in part:
            part["together"] = part["together"] and part["lines"] <= FEW_LINES


def _part(part: layout.Part, paper: str) -> dict[str, Any]:
    block = part.block
    said: dict[str, Any] = {"kind": block.kind, "label": part.label}  # type: ignore[attr-defined]
    if isinstance(block, blocks.Heading):
        return said | {
            "level": block.level + part.shift,
            "runs": _runs(block.runs),
            "new_page": block.new_page,
        }
    if isinstance(block, blocks.Text):
        return said | {"paragraphs": [_runs(runs) for runs in block.paragraphs]}
    if isinstance(block, blocks.Listing):
        return said | {"ordered": block.ordered, "items": [_runs(runs) for runs in block.items]}
    if isinstance(block, blocks.Findings):
        items = [
            {
                "verdict": item.verdict_words,
                "tone": item.verdict,
                "sentence": item.sentence,
                "detail": item.detail,
            }
            for item in block.items
        ]
        return said | {"title": block.title, "level": 2 + part.shift, "items": items}
    if isinstance(block, blocks.Table):
        return said | _table(block, paper)
    if isinstance(block, blocks.Figure):
        return said | {"caption": block.caption, "alt": block.alt, "file": _file(part)}
    if isinstance(block, blocks.Problems):
        return said | {"sentence": block.sentence, "table": _table(block.data, paper) if block.data else None}
    if isinstance(block, blocks.Notes):
        return said | {"title": block.title, "items": list(block.items)}
    raise NotImplementedError(block)


def _runs(runs: prose.Runs) -> list[dict[str, Any]]:
    return [run.model_dump() for run in runs]


def _table(block: blocks.Table, paper: str) -> dict[str, Any]:
    turned = len(block.shown_columns) > MOST_UPRIGHT
    gap = _GAPS_PT[turned or len(block.shown_columns) > 7]
    widths = column_widths(block, LINES_PT[paper][turned], gap)
    columns = zip(block.shown_columns, widths.columns_pt, widths.letters, strict=True)
    return {
        "caption": block.caption,
        "turned": turned,
        "size": widths.size_pt,
        "gap": gap,
        "columns": [
            {
                "heading": column.heading,
                "unit": column.unit,
                "end": column.align == "end",
                "width": width,
                "letters": letters,
            }
            for column, width, letters in columns
        ],
        "rows": [list(row) for row in block.shown_texts],
        "notes": list(block.notes),
        "lines": widths.lines,
        "together": len(block.rows) <= MOST_ROWS_TOGETHER and widths.lines <= MOST_LINES_TOGETHER,
    }


def _file(part: layout.Part) -> str:
    drawn = isinstance(part.block, blocks.Figure) and part.block.svg
    return f"{part.anchor}.{'svg' if drawn else 'png'}"


def _pictures(laid_out: layout.Layout) -> dict[str, bytes]:
    found = {}
    for part in laid_out.parts:
        if isinstance(part.block, blocks.Figure):
            svg, png = part.block.svg, part.block.png
            found[_file(part)] = svg.encode("utf-8") if svg else base64.b64decode(png)
    return found
