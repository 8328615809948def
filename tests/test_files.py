"""A trial folder: what is read, what is left alone, what is missing and what is given twice."""

import hashlib
import os

import pytest
from conftest import TABLES, write_trial

from trialkit.tables import NEEDED
from trialkit.tables import TABLES as ALL_TABLES
from trialkit.trial.files import changed_since, read_raw_tables


def read(folder, **files):
    """Codes with their file, and the raw tables, of a folder with more files in it."""
    for name, content in files.items():
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    raw = read_raw_tables(folder)
    return [(problem.code, problem.file) for problem in raw.problems], raw


def test_a_folder_of_csv_files(trial_folder):
    found, raw = read(trial_folder)
    assert found == [] and set(raw.tables) == set(NEEDED)
    assert raw.files["trucks"] == raw.tables["trucks"].file == "trucks.csv"
    assert raw.files["storms"] == "storms.csv" and set(raw.files) == set(ALL_TABLES)


def test_every_file_that_is_read_has_its_hash(trial_folder):
    _, raw = read(trial_folder, **{"note.txt": "x", "README.md": "x"})
    assert set(raw.hashes) == {"trial.toml", *(f"{name}.csv" for name in NEEDED)}
    # SHA-256 of the file, by hashlib of the standard library (other software)
    assert raw.hashes["trucks.csv"] == hashlib.sha256(TABLES["trucks"].encode()).hexdigest()


def test_a_workbook(tmp_path):
    found, raw = read(write_trial(tmp_path, workbook=True))
    assert found == [] and set(raw.tables) == set(NEEDED)
    assert raw.files["trucks"] == "trial.xlsx [trucks]" and raw.files["storms"] == "trial.xlsx [storms]"
    assert set(raw.hashes) == {"trial.toml", "trial.xlsx"}


def test_some_tables_in_a_workbook_and_some_beside_it(tmp_path):
    folder = write_trial(tmp_path, workbook=True)
    found, raw = read(folder, **{"storms.csv": "storm_id,start\nA,2030-12-01\n"})
    assert found == [] and raw.files["storms"] == "storms.csv" and "storms" in raw.tables


def test_one_table_in_a_workbook_and_beside_it(tmp_path):
    folder = write_trial(tmp_path, workbook=True)
    found, raw = read(folder, **{"trucks.csv": TABLES["trucks"]})
    assert found == [("table-twice", "trial.xlsx [trucks]")]
    assert "trucks.csv" in raw.problems[0].found


def test_two_files_of_one_table(trial_folder):
    found, raw = read(trial_folder, **{"Trucks.CSV": TABLES["trucks"]})
    assert found == [("table-twice", "trucks.csv")] and raw.problems[0].found.endswith("Trucks.CSV")


def test_two_workbooks(tmp_path):
    folder = write_trial(tmp_path, workbook=True)
    found, raw = read(folder, **{"trial copy.xlsx": (folder / "trial.xlsx").read_bytes()})
    assert found == [("workbook-twice", "trial.xlsx")] and "trial copy.xlsx" in raw.problems[0].found
    assert set(raw.hashes) == {"trial.toml", "trial copy.xlsx"}


def test_what_is_left_alone(trial_folder):
    ignored = [
        "~$trial.xlsx",
        "~$trucks.csv",
        ".trucks.csv",
        ".DS_Store",
        "README.csv",
        "readme.xlsx",
        "photo.jpg",
        "truth.json",
    ]
    found, raw = read(trial_folder, **dict.fromkeys(ignored, b"\0"))
    (trial_folder / "photos").mkdir()
    assert found == [] and not set(ignored) & set(raw.hashes)


@pytest.mark.parametrize(
    ("name", "advice"),
    [
        ("wear_reading.csv", "If it is a copy of wear_readings.csv"),
        ("wear_readings (1).csv", "If it is a copy of wear_readings.csv"),
        ("strom.csv", 'Did you mean "storms.csv"?'),
        ("Sound-.csv", 'Did you mean "sound.csv"?'),
        ("budget.csv", "Tables are named edge_types, trucks"),
        ("storms.xls", "Save it as storms.csv"),
        ("storms.csv.txt", "Save it as storms.csv"),
        (
            "budget.ods",
            "Only .csv files and one .xlsx workbook are read: save it as .xlsx if it holds tables.",
        ),
        ("budget.txt", "Only .csv files and one .xlsx workbook are read."),
        ("trial.toml.txt", "Rename it to trial.toml if it holds the settings."),
        ("settings.toml", "Rename it to trial.toml if it holds the settings."),
    ],
)
def test_files_that_are_not_read_are_listed(trial_folder, name, advice):
    found, raw = read(trial_folder, **{name: "x"})
    assert found == [("file-unknown", name)]
    assert advice in raw.problems[0].fix and not raw.problems[0].stops


def test_sheets_that_are_not_read_are_listed(tmp_path):
    found, raw = read(write_trial(tmp_path, workbook=True, strom="a,b\n1,2\n", zzzzz="a\n1\n"))
    assert found == [("file-unknown", "trial.xlsx [strom]"), ("file-unknown", "trial.xlsx [zzzzz]")]
    assert '"storms"' in raw.problems[0].fix and "your own" in raw.problems[1].fix


