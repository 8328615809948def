"""Heights: above the new edge, rising between re-references, and the reading error that decides."""

import numpy as np
import pandas as pd
import pytest
from conftest import TABLES, replaced, write_trial
from season import table

from trialkit.trial import checks, heightchecks

# repeats of one station differ by 0.04 in: standard deviation 0.04/sqrt(2) = 0.0283 in (by hand)
GAUGE = (
    "piece,station,reader,repeat,height_in\nP1,1,R1,1,5.00\nP1,1,R1,2,5.04\nP1,2,R1,1,4.00\nP1,2,R1,2,4.04\n"
)


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


# ---------------------------------------------------------------- edge types
def test_usable_depth_above_the_new_height(tmp_path):
    problem = only(tmp_path, edge_types=replaced("edge_types", "5,1.5,set", "5,5.5,set"))
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "depth-above-height",
        2,
        "usable_depth_in",
        "5.5",
    )
    assert problem.allowed == "up to 5 in, the new height"
    assert "height of the insert" in problem.fix


def test_usable_depth_equal_to_the_new_height_in_two_units(tmp_path):
    text = (
        TABLES["edge_types"]
        .replace("usable_depth_in", "usable_depth_mm")
        .replace("5,1.5", "5,127")
        .replace("6,3", "6,76.2")
    )
    assert problems(tmp_path, edge_types=text) == ()


# ---------------------------------------------------------------- above the new height
@pytest.mark.parametrize(("height", "wrong"), [("6.5", 0), ("6.51", 1)])
def test_height_above_the_new_edge(tmp_path, height, wrong):
    found = problems(tmp_path, wear_readings=table("wear_readings", r2_height_in=height))
    assert [p.code for p in found] == ["height-above-new"] * wrong


def test_height_above_the_new_edge_is_said_as_typed(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r5_height_in="8 3/8"))
    assert (problem.row, problem.column, problem.found) == (5, "height_in", "8 3/8")
    assert problem.allowed == "up to 6.5 in for plain_steel (new height 6)"
    assert problem.fix == "Correct the height or the set, or the edge type of the set in edge_sets.csv."


def test_new_height_that_is_too_small_is_said_once(tmp_path):
    problem = only(tmp_path, edge_types=replaced("edge_types", "6,3,set", "4,3,set"))
    assert (problem.file, problem.row, problem.column) == ("edge_types.csv", 3, "new_height_in")
    assert problem.found == "4 with 18 of 18 readings well above it"
    assert problem.allowed == "about 6, the largest height that was read"


def test_set_of_the_wrong_edge_type_is_said_once(tmp_path):
    types = replaced("edge_types", "5,1.5,set", "4.5,1.5,set")
    readings = TABLES["wear_readings"].replace("S2,2030-11-20", "S2,2030-11-20")
    for row in ("S4,2030-11-20,1,1,5.000", "S4,2030-11-20,2,1,5.000", "S4,2030-11-20,3,1,5.000"):
        readings = readings.replace(row, row.replace("5.000", "4.980"))
    sets = TABLES["edge_sets"].replace("S1,plain_steel", "S1,carbide_insert") + "S5,plain_steel,,,\n"
    trucks = TABLES["trucks"] + "T5,front,11,trip_edge,north\n"
    events = TABLES["set_events"] + "S5,T5,front,2030-11-20,install,,0,,new\n"
    readings += (
        "S5,2030-11-20,1,1,6.0,0,R1,caliper,0.005,yes\nS5,2031-01-14,1,1,5.6,100,R1,caliper,0.005,no\n"
    )
    problem = only(
        tmp_path, edge_types=types, edge_sets=sets, trucks=trucks, set_events=events, wear_readings=readings
    )
    assert (problem.code, problem.row) == ("height-above-new", 2)
    assert problem.found == "6.000, and 8 more of this set are as high"


def test_new_height_that_is_impossible_is_not_compared(tmp_path):
    problem = only(tmp_path, edge_types=replaced("edge_types", "6,3,set", "-6,3,set"))
    assert problem.code == "out-of-range"


# ---------------------------------------------------------------- far below a worn edge
@pytest.mark.parametrize(("height", "doubtful"), [("1.5", 0), ("1.49", 1), ("0.519", 1)])
def test_height_far_below_a_worn_edge(tmp_path, height, doubtful):
    text = replaced("wear_readings", "S1,2031-01-14,1,1,5.190", f"S1,2031-01-14,1,1,{height}")
    found = problems(tmp_path, wear_readings=text)
    assert [p.code for p in found] == ["height-far-below"] * doubtful
    for problem in found:
        assert (problem.row, problem.found) == (8, height) and not problem.stops
        assert problem.allowed == "usually 1.5 in or more for plain_steel (it comes off at 3)"
        assert problem.fix == "Correct the height; if it is right, nothing is to be done."


def test_inches_in_a_column_of_millimeters_are_told_once_for_each_set(tmp_path):
    text = TABLES["wear_readings"].replace("height_in", "height_mm")
    found = problems(tmp_path, wear_readings=text)
    assert [(p.code, p.row, p.found) for p in found] == [
        ("height-far-below", 2, "6.000, and 8 more of this set"),
        ("height-far-below", 11, "5.000, and 8 more of this set"),
        ("height-far-below", 20, "6.000, and 8 more of this set"),
        ("height-far-below", 29, "5.000, and 8 more of this set"),
    ]
    assert found[0].allowed == "usually 38.1 mm or more for plain_steel (it comes off at 76.2)"
    assert {p.fix for p in found} == {"Check it: in inches it would be usual (then the column is height_in)."}


