"""A list of blocks as one self-contained web page.

Answers: how does a council read the report in a browser, on a phone or on paper?

The page is made with nbconvert and the template in ``templates/report``: one first-level heading, landmarks, a skip link,
a list of contents, captions and header cells that a screen reader finds, every picture with its description and its
numbers, a print style. It holds no script and loads nothing.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from functools import cache
from typing import Any

from trialkit.report import blocks, layout
from trialkit.report.block_types import TEMPLATES
from trialkit.report.running import skip_unused_grammar


def html(report: Sequence[blocks.Block], paper: str = layout.LETTER) -> str:
    """The page of a report.

    Parameters
    ----------
    report : sequence of Block
        It begins with a `Meta`. Where several notebooks follow each other, each with a `Meta` of its own, the page becomes
        the technical appendix and each notebook one section of it.
    paper : str
        Paper on which the page is printed.

    Returns
    -------
    str
        HTML; the same blocks give the same text.

    Raises
    ------
    ReportError
        If there is no `Meta` at the start, or a heading skips a level.
    """
    import nbformat

    page = layout.lay_out(report)
    drawn = {
        "page": page,
        "title": layout.full_title(page.meta),
        "pictures": {part.anchor: _picture_address(part.block) for part in page.parts},
        "css": _style_sheet(paper),
        "interim_words": blocks.INTERIM,
    }
    text, _ = _exporter().from_notebook_node(nbformat.v4.new_notebook(), resources=drawn)
    return re.sub(r"\n\s*\n+", "\n", text)


def _picture_address(block: blocks.Block) -> str:
    if not isinstance(block, blocks.Figure):
        return ""
    if block.svg:
        return f"data:image/svg+xml;base64,{base64.b64encode(block.svg.encode()).decode()}"
    return f"data:image/png;base64,{''.join(block.png.split())}"


def _style_sheet(paper: str) -> Any:
    from markupsafe import Markup

    css = (TEMPLATES / "report" / "report.css").read_text(encoding="utf-8")
    return Markup(css.replace("size: letter;", f"size: {paper};"))


@cache
def _exporter() -> Any:
    """nbconvert's exporter on the template of this package, with everything from data escaped."""
    skip_unused_grammar()
    from nbconvert.exporters.templateexporter import TemplateExporter

    exporter = TemplateExporter(
        template_name="report",
        template_file="index.html.j2",
        extra_template_basedirs=[str(TEMPLATES)],
        file_extension=".html",
    )
    exporter.environment.autoescape = True
    exporter.environment.trim_blocks = True
    exporter.environment.lstrip_blocks = True
    return exporter
