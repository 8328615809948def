"""What the plan says: agreed rules, what can be shown, what is still open."""

import datetime as dt
import re
from dataclasses import replace

import pytest
from plan_trials import GAUGE, MILES, TRUCKS, plan_settings, planned

from trialkit import columns as c
from trialkit import display
from trialkit.planning import savings
from trialkit.report import plan_study, plan_words

FULL = {
    "primary_measure": '"cost"', "looks": "[2031-01-20, 2031-04-08]", "season_start": "2030-11-01", "season_end": "2031-04-08",
    "smallest_worthwhile_saving_pct": "12.5", "decision_rule": '"Buy if cheaper."', "run_in_mi": "40.0",
}  # fmt: skip


@pytest.fixture(autouse=True)
def few_sizes(monkeypatch):
    monkeypatch.setattr(plan_study, "SIZES", ())


def agreed(plan):
    frame = plan_words.rules(plan)
    return dict(zip(frame[plan_words.WHAT], frame[plan_words.AGREED], strict=True))


def test_every_rule_is_said_as_it_was_agreed(tmp_path):
    said = agreed(
        planned(
            tmp_path,
            settings=plan_settings(**FULL, no_worse_than_ratio=1.25, replacement_rule='"At 1/8 in."'),
        )
    )
    assert said["Question"] == "Does Carbide insert pay for itself against Plain steel on our own trucks?"
    assert said["What decides"].startswith("What a mile with the blade down costs")
    assert said["Smallest saving that is worth a change"] == "12.5%"
    assert said["Decision rule"] == "Buy if cheaper."
    assert said["When a set comes off"] == "At 1/8 in."
    assert said["When a reading is left out"] == plan_words.EXCLUSION_RULE
    assert said["Running-in"] == "The first 40 miles after an install are left out"
    assert said["Looks at the results"] == "January 20, 2031 and April 8, 2031"
    assert said["Still no worse"] == "Up to 1.25 times as many sets per mile as the reference"


def test_what_nobody_agreed_on_is_said_to_be_missing(tmp_path):
    plan = planned(tmp_path)
    said = agreed(plan)
    assert said["Decision rule"] == "Not written down yet"
    assert said["Smallest saving that is worth a change"].startswith("None was set")
    assert said["Running-in"] == "None: every reading counts from the install on"
    assert said["Looks at the results"] == "Once, after the season"
    missing = " ".join(plan_words.still_open(plan))
    for words in ("decision_rule", "(looks)", "fleet_plan", "gauge_readings"):
        assert words in missing


def test_a_plan_with_everything_has_nothing_open(tmp_path):
    priced = PRICED["edge_sets"]
    plan = planned(
        tmp_path, settings=plan_settings(**FULL), fleet_plan=MILES, gauge_readings=GAUGE, edge_sets=priced
    )
    assert plan_words.still_open(plan) == []


@pytest.mark.parametrize(
    ("measure", "question"),
    [
        ("wear", "Does Carbide insert wear more slowly than Plain steel on our own trucks?"),
        ("life", "Does Carbide insert outlast Plain steel on our own trucks?"),
        ("cost", "Does Carbide insert pay for itself against Plain steel on our own trucks?"),
    ],
)
def test_the_question_is_about_the_measure_that_decides(tmp_path, measure, question):
    plan = planned(tmp_path, settings=plan_settings(primary_measure=f'"{measure}"'))
    assert plan_words.question(plan) == question


def test_several_types_are_asked_about_together(tmp_path):
    types = "edge_type,label,new_height_in,usable_depth_in\nplain_steel,plain steel,6,3\na,type a,5,1\nb,type b,5,1\n"
    plan = planned(tmp_path, edge_types=types)
    assert plan_words.question(plan) == "Do type a or type b outlast plain steel on our own trucks?"
    sizes = plan_words.sizes_in_brief(plan)
    assert c.EDGE_TYPE not in sizes  # the same usable depth, so the same is shown of both
    assert len(sizes) == 1
    assert len(plan_words.can_show(plan)) == 1


