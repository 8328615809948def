"""Numbers, intervals and lists as text.

Answers: how is this number written so that it says no more than it knows?

Rounding happens here and nowhere else. A number with an interval is rounded to what the interval supports: two
significant digits of the interval's half-width.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

MISSING = "not recorded"
NO_INTERVAL = "no interval"


def decimals_for(step: float) -> int:
    """Decimal places that show `step` with two significant digits; -1 is tens, -2 hundreds."""
    if not math.isfinite(step) or step <= 0:
        return 2
    return 1 - math.floor(math.log10(step))


def number(value: float, significant: int = 3) -> str:
    """A number with so many significant digits, without an exponent.

    Examples
    --------
    >>> number(0.013472), number(1234.5), number(2.0)
    ('0.0135', '1,234', '2.00')
    """
    if value is None or not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    rounded = float(f"{value:.{significant - 1}e}")  # 9.97 with two digits is 10, not 10.0
    digits = significant - 1 - math.floor(math.log10(abs(rounded)))
    return f"{value:,.{max(0, digits)}f}"


def fixed(value: float, decimals: int) -> str:
    """A number with so many decimals, or rounded to tens (-1), hundreds (-2)...; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{round(value, decimals):,.{max(decimals, 0)}f}"
    return text[1:] if text.startswith("-") and not any(ch in "123456789" for ch in text) else text


def interval_decimals(estimate: float, low: float, high: float) -> int:
    """Decimals that the interval supports, the same for estimate and both ends."""
    if math.isfinite(low) and math.isfinite(high) and high > low:
        return decimals_for((high - low) / 2)
    for end in (low, high):
        if math.isfinite(end) and math.isfinite(estimate) and estimate != end:
            return decimals_for(abs(estimate - end))
    known = [value for value in (estimate, low, high) if math.isfinite(value)]
    return decimals_for(abs(known[0]) / 10) if known else 2


def interval(estimate: float, low: float, high: float, unit: str = "") -> str:
    """An estimate with its interval.

    Examples
    --------
    >>> interval(1.5234, 1.21, 1.83, "in/1,000 mi")
    '1.52 (1.21 to 1.83) in/1,000 mi'
    """
    places = interval_decimals(estimate, low, high)
    tail = f" {unit}" if unit else ""
    if not (math.isfinite(low) or math.isfinite(high)):
        return f"{fixed(estimate, places)} ({NO_INTERVAL}){tail}"
    return f"{fixed(estimate, places)} ({span(low, high, places)}){tail}"


def span(low: float, high: float, decimals: int) -> str:
    """``"1.2 to 1.8"``, ``"at least 1.2"`` or ``"at most 1.8"``."""
    if not math.isfinite(high):
        return f"at least {fixed(low, decimals)}"
    if not math.isfinite(low):
        return f"at most {fixed(high, decimals)}"
    return f"{fixed(low, decimals)} to {fixed(high, decimals)}"


def ratio_number(value: float) -> str:
    """How many times: two digits, or three where two would make it 1.

    The one way in which a ratio is printed, in a sentence, a table and a figure.

    Examples
    --------
    >>> ratio_number(11.42), ratio_number(2.34), ratio_number(1.04), ratio_number(0.978)
    ('11', '2.3', '1.04', '0.98')
    """
    if not math.isfinite(value):
        return number(value, 2)
    rounded = float(f"{value:.2g}")
    return number(value, 3) if rounded == 1 else number(rounded, 2)


def ratio_ends(low: float, high: float) -> tuple[str, str]:
    """Two ends of a ratio, in more digits where two would not tell them apart."""
    ends = ratio_number(low), ratio_number(high)
    if low == high or not (math.isfinite(low) and math.isfinite(high)):
        return ends
    for digits in range(3, 10):
        if ends[0] != ends[1]:
            break
        ends = number(low, digits), number(high, digits)
    return ends


def ratio_span(low: float, high: float) -> str:
    """``"6.8 to 17"``, ``"at least 6.8"`` or ``"at most 17"``."""
    if not math.isfinite(high):
        return f"at least {ratio_number(low)}"
    if not math.isfinite(low):
        return f"at most {ratio_number(high)}"
    return " to ".join(ratio_ends(low, high))


def times(value: float) -> str:
    """A ratio in words: ``"4.1 times"``, ``"12 times"``."""
    return f"{ratio_number(value)} times"


def miles_decimals(life: float, low: float, high: float) -> int:
    """Decimals of a life with its ends: what the interval supports, or three digits of what stands alone."""
    alone = low if math.isfinite(low) else life
    found = interval_decimals(life, low, high) if math.isfinite(high) else decimals_for(alone / 10)
    return min(found, 0) if alone > 10 else found


def range_span(low: float, high: float) -> str:
    """A range for the next set: two digits of each end, or as many as it takes to tell the ends apart by a digit.

    Examples
    --------
    >>> range_span(313.2, 4671.0), range_span(712.0, math.inf), range_span(1012.0, 1048.0)
    ('310 to 4,700', 'at least 710', '1,010 to 1,050')
    """
    if not low > 0:
        return span(low, high, interval_decimals(math.nan, low, high))
    narrow = decimals_for((high - low) / 2) - 1 if math.inf > high > low else -9
    first, last = (
        fixed(end, min(max(decimals_for(end), narrow), 0 if low > 10 else 9)) for end in (low, high)
    )
    return f"{first} to {last}" if math.isfinite(high) else f"at least {first}"


