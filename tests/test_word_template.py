"""An agency's own template: filled in wherever a placeholder stands, refused with every reason at once."""

import io
import zipfile

import docx
import pytest
from document_samples import meta, report
from docx.oxml import parse_xml
from docx.oxml.ns import nsdecls, qn
from test_word import all_text, opened

from trialkit.errors import UsageError
from trialkit.report import blocks, word, word_template


def template(tmp_path, *lines, header="", table="", name="ours.docx", change=lambda document: None):
    """A small agency document with a look of its own."""
    document = docx.Document()
    document.styles["Heading 1"].font.name = "Georgia"
    for line in lines:
        document.add_paragraph(line)
    if table:
        document.add_table(rows=1, cols=1).rows[0].cells[0].text = table
    if header:
        document.sections[0].header.paragraphs[0].text = header
    change(document)
    path = tmp_path / name
    document.save(path)
    return path


GOOD = ("Memo from {{AGENCY}}", "{{TITLE}}, {{ date }}", "Contents below.", "{{REPORT}}", "End of memo.")


def test_placeholders_are_filled_and_the_report_takes_its_place(tmp_path):
    document = opened(
        word.docx(report(), template(tmp_path, *GOOD, header="{{STATUS}} {{Season}}", table="{{SUBTITLE}}"))
    )
    texts = [paragraph.text for paragraph in document.paragraphs]
    assert texts[:3] == ["Memo from Town of Brenmoor", "Cutting edges, April 2, 2031", "Contents below."]
    assert texts[3] == "Key findings"
    assert texts[-1] == "End of memo."
    assert document.sections[0].header.paragraphs[0].text == " 2030-31"
    assert "{{" not in "".join(all_text(word.docx(report(), tmp_path / "ours.docx")))
    assert document.styles["Heading 1"].font.name == "Georgia"


def test_a_placeholder_that_word_split_into_runs_is_filled(tmp_path):
    def split(document):
        paragraph = document.add_paragraph("Re: ")
        for piece in ("{{TI", "TLE", "}} and {{AGENCY", "}}."):
            paragraph.add_run(piece).bold = piece == "{{TI"

    document = opened(word.docx(report(), template(tmp_path, "{{DATE}}", "{{REPORT}}", change=split)))
    last = document.paragraphs[-1]
    assert last.text == "Re: Cutting edges and Town of Brenmoor."
    assert [run.text for run in last.runs if run.bold] == ["Cutting edges"]


def test_text_boxes_and_tables_are_filled(tmp_path):
    def box(document):
        holder = document.add_paragraph("Beside: ")
        holder._p.append(
            parse_xml(
                f"<w:r {nsdecls('w')}><w:pict><w:txbxContent><w:p><w:r><w:t>{{{{TITLE}}}}</w:t></w:r></w:p>"
                "</w:txbxContent></w:pict></w:r>"
            )
        )

    path = template(tmp_path, "{{DATE}}", "{{REPORT}}", table="{{AGENCY}}", change=box)
    said = all_text(word.docx(report(), path))
    assert "Cutting edges" in said
    assert "Town of Brenmoor" in said


def test_values_are_text_even_where_they_look_like_placeholders(tmp_path):
    path = template(tmp_path, *GOOD)
    texts = [
        p.text
        for p in opened(word.docx(report(title="{{AGENCY}} <w:t>", agency="{{REPORT}}"), path)).paragraphs
    ]
    assert texts[:2] == ["Memo from {{REPORT}}", "{{AGENCY}} <w:t>, April 2, 2031"]


def test_an_interim_report_is_marked_on_every_page_whatever_the_template_holds(tmp_path):
    plain = opened(word.docx(report(interim=True), template(tmp_path, *GOOD, header="Town letterhead")))
    assert [p.text for p in plain.sections[0].header.paragraphs] == [
        "Interim, not for decision",
        "Town letterhead",
    ]
    own = opened(word.docx(report(interim=True), template(tmp_path, *GOOD, header="Draft: {{STATUS}}")))
    assert [p.text for p in own.sections[0].header.paragraphs] == ["Draft: Interim, not for decision"]


def test_every_kind_of_page_with_a_header_of_its_own_is_marked(tmp_path):
    def first_and_even(document):
        document.sections[0].different_first_page_header_footer = True
        document.settings.odd_and_even_pages_header_footer = True
        document.add_section()

    document = opened(word.docx(report(interim=True), template(tmp_path, *GOOD, change=first_and_even)))
    section = document.sections[0]
    for header in (section.header, section.first_page_header, section.even_page_header):
        assert header.paragraphs[0].text == "Interim, not for decision"


def test_a_template_without_our_styles_and_lists_gets_them(tmp_path):
    def bare(document):
        styles = document.styles.element
        for style in list(styles.findall(qn("w:style"))):
            if style.get(qn("w:default")) != "1":
                styles.remove(style)
        for relation in [
            key for key, rel in document.part.rels.items() if rel.reltype.endswith("/numbering")
        ]:
            del document.part.rels[relation]
        document.styles.element.remove(styles.find(qn("w:docDefaults")))

    whole = [*report(), blocks.Listing(ordered=True, items=blocks.text("a").paragraphs)]
    document = opened(word.docx(whole, template(tmp_path, *GOOD, change=bare)))
    names = {paragraph.style.name for paragraph in document.paragraphs}
    assert {"Heading 1", "Heading 2", "Caption", "List Bullet", "List Number", "Key Finding"} <= names
    assert document.styles["Heading 2"].element.pPr.find(qn("w:outlineLvl")).get(qn("w:val")) == "1"
    assert document.part.numbering_part.element.findall(qn("w:num"))


