"""The words of the council report that do not belong to one analysis.

Answers: what was tried, what was not studied, how sure may one be, and what should people at the trucks mind?

Everything is said from the trial and its results; no figure is typed here.
"""

from __future__ import annotations

import platform
from collections.abc import Mapping

import pandas as pd

from trialkit import __version__, display, tables
from trialkit import columns as c
from trialkit.edges import comparison, wear
from trialkit.formatting import counted, day, listed, number, sentence_case
from trialkit.money.without_trucks import WithoutTrucks
from trialkit.report import (
    assignment_words,
    blocks,
    captions,
    cost_words,
    doubt_words,
    life_words,
    study,
)
from trialkit.report.council_study import Studies
from trialkit.report.doubt_study import Doubt
from trialkit.report.life_study import LifeStudy
from trialkit.settings import FILE_NAME
from trialkit.trial import lineage, stays
from trialkit.trial.checks import (
    EARLIER,
    EVERYTHING,
    LAST_DAY,
    PROBLEMS,
    SETTINGS,
    Checked,
    Trial,
    last_data_date,
)

SUBTITLE = "Report on the cutting edge trial"
FINDING_TITLE = "What was found"
RATES_TITLE = "Wear rates in words"
RATIOS_TITLE = "Comparison in words"
NOT_STUDIED_TITLE = "Not studied"
LIMITS_TITLE = "Not known"
CAVEATS_TITLE = "Small print of the analysis"
CAUTIONS_TITLE = "The usual cautions"
RATES_CAPTION = "Wear rate of each edge type"
RATIOS_CAPTION = "How many times slower each edge type wears than the reference"
TRIED_CAPTION = "The trial in figures"
TABLES_CAPTION = "Tables of the trial"
LIVES_CAPTION = "Stays of the sets on the trucks"
DECISIONS_CAPTION = "Decisions that were carried out"
PROVENANCE_CAPTION = "What this was made from"
EFFECT_CAPTION = "The comparison with and without the readings that were left out"
ABOUT_WEAR = "What follows is about wear, on which life and cost rest; the cost itself was not worked out in these ways."
FEW_TRUCKS = 2
"""So many trucks with an edge type, or fewer, are too few for a reader to take for granted."""
NO_DECISIONS = "Nothing was corrected or left out."


FACT, VALUE, ROWS = "fact", "value", "rows"
FACT_HEADINGS = {FACT: "What", VALUE: "Value", ROWS: "Rows", c.DIGEST: "Start of its SHA-256, or version"}
LIFE_HEADINGS = {stays.END_EVENT: "Ended by", stays.END_REASON: "Reason", lineage.UNTIL: "Counted up to"}
BRIEF_RATES = [
    c.EDGE_TYPE,
    c.PLOW_POSITION,
    c.ESTIMATE,
    c.CONF_LOW,
    c.CONF_HIGH,
    c.UNIT,
    c.N_TRUCKS,
    c.N_SETS,
    c.N_READINGS,
]
BRIEF_RATIOS = [c.EDGE_TYPE, c.REFERENCE, c.PLOW_POSITION, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.N_TRUCKS]

OPTIONAL_SUBJECTS = {
    "sound": ("Noise in the cab", "sound level sample", "sound level samples"),
    "vibration": ("Shaking of the seat", "vibration sample", "vibration samples"),
    "material": ("Use of salt and other material", "material spread", "records of material spread"),
    "operator_ratings": ("What operators think of the edges", "operator's rating", "operators' ratings"),
    "costs": ("Cost beyond the price of the edges", "price or rate", "prices and rates"),
}
"""Optional tables that a council may ask about: subject, what one row is, and what several are."""
STUDIED = ("sound", "vibration", "material", "operator_ratings", "costs")
"""Those of them that have a part of the report when they are there."""

