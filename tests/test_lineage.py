"""Readings on trucks, in segments and at miles: same-day changes, blanks, dirty data, and a slow second opinion."""

import random
import time

import numpy as np
import pandas as pd
import pytest

from trialkit.trial import lineage

SETS = pd.DataFrame(
    {
        "set_id": ["A", "B"],
        "edge_type": pd.Categorical(["carbide", "steel"], categories=["steel", "carbide"], ordered=True),
    }
)


def frame(names, rows, dates):
    out = pd.DataFrame(rows, columns=names.split())
    for name in dates:
        out[name] = pd.to_datetime(out[name], format="ISO8601")
    out.index = pd.RangeIndex(2, 2 + len(out), name="row")
    return out


def events(*rows):
    """Rows of (set, truck, date, event[, counter[, station]])."""
    filled = [(*row, *([None] * (6 - len(row)))) for row in rows]
    out = frame("set_id truck_id date event counter_mi station", filled, ["date"])
    return out.assign(plow_position="front")


def readings(*rows):
    """Rows of (set, date, baseline[, counter[, station]])."""
    filled = [(*row, *([None, 1][len(row) - 3 :])) for row in rows]
    return frame("set_id date baseline counter_mi station", filled, ["date"])


def shifts(*rows, place=None):
    """Rows of (truck, start, end, miles)."""
    return frame("truck_id start end blade_down_mi", rows, ["start", "end"]).assign(plow_position=place)


def place(read, happened, driven=None):
    found = lineage.wear_segments(read, happened, SETS, driven)
    names = [name if pd.notna(name) else None for name in found["segment"]]
    miles = [mile if pd.notna(mile) else None for mile in found["miles_mi"]]
    return names, miles, found["miles_basis"].tolist()


INSTALLED = ("A", "T1", "2030-11-20", "install", 100)


# ---------------------------------------------------------------- what is added
def test_readings_keep_their_columns_rows_and_order_and_gain_the_rest():
    read = readings(("A", "2030-12-18", "no", 150), ("A", "2030-11-20", "yes", 100)).assign(extra=["x", "y"])
    found = lineage.wear_segments(read, events(INSTALLED), SETS)
    pd.testing.assert_frame_equal(found[read.columns], read)
    assert found.columns.tolist()[len(read.columns) :] == [
        "truck_id", "plow_position", "truck_unit", "edge_type", "segment", "miles_mi", "miles_basis",
    ]  # fmt: skip
    assert found["truck_unit"].tolist() == ["T1, front"] * 2
    assert found["edge_type"].tolist() == ["carbide"] * 2
    assert found["edge_type"].cat.categories.tolist() == ["steel", "carbide"]
    assert "segment" not in read


# ---------------------------------------------------------------- segments
def test_flip_section_swap_and_re_reference_start_segments():
    happened = events(
        INSTALLED, ("A", "T1", "2030-12-01", "flip"), ("A", "T1", "2030-12-10", "section_swap", None, 2),
        ("A", "T1", "2030-12-20", "re_reference"), ("A", "T1", "2030-12-25", "break"),
    )  # fmt: skip
    days = ("2030-11-21", "2030-12-02", "2030-12-11", "2030-12-21")
    read = readings(*[("A", day, "no", 1, station) for station in (1, 2) for day in days])
    assert place(read, happened)[0] == [
        "A/1/1", "A/1/2", "A/1/2", "A/1/3", "A/2/1", "A/2/2", "A/2/3", "A/2/4",
    ]  # fmt: skip


def test_section_swap_without_a_station_is_the_whole_set():
    happened = events(INSTALLED, ("A", "T1", "2030-12-10", "section_swap"))
    assert place(readings(("A", "2030-12-11", "no", 1, 1), ("A", "2030-12-11", "no", 1, 2)), happened)[0] == [
        "A/1/2",
        "A/2/2",
    ]


def test_reading_on_the_day_of_a_flip_lies_before_it_and_a_baseline_after():
    happened = events(INSTALLED, ("A", "T1", "2030-12-01", "flip", 180))
    read = readings(("A", "2030-12-01", None), ("A", "2030-12-01", "yes"), ("A", "2030-12-01", "no"))
    assert place(read, happened) == (["A/1/1", "A/1/2", "A/1/1"], [180, 180, 180], ["counter"] * 3)


