"""Rules for sound and vibration samples: one broken cell, one doubt."""

import pandas as pd
import pytest
from conftest import SETTINGS, write_trial
from season import shifts

from trialkit import columns as c
from trialkit.trial import checks, soundchecks

SOUND = """\
sound_id,shift_id,truck_id,date,task,duration_min,level_dba,exchange_rate_db,cal_before_db,cal_after_db
N1,X1,,,blade_down,{n1_minutes},84.0,{n1_rate},114.0,{n1_after}
N2,X2,,,blade_up,60,79.0,3,114.0,113.5
N3,,T1,2030-12-02,idle,{n3_minutes},70.0,{n3_rate},114.0,
N4,X9,,,blade_down,30,83.5,3,,113.0
"""
VIBRATION = "vibration_id,shift_id,axis,duration_min,rms_m_s2\nV1,X1,z,{minutes},0.5\n"


def sound(**cells):
    usual = {"n1_minutes": "390", "n1_rate": "3", "n1_after": "115.0", "n3_minutes": "480", "n3_rate": "3"}
    return SOUND.format(**usual | cells)


def problems(folder, settings=SETTINGS, **tables):
    tables = {"shifts": shifts(), **tables}
    found = checks.check_trial(write_trial(folder, settings=settings, **tables)).problems
    return [problem for problem in found if problem.code != "unknown-key"]  # X9 is no shift of this trial


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_samples_that_fit_give_no_problem(tmp_path):
    # 390 min are the 6.5 h of the shift, 1.0 dB is the limit, and a sample without a shift has none to fit into
    assert problems(tmp_path, sound=sound(), vibration=VIBRATION.format(minutes=390)) == []


# ---------------------------------------------------------------- longer than the shift
@pytest.mark.parametrize(("minutes", "wrong"), [("405", 0), ("406", 1)])
def test_a_quarter_of_an_hour_is_allowed_for_rounded_times(tmp_path, minutes, wrong):
    assert len(problems(tmp_path, sound=sound(n1_minutes=minutes))) == wrong


def test_sample_that_outlasts_its_shift(tmp_path):
    problem = only(tmp_path, sound=sound(n1_minutes="600"))
    assert (problem.code, problem.severity, problem.file, problem.row, problem.column, problem.found) == (
        "sample-outlasts-shift", "warning", "sound.csv", 2, "duration_min", "600",
    )  # fmt: skip
    assert problem.allowed == "up to 390 min, the length of shift X1"
    assert "weights the average" in problem.fix
    assert problem.key == "N1"


def test_vibration_sample_that_outlasts_its_shift(tmp_path):
    problem = only(tmp_path, vibration=VIBRATION.format(minutes=600))
    assert (problem.code, problem.file, problem.found) == ("sample-outlasts-shift", "vibration.csv", "600")


@pytest.mark.parametrize(
    "cells",
    [
        {"r2_end": ""},
        {"r2_start": "2030-11-22", "r2_end": "2030-11-22"},  # a day without times may have lasted all day
        {"r2_start": "2030-11-22T18:00", "r2_end": "2030-11-23"},
    ],
)
def test_shifts_without_times_are_given_all_the_time_they_may_have_taken(tmp_path, cells):
    assert problems(tmp_path, shifts=shifts(**cells), sound=sound(n1_minutes="360")) == []


def test_shift_that_ends_before_it_starts_is_reported_by_itself(tmp_path):
    problem = only(tmp_path, shifts=shifts(r2_end="2030-11-22T04:00"), sound=sound())
    assert problem.code == "shift-times"


def test_samples_without_any_shifts_table(tmp_path):
    found = problems(tmp_path, shifts=None, sound=sound(n1_minutes="600"))
    assert [problem.code for problem in found] == ["table-absent"]


