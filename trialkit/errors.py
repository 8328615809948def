"""What can be wrong, and how it is said.

Answers: what is a problem in the trial data, which ones stop the analysis, and what does the analyst read?

Every problem carries a stable code from `CODES`. *Impossible* things are errors and stop the run; *doubtful* ones are
warnings, which the report prints. Problems are gathered, never raised one at a time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches

ERROR = "error"
WARNING = "warning"

SHOWN_IN_MESSAGE = 10
"""How many problems the text of a `TrialDataError` spells out; `.problems` has them all."""


@dataclass(frozen=True, slots=True)
class Code:
    """One kind of problem: how grave it is and what it means."""

    severity: str
    meaning: str


CODES: dict[str, Code] = {
    # files
    "file-missing": Code(ERROR, "a file that every trial needs is not in the folder"),
    "not-a-folder": Code(ERROR, "the trial folder does not exist or is not a folder"),
    "not-a-file": Code(ERROR, "a folder or other thing stands where a table should be"),
    "file-unreadable": Code(ERROR, "the file cannot be opened or is damaged"),
    "file-empty": Code(ERROR, "the file has no header row"),
    "no-rows": Code(ERROR, "a table that every trial needs has no rows"),
    "sheet-missing": Code(ERROR, "the workbook lacks a sheet that every trial needs"),
    "table-twice": Code(ERROR, "the same table is given twice"),
    "file-unknown": Code(WARNING, "a file or sheet that is not one of the trial's tables; it is not read"),
    "encoding": Code(WARNING, "the file is not UTF-8; accented letters may be wrong"),
    "delimiter": Code(ERROR, "the cells of the file are not separated by commas"),
    "row-cells": Code(ERROR, "a row has more cells than the header"),
    "row-short": Code(WARNING, "a row has fewer cells than the header; the rest is read as not recorded"),
    "control-character": Code(ERROR, "a cell holds characters that cannot be printed"),
    "quote-open": Code(
        ERROR, "a quotation mark is opened and not closed in the same cell, so that rows run together"
    ),
    "workbook-twice": Code(ERROR, "more than one workbook in the folder holds tables of the trial"),
    "addition-cut-short": Code(
        WARNING, "an addition of rows was cut short; the rows that it had begun to add are not read"
    ),
    "addition-unclear": Code(
        ERROR,
        "an addition of rows was cut short and the file was changed since: it is not clear which rows count",
    ),
    # rows to be added
    "row-differs": Code(ERROR, "the trial has a row of the same key that says something else"),
    "cell-not-kept": Code(
        ERROR, "a cell cannot be kept in the trial's CSV file so that it reads back the same"
    ),
    "column-not-in-trial": Code(ERROR, "rows to be added fill a column that the trial's file does not have"),
    # columns
    "column-missing": Code(ERROR, "a column that the table needs is not in the header"),
    "column-twice": Code(ERROR, "the same column, or the same quantity in two units, is given twice"),
    "column-unnamed": Code(ERROR, "a column that holds cells has no name in the header"),
    "column-unknown": Code(WARNING, "a column that the tool does not know; it is kept but not used"),
    # cells
    "cell-missing": Code(ERROR, "a cell that must be filled is blank"),
    "not-a-number": Code(ERROR, "the cell should hold a number"),
    "not-whole": Code(ERROR, "the cell should hold a whole number"),
    "decimal-comma": Code(ERROR, "a number with a comma in it"),
    "date-for-number": Code(ERROR, "a date stands where a number should be"),
    "not-a-date": Code(ERROR, "the cell should hold a date such as 2031-01-14 or 2031-01-14T05:30"),
    "not-a-choice": Code(ERROR, "the cell should hold one of a few words"),
    "out-of-range": Code(ERROR, "the number is impossible for this column"),
    "doubtful-value": Code(WARNING, "the number is possible but unusual"),
    "formula-error": Code(ERROR, "the cell holds a spreadsheet error such as #REF!"),
    "formula-unsaved": Code(ERROR, "the cell holds a formula but not its result"),
    # keys
    "duplicate-key": Code(ERROR, "two rows have the same key"),
    "unknown-key": Code(ERROR, "the row names something that its own table does not have"),
    "table-absent": Code(WARNING, "rows name things of a table that is not there"),
    # settings
    "setting-missing": Code(ERROR, "a setting without a default is missing from trial.toml"),
    "setting-unknown": Code(ERROR, "a key in trial.toml is not a setting"),
    "setting-invalid": Code(ERROR, "a setting has a value that is not allowed"),
    # across tables
    "two-sets-active": Code(ERROR, "two sets are on one truck position at the same time"),
    "event-order": Code(ERROR, "the events of a set do not follow each other: installed, then removed"),
    "no-install": Code(ERROR, "the set has readings or events but no install"),
    "reading-outside-life": Code(ERROR, "a reading lies before the set's install or after its removal"),
    "counter-backwards": Code(ERROR, "the blade-down counter of a truck position runs backwards"),
    "odometer-backwards": Code(ERROR, "the odometer of a truck runs backwards"),
    "blade-down-exceeds-odometer": Code(ERROR, "more blade-down miles than miles driven over the same span"),
    "miles-unknown": Code(
        WARNING, "a reading has no counter and no shifts from which its miles could follow"
    ),
    "counter-differs": Code(WARNING, "readings of one set on one day have different counters"),
    "position-unknown": Code(
        WARNING,
        "a shift does not say which plow position it is about, and its truck has several in the trial",
    ),
    "change-time-unknown": Code(
        WARNING, "a set was changed on a day with plowing, with neither a time nor a counter"
    ),
    "miles-disagree": Code(WARNING, "the shifts' blade-down miles and the counter differ by more than 5%"),
    "shift-times": Code(ERROR, "a shift or storm ends before it starts"),
    "sample-outlasts-shift": Code(
        WARNING, "a sound or vibration sample lasts longer than the shift in which it was taken"
    ),
    "calibration-drift": Code(
        WARNING, "the calibrations before and after a sound sample differ by more than the limit"
    ),
    "exchange-rates-mixed": Code(
        WARNING,
        "some sound samples were averaged with 3 dB and others with 5 dB; they are never put together",
    ),
    "material-rate": Code(
        WARNING,
        "more or less material per lane-mile in a shift than any handbook knows, or material without lane-miles",
    ),
    "material-missing": Code(
        WARNING,
        "shifts that treated lane-miles have no row in material",
    ),
    "lane-miles-missing": Code(
        WARNING, "shifts with material do not say how many lane-miles were treated; they are left out"
    ),
    "spreader-uncalibrated": Code(
        WARNING, "trucks that spread material have no calibration of the spreader on record before they did"
    ),
    "height-rises": Code(WARNING, "a height rises by more than the reading error between re-references"),
    "height-above-new": Code(
        ERROR, "a height is well above the new height of the edge type: a wrong unit or a slip"
    ),
    "height-far-below": Code(
        WARNING,
        "a height is less than half of that at which the edge type must come off: a wrong unit or a slip",
    ),
    "depth-above-height": Code(ERROR, "the usable depth is more than the new height"),
    "station-off-edge": Code(WARNING, "a station number larger than any station read at this set's install"),
    "few-trucks": Code(
        WARNING, "an edge type was on fewer than two trucks, so no interval can be given for it"
    ),
    "label-twice": Code(
        ERROR, "two edge types have the same label, so that the report could not tell them apart"
    ),
    "reference-missing": Code(ERROR, "the reference edge type of trial.toml is not in edge_types"),
    "no-readings": Code(WARNING, "a set was installed but never read"),
    "edge-not-assigned": Code(
        WARNING, "a truck position carried another edge type than the one that assignments gives it"
    ),
    "worn-set-as-new": Code(WARNING, "a set that came off worn, broken or lost was put on again as new"),
    "position-silent": Code(
        WARNING,
        "a truck position with a set on has no reading, shift or event for long, while the others have",
    ),
    "amount-negative": Code(ERROR, "an amount below zero that is no disposal credit"),
    "amount-per": Code(WARNING, "a cost item is paid per something that does not fit it"),
    "currency-mixed": Code(ERROR, "a row is in another currency than the trial; amounts cannot be added up"),
    "price-missing": Code(WARNING, "a set that was bought has no price"),
    "plan-order": Code(ERROR, "the planned miles of a truck do not rise from the light to the hard winter"),
    "plan-missing": Code(WARNING, "a truck position has no planned miles"),
    "decision-unmatched": Code(
        ERROR, "a line of decisions names a row that does not exist, or an old value that differs"
    ),
    "decision-invalid": Code(ERROR, "a line of decisions cannot be carried out"),
    "unit-of-quantity": Code(ERROR, "a row gives the same quantity in two units"),
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong or doubtful in the trial data.

    Attributes
    ----------
    code : str
        Stable name of the kind of problem, a key of `CODES`.
    file : str
        File (and sheet, as ``trial.xlsx [storms]``) in which it was found.
    row : int or None
        Row as the spreadsheet shows it (the header is row 1); None when the whole file is meant.
    key : str
        What the row is about, for instance ``"S-07, 2031-01-14, station 3"``.
    column, found, allowed, fix : str
        Column as the file spells it, what it holds, what may stand there, and what to do.
    """

    code: str
    file: str
    row: int | None = None
    key: str = ""
    column: str = ""
    found: str = ""
    allowed: str = ""
    fix: str = ""

    @property
    def severity(self) -> str:
        """`ERROR` or `WARNING`, from the catalogue of codes."""
        return CODES[self.code].severity

    @property
    def stops(self) -> bool:
        """Whether nothing may be computed until this is mended."""
        return self.severity == ERROR

    def __str__(self) -> str:
        where = self.file + (f" row {self.row}" if self.row is not None else "")
        where += f" ({self.key})" if self.key else ""
        if self.column and self.found:
            said = f"{self.column} is {self.found}"
        else:
            said = ": ".join(part for part in (self.column, CODES[self.code].meaning, self.found) if part)
        allowed = f"; allowed: {self.allowed}" if self.allowed else ""
        fix = f" {self.fix}" if self.fix else ""
        return f"{where}: {said}{allowed}.{fix} [{self.code}]"


