"""The notebooks as they are committed: empty, thin, with a legal parameters cell, and alike in their order."""

import ast
from pathlib import Path
from statistics import median

import nbformat
import pytest

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
MOST_CELLS, MOST_LINES, MEDIAN_LINES = 30, 10, 3
LOGIC = (
    ast.FunctionDef,
    ast.ClassDef,
    ast.For,
    ast.While,
    ast.If,
    ast.Try,
    ast.Lambda,
    ast.ListComp,
    ast.DictComp,
)


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.name)
def notebook(request):
    return nbformat.read(request.param, as_version=4)


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def parameters_cells(notebook):
    return [cell for cell in code_cells(notebook) if "parameters" in cell.metadata.get("tags", [])]


def test_there_are_notebooks():
    assert {"01_check_data.ipynb", "02_wear.ipynb", "10_council_report.ipynb"} <= {
        path.name for path in NOTEBOOKS
    }


def test_is_valid_and_committed_without_outputs(notebook):
    nbformat.validate(notebook)
    assert all(not cell.outputs and cell.execution_count is None for cell in code_cells(notebook))
    assert notebook.metadata.kernelspec.name == "python3"
    assert "papermill" not in notebook.metadata


def test_is_thin(notebook):
    lengths = [
        len(cell.source.splitlines())
        for cell in code_cells(notebook)
        if cell not in parameters_cells(notebook)
    ]
    assert len(notebook.cells) <= MOST_CELLS
    assert max(lengths) <= MOST_LINES
    assert median(lengths) <= MEDIAN_LINES


def test_holds_no_logic_and_no_numbers(notebook):
    for cell in code_cells(notebook):
        if cell in parameters_cells(notebook):
            continue
        tree = ast.parse(cell.source)
        assert not [node for node in ast.walk(tree) if isinstance(node, LOGIC)], cell.source
        numbers = [
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, (int, float))
        ]
        assert not [value for value in numbers if not isinstance(value, bool)], cell.source


def test_parameters_cell_holds_typed_commented_literals(notebook):
    (cell,) = parameters_cells(notebook)
    tree = ast.parse(cell.source)
    assert all(isinstance(node, ast.AnnAssign) and isinstance(node.value, ast.Constant) for node in tree.body)
    assert all("#" in line for line in cell.source.splitlines())


def test_sections_come_in_the_agreed_order(notebook):
    first, second = notebook.cells[0], notebook.cells[1]
    assert first.cell_type == "markdown"
    assert first.source.startswith("# ")
    assert second in parameters_cells(notebook)
    text = "\n".join(cell.source for cell in notebook.cells)
    assert text.index("check_trial") < text.index("require_clean")
    headings = [
        line
        for cell in notebook.cells
        if cell.cell_type == "markdown"
        for line in cell.source.splitlines()
        if line.startswith("## ")
    ]
    assert headings[-1] == "## Provenance"
    assert any(heading.startswith(("## What this does not show", "## What was not")) for heading in headings)


def test_names_no_folder_of_one_machine(notebook):
    for cell in code_cells(notebook):
        assert "sys.path" not in cell.source
        assert '"/' not in cell.source
