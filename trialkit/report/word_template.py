"""An agency's own Word template: its placeholders, checked before anything is run and filled in afterwards.

Answers: is this template one that the report can be put into, and where does each thing go?

A placeholder is written ``{{TITLE}}`` anywhere in the text, in a table, in a text box, in a header or in a footer, in any
style; what is filled in takes on the style of its first letter. ``{{REPORT}}`` stands alone in a paragraph of the body:
the report takes its place.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from docx.document import Document
from docx.oxml.ns import qn

from trialkit.errors import UsageError, near_match, os_reason
from trialkit.report import blocks, saving

REPORT = "REPORT"
PLACEHOLDERS: dict[str, str] = {
    "TITLE": "title of the trial",
    "AGENCY": "agency that runs it",
    "DATE": "day up to which the data go",
    REPORT: "the report itself, in a paragraph of its own",
    "SUBTITLE": "what kind of document it is",
    "SEASON": "winter of the trial",
    "STATUS": '"Interim, not for decision" before the season is over, else nothing',
}
"""What a template may hold, and what is put there."""
NEEDED = ("TITLE", "AGENCY", "DATE", REPORT)

_MARK = re.compile(r"\{\{\s*([^{}]*?)\s*\}\}")
_NAMES = ", ".join(f"{{{{{name}}}}}" for name in PLACEHOLDERS)


def read_template(path: Path) -> Document:
    """The template, opened and checked.

    Parameters
    ----------
    path : Path
        A Word file (``.docx``).

    Returns
    -------
    Document
        Ready for `fill`.

    Raises
    ------
    UsageError
        If the file cannot be opened as a Word document, a needed placeholder is missing or occurs where it cannot be
        filled, or a placeholder is not known; everything wrong is said at once.
    """
    document = _opened(path)
    wrong = _wrong_with(document)
    if wrong:
        lines = "\n".join(f"  {line}" for line in wrong)
        raise UsageError(f"the template {path.name} cannot be used:\n{lines}\nA template may hold {_NAMES}.")
    return document


def values(meta: blocks.Meta) -> dict[str, str]:
    """What is put in the place of each placeholder but the report."""
    return {
        "TITLE": meta.title,
        "AGENCY": meta.agency,
        "DATE": meta.date,
        "SUBTITLE": meta.subtitle,
        "SEASON": meta.season,
        "STATUS": blocks.INTERIM.capitalize() if meta.interim else "",
    }


def fill(document: Document, given: Mapping[str, str]) -> Any:
    """Put the values in place and return the paragraph element of ``{{REPORT}}``, before which the report goes."""
    place = None
    for root in _roots(document):
        for paragraph in root.iter(qn("w:p")):
            if REPORT in _names_in(paragraph):
                place = paragraph
            else:
                _replace(paragraph, given)
    return place


def holds(document: Document, name: str) -> bool:
    """Whether a placeholder stands in a header or footer, which every page shows."""
    _, *around = _roots(document)
    return any(name in _names_in(paragraph) for root in around for paragraph in root.iter(qn("w:p")))


def _opened(path: Path) -> Document:
    import docx

    try:
        content = path.read_bytes()
    except OSError as error:
        raise UsageError(f"the template cannot be read: {os_reason(error)}.") from None
    try:
        document = docx.Document(io.BytesIO(content))
        _ = document.element.body.sectPr, document.styles, document.sections[0].header
        return document
    except ValueError:
        reason = "it is not a Word document (.docx); save a .dotx or .docm as .docx"
    except (KeyError, zipfile.BadZipFile, AttributeError, IndexError):
        reason = "it is not a Word document (.docx), or it is damaged"
    except Exception as error:  # whatever a damaged file makes the libraries say
        reason = f"it is damaged ({type(error).__name__})"
    raise UsageError(f"the template {path.name} cannot be used: {reason}.")


def _wrong_with(document: Document) -> list[str]:
    body, *around = _roots(document)
    marks = [(root, paragraph) for root in (body, *around) for paragraph in root.iter(qn("w:p"))]
    found = {name for _, paragraph in marks for name in _names_in(paragraph)}
    wrong = [f"{{{{{name}}}}} is missing: {PLACEHOLDERS[name]}." for name in NEEDED if name not in found]
    wrong += [
        f"{{{{{name}}}}} is not a placeholder. {near_match(name, PLACEHOLDERS)}".rstrip()
        for name in sorted(found - set(PLACEHOLDERS))
    ]
    reports = [(root, paragraph) for root, paragraph in marks if REPORT in _names_in(paragraph)]
    if len(reports) > 1:
        wrong.append(f"{{{{{REPORT}}}}} occurs {len(reports)} times; it can stand in one place only.")
    for root, paragraph in reports[:1]:
        alone = _MARK.fullmatch(_text(paragraph).strip()) is not None
        if not alone or root is not body or paragraph.getparent() is not body:
            wrong.append(
                f"{{{{{REPORT}}}}} has to stand alone in a paragraph of the body, not in a table, box, header or footer."
            )
    return wrong


def _roots(document: Document) -> Iterator[Any]:
    """The body, then every header and footer that the template has of its own, each once."""
    yield document.element.body
    seen: list[Any] = []
    for section in document.sections:
        for part in (
            section.header, section.first_page_header, section.even_page_header,
            section.footer, section.first_page_footer, section.even_page_footer,
        ):  # fmt: skip
            if not part.is_linked_to_previous and not any(part._element is other for other in seen):
                seen.append(part._element)
                yield part._element


def _names_in(paragraph: Any) -> list[str]:
    return [mark[1].upper() for mark in _MARK.finditer(_text(paragraph))]


def _own_texts(paragraph: Any) -> list[Any]:
    """Text elements of a paragraph, without those of a text box inside it, which has paragraphs of its own."""
    return [text for text in paragraph.iter(qn("w:t")) if _paragraph_of(text) is paragraph]


def _paragraph_of(text: Any) -> Any:
    return next(text.iterancestors(qn("w:p")))


def _text(paragraph: Any) -> str:
    return "".join(text.text or "" for text in _own_texts(paragraph))


def _replace(paragraph: Any, given: Mapping[str, str]) -> None:
    """Fill the placeholders of a paragraph; Word may have split one over several runs."""
    texts = _own_texts(paragraph)
    for mark in reversed(list(_MARK.finditer(_text(paragraph)))):
        words, start = saving.xml_text(given[mark[1].upper()]), 0
        first = True
        for text in texts:
            own = text.text or ""
            low, high = max(mark.start() - start, 0), min(mark.end() - start, len(own))
            start += len(own)
            if low < high:
                text.text = own[:low] + (words if first else "") + own[high:]
                text.set(qn("xml:space"), "preserve")
                first = False
