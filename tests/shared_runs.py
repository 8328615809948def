"""Reports that several test files look at, each made once however many processes the tests run in.

The demo is reported by all notebooks; the others are the smallest trial with one thing changed, by the wear notebook and the
council report alone. The one with the needed tables only is made with kernels, as a user would; nbval runs the notebooks of the
demo with kernels too.
"""

import json
import os
import re
import shutil
import time
from contextlib import nullcontext
from pathlib import Path

import nbformat
import pandas as pd
from conftest import SETTINGS, TABLES, write_trial
from in_process import notebooks_in_process

from trialkit.report import blocks, reporting, running, saving, workbook

DEMO = Path(__file__).parents[1] / "data_demo"
LONGEST_S = 300
MARKUP = "<b>#x</b> $y$ _z_ *w* `v` \"q\" & 'r' @s 🚜 שלום "
ODD_NAME = MARKUP + "N" * (200 - len(MARKUP))
OWN_SECTION = "Snow days of our own"


def two_notebooks(folder):
    """The wear notebook and the council report alone, where the others have nothing to add."""
    folder.mkdir(parents=True)
    for name in ("02_wear.ipynb", reporting.COUNCIL_NOTEBOOK):
        shutil.copy(running.notebook_folder() / name, folder)
    return folder


def own_notebooks(folder):
    """The same with what an analyst may add: a section of their own."""
    path = two_notebooks(folder) / reporting.COUNCIL_NOTEBOOK
    notebook = nbformat.read(path, as_version=4)
    notebook.cells += [
        nbformat.v4.new_markdown_cell(f"## {OWN_SECTION}\n\nCounted **by hand**.", id="own-1"),
        nbformat.v4.new_code_cell(
            'import pandas as pd\nblocks.table(pd.DataFrame({"month": ["January"], "n_days": [12]}), "Snow days by month")', id="own-2"
        ),
    ]  # fmt: skip
    nbformat.write(notebook, path)
    return folder


def _demo(home):
    with notebooks_in_process():
        return reporting.write_report(DEMO, reports=home / "reports", quiet=True)


def _small(home, notebooks=two_notebooks, engine=notebooks_in_process, **tables):
    folder = write_trial(home / "trial", **tables)
    with engine():
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


def _odd_names(home):
    """The name stands wherever a trial may hold text of its own."""
    quoted = '"' + ODD_NAME.replace('"', '""') + '"'
    said = json.dumps(ODD_NAME, ensure_ascii=False)  # a string of TOML too
    settings = SETTINGS.replace('"Cutting edge trial"', said).replace('"Town of Brenmoor"', said)
    tables = {table: text.replace("T1,", f"{quoted},") for table, text in TABLES.items()}
    tables["edge_types"] = tables["edge_types"].replace("Carbide insert", quoted)
    return _small(home, settings=settings, **tables)


def _interim(home, shared):
    """The documents of the needed tables drawn again as those of a season that is not over."""
    run = shared("required tables only").parent
    council, others = (
        [
            block.model_copy(update={"interim": True}) if isinstance(block, blocks.Meta) else block
            for block in blocks.read_blocks(run / "notebooks" / name)
        ]
        for name in (reporting.COUNCIL_NOTEBOOK, "02_wear.ipynb")
    )
    interim = home / run.name
    interim.mkdir()
    reporting._save_documents(council, others, interim, None, "us")
    nothing = pd.DataFrame({"code": []})
    saving.save_bytes(workbook.xlsx(others, nothing, nothing, {}), interim / reporting.WORKBOOK)
    return interim / reporting.COUNCIL_REPORT


MAKERS = {
    "demo": lambda home, shared: _demo(home),
    "required tables only": lambda home, shared: _small(home, own_notebooks, engine=nullcontext),
    "one truck of each type": lambda home, shared: _one_truck(home),
    "no measurable wear": lambda home, shared: _no_wear(home),
    "metric": lambda home, shared: _small(home, settings=SETTINGS + 'units = "metric"\n'),
    "odd names": lambda home, shared: _odd_names(home),
    "interim": _interim,
}
"""How each report is made in a folder; the second argument gives another of them by name."""


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
            report = str(MAKERS[name](home, lambda other: shared_report(other, tmp_path_factory)))
        finally:
            (home / "unfinished").write_text(report, encoding="utf-8")
            (home / "unfinished").rename(made)
    path = made.read_text(encoding="utf-8")
    assert path, f"the report {name} could not be made"
    return Path(path)
