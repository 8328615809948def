"""The sheets for the garage: what is asked, what stands beside the boxes, and that any name can be printed."""

import io
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from conftest import TABLES, write_trial
from pypdf import PdfReader

from trialkit import cautions, tables
from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.field import forms, printing
from trialkit.field import reading_sheets as r
from trialkit.trial.intake import read_draft

DEMO = Path(__file__).parents[1] / "data_demo"
LETTER, A4 = (612, 792), (595, 842)


def pages(pdf):
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def sizes(pdf):
    return {tuple(round(float(x)) for x in page.mediabox[2:]) for page in PdfReader(io.BytesIO(pdf)).pages}


def draft_of(tmp_path, **given):
    return read_draft(write_trial(tmp_path / "trial", **given))


def unstarted(tmp_path, **given):
    """A folder with trucks and edge types and nothing else."""
    heads = {
        name: TABLES[name].splitlines()[0] + "\n" for name in ("edge_sets", "set_events", "wear_readings")
    }
    return draft_of(tmp_path, **{**heads, **given})


ASSIGNED = (
    "truck_id,plow_position,period,edge_type,how,reason\n"
    "T1,front,2,carbide_insert,random,\nT1,front,,plain_steel,random,\nT2,front,1,carbide_insert,forced,the shop's wish\n"
)


# ---------------------------------------------------------------- what goes onto a reading sheet
def test_before_the_season_a_sheet_names_the_assigned_type_and_the_places_of_the_stations(tmp_path):
    first, second, third, _ = r.reading_sheets(unstarted(tmp_path, assignments=ASSIGNED), stations=3)
    assert (first.truck, first.position, first.block) == ("T1", "Front", "north")
    assert (first.edge_type, second.edge_type, third.edge_type) == ("Plain steel", "Carbide insert", "")
    assert first.round == r.FIRST_ROUND
    assert first.set_id == first.last_counter == ""
    # by hand: an 11 ft plow is 132 in wide; the middles of its thirds lie at 22, 66 and 110 in
    assert [station.place for station in first.stations] == ["22 in", "66 in", "110 in"]
    assert [station.number for station in first.stations] == [1, 2, 3]


def test_during_the_season_the_last_heights_and_counter_stand_beside_the_boxes(tmp_path):
    readings = TABLES["wear_readings"].replace("S1,2031-01-14,2,1,5.180", "S1,2031-01-14,2,1,5 3/16")
    first = r.reading_sheets(draft_of(tmp_path, wear_readings=readings), stations=9)[0]
    assert (first.set_id, first.edge_type) == ("S1", "Plain steel")
    assert first.round == "Reading 4 of this set"
    assert [(s.number, s.last, s.last_day) for s in first.stations] == [
        (1, "5.190", "2031-01-14"), (2, "5 3/16", "2031-01-14"), (3, "5.160", "2031-01-14"),
    ]  # fmt: skip
    assert first.last_counter == "300 on 2031-01-14"
    assert (first.height_unit, first.miles_unit) == ("in", "mi")


def test_a_set_that_came_off_is_on_no_sheet(tmp_path):
    events = TABLES["set_events"] + "S1,T1,front,2031-01-15,remove,,300,40400,worn_to_limit\n"
    sheets = r.reading_sheets(draft_of(tmp_path, set_events=events), stations=3)
    assert [sheet.set_id for sheet in sheets] == ["", "S2", "S3", "S4"]
    assert sheets[0].round == "No set is on since 2031-01-15. Next set: first reading, before plowing"
    assert sheets[1].round == "Reading 4 of this set"


def test_after_the_season_no_sheet_asks_for_a_first_reading_just_after_the_install():
    draft = read_draft(DEMO)
    sheets = r.reading_sheets(draft, stations=5)
    assert {sheet.set_id for sheet in sheets} == {""}
    assert all(sheet.round.startswith("No set is on since 2031-04-0") for sheet in sheets)
    printed = pages(printing.reading_sheets_pdf(sheets, "T"))
    assert all("No set is on since" in page for page in printed) and len(printed) == len(sheets)


def test_a_metric_folder_has_metric_sheets(tmp_path):
    readings = "set_id,date,station,height_mm,counter_km\nS1,2030-11-20,1,152.4,160\n"
    sheet = r.reading_sheets(draft_of(tmp_path, wear_readings=readings), stations=3)
    assert (sheet[0].height_unit, sheet[0].miles_unit, sheet[0].last_counter) == (
        "mm",
        "km",
        "160 on 2030-11-20",
    )
    # by hand: the middle of a third of 132 in is 22 in, that is 55.88 cm
    assert sheet[1].stations[0].place == "56 cm"


