"""How often the intervals of a saving in salt, passes or hours hold the truth, over kinds of season. Run it as::

    python tests/benchmarks/material_coverage.py [trials]

Every season has 15 storms; shifts of one truck scatter by 12 % (in logarithms) unless said, and the edge type saves 8 %.
Each line: the share of the seasons whose 95 % interval holds the saving; that share among the seasons whose trucks came out
alike, and how many those were; the share of the way that is not the headline of the comparison (one model of all shifts where
each truck carries one edge type, truck averages where trucks change); with the shift as the unit (ordinary least squares with
storms, what general software gives without a random truck); how often a difference was shown; and the median length of the
interval in points. With three edge types the figures are those of the last.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.special import stdtrit

sys.path.insert(0, str(Path(__file__).parents[1]))

from clearing_trials import draw

from trialkit.stats.blocked import fit_blocked
from trialkit.stats.blocked_sums import blocked_sums
from trialkit.stats.two_stage import fit_differences, fit_two_stage

SAVING = np.log(0.92)
SEED = 20310114
UNEQUAL = (0.8, 0.1, 0.1, 0.6, 0.3)


@dataclass(frozen=True)
class Kind:
    """One kind of season; options are those of `clearing_trials.draw`."""

    trucks: list[list[int]]
    options: dict = field(default_factory=dict)


def separate(*n_trucks: int) -> list[list[int]]:
    """Trucks with one edge type each: how many carry the reference, the next type, and so on."""
    return [[kind] for kind, n in enumerate(n_trucks) for _ in range(n)]


def rotated(n: int) -> list[list[int]]:
    """Trucks that carry both edge types, half of them in the other order."""
    return [[k % 2, 1 - k % 2] for k in range(n)]


def mixed(n_rotated: int, n_each: int) -> list[list[int]]:
    """Some trucks that carry both, and as many with each."""
    return rotated(n_rotated) + separate(n_each, n_each)


KINDS = {
    "balanced, 3 trucks per type": Kind(separate(3, 3)),
    "balanced, 4 trucks per type": Kind(separate(4, 4)),
    "balanced, 6 trucks per type": Kind(separate(6, 6)),
    "trucks spread by 30 %, 3 per type": Kind(separate(3, 3), {"truck_sd": 0.3}),
    "trucks spread by 30 %, 6 per type": Kind(separate(6, 6), {"truck_sd": 0.3}),
    "trucks spread by 3 %, 4 per type": Kind(separate(4, 4), {"truck_sd": 0.03}),
    "trucks alike, 3 per type": Kind(separate(3, 3), {"truck_sd": 0.0}),
    "trucks alike, 4 per type": Kind(separate(4, 4), {"truck_sd": 0.0}),
    "trucks alike, 6 per type": Kind(separate(6, 6), {"truck_sd": 0.0}),
    "40 % of truck-storms missing, 3 per type": Kind(separate(3, 3), {"missing": 0.4}),
    "40 % of truck-storms missing, 4 per type": Kind(separate(4, 4), {"missing": 0.4}),
    "40 % missing, trucks alike, 4 per type": Kind(separate(4, 4), {"missing": 0.4, "truck_sd": 0.0}),
    "10 to 80 % missing, 3 per type": Kind(separate(3, 3), {"missing": UNEQUAL}),
    "10 to 80 % missing, 4 per type": Kind(separate(4, 4), {"missing": UNEQUAL}),
    "10 to 80 % missing, trucks alike, 4 per type": Kind(
        separate(4, 4), {"missing": UNEQUAL, "truck_sd": 0.0}
    ),
    "6 trucks of the reference, 3 of the other": Kind(separate(6, 3)),
    "3 of the reference, 6 of the other, 30 % missing": Kind(separate(3, 6), {"missing": 0.3}),
    "2 trucks per type": Kind(separate(2, 2)),
    "2 trucks against 6": Kind(separate(2, 6)),
    "3 storms, 4 per type": Kind(separate(4, 4), {"n_storms": 3}),
    "shifts scatter by 30 %, 4 per type": Kind(separate(4, 4), {"error_sd": 0.3}),
    "3 crews a storm, trucks vary by storm, 4 per type": Kind(separate(4, 4), {"crews": 3, "visit_sd": 0.1}),
    "the same, trucks alike": Kind(separate(4, 4), {"crews": 3, "visit_sd": 0.1, "truck_sd": 0.0}),
    "trucks of the other spread 3 times as much, 4 per type": Kind(
        separate(4, 4), {"truck_sd": (0.07, 0.21)}
    ),
    "the same, 3 of the reference and 6": Kind(separate(3, 6), {"truck_sd": (0.07, 0.21)}),
    "the same, 6 of the reference and 3": Kind(separate(6, 3), {"truck_sd": (0.07, 0.21)}),
    "the same, 8 of the reference and 2": Kind(separate(8, 2), {"truck_sd": (0.07, 0.21)}),
    "spread twice as much, 6 of the reference and 3": Kind(separate(6, 3), {"truck_sd": (0.07, 0.14)}),
    "three edge types, 4 trucks per type": Kind(separate(4, 4, 4)),
    "three edge types, trucks alike, 4 per type": Kind(separate(4, 4, 4), {"truck_sd": 0.0}),
    "three edge types, 6, 4 and 3 trucks": Kind(separate(6, 4, 3)),
    "three, the last spreads 3 times as much, 4 per type": Kind(
        separate(4, 4, 4), {"truck_sd": (0.07, 0.07, 0.21)}
    ),
    "three, the second spreads 3 times as much, 4 per type": Kind(
        separate(4, 4, 4), {"truck_sd": (0.07, 0.21, 0.07)}
    ),
    "three, the last spreads 3 times as much, 6, 4 and 3": Kind(
        separate(6, 4, 3), {"truck_sd": (0.07, 0.07, 0.21)}
    ),
    "all 4 trucks rotated": Kind(rotated(4)),
    "all 6 trucks rotated": Kind(rotated(6)),
    "all 6 rotated, savings spread by 5 %": Kind(rotated(6), {"carry_sd": 0.035}),
    "all 6 rotated, savings spread by 14 %, 30 % missing": Kind(
        rotated(6), {"carry_sd": 0.1, "missing": 0.3}
    ),
    "4 rotated and 2 of each type": Kind(mixed(4, 2), {"carry_sd": 0.035}),
    "3 rotated and 3 of each type, trucks spread by 30 %": Kind(
        mixed(3, 3), {"carry_sd": 0.035, "truck_sd": 0.3}
    ),
    "2 rotated and 3 of each type": Kind(mixed(2, 3), {"carry_sd": 0.035}),
}


def shift_as_unit(sums) -> tuple[float, float]:
    """Estimate and half-length by ordinary least squares with storms and edge type alone."""
    marks = sums.treatment_marks
    inner = marks.T @ sums.inner @ marks
    estimate = np.linalg.solve(inner, marks.T @ sums.inner @ sums.response)
    df = sums.n - sums.n_blocks - len(estimate)
    left = sums.scatter - estimate @ inner @ estimate
    return float(estimate[-1]), float(stdtrit(df, 0.975) * np.sqrt(left / df * np.linalg.inv(inner)[-1, -1]))


def last_of(found) -> tuple[float, float]:
    """Estimate and half-length of the last edge type."""
    return float(found.estimate[-1]), float(stdtrit(found.df[-1], 0.975) * found.std_error[-1])


def coverage(kind: Kind, trials: int, seed: int = SEED) -> dict[str, float]:
    """Shares of one kind of season."""
    rng = np.random.default_rng(seed)
    held, naive, others, alike, shown, length = [], [], [], [], [], []
    n_types = 1 + max(max(kinds) for kinds in kind.trucks)
    change = (0.0, *[SAVING] * (n_types - 1))
    for _ in range(trials):
        drawn = draw(rng, kind.trucks, change=change, **kind.options)
        if min(len(np.unique(drawn.truck[drawn.kind == k])) for k in range(n_types)) < 2:
            continue
        storm, truck = (np.unique(part, return_inverse=True)[1] for part in (drawn.storm, drawn.truck))
        sums = blocked_sums(drawn.rate, storm, truck, drawn.kind)
        found, model = fit_differences(sums), fit_blocked(sums)
        estimate, half = last_of(found)
        held.append(abs(estimate - SAVING) <= half)
        shown.append(abs(estimate) > half)
        length.append(100 * (np.exp(estimate + half) - np.exp(estimate - half)))
        alike.append(model.no_spread)
        estimate, half = last_of(model if found.units_first else fit_two_stage(sums))
        others.append(abs(estimate - SAVING) <= half)
        estimate, half = shift_as_unit(sums)
        naive.append(abs(estimate - SAVING) <= half)
    held_a, alike_a = np.array(held), np.array(alike)
    return {
        "held": held_a.mean(),
        "alike": alike_a.mean(),
        "held_if_alike": held_a[alike_a].mean() if alike_a.any() else np.nan,
        "other_way": float(np.mean(others)),
        "shift_as_unit": float(np.mean(naive)),
        "length": float(np.median(length)),
        "shown": float(np.mean(shown)),
        "trials": len(held),
    }


def main() -> None:
    """Print every kind of season as a row of the table in README.md."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for name, kind in KINDS.items():
        found = coverage(kind, trials)
        shares = [
            100 * found[key]
            for key in ("held", "held_if_alike", "alike", "other_way", "shift_as_unit", "shown")
        ]
        cells = ["–" if np.isnan(value) else f"{value:.1f}" for value in shares]
        sys.stdout.write(f"| {name} | {' | '.join(cells)} | {found['length']:.0f} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
