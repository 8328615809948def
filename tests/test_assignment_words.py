"""What is said of the draw: by plow and not by truck, only where plows are compared, with the recorded reason."""

import pytest
from conftest import SETTINGS, TABLES, write_trial
from test_carriedchecks import ASSIGNED, ROTATING

from trialkit.report import assignment_study, assignment_words, council, doubt_study, plan_study, plan_words
from trialkit.trial import checks, unstarted

MAY_BE = assignment_words.MAY_BE_THE_TRUCK
LOT = assignment_words.LOT_SAYS_NOTHING
WING = {
    "trucks": TABLES["trucks"] + "T1,wing_right,9,trip_edge,north\n",
    "edge_sets": TABLES["edge_sets"] + "S9,plain_steel,L1,400,bought\n",
    "set_events": TABLES["set_events"] + "S9,T1,wing_right,2030-11-20,install,,100,40100,new\n",
    "wear_readings": TABLES["wear_readings"]
    + "S9,2030-11-20,1,1,6.000,100,R1,caliper,0.005,yes\nS9,2031-01-14,1,1,5.600,200,R1,caliper,0.005,no\n",
}


def trial_of(folder, settings=SETTINGS, **tables):
    return checks.check_trial(write_trial(folder, settings=settings, **tables)).require_clean()


def said(folder, **tables):
    return assignment_words.limits(trial_of(folder, **tables))


def test_all_drawn_and_carried_leaves_nothing_to_say(tmp_path):
    assert said(tmp_path, assignments=ASSIGNED) == []


def test_without_assignments_it_is_said_that_nothing_is_recorded(tmp_path):
    assert said(tmp_path) == [assignment_words.NOT_RECORDED]


def test_a_chosen_wing_says_nothing_about_the_front_plow_of_its_truck(tmp_path):
    wing = ASSIGNED + "T1,wing_right,1,plain_steel,forced,The only wing\n"
    assert said(tmp_path, assignments=wing, **WING) == []
    assert assignment_study.compared_positions(trial_of(tmp_path / "again", **WING)) == {"front"}


def test_a_chosen_plow_is_named_with_its_position_and_reason(tmp_path):
    forced = ASSIGNED.replace("T3,front,,plain_steel,random,", "T3,front,,plain_steel,forced,No trip springs")
    assert said(tmp_path, assignments=forced) == [
        "The front plow of T3 was given Plain steel by choice and not by lot (the reason on record: No trip springs). "
        + MAY_BE
    ]


def test_plows_of_one_reason_are_named_together(tmp_path):
    forced = ASSIGNED.replace("random,", "swap,")
    first, second = said(tmp_path, assignments=forced)[0].split(" The front plow of T2 and ")
    assert first == (
        "The front plow of T1 and the front plow of T3 were given Plain steel by choice and not by lot (no reason is recorded)."
    )
    assert second.startswith("the front plow of T4 were given Carbide insert") and second.endswith(MAY_BE)


def test_a_plow_without_an_assignment_is_named(tmp_path):
    missing = ASSIGNED.replace("T3,front,,plain_steel,random,\n", "")
    assert said(tmp_path, assignments=missing) == [
        "How the front plow of T3 got its edge type is not recorded."
    ]


def test_a_plow_that_carried_another_type_than_drawn(tmp_path):
    swapped = ASSIGNED.replace("T3,front,,plain_steel", "T3,front,,carbide_insert")
    assert said(tmp_path, assignments=swapped) == [
        f"The front plow of T3 was drawn for Carbide insert and carried Plain steel (1 set). {LOT}"
    ]
    forced = swapped.replace("carbide_insert,random,\nT4", "carbide_insert,forced,So the shop wanted it\nT4")
    assert f"The front plow of T3 was to carry Carbide insert and carried Plain steel (1 set). {LOT}" in said(
        tmp_path / "forced", assignments=forced
    )


def test_a_change_over_that_was_not_made(tmp_path):
    settings = SETTINGS + "[plan]\nseason_start = 2030-11-01\nseason_end = 2031-01-31\n"
    two = ROTATING.replace("T1,front,3,plain_steel,random,\n", "")
    rest = "".join(ASSIGNED.splitlines(keepends=True)[2:])
    trial = trial_of(tmp_path, settings=settings, assignments=two + rest)
    assert assignment_words.departed(trial) == [
        f"The front plow of T1 was drawn for Carbide insert and still carried Plain steel in the middle of its period. {LOT}"
    ]


def test_many_departures_are_counted(tmp_path, monkeypatch):
    monkeypatch.setattr(assignment_words, "NAMED", 1)
    swapped = (
        ASSIGNED.replace("plain", "x")
        .replace("carbide_insert", "plain_steel")
        .replace("x_steel", "carbide_insert")
    )
    (sentence,) = said(tmp_path, assignments=swapped)
    assert sentence.startswith(
        "The front plow of T1 was drawn for Carbide insert and carried Plain steel (1 set). "
    )
    assert sentence.endswith(f"3 more such cases can be found among the warnings. {LOT}")


@pytest.mark.parametrize(("kind", "left_out"), [("carbide_insert", True), ("plain_steel", False)])
def test_the_comparison_is_tried_without_plows_that_carried_another_type(tmp_path, kind, left_out):
    swapped = ASSIGNED.replace("T3,front,,plain_steel", f"T3,front,,{kind}").replace(
        "T4,front,1,carbide_insert,random", "T4,front,1,carbide_insert,forced"
    )
    trial = trial_of(tmp_path, assignments=swapped)
    assert (("T3", "front") in assignment_study.not_by_lot(trial)) is left_out
    assert ("T4", "front") in assignment_study.not_by_lot(trial)
    names = doubt_study.doubts(trial).board.frame()["variant"].tolist()
    assert ("without the trucks whose edge type was not drawn by lot" in names) is left_out


def test_the_plan_of_a_trial_under_way_says_it_too(tmp_path, monkeypatch):
    monkeypatch.setattr(plan_study, "SIZES", ())
    swapped = ASSIGNED.replace("T3,front,,plain_steel", "T3,front,,carbide_insert")
    checked = unstarted.check_trial_to_plan(write_trial(tmp_path, assignments=swapped))
    plan = plan_study.plan_trial(checked.require_clean(), checked.begun_on)
    assert (
        f"The front plow of T3 was drawn for Carbide insert and carried Plain steel (1 set). {LOT}"
        in plan_words.still_open(plan)
    )


def test_worn_sets_put_on_as_new_and_silent_trucks_are_told_among_the_limits(tmp_path):
    assert assignment_words.doubts(trial_of(tmp_path / "clean")) == []
    again = (
        TABLES["set_events"]
        + "S1,T1,front,2030-12-20,remove,,210,40300,worn_to_limit\nS1,T1,front,2030-12-21,install,,210,40300,new\n"
    )
    read = "".join(
        line for line in TABLES["wear_readings"].splitlines(keepends=True)
        if not line.startswith(("S4,2030-12-18", "S4,2031-01-14"))
    )  # fmt: skip
    trial = trial_of(tmp_path / "doubtful", set_events=again, wear_readings=read)
    assert assignment_words.doubts(trial) == [
        "S1 was taken off worn and put on again as new. If that was another set, its wear is that of two.",
        "The front plow of T4 has no record for long before the others end. Its set counts as on to the end, worn as when last read.",
    ]
    assert council.limits(trial)[1:3] == assignment_words.doubts(trial)
