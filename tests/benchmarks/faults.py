"""Whether a trial survives what can happen while rows are taken in: kills, full and read-only disks, another drive.

Run it with ``python tests/benchmarks/faults.py [kills]`` on Linux; the disks need the right to mount (root). Each kill is a SIGKILL at a
random time between the start of the command and well after its end; afterwards the trial must be the old or the new one, and
the next intake must complete it without a double. A full disk is a small one in memory with so many pages left.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from conftest import write_trial
from faulty_disk import SlowDisk, contents
from intake_trials import FEBRUARY, HEADER, book

from trialkit import __main__ as command_line
from trialkit.logbook import journal
from trialkit.logbook.intakes import plan_intake
from trialkit.logbook.taking import take_in
from trialkit.trial import unfinished
from trialkit.trial.files import read_raw_tables

PAGE = 4096
OLD, NEW = {"wear_readings": 36, "storms": 0, "trucks": 4}, {"wear_readings": 39, "storms": 40, "trucks": 4}


def command(*arguments: object) -> tuple[int, str]:
    """Run a command in this process: its exit code and what it says."""
    said = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = command_line.main([str(argument) for argument in arguments])
    return code, said.buffer.getvalue().decode()


def rows_file(place: Path) -> Path:
    """Readings and storms to be taken in."""
    storms = [["storm_id", "start", "end"], *([f"W{n}", "2031-01-02", "2031-01-03"] for n in range(40))]
    return book(
        place / "in" / "f.xlsx",
        wear_readings=[HEADER.split(","), *(row.split(",") for row in FEBRUARY)],
        storms=storms,
    )


def as_read(folder: Path) -> dict[str, int]:
    tables = read_raw_tables(folder).tables
    return {name: len(tables[name].frame) if name in tables else 0 for name in OLD}


def restore(folder: Path, start: dict[str, bytes]) -> None:
    for path in folder.iterdir():
        path.unlink()
    for name, content in start.items():
        (folder / name).write_bytes(content)


def kills(count: int, place: Path) -> None:
    """Kill the command at random times."""
    folder, rows = write_trial(place / "trial"), rows_file(place)
    start = contents(folder)
    began = time.perf_counter()
    command("intake", rows, "--into", folder)
    longest = 1.3 * (time.perf_counter() - began)
    seen: Counter[str] = Counter()
    for number in range(count):
        restore(folder, start)
        child = os.fork()
        if child == 0:
            command("intake", rows, "--into", folder)
            os._exit(0)
        # half of the kills are spread over the whole time, half over the short one in which the files grow
        if number % 2:
            while not (folder / unfinished.JOURNAL).exists() and os.waitpid(child, os.WNOHANG)[0] == 0:
                pass
            time.sleep(random.uniform(0.0, 0.004))
        else:
            time.sleep(random.uniform(0.0, longest))
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(child, 0)
        left = as_read(folder)
        assert left in (OLD, NEW), (number, left)
        seen["cut short" if (folder / unfinished.JOURNAL).exists() else "new" if left == NEW else "old"] += 1
        code, said = command("check", folder)
        assert as_read(folder) == left, (number, said)
        code, said = command("intake", rows, "--into", folder)
        assert (code, as_read(folder)) == (command_line.CLEAN, NEW), (number, said)
        readings = (folder / "wear_readings.csv").read_text().splitlines()
        assert len(readings) == len(set(readings)), number
    print(f"{count} kills: {dict(seen)}; every trial was the old or the new one")


def readers(count: int, place: Path) -> None:
    """Read a trial over and over while another process adds a reading and a storm in one step, again and again."""
    folder = write_trial(place / "read")
    child = os.fork()
    if child == 0:
        for number in range(count):
            day = f"2031-02-{1 + number % 28:02d}T{number // 28:02d}:00"
            rows = book(
                place / "in" / "one.xlsx",
                wear_readings=[HEADER.split(","), ["S1", day, "1", "2", "4.8", "400"]],
                storms=[["storm_id", "start"], [f"W{number}", day]],
            )
            take_in(plan_intake(rows, folder), disk=SlowDisk())
        os._exit(0)
    seen: Counter[int] = Counter()
    while os.waitpid(child, os.WNOHANG)[0] == 0:
        now = as_read(folder)
        assert now["storms"] == now["wear_readings"] - OLD["wear_readings"], now
        seen[now["storms"]] += 1
    print(
        f"{sum(seen.values())} readings of a trial during {count} intakes: {len(seen)} states, each of one moment"
    )


@contextlib.contextmanager
def small_disk(place: Path, pages: int) -> Iterator[Path]:
    """A disk in memory of so many pages."""
    place.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={pages * PAGE}", "tmpfs", str(place)], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def full_disks(place: Path) -> None:
    """Take rows in with ever more pages left."""
    rows = rows_file(place)
    seen: Counter[str] = Counter()
    for pages in range(12):
        with small_disk(place / "disk", 64) as disk:
            folder = write_trial(disk / "trial")
            free = shutil.disk_usage(disk).free // PAGE
            (disk / "filler").write_bytes(b"x" * PAGE * (free - pages))
            before = contents(folder)
            code, said = command("intake", rows, "--into", folder)
            if code == command_line.CLEAN:
                assert as_read(folder) == NEW
                seen["added"] += 1
            else:
                assert "No space left on device" in said and "Traceback" not in said, said
                assert contents(folder) == before and as_read(folder) == OLD
                (disk / "filler").unlink()
                assert (
                    journal.settle(folder) == ""
                    and command("intake", rows, "--into", folder)[0] == command_line.CLEAN
                )
                assert as_read(folder) == NEW
                seen["refused, nothing changed"] += 1
    print(f"disks with 0 to 11 pages left: {dict(seen)}")


def read_only_disk(place: Path) -> None:
    """Take rows into a folder that cannot be written in; also one in which an addition was cut short before."""
    rows = rows_file(place)
    with small_disk(place / "disk", 64) as disk:
        folder = write_trial(disk / "trial")
        before = contents(folder)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        code, said = command("intake", rows, "--into", folder)
        assert code == command_line.PROBLEMS and "Read-only file system" in said, said
        assert command("intake", rows, "--into", folder, "--dry-run")[0] == command_line.CLEAN
        assert command("check", folder)[0] == command_line.CLEAN and contents(folder) == before
        print(f"read-only disk: {said.strip().splitlines()[-1]}")


def another_drive(place: Path) -> None:
    """Take rows into a table that is kept on another drive."""
    rows = rows_file(place)
    with small_disk(place / "disk", 64) as disk:
        folder = write_trial(place / "linked")
        shutil.move(folder / "wear_readings.csv", disk / "wear_readings.csv")
        (folder / "wear_readings.csv").symlink_to(disk / "wear_readings.csv")
        assert command("intake", rows, "--into", folder)[0] == command_line.CLEAN
        assert as_read(folder) == NEW and (folder / "wear_readings.csv").is_symlink()
    print("a table on another drive: added to where it is")


def main() -> None:
    """Try everything and print what came of it."""
    random.seed(20310114)
    unfinished.wait_for_others.__defaults__ = (0.0,)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        readers(60, place)
        kills(int(sys.argv[1]) if len(sys.argv) > 1 else 300, place)
        try:
            full_disks(place)
        except (subprocess.CalledProcessError, FileNotFoundError) as error:
            print(f"no disks were tried: {error}")
            return
        read_only_disk(place)
        another_drive(place)


if __name__ == "__main__":
    main()
