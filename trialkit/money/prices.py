"""What a set costs, and what each hour, change and year costs beside it.

Answers: which prices hold on the day of the analysis, and which of them are not known?

A price that is not recorded is *unknown*, never zero. Someone who pays nothing for an item records it with the amount 0.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit.errors import UsageError
from trialkit.formatting import counted, listed, money
from trialkit.table_parts import COST_PER

LABOUR_REGULAR, LABOUR_OVERTIME, TRUCK_DOWN = "labour_regular", "labour_overtime", "truck_down"
HARDWARE, CONVERSION, DISPOSAL, STOCK, OTHER = (
    "hardware_per_change", "conversion_kit", "disposal", "stock_holding", "other",
)  # fmt: skip
ITEMS = (
    LABOUR_REGULAR, LABOUR_OVERTIME, TRUCK_DOWN, HARDWARE, DISPOSAL, CONVERSION, STOCK, OTHER,
)  # fmt: skip
ITEM_WORDS = {
    LABOUR_REGULAR: "regular labor",
    LABOUR_OVERTIME: "overtime labor",
    TRUCK_DOWN: "truck down time",
    HARDWARE: "hardware",
    CONVERSION: "conversion kits",
    DISPOSAL: "disposal",
    STOCK: "stock holding",
    OTHER: "other costs",
}
HOUR, CHANGE, SET, YEAR = "hour", "change", "set", "year"
NOT_SAID = "not said"
BOUGHT = "bought"
N_PRICED = "n_priced"


@dataclass(frozen=True, slots=True)
class Amount:
    """One cost item as it holds for one edge type on the day of the analysis.

    Attributes
    ----------
    item : str
        One of `ITEMS`.
    amount : float
        In the trial's currency; NaN if it is not known.
    per : str
        "hour", "change", "set" or "year"; "not said" where an amount is recorded without it, empty where none is recorded.
    source : str
        Where the figure comes from.
    needed : bool
        Whether the edge type has such a cost at all; False where nobody pays it (no conversion kit for this type).
    """

    item: str
    amount: float = math.nan
    per: str = ""
    source: str = ""
    needed: bool = True

    @property
    def is_known(self) -> bool:
        """Whether there is an amount, or none is needed."""
        return not self.needed or math.isfinite(self.amount)


def set_prices(edge_sets: pd.DataFrame) -> pd.DataFrame:
    """Price of a complete set of each edge type.

    Parameters
    ----------
    edge_sets : DataFrame
        Columns set_id, edge_type, unit_price_usd; supplied_by if there is one.

    Returns
    -------
    DataFrame
        Index edge_type: price (mean over the sets whose price counts; missing if none has one), price_low, price_high, n_sets,
        n_priced.

    Raises
    ------
    UsageError
        If a price is negative.

    Notes
    -----
    Sets that were bought count, and sets of which it is not recorded how they were come by; the price put on a donated or
    loaned set counts only where no bought set of the type has a price. A blank or a price of 0 never counts: a set that was
    bought had a price, and after a donated one the next has to be bought.
    """
    prices = edge_sets[c.UNIT_PRICE_USD].astype(float)
    _require_no_negative(edge_sets, prices, c.SET_ID, "price of set")
    given = edge_sets[c.SUPPLIED_BY].astype(object) if c.SUPPLIED_BY in edge_sets else BOUGHT
    own = pd.Series(given, index=edge_sets.index, dtype=object).fillna(BOUGHT) == BOUGHT
    rows = {}
    for kind, index in edge_sets.groupby(edge_sets[c.EDGE_TYPE].astype(object), sort=False).groups.items():
        here = prices.loc[index]
        here = here[here > 0]
        bought = here[own.loc[here.index]]
        counts = bought if len(bought) else here
        low, high = (counts.min(), counts.max()) if len(counts) else (math.nan, math.nan)
        mean = float(counts.mean()) if len(counts) else math.nan
        rows[kind] = (mean, float(low), float(high), len(index), len(counts))
    columns = [c.PRICE, c.PRICE_LOW, c.PRICE_HIGH, c.N_SETS, N_PRICED]
    found = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    found.index.name = c.EDGE_TYPE
    return found


def cost_amounts(
    costs: pd.DataFrame | None, edge_types: Sequence[str], reference: str, *, as_of: Any = None
) -> dict[str, dict[str, Amount]]:
    """What each item costs for each edge type on one day.

    Parameters
    ----------
    costs : DataFrame or None
        Columns item, effective_from, edge_type (blank: all types), amount_usd, per, source.
    edge_types : sequence of str
        Types that are wanted.
    reference : str
        Type that the trucks carry today; it needs no conversion kit.
    as_of : date, optional
        Day whose prices are used; the latest prices otherwise.

    Returns
    -------
    dict
        Edge type to item to `Amount`.

    Raises
    ------
    UsageError
        If an amount other than a disposal credit is negative.

    Notes
    -----
    A row for the edge type goes before one for all types; among those the latest that holds on the day. The reference needs no
    conversion kit, whatever is recorded. Where kits are recorded for some types, a type without a row of its own and without one
    for all types needs none; where none is recorded at all, it is unknown. A kit that is recorded and has no amount on the day is
    unknown. `other` is not needed where it is not recorded. An amount per something that does not fit its item, or that does not
    say per what, is unknown.
    """
    rows = pd.DataFrame(columns=[c.ITEM, c.EFFECTIVE_FROM, c.EDGE_TYPE, c.AMOUNT_USD, c.PER, c.SOURCE])
    if costs is not None and len(costs):
        rows = costs
        amounts = rows[c.AMOUNT_USD].astype(float).where(rows[c.ITEM].astype(object) != DISPOSAL, 0.0)
        _require_no_negative(rows, amounts, c.ITEM, "amount of")
    plain = rows.astype({name: object for name in (c.ITEM, c.EDGE_TYPE, c.PER) if name in rows})
    kits = plain.loc[plain[c.ITEM] == CONVERSION, c.EDGE_TYPE]
    if as_of is not None and len(plain):
        plain = plain[pd.to_datetime(plain[c.EFFECTIVE_FROM]) <= pd.Timestamp(as_of)]
    plain = plain.sort_values(c.EFFECTIVE_FROM, kind="stable")
    found: dict[str, dict[str, Amount]] = {}
    for kind in edge_types:
        of_type = {item: _amount_of(plain, item, kind) for item in ITEMS}
        if kind == reference:
            own = of_type[CONVERSION] if (kits == kind).any() else None
            of_type[CONVERSION] = replace(own or Amount(CONVERSION), needed=False)
        elif len(kits) and not (kits.isna() | (kits == kind)).any():
            of_type[CONVERSION] = Amount(CONVERSION, needed=False)
        of_type[OTHER] = of_type[OTHER] or Amount(OTHER, needed=False)
        found[kind] = {item: amount or Amount(item) for item, amount in of_type.items()}
    return found


def _amount_of(rows: pd.DataFrame, item: str, edge_type: str) -> Amount | None:
    """The amount of an item that holds for an edge type; None if none is recorded."""
    here = rows[rows[c.ITEM] == item]
    own = here[here[c.EDGE_TYPE] == edge_type]
    chosen = own if len(own) else here[here[c.EDGE_TYPE].isna()]
    if chosen.empty:
        return None
    row = chosen.iloc[-1]
    amount, per = float(row[c.AMOUNT_USD]), str(row[c.PER]) if pd.notna(row[c.PER]) else NOT_SAID
    source = row.get(c.SOURCE)
    said = str(source) if source is not None and pd.notna(source) else ""
    return Amount(item, amount if per in COST_PER[item] else math.nan, per, said)


def _require_no_negative(frame: pd.DataFrame, amounts: pd.Series, name: str, what: str) -> None:
    wrong = [f"{what} {frame.loc[index, name]} is {amounts[index]:g}" for index in amounts.index[amounts < 0]]
    if wrong:
        raise UsageError(f"{'; '.join(wrong)}. Only a disposal credit may be negative; correct the amount.")


def price_notes(
    prices: pd.DataFrame, labels: Mapping[str, str], currency: str, edge_types: Sequence[str]
) -> list[str]:
    """What has to be said about the prices: those that differ within a type, and those that are not known."""
    notes = []
    known = {str(row[c.EDGE_TYPE]): row for row in prices.reset_index().to_dict("records")}
    for kind in edge_types:
        who = labels.get(kind, kind.replace("_", " "))
        row = known.get(kind)
        if row is None or not math.isfinite(row[c.PRICE]):
            notes.append(f"No price of a set of {who} is recorded, so its cost is not known.")
            continue
        if row[c.PRICE_HIGH] > row[c.PRICE_LOW]:
            ends = f"{money(row[c.PRICE_LOW], currency)} to {money(row[c.PRICE_HIGH], currency)}"
            notes.append(
                f"Sets of {who} were bought at {ends}; the mean over {counted(row[N_PRICED], 'set')}, "
                f"{money(row[c.PRICE], currency)}, is used."
            )
        if row[N_PRICED] < row[c.N_SETS]:
            notes.append(
                f"The price of a set of {who} is that of {row[N_PRICED]} of {counted(row[c.N_SETS], 'set')}; the others have none "
                "that counts."
            )
    return notes


def misfit_notes(amounts: Mapping[str, Mapping[str, Amount]]) -> list[str]:
    """What has to be said about cost items that are given per nothing, or per something that does not fit."""
    misfits = {
        (item, amount.per)
        for of_type in amounts.values()
        for item, amount in of_type.items()
        if amount.needed and amount.per and amount.per not in COST_PER[item]
    }
    return [
        f"The amount of {ITEM_WORDS[item]} is given {_misfit(per)}; it may be per {listed(COST_PER[item], 'or')}. It is taken as unknown."
        for item, per in sorted(misfits)
    ]


def _misfit(per: str) -> str:
    return "without what it is paid per" if per == NOT_SAID else f"per {per}, which does not fit"


def kit_notes(
    amounts: Mapping[str, Mapping[str, Amount]], labels: Mapping[str, str], reference: str
) -> list[str]:
    """What has to be said about a conversion kit that is recorded for the type that the trucks carry already."""
    kit = amounts[reference][CONVERSION] if reference in amounts else Amount(CONVERSION)
    if not kit.per:
        return []
    who = labels.get(reference, reference.replace("_", " "))
    return [f"The trucks carry {who} today, so the conversion kit that is recorded for it is not counted."]
