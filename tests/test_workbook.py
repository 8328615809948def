"""The workbook: values unrounded with their units, links, tables, and text that is never a formula."""

import datetime as dt
import io
import re

import openpyxl
import pandas as pd
import pytest
from document_samples import AWKWARD_TEXTS, awkward_report, meta, report
from report_samples import rates

from trialkit import tables
from trialkit.report import blocks, workbook

NO_ROWS = pd.DataFrame({"code": [], "row": []})
RECORD = {
    "run": "a_1",
    "headline": [{"sentence": "=x", "verdict": "better"}, {"sentence": "Rests on 3 trucks.", "verdict": ""}],
    "inputs": {"a.csv": "12"},
    "limits": [1, 2],
    "settings": {"plan": {"looks": 2}},
    "seed": 7,
}


def made(blocks_of_report, problems=NO_ROWS, decisions=NO_ROWS, record=RECORD):
    return workbook.xlsx(blocks_of_report, problems, decisions, record)


def opened(content):
    return openpyxl.load_workbook(io.BytesIO(content))


def values(page):
    return [[cell.value for cell in row] for row in page.iter_rows()]


@pytest.fixture(scope="module")
def book():
    return opened(made(report()))


def test_there_is_a_sheet_for_each_table_and_figure_and_for_the_data(book):
    assert book.sheetnames == [
        "Contents", "Table 1", "Figure 1", "Figure 2", "Table 2", "Problems", "Decisions", "Columns", "Run",
    ]  # fmt: skip


def test_the_contents_lead_to_every_sheet(book):
    page = book["Contents"]
    assert page["A1"].value == "Cutting edges"
    assert page["A2"].value == "Town of Brenmoor, winter 2030-31, data up to April 2, 2031"
    links = {row[0].value: row for row in page.iter_rows() if row[0].hyperlink}
    assert list(links) == book.sheetnames[1:]
    for name, row in links.items():
        assert row[0].hyperlink.location == f"'{name}'!A1"
        assert row[3].value == book[name].max_row - 1
    assert [cell.value for cell in links["Figure 2"][:3]] == [
        "Figure 2", "Wear", "How many times slower than Plain steel each edge type wears, with its 95% interval; 1 is the "
        "same. An arrow has no end on that side.",
    ]  # fmt: skip


def test_an_interim_report_says_so_in_the_contents():
    page = opened(made(report(interim=True)))["Contents"]
    assert page["A3"].value == "Interim, not for decision."


def test_values_are_not_rounded_and_shown_as_the_report_prints_them():
    # by hand: a third and two thirds of an inch and large miles; a report prints three digits
    frame = pd.DataFrame(
        {
            "edge_type": ["a", "b"],
            "height_in": [1 / 3, 2 / 3],
            "miles_mi": [12345.678, 2.5],
            "n_trucks": [1200, 3],
        }
    )
    page = opened(made([meta(), blocks.table(frame, "t")]))["Table 1"]
    assert [cell.value for cell in page[1]] == ["Edge type", "Height [in]", "Blade-down miles", "Trucks"]
    assert page["B2"].value == 0.3333333333
    assert page["C2"].value == 12345.678
    assert [cell.number_format for cell in page[2]] == ["General", "0.000", "#,##0", "#,##0"]


def test_each_number_has_the_decimals_of_its_own_text():
    frame = pd.DataFrame(
        {"edge_type": ["a", "b"], "reference": "p", "estimate": [2.34, 11.42], "conf_low": [1.4, 6.8], "conf_high": [3.5, 16.8]}
    )  # fmt: skip
    table = blocks.table(frame, "Ratios")
    page = opened(made([meta(), table]))["Table 1"]
    assert [row[2] for row in table.texts] == ["2.3", "11"]
    assert [page.cell(row, 3).number_format for row in (2, 3)] == ["0.0", "0"]
    assert page.cell(3, 3).value == 11.42
    # "1.4 to 3.5" and "6.8 to 17"
    assert [[page.cell(row, place).number_format for place in (4, 5)] for row in (2, 3)] == [
        ["0.0", "0.0"],
        ["0.0", "0"],
    ]


def test_the_contents_say_what_is_rounded_and_what_is_text(book):
    said = [book["Contents"].cell(row, 1).value for row in range(1, 6)]
    assert workbook.ABOUT_VALUES in said and workbook.ABOUT_TEXTS in said


def test_limits_of_whole_numbers_are_whole(book):
    allowed = {(row[0], row[1]): row[7] for row in values(book["Columns"])[1:]}
    assert allowed["edge_types", "sections_n"] == "at least 1, at most 50"
    assert not [words for words in allowed.values() if re.search(r"\.0+\b", words or "")]


def test_both_ends_of_an_interval_are_there_and_the_unit_is_in_every_heading():
    page = opened(made([meta(), blocks.table(rates().table, "Rates", confidence_level=0.95)]))["Table 1"]
    head = [cell.value for cell in page[1]]
    assert len(set(head)) == len(head)
    assert [words for words in head if words.endswith("[in/1000 mi]")] == head[2:5]
    assert [cell.value for cell in page[2]][2:5] == [1.5, 1.2, 1.8]


