"""From a trial to what was found about material and clearing, or why it was not studied."""

import math

import material_trial as ct
import pytest
from conftest import write_trial
from material_trial import material_trial

from trialkit import columns as c
from trialkit.clearing import season_saving as ss
from trialkit.report import material_study
from trialkit.report.material_tables import (
    CLEARING_COLUMNS,
    MATERIAL_COLUMNS,
    RATE_LB_PER_LANE_MI,
    SPREAD_COLUMNS,
    storm_rates,
)
from trialkit.trial import checks

CONTRACT = [
    "edge_type", "reference", "material", "estimate_pct", "conf_low", "conf_high", "unit", "n_storms", "n_shifts",
]  # fmt: skip
"""The first columns of material.csv, which do not change."""


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return material_study.study_material(material_trial(tmp_path_factory.mktemp("trial")))


def study(folder, settings="", **tables):
    return material_study.study_material(material_trial(folder, settings, **tables))


def test_a_fifth_less_material_is_found_and_shown(found):
    row = found.main.table.iloc[0]
    # known truth: 0.8 times the material, trucks within two per cent of each other
    assert row[c.ESTIMATE_PCT] == pytest.approx(-20.8, abs=1.0)
    assert -30 < row[c.CONF_LOW] < row[c.CONF_HIGH] < -10
    assert (row[c.N_STORMS], row[c.N_SHIFTS]) == (5, 20)
    assert found.not_studied == ""


def test_material_csv_begins_with_the_columns_that_were_promised(found):
    table = found.tables["material"]
    assert list(table.columns[: len(CONTRACT)]) == CONTRACT
    assert list(table[c.MATERIAL]) == ["all", "chloride"]
    assert set(table[c.UNIT]) == {"%"}


def test_a_single_kind_of_material_is_not_compared_twice(found):
    assert [one.measure.material for one in found.material] == ["all", "chloride"]


def test_kinds_with_enough_shifts_are_compared_by_themselves(tmp_path):
    brine = ct.material() + "".join(f"{storm}-{truck},brine,,100,0.2,23,\n" for storm, truck in ct.pairs())
    few = brine + "W1-T1,sand_salt,900,,0.01,,0.1\n"
    assert [one.measure.material for one in study(tmp_path, material=few).material] == [
        "all",
        "chloride",
        "rock_salt",
        "brine",
    ]


def test_clearing_csv_has_passes_hours_snow_and_ratings(found):
    table = found.tables["clearing"]
    assert list(table.columns) == CLEARING_COLUMNS
    assert list(table[c.MEASURE]) == ["passes", "hours_per_lane_mile", "residual_snow", "rating_clearing"]
    snow = table[table[c.MEASURE] == "residual_snow"].iloc[0]
    assert (snow[c.ESTIMATE], snow[c.UNIT]) == (pytest.approx(-0.1), "in")
    assert table[table[c.MEASURE] == "rating_clearing"].iloc[0][c.ESTIMATE] == 100.0


def test_spread_is_totals_divided(found):
    table = found.tables["material_spread"]
    steel = table[(table[c.EDGE_TYPE] == "plain_steel") & (table[c.MATERIAL] == "all")].iloc[0]
    assert steel[RATE_LB_PER_LANE_MI] == pytest.approx(sum(ct.STORM_RATES.values()) / 5 * 1.01, abs=0.01)
    assert list(table.columns) == SPREAD_COLUMNS


def test_storm_rates_have_a_row_for_each_storm_and_type(found):
    table = storm_rates(found.records)
    assert len(table) == 10
    w2 = table[(table[c.STORM_ID] == "W2") & (table[c.EDGE_TYPE] == "plain_steel")].iloc[0]
    assert w2[c.RATE] == pytest.approx(240 * math.sqrt(1.02), rel=1e-6)


def test_season_saving_carries_the_difference_to_the_fleet(found):
    row = found.saving.rows().iloc[0]
    # by hand: 2,000 miles x 20 / 40 lane-miles per mile x 214 x 1.01 lb = 216,140 lb
    assert row[ss.USED] == pytest.approx(2000 * 0.5 * 214 * 1.01 / 2000, rel=1e-3)
    assert (row[ss.SHOWN], row[c.MILES_MI]) == ("yes", 2000.0)
    assert row[c.ESTIMATE] == pytest.approx(-row[ss.USED] * found.main.table.iloc[0][c.ESTIMATE_PCT] / 100)


def test_the_cost_can_ask_for_saving_per_mile_and_hours(found):
    per_mile = material_study.saving_per_mile(found).iloc[0]
    # by hand: 0.5 x 216.14 lb x 0.04 is 4.32 per mile with plain steel
    assert per_mile[ss.USED] == pytest.approx(0.5 * 214 * 1.01 * 0.04, rel=1e-3)
    assert (per_mile[c.UNIT], per_mile[ss.SHOWN]) == ("USD/mi", "yes")
    hours = material_study.hours_saved(found).iloc[0]
    assert (hours[c.UNIT], hours[c.ESTIMATE]) == ("h/lane-mi", pytest.approx(0.0, abs=1e-9))


def test_savings_as_the_study_of_cost_takes_them(found):
    alone, both = material_study.cost_savings(found), material_study.cost_savings(found, hour_price=90.0)
    assert list(alone[c.ITEM]) == ["material"]
    assert list(both[c.ITEM]) == ["material", "crew hours"]
    assert {c.EDGE_TYPE, c.ITEM, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.SHOWN} <= set(both.columns)
    assert both.iloc[0][c.ESTIMATE] == alone.iloc[0][c.ESTIMATE]


