"""The report in print: structure for readers aloud, pages, and that nothing from data is markup."""

import io

import pypdf
import pytest
from document_samples import AWKWARD_TEXTS, awkward_report, long_table, meta, report
from report_samples import rates

from trialkit.errors import ReportError
from trialkit.report import blocks, captions, layout, pdf
from trialkit.typesetting import compiling, glyphs


def reader(blocks_of_report, **given):
    return pypdf.PdfReader(io.BytesIO(pdf.pdf(blocks_of_report, **given)))


def squeezed(text):
    return "".join(text.split())


def text_of(found):
    return "\n".join(page.extract_text() for page in found.pages)


def elements(found):
    """Every element of the structure tree in reading order: its kind and itself."""

    def within(node):
        node = node.get_object()
        if not isinstance(node, pypdf.generic.DictionaryObject):
            return
        if "/S" in node:
            yield str(node["/S"]), node
        children = node.get("/K", pypdf.generic.ArrayObject()).get_object()
        for child in children if isinstance(children, pypdf.generic.ArrayObject) else [children]:
            yield from within(child)

    return list(within(found.trailer["/Root"]["/StructTreeRoot"]))


@pytest.fixture(scope="module")
def printed():
    return reader(report())


# ---------------------------------------------------------------- structure
def test_it_is_tagged_and_says_language_title_and_standard(printed):
    root = printed.trailer["/Root"]
    assert root["/Lang"] == "en-US"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert printed.metadata.title == "Cutting edges"
    assert "<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data().decode()


def test_headings_are_those_of_the_page(printed):
    levels = [kind for kind, _ in elements(printed) if kind in ("/H1", "/H2", "/H3", "/H4")]
    assert levels == ["/H1", "/H2", "/H2", "/H3", "/H2"]


def test_bookmarks_lead_to_the_sections(printed):
    def titles(outline):
        return [titles(item) if isinstance(item, list) else item.title for item in outline]

    assert titles(printed.outline) == ["Key findings", "Wear", ["By position"], "Data"]


def test_every_picture_has_its_description(printed):
    described = [
        str(node["/Alt"]) for kind, node in elements(printed) if kind == "/Figure" and "/Alt" in node
    ]
    assert captions.wear_rates(rates())["alt"] in described
    assert len(set(described)) == 2
    assert all("/Alt" in node for kind, node in elements(printed) if kind == "/Figure")


def test_tables_have_header_cells(printed):
    kinds = [kind for kind, _ in elements(printed)]
    assert kinds.count("/Table") == 2
    headers = [node for kind, node in elements(printed) if kind == "/TH"]
    assert len(headers) == 2 + 4
    for node in headers:
        facts = node["/A"]
        facts = facts if isinstance(facts, pypdf.generic.ArrayObject) else [facts]
        assert "/Column" in [fact.get_object().get("/Scope") for fact in facts]


def test_lists_are_lists_and_links_lead_out(printed):
    kinds = [kind for kind, _ in elements(printed)]
    assert kinds.count("/L") == 3
    assert "/Link" in kinds
    links = [note.get_object() for page in printed.pages for note in page.get("/Annots", [])]
    assert [note["/A"]["/URI"] for note in links if "/A" in note] == ["https://example.org/?a=1&b=2"]


def test_every_font_lies_in_the_file(printed):
    for page in printed.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_pictures_are_drawings_and_not_pixels(printed):
    kinds = set()
    for page in printed.pages:
        for part in page["/Resources"].get("/XObject", {}).values():
            kinds.add(part.get_object()["/Subtype"])
    assert "/Image" not in kinds


def test_a_picture_without_a_drawing_is_printed_from_its_pixels():
    whole = report()
    (picture,) = [block for block in whole if isinstance(block, blocks.Figure)][:1]
    found = reader([meta(), picture.model_copy(update={"svg": ""})])
    assert len(found.pages[0].images) == 1


# ---------------------------------------------------------------- words and pages
def test_words_and_numbers_are_those_of_the_page(printed):
    text = " ".join(text_of(printed).split())
    for words in (
        "Town of Brenmoor", "Data up to: April 2, 2031", "Better Carbide lasts longer.", "Not shown Noise is alike. One dB apart.",
        "Table 1. Trucks of each type", "Figure 2. How many times slower", "Table 2. What the check", "1. first 2. second",
        "a bold slanted coded linked", "Mind this.",
    ):  # fmt: skip
        assert words in text, words


def test_every_page_has_its_number_and_its_foot(printed):
    for number, page in enumerate(printed.pages, 1):
        text = page.extract_text()
        assert f"{number} of {len(printed.pages)}" in text
        assert "Town of Brenmoor: Cutting edges" in text


def test_an_interim_report_says_so_on_every_page():
    found = reader([*report(interim=True), long_table(120)])
    assert len(found.pages) > 3
    for page in found.pages:
        assert page.extract_text().startswith("Interim, not for decision")
    assert found.metadata.title == "Cutting edges (interim, not for decision)"


def test_a_final_report_does_not_say_interim(printed):
    assert "nterim" not in text_of(printed)


@pytest.mark.parametrize(("paper", "size"), [(layout.LETTER, (612, 792)), (layout.A4, (595, 842))])
def test_paper(paper, size):
    found = reader(report(), paper=paper)
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in found.pages} == {size}


