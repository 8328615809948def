"""What is written is written whole."""

import pandas as pd
import pytest

from trialkit.report import saving

FRAME = pd.DataFrame({"edge_type": ["plain steel", "a,b"], "estimate": [1 / 3, 12345678.9]})


def test_save_table_writes_ten_digits_and_line_feeds(tmp_path):
    path = saving.save_table(FRAME, tmp_path / "new" / "rates.csv")
    assert path.read_bytes() == b'edge_type,estimate\nplain steel,0.3333333333\n"a,b",12345678.9\n'


def test_no_text_is_a_formula_for_a_spreadsheet(tmp_path):
    texts = ["=1+1", "+cmd", "-2+3", "@x", "-", "-3.5", "+2", "1e-5", "-.5", "a=b", "", "=", "–4"]
    frame = pd.DataFrame({"found": texts, "x": -1.5, "n": pd.array([1, None] * 6 + [3], dtype="Int64")})
    lines = saving.save_table(frame, tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()
    assert [line.rsplit(",", 2)[0] for line in lines[1:]] == [
        "'=1+1", "'+cmd", "'-2+3", "'@x", "-", "-3.5", "+2", "1e-5", "-.5", "a=b", "", "=", "–4",
    ]  # fmt: skip
    assert lines[1].endswith(",-1.5,1") and lines[2].endswith(",-1.5,")


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
