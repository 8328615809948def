"""One CSV file: encodings, separators, quotation marks, ragged rows, and the rows of the spreadsheet."""

import csv
import io

import pandas as pd
import pytest
from conftest import TABLES, replaced
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.tables import TRUCKS, WEAR_READINGS
from trialkit.trial import delimited, headings
from trialkit.trial.delimited import read_delimited

PLAIN = TABLES["wear_readings"]
HEADER = PLAIN.split("\n")[0]
SHORT = "truck_id,plow_position,notes\n"


def read(content, table=WEAR_READINGS):
    data = content if isinstance(content, bytes) else content.encode()
    return read_delimited(data, table, "a.csv")


def rows(content, table=TRUCKS):
    """Cells by spreadsheet row, NA as None."""
    raw, problems = read(content, table)
    cells = raw.frame.astype(object).where(raw.frame.notna(), None)
    return {
        row: list(values) for row, values in zip(cells.index, cells.to_numpy().tolist(), strict=True)
    }, problems


def test_every_cell_is_text_under_its_header_and_row():
    raw, problems = read(PLAIN)
    assert problems == []
    assert raw.frame.shape == (36, 10) and raw.frame.index.name == "row"
    assert list(raw.frame.index) == list(range(2, 38))
    assert list(raw.frame.columns) == HEADER.split(",") == [h.spelled for h in raw.headings]
    assert all(str(dtype) == "category" for dtype in raw.frame.dtypes)
    assert raw.frame.loc[5, "height_in"] == "5.600"


def test_codes_that_look_like_numbers_stay_text():
    cells, _ = rows(SHORT + "007,front,1e5\n7,front,NA\n7.0,front,true\n")
    assert cells == {2: ["007", "front", "1e5"], 3: ["7", "front", "NA"], 4: ["7.0", "front", "true"]}


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + PLAIN.encode(),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.rstrip("\n").encode(),
        (PLAIN + "\n\n,,,\n").encode(),
        PLAIN.replace(",", " , ").encode(),
        "\n".join(f'"{line}"'.replace(",", '","') for line in PLAIN.strip().split("\n")).encode(),
        "\n".join(f"{line},," for line in PLAIN.strip().split("\n")).encode(),
    ],
    ids=[
        "byte order mark",
        "crlf",
        "cr",
        "no last line end",
        "blank rows below",
        "spaces",
        "quoted",
        "blank columns",
    ],
)
def test_ways_to_save_the_same_table(content):
    raw, problems = read(content)
    expected, _ = read(PLAIN)
    assert problems == []
    assert raw.frame.astype(object).equals(expected.frame.astype(object))


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32"])
def test_marked_wide_encodings_are_read_with_a_warning(encoding):
    raw, (problem,) = read(
        replaced("trucks", "T1,front,11,trip_edge,north", "Zoë,front,11,trip_edge,north").encode(encoding),
        TRUCKS,
    )
    assert (problem.code, problem.stops) == ("encoding", False)
    assert encoding.upper() in problem.found and raw.frame.loc[2, "truck_id"] == "Zoë"


@pytest.mark.parametrize(
    ("encoding", "name", "letter"),
    [("cp1252", "Windows-1252", "ë"), ("cp1252", "Windows-1252", "–"), ("latin-1", "Latin-1", "\x81ë")],
)
def test_one_byte_letters_are_read_with_a_warning_that_shows_them(encoding, name, letter):
    text = TABLES["trucks"].replace("T3", f"Zo{letter}")
    raw, (problem,) = read(text.encode(encoding), TRUCKS)
    assert (problem.code, problem.found) == ("encoding", name)
    assert f"Zo{headings.shown(letter)}" in problem.fix
    assert raw.frame.loc[4, "truck_id"] == f"Zo{letter}"


def test_utf8_is_read_in_silence_even_across_the_blocks_it_is_checked_in(monkeypatch):
    monkeypatch.setattr(delimited, "_BLOCK", 7)
    cells, problems = rows(SHORT + "Zoë,front,ñandú €\n–,front,\n")
    assert problems == [] and cells == {2: ["Zoë", "front", "ñandú €"], 3: ["–", "front", None]}
    raw, (problem,) = read((SHORT + "Zoë,front,caf\xe9\n").encode("latin-1"), TRUCKS)
    assert problem.code == "encoding" and raw.frame.loc[2, "truck_id"] == "Zoë"
    assert '"_id,plow_pos' not in problem.fix and "Zoë" in problem.fix


