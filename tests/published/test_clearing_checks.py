"""Blocked comparisons and ordered scores against printed analyses and R.

References of R stand in data/clearing_reference.csv, which ``Rscript tests/published/r/clearing.R`` writes (R 4.2.2, lme4
1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2). Its optimum is good to 6 or 7 digits: estimates, standard errors and degrees of
freedom are compared to a relative 1e-5, variances to 1e-4.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtrit

from trialkit.clearing import comparison, measures, ratings
from trialkit.stats.blocked import BlockedFit, fit_blocked
from trialkit.stats.blocked_sums import BlockedSums, blocked_sums
from trialkit.stats.detectable import detectable_difference
from trialkit.stats.superiority import superiority
from trialkit.stats.two_stage import fit_two_stage

DATA = Path(__file__).parent / "data"
EDGES = ("steel", "rubber", "insert")


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / f"{name}.csv", comment="#")


def reference(case: str) -> dict[str, float]:
    table = read("clearing_reference")
    return dict(table.loc[table["case"] == case, ["quantity", "value"]].itertuples(index=False))


def codes(column: pd.Series) -> np.ndarray:
    return pd.factorize(column)[0]


def dummies(column: pd.Series) -> np.ndarray:
    return pd.get_dummies(column, drop_first=True).to_numpy(dtype=float)


def season(name: str, adjusted: bool = False) -> BlockedSums:
    shifts = read("clearing_invented").query("season == @name")
    columns = (
        np.column_stack([np.log(shifts["lane_miles"]), dummies(shifts["surface"])]) if adjusted else None
    )
    kinds = shifts["edge"].map({edge: k for k, edge in enumerate(EDGES)})
    return blocked_sums(
        np.log(shifts["rate"]), codes(shifts["storm"]), codes(shifts["truck"]), kinds, columns
    )


def split_plot(frame: pd.DataFrame, y: str, block: str, whole: str, sub: str) -> BlockedSums:
    unit = codes(frame[block].astype(str) + frame[whole].astype(str))
    kinds = pd.Categorical(frame[whole]).codes
    return blocked_sums(frame[y], codes(frame[block]), unit, kinds, dummies(frame[sub]))


def agrees(fit: BlockedFit, expected: dict[str, float], names: tuple[str, ...]) -> None:
    for k, name in enumerate(names):
        for quantity in ("estimate", "std_error", "df"):
            found = getattr(fit, quantity)[k]
            assert found == pytest.approx(expected[f"{name} {quantity}"], rel=1e-5), (name, quantity)
    assert fit.error_variance == pytest.approx(expected["variance error"], rel=1e-4)


# ---------------------------------------------------------------- randomized blocks
def test_hardness_of_four_tips_on_four_coupons():
    # Randomized block design of a hardness tester (tips on coupons), data from memory (D. C. Montgomery, Design and
    # Analysis of Experiments, table of the tip experiment), confirmed by every printed sum of squares. Printed analysis:
    # University of Alberta, lecture notes STAT 368, section 10 "RCBD II", R output: treatments 3 df, sum of squares
    # 0.38500, F 14.438; blocks 0.82500; residuals 9 df, 0.08000, mean square 0.00889
    tips = np.array(
        [[9.3, 9.4, 9.6, 10.0], [9.4, 9.3, 9.8, 9.9], [9.2, 9.4, 9.5, 9.7], [9.7, 9.6, 10.0, 10.2]]
    )
    tip, coupon = np.indices(tips.shape).reshape(2, -1)
    sums = blocked_sums(tips.ravel(), coupon, np.arange(16), tip)
    fit = fit_blocked(sums)
    assert fit.error_variance == pytest.approx(0.00889, abs=5e-6)
    assert sums.scatter == pytest.approx(0.38500 + 0.08000)
    assert fit.df == pytest.approx([9, 9, 9])
    # with one row to a cell nothing is random but the error: standard error sqrt(2 * mean square / 4)
    assert fit.std_error == pytest.approx(np.full(3, np.sqrt(2 * 0.08 / 9 / 4)))
    assert fit.estimate == pytest.approx(tips[1:].mean(axis=1) - tips[0].mean())
    explained = sums.scatter - fit.error_variance * 9
    assert (explained / 3) / fit.error_variance == pytest.approx(14.438, abs=6e-4)


def test_boys_shoes():
    # R 4.2.2 stats, t.test(shoes$B, shoes$A, paired = TRUE) on MASS::shoes: mean difference 0.41, t 3.3489, df 9,
    # p 0.008539, 95 % 0.1330461 to 0.6869539 (tests/published/r/small_sample.R)
    shoes = read("shoes")
    wear = shoes[["A", "B"]].to_numpy()
    boy, material = np.indices(wear.shape).reshape(2, -1)
    fit = fit_blocked(blocked_sums(wear.ravel(), boy, np.arange(20), material))
    half = stdtrit(9, 0.975) * fit.std_error[0]
    assert (fit.estimate[0], fit.df[0]) == (pytest.approx(0.41), pytest.approx(9))
    assert fit.estimate[0] / fit.std_error[0] == pytest.approx(3.3489, abs=5e-5)
    assert (fit.estimate[0] - half, fit.estimate[0] + half) == pytest.approx((0.1330461, 0.6869539), abs=5e-8)


# ---------------------------------------------------------------- units of several rows
def test_oats_split_plot():
    # W. N. Venables and B. D. Ripley, Modern Applied Statistics with S, 4th edition 2002, section 10.2, strata of the
    # split plot (from memory, confirmed by R aov): V against B:V, residual 10 df, mean square 601.3, F 1.485, p 0.272
    expected = reference("oats")
    assert expected["whole-plot mean square"] == pytest.approx(601.3, abs=0.05)
    assert expected["F V"] == pytest.approx(1.485, abs=5e-4)
    fit = fit_blocked(split_plot(read("oats"), "Y", "B", "V", "N"))
    agrees(fit, expected, ("VMarvellous", "VVictory"))
    assert fit.std_error == pytest.approx(np.full(2, np.sqrt(2 * 601.3305556 / 24)))
    assert fit.cell_variance == pytest.approx(expected["variance B:V"], rel=1e-4)


def test_sugar_beets():
    # pbkrtest 0.5.2, its documentation's example (from memory, confirmed by R): F 15.21 on (1, 2) df, p 0.0599
    fit = fit_blocked(split_plot(read("beets"), "sugpct", "block", "harvest", "sow"))
    agrees(fit, reference("beets"), ("harvestharv2",))
    assert (fit.estimate[0] / fit.std_error[0]) ** 2 == pytest.approx(15.21, abs=0.005)
    assert fit.df[0] == pytest.approx(2)


# R: y ~ storm + edge (+ log(lane_miles) + surface) + (1 | truck) (+ (1 | truck:edge)), Kenward-Roger
@pytest.mark.parametrize(
    ("case", "name", "adjusted", "names"),
    [
        ("separate", "separate", False, ("edgerubber", "edgeinsert")),
        ("separate adjusted", "separate", True, ("edgerubber", "edgeinsert")),
        ("rotated", "rotated", False, ("edgerubber",)),
        ("mixed", "mixed", False, ("edgerubber",)),
        ("mixed adjusted", "mixed", True, ("edgerubber",)),
    ],
)
def test_invented_seasons(case, name, adjusted, names):
    expected = reference(case)
    fit = fit_blocked(season(name, adjusted))
    assert fit.converged
    agrees(fit, expected, names)
    cells = "variance truck" if name == "separate" else "variance truck:edge"
    assert fit.cell_variance == pytest.approx(expected[cells], rel=1e-4)
    if name != "separate":
        assert fit.unit_variance == pytest.approx(expected["variance truck"], rel=1e-3, abs=1e-6)


def test_trucks_that_are_alike_are_judged_by_their_spread():
    # R aov with Error(truck): mean square of trucks below that of shifts, so that the variance between trucks is zero
    expected = reference("alike")
    assert expected["truck mean square"] < expected["error mean square"]
    fit = fit_blocked(season("alike"))
    assert fit.no_spread
    assert fit.cell_variance == 0
    for quantity in ("estimate", "std_error", "df"):
        assert getattr(fit, quantity)[0] == pytest.approx(expected[f"edgerubber {quantity}"], rel=1e-6)
    stages = fit_two_stage(season("alike"))
    assert stages.estimate[0] == pytest.approx(expected["edgerubber estimate"])


def test_trucks_that_agree_too_well_are_held_to_the_scatter_of_the_shifts():
    # R aov: mean square of trucks a tenth of that of shifts. By hand: the interval is 0.7 of that from both together
    expected = reference("agreeing")
    fit = fit_blocked(season("agreeing"))
    df = expected["edgerubber df"] + expected["error df"]
    pooled = (4 * expected["truck mean square"] + 55 * expected["error mean square"]) / df
    half = 0.7 * stdtrit(df, 0.975) * np.sqrt(pooled * 2 / 36)
    assert fit.df[0] == pytest.approx(4)
    assert stdtrit(4, 0.975) * fit.std_error[0] == pytest.approx(half, rel=1e-6)
    assert fit.std_error[0] > 1.5 * expected["edgerubber std_error"]


def test_the_comparison_by_one_model_is_the_model_in_per_cent():
    expected = reference("separate")
    shifts = read("clearing_invented").query("season == 'separate'")
    frame = pd.DataFrame(
        {
            "storm_id": shifts["storm"],
            "truck_id": shifts["truck"],
            "edge_type": shifts["edge"],
            "quantity_lb": shifts["rate"] * shifts["lane_miles"],
            "lane_miles_treated": shifts["lane_miles"],
        }
    )
    found = comparison.compare_edge_types(frame, measures.material_use("rock_salt"), reference="steel")
    row = found.variants.set_index(["variant", "edge_type"]).loc[("one model of all shifts", "rubber")]
    half = stdtrit(expected["edgerubber df"], 0.975) * expected["edgerubber std_error"]
    ends = 100 * np.expm1(expected["edgerubber estimate"] + np.array([-half, 0, half]))
    assert list(row[["conf_low", "estimate_pct", "conf_high"]]) == pytest.approx(ends, rel=1e-5)


# ---------------------------------------------------------------- ordered scores
PAIN_TREATED = [1, 2, 1, 1, 1, 1, 1, 1, 1, 1, 2, 4, 1, 1]
PAIN_CONTROL = [3, 3, 4, 3, 1, 2, 3, 1, 1, 5, 4]


def one_score_each(a: list, b: list) -> dict:
    return {"score": [*a, *b], "unit": np.arange(len(a) + len(b)), "is_a": [True] * len(a) + [False] * len(b)}


def test_pain_scores():
    # E. Brunner and U. Munzel, Biometrical Journal 42, 2000, data of pain scores after surgery, as analysed in the public
    # repository YujiSODE/BrunnerMunzelStat_js, README: estimate 0.7889610389610391, statistic 3.1374674823029514, df
    # 17.682841979481548
    found = superiority(**one_score_each(PAIN_CONTROL, PAIN_TREATED))
    assert found.estimate == pytest.approx(0.7889610389610391, rel=1e-12)
    assert found.df == pytest.approx(17.682841979481548, rel=1e-9)
    # by hand: on the logit scale the half-width is t * standard error / (p (1 - p)), standard error (p - 1/2) / 3.13747
    p = 0.7889610389610391
    error = (p - 0.5) / 3.1374674823029514 / (p * (1 - p))
    logit = np.log(p / (1 - p)) + np.array([-1, 1]) * stdtrit(17.682841979481548, 0.975) * error
    assert (found.conf_low, found.conf_high) == pytest.approx(1 / (1 + np.exp(-logit)), rel=1e-9)


def test_exact_p_of_ordered_scores():
    expected = reference("scores")
    # R 4.2.2, wilcox.test(c(2.1, 3.4, 4.0, 2.8), c(1.5, 2.0, 3.1, 1.2, 2.2), exact = TRUE): 0.1111
    few = superiority(**one_score_each([2.1, 3.4, 4.0, 2.8], [1.5, 2.0, 3.1, 1.2, 2.2]))
    assert few.p_value == pytest.approx(expected["p of few by wilcox.test"])
    # R, all choices by combn (r/clearing.R): 0.2857143
    tied = superiority(**one_score_each([4, 5, 4, 3], [3, 2, 3, 4]))
    assert tied.p_value == pytest.approx(expected["p of tied by all choices"])


def test_exact_p_of_trucks_that_had_both():
    # R, all exchanges within the pairs, sums of pooled mid-ranks (r/clearing.R)
    a, b = [4, 5, 3, 4, 2, 5], [3, 3, 3, 2, 3, 1]
    found = superiority([*a, *b], [*range(6), *range(6)], [True] * 6 + [False] * 6)
    assert found.p_value == pytest.approx(reference("scores")["p of pairs by all exchanges"])


def test_smallest_p_of_three_trucks_each():
    # tables of the rank sum test: with samples of 3 and 3 the smallest two-sided p is 2/20 = 0.10 (by hand: 6 choose 3)
    frame = pd.DataFrame({"item": "noise", "truck_id": list("abcdef"), "edge_type": ["s"] * 3 + ["r"] * 3})
    found = ratings.compare_ratings(frame.assign(score=[1, 1, 2, 4, 5, 5]), reference="s").table.loc[0]
    assert (found["p_value"], found["p_smallest"]) == (pytest.approx(0.10), pytest.approx(0.10))
    assert found["estimate_pct"] == 100


# ---------------------------------------------------------------- what could have been seen
@pytest.mark.parametrize(
    # R 4.2.2: q <- qt(.975, df); uniroot(function(d) pt(q, df, d) - .2, c(0, 30), tol = 1e-12)$root
    ("df", "shift"), [(1, 16.33401), (2, 5.653489), (4, 3.76106), (6.3, 3.333818), (30, 2.895362), (200, 2.815128)]
)  # fmt: skip
def test_detectable_difference(df, shift):
    assert detectable_difference(1.0, df) == pytest.approx(shift, rel=2e-6)
