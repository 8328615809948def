"""How long the everyday commands take: import, --help, check and report on the demo trial.

Run it with the environment's Python, on a quiet machine, twice (the second time the files are in memory)::

    python tests/benchmarks/everyday_speed.py

Each figure is the least wall time of several starts of a fresh process, because anything else on the machine only adds to
it; the report is run twice. The limits are the project's own.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data_demo"
LIMITS_S = {"import trialkit": 0.3, "trialkit --help": 0.5, "check the demo": 3.0, "report the demo": 30.0}


def wall_s(command: list[str], starts: int, exit_codes: tuple[int, ...] = (0,)) -> float:
    """Least wall time of so many starts [s]."""
    times = []
    for _ in range(starts):
        started = time.perf_counter()
        run = subprocess.run(command, capture_output=True, text=True)
        times.append(time.perf_counter() - started)
        if run.returncode not in exit_codes:
            sys.exit(f"{' '.join(command)} gave {run.returncode}:\n{run.stdout}\n{run.stderr}")
    return min(times)


def main() -> int:
    """Print the table and return 1 if a limit is missed."""
    python = sys.executable
    bare = wall_s([python, "-c", "pass"], 5)
    out = tempfile.mkdtemp()
    try:
        measured = {
            "import trialkit": wall_s([python, "-c", "import trialkit"], 5) - bare,
            "trialkit --help": wall_s([python, "-m", "trialkit", "--help"], 5),
            "check the demo": wall_s([python, "-m", "trialkit", "check", str(DEMO)], 3),
            "report the demo": wall_s(
                [python, "-m", "trialkit", "report", str(DEMO), "--out", out, "--quiet"], 2
            ),
        }
    finally:
        shutil.rmtree(out, ignore_errors=True)
    print(f"{'what':<20}{'seconds':>10}{'limit':>8}")
    for what, seconds in measured.items():
        print(
            f"{what:<20}{seconds:>10.2f}{LIMITS_S[what]:>8.1f}{'' if seconds <= LIMITS_S[what] else '   over the limit'}"
        )
    return int(any(seconds > LIMITS_S[what] for what, seconds in measured.items()))


if __name__ == "__main__":
    sys.exit(main())
