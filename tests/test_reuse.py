"""What an earlier run can stand for: the same notebook, parameters, code and inputs, whole on the disk."""

import json
import shutil

import nbformat
import pandas as pd
import pytest
from conftest import write_trial
from in_process import notebooks_in_process

from trialkit.errors import UsageError
from trialkit.formatting import level_percent
from trialkit.report import council, reporting, reuse, running
from trialkit.trial import checks

SOUND = """\
sound_id,truck_id,date,set_id,task,duration_min,level_dba,exchange_rate_db,instrument
SN1,T1,2030-12-01,S1,blade_down,30,84.0,3,dosimeter
SN2,T2,2030-12-01,S2,blade_down,30,81.0,3,dosimeter
"""
NAMES = ("01_check_data.ipynb", "02_wear.ipynb", "04_noise.ipynb", reporting.COUNCIL_NOTEBOOK)


@pytest.fixture(scope="module")
def notebooks(tmp_path_factory):
    """Copies of some notebooks, since a test may change one."""
    folder = tmp_path_factory.mktemp("some") / "notebooks"
    folder.mkdir()
    for name in NAMES:
        (folder / name).write_bytes((running.notebook_folder() / name).read_bytes())
    _leave_out_figures(folder / reporting.COUNCIL_NOTEBOOK)
    return folder


def _leave_out_figures(path):
    """A council report without its figures says as much about reuse, and takes half the time."""
    notebook = nbformat.read(path, as_version=4)
    kept = [
        cell
        for cell in notebook.cells
        if "report.answer_figure()" not in cell.source and "report.figures()" not in cell.source
    ]
    assert len(kept) == len(notebook.cells) - 2
    notebook.cells = kept
    nbformat.write(notebook, path)


@pytest.fixture(scope="module")
def made(tmp_path_factory, notebooks):
    """A trial with its first report, to be copied."""
    home = tmp_path_factory.mktemp("made")
    return report(write_trial(home / "trial", sound=SOUND), notebooks).relative_to(home), home


@pytest.fixture
def first(tmp_path, made):
    """A trial with its first report, moved to where the test may change it."""
    page, home = made
    shutil.copytree(home, tmp_path / "moved")
    return tmp_path / "moved" / "trial", tmp_path / "moved" / page


def report(folder, notebooks, **options):
    with notebooks_in_process():
        return reporting.write_report(
            folder, reports=folder.parent / "reports", notebook_folder=notebooks, quiet=True, **options
        )


def record(page):
    return json.loads((page.parent / reuse.RUN_RECORD).read_text(encoding="utf-8"))


def ran(page):
    """Notebooks that were run for a report."""
    return [said["name"] for said in record(page)["notebooks"] if not said["reused_from"]]


def add_sound(folder, date="2030-12-02"):
    with (folder / "sound.csv").open("a") as file:
        file.write(f"SN3,T1,{date},S1,blade_down,30,85.0,3,dosimeter\n")


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_an_unchanged_trial_runs_nothing_and_touches_nothing(first, notebooks, monkeypatch):
    folder, page = first
    before = contents(page.parents[1])
    monkeypatch.setattr(running, "run_notebooks", lambda *_, **__: pytest.fail("a notebook was run"))
    assert report(folder, notebooks) == page
    assert contents(page.parents[1]) == before


def test_a_new_sound_sample_does_not_run_the_wear_again(first, notebooks):
    folder, page = first
    add_sound(folder, "2031-02-01")  # beyond the last reading, so the day of the data moves too
    again = report(folder, notebooks)
    assert again != page
    assert ran(again) == [name for name in NAMES if name != "02_wear.ipynb"]
    said = {one["name"]: one for one in record(again)["notebooks"]}
    assert said["02_wear.ipynb"]["reused_from"] == page.parent.name
    assert said["02_wear.ipynb"]["writes"] == ["wear_by_truck.csv", "wear_rates.csv", "wear_ratios.csv"]
    assert "sound" in said["04_noise.ipynb"]["reads"]
    assert "sound" not in said["02_wear.ipynb"]["reads"]
    assert (
        "Since the last report, on data up to January 14, 2031, there is no material change; 1 new row came in."
        in (again.read_text(encoding="utf-8"))
    )
    assert (again.parent / "tables" / "changes.csv").is_file()


