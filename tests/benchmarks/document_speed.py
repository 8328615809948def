"""How long the documents of a report take once its notebooks have been run.

The notebooks are run on the demo trial first, which is not timed. Then the page, the PDF, the Word document and the
workbook are made from the executed notebooks, each run in a fresh process with everything that it has to import. Run it
with the environment's Python, on a quiet machine::

    python tests/benchmarks/document_speed.py
    python tests/benchmarks/document_speed.py reports/TRIAL/RUN     # a run that is there already
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from trialkit.report import reporting

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data_demo"
LIMIT_S = 4.0
STARTS = 5
TIMED = """
import sys, time
begun, worked = time.perf_counter(), time.process_time()
from pathlib import Path
import pandas as pd
from trialkit.report import blocks, document, pdf, word, workbook
run = Path(sys.argv[1])
marks = []
def mark(name):
    marks.append((name, time.perf_counter(), time.process_time()))
mark("imports")
notebooks = sorted((run / "notebooks").glob("*.ipynb"))
council = blocks.read_blocks(notebooks[-1])
others = [block for path in notebooks[:-1] for block in blocks.read_blocks(path)]
mark("reading the notebooks")
document.html(council)
mark("council report, page")
pdf.pdf(council)
mark("council report, PDF")
word.docx(council)
mark("council report, Word")
document.html(others)
mark("appendix, page")
workbook.xlsx(others, pd.read_csv(run / "tables" / "data_problems.csv"), pd.DataFrame({"action": []}), {})
mark("appendix, Excel")
for name, at, work in marks:
    print(f"{name}\\t{at - begun}\\t{work - worked}")
    begun, worked = at, work
"""


def timed(run: Path) -> dict[str, tuple[float, float]]:
    """Wall and processor time of each step in one fresh process. [s]"""
    said = subprocess.run(
        [sys.executable, "-c", TIMED, str(run)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    rows = (line.split("\t") for line in said.stdout.splitlines())
    return {name: (float(wall), float(processor)) for name, wall, processor in rows}


def main(run: Path) -> int:
    """Print the table and return 1 if the limit is missed."""
    fastest = min(
        (timed(run) for _ in range(STARTS)), key=lambda steps: sum(wall for wall, _ in steps.values())
    )
    print(f"{'step':<24}{'wall [s]':>10}{'CPU [s]':>10}")
    for name, (wall, processor) in fastest.items():
        print(f"{name:<24}{wall:>10.2f}{processor:>10.2f}")
    wall, processor = (sum(times) for times in zip(*fastest.values(), strict=True))
    print(f"{'all':<24}{wall:>10.2f}{processor:>10.2f}   limit {LIMIT_S:.1f}")
    return int(wall > LIMIT_S)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        sys.exit(main(Path(sys.argv[1])))
    with tempfile.TemporaryDirectory() as out:
        sys.exit(main(reporting.write_report(DEMO, reports=out, quiet=True).parent))
