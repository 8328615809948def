"""The shared parts of figures of estimates."""

import math

import matplotlib.pyplot as plt
import pandas as pd
import pytest
from report_samples import LABELS, rates

from trialkit import columns as c
from trialkit.report import figure_rows, theme


@pytest.fixture(autouse=True)
def closed_afterwards():
    yield
    plt.close("all")


def test_rows_carry_names_numbers_and_styles():
    rows = list(figure_rows.estimate_rows(rates().table, LABELS))
    assert [row.name for row in rows] == ["Plain steel", "Carbide insert", "Segmented carbide"]
    assert [row.trucks for row in rows] == ["3 trucks", "2 trucks", "1 truck"]
    assert (rows[0].estimate, rows[0].low, rows[0].high) == (1.5, 1.2, 1.8)
    assert math.isnan(rows[2].low)
    assert rows[0].style.color == theme.COLORS[0]


def test_first_types_come_first_in_the_styles():
    rows = list(figure_rows.estimate_rows(rates().table, LABELS, first=["segmented"]))
    assert rows[2].style.color == theme.COLORS[0]


def test_positions_are_named_only_where_there_are_several():
    shown = rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("plain", "wing_left", 1.1, 0.9, 1.3, 2)])
    assert [row.position_words for row in figure_rows.estimate_rows(shown.table, LABELS)] == [
        "front",
        "left wing",
    ]
    assert [row.position_words for row in figure_rows.estimate_rows(rates().table, LABELS)] == [""] * 3


def test_types_come_in_the_order_of_their_categories():
    column = pd.Categorical(["b", "a"], categories=["b", "c", "a"])
    assert figure_rows.types_of(pd.DataFrame({c.EDGE_TYPE: column})) == ["b", "a"]
    assert figure_rows.types_of(pd.DataFrame({c.EDGE_TYPE: ["z", "a", "z", None]})) == ["z", "a"]


@pytest.mark.parametrize("blank", [None, float("nan"), pd.NA])
def test_a_blank_is_not_a_number(blank):
    assert math.isnan(figure_rows.number_of(blank))


def test_a_column_is_said_once():
    assert figure_rows.one_of(pd.DataFrame({c.UNIT: ["in", "mi", "in"]}), c.UNIT) == "in and mi"


def test_the_rows_of_one_type_and_position():
    shown = rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("plain", "wing_left", 1.1, 0.9, 1.3, 2)])
    row = list(figure_rows.estimate_rows(shown.table, LABELS))[1]
    assert figure_rows.of_row(shown.table, row)[c.ESTIMATE].tolist() == [1.1]


@pytest.mark.parametrize(
    ("estimates", "scale"),
    [([1.0, 10.0], "log"), ([1.0, 9.9], "linear"), ([1.0], "linear"), ([0.0, 10.0], "linear")],
)
def test_the_axis_holds_every_finite_value(estimates, scale):
    ax = figure_rows.new_axes(2)
    left, right = figure_rows.set_scale(ax, [*estimates, 20.0, math.nan, math.inf], estimates)
    assert ax.get_xscale() == scale
    assert left <= min(estimates) and right > 20
    assert (left, right) == ax.get_xlim()


def test_sides_of_one_are_named_where_they_have_room():
    ax = figure_rows.new_axes(1)
    figure_rows.name_sides(ax, 0.2, 5.0, ("longer", "shorter"))
    assert [text.get_text() for text in ax.texts] == ["longer →", "← shorter"]
    other = figure_rows.new_axes(1)
    figure_rows.name_sides(other, 0.98, 5.0, ("longer", "shorter"))
    assert [text.get_text() for text in other.texts] == ["longer →"]


def test_a_label_lies_on_paper_of_its_own_above_the_lines_of_the_figure():
    with theme.print_style():
        ax = figure_rows.new_axes(1)
        ax.set_xlim(-10, 10)
        line = ax.axvline(0.0, color="black", lw=1.0)
        row = next(iter(figure_rows.estimate_rows(rates().table, LABELS)))
        figure_rows.direct_label(ax, row, 0.0, -10, 10, "3% fewer (7% fewer to 1% more)")
        ax.get_figure().canvas.draw()
        (label,) = ax.texts
        box = label.get_bbox_patch()
        assert box.get_facecolor()[:3] == (1.0, 1.0, 1.0) and box.get_alpha() in (None, 1.0)
        across = ax.transData.transform((0.0, 0.0))[0]
        assert box.get_window_extent().x0 < across < box.get_window_extent().x1
        assert label.get_zorder() > line.get_zorder()
