"""Decisions: which row a line names, what it does, and why it cannot be carried out."""

import pandas as pd
import pytest
from conftest import TABLES, replaced, write_trial

from trialkit.trial.corrections import CARRIED_OUT
from trialkit.trial.intake import read_draft, typed_text

HEADER = "when,table,row_key,action,column,old,new,reason,by\n"
READINGS = TABLES["wear_readings"]


def decided(tmp_path, *lines, **tables):
    """A draft of the smallest trial with these lines of decisions; each lacks when, reason and by."""
    text = HEADER + "".join(f"2031-02-01,{line},looked at,A1\n" for line in lines)
    return read_draft(write_trial(tmp_path, decisions=text, **tables))


def the_problem(draft):
    (problem,) = draft.problems
    return problem


def height(draft, row):
    return draft.frames["wear_readings"].loc[row, "height_in"]


def test_without_decisions_nothing_is_carried_out(trial_folder):
    draft = read_draft(trial_folder)
    assert (
        list(draft.exclusions.columns) == list(CARRIED_OUT)
        and len(draft.exclusions) == 0
        and draft.excluded == {}
    )


@pytest.mark.parametrize(
    "key", ["S1 | 2030-12-18 | 1 | 1", "S1 | 2030-12-18 | 1", "S1|2030-12-18|1", "S1 | 2030-12-18 | 1.0 | "]
)
def test_an_excluded_row_leaves_the_frame_and_is_kept(tmp_path, key):
    draft = decided(tmp_path, f"wear_readings,{key},exclude,,,")
    assert draft.problems == ()
    assert 5 not in draft.frames["wear_readings"].index and len(draft.frames["wear_readings"]) == 35
    kept = draft.excluded["wear_readings"]
    assert list(kept.index) == [5] and kept.loc[5, "height_in"] == 5.6
    assert list(kept.columns) == list(draft.frames["wear_readings"].columns)
    (done,) = draft.exclusions.to_dict("records")
    assert (done["table"], done["row_key"], done["action"], done["row"]) == (
        "wear_readings",
        key.strip(),
        "exclude",
        5,
    )
    assert (done["reason"], done["by"], done["when"]) == ("looked at", "A1", pd.Timestamp(2031, 2, 1))
    assert list(draft.exclusions.index) == [2]


def test_the_key_of_an_event_may_leave_out_the_station(tmp_path):
    swap = TABLES["set_events"] + "S1,T1,front,2030-12-20,section_swap,2,210,40210,\n"
    draft = decided(
        tmp_path, "set_events,S1 | 2030-11-20 | install,exclude,,,", "set_events,S1 | 2030-12-20 | section_swap | 2,exclude,,,",
        set_events=swap,
    )  # fmt: skip
    assert draft.problems == () and list(draft.exclusions["row"]) == [2, 6]


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("correct,height_in,5.6,5.5", 5.5),
        ("correct,height_in,5.600,5 1/2", 5.5),
        ("correct,height_in,5 6/10,5.5", 5.5),
        ("correct,height_in,,5.5", 5.5),
        ("correct,HEIGHT_IN,5.6,5.5", 5.5),
        ("correct,height_mm,142.24,139.7", 5.5),
    ],
)
def test_a_corrected_number(tmp_path, line, value):
    draft = decided(tmp_path, f"wear_readings,S1 | 2030-12-18 | 1,{line}")
    assert draft.problems == () and height(draft, 5) == pytest.approx(value, abs=1e-12)
    assert draft.exclusions.loc[2, "old"] == "5.600" and draft.exclusions.loc[2, "row"] == 5
    assert typed_text(draft, "wear_readings", 5, "height_in") == line.rsplit(",", 1)[1]
    assert height(draft, 6) == 5.59 and draft.excluded == {}


def test_the_unit_of_the_file_and_of_the_line_may_differ(tmp_path):
    lines = READINGS.replace("height_in", "height_mm").split("\n")
    draft = decided(
        tmp_path, "wear_readings,S1 | 2030-12-18 | 1,correct,height_in,,5 1/2", wear_readings="\n".join(lines)
    )
    assert draft.problems == () and height(draft, 5) == pytest.approx(5.5, abs=1e-12)


