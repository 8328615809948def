"""Which incoming rows the trial has, and which say something else."""

import pytest

from trialkit.logbook.keyed_rows import CONFLICT, NEW, THERE, TWICE, Difference, filled, standings
from trialkit.tables import TABLES
from trialkit.trial.corrections import carry_out
from trialkit.trial.delimited import read_delimited
from trialkit.trial.typed_tables import read_typed_table

READINGS = "set_id,date,station,repeat,height_in,counter_mi,note\n"


def typed(table, text, file="t.csv"):
    raw, _ = read_delimited(text.encode(), TABLES[table], file)
    return read_typed_table(TABLES[table], file, raw)


def kinds(table, there, here):
    return [standing.kind for standing in standings(typed(table, here, "new.csv"), typed(table, there))]


@pytest.mark.parametrize(
    ("here", "kind"),
    [
        ("S1,2031-01-14,1,1,5 3/8,100,", THERE),
        ("S1,2031-01-14,1,,5.375,100,", THERE),  # a blank repeat is the first
        ("S1,2031-01-14T00:00,1,1,5-3/8,100.0,", THERE),
        ("S1,2031-01-14,1,2,5 3/8,100,", NEW),
        ("S1,2031-01-14T05:00,1,1,5 3/8,100,", NEW),
        ("s1,2031-01-14,1,1,5 3/8,100,", NEW),
        ("S1,2031-01-14,1,1,5 1/4,100,", CONFLICT),
        ("S1,2031-01-14,1,1,5 3/8,,", THERE),  # not recorded here does not speak against what is there
        ("S1,2031-01-14,1,1,5 3/8,100,thin", CONFLICT),  # but what is recorded here is not there
        ("S1,2031-01-14,1,1,nonsense,100,", CONFLICT),
        ("S1,,1,1,5 3/8,100,", NEW),
        (",2031-01-14,1,1,5 3/8,100,", NEW),
        ("S1,5-Mar,1,1,5 3/8,100,", NEW),
    ],
)
def test_rows_are_recognized_by_the_values_of_their_key(here, kind):
    assert kinds("wear_readings", READINGS + "S1,2031-01-14,1,,5.375,100,\n", READINGS + here) == [kind]


def test_another_unit_is_no_difference():
    there = READINGS + "S1,2031-01-14,1,,5.375,100,\n"
    here = "set_id,date,station,height_mm,counter_km\nS1,2031-01-14,1,136.525,160.9344\nS1,2031-01-14,1,136.5,160.9344\n"
    same, other = standings(typed("wear_readings", here), typed("wear_readings", there))
    assert same.kind == THERE
    assert other.differences == (Difference("height_in", "5.375", "136.5 mm (5.374015748 in)"),)


def test_a_conflict_names_both_sides():
    there = READINGS + "\nS1,2031-01-14,1,,5.375,100,\n"
    here = READINGS + "S1,2031-01-14,1,,5.25,,x\n"
    (standing,) = standings(typed("wear_readings", here), typed("wear_readings", there))
    assert (standing.kind, standing.file, standing.row, standing.fuller) == (CONFLICT, "t.csv", 3, True)
    assert standing.differences == (
        Difference("height_in", "5.375", "5.25"),
        Difference("note", "blank", "x"),
    )


def test_rows_that_stand_twice_in_the_file():
    here = READINGS + "S1,2031-01-14,1,,5.375,100,\nS1,2031-01-14,1,1,5 3/8,100,\nS1,2031-01-14,1,1,5,100,\n"
    found = standings(typed("wear_readings", here, "new.csv"), None)
    assert [standing.kind for standing in found] == [NEW, TWICE, CONFLICT]
    assert (found[2].file, found[2].row) == ("new.csv", 2)


def test_optional_parts_of_a_key():
    events = "set_id,truck_id,plow_position,date,event,station\n"
    there = events + "S1,T1,front,2031-01-14,section_swap,\n"
    assert kinds("set_events", there, events + "S1,T1,front,2031-01-14,section_swap,\n") == [THERE]
    assert kinds("set_events", there, events + "S1,T1,front,2031-01-14,section_swap,3\n") == [NEW]
    costs = "item,effective_from,edge_type,amount_usd,per\n"
    there = costs + "disposal,2031-01-01,,5,set\n"
    assert kinds("costs", there, costs + "disposal,2031-01-01,,5.0,set\n") == [THERE]
    assert kinds("costs", there, costs + "disposal,2031-01-01,plain_steel,5,set\n") == [NEW]


def test_lines_of_a_table_without_a_key_are_there_if_all_of_them_is():
    lines = "when,table,row_key,action,column,old,new,reason,by\n"
    there = lines + "2031-01-01,trucks,T1,query,,,,why,A\n"
    assert kinds("decisions", there, lines + "2031-01-01,trucks,T1,query,,,,why,A\n") == [THERE]
    assert kinds("decisions", there, lines + "2031-01-01,trucks,T1,query,,,,other,A\n") == [NEW]


def test_prices_are_compared_per_pound():
    there = "shift_id,material,quantity_lb,unit_price_usd\nH1,rock_salt,5000,0.038\n"
    here = "shift_id,material,quantity_ton,unit_price_usd\nH1,rock_salt,2.5,76\n"
    assert kinds("material", there, here) == [THERE]
    assert kinds("material", there, here.replace("76", "77")) == [CONFLICT]


def test_a_row_that_a_decision_has_corrected_is_known_both_ways():
    there = READINGS + "S1,2031-01-14,1,,5.375,100,\nS1,2031-01-14,2,,5.375,100,\n"
    raw, corrected = typed("wear_readings", there), typed("wear_readings", there)
    lines = "when,table,row_key,action,column,old,new,reason,by\n"
    lines += "2031-01-15,wear_readings,S1 | 2031-01-14 | 1,correct,height_in,5.375,5.25,slip,A\n"
    lines += "2031-01-15,wear_readings,S1 | 2031-01-14 | 2,exclude,,,,ice,A\n"
    assert carry_out(typed("decisions", lines), {"wear_readings": corrected})[1] == []
    here = READINGS + "S1,2031-01-14,1,,{},100,\n"
    for height, kind in (("5.375", THERE), ("5.25", THERE), ("5.3", CONFLICT)):
        (standing,) = standings(typed("wear_readings", here.format(height)), raw, corrected)
        assert standing.kind == kind
    excluded = READINGS + "S1,2031-01-14,2,,5.375,100,\n"
    assert standings(typed("wear_readings", excluded), raw, corrected)[0].kind == THERE


def test_columns_of_ones_own_are_compared_as_text():
    there, here = "storm_id,start,mine\nW1,2031-01-01,a\n", "storm_id,start,mine\nW1,2031-01-01,{}\n"
    assert kinds("storms", there, here.format("a")) == [THERE]
    assert kinds("storms", there, here.format("b")) == [CONFLICT]


def test_only_what_says_something_is_filled():
    table = typed("wear_readings", READINGS.replace("note", "baseline") + "S1,2031-01-14,1,1,5,,no\nS1,2031-01-14,2,,5,,\nS1,2031-01-14,3,2,5,7,yes\n")  # fmt: skip
    assert filled(table, "repeat").tolist() == [False, False, True]
    assert filled(table, "baseline").tolist() == [False, False, True]
    assert filled(table, "counter_mi").tolist() == [False, False, True]
