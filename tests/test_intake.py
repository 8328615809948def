"""A trial folder, read: types, units, edge types, the period looked at, and that nothing makes it stumble."""

import datetime as dt
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from conftest import SETTINGS, TABLES, replaced, write_trial
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.errors import UsageError
from trialkit.tables import NEEDED
from trialkit.tables import TABLES as ALL_TABLES
from trialkit.trial.intake import read_draft, row_about, typed_text
from trialkit.units import from_canonical

READINGS = TABLES["wear_readings"]
SHIFTS = """\
shift_id,storm_id,truck_id,start,end,blade_down_mi
F1,A,T1,2030-12-01T04:00,2030-12-01T12:00,40
F2,B,T1,2031-01-10T04:00,2031-01-10T12:00,50
"""


def read(folder, **changes):
    return read_draft(write_trial(folder, **changes))


def found(draft):
    return [
        (problem.code, problem.file, problem.row, problem.column, problem.found) for problem in draft.problems
    ]


# ---------------------------------------------------------------- types and shape
def test_the_smallest_trial_has_no_problem(trial_folder):
    draft = read_draft(str(trial_folder))
    assert draft.problems == () and draft.present == set(NEEDED) and draft.folder == trial_folder
    assert draft.settings.trial_id == "small" and len(draft.hashes) == 6
    assert draft.files["wear_readings"] == "wear_readings.csv" and draft.files["bids"] == "bids.csv"


def test_every_table_has_every_column_with_its_type(trial_folder):
    draft = read_draft(trial_folder)
    assert set(draft.frames) == set(ALL_TABLES)
    kinds = {"number": "f", "whole": "fi", "moment": "M", "choice": "O", "id": "O", "text": "O"}
    for name, frame in draft.frames.items():
        table = ALL_TABLES[name]
        assert list(frame.columns) == list(table.names) and frame.index.name == "row"
        assert len(frame) == 0 or name in NEEDED
        for column in table.columns:
            kind = frame[column.name].dtype.kind
            assert kind in kinds[column.kind], f"{name}.{column.name} is {frame[column.name].dtype}"
            if kind == "O":
                assert isinstance(frame[column.name].dtype, pd.CategoricalDtype)
    readings = draft.frames["wear_readings"]
    assert readings["station"].dtype == readings["repeat"].dtype == np.int64
    assert readings["date"].dtype == "datetime64[us]"


def test_numbers_are_read_and_rows_numbered_as_in_the_spreadsheet(trial_folder):
    readings = read_draft(trial_folder).frames["wear_readings"]
    assert readings.index[0] == 2 and readings.index[-1] == 37
    row = readings.loc[5]
    assert (row["set_id"], row["date"], row["station"], row["height_in"]) == (
        "S1",
        pd.Timestamp(2030, 12, 18),
        1,
        5.6,
    )


def test_a_whole_number_with_gaps_stays_a_number(tmp_path):
    draft = read(
        tmp_path,
        set_events=replaced(
            "set_events", "S2,T2,front,2030-11-20,install,,", "S2,T2,front,2030-11-20,install,3,"
        ),
    )
    assert (
        draft.frames["set_events"]["station"].tolist()[1] == 3.0
        and draft.frames["set_events"]["station"].dtype == np.float64
    )
    huge = read(tmp_path, wear_readings=READINGS.replace("S1,2030-12-18,1,", "S1,2030-12-18,1e300,"))
    assert huge.frames["wear_readings"]["station"].dtype == np.float64


def test_codes_keep_their_leading_zeros(tmp_path):
    draft = read(
        tmp_path,
        trucks=TABLES["trucks"].replace("T1", "007"),
        set_events=TABLES["set_events"].replace("T1", "007"),
    )
    assert (
        draft.frames["trucks"]["truck_id"].tolist()[0]
        == "007"
        == draft.frames["set_events"]["truck_id"].tolist()[0]
    )


