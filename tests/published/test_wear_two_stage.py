"""Two-stage rates and comparisons against R, on open data sets brought into the form of a trial.

The R values come from ``Rscript wear_two_stage.R`` in ``r/`` (R 4.2.2, base and stats), 10 significant digits. Each unit
of a data set plays a truck, its time axis the miles (in thousands) and its response the wear, so that a slope here is
the slope there.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.wear import fit_wear_rates
from trialkit.stats.inference import Sample, mean_interval
from trialkit.stats.ratios import fieller_set

DATA = Path(__file__).parent / "data"


def approx(value):
    """Ten printed digits."""
    return pytest.approx(value, rel=1e-9, abs=1e-10)


def read(name):
    return pd.read_csv(DATA / f"{name}.csv", comment="#")


def as_trial(unit, axis, response, kind="steel"):
    """The data as wear readings of one station: one truck, set and segment per unit."""
    name = pd.Series(unit).astype(str).to_numpy()
    frame = pd.DataFrame(
        {c.MILES_MI: 1000.0 * np.asarray(axis), c.HEIGHT_IN: -np.asarray(response, dtype=float)}
    )
    frame[c.EDGE_TYPE] = pd.Categorical(kind if not isinstance(kind, str) else [kind] * len(frame))
    frame[c.PLOW_POSITION] = "front"
    for column in (c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID, c.SEGMENT):
        frame[column] = name
    frame[c.STATION] = 1
    return frame


def rate(result, kind):
    return result.table.set_index(c.EDGE_TYPE).loc[kind]


def limits(row):
    return row[c.CONF_LOW], row[c.CONF_HIGH]


def test_sleepstudy():
    data = read("sleepstudy")
    result = fit_wear_rates(as_trial(data.Subject, data.Days, data.Reaction))
    row = result.table.iloc[0]
    # other software: R 4.2.2, t.test over lm slopes, case "sleepstudy"; the balanced REML fit with Kenward-Roger limits of
    # lme4 1.1-31 and pbkrtest 0.5.2 gives the same interval
    assert (row[c.ESTIMATE], row[c.STD_ERROR]) == approx((10.46728596, 1.545788896))
    # other software: R 4.2.2, same
    assert limits(row) == approx((7.205956466, 13.72861545))
    assert (row[c.DF], row[c.N_TRUCKS], row[c.N_READINGS]) == (17, 18, 180)
    slopes = result.trucks.set_index(c.TRUCK_ID)[c.ESTIMATE]
    # other software: R 4.2.2, lm(Reaction ~ Days) per subject, case "sleepstudy slope"
    assert slopes[["308", "309", "310", "372"]].to_numpy() == approx(
        [21.76470242, 2.261785455, 6.114898788, 11.29807333]
    )


def test_six_units_in_two_groups():
    data = read("sleepstudy_6units_2groups")
    rates = fit_wear_rates(as_trial(data.Subject, data.Days, data.Reaction, data.grp))
    # other software: R 4.2.2, t.test, case "6 units A"
    assert limits(rate(rates, "A")) == approx((-12.45222021, 35.06210062))
    compared = compare_edge_types(rates)
    gap = compared.differences.iloc[0]
    # other software: R 4.2.2, t.test(A, B), case "6 units A-B"
    assert (gap[c.ESTIMATE], gap[c.DF], gap[c.P_VALUE]) == approx((-3.200267273, 3.666938331, 0.6665342656))
    # other software: R 4.2.2, same
    assert limits(gap) == approx((-22.90546393, 16.50492939))
    # other software: R 4.2.2, t.test(B)$p.value = 0.0697 > 0.05: the ratio A/B has no upper end
    assert compared.table[c.BOUNDED].tolist() == ["no"]
    assert np.isnan(compared.table[c.CONF_HIGH].iloc[0])


def test_orthodont():
    data = read("orthodont")
    rates = fit_wear_rates(as_trial(data.Subject, data.age, data.distance, data.Sex), reference="Male")
    # other software: R 4.2.2, t.test over lm slopes, cases "orthodont male" and "orthodont female"
    assert limits(rate(rates, "Male")) == approx((0.5678774541, 1.000872546))
    # other software: R 4.2.2, same
    assert limits(rate(rates, "Female")) == approx((0.3320114059, 0.6270795032))
    compared = compare_edge_types(rates)
    gap, ratio = compared.differences.iloc[0], compared.table.iloc[0]
    # other software: R 4.2.2, t.test(male, female), case "orthodont male-female"
    assert (gap[c.DF], gap[c.P_VALUE]) == approx((23.96564815, 0.01905823073))
    # other software: R 4.2.2, same
    assert limits(gap) == approx((0.05456462924, 0.5550944617))
    # other software: R 4.2.2, roots in r of t.test(male, r female)$p.value = 0.05, case "orthodont"
    assert (ratio[c.ESTIMATE], *limits(ratio)) == approx((1.635663507, 1.098666781, 2.484940164))


def test_orthodont_with_pooled_spread():
    # other software: R 4.2.2, pooled variances of the two mean slopes, case "orthodont pooled"
    found = fieller_set(0.784375, 0.4795454545, 0.007395916193, 0.01075769628, 0.0, 2.059538553)
    # other software: R 4.2.2, lme4 1.1-31 fit (variances to seven digits) with Fieller limits at t of 25 df
    assert (found.conf_low, found.conf_high) == pytest.approx((1.042358563, 3.038772812), rel=1e-6)


def test_laser():
    data = read("gaaslaser")
    row = fit_wear_rates(as_trial(data.unit, data.hours / 1000, data.increase)).table.iloc[0]
    # other software: R 4.2.2, t.test over lm slopes, case "laser"
    assert (row[c.ESTIMATE], row[c.STD_ERROR]) == approx((2.0432, 0.1241764518))
    # other software: R 4.2.2, same
    assert limits(row) == approx((1.776867999, 2.309532001))


def test_laser_through_the_origin():
    data = read("gaaslaser").assign(khours=lambda d: d.hours / 1000)
    slopes = [(u.khours * u.increase).sum() / (u.khours**2).sum() for _, u in data.groupby("unit")]
    found = mean_interval(Sample.of(slopes))
    # other software: R 4.2.2, lm(increase ~ 0 + khours) per unit, case "laser through the origin"; the mixed model through
    # the origin with Kenward-Roger limits gives (1.790457443, 2.302847084)
    assert (found.estimate, found.conf_low, found.conf_high) == approx(
        (2.046652264, 1.790457441, 2.302847087)
    )


def test_metal_wear_of_three_loads():
    data = read("metalwear")
    load = pd.Categorical(data.grams.astype(str), ["10", "50", "100"], ordered=True)
    rates = fit_wear_rates(as_trial(data.unit, np.log(data.cycles), np.log(data.microns), load))
    # other software: R 4.2.2, t.test over log-log slopes, cases "metalwear 10", "metalwear 50", "metalwear 100"
    assert rates.table[c.ESTIMATE].to_numpy() == approx([0.1975122323, 0.1683337192, 0.2074130035])
    # other software: R 4.2.2, same
    assert rates.table[c.STD_ERROR].to_numpy() == approx([0.003026526116, 0.01202069437, 0.006448156924])
    against_10 = compare_edge_types(rates)
    # other software: R 4.2.2, p.adjust(..., "holm") of the two Welch tests, case "metalwear holm against 10"
    assert against_10.table["p_holm"].to_numpy() == approx([0.1803640895, 0.2327676033])
    against_50 = compare_edge_types(rates, reference="50")
    gap = against_50.differences.set_index(c.EDGE_TYPE).loc["100"]
    # other software: R 4.2.2, t.test(100, 50), case "metalwear 100-50", with the sign turned
    assert (gap[c.ESTIMATE], gap[c.DF], *limits(gap)) == approx(
        (-0.03907928437, 4.594467093, -0.07509618023, -0.003062388501)
    )
    ratio = against_50.table.set_index(c.EDGE_TYPE).loc["100"]
    # other software: R 4.2.2, case "metalwear 100/50" turned over: 1/1.572913714, 1/1.015052011
    assert limits(ratio) == approx((1 / 1.572913714, 1 / 1.015052011))
