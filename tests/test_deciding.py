"""A line of decisions is tried before it is written."""

import csv

import pytest
from conftest import replaced, write_trial
from faulty_disk import FaultyDisk, contents, full_disk

from trialkit.errors import UsageError
from trialkit.logbook.deciding import plan_decision, write_decision
from trialkit.logbook.journal import NotAddedError
from trialkit.trial.checks import check_trial

ROW = "S1 | 2031-01-14 | 1 | 1"
LINE = {"table": "wear_readings", "row": ROW, "reason": "slip"}


def correct(folder, **changed):
    return plan_decision(
        folder, **{**LINE, "action": "correct", "column": "height_in", "new": "5 1/8", **changed}
    )


def lines(folder):
    with (folder / "decisions.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_correction_is_written_with_the_old_value_and_carried_out(trial_folder):
    before = (trial_folder / "wear_readings.csv").read_bytes()
    plan = correct(trial_folder, by="AN-1")
    assert (
        plan.against == ()
        and plan.sentence() == f"wear_readings, {ROW}: height_in was 5.190 and is read as 5 1/8 from now on."
    )
    assert not (trial_folder / "decisions.csv").exists()
    write_decision(plan)
    (line,) = lines(trial_folder)
    assert {**line, "when": ""} == {
        "when": "", "table": "wear_readings", "row_key": ROW, "action": "correct", "column": "height_in",
        "old": "5.190", "new": "5 1/8", "reason": "slip", "by": "AN-1",
    }  # fmt: skip
    frame = check_trial(trial_folder).draft.frames["wear_readings"]
    assert frame["height_in"].loc[8] == 5.125 and (trial_folder / "wear_readings.csv").read_bytes() == before


def test_lines_are_only_ever_added(trial_folder):
    header = "by,when,table,row_key,action,column,old,new,reason\r\n"
    (trial_folder / "decisions.csv").write_text(
        header + "A,2031-01-15,trucks,T1 | front,query,,,,why", newline=""
    )
    before = (trial_folder / "decisions.csv").read_bytes()
    write_decision(correct(trial_folder))
    write_decision(correct(trial_folder, new="5.1"))
    after = (trial_folder / "decisions.csv").read_bytes()
    assert after.startswith(before + b"\r\n,") and after.count(b"\r\n") == 4
    assert [line["old"] for line in lines(trial_folder)] == ["", "5.190", "5 1/8"]
    assert check_trial(trial_folder).is_clean


def test_another_unit_than_the_file_has(trial_folder):
    plan = correct(trial_folder, column="height_mm", new="130")
    assert (plan.line["old"], plan.against) == ("131.826", ())
    write_decision(plan)
    assert check_trial(trial_folder).draft.frames["wear_readings"]["height_in"].loc[8] == pytest.approx(
        130 / 25.4
    )


def test_a_blank_cell_can_be_filled(tmp_path):
    folder = write_trial(tmp_path / "t", wear_readings=replaced("wear_readings", "S1,2031-01-14,1,1,5.190,300,R1", "S1,2031-01-14,1,1,5.190,300,"))  # fmt: skip
    plan = correct(folder, column="reader", new="R7")
    assert plan.line["old"] == "" and "reader was blank and is read as R7" in plan.sentence()
    write_decision(plan)
    assert check_trial(folder).draft.frames["wear_readings"]["reader"].loc[8] == "R7"


@pytest.mark.parametrize(
    ("action", "words"),
    [("exclude", "is left out of the analysis"), ("keep", "is kept as it is"), ("query", "is in question")],
)
def test_other_actions(trial_folder, action, words):
    plan = plan_decision(trial_folder, **LINE, action=action)
    assert plan.against == () and words in plan.sentence()
    write_decision(plan)
    assert (8 in check_trial(trial_folder).draft.frames["wear_readings"].index) == (action != "exclude")


@pytest.mark.parametrize(
    ("changed", "code", "words"),
    [
        ({"row": "S1 | 2031-01-15 | 1 | 1"}, "decision-unmatched", "Did you mean"),
        ({"column": "hight_in"}, "decision-invalid", "height_in"),
        ({"new": "5-Mar"}, "decision-invalid", "5 3/8"),
        ({"new": "99"}, "out-of-range", "0 to 24"),
        ({"new": "8"}, "height-above-new", ""),
        ({"old": "5.2"}, "decision-unmatched", "5.190"),
        ({"new": ""}, "decision-invalid", ""),
    ],
)
def test_a_line_that_does_not_fit_is_told_and_not_written(trial_folder, changed, code, words):
    plan = correct(trial_folder, **changed)
    assert code in [problem.code for problem in plan.against]
    assert words in " ".join(str(problem) for problem in plan.against)
    with pytest.raises(NotAddedError, match="something speaks against it"):
        write_decision(plan)
    assert not (trial_folder / "decisions.csv").exists()


def test_a_row_that_is_excluded_already(trial_folder):
    write_decision(plan_decision(trial_folder, **LINE, action="exclude"))
    plan = plan_decision(trial_folder, **LINE, action="exclude")
    assert [problem.code for problem in plan.against] == ["decision-unmatched"]


def test_a_correction_that_changes_nothing(trial_folder):
    with pytest.raises(NotAddedError, match=r"nothing was written: height_in of that row is 5.190 already"):
        correct(trial_folder, new="5.190")


def test_what_it_mends_and_what_comes_to_light(tmp_path):
    readings = replaced("wear_readings", "S1,2031-01-14,1,1,5.190,300", "S1,2031-01-14,1,1,5-Mar,300")
    folder = write_trial(tmp_path / "t", wear_readings=readings)
    assert "1 problem is gone with that." in correct(folder).sentence()
    events = replaced("set_events", "S1,T1,front,2030-11-20", "S1,T1,front,2030-13-20")
    readings = replaced("wear_readings", "S1,2031-01-14,1,1,5.190,300", "S1,2031-01-14,1,1,5.190,50")
    folder = write_trial(tmp_path / "u", set_events=events, wear_readings=readings)
    plan = plan_decision(folder, table="set_events", row="S1 | 2030-13-20 | install", action="correct", column="date", new="2030-11-20", reason="slip")  # fmt: skip
    assert plan.against == () and {problem.code for problem in plan.follows} >= {"counter-backwards"}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"table": "wear_reading"},
            'there is no table "wear_reading" with a key. Did you mean "wear_readings"?',
        ),
        ({"table": "decisions"}, 'there is no table "decisions" with a key'),
        ({"action": "delete"}, '"delete" is not an action; choose exclude, correct, keep, query.'),
        ({"row": " "}, "name the row by its key: set_id | date | station | repeat."),
        ({"reason": "  "}, "give the reason"),
        ({"column": ""}, "name the column that is corrected"),
        ({"action": "exclude"}, "a new value goes with the action correct, not with exclude."),
        ({"reason": "x\ny"}, "reason holds a character that cannot be printed"),
        ({"reason": "x" * 2001}, "reason is longer than 2,000 characters"),
        ({"by": "\ud800"}, "by holds a character that cannot be printed"),
    ],
)
def test_wrong_use_is_told(trial_folder, changed, words):
    with pytest.raises(UsageError) as told:
        correct(trial_folder, **changed)
    assert words in str(told.value)


