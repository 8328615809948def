"""Units in which results are shown: US customary or metric, and the currency of the trial.

Answers: in which unit does a reader see this number?

Analyses and saved tables are always in the canonical units of `units` (in, mi, lb, ...). What people read goes through
here: the system is an option of the running process, as the style of figures is. `checks.Checked.require_clean`, the only
way to a trial, sets it from `trial.toml`; no computation looks at it.

Factors are those of `units`: exact by definition.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from trialkit import formatting, units

US, METRIC = "us", "metric"
SYSTEMS = (US, METRIC)
DOLLAR, USD = "$", "USD"

_shown_in = (US, USD)  # one for the process, for the threads of a notebook's kernel too

# canonical unit -> (metric unit, factor); a unit that is not here is shown as it is
_METRIC: dict[str, tuple[str, float]] = {
    "in": ("mm", units.INCH_MM),
    "ft": ("m", units.FOOT_M),
    "mi": ("km", units.MILE_KM),
    "lane-mi": ("lane-km", units.MILE_KM),
    "two-lane mi": ("two-lane km", units.MILE_KM),
    "lb": ("kg", units.POUND_KG),
    "short ton": ("metric ton", units.SHORT_TON_LB * units.POUND_KG / 1000.0),
    "gal": ("L", units.GALLON_L),
    "mph": ("km/h", units.MILE_KM),
}
_WORDS = {
    "inch": "millimeter", "inches": "millimeters", "foot": "meter", "feet": "meters", "mile": "kilometer",
    "miles": "kilometers", "lane-mile": "lane-kilometer", "lane-miles": "lane-kilometers", "pound": "kilogram",
    "pounds": "kilograms", "ton": "metric ton", "tons": "metric tons", "gallon": "liter", "gallons": "liters",
    "mileage": "distance", "mileages": "distances",
}  # fmt: skip
_ANY_WORD = re.compile(rf"(?:(?<!\d )|(?<=(?:per|.in) 1,000 ))\b({'|'.join(_WORDS)})\b", re.IGNORECASE)
_PER = "per "
_PART = re.compile(r"(?P<count>[\d,]+ )?(?P<unit>.+)")


def use(system: str, currency: str = USD) -> None:
    """Show results in ``"us"`` or ``"metric"`` units, and amounts in a currency, from now on.

    Raises
    ------
    ValueError
        If the system is neither.
    """
    global _shown_in
    if system not in SYSTEMS:
        raise ValueError(f'"{system}" is not a system of units; allowed: {", ".join(SYSTEMS)}')
    _shown_in = (system, currency)


@contextmanager
def showing(system: str, currency: str = USD) -> Iterator[None]:
    """Show results in a system and a currency within a ``with`` block, and as before after it."""
    before = _shown_in
    use(system, currency)
    try:
        yield
    finally:
        use(*before)


def is_metric() -> bool:
    """Whether results are shown in metric units."""
    return _shown_in[0] == METRIC


def currency() -> str:
    """Three-letter code of the currency in which amounts are shown."""
    return _shown_in[1]


def unit(name: str) -> str:
    """The unit in which a quantity of the canonical unit `name` is shown.

    Parameters
    ----------
    name : str
        A canonical unit as it is printed, also a quotient: ``"in"``, ``"in/1000 mi"``, ``"lb/lane-mi"``, ``"per 1000 mi"``,
        ``"°F"``.

    Examples
    --------
    >>> with showing("metric", "EUR"):
    ...     unit("in/1000 mi"), unit("lb/lane-mi"), unit("dBA"), unit("$/mi")
    ('mm/1000 km', 'kg/lane-km', 'dBA', 'EUR/km')
    """
    if name.startswith(DOLLAR) and currency() != USD:
        return currency() + unit(name.removeprefix(DOLLAR))
    if not is_metric():
        return name
    if name == "°F":
        return "°C"
    if name.startswith(_PER):
        return _PER + unit(name.removeprefix(_PER))
    return "/".join(_metric_part(part)[0] for part in name.split("/"))


def value(number: Any, name: str) -> Any:
    """A number, array or Series of the canonical unit `name`, in the unit in which it is shown.

    Examples
    --------
    >>> with showing("metric"):
    ...     value(2.0, "in"), value(1.0, "$/mi") * 1.609344
    (50.8, 1.0)
    """
    if not is_metric():
        return number
    if name == "°F":
        return (number - 32.0) / 1.8
    if name.startswith(_PER):
        name = f"1/{name.removeprefix(_PER)}"
    top, *below = (_metric_part(part)[1] for part in name.split("/"))
    factor = top
    for part in below:
        factor /= part
    return number * factor


def word(us_word: str) -> str:
    """A unit as a sentence spells it: ``"miles"`` is ``"kilometers"`` where results are shown in metric units."""
    return _WORDS.get(us_word, us_word) if is_metric() else us_word


def words(us_words: str) -> str:
    """A fixed text with every unit word in it as it is shown: ``"Blade-down miles"`` is ``"Blade-down kilometers"``.

    Only for texts without names from the trial, which stay as they are. A word after a number that would have to be
    converted stays as it is too.

    Examples
    --------
    >>> with showing("metric"):
    ...     words("Inches worn in 1,000 miles")
    'Millimeters worn in 1,000 kilometers'
    """
    return _ANY_WORD.sub(lambda found: _shown_word(found[0]), us_words) if is_metric() else us_words


def decimals(us_decimals: int, name: str) -> int:
    """Decimals that show a quantity of the canonical unit `name` about as finely as `us_decimals` do in that unit.

    Examples
    --------
    >>> with showing("metric"):
    ...     decimals(2, "in"), decimals(0, "mi")
    (1, 0)
    """
    if not is_metric() or name == "°F":
        return us_decimals
    return us_decimals - round(math.log10(value(1.0, name)))


def typed(number: float, name: str) -> str:
    """A number that somebody chose, in the unit in which it is shown: as it was typed, or converted to three digits.

    Examples
    --------
    >>> typed(500.0, "mi")
    '500'
    >>> with showing("metric"):
    ...     typed(500.0, "mi")
    '805'
    """
    return formatting.number(value(number, name)) if unit(name) != name else f"{number:g}"


def _shown_word(found: str) -> str:
    shown = _WORDS[found.lower()]
    return shown.capitalize() if found[0].isupper() else shown


def _metric_part(part: str) -> tuple[str, float]:
    matched = _PART.fullmatch(part)
    count, bare = (matched["count"] or "", matched["unit"]) if matched else ("", part)
    shown, factor = _METRIC.get(bare, (bare, 1.0))
    return f"{count}{shown}", factor
