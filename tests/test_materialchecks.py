"""Rules for material: one broken cell, one doubt."""

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.trial import checks

SHIFTS = """\
shift_id,truck_id,plow_position,start,end,lane_miles_treated
X1,T1,front,2030-12-02T05:00,2030-12-02T11:00,{x1}
X2,T2,front,2030-12-02T05:00,2030-12-02T11:00,20
X3,T3,front,2030-12-02T05:00,2030-12-02T11:00,0
"""
MATERIAL = """\
shift_id,material,{unit},quantity_gal,concentration_pct
X1,{what},{x1},,
X2,rock_salt,{x2},,
X2,brine,,100,23
"""
CALIBRATED = (
    TABLES["trucks"]
    .replace("block\n", "block,spreader_calibrated_on\n")
    .replace("north\n", "north,2030-10-01\n")
)


def problems(folder, settings=SETTINGS, shifts=None, trucks=None, extra="", **cells):
    usual = {"what": "rock_salt", "unit": "quantity_lb", "x1": "4000", "x2": "4000"}
    lane_mi = cells.pop("x1_miles", "20")
    text = MATERIAL.format(**usual | cells) + extra
    shifts = SHIFTS.format(x1=lane_mi) if shifts is None else shifts
    trucks = trucks or CALIBRATED.replace("south\n", "south,2030-10-01\n")
    folder = write_trial(folder, settings=settings, shifts=shifts, material=text, trucks=trucks)
    return list(checks.check_trial(folder).problems)


def only(folder, **cells):
    found = problems(folder, **cells)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_material_that_fits_gives_no_problem(tmp_path):
    assert problems(tmp_path) == []


def test_too_much_salt_per_lane_mile(tmp_path):
    problem = only(tmp_path, x1="16000")
    assert (problem.code, problem.severity, problem.file, problem.row, problem.column) == (
        "material-rate", "warning", "material.csv", 2, "quantity_lb",
    )  # fmt: skip
    assert problem.found == "16000 lb over 20 lane-miles, which is 800 lb per lane-mile"
    assert problem.allowed == "50 to 500 lb per lane-mile"
    assert "set material.treated_basis to two_lane_mile" in problem.fix


def test_the_mix_up_of_lanes_is_not_named_where_it_would_not_help(tmp_path):
    assert "two_lane_mile" not in only(tmp_path, x1="160000").fix


def test_too_little_salt_is_most_often_tons_typed_as_pounds(tmp_path):
    assert only(tmp_path, x1="2").found == "2 lb over 20 lane-miles, which is 0 lb per lane-mile"


def test_sand_may_be_spread_at_a_higher_rate(tmp_path):
    assert problems(tmp_path, what="sand_salt", x1="16000") == []
    assert only(tmp_path, what="sand_salt", x1="32000").allowed == "50 to 1500 lb per lane-mile"


def test_declared_two_lane_miles_halve_the_rate(tmp_path):
    settings = SETTINGS + '[material]\ntreated_basis = "two_lane_mile"\n'
    assert problems(tmp_path, settings=settings, x1="16000") == []


def test_metric_files_are_told_in_kilograms(tmp_path):
    problem = only(tmp_path, unit="quantity_kg", x1="8000", x2="2000")
    # 8000 kg over 20 lane-miles, 32.19 lane-km; NIST SP 811: 1 mi = 1.609344 km
    assert problem.found == "8000 kg over 32.19 lane-kilometers, which is 249 kg per lane-kilometer"
    assert problem.allowed == "14 to 141 kg per lane-kilometer"


def test_material_where_no_lane_mile_was_treated(tmp_path):
    problem = only(tmp_path, x1_miles="0")
    assert problem.found == "4000 lb in a shift that treated no lane-miles"


def test_shifts_that_treated_without_a_record_are_not_zero_use(tmp_path):
    shifts = SHIFTS.format(x1="20") + "X4,T1,front,2030-12-03T05:00,2030-12-03T11:00,15\n"
    problem = only(tmp_path, shifts=shifts)
    assert (problem.code, problem.file, problem.row) == ("material-missing", "shifts.csv", 5)
    assert problem.found == "above 0 in 1 shift without a row in material (X4)"
    assert "never counted as none spread" in problem.fix


def test_material_without_lane_miles(tmp_path):
    problem = only(tmp_path, x1_miles="")
    assert (problem.code, problem.row) == ("lane-miles-missing", 2)
    assert problem.found == "blank in 1 shift with material (X1)"


def test_shifts_without_the_column_of_lane_miles(tmp_path):
    shifts = (
        SHIFTS.replace(",lane_miles_treated", "")
        .replace(",{x1}\n", "\n")
        .replace(",20\n", "\n")
        .replace(",0\n", "\n")
    )
    problem = only(tmp_path, shifts=shifts)
    assert (problem.code, problem.file, problem.row, problem.found) == (
        "lane-miles-missing", "shifts.csv", None, "not in the header",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("on", "found"),
    [("", "blank for T1 and T2"), ("2030-12-24", "after the first material of T1 and T2")],
)
def test_spreaders_without_a_calibration(tmp_path, on, found):
    trucks = CALIBRATED.replace("2030-10-01", on).replace("south\n", "south,\n")
    problem = only(tmp_path, trucks=trucks)
    assert (problem.code, problem.file, problem.row) == ("spreader-uncalibrated", "trucks.csv", 2)
    assert problem.found == found


def test_a_trial_that_records_no_calibrations_is_told_once(tmp_path):
    assert only(tmp_path, trucks=TABLES["trucks"]).found == "blank for T1 and T2"


def test_trucks_of_two_positions_without_a_column_of_calibrations(tmp_path):
    trucks = TABLES["trucks"] + "T1,wing_left,9,fixed,north\n"
    assert "blank for T1 and T2" in {problem.found for problem in problems(tmp_path, trucks=trucks)}


def test_nothing_is_said_of_material_without_shifts(tmp_path):
    folder = write_trial(
        tmp_path, material=MATERIAL.format(what="rock_salt", unit="quantity_lb", x1="9", x2="9")
    )
    assert {problem.code for problem in checks.check_trial(folder).problems} <= {
        "unknown-key",
        "table-absent",
    }
