"""A small trial and files of new rows for it."""

from __future__ import annotations

from pathlib import Path

from conftest import TABLES, write_trial

HEADER = TABLES["wear_readings"].splitlines()[0]
FEBRUARY = [
    "S1,2031-02-10,1,1,4.800,400,R1,caliper,0.005,no",
    "S1,2031-02-10,2,1,4.790,400,R1,caliper,0.005,no",
    "S1,2031-02-10,3,1,4.770,400,R1,caliper,0.005,no",
]
"""Readings that follow the last ones of S1."""
OLD = "S1,2031-01-14,1,1,5.190,300,R1,caliper,0.005,no"
"""A reading that the trial has."""


def source(folder: Path, *lines: str, header: str = HEADER, name: str = "wear_readings_feb.csv") -> Path:
    """A CSV file of readings beside the trial."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def trial_and_source(tmp_path: Path, *lines: str, header: str = HEADER, **tables) -> tuple[Path, Path]:
    """The smallest trial and a file of readings for it."""
    return write_trial(tmp_path / "trial", **tables), source(tmp_path / "in", *lines, header=header)


def book(path: Path, **sheets: list[list[object]]) -> Path:
    """A workbook with these sheets."""
    from openpyxl import Workbook

    made = Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    path.parent.mkdir(parents=True, exist_ok=True)
    made.save(path)
    return path