def test_columns_of_the_analyst_are_kept_behind_the_others(tmp_path):
    text = (
        READINGS.replace("baseline", "weather,baseline")
        .replace(",no\n", ",fair,no\n")
        .replace(",yes\n", ",,yes\n")
    )
    draft = read(tmp_path, wear_readings=text)
    assert found(draft) == [("column-unknown", "wear_readings.csv", 1, "weather", "")]
    frame = draft.frames["wear_readings"]
    assert (
        frame.columns[-1] == "weather"
        and frame.loc[5, "weather"] == "fair"
        and pd.isna(frame.loc[2, "weather"])
    )
    assert draft.spellings["wear_readings"]["weather"] == "weather"


def test_a_blank_is_not_recorded(tmp_path):
    draft = read(tmp_path, wear_readings=READINGS.replace(",200,R1,caliper", ",,R1,caliper"))
    assert draft.problems == () and draft.frames["wear_readings"]["counter_mi"].isna().sum() == 6


def test_a_workbook_gives_the_same_frames(tmp_path):
    csv_draft, book_draft = (
        read(tmp_path / "a", shifts=SHIFTS),
        read(tmp_path / "b", shifts=SHIFTS, workbook=True),
    )
    assert book_draft.problems == () == csv_draft.problems
    for name, frame in csv_draft.frames.items():
        pd.testing.assert_frame_equal(frame, book_draft.frames[name])
    assert book_draft.files["shifts"] == "trial.xlsx [shifts]"


# ---------------------------------------------------------------- units
def metric(table, **headers):
    """Text of a needed table with columns in other units, twelve decimals."""
    header, *lines = TABLES[table].strip().split("\n")
    names = header.split(",")
    out = [",".join(headers.get(name, name) for name in names)]
    for line in lines:
        cells = line.split(",")
        for place, name in enumerate(names):
            if name in headers and cells[place]:
                unit, other = name.rsplit("_", 1)[1], headers[name].strip().lower().rsplit("_", 1)[1]
                cells[place] = f"{from_canonical(float(cells[place]), unit, other):.12f}"
        out.append(",".join(cells))
    return "\n".join(out)


def test_a_metric_twin_gives_the_same_frames(tmp_path):
    twin = read(
        tmp_path / "metric",
        edge_types=metric("edge_types", new_height_in="new_height_mm", usable_depth_in="usable_depth_mm"),
        trucks=metric("trucks", plow_width_ft="plow_width_m"),
        set_events=metric("set_events", counter_mi="counter_km", odometer_mi="odometer_km"),
        wear_readings=metric(
            "wear_readings", height_in="height_mm", counter_mi="Counter_KM ", resolution_in="resolution_mm"
        ),
    )
    us = read(tmp_path / "us")
    assert twin.problems == ()
    for name, frame in us.frames.items():
        pd.testing.assert_frame_equal(frame, twin.frames[name], rtol=1e-12)
    assert twin.units_found["wear_readings"] == {"height_in": "mm", "counter_mi": "km", "resolution_in": "mm"}
    assert twin.spellings["wear_readings"]["counter_mi"] == "Counter_KM"
    assert us.units_found["trucks"] == {"plow_width_ft": "ft"}
    assert typed_text(twin, "wear_readings", 2, "height_in") == "152.400000000000"


def test_temperatures_and_speeds(tmp_path):
    text = "storm_id,start,snow_mm,air_temp_c,pavement_temp_f,wind_kmh\nA,2030-12-01,50.8,-40,20,16.09344\n"
    storms = read(tmp_path, storms=text).frames["storms"]
    # by definition: 50.8 mm = 2 in; -40 C = -40 F; 16.09344 km/h = 10 mph
    np.testing.assert_allclose(
        storms[["snow_in", "air_temp_f", "pavement_temp_f", "wind_mph"]].iloc[0].tolist(),
        [2, -40, 20, 10],
        rtol=1e-12,
    )


