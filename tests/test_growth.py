"""The bytes that are added to a file, and what a reader makes of them."""

import hashlib

import pytest

from trialkit.logbook.growth import columns_without_place, existing_target, grown, new_target, widened
from trialkit.tables import TABLES
from trialkit.trial.delimited import read_delimited
from trialkit.trial.typed_tables import read_typed_table


def typed(table, text, file="new.csv"):
    raw, _ = read_delimited(text.encode(), TABLES[table], file)
    return read_typed_table(TABLES[table], file, raw)


def target(table, data, tmp_path):
    data = data if isinstance(data, bytes) else data.encode()
    path = tmp_path / f"{table}.csv"
    raw, _ = read_delimited(data, TABLES[table], path.name)
    return existing_target(TABLES[table], path, hashlib.sha256(data).hexdigest(), data, raw)


def grow(table, there, here, tmp_path):
    incoming = typed(table, here)
    return grown(incoming, range(len(incoming.rows)), target(table, there, tmp_path))


def test_cells_go_where_the_file_has_them_in_its_units_and_spelling(tmp_path):
    there = "Note,HEIGHT_MM,mine,station,set_id,date,,counter_km\n,150,,1,S1,2031-01-01,,1\n\n"
    here = 'set_id,date,station,height_in,counter_mi,note,Mine\nS1,2031-02-01,1,5 3/8,100,"a, b",x\nS1,2031-02-01,2,,,,\n'
    growth, not_kept = grow("wear_readings", there, here, tmp_path)
    assert (
        growth.tail == b'"a, b",136.525,x,1,S1,2031-02-01,,160.9344\n,,,2,S1,2031-02-01,,\n'
        and not_kept == []
    )
    assert (
        growth.raw.frame.index.tolist() == [4, 5]
        and growth.position_of(5) == 1
        and growth.position_of(3) is None
    )
    assert growth.joined().frame.index.tolist() == [2, 4, 5]
    again, _ = read_delimited(there.encode() + growth.tail, TABLES["wear_readings"], "wear_readings.csv")
    assert again.frame.astype(object).equals(growth.joined().frame.astype(object))
    assert again.next_row == growth.joined().next_row == 6


def test_a_fraction_survives_where_the_units_agree(tmp_path):
    there = "set_id,date,station,height_in\n"
    here = (
        "set_id,date,station,height_in\nS1,2031-02-01,1,5 3/8\nS1,2031-02-01,2,5⅜\nS1,2031-02-01,3,5.3750\n"
    )
    assert "5 3/8\n" in grow("wear_readings", there, here, tmp_path)[0].tail.decode()
    assert grow("wear_readings", there, here, tmp_path)[0].tail.decode().count("5⅜\n") == 1
    assert "5.3750\n" in grow("wear_readings", there, here, tmp_path)[0].tail.decode()


def test_a_text_that_cannot_be_converted_stays_as_it_is(tmp_path):
    growth, _ = grow("wear_readings", "set_id,date,station,height_mm\n", "set_id,date,station,height_in\nS1,2031-02-01,1,5-Mar\n", tmp_path)  # fmt: skip
    assert growth.tail == b"S1,2031-02-01,1,5-Mar\n"


@pytest.mark.parametrize(
    ("quantity", "there", "price"),
    [("quantity_ton,unit_price_usd\nH2,rock_salt,2,76", "quantity_lb", "0.038"),
     ("quantity_lb,unit_price_usd\nH2,rock_salt,4000,0.038", "quantity_ton", "76"),
     ("quantity_lb,unit_price_usd\nH2,rock_salt,4000,0.0380", "quantity_lb", "0.0380")],
)  # fmt: skip
def test_prices_follow_the_unit_of_the_quantity(tmp_path, quantity, there, price):
    growth, _ = grow(
        "material", f"shift_id,material,{there},unit_price_usd\n", f"shift_id,material,{quantity}\n", tmp_path
    )
    assert growth.tail.decode().strip().split(",")[3] == price
    assert float(growth.tail.decode().split(",")[2]) == (4000 if there == "quantity_lb" else 2)


