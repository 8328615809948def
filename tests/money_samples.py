"""Small hand-written trials for the tests of money: three edge types, round numbers, no randomness."""

from __future__ import annotations

from dataclasses import fields

import pandas as pd

from trialkit import columns as c
from trialkit.money.gathering import Findings, Records, read_inputs
from trialkit.money.inputs import CostInputs, Terms, Use
from trialkit.money.season import SeasonMiles, season_miles
from trialkit.stats.inference import Sample

STEEL, CARBIDE, RUBBER = "plain_steel", "carbide_insert", "rubber_carbide"
LABELS = {STEEL: "plain steel", CARBIDE: "carbide insert", RUBBER: "rubber-mounted carbide"}


def edge_types() -> pd.DataFrame:
    """Steel and carbide as sets, rubber by section."""
    rows = [(STEEL, "set", 4), (CARBIDE, "set", 4), (RUBBER, "section", 5)]
    return pd.DataFrame(rows, columns=[c.EDGE_TYPE, c.REPLACED_AS, c.SECTIONS_N])


def edge_sets() -> pd.DataFrame:
    """Two sets of each type at the same price."""
    rows = [
        (f"{kind[:2].upper()}-{n}", kind, price, "bought")
        for kind, price in ((STEEL, 400.0), (CARBIDE, 800.0), (RUBBER, 2500.0))
        for n in (1, 2)
    ]
    return pd.DataFrame(rows, columns=[c.SET_ID, c.EDGE_TYPE, c.UNIT_PRICE_USD, c.SUPPLIED_BY])


def set_events() -> pd.DataFrame:
    """Steel and carbide changed once each outside a storm: 1 h off, 2 h on, 3 h down; one section swap of 1 h in a storm."""
    rows = []
    for kind, truck in (("PL", "T-1"), ("CA", "T-2")):
        rows += [
            (f"{kind}-1", truck, "front", "2031-11-01", "install", "new", "no", 2.0, 0.0),
            (f"{kind}-1", truck, "front", "2032-01-05T08:00", "remove", "worn_to_limit", "no", 1.0, 0.0),
            (f"{kind}-2", truck, "front", "2032-01-05T09:00", "install", "new", "no", 2.0, 3.0),
            (f"{kind}-2", truck, "front", "2032-04-01", "season_end", "trial_end", "no", 1.0, 0.0),
        ]
    rows += [
        ("RU-1", "T-3", "front", "2031-11-01", "install", "new", "no", 2.0, 0.0),
        ("RU-1", "T-3", "front", "2032-02-02", "section_swap", "worn_to_limit", "yes", 1.0, 1.0),
        ("RU-1", "T-3", "front", "2032-04-01", "season_end", "trial_end", "no", 1.0, 0.0),
    ]
    names = [
        c.SET_ID, c.TRUCK_ID, c.PLOW_POSITION, c.DATE, c.EVENT, c.REASON, c.DURING_STORM, c.LABOUR_H, c.TRUCK_DOWN_H,
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(**{c.DATE: pd.to_datetime(frame[c.DATE], format="ISO8601")})


def costs() -> pd.DataFrame:
    """One amount for each item; a kit for rubber only, a scrap credit for steel and carbide."""
    rows = [
        ("labour_regular", None, 50.0, "hour"),
        ("labour_overtime", None, 75.0, "hour"),
        ("truck_down", None, 80.0, "hour"),
        ("hardware_per_change", None, 40.0, "change"),
        ("disposal", STEEL, -10.0, "set"),
        ("disposal", CARBIDE, -10.0, "set"),
        ("disposal", RUBBER, 20.0, "set"),
        ("conversion_kit", RUBBER, 100.0, "set"),
        ("stock_holding", None, 300.0, "year"),
    ]
    frame = pd.DataFrame(rows, columns=[c.ITEM, c.EDGE_TYPE, c.AMOUNT_USD, c.PER])
    return frame.assign(**{c.EFFECTIVE_FROM: pd.Timestamp("2031-07-01"), c.SOURCE: "shop"})


def trucks(n: int = 3) -> pd.DataFrame:
    """So many trucks with a front plow."""
    return pd.DataFrame({c.TRUCK_ID: [f"T-{i + 1}" for i in range(n)], c.PLOW_POSITION: "front"})


def plan(miles=(2000.0, 2000.0, 2000.0)) -> SeasonMiles:
    """Middling miles of each truck; a light winter has half, a hard one half as many again."""
    frame = trucks(len(miles)).assign(
        **{
            c.MILES_LOW_MI: [0.5 * one for one in miles],
            c.MILES_MID_MI: list(miles),
            c.MILES_HIGH_MI: [1.5 * one for one in miles],
        }
    )
    return season_miles(frame, trucks(len(miles)))


def uses(breaks: int = 0) -> dict[str, Use]:
    """Lives of 500, 1,250 and 5,000 miles on four trucks each."""
    return {
        STEEL: Use(Sample(2.0, 0.16, 4), breaks, 0, 8000.0),
        CARBIDE: Use(Sample(0.8, 0.0256, 4), breaks, 0, 8000.0),
        RUBBER: Use(Sample(0.2, 0.0016, 4), 0, breaks, 8000.0),
    }


def cost_inputs(**changed) -> CostInputs:
    """Inputs from all of these, with what is given put in place."""
    given = {
        "uses": uses(),
        "edge_types": edge_types(),
        "edge_sets": edge_sets(),
        "set_events": set_events(),
        "costs": costs(),
        "plan": plan(),
        "plow_position": "front",
        "reference": STEEL,
        "labels": LABELS,
        "seed": 7,
    } | changed
    groups = [
        group(**{one.name: given.pop(one.name) for one in fields(group) if one.name in given})
        for group in (Findings, Records, Terms)
    ]
    return read_inputs(*groups[:2], given.pop("plan"), terms=groups[2], **given)
