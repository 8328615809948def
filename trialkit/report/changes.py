"""What has changed since an earlier report on the same trial.

Answers: which rows are new, which estimates moved and how far, did a verdict flip, and did the earlier forecast hold?

An estimate has moved when it lies outside the interval that the earlier report gave. Rows are told apart by fingerprints:
a run keeps eight bytes for the key and eight for the content of every row, so that an earlier season need not be stored
to be compared with.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trialkit import columns as c
from trialkit.edges.observed import CAUSE, NOT_ENDED, WORN_OUT
from trialkit.formatting import counted, day, listed, position_name
from trialkit.report import study
from trialkit.report.reuse import TABLES, EarlierRun
from trialkit.tables import TABLES as DECLARED
from trialkit.trial import problem_text
from trialkit.trial.checks import Trial

FINGERPRINTS = "rows.npz"
THEN, THEN_LOW, THEN_HIGH = "then", "then_low", "then_high"
NOW, NOW_LOW, NOW_HIGH = "now", "now_low", "now_high"
SUBJECT, WHAT, MOVED, STATE = "subject", "what", "moved", "state"
N_NEW, N_CHANGED, N_GONE, N_ROWS = "n_new", "n_changed", "n_gone", "n_rows"
OUTCOME, HELD, ENDED_EARLY, LASTED_LONGER = "outcome", "within the forecast", "ended earlier", "lasted longer"
SOLVED, NEW = "solved", "new"
THEN_WORDS, NOW_WORDS = "then_words", "now_words"
ESTIMATE_COLUMNS = [SUBJECT, WHAT, THEN, THEN_LOW, THEN_HIGH, NOW, NOW_LOW, NOW_HIGH, c.UNIT, MOVED]
CHANGE_COLUMNS = [*ESTIMATE_COLUMNS, THEN_WORDS, NOW_WORDS]
_NAMES_OF_A_ROW = (
    c.QUESTION, c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.TASK, c.CRITERION, c.MATERIAL, c.MEASURE, c.AXIS, CAUSE,
)  # fmt: skip
_TELL_APART = (c.BASIS, c.EXCHANGE_RATE_DB)
"""Columns that name a row only where the others do not tell two rows apart."""
_ESTIMATES = (c.ESTIMATE, c.ESTIMATE_PCT, c.COST_PER_MI, c.LEVEL_DBA)
_SAME = 1e-8
"""Relative difference below which two numbers are the same: tables carry ten digits."""


@dataclass(frozen=True, eq=False)
class Changes:
    """What has changed since an earlier run.

    Attributes
    ----------
    since : str
        Name of the earlier run.
    until : date
        Last day of its data.
    rows : DataFrame
        Tables with new, changed or vanished rows: table, n_new, n_changed, n_gone, n_rows.
    estimates : DataFrame
        Every estimate that both runs have: subject (the table it is in), what (the row of it), then, then_low, then_high,
        now, now_low, now_high, unit, moved (whether it lies outside the earlier interval).
    flipped : DataFrame
        Verdicts that are not what they were: question, edge_type, then, now.
    problems : DataFrame
        Warnings that are new or solved: state, code, file, key, column, found.
    forecasts : DataFrame
        Sets that have since shown whether the earlier forecast held: set_id, edge_type, plow_position, miles_mi, pred_low,
        pred_high, outcome.
    labels : mapping
        Edge type to its printed name.
    levels : tuple of float
        Level of the intervals then and now; NaN for a run that did not record it.
    """

    since: str
    until: dt.date
    rows: pd.DataFrame
    estimates: pd.DataFrame
    flipped: pd.DataFrame
    problems: pd.DataFrame
    forecasts: pd.DataFrame
    labels: Mapping[str, str]
    levels: tuple[float, float] = (math.nan, math.nan)

    @property
    def has_other_level(self) -> bool:
        """Whether the intervals of the two runs are known to have been drawn at different levels."""
        then, now = self.levels
        return math.isfinite(then) and math.isfinite(now) and abs(then - now) > 1e-9

    @property
    def is_material(self) -> bool:
        """Whether a verdict flipped, or an estimate lies outside its earlier interval."""
        return bool(len(self.flipped)) or bool(self.estimates[MOVED].any())

    @property
    def hit_rate(self) -> float:
        """Share of the forecasts that held; NaN if none can be told yet."""
        return float((self.forecasts[OUTCOME] == HELD).mean()) if len(self.forecasts) else math.nan

    def sentence(self) -> str:
        """The one line that says whether anything changed that matters."""
        added = counted(int(self.rows[N_NEW].sum()), "new row")
        since = f"Since the last report, on data up to {day(self.until)},"
        if not self.is_material:
            return f"{since} there is no material change; {added} came in."
        said = []
        if len(self.flipped):
            said.append(f"{counted(len(self.flipped), 'verdict')} changed")
        moved = int(self.estimates[MOVED].sum())
        if moved:
            said.append(f"{counted(moved, 'estimate')} moved beyond the earlier interval")
        return f"{since} {listed(said)}; {added} came in."

    def frame(self) -> pd.DataFrame:
        """Everything in one tidy table, for `changes.csv`."""
        verdict_rows = _told(self.flipped, "verdicts", _joined(self.flipped, [c.QUESTION, c.EDGE_TYPE]), True)
        verdict_rows = verdict_rows.rename(columns={THEN: THEN_WORDS, NOW: NOW_WORDS})
        row_rows = _told(self.rows, "rows", list(self.rows[c.TABLE]), False).rename(columns={N_ROWS: NOW})
        row_rows[THEN] = row_rows[NOW] - row_rows[N_NEW] + row_rows[N_GONE]
        missed = self.forecasts[OUTCOME] != HELD
        set_rows = _told(self.forecasts, "forecasts", list(self.forecasts[c.SET_ID]), missed)
        names = {c.PRED_LOW: THEN_LOW, c.PRED_HIGH: THEN_HIGH, c.MILES_MI: NOW, OUTCOME: NOW_WORDS}
        set_rows = set_rows.rename(columns=names)
        set_rows[c.UNIT] = "mi"
        problem_rows = _told(
            self.problems, "problems", _joined(self.problems, [c.CODE, c.FILE, c.KEY]), False
        )
        problem_rows = problem_rows.rename(columns={STATE: NOW_WORDS})
        parts = (verdict_rows, self.estimates, set_rows, row_rows, problem_rows)
        kept = [part.reindex(columns=CHANGE_COLUMNS) for part in parts if len(part)]
        numbers = [THEN, THEN_LOW, THEN_HIGH, NOW, NOW_LOW, NOW_HIGH]
        words = [name for name in CHANGE_COLUMNS if name not in numbers]
        typed = [part.astype(dict.fromkeys(numbers, float) | dict.fromkeys(words, object)) for part in kept]
        return pd.concat(typed, ignore_index=True) if typed else pd.DataFrame(columns=CHANGE_COLUMNS)


def _told(frame: pd.DataFrame, subject: str, what: list[str], moved: bool | pd.Series) -> pd.DataFrame:
    """Rows of one kind of change, with what they are about."""
    told = frame.copy()
    told[SUBJECT], told[WHAT], told[MOVED] = subject, what, moved
    return told


def _joined(frame: pd.DataFrame, columns: list[str]) -> list[str]:
    """The words of some columns in one, row by row."""
    return [", ".join(str(part) for part in row if part) for row in frame[columns].itertuples(index=False)]


def compare_with(run: EarlierRun, trial: Trial, tables: Mapping[str, pd.DataFrame]) -> Changes:
    """Set a trial and its results against an earlier run.

    Parameters
    ----------
    run : EarlierRun
        The earlier run; its tables are read from its folder.
    trial : Trial
        The trial as it is now.
    tables : mapping of str to DataFrame
        Results as they are now, under the names of their files.

    Returns
    -------
    Changes
        What the two have in common and where they differ. A table that only one of them has is passed over.
    """
    labels = study.labels(trial)
    then = {name: _read(run.folder / TABLES / f"{name}.csv") for name in (*tables, "data_problems")}
    return Changes(
        since=run.folder.name,
        until=dt.date.fromisoformat(run.folder.name[:10]),
        rows=_rows(run.folder / FINGERPRINTS, trial),
        estimates=_estimates(then, tables, labels),
        flipped=_flipped(then.get("verdicts", pd.DataFrame()), tables.get("verdicts", pd.DataFrame())),
        problems=_problems(then["data_problems"], problem_text.frame(trial.problems)),
        forecasts=_forecasts(then.get("life"), then.get("observed_lives"), tables.get("observed_lives")),
        labels=labels,
        levels=(
            float(run.record.get("parameters", {}).get("confidence_level", math.nan)),
            trial.confidence_level,
        ),
    )


# ---------------------------------------------------------------- rows
def save_fingerprints(trial: Trial, path: Path) -> None:
    """Keep a fingerprint of the key and of the content of every row of a trial.

    Parameters
    ----------
    trial : Trial
        The trial.
    path : Path
        The file, a NumPy archive with one array of two columns for each table.
    """
    arrays: dict[str, Any] = {name: fingerprints(trial[name], name) for name in sorted(trial.present)}
    np.savez_compressed(path, **arrays)


def fingerprints(frame: pd.DataFrame, name: str) -> np.ndarray:
    """Fingerprints of the rows of a table: one row each, first of its key, then of all its cells."""
    if frame.empty:
        return np.empty((0, 2), dtype=np.uint64)
    key = [column for column in DECLARED[name].key if column in frame]
    whole = pd.util.hash_pandas_object(frame, index=False).to_numpy()
    own = pd.util.hash_pandas_object(frame[key], index=False).to_numpy() if key else whole
    return np.column_stack([own, whole])


def _rows(path: Path, trial: Trial) -> pd.DataFrame:
    """Tables whose rows are not what they were."""
    earlier: Mapping[str, np.ndarray] = {}
    if path.is_file():
        with np.load(path) as archive:
            earlier = {name: archive[name] for name in archive.files}
    found = []
    for name in DECLARED:
        now = fingerprints(trial[name], name)
        then = earlier.get(name, np.empty((0, 2), dtype=np.uint64))
        is_known = np.isin(now[:, 0], then[:, 0])
        is_same = np.isin(now[:, 1], then[:, 1])
        gone = int((~np.isin(then[:, 0], now[:, 0])).sum())
        counts = int((~is_known).sum()), int((is_known & ~is_same).sum()), gone
        if any(counts):
            found.append((name, *counts, len(now)))
    return pd.DataFrame(found, columns=[c.TABLE, N_NEW, N_CHANGED, N_GONE, N_ROWS])


# ---------------------------------------------------------------- estimates and verdicts
def _estimates(
    then: Mapping[str, pd.DataFrame], now: Mapping[str, pd.DataFrame], labels: Mapping[str, str]
) -> pd.DataFrame:
    """Estimates with an interval that both runs have, side by side."""
    parts = []
    for name, frame in now.items():
        earlier = then[name]
        value = next((column for column in _ESTIMATES if column in frame and column in earlier), None)
        if value is None or not {c.CONF_LOW, c.CONF_HIGH} <= set(frame.columns) & set(earlier.columns):
            continue
        names = [column for column in _NAMES_OF_A_ROW if column in frame and column in earlier]
        if frame[names].duplicated().any():
            names += [column for column in _TELL_APART if column in frame and column in earlier]
        both = _named(earlier, names, value, (THEN, THEN_LOW, THEN_HIGH), labels).merge(
            _named(frame, names, value, (NOW, NOW_LOW, NOW_HIGH), labels), on=[WHAT], how="inner"
        )
        units = dict(zip(_words(frame, names, labels), frame[c.UNIT], strict=True)) if c.UNIT in frame else {}
        both = both.assign(**{SUBJECT: name, c.UNIT: [units.get(what, "") for what in both[WHAT]]})
        both[MOVED] = [
            _has_moved(*row) for row in both[[THEN, THEN_LOW, THEN_HIGH, NOW]].itertuples(index=False)
        ]
        parts.append(both[ESTIMATE_COLUMNS])
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=ESTIMATE_COLUMNS)


def _named(
    frame: pd.DataFrame,
    names: list[str],
    value: str,
    columns: tuple[str, str, str],
    labels: Mapping[str, str],
) -> pd.DataFrame:
    """The estimates of a table under the words that name their rows; rows that share a name are passed over."""
    words = _words(frame, names, labels)
    said = (
        frame[[value, c.CONF_LOW, c.CONF_HIGH]]
        .set_axis(list(columns), axis=1)
        .astype(float)
        .assign(**{WHAT: words})
    )
    return said[~said[WHAT].duplicated(keep=False)]


def _words(frame: pd.DataFrame, names: list[str], labels: Mapping[str, str]) -> list[str]:
    """The names of the rows of a table."""
    return [
        ", ".join(_word(name, part, labels) for name, part in zip(names, row, strict=True))
        for row in frame[names].itertuples(index=False)
    ]


def _word(name: str, part: object, labels: Mapping[str, str]) -> str:
    """One part of the name of a row."""
    text = labels.get(str(part), position_name(str(part)).replace("_", " "))
    return f"against {text}" if name == c.REFERENCE else text


def _has_moved(then: float, low: float, high: float, now: float) -> bool:
    """Whether an estimate lies outside the interval that the earlier run gave."""
    if not math.isfinite(now) or not math.isfinite(then):
        return math.isfinite(now) != math.isfinite(then)
    slack = _SAME * abs(now)
    return bool(now < low - slack or now > high + slack)  # an end that is missing allows everything


def _flipped(then: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """Verdicts that are not what they were."""
    columns = [c.QUESTION, c.EDGE_TYPE, THEN, NOW]
    if then.empty or now.empty:
        return pd.DataFrame(columns=columns)
    keys = [c.QUESTION, c.EDGE_TYPE]
    earlier = then[[*keys, c.VERDICT]].fillna("").rename(columns={c.VERDICT: THEN})
    both = earlier.merge(
        now[[*keys, c.VERDICT]].astype(object).fillna("").rename(columns={c.VERDICT: NOW}), on=keys
    )
    return both.loc[both[THEN] != both[NOW], columns].reset_index(drop=True)


def _problems(then: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """Warnings that only one of the two runs has."""
    said = [c.CODE, c.FILE, c.KEY, c.COLUMN, c.FOUND]
    both = [
        frame.reindex(columns=said).astype(object).fillna("").astype(str).drop_duplicates()
        for frame in (then, now)
    ]
    merged = both[0].merge(both[1], on=said, how="outer", indicator=STATE)
    merged[STATE] = merged[STATE].astype(str).map({"left_only": SOLVED, "right_only": NEW})
    return merged.dropna(subset=[STATE])[[STATE, *said]].reset_index(drop=True)


# ---------------------------------------------------------------- forecasts
def _forecasts(
    life: pd.DataFrame | None, then: pd.DataFrame | None, now: pd.DataFrame | None
) -> pd.DataFrame:
    """Sets that wore out since, or have outlasted the range that the earlier run gave for the next set of their type.

    A set that broke or was lost says nothing about wear and is not counted.
    """
    columns = [c.SET_ID, c.EDGE_TYPE, c.PLOW_POSITION, c.MILES_MI, c.PRED_LOW, c.PRED_HIGH, OUTCOME]
    if life is None or then is None or now is None or life.empty or now.empty:
        return pd.DataFrame(columns=columns)
    ended = set(then.loc[then[CAUSE] != NOT_ENDED, c.SET_ID]) if len(then) else set()
    ranges = life[[c.EDGE_TYPE, c.PLOW_POSITION, c.PRED_LOW, c.PRED_HIGH]]
    own = now[[c.SET_ID, c.EDGE_TYPE, c.PLOW_POSITION, c.MILES_MI, CAUSE]].astype(
        {c.EDGE_TYPE: str, c.PLOW_POSITION: str}
    )
    open_then = own[~own[c.SET_ID].isin(ended)].merge(ranges, on=[c.EDGE_TYPE, c.PLOW_POSITION])
    outcomes = [_outcome(row) for row in open_then.to_dict("records")]
    told = open_then.assign(**{OUTCOME: outcomes})
    return told[told[OUTCOME] != ""][columns].reset_index(drop=True)


def _outcome(row: Mapping[Any, Any]) -> str:
    """What one set has shown of the forecast; empty if it has shown nothing yet."""
    miles, low, high = row[c.MILES_MI], row[c.PRED_LOW], row[c.PRED_HIGH]
    if math.isnan(miles) or math.isnan(low):
        return ""
    if miles > high:
        return LASTED_LONGER
    if row[CAUSE] != WORN_OUT:
        return ""
    return ENDED_EARLY if miles < low else HELD


def _read(path: Path) -> pd.DataFrame:
    """A table of the earlier run; empty if it has none."""
    try:
        return pd.read_csv(path)
    except (OSError, ValueError):
        return pd.DataFrame()
