"""From a trial to what its assignment is worth: where it was not left to the lot, and where it was not carried out.

Answers: on which plows that are compared was the edge type chosen, or another one carried than the one assigned?

A comparison is made within a plow position. A position on which nothing is set against the reference is in no comparison, and
how its plows got their edges decides nothing.
"""

from __future__ import annotations

import pandas as pd

from trialkit import columns as c
from trialkit.report import study
from trialkit.trial import lineage
from trialkit.trial.assigned import departures, past_middles
from trialkit.trial.checks import Trial

ASSIGNMENTS = "assignments"
NOT_DRAWN = ("forced", "swap")
"""Ways in which a truck gets its edge type other than by lot."""
PLOW = [c.TRUCK_ID, c.PLOW_POSITION]


def compared_positions(trial: Trial) -> frozenset[str]:
    """Plow positions on which the reference was carried and another edge type as well."""
    lives = lineage.set_lives(trial[study.EVENTS])
    types = trial[study.SETS].set_index(c.SET_ID)[c.EDGE_TYPE].astype(str)
    carried = pd.DataFrame(
        {
            c.PLOW_POSITION: lives[c.PLOW_POSITION].astype(str),
            c.EDGE_TYPE: lives[c.SET_ID].astype(str).map(types),
        }
    ).dropna()
    reference = trial.settings.reference_edge_type
    found = carried.groupby(c.PLOW_POSITION)[c.EDGE_TYPE].agg(set)
    return frozenset(str(place) for place, kinds in found.items() if reference in kinds and len(kinds) > 1)


def chosen(trial: Trial) -> pd.DataFrame:
    """Assignments of plows that are compared and were given their edge type by choice; rows of the table."""
    assigned = trial[ASSIGNMENTS]
    by_choice = assigned[c.HOW].astype(str).isin(NOT_DRAWN)
    return _as_text(assigned[by_choice & assigned[c.PLOW_POSITION].isin(compared_positions(trial))])


def departed(trial: Trial) -> pd.DataFrame:
    """Sets of another edge type than assigned on plows that are compared; see `assigned.departures`."""
    assigned = trial[ASSIGNMENTS]
    agreed = trial.settings.plan
    middles = past_middles(assigned, agreed.season_start, agreed.season_end, trial.last_data_date)
    found = departures(assigned, lineage.set_lives(trial[study.EVENTS]), trial[study.SETS], middles)
    return found[found[c.PLOW_POSITION].isin(compared_positions(trial))]


def unrecorded(trial: Trial) -> pd.DataFrame:
    """Plows that are compared and of which it is not recorded how they got their edge type: truck_id, plow_position."""
    lives = _as_text(lineage.set_lives(trial[study.EVENTS])[PLOW]).drop_duplicates()
    known = set(_as_text(trial[ASSIGNMENTS][PLOW]).itertuples(index=False, name=None))
    missing = [plow not in known for plow in lives.itertuples(index=False, name=None)]
    found = lives[missing]
    return found[found[c.PLOW_POSITION].isin(compared_positions(trial))]


def not_by_lot(trial: Trial) -> set[tuple[str, str]]:
    """Truck and position of every plow whose edge was not, or not only, the one that was drawn by lot."""
    assigned = trial[ASSIGNMENTS]
    by_choice = _as_text(assigned[assigned[c.HOW].astype(str).isin(NOT_DRAWN)][PLOW])
    plows = pd.concat([by_choice, departed(trial)[PLOW]])
    return {(str(truck), str(place)) for truck, place in plows.itertuples(index=False, name=None)}


def _as_text(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.astype(dict.fromkeys(PLOW, str))
