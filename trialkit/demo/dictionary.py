"""The column dictionary as Markdown, made from the descriptions in `tables`, `settings` and `errors`.

Answers: what may stand in each column, which settings are there, which rules hold across tables, what does a code mean?

Nothing is described here a second time: a column's words, bounds and units come from `tables`, a setting's from
`settings`, a code's from `errors`. Only the rules that span tables are worded here, each with the codes that report it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from trialkit import columns as c
from trialkit import units
from trialkit.columns import Column
from trialkit.errors import CODES
from trialkit.settings import FILE_NAME, Settings, section_of
from trialkit.tables import INTAKE_LOG, KEY_SEPARATOR, TABLES, Table

RULES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("At any time at most one set is on a truck position; a set is installed before anything else happens to it.",
     ("two-sets-active", "event-order", "no-install")),
    ("A reading lies between its set's install and its removal, and an installed set has readings.",
     ("reading-outside-life", "no-readings")),
    ("A blade-down counter never runs backwards on one truck position, nor an odometer on one truck.",
     ("counter-backwards", "odometer-backwards")),
    ("Blade-down miles never exceed the miles driven over the same span.", ("blade-down-exceeds-odometer",)),
    ("Every reading has miles: a counter, or shifts from which they follow. Where both are there they agree within 5%.",
     ("miles-unknown", "miles-disagree")),
    ("The readings of one set on one day have one counter, unless the truck plowed between them.",
     ("counter-differs",)),
    ("A shift says which plow position it is about where its truck has several; a set changed on a day with plowing has "
     "the time or the counter of the change.",
     ("position-unknown", "change-time-unknown")),
    ("Heights fall. They do not rise between re-references by more than twice the standard deviation of a reading; "
     "until there is a gauge study, the tool's resolution decides.",
     ("height-rises",)),
    ("A flip, a section swap or a re-reference starts a new segment of that set and station; no line is drawn across "
     "one.", ()),
    ("No height is well above the new height of its edge type or far below that of a worn edge, and no usable depth is "
     "above the new height.",
     ("height-above-new", "height-far-below", "depth-above-height")),
    ("A station read later was read at the set's install.", ("station-off-edge",)),
    ("A shift or storm ends after it starts.", ("shift-times",)),
    ("A sound or vibration sample lasts no longer than the shift in which it was taken; a quarter of an hour is allowed for "
     "rounded times.", ("sample-outlasts-shift",)),
    ("The calibrations before and after a sound sample agree within `noise.drift_limit_db`.", ("calibration-drift",)),
    ("Sound samples are all averaged with the same exchange rate; averages with 3 dB and with 5 dB are never put together.",
     ("exchange-rates-mixed",)),
    ("Material per lane-mile lies within what handbooks know: from 50 lb to 500 lb of salt, or 1,500 lb with sand. Shifts with "
     "material say how many lane-miles they treated, and shifts that treated any have material; a shift without a record is "
     "left out and never counted as none spread.",
     ("material-rate", "lane-miles-missing", "material-missing")),
    ("The spreader of a truck was calibrated before it spread material.", ("spreader-uncalibrated",)),
    ("Each edge type was on at least two trucks; with fewer, no interval can be given. The reference edge type is one "
     "of them.",
     ("few-trucks", "reference-missing")),
    ("Each truck position carries the edge type that assignments gives it, in the order of its periods where types rotate.",
     ("edge-not-assigned",)),
    ("A set that goes on as new was not taken off worn, broken or lost before.", ("worn-set-as-new",)),
    ("A truck position with a set on goes on having records: it is named where it has none for a fifth of the season and four "
     "weeks, or for three rounds of readings of the others, two weeks and longer than ever before.",
     ("position-silent",)),
    ("Every edge type is printed under a name of its own.", ("label-twice",)),
    ("Amounts are in the trial's one currency; only a disposal credit is negative, and each cost item is paid per something that "
     "fits it. A set that was bought has a price.",
     ("currency-mixed", "amount-negative", "amount-per", "price-missing")),
    ("Every truck position has planned miles, and they rise from a light to a hard winter.", ("plan-missing", "plan-order")),
    ("A row is left out or changed only by a line of decisions with a reason, and the report lists every such line.",
     ("decision-unmatched", "decision-invalid")),
)  # fmt: skip
"""What must hold across tables, and the codes under which a breach is reported."""


def dictionary_markdown(level: int = 2) -> str:
    """The whole dictionary: tables, settings, rules and codes, under headings that start at `level`.

    Returns
    -------
    str
        Markdown that ends in a line break.
    """
    mark = "#" * level
    parts = [
        f"{mark} The tables\n\n{_CONVENTIONS}",
        *(table_markdown(table, level + 1) for table in TABLES.values()),
        f"{mark} The log of what was added\n\n{_LOG}\n{table_markdown(INTAKE_LOG, level + 1)}",
        f"{mark} The settings in `{FILE_NAME}`\n\n{settings_markdown()}",
        f"{mark} Rules that hold across tables\n\n{rules_markdown()}",
        f"{mark} What the codes mean\n\n{codes_markdown()}",
    ]
    return "\n".join(part.rstrip("\n") + "\n" for part in parts)


_CONVENTIONS = f"""\
One file per table, named after it with the ending `.csv`, or one workbook with a sheet per table. One row per fact. Dates
are written `2031-01-14` or `2031-01-14T05:30`. **A blank cell means not recorded, never zero**, unless the dictionary
says otherwise. `Steel` and `steel` are two names.

