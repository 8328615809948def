"""Reports made of blocks by hand, for the tests of every kind of document."""

import datetime as dt
from functools import cache

import pandas as pd
from report_samples import AWKWARD, rates, ratios

from trialkit.errors import Problem
from trialkit.report import blocks, captions, figures


def meta(**changes):
    given = {"agency": "Town of Brenmoor", "season": "2030-31", "date": dt.date(2031, 4, 2), **changes}
    return blocks.meta(given.pop("title", "Cutting edges"), **given)


@cache
def pictures():
    """Drawn once: a block is not changed by those who print it."""
    return (
        blocks.figure(figures.wear_rates(rates()), **captions.wear_rates(rates())),
        blocks.figure(figures.wear_ratios(ratios()), **captions.wear_ratios(ratios())),
    )


def report(**changes):
    """One block of every kind, two figures and two sections."""
    first, second = pictures()
    return [
        meta(**changes),
        blocks.findings(
            [
                blocks.Finding(sentence="Carbide lasts longer.", verdict="better"),
                blocks.Finding(sentence="Noise is alike.", detail="One dB apart.", verdict="not_shown"),
            ]
        ),
        blocks.heading("Wear"),
        blocks.text("A paragraph."),
        blocks.Listing(ordered=True, items=blocks.text("first", "second").paragraphs),
        blocks.Listing(items=blocks.text("third").paragraphs),
        *blocks._text_blocks("a **bold** *slanted* `coded` [linked](https://example.org/?a=1&b=2)", "x"),
        blocks.table(pd.DataFrame({"edge_type": ["plain"], "n_trucks": [4]}), "Trucks of each type"),
        first,
        blocks.heading("By position", 3),
        second,
        blocks.heading("Data"),
        blocks.problems([Problem("few-trucks", "edge_sets.csv", found="1 truck")]),
        blocks.notes(["Mind this."]),
    ]


def long_table(n_rows):
    frame = pd.DataFrame({"truck_id": [f"T-{number}" for number in range(n_rows)], "miles_mi": range(n_rows)})
    return blocks.table(frame, "Miles of each truck")


@cache
def awkward_picture(name):
    words = captions.wear_rates(
        rates([(name, "front", 1.5, 1.2, 1.8, 3)], [(name, "front", name, 1.5)], labels={})
    )
    drawn = figures.wear_rates(
        rates([(name, "front", 1.5, 1.2, 1.8, 3)], [(name, "front", name, 1.5)], labels={})
    )
    return blocks.figure(drawn, **{**words, "caption": name, "alt": name})


def awkward_report(name):
    """The same awkward text wherever a text can stand."""
    return [
        meta(title=name, agency=name, season=name, subtitle=name, facts={name: name}),
        blocks.findings([blocks.Finding(sentence=name, detail=name, verdict="worse")], title=name),
        blocks.heading(name),
        blocks.heading(name, 3),
        blocks.heading(name),
        blocks.text(name),
        blocks.Listing(items=blocks.text(name).paragraphs),
        blocks.table(pd.DataFrame({name: [name], "edge_type": [name]}), name, notes=[name]),
        awkward_picture(name),
        blocks.problems([Problem("unknown-key", name, 2, name, name, name, name, name)]),
        blocks.notes([name], title=name),
    ]


FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("http://example.org","x")', "\t=1", "#N/A", "-5")
AWKWARD_TEXTS = (
    *AWKWARD,
    "#let x = 1 #x",
    "@name <label> // a",
    "{{TITLE}} {% raw %}",
    "除雪",
    "a & b < c > d",
    *FORMULAS,
)
