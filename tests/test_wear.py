"""Wear rates: the truck as the unit, hard cases, and what is said about them."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from known_truth import Fleet
from scipy.special import stdtrit

from trialkit import columns as c
from trialkit.edges import wear
from trialkit.edges.wear import edge_type_order, fit_wear_rates
from trialkit.errors import UsageError
from trialkit.formatting import position_words
from trialkit.trial.lineage import wear_segments


def fleet(slopes, miles=(0, 250, 500), *, place="front", stations=(1,), step=0.001, start=5.0):
    """One straight-wearing truck for each slope of each type."""
    rows = []
    for kind, rates in slopes.items():
        for number, rate in enumerate(rates, start=1):
            truck = f"{kind[0].upper()}{number}"
            rows += [
                (
                    kind,
                    place,
                    truck,
                    f"{truck}, {place}",
                    f"{truck}-{place}",
                    k,
                    f"{truck}-{place}/{k}/1",
                    mi,
                    start - rate * mi / 1000,
                    step,
                )
                for k in stations
                for mi in miles
            ]
    names = [
        c.EDGE_TYPE,
        c.PLOW_POSITION,
        c.TRUCK_ID,
        c.TRUCK_UNIT,
        c.SET_ID,
        c.STATION,
        c.SEGMENT,
        c.MILES_MI,
        c.HEIGHT_IN,
    ]
    frame = pd.DataFrame(rows, columns=[*names, c.RESOLUTION_IN])
    frame[c.EDGE_TYPE] = pd.Categorical(frame[c.EDGE_TYPE], list(slopes), ordered=True)
    return frame


STEEL, CARBIDE = [1.4, 1.9, 1.6, 1.2], [0.10, 0.20, 0.15]
LABELS = {"steel": "plain steel", "carbide": "carbide insert"}


def test_trucks_are_the_unit():
    result = fit_wear_rates(fleet({"steel": STEEL}, stations=(1, 2, 3)))
    row = result.table.iloc[0]
    half = stdtrit(3, 0.975) * np.std(STEEL, ddof=1) / 2
    # by hand: mean and t interval of the four slopes, however many readings there are
    assert row[c.ESTIMATE] == pytest.approx(1.525)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((1.525 - half, 1.525 + half), abs=1e-3)
    assert (row[c.DF], row[c.N_TRUCKS], row[c.N_SETS], row[c.N_READINGS]) == (3, 4, 4, 36)
    assert (row[c.UNIT], row[c.METHOD]) == ("in/1000 mi", wear.T_METHOD)


def test_next_set_is_wider_than_the_mean():
    row = fit_wear_rates(fleet({"steel": STEEL})).table.iloc[0]
    # by hand: sqrt(1 + 1/4) against sqrt(1/4)
    ratio = (row[c.PRED_HIGH] - row[c.ESTIMATE]) / (row[c.CONF_HIGH] - row[c.ESTIMATE])
    assert ratio == pytest.approx(np.sqrt(5), rel=1e-2)


def test_sentence():
    result = fit_wear_rates(fleet({"steel": STEEL, "carbide": CARBIDE}), labels=LABELS)
    assert result.sentence() == (
        "On the front plow, plain steel wore 1.52 in per 1,000 blade-down miles (95% interval 1.05 to 2.00; 4 trucks); "
        "carbide insert wore 0.15 in per 1,000 blade-down miles (95% interval 0.03 to 0.27; 3 trucks)."
    )
    assert len(result.sentences()) == 2
    assert result.sentences()[1].startswith("On the front plow, carbide insert wore 0.15 in")


def test_reference_comes_first():
    result = fit_wear_rates(fleet({"carbide": CARBIDE, "steel": STEEL}), reference="steel")
    assert result.table[c.EDGE_TYPE].tolist() == ["steel", "carbide"]
    assert result.reference == "steel"


def test_unknown_reference_gets_a_hint():
    with pytest.raises(UsageError, match=r'"stele" is not among the edge types\. Did you mean "steel"'):
        fit_wear_rates(fleet({"steel": STEEL}), reference="stele")


def test_reference_without_readings_is_not_an_error():
    frame = fleet({"steel": STEEL, "carbide": CARBIDE})
    result = fit_wear_rates(frame[frame[c.EDGE_TYPE] == "carbide"], reference="steel")
    assert result.table[c.EDGE_TYPE].tolist() == ["carbide"]


def test_order_of_plain_text_is_that_of_first_sight():
    assert edge_type_order(pd.Series(["b", "a", None, "b"])) == ["b", "a"]
    assert edge_type_order(pd.Series(["b", "a"]), "a") == ["a", "b"]
    assert edge_type_order(pd.Series([], dtype=object), "a") == []


def test_positions_are_kept_apart():
    frame = pd.concat(
        [fleet({"steel": STEEL}), fleet({"steel": [2.0, 2.2]}, place="wing_left")], ignore_index=True
    )
    result = fit_wear_rates(frame)
    assert result.table[c.PLOW_POSITION].tolist() == ["front", "wing_left"]
    assert result.table[c.ESTIMATE].tolist() == pytest.approx([1.525, 2.1])
    assert "On the left wing, steel wore 2.1 in" in result.sentence()


def test_position_words():
    assert position_words("underbody") == "the underbody plow"
    assert position_words("tow_plow") == "the tow plow"


def test_usable_depth_gives_a_share():
    result = fit_wear_rates(
        fleet({"steel": STEEL, "carbide": CARBIDE}), usable_depth_in={"steel": 3.0, "carbide": 0.75}
    )
    # by hand: 1.525 / 3 and 0.15 / 0.75
    assert result.table[c.DEPTH_PCT].tolist() == pytest.approx([50.8333, 20.0], rel=1e-4)


def test_unequal_miles_do_not_weigh_trucks():
    parts = [
        fleet({"steel": [1.0]}, miles=(0, 50, 100)),
        fleet({"steel": [2.0, 3.0]}, miles=(0, 500, 1000)).replace("S1", "S9"),
    ]
    parts[1][c.TRUCK_UNIT] = "other " + parts[1][c.TRUCK_UNIT]
    parts[1][c.SEGMENT] = "other " + parts[1][c.SEGMENT]
    result = fit_wear_rates(pd.concat(parts, ignore_index=True))
    assert result.table[c.ESTIMATE].tolist() == pytest.approx([2.0])


def test_truck_with_few_miles_is_named():
    frame = fleet({"steel": [1.0, 1.5, 2.0]}, miles=(0, 500, 1000))
    frame.loc[frame[c.TRUCK_ID] == "S2", c.MILES_MI] /= 20
    notes = fit_wear_rates(frame).notes
    assert notes == ("S2, front (steel) was read over 50 miles, far fewer than the others; its slope is uncertain and counts like theirs.",)  # fmt: skip


def test_stations_have_their_own_rates():
    rising = fleet({"steel": STEEL}, stations=(1, 2))
    rising.loc[rising[c.STATION] == 2, c.HEIGHT_IN] -= 0.5 * rising[c.MILES_MI] / 1000
    stations = fit_wear_rates(rising).stations
    assert stations[c.STATION].tolist() == [1, 2]
    assert stations[c.ESTIMATE].tolist() == pytest.approx([1.525, 2.025])
    assert stations[c.N_TRUCKS].tolist() == [4, 4]


# ---------------------------------------------------------------- few trucks
def test_one_truck_gives_a_rate_and_says_why_no_interval():
    result = fit_wear_rates(fleet({"steel": [1.5]}))
    row = result.table.iloc[0]
    assert row[c.ESTIMATE] == pytest.approx(1.5)
    assert np.isnan([row[c.CONF_LOW], row[c.CONF_HIGH], row[c.PRED_LOW], row[c.STD_ERROR], row[c.DF]]).all()
    assert row[c.METHOD] == wear.ONE_TRUCK
    assert result.notes == (
        "Only one truck carried steel on the front plow; how much trucks differ is not known, so its rate has no interval.",
    )
    assert result.sentence() == (
        "On the front plow, steel wore 1.50 in per 1,000 blade-down miles (1 truck; no interval)."
    )


def test_two_trucks_get_an_interval_and_a_note():
    result = fit_wear_rates(fleet({"steel": [1.4, 1.9]}))
    assert result.table[c.CONF_HIGH].iloc[0] == pytest.approx(1.65 + stdtrit(1, 0.975) * 0.25, rel=1e-2)
    assert "Only two trucks carried steel on the front plow" in result.notes[0]


def test_interval_that_reaches_below_zero_is_said_as_at_most():
    assert "(95% interval at most 4.8; 2 trucks)" in fit_wear_rates(fleet({"steel": [1.4, 1.9]})).sentence()


def test_other_levels_are_named():
    result = fit_wear_rates(fleet({"steel": STEEL}), confidence_level=0.9)
    assert "(90% interval 1.17 to 1.88; 4 trucks)" in result.sentence()
    assert "90% t interval" in result.method


def test_bad_level_is_refused():
    with pytest.raises(ValueError, match="confidence_level is 95"):
        fit_wear_rates(fleet({"steel": STEEL}), confidence_level=95)


# ---------------------------------------------------------------- next to no wear
def test_a_first_reading_of_a_new_set_does_not_make_wear_unmeasurable():
    worn = fleet({"steel": [0.2, 0.25, 0.2]}, step=1 / 16)
    new = worn[worn[c.MILES_MI] == 0].assign(**{c.SET_ID: "new", c.HEIGHT_IN: 5.0, c.MILES_MI: 500.0})
    new[c.SEGMENT] = new[c.TRUCK_ID] + "/new"
    both = pd.concat([worn, new], ignore_index=True)
    for readings in (worn, both):
        result = fit_wear_rates(readings)
        # by hand: 500 miles at a mean of 0.217 in per 1,000 are 0.108 in, 1.7 steps of 1/16 in
        assert result.table[c.MEASURABLE].tolist() == [True]
        assert "no measurable wear" not in result.sentence()


def test_equal_readings_are_no_measurable_wear_with_an_upper_limit():
    result = fit_wear_rates(fleet({"carbide": [0.0] * 4}, step=1 / 16))
    row = result.table.iloc[0]
    assert (row[c.ESTIMATE], row[c.MEASURABLE]) == (0.0, False)
    # by hand: one step over 500 miles, 0.125, and 1.96 sqrt((1/16)^2 / 12 / 0.125 / 4) = 0.0500
    assert row[c.CONF_HIGH] == pytest.approx(0.175, abs=1e-3)
    assert row[c.METHOD] == wear.T_METHOD + wear.WIDENED
    assert result.sentence() == (
        "On the front plow, carbide showed no measurable wear: less than 0.18 in per 1,000 blade-down miles "
        "(95% interval; 4 trucks)."
    )


def test_equal_readings_on_one_truck():
    assert (
        "carbide showed no measurable wear (1 truck; no interval)"
        in fit_wear_rates(fleet({"carbide": [0.0]}, step=1 / 16)).sentence()
    )


def test_equal_trucks_without_resolution_have_no_interval():
    result = fit_wear_rates(fleet({"steel": [1.5, 1.5]}, step=np.nan, start=np.pi))
    assert result.table[c.METHOD].tolist() == [wear.NO_ERROR]
    assert "wore alike to the last digit and no resolution is recorded; no interval" in result.notes[1]
    assert "(2 trucks; no interval, since the readings show no error)" in result.sentence()


def test_rising_height_is_reported_not_dropped():
    result = fit_wear_rates(fleet({"steel": [-0.5, -0.7, -0.6]}))
    assert result.table[c.ESTIMATE].tolist() == pytest.approx([-0.6])
    assert "steel gained 0.60 in per 1,000 blade-down miles, which no edge does" in result.sentence()
    assert result.notes[0].startswith("The height of steel on the front plow rose on average")
    assert (
        "3 trucks with a rising height: S1, front (steel), S2, front (steel) and S3, front (steel)."
        in result.notes[1]
    )


def test_rising_height_of_one_truck():
    result = fit_wear_rates(fleet({"steel": [-0.5]}))
    assert "gained 0.500 in per 1,000 blade-down miles (1 truck" in result.sentence()


def test_many_rising_trucks_are_not_all_named():
    assert "and 3 more" in fit_wear_rates(fleet({"steel": [-0.5] * 7 + [-0.6]})).notes[-1]


def test_type_without_a_slope_keeps_its_row():
    frame = fleet({"steel": STEEL, "carbide": CARBIDE})
    once = frame[(frame[c.EDGE_TYPE] == "steel") | (frame[c.MILES_MI] == 0)]
    result = fit_wear_rates(once)
    row = result.table.iloc[1]
    assert (row[c.N_TRUCKS], row[c.N_SETS], row[c.METHOD]) == (0, 0, wear.NO_SLOPE)
    assert np.isnan(row[c.ESTIMATE])
    assert (
        "No set of carbide on the front plow has two readings at different miles, so it has no wear rate."
        in result.notes
    )
    assert "carbide has no wear rate yet, since no set has two readings" in result.sentence()


def test_no_readings_at_all():
    result = fit_wear_rates(fleet({"steel": STEEL}).iloc[:0])
    assert result.table.empty
    assert result.sentence() == "No wear rate can be given: no set has two readings at different miles."
    assert c.CONF_LOW in result.table.columns


def test_running_in_is_in_the_method():
    assert (
        "first 100 miles after an install are left out"
        in fit_wear_rates(fleet({"steel": STEEL}), run_in_mi=100).method
    )


# ---------------------------------------------------------------- from events to rates
def test_set_that_moved_between_trucks_counts_on_both():
    def day(n):
        return dt.datetime(2031, 1, n)

    events = pd.DataFrame(
        [
            ("A", "T1", "front", day(1), "install", 100.0),
            ("A", "T1", "front", day(10), "remove", 300.0),
            ("A", "T2", "front", day(11), "install", 5000.0),
            ("B", "T3", "front", day(1), "install", 40.0),
        ],
        columns=[c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT, c.COUNTER_MI],
    )
    rows = [
        ("A", 1, 100.0, 6.0, "yes"), ("A", 5, 200.0, 5.9, "no"), ("A", 10, 300.0, 5.8, "no"),
        ("A", 11, 5000.0, 5.8, "yes"), ("A", 20, 5100.0, 5.6, "no"),
        ("B", 1, 40.0, 6.0, "yes"), ("B", 20, 140.0, 5.8, "no"),
    ]  # fmt: skip
    taken = pd.DataFrame(rows, columns=[c.SET_ID, "day", c.COUNTER_MI, c.HEIGHT_IN, c.BASELINE])
    taken[c.DATE] = taken.pop("day").map(day)
    taken[c.STATION], taken[c.RESOLUTION_IN] = 1, 0.001
    sets = pd.DataFrame({c.SET_ID: ["A", "B"], c.EDGE_TYPE: ["steel", "steel"]})
    result = fit_wear_rates(wear_segments(taken, events, sets))
    trucks = result.trucks.set_index(c.TRUCK_UNIT)[c.ESTIMATE]
    # by hand: 0.2 in over 200 mi, 0.2 in over 100 mi, 0.2 in over 100 mi
    assert trucks.to_dict() == pytest.approx({"T1, front": 1.0, "T2, front": 2.0, "T3, front": 2.0})
    row = result.table.iloc[0]
    assert (row[c.N_TRUCKS], row[c.N_SETS]) == (3, 2)
    assert "Set A was on 2 truck positions and counts on each of them." in result.notes


def test_a_hundred_thousand_readings_are_summed_at_once():
    frame = Fleet(trucks=(20, 20), profile=(1.0,) * 6, n_readings=208, sets=2).readings(
        np.random.default_rng(1), 1
    )
    result = fit_wear_rates(frame)
    assert result.table[c.N_READINGS].sum() == len(frame) == 99_840
    assert result.table[c.ESTIMATE].iloc[0] == pytest.approx(1.5, abs=0.3)


def test_importing_wear_loads_nothing_heavy():
    import subprocess
    import sys

    code = "import sys, trialkit.edges.wear, trialkit.edges.comparison; print([m for m in sys.modules if m in ('scipy.stats', 'statsmodels', 'matplotlib', 'pandera')])"  # fmt: skip
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )
