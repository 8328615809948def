"""What has changed since the last report, as blocks of a report.

Answers: what does a reader of the last report have to unlearn, and did its forecast hold?

Each call returns one block and says so in a sentence where there is nothing to show.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display, verdicts
from trialkit.formatting import (
    counted,
    fixed,
    interval_decimals,
    listed,
    miles_decimals,
    percent,
    ratio_number,
    ratio_span,
    sentence_case,
    span,
)
from trialkit.report import blocks
from trialkit.report.changes import (
    ENDED_EARLY,
    HELD,
    LASTED_LONGER,
    MOVED,
    N_CHANGED,
    N_GONE,
    N_NEW,
    N_ROWS,
    NEW,
    NOW,
    NOW_HIGH,
    NOW_LOW,
    OUTCOME,
    SOLVED,
    STATE,
    SUBJECT,
    THEN,
    THEN_HIGH,
    THEN_LOW,
    WHAT,
    Changes,
)

TITLE = "Since the last report"
NO_EARLIER = "There is no earlier report on this trial to compare with."
ROWS_CAPTION = "Rows that are new, changed or gone since the last report"
ESTIMATES_CAPTION = "The estimates in the last report and now"
FORECAST_CAPTION = "Sets that have shown whether the last report's forecast held"
THEN_TEXT, NOW_TEXT = "then_text", "now_text"
ROWS_HEADINGS = {N_NEW: "New", N_CHANGED: "Changed", N_GONE: "Gone", N_ROWS: "Now"}
ESTIMATE_HEADINGS = {
    SUBJECT: "About",
    WHAT: "Of",
    THEN_TEXT: "In the last report",
    NOW_TEXT: "Now",
    MOVED: "Moved",
}
FORECAST_HEADINGS = {OUTCOME: "Against the forecast"}
RATIOS = ("wear_ratios", "life_ratios")
SUBJECTS = {
    "wear_rates": "wear rate",
    "wear_ratios": "times slower wear",
    "life": "mean life",
    "life_ratios": "times as long",
    "noise_differences": "difference in level",
    "material": "material",
    "clearing": "clearing",
    "cost": "cost per blade-down mile",
}
"""Tables whose estimates are shown side by side, and what their estimates are; `changes.csv` has the others too."""


def what_changed(changes: Changes | None) -> blocks.Block:
    """Whether anything changed that matters, which verdicts flipped, and how the forecast did."""
    if changes is None:
        return blocks.text(NO_EARLIER)
    said = [
        changes.sentence(),
        *_elsewhere(changes),
        *_flipped(changes),
        *_warnings(changes.problems),
        *_forecast(changes),
    ]
    return blocks.notes([display.words(sentence) for sentence in said], title=TITLE)


OTHER_LEVEL = "Each look has its own limit: the intervals were drawn at {} then and are drawn at {} now, so they differ in width by that alone."


def rows_table(changes: Changes | None) -> blocks.Block:
    """New, changed and vanished rows by table."""
    if changes is None or changes.rows.empty:
        return blocks.text("No row of the trial was added, changed or removed." if changes else NO_EARLIER)
    return blocks.table(changes.rows, ROWS_CAPTION, headings=ROWS_HEADINGS)


def estimates_table(changes: Changes | None) -> blocks.Block:
    """The estimates of the last report beside those of now, each with its interval."""
    if changes is None:
        return blocks.text(NO_EARLIER)
    shown = changes.estimates[changes.estimates[SUBJECT].isin(SUBJECTS)]
    if shown.empty:
        return blocks.text("The last report has no estimate in common with this one.")
    rows = [_side_by_side(row) for row in shown.to_dict("records")]
    then, now = changes.levels
    notes = (
        (OTHER_LEVEL.format(percent(100 * then, 1), percent(100 * now, 1)),)
        if changes.has_other_level
        else ()
    )
    return blocks.table(pd.DataFrame(rows), ESTIMATES_CAPTION, headings=ESTIMATE_HEADINGS, notes=notes)


def forecast_table(changes: Changes | None) -> blocks.Block:
    """Sets that wore out since or outlasted their range, with the range that was given for them."""
    if changes is None or changes.forecasts.empty:
        return blocks.text("No set has worn out since the last report or outlasted the range that it gave.")
    return blocks.table(
        changes.forecasts, FORECAST_CAPTION, headings=FORECAST_HEADINGS, labels=changes.labels
    )


def _side_by_side(row: Mapping[Any, Any]) -> dict[str, Any]:
    unit = str(row[c.UNIT] or "") if isinstance(row[c.UNIT], str) else ""
    texts = {
        text: _estimate(row[SUBJECT], unit, *(display.value(float(row[name]), unit) for name in names))
        for text, names in (
            (THEN_TEXT, (THEN, THEN_LOW, THEN_HIGH)),
            (NOW_TEXT, (NOW, NOW_LOW, NOW_HIGH)),
        )
    }
    said = {SUBJECT: sentence_case(SUBJECTS[row[SUBJECT]]), WHAT: row[WHAT]}
    return {**said, **texts, c.UNIT: display.unit(unit), MOVED: "yes" if row[MOVED] else "no"}


def _estimate(subject: str, unit: str, value: float, low: float, high: float) -> str:
    """An estimate with its interval, with the digits that it has elsewhere in a report."""
    known = math.isfinite(low) or math.isfinite(high)
    if subject in RATIOS:
        return f"{ratio_number(value)}{f' ({ratio_span(low, high)})' if known else ''}"
    places = (miles_decimals if unit == "mi" else interval_decimals)(value, low, high)
    return f"{fixed(value, places)}{f' ({span(low, high, places)})' if known else ''}"


def _elsewhere(changes: Changes) -> list[str]:
    """How many of the estimates that moved stand in the saved table alone."""
    hidden = int((changes.estimates[MOVED].astype(bool) & ~changes.estimates[SUBJECT].isin(SUBJECTS)).sum())
    if not hidden:
        return []
    return [
        f"Of the estimates that moved, {hidden} {'stands' if hidden == 1 else 'stand'} in changes.csv alone."
    ]


def _flipped(changes: Changes) -> list[str]:
    return [
        f"{sentence_case(str(row[c.QUESTION]))}{_of(row[c.EDGE_TYPE], changes.labels)}: the verdict was "
        f'"{verdicts.words(row[THEN]).lower()}" and is now "{verdicts.words(row[NOW]).lower()}".'
        for row in changes.flipped.to_dict("records")
    ]


def _of(edge_type: str, labels: Mapping[str, str]) -> str:
    return f", {labels.get(edge_type, edge_type.replace('_', ' '))}" if edge_type else ""


def _warnings(problems: pd.DataFrame) -> list[str]:
    counts = {state: int((problems[STATE] == state).sum()) for state in (NEW, SOLVED)}
    said = [
        f"{counted(counts[NEW], 'warning')} about the data {'is' if counts[NEW] == 1 else 'are'} new"
        if counts[NEW]
        else "",
        f"{counted(counts[SOLVED], 'earlier warning')} {'is' if counts[SOLVED] == 1 else 'are'} solved"
        if counts[SOLVED]
        else "",
    ]
    known = [part for part in said if part]
    return [f"{sentence_case(listed(known))}."] if known else []


def _forecast(changes: Changes) -> list[str]:
    """How the forecast of the last report did."""
    told = changes.forecasts
    if told.empty:
        return []
    counts = {
        outcome: int((told[OUTCOME] == outcome).sum()) for outcome in (HELD, ENDED_EARLY, LASTED_LONGER)
    }
    missed = [f"{counts[outcome]} {outcome}" for outcome in (ENDED_EARLY, LASTED_LONGER) if counts[outcome]]
    rest = f"; {listed(missed)}" if missed else ""
    return [
        f"Of {counted(len(told), 'set')} that have since shown how long they last, {counts[HELD]} "
        f"({percent(100 * changes.hit_rate)}) lasted as the last report's range for the next set said{rest}."
    ]
