"""The verdicts on an edge type, and how each is printed.

Answers: which words may a trial use for what it found?

A verdict is given under a rule that was written down before the season. *Not shown* is not "the same", and *not enough
data* is not "no difference". *No worse* answers a question of its own: whether a loss beyond a margin that was agreed before
the season can be ruled out; it never stands for *better*.
"""

from __future__ import annotations

from typing import Literal

Verdict = Literal["better", "worse", "no_worse", "not_shown", "not_enough_data"]

BETTER: Verdict = "better"
WORSE: Verdict = "worse"
NO_WORSE: Verdict = "no_worse"
NOT_SHOWN: Verdict = "not_shown"
NOT_ENOUGH_DATA: Verdict = "not_enough_data"

WORDS: dict[str, str] = {
    BETTER: "Better",
    WORSE: "Worse",
    NO_WORSE: "No worse by the agreed margin",
    NOT_SHOWN: "Not shown",
    NOT_ENOUGH_DATA: "Not enough data",
}
"""Verdict to its printed form."""

INTERIM = "interim, not for decision"
"""What is printed with every verdict before the season has ended."""


def words(verdict: str) -> str:
    """The printed form of a verdict; empty where there is none.

    Examples
    --------
    >>> words(NOT_SHOWN), words("")
    ('Not shown', '')
    """
    return WORDS.get(verdict, "")
