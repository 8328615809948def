"""`trialkit plan`: what it leaves behind, what it never touches, and what it says about a folder that cannot be planned from."""

import io
import json

import pytest
from conftest import TABLES
from in_process import notebooks_in_process
from plan_trials import HEADS, TRUCKS, folder_to_plan, plan_settings
from pypdf import PdfReader

from trialkit import __main__ as command_line
from trialkit.errors import ReportError, TrialDataError, UsageError
from trialkit.report import plan_files, plan_study
from trialkit.trial import checks

FILES = {
    "assignment_sheet.pdf", "change_form.pdf", "notebooks/08_plan.ipynb", "plan.json", "rating_form.pdf", "reading_sheets.pdf",
    "shift_form.pdf", "tables/planned_assignment.csv", "tables/planned_balance.csv", "tables/planned_sizes.csv",
    "trial_plan.html", "trial_plan.pdf",
}  # fmt: skip


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(plan_study, "SIZES", ())
    with notebooks_in_process():
        yield


def text_of(path):
    return " ".join(
        " ".join(page.extract_text() for page in PdfReader(io.BytesIO(path.read_bytes())).pages).split()
    )


def rows_of(folder):
    return (folder / "assignments.csv").read_text(encoding="utf-8").splitlines()


def test_a_folder_with_trucks_and_edge_types_gets_a_plan_sheets_and_an_assignment(tmp_path):
    folder = folder_to_plan(tmp_path / "t", assignments=None)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    written = plan_files.write_plan(folder)
    assert written.folder == folder / "plan"
    assert written.first == folder / "plan" / "trial_plan.html"
    assert set(written.files) >= FILES
    assert {
        p.relative_to(written.folder).as_posix() for p in written.folder.rglob("*") if p.is_file()
    } == set(written.files)
    assert {name: (folder / name).read_bytes() for name in before} == before
    rows = rows_of(folder)
    assert rows[0] == "truck_id,plow_position,period,edge_type,how,reason"
    assert len(rows) == 9
    assert all(row.endswith(",random,") for row in rows[1:])
    assert "8 rows added to assignments.csv." in written.said
    assert any("can show" in said for said in written.said)
    page = (written.folder / "trial_plan.html").read_text(encoding="utf-8")
    for words in (
        "What is asked, and how is it decided?",
        "Who carries what?",
        "drawn with seed 1",
        "lock out the hydraulics",
    ):
        assert words in page
    assert "T8, Front" in text_of(written.folder / "reading_sheets.pdf")
    assert "drawn with seed 1" in text_of(written.folder / "assignment_sheet.pdf")
    record = json.loads((written.folder / "plan.json").read_text(encoding="utf-8"))
    assert (record["seed"], record["assignment"], record["seed_gives_the_assignment"]) == (1, "drawn", True)


def test_a_second_run_keeps_the_assignment_and_other_files_in_the_folder(tmp_path):
    folder = folder_to_plan(tmp_path / "t")
    plan_files.write_plan(folder)
    rows = rows_of(folder)
    (folder / "plan" / "signed.pdf").write_text("scan")
    written = plan_files.write_plan(folder, seed="99")
    assert rows_of(folder) == rows
    assert "assignments.csv was kept as it is." in written.said
    assert (folder / "plan" / "signed.pdf").read_text() == "scan"
    assert not list((folder / "plan").rglob(".*"))


def test_rows_are_added_to_forced_ones_under_the_header_of_the_file(tmp_path):
    mine = 'reason,Truck_ID,plow_position,edge_type,how,garage\r\n"fixed, no trip",T1,front,plain_steel,forced,east'
    folder = folder_to_plan(tmp_path / "t", assignments=mine)
    plan_files.write_plan(folder)
    rows = rows_of(folder)
    assert rows[:2] == mine.split("\r\n")
    assert len(rows) == 9
    assert rows[2].startswith(",T2,front,")
    assert rows[2].endswith(",random,")
    assert checks.check_trial(folder).draft.frames["assignments"]["truck_id"].tolist() == [
        f"T{n}" for n in range(1, 9)
    ]


def test_another_seed_is_told_of_so_that_it_can_be_kept(tmp_path):
    written = plan_files.write_plan(folder_to_plan(tmp_path / "t"), seed="2033")
    assert (
        "Write seed = 2033 into trial.toml, so that the draw can be repeated from the folder." in written.said
    )


def test_once_a_set_is_on_a_truck_the_plan_stays_and_the_sheets_are_new(tmp_path):
    folder = folder_to_plan(tmp_path / "t")
    plan_files.write_plan(folder)
    page = folder / "plan" / "trial_plan.html"
    page.write_text("as signed", encoding="utf-8")
    for name in HEADS:
        (folder / f"{name}.csv").write_text(TABLES[name], encoding="utf-8")
    written = plan_files.write_plan(folder)
    assert page.read_text(encoding="utf-8") == "as signed"
    assert "trial_plan.html" not in written.files
    assert (
        "The first set went on a truck on November 20, 2030, so trial_plan.html stays as it was; the sheets are new."
        in written.said
    )
    assert written.first.suffix == ".pdf"
    assert "Reading 4 of this set" in text_of(folder / "plan" / "reading_sheets.pdf")
    fresh = plan_files.write_plan(folder, tmp_path / "elsewhere")
    assert "no proof that it was agreed beforehand" in " ".join(fresh.said)


