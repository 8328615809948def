"""Short tables about the cost of edges, as the report prints them.

Answers: what stands in each cell of a printed table of costs, orders and bids?

Amounts are text here, rounded to what their interval supports and with their currency; the saved tables have the numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    PLOWS,
    counted,
    fixed,
    interval_decimals,
    level_words,
    listed,
    money,
    money_interval,
    money_interval_decimals,
    percent,
    sentence_case,
)
from trialkit.money import bids as of_bids
from trialkit.money import cost_sensitivity, left_out, life_cycle, lines, what_if
from trialkit.money.cost_differences import EDGES_ALONE, chance_words
from trialkit.money.costs import OF_WHICH, PER_MILE
from trialkit.money.order import PIECE, SUM_OF_TRUCKS, TO_HAVE
from trialkit.money.sets_needed import CARRIED_FRAC
from trialkit.report.cost_study import CostStudy
from trialkit.table_parts import WINTERS, YES

NOT_KNOWN, NONE = "not known", "–"
COST_TEXT, SEASON_TEXT, SAVING_TEXT = "cost_text", "season_text", "saving_text"
OUTFIT_TEXT, LCC_TEXT, NPV_TEXT, PAYBACK_TEXT = "outfit_text", "lcc_text", "npv_text", "payback_text"
LOW_TEXT, HIGH_TEXT, TURNS_TEXT = "low_text", "high_text", "turns_text"
CASH_TEXT, PRICE_TEXT, STARTS_TEXT, CHANCE_TEXT = "cash_text", "price_text", "starts_text", "chance_text"
TOTAL = "Total"


def costs_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """Cost per mile and season of each edge type and its saving, with the headings."""
    if found.costs is None:
        return pd.DataFrame(), {}
    given, table = found.costs, found.costs.table
    alone = given.compared[given.compared[c.BASIS] == EDGES_ALONE].set_index(c.EDGE_TYPE)
    rows: list[dict[str, Any]] = []
    for row in table.to_dict("records"):
        per_mile = [
            float(display.value(row[name], PER_MILE)) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)
        ]
        season = [row[name] for name in (c.ANNUAL_COST, c.ANNUAL_LOW, c.ANNUAL_HIGH)]
        bound = no_wear(found, row[c.EDGE_TYPE])
        rows.append(
            {
                c.EDGE_TYPE: row[c.EDGE_TYPE],
                PRICE_TEXT: amount(given.currency, row[c.PRICE]),
                COST_TEXT: amount(given.currency, *per_mile, at_most=bound),
                SEASON_TEXT: amount(given.currency, *season, at_most=bound),
                SAVING_TEXT: saving_text(alone.loc[row[c.EDGE_TYPE]], at_least=bound)
                if row[c.EDGE_TYPE] in alone.index
                else NONE,
                c.N_TRUCKS: row[c.N_TRUCKS],
                c.UNKNOWN_LINES: row[c.UNKNOWN_LINES],
            }
        )
    frame = pd.DataFrame(rows)
    empty = [name for name in (SEASON_TEXT, SAVING_TEXT) if set(frame[name]) <= {NONE, NOT_KNOWN}]
    empty += [c.UNKNOWN_LINES] if not frame[c.UNKNOWN_LINES].any() else []
    level = level_words(given.confidence_level)
    headings = {
        PRICE_TEXT: "Price of a set",
        COST_TEXT: f"Cost per blade-down mile ({level})",
        SEASON_TEXT: f"Cost of a season ({level})",
        SAVING_TEXT: f"Against the reference ({level})",
    }
    return frame.drop(columns=empty), headings


def lines_table(found: CostStudy) -> pd.DataFrame:
    """Cost per mile by line, one column for each edge type under its own name."""
    if found.costs is None:
        return pd.DataFrame()
    given = found.costs
    names = column_names(found)
    rows: dict[str, dict[str, str]] = {}
    beside: dict[str, dict[str, str]] = {}
    for row in given.lines.to_dict("records"):
        words = lines.LINE_WORDS.get(row[c.LINE], row[c.LINE].replace(f"{lines.SAVED}: ", "saved: "))
        part = beside if row[OF_WHICH] == YES else rows
        only_high = no_wear(found, row[c.EDGE_TYPE]) and row[c.ESTIMATE] == 0 and row[c.CONF_HIGH] > 0
        shown = (
            f"{_up_to(row[c.CONF_HIGH], given.currency)}"
            if only_high
            else line_text(row[c.ESTIMATE], given.currency)
        )
        part.setdefault(words, {})[names[row[c.EDGE_TYPE]]] = shown
    totals = {
        names[row[c.EDGE_TYPE]]: _up_to(row[c.CONF_HIGH], given.currency)
        if no_wear(found, row[c.EDGE_TYPE])
        else line_text(row[c.COST_PER_MI], given.currency)
        for row in given.table.to_dict("records")
    }
    every = {**rows, TOTAL: totals, **beside}
    frame = pd.DataFrame([{c.LINE: sentence_case(words), **texts} for words, texts in every.items()])
    kept = [name for name in names.values() if name in frame]
    return frame[[c.LINE, *kept]].fillna(NONE)


def column_names(found: CostStudy) -> dict[str, str]:
    """Edge type to its label as the name of a column; its own name where labels are not unique."""
    if found.costs is None:
        return {}
    kinds = [str(kind) for kind in found.costs.table[c.EDGE_TYPE]]
    names = [sentence_case(found.costs.label(kind)) for kind in kinds]
    return dict(zip(kinds, names if len(set(names)) == len(names) else kinds, strict=True))


def cycle_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """First outfit, cost over the horizon, net saving and payback, with the headings; no rows without planned miles."""
    if found.cycle is None or not found.cycle.table[life_cycle.LCC].notna().any():
        return pd.DataFrame(), {}
    given = found.cycle.inputs
    rows = []
    for row in found.cycle.table.to_dict("records"):
        is_reference = row[c.EDGE_TYPE] == given.reference
        shown = not row[c.NPV_LOW] < 0 < row[c.NPV_HIGH]
        bound = no_wear(found, row[c.EDGE_TYPE])
        back = row[life_cycle.SIMPLE_PAYBACK]
        rows.append(
            {
                c.EDGE_TYPE: row[c.EDGE_TYPE],
                OUTFIT_TEXT: _first_outfit(found, row),
                LCC_TEXT: amount(
                    given.currency, *(row[name] for name in (life_cycle.LCC, life_cycle.LCC_LOW, life_cycle.LCC_HIGH)), at_most=bound
                ),
                NPV_TEXT: NONE
                if is_reference
                else _at_least(given.currency, row)
                if bound
                else amount(given.currency, row[c.NPV], row[c.NPV_LOW], row[c.NPV_HIGH]),
                PAYBACK_TEXT: NONE
                if is_reference
                else "not shown"
                if not shown
                else "at once"
                if back == 0
                else life_cycle.payback_words(back)
                if math.isfinite(back)
                else "not within the horizon",
            }
        )  # fmt: skip
    level = level_words(given.confidence_level)
    headings = {
        OUTFIT_TEXT: "First sets and kits",
        LCC_TEXT: f"Cost over {found.cycle.horizon_years} years, today's money ({level})",
        NPV_TEXT: f"Saved against the reference ({level})",
        PAYBACK_TEXT: "Dearer outfit paid back within",
    }
    return pd.DataFrame(rows), headings


def _first_outfit(found: CostStudy, row: Mapping[Any, Any]) -> str:
    """First sets and kits; said where the price of the kits is not known."""
    if found.cycle is None or found.costs is None:
        return NOT_KNOWN
    given = found.cycle.inputs
    shown = amount(given.currency, row[life_cycle.OUTFIT])
    whole = math.isfinite(lines.conversion_outlay(given.edge(row[c.EDGE_TYPE]), given))
    return shown if whole or shown == NOT_KNOWN else f"{shown}, without kits (price not known)"


def _at_least(currency: str, row: Mapping[Any, Any]) -> str:
    """What is saved over the years, from below."""
    ends = row[c.NPV], row[c.NPV_LOW], row[c.NPV_HIGH]
    return (
        f"at least {money(ends[1], currency, money_interval_decimals(*ends))}"
        if math.isfinite(ends[1])
        else NOT_KNOWN
    )


def sensitivity_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """The difference in cost at the low and the high end of each figure, with the headings."""
    if found.sensitivity is None or found.costs is None:
        return pd.DataFrame(), {}
    rows = [
        {
            c.EDGE_TYPE: row[c.EDGE_TYPE],
            c.TERM: sentence_case(row[c.TERM]),
            LOW_TEXT: f"{row[cost_sensitivity.SETTING_LOW]}: {_change(row[cost_sensitivity.AT_LOW], found.costs.currency)}",
            HIGH_TEXT: f"{row[cost_sensitivity.SETTING_HIGH]}: {_change(row[cost_sensitivity.AT_HIGH], found.costs.currency)}",
            TURNS_TEXT: row[cost_sensitivity.TURNS],
        }
        for row in found.sensitivity.table.to_dict("records")
    ]
    headings = {
        c.TERM: "What is moved",
        LOW_TEXT: "At its low end",
        HIGH_TEXT: "At its high end",
        TURNS_TEXT: "Can turn it",
    }
    return pd.DataFrame(rows), headings


def _change(difference: float, currency: str) -> str:
    shown = float(display.value(difference, PER_MILE))
    words = "less" if shown <= 0 else "more"
    small = f"under {money(0.01, currency, 2)}" if 0 < abs(shown) < 0.005 else money(abs(shown), currency, 2)
    return f"{small} {words}"


def order_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """Pieces and cash of the fleet by winter, with the headings."""
    if found.order is None:
        return pd.DataFrame(), {}
    table = found.order.fleet
    places = [PLOWS.get(str(place), str(place)) for place in table[c.PLOW_POSITION]]
    frame = pd.DataFrame(
        {
            c.WINTER: table[c.WINTER],
            c.EDGE_TYPE: table[c.EDGE_TYPE],
            c.PLOW_POSITION: places,
            PIECE: table[PIECE],
            TO_HAVE: table[TO_HAVE],
            SUM_OF_TRUCKS: table[SUM_OF_TRUCKS],
            CASH_TEXT: [found.order.row_cash_words(row) for row in table.to_dict("records")],
        }
    )
    rank = {winter: place for place, winter in enumerate(WINTERS)}
    frame = frame.sort_values(c.WINTER, key=lambda names: names.map(rank), kind="stable", ignore_index=True)
    headings = {
        PIECE: "Piece", TO_HAVE: "To have for the fleet", SUM_OF_TRUCKS: "If every truck keeps its own", CASH_TEXT: "Cash, kits included",
    }  # fmt: skip
    return frame, headings


def trucks_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """What each truck starts with and needs in each winter, with the headings."""
    if found.order is None:
        return pd.DataFrame(), {}
    rows = []
    keys = [c.TRUCK_ID, c.PLOW_POSITION, c.EDGE_TYPE]
    for _, own in found.order.table.groupby(keys, sort=False):
        left = float(own[CARRIED_FRAC].iloc[0])
        starts = f"part-worn set, {percent(100 * left)} left" if left > 0 else "new set"
        needs = {
            winter: _pieces(own[own[c.WINTER] == winter])
            for winter in WINTERS
            if (own[c.WINTER] == winter).any()
        }
        about = {name: str(own[name].iloc[0]) for name in keys}
        rows.append({**about, STARTS_TEXT: starts, **needs})
    headings = {
        STARTS_TEXT: "Starts with",
        **{winter: f"{sentence_case(winter)} winter" for winter in WINTERS},
    }
    return pd.DataFrame(rows), headings


def _pieces(rows: pd.DataFrame) -> str:
    needed = [counted(int(n), piece) for n, piece in zip(rows[TO_HAVE], rows[PIECE], strict=True) if n]
    return listed(needed) or "none"


def bids_in_brief(found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """Bids by cost per mile, with the headings."""
    if found.bids is None:
        return pd.DataFrame(), {}
    rows = []
    for row in found.bids.table.to_dict("records"):
        ends = [
            float(display.value(row[name], PER_MILE)) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)
        ]
        rows.append(
            {
                c.BID: row[c.BID],
                c.EDGE_TYPE: sentence_case(found.bids.label(row[c.EDGE_TYPE])),
                PRICE_TEXT: amount(found.bids.currency, row[c.PRICE_PER_SET_USD]),
                COST_TEXT: amount(found.bids.currency, *ends, at_most=no_wear(found, row[c.EDGE_TYPE]))
                if math.isfinite(ends[0])
                else NONE,
                c.MEETS_SPEC: row[c.MEETS_SPEC],
                of_bids.RANK: fixed(row[of_bids.RANK], 0),
                of_bids.WHY: row[of_bids.WHY] or NONE,
            }
        )
    level = level_words(found.bids.confidence_level)
    headings = {
        PRICE_TEXT: "Price of a set", COST_TEXT: f"Cost per blade-down mile ({level})", of_bids.RANK: "Rank", of_bids.WHY: "Why not ranked",
    }  # fmt: skip
    return pd.DataFrame(rows), headings


def what_if_in_brief(table: what_if.WhatIf | None, found: CostStudy) -> tuple[pd.DataFrame, dict[str, str]]:
    """Cost per mile, season and saving with something changed, with the headings."""
    if table is None or found.costs is None:
        return pd.DataFrame(), {}
    currency = found.costs.currency
    rows = []
    for row in table.table.to_dict("records"):
        ends = [
            float(display.value(row[name], PER_MILE)) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)
        ]
        chance = row[c.CHANCE_CHEAPER]
        rows.append(
            {
                c.VARIANT: row[c.VARIANT],
                c.EDGE_TYPE: row[c.EDGE_TYPE],
                COST_TEXT: amount(currency, *ends, at_most=no_wear(found, row[c.EDGE_TYPE])),
                SEASON_TEXT: NOT_KNOWN
                if no_wear(found, row[c.EDGE_TYPE])
                else amount(currency, row[c.ANNUAL_COST]),
                SAVING_TEXT: saving_text(row, at_least=no_wear(found, row[c.EDGE_TYPE]))
                if math.isfinite(row[c.SAVING_PCT])
                else NONE,
                CHANCE_TEXT: chance_words(chance) if math.isfinite(chance) else NONE,
            }
        )
    level = level_words(found.costs.confidence_level)
    headings = {
        COST_TEXT: f"Cost per blade-down mile ({level})", SEASON_TEXT: "Cost of a season",
        SAVING_TEXT: f"Against the reference ({level})", CHANCE_TEXT: "Chance that it is cheaper",
    }  # fmt: skip
    return pd.DataFrame(rows), headings


def no_wear(found: CostStudy, edge_type: str) -> bool:
    """Whether no wear of a type could be measured, so that its cost is known from above only."""
    if found.costs is None:
        return False
    return any(one.edge_type == edge_type and not left_out.wears(one) for one in found.costs.inputs.edges)


def amount(
    currency: str, estimate: float, low: float = math.nan, high: float = math.nan, *, at_most: bool = False
) -> str:
    """An amount with its interval, if there is one; the upper end alone where only that is known."""
    if not math.isfinite(estimate):
        return NOT_KNOWN
    if at_most:
        return (
            f"at most {money(high, currency, money_interval_decimals(estimate, low, high))}"
            if math.isfinite(high)
            else NOT_KNOWN
        )
    if not (math.isfinite(low) or math.isfinite(high)):
        return money(estimate, currency)
    return money_interval(estimate, low, high, currency)


def cost_text_of(row: Mapping[Any, Any], currency: str) -> str:
    """The cost per mile of a row with its interval, in the units shown."""
    ends = [float(display.value(row[name], PER_MILE)) for name in (c.COST_PER_MI, c.CONF_LOW, c.CONF_HIGH)]
    return amount(currency, *ends)


def line_text(per_mile: float, currency: str) -> str:
    """An amount per mile to cents; what is not known says so."""
    if not math.isfinite(per_mile):
        return NOT_KNOWN
    shown = float(display.value(per_mile, PER_MILE))
    return f"under {money(0.01, currency, 2)}" if 0 < shown < 0.005 else money(shown, currency, 2)


def _up_to(per_mile: float, currency: str) -> str:
    """The upper end of a part that is known from above only."""
    shown = line_text(per_mile, currency)
    return shown if shown.startswith("under") or shown == NOT_KNOWN else f"at most {shown}"


def saving_text(row: Mapping[Any, Any] | pd.Series, *, at_least: bool = False) -> str:
    """A saving in percent with its interval: ``"59% less (28 to 74%)"``; one that may be a loss as ``"23% less (23% more to 49% less)"``."""
    middle, low, high = (float(row[name]) for name in (c.SAVING_PCT, c.SAVING_LOW_PCT, c.SAVING_HIGH_PCT))
    if not math.isfinite(middle):
        return NOT_KNOWN
    if not math.isfinite(low):
        return f"{_less(middle)} (no interval)"
    places = max(min(interval_decimals(middle, low, high), 1), 0)
    if at_least and low > 0:
        return f"at least {_less(low, places)}"
    if low < 0 < high:
        ends = f"{_less(low, places)} to {_less(high, places)}"
        return sentence_case(ends) if at_least else f"{_less(middle, places)} ({ends})"
    first, last = (low, high) if middle >= 0 else (-high, -low)
    less = "less" if middle >= 0 else "more"
    return f"{percent(abs(middle), places)} {less} ({fixed(first, places)} to {fixed(last, places)}%)"


def _less(saving: float, places: int = 0) -> str:
    """A saving in percent, below zero as more."""
    return f"{percent(abs(saving), places)} {'less' if saving >= 0 else 'more'}"
