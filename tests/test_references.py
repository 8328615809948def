"""Names that another table does not have: said once, with what was probably meant."""

import pytest
from conftest import TABLES, replaced, write_trial
from season import shifts, table

from trialkit.trial import checks, references

MATERIAL = "shift_id,material,quantity_lb\nX1,rock_salt,400\nX99,brine,20\n"


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    """The one problem about names; what material and a plan of miles lack otherwise is said by their own rules."""
    others = ("plan-missing", "lane-miles-missing", "material-missing", "spreader-uncalibrated")
    found = [problem for problem in problems(folder, **tables) if problem.code not in others]
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_misspelled_set_in_readings(tmp_path):
    problem = only(tmp_path, wear_readings=TABLES["wear_readings"].replace("S1,2031", "S-1,2031"))
    assert (problem.code, problem.file, problem.row, problem.column) == (
        "unknown-key",
        "wear_readings.csv",
        8,
        "set_id",
    )
    assert problem.found == '"S-1" in 3 rows'
    assert problem.allowed == "a name from edge_sets.csv (S1, S2, S3, S4)"
    assert problem.fix == 'Did you mean "S1"? If not, add it to edge_sets.csv.'


def test_set_that_edge_sets_lacks_is_said_once_for_all_tables(tmp_path):
    problem = only(tmp_path, edge_sets=replaced("edge_sets", "S4,carbide_insert,L2,1800,bought\n", ""))
    assert problem.found == '"S4" (also in 9 rows of wear_readings.csv)'
    assert problem.fix == "Correct the name, or add it to edge_sets.csv."


def test_truck_that_trucks_lacks_is_said_once_for_all_tables(tmp_path):
    problem = only(tmp_path, trucks=replaced("trucks", "T1,front,11,trip_edge,north\n", ""), shifts=shifts())
    assert (problem.file, problem.found) == ("set_events.csv", '"T1" (also in 10 rows of shifts.csv)')


def test_position_that_the_truck_does_not_have(tmp_path):
    problem = only(tmp_path, set_events=replaced("set_events", "S2,T2,front", "S2,T2,underbody"))
    assert (problem.code, problem.row, problem.column) == ("unknown-key", 3, "plow_position")
    assert problem.found == '"underbody" of T2'
    assert problem.allowed == "front of T2"
    assert problem.fix == "Add T2 with underbody to trucks.csv, or correct truck_id or plow_position."


def test_position_that_several_tables_name_is_said_once(tmp_path):
    plan = "truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi\nT2,underbody,1,2,3\n"
    problem = only(
        tmp_path, set_events=replaced("set_events", "S2,T2,front", "S2,T2,underbody"), fleet_plan=plan
    )
    assert problem.found == '"underbody" of T2 (also in 1 row of fleet_plan.csv)'


def test_shift_that_shifts_lacks(tmp_path):
    problem = only(tmp_path, shifts=shifts(), material=MATERIAL)
    assert (problem.file, problem.row, problem.found) == ("material.csv", 3, '"X99"')
    assert problem.fix == "Correct the name, or add it to shifts.csv."


def test_table_that_is_not_there_is_a_warning(tmp_path):
    problem = only(tmp_path, material=MATERIAL)
    assert (problem.code, problem.severity, problem.column) == ("table-absent", "warning", "shift_id")
    assert problem.found == "filled in 2 rows"
    assert "shifts" in problem.fix


def test_table_that_cannot_be_read_is_not_called_absent(tmp_path):
    assert {p.file for p in problems(tmp_path, material=MATERIAL, shifts=b"\xff\xfe\x00\x00")} == {
        "shifts.csv"
    }


def test_blank_references_are_no_problem(tmp_path):
    sound = "sound_id,shift_id,truck_id,date,task,duration_min,level_dba,exchange_rate_db\nN1,,T1,2031-01-05,blade_down,30,80,3\n"
    assert problems(tmp_path, sound=sound) == ()


def test_position_of_a_truck_without_a_name_may_be_the_unknown_one(tmp_path):
    trucks = TABLES["trucks"] + ",underbody,11,fixed,north\n"
    found = only(tmp_path, trucks=trucks, set_events=replaced("set_events", "S2,T2,front", "S2,T2,underbody"))
    assert found.code == "cell-missing"


def test_row_without_a_name_may_be_the_unknown_one(tmp_path):
    assert only(tmp_path, edge_sets=table("edge_sets", r3_set_id="")).code == "cell-missing"


@pytest.mark.parametrize(
    ("found", "known", "said"),
    [
        ("S-1", ["S1", "S2"], 'Did you mean "S1"?'),
        ("s01", ["S1", "S11"], 'Did you mean "S1"?'),
        ("SH-101", ["SH-211", "SH-110"], ""),
        ("carbid insert", ["plain_steel", "carbide_insert"], 'Did you mean "carbide_insert"?'),
        ("CI-09", ["PS-09"], ""),
        ("12", ["T-12", "T-21"], 'Did you mean "T-12"?'),
        ("S", ["S1"], 'Did you mean "S1"?'),
    ],
)
def test_suggestions_keep_the_number(found, known, said):
    assert references.suggestion(found, known) == said


def test_very_many_unknown_names_are_counted(tmp_path):
    rows = "".join(f"U{k},2031-01-14,1,1,5,300,R1,caliper,0.005,no\n" for k in range(1005))
    found = problems(tmp_path, wear_readings=TABLES["wear_readings"] + rows)
    assert len(found) == 1001
    assert [p.found for p in found if p.row is None] == ["5 more rows like the 1,000 listed"]
