"""In which order trucks carry the edge types when the types rotate, and from which day to which.

Answers: which sequences keep the order of the types from deciding the result, and when are the edges changed over?
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass


def sequences(n_types: int, periods: int) -> list[tuple[int, ...]]:
    """Orders in which a truck carries the types, each type first in the same number of them.

    Use it with as many periods as types, or with two periods of two types. With fewer periods than types a truck does not
    carry every type; with more, the order starts over.

    Parameters
    ----------
    n_types : int
        Number of edge types.
    periods : int
        Number of periods.

    Returns
    -------
    list of tuple of int
        Each tuple holds the type of every period, counted from 0. In every period each type occurs equally often. With as
        many periods as types every type follows every other one equally often (Williams' design): `n_types` orders for an
        even number of types, twice as many for an odd one.

    References
    ----------
    .. [1] E. J. Williams, "Experimental designs balanced for the estimation of residual effects of treatments", Australian
       Journal of Scientific Research A 2, 1949.
    """
    first = [0]
    low, high = 1, n_types - 1
    while len(first) < n_types:
        first.append(low)
        low += 1
        if len(first) < n_types:
            first.append(high)
            high -= 1
    rows = [tuple((kind + shift) % n_types for kind in first) for shift in range(n_types)]
    if n_types % 2 and n_types > 1:
        rows += [row[::-1] for row in rows]
    return [tuple(row[period % n_types] for period in range(periods)) for row in rows]


@dataclass(frozen=True, slots=True)
class Period:
    """One stretch of the season between two change-overs.

    Attributes
    ----------
    number : int
        1, 2, ...
    start, end : date
        First and last day.
    """

    number: int
    start: dt.date
    end: dt.date


def season_periods(start: dt.date, end: dt.date, periods: int) -> tuple[Period, ...]:
    """The season in stretches of about the same length.

    Use it for the plan. When a storm is under way the change-over waits; what counts afterwards is the date of the events.

    Parameters
    ----------
    start, end : date
        First and last day of the season.
    periods : int
        Number of stretches.

    Raises
    ------
    ValueError
        If the season has fewer days than periods.
    """
    days = (end - start).days + 1
    if periods < 1 or days < periods:
        raise ValueError(f"{max(days, 0)} days of season cannot be cut into {periods} periods")
    starts = [start + dt.timedelta(days=round(days * k / periods)) for k in range(periods + 1)]
    one = dt.timedelta(days=1)
    return tuple(Period(k + 1, starts[k], starts[k + 1] - one) for k in range(periods))


def consistent(row: Sequence[int], wanted: dict[int, int]) -> bool:
    """Whether an order has the wanted type in every period for which one is wanted (periods and types from 0)."""
    return all(row[period] == kind for period, kind in wanted.items())