def test_what_differs_by_type_is_said_by_type(tmp_path):
    types = "edge_type,label,new_height_in,usable_depth_in\nplain_steel,plain steel,6,3\na,type a,5,1\nb,type b,5,1\n"
    plan = planned(tmp_path, edge_types=types)
    sized = plan.sizes["b"]
    other = replace(sized, table=sized.table.assign(**{c.DETECTABLE_LIFE_RATIO: 1.52}))
    said = plan_words.can_show(replace(plan, sizes={**plan.sizes, "b": other}))
    assert [sentence.split(":")[0] for sentence in said] == ["Type a", "Type b"]
    assert "of 1.6 times or more" in said[1]
    assert plan_words.sizes_in_brief(replace(plan, sizes={**plan.sizes, "b": other}))[
        c.EDGE_TYPE
    ].tolist() == ["Type a", "Type b"]


def test_too_few_trucks_are_said(tmp_path):
    one = "truck_id,plow_position\nT1,front\n"
    plan = planned(tmp_path / "a", trucks=one)
    assert plan_words.can_show(plan) == [
        "Some edge type is on no front plow, so the comparison cannot be made on that position."
    ]
    two = planned(tmp_path / "b", trucks=one + "T2,front\n")
    assert "One truck of an edge type shows no interval" in " ".join(plan_words.still_open(two))


def test_a_trial_that_has_begun_says_that_its_plan_proves_nothing(tmp_path):
    plan = planned(tmp_path)
    assert plan_words.begun(plan) == []
    (said,) = plan_words.begun(replace(plan, begun_on=dt.date(2030, 11, 6)))
    assert said.startswith("The first set went on a truck on November 6, 2030.")


def test_the_looks_have_their_limits_once_the_season_has_a_first_day(tmp_path):
    table = plan_words.looks_in_brief(planned(tmp_path / "a", settings=plan_settings(**FULL)))
    assert table[c.LOOK].tolist() == ["1", "2, final"]
    assert table[c.DATE].tolist() == ["January 20, 2031", "April 8, 2031"]
    # by hand: 80 of 158 days
    assert table[c.INFORMATION].tolist() == ["51%", "100%"]
    no_start = planned(tmp_path / "b", settings=plan_settings(looks="[0.5]"))
    assert plan_words.looks_in_brief(no_start).empty
    assert "season_start" in " ".join(plan_words.still_open(no_start))
    assert agreed(no_start)["Looks at the results"] == "After 50% of the season"


def test_what_is_not_left_to_chance_is_named_with_its_reason(tmp_path):
    forced = "truck_id,plow_position,edge_type,how,reason\nT1,front,plain_steel,forced,fixed plow\n"
    plan = planned(tmp_path, assignments=forced)
    assert plan_words.forced(plan) == ["T1, front: Plain steel. Reason: fixed plow."]
    assert "Seed" not in " ".join(plan_words.still_open(plan))


def test_a_draw_that_the_seed_does_not_give_is_open(tmp_path):
    rows = "truck_id,plow_position,edge_type,how\n" + "".join(
        f"T{n},front,{'plain_steel' if n <= 4 else 'carbide_insert'},random\n" for n in range(1, 9)
    )
    said = " ".join(plan_words.still_open(planned(tmp_path, assignments=rows)))
    assert "Seed 1 does not give the assignment again" in said


def test_balance_has_a_column_for_each_type_and_a_row_for_each_fact(tmp_path):
    table = plan_words.balance_in_brief(planned(tmp_path, fleet_plan=MILES))
    assert list(table.columns) == [plan_words.WHAT, "plain_steel", "carbide_insert"]
    assert table[plan_words.WHAT].tolist() == [
        "Expected miles [mi]", "Plow width [ft]", "Plow type: trip edge [%]", "Block: north [%]", "Block: south [%]",
    ]  # fmt: skip


