"""A new trial folder, and a fresh workbook for one that is under way.

Answers: what does `trialkit new` leave behind, and what does it never touch?
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from trialkit import formatting
from trialkit.errors import UsageError
from trialkit.field import known, workbook
from trialkit.field.settings_text import settings_text
from trialkit.tables import TABLES
from trialkit.trial.files import FIELD_WORKBOOK, SETTINGS_FILE

TITLE = "Cutting edge trial"
_LONGEST_ID = 64


@dataclass(frozen=True, slots=True)
class Started:
    """What was written, and what is to be done next."""

    folder: Path
    files: tuple[Path, ...]
    next_steps: tuple[str, ...]

    def sentence(self) -> str:
        """What was written, in words."""
        tables = [path for path in self.files if path.suffix == ".csv"]
        others = [path.name for path in self.files if path.suffix != ".csv"]
        return formatting.listed([*others, f"{len(tables)} empty tables"])


def start_trial(folder: str | Path, *, metric: bool = False) -> Started:
    """Start a trial folder: commented settings, an empty CSV for every table, and the field workbook.

    Parameters
    ----------
    folder : str or Path
        A new or empty folder.
    metric : bool
        Whether the headers ask for millimeters, kilometers, kilograms and so on.

    Returns
    -------
    Started
        What was written.

    Raises
    ------
    UsageError
        If the folder holds anything already, or is not a folder. Nothing is overwritten.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is not a folder; name a new or empty one.")
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError(
            f"{folder} is not empty and nothing in it was changed; name a new or empty folder. For a fresh field workbook of "
            "a trial that is under way, add --workbook."
        )
    given: dict[str, object] = {"trial_id": trial_id_for(folder.resolve().name), "title": TITLE}
    if metric:
        given["units"] = "metric"
    contents = {SETTINGS_FILE: settings_text(given).encode()}
    contents |= {f"{name}.csv": known.header_text(table, metric).encode() for name, table in TABLES.items()}
    contents[f"{FIELD_WORKBOOK}.xlsx"] = workbook.workbook_bytes(known.nothing_known(metric))
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in contents.items():
        with (folder / name).open("xb") as file:
            file.write(content)
    return Started(folder, tuple(folder / name for name in contents), _NEXT_STEPS)


_NEXT_STEPS = (
    f"Fill in {SETTINGS_FILE}: agency, season and reference_edge_type, and what is agreed in [plan].",
    f"List the edge types and trucks, in edge_types.csv and trucks.csv or in {FIELD_WORKBOOK}.xlsx.",
    "Then: trialkit plan sizes the trial, assigns the edge types and prints the field sheets.",
)


def fresh_workbook(folder: str | Path) -> Path:
    """Write a field workbook with the names that a trial folder knows by now.

    Parameters
    ----------
    folder : str or Path
        A trial folder.

    Returns
    -------
    Path
        The workbook; where there is one already, the new one has the next number, such as ``field_workbook_2.xlsx``.

    Raises
    ------
    UsageError
        If it is not a trial folder.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise UsageError(f"{folder} is not a folder." if folder.exists() else f"there is no folder {folder}.")
    names = known.known_in(folder)
    number = 1
    while True:
        path = folder / (f"{FIELD_WORKBOOK}_{number}.xlsx" if number > 1 else f"{FIELD_WORKBOOK}.xlsx")
        if path.exists():
            number += 1
            continue
        content = workbook.workbook_bytes(names, path.name)
        try:
            with path.open("xb") as file:
                file.write(content)
                return path
        except FileExistsError:
            number += 1


def fresh_sentence(written: Path) -> str:
    """What was written beside which older workbook, and how rows come in from either; empty if there is no older one.

    Parameters
    ----------
    written : Path
        The workbook that `fresh_workbook` wrote.
    """
    first = f"{FIELD_WORKBOOK}.xlsx"
    if written.name == first:
        return ""
    return (
        f"{first} is there already and was left as it is; the fresh one is {written.name}. Rows come in from the one into which they "
        f"were typed: trialkit intake {written.name} --into FOLDER."
    )


def trial_id_for(name: str) -> str:
    """A short name for the trial from the name of its folder.

    Examples
    --------
    >>> trial_id_for("Winter 2030/31, Nord-Straße"), trial_id_for("...")
    ('Winter_2030_31_Nord-Strasse', 'trial')
    """
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss"))
    kept = re.sub(r"[^A-Za-z0-9_-]+", "_", plain.encode("ascii", "ignore").decode()).strip("_-")
    return kept[:_LONGEST_ID] or "trial"
