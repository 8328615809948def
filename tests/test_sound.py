"""Averages of decibels and the uncertainty of a level."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.cab import sound
from trialkit.errors import UsageError

LEVELS = st.lists(st.floats(40, 130), min_size=1, max_size=8)


@settings(deadline=None)
@given(LEVELS)
def test_energy_average_lies_between_mean_and_loudest(levels):
    average = sound.equivalent_level(levels)
    assert np.mean(levels) - 1e-9 <= average <= max(levels) + 1e-9


@settings(deadline=None)
@given(LEVELS, st.floats(0.1, 100))
def test_unit_of_the_durations_does_not_matter(levels, factor):
    weights = np.arange(1, len(levels) + 1)
    assert sound.equivalent_level(levels, weights) == pytest.approx(
        sound.equivalent_level(levels, weights * factor)
    )


@settings(deadline=None)
@given(LEVELS)
def test_a_five_decibel_average_is_never_above_the_energy_average(levels):
    five = sound.equivalent_level(levels, exchange_rate_db=5)
    assert five <= sound.equivalent_level(levels) + 1e-9


def test_five_decibel_average_halves_the_weight_every_five_decibels():
    # by hand: 95 dBA for 1 h counts like 90 dBA for 2 h, so 1 h at 95 and 2 h of silence average 90 - 5 log2(3/2) = 87.08
    assert sound.equivalent_level([95, 0], [1, 2], exchange_rate_db=5) == pytest.approx(87.08, abs=0.005)


def test_durations_weigh():
    # by hand: equal shares of 80 and 90 dBA give 10 log10((1e8 + 1e9) / 2) = 87.40; 3 h and 1 h give 85.12
    assert sound.equivalent_level([80, 90]) == pytest.approx(87.40, abs=0.005)
    assert sound.equivalent_level([80, 90], [3, 1]) == pytest.approx(85.12, abs=0.005)
    assert sound.equivalent_level([80, 90], [3, 0]) == pytest.approx(80)


@pytest.mark.parametrize(
    ("levels", "durations", "rate", "said"),
    [
        ([85], None, 4, "4 dB; allowed 3 or 5"),
        ([-3], None, 3, "-3 dBA"),
        ([150], None, 3, "150 dBA"),
        ([85, 86], [1], 3, "2 levels but 1 durations"),
        ([85, 86], [0, 0], 3, "All durations are zero"),
        ([85], [-1], 3, "-1 h"),
    ],
)
def test_what_cannot_be_averaged(levels, durations, rate, said):
    with pytest.raises(UsageError, match=said):
        sound.equivalent_level(levels, durations, exchange_rate_db=rate)


def test_exposure_level_of_no_time():
    with pytest.raises(UsageError, match="0 h; allowed above 0"):
        sound.exposure_level(85, 0)


def test_one_sample_has_no_spread():
    assert math.isnan(sound.sampling_uncertainty_db([85.0]))
    assert sound.sampling_uncertainty_db([85.0, 85.0]) == 0


def test_energy_shares_add_up_to_one():
    assert sound.level_sensitivity([70, 85, 90], [3, 5, 1]).sum() == pytest.approx(1)


def test_uncertainty_of_one_task_is_the_root_of_its_parts():
    # by hand: sqrt(0.8^2 + 1.5^2 + 1.0^2) = 1.972; times 1.65 = 3.254
    u = sound.combined_uncertainty_db([85], [8], u1a_db=0.8, u2_db=1.5, u3_db=1.0)
    assert u == pytest.approx(1.972, abs=5e-4)
    assert sound.expanded_uncertainty_db(u) == pytest.approx(3.254, abs=5e-4)


def test_week_of_five_equal_days_is_the_day():
    assert sound.weekly_exposure_level([84.0] * 5) == pytest.approx(84.0)
