"""How often other usual ways of working out the same wear hold the truth, on the same invented trials.

`calibration.py --others 300` prints them beside the project's own. Each gets the readings of one trial at a time, as an
analyst would give them to it:

    two-stage             the project's headline: `wear.fit_wear_rates` and `comparison.compare_edge_types`
    mixed                 the project's cross-check: `mixed.fit_mixed_wear`, Satterthwaite's df, at most trucks less types
    statsmodels z         MixedLM, heights on miles by type, random intercept and slope of the truck, normal quantile
    clustered t           least squares on all readings, standard errors clustered by truck, t with clusters less one
    lmerTest              lmer(height ~ type * miles + (miles | truck)), Satterthwaite's df; where Rscript and lmerTest are

Miles count from the first reading of each set. The wear is the slope of the height, in in/1,000 mi; the difference is the
reference less the other type.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
from known_truth import Fleet
from scipy.special import stdtrit
from statsmodels.regression.linear_model import OLS
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit import columns as c
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.crosscheck import compare_with_mixed
from trialkit.edges.mixed import fit_mixed_wear
from trialkit.edges.wear import fit_wear_rates

R_SCRIPT = Path(__file__).parent / "r" / "other_methods.R"
QUANTITIES = ("rate_0", "rate_1", "difference")
WEIGHTS = {"rate_0": (1.0, 0.0), "rate_1": (0.0, 1.0), "difference": (1.0, -1.0)}


def other_coverage(fleet: Fleet, n_trials: int, seed: int) -> pd.DataFrame:
    """Share of the trials in which each method's 95 % interval holds the truth, and in how many it gave one.

    The trials are the first of those that `known_truth.coverage` draws with the same seed.

    Returns
    -------
    DataFrame
        A row for each method: `rate_0`, `rate_1`, `difference` (shares of the trials with an interval) and `given`.
    """
    readings = fleet.readings(np.random.default_rng(seed), n_trials)
    truth = {
        "rate_0": fleet.rates[0],
        "rate_1": fleet.rates[1],
        "difference": fleet.rates[0] - fleet.rates[1],
    }
    limits = {"two-stage": two_stage(readings), "mixed": one_by_one(readings, mixed)}
    limits["statsmodels z"] = one_by_one(readings, statsmodels_z)
    limits["clustered t"] = one_by_one(readings, clustered_t)
    if has_lmer():
        limits["lmerTest"] = lmer(readings)
    rows = []
    for method, frame in limits.items():
        given = frame["low"].notna() & frame["high"].notna()
        frame = frame[given].reset_index(drop=True)
        frame["truth"] = frame["quantity"].map(truth)
        held = frame["low"].le(frame["truth"]) & frame["truth"].le(frame["high"])
        shares = held.groupby(frame["quantity"]).mean()
        rows.append(
            {
                "method": method,
                **{name: shares.get(name, np.nan) for name in QUANTITIES},
                "given": given.mean(),
            }
        )
    return pd.DataFrame(rows)


def cross_check_differs(fleet: Fleet, n_trials: int, seed: int) -> tuple[float, float]:
    """Share of the rates of the reference, and of the other type, for which the cross-check says that two ways differ."""
    readings = fleet.readings(np.random.default_rng(seed), n_trials)
    rates = fit_wear_rates(readings)
    table = compare_with_mixed(readings, rates).table
    other = (table[c.EDGE_TYPE].astype(str) != str(rates.reference)).to_numpy()
    differs = (table[c.AGREE] == "no").to_numpy()
    return float(differs[~other].mean()), float(differs[other].mean())


def two_stage(readings: pd.DataFrame) -> pd.DataFrame:
    """Limits of the project's headline analysis."""
    rates = fit_wear_rates(readings)
    kind = rates.table[c.EDGE_TYPE].cat.codes
    parts = [rates.table[kind == code].assign(quantity=name) for code, name in ((0, "rate_0"), (1, "rate_1"))]
    parts.append(compare_edge_types(rates).differences.assign(quantity="difference"))
    table = pd.concat(parts)
    return table.rename(columns={c.CONF_LOW: "low", c.CONF_HIGH: "high"})[["quantity", "low", "high"]]


