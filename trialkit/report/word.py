"""A list of blocks as one Word document, plain or in the agency's own template.

Answers: how does the report become part of a council packet that the agency edits in Word?

Everything is in named styles, so that the agency can change a look in one place: headings, captions with numbers that Word
counts, lists, header rows that repeat, pictures with their descriptions. The order, words and numbers are those of the web
page. The same blocks give the same bytes.
"""

from __future__ import annotations

import base64
import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.report import blocks, layout, prose, saving
from trialkit.report.column_widths import column_widths

if TYPE_CHECKING:
    from docx.document import Document
    from docx.text.paragraph import Paragraph

MOST_ROWS_TOGETHER = 9
"""Rows of a table that are kept on one page; a longer table runs on, with its header repeated."""
FIRST_FIGURE = 0.72
"""Share of the line that the first figure is wide, so that it may find room beside the findings."""
_PAPERS_PT = {layout.LETTER: (612.0, 792.0), layout.A4: (595.3, 841.9)}
_MARGIN_PT = 72.0
_PADDING_PT = 7.0
_MADE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
"""Written as the time of making, so that the same report gives the same bytes."""


def docx(report: Sequence[blocks.Block], template: Path | None = None, paper: str = layout.LETTER) -> bytes:
    """The report as a Word document.

    Parameters
    ----------
    report : sequence of Block
        As for `document.html`.
    template : Path, optional
        An agency's own document with placeholders, see `word_template`; else a plain document.
    paper : str
        ``"letter"`` or ``"a4"``; a template has its own.

    Raises
    ------
    ReportError
        If there is no `Meta` at the start, or a heading skips a level.
    UsageError
        If the template cannot be used.
    """
    import docx as python_docx

    from trialkit.report import word_styles, word_template

    laid_out = layout.lay_out(report)
    if template is None:
        document = python_docx.Document()
        _plain_page(document, paper)
    else:
        document = word_template.read_template(template)
    word_styles.prepare_styles(document, own=template is None)
    writer = _Writer(document)
    if template is None:
        writer.head(laid_out.meta)
    else:
        marked = word_template.holds(document, "STATUS")
        writer.place = word_template.fill(document, word_template.values(laid_out.meta))
        if laid_out.meta.interim and not marked:
            _mark_pages(document)
    for part in laid_out.parts:
        writer.draw(part)
    writer.finish()
    _properties(document, laid_out.meta)
    buffer = io.BytesIO()
    document.save(buffer)
    return saving.same_bytes(buffer.getvalue())


