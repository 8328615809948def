"""Edge types against the reference: pairs, few trucks, bounds, words."""

import numpy as np
import pandas as pd
import pytest
from test_wear import CARBIDE, LABELS, STEEL, fleet

from trialkit import columns as c
from trialkit.edges import against_reference
from trialkit.edges.comparison import compare_edge_types
from trialkit.edges.wear import fit_wear_rates
from trialkit.errors import UsageError
from trialkit.formatting import ratio_number
from trialkit.stats.inference import Pairing, Sample, difference_interval, holm_adjusted
from trialkit.stats.ratios import ratio_set


def compared(slopes, **options):
    fit = {key: options.pop(key) for key in ("labels", "confidence_level") if key in options}
    return compare_edge_types(fit_wear_rates(fleet(slopes, **options), **fit))


def shared(slopes, **options):
    """A fleet whose trucks have the same names for all types, so that truck 1 of each type is one truck."""
    frame = fleet(slopes, **options)
    for name in (c.TRUCK_ID, c.TRUCK_UNIT):
        frame[name] = frame[name].str.replace("^[A-Z]", "T", regex=True)
    return frame


def test_ratio_is_reference_over_type():
    row = compared({"steel": STEEL, "carbide": CARBIDE}).table.iloc[0]
    expected = ratio_set(Sample.of(STEEL), Sample.of(CARBIDE))
    # by hand: 1.525 / 0.15
    assert row[c.ESTIMATE] == pytest.approx(10.1667, rel=1e-4)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx(
        (expected.conf_low, expected.conf_high), rel=5e-3
    )
    assert (row[c.EDGE_TYPE], row[c.REFERENCE], row[c.BOUNDED]) == ("carbide", "steel", "yes")
    assert row[c.METHOD] == against_reference.SEPARATE


def test_difference_is_reference_less_type():
    row = compared({"steel": STEEL, "carbide": CARBIDE}).differences.iloc[0]
    expected = difference_interval(Sample.of(STEEL), Sample.of(CARBIDE))
    assert row[c.ESTIMATE] == pytest.approx(1.375)
    assert (row[c.CONF_LOW], row[c.DF]) == pytest.approx((expected.conf_low, expected.df), rel=5e-3)
    assert (row[c.UNIT], row[c.METHOD]) == ("in/1000 mi", "different trucks, Welch t")


def test_five_types_are_adjusted_together():
    slopes = {"steel": STEEL, "a": [1.0, 1.2, 1.1], "b": [1.3, 1.6, 1.5], "d": CARBIDE, "e": [0.6, 0.9, 0.7]}
    table = compared(slopes).table
    assert table[c.EDGE_TYPE].tolist() == ["a", "b", "d", "e"]
    assert table[c.P_HOLM].to_numpy() == pytest.approx(holm_adjusted(table[c.P_VALUE]))
    assert (table[c.P_HOLM] >= table[c.P_VALUE]).all()


def test_positions_are_compared_apart():
    frame = pd.concat(
        [
            fleet({"steel": STEEL, "carbide": CARBIDE}),
            fleet({"steel": [2.0, 2.2, 2.4], "carbide": [0.4, 0.5, 0.6]}, place="underbody"),
        ],
        ignore_index=True,
    )
    frame[c.EDGE_TYPE] = pd.Categorical(frame[c.EDGE_TYPE], ["steel", "carbide"], ordered=True)
    result = compare_edge_types(fit_wear_rates(frame, labels=LABELS))
    assert result.table[c.PLOW_POSITION].tolist() == ["front", "underbody"]
    assert result.table[c.P_HOLM].tolist() == pytest.approx(result.table[c.P_VALUE].tolist())
    assert "On the underbody plow, carbide insert wears between 3.1 and 8.2 times" in result.sentence()


# ---------------------------------------------------------------- pairs
def test_trucks_that_carried_both_are_compared_with_themselves():
    frame = shared({"steel": STEEL, "carbide": [0.14, 0.19, 0.17, 0.12]})
    result = compare_edge_types(fit_wear_rates(frame))
    row = result.table.iloc[0]
    assert (row[c.METHOD], row[c.N_PAIRS]) == (against_reference.PAIRED, 4)
    separate = compared({"steel": STEEL, "carbide": [0.14, 0.19, 0.17, 0.12]}).table.iloc[0]
    assert row[c.CONF_HIGH] - row[c.CONF_LOW] < 0.5 * (separate[c.CONF_HIGH] - separate[c.CONF_LOW])
    assert result.notes == (
        "Carbide against steel on the front plow: the same 4 trucks carried both, so each truck is compared with itself.",
    )
    gap = result.differences.iloc[0]
    alone = Sample.of(np.array(STEEL) - [0.14, 0.19, 0.17, 0.12])
    assert gap[c.STD_ERROR] == pytest.approx(np.sqrt(alone.variance / 4), rel=1e-3)


