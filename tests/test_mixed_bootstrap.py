"""Refits to made-up seasons: their scatter, their seed and their refusals."""

from __future__ import annotations

import numpy as np
import pytest
from test_mixed import trial

from trialkit import columns as c
from trialkit.edges import mixed, mixed_bootstrap
from trialkit.errors import NotEnoughDataError


def test_refits_scatter_as_the_standard_error_says():
    result = mixed.fit_mixed_wear(trial(n_trucks=6, n_sets=2))
    again = mixed_bootstrap.bootstrap_mixed_wear(result, 2000, seed=1)
    # known truth: the refits come from the fitted model; a standard deviation of 2,000 is good to 5 % (three errors)
    assert again.table[c.STD_ERROR].tolist() == pytest.approx(result.table[c.STD_ERROR].tolist(), rel=0.05)
    assert again.refits.mean().tolist() == pytest.approx(
        result.table[c.ESTIMATE].tolist(), abs=4 * float(again.table[c.STD_ERROR].max()) / np.sqrt(2000)
    )


def test_balanced_bootstrap_t_is_the_t_interval():
    result = mixed.fit_mixed_wear(trial(n_trucks=6))
    again = mixed_bootstrap.bootstrap_mixed_wear(result, 4000, seed=2)
    half = (result.table[c.CONF_HIGH] - result.table[c.CONF_LOW]).to_numpy() / 2
    other = (again.table[c.CONF_HIGH] - again.table[c.CONF_LOW]).to_numpy() / 2
    # known truth: in a balanced trial the studentized rate follows t with trucks - 1 df; 4,000 refits give it to 8 %
    assert other == pytest.approx(half, rel=0.08)


def test_made_up_responses_have_the_moments_of_the_model():
    fit = mixed.fit_mixed_wear(trial(n_trucks=3, n_sets=2, n_times=4)).fit
    responses = mixed_bootstrap.simulate_responses(fit, 4000, np.random.default_rng(3))
    # known truth: refitted at the true parameters, y'Py / residual variance is chi-squared with n - p df
    from trialkit.stats.mixed_reml import Criterion

    criterion = Criterion(fit.sums, reml=True)
    rss = criterion.solve(np.repeat(fit.theta[None], 4000, axis=0), responses).rss
    share = rss / (fit.evaluation.rss[0] / criterion.freedom)
    assert share.mean() == pytest.approx(criterion.freedom, rel=4 * np.sqrt(2 / criterion.freedom / 4000))
    assert share.var() == pytest.approx(2 * criterion.freedom, rel=0.1)


def test_same_seed_same_table_whatever_the_batches(monkeypatch):
    result = mixed.fit_mixed_wear(trial())
    one, two = (mixed_bootstrap.bootstrap_mixed_wear(result, 50, seed=7) for _ in range(2))
    assert one.table.equals(two.table)
    assert not one.table.equals(mixed_bootstrap.bootstrap_mixed_wear(result, 50, seed=8).table)
    monkeypatch.setattr(mixed_bootstrap, "_NUMBERS_AT_ONCE", 1)
    small = mixed_bootstrap.bootstrap_mixed_wear(result, 20, seed=7)
    assert small.refits.shape == (20, 2)
    assert small.table[c.STD_ERROR].gt(0).all()


def test_words():
    result = mixed.fit_mixed_wear(trial())
    again = mixed_bootstrap.bootstrap_mixed_wear(result, 100, seed=7, confidence_level=0.9)
    assert "100 refits, seed 7; 90% bootstrap-t intervals" in again.method
    assert (
        "; 99.9% boot"
        in mixed_bootstrap.bootstrap_mixed_wear(result, 20, seed=7, confidence_level=0.999).method
    )
    assert again.sentence().startswith("Refitted to 100 made-up seasons, the wear is ")
    assert " for plain_steel and " in again.sentence()
    assert again.notes == result.notes


def test_edge_type_on_one_truck_is_left_out():
    readings = trial()
    result = mixed.fit_mixed_wear(readings[~readings[c.TRUCK_UNIT].isin(["T6", "T7", "T8"])])
    again = mixed_bootstrap.bootstrap_mixed_wear(result, 20, seed=1)
    assert again.table[c.EDGE_TYPE].tolist() == ["plain_steel"]


@pytest.mark.parametrize("readings", [trial(n_trucks=1), trial().assign(**{c.HEIGHT_IN: 5.0})])
def test_nothing_to_refit(readings):
    with pytest.raises(NotEnoughDataError, match="0 edge types on two trucks or more; the refits need 1"):
        mixed_bootstrap.bootstrap_mixed_wear(mixed.fit_mixed_wear(readings), 10, seed=1)
