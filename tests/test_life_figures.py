"""The figures of lives: what is drawn is what the results say."""

from __future__ import annotations

import math
import warnings

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from report_samples import AWKWARD

from trialkit import columns as c
from trialkit.report import cells, life_captions, life_figures, theme

nan = math.nan
LABELS = {"plain": "plain steel", "insert": "carbide insert"}
LIFE_COLUMNS = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH, c.N_TRUCKS,
]  # fmt: skip
SET_COLUMNS = [c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.SET_ID, c.MILES_MI, "cause"]


class Result:
    """What a figure reads of a result."""

    def __init__(self, **parts):
        self.__dict__.update(parts)

    def sentence(self):
        return "Of 2 sets that can be judged, 1 lasted as long as projected from the other trucks, 1 less and 0 more."


def projection(*rows, labels=LABELS):
    rows = rows or (
        ("plain", "front", 600.0, 400.0, 900.0, 300.0, 2000.0, 4),
        ("insert", "front", 1300.0, 900.0, nan, 700.0, nan, 3),
    )
    return Result(table=pd.DataFrame(rows, columns=LIFE_COLUMNS), labels=labels, confidence_level=0.95)


def observed(*rows):
    rows = rows or (
        ("plain", "front", "T1", "P1", 550.0, "worn_out"),
        ("plain", "front", "T1", "P2", 700.0, "worn_out"),
        ("plain", "front", "T2", "P3", 90.0, "broken_or_lost"),
        ("insert", "front", "T3", "C1", 1200.0, "not_ended"),
    )
    return Result(lives=pd.DataFrame(rows, columns=SET_COLUMNS))


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def spans(ax):
    lines = [line for line in ax.lines if line.get_linewidth() == 2.4]
    return [tuple(float(value) for value in line.get_xdata()) for line in lines]


def bars(ax):
    return [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in ax.patches]


def small(ax, marker, face):
    """Miles of the small marks of a kind."""
    lines = [
        line for line in ax.lines
        if line.get_markersize() == 4.4 and line.get_marker() == marker and (line.get_markerfacecolor() == "white") == (face == "open")
    ]  # fmt: skip
    return sorted(float(x) for line in lines for x in line.get_xdata())


def words(ax):
    return [text.get_text() for text in ax.texts]


# ---------------------------------------------------------------- lives
def test_interval_range_and_sets_are_drawn():
    ax = life_figures.lives(projection(), observed())
    right = ax.get_xlim()[1]
    assert spans(ax) == [(400, 900), (900, right)]
    assert bars(ax) == [pytest.approx((300, 2000)), pytest.approx((700, right))]
    assert small(ax, "o", "filled") == [550, 700]
    assert small(ax, "o", "open") == [90]
    assert small(ax, ">", "open") == [1200]
    assert words(ax) == ["600 (400 to 900) mi", "at least 900 mi"]
    assert "95% interval of the mean life" in ax.get_xlabel()
    assert "filled: worn out; open: broken or lost; arrow: neither yet" in ax.get_xlabel()


def test_rows_are_named_with_trucks_and_positions():
    names = [label.get_text() for label in life_figures.lives(projection(), observed()).get_yticklabels()]
    assert names == ["Plain steel\n4 trucks", "Carbide insert\n3 trucks"]
    two = projection(
        ("plain", "front", 600.0, 400.0, 900.0, 300.0, 2000.0, 4),
        ("plain", "wing_left", 900.0, nan, nan, nan, nan, 1),
    )
    ax = life_figures.lives(two, observed())
    assert ax.get_yticklabels()[1].get_text() == "Plain steel\nleft wing, 1 truck"
    assert words(ax)[1] == "900 mi (no interval)"


@pytest.mark.parametrize(("longest", "scale"), [(5900.0, "linear"), (6000.0, "log")])
def test_axis_is_logarithmic_from_ten_times_on(longest, scale):
    shown = projection(
        ("plain", "front", 600.0, 400.0, 900.0, 300.0, 2000.0, 4),
        ("insert", "front", longest, 5000.0, 9000.0, 4000.0, 20000.0, 3),
    )
    ax = life_figures.lives(shown, observed())
    assert ax.get_xscale() == scale
    assert ("logarithmic" in ax.get_xlabel()) == (scale == "log")


def test_an_end_far_off_is_an_arrow_and_does_not_stretch_the_axis():
    shown = projection(("plain", "front", 600.0, 400.0, 90000.0, 300.0, 1e9, 4))
    ax = life_figures.lives(shown, observed())
    assert ax.get_xlim()[1] < 8000
    assert spans(ax) == [(400, ax.get_xlim()[1])]
    arrows = [line for line in ax.lines if line.get_marker() == ">" and line.get_markersize() in (6, 7)]
    assert len(arrows) == 2


def test_marks_of_equal_lives_stand_apart():
    rows = [("plain", "front", "T1", f"P{k}", 550.0, "worn_out") for k in range(5)]
    ax = life_figures.lives(projection(), observed(*rows))
    places = [float(y) for line in ax.lines if line.get_markersize() == 4.4 for y in line.get_ydata()]
    assert len(set(places)) == 5
    assert max(places) < 0.6


