"""Material as dry mass and chloride, and rates that carry their basis."""

import math

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.clearing import rates

ROW = {
    c.SHIFT_ID: "X1", c.MATERIAL: "rock_salt", c.QUANTITY_LB: math.nan, c.QUANTITY_GAL: math.nan,
    c.UNIT_PRICE_USD: math.nan, c.CONCENTRATION_PCT: math.nan, c.CHLORIDE_FRAC: math.nan,
}  # fmt: skip
FRAC = rates.SODIUM_CHLORIDE_FRAC


def spread(*rows):
    return rates.spread(pd.DataFrame([{**ROW, **row} for row in rows]))


# ---------------------------------------------------------------- basis
@pytest.mark.parametrize(
    ("basis", "miles"),
    [
        ("lane_mile", 10.0),
        ("two_lane_mile", 20.0),
        ("lane_km", 10 / 1.609344),
        ("two_lane_km", 20 / 1.609344),
    ],
)
def test_lane_miles_of_every_basis(basis, miles):
    assert rates.lane_miles(10.0, basis) == pytest.approx(miles)
    assert rates.rate_on_basis(rates.rate_per_lane_mile(300.0, basis), basis) == pytest.approx(300.0)


def test_the_same_load_has_the_same_rate_on_every_basis():
    # 4,000 lb over 10 miles of road with two lanes is 400 lb per such mile and 200 lb per lane-mile
    per_road_mile = 4000.0 / 10.0
    assert rates.rate_per_lane_mile(per_road_mile, "two_lane_mile") == 4000.0 / rates.lane_miles(
        10.0, "two_lane_mile"
    )


def test_unknown_basis_is_named():
    with pytest.raises(ValueError, match='"mile" is no basis of a rate; allowed: lane_mile, two_lane_mile'):
        rates.lane_miles(1.0, "mile")


def test_words_and_units_of_a_basis():
    assert rates.basis_words("two_lane_mile") == "mile of road with two lanes"
    assert [rates.basis_unit(basis) for basis in ("lane_mile", "two_lane_mile")] == [
        "lb/lane-mi",
        "lb/two-lane mi",
    ]


# ---------------------------------------------------------------- dry mass
def test_solids_count_whole_and_brine_by_its_salt():
    found = spread(
        {c.QUANTITY_LB: 4000.0, c.UNIT_PRICE_USD: 0.04},
        {c.MATERIAL: "brine", c.QUANTITY_GAL: 100.0, c.CONCENTRATION_PCT: 20.0, c.UNIT_PRICE_USD: 0.2},
    )
    # Poradnik fizykochemiczny (1974), sodium chloride: 229.560 g in a liter at 20%; NIST SP 811 for pound and gallon
    salt_lb = 100 * 229.560 * 3.785411784 / 453.59237
    assert found.rows[rates.DRY_LB].tolist() == pytest.approx([4000.0, salt_lb], rel=1e-4)
    assert found.shifts.loc["X1", rates.DRY_LB] == pytest.approx(4000.0 + salt_lb, rel=1e-5)
    assert found.shifts.loc["X1", rates.CHLORIDE_LB] == pytest.approx(FRAC * (4000.0 + salt_lb), rel=1e-5)
    assert found.shifts.loc["X1", rates.COST] == pytest.approx(180.0)


def test_brine_by_weight_counts_its_salt_too():
    found = spread({c.MATERIAL: "brine", c.QUANTITY_LB: 1000.0, c.CONCENTRATION_PCT: 23.0})
    assert found.shifts.loc["X1", rates.DRY_LB] == pytest.approx(230.0)


def test_brine_without_a_concentration_is_taken_at_the_stated_one_and_said():
    found = spread({c.MATERIAL: "brine", c.QUANTITY_LB: 1000.0})
    assert found.shifts.loc["X1", rates.DRY_LB] == pytest.approx(233.0)
    assert "1 brine without a concentration was taken at 23.3% by mass" in found.notes[0]


