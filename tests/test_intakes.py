"""What an intake would add, what it skips, and what speaks against it."""

import hashlib

import pytest
from conftest import TABLES, write_trial
from intake_trials import FEBRUARY, HEADER, OLD, book, source, trial_and_source

from trialkit.errors import UsageError
from trialkit.logbook import intakes
from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.journal import NotAddedError
from trialkit.trial.checks import check_trial


def only(plan):
    (table,) = plan.tables
    return table


def codes(problems):
    return [problem.code for problem in problems]


def test_new_rows_are_added_and_known_ones_skipped(tmp_path):
    folder, path = trial_and_source(tmp_path, OLD, *FEBRUARY)
    before = {item.name: item.read_bytes() for item in folder.iterdir()}
    plan = plan_intake(path, folder)
    assert plan.may_be_added and (plan.n_added, plan.n_there, plan.n_rejected) == (3, 1, 0)
    assert only(plan).growth.tail.decode() == "\n".join(FEBRUARY) + "\n"
    assert {item.name: item.read_bytes() for item in folder.iterdir()} == before


def test_the_same_key_with_other_values_is_shown_and_stops(tmp_path):
    folder, path = trial_and_source(tmp_path, OLD.replace("5.190", "5.290"), *FEBRUARY)
    plan = plan_intake(path, folder)
    (problem,) = plan.errors
    assert (problem.code, problem.file, problem.row, problem.column) == (
        "row-differs",
        path.name,
        2,
        "height_in",
    )
    assert problem.found == "5.290" and problem.allowed == "5.190, as in row 8 of wear_readings.csv"
    assert "trialkit decide" in problem.fix


def test_several_differences_are_named(tmp_path):
    folder, path = trial_and_source(tmp_path, OLD.replace("5.190", "5.290").replace("R1", "R9"))
    (problem,) = plan_intake(path, folder).errors
    assert problem.column == "" and problem.found == "height_in 5.290; reader R9"


def test_two_rows_of_the_file_that_differ_are_both_left_out(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY, FEBRUARY[0].replace("4.800", "4.700"), FEBRUARY[1])
    plan = plan_intake(path, folder)
    assert {(p.code, p.row) for p in plan.errors} == {
        ("row-differs", 5)
    } and "Keep the row that is right" in plan.errors[0].fix
    clean = plan_intake(path, folder, accept_clean=True)
    assert sorted(only(clean).rejected) == [0, 3] and clean.n_added == 2 and clean.n_there == 1


def test_a_file_of_the_same_name_is_told_apart(tmp_path):
    folder = write_trial(tmp_path / "trial")
    path = source(tmp_path / "garage", FEBRUARY[0].replace("4.800", "x"), name="wear_readings.csv")
    (problem,) = plan_intake(path, folder).errors
    assert problem.file == "garage/wear_readings.csv"


def test_cells_and_rules_are_told_together_in_the_words_of_the_file(tmp_path):
    lines = [
        "S1,2031-02-10,1,1,121.92,400,R1,caliper,no",
        "S9,2031-02-10,1,1,121.92,400,R1,caliper,no",
        "S2,2031-02-10,1,1,5-Mar,500,R1,caliper,no",
        "S2,2031-02-10,2,1,9000,500,R1,caliper,no",
        "S4,2031-02-10,1,1,124.0,10,R1,caliper,no",
    ]
    header = HEADER.replace("height_in", "height_mm").replace("resolution_in,", "")
    folder, path = trial_and_source(tmp_path, *lines, header=header)
    plan = plan_intake(path, folder)
    found = {(p.code, p.file, p.row, p.column) for p in plan.errors}
    assert found == {
        ("unknown-key", path.name, 3, "set_id"),
        ("date-for-number", path.name, 4, "height_mm"),
        ("out-of-range", path.name, 5, "height_mm"),
        ("counter-backwards", path.name, 6, "counter_mi"),
    }
    clean = plan_intake(path, folder, accept_clean=True)
    assert (
        clean.may_be_added
        and only(clean).growth.positions == (0,)
        and sorted(only(clean).rejected) == [1, 2, 3, 4]
    )
    assert only(clean).growth.tail.decode() == "S1,2031-02-10,1,1,4.8,400,R1,caliper,,no\n"


