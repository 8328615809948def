"""Rules for prices, costs and planned miles: one broken cell, one problem."""

import pytest
from conftest import TABLES, write_trial

from trialkit.trial import checks

COSTS = """\
item,effective_from,edge_type,amount_usd,per{extra}
labour_regular,2030-07-01,,{labour},hour{more}
disposal,2030-07-01,,-6.00,{per}{more}
"""
PLAN = """\
truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi
T1,front,{t1}
T2,front,1000,1500,2000
T3,front,1000,1500,2000
"""
T4 = "T4,front,1000,1500,2000\n"
GOOD = {"labour": "58.00", "per": "set", "extra": "", "more": ""}


def problems(folder, plan=None, sets=None, **cells):
    given = {"costs": COSTS.format(**GOOD | cells)}
    if plan is not None:
        given["fleet_plan"] = plan
    if sets is not None:
        given["edge_sets"] = sets
    return list(checks.check_trial(write_trial(folder, **given)).problems)


def only(folder, **given):
    found = problems(folder, **given)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_costs_and_a_plan_that_are_right(tmp_path):
    assert problems(tmp_path, plan=PLAN.format(t1="1000,1500,2000") + T4) == []


def test_an_amount_below_zero(tmp_path):
    problem = only(tmp_path, labour="-58.00")
    assert (problem.code, problem.severity, problem.file, problem.row, problem.column) == (
        "amount-negative", "error", "costs.csv", 2, "amount_usd",
    )  # fmt: skip
    assert (problem.found, problem.allowed) == ("-58.00", "0 or more")


def test_an_item_paid_per_something_that_does_not_fit(tmp_path):
    problem = only(tmp_path, per="hour")
    assert (problem.code, problem.severity, problem.row, problem.found) == (
        "amount-per",
        "warning",
        3,
        "hour",
    )
    assert problem.allowed == "set, change or year for disposal"


@pytest.mark.parametrize("word", ["CAD", "eur"])
def test_another_currency_stops_the_run(tmp_path, word):
    found = problems(tmp_path, extra=",currency", more=f",{word}")
    mixed = [problem for problem in found if problem.code == "currency-mixed"]
    assert [(one.severity, one.row, one.found) for one in mixed] == [("error", 2, word), ("error", 3, word)]
    assert mixed[0].allowed == "USD, the trial's currency" and "Convert the amount to USD" in mixed[0].fix


def test_the_currency_of_the_trial_may_be_said(tmp_path):
    found = problems(tmp_path, extra=",currency", more=",usd")
    assert [problem.code for problem in found] == ["column-unknown"]


def test_a_blank_currency_is_the_trials(tmp_path):
    assert "currency-mixed" not in {one.code for one in problems(tmp_path, extra=",currency", more=",")}


def test_a_bought_set_without_a_price(tmp_path):
    sets = TABLES["edge_sets"].replace("S1,plain_steel,L1,400,", "S1,plain_steel,L1,,")
    sets = sets.replace("S2,carbide_insert,L2,1800,", "S2,carbide_insert,L2,0,")
    problem = only(tmp_path, sets=sets)
    assert (problem.code, problem.severity, problem.column) == ("price-missing", "warning", "unit_price_usd")
    assert problem.found == "blank or 0 for 2 sets that were bought (S1 and S2)"


def test_a_donated_set_needs_no_price(tmp_path):
    sets = TABLES["edge_sets"].replace("S1,plain_steel,L1,400,bought", "S1,plain_steel,L1,,donated")
    assert problems(tmp_path, sets=sets) == []


@pytest.mark.parametrize("miles", ["1600,1500,2000", "1000,2500,2000"])
def test_planned_miles_that_do_not_rise(tmp_path, miles):
    problem = only(tmp_path, plan=PLAN.format(t1=miles) + T4)
    assert (problem.code, problem.severity, problem.row) == ("plan-order", "error", 2)
    assert problem.found == ", ".join(miles.split(","))


def test_a_truck_without_planned_miles(tmp_path):
    problem = only(tmp_path, plan=PLAN.format(t1="1000,1500,2000"))
    assert (problem.code, problem.severity) == ("plan-missing", "warning")
    assert problem.found == "no row for 1 truck position of trucks (T4 front)"


def test_tables_and_columns_that_are_not_there_are_no_problem(tmp_path):
    bare = "truck_id,plow_position,miles_low_mi,miles_mid_mi\n"
    found = {problem.code for problem in problems(tmp_path, plan=bare)}
    assert not found & {"plan-order", "amount-per"}


def test_many_are_counted(tmp_path):
    trucks = TABLES["trucks"] + "".join(f"T{n},front,11,trip_edge,south\n" for n in range(5, 13))
    text = PLAN.format(t1="1000,1500,2000")
    folder = write_trial(tmp_path, fleet_plan=text, trucks=trucks)
    found = [one for one in checks.check_trial(folder).problems if one.code == "plan-missing"]
    assert found[0].found == (
        "no row for 9 truck positions of trucks (T4 front, T5 front, T6 front, T7 front, T8 front and 4 more)"
    )