A spreadsheet program that opens a CSV file rewrites dates in its own way and turns `5/8` into a day, and saves them so.
Format such columns as text before typing, or keep the tables as sheets of one workbook, in which dates may be date cells.

A measured column carries its unit at the end of its name, and the header of the file decides: `height_in` may be given as
`height_mm`, but not both. The other units that a column may have are listed with it. A length in inches may be typed as a
decimal or a fraction: `5.375`, `5 3/8`, `5-3/8` and `5 6/16` are the same number. Columns that are not listed here are
kept and named in a warning.

Values that are impossible stop the run; values that are only doubtful are warnings, and the report prints them. The rows
of a key are told apart by the key's columns together; in `decisions` they are joined by `{KEY_SEPARATOR}`, and blank ones at
the end are left out: `PS-03{KEY_SEPARATOR}2030-12-04{KEY_SEPARATOR}5`.
"""


_LOG = """\
`trialkit intake FILE --into DIR` adds the rows of a field workbook (a sheet for each table) or of a CSV file (one table, named in
the file name or with `--table`). All rows are added or none; rows that the trial has, recognized by their key, are skipped; a row of
the same key that says something else is shown beside the one that is there and never written over it. Rows are added at the end
of the CSV file as that file is written: its columns, units, line ends, quotation marks and letters.

| Option | What it does |
| --- | --- |
| `--dry-run` | shows what would be added and changes nothing |
| `--accept-clean` | adds the rows that nothing speaks against; the others go, with the reasons, into a workbook `..._rejects.xlsx` beside the file, to be mended and taken in again |
| `--add-columns` | adds columns that a file of the trial does not have, blank in its old rows |
| `--leave-out COLUMN` | does not take a column over |
| `--table NAME` | the table of a CSV file, or the only sheets of a workbook to look at |
| `--all-rows` | shows every row, not only the first five of each table |
| `--by CODE` | who takes it in, for the log |

Each table of each intake is entered in `intake_log.csv` in the trial folder, in the same step as the rows.

