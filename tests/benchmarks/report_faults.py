"""Whether a report that is killed, stopped or meets a full disk harms anything, at every one of its steps and at random moments.

Run it with the environment's Python::

    python tests/benchmarks/report_faults.py 40

Every step of a report on the disk (some 95) is tried with a kill before it, a full disk, a read-only disk, a rename across
drives and Ctrl-C; then so many processes are killed with SIGKILL at random moments between their imports and their end, and
an eighth as many pairs of processes make the same report at once. After each the trial folder, the visible reports and the next
run are looked at. With ``python tests/benchmarks/report_faults.py 200 kills`` only the killed processes and the pairs are tried.
"""

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

import report_faults as rf  # noqa: E402

IMPORTS = "import sys; sys.path.insert(0, {tests!r}); import report_faults as rf; from pathlib import Path"
RUN = IMPORTS + "; sys.exit(rf.Place(Path({home!r}), new=False).quiet_report('--force'))"


def begun(place: rf.Place, command: str = RUN) -> subprocess.Popen:
    """A process of its own that makes the report."""
    said = command.format(tests=str(ROOT / "tests"), home=str(place.home))
    return subprocess.Popen([sys.executable, "-c", said], start_new_session=True)


def time_of(place: rf.Place, command: str) -> float:
    """How long such a process takes. [s]"""
    start = time.perf_counter()
    begun(place, command).wait()
    return time.perf_counter() - start


def main(n_random: int, only_kills: bool = False) -> int:
    """Print what was tried and return 1 if anything was harmed."""
    home = Path(tempfile.mkdtemp())
    place = rf.Place(home)
    assert [place.quiet_report_on(day) for day in ("2030-12-18", "")] == [0, 0]
    before, data, wrong = place.visible(), place.data(), []

    def tell(name: str, number: int, found: list[list[str]]) -> None:
        bad = [said for said in found if said]
        wrong.extend(bad)
        print(f"{name}: {number} tried, {len(bad)} with harm {bad[:2] if bad else ''}", flush=True)

    copies = [] if only_kills else rf.as_if_killed(place, home / "killed")
    tell(
        "killed before a step",
        len(copies),
        [rf.complaints(place.moved(c), None, before, data) for c in copies],
    )
    for name, fault in rf.FAULTS.items():
        found = [rf.complaints(place, rf.faulty(place, n, fault), before, data) for n in range(len(copies))]
        tell(name, len(copies), found)
    found, finished = [], 0
    started, whole = time_of(place, IMPORTS), time_of(place, RUN)
    for _ in range(n_random):
        run = begun(place)
        time.sleep(random.uniform(started, whole))
        finished += run.poll() is not None
        run.kill()
        run.wait()
        found.append(rf.complaints(place, None, before, data))
    tell(f"SIGKILL at a random moment ({finished} came too late)", n_random, found)
    found = []
    for _ in range(max(n_random // 8, 1)):
        both = [begun(place), begun(place)]
        codes = [run.wait() for run in both]
        found.append(
            [*([] if codes == [0, 0] else [f"exit codes {codes}"]), *rf.complaints(place, None, before, data)]
        )
    tell("two reports at once", len(found), found)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 40, "kills" in sys.argv))
