"""Gauge studies against printed worked examples and R.

The R values come from ``Rscript gauge.R`` in ``r/`` (R 4.2.2, lme4 1.1-31), 10 significant digits.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.stats.crossed import (
    INTERACTION,
    PIECE,
    READER,
    READING_ERROR,
    REPEATABILITY,
    TOTAL,
    distinct_categories,
    fit_crossed,
)

DATA = Path(__file__).parent / "data"


def read(name):
    return pd.read_csv(DATA / f"{name}.csv", comment="#")


def spread(fit, *parts):
    return np.sqrt([fit.variances[part] for part in parts])


@pytest.fixture(scope="module")
def ten():
    return read("gauge_10x3x3")


@pytest.fixture(scope="module")
def three():
    frame = read("gauge_3x3x3")
    return fit_crossed(frame.prototype, frame.operator, frame.time1)


def test_sums_of_squares_of_ten_parts(ten):
    table = fit_crossed(ten.part, ten.appraiser, ten.y).anova
    assert table.source == (READER, PIECE, INTERACTION, "repeats")
    # other software: R 4.2.2, anova(lm(y ~ appraiser * part)), case "10x3x3"
    expected = [3.167262222, 88.36193444, 0.3589822222, 2.758933333]
    assert table.sum_of_squares == pytest.approx(expected, rel=1e-9)
    assert table.df.tolist() == [2, 9, 18, 60]
    # published: the worked example of 10 parts, 3 appraisers, 3 trials: F 0.434, p 0.974; R 4.2.2 agrees
    assert (table.f_interaction, table.p_interaction) == pytest.approx((0.434, 0.974), abs=5e-4)


def test_ten_parts_pooled(ten):
    fit = fit_crossed(ten.part, ten.appraiser, ten.y)
    assert fit.pooled
    # published: the worked example: EV 0.199933, AV 0.226838, GRR 0.302373, PV 1.042327, TV 1.085 (two public test suites)
    printed = [0.199933, 0.226838, 0.302373, 1.042327]
    assert spread(fit, REPEATABILITY, READER, READING_ERROR, PIECE) == pytest.approx(printed, abs=2e-6)
    # other software: R 4.2.2, case "10x3x3 pooled"
    assert spread(fit, READING_ERROR, TOTAL) == pytest.approx([0.3023715223, 1.085299563], rel=1e-9)
    # published: the worked example: 27.9 % of the study variation
    share = float(spread(fit, READING_ERROR)[0] / spread(fit, TOTAL)[0])
    assert 100 * share == pytest.approx(27.9, abs=0.05)
    # published: the worked example: 4.861 distinct categories, cut off to 4
    assert distinct_categories(fit) == 4
    # other software: R 4.2.2, chi-square limits of the pooled EV on 78 degrees of freedom
    assert np.sqrt(fit.intervals[REPEATABILITY]) == pytest.approx([0.1728848116, 0.2370938118], rel=1e-9)
    assert fit.df == 78


def test_ten_parts_not_pooled(ten):
    fit = fit_crossed(ten.part, ten.appraiser, ten.y, pool_above=1.0)
    # other software: R 4.2.2, case "10x3x3 not pooled": the interaction is -0.008679588477, which is no variance
    expected = [0.04598222222, 0.05212292181, 0.0, 1.08867214]
    found = [fit.variances[part] for part in (REPEATABILITY, READER, INTERACTION, PIECE)]
    assert found == pytest.approx(expected, rel=1e-9)
    assert fit.truncated == (INTERACTION,)
    # published: the worked example without pooling: 4.697 distinct categories, cut off to 4
    assert distinct_categories(fit) == 4


def test_three_prototypes(three):
    assert three.pooled
    # other software: R 4.2.2, case "3x3x3 pooled"; the tests of the R package SixSigma print the same
    expected = [0.1459751835, 0.02394812951, 0.1479265599, 0.2536512271, 0.2936344873]
    assert spread(three, REPEATABILITY, READER, READING_ERROR, PIECE, TOTAL) == pytest.approx(
        expected, rel=1e-9
    )
    # published: Cano, Moguerza and Redchuk, Six Sigma with R, 2012, chapter 5: 50.38 % of the study variation, 2 categories
    share = float(spread(three, READING_ERROR)[0] / spread(three, TOTAL)[0])
    assert 100 * share == pytest.approx(50.38, abs=0.005)
    assert distinct_categories(three) == 2
    # other software: R 4.2.2, chi-square limits on 22 degrees of freedom
    assert np.sqrt(three.intervals[REPEATABILITY]) == pytest.approx([0.1128964547, 0.2066061804], rel=1e-9)


def test_readings_missing(ten):
    gap = ten.drop(index=[3, 17, 40])
    fit = fit_crossed(gap.part, gap.appraiser, gap.y)
    assert not fit.balanced
    # other software: lme4 1.1-31, lmer(y ~ 1 + (1 | part) + (1 | appraiser)), REML, case "10x3x3 with gaps"
    expected = [0.2004720179, 0.2322776845, 1.041419879]
    assert spread(fit, REPEATABILITY, READER, PIECE) == pytest.approx(expected, rel=1e-6)


def test_readings_missing_and_an_interaction(ten):
    gap = ten.drop(index=[3, 17, 40])
    part, appraiser = (pd.factorize(gap[name], sort=True)[0] + 1 for name in ("part", "appraiser"))
    fit = fit_crossed(part, appraiser, gap.y + 0.3 * ((part * appraiser) % 3 - 1))
    assert not fit.pooled
    # other software: R 4.2.2, anova(lm(moved ~ appraiser * part)), case "moved"
    assert fit.anova.f_interaction == pytest.approx(2.311910986, rel=1e-8)
    # other software: same
    assert fit.anova.p_interaction == pytest.approx(0.008617419501, rel=1e-7)
    # other software: lme4 1.1-31, lmer with (1 | part:appraiser), REML, case "moved, with gaps"
    expected = [0.2152910022, 0.1448143816, 0.9516809503, 0.4077598474]
    assert spread(fit, REPEATABILITY, INTERACTION, PIECE, READER) == pytest.approx(expected, rel=1e-6)


def test_one_reader_is_a_one_way_study():
    dyestuff = read("dyestuff")
    fit = fit_crossed(dyestuff.Batch, np.ones(len(dyestuff)), dyestuff.Yield)
    # published: Davies and Goldsmith, "Statistical Methods in Research and Production", 1972: between batches 1764, within
    # 2451 (memory); lme4 1.1-31, lmer(Yield ~ 1 + (1 | Batch)): 42.00, 49.51
    assert spread(fit, PIECE, REPEATABILITY) == pytest.approx([42.00, 49.51], abs=0.005)
    assert fit.told == (REPEATABILITY, PIECE)


def test_pieces_that_do_not_differ():
    dyestuff = read("dyestuff2")
    fit = fit_crossed(dyestuff.Batch, np.ones(len(dyestuff)), dyestuff.Yield)
    # published: Box and Tiao, "Bayesian Inference in Statistical Analysis", 1973, Table 5.1.4: no variance between batches
    assert fit.variances[PIECE] == 0.0
    assert fit.truncated == (PIECE,)
