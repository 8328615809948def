"""One table as values: which cells are blank, unreadable or missing, and what is said about them."""

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.tables import ASSIGNMENTS, EDGE_TYPES, MATERIAL, SOUND, WEAR_READINGS
from trialkit.trial import typed_tables
from trialkit.trial.delimited import read_delimited
from trialkit.trial.typed_tables import read_typed_table


def typed(text, table=WEAR_READINGS):
    raw, _ = read_delimited(text.encode(), table, f"{table.name}.csv")
    return read_typed_table(table, f"{table.name}.csv", raw)


def said(table):
    return table.problems(np.ones(len(table.rows), dtype=bool))


READINGS = "set_id,date,station,repeat,height_in,tool\n"


def test_values_stay_in_the_unit_of_the_file():
    table = typed("set_id,date,station,height_mm\nS1,2031-01-14,1,136.5\nS1,2031-01-14T05:30,2,\n")
    np.testing.assert_array_equal(table.values[c.HEIGHT_IN], [136.5, np.nan])
    assert table.heading(c.HEIGHT_IN).unit == "mm" and table.heading(c.COUNTER_MI).unit == "mi"
    assert list(table.values[c.DATE]) == [np.datetime64("2031-01-14"), np.datetime64("2031-01-14T05:30")]
    assert table.text(c.HEIGHT_IN, 0) == "136.5" and table.text(c.HEIGHT_IN, 1) == ""


def test_every_column_of_the_table_has_values():
    table = typed("set_id,date,station,height_in\nS1,2031-01-14,1,5\n")
    assert set(WEAR_READINGS.names) <= set(table.values)
    assert np.isnan(table.values[c.COUNTER_MI][0]) and pd.isna(table.values[c.TOOL][0])
    empty = read_typed_table(WEAR_READINGS, "wear_readings.csv", None)
    assert all(len(values) == 0 for values in empty.values.values()) and said(empty) == []


@pytest.mark.parametrize("cell", [",", "1,"], ids=["blank", "given"])
def test_a_blank_is_what_the_table_says(cell):
    table = typed(f"{READINGS}S1,2031-01-14,1,{cell}5,\n")
    assert table.values[c.REPEAT][0] == 1.0 and table.values[c.BASELINE][0] == "no"
    assert typed("truck_id,plow_position,edge_type\nT1,front,a\n", ASSIGNMENTS).values[c.PERIOD][0] == 1.0
    edge_types = typed(
        "edge_type,new_height_in,usable_depth_in,replaced_as\na,5,1,\nb,5,1,section\n", EDGE_TYPES
    )
    assert list(edge_types.values[c.REPLACED_AS]) == ["set", "section"]
    assert edge_types.values[c.LABEL].isna().all(), "a label is not made up"


def test_a_blank_is_never_zero_and_an_unreadable_cell_is_no_default():
    table = typed(f"{READINGS}S1,2031-01-14,1,x,,Rule\n")
    assert (
        np.isnan(table.values[c.REPEAT][0])
        and np.isnan(table.values[c.HEIGHT_IN][0])
        and pd.isna(table.values[c.TOOL][0])
    )


def test_blank_unreadable_and_missing_are_three_things():
    table = typed(f"{READINGS}S1,2031-01-14,1,,5,\nS1,2031-01-14,2,,,\nS1,2031-01-14,3,,5-Mar,\n")
    np.testing.assert_array_equal(table.is_blank(c.HEIGHT_IN), [False, True, False])
    np.testing.assert_array_equal(table.is_unreadable(c.HEIGHT_IN), [False, False, True])
    np.testing.assert_array_equal(table.is_missing(c.HEIGHT_IN), [False, True, False])


def test_each_problem_names_the_cell_as_typed_and_the_header_as_spelled():
    table = typed('Set_ID,date,station,repeat,Height_MM\nS1,2031-01-14,3,2,"136,5"\nS1,2031-01-14,4,1,\n')
    wrong, blank = said(table)
    assert (wrong.code, wrong.row, wrong.key) == ("decimal-comma", 2, "S1, 2031-01-14, station 3, repeat 2")
    assert (wrong.column, wrong.found, wrong.allowed) == ("Height_MM", "136,5", "a number, in mm")
    assert (blank.code, blank.row, blank.key, blank.found) == (
        "cell-missing",
        3,
        "S1, 2031-01-14, station 4",
        "blank",
    )


def test_rows_with_too_many_cells_have_one_problem_only():
    table = typed(f"{READINGS}S1,2031-01-14,1,1,5,375,rule\n")
    assert said(table) == []
    assert (
        table.values[c.STATION][0] == 1.0
        and np.isnan(table.values[c.HEIGHT_IN][0])
        and pd.isna(table.values[c.TOOL][0])
    )


