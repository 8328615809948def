"""Several files grow together or not at all, whichever step fails or never returns."""

import hashlib
import os

import pytest
from faulty_disk import FaultyDisk, contents, full_disk, in_a_child, keyboard, killed, steps_of

from trialkit.logbook import folder_lock, journal
from trialkit.logbook.journal import Addition, NotAddedError
from trialkit.trial.unfinished import COPY, JOURNAL, read_journal

OLD = {"a.csv": b"h\r\n1\r\n", "b.csv": b"h", "d.csv": b"x,y\n1,2\n"}
NEW = {"a.csv": b"h\r\n1\r\n2\r\n", "b.csv": b"h\n2\n", "c.csv": b"h\n1\n", "d.csv": b"x,y,z\n1,2,\n3,4,5\n"}


def folder_with(path, files=OLD):
    path.mkdir(exist_ok=True)
    for name, content in files.items():
        (path / name).write_bytes(content)
    return path


def sha256(content):
    return hashlib.sha256(content).hexdigest()


def additions(folder):
    return [
        Addition(folder / "a.csv", sha256(OLD["a.csv"]), b"2\r\n"),
        Addition(folder / "b.csv", sha256(OLD["b.csv"]), b"\n2\n"),
        Addition(folder / "c.csv", None, NEW["c.csv"]),
        Addition(folder / "d.csv", sha256(OLD["d.csv"]), NEW["d.csv"], is_rewritten=True),
    ]


def as_read(folder):
    """What a reader makes of the folder: each file as it was before, where a journal says so."""
    changes = {change.name: change for change in read_journal(folder) or ()}
    found = {}
    for name, content in contents(folder).items():
        change = changes.get(name)
        if change is None:
            found[name] = content
        elif change.size is not None:
            found[name] = change.before(folder, content)
    return found


@pytest.fixture(scope="module")
def n_steps(tmp_path_factory):
    folder = folder_with(tmp_path_factory.mktemp("steps"))
    return steps_of(lambda disk: journal.add(folder, additions(folder), disk))


def test_all_files_grow(tmp_path):
    folder = folder_with(tmp_path)
    journal.add(folder, additions(folder))
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == NEW


def test_every_step_is_known(n_steps):
    assert n_steps > 15


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("only_once", [False, True])
def test_a_full_disk_leaves_all_as_it_was(tmp_path, n_steps, half, only_once):
    for number in range(n_steps):
        folder = folder_with(tmp_path / f"{number}")
        disk = FaultyDisk(number, full_disk, half=half, only_once=only_once)
        try:
            journal.add(folder, additions(folder), disk)
        except (NotAddedError, OSError) as error:
            assert "No space left" in str(error)
            assert as_read(folder) == OLD, number
        else:
            assert as_read(folder) == NEW, number
        before = as_read(folder)
        journal.settle(folder)
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == before, number


@pytest.mark.parametrize("after", [False, True])
def test_a_stop_by_the_keyboard_leaves_the_old_or_the_new(tmp_path, n_steps, after):
    seen = set()
    for number in range(n_steps):
        folder = folder_with(tmp_path / f"{number}")
        try:
            journal.add(folder, additions(folder), FaultyDisk(number, keyboard, after=after))
        except KeyboardInterrupt:
            assert as_read(folder) == OLD, number
            seen.add("old")
        else:
            assert as_read(folder) == NEW, number
            seen.add("new")
        assert not (folder / JOURNAL).exists()
    assert seen == {"old", "new"}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("half", [False, True])
def test_a_kill_at_any_step_leaves_the_old_or_the_new(tmp_path, n_steps, half):
    seen = []
    for number in range(n_steps + 1):
        folder = folder_with(tmp_path / f"{number}")
        disk = FaultyDisk(number, killed, half=half)
        assert in_a_child(lambda f=folder, d=disk: journal.add(f, additions(f), d)) == (
            9 if number < n_steps else 0
        )
        left = as_read(folder)
        assert left in (OLD, NEW), number
        seen.append(left == NEW)
        said = journal.settle(folder)
        assert {
            path.name: path.read_bytes() for path in folder.iterdir() if path.name != COPY.format("d.csv")
        } == left
        assert (not (folder / JOURNAL).exists() and not said) or left == OLD
        journal.take_back(folder)
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == left
    assert (
        seen == sorted(seen) and seen[0] is False and seen[-1] is True
    )  # old up to one step, new from there on


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_kill_while_it_is_taken_back(tmp_path, n_steps):
    def cut_short(folder):
        in_a_child(lambda: journal.add(folder, additions(folder), FaultyDisk(n_steps - 6, killed, half=True)))
        assert (folder / JOURNAL).exists()
        return folder

    steps = steps_of(lambda disk: journal.take_back(cut_short(folder_with(tmp_path / "steps")), disk))
    for number in range(steps):
        folder = cut_short(folder_with(tmp_path / f"{number}"))
        in_a_child(lambda f=folder, n=number: journal.take_back(f, FaultyDisk(n, killed, half=True)))
        assert as_read(folder) == OLD, number
        journal.take_back(folder)
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == OLD, number