@pytest.mark.parametrize(
    ("flip", "reading", "baseline", "stretch"),
    [
        ("2030-12-01T10:00", "2030-12-01T09:00", "no", 1),
        ("2030-12-01T10:00", "2030-12-01T11:00", "no", 2),  # times decide against the flag
        ("2030-12-01T10:00", "2030-12-01T09:00", "yes", 1),
        ("2030-12-01T10:00", "2030-12-01T10:00", "yes", 2),
        ("2030-12-01T10:00", "2030-12-01T10:00", "no", 1),
        ("2030-12-01T10:00", "2030-12-01", "no", 1),
        ("2030-12-01T10:00", "2030-12-01", "yes", 2),
        ("2030-12-01", "2030-12-01T11:00", "no", 1),
        ("2030-12-01", "2030-12-01T11:00", "yes", 2),
    ],
)
def test_times_decide_only_where_both_have_one(flip, reading, baseline, stretch):
    names, _, _ = place(readings(("A", reading, baseline)), events(INSTALLED, ("A", "T1", flip, "flip")))
    assert names == [f"A/1/{stretch}"]


@pytest.mark.parametrize("baseline", ["yes", "no", None])
def test_reading_on_the_day_of_the_install_follows_it(baseline):
    assert place(readings(("A", "2030-11-20", baseline)), events(INSTALLED))[0] == ["A/1/1"]


def test_swap_of_two_sets_on_one_day():
    happened = events(
        INSTALLED, ("A", "T1", "2031-01-14", "remove", 300), ("B", "T1", "2031-01-14", "install")
    )
    read = readings(("A", "2031-01-14", "no"), ("B", "2031-01-14", "yes"), ("B", "2031-01-20", "no"))
    day = shifts(("T1", "2031-01-14T06:00", "2031-01-14T12:00", 20))
    # that day's 20 miles count for the set that was put on, once
    assert place(read, happened, day) == (
        ["A/1/1", "B/1/1", "B/1/1"],
        [300, 300, 320],
        ["counter", "counter", "shifts"],
    )


@pytest.mark.parametrize(
    ("off", "on"), [("2031-01-14T13:00", "2031-01-14"), ("2031-01-14", "2031-01-14T13:00")]
)
def test_swap_of_which_only_one_half_has_a_time(off, on):
    happened = events(INSTALLED, ("A", "T1", off, "remove"), ("B", "T1", on, "install"))
    read = readings(("A", "2031-01-14", "no"), ("B", "2031-01-14", "yes"))
    day = shifts(
        ("T1", "2031-01-14T06:00", "2031-01-14T12:00", 20), ("T1", "2031-01-14T14:00", "2031-01-14T18:00", 7)
    )
    assert place(read, happened, day)[1] == [120, 120]


def test_set_moved_to_another_truck_on_one_day():
    happened = events(
        INSTALLED, ("A", "T1", "2031-01-14", "remove", 300), ("A", "T2", "2031-01-14", "install", 5000)
    )
    read = readings(("A", "2031-01-14", "no"), ("A", "2031-01-14", "yes"), ("A", "2031-01-15", "no", 5010))
    found = lineage.wear_segments(read, happened, SETS)
    assert found["truck_unit"].tolist() == ["T1, front", "T2, front", "T2, front"]
    assert found["segment"].tolist() == ["A/1/1", "A/1/2", "A/1/2"]
    assert found["miles_mi"].tolist() == [300, 5000, 5010]


def test_set_taken_off_and_put_on_again_later():
    happened = events(
        INSTALLED, ("A", "T1", "2030-12-01", "season_end"), ("A", "T1", "2031-01-10", "install")
    )
    read = readings(("A", "2030-12-01", "no", 1), ("A", "2030-12-20", "no", 1), ("A", "2031-01-10", "no", 1))
    assert place(read, happened)[0] == ["A/1/1", None, "A/1/2"]


def test_reading_outside_the_life_of_its_set_gets_nothing():
    happened = events(INSTALLED, ("A", "T1", "2030-12-01T10:00", "remove"))
    read = readings(
        ("A", "2030-11-19", "no", 90), ("A", "2030-12-01", "no", 120), ("A", "2030-12-01T11:00", "no", 120),
        ("A", "2030-12-02", "yes", 130), ("Z", "2030-11-21", "no", 100), (None, "2030-11-21", "no", 100),
        ("A", None, "no", 100),
    )  # fmt: skip
    names, miles, basis = place(read, happened)
    assert names == [None, "A/1/1", None, None, None, None, None]
    assert miles == [None, 120, None, None, None, None, None]
    assert basis == ["unknown", "counter", *["unknown"] * 5]


