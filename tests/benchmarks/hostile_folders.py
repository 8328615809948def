"""Whether any folder can be checked and any rows be taken in without a traceback, a loss or a double.

Run it with ``python tests/benchmarks/hostile_folders.py [folders] [first seed]``. Each folder and file of new rows is drawn from a
seed of its own, so a failure can be looked at again: the seed is printed with it. Everything that ``tests/hostile.py`` requires is
required of every folder.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile import require_checked, require_taken_in, write_hostile_source, write_hostile_trial

from trialkit.trial import unfinished

TOLD_EVERY = 250


def try_one(seed: int, place: Path) -> str:
    """What became of the folder of this seed."""
    choose = random.Random(seed)
    folder = write_hostile_trial(choose, place / "trial", harm=choose.randrange(2) == 0)
    checked = require_checked(folder)
    rows = write_hostile_source(choose, place / "in")
    became = require_taken_in(
        folder,
        rows,
        accept_clean=choose.randrange(2) == 0,
        add_columns=choose.randrange(2) == 0,
        earlier=checked,
    )
    rows.unlink()
    return became


def main() -> int:
    """Try so many folders, print what became of them, and return how many failed."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    unfinished.wait_for_others.__defaults__ = (0.0,)
    seen: Counter[str] = Counter()
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as place:
        for seed in range(first, first + count):
            try:
                seen[try_one(seed, Path(place))] += 1
            except Exception:
                seen["failed"] += 1
                print(f"seed {seed}:\n{traceback.format_exc()}", flush=True)
            if sum(seen.values()) % TOLD_EVERY == 0:
                print(f"{sum(seen.values()):,} folders: {dict(seen)}", flush=True)
    print(f"{count:,} folders in {time.perf_counter() - start:.0f} s: {dict(seen)}")
    return seen["failed"]


if __name__ == "__main__":
    sys.exit(min(main(), 1))
