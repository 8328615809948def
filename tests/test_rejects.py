"""Rows that were not taken in, in a workbook that can be mended and taken in again."""

import io

from intake_trials import FEBRUARY, HEADER, OLD, book, source, trial_and_source
from openpyxl import load_workbook

from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.rejects import save_rejects, workbook_bytes


def cells(path, sheet="wear_readings"):
    return [[cell.value for cell in row] for row in load_workbook(path)[sheet].iter_rows()]


def test_every_rejected_row_is_there_as_it_was_typed_with_the_reason(tmp_path):
    lines = [
        FEBRUARY[0].replace("4.800", "5-Mar"),
        FEBRUARY[1].replace("S1", "S9").replace("4.790", "4 3/4"),
        OLD.replace("5.190", "5.3"),
    ]
    folder, path = trial_and_source(tmp_path, *lines, FEBRUARY[2])
    plan = plan_intake(path, folder, accept_clean=True)
    rejects = save_rejects(plan)
    header, *rows = cells(rejects)
    assert header == [*HEADER.split(","), "rejected_because"]
    assert [[cell or "" for cell in row[:-1]] for row in rows] == [line.split(",") for line in lines]
    assert "row 2: height_in is 5-Mar" in rows[0][-1] and "[date-for-number]" in rows[0][-1]
    assert '"S9"' in rows[1][-1] and "5.190, as in row 8 of wear_readings.csv" in rows[2][-1]


def test_a_mended_file_of_rejected_rows_is_taken_in(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("S1", "S9"), *FEBRUARY[1:])
    rejects = save_rejects(plan_intake(path, folder, accept_clean=True))
    mended = load_workbook(rejects)
    mended["wear_readings"]["A2"] = "S1"
    mended.save(rejects)
    plan = plan_intake(rejects, folder)
    assert plan.may_be_added and plan.n_added == 1
    assert plan.tables[0].growth.tail.decode().strip() == FEBRUARY[0]


def test_nothing_is_written_over(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("S1", "S9"))
    plan = plan_intake(path, folder, accept_clean=True)
    names = [save_rejects(plan).name for _ in range(3)]
    assert names == [f"wear_readings_feb_rejects{tail}.xlsx" for tail in ("", "_2", "_3")]
    again = plan_intake(path.with_name(names[1]), folder, accept_clean=True)
    assert save_rejects(again).name == "wear_readings_feb_rejects_4.xlsx"
    assert save_rejects(plan_intake(source(tmp_path / "in", *FEBRUARY), folder, accept_clean=True)) is None


def test_the_rejects_of_a_field_workbook_in_the_trial_folder_are_no_part_of_the_trial(tmp_path):
    folder, _ = trial_and_source(tmp_path, *FEBRUARY)
    path = book(
        folder / "field_workbook.xlsx",
        wear_readings=[HEADER.split(","), FEBRUARY[0].replace("S1", "S9").split(",")],
    )
    rejects = save_rejects(plan_intake(path, folder, accept_clean=True))
    assert rejects.name == "field_workbook_rejects.xlsx"
    assert plan_intake(rejects, folder).errors[0].code == "unknown-key"


def test_no_cell_is_a_formula_a_number_or_a_date():
    texts = [
        "=1+1",
        '=HYPERLINK("http://x","y")',
        "+2",
        "-2",
        "@SUM(A1)",
        "007",
        "5 3/8",
        "2031-01-14",
        "",
        "x\x00\x07\ud800\n",
    ]
    read = load_workbook(io.BytesIO(workbook_bytes([("s", [texts])])))["s"]
    found = next(iter(read.iter_rows()))
    assert [cell.value for cell in found] == [*texts[:8], None, "x\\u0000\\u0007\\ud800\n"]
    assert {cell.data_type for cell in found[:8]} == {"s"} and {cell.number_format for cell in found[:8]} == {
        "@"
    }
    assert [bool(cell.quotePrefix) for cell in found[:8]] == [
        True,
        True,
        True,
        True,
        True,
        False,
        False,
        False,
    ]
