"""Lives of the edge types over several seasons, with the season as a block.

Answers: does what one winter showed hold over several, and may the winters be taken together?

Within a season every truck met the same weather; between seasons it did not. So an edge type is set against the
reference of the same winter, and never last year's plain steel against this year's carbide. Whether the winters are taken
together is settled before the season, in `[plan] pool_seasons`.

References
----------
.. [1] Welch, B. L., "On the comparison of several mean values: an alternative approach", Biometrika 38, 330-336, 1951:
   the test that the seasons agree.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import fdtrc, stdtrit

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import (
    interval_decimals,
    level_percent,
    listed,
    number,
    position_words,
    sentence_case,
    span,
)
from trialkit.results import Labelled
from trialkit.stats.blocked_sums import blocked_sums
from trialkit.stats.inference import two_sided_tail
from trialkit.stats.two_stage import fit_two_stage

PoolRule = Literal["never", "when_alike", "always"]
NEVER: PoolRule = "never"
WHEN_ALIKE: PoolRule = "when_alike"
ALWAYS: PoolRule = "always"
ALL_SEASONS = "all seasons"
UNLIKE = 0.05
"""P value of the test that the seasons agree below which they are not taken together (common practice, no source)."""
SEASON = "season"
POOLED = "pooled"
P_ALIKE = "p_alike"
COLUMNS = [
    c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, SEASON, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.DF, c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE, P_ALIKE, POOLED,
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class SeasonComparison(Labelled):
    """Lives against the reference, season by season and over all of them.

    Attributes
    ----------
    table : DataFrame
        One row per plow position, edge type and season, and one over all seasons where at least two have both the type and
        the reference: `edge_type`, `reference`, `plow_position`, `season`, `estimate` (how many times as long as the
        reference a set lasts), `conf_low`, `conf_high`, `df`, `n_trucks`, `n_trucks_reference`, `p_alike` (P value of the
        test that the seasons agree; only over all seasons) and `pooled` (whether the rule takes them together).
    rule : str
        ``"never"``, ``"when_alike"`` or ``"always"``.
    confidence_level : float
        Two-sided level.
    labels : mapping
        Edge type to the name that sentences print.
    """

    rule: str
    confidence_level: float
    labels: Mapping[str, str]

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each edge type and position that was compared over several seasons."""
        whole = self.table[self.table[SEASON] == ALL_SEASONS]
        return tuple(self._sentence(row) for row in whole.to_dict("records"))

    def sentence(self) -> str:
        """What several seasons say together."""
        return (
            " ".join(self.sentences())
            or "No edge type was tried beside the reference in more than one season."
        )

    def _sentence(self, row: Mapping[Any, Any]) -> str:
        own = self.table[
            (self.table[c.EDGE_TYPE] == row[c.EDGE_TYPE])
            & (self.table[c.PLOW_POSITION] == row[c.PLOW_POSITION])
            & (self.table[SEASON] != ALL_SEASONS)
        ]
        each = listed(
            [f"{number(of.estimate, 2)} times in {of.season}" for of in own.itertuples() if of.estimate > 0]
        )
        name, reference = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        where = f"On {position_words(row[c.PLOW_POSITION])}, "
        if row[POOLED]:
            places = interval_decimals(row[c.ESTIMATE], row[c.CONF_LOW], row[c.CONF_HIGH])
            ends = span(row[c.CONF_LOW], row[c.CONF_HIGH], places)
            return (
                f"{where}{name} lasted {number(row[c.ESTIMATE], 2)} times as long as {reference} over all seasons "
                f"({ends}, {level_percent(self.confidence_level)} interval, each season compared with itself): {each}."
            )
        reasons: dict[str, str] = {
            NEVER: "as agreed, the seasons are not taken together",
            WHEN_ALIKE: f"the seasons differ (P value {number(row[P_ALIKE], 2)}), so they are not taken together",
        }
        why = reasons.get(
            self.rule, "one season leaves no spread between trucks, so they cannot be taken together"
        )
        return sentence_case(f"{where}{name} lasted {each} as long as {reference}; {why}.".lstrip())


