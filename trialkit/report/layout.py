"""The order, numbers and levels of a report's parts, the same in every document made from it.

Answers: which table is "Table 2", which heading is the highest, and how do several notebooks become one appendix?
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from trialkit.errors import ReportError
from trialkit.report import blocks, prose

APPENDIX_TITLE = "Technical appendix"
LETTER, A4 = "letter", "a4"
"""Papers that a report can be printed on."""
LONGEST_FOOT = 90
APPENDIX_MARK = "A"
"""Before the numbers of tables and figures of the technical appendix, which then are none of the council report."""
_NUMBERED = {"data_table": "Table", "problems": "Table", "figure": "Figure"}


@dataclass(frozen=True, slots=True)
class Part:
    """A block and its place in the report: anchor, label such as ``"Table 2."``, headings moved down by."""

    block: blocks.Block
    anchor: str = ""
    label: str = ""
    shift: int = 0


@dataclass(frozen=True, slots=True)
class Layout:
    """What every document draws: its head, its parts in order, and anchors and words of its sections."""

    meta: blocks.Meta
    parts: tuple[Part, ...]
    contents: tuple[tuple[str, str], ...]


def lay_out(report: Sequence[blocks.Block]) -> Layout:
    """Numbers, anchors and contents of a report.

    Parameters
    ----------
    report : sequence of Block
        It begins with a `Meta`. Where several notebooks follow each other, each with a `Meta` of its own, they become the
        sections of the technical appendix.

    Raises
    ------
    ReportError
        If there is no `Meta` at the start, or a heading skips a level.
    """
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
    names = Names(APPENDIX_MARK if shift else "")
    parts, contents, level = [], [], 1
    for block in report:
        part = _placed(block, names, shift, level)
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
    return Layout(head, tuple(parts), tuple(contents) if len(contents) > 1 else ())


def full_title(meta: blocks.Meta) -> str:
    """Title of the document as a browser, a reader of PDF or a list of files shows it."""
    subtitle = f" – {meta.subtitle}" if meta.subtitle else ""
    return f"{meta.title}{subtitle}{f' ({blocks.INTERIM})' if meta.interim else ''}"


def foot(meta: blocks.Meta) -> str:
    """What stands at the foot of every printed page, on one line."""
    words = f"{meta.agency}: {meta.title}"
    return words if len(words) <= LONGEST_FOOT else f"{words[: LONGEST_FOOT - 1].rstrip()}…"


class _SectionTitle(blocks.Heading):
    """The title of one notebook in the appendix: it stays a section while the notebook's own headings move down."""


def _as_section(block: blocks.Block) -> list[blocks.Block]:
    if not isinstance(block, blocks.Meta):
        return [block]
    return [_SectionTitle(level=2, runs=prose.literal(block.subtitle or block.title))]


def _placed(block: blocks.Block, names: Names, shift: int, level: int) -> Part:
    if isinstance(block, _SectionTitle):
        return Part(block, names.anchor(block.plain()))
    if isinstance(block, blocks.Heading):
        return Part(block, names.anchor(block.plain()), shift=shift)
    if isinstance(block, blocks.Findings):
        return Part(block, names.anchor(block.title), shift=min(level, 4) - 1)  # one below where it stands
    word = _NUMBERED.get(block.kind, "")  # type: ignore[attr-defined]
    if not word or (isinstance(block, blocks.Problems) and block.data is None):
        return Part(block)
    number = names.number(word)
    return Part(block, f"{word.lower()}-{number.lower()}", f"{word} {number}.")


class Names:
    """Anchors, each used once, and running numbers with what stands before them."""

    def __init__(self, mark: str = "") -> None:
        self._mark = mark
        self._used = {"content", "contents-title"}
        self._numbers: dict[str, int] = {}

    def anchor(self, words: str) -> str:
        """An address made from the words of a heading."""
        plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode()
        stem = "-".join(re.findall(r"[a-z0-9]+", plain.lower()))[:60].strip("-") or "section"
        stem = f"s-{stem}" if re.match(r"(table|figure)-a?\d+$|\d", stem) else stem
        name, turn = stem, 1
        while name in self._used:
            turn += 1
            name = f"{stem}-{turn}"
        self._used.add(name)
        return name

    def number(self, word: str) -> str:
        """The next number of a table or figure: ``"2"``, in the appendix ``"A2"``."""
        self._numbers[word] = self._numbers.get(word, 0) + 1
        return f"{self._mark}{self._numbers[word]}"
