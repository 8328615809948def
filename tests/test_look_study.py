"""What a report is: interim, a planned look or the final one, from the trial and the days of earlier reports."""

import dataclasses
import datetime as dt
import types
from pathlib import Path

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.planning import looks
from trialkit.report import look_study
from trialkit.trial import checks

DEMO = Path(__file__).parents[1] / "data_demo"
JANUARY, APRIL = dt.date(2031, 1, 20), dt.date(2031, 4, 8)
ALL_OFF = TABLES["set_events"] + "".join(
    f"S{number},T{number},front,2031-01-14,remove,,{counter},{40000 + counter},worn_to_limit\n"
    for number, counter in ((1, 300), (2, 410), (3, 520), (4, 590))
)


def trial_with(folder, plan="", **tables):
    """The smallest trial, whose data go from November 20, 2030 to January 14, 2031."""
    settings = f"{SETTINGS}[plan]\n{plan}\n" if plan else SETTINGS
    return checks.check_trial(write_trial(folder, settings=settings, **tables)).require_clean()


def run(name):
    return types.SimpleNamespace(folder=Path(name))


def test_the_demo_is_at_its_final_look():
    found = look_study.status(checks.check_trial(DEMO).require_clean())
    assert (found.kind, found.is_interim, found.number) == (looks.FINAL, False, 2)
    assert list(found.plan.table["date"]) == [JANUARY, APRIL]
    assert look_study.sentences(found)[0].startswith(
        "Final look: a difference counts as shown with a p value"
    )


@pytest.mark.parametrize(
    ("through", "kind"),
    [
        ("2030-12-20", looks.INTERIM),
        ("2031-01-20", looks.PLANNED),
        ("2031-03-01", looks.PLANNED),  # the look of January is taken late
    ],
)
def test_the_demo_in_its_season(through, kind):
    trial = checks.check_trial(DEMO, through=dt.date.fromisoformat(through)).require_clean()
    assert look_study.status(trial).kind == kind


def test_earlier_reports_count():
    trial = checks.check_trial(DEMO, through=dt.date(2031, 3, 1)).require_clean()
    found = look_study.status(trial, "2031-01-20,2031-02-10")
    assert (found.kind, found.unplanned, found.next_look) == (looks.INTERIM, 2, APRIL)
    first, second, *_ = look_study.sentences(found)
    assert first.startswith("Interim, not for decision") and second.startswith("2 looks were not planned")


def test_a_trial_without_looks_and_end_is_never_interim(tmp_path):
    found = look_study.status(trial_with(tmp_path), "2030-12-01,2030-12-18")
    assert (found.kind, found.is_interim, found.nominal_p) == (looks.NO_LOOKS, False, pytest.approx(0.05))
    assert look_study.sentences(found) == [
        "No looks were planned; a difference counts as shown at 95%.",
        looks.NO_LOOKS_NOTE,
    ]


def test_a_season_with_a_last_day_alone_has_one_look(tmp_path):
    before = look_study.status(trial_with(tmp_path / "a", "season_end = 2031-04-15"))
    assert before.is_interim and before.next_look == dt.date(2031, 4, 15)
    after = look_study.status(trial_with(tmp_path / "b", "season_end = 2031-01-14"))
    assert (after.kind, after.nominal_p) == (looks.FINAL, pytest.approx(0.05))


def test_all_sets_off_in_the_middle_of_an_agreed_season_do_not_end_it(tmp_path):
    plan = "season_end = 2031-04-15"
    still = trial_with(tmp_path / "a", plan, set_events=ALL_OFF)
    assert look_study.status(still).is_interim
    closed = trial_with(tmp_path / "b", plan, set_events=ALL_OFF.replace(",remove,", ",season_end,"))
    assert look_study.season(closed).over
    assert look_study.status(closed).kind == looks.FINAL
    nothing_agreed = trial_with(tmp_path / "c", set_events=ALL_OFF)
    found = look_study.status(nothing_agreed)
    assert (found.kind, found.notes) == (looks.NO_LOOKS, ())


def test_the_agreed_first_day_counts(tmp_path):
    trial = trial_with(tmp_path, "season_start = 2030-11-01\nseason_end = 2031-04-15\nlooks = [0.5, 1.0]")
    assert look_study.season(trial).start == dt.date(2030, 11, 1)
    # by hand: 165 days, half of them (82.5, rounded to even) after November 1
    assert look_study.status(trial).plan.table["date"].iloc[0] == dt.date(2031, 1, 22)


def test_days_that_contradict_each_other_are_told(tmp_path):
    with pytest.raises(UsageError, match=r"ends on November 10, 2030, which is not .* plan\.season_end"):
        look_study.status(trial_with(tmp_path / "a", "season_end = 2030-11-10"))
    with pytest.raises(UsageError, match=r"A look is planned for November 12, 2030"):
        look_study.status(trial_with(tmp_path / "b", "looks = [2030-11-12]"))


def test_a_trial_without_an_install(tmp_path):
    def bare(folder, plan=""):
        settings = f"{SETTINGS}[plan]\n{plan}\n" if plan else SETTINGS
        draft = checks.check_trial(write_trial(folder, settings=settings)).require_clean()
        return dataclasses.replace(
            draft, frames={**draft.frames, "set_events": draft.frames["set_events"].iloc[:0]}
        )

    assert look_study.status(bare(tmp_path / "a")).kind == looks.NO_LOOKS
    with pytest.raises(NotEnoughDataError, match="No set was installed yet"):
        look_study.status(bare(tmp_path / "b", "looks = [2031-01-20]"))
    agreed = bare(tmp_path / "c", "looks = [2031-03-20]\nseason_start = 2030-11-01")
    assert look_study.status(agreed).is_interim


def test_days_of_earlier_reports_are_read_strictly():
    assert look_study.days_of("") == ()
    assert look_study.days_of(" 2031-01-20, 2030-12-01,,2031-01-20") == (dt.date(2030, 12, 1), JANUARY)
    with pytest.raises(UsageError, match=r'earlier_looks: "soon" is not a day such as'):
        look_study.days_of("2031-01-20,soon")


def test_days_come_from_the_names_of_earlier_runs_that_know_less():
    runs = [
        run("reports/small/2031-01-20_0a1b2c3d"),
        run("reports/small/2030-12-01_11111111"),
        run("reports/small/2030-12-01_22222222"),
        run("reports/small/2031-04-02_33333333"),
        run("reports/small/for the council"),
    ]
    assert look_study.earlier_looks(runs, dt.date(2031, 4, 2)) == "2030-12-01,2031-01-20"
    assert look_study.earlier_looks([], JANUARY) == ""
