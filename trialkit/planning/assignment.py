"""Which truck carries which edge type: a random draw within blocks that anybody can repeat.

Answers: who carries what, was it left to chance, and did chance treat the edge types alike?

Plow positions are drawn apart, since edges are compared within a position. Within a block of like routes every edge type
gets the same number of plows as far as the numbers allow; over all blocks as well. The draw depends on the seed and on the
names of trucks and types, not on the order of rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import counted, listed, position_name
from trialkit.planning.balance import covariate_balance
from trialkit.planning.draws import draw_plows
from trialkit.planning.forced import TOO_FEW, Forced, read_forced, with_too_few
from trialkit.results import Labelled

RANDOM = "random"
NO_BLOCK = "no block"
TABLE_COLUMNS = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE, c.HOW, c.REASON]


@dataclass(frozen=True, eq=False)
class Assignment(Labelled):
    """Which plow carries which edge type in which period.

    Attributes
    ----------
    table : DataFrame
        Rows of the table `assignments`: `truck_id`, `plow_position`, `period`, `edge_type`, `how` (random, or as it was
        forced), `reason` (empty where it was random), sorted by truck, position and period.
    balance : DataFrame
        Whether the types were treated alike; see `balance.covariate_balance`.
    counts : DataFrame
        Plows by `plow_position`, `block` and `edge_type` in the first period, as `n_units`.
    seed : int
        The seed that was used.
    periods : int
        Number of periods; more than one where edge types rotate.
    labels : dict
        Edge type to the name that sentences print.
    """

    balance: pd.DataFrame
    counts: pd.DataFrame
    seed: int
    periods: int
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each plow position."""
        first = self.table[self.table[c.PERIOD] == 1]
        return tuple(
            self._sentence(str(place), rows) for place, rows in first.groupby(c.PLOW_POSITION, sort=False)
        )

    def sentence(self) -> str:
        """The draw in words."""
        return " ".join(self.sentences())

    def _sentence(self, place: str, rows: pd.DataFrame) -> str:
        here = self.counts[self.counts[c.PLOW_POSITION] == place]
        by_type = here.groupby(c.EDGE_TYPE, sort=False)[c.N_UNITS].sum()
        shared = listed([f"{self.label(str(kind))} on {n}" for kind, n in by_type.items() if n])
        drawn = int((rows[c.HOW] == RANDOM).sum())
        fixed = len(rows) - drawn
        turn = f"; the types rotate over {self.periods} periods, beginning with" if self.periods > 1 else ":"
        if not drawn and rows[c.REASON].eq(TOO_FEW).all():
            stay = "stays" if fixed == 1 else "stay"
            n_types = here[c.EDGE_TYPE].nunique()
            return (
                f"{counted(fixed, f'{_place(place)} plow')} {stay} on {self.label(str(rows[c.EDGE_TYPE].iloc[0]))}: too few to compare "
                f"{n_types} edge types."
            )
        if not drawn:
            start = f"{counted(fixed, f'{_place(place)} plow')} {'was' if fixed == 1 else 'were'} fixed beforehand"
            return f"{start}{turn} {shared}."
        blocks = counted(here[c.BLOCK].nunique(), "block")
        verb = "was" if drawn == 1 else "were"
        start = f"{counted(drawn, f'{_place(place)} plow')} in {blocks} {verb} drawn with seed {self.seed}"
        also = f" and {counted(fixed, 'was', 'were')} fixed beforehand" if fixed else ""
        return f"{start}{also}{turn} {shared}."


