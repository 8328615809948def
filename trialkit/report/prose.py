"""Markdown cells of a report notebook, read strictly.

Answers: what may a text cell hold so that it reads the same on the page, in print and in Word?

Headings of level 2 to 4, paragraphs, flat lists, bold, italic, code and links to the web. Everything else (images,
tables, nested lists, raw HTML, code blocks, quotations) is refused with the reason, because it would be lost or look
different in one of the documents. Text that comes from data never passes through here, so it can never become markup.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict

LEVELS = (2, 3, 4)
_LINK = re.compile(r"^(https?://|mailto:)\S+$")
_REFUSED = {
    "block_html": "raw HTML",
    "inline_html": "raw HTML",
    "image": "an image; draw it with blocks.figure",
    "table": "a table; show it with blocks.table",
    "block_code": "a code block",
    "block_quote": "a quotation",
    "thematic_break": "a horizontal rule",
    "strikethrough": "struck-out text",
    "footnote_ref": "a footnote",
    "footnotes": "a footnote",
    "task_list_item": "a task list",
    "linebreak": "a forced line break",
}


class Run(BaseModel):
    """A stretch of text in one style."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    text: str
    bold: bool = False
    italic: bool = False
    code: bool = False
    href: str = ""


Runs = tuple[Run, ...]


def literal(text: str) -> Runs:
    """Text exactly as it is: nothing in it is markup."""
    return (Run(text=text),) if text else ()


def plain(runs: Runs) -> str:
    """The words alone."""
    return "".join(run.text for run in runs)


def read_markdown(source: str) -> Iterator[tuple[str, Any]]:
    """The parts of a text cell in order.

    Parameters
    ----------
    source : str
        The cell.

    Yields
    ------
    tuple
        ``("heading", (level, runs))``, ``("paragraph", runs)`` or ``("list", (ordered, items))``, each item being runs.

    Raises
    ------
    ValueError
        At the first thing that is not allowed, naming it.
    """
    import mistune

    parse = mistune.create_markdown(
        renderer=None, plugins=["table", "strikethrough", "footnotes", "task_lists"]
    )
    tokens = parse(source)
    for token in tokens if isinstance(tokens, list) else []:
        kind = token["type"]
        if kind == "blank_line":
            continue
        if kind == "heading":
            yield kind, (token["attrs"]["level"], _runs(token["children"]))
        elif kind == "paragraph":
            yield kind, _runs(token["children"])
        elif kind == "list":
            yield kind, (bool(token["attrs"]["ordered"]), tuple(_item(item) for item in token["children"]))
        else:
            raise ValueError(_refusal(token))


def _item(token: Mapping[str, Any]) -> Runs:
    if token["type"] != "list_item":
        raise ValueError(_refusal(token))
    inside = [child for child in token["children"] if child["type"] != "blank_line"]
    if [child["type"] for child in inside] not in (["block_text"], ["paragraph"]):
        raise ValueError("a list inside a list, or a list item of several paragraphs; keep lists flat")
    return _runs(inside[0]["children"])


def _runs(tokens: Sequence[Mapping[str, Any]]) -> Runs:
    runs: list[Run] = []
    for run in _styled(tokens, {}):
        if runs and runs[-1].model_copy(update={"text": run.text}) == run:
            runs[-1] = run.model_copy(update={"text": runs[-1].text + run.text})
        else:
            runs.append(run)
    return tuple(runs)


def _styled(tokens: Sequence[Mapping[str, Any]], style: dict[str, Any]) -> Iterator[Run]:
    for token in tokens:
        kind = token["type"]
        if kind == "text":
            yield Run(text=html.unescape(token["raw"]), **style)
        elif kind == "softbreak":
            yield Run(text=" ", **style)
        elif kind == "codespan":
            yield Run(text=token["raw"], **style | {"code": True})
        elif kind == "strong":
            yield from _styled(token["children"], style | {"bold": True})
        elif kind == "emphasis":
            yield from _styled(token["children"], style | {"italic": True})
        elif kind == "link":
            yield from _styled(token["children"], style | {"href": _address(token["attrs"]["url"])})
        else:
            raise ValueError(_refusal(token))


def _address(url: str) -> str:
    if not _LINK.match(url):
        raise ValueError(f'a link to "{url}"; a link in a report starts with https://, http:// or mailto:')
    return url


def _refusal(token: Mapping[str, Any]) -> str:
    what = _REFUSED.get(token["type"], token["type"].replace("_", " "))
    said = " ".join(str(token.get("raw", "")).split())[:60]
    return f"{what}: {said}" if said else what