def test_the_price_of_material_goes_with_its_quantity(tmp_path):
    text = (
        "shift_id,material,quantity_ton,quantity_l,unit_price_usd\n"
        "F1,rock_salt,3,,80\nF1,brine,,378.5411784,0.10\nF2,brine,,,5\nF2,other,2,,\n"
    )
    draft = read(tmp_path, material=text, shifts=SHIFTS)
    assert [p.code for p in draft.problems] == ["cell-missing"]
    material = draft.frames["material"]
    # by definition: 3 short tons = 6000 lb and 80 $/ton = 0.04 $/lb; 378.5411784 L = 100 gal and 0.10 $/L = 0.3785411784 $/gal
    np.testing.assert_allclose(material["quantity_lb"], [6000, np.nan, np.nan, 4000], rtol=1e-12)
    np.testing.assert_allclose(material["quantity_gal"], [np.nan, 100, np.nan, np.nan], rtol=1e-12)
    np.testing.assert_allclose(material["unit_price_usd"], [0.04, 0.3785411784, 5, np.nan], rtol=1e-12)
    np.testing.assert_allclose(
        (material["quantity_lb"].fillna(0) + material["quantity_gal"].fillna(0)) * material["unit_price_usd"],
        [3 * 80, 378.5411784 * 0.10, 0, np.nan], rtol=1e-12,
    )  # fmt: skip


def test_a_corrected_quantity_takes_its_price_along(tmp_path):
    decisions = (
        "when,table,row_key,action,column,old,new,reason,by\n"
        "2031-02-01,material,F1 | brine,correct,quantity_ton,3,,by volume,A\n"
        "2031-02-01,material,F1 | brine,correct,quantity_gal,,100,by volume,A\n"
    )
    text = "shift_id,material,quantity_ton,quantity_gal,unit_price_usd\nF1,brine,3,,0.2\n"
    draft = read(tmp_path, material=text, shifts=SHIFTS, decisions=decisions)
    row = draft.frames["material"].iloc[0]
    assert (
        draft.problems == ()
        and (row["quantity_gal"], row["unit_price_usd"]) == (100.0, 0.2)
        and np.isnan(row["quantity_lb"])
    )


@pytest.mark.parametrize("cell", ["5 3/8", "5-3/8", "5 6/16", "5⅜", "5.375"])
def test_fractions_of_an_inch(tmp_path, cell):
    draft = read(tmp_path, wear_readings=READINGS.replace("5.600", cell))
    assert draft.problems == () and draft.frames["wear_readings"].loc[5, "height_in"] == 5.375
    assert typed_text(draft, "wear_readings", 5, "height_in") == cell


# ---------------------------------------------------------------- what is wrong with cells
@pytest.mark.parametrize(
    ("cell", "code", "shown"),
    [
        ("5-Mar", "date-for-number", "5-Mar"),
        ('"5,375"', "decimal-comma", "5,375"),
        ('"1,234.5"', "decimal-comma", "1,234.5"),
        ("1e999", "not-a-number", "1e999"),
        ("inf", "not-a-number", "inf"),
        ("#N/A", "formula-error", "#N/A"),
        ("TRUE", "not-a-number", "TRUE"),
        ("", "cell-missing", "blank"),
        ("5\0", "control-character", "5␀"),
    ],
)
def test_a_cell_that_cannot_be_read_is_na_and_has_one_problem(tmp_path, cell, code, shown):
    draft = read(tmp_path, wear_readings=READINGS.replace("5.600", cell))
    assert found(draft) == [(code, "wear_readings.csv", 5, "height_in", shown)]
    assert draft.problems[0].key == "S1, 2030-12-18, station 1"
    assert np.isnan(draft.frames["wear_readings"].loc[5, "height_in"])
    assert draft.frames["wear_readings"]["height_in"].isna().sum() == 1


