"""Which way of comparing treatments within blocks counts."""

import numpy as np
import pytest
from clearing_trials import draw

from trialkit.stats.blocked import fit_blocked
from trialkit.stats.blocked_sums import blocked_sums
from trialkit.stats.two_stage import fit_differences, fit_two_stage


def sums(trucks, *, columns=None, seed=7, **options):
    drawn = draw(np.random.default_rng(seed), trucks, **options)
    storm, truck = (np.unique(part, return_inverse=True)[1] for part in (drawn.storm, drawn.truck))
    return blocked_sums(drawn.rate, storm, truck, drawn.kind, None if columns is None else columns(drawn))


def same(found, other):
    return all(
        getattr(found, name) == pytest.approx(getattr(other, name))
        for name in ("estimate", "std_error", "df")
    )


SEPARATE = [[0]] * 4 + [[1]] * 3
ROTATED = [[0, 1], [1, 0]] * 3


@pytest.mark.parametrize("trucks", [SEPARATE, [[0, 1], [1, 0], [0], [0], [1], [1]]])
def test_units_with_one_treatment_each_are_averaged_first(trucks):
    data = sums(trucks)
    found = fit_differences(data)
    assert found.units_first
    assert same(found, fit_two_stage(data))
    assert not same(found, fit_blocked(data))


def test_units_that_change_are_compared_by_the_model():
    data = sums(ROTATED)
    found = fit_differences(data)
    assert not found.units_first
    assert same(found, fit_blocked(data))


def test_blocks_that_no_cell_links_are_compared_by_the_model():
    first, second = (draw(np.random.default_rng(k), SEPARATE, n_storms=4) for k in (1, 2))
    apart = blocked_sums(
        np.append(first.rate, second.rate),
        np.append(first.storm, second.storm + 4),
        np.append(first.truck, second.truck + 7),
        np.append(first.kind, second.kind),
    )
    assert not fit_differences(apart).units_first


def test_covariates_that_vary_within_cells_are_taken_out_there_and_others_by_the_model():
    def within(drawn):
        return np.sin(np.arange(len(drawn.rate)) * 1.3)

    def between(drawn):
        return drawn.truck.astype(float)

    assert fit_differences(sums(SEPARATE, columns=within)).units_first
    assert not fit_differences(sums(SEPARATE, columns=between)).units_first
    assert not fit_differences(
        sums(SEPARATE, columns=lambda drawn: np.column_stack([within(drawn), between(drawn)]))
    ).units_first


def test_the_level_reaches_the_degrees_of_freedom_of_two_units_against_more():
    data = sums([[0]] * 2 + [[1]] * 5)
    low, high = (fit_differences(data, level).df[0] for level in (0.8, 0.99))
    assert low != pytest.approx(high)
