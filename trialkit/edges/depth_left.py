"""How much usable depth was thrown away when sets came off.

Answers: how much of what was paid for was still on the edge when it was taken off, and how much of that because it had worn
unevenly?

A set that is replaced as a whole comes off at its thinnest spot. What the other spots still had is lost to unevenness;
what the thinnest spot still had is lost because the set came off before its limit.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.edges import slopes as sl
from trialkit.edges.observed import BROKEN_OR_LOST, CAUSE, WORN_OUT
from trialkit.edges.profile import FALL_IN, segment_falls
from trialkit.edges.wear import WearRates
from trialkit.formatting import (
    counted,
    level_percent,
    level_words,
    listed,
    money,
    number,
    percent,
    position_words,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.inference import Sample, mean_interval
from trialkit.table_parts import BROKEN_REASONS, SECTION, SET, WORN_REASONS
from trialkit.tables import STARTS_SEGMENT

LEFT_IN, LEFT_PCT, LEFT_USD = "left_in", "left_pct", "left_usd"
UNEVEN_PCT = "uneven_pct"
TOTAL_USD = "total_usd"
PIECE = "piece"
N_PRICED = "n_priced"
READ_FRAC = "read_frac"
PCT = "%"


@dataclass(frozen=True, eq=False)
class DepthLeft(Labelled):
    """Usable depth thrown away at removal, by edge type, plow position and cause.

    Attributes
    ----------
    table : DataFrame
        One row per plow position, edge type and cause of which a piece (a set, or a section where they are replaced
        singly) came off: `edge_type`, `plow_position`, `cause`, `piece`, `estimate`, `conf_low`, `conf_high` (share of
        the usable depth thrown away, mean over the trucks), `unit`, `left_in` [in], `uneven_pct` (part of the share that
        is lost because the piece wore unevenly), `left_usd` (per piece) and `total_usd` (of all pieces with a price),
        `n_pieces`, `n_priced`, `n_trucks`.
    pieces : DataFrame
        One row per piece that came off: `set_id`, `station` (of a section; missing for a set), `edge_type`,
        `plow_position`, `truck_id`, `cause`, `miles_mi`, `left_in`, `left_pct`, `uneven_pct`, `left_usd`, `read_frac`
        (share of its miles between the first and the last reading; the rest is put at its wear rate).
    confidence_level : float
        Two-sided level of every interval.
    labels : dict
        Edge type to the name that sentences print.
    currency : str
        Currency of every price, as a three-letter code.
    """

    pieces: pd.DataFrame
    confidence_level: float
    labels: Mapping[str, str]
    currency: str

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        return tuple(self._sentence(row) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """What was thrown away, in words."""
        return " ".join(self.sentences()) or "No set came off as worn or broken, so nothing was thrown away."

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        pieces = counted(int(row[N_PIECES]), str(row[PIECE]))
        came = "came off as worn" if row[CAUSE] == WORN_OUT else "broke or came loose"
        start = f"On {position_words(row[c.PLOW_POSITION])}, {pieces} of {self.label(row[c.EDGE_TYPE])} {came} with "
        start += f"{percent(row[c.ESTIMATE])} of the usable depth still on"
        inches = f"{number(display.value(row[LEFT_IN], 'in'), 2)} {display.unit('in')}; {self._sure(row)}"
        why = ""
        if row[CAUSE] == WORN_OUT and math.isfinite(row[UNEVEN_PCT]):
            it = "it" if row[N_PIECES] == 1 else "they"
            rest = percent(max(row[c.ESTIMATE] - row[UNEVEN_PCT], 0.0))
            why = (
                f": {percent(row[UNEVEN_PCT])} because {it} wore unevenly and {rest} because the thinnest spot was not yet at its "
                "limit"
            )
        return f"{start} ({inches}){why}.{self._money(row)}"

    def _money(self, row: dict[Hashable, Any]) -> str:
        if not row[N_PRICED]:
            return " No price is recorded, so this is not put in money."
        each, total = (money(row[name], self.currency, 0) for name in (LEFT_USD, TOTAL_USD))
        known = f" (price known of {row[N_PRICED]})" if row[N_PRICED] < row[N_PIECES] else ""
        if row[N_PIECES] == 1:
            return f" Of its price that is {each}."
        return f" Of the price of a {row[PIECE]} that is {each} on average, {total} in all{known}."

    def _sure(self, row: dict[Hashable, Any]) -> str:
        trucks = counted(int(row[c.N_TRUCKS]), "truck")
        low, high = row[c.CONF_LOW], row[c.CONF_HIGH]
        if not math.isfinite(high):
            return f"{trucks}, no interval"
        return f"{level_words(self.confidence_level)} {span(low, high, 0)}{PCT}; {trucks}"


def estimate_depth_left(
    rates: WearRates,
    readings: pd.DataFrame,
    lives: pd.DataFrame,
    edge_sets: pd.DataFrame,
    edge_types: pd.DataFrame,
    set_events: pd.DataFrame,
    *,
    currency: str = "USD",
) -> DepthLeft:
    """Estimate the usable depth that was still there when sets and sections came off.

    Use it to see what uneven wear and early removal cost. Not for sets that came off because the season ended: they can go
    on again.

    Parameters
    ----------
    rates : WearRates
        The wear rates.
    readings : DataFrame
        The frame that `rates` was fitted to.
    lives : DataFrame
        `ObservedLives.lives`: set_id, edge_type, plow_position, truck_id, miles_mi [mi], cause.
    edge_sets : DataFrame
        Columns set_id, unit_price_usd [$].
    edge_types : DataFrame
        Columns edge_type, usable_depth_in [in]; sections_n if there is one.
    set_events : DataFrame
        Columns set_id, date, event, station, reason: the flips and the sections that were changed.
    currency : str
        Currency of the prices, as a three-letter code.

    Returns
    -------
    DepthLeft

    Notes
    -----
    Depth used at a station: first height less last height, added up over its segments, plus the wear rate of the station
    (else of its set, its truck or its type) over the miles outside the readings. Left: usable depth less that, never below
    zero, averaged over the stations. Lost to unevenness: that average less what the thinnest station had left. A flip is
    taken as turning the set end for end. The truck is the unit; t interval with n - 1 degrees of freedom.
    """
    depth = _by_name(edge_types, c.EDGE_TYPE, c.USABLE_DEPTH_IN)
    price = _by_name(edge_sets, c.SET_ID, c.UNIT_PRICE_USD)
    sections = _by_name(edge_types, c.EDGE_TYPE, c.SECTIONS_N)
    spans = _spans_of_sets(segment_falls(readings), set_events)
    slopes = _Slopes(rates)
    swaps = _section_swaps(set_events)
    rows: list[dict[str, Any]] = []
    unknown: list[str] = []
    for life in lives.to_dict("records"):
        name, kind = life[c.SET_ID], life[c.EDGE_TYPE]
        own = spans.get(name, [])
        found = [
            _section(own, station, cause, nth, slopes, life) for station, cause, nth in swaps.get(name, [])
        ]
        if life[CAUSE] in (WORN_OUT, BROKEN_OR_LOST):
            found.append(_whole_set(own, slopes, life))
        for piece in found:
            if not np.isfinite(piece.used_in).all():
                unknown.append(f"{name}")
                continue
            share = 1.0
            if piece.station is not None:
                n = sections.get(kind, math.nan)
                share = 1.0 / (n if n > 0 else max(len({span.station for span in own}), 1))
            rows.append(_piece_row(piece, life, depth[kind], share * price.get(name, math.nan)))
    pieces = pd.DataFrame(rows, columns=PIECE_COLUMNS)
    return DepthLeft(
        table=_table(pieces, rates, confidence_level=rates.confidence_level),
        method=(
            "Usable depth less the depth used, by station, from the heights read and the wear rate over the "
            f"{display.word('miles')} outside the readings; mean over the trucks, {level_percent(rates.confidence_level)} t interval."
        ),
        notes=tuple(_notes(pieces, unknown, set_events)),
        pieces=pieces,
        confidence_level=rates.confidence_level,
        labels=rates.labels,
        currency=currency,
    )


N_PIECES = "n_pieces"
PIECE_COLUMNS = [
    c.SET_ID, c.STATION, PIECE, c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, CAUSE, c.MILES_MI, LEFT_IN, LEFT_PCT, UNEVEN_PCT,
    LEFT_USD, READ_FRAC,
]  # fmt: skip
TABLE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, CAUSE, PIECE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.UNIT, LEFT_IN, UNEVEN_PCT, LEFT_USD,
    TOTAL_USD, N_PIECES, N_PRICED, c.N_TRUCKS,
]  # fmt: skip


# ---------------------------------------------------------------- what is read of each piece
@dataclass(frozen=True, slots=True)
class _Span:
    """First to last reading of one segment: the section it is of at its station (0 first), and the flips before it."""

    station: float
    first_mi: float
    last_mi: float
    fall_in: float
    nth: int
    flips: int


@dataclass(frozen=True, eq=False)
class _Piece:
    """Depth used of a set by station, or of one section."""

    station: int | None
    cause: str
    used_in: np.ndarray
    miles_mi: float
    read_frac: float

    @property
    def is_read(self) -> bool:
        """Whether its stations can differ: several of them, with wear that was read."""
        return len(self.used_in) > 1 and self.read_frac > 0


class _Slopes:
    """Wear rate of a station: its own, else its set's, its truck's or its type's. [in/1,000 mi]"""

    def __init__(self, rates: WearRates) -> None:
        stations = rates.set_stations
        self.of_station = dict(
            zip(zip(stations[c.SET_ID], stations[c.STATION], strict=True), stations[c.ESTIMATE], strict=True)
        )
        self.of_set = dict(zip(rates.sets[c.SET_ID], rates.sets[c.ESTIMATE], strict=True))
        trucks = rates.trucks
        keys = zip(trucks[c.TRUCK_ID], trucks[c.PLOW_POSITION], trucks[c.EDGE_TYPE], strict=True)
        self.of_truck = dict(zip(keys, trucks[c.ESTIMATE], strict=True))
        cells = zip(rates.table[c.PLOW_POSITION], rates.table[c.EDGE_TYPE], strict=True)
        self.of_type = dict(zip(cells, rates.table[c.ESTIMATE], strict=True))

    def at(self, life: Mapping[Any, Any], station: Any) -> float:
        """Wear rate at one station of a set."""
        name, place, kind = life[c.SET_ID], life[c.PLOW_POSITION], life[c.EDGE_TYPE]
        found = (
            self.of_station.get((name, station)),
            self.of_set.get(name),
            self.of_truck.get((life[c.TRUCK_ID], place, kind)),
            self.of_type.get((place, kind)),
        )
        return next((float(rate) for rate in found if rate is not None and math.isfinite(rate)), math.nan)