def test_every_task_has_a_sheet_a_time_and_room_for_a_name(tmp_path):
    tasks = plan_words.tasks(
        planned(tmp_path, settings=plan_settings(stations=4, repeats=1, reading_every_mi=150.0))
    )
    assert (tasks[plan_words.WHO] == plan_words.LINE).all()
    assert tasks.drop(columns=plan_words.WHO).map(bool).all(axis=None)
    assert "4 stations, once each" in " ".join(tasks[plan_words.WHAT])
    assert "about every 150 miles" in " ".join(tasks[plan_words.WHEN])


def test_assumptions_say_where_they_come_from(tmp_path):
    table = plan_words.assumptions(
        planned(tmp_path / "a", settings=plan_settings(reference_life_mi=600.0), gauge_readings=GAUGE)
    )
    values = dict(zip(table[plan_words.WHAT], table[plan_words.AGREED], strict=True))
    sources = dict(zip(table[plan_words.WHAT], table[c.SOURCE], strict=True))
    assert values["Reference lasts"] == "600 miles with the blade down"
    assert values["Reference wears"] == "5.00 in per 1,000 miles"
    assert sources["A reading is off by"] == "the gauge study"
    assert sources["A truck's season"] == "trial.toml"
    other = plan_words.assumptions(planned(tmp_path / "b", fleet_plan=MILES))
    assert "fleet_plan, a middling winter" in other[c.SOURCE].tolist()
    assert "(1,100 miles to 1,800 miles)" in " ".join(other[plan_words.AGREED])


def test_in_metric_no_mile_or_inch_is_left(tmp_path):
    with display.showing("metric"):
        plan = planned(tmp_path, settings='units = "metric"\n' + plan_settings(**FULL), fleet_plan=MILES)
        words = [
            *plan_words.in_brief(plan), *plan_words.reading_error(plan), *plan_words.limits(plan), *plan_words.method(plan),
            plan_words.rules(plan).to_string(), plan_words.assumptions(plan).to_string(), plan_words.tasks(plan).to_string(),
            plan_words.balance_in_brief(plan).drop(columns=plan_words.WHAT).to_string(),
        ]  # fmt: skip
    assert not re.search(r"\b(miles?|inch(es)?|mi|ft)\b|\d in\b", " ".join(words))


def test_the_gauge_study_says_how_far_off_a_reading_is_and_without_one_why_not(tmp_path):
    said = plan_words.reading_error(planned(tmp_path / "a", gauge_readings=GAUGE))
    # by hand: repeats of 0.02, 0, 0.02 in have a standard deviation of 0.02 / sqrt(3) = 0.0115 in, a little less once the
    # differences of people from piece to piece, of which there are none, are pooled with them
    assert re.search(
        r"repeated readings of one person scatter with a standard deviation of 0\.01[12] in", said[0]
    )
    assert "plain steel takes about" in said[1].lower()
    assert len(said) == 2
    none = plan_words.reading_error(planned(tmp_path / "b"))
    assert none[0] == "There is no gauge study yet, so the reading error is assumed."
    one = "piece,station,reader,repeat,height_in\nG1,1,R1,1,5\n"
    assert (
        "at least one piece must be read twice"
        in plan_words.reading_error(planned(tmp_path / "c", gauge_readings=one))[0]
    )


def test_a_position_with_too_few_plows_is_open_and_stays_so_once_it_is_written_down(tmp_path):
    wing = TRUCKS + "T1,wing_right,9,trip_edge,north\n"
    open_line = (
        "Nothing is compared on right wing plows: there is 1, and 2 edge types, so it stays on Plain steel. A comparison takes two "
        "plows of that position for each edge type, or fewer edge types."
    )
    plan = planned(tmp_path / "first", trucks=wing)
    assert open_line in plan_words.still_open(plan)
    assert (
        "1 right wing plow stays on Plain steel: too few to compare 2 edge types." in plan.assigned.sentences
    )
    (forced,) = plan_words.forced(plan)
    assert forced.startswith("T1, right wing: Plain steel. Reason: Too few plows on this position")
    rows = plan_study.new_rows(plan.trial, plan.assigned).to_csv(index=False)
    again = planned(tmp_path / "again", trucks=wing, assignments=rows)
    assert again.assigned.repeatable and again.assigned.kept
    assert open_line in plan_words.still_open(again)