def test_a_corrected_word_date_and_column_of_ones_own(tmp_path):
    text = (
        READINGS.replace("baseline", "baseline,weather")
        .replace(",no\n", ",no,fair\n")
        .replace(",yes\n", ",yes,fair\n")
    )
    draft = decided(
        tmp_path,
        "wear_readings,S1 | 2030-12-18 | 1,correct,tool,caliper,tape",
        "wear_readings,S1 | 2030-12-18 | 1,correct,weather,fair,foul",
        "wear_readings,S1 | 2030-12-18 | 1,correct,date,2030-12-18,2030-12-19T06:00",
        "edge_sets,S2,correct,edge_type,carbide_insert,plain_steel",
        wear_readings=text,
    )
    assert [p.code for p in draft.problems] == ["column-unknown"]
    row = draft.frames["wear_readings"].loc[5]
    assert (row["tool"], row["weather"], row["date"]) == ("tape", "foul", pd.Timestamp(2030, 12, 19, 6))
    assert draft.frames["edge_sets"].loc[3, "edge_type"] == "plain_steel"


def test_a_column_that_the_file_does_not_have_can_be_filled(tmp_path):
    draft = decided(tmp_path, "set_events,S1 | 2030-11-20 | install,correct,labour_h,,1.5")
    assert draft.problems == ()
    assert (
        draft.frames["set_events"]["labour_h"].tolist()[0] == 1.5
        and draft.frames["set_events"]["labour_h"].isna().sum() == 3
    )


def test_a_value_can_be_taken_out_if_the_old_one_is_named(tmp_path):
    draft = decided(tmp_path, "set_events,S1 | 2030-11-20 | install,correct,counter_mi,100,")
    assert draft.problems == () and pd.isna(draft.frames["set_events"].loc[2, "counter_mi"])
    draft = decided(tmp_path, "wear_readings,S1 | 2030-12-18 | 1,correct,repeat,1,")
    assert draft.problems == () and draft.frames["wear_readings"].loc[5, "repeat"] == 1


def test_a_corrected_key_is_the_key_of_later_lines(tmp_path):
    draft = decided(
        tmp_path,
        "wear_readings,S1 | 2030-12-18 | 1,correct,date,2030-12-18,2030-12-19",
        "wear_readings,S1 | 2030-12-19 | 1,correct,height_in,5.6,5.5",
        "wear_readings,S1 | 2030-12-18 | 1,exclude,,,",
    )
    problem = the_problem(draft)
    assert (problem.code, problem.row) == ("decision-unmatched", 4) and height(draft, 5) == 5.5


def test_a_key_that_was_made_blank_may_be_left_out(tmp_path):
    draft = decided(
        tmp_path,
        "set_events,S1 | 2030-12-20 | section_swap | 2,correct,station,2,",
        "set_events,S1 | 2030-12-20 | section_swap,exclude,,,",
        set_events=TABLES["set_events"] + "S1,T1,front,2030-12-20,section_swap,2,210,40210,\n",
    )
    assert draft.problems == () and list(draft.exclusions["row"]) == [6, 6]


def test_lines_are_carried_out_in_order(tmp_path):
    key = "wear_readings,S1 | 2030-12-18 | 1"
    draft = decided(
        tmp_path,
        f"{key},correct,height_in,5.6,5.5",
        f"{key},correct,height_in,5.5,5.4",
        f"{key},correct,height_in,5.6,5.3",
    )
    assert height(draft, 5) == 5.4
    problem = the_problem(draft)
    assert (problem.code, problem.row, problem.column, problem.found, problem.allowed) == (
        "decision-unmatched",
        4,
        "old",
        "5.6",
        "5.4",
    )
    assert "row 5 of wear_readings.csv" in problem.fix


