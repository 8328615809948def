"""Problems as a table, as terminal text and as a page."""

import pandas as pd

from trialkit.errors import Problem
from trialkit.trial import problem_text

WRONG = Problem(
    "out-of-range",
    "wear_readings.csv",
    14,
    "S1, 2031-01-14, station 3",
    "height_in",
    "412",
    "a number from 0 to 24 in",
    "Correct the cell.",
)
DOUBT = Problem(
    "few-trucks", "edge_types.csv", None, "", "", "carbide – read on 1 truck", "", "Put it on another truck."
)
SAID = "The trial data have 1 error and 1 warning."


def test_frame_has_one_row_for_each_problem():
    table = problem_text.frame([DOUBT, WRONG])
    assert table.columns.tolist() == [
        "severity",
        "code",
        "file",
        "row",
        "key",
        "column",
        "found",
        "allowed",
        "fix",
    ]
    assert table["severity"].tolist() == ["warning", "error"]
    assert pd.isna(table["row"].iloc[0])
    assert table["row"].iloc[1] == 14
    assert str(problem_text.frame([])["row"].dtype) == "Int64"


def test_text_groups_by_file_and_says_where_what_allowed_and_what_to_do():
    lines = problem_text.text([DOUBT, WRONG], SAID).splitlines()
    assert lines[0] == "edge_types.csv: 1 warning"
    assert "  warning, whole file [few-trucks]" in lines
    assert "  error, row 14 (S1, 2031-01-14, station 3) [out-of-range]" in lines
    assert "      found:   height_in is 412" in lines
    assert "      allowed: a number from 0 to 24 in" in lines
    assert "      to do:   Correct the cell." in lines
    assert lines[-1] == SAID


def not_a_date(row, station):
    key = f"S1, 12/20/2030, station {station}"
    return Problem(
        "not-a-date", "wear_readings.csv", row, key, "date", "12/20/2030", "a date", "Write 2030-12-20."
    )


def test_rows_with_the_same_thing_wrong_are_told_together():
    rows = [4, 5, 10, 11, 12, 14]
    lines = problem_text.text([not_a_date(row, row) for row in rows], SAID).splitlines()
    assert lines[0] == "wear_readings.csv: 6 errors"
    assert "  error, rows 4, 5, 10-12 and 14 [not-a-date]" in lines
    assert lines.count("      to do:   Write 2030-12-20.") == 1


def test_a_few_rows_told_together_keep_their_keys():
    said = problem_text.text([not_a_date(4, 1), not_a_date(9, 2)], SAID)
    assert "  error, rows 4 and 9 (S1, 12/20/2030, station 1; S1, 12/20/2030, station 2) [not-a-date]" in said
    assert "rows 4-6 (" in problem_text.text([not_a_date(row, row) for row in (4, 5, 6)], SAID)
    assert "row 4 (S1" in problem_text.text([not_a_date(4, 1)], SAID)


def test_of_very_many_rows_the_first_are_named_and_the_rest_counted():
    said = problem_text.text([not_a_date(row, 1) for row in range(2, 2002, 2)], SAID, width=200)
    assert "rows 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24 and 988 more (S1" in said


def test_other_findings_are_told_apart():
    other = Problem("not-a-date", "wear_readings.csv", 5, "", "date", "x", "a date", "Write 2030-12-20.")
    whole = [Problem("counter-differs", "f.csv", None, key, "", "twice") for key in ("a", "b")]
    said = problem_text.text([not_a_date(4, 1), other, *whole], SAID)
    assert "  error, row 4 (S1" in said and "  error, row 5 [not-a-date]" in said
    assert "whole file (a)" in said and "whole file (b)" in said


def test_what_is_missing_is_named_and_not_found():
    said = problem_text.text([Problem("column-missing", "f.csv", 1, "", "height_in")], SAID)
    assert "      name:    height_in" in said and "found" not in said


def test_text_keeps_to_the_width():
    long = Problem("out-of-range", "f.csv", 1, "S1", "height_in", "4 " * 90, "a " * 90, "Correct it. " * 30)
    assert max(map(len, problem_text.text([long], SAID, width=60).splitlines())) <= 60
    assert max(map(len, problem_text.text([long], "Done.", width=5).splitlines())) <= problem_text.NARROWEST


def test_plain_text_for_a_terminal_without_other_letters():
    text = problem_text.text([DOUBT], SAID, ascii_only=True)
    assert text.isascii()
    assert "carbide - read" in text


def test_control_codes_from_the_data_do_not_reach_the_terminal():
    nasty = Problem("unknown-key", "f.csv", 2, "S\x1b[31m1", "set_id", "\x07\u202eS1", "", "")
    text = problem_text.text([nasty], SAID)
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "\u202e" not in text


def test_page_escapes_everything_from_the_data():
    nasty = Problem(
        "unknown-key", "f<b>.csv", 2, "<script>", "set_id", '"><img src=x onerror=1>', "a & b", "<i>"
    )
    page = problem_text.html_table([nasty], "1 < 2")
    assert "<script>" not in page
    assert "<img" not in page
    assert "<i>" not in page
    assert "&lt;script&gt;" in page
    assert "a &amp; b" in page
    assert "1 &lt; 2" in page


def test_page_without_problems_is_a_sentence():
    assert problem_text.html_table([], "All well.") == "<p>All well.</p>"


def test_row_zero_problem_shows_no_row_on_the_page():
    assert "<td style='text-align:left'></td>" in problem_text.html_table([DOUBT], SAID)
