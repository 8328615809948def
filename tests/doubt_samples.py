"""What is tried on an invented trial, for the tests of figures, captions and words about doubt."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import pandas as pd
from wear_trials import LABELS, frame

from trialkit import columns as c
from trialkit.edges import crosscheck, curvature, outliers, sensitivity
from trialkit.edges.blade_share import PLOWING, SEASON, TABLE_COLUMNS, BladeShares
from trialkit.edges.wear import fit_wear_rates
from trialkit.report.doubt_study import Doubt


def shares(rows=()):
    """Blade shares from rows of (truck, basis, blade-down miles, odometer miles)."""
    table = pd.DataFrame(
        [
            (truck, "front", f"{truck}, front", basis, blade, driven, blade / driven, 2)
            for truck, basis, blade, driven in rows
        ],
        columns=TABLE_COLUMNS,
    )
    return BladeShares(table, "Blade-down miles over odometer miles.", ())


BOTH_SHARES = shares(
    [("T2", SEASON, 300.0, 500.0), ("T1", SEASON, 200.0, 500.0), ("T1", PLOWING, 200.0, 400.0)]
)


def doubted(rows, run_in_mi=0.0, blade=None, others=()):
    """Everything that is tried on the wear findings of these readings, without a trial folder."""
    tried = _tried(tuple(rows), run_in_mi) if not others else _tried.__wrapped__(rows, run_in_mi, others)
    return replace(tried, shares=blade or shares())


@cache
def _tried(rows, run_in_mi, others=()):
    """Worked out once for each trial: nobody changes what was found."""
    readings = frame(rows)
    rates = fit_wear_rates(readings, labels=LABELS, run_in_mi=run_in_mi, reference="plain_steel")
    cross = crosscheck.compare_with_mixed(readings, rates, run_in_mi=run_in_mi)
    apart = outliers.compare_with_the_rest(readings, rates, run_in_mi=run_in_mi)
    tried = sensitivity.usual_variants(
        readings, rates, run_in_mi=run_in_mi, cross=cross, apart=apart, others=others
    )
    return Doubt(
        rates=rates,
        readings=readings,
        cross=cross,
        board=sensitivity.compare_variants(rates, tried),
        bend=curvature.compare_early_late(readings, rates, run_in_mi=run_in_mi),
        run_in=curvature.compare_early_late(readings, rates),
        apart=apart,
        shares=shares(),
        run_in_mi=run_in_mi,
    )


def comparison(rows, labels=LABELS, confidence_level=0.95):
    """A sensitivity board by hand, from rows of (edge type, variant, truck, estimate, low, high, stands, reason)."""
    names = [c.EDGE_TYPE, c.VARIANT, c.TRUCK_ID, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.STANDS, c.REASON]
    table = pd.DataFrame(rows, columns=names)
    table[c.REFERENCE], table[c.PLOW_POSITION] = "plain_steel", "front"
    table[c.N_TRUCKS], table[c.N_TRUCKS_REFERENCE] = 4, 4

    def comparisons():
        return [part for _, part in table.groupby([c.EDGE_TYPE, c.PLOW_POSITION], sort=False)]

    return SimpleNamespace(
        table=table, comparisons=comparisons, labels=labels, confidence_level=confidence_level
    )
