import numpy as np
import pytest

from trialkit.stats.largest import correct_largest, expected_largest


def test_many_samples_at_once_are_each_by_itself():
    rng = np.random.default_rng(1)
    mean = 1 + 0.1 * rng.standard_normal((4, 5))
    largest = mean + rng.uniform(0.1, 0.3, (4, 5))
    noisier = largest + rng.uniform(0.0, 0.1, (4, 5))
    together = correct_largest(mean, largest, noisier)
    for k in range(4):
        alone = correct_largest(mean[k], largest[k], noisier[k])
        for name in ("values", "mean", "variance", "kept", "missed"):
            assert getattr(together, name)[k] == pytest.approx(getattr(alone, name))


def test_no_excess_nothing_to_correct():
    found = correct_largest(np.array([1.0, 2.0]), np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    assert (float(found.mean), float(found.kept), float(found.missed)) == (1.5, 0.0, 0.0)
    assert found.variance == pytest.approx(0.5)


def test_one_unit_has_no_variance():
    assert np.isnan(correct_largest(np.array([1.0]), np.array([1.2]), np.array([1.3])).variance)


def test_a_coarser_grid_is_good_enough_for_planning():
    values, errors = np.array([[0.0, 0.3, 1.0, 0.9, -0.4]]), np.full((1, 5), 0.5)
    assert expected_largest(values, errors, 21) == pytest.approx(expected_largest(values, errors), abs=2e-3)