def test_a_report_can_be_compared_with_any_earlier_one(first, notebooks):
    folder, page = first
    add_sound(folder)
    second = report(folder, notebooks)
    assert report(folder, notebooks, since=page.parent.name) == second
    assert record(second)["parameters"]["since_run"] == str(page.parent)
    with pytest.raises(UsageError, match=r'"2031-01" is not a finished run of this trial. The runs are: '):
        report(folder, notebooks, since="2031-01")


def test_a_forced_run_gives_the_same_bytes(first, notebooks):
    folder, _ = first
    add_sound(folder)
    page = report(folder, notebooks)
    kept = {
        name: data for name, data in contents(page.parent).items() if name.suffix in (".html", ".csv", ".svg")
    }
    assert report(folder, notebooks, force=True) == page
    assert ran(page) == list(NAMES)
    after = contents(page.parent)
    assert {name: after[name] for name in kept} == kept


def test_a_changed_notebook_is_run_again(first, notebooks, tmp_path):
    folder, _ = first
    changed = tmp_path / "changed"
    changed.mkdir()
    for name in NAMES:
        (changed / name).write_bytes((notebooks / name).read_bytes())
    text = (changed / "02_wear.ipynb").read_text(encoding="utf-8")
    (changed / "02_wear.ipynb").write_text(
        text.replace("## Provenance", "## What it was made from"), encoding="utf-8"
    )
    # the council report sets the new run against the earlier one
    assert ran(report(folder, changed)) == ["02_wear.ipynb", reporting.COUNCIL_NOTEBOOK]


def test_a_change_in_the_settings_runs_everything(first, notebooks):
    folder, _ = first
    with (folder / "trial.toml").open("a") as file:
        file.write("confidence_level = 0.9\n")
    assert ran(report(folder, notebooks)) == list(NAMES)


@pytest.mark.parametrize("damage", ["cut short", "gone", "record cut short"])
def test_a_damaged_run_is_not_reused(first, notebooks, damage):
    folder, page = first
    table = page.parent / "tables" / "wear_rates.csv"
    good = table.read_bytes()
    if damage == "cut short":
        table.write_bytes(good[:40])
    elif damage == "gone":
        table.unlink()
    else:
        path = page.parent / reuse.RUN_RECORD
        path.write_bytes(path.read_bytes()[:-40])
    assert report(folder, notebooks) == page
    assert "02_wear.ipynb" in ran(page)
    assert table.read_bytes() == good


def test_a_damaged_page_is_made_anew_without_running_a_notebook(first, notebooks):
    folder, page = first
    good = page.read_bytes()
    page.write_bytes(good[:100])
    report(folder, notebooks)
    assert page.read_bytes() == good
    assert ran(page) == []


def test_other_code_reuses_nothing(first, notebooks, monkeypatch):
    folder, page = first
    trial = checks.check_trial(folder).require_clean()
    (run,) = reuse.earlier_runs(page.parents[1])
    sources = [notebooks / name for name in NAMES]

    def reused():
        given = {
            "through_date": "",
            "since_run": "",
            "earlier_looks": "",
            "confidence_level": 0.95,
            "interim": False,
        }
        needs = {source: reuse.needs_of(source, given) for source in sources}
        return [reuse.reusable(source, needs[source], trial, [run]) for source in sources]

    assert reused() == [run] * len(sources)
    monkeypatch.setattr(reuse, "code_hash", lambda: "other code")
    assert reused() == [None] * len(sources)


