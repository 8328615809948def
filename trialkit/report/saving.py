"""Tables and documents on the disk, all or nothing.

Answers: how does a result leave the tool so that a crash never leaves half a file?

Tables are UTF-8 CSV with LF line ends and numbers of ten significant digits, so that the same inputs give the same bytes.
A text that a spreadsheet would take for a formula gets an apostrophe in front, since tables carry what others have typed.
"""

from __future__ import annotations

import io
import os
import re
import zipfile
from pathlib import Path

import pandas as pd

NUMBER_FORMAT = "%.10g"
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_ZIP_START = (1980, 1, 1, 0, 0, 0)
_MADE = b"2000-01-01T00:00:00Z"
_CHANGED = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(</dcterms:)")
_LIKE_A_FORMULA = re.compile(r"(?![+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$)[=+\-@\t\r].")


def save_table(frame: pd.DataFrame, path: str | Path) -> Path:
    """Write a tidy table as CSV, replacing an earlier one in a single step.

    Parameters
    ----------
    frame : DataFrame
        The table; its index is not written.
    path : str or Path
        Where; folders on the way are made.

    Returns
    -------
    Path
        The file.
    """
    text = _without_formulas(frame).to_csv(index=False, float_format=NUMBER_FORMAT, lineterminator="\n")
    return save_text(text, path)


def _without_formulas(frame: pd.DataFrame) -> pd.DataFrame:
    """The table, in which a spreadsheet takes no text for a formula."""
    columns = [
        frame.iloc[:, place] if pd.api.types.is_numeric_dtype(kind) else frame.iloc[:, place].map(_plain)
        for place, kind in enumerate(frame.dtypes)
    ]
    return pd.concat(columns, axis=1) if columns else frame


def _plain(cell: object) -> object:
    """The cell, so that a spreadsheet takes no text for a formula."""
    return f"'{cell}" if isinstance(cell, str) and _LIKE_A_FORMULA.match(cell) else cell


def save_text(text: str, path: str | Path) -> Path:
    """Write a UTF-8 text file through a temporary neighbour, so that a reader sees the old or the new one."""
    return save_bytes(text.encode("utf-8"), path)


def save_bytes(content: bytes, path: str | Path) -> Path:
    """Write a file through a temporary neighbour, as `save_text` does."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(path)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from None  # the name that was asked for
    finally:
        unfinished.unlink(missing_ok=True)
    return path


def save_tables(out_dir: str | Path, **frames: pd.DataFrame) -> str:
    """Write each frame to ``<out_dir>/tables/<name>.csv`` and say what was written.

    With an empty `out_dir` nothing is written: a notebook that is only looked at leaves no files.
    """
    if not str(out_dir):
        return "Nothing written: out_dir is empty."
    for name, frame in frames.items():
        save_table(frame, Path(out_dir) / "tables" / f"{name}.csv")
    return f"Written to {Path('tables')}: {', '.join(f'{name}.csv' for name in frames)}"


def xml_text(text: str) -> str:
    """Text with an empty box for what no Word or Excel file can hold, such as a bare control character."""
    return _NOT_XML.sub("\u25a1", text)


def same_bytes(office_file: bytes) -> bytes:
    """A Word or Excel file without the time at which it was put together: the same content gives the same bytes.

    Both are zip files, which note the time of every part; Excel's writer also states the time of the last change.
    """
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(office_file)) as found, zipfile.ZipFile(packed, "w") as made:
        for part in found.infolist():
            content = found.read(part)
            if part.filename == "docProps/core.xml":
                content = _CHANGED.sub(rb"\g<1>" + _MADE + rb"\g<2>", content)
            facts = zipfile.ZipInfo(part.filename, date_time=_ZIP_START)
            facts.external_attr, facts.compress_type = 0o600 << 16, zipfile.ZIP_DEFLATED
            made.writestr(facts, content)
    return packed.getvalue()
