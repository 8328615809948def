"""A report that is stopped while a cell is running: it ends at once, and the last good report stays as it was."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest
from conftest import write_trial

from trialkit.report import reporting, running

LONG_CELL = """\
import os, time
from pathlib import Path
note = Path(data_dir).parent / "kernel.part"
note.write_text(str(os.getpid()))
note.rename(note.with_name("kernel"))
time.sleep(120)
"""
COMMAND = """\
import signal
import sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # a run in the background is started deaf to Ctrl-C
from pathlib import Path
from trialkit import __main__ as command_line
from trialkit.report import running
running.notebook_folder = lambda: Path(sys.argv[1])
sys.exit(command_line.main(["report", *sys.argv[2:], "--force"]))
"""


def long_notebook(folder: Path) -> Path:
    """The council report's parameters, and one cell that would take two minutes."""
    source = nbformat.read(running.notebook_folder() / reporting.COUNCIL_NOTEBOOK, as_version=4)
    source.cells = [*source.cells[:2], nbformat.v4.new_code_cell(LONG_CELL, id="long")]
    folder.mkdir()
    nbformat.write(source, folder / reporting.COUNCIL_NOTEBOOK)
    return folder


def waited(for_what, seconds=40):
    """Whether something comes true in time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if for_what():
            return True
        time.sleep(0.05)
    return False


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.skipif(sys.platform == "win32", reason="signals to another process are not to be had")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "end of process"])
def test_a_report_that_is_stopped_leaves_nothing_behind(tmp_path, number):
    folder = write_trial(tmp_path / "trial")
    last = tmp_path / "reports" / "small" / "2031-01-13_good"
    last.mkdir(parents=True)
    (last / "council_report.html").write_text("the last good report")
    notebooks, started = long_notebook(tmp_path / "notebooks"), tmp_path / "kernel"
    command = [sys.executable, "-c", COMMAND, str(notebooks), str(folder), "--out", str(tmp_path / "reports")]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        try:
            assert waited(started.exists)
            kernel = int(started.read_text())
            begun = time.monotonic()
            run.send_signal(number)
            out, said = run.communicate(timeout=30)
        finally:
            run.kill()
    assert time.monotonic() - begun < 15
    assert run.returncode == 1
    assert (out, said.splitlines()[-1]) == ("", "trialkit: stopped; nothing was changed.")
    assert "Traceback" not in said
    assert [path.name for path in (tmp_path / "reports" / "small").iterdir()] == [last.name]
    assert (last / "council_report.html").read_text() == "the last good report"
    assert waited(lambda: not is_running(kernel), 5)
