from __future__ import annotations

import math

import numpy as np
import pytest

from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats import survival
from trialkit.stats.survival import Lives, fit_kaplan_meier


def test_lives_know_what_ended():
    lives = Lives.exact([400, 500, 600], [True, False, True], [2, 3, 1])
    assert lives.ended.tolist() == [True, False, True]
    assert (lives.n_lives, lives.n_failed) == (6, 3)
    assert lives.high.tolist() == [400, math.inf, 600]


def test_another_cause_is_a_life_not_ended_of_this_one():
    lives = Lives.of_cause([400, 500, 600], ["worn", "broken", "running"], "worn")
    assert lives.ended.tolist() == [True, False, False]
    assert Lives.of_cause([400, 500, 600], ["worn", "broken", "running"], "broken").n_failed == 1


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ([100, -5], [100, 20], "life 2 lies between -5 and 20"),
        ([100, 300], [100, 200], "life 2 lies between 300 and 200"),
        ([0, 100], [0, 100], "life 1 lies between 0 and 0"),
        ([math.nan], [100], "life 1 lies between nan and 100"),
        ([math.inf], [math.inf], "life 1 lies between inf and inf"),
    ],
)
def test_impossible_lives(low, high, words):
    with pytest.raises(UsageError, match=words):
        Lives.between(low, high)


def test_lengths_must_agree():
    with pytest.raises(UsageError, match="differ in length: 2, 1, 2"):
        Lives.between([100, 200], [300])
    with pytest.raises(UsageError, match="2 lives but 1 words"):
        Lives.exact([100, 200], [True])


def test_counts_are_not_negative():
    with pytest.raises(UsageError, match="life 2 has the count -1"):
        Lives.exact([100, 200], [True, True], [1, -1])


# by hand: 5 lives, ended at 2 and at 4 (two), one last seen at 3 and one at 4
HAND = Lives.exact([2, 3, 4, 4, 4], [True, False, True, True, False])


def test_kaplan_meier_by_hand():
    curve = fit_kaplan_meier(HAND)
    # by hand: 4/5, then 4/5 * (1 - 2/3)
    assert curve.survival.tolist() == pytest.approx([0.8, 0.8 / 3])
    # by hand: the life last seen at 4 counts as at risk at 4
    assert curve.n_at_risk.tolist() == [5, 3]
    assert curve.n_failed.tolist() == [1, 2]
    # by hand: Greenwood, 0.8^2 * 1/(5*4)
    assert curve.std_error[0] == pytest.approx(math.sqrt(0.64 / 20))
    assert curve.last_seen == 4


def test_share_before_between_and_after_the_steps():
    curve = fit_kaplan_meier(HAND)
    assert curve.survival_at(1.9).estimate == 1
    assert curve.survival_at(2).estimate == pytest.approx(0.8)
    assert curve.survival_at(3.9).estimate == pytest.approx(0.8)
    with pytest.raises(UsageError, match=r"no life was watched to 4.5; the longest is 4"):
        curve.survival_at(4.5)


def test_counts_equal_repeated_lives():
    once = fit_kaplan_meier(Lives.exact([2, 3, 4, 4], [True, False, True, False], [1, 1, 2, 1]))
    assert once.survival == pytest.approx(fit_kaplan_meier(HAND).survival)
    assert once.std_error == pytest.approx(fit_kaplan_meier(HAND).std_error)


def test_everything_ended_leaves_no_error_at_the_end():
    curve = fit_kaplan_meier(Lives.exact([1, 2], [True, True]))
    assert curve.survival[-1] == 0
    assert math.isnan(curve.std_error[-1]) and math.isnan(curve.conf_high[-1])
    assert curve.survival_at(99).estimate == 0


def test_nothing_ended():
    curve = fit_kaplan_meier(Lives.exact([100, 200], [False, False]))
    assert curve.life.size == 0
    assert curve.quantile(0.5).estimate == math.inf
    assert curve.survival_at(150).estimate == 1
    assert curve.restricted_mean(150).estimate == pytest.approx(150)


def test_restricted_mean_by_hand():
    # by hand: 2 * 1 + (3 - 2) * 0.8
    assert fit_kaplan_meier(HAND).restricted_mean(3).estimate == pytest.approx(2.8)
    # by hand: variance 0.8^2 * 1/(5*4) of the area after the step at 2
    assert fit_kaplan_meier(HAND).restricted_mean(3).std_error == pytest.approx(math.sqrt(0.64 / 20))


@pytest.mark.parametrize(
    ("limit", "words"), [(0, "above 0; it is 0"), (5, "no life was watched to 5; the longest is 4")]
)
def test_restricted_mean_limits(limit, words):
    with pytest.raises(UsageError, match=words):
        fit_kaplan_meier(HAND).restricted_mean(limit)


def test_inspected_lives_are_refused():
    with pytest.raises(UsageError, match="life 2 ended between 100 and 200"):
        fit_kaplan_meier(Lives.between([50, 100], [50, 200]))


def test_no_lives():
    with pytest.raises(NotEnoughDataError, match="there are 0 lives"):
        fit_kaplan_meier(Lives.exact([], []))


def test_names_of_intervals_and_levels():
    with pytest.raises(UsageError, match='the interval is "logit"'):
        fit_kaplan_meier(HAND, interval="logit")
    with pytest.raises(UsageError, match="the confidence level is 95"):
        fit_kaplan_meier(HAND, confidence_level=95)
    with pytest.raises(UsageError, match="the share that has ended is 1"):
        fit_kaplan_meier(HAND).quantile(1)


@pytest.mark.parametrize("interval", [survival.LOG, survival.PLAIN, survival.LOG_LOG])
def test_intervals_stay_within_shares(interval):
    curve = fit_kaplan_meier(HAND, interval=interval)
    assert ((curve.conf_low >= 0) & (curve.conf_low <= curve.survival)).all()
    assert ((curve.conf_high <= 1) & (curve.conf_high >= curve.survival)).all()


def test_log_log_interval_covers_a_known_curve():
    rng = np.random.default_rng(41)
    # known truth: exponential lives of mean 1, so half last log 2; watched to 1
    inside = 0
    for _ in range(400):
        life = rng.exponential(size=25)
        got = fit_kaplan_meier(
            Lives.exact(np.minimum(life, 1), life < 1), interval=survival.LOG_LOG
        ).survival_at(math.log(2))
        inside += got.conf_low <= 0.5 <= got.conf_high
    # binomial: 400 trials at 0.95 stay above 0.92 but once in 200
    assert inside / 400 > 0.92
