"""Stays of sets on trucks, on clean and on dirty events."""

import pandas as pd
import pytest

from trialkit.trial import stays


def events(*rows):
    """Rows of (set, truck, date, event) or with counter and reason after them."""
    filled = [(*row, *([None] * (6 - len(row)))) for row in rows]
    frame = pd.DataFrame(filled, columns=["set_id", "truck_id", "date", "event", "counter_mi", "reason"])
    frame.insert(2, "plow_position", "front")
    frame["date"] = pd.to_datetime(frame["date"], format="ISO8601")
    frame.index = pd.RangeIndex(2, 2 + len(frame), name="row")
    return frame


def spans(frame):
    lives = stays.set_lives(frame)
    ends = [end if pd.notna(end) else None for end in lives["end_row"]]
    return list(zip(lives["set_id"], lives["truck_id"], lives.index, ends, strict=True))


def test_install_and_removal_make_a_stay():
    lives = stays.set_lives(
        events(
            ("A", "T1", "2031-01-14", "remove", 300.0, "worn_to_limit"),
            ("A", "T1", "2030-11-20", "install", 100.0),
        )
    )
    row = lives.iloc[0]
    assert lives.index.tolist() == [3]
    assert (row["installed"], row["removed"]) == (pd.Timestamp("2030-11-20"), pd.Timestamp("2031-01-14"))
    assert (row["install_counter_mi"], row["remove_counter_mi"]) == (100.0, 300.0)
    assert (row["end_event"], row["end_reason"], row["end_row"]) == ("remove", "worn_to_limit", 2)


def test_a_set_still_on_has_no_removal():
    row = stays.set_lives(events(("A", "T1", "2030-11-20", "install"))).iloc[0]
    assert pd.isna(row["removed"])
    assert pd.isna(row["remove_counter_mi"])
    assert pd.isna(row["end_row"])
    assert row["end_event"] is None or pd.isna(row["end_event"])


@pytest.mark.parametrize("end", ["remove", "break", "lost", "season_end"])
def test_every_life_ending_event_ends_the_stay(end):
    assert spans(events(("A", "T1", "2030-11-20", "install"), ("A", "T1", "2031-01-14", end))) == [
        ("A", "T1", 2, 3)
    ]


@pytest.mark.parametrize("change", ["flip", "section_swap", "re_reference"])
def test_changes_do_not_end_the_stay(change):
    found = spans(events(("A", "T1", "2030-11-20", "install"), ("A", "T1", "2031-01-14", change)))
    assert found == [("A", "T1", 2, None)]


def test_swap_on_one_day_gives_two_stays_that_meet():
    frame = events(
        ("B", "T1", "2031-01-14", "install"),
        ("A", "T1", "2031-01-14", "remove"),
        ("A", "T1", "2030-11-20", "install"),
    )
    assert spans(frame) == [("A", "T1", 4, 3), ("B", "T1", 2, None)]


def test_move_to_another_truck_on_one_day_gives_two_stays():
    frame = events(
        ("A", "T2", "2031-01-14", "install"),
        ("A", "T1", "2030-11-20", "install"),
        ("A", "T1", "2031-01-14", "remove"),
    )
    assert spans(frame) == [("A", "T1", 3, 4), ("A", "T2", 2, None)]


def test_install_and_loss_on_one_day_are_one_stay():
    frame = events(("A", "T1", "2031-01-14", "lost"), ("A", "T1", "2031-01-14", "install"))
    assert spans(frame) == [("A", "T1", 3, 2)]


def test_times_within_a_day_decide():
    frame = events(
        ("A", "T1", "2030-11-20", "install"), ("A", "T1", "2031-01-14T15:00", "install"),
        ("A", "T1", "2031-01-14T09:00", "remove"), ("A", "T1", "2031-01-14T17:00", "lost"),
    )  # fmt: skip
    assert spans(frame) == [("A", "T1", 2, 4), ("A", "T1", 3, 5)]


def test_a_time_and_a_bare_date_follow_the_state_in_the_morning():
    moved = events(
        ("A", "T1", "2030-11-20", "install"),
        ("A", "T2", "2031-01-14T09:00", "install"),
        ("A", "T1", "2031-01-14", "remove"),
    )
    assert spans(moved) == [("A", "T1", 2, 4), ("A", "T2", 3, None)]


def test_dirty_events_make_no_exception_and_no_stay_of_their_own():
    frame = events(
        ("A", "T1", "2031-01-14", "remove"), (None, "T1", "2031-01-14", "install"), ("B", "T1", None, "install"),
        ("C", "T1", "2031-01-14", None), ("D", None, "2031-01-14", "install"), ("E", "T1", "2030-11-20", "install"),
        ("E", "T1", "2030-12-20", "install"), ("E", "T1", "2030-12-24", "remove"), ("E", "T1", "2030-12-25", "remove"),
    )  # fmt: skip
    found = spans(frame)
    assert [row for row in found if row[0] == "E"] == [("E", "T1", 7, None), ("E", "T1", 8, 9)]
    assert [row[0] for row in found if row[0] != "E"] == ["D"]


def test_no_events_at_all():
    frame = events(("A", "T1", "2030-11-20", "install")).iloc[:0]
    assert stays.set_lives(frame).empty
    assert stays.stay_events(frame).empty


def test_events_in_the_order_in_which_they_happened():
    frame = events(
        ("A", "T2", "2031-01-14", "install"), ("A", "T1", "2031-01-14", "remove"), ("A", "T1", "2030-11-20", "install"),
        ("A", "T1", "2030-12-20", "flip"), ("B", "T3", "2030-11-20", "install"),
    )  # fmt: skip
    assert stays.stay_events(frame).index.tolist() == [4, 3, 2, 6]


def test_truck_and_position_as_one_name():
    frame = pd.DataFrame(
        {"truck_id": ["T1", "T1", None, "T2"], "plow_position": ["front", "wing_left", "front", None]}
    )
    named = stays.truck_unit(frame)
    assert named.tolist()[:2] == ["T1, front", "T1, wing_left"]
    assert named.isna().tolist() == [False, False, True, True]


def test_codes_of_plain_and_categorical_values():
    names = pd.Index(["a", "b"], dtype=object)
    assert stays.codes_of(pd.Series(["b", None, "z"]), names).tolist() == [1, -1, -1]
    assert stays.codes_of(pd.Series(["b", None, "z"], dtype="category"), names).tolist() == [1, -1, -1]