def test_a_long_table_repeats_its_header_and_a_short_one_stays_whole():
    def pages_with(found, words):
        return [number for number, page in enumerate(found.pages) if words in page.extract_text()]

    long = reader([meta(), blocks.text("Before."), long_table(100)])
    assert pages_with(long, "Truck") == list(range(len(long.pages)))
    assert len(long.pages) > 1
    for filler in range(10, 60, 7):
        text = [blocks.text(*(f"Line {number}." for number in range(filler)))]
        short = reader([meta(), *text, long_table(9)])
        assert pages_with(short, "Miles of each truck") == pages_with(short, "T-8")


def test_where_tables_run_on_none_is_moved_whole_and_no_opening_sentence_stands_alone():
    def page_of(found, words):
        return next(number for number, page in enumerate(found.pages) if words in page.extract_text())

    halved = 0
    for filler in range(8, 32, 3):
        text = [blocks.text(*(f"Line {number}." for number in range(filler)))]
        opening = [
            blocks.Heading(level=2, runs=[{"text": "Who carries what"}]),
            blocks.text("Left to chance."),
        ]
        table = long_table(13)
        found = reader([meta(), *text, *opening, table], run_on=True)
        assert page_of(found, "Left to chance.") == page_of(found, "Miles of each truck"), filler
        halved += page_of(found, "T-12") > page_of(found, "Miles of each truck")
        short = reader([meta(), *text, *opening, long_table(5)], run_on=True)
        assert page_of(short, "T-4") == page_of(short, "Left to chance."), filler
    assert halved


def test_a_table_of_many_columns_gets_a_turned_page():
    import pandas as pd

    wide = blocks.table(pd.DataFrame({f"Column {number}": [number] for number in range(14)}), "Wide")
    found = reader([meta(), blocks.text("Before."), wide, blocks.text("After.")])
    turned = [float(page.mediabox.width) > float(page.mediabox.height) for page in found.pages]
    assert turned == [False, True, False]


def test_a_sign_stays_with_its_amount():
    words = [f"{'x ' * (filler // 2)}{'x' * (filler % 2)} (-$6,800 to $3,400)" for filler in range(90, 150)]
    lines = text_of(reader([meta(), blocks.text(*words)])).splitlines()
    before_the_amount = [line for line in lines if line.rstrip().endswith("x")]
    assert len(before_the_amount) > 10
    assert not [line for line in lines if line.rstrip().endswith(("-", "("))]


def test_a_table_without_rows_says_so():
    import pandas as pd

    found = reader([meta(), blocks.table(pd.DataFrame({"edge_type": []}), "Nothing")])
    assert "No rows." in text_of(found)


def test_the_first_picture_shrinks_onto_the_first_page():
    (picture,) = [block for block in report() if isinstance(block, blocks.Figure)][:1]

    def pages(lines):
        said = blocks.findings([f"Finding {number}." for number in range(lines)])
        return len(reader([meta(), said, picture]).pages)

    counts = [pages(lines) for lines in range(8, 20)]
    assert counts == sorted(counts)
    assert counts[0] == 1
    assert counts[-1] == 2


# ---------------------------------------------------------------- bytes, warnings and refusals
def test_the_same_blocks_give_the_same_bytes():
    assert pdf.pdf(report()) == pdf.pdf(report())


def test_the_template_gives_no_warning():
    laid_out = layout.lay_out([*report(interim=True), long_table(60)])
    template = pdf.TEMPLATES / "pdf" / "report.typ"
    for paper in pdf.PAPERS:
        _, warnings = compiling.compile_with_warnings(
            template, pdf.content(laid_out, paper), title="t", files=pdf._pictures(laid_out)
        )
        assert warnings == ()


@pytest.mark.parametrize("name", AWKWARD_TEXTS)
def test_text_from_data_comes_out_as_typed(name):
    found = reader(awkward_report(name))
    shown = squeezed(glyphs.drawable(name))
    assert squeezed(text_of(found)).count(shown) >= 12
    described = {str(node["/Alt"]) for kind, node in elements(found) if kind == "/Figure"}
    assert described == {name.strip() and name}


def test_a_report_without_its_head_is_refused():
    with pytest.raises(ReportError, match=r"A report begins with blocks\.meta"):
        pdf.pdf([blocks.text("a")])


# ---------------------------------------------------------------- page breaks
def page_counts(found, word):
    """How many of the numbered sentences each page holds, for the pages that hold any."""
    counts = [page.extract_text().count(word) for page in found.pages]
    return [n for n in counts if n]


def filled(lines, *box):
    return [meta(), blocks.heading("Before"), blocks.text(*["A line of text."] * lines), *box]


@pytest.mark.parametrize("lines", range(16, 33, 2))
def test_no_finding_stands_alone_at_a_page_break(lines):
    five = blocks.findings([f"Finding {number} of the box." for number in range(5)], title="Five")
    assert all(n >= 2 for n in page_counts(reader(filled(lines, five)), "of the box"))
    three = blocks.findings([f"Finding {number} of the box." for number in range(3)], title="Three")
    assert page_counts(reader(filled(lines, three)), "of the box") == [3]


@pytest.mark.parametrize("lines", range(24, 33, 2))
def test_few_notes_keep_together_and_many_run_on(lines):
    few = blocks.notes([f"Mind point {number}." for number in range(5)], title="Few")
    assert page_counts(reader(filled(lines, few)), "Mind point") == [5]
    many = blocks.notes([f"Mind point {number}." for number in range(40)], title="Many")
    assert len(page_counts(reader(filled(min(lines, 30), many)), "Mind point")) == 2


def test_a_table_of_some_rows_begins_beside_the_sentence_before_it():
    found = reader(filled(22, blocks.text("This sentence opens the table."), long_table(12)))
    opening = next(page.extract_text() for page in found.pages if "opens the table" in page.extract_text())
    assert "T-0" in opening