def test_accepting_the_clean_rows_leaves_out_all_that_name_something_unknown(tmp_path):
    lines = [
        row.replace("S1", "S9").replace("10,1,", f"10,{n},") for n in range(1, 40) for row in FEBRUARY[:1]
    ]
    folder, path = trial_and_source(tmp_path, *lines, *FEBRUARY)
    clean = plan_intake(path, folder, accept_clean=True)
    assert clean.n_added == 3 and clean.n_rejected == 39
    assert {p.code for found in only(clean).rejected.values() for p in found} == {"unknown-key"}


def test_accepting_the_clean_rows_across_tables(tmp_path):
    folder = write_trial(tmp_path / "trial")
    path = book(
        tmp_path / "f.xlsx",
        edge_sets=[["set_id", "edge_type"], ["S5", "plain_steel"], ["S6", "nonsense"]],
        set_events=[
            ["set_id", "truck_id", "plow_position", "date", "event", "counter_mi", "reason"],
            ["S1", "T1", "front", "2031-02-11", "remove", 400, "worn_to_limit"],
            ["S5", "T1", "front", "2031-02-12", "install", 400, "new"],
            ["S6", "T2", "front", "2031-02-12", "install", 600, "new"],
            ["S5", "T1", "wing_left", "2031-02-13", "install", 400, "new"],
        ],
        wear_readings=[HEADER.split(","), FEBRUARY[0].split(",")],
    )
    plan = plan_intake(path, folder)
    assert {p.code for p in plan.errors} >= {"unknown-key"} and not plan.may_be_added
    clean = plan_intake(path, folder, accept_clean=True)
    added = {table.name: table.growth.positions for table in clean.tables}
    assert added == {"edge_sets": (0,), "set_events": (0, 1), "wear_readings": (0,)}
    assert clean.may_be_added


def test_an_old_row_that_is_broken_by_a_new_one_is_traced_to_it(tmp_path):
    late = "S1,2030-11-25,1,1,5.950,999,R1,caliper,0.005,no"  # then the old counters run backwards
    folder, path = trial_and_source(tmp_path, late, *FEBRUARY)
    plan = plan_intake(path, folder)
    assert "counter-backwards" in codes(plan.errors)
    clean = plan_intake(path, folder, accept_clean=True)
    assert clean.may_be_added and 0 in only(clean).rejected


def test_very_many_faulty_rows_do_not_hide_the_good_ones(tmp_path):
    lines = [f"S1,2031-02-10,{n % 60 + 1},{n // 60 + 2},x{n},400,R1,caliper,0.005,no" for n in range(1500)]
    folder, path = trial_and_source(tmp_path, *lines, *FEBRUARY)
    clean = plan_intake(path, folder, accept_clean=True)
    assert clean.n_rejected == 1500 and only(clean).growth.positions == (1500, 1501, 1502)


def test_rounds_do_not_go_on_for_ever(tmp_path, monkeypatch):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("S1", "S9"), *FEBRUARY)
    monkeypatch.setattr(intakes, "MOST_ROUNDS", 0)
    clean = plan_intake(path, folder, accept_clean=True)
    assert clean.n_added == 0 and clean.n_rejected == 4


