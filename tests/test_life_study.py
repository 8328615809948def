"""From a trial to its lives: the tables that leave the tool, and trials that lack something."""

from __future__ import annotations

import pandas as pd
import pytest
from conftest import replaced, write_trial
from life_trials import two_types

from trialkit import columns as c
from trialkit.report import life_study, study
from trialkit.trial.checks import check_trial

STEEL, INSERT = (1.0, 1.2, 1.4), (0.10, 0.12, 0.11)


def trial_of(made, folder):
    return check_trial(made.write(folder)).require_clean()


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    made = two_types(settings="[plan]\nno_worse_than_ratio = 1.25\n")
    for name, factor in (("T1", 1.0), ("T2", 1.2), ("T3", 0.9)):
        made.carry(
            name, "plain_steel", tuple(factor * rate for rate in STEEL), end="remove", reason="worn_to_limit"
        )
    for name, factor in (("T4", 1.0), ("T5", 1.2), ("T6", 0.9)):
        made.carry(name, "carbide_insert", tuple(factor * rate for rate in INSERT))
    return trial_of(made, tmp_path_factory.mktemp("lives"))


@pytest.fixture(scope="module")
def lives(trial):
    return life_study.study_lives(trial)


def test_tables_keep_their_contract(lives):
    tables = life_study.tables(lives)
    assert list(tables) == [
        "life", "life_ratios", "observed_lives", "breakage", "unevenness", "depth_left", "life_margin",
    ]  # fmt: skip
    assert list(tables["life"].columns[:9]) == [
        "edge_type", "plow_position", "estimate", "conf_low", "conf_high", "pred_low", "pred_high", "unit", "basis",
    ]  # fmt: skip
    assert list(tables["life_ratios"].columns[:8]) == [
        "edge_type", "reference", "plow_position", "estimate", "conf_low", "conf_high", "bounded", "method",
    ]  # fmt: skip
    assert len(tables["life"]) == 2 and len(tables["life_ratios"]) == 1


def test_lives_follow_from_rate_and_depth(lives):
    table = lives.projection.table.set_index(c.EDGE_TYPE)
    # known truth: 2 in over the mean of 1.4, 1.68 and 1.26 in per 1,000 miles; the readings are rounded to 0.001 in
    assert table.loc["plain_steel", c.ESTIMATE] == pytest.approx(2000 / 1.4467, rel=0.01)
    # known truth: 1 in over 0.12, 0.144 and 0.108
    assert table.loc["carbide_insert", c.ESTIMATE] == pytest.approx(1000 / 0.124, rel=0.02)


def test_every_set_stands_in_the_table_of_sets(lives):
    table = life_study.set_table(lives).set_index(c.SET_ID)
    assert len(table) == 6
    worn = table.loc["plain_steel-T1-front-0"]
    assert (worn[c.MILES_MI], worn["cause"]) == (400, "worn_out")
    # known truth: 0.4, 0.48 and 0.56 of 2 in used; 76 % left, and 4 % of it by unevenness
    assert (worn["left_pct"], worn["uneven_pct"]) == (pytest.approx(76, abs=0.1), pytest.approx(4, abs=0.1))
    assert worn["left_usd"] == pytest.approx(380, abs=0.5)
    assert pd.isna(table.loc["carbide_insert-T4-front-0", "left_pct"])
    assert worn[c.PRED_LOW] > 0


def test_the_parts_are_those_of_the_single_calls(trial, lives):
    rates = study.wear_rates(trial)
    pd.testing.assert_frame_equal(life_study.life_projection(trial, rates).table, lives.projection.table)
    pd.testing.assert_frame_equal(life_study.observed_lives(trial).table, lives.observed.table)
    pd.testing.assert_frame_equal(life_study.study_lives(trial, rates).compared.table, lives.compared.table)


def test_no_margin_by_default(trial_folder):
    lives = life_study.study_lives(check_trial(trial_folder).require_clean())
    assert lives.margin is None
    assert "life_margin" not in life_study.tables(lives)


def test_the_agreed_margin_is_tested(lives):
    assert lives.margin.table["verdict"].tolist() == ["no_worse"]


def test_a_reference_that_was_not_read_is_said(tmp_path):
    made = two_types(settings="[plan]\nno_worse_than_ratio = 1.25\n")
    made.carry("T1", "carbide_insert", INSERT).carry("T2", "carbide_insert", INSERT)
    trial = check_trial(made.write(tmp_path)).require_clean()
    projection = life_study.life_projection(trial)
    compared = life_study.compared_lives(trial, projection)
    assert compared.table.empty
    assert compared.notes == ("The reference, plain steel, was not read, so no lives are compared.",)
    assert life_study.agreed_margin(trial, projection) is None


def test_the_reference_of_the_settings_is_used(tmp_path):
    settings = """\
trial_id = "other"
title = "Cutting edge trial"
agency = "Town of Brenmoor"
season = "2030-31"
reference_edge_type = "carbide_insert"
"""
    folder = write_trial(
        tmp_path, settings=settings, edge_types=replaced("edge_types", "5,1.5,set", "5,1.5,")
    )
    lives = life_study.study_lives(check_trial(folder).require_clean())
    assert lives.compared.table[c.REFERENCE].tolist() == ["carbide_insert"]
    assert lives.projection.table[c.EDGE_TYPE].tolist() == ["carbide_insert", "plain_steel"]
