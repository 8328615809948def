"""What a mile takes with the reference, and what a change of it saves."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit import columns as c
from trialkit.clearing import rates, spreading
from trialkit.clearing.spreading import Factor, saved


def shifts(rows):
    names = [c.TRUCK_ID, c.EDGE_TYPE, c.LANE_MILES_TREATED, c.BLADE_DOWN_MI, c.BLADE_DOWN_H, rates.DRY_LB]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(
        **{rates.CHLORIDE_LB: 0.6 * frame[rates.DRY_LB], rates.COST: 0.04 * frame[rates.DRY_LB]}
    )


ROWS = [
    ("T1", "steel", 20.0, 40.0, 4.0, 4000.0),
    ("T1", "steel", 0.0, 10.0, 1.0, math.nan),  # only plowed: its miles count, no material
    ("T2", "steel", 30.0, 50.0, 3.0, 9000.0),
    ("T2", "steel", 25.0, 50.0, 3.0, math.nan),  # treated, but nobody wrote down the material
    ("T3", "carbide", 20.0, 25.0, 2.0, 1000.0),
]


def test_ratios_are_of_sums_within_trucks_and_a_missing_record_is_not_zero():
    use = spreading.reference_use(shifts(ROWS), "steel")
    assert use.rate_lb_lane_mi.estimate == pytest.approx((4000 / 20 + 9000 / 30) / 2)
    assert use.lane_mi_per_mi.estimate == pytest.approx((20 / 50 + 55 / 100 + 20 / 25) / 3)
    assert use.hours_per_lane_mi.estimate == pytest.approx((4 / 20 + 6 / 55) / 2)
    assert (use.price_per_lb, use.chloride_per_lb) == (pytest.approx(0.04), pytest.approx(0.6))
    assert [use.rate_lb_lane_mi.n_trucks, use.lane_mi_per_mi.n_trucks] == [2, 3]
    assert use.sentence() == ""


def test_interval_is_students_t_on_the_logarithms():
    use = spreading.reference_use(shifts(ROWS), "steel")
    logs = np.log([200.0, 300.0])
    reach = stats.t.ppf(0.975, 1) * logs.std(ddof=1) / math.sqrt(2)  # scipy.stats.t
    assert use.rate_lb_lane_mi.conf_high == pytest.approx(250.0 * math.exp(reach))
    assert use.rate_lb_lane_mi.conf_low == pytest.approx(250.0 * math.exp(-reach))


def test_severity_factor_moves_the_rate_only():
    plain, moved = (spreading.reference_use(shifts(ROWS), "steel", severity_factor=f) for f in (1.0, 1.2))
    assert moved.rate_lb_lane_mi.estimate == pytest.approx(1.2 * plain.rate_lb_lane_mi.estimate)
    assert moved.lane_mi_per_mi.estimate == plain.lane_mi_per_mi.estimate


def test_a_record_of_nothing_spread_is_a_zero_and_no_record_is_not():
    rows = [
        ("T1", "steel", 20.0, 40.0, 4.0, 4000.0),
        ("T2", "steel", 30.0, 50.0, 3.0, 9000.0),
        ("T3", "steel", 25.0, 50.0, 3.0, 0.0),  # on record: nothing spread
        ("T4", "steel", 25.0, 50.0, 3.0, math.nan),  # not on record
    ]
    use = spreading.reference_use(shifts(rows), "steel")
    rate = use.rate_lb_lane_mi
    # by hand: 200, 300 and 0 lb per lane-mile
    assert (rate.estimate, rate.n_trucks) == (pytest.approx(500 / 3), 3)
    # by hand: standard deviation 152.753, t of 2 df 4.302653: a reach of 4.302653 * 152.753 / (166.667 * sqrt(3)) = 2.276748
    assert math.log(rate.conf_high / rate.estimate) == pytest.approx(2.276748, abs=1e-5)
    assert math.log(rate.estimate / rate.conf_low) == pytest.approx(2.276748, abs=1e-5)
    assert use.notes == (
        "1 truck with the reference edge type spread nothing on the lane-miles treated, by the records; it counts with zero in "
        "the mean.",
    )


def test_a_reference_that_never_spread_leaves_nothing_to_save():
    rows = [(truck, "steel", 20.0, 40.0, 4.0, 0.0) for truck in ("T1", "T2")]
    use = spreading.reference_use(shifts(rows), "steel")
    assert (use.rate_lb_lane_mi.estimate, use.rate_lb_lane_mi.n_trucks, use.sentence()) == (0.0, 2, "")
    assert saved((-10.0, -15.0, -5.0), [use.rate_lb_lane_mi]) == (0.0, 0.0, 0.0)


def test_nothing_to_build_on_is_said():
    assert (
        "No shift with the reference edge type" in spreading.reference_use(shifts(ROWS), "rubber").sentence()
    )
    blank = shifts([("T1", "steel", 20.0, math.nan, 4.0, 4000.0)])
    assert "No shift has both its lane-miles treated" in spreading.reference_use(blank, "steel").sentence()


def test_a_truck_without_a_spreader_is_counted_out():
    use = spreading.reference_use(shifts([*ROWS, ("T9", "steel", 0.0, 80.0, 4.0, math.nan)]), "steel")
    assert use.lane_mi_per_mi.n_trucks == 3
    assert use.notes == ("1 truck treated no lane-miles and is not counted.",)


# ---------------------------------------------------------------- a change in per cent
SURE = Factor(100.0, math.nan, math.nan, "lb/mi", 1)
WIDE = Factor(100.0, 80.0, 125.0, "lb/mi", 4)


def test_a_factor_known_exactly_scales_the_interval():
    assert saved((-10.0, -15.0, -5.0), [SURE]) == pytest.approx((10.0, 5.0, 15.0))
    assert saved((-1.0, -6.0, 4.0), [SURE]) == pytest.approx((1.0, -4.0, 6.0))
    assert saved((10.0, 5.0, 15.0), [SURE]) == pytest.approx((-10.0, -15.0, -5.0))


@pytest.mark.parametrize(
    "change", [(-10.0, -15.0, -5.0), (-10.0, -30.0, -0.01), (10.0, 0.5, 20.0), (-2.0, -8.0, 4.0)]
)
def test_an_uncertain_factor_widens_both_ends_and_never_moves_the_sign(change):
    estimate, low, high = saved(change, [WIDE])
    exact = saved(change, [SURE])
    assert estimate == pytest.approx(exact[0])
    assert low < exact[1] or low == pytest.approx(exact[1], abs=0.02)
    assert high > exact[2] or high == pytest.approx(exact[2], abs=0.02)
    assert (low > 0 or high < 0) == (exact[1] > 0 or exact[2] < 0)
    assert low < estimate < high


def test_interval_of_a_saving_covers_the_truth():
    # known truth: 20% less of 100 lb/mi; six trucks of 15% spread give the use, a change with standard error 5 points at 8 df
    rng = np.random.default_rng(2031)
    n, held = 2000, 0
    q = stats.t.ppf(0.975, 8)
    for _ in range(n):
        logs = rng.normal(math.log(100.0), 0.15, 6)
        reach = stats.t.ppf(0.975, 5) * logs.std(ddof=1) / math.sqrt(6)
        mean = math.exp(logs.mean())
        use = Factor(mean, mean * math.exp(-reach), mean * math.exp(reach), "", 6)
        se = 5.0 * math.sqrt(rng.chisquare(8) / 8)
        change = rng.normal(-20.0, 5.0)
        _, low, high = saved((change, change - q * se, change + q * se), [use])
        held += low <= 20.0 <= high
    assert 0.935 <= held / n <= 0.985
