"""The figures: what is drawn is what the result says."""

import math
import warnings

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection
from report_samples import AWKWARD, LABELS, rates, ratios, readings

from trialkit.report import captions, cells, figures, theme


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def spans(ax):
    """Ends of every interval, from the top down."""
    lines = [
        line for line in ax.lines if len(line.get_xdata()) == 2 and line.get_ydata()[0] == line.get_ydata()[1]
    ]
    return [
        tuple(float(value) for value in line.get_xdata()) for line in lines if line.get_linestyle() == "-"
    ]


def words(ax):
    return [text.get_text() for text in ax.texts]


def rows_named(ax):
    return [label.get_text() for label in ax.get_yticklabels()]


def marks(ax, marker):
    return [float(x) for line in ax.lines if line.get_marker() == marker for x in line.get_xdata()]


# ---------------------------------------------------------------- wear rates
def test_rates_show_interval_trucks_and_words():
    ax = figures.wear_rates(rates())
    assert spans(ax) == [(1.2, 1.8), (0.08, 0.16)]
    assert words(ax) == ["1.50 (1.20 to 1.80)", "0.120 (0.080 to 0.160)", "0.200 (no interval)"]
    assert rows_named(ax) == [
        "Plain steel\n3 trucks",
        "Carbide insert\n2 trucks",
        "Segmented carbide\n1 truck",
    ]
    small = [line for line in ax.lines if line.get_markersize() < 4]
    assert [line.get_xdata().tolist() for line in small] == [[1.4, 1.5, 1.6], [0.11, 0.13], [0.2]]
    assert ax.get_xlabel().splitlines()[0] == "Mean wear rate [in/1000 mi], logarithmic scale"
    assert "95% interval of the mean over trucks" in ax.get_xlabel()


def test_the_stated_level_is_that_of_the_result():
    assert "90% interval" in figures.wear_rates(rates(confidence_level=0.9)).get_xlabel()


@pytest.mark.parametrize(
    ("second", "scale"), [(0.16, "linear"), (0.15, "log"), (0.0, "linear"), (-0.01, "linear")]
)
def test_axis_is_logarithmic_from_ten_times_on(second, scale):
    shown = rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("carbide", "front", second, -0.2, 0.3, 2)])
    ax = figures.wear_rates(shown)
    assert ax.get_xscale() == scale
    assert ("logarithmic" in ax.get_xlabel()) == (scale == "log")


def test_an_interval_below_zero_on_a_logarithmic_axis_is_an_arrow():
    ax = figures.wear_rates(
        rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("carbide", "front", 0.02, -0.01, 0.05, 2)])
    )
    left = ax.get_xlim()[0]
    assert spans(ax)[1] == (left, 0.05)
    assert marks(ax, "<") == [left]
    assert words(ax)[1] == "0.020 (at most 0.050)"
    data = captions.wear_rates(
        rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("carbide", "front", 0.02, -0.01, 0.05, 2)])
    )["data"]
    _, _, texts, _ = cells.lay_out(data[data[captions.SHOWN] == "mean of the trucks"])
    assert [row[-2] for row in texts] == ["1.20 to 1.80", "at most 0.050"]


def test_zero_wear_everywhere_can_be_drawn():
    shown = rates([("plain", "front", 0.0, 0.0, 0.0, 2)], [("plain", "front", "T1, front", 0.0)])
    assert words(figures.wear_rates(shown)) == ["0.00 (0.00 to 0.00)"]


def test_no_rate_at_all_can_be_drawn():
    nan = float("nan")
    ax = figures.wear_rates(rates([("plain", "front", nan, nan, nan, 0)]))
    assert words(ax) == ["no wear rate"]
    assert spans(ax) == []


def test_an_empty_result_can_be_drawn():
    empty = rates()
    empty.table, empty.trucks = empty.table.iloc[:0], empty.trucks.iloc[:0]
    assert rows_named(figures.wear_rates(empty)) == []


