"""The figures of doubt: what is drawn is what the results say."""

import warnings

import matplotlib.pyplot as plt
import numpy as np
import pytest
from doubt_samples import comparison, doubted
from wear_trials import LABELS, fleet, frame, segment

from trialkit import columns as c
from trialkit.report import doubt_figures

nan = float("nan")
PLAIN = [
    ("carbide_insert", "as reported", "", 10.0, 5.0, 20.0, "yes", ""),
    ("carbide_insert", "without truck T1", "T1", 8.0, 4.0, 16.0, "yes", ""),
    ("carbide_insert", "without truck T2", "T2", 12.0, 6.0, 30.0, "yes", ""),
    ("carbide_insert", "without truck T3", "T3", 9.0, 0.8, 18.0, "no", ""),
    ("carbide_insert", "per odometer mile", "", 9.0, 5.0, nan, "yes", ""),
    ("carbide_insert", "geometric means", "", nan, nan, nan, "cannot tell", "not measurable"),
]


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def words(ax):
    return [text.get_text() for text in ax.texts]


def lines(ax):
    return [
        line for line in ax.lines if len(line.get_xdata()) == 2 and line.get_ydata()[0] == line.get_ydata()[1]
    ]


# ---------------------------------------------------------------- the board
def test_of_the_trucks_the_three_that_matter_are_drawn():
    rows = doubt_figures.board_rows(comparison(PLAIN).comparisons()[0])
    assert list(zip(rows[c.VARIANT], rows[c.TRUCK_ID], strict=True)) == [
        ("as reported", ""),
        (doubt_figures.LOWEST_TRUCK, "T1"),
        (doubt_figures.HIGHEST_TRUCK, "T2"),
        (doubt_figures.NEAREST_TRUCK, "T3"),
        ("per odometer mile", ""),
        ("geometric means", ""),
    ]


@pytest.mark.parametrize(
    ("reported", "t1", "t2", "nearest"),
    [
        ((0.1, 0.05, 0.2), (0.1, 0.02, 0.9), (0.2, 0.1, 0.3), []),  # the lowest is the nearest
        ((0.1, 0.05, 0.2), (0.2, 0.1, 0.3), (0.1, 0.02, 0.15), []),
        ((1.0, 0.5, 2.0), (0.9, 0.5, 2.0), (1.1, 0.5, 2.0), []),
    ],
)
def test_the_nearest_truck_is_drawn_once(reported, t1, t2, nearest):
    rows = [
        ("carbide_insert", "as reported", "", *reported, "yes", ""),
        ("carbide_insert", "without truck T1", "T1", *t1, "yes", ""),
        ("carbide_insert", "without truck T2", "T2", *t2, "yes", ""),
    ]
    found = doubt_figures.board_rows(comparison(rows).comparisons()[0])
    assert found.loc[found[c.VARIANT] == doubt_figures.NEAREST_TRUCK, c.TRUCK_ID].tolist() == nearest
    assert len(found) == 3


def test_board_shows_intervals_arrows_and_what_does_not_stand():
    (ax,) = doubt_figures.board(comparison(PLAIN))
    assert ax.get_xscale() == "log"
    names = [label.get_text().replace("\n", " ") for label in ax.get_yticklabels()]
    assert names[0] == "As reported"
    assert names[3] == "Without one truck, nearest to 1"
    drawn = [tuple(float(x) for x in line.get_xdata()) for line in lines(ax)]
    assert (5.0, 20.0) in drawn
    assert (5.0, ax.get_xlim()[1]) in drawn  # without an upper end
    assert words(ax) == ["T1", "T2", "T3: does not stand", "cannot be told"]
    open_marks = [line for line in ax.lines if line.get_markerfacecolor() == "#ffffff"]
    assert [float(line.get_xdata()[0]) for line in open_marks] == [9.0]
    said = ax.get_figure().get_supxlabel().replace("\n", " ")
    assert "An arrow has no end on that side. Open mark: the finding does not stand." in said
    assert said.startswith("How many times slower than plain steel it wears")


def test_board_without_arrows_or_falls_does_not_explain_them():
    (ax,) = doubt_figures.board(comparison(PLAIN[:3]))
    said = ax.get_figure().get_supxlabel()
    assert "arrow" not in said
    assert "Open mark" not in said


def test_a_truck_that_leaves_no_interval_is_named():
    rows = [
        *PLAIN[:1],
        ("carbide_insert", "without truck T1", "T1", 8.0, nan, nan, "cannot tell", "one truck"),
    ]
    (ax,) = doubt_figures.board(comparison(rows))
    assert words(ax) == ["T1: no interval", "T1: no interval"]


