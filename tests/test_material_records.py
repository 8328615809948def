"""From a trial to one row per shift, with what is missing said."""

import material_trial as ct
import pandas as pd
import pytest
from material_trial import material_trial

from trialkit import columns as c
from trialkit.clearing import rates
from trialkit.report.material_records import kind_column, read_records


def said(records, words):
    found = [note for note in records.notes if words in note]
    assert len(found) == 1, records.notes
    return found[0]


def test_every_shift_has_its_edge_type_and_its_material(tmp_path):
    records = read_records(material_trial(tmp_path))
    by_shift = records.shifts.set_index(records.shifts[c.SHIFT_ID].astype(str))
    assert by_shift.loc["W1-T1", c.EDGE_TYPE] == "plain_steel"
    assert by_shift.loc["W1-T2", c.EDGE_TYPE] == "carbide_insert"
    assert by_shift.loc["W1-T1", rates.DRY_LB] == pytest.approx(3000.0)
    assert by_shift.loc["W1-T1", rates.COST] == pytest.approx(120.0)
    assert by_shift.loc["W1-T1", c.BLOCK] == "north"
    assert (records.kinds, records.positions) == (("rock_salt",), ("front",))
    assert records.has_rates


def test_treated_miles_become_lane_miles(tmp_path):
    records = read_records(
        material_trial(tmp_path, 'treated_basis = "two_lane_mile"', shifts=ct.shifts(treated="10"))
    )
    assert (records.shifts[c.LANE_MILES_TREATED] == 20.0).all()
    assert "one mile of road with two lanes, as trial.toml says" in said(records, "Treated miles")


def test_a_shift_without_a_record_is_not_one_that_spread_nothing(tmp_path):
    records = read_records(material_trial(tmp_path, material=ct.material(skip=("W1-T1", "W2-T1"))))
    lost = records.shifts[records.shifts[c.SHIFT_ID].isin(["W1-T1", "W2-T1"])]
    assert lost[rates.DRY_LB].isna().all()
    assert said(records, "no record of material") == (
        "2 shifts treated lane-miles but have no record of material. They are left out and not counted as none spread."
    )


def test_a_shift_that_only_plowed_is_told_apart(tmp_path):
    bare = ct.shifts().replace(
        "W1-T1,W1,T1,front,OP1,2030-11-24T04:00,2030-11-24T10:00,40,4.0,20",
        "W1-T1,W1,T1,front,OP1,2030-11-24T04:00,2030-11-24T10:00,40,4.0,0",
    )
    records = read_records(material_trial(tmp_path, shifts=bare, material=ct.material(skip=("W1-T1",))))
    assert said(records, "only plowed") == "1 shift only plowed: no lane-miles treated, and no material."


def test_spreaders_without_a_calibration_are_named_with_their_shifts(tmp_path):
    trucks = ct.CALIBRATED.replace("T3,front,11,trip_edge,south,2030-10-01", "T3,front,11,trip_edge,south,")
    records = read_records(material_trial(tmp_path, trucks=trucks))
    assert "T3 has no calibration date for the spreader, on 5 shifts with material" in said(
        records, "calibration"
    )


def test_no_calibration_anywhere_is_said_once(tmp_path):
    trucks = ct.CALIBRATED.replace("2030-10-01", "")
    records = read_records(material_trial(tmp_path, trucks=trucks))
    assert (
        said(records, "calibration")
        == "No spreader has a calibration date, so what was spread rests on settings that nobody checked."
    )


def test_shifts_without_a_storm_are_counted(tmp_path):
    stormless = ct.shifts().replace("W1-T1,W1,", "W1-T1,,")
    assert "1 shift has no storm on record" in said(
        read_records(material_trial(tmp_path, shifts=stormless)), "storm"
    )


def test_a_shift_in_which_the_edge_changed_has_no_edge_type(tmp_path):
    sets = ct.TABLES["edge_sets"] + "S9,carbide_insert,L2,1800,bought\n"
    events = ct.TABLES["set_events"] + (
        "S1,T1,front,2030-12-03T06:00,remove,,,,worn_to_limit\nS9,T1,front,2030-12-03T06:30,install,,,,new\n"
    )
    readings = "".join(
        line + "\n"
        for line in ct.TABLES["wear_readings"].splitlines()
        if not line.startswith(("S1,2030-12-18", "S1,2031"))
    )
    records = read_records(
        material_trial(tmp_path, edge_sets=sets, set_events=events, wear_readings=readings)
    )
    by_shift = records.shifts.set_index(records.shifts[c.SHIFT_ID].astype(str))[c.EDGE_TYPE]
    assert pd.isna(by_shift["W2-T1"])
    assert (by_shift["W1-T1"], by_shift["W3-T1"]) == ("plain_steel", "carbide_insert")
    assert "1 shift has no edge type" in said(records, "set apart")


def test_a_wing_of_another_edge_type_does_not_pass_for_a_change(tmp_path):
    trucks = ct.CALIBRATED + "T2,wing_right,9,fixed,north,2030-10-01\n"
    sets = ct.TABLES["edge_sets"] + "S9,plain_steel,L1,400,bought\n"
    events = ct.TABLES["set_events"] + "S9,T2,wing_right,2030-11-20,install,,,,new\n"
    wing = "W1-WING,W1,T2,wing_right,OP2,2030-11-24T04:00,2030-11-24T10:00,20,2.0,,,loose,\n"
    records = read_records(
        material_trial(
            tmp_path, trucks=trucks, edge_sets=sets, set_events=events, shifts=ct.shifts(extra=wing)
        )
    )
    assert "W1-WING" not in set(records.shifts[c.SHIFT_ID])
    assert len(records.shifts) == 20
    assert "1 shift of the right wing plow is not counted by itself" in said(records, "wing")


def test_without_material_the_foremost_plow_counts(tmp_path):
    trucks = ct.CALIBRATED + "T2,wing_right,9,fixed,north,2030-10-01\n"
    events = ct.TABLES["set_events"] + "S9,T2,wing_right,2030-11-20,install,,,,new\n"
    sets = ct.TABLES["edge_sets"] + "S9,plain_steel,L1,400,bought\n"
    wing = "W1-WING,W1,T2,wing_right,OP2,2030-11-24T04:00,2030-11-24T10:00,20,2.0,,,loose,\n"
    records = read_records(
        material_trial(
            tmp_path,
            trucks=trucks,
            edge_sets=sets,
            set_events=events,
            shifts=ct.shifts(extra=wing),
            material=None,
        )
    )
    assert not records.has_rates
    assert records.positions == ()
    assert "W1-WING" not in set(records.shifts[c.SHIFT_ID])


def test_each_material_has_a_column_of_its_own(tmp_path):
    brine = ct.material() + "W1-T1,brine,,100,0.2,23.0,\n"
    records = read_records(material_trial(tmp_path, material=brine))
    first = records.shifts[records.shifts[c.SHIFT_ID] == "W1-T1"].iloc[0]
    assert records.kinds == ("rock_salt", "brine")
    assert first[kind_column("brine")] == pytest.approx(rates.brine_salt_lb(100.0, 23.0))
    assert first[rates.DRY_LB] == pytest.approx(3000.0 + first[kind_column("brine")])
