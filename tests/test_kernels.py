"""Kernels of a run that is stopped: all of them end, also those that come late."""

import subprocess
import sys
from pathlib import Path

import pytest

from trialkit.report.kernels import Kernels

SLEEP = [sys.executable, "-c", "import time; time.sleep(60)"]


@pytest.fixture
def sleeper():
    begun = []

    def begin():
        begun.append(subprocess.Popen(SLEEP))
        return begun[-1]

    yield begin
    for process in begun:
        process.kill()
        process.wait()


def test_stop_ends_what_runs_and_what_is_started_afterwards(sleeper):
    kernels = Kernels(Path.cwd())
    early, late, ended = sleeper(), sleeper(), sleeper()
    ended.kill()
    ended.wait()
    kernels.started(ended)
    kernels.started(None)
    kernels.started(early)
    assert early.poll() is None
    kernels.stop()
    assert early.wait(5) != 0
    assert late.poll() is None
    kernels.started(late)
    assert late.wait(5) != 0


def test_a_run_that_is_not_stopped_ends_nothing(sleeper):
    kernels, process = Kernels(Path.cwd()), sleeper()
    kernels.started(process)
    assert process.poll() is None
