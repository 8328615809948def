"""Positions that keep their edge type: which they are, what they carry, what is said of them."""

import pandas as pd

from trialkit import columns as c
from trialkit.money import kept


def assignments(*rows) -> pd.DataFrame:
    names = [c.TRUCK_ID, c.PLOW_POSITION, c.PERIOD, c.EDGE_TYPE, c.HOW, c.REASON]
    return pd.DataFrame(rows, columns=names)


def test_only_what_was_forced_is_kept_and_the_last_period_counts():
    found = kept.kept_positions(
        assignments(
            ("T-1", "front", 2, "steel", "random", None),
            ("T-1", "front", 1, "steel", "forced", "loaned"),
            ("T-2", "front", 1, "steel", "forced", "fixed plow"),
            ("T-3", "front", 1, "carbide", "swap", "a set was late"),
        )
    )
    assert found == (kept.Kept("T-2", "front", "steel", "fixed plow"),)
    assert kept.kept_positions(None) == () == kept.kept_positions(assignments())


def test_kept_positions_carry_their_own_and_the_others_what_was_chosen():
    plan = pd.DataFrame({c.TRUCK_ID: ["T-1", "T-2", "T-2"], c.PLOW_POSITION: ["front", "front", "underbody"]})
    found = kept.next_types(plan, {"front": "carbide"}, [kept.Kept("T-2", "front", "steel", "")])
    assert list(zip(found[c.TRUCK_ID], found[c.EDGE_TYPE], strict=True)) == [
        ("T-1", "carbide"),
        ("T-2", "steel"),
    ]


def test_trucks_with_the_same_reason_are_said_together():
    rows = [
        kept.Kept(truck, "wing_left", "steel", why)
        for truck, why in (("T-1", "Fixed."), ("T-2", "Fixed."), ("T-3", ""))
    ]
    assert kept.kept_words(rows, {"steel": "plain steel"}) == [
        "T-1 and T-2 stay with plain steel: Fixed.",
        "T-3 stays with plain steel: it was given by choice, and no reason is recorded.",
    ]
    assert kept.kept_words(rows[2:], {}, with_position=True)[0].startswith("T-3, left wing, stays with steel")
