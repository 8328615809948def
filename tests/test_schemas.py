"""Column rules: impossible and doubtful numbers, in the words and the unit of the file, and keys."""

import pandas as pd
import pytest
from conftest import TABLES, replaced, write_trial
from season import shifts, table

from trialkit.tables import SOUND, WEAR_READINGS
from trialkit.tables import TABLES as DESCRIBED
from trialkit.trial import checks, schemas
from trialkit.trial.findings import Source

SOUND_HEADER = "sound_id,shift_id,truck_id,date,task,duration_min,level_dba,exchange_rate_db,speed_mph\n"


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


# ---------------------------------------------------------------- the schemas
@pytest.mark.parametrize("name", list(DESCRIBED))
@pytest.mark.parametrize("doubtful", [False, True])
def test_every_table_has_a_schema_with_its_numbers(name, doubtful):
    schema = schemas.table_schema(DESCRIBED[name], doubtful=doubtful)
    assert set(schema.columns) == {column.name for column in DESCRIBED[name].columns if column.is_numeric}


def test_schema_accepts_and_refuses_a_frame_by_itself():
    import pandera.pandas as pa

    schema = schemas.table_schema(WEAR_READINGS)
    good = pd.DataFrame({"height_in": [0.0, 24.0, None], "station": [1, 60, 2]})
    assert schema.validate(good, lazy=True) is not None
    with pytest.raises(pa.errors.SchemaErrors) as caught:
        schema.validate(pd.DataFrame({"height_in": [-1.0, 25.0], "station": [0.5, 61]}), lazy=True)
    assert sorted(item.check.error for item in caught.value.schema_errors) == [
        "high",
        "high",
        "low",
        "low",
        "whole",
    ]


def source(table, frame, **more):
    return Source(table, frame, f"{table.name}.csv", {name: name for name in frame}, {}, **more)


def test_whole_numbers_and_choices_of_numbers():
    frame = pd.DataFrame({"exchange_rate_db": [3.0, 4.0]}, index=pd.RangeIndex(2, 4, name="row"))
    (problem,) = schemas.check_cells(source(SOUND, frame))
    assert (problem.code, problem.row, problem.found, problem.allowed) == ("not-a-choice", 3, "4", "3 or 5")
    frame = pd.DataFrame({"station": [1.0, 2.5]}, index=pd.RangeIndex(2, 4, name="row"))
    (problem,) = schemas.check_cells(source(WEAR_READINGS, frame))
    assert (problem.code, problem.row, problem.found) == ("not-whole", 3, "2.5")


# ---------------------------------------------------------------- impossible
@pytest.mark.parametrize(
    ("name", "cells", "found", "allowed"),
    [
        ("wear_readings", {"r5_height_in": "-1"}, "-1", "a number from 0 to 24 in"),
        ("wear_readings", {"r5_station": "61"}, "61", "a whole number from 1 to 60"),
        ("wear_readings", {"r5_resolution_in": "0"}, "0", "a number above 0 to 1 in"),
        ("wear_readings", {"r5_counter_mi": "2000000"}, "2000000", "a number from 0 to 1000000 mi"),
        ("trucks", {"r2_plow_width_ft": "0"}, "0", "a number above 0 to 40 ft"),
        ("edge_sets", {"r2_unit_price_usd": "-400"}, "-400", "a number from 0 to 1000000 $"),
    ],
)
def test_impossible_values(tmp_path, name, cells, found, allowed):
    problem = only(tmp_path, **{name: table(name, **cells)})
    assert (problem.code, problem.found, problem.allowed) == ("out-of-range", found, allowed)
    assert problem.fix == "Correct the cell."


def test_value_in_another_unit(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r5_height_in="142.2"))
    assert (problem.row, problem.column, problem.found) == (5, "height_in", "142.2")
    assert problem.key == "S1, 2030-12-18, station 1"
    assert (
        problem.fix == "It looks like millimeters: convert it, or name the column height_mm if all of it is."
    )


def test_column_in_another_unit_is_said_once(tmp_path):
    cells = {f"r{row}_height_in": f"{100 + row}" for row in range(2, 38)}
    problem = only(tmp_path, wear_readings=table("wear_readings", **cells))
    assert (problem.row, problem.key) == (2, "")
    assert problem.found == "from 102 to 137 in 36 of 36 rows"
    assert problem.fix == "The column looks like millimeters: name it height_mm."


def test_bounds_are_said_in_the_unit_of_the_file(tmp_path):
    text = table(
        "trucks",
        r1_plow_width_ft="plow_width_m",
        r2_plow_width_m="20",
        r3_plow_width_m="3",
        r4_plow_width_m="3",
        r5_plow_width_m="3",
    )
    problem = only(tmp_path, trucks=text)
    assert (problem.column, problem.found, problem.allowed) == (
        "plow_width_m",
        "20",
        "a number above 0 to 12.192 m",
    )
    assert problem.fix == "Correct the cell."


