"""Invented trials with known wear rates, many at a time.

`Fleet` says what the world is like; `Fleet.readings` draws a number of trials from it in one frame, each on a plow
position of its own ("trial 0", "trial 1", ...), so that one call of the real functions analyses them all.
`coverage` says how often the intervals hold the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.wear import fit_wear_rates

REFERENCE, OTHER = "plain_steel", "carbide_insert"


@dataclass(frozen=True)
class Fleet:
    """A kind of trial.

    Attributes
    ----------
    trucks : tuple of int
        Trucks per edge type.
    rates : tuple of float
        True mean wear rate per edge type. [in/1,000 mi]
    cv : tuple of float
        Spread of the true slopes of trucks, relative to the rate, per edge type.
    skewed : bool
        Whether that spread is lognormal instead of normal.
    route_cv : float
        Spread that a truck brings to every type it carries (lognormal, mean 1).
    shared : int
        Trucks that carry both of the first two types.
    sets, set_cv : int, float
        Sets one after the other on each truck, and their relative spread.
    profile : tuple of float
        Wear of the stations relative to their mean.
    station_cv : float
        Spread of single stations of a set.
    n_readings : int
        Readings per station and set.
    miles : tuple of float
        Least and most miles of a set; drawn log-uniformly per truck. [mi]
    error_in, step_in : float
        Reading error before rounding, and the step of the tool. [in]
    start_spread_in : float
        Width of the uniform spread of the first heights; 0 puts all of them on the same height. [in]
    walk : float
        Random-walk wear: standard deviation over 1,000 miles. [in]
    limit_in : float
        Wear at which a set comes off; later readings are missing. [in]
    swapped : bool
        Whether the station that wears fastest gets a new section half-way.
    record_step : bool
        Whether `step_in` is in the resolution column.
    """

    trucks: tuple[int, ...] = (4, 4)
    rates: tuple[float, ...] = (1.5, 0.15)
    cv: tuple[float, ...] = (0.2, 0.2)
    skewed: bool = False
    route_cv: float = 0.0
    shared: int = 0
    sets: int = 1
    set_cv: float = 0.0
    profile: tuple[float, ...] = (1.0, 1.0, 1.0)
    station_cv: float = 0.0
    n_readings: int = 9
    miles: tuple[float, float] = (600.0, 600.0)
    error_in: float = 0.03
    step_in: float = 1 / 16
    start_spread_in: float = 0.0
    walk: float = 0.0
    limit_in: float = np.inf
    swapped: bool = False
    record_step: bool = True

    def true_slopes(
        self, rng: np.random.Generator, kind: int, shape: tuple[int, ...], route: np.ndarray
    ) -> np.ndarray:
        """True slopes of trucks with one type. [in/1,000 mi]"""
        cv = self.cv[kind]
        if self.skewed:
            sigma = np.sqrt(np.log1p(cv**2))
            own = np.exp(sigma * rng.standard_normal(shape) - sigma**2 / 2)
        else:
            own = 1 + cv * rng.standard_normal(shape)
        return self.rates[kind] * own * route

    def routes(self, rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
        """What the routes of trucks do to all types."""
        sigma = np.sqrt(np.log1p(self.route_cv**2))
        return np.exp(sigma * rng.standard_normal(shape) - sigma**2 / 2)

    def readings(self, rng: np.random.Generator, n_trials: int) -> pd.DataFrame:
        """The readings of so many trials, in the layout of `lineage.wear_segments`."""
        names = [REFERENCE, OTHER, *(f"type_{k}" for k in range(2, len(self.trucks)))][: len(self.trucks)]
        own_routes = [self.routes(rng, (n_trials, n)) for n in self.trucks]
        shared_routes = self.routes(rng, (n_trials, self.shared))
        parts, first_truck = [], 0
        for kind, n in enumerate(self.trucks):
            route = own_routes[kind]
            truck = first_truck + np.arange(n)
            if kind < 2 and self.shared:
                route[:, : self.shared] = shared_routes
                truck = np.concatenate(
                    [np.arange(self.shared), 1000 * (kind + 1) + np.arange(n - self.shared)]
                )
            else:
                first_truck += n
                truck = truck + 10_000
            parts.append(self._type_readings(rng, kind, n_trials, route, truck))
        frame = pd.concat(parts, ignore_index=True)
        frame[c.EDGE_TYPE] = pd.Categorical.from_codes(frame[c.EDGE_TYPE].to_numpy(), names, ordered=True)
        trial = frame.pop("trial").to_numpy()
        frame[c.PLOW_POSITION] = pd.Categorical.from_codes(trial, [f"trial {k}" for k in range(n_trials)])
        for name, key in ((c.TRUCK_ID, "truck"), (c.SET_ID, "set"), (c.SEGMENT, "segment")):
            codes, values = pd.factorize(frame.pop(key).to_numpy())
            frame[name] = pd.Categorical.from_codes(codes, [f"{key} {value}" for value in values])
        frame[c.TRUCK_UNIT] = frame[c.TRUCK_ID]
        return frame

    def _type_readings(
        self, rng: np.random.Generator, kind: int, n_trials: int, route: np.ndarray, truck: np.ndarray
    ) -> pd.DataFrame:
        n, stations, m = len(truck), len(self.profile), self.n_readings
        shape = (n_trials, n, self.sets, stations, m)
        slope = self.true_slopes(rng, kind, (n_trials, n), route)[:, :, None]
        slope = slope * (1 + self.set_cv * rng.standard_normal((n_trials, n, self.sets)))
        slope = slope[..., None] * np.array(self.profile)
        slope = slope * (1 + self.station_cv * rng.standard_normal(shape[:-1]))
        low, high = np.log(self.miles)
        miles = np.exp(rng.uniform(low, high, (n_trials, n, 1, 1, 1)))
        x = np.linspace(0, 1, m) * miles + np.zeros(shape)
        wear = slope[..., None] * x / 1000
        if self.walk:
            steps = np.diff(x, axis=-1, prepend=0) / 1000
            wear = wear + np.cumsum(self.walk * np.sqrt(steps) * rng.standard_normal(shape), axis=-1)
        start = 5.0 + self.start_spread_in * rng.random(shape[:-1])[..., None]
        height = start - wear + self.error_in * rng.standard_normal(shape)
        if self.step_in:
            height = np.round(height / self.step_in) * self.step_in
        piece = np.zeros(shape, dtype=int)
        if self.swapped:
            piece[..., int(np.argmax(self.profile)), (m + 1) // 2 :] = 1
        worn_out = np.maximum.accumulate(wear.mean(axis=-2, keepdims=True), axis=-1) > self.limit_in
        kept = ~(worn_out & (np.arange(m) >= 3)) & np.ones(shape, dtype=bool)
        index = np.indices(shape)
        trial, truck_no, set_no, station = index[0], truck[index[1]], index[2], index[3]
        unit = trial * 100_000 + truck_no
        set_code = (unit * 10 + kind) * 10 + set_no
        segment = (set_code * 10 + station) * 2 + piece
        frame = {
            "trial": trial, "truck": unit, "set": set_code, "segment": segment,
            c.EDGE_TYPE: np.full(shape, kind), c.STATION: station + 1, c.HEIGHT_IN: height,
            c.MILES_MI: x + 700.0 * set_no, c.RESOLUTION_IN: np.full(shape, self.step_in or np.nan),
        }  # fmt: skip
        frame = {name: values[kept] for name, values in frame.items()}
        if not self.record_step:
            frame[c.RESOLUTION_IN] = np.full(len(frame["trial"]), np.nan)
        return pd.DataFrame(frame)


def coverage(fleet: Fleet, n_trials: int, seed: int, batch: int = 500, **options: object) -> dict[str, float]:
    """Share of trials in which the 95 % intervals hold the truth, over all of the analysis.

    Returns
    -------
    dict
        `rate_<k>` and `next_<k>` for each type, `difference` and `ratio` for the second type against the first (for a
        third type with its number), `no_upper_end` (share of ratio sets without an upper end) and `no_set`.
    """
    rng = np.random.default_rng(seed)
    hits: dict[str, list[np.ndarray]] = {}

    def note(name: str, values: np.ndarray) -> None:
        hits.setdefault(name, []).append(np.asarray(values, dtype=bool))

    for start in range(0, n_trials, batch):
        size = min(batch, n_trials - start)
        rates = fit_wear_rates(fleet.readings(rng, size), **options)
        kinds = rates.table[c.EDGE_TYPE].cat.codes.to_numpy()
        for kind, truth in enumerate(fleet.rates):
            rows = rates.table[kinds == kind]
            note(f"rate_{kind}", (rows[c.CONF_LOW] <= truth) & (truth <= rows[c.CONF_HIGH]))
            following = fleet.true_slopes(rng, kind, (size,), fleet.routes(rng, (size,)))
            following = following * (1 + fleet.set_cv * rng.standard_normal(size))
            noise = fleet.station_cv / np.sqrt(len(fleet.profile)) * rng.standard_normal(size)
            following = following * (1 + noise)
            note(f"next_{kind}", (rows[c.PRED_LOW] <= following) & (following <= rows[c.PRED_HIGH]))
        compared = compare_edge_types(rates)
        kinds = compared.table[c.EDGE_TYPE].cat.codes.to_numpy()
        for kind in range(1, len(fleet.rates)):
            tail = "" if kind == 1 else f"_{kind}"
            gap = compared.differences[kinds == kind]
            truth = fleet.rates[0] - fleet.rates[kind]
            note("difference" + tail, (gap[c.CONF_LOW] <= truth) & (truth <= gap[c.CONF_HIGH]))
            sets = compared.table[kinds == kind]
            truth = fleet.rates[0] / fleet.rates[kind] if fleet.rates[kind] > 0 else np.inf
            open_ended = sets[c.CONF_LOW].notna() & sets[c.CONF_HIGH].isna()
            note("ratio" + tail, (sets[c.CONF_LOW] <= truth) & (open_ended | (truth <= sets[c.CONF_HIGH])))
            if kind == 1:
                note("no_upper_end", open_ended)
                note("no_set", sets[c.CONF_LOW].isna())
    return {name: float(np.concatenate(values).mean()) for name, values in hits.items()}
