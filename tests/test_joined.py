"""The rules on the old and new rows together; in a large trial on what is linked with the new rows."""

from pathlib import Path

import pytest
from intake_trials import FEBRUARY, OLD, source, trial_and_source

from trialkit.logbook import intakes, joined
from trialkit.logbook.joined import joined_tables
from trialkit.trial.checks import check_trial

DEMO = Path(__file__).parents[1] / "data_demo"


OF_THE_WHOLE_TRIAL = ("material-missing",)
"""Doubts that count something in the whole trial."""


def told(plan):
    problems = [p for p in (*plan.errors, *plan.warnings) if p.code not in OF_THE_WHOLE_TRIAL]
    return {(p.code, p.file, p.row, p.column, p.found) for p in problems}


def test_what_was_wrong_before_is_not_held_against_the_rows(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    readings = (
        (folder / "wear_readings.csv")
        .read_text()
        .replace("S4,2031-01-14,1,1,4.915", "S4,2031-01-14,1,1,4.975")
    )
    (folder / "wear_readings.csv").write_text(readings)
    assert [p.code for p in check_trial(folder).problems] == ["height-rises"]
    assert told(intakes.plan_intake(path, folder)) == set()


def test_new_rows_can_break_a_rule_together_with_old_ones(tmp_path):
    folder, path = trial_and_source(tmp_path, FEBRUARY[0].replace(",400,", ",250,"), FEBRUARY[1])
    plan = intakes.plan_intake(path, folder)
    assert [(p.code, p.file, p.row) for p in plan.errors] == [("counter-backwards", path.name, 2)]


def test_new_rows_can_mend_what_was_wrong(tmp_path):
    folder, path = trial_and_source(tmp_path, *FEBRUARY, wear_readings=None)
    assert "file-missing" in {p.code for p in check_trial(folder).problems}
    plan = intakes.plan_intake(path, folder)
    assert "file-missing" not in {p.code for p in plan.errors}


def test_a_missing_sheet_is_given(tmp_path):
    from trialkit.errors import Problem
    from trialkit.trial.files import RawTables

    folder, path = trial_and_source(tmp_path, *FEBRUARY)
    growths = {t.name: t.growth for t in intakes.plan_intake(path, folder).tables}
    problems = [
        Problem("sheet-missing", "trial.xlsx [wear_readings]"),
        Problem("sheet-missing", "trial.xlsx [trucks]"),
    ]
    left = joined_tables(RawTables(problems=problems), growths).problems
    assert left == problems[1:]


CASES = {
    "clean": FEBRUARY,
    "counter": [FEBRUARY[0].replace(",400,", ",250,"), *FEBRUARY[1:]],
    "rise": [FEBRUARY[0].replace("4.800", "5.900"), *FEBRUARY[1:]],
    "unknown set": [FEBRUARY[0].replace("S1", "S9")],
    "station": [FEBRUARY[0].replace("10,1,1", "10,44,1")],
    "before install": [FEBRUARY[0].replace("2031-02", "2029-02")],
    "there": [OLD, OLD.replace("5.190", "5.290")],
}


@pytest.mark.parametrize("case", CASES)
def test_looking_at_what_is_linked_finds_the_same(tmp_path, monkeypatch, case):
    folder, path = trial_and_source(tmp_path, *CASES[case])
    whole = intakes.plan_intake(path, folder)
    monkeypatch.setattr(joined, "LARGE", 0)
    part = intakes.plan_intake(path, folder)
    assert part.is_partial == (case != "there") and not whole.is_partial  # nothing to add, nothing to look at
    assert told(part) == told(whole)
    assert [t.growth.tail for t in part.tables] == [t.growth.tail for t in whole.tables]


DEMO_ROWS = {
    "wear_readings": [
        "PS-03,2030-12-04,5,3,4.2,,R1,rule,0.03,no,",
        "PS-01,2030-11-07,1,,7.9,2204,R1,rule,0.03,no,",
        "RC-01,2030-11-20,1,,5.40,100,R1,rule,0.03,no,",
        "XX-01,2030-11-20,1,,5.40,100,R1,rule,0.03,no,",
        "CI-02,2031-04-20,1,,5.40,9000,R1,rule,0.03,no,",
    ],
    "shifts": [
        "SH-900,W-01,T-02,front,x,OP-1,2030-11-19T15:00,2030-11-19T14:15,64026,64100,20,counter,1,2,2,loose,",
        "SH-901,W-01,T-05,front,x,OP-1,2030-11-19T15:00,2030-11-19T19:15,35000,35100,20,counter,1,2,2,loose,",
        "SH-902,W-99,T-77,front,x,OP-1,2030-11-19T15:00,2030-11-19T19:15,1,100,20,counter,1,2,2,loose,",
    ],
    "set_events": ["PS-02,T-01,front,2030-12-15T06:00,install,,900,41500,new,no,1,0,64,"],
    "material": ["SH-004,brine,,50,0.1,23,", "SH-999,brine,,50,0.1,23,"],
}


@pytest.mark.parametrize("table", DEMO_ROWS)
def test_looking_at_what_is_linked_finds_the_same_in_the_demo(tmp_path, monkeypatch, table):
    header = (DEMO / f"{table}.csv").read_text(encoding="utf-8").splitlines()[0]
    path = source(tmp_path / "in", *DEMO_ROWS[table], header=header, name=f"{table}.csv")
    whole = intakes.plan_intake(path, DEMO)
    assert {p.file for p in whole.errors} <= {
        f"in/{table}.csv",
        "wear_readings.csv",
        "set_events.csv",
        "shifts.csv",
    }
    monkeypatch.setattr(joined, "LARGE", 0)
    part = intakes.plan_intake(path, DEMO)
    assert whole.errors and told(part) == told(whole)
