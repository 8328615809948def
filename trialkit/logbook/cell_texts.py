"""What is typed into the trial's file for a value that came in another unit.

Answers: which millimeters read back as exactly these inches?

Where the units agree the text is kept as it was typed, fractions included. Where they differ the shortest decimal is
written that reads back to the very same number in the canonical unit; where no number of the other unit does, the
shortest one within two units of the last binary digit.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from trialkit import columns as c
from trialkit.tables import MATERIAL
from trialkit.trial.typed_tables import QUANTITIES, TypedTable
from trialkit.units import from_canonical, to_canonical

SHORTEST, LONGEST = 3, 17
"""Significant digits that are tried."""
_LAST_DIGITS = 2


def number_text_in(canonical: float, unit: str, to_unit: str) -> str:
    """A number of the canonical `unit` as text in `to_unit`.

    Examples
    --------
    >>> number_text_in(5.375, "in", "mm"), number_text_in(2.0, "lb", "lb")
    ('136.525', '2')
    """
    value = float(from_canonical(canonical, unit, to_unit))
    return _shortest(canonical, value, lambda number: float(to_canonical(number, to_unit, unit)))


def price_text(canonical: float, factor: float) -> str:
    """A price per pound or gallon as text per a unit of `factor` pounds or gallons."""
    return _shortest(canonical, canonical * factor, lambda number: number / factor)


def _shortest(canonical: float, value: float, back: Callable[[float], float]) -> str:
    """The shortest text near `value` whose number leads back to `canonical`."""
    near = ""
    step = _LAST_DIGITS * float(np.spacing(abs(canonical)))
    for digits in range(SHORTEST, LONGEST + 1):
        text = _plain(f"{value:.{digits}g}")
        again = back(float(text))
        if again == canonical:
            return text
        if not near and abs(again - canonical) <= step:
            near = text
    neighbors = (math.nextafter(value, math.inf), math.nextafter(value, -math.inf))
    exact = next((repr(number) for number in neighbors if back(number) == canonical), "")
    return _plain(exact or near or repr(value))


def _plain(text: str) -> str:
    """A number without an exponent where that is short."""
    value = float(text)
    if "e" not in text:
        return text
    plain = f"{value:.{LONGEST}f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return plain if float(plain) == value else text


def price_factors(typed: TypedTable, positions: np.ndarray) -> np.ndarray:
    """By what the price in the file is divided to be a price per pound or gallon; 1 outside of material."""
    factors = np.ones(len(positions))
    if typed.table is not MATERIAL:
        return factors
    for name in QUANTITIES:
        filled = ~np.isnan(typed.values[name][positions])
        column = typed.table.column(name)
        factors[filled] = to_canonical(1.0, typed.heading(name).unit, column.unit)
    return factors


def canonical_values(typed: TypedTable, name: str, positions: np.ndarray) -> np.ndarray:
    """Numbers of one column in the canonical unit, prices of material per pound or gallon."""
    values = np.asarray(typed.values[name][positions], dtype=float)
    if name == c.UNIT_PRICE_USD:
        return values / price_factors(typed, positions)
    column = typed.table.column(name)
    return np.asarray(to_canonical(values, typed.heading(name).unit, column.unit), dtype=float)
