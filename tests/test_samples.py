"""Placing samples on trucks and edges, and refusing what cannot be."""

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.cab import samples
from trialkit.errors import NotEnoughDataError, TrialDataError, UsageError
from trialkit.tables import SOUND

EDGE_SETS = pd.DataFrame(
    {
        c.SET_ID: ["S1", "S2", "S3"],
        c.EDGE_TYPE: pd.Categorical(["steel", "carbide", "steel"], ["steel", "carbide"], ordered=True),
    }
)
SHIFTS = pd.DataFrame(
    {
        c.SHIFT_ID: ["H1", "H2", "H3"],
        c.TRUCK_ID: ["T1", "T2", "T1"],
        c.PLOW_POSITION: [None, None, None],
        c.START: pd.to_datetime(["2031-01-10T20:00", "2031-01-10T20:00", "2031-02-01T04:00"]),
        c.END: pd.to_datetime(["2031-01-11T06:00", None, "2031-02-01T14:00"]),
    }
)
LIVES = pd.DataFrame(
    {
        c.SET_ID: ["S1", "S2", "S3"],
        c.TRUCK_ID: ["T1", "T1", "T2"],
        c.PLOW_POSITION: ["front", "front", "front"],
        c.INSTALLED: pd.to_datetime(["2030-12-01", "2031-01-20", "2030-12-01"]),
        c.REMOVED: pd.to_datetime(["2031-01-20", None, None]),
    }
)


def sample(**cells):
    blank = {c.SOUND_ID: "N1", c.SHIFT_ID: None, c.TRUCK_ID: None, c.DATE: None, c.SET_ID: None}
    return pd.DataFrame([blank | cells])


def placed(**cells):
    return samples.place_samples(sample(**cells), EDGE_SETS, shifts=SHIFTS, lives=LIVES)


def test_set_and_shift_are_named():
    row = placed(**{c.SHIFT_ID: "H1", c.SET_ID: "S2"}).frame.iloc[0]
    assert (row[c.TRUCK_ID], row[c.EDGE_TYPE], row[c.SHIFT_LENGTH_H]) == ("T1", "carbide", 10)


def test_edge_type_follows_from_the_set_on_the_truck_during_the_shift():
    assert placed(**{c.SHIFT_ID: "H1"}).frame[c.EDGE_TYPE].iloc[0] == "steel"
    assert placed(**{c.SHIFT_ID: "H3"}).frame[c.EDGE_TYPE].iloc[0] == "carbide"


def test_shift_without_an_end_has_no_length_but_a_place():
    row = placed(**{c.SHIFT_ID: "H2"}).frame.iloc[0]
    assert row[c.EDGE_TYPE] == "steel"
    assert pd.isna(row[c.SHIFT_LENGTH_H])


def test_truck_and_day_place_a_sample_too():
    row = placed(**{c.TRUCK_ID: "T1", c.DATE: "2031-01-05"}).frame.iloc[0]
    assert (row[c.TRUCK_ID], row[c.EDGE_TYPE]) == ("T1", "steel")
    assert pd.isna(row[c.SHIFT_LENGTH_H])


def test_day_of_a_change_between_types_is_not_guessed():
    found = placed(**{c.TRUCK_ID: "T1", c.DATE: "2031-01-20"})
    assert pd.isna(found.frame[c.EDGE_TYPE].iloc[0])
    assert found.notes == (
        "1 sample could not be given an edge type, because no set or several edge types were on the truck at that time, and "
        "was not used.",
    )


def test_two_edge_types_on_one_truck_are_not_guessed_but_the_position_helps():
    wing = pd.DataFrame(
        {
            c.SET_ID: ["S2"],
            c.TRUCK_ID: ["T2"],
            c.PLOW_POSITION: ["wing_left"],
            c.INSTALLED: [pd.Timestamp("2030-12-01")],
        }
    )
    lives = pd.concat([LIVES[LIVES[c.SET_ID] == "S3"], wing])
    both = samples.place_samples(sample(**{c.SHIFT_ID: "H2"}), EDGE_SETS, shifts=SHIFTS, lives=lives)
    assert pd.isna(both.frame[c.EDGE_TYPE].iloc[0])
    front = SHIFTS.assign(**{c.PLOW_POSITION: "front"})
    one = samples.place_samples(sample(**{c.SHIFT_ID: "H2"}), EDGE_SETS, shifts=front, lives=lives)
    assert one.frame[c.EDGE_TYPE].iloc[0] == "steel"


def test_sample_without_shift_or_truck():
    found = placed(**{c.SHIFT_ID: "H9"})
    assert pd.isna(found.frame[c.TRUCK_ID].iloc[0])
    assert found.notes == ("1 sample could not be given a truck and was not used.",)


def test_without_shifts_and_lives_the_set_alone_decides():
    frame = sample(**{c.TRUCK_ID: "T7", c.SET_ID: "S1"}).drop(columns=[c.DATE, c.SHIFT_ID])
    row = samples.place_samples(frame, EDGE_SETS).frame.iloc[0]
    assert (row[c.TRUCK_ID], row[c.EDGE_TYPE]) == ("T7", "steel")