def test_partly_shared_trucks_give_three_answers():
    frame = shared({"steel": STEEL, "carbide": [0.14, 0.19, 0.17]})
    result = compare_edge_types(fit_wear_rates(frame))
    row = result.table.iloc[0]
    assert (row[c.METHOD], row[c.N_PAIRS], row[c.N_TRUCKS], row["n_trucks_reference"]) == (
        against_reference.PART_PAIRED,
        3,
        3,
        4,
    )
    assert result.alternatives[c.METHOD].tolist() == [
        against_reference.PAIRS_ONLY,
        against_reference.PAIRS_IGNORED,
    ]
    # by hand: the first three trucks alone, 4.9 / 0.5, and all of them, 1.525 / 0.16667
    assert result.alternatives[c.ESTIMATE].tolist() == pytest.approx([9.8, 9.15], rel=1e-3)
    pairs = Sample.of(STEEL[:3]), Sample.of([0.14, 0.19, 0.17])
    alone = ratio_set(*pairs, Pairing.of(STEEL[:3], [0.14, 0.19, 0.17]))
    assert result.alternatives[c.CONF_LOW].iloc[0] == pytest.approx(alone.conf_low, rel=5e-3)
    assert "3 trucks carried both and the others one" in result.notes[0]


def test_one_shared_truck_is_too_few():
    frame = shared({"steel": STEEL, "carbide": CARBIDE})
    frame.loc[(frame[c.EDGE_TYPE] == "carbide") & (frame[c.TRUCK_ID] != "T1"), c.TRUCK_UNIT] += "x"
    result = compare_edge_types(fit_wear_rates(frame))
    assert result.table[c.METHOD].tolist() == [against_reference.PAIRS_IGNORED]
    assert "1 truck carried both, too few to make use of it" in result.notes[0]
    assert result.alternatives.empty


# ---------------------------------------------------------------- few trucks and next to no wear
def test_one_truck_gives_a_ratio_without_an_interval():
    result = compared({"steel": STEEL, "carbide": [0.15]}, labels=LABELS)
    row = result.table.iloc[0]
    assert row[c.ESTIMATE] == pytest.approx(10.1667, rel=1e-4)
    assert np.isnan([row[c.CONF_LOW], row[c.CONF_HIGH], row[c.P_VALUE], row[c.P_HOLM]]).all()
    assert (row[c.BOUNDED], row[c.METHOD]) == ("no", against_reference.ONE_TRUCK)
    assert result.sentence() == (
        "Carbide insert wore 10 times slower than plain steel, but 1 truck cannot show how sure that is."
    )
    assert "one truck with a wear rate for one of them, so no interval is given" in result.notes[0]


def test_one_truck_that_wore_faster():
    assert (
        "Carbide wore 2.0 times faster than steel, but 1 truck"
        in compared({"steel": [1.5], "carbide": [3.0]}).sentence()
    )


def test_no_measurable_wear_is_a_lower_end():
    result = compared({"steel": STEEL, "carbide": [0.0] * 4}, step=1 / 16, labels=LABELS)
    row = result.table.iloc[0]
    assert np.isnan([row[c.ESTIMATE], row[c.CONF_HIGH]]).all()
    assert row[c.BOUNDED] == "no"
    # by hand: about 1.525 in over at most 0.16 in
    assert 5 < row[c.CONF_LOW] < 10
    assert result.sentence() == (
        f"Carbide insert wears at least {row[c.CONF_LOW]:.1f} times slower than plain steel (95% interval without an upper end)."
    )
    assert "has no upper end with these readings; only its lower end is stated" in result.notes[0]
    assert not np.isinf(result.table.select_dtypes("number").to_numpy()).any()


def test_two_types_without_wear_say_nothing():
    result = compared({"steel": [0.0] * 3, "carbide": [0.0] * 3}, step=1 / 16)
    assert result.sentence() == (
        "The trial cannot tell how carbide wears against steel: any ratio of their wear fits the readings (95% interval)."
    )
    assert "any ratio of wear is possible" in result.notes[0]


def test_where_several_positions_are_compared_every_sentence_says_which():
    wing = fleet({"steel": [1.0, 1.6, 1.5, 1.5], "carbide": [1.5, 1.1, 1.4, 1.5]}, place="wing_right")
    front = fleet({"steel": [0.0] * 3, "carbide": [0.0] * 3})
    said = compare_edge_types(fit_wear_rates(pd.concat([front, wing], ignore_index=True))).sentences()
    assert said[0].startswith("On the front plow, the trial cannot tell how carbide wears against steel: ")
    assert said[1].startswith("On the right wing, no difference in wear between carbide and steel is shown: ")


def test_a_ratio_with_a_lower_end_below_one_and_no_upper_end():
    result = compared({"steel": [1.0, 1.6, 1.3], "carbide": [0.1, 1.0, 0.4]})
    low = result.table[c.CONF_LOW].iloc[0]
    assert 0 < low < 1 and np.isnan(result.table[c.CONF_HIGH].iloc[0])
    assert result.sentence() == (
        "The trial cannot tell how carbide wears against steel: it may wear up to "
        f"{ratio_number(1 / low)} times faster, or slower without a limit (95% interval)."
    )