def test_reading_without_a_station_has_a_truck_but_no_segment():
    found = lineage.wear_segments(readings(("A", "2030-11-21", "no", 110, None)), events(INSTALLED), SETS)
    assert found["truck_unit"].tolist() == ["T1, front"]
    assert found["segment"].isna().tolist() == [True]


# ---------------------------------------------------------------- miles
def test_counter_at_some_readings_only():
    read = readings(("A", "2030-11-25", "no"), ("A", "2030-12-01", "no", 150), ("A", "2030-12-10", "no"))
    driven = shifts(
        ("T1", "2030-11-22T06:00", "2030-11-22T12:00", 30),
        ("T1", "2030-11-30T06:00", None, 19),
        ("T1", "2030-12-05", None, 11),
    )
    assert place(read, events(INSTALLED), driven)[1:] == ([130, 150, 161], ["shifts", "counter", "shifts"])


def test_shift_counts_at_its_end():
    read = readings(("A", "2030-11-22T05:00", "no"), ("A", "2030-11-22T06:00", "no"))
    driven = shifts(("T1", "2030-11-21T22:00", "2030-11-22T06:00", 30))
    assert place(read, events(INSTALLED), driven)[1] == [100, 130]


def test_no_counter_before_but_one_after():
    happened = events(("A", "T1", "2030-11-20", "install"), ("A", "T1", "2030-12-24", "remove", 300))
    driven = shifts(("T1", "2030-11-25", None, 30), ("T1", "2030-12-10", None, 50))
    read = readings(("A", "2030-11-20", "yes"), ("A", "2030-11-30", "no"))
    assert place(read, happened, driven)[1:] == ([220, 250], ["shifts", "shifts"])


def test_no_counter_at_all():
    driven = shifts(
        ("T1", "2030-11-10", None, 5), ("T1", "2030-11-25", None, 30), ("T1", "2030-12-10", None, 50)
    )
    read = readings(("A", "2030-11-20", "yes"), ("A", "2030-11-30", "no"), ("A", "2030-12-30", "no"))
    assert place(read, events(("A", "T1", "2030-11-20", "install")), driven)[1] == [5, 35, 85]


def test_blank_shift_miles_are_never_taken_as_zero():
    driven = shifts(("T1", "2030-11-25", None, None), ("T1", "2030-12-10", None, 50))
    read = readings(
        ("A", "2030-11-21", "no"),
        ("A", "2030-11-30", "no"),
        ("A", "2030-12-01", "no", 140),
        ("A", "2030-12-30", "no"),
    )
    bare = ("A", "T1", "2030-11-20", "install")
    assert place(read.drop(index=4), events(bare), driven)[1:] == (
        [0, None, None],
        ["shifts", "unknown", "unknown"],
    )
    assert place(read, events(INSTALLED), driven)[1] == [100, 140, 140, 190]


def test_shift_without_a_position_counts_for_the_trucks_only_one():
    read = readings(("A", "2030-11-30", "no"))
    driven = shifts(("T1", "2030-11-25", None, 30))
    wing = events(("B", "T1", "2030-11-20", "install", 100)).assign(plow_position="wing_left")
    both = pd.concat([events(INSTALLED), wing], ignore_index=True)
    assert place(read, events(INSTALLED), driven)[1] == [130]
    assert place(read, both, driven)[1:] == ([None], ["unknown"])
    assert place(read, both, driven.assign(plow_position="wing_left"))[1] == [None]
    assert place(read, both, driven.assign(plow_position="front"))[1] == [130]
    assert lineage.shift_units(driven, both).isna().tolist() == [True]


def test_no_shifts_for_the_truck_is_unknown_not_zero():
    read = readings(("A", "2030-11-20", "yes"), ("A", "2030-11-30", "no"))
    for driven in (None, shifts(), shifts(("T2", "2030-11-25", None, 30))):
        assert place(read, events(INSTALLED), driven)[1:] == ([100, None], ["counter", "unknown"])


def test_one_counter_for_all_stations_of_a_day():
    read = readings(
        ("A", "2030-11-30T09:00", "no", 150, 1), ("A", "2030-11-30T09:02", "no", None, 2), ("A", "2030-12-10", "no", None, 1),
        ("A", "2030-12-20", "no", 180, 1), ("A", "2030-12-20", "no", 190, 2), ("A", "2030-12-20T07:00", "no", None, 3),
    )  # fmt: skip
    names, miles, _ = place(read, events(INSTALLED))
    assert miles == [150, 150, None, 180, 190, None]  # two counters on one day: which one is not known
    assert names[1] == "A/2/1"


