"""Exact conversions between the units a trial folder may use, and lengths typed as fractions.

Answers: how many inches are 136.5 mm, and what number is ``5 3/8``?

Nothing is rounded here. Factors are exact by definition: the international yard and pound agreement of 1959
(1 in = 25.4 mm, 1 lb = 0.45359237 kg), the US liquid gallon (231 cubic inches) and the mile (5280 ft), as tabulated in
NIST Special Publication 811 (2008), Appendix B.8.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

INCH_MM = 25.4
FOOT_IN = 12.0
FOOT_M = 0.3048
MILE_KM = 1.609344
POUND_KG = 0.45359237
SHORT_TON_LB = 2000.0
METRIC_TON_LB = 1000.0 / POUND_KG
GALLON_L = 3.785411784
METER_IN = 1000.0 / INCH_MM

LANE_MILES: dict[str, float] = {
    "lane_mile": 1.0,
    "two_lane_mile": 2.0,
    "lane_km": 1.0 / MILE_KM,
    "two_lane_km": 2.0 / MILE_KM,
}
"""Lane-miles in one unit of each basis on which treated miles may be counted and rates quoted: a mile of road with two lanes
is two lane-miles."""

# canonical unit -> {other unit: (factor, offset)} with canonical = (value - offset) * factor
_TO_CANONICAL: dict[str, dict[str, tuple[float, float]]] = {
    "in": {"mm": (1.0 / INCH_MM, 0.0)},
    "mi": {"km": (1.0 / MILE_KM, 0.0)},
    "ft": {"m": (1.0 / FOOT_M, 0.0)},
    "f": {"c": (9.0 / 5.0, -160.0 / 9.0)},
    "lb": {"kg": (1.0 / POUND_KG, 0.0), "ton": (SHORT_TON_LB, 0.0), "t": (METRIC_TON_LB, 0.0)},
    "gal": {"l": (1.0 / GALLON_L, 0.0)},
    "mph": {"kmh": (1.0 / MILE_KM, 0.0)},
}

UNIT_NAMES = {
    "in": "in", "mm": "mm", "mi": "mi", "km": "km", "ft": "ft", "m": "m", "f": "°F", "c": "°C", "lb": "lb", "kg": "kg",
    "ton": "short ton", "t": "metric ton", "gal": "gal", "l": "L", "mph": "mph", "kmh": "km/h", "usd": "$", "h": "h",
    "min": "min", "deg": "°", "pct": "%", "db": "dB", "dba": "dBA", "m_s2": "m/s²",
}  # fmt: skip
"""How each unit suffix is printed."""
AMOUNT_UNIT = "currency of the trial"
"""How the unit of an amount is described: the suffix `_usd` is the same for every currency."""
METRIC_SUFFIXES = {"in": "mm", "mi": "km", "ft": "m", "f": "c", "lb": "kg", "gal": "l", "mph": "kmh"}
"""The suffix under which a metric folder gives each canonical unit."""


def described(suffix: str) -> str:
    """The unit that a suffix stands for, where columns are explained: ``"in"``, ``"currency of the trial"``."""
    return AMOUNT_UNIT if suffix == "usd" else UNIT_NAMES.get(suffix, suffix)


_FRACTION = re.compile(
    r"(?:(?P<whole>[0-9]{1,6})(?:\s+|\s*-\s*))?(?P<top>[0-9]{1,6})\s*/\s*(?P<bottom>[0-9]{1,3})"
)
_SLASHES_AND_DASHES = str.maketrans(
    {"\u2044": "/", "\u2215": "/", "\u2010": "-", "\u2011": "-", "\u2013": "-"}
)
_ONE_CHARACTER = {
    chr(code): unicodedata.normalize("NFKC", chr(code))
    for code in (*range(0xBC, 0xBF), *range(0x2150, 0x215F))
}
RULE_PARTS = (2, 4, 8, 10, 16, 32, 64, 100, 128)
"""Parts of an inch that rules and tapes carry; any other number below the line is taken for a slip or a date."""


def alternatives(unit: str) -> tuple[str, ...]:
    """Other units in which a column of the canonical `unit` may be given, such as ``("mm",)`` for ``"in"``."""
    return tuple(_TO_CANONICAL.get(unit, ()))


def to_canonical(values, from_unit: str, unit: str):
    """Convert numbers to the canonical unit of their column.

    Parameters
    ----------
    values : float, array or Series
        Numbers in `from_unit`.
    from_unit, unit : str
        Unit suffixes; `unit` is canonical ("in", "mi", "ft", "f", "lb", "gal", "mph").

    Returns
    -------
    The same kind of thing as `values`, in `unit`.

    Raises
    ------
    KeyError
        If there is no conversion between the two.
    """
    if from_unit == unit:
        return values
    factor, offset = _TO_CANONICAL[unit][from_unit]
    return (values - offset) * factor


def from_canonical(values, unit: str, to_unit: str):
    """Inverse of `to_canonical`: from the canonical `unit` to `to_unit`, for display."""
    if to_unit == unit:
        return values
    factor, offset = _TO_CANONICAL[unit][to_unit]
    return values / factor + offset


def fraction_value(text: str) -> float | None:
    """The number that a fraction stands for, or None if the text is not a fraction.

    ``"5 3/8"``, ``"5-3/8"``, ``"5 6/16"``, ``"5⅜"`` and ``"43/8"`` all give 5.375. Only the parts of an inch that a rule
    carries (`RULE_PARTS`) are taken, and beside a whole number only a fraction below one: ``"1/14"`` is more likely a
    date and ``"5 11/8"`` a slip than a length.

    Examples
    --------
    >>> fraction_value("5 3/8"), fraction_value("5-3/8"), fraction_value("3/8")
    (5.375, 5.375, 0.375)
    """
    if text.isascii() and "/" not in text:
        return None
    plain = "".join(f" {_ONE_CHARACTER[sign]}" if sign in _ONE_CHARACTER else sign for sign in text)
    match = _FRACTION.fullmatch(plain.translate(_SLASHES_AND_DASHES).strip())
    if match is None or int(match["bottom"]) not in RULE_PARTS:
        return None
    part = Fraction(int(match["top"]), int(match["bottom"]))
    if match["whole"] is None:
        return float(part)
    return float(int(match["whole"]) + part) if part < 1 else None