def test_a_missing_table(tmp_path):
    found, raw = read(write_trial(tmp_path, trucks=None))
    assert found == [("file-missing", "trucks.csv")] and "plow position" in raw.problems[0].fix


def test_a_missing_table_that_is_there_under_another_name_is_said_once(tmp_path):
    found, raw = read(
        write_trial(tmp_path, wear_readings=None), **{"wear_reading.csv": TABLES["wear_readings"]}
    )
    assert found == [("file-missing", "wear_readings.csv")]
    assert raw.problems[0].fix.startswith("Rename wear_reading.csv to wear_readings.csv")


def test_a_missing_sheet(tmp_path):
    found, raw = read(write_trial(tmp_path, workbook=True, trucks=None, truck=TABLES["trucks"]))
    assert found == [("sheet-missing", "trial.xlsx [trucks]")]
    assert raw.problems[0].fix.startswith("Rename the sheet truck to trucks")


def test_a_needed_table_without_rows(tmp_path):
    found, _ = read(write_trial(tmp_path, trucks="truck_id,plow_position\n", storms="storm_id,start\n"))
    assert found == [("no-rows", "trucks.csv")]


def test_an_unreadable_table_is_not_missing_as_well(tmp_path):
    found, raw = read(write_trial(tmp_path, trucks=b"", edge_sets=TABLES["edge_sets"].replace(",", ";")))
    assert sorted(found) == [("delimiter", "edge_sets.csv"), ("file-empty", "trucks.csv")]
    assert set(raw.tables) == set(NEEDED) - {"trucks", "edge_sets"} and "trucks.csv" in raw.hashes


def test_a_damaged_workbook_may_hold_what_is_missing(tmp_path):
    folder = write_trial(tmp_path, trucks=None)
    found, _ = read(folder, **{"trial.xlsx": b"PK\x03\x04"})
    assert found == [("file-unreadable", "trial.xlsx")]


def test_a_folder_in_the_place_of_a_table(tmp_path):
    folder = write_trial(tmp_path, trucks=None)
    (folder / "trucks.csv").mkdir()
    (folder / "more.xlsx").mkdir()
    found, _ = read(folder)
    assert found == [("not-a-file", "more.xlsx"), ("not-a-file", "trucks.csv")]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_in_the_place_of_a_table_does_not_hang(tmp_path):
    folder = write_trial(tmp_path, trucks=None)
    os.mkfifo(folder / "trucks.csv")
    assert read(folder)[0] == [("not-a-file", "trucks.csv")]


@pytest.mark.parametrize("name", ["trucks.csv", "trial.xlsx"])
def test_a_file_that_may_not_be_read(tmp_path, monkeypatch, name):
    folder = write_trial(tmp_path, workbook=name.endswith("xlsx"))
    read_bytes = type(folder).read_bytes

    def refuse(self):
        if self.name == name:
            raise PermissionError(13, "Permission denied")
        return read_bytes(self)

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    found, raw = read(folder)
    assert found == [("file-unreadable", name)]
    assert raw.problems[0].found == "Permission denied" and name not in raw.hashes


@pytest.mark.parametrize(
    ("place", "found"),
    [("nowhere", "No such file or directory"), ("trial.toml", "Not a directory"), ("a\0b", "not a path")],
)
def test_what_is_no_folder(trial_folder, place, found):
    raw = read_raw_tables(trial_folder / place)
    (problem,) = raw.problems
    assert problem.code == "not-a-folder" and problem.found == found and problem.file.isprintable()
    assert raw.tables == {} and raw.hashes == {}


def test_an_empty_folder_lacks_the_needed_tables_only(tmp_path):
    found, _ = read(tmp_path)
    assert found == [("file-missing", f"{name}.csv") for name in NEEDED]


def test_file_names_that_cannot_be_printed(trial_folder):
    try:
        (trial_folder / os.fsdecode(b"wear\xff.csv")).write_bytes(b"x")
    except OSError:
        pytest.skip("such names cannot be made here")
    assert read(trial_folder)[0] == [("file-unknown", "wear?.csv")]


def test_nothing_in_the_folder_is_changed(trial_folder):
    before = {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in trial_folder.iterdir()}
    read(trial_folder)
    assert before == {
        path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in trial_folder.iterdir()
    }


def test_files_that_changed_since_they_were_read(tmp_path):
    folder = write_trial(tmp_path)
    hashes = read_raw_tables(folder).hashes
    assert changed_since(folder, hashes) == []
    (folder / "trucks.csv").write_text("other")
    (folder / "trial.toml").unlink()
    assert changed_since(folder, hashes) == ["trucks.csv", "trial.toml"]


def test_the_log_of_additions_is_left_alone(tmp_path):
    folder = write_trial(tmp_path)
    (folder / "intake_log.csv").write_text("anything")
    raw = read_raw_tables(folder)
    assert raw.problems == [] and "intake_log.csv" not in raw.hashes
