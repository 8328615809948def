"""The styles of a report in Word.

Answers: which named style does each part get, and what if the agency's template does not have it?

A style that a template has is used as the agency made it. One that it lacks is added, in the look of our own documents.
"""

from __future__ import annotations

from typing import Any

from docx.document import Document
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.text import WD_LINE_SPACING
from docx.oxml.ns import qn
from docx.shared import Pt, RGBColor

from trialkit.report.word_parts import element, frame_paragraph

FONT = "Calibri"
LANGUAGE = "en-US"
INK, QUIET, ACCENT, WARNING = "1D2328", "4C5660", "12475A", "6B3B00"
TINT, WARNING_TINT = "EEF4F6", "FDF3E1"

BOX_TITLE, FINDING, FINDING_DETAIL = "Key Finding Heading", "Key Finding", "Key Finding Detail"
TABLE_TEXT, TABLE_NOTE, NOTES_TITLE, STATUS = "Table Text", "Table Note", "Notes Heading", "Report Status"
BULLETS, NUMBERS, CAPTION = "List Bullet", "List Number", "Caption"

# name: size [pt], bold, color, space before, space after [pt], keep with the next paragraph
_LOOKS: dict[str, tuple[float, bool, str, float, float, bool]] = {
    "Title": (24, True, INK, 0, 4, True),
    "Subtitle": (13, False, QUIET, 0, 6, True),
    "Heading 1": (16, True, INK, 20, 6, True),
    "Heading 2": (13, True, INK, 14, 4, True),
    "Heading 3": (11.5, True, INK, 12, 3, True),
    "Heading 4": (11, True, QUIET, 10, 3, True),
    CAPTION: (10, False, INK, 8, 4, False),
    BULLETS: (10.5, False, INK, 0, 3, False),
    NUMBERS: (10.5, False, INK, 0, 3, False),
    BOX_TITLE: (14, True, ACCENT, 8, 0, True),
    FINDING: (11.5, False, INK, 0, 0, False),
    FINDING_DETAIL: (9.5, False, QUIET, 0, 0, False),
    TABLE_TEXT: (9, False, INK, 0, 0, False),
    TABLE_NOTE: (9, False, QUIET, 3, 6, False),
    NOTES_TITLE: (10.5, True, INK, 8, 3, True),
    STATUS: (10, True, WARNING, 0, 8, False),
}
_BASES = {BOX_TITLE: "Heading 1"}
_FRAMED = {
    BOX_TITLE: (ACCENT, TINT),
    FINDING: (ACCENT, TINT),
    FINDING_DETAIL: (ACCENT, TINT),
    STATUS: ("B86E00", WARNING_TINT),
}


def prepare_styles(document: Document, own: bool) -> None:
    """Make sure that every style of a report is there.

    Parameters
    ----------
    document : Document
        The document.
    own : bool
        Whether the document is ours: then every style gets our look, otherwise only those that are missing.
    """
    if own:
        _look(document.styles["Normal"], 10.5, False, INK, 0, 6, False)
        _set_font(document.styles["Normal"])
        document.styles["Normal"].paragraph_format.line_spacing = 1.15
    for name, look in _LOOKS.items():
        there = name in document.styles
        style: Any = (
            document.styles[name] if there else document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        )
        if there and not own:
            continue
        style.hidden, style.quick_style = False, True
        style.base_style = document.styles[_BASES.get(name, "Normal")]
        _look(style, *look)
        if own:
            _set_font(style)
        if name.startswith("Heading"):
            _outline(style, int(name[-1]))
        if name in _FRAMED:
            color, fill = _FRAMED[name]
            frame_paragraph(style.element.get_or_add_pPr(), color=color, fill=fill)
            style.paragraph_format.left_indent = Pt(14)
    _say_language(document, own)


def _look(style: Any, size: float, bold: bool, color: str, before: float, after: float, keep: bool) -> None:
    style.font.size, style.font.bold, style.font.italic = Pt(size), bold, False
    style.font.color.rgb = RGBColor.from_string(color)
    spacing = style.element.get_or_add_rPr().find(qn("w:spacing"))
    if spacing is not None:
        style.element.rPr.remove(spacing)
    form = style.paragraph_format
    form.space_before, form.space_after, form.keep_with_next = Pt(before), Pt(after), keep
    form.line_spacing_rule = WD_LINE_SPACING.SINGLE
    form.line_spacing = 1.08
    borders = style.element.pPr.find(qn("w:pBdr"))
    if borders is not None:
        style.element.pPr.remove(borders)


def _set_font(style: Any) -> None:
    """Our font; a style that is added to an agency's template takes the template's."""
    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for attribute in list(fonts.attrib):
        del fonts.attrib[attribute]
    for script in ("ascii", "hAnsi", "cs", "eastAsia"):
        fonts.set(qn(f"w:{script}"), FONT)


def _outline(style: Any, level: int) -> None:
    """A heading that was added by name still has to say its level, for the list of contents and for readers aloud."""
    properties = style.element.get_or_add_pPr()
    if properties.find(qn("w:outlineLvl")) is None:
        properties.append(element("w:outlineLvl", val=level - 1))


def _say_language(document: Document, own: bool) -> None:
    """The language of everything that does not say another one; an agency's own choice stays."""
    root = document.styles.element
    defaults = root.find(qn("w:docDefaults"))
    if defaults is None:
        defaults = element("w:docDefaults")
        root.insert(0, defaults)
    runs = defaults.find(qn("w:rPrDefault"))
    if runs is None:
        runs = element("w:rPrDefault")
        defaults.insert(0, runs)
    properties = runs.find(qn("w:rPr"))
    if properties is None:
        properties = element("w:rPr")
        runs.append(properties)
    language = properties.find(qn("w:lang"))
    if language is None:
        language = element("w:lang", val=LANGUAGE)
        properties.append(language)
    if own or not language.get(qn("w:val")):
        language.set(qn("w:val"), LANGUAGE)