def test_a_set_without_miles_has_no_mark_and_is_named():
    rows = [
        ("plain", "front", "T1", "P1", 0.0, "not_ended"),
        ("plain", "front", "T1", "P2", 500.0, "worn_out"),
    ]
    log = projection(
        ("plain", "front", 600.0, 400.0, 900.0, 300.0, 2000.0, 4),
        ("insert", "front", 9000.0, 8000.0, 9900.0, nan, nan, 3),
    )
    ax = life_figures.lives(log, observed(*rows))
    assert small(ax, ">", "open") == []
    assert small(ax, "o", "filled") == [500.0]
    words_of = life_captions.lives(log, observed(*rows))
    assert words_of["caption"].endswith("the sets of the trial. P1 has run no miles yet and has no mark.")
    assert "neither worn out nor broken" not in words_of["alt"]
    many = [("plain", "front", "T1", f"P{k}", 0.0, "not_ended") for k in range(7)]
    caption = life_captions.lives(log, observed(*many))["caption"]
    assert caption.endswith("P0, P1, P2, P3, P4 and 2 more have run no miles yet and have no mark.")


def test_a_far_lower_end_alone_makes_the_axis_logarithmic():
    far = projection(
        ("plain", "front", 570.0, 400.0, 1000.0, 300.0, 4900.0, 4),
        ("insert", "front", nan, 179_000.0, nan, 80_000.0, nan, 4),
    )
    assert life_figures.lives(far, observed()).get_xscale() == "log"


def test_a_life_without_an_interval_has_three_digits_as_in_sentences_and_tables():
    assert life_figures.life_words(1962.4, nan, nan) == "1,960 mi (no interval)"


def test_a_type_on_a_truck_that_was_never_read_has_a_row():
    rows = [
        ("plain", "front", "T1", "P1", 500.0, "worn_out"),
        ("other", "front", "T9", "X1", 800.0, "broken_or_lost"),
    ]
    ax = life_figures.lives(projection(), observed(*rows))
    assert [label.get_text() for label in ax.get_yticklabels()][2] == "other\n1 truck"
    assert words(ax)[2] == "no projected life"
    caption = life_captions.lives(projection(), observed(*rows))
    assert "Other: no projected life; 1 set broken or lost after 800 miles." in caption["alt"]


def test_nothing_known_can_be_drawn():
    ax = life_figures.lives(
        projection(("plain", "front", nan, nan, nan, nan, nan, 0)),
        observed(*[("plain", "front", "T1", "P1", 0.0, "not_ended")]),
    )
    assert words(ax) == ["no projected life"]
    assert spans(ax) == [] and bars(ax) == []


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((574.1, 403.2, 996.7), "570 (400 to 1,000) mi"),
        ((nan, 3177.5, nan), "at least 3,180 mi"),
        ((1428.6, 1419.3, 1438.0), "1,429 (1,419 to 1,438) mi"),
        ((962.0, nan, nan), "962 mi (no interval)"),
        ((nan, nan, nan), "no projected life"),
    ],
)
def test_life_in_words(ends, said):
    assert life_figures.life_words(*ends) == said


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_names_draw_without_a_warning(name):
    shown = projection((name, "front", 600.0, 400.0, 900.0, 300.0, 2000.0, 4), labels={})
    ax = life_figures.lives(shown, observed((name, "front", name, name, 500.0, "worn_out")))
    theme.svg_text(ax.get_figure())


# ---------------------------------------------------------------- ratios
def test_ratios_name_longer_and_shorter():
    table = pd.DataFrame(
        [("insert", "plain", "front", 0.9, 0.5, 1.6, "yes", 3)],
        columns=[
            c.EDGE_TYPE,
            c.REFERENCE,
            c.PLOW_POSITION,
            c.ESTIMATE,
            c.CONF_LOW,
            c.CONF_HIGH,
            c.BOUNDED,
            c.N_TRUCKS,
        ],
    )
    result = Result(table=table, labels=LABELS, confidence_level=0.95)
    ax = life_figures.life_ratios(result)
    assert words(ax)[-2:] == ["longer →", "← shorter"]
    assert "How many times as long as plain steel it lasts, logarithmic scale" in ax.get_xlabel()
    said = life_captions.life_ratios(result)
    assert (
        said["caption"]
        == "How many times as long as plain steel each edge type lasts, with its 95% interval; 1 is the same."
    )
    assert "Carbide insert: 0.90 (0.50 to 1.6) times." in said["alt"]
    assert said["headings"] == {c.ESTIMATE: "Times as long"}


# ---------------------------------------------------------------- predicted against observed
CHECK_COLUMNS = [*SET_COLUMNS, c.PRED_LOW, c.PRED_HIGH, c.VERDICT]


def check(*rows):
    rows = rows or (
        ("plain", "front", "T1", "P1", 550.0, "worn_out", 400.0, 900.0, "as projected"),
        ("plain", "front", "T2", "P2", 200.0, "worn_out", 400.0, nan, "shorter"),
        ("insert", "front", "T3", "C1", 1200.0, "not_ended", 800.0, 3000.0, "cannot be told yet"),
    )
    return Result(table=pd.DataFrame(rows, columns=CHECK_COLUMNS))


