"""What every result can do: show its table and say itself in one sentence.

Answers: how does the analyst read a result?

A result is a frozen dataclass with a tidy `table`, the `method` in words and `notes`, the caveats that the report must
print. It does not draw itself: `figures` does.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit import columns as c


@dataclass(frozen=True, eq=False)
class Summary:
    """Base of the result objects.

    Attributes
    ----------
    table : DataFrame
        Tidy table, unrounded, with the standard result columns.
    method : str
        The method in words, for the report.
    notes : tuple of str
        Caveats that the report must print; never only a warning.
    """

    table: pd.DataFrame
    method: str
    notes: tuple[str, ...]

    def frame(self) -> pd.DataFrame:
        """A copy of the tidy table, for the caller to change at will."""
        return self.table.copy()

    def summary(self) -> str:
        """The table under its headings, then the notes, as text."""
        shown = self.table.rename(columns=c.RESULT_LABELS).to_string(index=False)
        return "\n".join([shown, "", self.method, *(f"Note: {note}" for note in self.notes)])

    def __str__(self) -> str:
        return self.summary()

    @abstractmethod
    def sentence(self) -> str:
        """The one line that a council reads."""


class Labelled(Summary):
    """Base of the results with a field `labels`, edge type to the name that sentences print."""

    labels: Mapping[str, str]

    def label(self, edge_type: str) -> str:
        """Name of an edge type as sentences print it."""
        return self.labels.get(edge_type, edge_type.replace("_", " "))
