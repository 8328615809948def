"""Whole-body vibration: daily exposure and the comparison of edge types."""

import math

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.cab import vibration, vibration_comparison
from trialkit.cab.criteria import VIBRATION_CAUTIONS, VibrationCriterion
from trialkit.cab.vibration import UNCLEAR
from trialkit.cab.vibration_comparison import LARGEST
from trialkit.errors import NotEnoughDataError, TrialDataError, UsageError
from trialkit.table_parts import NO, YES

TYPES = ["steel", "carbide", "rubber"]
AXES = {"x": 0.30, "y": 0.25, "z": 0.60}


def row(truck, edge, axis, rms, minutes=20.0, **cells):
    usual = {
        c.TRUCK_ID: truck,
        c.EDGE_TYPE: edge,
        c.AXIS: axis,
        c.DURATION_MIN: minutes,
        c.RMS_M_S2: float(rms),
        c.SURFACE: "packed",
    }
    return usual | cells


def table(*rows):
    frame = pd.DataFrame(rows).assign(**{c.VIBRATION_ID: [f"V{i + 1}" for i in range(len(rows))]})
    return frame.assign(**{c.EDGE_TYPE: pd.Categorical(frame[c.EDGE_TYPE], TYPES, ordered=True)})


def trucks(edge="steel", factor=1.0, spread=(0.9, 1.0, 1.1), names="ABC", **cells):
    return [
        row(f"{name}", edge, axis, base * factor * each, **cells)
        for name, each in zip(names, spread, strict=True)
        for axis, base in AXES.items()
    ]


def line(found, edge="steel", axis="z", criterion="eu_vibration_action"):
    rows = found[(found[c.EDGE_TYPE] == edge) & (found[c.AXIS] == axis) & (found[c.CRITERION] == criterion)]
    assert len(rows) == 1
    return rows.iloc[0]


# ---------------------------------------------------------------- formulas
def test_average_weighs_squares_by_duration():
    # by hand: sqrt((0.3^2 * 3 + 0.5^2 * 1) / 4) = 0.3606
    assert vibration.average_rms([0.3, 0.5], [3, 1]) == pytest.approx(0.3606, abs=5e-5)
    assert vibration.average_rms([0.3, 0.5]) == pytest.approx(math.sqrt(0.17))


def test_partial_exposures_add_as_squares():
    parts = [vibration.daily_exposure(a, t) for a, t in ((0.5, 1), (0.2, 6))]
    assert vibration.daily_exposure([0.5, 0.2], [1, 6]) == pytest.approx(math.hypot(*parts))


def test_points_add_up():
    points = [
        float(vibration.exposure_points(vibration.daily_exposure(a, t))) for a, t in ((0.5, 1), (0.2, 6))
    ]
    assert float(vibration.exposure_points(vibration.daily_exposure([0.5, 0.2], [1, 6]))) == pytest.approx(
        sum(points)
    )


@pytest.mark.parametrize(
    ("rms", "hours", "factor", "said"),
    [
        (-0.1, 8, 1, "-0.1 m/s²"),
        (51, 8, 1, "51 m/s²"),
        (float("nan"), 8, 1, "nan m/s²"),
        (0.5, -1, 1, "-1 h"),
        ([0.5, 0.4], [8], 1, "2 vibration values but 1"),
        ([0.5, 0.4], [20, 5], 1, "25 h; a day has 24"),
        (0.5, 8, 0, "factor of 0"),
    ],
)
def test_impossible_operations(rms, hours, factor, said):
    with pytest.raises(UsageError, match=said):
        vibration.daily_exposure(rms, hours, factor)


def test_impossible_averages():
    with pytest.raises(UsageError, match="2 vibration values but 3"):
        vibration.average_rms([0.5, 0.4], [1, 2, 3])
    with pytest.raises(UsageError, match="All durations are zero"):
        vibration.average_rms([0.5], [0])


