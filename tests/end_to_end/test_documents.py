"""All documents of whole reports: on the demo, with the needed tables only, on odd trials, and with odd names."""

import io
import itertools
import re
import shutil
import subprocess
from functools import cached_property
from pathlib import Path

import docx
import nbformat
import openpyxl
import pypdf
import pytest
from conftest import write_trial
from docx.oxml.ns import qn
from in_process import notebooks_in_process
from page_samples import Page
from shared_runs import DEMO, MAKERS, ODD_NAME, OWN_SECTION, shared_report, two_notebooks
from test_pdf import elements, squeezed
from test_word import all_text

from trialkit import __main__ as command_line
from trialkit.errors import ReportError, UsageError
from trialkit.report import reporting
from trialkit.typesetting import glyphs

ARTEFACTS = Path(__file__).parents[2] / "artefacts"
NO_NUMBER = re.compile(r"(?<![A-Za-z])(NaN|nan|NaT|None(?! (that|of) )|inf)(?![A-Za-z])")


class Documents:
    """The documents of one run, opened."""

    def __init__(self, council):
        self.folder = council.parent
        self.page = Page(council.read_text(encoding="utf-8"))
        self.html = council.read_text(encoding="utf-8")
        self.pdf = pypdf.PdfReader(io.BytesIO((self.folder / reporting.COUNCIL_PDF).read_bytes()))
        self.word_bytes = (self.folder / reporting.COUNCIL_WORD).read_bytes()
        self.word = docx.Document(io.BytesIO(self.word_bytes))
        self.appendix = Page((self.folder / reporting.APPENDIX).read_text(encoding="utf-8"))
        self.book = openpyxl.load_workbook(self.folder / reporting.WORKBOOK)

    @cached_property
    def pages(self):
        return [page.extract_text() for page in self.pdf.pages]

    @property
    def printed(self):
        return "\n".join(self.pages)

    @cached_property
    def elements(self):
        return elements(self.pdf)

    @cached_property
    def word_text(self):
        return "\n".join(all_text(self.word_bytes))

    @cached_property
    def book_text(self):
        return "\n".join(
            str(cell.value) for page in self.book for row in page.iter_rows() for cell in row if cell.value
        )


@pytest.fixture(scope="module", params=MAKERS)
def made(request, tmp_path_factory):
    return request.param, Documents(shared_report(request.param, tmp_path_factory))


# ---------------------------------------------------------------- structure, whatever the trial
def test_pages_have_one_title_landmarks_header_cells_and_real_descriptions(made):
    _, documents = made
    for page in (documents.page, documents.appendix):
        assert page.all("html") == [{"lang": "en-US"}]
        levels = [int(tag[1]) for tag, *_ in page.tags if re.fullmatch(r"h[1-6]", tag)]
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
        assert all(len(page.all(landmark)) == 1 for landmark in ("header", "main", "footer"))
        assert {attrs.get("scope") for attrs in page.all("th")} == {"col", "row"}
        assert all(len(attrs["alt"]) > 20 for attrs in page.all("img"))
        assert not page.all("script")
    # the text that nbconvert puts in where a description is missing: nbconvert 7.17, exporters/html.py
    assert "No description has been provided" not in documents.html


def test_the_pdf_is_tagged_and_described(made):
    _, documents = made
    root = documents.pdf.trailer["/Root"]
    assert root["/Lang"] == "en-US"
    assert root["/MarkInfo"]["/Marked"]
    assert documents.pdf.metadata.title == documents.page.text("title")
    kinds = [kind for kind, _ in documents.elements]
    assert kinds.count("/H1") == 1
    assert kinds.count("/Table") == len(documents.page.all("table")) - len(documents.page.all("details"))
    described = {str(node["/Alt"]) for kind, node in documents.elements if kind == "/Figure"}
    assert described == {attrs["alt"] for attrs in documents.page.all("img")}
    bookmarks = [item.title for item in documents.pdf.outline if not isinstance(item, list)]
    assert [squeezed(words) for words in bookmarks] == [
        squeezed(glyphs.drawable(words)) for words in second_headings(documents.page)
    ]


def second_headings(page):
    """Words of the headings of the second level within the report, boxes of findings included."""
    parts = [(path, data) for path, data in page.texts if "main" in path and data.strip()]
    return [
        "".join(data for _, data in group)
        for second, group in itertools.groupby(parts, lambda part: "h2" in part[0])
        if second
    ]