def test_very_many_impossible_values_are_counted(tmp_path):
    rows = "".join(
        f"S1,2030-12-{k % 28 + 1:02d},{k // 28 + 1},1,-3,,R1,caliper,0.005,no\n" for k in range(1008)
    )
    found = [
        p
        for p in problems(tmp_path, wear_readings=TABLES["wear_readings"] + rows)
        if p.code == "out-of-range"
    ]
    assert len(found) == 1001
    assert found[0].found == "8 more rows like the 1,000 listed"


# ---------------------------------------------------------------- doubtful
def test_doubtful_value_is_a_warning(tmp_path):
    problem = only(
        tmp_path,
        edge_types=replaced("edge_types", "6,3,set", "1.5,1.2,set").replace("5,1.5,set", "5,1.5,set"),
        wear_readings=low_heights(),
    )
    assert (problem.code, problem.severity, problem.row, problem.column) == (
        "doubtful-value",
        "warning",
        3,
        "new_height_in",
    )
    assert (problem.found, problem.allowed) == ("1.5", "usually from 2 to 12 in")
    assert problem.fix == "Check it; if it is right, nothing is to be done."


def low_heights():
    rows = [line.split(",") for line in TABLES["wear_readings"].splitlines()]
    for row in rows[1:]:
        if row[0] in ("S1", "S3"):
            row[4] = f"{float(row[4]) - 4.5:.3f}"
    return "\n".join(map(",".join, rows)) + "\n"


def test_doubtful_value_that_would_be_usual_in_another_unit(tmp_path):
    sound = SOUND_HEADER + "N1,,T1,2031-01-05,blade_down,30,80,3,75\n"
    near = only(tmp_path / "near", sound=sound)
    assert (near.found, near.fix) == ("75", "Check it; if it is right, nothing is to be done.")
    problem = only(tmp_path / "far", storms="storm_id,start,snow_in\nW1,2030-12-01,150\n")
    assert problem.found == "150"
    assert problem.fix.startswith("Check it: in millimeters it would be usual (then the column is snow_mm).")


def test_doubtful_column_in_another_unit_is_said_once(tmp_path):
    storms = "storm_id,start,snow_in\n" + "".join(f"W{k},2030-12-0{k},{100 + k}\n" for k in range(1, 6))
    problem = only(tmp_path, storms=storms)
    assert problem.found == "from 101 to 105 in 5 of 5 rows"
    assert problem.fix == "The column looks like millimeters: name it snow_mm."


# ---------------------------------------------------------------- keys
def test_same_key_with_another_height(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r9_station="1"))
    assert (problem.code, problem.row, problem.found) == ("duplicate-key", 9, "also in row 8")
    assert problem.allowed == "one row for each set_id + date + station + repeat"
    assert problem.fix == "Number repeated readings 1, 2, ... in repeat, or correct the row that is wrong."


def test_exact_copy_of_a_row(tmp_path):
    text = TABLES["wear_readings"] + TABLES["wear_readings"].splitlines()[5] + "\n"
    problem = only(tmp_path, wear_readings=text)
    assert (problem.row, problem.found) == (38, "also in row 6")
    assert (
        problem.fix
        == "Delete one of the two rows if it is a copy (they agree in every column), or correct its key."
    )


def test_blank_repeat_is_1(tmp_path):
    text = TABLES["wear_readings"] + "S1,2031-01-14,3,,5.160,300,R1,caliper,0.005,no\n"
    assert only(tmp_path, wear_readings=text).code == "duplicate-key"


def test_same_shift_twice(tmp_path):
    problem = only(tmp_path, shifts=shifts(r4_shift_id="X2"))
    assert (problem.row, problem.found, problem.allowed) == (4, "also in row 3", "one row for each shift_id")
    assert problem.fix == "Correct the row that is wrong, or delete it."


def test_event_of_the_whole_set_and_of_a_station_are_two(tmp_path):
    events = (
        TABLES["set_events"]
        + "S1,T1,front,2031-01-05,section_swap,,,,\nS1,T1,front,2031-01-05,section_swap,2,,,\n"
    )
    assert problems(tmp_path, set_events=events) == ()


def test_row_with_a_key_that_cannot_be_read_is_no_double(tmp_path):
    events = (
        TABLES["set_events"]
        + "S1,T1,front,2031-01-05,section_swap,x,,,\nS1,T1,front,2031-01-05,section_swap,,,,\n"
    )
    assert only(tmp_path, set_events=events).code == "not-a-number"
