"""A template and its data as one PDF.

Answers: how does a printed document get its fonts, its language, its title and its tags, the same on every machine?

typst sets the pages and writes them as PDF/UA-1, which it refuses where a picture has no description or the first heading
is not the highest. Data reach a template as JSON, so nothing in them is ever read as markup. Nothing is loaded from the
network or from the fonts of the machine, and the time of making is not written, so that the same data give the same bytes.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.errors import ReportError
from trialkit.typesetting import glyphs

if TYPE_CHECKING:
    import typst

TEMPLATES = Path(__file__).parent / "templates"
_MAKING_TIME = 0
"""Written into every PDF as the time of making. [s since 1970]"""


def compile_pdf(
    template: Path | str,
    data: Mapping[str, Any],
    *,
    title: str,
    language: str = "en-US",
    pdf_standards: tuple[str, ...] = ("ua-1",),
    files: Mapping[str, bytes] | None = None,
) -> bytes:
    """The PDF that a typst template makes of the data.

    Use it for every printed document. It is not for text that brings markup of its own.

    Parameters
    ----------
    template : Path or str
        A template file, or its text. It reads its data with ``#let data = json("data.json")`` and finds what our documents
        share in ``house.typ``; font, language and document title are set before it is read. It sets the paper itself.
    data : mapping
        What can be written as JSON. A character that no font of ours has is replaced by an empty box, except under the
        key ``alt``; ``#missing-characters-note`` of ``house.typ`` says so in the document.
    title : str
        Title of the document, shown by readers of PDF and read aloud.
    language : str
        Language and, after a hyphen, region.
    pdf_standards : tuple of str
        Standards that the file must meet, as typst names them.
    files : mapping, optional
        More files that the template reads, such as pictures, by name.

    Returns
    -------
    bytes
        The same arguments give the same bytes.

    Raises
    ------
    ReportError
        If the template or the data cannot be set, with typst's reason.
    """
    pdf, _ = compile_with_warnings(
        template, data, title=title, language=language, pdf_standards=pdf_standards, files=files
    )
    return pdf


def compile_with_warnings(
    template: Path | str,
    data: Mapping[str, Any],
    *,
    title: str,
    language: str = "en-US",
    pdf_standards: tuple[str, ...] = ("ua-1",),
    files: Mapping[str, bytes] | None = None,
) -> tuple[bytes, tuple[str, ...]]:
    """As `compile_pdf`, and what typst found doubtful, for the tests of templates."""
    import typst

    standards: Any = list(pdf_standards)
    source = template.read_text(encoding="utf-8") if isinstance(template, Path) else template
    name = template.name if isinstance(template, Path) else "the template"
    about = {
        "title": glyphs.drawable(title),
        "language": language.split("-")[0],
        "region": language.partition("-")[2] or None,
        "families": list(glyphs.FAMILIES),
        "missing": [f"U+{ord(letter):04X}" for letter in glyphs.missing_characters(data)],
    }
    try:
        texts = {"document.json": _json(about), "data.json": _json(glyphs.drawable(data))}
    except ValueError as error:
        raise ReportError(
            f"The PDF from {name} could not be made: its data cannot be written: {error}."
        ) from None
    with tempfile.TemporaryDirectory(prefix="trialkit-") as place:
        root = Path(place)
        for file in TEMPLATES.glob("*.typ"):
            (root / file.name).write_bytes(file.read_bytes())
        for file_name, content in {**texts, **(files or {}), "template.typ": source.encode("utf-8")}.items():
            (root / file_name).parent.mkdir(parents=True, exist_ok=True)
            (root / file_name).write_bytes(content)
        try:
            pdf, warnings = typst.compile_with_warnings(
                str(root / "main.typ"),
                root=place,
                font_paths=_fonts(),
                ignore_system_fonts=True,
                format="pdf",
                pdf_standards=standards,
                timestamp=_MAKING_TIME,
            )
        except typst.TypstError as error:
            raise ReportError(f"The PDF from {name} could not be made: {_reason(error)}") from None
    return pdf, tuple(warning.message for warning in warnings)


def _json(data: Any) -> bytes:
    return json.dumps(data, ensure_ascii=False, allow_nan=False).encode("utf-8")


def _reason(error: typst.TypstError) -> str:
    """What typst says, where it says a place, and its hint, in one sentence each."""
    where = f" ({error.trace[0].strip()})" if error.trace else ""
    hints = "".join(f" {hint.strip().capitalize()}." for hint in error.hints)
    return f"{error.message.strip()}{where}.{hints}"


@cache
def _fonts() -> typst.Fonts:
    import typst

    folders = [str(folder) for folder in glyphs.font_folders()]
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=folders)
