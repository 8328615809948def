"""The field workbook: its sheets, drop-downs, formats and locks, and that it reads back as it was written."""

import io
import shutil
from pathlib import Path

import pytest
from conftest import write_trial
from openpyxl import load_workbook

from trialkit import columns as c
from trialkit.field import entry_rules, known, new_trial, workbook
from trialkit.tables import TABLES
from trialkit.trial import checks
from trialkit.trial.files import read_raw_tables
from trialkit.trial.workbooks import read_workbook

DEMO = Path(__file__).parents[1] / "data_demo"


def opened(content):
    return load_workbook(io.BytesIO(content))


@pytest.fixture(scope="module")
def empty():
    return opened(workbook.workbook_bytes())


@pytest.fixture(scope="module")
def demo():
    return workbook.workbook_bytes(known.known_in(DEMO))


def letter(sheet, name):
    return next(cell.column_letter for cell in sheet[1] if cell.value == name)


def rule(sheet, name):
    cell = f"{letter(sheet, name)}2"
    rules = [rule for rule in sheet.data_validations.dataValidation if cell in rule.sqref]
    assert len(rules) == 1, f"{sheet.title}.{name}"
    return rules[0]


# ---------------------------------------------------------------- sheets
def test_there_is_a_sheet_for_every_table_and_three_that_explain(empty):
    assert empty.sheetnames == ["_start", *TABLES, "_dictionary", "_lists"]


@pytest.mark.parametrize("name", TABLES)
def test_row_1_is_the_header_frozen_locked_and_explained(empty, name):
    sheet = empty[name]
    assert [cell.value for cell in sheet[1]] == list(TABLES[name].names)
    assert sheet.freeze_panes == "B2"
    assert sheet.protection.sheet
    assert sheet.protection.password is None
    for cell in sheet[1]:
        column = TABLES[name].column(cell.value)
        assert cell.protection.locked
        assert column.about in cell.comment.text
        assert ("Must be filled" in cell.comment.text) == column.required
        assert not sheet.column_dimensions[cell.column_letter].protection.locked
    assert sheet.max_row == 1


def test_the_unit_of_a_column_is_said_beside_it(empty):
    cell = next(cell for cell in empty["wear_readings"][1] if cell.value == c.HEIGHT_IN)
    assert "Unit: in." in cell.comment.text
    assert "5 3/8" in cell.comment.text


def test_the_dictionary_has_a_row_for_every_column(empty):
    rows = [tuple(cell.value for cell in row) for row in empty["_dictionary"].iter_rows()]
    assert rows[0] == workbook.DICTIONARY_HEADER
    assert [(row[0], row[1]) for row in rows[1:]] == [
        (table.name, column.name) for table in TABLES.values() for column in table.columns
    ]
    needed = {(row[0], row[1]) for row in rows[1:] if row[5] == "yes"}
    assert needed == {(t.name, col.name) for t in TABLES.values() for col in t.columns if col.required}


# ---------------------------------------------------------------- what a cell takes
def every_column():
    return [(table.name, column) for table in TABLES.values() for column in table.columns]


@pytest.mark.parametrize(
    ("table", "column"), [pair for pair in every_column() if pair[1].choices], ids=lambda v: getattr(v, "name", v)
)  # fmt: skip
def test_words_come_from_a_list_that_cannot_be_passed_over(empty, table, column):
    found = rule(empty[table], column.name)
    assert (found.type, found.errorStyle) in {("list", None), ("list", "stop")}
    assert found.formula1 == f'"{",".join(column.choices)}"'
    assert len(found.formula1) <= entry_rules.LONGEST_LIST
    assert found.showErrorMessage


@pytest.mark.parametrize(
    ("table", "column"), [pair for pair in every_column() if pair[1].refers_to], ids=lambda v: getattr(v, "name", v)
)  # fmt: skip
def test_names_are_offered_from_their_own_sheet_and_another_one_can_be_typed(empty, table, column):
    found = rule(empty[table], column.name)
    source = empty[column.refers_to]
    place = letter(source, column.name)
    assert found.errorStyle == "warning"
    assert found.formula1.startswith(f"OFFSET({column.refers_to}!${place}$2,0,0,")
    assert f"COUNTA({column.refers_to}!${place}$2:${place}$" in found.formula1  # it grows as rows are added


def test_stations_readers_and_operators_are_offered_from_the_sheet_of_lists(demo):
    book = opened(demo)
    lists = book["_lists"]
    assert [cell.value for cell in lists[1]] == ["station", "reader", "operator"]
    assert [cell.value for cell in lists["A"][1:6]] == [1, 2, 3, 4, 5]
    assert "R1" in [cell.value for cell in lists["B"]]
    assert "OP-01" in [cell.value for cell in lists["C"]]
    assert "_lists!$A$2" in rule(book["wear_readings"], c.STATION).formula1
    assert "_lists!$B$2" in rule(book["gauge_readings"], c.READER).formula1
    assert "_lists!$C$2" in rule(book["shifts"], c.OPERATOR).formula1


@pytest.mark.parametrize(
    ("table", "column", "expected"),
    [
        ("wear_readings", c.HEIGHT_IN, "@"),  # so that 5 3/8 does not become a day
        ("edge_types", c.USABLE_DEPTH_IN, "@"),
        ("trucks", c.TRUCK_ID, "@"),  # so that 007 stays 007
        ("wear_readings", c.DATE, "yyyy-mm-dd"),
        ("shifts", c.START, "yyyy-mm-dd hh:mm"),
        ("wear_readings", c.COUNTER_MI, "General"),
        ("edge_types", c.SECTIONS_N, "0"),
    ],
)
def test_cells_are_typed(empty, table, column, expected):
    sheet = empty[table]
    assert sheet.column_dimensions[letter(sheet, column)].number_format == expected