def test_given_chloride_overrides_the_default():
    found = spread({c.QUANTITY_LB: 1000.0, c.CHLORIDE_FRAC: 0.5})
    assert found.shifts.loc["X1", rates.CHLORIDE_LB] == 500.0


def test_sand_mix_without_a_fraction_has_no_chloride_and_says_so():
    found = spread({c.MATERIAL: "sand_salt", c.QUANTITY_LB: 1000.0}, {c.QUANTITY_LB: 500.0})
    assert found.shifts.loc["X1", rates.DRY_LB] == 1500.0
    assert math.isnan(found.shifts.loc["X1", rates.CHLORIDE_LB])
    assert any(
        "1 record of material (sand-salt mix) was left out of the chloride" in note for note in found.notes
    )


def test_a_liquid_of_another_salt_has_no_mass_by_volume():
    found = spread(
        {c.MATERIAL: "brine", c.QUANTITY_GAL: 100.0, c.CONCENTRATION_PCT: 30.0},
        {c.SHIFT_ID: "X2", c.MATERIAL: "other", c.QUANTITY_GAL: 50.0},
    )
    assert found.shifts[rates.DRY_LB].isna().all()
    assert any(
        "2 records of material (brine and other material) have no known dry mass" in note
        for note in found.notes
    )


def test_strong_brine_by_weight_has_mass_but_no_default_chloride():
    found = spread({c.MATERIAL: "brine", c.QUANTITY_LB: 100.0, c.CONCENTRATION_PCT: 30.0})
    assert found.shifts.loc["X1", rates.DRY_LB] == pytest.approx(30.0)
    assert math.isnan(found.shifts.loc["X1", rates.CHLORIDE_LB])


def test_one_missing_price_leaves_the_cost_of_the_shift_open():
    found = spread(
        {c.QUANTITY_LB: 100.0, c.UNIT_PRICE_USD: 0.04}, {c.MATERIAL: "treated_salt", c.QUANTITY_LB: 50.0}
    )
    assert math.isnan(found.shifts.loc["X1", rates.COST])
    assert found.shifts.loc["X1", rates.DRY_LB] == 150.0


def test_a_row_with_weight_and_volume_has_no_cost_since_the_price_may_be_for_either():
    brine = {c.MATERIAL: "brine", c.QUANTITY_LB: 1000.0, c.QUANTITY_GAL: 102.0, c.CONCENTRATION_PCT: 23.3}
    found = spread({**brine, c.UNIT_PRICE_USD: 0.15}, {c.SHIFT_ID: "X2", **brine})
    # by hand: 0.15 a pound would be 150, 0.15 a gallon 15.30
    assert found.shifts[rates.COST].isna().all()
    assert found.shifts.loc["X1", rates.DRY_LB] == pytest.approx(233.0)
    assert found.notes[0] == (
        "1 record of material has both a weight and a volume, so that it is not known what the price is for; its cost is left "
        "out. Leave one of the two blank."
    )


@pytest.mark.parametrize(("quantity", "cost"), [(c.QUANTITY_LB, 150.0), (c.QUANTITY_GAL, 150.0)])
def test_a_price_is_per_unit_of_what_the_row_is_given_by(quantity, cost):
    found = spread({c.MATERIAL: "brine", quantity: 1000.0, c.UNIT_PRICE_USD: 0.15})
    assert found.shifts.loc["X1", rates.COST] == pytest.approx(cost)
    assert not any("both a weight" in note for note in found.notes)


def test_density_is_missing_where_there_is_no_such_brine():
    assert math.isnan(rates.brine_density_g_cm3(30.0))
    assert math.isnan(rates.brine_density_g_cm3(-1.0))


def test_the_pure_salt_assumption_is_said():
    assert spread({c.QUANTITY_LB: 10.0}).notes == (
        "Where no chloride fraction is recorded, rock salt is taken as pure sodium chloride, which is 60.7% chloride by mass.",
    )
