"""The figures of material and clearing, and the words that belong to them."""

import math
import re
from dataclasses import replace

import material_trial as ct
import matplotlib.pyplot as plt
import pytest
from material_trial import material_trial

from trialkit import columns as c
from trialkit import display
from trialkit.report import material_captions, material_figures, material_study


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    return material_study.study_material(material_trial(tmp_path_factory.mktemp("trial")))


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_rates_have_a_row_for_each_storm_in_order_of_time(found):
    ax = material_figures.rates_by_storm(found)
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        "W1, Nov 24", "W2, Dec 3", "W3, Dec 12", "W4, Dec 22", "W5, Jan 6",
    ]  # fmt: skip
    marks = [line for line in ax.lines if line.get_marker() not in ("None", "", None)]
    assert len(marks) == 2
    assert marks[0].get_xdata()[1] == pytest.approx(240 * (1.02**0.5), rel=1e-6)
    assert "[lb/lane-mi]" in ax.get_xlabel()
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["Plain steel", "Carbide insert"]


def test_rates_in_another_basis_and_unit(tmp_path):
    two = material_study.study_material(
        material_trial(tmp_path, 'rate_basis = "two_lane_mile"\npolicy_rate_lb = 250.0')
    )
    ax = material_figures.rates_by_storm(two)
    assert "Dry material per mile of road with two lanes [lb/two-lane mi]" in ax.get_xlabel()
    assert "town's own rate" in texts(ax)
    with display.showing("metric"):
        ax = material_figures.rates_by_storm(two)
    assert "kilometer of road with two lanes [kg/two-lane km]" in ax.get_xlabel()


def test_storms_without_a_table_are_named_by_their_code(tmp_path):
    bare = material_study.study_material(material_trial(tmp_path, storms=None))
    ax = material_figures.rates_by_storm(bare)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["W1", "W2", "W3", "W4", "W5"]


def test_rates_of_many_storms_are_cut_and_the_caption_says_so(found, monkeypatch):
    monkeypatch.setattr(material_figures, "MOST_STORMS", 3)
    monkeypatch.setattr(material_captions, "MOST_STORMS", 3)
    ax = material_figures.rates_by_storm(found)
    assert len(ax.get_yticklabels()) == 3
    assert (
        "Shown are the 3 storms with most shifts, of 5." in material_captions.rates_by_storm(found)["caption"]
    )


def test_rates_caption_counts_storms_with_less(found):
    words = material_captions.rates_by_storm(found)
    assert "Carbide insert lies below Plain steel in 5 of 5 storms." in words["alt"]
    assert list(words["data"].columns) == [c.STORM_ID, "Plain steel", "Carbide insert"]
    assert words["data"].iloc[0]["Plain steel"] == pytest.approx(151.5, abs=0.1)


def test_differences_have_a_panel_for_per_cent_and_one_for_depth(found):
    axes = material_figures.differences(found)
    assert len(axes) == 2
    heads = texts(axes[0])
    assert {"Material per lane-mile", "Chloride per lane-mile", "Passes over the route"} <= set(heads)
    assert any(text.startswith("21% less (") for text in heads)
    assert "[in]; left is less" in axes[1].get_xlabel()
    assert "95% interval" in axes[1].get_xlabel()


def test_differences_alone_in_per_cent(tmp_path):
    bare = material_study.study_material(
        material_trial(tmp_path, shifts=re.sub(r",loose,.*", ",loose,", ct.shifts()))
    )
    assert len(material_figures.differences(bare)) == 1


def test_differences_without_an_interval_say_so(tmp_path):
    keep = "\n".join(line for line in ct.shifts().splitlines() if ",T4," not in line) + "\n"
    salt = "\n".join(line for line in ct.material().splitlines() if "-T4," not in line) + "\n"
    few = material_study.study_material(
        material_trial(tmp_path, shifts=keep, material=salt, operator_ratings=None)
    )
    axes = material_figures.differences(few)
    assert any(text.startswith("2") and "less" in text and "(" not in text for text in texts(axes[0]))


def test_differences_caption_is_what_is_drawn(found):
    words = material_captions.differences(found)
    drawn = [text for ax in material_figures.differences(found) for text in texts(ax) if "(" in text]
    assert len(drawn) == 4  # hours were the same in every shift and have no interval
    assert all(text in words["alt"] for text in drawn)
    assert len(words["data"]) == 5


def test_ratings_have_a_bar_for_each_type_with_its_scores(found):
    ax = material_figures.ratings(found.ratings)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["Plain steel, 10", "Carbide insert, 10"]
    assert "How well the road was cleared" in texts(ax)
    assert [text for text in texts(ax) if text.isdigit()] == ["3", "4"]
    words = material_captions.ratings(found.ratings)
    assert "How well the road was cleared, Carbide insert: 100% of 10 ratings are 4 or 5." in words["alt"]
    assert words["data"]["4"].tolist() == [0, 10]


def test_figures_draw_where_they_are_told(found):
    _, own = plt.subplots()
    assert material_figures.rates_by_storm(found, own) is own
    _, pair = plt.subplots(2)
    assert material_figures.differences(found, pair) == list(pair)
    _, own = plt.subplots()
    assert material_figures.ratings(found.ratings, own) is own


def test_an_interval_far_beyond_the_estimates_ends_in_an_arrow(found):
    (row,) = (
        each
        for each in material_figures.forest_rows(found, found.material)
        if each.head.startswith("Material")
    )
    wide = material_figures.ForestRow(replace(row.row, high=90_000.0), "words", "head")
    left, right = material_figures._forest_scale([wide], found.main)
    assert right < 1000
    assert material_figures._within(wide.row, left, right).high == math.inf
    assert material_figures._within(row.row, left, right) == row.row