def test_lengths_of_shifts():
    frame = pd.DataFrame(
        {
            c.SHIFT_ID: ["A", "B", "C", "D", "D", None],
            c.START: [
                pd.Timestamp(text)
                for text in ("2031-01-01T20:00", "2031-01-01", "2031-01-01T05:00", *["2031-01-01"] * 3)
            ],
            c.END: [
                pd.Timestamp(text) for text in ("2031-01-02T06:30", "2031-01-01", None, *["2031-01-02"] * 3)
            ],
        }
    )
    lengths = soundchecks.shift_lengths_h(frame)
    assert lengths.index.tolist() == ["A", "B", "C"]
    # by hand: 20:00 to 6:30; a whole day less its last second; not known
    assert lengths.to_numpy() == pytest.approx([10.5, 24 - 1 / 3600, float("nan")], nan_ok=True)


# ---------------------------------------------------------------- calibration
def test_calibrations_that_differ(tmp_path):
    problem = only(tmp_path, sound=sound(n1_after="115.2"))
    assert (problem.code, problem.severity, problem.row, problem.column, problem.found) == (
        "calibration-drift", "warning", 2, "cal_after_db", "115.2",
    )  # fmt: skip
    assert problem.allowed == "from 113 to 115 dB, within 1 dB of cal_before_db 114.0"
    assert "line of decisions" in problem.fix


def test_limit_of_the_drift_is_a_setting(tmp_path):
    strict = SETTINGS + "[noise]\ndrift_limit_db = 0.5\n"
    problem = only(tmp_path, settings=strict, sound=sound())
    assert (problem.code, problem.found) == ("calibration-drift", "115.0")
    assert problem.allowed.startswith("from 113.5 to 114.5 dB, within 0.5 dB")
    loose = SETTINGS + "[noise]\ndrift_limit_db = 2\n"
    assert problems(tmp_path / "loose", settings=loose, sound=sound(n1_after="115.9")) == []


def test_the_usual_limit_holds_where_the_settings_are_wrong(tmp_path):
    found = problems(tmp_path, settings=SETTINGS + "sede = 3\n", sound=sound(n1_after="115.2"))
    assert sorted(problem.code for problem in found) == ["calibration-drift", "setting-unknown"]


def test_impossible_calibrations_are_reported_once(tmp_path):
    problem = only(tmp_path, sound=sound(n1_after="11.5"))
    assert problem.code == "out-of-range"


def test_drifted_samples():
    table = pd.DataFrame(
        {
            c.SOUND_ID: list("ABCD"),
            c.CAL_BEFORE_DB: [114.0, 114.0, 114.0, None],
            c.CAL_AFTER_DB: [115.0, 112.9, 115.1, 118.0],
        }
    )
    found = soundchecks.drifted_samples(table, 1.0)
    assert found[c.SOUND_ID].tolist() == ["B", "C"]
    assert found[c.DRIFT_DB].tolist() == pytest.approx([-1.1, 1.1])
    assert soundchecks.drifted_samples(table, 0.5)[c.SOUND_ID].tolist() == ["A", "B", "C"]


# ---------------------------------------------------------------- exchange rates
def test_exchange_rates_that_differ_are_said_once_at_the_rarer(tmp_path):
    problem = only(tmp_path, sound=sound(n3_rate="5"))
    assert (problem.code, problem.severity, problem.row, problem.column) == (
        "exchange-rates-mixed", "warning", 4, "exchange_rate_db",
    )  # fmt: skip
    assert problem.found == "5 in 1 row and 3 in 3 rows"
    assert "shown apart" in problem.fix


def test_as_many_of_each_point_to_the_five(tmp_path):
    problem = only(tmp_path, sound=sound(n1_rate="5", n3_rate="5"))
    assert (problem.row, problem.found) == (2, "5 in 2 rows and 3 in 2 rows")


def test_an_impossible_exchange_rate_is_no_second_one(tmp_path):
    assert "exchange-rates-mixed" not in {p.code for p in problems(tmp_path, sound=sound(n1_rate="4"))}


def test_a_table_without_the_columns_is_reported_by_itself(tmp_path):
    found = problems(tmp_path, sound="sound_id,truck_id,date,task\nN1,T1,2030-12-02,idle\n")
    assert {problem.code for problem in found} == {"column-missing"}
