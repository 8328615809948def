"""Rules for heights: none above the new edge or far below a worn one, none that rises.

Answers: which heights cannot be right for this edge type, and where does an edge seem to grow?

A height that rises by more than the reading error allows is doubtful, not impossible: the message names what usually is
behind it. How large the reading error is comes from the gauge study; until there is one, the tool's resolution decides.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import listed
from trialkit.trial.findings import UNIT_WORDS, Source, day_text, other_unit
from trialkit.trial.moments import DAY_S
from trialkit.trial.timeline import Timeline
from trialkit.units import UNIT_NAMES

ABOVE_NEW_IN = 0.5
"""How far a height may lie above the new height of its type before it is called impossible [in] (common practice, no
source). Blanks are cut and marked to about 1/8 in, a new section may be bowed by as much, and a reading is off by up to
1/8 in; the new height itself is often only a nominal one."""
FAR_BELOW_SHARE = 0.5
"""A height below this share of the height at which an edge must come off is doubtful (common practice, no source): by
then the plow itself would have been on the road."""
ASSUMED_RESOLUTION_IN = 1 / 16
"""Step of a tool whose resolution is not recorded and that no gauge study covers [in] (common practice, no source)."""
FEW = 3
"""Up to so many heights above the new one are told one by one; more are a wrong new height, or a wrong set."""


def check_types(types: Source) -> list[Problem]:
    """Edge types whose usable depth is more than their new height.

    Parameters
    ----------
    types : Source
        The table of edge types.
    """
    if not types.has(c.NEW_HEIGHT_IN, c.USABLE_DEPTH_IN):
        return []
    frame = types.frame
    deep = types.possible(c.USABLE_DEPTH_IN) > types.possible(c.NEW_HEIGHT_IN) * (1 + 1e-9)

    def say(row: int) -> Problem:
        found = types.written(c.USABLE_DEPTH_IN, row)
        allowed = types.span(c.USABLE_DEPTH_IN, None, frame[c.NEW_HEIGHT_IN].iloc[row]) + ", the new height"
        fix = f"Correct it, or {types.header(c.NEW_HEIGHT_IN)} ({types.written(c.NEW_HEIGHT_IN, row)}); for an insert edge it is the height of the insert."
        return types.problem("depth-above-height", row, c.USABLE_DEPTH_IN, found, allowed, fix)

    return types.listed("depth-above-height", c.USABLE_DEPTH_IN, np.flatnonzero(deep), say)


def check_heights(line: Timeline, types: Source | None, repeatability_in: float | None) -> list[Problem]:
    """Heights above the new edge or far below a worn one, and heights that rise within a segment.

    Parameters
    ----------
    line : Timeline
        What happened to the sets.
    types : Source or None
        The table of edge types, if it is there.
    repeatability_in : float or None
        Standard deviation of a reading from a gauge study [in].

    Returns
    -------
    list of Problem
        A height that is impossible or far below is not said to rise as well.
    """
    if not line.readings.has(c.HEIGHT_IN):
        return []
    possible = ~np.isnan(line.readings.possible(c.HEIGHT_IN)) & line.readings_judged()
    above, problems = _above_new(line, types, possible)
    below, doubts = _far_below(line, types, possible & ~above)
    return problems + doubts + _rises(line, possible & ~above & ~below, repeatability_in)


def repeatability_of(gauge: pd.DataFrame) -> float | None:
    """Standard deviation of repeated readings of one station by one reader, pooled over all of them [in].

    Parameters
    ----------
    gauge : DataFrame
        Columns `piece`, `station`, `reader`, `height_in` [in]; `tool` where it was recorded.

    Returns
    -------
    float or None
        None if nothing was read twice, or if all repeats agree to the last digit (then the tool is coarser than the
        reading error, and says nothing about it).

    Notes
    -----
    ``sqrt(sum((h - mean)^2) / (n - k))`` over the k combinations of piece, station, reader and tool.
    """
    whole = gauge.dropna(subset=[c.PIECE, c.STATION, c.READER, c.HEIGHT_IN])
    keys = [c.PIECE, c.STATION, c.READER, *([c.TOOL] if c.TOOL in whole else [])]
    cells = whole.groupby(keys, observed=True, dropna=False)[c.HEIGHT_IN]
    df = len(whole) - cells.ngroups
    if df < 1:
        return None
    spread = float(((whole[c.HEIGHT_IN] - cells.transform("mean")) ** 2).sum())
    return float(np.sqrt(spread / df)) if spread > 1e-12 else None


# ---------------------------------------------------------------- above the new height
def _above_new(
    line: Timeline, types: Source | None, possible: np.ndarray
) -> tuple[np.ndarray, list[Problem]]:
    """Which heights are above the new edge; said once where a type or a set, not a reading, is wrong."""
    if types is None or not types.has(c.EDGE_TYPE, c.NEW_HEIGHT_IN):
        return np.zeros(len(possible), dtype=bool), []
    source, frame = line.readings, line.segments
    kinds = frame[c.EDGE_TYPE].astype(object)
    new_height = _of_type(line, types, types.possible(c.NEW_HEIGHT_IN))
    above = possible & (source.possible(c.HEIGHT_IN) > new_height + ABOVE_NEW_IN + 1e-9)
    rows = np.flatnonzero(above)
    found = pd.DataFrame(
        {"row": rows, "kind": kinds.iloc[rows].to_numpy(), "set": frame[c.SET_ID].iloc[rows].to_numpy()}
    )
    problems, said = [], np.zeros(len(found), dtype=bool)
    for kind, mine in found.groupby("kind", sort=False):
        if len(mine) > FEW and mine["set"].nunique() > 1:
            problems.append(
                _new_height_wrong(
                    line, types, str(kind), rows[mine.index], int((kinds[possible] == kind).sum())
                )
            )
            said[mine.index] = True
    n_of_set = found.groupby("set", observed=True)["row"].transform("size").to_numpy() if len(found) else said
    first = (n_of_set > FEW) & ~found.duplicated("set").to_numpy()
    counts = dict(zip(rows[first], n_of_set[first], strict=True))
    told = rows[~said & (first | (n_of_set <= FEW))]

    def say(row: int) -> Problem:
        n = counts.get(row, 1)
        value = source.written(c.HEIGHT_IN, row) + (
            f", and {n - 1:,} more of this set are as high" if n > 1 else ""
        )
        limit = source.span(c.HEIGHT_IN, None, new_height[row] + ABOVE_NEW_IN)
        allowed = f"{limit} for {kinds.iloc[row]} (new height {source.number(c.HEIGHT_IN, new_height[row])})"
        fix = f"Correct the height or the set, or the edge type of the set in {line.sets.file}."
        return source.problem("height-above-new", row, c.HEIGHT_IN, value, allowed, fix)

    return above, problems + source.listed("height-above-new", c.HEIGHT_IN, told, say)


def _new_height_wrong(line: Timeline, types: Source, kind: str, rows: np.ndarray, read: int) -> Problem:
    source = line.readings
    position = int(np.flatnonzero((types.frame[c.EDGE_TYPE].astype(str) == kind).to_numpy())[0])
    found = (
        f"{types.written(c.NEW_HEIGHT_IN, position)} with {len(rows):,} of {read:,} readings well above it"
    )
    highest = types.number(c.NEW_HEIGHT_IN, float(source.possible(c.HEIGHT_IN)[rows].max()))
    fix = f"Correct the new height, or {source.header(c.HEIGHT_IN)} in {source.file} from row {source.row(int(rows[0]))} on."
    allowed = f"about {highest}, the largest height that was read"
    return types.problem("height-above-new", position, c.NEW_HEIGHT_IN, found, allowed, fix)


def _of_type(line: Timeline, types: Source, values: np.ndarray) -> np.ndarray:
    """What an edge type has, for every reading of it."""
    by_type = pd.Series(values, index=types.frame[c.EDGE_TYPE].astype(object))
    by_type = by_type[by_type.index.notna() & ~by_type.index.duplicated()]
    return line.segments[c.EDGE_TYPE].astype(object).map(by_type).to_numpy(dtype=float)


# ---------------------------------------------------------------- far below a worn edge
def _far_below(
    line: Timeline, types: Source | None, possible: np.ndarray
) -> tuple[np.ndarray, list[Problem]]:
    """Which heights are far below that of an edge worn to its limit; said once for each set."""
    if types is None or not types.has(c.EDGE_TYPE, c.NEW_HEIGHT_IN, c.USABLE_DEPTH_IN):
        return np.zeros(len(possible), dtype=bool), []
    source = line.readings
    worn = types.possible(c.NEW_HEIGHT_IN) - types.possible(c.USABLE_DEPTH_IN)
    worn_height = _of_type(line, types, worn)
    below = possible & (source.possible(c.HEIGHT_IN) < FAR_BELOW_SHARE * worn_height - 1e-9)
    sets = line.segments[c.SET_ID].astype(object)
    counts = sets[below].value_counts()

    def say(row: int) -> Problem:
        n, kind, limit = int(counts[sets.iloc[row]]), line.segments[c.EDGE_TYPE].iloc[row], worn_height[row]
        found = source.written(c.HEIGHT_IN, row) + (f", and {n - 1:,} more of this set" if n > 1 else "")
        allowed = f"usually {source.span(c.HEIGHT_IN, FAR_BELOW_SHARE * limit, None)} for {kind}"
        allowed += f" (it comes off at {source.number(c.HEIGHT_IN, limit)})"
        typed = float(source.in_file_unit(c.HEIGHT_IN, source.frame[c.HEIGHT_IN].iloc[row]))
        column, unit = source.table.column(c.HEIGHT_IN), source.unit(c.HEIGHT_IN)
        guess = other_unit(column, unit, typed, FAR_BELOW_SHARE * limit, column.high)
        fix = "Correct the height; if it is right, nothing is to be done."
        if guess:
            fix = f"Check it: in {UNIT_WORDS[guess[0]]} it would be usual (then the column is {guess[1]})."
        return source.problem("height-far-below", row, c.HEIGHT_IN, found, allowed, fix)

    rows = np.flatnonzero(below)
    first = rows[~sets.iloc[rows].duplicated().to_numpy()]
    return below, source.listed("height-far-below", c.HEIGHT_IN, first, say)


# ---------------------------------------------------------------- heights that rise
def _rises(line: Timeline, usable: np.ndarray, repeatability_in: float | None) -> list[Problem]:
    """Rises from one day to the next within a segment, once for each set and day."""
    days = _daily(line, usable)
    if len(days) < 2:
        return []
    same = np.append(False, days["segment"].to_numpy()[1:] == days["segment"].to_numpy()[:-1])
    mean, n = days["height"].to_numpy(), days["n"].to_numpy(dtype=float)
    step = np.nan_to_num(np.fmax(days["step"].to_numpy(), np.append(np.nan, days["step"].to_numpy()[:-1])))
    if repeatability_in is None:
        step = np.where(step > 0, step, ASSUMED_RESOLUTION_IN)
        error = step / np.sqrt(12)
    else:
        error = np.full(len(step), repeatability_in)
    previous_n = np.append(1.0, n[:-1])
    limit = np.maximum(2 * error * np.sqrt(1 / n + 1 / previous_n), step)  # rounding alone can make one step
    rise = mean - np.append(np.nan, mean[:-1])
    rising = same & (rise > limit + 1e-6)
    if not rising.any():
        return []
    days = days.assign(
        rise=rise,
        limit=limit,
        error=error,
        step=step,
        previous=np.append(-1, days["position"].to_numpy()[:-1]),
    )
    days = days.assign(compared=same, rising=rising)
    return _say_rises(line, days, repeatability_in is not None)


def _daily(line: Timeline, usable: np.ndarray) -> pd.DataFrame:
    """Mean height of each segment and moment, in order: segment, when, height, n, step, position of its first row."""
    frame = line.segments
    rows = np.flatnonzero(usable & frame[c.SEGMENT].notna().to_numpy() & frame[c.DATE].notna().to_numpy())
    part = frame.iloc[rows]
    stamp = part[c.DATE].to_numpy(dtype="datetime64[s]").astype(np.int64)
    unmarked = (
        (part[c.BASELINE] != "yes").fillna(True).to_numpy(dtype=bool)
        if c.BASELINE in part
        else np.ones(len(part), dtype=bool)
    )
    when = stamp * 2 + unmarked  # a baseline comes first on its day
    segment = part[c.SEGMENT].cat.codes.to_numpy()
    order = np.lexsort((rows, when, segment))
    segment, when, rows = segment[order], when[order], rows[order]
    starts = (
        np.flatnonzero(np.append(True, (segment[1:] != segment[:-1]) | (when[1:] != when[:-1])))
        if len(rows)
        else rows
    )
    size = np.diff(np.append(starts, len(rows)))
    height = frame[c.HEIGHT_IN].to_numpy(dtype=float)[rows]
    resolution = (
        frame[c.RESOLUTION_IN].to_numpy(dtype=float)[rows]
        if c.RESOLUTION_IN in frame
        else np.full(len(rows), np.nan)
    )
    return pd.DataFrame(
        {
            "segment": segment[starts],
            "moment": when[starts],
            "height": np.add.reduceat(height, starts) / size if len(starts) else height,
            "n": size,
            "step": np.fmax.reduceat(resolution, starts) if len(starts) else resolution,
            "position": rows[starts],
        }
    )


def _say_rises(line: Timeline, days: pd.DataFrame, studied: bool) -> list[Problem]:
    source, frame = line.readings, line.segments
    owner = pd.factorize(frame[c.SET_ID])[0][days["position"].to_numpy()]
    day = days["moment"].to_numpy() // (2 * DAY_S)
    group = (
        pd.DataFrame({"owner": owner, "day": day}).groupby(["owner", "day"], sort=False).ngroup().to_numpy()
    )
    n_compared = np.bincount(group[days["compared"].to_numpy()], minlength=group.max() + 1)
    rising = days.assign(group=group)[days["rising"].to_numpy()].sort_values("position")
    first = rising[~rising["group"].duplicated().to_numpy()]
    group_of = dict(zip(first["position"], first["group"], strict=True))
    unit = UNIT_NAMES.get(source.unit(c.HEIGHT_IN), "")

    def length(value: float) -> str:
        return f"{source.in_file_unit(c.HEIGHT_IN, value):.3g} {unit}"

    def say(position: int) -> Problem:
        mine = rising[(rising["group"] == group_of[position]).to_numpy()]
        head = mine.iloc[0]
        before = int(head["previous"])
        found = f"{source.written(c.HEIGHT_IN, position)} after {source.written(c.HEIGHT_IN, before)}"
        found += f" on {day_text(frame[c.DATE].iloc[before])} (row {source.row(before)})"
        stations = [f"{frame[c.STATION].iloc[int(row)]:g}" for row in mine["position"]]
        if len(mine) > 1:
            found += f"; {len(mine)} stations rise: {listed(stations)}"
        why = (
            "one step of the tool"
            if head["limit"] <= head["step"] + 1e-12
            else "twice the standard deviation of a difference"
        )
        error = f"reading error {length(head['error'])} from the {'gauge study' if studied else 'resolution of the tool'}"
        allowed = f"a rise of up to {length(head['limit'])} ({why}; {error})"
        every = len(mine) > 1 and len(mine) == n_compared[group_of[position]]
        return source.problem(
            "height-rises", position, c.HEIGHT_IN, found, allowed, _rise_fix(line, every, studied)
        )

    return source.listed("height-rises", c.HEIGHT_IN, first["position"], say)


def _rise_fix(line: Timeline, every: bool, studied: bool) -> str:
    events = line.events.file
    if every:
        fix = (
            f"Every station rises: look for a new set, a flip or a re-reference that is not in {events}, or readings "
            "under the wrong set."
        )
    else:
        fix = (
            f"Look for a section swap or flip that is not in {events}, a wrong station or a wrong set; else correct the "
            "height."
        )
    return fix if studied else f"{fix} A gauge study would tell how large the reading error is."
