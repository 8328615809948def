import datetime as dt

import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.formatting import day
from trialkit.planning import looks
from trialkit.planning.season import Season, season_of
from trialkit.stats.sequential import POCOCK, spending_limits, t_limit

DAY = dt.date
START = DAY(2030, 11, 6)
JANUARY, APRIL = DAY(2031, 1, 20), DAY(2031, 4, 8)
RUNNING = Season.starting(START)
CLOSED = Season(START, DAY(2031, 4, 2), over=True)


def status(data_date, season=RUNNING, planned=(JANUARY, APRIL), **options):
    return looks.look_status(planned, season, data_date, **options)


# ---------------------------------------------------------------- the plan
def test_days_become_shares_of_the_season():
    plan = looks.plan_looks([APRIL, JANUARY], RUNNING)
    # by hand: 75 of 153 days
    assert plan.table[c.INFORMATION].tolist() == pytest.approx([75 / 153, 1.0])
    assert plan.table[c.DATE].tolist() == [JANUARY, APRIL]
    assert plan.table[c.Z_LIMIT].tolist() == pytest.approx(spending_limits([75 / 153, 1.0]).z.tolist())
    assert plan.notes == ()


def test_limits_do_not_change_when_the_season_ends_early():
    before, after = (looks.plan_looks([JANUARY, APRIL], season).table for season in (RUNNING, CLOSED))
    pd.testing.assert_frame_equal(before, after)


def test_shares_become_days():
    season = Season(DAY(2030, 11, 1), DAY(2031, 3, 31))
    plan = looks.plan_looks([0.5, 1.0], season)
    # by hand: 150 days, the half of them after November 1
    assert plan.table[c.DATE].tolist() == [DAY(2031, 1, 15), DAY(2031, 3, 31)]
    assert plan.sentence().startswith(
        "2 looks are planned: January 15, 2031 (p below 0.0031); and the final one on March 31"
    )


def test_a_final_look_is_added_where_the_last_one_is_early():
    for season, planned in ((RUNNING, [JANUARY]), (CLOSED, [0.4])):
        plan = looks.plan_looks(planned, season)
        assert plan.n_looks == 2
        assert plan.table[c.DATE].iloc[-1] == season.end
        assert any("a final one at its end was added" in note for note in plan.notes)


def test_an_assumed_end_is_said():
    # by hand: 181 days after November 6
    assert "May 6, 2031 is assumed" in looks.plan_looks([0.5], RUNNING).notes[-1]


def test_without_looks_there_is_the_final_one():
    plan = looks.plan_looks([], CLOSED)
    assert plan.table[c.NOMINAL_P].tolist() == pytest.approx([0.05])
    assert plan.sentence() == (
        "One look is planned, the final one on April 2, 2031; a difference is shown with p below 0.050."
    )


def test_a_look_before_the_season_is_refused():
    with pytest.raises(UsageError, match=r"planned for November 6, 2030, which is not after .* plan\.looks"):
        looks.plan_looks([START, APRIL], RUNNING)
    with pytest.raises(UsageError, match='"alpha" is not a way to spend'):
        looks.plan_looks([APRIL], RUNNING, spending="alpha")


def test_t_limits_of_few_trucks():
    plan = looks.plan_looks([JANUARY, APRIL], RUNNING, spending=POCOCK)
    assert plan.t_limits(4).tolist() == pytest.approx([t_limit(p, 4) for p in plan.table[c.NOMINAL_P]])
    assert "Pocock's kind of spending" in plan.method


# ---------------------------------------------------------------- what a run is
def test_before_the_first_look():
    found = status(DAY(2030, 12, 10))
    assert (found.kind, found.decides, found.number, found.next_look) == (looks.INTERIM, False, 0, JANUARY)
    assert found.confidence_level == 0.95
    assert found.t_limit(6) is None
    assert found.sentence() == (
        "Interim, not for decision: the data end on December 10, 2030, before the first planned look; the next planned look is "
        "on January 20, 2031."
    )


@pytest.mark.parametrize("data_date", [DAY(2031, 1, 13), JANUARY, DAY(2031, 1, 27)])
def test_a_planned_look(data_date):
    found = status(data_date)
    limits = spending_limits([75 / 153, 1.0])
    assert (found.kind, found.number, found.unplanned) == (looks.PLANNED, 1, 0)
    assert found.nominal_p == pytest.approx(limits.nominal_p[0])
    assert found.confidence_level == pytest.approx(1 - limits.nominal_p[0])
    assert found.alpha_spent == pytest.approx(limits.alpha_spent[0])
    assert found.sentence() == (
        f"Planned look 1 of 2, on data up to {day(data_date)}: a difference counts as shown with a p value below 0.0027, which uses "
        "0.27% of error; the intervals are drawn to match, at 99.7%."
    )
    assert found.unplanned_sentence() == ""


