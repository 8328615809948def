"""Pages in a real browser, on a desk, on a phone and on paper.

Needs the extra ``browser`` (playwright for Python and axe-core, ``pip install -e ".[browser]"``) and a Chromium of the
system (``chromium``). Without them these tests are skipped, and pytest says why.
"""

import importlib.util
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from document_samples import report
from shared_runs import shared_report

from trialkit.report import document, reporting

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PDFTOTEXT = shutil.which("pdftotext")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
DESK, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
ARTEFACTS = Path(__file__).parents[1] / "artefacts"
MISSING = [
    name
    for name, there in {
        "Chromium": CHROMIUM,
        "playwright": importlib.util.find_spec("playwright"),
        "axe-playwright-python": importlib.util.find_spec("axe_playwright_python"),
    }.items()
    if not there
]
PAGES = {
    "every kind of block": ("", ""),
    "the council report": ("demo", reporting.COUNCIL_REPORT),
    "the appendix": ("demo", reporting.APPENDIX),
    "odd names": ("odd names", reporting.COUNCIL_REPORT),
    "interim": ("interim", reporting.COUNCIL_REPORT),
}

pytestmark = pytest.mark.skipif(bool(MISSING), reason=f"not on this machine: {', '.join(MISSING)}")


def axe_script():
    """axe-core as the extra brings it, or another one that the environment variable AXE_CORE names."""
    if os.environ.get("AXE_CORE"):
        return Path(os.environ["AXE_CORE"]).read_text(encoding="utf-8")
    package = importlib.util.find_spec("axe_playwright_python")
    return (Path(package.origin).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running:
        opened = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module", params=PAGES)
def page_file(request, tmp_path_factory):
    run, name = PAGES[request.param]
    if run:
        return shared_report(run, tmp_path_factory).parent / name
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(document.html(report(interim=True)), encoding="utf-8")
    return path


@pytest.fixture(scope="module", params=[DESK, PHONE], ids=["desk", "phone"])
def opened(browser, page_file, request):
    page = browser.new_page(viewport=request.param, bypass_csp=True)
    page.asked = []
    page.on("request", lambda asked: page.asked.append(asked.url))
    page.goto(page_file.as_uri())
    yield page
    page.close()


def test_loads_nothing_but_itself(opened):
    assert [url for url in opened.asked if not url.startswith("data:")] == [opened.url.partition("#")[0]]


def test_the_page_never_scrolls_sideways(opened):
    width = opened.evaluate("document.documentElement.scrollWidth")
    assert width <= opened.viewport_size["width"]


def test_pictures_are_drawn(opened):
    assert opened.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")


def test_a_picture_of_the_page_is_kept(opened, request):
    """For a look at what changed; the folder is not under version control."""
    ARTEFACTS.mkdir(exist_ok=True)
    screen, _, page = request.node.callspec.id.partition("-")
    kept = ARTEFACTS / f"{page.replace(' ', '_')}_{screen}.png"
    opened.screenshot(path=kept)
    assert kept.stat().st_size > 5000


def test_axe_finds_nothing(opened):
    opened.evaluate(axe_script())
    found = opened.evaluate(f"axe.run(document, {{runOnly: {TAGS}, resultTypes: ['violations']}})")
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in found["violations"]] == []
    assert len(found["passes"]) > 25


def test_one_title_landmarks_and_no_description_that_nobody_wrote(opened):
    assert opened.locator("h1").count() == 1
    for landmark in ("header", "main", "footer"):
        assert opened.locator(landmark).count() == 1
    assert opened.locator("th:not([scope])").count() == 0
    alts = opened.evaluate("[...document.images].map(image => image.alt)")
    assert all(len(alt) > 20 and "No description" not in alt for alt in alts)


def test_a_figure_that_is_wider_than_the_screen_says_so(opened):
    for figure in opened.locator("figure").all()[:3]:
        wider = figure.locator(".scroll").evaluate("box => box.scrollWidth > box.clientWidth")
        assert figure.locator(".sideways").is_visible() == wider
        assert wider == (opened.viewport_size == PHONE)


def test_on_a_wide_screen_the_contents_stand_beside_the_report(opened):
    contents, main = (opened.locator(name).bounding_box() for name in ("nav", "main"))
    beside = contents["x"] + contents["width"] <= main["x"]
    assert beside == (opened.viewport_size == DESK)


def test_the_first_key_press_reaches_the_skip_link(opened):
    opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.className") == "skip"
    assert opened.locator(".skip").bounding_box()["x"] >= 0
    opened.keyboard.press("Enter")
    assert opened.evaluate("document.activeElement.id") == "content"


def test_it_says_everything_without_scripts(browser, page_file):
    context = browser.new_context(java_script_enabled=False, viewport=PHONE)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert page.locator("h1").is_visible()
    assert page.locator("main").inner_text().strip()
    page.locator("summary").first.click()
    assert page.locator("details[open] table").first.is_visible()
    context.close()


@pytest.mark.skipif(PDFTOTEXT is None, reason="no pdftotext on this machine")
def test_every_printed_page_says_interim_and_its_number(browser, tmp_path):
    path = tmp_path / "report.html"
    path.write_text(document.html(report(interim=True)), encoding="utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
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