def test_a_date_cell_in_a_column_of_heights(tmp_path):
    draft = read(tmp_path, workbook=True, wear_readings=READINGS.replace("5.600", "2031-03-05"))
    assert found(draft) == [("date-for-number", "trial.xlsx [wear_readings]", 5, "height_in", "2031-03-05")]


def test_a_formula_without_its_result(tmp_path):
    draft = read(tmp_path, workbook=True, wear_readings=READINGS.replace("5.600", "=E4-0.4"))
    assert found(draft) == [("formula-unsaved", "trial.xlsx [wear_readings]", 5, "height_in", "=E4-0.4")]


def test_a_number_where_a_date_should_be(tmp_path):
    draft = read(tmp_path, workbook=True, wear_readings=READINGS.replace("S1,2030-12-18,1,", "S1,47835,1,"))
    assert found(draft) == [("not-a-date", "trial.xlsx [wear_readings]", 5, "date", "47835")]
    assert "2030-12-18" in draft.problems[0].fix and pd.isna(draft.frames["wear_readings"].loc[5, "date"])


def test_words_are_not_repaired(tmp_path):
    draft = read(tmp_path, trucks=TABLES["trucks"].replace("T1,front", "T1,Front"))
    assert found(draft) == [("not-a-choice", "trucks.csv", 2, "plow_position", "Front")]
    assert draft.problems[0].fix == 'Did you mean "front"?' and pd.isna(
        draft.frames["trucks"].loc[2, "plow_position"]
    )


def test_all_problems_are_gathered(tmp_path):
    draft = read(
        tmp_path,
        settings=SETTINGS.replace("season", "seson"),
        trucks=TABLES["trucks"].replace("T1,front", ",Front"),
        edge_sets=TABLES["edge_sets"].replace("edge_type", "edgetype"),
        wear_readings=READINGS.replace("5.600", "5-Mar").replace("2030-12-18,2", "12/18/2030,2", 1),
    )
    assert draft.settings is None
    assert [(p.code, p.file) for p in draft.problems] == [
        ("column-missing", "edge_sets.csv"),
        ("setting-missing", "trial.toml"),
        ("setting-unknown", "trial.toml"),
        ("not-a-choice", "trucks.csv"),
        ("cell-missing", "trucks.csv"),
        ("date-for-number", "wear_readings.csv"),
        ("not-a-date", "wear_readings.csv"),
    ]


def test_a_table_that_cannot_be_read_is_not_present(tmp_path):
    draft = read(tmp_path, trucks=b"\0" * 100)
    assert "trucks" not in draft.present and len(draft.frames["trucks"]) == 0
    assert [p.code for p in draft.problems] == ["file-unreadable"]


def test_no_folder_is_one_problem(tmp_path):
    draft = read_draft(tmp_path / "nowhere")
    assert [p.code for p in draft.problems] == ["not-a-folder"] and draft.present == frozenset()


def test_what_a_row_is_about_and_what_was_typed(trial_folder):
    draft = read_draft(trial_folder)
    assert row_about(draft, "wear_readings", 5) == "S1, 2030-12-18, station 1"
    assert typed_text(draft, "wear_readings", 5, "height_in") == "5.600"
    assert typed_text(draft, "wear_readings", 5, "note") == ""
    for table, row in (("wear_readings", 999), ("wear_readings", 1), ("storms", 2)):
        assert typed_text(draft, table, row, "height_in") == row_about(draft, table, row) == ""


