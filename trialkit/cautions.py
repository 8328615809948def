"""The cautions that are printed wherever work on a plow is asked for.

Answers: what does a sheet for the garage or a plan say before someone reaches under a plow?

They are the usual ones of the trade (common practice, no source). Local rules and the shop's licensed practice govern;
nothing here says that a practice meets a rule.
"""

from __future__ import annotations

UNDER_THE_PLOW = (
    "Before you reach under the plow: block and chock it, and lock out the hydraulics.",
    "Wear gloves and eye protection: worn edges are sharp, and a new one may have burrs.",
    "Lift with two, or with a hoist: a section can weigh more than one person should lift.",
)
IN_THE_CAB = (
    "Never read an instrument or fill in a form while the truck moves.",
    "Wear hearing protection where the shop's hearing program asks for it; it does not change what is measured.",
)
GOVERNS = "Local rules and the shop's licensed practice govern. This sheet replaces neither."