def test_a_new_file_has_the_columns_and_units_of_the_incoming_one(tmp_path):
    incoming = typed("storms", "start,storm_id,snow_mm,mine\n2031-01-01,W1,12,=x\n")
    growth, not_kept = grown(incoming, [0], new_target(incoming, tmp_path))
    assert growth.tail == b"start,storm_id,snow_mm,mine\n2031-01-01,W1,12,=x\n" and not_kept == []
    assert growth.addition().sha256 is None and growth.addition().path == tmp_path / "storms.csv"
    assert growth.joined() is growth.raw


def test_columns_that_the_file_lacks_are_named_and_can_be_added(tmp_path):
    there = b"storm_id,start\nW1,2031-01-01\n"
    incoming = typed("storms", "storm_id,start,snow_in,mine\nW2,2031-01-02,3,x\n")
    plain = target("storms", there, tmp_path)
    assert columns_without_place(incoming, plain) == ["snow_in", "mine"]
    wider = widened(plain, there, ["snow_in", "mine"])
    assert columns_without_place(incoming, wider) == [] and wider.sha256 == plain.sha256
    growth, _ = grown(incoming, [0], wider)
    addition = growth.addition()
    assert (
        addition.is_rewritten
        and addition.tail == b"storm_id,start,snow_in,mine\nW1,2031-01-01,,\nW2,2031-01-02,3,x\n"
    )
    assert widened(plain, there, ["start"]) is not None  # a column twice: told as such by the reader
    assert widened(plain, b'storm_id,start\nW1,"2031\n', ["x"]) is None


@pytest.mark.parametrize(
    ("there", "cell", "words"),
    [
        ("storm_id,start\nNoël,2031-01-01\n".encode("cp1252"), "Łódź", "letters of cp1252"),
        (b"storm_id,start\n", "x" * 40_000, "up to 32,767 characters"),
        (b"storm_id,start\n", '"a\n1,2,3,4\n"', "a text of one line"),
        (b"storm_id,start\n", "x\x01\x02\x03", "cells that read back from storms.csv"),
    ],
)
def test_a_row_that_would_not_read_back_is_told_and_the_others_go_in(tmp_path, there, cell, words):
    here = f"start,storm_id\n2031-01-02,W2\n2031-01-03,{cell}\n2031-01-04,W4\n"
    raw, _ = read_delimited(here.encode(), TABLES["storms"], "new.csv")
    if raw is None:  # such a cell comes from a workbook only
        raw, _ = read_delimited(here.replace(cell, "KEEP").encode(), TABLES["storms"], "new.csv")
        column = raw.frame["storm_id"]
        raw.frame["storm_id"] = column.cat.rename_categories({"KEEP": cell.strip('"')})
    incoming = read_typed_table(TABLES["storms"], "new.csv", raw)
    growth, not_kept = grown(incoming, [0, 1, 2], target("storms", there, tmp_path))
    assert [position for position, _ in not_kept] == [1] and growth.positions == (0, 2)
    problem = not_kept[0][1]
    assert (problem.code, problem.row) == ("cell-not-kept", 3) and words in problem.allowed
    assert growth.tail.decode() == "W2,2031-01-02\nW4,2031-01-04\n"


def test_a_row_without_a_cell_for_the_file_is_told(tmp_path):
    incoming = typed("storms", "storm_id,mine\n,x\n")
    growth, not_kept = grown(incoming, [0], target("storms", "storm_id,start\n", tmp_path))
    assert growth.positions == () and growth.tail == b""
    assert "a cell under a column of storms.csv" in not_kept[0][1].allowed


def test_nothing_to_add_adds_nothing(tmp_path):
    incoming = typed("storms", "storm_id,start\nW1,2031-01-01\n")
    growth, _ = grown(incoming, [], target("storms", b"storm_id,start", tmp_path))
    assert growth.tail == b"" and growth.joined().frame.empty
