"""What the report says about the draw, and about doubts of what the trucks carried.

Answers: where may what looks like the edge be the truck or its route instead?
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from trialkit import columns as c
from trialkit.formatting import counted, listed, position_name, sentence_case
from trialkit.report import assignment_study, study
from trialkit.trial.assigned import CARRIED, LATE
from trialkit.trial.checks import Trial

NOT_RECORDED = "How edge types were given to trucks is not recorded, so what looks like a difference of edges may be one of routes."
MAY_BE_THE_TRUCK = "What looks like the edge may be the truck or its route."
LOT_SAYS_NOTHING = "The comparison goes by what a plow carried, and there no lot stands behind it."
NAMED = 4
"""So many plows are told one by one; the others are counted."""


def limits(trial: Trial) -> list[str]:
    """How far the edge types were given to the plows that are compared by lot, and carried as they were given."""
    if not trial.has(assignment_study.ASSIGNMENTS):
        return [NOT_RECORDED]
    labels = study.labels(trial)
    said = [*_chosen(assignment_study.chosen(trial), labels), *departed(trial)]
    missing = assignment_study.unrecorded(trial)
    if len(missing):
        names = [_plow(truck, place) for truck, place in missing.itertuples(index=False, name=None)]
        said.append(
            f"How {_some(names)} got {'its' if len(names) == 1 else 'their'} edge type is not recorded."
        )
    return said


def doubts(trial: Trial) -> list[str]:
    """Sets that went on again as new, and plows without records: what the warnings mean for the findings."""
    warned = trial.problems_of(study.EVENTS)
    events = trial[study.EVENTS]
    rows = [p.row for p in warned if p.code == "worn-set-as-new"]
    again = events.loc[events.index.isin(rows), c.SET_ID]
    silent = [p.key.split(", ") for p in warned if p.code == "position-silent"]
    said = []
    if len(again):
        names = list(dict.fromkeys(str(name) for name in again))
        if len(names) == 1:
            said.append(
                f"{names[0]} was taken off worn and put on again as new. If that was another set, its wear is that of two."
            )
        else:
            said.append(
                f"{_some(names)} were taken off worn and put on again as new. If those were other sets, their wear is that of two each."
            )
    if silent:
        plows = [_plow(*key) for key in silent if len(key) == 2]
        has, its = ("has", "Its set counts") if len(plows) == 1 else ("have", "Their sets count")
        said.append(
            f"{sentence_case(_some(plows))} {has} no record for long before the others end. {its} as on to the end, worn as when last "
            "read."
        )
    return said


def departed(trial: Trial) -> list[str]:
    """Plows that carried another edge type than assigned, a sentence for each, and what that does to the comparison."""
    if not trial.has(assignment_study.ASSIGNMENTS):
        return []
    labels = study.labels(trial)
    assigned = trial[assignment_study.ASSIGNMENTS].astype(
        {c.TRUCK_ID: str, c.PLOW_POSITION: str, c.EDGE_TYPE: str}
    )
    keys = [c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE]
    how = assigned.drop_duplicates(keys).set_index(keys)[c.HOW].astype(str)
    found = assignment_study.departed(trial)
    said = []
    for key, own in found.groupby([*keys, CARRIED, LATE], sort=False):
        truck, place, kind, carried, late = key
        verb = "drawn for" if how.get((truck, place, kind)) == "random" else "to carry"
        still = f"still carried {_label(carried, labels)} in the middle of its period" if late else (
            f"carried {_label(carried, labels)} ({counted(own[c.SET_ID].nunique(), 'set')})"
        )  # fmt: skip
        said.append(f"{sentence_case(_plow(truck, place))} was {verb} {_label(kind, labels)} and {still}.")
    if not said:
        return []
    rest = [f"{counted(len(said) - NAMED, 'more such case')} can be found among the warnings."]
    return [" ".join([*said[:NAMED], *(rest if len(said) > NAMED else []), LOT_SAYS_NOTHING])]


def _chosen(rows: pd.DataFrame, labels: Mapping[str, str]) -> list[str]:
    """Plows whose edge type was chosen, those of one type and reason together."""
    told: dict[tuple[str, str], list[str]] = {}
    for row in rows.drop_duplicates(assignment_study.PLOW).to_dict("records"):
        reason = "" if pd.isna(row[c.REASON]) else str(row[c.REASON]).strip().rstrip(".")
        told.setdefault((str(row[c.EDGE_TYPE]), reason), []).append(
            _plow(row[c.TRUCK_ID], row[c.PLOW_POSITION])
        )
    said = []
    for (kind, reason), names in told.items():
        why = f"the reason on record: {reason}" if reason else "no reason is recorded"
        were = "was" if len(names) == 1 else "were"
        start = sentence_case(f"{_some(names)} {were} given")
        said.append(f"{start} {_label(kind, labels)} by choice and not by lot ({why}).")
    rest = sum(len(names) for names in list(told.values())[NAMED:])
    more = [
        f"So {'was' if rest == 1 else 'were'} {counted(rest, 'more plow')}; the reasons stand in assignments."
    ]
    return [" ".join([*said[:NAMED], *(more if rest else []), MAY_BE_THE_TRUCK])] if said else []


def _plow(truck: object, place: object) -> str:
    """A plow within a sentence.

    Examples
    --------
    >>> _plow("T-11", "front"), _plow("T-04", "wing_right")
    ('the front plow of T-11', 'the right wing plow of T-04')
    """
    return f"the {position_name(str(place)).replace('_', ' ')} plow of {truck}"


def _some(names: list[str]) -> str:
    rest = len(names) - NAMED
    return listed([*names[:NAMED], f"{rest} more"] if rest > 1 else names)


def _label(kind: object, labels: Mapping[str, str]) -> str:
    return labels.get(str(kind), str(kind).replace("_", " "))
