"""How often the stated intervals of costs hold the truth, over many made-up trials with known costs.

    python tests/benchmarks/cost_coverage.py [trials per cell] [cell ...]

Trucks differ in how fast they use edges up, edges break at a constant rate, and changes take hours that vary. Prices and miles
are known. Prints the coverage of the cost per mile of both types, of their difference and of the saving in percent, and exits
with 1 if that of the difference lies outside 93 to 97.5 % by more than three of its own standard errors, unless the cell says
that it may lie above.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.money import cost_differences, draws, lines, prices
from trialkit.money.inputs import CostInputs, EdgeCosts, Use
from trialkit.money.season import PLAN_COLUMNS, SeasonMiles
from trialkit.money.work import BREAK, CHANGE, SECTION_CHANGE, Hours, Work
from trialkit.stats.inference import Pairing, Sample
from trialkit.table_parts import SECTION, SET

SEED = 20310115
REFERENCE, OTHER = "plain_steel", "carbide_insert"
LOW, HIGH = 0.93, 0.975
DRAWS = 3000


@dataclass(frozen=True)
class Cell:
    """One kind of trial. Uses in sets per 1,000 mi (sections at a place where `sections` is above 1), miles in mi."""

    name: str
    trucks: tuple[int, int] = (4, 4)
    use: tuple[float, float] = (1.6, 0.75)
    spread: tuple[float, float] = (0.2, 0.2)
    price: tuple[float, float] = (420.0, 765.0)
    breaks_per_1000_mi: tuple[float, float] = (0.05, 0.12)
    section_breaks_per_1000_mi: float = 0.0
    sections: float = 1.0
    truck_miles: float = 2000.0
    hours_spread: float = 0.15
    changes: int = 8
    shared: int = 0
    may_exceed: bool = False


CELLS = (
    Cell("3 trucks", (3, 3)),
    Cell("4 trucks"),
    Cell("6 trucks", (6, 6)),
    Cell("8 v 3 trucks", (8, 3)),
    Cell("2 v 6 trucks", (2, 6)),
    Cell("spread 35 %", (5, 5), spread=(0.35, 0.35)),
    Cell("hardly any spread", (4, 4), spread=(0.05, 0.05), may_exceed=True),
    Cell("no breakage", breaks_per_1000_mi=(0.0, 0.0)),
    Cell("often broken", (5, 5), breaks_per_1000_mi=(0.1, 0.4)),
    Cell("dear and slow", use=(1.6, 0.25), price=(420.0, 1900.0), breaks_per_1000_mi=(0.05, 0.05)),
    Cell(
        "sections on their own", use=(1.6, 0.15), price=(420.0, 2480.0), sections=6.0, breaks_per_1000_mi=(0.05, 0.0),
        section_breaks_per_1000_mi=0.1, may_exceed=True,
    ),
    Cell("all trucks carried both", (4, 4), shared=4),
    Cell("half carried both", (6, 6), shared=3),
)  # fmt: skip


def amounts() -> dict[str, prices.Amount]:
    """Cost items with the amounts of a middling town; common practice, no source."""
    given = {
        prices.LABOUR_REGULAR: (60.0, "hour"), prices.LABOUR_OVERTIME: (82.0, "hour"), prices.TRUCK_DOWN: (74.0, "hour"),
        prices.HARDWARE: (40.0, "change"), prices.DISPOSAL: (-6.0, "set"), prices.STOCK: (350.0, "year"),
    }  # fmt: skip
    none = {item: prices.Amount(item, needed=False) for item in (prices.CONVERSION, prices.OTHER)}
    return {item: prices.Amount(item, *value) for item, value in given.items()} | none


def work(cell: Cell, rng: np.random.Generator | None) -> dict[str, Work]:
    """Hours of changes, as recorded or (without random numbers) as they truly are."""

    def hours(mean: float) -> Hours:
        if rng is None:
            return Hours(mean, 0.0, 1.0, 1)
        return Hours.of(pd.Series(mean * (1 + cell.hours_spread * rng.standard_normal(cell.changes))))

    one = {CHANGE: Work(hours(2.6), hours(2.5), 0.25), BREAK: Work(hours(2.8), hours(4.0), 0.6)}
    return one | ({SECTION_CHANGE: Work(hours(1.0), hours(1.0), 0.25)} if cell.sections > 1 else {})


def edges(
    cell: Cell, samples: list[Sample], events: list[tuple[int, int]], rng: np.random.Generator | None
) -> tuple[EdgeCosts, ...]:
    """The two edge types with what a trial shows of them."""
    found = []
    for which, name in enumerate((REFERENCE, OTHER)):
        singly = which == 1 and cell.sections > 1
        price = cell.price[which]
        miles = cell.truck_miles * cell.trucks[which]
        found.append(
            EdgeCosts(
                name,
                SECTION if singly else SET,
                cell.sections if singly else 1.0,
                price,
                price,
                price,
                amounts(),
                work(cell, rng) if singly else work(Cell("") if rng is None else cell, rng),
                Use(samples[which], *events[which], miles),
            )
        )
    return tuple(found)


def plan() -> SeasonMiles:
    """Twelve trucks with 2,000 miles each."""
    rows = [(f"T-{n:02d}", "front", 1500.0, 2000.0, 2800.0) for n in range(1, 13)]
    return SeasonMiles(pd.DataFrame(rows, columns=PLAN_COLUMNS))


def inputs_of(cell: Cell, of_types: tuple[EdgeCosts, ...], pairing: Pairing, seed: int) -> CostInputs:
    """What a trial gives to the cost analysis."""
    return CostInputs(
        of_types, REFERENCE, "front", plan(), 0.03, 10, {OTHER: pairing}, seed=seed, n_draws=DRAWS
    )


def truth(cell: Cell) -> tuple[float, float]:
    """True cost per mile of both types."""
    samples = [Sample(use, 0.0, 1) for use in cell.use]
    made = edges(cell, samples, [(0, 0), (0, 0)], None)
    given = inputs_of(cell, made, Pairing(0, 0.0), 1)
    found = []
    for which, edge in enumerate(made):
        rates = lines.estimated_rates(edge)
        sections = cell.section_breaks_per_1000_mi / 1000 if which == 1 else 0.0
        true = lines.Rates(
            rates.use, cell.breaks_per_1000_mi[which] / 1000, sections, rates.labour_h, rates.down_h
        )
        found.append(float(lines.total(lines.cost_lines(edge, true, given))))
    return found[0], found[1]


def one_trial(cell: Cell, seed: int) -> CostInputs:
    """A trial drawn from the cell."""
    rng = np.random.default_rng(seed)
    route = rng.standard_normal(max(cell.trucks))
    values = []
    for which in (0, 1):
        n = cell.trucks[which]
        own = rng.standard_normal(n)
        if cell.shared:
            own[: cell.shared] = 0.8 * route[: cell.shared] + 0.6 * own[: cell.shared]
        values.append(cell.use[which] * (1 + cell.spread[which] * own))
    pairing = Pairing.of(values[1][: cell.shared], values[0][: cell.shared])
    exposure = [cell.truck_miles * n / 1000 for n in cell.trucks]
    events = [
        (int(rng.poisson(cell.breaks_per_1000_mi[which] * exposure[which])),
         int(rng.poisson(cell.section_breaks_per_1000_mi * exposure[which])) if which else 0)
        for which in (0, 1)
    ]  # fmt: skip
    made = edges(cell, [Sample.of(one) for one in values], events, rng)
    return inputs_of(cell, made, pairing, seed)


def coverage(cell: Cell, trials: int) -> dict[str, float]:
    """Share of the trials whose intervals hold the truth."""
    true = truth(cell)
    held = np.zeros(4)
    for trial in range(trials):
        given = one_trial(cell, SEED + trial)
        for which, edge in enumerate(given.edges):
            drawn = draws.draw_edge(edge, given).at(draws.MIDDLE)
            ends = np.quantile(lines.total(lines.cost_lines(edge, drawn, given)), (0.025, 0.975))
            held[which] += ends[0] <= true[which] <= ends[1]
        found = cost_differences.drawn_difference(given.edges[1], given)
        low, high = found.interval(0.95)
        held[2] += low <= true[1] - true[0] <= high
        low, high = found.saving_pct(0.95)
        held[3] += low <= 100 * (true[0] - true[1]) / true[0] <= high
    return dict(zip(("reference", "other", "difference", "saving"), held / trials, strict=True))


def main(trials: int, names: list[str]) -> int:
    """Print the coverage of every cell; 1 if one is off."""
    print(f"{trials} trials per cell, {DRAWS} draws each; coverage [%]")
    print(f"{'cell':28s}{'reference':>10s}{'other':>8s}{'difference':>12s}{'saving':>8s}")
    off = False
    for cell in CELLS:
        if names and cell.name not in names:
            continue
        found = coverage(cell, trials)
        below, above = (3 * math.sqrt(bound * (1 - bound) / trials) for bound in (LOW, HIGH))
        bad = found["difference"] < LOW - below or (
            found["difference"] > HIGH + above and not cell.may_exceed
        )
        off |= bad
        said = "".join(
            f"{100 * value:{width}.1f}" for value, width in zip(found.values(), (10, 8, 12, 8), strict=True)
        )
        print(f"{cell.name:28s}{said}{'  OFF' if bad else ''}", flush=True)
    return int(off)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    sys.exit(main(count, sys.argv[2:]))