def test_miles_at_any_moment():
    happened = events(INSTALLED, ("A", "T1", "2030-12-24", "remove", 300))
    asked = events(
        ("A", "T1", "2030-11-21", "x"),
        ("A", "T1", "2030-11-30", "x"),
        ("A", "T9", "2030-11-30", "x"),
        ("A", "T1", None, "x"),
    )
    found = lineage.mileage(asked, happened, shifts=shifts(("T1", "2030-11-25", None, 30)))
    assert found.index.tolist() == asked.index.tolist()
    assert found["miles_mi"].tolist()[:2] == [100, 130]
    assert found["miles_mi"].isna().tolist()[2:] == [True, True]


# ---------------------------------------------------------------- miles of a stay
def test_miles_of_a_stay_by_counter_and_by_shifts():
    happened = events(
        INSTALLED, ("A", "T1", "2030-12-01", "remove", 180), ("B", "T1", "2030-12-01", "install", 180),
        ("A", "T2", "2030-12-05", "install"),
    )  # fmt: skip
    driven = shifts(
        ("T1", "2030-12-10", None, 25), ("T2", "2030-12-04", None, 1000), ("T2", "2030-12-11", None, 40)
    )
    lives = lineage.life_miles(happened, readings(("B", "2030-12-05", "no", 200)), driven)
    assert lives["set_id"].tolist() == ["A", "B", "A"]
    assert lives["miles_mi"].tolist() == [80, 45, 40]
    assert lives["miles_basis"].tolist() == ["counter", "shifts", "shifts"]
    assert lives["until"].tolist() == [
        pd.Timestamp("2030-12-01"),
        pd.Timestamp("2030-12-10"),
        pd.Timestamp("2030-12-11"),
    ]


def test_set_of_which_nothing_is_known_after_the_install_has_no_miles():
    lives = lineage.life_miles(events(INSTALLED))
    assert lives["miles_mi"].isna().tolist() == [True]
    assert lives["miles_basis"].tolist() == ["unknown"]


def test_set_still_on_is_followed_to_its_last_reading():
    lives = lineage.life_miles(
        events(INSTALLED), readings(("A", "2030-12-18", "no", 170), ("A", "2030-12-01", "no", 130))
    )
    assert lives["miles_mi"].tolist() == [70]
    assert lives["until"].tolist() == [pd.Timestamp("2030-12-18")]


# ---------------------------------------------------------------- dirty data
def test_empty_frames_give_empty_tables():
    read, happened, driven = (
        readings(("A", "2030-12-18", "no")),
        events(INSTALLED),
        shifts(("T1", "2030-11-25", None, 30)),
    )
    for some in (read, read.iloc[:0]):
        for what in (happened, happened.iloc[:0]):
            for driving in (driven, driven.iloc[:0], None):
                assert len(lineage.wear_segments(some, what, SETS.iloc[:0], driving)) == len(some)
                assert len(lineage.life_miles(what, some, driving)) == len(what)
                assert len(lineage.mileage(happened, what, some, driving)) == 1


def test_duplicate_installs_and_sets_make_no_exception():
    happened = events(
        INSTALLED, INSTALLED, ("A", "T1", "2030-12-24", "remove", 300), ("A", None, "2030-12-26", "install")
    )
    read = readings(("A", "2030-12-01", "no", 120), ("A", "2030-12-27", "no", 120))
    found = lineage.wear_segments(read, happened, pd.concat([SETS, SETS]))
    assert found["truck_unit"].tolist()[0] == "T1, front"
    assert found["truck_unit"].isna().tolist() == [False, True]


# ---------------------------------------------------------------- a slow second opinion
def slow_place(reading, happened):
    """Segment number of one reading, or None: the rules of the module, one event at a time."""
    day = reading["date"].normalize()
    mine = happened[happened["set_id"] == reading["set_id"]]
    flagged = reading["baseline"] == "yes"
    timed = reading["date"] != day

    def passed(event, follows):
        if event["date"].normalize() != day:
            return event["date"] < day
        if timed and event["date"] != day:
            return event["date"] < reading["date"] or (event["date"] == reading["date"] and follows)
        return follows

    ends = mine[mine["event"] == "remove"]
    installs = mine[mine["event"] == "install"]
    morning = (installs["date"].dt.normalize() < day).sum() - (ends["date"].dt.normalize() < day).sum()
    begun = [
        row for _, row in installs.sort_values("date").iterrows() if passed(row, flagged or morning <= 0)
    ]
    if not begun:
        return None
    later = ends[ends["date"].dt.normalize() >= begun[-1]["date"].normalize()]
    if (
        begun[-1]["date"].normalize() > installs["date"].min().normalize()
    ):  # an end on the day of a move is the earlier stay's
        later = later[later["date"].dt.normalize() > begun[-1]["date"].normalize()]
    if len(later):
        end = later["date"].min()
        after_time = timed and end != end.normalize() and end.normalize() == day and reading["date"] > end
        if day > end.normalize() or after_time:
            return None
    changes = mine[mine["event"].isin(["flip", "section_swap"])]
    fits = changes[changes["station"].isna() | (changes["station"] == reading["station"])]
    return len(begun) + sum(passed(row, flagged) for _, row in fits.iterrows())


