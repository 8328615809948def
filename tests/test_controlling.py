from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges import controlling as ct
from trialkit.edges import slopes as sl
from trialkit.edges.wear import fit_wear_rates


def readings_of(sets, heights, miles, step=None):
    """Readings of one edge type: `heights[set][station]` is a list of heights at `miles`."""
    rows = []
    for name, stations in zip(sets, heights, strict=True):
        for station, values in enumerate(stations, start=1):
            for x, height in zip(miles, values, strict=True):
                rows.append(
                    (
                        "plain_steel",
                        "front",
                        name,
                        f"{name}, front",
                        f"S-{name}",
                        station,
                        f"S-{name}/{station}/1",
                        height,
                        x,
                    )
                )
    names = [
        c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.SEGMENT, c.HEIGHT_IN, c.MILES_MI,
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=names).assign(**{c.RESOLUTION_IN: step})


MILES = [0.0, 500.0, 1000.0]
FRAME = readings_of(
    ["T1", "T2"],
    [[[6.0, 5.3, 4.4], [6.0, 5.0, 4.0]], [[6.0, 5.4, 5.0], [6.0, 5.5, 4.9]]],
    MILES,
)


def test_error_of_a_station_slope_by_hand():
    rates = fit_wear_rates(FRAME)
    found = ct.station_slopes(FRAME, rates).set_index([c.SET_ID, c.STATION])
    # by hand: the residuals of 6, 5.3, 4.4 are 1, -2, 1 times 0.2/6; of 6, 5.4, 5 the same times 0.2/6; of 6, 5.5, 4.9
    # times -0.1/6; each square sum is (a - 2b + c)^2 / 6; one degree of freedom each, 4 in all; Sxx is 0.5
    scatter = (0.2**2 + 0 + 0.2**2 + 0.1**2) / 6 / 4
    assert found[ct.ERROR_VARIANCE].to_numpy() == pytest.approx(scatter / 0.5)


def test_error_is_never_below_rounding():
    straight = readings_of(["T1", "T2"], [[[6.0, 5.5, 5.0]], [[6.0, 5.0, 4.0]]], MILES, step=0.0625)
    found = ct.station_slopes(straight, fit_wear_rates(straight))
    # by hand: step^2 / 12 over Sxx 0.5
    assert found[ct.ERROR_VARIANCE].to_numpy() == pytest.approx(0.0625**2 / 12 / 0.5)


def test_readings_left_out_of_the_lines_are_left_out_here():
    rates = fit_wear_rates(FRAME)
    more = pd.concat([FRAME, FRAME.assign(**{c.MILES_MI: 2000.0, c.HEIGHT_IN: 9.0})], ignore_index=True)
    assert ct.station_slopes(more, rates)[ct.ERROR_VARIANCE].to_numpy() == pytest.approx(
        ct.station_slopes(FRAME, rates)[ct.ERROR_VARIANCE].to_numpy()
    )


@pytest.mark.parametrize(
    ("n", "expected"),
    # published: mean of the largest of n standard normal values, Harter (1961), Biometrika 48, table 1: 0.56419 (2),
    # 0.84628 (3), 1.16296 (5) (from memory; closed forms 1/sqrt(pi), 3/(2 sqrt(pi)) for the first two)
    [(2, 0.56419), (3, 0.84628), (5, 1.16296)],
)
def test_expected_largest_of_equal_normals(n, expected):
    found = ct.expected_largest(np.full((1, n), 2.0), np.full((1, n), 0.1))
    assert found[0] == pytest.approx(2 + 0.1 * expected, abs=2e-6)


def test_expected_largest_of_two_unequal_normals():
    # closed form: with a^2 = s1^2 + s2^2 and d = (m1 - m2)/a the mean is m1 Phi(d) + m2 Phi(-d) + a phi(d)
    # (Clark 1961, Operations Research 9, 145-162)
    from scipy.stats import norm

    m, s = np.array([1.0, 1.2]), np.array([0.05, 0.3])
    a = np.hypot(*s)
    d = (m[0] - m[1]) / a
    expected = m[0] * norm.cdf(d) + m[1] * norm.cdf(-d) + a * norm.pdf(d)
    assert ct.expected_largest(m[None], s[None])[0] == pytest.approx(expected, abs=2e-4)


def test_expected_largest_without_error_and_with_gaps():
    values = np.array([[1.0, 3.0, np.nan], [2.0, np.nan, np.nan]])
    assert ct.expected_largest(values, np.zeros_like(values)).tolist() == [3.0, 2.0]
    found = ct.expected_largest(values, np.where(np.isnan(values), np.nan, 0.1))
    # by hand: a station 20 errors ahead is the largest; a single one stays where it is
    assert found == pytest.approx([3.0, 2.0], abs=1e-3)