# ---------------------------------------------------------------- exposure
def test_exposure_of_the_governing_axis():
    exposure = vibration.estimate_exposure(table(*trucks(spread=(1.0, 1.0, 1.0001))), daily_h=12)
    z, x = line(exposure.table), line(exposure.table, axis="x")
    # by hand: 0.6 sqrt(12 / 8) = 0.735; 1.4 * 0.3 sqrt(1.5) = 0.514; (0.735 / 0.5)^2 = 216 %; 8 (0.5 / 0.6)^2 = 5.56 h
    assert z[c.A8_M_S2] == pytest.approx(0.735, abs=5e-4)
    assert x[c.A8_M_S2] == pytest.approx(0.514, abs=5e-4)
    assert x[c.WEIGHTED_M_S2] == pytest.approx(0.42, abs=5e-4)
    assert z[c.EXPOSURE_PCT] == pytest.approx(216, abs=0.5)
    assert z[c.PERMISSIBLE_H] == pytest.approx(5.56, abs=0.005)
    assert (z[c.GOVERNS], x[c.GOVERNS], line(exposure.table, axis="y")[c.GOVERNS]) == (YES, NO, NO)


def test_interval_is_students_on_logarithms():
    exposure = vibration.estimate_exposure(table(*trucks(spread=(0.9, 1.0, 1.1))))
    z = line(exposure.table)
    # by hand: s of ln(0.9, 1, 1.1) is 0.10040; t(2) = 4.3027; exp(4.3027 * 0.10040 / sqrt(3)) = 1.2833
    assert z[c.CONF_HIGH] / z[c.RMS_M_S2] == pytest.approx(1.2833, abs=5e-4)
    assert z[c.RMS_M_S2] / z[c.CONF_LOW] == pytest.approx(1.2833, abs=5e-4)
    assert z[c.A8_HIGH_M_S2] / z[c.A8_M_S2] == pytest.approx(1.2833, abs=5e-4)


@pytest.mark.parametrize(("factor", "word"), [(2.0, YES), (0.3, NO), (0.68, UNCLEAR)])
def test_whether_a_value_is_reached(factor, word):
    exposure = vibration.estimate_exposure(table(*trucks(factor=factor)), daily_h=12)
    assert line(exposure.table)[c.REACHED] == word


def test_columns_and_criteria():
    own = VibrationCriterion("own", "Own value", 0.8, "Town policy 7")
    exposure = vibration.estimate_exposure(table(*trucks()), criteria=["eu_vibration_limit", own])
    first = (
        "edge_type axis criterion rms_m_s2 conf_low conf_high a8_m_s2 exposure_pct permissible_h n_samples"
    )
    assert exposure.table.columns.tolist()[:10] == first.split()
    assert set(exposure.table[c.CRITERION]) == {"eu_vibration_limit", "own"}
    assert exposure.notes[-2:] == VIBRATION_CAUTIONS


def test_other_axis_factors_are_a_parameter():
    exposure = vibration.estimate_exposure(table(*trucks()), factors={"x": 1.0, "y": 1.0, "z": 1.0})
    assert line(exposure.table, axis="x")[c.WEIGHTED_M_S2] == line(exposure.table, axis="x")[c.RMS_M_S2]
    assert "1 (x), 1 (y) and 1 (z)" in exposure.method


def test_missing_axis_is_noted():
    rows = [each for each in trucks() if each[c.AXIS] != "y"]
    exposure = vibration.estimate_exposure(table(*rows))
    assert any("steel has no samples of axis y" in note for note in exposure.notes)
    assert set(exposure.table[c.AXIS]) == {"x", "z"}


def test_one_sample_one_truck_no_vibration():
    exposure = vibration.estimate_exposure(
        table(
            row("A", "steel", "x", 0.3),
            row("A", "steel", "y", 0.3),
            row("A", "steel", "y", 0.4),
            row("A", "steel", "z", 0.0),
            row("B", "steel", "z", 0.5),
        )
    )
    assert all(math.isnan(line(exposure.table, axis=axis)[c.CONF_LOW]) for axis in "xyz")
    notes = " ".join(exposure.notes)
    assert "one sample for steel, axis x" in notes
    assert "All samples for steel, axis y come from one truck" in notes
    assert "shows no vibration, or all trucks the same, for steel, axis z" in notes
    assert line(exposure.table)[c.REACHED] == UNCLEAR


def test_sentence_of_the_exposure():
    exposure = vibration.estimate_exposure(table(*trucks(), *trucks("rubber", 0.5)), daily_h=10)
    # by hand: r.m.s. of 0.54, 0.60, 0.66 is 0.602; 0.602 sqrt(10 / 8) = 0.673, divided and multiplied by 1.2833
    assert exposure.sentence() == (
        "Over 10 hours a day the whole-body vibration A(8) comes to 0.67 m/s² (0.52 to 0.86) with steel (axis z) and 0.34 m/s² "
        "(0.26 to 0.43) with rubber (axis z)."
    )


