"""The mixed model against lme4, lmerTest and pbkrtest on open data sets.

The references stand in data/mixed_model_reference.csv, which ``Rscript tests/published/r/mixed_model.R`` writes (R 4.2.2,
lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2); the R formula of each case stands above its Python twin here. The software
finds its optimum to about 8 digits: log-likelihood, estimates and standard errors are compared to a relative 1e-6,
degrees of freedom to 1e-4, variances to 1e-5.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.edges import mixed
from trialkit.stats import mixed_df, mixed_reml
from trialkit.stats.mixed_terms import RandomTerm, cross_products

DATA = Path(__file__).parent / "data"
DIGITS = {
    "estimate": 1e-6,
    "std_error": 1e-6,
    "std_error_kr": 1e-6,
    "df_satterthwaite": 1e-4,
    "df_kr": 1e-4,
}


class Case(NamedTuple):
    """One fit: response, fixed effects, random terms, groups and named contrasts."""

    y: np.ndarray
    x: np.ndarray
    terms: list[RandomTerm]
    group: np.ndarray
    contrasts: dict[str, list[float]]
    reml: bool = True


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / f"{name}.csv", comment="#")


def reference(case: str) -> dict[str, float]:
    """Quantity -> value of one case of the reference file."""
    table = read("mixed_model_reference")
    return dict(table.loc[table["case"] == case, ["quantity", "value"]].itertuples(index=False))


def line(x: pd.Series) -> np.ndarray:
    return np.column_stack([np.ones(len(x)), x])


LINE: dict[str, list[float]] = {"intercept": [1, 0], "slope": [0, 1]}
MEAN: dict[str, list[float]] = {"mean": [1]}


# Reaction ~ Days + (Days | Subject), then ML, (Days || Subject) and (1 | Subject)
def sleepstudy(random: str = "line", reml: bool = True, data: str = "sleepstudy") -> Case:
    frame = read(data)
    x = line(frame["Days"])
    terms = {
        "line": [RandomTerm(x)],
        "uncorrelated": [RandomTerm(x[:, 0]), RandomTerm(x[:, 1])],
        "intercept": [RandomTerm(x[:, 0])],
    }
    return Case(frame["Reaction"].to_numpy(), x, terms[random], frame["Subject"].to_numpy(), LINE, reml)


# Reaction ~ Days * grp + (Days | Subject)
def six_units() -> Case:
    frame = read("sleepstudy_6units_2groups")
    z = line(frame["Days"])
    x = np.column_stack([z, frame["grp"] == "B", frame["Days"] * (frame["grp"] == "B")]).astype(float)
    contrasts: dict[str, list[float]] = {
        "slope A": [0, 1, 0, 0], "slope B": [0, 1, 0, 1], "slope B - A": [0, 0, 0, 1],
    }  # fmt: skip
    return Case(frame["Reaction"].to_numpy(), x, [RandomTerm(z)], frame["Subject"].to_numpy(), contrasts)


# distance ~ age * Sex + (age | Subject)
def orthodont() -> Case:
    frame = read("orthodont")
    z, female = line(frame["age"]), (frame["Sex"] == "Female").to_numpy(float)
    x = np.column_stack([z, female, frame["age"] * female])
    contrasts: dict[str, list[float]] = {
        "slope male": [0, 1, 0, 0], "slope female": [0, 1, 0, 1], "female - male": [0, 0, 0, 1],
    }  # fmt: skip
    return Case(frame["distance"].to_numpy(), x, [RandomTerm(z)], frame["Subject"].to_numpy(), contrasts)


# circumference ~ x + (x | Tree), and (0 + x | Tree), with x = age / 100
def orange(slope_only: bool = False) -> Case:
    frame = read("orange")
    x = line(frame["age"] / 100)
    term = RandomTerm(x[:, 1] if slope_only else x)
    return Case(frame["circumference"].to_numpy(), x, [term], frame["Tree"].to_numpy(), LINE)


# travel ~ 1 + (1 | Rail); Yield ~ 1 + (1 | Batch)
def one_way(data: str, response: str, factor: str) -> Case:
    frame = read(data)
    ones = np.ones((len(frame), 1))
    return Case(frame[response].to_numpy(float), ones, [RandomTerm(ones)], frame[factor].to_numpy(), MEAN)


# strength ~ 1 + (1 | batch) + (1 | batch:cask)
def pastes() -> Case:
    frame = read("pastes")
    ones = np.ones((len(frame), 1))
    terms = [RandomTerm(ones, within=frame["cask"]), RandomTerm(ones)]
    return Case(frame["strength"].to_numpy(), ones, terms, frame["batch"].to_numpy(), MEAN)


# sugpct ~ block + sow + harvest + (1 | block:harvest)
def beets(whole_plots_inside_blocks: bool = False) -> Case:
    frame = read("beets")
    ones = np.ones(len(frame))
    dummies = [
        pd.get_dummies(frame[name], drop_first=True, dtype=float) for name in ("block", "sow", "harvest")
    ]
    x = np.column_stack([ones, *dummies])
    if whole_plots_inside_blocks:
        terms, group = [RandomTerm(ones, within=frame["harvest"])], frame["block"]
    else:
        terms, group = [RandomTerm(ones)], frame["block"] + frame["harvest"]
    return Case(frame["sugpct"].to_numpy(), x, terms, group.to_numpy(), {"harvest": [0] * 7 + [1]})


# wear ~ B + (1 | boy)
def shoes() -> Case:
    frame = read("shoes").melt("boy", ["A", "B"], "material", "wear")
    x = line((frame["material"] == "B").astype(float))
    return Case(
        frame["wear"].to_numpy(), x, [RandomTerm(x[:, 0])], frame["boy"].to_numpy(), {"B - A": [0, 1]}
    )


# increase ~ 0 + x + (0 + x | unit) without the zeros at hour 0, and increase ~ x + (x | unit), with x = hours / 1000
def laser(through_origin: bool) -> Case:
    frame = read("gaaslaser")
    frame = frame.query("hours > 0") if through_origin else frame
    x = line(frame["hours"] / 1000)
    x, contrasts = (x[:, 1:], {"slope": [1.0]}) if through_origin else (x, LINE)
    return Case(frame["increase"].to_numpy(), x, [RandomTerm(x)], frame["unit"].to_numpy(), contrasts)


# volts ~ x + (x | component), with x = time_h / 1000
def tob216b() -> Case:
    frame = read("tob216b_threshold_voltage")
    x = line(frame["time_h"] / 1000)
    return Case(frame["volts"].to_numpy(), x, [RandomTerm(x)], frame["component"].to_numpy(), LINE)


# log: ly ~ 0 + g + lx:g + (lx | unit); linear, cycles >= 50: microns ~ 0 + g + x:g + (x | unit) with x = cycles / 100
def metalwear(log: bool) -> Case:
    frame = read("metalwear")
    frame = frame if log else frame.query("cycles >= 50")
    slope = np.log(frame["cycles"]) if log else frame["cycles"] / 100
    y = np.log(frame["microns"]) if log else frame["microns"]
    load = pd.get_dummies(frame["grams"], dtype=float).to_numpy()
    contrasts: dict[str, list[float]] = {
        "slope 10": [0, 0, 0, 1, 0, 0], "50 - 10": [0, 0, 0, -1, 1, 0], "100 - 10": [0, 0, 0, -1, 0, 1],
        "100 - 50": [0, 0, 0, 0, -1, 1],
    }  # fmt: skip
    if log:
        contrasts["100 - 50 at 500"] = [0, -1, 1, 0, -np.log(500), np.log(500)]
    x = np.hstack([load, load * slope.to_numpy()[:, None]])
    return Case(y.to_numpy(), x, [RandomTerm(line(slope))], frame["unit"].to_numpy(), contrasts)


CASES: dict[str, Callable[[], Case]] = {
    "sleepstudy": sleepstudy,
    "sleepstudy ML": lambda: sleepstudy(reml=False),
    "sleepstudy uncorrelated": lambda: sleepstudy("uncorrelated"),
    "sleepstudy random intercept": lambda: sleepstudy("intercept"),
    "sleepstudy unbalanced": lambda: sleepstudy(data="sleepstudy_unbalanced"),
    "sleepstudy 6 units": six_units,
    "orthodont": orthodont,
    "orange": orange,
    "orange slope only": lambda: orange(slope_only=True),
    "rail": lambda: one_way("rail", "travel", "Rail"),
    "dyestuff": lambda: one_way("dyestuff", "Yield", "Batch"),
    "dyestuff2": lambda: one_way("dyestuff2", "Yield", "Batch"),
    "pastes": pastes,
    "beets": beets,
    "shoes": shoes,
    "laser through origin": lambda: laser(through_origin=True),
    "laser line": lambda: laser(through_origin=False),
    "tob216b": tob216b,
    "metalwear log-log": lambda: metalwear(log=True),
    "metalwear linear": lambda: metalwear(log=False),
}


def fitted(case: Case) -> mixed_reml.MixedFit:
    return mixed_reml.fit_cross_products(cross_products(case.y, case.x, case.terms, case.group), case.reml)


@pytest.mark.parametrize("name", CASES)
def test_fit_is_that_of_lme4(name):
    expected, fit = reference(name), fitted(CASES[name]())
    assert fit.converged
    assert fit.log_likelihood == pytest.approx(expected["log likelihood"], rel=1e-6)
    assert fit.residual_variance == pytest.approx(expected["residual variance"], rel=1e-5)
    assert fit.singular == bool(expected["singular"])
    covariances = [
        matrix[i, j]
        for matrix in fit.random_covariances.values()
        for i in range(len(matrix))
        for j in range(i + 1)
    ]
    theirs = [value for quantity, value in expected.items() if quantity.startswith("covariance")]
    assert covariances == pytest.approx(theirs, rel=1e-5)
    numbers = range(1, len(fit.coefficients) + 1)
    assert fit.coefficients == pytest.approx([expected[f"coefficient {i}"] for i in numbers], rel=1e-6)
    std_errors = np.sqrt(np.diag(fit.covariance))
    assert std_errors == pytest.approx([expected[f"std error {i}"] for i in numbers], rel=1e-6)


@pytest.mark.parametrize("name", CASES)
def test_contrasts_are_those_of_lmertest_and_pbkrtest(name):
    # "metalwear linear" and "orange" are singular fits, in which the two kinds of degrees of freedom part (15.69 and 9,
    # 4.03 and 4): Satterthwaite takes the perfect correlation for known. Both are compared with the software all the same.
    expected, case = reference(name), CASES[name]()
    found = mixed_df.estimate_contrasts(fitted(case), list(case.contrasts.values()))
    kinds = DIGITS if case.reml else ["estimate", "std_error", "df_satterthwaite"]
    for kind in kinds:
        theirs = [expected[f"{contrast} {kind}"] for contrast in case.contrasts]
        assert getattr(found, kind) == pytest.approx(theirs, rel=DIGITS[kind]), kind


def test_kenward_roger_is_not_defined_after_maximum_likelihood():
    case = CASES["sleepstudy ML"]()
    found = mixed_df.estimate_contrasts(fitted(case), list(case.contrasts.values()))
    assert np.isnan(found.std_error_kr).all()
    assert np.isnan(found.df_kr).all()


def test_singular_fits_part_satterthwaite_from_kenward_roger():
    case = CASES["metalwear linear"]()
    fit = fitted(case)
    assert fit.notes == ("term 1: the random effects are estimated as perfectly correlated",)
    found = mixed_df.estimate_contrasts(fit, case.contrasts["100 - 10"])
    # lmerTest 3.1-3, contest1D(fit, L, ddf = "Satterthwaite"); pbkrtest 0.5.2 gives 9, the 12 units less the 3 loads
    assert found.df_satterthwaite == pytest.approx([15.69], abs=5e-3)
    assert found.df_kr == pytest.approx([9.0], rel=1e-8)


def test_printed_values_of_the_lme4_article():
    fit = fitted(sleepstudy())
    # Bates, Maechler, Bolker and Walker (2015), J. Stat. Softw. 67(1), vignette "lmer": summary of fm1
    assert -2 * fit.log_likelihood == pytest.approx(1743.6, abs=0.05)
    covariance = fit.random_covariances["term 1"]
    assert np.diag(covariance) == pytest.approx([612.1, 35.1], abs=0.05)
    assert covariance[1, 0] / np.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(0.07, abs=0.005)
    assert fit.residual_variance == pytest.approx(654.9, abs=0.05)
    assert fit.coefficients == pytest.approx([251.4, 10.47], abs=0.05)


def test_balanced_trial_is_the_two_stage_t_interval():
    frame = read("sleepstudy")
    slopes = np.array(
        [np.polyfit(part["Days"], part["Reaction"], 1)[0] for _, part in frame.groupby("Subject")]
    )
    found = mixed_df.estimate_contrasts(fitted(sleepstudy()), [0, 1])
    # exact: mean and standard error of the 18 subjects' own slopes, 17 degrees of freedom
    assert found.estimate == pytest.approx(slopes.mean(), rel=1e-10)
    assert found.std_error == pytest.approx(slopes.std(ddof=1) / np.sqrt(18), rel=1e-8)
    assert found.df_satterthwaite == pytest.approx(17.0, rel=1e-7)
    assert found.df_kr == pytest.approx(17.0, rel=1e-10)


def test_whole_plots_inside_blocks_are_the_same_fit():
    one, other = fitted(beets()), fitted(beets(whole_plots_inside_blocks=True))
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-12)
    found = mixed_df.estimate_contrasts(other, [0] * 7 + [1])
    # pbkrtest 0.5.2, KRmodcomp on the model without harvest: F 15.21 on 1 and 2.00 degrees of freedom
    assert (found.estimate / found.std_error_kr) ** 2 == pytest.approx(15.21, abs=5e-3)
    assert found.df_kr == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize("factor", [1e-3, 1e-2, 1e2, 1e3, 1e4])
@pytest.mark.parametrize(
    "name", ["sleepstudy", "sleepstudy 6 units", "laser line", "orange", "metalwear linear"]
)
def test_units_of_the_columns_do_not_matter(name, factor):
    case = CASES[name]()
    ones = (case.x == 0.0) | (case.x == 1.0)
    stretch = np.where(ones.all(axis=0), 1.0, factor)
    z = np.asarray(case.terms[0].columns)
    scaled = [RandomTerm(np.column_stack([z[:, 0], z[:, 1] * factor]))]
    plain = fitted(case)
    other = fitted(case._replace(y=case.y * 100.0, x=case.x * stretch, terms=scaled))
    assert other.coefficients == pytest.approx(plain.coefficients * 100.0 / stretch, rel=1e-9)
    assert np.diag(other.covariance) == pytest.approx(
        np.diag(plain.covariance) * (100.0 / stretch) ** 2, rel=1e-8
    )
    assert other.singular == plain.singular
    weights = np.eye(len(stretch))
    one, two = mixed_df.estimate_contrasts(plain, weights), mixed_df.estimate_contrasts(other, weights)
    assert two.df_satterthwaite == pytest.approx(one.df_satterthwaite, rel=1e-6)
    assert two.df_kr == pytest.approx(one.df_kr, rel=1e-7)


# ---------------------------------------------------------------- the wear model
def wear_of_metal() -> mixed.MixedWear:
    frame = read("metalwear").query("cycles >= 50")
    own = {
        c.TRUCK_UNIT: "unit",
        c.SET_ID: "unit",
        c.SEGMENT: "unit",
        c.EDGE_TYPE: "grams",
        c.MILES_MI: "cycles",
    }
    named = frame.assign(**{name: frame[column] for name, column in own.items()})
    return mixed.fit_mixed_wear(named.assign(**{c.HEIGHT_IN: 100 - frame["microns"], c.STATION: 1}))


WEAR = {"wear metalwear": wear_of_metal, "wear invented": lambda: mixed.fit_mixed_wear(read("wear_invented"))}
N_SLOPES = {"wear metalwear": 3, "wear invented": 9}


# microns ~ 0 + unit + x10 + x50 + x100 + (0 + x10 | unit) + (0 + x50 | unit) + (0 + x100 | unit)
# wear ~ 0 + segment + type:station:x + (0 + x_type | truck_unit), each type + (0 + x_carbide | truck_unit:set_id)
@pytest.mark.parametrize("name", WEAR)
def test_wear_rates_are_those_of_a_model_with_an_intercept_for_each_segment(name):
    expected, result = reference(name), WEAR[name]()
    rates = result.table.set_index("edge_type").rename(index=str)
    gaps = result.differences.set_index(result.differences["edge_type"] + " - " + result.reference)
    names = {quantity.rsplit(" ", 1)[0] for quantity in expected if quantity.endswith("df_kr")}
    assert names == {*rates.index, *gaps.index}
    for contrast in names:
        row = (gaps if " - " in contrast else rates).loc[contrast]
        for kind, digits in DIGITS.items():
            assert row[kind] == pytest.approx(expected[f"{contrast} {kind}"], rel=digits), (contrast, kind)


@pytest.mark.parametrize("name", WEAR)
def test_wear_model_has_the_likelihood_and_variances_of_lme4(name):
    expected, result = reference(name), WEAR[name]()
    frame = read("wear_invented") if name == "wear invented" else read("metalwear").query("cycles >= 50")
    sizes = frame.groupby("segment" if name == "wear invented" else "unit").size()
    # by hand: the intercepts, swept out here, add log n for each segment to the restricted deviance; miles in thousands
    # take 2 log 1000 off for each fixed slope
    shift = np.log(sizes).sum() / 2 - N_SLOPES[name] * np.log(1000.0)
    assert result.fit.log_likelihood == pytest.approx(expected["log likelihood"] + shift, rel=1e-6)
    assert result.fit.residual_variance == pytest.approx(expected["residual variance"], rel=1e-5)
    ours = sorted(1e6 * matrix[0, 0] for matrix in result.fit.random_covariances.values())
    theirs = sorted(value for quantity, value in expected.items() if quantity.startswith("covariance"))
    assert ours == pytest.approx(theirs, rel=1e-5, abs=1e-10)
