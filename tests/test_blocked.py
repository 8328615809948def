"""Treatments compared within blocks; agreement with other software is in tests/published."""

from __future__ import annotations

import numpy as np
import pytest
from clearing_trials import draw

from trialkit.stats.blocked import fit_blocked
from trialkit.stats.blocked_sums import blocked_sums
from trialkit.stats.two_stage import fit_two_stage
from trialkit.stats.two_way import relative_use


def sums(seed: int = 1, trucks=((0,), (0,), (0,), (1,), (1,), (1,)), columns=None, **options):
    drawn = draw(np.random.default_rng(seed), trucks, **options)
    storm, truck = (np.unique(part, return_inverse=True)[1] for part in (drawn.storm, drawn.truck))
    return blocked_sums(drawn.rate, storm, truck, drawn.kind, columns and columns(drawn))


# ---------------------------------------------------------------- what is kept of the data
def test_the_parts_add_up_to_the_scatter():
    found = sums()
    between = found.response @ found.inner @ found.response
    assert between + found.rest[-1, -1] == pytest.approx(found.scatter)
    root = found.coordinates()
    assert root @ root.T == pytest.approx(found.inner, abs=1e-9)


def test_units_and_origin_of_the_response_do_not_matter():
    drawn = draw(np.random.default_rng(3), [[0], [0], [0], [1], [1], [1]], missing=0.3)
    a, b = (
        fit_blocked(blocked_sums(y, drawn.storm, drawn.truck, drawn.kind))
        for y in (drawn.rate, 1e4 * drawn.rate + 1e7)
    )
    assert b.estimate / 1e4 == pytest.approx(a.estimate, rel=1e-6)
    assert b.std_error / 1e4 == pytest.approx(a.std_error, rel=1e-5)
    assert b.df == pytest.approx(a.df, rel=1e-5)


def test_covariates_that_say_nothing_new_are_left_out():
    def columns(drawn):
        return np.column_stack(
            [
                drawn.storm,
                drawn.kind,
                np.sin(np.arange(len(drawn.rate))),
                2 * np.sin(np.arange(len(drawn.rate))) + 1,
            ]
        )

    found = sums(columns=columns)
    assert list(found.kept) == [False, False, True, False]
    assert len(fit_blocked(found).covariate_effects) == 1


def test_a_covariate_of_the_truck_costs_a_degree_of_freedom():
    trucks = [[0]] * 5 + [[1]] * 5
    plain, told = (sums(4, trucks, columns) for columns in (None, lambda drawn: np.cos(drawn.truck * 1.7)))
    assert fit_blocked(plain).df[0] == pytest.approx(8)
    assert fit_blocked(told).df[0] == pytest.approx(7, abs=1e-6)


def test_a_covariate_of_the_shift_costs_next_to_none():
    found = sums(4, [[0]] * 5 + [[1]] * 5, lambda drawn: np.sin(np.arange(len(drawn.rate)) * 1.3))
    assert 7.8 < fit_blocked(found).df[0] <= 8


def test_an_unlinked_treatment_is_refused():
    with pytest.raises(ValueError, match="shares no block with the reference"):
        blocked_sums([1.0, 2.0, 3.0, 4.0], [0, 0, 1, 1], [0, 1, 2, 3], [0, 0, 1, 1])
    with pytest.raises(ValueError, match="shares no block"):
        blocked_sums([1.0, 2.0], [0, 0], [0, 1], [0, 0])


# ---------------------------------------------------------------- the fit
def test_degrees_of_freedom_are_never_more_than_units_less_treatments():
    for seed in range(40):
        found = fit_blocked(sums(seed, truck_sd=0.0, missing=0.4))
        assert found.df[0] <= 4 + 1e-9
        assert found.std_error[0] > 0


def test_units_that_are_alike_are_judged_by_their_spread_with_a_floor():
    for seed in range(40):
        data = sums(seed, truck_sd=0.0)
        found = fit_blocked(data)
        if found.no_spread:
            break
    assert found.cell_variance == 0
    wide, narrow = (fit_blocked(data, level).std_error[0] for level in (0.5, 0.999))
    assert (
        narrow <= found.std_error[0] <= wide
    )  # the floor binds where t quantiles of few and many df are alike


def test_changing_units_are_compared_with_themselves():
    trucks = [[0, 1], [1, 0], [0, 1], [1, 0], [0, 1], [1, 0]]
    found = fit_blocked(sums(2, trucks, truck_sd=2.0, carry_sd=0.05))
    assert found.uses_changes
    assert found.std_error[0] < 0.1  # with trucks that spread by 2
    assert found.unit_variance == pytest.approx(4, rel=0.9)
    assert found.df[0] <= 4 + 1e-6


