"""The checks that put the wear findings in doubt, against general-purpose software.

Other software: statsmodels 0.15.0 (`OLS`, `outlier_test`, `get_influence`), scipy 1.17 (`ttest_ind`, `median_abs_deviation`,
`f.sf`) and numpy 2.4 (`polyfit`), run here on the same numbers. A data set serves as one segment, or as one truck each.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from trialkit import columns as c
from trialkit.edges import variants
from trialkit.edges.curvature import compare_early_late
from trialkit.edges.outliers import truck_distances
from trialkit.edges.residuals import reading_residuals
from trialkit.edges.wear import fit_wear_rates

DATA = Path(__file__).parent / "data"


def as_trial(unit, axis, response, kind=None):
    """The data as wear readings of one station: one truck, set and segment per unit; miles are 1,000 times the axis."""
    name = pd.Series(unit).astype(str).to_numpy()
    frame = pd.DataFrame(
        {c.MILES_MI: 1000.0 * np.asarray(axis, float), c.HEIGHT_IN: -np.asarray(response, float)}
    )
    frame[c.EDGE_TYPE] = pd.Categorical(kind if kind is not None else ["steel"] * len(frame))
    frame[c.PLOW_POSITION] = "front"
    for column in (c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID, c.SEGMENT):
        frame[column] = name
    frame[c.STATION] = 1
    frame[c.RESOLUTION_IN] = np.nan
    return frame


@pytest.fixture(scope="module")
def sleepstudy():
    return pd.read_csv(DATA / "sleepstudy.csv", comment="#")


def test_distances_are_the_studentized_residuals_of_one_line(sleepstudy):
    own = sleepstudy[sleepstudy["Subject"] == 330]
    found = reading_residuals(as_trial(own["Subject"], own["Days"], own["Reaction"])).readings
    # statsmodels 0.15.0: OLS(Reaction ~ Days).fit().get_influence().resid_studentized_internal
    influence = (
        sm.OLS(-own["Reaction"].to_numpy(), sm.add_constant(own["Days"].to_numpy())).fit().get_influence()
    )
    assert (found[c.STANDS_APART] == "no").all()
    assert found[c.DISTANCE].to_numpy() == pytest.approx(influence.resid_studentized_internal, rel=1e-9)


def test_distances_of_all_segments_are_those_of_the_joint_regression(sleepstudy):
    some = sleepstudy[sleepstudy["Subject"].isin([309, 310, 330, 331, 333])]
    found = reading_residuals(as_trial(some["Subject"], some["Days"], some["Reaction"])).readings
    dummies = pd.get_dummies(some["Subject"]).to_numpy(float)
    design = np.hstack([dummies, dummies * some["Days"].to_numpy(float)[:, None]])
    # statsmodels 0.15.0: own intercept and slope for each subject, one residual variance
    influence = sm.OLS(-some["Reaction"].to_numpy(), design).fit().get_influence()
    assert (found[c.STANDS_APART] == "no").all()
    assert found[c.DISTANCE].to_numpy() == pytest.approx(influence.resid_studentized_internal, rel=1e-8)


def test_the_limit_is_that_of_the_outlier_test(sleepstudy):
    """A reading is moved until it stands apart; statsmodels' corrected p value then crosses 5 %."""
    own = sleepstudy[sleepstudy["Subject"] == 309].reset_index(drop=True)
    for shift in np.linspace(0, 60, 61):
        reaction = own["Reaction"].to_numpy(float).copy()
        reaction[4] += shift
        fit = sm.OLS(reaction, sm.add_constant(own["Days"].to_numpy(float))).fit()
        # statsmodels 0.15.0: fit.outlier_test("bonferroni"), third column
        corrected = np.asarray(fit.outlier_test("bonferroni"))[:, 2]
        found = reading_residuals(as_trial(own["Subject"], own["Days"], reaction)).readings
        assert (found[c.STANDS_APART] == "yes").any() == (corrected < 0.05).any(), shift


def test_change_is_that_of_a_parabola(sleepstudy):
    readings = as_trial(sleepstudy["Subject"], sleepstudy["Days"], sleepstudy["Reaction"])
    trucks = compare_early_late(readings, fit_wear_rates(readings)).trucks.set_index(c.TRUCK_ID)
    for subject, own in sleepstudy.groupby("Subject"):
        # numpy 2.4: polyfit(Days, Reaction, 2); slope at 3/4 less slope at 1/4 of nine days
        bend, middle, _ = np.polyfit(own["Days"], own["Reaction"], 2)
        row = trucks.loc[str(subject)]
        assert row[c.ESTIMATE] == pytest.approx(2 * bend * 4.5, rel=1e-8)
        assert (row[c.EARLY_RATE] + row[c.LATE_RATE]) / 2 == pytest.approx(2 * bend * 4.5 + middle, rel=1e-8)


def test_mean_change_has_the_t_interval_of_the_subjects(sleepstudy):
    readings = as_trial(sleepstudy["Subject"], sleepstudy["Days"], sleepstudy["Reaction"])
    row = compare_early_late(readings, fit_wear_rates(readings)).table.iloc[0]
    changes = [9 * np.polyfit(own["Days"], own["Reaction"], 2)[0] for _, own in sleepstudy.groupby("Subject")]
    # scipy 1.17: ttest_1samp(changes, 0)
    expected = stats.ttest_1samp(changes, 0.0)
    ends = expected.confidence_interval(0.95)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((ends.low, ends.high), abs=0.02)
    assert row[c.P_VALUE] == pytest.approx(expected.pvalue, abs=2e-3)


def test_truck_distance_is_the_modified_z_score(sleepstudy):
    readings = as_trial(sleepstudy["Subject"], sleepstudy["Days"], sleepstudy["Reaction"])
    rates = fit_wear_rates(readings)
    slope = rates.trucks[c.ESTIMATE].to_numpy()
    # scipy 1.17: 0.6745 |x - median| / median_abs_deviation(x)
    expected = 0.6745 * np.abs(slope - np.median(slope)) / stats.median_abs_deviation(slope)
    assert truck_distances(rates)[c.DISTANCE].to_numpy() == pytest.approx(expected, rel=1e-9)


def test_geometric_ratio_is_welchs_interval_of_the_logarithms():
    teeth = pd.read_csv(DATA / "orthodont.csv", comment="#")
    readings = as_trial(teeth["Subject"], teeth["age"], teeth["distance"], kind=teeth["Sex"])
    rates = fit_wear_rates(readings, reference="Male")
    slopes = rates.trucks.assign(**{c.EDGE_TYPE: rates.trucks[c.EDGE_TYPE].astype(str)})
    male, female = (np.log(slopes.loc[slopes[c.EDGE_TYPE] == sex, c.ESTIMATE]) for sex in ("Male", "Female"))
    # scipy 1.17: ttest_ind(log male, log female, equal_var=False).confidence_interval(0.95), exponentiated
    ends = stats.ttest_ind(male, female, equal_var=False).confidence_interval(0.95)
    found = variants.of_log_slopes(rates).ratios.iloc[0]
    assert found[c.ESTIMATE] == pytest.approx(np.exp(male.mean() - female.mean()), rel=1e-9)
    assert (found[c.CONF_LOW], found[c.CONF_HIGH]) == pytest.approx(
        (np.exp(ends.low), np.exp(ends.high)), rel=1e-2
    )
