"""How hard a storm was, as a published index from 0 to 1.

Answers: were the storms of this trial easy or hard, were the edge types out in equally hard ones, and how much more material
does a harder storm take?

The comparison of edge types does not need it: it compares within storms, and a storm without weather counts like any other.
The index describes the season, checks that the edge types met equally hard storms, and brings a rate from the storms of the
trial to those of a typical season.

References
----------
.. [1] W. A. Nixon and L. Qiu, Developing a Storm Severity Index, Transportation Research Record 1911 (2005) 143-148. Formula and
   factors are from memory; two of its constants bear the recollection out (see Notes of `storm_index`).
.. [2] B. E. Mayes Boustead et al., The Accumulated Winter Season Severity Index (AWSSI), J. Appl. Meteor. Climatol. 54 (2015), Table 1,
   points of daily snowfall; from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import NotEnoughDataError
from trialkit.formatting import counted, fixed, level_words
from trialkit.results import Summary
from trialkit.stats.inference import two_sided_tail

STORM_TYPES = {"light": 0.35, "medium": 0.52, "freezing_rain": 0.72, "heavy": 1.0}
"""Factor of the type of storm: snow by its depth in 24 hours, or freezing rain [1]."""
LIGHT_BELOW_IN, HEAVY_ABOVE_IN = 2.0, 6.0
"""Depth in 24 hours below which snow is light, and above which it is heavy [in] [1]."""
ROAD_WARM, ROAD_MIDDLE, ROAD_COLD = 0.25, 0.4, 1.0
"""Factor of the pavement in the storm: above 32 °F, from 25 to 32 °F, and below 25 °F [1]."""
WARM_ABOVE_F, COLD_BELOW_F = 32.0, 25.0
WIND_LIGHT, WIND_STRONG = 1.0, 1.2
"""Factor of the wind in the storm: up to 15 mph, and above [1]."""
STRONG_ABOVE_MPH = 15.0
SHIFT_A, SCALE_B = 0.0005, 1.6995
"""The constants that bring the mildest storm to 0 and the hardest to 1 [1]."""

SNOWFALL_POINTS = (
    (0.1, 1), (1, 2), (2, 3), (3, 4), (4, 6), (5, 7), (6, 9), (7, 10), (8, 12), (9, 13), (10, 14), (12, 18), (15, 22), (18, 26),
    (24, 36), (30, 45),
)  # fmt: skip
"""From how much snow in a day [in] on how many points are given [2]."""

INDEX = "severity_index"
STORM_TYPE = "storm_type"
FEWEST_STORMS = 4
"""Storms with an index and a rate from which a slope is drawn; common practice, no source."""
COLUMNS = [c.STORM_ID, c.START, STORM_TYPE, c.SNOW_IN, c.PAVEMENT_TEMP_F, c.WIND_MPH, INDEX]


@dataclass(frozen=True, eq=False)
class StormSeverity(Summary):
    """The index of every storm.

    Attributes
    ----------
    table : DataFrame
        One row per storm: storm_id, start, storm_type, snow_in, pavement_temp_f, wind_mph, severity_index (missing where the
        weather is not recorded).
    method : str
        How it was worked out.
    notes : tuple of str
        What was not recorded and how it was taken.
    """

    table: pd.DataFrame
    method: str
    notes: tuple[str, ...] = ()

    @property
    def by_storm(self) -> pd.Series:
        """The index by storm."""
        return self.table.set_index(c.STORM_ID)[INDEX]

    @property
    def mean(self) -> float:
        """Mean index of the storms that have one; missing if none has."""
        return float(self.table[INDEX].mean())

    def sentence(self) -> str:
        """How hard the storms were."""
        known = self.table[INDEX].dropna()
        if known.empty:
            return "No storm has the weather from which its severity follows."
        return (
            f"On a published index from 0 (mildest) to 1 (hardest), {counted(len(known), 'storm')} of {len(self.table)} "
            f"{'lies' if len(known) == 1 else 'lie'} between {fixed(known.min(), 2)} and {fixed(known.max(), 2)}, with a mean of "
            f"{fixed(known.mean(), 2)}."
        )


@dataclass(frozen=True, eq=False)
class SeveritySlope:
    """How a rate rises with the severity of the storm.

    Attributes
    ----------
    slope, conf_low, conf_high : float
        Rise of the natural logarithm of the rate from severity 0 to 1.
    trial_mean : float
        Mean index of the storms that went in.
    n_storms : int
        How many they were.
    confidence_level : float
        Of the interval.
    """

    slope: float
    conf_low: float
    conf_high: float
    trial_mean: float
    n_storms: int
    confidence_level: float

    def factor(self, severity: float) -> float:
        """How many times the trial's own rate storms of this mean severity take."""
        return math.exp(self.slope * (severity - self.trial_mean))

    def sentence(self) -> str:
        """What a harder storm takes, as a check of the records."""
        found, low, high = (_more(end) for end in (self.slope, self.conf_low, self.conf_high))
        tail = "" if self.conf_low > 0 else "; this trial does not show that harder storms took more"
        return (
            f"A storm that is 0.1 harder on the index took {found} material per {display.word('lane-mile')} ({level_words(self.confidence_level)} {low} to "
            f"{high}), from {counted(self.n_storms, 'storm')}{tail}."
        )