class _Writer:
    """Draws blocks one after the other, before a place in a template or at the end of the document."""

    def __init__(self, document: Document):
        from trialkit.report import word_parts

        self.document = document
        self.place: Any = None
        self.parts = word_parts
        self.lists = word_parts.Lists(document)
        self.styles = {style.name: style for style in document.styles}
        self._after_table = False
        self._has_figure = False
        section = document.sections[0]
        width, left, right = (
            length.pt if length is not None else usual
            for length, usual in (
                (section.page_width, _PAPERS_PT[layout.LETTER][0]),
                (section.left_margin, _MARGIN_PT),
                (section.right_margin, _MARGIN_PT),
            )
        )
        self.line_pt = width - left - right

    def finish(self) -> None:
        """Take the placeholder's own paragraph away."""
        if self.place is not None:
            self.place.getparent().remove(self.place)

    def paragraph(self, style: str, text: str = "") -> Paragraph:
        """A paragraph in a named style; after a table it keeps some distance."""
        from docx.shared import Pt

        added = self.document.add_paragraph()
        added._p.style = self.styles[style].style_id
        if self._after_table:
            own = self.styles[style].paragraph_format.space_before
            added.paragraph_format.space_before = max(Pt(10), own or Pt(0))
        self._after_table = False
        self._move(added._p)
        if text:
            added.add_run(saving.xml_text(text))
        return added

    def styled(self, style: str, runs: prose.Runs) -> Paragraph:
        """A paragraph with stretches of bold, italic, code and links."""
        added = self.paragraph(style)
        for run in runs:
            text = saving.xml_text(run.text)
            made = self.parts.add_link(added, run.href, text) if run.href else added.add_run(text)
            made.bold, made.italic = run.bold or None, run.italic or None
            if run.code:
                made.font.name = "Consolas"
        return added

    def head(self, meta: blocks.Meta) -> None:
        """Title and facts, where no template has a place for them."""
        from trialkit.report import word_styles

        agency = self.paragraph("Normal", meta.agency)
        agency.runs[0].bold = True
        self.paragraph("Title", meta.title)
        if meta.subtitle:
            self.paragraph("Subtitle", meta.subtitle)
        facts = [("Winter", meta.season), *([("Data up to", meta.date)] if meta.date else []), *meta.facts]
        self.paragraph("Normal", "    ".join(_unbroken(f"{name}: {value}") for name, value in facts))
        if meta.interim:
            words = "The season is not over; later readings may change what is said here."
            self.paragraph(word_styles.STATUS, f"{blocks.INTERIM.capitalize()}. {words}")
            _mark_pages(self.document)
        _number_pages(self.document, layout.foot(meta))

    def draw(self, part: layout.Part) -> None:
        """One block."""
        from trialkit.report import word_styles

        block = part.block
        if isinstance(block, blocks.Heading):
            added = self.styled(f"Heading {min(block.level + part.shift - 1, 4)}", block.runs)
            added.paragraph_format.page_break_before = block.new_page or None
        elif isinstance(block, blocks.Text):
            for runs in block.paragraphs:
                self.styled("Normal", runs)
        elif isinstance(block, blocks.Listing):
            number = self.lists.numbers() if block.ordered else self.lists.bullets()
            style = word_styles.NUMBERS if block.ordered else word_styles.BULLETS
            for item in block.items:
                self.lists.apply(self.styled(style, item), number)
        elif isinstance(block, blocks.Findings):
            self._findings(block, part.shift)
        elif isinstance(block, blocks.Table):
            self._table(block, part.label)
        elif isinstance(block, blocks.Figure):
            self._figure(block, part.label)
        elif isinstance(block, blocks.Problems):
            self.paragraph("Normal", block.sentence)
            if block.data is not None:
                self._table(block.data, part.label)
        elif isinstance(block, blocks.Notes):
            self.paragraph(word_styles.NOTES_TITLE, block.title)
            for words in block.items:
                self.lists.apply(self.paragraph(word_styles.BULLETS, words), self.lists.bullets())
        else:
            raise NotImplementedError(block)

    def _findings(self, block: blocks.Findings, shift: int) -> None:
        from docx.shared import Pt

        from trialkit.report import word_styles

        title = self.paragraph(word_styles.BOX_TITLE, block.title)
        if shift:
            title._p.get_or_add_pPr().append(self.parts.element("w:outlineLvl", val=shift))
        last: Any = None
        for item in block.items:
            last = self.paragraph(word_styles.FINDING)
            last.paragraph_format.space_before = Pt(5)
            if item.verdict:
                last.add_run(f"{item.verdict_words}: ").bold = True
            last.add_run(saving.xml_text(item.sentence))
            last.paragraph_format.keep_together = True
            if item.detail:
                last.paragraph_format.keep_with_next = True
                last = self.paragraph(word_styles.FINDING_DETAIL, item.detail)
        if last is not None:
            last.paragraph_format.space_after = Pt(12)

    def _caption(self, label: str, words: str) -> Paragraph:
        """Words with a number that Word counts, so that a reference to it stays right when a table is added."""
        from trialkit.report import word_styles

        caption = self.paragraph(word_styles.CAPTION)
        kind, _, number = label.rstrip(".").partition(" ")
        if kind:
            caption.add_run(f"{kind} ").bold = True
            self.parts.add_field(caption, f"SEQ {kind} \\* ARABIC", number).bold = True
            caption.add_run(". ").bold = True
        caption.add_run(saving.xml_text(words))
        return caption

    def _table(self, block: blocks.Table, label: str) -> None:
        from docx.enum.text import WD_ALIGN_PARAGRAPH
        from docx.shared import Pt

        from trialkit.report import word_styles

        self._caption(label, block.caption).paragraph_format.keep_with_next = True
        shown, texts = block.shown_columns, block.shown_texts or (("No rows.",),)
        widths = column_widths(block, self.line_pt - _PADDING_PT, _PADDING_PT)
        table = self.document.add_table(rows=0, cols=len(shown))
        self._move(table._tbl)
        heads = tuple(column.title for column in shown)
        together = len(texts) <= MOST_ROWS_TOGETHER
        for number, words in enumerate((heads, *texts)):
            row = table.add_row()
            self.parts.keep_row_whole(row)
            if number == 0:
                self.parts.mark_header_row(row)
            for place, tc in enumerate(row._tr.tc_lst):
                cell = tc.p_lst[0]
                paragraph = _as_paragraph(cell, self.document)
                cell.style = self.styles[word_styles.TABLE_TEXT].style_id
                run = paragraph.add_run(saving.xml_text(words[place] if place < len(words) else ""))
                run.font.size = Pt(widths.size_pt)
                run.bold = True if number == 0 else None
                if shown[place].align == "end":
                    paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
                paragraph.paragraph_format.keep_with_next = number == 0 or (together and number < len(texts))
        padded = [width + _PADDING_PT for width in widths.columns_pt]
        title = saving.xml_text(f"{label} {block.caption}".strip())
        self.parts.rule_table(table, title=title, widths_pt=padded, padding_pt=_PADDING_PT)
        for note in block.notes:
            self.paragraph(word_styles.TABLE_NOTE, note)
        self._after_table = True

    def _figure(self, block: blocks.Figure, label: str) -> None:
        from docx.shared import Pt

        holder = self.paragraph("Normal")
        holder.paragraph_format.keep_with_next = True
        holder.paragraph_format.line_spacing = 1.0
        holder.paragraph_format.space_after = Pt(2)
        picture = base64.b64decode(block.png)
        share = 1.0 if self._has_figure else FIRST_FIGURE
        self._has_figure = True
        width = Pt(share * min(self.line_pt, 468.0))
        shape = holder.add_run().add_picture(io.BytesIO(picture), width=width)
        properties = shape._inline.docPr
        properties.set("descr", saving.xml_text(block.alt))
        properties.set("name", label.rstrip(".") or "Figure")
        self._caption(label, block.caption)

    def _move(self, drawn: Any) -> None:
        if self.place is not None:
            self.place.addprevious(drawn)


