"""Which sets and readings are judged, and which are left to another message."""

import pandas as pd
import pytest
from conftest import TABLES, write_trial
from season import shifts, table

from trialkit.trial import timeline
from trialkit.trial.findings import sources_of
from trialkit.trial.intake import read_draft


def read(folder, doubled=None, **tables):
    draft = read_draft(write_trial(folder, **tables))
    return timeline.read_timeline(sources_of(draft), draft.frames, doubled or {})


def test_everything_of_a_clean_trial_is_judged(tmp_path):
    line = read(tmp_path, shifts=shifts())
    assert line.in_doubt == frozenset()
    assert line.complete
    assert line.readings_judged().all()
    assert line.lives["set_id"].tolist() == ["S1", "S2", "S3", "S4"]
    assert line.segments["segment"].notna().all()


@pytest.mark.parametrize(
    ("cells", "in_doubt"),
    [
        ({"r2_date": ""}, {"S1"}),
        ({"r2_event": "instal"}, {"S1"}),
        ({"r2_truck_id": "T9"}, {"S1"}),
        ({"r2_set_id": "S9"}, {"S9"}),
        ({"r2_set_id": "", "r3_truck_id": "T1"}, {"S2"}),
        ({"r2_set_id": "", "r2_truck_id": ""}, {"S2", "S3", "S4"}),
    ],
)
def test_sets_in_doubt(tmp_path, cells, in_doubt):
    assert read(tmp_path, set_events=table("set_events", **cells)).in_doubt == in_doubt


def test_doubled_events_and_readings(tmp_path):
    line = read(tmp_path, {"set_events": frozenset({3}), "wear_readings": frozenset({2, 3})})
    assert line.in_doubt == {"S2"}
    judged = pd.Series(line.readings_judged(), index=line.segments.index)
    assert not judged.loc[[2, 3]].any()
    assert judged.loc[4]
    assert not judged.loc[11]


def test_unknown_sets_make_it_incomplete(tmp_path):
    line = read(tmp_path, wear_readings=table("wear_readings", r2_set_id="S9"))
    assert not line.complete
    assert line.in_doubt == {"S9"}


@pytest.mark.parametrize(
    "events", [None, TABLES["set_events"].splitlines()[0], TABLES["set_events"].replace("event,", "what,")]
)
def test_no_timeline_without_events(tmp_path, events):
    assert read(tmp_path, set_events=events) is None


@pytest.mark.parametrize("name", ["wear_readings", "edge_sets"])
def test_timeline_without_other_tables(tmp_path, name):
    line = read(tmp_path, **{name: None})
    assert len(line.lives) == 4
    assert line.in_doubt == frozenset()