def _more(slope: float) -> str:
    """What a tenth of the index comes to: ``"3% more"``."""
    change = 100 * (math.exp(0.1 * slope) - 1)
    return f"{fixed(abs(change), 0)}% {'less' if change < 0 else 'more'}"


def storm_index(
    storm_type: float,
    road: float,
    wind: float,
    early: float = 0.0,
    road_after: float = 0.0,
    wind_after: float = 0.0,
) -> float:
    """Severity index of a storm from its six factors.

    Parameters
    ----------
    storm_type, road, wind : float
        Factors of the type of storm, of the pavement in it and of the wind in it.
    early, road_after, wind_after : float
        What the start and the time after the storm add.

    Notes
    -----
    sqrt((storm_type × road × wind + early + road_after + wind_after - 0.0005) / 1.6995) [1]. Rain at the start adds 0.1, a
    colder pavement after the storm 0.15 and a warmer one -0.087, strong wind after it 0.25 [1]. The hardest storm gives 1 and the
    mildest 0 exactly, which bears the recalled factors out: 1.2 + 0.1 + 0.15 + 0.25 - 0.0005 = 1.6995 and
    0.35 × 0.25 - 0.087 = 0.0005.
    """
    total = storm_type * road * wind + early + road_after + wind_after - SHIFT_A
    return math.sqrt(max(total, 0.0) / SCALE_B)


def rate_storms(storms: pd.DataFrame) -> StormSeverity:
    """Severity index of every storm that has the weather for it.

    When to use: to describe a season and to check a comparison. A storm without an index still counts in the comparison, by
    being a storm of its own. Not a measure of a whole winter.

    Parameters
    ----------
    storms : DataFrame
        Columns `storm_id`, `start`, `end`, `snow_in` [in], `precip`, `pavement_temp_f` [°F], `wind_mph` [mph].

    Returns
    -------
    StormSeverity

    Notes
    -----
    What the index asks for and `storms` does not record is taken as neutral: rain at the start, and pavement and wind after
    the storm. Sleet, wet and mixed snow are rated by their depth as snow is. A storm of more than 24 hours is rated by its mean
    depth in 24 hours. A missing wind is taken as light. Kind or depth and pavement temperature have to be there.
    """
    table = storms.reset_index(drop=True).reindex(columns=[*COLUMNS[:2], c.END, c.PRECIP, *COLUMNS[3:6]])
    table[STORM_TYPE] = [_type_of(row) for row in table.to_dict("records")]
    index = []
    for kind, road_f, wind in zip(
        table[STORM_TYPE], table[c.PAVEMENT_TEMP_F], table[c.WIND_MPH], strict=True
    ):
        if not kind or pd.isna(road_f):
            index.append(math.nan)
            continue
        blows = WIND_STRONG if pd.notna(wind) and wind > STRONG_ABOVE_MPH else WIND_LIGHT
        index.append(storm_index(STORM_TYPES[kind], _road_factor(float(road_f)), blows))
    table[INDEX] = index
    return StormSeverity(
        table[COLUMNS],
        "Storm Severity Index of Nixon and Qiu (2005), with the factors from memory; rain at the start and the weather after a "
        "storm, which are not recorded, are taken as neutral",
        _notes(table),
    )


def snowfall_points(snow_in: float) -> int:
    """Points that the winter index AWSSI gives to the snow of one day.

    When to use: to say what one day's snow weighs beside another's. The index of a whole winter needs temperature and snow on
    the ground of every day as well, which a trial does not record.

    Parameters
    ----------
    snow_in : float
        New snow of the day, read to the tenth. [in]
    """
    depth_in = round(snow_in, 1)
    return max((points for start_in, points in SNOWFALL_POINTS if depth_in >= start_in), default=0)


