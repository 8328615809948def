"""How edge types differ in what it takes to clear a road."""

from __future__ import annotations

import re
import time

import numpy as np
import pandas as pd
import pytest
from clearing_trials import CARBIDE, RUBBER, STEEL, rotated, season, separate
from scipy import stats

from trialkit import columns as c
from trialkit import display
from trialkit.clearing import comparison, comparison_words, measures, naive, selection, variants
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.stats.inference import Sample, difference_interval

SALT = measures.material_use("rock_salt")
LABELS = {STEEL: "plain steel", RUBBER: "rubber-mounted carbide", CARBIDE: "carbide insert"}
SAVING = {RUBBER: np.log(0.92)}


def compare(
    shifts: pd.DataFrame, measure: measures.Measure = SALT, **options
) -> comparison.ClearingComparison:
    return comparison.compare_edge_types(shifts, measure, reference=STEEL, labels=LABELS, **options)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def depths(shifts: pd.DataFrame, gain: float, seed: int = 5) -> pd.DataFrame:
    """The same shifts with a residual depth, less by `gain` inches with rubber; some are zero."""
    left = rng(seed).normal(0.5, 0.2, len(shifts)) - gain * (shifts[c.EDGE_TYPE] == RUBBER)
    return shifts.assign(**{c.RESIDUAL_SNOW_IN: np.round(left.clip(lower=0), 2)})


# ---------------------------------------------------------------- the numbers
def truck_means(shifts: pd.DataFrame) -> pd.Series:
    """Mean logarithm of the rate by edge type and truck."""
    logs = np.log(shifts[c.QUANTITY_LB] / shifts[c.LANE_MILES_TREATED])
    return logs.groupby([shifts[c.EDGE_TYPE], shifts[c.TRUCK_ID]]).mean()


def in_pct(found) -> tuple[float, float]:
    """Ends of the interval of a t test of logarithms."""
    return tuple(100 * np.expm1(list(found.confidence_interval(0.95))))


def test_a_balanced_season_gives_welchs_interval_of_the_truck_means_and_the_model_students_beside_it():
    shifts = season(rng(), separate(4, 4), change=SAVING)
    found = compare(shifts)
    row, means = found.table.loc[0], truck_means(shifts)
    # other software: scipy.stats.ttest_ind(equal_var=False) of the truck means
    welch = stats.ttest_ind(means[RUBBER], means[STEEL], equal_var=False)
    assert row[c.ESTIMATE_PCT] == pytest.approx(100 * np.expm1(means[RUBBER].mean() - means[STEEL].mean()))
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx(in_pct(welch))
    assert (row[c.DF], row[c.P_VALUE]) == pytest.approx((welch.df, welch.pvalue))
    # other software: scipy.stats.ttest_ind of the truck means, one spread for both
    student = stats.ttest_ind(means[RUBBER], means[STEEL])
    model = found.variants.set_index(c.VARIANT).loc[variants.ONE_MODEL]
    assert (model[c.CONF_LOW], model[c.CONF_HIGH]) == pytest.approx(in_pct(student))
    assert model[c.DF] == pytest.approx(6)
    assert (row[c.N_STORMS], row[c.N_SHIFTS], row[c.N_TRUCKS], row[c.N_TRUCKS_REFERENCE]) == (15, 120, 4, 4)
    assert (row[c.UNIT], row[c.MEASURE], row[c.MATERIAL]) == ("%", "material", "rock_salt")


def test_the_season_of_a_storm_does_not_matter_but_its_trucks_do():
    # storms of any size fall out; what one truck does in all of them does not
    shifts = season(rng(), separate(4, 4), change=SAVING)
    heavier = shifts.assign(
        **{c.QUANTITY_LB: shifts[c.QUANTITY_LB] * np.where(shifts[c.STORM_ID] < "W-005", 9.0, 1.0)}
    )
    one, other = (
        compare(frame).table.loc[0, [c.ESTIMATE_PCT, c.CONF_LOW]].astype(float) for frame in (shifts, heavier)
    )
    assert list(other) == pytest.approx(list(one))


