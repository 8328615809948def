"""Run the notebooks on the demo trial and store what their marked cells show, for nbval to compare later runs with.

A stored run detects change and proves nothing: look at the difference before committing it. Run it as::

    python tests/golden/store.py                # every notebook
    python tests/golden/store.py 02_wear        # those that are named
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

HERE = Path(__file__).parent
NOTEBOOKS = HERE.parents[1] / "notebooks"
MARK = "# NBVAL_CHECK_OUTPUT"
DATA_DIR = ('"../data_demo"', '"../../data_demo"')


def main(names: list[str]) -> None:
    """Store the notebooks of these names, or every notebook if there are none."""
    for path in sorted(NOTEBOOKS.glob("*.ipynb")):
        if names and path.stem not in names:
            continue
        notebook = nbformat.read(path, as_version=4)
        for cell in notebook.cells:
            cell.source = cell.source.replace(*DATA_DIR)
        NotebookClient(
            notebook,
            kernel_name="python3",
            resources={"metadata": {"path": str(HERE)}},
            extra_arguments=["--IPKernelApp.log_level=40"],
        ).execute()
        for cell in notebook.cells:
            cell.metadata.pop("execution", None)
            if cell.cell_type == "code" and MARK not in cell.source:
                cell.outputs = []
        notebook.metadata.pop("widgets", None)
        notebook.metadata.language_info = {"name": "python"}
        (HERE / path.name).write_text(nbformat.writes(notebook, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
