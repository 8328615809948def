"""Small-sample intervals and ratio sets against R and printed values.

The R values come from ``Rscript small_sample.R`` in ``r/`` (R 4.2.2, base and stats), 10 significant digits.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri, stdtrit

from trialkit.stats.inference import (
    Pairing,
    Sample,
    difference_interval,
    holm_adjusted,
    mean_interval,
    prediction_limits,
)
from trialkit.stats.ratios import BOUNDED, EXCLUSIVE, WHOLE_LINE, fieller_set, margin_test, ratio_set

DATA = Path(__file__).parent / "data"


def approx(value):
    """Ten printed digits."""
    return pytest.approx(value, rel=1e-9, abs=1e-10)


def read(name):
    return pd.read_csv(DATA / f"{name}.csv", comment="#")


@pytest.fixture(scope="module")
def slopes():
    """Least-squares slope of reaction time on days for each of the 18 subjects."""
    frame = read("sleepstudy")
    return {unit: np.polyfit(rows.Days, rows.Reaction, 1)[0] for unit, rows in frame.groupby("Subject")}


def picked(slopes, *units):
    return Sample.of([slopes[unit] for unit in units])


# ---------------------------------------------------------------- one sample
def test_mean_of_subject_slopes(slopes):
    found = mean_interval(Sample.of(list(slopes.values())))
    # other software: R 4.2.2, t.test(slope), case "sleepstudy"
    assert found.estimate == approx(10.46728596)
    # other software: R 4.2.2, same
    assert found.std_error == approx(1.545788896)
    # other software: R 4.2.2, same
    assert (found.conf_low, found.conf_high) == approx((7.205956466, 13.72861545))
    assert found.df == 17


def test_next_subject(slopes):
    # other software: R 4.2.2, predict(lm(slope ~ 1), interval = "prediction"), case "sleepstudy"
    assert prediction_limits(Sample.of(list(slopes.values()))) == approx((-3.748519724, 24.68309164))


# ---------------------------------------------------------------- pairs
def test_boys_shoes_difference():
    shoes = read("shoes")
    found = difference_interval(Sample.of(shoes.B), Sample.of(shoes.A), Pairing.of(shoes.B, shoes.A))
    # published: Box, Hunter and Hunter, "Statistics for Experimenters", 1978, section 4.2: 0.41 (memory); R 4.2.2 agrees
    assert found.estimate == approx(0.41)
    # other software: R 4.2.2, t.test(B, A, paired = TRUE), case "shoes"
    assert found.std_error == approx(0.1224291178)
    # other software: R 4.2.2, same
    assert found.p_value == approx(0.008538780718)
    # other software: R 4.2.2, same
    assert (found.conf_low, found.conf_high) == approx((0.1330460942, 0.6869539058))
    assert found.df == 9


def test_boys_shoes_ratio():
    shoes = read("shoes")
    found = ratio_set(Sample.of(shoes.B), Sample.of(shoes.A), Pairing.of(shoes.B, shoes.A))
    # other software: R 4.2.2, roots in r of t.test(B - r A)$p.value = 0.05, case "shoes"
    assert (found.conf_low, found.conf_high) == approx((1.012634802, 1.065807764))
    assert found.kind == BOUNDED


def test_tire_tread_ratio_of_two_methods():
    tread = read("natrella_tire_tread")
    groove, weight = tread.groove_method, tread.weight_method
    found = ratio_set(Sample.of(groove), Sample.of(weight), Pairing.of(groove, weight))
    # other software: R 4.2.2, lm(groove ~ 0 + weight, weights = 1 / weight), the ratio of means, case "natrella"
    assert found.estimate == approx(0.8381798002)
    # other software: R 4.2.2, roots in r of t.test(groove - r weight)$p.value = 0.05, case "natrella"
    assert (found.conf_low, found.conf_high) == approx((0.7902628491, 0.8893191972))


def test_some_units_shared():
    a_alone, a_shared = [20, 21, 16, 18, 14, 12, 14, 17], [14, 15, 18, 20, 11, 19, 14, 15]
    b_alone, b_shared = [10, 16, 18, 16, 15, 14, 13, 10], [15, 10, 15, 17, 13, 19, 12, 13]
    found = difference_interval(
        Sample.of(a_shared + a_alone), Sample.of(b_shared + b_alone), Pairing.of(a_shared, b_shared)
    )
    # published: manual of the R package Partiallyoverlapping 2.0, example of Partover.test: p = 0.026 (equal variances)
    assert found.p_value == pytest.approx(0.026, abs=5e-4)
    # other software: the same example with unequal variances, R 4.2.2, case "partly shared"
    assert found.df == approx(18.42233227)
    # other software: R 4.2.2, same
    assert found.p_value == approx(0.02610444486)
    # other software: R 4.2.2, same
    assert (found.conf_low, found.conf_high) == approx((0.2659029705, 3.734097029))


# ---------------------------------------------------------------- two groups
def test_enzyme_activity_ratio():
    groups = read("asat").groupby("group").ASAT
    treated, control = (Sample.of(groups.get_group(name)) for name in ("TREAT", "KON"))
    found = ratio_set(treated, control)
    # other software: R 4.2.2, roots in r of t.test(TREAT, r KON)$p.value = 0.05, case "asat"
    assert (found.conf_low, found.conf_high) == approx((0.9374246186, 1.325272586))
    # other software: R package mratios, ratio of means with degrees of freedom at the estimate: 0.93767, 1.32509
    assert (found.conf_low, found.conf_high) == pytest.approx((0.93767, 1.32509), abs=5e-4)


def test_enzyme_activity_margin():
    groups = read("asat").groupby("group").ASAT
    treated, control = (Sample.of(groups.get_group(name)) for name in ("TREAT", "KON"))
    pooled = margin_test(treated, control, 1.25, equal_variance=True)
    # other software: R 4.2.2, pooled t of TREAT - 1.25 KON, case "asat"
    assert (pooled.statistic, pooled.p_value) == approx((-1.362755397, 0.09123677656))
    # other software: R 4.2.2, Fieller with the one-sided t quantile, case "asat pooled one-sided"
    assert pooled.conf_high == approx(1.286014831)
    assert pooled.df == 32
    welch = margin_test(treated, control, 1.25)
    # other software: R 4.2.2, t.test(TREAT, 1.25 KON, alternative = "less"), case "asat"
    assert (welch.statistic, welch.p_value) == approx((-1.364279623, 0.09103621221))


def test_two_units_against_five():
    found = difference_interval(Sample.of([1.42, 1.71]), Sample.of([0.9, 1.1, 1.3, 1.0, 0.8]))
    # other software: R 4.2.2, t quantiles of 1 and 4 df weighted by the two variances, case "two and five"
    assert (found.conf_low, found.conf_high) == approx((-1.161396836, 2.251396836))


# ---------------------------------------------------------------- Fieller with pooled spread or a given covariance
THREE_AND_THREE = {
    BOUNDED: ((352, 337, 308), (331, 332, 349)),
    EXCLUSIVE: ((308, 330, 350), (309, 310, 335)),
    WHOLE_LINE: ((335, 309, 370), (308, 330, 350)),
}
LIMITS = {
    # other software: R 4.2.2, polyroot of the quadratic inequality, case "sleepstudy 3 and 3 bounded"
    BOUNDED: (0.948942389, 6.651990002),
    # other software: R 4.2.2, same, case "sleepstudy 3 and 3 exclusive"
    EXCLUSIVE: (-0.7970180341, 0.4537191712),
    # other software: R 4.2.2, same, case "sleepstudy 3 and 3 whole"
    WHOLE_LINE: (np.nan, np.nan),
}


@pytest.mark.parametrize("kind", THREE_AND_THREE)
def test_three_and_three_units_with_pooled_spread(slopes, kind):
    x, y = (picked(slopes, *units) for units in THREE_AND_THREE[kind])
    pooled = (x.variance + y.variance) / 2 / 3
    found = fieller_set(x.mean, y.mean, pooled, pooled, 0.0, stdtrit(4, 0.975))
    assert found.kind == kind
    assert (found.conf_low, found.conf_high) == pytest.approx(LIMITS[kind], rel=1e-8, nan_ok=True)


def test_three_and_three_units_without_pooling(slopes):
    found = ratio_set(*(picked(slopes, *units) for units in THREE_AND_THREE[BOUNDED]))
    # other software: R 4.2.2, t.test(y)$p.value = 0.0579 > 0.05: the divisor may be zero, so there is no upper end
    assert found.kind == EXCLUSIVE
    # other software: R 4.2.2, roots in r of t.test(x, r y)$p.value = 0.05, case "sleepstudy 3 and 3 Welch"
    assert (found.conf_low, found.conf_high) == approx((-23.99242641, 0.9475062411))
    # by hand: with no negative ratio possible only "at least 0.9475" is left
    assert found.known_non_negative().conf_low == found.conf_high


@pytest.mark.parametrize(
    ("given", "t", "kind", "limits"),
    [
        # other software: R 4.2.2, polyroot, case "given bounded"
        ((2.4, 1.6, 0.04, 0.02, 0.005), stdtrit(10, 0.975), BOUNDED, (1.171265177, 1.929612352)),
        # other software: R 4.2.2, polyroot, case "given negative covariance"
        ((1.2, 2.0, 0.02, 0.05, -0.01), ndtri(0.975), BOUNDED, (0.4121667989, 0.8685376634)),
        # other software: R 4.2.2, polyroot, case "given exclusive"
        ((2.4, 0.3, 0.04, 0.04, 0.0), stdtrit(10, 0.975), EXCLUSIVE, (-16.38709234, 3.125483406)),
        # other software: R 4.2.2, polyroot, case "given whole line"
        ((0.3, 0.3, 0.04, 0.04, 0.0), stdtrit(10, 0.975), WHOLE_LINE, (np.nan, np.nan)),
    ],
)
def test_given_covariance(given, t, kind, limits):
    found = fieller_set(*given, t)
    assert found.kind == kind
    assert (found.conf_low, found.conf_high) == pytest.approx(limits, rel=1e-9, nan_ok=True)


# ---------------------------------------------------------------- several comparisons
def test_holm():
    adjusted = holm_adjusted([0.01, 0.04, 0.03, 0.005, np.nan])
    # other software: R 4.2.2, p.adjust(c(0.01, 0.04, 0.03, 0.005, NA), "holm")
    assert adjusted == pytest.approx([0.03, 0.06, 0.06, 0.02, np.nan], nan_ok=True)