CAUTIONS = (
    "Changing and measuring edges is heavy work near a raised plow. Block and chock the plow and lock out its hydraulics "
    "before anyone reaches under it, and keep hands out of pinch points.",
    "Edges and sections are heavy and sharp: wear gloves and eye protection, and lift with two people or a hoist.",
    "Loud cabs can harm hearing over a long storm shift; hearing protection and its limits are a matter for the town's risk "
    "management and an occupational hygienist.",
    "Local rules and the shop's own licensed practice govern. Nothing in this report certifies that a practice meets them.",
)


def title(trial: Trial, subtitle: str = SUBTITLE) -> blocks.Meta:
    """The head of a document on this trial.

    Only the report itself carries the day of the data: a topic that has nothing new by that day need not be run again.
    """
    settings = trial.settings
    return blocks.meta(
        settings.title,
        agency=settings.agency,
        season=settings.season,
        date=trial.last_data_date if subtitle == SUBTITLE else None,
        subtitle=subtitle,
    )


def check_title(checked: Checked) -> blocks.Meta:
    """The head of the data check, which is also shown for a trial with errors."""
    settings = checked.draft.settings
    agency, season = (settings.agency, settings.season) if settings else ("Unknown agency", "unknown")
    try:
        last = last_data_date(checked.draft.frames)
    except ValueError:  # nothing dated could be read
        last = None
    return blocks.meta("Data check", agency=agency, season=season, date=last)


def basis(lives: LifeStudy) -> str:
    """What the findings rest on."""
    used = int(lives.rates.table[c.N_READINGS].sum())
    if not used:
        return display.words(
            "No height reading can be used yet: it takes two of one station at different, known blade-down miles."
        )
    tried_on = counted(lives.rates.trucks[c.TRUCK_ID].nunique(), "truck")
    return (
        f"This rests on {counted(used, 'height reading')} from {tried_on}{_trucks_each(lives)}; how sure it is, is said by the intervals, in which the "
        "truck counts and not the reading."
    )


def _trucks_each(lives: LifeStudy) -> str:
    """How many trucks carried each edge type at the plow position that is compared; empty where nothing is."""
    if lives.compared.table.empty:
        return ""
    place = lives.compared.table[c.PLOW_POSITION].iloc[0]
    rows = lives.rates.table[lives.rates.table[c.PLOW_POSITION] == place]
    counts = dict(zip(rows[c.EDGE_TYPE].astype(str), rows[c.N_TRUCKS].astype(int), strict=True))
    few = "only " if min(counts.values()) <= FEW_TRUCKS else ""
    if len(set(counts.values())) == 1:
        return f", {few}{next(iter(counts.values()))} with each edge type"
    return f", {few}{listed([f'{n} with {lives.rates.label(kind)}' for kind, n in counts.items()])}"


def wear_findings(compared: comparison.WearComparison) -> list[blocks.Finding]:
    """How many times slower each edge type wears than the reference, with the verdict; none where nothing is compared."""
    rows = compared.table.to_dict("records")
    return [
        blocks.Finding(sentence=sentence, verdict=life_words.verdict_of(row, compared.confidence_level))
        for sentence, row in zip(compared.sentences(), rows, strict=True)
    ]


def trust(doubt: Doubt, cost: WithoutTrucks | None = None) -> list[str]:
    """Whether the findings stand when one thing at a time is changed, and whether another way gives the same rates."""
    said = [cost.sentence()] if cost is not None and cost.sentence() else []
    return [*said, ABOUT_WEAR, *doubt_words.findings(doubt)]


