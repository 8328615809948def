"""How long the mixed model takes, beside lme4 (R) and statsmodels on the same data in the same run.

Run it with the environment's Python, on a quiet machine::

    python tests/benchmarks/mixed_speed.py          # 360 and 120,000 readings for all, up to 10,000,000 for ours
    python tests/benchmarks/mixed_speed.py --full   # lme4 and statsmodels on 1,000,000 readings too, some minutes

Every figure is processor time of the fit alone, the least of several runs. Ours is the whole of `fit_mixed_wear`, from
the frame to the tables with standard errors and degrees of freedom. lme4 and statsmodels get the readings centered
within segments, so that they have no intercepts to fit; lme4 has the same slope variance for each edge type,
statsmodels one for all, the only one it fits without a detour. The limits are the project's own.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges import mixed, mixed_bootstrap

RATES = (1.5, 0.4, 0.15)
N_STATIONS = 3
N_REFITS = 1000
REFITS_IN_R = 200
"""Refits of bootMer that are timed; the figure is stretched to `N_REFITS`."""

R_SCRIPT = """
suppressPackageStartupMessages(library(lme4))
args <- commandArgs(TRUE)
data <- read.csv(args[1]); runs <- as.integer(args[2]); refits <- as.integer(args[3])
for (type in unique(data$type)) data[[type]] <- ifelse(data$type == type, data$x, 0)
data$slope <- factor(paste(data$type, data$station)); data$truck <- factor(data$truck)
terms <- paste(sprintf("(0 + %s | truck)", unique(data$type)), collapse = " + ")
formula <- as.formula(paste("wear ~ 0 + x:slope +", terms))
cpu <- function(code) { t <- system.time(code); t[["user.self"]] + t[["sys.self"]] }
fit <- lmer(formula, data)
cat(min(replicate(runs, cpu(lmer(formula, data)))), "\\n")
cat(if (refits > 0) cpu(bootMer(fit, fixef, nsim = refits, seed = 1)) else NA, "\\n")
cat(tapply(fixef(fit), sub("x:slope(.*) .*", "\\\\1", names(fixef(fit))), mean)[unique(data$type)], "\\n")
"""


def invented_readings(n: int, n_trucks: int) -> pd.DataFrame:
    """A trial of so many readings, the same number for each of three stations of one set on each truck."""
    rng = np.random.default_rng(2031)
    segment = np.repeat(np.arange(n_trucks * N_STATIONS), n // (n_trucks * N_STATIONS))
    truck, station = segment // N_STATIONS, segment % N_STATIONS
    edge_type = truck % len(RATES)
    rate = np.array(RATES)[np.arange(n_trucks) % len(RATES)] * (1 + 0.2 * rng.standard_normal(n_trucks))
    miles = rng.uniform(0.0, 1500.0, len(segment))
    height = 6.0 - rate[truck] * miles / 1000.0 + 0.03 * rng.standard_normal(len(segment))

    def labeled(codes: np.ndarray, letter: str) -> pd.Categorical:
        return pd.Categorical.from_codes(codes, [f"{letter}{i}" for i in range(codes.max() + 1)])

    return pd.DataFrame(
        {
            c.TRUCK_UNIT: labeled(truck, "T"),
            c.SET_ID: labeled(truck, "S"),
            c.SEGMENT: labeled(segment, "G"),
            c.STATION: labeled(station, "P"),
            c.EDGE_TYPE: labeled(edge_type, "e"),
            c.MILES_MI: miles,
            c.HEIGHT_IN: height,
        }
    )


def cpu_s(work: Callable[[], object], runs: int) -> float:
    """Least processor time of so many runs after a first one [s]."""
    work()
    times = []
    for _ in range(runs):
        started = time.process_time()
        work()
        times.append(time.process_time() - started)
    return min(times)


def centered(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings as lme4 and statsmodels get them."""
    by_segment = readings.groupby(c.SEGMENT, observed=True)
    x = readings[c.MILES_MI] - by_segment[c.MILES_MI].transform("mean")
    wear = by_segment[c.HEIGHT_IN].transform("mean") - readings[c.HEIGHT_IN]
    return pd.DataFrame(
        {
            "truck": readings[c.TRUCK_UNIT],
            "station": readings[c.STATION],
            "type": readings[c.EDGE_TYPE],
            "x": x / 1000.0,
            "wear": wear,
        }
    )


