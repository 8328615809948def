"""The figures of noise and vibration: what is drawn is what the result says."""

import warnings
from dataclasses import replace
from itertools import pairwise

import matplotlib.pyplot as plt
import pytest
from cab_trial import BASIC_SOUND, BASIC_VIBRATION, DOWN, IDLE, cab_trial, half_down, sound, vibration

from trialkit.cab.criteria import NOISE_CRITERIA, NoiseCriterion
from trialkit.report import noise_figures, noise_study, theme


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def exposure(folder, rows=BASIC_SOUND, noise="", whole=True):
    shifts = {"shifts": half_down()} if whole else {}
    return noise_study.noise_in_cab(cab_trial(folder, noise, sound=sound(rows), **shifts)).exposure


def vibrating(folder, rows=tuple(BASIC_VIBRATION)):
    return noise_study.vibration_at_seat(cab_trial(folder, vibration=vibration(rows))).exposure


def words(ax):
    return [text.get_text() for text in ax.texts]


def rows_named(ax):
    return [label.get_text() for label in ax.get_yticklabels()]


def small_marks(ax):
    return [line.get_xdata().tolist() for line in ax.lines if line.get_markersize() < 4]


# ---------------------------------------------------------------- levels
def test_levels_show_types_trucks_and_a_ruler_for_each_criterion(tmp_path):
    result = exposure(tmp_path)
    ax = noise_figures.levels(result)
    assert rows_named(ax)[:2] == ["Plain steel\n2 trucks", "Carbide insert\n2 trucks"]
    assert len(rows_named(ax)) == 2 + len(NOISE_CRITERIA)
    assert small_marks(ax) == [[86.0, 84.0], [82.0, 81.0]]
    assert "81.5 (75.2 to 87.9)" in words(ax)
    assert ax.get_xlabel().startswith("Average level in the cab with the blade down [dBA]")
    assert "Rulers" in ax.get_xlabel()


def test_ruler_ticks_lie_at_the_hours_until_the_criterion_is_reached(tmp_path):
    close = [("T1", DOWN, 88.0), ("T3", DOWN, 88.1), ("T2", DOWN, 82.0), ("T4", DOWN, 82.1)]
    result = replace(exposure(tmp_path, close), criteria=(NOISE_CRITERIA["niosh_rel"],))
    ax = noise_figures.levels(result)
    ticks = {text.get_text(): text.xy[0] for text in ax.texts if text.get_text().endswith(" h")}
    # published: NIOSH 98-126 Table 1-1: 8 h at 85 dBA, 4 h at 88 dBA, 16 h at 82 dBA
    assert ticks["8 h"] == pytest.approx(85)
    assert ticks["4 h"] == pytest.approx(88)
    assert ticks["16 h"] == pytest.approx(82)
    bold = [
        text.get_text() for text in ax.texts if text.get_text().endswith(" h") and text.get_weight() == "bold"
    ]
    assert bold == ["12 h"]


def test_levels_that_a_criterion_does_not_count_are_dotted(tmp_path):
    result = replace(exposure(tmp_path), criteria=(NOISE_CRITERIA["osha_pel"],))
    ax = noise_figures.levels(result)
    assert "not counted below 90 dBA" in words(ax)
    hours = [text for text in words(ax) if text.endswith(" h")]
    assert "12 h" not in hours and "8 h" in hours
    solid = [
        line
        for line in ax.lines
        if line.get_linestyle() == "-" and line.get_linewidth() == 0.9 and len(line.get_xdata()) == 2
    ]
    assert min(line.get_xdata()[0] for line in solid) == pytest.approx(90)


def test_hours_on_a_ruler_do_not_run_into_each_other(tmp_path):
    result = exposure(tmp_path, noise="shift_length_h = 11.5")
    ax = noise_figures.levels(result)
    width = ax.get_xlim()[1] - ax.get_xlim()[0]
    places = {}
    for text in ax.texts:
        if text.get_text().endswith(" h"):
            places.setdefault(round(text.xy[1], 3), []).append(text.xy[0])
    for ends in places.values():
        assert all(b - a >= 0.055 * width - 1e-9 for a, b in pairwise(sorted(ends)))
    assert "11.5 h" in words(ax)


def test_five_decibel_averages_have_rows_of_their_own(tmp_path):
    rows = [*BASIC_SOUND, ("T1", DOWN, 83, 5, "off"), ("T3", DOWN, 82, 5, "off")]
    names = rows_named(noise_figures.levels(exposure(tmp_path, rows)))
    assert "Plain steel\n5 dB average, 2 trucks" in names
    only = exposure(tmp_path / "only", [("T1", DOWN, 83, 5, "off"), ("T3", DOWN, 82, 5, "off")])
    assert rows_named(noise_figures.levels(only))[0] == "Plain steel\n2 trucks"


def test_levels_without_blade_down_and_without_criteria(tmp_path):
    result = replace(exposure(tmp_path, [("T1", IDLE, 70), ("T2", IDLE, 70)]), criteria=())
    ax = noise_figures.levels(result)
    assert ax.get_xlabel().startswith("Average level in the cab idling")
    assert "Rulers" not in ax.get_xlabel()
    assert len(rows_named(ax)) == 2
    assert ax.get_xlim()[1] - ax.get_xlim()[0] == pytest.approx(noise_figures.NARROWEST_SCALE_DB)
    assert words(ax) == ["70.0 (no interval)", "70.0 (no interval)"]


