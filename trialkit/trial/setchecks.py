"""Rules for sets: what may happen to one, in which order, and where it can be.

Answers: is each set put on before it is read, on one truck at a time, and alone on its plow position?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.errors import Problem
from trialkit.formatting import counted, listed
from trialkit.tables import ENDS_LIFE
from trialkit.trial import lineage
from trialkit.trial.findings import Source, day_text
from trialkit.trial.moments import moments_of
from trialkit.trial.references import suggestion, unknown_rows
from trialkit.trial.stays import END_ROW, INSTALL
from trialkit.trial.timeline import Timeline

FEWEST_TRUCKS = 2
"""Trucks of an edge type from which on an interval can be given."""


def check_sets(line: Timeline, types: Source | None) -> tuple[list[Problem], frozenset[str], frozenset[str]]:
    """Everything that is wrong with the sets' events, stays and places.

    Parameters
    ----------
    line : Timeline
        What happened to the sets.
    types : Source or None
        The table of edge types, if it is there.

    Returns
    -------
    problems : list of Problem
        In no particular order.
    in_doubt : frozenset of str
        Sets that are not to be judged further.
    strayed : frozenset of str
        Sets with readings outside their life, of which one of the dates is wrong.
    """
    order, disordered = _event_order(line)
    never = _never_installed(line)
    both_on, crowded = _two_sets_active(line, disordered)
    problems = order + _no_install(line, never - _installed_as_another(line, never, disordered)) + both_on
    outside, strayed = _outside_life(line, disordered | never)
    problems += outside + _station_off_edge(line)
    in_doubt = frozenset(line.in_doubt | disordered | never | crowded)
    if line.complete and not in_doubt and not strayed:
        problems += _no_readings(line)
        kinds = line.sets.frame[c.EDGE_TYPE]
        typed = kinds.notna().all() and not unknown_rows(line.sets, c.EDGE_TYPE, types).any()
        if types is not None and types.has(c.EDGE_TYPE) and typed:
            problems += _few_trucks(line, types)
    return problems, in_doubt, frozenset(strayed)


def check_reference(types: Source | None, sets: Source | None, reference: str, file: str) -> list[Problem]:
    """Whether the reference edge type of the settings is one of the edge types.

    Parameters
    ----------
    types : Source or None
        The table of edge types; nothing is checked without it.
    sets : Source or None
        The table of sets; where it names the reference, that it is not an edge type is reported there.
    reference : str
        The reference edge type.
    file : str
        File of the settings.
    """
    if types is None or not types.has(c.EDGE_TYPE) or not len(types.frame):
        return []
    known = [str(name) for name in types.frame[c.EDGE_TYPE].dropna()]
    if reference in known or types.frame[c.EDGE_TYPE].isna().any():
        return []
    if sets is not None and (sets.frame[c.EDGE_TYPE].astype(object) == reference).any():
        return []
    fix = suggestion(reference, known) or f"Add it to {types.file}, or name one of its edge types."
    allowed = listed(known, "or")
    return [
        Problem(
            "reference-missing",
            file,
            column="reference_edge_type",
            found=f'"{reference}"',
            allowed=allowed,
            fix=fix,
        )
    ]


def check_labels(types: Source) -> list[Problem]:
    """Edge types that would be printed under the same name, so that no reader could tell them apart.

    Parameters
    ----------
    types : Source
        The table of edge types.
    """
    if not types.has(c.EDGE_TYPE, c.LABEL):
        return []
    first: dict[str, int] = {}
    again: dict[int, str] = {}
    for position, (kind, label) in enumerate(
        zip(types.frame[c.EDGE_TYPE], types.frame[c.LABEL], strict=True)
    ):
        name = kind if pd.isna(label) else label
        alike = "" if pd.isna(name) else " ".join(str(name).split()).casefold()
        if alike in first and not pd.isna(label):
            again[position] = f'"{label}", as in row {first[alike]}'
        if alike:
            first.setdefault(alike, types.row(position))

    def say(position: int) -> Problem:
        allowed, fix = "a name of its own for each edge type", "Give one of them another label."
        return types.problem("label-twice", position, c.LABEL, again[position], allowed, fix)

    return types.listed("label-twice", c.LABEL, again, say)


# ---------------------------------------------------------------- the order of events
def _event_order(line: Timeline) -> tuple[list[Problem], set[str]]:
    """Events that cannot follow each other, and the sets that have them."""
    events = line.events
    ordered = lineage.stay_events(events.frame)
    ordered = ordered[line.judged(ordered[c.SET_ID])]
    set_id = ordered[c.SET_ID].astype(str).to_numpy()
    install = (ordered[c.EVENT] == INSTALL).to_numpy()
    has_install = pd.Series(install).groupby(set_id).transform("any").to_numpy()
    same = np.append(False, set_id[1:] == set_id[:-1]) if len(set_id) else np.zeros(0, dtype=bool)
    before = np.append(True, install[:-1]) if len(set_id) else same
    twice_on = install & same & before
    twice_off = ~install & same & ~before
    off_first = ~install & ~same & has_install
    position = line.event_position(ordered.index)
    problems = []
    for k in np.flatnonzero(twice_on | twice_off | off_first).tolist():
        found, allowed, fix = _out_of_order(events, position, k, install[k], off_first[k])
        problems.append(events.problem("event-order", position[k], c.EVENT, found, allowed, fix))
    wrong = set(set_id[twice_on | twice_off | off_first])
    between, strayed = _changes_outside(line, wrong)
    elsewhere, moved = _on_another_truck(line, wrong | strayed)
    return problems + between + elsewhere, wrong | strayed | moved


def _out_of_order(
    events: Source, position: np.ndarray, k: int, install: bool, first: bool
) -> tuple[str, str, str]:
    event = str(events.frame[c.EVENT].iloc[position[k]])
    if first:
        return event, "an install first", "Add the install before it, or correct the date or the set."
    last, row = str(events.frame[c.EVENT].iloc[position[k - 1]]), events.row(position[k - 1])
    when = day_text(events.frame[c.DATE].iloc[position[k - 1]])
    if install:
        fix = "Add the event with which it came off in between, or correct the set of one of the two rows."
        return event, f"nothing but a removal after the install of {when} in row {row}", fix
    fix = "Keep one of the two rows, or add the install in between."
    return (
        event,
        f"nothing but an install after the {last} of {when} in row {row}, which took the set off",
        fix,
    )


def _changes_outside(line: Timeline, skipped: set[str]) -> tuple[list[Problem], set[str]]:
    """Flips, swaps and re-references of a set that was not on a truck."""
    events = line.events
    kind = events.frame[c.EVENT]
    installed = events.frame[c.SET_ID][kind == INSTALL].astype(str).unique()
    changes = kind.notna() & (kind != INSTALL) & ~kind.isin(ENDS_LIFE)
    changes &= line.judged(events.frame[c.SET_ID]) & events.frame[c.SET_ID].isin(
        list(set(installed) - skipped)
    )
    position = np.flatnonzero(changes.to_numpy())
    asked = events.frame[[c.SET_ID, c.DATE, c.STATION]].iloc[position]
    placed = lineage.wear_segments(asked, events.frame, line.sets.frame)[c.TRUCK_UNIT]
    off = position[placed.isna().to_numpy()]
    fix = "Correct the date or the set, or the install or removal."

    def say(row: int) -> Problem:
        spans = (
            f"a day on which the set was on a truck: {_spans(line, str(events.frame[c.SET_ID].iloc[row]))}"
        )
        found = day_text(events.frame[c.DATE].iloc[row])
        return events.problem("event-order", row, c.DATE, found, spans, fix)

    strayed = set(events.frame[c.SET_ID].iloc[off].astype(str))
    return events.listed("event-order", c.DATE, off, say), strayed


def _on_another_truck(line: Timeline, skipped: set[str]) -> tuple[list[Problem], set[str]]:
    """Events of a set that name another truck or position than its install."""
    events = line.events
    own = lineage.truck_unit(events.frame).astype(object)
    expected = pd.Series(None, index=events.frame.index, dtype=object)
    lives = line.lives.assign(**{c.TRUCK_UNIT: lineage.truck_unit(line.lives).astype(object)})
    ended = lives[lives[END_ROW].notna()]
    expected.loc[ended[END_ROW].astype(int)] = ended[c.TRUCK_UNIT].to_numpy()
    kind = events.frame[c.EVENT]
    changes = (
        kind.notna() & events.frame[c.DATE].notna() & (kind != INSTALL) & ~kind.isin(ENDS_LIFE)
    ).to_numpy()
    asked = events.frame.loc[changes, [c.SET_ID, c.DATE, c.STATION]]
    placed = lineage.wear_segments(asked, events.frame, line.sets.frame)[c.TRUCK_UNIT]
    expected.loc[asked.index] = placed.astype(object).to_numpy()
    wrong = (expected.notna() & own.notna() & (expected != own)).to_numpy()
    wrong = (
        wrong & line.judged(events.frame[c.SET_ID]) & ~events.frame[c.SET_ID].isin(list(skipped)).to_numpy()
    )

    def say(row: int) -> Problem:
        allowed = f"{expected.iloc[row]}, where the set was installed"
        fix = "Correct the truck or the position, or add the events with which the set was moved."
        return events.problem("event-order", row, c.TRUCK_ID, own.iloc[row], allowed, fix)

    position = np.flatnonzero(wrong)
    return events.listed("event-order", c.TRUCK_ID, position, say), set(
        events.frame[c.SET_ID].iloc[position].astype(str)
    )


def _spans(line: Timeline, set_id: str) -> str:
    """When and where a set was on."""
    mine = line.lives[(line.lives[c.SET_ID] == set_id).to_numpy()].sort_values(c.INSTALLED)
    spans = []
    for stay in mine.itertuples():
        removed = getattr(stay, c.REMOVED)
        end = f"to {day_text(removed)}" if pd.notna(removed) else "on"
        spans.append(
            f"{day_text(getattr(stay, c.INSTALLED))} {end} ({getattr(stay, c.TRUCK_ID)}, {getattr(stay, c.PLOW_POSITION)})"
        )
    return f"from {listed(spans)}"


# ---------------------------------------------------------------- sets without an install
def _never_installed(line: Timeline) -> set[str]:
    """Judged sets that have readings or events but no install."""
    frame = line.events.frame
    known = frame[c.SET_ID].notna().to_numpy() & ~unknown_rows(line.events, c.SET_ID, line.sets)
    installed = set(frame[c.SET_ID][frame[c.EVENT] == INSTALL].dropna().astype(str))
    seen = set(frame[c.SET_ID].dropna().astype(str))
    if known.all():  # else the install may be in the row without a known set
        seen |= set(line.readings.frame[c.SET_ID].dropna().astype(str).unique())
    return seen - installed - line.in_doubt


def _installed_as_another(line: Timeline, never: set[str], disordered: set[str]) -> set[str]:
    """Sets whose install may stand under the name of a set that is out of order or in doubt.

    That is so if such an install is on a truck position of the set, or if the set has no events at all.
    """
    frame = line.events.frame
    doubtful = frame[c.SET_ID].isin(list(disordered | line.in_doubt)) & (frame[c.EVENT] == INSTALL)
    if not doubtful.any():
        return set()
    unit = lineage.truck_unit(frame).astype(object)
    beside = frame[c.SET_ID].isin(list(never)) & unit.isin(list(unit[doubtful].dropna().unique()))
    without_events = never - set(frame[c.SET_ID].dropna().astype(str))
    return set(frame[c.SET_ID][beside].astype(str)) | without_events


def _no_install(line: Timeline, never: set[str]) -> list[Problem]:
    problems = []
    fix = f"Add the install of this set to {line.events.file}, or correct the set."
    for source in (line.events, line.readings):
        mine = source.frame[c.SET_ID].isin(list(never)).to_numpy()
        rows = pd.Series(np.flatnonzero(mine)).groupby(
            source.frame[c.SET_ID][mine].astype(str).to_numpy(), sort=False
        )
        noun = "event" if source is line.events else "reading"
        for set_id, positions in rows:
            found = f"{set_id} with {counted(len(positions), noun)} and no install"
            problems.append(
                source.problem(
                    "no-install",
                    int(positions.iloc[0]),
                    c.SET_ID,
                    found,
                    "a set that was installed",
                    fix,
                    key="",
                )
            )
            never = never - {str(set_id)}
    return problems


# ---------------------------------------------------------------- places
def _two_sets_active(line: Timeline, disordered: set[str]) -> tuple[list[Problem], set[str]]:
    """Sets put on a truck position while another is still there, once for each set that is in the way; and all of them."""
    lives = line.lives
    sure = line.judged(lives[c.SET_ID]) & ~lives[c.SET_ID].isin(list(disordered)).to_numpy()
    lives = lives[sure & lives[c.TRUCK_ID].notna().to_numpy() & lives[c.PLOW_POSITION].notna().to_numpy()]
    on, off = moments_of(lives[c.INSTALLED]), moments_of(lives[c.REMOVED])
    unit = lineage.truck_unit(lives).cat.codes.to_numpy()
    problems: list[Problem] = []
    told: set[int] = set()
    crowded: set[str] = set()
    last: dict[int, int] = {}
    for k in np.lexsort((np.where(off.known, off.last, np.iinfo(np.int64).max), on.first, unit)):
        other = last.get(unit[k])
        if other is not None and other not in told and _overlap(off, other, on, k):
            told.add(other)
            crowded |= {str(lives[c.SET_ID].iloc[other]), str(lives[c.SET_ID].iloc[k])}
            problems.append(_both_on(line, lives, other, k))
        if other is None or not off.known[k] or (off.known[other] and off.last[k] > off.last[other]):
            last[unit[k]] = k
    return problems, crowded


def _overlap(off, earlier: int, on, later: int) -> bool:
    """Whether the earlier set was certainly still on when the later one was put on."""
    if not off.known[earlier] or off.day[earlier] != on.day[later]:
        return not off.known[earlier] or off.day[earlier] > on.day[later]
    return bool(off.timed[earlier] and on.timed[later] and off.second[earlier] > on.second[later])


def _both_on(line: Timeline, lives: pd.DataFrame, earlier: int, later: int) -> Problem:
    events, stay = line.events, lives.iloc[earlier]
    position = int(line.event_position(lives.index[[later]])[0])
    end = (
        f"removed on {day_text(stay[c.REMOVED])} in row {stay[END_ROW]}"
        if pd.notna(stay[c.REMOVED])
        else "not removed"
    )
    unit = f"{stay[c.TRUCK_ID]}, {stay[c.PLOW_POSITION]}"
    found = f"{lives[c.SET_ID].iloc[later]} on {unit}, where {stay[c.SET_ID]} is on since {day_text(stay[c.INSTALLED])} (row {lives.index[earlier]}, {end})"
    fix = f"Add the removal of {stay[c.SET_ID]}, or correct the truck, the position or a date."
    return events.problem("two-sets-active", position, c.SET_ID, found, "one set at a time", fix)


def _outside_life(line: Timeline, skipped: set[str]) -> tuple[list[Problem], set[str]]:
    """Readings before the install or after the removal of their set, once for each set; and those sets."""
    source, frame = line.readings, line.segments
    outside = (frame[c.TRUCK_UNIT].isna() & frame[c.DATE].notna()).to_numpy() & line.readings_judged()
    installed = set(line.lives[c.SET_ID].astype(str)) - skipped
    position = np.flatnonzero(outside & frame[c.SET_ID].isin(list(installed)).to_numpy())
    part = pd.DataFrame({"position": position, c.DATE: frame[c.DATE].iloc[position].to_numpy()})
    set_id = frame[c.SET_ID].iloc[position].astype(str).to_numpy()
    sets = part.groupby(set_id, sort=False).agg(
        position=("position", "first"), n=("position", "size"), low=(c.DATE, "min"), high=(c.DATE, "max")
    )
    groups = {int(row[0]): row[1:] for row in sets.itertuples(index=False, name=None)}
    fix = f"Correct the date or the set, or the install or removal in {line.events.file}."

    def say(row: int) -> Problem:
        n, low, high = groups[row]
        found = day_text(low) if low == high else f"{day_text(low)} to {day_text(high)}"
        found += f" in {n:,} rows" if n > 1 else ""
        spans = _spans(line, str(frame[c.SET_ID].iloc[row]))
        return source.problem("reading-outside-life", row, c.DATE, found, spans, fix)

    return source.listed("reading-outside-life", c.DATE, sets["position"], say), set(set_id)


def _station_off_edge(line: Timeline) -> list[Problem]:
    """Stations beyond those read first, once for each set and station."""
    source, frame = line.readings, line.segments
    fits = frame[c.SEGMENT].notna().to_numpy() & line.readings_judged()
    position = np.flatnonzero(fits)
    read = pd.DataFrame(
        {
            c.SET_ID: pd.factorize(frame[c.SET_ID])[0][position],
            c.STATION: frame[c.STATION].to_numpy(dtype=float)[position],
            c.DATE: moments_of(frame[c.DATE]).day[position],
        }
    )
    first_day = read.groupby(c.SET_ID)[c.DATE].transform("min")
    begun = (read[c.DATE] == first_day).to_numpy() | (frame[c.BASELINE] == "yes").fillna(False).to_numpy(
        dtype=bool
    )[position]
    largest = read[c.SET_ID].map(read[begun].groupby(c.SET_ID)[c.STATION].max())
    beyond = read.assign(position=position)[(read[c.STATION] > largest).to_numpy()]
    beyond = (
        beyond.assign(largest=largest)
        .groupby([c.SET_ID, c.STATION], sort=False)
        .agg(first=("position", "first"), largest=("largest", "first"))
    )
    at_install = dict(zip(beyond["first"], beyond["largest"], strict=True))
    fix = "Correct the station, or the set; a station without a first reading adds little."

    def say(row: int) -> Problem:
        allowed = f"up to {at_install[row]:g}, the largest station read at first"
        return source.problem(
            "station-off-edge", row, c.STATION, f"{frame[c.STATION].iloc[row]:g}", allowed, fix
        )

    return source.listed("station-off-edge", c.STATION, beyond["first"], say)


# ---------------------------------------------------------------- sets and types without enough
def _no_readings(line: Timeline) -> list[Problem]:
    read = line.readings.frame[c.SET_ID].dropna().unique()
    if not len(read):
        return []  # the whole table is missing or empty, which is reported
    first = line.lives[~line.lives[c.SET_ID].isin(list(read)).to_numpy()].drop_duplicates(c.SET_ID)
    fix = f"Add its readings to {line.readings.file}; until then the set counts only as installed."
    return [
        line.events.problem("no-readings", int(position), c.SET_ID, str(set_id), "", fix, key="")
        for position, set_id in zip(line.event_position(first.index), first[c.SET_ID], strict=True)
    ]


def _few_trucks(line: Timeline, types: Source) -> list[Problem]:
    placed = line.segments[[c.EDGE_TYPE, c.TRUCK_ID]].dropna().drop_duplicates()
    if not len(placed):
        return []
    trucks = placed[c.EDGE_TYPE].astype(str).value_counts()
    problems = []
    for position, name in enumerate(types.frame[c.EDGE_TYPE]):
        n = int(trucks.get(str(name), 0))
        if pd.notna(name) and n < FEWEST_TRUCKS:
            fix = "Put it on another truck if you can; until then the report gives no interval for it."
            found = f"{name}, read on {counted(n, 'truck') if n else 'no truck'}"
            problems.append(
                types.problem(
                    "few-trucks", position, c.EDGE_TYPE, found, f"{FEWEST_TRUCKS} trucks or more", fix, key=""
                )
            )
    return problems
