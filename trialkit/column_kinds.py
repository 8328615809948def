"""What a column can be: its kind, its unit and what may stand in it.

Answers: how is one column of an input table described?

The names of the columns are in `columns`, which also hands on what is defined here.
"""

from __future__ import annotations

from dataclasses import dataclass

TEXT = "text"
ID = "id"
CHOICE = "choice"
NUMBER = "number"
WHOLE = "whole"
MOMENT = "moment"
KIND_WORDS = {
    TEXT: "text",
    ID: "a name or code",
    CHOICE: "one of",
    NUMBER: "a number",
    WHOLE: "a whole number",
    MOMENT: "a date, or a date with a time",
}


@dataclass(frozen=True, slots=True)
class Column:
    """What one column of a table means and what may stand in it.

    Attributes
    ----------
    name : str
        Canonical name; a measured column ends in its canonical unit.
    kind : str
        `TEXT`, `ID`, `CHOICE`, `NUMBER`, `WHOLE` or `MOMENT`.
    label : str
        Heading for people, without the unit.
    about : str
        One sentence for the column dictionary.
    unit : str
        Canonical unit suffix ("in", "mi", ...), empty if the column has none.
    low, high : float or None
        Outside them the value is impossible: an error.
    low_excluded : bool
        Whether `low` itself is impossible too.
    doubt_low, doubt_high : float or None
        Outside them the value is doubtful: a warning.
    bounds_source : str
        Where the bounds come from.
    choices : tuple of str
        The words a `CHOICE` may be.
    required : bool
        Whether the column must be in the header and every cell filled.
    blank_means : str
        What a blank cell is read as; "not recorded" unless said otherwise.
    refers_to : str
        Table whose key the value must be in; empty if none.
    """

    name: str
    kind: str
    label: str
    about: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    low_excluded: bool = False
    doubt_low: float | None = None
    doubt_high: float | None = None
    bounds_source: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False
    blank_means: str = "not recorded"
    refers_to: str = ""

    @property
    def is_numeric(self) -> bool:
        """Whether the column holds numbers."""
        return self.kind in (NUMBER, WHOLE)

    @property
    def allowed(self) -> str:
        """What may stand in a cell, in words, for a problem's `allowed`."""
        if self.kind == CHOICE:
            return ", ".join(self.choices)
        words = KIND_WORDS[self.kind]
        if self.low is not None and self.high is not None:
            start = "above" if self.low_excluded else "from"
            words += f" {start} {self.low:g} to {self.high:g}"
        elif self.low is not None:
            words += f" above {self.low:g}" if self.low_excluded else f", {self.low:g} or more"
        elif self.high is not None:
            words += f" up to {self.high:g}"
        return words
