"""What can be compared: material, passes and hours by their ratio, the snow left behind by its difference.

Answers: which column of the shifts is compared, what is it divided by, and how is a difference of it said?
"""

from __future__ import annotations

from dataclasses import dataclass

from trialkit import columns as c
from trialkit import display

RATIO, DIFFERENCE = "ratio", "difference"


@dataclass(frozen=True)
class Measure:
    """One thing that is compared between edge types.

    Attributes
    ----------
    name : str
        For the column `measure` of the tables.
    amount : str
        Column that is compared.
    per : str
        Column by which it is divided; empty if by none.
    scale : str
        `RATIO` (logarithms, per cent) or `DIFFERENCE` (in its own unit).
    unit : str
        Canonical unit of the amount, divided.
    noun : str
        What it is called in a sentence.
    verb : str
        What an edge type does with it: "used", "needed", "took", "left".
    fewer : bool
        Whether it is counted ("fewer passes") and not measured ("less salt").
    material : str
        Material as the tables name it; empty unless the measure is of one.
    """

    name: str
    amount: str
    per: str
    scale: str
    unit: str
    noun: str
    verb: str
    fewer: bool = False
    material: str = ""

    @property
    def phrase(self) -> str:
        """What is compared, in words: ``"rock salt per lane-mile"``."""
        return f"{self.noun} per {display.word('lane-mile')}" if self.per else self.noun

    def amount_word(self, change: float) -> str:
        """``"less"``, ``"fewer"`` or ``"more"``."""
        return "more" if change > 0 else "fewer" if self.fewer else "less"


def material_use(
    material: str, noun: str | None = None, *, amount: str = c.QUANTITY_LB, unit: str = "lb/lane-mi"
) -> Measure:
    """The measure of one material: how much of it was spread per lane-mile treated.

    Parameters
    ----------
    material : str
        As the tables name it, such as ``"rock_salt"``.
    noun : str, optional
        As sentences name it.
    amount : str
        Column with the quantity.
    unit : str
        Its unit per lane-mile.
    """
    noun = noun or material.replace("_", " ")
    return Measure("material", amount, c.LANE_MILES_TREATED, RATIO, unit, noun, "used", material=material)


PASSES = Measure("passes", c.PASSES, "", RATIO, "passes", "passes over the route", "made", fewer=True)
"""Passes over the route in a shift. A truck keeps its route, so the truck stands for the length of the route."""

PASSES_PER_LANE_MILE = Measure(
    "passes_per_lane_mile",
    c.PASSES,
    c.LANE_MILES_TREATED,
    RATIO,
    "passes/lane-mi",
    "passes",
    "needed",
    fewer=True,
)

HOURS = Measure(
    "hours_per_lane_mile", c.BLADE_DOWN_H, c.LANE_MILES_TREATED, RATIO, "h/lane-mi", "blade-down hours", "took",
    fewer=True,
)  # fmt: skip

RESIDUAL_SNOW = Measure("residual_snow", c.RESIDUAL_SNOW_IN, "", DIFFERENCE, "in", "snow on the road", "left")
"""The depth left behind. It may be zero, and half an inch more is half an inch more whatever there was: a difference."""
