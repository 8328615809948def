"""The report in Word: real styles, captions that Word counts, header rows, descriptions, and text that stays text."""

import io
import zipfile

import docx
import pandas as pd
import pytest
from document_samples import AWKWARD_TEXTS, awkward_report, long_table, meta, report
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml.ns import qn
from lxml import etree
from report_samples import rates

from trialkit.errors import ReportError
from trialkit.report import blocks, captions, layout, saving, word

# ISO/IEC 29500-1 (2016), A.1, CT_TblPrBase and CT_PPrBase: the order of the children that a report uses (from memory)
TABLE_ORDER = [
    "tblStyle",
    "tblW",
    "jc",
    "tblInd",
    "tblBorders",
    "tblLayout",
    "tblCellMar",
    "tblLook",
    "tblCaption",
]
PARAGRAPH_ORDER = [
    "pStyle",
    "keepNext",
    "keepLines",
    "numPr",
    "pBdr",
    "shd",
    "tabs",
    "spacing",
    "ind",
    "jc",
    "outlineLvl",
    "rPr",
]


def opened(content):
    return docx.Document(io.BytesIO(content))


def styles_of(document):
    return [(paragraph.style.name, paragraph.text) for paragraph in document.paragraphs]


def parts_of(content):
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def all_text(content):
    """The words of every part, paragraph by paragraph."""
    said = []
    for name, part in parts_of(content).items():
        if name.startswith("word/") and name.endswith(".xml"):
            for paragraph in etree.fromstring(part).iter(qn("w:p")):
                said.append("".join(text.text or "" for text in paragraph.iter(qn("w:t"), qn("w:tab"))))
    return said


@pytest.fixture(scope="module")
def written():
    return opened(word.docx(report()))


# ---------------------------------------------------------------- structure
def test_headings_have_the_real_styles(written):
    headings = [
        (name, text)
        for name, text in styles_of(written)
        if name.startswith(("Heading", "Title", "Key Finding H"))
    ]
    assert headings == [
        ("Title", "Cutting edges"),
        ("Key Finding Heading", "Key findings"),
        ("Heading 1", "Wear"),
        ("Heading 2", "By position"),
        ("Heading 1", "Data"),
    ]
    assert written.styles["Key Finding Heading"].base_style.name == "Heading 1"


def test_a_box_of_findings_within_a_section_lies_below_it_in_the_outline():
    box = blocks.findings(["Found."], title="In words")
    document = opened(word.docx([meta(), box, blocks.heading("Wear"), box]))
    levels = [p._p.pPr.find(qn("w:outlineLvl")) for p in document.paragraphs if p.text == "In words"]
    assert [level if level is None else level.get(qn("w:val")) for level in levels] == [None, "1"]


def test_findings_are_framed_paragraphs_and_no_table(written):
    findings = [text for name, text in styles_of(written) if name in ("Key Finding", "Key Finding Detail")]
    assert findings == ["Better: Carbide lasts longer.", "Not shown: Noise is alike.", "One dB apart."]
    properties = written.styles["Key Finding"].element.pPr
    assert properties.find(qn("w:pBdr")).find(qn("w:left")) is not None
    assert properties.find(qn("w:shd")).get(qn("w:fill")) == "EEF4F6"
    assert len(written.tables) == 2


def test_captions_are_counted_by_word(written):
    texts = [text for name, text in styles_of(written) if name == "Caption"]
    assert texts[0] == "Table 1. Trucks of each type"
    assert texts[1].startswith("Figure 1. Mean wear rate")
    assert [text.partition(".")[0] for text in texts] == ["Table 1", "Figure 1", "Figure 2", "Table 2"]
    fields = [field.text.strip() for field in written.element.body.iter(qn("w:instrText"))]
    assert fields == [
        "SEQ Table \\* ARABIC",
        "SEQ Figure \\* ARABIC",
        "SEQ Figure \\* ARABIC",
        "SEQ Table \\* ARABIC",
    ]


