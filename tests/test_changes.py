"""What has changed since an earlier run: rows, estimates, verdicts, warnings and forecasts."""

import datetime as dt
import json
import math
from dataclasses import replace

import pandas as pd
import pytest
from conftest import TABLES, write_trial

from trialkit.errors import UsageError
from trialkit.report import changes, changes_sections, council_study, reuse
from trialkit.trial import checks

LIFE = pd.DataFrame(
    {
        "edge_type": ["plain_steel", "carbide_insert"],
        "plow_position": "front",
        "estimate": [500.0, 1200.0],
        "conf_low": [400.0, 900.0],
        "conf_high": [600.0, 1500.0],
        "pred_low": [300.0, 700.0],
        "pred_high": [700.0, 1900.0],
        "unit": "mi",
    }
)
LIVES = pd.DataFrame(
    {
        "set_id": ["S1", "S2", "S3", "S4", "S5"],
        "edge_type": ["plain_steel", "plain_steel", "plain_steel", "plain_steel", "carbide_insert"],
        "plow_position": "front",
        "miles_mi": [450.0, 200.0, 720.0, 100.0, 250.0],
        "cause": ["worn_out", "not_ended", "not_ended", "broken_or_lost", "not_ended"],
    }
)
VERDICTS = pd.DataFrame(
    {"question": ["life", "noise"], "edge_type": ["carbide_insert"] * 2, "verdict": ["better", "not_shown"]}
)
TABLES_NOW = {"life": LIFE, "observed_lives": LIVES, "verdicts": VERDICTS}


def earlier_run(folder, trial, tables, problems=None):
    """A finished run, as far as a comparison looks at it."""
    run = folder / "2031-01-10_0a1b2c3d"
    (run / "tables").mkdir(parents=True)
    for name, frame in tables.items():
        frame.to_csv(run / "tables" / f"{name}.csv", index=False)
    empty = pd.DataFrame(
        columns=["severity", "code", "file", "row", "key", "column", "found", "allowed", "fix"]
    )
    (empty if problems is None else problems).to_csv(run / "tables" / "data_problems.csv", index=False)
    changes.save_fingerprints(trial, run / changes.FINGERPRINTS)
    (run / reuse.RUN_RECORD).write_text(json.dumps({"run": run.name, "made": "2031-01-11", "files": {}}))
    return reuse.read_run(run)


@pytest.fixture
def trial(tmp_path):
    return checks.check_trial(write_trial(tmp_path / "trial")).require_clean()


def compared(tmp_path, trial, then, now=None, later=None, problems=None):
    run = earlier_run(tmp_path / "runs", trial, then, problems)
    return changes.compare_with(run, later or trial, TABLES_NOW if now is None else now)


def test_nothing_new_is_said_to_be_no_material_change(tmp_path, trial):
    found = compared(tmp_path, trial, TABLES_NOW)
    assert not found.is_material
    assert found.rows.empty
    assert found.until == dt.date(2031, 1, 10)
    assert found.sentence() == (
        "Since the last report, on data up to January 10, 2031, there is no material change; 0 new rows came in."
    )
    assert changes_sections.rows_table(found).plain() == "No row of the trial was added, changed or removed."


def test_rows_are_told_apart_as_new_changed_and_gone(tmp_path, trial):
    lines = TABLES["wear_readings"].splitlines()
    lines[1] = lines[1].replace("6.000", "5.990")
    del lines[-1]
    lines += [
        "S1,2031-02-18,1,1,5.000,400,R1,caliper,0.005,no",
        "S1,2031-02-18,2,1,5.000,400,R1,caliper,0.005,no",
    ]
    folder = write_trial(tmp_path / "later", wear_readings="\n".join(lines) + "\n")
    later = checks.check_trial(folder).require_clean()
    found = compared(tmp_path, trial, TABLES_NOW, later=later)
    assert found.rows.to_dict("records") == [
        {"table": "wear_readings", "n_new": 2, "n_changed": 1, "n_gone": 1, "n_rows": len(lines) - 1}
    ]