class _Difference(NamedTuple):
    """A difference of logarithms with its standard error and degrees of freedom."""

    estimate: float
    std_error: float
    df: float


def compare_over_seasons(
    trucks: pd.DataFrame,
    reference: str,
    *,
    rule: PoolRule = NEVER,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
) -> SeasonComparison:
    """Compare lives with the reference within each season, and over all of them with the season as a block.

    When to use: when the trial was run in more than one winter. For one winter `life_comparison.compare_lives` needs no
    logarithms and says more.

    Parameters
    ----------
    trucks : DataFrame
        One row per truck position, season and edge type: `season`, `plow_position`, `truck_unit`, `edge_type` and
        `use_per_1000_mi` (sets used up in 1,000 miles, such as `LifeProjection.trucks` has).
    reference : str
        Edge type with which the others are compared.
    rule : str
        Whether the seasons are taken together: ``"never"``, ``"when_alike"`` (unless the test that they agree has a P value
        below 0.05) or ``"always"``.
    confidence_level : float
        Two-sided level.
    labels : mapping, optional
        Edge type to the name that sentences print.

    Returns
    -------
    SeasonComparison

    Raises
    ------
    UsageError
        If the rule is not one of the three.

    Notes
    -----
    Logarithms of the trucks' use are compared: the season is taken out exactly (`stats.two_stage.fit_two_stage`), then
    trucks are the units, those that carried both types being compared with themselves; Welch's interval where the types
    have spreads of their own. The ratio is one of geometric means over trucks. A truck without measurable use has no
    logarithm and is named in a note.

    The seasons are tested for agreement with Welch's test of several means [1]_ on their differences, each weighed by its
    own variance. It takes the seasons for independent; where the same trucks ran in both it is a guide, no more.
    """
    if rule not in (NEVER, WHEN_ALIKE, ALWAYS):
        raise UsageError(
            f'"{rule}" is not a rule for pooling seasons; allowed: {NEVER}, {WHEN_ALIKE}, {ALWAYS}.'
        )
    tail = two_sided_tail(confidence_level)
    usable = trucks[trucks[c.USE_PER_1000_MI] > 0]
    rows: list[dict[str, Any]] = []
    notes = _left_out(trucks, labels or {})
    for position, at_position in usable.groupby(c.PLOW_POSITION, observed=True, sort=False):
        for edge_type in dict.fromkeys(at_position[c.EDGE_TYPE].astype(str)):
            if edge_type == reference:
                continue
            both = at_position[at_position[c.EDGE_TYPE].astype(str).isin([reference, edge_type])]
            found, alone = _of_type(both, reference, rule, tail)
            place = {c.EDGE_TYPE: edge_type, c.REFERENCE: reference, c.PLOW_POSITION: str(position)}
            rows += [place | row for row in found]
            notes += _alone_words(alone, edge_type, reference, str(position), labels or {})
    table = pd.DataFrame(rows, columns=COLUMNS)
    method = (
        "Trucks of the same season are compared by the logarithms of their use, the season being a block and the truck the "
        f"unit; {level_percent(confidence_level)} interval after Welch. Whether the seasons agree is tested after Welch (1951)."
    )
    return SeasonComparison(table, method, tuple(notes), rule, confidence_level, dict(labels or {}))


def _of_type(
    both: pd.DataFrame, reference: str, rule: str, tail: float
) -> tuple[list[dict[str, Any]], list[str]]:
    """The rows of one edge type, and the seasons in which it or the reference was alone."""
    rows, differences, shared, alone = [], [], [], []
    for season, own in both.groupby(SEASON, observed=True, sort=False):
        if own[c.EDGE_TYPE].astype(str).nunique() < 2:
            alone.append(str(season))
            continue
        difference = _difference(own, reference, 1 - 2 * tail)
        shared.append(str(season))
        differences.append(difference)
        rows.append(_row(str(season), difference, own, reference, tail, pooled=False))
    if len(shared) > 1:
        together = both[both[SEASON].astype(str).isin(shared)]
        p_alike = p_agree(differences)
        difference = _difference(together, reference, 1 - 2 * tail)
        pooled = rule == ALWAYS or (rule == WHEN_ALIKE and p_alike >= UNLIKE)
        pooled = pooled and math.isfinite(difference.std_error)
        rows.append(
            _row(ALL_SEASONS, difference, together, reference, tail, pooled=pooled) | {P_ALIKE: p_alike}
        )
    return rows, alone


