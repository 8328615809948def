"""The verdict words are spelled once, and each has a printed form."""

import doctest
from typing import get_args

from trialkit import verdicts


def test_examples_in_the_docstrings_hold():
    assert doctest.testmod(verdicts).failed == 0


def test_every_verdict_has_a_printed_form_and_nothing_else_has():
    assert set(verdicts.WORDS) == set(get_args(verdicts.Verdict))
    assert verdicts.words("no_worse") == "No worse by the agreed margin"
    assert verdicts.words("no better") == ""