def test_an_estimate_has_moved_when_it_lies_outside_the_earlier_interval(tmp_path, trial):
    now = LIFE.assign(estimate=[590.0, 1501.0])
    found = compared(tmp_path, trial, TABLES_NOW, {"life": now})
    assert list(found.estimates["moved"]) == [False, True]
    assert list(found.estimates["what"]) == ["Plain steel, front", "Carbide insert, front"]
    assert found.is_material
    assert "1 estimate moved beyond the earlier interval" in found.sentence()
    shown = changes_sections.estimates_table(found).raw_frame()
    assert list(shown["now_text"]) == ["590 (400 to 600)", "1,500 (900 to 1,500)"]
    assert list(shown["moved"]) == ["no", "yes"]


def test_a_moved_estimate_that_is_not_shown_is_pointed_to(tmp_path, trial):
    found = compared(tmp_path, trial, TABLES_NOW, {"life": LIFE.assign(estimate=[590.0, 1501.0])})
    pointer = "Of the estimates that moved, 1 stands in changes.csv alone."
    assert pointer not in changes_sections.what_changed(found).plain()
    hidden = replace(found, estimates=found.estimates.assign(subject="breakage"))
    assert pointer in changes_sections.what_changed(hidden).plain()


def test_a_row_is_named_by_its_position_and_keeps_its_own_unit(tmp_path, trial):
    life = LIFE.assign(plow_position="wing_right", unit=["mi", "in"])
    found = changes._estimates({"life": life}, {"life": life}, {})
    assert [what.rpartition(", ")[2] for what in found["what"]] == ["right wing", "right wing"]
    assert list(found["unit"]) == ["mi", "in"]


@pytest.mark.parametrize(
    ("then", "now", "has_moved"),
    [
        ((2.0, 1.0, float("nan")), 50.0, False),  # no upper end allows everything above
        ((2.0, 1.0, float("nan")), 0.9, True),
        ((2.0, 1.0, 3.0), 3.0 + 1e-12, False),  # tables carry ten digits
        ((2.0, 1.0, 3.0), float("nan"), True),
    ],
)
def test_bounds_and_rounding_do_not_make_a_move(tmp_path, trial, then, now, has_moved):
    row = LIFE.iloc[[0]]
    earlier = row.assign(estimate=then[0], conf_low=then[1], conf_high=then[2])
    found = compared(tmp_path, trial, {"life": earlier}, {"life": row.assign(estimate=now)})
    assert list(found.estimates["moved"]) == [has_moved]


def test_a_verdict_that_flipped_is_told(tmp_path, trial):
    now = TABLES_NOW | {"verdicts": VERDICTS.assign(verdict=["not_shown", "not_shown"])}
    found = compared(tmp_path, trial, TABLES_NOW, now)
    assert found.flipped.to_dict("records") == [
        {"question": "life", "edge_type": "carbide_insert", "then": "better", "now": "not_shown"}
    ]
    said = changes_sections.what_changed(found).plain()
    assert 'Life, Carbide insert: the verdict was "better" and is now "not shown".' in said
    assert "1 verdict changed" in found.sentence()


def test_warnings_are_new_or_solved(tmp_path, trial):
    risen = TABLES["wear_readings"].replace("S1,2031-01-14,1,1,5.190", "S1,2031-01-14,1,1,5.900")
    folder = write_trial(tmp_path / "later", wear_readings=risen)
    later = checks.check_trial(folder).require_clean()
    was = pd.DataFrame(
        [
            {
                "severity": "warning",
                "code": "height-rises",
                "file": "wear_readings.csv",
                "found": "5.4 after 5.3",
            }
        ]
    )
    found = compared(tmp_path, trial, TABLES_NOW, later=later, problems=was)
    assert sorted(zip(found.problems["state"], found.problems["found"], strict=True)) == [
        ("new", later.problems[0].found),
        ("solved", "5.4 after 5.3"),
    ]
    said = changes_sections.what_changed(found).plain()
    assert "1 warning about the data is new and 1 earlier warning is solved." in said


