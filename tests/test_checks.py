"""A trial folder checked as a whole: a clean one gives nothing, one broken cell gives one problem, and the way out."""

import datetime as dt
import time

import pandas as pd
import pytest
from conftest import SETTINGS, TABLES, replaced, write_trial
from season import table

from trialkit import display
from trialkit.errors import CODES, TrialDataError
from trialkit.trial import checks


def problems(folder, **tables):
    return checks.check_trial(write_trial(folder, **tables)).problems


def only(folder, **tables):
    found = problems(folder, **tables)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


# ---------------------------------------------------------------- clean
@pytest.mark.parametrize("workbook", [False, True])
def test_a_clean_folder_gives_nothing(tmp_path, workbook):
    checked = checks.check_trial(write_trial(tmp_path, workbook=workbook))
    assert checked.problems == ()
    assert checked.is_clean
    assert checked.sentence() == "The checks found nothing wrong with the trial data."
    assert checked.text() == checked.sentence()
    assert checked.frame().empty


def test_the_trial_of_a_clean_folder(trial_folder):
    trial = checks.check_trial(trial_folder).require_clean()
    assert trial.settings.reference_edge_type == "plain_steel"
    assert trial.folder == trial_folder
    assert trial.has("wear_readings")
    assert not trial.has("sound")
    assert trial["sound"].empty
    assert trial.last_data_date == dt.date(2031, 1, 14)
    assert set(trial.hashes) == {"trial.toml", *(f"{name}.csv" for name in TABLES)}
    assert trial.problems == ()


def test_a_change_to_a_table_does_not_reach_the_trial(trial_folder):
    trial = checks.check_trial(trial_folder).require_clean()
    readings = trial["wear_readings"]
    readings["height_in"] = 0.0
    readings.loc[2, "station"] = 7
    assert trial["wear_readings"]["height_in"].min() > 4
    assert trial["wear_readings"]["station"].max() == 3
    with pytest.raises(TypeError):
        trial.frames["wear_readings"] = pd.DataFrame()


def test_an_unknown_table_is_said_with_the_near_name(trial_folder):
    trial = checks.check_trial(trial_folder).require_clean()
    with pytest.raises(KeyError, match=r'no table "wear_reading".*Did you mean "wear_readings"'):
        trial["wear_reading"]


def test_last_data_date_needs_a_date():
    with pytest.raises(ValueError, match="no dated row"):
        checks.last_data_date({"storms": pd.DataFrame({"start": pd.to_datetime([None])})})


def test_through_leaves_later_rows_out(tmp_path):
    later = TABLES["wear_readings"] + "S1,2031-02-01,1,1,9.000,400,R1,caliper,0.005,no\n"
    folder = write_trial(tmp_path, wear_readings=later)
    assert [p.code for p in checks.check_trial(folder).problems] == ["height-above-new"]
    checked = checks.check_trial(folder, dt.date(2031, 1, 31))
    assert checked.problems == ()
    assert checked.require_clean().last_data_date == dt.date(2031, 1, 14)


def test_warnings_do_not_stop_the_trial(tmp_path):
    checked = checks.check_trial(
        write_trial(tmp_path, wear_readings=replaced("wear_readings", "5.190,300", "5.95,300"))
    )
    assert (checked.n_errors, checked.n_warnings) == (0, 1)
    assert [p.code for p in checked.require_clean().problems] == ["height-rises"]
    assert checked.sentence() == "The trial data have 1 warning and no error; the analysis can be run."


def test_errors_stop_the_trial_with_all_problems(tmp_path):
    text = TABLES["wear_readings"].replace("5.600", "56").replace("5.190,300", "5.95,300")
    checked = checks.check_trial(write_trial(tmp_path, wear_readings=text))
    assert (checked.n_errors, checked.n_warnings) == (
        1,
        0,
    )  # what it is compared with is wrong, so nothing rises
    with pytest.raises(TrialDataError, match="height_in is 56") as caught:
        checked.require_clean()
    assert caught.value.problems == checked.problems


def test_a_folder_that_is_not_there(tmp_path):
    checked = checks.check_trial(tmp_path / "nowhere")
    assert [p.code for p in checked.problems] == ["not-a-folder"]
    with pytest.raises(TrialDataError, match="nowhere"):
        checked.require_clean()


def test_an_empty_folder_says_what_is_missing_and_nothing_else(tmp_path):
    checked = checks.check_trial(tmp_path)
    assert {p.code for p in checked.problems} == {"file-missing"}
    assert len(checked.problems) == 6


@pytest.mark.parametrize("name", list(TABLES))
def test_one_missing_table_gives_one_problem(tmp_path, name):
    assert only(tmp_path, **{name: None}).code == "file-missing"


@pytest.mark.parametrize("name", list(TABLES))
def test_one_table_without_rows_gives_one_problem(tmp_path, name):
    assert only(tmp_path, **{name: TABLES[name].splitlines()[0] + "\n"}).code == "no-rows"


REQUIRED = [
    (name, column)
    for name, text in TABLES.items()
    for column in text.splitlines()[0].split(",")
    if checks.TABLES[name].column(column).required
]


@pytest.mark.parametrize(("name", "column"), REQUIRED)
def test_one_missing_column_gives_one_problem(tmp_path, name, column):
    rows = [line.split(",") for line in TABLES[name].splitlines()]
    place = rows[0].index(column)
    text = "\n".join(",".join(cell for k, cell in enumerate(row) if k != place) for row in rows)
    problem = only(tmp_path, **{name: text})
    assert (problem.code, problem.column) == ("column-missing", column)


