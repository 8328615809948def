"""The cases that a trial may well bring, through everything that is said about wear.

Whatever the readings, nothing fails, no interval has zero width, and no word, figure or table says "nan" or "inf".
"""

import re
import warnings

import matplotlib.pyplot as plt
import numpy as np
import pytest
from doubt_samples import doubted
from wear_trials import fleet, segment

from trialkit import columns as c
from trialkit.edges.comparison import compare_edge_types
from trialkit.report import blocks, captions, doubt_captions, doubt_figures, doubt_words, figures

ENDS = [
    (c.CONF_LOW, c.CONF_HIGH),
    (c.PRED_LOW, c.PRED_HIGH),
    (c.MIXED_LOW, c.MIXED_HIGH),
    (c.MIXED_LOW_KR, c.MIXED_HIGH_KR),
]
NO_NUMBER = re.compile(r"(?<![A-Za-z])([Nn]a[Nn]|NAN|[Ii]nf|[Ii]nfinity|NaT|None)(?![A-Za-z])")


def moved():
    """A set that was on two trucks, beside an ordinary fleet."""
    rows = fleet()
    x = np.linspace(0, 300, 4)
    for truck, part, start in (("pl0", 7, 6.0), ("pl9", 8, 5.5)):
        rows += segment("plain_steel", truck, "moved", 1, x + 70_000, start - 1.5 * x / 1000, part=part)
    return rows


CASES = {
    "an ordinary trial": lambda: fleet(),
    "one truck per type": lambda: fleet(trucks=1),
    "two trucks per type": lambda: fleet(trucks=2),
    "one truck of the reference only": lambda: [row for row in fleet() if row[0] != "plain_steel" or row[2] == "pl0"],
    "one reading per segment": lambda: fleet(readings=1),
    "two readings per segment": lambda: fleet(readings=2),
    "two readings of one segment": lambda: segment("plain_steel", "T1", "S1", 1, [0.0, 300.0], [6.0, 5.5]),
    "two readings, one of each type": lambda: [
        *segment("plain_steel", "T1", "S1", 1, [0.0], [6.0]),
        *segment("carbide_insert", "T2", "S2", 1, [0.0], [6.0]),
    ],
    "no readings": list,
    "all readings equal": lambda: fleet(rates=(0.0, 0.0), error=0.0),
    "all readings equal, no step known": lambda: fleet(rates=(0.0, 0.0), error=0.0, step=0.0),
    "one type without wear": lambda: fleet(rates=(1.5, 0.0), error=0.004, step=1 / 16),
    "the reference without wear": lambda: fleet(rates=(0.0, 1.5), error=0.004, step=1 / 16),
    "one type without wear, well read": lambda: fleet(rates=(1.5, 0.0), error=0.002, step=0.001),
    "a type that grows": lambda: fleet(rates=(1.5, -0.3)),
    "a reference that grows": lambda: fleet(rates=(-0.8, 0.3)),
    "both grow": lambda: fleet(rates=(-0.8, -0.3)),
    "one truck that grows": lambda: [
        *fleet(),
        *segment("carbide_insert", "up", "up", 1, [0.0, 300.0, 600.0], [6.0, 6.1, 6.3]),
    ],
    "lines without scatter": lambda: fleet(error=0.0, step=0.0),
    "lines without scatter and trucks all alike": lambda: fleet(error=0.0, step=0.0, spread=0.0),
    "miles unequal by ten times": lambda: fleet(miles=[150.0, 400.0, 900.0, 1500.0]),
    "five types": lambda: fleet(n_types=5),
    "five types, three trucks": lambda: fleet(n_types=5, trucks=3),
    "several positions": lambda: [
        *fleet(),
        *fleet(n_types=3, place="wing_left", seed=2),
        *fleet(n_types=1, trucks=1, place="underbody"),
    ],
    "a position without the reference": lambda: [
        *fleet(),
        *[row for row in fleet(place="wing_right", seed=3) if row[0] != "plain_steel"],
    ],
    "a set moved between trucks": lambda: moved(),
    "all trucks carried both": lambda: fleet(shared=True),
    "two trucks carried both": lambda: fleet(shared=True, trucks=2),
    "one station": lambda: fleet(stations=1),
    "one truck far from the others": lambda: [
        *fleet(trucks=7),
        *segment("carbide_insert", "odd", "odd", 1, [0.0, 300.0, 600.0, 900.0], [6.0, 4.0, 2.1, 0.0]),
    ],
    "one wild reading": lambda: [
        *fleet(),
        *segment("carbide_insert", "wild", "wild", 1, [0.0, 150.0, 300.0, 450.0, 600.0], [6.0, 5.98, 9.5, 5.93, 5.91]),
    ],
    "a hundred thousand readings": lambda: fleet(n_types=3, trucks=20, stations=5, readings=112, sets=3),
}  # fmt: skip


@pytest.fixture(autouse=True)
def closed_afterwards():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield
    plt.close("all")


def words_of(doubt, compared):
    """Every text about wear: sentences, notes, figures, captions and tables."""
    results = [doubt.rates, compared, doubt.cross, doubt.board, doubt.bend, doubt.run_in, doubt.apart]
    for result in results:
        yield from (result.sentence(), result.method, *result.notes)
    yield from doubt_words.run_in(doubt)
    shown = [
        (doubt_figures.truck_wear, doubt_captions.truck_wear, (doubt.rates, doubt.readings)),
        (doubt_figures.residuals, doubt_captions.residuals, (doubt.apart,)),
        (doubt_figures.board, doubt_captions.board, (doubt.board,)),
        (figures.wear_rates, captions.wear_rates, (doubt.rates,)),
        (figures.wear_ratios, captions.wear_ratios, (compared,)),
    ]
    for draw, caption, arguments in shown:
        axes = draw(*arguments)
        drawn = (axes if hasattr(axes, "get_figure") else axes[0]).get_figure()
        drawn.set_layout_engine("none")
        drawn.draw_without_rendering()
        yield from (text.get_text() for text in drawn.findobj(plt.Text))
        said = caption(*arguments)
        yield from (said["caption"], said["alt"])
        yield blocks.table(said["data"], "Numbers", labels=said["labels"], headings=said["headings"]).plain()
        plt.close(drawn)
    for block in (
        doubt_words.board,
        doubt_words.trucks,
        doubt_words.crosscheck,
        doubt_words.bend,
        doubt_words.apart,
    ):
        yield block(doubt).plain()


WITH_RUN_IN = (
    "an ordinary trial",
    "two readings per segment",
    "a set moved between trucks",
    "all readings equal",
)


@pytest.mark.parametrize(
    ("case", "run_in_mi"), [*((case, 0.0) for case in CASES), *((case, 100.0) for case in WITH_RUN_IN)]
)
def test_nothing_fails_and_nothing_is_said_that_is_no_number(case, run_in_mi):
    doubt = doubted(CASES[case](), run_in_mi)
    compared = compare_edge_types(doubt.rates)
    for text in words_of(doubt, compared):
        assert not NO_NUMBER.search(text), text
    tables = [
        doubt.rates.table,
        compared.table,
        compared.differences,
        doubt.cross.table,
        doubt.board.table,
        doubt.bend.table,
    ]
    for table in tables:
        for low, high in ENDS:
            if low in table:
                ends = table[[low, high]].dropna().astype(float)
                assert (ends[high] > ends[low]).all()
                assert np.isfinite(ends.to_numpy()).all()