def test_no_error_no_interval():
    result = compared({"steel": [1.5, 1.5], "carbide": [0.2, 0.2]}, step=np.nan, start=np.pi)
    assert result.table[c.METHOD].tolist() == [against_reference.NO_INTERVAL]
    assert "the readings show no error and no resolution is recorded" in result.notes[0]
    assert "Carbide wore 7.5 times slower than steel" in result.sentence()


def test_rising_heights_have_no_ratio():
    result = compared({"steel": STEEL, "carbide": [-0.5, -0.6, -0.55]})
    assert (
        result.sentence() == "Carbide cannot be set against steel: heights rose, and wear cannot be negative."
    )
    assert "no ratio of wear can be given" in result.notes[0]
    assert "cannot be set against" in compared({"steel": STEEL, "carbide": [-0.5]}).sentence()


def test_type_without_a_slope_is_listed_without_numbers():
    frame = fleet({"steel": STEEL, "carbide": CARBIDE})
    result = compare_edge_types(
        fit_wear_rates(frame[(frame[c.EDGE_TYPE] == "steel") | (frame[c.MILES_MI] == 0)])
    )
    assert result.table[c.N_TRUCKS].tolist() == [0]
    assert "no truck with a wear rate for one of them" in result.notes[0]


def test_position_without_the_reference_is_said():
    frame = pd.concat(
        [fleet({"steel": STEEL}), fleet({"carbide": CARBIDE}, place="wing_right")], ignore_index=True
    )
    result = compare_edge_types(fit_wear_rates(frame, reference="steel"))
    assert result.table.empty
    assert result.notes == ("Carbide on the right wing is not compared: steel has no wear rate there.",)
    assert result.sentence() == (
        "No edge type is set against the reference: on no plow position could both be measured."
    )


def test_empty_trial():
    result = compare_edge_types(fit_wear_rates(fleet({"steel": STEEL}).iloc[:0]))
    assert result.table.empty
    assert {c.BOUNDED, c.CONF_LOW, c.METHOD} <= set(result.table.columns)


# ---------------------------------------------------------------- words
# other software: the ends are those of scipy 1.17.1, roots in r of stats.ttest_ind(steel, r carbide, equal_var=False)
@pytest.mark.parametrize(
    ("slopes", "said"),
    [
        (
            {"steel": [1.4, 1.6, 1.5, 1.5], "carbide": [0.15, 0.16, 0.14, 0.15]},
            "Carbide wears between 9.1 and 11 times slower than steel (best estimate 10; 95% interval).",
        ),
        (
            {"steel": [1.4, 1.6, 1.5, 1.5], "carbide": [3.0, 3.1, 2.9, 3.0]},
            "Carbide wears between 1.8 and 2.2 times faster than steel (best estimate 2.0; 95% interval).",
        ),
        (
            {"steel": [-0.1, 0.3, 0.1, 0.1], "carbide": [3.0, 3.1, 2.9, 3.0]},
            "Carbide wears at least 8.3 times faster than steel (best estimate 30; 95% interval).",
        ),
        (
            {"steel": [1.0, 1.6, 1.5, 1.5], "carbide": [1.5, 1.1, 1.4, 1.5]},
            "No difference in wear between carbide and steel is shown: it may wear up to 1.4 times faster or up to 1.3 times "
            "slower (95% interval).",
        ),
        (
            {"steel": [-0.5, 1.0, 0.8], "carbide": [1.5, 1.1, 1.4]},
            "No difference in wear between carbide and steel is shown: it may wear faster without a limit or up to 1.6 times "
            "slower (95% interval).",
        ),
        (
            {"steel": [1.500, 1.501, 1.499, 1.5], "carbide": [1.44, 1.45, 1.44, 1.45]},
            "Carbide wears between 1.03 and 1.04 times slower than steel (best estimate 1.04; 95% interval).",
        ),
    ],
)
def test_sentences(slopes, said):
    assert compared(slopes).sentence() == said


def test_reference_may_be_chosen_again():
    rates = fit_wear_rates(fleet({"steel": STEEL, "carbide": CARBIDE}))
    assert compare_edge_types(rates, "carbide").table[c.EDGE_TYPE].tolist() == ["steel"]
    with pytest.raises(UsageError, match='"steal" is not among'):
        compare_edge_types(rates, "steal")


def test_summary_shows_the_headings():
    text = compared({"steel": STEEL, "carbide": CARBIDE}).summary()
    assert "Compared with" in text
    assert "Holm's adjustment" in text


def test_heights_of_both_that_rose_give_no_ratio():
    result = compared({"steel": [-1.4, -1.9, -1.6], "carbide": [-0.5, -0.4, -0.45]}, labels=LABELS)
    assert np.isnan(result.table[c.ESTIMATE].iloc[0])
    assert result.sentence() == (
        "Carbide insert cannot be set against plain steel: heights rose, and wear cannot be negative."
    )


def test_ends_that_look_alike_get_more_digits():
    result = compared({"steel": [1.5, 1.5001, 1.4999], "carbide": [0.15, 0.15001, 0.14999]}, step=1e-6)
    assert "between 9.99" in result.sentence() or "between 10.0" in result.sentence()
    assert "between 10 and 10 times" not in result.sentence()