def test_a_table_keeps_its_caption_its_header_and_its_rows_whole(written):
    for table in written.tables:
        before = table._tbl.getprevious()
        assert before.pPr.find(qn("w:keepNext")) is not None
        assert table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val")).startswith("Table ")
        for number, row in enumerate(table.rows):
            assert row._tr.trPr.find(qn("w:cantSplit")) is not None
            assert (row._tr.trPr.find(qn("w:tblHeader")) is not None) == (number == 0)


def test_a_long_table_may_run_on_and_a_short_one_not():
    def tied(rows):
        (table,) = opened(word.docx([meta(), long_table(rows)])).tables
        return [row.cells[0].paragraphs[0].paragraph_format.keep_with_next for row in table.rows]

    assert tied(9) == [True] * 9 + [False]
    assert tied(10) == [True] + [False] * 10


def test_numbers_stand_at_the_right(written):
    table = written.tables[0]
    assert [row.cells[1].paragraphs[0].alignment for row in table.rows] == [WD_ALIGN_PARAGRAPH.RIGHT] * 2
    assert [row.cells[0].paragraphs[0].alignment for row in table.rows] == [None] * 2


def test_columns_fill_the_line_and_cells_agree_with_the_grid(written):
    for table in written.tables:
        grid = [int(column.get(qn("w:w"))) for column in table._tbl.tblGrid.gridCol_lst]
        assert sum(grid) == pytest.approx(468 * 20, abs=5)
        for row in table.rows:
            assert [round(cell.width.twips) for cell in row.cells] == pytest.approx(grid, abs=1)


def test_pictures_have_their_description_and_print_resolution(written):
    pictures = list(written.element.body.iter(qn("wp:docPr")))
    assert [picture.get("name") for picture in pictures] == ["Figure 1", "Figure 2"]
    assert pictures[0].get("descr") == captions.wear_rates(rates())["alt"]
    for shape, share in zip(written.inline_shapes, (word.FIRST_FIGURE, 1.0), strict=True):
        relation = shape._inline.graphic.graphicData.pic.blipFill.blip.embed
        pixels = written.part.related_parts[relation].image.px_width
        assert share * pixels / shape.width.inches == pytest.approx(200, rel=0.01)


def test_lists_are_lists_and_each_numbered_one_begins_anew():
    items = blocks.text("a", "b").paragraphs
    ordered = blocks.Listing(ordered=True, items=items)
    document = opened(word.docx([meta(), ordered, blocks.Listing(items=items), ordered]))
    found = [
        (paragraph.style.name, paragraph._p.pPr.numPr.numId.val)
        for paragraph in document.paragraphs
        if paragraph._p.pPr is not None and paragraph._p.pPr.numPr is not None
    ]
    names, numbers = [name for name, _ in found], [number for _, number in found]
    assert names == ["List Number"] * 2 + ["List Bullet"] * 2 + ["List Number"] * 2
    assert numbers[0] == numbers[1] != numbers[4] == numbers[5]
    known = {
        int(found.get(qn("w:numId"))) for found in document.part.numbering_part.element.findall(qn("w:num"))
    }
    assert set(numbers) <= known


def test_styles_of_text_and_links_are_kept(written):
    (paragraph,) = [found for found in written.paragraphs if found.text.startswith("a bold")]
    assert paragraph.text == "a bold slanted coded linked"
    runs = {run.text: run for run in paragraph.runs}
    assert runs["bold"].bold
    assert runs["slanted"].italic
    assert runs["coded"].font.name == "Consolas"
    assert paragraph.hyperlinks[0].address == "https://example.org/?a=1&b=2"


def test_language_title_and_author_are_said(written):
    core = written.core_properties
    assert (core.title, core.author, core.language) == ("Cutting edges", "Town of Brenmoor", "en-US")
    (language,) = written.styles.element.find(qn("w:docDefaults")).iter(qn("w:lang"))
    assert language.get(qn("w:val")) == "en-US"


