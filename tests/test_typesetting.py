"""PDFs from templates: same bytes, tags and language, data as text only, and characters that no font has."""

import io

import pypdf
import pytest
from report_samples import AWKWARD

from trialkit.errors import ReportError
from trialkit.typesetting import compiling, glyphs

PLAIN = '#let data = json("data.json")\n= Head\n#data.words'
HOUSE = """\
#import "house.typ": *
#let data = json("data.json")
#show: pages.with(paper: data.paper, mark: data.mark, foot: [#data.town])
= Sheet
#table(columns: (3cm, 3cm), table.header([Truck], [Height]), ..data.cells)
#missing-characters-note
"""


def typeset(template, title="A sheet", **data):
    pdf, warnings = compiling.compile_with_warnings(template, data, title=title)
    assert warnings == ()
    return pypdf.PdfReader(io.BytesIO(pdf))


def words(reader):
    """The words of all pages, and the same without line ends and gaps."""
    text = "\n".join(page.extract_text() for page in reader.pages)
    return text, "".join(text.split())


def test_the_document_has_title_language_and_tags():
    reader = typeset(PLAIN, words="x", title="Edges of winter 2030–31")
    assert reader.metadata.title == "Edges of winter 2030–31"
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en-US"
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert "<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data().decode()


def test_another_language_is_written():
    pdf = compiling.compile_pdf(PLAIN, {"words": "x"}, title="t", language="fr")
    assert pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/Lang"] == "fr"


def test_the_same_data_give_the_same_bytes():
    first, second = (compiling.compile_pdf(PLAIN, {"words": "plow 🚜"}, title="t") for _ in range(2))
    assert first == second


def test_fonts_are_ours_and_lie_in_the_file():
    reader = typeset(PLAIN, words="Edge Ω שלום 🚜")
    fonts = [font.get_object() for font in reader.pages[0]["/Resources"]["/Font"].values()]
    names = {str(font["/BaseFont"]).partition("+")[2] for font in fonts}
    assert names == {"IBMPlexSans-Regular", "IBMPlexSans-SemiBold", "DejaVuSans", "NotoEmoji-Regular"}
    for font in fonts:
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_a_house_page_has_its_mark_its_foot_and_its_number():
    cells = [str(number) for number in range(160)]
    for paper, size in (("us-letter", (612, 792)), ("a4", (595, 842))):
        reader = typeset(HOUSE, paper=paper, mark="Interim", town="Town of Brenmoor", cells=cells)
        assert len(reader.pages) > 1
        for number, page in enumerate(reader.pages, 1):
            assert tuple(round(float(side)) for side in page.mediabox[2:]) == size
            text = page.extract_text()
            assert "Interim" in text
            assert "Town of Brenmoor" in text
            assert f"{number} of {len(reader.pages)}" in text


@pytest.mark.parametrize(
    "text",
    [
        *AWKWARD,
        "#let x = 1 #x",
        "@name <label> // a /* b */",
        "= Head\n- item\n+ item",
        "\\u{1F600} \\ ~ -- ...",
        "C:\\temp",
    ],
)
def test_text_from_data_comes_out_as_typed(text):
    _, squeezed = words(typeset(PLAIN, words=text))
    assert "".join(text.split()) in squeezed


def test_a_long_name_stays_within_its_column():
    reader = typeset(HOUSE, paper="a4", mark=None, town="t", cells=["n" * 200, "second"])
    lines = [line for line in words(reader)[0].splitlines() if set(line) == {"n"}]
    # by hand: 3 cm hold at most 24 letters of 10 pt that are at least 3.5 pt wide
    assert sum(map(len, lines)) == 200
    assert max(map(len, lines)) < 24


def test_a_character_without_a_glyph_becomes_a_box_and_is_told():
    text, _ = words(typeset(HOUSE, paper="a4", mark=None, town="t", cells=["除雪", "b"]))
    assert "□□" in text
    assert "U+9664, U+96EA." in " ".join(text.split())
    text, _ = words(typeset(HOUSE, paper="a4", mark=None, town="t", cells=["a", "b"]))
    assert "lack" not in text


def test_many_missing_characters_are_counted():
    many = "".join(chr(0x4E00 + step) for step in range(25))
    text, _ = words(typeset(HOUSE, paper="a4", mark=None, town="t", cells=[many, "b"]))
    assert "U+4E13 and 5 more." in " ".join(text.split())


def test_what_is_read_aloud_keeps_every_character():
    data = {"alt": "除雪 \ud800", "rows": [{"alt": "除"}, ("除", 1, None)]}
    assert glyphs.drawable(data) == {"alt": "除雪 ?", "rows": [{"alt": "除"}, ["□", 1, None]]}
    assert glyphs.missing_characters(data) == ("除",)


def test_every_character_there_is_can_be_printed_or_is_replaced():
    some = "".join(map(chr, [*range(0x3000), *range(0x3000, 0x110000, 61), 0xFEFF, 0xFFFE, 0xE0041]))
    assert len(typeset(PLAIN, words=some).pages) > 1


def test_the_other_styles_have_the_characters_of_the_upright_one():
    from matplotlib.ft2font import FT2Font

    dejavu = set(FT2Font(str(glyphs.font_folders()[1] / "DejaVuSans.ttf")).get_charmap())
    upright = set(FT2Font(str(glyphs.FONTS / "IBMPlexSans_400Regular.ttf")).get_charmap())
    for file in glyphs.FONTS.glob("IBMPlexSans_*.ttf"):
        assert upright - set(FT2Font(str(file)).get_charmap()) <= dejavu


def test_files_given_are_found_and_a_picture_needs_a_description():
    files = {
        "p.svg": b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>'
    }
    assert compiling.compile_pdf('= A\n#image("p.svg", alt: "A square")', {}, title="t", files=files)
    with pytest.raises(ReportError, match="missing alt text"):
        compiling.compile_pdf('= A\n#image("p.svg")', {}, title="t", files=files)


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("#nothing", "unknown variable: nothing"),
        ("== Second", "the first heading must be of level 1"),
        ('= A\n#image("gone.svg", alt: "x")', "file not found"),
        ('= A\n#read("../outside.txt")', "outside.txt"),
    ],
)
def test_a_template_that_cannot_be_set_is_told_with_the_reason(template, words, tmp_path):
    file = tmp_path / "sheet.typ"
    file.write_text(template, encoding="utf-8")
    with pytest.raises(ReportError, match=f"(?s)The PDF from sheet.typ could not be made: .*{words}"):
        compiling.compile_pdf(file, {}, title="t")


def test_data_that_cannot_be_written_are_told():
    with pytest.raises(ReportError, match="its data cannot be written: Out of range float"):
        compiling.compile_pdf(PLAIN, {"words": float("nan")}, title="t")


def test_the_licenses_of_the_fonts_are_beside_them():
    for name in ("IBMPlexSans", "NotoEmoji"):
        words = (glyphs.FONTS / f"{name}_LICENSE.txt").read_text(encoding="utf-8")
        assert "SIL OPEN FONT LICENSE Version 1.1" in words