def test_keep_and_query_change_nothing(tmp_path):
    draft = decided(
        tmp_path, "wear_readings,S1 | 2030-12-18 | 1,keep,,,", "wear_readings,S1 | 2030-12-18 | 2,query,,,"
    )
    assert draft.problems == () and len(draft.exclusions) == 0 and len(draft.frames["wear_readings"]) == 36
    assert list(draft.frames["decisions"]["action"]) == ["keep", "query"]


def test_an_excluded_row_is_gone_for_later_lines_but_may_be_queried(tmp_path):
    key = "wear_readings,S1 | 2030-12-18 | 1"
    draft = decided(tmp_path, f"{key},exclude,,,", f"{key},query,,,", f"{key},exclude,,,", f"{key},keep,,,")
    assert [(p.code, p.row) for p in draft.problems] == [("decision-unmatched", 4), ("decision-unmatched", 5)]
    assert "earlier line has excluded" in draft.problems[0].fix


def test_a_correction_mends_a_cell_that_could_not_be_read(tmp_path):
    text = READINGS.replace("5.600", "5-Mar").replace("S1,2030-12-18,2", "S1,12/18/2030,2")
    assert len(read_draft(write_trial(tmp_path, wear_readings=text)).problems) == 2
    draft = decided(
        tmp_path,
        "wear_readings,S1 | 2030-12-18 | 1,correct,height_in,5-Mar,5 3/8",
        "wear_readings,S1 | 12/18/2030 | 2,correct,date,12/18/2030,2030-12-18",
        wear_readings=text,
    )
    assert draft.problems == () and height(draft, 5) == 5.375
    assert draft.frames["wear_readings"].loc[6, "date"] == pd.Timestamp(2030, 12, 18)


def test_an_exclusion_takes_the_problems_of_its_row_with_it(tmp_path):
    text = (
        READINGS.replace("S1,2030-12-18,1,1,5.600", "S1,2030-12-18,1,1,5,600")
        .replace("5.590", "")
        .replace("5.580", "5,580")
    )
    draft = decided(
        tmp_path,
        "wear_readings,S1 | 2030-12-18 | 1,exclude,,,",
        "wear_readings,S1 | 2030-12-18 | 2,exclude,,,",
        wear_readings=text,
    )
    assert [(p.code, p.row) for p in draft.problems] == [("row-cells", 7)]


def test_old_and_column_tell_rows_with_one_key_apart(tmp_path):
    text = replaced("wear_readings", "S1,2030-12-18,2,", "S1,2030-12-18,1,")
    draft = decided(
        tmp_path,
        "wear_readings,S1 | 2030-12-18 | 1,exclude,,,",
        "wear_readings,S1 | 2030-12-18 | 1,exclude,height_in,5.59,",
        wear_readings=text,
    )
    problem = the_problem(draft)
    assert (problem.code, problem.row) == ("decision-invalid", 2) and "Rows 5, 6" in problem.fix
    assert list(draft.excluded["wear_readings"].index) == [6]