def test_a_truck_without_a_width_has_stations_without_places(tmp_path):
    sheet = r.reading_sheets(unstarted(tmp_path, trucks="truck_id,plow_position\nT1,front\n"), stations=2)[0]
    assert [station.place for station in sheet.stations] == ["", ""]
    assert sheet.block == ""


def test_what_cannot_be_read_is_left_out(tmp_path):
    readings = "set_id,date,station,height_in,counter_mi\nS1,soon,1,6,100\nS1,2030-11-20,2,5-Jun,x\nS1,2030-11-21,3,6,\n"
    sheet = r.reading_sheets(draft_of(tmp_path, wear_readings=readings), stations=3)[0]
    assert [station.last for station in sheet.stations] == ["", "", "6"]
    assert sheet.last_counter == ""


# ---------------------------------------------------------------- how it is printed
def test_there_is_a_page_for_every_truck_position():
    draft = read_draft(DEMO, through="2031-01-20")
    sheets = r.reading_sheets(draft, 5)
    printed = pages(printing.reading_sheets_pdf(sheets, "The trial"))
    assert len(printed) == len(draft.frames["trucks"])
    for sheet, page in zip(sheets, printed, strict=True):
        assert f"{sheet.truck}, {sheet.position}" in page
        assert sheet.set_id in page
        assert all(station.last in page for station in sheet.stations)
        assert cautions.UNDER_THE_PLOW[0] in page
        assert "LEFT, seen from the cab" in page


@pytest.mark.parametrize(("paper", "size"), [("letter", LETTER), ("a4", A4)])
def test_it_is_printed_on_the_paper_asked_for(paper, size):
    draft = read_draft(DEMO)
    made = printing.garage_sheets(draft, draft.frames["assignments"], stations=5, paper=paper)
    assert list(made) == [
        "reading_sheets.pdf", "change_form.pdf", "shift_form.pdf", "rating_form.pdf", "assignment_sheet.pdf",
    ]  # fmt: skip
    for name, pdf in made.items():
        assert sizes(pdf) == ({size[::-1]} if name == "reading_sheets.pdf" else {size}), name
        if name != "reading_sheets.pdf":
            assert len(pages(pdf)) == 1, name


def test_another_paper_is_refused():
    with pytest.raises(UsageError, match='"a3" is not a paper; allowed: letter, a4'):
        printing.forms_pdf([forms.rating_form()], "T", "a3")


def test_no_truck_no_sheet(tmp_path):
    sheets = r.reading_sheets(unstarted(tmp_path, trucks="truck_id,plow_position\n"), 3)
    assert sheets == ()
    with pytest.raises(UsageError, match=r"list the trucks in trucks\.csv first"):
        printing.reading_sheets_pdf(sheets, "T")


ODD = ["=1+1", 'O\'Neil, "Bob" #[*_$', "x" * 200, "شاحنة-٣", "冬" * 3, "\\u{1F600} ${data}", "@home"]


@pytest.mark.parametrize("name", ODD)
def test_any_name_can_be_printed(name):
    draft = read_draft(DEMO)
    sheet = replace(r.reading_sheets(draft, 5)[0], truck=name, block=name, edge_type=name, set_id=name)
    printed = pages(printing.reading_sheets_pdf([sheet], name))
    if name.isascii() and len(name) < 30:
        assert f"{name}, Front" in printed[0]
    assert len(printed) <= 2
    frame = pd.DataFrame(
        [{c.TRUCK_ID: name, c.PLOW_POSITION: "front", c.EDGE_TYPE: name, c.HOW: "forced", c.REASON: name}]
    )
    assert pages(printing.forms_pdf([forms.assignment_sheet(frame, {})], name))


@pytest.mark.parametrize(("stations", "n_pages"), [(1, 1), (8, 1), (12, 1), (16, 1), (60, 4)])
def test_many_stations_flow_onto_more_rows(stations, n_pages):
    sheet = r.reading_sheets(read_draft(DEMO), 5)[0]
    many = replace(
        sheet, stations=tuple(r.Station(n, f"{n}.5", "2031-01-03") for n in range(1, stations + 1))
    )
    printed = pages(printing.reading_sheets_pdf([many], "T"))
    assert len(printed) <= n_pages
    assert all(f"{n}.5" in " ".join(printed) for n in range(1, stations + 1))