def pending(folder, **tails):
    """A folder in which an addition was cut short after so many bytes of each tail."""
    folder_with(folder)
    journal._write_journal(
        folder,
        tuple(journal._change(item, (folder / item.path.name).open("rb") if item.sha256 else None, journal.Disk())
              for item in additions(folder)),
        journal.Disk(),
    )  # fmt: skip
    return folder


def test_zeros_that_a_power_failure_left_are_taken_back(tmp_path):
    folder = pending(tmp_path)
    (folder / "a.csv").write_bytes(OLD["a.csv"] + b"2\0\0")
    assert as_read(folder) == OLD
    assert journal.settle(folder) == journal.TAKEN_BACK.format(folder)
    assert contents(folder) == OLD


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b"h\r\n1\r\n3\r\n"),  # another row where ours was to come
        ("a.csv", b"h\r\n1\r\n2\r\n3\r\n"),  # a row after ours
        ("a.csv", b"h\r\n9\r\n"),  # an old row changed
        ("d.csv", b"x,y\n1,3\n"),
    ],
)
def test_a_file_that_was_changed_since_is_left_alone(tmp_path, name, content):
    folder = pending(tmp_path)
    (folder / name).write_bytes(content)
    before = contents(folder)
    with pytest.raises(NotAddedError, match=f"{name} does not fit to it: it was changed since"):
        journal.take_back(folder)
    assert journal.settle(folder) == ""
    assert contents(folder) == before and (folder / JOURNAL).exists()


def test_a_file_that_is_gone_is_told(tmp_path):
    folder = pending(tmp_path)
    (folder / "b.csv").unlink()
    with pytest.raises(NotAddedError, match=r"b\.csv does not fit to it: it is gone"):
        journal.take_back(folder)


def test_a_copy_that_is_gone_is_told(tmp_path):
    folder = pending(tmp_path)
    (folder / COPY.format("d.csv")).unlink()
    with pytest.raises(NotAddedError, match=r"d\.csv does not fit to it: its copy is gone"):
        journal.take_back(folder)


def test_what_was_changed_since_the_rows_were_fitted_is_not_added_to(tmp_path):
    folder = folder_with(tmp_path)
    (folder / "b.csv").write_bytes(b"other")
    before = contents(folder)
    with pytest.raises(NotAddedError, match=r"b\.csv was changed meanwhile"):
        journal.add(folder, additions(folder))
    assert contents(folder) == before


def test_a_new_file_that_has_come_into_being_is_not_overwritten(tmp_path):
    folder = folder_with(tmp_path, {**OLD, "c.csv": b"mine"})
    with pytest.raises(NotAddedError, match=r"c\.csv has come into being"):
        journal.add(folder, additions(folder))
    assert contents(folder) == {**OLD, "c.csv": b"mine"}


def test_a_file_that_another_program_holds_is_told(tmp_path):
    folder = folder_with(tmp_path)

    def held():
        raise PermissionError(13, "The process cannot access the file because it is being used", "a.csv")

    with pytest.raises(NotAddedError, match=r"nothing was added: .*being used \(a\.csv\)"):
        journal.add(folder, additions(folder), FaultyDisk(0, held))
    assert contents(folder) == OLD and not (folder / JOURNAL).exists()


def test_nothing_is_settled_while_another_program_is_at_work(tmp_path, monkeypatch):
    monkeypatch.setattr(folder_lock, "PATIENCE_S", 0.0)
    monkeypatch.setattr(journal, "hold", lambda folder: folder_lock.hold(folder, 0.0))
    folder = pending(tmp_path)
    with folder_lock.hold(folder):
        assert journal.settle(folder) == ""
    assert (folder / JOURNAL).exists()
    assert journal.settle(folder)


def test_a_folder_without_a_journal_is_settled(tmp_path):
    assert journal.settle(folder_with(tmp_path)) == ""