def test_rotated_trucks_are_compared_with_themselves():
    shifts = season(rng(2), rotated(6), change=SAVING, truck_sd=0.5, carry_sd=0.02)
    row = compare(shifts).table.loc[0]
    assert row[c.METHOD] == comparison.WITHIN
    assert row[c.N_PAIRS] == 6
    assert row[c.DF] <= 4 + 1e-6  # six trucks, less one for the edge type and one for the order
    assert (
        row[c.CONF_HIGH] - row[c.CONF_LOW] < 20
    )  # between trucks that differ by 50 % it would be over 100 points


def test_trucks_some_of_which_were_rotated():
    shifts = season(rng(3), rotated(4) | separate(2, 2), change=SAVING, carry_sd=0.03)
    found = compare(shifts)
    assert found.table[c.METHOD][0] == comparison.PARTLY
    assert any("4 trucks carried both and are compared with themselves." in note for note in found.notes)
    few = compare(season(rng(3), rotated(2) | separate(3, 3)))
    assert few.table[c.METHOD][0] == comparison.SEPARATE
    assert any("2 trucks carried both, too few to make use of it" in note for note in few.notes)


def test_holm_is_over_the_edge_types():
    five = {
        f"{kind}-{k}": [kind] for kind in (STEEL, RUBBER, CARBIDE, "urethane", "hardened") for k in range(3)
    }
    table = compare(season(rng(), five, change={RUBBER: -0.5}, truck_sd=0.03)).table
    assert len(table) == 4
    smallest = table[c.P_VALUE].idxmin()
    assert table[c.P_HOLM][smallest] == pytest.approx(4 * table[c.P_VALUE][smallest])
    # by hand: Welch's degrees of freedom for three trucks each are four at most
    assert table[c.DF].max() <= 4


def test_residual_snow_is_a_difference_in_inches_and_keeps_its_zeros():
    found = compare(depths(season(rng(), separate(4, 4)), 0.2), measures.RESIDUAL_SNOW)
    row = found.table.loc[0]
    assert c.ESTIMATE_PCT not in found.table
    assert row[c.UNIT] == "in"
    assert -0.4 < row[c.CONF_LOW] < row[c.ESTIMATE] < row[c.CONF_HIGH] < 0
    assert row[c.N_SHIFTS] == 120
    assert found.naive[c.N_ZERO].sum() > 0
    assert not (found.left_out[c.REASON] == selection.ZERO).any()


def test_the_detectable_saving_shrinks_with_the_number_of_trucks():
    few, many = (compare(season(rng(), separate(n, n))).table[c.DETECTABLE_PCT][0] for n in (3, 12))
    assert 0 < many < few < 100


def test_every_truck_stands_against_the_mean_of_the_references():
    shifts = season(rng(), separate(3, 3), change=SAVING)
    found = compare(shifts).trucks
    logs = np.log(shifts[c.QUANTITY_LB]).groupby([shifts[c.TRUCK_ID], shifts[c.EDGE_TYPE]]).mean()
    base = logs.xs(STEEL, level=c.EDGE_TYPE).mean()
    for row in found.to_dict("records"):
        assert row[c.ESTIMATE_PCT] == pytest.approx(
            100 * np.expm1(logs[row[c.TRUCK_ID], row[c.EDGE_TYPE]] - base)
        )
        assert (row[c.N_STORMS], row[c.N_SHIFTS]) == (15, 15)
    assert len(found) == 6


def test_trucks_of_both_halves_of_a_rotation_stand_against_the_reference_of_their_half():
    # all trucks change at half-time: each half has trucks with the reference of its own
    found = compare(season(rng(), rotated(4))).trucks
    assert len(found) == 8
    assert found[c.ESTIMATE_PCT].notna().all()
    assert found.groupby(c.EDGE_TYPE)[c.N_SHIFTS].sum().to_dict() == {RUBBER: 30, STEEL: 30}


