"""Captions and descriptions of the figures of noise and vibration: built from the result, so they follow it."""

from dataclasses import replace

import pytest
from cab_trial import BASIC_SOUND, BASIC_VIBRATION, DOWN, cab_trial, half_down, sound, vibration

from trialkit.cab.criteria import EU_LIMIT, OSHA_ACTION, OSHA_PEL
from trialkit.report import noise_captions, noise_study


def exposure(folder, rows=BASIC_SOUND, **tables):
    return noise_study.noise_in_cab(cab_trial(folder, sound=sound(rows), **tables)).exposure


def test_levels_are_told_with_the_level_that_reaches_each_criterion(tmp_path):
    result = replace(exposure(tmp_path, shifts=half_down()), criteria=(OSHA_PEL, OSHA_ACTION, EU_LIMIT))
    words = noise_captions.levels(result)
    assert "Plain steel: 85 (72 to 98) dBA, 2 trucks." in words["alt"]
    # published: OSHA Technical Manual, Section III Chapter 5: 82.1 dBA for 12 h; by hand: 87 - 10 log10(12 / 8) = 85.24
    assert words["alt"].endswith("in 12 hours: OSHA action level 82.1 dBA and EU limit value 85.2 dBA.")
    assert words["caption"].startswith("Average level in the cab with the blade down with its 95% interval;")
    assert "Rulers" in words["caption"]
    assert words["data"]["shown"].tolist() == [
        "average of all samples", "T1", "T3", "average of all samples", "T2", "T4",
    ]  # fmt: skip
    assert words["data"]["level_dba"].tolist() == pytest.approx([85.114, 86, 84, 81.529, 82, 81], abs=5e-4)


def test_levels_without_criteria_have_no_rulers(tmp_path):
    words = noise_captions.levels(replace(exposure(tmp_path), criteria=()))
    assert "Rulers" not in words["caption"] and "Steady level" not in words["alt"]


def test_five_decibel_averages_are_told_apart(tmp_path):
    five = [("T1", DOWN, 83, 5, "off"), ("T3", DOWN, 82, 5, "off")]
    mixed = noise_captions.levels(exposure(tmp_path / "mixed", [*BASIC_SOUND, *five]))
    assert "Plain steel, averaged with 5 dB: 82.5" in mixed["alt"]
    assert "stand by themselves" in mixed["caption"]
    assert mixed["data"]["exchange_rate_db"].tolist() == [3] * 6 + [5] * 3
    only = noise_captions.levels(exposure(tmp_path / "only", five))
    assert "All were averaged with 5 dB" in only["caption"]


def test_doses_are_told_for_the_shift_of_the_settings(tmp_path):
    result = replace(exposure(tmp_path, shifts=half_down()), criteria=(OSHA_ACTION,))
    words = noise_captions.doses(result)
    row = result.shift_rows().set_index(["edge_type", "criterion"]).loc[("plain_steel", "osha_action")]
    dose = f"plain steel {row['dose_pct']:.0f}% ({row['dose_low_pct']:.0f} to {row['dose_high_pct']:.0f}%)"
    assert dose in words["alt"].replace("Plain", "plain")
    assert "For a 12-hour shift: OSHA action level, reached at 50%:" in words["alt"]
    assert words["caption"].startswith("Dose of shifts of 8, 12 and 16 hours by edge type and criterion;")
    assert "Counted for" not in words["caption"]
    assert words["data"]["criterion"].unique().tolist() == ["OSHA action level"]
    assert len(words["data"]) == 2 * 3


def test_doses_of_a_part_of_the_shift_say_so(tmp_path):
    words = noise_captions.doses(exposure(tmp_path))
    assert "Counted for a 12-hour shift with the blade down throughout" in words["caption"]


def test_vibration_is_told_with_its_axis_and_its_criteria(tmp_path):
    trial = cab_trial(tmp_path, vibration=vibration(tuple(BASIC_VIBRATION)))
    words = noise_captions.daily_vibration(noise_study.vibration_at_seat(trial).exposure)
    # by hand, 12 h: sqrt((0.6^2 + 0.66^2) / 2) sqrt(1.5) = 0.772
    assert "Plain steel, axis z: 0.77 (" in words["alt"]
    assert words["caption"].endswith("Dashed lines: EU action value, 0.5 and EU limit value, 1.15 m/s².")
    assert words["data"]["shown"].tolist()[:3] == ["average of all samples", "T1", "T3"]


def test_dose_with_and_without_a_range():
    row = {"dose_pct": 41.6, "dose_low_pct": 21.5, "dose_high_pct": 77.6}
    assert noise_captions.dose_text(row) == "42% (22 to 78%)"
    assert noise_captions.dose_text(row | {"dose_low_pct": float("nan")}) == "42% (no interval)"
    assert noise_captions.dose_text({"dose_pct": 0.0, "dose_low_pct": 0.0, "dose_high_pct": 0.2}) == "0%"
    assert (
        noise_captions.dose_text({"dose_pct": 0.0, "dose_low_pct": 0.0, "dose_high_pct": 0.6})
        == "0% (0 to 1%)"
    )
