"""The sensitivity board: what stands, what falls, and how it is said."""

import numpy as np
import pandas as pd
import pytest
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.edges import sensitivity, variants
from trialkit.edges.blade_share import SEASON, BladeShares
from trialkit.edges.crosscheck import compare_with_mixed
from trialkit.edges.outliers import compare_with_the_rest
from trialkit.edges.sensitivity import compare_variants, usual_variants
from trialkit.edges.wear import fit_wear_rates

nan = float("nan")


def rates_of(rows, run_in_mi=0.0):
    return fit_wear_rates(frame(rows), reference="plain_steel", labels=LABELS, run_in_mi=run_in_mi)


def board_of(rows, run_in_mi=0.0, **more):
    readings, rates = frame(rows), rates_of(rows, run_in_mi)
    return compare_variants(rates, usual_variants(readings, rates, run_in_mi=run_in_mi, **more))


def ratio(estimate, low, high, kind="carbide_insert", trucks=4):
    row = (kind, "plain_steel", "front", estimate, low, high, "yes" if np.isfinite(high) else "no", trucks, 4)
    return pd.DataFrame([row], columns=variants.RATIO_COLUMNS)


def variant(name, *numbers, **more):
    return variants.Variant("ways", name, ratio(*numbers), **more)


ROWS = fleet(seed=3)


# ---------------------------------------------------------------- the rule
@pytest.mark.parametrize(
    ("numbers", "found", "stands"),
    [
        ((10.0, 5.0, 20.0), "slower", "yes"),
        ((10.0, 1.01, nan), "slower", "yes"),
        ((2.0, 1.0, 4.0), "no difference shown", "no"),
        ((2.0, 0.5, nan), "no difference shown", "no"),
        ((nan, 0.0, nan), "no difference shown", "no"),
        ((0.5, 0.2, 0.99), "faster", "no"),
        ((10.0, nan, nan), "none", "cannot tell"),
    ],
)
def test_a_finding_stands_if_it_is_the_same(numbers, found, stands):
    row = compare_variants(rates_of(ROWS), [variant("changed", *numbers)]).table.iloc[1]
    assert (row[c.FOUND], row[c.STANDS]) == (found, stands)


def test_all_stand():
    board = compare_variants(
        rates_of(ROWS), [variant("one thing", 8.0, 4.0, 16.0), variant("another", 12.0, 6.0, nan)]
    )
    assert board.sentence() == (
        "The finding holds in all 2 ways of working it out: carbide insert wears slower than plain steel in each. Best estimates "
        "run from 8.0 to 12 times slower; the 95% intervals begin at 4.0 or more (one thing)."
    )


def test_one_that_falls_is_named_with_its_interval():
    board = compare_variants(
        rates_of(ROWS), [variant("one thing", 8.0, 4.0, 16.0), variant("another", 3.0, 0.8, 16.0)]
    )
    assert board.sentence() == (
        "The finding that carbide insert wears slower than plain steel holds in 1 of 2 ways of working it out and falls in 1: another "
        "(no difference shown, 0.80 to 16 times)."
    )


def test_many_that_fall_are_told_in_brief():
    fallen = [variant(f"change {k}", 1.0, 0.5, 2.0) for k in range(6)]
    said = compare_variants(rates_of(ROWS), [variant("fine", 8.0, 4.0, 16.0), *fallen]).sentence()
    assert "holds in 1 of 7 ways of working it out and falls in 6: change 0 (" in said
    assert said.endswith("change 3 (no difference shown, 0.50 to 2.0 times); 2 more.")


def test_faster_is_told_the_other_way_round():
    rates = rates_of(fleet(rates=(0.3, 1.5), seed=3))
    said = compare_variants(
        rates, [variant("one", 0.25, 0.1, 0.5), variant("two", 0.2, 0.15, 0.8)]
    ).sentence()
    assert said == (
        "The finding holds in all 2 ways of working it out: carbide insert wears faster than plain steel in each. Best estimates run "
        "from 4.0 to 5.0 times faster; the 95% intervals begin at 1.2 or more (two)."
    )


def test_no_difference_is_a_finding_too():
    rates = rates_of(fleet(rates=(1.5, 1.5), seed=3))
    said = compare_variants(rates, [variant("one", 1.1, 0.9, 1.3), variant("two", 1.5, 1.2, 1.8)]).sentence()
    assert said == (
        "The finding that no difference between carbide insert and plain steel is shown holds in 1 of 2 ways of working it out and "
        "falls in 1: two (slower)."
    )


def test_a_variant_that_cannot_tell_is_counted_apart():
    board = compare_variants(rates_of(ROWS), [variant("one", 8.0, 4.0, 16.0), variant("two", 8.0, nan, nan)])
    assert board.sentence().startswith(
        "The finding holds in the one other way of working it out: carbide insert wears slower than plain steel."
    )
    assert board.sentence().endswith(" 1 variant could not be judged.")


def test_one_truck_has_no_finding():
    board = board_of(fleet(trucks=1))
    assert set(board.table[c.STANDS]) == {"cannot tell"}
    assert board.sentence() == (
        "Carbide insert against plain steel has no interval, so there is no finding that could stand or fall."
    )


