"""One workbook: what its cells become, and why a workbook is not opened."""

import datetime as dt
import io
import zipfile

import pytest
from conftest import write_trial
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.chart import BarChart

from trialkit.trial import workbooks
from trialkit.trial.workbooks import read_workbook

HEADER = ["truck_id", "plow_position", "plow_width_ft", "spreader_calibrated_on", "notes"]


def saved(book):
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def sheet_of(*rows, title="trucks"):
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    return book


def read(*rows, title="trucks"):
    return read_workbook(saved(sheet_of(*rows, title=title)), "trial.xlsx")


def cells(book, table="trucks"):
    frame = book.tables[table].frame
    return {
        row: [None if cell != cell else cell for cell in values]
        for row, *values in frame.astype(object).itertuples()
    }


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (101, "101"), (101.0, "101"), (5.375, "5.375"), (0.1, "0.1"), (1e20, "1e+20"), ("  T1 ", "T1"), ("   ", None), (None, None),
        (True, "TRUE"), (dt.date(2031, 1, 14), "2031-01-14"), (dt.datetime(2031, 1, 14, 5, 30), "2031-01-14T05:30:00"),
        (dt.datetime(2031, 1, 14, 5, 29, 59, 999_000), "2031-01-14T05:30:00"), (dt.time(5, 30), "05:30:00"), ("#REF!", "#REF!"),
        ("5 3/8", "5 3/8"), ("007", "007"),
    ],
)  # fmt: skip
def test_a_cell_becomes_what_a_csv_would_hold(value, text):
    assert cells(read(HEADER, ["T1", "front", value]))[2][2] == text


def test_rows_are_numbered_as_the_spreadsheet_does():
    book = sheet_of([], [None, None], HEADER, ["T1", "front"], [], ["T2", "front"])
    book.active["C9"] = 11
    result = read_workbook(saved(book), "trial.xlsx")
    assert result.problems == [] and list(cells(result)) == [4, 6, 9]
    assert result.named == {"trucks": "trial.xlsx [trucks]"} and result.is_open


def test_sheet_names_may_differ_in_case_and_spaces_around():
    assert set(read(HEADER, ["T1", "front"], title="Trucks ").tables) == {"trucks"}


def test_sheets_that_are_no_table():
    book = sheet_of(HEADER, ["T1", "front"])
    for title in ("README", "_lists", "Sheet2", "truck"):
        book.create_sheet(title)
        if title != "Sheet2":
            book[title]["A1"] = "x"
    book.create_chartsheet("chart").add_chart(BarChart())
    result = read_workbook(saved(book), "trial.xlsx")
    assert result.others == ["truck"] and result.problems == []


def test_a_table_on_two_sheets():
    book = sheet_of(HEADER, ["T1", "front"], title="trucks")
    book.create_sheet(" trucks").append(HEADER)
    (problem,) = read_workbook(saved(book), "trial.xlsx").problems
    assert (
        problem.code == "table-twice"
        and problem.file == "trial.xlsx [ trucks]"
        and "trial.xlsx [trucks]" in problem.found
    )


def test_a_sheet_without_a_header():
    (problem,) = read(title="trucks").problems
    assert (problem.code, problem.file) == ("file-empty", "trial.xlsx [trucks]")
    result = read(["T1", "front", 11])
    assert (
        [p.code for p in result.problems] == ["file-empty"]
        and result.tables == {}
        and "trucks" in result.named
    )


def test_header_problems_are_passed_on():
    result = read(["truck_id", "plow_position", "Plow-Width"], ["T1", "front", 11])
    assert [p.code for p in result.problems] == ["column-unknown"] and cells(result)[2] == [
        "T1",
        "front",
        "11",
    ]


def test_cells_beside_the_table():
    result = read(["truck_id", "plow_position"], ["T1", "front", None, "look at this"], ["T2", "front"])
    (problem,) = result.problems
    assert (problem.code, problem.row, problem.found) == (
        "row-cells",
        2,
        "4 cells",
    ) and "2 cells" in problem.allowed
    assert result.tables["trucks"].wide_rows == {2}