def lme4_s(readings: pd.DataFrame, runs: int, refits: int) -> tuple[float, float]:
    """Time of lmer and of bootMer [s]."""
    with tempfile.TemporaryDirectory() as folder:
        data, script = Path(folder) / "data.csv", Path(folder) / "speed.R"
        centered(readings).to_csv(data, index=False)
        script.write_text(R_SCRIPT, encoding="utf-8")
        command = ["Rscript", str(script), str(data), str(runs), str(refits)]
        run = subprocess.run(command, capture_output=True, text=True)
    if run.returncode:
        sys.exit(f"{' '.join(command)} gave {run.returncode}:\n{run.stderr}")
    fit, bootstrap, rates = run.stdout.splitlines()
    ours = mixed.fit_mixed_wear(readings).table[c.ESTIMATE]
    if not np.allclose(
        np.array(rates.split(), float), ours, rtol=0.01
    ):  # its mean of stations is not weighted
        sys.exit(f"lme4 found the rates {rates}, ours are {ours.tolist()}: not the same model")
    return float(fit), float(bootstrap) if refits else np.nan


def has_lme4() -> bool:
    """Whether R and lme4 are there; says so when they are not."""
    if shutil.which("Rscript"):
        found = subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True).returncode == 0
        if found:
            return True
    print("SKIPPED: R with the package lme4 is not installed, so there is nothing to compare with it.")
    return False


def statsmodels_s(readings: pd.DataFrame, runs: int) -> float:
    """Time of MixedLM [s]."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    data = centered(readings)
    slopes = pd.get_dummies(data["type"].astype(str) + data["station"].astype(str), dtype=float)
    x = slopes.to_numpy() * data["x"].to_numpy()[:, None]

    def fit() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return MixedLM(
                data["wear"].to_numpy(), x, groups=data["truck"], exog_re=data["x"].to_numpy()
            ).fit()

    return cpu_s(fit, runs)


def one_pass_s(readings: pd.DataFrame) -> float:
    """Time of one numpy pass for the six sums of each segment [s]."""
    segment = readings[c.SEGMENT].cat.codes.to_numpy()
    x, y = readings[c.MILES_MI].to_numpy(), readings[c.HEIGHT_IN].to_numpy()

    def sums() -> None:
        np.bincount(segment)
        for weights in (x, y, x * x, x * y, y * y):
            np.bincount(segment, weights)

    return cpu_s(sums, 2)


def main() -> int:
    """Print the tables and return 1 if a limit is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="lme4 and statsmodels on 1,000,000 readings too")
    full = parser.parse_args().full
    compare = has_lme4()
    missed = []

    def check(kept: bool, what: str) -> str:
        if not kept:
            missed.append(what)
        return "" if kept else f"   over the limit: {what}"

    print(f"{'readings':>12}{'ours, ms':>12}{'lme4, ms':>12}{'statsmodels, ms':>18}")
    limits_s = {360: 0.008, 120_000: 0.06, 1_000_000: 0.12}
    for n, limit in limits_s.items():
        readings = invented_readings(n, n_trucks=12 if n == 360 else 40)
        ours = cpu_s(lambda frame=readings: mixed.fit_mixed_wear(frame), 20 if n == 360 else 5)
        line = f"{n:>12,}{1000 * ours:>12.1f}"
        says = check(ours <= limit, f"{n:,} readings in {1000 * limit:.0f} ms")
        if n < 1_000_000 or full:
            runs = 5 if n == 360 else 1
            theirs = lme4_s(readings, runs, 0)[0] if compare else np.nan
            line += f"{1000 * theirs:>12.0f}{1000 * statsmodels_s(readings, 3 if n == 360 else 1):>18.0f}"
            if compare:
                says += check(5 * ours <= theirs, f"5 times faster than lme4 on {n:,} readings")
        print(line + says)

    readings = invented_readings(10_000_000, n_trucks=40)
    ours, one_pass = cpu_s(lambda: mixed.fit_mixed_wear(readings), 1), one_pass_s(readings)
    says = check(ours <= 6 * one_pass, "10,000,000 readings in 6 passes")
    print(
        f"{10_000_000:>12,}{1000 * ours:>12.1f}   {ours / one_pass:.1f} times a numpy pass for the sums{says}"
    )

    readings = invented_readings(360, n_trucks=12)
    result = mixed.fit_mixed_wear(readings)
    ours = cpu_s(lambda: mixed_bootstrap.bootstrap_mixed_wear(result, N_REFITS, seed=1), 2)
    print(f"\n{N_REFITS:,} parametric bootstrap refits of 360 readings: ours {ours:.2f} s", end="")
    if compare:
        theirs = lme4_s(readings, 1, REFITS_IN_R)[1] * N_REFITS / REFITS_IN_R
        print(f", bootMer {theirs:.1f} s (from {REFITS_IN_R}), {theirs / ours:.0f} times as long", end="")
        print(check(8 * ours <= theirs, "8 times faster than bootMer"), end="")
    print()
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