def test_nothing_to_compare():
    board = board_of(fleet(n_types=1))
    assert board.table.empty
    assert board.notes == ()
    assert board.sentence() == "There is no comparison whose finding could be tried."


def test_positions_are_named_where_there_are_several():
    board = board_of([*fleet(seed=3), *fleet(place="wing_left", seed=4)])
    assert [said.split(",")[0] for said in board.sentences()] == ["On the front plow", "On the left wing"]


# ---------------------------------------------------------------- the usual variants
def test_the_usual_variants_of_a_plain_trial():
    names = [one.name for one in usual_variants(frame(ROWS), rates_of(ROWS))]
    assert names == [
        *(f"without truck {kind}{k}" for kind in ("pl", "ca") for k in range(4)),
        "without the first readings",
        "geometric means of the trucks",
        "thinnest spot of each set",
    ]


def test_everything_that_is_known_is_tried():
    readings, rates = frame(ROWS), rates_of(ROWS, 60.0)
    readings = readings.assign(
        **{c.MILES_BASIS: np.where(np.arange(len(readings)) % 6 == 5, "shifts", "counter")}
    )
    wild = readings.copy()
    wild.loc[40, c.HEIGHT_IN] += 0.5
    shares = BladeShares(
        pd.DataFrame(
            {c.TRUCK_UNIT: rates.trucks[c.TRUCK_UNIT].astype(str), c.BASIS: SEASON, c.SHARE_FRAC: 0.5}
        ),
        "",
        (),
    )
    found = usual_variants(
        wild,
        rates,
        run_in_mi=60.0,
        cross=compare_with_mixed(readings, rates, run_in_mi=60.0),
        apart=compare_with_the_rest(wild, rates, run_in_mi=60.0),
        shares=shares,
        others=[variant("of this trial's own", 8.0, 4.0, 16.0)],
    )
    names = [one.name for one in found][8:]
    assert names == [
        "without the reading that stands apart",
        "nothing left out as running-in",
        "120 miles left out as running-in",
        "of this trial's own",
        "miles from counters alone",
        "per odometer mile, all driving",
        "geometric means of the trucks",
        "thinnest spot of each set",
        "one mixed model of all readings",
    ]


def test_several_trucks_that_stand_apart_are_left_out_together():
    x = np.linspace(0, 600, 6)
    odd = [segment("carbide_insert", name, name, 1, x, 6.0 - 2.0 * x / 1000) for name in ("odd1", "odd2")]
    rows = [*fleet(trucks=7, seed=3), *odd[0], *odd[1]]
    readings, rates = frame(rows), rates_of(rows)
    found = usual_variants(readings, rates, apart=compare_with_the_rest(readings, rates))
    assert "without the 2 trucks that stand apart" in [one.name for one in found]


def test_rows_of_the_board():
    board = board_of(ROWS)
    first = board.table.iloc[0]
    assert (first[c.VARIANT], first[c.CHANGE_PCT], first[c.STANDS]) == ("as reported", 0.0, "yes")
    trucks = board.trucks()
    assert trucks[c.TRUCK_ID].tolist() == [f"{kind}{k}" for kind in ("pl", "ca") for k in range(4)]
    most = trucks[trucks[sensitivity.MOVES_MOST] == "yes"]
    assert len(most) == 1
    assert abs(most[c.CHANGE_PCT].iloc[0]) == trucks[c.CHANGE_PCT].abs().max()
    assert f"Truck {most[c.TRUCK_ID].iloc[0]} moves it most" in board.sentence()


def test_one_truck_left_on_a_side_says_why_it_cannot_tell():
    table = board_of(fleet(trucks=2, seed=3)).table
    rows = table[table[c.TRUCK_ID] != ""]
    assert set(rows[c.STANDS]) == {"cannot tell"}
    assert set(rows[c.REASON]) == {"one truck on one side, no interval"}


def test_a_comparison_that_is_gone_says_so():
    rows = [*fleet(trucks=4, seed=3), *segment("rubber_carbide", "only", "only", 1, [0.0, 600.0], [6.0, 5.8])]
    table = board_of(rows).table
    gone = table[(table[c.EDGE_TYPE] == "rubber_carbide") & (table[c.TRUCK_ID] == "only")].iloc[0]
    assert (gone[c.N_TRUCKS], gone[c.REASON]) == (0, "no truck on one side")


def test_a_truck_that_hardly_moves_it():
    said = board_of(fleet(error=0.0, step=0.0, spread=0.0)).sentence()
    assert "No single truck moves the estimate by a percent." in said
    assert "The best estimate stays at 10 times slower" in said


def test_other_trucks_do_not_touch_a_comparison():
    table = board_of(fleet(n_types=3, seed=3)).table
    own = table[table[c.EDGE_TYPE] == "carbide_insert"]
    assert not own[c.TRUCK_ID].str.startswith("ru").any()
    assert own[c.N_TRUCKS_REFERENCE].min() == 3
