"""How long a large trial takes to read, and how much memory.

Run it with ``python tests/benchmarks/reading_speed.py [rows]``. It writes a trial with so many wear readings (a million if
not said otherwise) into a temporary folder, three times: heights as decimals, heights as fractions, and a counter that
differs in every row. Each is read in an interpreter of its own; the memory is the peak above the same interpreter with
pandas and trialkit.trial.intake imported and nothing read.
"""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from conftest import write_trial

STATIONS, VISITS = 20, 50
HEADER = "set_id,date,station,repeat,height_in,counter_mi,reader,tool,baseline\n"
READ = """
import resource, sys, time
import pandas
from trialkit import intake, settings
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
start = time.perf_counter()
draft = intake.read_draft(sys.argv[1])
seconds = time.perf_counter() - start
mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
print(f"{len(draft.frames['wear_readings']):,} readings, {len(draft.problems)} problems: {seconds:.2f} s, {mb:.0f} MB")
"""


def readings(rows: int, *, fractions: bool, every_counter_differs: bool) -> Iterator[str]:
    """The lines of a wear_readings.csv with so many rows."""
    first = dt.date(2030, 11, 1)
    yield HEADER
    for number in range(rows):
        set_number, within = divmod(number, STATIONS * VISITS)
        visit, station = divmod(within, STATIONS)
        day = first + dt.timedelta(days=3 * visit)
        sixteenths = 96 - visit
        height = (
            f"{sixteenths // 16} {sixteenths % 16}/16"
            if fractions
            else f"{sixteenths / 16 - station / 1000:.4f}"
        )
        counter = number * 0.37 if every_counter_differs else set_number + visit * 41.3
        baseline = "no" if visit else "yes"
        yield f"S{set_number:04d},{day}T05:30,{station + 1},1,{height},{counter:.2f},R{set_number % 7},rule,{baseline}\n"


def main() -> None:
    """Write the three trials, read each and print what it took."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    cases = {
        "decimals": {"fractions": False, "every_counter_differs": False},
        "fractions": {"fractions": True, "every_counter_differs": False},
        "every counter differs": {"fractions": False, "every_counter_differs": True},
    }
    for name, case in cases.items():
        with tempfile.TemporaryDirectory() as folder:
            file = write_trial(folder, wear_readings=None) / "wear_readings.csv"
            with file.open("w", encoding="utf-8") as lines:
                lines.writelines(readings(rows, **case))
            size = file.stat().st_size / 1e6
            result = subprocess.run(
                [sys.executable, "-c", READ, folder], capture_output=True, text=True, check=True
            )
            print(f"{name} ({size:.0f} MB): {result.stdout.strip()}")


if __name__ == "__main__":
    main()