def test_a_table_that_is_not_needed_and_wrong_is_named(tmp_path):
    readings = TABLES["wear_readings"].replace("S1,2030-12-18,1,1,5.600", "S1,2030-12-18,1,1,5-Jun")
    folder = folder_to_plan(tmp_path / "t", **{**{n: TABLES[n] for n in HEADS}, "wear_readings": readings})
    said = plan_files.write_plan(folder).said
    assert "Set aside, because something in it is wrong: wear_readings." in said


def test_both_papers_are_written_side_by_side(tmp_path):
    files = plan_files.write_plan(folder_to_plan(tmp_path / "t"), paper="both").files
    assert {"reading_sheets.pdf", "reading_sheets_a4.pdf", "trial_plan.pdf", "trial_plan_a4.pdf"} <= set(
        files
    )
    with pytest.raises(UsageError, match='"a3" is not a paper; allowed: letter, a4, both'):
        plan_files.write_plan(folder_to_plan(tmp_path / "t2"), paper="a3")


def test_a_metric_trial_is_printed_on_a4_in_metric_words(tmp_path):
    settings = 'units = "metric"\n' + plan_settings(run_in_mi=100.0)
    written = plan_files.write_plan(folder_to_plan(tmp_path / "t", settings=settings))
    page = PdfReader(io.BytesIO((written.folder / "shift_form.pdf").read_bytes())).pages[0]
    assert round(float(page.mediabox[3])) == 842
    html = (written.folder / "trial_plan.html").read_text(encoding="utf-8")
    assert "The first 161 kilometers after an install are left out" in html
    assert " miles" not in html


def test_a_draw_is_not_written_into_a_workbook(tmp_path):
    from openpyxl import load_workbook

    folder = tmp_path / "t"
    from conftest import write_trial

    write_trial(
        folder,
        workbook=True,
        **HEADS,
        trucks=TRUCKS,
        assignments="truck_id,plow_position,edge_type,how,reason\n",
    )
    before = (folder / "trial.xlsx").read_bytes()
    said = plan_files.write_plan(folder).said
    assert (
        "The draw is in planned_assignment.csv: copy its 8 rows into trial.xlsx [assignments]. A workbook is not written to."
        in said
    )
    assert (folder / "trial.xlsx").read_bytes() == before
    assert load_workbook(folder / "trial.xlsx")["assignments"].max_row == 1


def test_nothing_is_written_where_the_plan_cannot_be_made(tmp_path):
    folder = folder_to_plan(tmp_path / "t", trucks="truck_id,plow_position\n")
    with pytest.raises(TrialDataError, match="no-rows"):
        plan_files.write_plan(folder)
    bad = folder_to_plan(
        tmp_path / "u", assignments="truck_id,plow_position,edge_type,how\nT1,front,plain_steel,forced\n"
    )
    with pytest.raises(UsageError, match="no reason is given"):
        plan_files.write_plan(bad)
    assert not (folder / "plan").exists()
    assert not (bad / "plan").exists()
    (tmp_path / "file").write_text("")
    good = folder_to_plan(tmp_path / "v")
    with pytest.raises(ReportError, match="the plan could not be written"):
        plan_files.write_plan(good, tmp_path / "file" / "plan")


def test_a_file_that_is_not_utf_8_is_not_added_to(tmp_path):
    forced = "truck_id,plow_position,edge_type,how,reason\nT1,front,plain_steel,forced,défaut\n".encode(
        "latin-1"
    )
    folder = folder_to_plan(tmp_path / "t", assignments=forced)
    with pytest.raises(UsageError, match=r"assignments\.csv is not UTF-8, so nothing is added to it"):
        plan_files.write_plan(folder)
    assert (folder / "assignments.csv").read_bytes() == forced


ODD = (
    "truck_id,plow_position,block\n"
    + '"O\'Neil, ""Bob""",front,=1+1\n"cmd, =2",front,"a|b"\nشاحنة-٣,front,\n'
    + "x" * 200
    + ",front,y\n"
)


def test_odd_names_pass_through_every_document(tmp_path):
    folder = folder_to_plan(tmp_path / "t", trucks=ODD)
    written = plan_files.write_plan(folder)
    page = (written.folder / "trial_plan.html").read_text(encoding="utf-8")
    assert "O&#39;Neil, &#34;Bob&#34;" in page
    assert "x" * 200 in page
    names = checks.check_trial(folder).draft.frames["assignments"]["truck_id"].tolist()
    assert sorted(names) == sorted(['O\'Neil, "Bob"', "cmd, =2", "شاحنة-٣", "x" * 200])


def test_a_name_that_looks_like_a_formula_is_refused_before_anything_is_written(tmp_path):
    folder = folder_to_plan(tmp_path / "t", trucks='truck_id,plow_position\n"=cmd",front\n')
    with pytest.raises(TrialDataError, match="formula-unsaved"):
        plan_files.write_plan(folder)
    assert not (folder / "plan").exists()


def test_the_command_prints_what_it_did_and_ends_with_the_page(tmp_path, capsys):
    folder = folder_to_plan(tmp_path / "t", trucks="truck_id,plow_position\nT1,front\nT2,front\n")
    assert command_line.main(["plan", str(folder), "--seed", "7"]) == command_line.CLEAN
    lines = capsys.readouterr().out.splitlines()
    assert "2 rows added to assignments.csv." in lines
    assert lines[-1] == str(folder / "plan" / "trial_plan.html")
    assert command_line.main(["plan", str(folder), "--seed", "x"]) == command_line.WRONG_USE
    assert 'The seed is "x"; allowed: a whole number, 0 or more.' in capsys.readouterr().err