def contents_of(page):
    return ["".join(said) for said in itertools.chain(link_texts(page))]


def link_texts(page):
    """Words of the links of the list of contents, in order."""
    inside = [data.strip() for path, data in page.texts if "nav" in path and "a" in path]
    return [words for words in inside if words]


def test_the_word_document_has_its_structure(made):
    _, documents = made
    captions = [p.text for p in documents.word.paragraphs if p.style.name == "Caption"]
    assert len(captions) == len(documents.word.tables) + len(documents.word.inline_shapes)
    assert all(re.match(r"(Table|Figure) \d+\. .", words) for words in captions)
    for table in documents.word.tables:
        assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None
    alts = [picture.get("descr") for picture in documents.word.element.body.iter(qn("wp:docPr"))]
    assert alts == [attrs["alt"] for attrs in documents.page.all("img")]
    headings = [p.text for p in documents.word.paragraphs if p.style.name == "Heading 1"]
    assert headings == contents_of(documents.page)


def test_the_workbook_has_every_table_of_the_appendix(made):
    _, documents = made
    labels = re.findall(  # "A" before the number where the appendix has several notebooks
        r"(?:Table|Figure) A?\d+(?=\.)",
        documents.appendix.text("caption") + documents.appendix.text("figcaption"),
    )
    with_numbers = {name for name in documents.book.sheetnames if re.match(r"(Table|Figure) ", name)}
    assert with_numbers <= set(labels)
    assert {name for name in labels if name.startswith("Table")} <= with_numbers
    assert {"Contents", "Problems", "Decisions", "Columns", "Run"} <= set(documents.book.sheetnames)
    assert "f" not in {cell.data_type for page in documents.book for row in page.iter_rows() for cell in row}


def test_all_forms_say_the_same_findings(made):
    _, documents = made
    findings = [p.text for p in documents.word.paragraphs if p.style.name == "Key Finding"]
    page, printed = squeezed(documents.page.text()), squeezed(documents.printed)
    assert findings
    for words in findings:
        verdict, _, sentence = words.partition(": ")
        said = sentence if verdict in ("Better", "Worse", "Not shown", "Not enough data") else words
        assert squeezed(said) in page
        assert squeezed(glyphs.drawable(said)) in printed


def test_nothing_reads_like_a_missing_number(made):
    _, documents = made
    for text in (documents.page.text(), documents.printed, documents.word_text, documents.book_text):
        assert not NO_NUMBER.search(text)


def test_only_an_interim_report_says_so_and_on_every_page(made):
    name, documents = made
    marked = [page.startswith("Interim, not for decision") for page in documents.pages]
    header = documents.word.sections[0].header.paragraphs[0].text
    if name == "interim":
        assert all(marked)
        assert header == "Interim, not for decision"
        assert "Interim, not for decision." in documents.page.text("header")
    else:
        assert not any(marked)
        assert header == ""


def test_the_paper_is_that_of_the_units(made):
    name, documents = made
    width = round(float(documents.pdf.pages[0].mediabox.width))
    assert width == (595 if name == "metric" else 612)
    assert f"size: {'a4' if name == 'metric' else 'letter'};" in documents.html


def test_odd_names_come_out_as_typed_in_all_forms(tmp_path_factory):
    documents = Documents(shared_report("odd names", tmp_path_factory))
    assert documents.page.text("h1") == ODD_NAME
    assert documents.pdf.metadata.title.startswith(ODD_NAME)
    assert squeezed(documents.printed).count(squeezed(ODD_NAME)) > 5
    assert documents.word_text.count(ODD_NAME) > 5
    assert documents.book_text.count(ODD_NAME) > 5
    assert documents.appendix.text().count(ODD_NAME) > 2
    assert not {"b", "script"} & {tag for tag, *_ in documents.page.tags}


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no pdftoppm on this machine")
def test_a_picture_of_the_printed_pages_is_kept(made):
    """For a look at what changed; the folder is not under version control."""
    name, documents = made
    ARTEFACTS.mkdir(exist_ok=True)
    kept = ARTEFACTS / f"{name.replace(' ', '_')}_printed"
    command = ["pdftoppm", "-png", "-r", "60", "-l", "3", documents.folder / reporting.COUNCIL_PDF, kept]
    subprocess.run(command, check=True)
    assert all(path.stat().st_size > 3000 for path in ARTEFACTS.glob(f"{kept.name}*"))
    assert list(ARTEFACTS.glob(f"{kept.name}*"))


