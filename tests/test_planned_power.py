"""Known truth: what is planned to be shown in 80 % of trials is shown about that often by the analysis itself.

Seeded, and small enough to run with every change; ``benchmarks/planned_power.py`` has more kinds of trial and more trials.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from planned_power import LIVES, MATERIAL, SOUND, WEAR, life_of, material_power, sound_power, wear_power


def assert_planned(shown: float, trials: int, spare: float = 0.02) -> None:
    """The share lies within the aim of 78 to 82 %, or three standard errors of it."""
    assert abs(shown - 0.8) <= spare + 3 * math.sqrt(0.8 * 0.2 / trials), shown


@pytest.mark.parametrize(
    "kind", ["wear 4 trucks each", "wear coarse, few miles", "wear two sets each", "wear rotated, 4 trucks"]
)
def test_wear(kind):
    ratio, shown = wear_power(WEAR[kind], 800)
    assert 1.2 < ratio < 3
    assert_planned(shown, 800)


@pytest.mark.parametrize("kind", ["life 4 trucks each", "life by section"])
def test_lives(kind):
    ratio, shown = life_of(LIVES[kind], 100)
    assert 1.2 < ratio < 3
    assert_planned(shown, 100)


def test_sound():
    assert_planned(sound_power(SOUND["sound 4 trucks each"], 400)[1], 400)


def test_material():
    assert_planned(material_power(MATERIAL["material 8 trucks each"], 100)[1], 100)