@pytest.mark.parametrize(("name", "column"), REQUIRED)
def test_one_blank_cell_gives_one_problem(tmp_path, name, column):
    rows = [line.split(",") for line in TABLES[name].splitlines()]
    rows[2][rows[0].index(column)] = ""
    problem = only(tmp_path, **{name: "\n".join(map(",".join, rows))})
    assert (problem.code, problem.column, problem.row) == ("cell-missing", column, 3)


@pytest.mark.parametrize(
    ("name", "column"), [(n, k) for n, k in REQUIRED if not checks.TABLES[n].column(k).is_numeric]
)
def test_one_misspelled_name_gives_one_problem(tmp_path, name, column):
    rows = [line.split(",") for line in TABLES[name].splitlines()]
    place = rows[0].index(column)
    rows[2][place] += "x"
    folder = write_trial(tmp_path, **{name: "\n".join(map(",".join, rows))})
    found = checks.check_trial(folder).problems
    assert len(found) == 1, "\n".join(map(str, found))


def test_an_impossible_value_is_not_called_doubtful_as_well(tmp_path):
    problem = only(tmp_path, edge_types=replaced("edge_types", "6,3,set", "6,6.5,set"))
    assert problem.code == "depth-above-height"


def test_every_code_that_the_checks_use_is_known(tmp_path):
    for path in checks.Path(checks.__file__).parent.glob("*checks.py"):
        for word in path.read_text(encoding="utf-8").split('"')[1::2]:
            if word.count("-") >= 1 and word.replace("-", "").isalpha() and word.islower():
                assert word in CODES, f"{word} in {path.name}"


def test_settings_that_cannot_be_read_do_not_hide_the_data(tmp_path):
    found = problems(tmp_path, settings="trial_id = ", wear_readings=replaced("wear_readings", "5.600", "56"))
    assert sorted(p.file for p in found) == ["trial.toml", "wear_readings.csv"]


def test_demo_size_is_checked_at_once(tmp_path):
    readings = [TABLES["wear_readings"].splitlines()[0]]
    for k in range(300):
        day = (pd.Timestamp("2030-11-20") + pd.Timedelta(days=k % 60)).date()
        readings += [
            f"S{k % 4 + 1},{day},{k // 60 + 1},{r},{4.9 - (k % 60) / 100},,R1,caliper,0.005,no"
            for r in (1, 2, 3, 4)
        ]
    folder = write_trial(tmp_path, wear_readings="\n".join(readings))
    checks.check_trial(folder)
    begun = time.process_time()
    checks.check_trial(folder)
    assert time.process_time() - begun < 3  # a few tenths of a second; the rest is room for slow machines


def test_metric_trial_is_checked_in_its_own_units(tmp_path):
    rows = [line.split(",") for line in TABLES["wear_readings"].splitlines()]
    rows[0][4] = "height_mm"
    for row in rows[1:]:
        row[4] = f"{float(row[4]) * 25.4:.2f}"
    rows[4][4] = "1142.2"
    problem = only(tmp_path, wear_readings="\n".join(map(",".join, rows)))
    assert (problem.column, problem.found) == ("height_mm", "1142.2")
    assert problem.allowed == "a number from 0 to 609.6 mm"


def test_reference_that_is_no_edge_type(tmp_path):
    problem = only(tmp_path, settings=SETTINGS.replace("plain_steel", "plain_stele"))
    assert (problem.code, problem.file, problem.found) == ("reference-missing", "trial.toml", '"plain_stele"')
    assert problem.fix == 'Did you mean "plain_steel"?'
    assert problem.allowed == "carbide_insert or plain_steel"


def test_same_problem_in_a_workbook_names_the_sheet(tmp_path):
    problem = only(tmp_path, workbook=True, wear_readings=replaced("wear_readings", "5.600", "56"))
    assert problem.file == "trial.xlsx [wear_readings]"
    assert problem.row == 5


# ---------------------------------------------------------------- how it is said
def test_sentence_counts_errors_and_warnings(tmp_path):
    one = table("wear_readings", r5_height_in="56")
    assert checks.check_trial(write_trial(tmp_path / "1", wear_readings=one)).sentence() == (
        "The trial data have 1 error; nothing is computed until it is mended."
    )
    more = table("wear_readings", r5_height_in="56", r14_height_in="56", r33_height_in="5.2")
    assert checks.check_trial(write_trial(tmp_path / "2", wear_readings=more)).sentence() == (
        "The trial data have 2 errors and 1 warning; nothing is computed until they are mended."
    )


def test_text_and_page_show_every_problem(tmp_path):
    checked = checks.check_trial(
        write_trial(tmp_path, wear_readings=table("wear_readings", r5_height_in="56"))
    )
    assert "height_in is 56" in str(checked)
    assert checked.text(60, ascii_only=True).isascii()
    assert "<td style='text-align:left'>56</td>" in checked._repr_html_()
    assert checked.frame()["found"].tolist() == ["56"]


def test_text_from_the_data_cannot_become_markup(tmp_path):
    nasty = "<img src=x onerror=alert(1)>"
    checked = checks.check_trial(write_trial(tmp_path, wear_readings=table("wear_readings", r5_set_id=nasty)))
    assert nasty in checked.text(200)
    assert "<img" not in checked._repr_html_()


@pytest.mark.parametrize(
    ("said", "shown"), [('units = "metric"\ncurrency = "CAD"\n', ("mm", "CAD")), ("", ("in", "$"))]
)
def test_a_trial_is_shown_in_its_own_units_and_currency(tmp_path, said, shown):
    with display.showing("us" if said else "metric"):
        checks.check_trial(write_trial(tmp_path / "trial", settings=SETTINGS + said)).require_clean()
        assert (display.unit("in"), display.unit("$")) == shown