def test_dates_and_yes_or_no_and_missing_values():
    frame = pd.DataFrame(
        {
            "date": [pd.Timestamp("2031-01-14"), pd.Timestamp("2031-01-14 05:30"), pd.NaT],
            "ok": [True, False, None],
            "note": ["2031-01-14 was cold", None, "x"],
        }
    )
    page = opened(made([meta(), blocks.table(frame, "t")]))["Table 1"]
    assert [row[0] for row in values(page)[1:]] == [
        dt.datetime(2031, 1, 14),
        dt.datetime(2031, 1, 14, 5, 30),
        None,
    ]
    assert [page.cell(row, 1).number_format for row in (2, 3)] == ["yyyy-mm-dd", "yyyy-mm-dd hh:mm"]
    assert [row[1] for row in values(page)[1:]] == ["yes", "no", None]
    assert [row[2] for row in values(page)[1:]] == ["2031-01-14 was cold", None, "x"]


def test_sheets_have_a_frozen_header_and_a_named_table(book):
    names = set()
    for name in book.sheetnames[1:]:
        page = book[name]
        assert page.freeze_panes == "B2"
        for table in page.tables.values():
            assert table.ref == page.dimensions
            names.add(table.displayName)
            assert [column.name for column in table.tableColumns] == [cell.value for cell in page[1]]
    assert len(names) == len(book.sheetnames) - 3  # not the contents, and no table around no rows


def test_headings_that_agree_are_told_apart():
    frame = pd.DataFrame([[1, 2, 3]], columns=["a", "b", "c"])
    table = blocks.table(frame, "t", headings={"a": "Same", "b": "same", "c": " "})
    page = opened(made([meta(), table]))["Table 1"]
    assert [cell.value for cell in page[1]] == ["Same", "same (2)", "Column"]


def test_all_problems_and_decisions_are_there():
    problems = pd.DataFrame({"code": [f"c{number}" for number in range(300)], "row": range(300)})
    decisions = pd.DataFrame(
        {"row_key": ["S1 | 1"], "action": ["exclude"], "when": [pd.Timestamp("2031-02-01")]}
    )
    book = opened(made(report(), problems, decisions))
    assert book["Problems"].max_row == 301
    assert values(book["Decisions"])[1] == ["S1 | 1", "exclude", dt.datetime(2031, 2, 1)]


def test_the_dictionary_holds_every_column_of_every_table(book):
    rows = values(book["Columns"])[1:]
    assert [(row[0], row[1]) for row in rows] == [
        (table.name, column.name) for table in tables.TABLES.values() for column in table.columns
    ]
    by_name = {(row[0], row[1]): row for row in rows}
    height = by_name["wear_readings", "height_in"]
    assert height[3] == "in"
    assert height[6] == "yes"
    assert by_name["set_events", "event"][7].startswith("install, remove")
    assert by_name["edge_sets", "edge_type"][7] == "as in edge_types"


def test_the_record_of_the_run_is_told_line_by_line(book):
    assert values(book["Run"])[1:] == [
        ["Finding 1", "Better: =x"],
        ["Finding 2", "Rests on 3 trucks."],
        ["Run", "a_1"],
        ["SHA-256 of a.csv", "12"],
        ["limits", "[1, 2]"],
        ["Setting plan.looks", 2],
        ["Seed of random numbers", 7],
    ]


@pytest.mark.parametrize("name", AWKWARD_TEXTS)
def test_text_from_data_comes_out_as_typed_and_is_never_a_formula(name):
    frame = pd.DataFrame({"row_key": [name], "found": [name]})
    book = opened(made(awkward_report(name), frame, frame, {name or "x": name}))
    kinds, seen = set(), 0
    for page in book:
        for row in page.iter_rows():
            for cell in row:
                kinds.add(cell.data_type)
                seen += cell.value == name
                if isinstance(cell.value, str) and cell.value.startswith(workbook._STARTS_OF_FORMULAS):
                    assert cell.data_type == "s"
                    assert cell.quotePrefix
    assert not kinds & {"f", "e"}
    assert seen >= 8
    assert book.properties.creator == name


def test_the_same_blocks_give_the_same_bytes():
    assert made(report()) == made(report())


def test_sheets_print_across_and_as_wide_as_the_paper(book):
    for page in book:
        assert page.page_setup.orientation == "landscape"
        assert page.sheet_properties.pageSetUpPr.fitToPage
        assert page.page_setup.fitToHeight == 0


def test_rows_of_the_contents_are_as_high_as_their_words():
    whole = [
        meta(),
        blocks.table(pd.DataFrame({"a": [1]}), "word " * 40),
        blocks.table(pd.DataFrame({"a": [1]}), "short"),
    ]
    page = opened(made(whole))["Contents"]
    heights = {
        row[0].value: page.row_dimensions[row[0].row].height for row in page.iter_rows() if row[0].hyperlink
    }
    # by hand: 200 letters over a column of 70 take three lines of 15 pt
    assert (heights["Table 1"], heights["Table 2"]) == (45.0, 15.0)
