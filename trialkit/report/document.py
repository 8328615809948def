"""A list of blocks as one self-contained web page.

Answers: how does a council read the report in a browser, on a phone or on paper?

The page is made with nbconvert and the template in ``templates/report``: one first-level heading, landmarks, a skip link,
a list of contents, captions and header cells that a screen reader finds, every picture with its description and its
numbers, a print style. It holds no script and loads nothing.
"""

from __future__ import annotations

import base64
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from trialkit.errors import ReportError
from trialkit.report import blocks, prose
from trialkit.report.block_types import TEMPLATES
from trialkit.report.running import skip_unused_grammar

APPENDIX_TITLE = "Technical appendix"
_NUMBERED = {"data_table": "Table", "problems": "Table", "figure": "Figure"}


@dataclass(frozen=True, slots=True)
class Part:
    """A block and its place on the page: anchor, label such as ``"Table 2."``, picture address, headings moved down by."""

    block: blocks.Block
    anchor: str = ""
    label: str = ""
    source: str = ""
    shift: int = 0


@dataclass(frozen=True, slots=True)
class Page:
    """What the template draws."""

    meta: blocks.Meta
    parts: tuple[Part, ...]
    contents: tuple[tuple[str, str], ...]
    css: Any
    interim_words: str = blocks.INTERIM


def html(report: Sequence[blocks.Block]) -> str:
    """The page of a report.

    Parameters
    ----------
    report : sequence of Block
        It begins with a `Meta`. Where several notebooks follow each other, each with a `Meta` of its own, the page becomes
        the technical appendix and each notebook one section of it.

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

    page = lay_out(report)
    text, _ = _exporter().from_notebook_node(nbformat.v4.new_notebook(), resources={"page": page})
    return re.sub(r"\n\s*\n+", "\n", text)


def lay_out(report: Sequence[blocks.Block]) -> Page:
    """Numbers, anchors and contents of a page; raises `ReportError` as `html` does."""
    if not report or not isinstance(report[0], blocks.Meta):
        raise ReportError("A report begins with blocks.meta: title, agency, season and date are missing.")
    metas = [block for block in report if isinstance(block, blocks.Meta)]
    head, shift = metas[0], 0
    if len(metas) > 1:
        head = head.model_copy(
            update={"title": APPENDIX_TITLE, "subtitle": "", "interim": any(meta.interim for meta in metas)}
        )
        report, shift = [part for block in report for part in _as_section(block)], 1
    else:
        report = list(report[1:])
    names = _Names()
    parts, contents, level = [], [], 1
    for block in report:
        part = _placed(block, names, shift)
        if isinstance(block, blocks.Heading):
            own = block.level + part.shift
            if own > level + 1:
                raise ReportError(
                    f'The heading "{block.plain()}" skips a level: it is of level {own} under one of level {level}.'
                )
            level = own
            if own == 2:
                contents.append((part.anchor, block.plain()))
        parts.append(part)
    return Page(head, tuple(parts), tuple(contents) if len(contents) > 1 else (), _style_sheet())


class _SectionTitle(blocks.Heading):
    """The title of one notebook in the appendix: it stays a section while the notebook's own headings move down."""


def _as_section(block: blocks.Block) -> list[blocks.Block]:
    if not isinstance(block, blocks.Meta):
        return [block]
    return [_SectionTitle(level=2, runs=prose.literal(block.subtitle or block.title))]


def _placed(block: blocks.Block, names: _Names, shift: int) -> Part:
    if isinstance(block, _SectionTitle):
        return Part(block, names.anchor(block.plain()))
    if isinstance(block, blocks.Heading):
        return Part(block, names.anchor(block.plain()), shift=shift)
    if isinstance(block, blocks.Findings):
        return Part(block, names.anchor(block.title), shift=shift)
    word = _NUMBERED.get(block.kind, "")  # type: ignore[attr-defined]
    if not word or (isinstance(block, blocks.Problems) and block.data is None):
        return Part(block)
    number = names.number(word)
    source = _picture_address(block.svg, block.png) if isinstance(block, blocks.Figure) else ""
    return Part(block, f"{word.lower()}-{number}", f"{word} {number}.", source)


class _Names:
    """Anchors, each used once, and running numbers."""

    def __init__(self) -> None:
        self._used = {"content", "contents-title"}
        self._numbers: dict[str, int] = {}

    def anchor(self, words: str) -> str:
        """An address made from the words of a heading."""
        plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode()
        stem = "-".join(re.findall(r"[a-z0-9]+", plain.lower()))[:60].strip("-") or "section"
        stem = f"s-{stem}" if re.match(r"(table|figure)-\d+$|\d", stem) else stem
        name, turn = stem, 1
        while name in self._used:
            turn += 1
            name = f"{stem}-{turn}"
        self._used.add(name)
        return name

    def number(self, word: str) -> int:
        """The next number of a table or figure."""
        self._numbers[word] = self._numbers.get(word, 0) + 1
        return self._numbers[word]


def _picture_address(svg: str, png: str) -> str:
    if svg:
        return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"
    return f"data:image/png;base64,{''.join(png.split())}"


def _style_sheet() -> Any:
    from markupsafe import Markup

    return Markup((TEMPLATES / "report" / "report.css").read_text(encoding="utf-8"))


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