def test_a_late_look_is_the_planned_one_unless_there_was_one():
    late = status(DAY(2031, 2, 10))
    assert late.kind == looks.PLANNED
    assert "planned for January 20, 2031 and taken late, on data up to February 10, 2031:" in late.sentence()
    found = status(DAY(2031, 2, 10), earlier_runs=[DAY(2031, 1, 18)])
    assert (found.kind, found.number, found.unplanned, found.next_look) == (looks.INTERIM, 1, 1, APRIL)
    assert "1 planned look of 2 past" in found.sentence()


def test_the_same_data_again_are_no_new_look():
    once = status(DAY(2031, 2, 10), earlier_runs=[DAY(2031, 2, 10), DAY(2031, 2, 10)])
    assert (once.kind, once.unplanned) == (looks.PLANNED, 0)


def test_later_runs_do_not_count():
    assert status(JANUARY, earlier_runs=[DAY(2031, 3, 1)]).unplanned == 0


@pytest.mark.parametrize(
    ("data_date", "season"), [(APRIL, RUNNING), (DAY(2031, 4, 2), CLOSED), (DAY(2031, 5, 20), CLOSED)]
)
def test_the_final_look_uses_what_is_left(data_date, season):
    found = status(data_date, season, earlier_runs=[APRIL - dt.timedelta(days=1)])
    assert (found.kind, found.number, found.unplanned, found.next_look) == (looks.FINAL, 2, 0, None)
    assert found.nominal_p == pytest.approx(spending_limits([75 / 153, 1.0]).nominal_p[1])
    assert found.alpha_spent == pytest.approx(0.05)
    assert found.sentence() == (
        "Final look: a difference counts as shown with a p value below 0.049, since 0.27% of error was spent before; the intervals are "
        "drawn to match, at 95.1%."
    )


def test_unplanned_looks_are_counted_and_their_price_is_said():
    runs = [DAY(2030, 12, 10), DAY(2030, 12, 24), JANUARY, DAY(2031, 3, 1)]
    found = status(DAY(2031, 4, 8), earlier_runs=runs)
    assert found.unplanned == 3
    assert 0.05 < found.false_findings < 0.2
    share = round(100 * found.false_findings)
    assert found.unplanned_sentence() == (
        "3 looks were not planned; were every look up to the final one read at 95%, a difference that is not there would be found "
        f"in {share}% of such trials instead of 5%."
    )


def test_five_even_looks_find_what_is_not_there_in_14_percent():
    season = Season(DAY(2031, 1, 1), DAY(2031, 4, 11), over=True)  # 100 days
    runs = [DAY(2031, 1, 1) + dt.timedelta(days=20 * k) for k in range(1, 5)]
    found = looks.look_status([1.0], season, season.end, earlier_runs=runs)
    # other software: R 4.2.2, mvtnorm: 0.1416893
    assert found.false_findings == pytest.approx(0.1416893, abs=5e-7)
    assert found.unplanned == 4


def test_no_looks_planned():
    open_, closed = (status(DAY(2031, 2, 1), season, planned=()) for season in (RUNNING, CLOSED))
    assert (closed.kind, closed.decides, closed.nominal_p) == (looks.NO_LOOKS, True, pytest.approx(0.05))
    assert closed.sentence() == "No looks were planned; a difference counts as shown at 95%."
    assert closed.notes == ()
    assert "do not say that the season is over" in open_.notes[0]


def test_small_numbers_in_words():
    assert [looks.p_words(p) for p in (1e-6, 0.00274, 0.0491)] == ["0.0001", "0.0027", "0.049"]
    assert [looks.percent_words(s) for s in (1e-6, 0.00274, 0.05)] == ["less than 0.01%", "0.27%", "5%"]


# ---------------------------------------------------------------- the season
def events(*rows):
    frame = pd.DataFrame(rows, columns=[c.SET_ID, c.DATE, c.EVENT, c.STATION])
    frame[c.DATE] = pd.to_datetime(frame[c.DATE], format="mixed")
    return frame


def test_a_season_with_sets_still_on_is_not_over():
    found = season_of(
        events(
            ("S1", "2030-11-08", "install", None),
            ("S2", "2030-11-06T07:00", "install", None),
            ("S1", "2031-01-10", "remove", None),
        )
    )
    assert found == Season(START, DAY(2031, 5, 6), end_assumed=True)


def test_a_season_is_over_with_the_last_set():
    found = season_of(
        events(
            ("S1", "2030-11-06", "install", None),
            ("S1", "2030-12-01", "section_swap", 2),
            ("S1", "2030-12-02", "break", 3),
            ("S1", "2031-01-10", "remove", None),
            ("S1", "2031-01-11", "install", None),
            ("S1", "2031-04-02", "season_end", None),
        )
    )
    assert found == CLOSED


def test_a_broken_section_ends_no_set():
    found = season_of(events(("S1", "2030-11-06", "install", None), ("S1", "2030-12-02", "break", 3)))
    assert not found.over


def test_a_season_without_stations_or_sets():
    with pytest.raises(NotEnoughDataError, match="No set was installed yet"):
        season_of(events(("S1", "2030-11-06", "remove", None)).drop(columns=c.STATION))


def test_a_season_ends_after_its_start():
    with pytest.raises(ValueError, match="2030-11-06, which is not after its start on 2030-11-06"):
        Season(START, START)