def test_there_is_no_empty_paragraph(written):
    for paragraph in written.paragraphs:
        assert paragraph.text or paragraph._p.findall(".//" + qn("w:drawing"))


def test_children_stand_in_the_order_of_the_standard(written):
    def in_order(element, order):
        names = [etree.QName(child).localname for child in element]
        assert set(names) <= set(order), names
        assert names == sorted(names, key=order.index)

    for table in written.tables:
        in_order(table._tbl.tblPr, TABLE_ORDER)
    for paragraph in written.element.body.iter(qn("w:pPr")):
        in_order(paragraph, PARAGRAPH_ORDER)


@pytest.mark.parametrize(("paper", "size"), [(layout.LETTER, (612, 792)), (layout.A4, (595.3, 841.9))])
def test_paper_and_page_numbers(paper, size):
    section = opened(word.docx(report(), paper=paper)).sections[0]
    assert (section.page_width.pt, section.page_height.pt) == pytest.approx(size, abs=0.1)
    fields = [field.text.strip() for field in section.footer._element.iter(qn("w:instrText"))]
    assert fields == ["PAGE", "NUMPAGES"]
    assert section.footer.paragraphs[0].text == "Town of Brenmoor: Cutting edges\tPage 1 of 1"


def test_an_interim_report_says_so_in_the_head_and_on_every_page():
    document = opened(word.docx(report(interim=True)))
    assert document.sections[0].header.paragraphs[0].text == "Interim, not for decision"
    assert "Interim, not for decision. The season is not over" in "\n".join(
        text for _, text in styles_of(document)
    )
    assert document.core_properties.title.endswith("(interim, not for decision)")


def test_a_final_report_does_not_say_interim():
    assert not [text for text in all_text(word.docx(report())) if "nterim" in text]


# ---------------------------------------------------------------- edges
def test_the_same_blocks_give_the_same_bytes():
    assert word.docx(report()) == word.docx(report())


def test_a_table_without_rows_says_so():
    document = opened(word.docx([meta(), blocks.table(pd.DataFrame({"edge_type": [], "n": []}), "Nothing")]))
    assert [cell.text for cell in document.tables[0].rows[1].cells] == ["No rows.", ""]


@pytest.mark.parametrize("name", AWKWARD_TEXTS)
def test_text_from_data_comes_out_as_typed(name):
    content = word.docx(awkward_report(name))
    said = all_text(content)
    # tabs within a text are elements of their own in Word
    assert sum(name.replace("\t", "") in text for text in said) >= 14
    (picture,) = opened(content).element.body.iter(qn("wp:docPr"))
    assert picture.get("descr") == name


def test_what_no_file_can_hold_becomes_a_box():
    # XML 1.0 (2008), section 2.2, Char: no control characters but tab and line ends, no surrogates
    assert saving.xml_text("a\x00b\x0bc\ud800d\ufffee\tf\n") == "a□b□c□d□e\tf\n"


def test_a_report_without_its_head_is_refused():
    with pytest.raises(ReportError, match=r"A report begins with blocks\.meta"):
        word.docx([blocks.text("a")])


def test_a_fact_for_staff_does_not_break_and_the_first_figure_is_narrower():
    head = meta().model_copy(update={"facts": (("Meeting date", "[for staff to fill in]"),)})
    opened = docx.Document(io.BytesIO(word.docx([head, *report()[1:]])))
    facts = next(paragraph.text for paragraph in opened.paragraphs if "Meeting" in paragraph.text)
    assert "Meeting\u00a0date:\u00a0[for\u00a0staff\u00a0to\u00a0fill\u00a0in]" in facts
    holders = [paragraph for paragraph in opened.paragraphs if paragraph._p.xpath(".//w:drawing")]
    assert [one.paragraph_format.line_spacing for one in holders] == [1.0, 1.0]
    first, second = (shape.width.pt for shape in opened.inline_shapes)
    assert first == pytest.approx(word.FIRST_FIGURE * second, rel=1e-3)
