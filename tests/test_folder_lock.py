"""One writer at a time, and no lock that outlives its holder."""

import subprocess
import sys
import time

import pytest

from trialkit.logbook import folder_lock
from trialkit.logbook.folder_lock import LOCK_FILE, FolderBusyError, hold

HOLDER = """
import sys, time
from pathlib import Path
from trialkit.logbook.folder_lock import hold
with hold(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def holder(tmp_path):
    """Another process that holds the lock of the folder."""
    running = subprocess.Popen([sys.executable, "-c", HOLDER, tmp_path], stdout=subprocess.PIPE, text=True)
    assert running.stdout.readline() == "held\n"
    yield running
    running.kill()
    running.wait()
    running.stdout.close()


def test_the_holder_is_named_and_nothing_waits_for_ever(tmp_path, holder):
    start = time.monotonic()
    with pytest.raises(FolderBusyError, match=rf"process {holder.pid} on .*Try again"), hold(tmp_path, 0.2):
        pass
    assert time.monotonic() - start < 5


def test_a_killed_holder_holds_nothing(tmp_path, holder):
    holder.kill()
    holder.wait()
    with hold(tmp_path, 0.0):
        assert (tmp_path / LOCK_FILE).exists()


def test_the_lock_leaves_nothing_behind_and_can_be_had_again(tmp_path):
    for _ in range(3):
        with hold(tmp_path, 0.0):
            pass
    assert not (tmp_path / LOCK_FILE).exists() or sys.platform == "win32"


def test_the_lock_is_given_back_after_a_failure(tmp_path):
    with pytest.raises(RuntimeError), hold(tmp_path):
        raise RuntimeError
    with hold(tmp_path, 0.0):
        pass


def test_two_in_one_process_do_not_share_the_lock(tmp_path):
    with hold(tmp_path), pytest.raises(FolderBusyError), hold(tmp_path, 0.0):
        pass


def test_a_lock_file_that_was_replaced_is_no_lock(tmp_path, monkeypatch):
    states = iter([False, True])
    monkeypatch.setattr(folder_lock, "_is_still", lambda path, file: next(states))
    with hold(tmp_path, 1.0):
        pass
    assert next(states, None) is None


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(OSError, match="No such file"), hold(tmp_path / "none"):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="the other way to lock")
def test_a_drive_without_locks_is_told(tmp_path, monkeypatch):
    def unknown(*args):
        raise OSError(38, "Function not implemented")

    monkeypatch.setattr("fcntl.flock", unknown)
    with pytest.raises(OSError, match="the drive does not know locks"), hold(tmp_path):
        pass


def test_the_turn_comes_when_the_other_is_done(tmp_path):
    code = "import sys; from pathlib import Path; from trialkit.logbook.folder_lock import hold\n"
    code += "folder = Path(sys.argv[1]); count = folder / 'count'\n"
    code += "for _ in range(40):\n    with hold(folder, 30.0):\n        n = int(count.read_text()); count.write_text(str(n + 1))\n"
    (tmp_path / "count").write_text("0")
    running = [subprocess.Popen([sys.executable, "-c", code, tmp_path]) for _ in range(3)]
    assert [item.wait() for item in running] == [0, 0, 0]
    assert (tmp_path / "count").read_text() == "120"
    assert [path.name for path in tmp_path.iterdir()] == ["count"] or sys.platform == "win32"
