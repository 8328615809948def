"""A trial folder in, a council report out: whole runs of the notebooks."""

import json
import re
import shutil
from pathlib import Path

import nbformat
import pandas as pd
import pytest
from conftest import TABLES, write_trial
from in_process import notebooks_in_process
from shared_runs import shared_report

from trialkit import __main__ as command_line
from trialkit.demo import writing
from trialkit.errors import ReportError, TrialDataError
from trialkit.report import reporting, running

DEMO = Path(__file__).parents[2] / "data_demo"
RATES = [
    "edge_type",
    "plow_position",
    "estimate",
    "std_error",
    "df",
    "conf_low",
    "conf_high",
    "unit",
    "n_trucks",
    "n_sets",
    "n_readings",
    "method",
]
RATIOS = ["edge_type", "reference", "plow_position", "estimate", "conf_low", "conf_high", "bounded", "method"]


def text_of(page: Path) -> str:
    """The words of a page, without style and markup."""
    body = re.sub(r"<style.*?</style>", "", page.read_text(encoding="utf-8"), flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


@pytest.fixture(scope="module")
def two_notebooks(tmp_path_factory):
    """The wear notebook and the council report alone, where the others have nothing to add to the test."""
    folder = tmp_path_factory.mktemp("two") / "notebooks"
    folder.mkdir()
    for name in ("02_wear.ipynb", reporting.COUNCIL_NOTEBOOK):
        shutil.copy(running.notebook_folder() / name, folder)
    return folder


@pytest.fixture(scope="module")
def short_council(two_notebooks, tmp_path_factory):
    """The wear notebook, and of the council report only what it reads, where another notebook stops the report."""
    folder = shutil.copytree(two_notebooks, tmp_path_factory.mktemp("short") / "notebooks")
    notebook = nbformat.read(folder / reporting.COUNCIL_NOTEBOOK, as_version=4)
    notebook.cells = notebook.cells[:3]
    nbformat.write(notebook, folder / reporting.COUNCIL_NOTEBOOK)
    return folder


@pytest.fixture(scope="module")
def demo_report(tmp_path_factory):
    return shared_report("demo", tmp_path_factory)


def test_the_run_folder_holds_what_is_agreed(demo_report):
    run = demo_report.parent
    assert {path.name for path in run.iterdir()} == {
        "council_report.html",
        "council_report.pdf",
        "council_report.docx",
        "appendix.html",
        "appendix.xlsx",
        "figures",
        "notebooks",
        "rows.npz",
        "run.json",
        "tables",
    }
    assert run.parent.name == "pellowmere_2030-31"
    assert re.fullmatch(r"2031-\d\d-\d\d_[0-9a-f]{8}", run.name)
    assert [path.name for path in sorted(run.parent.iterdir())] == [run.name]
    assert {path.name for path in (run / "notebooks").iterdir()} == {
        path.name for path in running.notebooks()
    }
    assert all(path.suffix == ".svg" for path in (run / "figures").iterdir())


def test_the_tables_keep_their_contract(demo_report):
    tables = demo_report.parent / "tables"
    assert list(pd.read_csv(tables / "wear_rates.csv").columns[: len(RATES)]) == RATES
    assert list(pd.read_csv(tables / "wear_ratios.csv").columns[: len(RATIOS)]) == RATIOS
    assert list(pd.read_csv(tables / "data_problems.csv").columns) == [
        "severity",
        "code",
        "file",
        "row",
        "key",
        "column",
        "found",
        "allowed",
        "fix",
    ]


def test_the_truth_of_the_demo_lies_in_its_intervals(demo_report):
    rates = (
        pd.read_csv(demo_report.parent / "tables" / "wear_rates.csv")
        .query("plow_position == 'front'")
        .set_index("edge_type")
    )
    truth = json.loads((DEMO / "truth.json").read_text())
    for edge_type, facts in truth["edge_types"].items():
        row = rates.loc[edge_type]
        assert row.conf_low < facts["wear_rate_in_per_1000_mi"] < row.conf_high


def test_the_record_says_what_the_run_was_made_from(demo_report):
    record = json.loads((demo_report.parent / "run.json").read_text(encoding="utf-8"))
    assert record["trial_id"] == "pellowmere_2030-31"
    assert set(record["inputs"]) == {path.name for path in DEMO.iterdir() if path.suffix in (".csv", ".toml")}
    assert {notebook["name"] for notebook in record["notebooks"]} == {
        path.name for path in running.notebooks()
    }
    assert record["seed"] == record["settings"]["seed"]
    (longer, *_) = [said for said in record["headline"] if "times as long as plain steel" in said["sentence"]]
    assert longer["verdict"] == "better"


def test_the_report_says_the_finding_first_and_shows_no_code(demo_report):
    page = demo_report.read_text(encoding="utf-8")
    words = text_of(demo_report)
    assert words.index("What was found") < words.index("The trial in figures")
    assert words.index("times as long as plain steel") < words.index("The trial in figures")
    assert "check_trial" not in page
    assert "<script" not in page
    assert not re.search(r'(src|href)="(?!#|data:)', page)


def test_a_metric_twin_gives_the_same_results(demo_report, tmp_path, two_notebooks, in_process):
    folder = writing.write_demo(tmp_path / "metric", metric=True)
    record = json.loads((demo_report.parent / "run.json").read_text(encoding="utf-8"))
    given = {"data_dir": str(folder), "out_dir": str(tmp_path)}
    given["confidence_level"] = record["parameters"]["confidence_level"]
    (tmp_path / "executed").mkdir()
    running.run_notebooks([two_notebooks / "02_wear.ipynb"], given, tmp_path / "executed")
    for name in ("wear_rates", "wear_ratios"):
        us, twin = (
            pd.read_csv(tables / f"{name}.csv")
            for tables in (demo_report.parent / "tables", tmp_path / "tables")
        )
        # known truth: the same numbers written in other units; tables carry ten digits
        pd.testing.assert_frame_equal(us, twin, rtol=1e-7)


@pytest.fixture(scope="module")
def small_report(tmp_path_factory):
    folder = write_trial(tmp_path_factory.mktemp("small") / "trial")
    with notebooks_in_process():
        return reporting.write_report(folder, reports=folder.parent / "reports", quiet=True)


@pytest.fixture
def in_process():
    """Notebooks without a kernel of their own, where the test is not about kernels."""
    with notebooks_in_process():
        yield


def test_only_the_required_tables_give_a_report_that_says_what_was_not_studied(small_report):
    words = text_of(small_report)
    assert "Noise in the cab was not studied: no sound level sample was recorded." in words
    assert "Use of salt and other material was not studied" in words
    assert "How edge types were given to trucks is not recorded" in words
    assert "times as long as Plain steel" in words


def made_again(run: Path) -> dict[str, bytes]:
    """Tables and documents of a run, which the same inputs give again byte for byte."""
    documents = [path for path in run.iterdir() if path.suffix in (".html", ".pdf", ".docx", ".xlsx")]
    return {path.name: path.read_bytes() for path in [*documents, *(run / "tables").iterdir()]}


def test_the_same_inputs_give_the_same_bytes_and_one_folder(small_report, in_process):
    run = small_report.parent
    before = made_again(run)
    assert {"council_report.pdf", "council_report.docx", "appendix.xlsx", "wear_rates.csv"} <= set(before)
    again = reporting.write_report(run.parents[2] / "trial", reports=run.parents[1], quiet=True, force=True)
    assert again == small_report
    assert before == made_again(run)
    assert [path.name for path in run.parent.iterdir()] == [run.name]


def test_one_truck_per_type_gives_rates_without_an_interval_and_says_why(tmp_path_factory):
    report = shared_report("one truck of each type", tmp_path_factory)
    rates = pd.read_csv(report.parent / "tables" / "wear_rates.csv")
    assert rates.estimate.notna().all()
    assert rates.conf_low.isna().all()
    words = text_of(report)
    assert "Not enough data" in words
    assert "Only one truck carried Plain steel" in words


def test_through_uses_what_was_recorded_up_to_that_day(
    tmp_path, small_report, capsys, in_process, two_notebooks
):
    folder = small_report.parents[3] / "trial"
    options = ["--through", "2030-12-18", "--out", str(tmp_path), "--notebooks", str(two_notebooks)]
    code = command_line.main(["report", str(folder), *options])
    said = capsys.readouterr()
    assert code == command_line.CLEAN
    report = Path(said.out.splitlines()[-1])
    assert report.parent.name.startswith("2030-12-18_")
    assert "02_wear.ipynb ran in" in said.err
    assert pd.read_csv(report.parent / "tables" / "wear_rates.csv").n_readings.sum() == 24


def notebooks_with(installed: Path, folder: Path, source: str) -> tuple[Path, int]:
    """A copy of the notebooks in which the cell that fits the wear rates says something else; and its number."""
    shutil.copytree(installed, folder)
    path = folder / "02_wear.ipynb"
    notebook = nbformat.read(path, as_version=4)
    (place,) = [i for i, cell in enumerate(notebook.cells) if "study.wear_rates" in cell.source]
    notebook.cells[place].source = f"{notebook.cells[place].source}\n{source}"
    nbformat.write(notebook, path)
    return folder, place + 2  # papermill puts the given parameters into a cell of their own


def test_a_failed_run_names_the_cell_keeps_the_notebook_and_the_last_report(
    tmp_path, small_report, short_council
):
    broken, number = notebooks_with(
        short_council, tmp_path / "notebooks", "raise ValueError('the garage is closed')"
    )
    folder, reports = small_report.parents[3] / "trial", small_report.parents[2]
    before = {path: path.read_bytes() for path in reports.rglob("*") if path.is_file()}
    with pytest.raises(ReportError) as caught:
        reporting.write_report(folder, reports=reports, notebook_folder=broken, quiet=True)
    said = str(caught.value)
    assert said.startswith(f"02_wear.ipynb stopped at cell {number}, under ")
    assert "ValueError: the garage is closed" in said
    assert "Traceback" not in said
    kept = reports / "small" / "last_failure"
    assert (kept / "02_wear.ipynb").exists()
    assert str(kept) in said
    shutil.rmtree(kept)
    assert before == {path: path.read_bytes() for path in reports.rglob("*") if path.is_file()}


def test_a_warning_in_a_report_cell_stops_the_report(tmp_path, small_report, short_council):
    broken, number = notebooks_with(
        short_council, tmp_path / "notebooks", "import warnings\nwarnings.warn('odd')"
    )
    with pytest.raises(ReportError, match=rf"02_wear.ipynb, cell {number}: the cell warned: .*odd"):
        reporting.write_report(
            small_report.parents[3] / "trial", reports=tmp_path / "r", notebook_folder=broken, quiet=True
        )
    assert [path.name for path in (tmp_path / "r" / "small").iterdir()] == ["last_failure"]


def test_a_report_without_its_council_notebook_is_an_error(tmp_path, small_report):
    folder = tmp_path / "notebooks"
    folder.mkdir()
    shutil.copy(running.notebook_folder() / "01_check_data.ipynb", folder)
    with pytest.raises(ReportError, match=r"10_council_report.ipynb is not among the notebooks"):
        reporting.write_report(
            small_report.parents[3] / "trial", reports=tmp_path / "r", notebook_folder=folder, quiet=True
        )


def test_a_folder_that_cannot_be_written_is_told(tmp_path, small_report):
    (tmp_path / "taken").write_text("a file, not a folder")
    with pytest.raises(ReportError, match=r"the report could not be written: .*taken"):
        reporting.write_report(small_report.parents[3] / "trial", reports=tmp_path / "taken", quiet=True)


def test_a_broken_trial_writes_nothing(tmp_path):
    folder = write_trial(tmp_path / "trial", edge_types=None)
    with pytest.raises(TrialDataError, match=r"edge_types.csv"):
        reporting.write_report(folder, reports=tmp_path / "reports", quiet=True)
    assert not (tmp_path / "reports").exists()


def test_a_reference_that_was_never_read_gives_a_report_without_a_comparison(tmp_path, in_process):
    readings = [line for line in TABLES["wear_readings"].splitlines() if not line.startswith(("S1", "S3"))]
    folder = write_trial(tmp_path / "trial", wear_readings="\n".join(readings) + "\n")
    report = reporting.write_report(folder, reports=tmp_path / "reports", quiet=True)
    assert pd.read_csv(report.parent / "tables" / "wear_ratios.csv").empty
    assert "No edge type is set against the reference" in text_of(report)