# ---------------------------------------------------------------- edges
def test_one_truck_of_a_type_has_no_interval():
    found = compare(season(rng(), separate(4, 1)))
    row = found.table.loc[0]
    assert np.isfinite(row[c.ESTIMATE_PCT])
    assert np.isnan(row[[c.CONF_LOW, c.P_VALUE, c.P_HOLM, c.DF, c.DETECTABLE_PCT]].astype(float)).all()
    assert row[c.METHOD] == comparison.ONE_TRUCK
    assert "but 1 truck cannot show how sure that is." in found.sentence()
    assert found.variants[c.CONF_LOW].isna().all()


def test_one_storm_is_a_comparison_of_single_shifts():
    shifts = season(rng(), separate(4, 4), n_storms=1)
    row = compare(shifts).table.loc[0]
    logs = np.log(shifts[c.QUANTITY_LB])
    # other software: scipy.stats.ttest_ind(equal_var=False) of the eight shifts
    welch = stats.ttest_ind(*(logs[shifts[c.EDGE_TYPE] == kind] for kind in (RUBBER, STEEL)), equal_var=False)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx(in_pct(welch))
    assert row[c.DF] == pytest.approx(welch.df)


@pytest.mark.parametrize("of_rubber", [4000.0, 3600.0])
def test_trucks_that_agree_to_the_digit_have_no_interval(of_rubber):
    shifts = season(rng(), separate(3, 3))
    shifts[c.QUANTITY_LB] = np.where(shifts[c.EDGE_TYPE] == RUBBER, of_rubber, 4000.0)
    found = compare(shifts)
    assert found.table[c.ESTIMATE_PCT][0] == pytest.approx(of_rubber / 40 - 100, abs=1e-9)
    assert found.table[c.METHOD][0] == comparison.NO_INTERVAL
    assert np.isnan(found.table[c.CONF_LOW][0])
    assert "trucks that agree to the digit cannot show how sure that is" in found.sentence()


def test_an_edge_type_that_only_another_links_with_the_reference():
    first = season(rng(1), separate(3, 3), change=SAVING, truck_sd=0.02)
    others = {f"R-{k}": [RUBBER] for k in range(3)} | {f"C-{k}": [CARBIDE] for k in range(3)}
    second = season(rng(2), others, change=SAVING, truck_sd=0.02)
    second[c.STORM_ID] = "X" + second[c.STORM_ID]
    found = compare(pd.concat([first, second]))
    row = found.table.set_index(c.EDGE_TYPE).loc[CARBIDE]
    assert row[c.N_STORMS] == 0
    assert row[c.CONF_LOW] < 0 < row[c.CONF_HIGH]
    assert any("compared by way of the other edge types" in note for note in found.notes)
    assert "in 0 storms" not in found.sentence()


def test_an_edge_type_that_nothing_links_with_the_reference():
    alone = season(rng(2), {"C-0": [CARBIDE], "C-1": [CARBIDE], "U-0": ["urethane"]})
    alone[c.STORM_ID] = "X" + alone[c.STORM_ID]
    found = compare(pd.concat([season(rng(1), separate(3, 3)), alone]))
    row = found.table.set_index(c.EDGE_TYPE).loc[CARBIDE]
    assert np.isnan(row[c.ESTIMATE_PCT])
    assert row[c.METHOD] == comparison.NOT_COMPARED
    assert (
        "Carbide insert cannot be set against plain steel in rock salt per lane-mile: no storm links the two."
        in (found.sentences())
    )
    assert any(
        note.startswith("45 shifts with an edge type that shares no storm with the reference")
        for note in found.notes
    )


def test_the_order_of_the_rows_is_that_of_the_categories():
    trucks = {"C-0": [CARBIDE], "C-1": [CARBIDE]} | separate(2, 2)
    shifts = season(rng(), trucks)
    assert list(compare(shifts).table[c.EDGE_TYPE]) == [CARBIDE, RUBBER]
    ordered = shifts.assign(**{c.EDGE_TYPE: pd.Categorical(shifts[c.EDGE_TYPE], [RUBBER, STEEL, CARBIDE])})
    assert list(compare(ordered).table[c.EDGE_TYPE]) == [RUBBER, CARBIDE]