def test_a_slip_far_below_is_not_a_rise_of_the_next_height_as_well(tmp_path):
    text = replaced("wear_readings", "S1,2030-12-18,1,1,5.600", "S1,2030-12-18,1,1,0.560")
    assert only(tmp_path, wear_readings=text).code == "height-far-below"


# ---------------------------------------------------------------- heights that rise
def test_rise_at_one_station(tmp_path):
    problem = only(tmp_path, wear_readings=table("wear_readings", r8_height_in="5.95"))
    assert (problem.code, problem.severity, problem.row, problem.column) == (
        "height-rises",
        "warning",
        8,
        "height_in",
    )
    assert problem.found == "5.95 after 5.600 on 2030-12-18 (row 5)"
    assert (
        problem.allowed
        == "a rise of up to 0.005 in (one step of the tool; reading error 0.00144 in from the resolution of the tool)"
    )
    assert problem.fix.startswith(
        "Look for a section swap or flip that is not in set_events.csv, a wrong station or a wrong set"
    )


def test_rise_at_every_station_is_one_problem(tmp_path):
    text = table("wear_readings", r8_height_in="5.95", r9_height_in="5.95", r10_height_in="5.95")
    problem = only(tmp_path, wear_readings=text)
    assert problem.found == "5.95 after 5.600 on 2030-12-18 (row 5); 3 stations rise: 1, 2 and 3"
    assert problem.fix.startswith("Every station rises: look for a new set, a flip or a re-reference")


def test_rise_after_a_flip_is_none(tmp_path):
    text = table("wear_readings", r8_height_in="5.95", r9_height_in="5.95", r10_height_in="5.95")
    events = TABLES["set_events"] + "S1,T1,front,2031-01-05,flip,,,,\n"
    assert problems(tmp_path, wear_readings=text, set_events=events) == ()


def test_rise_after_a_section_swap_is_none_at_that_station(tmp_path):
    text = table("wear_readings", r8_height_in="5.95", r9_height_in="5.95")
    events = TABLES["set_events"] + "S1,T1,front,2031-01-05,section_swap,1,,,\n"
    problem = only(tmp_path, wear_readings=text, set_events=events)
    assert problem.row == 9


@pytest.mark.parametrize(
    ("resolution", "height", "wrong"),
    [("0.0625", "5.6625", 0), ("0.0625", "5.67", 1), ("", "5.6625", 0), ("", "5.67", 1)],
)
def test_one_step_of_the_tool_is_no_rise_and_a_sixteenth_is_assumed(tmp_path, resolution, height, wrong):
    cells = {f"r{row}_resolution_in": resolution for row in range(2, 38)}
    found = problems(tmp_path, wear_readings=table("wear_readings", r8_height_in=height, **cells))
    assert [p.code for p in found] == ["height-rises"] * wrong


@pytest.mark.parametrize(("height", "wrong"), [("5.679", 0), ("5.681", 1)])
def test_gauge_study_decides(tmp_path, height, wrong):
    # by hand: 2 * 0.02828 * sqrt(2) = 0.08 in above 5.600
    found = problems(
        tmp_path, wear_readings=table("wear_readings", r8_height_in=height), gauge_readings=GAUGE
    )
    assert [p.code for p in found] == ["height-rises"] * wrong
    if wrong:
        assert found[0].allowed == (
            "a rise of up to 0.08 in (twice the standard deviation of a difference; reading error 0.0283 in from the gauge study)"
        )


def test_repeats_are_averaged_and_allow_less(tmp_path):
    # by hand: two readings each, 2 * 0.02828 * sqrt(1/2 + 1/2) = 0.0566 in
    more = (
        "S1,2030-12-18,1,2,5.600,200,R1,caliper,0.005,no\nS1,2031-01-14,1,2,5.670,300,R1,caliper,0.005,no\n"
    )
    text = table("wear_readings", r8_height_in="5.670") + more
    problem = only(tmp_path, wear_readings=text, gauge_readings=GAUGE)
    assert problem.allowed.startswith("a rise of up to 0.0566 in")


def test_impossible_height_does_not_rise_as_well(tmp_path):
    assert only(tmp_path, wear_readings=table("wear_readings", r8_height_in="142")).code == "out-of-range"


def test_baseline_after_a_flip_on_one_day_comes_after_the_reading_before_it(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-14,flip,,300,,\n"
    text = TABLES["wear_readings"] + "S1,2031-01-14,1,2,6.0,300,R1,caliper,0.005,yes\n"
    assert problems(tmp_path, wear_readings=text, set_events=events) == ()


def test_repeatability_is_pooled_within_piece_station_and_reader():
    gauge = pd.DataFrame(
        {
            "piece": ["A", "A", "A", "B", "B", "C"],
            "station": 1,
            "reader": "R1",
            "height_in": [1.0, 1.2, 1.1, 5.0, 5.2, 9.0],
        }
    )
    # by hand: sums of squares 0.02 and 0.02 on 2 and 1 degrees of freedom; the single reading adds nothing
    assert heightchecks.repeatability_of(gauge) == pytest.approx(np.sqrt(0.04 / 3))


@pytest.mark.parametrize("heights", [[1.0, 2.0], [1.0, np.nan]])
def test_no_repeats_no_repeatability(heights):
    gauge = pd.DataFrame({"piece": ["A", "B"], "station": 1, "reader": "R1", "height_in": heights})
    assert heightchecks.repeatability_of(gauge) is None


def test_repeats_that_all_agree_say_nothing_about_the_error():
    gauge = pd.DataFrame({"piece": ["A", "A"], "station": 1, "reader": "R1", "height_in": [1.0, 1.0]})
    assert heightchecks.repeatability_of(gauge) is None
