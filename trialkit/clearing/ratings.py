"""What the operators thought: scores from 1 to 5, with the truck as the unit.

Answers: do operators rate this edge type higher than the reference, item by item, and how sure is that?

A score has an order and no distances, so nothing is averaged to decide: the question is how often a score with one edge
type beats one with the other. The scores given on one truck are one truck's word, however many they are. Operators know
which edge they drive with; a rating is an opinion beside the measurements and not one of them.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import NotEnoughDataError, UsageError, near_match
from trialkit.formatting import counted, fixed, level_percent, level_words, listed
from trialkit.results import Labelled
from trialkit.stats.inference import ONE_UNIT, holm_adjusted
from trialkit.stats.superiority import Superiority, superiority

SCORES = (1, 2, 3, 4, 5)
EVEN_PCT = 50.0
SEPARATE = "trucks with one against trucks with the other"
PAIRED = "trucks against themselves"
PARTLY = "some trucks against themselves"
PERCENT = "%"
UNBLINDED = (
    "Operators knew which edge they drove with, so their ratings hold expectations as well as experience. They stand beside the "
    "measurements and decide nothing alone."
)
_ITEM_WORDS = {"clearing": "how well the road was cleared"}


@dataclass(frozen=True, eq=False)
class RatingComparison(Labelled):
    """Operators' ratings of each edge type against the reference, item by item.

    Attributes
    ----------
    table : DataFrame
        One row per item and other edge type: `edge_type`, `reference`, `item`, `estimate_pct` (how often a score with
        this edge type beats one with the reference, ties counting half; 50% is no difference), `conf_low`, `conf_high`,
        `unit`, `p_value` (exact, over the ways to deal the edge types to the trucks), `p_holm`, `p_smallest` (the
        smallest that so few trucks can give), `df`, `mean_score`, `mean_score_reference` (means over trucks of their
        mean scores), `n_ratings` (of both), `n_trucks`, `n_trucks_reference`, `n_pairs`, `n_operators`, `method`,
        `reason` (why there is no interval).
    distribution : DataFrame
        One row per item, edge type and score: `item`, `edge_type`, `score`, `n_ratings` (with this score), `share_frac`,
        `n_trucks`, `n_operators` (of the item and edge type; zero where operators are not recorded).
    confidence_level : float
    labels : mapping
        Edge type to the name that sentences print.
    """

    distribution: pd.DataFrame
    confidence_level: float
    labels: Mapping[str, str]

    def of_item(self, item: str) -> pd.DataFrame:
        """The rows of one item."""
        return self.table[self.table[c.ITEM] == item].copy()

    def sentences(self, item: str | None = None) -> tuple[str, ...]:
        """One sentence for each row of the table, or for those of one item."""
        rows = self.table if item is None else self.of_item(item)
        return tuple(self._sentence(row) for row in rows.to_dict("records"))

    def sentence(self) -> str:
        """The comparisons in words."""
        return " ".join(self.sentences())

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        kind, reference = self.label(row[c.EDGE_TYPE]), self.label(row[c.REFERENCE])
        start = f"On {item_words(row[c.ITEM])},"
        share, low, high = row[c.ESTIMATE_PCT], row[c.CONF_LOW], row[c.CONF_HIGH]
        ends = f"{level_words(self.confidence_level)} {fixed(low, 0)} to {fixed(high, 0)}"
        times = f"{kind} gets the better score {fixed(share, 0)} times in 100"
        found = f"{times}, ties counting half ({ends if math.isfinite(low) else 'no interval'})"
        needed = 1 - self.confidence_level
        if row[c.P_HOLM] < needed:
            word = "higher" if share > EVEN_PCT else "lower"
            return f"{start} operators rated {kind} {word} than {reference}: {found}."
        trucks = f"{counted(int(row[c.N_TRUCKS]), 'truck')} against {int(row[c.N_TRUCKS_REFERENCE])}"
        if row[c.P_SMALLEST] >= needed:
            return (
                f"{start} the ratings of {kind} and {reference} cannot be told apart: with {trucks} no scores at all could have "
                f"shown a difference. In these, {found}."
            )
        said = f"{start} no difference between the ratings of {kind} and {reference} is shown: {found}"
        if low > EVEN_PCT or high < EVEN_PCT:
            return f"{said}. Dealing the edge types to {trucks} in other ways would too often come out as far from even."
        return f"{said}."


def compare_ratings(
    ratings: pd.DataFrame,
    *,
    reference: str,
    confidence_level: float = 0.95,
    labels: Mapping[str, str] | None = None,
    seed: int = 0,
) -> RatingComparison:
    """Compare the operators' ratings of the edge types with those of the reference, item by item.

    When to use: to report what operators said with the care that few trucks ask for. Not to decide between edge types on
    opinions alone.

    Parameters
    ----------
    ratings : DataFrame
        One row per rating: `item`, `score` (1 to 5, 5 is best), `truck_id`, `edge_type` (missing where not known), and
        `operator` where it is recorded. A categorical `edge_type` gives the order of the rows.
    reference : str
        Edge type with which the others are compared.
    confidence_level : float
        Two-sided level.
    labels : mapping, optional
        Edge type to the name that sentences print.
    seed : int
        For the p values, where there are too many trucks to go through every way.

    Returns
    -------
    RatingComparison

    Raises
    ------
    UsageError
        If a column is missing, a score is not 1 to 5, or no rating has the reference edge type.
    NotEnoughDataError
        If no item was rated with the reference and with another edge type.

    Notes
    -----
    `stats.superiority` says how: each truck counts once with the distribution of its scores. The p value is exact and
    supposes nothing of the scores; it decides. With three trucks of each edge type it cannot be below 0.10, whatever the operators say,
    and the sentence then says so. The interval is Brunner and Munzel's with the truck as the unit, on the logit scale.
    """
    _require(ratings, reference)
    known = ratings[ratings[[c.EDGE_TYPE, c.TRUCK_ID, c.SCORE]].notna().all(axis=1)]
    if c.OPERATOR not in known:
        known = known.assign(**{c.OPERATOR: None})
    names = dict.fromkeys((c.EDGE_TYPE, c.TRUCK_ID, c.ITEM, c.OPERATOR), object)
    frame = known.astype({**names, c.SCORE: int})
    order = _types_in_order(ratings, frame, reference)
    rows: list[dict[str, Any]] = []
    for item in dict.fromkeys(frame[c.ITEM].astype(object)):
        of_item = frame[frame[c.ITEM] == item]
        rows.extend(
            _row(of_item, item, name, reference, confidence_level, seed)
            for name in order
            if name != reference and {name, reference} <= set(of_item[c.EDGE_TYPE])
        )
    if not rows:
        raise NotEnoughDataError(
            f"No item was rated both with {reference} and with another edge type ({counted(len(frame), 'rating')}); at least "
            "1 such item is needed."
        )
    table = pd.DataFrame(rows)
    table[c.P_HOLM] = table.groupby(c.ITEM, sort=False)[c.P_VALUE].transform(holm_adjusted)
    labels = dict(labels or {})
    result = RatingComparison(
        table=table[list(TABLE)],
        method=_method(confidence_level),
        notes=(),
        distribution=_distribution(frame, order),
        confidence_level=confidence_level,
        labels=labels,
    )
    return replace(result, notes=tuple(_notes(ratings, frame, result)))


TABLE = (
    c.EDGE_TYPE,
    c.REFERENCE,
    c.ITEM,
    c.ESTIMATE_PCT,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.UNIT,
    c.P_VALUE,
    c.P_HOLM,
    c.P_SMALLEST,
    c.DF,
    c.MEAN_SCORE,
    c.MEAN_SCORE_REFERENCE,
    c.N_RATINGS,
    c.N_TRUCKS,
    c.N_TRUCKS_REFERENCE,
    c.N_PAIRS,
    c.N_OPERATORS,
    c.METHOD,
    c.REASON,
)


def item_words(item: str) -> str:
    """An item as a sentence says it."""
    return _ITEM_WORDS.get(item, item.replace("_", " "))


# ---------------------------------------------------------------- the tables
def _row(
    ratings: pd.DataFrame, item: str, name: str, reference: str, confidence_level: float, seed: int
) -> dict[str, Any]:
    pair = ratings[ratings[c.EDGE_TYPE].isin([name, reference])]
    mine = (pair[c.EDGE_TYPE] == name).to_numpy()
    found: Superiority = superiority(
        pair[c.SCORE].to_numpy(), pair[c.TRUCK_ID].astype(str).to_numpy(), mine, confidence_level, seed
    )
    trucks, others = set(pair.loc[mine, c.TRUCK_ID]), set(pair.loc[~mine, c.TRUCK_ID])
    shared, means = len(trucks & others), pair.groupby([mine, pair[c.TRUCK_ID]])[c.SCORE].mean()
    whole = shared == len(trucks) == len(others)
    return {
        c.EDGE_TYPE: name,
        c.REFERENCE: reference,
        c.ITEM: item,
        c.ESTIMATE_PCT: 100 * found.estimate,
        c.CONF_LOW: 100 * found.conf_low,
        c.CONF_HIGH: 100 * found.conf_high,
        c.UNIT: PERCENT,
        c.P_VALUE: found.p_value,
        c.P_SMALLEST: found.p_smallest,
        c.DF: found.df,
        c.MEAN_SCORE: means[True].mean(),
        c.MEAN_SCORE_REFERENCE: means[False].mean(),
        c.N_RATINGS: len(pair),
        c.N_TRUCKS: len(trucks),
        c.N_TRUCKS_REFERENCE: len(others),
        c.N_PAIRS: shared,
        c.N_OPERATORS: pair[c.OPERATOR].nunique(),
        c.METHOD: PAIRED if whole else PARTLY if shared else SEPARATE,
        c.REASON: ONE_UNIT if min(len(trucks), len(others)) < 2 else found.reason,
    }


def _distribution(frame: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    """How often each score was given, with zeros."""
    groups = frame.groupby([c.ITEM, c.EDGE_TYPE], sort=False, observed=True)
    sizes = groups.agg(
        **{
            c.N_TRUCKS: (c.TRUCK_ID, "nunique"),
            c.N_OPERATORS: (c.OPERATOR, "nunique"),
            c.TOTAL: (c.SCORE, "size"),
        }
    )
    given = frame.groupby([c.ITEM, c.EDGE_TYPE, c.SCORE], observed=True).size()
    rows = [
        {
            c.ITEM: item,
            c.EDGE_TYPE: name,
            c.SCORE: score,
            c.N_RATINGS: int(given.get((item, name, score), 0)),
            c.SHARE_FRAC: given.get((item, name, score), 0) / sizes.loc[(item, name), c.TOTAL],
            c.N_TRUCKS: int(sizes.loc[(item, name), c.N_TRUCKS]),
            c.N_OPERATORS: int(sizes.loc[(item, name), c.N_OPERATORS]),
        }
        for item in dict.fromkeys(frame[c.ITEM].astype(object))
        for name in order
        if (item, name) in sizes.index
        for score in SCORES
    ]
    return pd.DataFrame(rows)


def _types_in_order(ratings: pd.DataFrame, frame: pd.DataFrame, reference: str) -> list[str]:
    there = list(dict.fromkeys(frame[c.EDGE_TYPE]))
    if isinstance(ratings[c.EDGE_TYPE].dtype, pd.CategoricalDtype):
        there = [name for name in ratings[c.EDGE_TYPE].cat.categories if name in there]
    return [reference, *(name for name in there if name != reference)]


# ---------------------------------------------------------------- what is asked for, and what is said
def _require(ratings: pd.DataFrame, reference: str) -> None:
    missing = [name for name in (c.ITEM, c.SCORE, c.TRUCK_ID, c.EDGE_TYPE) if name not in ratings]
    if missing:
        raise UsageError(f"The ratings have no column {', '.join(missing)}.")
    scores = ratings[c.SCORE].dropna()
    wrong = sorted(set(scores[~scores.isin(SCORES)]))
    if wrong:
        raise UsageError(f"A score is {listed([f'{score:g}' for score in wrong])}; allowed: 1, 2, 3, 4 or 5.")
    types = [str(name) for name in ratings[c.EDGE_TYPE].dropna().unique()]
    if reference not in types:
        hint = near_match(reference, types) or f"Edge types with ratings: {', '.join(types) or 'none'}."
        raise UsageError(f'No rating has the reference edge type "{reference}". {hint}')


def _method(confidence_level: float) -> str:
    return (
        "How often a score with one edge type beats a score with the reference, ties counting half, averaged over all pairs of "
        "trucks, so that each truck counts once however often it was rated. The p value is exact: the share of all ways to deal "
        "the edge types to the trucks (to exchange them, on trucks that carried both) that would come out at least as far from "
        f"an even 50%. {level_percent(confidence_level)} interval after Brunner and Munzel, on the logit scale, from the spread "
        "between trucks. Holm's adjustment over the edge types of an item."
    )


def _notes(ratings: pd.DataFrame, frame: pd.DataFrame, result: RatingComparison) -> Iterator[str]:
    yield UNBLINDED
    left_out = len(ratings) - len(frame)
    if left_out:
        yield (
            f"{counted(left_out, 'rating')} {'was' if left_out == 1 else 'were'} left out because score, truck or edge type "
            f"{'is' if left_out == 1 else 'are'} not known."
        )
    compared = set(zip(result.table[c.ITEM], result.table[c.EDGE_TYPE], strict=True))
    for item, names in frame.groupby(c.ITEM, sort=False, observed=True)[c.EDGE_TYPE].unique().items():
        alone = [
            name
            for name in names
            if (item, name) not in compared and name != result.table[c.REFERENCE].iloc[0]
        ]
        if alone or not any(key[0] == item for key in compared):
            who = listed([result.label(name) for name in alone]) or result.label(names[0])
            yield f"On {item_words(str(item))}, {who} cannot be compared: only one side was rated."
    for row in result.table[result.table[c.REASON] != ""].to_dict("records"):
        yield (
            f"On {item_words(row[c.ITEM])}, {result.label(row[c.EDGE_TYPE])} against {result.label(row[c.REFERENCE])}: no interval, "
            f"{row[c.REASON]}."
        )
    yield from _operator_notes(frame, result)


def _operator_notes(frame: pd.DataFrame, result: RatingComparison) -> Iterator[str]:
    named = frame[frame[c.OPERATOR].notna()]
    if named.empty:
        yield "Operators are not recorded, so it is not known how many people stand behind the ratings."
        return
    people = named.groupby(c.EDGE_TYPE, sort=False)[c.OPERATOR].nunique()
    for name in people.index[people == 1]:
        yield f"All ratings of {result.label(name)} come from one operator."
    types = named.groupby(c.OPERATOR)[c.EDGE_TYPE].nunique()
    several = int((types > 1).sum())
    if several == 0 and len(people) > 1:
        yield (
            "No operator rated more than one edge type, so a stricter hand cannot be told from a worse edge except by the number "
            "of trucks."
        )
