"""The README says what the demo report says, and what it points to is there."""

import re
from pathlib import Path

import nbformat

from trialkit.report import blocks

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_what_is_quoted_stands_in_the_stored_report():
    stored = nbformat.read(ROOT / "tests" / "golden" / "10_council_report.ipynb", as_version=4)
    cells = [cell for cell in stored.cells if cell.cell_type == "code" and cell.outputs]
    shown = blocks.read_blocks(nbformat.v4.new_notebook(cells=cells))
    said = " ".join(" ".join(block.plain() for block in shown).split())
    quotes = re.findall(r"(?:^> ?.*\n)+", README, re.M)
    paragraphs = [part for quote in quotes for part in re.sub(r"^> ?", "", quote, flags=re.M).split("\n\n")]
    assert len(paragraphs) >= 3
    for paragraph in paragraphs:
        assert " ".join(paragraph.split()) in said


def test_links_and_pictures_are_there():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).is_file(), target
