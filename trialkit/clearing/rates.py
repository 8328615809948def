"""Material as mass of dry salt and chloride, and rates per lane-mile.

Answers: how much salt and how much chloride was in what a shift spread, and per which mile is a rate quoted?

The canonical rate is pounds of dry material per lane-mile. A rate that is quoted per mile of road with two lanes is twice
as large for the same spreading, so that every rate carries its basis and is converted here and nowhere else. Of a liquid
the salt that is dissolved in it counts, not the water: the dry chemical per lane-mile, as in reference [2].

References
----------
.. [1] Physico-chemical handbook (Poradnik fizykochemiczny), WNT, Warsaw 1974, table "sodium chloride", density at 20 °C,
   as reprinted by the physics laboratory of the Nicolaus Copernicus University, Toruń.
.. [2] FHWA-RD-95-202, Manual of Practice for an Effective Anti-icing Program (1996), Appendix C, definitions.
.. [3] Prohaska et al., Standard atomic weights of the elements 2021, Pure Appl. Chem. 94 (2022) 573: abridged values, Na
   22.990, Cl 35.45 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import units
from trialkit.formatting import counted, listed, percent

SODIUM_ATOMIC_WEIGHT = 22.990
CHLORINE_ATOMIC_WEIGHT = 35.45
SODIUM_CHLORIDE_FRAC = CHLORINE_ATOMIC_WEIGHT / (SODIUM_ATOMIC_WEIGHT + CHLORINE_ATOMIC_WEIGHT)
"""Chloride in sodium chloride, by mass: M(Cl) / (M(Na) + M(Cl)) = 0.6066, of the atomic weights of [3]."""

BRINE = "brine"
CHLORIDE_FRACTIONS: dict[str, float] = {
    "rock_salt": SODIUM_CHLORIDE_FRAC,
    "treated_salt": SODIUM_CHLORIDE_FRAC,
    BRINE: SODIUM_CHLORIDE_FRAC,
}
"""Chloride by mass where `chloride_frac` is blank. Rock salt is taken as pure sodium chloride, though ASTM D 632 asks for 95%
only (as quoted in bids of state departments of transportation), and the little liquid on treated salt is not counted (common
practice, no source). A sand mix and other materials have no default: their make-up differs from town to town."""

BRINE_PCT = 23.3
"""Concentration where a brine's is blank [% by mass]: that of the lowest freezing point, at which brine is made (Oregon State
University, ORESU-H-99-002, figure 1)."""

_DENSITY_PCT = (0.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0)
_DENSITY_G_CM3 = (
    0.9982, 1.0268, 1.0413, 1.0559, 1.0707, 1.0857, 1.1009, 1.1162, 1.1319, 1.1478, 1.1640, 1.1804, 1.1972,
)  # fmt: skip
MOST_BRINE_PCT = 26.4
"""Above it no sodium chloride stays dissolved at 20 °C [% by mass] (saturated brine, ORESU-H-99-002)."""
LB_GAL_OF_G_CM3 = units.GALLON_L / units.POUND_KG
"""Pounds per gallon of 1 g/cm³, which is 1 kg/L."""

LANE_MILE, TWO_LANE_MILE = "lane_mile", "two_lane_mile"
_BASIS_WORDS = {
    LANE_MILE: "lane-mile",
    TWO_LANE_MILE: "mile of road with two lanes",
    "lane_km": "lane-kilometer",
    "two_lane_km": "kilometer of road with two lanes",
}
_BASIS_UNITS = {LANE_MILE: "lb/lane-mi", TWO_LANE_MILE: "lb/two-lane mi"}

DRY_LB = "dry_lb"
CHLORIDE_LB = "chloride_lb"
COST = "cost"
ALL_MATERIAL = "all"
"""In the column `material`: everything that was spread, as dry mass."""
CHLORIDE = "chloride"
"""In the column `material`: the chloride in everything that was spread."""


@dataclass(frozen=True, eq=False)
class Spread:
    """What was spread, as dry mass and chloride.

    Attributes
    ----------
    rows : DataFrame
        One row per row of `material`: shift_id, material, dry_lb [lb], chloride_lb [lb], cost [currency]; missing where
        it cannot be worked out.
    shifts : DataFrame
        One row per shift, indexed by shift_id: dry_lb, chloride_lb, cost; missing where that of any of its rows is.
    notes : tuple of str
        What was taken for granted and what could not be worked out.
    """

    rows: pd.DataFrame
    shifts: pd.DataFrame
    notes: tuple[str, ...]


def lane_miles(treated: Any, basis: str = LANE_MILE) -> Any:
    """Lane-miles of a number of treated miles or kilometers.

    Parameters
    ----------
    treated : float, array or Series
        Treated length in the unit of `basis`.
    basis : str
        ``"lane_mile"``, ``"two_lane_mile"``, ``"lane_km"`` or ``"two_lane_km"``.

    Raises
    ------
    ValueError
        If the basis is none of these.

    Examples
    --------
    >>> lane_miles(10.0, "two_lane_mile")
    20.0
    """
    return treated * _lane_miles_in(basis)


def rate_per_lane_mile(rate_lb: Any, basis: str) -> Any:
    """Pounds per lane-mile of a rate that is quoted in pounds per mile or kilometer of `basis`.

    Examples
    --------
    >>> rate_per_lane_mile(400.0, "two_lane_mile")
    200.0
    """
    return rate_lb / _lane_miles_in(basis)


def rate_on_basis(rate_lb_lane_mi: Any, basis: str) -> Any:
    """A rate in pounds per lane-mile, in pounds per mile or kilometer of `basis`: the inverse of `rate_per_lane_mile`."""
    return rate_lb_lane_mi * _lane_miles_in(basis)


def basis_words(basis: str) -> str:
    """What a rate is per, in words: ``"mile of road with two lanes"``."""
    _lane_miles_in(basis)
    return _BASIS_WORDS[basis]


def basis_unit(basis: str) -> str:
    """The unit of a rate that is printed on a basis: ``"lb/lane-mi"`` or ``"lb/two-lane mi"``."""
    _lane_miles_in(basis)
    return _BASIS_UNITS[basis]


def _lane_miles_in(basis: str) -> float:
    if basis not in units.LANE_MILES:
        raise ValueError(f'"{basis}" is no basis of a rate; allowed: {", ".join(units.LANE_MILES)}')
    return units.LANE_MILES[basis]


def brine_density_g_cm3(concentration_pct: Any) -> Any:
    """Density of a sodium chloride brine at 20 °C. [g/cm³]

    Parameters
    ----------
    concentration_pct : float, array or Series
        Salt by mass. [%]

    Returns
    -------
    float or array
        Missing below 0 and above 26.4%, where no sodium chloride brine exists.

    Notes
    -----
    Straight lines between the values of [1], every 2%; they lie within 0.0002 g/cm³ of the table's other values. At 15 °C
    brine is 0.2% to 0.5% denser, which is not counted.
    """
    pct = np.asarray(concentration_pct, dtype=float)
    inside = (pct >= 0) & (pct <= MOST_BRINE_PCT)
    last = (_DENSITY_G_CM3[-1] - _DENSITY_G_CM3[-2]) / (_DENSITY_PCT[-1] - _DENSITY_PCT[-2])
    beyond = _DENSITY_G_CM3[-1] + (pct - _DENSITY_PCT[-1]) * last
    density = np.where(pct > _DENSITY_PCT[-1], beyond, np.interp(pct, _DENSITY_PCT, _DENSITY_G_CM3))
    found = np.where(inside, density, np.nan)
    return float(found) if found.ndim == 0 else found


def brine_salt_lb(volume_gal: Any, concentration_pct: Any) -> Any:
    """Dry salt in so much sodium chloride brine. [lb]

    Parameters
    ----------
    volume_gal : float, array or Series
        Volume. [gal]
    concentration_pct : float, array or Series
        Salt by mass. [%]

    Notes
    -----
    volume × density × concentration; a gallon at 23.3% holds 2.28 lb.
    """
    density = brine_density_g_cm3(concentration_pct)
    return volume_gal * density * LB_GAL_OF_G_CM3 * np.asarray(concentration_pct, dtype=float) / 100.0


def spread(material: pd.DataFrame) -> Spread:
    """Dry mass, chloride and cost of every row of `material`, and of every shift.

    When to use: before any rate of material. A shift without a row is not among the results: whether it spread nothing
    or nobody wrote it down is for `shifts` to say.

    Parameters
    ----------
    material : DataFrame
        Columns `shift_id`, `material`, `quantity_lb` [lb], `quantity_gal` [gal], `unit_price_usd` [currency per lb or gal],
        `concentration_pct` [%], `chloride_frac`.

    Returns
    -------
    Spread

    Notes
    -----
    Solids weigh what was weighed, sand included. Of a brine only the salt dissolved in it counts, whether it was given by
    volume or by weight. The price of a row is per unit of what it was given by; a row with both has no known cost. A liquid other than sodium chloride brine has no density here, so that its mass stays unknown
    where it was given by volume.
    """
    frame = material.reset_index(drop=True)
    name = frame[c.MATERIAL].astype(object)
    weight, volume = (_numbers(frame, column) for column in (c.QUANTITY_LB, c.QUANTITY_GAL))
    is_brine = (name == BRINE).to_numpy()
    given = _numbers(frame, c.CONCENTRATION_PCT)
    strength = np.where(is_brine & np.isnan(given), BRINE_PCT, given)
    by_volume = np.where(is_brine, brine_salt_lb(volume, strength), np.nan)
    by_weight = np.where(is_brine, weight * strength / 100.0, weight)
    dry = np.where(np.isnan(weight), by_volume, by_weight)
    default = name.map(CHLORIDE_FRACTIONS).to_numpy(dtype=float)
    own = _numbers(frame, c.CHLORIDE_FRAC)
    foreign = is_brine & (strength > MOST_BRINE_PCT)
    fraction = np.where(np.isnan(own), np.where(foreign, np.nan, default), own)
    price = _numbers(frame, c.UNIT_PRICE_USD)
    twice = ~np.isnan(weight) & ~np.isnan(volume)
    quantity = np.where(twice, np.nan, np.where(np.isnan(weight), volume, weight))
    rows = pd.DataFrame(
        {
            c.SHIFT_ID: frame[c.SHIFT_ID].astype(object),
            c.MATERIAL: name,
            DRY_LB: dry,
            CHLORIDE_LB: dry * fraction,
            COST: quantity * price,
        }
    )
    shifts = rows.groupby(c.SHIFT_ID, sort=False)[[DRY_LB, CHLORIDE_LB, COST]].sum(min_count=1)
    unknown = rows[[DRY_LB, CHLORIDE_LB, COST]].isna().groupby(rows[c.SHIFT_ID], sort=False).any()
    blank = int((is_brine & np.isnan(given)).sum())
    unpriced = int((twice & ~np.isnan(price)).sum())
    return Spread(rows, shifts.mask(unknown), tuple(_notes(rows, blank, unpriced)))


def _numbers(frame: pd.DataFrame, name: str) -> np.ndarray:
    return frame[name].to_numpy(dtype=float) if name in frame else np.full(len(frame), np.nan)


def _notes(rows: pd.DataFrame, blank_brines: int, given_twice: int) -> Iterator[str]:
    if given_twice:
        yield (
            f"{counted(given_twice, 'record')} of material {'has' if given_twice == 1 else 'have'} both a weight and a volume, so that it "
            f"is not known what the price is for; {'its' if given_twice == 1 else 'their'} cost is left out. Leave one of the two blank."
        )
    if blank_brines:
        yield (
            f"{counted(blank_brines, 'brine')} without a concentration {_were(blank_brines)} taken at {BRINE_PCT:g}% by mass, the "
            "strength at which brine is made."
        )
    massless = rows[DRY_LB].isna()
    if massless.any():
        n = int(massless.sum())
        yield (
            f"{counted(n, 'record')} of material ({_names(rows[massless])}) {'has' if n == 1 else 'have'} no known dry mass, so "
            f"{'its shift is' if n == 1 else 'their shifts are'} not counted: a liquid other than sodium chloride brine is to be given by "
            "weight."
        )
    unsalted = ~massless & rows[CHLORIDE_LB].isna()
    if unsalted.any():
        n = int(unsalted.sum())
        yield (
            f"{counted(n, 'record')} of material ({_names(rows[unsalted])}) {_were(n)} left out of the chloride, since the "
            "chloride in it is not recorded."
        )
    used = [name for name in CHLORIDE_FRACTIONS if (rows[c.MATERIAL] == name).any()]
    if used:
        yield (
            f"Where no chloride fraction is recorded, {listed([word(name) for name in used])} {'is' if len(used) == 1 else 'are'} taken "
            f"as pure sodium chloride, which is {percent(100 * SODIUM_CHLORIDE_FRAC, 1)} chloride by mass."
        )


def word(material: str) -> str:
    """A material as a sentence says it: ``"rock salt"``."""
    return {"sand_salt": "sand-salt mix", ALL_MATERIAL: "all material", "other": "other material"}.get(
        material, material.replace("_", " ")
    )


def _names(rows: pd.DataFrame) -> str:
    return listed([word(str(name)) for name in rows[c.MATERIAL].unique()])


def _were(n: int) -> str:
    return "was" if n == 1 else "were"
