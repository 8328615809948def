"""How edge types differ in what it takes to clear a road."""

from __future__ import annotations

import numpy as np
import pytest
from clearing_trials import RUBBER, STEEL, season, separate
from scipy.special import stdtrit

from trialkit import columns as c
from trialkit.clearing import comparison, measures
from trialkit.errors import NotEnoughDataError, UsageError

SALT = measures.material_use("rock_salt")


def test_a_balanced_season_gives_the_t_interval_of_the_truck_means():
    shifts = season(np.random.default_rng(1), separate(4, 4), change={RUBBER: np.log(0.92)})
    row = comparison.compare_edge_types(shifts, SALT, reference=STEEL).table.loc[0]
    logs = np.log(shifts[c.QUANTITY_LB] / shifts[c.LANE_MILES_TREATED])
    means = logs.groupby([shifts[c.EDGE_TYPE], shifts[c.TRUCK_ID]]).mean()
    a, b = means[RUBBER], means[STEEL]
    pooled = np.sqrt((a.var() + b.var()) / 2 * (1 / 4 + 1 / 4))
    half = stdtrit(6, 0.975) * pooled
    assert row[c.DF] == pytest.approx(6)
    assert row[c.ESTIMATE_PCT] == pytest.approx(100 * np.expm1(a.mean() - b.mean()))
    assert row[c.CONF_LOW] == pytest.approx(100 * np.expm1(a.mean() - b.mean() - half))
    assert row[c.CONF_HIGH] == pytest.approx(100 * np.expm1(a.mean() - b.mean() + half))


def test_what_is_not_there_is_named():
    shifts = season(np.random.default_rng(1), separate(3, 3))
    with pytest.raises(UsageError, match="passes"):
        comparison.compare_edge_types(shifts, measures.PASSES, reference=STEEL)
    with pytest.raises(UsageError, match=r'"plain steel".*Did you mean "plain_steel"'):
        comparison.compare_edge_types(shifts, SALT, reference="plain steel")
    alone = shifts[(shifts[c.EDGE_TYPE] == STEEL) == (shifts[c.STORM_ID] < "W-007")]
    with pytest.raises(
        NotEnoughDataError, match=r"rock salt per lane-mile of both plain_steel.*21 shifts.*24 of others"
    ):
        comparison.compare_edge_types(alone, SALT, reference=STEEL)
