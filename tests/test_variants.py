"""One thing changed at a time: each variant is what working it out by itself gives."""

import numpy as np
import pandas as pd
import pytest
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.edges import variants as vr
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.crosscheck import compare_with_mixed
from trialkit.edges.life import project_life
from trialkit.edges.life_comparison import compare_lives
from trialkit.edges.wear import fit_wear_rates

KEY = ("carbide_insert", "front")
NUMBERS = [c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]


def rates_of(rows, **options):
    return fit_wear_rates(frame(rows), reference="plain_steel", labels=LABELS, **options)


def of(variant, kind="carbide_insert", place="front"):
    own = variant.ratios
    return own[(own[c.EDGE_TYPE] == kind) & (own[c.PLOW_POSITION] == place)].iloc[0]


def test_all_changes_together_are_each_by_itself():
    rows = [*fleet(seed=2), *fleet(n_types=3, place="wing_left", seed=3)]
    rates = rates_of(rows)
    changes = [vr.Change("g", "as it is", rates), *vr.without_each_truck(rates)]
    for change, variant in zip(changes, vr.work_out(changes), strict=True):
        alone = compare_edge_types(change.rates).table
        alone = alone[alone[c.N_TRUCKS] > 0].reset_index(drop=True)
        names = [c.EDGE_TYPE, c.PLOW_POSITION]
        assert variant.ratios[names].astype(str).equals(alone[names].astype(str))
        np.testing.assert_allclose(variant.ratios[NUMBERS], alone[NUMBERS], rtol=1e-9)


def test_no_change_gives_nothing():
    assert vr.work_out([]) == []


def test_a_truck_left_out_is_the_trial_without_its_readings():
    rows = fleet(seed=2)
    without = next(one for one in vr.without_each_truck(rates_of(rows)) if one.truck == "pl1")
    (found,) = vr.work_out([without])
    expected = compare_edge_types(rates_of([row for row in rows if row[2] != "pl1"])).table.iloc[0]
    assert of(found)[NUMBERS].tolist() == pytest.approx(expected[NUMBERS].tolist(), rel=1e-6)
    assert of(found)[c.N_TRUCKS_REFERENCE] == 3


def test_a_truck_touches_only_the_comparisons_it_takes_part_in():
    rates = rates_of([*fleet(n_types=3, seed=2), *fleet(place="wing_left", seed=3)])
    touched = {one.truck: one.touched for one in vr.without_each_truck(rates)}
    assert touched["ru0"] == {("rubber_carbide", "front")}
    # the same name on front plow and left wing is one truck
    assert touched["ca0"] == {("carbide_insert", "front"), ("carbide_insert", "wing_left")}
    assert touched["pl0"] >= {("rubber_carbide", "front"), ("carbide_insert", "wing_left")}


def test_leaving_out_the_only_truck_leaves_no_ratio():
    rates = rates_of(fleet(trucks=1))
    found = vr.work_out(vr.without_each_truck(rates))
    assert [len(one.ratios) for one in found] == [0, 0]


def test_another_run_in_is_a_new_fit():
    rows = fleet(seed=2)
    change = vr.refitted(vr.READINGS, "run-in", frame(rows), rates_of(rows), run_in_mi=200.0)
    (found,) = vr.work_out([change])
    expected = compare_edge_types(rates_of(rows, run_in_mi=200.0)).table.iloc[0]
    assert of(found)[NUMBERS].tolist() == pytest.approx(expected[NUMBERS].tolist())


def test_readings_without_the_reference_give_no_change():
    rows = fleet()
    others = frame([row for row in rows if row[0] != "plain_steel"])
    assert vr.refitted(vr.READINGS, "others", others, rates_of(rows)) is None


def test_first_readings_are_those_of_each_segment():
    kept = vr.without_first_readings(frame(fleet(readings=4)))
    assert len(kept) == 3 * 24
    assert (kept.groupby(c.SEGMENT)[c.MILES_MI].min() > 60_000).all()


def test_odometer_miles_scale_the_slopes_of_trucks():
    rates = rates_of(fleet(seed=2))
    shares = {unit: 0.8 if unit.startswith("ca") else 0.4 for unit in rates.trucks[c.TRUCK_UNIT]}
    (found,) = vr.work_out([vr.per_odometer_mile(rates, shares, "odometer")])
    plain = compare_edge_types(rates).table.iloc[0]
    # by hand: the reference's wear halves against the type's, and the whole set with it
    assert of(found)[NUMBERS].tolist() == pytest.approx((plain[NUMBERS] / 2).tolist(), rel=1e-6)


def test_trucks_without_a_share_drop_out():
    rates = rates_of(fleet(seed=2))
    shares = dict.fromkeys(rates.trucks[c.TRUCK_UNIT].iloc[1:], 0.5)
    (found,) = vr.work_out([vr.per_odometer_mile(rates, shares, "odometer")])
    assert (of(found)[c.N_TRUCKS], of(found)[c.N_TRUCKS_REFERENCE]) == (4, 3)


def test_log_slopes_are_refused_where_a_truck_does_not_wear():
    x = np.linspace(0, 600, 6)
    rows = [*fleet(), *segment("carbide_insert", "up", "up", 1, x, 6.0 + x / 1000)]
    found = vr.of_log_slopes(rates_of(rows))
    assert found.ratios.empty
    assert found.why_not[KEY] == "a truck's wear is not above zero, or not measurable"


def test_log_slopes_are_refused_where_the_reference_does_not_wear():
    found = vr.of_log_slopes(rates_of(fleet(rates=(0.0, 1.5), error=0.004, step=1 / 16)))
    assert KEY in found.why_not


def test_thinnest_spots_are_lives_at_equal_depths():
    rows = fleet(seed=2)
    rates = rates_of(rows)
    depths = pd.DataFrame({c.EDGE_TYPE: ["plain_steel", "carbide_insert"], c.USABLE_DEPTH_IN: [2.0, 2.0]})
    expected = compare_lives(project_life(rates, frame(rows), depths)).table.iloc[0]
    found = of(vr.of_thinnest_spots(frame(rows), rates))
    assert found[NUMBERS].tolist() == pytest.approx(expected[NUMBERS].tolist())


def test_the_mixed_model_of_a_balanced_trial_gives_the_same_ratio():
    rows = fleet(spread=0.2, seed=4)
    rates = rates_of(rows)
    found = of(vr.of_mixed_model(compare_with_mixed(frame(rows), rates), rates))
    plain = compare_edge_types(rates).table.iloc[0]
    assert found[NUMBERS].tolist() == pytest.approx(plain[NUMBERS].tolist(), rel=0.02)


def test_a_refused_mixed_model_gives_no_interval():
    rows = fleet(error=0.0, step=0.0)
    rates = rates_of(rows)
    assert np.isnan(of(vr.of_mixed_model(compare_with_mixed(frame(rows), rates), rates))[c.CONF_LOW])