@pytest.mark.parametrize("seed", range(8))
def test_same_segments_as_a_slow_walk_through_the_events(seed):
    draw = random.Random(seed)
    clock = ["", "T08:00", "T12:00", "T16:00"]

    def some_day(low, high):
        return f"2030-12-{draw.randint(low, high):02d}{draw.choice(clock)}"

    rows = []
    for name, truck in (("A", "T1"), ("B", "T2")):
        rows.append((name, truck, some_day(2, 3), "install"))
        for _ in range(4):
            what = draw.choice(["flip", "section_swap"])
            rows.append(
                (
                    name,
                    truck,
                    some_day(3, 12),
                    what,
                    None,
                    draw.choice([1, 2]) if what == "section_swap" else None,
                )
            )
        if draw.random() < 0.7:
            rows.append((name, truck, some_day(10, 14), "remove"))
            if draw.random() < 0.7:
                rows.append((name, "T3", some_day(15, 16), "install"))
    read = readings(
        *[
            (draw.choice("AB"), some_day(1, 18), draw.choice(["yes", "no", None]), None, draw.choice([1, 2]))
            for _ in range(150)
        ]
    )
    happened = events(*rows)
    names, _, _ = place(read, happened)
    expected = [slow_place(row, happened) for _, row in read.iterrows()]
    assert [name and int(name.rsplit("/", 1)[1]) for name in names] == expected
    assert sum(number is not None for number in expected) > 50


@pytest.mark.parametrize("seed", range(4))
def test_same_miles_as_a_slow_sum(seed):
    draw = random.Random(100 + seed)
    days = pd.date_range("2030-12-01", "2031-01-20")
    known = {}
    rows, total = [], 1000.0
    for day in days:
        if draw.random() < 0.6:
            miles = round(draw.uniform(5, 60), 1)
            rows.append(
                ("T1", day + pd.Timedelta(hours=5), day + pd.Timedelta(hours=draw.randint(6, 20)), miles)
            )
            total += miles
        known[day] = total
    read = readings(
        *[
            ("A", str(day.date()), "no", known[day] if draw.random() < 0.2 else None)
            for day in draw.sample(list(days[1:]), 25)
        ]
    )
    for first in (1000.0, None):
        _, miles, _ = place(read, events(("A", "T1", "2030-12-01", "install", first)), shifts(*rows))
        expected = [known[day] for day in read["date"]]
        # with a counter anywhere the axis is the counter's; the sum of shifts alone would start at zero
        np.testing.assert_allclose(miles, expected, atol=1e-9)


def test_a_million_readings_in_seconds():
    n_sets, n = 200, 1_000_000
    names = [f"S{k}" for k in range(n_sets)]
    happened = events(*[(name, f"T{k}", "2030-11-01", "install", 0.0) for k, name in enumerate(names)])
    day = np.arange(n) // n_sets % 150
    read = pd.DataFrame(
        {
            "set_id": pd.Categorical.from_codes(np.arange(n) % n_sets, names),
            "date": pd.Timestamp("2030-11-02") + pd.to_timedelta(day, unit="D"),
            "station": np.arange(n) // (n_sets * 150) + 1,
            "counter_mi": np.where(day % 2 == 0, day * 10.0, np.nan),
        }
    )
    driven = pd.DataFrame({"truck_id": np.repeat([f"T{k}" for k in range(n_sets)], 150)})
    driven["start"] = np.tile(pd.Timestamp("2030-11-02") + pd.to_timedelta(np.arange(150), unit="D"), n_sets)
    driven["blade_down_mi"] = 10.0
    begun = time.process_time()
    found = lineage.wear_segments(read, happened, SETS, driven)
    assert time.process_time() - begun < 8  # about one second; the rest is room for slow machines
    np.testing.assert_allclose(found["miles_mi"], day * 10.0)
