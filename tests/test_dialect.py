"""Added rows look like the ones that are there."""

import codecs

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.logbook import dialect
from trialkit.logbook.dialect import Dialect, dialect_of, with_columns
from trialkit.tables import TABLES
from trialkit.trial.delimited import read_delimited

STORMS = TABLES["storms"]
ROW = ["W2", "2031-01-02", "3.5"]


def grown(data, *rows):
    found = dialect_of(data)
    assert found is not None
    return data + found.tail(rows)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"storm_id,start,snow_in\nW1,2031-01-01,2\n", b"W2,2031-01-02,3.5\n"),
        (b"storm_id,start,snow_in\r\nW1,2031-01-01,2\r\n", b"W2,2031-01-02,3.5\r\n"),
        (b"storm_id,start,snow_in\rW1,2031-01-01,2\r", b"W2,2031-01-02,3.5\r"),
        (b"storm_id,start,snow_in\r\nW1,2031-01-01,2", b"\r\nW2,2031-01-02,3.5\r\n"),
        (b"storm_id,start,snow_in", b"\nW2,2031-01-02,3.5\n"),
        (b'"storm_id","start","snow_in"\n"W1","2031-01-01","2"\n', b'"W2","2031-01-02","3.5"\n'),
        (b'"storm_id","start","snow_in"\n"W1","2031-01-01",2\n', b'"W2","2031-01-02",3.5\n'),
        (b'storm_id,start,snow_in\n"W1, big",2031-01-01,2\n', b"W2,2031-01-02,3.5\n"),
        (b'storm_id,"start",snow_in\n"W1",2031-01-01,"2"\n', b"W2,2031-01-02,3.5\n"),
        (codecs.BOM_UTF8 + b"storm_id,start,snow_in\nW1,2031-01-01,2\n", b"W2,2031-01-02,3.5\n"),
        (b"\n,,\nstorm_id,start,snow_in\nW1,2031-01-01,2\n", b"W2,2031-01-02,3.5\n"),
    ],
)
def test_rows_are_added_in_the_way_of_the_file(data, expected):
    assert grown(data, ROW) == data + expected


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-32", "utf-32-be"])
def test_wide_encodings_go_on(encoding):
    text = "storm_id,start,snow_in\r\nNoël,2031-01-01,2\r\n"
    mark = {"utf-16-be": codecs.BOM_UTF16_BE, "utf-32-be": codecs.BOM_UTF32_BE}.get(encoding, b"")
    data = grown(mark + text.encode(encoding), ROW)
    assert data.decode(encoding).lstrip("\ufeff") == text + "W2,2031-01-02,3.5\r\n"


def test_one_byte_letters_go_on_and_others_are_not_held():
    found = dialect_of("storm_id,start\nNoël,2031-01-01\n".encode("cp1252"))
    assert found.encoding == "cp1252" and found.tail([["Zoë €", ""]]) == "Zoë €,\n".encode("cp1252")
    assert found.can_hold("Zoë €") and not found.can_hold("Łódź")
    odd = dialect_of(b"storm_id,start\nNo\xebl\x81,2031-01-01\n")
    assert odd.encoding == "latin-1" and not odd.can_hold("€")
    assert not Dialect(("a",)).can_hold("\ud800")


def test_cells_that_need_marks_get_them():
    found = Dialect(("a", "b"))
    assert found.line(['5 3/8"', "x, y\r\nz"]) == '"5 3/8""","x, y\nz"\n'
    assert found.new_file([["1", ""]]) == b"a,b\n1,\n"
    assert Dialect(("a", "b"), is_open=True).tail([]) == b""


def test_blanks_in_marks_go_on():
    found = dialect_of(b'"storm_id","start"\n"W1",""\n')
    assert found.quoted == dialect.ALL_AND_BLANKS and found.line(["", "x"]) == '"","x"\n'
    assert Dialect(("a", "b"), quoted=dialect.ALL).line(["", "x"]) == ',"x"\n'


@pytest.mark.parametrize("data", [b"", b"\n\n", b"PK\x03\x04", b'"' + b"x" * 200_000])
def test_what_is_no_table_has_no_dialect(data):
    assert dialect_of(data) is None
    with pytest.raises(ValueError, match="cannot be read"):
        with_columns(data, ["x"])


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"storm_id,start\nW1,2031-01-01\n", b"storm_id,start,notes,note 2\nW1,2031-01-01,,\n"),
        (b"storm_id,start\r\nW1,2031-01-01", b"storm_id,start,notes,note 2\r\nW1,2031-01-01,,"),
        (b"storm_id,start\n\nW1\n", b"storm_id,start,notes,note 2\n\nW1,,,\n"),
        (b'"storm_id","start"\n"a\nb","x"\n', b'"storm_id","start","notes","note 2"\n"a\nb","x",,\n'),
        (
            codecs.BOM_UTF8 + b'"storm, id",start\nW1,x\n',
            codecs.BOM_UTF8 + b'"storm, id",start,notes,note 2\nW1,x,,\n',
        ),
        (b"\n,\nstorm_id,start\nW1,x\n", b"\n,\nstorm_id,start,notes,note 2\nW1,x,,\n"),
    ],
)
def test_columns_are_added_at_the_right_and_all_else_stays(data, expected):
    assert with_columns(data, ["notes", "note 2"]) == expected


CELL = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\0\r␀"), max_size=6
).flatmap(lambda text: st.sampled_from([text, text + "\n", "\n" + text]))


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=5),
    line_end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-16-le"]),
    quoted=st.sampled_from([dialect.WHERE_NEEDED, dialect.TEXTS, dialect.ALL, dialect.ALL_AND_BLANKS]),
    is_open=st.booleans(),
)
def test_what_is_added_reads_back(rows, line_end, encoding, quoted, is_open):
    first = Dialect(("storm_id", "start", "snow_in"), encoding, line_end, quoted=quoted)
    mark = codecs.BOM_UTF16_LE if encoding == "utf-16-le" else b""
    data = mark + first.new_file([["W1", "2031-01-01", "2"]])
    if is_open:
        data = data[: -len(line_end.encode(encoding))]
    rows = [row for row in rows if any(cell.strip(" \t\n\u00a0\u2007\u202f\u3000\ufeff") for cell in row)]
    after = grown(data, *rows)
    assert after.startswith(data)
    raw, problems = read_delimited(after, STORMS, "storms.csv")
    if (
        raw is None
    ):  # a cell of several lines that looks like rows run together; `growth` keeps such a row out
        assert any("\n" in cell and "," in cell for row in rows for cell in row), problems
        return
    blank = " \t\r\n\u00a0\u2007\u202f\u3000\ufeff"
    found = raw.frame.astype(object).where(raw.frame.notna(), "").to_numpy().tolist()
    assert found == [["W1", "2031-01-01", "2"], *([cell.strip(blank) for cell in row] for row in rows)]