# ---------------------------------------------------------------- edge types
def test_the_reference_comes_first_in_every_table(tmp_path):
    text = TABLES["edge_types"] + "rubber_mounted,Rubber-mounted,5,1.5,set\n"
    costs = "item,effective_from,edge_type,amount_usd,per\nlabour_regular,2030-11-01,,42,hour\nother,2030-11-01,carbide_insert,5,set\n"
    draft = read(
        tmp_path,
        edge_types=text,
        costs=costs,
        bids="bid,edge_type,price_per_set_usd\nB1,something_else,900\n",
    )
    expected = ["plain_steel", "carbide_insert", "rubber_mounted"]
    for name in ("edge_types", "edge_sets", "costs", "assignments"):
        dtype = draft.frames[name]["edge_type"].dtype
        assert list(dtype.categories) == expected and dtype.ordered, name
    assert draft.frames["costs"]["edge_type"].isna().tolist() == [True, False]
    assert draft.frames["bids"]["edge_type"].tolist() == ["something_else"], (
        "a bid may be for a type that was not tried"
    )


def test_an_edge_type_that_is_not_listed_is_kept_for_the_checks(tmp_path):
    draft = read(tmp_path, edge_sets=TABLES["edge_sets"].replace("S4,carbide_insert", "S4,carbid insert"))
    assert draft.problems == () and draft.frames["edge_sets"]["edge_type"].tolist()[3] == "carbid insert"
    assert list(draft.frames["edge_types"]["edge_type"].cat.categories) == [
        "plain_steel",
        "carbide_insert",
        "carbid insert",
    ]


@pytest.mark.parametrize("text", [None, SETTINGS.replace("plain_steel", "nothing_like_it")])
def test_without_a_reference_the_order_is_that_of_the_table(tmp_path, text):
    draft = read(tmp_path, settings=text)
    assert list(draft.frames["edge_sets"]["edge_type"].cat.categories) == ["carbide_insert", "plain_steel"]


# ---------------------------------------------------------------- the period that is looked at
def test_later_rows_are_left_out_with_their_problems_and_decisions(tmp_path):
    decisions = (
        "when,table,row_key,action,column,old,new,reason,by\n"
        "2031-02-01,wear_readings,S1 | 2030-12-18 | 1,exclude,,,,worn,A\n"
        "2031-02-01,wear_readings,S1 | 2031-01-14 | 1,exclude,,,,worn,A\n"
        "2031-02-01,wear_readings,S1 | 2031-01-14 | 2,correct,height_in,,5,worn,A\n"
    )
    text = READINGS.replace("5.160", "x").replace("5.440", "y")
    draft = read_draft(
        write_trial(tmp_path, wear_readings=text, decisions=decisions), through=dt.date(2030, 12, 18)
    )
    readings = draft.frames["wear_readings"]
    assert len(readings) == 4 * 6 - 1 and readings["date"].max() == pd.Timestamp(2030, 12, 18)
    assert [(p.code, p.found) for p in draft.problems] == [("not-a-number", "y")]
    assert list(draft.exclusions["row"]) == [5] and list(draft.excluded["wear_readings"].index) == [5]
    assert len(draft.frames["set_events"]) == 4 and len(draft.frames["decisions"]) == 3


def test_ragged_rows_after_the_period_are_left_out_too(tmp_path):
    folder = write_trial(
        tmp_path, wear_readings=READINGS.replace("S1,2031-01-14,1,1,5.190", "S1,2031-01-14,1,1,5,190")
    )
    assert [p.code for p in read_draft(folder).problems] == ["row-cells"]
    assert read_draft(folder, through=dt.date(2031, 1, 13)).problems == ()


def test_the_last_day_is_looked_at_to_its_end(tmp_path):
    text = READINGS.replace("2031-01-14", "2031-01-14T23:59")
    folder = write_trial(tmp_path, wear_readings=text)
    assert len(read_draft(folder, through=dt.date(2031, 1, 14)).frames["wear_readings"]) == 36
    assert len(read_draft(folder, through=dt.date(2031, 1, 13)).frames["wear_readings"]) == 24