def test_each_comparison_has_a_panel_and_names_go_together():
    other = [("rubber_carbide", name, *rest) for _, name, *rest in [PLAIN[0], PLAIN[4]]]
    other.insert(
        1, ("rubber_carbide", "without the reading that stands apart", "", 20.0, 10.0, 40.0, "yes", "")
    )
    axes = doubt_figures.board(comparison([*PLAIN, *other]))
    assert [ax.get_title(loc="left") for ax in axes] == ["Carbide insert", "Rubber carbide"]
    names = [label.get_text().replace("\n", " ") for label in axes[0].get_yticklabels()]
    assert names.index("Without the reading that stands apart") == 1
    assert len(names) == 7


def test_at_most_four_comparisons_are_drawn():
    kinds = [f"type_{k}" for k in range(6)]
    rows = [(kind, "as reported", "", 10.0, 5.0, 20.0, "yes", "") for kind in kinds]
    assert len(doubt_figures.board(comparison(rows))) == 4


def test_an_empty_board_can_be_drawn():
    (ax,) = doubt_figures.board(doubted(fleet(n_types=1)).board)
    assert words(ax) == ["No edge type can be compared with the reference"]


def test_an_interval_that_begins_at_zero_ends_in_an_arrow():
    rows = [("carbide_insert", "as reported", "", 2.0, 0.0, 8.0, "yes", "")]
    (ax,) = doubt_figures.board(comparison(rows))
    left = ax.get_xlim()[0]
    assert [float(line.get_xdata()[0]) for line in ax.lines if line.get_marker() == "<"] == [left]


# ---------------------------------------------------------------- wear since install
def test_wear_counts_from_the_first_reading_of_each_segment():
    x = np.array([100.0, 200.0, 300.0])
    rows = [
        *segment("plain_steel", "T1", "S1", 1, x, [6.0, 5.8, 5.6]),
        *segment("plain_steel", "T1", "S1", 2, x, [5.5, 5.2, 4.9]),
        *segment("plain_steel", "T1", "S1", 2, x[1:], [6.0, 5.6], part=2),
        *segment("plain_steel", "T1", "S1", 3, x[:1], [6.0]),
    ]
    wear = doubt_figures.wear_since_install(frame(rows))
    # by hand: stations 1 and 2 together, then the piece that was begun at 200 miles; a single reading shows no wear
    assert wear[[c.START, c.MILES_MI]].to_numpy().tolist() == [
        [100, 0],
        [100, 100],
        [200, 0],
        [100, 200],
        [200, 100],
    ]
    assert wear[doubt_figures.WEAR_IN].tolist() == pytest.approx([0, 0.25, 0, 0.5, 0.4])


def test_each_type_has_a_panel_with_its_mean_line():
    doubt = doubted(fleet(trucks=3))
    axes = doubt_figures.truck_wear(doubt.rates, doubt.readings)
    assert [ax.get_title(loc="left") for ax in axes] == ["Plain steel: 3 trucks", "Carbide insert: 3 trucks"]
    for ax, rate in zip(axes, doubt.rates.table[c.ESTIMATE], strict=True):
        dashed = [line for line in ax.lines if line.get_linestyle() == "--"]
        assert [float(y) for y in dashed[0].get_ydata()] == pytest.approx([0.0, rate * 0.6])
        assert [text.replace("\n", " ") for text in words(ax)] != []


def test_several_positions_have_a_mean_line_each():
    doubt = doubted([*fleet(), *fleet(place="wing_left", seed=2)])
    ax = doubt_figures.truck_wear(doubt.rates, doubt.readings)[0]
    assert len([line for line in ax.lines if line.get_linestyle() == "--"]) == 2


def test_no_readings_can_be_drawn():
    doubt = doubted([])
    (ax,) = doubt_figures.truck_wear(doubt.rates, doubt.readings)
    assert words(ax) == ["No readings with miles and height"]


# ---------------------------------------------------------------- residuals
def test_readings_that_stand_apart_are_ringed_and_named():
    rows = [list(row) for row in fleet(readings=8, seed=3)]
    rows[60][9] += 0.3
    doubt = doubted([tuple(row) for row in rows])
    axes = doubt_figures.residuals(doubt.apart)
    assert [text for ax in axes for text in words(ax)] == ["row 62"]
    assert axes[0].get_title(loc="left") == "Plain steel: 4 trucks, 96 readings"
    limits = {round(float(line.get_ydata()[0]), 6) for line in axes[0].lines if line.get_linestyle() == "--"}
    expected = float(doubt.apart.readings[c.LIMIT].iloc[0])
    assert limits == {round(expected, 6), round(-expected, 6)}


def test_two_readings_leave_nothing_to_draw():
    (ax,) = doubt_figures.residuals(doubted(fleet(readings=2)).apart)
    assert words(ax) == ["No segment has enough readings at different miles"]


@pytest.mark.parametrize("n_types", [4, 5])
def test_many_types_share_two_columns(n_types):
    doubt = doubted(fleet(n_types=n_types, trucks=2))
    assert len(doubt_figures.residuals(doubt.apart)) == n_types
    assert len(doubt_figures.truck_wear(doubt.rates, doubt.readings, labels=LABELS)) == n_types