def test_edge_types_keep_their_order_and_rows_their_numbers():
    frame = pd.concat([sample(**{c.SET_ID: "S2"}), sample(**{c.SET_ID: "S1"})]).set_axis([7, 9])
    found = samples.place_samples(frame, EDGE_SETS, shifts=SHIFTS, lives=LIVES).frame
    assert found.index.tolist() == [7, 9]
    assert samples.edge_types_in_order(found) == ["steel", "carbide"]
    assert samples.edge_types_in_order(found.astype({c.EDGE_TYPE: object})) == ["carbide", "steel"]


def test_categories_are_no_obstacle():
    frame = sample(**{c.SHIFT_ID: "H1", c.SET_ID: "S1"}).astype(
        {c.SHIFT_ID: "category", c.SET_ID: "category"}
    )
    shifts = SHIFTS.astype({c.SHIFT_ID: "category", c.TRUCK_ID: "category"})
    row = samples.place_samples(frame, EDGE_SETS, shifts=shifts, lives=LIVES).frame.iloc[0]
    assert (row[c.TRUCK_ID], row[c.EDGE_TYPE]) == ("T1", "steel")


NEEDED = (c.TASK, c.DURATION_MIN, c.LEVEL_DBA, c.EXCHANGE_RATE_DB)


def good(**cells):
    usual = {
        c.SOUND_ID: "N1",
        c.TRUCK_ID: "T1",
        c.EDGE_TYPE: "steel",
        c.TASK: "blade_down",
        c.DURATION_MIN: 30.0,
        c.LEVEL_DBA: 85.0,
        c.EXCHANGE_RATE_DB: 3.0,
    }
    return pd.DataFrame([usual | cells], index=[14])


@pytest.mark.parametrize(
    ("cells", "code", "found", "allowed"),
    [
        ({c.LEVEL_DBA: -1.0}, "out-of-range", "-1", "from 0 to 140"),
        ({c.LEVEL_DBA: 141.0}, "out-of-range", "141", "from 0 to 140"),
        ({c.LEVEL_DBA: float("nan")}, "cell-missing", "blank", "from 0 to 140"),
        ({c.DURATION_MIN: 0.0}, "out-of-range", "0", "above 0 to 1440"),
        ({c.DURATION_MIN: float("nan")}, "cell-missing", "blank", "above 0 to 1440"),
        ({c.DURATION_MIN: 1441.0}, "out-of-range", "1441", "above 0 to 1440"),
        ({c.EXCHANGE_RATE_DB: 4.0}, "out-of-range", "4", "3 or 5"),
        ({c.TASK: "parking"}, "not-a-choice", '"parking"', "blade_down, blade_up, idle, other"),
        ({c.TASK: None}, "cell-missing", "blank", "blade_down"),
    ],
)
def test_impossible_cells(cells, code, found, allowed):
    with pytest.raises(TrialDataError) as error:
        samples.require_samples(good(**cells), SOUND, NEEDED)
    (problem,) = error.value.problems
    assert (problem.code, problem.found, problem.row, problem.key) == (code, found, 14, "N1")
    assert allowed in problem.allowed
    assert problem.column == next(iter(cells))


def test_every_impossible_cell_is_said_at_once():
    bad = pd.concat([good(), good(**{c.LEVEL_DBA: 200.0, c.DURATION_MIN: -5.0})])
    with pytest.raises(TrialDataError) as error:
        samples.require_samples(bad.drop(columns=c.EXCHANGE_RATE_DB), SOUND, NEEDED)
    assert sorted(problem.code for problem in error.value.problems) == [
        "column-missing",
        "out-of-range",
        "out-of-range",
    ]


def test_possible_cells_pass_at_their_bounds():
    edge = pd.concat([good(**{c.LEVEL_DBA: 0.0}), good(**{c.LEVEL_DBA: 140.0, c.DURATION_MIN: 1440.0})])
    samples.require_samples(edge, SOUND, NEEDED)


def test_samples_that_were_never_placed():
    with pytest.raises(UsageError, match=c.EDGE_TYPE):
        samples.usable_samples(good().drop(columns=c.EDGE_TYPE), SOUND, NEEDED)


def test_no_sample_with_a_truck():
    with pytest.raises(NotEnoughDataError, match="Of 1 sound sample none"):
        samples.usable_samples(good(**{c.TRUCK_ID: None}), SOUND, NEEDED)


def test_what_is_left_out_is_counted():
    both = pd.concat([good(), good(**{c.EDGE_TYPE: None})])
    usable, notes = samples.usable_samples(both, SOUND, NEEDED)
    assert len(usable) == 1
    assert notes == ["1 sample without a truck or an edge type was left out."]


def test_samples_longer_than_their_shift_are_named():
    frame = pd.concat([good(**{c.SOUND_ID: f"N{i}", c.DURATION_MIN: 700.0}) for i in range(7)])
    frame = frame.assign(**{c.SHIFT_LENGTH_H: [10.0] * 6 + [None]})
    assert samples.longer_than_shift(frame)[c.SOUND_ID].tolist() == [f"N{i}" for i in range(6)]
    _, notes = samples.usable_samples(frame, SOUND, NEEDED)
    assert notes == [
        "6 samples last longer than the shift (N0, N1, N2, N3, N4 and 1 more); check the durations, which weight the averages."
    ]
    assert samples.longer_than_shift(good()).empty
