"""What the analyst reads about an intake."""

from intake_trials import FEBRUARY, HEADER, OLD, book, trial_and_source

from trialkit.logbook.intake_text import done_text, plan_text
from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.taking import take_in


def text_of(tmp_path, *lines, all_rows=False, header=HEADER, **choices):
    folder, path = trial_and_source(tmp_path, *lines, header=header)
    return plan_text(plan_intake(path, folder, **choices), all_rows=all_rows)


def test_counts_and_first_rows(tmp_path):
    more = [f"S1,2031-02-10,{n},1,4.{n},400,R1,caliper,0.005,no" for n in (10, 11, 12)]
    said = text_of(tmp_path, OLD, *FEBRUARY, *more)
    assert (
        said.splitlines()[0]
        == "wear_readings_feb.csv -> wear_readings.csv: 6 rows to add and 1 row already there."
    )
    assert "  + S1, 2031-02-10, station 1: height_in 4.800, counter_mi 400, reader R1" in said
    assert "  + 1 more row\n" in said and "station 12:" not in said
    assert "station 12:" in text_of(tmp_path, OLD, *FEBRUARY, *more, all_rows=True)


def test_conflicts_stand_side_by_side(tmp_path):
    said = text_of(tmp_path, OLD.replace("5.190", "5 3/16").replace("R1", ""))
    assert "1 row that says something else" in said
    assert "  ! S1, 2031-01-14, station 1 is row 8 of wear_readings.csv already, and differs:" in said
    assert "      height_in  there: 5.190   here: 5 3/16\n" in said
    assert "1 error: nothing can be added until it is mended. `--accept-clean` adds" in said
    rows = [f"{['S1', 'S2', 'S3', 'S4'][n // 3]},2031-01-14,{n % 3 + 1},1,1.0,,,,," for n in range(8)]
    assert "  ! 3 more rows that differ" in text_of(tmp_path, *rows)


def test_what_else_there_is_to_say(tmp_path):
    doubled = FEBRUARY[0].replace("R1,", ",")
    said = text_of(tmp_path, doubled, doubled, OLD.replace("R1", ""))
    assert "1 row of the file stands in it twice, and counted once." in said
    assert "1 row of the trial has cells that are blank in the file; they stay." in said
    assert "2 rows already there" in said


def test_formula_like_cells_are_told(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace("R1", "@R1"))
    assert "1 cell begins with one of = + - @ and is kept as text" in plan_text(plan_intake(path, folder))


def test_a_new_file_new_columns_and_left_out_rows(tmp_path):
    folder, path = trial_and_source(
        tmp_path, FEBRUARY[0] + ",x", FEBRUARY[1].replace("S1", "S9") + ",", header=HEADER + ",mine"
    )
    said = plan_text(plan_intake(path, folder, add_columns=True, accept_clean=True))
    assert (
        "1 row to add and 1 row left out" in said
        and "wear_readings.csv gets new columns at its right" in said
    )
    path = book(
        tmp_path / "f.xlsx", storms=[["storm_id", "start"], ["W1", "2031-01-02"]], **{"my\tlist": [["x"]]}
    )
    said = plan_text(plan_intake(path, folder))
    assert "f.xlsx [storms] -> storms.csv (a new file): 1 row to add." in said
    assert 'The sheet "my?list" is not a table' in said


def test_sheets_without_rows_are_named_and_not_entered_in_the_log(tmp_path):
    folder, _ = trial_and_source(tmp_path)
    sheets = {"storms": [["storm_id", "start"]], "trucks": [["truck_id", "plow_position"], ["T9", "front"]]}
    plan = plan_intake(book(tmp_path / "f.xlsx", **sheets), folder)
    said = plan_text(plan)
    assert "  + T9, front\n" in said and "Without rows: storms." in said and "storms.csv" not in said
    take_in(plan)
    assert (folder / "intake_log.csv").read_text().count("\n") == 2
    empty = plan_intake(book(tmp_path / "g.xlsx", storms=sheets["storms"]), folder)
    before = (folder / "intake_log.csv").read_bytes()
    assert take_in(empty).rejects is None and done_text(empty) == "Nothing to add."
    assert (folder / "intake_log.csv").read_bytes() == before and not (folder / "storms.csv").exists()


def test_nothing_from_the_file_reaches_the_terminal_as_a_control_code(tmp_path):
    said = text_of(tmp_path, FEBRUARY[0].replace("R1", "R\x1b[31m"), FEBRUARY[1].replace("S1", "S\u202e9"))
    assert all(sign.isprintable() or sign == "\n" for sign in said)


def test_warnings_and_a_very_large_trial(tmp_path, monkeypatch):
    monkeypatch.setattr("trialkit.logbook.joined.LARGE", 0)
    said = text_of(tmp_path, FEBRUARY[0].replace("4.800", "5.900"))
    assert "1 warning would come with the new rows." in said and "The trial is very large" in said


def test_what_was_done(tmp_path):
    folder, path = trial_and_source(tmp_path, OLD, *FEBRUARY, FEBRUARY[0].replace("S1", "S9"))
    plan = plan_intake(path, folder, accept_clean=True)
    assert done_text(plan, "r.xlsx") == (
        "Added: 3 rows to wear_readings.csv. Skipped, since the trial has them: 1 row. "
        "Left out: 1 row, with the reasons in r.xlsx."
    )
    folder, path = trial_and_source(tmp_path, OLD)
    assert done_text(plan_intake(path, folder)) == "Nothing to add. Skipped, since the trial has them: 1 row."
