"""A reader that meets an addition which is under way or was cut short."""

import hashlib
import json
import threading
import time

import pytest
from conftest import TABLES, write_trial

from trialkit.logbook import journal
from trialkit.trial import files, unfinished
from trialkit.trial.checks import check_trial
from trialkit.trial.files import read_raw_tables
from trialkit.trial.unfinished import JOURNAL, Change, JournalError, journal_bytes, read_journal

READINGS = TABLES["wear_readings"].encode()
TAIL = b"S1,2031-02-01,1,1,5.000,400,R1,caliper,0.005,no\n"
TYPES = b"storm_id,start\nW1,2031-01-01\n"


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(unfinished.wait_for_others, "__defaults__", (0.0,))


def change(tail=TAIL):
    return Change("wear_readings.csv", len(READINGS), hashlib.sha256(READINGS).hexdigest(), tail)


def new_file():
    return Change("storms.csv", None, hashlib.sha256(b"").hexdigest(), TYPES)


def begun(folder, arrived=TAIL, storms=TYPES):
    """A trial of which an addition to two files was cut short."""
    write_trial(folder)
    (folder / "wear_readings.csv").write_bytes(READINGS + arrived)
    (folder / "storms.csv").write_bytes(storms)
    (folder / JOURNAL).write_bytes(journal_bytes((change(), new_file())))
    return folder


def test_a_journal_reads_as_it_was_written(tmp_path):
    (tmp_path / JOURNAL).write_bytes(journal_bytes((change(), new_file())))
    assert read_journal(tmp_path) == (change(), new_file())
    assert read_journal(tmp_path / "elsewhere") is None


@pytest.mark.parametrize("arrived", [b"", TAIL[:10], TAIL, b"\0" * 7, TAIL[:10] + b"\0" * 5])
def test_rows_of_an_incomplete_addition_do_not_count(tmp_path, arrived):
    raw = read_raw_tables(begun(tmp_path / "trial", arrived, TYPES[: len(arrived)]))
    assert len(raw.tables["wear_readings"].frame) == READINGS.count(b"\n") - 1
    assert raw.hashes["wear_readings.csv"] == hashlib.sha256(READINGS).hexdigest()
    assert "storms" not in raw.tables and "storms.csv" not in raw.hashes
    found = [(problem.code, problem.file) for problem in raw.problems]
    assert found == [("addition-cut-short", "storms.csv"), ("addition-cut-short", "wear_readings.csv")]


def test_an_incomplete_addition_is_a_warning(tmp_path):
    checked = check_trial(begun(tmp_path / "trial"))
    assert checked.is_clean and checked.n_warnings == 2
    assert "trialkit check" in checked.problems[0].fix


@pytest.mark.parametrize(
    "content",
    [READINGS + b"S9,2031-02-01,1,1,5.0,400,R1,caliper,0.005,no\n", READINGS + TAIL + b"x", READINGS[:-5]],
)
def test_a_file_that_was_changed_since_is_an_error(tmp_path, content):
    folder = begun(tmp_path / "trial")
    (folder / "wear_readings.csv").write_bytes(content)
    problems = [p for p in read_raw_tables(folder).problems if p.code == "addition-unclear"]
    assert [p.file for p in problems] == ["wear_readings.csv"] and JOURNAL in problems[0].fix


