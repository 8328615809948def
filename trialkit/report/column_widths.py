"""How wide each column of a printed table is, and how large its letters are.

Answers: how does a table fit the line of a page so that its rows stay low and no word is cut that would fit?

A web page works this out by itself; print and Word do not, or differently in every program. Widths are estimated from the
letters, with the mean widths of a common sans serif, so that the result is the same everywhere.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from trialkit.report import blocks

SIZES_PT = ((5, 9.0), (7, 8.25), (9, 7.5), (99, 6.75))
"""Size of the letters of a table of at most so many columns. [pt]"""
MOST_UPRIGHT = 10
"""Columns beyond which a table needs the page turned."""
_NARROW = frozenset("ijlrtfI.,:;'|()[]/ -‐–·!\u00a0\u202f")
_NARROW_EM, _DIGIT_EM, _CAPITAL_EM, _LETTER_EM, _WIDE_EM = 0.34, 0.60, 0.66, 0.555, 1.05
_HEADING_BOLDER = 1.06
_SLACK = 1.03
_ANY = 0
_ROWS_LOOKED_AT = 200
_LONGEST_WORD_EM = 11.0
"""A word that is longer may be cut. [em]"""


@dataclass(frozen=True, slots=True)
class Widths:
    """What was found.

    Attributes
    ----------
    size_pt : float
        Size of the letters. [pt]
    columns_pt : tuple of float
        Width of each column without its padding. [pt]
    letters : tuple of int
        Longest word that is not to be cut, for each column, 0 where no word is. [letters]
    lines : int
        Estimated lines of the table without its header.
    """

    size_pt: float
    columns_pt: tuple[float, ...]
    letters: tuple[int, ...]
    lines: int


def column_widths(table: blocks.Table, line_pt: float, padding_pt: float) -> Widths:
    """Widths of the printed columns of a table that fill a line.

    Parameters
    ----------
    table : Table
        The table; its first rows count, up to 200.
    line_pt : float
        Width of the line. [pt]
    padding_pt : float
        Room between two columns. [pt]

    Notes
    -----
    Each column gets at least its longest word, a column of numbers its longest cell. What is left of the line goes to the columns in proportion to what they
    lack to set every cell on one line, as CSS 2.2 (section 17.5.2.2) suggests, with a very long cell counting less.
    """
    shown = table.shown_columns
    size = next(size for most, size in SIZES_PT if len(shown) <= most or most == SIZES_PT[-1][0])
    room = (line_pt - padding_pt * (len(shown) - 1)) / size
    rows = table.shown_texts[:_ROWS_LOOKED_AT]
    least, wished = [], []
    for place, column in enumerate(shown):
        texts = [row[place] for row in rows]
        parts = [text for cell in texts for text in ([cell] if column.align == "end" else cell.split())]
        heads = [*column.heading.split(), *([f"[{column.unit}]"] if column.unit else [])]
        words = [*map(width_em, parts), *(width_em(word) * _HEADING_BOLDER for word in heads)]
        least.append(min(max(words, default=1.0) * _SLACK, _LONGEST_WORD_EM))
        longest = max([*map(width_em, texts), width_em(column.title) / 2]) * _SLACK
        wished.append(max(least[-1], min(longest, 24.0 + longest / 8)))
    given = _shared(least, wished, room)
    letters = [
        _ANY if width >= low and low < _LONGEST_WORD_EM else max(4, int(width / _DIGIT_EM))
        for width, low in zip(given, least, strict=True)
    ]
    lines = sum(
        max(ceil(width_em(text) / width) for text, width in zip(row, given, strict=True)) for row in rows
    )
    columns = tuple(width * size for width in given)
    return Widths(size, columns, tuple(letters), max(lines, len(table.rows)))


def width_em(text: str) -> float:
    """Estimated width of a text on one line. [em]"""
    return sum(map(_letter_em, text))


def _letter_em(letter: str) -> float:
    if letter in _NARROW:
        return _NARROW_EM
    if letter.isdigit():
        return _DIGIT_EM
    if unicodedata.east_asian_width(letter) in "WF":
        return _WIDE_EM
    return _CAPITAL_EM if letter.isupper() else _LETTER_EM


def _shared(least: Sequence[float], wished: Sequence[float], room: float) -> list[float]:
    short, long = sum(least), sum(wished)
    if short >= room:
        return [width * room / short for width in least]
    if long <= room:
        return [width * room / long for width in wished]
    part = (room - short) / (long - short)
    return [low + (high - low) * part for low, high in zip(least, wished, strict=True)]