`trialkit decide DIR --table NAME --row KEY --action ACTION --reason TEXT --by CODE` adds a line to `decisions.csv` after trying it on the
trial; with `--column` and `--new` for a correction, whose old value it fills in. Tables are never changed by it.
"""


def table_markdown(table: Table, level: int = 3) -> str:
    """One table: what a row is, its key, and each column."""
    key = ", ".join(f"`{name}`" for name in table.key) or "none; rows are only ever added"
    lines = [
        f"{'#' * level} {table.name}",
        "",
        f"One row is {table.about}. {'Every trial needs it.' if table.needed else 'Used when it is there.'} Key: {key}.",
    ]
    for group, other in table.group_refers_to:
        lines.append(f"{_listed(group)} together must be in `{other}`.")
    for group in table.either:
        lines.append(f"Each row fills at least one of {_listed(group)}.")
    header = ("Column", "Unit", "Holds", "Required", "Doubtful", "Blank means", "Meaning")
    rows = [
        (
            f"`{column.name}`", unit_words(column), _holds(column), "yes" if column.required else "no",
            doubtful_words(column), "" if column.required else column.blank_means, column.about,
        )
        for column in table.columns
    ]  # fmt: skip
    return "\n".join(lines) + "\n\n" + _markdown_table(header, rows)


def unit_words(column: Column) -> str:
    """The unit of a column, and the suffixes with which the file may give another."""
    if not column.unit:
        return ""
    name = units.described(column.unit)
    other = [f"`_{suffix}`" for suffix in units.alternatives(column.unit)]
    return f"{name}; or {', '.join(other)}" if other else name


def doubtful_words(column: Column) -> str:
    """Outside which bounds a value is a warning; empty if there are none."""
    bounds = []
    if column.doubt_low is not None:
        bounds.append(f"below {column.doubt_low:g}")
    if column.doubt_high is not None and column.doubt_high != column.high:
        bounds.append(f"above {column.doubt_high:g}")
    return f"{' or '.join(bounds)} ({column.bounds_source})" if bounds else ""


def _holds(column: Column) -> str:
    words = column.allowed
    if column.kind == c.CHOICE:
        words = "one of " + ", ".join(f"`{choice}`" for choice in column.choices)
    elif column.choices:
        words = "one of the numbers " + ", ".join(column.choices)
    return words + (f"; one of `{column.refers_to}`" if column.refers_to else "")


def settings_markdown() -> str:
    """Every setting with its default; the ones without a default say so."""
    rows = list(_setting_rows(Settings))
    return _markdown_table(("Setting", "Default", "Meaning"), rows)


def _setting_rows(
    section: type[BaseModel], prefix: str = "", needed: str = "none: must be given"
) -> Iterable[tuple[str, str, str]]:
    for name, field in section.model_fields.items():
        inner = section_of(field.annotation)
        # a list of sections says what it is before its own settings follow
        if inner is None or field.description:
            yield f"`{prefix}{name}`", _default_words(field, needed), field.description or ""
        if inner is not None:
            each = "each must give it" if field.description else needed
            yield from _setting_rows(inner, f"{prefix}{name}.", each)


def _default_words(field: FieldInfo, needed: str) -> str:
    if field.is_required():
        return needed
    default: Any = field.get_default()
    if default is None or default in ((), ""):
        return "not set"
    return f'`"{default}"`' if isinstance(default, str) else f"`{default}`"


def rules_markdown() -> str:
    """The rules across tables as a numbered list, each with its codes."""
    lines = []
    for number, (rule, codes) in enumerate(RULES, start=1):
        tail = f" ({', '.join(f'`{code}`' for code in codes)})" if codes else ""
        lines.append(f"{number}. {rule}{tail}")
    return "\n".join(lines) + "\n"


def codes_markdown() -> str:
    """Every problem code, whether it stops the run, and what it means."""
    rows = [(f"`{name}`", code.severity, code.meaning) for name, code in CODES.items()]
    return _markdown_table(("Code", "Kind", "Meaning"), rows)


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f"`{name}`" for name in names)


def _markdown_table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A pipe table; a pipe inside a cell is escaped."""
    lines = [_line(header), "|" + " --- |" * len(header), *(_line(row) for row in rows)]
    return "\n".join(lines) + "\n"


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