def test_a_rewritten_file_is_read_from_its_copy(tmp_path):
    folder = write_trial(tmp_path / "trial")
    old = (folder / "trucks.csv").read_bytes()
    new = old.replace(b"block\n", b"block,notes\n").replace(b"h\n", b"h,\n")
    change = Change("trucks.csv", len(old), hashlib.sha256(old).hexdigest(), new, is_rewritten=True)
    (folder / JOURNAL).write_bytes(journal_bytes((change,)))
    (folder / unfinished.COPY.format("trucks.csv")).write_bytes(old)
    for now in (old, new, new[:40] + old[40:], new[:30] + b"\0" * 4 + old[34:]):
        (folder / "trucks.csv").write_bytes(now)
        raw = read_raw_tables(folder)
        assert raw.hashes["trucks.csv"] == hashlib.sha256(old).hexdigest()
        assert [p.code for p in raw.problems] == ["addition-cut-short"]
    (folder / unfinished.COPY.format("trucks.csv")).unlink()
    assert "addition-unclear" in {p.code for p in read_raw_tables(folder).problems}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'{"files": 3}',
        b'{"files": [{}]}',
        b"[" * 100_000,
        b"\xff\xfe",
        json.dumps({"files": [{"name": "../x.csv", "size": 0, "sha256": "", "tail": ""}]}).encode(),
        json.dumps({"files": [{"name": "C:x.csv", "size": 0, "sha256": "", "tail": ""}]}).encode(),
        json.dumps({"files": [{"name": "..", "size": 0, "sha256": "", "tail": ""}]}).encode(),
        json.dumps({"files": [{"name": "x.csv", "size": -1, "sha256": "", "tail": ""}]}).encode(),
        json.dumps({"files": [{"name": "x.csv", "size": True, "sha256": "", "tail": ""}]}).encode(),
        json.dumps({"files": [{"name": "x.csv", "size": 1, "sha256": "", "tail": "?"}]}).encode(),
        json.dumps({"files": [{"name": "x.csv", "size": 1, "sha256": "", "tail": ""}] * 2}).encode(),
        json.dumps(
            {"files": [{"name": "x.csv", "size": None, "sha256": "", "tail": "", "is_rewritten": True}]}
        ).encode(),
    ],
)
def test_a_journal_that_is_not_ours_changes_nothing_and_is_told(tmp_path, content):
    folder = write_trial(tmp_path / "trial")
    (folder / JOURNAL).write_bytes(content)
    (tmp_path / "x.csv").write_bytes(b"outside")
    with pytest.raises(JournalError):
        read_journal(folder)
    (problem,) = read_raw_tables(folder).problems
    assert problem.code == "addition-unclear" and problem.file == JOURNAL and problem.found == "damaged"
    assert journal.settle(folder) == ""
    with pytest.raises(journal.NotAddedError, match="it is damaged"):
        journal.take_back(folder)
    assert (tmp_path / "x.csv").read_bytes() == b"outside" and (folder / JOURNAL).read_bytes() == content


def test_a_journal_of_no_end_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(unfinished, "LONGEST_JOURNAL", 10)
    (tmp_path / JOURNAL).write_bytes(b" " * 11)
    with pytest.raises(JournalError, match="too long"):
        read_journal(tmp_path)


def test_a_journal_that_is_a_folder_is_told(tmp_path):
    folder = write_trial(tmp_path / "trial")
    (folder / JOURNAL).mkdir()
    assert [p.code for p in read_raw_tables(folder).problems] == ["addition-unclear"]


def test_a_reader_waits_for_an_addition_that_is_under_way(tmp_path):
    path = tmp_path / JOURNAL
    path.write_bytes(b"")
    threading.Timer(0.1, path.unlink).start()
    start = time.monotonic()
    unfinished.wait_for_others(tmp_path, 5.0)
    assert not path.exists() and time.monotonic() - start < 2
    path.write_bytes(b"")
    unfinished.wait_for_others(tmp_path, 0.05)
    assert path.exists()


def test_a_folder_that_changes_while_it_is_read_is_read_again(tmp_path, monkeypatch):
    folder = write_trial(tmp_path / "trial")
    read, times = files.read_delimited, []

    def read_and_meanwhile(data, table, file):
        if not times and file == "trucks.csv":
            times.append(file)
            (folder / "wear_readings.csv").write_bytes(READINGS + TAIL)
            (folder / "edge_types.csv").write_bytes(
                (folder / "edge_types.csv").read_bytes() + b"third,Third,5,1,set\n"
            )
        return read(data, table, file)

    monkeypatch.setattr(files, "read_delimited", read_and_meanwhile)
    raw = read_raw_tables(folder)
    assert times and raw.is_settled
    assert len(raw.tables["edge_types"].frame) == 3  # read before the change in the first reading
    assert raw.hashes["wear_readings.csv"] == hashlib.sha256(READINGS + TAIL).hexdigest()


def test_a_folder_that_never_rests_is_read_all_the_same(tmp_path, monkeypatch):
    folder = write_trial(tmp_path / "trial")
    stamps = iter(range(10**6))
    monkeypatch.setattr(files, "stamp", lambda folder: next(stamps))
    raw = read_raw_tables(folder)
    assert not raw.is_settled and len(raw.tables) == 5 and next(stamps) == 2 * files.READINGS_TRIED


def test_the_stamp_looks_at_files_that_are_shown(tmp_path):
    before = unfinished.stamp(tmp_path)
    (tmp_path / ".hidden").write_text("x")
    assert unfinished.stamp(tmp_path) == before
    (tmp_path / JOURNAL).write_text("x")
    (tmp_path / "a.csv").symlink_to(tmp_path / "nowhere")
    assert [name for name, _, _ in unfinished.stamp(tmp_path)] == [JOURNAL]