def _type_of(storm: dict) -> str:
    """Type of a storm as the index knows it; empty where neither kind nor depth tell."""
    if storm[c.PRECIP] == "freezing_rain":
        return "freezing_rain"
    depth_in = storm[c.SNOW_IN]
    if depth_in is None or pd.isna(depth_in):
        return ""
    hours = (storm[c.END] - storm[c.START]) / pd.Timedelta(hours=1) if pd.notna(storm[c.END]) else 24.0
    day_in = float(depth_in) * min(1.0, 24.0 / hours) if hours > 0 else float(depth_in)
    return "light" if day_in < LIGHT_BELOW_IN else "heavy" if day_in > HEAVY_ABOVE_IN else "medium"


def _road_factor(road_f: float) -> float:
    return ROAD_WARM if road_f > WARM_ABOVE_F else ROAD_COLD if road_f < COLD_BELOW_F else ROAD_MIDDLE


def _notes(table: pd.DataFrame) -> tuple[str, ...]:
    unrated = int(table[INDEX].isna().sum())
    calm = int((table[INDEX].notna() & table[c.WIND_MPH].isna()).sum())
    notes = []
    if unrated:
        notes.append(
            f"{counted(unrated, 'storm')} {'has' if unrated == 1 else 'have'} no severity index, since kind or depth of the "
            "snow or the pavement temperature is not recorded; the comparison within storms counts "
            f"{'it' if unrated == 1 else 'them'} all the same."
        )
    if calm:
        notes.append(f"{counted(calm, 'storm')} without a recorded wind {_were(calm)} taken as calm.")
    return tuple(notes)


def _were(n: int) -> str:
    return "was" if n == 1 else "were"


def fit_slope(
    rates: pd.Series, storm_ids: pd.Series, severity: pd.Series, confidence_level: float = 0.95
) -> SeveritySlope:
    """How the rate of material rises with the severity of the storm.

    When to use: as a check of records (harder storms should take more) and to bring a rate to a typical season. Not to
    compare edge types.

    Parameters
    ----------
    rates : Series
        Material per lane-mile of each shift, above zero; others are left out.
    storm_ids : Series
        Storm of each shift.
    severity : Series
        Index by storm.
    confidence_level : float

    Returns
    -------
    SeveritySlope

    Raises
    ------
    NotEnoughDataError
        If fewer than 4 storms have an index and a rate, or all have the same index.

    Notes
    -----
    Least squares through the storms' mean log rates, each storm counting once, with Student's t at n - 2 degrees of freedom:
    shifts of one storm are no independent storms.
    """
    from scipy import stats

    used = rates.notna() & (rates > 0)
    kept = pd.Series(np.log(rates[used].to_numpy(dtype=float)), rates.index[used])
    logs = kept.groupby(storm_ids[used].astype(object)).mean()
    both = pd.DataFrame({"y": logs, "x": severity.reindex(logs.index)}).dropna()
    if len(both) < FEWEST_STORMS or both["x"].nunique() < 2:
        raise NotEnoughDataError(
            f"{counted(len(both), 'storm')} with both a severity and a rate, of {both['x'].nunique()} different severities; at least "
            f"{FEWEST_STORMS} storms and 2 severities are needed."
        )
    fit = stats.linregress(both["x"], both["y"])
    reach = stats.t.ppf(1 - two_sided_tail(confidence_level), len(both) - 2) * fit.stderr
    return SeveritySlope(
        float(fit.slope), float(fit.slope - reach), float(fit.slope + reach), float(both["x"].mean()), len(both), confidence_level,
    )  # fmt: skip


def severity_by_type(shifts: pd.DataFrame, severity: pd.Series) -> pd.DataFrame:
    """Mean severity of the storms in which each edge type was out, as a check that none had the easier winter.

    Parameters
    ----------
    shifts : DataFrame
        Columns `edge_type`, `storm_id`.
    severity : Series
        Index by storm.

    Returns
    -------
    DataFrame
        One row per edge type: edge_type, severity_index (mean over its shifts), n_shifts and n_storms with an index.
    """
    known = shifts.assign(**{INDEX: shifts[c.STORM_ID].astype(object).map(severity).astype(float)})
    known = known.dropna(subset=[INDEX, c.EDGE_TYPE])
    grouped = known.groupby(c.EDGE_TYPE, sort=True, observed=True)
    return grouped.agg(
        **{INDEX: (INDEX, "mean"), c.N_SHIFTS: (INDEX, "size"), c.N_STORMS: (c.STORM_ID, "nunique")}
    ).reset_index()
