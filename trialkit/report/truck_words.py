"""What each truck shows by itself, as tables for the appendix.

Answers: which truck gave which part of a result?
"""

from __future__ import annotations

import pandas as pd

from trialkit import columns as c
from trialkit.edges.mixed import RATE_UNIT
from trialkit.edges.wear import WearRates

WEAR_CAPTION = "Wear rate of each truck"


def wear_of_trucks(rates: WearRates) -> pd.DataFrame:
    """The wear rate that each truck adds to the mean of its edge type, in the order of edge types and trucks.

    Parameters
    ----------
    rates : WearRates
        The wear rates.

    Returns
    -------
    DataFrame
        edge_type, plow_position, truck_id, estimate, unit, miles_mi, n_sets, n_readings.
    """
    shown = [
        c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.ESTIMATE, c.UNIT, c.MILES_MI, c.N_SETS, c.N_READINGS,
    ]  # fmt: skip
    return rates.trucks.assign(**{c.UNIT: RATE_UNIT})[shown]
