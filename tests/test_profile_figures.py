"""The figures of uneven wear: what is drawn is what the results say."""

from __future__ import annotations

import math
import warnings

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from report_samples import AWKWARD
from test_life import straight

from trialkit import columns as c
from trialkit.edges.profile import profile_over_miles
from trialkit.edges.unevenness import measure_unevenness
from trialkit.edges.wear import fit_wear_rates
from trialkit.report import profile_captions, profile_figures, theme

LABELS = {"plain_steel": "plain steel", "carbide_insert": "carbide insert"}
FRAME = pd.concat(
    [
        straight([[[1.0, 1.2, 1.4]], [[1.1, 1.35, 1.6]]]),
        straight([[[0.10, 0.10, 0.10]], [[0.11, 0.11, 0.11]]], kind="carbide_insert", truck="C"),
    ],
    ignore_index=True,
)
DEPTH = {"plain_steel": 2.0, "carbide_insert": 0.5}


def profiles(frame=FRAME):
    return profile_over_miles(frame, DEPTH, labels=LABELS)


def uneven(frame=FRAME):
    return measure_unevenness(fit_wear_rates(frame, labels=LABELS), frame)


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def test_a_panel_for_each_type_with_the_limit_at_the_bottom():
    axes = profile_figures.profiles(profiles())
    assert [ax.get_title(loc="left") for ax in axes] == ["Plain steel\n2 trucks", "Carbide insert\n2 trucks"]
    bottom, top = axes[0].get_ylim()
    assert bottom > 100 > 0 > top
    lines = [line for line in axes[0].lines if len(line.get_xdata()) == 3]
    # by hand: stations 1 and 3 of both trucks after 800 miles: (0.8 + 0.88) / 2 and (1.12 + 1.28) / 2 of 2 in
    assert lines[-1].get_ydata().tolist() == pytest.approx([42, 51, 60])
    assert lines[-1].get_xdata().tolist() == [1, 2, 3]
    assert [text.get_text() for text in axes[0].texts] == ["200 mi", "400 mi", "600 mi", "800 mi"]


def test_lines_go_from_pale_to_dark():
    lines = [line for line in profile_figures.profiles(profiles())[0].lines if len(line.get_xdata()) == 3]
    alphas = [line.get_alpha() for line in lines]
    assert alphas == sorted(alphas) and alphas[-1] == 1


def test_miles_of_a_type_that_hardly_wears_stand_apart():
    panel = profile_figures.profiles(profiles())[1]
    heights = [text.xy[1] for text in panel.texts]
    assert np.diff(heights).min() >= 9 - 1e-9
    assert heights[0] >= 0


def test_positions_are_named():
    both = pd.concat([FRAME, straight([[[1.0, 1.1]]], place="wing_left", truck="W")], ignore_index=True)
    titles = [ax.get_title(loc="left") for ax in profile_figures.profiles(profiles(both))]
    assert titles[-1] == "Plain steel\nleft wing, 1 truck"


def test_wear_past_the_limit_stays_in_the_figure():
    deep = straight([[[3.0, 3.5]]])
    axes = profile_figures.profiles(profiles(deep))
    # by hand: 3.5 in per 1,000 miles over 800 miles of 2 in
    assert axes[0].get_ylim()[0] > 140


def test_no_profile_can_be_drawn():
    (ax,) = profile_figures.profiles(profiles(straight([[[1.0]]], miles=(0,))))
    assert [text.get_text() for text in ax.texts] == ["No set was read twice"]


def test_captions_of_profiles():
    said = profile_captions.profiles(profiles())
    assert said["alt"] == (
        "2 panels, one for each edge type and plow position: profiles across the blade from new down to the discard limit. Plain "
        "steel: after 800 miles 42%, 51% and 60% of the usable depth is gone at stations 1 to 3. Carbide insert: after 800 miles "
        "17%, 17% and 17% of the usable depth is gone at stations 1 to 3."
    )
    assert len(said["data"]) == 24


def test_unevenness_shows_interval_and_trucks():
    result = uneven()
    ax = profile_figures.unevenness(result)
    row = result.table.iloc[0]
    spans = [line.get_xdata() for line in ax.lines if line.get_linewidth() == 2.4]
    assert list(spans[0]) == pytest.approx([0.0, row[c.CONF_HIGH]])
    trucks = [line for line in ax.lines if line.get_markersize() == 3.6]
    assert sorted(trucks[0].get_xdata()) == pytest.approx([0.4, 0.5])
    assert "95% interval of the mean over trucks" in ax.get_xlabel()


def test_captions_of_unevenness():
    frame = straight([[[1.0, 1.2, 1.4]], [[1.1, 1.35, 1.6]], [[1.2, 1.35, 1.5]]])
    said = profile_captions.unevenness(uneven(frame))
    # by hand: mean of 0.4, 0.5, 0.3 with t at 2 df
    assert "Plain steel: 0.40 (0.15 to 0.65) in, 3 trucks." in said["alt"]
    assert said["data"]["shown"].tolist() == ["mean of the trucks", "T1, front", "T2, front", "T3, front"]
    assert said["data"][c.ESTIMATE].tolist() == pytest.approx([0.4, 0.4, 0.5, 0.3])
    assert set(said["data"][c.UNIT]) == {"in/1000 mi"}


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((0.4, 0.15, 0.65), "0.40 (0.15 to 0.65) in"),
        ((0.0, 0.0, 0.54), "at most 0.54 in"),
        ((0.3241, math.nan, math.nan), "0.324 in (no interval)"),
    ],
)
def test_range_in_words(ends, said):
    assert profile_figures.range_words(*ends) == said


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_names_draw_without_a_warning(name):
    frame = FRAME.assign(**{c.EDGE_TYPE: FRAME[c.EDGE_TYPE].replace("plain_steel", name)})
    found = profile_over_miles(frame, {name: 2.0, "carbide_insert": 0.5})
    theme.svg_text(profile_figures.profiles(found)[0].get_figure())
    theme.svg_text(profile_figures.unevenness(uneven(frame)).get_figure())
