"""How long check and intake take on a trial far larger than any town's, and how much memory.

Run it with ``python tests/benchmarks/season_scale.py``. It writes a trial of 1,000,000 wear readings (400 trucks, five sets each, 20
stations, 25 visits) and 200,000 shifts into a temporary folder and runs the commands as they are typed: `check`; `intake` of 1,000
readings of one day (50 trucks, 20 stations each), the same again, when all of them are there, and 1,050 readings spread over
the other 350 trucks; and `decide`. Each runs in an
interpreter of its own, start-up included; the memory is the peak of that process.
"""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TRUCKS, SETS_EACH, STATIONS, VISITS, SHIFTS_EACH, DAYS = 400, 5, 20, 25, 500, 150
LAST_VISITS_OF = 50
FIRST_DAY = dt.datetime(2030, 11, 1)
TYPES = (("plain_steel", 6.0, 2.0), ("carbide_insert", 5.0, 0.4))
SETTINGS = """\
trial_id = "large"
title = "A very large trial"
agency = "Town of Brenmoor"
season = "2030-31"
reference_edge_type = "plain_steel"
"""
READINGS = "set_id,date,station,repeat,height_in,counter_mi,reader,tool,resolution_in,baseline\n"
SHIFTS = (
    "shift_id,truck_id,plow_position,start,end,odometer_start_mi,odometer_end_mi,blade_down_mi,miles_source\n"
)


def stamp(moment: dt.datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M}"


def readings_of(set_id: str, moment: dt.datetime, new_in: float, rate: float, start: float, counter: float, number: int, baseline: str) -> list[str]:  # fmt: skip
    return [
        f"{set_id},{stamp(moment)},{station},1,{new_in - rate * (counter - start) / 1000 * (1 - 0.01 * station):.3f},"
        f"{counter:.1f},R{number % 7},caliper,0.005,{baseline}\n"
        for station in range(1, STATIONS + 1)
    ]


def write_truck(number: int, events: list[str], readings: list[str], shifts: list[str]) -> list[str]:
    """The season of one truck; the readings of one more visit are returned."""
    truck, step = f"T{number:03d}", dt.timedelta(hours=DAYS * 24 / SHIFTS_EACH)
    _, new_in, rate = TYPES[number % 2]
    rate *= 1 + 0.02 * ((number * 7) % 11 - 5)
    per_set = SHIFTS_EACH // SETS_EACH
    per_visit = per_set // VISITS
    odometer, counter = 40_000.0 + number, 0.0
    more: list[str] = []
    for set_number in range(SETS_EACH):
        set_id, start = f"S{number:03d}-{set_number}", counter
        first = FIRST_DAY + set_number * per_set * step
        events.append(f"{set_id},{truck},front,{stamp(first)},install,,{counter:.1f},new\n")
        for visit in range(VISITS):
            moment = first + visit * per_visit * step + dt.timedelta(minutes=5)
            readings += readings_of(
                set_id, moment, new_in, rate, start, counter, number, "no" if visit else "yes"
            )
            for shift in range(visit * per_visit, (visit + 1) * per_visit):
                begin, miles = (
                    first + shift * step + dt.timedelta(minutes=30),
                    2.0 + (shift * 13 + number) % 7 / 10,
                )
                end = begin + step - dt.timedelta(hours=1)
                shifts.append(
                    f"H{number:03d}-{set_number * per_set + shift:03d},{truck},front,{stamp(begin)},{stamp(end)},"
                    f"{odometer:.1f},{odometer + miles + 3:.1f},{miles:.1f},counter\n"
                )
                odometer, counter = odometer + miles + 3, counter + miles
        last = first + per_set * step - dt.timedelta(minutes=10)
        if set_number < SETS_EACH - 1:
            events.append(f"{set_id},{truck},front,{stamp(last)},remove,,{counter:.1f},worn_to_limit\n")
        else:
            more = readings_of(set_id, last, new_in, rate, start, counter, number, "no")
    return more


def write_season(folder: Path) -> list[list[str]]:
    """A trial of a million readings; those of one more visit to each truck are returned."""
    events, readings, shifts, more = [], [], [], []
    for number in range(TRUCKS):
        late = write_truck(number, events, readings, shifts)
        more.append(late)
    types = "".join(f"{name},{name.replace('_', ' ')},{height},{height / 2}\n" for name, height, _ in TYPES)
    sets = "".join(f"S{t:03d}-{s},{TYPES[t % 2][0]}\n" for t in range(TRUCKS) for s in range(SETS_EACH))
    tables = {
        "edge_types": ("edge_type,label,new_height_in,usable_depth_in\n", types),
        "trucks": ("truck_id,plow_position\n", "".join(f"T{t:03d},front\n" for t in range(TRUCKS))),
        "edge_sets": ("set_id,edge_type\n", sets),
        "set_events": (
            "set_id,truck_id,plow_position,date,event,station,counter_mi,reason\n",
            "".join(events),
        ),
        "wear_readings": (READINGS, "".join(readings)),
        "shifts": (SHIFTS, "".join(shifts)),
    }
    (folder / "trial.toml").write_text(SETTINGS, encoding="utf-8")
    for name, (header, rows) in tables.items():
        (folder / f"{name}.csv").write_text(header + rows, encoding="utf-8", newline="\n")
    print(f"{len(readings):,} readings, {len(shifts):,} shifts")
    return more


def timed(what: str, *arguments: str) -> None:
    """Run a command and print how long it took, how much of that the processor worked, its memory and its last line."""
    start = time.perf_counter()
    command = [sys.executable, "-m", "trialkit", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as running:
        said = running.stdout.read().strip().splitlines()
        _, _, used = os.wait4(running.pid, 0)
        running.returncode = 0
    seconds = time.perf_counter() - start
    mb = used.ru_maxrss / 1024
    print(
        f"{what}: {seconds:.1f} s ({used.ru_utime + used.ru_stime:.1f} s of processor), {mb:,.0f} MB. {said[-1]}",
        flush=True,
    )


def main() -> None:
    """Write the trial and time the commands."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "trial"
        folder.mkdir()
        more = write_season(folder)
        rows = Path(place) / "wear_readings_april.csv"
        lines = [line for visit in more[:LAST_VISITS_OF] for line in visit]
        rows.write_text(READINGS + "".join(lines), encoding="utf-8", newline="\n")
        spread = Path(place) / "wear_readings_all.csv"
        lines = [line for visit in more[LAST_VISITS_OF:] for line in visit[:3]]
        spread.write_text(READINGS + "".join(lines), encoding="utf-8", newline="\n")
        timed("check", "check", str(folder))
        timed("intake of 1,000 rows", "intake", str(rows), "--into", str(folder))
        timed("the same again", "intake", str(rows), "--into", str(folder))
        timed("intake of 1,050 rows of all other trucks", "intake", str(spread), "--into", str(folder))
        key = f"S007-2 | {stamp(FIRST_DAY + 200 * dt.timedelta(hours=DAYS * 24 / SHIFTS_EACH) + dt.timedelta(minutes=5))} | 4"
        decision = (
            "--table",
            "wear_readings",
            "--row",
            key,
            "--action",
            "exclude",
            "--reason",
            "ice",
            "--by",
            "AN-1",
        )
        timed("decide", "decide", str(folder), *decision)
        timed("check", "check", str(folder))


if __name__ == "__main__":
    main()
