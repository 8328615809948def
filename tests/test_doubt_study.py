"""From a trial to what is tried on its wear findings."""

import pandas as pd
import pytest
from conftest import SETTINGS, TABLES, write_trial
from season import shifts

from trialkit import columns as c
from trialkit.report import doubt_study, study
from trialkit.trial.checks import check_trial


def small(folder, settings=SETTINGS, **tables):
    return check_trial(write_trial(folder, settings=settings, **tables)).require_clean()


def variants(doubt):
    return list(dict.fromkeys(doubt.board.table[c.VARIANT]))


def decisions(*rows):
    lines = [f"2031-01-20,wear_readings,{key},exclude,,,,Read over ice,AN" for key in rows]
    return "when,table,row_key,action,column,old,new,reason,by\n" + "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def demo():
    return doubt_study.doubts(check_trial("data_demo").require_clean())


def test_the_demo_findings_stand_and_the_planted_reading_is_found(demo):
    assert (demo.board.table[c.STANDS] == "yes").all()
    assert demo.cross.agrees
    # row 898: the reading that the demo's decisions query because it is higher than the one before
    assert demo.apart.table[c.SHEET_ROWS].tolist() == ["898"]
    assert "with the reading left out, row 1028" in variants(demo)
    assert "miles from counters alone" in variants(demo)
    assert "per odometer mile of plowing shifts" in variants(demo)


def test_the_demo_was_run_in_and_then_wore_straight(demo):
    def of(result):
        return result.table.set_index([c.EDGE_TYPE, c.PLOW_POSITION]).loc[("plain_steel", "front")]

    assert of(demo.run_in)[c.CONF_HIGH] < 0
    assert of(demo.bend)[c.CONF_LOW] < 0 < of(demo.bend)[c.CONF_HIGH]
    assert demo.run_in_mi == 40


def test_tables_that_leave_the_tool(demo):
    assert list(demo.tables) == ["sensitivity", "crosscheck", "early_late", "stands_apart", "blade_shares"]
    assert all(isinstance(table, pd.DataFrame) and len(table) for table in demo.tables.values())


def test_the_smallest_trial_can_be_tried(tmp_path):
    doubt = doubt_study.doubts(small(tmp_path))
    assert doubt.run_in_mi == 0
    assert doubt.shares.table.empty
    assert variants(doubt)[:2] == ["as reported", "without truck T1"]
    assert "without the first readings" in variants(doubt)


def test_rates_at_hand_are_used(tmp_path):
    trial = small(tmp_path)
    rates = study.wear_rates(trial)
    assert doubt_study.doubts(trial, rates).rates is rates


def test_readings_left_out_are_put_back_one_by_one_and_together(tmp_path):
    trial = small(tmp_path, decisions=decisions("S1 | 2031-01-14 | 1 | 1", "S2 | 2031-01-14 | 3 | 1"))
    doubt = doubt_study.doubts(trial)
    names = [name for name in variants(doubt) if name.startswith("with ")]
    assert names == [
        "with the reading left out, row 8",
        "with the reading left out, row 19",
        "with all 2 readings left out",
    ]
    table = doubt.board.table.set_index(c.VARIANT)
    everything = doubt_study.doubts(small(tmp_path / "all")).board.table.set_index(c.VARIANT)
    assert table.loc["with all 2 readings left out", c.ESTIMATE] == pytest.approx(
        everything.loc["as reported", c.ESTIMATE], rel=1e-9
    )


def test_many_readings_left_out_are_put_back_only_together(tmp_path):
    keys = [f"S{s} | 2030-12-18 | {k} | 1" for s in (1, 2, 3, 4) for k in (1, 2, 3)]
    doubt = doubt_study.doubts(small(tmp_path, decisions=decisions(*keys, "S1 | 2031-01-14 | 1 | 1")))
    assert [name for name in variants(doubt) if name.startswith("with ")] == ["with all 13 readings left out"]


def test_trucks_that_were_chosen_are_left_out_together(tmp_path):
    def assigned(*how):
        rows = [
            f"T{k},front,1,{'plain_steel' if k % 2 else 'carbide_insert'},{way},"
            for k, way in enumerate(how, start=1)
        ]
        return "truck_id,plow_position,period,edge_type,how,reason\n" + "\n".join(rows) + "\n"

    name = "without the trucks whose edge type was not drawn by lot"
    drawn = doubt_study.doubts(small(tmp_path / "a", assignments=assigned(*["random"] * 4)))
    one = doubt_study.doubts(small(tmp_path / "b", assignments=assigned("forced", *["random"] * 3)))
    two = doubt_study.doubts(
        small(tmp_path / "c", assignments=assigned("forced", "swap", "random", "random"))
    )
    assert name not in variants(drawn)
    assert name not in variants(one)  # leaving out each truck covers it
    assert name in variants(two)
    row = two.board.table.set_index(c.VARIANT).loc[name]
    assert (row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]) == (1, 1)


def test_shifts_give_the_share_of_plowing(tmp_path):
    doubt = doubt_study.doubts(small(tmp_path, shifts=shifts()))
    share = doubt.shares.table.set_index(c.TRUCK_UNIT).loc["T1, front", c.SHARE_FRAC]
    # by hand: 20 of 35 odometer miles in each of ten shifts
    assert share == pytest.approx(20 / 35)
    assert "per odometer mile of plowing shifts" in variants(doubt)


def test_the_tables_of_the_smallest_trial_hold_its_types():
    assert "plain_steel" in TABLES["edge_types"]
