"""Whatever stands in a folder or a file of new rows: no traceback, nothing lost, every accepted row there exactly once.

``tests/benchmarks/hostile_folders.py`` draws very many more.
"""

import tempfile
from pathlib import Path

import pytest
from conftest import TABLES, write_trial
from hostile import require_checked, require_taken_in, write_hostile_source, write_hostile_trial
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from intake_trials import FEBRUARY, HEADER, OLD, book, source

from trialkit.trial import unfinished
from trialkit.trial.checks import check_trial

CHOOSE = st.randoms(use_true_random=False)
SETTINGS = {
    "deadline": None,
    "phases": [Phase.explicit, Phase.reuse, Phase.generate],
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large],
}


@pytest.fixture(autouse=True, scope="module")
def impatient():
    before = unfinished.wait_for_others.__defaults__
    unfinished.wait_for_others.__defaults__ = (0.0,)
    yield
    unfinished.wait_for_others.__defaults__ = before


@settings(max_examples=120, **SETTINGS)
@given(CHOOSE)
def test_any_folder_can_be_checked(choose):
    with tempfile.TemporaryDirectory() as place:
        require_checked(write_hostile_trial(choose, Path(place) / "trial"))


@settings(max_examples=80, **SETTINGS)
@given(CHOOSE, st.booleans(), st.booleans(), st.booleans())
def test_any_rows_can_be_taken_into_any_folder(choose, harm, accept_clean, add_columns):
    with tempfile.TemporaryDirectory() as place:
        folder = write_hostile_trial(choose, Path(place) / "trial", harm=harm)
        rows = write_hostile_source(choose, Path(place) / "in")
        require_taken_in(folder, rows, accept_clean=accept_clean, add_columns=add_columns)


def test_what_looks_like_a_formula_comes_back_as_the_text_that_it_is(tmp_path):
    texts = ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("x","y")']
    folder = write_trial(tmp_path / "trial", wear_readings=TABLES["wear_readings"].replace("baseline\n", "baseline,note\n").replace("s\n", "s,\n").replace("no\n", "no,\n"))  # fmt: skip
    for number, text in enumerate(texts):
        quoted = '"' + text.replace('"', '""') + '"'
        rows = source(
            tmp_path / "in",
            f"S1,2031-02-1{number},1,1,4.8,400,R1,caliper,0.005,no,{quoted}",
            header=HEADER + ",note",
        )
        assert require_taken_in(folder, rows, accept_clean=False) == "added"
    sheet = [["storm_id", "start", "mine"], *([f"W{n}", "2031-01-02", "x"] for n in range(5))]
    path = book(tmp_path / "in" / "f.xlsx", storms=sheet)
    from openpyxl import load_workbook

    made = load_workbook(path)
    for number, text in enumerate(texts):
        cell = made["storms"].cell(number + 2, 3)
        cell.value, cell.data_type = text, "s"
    made.save(path)
    assert require_taken_in(folder, path, accept_clean=False) == "added"
    draft = check_trial(folder).draft
    assert draft.frames["wear_readings"]["note"].dropna().tolist() == texts
    assert draft.frames["storms"]["mine"].tolist() == texts


def wide(n_columns):
    """Header and cells of so many columns of one's own beside those of storms."""
    return "storm_id,start," + ",".join(f"c{n}" for n in range(n_columns)), "x" + "," * (n_columns - 1)


def test_very_many_columns_are_checked(tmp_path):
    header, cells = wide(10_000)
    checked = require_checked(write_trial(tmp_path / "trial", storms=f"{header}\nW1,2031-01-01,{cells}\n"))
    assert sum(problem.code == "column-unknown" for problem in checked.problems) == 10_000


def test_many_columns_are_taken_in(tmp_path):
    header, cells = wide(500)
    folder = write_trial(tmp_path / "trial", storms=f"{header}\nW1,2031-01-01,{cells}\n")
    rows = source(tmp_path / "in", f"W2,2031-01-02,{cells}", header=header, name="storms.csv")
    assert require_taken_in(folder, rows, accept_clean=False) == "added"


@pytest.mark.parametrize("cell", ["x" * 100_000, "x" * 200_000, "é" * 40_000, "a\n" * 5_000, '""' * 3_000])
def test_huge_cells(tmp_path, cell):
    folder = write_trial(tmp_path / "trial")
    rows = source(
        tmp_path / "in",
        f'W1,2031-01-02,"{cell}"',
        "W2,2031-01-03,x",
        header="storm_id,start,mine",
        name="storms.csv",
    )
    became = require_taken_in(folder, rows, accept_clean=True)
    assert became == ("refused" if len(cell) > 131_072 else "added")
    require_checked(folder)


def test_a_folder_of_odd_things(tmp_path):
    folder = write_trial(tmp_path / "trial")
    (folder / "storms.csv").mkdir()
    (folder / "shifts.csv").symlink_to(folder / "shifts.csv")
    (folder / "sound.csv").symlink_to("/dev/null")
    (folder / "costs.csv").write_bytes(b"\0" * 1000)
    checked = check_trial(folder)
    assert {(p.code, p.file) for p in checked.problems if p.stops} >= {
        ("not-a-file", "storms.csv"),
        ("file-unreadable", "costs.csv"),
    }
    rows = source(tmp_path / "in", OLD, *FEBRUARY)
    before = (folder / "wear_readings.csv").read_bytes()
    from trialkit.logbook.intakes import plan_intake

    assert plan_intake(rows, folder).n_added == 3 and (folder / "wear_readings.csv").read_bytes() == before