def test_rows_of_a_later_shift_go_with_it(tmp_path):
    sound = (
        "sound_id,shift_id,truck_id,date,task,duration_min,level_dba,exchange_rate_db\n"
        "P1,F1,,,idle,60,80,3\nP2,F2,,,idle,60,80,3\nP3,,T1,2030-12-01,idle,60,80,3\nP4,,T1,2031-01-10,idle,60,80,3\nP5,F9,,,idle,60,80,3\n"
    )
    folder = write_trial(
        tmp_path,
        shifts=SHIFTS,
        storms="storm_id,start\nA,2030-12-01\nB,2031-01-10\n",
        sound=sound,
        material="shift_id,material,quantity_lb\nF1,rock_salt,100\nF2,rock_salt,100\n",
        operator_ratings="shift_id,item,score\nF1,noise,3\nF2,noise,4\n",
        costs="item,effective_from,amount_usd,per\nlabour_regular,2031-07-01,42,hour\n",
        gauge_readings="piece,station,reader,repeat,height_in,date\nP,1,R1,1,5,2030-11-01\nP,1,R1,2,5,\nP,1,R1,3,5,2031-02-01\n",
    )
    draft = read_draft(folder, through=dt.date(2030, 12, 31))
    assert draft.problems == ()
    assert draft.frames["shifts"]["shift_id"].tolist() == ["F1"] and draft.frames["storms"][
        "storm_id"
    ].tolist() == ["A"]
    assert draft.frames["sound"]["sound_id"].tolist() == ["P1", "P3", "P5"]
    assert (
        len(draft.frames["material"])
        == len(draft.frames["operator_ratings"])
        == len(draft.frames["costs"])
        == 1
    )
    assert len(draft.frames["gauge_readings"]) == 2
    assert draft.frames["shifts"]["shift_id"].dtype.categories.tolist()[0] == "F1"


def test_a_row_whose_date_cannot_be_read_stays(tmp_path):
    folder = write_trial(tmp_path, wear_readings=READINGS.replace("S1,2031-01-14,1,", "S1,1/14/2031,1,"))
    draft = read_draft(folder, through=dt.date(2030, 12, 1))
    assert [p.code for p in draft.problems] == ["not-a-date"] and 8 in draft.frames["wear_readings"].index


# ---------------------------------------------------------------- weight and sturdiness
def test_reading_needs_pandas_only():
    code = "import sys, trialkit.trial.intake; print(sorted({name.split('.')[0] for name in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for heavy in ("scipy", "pandera", "openpyxl", "pydantic", "matplotlib", "statsmodels"):
        assert f"'{heavy}'" not in loaded


def test_reading_csv_files_does_not_need_openpyxl(trial_folder):
    code = "import sys; from trialkit.trial import intake; intake.read_draft(sys.argv[1]); print('openpyxl' in sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code, str(trial_folder)], capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == "False"


def test_a_hundred_thousand_readings_take_no_time(tmp_path):
    sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
    from reading_speed import readings

    text = "".join(readings(100_000, fractions=True, every_counter_differs=True))
    draft = read(tmp_path, wear_readings=text)
    assert draft.problems == () and len(draft.frames["wear_readings"]) == 100_000
    assert draft.frames["wear_readings"]["height_in"].between(2.9, 6).all()


def test_a_hundred_thousand_bad_cells_are_counted(tmp_path):
    rows = "".join(f"S1,2030-12-18,{number},1,x{number},200\n" for number in range(100_000))
    draft = read(tmp_path, wear_readings="set_id,date,station,repeat,height_in,counter_mi\n" + rows)
    assert len(draft.problems) == 1001 and "99,000 more rows" in "".join(p.found for p in draft.problems)


NAMES = st.sampled_from([*(f"{name}.csv" for name in ALL_TABLES), "trial.toml", "trial.xlsx", "more.xlsx"])
CELL = st.one_of(
    st.text(max_size=6),
    st.sampled_from(["", "5 3/8", "5-Mar", "1e999", "2031-01-14", "2031-02-30", "S1", "S1 | 2030-12-18 | 1", "wear_readings", "exclude",
                     "correct", "height_in", "front", '"', "a,b", "\n", "=A1", "#REF!", "-1", "T1", "plain_steel", "0", "1e300"]),
)  # fmt: skip