def test_trucks_are_grouped_by_type_with_their_range_and_sets():
    ax = life_figures.predicted(check(), labels=LABELS)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["T1", "T2", "T3"]
    assert words(ax) == ["Plain steel", "Carbide insert"]
    assert bars(ax) == [
        pytest.approx((400, 900)),
        pytest.approx((400, ax.get_xlim()[1])),
        pytest.approx((800, 3000)),
    ]
    assert small(ax, "o", "filled") == [200, 550]
    assert small(ax, ">", "open") == [1200]


def test_positions_are_named_in_the_groups():
    rows = [
        ("plain", place, "T1", f"P-{place}", 550.0, "worn_out", 400.0, 900.0, "as projected")
        for place in ("front", "wing_left")
    ]
    assert words(life_figures.predicted(check(*rows), labels=LABELS)) == [
        "Plain steel, front",
        "Plain steel, left wing",
    ]


def test_many_trucks_show_those_that_can_be_judged():
    rows = [
        ("plain", "front", f"T{k:02}", f"P{k}", 550.0, "not_ended", 400.0, 900.0, "cannot be told yet")
        for k in range(40)
    ]
    rows.append(("plain", "front", "Z9", "P99", 100.0, "worn_out", 400.0, 900.0, "shorter"))
    ax = life_figures.predicted(check(*rows))
    shown = [label.get_text() for label in ax.get_yticklabels()]
    assert len(shown) == life_figures.MOST_TRUCKS and "Z9" in shown
    said = life_captions.predicted(check(*rows), labels=LABELS)
    assert "Of 41 trucks 30 are shown, those with sets that can be judged first." in said["caption"]
    assert len(said["data"]) == 41


def test_nothing_to_set_against_a_projection_can_be_drawn():
    ax = life_figures.predicted(Result(table=check().table.iloc[:0]))
    assert words(ax) == ["No set can be set against a projection yet"]


# ---------------------------------------------------------------- captions
def test_captions_of_lives_tell_every_row():
    said = life_captions.lives(projection(), observed())
    assert said["alt"].endswith(
        "Plain steel: 600 (400 to 900) mi; next set 300 to 2,000 mi; 2 sets worn out after 550 to 700 miles; 1 set broken or lost "
        "after 90 miles. Carbide insert: at least 900 mi; next set at least 700 mi; 1 set neither worn out nor broken after 1,200 "
        "miles."
    )
    data = said["data"]
    assert data["shown"].tolist() == [
        "mean life", "P3, broken or lost", "P1, worn out", "P2, worn out", "mean life", "C1, neither worn out nor broken",
    ]  # fmt: skip
    assert data[c.MILES_MI].tolist()[1:4] == [90, 550, 700]
    assert (data[c.PRED_LOW].iloc[0], data[c.PRED_HIGH].iloc[0]) == (300, 2000)


def test_the_numbers_of_the_figure_are_printed_as_in_the_table_of_lives():
    row = ("plain", "front", 571.2, 402.3, 1003.9, 313.4, 4671.0, 4)
    said = life_captions.lives(projection(row), observed())
    figure = cells.lay_out(said["data"], headings=said["headings"], confidence_level=0.95)
    table = cells.lay_out(projection(row).table.assign(unit="mi"), confidence_level=0.95)
    shown = [
        dict(zip([column.heading for column in columns], texts[0], strict=True))
        for columns, _, texts, _ in (figure, table)
    ]
    for heading in ("95% interval", "Range for the next set"):
        assert shown[0][heading] == shown[1][heading]
    assert shown[0]["Mean life"] == shown[1]["Estimate"] == "570"
    assert shown[0]["Range for the next set"] == "310 to 4,700"
    assert life_figures.life_words(571.2, 402.3, 1003.9) == "570 (400 to 1,000) mi"
    assert "next set 310 to 4,700 mi" in said["alt"]


def test_many_sets_are_counted():
    rows = [("plain", "front", "T1", f"P{k}", 500.0 + k, "worn_out") for k in range(70)]
    data = life_captions.lives(projection(), observed(*rows))["data"]
    assert data["shown"].tolist()[1] == "70 sets worn out after 500 to 569 miles"
    assert len(data) == 3


def test_captions_of_the_check_name_the_trucks_that_miss():
    said = life_captions.predicted(check(), labels=LABELS)
    assert "Truck T2 (plain steel): 1 set shorter than projected." in said["alt"]
    assert said["alt"].startswith("Chart with a row for each of 3 trucks")
    assert said["data"]["cause"].tolist() == ["worn out", "worn out", "neither worn out nor broken"]


def test_levels_fill_from_the_first_on():
    found = life_figures._levels(np.array([100.0, 101.0, 400.0, 102.0]), 0.0, 1000.0, False)
    # by hand: 1 mile is 0.001 of the axis, nearer than a mark is wide
    assert found.tolist() == [0, 1, 0, 2]
    assert life_figures._levels(np.zeros(0), 1.0, 10.0, True).tolist() == []