def test_very_many_cells_beside_the_table_are_counted():
    result = read(["truck_id", "plow_position"], *[["T1", "front", "x"]] * 1003)
    assert len(result.problems) == 1001 and "3 more rows" in result.problems[-1].found


def test_cells_without_a_header():
    result = read(["truck_id", None, "plow_position"], ["T1", None, "front"], ["T2", "spare", "front"])
    (problem,) = result.problems
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "column-unnamed",
        3,
        "column 2",
        "spare",
    )
    assert cells(result)[3] == ["T2", "front"]


def with_xml(data, old, new):
    """The workbook with one piece of its first sheet's XML replaced."""
    changed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as before, zipfile.ZipFile(changed, "w") as after:
        for part in before.namelist():
            content = before.read(part)
            if part == "xl/worksheets/sheet1.xml":
                assert old in content
                content = content.replace(old, new)
            after.writestr(part, content)
    return changed.getvalue()


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (b'<c r="C2"><f>A1*2</f><v>11.5</v></c>', "11.5"),
        (b'<c r="C2" t="str"><f>A1&amp;"x"</f><v>wide</v></c>', "wide"),
        (b'<c r="C2" t="str"><f>""</f><v></v></c>', None),
        (b'<c r="C2" t="e"><f>1/0</f><v>#DIV/0!</v></c>', "#DIV/0!"),
        (b'<c r="C2"><f>A1*2</f></c>', "=A1*2"),
        (b'<c r="C2"><f>A1*2</f><v></v></c>', "=A1*2"),
        (b'<c r="C2"><f t="array" ref="C2">SUM(A1)</f></c>', "=SUM(A1)"),
        (b'<c r="C2"><f t="shared" ref="C2" si="0">A1*2</f></c>', "=A1*2"),
    ],
)
def test_formulas_give_their_saved_value_or_themselves(cell, text):
    data = with_xml(
        saved(sheet_of(HEADER, ["T1", "front", 12345])), b'<c r="C2" t="n"><v>12345</v></c>', cell
    )
    assert cells(read_workbook(data, "trial.xlsx"))[2][2] == text


def test_a_formula_as_openpyxl_saves_it_has_no_value():
    assert cells(read(HEADER, ["T1", "front", "=1+1"]))[2][2] == "=1+1"


def test_a_date_that_no_spreadsheet_can_show_is_an_error_value():
    book = sheet_of(HEADER, ["T1", "front", 1, 99999999])
    book.active["D2"].number_format = "yyyy-mm-dd"
    assert cells(read_workbook(saved(book), "trial.xlsx"))[2][3] == "#VALUE!"


def bomb():
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b"0" * 3_000_000)
    return data.getvalue()


def test_a_workbook_that_unpacks_to_too_much_is_not_opened(monkeypatch):
    monkeypatch.setattr(workbooks, "MOST_UNPACKED_BYTES", 2 * 1024**2)
    result = read_workbook(bomb(), "trial.xlsx")
    (problem,) = result.problems
    assert (
        problem.code == "file-unreadable"
        and problem.found == "2 MB unpacked"
        and problem.allowed == "up to 2 MB unpacked"
    )
    assert not result.is_open and "CSV" in problem.fix


def test_a_workbook_of_very_many_parts_is_not_opened(monkeypatch):
    monkeypatch.setattr(workbooks, "MOST_PARTS", 5)
    (problem,) = read_workbook(saved(sheet_of(HEADER, ["T1", "front"])), "trial.xlsx").problems
    assert problem.code == "file-unreadable" and problem.allowed == "up to 5 parts"


def with_part(name, content=b"<x/>"):
    data = io.BytesIO(saved(sheet_of(HEADER, ["T1", "front"])))
    with zipfile.ZipFile(data, "a") as parts:
        parts.writestr(name, content)
    return data.getvalue()