def test_decisions_in_a_workbook_are_not_added_to(tmp_path):
    decisions = (
        "when,table,row_key,action,column,old,new,reason,by\n2031-01-15,trucks,T1 | front,query,,,,why,A\n"
    )
    folder = write_trial(tmp_path / "t", workbook=True, decisions=decisions)
    with pytest.raises(NotAddedError, match=r"a sheet of trial.xlsx.*Save the sheet as decisions.csv"):
        correct(folder)
    other = write_trial(tmp_path / "u", workbook=True)
    write_decision(correct(other))
    assert check_trial(other).draft.frames["wear_readings"]["height_in"].loc[8] == 5.125


def test_decisions_that_cannot_be_read_stop(trial_folder):
    (trial_folder / "decisions.csv").write_text("when;table\n")
    with pytest.raises(NotAddedError, match=r"decisions.csv is there but cannot be read"):
        correct(trial_folder)


def test_a_text_that_would_not_read_back(trial_folder, monkeypatch):
    monkeypatch.setattr("trialkit.logbook.deciding.read_delimited", lambda data, table, file: (None, []))
    with pytest.raises(NotAddedError, match="would not read back"):
        correct(trial_folder)


def test_a_failure_writes_nothing(trial_folder):
    before = contents(trial_folder)
    plan = correct(trial_folder)
    for number in range(5):
        with pytest.raises(NotAddedError, match="No space left"):
            write_decision(plan, FaultyDisk(number, full_disk, half=True))
        assert contents(trial_folder) == before


def test_a_formula_like_reason_is_text(trial_folder):
    write_decision(correct(trial_folder, reason="=1+1"))
    assert check_trial(trial_folder).draft.exclusions["reason"].tolist() == ["=1+1"]
