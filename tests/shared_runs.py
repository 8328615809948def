"""Reports that several test files look at, each made once however many processes the tests run in.

The demo is reported with kernels as a user would; the others, on the smallest trial with one thing changed, without and
with the wear notebook and the council report alone.
"""

import json
import os
import re
import shutil
import time
from pathlib import Path

import nbformat
from conftest import SETTINGS, TABLES, write_trial
from in_process import notebooks_in_process

from trialkit.report import reporting, running

DEMO = Path(__file__).parents[1] / "data_demo"
LONGEST_S = 300
LONG_NAME = "N" * 200
MARKUP = "<b>#x</b> $y$ _z_ *w* `v` \"q\" & 'r' @s 🚜 שלום"
OWN_SECTION = "Snow days of our own"


def two_notebooks(folder):
    """The wear notebook and the council report alone, where the others have nothing to add."""
    folder.mkdir(parents=True)
    for name in ("02_wear.ipynb", reporting.COUNCIL_NOTEBOOK):
        shutil.copy(running.notebook_folder() / name, folder)
    return folder


def own_notebooks(folder):
    """The same with what an analyst may add: a section of their own, and the mark of a season that is not over."""
    path = two_notebooks(folder) / reporting.COUNCIL_NOTEBOOK
    notebook = nbformat.read(path, as_version=4)
    (title,) = [cell for cell in notebook.cells if cell.source.strip() == "council.title(trial)"]
    title.source = 'council.title(trial).model_copy(update={"interim": True})'
    (last,) = [place for place, cell in enumerate(notebook.cells) if cell.source.startswith("## Provenance")]
    notebook.cells[last:last] = [
        nbformat.v4.new_markdown_cell(f"## {OWN_SECTION}\n\nCounted **by hand**.", id="own-1"),
        nbformat.v4.new_code_cell(
            'import pandas as pd\nblocks.table(pd.DataFrame({"month": ["January"], "n_days": [12]}), "Snow days by month")', id="own-2"
        ),
    ]  # fmt: skip
    nbformat.write(notebook, path)
    return folder


def _small(home, notebooks=two_notebooks, **tables):
    folder = write_trial(home / "trial", **tables)
    with notebooks_in_process():
        return reporting.write_report(
            folder, reports=home / "reports", notebook_folder=notebooks(home / "notebooks"), quiet=True
        )


def _one_truck(home):
    names = ("trucks", "edge_sets", "set_events", "wear_readings")
    kept = {
        name: [line for line in TABLES[name].splitlines() if not re.match(r"T3|T4|S3|S4", line)]
        for name in names
    }
    return _small(home, **{name: "\n".join(lines) + "\n" for name, lines in kept.items()})


def _no_wear(home):
    """Every reading of the carbide sets is the height of the new edge."""
    lines = [
        re.sub(r"^(S[24],[^,]*,[^,]*,[^,]*),[\d.]+", r"\1,5.000", line)
        for line in TABLES["wear_readings"].splitlines()
    ]
    return _small(home, wear_readings="\n".join(lines) + "\n")


def _named(home, name):
    """The name stands wherever a trial may hold text of its own."""
    quoted = '"' + name.replace('"', '""') + '"'
    said = json.dumps(name, ensure_ascii=False)  # a string of TOML too
    settings = SETTINGS.replace('"Cutting edge trial"', said).replace('"Town of Brenmoor"', said)
    tables = {table: text.replace("T1,", f"{quoted},") for table, text in TABLES.items()}
    tables["edge_types"] = tables["edge_types"].replace("Carbide insert", quoted)
    return _small(home, settings=settings, **tables)


MAKERS = {
    "demo": lambda home: reporting.write_report(DEMO, reports=home / "reports", quiet=True),
    "required tables only": _small,
    "one truck of each type": _one_truck,
    "no measurable wear": _no_wear,
    "metric": lambda home: _small(home, settings=SETTINGS + 'units = "metric"\n'),
    "interim with a section of its own": lambda home: _small(home, own_notebooks),
    "long names": lambda home: _named(home, LONG_NAME),
    "markup in names": lambda home: _named(home, MARKUP),
}


def shared_report(name, tmp_path_factory):
    """The council report of one of `MAKERS`; a process that comes second waits for the first."""
    base = tmp_path_factory.getbasetemp()
    home = (
        (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "shared" / name.replace(" ", "_")
    )
    home.parent.mkdir(exist_ok=True)
    made = home / "made"
    try:
        home.mkdir()
    except FileExistsError:
        ends = time.monotonic() + LONGEST_S
        while not made.exists():
            assert time.monotonic() < ends, f"the report {name} was not made in another process"
            time.sleep(0.2)
    else:
        report = ""
        try:
            report = str(MAKERS[name](home))
        finally:
            (home / "unfinished").write_text(report, encoding="utf-8")
            (home / "unfinished").rename(made)
    path = made.read_text(encoding="utf-8")
    assert path, f"the report {name} could not be made"
    return Path(path)
