import datetime as dt
from collections import Counter
from itertools import pairwise

import pytest

from trialkit.planning.rotation import Period, consistent, season_periods, sequences


def test_two_types_change_places():
    assert sequences(2, 2) == [(0, 1), (1, 0)]


@pytest.mark.parametrize("n_types", [2, 3, 4, 5, 6])
def test_every_type_follows_every_other_equally_often(n_types):
    rows = sequences(n_types, n_types)
    assert len(rows) == (n_types if n_types % 2 == 0 else 2 * n_types)
    for period in range(n_types):
        assert set(Counter(row[period] for row in rows).values()) == {len(rows) // n_types}
    followed = Counter(pair for row in rows for pair in pairwise(row))
    # published: Williams 1949: balanced for residual effects of the treatment before
    assert len(followed) == n_types * (n_types - 1)
    assert len(set(followed.values())) == 1


def test_fewer_and_more_periods_than_types():
    assert sequences(3, 1)[:3] == [(0,), (1,), (2,)]
    assert sequences(2, 3) == [(0, 1, 0), (1, 0, 1)]


def test_wanted_types():
    assert consistent((0, 1, 2), {1: 1})
    assert not consistent((0, 1, 2), {1: 1, 2: 0})


def test_the_season_is_cut_without_gaps():
    # by hand: 151 days from November 1 to March 31
    assert season_periods(dt.date(2030, 11, 1), dt.date(2031, 3, 31), 2) == (
        Period(1, dt.date(2030, 11, 1), dt.date(2031, 1, 15)),
        Period(2, dt.date(2031, 1, 16), dt.date(2031, 3, 31)),
    )
    parts = season_periods(dt.date(2030, 11, 1), dt.date(2031, 3, 31), 7)
    assert all(b.start - a.end == dt.timedelta(days=1) for a, b in pairwise(parts))
    assert (parts[0].start, parts[-1].end) == (dt.date(2030, 11, 1), dt.date(2031, 3, 31))


def test_a_season_too_short_is_refused():
    with pytest.raises(ValueError, match="2 days of season cannot be cut into 3"):
        season_periods(dt.date(2031, 1, 1), dt.date(2031, 1, 2), 3)
    with pytest.raises(ValueError, match="0 days of season"):
        season_periods(dt.date(2031, 2, 1), dt.date(2031, 1, 2), 1)
