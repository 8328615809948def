"""From a folder before its season to its plan: what is drawn, what is kept, what the size rests on."""

from collections import Counter
from pathlib import Path

import pytest
from plan_trials import GAUGE, MILES, TRUCKS, folder_to_plan, plan_settings, planned

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.report import plan_study
from trialkit.trial import unstarted

DEMO = Path(__file__).parents[1] / "data_demo"
FORCED = "truck_id,plow_position,period,edge_type,how,reason\nT1,front,,plain_steel,forced,fixed plow\n"


@pytest.fixture(autouse=True)
def few_sizes(monkeypatch):
    monkeypatch.setattr(plan_study, "SIZES", (3,))


def carried(assigned):
    return dict(zip(assigned.table[c.TRUCK_ID], assigned.table[c.EDGE_TYPE], strict=True))


def trial_of(folder):
    return unstarted.check_trial_to_plan(folder).require_clean()


# ---------------------------------------------------------------- who carries what
def test_types_are_drawn_evenly_within_blocks_and_the_seed_gives_the_same_draw_again(tmp_path):
    plan = planned(tmp_path / "a")
    assert not plan.assigned.kept
    table = plan.assigned.table
    counts = Counter(zip(table[c.BLOCK], table[c.EDGE_TYPE], strict=True))
    assert counts == {(b, e): 2 for b in ("north", "south") for e in ("plain_steel", "carbide_insert")}
    assert set(table[c.HOW]) == {"random"}
    assert carried(planned(tmp_path / "b").assigned) == carried(plan.assigned)
    others = [carried(planned(tmp_path / f"s{n}", seed=str(n)).assigned) for n in range(2, 7)]
    assert any(other != carried(plan.assigned) for other in others)
    assert plan.n_trucks == 4
    assert plan.position == "front"


def test_forced_plows_stay_and_the_rest_is_drawn_around_them(tmp_path):
    plan = planned(tmp_path, assignments=FORCED)
    row = plan.assigned.table.set_index(c.TRUCK_ID).loc["T1"]
    assert (row[c.EDGE_TYPE], row[c.HOW], row[c.REASON]) == ("plain_steel", "forced", "fixed plow")
    assert Counter(carried(plan.assigned).values()) == {"plain_steel": 4, "carbide_insert": 4}
    new = plan_study.new_rows(plan.trial, plan.assigned)
    assert set(new[c.TRUCK_ID]) == {f"T{n}" for n in range(2, 9)}


def test_a_forced_plow_needs_a_reason(tmp_path):
    with pytest.raises(UsageError, match="T1 front: no reason is given why it carries plain_steel"):
        planned(tmp_path, assignments=FORCED.replace("fixed plow", ""))


def test_what_was_drawn_before_is_kept_and_known_again_by_its_seed(tmp_path):
    first = planned(tmp_path / "a", assignments=FORCED)
    text = first.assigned.table[plan_study.assignment.TABLE_COLUMNS].to_csv(index=False)
    again = planned(tmp_path / "b", assignments=text)
    assert again.assigned.kept
    assert again.assigned.repeatable
    assert again.assigned.sentences == first.assigned.sentences
    assert plan_study.new_rows(again.trial, again.assigned).empty
    other = planned(tmp_path / "c", seed="12345", assignments=text)
    assert other.assigned.kept
    assert not other.assigned.repeatable
    assert carried(other.assigned) == carried(first.assigned)
    assert other.assigned.sentences == (
        "The assignment of 8 plows stands in the trial folder already and was kept; it says of 7 of them that they were drawn at "
        "random.",
    )


def test_a_draw_that_is_not_whole_is_kept_and_the_plows_without_a_type_are_named(tmp_path):
    rows = (
        "truck_id,plow_position,edge_type,how\nT1,front,plain_steel,random\nT2,front,carbide_insert,random\n"
    )
    assigned = planned(tmp_path, assignments=rows).assigned
    assert assigned.kept
    assert assigned.without == tuple(f"T{n} front" for n in range(3, 9))
    assert len(assigned.table) == 2


def test_types_rotate_where_that_is_agreed(tmp_path):
    plan = planned(tmp_path, settings=plan_settings(design='"rotated"'))
    assert set(plan.assigned.table[c.PERIOD]) == {1, 2}
    assert plan.assigned.table.groupby(c.TRUCK_ID)[c.EDGE_TYPE].nunique().eq(2).all()
    assert plan.n_trucks == 8