# ---------------------------------------------------------------- an analyst's own section, and the agency's template
def test_a_section_of_ones_own_appears_in_every_form(tmp_path_factory):
    documents = Documents(shared_report("required tables only", tmp_path_factory))
    assert OWN_SECTION in contents_of(documents.page)
    assert "Counted by hand. Snow days by month" not in documents.page.text()  # the caption has its number
    for text in (documents.page.text(), " ".join(documents.printed.split()), documents.word_text):
        assert OWN_SECTION in text
        assert "Counted by hand." in text
        assert re.search(r"Table \d+\. Snow days by month", text)
        assert "January" in text


def test_the_command_takes_notebooks_and_a_template(tmp_path, capsys):
    document = docx.Document()
    for words in ("{{AGENCY}} council packet", "{{TITLE}}", "{{DATE}}", "{{REPORT}}"):
        document.add_paragraph(words)
    document.save(tmp_path / "packet.docx")
    arguments = [
        "report",
        str(write_trial(tmp_path / "trial")),
        "--out",
        str(tmp_path / "reports"),
        "--quiet",
    ]
    arguments += ["--notebooks", str(two_notebooks(tmp_path / "notebooks"))]
    with notebooks_in_process():
        assert command_line.main(arguments) == command_line.CLEAN
        plain = capsys.readouterr().out.splitlines()[-1]
        assert (
            command_line.main([*arguments, "--template", str(tmp_path / "packet.docx")]) == command_line.CLEAN
        )
        filled = capsys.readouterr().out.splitlines()[-1]
    assert plain != filled
    word = docx.Document(filled.replace("council_report.html", "council_report.docx"))
    assert word.paragraphs[0].text == "Town of Brenmoor council packet"
    assert "Heading 1" in {paragraph.style.name for paragraph in word.paragraphs}


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("--template", "the template cannot be read: No such file or directory"),
        ("--notebooks", "there is no folder"),
    ],
)
def test_what_is_not_there_is_told_before_anything_is_run(tmp_path, capsys, option, words):
    arguments = ["report", str(DEMO), "--out", str(tmp_path / "reports"), option, str(tmp_path / "gone")]
    assert command_line.main(arguments) == command_line.WRONG_USE
    assert words in capsys.readouterr().err
    assert not (tmp_path / "reports").exists()


def test_a_template_without_a_place_for_the_report_stops_before_anything_is_run(tmp_path):
    document = docx.Document()
    document.add_paragraph("{{TITLE}} {{AGENCY}} {{DATE}}")
    document.save(tmp_path / "packet.docx")
    with pytest.raises(UsageError, match=r"\{\{REPORT\}\} is missing"):
        reporting.write_report(
            DEMO, reports=tmp_path / "reports", template=tmp_path / "packet.docx", quiet=True
        )
    assert not (tmp_path / "reports").exists()


# ---------------------------------------------------------------- nothing stray reaches a council
@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("import warnings\nwarnings.warn('odd')", "10_council_report.ipynb, cell 4: the cell warned: .*odd"),
        ("print('debugging')", "10_council_report.ipynb, cell 4: the cell printed: debugging"),
        (
            "import pandas as pd\npd.DataFrame({'a': [1]})",
            "10_council_report.ipynb, cell 4: the cell shows a bare result",
        ),
        ("1 / 0", "10_council_report.ipynb stopped at cell 4.*ZeroDivisionError: division by zero"),
    ],
)
def test_a_stray_output_in_a_report_cell_stops_the_report(tmp_path, source, words):
    path = two_notebooks(tmp_path / "notebooks") / reporting.COUNCIL_NOTEBOOK
    (path.parent / "02_wear.ipynb").unlink()
    notebook = nbformat.read(path, as_version=4)
    notebook.cells = [*notebook.cells[:2], nbformat.v4.new_code_cell(source, id="own")]
    nbformat.write(notebook, path)
    with notebooks_in_process(), pytest.raises(ReportError, match=f"(?s){words}"):
        reporting.write_report(
            write_trial(tmp_path / "trial"),
            reports=tmp_path / "reports",
            notebook_folder=path.parent,
            quiet=True,
        )
    left = [path.name for path in (tmp_path / "reports" / "small").iterdir()]
    assert left == ["last_failure"]