def tried(trial: Trial, rates: wear.WearRates) -> pd.DataFrame:
    """What was tried, as facts: one row each."""
    lives = lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], _shifts(trial))
    names = {edge_type: sentence_case(name) for edge_type, name in study.labels(trial).items()}
    types = trial[study.SETS].set_index(c.SET_ID)[c.EDGE_TYPE].astype(str)
    lives = lives.assign(**{c.EDGE_TYPE: lives[c.SET_ID].map(types).astype(str)})
    rows = [("Data up to", day(trial.last_data_date))]
    for edge_type, name in names.items():
        own = lives[lives[c.EDGE_TYPE] == edge_type]
        if own.empty:
            rows.append((name, "not on any truck"))
            continue
        said = f"{counted(own[c.SET_ID].nunique(), 'set')} on {counted(own[c.TRUCK_ID].nunique(), 'truck')}"
        miles = own[c.MILES_MI]
        run, unit = display.value(miles.sum(), "mi"), display.word("miles")
        known = f", {number(run, 3)} blade-down {unit}" if miles.notna().any() else ""
        part = (
            f" ({unit} of {counted(int(miles.isna().sum()), 'stay')} not known)"
            if miles.isna().any() and known
            else ""
        )
        rows.append((name, f"{said}{known}{part}"))
    rows.append(("Height readings", _readings_counted(len(trial[study.READINGS]), rates)))
    for table, noun in (("storms", "Storms"), ("shifts", "Plowing shifts")):
        if trial.has(table):
            rows.append((noun, f"{len(trial[table]):,}"))
    return pd.DataFrame(rows, columns=[FACT, VALUE])


def _readings_counted(recorded: int, rates: wear.WearRates) -> str:
    """How many heights are on record, and how many of them the wear rates rest on."""
    used = int(rates.table[c.N_READINGS].sum())
    if used == recorded or not used:
        return f"{recorded:,}"
    return f"{recorded:,}, of which {used:,} give the wear; the others are of the running-in, stand alone or were left out"


def not_studied(trial: Trial) -> list[str]:
    """What the trial did not look at, and what was recorded but is not analysed here."""
    said = []
    for table, (subject, one, many) in OPTIONAL_SUBJECTS.items():
        if not trial.has(table):
            said.append(f"{subject} was not studied: no {one} was recorded.")
        elif table not in STUDIED:
            said.append(
                f"{subject} was recorded ({counted(len(trial[table]), one, many)}) but is not looked at here."
            )
    return said


def limits(trial: Trial) -> list[str]:
    """What the trial cannot say, in plain words."""
    winter = "One winter on one town's roads: another winter, other roads or another lot of edges may wear differently."
    return [*assignment_words.limits(trial), *assignment_words.doubts(trial), winter]


def background(trial: Trial) -> list[str]:
    """Why there was a trial, in the words of its plan."""
    plan, labels = trial.settings.plan, study.labels(trial)
    others = [label for name, label in labels.items() if name != trial.settings.reference_edge_type]
    said = [
        f"Today's edge, {study.reference_label(trial)}, was set against {listed(others)} on the town's own trucks and routes in the "
        f"winter of {trial.settings.season}."
    ]
    if plan.decision_rule:
        said.append(f"Agreed before the season: {plan.decision_rule}")
    return said


def caveats(rates: wear.WearRates, compared: comparison.WearComparison) -> list[str]:
    """What the wear analysis itself asks to be kept in mind."""
    return [*rates.notes, *compared.notes]


def small_print(found: Studies) -> list[str]:
    """What all analyses ask to be kept in mind, each said once."""
    said = [
        *caveats(found.rates, found.compared),
        *life_words.caveats(found.lives),
        *found.noise.notes,
        *found.shaking.notes,
        *found.material.notes,
        *cost_words.caveats(found.cost),
        *doubt_words.caveats(found.doubt),
    ]
    return list(dict.fromkeys(said))


def method(rates: wear.WearRates, compared: comparison.WearComparison) -> list[str]:
    """How it was worked out, in a few paragraphs."""
    return [
        "Heights were read from a fixed mark to the cutting tip at several stations across the blade. A line is fitted to the "
        f"heights of each station against the {display.word('miles')} plowed with the blade down, anew after every install, flip, "
        "section swap or new reference mark, so that no line crosses a change.",
        rates.method,
        compared.method,
    ]


def provenance(trial: Trial) -> pd.DataFrame:
    """What was read of the trial so far, each with the start of its hash, and the versions.

    The last cell of a notebook shows it, so it names what the notebook rests on: `reuse` reads it there to tell whether
    the notebook has to be run again.
    """
    return _provenance({name: trial.digest(name) for name in sorted(trial.reads)}, trial)