def test_severity_is_by_storm_and_by_type_and_a_storm_without_weather_still_counts(found):
    assert found.storms.table["severity_index"].isna().tolist() == [False, False, False, False, True]
    assert found.storms_by_type["severity_index"].nunique() == 1
    assert found.slope.n_storms == 4
    assert found.main.table.iloc[0][c.N_STORMS] == 5


def test_a_typical_season_moves_the_use_and_not_the_difference(tmp_path, found):
    harder = study(tmp_path, f"typical_severity = {found.slope.trial_mean + 0.1:.4f}")
    times = found.slope.factor(round(found.slope.trial_mean + 0.1, 4))
    assert harder.use.rate_lb_lane_mi.estimate == pytest.approx(times * found.use.rate_lb_lane_mi.estimate)
    assert harder.main.table.iloc[0][c.ESTIMATE_PCT] == pytest.approx(
        found.main.table.iloc[0][c.ESTIMATE_PCT]
    )


def test_a_typical_season_that_cannot_be_reached_is_said(tmp_path):
    few = study(tmp_path, "typical_severity = 0.5", storms=None)
    assert few.use.severity_factor == 1.0
    assert any("too few storms have both an index and a rate" in note for note in few.notes)


def test_policy_rate_is_brought_to_lane_miles(tmp_path):
    quoted = study(tmp_path, 'policy_rate_lb = 400.0\npolicy_rate_basis = "two_lane_mile"')
    assert quoted.policy_rate_lb_lane_mi == 200.0


def test_missing_records_are_in_the_notes(tmp_path):
    lost = study(tmp_path, material=ct.material(skip=("W1-T1",)))
    assert "1 shift treated lane-miles but has no record of material" in lost.notes[0]
    assert lost.main.table.iloc[0][c.N_SHIFTS] == 19


def test_notes_are_said_once(found):
    assert len(set(found.notes)) == len(found.notes)


# ---------------------------------------------------------------- parts that are missing
def test_only_the_needed_tables(tmp_path):
    trial = checks.check_trial(write_trial(tmp_path)).require_clean()
    nothing = material_study.study_material(trial)
    assert nothing.not_studied == "Salt and clearing were not studied: no shift was recorded."
    assert nothing.is_empty
    assert list(nothing.tables["material"].columns) == MATERIAL_COLUMNS
    assert all(frame.empty for frame in nothing.tables.values())


def test_shifts_without_material(tmp_path):
    bare = study(tmp_path, material=None)
    assert bare.not_studied == "Salt was not studied: no record of material spread was kept."
    assert [one.measure.name for one in bare.clearing] == ["passes", "hours_per_lane_mile", "residual_snow"]
    assert bare.saving is None
    assert bare.tables["season_saving"].empty
    assert material_study.saving_per_mile(bare).empty


def test_material_without_storms_table_is_compared_by_the_storm_that_shifts_name(tmp_path):
    bare = study(tmp_path, storms=None)
    assert bare.storms is None
    assert bare.main.table.iloc[0][c.N_STORMS] == 5


def test_material_without_prices_has_no_money(tmp_path):
    priceless = study(tmp_path, material=ct.material(price=""))
    assert set(priceless.saving.table[c.QUANTITY]) == {"material", "chloride"}
    assert material_study.saving_per_mile(priceless).empty


def test_no_fleet_plan_no_season(tmp_path):
    assert study(tmp_path, fleet_plan=None).saving is None


def test_material_of_unknown_mass_says_so(tmp_path):
    liquid = ct.MATERIAL_HEADER + "W1-T1,other,,100,,,\n"
    assert study(tmp_path, material=liquid).not_studied == (
        "Salt was not studied: there is 1 record of material, but no shift with a known mass."
    )


def test_material_without_lane_miles_says_so(tmp_path):
    assert study(tmp_path, shifts=ct.shifts(treated="")).not_studied == (
        "Salt was not studied: there are 20 records of material, but no shift with lane-miles treated."
    )


def test_what_no_shift_records_is_named(tmp_path):
    short = "\n".join(",".join(line.split(",")[:7]) for line in ct.shifts().splitlines()) + "\n"
    bare = study(tmp_path, shifts=short, material=None)
    assert bare.not_compared["passes"] == "No shift records passes over the route."


def test_one_edge_type_only_is_not_compared(tmp_path):
    one = (
        "\n".join(line for line in ct.shifts().splitlines() if ",T2," not in line and ",T4," not in line)
        + "\n"
    )
    steel = (
        "\n".join(line for line in ct.material().splitlines() if "T2" not in line and "T4" not in line) + "\n"
    )
    alone = study(tmp_path, shifts=one, material=steel, operator_ratings=None)
    assert alone.comparisons == ()
    assert alone.not_compared["all"] == (
        "Material per lane-mile could not be compared: no storm has it on record both with Plain steel and with another edge type."
    )
    assert alone.use.rate_lb_lane_mi.is_known


def test_no_ratings(tmp_path):
    bare = study(tmp_path, operator_ratings=None)
    assert bare.ratings is None
    assert bare.not_compared["operator_ratings"] == "What operators thought was not recorded."