def test_set_rates():
    rates = fit_wear_rates(FRAME)
    found = ct.set_rates(ct.station_slopes(FRAME, rates), rates).set_index(c.SET_ID)
    # by hand: slopes (last - first) / 1,000 mi: 1.6 and 2.0; 1.0 and 1.1
    assert found[ct.LARGEST].to_dict() == pytest.approx({"S-T1": 2.0, "S-T2": 1.1})
    assert found[ct.LARGEST_STATION].to_dict() == {"S-T1": 2, "S-T2": 2}
    assert (found[ct.NOISIER] > found[ct.LARGEST]).all()
    error = ct.station_slopes(FRAME, rates)[ct.ERROR_VARIANCE].iloc[0]
    # by hand: variance of 1.6 and 2.0 less the error variance
    assert found.loc["S-T1", ct.BETWEEN_STATIONS] == pytest.approx(0.08 - error)


def test_one_station_has_nothing_to_correct():
    one = ct.correct_largest(np.array([1.0, 1.4]), np.array([1.0, 1.4]), np.array([1.0, 1.4]))
    assert one.values.tolist() == [1.0, 1.4]
    assert one.kept == 0
    assert (one.sample.mean, one.sample.bound) == (pytest.approx(1.2), 0)
    # by hand: the variance of 1.0 and 1.4
    assert one.sample.variance == pytest.approx(0.08)


def test_correction_by_hand():
    mean, largest, noisier = np.array([1.0, 1.2]), np.array([1.3, 1.5]), np.array([1.36, 1.54])
    found = ct.correct_largest(mean, largest, noisier)
    # by hand: excess 0.3 and with the errors doubled (0.36 + 0.34)/2 = 0.35: sqrt(2 * 0.09 - 0.1225)
    true = math.sqrt(0.0575)
    assert found.kept == pytest.approx(true / 0.3)
    assert found.sample.mean == pytest.approx(1.1 + true)
    assert found.values == pytest.approx(mean + true)
    # by hand: 2 * 0.3 - 0.35 lies above the square root
    assert found.sample.bound == pytest.approx(0.25 - true)
    assert found.measured == pytest.approx(1.4)


def test_excess_that_is_all_error_goes():
    found = ct.correct_largest(np.array([1.0, 1.2]), np.array([1.1, 1.3]), np.array([1.25, 1.45]))
    assert found.kept == 0
    assert found.sample.mean == pytest.approx(1.1)


def test_variance_by_leaving_out_one_truck():
    mean, largest = np.array([1.0, 1.2, 1.1]), np.array([1.3, 1.3, 1.6])
    found = ct.correct_largest(mean, largest, largest)
    # by hand: without error the corrected rate of each truck is its largest slope, and the jackknife is the plain variance
    assert found.values == pytest.approx(largest)
    assert found.sample.variance == pytest.approx(largest.var(ddof=1))


def test_one_truck_and_none():
    assert math.isnan(ct.correct_largest(np.array([1.0]), np.array([1.2]), np.array([1.3])).sample.variance)
    empty = ct.correct_largest(np.zeros(0), np.zeros(0), np.zeros(0))
    assert (empty.sample.n, math.isnan(empty.sample.mean)) == (0, True)


@pytest.mark.parametrize(("station_spread", "highest", "most"), [(0.0, 0.23, 0.10), (0.2, 0.15, 0.05)])
def test_correction_takes_off_the_luck_of_the_largest(station_spread, highest, most):
    rng = np.random.default_rng(5)
    # known truth: 5 stations that differ by 0 or 20 %, station slopes with an error of 0.15
    differ = station_spread * rng.standard_normal((300, 6, 5))
    truth = 1 + station_spread * 1.16296
    seen = 1 + differ + 0.15 * rng.standard_normal(differ.shape)
    corrected, measured = [], []
    for one in seen:
        noisier = ct.expected_largest(one, np.full_like(one, 0.15))
        found = ct.correct_largest(one.mean(axis=1), one.max(axis=1), noisier)
        corrected.append(found.sample.mean)
        measured.append(found.measured)
    bias, raw = np.mean(corrected) / truth - 1, np.mean(measured) / truth - 1
    assert abs(bias) < most
    assert 2 * abs(bias) < raw < highest


def test_sets_of_several_stays_keep_their_keys():
    rates = fit_wear_rates(FRAME)
    found = ct.set_rates(ct.station_slopes(FRAME, rates), rates)
    assert list(found.columns[: len(sl.SET_KEYS)]) == sl.SET_KEYS
    assert len(found) == len(rates.sets)
