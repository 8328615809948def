"""The figures of cost: what is drawn is what the results say."""

from __future__ import annotations

import warnings
from dataclasses import replace

import cost_samples as made
import matplotlib.pyplot as plt
import numpy as np
import pytest
from money_samples import CARBIDE, RUBBER, STEEL

from trialkit import columns as c
from trialkit.money import curves
from trialkit.report import cost_captions, cost_figures, cost_words, theme, turning_figures


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


@pytest.fixture(scope="module")
def found():
    return made.study()


def texts(ax):
    return [one.get_text() for one in ax.texts]


def test_the_parts_of_a_bar_add_up_to_the_cost(found):
    ax = cost_figures.cost_per_mile(found.costs)
    for place, row in enumerate(found.costs.table.to_dict("records")):
        widths = [
            bar.get_width() for bar in ax.patches if abs(bar.get_y() + bar.get_height() / 2 - place) < 0.01
        ]
        assert sum(widths) == pytest.approx(row[c.COST_PER_MI])
    assert any("$" in text for text in texts(ax))


def test_a_group_of_which_nothing_but_a_zero_is_known_has_no_part(found):
    lines = found.costs.lines.copy()
    own = lines[c.EDGE_TYPE] == STEEL
    lines.loc[own & (lines[c.LINE] == "labour_regular"), c.ESTIMATE] = float("nan")
    lines.loc[own & (lines[c.LINE] == "labour_overtime"), c.ESTIMATE] = 0.0
    parts = cost_words.grouped_lines(replace(found.costs, lines=lines))
    has_labor = parts[parts[cost_words.GROUP] == "labor"][c.EDGE_TYPE]
    assert STEEL not in set(has_labor)
    assert len(has_labor)


def test_a_credit_lies_to_the_left_of_zero(found):
    parts = cost_words.grouped_lines(found.costs)
    steel = parts[(parts[c.EDGE_TYPE] == STEEL) & (parts[cost_words.GROUP].str.startswith("kits"))][
        c.ESTIMATE
    ].iloc[0]
    ax = cost_figures.cost_per_mile(found.costs)
    left = [bar.get_width() for bar in ax.patches if bar.get_width() < 0]
    assert (steel < 0) == bool(left)


def test_shades_run_from_dark_to_pale():
    grays = [np.mean(cost_figures.shade(theme.COLORS[1], place, 6)) for place in range(6)]
    assert grays == sorted(grays)


def test_the_break_even_figure_marks_both_points(found):
    curve = curves.curve_over_life(found.inputs, found.even)
    ax = cost_figures.break_even(curve)
    marks = [line for line in ax.lines if len(line.get_xdata()) == 1]
    needed = found.even.table[c.BREAK_EVEN_LIFE_RATIO].to_list()
    assert all(any(mark.get_xdata()[0] == pytest.approx(one) for mark in marks) for one in needed)
    words = cost_captions.break_even(curve)
    assert "for the verdict to say" in words["caption"]
    assert len(words["data"]) == 2


def test_the_curve_over_miles_starts_at_the_first_set(found):
    curve = curves.curve_over_miles(found.inputs)
    ax = cost_figures.cumulative(curve)
    starts = {line.get_ydata()[0] for line in ax.lines if len(line.get_xdata()) > 2}
    assert starts == {400.0, 800.0, 2600.0}
    assert any(text.startswith("1 winter") for text in texts(ax))
    assert curve.sentence() in cost_captions.cumulative(curve)["caption"]


def test_the_longest_bar_is_on_top_and_turning_ones_are_hatched():
    found = made.study(made.not_shown())
    (ax,) = turning_figures.tornado(found.sensitivity, first=found.nearest)
    rows = turning_figures.bars(found.sensitivity, CARBIDE)
    widths = [bar.get_width() for bar in ax.patches]
    assert widths == sorted(widths, reverse=True)
    hatched = [bool(bar.get_hatch()) for bar in ax.patches]
    assert hatched == list(rows["turns"] == "yes")
    assert any(hatched)
    assert "no bar" in cost_captions.tornado(found.sensitivity)["caption"]


def test_the_named_type_comes_first(found):
    assert turning_figures.shown_types(found.sensitivity, RUBBER)[0] == RUBBER
    panels = turning_figures.tornado(found.sensitivity, first=RUBBER)
    assert len(panels) == 2
    assert panels[0].get_title(loc="left") == "Rubber-mounted carbide"


def test_panels_that_are_given_are_drawn_on(found):
    import matplotlib.pyplot as plt

    own = list(plt.figure().subplots(2, 1))
    assert turning_figures.tornado(found.sensitivity, own, first=RUBBER) == own
    assert own[0].patches and own[1].patches


def test_an_edge_without_a_price_says_so():
    from money_samples import edge_sets

    sets = edge_sets()
    sets.loc[sets[c.EDGE_TYPE] == CARBIDE, c.UNIT_PRICE_USD] = np.nan
    found = made.study(edge_sets=sets)
    assert "not known" in texts(cost_figures.cost_per_mile(found.costs))
    assert "Carbide insert: not known." in cost_captions.cost_per_mile(found.costs)["alt"]


def test_descriptions_name_every_type(found):
    alt = cost_captions.cost_per_mile(found.costs)["alt"]
    assert all(name in alt for name in ("Plain steel", "Carbide insert", "Rubber-mounted carbide"))


def test_steps_farther_apart_than_a_life_are_explained():
    found = made.study({**made.uses(), CARBIDE: made.use(0.8, 0.01, breaks=2)})
    curve = curves.curve_over_miles(found.inputs)
    kind = CARBIDE
    own = curve.table[curve.table[c.EDGE_TYPE] == kind]
    step = float(own.loc[own[c.MILES_MI].duplicated(), c.MILES_MI].iloc[0])
    life = found.inputs.edge(str(kind)).life_mi
    assert step > 1.02 * life
    caption = cost_captions.cumulative(curve)["caption"]
    assert (
        "Edges that broke first never wear out, so steps stand farther apart than a life is long (by "
        in caption
    )
    assert f"{100 * (step / life - 1):.0f}% with {found.labels[kind]}" in caption


def test_without_breaks_a_step_is_a_life():
    found = made.study({STEEL: made.uses()[STEEL]})
    curve = curves.curve_over_miles(found.inputs)
    assert not found.inputs.edge(STEEL).use.breaks
    assert "never wear out" not in cost_captions.cumulative(curve)["caption"]
