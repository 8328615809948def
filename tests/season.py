"""A small trial with shifts, made on the smallest trial: what the rules about miles need.

T1 plows 20 miles on each of ten days between the install and the last reading; its counter runs from 100 to 300.
"""

from conftest import TABLES

HEADER = "shift_id,truck_id,plow_position,start,end,odometer_start_mi,odometer_end_mi,blade_down_mi"
DAYS = ("11-22", "11-26", "12-02", "12-10", "12-16", "12-20", "12-28", "12-30", "2031-01-04", "2031-01-10")


def shift_rows() -> list[list[str]]:
    """Cells of the shifts of truck T1, the header first; row k stands in row k + 1 of the file."""
    rows = [HEADER.split(",")]
    for k, day in enumerate(DAYS):
        day = day if day.startswith("2031") else f"2030-{day}"
        odometer = 40110 + 40 * k
        rows.append(
            [
                f"X{k + 1}",
                "T1",
                "front",
                f"{day}T05:00",
                f"{day}T11:30",
                f"{odometer}",
                f"{odometer + 35}",
                "20.0",
            ]
        )
    return rows


def shifts(**changed: str) -> str:
    """Text of shifts.csv; ``r3_end="..."`` changes the cell of column `end` in row 3."""
    return edited(shift_rows(), changed)


def table(name: str, **changed: str) -> str:
    """Text of a needed table with single cells changed in the same way."""
    return edited([line.split(",") for line in TABLES[name].splitlines()], changed)


def edited(rows: list[list[str]], changed: dict[str, str]) -> str:
    """The rows as text, with the cells changed."""
    for where, text in changed.items():
        row, column = where[1:].split("_", 1)
        rows[int(row) - 1][rows[0].index(column)] = text
    return "\n".join(map(",".join, rows)) + "\n"
