"""The stored runs are the committed notebooks, and every marked cell in them was run.

nbval passes a marked cell that was never run without comparing anything; this sees to it that there is none.
"""

import re
from pathlib import Path

import nbformat
import pytest
from golden.store import DATA_DIR, MARK, NOTEBOOKS

HERE = Path(__file__).parent / "golden"


@pytest.fixture(params=sorted(NOTEBOOKS.glob("*.ipynb")), ids=lambda path: path.name)
def pair(request):
    return nbformat.read(request.param, as_version=4), nbformat.read(HERE / request.param.name, as_version=4)


def test_is_the_committed_notebook(pair):
    committed, stored = pair
    assert [cell.source.replace(*DATA_DIR) for cell in committed.cells] == [
        cell.source for cell in stored.cells
    ]


def test_finds_the_demo_from_its_own_folder(pair):
    for notebook, folder in zip(pair, (NOTEBOOKS, HERE), strict=True):
        (cell,) = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
        (named,) = re.findall(r'^data_dir: str = "([^"]+)"', cell.source, flags=re.M)
        assert (folder / named).resolve() == (NOTEBOOKS.parent / "data_demo").resolve()
        assert (folder / named / "trial.toml").is_file()


def test_every_marked_cell_was_run_and_holds_a_typed_block(pair):
    _, stored = pair
    marked = [cell for cell in stored.cells if cell.cell_type == "code" and MARK in cell.source]
    assert len(marked) >= 3
    for cell in marked:
        assert cell.execution_count is not None
        assert any("application/vnd.trialkit.block+json" in output.get("data", {}) for output in cell.outputs)