def sturdy(folder):
    """Everything is read to the end, and every problem can be printed."""
    draft = read_draft(folder, through=dt.date(2031, 1, 1))
    for problem in draft.problems:
        str(problem).encode("utf-8")
    for name, frame in draft.frames.items():
        assert set(ALL_TABLES[name].names) <= set(frame.columns)
    return draft


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(files=st.dictionaries(NAMES, st.binary(max_size=300), max_size=3))
def test_no_bytes_in_the_folder_are_too_odd(tmp_path_factory, files):
    folder = write_trial(tmp_path_factory.mktemp("odd"))
    for name, content in files.items():
        (folder / name).write_bytes(content)
    assert sturdy(folder).problems or not files


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), name=st.sampled_from(list(ALL_TABLES)))
def test_no_cells_are_too_odd(tmp_path_factory, data, name):
    names = ALL_TABLES[name].names
    rows = data.draw(st.lists(st.lists(CELL, min_size=1, max_size=len(names) + 1), max_size=4))
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    text = "\n".join([",".join(names), *quoted])
    sturdy(write_trial(tmp_path_factory.mktemp("odd"), **{name: text.encode("utf-8", "surrogatepass")}))


@settings(max_examples=20, deadline=None)
@given(
    cells=st.lists(
        st.tuples(st.sampled_from(["wear_readings", "edge_sets", "zzz", ""]), *[CELL] * 5), max_size=4
    )
)
def test_no_decision_is_too_odd(tmp_path_factory, cells):
    lines = [
        ["2031-02-01", table, key, action, column, old, new, "why", "A"]
        for table, key, action, column, old, new in cells
    ]
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in line) for line in lines]
    text = "\n".join(["when,table,row_key,action,column,old,new,reason,by", *quoted])
    sturdy(write_trial(tmp_path_factory.mktemp("odd"), decisions=text.encode("utf-8", "surrogatepass")))


@pytest.mark.parametrize("through", ["2031-01-13", " 2031-01-13 ", dt.datetime(2031, 1, 13, 5, 30)])
def test_the_last_day_may_be_a_text_or_have_a_time(trial_folder, through):
    assert len(read_draft(trial_folder, through).frames["wear_readings"]) == 24


def test_a_blank_last_day_means_all(trial_folder):
    assert len(read_draft(trial_folder, "").frames["wear_readings"]) == 36


@pytest.mark.parametrize("through", ["yesterday", "2031", "2031-01", "1/13/2031"])
def test_a_last_day_that_is_no_day_is_an_error(trial_folder, through):
    with pytest.raises(UsageError, match=f'"{through}" is not a day such as 2031-01-14'):
        read_draft(trial_folder, through)


def test_a_period_before_all_data_is_an_error(trial_folder):
    draft = read_draft(trial_folder, dt.date(2030, 11, 19))
    assert found(draft) == [
        ("no-rows", "set_events.csv", None, "", "no row up to 2030-11-19"),
        ("no-rows", "wear_readings.csv", None, "", "no row up to 2030-11-19"),
    ]
    assert all(
        problem.fix == "Choose a later day: the first row is of 2030-11-20." for problem in draft.problems
    )


def test_a_needed_table_of_which_every_row_is_excluded_is_an_error(tmp_path):
    lines = [f"2031-02-01,trucks,T{number} | front,exclude,,,,sold" for number in range(1, 5)]
    decisions = "\n".join(["when,table,row_key,action,column,old,new,reason", *lines])
    (problem,) = [p for p in read(tmp_path, decisions=decisions).problems if p.code == "no-rows"]
    assert (problem.file, problem.found) == ("trucks.csv", "no row that is not left out by a decision")
