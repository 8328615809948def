"""Small results by hand, for the tests of figures, captions and documents."""

from types import SimpleNamespace

import pandas as pd

LABELS = {"plain": "Plain steel", "carbide": "Carbide insert", "segmented": "Segmented carbide"}
NAMES = tuple(LABELS)
UNIT = "in/1000 mi"
AWKWARD = ("<script>alert(1)</script>", "$x$", "_a_ *b* `c`", "\"q\" & 'r'", "plow 🚜", "שלום", "n" * 200)


def rates(rows=None, trucks=None, labels=LABELS, confidence_level=0.95):
    """Wear rates from rows of (edge type, position, estimate, low, high, trucks)."""
    rows = rows or [
        ("plain", "front", 1.5, 1.2, 1.8, 3),
        ("carbide", "front", 0.12, 0.08, 0.16, 2),
        ("segmented", "front", 0.2, float("nan"), float("nan"), 1),
    ]
    names = ["edge_type", "plow_position", "estimate", "conf_low", "conf_high", "n_trucks"]
    table = pd.DataFrame(rows, columns=names).assign(unit=UNIT, method="mean of truck slopes, t interval")
    trucks = trucks or [
        ("plain", "front", "T1, front", 1.4),
        ("plain", "front", "T2, front", 1.5),
        ("plain", "front", "T3, front", 1.6),
        ("carbide", "front", "T4, front", 0.11),
        ("carbide", "front", "T5, front", 0.13),
        ("segmented", "front", "T6, front", 0.2),
    ]
    units = pd.DataFrame(trucks, columns=["edge_type", "plow_position", "truck_unit", "estimate"])
    return SimpleNamespace(
        table=table, trucks=units, segments=segments(), labels=labels, confidence_level=confidence_level
    )


def ratios(rows=None, labels=LABELS):
    """Wear ratios from rows of (edge type, estimate, low, high, bounded)."""
    rows = rows or [("carbide", 12.5, 8.0, 20.0, "yes"), ("segmented", 7.5, 3.2, float("nan"), "no")]
    table = pd.DataFrame(rows, columns=["edge_type", "estimate", "conf_low", "conf_high", "bounded"])
    table.insert(1, "reference", "plain")
    table.insert(2, "plow_position", "front")
    return SimpleNamespace(table=table, labels=labels, confidence_level=0.95)


def readings():
    """Heights of two sets on one truck and one on another, two stations each; the counter starts far from zero."""
    rows = []
    for edge_type, truck, name, start, drop in (
        ("plain", "T1", "S1", 5000.0, 1.5),
        ("plain", "T1", "S2", 6000.0, 1.6),
        ("carbide", "T4", "S3", 100.0, 0.1),
    ):
        for station in (1, 2):
            for miles in (0.0, 200.0, 400.0):
                height = 6.0 - drop * miles / 1000 - 0.01 * station
                rows.append((edge_type, truck, f"{truck}, front", name, station, start + miles, height))
    names = ["edge_type", "truck_id", "truck_unit", "set_id", "station", "miles_mi", "height_in"]
    frame = pd.DataFrame(rows, columns=names)
    frame["segment"] = frame["set_id"] + "/" + frame["station"].astype(str) + "/1"
    frame["edge_type"] = pd.Categorical(frame["edge_type"], categories=list(NAMES), ordered=True)
    return frame


def segments():
    """The straight line of each segment of `readings`, from its first to its last reading."""
    groups = readings().groupby("segment", sort=False)
    ends = pd.concat([groups.first(), groups.last()[["miles_mi", "height_in"]].add_prefix("last_")], axis=1)
    return ends.rename(
        columns={
            "miles_mi": "first_mi",
            "last_miles_mi": "last_mi",
            "height_in": "first_height_in",
            "last_height_in": "last_height_in",
        }
    ).assign(estimate=1.0)
