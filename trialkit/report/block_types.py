"""The kinds of block that a report is made of.

Answers: what does a report know about each of its parts, and how does a notebook show it?

Shown in a notebook, a block is its data as JSON (type `MIME`) and beside it the ordinary HTML, text or picture that
JupyterLab displays. Text from data stays text: it is escaped wherever it is shown. `blocks` makes blocks from results
and reads them back from an executed notebook.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

import pandas as pd
from pydantic import BaseModel, ConfigDict, Field

from trialkit import verdicts
from trialkit.report import cells, prose
from trialkit.verdicts import INTERIM

MIME = "application/vnd.trialkit.block+json"
TEMPLATES = Path(__file__).parent / "templates"

_WORDS = re.compile(r'<(t[dh](?: scope="\w+")?(?: class="long")?)>')
"""The opening tag of a cell that holds no number; text from data is escaped and never looks like one."""


class Block(BaseModel):
    """One part of a report; the last expression of a cell shows it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    def payload(self) -> dict[str, Any]:
        """The block as JSON data, keys in order."""
        return self.model_dump(mode="json", exclude={"svg", "png"})

    def html(self) -> str:
        """The block as a piece of HTML, for a notebook."""
        return _fragment(self)

    def plain(self) -> str:
        """The block as text."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.plain()

    def __repr__(self) -> str:
        return self.plain()

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        return {MIME: self.payload(), "text/html": self.html(), "text/plain": self.plain()}


class Meta(Block):
    """What the document is: its only first-level heading and the facts beneath it."""

    kind: Literal["meta"] = "meta"
    title: str
    agency: str
    season: str
    date: str
    subtitle: str = ""
    interim: bool = False
    facts: tuple[tuple[str, str], ...] = ()

    def plain(self) -> str:
        """The block as text."""
        where = [self.agency, f"winter {self.season}", *([self.date] if self.date else [])]
        lines = [self.title, self.subtitle, ", ".join(where)]
        lines += [f"{name}: {value}" for name, value in self.facts]
        return "\n".join(line for line in [*lines, INTERIM.capitalize() if self.interim else ""] if line)


class Heading(Block):
    """A heading of level 2, 3 or 4; on paper it may begin a new page."""

    kind: Literal["heading"] = "heading"
    level: int = Field(ge=2, le=4)
    runs: prose.Runs
    new_page: bool = False

    def plain(self) -> str:
        """The block as text."""
        return prose.plain(self.runs)


class Text(Block):
    """One or more paragraphs."""

    kind: Literal["text"] = "text"
    paragraphs: tuple[prose.Runs, ...]

    def plain(self) -> str:
        """The block as text."""
        return "\n\n".join(prose.plain(runs) for runs in self.paragraphs)


class Listing(Block):
    """A flat list."""

    kind: Literal["list"] = "list"
    ordered: bool = False
    items: tuple[prose.Runs, ...]

    def plain(self) -> str:
        """The block as text."""
        return "\n".join(f"- {prose.plain(item)}" for item in self.items)


class Finding(BaseModel):
    """One sentence of a findings box, with what stands behind it and the verdict, if there is one."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    sentence: str
    detail: str = ""
    verdict: Literal[""] | verdicts.Verdict = ""

    @property
    def verdict_words(self) -> str:
        """The verdict as it is printed."""
        return verdicts.words(self.verdict)


class Findings(Block):
    """The box that a council reads first."""

    kind: Literal["findings"] = "findings"
    title: str
    items: tuple[Finding, ...]

    def plain(self) -> str:
        """The block as text."""
        lines = [
            f"- {item.verdict_words + ': ' if item.verdict else ''}{item.sentence}" for item in self.items
        ]
        return "\n".join([self.title, *lines])


class Table(Block):
    """A table with one header row; `rows` are raw values, `texts` what is printed."""

    kind: Literal["data_table"] = "data_table"
    caption: str
    columns: tuple[cells.Column, ...]
    rows: tuple[tuple[cells.Cell, ...], ...]
    texts: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()

    @property
    def shown_columns(self) -> tuple[cells.Column, ...]:
        """The columns that are printed."""
        return tuple(column for column in self.columns if column.shown)

    @property
    def shown_texts(self) -> tuple[tuple[str, ...], ...]:
        """The printed cells, row by row."""
        return tuple(
            tuple(text for text, column in zip(row, self.columns, strict=True) if column.shown)
            for row in self.texts
        )

    def raw_frame(self) -> pd.DataFrame:
        """The raw values under the names of the tidy table, for a spreadsheet."""
        kept = [position for position, column in enumerate(self.columns) if column.kept]
        names = [self.columns[position].name for position in kept]
        return pd.DataFrame([[row[position] for position in kept] for row in self.rows], columns=names)

    def plain(self) -> str:
        """The block as text."""
        grid = [tuple(column.title for column in self.shown_columns), *self.shown_texts]
        widths = [max(map(len, cells_of_column)) for cells_of_column in zip(*grid, strict=True)]
        ends = [column.align == "end" for column in self.shown_columns]
        lines = [
            "  ".join(
                text.rjust(w) if end else text.ljust(w)
                for text, w, end in zip(row, widths, ends, strict=True)
            ).rstrip()
            for row in grid
        ]
        return "\n".join([self.caption, "", *lines, *(["", *self.notes] if self.notes else [])])


class Figure(Block):
    """A picture with its caption, its description and the numbers that it shows."""

    kind: Literal["figure"] = "figure"
    caption: str
    alt: str
    data: Table | None = None
    svg: str = ""
    png: str = ""

    def plain(self) -> str:
        """The block as text."""
        return f"{self.caption}\n{self.alt}"

    def html(self) -> str:
        """The block as a piece of HTML, for a notebook."""
        return _fragment(self, f"data:image/png;base64,{self.png}")

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        return super()._repr_mimebundle_() | {"image/svg+xml": self.svg, "image/png": self.png}


class Problems(Block):
    """What is wrong or doubtful in the trial data."""

    kind: Literal["problems"] = "problems"
    sentence: str
    data: Table | None = None

    def plain(self) -> str:
        """The block as text."""
        return self.sentence if self.data is None else f"{self.sentence}\n\n{self.data.plain()}"


class Notes(Block):
    """Caveats that have to be printed."""

    kind: Literal["caveats"] = "caveats"
    title: str
    items: tuple[str, ...]

    def plain(self) -> str:
        """The block as text."""
        return "\n".join([self.title, *(f"- {item}" for item in self.items)])


AnyBlock = Annotated[
    Meta | Heading | Text | Listing | Findings | Table | Figure | Problems | Notes,
    Field(discriminator="kind"),
]


def _fragment(block: Block, picture: str = "") -> str:
    """The HTML of a block for a notebook, with the words of its tables flush left.

    JupyterLab sets every cell flush right, and takes a style sheet out of a notebook that it does not trust.
    """
    return _WORDS.sub(r'<\1 style="text-align: left">', str(_macros().fragment(block, picture)))


@cache
def _macros() -> Any:
    """The HTML of the blocks; everything that is not markup of the template is escaped."""
    from jinja2 import Environment, FileSystemLoader

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES / "report"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    return environment.get_template("blocks.html.j2").module
