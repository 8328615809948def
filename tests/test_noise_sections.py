"""Noise and vibration as blocks: shown where there is something, one sentence and no error where there is not."""

import pytest
from cab_trial import BASIC_SOUND, DOWN, IDLE, cab_trial, half_down, sound, vibration

from trialkit.report import noise_sections, noise_study
from trialkit.report.block_types import Figure, Findings, Notes, Problems, Table, Text

OF_NOISE = (
    "levels", "levels_figure", "levels_table", "shift", "doses_figure", "exposure_table", "steady_levels_table",
    "differences", "differences_table", "conditions_table", "council_figure", "council_table",
)  # fmt: skip
OF_VIBRATION = ("vibration", "vibration_figure", "vibration_table", "vibration_ratios_table")
OF_BOTH = ("cautions", "notes", "method", "council", "council_notes")
MANY = [
    (truck, task, level + step, 3, radio)
    for truck, task, level in BASIC_SOUND
    for radio in ("on", "off")
    for step in (-0.1, 0.1)
]


def studies(folder, noise="", **tables):
    trial = cab_trial(folder, noise, **tables)
    return trial, noise_study.noise_in_cab(trial), noise_study.vibration_at_seat(trial)


def blocks_of(noise, shaking):
    found = {name: getattr(noise_sections, name)(noise) for name in OF_NOISE}
    found |= {name: getattr(noise_sections, name)(shaking) for name in OF_VIBRATION}
    return found | {name: getattr(noise_sections, name)(noise, shaking) for name in OF_BOTH}


def test_everything_is_shown_where_everything_was_measured(tmp_path):
    _, noise, shaking = studies(tmp_path, sound=sound(MANY), vibration=vibration(), shifts=half_down())
    kinds = {name: type(block) for name, block in blocks_of(noise, shaking).items()}
    words = dict.fromkeys(("levels", "shift", "differences", "vibration", "council"), Findings)
    figures = {name: Figure for name in kinds if name.endswith("figure")}
    tables = {name: Table for name in kinds if name.endswith("table")}
    assert kinds == words | figures | tables | {
        "cautions": Notes,
        "notes": Notes,
        "council_notes": Notes,
        "method": Text,
    }


def test_nothing_measured_is_one_sentence_a_section_and_no_error(tmp_path):
    trial, noise, shaking = studies(tmp_path)
    found = blocks_of(noise, shaking)
    assert all(isinstance(block, Text) for block in found.values())
    said = {name: block.plain() for name, block in found.items() if block.plain()}
    assert said == {
        "levels": "Noise in the cab was not studied: no sound level sample was recorded.",
        "shift": noise_sections.NOTHING_TO_SHOW,
        "differences": noise_sections.NOTHING_TO_SHOW,
        "vibration": "Shaking of the seat was not studied: no vibration sample was recorded.",
        "method": f"{noise.not_studied}\n\n{shaking.not_studied}",
        "council": "Neither noise nor shaking in the cab was measured.",
    }
    assert noise_sections.problems(trial).plain() == noise_sections.NO_SAMPLES


@pytest.mark.parametrize(
    "rows",
    [
        [("T1", DOWN, 86)],
        [("T1", DOWN, 86), ("T2", DOWN, 83)],
        [("T1", DOWN, 86, 5, "off"), ("T2", DOWN, 83, 5, "off")],
        [("T1", DOWN, 86), ("T2", DOWN, 83, 5, "off")],
        [("T1", IDLE, 70), ("T2", IDLE, 71)],
        [("T2", DOWN, 82), ("T4", DOWN, 81)],
    ],
    ids=["one sample", "one each", "only 5 dB", "other rates", "idle", "no reference"],
)
@pytest.mark.parametrize("shifts", [{}, {"shifts": half_down()}], ids=["no shifts", "shifts"])
def test_poor_trials_give_blocks_too(tmp_path, rows, shifts):
    _, noise, shaking = studies(
        tmp_path, sound=sound(rows), vibration=vibration([("T1", "z", 0.5)]), **shifts
    )
    found = blocks_of(noise, shaking)
    assert all(block.plain() or isinstance(block, Text) for block in found.values())
    assert isinstance(found["levels"], Findings) and isinstance(found["council"], Findings)