def test_the_forecast_is_held_against_what_has_since_been_seen(tmp_path, trial):
    now = LIVES.assign(
        miles_mi=[450.0, 250.0, 740.0, 100.0, 800.0],
        cause=["worn_out", "worn_out", "not_ended", "broken_or_lost", "broken_or_lost"],
    )
    found = compared(tmp_path, trial, TABLES_NOW, TABLES_NOW | {"observed_lives": now})
    # by hand: S1 and S4 had ended before, S5 broke, S2 wore out below 300, S3 is still on beyond 700
    assert dict(zip(found.forecasts["set_id"], found.forecasts["outcome"], strict=True)) == {
        "S2": changes.ENDED_EARLY,
        "S3": changes.LASTED_LONGER,
    }
    assert found.hit_rate == 0
    longer = LIVES.assign(
        miles_mi=[450.0, 350.0, 690.0, 100.0, 250.0], cause=["worn_out"] * 3 + ["lost", "not_ended"]
    )
    again = changes.compare_with(
        reuse.read_run(tmp_path / "runs" / found.since), trial, TABLES_NOW | {"observed_lives": longer}
    )
    assert again.hit_rate == 1
    said = changes_sections.what_changed(again).plain()
    assert "Of 2 sets that have since shown how long they last, 2 (100%) lasted as the last report's" in said


def test_everything_is_in_one_table(tmp_path, trial):
    now = TABLES_NOW | {
        "life": LIFE.assign(estimate=[610.0, 1200.0]),
        "verdicts": VERDICTS.assign(verdict=["not_shown", "not_shown"]),
        "observed_lives": LIVES.assign(cause="worn_out"),
    }
    table = compared(tmp_path, trial, TABLES_NOW, now).frame()
    assert list(table.columns) == changes.CHANGE_COLUMNS
    assert set(table["subject"]) == {"verdicts", "life", "forecasts"}
    flipped = table[table["subject"] == "verdicts"].iloc[0]
    assert (flipped["then_words"], flipped["now_words"], flipped["what"]) == (
        "better",
        "not_shown",
        "life, carbide_insert",
    )


def test_intervals_of_other_levels_are_said_to_be_so(tmp_path, trial):
    found = compared(tmp_path, trial, TABLES_NOW)
    assert not found.has_other_level and found.levels[1] == 0.95
    assert "its own limit" not in changes_sections.estimates_table(found).plain()
    (record,) = (tmp_path / "runs").rglob(reuse.RUN_RECORD)
    said = json.loads(record.read_text()) | {"parameters": {"confidence_level": 0.996}}
    record.write_text(json.dumps(said))
    found = changes.compare_with(reuse.read_run(record.parent), trial, TABLES_NOW)
    assert found.has_other_level
    assert "drawn at 99.6% then and are drawn at 95.0% now" in changes_sections.estimates_table(found).plain()


def test_without_an_earlier_run_there_is_nothing_to_compare_with(tmp_path, trial):
    for block in (
        changes_sections.what_changed,
        changes_sections.estimates_table,
        changes_sections.rows_table,
    ):
        assert block(None).plain() == changes_sections.NO_EARLIER
    assert council_study.changes_since("", trial, None) is None
    with pytest.raises(UsageError, match=r"is not the folder of a finished run: it has no readable run.json"):
        council_study.changes_since(str(tmp_path), trial, None)


@pytest.mark.parametrize(
    ("subject", "unit", "ends", "said"),
    [
        ("life_ratios", "", (11.42, 6.83, 16.81), "11 (6.8 to 17)"),
        ("wear_ratios", "", (4.0, 2.04, math.nan), "4.0 (at least 2.0)"),
        ("life", "mi", (21_000.0, 18_123.0, math.nan), "21,000 (at least 18,100)"),
        ("wear_rates", "in/1000 mi", (1.411, math.nan, math.nan), "1.41"),
    ],
)
def test_estimates_have_the_digits_that_they_have_elsewhere(subject, unit, ends, said):
    assert changes_sections._estimate(subject, unit, *ends) == said