def _unbroken(words: str) -> str:
    """The words with spaces at which no line ends."""
    return words.replace(" ", "\u00a0")


def _as_paragraph(element: Any, document: Document) -> Paragraph:
    from docx.text.paragraph import Paragraph

    return Paragraph(element, document._body)


def _plain_page(document: Document, paper: str) -> None:
    from docx.shared import Pt

    section = document.sections[0]
    width, height = _PAPERS_PT[paper]
    section.page_width, section.page_height = Pt(width), Pt(height)
    section.left_margin = section.right_margin = Pt(_MARGIN_PT)
    section.top_margin = section.bottom_margin = Pt(_MARGIN_PT)


def _number_pages(document: Document, words: str) -> None:
    from docx.enum.text import WD_TAB_ALIGNMENT
    from docx.shared import Pt

    from trialkit.report import word_parts

    section = document.sections[0]
    paragraph = section.footer.paragraphs[0]
    stops = paragraph.paragraph_format.tab_stops
    stops.add_tab_stop(Pt(section.page_width.pt - 2 * _MARGIN_PT), WD_TAB_ALIGNMENT.RIGHT)  # type: ignore[union-attr]
    paragraph.add_run(f"{saving.xml_text(words)}\tPage ")
    word_parts.add_field(paragraph, "PAGE", "1")
    paragraph.add_run(" of ")
    word_parts.add_field(paragraph, "NUMPAGES", "1")
    for run in paragraph.runs:
        run.font.size = Pt(8.5)


def _mark_pages(document: Document) -> None:
    """Say on top of every page that the report is not for decision."""
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.shared import RGBColor

    from trialkit.report import word_styles

    for number, section in enumerate(document.sections):
        headers = [section.header]
        headers += [section.first_page_header] if section.different_first_page_header_footer else []
        headers += [section.even_page_header] if document.settings.odd_and_even_pages_header_footer else []
        for header in headers:
            if header.is_linked_to_previous and number > 0:
                continue
            first = header.paragraphs[0] if header.paragraphs else header.add_paragraph()
            mark = first.insert_paragraph_before() if first.text else first
            mark.alignment = WD_ALIGN_PARAGRAPH.CENTER
            run = mark.add_run(blocks.INTERIM.capitalize())
            run.bold, run.font.color.rgb = True, RGBColor.from_string(word_styles.WARNING)


def _properties(document: Document, meta: blocks.Meta) -> None:
    from trialkit.report import word_styles

    core = document.core_properties
    core.title, core.author = (
        saving.xml_text(layout.full_title(meta))[:255],
        saving.xml_text(meta.agency)[:255],
    )
    core.language, core.last_modified_by = word_styles.LANGUAGE, saving.xml_text(meta.agency)[:255]
    core.subject, core.comments, core.keywords = "", "", ""
    core.created = core.modified = _MADE.replace(tzinfo=None)
    core.revision = 1