def test_numbers_and_days_have_the_bounds_of_the_dictionary(empty):
    score = rule(empty["operator_ratings"], c.SCORE)
    assert (score.type, score.formula1, score.formula2) == ("whole", "1", "5")
    level = rule(empty["sound"], c.LEVEL_DBA)
    assert (level.type, level.formula1, level.formula2) == ("decimal", "0", "140")
    assert "from 0 to 140" in level.error
    day = rule(empty["set_events"], c.DATE)
    assert (day.type, day.formula1, day.formula2) == ("date", "DATE(1990,1,1)", "DATE(2100,12,31)")


def test_a_metric_workbook_asks_for_metric_units_without_the_bounds_of_inches():
    book = opened(workbook.workbook_bytes(known.nothing_known(metric=True)))
    sheet = book["wear_readings"]
    assert "height_mm" in [cell.value for cell in sheet[1]]
    assert sheet.column_dimensions[letter(sheet, "height_mm")].number_format == "General"
    assert rule(sheet, "height_mm").formula2 == "1e+09"
    assert "dictionary" in book["_dictionary"].oddHeader.left.text


# ---------------------------------------------------------------- back again
def test_an_empty_workbook_reads_back_as_empty_tables():
    book = read_workbook(workbook.workbook_bytes(), "field_workbook.xlsx")
    assert book.problems == []
    assert book.others == []
    assert {name: len(table.frame) for name, table in book.tables.items()} == dict.fromkeys(TABLES, 0)


def test_known_rows_read_back_as_they_stand_in_the_folder(demo):
    before = read_raw_tables(DEMO).tables
    after = read_workbook(demo, "field_workbook.xlsx").tables
    for name in known.NAMED_BY:
        assert after[name].frame.astype(object).fillna("").to_dict("records") == (
            before[name].frame.astype(object).fillna("").to_dict("records")
        ), name


def test_known_rows_are_locked_and_the_rows_below_are_open(demo):
    sheet = opened(demo)["trucks"]
    assert all(cell.protection.locked for cell in sheet[2])
    assert not sheet.column_dimensions["A"].protection.locked


def test_a_filled_workbook_is_a_trial_without_any_csv(tmp_path):
    folder = write_trial(tmp_path / "trial")
    tables = read_raw_tables(folder).tables
    book = opened(workbook.workbook_bytes())
    for name, table in tables.items():
        header = [cell.value for cell in book[name][1]]
        for number, row in enumerate(table.frame.astype(object).fillna("").to_dict("records"), start=2):
            for spelled, text in row.items():
                if text:
                    book[name].cell(number, header.index(spelled) + 1, text)
    filled = tmp_path / "filled"
    filled.mkdir()
    book.save(filled / "trial.xlsx")
    shutil.copy(folder / "trial.toml", filled)
    assert checks.check_trial(filled).problems == checks.check_trial(folder).problems == ()


ODD = '=HYPERLINK("x")'
STRANGE = [
    "=1+1",
    "+1",
    "-1",
    "@x",
    'O\'Neil, "Bob"',
    "شاحنة-٣",
    "x" * 200,
    "007",
    "1e5",
    "#REF!",
    "TRUE",
    "2031-01-14",
]


@pytest.mark.parametrize("name", [*STRANGE, ODD])
def test_names_that_look_like_something_else_stay_text(tmp_path, name):
    quoted = '"' + name.replace('"', '""') + '"'
    folder = write_trial(tmp_path / "trial", trucks=f"truck_id,plow_position\n{quoted},front\n")
    new_trial.fresh_workbook(folder)
    cell = load_workbook(folder / "field_workbook.xlsx")["trucks"]["A2"]
    assert (cell.value, cell.data_type) == (name, "s")
    assert cell.quotePrefix == name.startswith(("=", "+", "-", "@"))
    read = read_workbook((folder / "field_workbook.xlsx").read_bytes(), "w").tables["trucks"]
    assert read.frame["truck_id"].tolist() == [name]


def test_columns_of_ones_own_are_kept_and_missing_ones_are_added(tmp_path):
    folder = write_trial(tmp_path / "trial", trucks="Truck_ID,plow_position,garage\nT1,front,east\n")
    offered = known.known_in(folder)
    assert offered.headers["trucks"][:3] == ("Truck_ID", "plow_position", "garage")
    assert c.PLOW_WIDTH_FT in offered.headers["trucks"]
    assert offered.rows["trucks"] == [{"Truck_ID": "T1", "plow_position": "front", "garage": "east"}]
    sheet = opened(workbook.workbook_bytes(offered))["trucks"]
    assert "column of your own" in sheet["C1"].comment.text


def test_only_the_last_rows_of_a_long_table_are_offered(tmp_path):
    rows = "".join(f"S{n},plain_steel\n" for n in range(known.MOST_ROWS + 10))
    folder = write_trial(tmp_path / "trial", edge_sets="set_id,edge_type\n" + rows)
    offered = known.known_in(folder).rows["edge_sets"]
    assert (len(offered), offered[0]["set_id"]) == (known.MOST_ROWS, "S10")