def _spans_of_sets(falls: pd.DataFrame, set_events: pd.DataFrame) -> dict[Any, list[_Span]]:
    """What was read of each set, with the number of the section at its station and the flips of the set so far."""
    starts = set_events[set_events[c.EVENT].isin(STARTS_SEGMENT)].sort_values(c.DATE, kind="stable")
    happened: dict[Any, list[tuple[str, float]]] = {}
    for name, kind, station in zip(
        starts[c.SET_ID].astype(object),
        starts[c.EVENT].astype(str),
        starts[c.STATION].astype(float),
        strict=True,
    ):
        happened.setdefault(name, []).append((kind, station))
    found: dict[Any, list[_Span]] = {}
    columns = [c.SET_ID, c.SEGMENT, c.STATION, sl.FIRST_MI, sl.LAST_MI, FALL_IN]
    for name, segment, station, first, last, fall in zip(
        *(falls[column].astype(object) for column in columns), strict=True
    ):
        stretch = int(str(segment).rpartition("/")[2])
        kinds = [kind for kind, at in happened.get(name, []) if math.isnan(at) or at == station][:stretch]
        span = _Span(station, first, last, fall, kinds.count("section_swap"), kinds.count("flip"))
        found.setdefault(name, []).append(span)
    return found


def _section_swaps(set_events: pd.DataFrame) -> dict[Any, list[tuple[int, str, int]]]:
    """Station, cause and number of the section that came off, for each set of which sections were changed."""
    swaps = set_events[(set_events[c.EVENT] == "section_swap") & set_events[c.STATION].notna()]
    found: dict[Any, list[tuple[int, str, int]]] = {}
    seen: dict[tuple[Any, int], int] = {}
    for row in swaps.sort_values(c.DATE, kind="stable").to_dict("records"):
        name, station = row[c.SET_ID], int(row[c.STATION])
        nth = seen[name, station] = seen.get((name, station), -1) + 1
        reason = row[c.REASON]
        cause = WORN_OUT if reason in WORN_REASONS else BROKEN_OR_LOST if reason in BROKEN_REASONS else ""
        if cause:
            found.setdefault(name, []).append((station, cause, nth))
    return found


