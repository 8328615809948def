"""The words that belong to the figures of material and clearing.

Answers: what does such a figure say, in words that can never disagree with it?

As in `captions`, everything is built from the result that was drawn.
"""

from __future__ import annotations

from trialkit import columns as c
from trialkit import display
from trialkit.clearing import rates
from trialkit.clearing.ratings import SCORES, RatingComparison, item_words
from trialkit.formatting import counted, level_words, listed, number, percent, sentence_case
from trialkit.report.captions import FigureWords, figure_words, some
from trialkit.report.material_figures import (
    MOST_STORMS,
    basis_word,
    edge_order,
    forest_panels,
    forest_rows,
    rating_bars,
    shown_storms,
)
from trialkit.report.material_study import MaterialStudy
from trialkit.report.material_tables import RATE, storm_rates, unified

GOOD, BEST = 4, 5
STORM_HEADINGS = {c.STORM_ID: "Storm"}


def rates_by_storm(found: MaterialStudy) -> FigureWords:
    """Words for `material_figures.rates_by_storm`; the same argument as there."""
    table = shown_storms(found)
    unit = display.unit(rates.basis_unit(found.rate_basis))
    names = edge_order(found, table[c.EDGE_TYPE])
    storms = table[c.STORM_ID].nunique()
    wide = table.pivot(index=c.STORM_ID, columns=c.EDGE_TYPE, values=RATE).reindex(
        index=table[c.STORM_ID].unique(), columns=names
    )
    lowest, highest = table[RATE].min(), table[RATE].max()
    said = []
    if found.reference in wide:
        for name in names:
            both = wide[[found.reference, name]].dropna()
            if name != found.reference and len(both):
                less = int((both[name] < both[found.reference]).sum())
                said.append(
                    f"{sentence_case(found.label(name))} lies below {found.label(found.reference)} in {less} of {counted(len(both), 'storm')}."
                )
    of = storm_rates(found.records)[c.STORM_ID].nunique()
    cut = f" Shown are the {MOST_STORMS} storms with most shifts, of {of}." if of > storms else ""
    caption = (
        f"Dry material per {basis_word(found)} in each storm, one mark for each edge type: the typical shift of that storm. Marks of one row "
        f"are from the same storm.{cut}"
    )
    alt = (
        f"Chart with a row for each of {counted(storms, 'storm')}: material in {unit} with {listed([found.label(name) for name in names])}, "
        f"from {number(lowest, 3)} to {number(highest, 3)}. {some(said)}"
    )
    wide = wide.rename(columns={name: sentence_case(found.label(name)) for name in names})
    data = wide.round(1).reset_index()
    data.columns.name = None
    return figure_words(
        caption,
        alt,
        data,
        found.labels,
        None,
        {**STORM_HEADINGS, **{name: name for name in data.columns[1:]}},
    )


def differences(found: MaterialStudy) -> FigureWords:
    """Words for `material_figures.differences`; the same argument as there."""
    said = []
    for part in forest_panels(found):
        head = ""
        for each in forest_rows(found, part):
            head = each.head or head
            said.append(f"{head}, {found.label(each.row.edge_type)}: {each.words}.")
    reference = found.label(found.reference)
    level = level_words(found.confidence_level)
    caption = f"Difference of each edge type from {reference} within storms, with its {level}. Where a line crosses zero, no difference is shown."
    alt = f"Chart of differences from {reference} with their {level}, measure by measure. {' '.join(said)}"
    data = unified([one for part in forest_panels(found) for one in part])
    kept = [
        c.MEASURE,
        c.EDGE_TYPE,
        c.ESTIMATE,
        c.CONF_LOW,
        c.CONF_HIGH,
        c.UNIT,
        c.N_TRUCKS,
        c.N_STORMS,
        c.N_SHIFTS,
    ]
    return figure_words(
        caption, alt, data[kept], found.labels, found.confidence_level, {c.ESTIMATE: "Difference"}
    )


def ratings(found: RatingComparison) -> FigureWords:
    """Words for `material_figures.ratings`; the same argument as there."""
    said, head = [], ""
    for own_head, name, own in rating_bars(found):
        head = own_head or head
        high = own.loc[own[c.SCORE] >= GOOD, c.SHARE_FRAC].sum()
        said.append(
            f"{head}, {name}: {percent(100 * high)} of {counted(int(own[c.N_RATINGS].sum()), 'rating')} are {GOOD} or {BEST}."
        )
    caption = "How often operators gave each score, from 1 (worst) to 5 (best), by item and edge type."
    alt = f"Chart with a bar for each item and edge type, divided by the scores given. {some(said)}"
    data = found.distribution.assign(
        **{c.ITEM: [sentence_case(item_words(str(item))) for item in found.distribution[c.ITEM]]}
    )
    wide = data.pivot_table(
        index=[c.ITEM, c.EDGE_TYPE],
        columns=c.SCORE,
        values=c.N_RATINGS,
        sort=False,
        observed=True,
        aggfunc="sum",
    ).reset_index()
    wide.columns = [str(name) for name in wide.columns]
    return figure_words(
        caption, alt, wide, found.labels, None, {c.ITEM: "Item", **{f"{n}": f"Score {n}" for n in SCORES}}
    )