def assign_edge_types(
    trucks: pd.DataFrame,
    edge_types: Sequence[str],
    seed: int,
    *,
    periods: int = 1,
    forced: pd.DataFrame | None = None,
    expected_miles: pd.DataFrame | None = None,
    labels: Mapping[str, str] | None = None,
) -> Assignment:
    """Draw which plow carries which edge type.

    Use it once, before the season, and keep the seed. Not to try seeds until the draw pleases: then it is no longer left to
    chance.

    Parameters
    ----------
    trucks : DataFrame
        Columns truck_id and plow_position; block, plow_width_ft [ft] and plow_type where they are known.
    edge_types : sequence of str
        The edge types, the reference first.
    seed : int
        Seed of the draw.
    periods : int
        Periods of the season; with more than one the types rotate.
    forced : DataFrame, optional
        Plows that are not drawn: columns truck_id, plow_position, edge_type and reason; period (blank for all of them) and
        how (``"forced"`` where blank) if they are there.
    expected_miles : DataFrame, optional
        Columns truck_id, plow_position and miles_mid_mi [mi], for the balance.
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    Assignment

    Raises
    ------
    UsageError
        If there are no trucks or fewer than two types, a plow or type is named twice, or a forced row cannot be carried out;
        everything that is wrong is said at once.

    Notes
    -----
    Without forced plows every plow of a block gets each type with the same probability as the others of it. A position with
    fewer plows than types stays on the reference: a dear edge on it could be compared with nothing. Where the plows of a block
    do not divide evenly by the types, the totals over the blocks are kept as even as they can be. What is left over then goes
    to the reference if there is one block. With several blocks which types get one more is left to chance too, so that every
    plow of the position gets each type with the same probability: lives are compared over all blocks, and a type that always
    came more often from the larger block would show that block. Forced plows count for their block.

    References
    ----------
    .. [1] R. A. Fisher, "The Design of Experiments", 1935, chapter IV (from memory).
    """
    units = _units(trucks)
    types = _types(edge_types)
    if periods < 1:
        raise UsageError(f"The number of periods is {periods}; allowed: 1 or more.")
    plows = units[[c.TRUCK_ID, c.PLOW_POSITION]]
    fixed = with_too_few(read_forced(forced, plows, types, periods), plows, types, periods)
    rows: list[dict[str, Any]] = []
    for place, here in units.groupby(c.PLOW_POSITION, sort=True):
        rows.extend(_rows(str(place), here, types, seed, periods, fixed))
    table = pd.DataFrame(rows, columns=TABLE_COLUMNS)
    table = table.sort_values([c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD], ignore_index=True)
    named = dict(labels or {})
    first = table[table[c.PERIOD] == 1].merge(units, on=[c.TRUCK_ID, c.PLOW_POSITION])
    return Assignment(
        table=table,
        method=(
            "Drawn at random within blocks and plow positions: trucks and edge types are ordered by the SHA-256 digest of the seed "
            "and their names, and every type gets the same number of plows of a block as far as the numbers allow."
        ),
        notes=tuple(_notes(units, table, types, periods, named)),
        balance=covariate_balance(first, types, expected_miles),
        counts=_counts(first, types),
        seed=seed,
        periods=periods,
        labels=named,
    )


# ---------------------------------------------------------------- what is drawn
def _units(trucks: pd.DataFrame) -> pd.DataFrame:
    """The plows with plain text in their keys, each once."""
    keys = [c.TRUCK_ID, c.PLOW_POSITION]
    missing = [name for name in keys if name not in trucks.columns]
    if missing:
        raise UsageError(f"The table of trucks lacks the columns {listed(missing)}.")
    if trucks.empty:
        raise UsageError("There are no trucks to assign edge types to.")
    units = trucks.copy()
    for name in keys:
        units[name] = units[name].astype(object).map(str)
    twice = units[units.duplicated(keys)]
    if len(twice):
        names = listed([_plow(*key) for key in twice[keys].itertuples(index=False, name=None)])
        raise UsageError(f"These plows are listed more than once: {names}.")
    block = units[c.BLOCK].astype(object) if c.BLOCK in units else pd.Series(None, units.index, dtype=object)
    units[c.BLOCK] = [str(value) if pd.notna(value) and str(value) else NO_BLOCK for value in block]
    return units.reset_index(drop=True)


def _types(edge_types: Sequence[str]) -> list[str]:
    types = [str(kind) for kind in edge_types]
    if len(types) != len(set(types)):
        raise UsageError(f"An edge type is named twice: {listed(types)}.")
    if len(types) < 2:
        raise UsageError(
            f"A trial compares two edge types or more; {counted(len(types), 'type is', 'types are')} named."
        )
    return types