@pytest.mark.parametrize(
    ("part", "found"),
    [
        ("xl/externalLinks/externalLink1.xml", "links to other workbooks"),
        ("XL/ExternalLinks/externalLink1.xml", "links to other workbooks"),
        ("xl/connections.xml", "connections to data elsewhere"),
        ("xl/queryTables/queryTable1.xml", "connections to data elsewhere"),
        ("xl/vbaProject.bin", "macros"),
    ],
)
def test_a_workbook_that_brings_in_what_is_elsewhere_is_not_opened(part, found):
    result = read_workbook(with_part(part), "trial.xlsx")
    (problem,) = result.problems
    assert problem.found == found and "Break the links" in problem.fix and not result.is_open


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("before", [0, 2**20 - 4])
def test_a_workbook_that_declares_words_is_not_opened(encoding, before):
    bomb_of_words = '<?xml version="1.0"?>' + " " * before + '<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'
    result = read_workbook(with_part("xl/custom.xml", bomb_of_words.encode(encoding)), "trial.xlsx")
    (problem,) = result.problems
    assert problem.found == "declarations in xl/custom.xml" and not result.is_open


def test_cells_far_apart_are_not_counted_out_for_ever(monkeypatch):
    monkeypatch.setattr(workbooks, "MOST_CELLS", 100_000)
    book = Workbook()
    sheet = book.active
    sheet.title = "trucks"
    sheet.append(HEADER)
    for row in range(2, 20):
        sheet.cell(row, 16_384, "x")
    (problem,) = read_workbook(saved(book), "trial.xlsx").problems
    assert problem.code == "file-unreadable" and "more than 100,000 cells" in problem.found


def test_a_row_beyond_the_last_is_damage():
    data = with_xml(saved(sheet_of(HEADER, ["T1", "front"])), b'<row r="2"', b'<row r="99999999"')
    data = with_xml(data, b'r="A2"', b'r="A99999999"')
    result = read_workbook(data, "trial.xlsx")
    assert not result.is_open and "1,048,576" in result.problems[0].found


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "not a workbook, or damaged"),
        (b"just text", "not a workbook, or damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "protected by a password, or in the old .xls form"),
        (bomb(), "xl/worksheets/sheet1.xml unpacks to 1,0"),
    ],
)
def test_why_a_workbook_is_not_opened(data, found):
    result = read_workbook(data, "trial.xlsx")
    (problem,) = result.problems
    assert problem.code == "file-unreadable" and found in problem.found and problem.fix and not result.is_open


def test_an_encrypted_archive_is_not_opened():
    data = bytearray(bomb())
    data[data.index(b"PK\x01\x02") + 8] |= 1
    (problem,) = read_workbook(bytes(data), "trial.xlsx").problems
    assert "password" in problem.found


@pytest.fixture(scope="module")
def workbook_bytes(tmp_path_factory):
    return (write_trial(tmp_path_factory.mktemp("book"), workbook=True) / "trial.xlsx").read_bytes()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_a_workbook_cut_short(workbook_bytes, share):
    result = read_workbook(workbook_bytes[: int(share * len(workbook_bytes))], "trial.xlsx")
    assert [p.code for p in result.problems] == ["file-unreadable"]


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_no_damage_is_too_odd(workbook_bytes, data):
    damaged = bytearray(workbook_bytes)
    for place in data.draw(st.lists(st.integers(0, len(damaged) - 1), min_size=1, max_size=8)):
        damaged[place] = data.draw(st.integers(0, 255))
    result = read_workbook(bytes(damaged), "trial.xlsx")
    assert result.tables or result.problems or not result.named


XML = st.sampled_from(
    [b"<v>", b"</v>", b"<c ", b'r="', b't="s"', b'"2"', b"</row>", b'<row r="3"', b"<f>", b'ref="']
)


@settings(max_examples=25, deadline=None)
@given(old=XML, new=st.binary(max_size=6))
def test_no_sheet_is_too_odd(old, new):
    data = saved(sheet_of(HEADER, ["T1", "front", 11, dt.date(2031, 1, 14), "x"], ["T2", "front"]))
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        if old not in parts.read("xl/worksheets/sheet1.xml"):
            return
    result = read_workbook(with_xml(data, old, new), "trial.xlsx")
    assert result.tables or result.problems