def _section(
    own: Sequence[_Span], station: int, cause: str, nth: int, slopes: _Slopes, life: Mapping[Any, Any]
) -> _Piece:
    """Depth used of the section that was the nth at its station."""
    here = [span for span in own if span.station == station]
    piece, following = ([span for span in here if span.nth == number] for number in (nth, nth + 1))
    read = sum(span.last_mi - span.first_mi for span in piece)
    ran = read
    if piece and following:
        ran = max(read, min(span.first_mi for span in following) - min(span.first_mi for span in piece))
    used = sum(span.fall_in for span in piece) if piece else math.nan
    rest = slopes.at(life, station) * (ran - read) / 1000.0 if ran > read else 0.0
    return _Piece(station, cause, np.array([used + rest]), ran, read / ran if ran > 0 else math.nan)


def _whole_set(own: Sequence[_Span], slopes: _Slopes, life: Mapping[Any, Any]) -> _Piece:
    """Depth used of a set at each of its stations."""
    total = float(life[c.MILES_MI])
    if not own:
        used = slopes.at(life, None) * total / 1000.0
        return _Piece(None, life[CAUSE], np.array([used]), total, 0.0)
    stations = sorted({span.station for span in own})
    turned, began = max(span.flips for span in own), min(span.first_mi for span in own)
    used_at: dict[Any, float] = dict.fromkeys(stations, 0.0)
    shares = []
    for station in stations:
        here = [span for span in own if span.station == station]
        last = max(span.nth for span in here)
        piece = [span for span in here if span.nth == last]
        before = min(span.first_mi for span in piece) - began if last > 0 else 0.0
        read = sum(span.last_mi - span.first_mi for span in piece)
        ran = max(read, total - before)
        used_at[station] += slopes.at(life, station) * (ran - read) / 1000.0 if ran > read + 1e-6 else 0.0
        for one in piece:
            place = stations[0] + stations[-1] - station if (turned - one.flips) % 2 else station
            used_at[place] = used_at.get(place, 0.0) + one.fall_in
        shares.append(read / ran if ran > 0 else math.nan)
    return _Piece(None, life[CAUSE], np.array(list(used_at.values())), total, float(np.mean(shares)))


