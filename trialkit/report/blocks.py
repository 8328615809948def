"""The calls with which a notebook shows the parts of a report, and the way back from an executed notebook.

Answers: how does a result get from a notebook cell into every document with the same numbers, words and alt text?

Each call returns one block, which shows itself when it is the last line of a cell. `read_blocks` turns an executed
notebook into the list of blocks from which every document is drawn; anything else that a cell printed (a warning, a bare
frame or picture, an error) stops it, so that nothing stray reaches a council.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
from pydantic import TypeAdapter, ValidationError

from trialkit import columns as c
from trialkit import display, formatting
from trialkit.errors import CODES, ERROR, WARNING, Problem, ReportError
from trialkit.report import cells, prose
from trialkit.report.block_types import (
    INTERIM,
    MIME,
    AnyBlock,
    Block,
    Figure,
    Finding,
    Findings,
    Heading,
    Listing,
    Meta,
    Notes,
    Problems,
    Table,
    Text,
)
from trialkit.report.running import skip_unused_grammar

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "INTERIM", "MIME", "NOTEBOOK_ONLY", "Block", "Figure", "Finding", "Findings", "Heading", "Listing", "Meta", "Notes",
    "Problems", "Table", "Text", "figure", "findings", "findings_of", "heading", "meta", "notes", "problems",
    "read_blocks", "show", "table", "text",
]  # fmt: skip

NOTEBOOK_ONLY = "notebook-only"
"""Tag of a cell that speaks to whoever runs the notebook and is left out of the documents."""
MOST_PROBLEMS = 100
"""Problems that a document lists; data_problems.csv has them all."""

_BLOCK: TypeAdapter[Any] = TypeAdapter(AnyBlock)
_KIND_WORDS = {ERROR: "Error", WARNING: "Doubtful"}


# ---------------------------------------------------------------- making blocks
def meta(
    title: str,
    *,
    agency: str,
    season: str,
    date: dt.date | None = None,
    subtitle: str = "",
    interim: bool = False,
    facts: Mapping[str, object] | None = None,
) -> Meta:
    """The document's title and the facts under it; every document begins with one.

    Parameters
    ----------
    title, agency, season : str
        As in the settings of the trial.
    date : date, optional
        Day up to which the data go; nothing is said of it where there is none.
    subtitle : str
        What kind of document it is.
    interim : bool
        Whether it is marked as not for decision, on every page.
    facts : mapping, optional
        More facts for the head of the document, such as who prepared it.
    """
    said = tuple((name, str(value)) for name, value in (facts or {}).items())
    return Meta(
        title=title,
        agency=agency,
        season=season,
        date="" if date is None else formatting.day(date),
        subtitle=subtitle,
        interim=interim,
        facts=said,
    )


def heading(words: str, level: int = 2, *, new_page: bool = False) -> Heading:
    """A heading whose words come from the data; level 2 is a section, 3 and 4 lie within one."""
    return Heading(level=level, runs=prose.literal(words), new_page=new_page)


def text(*paragraphs: str) -> Text:
    """Paragraphs exactly as they are: nothing in them is markup."""
    return Text(paragraphs=tuple(prose.literal(paragraph) for paragraph in paragraphs if paragraph))


def findings(items: pd.DataFrame | Iterable[str | Finding], title: str = "Key findings") -> Findings:
    """The box that is read first.

    Parameters
    ----------
    items : DataFrame or iterable
        Sentences, `Finding` objects, or a table of verdicts (columns `sentence`, and `verdict` and `rule` if it has them).
    title : str
        Heading of the box.
    """
    if isinstance(items, pd.DataFrame):
        verdicts = items.get(c.VERDICT, pd.Series("", index=items.index))
        rules = items.get(c.RULE, pd.Series("", index=items.index))
        rows = zip(items[c.SENTENCE].astype(str), rules.astype(str), verdicts.astype(str), strict=True)
        names = ("sentence", "detail", "verdict")
        found = [Finding.model_validate(dict(zip(names, row, strict=True))) for row in rows]
    else:
        found = [item if isinstance(item, Finding) else Finding(sentence=item) for item in items]
    return Findings(title=title, items=tuple(found))


def table(
    frame: pd.DataFrame,
    caption: str,
    *,
    headings: Mapping[str, str] | None = None,
    labels: Mapping[str, str] | None = None,
    hide: Sequence[str] = (),
    confidence_level: float | None = None,
    notes: Sequence[str] = (),
) -> Table:
    """A tidy table with its caption; see `cells.lay_out` for what is printed.

    Raises
    ------
    ReportError
        If two columns of the frame have the same name, or no column is left to print.
    """
    if not frame.columns.is_unique:
        twice = sorted(str(name) for name in frame.columns[frame.columns.duplicated()])
        raise ReportError(f'The table "{caption}" has two columns named {formatting.listed(twice)}.')
    columns, rows, texts, own_notes = cells.lay_out(
        frame, headings=headings, labels=labels, hide=hide, confidence_level=confidence_level
    )
    if not any(column.shown for column in columns):
        raise ReportError(f'The table "{caption}" has no column to print.')
    return Table(
        caption=caption,
        columns=tuple(columns),
        rows=tuple(tuple(row) for row in rows),
        texts=tuple(tuple(row) for row in texts),
        notes=(*own_notes, *notes),
    )


def figure(
    axes: Axes | Sequence[Axes],
    *,
    caption: str,
    alt: str,
    data: pd.DataFrame | None = None,
    labels: Mapping[str, str] | None = None,
    confidence_level: float | None = None,
    headings: Mapping[str, str] | None = None,
) -> Figure:
    """A picture with its caption, its description in words and the numbers that it shows.

    `captions` makes the words and the data from the same result that was drawn:
    ``blocks.figure(figures.wear_rates(rates), **captions.wear_rates(rates))``. The picture is closed afterwards, so the
    notebook does not show it twice.

    Raises
    ------
    ReportError
        If the caption or the description is blank.
    """
    from trialkit.report import theme

    for name, words in (("caption", caption), ("alt", alt)):
        if not words.strip():
            raise ReportError(f"A figure needs words for {name}; make them with trialkit.report.captions.")
    first: Any = axes if hasattr(axes, "get_figure") else axes[0]
    drawn = first.get_figure(root=True)
    with theme.print_style():
        theme.keep_label_within(drawn)
    svg, png = theme.svg_text(drawn), theme.png_base64(drawn)
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close(drawn)
    numbers = None
    if data is not None:
        numbers = table(
            data,
            "Numbers in this figure",
            labels=labels,
            headings=headings,
            confidence_level=confidence_level,
        )
    return Figure(caption=caption, alt=alt, data=numbers, svg=svg, png=png)


def problems(found: Iterable[Problem], sentence: str = "") -> Problems:
    """What is wrong or doubtful in the data, errors first.

    Parameters
    ----------
    found : iterable of Problem
        For instance the problems of a check.
    sentence : str
        What to say above them; the counts if blank.
    """
    listed = sorted(found, key=lambda problem: not problem.stops)
    if not listed:
        return Problems(sentence=sentence or "The check found nothing wrong or doubtful in the trial data.")
    shown = listed[:MOST_PROBLEMS]
    frame = pd.DataFrame(
        {
            "where": [_where(problem) for problem in shown],
            "kind": [_KIND_WORDS[problem.severity] for problem in shown],
            "what": [_what(problem) for problem in shown],
            c.FIX: [problem.fix for problem in shown],
        }
    )
    more = len(listed) - len(shown)
    rest = [f"{more:,} more are listed in data_problems.csv."] if more else []
    return Problems(
        sentence=sentence or _problem_counts(listed),
        data=table(frame, "What the check of the trial data found", notes=rest),
    )


def _where(problem: Problem) -> str:
    row = f" row {problem.row}" if problem.row is not None else ""
    return f"{problem.file}{row}" + (f" ({problem.key})" if problem.key else "")


def _what(problem: Problem) -> str:
    verb = "is " if problem.column and problem.found else ""
    said = f"{problem.column} {verb}{problem.found}".strip()
    allowed = f"; allowed: {problem.allowed}" if problem.allowed else ""
    return (
        f"{formatting.sentence_case(CODES[problem.code].meaning)}: {said}{allowed}"
        if said
        else CODES[problem.code].meaning
    )


def _problem_counts(found: Sequence[Problem]) -> str:
    stops = sum(problem.stops for problem in found)
    doubts = len(found) - stops
    parts = [formatting.counted(stops, "error")] if stops else []
    parts += [formatting.counted(doubts, "doubtful entry", "doubtful entries")] if doubts else []
    return (
        f"The check found {formatting.listed(parts)} in the trial data. Nothing was changed; readings that an analysis "
        "could not use are counted in its notes."
    )


def notes(items: Iterable[str], title: str = "What to keep in mind") -> Notes:
    """Caveats that have to be printed; each is said once."""
    return Notes(title=title, items=tuple(dict.fromkeys(item for item in items if item)))


def show(*shown: Block) -> None:
    """Show several blocks from one cell."""
    from IPython.display import display as show_in_cell

    for block in shown:
        show_in_cell(block)


# ---------------------------------------------------------------- reading them back
def read_blocks(notebook: str | Path | Any) -> list[Block]:
    """The blocks of an executed notebook, in order.

    The opening cell, whose heading is the notebook's own name, and cells tagged ``notebook-only`` speak to whoever runs
    the notebook; they are left out, and so is a heading under which nothing stands. Unit words in text cells become those in which results are shown.

    Parameters
    ----------
    notebook : path or notebook node
        The executed notebook.

    Returns
    -------
    list of Block

    Raises
    ------
    ReportError
        Naming notebook and cell, if a cell has not been run, failed, warned, or shows anything that is not a block, or
        if a text cell holds more than headings, paragraphs, flat lists and plain styles.
    """
    name = "The notebook"
    if isinstance(notebook, (str, Path)):
        skip_unused_grammar()
        import nbformat

        name = Path(notebook).name
        notebook = nbformat.read(notebook, as_version=4)
    found: list[Block] = []
    for position, cell in enumerate(notebook.cells):
        place = f"{name}, cell {position + 1}"
        private = NOTEBOOK_ONLY in cell.metadata.get("tags", [])
        if cell.cell_type == "code":
            blocks = _code_blocks(cell, place, private)
        elif cell.cell_type == "markdown":
            opening = position == 0 and cell.source.lstrip().startswith("# ")
            blocks = [] if private or opening else _text_blocks(display.words(cell.source), place)
        elif private or not cell.source.strip():
            continue
        else:
            raise ReportError(f"{place}: a {cell.cell_type} cell cannot be printed; make it a text cell.")
        found += blocks
    return _without_empty_sections(found)


def _without_empty_sections(found: Sequence[Block]) -> list[Block]:
    """The blocks without headings under which nothing stands: a section that has nothing to show in this report."""
    kept: list[Block] = []
    for block in reversed(found):
        follows = kept[-1] if kept else None
        if isinstance(block, Heading) and (
            follows is None
            or isinstance(follows, Meta)
            or (isinstance(follows, Heading) and follows.level <= block.level)
        ):
            continue
        kept.append(block)
    return kept[::-1]


def findings_of(blocks: Iterable[Block]) -> list[dict[str, str]]:
    """Every finding in the report, for the record of the run: its sentence and its verdict."""
    boxes = [block for block in blocks if isinstance(block, Findings)]
    return [{c.SENTENCE: item.sentence, c.VERDICT: item.verdict} for box in boxes for item in box.items]


def _text_blocks(source: str, place: str) -> list[Block]:
    blocks: list[Block] = []
    try:
        for kind, part in prose.read_markdown(source):
            if kind == "heading":
                level, runs = part
                if level not in prose.LEVELS:
                    words = f'"{prose.plain(runs)}" is a heading of level {level}'
                    raise ValueError(
                        f"{words}; the title comes from blocks.meta, sections begin with ## and go down to ####"
                    )
                blocks.append(Heading(level=level, runs=runs))
            elif kind == "paragraph":
                blocks.append(Text(paragraphs=(part,)))
            else:
                ordered, items = part
                blocks.append(Listing(ordered=ordered, items=items))
    except ValueError as error:
        raise ReportError(f"{place}: a report cannot print {error}.") from None
    return blocks


def _code_blocks(cell: Any, place: str, private: bool) -> list[Block]:
    if cell.source.strip() and cell.execution_count is None:
        raise ReportError(f"{place}: the cell has not been run; a report is made from an executed notebook.")
    blocks: list[Block] = []
    for output in cell.outputs:
        if output.output_type == "error":
            raise ReportError(f"{place}: the cell failed with {output.ename}: {output.evalue}")
        if output.output_type == "stream" and output.name == "stderr":
            raise ReportError(f"{place}: the cell warned: {_short(output.text)}")
        if private:
            continue
        data = output.get("data", {})
        if MIME not in data:
            raise ReportError(
                f"{place}: {_stray(output)}; show results with trialkit.report.blocks, or tag the cell {NOTEBOOK_ONLY}."
            )
        pictures = {"svg": data.get("image/svg+xml", ""), "png": data.get("image/png", "")}
        wanted = pictures if data[MIME].get("kind") == "figure" else {}
        try:
            blocks.append(
                _BLOCK.validate_python(
                    {**data[MIME], **{name: "".join(value) for name, value in wanted.items()}}
                )
            )
        except ValidationError as error:
            reason = "; ".join(
                f"{'.'.join(map(str, item['loc']))}: {item['msg']}" for item in error.errors()[:3]
            )
            raise ReportError(
                f"{place}: the block is not one that this version knows ({reason}). Run the notebook again."
            ) from None
    return blocks


def _stray(output: Any) -> str:
    if output.output_type == "stream":
        return f"the cell printed: {_short(output.text)}"
    data = output.get("data", {})
    if any(kind.startswith("image/") for kind in data):
        return "the cell shows a bare picture"
    return f"the cell shows a bare result: {_short(data.get('text/plain', ''))}"


def _short(text: str) -> str:
    words = " ".join("".join(text).split())
    return words if len(words) <= 120 else f"{words[:119]}…"