def test_only_problems_of_the_samples_are_shown(tmp_path):
    rows = [*BASIC_SOUND, ("T1", DOWN, 86, 5, "off")]
    trial, *_ = studies(tmp_path, sound=sound(rows), shifts=half_down())
    block = noise_sections.problems(trial)
    assert isinstance(block, Problems)
    assert "exchange_rate_db is 5 in 1 row" in block.plain()
    clean, *_ = studies(tmp_path / "clean", sound=sound(BASIC_SOUND))
    assert "nothing wrong or doubtful" in noise_sections.problems(clean).plain()


def test_tables_say_what_the_sentences_say(tmp_path):
    _, noise, shaking = studies(tmp_path, sound=sound(MANY), vibration=vibration(), shifts=half_down())
    found = blocks_of(noise, shaking)
    assert "Level, dBA (95% interval)" in found["levels_table"].plain()
    assert "Exchange rate" not in found["levels_table"].plain()
    exposure = found["exposure_table"].plain()
    assert exposure.startswith("A 12-hour shift under each criterion")
    assert "The criterion is" in exposure and ("may be reached" in exposure or "reached" in exposure)
    assert "below zero is quieter" in found["differences_table"].plain()
    assert "radio on" in found["conditions_table"].plain()
    assert "A(8), m/s² (95% interval)" in found["vibration_table"].plain()
    council = found["council_table"].plain()
    assert council.startswith("Level in the cab with the blade down, and dose of a 12-hour shift")
    assert "OSHA action level, reached at 50%" in council


def test_exchange_rates_have_a_column_where_they_differ(tmp_path):
    rows = [*MANY, *((truck, DOWN, 80.0, 5, radio) for truck in ("T1", "T2") for radio in ("on", "off"))]
    _, noise, _ = studies(tmp_path, sound=sound(rows))
    for name in ("levels_table", "differences_table"):
        assert "Exchange rate" in getattr(noise_sections, name)(noise).plain()


def test_council_figure_shows_energy_averages_and_three_criteria(tmp_path):
    rows = [*MANY, ("T1", DOWN, 90.0, 5, "off")]
    _, noise, _ = studies(tmp_path, sound=sound(rows), shifts=half_down())
    block = noise_sections.council_figure(noise)
    assert "averaged with 5 dB" not in block.alt
    assert "EU" not in block.alt and "OSHA action level" in block.alt
    assert "averaged with 5 dB" in noise_sections.levels_figure(noise).alt


def test_steady_levels_carry_their_sources(tmp_path):
    _, noise, _ = studies(tmp_path, sound=sound(BASIC_SOUND))
    block = noise_sections.steady_levels_table(noise)
    row = dict(zip([column.title for column in block.shown_columns], block.shown_texts[1], strict=True))
    # published: OSHA Technical Manual, Section III Chapter 5: 85, 82.1 and 80 dBA for 8, 12 and 16 h
    assert row == {
        "Criterion": "OSHA action level",
        "8 hours": "85.0",
        "12 hours": "82.1",
        "16 hours": "80.0",
    }
    assert block.shown_texts[0][2:] == (noise_sections.NOT_COUNTED,) * 2
    assert "29 CFR 1910.95" in block.notes[-1] and "does not count levels below 90 dBA" in block.notes[0]


def test_own_criterion_is_reported_with_its_source(tmp_path):
    own = (
        '[[noise.criterion]]\nname = "town_limit"\ncriterion_level_dba = 84\nexchange_rate_db = 3.0\n'
        'citation = "Town safety manual, 4.2"'
    )
    _, noise, _ = studies(tmp_path, own, sound=sound(BASIC_SOUND), shifts=half_down())
    assert "town limit, reached at 100%" in noise_sections.council_table(noise).plain()
    assert "town limit: Town safety manual, 4.2." in noise_sections.steady_levels_table(noise).notes[-1]