@pytest.mark.parametrize(
    "content",
    [
        PLAIN.encode("utf-16-le"),
        b"PK\x03\x04 a workbook",
        b"\xd0\xcf\x11\xe0 an old workbook",
        b"%PDF-1.7",
        bytes(range(256)),
        b"\xff\xfe\x00",
        b"\xff\xfe\x00\xd8",
    ],
    ids=["unmarked", "xlsx", "xls", "pdf", "bytes", "half a letter", "half a pair"],
)
def test_what_is_no_text_is_said_once(content):
    raw, (problem,) = read(content)
    assert raw is None and problem.code == "file-unreadable" and problem.fix


def test_a_few_nul_bytes_are_shown_in_their_cell():
    raw, problems = read(PLAIN.replace("R2", "R\0", 1))
    assert problems == [] and headings.NUL_SHOWN in "".join(raw.frame["reader"].cat.categories)


@pytest.mark.parametrize(("sign", "name"), [(";", "semicolons"), ("\t", "tabs"), ("|", "vertical bars")])
def test_another_separator_is_one_problem(sign, name):
    raw, (problem,) = read(PLAIN.replace(".", ",").replace(",", sign))
    assert (
        raw is None and problem.code == "delimiter" and problem.found == name and problem.allowed == "commas"
    )


def test_a_line_that_tells_the_separator_is_not_a_header():
    raw, (problem,) = read("sep=;\n" + PLAIN.replace(",", ";"))
    assert raw is None and problem.code == "delimiter"


@pytest.mark.parametrize("content", [b"", b"\n\n", b"  \r\n , ,\n", b"\xef\xbb\xbf"])
def test_nothing_in_the_file(content):
    raw, (problem,) = read(content)
    assert raw is None and problem.code == "file-empty" and "set_id, date" in problem.fix


def test_a_header_alone_is_a_table_without_rows():
    for content in (HEADER, HEADER + "\n", HEADER + "\n\n,,\n"):
        raw, problems = read(content)
        assert problems == [] and raw.frame.shape == (0, 10)


def test_blank_rows_count_as_rows_of_the_spreadsheet():
    cells, problems = rows("\n,,\n" + SHORT + "T1,front,\n\n , \nT2,front,x\n,,\n")
    assert problems == [] and cells == {4: ["T1", "front", None], 7: ["T2", "front", "x"]}


def test_commas_and_line_breaks_within_quotation_marks():
    cells, problems = rows(
        SHORT + 'T1,front,"worn, then\nflipped"\nT2,front,"a ""short"" note"\nT3,front,5.4"\n'
    )
    assert problems == []
    assert cells == {
        2: ["T1", "front", "worn, then\nflipped"],
        3: ["T2", "front", 'a "short" note'],
        4: ["T3", "front", '5.4"'],
    }


def test_a_row_with_too_many_cells_is_an_error_for_that_row():
    raw, (problem,) = read(PLAIN.replace("5.600", "5,600"))
    assert (problem.code, problem.row, problem.found) == ("row-cells", 5, "11 cells")
    assert "10 cells" in problem.allowed and "5.375, not 5,375" in problem.fix
    assert raw.wide_rows == {5} and len(raw.frame) == 36


def test_a_comma_too_many_at_the_end_of_one_row_shifts_nothing_but_is_said():
    _, (problem,) = read(PLAIN.replace("5.600,200,R1,caliper,0.005,no", "5.600,200,R1,caliper,0.005,no,"))
    assert (problem.code, problem.row) == ("row-cells", 5)


@pytest.mark.parametrize("quoted", ["", '"a, b"'])
def test_a_row_with_too_few_cells_is_a_warning(quoted):
    cells, (problem,) = rows(SHORT + f"T1,front\nT2,front,{quoted}\n")
    assert (problem.code, problem.row, problem.found, problem.stops) == ("row-short", 2, "2 cells", False)
    assert cells[2] == ["T1", "front", None]