def percent(value: float, decimals: int = 0) -> str:
    """A percentage: ``"95%"``."""
    return f"{fixed(value, decimals)}%"


def level_percent(confidence_level: float) -> str:
    """A confidence level: ``"95%"``, ``"97.5%"``, ``"99.7%"``; what is below half a percent, from 99 on a tenth, is left off.

    Rounded down, so that it stays true: an interval of 95.12 % holds the truth in at least 95 % of trials.
    """
    level = 100 * confidence_level
    step = 0.5 if level < 99 else 0.1
    return f"{step * math.floor(level / step + 1e-6):.6g}%"


def level_words(confidence_level: float) -> str:
    """What an interval of that level is called: ``"95% interval"``."""
    return f"{level_percent(confidence_level)} interval"


def counted(n: int, noun: str, plural: str | None = None) -> str:
    """A count with its noun: ``"1 truck"``, ``"12 trucks"``."""
    return f"{n:,} {noun if n == 1 else plural or noun + 's'}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words in a sentence: ``"a, b and c"``."""
    words = list(words)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def day(moment) -> str:
    """A date in words: ``"January 14, 2031"``; a dash where there is none."""
    if moment is None or moment is np.nan or moment != moment:
        return "–"
    return f"{moment:%B} {moment.day}, {moment.year}"


def position_name(text: str) -> str:
    """A plow position, or a truck with it, as people say it: ``"T-04, wing_right"`` is ``"T-04, right wing"``."""
    return re.sub(r"\bwing_(left|right)$", r"\1 wing", text)


_ONE_PLOW = {
    "front": "front plow", "underbody": "underbody plow", "wing_left": "left wing", "wing_right": "right wing",
}  # fmt: skip
PLOWS = {place: f"{plow}s" for place, plow in _ONE_PLOW.items()}
"""The plows of a plow position as a sentence says them: ``"front plows"``."""


def position_words(plow_position: str) -> str:
    """The plow of a plow position as a sentence says it: ``"the left wing"``."""
    return f"the {_ONE_PLOW.get(plow_position, plow_position.replace('_', ' '))}"


def sentence_case(text: str) -> str:
    """The text with its first letter large, the rest untouched."""
    return text[:1].upper() + text[1:]


def named(name: str, labels: Mapping[str, str]) -> str:
    """The label of a name as it stands alone, in a table or a figure; the name itself if it has none."""
    return sentence_case(labels[name]) if name in labels else name


def money(value: float, currency: str = "USD", decimals: int | None = None) -> str:
    """An amount with its currency: a dollar sign for USD, otherwise the three-letter code after the number.

    Without `decimals` an amount of 10,000 or more is rounded to hundreds, one of 100 or more to whole units, and a smaller one
    to cents.

    Parameters
    ----------
    value : float
        Amount; a dash is printed where there is none.
    currency : str
        Three-letter code.
    decimals : int, optional
        Decimal places; -1 rounds to tens, -2 to hundreds.

    Examples
    --------
    >>> money(1234.56), money(-0.75), money(1234.56, "CAD"), money(48210)
    ('$1,235', '-$0.75', '1,235 CAD', '$48,200')
    """
    if value is None or not math.isfinite(value):
        return "–"
    if decimals is None:
        decimals = money_decimals(value)
    text = fixed(value, decimals)
    sign, figure = ("-", text[1:]) if text.startswith("-") else ("", text)
    return f"{sign}${figure}" if currency == "USD" else f"{sign}{figure} {currency}"


def money_decimals(value: float) -> int:
    """Decimal places with which an amount of that size is printed when nothing else is known."""
    size = abs(value)
    return -2 if size >= 10_000 else 0 if size >= 100 else 2


def money_interval(estimate: float, low: float, high: float, currency: str = "USD", unit: str = "") -> str:
    """An amount with its interval, rounded to what the interval supports; to cents, or finer where cents would hide it.

    Parameters
    ----------
    estimate, low, high : float
        Amount and the ends of its interval; an end that is missing is said as "at least" or "at most".
    currency : str
        Three-letter code.
    unit : str
        What the amount is per: ``"per mile"``.

    Examples
    --------
    >>> money_interval(1.2345, 1.01, 1.52, unit="per mile"), money_interval(1.2, 1.0, float("inf"), "CAD")
    ('$1.23 ($1.01 to $1.52) per mile', '1.20 CAD (at least 1.00 CAD)')
    """
    tail = f" {unit}" if unit else ""
    places = money_interval_decimals(estimate, low, high)
    shown = money(estimate, currency, places)
    if not (math.isfinite(low) or math.isfinite(high)):
        return f"{shown} ({NO_INTERVAL}){tail}"
    return f"{shown} ({money_span(low, high, currency, places)}){tail}"


def money_interval_decimals(estimate: float, low: float, high: float) -> int:
    """Decimals of an amount that its interval supports: cents or finer, or tens, hundreds and more, never tenths."""
    places = interval_decimals(estimate, low, high)
    return 2 if places == 1 else max(2, places - 1) if places > 1 else places


def money_span(low: float, high: float, currency: str = "USD", decimals: int = 2) -> str:
    """``"$1.20 to $1.80"``, ``"at least $1.20"`` or ``"at most $1.80"``."""
    first, last = (money(end, currency, decimals) for end in (low, high))
    if not math.isfinite(high):
        return f"at least {first}"
    return f"{first} to {last}" if math.isfinite(low) else f"at most {last}"