def test_names_may_be_categories():
    shifts = season(rng(), separate(3, 3), missing=0.3)
    shifts[c.SURFACE] = np.where(rng().random(len(shifts)) < 0.5, "packed", "loose")
    names = (c.STORM_ID, c.TRUCK_ID, c.EDGE_TYPE, c.SURFACE)
    narrow = shifts[shifts[c.STORM_ID] != "W-003"].astype(dict.fromkeys(names, "category"))
    found = compare(narrow.astype({c.EDGE_TYPE: pd.CategoricalDtype([RUBBER, CARBIDE, STEEL])}))
    plain = compare(shifts[shifts[c.STORM_ID] != "W-003"])
    for name in ("table", "naive", "variants"):
        pd.testing.assert_frame_equal(getattr(found, name), getattr(plain, name))


def test_two_hundred_thousand_shifts_take_a_few_seconds():
    n_trucks, n_storms = 400, 500
    truck, storm = (part.ravel() for part in np.indices((n_trucks, n_storms)))
    draw = rng()
    rate = (
        5
        + draw.normal(0, 0.1, n_trucks)[truck]
        + draw.normal(0, 0.4, n_storms)[storm]
        + draw.normal(0, 0.2, len(truck))
    )
    shifts = pd.DataFrame(
        {
            c.STORM_ID: storm.astype(str), c.TRUCK_ID: truck.astype(str),
            c.EDGE_TYPE: np.array([STEEL, RUBBER, CARBIDE])[truck % 3],
            c.QUANTITY_LB: 40 * np.exp(rate), c.LANE_MILES_TREATED: 40.0,
            c.SURFACE: np.array(["loose", "packed"])[draw.integers(0, 2, len(truck))],
        }
    )  # fmt: skip
    start = time.process_time()
    found = compare(shifts)
    assert time.process_time() - start < 20
    # by hand: about 133 trucks of each of two edge types, less two
    assert found.table[c.DF].max() == pytest.approx(264, abs=4)


# ---------------------------------------------------------------- what is left out
def test_zeros_are_left_out_counted_and_brought_back_in_a_variant():
    shifts = season(rng(), separate(4, 4), change=SAVING, truck_sd=0.02)
    none = shifts.index[(shifts[c.EDGE_TYPE] == RUBBER)][::7]
    shifts.loc[none, c.QUANTITY_LB] = 0.0
    found = compare(shifts)
    assert found.table[c.N_SHIFTS][0] == 120 - len(none)
    assert any(
        note.startswith(
            "9 shifts have no rock salt on record (0 of 60 with plain steel and 9 of 60 with rubber-mounted"
        )
        for note in found.notes
    )
    row = found.variants.set_index(c.VARIANT).loc[variants.WITH_NONE]
    # nine of sixty shifts used nothing: about 0.92 * 51 / 60 of the salt
    assert row[c.ESTIMATE_PCT] == pytest.approx(100 * (0.92 * 51 / 60 - 1), abs=6)
    assert any(f"{variants.WITH_NONE}: this" in note for note in found.notes)


def test_a_truck_that_changed_its_edge_type_in_a_storm_is_set_apart():
    shifts = season(rng(), separate(3, 3))
    changed = shifts[(shifts[c.TRUCK_ID] == "S-0") & (shifts[c.STORM_ID] == "W-003")]
    found = compare(pd.concat([shifts, changed.assign(**{c.EDGE_TYPE: RUBBER})]))
    assert found.left_out.set_index(c.REASON).loc[selection.CHANGED, c.N_SHIFTS].sum() == 2
    assert any(
        "2 shifts of trucks that changed their edge type within a storm were set apart" in n
        for n in found.notes
    )
    assert found.table[c.N_SHIFTS][0] == 89


def test_unknown_edge_types_and_missing_amounts_are_told():
    shifts = season(rng(), separate(3, 3))
    shifts.loc[0, c.EDGE_TYPE] = None
    shifts.loc[[1, 2], c.QUANTITY_LB] = np.nan
    shifts.loc[3, c.LANE_MILES_TREATED] = 0.0
    said = " ".join(compare(shifts).notes)
    assert "1 shift was left out because edge type, truck or storm is not known." in said
    assert "3 shifts without a record of rock salt per lane-mile were left out." in said