def _piece_row(piece: _Piece, life: Mapping[Any, Any], depth_in: float, price: float) -> dict[str, Any]:
    left = np.maximum(depth_in - piece.used_in, 0.0)
    of_set = piece.station is None
    return {
        c.SET_ID: life[c.SET_ID],
        c.STATION: math.nan if of_set else piece.station,
        PIECE: SET if of_set else SECTION,
        c.EDGE_TYPE: life[c.EDGE_TYPE],
        c.PLOW_POSITION: life[c.PLOW_POSITION],
        c.TRUCK_ID: life[c.TRUCK_ID],
        CAUSE: piece.cause,
        c.MILES_MI: piece.miles_mi,
        LEFT_IN: float(left.mean()),
        LEFT_PCT: 100 * float(left.mean()) / depth_in,
        UNEVEN_PCT: 100 * float(left.mean() - left.min()) / depth_in if piece.is_read else math.nan,
        LEFT_USD: price * float(left.mean()) / depth_in,
        READ_FRAC: piece.read_frac,
    }


def _by_name(frame: pd.DataFrame, key: str, value: str) -> dict[Any, float]:
    if value not in frame:
        return {}
    return dict(zip(frame[key].astype(object), frame[value].astype(float), strict=True))


# ---------------------------------------------------------------- over the trucks
def _table(pieces: pd.DataFrame, rates: WearRates, confidence_level: float) -> pd.DataFrame:
    rows = []
    for place, kind in rates.table[sl.CELL].itertuples(index=False):
        for piece in (SET, SECTION):
            for cause in (WORN_OUT, BROKEN_OR_LOST):
                here = pieces[
                    (pieces[c.PLOW_POSITION] == place)
                    & (pieces[c.EDGE_TYPE] == kind)
                    & (pieces[PIECE] == piece)
                    & (pieces[CAUSE] == cause)
                ]
                if len(here):
                    key = {c.EDGE_TYPE: kind, c.PLOW_POSITION: place, CAUSE: cause, PIECE: piece}
                    rows.append({**key, **_mean_left(here, confidence_level)})
    return pd.DataFrame(rows, columns=TABLE_COLUMNS)


