"""Pieces of a Word file that python-docx does not write by itself.

Answers: how do a field, a link, a list, a table's header row or a picture's description get into a Word file?

The order of the children of an element matters to Word; each function here keeps to that of ISO/IEC 29500.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from typing import Any

from docx.document import Document
from docx.opc.constants import RELATIONSHIP_TYPE
from docx.opc.packuri import PackURI
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.parts.numbering import NumberingPart
from docx.table import Table, _Row
from docx.text.paragraph import Paragraph
from docx.text.run import Run

_AFTER_BORDERS = ("w:shd", "w:tblLayout", "w:tblCellMar", "w:tblLook", "w:tblCaption", "w:tblDescription")
_INK, _HAIR = "1D2328", "D9DDE1"


def element(name: str, **attributes: object) -> Any:
    """An element such as ``w:tcW`` with attributes of the same namespace prefix."""
    made = OxmlElement(name)
    for key, value in attributes.items():
        made.set(qn(f"w:{key}"), str(value))
    return made


def add_field(paragraph: Paragraph, instruction: str, shown: str) -> Run:
    """A field that Word works out anew, such as a page number, with what it shows until then; returns the shown run."""
    run = paragraph.add_run()
    for kind, text in (("begin", ""), ("", instruction), ("separate", "")):
        if kind:
            run._r.append(element("w:fldChar", fldCharType=kind))
        else:
            code = element("w:instrText")
            code.set(qn("xml:space"), "preserve")
            code.text = f" {text} "
            run._r.append(code)
    result = paragraph.add_run(shown)
    paragraph.add_run()._r.append(element("w:fldChar", fldCharType="end"))
    return result


def add_link(paragraph: Paragraph, address: str, text: str) -> Run:
    """A run that leads to a web address."""
    relation = paragraph.part.relate_to(address, RELATIONSHIP_TYPE.HYPERLINK, is_external=True)
    link = element("w:hyperlink")
    link.set(qn("r:id"), relation)
    run = paragraph.add_run(text)
    run.font.underline = True
    link.append(run._r)
    paragraph._p.append(link)
    return run


def frame_paragraph(properties: Any, *, color: str, fill: str = "", width: int = 24, space: int = 10) -> None:
    """Give paragraph properties (of a style or a paragraph) a bar at the left and a ground."""
    borders = element("w:pBdr")
    borders.append(element("w:left", val="single", sz=width, space=space, color=color))
    properties.insert_element_before(borders, "w:shd", *_AFTER_SHADE)
    if fill:
        properties.insert_element_before(
            element("w:shd", val="clear", color="auto", fill=fill), *_AFTER_SHADE
        )


_AFTER_SHADE = (
    "w:tabs", "w:suppressAutoHyphens", "w:kinsoku", "w:wordWrap", "w:overflowPunct", "w:topLinePunct", "w:autoSpaceDE",
    "w:autoSpaceDN", "w:bidi", "w:adjustRightInd", "w:snapToGrid", "w:spacing", "w:ind", "w:contextualSpacing",
    "w:mirrorIndents", "w:suppressOverlap", "w:jc", "w:textDirection", "w:textAlignment", "w:textboxTightWrap",
    "w:outlineLvl", "w:divId", "w:cnfStyle", "w:rPr", "w:sectPr", "w:pPrChange",
)  # fmt: skip


# ---------------------------------------------------------------- tables
def rule_table(table: Table, *, title: str, widths_pt: Sequence[float], padding_pt: float) -> None:
    """Rules above, below and between the rows, fixed column widths, and a title for readers who do not see it."""
    properties = table._tbl.tblPr
    borders = element("w:tblBorders")
    for side, size, color in (("top", 8, _INK), ("bottom", 6, _INK), ("insideH", 4, _HAIR)):
        borders.append(element(f"w:{side}", val="single", sz=size, space=0, color=color))
    margins = element("w:tblCellMar")
    for side, width in (("top", 40), ("left", 0), ("bottom", 40), ("right", round(padding_pt * 20))):
        margins.append(element(f"w:{side}", w=width, type="dxa"))
    table.autofit = False  # fixed layout
    for found in properties.findall(qn("w:tblCellMar")):
        properties.remove(found)
    _insert(properties, borders, _AFTER_BORDERS)
    _insert(properties, margins, _AFTER_BORDERS[3:])
    _insert(properties, element("w:tblCaption", val=title), _AFTER_BORDERS[5:])
    width = properties.find(qn("w:tblW"))
    if width is None:
        width = element("w:tblW")
        _insert(properties, width, ("w:jc", "w:tblCellSpacing", "w:tblInd", "w:tblBorders"))
    width.set(qn("w:type"), "dxa")
    width.set(qn("w:w"), str(round(sum(widths_pt) * 20)))
    for column, room in zip(table._tbl.tblGrid.gridCol_lst, widths_pt, strict=True):
        column.set(qn("w:w"), str(round(room * 20)))
    for row in table.rows:
        for cell, room in zip(row._tr.tc_lst, widths_pt, strict=True):
            cell.width = round(room * 12700)


def mark_header_row(row: _Row) -> None:
    """The row is the header: repeated on every page and read aloud with each cell."""
    row._tr.get_or_add_trPr().append(element("w:tblHeader"))
    for cell in row._tr.tc_lst:
        borders = element("w:tcBorders")
        borders.append(element("w:bottom", val="single", sz=6, space=0, color=_INK))
        _insert(
            cell.get_or_add_tcPr(),
            borders,
            ("w:shd", "w:noWrap", "w:tcMar", "w:textDirection", "w:tcFitText", "w:vAlign", "w:hideMark"),
        )


def keep_row_whole(row: _Row) -> None:
    """The row is not torn apart at the end of a page."""
    row._tr.get_or_add_trPr().insert(0, element("w:cantSplit"))


def _insert(parent: Any, child: Any, followers: Sequence[str]) -> None:
    """Put a child before the first of the elements that have to follow it."""
    for follower in followers:
        found = parent.find(qn(follower))
        if found is not None:
            found.addprevious(child)
            return
    parent.append(child)


# ---------------------------------------------------------------- lists
class Lists:
    """Bulleted and numbered lists of one document, with definitions of their own; each numbered list begins at 1."""

    def __init__(self, document: Document):
        self._numbering = _numbering(document)
        self._bullets = self._add_definition("bullet", "•")
        self._numbers = self._add_definition("decimal", "%1.")
        self._bullet_list = self._add_list(self._bullets)

    def bullets(self) -> int:
        """The number of the bulleted list."""
        return self._bullet_list

    def numbers(self) -> int:
        """The number of a new numbered list."""
        return self._add_list(self._numbers, start=True)

    def apply(self, paragraph: Paragraph, number: int) -> None:
        """Make a paragraph an item of a list."""
        properties = paragraph._p.get_or_add_pPr().get_or_add_numPr()
        properties.get_or_add_ilvl().val = 0
        properties.get_or_add_numId().val = number

    def _add_definition(self, kind: str, text: str) -> int:
        number = 1 + max(
            (int(found.get(qn("w:abstractNumId"))) for found in self._numbering.findall(qn("w:abstractNum"))),
            default=0,
        )
        definition = element("w:abstractNum", abstractNumId=number)
        definition.append(element("w:multiLevelType", val="singleLevel"))
        level = element("w:lvl", ilvl=0)
        for name, value in (("start", 1), ("numFmt", kind), ("lvlText", text), ("lvlJc", "left")):
            level.append(element(f"w:{name}", val=value))
        properties = element("w:pPr")
        properties.append(element("w:ind", left=360, hanging=260))
        level.append(properties)
        definition.append(level)
        first = self._numbering.find(qn("w:num"))
        if first is None:
            self._numbering.append(definition)
        else:
            first.addprevious(definition)
        return number

    def _add_list(self, definition: int, start: bool = False) -> int:
        number = 1 + max(
            (int(found.get(qn("w:numId"))) for found in self._numbering.findall(qn("w:num"))), default=0
        )
        made = element("w:num", numId=number)
        made.append(element("w:abstractNumId", val=definition))
        if start:
            override = element("w:lvlOverride", ilvl=0)
            override.append(element("w:startOverride", val=1))
            made.append(override)
        self._numbering.append(made)
        return number


def _numbering(document: Document) -> Any:
    """Root of the numbering definitions; a template without lists has none yet."""
    part = document.part
    try:
        return part.part_related_by(RELATIONSHIP_TYPE.NUMBERING).element  # type: ignore[attr-defined]
    except KeyError:
        import docx

        ours = docx.Document().part.numbering_part
        root = copy.deepcopy(ours.element)
        for child in list(root):
            root.remove(child)
        made = NumberingPart(PackURI("/word/numbering.xml"), ours.content_type, root, part.package)
        part.relate_to(made, RELATIONSHIP_TYPE.NUMBERING)
        return root
