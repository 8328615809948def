import math
from dataclasses import replace

import pytest

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.planning import differences as d
from trialkit.planning.sizing import PARALLEL, ROTATED
from trialkit.stats.power import power_with_df, t_test_power

PLAN = d.DifferencePlan(truck_spread=1.5, single_spread=1.0, n_each=4)


def test_rotated_sound_is_the_paired_t_test():
    # by hand: the truck leaves 20 % of 2.25 and the samples 1 / 4 to each of the two means
    spread = math.sqrt(2 * (0.2 * 2.25 + 0.25))
    expected = t_test_power(2.0, spread, 6, confidence_level=0.975, one_sided=True)
    assert d.power_of_difference(PLAN, 2.0, 6, ROTATED) == pytest.approx(expected, abs=1e-6)


def test_a_difference_that_can_be_shown_has_the_power_planned_for():
    sound, material = d.size_sound(PLAN, [4, 8]), d.size_material(d.DifferencePlan(0.2, 0.3, 12), [4, 8])
    for row in sound.table.to_dict("records"):
        power = d.power_of_difference(PLAN, row[c.DETECTABLE_DB], row[c.N_TRUCKS], row[c.DESIGN])
        assert power == pytest.approx(0.8, abs=1e-4)
    for row in material.table.to_dict("records"):
        size = -math.log(1 - row[c.DETECTABLE_PCT] / 100)
        power = d.power_of_difference(material.plan, size, row[c.N_TRUCKS], row[c.DESIGN], log=True)
        assert power == pytest.approx(0.8, abs=1e-4)


def test_samples_do_not_replace_trucks():
    many = d.size_sound(replace(PLAN, n_each=1000), [4], [PARALLEL]).table[c.DETECTABLE_DB].iloc[0]
    few = d.size_sound(replace(PLAN, n_each=2), [4], [PARALLEL]).table[c.DETECTABLE_DB].iloc[0]
    trucks = d.size_sound(PLAN, [8], [PARALLEL]).table[c.DETECTABLE_DB].iloc[0]
    assert trucks < many < few


def test_nothing_without_spread():
    found = d.size_sound(d.DifferencePlan(0.0, 0.0, 1), [3])
    assert found.table[c.DETECTABLE_DB].max() < 1e-6


def test_what_is_said():
    found = d.size_sound(replace(PLAN, edge_types=3), [1, 6])
    size = found.table.loc[found.table[c.N_TRUCKS] == 6, c.DETECTABLE_DB].iloc[0]
    shown = f"{math.ceil(size * 10) / 10:.1f}"
    assert found.sentence_for(6) == (
        f"With 6 trucks per type this trial can show a difference in cab noise of {shown} dB or more (in 80 of 100 such trials)."
    )
    assert found.sentence_for(1, ROTATED) == (
        "With 1 truck that carry every type in turn this trial cannot be counted on to show any plausible difference in cab noise "
        "(in 80 of 100 such trials)."
    ).replace("carry", "carries")
    assert found.table[c.TRUCKS_TOTAL].tolist() == [3, 18, 1, 6]
    assert "1.5 dB from truck to truck and of 1.0 dB of a single sample, 4 samples" in found.method
    material = d.size_material(d.DifferencePlan(0.2, 0.3, 12), [6])
    assert "fall in material use of" in material.sentence()
    assert "20% from truck to truck and of 30% of one truck in one storm, 12 storms" in material.method
    assert d.size_sound(PLAN, []).sentence() == "No trial was sized."


def test_wrong_use_is_said():
    with pytest.raises(UsageError, match="crossed is not a design"):
        d.size_sound(PLAN, [4], ["crossed"])
    with pytest.raises(UsageError, match="No rotated trial with 5 trucks"):
        d.size_sound(PLAN, [4]).sentence_for(5, ROTATED)
    with pytest.raises(ValueError, match="truck_spread is -1; allowed: 0 or more; n_each is 0"):
        d.DifferencePlan(-1.0, 1.0, 0)


def test_material_shares_one_variance_between_trucks():
    plan = d.DifferencePlan(0.2, 0.3, 12)
    spread = math.sqrt(math.log1p(0.04) + math.log1p(0.09) / 12)
    # by hand: the t test of two equal samples, and with rotated types 6 - 2 degrees of freedom
    expected = t_test_power(0.4, spread, 6, 6, confidence_level=0.975, one_sided=True)
    assert d.power_of_difference(plan, 0.4, 6, log=True) == pytest.approx(expected, abs=1e-6)
    rotated = d.power_of_difference(plan, 0.4, 6, ROTATED, log=True)
    left = math.sqrt(0.2 * math.log1p(0.04) + math.log1p(0.09) / 12)
    assert rotated == pytest.approx(power_with_df(0.4, left * math.sqrt(2 / 6), 4), abs=1e-9)
    assert d.power_of_difference(plan, 0.4, 2, ROTATED, log=True) == 0.0