PRICED = {
    "edge_sets": "set_id,edge_type,lot,unit_price_usd,supplied_by\nS1,plain_steel,,400,bought\nS2,carbide_insert,,1000,bought\n",
    "settings": plan_settings(primary_measure='"cost"', smallest_worthwhile_saving_pct=10.0, saving_judged_by='"estimate"'),
}  # fmt: skip


def test_where_cost_decides_the_saving_stands_beside_the_smallest_worthwhile_one(tmp_path):
    plan = planned(tmp_path, **PRICED)
    (life, saving) = plan_words.can_show(plan)
    assert life.startswith("With 4 trucks per type")
    assert saving.startswith("At 2.5 times the price of a set of Plain steel, Carbide insert must last ")
    assert "The smallest saving worth a change, 10%, cannot be counted on to show" in saving
    (brief,) = [said for said in plan_words.in_brief(plan) if said.startswith("It can show a saving")]
    least = savings.saving_words(plan.savings["carbide_insert"].saving_pct(4))
    assert brief.startswith(
        f"It can show a saving in the price of edges per mile of {least} or more (in 80 of 100 such trials)."
    )
    assert "The smallest saving worth a change, 10%, cannot be counted on to show" in brief
    assumed = plan_words.assumptions(plan).set_index(plan_words.WHAT)
    assert assumed.loc["A set costs"].tolist() == ["Plain steel $400 and Carbide insert $1,000", "edge_sets"]
    (row,) = plan_words.sizes_in_brief(plan).to_dict("records")
    assert row[c.DETECTABLE_SAVING_PCT] == savings.saving_words(plan.savings["carbide_insert"].saving_pct(4))
    assert "planned_savings" in plan_study.tables(plan)
    assert any("Savings are those in the price of edges per mile" in said for said in plan_words.limits(plan))


def test_the_lowest_bid_that_may_do_stands_in_for_a_price(tmp_path):
    bids = (
        "bid,edge_type,price_per_set_usd,quantity,lead_time_days,meets_spec\nB1,carbide_insert,900,,,no\n"
        "B2,carbide_insert,1200,,,unclear\nB3,carbide_insert,1300,,,yes\nB4,plain_steel,350,,,yes\n"
    )
    sets = PRICED["edge_sets"].replace("S2,carbide_insert,,1000", "S2,carbide_insert,,")
    plan = planned(tmp_path, **{**PRICED, "edge_sets": sets, "bids": bids})
    assert plan.prices == {"plain_steel": (400.0, "edge_sets"), "carbide_insert": (1200.0, "bids")}
    assert plan_words.can_show(plan)[1].startswith("At 3.0 times the price")
    assumed = plan_words.assumptions(plan).set_index(plan_words.WHAT)
    assert assumed.loc["A set costs", c.SOURCE] == "edge_sets and bids"


@pytest.mark.parametrize(
    ("known", "missing"), [("plain_steel", "Carbide insert"), ("carbide_insert", "Plain steel")]
)
def test_without_a_price_it_is_said_that_the_saving_is_not_known(tmp_path, known, missing):
    sets = f"set_id,edge_type,lot,unit_price_usd,supplied_by\nS1,{known},,400,bought\n"
    plan = planned(tmp_path, **{**PRICED, "edge_sets": sets})
    said = plan_words.can_show(plan)[-1]
    assert said.startswith(f"What a set of {missing} costs is not recorded, so it is not known which saving")
    assert any(
        words.startswith("Record what a set of each edge type costs") for words in plan_words.still_open(plan)
    )
    assert c.DETECTABLE_SAVING_PCT not in plan_words.sizes_in_brief(plan)


def test_where_life_decides_no_saving_is_spoken_of(tmp_path):
    plan = planned(tmp_path, edge_sets=PRICED["edge_sets"])
    assert plan.savings == {} and len(plan_words.can_show(plan)) == 1
    assert not any("costs" in words for words in plan_words.still_open(plan))
