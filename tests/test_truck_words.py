"""What each truck shows by itself."""

import pytest
from wear_trials import fleet, frame

from trialkit.edges.wear import fit_wear_rates
from trialkit.report import truck_words


def test_every_truck_has_its_rate_and_what_it_rests_on():
    rates = fit_wear_rates(frame(fleet(trucks=3, rates=(1.5, 0.15), error=0.0, step=0.0)))
    found = truck_words.wear_of_trucks(rates)
    assert list(found.columns) == [
        "edge_type", "plow_position", "truck_id", "estimate", "unit", "miles_mi", "n_sets", "n_readings",
    ]  # fmt: skip
    assert len(found) == 6
    assert set(found["unit"]) == {"in/1000 mi"}
    means = found.groupby("edge_type", observed=True)["estimate"].mean()
    by_type = rates.table.set_index("edge_type")["estimate"]
    assert means.loc["plain_steel"] == pytest.approx(by_type.loc["plain_steel"])  # the mean of truck slopes