def test_very_many_bad_cells_are_counted(monkeypatch):
    monkeypatch.setattr(typed_tables, "MOST_ROWS", 3)
    rows = [
        f"S1,2031-01-14,{station},1,{cell},"
        for station, cell in enumerate(["x"] * 5 + [""] * 4 + ["5-Mar"], start=1)
    ]
    problems = said(typed(READINGS + "\n".join(rows)))
    assert [p.code for p in problems] == ["date-for-number", *["not-a-number"] * 4, *["cell-missing"] * 4]
    assert (
        "2 more rows" in problems[4].found
        and "1 more rows" in problems[-1].found
        and problems[-1].key == "height_in"
    )


@pytest.mark.parametrize(
    ("row", "missing"),
    [
        ("P1,F1,,,", []),
        ("P1,,T1,2031-01-14,", []),
        ("P1,F1,T1,,", []),
        ("P1,,,,", ["shift_id"]),
        ("P1,,,2031-01-14,", ["shift_id"]),
        ("P1,,T1,,", ["date"]),
        ("P1,,T1,x,", []),
    ],
)
def test_a_sample_names_its_shift_or_its_truck_and_day(row, missing):
    table = typed(
        f"sound_id,shift_id,truck_id,date,set_id,task,duration_min,level_dba,exchange_rate_db\n{row},idle,60,80,3\n",
        SOUND,
    )
    problems = [problem for problem in said(table) if problem.code == "cell-missing"]
    assert [problem.column for problem in problems] == missing
    if missing == ["shift_id"]:
        assert problems[0].allowed == "shift_id or truck_id"


def test_a_quantity_by_weight_or_by_volume():
    text = "shift_id,material,quantity_ton,quantity_l\nF1,rock_salt,2,\nF2,brine,,400\nF3,brine,2,400\nF4,brine,,\nF5,brine,x,400\n"
    problems = said(typed(text, MATERIAL))
    assert [(p.code, p.row) for p in problems] == [
        ("not-a-number", 6),
        ("cell-missing", 5),
        ("unit-of-quantity", 4),
    ]
    assert problems[1].allowed == "quantity_ton or quantity_l"
    assert (problems[2].column, problems[2].found) == ("quantity_l", "400 beside 2 in quantity_ton")
    assert "one of the two cells" in problems[2].fix


def test_a_quantity_without_any_column_is_said_for_the_header_alone():
    assert said(typed("shift_id,material\nF1,brine\n", MATERIAL)) == []


def test_very_many_quantities_in_two_units_are_counted(monkeypatch):
    monkeypatch.setattr(typed_tables, "MOST_ROWS", 2)
    rows = "".join(f"F{number},brine,2,400\n" for number in range(5))
    problems = said(typed(f"shift_id,material,quantity_ton,quantity_l\n{rows}", MATERIAL))
    assert [p.row for p in problems] == [2, 3, None] and "3 more rows" in problems[-1].found


def test_columns_of_ones_own_keep_their_name_unless_it_means_something_here():
    table = typed("set_id,date,station,height_in,bay,row,truck_id\nS1,2031-01-14,1,5,2,7,T1\n")
    assert list(table.headings)[4:] == ["bay", "row (extra)", "truck_id (extra)"]
    assert [table.values[name][0] for name in list(table.headings)[4:]] == ["2", "7", "T1"]


def test_a_cell_equals_a_text_as_typed_or_as_a_value():
    table = typed(f"{READINGS}S1,2031-01-14,1,,5 3/8,rule\nS1,2031-01-14T05:30,2,2,5-Mar,\n")
    both = np.array([0, 1])
    for name, text, expected in [
        (c.HEIGHT_IN, "5 3/8", [True, False]),
        (c.HEIGHT_IN, "5.375", [True, False]),
        (c.HEIGHT_IN, "5-Mar", [False, True]),
        (c.HEIGHT_IN, "6-Mar", [False, False]),
        (c.DATE, "2031-01-14 05:30", [False, True]),
        (c.DATE, "2031-01-14", [True, False]),
        (c.REPEAT, "", [True, False]),
        (c.REPEAT, "1", [True, False]),
        (c.TOOL, "", [False, True]),
        (c.TOOL, "rule", [True, False]),
        (c.TOOL, "tape", [False, False]),
        (c.NOTE, "", [True, True]),
        (c.NOTE, "x", [False, False]),
    ]:
        np.testing.assert_array_equal(table.equals(name, text, both), expected, err_msg=f"{name} {text}")


def test_the_key_of_a_row():
    table = typed(f"{READINGS}S1,2031-01-14,1,,5,\n,x,2,2,5,\n")
    assert (table.key(0), table.about(0)) == ("S1 | 2031-01-14 | 1", "S1, 2031-01-14, station 1")
    assert (table.key(1), table.about(1)) == (" | x | 2 | 2", "x, station 2, repeat 2")