def test_two_changing_units_count_as_different_ones():
    found = fit_blocked(sums(2, [[0, 1], [1, 0], [0], [1]]))
    assert not found.uses_changes
    assert np.isnan(found.unit_variance)


def test_one_unit_to_a_treatment_has_no_error():
    found = fit_blocked(sums(2, [[0], [1]]))
    assert np.isfinite(found.estimate[0])
    assert np.isnan([found.std_error[0], found.df[0]]).all()


def test_a_response_that_does_not_vary_has_no_error():
    drawn = draw(np.random.default_rng(1), [[0], [0], [1], [1]])
    for change in (0.0, -0.1):
        rate = 5.3 + change * drawn.kind + 7 * change * drawn.storm
        found = fit_blocked(blocked_sums(rate, drawn.storm, drawn.truck, drawn.kind))
        assert found.estimate[0] == pytest.approx(change, abs=1e-12)
        assert np.isnan(found.std_error[0])


def test_trucks_that_run_exactly_parallel_are_the_t_test_of_their_levels():
    found = fit_blocked(sums(5, error_sd=0.0))
    drawn = draw(np.random.default_rng(5), [[0]] * 3 + [[1]] * 3, error_sd=0.0)
    means = np.array([drawn.rate[drawn.truck == k].mean() for k in range(6)])
    pooled = np.sqrt((means[:3].var(ddof=1) + means[3:].var(ddof=1)) / 2 * 2 / 3)
    assert found.std_error[0] == pytest.approx(pooled, rel=1e-4)
    assert found.df[0] == pytest.approx(4, abs=1e-3)


# ---------------------------------------------------------------- two stages
def test_two_stages_by_hand():
    data = sums(7, [[0]] * 4 + [[1]] * 3)
    found = fit_two_stage(data)
    effects = data.response
    assert found.separate_spread
    assert found.estimate[0] == pytest.approx(effects[4:].mean() - effects[:4].mean())
    error = np.sqrt(effects[4:].var(ddof=1) / 3 + effects[:4].var(ddof=1) / 4)
    assert found.std_error[0] == pytest.approx(error)


def test_two_stages_where_no_cell_links_the_parts():
    # all change at half-time: the cells of the first half never meet those of the second
    data = sums(7, [[0, 1], [1, 0], [0, 1], [1, 0], [0, 1], [1, 0]], truck_sd=1.0)
    found = fit_two_stage(data)
    assert not found.separate_spread
    assert found.df[0] == 4
    assert found.std_error[0] < 0.2
    assert found.estimate[0] == pytest.approx(fit_blocked(data).estimate[0], abs=0.02)


def test_two_stages_without_units_to_spare():
    found = fit_two_stage(sums(7, [[0, 1], [1, 0], [0, 1]]))
    assert found.df[0] == 1
    first = draw(np.random.default_rng(1), [[0], [1]], n_storms=4)
    second = draw(np.random.default_rng(2), [[0], [1]], n_storms=4)
    apart = blocked_sums(
        np.append(first.rate, second.rate),
        np.append(first.storm, second.storm + 4),
        np.append(first.truck, second.truck + 2),
        np.append(first.kind, second.kind),
    )
    assert fit_two_stage(apart).df[0] == 1


def test_two_stages_take_covariates_out_within_cells():
    def columns(drawn):
        return np.sin(np.arange(len(drawn.rate)) * 1.3)

    plain, told = (fit_two_stage(sums(9, columns=column)).estimate[0] for column in (None, columns))
    assert told != plain
    assert told == pytest.approx(plain, abs=0.02)


# ---------------------------------------------------------------- totals with zeros
def test_relative_use_of_an_exact_product():
    block, cell = np.indices((5, 4)).reshape(2, -1)
    use, level = np.array([1.0, 0.5, 2.0, 0.5]), np.array([100.0, 300.0, 50.0, 10.0, 200.0])
    exposure = 1.0 + (block + cell) % 3
    found = relative_use(exposure * level[block] * use[cell], exposure, block, cell)
    assert found == pytest.approx(use / use.mean(), rel=1e-8)


def test_relative_use_keeps_zeros():
    # two trucks in two storms, the second used nothing in the second: half of what the first did
    found = relative_use(
        np.array([4.0, 4.0, 4.0, 0.0]), np.ones(4), np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])
    )
    assert found == pytest.approx([4 / 3, 2 / 3])
    none = relative_use(np.array([4.0, 0.0]), np.ones(2), np.array([0, 0]), np.array([0, 1]))
    assert none == pytest.approx([2.0, 0.0])
