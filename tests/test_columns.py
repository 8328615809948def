"""What a column says about itself, and that no name is given two meanings."""

import pytest

from trialkit import columns as c
from trialkit.columns import CHOICE, NUMBER, TEXT, WHOLE, Column


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        ({}, "a number"),
        ({"low": 0, "high": 24}, "a number from 0 to 24"),
        ({"low": 0, "high": 24, "low_excluded": True}, "a number above 0 to 24"),
        ({"low": 0}, "a number, 0 or more"),
        ({"low": 0, "low_excluded": True}, "a number above 0"),
        ({"high": 1e6}, "a number up to 1e+06"),
    ],
)
def test_bounds_in_words(bounds, words):
    assert Column("x_in", NUMBER, "X", "X.", "in", **bounds).allowed == words


def test_choices_in_words():
    assert Column("tool", CHOICE, "Tool", "Tool.", choices=("rule", "tape")).allowed == "rule, tape"


@pytest.mark.parametrize(("kind", "numeric"), [(NUMBER, True), (WHOLE, True), (TEXT, False), (CHOICE, False)])
def test_which_columns_hold_numbers(kind, numeric):
    assert Column("x", kind, "X", "X.").is_numeric is numeric


def test_names_are_plain_and_given_once():
    names = {
        constant: name for constant, name in vars(c).items() if constant.isupper() and isinstance(name, str)
    }
    kinds = {
        constant for constant in names if constant in ("TEXT", "ID", "CHOICE", "NUMBER", "WHOLE", "MOMENT")
    }
    columns = {constant: name for constant, name in names.items() if constant not in kinds}
    assert len(set(columns.values())) == len(columns)
    for constant, name in columns.items():
        assert name == constant.lower(), "a constant is its column's name in capital letters"


def test_every_result_column_has_a_heading():
    for name in (
        c.ESTIMATE,
        c.CONF_LOW,
        c.CONF_HIGH,
        c.PRED_LOW,
        c.PRED_HIGH,
        c.N_TRUCKS,
        c.N_SETS,
        c.CODE,
        c.FIX,
    ):
        assert c.RESULT_LABELS[name]
