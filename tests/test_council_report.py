"""The council report: what stands in each section, for a whole trial, a poor one and an interim one."""

from pathlib import Path

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.formatting import level_percent
from trialkit.report import blocks, council, council_report
from trialkit.trial.checks import check_trial
from trialkit.verdicts import INTERIM

DEMO = Path(__file__).parents[1] / "data_demo"
SECTIONS = (
    "answer", "tried", "wear_and_life", "cab_and_road", "cost", "unknown", "choices", "care", "appendix", "figures", "trust",
)  # fmt: skip


def made(folder, **options):
    return council_report.make_report(check_trial(folder), **options)


def text_of(shown):
    return "\n".join(block.plain() for block in shown)


@pytest.fixture(scope="module")
def demo():
    return made(DEMO)


@pytest.fixture(scope="module")
def poor(tmp_path_factory):
    return made(write_trial(tmp_path_factory.mktemp("poor")))


def test_the_answer_has_the_action_first_then_what_decides(demo):
    head, action, finding = demo.answer()
    assert [name for name, _ in head.facts] == ["Meeting date", "Agenda item", "Prepared by"]
    assert action.title == "Recommended action"
    assert "[amount to be confirmed by staff]" in action.plain()
    assert finding.items[0].verdict == "better"
    assert "costs" in finding.items[0].sentence
    assert finding.items[-1].sentence == council.basis(demo.found.lives)


def test_life_comes_first_where_life_decides(poor):
    *_, finding = poor.answer()
    assert "times as long as Plain steel" in finding.items[0].sentence


@pytest.mark.parametrize("section", SECTIONS)
def test_every_section_says_something_whatever_was_recorded(demo, poor, section):
    for report in (demo, poor):
        shown = getattr(report, section)()
        assert shown
        assert "nan" not in text_of(shown).lower().split()


def test_a_trial_with_only_the_required_tables_says_what_was_not_studied(poor):
    said = text_of(poor.unknown())
    for subject in (
        "Noise in the cab",
        "Use of salt and other material",
        "Cost beyond the price of the edges",
    ):
        assert f"{subject} was not studied: no " in said
    assert "How edge types were given to trucks is not recorded" in said


def test_the_demo_leaves_nothing_out(demo):
    assert "not studied" not in text_of(demo.unknown()).lower()
    assert "is not looked at here" not in text_of(demo.unknown())


def test_the_appendix_begins_a_page_and_holds_the_glossary(demo):
    first, *rest = demo.appendix()
    assert isinstance(first, blocks.Heading)
    assert first.new_page
    titles = [
        block.plain()
        for block in [*rest, *demo.figures(), *demo.trust()]
        if isinstance(block, blocks.Heading)
    ]
    assert titles[0] == council_report.QUESTIONS_TITLE
    assert titles[-1] == "Words used in this report"
    assert len(set(titles)) == len(titles) == 13
    assert {block.level for block in rest if isinstance(block, blocks.Heading)} == {3}


def test_every_verdict_uses_the_same_words(demo):
    verdicts = demo.verdicts()
    assert list(verdicts.columns[:5]) == ["question", "edge_type", "verdict", "sentence", "rule"]
    assert set(verdicts["verdict"]) <= {"better", "worse", "no_worse", "not_shown", "not_enough_data"}
    fronted = {item.sentence: item.verdict for item in demo.front() if item.verdict}
    known = dict(zip(verdicts["sentence"], verdicts["verdict"], strict=True))
    assert all(known[sentence] == verdict for sentence, verdict in fronted.items() if sentence in known)
    assert sum(sentence in known for sentence in fronted) >= 4


def test_an_interim_report_withholds_every_difference(tmp_path):
    folder = write_trial(tmp_path)
    (folder / "trial.toml").write_text(f"{SETTINGS}\n[plan]\nlooks = [2031-04-01]\nseason_end = 2031-04-01\n")
    report = made(folder)
    assert report.look.is_interim
    head = report.answer()[0]
    assert head.interim
    said = text_of(report.answer())
    assert "times as long" not in said
    assert "in 1,000 miles" not in said.replace("per 1,000 miles", "")
    for section in SECTIONS[1:]:
        assert getattr(report, section)() == []
    assert report.answer_figure() == []


def test_a_planned_look_before_the_last_says_so_beside_its_verdicts(tmp_path):
    folder = write_trial(tmp_path)
    plan = "[plan]\nlooks = [2030-12-01, 2031-04-01]\nseason_start = 2030-11-01\nseason_end = 2031-04-01\n"
    (folder / "trial.toml").write_text(f"{SETTINGS}\n{plan}")
    report = made(folder)
    *judged, _, last = report.front()
    assert last.sentence.startswith(
        "Planned look 1 of 2, planned for December 1, 2030 and taken late, on data up to"
    )
    assert last.sentence.endswith(council_report.EARLY)
    assert judged and all(INTERIM in item.sentence for item in judged)
    assert [block.plain() for block in report.choices()] == [council_report.HELD_BACK]
    assert "order" not in text_of(report.appendix()).lower()


@pytest.mark.parametrize(("last", "look"), [("2031-04-01", "planned look"), ("2031-01-14", "final look")])
def test_a_look_judges_by_its_own_limit(tmp_path, last, look):
    folder = write_trial(tmp_path)
    plan = f'[plan]\nspending = "pocock"\nlooks = [2030-12-01, {last}]\nseason_start = 2030-11-01\nseason_end = {last}\n'
    (folder / "trial.toml").write_text(f"{SETTINGS}\n{plan}")
    report = made(folder)
    assert report.look.kind == look and report.look.nominal_p < 0.05
    found, level = report.found, 1 - report.look.nominal_p
    levels = [
        part.confidence_level
        for part in (found.rates, found.compared, found.lives.compared, found.cost.costs.inputs)
    ]
    assert levels == pytest.approx([level] * 4)
    assert f"{level_percent(level)} interval" in text_of(report.trust())


def test_the_finding_says_what_it_rests_on(poor):
    assert poor.front()[-1].sentence.startswith(
        "This rests on 36 height readings from 4 trucks, only 2 with each edge type;"
    )


def test_without_a_single_known_mile_the_finding_says_what_is_missing(tmp_path):
    lines = [line.split(",") for line in TABLES["wear_readings"].splitlines()]
    place = lines[0].index("counter_mi")
    text = "\n".join(",".join([*line[:place], *line[place + 1 :]]) for line in lines)
    said = [item.sentence for item in made(write_trial(tmp_path, wear_readings=text + "\n")).front()]
    assert "No edge type is set against the reference: on no plow position could both be measured." in said
    assert said[-1].startswith("No height reading can be used yet: it takes two of one station at different")


def test_no_earlier_report_no_table_of_changes(poor, tmp_path):
    assert poor.save(str(tmp_path)) == "There is no earlier report to compare with."
    assert list(tmp_path.iterdir()) == []


def test_the_measure_that_decides_is_the_one_that_is_weighed(tmp_path):
    """Wear decides: its verdict stands first on the front and is what the action goes by, not that on life."""
    folder = write_trial(tmp_path)
    (folder / "trial.toml").write_text(f'{SETTINGS}\n[plan]\nprimary_measure = "wear"\n')
    report = made(folder)
    wear = council.wear_findings(report.found.compared)
    assert wear and report.front()[0] == wear[0]
    assert set(report._deciding().values()) == set(wear)