def sorted_problems(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Problems in reading order: by file, then row, column and code; exact repeats said once."""
    unique = dict.fromkeys(problems)
    return tuple(sorted(unique, key=lambda p: (p.file, p.row or 0, p.column, p.code, p.key, p.found)))


def near_match(found: str, known: Iterable[str]) -> str:
    """``did you mean "..."?`` for the nearest known name, or an empty string.

    Case, spaces, hyphens and underscores do not count.
    """
    name = nearest_name(found, known)
    return f'Did you mean "{name}"?' if name else ""


def nearest_name(found: str, known: Iterable[str]) -> str:
    """The nearest known name itself, or an empty string if none is near; of several equally near ones the first."""
    said = _plain(found)
    plain = {_plain(name): name for name in known}
    close = set(get_close_matches(said, plain, n=5, cutoff=0.6))
    in_order = [name for name in plain if name in close]
    best = max(in_order, key=lambda name: SequenceMatcher(None, name, said).ratio(), default="")
    return plain.get(best, "")


def _plain(name: str) -> str:
    return name.strip().casefold().replace("_", " ").replace("-", " ")


def os_reason(error: OSError, place: object = "") -> str:
    """Why the system refused, and where: ``"Permission denied (reports)"``; `place` where it names no file itself."""
    where = error.filename or place
    return f"{error.strerror or error} ({where})" if where else str(error.strerror or error)


class TrialkitError(Exception):
    """Base of every error that trialkit raises on purpose; its text is meant for the analyst."""


class TrialDataError(TrialkitError, ValueError):
    """The trial data hold impossible things; nothing was computed.

    Attributes
    ----------
    problems : tuple of Problem
        All problems, warnings included, in reading order.
    """

    def __init__(self, problems: Sequence[Problem]):
        self.problems = sorted_problems(problems)
        errors = [p for p in self.problems if p.stops]
        lines = [f"  {p}" for p in errors[:SHOWN_IN_MESSAGE]]
        if len(errors) > SHOWN_IN_MESSAGE:
            lines.append(f"  ... and {len(errors) - SHOWN_IN_MESSAGE} more; `trialkit check` lists them all.")
        count = (
            f"{len(errors)} problem{'s' if len(errors) != 1 else ''} in the trial data; nothing was computed."
        )
        super().__init__("\n".join([count, *lines]))


class NotEnoughDataError(TrialkitError, ValueError):
    """Too few trucks, sets or readings for what was asked; the text says how many there are and how many are needed."""


class ReportError(TrialkitError, RuntimeError):
    """A notebook failed or a document could not be made; the text names notebook, cell and reason."""


class UsageError(TrialkitError, ValueError):
    """The command or a notebook's parameters were used wrongly."""