def test_positions_are_named_where_there_are_several():
    shown = rates([("plain", "front", 1.5, 1.2, 1.8, 3), ("plain", "wing_left", 1.1, 0.9, 1.3, 2)])
    assert rows_named(figures.wear_rates(shown)) == [
        "Plain steel\nfront, 3 trucks",
        "Plain steel\nleft wing, 2 trucks",
    ]


def test_trucks_stand_with_their_own_position():
    shown = rates(
        [("plain", "front", 1.5, 1.2, 1.8, 1), ("plain", "wing_left", 1.1, 0.9, 1.3, 1)],
        [("plain", "front", "T1, front", 1.5), ("plain", "wing_left", "T1, wing_left", 1.1)],
    )
    small = [line for line in figures.wear_rates(shown).lines if line.get_markersize() < 4]
    assert [line.get_xdata().tolist() for line in small] == [[1.5], [1.1]]


def test_the_reference_has_the_first_color_in_every_figure():
    def color_of_first_span(ax):
        return next(line.get_color() for line in ax.lines if line.get_linewidth() == 2.4)

    assert color_of_first_span(figures.wear_rates(rates())) == theme.COLORS[0]
    assert color_of_first_span(figures.wear_ratios(ratios())) == theme.COLORS[1]


def test_draws_into_the_axes_it_is_given_and_leaves_settings_alone():
    before = dict(plt.rcParams)
    _, ax = plt.subplots()
    assert figures.wear_rates(rates(), ax) is ax
    assert figures.wear_ratios(ratios(), ax=plt.subplots()[1]) is not ax
    assert dict(plt.rcParams) == before


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_names_stay_text_and_draw_without_a_warning(name):
    shown = rates([(name, "front", 1.5, 1.2, 1.8, 3)], [(name, "front", "T1, front", 1.5)], labels={})
    ax = figures.wear_rates(shown)
    drawn = rows_named(ax)[0].removesuffix("\n3 trucks").replace("\n", " ")
    assert drawn.replace(" ", "") == theme.drawable(name, 56).replace(" ", "")
    theme.svg_text(ax.get_figure())


# ---------------------------------------------------------------- wear ratios
def test_ratios_show_their_set_and_an_arrow_without_an_upper_end():
    ax = figures.wear_ratios(ratios())
    right = ax.get_xlim()[1]
    assert spans(ax) == [(8.0, 20.0), (3.2, right)]
    assert marks(ax, ">") == [right]
    assert words(ax) == ["12 (8.0 to 20) times", "at least 3.2 times", "slower →"]
    assert ax.get_xscale() == "log"
    assert "slower than Plain steel" in ax.get_xlabel()
    assert "no end on that side" in ax.get_xlabel()


def test_bounded_ratios_need_no_word_about_arrows():
    ax = figures.wear_ratios(ratios([("carbide", 0.8, 0.4, 1.7, "yes")]))
    assert "arrow" not in ax.get_xlabel()
    assert words(ax) == ["0.80 (0.40 to 1.7) times", "slower →", "← faster"]


def test_the_line_at_one_is_drawn():
    ax = figures.wear_ratios(ratios())
    assert [line.get_xdata() for line in ax.lines if line.get_color() == theme.QUIET_INK] == [[1.0, 1.0]]


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((12.5, 8.0, 20.0), "12 (8.0 to 20) times"),
        ((float("nan"), 3.24, float("nan")), "at least 3.2 times"),
        ((7.5, 3.24, float("inf")), "at least 3.2 times"),
        ((7.5, 0.0, float("nan")), "cannot be told from these readings"),
        ((7.5, float("nan"), float("nan")), "7.5 times (no interval)"),
        ((float("nan"), float("nan"), float("nan")), "cannot be told from these readings"),
    ],
)
def test_ratio_in_words(ends, said):
    assert figures.ratio_words(*ends) == said


# ---------------------------------------------------------------- heights
def test_heights_have_a_panel_for_each_type_with_readings():
    axes = figures.heights(rates(), readings())
    assert [ax.get_title(loc="left") for ax in axes] == ["Plain steel: 1 truck", "Carbide insert: 1 truck"]


