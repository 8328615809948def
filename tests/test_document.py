"""The page: structure, accessibility and that nothing is loaded or run."""

import itertools
import re

import document_samples
import pytest
from document_samples import AWKWARD_TEXTS, awkward_report, meta
from page_samples import Page
from report_samples import rates, ratios

from trialkit.errors import ReportError
from trialkit.report import blocks, captions, document, layout


def report(**changes):
    """Without the link, so that no address at all may stand in the page."""
    return [block for block in document_samples.report(**changes) if "linked" not in block.plain()]


@pytest.fixture(scope="module")
def html():
    return document.html(report())


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


# ---------------------------------------------------------------- structure
def test_language_title_and_viewport(html, page):
    assert html.startswith("<!DOCTYPE html>")
    assert page.all("html") == [{"lang": "en-US"}]
    assert page.text("title") == "Cutting edges"
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in page.all("meta")


def test_one_first_level_heading_and_no_level_skipped(page):
    levels = [int(tag[1]) for tag, *_ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_landmarks_and_skip_link(page):
    for landmark in ("header", "nav", "main", "footer"):
        assert len(page.all(landmark)) == 1
    assert page.all("main")[0]["id"] == "content"
    first_link = page.all("a")[0]
    assert first_link == {"class": "skip", "href": "#content"}


def test_contents_lead_to_sections(page):
    links = [attrs["href"] for attrs in page.all("a")[1:]]
    assert links == ["#wear", "#data"]
    ids = [attrs["id"] for _, attrs, _ in page.tags if "id" in attrs]
    assert {"wear", "data", "by-position", "table-1", "table-2", "figure-1", "figure-2"} <= set(ids)
    assert len(ids) == len(set(ids))


def test_findings_come_first_in_the_report(page):
    inside = [(tag, attrs) for tag, attrs, path in page.tags if "main" in path]
    assert inside[0] == ("section", {"class": "findings", "aria-labelledby": "key-findings"})
    assert "Better Carbide lasts longer." in page.text("section")


def test_pictures_have_their_description(html, page):
    words = [captions.wear_rates(rates())["alt"], captions.wear_ratios(ratios())["alt"]]
    assert [attrs["alt"] for attrs in page.all("img")] == words
    # the text that nbconvert puts in where a description is missing: nbconvert 7.17, exporters/html.py
    assert "No description has been provided" not in html


def test_pictures_have_a_caption_and_their_numbers(page):
    assert len(page.all("figure")) == len(page.all("figcaption")) == len(page.all("details")) == 2
    assert "Figure 1. Mean wear rate of each edge type" in page.text("figcaption")
    assert page.text("summary") == "Numbers in Figure 1Numbers in Figure 2"


def test_header_cells_have_a_scope_and_tables_a_caption(page):
    cells = page.all("th")
    assert {attrs.get("scope") for attrs in cells} == {"col", "row"}
    assert len(page.all("table")) == len(page.all("caption")) == 4
    assert "Table 1. Trucks of each type" in page.text("caption")


def test_tables_lie_in_a_region_that_the_keyboard_reaches(page):
    regions = [attrs for attrs in page.all("div") if attrs.get("role") == "region"]
    assert len(regions) == len(page.all("table"))
    assert all(attrs["tabindex"] == "0" and attrs["aria-label"] for attrs in regions)


def test_numbers_stand_at_the_end(page):
    assert {"class": "number", "scope": "col"} in page.all("th")
    assert {"class": "number"} in page.all("td")


# ---------------------------------------------------------------- nothing loaded, nothing run
def test_nothing_is_loaded_and_nothing_runs(html, page):
    tags = {tag for tag, *_ in page.tags}
    assert not tags & {
        "script",
        "link",
        "iframe",
        "object",
        "embed",
        "base",
        "form",
        "video",
        "audio",
        "source",
    }
    for tag, attrs, _ in page.tags:
        assert not [
            name for name in attrs if name.startswith("on") or name in ("srcset", "action", "ping")
        ], tag
        assert attrs.get("src", "data:image/svg+xml;base64,").startswith("data:image/svg+xml;base64,")
    assert "@import" not in html
    assert "url(" not in html
    assert "http" not in html.replace("http-equiv", "")


def test_the_page_forbids_itself_to_load_anything(page):
    policy = next(attrs for attrs in page.all("meta") if attrs.get("http-equiv"))
    assert policy["http-equiv"] == "Content-Security-Policy"
    assert "default-src 'none'" in policy["content"]


def test_same_blocks_give_the_same_page(html):
    assert document.html(report()) == html


@pytest.mark.parametrize("name", AWKWARD_TEXTS)
def test_text_from_data_never_becomes_markup(name):
    page = Page(document.html(awkward_report(name)))
    tags = [tag for tag, *_ in page.tags]
    assert not {"script", "em", "code", "b", "i"} & set(tags)
    assert tags.count("strong") == 1  # the verdict
    assert page.text("h1") == " ".join(name.split())
    assert page.text("title").startswith(" ".join(name.split()))
    assert page.text().count(" ".join(name.split())) >= 14
    ids = [attrs["id"] for _, attrs, _ in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert page.all("img")[0]["alt"] == name
    targets = {attrs["href"][1:] for attrs in page.all("a")}
    assert targets <= set(ids)


# ---------------------------------------------------------------- interim
def test_interim_is_said_in_the_title_the_head_the_foot_and_on_every_printed_page():
    html = document.html(report(interim=True))
    page = Page(html)
    assert page.text("title").endswith("(interim, not for decision)")
    assert "Interim, not for decision." in page.text("header")
    assert "Interim, not for decision." in page.text("footer")
    mark = next(attrs for attrs in page.all("div") if attrs.get("class") == "page-mark")
    assert mark["aria-hidden"] == "true"
    assert "table-header-group" in html


def test_a_final_report_does_not_say_interim(page):
    assert "nterim" not in page.text()


# ---------------------------------------------------------------- text cells
def test_styles_lists_and_links_are_drawn():
    nodes = [
        blocks.Listing(ordered=True, items=blocks.text("one", "two").paragraphs),
        blocks.Listing(items=blocks.text("three").paragraphs),
        *blocks._text_blocks("a **b** *c* `d` [e](https://example.org/?a=1&b=2)", "x"),
    ]
    page = Page(document.html([meta(), *nodes]))
    assert (len(page.all("ol")), len(page.all("ul"))) == (1, 1)
    assert (page.text("strong"), page.text("em"), page.text("code")) == ("b", "c", "d")
    assert page.all("a")[-1] == {"href": "https://example.org/?a=1&b=2"}
    assert page.all("nav") == []


# ---------------------------------------------------------------- appendix
def test_several_notebooks_become_sections_of_an_appendix():
    first, second = (
        report(title="Check"),
        report(title="Wear again", interim=True, subtitle="For the analyst"),
    )
    page = Page(document.html(first + second))
    assert page.text("h1") == layout.APPENDIX_TITLE
    assert [attrs["href"] for attrs in page.all("a")[1:]] == ["#check", "#for-the-analyst"]
    assert "Wear again" not in page.text()
    assert "Interim, not for decision." in page.text("header")
    levels = [int(tag[1]) for tag, *_ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels == [1, 2, 2, 3, 3, 4, 3, 2, 3, 3, 4, 3]
    assert {"figure-a4", "table-a4"} <= {attrs.get("id") for _, attrs, _ in page.tags}


# ---------------------------------------------------------------- refusals
def test_a_report_without_its_head_is_refused():
    for start in ([], [blocks.text("a"), meta()]):
        with pytest.raises(ReportError, match=r"A report begins with blocks\.meta"):
            document.html(start)


@pytest.mark.parametrize("levels", [(3,), (2, 4)])
def test_a_skipped_level_is_refused(levels):
    headings = [blocks.heading(f"Part {level}", level) for level in levels]
    with pytest.raises(ReportError, match=f'"Part {levels[-1]}" skips a level'):
        document.html([meta(), *headings])


def test_a_picture_without_svg_uses_its_png():
    picture = blocks.Figure(caption="c", alt="a", png="iVBOR\nw0K")
    page = Page(document.html([meta(), picture]))
    assert page.all("img")[0]["src"] == "data:image/png;base64,iVBORw0K"


def test_anchors_of_words_without_letters_and_of_repeated_words():
    names = layout.Names()
    assert [names.anchor(words) for words in ("除雪", "除雪", "Wear", "Wear", "Table 1", "2030-31", "Café & Co")] == [
        "section", "section-2", "wear", "wear-2", "s-table-1", "s-2030-31", "cafe-co",
    ]  # fmt: skip
    assert names.anchor("wear 2") == "wear-2-2"
    assert len({names.anchor("n" * 200) for _ in range(3)}) == 3
    assert names.anchor("content") == "content-2"
