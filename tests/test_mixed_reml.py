"""The mixed model itself: layout of random effects, criterion, boundary and contrasts."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import block_diag

from trialkit.stats import mixed_df, mixed_reml
from trialkit.stats.mixed_terms import NO_PARAMETER, CrossProducts, RandomTerm, cross_products

GROUP = np.repeat(np.arange(6), 5)
X = np.column_stack([np.ones(30), np.tile(np.arange(5.0), 6)])


def response(seed: int, slope_sd: float = 1.0, intercept_sd: float = 1.0) -> np.ndarray:
    """Response of 6 groups with random lines."""
    rng = np.random.default_rng(seed)
    lines = rng.standard_normal((6, 2)) * [intercept_sd, slope_sd]
    return 1.0 + (X * lines[GROUP]).sum(axis=1) + 0.5 * rng.standard_normal(30)


def fitted(y: np.ndarray, term: RandomTerm, reml: bool = True) -> mixed_reml.MixedFit:
    return mixed_reml.fit_cross_products(cross_products(y, X, [term], GROUP), reml)


def dense_deviance(fit: mixed_reml.MixedFit, y: np.ndarray, z: np.ndarray) -> float:
    """Restricted deviance by its definition, with the whole covariance matrix of the readings."""
    (covariance,) = fit.random_covariances.values()
    blocks = [z[g == GROUP] @ covariance @ z[g == GROUP].T for g in range(6)]
    v = block_diag(*blocks) + fit.residual_variance * np.eye(30)
    inverse = np.linalg.inv(v)
    information = X.T @ inverse @ X
    rest = y - X @ np.linalg.solve(information, X.T @ inverse @ y)
    log_dets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    return float(28 * np.log(2 * np.pi) + log_dets + rest @ inverse @ rest)


# ---------------------------------------------------------------- layout
def test_layout_of_nested_terms_with_blocks():
    kind = np.where(GROUP < 3, "a", "b")
    half = np.tile([0, 0, 1, 1, 1], 6)
    terms = [RandomTerm(X, block=kind), RandomTerm(X[:, 1], within=half)]
    sums = cross_products(response(1), X, terms, GROUP)
    assert (sums.n, sums.n_fixed, sums.n_random, sums.n_parameters) == (30, 2, 4, 7)
    no = NO_PARAMETER
    # by hand: a full 2 x 2 factor for the group (its own for each kind), one parameter for both halves
    expected = [[0, no, no, no], [1, 2, no, no], [no, no, 6, no], [no, no, no, 6]]
    assert sums.entries[0].tolist() == expected
    assert sums.entries[5, :2, :2].tolist() == [[3, no], [4, 5]]
    assert [block.name for block in sums.blocks] == ["term 1 a", "term 1 b", "term 2"]
    assert sums.diagonal.tolist() == [0, 2, 3, 5, 6]


def test_groups_with_fewer_levels_carry_empty_columns():
    half = np.where(GROUP == 0, 0, np.tile([0, 0, 1, 1, 1], 6))
    sums = cross_products(response(1), X, [RandomTerm(X[:, 1], within=half)], GROUP)
    assert sums.entries[0].tolist() == [[0, NO_PARAMETER], [NO_PARAMETER, NO_PARAMETER]]
    assert sums.products[0, 1].tolist() == [0.0] * 5


def test_block_must_not_change_inside_a_level():
    with pytest.raises(ValueError, match="random term 1: the block changes inside a level"):
        cross_products(response(1), X, [RandomTerm(X, block=np.arange(30) % 2)], GROUP)


@pytest.mark.parametrize(
    ("x", "y", "match"),
    [
        (np.column_stack([X, X[:, 0] + X[:, 1]]), response(1), "depend on each other"),
        (np.column_stack([X, np.zeros(30)]), response(1), "depend on each other"),
        (np.eye(30), response(1), "30 observations are too few for 30 fixed effects"),
        (X, 2.0 + 0.25 * X[:, 1], "without remainder"),
    ],
)
def test_fixed_effects_that_cannot_be_used(x, y, match):
    with pytest.raises(ValueError, match=match):
        cross_products(y, x, [RandomTerm(X)], GROUP)


# ---------------------------------------------------------------- criterion
@pytest.mark.parametrize("correlated", [True, False])
def test_deviance_is_that_of_the_dense_covariance_matrix(correlated):
    y = response(2)
    fit = fitted(y, RandomTerm(X, correlated=correlated))
    assert -2 * fit.log_likelihood == pytest.approx(dense_deviance(fit, y, X), rel=1e-10)


@pytest.mark.parametrize("reml", [True, False])
def test_slopes_and_curvature_are_those_of_differences(reml):
    terms = [RandomTerm(X), RandomTerm(X[:, 1], within=np.tile([0, 0, 1, 1, 1], 6), block=GROUP % 2)]
    criterion = mixed_reml.Criterion(cross_products(response(3), X, terms, GROUP), reml)
    theta, step = np.array([0.7, -0.4, 0.3, 0.5, 1.2]), 1e-5
    here = criterion(theta[None], criterion.observed)
    ahead, behind = (criterion(theta + sign * step * np.eye(5), criterion.observed) for sign in (1, -1))
    assert here.gradient[0] == pytest.approx((ahead.value - behind.value) / (2 * step), abs=1e-7)
    assert here.hessian[0] == pytest.approx((ahead.gradient - behind.gradient) / (2 * step), abs=1e-6)


def test_rows_are_fitted_side_by_side_as_alone():
    sums = cross_products(response(3), X, [RandomTerm(X)], GROUP)
    criterion = mixed_reml.Criterion(sums, reml=True)
    starts = mixed_reml.start_rows(sums, [[1.0, 1.0], [5.0, 0.5]])
    together = mixed_reml.minimize(criterion, starts, criterion.observed)
    for row in (0, 1):
        alone = mixed_reml.minimize(criterion, starts[row : row + 1], criterion.observed)
        assert together[1].value[row] == pytest.approx(alone[1].value[0], rel=1e-12)
    assert together[2].all()


def test_no_start_finds_a_lower_minimum():
    # few readings give several minima; the search must end in the lowest that 20 random starts find
    for seed in range(40):
        rng = np.random.default_rng(seed)
        group, x = np.repeat(np.arange(4), 3), rng.uniform(0, 3, 12)
        columns = np.column_stack([np.ones(12), x])
        y = (columns * rng.standard_normal((4, 2))[group]).sum(axis=1) + 0.3 * rng.standard_normal(12)
        sums = cross_products(y, columns, [RandomTerm(columns)], group)
        criterion, fit = mixed_reml.Criterion(sums, reml=True), mixed_reml.fit_cross_products(sums)
        theta = rng.standard_normal((20, 3)) * 3.0
        _, ends, _ = mixed_reml.minimize(criterion, theta, criterion.observed)
        assert fit.converged
        assert fit.evaluation.value[0] <= ends.value.min() + 1e-7


# ---------------------------------------------------------------- boundary
def test_zero_variance_is_exactly_zero_and_said():
    fit = fitted(response(4, slope_sd=0.0), RandomTerm(X, correlated=False))
    assert fit.random_covariances["term 1"][1, 1] == 0.0
    assert fit.random_covariances["term 1"][0, 0] > 0.0
    assert fit.singular
    assert fit.notes == ("term 1: a variance is estimated as zero",)


def test_perfect_correlation_is_said():
    rng = np.random.default_rng(1)
    line = np.outer(rng.standard_normal(6), [2.0, 1.0])
    fit = fitted((X * line[GROUP]).sum(axis=1) + 0.5 * rng.standard_normal(30), RandomTerm(X))
    covariance = fit.random_covariances["term 1"]
    assert abs(covariance[1, 0]) == pytest.approx(np.sqrt(covariance[0, 0] * covariance[1, 1]), rel=1e-10)
    assert fit.notes == ("term 1: the random effects are estimated as perfectly correlated",)


def test_as_many_random_effects_as_observations():
    group, x = np.repeat(np.arange(4), 2), np.tile([0.0, 1.0], 4)
    columns = np.column_stack([np.ones(8), x])
    with pytest.raises(ValueError, match="random term 1 has 8 effects for 8 observations"):
        cross_products(np.arange(8.0) ** 2, columns, [RandomTerm(columns)], group)


def test_residual_of_nothing_is_not_converged():
    rng = np.random.default_rng(5)
    lines = rng.standard_normal((6, 2))
    fit = fitted((X * lines[GROUP]).sum(axis=1) + 1e-9 * rng.standard_normal(30), RandomTerm(X))
    assert not fit.converged


def test_small_residual_beside_large_random_effects_costs_no_digits():
    rng = np.random.default_rng(5)
    lines, noise = rng.standard_normal((6, 2)), rng.standard_normal(30)
    for error in (1e-2, 1e-3, 1e-4, 1e-5):
        fit = fitted((X * lines[GROUP]).sum(axis=1) + error * noise, RandomTerm(X))
        found = mixed_df.estimate_contrasts(fit, [0, 1])
        # exact: balanced, so Satterthwaite and Kenward-Roger both give the 6 groups less 1
        assert found.df_satterthwaite == pytest.approx([5.0], rel=1e-7)
        assert found.df_kr == pytest.approx([5.0], rel=1e-7)
        slopes = [
            np.polyfit(X[:5, 1], part, 1)[0]
            for part in ((X * lines[GROUP]).sum(axis=1) + error * noise).reshape(6, 5)
        ]
        assert found.std_error == pytest.approx([np.std(slopes, ddof=1) / np.sqrt(6)], rel=1e-6)
        assert fit.converged


# ---------------------------------------------------------------- contrasts
def test_contrast_scales_with_its_weights():
    fit = fitted(response(2), RandomTerm(X))
    one, three = (mixed_df.estimate_contrasts(fit, [0.0, weight]) for weight in (1.0, -3.0))
    assert three.estimate == pytest.approx(-3.0 * one.estimate)
    assert three.std_error_kr == pytest.approx(3.0 * one.std_error_kr)
    assert three.df_satterthwaite == pytest.approx(one.df_satterthwaite)
    assert three.df_kr == pytest.approx(one.df_kr)


def test_no_random_effect_is_ordinary_least_squares():
    y = response(2)
    sums = cross_products(y, X, [RandomTerm(X[:, 0])], GROUP)
    bare = CrossProducts(
        products=sums.products,
        n_each=sums.n_each,
        n_random=1,
        entries=np.full((6, 1, 1), NO_PARAMETER),
        blocks=(),
        x_basis=sums.x_basis,
        offset=sums.offset,
        y_scale=sums.y_scale,
    )
    fit = mixed_reml.fit_cross_products(bare)
    coefficients, rss, *_ = np.linalg.lstsq(X, y, rcond=None)
    assert fit.coefficients == pytest.approx(coefficients)
    assert fit.residual_variance == pytest.approx(rss[0] / 28)
    found = mixed_df.estimate_contrasts(fit, np.eye(2))
    assert found.df_satterthwaite == pytest.approx([28.0, 28.0])
    assert found.df_kr == pytest.approx([28.0, 28.0])
