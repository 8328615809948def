"""Early against late wear: bends that are there, straight lines, and too few readings."""

import numpy as np
import pytest
from known_truth import Fleet
from scipy import stats
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.edges.curvature import compare_early_late
from trialkit.edges.wear import fit_wear_rates

X = np.linspace(0, 600, 7)


def early_late(rows, run_in_mi=0.0):
    readings = frame(rows)
    rates = fit_wear_rates(readings, reference="plain_steel", labels=LABELS, run_in_mi=run_in_mi)
    return compare_early_late(readings, rates, run_in_mi=run_in_mi)


def bent(change, trucks=4, error=0.01, step=0.001, x=X):
    """Trucks whose wear rate rises by `change` from a quarter to three quarters of the way; rate 1.5 in the middle."""
    rng = np.random.default_rng(3)
    rows = []
    for k in range(trucks):
        own = change * (1 + 0.1 * rng.standard_normal())
        u = x / x[-1]
        wear = (1.5 * u + own * (u**2 - u)) * x[-1] / 1000
        height = 6.0 - wear + error * rng.standard_normal(len(x))
        rows += segment(
            "plain_steel", f"T{k}", f"S{k}", 1, x + 50_000, np.round(height / step) * step, step=step
        )
    return rows


def test_a_parabola_is_found_as_it_was_made():
    result = early_late(bent(0.6, error=0.0, step=1e-6))
    row = result.table.iloc[0]
    # by hand: d wear / dx = 1.5 + own (2u - 1), so it rises by `own` from u = 1/4 to u = 3/4
    assert row[c.ESTIMATE] == pytest.approx(result.trucks[c.ESTIMATE].mean())
    assert result.trucks[c.ESTIMATE].tolist() == pytest.approx(
        [0.6 * (1 + 0.1 * z) for z in np.random.default_rng(3).standard_normal(40)[::8][:4]], abs=1e-4
    )
    assert (row[c.EARLY_RATE] + row[c.LATE_RATE]) / 2 == pytest.approx(1.5, abs=1e-3)
    assert row[c.LATE_RATE] - row[c.EARLY_RATE] == pytest.approx(row[c.ESTIMATE])
    assert result.sentence().startswith(
        "Plain steel wears faster as it goes on: 1.19 early and 1.81 late in per"
    )


@pytest.mark.parametrize("u", [[0, 0.1, 0.2, 0.3, 1], [0, 0.7, 0.8, 1], [0, 0.5, 1]])
def test_early_and_late_are_where_they_are_said_to_be_however_the_readings_lie(u):
    u = np.array(u, dtype=float)
    rows = [r for k in "ab" for r in segment("plain_steel", k, k, 1, u * 1000, 5 - u**2, step=1e-6)]
    row = early_late(rows).table.iloc[0]
    # by hand: a height of 5 - u^2 over 1,000 miles wears 2u in per 1,000 miles, 0.5 at u = 1/4 and 1.5 at u = 3/4
    assert (row[c.EARLY_RATE], row[c.LATE_RATE]) == pytest.approx((0.5, 1.5), abs=1e-4)
    assert row[c.CHANGE_PCT] == pytest.approx(200, abs=0.1)


def test_running_in_shows_as_slower_wear_later():
    result = early_late(bent(-0.5))
    row = result.table.iloc[0]
    assert row[c.CONF_HIGH] < 0
    assert row[c.P_VALUE] < 0.05
    assert row[c.CHANGE_PCT] == pytest.approx(-29, abs=4)
    assert "Plain steel wears slower as it goes on" in result.sentence()


def test_a_straight_line_shows_no_bend():
    result = early_late(fleet())
    assert (result.table[c.CONF_LOW] < 0).all()
    assert (result.table[c.CONF_HIGH] > 0).all()
    assert result.sentences()[0].startswith("Plain steel shows no bend: it wore 1.")


def test_the_trucks_are_the_unit():
    result = early_late(bent(0.2, error=0.05))
    row = result.table.iloc[0]
    # scipy 1.17: scipy.stats.ttest_1samp of the trucks' changes
    expected = stats.ttest_1samp(result.trucks[c.ESTIMATE], 0.0)
    ends = expected.confidence_interval(0.95)
    assert (row[c.DF], row[c.N_TRUCKS]) == (3, 4)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((ends.low, ends.high), abs=2e-3)
    assert row[c.P_VALUE] == pytest.approx(expected.pvalue, abs=5e-3)


def test_segments_of_a_truck_count_by_what_they_tell():
    """A long segment that bends and a short one that does not: the long one carries the truck."""
    short, u = np.linspace(0, 60, 5), X / 600
    rows = segment("plain_steel", "T1", "long", 1, X, 6 - (1.5 * u + 0.6 * (u**2 - u)) * 0.6, step=1e-6)
    rows += segment("plain_steel", "T1", "short", 1, short + 900, 6 - 1.5 * short / 1000, step=1e-6)
    found = early_late(rows).trucks.iloc[0]
    weight = 600.0**2 * 7, 60.0**2 * 5
    assert found[c.ESTIMATE] == pytest.approx(0.6 * weight[0] / sum(weight), abs=0.01)
    assert found["n_segments"] == 2


def test_run_in_is_left_out_as_in_the_rates():
    first_fast = 6.0 - np.where(X > 0, 0.3, 0.0) - 1.5 * X / 1000
    rows = [
        r
        for k in range(3)
        for r in segment("plain_steel", f"T{k}", f"S{k}", 1, X, first_fast + 0.001 * k * X / 600)
    ]
    assert early_late(rows).table[c.ESTIMATE].iloc[0] < -0.3
    assert early_late(rows, run_in_mi=50.0).table[c.ESTIMATE].iloc[0] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("readings", [1, 2])
def test_two_readings_cannot_bend(readings):
    result = early_late(fleet(readings=readings))
    assert result.table[c.ESTIMATE].isna().all()
    assert "cannot be told, since no segment has three readings at different miles" in result.sentence()


def test_one_truck_has_no_interval():
    result = early_late(fleet(trucks=1))
    assert result.table[c.CONF_LOW].isna().all()
    assert "(1 truck; no interval)" in result.sentence()


def test_readings_all_equal_keep_an_interval_from_the_steps():
    row = early_late(fleet(rates=(0.0, 0.0), error=0.0)).table.iloc[0]
    assert row[c.ESTIMATE] == 0
    assert row[c.CONF_LOW] < 0 < row[c.CONF_HIGH]


def test_lines_without_scatter_have_no_interval():
    assert early_late(fleet(error=0.0, step=0.0, spread=0.0)).table[c.CONF_LOW].isna().all()


def test_no_readings():
    assert (
        early_late([]).sentence()
        == "Whether wear runs straight cannot be told: no segment has three readings."
    )


def test_false_alarms_are_as_rare_as_stated():
    """Known truth: 800 straight trials of 4 trucks; the 95 % interval leaves out zero in 5 of 100 of the worn type."""
    readings = Fleet(step_in=0.0).readings(np.random.default_rng(9), 800)
    table = compare_early_late(readings, fit_wear_rates(readings)).table
    worn = table[table[c.EDGE_TYPE] == "plain_steel"]
    assert len(worn) == 800
    wrong = (worn[c.CONF_LOW] > 0) | (worn[c.CONF_HIGH] < 0)
    assert wrong.mean() == pytest.approx(0.05, abs=0.024)