def test_trucks_stand_in_the_axis_that_governs():
    rows = trucks("steel") + [
        row("D", "carbide", axis, rms) for axis, rms in (("x", 0.5), ("y", 0.1), ("z", 0.6))
    ]
    found = vibration.estimate_exposure(table(*rows), daily_h=8.0)
    assert found.governing()[[c.EDGE_TYPE, c.AXIS]].values.tolist() == [["steel", "z"], ["carbide", "x"]]
    # by hand, 8 h: z with factor 1, x with factor 1.4
    a8 = found.a8_by_truck().set_index(c.TRUCK_ID)[c.A8_M_S2]
    assert a8.to_dict() == pytest.approx({"A": 0.54, "B": 0.60, "C": 0.66, "D": 0.70})
    still = vibration.estimate_exposure(table(*[row("A", "steel", axis, 0.0) for axis in AXES]))
    assert still.a8_by_truck()[c.A8_M_S2].unique().tolist() == [0.0]


def test_impossible_samples():
    with pytest.raises(TrialDataError, match="60"):
        vibration.estimate_exposure(table(row("A", "steel", "z", 60)))
    with pytest.raises(TrialDataError, match='"w"'):
        vibration.estimate_exposure(table(row("A", "steel", "w", 0.6)))
    with pytest.raises(NotEnoughDataError, match="1 vibration sample"):
        vibration.estimate_exposure(table(row(None, "steel", "z", 0.6)))
    with pytest.raises(UsageError, match="daily_h is 0"):
        vibration.estimate_exposure(table(*trucks()), daily_h=0)


# ---------------------------------------------------------------- comparison
def test_paired_ratio():
    compared = vibration_comparison.compare_edge_types(
        table(*trucks(), *trucks("rubber", 0.8, (0.9, 1.05, 1.1)))
    )
    z = compared.table[compared.table[c.AXIS] == "z"].iloc[0]
    # by hand: ln ratios ln 0.8 + (0, ln 1.05, 0): mean -0.20688, s = 0.02817, t(2) = 4.3027: half-width 0.06998
    assert z[c.ESTIMATE] == pytest.approx(math.exp(-0.20688), abs=5e-5)
    assert (z[c.CONF_LOW], z[c.CONF_HIGH]) == pytest.approx(
        (math.exp(-0.27686), math.exp(-0.13690)), abs=5e-5
    )
    assert (z[c.N_PAIRS], z[c.UNIT]) == (3, "times")
    assert compared.sentence() == (
        "In the largest axis of whole-body vibration, rubber had less vibration than steel by 19% (13 to 24%)."
    )


def test_largest_axis_is_found_for_each_truck():
    rows = [row("A", "steel", axis, rms) for axis, rms in (("x", 0.5), ("y", 0.2), ("z", 0.6))]
    rows += [row("A", "carbide", axis, rms) for axis, rms in (("x", 0.2), ("y", 0.2), ("z", 0.35))]
    largest = vibration_comparison.compare_edge_types(table(*rows)).table.query("axis == @LARGEST").iloc[0]
    # by hand: 1.4 * 0.5 = 0.7 (x) with steel, 0.35 (z) with carbide
    assert largest[c.ESTIMATE] == pytest.approx(0.5)
    assert largest[c.AXIS] == LARGEST


def test_more_the_same_and_no_interval():
    base = trucks(spread=(0.99, 1.0, 1.01))
    cases = {
        "carbide had more vibration than steel by 50%": trucks("carbide", 1.5, (0.99, 1.0, 1.01), "DEF"),
        "no difference between carbide and steel is shown": trucks("carbide", 1.0, (0.9, 1.0, 1.1), "DEF"),
        "carbide had 0.50 times the vibration of steel in the samples (no interval)": trucks(
            "carbide", 0.5, (1.0,), "D"
        ),
    }
    for words, other in cases.items():
        assert words in vibration_comparison.compare_edge_types(table(*base, *other)).sentence()


