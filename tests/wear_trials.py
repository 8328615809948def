"""Invented trials as frames, small enough to be written by hand and large enough to be worked with."""

import numpy as np
import pandas as pd

from trialkit import columns as c

TYPES = ("plain_steel", "carbide_insert", "rubber_carbide", "cast_iron", "polymer")
RATES = (1.5, 0.15, 0.3, 2.0, 1.4)
LABELS = {name: name.replace("_", " ") for name in TYPES}
ROW = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.SEGMENT, c.DATE, c.MILES_MI, c.HEIGHT_IN,
    c.RESOLUTION_IN,
]  # fmt: skip


def segment(kind, truck, set_id, station, miles, heights, *, place="front", step=0.01, part=1):
    """Readings of one segment."""
    return [
        (kind, place, truck, f"{truck}, {place}", set_id, station, f"{set_id}/{station}/{part}",
         pd.Timestamp("2031-01-01") + pd.Timedelta(days=k), mi, height, step)
        for k, (mi, height) in enumerate(zip(miles, heights, strict=True))
    ]  # fmt: skip


def frame(rows):
    found = pd.DataFrame(rows, columns=ROW)
    found.index = pd.RangeIndex(2, len(found) + 2, name=c.ROW)
    found[c.EDGE_TYPE] = pd.Categorical(found[c.EDGE_TYPE], TYPES, ordered=True)
    return found


def fleet(
    n_types=2, trucks=4, stations=3, readings=6, miles=600.0, error=0.02, step=0.01, seed=1, rates=RATES, place="front",
    spread=0.15, shared=False, sets=1,
):  # fmt: skip
    """Rows of a plain invented trial; `miles` may be a list with one entry for each truck."""
    rng = np.random.default_rng(seed)
    rows = []
    for kind, rate in zip(TYPES[:n_types], rates, strict=False):
        for t in range(trucks):
            truck = f"T{t}" if shared else f"{kind[:2]}{t}"
            far = miles[t] if isinstance(miles, list) else miles
            own = rate * (1 + spread * rng.standard_normal())
            for s in range(sets):
                x = np.linspace(0.0, far, readings)
                for station in range(1, stations + 1):
                    height = 6.0 - own * x / 1000 + error * rng.standard_normal(readings)
                    height = np.round(height / step) * step if step else height
                    rows += segment(
                        kind,
                        truck,
                        f"{truck}-{place}-{kind}-{s}",
                        station,
                        x + 60_000 + 700 * s,
                        height,
                        place=place,
                        step=step or np.nan,
                    )
    return rows