def test_a_column_that_the_trial_lacks_stops_unless_it_is_added_or_left_out(tmp_path):
    header = HEADER.replace(",resolution_in", "")
    readings = "\n".join(
        line.rsplit(",", 2)[0] + "," + line.rsplit(",", 1)[1] for line in TABLES["wear_readings"].splitlines()
    )
    folder, path = trial_and_source(tmp_path, *FEBRUARY, wear_readings=readings + "\n")
    assert readings.startswith(header)
    plan = plan_intake(path, folder)
    assert {(p.code, p.column, p.row) for p in plan.errors} == {
        ("column-not-in-trial", "resolution_in", row) for row in (2, 3, 4)
    }
    assert "--add-columns" in plan.errors[0].fix and "--leave-out resolution_in" in plan.errors[0].fix
    left = plan_intake(path, folder, leave_out=["resolution_in"])
    assert left.may_be_added and left.left_out == ("resolution_in",)
    assert only(left).growth.tail.decode().splitlines()[0] == FEBRUARY[0].replace(",0.005", "")
    added = plan_intake(path, folder, add_columns=True)
    content = only(added).growth.addition().tail.decode().splitlines()
    assert (
        added.may_be_added and content[0] == header + ",resolution_in" and content[-1].endswith(",no,0.005")
    )
    assert content[1] == readings.splitlines()[1] + ","


def test_a_blank_column_that_the_trial_lacks_does_not_matter(tmp_path):
    folder, path = trial_and_source(tmp_path, *(row + "," for row in FEBRUARY), header=HEADER + ",note")
    assert plan_intake(path, folder).may_be_added


def test_a_new_table_becomes_a_file(tmp_path):
    folder = write_trial(tmp_path / "trial")
    path = source(tmp_path / "in", "W1,2031-01-02", header="storm_id,start", name="storms.csv")
    plan = plan_intake(path, folder)
    assert plan.may_be_added and only(plan).growth.addition().path == folder / "storms.csv"


def test_doubts_come_along_and_do_not_stop(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("4.800", "5.900"))
    plan = plan_intake(path, folder)
    assert plan.may_be_added and [(p.code, p.file, p.row) for p in plan.warnings] == [
        ("height-rises", path.name, 2)
    ]


def test_a_header_that_cannot_be_read_stops_the_table(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY, header=HEADER.replace("height_in", "hight"))
    assert "column-missing" in codes(plan_intake(path, folder).errors)
    clean = plan_intake(path, folder, accept_clean=True)
    assert clean.n_added == 0 and clean.n_rejected == 3
    path = source(tmp_path / "in", "1;2", header="set_id;date;station;height_in", name="wear_readings_2.csv")
    clean = plan_intake(path, folder, accept_clean=True)
    assert codes(clean.errors) == ["delimiter"] and not clean.may_be_added


def test_a_file_of_the_trial_itself_is_not_taken_in(tmp_path):
    folder = write_trial(tmp_path / "trial")
    with pytest.raises(UsageError, match="is in the trial folder itself"):
        plan_intake(folder / "wear_readings.csv", folder)
    path = book(folder / "field_workbook.xlsx", wear_readings=[HEADER.split(","), FEBRUARY[0].split(",")])
    assert plan_intake(path, folder).n_added == 1


def test_a_trial_in_a_workbook_is_not_added_to_and_the_way_out_works(tmp_path):
    folder = write_trial(tmp_path / "trial", workbook=True)
    path = source(tmp_path / "in", *FEBRUARY)
    with pytest.raises(
        NotAddedError, match=r"the trial keeps wear_readings in trial.xlsx.*move trial.xlsx out of the folder"
    ):
        plan_intake(path, folder)
    (folder / "trial.xlsx").rename(tmp_path / "trial.xlsx")
    plan = plan_intake(tmp_path / "trial.xlsx", folder)
    assert plan.may_be_added and plan.n_added == sum(text.count("\n") - 1 for text in TABLES.values())


def test_a_table_that_cannot_be_read_is_not_added_to(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY, wear_readings="set_id;date;station;height_in\n")
    with pytest.raises(
        NotAddedError, match=r"wear_readings.csv of the trial cannot be read; `trialkit check` says why"
    ):
        plan_intake(path, folder)


