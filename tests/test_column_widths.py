"""Widths of printed columns: they fill the line, and no word is cut that would fit."""

import pandas as pd
import pytest

from trialkit.report import blocks
from trialkit.report.column_widths import MOST_UPRIGHT, column_widths, width_em


def table(**columns):
    return blocks.table(pd.DataFrame(columns), "t")


def test_columns_fill_the_line():
    for found in (
        table(a=["x"], b=["y"]),
        table(a=["word " * 40], b=["y"], c=[1]),
        table(**{f"c{n}": [n] for n in range(14)}),
    ):
        widths = column_widths(found, 468.0, 10.0)
        assert sum(widths.columns_pt) + 10.0 * (len(widths.columns_pt) - 1) == pytest.approx(468.0)


def test_letters_are_smaller_where_there_are_many_columns():
    sizes = [
        column_widths(table(**{f"c{n}": [n] for n in range(count)}), 468.0, 6.0).size_pt
        for count in (2, 6, 9, 12)
    ]
    assert sizes == sorted(sizes, reverse=True)
    assert MOST_UPRIGHT < 12


def test_a_long_cell_gets_more_room_and_leaves_numbers_whole():
    found = table(name=["short"], reason=["a long reason that goes on " * 6], estimate=["x"], n=[1234567])
    widths = column_widths(found, 400.0, 8.0)
    assert widths.columns_pt[1] == max(widths.columns_pt)
    assert widths.columns_pt[3] >= width_em("1,234,567") * widths.size_pt
    assert widths.letters == (0, 0, 0, 0)
    assert widths.lines > 1


def test_a_word_longer_than_its_column_may_be_cut():
    widths = column_widths(table(name=["n" * 200], other=["x"]), 300.0, 8.0)
    # by hand: letters of 9 pt are at most 6 pt wide, so a column of w pt holds w / 6 of them
    assert 4 <= widths.letters[0] <= widths.columns_pt[0] / (widths.size_pt * 0.55)
    assert widths.letters[1] == 0


def test_more_columns_than_fit_share_what_there_is():
    found = table(**{f"c{n}": ["incomprehensibilities"] for n in range(10)})
    widths = column_widths(found, 300.0, 6.0)
    assert len(set(widths.columns_pt)) == 1
    assert all(widths.letters)


def test_wide_letters_count_as_wide():
    assert width_em("除雪") > width_em("ab") > width_em("il")


def test_a_table_without_rows_has_widths():
    widths = column_widths(blocks.table(pd.DataFrame({"edge_type": [], "n": []}), "t"), 468.0, 10.0)
    assert sum(widths.columns_pt) == pytest.approx(458.0)
    assert widths.lines == 0