def test_storms_with_one_edge_type_only_are_left_out():
    shifts = season(rng(), separate(3, 3))
    only = shifts[~((shifts[c.STORM_ID] < "W-002") & (shifts[c.EDGE_TYPE] == RUBBER))]
    found = compare(only)
    assert (
        "6 shifts in storms with one edge type only were left out: they have nothing to be compared with."
        in found.notes
    )
    assert found.table[c.N_STORMS][0] == 13


# ---------------------------------------------------------------- other ways and season totals
def test_the_other_way_is_the_model_for_different_trucks_and_truck_averages_for_rotated_ones():
    apart, turned = compare(season(rng(), separate(4, 3))), compare(season(rng(2), rotated(6)))
    assert variants.ONE_MODEL in set(apart.variants[c.VARIANT])
    assert variants.TWO_STAGES in set(turned.variants[c.VARIANT])
    assert "each truck's average then counts once" in apart.method
    assert "Trucks of all edge types are supposed to spread alike" in turned.method


def test_a_higher_level_reaches_the_degrees_of_freedom_of_two_trucks():
    shifts = season(rng(), separate(2, 4))
    means = truck_means(shifts)
    for level in (0.9, 0.99):
        row = compare(shifts, confidence_level=level).table.loc[0]
        expected = difference_interval(Sample.of(means[RUBBER]), Sample.of(means[STEEL]), None, level)
        ends = 100 * np.expm1([expected.conf_low, expected.conf_high])
        assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx(tuple(ends))


def test_surface_and_lane_miles_are_taken_out_in_a_variant_only():
    shifts = season(rng(), separate(8, 8), change=SAVING, truck_sd=0.01, error_sd=0.02)
    packed = (shifts[c.EDGE_TYPE] == RUBBER) & (rng(8).random(len(shifts)) < 0.5)
    shifts[c.SURFACE] = np.where(packed, "packed", "loose")
    shifts.loc[shifts.index[::11], c.SURFACE] = None
    shifts.loc[packed, c.QUANTITY_LB] *= 1.3
    shifts[c.LANE_MILES_TREATED] = rng(9).uniform(30, 50, len(shifts))
    shifts[c.QUANTITY_LB] *= shifts[c.LANE_MILES_TREATED] / 40
    found = compare(shifts)
    adjusted = found.variants.set_index(c.VARIANT).loc["adjusted for lane-miles and surface"]
    assert found.table[c.ESTIMATE_PCT][0] > 0
    assert adjusted[c.ESTIMATE_PCT] == pytest.approx(-8, abs=2)
    assert adjusted[c.AGREE] == naive.NO
    assert any(
        "adjusted for lane-miles and surface: this comes to another finding: " in n for n in found.notes
    )
    assert (
        "No surface is recorded, so no adjustment for it could be made."
        in compare(shifts.drop(columns=c.SURFACE)).notes
    )


def test_season_totals_that_mislead_are_named():
    # rubber was out in the heavy storms more often: its totals look bad, storm by storm it saves
    shifts = season(rng(), separate(5, 5), change={RUBBER: np.log(0.8)}, truck_sd=0.02)
    heavy = shifts[c.STORM_ID] >= "W-010"
    shifts.loc[heavy, c.QUANTITY_LB] *= 5
    away = (~heavy & (shifts[c.TRUCK_ID].isin(["R-0", "R-1", "R-2", "R-3"]))) | (
        heavy & shifts[c.TRUCK_ID].isin(["S-0", "S-1", "S-2"])
    )
    found = compare(shifts[~away])
    row = found.naive.set_index(c.EDGE_TYPE).loc[RUBBER]
    assert found.table[c.CONF_HIGH][0] < 0 < row[c.ESTIMATE_PCT]
    assert row[c.AGREE] == naive.NO
    assert row[c.GAP] == pytest.approx(row[c.ESTIMATE_PCT] - found.table[c.ESTIMATE_PCT][0])
    assert any(
        note.startswith(
            f"Season totals divided would say that rubber-mounted carbide used {row[c.ESTIMATE_PCT]:.0f}% more"
        )
        and f"({row[c.GAP]:.0f} points apart, outside the interval)" in note
        for note in found.notes
    )
    steel = found.naive.set_index(c.EDGE_TYPE).loc[STEEL]
    assert np.isnan(steel[c.ESTIMATE_PCT])
    assert steel[c.NAIVE_RATE] == pytest.approx(steel[c.TOTAL] / steel[c.PER_TOTAL])


