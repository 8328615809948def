"""What every comparison of edge types with the reference has in common.

Answers: how is an edge type set against the reference named, paired and said?

`comparison` does it for wear, `life_comparison` and `life_margin` for lives.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trialkit import columns as c
from trialkit.results import Labelled
from trialkit.stats import inference

SEPARATE = "different trucks, Welch-Fieller"
PAIRED = "same trucks, Fieller on pairs"
PART_PAIRED = "some trucks carried both, partly paired Fieller"
PAIRS_ONLY = "trucks that carried both, Fieller on pairs"
PAIRS_IGNORED = "pairing left out of account, Welch-Fieller"
ONE_TRUCK = "one truck of a type, no interval"
NO_INTERVAL = "no interval"
DIFFERENCE_METHOD = {
    SEPARATE: "different trucks, Welch t",
    PAIRED: "same trucks, paired t",
    PART_PAIRED: "some trucks carried both, partly paired t",
    PAIRS_IGNORED: "pairing left out of account, Welch t",
    ONE_TRUCK: ONE_TRUCK,
    NO_INTERVAL: NO_INTERVAL,
}
NOTHING_COMPARED = "No edge type is set against the reference: on no plow position could both be measured."
_BY_PAIRING = {
    inference.ALL_PAIRED: PAIRED,
    inference.PARTLY_PAIRED: PART_PAIRED,
    inference.PAIRS_UNUSED: PAIRS_IGNORED,
    inference.UNPAIRED: SEPARATE,
}


@dataclass(frozen=True, eq=False)
class AgainstReference(Labelled):
    """Edge types set against the reference: one row of the table, and one sentence, for each type on each plow position.

    Attributes
    ----------
    confidence_level : float
        Level of every interval or bound.
    labels : dict
        Edge type to the name that sentences print.
    """

    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each row of the table."""
        places = self.table[c.PLOW_POSITION].nunique()
        return tuple(self._sentence(row, places > 1) for row in self.table.to_dict("records"))

    def sentence(self) -> str:
        """The comparisons in words."""
        return " ".join(self.sentences()) or NOTHING_COMPARED

    @abstractmethod
    def _sentence(self, row: dict[Hashable, Any], say_place: bool) -> str:
        """What a row says, with its plow position if there are several."""


def methods(n_type: ArrayLike, n_reference: ArrayLike, n_pairs: ArrayLike, known: ArrayLike) -> np.ndarray:
    """How a ratio was made, by the numbers of trucks and of those that carried both; `known` says where there is an interval."""
    fewest = np.minimum(np.asarray(n_type, dtype=float), np.asarray(n_reference, dtype=float))
    used = inference.pairing_used(n_type, n_reference, n_pairs)
    by_pairing = np.vectorize(_BY_PAIRING.__getitem__, otypes=[object])(used)
    return np.where(fewest < 2, ONE_TRUCK, np.where(np.asarray(known), by_pairing, NO_INTERVAL))
