import numpy as np
import pytest
from scipy.special import ndtr

from trialkit.stats.rounding import common_step, rounding_amplitude, uncancelled_share


@pytest.mark.parametrize("error", [0.0, 0.05, 0.1, 0.2, 0.3, 0.5])
def test_rounding_amplitude_bounds_the_mean_rounding_error(error):
    heights = np.linspace(0, 1, 2001)
    steps = np.arange(-4, 6)[:, None]
    if error:
        share = ndtr((steps + 0.5 - heights) / error) - ndtr((steps - 0.5 - heights) / error)
        worst = np.abs((steps * share).sum(axis=0) - heights).max()
    else:
        worst = 0.5
    amplitude = rounding_amplitude(np.array([1.0]), np.array([error]))[0]
    # by hand: exact mean of the rounded reading from the normal curve, step 1
    assert worst <= amplitude + 1e-9
    assert amplitude <= 1.35 * worst + 1e-9


def test_no_step_no_amplitude():
    assert rounding_amplitude(np.array([0.0, 0.0]), np.array([0.0, 0.1])).tolist() == [0.0, 0.0]


def test_errors_cancel_once_the_wear_runs_over_several_steps():
    # by hand: (2 / pi) / (10 - 1 / 2); one step or less, or no step at all, leaves all of it
    assert uncancelled_share(1.0, 0.1) == pytest.approx(2 / np.pi / 9.5)
    assert uncancelled_share([0.05, 1.0], [0.1, 0.0]).tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("heights", "step"),
    [
        ([5.8125, 5.84375, 4.0], 1 / 32),
        ([5.5, 5.5], 1 / 8),
        ([5.015, 4.98], 0.005),
        ([147.5 / 25.4, 133.0 / 25.4], 0.5 / 25.4),
        ([5.123456, 4.0], 0.0),
    ],
)
def test_the_step_of_a_tool_shows_in_its_readings(heights, step):
    assert common_step(heights) == pytest.approx(step)