def _difference(own: pd.DataFrame, reference: str, confidence_level: float) -> _Difference:
    """Logarithm of the life against the reference, with the season taken out."""
    treatment = (own[c.EDGE_TYPE].astype(str) != reference).astype(int)
    sums = blocked_sums(
        -np.log(own[c.USE_PER_1000_MI].to_numpy(float)),
        pd.factorize(own[SEASON])[0],
        pd.factorize(own[c.TRUCK_UNIT])[0],
        treatment,
    )
    fit = fit_two_stage(sums, confidence_level)
    return _Difference(float(fit.estimate[0]), float(fit.std_error[0]), float(fit.df[0]))


def _row(
    season: str, of: _Difference, own: pd.DataFrame, reference: str, tail: float, *, pooled: bool
) -> dict[str, Any]:
    reach = -stdtrit(of.df, tail) * of.std_error if math.isfinite(of.std_error) else math.nan
    is_reference = own[c.EDGE_TYPE].astype(str) == reference
    return {
        SEASON: season,
        c.ESTIMATE: math.exp(of.estimate),
        c.CONF_LOW: math.exp(of.estimate - reach),
        c.CONF_HIGH: math.exp(of.estimate + reach),
        c.DF: of.df,
        c.N_TRUCKS: own.loc[~is_reference, c.TRUCK_UNIT].nunique(),
        c.N_TRUCKS_REFERENCE: own.loc[is_reference, c.TRUCK_UNIT].nunique(),
        P_ALIKE: math.nan,
        POOLED: pooled,
    }


def p_agree(differences: Sequence[tuple[float, float, float]]) -> float:
    """P value of Welch's test that several differences are one; NaN if one of them has no standard error.

    Parameters
    ----------
    differences : sequence of (estimate, std_error, df)
        One for each season.

    Notes
    -----
    With weights ``w = 1 / std_error^2``, W their sum and k seasons, the statistic
    ``sum w (estimate - mean)^2 / (k - 1) / (1 + 2 (k - 2) / (k^2 - 1) sum (1 - w / W)^2 / df)`` has an F distribution with
    k - 1 and ``(k^2 - 1) / (3 sum (1 - w / W)^2 / df)`` degrees of freedom [1]_.
    """
    estimate, std_error, df = np.array(differences, float).T
    if not np.isfinite(std_error).all() or (std_error <= 0).any():
        return math.nan
    k, weight = len(estimate), std_error**-2.0
    mean = (weight @ estimate) / weight.sum()
    lack = (((1 - weight / weight.sum()) ** 2) / df).sum()
    statistic = (weight @ (estimate - mean) ** 2) / (k - 1) / (1 + 2 * (k - 2) / (k**2 - 1) * lack)
    return float(fdtrc(k - 1, (k**2 - 1) / (3 * lack), statistic))


def _left_out(trucks: pd.DataFrame, labels: Mapping[str, str]) -> list[str]:
    """Trucks whose edges show no use."""
    without = trucks[~(trucks[c.USE_PER_1000_MI] > 0)]
    return [
        f"{row[c.TRUCK_UNIT]} in {row[SEASON]} ({labels.get(str(row[c.EDGE_TYPE]), str(row[c.EDGE_TYPE]))}) shows no "
        "measurable wear, so it is not in the comparison over seasons."
        for row in without.to_dict("records")
    ]


def _alone_words(
    alone: Sequence[str], edge_type: str, reference: str, position: str, labels: Mapping[str, str]
) -> list[str]:
    """That an edge type and the reference were not tried in the same winter."""
    if not alone:
        return []
    name, other = labels.get(edge_type, edge_type), labels.get(reference, reference)
    where = f" on {position_words(position)}" if position else ""
    return [
        f"In {listed(list(alone))} only one of {name} and {other} was tried{where}, so nothing is compared there: winters "
        "differ, and edges of different winters are not set against each other."
    ]
