"""Which column stands under which header."""

import pytest

from trialkit import columns as c
from trialkit.tables import EDGE_TYPES, MATERIAL, SOUND, TRUCKS, WEAR_READINGS
from trialkit.trial.headings import MOST_ROWS, counted_rest, match_headings, shown, spellings

NEEDED = [c.SET_ID, c.DATE, c.STATION]


def matched(table, header):
    headings, problems = match_headings(table, header, "a.csv")
    names = [None if h is None else h.column.name if h.column else h.spelled for h in headings]
    return names, [h.unit if h else None for h in headings], problems


def test_the_suffix_of_the_header_decides_the_unit():
    names, units, problems = matched(WEAR_READINGS, [*NEEDED, "height_mm", "counter_km"])
    assert (
        names == [*NEEDED, c.HEIGHT_IN, c.COUNTER_MI] and units == ["", "", "", "mm", "km"] and problems == []
    )


@pytest.mark.parametrize(
    "header", ["height_in", " Height_In ", "HEIGHT_IN", "\ufeffheight_in", "height_in\u00a0"]
)
def test_case_and_spaces_around_a_header_do_not_count(header):
    names, units, problems = matched(WEAR_READINGS, [*NEEDED, header])
    assert names[-1] == c.HEIGHT_IN and units[-1] == "in" and problems == []


@pytest.mark.parametrize("header", ["heigth_in", "height in", "height-in", "Height", "height_cm"])
def test_any_other_difference_is_reported_with_the_nearest_name(header):
    _, _, (missing,) = matched(WEAR_READINGS, [*NEEDED, header])
    assert (missing.code, missing.column, missing.row) == ("column-missing", "height_in", 1)
    assert f'"{header}"' in missing.fix and "height_" in missing.fix
    _, _, (unknown,) = matched(WEAR_READINGS, [*NEEDED, "height_in", header.replace("height", "counter")])
    assert unknown.code == "column-unknown"


def test_a_column_of_the_analyst_is_a_warning_and_kept():
    names, _, (problem,) = matched(WEAR_READINGS, [*NEEDED, "height_in", "garage bay"])
    assert names[-1] == "garage bay"
    assert problem.code == "column-unknown" and not problem.stops and problem.column == "garage bay"


@pytest.mark.parametrize(
    ("again", "advice"),
    [("height_mm", "in one unit"), ("HEIGHT_IN", "rename or delete"), ("height_in", "rename or delete")],
)
def test_a_column_given_twice(again, advice):
    names, _, (problem,) = matched(WEAR_READINGS, [*NEEDED, "height_in", again])
    assert names[-1] is None
    assert (problem.code, problem.column) == ("column-twice", again)
    assert (
        "height_in" in problem.found and "height_in, height_mm" in problem.allowed and advice in problem.fix
    )


def test_an_unknown_column_given_twice():
    names, _, problems = matched(WEAR_READINGS, [*NEEDED, "height_in", "bay", "bay"])
    assert names[-2:] == ["bay", None]
    assert [p.code for p in problems] == ["column-twice", "column-unknown"]


def test_weight_in_two_units_is_twice_but_weight_beside_volume_is_not():
    _, _, problems = matched(MATERIAL, ["shift_id", "material", "quantity_ton", "quantity_l"])
    assert problems == []
    _, _, (problem,) = matched(MATERIAL, ["shift_id", "material", "quantity_ton", "quantity_kg"])
    assert problem.code == "column-twice" and "quantity_ton" in problem.found


def test_one_of_several_columns_must_be_there():
    _, _, (problem,) = matched(MATERIAL, ["shift_id", "material"])
    assert problem.code == "column-missing" and problem.column == "quantity_lb"
    for other in ("quantity_ton", "quantity_kg", "quantity_t", "quantity_gal", "quantity_l"):
        assert other in problem.fix
    assert (
        matched(
            SOUND, ["sound_id", "truck_id", "date", "task", "duration_min", "level_dba", "exchange_rate_db"]
        )[2]
        == []
    )


def test_a_row_of_data_is_no_header():
    names, _, (problem,) = matched(EDGE_TYPES, ["plain_steel", "Plain steel", "6", "3", "set", "x"])
    assert set(names) == {None}
    assert problem.code == "file-empty" and "plain_steel, Plain steel, 6, 3, set, ..." in problem.found
    assert "edge_type, label" in problem.fix


def test_a_header_in_which_no_name_is_right_is_still_a_header():
    names, _, problems = matched(TRUCKS, ["truck", "position", "", "bay"])
    assert names == ["truck", "position", None, "bay"]
    assert [(p.code, p.column, p.fix) for p in problems] == [
        ("column-unknown", "bay", "Nothing is to be done if it is a column of your own."),
        (
            "column-missing",
            "truck_id",
            'The header has "truck": rename it to truck_id if that is what it holds.',
        ),
        (
            "column-missing",
            "plow_position",
            'The header has "position": rename it to plow_position if that is what it holds.',
        ),
    ]


@pytest.mark.parametrize(("header", "meant"), [("height", "height_in"), ("heigth_mm", "height_mm")])
def test_a_misspelled_needed_column_is_said_once_with_the_likeliest_unit(header, meant):
    _, _, (problem,) = matched(WEAR_READINGS, [*NEEDED, header])
    assert problem.code == "column-missing" and problem.column == "height_in"
    assert (
        problem.fix
        == f'The header has "{header}": rename it to {meant} if that is what it holds, in that unit.'
    )


def test_a_blank_header_is_no_column():
    names, _, problems = matched(WEAR_READINGS, [*NEEDED, "", "height_in", " "])
    assert names == [*NEEDED, None, c.HEIGHT_IN, None] and problems == []


def test_every_spelling_of_a_column():
    assert spellings(MATERIAL.column(c.QUANTITY_LB)) == {
        "quantity_lb": "lb", "quantity_kg": "kg", "quantity_ton": "ton", "quantity_t": "t",
    }  # fmt: skip
    assert spellings(WEAR_READINGS.column(c.NOTE)) == {"note": ""}
    assert spellings(SOUND.column(c.LEVEL_DBA)) == {"level_dba": "dba"}


def test_long_and_unprintable_cells_are_shown_so_that_they_can_be_read():
    assert shown("5,375") == "5,375"
    assert shown("a\nb\tc") == "a b c"
    assert shown("S1\u200b") == "S1\\u200b"
    assert shown("x" * 61) == "x" * 60 + "..."


def test_very_many_rows_are_counted():
    assert counted_rest("row-cells", "a.csv", "", 0, "") == []
    (problem,) = counted_rest("not-a-number", "a.csv", "height_in", 98_765, "Mend it.")
    assert problem.key == "height_in" and "98,765 more" in problem.found and f"{MOST_ROWS:,}" in problem.found
