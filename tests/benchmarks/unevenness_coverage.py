"""How often the intervals of uneven wear hold the truth, over kinds of trial. Run it as::

    python tests/benchmarks/unevenness_coverage.py [trials]

Each line: trucks per type, profile, spread of single stations, reading error; then for the fast and the slow type the bias
of the range's growth (as read, and with reading error taken off), and the coverage of range, tilt and bow.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from known_truth import REFERENCE, Fleet

from trialkit import columns as c
from trialkit.edges import unevenness as un
from trialkit.edges.wear import fit_wear_rates

PROFILES = ((1.03, 0.96, 0.91, 0.98, 1.12), (1.0, 1.0, 1.0), (1.2, 1.1, 1.0, 0.9, 0.8))


def share(rows, truth: float) -> float:
    """Share of the intervals that hold the truth."""
    return float(((rows[c.CONF_LOW] <= truth) & (truth <= rows[c.CONF_HIGH])).mean())


def line(fleet: Fleet, trials: int) -> str:
    """One kind of trial."""
    profile = np.array(fleet.profile)
    own = profile * (1 + fleet.station_cv * np.random.default_rng(1).standard_normal((200_000, len(profile))))
    spread = float((own.max(axis=1) - own.min(axis=1)).mean())
    frame = fleet.readings(np.random.default_rng(5), trials)
    found = un.measure_unevenness(fit_wear_rates(frame), frame)
    x = np.linspace(-1, 1, len(profile))
    shapes = {un.TILT: 2 * np.polyfit(x, profile, 1)[0], un.BOW: np.polyfit(x, profile, 2)[0]}
    said = []
    for kind, rate in enumerate(fleet.rates):
        truth = rate * spread
        rows, terms = (
            table[(table[c.EDGE_TYPE] == REFERENCE) == (kind == 0)] for table in (found.table, found.shapes)
        )
        bias = [f"{100 * (rows[name].mean() - truth) / rate:+5.1f} %" for name in (un.MEASURED, c.ESTIMATE)]
        held = [
            share(rows, truth),
            *(share(terms[terms[c.TERM] == term], rate * known) for term, known in shapes.items()),
        ]
        said.append(" ".join([*bias, *(f"{value:.3f}" for value in held)]))
    head = f"{fleet.trucks} {fleet.profile} cv {fleet.station_cv:g} error {fleet.error_in:g}"
    return f"{head:66}" + "   ".join(said)


def main() -> None:
    """Print every kind of trial."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for trucks, profile, cv, error in itertools.product(
        (3, 6, 12), PROFILES, (0.0, 0.05, 0.15), (0.01, 0.03)
    ):
        sys.stdout.write(
            line(Fleet((trucks, trucks), profile=profile, station_cv=cv, error_in=error), trials) + "\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
