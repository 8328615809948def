"""Captions and descriptions: built from the result, so they follow it."""

from types import SimpleNamespace

import pandas as pd
from report_samples import LABELS, rates, ratios, readings

from trialkit import columns as c
from trialkit.report import captions

nan = float("nan")


def test_rates_are_told_row_by_row():
    words = captions.wear_rates(rates())
    assert words["caption"] == (
        "Mean wear rate of each edge type with its 95% interval; small open marks are single trucks. "
        "Slowest: Carbide insert, 0.120; fastest: Plain steel, 1.50 in/1000 mi."
    )
    assert words["alt"] == (
        "Chart with a row for each of 3 edge types: mean wear rate (in/1000 mi), its 95% interval and the single trucks. "
        "Plain steel: 1.50 (1.20 to 1.80), 3 trucks. Carbide insert: 0.120 (0.080 to 0.160), 2 trucks. "
        "Segmented carbide: 0.200 (no interval), 1 truck."
    )


def test_words_follow_the_numbers():
    other = captions.wear_rates(
        rates([("plain", "front", 2.5, 2.2, 2.8, 3), ("carbide", "front", 3.0, 2.0, 4.0, 2)])
    )
    assert "Slowest: Plain steel, 2.50; fastest: Carbide insert, 3.0 in/1000 mi." in other["caption"]
    assert "2.50 (2.20 to 2.80)" in other["alt"]


def test_numbers_behind_the_rates_are_the_means_and_their_trucks():
    data = captions.wear_rates(rates())["data"]
    assert list(data["shown"]) == [
        "mean of the trucks",
        "T1, front",
        "T2, front",
        "T3, front",
        "mean of the trucks",
        "T4, front",
        "T5, front",
        "mean of the trucks",
        "T6, front",
    ]
    assert data["estimate"].tolist() == [1.5, 1.4, 1.5, 1.6, 0.12, 0.11, 0.13, 0.2, 0.2]
    assert data["unit"].unique().tolist() == ["in/1000 mi"]


def test_several_positions_are_named():
    words = captions.wear_rates(
        rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("plain", "wing_left", 1.1, 0.9, 1.3, 2)])
    )
    assert "each of 2 pairs of edge type and plow position" in words["alt"]
    assert "Plain steel, left wing: 1.10 (0.90 to 1.30), 2 trucks." in words["alt"]


def test_one_type_and_a_type_without_a_rate():
    words = captions.wear_rates(rates([("plain", "front", nan, nan, nan, 0)]))
    assert "for one edge type" in words["alt"]
    assert "Plain steel: no wear rate, 0 trucks." in words["alt"]
    assert "Slowest" not in words["caption"]


def test_rates_that_read_the_same_have_no_slowest_and_no_fastest():
    same = [("plain", "front", 0.0, -0.4, 0.4, 2), ("carbide", "front", 0.0001, -0.3, 0.3, 2)]
    assert "Slowest" not in captions.wear_rates(rates(same))["caption"]


def test_long_results_point_to_the_table():
    rows = [(f"type {number}", "front", 1.0 + number, 0.5, 9.0, 2) for number in range(11)]
    words = captions.wear_rates(rates(rows, labels={}))
    assert words["alt"].endswith("3 more are in the table of numbers.")
    assert "Type 7:" in words["alt"]
    assert "type 8:" not in words["alt"]


def test_an_empty_result_has_words():
    empty = rates()
    empty.table, empty.trucks = empty.table.iloc[:0], empty.trucks.iloc[:0]
    words = captions.wear_rates(empty)
    assert words["data"].empty
    assert words["alt"].startswith("Chart with a row for each of 0 edge types")


def test_ratios_are_told_with_their_bounds():
    words = captions.wear_ratios(ratios())
    assert words["caption"] == (
        "How many times slower than Plain steel each edge type wears, with its 95% interval; 1 is the same. "
        "An arrow has no end on that side."
    )
    assert "Carbide insert: 12 (8.0 to 20) times." in words["alt"]
    assert "Segmented carbide: at least 3.2 times." in words["alt"]
    assert "method" not in words["data"]
    assert "arrow" not in captions.wear_ratios(ratios([("carbide", 2.0, 1.0, 4.0, "yes")]))["caption"]


def test_heights_are_told_by_type():
    words = captions.heights(rates(), readings())
    # by hand: highest 6 - 0.01, lowest 6 - 1.6 * 0.4 - 0.02 = 5.34
    assert (
        "Plain steel: 1 truck, 2 sets, heights from 5.99 down to 5.34 in over up to 400 miles."
        in words["alt"]
    )
    assert words["alt"].startswith("2 panels, one for each edge type")
    assert words["data"][["truck_unit", "set_id", "n_readings", "span_mi"]].values.tolist() == [
        ["T1, front", "S1", 6, 400.0],
        ["T1, front", "S2", 6, 400.0],
        ["T4, front", "S3", 6, 400.0],
    ]


def test_heights_alone_have_no_lines():
    words = captions.heights(None, readings(), labels=LABELS)
    assert "line" not in words["caption"]
    assert "Carbide insert: 1 truck, 1 set" in words["alt"]


def test_many_sets_are_summed_up_by_truck():
    frames = [readings().assign(set_id=lambda frame, n=n: frame["set_id"] + f"-{n}") for n in range(30)]
    data = captions.heights(None, pd.concat(frames, ignore_index=True))["data"]
    assert data[["truck_unit", "n_sets", "n_readings"]].values.tolist() == [
        ["T1, front", 60, 360],
        ["T4, front", 30, 180],
    ]


def test_a_truck_with_a_wing_is_named_as_people_say_it():
    result = rates()
    units = result.trucks.assign(**{c.TRUCK_UNIT: ["T1, wing_right", *result.trucks[c.TRUCK_UNIT].iloc[1:]]})
    assert "T1, right wing" in set(
        captions.wear_rates(SimpleNamespace(**{**vars(result), "trucks": units}))["data"]["shown"]
    )