def test_short_and_long_rows_in_any_order(monkeypatch):
    monkeypatch.setattr(delimited, "_BLOCK", 16)
    monkeypatch.setattr(delimited, "_PIECE", 2)
    lines = ["T1,front", "T2,front", "T3,front", "T4,front,x,y", "T5,front,x", ",,,,,,", "T6"]
    for text in ("\n".join(lines), "\n".join(lines[::-1]), "\n".join([*lines, 'T7,front,"a, b"'])):
        cells, problems = rows(SHORT + text)
        assert sorted(p.code for p in problems) == ["row-cells", *["row-short"] * 4]
        assert {values[0] for values in cells.values()} >= {f"T{number}" for number in range(1, 7)}


def test_very_many_ragged_rows_are_counted():
    _, problems = read(SHORT + "T1,front,x,y\n" * 1500, TRUCKS)
    assert len(problems) == 1001 and "500 more rows" in problems[-1].found and problems[-1].row is None


@pytest.mark.parametrize(
    ("content", "row"),
    [
        (PLAIN.replace("S1,2030-12-18,1", '"S1,2030-12-18,1'), 5),
        ('"' + PLAIN, 1),
        ('"' + PLAIN * 200, 1),
        (PLAIN + 'S4,2031-02-01,1,1,4.9,600,R2,caliper,0.005,"no\n', 38),
        (PLAIN + 'S4,2031-02-01,1,1,4.9,600,R2,caliper,0.005,"no\n' + PLAIN * 200, 38),
        (PLAIN.replace("0.005,no", '0.005,"no', 2), 5),
    ],
    ids=[
        "in a row",
        "in the header",
        "in the header of a long file",
        "at the end",
        "far above the end",
        "closed by another",
    ],
)
def test_a_quotation_mark_that_stays_open(content, row):
    raw, problems = read(content)
    assert raw is None and problems[-1].code == "quote-open" and problems[-1].row == row


def test_a_parser_that_sees_other_rows_is_not_trusted(monkeypatch):
    monkeypatch.setattr(delimited, "_rows", lambda *_: delimited._Rows(35))
    raw, (problem,) = read(PLAIN)
    assert raw is None and problem.code == "quote-open" and problem.row is None


def test_a_parser_that_gives_up_is_a_problem(monkeypatch):
    def give_up(*_, **__):
        raise pd.errors.ParserError("Buffer overflow caught")

    monkeypatch.setattr("pandas.read_csv", give_up)
    raw, (problem,) = read(PLAIN)
    assert raw is None and problem.code == "quote-open"


def test_cells_without_a_header():
    raw, (problem,) = read("truck_id,plow_position,,\nT1,front,,\nT2,front,,spare\n", TRUCKS)
    assert (problem.code, problem.row, problem.column, problem.found) == (
        "column-unnamed",
        3,
        "column 4",
        "spare",
    )
    assert list(raw.frame.columns) == ["truck_id", "plow_position"]


def test_header_problems_are_passed_on():
    raw, (problem,) = read("T1,front,11\nT2,front,11\n", TRUCKS)
    assert raw is None and problem.code == "file-empty"
    raw, (problem,) = read("truck_id,plow_position,weather\nT1,front,fair\n", TRUCKS)
    assert problem.code == "column-unknown" and raw.frame.loc[2, "weather"] == "fair"


CELL = st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\r\0"), max_size=8)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(CELL, CELL, CELL), max_size=6))
def test_what_a_csv_writer_writes_is_read_back(written):
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerows([["truck_id", "plow_position", "notes"], *written])
    raw, problems = read(file.getvalue(), TRUCKS)
    if any(problem.code in ("file-unreadable", "quote-open") for problem in problems):
        assert raw is None  # many unprintable characters, or cells of several lines that look like rows
        return
    expected = {
        row: [cell.strip(headings.BLANK) or None for cell in cells]
        for row, cells in enumerate(written, start=2)
        if any(cell.strip(headings.BLANK) for cell in cells)
    }
    assert rows(file.getvalue())[0] == expected


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=200),
    st.sampled_from([b"", SHORT.encode(), b"\xff\xfe", b'truck_id,"plow_position"\n']),
)
def test_no_bytes_are_too_odd(tail, head):
    raw, problems = read_delimited(head + tail, TRUCKS, "a.csv")
    assert raw is not None or problems
    for problem in problems:
        assert str(problem).isprintable()


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet='T1,"\n\r ;x', max_size=60))
def test_no_mixture_of_signs_is_too_odd(tail):
    raw, problems = read(SHORT + tail, TRUCKS)
    assert (raw is None) == any(p.code in ("quote-open", "delimiter") for p in problems)
