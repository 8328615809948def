"""The lives of edges as blocks: whatever a trial has to show, every block can be printed and says the right thing."""

from __future__ import annotations

import warnings

import matplotlib.pyplot as plt
import pytest
from life_trials import Made, two_types

from trialkit.report import blocks, document, life_sections, life_study
from trialkit.trial.checks import check_trial

STEEL, INSERT = (1.0, 1.2, 1.4), (0.10, 0.12, 0.11)
FACTORS = (1.0, 1.2, 0.9)
BLOCKS = (
    "how_long", "lives_figure", "lives_table", "how_many_times", "ratios_figure", "ratios_table", "what_broke", "events_table",
    "as_projected", "predicted_figure", "profiles_figure", "evenness", "evenness_figure", "evenness_table", "thrown_away",
    "left_table", "limits", "caveats", "method",
)  # fmt: skip


@pytest.fixture(autouse=True)
def nothing_warns():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def carry(made, truck, kind, rates, **other):
    for number, factor in enumerate(FACTORS, 1):
        made.carry(f"{truck}{number}", kind, tuple(factor * rate for rate in rates), **other)
    return made


def both(**other):
    return carry(
        carry(two_types(), "T", "plain_steel", STEEL, **other), "C", "carbide_insert", INSERT, **other
    )


def no_measurable_wear():
    made = carry(two_types(), "T", "plain_steel", STEEL)
    for number in (1, 2, 3):
        made.carry(f"C{number}", "carbide_insert", (0.0, 0.0, 0.0), step=0.0625)
    return made


def one_truck_each():
    return two_types().carry("T1", "plain_steel", STEEL).carry("C1", "carbide_insert", INSERT)


def single_sections():
    made = (
        Made()
        .edge_type("plain_steel", "plain steel")
        .edge_type("segments", "segmented carbide", 1.0, "section")
    )
    carry(made, "T", "plain_steel", STEEL, end="remove", reason="worn_to_limit")
    return carry(made, "C", "segments", INSERT, swaps={2: "worn_to_limit", 3: "curb_strike"})


def five_types():
    made = Made(reference="type_0")
    for number in range(5):
        made.edge_type(f"type_{number}", f"edge kind {number}", 1.0 + number / 2)
    for number in range(5):
        carry(made, f"T{number}", f"type_{number}", tuple(rate / (number + 1) for rate in STEEL))
    return made


def several_positions():
    made = both()
    made.carry("T1", "plain_steel", STEEL, position="wing_left").carry(
        "T2", "plain_steel", (1.1, 1.2, 1.5), position="wing_left"
    )
    return made.carry("T3", "carbide_insert", INSERT, position="wing_left").carry(
        "C1", "carbide_insert", INSERT, position="underbody"
    )


def one_station():
    made = two_types().carry("T1", "plain_steel", (1.0,)).carry("T2", "plain_steel", (1.2,))
    return made.carry("C1", "carbide_insert", (0.1,)).carry("C2", "carbide_insert", (0.12,))


def read_once():
    made = two_types().carry("T1", "plain_steel", STEEL, miles=(0,))
    return made.carry("C1", "carbide_insert", INSERT, miles=(0,))


TRIALS = {
    "no removals": (both, {
        "thrown_away": "No set came off as worn or broken, so nothing was thrown away.",
        "left_table": "No set or section came off as worn or broken",
        "as_projected": "No set has run long enough to tell whether the projected lives hold.",
        "what_broke": "no set of plain steel broke or was lost in 1,200 miles with 3 sets: at most 2.5 per 1,000 miles",
    }),
    "no measurable wear": (no_measurable_wear, {
        "how_long": "a set of carbide insert lasts at least 3,180 miles (95% interval; 3 trucks). The next set may last at least",
        "how_many_times": "Carbide insert lasts at least 2.5 times as long as plain steel",
        "evenness": "no unevenness is shown",
        "caveats": "Carbide insert on the front plow: no wear was measured, so there is no estimate of the life.",
    }),
    "one truck each": (one_truck_each, {
        "how_long": "is projected to last 1,430 miles (1 truck; no interval)",
        "how_many_times": "Carbide insert is projected to last 5.8 times as long as plain steel (no interval).",
        "predicted_figure": "that takes three trucks with a wear rate",
    }),
    "single sections": (single_sections, {
        "how_long": "a section of segmented carbide lasts",
        "what_broke": "3 sections of segmented carbide broke or were lost",
        "thrown_away": "3 sections of segmented carbide came off as worn with 98% of the usable depth still on",
    }),
    "no price": (lambda: both(end="remove", reason="worn_to_limit", price=""), {
        "thrown_away": "No price is recorded, so this is not put in money.",
    }),
    "all broke": (lambda: both(end="break", reason="curb_strike"), {
        "what_broke": "3 sets of plain steel broke or were lost in 1,200 miles with 3 sets: 2.5 per 1,000 miles",
        "thrown_away": "3 sets of plain steel broke or came loose with 75% of the usable depth still on",
    }),
    "five types": (five_types, {
        "how_many_times": "Edge kind 4 lasts between 10 and 21 times as long as edge kind 0 (best estimate 15; 95% interval).",
        "evenness": "the thickest spot of edge kind 4 grow",
    }),
    "several positions": (several_positions, {
        "how_many_times": "On the left wing, carbide insert is projected to last 6.0 times as long as plain steel (no interval).",
        "how_long": "On the underbody plow, a set of carbide insert is projected to last 8,330 miles (1 truck; no interval).",
        "caveats": "Carbide insert on the underbody plow is not compared: plain steel has no projected life there.",
    }),
    "one station": (one_station, {
        "evenness": "No set was read at two stations, so evenness was not studied.",
        "evenness_table": "wear across the blade was not studied",
        "caveats": "4 sets were read at a single station",
    }),
    "read once": (read_once, {
        "how_long": "has no projected life: no set has two readings at different miles.",
        "how_many_times": "on no plow position could both be measured.",
        "ratios_figure": "no comparison of lives",
        "profiles_figure": "No set was read twice",
        "events_table": "No set ran any known miles",
        "what_broke": "No set ran any known miles, so nothing can be said about breaks.",
    }),
}  # fmt: skip


@pytest.mark.parametrize("name", TRIALS)
def test_every_block_can_be_printed_and_says_the_right_thing(name, tmp_path):
    made, words = TRIALS[name]
    trial = check_trial(made().write(tmp_path)).require_clean()
    lives = life_study.study_lives(trial)
    shown = {block: getattr(life_sections, block)(lives) for block in BLOCKS}
    for block, said in words.items():
        assert said in shown[block].plain(), block
    everything = [blocks.meta("t", agency="a", season="s"), blocks.heading("Lives"), *shown.values()]
    figures = [block for block in shown.values() if isinstance(block, blocks.Figure)]
    assert document.html(everything).count("<figcaption dir") == len(figures) > 0
    plain = "\n".join(block.plain() for block in shown.values())
    assert "nan" not in plain.lower().replace("finan", "")
    assert "inf " not in plain


def test_a_figure_that_shows_nothing_is_a_sentence(tmp_path):
    lives = life_study.study_lives(check_trial(read_once().write(tmp_path)).require_clean())
    for block in ("ratios_figure", "predicted_figure", "profiles_figure", "evenness_figure"):
        assert isinstance(getattr(life_sections, block)(lives), blocks.Text)
    assert isinstance(life_sections.lives_figure(lives), blocks.Figure)