def _mean_left(pieces: pd.DataFrame, confidence_level: float) -> dict[str, Any]:
    """Means over the trucks, each truck the mean of its pieces."""
    trucks = pieces.groupby(c.TRUCK_ID, sort=False)[[LEFT_IN, LEFT_PCT, UNEVEN_PCT, LEFT_USD]].mean()
    found = mean_interval(Sample.of(trucks[LEFT_PCT].to_numpy()), confidence_level)
    low, high = float(found.conf_low), float(found.conf_high)
    return {
        c.ESTIMATE: found.estimate,
        c.CONF_LOW: max(low, 0.0) if math.isfinite(low) else math.nan,
        c.CONF_HIGH: min(high, 100.0) if math.isfinite(high) else math.nan,
        c.UNIT: PCT,
        LEFT_IN: float(trucks[LEFT_IN].mean()),
        UNEVEN_PCT: float(trucks[UNEVEN_PCT].mean()),
        LEFT_USD: float(trucks[LEFT_USD].mean()),
        TOTAL_USD: float(pieces[LEFT_USD].sum(min_count=1)),
        N_PIECES: len(pieces),
        N_PRICED: int(pieces[LEFT_USD].notna().sum()),
        c.N_TRUCKS: len(trucks),
    }


# ---------------------------------------------------------------- words
def _notes(pieces: pd.DataFrame, unknown: list[str], set_events: pd.DataFrame) -> list[str]:
    """Caveats that the depth thrown away must carry."""
    notes = []
    if unknown:
        more = f" and {len(unknown) - 5} more" if len(unknown) > 5 else ""
        notes.append(
            f"How much was left on {counted(len(unknown), 'set or section', 'sets or sections')} that came off cannot be told, for "
            f"want of readings: {listed(unknown[:5])}{more}."
        )
    mostly = pieces[pieces[READ_FRAC] < 0.5]
    if len(mostly):
        names = [str(name) for name in mostly[c.SET_ID].head(5)]
        more = f" and {len(mostly) - 5} more" if len(mostly) > 5 else ""
        notes.append(
            f"Of {listed(names)}{more} less than half of the {display.word('miles')} lie between readings; the depth used over "
            f"the rest is the wear rate times the {display.word('miles')}."
        )
    flipped = set(set_events.loc[set_events[c.EVENT] == "flip", c.SET_ID].astype(object)) & set(
        pieces[c.SET_ID]
    )
    if flipped:
        notes.append(
            f"{counted(len(flipped), 'set')} that came off had been flipped, which is taken as turned end for end: "
            f"{listed(sorted(map(str, flipped))[:5])}."
        )
    return notes
