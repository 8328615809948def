"""Problems say where, what, what is allowed and what to do; every code is used and explained."""

import re
from pathlib import Path

import pytest

import trialkit
from trialkit import errors
from trialkit.errors import ERROR, WARNING, Problem, TrialDataError

FULL = Problem(
    "decimal-comma",
    "wear_readings.csv",
    14,
    "S1, 2031-01-14, station 3",
    "height_in",
    "5,375",
    "a number",
    "Write 5.375.",
)


def test_a_problem_says_everything_in_one_line():
    assert str(FULL) == (
        "wear_readings.csv row 14 (S1, 2031-01-14, station 3): height_in is 5,375; allowed: a number. Write 5.375. "
        "[decimal-comma]"
    )


def test_a_problem_without_a_cell_says_what_its_code_means():
    assert str(Problem("file-missing", "trucks.csv")) == (
        "trucks.csv: a file that every trial needs is not in the folder. [file-missing]"
    )
    assert "height_in: a column that the table needs is not in the header" in str(
        Problem("column-missing", "wear_readings.csv", 1, column="height_in")
    )
    assert "is damaged: not a workbook; allowed: an .xlsx workbook." in str(
        Problem("file-unreadable", "trial.xlsx", found="not a workbook", allowed="an .xlsx workbook")
    )


@pytest.mark.parametrize(
    ("code", "severity", "stops"), [("not-a-number", ERROR, True), ("encoding", WARNING, False)]
)
def test_the_code_decides_what_stops_the_run(code, severity, stops):
    problem = Problem(code, "a.csv")
    assert (problem.severity, problem.stops) == (severity, stops)


def test_problems_are_sorted_and_said_once():
    first, second = Problem("encoding", "a.csv"), Problem("not-a-number", "a.csv", 3, column="b")
    later = Problem("not-a-number", "a.csv", 12, column="a")
    assert errors.sorted_problems([later, second, first, second]) == (first, second, later)


def test_a_data_error_names_the_first_ten_and_keeps_all():
    problems = [
        Problem("not-a-number", "a.csv", row, column="height_in", found=f"x{row}") for row in range(2, 15)
    ]
    error = TrialDataError([*problems, Problem("encoding", "a.csv")])
    text = str(error)
    assert text.startswith("13 problems in the trial data; nothing was computed.")
    assert "x11" in text and "x12" not in text and "3 more" in text and "[encoding]" not in text
    assert len(error.problems) == 14
    assert isinstance(error, ValueError) and isinstance(error, errors.TrialkitError)


def test_one_problem_is_singular():
    assert str(TrialDataError([FULL])).startswith("1 problem in")


@pytest.mark.parametrize(
    ("found", "known", "nearest"),
    [
        ("carbid insert", ["plain_steel", "carbide_insert"], "carbide_insert"),
        ("Front", ["front", "underbody"], "front"),
        ("heigth_in", ["height_in", "counter_mi"], "height_in"),
        ("section-swap", ["section_swap"], "section_swap"),
        ("hammer", ["rule", "tape"], ""),
        ("counter", ["counter_mi", "counter_km"], "counter_mi"),
        ("counter", ["counter_km", "counter_mi"], "counter_km"),
        ("", ["rule"], ""),
        ("x", [], ""),
    ],
)
def test_near_matches(found, known, nearest):
    assert errors.nearest_name(found, known) == nearest
    assert errors.near_match(found, known) == (f'Did you mean "{nearest}"?' if nearest else "")


def test_every_code_is_said_somewhere_and_every_code_said_exists():
    package = Path(trialkit.__file__).parent
    text = "\n".join(
        path.read_text(encoding="utf-8") for path in package.rglob("*.py") if path.name != "errors.py"
    )
    said = set(re.findall(r'(?:Problem|Fault|problem|_problem|_listed)\(\s*"([a-z-]+)"', text))
    assert said <= set(errors.CODES)
    for code, meaning in errors.CODES.items():
        assert meaning.severity in (ERROR, WARNING) and meaning.meaning and not meaning.meaning.endswith(".")
        assert f'"{code}"' in text, f"{code} is never said"