@pytest.mark.parametrize(
    ("line", "code", "column", "found", "advice"),
    [
        ("wear_reading,S1,exclude,,,", "decision-invalid", "table", "wear_reading", '"wear_readings"'),
        ("zzz,S1,exclude,,,", "decision-invalid", "table", "zzz", "have a key"),
        ("decisions,S1,exclude,,,", "decision-invalid", "table", "decisions", ""),
        ("storms,S1,exclude,,,", "decision-unmatched", "table", "storms", "Add the table"),
        (
            "wear_readings,S1 | 2030-12-18 | 4,exclude,,,",
            "decision-unmatched",
            "row_key",
            "S1 | 2030-12-18 | 4",
            '"S1 | 2030-12-18 |',
        ),
        (
            "wear_readings,s1 | 2030-12-18 | 1,exclude,,,",
            "decision-unmatched",
            "row_key",
            "s1 | 2030-12-18 | 1",
            '"S1 | 2030-12-18 | 1 | 1"',
        ),
        ("trucks,T1 | Front,exclude,,,", "decision-unmatched", "row_key", "T1 | Front", '"T1 | front"'),
        (
            "edge_sets,zzzzzzzzzz,exclude,,,",
            "decision-unmatched",
            "row_key",
            "zzzzzzzzzz",
            "No row of edge_sets",
        ),
        (
            "wear_readings,S1 | 2030-12-18,exclude,,,",
            "decision-unmatched",
            "row_key",
            "S1 | 2030-12-18",
            "in this order",
        ),
        ("edge_sets,S1 | L1,exclude,,,", "decision-unmatched", "row_key", "S1 | L1", "in this order"),
        ("edge_sets,S1,correct,,,5", "decision-invalid", "column", "blank", "Name a column of edge_sets"),
        (
            "edge_sets,S1,correct,unit_prise_usd,,5",
            "decision-invalid",
            "column",
            "unit_prise_usd",
            '"unit_price_usd"',
        ),
        ("edge_sets,S1,correct,unit_price_usd,399,5", "decision-unmatched", "old", "399", "stands 400"),
        ("edge_sets,S1,correct,unit_price_usd,x,5", "decision-unmatched", "old", "x", "stands 400"),
        (
            "set_events,S1 | 2030-11-20 | install,correct,labour_h,3,5",
            "decision-unmatched",
            "old",
            "3",
            "stands nothing",
        ),
        ('edge_sets,S1,correct,unit_price_usd,400,"1,200"', "decision-invalid", "new", "1,200", "1200"),
        ("edge_sets,S1,correct,supplied_by,bought,Bought", "decision-invalid", "new", "Bought", '"bought"'),
        ("edge_sets,S1,correct,unit_price_usd,,", "decision-invalid", "new", "blank", "exclude the row"),
        (
            "edge_sets,S1,correct,edge_type,plain_steel,",
            "decision-invalid",
            "new",
            "blank",
            "exclude the row",
        ),
        (
            "wear_readings,S1 | 2030-12-18 | 1,correct,height_mm,140,139",
            "decision-unmatched",
            "old",
            "140",
            "stands 5.600",
        ),
        (
            "wear_readings,S1 | 2030-12-18 | 1,correct,height_mm,x,139",
            "decision-unmatched",
            "old",
            "x",
            "stands 5.600",
        ),
    ],
)
def test_lines_that_cannot_be_carried_out(tmp_path, line, code, column, found, advice):
    draft = decided(tmp_path, line)
    problem = the_problem(draft)
    assert (problem.code, problem.file, problem.row, problem.column, problem.found) == (
        code,
        "decisions.csv",
        2,
        column,
        found,
    )
    assert advice in problem.fix and problem.allowed and problem.stops
    assert line.split(",")[0] in problem.key
    assert len(draft.exclusions) == 0
    assert len(draft.frames["wear_readings"]) == 36


def test_a_line_without_reason_or_with_an_unknown_action_is_not_carried_out(tmp_path):
    text = HEADER + "2031-02-01,edge_sets,S1,exclude,,,,,A1\n2031-02-01,edge_sets,S2,drop,,,,x,A1\n"
    draft = read_draft(write_trial(tmp_path, decisions=text))
    assert [(p.code, p.row, p.column) for p in draft.problems] == [
        ("cell-missing", 2, "reason"),
        ("not-a-choice", 3, "action"),
    ]
    assert len(draft.exclusions) == 0 and len(draft.frames["edge_sets"]) == 4


def test_decisions_on_a_sheet_with_date_cells(tmp_path):
    text = HEADER + "2031-02-01,wear_readings,S1 | 2030-12-18 | 1,exclude,,,,worn,A1\n"
    draft = read_draft(write_trial(tmp_path, workbook=True, decisions=text))
    assert draft.problems == () and list(draft.exclusions["row"]) == [5]
    text = HEADER + "2031-02-01,edge_sets,S9,exclude,,,,worn,A1\n"
    assert (
        the_problem(read_draft(write_trial(tmp_path, workbook=True, decisions=text))).file
        == "trial.xlsx [decisions]"
    )