def test_miles_start_at_the_first_reading_of_each_set():
    plain = figures.heights(rates(), readings())[0]
    points = plain.lines[0]
    assert sorted(set(points.get_xdata())) == [0.0, 200.0, 400.0]
    assert len(points.get_xdata()) == 12


def test_lines_are_the_fitted_segments():
    plain = figures.heights(rates(), readings())[0]
    (lines,) = [artist for artist in plain.collections if isinstance(artist, LineCollection)]
    drawn = sorted(tuple(np.round(piece.ravel(), 6)) for piece in lines.get_segments())
    # by hand: 6 - 1.5 * 0.4 = 5.4 and 6 - 1.6 * 0.4 = 5.36, less 0.01 for each station
    assert drawn == sorted(
        [(0, 5.99, 400, 5.39), (0, 5.98, 400, 5.38), (0, 5.99, 400, 5.35), (0, 5.98, 400, 5.34)]
    )


def test_readings_alone_are_drawn_without_lines():
    axes = figures.heights(None, readings(), labels=LABELS)
    assert not axes[0].collections
    assert "Lines" not in axes[0].get_figure().get_supxlabel()


def test_readings_without_miles_are_not_drawn():
    frame = readings()
    frame.loc[frame["set_id"] == "S3", "miles_mi"] = np.nan
    assert len(figures.heights(rates(), frame)) == 1


def test_no_readings_are_said():
    (ax,) = figures.heights(rates(), readings().iloc[:0])
    assert words(ax) == ["No readings with miles and height"]


def test_many_readings_become_a_picture():
    many = pd.concat([readings()] * 100, ignore_index=True)
    ax = figures.heights(None, many)[0]
    assert ax.lines[0].get_rasterized()
    assert len(theme.svg_text(ax.get_figure())) < 400_000


def test_names_of_trucks_are_kept_apart():
    places = figures.apart(np.array([1.0, 1.01, 1.02]), 0.5, 0.0, 2.0)
    assert np.diff(places) == pytest.approx([0.5, 0.5])
    assert places.mean() == pytest.approx(1.01)
    assert figures.apart(np.array([1.9, 1.95]), 0.5, 0.0, 2.0) == pytest.approx([1.5, 2.0])


def test_seven_types_share_two_columns():
    frames = []
    for number in range(7):
        frames.append(readings().query("set_id == 'S3'").assign(edge_type=f"type {number}"))
    axes = figures.heights(None, pd.concat(frames, ignore_index=True), labels={})
    assert len(axes) == 7
    assert len({round(ax.get_position().x0, 2) for ax in axes}) == 2


def test_same_figure_gives_the_same_svg():
    drawn = [theme.svg_text(figures.wear_rates(rates()).get_figure()) for _ in range(2)]
    assert drawn[0] == drawn[1]


def test_an_axis_on_which_nothing_is_known_has_no_numbers():
    nan = float("nan")
    unknown = rates([("plain", "front", nan, nan, nan, 0), ("carbide", "front", nan, nan, nan, 0)])
    unknown.trucks = unknown.trucks.iloc[:0]
    ax = figures.wear_rates(unknown)
    assert len(ax.get_xticks()) == 0
    assert words(ax) == ["no wear rate", "no wear rate"]


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((-0.00001, -0.0031, 0.0031), "at most 0.0031"),
        ((0.0004, -0.0023, 0.0031), "0.0004 (at most 0.0031)"),
        ((1.41, math.nan, math.nan), "1.41 (no interval)"),
        ((math.nan, math.nan, math.nan), "no wear rate"),
    ],
)
def test_a_rate_that_may_be_none_has_an_upper_end_alone(ends, said):
    assert figures.rate_words(*ends) == said


def test_the_slowest_may_be_known_by_its_upper_end_alone():
    shown = rates([("plain", "front", 4.8, 2.7, 6.8, 4), ("carbide", "front", -0.00001, -0.0031, 0.0031, 4)])
    assert captions.wear_rates(shown)["caption"].endswith(
        "Slowest: Carbide insert, at most 0.0031; fastest: Plain steel, 4.8 in/1000 mi."
    )
