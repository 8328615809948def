"""Material rates, brine, chloride and storm severity against printed tables.

The rows of data/material_rates.csv carry source, printed value, tolerance and status.
"""

import json
from pathlib import Path

import pandas as pd
import pytest

from trialkit import display
from trialkit.clearing import rates, severity
from trialkit.trial import materialchecks

TABLE = pd.read_csv(
    Path(__file__).parent / "data" / "material_rates.csv", comment="#", dtype=str, keep_default_na=False
)
STORM_FACTORS = ("ST", "Ti", "Wi", "Bi", "Tp", "Wp")
KG_M3_OF_LB_GAL = 0.45359237 / 3.785411784e-3  # NIST SP 811 (2008), B.8: pound and US gallon, exact


def of(topic):
    found = TABLE[TABLE.topic == topic]
    assert len(found)
    return [
        pytest.param(row, id=f"{row.quantity}: {row.expected} ({row.status})") for row in found.itertuples()
    ]


def close(row, value):
    return value == pytest.approx(float(row.expected), abs=float(row.tolerance) + 1e-12)


@pytest.mark.parametrize("row", of("rate.salt"))
def test_printed_salt_rates_pass_the_check_on_their_own_basis(row):
    rate = rates.rate_per_lane_mile(float(row.expected), json.loads(row.inputs)["basis"])
    assert rate == 0 or materialchecks.LEAST_LB_LANE_MI <= rate <= materialchecks.MOST_SALT_LB_LANE_MI


@pytest.mark.parametrize("row", of("rate.sand"))
def test_printed_rates_of_abrasives_pass_the_check(row):
    assert materialchecks.LEAST_LB_LANE_MI <= float(row.expected) <= materialchecks.MOST_SAND_LB_LANE_MI


def test_a_city_maximum_per_two_lane_mile_is_half_per_lane_mile():
    # Minnesota Snow and Ice Control Field Handbook (2012), p. 15: "for application on a single lane, cut rates in half";
    # Borough of State College PA, snow page: at most 800 lb per two-lane mile on arterials
    assert rates.rate_per_lane_mile(800.0, "two_lane_mile") == 400.0
    assert rates.rate_on_basis(400.0, "two_lane_mile") == 800.0


@pytest.mark.parametrize("row", of("unit"))
def test_pounds_per_lane_mile_are_kilograms_per_lane_kilometer(row):
    with display.showing("metric"):
        kg_lane_km = display.value(1.0, "lb/lane-mi")
    assert close(row, kg_lane_km if row.unit == "kg/lane-km" else 1.0 / kg_lane_km)


@pytest.mark.parametrize("row", of("chloride"))
def test_chloride_in_sodium_chloride(row):
    assert close(row, rates.SODIUM_CHLORIDE_FRAC)


@pytest.mark.parametrize("row", of("brine.density"))
def test_density_of_brine(row):
    assert close(row, 1000.0 * rates.brine_density_g_cm3(json.loads(row.inputs)["pct"]))


@pytest.mark.parametrize("row", of("brine.salt"))
def test_salt_in_a_liter_of_brine(row):
    assert close(row, rates.brine_salt_lb(1.0, json.loads(row.inputs)["pct"]) * KG_M3_OF_LB_GAL)


@pytest.mark.parametrize("row", of("brine.gallon"))
def test_salt_in_a_gallon_of_brine(row):
    assert close(row, rates.brine_salt_lb(1.0, json.loads(row.inputs)["pct"]))


@pytest.mark.parametrize("row", of("severity.storm"))
def test_storm_severity_index(row):
    inputs = json.loads(row.inputs)
    assert close(row, severity.storm_index(*(inputs[name] for name in STORM_FACTORS)))


@pytest.mark.parametrize("row", of("severity.snowfall"))
def test_snowfall_points(row):
    ends = json.loads(row.inputs)["range"].removesuffix(" in").replace(" in or more", "").split("-")
    for end in ends:
        assert close(row, severity.snowfall_points(float(end)))
    assert severity.snowfall_points(float(ends[0]) - 0.1) < float(row.expected)
