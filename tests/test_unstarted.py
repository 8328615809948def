"""A folder before its season: which problems stand in the way of a plan, and what the plan is given."""

import datetime as dt
from pathlib import Path

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.errors import TrialDataError
from trialkit.trial import checks
from trialkit.trial.unstarted import check_trial_to_plan

DEMO = Path(__file__).parents[1] / "data_demo"
LATER = ("edge_sets", "set_events", "wear_readings")
HEADS = {name: TABLES[name].splitlines()[0] + "\n" for name in LATER}


@pytest.mark.parametrize("later", [HEADS, dict.fromkeys(LATER)], ids=["empty tables", "no tables"])
def test_sets_events_and_readings_need_not_exist(tmp_path, later):
    folder = write_trial(tmp_path, **later)
    assert not checks.check_trial(folder).is_clean
    found = check_trial_to_plan(folder)
    assert found.problems == ()
    assert found.begun_on is None
    trial = found.require_clean()
    assert len(trial["trucks"]) == 4
    assert all(trial[name].empty and not trial.has(name) for name in LATER)


@pytest.mark.parametrize(
    ("given", "code", "file"),
    [
        ({"trucks": "truck_id,plow_position\n"}, "no-rows", "trucks.csv"),
        ({"trucks": None}, "file-missing", "trucks.csv"),
        ({"edge_types": TABLES["edge_types"].replace(",6,3,", ",6,7,")}, "depth-above-height", "edge_types.csv"),
        ({"settings": SETTINGS.replace("plain_steel", "steel")}, "reference-missing", "trial.toml"),
        ({"settings": None}, "file-missing", "trial.toml"),
        (
            {"fleet_plan": "truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi\nT9,front,1,2,3\n"},
            "unknown-key",
            "fleet_plan.csv",
        ),
        (
            {"assignments": "truck_id,plow_position,period,edge_type\nT1,front,1,plain\n"},
            "unknown-key",
            "assignments.csv",
        ),
        ({"gauge_readings": "piece,station,reader,repeat,height_in\nG,1,R,1,5-Jun\n"}, "date-for-number", "gauge_readings.csv"),
    ],
)  # fmt: skip
def test_what_a_plan_rests_on_must_be_right(tmp_path, given, code, file):
    found = check_trial_to_plan(write_trial(tmp_path, **{**HEADS, **given}))
    assert [(p.code, p.file) for p in found.problems if p.stops] == [(code, file)]
    with pytest.raises(TrialDataError, match=code):
        found.require_clean()


def test_a_folder_that_is_none_and_a_damaged_workbook_stop_it(tmp_path):
    assert [p.code for p in check_trial_to_plan(tmp_path / "nowhere").problems] == ["not-a-folder"]
    folder = write_trial(tmp_path / "t")
    (folder / "trial.xlsx").write_bytes(b"no workbook")
    assert "file-unreadable" in [p.code for p in check_trial_to_plan(folder).problems]


def test_a_table_with_errors_that_a_plan_does_not_need_is_set_aside_and_named(tmp_path):
    readings = TABLES["wear_readings"].replace("S1,2030-12-18,1,1,5.600", "S1,2030-12-18,1,1,5-Jun")
    found = check_trial_to_plan(write_trial(tmp_path, wear_readings=readings))
    assert found.is_clean
    assert found.set_aside == ("wear_readings",)
    trial = found.require_clean()
    assert trial["wear_readings"].empty
    assert len(trial["set_events"]) == 4


def test_a_trial_that_has_begun_says_when():
    assert check_trial_to_plan(DEMO).begun_on == dt.date(2030, 11, 6)
    assert check_trial_to_plan(DEMO).set_aside == ()


def test_the_last_day_is_looked_at(tmp_path):
    assert check_trial_to_plan(write_trial(tmp_path), through="2030-11-01").begun_on is None
