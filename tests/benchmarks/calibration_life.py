"""How often the stated intervals of lives hold the truth, over many made-up trials with known rates.

    python tests/benchmarks/calibration_life.py [trials per cell] [cell ...]

Prints a table, and exits with 1 if a coverage lies outside 93 to 98 % by more than three of its own standard errors.
Cells with stations that are alike, or with wear that is hardly measurable, may lie above: the bounds make them so.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges.life import project_life
from trialkit.edges.life_comparison import compare_lives
from trialkit.edges.wear import fit_wear_rates

SEED = 20310114
TYPES = ("plain_steel", "carbide_insert")
LOW, HIGH = 0.93, 0.98


@dataclass(frozen=True)
class Cell:
    """One kind of trial. Rates in in/1,000 mi, miles in mi, readings in in."""

    name: str
    trucks: tuple[int, int] = (4, 4)
    stations: int = 3
    rate: tuple[float, float] = (1.5, 0.3)
    depth: tuple[float, float] = (3.0, 0.8)
    spread: float = 0.20
    station_spread: float = 0.15
    profile: tuple[float, ...] = ()
    miles: tuple[float, float] = (900.0, 1400.0)
    readings: int = 8
    error_in: float = 0.03
    step_in: float = 1 / 16
    sets: int = 1
    set_spread: float = 0.0
    replaced_as: str = "set"
    may_exceed: bool = False


CELLS = (
    Cell("usual, 3 trucks", (3, 3)),
    Cell("usual, 4 trucks"),
    Cell("usual, 8 trucks", (8, 8)),
    Cell("6 v 3 trucks", (6, 3)),
    Cell("5 stations", (5, 5), stations=5),
    Cell("stations alike", (5, 5), station_spread=0.0),
    Cell("stations very unlike", (5, 5), station_spread=0.30),
    Cell(
        "one end wears faster", (5, 5), stations=5, station_spread=0.05, profile=(0.3, 0.0, -0.1, -0.1, -0.1)
    ),
    Cell("slow type hardly wears", (5, 5), rate=(1.5, 0.15), may_exceed=True),
    Cell("two sets on each truck", (4, 4), sets=2, set_spread=0.10),
    Cell("by section", (5, 5), stations=5, replaced_as="section"),
    Cell("trucks very alike, 8", (8, 8), spread=0.05),
)


def made_up_trial(cell: Cell, rng: np.random.Generator) -> pd.DataFrame:
    """The readings of one trial, as `lineage.wear_segments` would give them."""
    parts = []
    for kind, rate, n, miles in zip(TYPES, cell.rate, cell.trucks, cell.miles, strict=True):
        shape = (n, cell.sets, cell.stations, cell.readings)
        true = made_up_rates(cell, rate, (n, cell.sets), rng)
        x = np.concatenate([[0.0], np.linspace(1 / (cell.readings - 1), 1, cell.readings - 1)]) * miles
        height = 6.0 - true[..., None] * x / 1000.0 + cell.error_in * rng.standard_normal(shape)
        if cell.step_in:
            height = np.round(height / cell.step_in) * cell.step_in
        truck, set_, station, reading = (index.ravel() for index in np.indices(shape))
        name = np.char.add(f"{kind} truck ", truck.astype(str))
        set_name = np.char.add(np.char.add(name, " set "), set_.astype(str))
        parts.append(
            pd.DataFrame(
                {
                    c.EDGE_TYPE: kind,
                    c.PLOW_POSITION: "front",
                    c.TRUCK_ID: name,
                    c.TRUCK_UNIT: np.char.add(name, ", front"),
                    c.SET_ID: set_name,
                    c.STATION: station + 1,
                    c.SEGMENT: np.char.add(np.char.add(set_name, "/"), station.astype(str)),
                    c.HEIGHT_IN: height.ravel(),
                    c.MILES_MI: x[reading] + set_ * miles,
                    c.RESOLUTION_IN: cell.step_in or np.nan,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def made_up_rates(cell: Cell, rate: float, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """True rate of each station of each set of each truck. [in/1,000 mi]"""
    n, sets = shape
    truck = 1 + cell.spread * rng.standard_normal((n, 1, 1))
    set_ = 1 + cell.set_spread * rng.standard_normal((n, sets, 1))
    station = 1 + cell.station_spread * rng.standard_normal((n, sets, cell.stations))
    station = station + (np.array(cell.profile) if cell.profile else 0.0)
    return rate * truck * set_ * station


def controlling(cell: Cell, rate: float, size: int, rng: np.random.Generator) -> np.ndarray:
    """True controlling rate of so many sets, each on a truck of its own. [in/1,000 mi]"""
    rates = made_up_rates(cell, rate, (size, 1), rng)[:, 0, :]
    return rates.max(axis=1) if cell.replaced_as == "set" else rates[:, 0]


def coverage(cell: Cell, trials: int, seed: int = SEED) -> dict[str, float]:
    """Share of trials whose interval holds the truth, for both types and their ratio."""
    rng = np.random.default_rng([seed, *cell.name.encode()])
    truth = [
        depth * 1000 / controlling(cell, rate, 400_000, rng).mean()
        for rate, depth in zip(cell.rate, cell.depth, strict=True)
    ]
    next_one = [
        depth * 1000 / controlling(cell, rate, trials, rng)
        for rate, depth in zip(cell.rate, cell.depth, strict=True)
    ]
    edge_types = pd.DataFrame(
        {c.EDGE_TYPE: TYPES, c.USABLE_DEPTH_IN: cell.depth, c.REPLACED_AS: cell.replaced_as}
    )
    hits: dict[str, list[bool]] = {}
    bias: list[list[float]] = [[], []]
    for trial in range(trials):
        readings = made_up_trial(cell, rng)
        lives = project_life(fit_wear_rates(readings), readings, edge_types)
        for i, row in enumerate(lives.table.to_dict("records")):
            hits.setdefault(f"life {i + 1}", []).append(_holds(row[c.CONF_LOW], row[c.CONF_HIGH], truth[i]))
            hits.setdefault(f"next {i + 1}", []).append(
                _holds(row[c.PRED_LOW], row[c.PRED_HIGH], next_one[i][trial])
            )
            bias[i].append(truth[i] / row[c.ESTIMATE])
        ratio = compare_lives(lives).table.iloc[0]
        hits.setdefault("ratio", []).append(
            _holds(ratio[c.CONF_LOW], ratio[c.CONF_HIGH], truth[1] / truth[0])
        )
    found = {name: float(np.mean(values)) for name, values in hits.items()}
    return found | {f"rate bias {i + 1}": float(np.nanmean(bias[i])) - 1 for i in range(2)}


def _holds(low: float, high: float, truth: float) -> bool:
    """Whether the truth lies between the ends; a missing upper end lets everything above through."""
    return bool(low <= truth and (truth <= high or math.isnan(high)))


def main(arguments: list[str]) -> int:
    trials = int(arguments[0]) if arguments else 1000
    chosen = [cell for cell in CELLS if not arguments[1:] or any(word in cell.name for word in arguments[1:])]
    names = ["life 1", "life 2", "next 1", "next 2", "ratio"]
    print(f"{'cell':26}" + "".join(f"{name:>9}" for name in names) + "  rate bias 1, 2")
    failed = False
    for cell in chosen:
        found = coverage(cell, trials)
        slack = 3 * math.sqrt(0.95 * 0.05 / trials)
        flags = []
        for name in names:
            wrong = found[name] < LOW - slack or (found[name] > HIGH + slack and not cell.may_exceed)
            failed |= wrong
            flags.append(f"{100 * found[name]:7.1f}{'!' if wrong else ' '} ")
        print(
            f"{cell.name:26}"
            + "".join(flags)
            + f"  {found['rate bias 1']:+.3f}, {found['rate bias 2']:+.3f}",
            flush=True,
        )
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