def test_order_and_reference():
    rows = table(*trucks("rubber", 0.8, names="GHI"), *trucks(), *trucks("carbide", 0.9, names="DEF"))
    z = vibration_comparison.compare_edge_types(rows).table.query("axis == 'z'")
    assert z[c.EDGE_TYPE].tolist() == ["carbide", "rubber"]
    other = vibration_comparison.compare_edge_types(rows, reference="rubber").table.query("axis == 'z'")
    assert other[c.ESTIMATE].tolist() == pytest.approx([1.25, 1.125])


def test_axes_that_are_missing_or_still():
    rows = trucks() + trucks("rubber", 0.8, names="DEF")
    short = [each for each in rows if not (each[c.TRUCK_ID] == "D" and each[c.AXIS] == "y")]
    still = [
        each | ({c.RMS_M_S2: 0.0} if each[c.TRUCK_ID] == "E" and each[c.AXIS] == "x" else {})
        for each in short
    ]
    compared = vibration_comparison.compare_edge_types(table(*still))
    assert any("1 truck with an edge type lacks an axis" in note for note in compared.notes)
    assert "1 truck showed no vibration in axis x: left out there." in compared.notes
    assert compared.table.set_index(c.AXIS)[c.N_TRUCKS].to_dict() == {"x": 5, "y": 5, "z": 6, LARGEST: 5}


def test_nothing_to_compare():
    compared = vibration_comparison.compare_edge_types(table(*trucks()))
    assert compared.table.empty
    assert "cannot be compared" in compared.sentence()
    assert any("Only steel was measured" in note for note in compared.notes)


def test_all_samples_on_one_truck():
    rows = trucks(spread=(1.0,), names="A") + trucks("rubber", 0.8, (1.0,), "A")
    compared = vibration_comparison.compare_edge_types(table(*rows))
    assert compared.table[c.CONF_LOW].isna().all()
    assert any("All samples come from one truck" in note for note in compared.notes)


def test_surfaces_that_differ_or_are_unknown():
    other = trucks("rubber", 0.8, names="DEF", **{c.SURFACE: "bare"})
    notes = vibration_comparison.compare_edge_types(table(*trucks(), *other)).notes
    assert any("rubber and steel were sampled on different surfaces for 100%" in note for note in notes)
    blank = table(*trucks(), *other).assign(**{c.SURFACE: None})
    assert any(
        "surface was not recorded" in note for note in vibration_comparison.compare_edge_types(blank).notes
    )
    half = table(*trucks(**{c.SURFACE: None}), *other)
    notes = vibration_comparison.compare_edge_types(half).notes
    assert [note for note in notes if "surface" in note] == [
        "The surface was not recorded with the samples of steel."
    ]
    same = vibration_comparison.compare_edge_types(
        table(*trucks(), *trucks("rubber", 0.8, names="DEF"))
    ).notes
    assert not any("surface" in note for note in same)


def test_hands_are_out_of_scope_and_said_so():
    compared = vibration_comparison.compare_edge_types(table(*trucks(), *trucks("rubber", 0.8, names="DEF")))
    assert any("hands" in note and "not covered" in note for note in compared.notes)
    assert "out of scope" in " ".join(vibration.__doc__.split())


def test_interval_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(4)
    hits = []
    for _ in range(40):
        offsets = {name: math.exp(rng.normal(0, 0.15)) for name in "ABCDEFGH"}
        rows = [
            row(name, edge, "z", 0.6 * ratio * offsets[name] * math.exp(rng.normal(0, 0.1)))
            for edge, names, ratio in (("steel", "ABCD", 1.0), ("rubber", "EFGH", 0.8))
            for name in names
            for _ in range(2)
        ]
        z = vibration_comparison.compare_edge_types(table(*rows)).table.iloc[0]
        hits.append(z[c.CONF_LOW] <= 0.8 <= z[c.CONF_HIGH])
    # known truth: 0.8 times; 95 % of 40 intervals, less three standard errors, is 0.85
    assert np.mean(hits) >= 0.85


def test_names_of_edge_types_are_those_of_the_report():
    labels = {"steel": "plain steel edges"}
    rows = table(*trucks(), *trucks("rubber", 0.8, names="DEF"))
    assert "plain steel edges" in vibration.estimate_exposure(rows, labels=labels).sentence()
    assert "plain steel edges" in vibration_comparison.compare_edge_types(rows, labels=labels).sentence()