def _rows(
    place: str, units: pd.DataFrame, types: list[str], seed: int, periods: int, fixed: Forced
) -> list[dict[str, Any]]:
    """Rows of all plows of one position."""
    block_of = dict(zip(units[c.TRUCK_ID], units[c.BLOCK], strict=True))
    wanted = {truck: fixed.types_of(truck, place) for truck in block_of}
    rows = []
    for truck, kinds in draw_plows(place, block_of, types, seed, periods, wanted).items():
        for period, kind in enumerate(kinds, start=1):
            how, reason = fixed.why(truck, place, period) or (RANDOM, "")
            rows.append(dict(zip(TABLE_COLUMNS, (truck, place, period, kind, how, reason), strict=True)))
    return rows


def _counts(first: pd.DataFrame, types: list[str]) -> pd.DataFrame:
    """Plows by position, block and type, zeros included."""
    keys = first[[c.PLOW_POSITION, c.BLOCK]].drop_duplicates().sort_values([c.PLOW_POSITION, c.BLOCK])
    every = keys.merge(pd.DataFrame({c.EDGE_TYPE: types}), how="cross")
    found = first.groupby([c.PLOW_POSITION, c.BLOCK, c.EDGE_TYPE]).size().rename(c.N_UNITS).reset_index()
    every = every.merge(found, how="left")
    every[c.N_UNITS] = every[c.N_UNITS].fillna(0).astype(int)
    return every


# ---------------------------------------------------------------- words
def _place(place: str) -> str:
    """A plow position before the word plow: "right wing"."""
    side = position_name(f", {place}")
    return side.removeprefix(", ").replace("_", " ")


def _plow(truck: str, place: str) -> str:
    return f"{truck} {_place(place)}"


def _notes(
    units: pd.DataFrame, table: pd.DataFrame, types: list[str], periods: int, labels: Mapping[str, str]
) -> list[str]:
    def name(kind: str) -> str:
        return labels.get(kind, kind.replace("_", " "))

    notes = _uneven(units, table, types, periods)
    for place, rows in table[table[c.REASON] != TOO_FEW].groupby(c.PLOW_POSITION):
        trucks = rows.groupby(c.EDGE_TYPE)[c.TRUCK_ID].nunique()
        none = [name(kind) for kind in types if kind not in trucks]
        one = [name(kind) for kind in types if trucks.get(kind, 0) == 1]
        where = f"On {_place(str(place))} plows"
        if none:
            notes.append(
                f"{where} there are too few trucks for every edge type: none carries {listed(none, 'or')}."
            )
        if one:
            notes.append(
                f"{where} one truck alone carries {listed(one)}; how much trucks differ cannot be told from one."
            )
    without = units[units[c.BLOCK] == NO_BLOCK]
    if 0 < len(without) < len(units):
        notes.append(
            f"{counted(len(without), 'plow has', 'plows have')} no block and were drawn as a block of their own."
        )
    elif len(without):
        notes.append(
            "No plow has a block, so all of a position were drawn as one; like routes were not matched."
        )
    fixed = table[(table[c.HOW] != RANDOM) & (table[c.REASON] != TOO_FEW)]
    if len(fixed):
        plows = fixed[[c.TRUCK_ID, c.PLOW_POSITION]].drop_duplicates().itertuples(index=False, name=None)
        names = listed([_plow(*key) for key in plows])
        notes.append(
            f"Not left to chance: {names}. What is found on them may come from the truck and not from the edge."
        )
    if periods > 1 and periods < len(types):
        notes.append(
            f"The {len(types)} types rotate over {periods} periods, so no truck carries all of them; as many periods as types do."
        )
    return notes


def _uneven(units: pd.DataFrame, table: pd.DataFrame, types: list[str], periods: int) -> list[str]:
    """That the lot settled which types got one more, where it did."""
    if periods > 1:
        return []
    blocks = units.groupby(c.PLOW_POSITION)[c.BLOCK].nunique()
    notes = []
    for place, rows in table[table[c.HOW] == RANDOM].groupby(c.PLOW_POSITION):
        counts = (
            table[table[c.PLOW_POSITION] == place][c.EDGE_TYPE].value_counts().reindex(types, fill_value=0)
        )
        if blocks[place] > 1 and counts.max() > counts.min() and len(rows) >= len(types):
            notes.append(
                f"The {_place(str(place))} plows cannot be divided evenly by the edge types. Which types got one more was left to the lot: "
                "were it always the reference, its plows would come more often from one block than from another."
            )
    return notes
