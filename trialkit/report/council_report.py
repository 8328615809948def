"""The council report, section by section in the order in which a council reads.

Answers: what stands in each section, whatever the trial has to show?

The body comes first (answer, what was tried, results, what is not known, alternatives and money, care and questions), then the
appendix. A report between the planned looks shows what was recorded, the quality of the data and what broke; its other sections
are empty, and a heading under which nothing stands is left out of the documents.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from trialkit import columns as c
from trialkit.money.without_trucks import WithoutTrucks
from trialkit.planning.looks import PLANNED, LookStatus
from trialkit.report import (
    blocks,
    captions,
    changes_sections,
    cost_sections,
    cost_study,
    cost_words,
    council,
    council_study,
    decision_sections,
    decision_words,
    doubt_words,
    figures,
    glossary,
    life_sections,
    life_words,
    look_sections,
    look_study,
    material_sections,
    material_words,
    noise_sections,
    noise_words,
    saving,
    study,
    verdict_table,
)
from trialkit.report.changes import Changes
from trialkit.report.council_study import Studies
from trialkit.trial.checks import Checked, Trial
from trialkit.verdicts import BETTER, WORSE

APPENDIX_TITLE = "Appendix"
CHANGED_TITLE = "What changed since the last report"
DETAILS_TITLE = "Wear, breaks and uneven wear in full"
COST_TITLE = "Cost in full"
QUESTIONS_TITLE = "Questions that a member may ask"
WEIGHED_TITLE = "Alternatives and fiscal impact in full"
CAB_TITLE = "Noise and shaking in full"
ROAD_TITLE = "Salt, passes and clearing in full"
FIGURES_TITLE = "Cost, life, noise and material in figures"
SHOWN = (BETTER, WORSE)
TRUST_TITLE = "How far the findings can be trusted"
QUALITY_TITLE = "Quality of the data"
VERDICTS_TITLE = "Every verdict"
METHOD_TITLE = "How it was worked out"
EARLY = "The verdicts above are judged by that limit. They are interim: the trial goes on, and nothing is bought before the final look."
HELD_BACK = "The alternatives, their cost and the order for next season are worked out at the final look."
FOR_STAFF = "[for staff to fill in]"
STAFF_FACTS = ("Meeting date", "Agenda item", "Prepared by")
"""Facts at the head of a staff report that no trial knows."""


@dataclass(frozen=True, eq=False)
class CouncilReport:
    """Everything that the report is made from; each method gives the blocks of one section.

    Attributes
    ----------
    checked : Checked
        The check of the trial folder.
    trial : Trial
        The trial.
    found : Studies
        What was worked out.
    look : LookStatus
        Whether this is a planned look, the final one, or in between.
    changed : Changes or None
        What has changed since an earlier report; None if there is none.
    """

    checked: Checked
    trial: Trial
    found: Studies
    look: LookStatus
    changed: Changes | None

    # ------------------------------------------------------------ the body
    def answer(self) -> list[blocks.Block]:
        """The head of the report, the recommended action and the finding in plain words."""
        if self.look.is_interim:
            return look_sections.interim(self.trial, self.found, self.look, self.checked)
        facts = tuple((name, FOR_STAFF) for name in STAFF_FACTS)
        head = council.title(self.trial).model_copy(update={"facts": facts})
        return [
            head,
            blocks.findings(self._action().acts[:1], title=decision_sections.ACTION_TITLE),
            blocks.findings(self.front(), title=council.FINDING_TITLE),
        ]

    def front(self) -> list[blocks.Finding]:
        """The answer in plain words: what was to decide first, and at the end what it all rests on."""
        found = self.found
        cost = sorted(cost_words.front(found.cost), key=lambda item: item.verdict not in SHOWN)
        life = [*life_words.findings(found.lives), *life_words.margin_findings(found.lives)]
        measure = self.trial.settings.plan.primary_measure
        wear = council.wear_findings(found.compared) if measure == "wear" else []
        first = [*cost, *life] if measure == "cost" else [*wear, *life, *cost]
        judged = [*first, *noise_words.front_brief(found.noise), *material_words.front(found.material)]
        basis = blocks.Finding(sentence=council.basis(found.lives))
        if self.look.kind != PLANNED:
            return [*judged, basis]
        interim = [
            item.model_copy(update={"sentence": verdict_table.marked(item.sentence)}) for item in judged
        ]
        return [*interim, basis, blocks.Finding(sentence=f"{self.look.sentence()} {EARLY}")]

    def answer_figure(self) -> list[blocks.Block]:
        """The figure of the first page."""
        return self._final(life_sections.ratios_figure(self.found.lives))

    def tried(self) -> list[blocks.Block]:
        """Why there was a trial, and what was tried."""
        facts = council.tried(self.trial, self.found.rates)
        return self._final(
            blocks.text(*council.background(self.trial)),
            blocks.table(facts, council.TRIED_CAPTION, headings=council.FACT_HEADINGS),
        )

    def wear_and_life(self) -> list[blocks.Block]:
        """How long the edges last, what breaks, and what is thrown away."""
        lives = self.found.lives
        said = [
            *life_words.depth_matters(lives),
            *life_words.broke_in_brief(lives),
            *life_words.thrown_in_brief(lives),
        ]
        return self._final(life_sections.lives_table(lives), *([blocks.text(*said)] if said else []))

    def cab_and_road(self) -> list[blocks.Block]:
        """Noise and shaking in the cab; salt, passes and what is left on the road."""
        noise, material = self.found.noise, self.found.material
        salt = [] if material.is_empty else [material_sections.council_table(material)]
        items = material_words.council_findings(material)
        told = [item.sentence for item in items if material.is_empty or item.verdict in SHOWN]
        said = [*noise_words.council_brief(noise, self.found.shaking), *told]
        return self._final(*([blocks.text(*said)] if said else []), *salt)

    def cost(self) -> list[blocks.Block]:
        """What a mile costs, and where each type just pays."""
        found = self.found.cost
        said = cost_words.break_even(found)
        return self._final(cost_sections.costs_table(found), *([blocks.text(*said)] if said else []))

    def unknown(self) -> list[blocks.Block]:
        """What was not studied, and what is not shown or not known."""
        not_studied = council.not_studied(self.trial)
        known = [*life_words.limits(self.found.lives), *council.limits(self.trial)]
        return self._final(
            *([blocks.notes(not_studied, title=council.NOT_STUDIED_TITLE)] if not_studied else []),
            blocks.notes(known, title=council.LIMITS_TITLE),
        )

    def choices(self) -> list[blocks.Block]:
        """The alternatives, what each costs, and what else goes with the recommended action."""
        if look_study.decides_nothing(self.look):
            return self._final(blocks.text(HELD_BACK))
        found, more = self.found.cost, self._action().acts[1:]
        return self._final(
            *([blocks.text(*more)] if more else []),
            decision_sections.alternatives_table(found, brief=True),
            decision_sections.fiscal_table(found, brief=True),
        )

    def care(self) -> list[blocks.Block]:
        """What to mind at the truck and in the cab."""
        return self._final(blocks.notes(council.CAUTIONS, title=council.CAUTIONS_TITLE))

    # ------------------------------------------------------------ the appendix
    def appendix(self) -> list[blocks.Block]:
        """Questions and answers, what changed, and the results in full."""
        if self.look.is_interim:
            return []
        found = self.found
        salt = material_words.front(found.material)
        return [
            blocks.heading(APPENDIX_TITLE, new_page=True),
            *([] if look_study.decides_nothing(self.look) else self._for_the_decision(salt)),
            *self._section(CHANGED_TITLE, changes_sections.what_changed(self.changed), *self._changes()),
            *self._section(VERDICTS_TITLE, decision_sections.verdicts_table(found.cost, self.verdicts())),
            *self._section(DETAILS_TITLE, *self._wear_details()),
            *self._section(
                CAB_TITLE, noise_sections.council(found.noise, found.shaking), *self._cab_details()
            ),
            *self._section(ROAD_TITLE, material_sections.council(found.material), *self._road_details()),
            *self._section(COST_TITLE, *self._cost_details()),
        ]

    def figures(self) -> list[blocks.Block]:
        """Cost, lives, wear rates, noise and material in figures."""
        rates = self.found.rates
        return self._final(
            *self._section(FIGURES_TITLE, cost_sections.costs_figure(self.found.cost)),
            life_sections.lives_figure(self.found.lives),
            blocks.figure(figures.wear_rates(rates), **captions.wear_rates(rates)),
            noise_sections.council_figure(self.found.noise),
            material_sections.council_figure(self.found.material),
        )

    def trust(self) -> list[blocks.Block]:
        """How far the findings can be trusted, the quality of the data, the method, and the words."""
        if self.look.is_interim:
            return []
        return [
            *self._section(
                TRUST_TITLE,
                blocks.text(
                    *look_study.sentences(self.look), *council.trust(self.found.doubt, self._without_trucks)
                ),
                *self._winters(),
            ),
            *self._section(QUALITY_TITLE, *self._quality()),
            *self._section(METHOD_TITLE, *self._method()),
            *self._section(glossary.TITLE, self._glossary()),
        ]

    def provenance(self) -> blocks.Block:
        """What the report was made from."""
        frame = council.full_provenance(self.trial)
        return blocks.table(frame, council.PROVENANCE_CAPTION, headings=council.FACT_HEADINGS)

    # ------------------------------------------------------------ tables that leave the tool
    def verdicts(self) -> pd.DataFrame:
        """Every verdict; see `verdict_table.verdicts`."""
        found = self.found
        return verdict_table.verdicts(
            found.cost, found.lives, found.noise, found.shaking, material_words.verdicts(found.material),
            interim=look_study.decides_nothing(self.look),
        )  # fmt: skip

    def save(self, out_dir: str) -> str:
        """Write `changes.csv`, if there is an earlier report to compare with."""
        if self.changed is None:
            return "There is no earlier report to compare with."
        return saving.save_tables(out_dir, changes=self.changed.frame())

    # ------------------------------------------------------------ parts
    def _action(self) -> decision_words.Action:
        deciding = self._deciding()
        return decision_words.recommended_action(
            self.found.cost,
            {kind: one.verdict for kind, one in deciding.items() if one.verdict},
            {kind: one.sentence for kind, one in deciding.items()},
        )

    def _cab_details(self) -> list[blocks.Block]:
        noise, shaking = self.found.noise, self.found.shaking
        if not noise.is_recorded and not shaking.is_recorded:
            return []
        return [noise_sections.council_table(noise), noise_sections.council_notes(noise, shaking)]

    def _road_details(self) -> list[blocks.Block]:
        found = self.found.material
        return (
            []
            if found.is_empty
            else [material_sections.season_table(found), material_sections.council_notes(found)]
        )

    def _final(self, *shown: blocks.Block) -> list[blocks.Block]:
        """Blocks that an interim report withholds."""
        return [] if self.look.is_interim else list(shown)

    def _deciding(self) -> dict[str, blocks.Finding]:
        """What was found by the measure that was agreed to decide, by edge type, at the plow position that the costs are of."""
        found = self.found
        by_wear = self.trial.settings.plan.primary_measure == "wear"
        rows = (found.compared if by_wear else found.lives.compared).table.to_dict("records")
        told = council.wear_findings(found.compared) if by_wear else life_words.findings(found.lives)
        place = found.cost.inputs.plow_position if found.cost.inputs is not None else ""
        pairs = [(row, one) for row, one in zip(rows, told, strict=False)]
        here = [(row, one) for row, one in pairs if row[c.PLOW_POSITION] == place] or pairs
        return {str(row[c.EDGE_TYPE]): one for row, one in here}

    def _section(self, title: str, *shown: blocks.Block) -> list[blocks.Block]:
        return [blocks.heading(title, level=3), *shown]

    def _changes(self) -> list[blocks.Block]:
        if self.changed is None:
            return []
        return [
            changes_sections.estimates_table(self.changed),
            changes_sections.forecast_table(self.changed),
            changes_sections.rows_table(self.changed),
        ]

    def _wear_details(self) -> list[blocks.Block]:
        rates, lives = self.found.rates, self.found.lives
        return [
            blocks.table(
                council.rates_in_brief(rates), council.RATES_CAPTION, headings={c.ESTIMATE: "Wear rate"},
                labels=rates.labels, confidence_level=rates.confidence_level,
            ),
            life_sections.ratios_table(lives),
            blocks.text(*life_words.how_long(lives)),
            blocks.text(*life_words.what_broke(lives), *life_words.evenness(lives), *life_words.thrown_away(lives)),
        ]  # fmt: skip

    def _for_the_decision(self, salt: list[blocks.Finding]) -> list[blocks.Block]:
        """Questions and answers, and the alternatives weighed: for a meeting that has something to decide."""
        found = self.found
        return [
            *self._section(
                QUESTIONS_TITLE,
                decision_sections.questions(found.cost, found.noise, salt, self._without_trucks),
            ),
            *self._section(
                WEIGHED_TITLE,
                decision_sections.weighed_table(found.cost),
                decision_sections.fiscal_table(found.cost),
            ),
        ]

    def _cost_details(self) -> list[blocks.Block]:
        found = self.found.cost
        worked_out = [
            cost_sections.lines_table(found), cost_sections.several_years(found), cost_sections.turning(found)
        ]  # fmt: skip
        if look_study.decides_nothing(self.look):
            return worked_out
        return [
            *worked_out,
            cost_sections.order_table(found),
            cost_sections.trucks_table(found),
            cost_sections.bids_table(found),
            cost_sections.specification_table(found),
        ]

    @cached_property
    def _without_trucks(self) -> WithoutTrucks | None:
        return cost_study.without_trucks(self.found.cost, self.found.lives)

    def _winters(self) -> list[blocks.Block]:
        return [] if self.found.doubt.winters is None else doubt_words.winters(self.found.doubt)

    def _quality(self) -> list[blocks.Block]:
        return [
            blocks.problems(self.checked.problems), council.exclusions(self.trial), council.exclusion_effect(self.trial)
        ]  # fmt: skip

    def _method(self) -> list[blocks.Block]:
        found = self.found
        return [
            blocks.text(
                *council.method(found.rates, found.compared),
                *life_words.method(found.lives),
                *cost_words.method(found.cost),
            ),
            material_sections.method(found.material),
            blocks.notes(council.small_print(found), title=council.CAVEATS_TITLE),
        ]

    def _glossary(self) -> blocks.Block:
        return glossary.table(self.trial.confidence_level, study.reference_label(self.trial))


def make_report(checked: Checked, since_run: str = "", earlier_looks: str = "") -> CouncilReport:
    """Work everything out for the council report of a trial.

    Parameters
    ----------
    checked : Checked
        The check of the trial folder.
    since_run : str
        Folder of an earlier run to compare with; may be empty.
    earlier_looks : str
        Days up to which the data of earlier reports go, with commas between; may be empty.

    Raises
    ------
    TrialDataError
        If the trial has errors.
    UsageError
        If the folder is not that of a finished run, or a day cannot be read.
    """
    look = look_study.status(checked.require_clean(), earlier_looks)
    trial = checked.require_clean(look.confidence_level)
    found = council_study.studies(trial, interim=look_study.decides_nothing(look))
    return CouncilReport(checked, trial, found, look, council_study.changes_since(since_run, trial, found))
