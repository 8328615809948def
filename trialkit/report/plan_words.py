"""What the plan of a trial says, in sentences and short tables.

Answers: what was agreed before the season, what can the trial show, who measures what and when, and what is still open?

Everything is said from the settings and the results of the planning; a rule that nobody wrote down is said to be missing,
except that a plain rule stands in for when a set comes off and when a reading is left out.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.formatting import (
    counted,
    day,
    fixed,
    level_percent,
    listed,
    money,
    named,
    number,
    percent,
    position_name,
    sentence_case,
)
from trialkit.planning import sizing
from trialkit.planning.assignment import RANDOM
from trialkit.planning.forced import TOO_FEW
from trialkit.planning.looks import p_words
from trialkit.planning.savings import saving_words
from trialkit.report import assignment_words, study
from trialkit.report.plan_study import TrialPlan

WHAT, AGREED, SHEET, WHEN, WHO, NAME, SIGNED = "what", "agreed", "sheet", "when_done", "who", "name", "signed"
RULE_HEADINGS = {WHAT: "What", AGREED: "Agreed before the season"}
TASK_HEADINGS = {WHAT: "What", SHEET: "Written on", WHEN: "When", WHO: "Who"}
SIGN_HEADINGS = {WHO: "For", NAME: "Name", SIGNED: "Signature", c.DATE: "Date"}
ASSUMED_HEADINGS = {WHAT: "Assumed", AGREED: "Value", c.SOURCE: "Where it comes from"}
LOOK_HEADINGS = {
    c.LOOK: "Look", c.DATE: "Day", c.INFORMATION: "Share of the season", c.NOMINAL_P: "Shown with a p value below",
}  # fmt: skip
SIZE_HEADINGS = {
    c.EDGE_TYPE: "Edge type", c.N_TRUCKS: "Trucks per type", c.TRUCKS_TOTAL: "Trucks in all",
    c.DETECTABLE_RATIO: "Wears this many times slower, or more", c.DETECTABLE_LIFE_RATIO: "Lasts this many times as long, or more",
    c.DETECTABLE_SAVING_PCT: "Saves this much of the price of edges, or more",
}  # fmt: skip
MEASURES = {
    "wear": "how fast an edge wears, in depth per 1,000 {miles}",
    "life": "how many {miles} a set lasts until it must come off",
    "cost": "what a {mile} with the blade down costs, all costs of edges and changes counted",
}
DESIGNS = {
    sizing.PARALLEL: "each truck carries one edge type all season",
    sizing.ROTATED: "each truck carries every edge type for a part of the season, in an order that is balanced",
}
REPLACEMENT_RULE = (
    "A set comes off when any station has no usable depth left, when it is broken or loose, or when the shop takes it off for "
    "any other reason. The shop decides without regard to the edge type, and writes down the reason."
)
EXCLUSION_RULE = (
    "A reading is left out only by a line of decisions with its reason, written before the comparison is looked at. The report "
    "lists every such line and shows the result with and without it."
)
SIGNERS = ("Streets", "Fleet shop", "Finance or council", "Who analyses")
"""For whom the plan is signed."""
ALL = "all"
LINE = "____________"
"""Stands where something is filled in by hand."""
NOT_WRITTEN = "not written down yet"
NOT_COUNTED_ON = "none for sure"
_NONE_SET = "none was set, so that any difference that is shown counts"


# ---------------------------------------------------------------- what is asked
def question(plan: TrialPlan) -> str:
    """The question of the trial."""
    others = listed([plan.labels[name] for name in plan.others], "or")
    several = len(plan.others) > 1
    asked = {
        "wear": "wear more slowly than",
        "life": "outlast",
        "cost": f"pay for {'themselves' if several else 'itself'} against",
    }[plan.agreed.primary_measure]
    return f"{'Do' if several else 'Does'} {others} {asked} {plan.labels[plan.reference]} on our own trucks?"


def in_brief(plan: TrialPlan) -> list[str]:
    """What is to be read first."""
    said = [question(plan), f"What decides is {_measure(plan)}."]
    said += can_show_in_brief(plan)
    said += list(plan.assigned.sentences)
    return [*begun(plan), *said]


def begun(plan: TrialPlan) -> list[str]:
    """That the trial has begun already, if it has: a plan drawn up afterwards binds nobody."""
    if plan.begun_on is None:
        return []
    return [
        f"The first set went on a truck on {day(plan.begun_on)}. A plan that is drawn up later repeats what the settings say; it is "
        "no proof that it was agreed beforehand."
    ]


def rules(plan: TrialPlan) -> pd.DataFrame:
    """What was agreed, one row each."""
    settings, agreed = plan.trial.settings, plan.agreed
    saving = percent(
        agreed.smallest_worthwhile_saving_pct, 1 if agreed.smallest_worthwhile_saving_pct % 1 else 0
    )
    rows = [
        ("Question", question(plan)),
        ("What decides", sentence_case(_measure(plan))),
        ("Compared with", named(plan.reference, plan.labels)),
        ("Tried", sentence_case(listed([plan.labels[name] for name in plan.others]))),
        ("Design", sentence_case(DESIGNS[agreed.design])),
        ("Smallest saving that is worth a change", saving if agreed.smallest_worthwhile_saving_pct else sentence_case(_NONE_SET)),
        ("Decision rule", agreed.decision_rule or sentence_case(NOT_WRITTEN)),
        ("How sure", f"{level_percent(settings.confidence_level)} intervals with the truck as the unit; the comparisons with the "
         "reference share the error that is allowed"),
        ("When a set comes off", agreed.replacement_rule or REPLACEMENT_RULE),
        ("When a reading is left out", agreed.exclusion_rule or EXCLUSION_RULE),
        ("Running-in", _run_in(plan)),
        ("Looks at the results", looks_words(plan)),
    ]  # fmt: skip
    if agreed.no_worse_than_ratio is not None:
        most = number(agreed.no_worse_than_ratio, 3)
        margin = f"up to {most} times as many sets per {display.word('mile')} as the reference"
        rows.insert(6, ("Still no worse", sentence_case(margin)))
    return pd.DataFrame(rows, columns=[WHAT, AGREED])


def looks_in_brief(plan: TrialPlan) -> pd.DataFrame:
    """Each planned look, and what a difference must reach at it."""
    if plan.looks is None:
        return pd.DataFrame(columns=[c.LOOK, c.DATE, c.INFORMATION, c.NOMINAL_P])
    table = plan.looks.table
    return pd.DataFrame(
        {
            c.LOOK: [f"{n}, final" if n == plan.looks.n_looks else str(n) for n in table[c.LOOK]],
            c.DATE: [day(when) for when in table[c.DATE]],
            c.INFORMATION: [percent(100 * share) for share in table[c.INFORMATION]],
            c.NOMINAL_P: [p_words(p) for p in table[c.NOMINAL_P]],
        }
    )


def looks_words(plan: TrialPlan) -> str:
    """When the results are looked at."""
    if not plan.agreed.looks:
        return "Once, after the season"
    words = [
        day(look) if isinstance(look, dt.date) else f"after {percent(100 * look)} of the season"
        for look in plan.agreed.looks
    ]
    return sentence_case(listed(words))


def _measure(plan: TrialPlan) -> str:
    return MEASURES[plan.agreed.primary_measure].format(
        miles=display.word("miles"), mile=display.word("mile")
    )


def _run_in(plan: TrialPlan) -> str:
    miles = plan.agreed.run_in_mi
    if not miles:
        return "None: every reading counts from the install on"
    shown = f"{number(display.value(miles, 'mi'), 2)} {display.word('miles')}"
    return f"The first {shown} after an install are left out"


# ---------------------------------------------------------------- how large
def can_show(plan: TrialPlan) -> list[str]:
    """What the trial can show, one sentence for each size that differs, and one for each saving."""
    if not plan.n_trucks:
        place = position_name(f", {plan.position}").removeprefix(", ").replace("_", " ")
        return [f"Some edge type is on no {place} plow, so the comparison cannot be made on that position."]
    savings = [found.sentence_for(plan.n_trucks) for found in plan.savings.values()]
    return [*_differences(plan), *savings, *_prices_missing(plan)]


def can_show_in_brief(plan: TrialPlan) -> list[str]:
    """The same with one sentence for all savings: the largest that may be needed, beside the smallest that is worth a change."""
    if not plan.n_trucks or not plan.savings:
        return can_show(plan)
    hardest = max(plan.savings.values(), key=lambda found: _or_all(found.saving_pct(plan.n_trucks)))
    return [*_differences(plan), hardest.brief_for(plan.n_trucks), *_prices_missing(plan)]


def _or_all(saving_pct: float) -> float:
    return saving_pct if math.isfinite(saving_pct) else math.inf


def _differences(plan: TrialPlan) -> list[str]:
    """What the trial can show of wear or lives."""
    said: dict[str, list[str]] = {}
    for name, found in plan.sizes.items():
        sentence = found.sentence_for(plan.n_trucks, plan.agreed.design, life=plan.is_about_life)
        said.setdefault(sentence, []).append(plan.labels[name])
    if len(said) <= 1:
        return list(said)
    return [f"{sentence_case(listed(names))}: {_lower_first(sentence)}" for sentence, names in said.items()]


def _prices_missing(plan: TrialPlan) -> list[str]:
    """That it is not known what can be shown of a saving, where cost decides and a price is not known."""
    missing = [name for name in plan.others if name not in plan.prices]
    if plan.reference not in plan.prices:
        missing = [plan.reference]
    if plan.agreed.primary_measure != "cost" or not missing:
        return []
    said = f"What a set of {listed([plan.labels[name] for name in missing], 'or')} costs is not recorded, so it is not known which saving"
    of_it = "" if missing == [plan.reference] else f" of {'it' if len(missing) == 1 else 'them'}"
    return [f"{said} in cost this trial can show{of_it}."]


def sizes_in_brief(plan: TrialPlan) -> pd.DataFrame:
    """What trials of several sizes can show; edge types of which the same is shown stand in one row, or unnamed if all do."""
    kept = [c.N_TRUCKS, c.TRUCKS_TOTAL, c.DETECTABLE_RATIO, c.DETECTABLE_LIFE_RATIO]
    rows: dict[tuple[object, ...], list[str]] = {}
    for name, found in plan.sizes.items():
        for n, total, wear, life in found.table[kept].itertuples(index=False):
            shown = (int(n), int(total), _ratio(wear), _ratio(life), _saving(plan, name, int(n)))
            rows.setdefault(shown, []).append(plan.labels[name])
    all_types = len(plan.sizes)
    frame = pd.DataFrame(
        [
            (*shown, ALL if len(names) == all_types > 1 else sentence_case(listed(names)))
            for shown, names in rows.items()
        ],
        columns=[*kept, c.DETECTABLE_SAVING_PCT, c.EDGE_TYPE],
    ).sort_values([c.N_TRUCKS, c.EDGE_TYPE], kind="stable", ignore_index=True)
    alike = all_types == 1 or frame[c.EDGE_TYPE].eq(ALL).all()
    shown_columns = [*kept, c.DETECTABLE_SAVING_PCT] if plan.savings else kept
    return frame[shown_columns if alike else [c.EDGE_TYPE, *shown_columns]]


def assumptions(plan: TrialPlan) -> pd.DataFrame:
    """What the size rests on, with where it comes from."""
    agreed, schedule = plan.agreed, plan.schedule
    gauge = "the gauge study" if schedule.studied else "assumed until there is a gauge study"
    planned = "fleet_plan, a middling winter" if plan.trial.has("fleet_plan") else "trial.toml"
    miles = schedule.miles_mi
    mean = sum(miles) / len(miles)
    rows = [
        ("Reference lasts", f"{_miles(agreed.reference_life_mi)} with the blade down", "trial.toml"),
        ("Reference wears", sizing.rate_words(next(iter(plan.sizes.values())).plan.reference_rate) if plan.sizes else "–",
         "its usable depth over that life"),
        ("Spread of wear from truck to truck", percent(agreed.truck_spread_pct), "trial.toml; not known before the season"),
        ("A truck's season", f"{_miles(mean)} with the blade down" + (f" ({_miles(min(miles))} to {_miles(max(miles))})"
         if len(set(miles)) > 1 else ""), planned),
        ("An edge is read", f"every {_miles(agreed.reading_every_mi)} at {counted(agreed.stations, 'station')}, "
         f"{_times(agreed.repeats)} each", "trial.toml"),
        ("A reading is off by", f"{_length(math.sqrt(schedule.reading_variance))} (standard deviation, rounding to "
         f"{sizing.step_words(schedule.step_in)} included)", gauge),
        *_prices(plan),
        ("Share of such trials that show it", percent(agreed.power_pct), "trial.toml"),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=[WHAT, AGREED, c.SOURCE])


def _prices(plan: TrialPlan) -> list[tuple[str, str, str]]:
    """What a set of each type costs, where cost decides and a price is known."""
    if plan.agreed.primary_measure != "cost" or not plan.prices:
        return []
    currency = plan.trial.settings.currency
    known = {name: plan.prices[name] for name in (plan.reference, *plan.others) if name in plan.prices}
    said = [f"{plan.labels[name]} {money(price, currency)}" for name, (price, _) in known.items()]
    return [
        ("A set costs", listed(said), listed(list(dict.fromkeys(source for _, source in known.values()))))
    ]


def reading_error(plan: TrialPlan) -> list[str]:
    """How far off a reading is, and after how many miles it says something."""
    if plan.gauge is None:
        return [plan.gauge_missing, *plan.miles.sentences()]
    own = plan.gauge.wear[plan.gauge.wear[c.EDGE_TYPE] == plan.reference]
    wear = replace(plan.gauge, wear=own).wear_sentences()
    return [*plan.gauge.sentences(), *(wear or plan.miles.sentences())]


# ---------------------------------------------------------------- who carries what
def assignment_in_brief(plan: TrialPlan) -> pd.DataFrame:
    """Who carries what, as it is printed."""
    table = plan.assigned.table
    names = [c.TRUCK_ID, c.PLOW_POSITION, c.BLOCK, c.PERIOD, c.EDGE_TYPE, c.HOW, c.REASON]
    if set(table[c.PERIOD]) <= {1}:
        names.remove(c.PERIOD)
    frame = table[names].astype(object)
    return frame.where(frame.notna(), "")


def forced(plan: TrialPlan) -> list[str]:
    """What was not left to chance, with the reason."""
    table = plan.assigned.table
    rows = table[table[c.HOW] != RANDOM].drop_duplicates([c.TRUCK_ID, c.PLOW_POSITION])
    return [
        f"{row[c.TRUCK_ID]}, {position_name(str(row[c.PLOW_POSITION])).replace('_', ' ')}: {plan.labels.get(str(row[c.EDGE_TYPE]), row[c.EDGE_TYPE])}. "
        f"Reason: {str(row[c.REASON]).strip() or 'none was written down'}."
        for row in rows.to_dict("records")
    ]


def balance_in_brief(plan: TrialPlan) -> pd.DataFrame:
    """What is known of the plows, a column for each edge type; of the position for which the trial is sized."""
    balance = plan.assigned.balance
    here = balance[balance[c.PLOW_POSITION] == plan.position]
    rows = []
    for (covariate, level), own in here.groupby([c.COVARIATE, c.LEVEL], sort=False):
        unit = str(own[c.UNIT].iloc[0])
        part = f": {level}".replace("_", " ") if level else ""
        head = f"{sentence_case(str(covariate))}{part} [{display.unit(unit)}]"
        values = dict(zip(own[c.EDGE_TYPE].astype(str), own[c.ESTIMATE], strict=True))
        rows.append(
            {
                WHAT: head,
                **{name: _shown(values.get(name, math.nan), unit) for name in (plan.reference, *plan.others)},
            }
        )
    return pd.DataFrame(rows, columns=[WHAT, plan.reference, *plan.others])


def balance_headings(plan: TrialPlan) -> dict[str, str]:
    """Headings of the table of balance."""
    return {
        WHAT: "Mean, or share of plows",
        **{name: named(name, plan.labels) for name in (plan.reference, *plan.others)},
    }


# ---------------------------------------------------------------- who measures what, and when
def tasks(plan: TrialPlan) -> pd.DataFrame:
    """Who measures what, and when; the names are filled in by hand."""
    every = _miles(plan.agreed.reading_every_mi)
    repeats = _times(plan.agreed.repeats)
    stations = counted(plan.agreed.stations, "station")
    rows = [
        ("Gauge study: every reader reads the same worn pieces three times, out of order", "workbook, gauge_readings", "before the first install"),
        ("Install: set number, lot, counter, settings of the plow", "edge change form", "at every install"),
        (f"First reading of a set: {stations}, {repeats} each", "reading sheet", "just after the install, before plowing"),
        (f"Wear reading: {stations}, {repeats} each, with the counter", "reading sheet", f"about every {every}, and just before an edge comes off"),
        ("Flip, section swap, new reference mark, break, loss, removal", "edge change form", "when it happens"),
        (f"{sentence_case(display.word('miles'))}, hours, passes, material", "storm shift form", "every shift of every truck in the trial"),
        ("Sound level with the blade down; instrument, exchange rate, window and radio written down", "storm shift form", "on several storms, as often with each edge type"),
        ("Operator's ratings", "operator rating form", "after as many shifts with each edge type"),
        ("Rows typed in and checked: trialkit intake, trialkit check", "trial folder", "every week of the season"),
        ("Results looked at", "report", looks_words(plan).lower() if not plan.agreed.looks else looks_words(plan)),
    ]  # fmt: skip
    return pd.DataFrame([(*row, LINE) for row in rows], columns=[WHAT, SHEET, WHEN, WHO])


def to_sign() -> pd.DataFrame:
    """Lines for names and signatures."""
    return pd.DataFrame([(who, LINE, LINE, LINE) for who in SIGNERS], columns=[WHO, NAME, SIGNED, c.DATE])


# ---------------------------------------------------------------- what is open, and what it does not show
def still_open(plan: TrialPlan) -> list[str]:
    """What a good plan would have and this one has not."""
    trial, agreed = plan.trial, plan.agreed
    asked = [
        (not agreed.decision_rule, "Write down the decision rule (decision_rule in trial.toml)."),
        (
            not agreed.smallest_worthwhile_saving_pct and agreed.primary_measure == "cost",
            "Agree on the smallest saving that is worth a change (smallest_worthwhile_saving_pct).",
        ),
        (not agreed.looks, "Agree on the days on which the results are looked at (looks)."),
        (
            bool(agreed.looks) and plan.looks is None,
            "Say when the season begins (season_start in trial.toml), so that the looks get their limits.",
        ),
        (not trial.has("fleet_plan"), f"List the expected {display.word('miles')} of each truck in fleet_plan; one figure stands in for all of them."),
        (not plan.schedule.studied, "Make a gauge study (gauge_readings); the reading error is assumed so far."),
        (bool(plan.assigned.without), f"These plows have no edge type yet: {listed(plan.assigned.without)}."),
        (
            plan.assigned.kept and not plan.assigned.repeatable,
            f"Seed {plan.assigned.seed} does not give the assignment again, so nobody can repeat the draw from it. Keep a record of how "
            "it was drawn.",
        ),
        (
            agreed.primary_measure == "cost" and any(name not in plan.prices for name in (plan.reference, *plan.others)),
            "Record what a set of each edge type costs (unit_price_usd in edge_sets, or bids): what decides is cost, and how much of it the "
            "trial can show depends on the prices.",
        ),
        (0 < plan.n_trucks < 2, "One truck of an edge type shows no interval: it cannot tell how much trucks differ."),
    ]  # fmt: skip
    asked += [(True, words) for words in _too_few(plan)]
    carried = assignment_words.departed(trial) if trial.has(study.EVENTS) else []
    return [*(words for is_open, words in asked if is_open), *carried]


def _too_few(plan: TrialPlan) -> list[str]:
    """Positions with too few plows for a comparison, which stay on the reference."""
    table = plan.assigned.table
    left = table[table[c.REASON] == TOO_FEW]
    n_types = len(plan.others) + 1
    said = []
    for place, rows in left.groupby(c.PLOW_POSITION, sort=True):
        n = rows[c.TRUCK_ID].nunique()
        name = position_name(f", {place}").removeprefix(", ").replace("_", " ")
        stay = "it stays" if n == 1 else "they stay"
        said.append(
            f"Nothing is compared on {name} plows: there {'is' if n == 1 else 'are'} {n}, and {n_types} edge types, so {stay} on "
            f"{plan.labels[plan.reference]}. A comparison takes two plows of that position for each edge type, or fewer edge types."
        )
    return said


def limits(plan: TrialPlan) -> list[str]:
    """What the plan does not say."""
    sized = [*plan.sizes.values(), *plan.savings.values()]
    notes = list(dict.fromkeys(note for found in sized for note in found.notes))
    said = [
        "What a trial can show is worked out from assumptions. A winter with fewer storms, or trucks that differ more, shows less.",
        "Not shown after the season does not mean that edge types are alike.",
    ]
    if plan.agreed.primary_measure == "cost":
        said.append(
            "The trial is sized by lives. A difference in cost is harder to show than one in life, because prices and changes add "
            "to it."
        )
    return [
        *said,
        *notes,
        *plan.assigned.notes,
        *(plan.looks.notes if plan.looks else ()),
        *plan.miles.notes,
        *(plan.gauge.notes if plan.gauge else ()),
    ]


def method(plan: TrialPlan) -> list[str]:
    """How the size was worked out."""
    said = dict.fromkeys(found.method for found in (*plan.sizes.values(), *plan.savings.values()))
    more = [found.method for found in (plan.looks, plan.gauge) if found is not None]
    return [*said, *more, plan.miles.method]


# ---------------------------------------------------------------- numbers
def _ratio(value: float) -> str:
    return f"{sizing.rounded_up(value)} times" if math.isfinite(value) else NOT_COUNTED_ON


def _saving(plan: TrialPlan, name: str, n: int) -> str:
    found = plan.savings.get(name)
    if found is None:
        return "not known"
    saving = found.saving_pct(n)
    return saving_words(saving) if math.isfinite(saving) else NOT_COUNTED_ON


def _miles(miles_mi: float) -> str:
    return sizing.miles_words(miles_mi)


def _length(length_in: float) -> str:
    return f"{number(display.value(length_in, 'in'), 2)} {display.unit('in')}"


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _shown(value: float, unit: str) -> str:
    if not math.isfinite(value):
        return "–"
    shown = display.value(value, unit)
    return fixed(shown, 0 if unit in ("%", "mi") else 1)


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
