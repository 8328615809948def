"""What a file of new rows holds, and what is wrong with it by itself."""

import hashlib

import pytest
from intake_trials import FEBRUARY, HEADER, book, source

from trialkit.errors import UsageError
from trialkit.logbook import incoming
from trialkit.logbook.incoming import faulty, read_incoming, table_named


def test_a_csv_file_is_read_in_its_own_units(tmp_path):
    path = source(tmp_path, "S1,2031-02-10,1,,136.5", header="set_id,date,station,repeat,height_mm")
    found = read_incoming(path)
    table = found.tables["wear_readings"]
    assert table.heading("height_in").unit == "mm" and table.values["height_in"].tolist() == [136.5]
    assert found.sha256 == hashlib.sha256(path.read_bytes()).hexdigest() and found.problems == ()


@pytest.mark.parametrize(
    ("stem", "table"),
    [("wear_readings", "wear_readings"), ("Wear_Readings 2031", "wear_readings"), ("sound-3", "sound"),
     ("sounds", ""), ("set_events_wear_readings", "set_events"), ("", ""), ("readings", "")],
)  # fmt: skip
def test_the_table_from_the_name_of_the_file(stem, table):
    assert table_named(stem) == table


def test_a_workbook_gives_its_tables_and_says_what_it_leaves_alone(tmp_path):
    rows = [["storm_id", "start"], ["W1", "2031-01-02"], [None, None], ["W2", "2031-01-09"]]
    path = book(tmp_path / "f.xlsx", storms=rows, dictionary=[["x"]], shift=[["y"]], readme=[["z"]])
    found = read_incoming(path)
    assert list(found.tables) == ["storms"] and found.tables["storms"].rows.tolist() == [2, 4]
    assert found.notes == (
        'The sheet "dictionary" is not a table of the trial and was left alone.',
        'The sheet "shift" is not a table of the trial and was left alone. Did you mean "shifts"?',
    )


def test_only_the_named_sheets_are_looked_at(tmp_path):
    path = book(tmp_path / "f.xlsx", storms=[["storm_id", "start"], ["W1", "x"]], trucks=[["nothing known"]])
    found = read_incoming(path, ["storms"])
    assert list(found.tables) == ["storms"] and [p.code for p in found.problems] == ["not-a-date"]
    assert found.notes == ("Not looked at, since --table names others: trucks.",)


@pytest.mark.parametrize(
    ("name", "tables", "words"),
    [
        ("readings.csv", (), "the name readings.csv does not say which table it holds: name it with --table"),
        (
            "readings.csv",
            ("wear_reading",),
            'there is no table "wear_reading". Did you mean "wear_readings"?',
        ),
        ("readings.csv", ("sound", "trucks"), "a CSV file holds one table"),
        ("readings.ods", (), "readings.ods is not read: save it as .xlsx"),
        ("none.csv", (), "there is no file"),
        ("", (), "is a folder; name the workbook or CSV file"),
        ("x\0.csv", (), "there is no file"),
        ("x" * 300 + ".csv", (), "there is no file"),
    ],
)
def test_wrong_use_is_told(tmp_path, name, tables, words):
    for ending in ("csv", "ods"):
        source(tmp_path, *FEBRUARY, name=f"readings.{ending}")
    with pytest.raises(UsageError) as told:
        read_incoming(tmp_path / name, tables)
    assert words in str(told.value) or "cannot be read" in str(told.value)


def test_a_workbook_without_a_table_is_told(tmp_path):
    path = book(tmp_path / "f.xlsx", notes=[["x"]], more=[["y"]])
    with pytest.raises(
        UsageError, match=r"no sheet of f.xlsx is named like a table. Sheets: notes, more; tables: edge_types"
    ):
        read_incoming(path)
    path = book(tmp_path / "g.xlsx", storms=[["storm_id", "start"]])
    with pytest.raises(UsageError, match=r"g.xlsx has no sheet trucks. Its sheets: storms"):
        read_incoming(path, ["trucks"])


def test_a_damaged_workbook_is_a_problem(tmp_path):
    (tmp_path / "f.xlsx").write_bytes(b"no workbook")
    (problem,) = read_incoming(tmp_path / "f.xlsx").problems
    assert problem.code == "file-unreadable"


def test_a_file_that_is_too_large_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(incoming, "LONGEST_FILE", 10)
    with pytest.raises(UsageError, match="is larger than 0 MB"):
        read_incoming(source(tmp_path, *FEBRUARY))


def test_cells_and_ranges_are_told_with_the_rows_of_the_file(tmp_path):
    lines = [
        FEBRUARY[0],
        FEBRUARY[1].replace("4.790", "5-Mar"),
        FEBRUARY[2].replace("4.770", "99"),
        FEBRUARY[2][2:],
    ]
    found = read_incoming(source(tmp_path, *lines))
    assert {(p.code, p.row) for p in found.problems} >= {
        ("date-for-number", 3),
        ("out-of-range", 4),
        ("cell-missing", 5),
    }
    assert faulty(found.tables["wear_readings"]).tolist() == [False, True, True, True]


def test_columns_that_are_left_out_do_not_count(tmp_path):
    path = source(tmp_path, FEBRUARY[0] + ",x,why", header=HEADER + ",mine,rejected_because")
    found = read_incoming(path, leave_out=["Mine", "tool"])
    table = found.tables["wear_readings"]
    assert (
        "mine" not in table.headings
        and "tool" not in table.headings
        and "rejected_because" not in table.headings
    )
    assert found.problems == ()
    with pytest.raises(UsageError, match="has no column nonsense"):
        read_incoming(path, leave_out=["nonsense"])
