"""What is written is written whole."""

import pandas as pd
import pytest

from trialkit.report import saving

FRAME = pd.DataFrame({"edge_type": ["plain steel", "a,b"], "estimate": [1 / 3, 12345678.9]})


def test_save_table_writes_ten_digits_and_line_feeds(tmp_path):
    path = saving.save_table(FRAME, tmp_path / "new" / "rates.csv")
    assert path.read_bytes() == b'edge_type,estimate\nplain steel,0.3333333333\n"a,b",12345678.9\n'


def test_save_text_leaves_the_old_file_when_writing_fails(tmp_path, monkeypatch):
    path = saving.save_text("old", tmp_path / "x.txt")

    def full_disk(self, *args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full_disk)
    with pytest.raises(OSError, match=r"No space left.*x\.txt'$"):
        saving.save_text("new", path)
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["x.txt"]


def test_save_tables_writes_nothing_without_a_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert saving.save_tables("", rates=FRAME) == "Nothing written: out_dir is empty."
    assert list(tmp_path.iterdir()) == []


def test_save_tables_names_what_it_wrote(tmp_path):
    assert "rates.csv, more.csv" in saving.save_tables(tmp_path, rates=FRAME, more=FRAME)
    assert (tmp_path / "tables" / "more.csv").exists()
