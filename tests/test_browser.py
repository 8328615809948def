"""The page in a real browser, on a desk, on a phone and on paper.

Needs playwright for Python and a Chromium of the system (``chromium``); axe-core is used where the environment variable
AXE_CORE names its ``axe.min.js``. Without them these tests are skipped, and pytest says why.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from test_document import report

from trialkit.report import document

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PDFTOTEXT = shutil.which("pdftotext")
AXE_CORE = os.environ.get("AXE_CORE", "")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
DESK, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright for Python is not installed")
    with playwright.sync_playwright() as running:
        opened = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(document.html(report(interim=True)), encoding="utf-8")
    return path.as_uri()


@pytest.fixture(params=[DESK, PHONE], ids=["desk", "phone"])
def opened(browser, address, request):
    page = browser.new_page(viewport=request.param, bypass_csp=True)
    page.asked = []
    page.on("request", lambda asked: page.asked.append(asked.url))
    page.goto(address)
    yield page
    page.close()


def test_loads_nothing_but_itself(opened, address):
    assert [url for url in opened.asked if not url.startswith("data:")] == [address]


def test_the_page_never_scrolls_sideways(opened):
    width = opened.evaluate("document.documentElement.scrollWidth")
    assert width <= opened.viewport_size["width"]


def test_pictures_are_drawn(opened):
    assert opened.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")


def test_the_first_key_press_reaches_the_skip_link(opened):
    opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.className") == "skip"
    assert opened.locator(".skip").bounding_box()["x"] >= 0
    opened.keyboard.press("Enter")
    assert opened.evaluate("document.activeElement.id") == "content"


def test_on_a_wide_screen_the_contents_stand_beside_the_report(opened):
    contents, main = (opened.locator(name).bounding_box() for name in ("nav", "main"))
    beside = contents["x"] + contents["width"] <= main["x"]
    assert beside == (opened.viewport_size == DESK)


@pytest.mark.skipif(not AXE_CORE, reason="AXE_CORE does not name an axe.min.js")
def test_axe_finds_nothing(opened):
    opened.add_script_tag(content=Path(AXE_CORE).read_text(encoding="utf-8"))
    found = opened.evaluate(f"axe.run(document, {{runOnly: {TAGS}}})")
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in found["violations"]] == []
    assert len(found["passes"]) > 30


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine")
def test_every_printed_page_says_interim_and_its_number(browser, address, tmp_path):
    page = browser.new_page()
    page.goto(address)
    page.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True)
    page.close()
    text = subprocess.run(
        [PDFTOTEXT, "-layout", tmp_path / "report.pdf", "-"], capture_output=True, text=True, check=True
    )
    pages = text.stdout.removesuffix("\f").split("\f")
    assert len(pages) > 1
    for number, words in enumerate(pages, start=1):
        assert "Interim, not for decision" in words.strip().splitlines()[0]
        assert f"{number} of {len(pages)}" in words