def test_a_trial_that_changes_or_cannot_be_opened_while_it_is_planned_is_told(tmp_path, monkeypatch):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    read = intakes.read_raw_tables

    def read_and_meanwhile(place):
        raw = read(place)
        (folder / "wear_readings.csv").write_text("other")
        return raw

    monkeypatch.setattr(intakes, "read_raw_tables", read_and_meanwhile)
    with pytest.raises(NotAddedError, match=r"wear_readings\.csv was changed meanwhile"):
        plan_intake(path, folder)

    def read_and_gone(place):
        raw = read(place)
        (folder / "wear_readings.csv").unlink()
        return raw

    (folder / "wear_readings.csv").write_text(TABLES["wear_readings"])
    monkeypatch.setattr(intakes, "read_raw_tables", read_and_gone)
    with pytest.raises(NotAddedError, match=r"wear_readings\.csv cannot be read: No such file"):
        plan_intake(path, folder)


def test_a_dry_run_beside_an_addition_that_was_cut_short(tmp_path, monkeypatch):
    from trialkit.trial import unfinished

    monkeypatch.setattr(unfinished.wait_for_others, "__defaults__", (0.0,))
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    old = (folder / "wear_readings.csv").read_bytes()
    tail = FEBRUARY[0].encode() + b"\n"
    change = unfinished.Change("wear_readings.csv", len(old), hashlib.sha256(old).hexdigest(), tail)
    (folder / unfinished.JOURNAL).write_bytes(unfinished.journal_bytes((change,)))
    (folder / "wear_readings.csv").write_bytes(old + tail)
    assert plan_intake(path, folder).n_added == 3


def test_columns_that_cannot_be_added_are_told(tmp_path, monkeypatch):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0] + ",x", header=HEADER + ",mine")
    monkeypatch.setattr(intakes, "widened", lambda *args: None)
    with pytest.raises(NotAddedError, match=r"columns cannot be added to wear_readings\.csv"):
        plan_intake(path, folder, add_columns=True)


def test_a_new_column_that_the_encoding_of_the_file_cannot_hold(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0] + ",x", header=HEADER + ",水位")
    table = folder / "wear_readings.csv"
    table.write_bytes(table.read_text().replace("R1", "Noël").encode("cp1252"))
    before = table.read_bytes()
    with pytest.raises(
        NotAddedError, match=r"written in cp1252, which lacks a letter of the new column 水位"
    ):
        plan_intake(path, folder, add_columns=True)
    assert table.read_bytes() == before
    assert plan_intake(path, folder, leave_out=["水位"]).may_be_added


def test_a_cell_that_cannot_be_kept_is_told_with_its_row(tmp_path):
    folder = write_trial(tmp_path / "trial")
    rows = [["storm_id", "start", "mine"], ["W1", "2031-01-02", "a\n1,2,3,4,5,6"], ["W2", "2031-01-03", "y"]]
    path = book(tmp_path / "f.xlsx", storms=rows)
    assert codes(plan_intake(path, folder).errors) == ["cell-not-kept"]
    clean = plan_intake(path, folder, accept_clean=True)
    assert only(clean).growth.positions == (1,) and list(only(clean).rejected) == [0]


def test_decisions_can_be_taken_in_and_are_carried_out(tmp_path):
    folder = write_trial(tmp_path / "trial")
    header = "when,table,row_key,action,column,old,new,reason,by"
    line = "2031-01-20,wear_readings,S1 | 2031-01-14 | {},exclude,,,,ice,A"
    path = source(tmp_path / "in", line.format(1), line.format(9), header=header, name="decisions.csv")
    plan = plan_intake(path, folder)
    assert [(p.code, p.row) for p in plan.errors] == [("decision-unmatched", 3)]
    clean = plan_intake(path, folder, accept_clean=True)
    assert only(clean).growth.positions == (0,)
    assert check_trial(folder).is_clean


def test_a_header_with_a_sign_that_is_not_printed_is_no_obstacle_the_second_time(tmp_path):
    folder = write_trial(tmp_path / "trial")
    path = tmp_path / "storms.csv"
    path.write_bytes(b"storm_id,start,end,\x07\nW1,2030-12-01,2030-12-02,3.5\n")
    assert plan_intake(path, folder).n_added == 1
    (folder / "storms.csv").write_bytes(path.read_bytes())
    again = plan_intake(path, folder)
    assert (again.n_added, again.n_there) == (0, 1)