def full_provenance(trial: Trial) -> pd.DataFrame:
    """Every file of the trial with the start of its hash, and the versions; for a notebook that shows something of all."""
    return _provenance({EVERYTHING: trial.digest(EVERYTHING)}, trial)


def _provenance(digests: Mapping[str, str], trial: Trial) -> pd.DataFrame:
    """One row for each file, table or fact that was read, with the name under which it was read; then the versions."""
    rows = [(_read_words(name, trial), digest, name) for name, digest in digests.items()]
    if EVERYTHING in digests:
        rows += [(name, digest, "") for name, digest in sorted(trial.hashes.items())]
    rows += [
        (name, version, "")
        for name, version in (
            ("trialkit", __version__),
            ("Python", platform.python_version()),
            ("pandas", pd.__version__),
        )
    ]
    return pd.DataFrame(rows, columns=[FACT, c.DIGEST, c.READ])


def _read_words(name: str, trial: Trial) -> str:
    """What was read, as the table of provenance prints it."""
    if name == SETTINGS:
        return FILE_NAME
    if name == EVERYTHING:
        return "All files together"
    if name == LAST_DAY:
        return "Last day with data"
    if name == EARLIER:
        return "Files of earlier winters"
    if name.startswith(PROBLEMS):
        return f"Warnings about {name.partition('/')[2]}" if "/" in name else "Warnings"
    return trial.files[name]


def tables_recorded(trial: Trial) -> pd.DataFrame:
    """Every table of the trial with its rows; a table that is not there says so."""
    rows = [
        (table.name, table.about, f"{len(trial[table.name]):,}" if trial.has(table.name) else "not recorded")
        for table in tables.TABLES.values()
    ]
    return pd.DataFrame(rows, columns=[c.TABLE, FACT, ROWS])


def set_lives(trial: Trial) -> pd.DataFrame:
    """Every stay of a set on a truck position with its miles."""
    lives = lineage.life_miles(trial[study.EVENTS], trial[study.READINGS], _shifts(trial))
    shown = [
        c.TRUCK_ID, c.PLOW_POSITION, c.SET_ID, c.INSTALLED, c.REMOVED, stays.END_EVENT, stays.END_REASON, c.MILES_MI,
        c.MILES_BASIS,
    ]  # fmt: skip
    words = {
        name: lives[name].astype(object).str.replace("_", " ") for name in (stays.END_EVENT, stays.END_REASON)
    }
    return lives.assign(**words)[shown]


def rates_in_brief(rates: wear.WearRates) -> pd.DataFrame:
    """The wear rates without the columns that only a statistician reads."""
    return captions.without_ends_below_zero(rates.table)[BRIEF_RATES]


def ratios_in_brief(compared: comparison.WearComparison) -> pd.DataFrame:
    """The wear ratios without the columns that only a statistician reads."""
    return compared.table[BRIEF_RATIOS]


def exclusions(trial: Trial) -> blocks.Block:
    """What was corrected or left out by decision."""
    carried_out = trial.exclusions[[c.ACTION, c.TABLE, c.ROW_KEY, c.COLUMN, c.OLD, c.NEW, c.REASON]]
    if carried_out.empty:
        return blocks.text(NO_DECISIONS)
    return blocks.table(carried_out, DECISIONS_CAPTION)


def exclusion_effect(trial: Trial) -> blocks.Block:
    """The comparison with and without the readings that were left out."""
    effect = study.exclusion_effect(trial)
    if effect.empty:
        return blocks.text(
            display.words("The comparison rests on every height reading whose miles are known.")
        )
    return blocks.table(
        effect[[c.RULE, *BRIEF_RATIOS]], EFFECT_CAPTION, labels=study.labels(trial),
        headings={c.RULE: "Readings used", c.ESTIMATE: "Times slower"}, confidence_level=trial.confidence_level,
    )  # fmt: skip


def _shifts(trial: Trial) -> pd.DataFrame | None:
    return trial[study.SHIFTS] if trial.has(study.SHIFTS) else None
