"""Numbers that can only grow: where they fall, and which of two is the slip."""

import pandas as pd
import pytest

from trialkit.tables import SET_EVENTS
from trialkit.trial import backwards
from trialkit.trial.findings import Source
from trialkit.trial.moments import moments_of


def points(*rows, unit="mi"):
    """Rows of (group, date, counter)."""
    group, dates, values = zip(*rows, strict=True)
    frame = pd.DataFrame({"date": pd.to_datetime(list(dates), format="ISO8601"), "counter_mi": values})
    frame.index = pd.RangeIndex(2, 2 + len(frame), name="row")
    source = Source(SET_EVENTS, frame, "set_events.csv", {}, {"counter_mi": unit})
    use = frame["counter_mi"].notna().to_numpy()
    return backwards.points_of(
        [(source, "counter_mi", pd.Series(group).to_numpy(), moments_of(frame["date"]), use)]
    )


def series(*values):
    return points(*[(0, f"2031-01-{k + 1:02d}", value) for k, value in enumerate(values)])


@pytest.mark.parametrize(
    ("values", "slip"),
    [
        ((100, 5000, 200, 300), 5000),
        ((100, 200, 50, 300), 50),
        ((5000, 200, 300), 5000),
        ((100, 300, 200), 200),
        ((100, 5000, 5010, 200, 300, 400), 5010),
        ((100, 200, 300, 400, 500, 10, 20, 30, 40, 50, 60), 10),  # replaced
    ],
)
def test_which_of_two_is_the_slip(values, slip):
    found = series(*values)
    ((earlier, later, earlier_is_wrong),) = backwards.falls(found)
    assert found.frame["value"].iloc[earlier if earlier_is_wrong else later] == slip


def test_nothing_falls():
    assert backwards.falls(series(100, 100, 200.5)) == []
    assert backwards.falls(series(100)) == []


def test_groups_are_kept_apart():
    assert (
        backwards.falls(points((0, "2031-01-01", 500), (1, "2031-01-02", 100), (0, "2031-01-03", 510))) == []
    )


def test_other_readings_of_the_moment_tell_the_slip():
    found = points(
        (0, "2031-01-01", 100), (0, "2031-01-02", 200), (0, "2031-01-02", 2000), (0, "2031-01-03", 300)
    )
    ((earlier, _, earlier_is_wrong),) = backwards.falls(found)
    assert earlier_is_wrong
    assert found.told(earlier)[2] == 2


def test_like_readings_are_one_point_with_a_count():
    found = points(*[(0, "2031-01-02", 200)] * 5, (0, "2031-01-03", 100), (-1, "2031-01-04", 1), (0, None, 1))
    assert found.frame["rows"].tolist() == [5, 1]


def test_problem_names_both_rows():
    problems, groups = backwards.check_forwards(
        series(100, 200, 50, 300), "counter-backwards", {0: "T1, front"}, "Mend it."
    )
    assert groups == {0}
    (problem,) = problems
    assert str(problem) == (
        "set_events.csv row 4 (T1, front, 2031-01-03): counter_mi is 50; allowed: 200 mi or more, as row 3 has before "
        "(2031-01-02). Mend it. [counter-backwards]"
    )


def test_very_many_falls_are_counted():
    values = [
        (k, day, value) for k in range(1100) for day, value in (("2031-01-01", 500), ("2031-01-02", 100))
    ]
    problems, groups = backwards.check_forwards(
        points(*values), "counter-backwards", {k: str(k) for k in range(1100)}, "Mend it."
    )
    assert len(groups) == 1100
    assert len(problems) == 1001
    assert problems[-1].found == "100 more rows like the 1,000 listed"


def test_rounding_is_one_unit_of_the_file():
    frame = pd.DataFrame({"counter_mi": [100 / 1.609344, 62.0]})
    source = Source(SET_EVENTS, frame, "f.csv", {}, {"counter_mi": "km"})
    slack = backwards.rounding_slack(source, "counter_mi", frame["counter_mi"].to_numpy())
    assert slack == pytest.approx([1 / 1.609344, 0.0])