@pytest.mark.parametrize(
    ("repeats", "lines", "how"),
    [
        (1, 0, "Read every station once."),
        (2, 1, "then all of them again in the second line."),
        (3, 2, "in the next line, 3 times in all."),
        (7, 3, "7 times in all. Use another copy of this page after the first 4 times."),
    ],
)
def test_a_line_of_boxes_for_each_time_a_station_is_read(repeats, lines, how):
    sheet = r.reading_sheets(read_draft(DEMO), 5)[0]
    (page,) = pages(printing.reading_sheets_pdf([sheet], "T", repeats=repeats))
    assert page.count("Again") == lines
    assert how in " ".join(page.split())


# ---------------------------------------------------------------- forms
def test_the_shift_form_asks_for_every_measured_column_of_a_shift():
    (page,) = pages(printing.forms_pdf([forms.shift_form(read_draft(DEMO))], "T"))
    asked = [column for column in tables.SHIFTS.columns if column.name not in (c.SPEED_MPH,)]
    for column in asked:
        assert column.label in page, column.name
    assert "Blade-down miles [mi]" in page
    assert all(word in page for word in ("route log", "GPS", "slush", "rock salt"))


def test_what_the_tables_need_of_a_shift_a_sample_and_a_set_is_asked_for():
    demo = read_draft(DEMO)
    (shift,) = pages(printing.forms_pdf([forms.shift_form(demo)], "T"))
    (change,) = pages(printing.forms_pdf([forms.change_form(demo)], "T"))
    # the number of a sample and the truck of a set are given when the sheet is typed in; the shift stands at its head
    given = {c.SOUND_ID}
    for table, page in (
        (tables.SHIFTS, shift), (tables.MATERIAL, shift), (tables.SOUND, shift), (tables.SET_EVENTS, change),
        (tables.EDGE_SETS, change),
    ):  # fmt: skip
        for column in table.columns:
            if column.required and column.name not in given:
                assert column.label in page, (table.name, column.name)
    for words in ("Instrument", "dosimeter", "meter", "Exchange rate", "3 dB", "5 dB"):
        assert words in shift
    for words in ("Lot", "plain steel", "rubber-mounted segmented carbide", "donated"):
        assert words in change


def test_the_change_form_offers_every_event_and_reason():
    (page,) = pages(printing.forms_pdf([forms.change_form(read_draft(DEMO))], "T"))
    for name in (c.EVENT, c.REASON):
        for word in tables.SET_EVENTS.column(name).choices:
            assert forms.word_shown(word) in page, word
    assert cautions.GOVERNS in page


def test_the_rating_form_asks_about_every_item_and_names_no_edge_type():
    assert set(forms.QUESTIONS) == set(tables.OPERATOR_RATINGS.column(c.ITEM).choices)
    (page,) = pages(printing.forms_pdf([forms.rating_form()], "T"))
    for question, low, high in forms.QUESTIONS.values():
        assert question in page
        assert low in page
        assert high in page
    assert "steel" not in page
    assert "carbide" not in page


def test_the_assignment_sheet_says_who_carries_what_how_it_was_drawn_and_who_signs():
    draft = read_draft(DEMO)
    frame = draft.frames["assignments"]
    made = printing.garage_sheets(draft, frame, stations=5, said=["Drawn with seed 2032 within 4 blocks."])
    (page,) = pages(made["assignment_sheet.pdf"])
    assert "Drawn with seed 2032 within 4 blocks." in page
    assert "Rubber-mounted segmented carbide" in page
    assert "the shop allows only plain steel on it" in page
    assert "outer roads" in page
    assert all(f"{who}, date" in page for who in forms.SIGNERS)
    assert "Period" not in page  # every truck keeps its type


def test_periods_are_printed_where_types_rotate():
    frame = pd.DataFrame(
        [(t, "front", period, kind, "random", None) for t, period, kind in
         (("T1", 1, "a"), ("T1", 2, "b"), ("T2", 1, "b"), ("T2", 2, "a"))],
        columns=[c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE, c.HOW, c.REASON],
    )  # fmt: skip
    page = forms.assignment_sheet(frame, {"a": "type a"})
    table = next(part for part in page["parts"] if part["kind"] == "filled")
    assert table["columns"] == ["Truck", "Plow position", "Period", "Edge type", "How"]
    assert table["cells"][0] == ["T1", "Front", "1", "Type a", "random"]


def test_without_an_assignment_there_is_no_sheet_to_sign():
    draft = read_draft(DEMO)
    made = printing.garage_sheets(draft, draft.frames["assignments"].iloc[:0], stations=5)
    assert "assignment_sheet.pdf" not in made
