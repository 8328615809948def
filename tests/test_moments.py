"""Dates without a time: which second of the day they stand for."""

import pandas as pd
import pytest

from trialkit.trial import moments

DAY = 86_400


def seconds(text):
    return int(pd.Timestamp(text).timestamp())


def test_a_date_alone_spans_its_day_and_a_time_is_one_moment():
    found = moments.moments_of(pd.Series(pd.to_datetime(["2031-01-14T00:00", "2031-01-14T05:30", None])))
    assert found.known.tolist() == [True, True, False]
    assert found.timed.tolist() == [False, True, False]
    assert found.first[:2].tolist() == [seconds("2031-01-14"), seconds("2031-01-14T05:30")]
    assert found.last[:2].tolist() == [seconds("2031-01-14T23:59:59"), seconds("2031-01-14T05:30")]


def test_days_before_1970_count_downwards():
    found = moments.moments_of(pd.Series(pd.to_datetime(["1969-12-31T23:00"])))
    assert (found.day[0], found.second[0]) == (-1, 23 * 3600)


@pytest.mark.parametrize(
    ("start", "end", "counted", "last"),
    [
        ("2031-01-14T05:00", "2031-01-14T13:00", "2031-01-14T13:00", "2031-01-14T13:00"),
        ("2031-01-14T05:00", None, "2031-01-14T05:00", "2031-01-14T05:00"),
        ("2031-01-14", None, "2031-01-14T12:00", "2031-01-14T23:59:59"),
        ("2031-01-14", "2031-01-15", "2031-01-15T12:00", "2031-01-15T23:59:59"),
        ("2031-01-14T16:00", "2031-01-15", "2031-01-15T00:00", "2031-01-15T00:00"),
    ],
)
def test_a_shift_counts_at_its_end(start, end, counted, last):
    shifts = pd.DataFrame({"start": pd.to_datetime([start]), "end": pd.to_datetime([end])})
    first_s, last_s, counted_s = moments.shift_spans(shifts)
    assert (first_s[0], last_s[0], counted_s[0]) == (seconds(start), seconds(last), seconds(counted))


def test_shifts_without_an_end_column_count_at_their_start():
    _, _, counted = moments.shift_spans(pd.DataFrame({"start": pd.to_datetime(["2031-01-14T05:00"])}))
    assert counted.tolist() == [seconds("2031-01-14T05:00")]
