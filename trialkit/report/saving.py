"""Tables and documents on the disk, all or nothing.

Answers: how does a result leave the tool so that a crash never leaves half a file?

Tables are UTF-8 CSV with LF line ends and numbers of ten significant digits, so that the same inputs give the same bytes.
"""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

NUMBER_FORMAT = "%.10g"


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
    text = frame.to_csv(index=False, float_format=NUMBER_FORMAT, lineterminator="\n")
    return save_text(text, path)


def save_text(text: str, path: str | Path) -> Path:
    """Write a UTF-8 text file through a temporary neighbour, so that a reader sees the old or the new one."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        unfinished.write_text(text, encoding="utf-8", newline="\n")
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