def test_an_agencys_own_language_stays(tmp_path):
    def british(document):
        (language,) = document.styles.element.find(qn("w:docDefaults")).iter(qn("w:lang"))
        language.set(qn("w:val"), "en-GB")

    document = opened(word.docx(report(), template(tmp_path, *GOOD, change=british)))
    (language,) = document.styles.element.find(qn("w:docDefaults")).iter(qn("w:lang"))
    assert language.get(qn("w:val")) == "en-GB"


# ---------------------------------------------------------------- refusals
@pytest.mark.parametrize(
    ("lines", "more", "said"),
    [
        (
            ("{{TITLE}}", "{{REPORT}}"),
            {},
            ["{{AGENCY}} is missing: agency that runs it.", "{{DATE}} is missing"],
        ),
        (GOOD[:3], {}, ["{{REPORT}} is missing: the report itself"]),
        ((*GOOD, "{{TITEL}}"), {}, ['{{TITEL}} is not a placeholder. Did you mean "TITLE"?']),
        ((*GOOD, "{{}}"), {}, ["{{}} is not a placeholder."]),
        ((*GOOD, "{{REPORT}}"), {}, ["{{REPORT}} occurs 2 times"]),
        ((*GOOD[:3], "Here: {{REPORT}}"), {}, ["{{REPORT}} has to stand alone"]),
        (GOOD[:3], {"table": "{{REPORT}}"}, ["{{REPORT}} has to stand alone"]),
        (GOOD[:3], {"header": "{{REPORT}}"}, ["{{REPORT}} has to stand alone"]),
    ],
)
def test_a_template_that_cannot_be_filled_is_refused_with_every_reason(tmp_path, lines, more, said):
    with pytest.raises(UsageError) as caught:
        word_template.read_template(template(tmp_path, *lines, **more))
    words = str(caught.value)
    assert words.startswith("the template ours.docx cannot be used:\n")
    for part in said:
        assert part in words
    assert words.endswith(
        "A template may hold {{TITLE}}, {{AGENCY}}, {{DATE}}, {{REPORT}}, {{SUBTITLE}}, {{SEASON}}, {{STATUS}}."
    )


def packed(**parts):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as made:
        for name, content in parts.items():
            made.writestr(name, content)
    return buffer.getvalue()


def damaged(tmp_path):
    content = template(tmp_path, *GOOD, name="good.docx").read_bytes()
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as found, zipfile.ZipFile(buffer, "w") as made:
        for name in found.namelist():
            made.writestr(name, b"<w:broken" if name == "word/document.xml" else found.read(name))
    return buffer.getvalue()


def macro_template(tmp_path):
    content = template(tmp_path, *GOOD, name="good.docx").read_bytes()
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as found, zipfile.ZipFile(buffer, "w") as made:
        for name in found.namelist():
            part = found.read(name)
            made.writestr(name, part.replace(b"document.main+xml", b"template.main+xml"))
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (lambda folder: b"not a zip file", "it is not a Word document (.docx), or it is damaged"),
        (lambda folder: b"", "it is not a Word document (.docx), or it is damaged"),
        (lambda folder: packed(a="b"), "it is not a Word document (.docx), or it is damaged"),
        (damaged, "it is damaged"),
        (macro_template, "save a .dotx or .docm as .docx"),
    ],
)
def test_a_file_that_is_no_word_document_is_told(tmp_path, content, reason):
    path = tmp_path / "letter.docx"
    path.write_bytes(content(tmp_path))
    with pytest.raises(UsageError) as caught:
        word_template.read_template(path)
    assert str(caught.value).startswith("the template letter.docx cannot be used: ")
    assert reason in str(caught.value)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(
        UsageError, match=r"the template cannot be read: No such file or directory \(.*gone.docx\)"
    ):
        word_template.read_template(tmp_path / "gone.docx")
    with pytest.raises(UsageError, match="the template cannot be read: Is a directory"):
        word_template.read_template(tmp_path)


def test_status_is_empty_in_a_final_report():
    assert word_template.values(meta())["STATUS"] == ""
    assert word_template.values(meta(interim=True))["STATUS"] == "Interim, not for decision"
    assert set(word_template.values(meta())) == set(word_template.PLACEHOLDERS) - {"REPORT"}


def test_styles_that_are_added_take_the_font_of_the_template(tmp_path):
    document = opened(word.docx(report(), template(tmp_path, *GOOD)))
    fonts = document.styles["Key Finding"].element.rPr.find(qn("w:rFonts"))
    assert fonts is None
    ours = opened(word.docx(report())).styles["Key Finding"].element.rPr.find(qn("w:rFonts"))
    assert ours.get(qn("w:ascii")) == "Calibri"