def test_season_totals_of_residual_snow_are_means():
    shifts = depths(season(rng(), separate(3, 3)), 0.2)
    table = compare(shifts, measures.RESIDUAL_SNOW).naive.set_index(c.EDGE_TYPE)
    means = shifts.groupby(c.EDGE_TYPE)[c.RESIDUAL_SNOW_IN].mean()
    assert table.loc[RUBBER, c.ESTIMATE] == pytest.approx(means[RUBBER] - means[STEEL])
    assert table.loc[RUBBER, c.PER_TOTAL] == 45


def test_trucks_that_spread_differently_are_named_where_the_model_supposes_that_they_do_not():
    one = season(rng(1), {f"S-{k}": [STEEL, CARBIDE] for k in range(6)}, truck_sd=0.02, error_sd=0.02)
    other = season(rng(1), {f"R-{k}": [RUBBER] for k in range(3)}, truck_sd=0.4, error_sd=0.02)
    said = " ".join(compare(pd.concat([one, other])).notes)
    assert "The trucks with rubber-mounted carbide differ among themselves " in said
    assert '"each truck averaged first" does not, and is to be preferred.' in said
    apart = season(rng(1), {f"S-{k}": [STEEL] for k in range(6)}, truck_sd=0.02, error_sd=0.02)
    assert "differ among themselves" not in " ".join(compare(pd.concat([apart, other])).notes)


# ---------------------------------------------------------------- words
def test_a_saving_that_is_shown():
    found = compare(season(rng(), separate(6, 6), change={RUBBER: np.log(0.8)}, truck_sd=0.03))
    row = found.table.loc[0]
    low, high = -row[c.CONF_HIGH], -row[c.CONF_LOW]
    assert found.sentence() == (
        f"Rubber-mounted carbide used {-row[c.ESTIMATE_PCT]:.0f}% less rock salt per lane-mile than plain steel (95% interval "
        f"{low:.0f}% to {high:.0f}% less)."
    )


def test_no_difference_is_said_with_what_could_have_been_seen():
    found = compare(season(rng(), separate(3, 3)))
    row = found.table.loc[0]
    said = found.sentence()
    assert said.startswith(
        "No difference in rock salt per lane-mile between rubber-mounted carbide and plain steel is shown: "
    )
    assert f"(95% interval {-row[c.CONF_LOW]:.0f}% less to {row[c.CONF_HIGH]:.0f}% more)" in said
    assert (
        f"A saving of {row[c.DETECTABLE_PCT]:.0f}% or more would probably have been seen with 3 trucks against 3 in 15 storms."
        in said
    )


def test_passes_are_fewer_and_hours_too():
    shifts = season(rng(), separate(6, 6), change={RUBBER: np.log(0.7)}, truck_sd=0.03)
    shifts[c.PASSES], shifts[c.BLADE_DOWN_H] = shifts[c.QUANTITY_LB] / 1000, shifts[c.QUANTITY_LB] / 2000
    assert re.match(
        r"Rubber-mounted carbide made \d\d% fewer passes ", compare(shifts, measures.PASSES).sentence()
    )
    assert "fewer passes over the route than plain steel" in compare(shifts, measures.PASSES).sentence()
    assert "fewer passes per lane-mile" in compare(shifts, measures.PASSES_PER_LANE_MILE).sentence()
    assert "fewer blade-down hours per lane-mile" in compare(shifts, measures.HOURS).sentence()


