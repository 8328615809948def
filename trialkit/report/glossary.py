"""The words that the report uses in a sense of its own, explained in plain English.

Answers: what does a word of the report mean?
"""

from __future__ import annotations

import pandas as pd

from trialkit import display, verdicts
from trialkit.formatting import level_percent, level_words
from trialkit.report import blocks

TITLE = "Words used in this report"
CAPTION = "What the words of this report mean"
WORD, MEANING = "word", "meaning"
HEADINGS = {WORD: "Word", MEANING: "Meaning"}


def table(confidence_level: float, reference: str) -> blocks.Table:
    """The glossary.

    Parameters
    ----------
    confidence_level : float
        Level of the report's intervals.
    reference : str
        Printed name of the edge type with which the others are compared.
    """
    level, miles = level_percent(confidence_level), display.words("miles")
    rows = {
        "Edge type": "A kind of cutting edge: what bolts to the bottom of a plow and scrapes the road.",
        "Reference": f"The edge type with which the others are compared: {reference}.",
        "Set, section": "A set is all edges of one plow. Some types are made of sections that are replaced one by one.",
        "Station": "A spot across the blade at which heights are read; 1 is the left end seen from the cab.",
        f"Blade-down {miles}": f"The {miles} driven with the blade on the road. An edge wears only then.",
        "Usable depth": "How much may wear off before the edge has to come off. It differs between edge types.",
        "Wear rate": f"Depth worn off in 1,000 blade-down {miles}.",
        "Life": f"Blade-down {miles} until the thinnest spot has lost the usable depth.",
        level_words(confidence_level): (
            f"Where the truth lies in {level} of such trials, if the trucks tried stand for the fleet. A wide one means that the trial "
            "knows little."
        ),
        "Range for the next set": f"Where the life of one more set would lie in {level} of cases; never narrower than the interval.",
        "At least": "The data set a lower end but no upper one.",
        "Lane-mile" if not display.is_metric() else "Lane-kilometer": (
            f"One {display.words('mile')} of one lane. A road with two lanes has two for each {display.words('mile')}."
        ),
        "Dose": "Share of a day's allowed noise that a shift uses up, in percent.",
        "A(8)": "Vibration of a shift, brought to a day of 8 hours.",
        "Present value": "What a cost in a later year is worth today, at the discount rate of the trial's settings.",
        verdicts.words(
            verdicts.BETTER
        ): "A difference in favor of the edge type is shown, the number of types compared allowed for; where the agreed rule is what is asked, it is met.",
        verdicts.words(verdicts.WORSE): "The same, against it.",
        verdicts.words(verdicts.NOT_SHOWN): "The trial cannot tell. This is not the same as no difference.",
        verdicts.words(
            verdicts.NOT_ENOUGH_DATA
        ): "Too few trucks or readings to say anything under the rule.",
    }
    frame = pd.DataFrame(list(rows.items()), columns=[WORD, MEANING])
    return blocks.table(frame, CAPTION, headings=HEADINGS)
