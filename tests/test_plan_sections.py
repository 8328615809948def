"""The plan as blocks and figures: what is shown, and that nothing is empty where nothing is known."""

import warnings
from dataclasses import replace

import matplotlib.pyplot as plt
import pytest
from plan_trials import GAUGE, MILES, plan_settings, planned
from report_samples import AWKWARD

from trialkit import columns as c
from trialkit.report import blocks, plan_captions, plan_figures, plan_sections, plan_study


@pytest.fixture(autouse=True)
def few_sizes(monkeypatch):
    monkeypatch.setattr(plan_study, "SIZES", (2, 6))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_study, "SIZES", (2, 6))
        return planned(
            tmp_path_factory.mktemp("plan"), fleet_plan=MILES, gauge_readings=GAUGE,
            settings=plan_settings(looks="[2031-01-20, 2031-04-08]", season_start="2030-11-01"),
        )  # fmt: skip


EVERY = (
    "title", "in_brief", "still_open", "rules", "looks_table", "can_show", "sizes_figure", "sizes_table", "assumptions",
    "reading_error", "gauge_figure", "gauge_table", "how_drawn", "assignment_table", "forced", "balance_table", "tasks", "limits", "method", "made_from",
)  # fmt: skip


@pytest.mark.parametrize("name", EVERY)
def test_every_section_is_one_block_with_words(plan, name):
    block = getattr(plan_sections, name)(plan)
    assert isinstance(block, blocks.Block)
    assert block.plain().strip()


def test_signatures_and_cautions_need_no_plan():
    assert "Signature" in plan_sections.to_sign().plain()
    assert "lock out the hydraulics" in plan_sections.care().plain()


def test_before_the_season_the_head_names_no_day(plan):
    assert plan_sections.title(plan).date == ""


def test_where_nothing_is_agreed_or_known_a_sentence_says_so(tmp_path):
    bare = planned(tmp_path, trucks="truck_id,plow_position\nT1,front\nT2,front\n")
    assert plan_sections.looks_table(bare).plain() == plan_sections.NO_LOOKS
    assert plan_sections.forced(bare).plain() == plan_sections.NOTHING_FORCED
    assert plan_sections.balance_table(bare).plain() == plan_sections.NOTHING_KNOWN
    assert plan_sections.gauge_figure(bare).plain() == plan_sections.NO_GAUGE
    assert plan_sections.gauge_table(bare).plain() == plan_sections.HOW_TO_STUDY
    no_start = planned(tmp_path / "b", settings=plan_settings(looks="[0.5]"))
    assert plan_sections.looks_table(no_start).plain() == plan_sections.NO_START


# ---------------------------------------------------------------- the figure of sizes
def test_the_curve_is_the_table_and_this_trial_is_marked(plan):
    ax = plan_figures.sizes(plan.sizes, 4, True, labels=plan.labels)
    (curve,) = [line for line in ax.lines if line.get_label() == "Carbide insert"]
    table = plan.sizes["carbide_insert"].table.dropna(subset=[c.DETECTABLE_LIFE_RATIO])
    assert curve.get_xdata().tolist() == table[c.N_TRUCKS].tolist()
    assert curve.get_ydata().tolist() == pytest.approx(table[c.DETECTABLE_LIFE_RATIO].tolist())
    assert "this trial" in [text.get_text() for text in ax.texts]
    assert ax.get_ylabel() == "Times as long, or more"
    assert plan_figures.sizes(plan.sizes, 4, False).get_ylabel() == "Times slower, or more"


def test_types_of_which_the_same_is_shown_share_a_curve(plan):
    both = {"a": plan.sizes["carbide_insert"], "b": plan.sizes["carbide_insert"]}
    assert [group for group, _ in plan_figures.same_curves(both, True)] == [["a", "b"]]
    other = replace(both["b"], table=both["b"].table.assign(**{c.DETECTABLE_LIFE_RATIO: 3.0}))
    assert [group for group, _ in plan_figures.same_curves({**both, "b": other}, True)] == [["a"], ["b"]]
    ax = plan_figures.sizes({**both, "b": other}, 4, True)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["A", "B"]


def test_where_no_size_shows_anything_the_figure_says_so(plan):
    sized = plan.sizes["carbide_insert"]
    none = {"a": replace(sized, table=sized.table.assign(**{c.DETECTABLE_LIFE_RATIO: float("nan")}))}
    ax = plan_figures.sizes(none, 1, True)
    assert "No size of trial shows a difference" in [text.get_text() for text in ax.texts]
    words = plan_captions.sizes(none, 1, True)
    assert "A: no difference can be counted on." in words["alt"]
    assert words["data"].empty


@pytest.mark.parametrize("name", AWKWARD)
def test_any_label_can_be_drawn(plan, name):
    given = ({"a": plan.sizes["carbide_insert"], "b": plan.sizes["carbide_insert"]}, 4, True)
    block = blocks.figure(
        plan_figures.sizes(*given, labels={"a": name}), **plan_captions.sizes(*given, labels={"a": name})
    )
    assert block.svg.startswith("<svg")


def test_the_words_round_up_and_name_the_trial(plan):
    words = plan_captions.sizes(plan.sizes, 4, True, labels=plan.labels)
    assert "The band marks this trial, with 4 trucks per edge type." in words["caption"]
    assert "in 80 of 100 such trials" in words["caption"]
    assert words["headings"][c.ESTIMATE] == "Lasts times as long, or more"
    assert set(words["data"][c.N_TRUCKS]) <= {2, 4, 6}


# ---------------------------------------------------------------- the figure of the gauge study
def test_every_reading_is_drawn_off_the_mean_of_its_piece(plan):
    found = plan_study.gauge_deviations(plan.trial)
    assert len(found) == 24
    assert found.groupby(c.PIECE)[c.RESIDUAL_IN].mean().abs().max() < 1e-12
    (ax,) = plan_figures.gauge(plan.gauge, found)
    drawn = sum(len(line.get_xdata()) for line in ax.lines if line.get_marker() != "None")
    assert drawn == 24
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["R1", "R2"]
    assert [tick.get_text() for tick in ax.get_xticklabels()] == ["G1", "G2", "G3", "G4"]
    assert ax.get_ylabel() == "Off the mean [in]"


def test_tools_and_stations_of_a_piece_are_told_apart(tmp_path):
    rows = "piece,station,reader,repeat,height_in,tool\n" + "".join(
        f"G{number},{station},R1,{repeat},{5 - station + 0.01 * repeat},{tool}\n"
        for number, tool in enumerate(("rule", ""), start=1) for station in (1, 2) for repeat in (1, 2)
    )  # fmt: skip
    plan = planned(tmp_path, gauge_readings=rows)
    found = plan_study.gauge_deviations(plan.trial)
    assert set(found[c.TOOL]) == {"rule", "tool not recorded"}
    assert set(found[c.PIECE]) == {"G1, 1", "G1, 2", "G2, 1", "G2, 2"}
    axes = plan_figures.gauge(plan.gauge, found)
    assert [ax.get_title(loc="left") for ax in axes] == ["Rule", "Tool not recorded"]
    assert "R1" in axes[0].get_legend().get_texts()[0].get_text()
    assert (
        "less the mean of their piece, by person (rule and tool not recorded)"
        in plan_captions.gauge(plan.gauge, found)["caption"]
    )
