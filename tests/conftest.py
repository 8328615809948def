"""Tiny trial folders, written by hand, that every test may start from.

`write_trial(folder)` writes the smallest trial without any problem: the five needed tables and trial.toml, four trucks
with two edge types, a baseline and two later readings at three stations each. Any table can be replaced by its text,
left out with None, or added.
"""

from __future__ import annotations

import csv
import datetime as dt
import gc
import io
import re
from pathlib import Path

import pytest

from trialkit import display

SETTINGS = """\
trial_id = "small"
title = "Cutting edge trial"
agency = "Town of Brenmoor"
season = "2030-31"
reference_edge_type = "plain_steel"
"""

TABLES = {
    "edge_types": """\
edge_type,label,new_height_in,usable_depth_in,replaced_as
carbide_insert,Carbide insert,5,1.5,set
plain_steel,Plain steel,6,3,set
""",
    "trucks": """\
truck_id,plow_position,plow_width_ft,plow_type,block
T1,front,11,trip_edge,north
T2,front,11,trip_edge,north
T3,front,11,trip_edge,south
T4,front,11,trip_edge,south
""",
    "edge_sets": """\
set_id,edge_type,lot,unit_price_usd,supplied_by
S1,plain_steel,L1,400,bought
S2,carbide_insert,L2,1800,bought
S3,plain_steel,L1,400,bought
S4,carbide_insert,L2,1800,bought
""",
    "set_events": """\
set_id,truck_id,plow_position,date,event,station,counter_mi,odometer_mi,reason
S1,T1,front,2030-11-20,install,,100,40100,new
S2,T2,front,2030-11-20,install,,200,40200,new
S3,T3,front,2030-11-20,install,,300,40300,new
S4,T4,front,2030-11-20,install,,400,40400,new
""",
    "wear_readings": """\
set_id,date,station,repeat,height_in,counter_mi,reader,tool,resolution_in,baseline
S1,2030-11-20,1,1,6.000,100,R1,caliper,0.005,yes
S1,2030-11-20,2,1,6.000,100,R1,caliper,0.005,yes
S1,2030-11-20,3,1,6.000,100,R1,caliper,0.005,yes
S1,2030-12-18,1,1,5.600,200,R1,caliper,0.005,no
S1,2030-12-18,2,1,5.590,200,R1,caliper,0.005,no
S1,2030-12-18,3,1,5.580,200,R1,caliper,0.005,no
S1,2031-01-14,1,1,5.190,300,R1,caliper,0.005,no
S1,2031-01-14,2,1,5.180,300,R1,caliper,0.005,no
S1,2031-01-14,3,1,5.160,300,R1,caliper,0.005,no
S2,2030-11-20,1,1,5.000,200,R1,caliper,0.005,yes
S2,2030-11-20,2,1,5.000,200,R1,caliper,0.005,yes
S2,2030-11-20,3,1,5.000,200,R1,caliper,0.005,yes
S2,2030-12-18,1,1,4.945,310,R1,caliper,0.005,no
S2,2030-12-18,2,1,4.945,310,R1,caliper,0.005,no
S2,2030-12-18,3,1,4.940,310,R1,caliper,0.005,no
S2,2031-01-14,1,1,4.895,410,R1,caliper,0.005,no
S2,2031-01-14,2,1,4.890,410,R1,caliper,0.005,no
S2,2031-01-14,3,1,4.885,410,R1,caliper,0.005,no
S3,2030-11-20,1,1,6.000,300,R2,caliper,0.005,yes
S3,2030-11-20,2,1,6.000,300,R2,caliper,0.005,yes
S3,2030-11-20,3,1,6.000,300,R2,caliper,0.005,yes
S3,2030-12-18,1,1,5.450,420,R2,caliper,0.005,no
S3,2030-12-18,2,1,5.440,420,R2,caliper,0.005,no
S3,2030-12-18,3,1,5.430,420,R2,caliper,0.005,no
S3,2031-01-14,1,1,5.000,520,R2,caliper,0.005,no
S3,2031-01-14,2,1,4.980,520,R2,caliper,0.005,no
S3,2031-01-14,3,1,4.970,520,R2,caliper,0.005,no
S4,2030-11-20,1,1,5.000,400,R2,caliper,0.005,yes
S4,2030-11-20,2,1,5.000,400,R2,caliper,0.005,yes
S4,2030-11-20,3,1,5.000,400,R2,caliper,0.005,yes
S4,2030-12-18,1,1,4.960,490,R2,caliper,0.005,no
S4,2030-12-18,2,1,4.960,490,R2,caliper,0.005,no
S4,2030-12-18,3,1,4.955,490,R2,caliper,0.005,no
S4,2031-01-14,1,1,4.915,590,R2,caliper,0.005,no
S4,2031-01-14,2,1,4.910,590,R2,caliper,0.005,no
S4,2031-01-14,3,1,4.905,590,R2,caliper,0.005,no
""",
}
"""Text of the five needed tables; `write_trial` writes them unless a text of the same name is given."""


def write_trial(
    folder: Path | str,
    *,
    settings: str | bytes | None = SETTINGS,
    workbook: bool = False,
    **tables: str | bytes | None,
) -> Path:
    """Write the smallest valid trial into `folder` (made if need be) and return it.

    `settings` is the text of trial.toml; each further name is the text of that table. None leaves the file out, bytes
    are written as they are. With ``workbook=True`` the tables become the sheets of one ``trial.xlsx``, in which numbers
    and ISO dates are number and date cells.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    texts = {name: text for name, text in {**TABLES, **tables}.items() if text is not None}
    if settings is not None:
        _write(folder / "trial.toml", settings)
    if workbook:
        _write_workbook(folder / "trial.xlsx", texts)
    else:
        for name, text in texts.items():
            _write(folder / f"{name}.csv", text)
    return folder


def replaced(table: str, old: str, new: str) -> str:
    """Text of one of the needed tables with the one occurrence of `old` replaced by `new`."""
    assert TABLES[table].count(old) == 1, f"{old!r} occurs {TABLES[table].count(old)} times in {table}"
    return TABLES[table].replace(old, new)


def _write(path: Path, content: str | bytes) -> None:
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


def _write_workbook(path: Path, texts: dict[str, str | bytes]) -> None:
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for name, text in texts.items():
        sheet = book.create_sheet(name)
        plain = text.decode("utf-8") if isinstance(text, bytes) else text
        for row in csv.reader(io.StringIO(plain)):
            sheet.append([_workbook_value(cell) for cell in row])
    book.save(path)


def _workbook_value(cell: str) -> object:
    if cell == "":
        return None
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell):
        return dt.date.fromisoformat(cell)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}", cell):
        return dt.datetime.fromisoformat(cell)
    if re.fullmatch(r"-?\d+", cell):
        return int(cell)
    if re.fullmatch(r"-?\d+\.\d+", cell):
        return float(cell)
    return cell


def pytest_collection_finish(session):
    """What stays to the end (modules, the tests themselves) is not looked through again whenever memory is cleared up."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def shown_in_us_units():
    """A trial that is loaded sets the units of display; the next test begins with the usual ones."""
    with display.showing(display.US):
        yield


@pytest.fixture(name="write_trial")
def write_trial_fixture():
    """The function `write_trial` itself."""
    return write_trial


@pytest.fixture
def trial_folder(tmp_path: Path) -> Path:
    """A folder that holds the smallest valid trial as CSV files."""
    return write_trial(tmp_path / "trial")
