"""`trialkit new`: what it writes, what it never touches, and how the folder is read before anything is in it."""

import csv
import datetime as dt
import subprocess
import sys

import pytest
from conftest import write_trial
from openpyxl import load_workbook

from trialkit.errors import UsageError
from trialkit.field import new_trial
from trialkit.tables import NEEDED, TABLES
from trialkit.trial import checks


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "trialkit", *map(str, arguments)], capture_output=True, text=True
    )


def test_a_new_folder_has_settings_every_table_and_a_workbook(tmp_path):
    started = new_trial.start_trial(tmp_path / "a" / "north 2031")
    names = {path.name for path in started.folder.iterdir()}
    assert names == {"trial.toml", "field_workbook.xlsx", *(f"{name}.csv" for name in TABLES)}
    assert (started.folder / "trucks.csv").read_text() == ",".join(TABLES["trucks"].names) + "\n"
    assert 'trial_id = "north_2031"' in (started.folder / "trial.toml").read_text()
    assert started.sentence() == f"trial.toml, field_workbook.xlsx and {len(TABLES)} empty tables"


def test_a_metric_folder_asks_for_millimeters_and_shows_them(tmp_path):
    folder = new_trial.start_trial(tmp_path, metric=True).folder
    assert "height_mm" in (folder / "wear_readings.csv").read_text()
    assert 'units = "metric"' in (folder / "trial.toml").read_text()


def test_the_check_asks_for_what_is_still_missing_and_points_to_the_workbook(tmp_path):
    folder = new_trial.start_trial(tmp_path / "t").folder
    problems = checks.check_trial(folder).problems
    assert {problem.code for problem in problems} == {"no-rows", "setting-invalid"}
    empty = [problem for problem in problems if problem.code == "no-rows"]
    assert {problem.file for problem in empty} == {f"{name}.csv" for name in NEEDED}
    assert all("Rows typed into field_workbook.xlsx come in with `trialkit intake`." in p.fix for p in empty)


def test_the_workbook_in_the_folder_is_not_read_as_tables(tmp_path):
    folder = write_trial(tmp_path)
    new_trial.fresh_workbook(folder)
    checked = checks.check_trial(folder)
    assert checked.problems == ()
    assert "field_workbook.xlsx" not in checked.draft.hashes


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match="is not empty and nothing in it was changed"):
        new_trial.start_trial(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    with pytest.raises(UsageError, match=r"notes\.txt is not a folder"):
        new_trial.start_trial(tmp_path / "notes.txt")


def test_a_fresh_workbook_takes_the_next_free_name(tmp_path):
    folder = write_trial(tmp_path)
    names = [new_trial.fresh_workbook(folder).name for _ in range(3)]
    assert names == ["field_workbook.xlsx", "field_workbook_2.xlsx", "field_workbook_3.xlsx"]
    assert checks.check_trial(folder).problems == ()
    for name in names:
        start = [cell.value or "" for cell in load_workbook(folder / name)["_start"]["A"]]
        assert sum(f"trialkit intake {name} --into" in words for words in start) == 1, name


def test_a_fresh_workbook_needs_a_trial_folder(tmp_path):
    with pytest.raises(UsageError, match=r"is not a trial folder: it has no trial\.toml and no table"):
        new_trial.fresh_workbook(tmp_path)
    with pytest.raises(UsageError, match="there is no folder"):
        new_trial.fresh_workbook(tmp_path / "nowhere")
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="file is not a folder"):
        new_trial.fresh_workbook(tmp_path / "file")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Winter 2030/31", "Winter_2030_31"),
        ("冬", "trial"),
        ("-x-", "x"),
        ("a" * 99, "a" * 64),
        ("Łódź é", "odz_e"),
    ],
)
def test_the_short_name_comes_from_the_folder(name, expected):
    assert new_trial.trial_id_for(name) == expected


def test_the_command_says_what_was_written_and_what_is_next(tmp_path):
    said = run("new", tmp_path / "t")
    assert said.returncode == 0
    assert "Written: trial.toml, field_workbook.xlsx and" in said.stdout
    assert "1. Fill in trial.toml: agency, season and reference_edge_type" in said.stdout
    assert said.stdout.splitlines()[-1] == str(tmp_path / "t")
    again = run("new", tmp_path / "t")
    assert again.returncode == 2
    assert "add --workbook" in again.stderr
    fresh = run("new", tmp_path / "t", "--workbook")
    assert fresh.stdout.strip().endswith("field_workbook_2.xlsx")
    assert (
        "field_workbook.xlsx is there already and was left as it is; the fresh one is field_workbook_2.xlsx."
        in fresh.stdout
    )
    (tmp_path / "t" / "field_workbook.xlsx").unlink()
    assert run("new", tmp_path / "t", "--workbook").stdout == f"{tmp_path / 't' / 'field_workbook.xlsx'}\n"


def test_new_and_plan_are_among_the_commands():
    said = run("--help").stdout
    assert "\n    new " in said
    assert "\n    plan " in said


def fill(path, **rows):
    book = load_workbook(path)
    for name, row in rows.items():
        header = [cell.value for cell in book[name][1]]
        for column, value in row.items():
            book[name].cell(2, header.index(column) + 1, value)
    book.save(path)


def test_a_filled_workbook_is_taken_into_its_folder_and_a_fresh_one_brings_nothing_new(tmp_path):
    folder = new_trial.start_trial(tmp_path / "t").folder
    fill(
        folder / "field_workbook.xlsx",
        edge_types={"edge_type": "plain_steel", "new_height_in": "5 1/2", "usable_depth_in": "5/8"},
        trucks={"truck_id": "007", "plow_position": "front", "spreader_calibrated_on": dt.date(2030, 10, 14)},
        storms={"storm_id": "W1", "start": dt.datetime(2030, 11, 19, 2, 45)},
    )
    taken = run("intake", folder / "field_workbook.xlsx", "--into", folder)
    assert taken.returncode == 0, taken.stdout + taken.stderr
    rows = {
        name: next(csv.DictReader((folder / f"{name}.csv").open(encoding="utf-8")))
        for name in ("edge_types", "trucks", "storms")
    }
    assert rows["edge_types"]["new_height_in"] == "5 1/2"
    assert rows["edge_types"]["usable_depth_in"] == "5/8"
    assert rows["trucks"]["truck_id"] == "007"
    assert rows["trucks"]["spreader_calibrated_on"] == "2030-10-14"
    assert rows["storms"]["start"].startswith("2030-11-19T02:45")
    before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    fresh = new_trial.fresh_workbook(folder)
    again = run("intake", fresh, "--into", folder)
    assert again.returncode == 0
    assert "Nothing to add" in again.stdout
    assert {name: content for name, content in before.items() if name != "intake_log.csv"} == {
        path.name: path.read_bytes() for path in folder.glob("*.csv") if path.name != "intake_log.csv"
    }
