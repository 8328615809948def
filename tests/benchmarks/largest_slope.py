"""The luck of the largest slope: how far off five ways of finding the rate of the thinnest spot are.

    python tests/benchmarks/largest_slope.py [trials per cell]

For each way: the range, over all cells, of the bias of the mean rate and of the coverage of its 95 % interval. The
docstring of `trialkit.edges.controlling` quotes these numbers.
"""

from __future__ import annotations

import itertools
import sys

import numpy as np
from scipy.special import stdtrit

from trialkit.edges.controlling import correct_largest, expected_largest
from trialkit.stats.inference import mean_interval

SEED = 20310114
TRUCKS = (3, 6, 12)
STATIONS = (3, 5)
TRUCK_SPREAD = (0.05, 0.10, 0.20)
STATION_SPREAD_AND_ERROR = (
    (0.0, 0.05), (0.0, 0.2), (0.05, 0.1), (0.05, 0.25), (0.15, 0.05), (0.15, 0.15), (0.15, 0.3), (0.3, 0.1),
)  # fmt: skip
PROFILE_SPREAD_AND_ERROR = ((0.0, 0.15), (0.1, 0.15))
"""One end 30 % above the mean of the stations, the others alike."""
WAYS = (
    "largest as measured",
    "fastest on average",
    "shrunk by reliability",
    "shrunk by its root",
    "used here",
)


def ranges(trials: int) -> dict[str, np.ndarray]:
    """Bias and coverage of each way, one row per cell."""
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in WAYS}
    spreads = [(False, *pair) for pair in STATION_SPREAD_AND_ERROR] + [
        (True, *pair) for pair in PROFILE_SPREAD_AND_ERROR
    ]
    rng = np.random.default_rng(SEED)
    for n, stations, truck, (profile, spread, error) in itertools.product(
        TRUCKS, STATIONS, TRUCK_SPREAD, spreads
    ):
        middle = np.full(stations, 1.0)
        if profile:
            middle += np.array([0.3, *[-0.3 / (stations - 1)] * (stations - 1)])
        truth = (middle + spread * rng.standard_normal((400_000, stations))).max(axis=1).mean()
        true = (1 + truck * rng.standard_normal((trials, n, 1))) * (
            middle + spread * rng.standard_normal((trials, n, stations))
        )
        seen = true + error * rng.standard_normal(true.shape)
        for way, interval in zip(WAYS, intervals(seen, error), strict=True):
            center, low, high = interval
            found[way].append((center.mean() / truth - 1, float(np.mean((low <= truth) & (truth <= high)))))
    return {way: np.array(rows) for way, rows in found.items()}


def intervals(seen: np.ndarray, error: float) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Mean rate with its ends, in each of the five ways; `seen` is trials by trucks by stations."""
    mean = seen.mean(axis=2, keepdims=True)
    away = seen - mean
    reliability = np.clip(1 - error**2 / (away**2).sum(axis=(1, 2)) * (away[0].size - seen.shape[1]), 0, 1)[
        :, None, None
    ]
    fastest = seen.mean(axis=1).argmax(axis=1)
    picked = np.take_along_axis(seen, fastest[:, None, None], axis=2)[..., 0]
    plain = [
        seen.max(axis=2),
        picked,
        *((mean + reliability**power * away).max(axis=2) for power in (1.0, 0.5)),
    ]
    largest = seen.max(axis=2)
    noisier = expected_largest(seen.reshape(-1, seen.shape[2]), np.full((largest.size, seen.shape[2]), error))
    noisier = noisier.reshape(largest.shape)
    used = [
        mean_interval(correct_largest(*one).sample)
        for one in zip(mean[..., 0], largest, noisier, strict=True)
    ]
    ends = tuple(
        np.array([getattr(one, name) for one in used]) for name in ("estimate", "conf_low", "conf_high")
    )
    return [*(_t_interval(values) for values in plain), ends]


def _t_interval(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    n, center = values.shape[1], values.mean(axis=1)
    half = stdtrit(n - 1, 0.975) * values.std(axis=1, ddof=1) / np.sqrt(n)
    return center, center - half, center + half


def main(arguments: list[str]) -> int:
    found = ranges(int(arguments[0]) if arguments else 1000)
    print(f"{len(found[WAYS[0]])} cells")
    for way, rows in found.items():
        bias, coverage = rows[:, 0], rows[:, 1]
        print(
            f"{way:24} bias {100 * bias.min():+5.1f} to {100 * bias.max():+5.1f} %   "
            f"coverage {100 * coverage.min():5.1f} to {100 * coverage.max():5.1f} %, mean {100 * coverage.mean():.1f} %"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