def test_a_finding_that_holm_takes_away_is_explained():
    trucks = {f"{kind}-{k}": [kind] for kind in (STEEL, RUBBER, CARBIDE, "urethane") for k in range(4)}
    for seed in range(60):
        found = compare(season(rng(seed), trucks, change={RUBBER: -0.12}, truck_sd=0.08))
        row = found.table.set_index(c.EDGE_TYPE).loc[RUBBER]
        if row[c.P_VALUE] < 0.05 < row[c.P_HOLM] and row[c.CONF_HIGH] < 0:
            break
    assert "is shown, since 3 edge types were compared and one may stand out by chance: " in found.sentence()


def test_metric_readers_read_lane_kilometers_and_millimeters():
    shifts = depths(season(rng(), separate(5, 5)), 0.25)
    with display.showing("metric"):
        assert "rock salt per lane-kilometer" in compare(shifts).sentence()
        said = compare(shifts, measures.RESIDUAL_SNOW).sentence()
    row = compare(shifts, measures.RESIDUAL_SNOW).table.loc[0]
    assert f"left {-25.4 * row[c.ESTIMATE]:.1f} mm less snow on the road" in said
    assert "in less" in compare(shifts, measures.RESIDUAL_SNOW).sentence()


def test_a_best_estimate_of_nothing():
    same = season(rng(), separate(2, 2))
    same[c.QUANTITY_LB] = 4000 * np.exp(np.where(same[c.TRUCK_ID].str.endswith("0"), 0.1, -0.1))
    assert "the best estimate is no difference" in compare(same).sentence()


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (-13.2, -2.9, "3% to 13% less"),
        (2.9, 13.2, "3% to 13% more"),
        (-12.0, 7.0, "12% less to 7% more"),
        (-0.3, 1.9, "0.3% less to 1.9% more"),
        (-60.0, 4000.0, "60% less to many times more"),
        (-12.0, 0.04, "12.0% less to no difference"),
    ],
)
def test_intervals_in_words(low, high, said):
    assert comparison_words.ends_words(low, high, SALT) == said


def test_a_hopeless_trial_says_so():
    row = {
        c.EDGE_TYPE: RUBBER, c.REFERENCE: STEEL, c.ESTIMATE_PCT: -5.0, c.CONF_LOW: -99.9, c.CONF_HIGH: 9e6, c.P_HOLM: 0.9,
        c.DETECTABLE_PCT: 99.99, c.N_TRUCKS: 2, c.N_TRUCKS_REFERENCE: 2, c.N_STORMS: 1, c.REASON: "",
    }  # fmt: skip
    said = comparison_words.row_sentence(row, SALT, 0.95, str, 1)
    assert said.endswith("With 2 trucks against 2 in 1 storm hardly any saving could have been seen.")
    assert "(95% interval 100% less to many times more)" in said


# ---------------------------------------------------------------- wrong use
def test_what_is_not_there_is_named():
    shifts = season(rng(), separate(3, 3))
    with pytest.raises(UsageError, match="no column passes, which passes over the route needs"):
        compare(shifts, measures.PASSES)
    with pytest.raises(UsageError, match=r'"plain steel".*Did you mean "plain_steel"'):
        comparison.compare_edge_types(shifts, SALT, reference="plain steel")
    with pytest.raises(ValueError, match="confidence_level is 95"):
        compare(shifts, confidence_level=95)
    alone = shifts[(shifts[c.EDGE_TYPE] == STEEL) == (shifts[c.STORM_ID] < "W-007")]
    with pytest.raises(
        NotEnoughDataError, match=r"rock salt per lane-mile of both plain_steel.*21 shifts.*24 of others"
    ):
        compare(alone)


def test_a_measure_that_never_varies_ends_without_an_interval():
    shifts = season(np.random.default_rng(1), separate(3, 3)).assign(**{c.PASSES: 4.0})
    row = comparison.compare_edge_types(shifts, measures.PASSES, reference=STEEL).table.loc[0]
    assert row[c.ESTIMATE_PCT] == pytest.approx(0.0)
    assert np.isnan([row[c.CONF_LOW], row[c.CONF_HIGH], row[c.P_VALUE]]).all()
    assert row[c.REASON]