def one_by_one(readings: pd.DataFrame, method) -> pd.DataFrame:
    """Limits of a method that takes one trial at a time; missing where it fails."""
    parts = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for _, trial in readings.groupby(c.PLOW_POSITION, observed=True):
            try:
                found = method(trial)
            except (np.linalg.LinAlgError, ValueError, FloatingPointError):
                found = dict.fromkeys(QUANTITIES, (np.nan, np.nan))
            parts.append(pd.DataFrame([(name, *found[name]) for name in QUANTITIES]))
    return pd.concat(parts).set_axis(["quantity", "low", "high"], axis=1)


def mixed(trial: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """The project's cross-check; its differences are the other type less the reference."""
    found = fit_mixed_wear(trial)
    ends = [c.CONF_LOW, c.CONF_HIGH]
    rates = found.table[ends].to_numpy(float)
    low, high = found.differences[ends].to_numpy(float)[0] if len(rates) else (np.nan, np.nan)
    rates = rates if len(rates) else np.full((2, 2), np.nan)
    return {"rate_0": tuple(rates[0]), "rate_1": tuple(rates[1]), "difference": (-high, -low)}


def miles_of_set(readings: pd.DataFrame) -> pd.Series:
    """Miles since the first reading of the set, in thousands."""
    first = readings.groupby(c.SET_ID, observed=True)[c.MILES_MI].transform("min")
    return (readings[c.MILES_MI] - first) / 1000.0


def _design(trial: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Heights, thousands of miles, columns (an intercept and a wear rate for each type), and the trucks."""
    second = (trial[c.EDGE_TYPE].cat.codes == 1).to_numpy(float)
    miles = miles_of_set(trial).to_numpy(float)
    columns = np.column_stack([1 - second, second, -(1 - second) * miles, -second * miles])
    return trial[c.HEIGHT_IN].to_numpy(float), miles, columns, trial[c.TRUCK_ID].cat.codes.to_numpy()


def _limits(beta: np.ndarray, covariance: np.ndarray, quantile: float) -> dict[str, tuple[float, float]]:
    found = {}
    for name, weights in WEIGHTS.items():
        w = np.array(weights)
        half = quantile * np.sqrt(w @ covariance @ w)
        found[name] = (w @ beta - half, w @ beta + half)
    return found


def statsmodels_z(trial: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """statsmodels MixedLM by restricted maximum likelihood with its normal intervals."""
    height, miles, columns, truck = _design(trial)
    fit = MixedLM(height, columns, groups=truck, exog_re=np.column_stack([np.ones(len(miles)), miles])).fit()
    return _limits(fit.fe_params[2:4], fit.cov_params()[2:4, 2:4], 1.959964)


def clustered_t(trial: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """Least squares with standard errors clustered by truck, t with the clusters less one."""
    height, _, columns, truck = _design(trial)
    fit = OLS(height, columns).fit(cov_type="cluster", cov_kwds={"groups": truck}, use_t=True)
    quantile = float(stdtrit(len(np.unique(truck)) - 1, 0.975))
    return _limits(fit.params[2:4], fit.cov_params()[2:4, 2:4], quantile)


def has_lmer() -> bool:
    """Whether R with lmerTest is there."""
    if not shutil.which("Rscript"):
        return False
    asked = ["Rscript", "-e", 'q(status = !requireNamespace("lmerTest", quietly = TRUE))']
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


def lmer(readings: pd.DataFrame) -> pd.DataFrame:
    """lmerTest's limits, all trials in one call of R."""
    frame = pd.DataFrame(
        {
            "trial": readings[c.PLOW_POSITION].cat.codes,
            "type": readings[c.EDGE_TYPE].cat.codes,
            "truck": readings[c.TRUCK_ID].cat.codes,
            "miles": miles_of_set(readings),
            "height": readings[c.HEIGHT_IN],
        }
    )
    with tempfile.TemporaryDirectory() as folder:
        given, found = Path(folder) / "readings.csv", Path(folder) / "limits.csv"
        frame.to_csv(given, index=False)
        subprocess.run(["Rscript", str(R_SCRIPT), str(given), str(found)], check=True, capture_output=True)
        return pd.read_csv(found)[["quantity", "low", "high"]]