def test_every_notebook_judges_by_the_limit_of_the_look(first, notebooks):
    folder, _ = first
    plan = '[plan]\nspending = "pocock"\nlooks = [2030-12-01, 2031-01-14]\nseason_start = 2030-11-01\nseason_end = 2031-01-14\n'
    with (folder / "trial.toml").open("a") as file:
        file.write(f"\n{plan}")
    said = record(report(folder, notebooks))
    level = said["parameters"]["confidence_level"]
    assert 0.96 < level < 0.98  # Pocock's limits of two looks lie near a p value of 0.03 each
    own = {one["name"]: one["parameters"].get("confidence_level") for one in said["notebooks"]}
    assert own["02_wear.ipynb"] == own["04_noise.ipynb"] == level
    assert f"{level_percent(level)} interval" in (
        folder.parent / "reports" / said["trial_id"] / said["run"] / reporting.APPENDIX
    ).read_text(encoding="utf-8")


def test_every_kind_of_read_has_a_digest_that_moves_with_it(tmp_path):
    folder = write_trial(tmp_path / "trial", sound=SOUND)
    before = checks.check_trial(folder).require_clean()
    names = ["settings", "sound", "problems", "problems/sound", "last day", "everything"]
    old = {name: before.digest(name) for name in [*names, "wear_readings", "problems/wear_readings"]}
    add_sound(folder, "2031-02-01")
    with (folder / "sound.csv").open("a") as file:
        file.write("SN4,T1,2031-02-01,S1,blade_down,30,140.0,3,dosimeter\n")
    with (folder / "trial.toml").open("a") as file:
        file.write("seed = 4\n")
    after = checks.check_trial(folder).require_clean()
    assert [name for name in old if after.digest(name) != old[name]] == names
    assert before.digest("vibration") == checks.ABSENT


def test_what_is_asked_of_a_trial_is_noted(tmp_path):
    trial = checks.check_trial(write_trial(tmp_path / "trial")).require_clean()
    assert trial.reads == set(checks.BEARS_ON_ALL)
    _ = trial["trucks"], trial.has("sound"), trial.problems_of("sound"), trial.last_data_date
    assert trial.reads - set(checks.BEARS_ON_ALL) == {"trucks", "sound", "problems/sound", checks.LAST_DAY}
    shown = council.provenance(trial)
    assert {"trucks.csv", "sound.csv", "Last day with data", "Warnings about sound"} <= set(shown["fact"])


def test_a_workbook_has_a_digest_for_each_sheet(tmp_path):
    folder = write_trial(tmp_path / "trial", sound=SOUND)
    with pd.ExcelWriter(folder / "trial.xlsx") as book:
        for path in sorted(folder.glob("*.csv")):
            pd.read_csv(path, dtype=str).to_excel(book, sheet_name=path.stem, index=False)
            path.unlink()
    before = checks.check_trial(folder).require_clean()
    sound = pd.read_excel(folder / "trial.xlsx", sheet_name=None, dtype=str)
    sound["sound"].loc[0, "level_dba"] = "86.0"
    with pd.ExcelWriter(folder / "trial.xlsx") as book:
        for name, frame in sound.items():
            frame.to_excel(book, sheet_name=name, index=False)
    after = checks.check_trial(folder).require_clean()
    assert before.digest("sound") != after.digest("sound")
    assert before.digest("wear_readings") == after.digest("wear_readings")


def test_parameters_are_those_of_the_tagged_cell(tmp_path):
    assert reuse.parameter_names(running.notebook_folder() / "02_wear.ipynb") == {
        "data_dir",
        "out_dir",
        "through_date",
        "confidence_level",
    }
    (tmp_path / "no.ipynb").write_text("no notebook")
    assert reuse.parameter_names(tmp_path / "no.ipynb") == frozenset()


def test_two_notebooks_may_not_write_the_same_table(first, notebooks, tmp_path):
    folder, _ = first
    doubled = tmp_path / "doubled"
    doubled.mkdir()
    for name in NAMES:
        (doubled / name).write_bytes((notebooks / name).read_bytes())
    (doubled / "08_own.ipynb").write_bytes((notebooks / "02_wear.ipynb").read_bytes())
    with pytest.raises(
        reporting.ReportError,
        match=r"08_own.ipynb writes wear_by_truck.csv, and so does a notebook before it",
    ):
        report(folder, doubled)