@pytest.mark.parametrize("seed", ["x", "-1", "1.5", "٣"])
def test_a_seed_is_a_whole_number(tmp_path, seed):
    with pytest.raises(UsageError, match=f'The seed is "{seed}"'):
        planned(tmp_path, seed=seed)


def test_one_edge_type_is_no_comparison(tmp_path):
    one = "edge_type,new_height_in,usable_depth_in\nplain_steel,6,3\n"
    with pytest.raises(UsageError, match="compares two edge types or more; 1 type is named"):
        planned(tmp_path, edge_types=one)


# ---------------------------------------------------------------- how large
def test_miles_come_from_the_fleet_plan_and_else_from_the_settings(tmp_path):
    plan = planned(tmp_path / "a", fleet_plan=MILES)
    assert plan.schedule.miles_mi == tuple(1000.0 + 100 * n for n in range(1, 9))
    some = "".join(line + "\n" for line in MILES.splitlines()[:3])
    settings = plan_settings(season_miles_mi=900.0)
    assert planned(tmp_path / "b", fleet_plan=some, settings=settings).schedule.miles_mi == (
        1100,
        1200,
        *[900] * 6,
    )
    assert planned(tmp_path / "c").schedule.miles_mi == (1500.0,) * 8


def test_the_reading_error_is_assumed_until_there_is_a_gauge_study(tmp_path):
    settings = plan_settings(
        reading_step_in=0.0, reading_error_in=0.05, repeats=3, stations=4, reading_every_mi=200.0
    )
    assumed = planned(tmp_path / "a", settings=settings).schedule
    assert (assumed.error_in, assumed.repeats, assumed.stations, assumed.every_mi) == (0.05, 3, 4, 200.0)
    assert not assumed.studied
    studied = planned(tmp_path / "b", settings=settings, gauge_readings=GAUGE).schedule
    assert studied.studied
    # by hand: repeats of 0.02, 0, 0.02 in have a standard deviation of 0.02 / sqrt(3) in
    assert studied.error_in == pytest.approx(0.02 / 3**0.5, abs=1e-9)


def test_the_rate_of_the_reference_follows_from_its_life(tmp_path):
    plan = planned(tmp_path, settings=plan_settings(reference_life_mi=600.0))
    # by hand: 3 in of usable depth in 600 mi are 5 in per 1,000 mi
    assert plan.sizes["carbide_insert"].plan.reference_rate == pytest.approx(5.0)
    assert set(plan.sizes["carbide_insert"].table[c.N_TRUCKS]) == {3, 4}


def test_the_position_with_the_most_plows_sets_the_size(tmp_path):
    more = TRUCKS + "T1,wing_left,8,trip_edge,north\nT2,wing_left,8,trip_edge,north\n"
    plan = planned(tmp_path / "a", trucks=more)
    assert (plan.position, plan.n_trucks) == ("front", 4)
    two = "truck_id,plow_position\nT1,front\n"
    few = planned(tmp_path / "b", trucks=two)
    assert (few.position, few.n_trucks) == ("front", 0)


def test_a_cost_is_sized_by_lives_and_wear_by_wear(tmp_path):
    assert planned(tmp_path / "a", settings=plan_settings(primary_measure='"cost"')).is_about_life
    assert not planned(tmp_path / "b", settings=plan_settings(primary_measure='"wear"')).is_about_life


def test_the_demo_can_be_planned_from_though_it_is_over(tmp_path):
    plan = plan_study.plan_trial(trial_of(DEMO), None)
    assert plan.assigned.kept
    assert plan.n_trucks == 4
    tables = plan_study.tables(plan)
    assert set(tables["planned_sizes"][c.EDGE_TYPE]) == {"carbide_insert", "rubber_carbide"}
    assert len(tables["planned_assignment"]) == 13
    assert {"planned_looks", "gauge_study", "gauge_wear"} <= set(tables)


def test_a_folder_without_fleet_plan_or_gauge_has_no_holes_in_its_tables(tmp_path):
    plan = planned(tmp_path)
    assert all(len(frame) for frame in plan_study.tables(plan).values())
    assert folder_to_plan(tmp_path / "x").is_dir()