def test_draws_into_the_axes_it_is_given_and_leaves_settings_alone(tmp_path):
    before = dict(plt.rcParams)
    result, shaking = exposure(tmp_path / "a"), vibrating(tmp_path / "b")
    _, axes = plt.subplots(3, 2)
    assert noise_figures.levels(result, axes[0, 0]) is axes[0, 0]
    assert noise_figures.daily_vibration(shaking, axes[0, 1]) is axes[0, 1]
    assert noise_figures.doses(result, axes)[0] is axes[0, 0]
    assert dict(plt.rcParams) == before


def test_criterion_of_an_awkward_name_can_be_drawn(tmp_path):
    odd = NoiseCriterion("odd", "$x$ _a_ " + "n" * 80, 85.0, 3.0, None, "none")
    ax = noise_figures.levels(replace(exposure(tmp_path), criteria=(odd,)))
    theme.svg_text(ax.get_figure())


# ---------------------------------------------------------------- doses
def test_doses_have_a_panel_for_each_criterion_and_a_line_where_it_is_reached(tmp_path):
    result = exposure(tmp_path)
    axes = noise_figures.doses(result)
    titles = [ax.get_title(loc="left").replace("\n", " ") for ax in axes]
    assert titles[:2] == ["OSHA permissible limit reached at 100%", "OSHA action level reached at 50%"]
    lines = [line for line in axes[1].lines if line.get_linewidth() == 1.2]
    assert [line.get_ydata()[0] for line in lines] == [50]
    drawn = [
        line.get_ydata().tolist()
        for line in axes[1].lines
        if line.get_markersize() == 6 and line.get_linestyle() == "None"
    ]
    table = result.by_shift_length((8.0, 12.0, 16.0))
    mine = table[table["criterion"] == "osha_action"]
    for name, heights in zip(("plain_steel", "carbide_insert"), drawn, strict=True):
        assert heights == pytest.approx(mine.loc[mine["edge_type"] == name, "dose_pct"].tolist())
    assert [label.get_text() for label in axes[-1].get_xticklabels()] == ["8", "12", "16"]
    legend = axes[0].get_figure().legends[0]
    assert [text.get_text() for text in legend.get_texts()] == ["Plain steel", "Carbide insert"]


def test_shift_length_of_the_settings_is_among_those_shown(tmp_path):
    axes = noise_figures.doses(exposure(tmp_path, noise="shift_length_h = 10.5"))
    assert [label.get_text() for label in axes[-1].get_xticklabels()] == ["8", "10.5", "12", "16"]


@pytest.mark.parametrize(("n", "across"), [(1, 1), (2, 2), (3, 3), (4, 2), (5, 3)])
def test_panels_fill_the_width(tmp_path, n, across):
    result = replace(exposure(tmp_path), criteria=tuple(NOISE_CRITERIA.values())[:n])
    axes = noise_figures.doses(result)
    assert len(axes) == n
    assert len({round(ax.get_position().x0, 2) for ax in axes}) == across
    lowest = [ax for ax in axes if ax.xaxis.get_tick_params()["labelbottom"]]
    assert lowest == axes[-across:]


def test_no_dose_is_said(tmp_path):
    (ax,) = noise_figures.doses(exposure(tmp_path, [("T1", IDLE, 70), ("T2", IDLE, 71)]))
    assert words(ax) == ["No dose could be worked out"]


def test_one_edge_type_without_an_interval_can_be_drawn(tmp_path):
    axes = noise_figures.doses(exposure(tmp_path, [("T1", DOWN, 86)], whole=False))
    theme.svg_text(axes[0].get_figure())


# ---------------------------------------------------------------- vibration
def test_vibration_beside_its_criteria(tmp_path):
    ax = noise_figures.daily_vibration(vibrating(tmp_path))
    assert rows_named(ax) == ["Plain steel\naxis z, 2 trucks", "Carbide insert\naxis z, 2 trucks"]
    # by hand, 12 h: z of T1 and T3 0.6 and 0.66 times sqrt(1.5)
    assert small_marks(ax)[0] == pytest.approx([0.7348, 0.8083], abs=5e-5)
    upright = [line.get_xdata()[0] for line in ax.lines if line.get_linewidth() == 1.2]
    assert upright == [0.5, 1.15]
    assert "EU action value, 0.5" in words(ax) and "EU limit value, 1.15" in words(ax)
    assert ax.get_xlim()[0] == 0
    assert "over 12 hours a day" in ax.get_xlabel()


def test_vibration_of_one_truck_and_of_none(tmp_path):
    shaking = vibrating(tmp_path, [("T1", "z", 0.0), ("T2", "z", 0.5)])
    assert words(noise_figures.daily_vibration(shaking))[:2] == ["0.00 (no interval)", "0.61 (no interval)"]


def test_same_figure_gives_the_same_svg(tmp_path):
    result = exposure(tmp_path)
    drawn = [theme.svg_text(noise_figures.doses(result)[0].get_figure()) for _ in range(2)]
    assert drawn[0] == drawn[1]
