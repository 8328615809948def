"""The first page of a council report as a small picture for the README.

Needs pdftoppm (Debian: ``poppler-utils``). Run it on a finished report of the demo trial::

    python tests/golden/first_page.py reports/pellowmere_2030-31/RUN
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

TARGET = Path(__file__).parents[2] / "reports" / "first_page.png"
DPI, COLORS = 100, 48


def main(run: Path) -> None:
    """Draw the page and keep it with few colors, which a page of text hardly shows."""
    with tempfile.TemporaryDirectory() as folder:
        drawn = Path(folder) / "page"
        command = ["pdftoppm", "-png", "-singlefile", "-r", str(DPI), run / "council_report.pdf", drawn]
        subprocess.run(command, check=True)
        page = Image.open(drawn.with_suffix(".png")).convert("RGB")
        page.quantize(COLORS, dither=Image.Dither.NONE).save(TARGET, optimize=True)
    print(f"{TARGET}: {TARGET.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
