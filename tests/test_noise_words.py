"""What is said about noise and vibration: from the numbers, with what the samples leave open, and never as a judgment."""

import math
import re
from types import SimpleNamespace

import pandas as pd
import pytest
from cab_trial import BASIC_SOUND, DOWN, IDLE, UP, cab_trial, half_down, sound, vibration

from trialkit import columns as c
from trialkit.cab import noise_comparison, vibration_comparison
from trialkit.cab.criteria import (
    EU_LIMIT,
    NIOSH_REL,
    NOISE_CAUTIONS,
    OSHA_ACTION,
    OSHA_PEL,
    VIBRATION_CAUTIONS,
)
from trialkit.report import noise_study, noise_words
from trialkit.report.noise_captions import steady_level_dba

JUDGMENT = re.compile(r"\b(safe|unsafe|compli\w+|harmless|acceptable|violat\w+|legal\w*)\b", re.IGNORECASE)
MANY = [(truck, task, level) for truck, task, level in BASIC_SOUND for _ in range(3)]


def studies(folder, noise="", **tables):
    trial = cab_trial(folder, noise, **tables)
    return noise_study.noise_in_cab(trial), noise_study.vibration_at_seat(trial)


def noise_of(folder, rows=BASIC_SOUND, settings="", **tables):
    return studies(folder, settings, sound=sound(rows), **tables)[0]


# ---------------------------------------------------------------- levels
def test_levels_and_what_they_rest_on(tmp_path):
    said = noise_words.level_sentences(noise_of(tmp_path, shifts=half_down()))
    # by hand: plain steel 85.114 dBA, interval 13 dB to each side: t(1) = 12.706 times 1.414 / sqrt(2) = 12.7;
    # carbide insert 10 log10((1.58489e8 + 1.25893e8) / 2) = 81.529
    assert "85 dBA (72 to 98) with Plain steel and 81.5 dBA" in said[0]
    assert said[1] == "The levels rest on 8 samples, 4.0 hours in all, on 4 trucks."
    assert len(said) == 2


def test_not_studied_is_one_sentence(tmp_path):
    noise, _ = studies(tmp_path)
    assert noise_words.level_sentences(noise) == [noise.not_studied]
    assert noise_words.gaps(noise) == []
    assert noise_words.shift_findings(noise)[0].sentence == noise.not_studied
    assert noise_words.shift_sentence(noise, noise.brief) == noise.not_studied
    assert noise_words.difference_findings(noise)[0].sentence == noise.not_studied


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([("T1", DOWN, 86, 3, "off"), ("T1", DOWN, 85, 3, "off")], "All samples come from one truck, T1"),
        ([("T1", DOWN, 86), ("T2", DOWN, 83)], "only one sample for each edge type and task"),
        (
            [("T1", DOWN, 86, 5, "off"), ("T3", DOWN, 85, 5, "off"), ("T2", DOWN, 84, 5, "off")],
            "All samples were averaged with 5 dB",
        ),
        ([("T1", IDLE, 70), ("T3", IDLE, 71), ("T2", IDLE, 72)], "No sample was taken with the blade down"),
        (
            [("T1", DOWN, 86), ("T3", DOWN, 85), ("T2", DOWN, 84, 5, "off")],
            "Carbide insert was sampled with 5 dB averages only",
        ),
        (BASIC_SOUND, "No shift record shows how a shift divides into tasks"),
    ],
)
def test_what_the_samples_leave_open_is_said(tmp_path, rows, said):
    assert any(said in sentence for sentence in noise_words.gaps(noise_of(tmp_path, rows)))


def test_only_the_hours_with_the_blade_down_where_nothing_else_was_sampled(tmp_path):
    rows = [(truck, DOWN, level) for truck, task, level in BASIC_SOUND if task == DOWN]
    noise = noise_of(tmp_path, rows, shifts=half_down())
    assert noise_words.NOT_WHOLE in noise_words.gaps(noise)
    assert noise.exposure.shift_words == "the blade-down part of a 12-hour shift (6.0 h)"
    assert "the blade-down part of a 12-hour shift (6.0 h)" in noise_words.shift_sentence(noise, [NIOSH_REL])


def test_samples_without_an_edge_type_are_said(tmp_path):
    text = sound(BASIC_SOUND) + "N99,T1,2030-01-02,,blade_down,30,90,3,closed,off,20\n"
    noise, _ = studies(tmp_path, sound=text)
    assert noise.unplaced[0] in noise_words.level_sentences(noise)


# ---------------------------------------------------------------- a shift
def exposed(tmp_path, doses, whole=True, hours=12.0, labels=None):
    """A study whose shift has these doses: (edge type, criterion, dose, low, high, reached)."""
    names = [c.EDGE_TYPE, c.CRITERION, c.DOSE_PCT, c.DOSE_LOW_PCT, c.DOSE_HIGH_PCT, c.REACHED]
    rows = pd.DataFrame(doses, columns=names).assign(**{c.DURATION_H: hours})
    exposure = SimpleNamespace(
        shift_rows=lambda: rows, is_whole=whole, shift_length_h=12.0, shift_words="a 12-hour shift"
    )
    return SimpleNamespace(exposure=exposure, not_studied="", labels=labels or {})


def test_criteria_with_the_same_answer_are_said_together(tmp_path):
    study = exposed(
        tmp_path,
        [
            ("steel", "osha_pel", 1, 0, 5, "no"),
            ("carbide", "osha_pel", 0, 0, 1, "no"),
            ("steel", "osha_action", 45, 20, 80, "unclear"),
            ("carbide", "osha_action", 35, 15, 60, "unclear"),
            ("steel", "niosh_rel", 80, 30, 180, "unclear"),
            ("carbide", "niosh_rel", 60, 20, 140, "unclear"),
        ],
    )
    assert noise_words.shift_sentence(study, [OSHA_ACTION, NIOSH_REL, OSHA_PEL]) == (
        "At the levels sampled, a 12-hour shift may reach the OSHA action level and the NIOSH recommended limit with every edge "
        "type; it stays below the OSHA permissible limit with every edge type."
    )


def test_edge_types_with_different_answers_are_named(tmp_path):
    study = exposed(
        tmp_path,
        [
            ("steel", "niosh_rel", 300, 150, 500, "yes"),
            ("carbide", "niosh_rel", 90, 40, 150, "unclear"),
            ("rubber", "niosh_rel", 20, 10, 40, "no"),
        ],
        labels={"steel": "plain steel"},
    )
    assert noise_words.shift_sentence(study, [NIOSH_REL]) == (
        "At the levels sampled, a 12-hour shift reaches the NIOSH recommended limit with plain steel, may reach it with carbide "
        "and stays below it with rubber."
    )


def test_doses_without_a_range_are_given_as_a_share(tmp_path):
    nan = float("nan")
    study = exposed(
        tmp_path,
        [
            ("steel", "osha_action", 25, nan, nan, "unclear"),
            ("carbide", "osha_action", 60, 51, 70, "yes"),
            ("steel", "niosh_rel", 80, nan, nan, "unclear"),
            ("carbide", "niosh_rel", 160, 120, 210, "yes"),
        ],
    )
    # by hand: 25 of 50 %, 80 of 100 %
    assert noise_words.shift_sentence(study, [OSHA_ACTION, NIOSH_REL]) == (
        "At the levels sampled, a 12-hour shift reaches the OSHA action level with carbide and comes to 50% with steel of the dose "
        "that reaches it, without an interval; it reaches the NIOSH recommended limit with carbide and comes to 80% with steel of "
        "the dose that reaches it, without an interval."
    )


def test_criteria_that_cannot_be_told_say_why(tmp_path):
    five = noise_of(tmp_path / "five", [(t, DOWN, x, 5, "off") for t, x in (("T1", 86), ("T3", 85))])
    said = [finding.sentence for finding in noise_words.shift_findings(five)]
    assert len(said) == 3
    assert said[-1].startswith("What a shift comes to under the NIOSH recommended limit, the EU lower")
    assert said[-1].endswith("all samples were averaged with 5 dB and are no energy averages.")
    idle = noise_of(tmp_path / "idle", [("T1", IDLE, 70), ("T3", IDLE, 71)])
    (only,) = noise_words.shift_findings(idle)
    assert only.sentence.endswith("no sample was taken with the blade down.")
    lonely = [("T1", DOWN, 86, 5, "off"), ("T2", IDLE, 70)]
    mixed = noise_of(tmp_path / "mixed", lonely, 'criteria = ["niosh_rel"]')
    assert "no edge type was sampled at all the tasks" in noise_words.shift_sentence(mixed, [NIOSH_REL])


@pytest.mark.parametrize(
    ("criterion", "hours", "said"),
    [
        # published: OSHA Technical Manual, Section III Chapter 5, 12 h: 82.1 dBA
        (OSHA_ACTION, 12.0, "an 8-hour average of 85 dBA; in 12 hours a steady 82.1 dBA reaches it."),
        (OSHA_PEL, 12.0, "an 8-hour average of 90 dBA; levels below 90 dBA are not counted, however long"),
        (OSHA_PEL, 4.0, "an 8-hour average of 90 dBA; in 4 hours a steady 95 dBA reaches it."),
        (EU_LIMIT, 8.0, "The EU limit value is an 8-hour average of 87 dBA."),
    ],
)
def test_what_a_criterion_means(criterion, hours, said):
    assert said in noise_words.criterion_words(criterion, hours)


def test_steady_level_below_the_threshold_is_not_counted():
    assert steady_level_dba(OSHA_PEL, 8.0) == pytest.approx(90)
    assert steady_level_dba(OSHA_PEL, 8.1) is None
    assert steady_level_dba(EU_LIMIT, 24.0) == pytest.approx(82.2, abs=0.05)


# ---------------------------------------------------------------- differences
def test_difference_has_its_support_and_its_verdict(tmp_path):
    rows = [
        (truck, task, level + spread)
        for truck, task, level in BASIC_SOUND
        for spread in ((-0.4, 0.1, 0.3) if task == DOWN else (0.0, 0.2, -0.1))
    ]
    (finding,) = noise_words.difference_findings(noise_of(tmp_path, rows))
    assert finding.sentence.startswith("In the cab with the blade down, no difference between Carbide insert")
    assert finding.verdict == "not_shown"
    assert finding.detail.startswith("Taken above each truck's own level with the blade up:")
    assert finding.detail.endswith("This agrees with the line above and does not replace it.")


NAMES = [c.EDGE_TYPE, c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.P_HOLM]
NONE_SHOWN, QUIETER, LOUDER = (-2.1, -4.9, 0.8, 0.2), (-4.0, -4.8, -3.2, 0.001), (2.0, 1.0, 3.0, 0.001)
ALONE = (-1.0, math.nan, math.nan, math.nan)


def compared(of_line, of_own):
    """A comparison of one edge type: the line that counts, and that above each truck's own level."""
    rows, own = (
        pd.DataFrame([("insert", "steel", *values)], columns=NAMES).assign(**{c.BASIS: "as measured"})
        for values in (of_line, of_own)
    )
    return SimpleNamespace(
        comparison=SimpleNamespace(
            primary=lambda: rows, above_own=lambda: own, label=str, confidence_level=0.95
        ),
        levels=None, is_recorded=True, not_studied="",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("of_line", "of_own", "said"),
    [
        (
            NONE_SHOWN,
            QUIETER,
            "Taken above each truck's own level with the blade up a difference does show: insert was quieter than steel by 4.0 dB (3.2 to "
            "4.8). The verdict goes by the stricter line above, in which trucks that differ in loudness count in full.",
        ),
        (QUIETER, QUIETER, "This agrees with the line above and does not replace it."),
        (QUIETER, NONE_SHOWN, "This does not bear out the line above, by which the verdict goes; part of the difference may be the trucks'."),
        (QUIETER, LOUDER, "This does not bear out the line above, by which the verdict goes; part of the difference may be the trucks'."),
        (QUIETER, ALONE, "in the samples (no interval). The verdict goes by the line above."),
    ],
)  # fmt: skip
def test_the_support_says_how_it_goes_with_the_line_that_counts(of_line, of_own, said):
    (finding,) = noise_words.difference_findings(compared(of_line, of_own))
    assert finding.detail.endswith(said)
    assert ("does show" in finding.detail) == (of_line == NONE_SHOWN)


def test_a_council_is_told_of_a_difference_that_only_the_support_shows():
    noise = compared(NONE_SHOWN, QUIETER)
    shaking = SimpleNamespace(comparison=None, not_compared="", not_studied="", is_recorded=False)
    said = noise_words.council_brief(noise, shaking)
    told = (
        "Taken above each truck's own level with the blade up a difference does show in noise: insert was quieter than steel by 4.0 dB "
        "(3.2 to 4.8). The verdict goes by the levels themselves, in which trucks that differ in loudness count in full."
    )
    assert told in said
    assert not any(
        "does show" in one for one in noise_words.council_brief(compared(NONE_SHOWN, NONE_SHOWN), shaking)
    )


def test_the_front_gives_estimate_and_interval_where_no_difference_is_shown():
    noise = compared(NONE_SHOWN, QUIETER)
    two = pd.concat(
        [noise.comparison.primary(), noise.comparison.primary().assign(**{c.EDGE_TYPE: "rubber"})]
    )
    noise.comparison.primary = lambda: two
    (finding,) = noise_words.front_brief(noise)
    assert finding.sentence == (
        "No difference in cab noise from steel is shown: insert 2.1 dB quieter (95% interval 4.9 dB quieter to 0.8 dB louder) and rubber "
        "2.1 dB quieter (4.9 dB quieter to 0.8 dB louder)."
    )


def test_adjusted_line_is_the_one_that_counts(tmp_path):
    rows = [
        (truck, DOWN, LEVEL + step + (2.8 if radio == "on" else 0.0), 3, radio)
        for truck, LEVEL in (("T1", 86.0), ("T3", 85.9), ("T2", 80.0), ("T4", 80.1))
        for radio in ("on", "off")
        for step in (-0.1, 0.0, 0.1)
    ]
    noise = noise_of(tmp_path, rows)
    (finding,) = noise_words.difference_findings(noise)
    # known truth: 80.05 - 85.95 dB
    assert "(adjusted for radio), Carbide insert was quieter than Plain steel by 5.9 dB" in finding.sentence
    assert (finding.verdict, finding.detail) == ("better", "")
    table = noise_words.verdicts(noise, SimpleNamespace(comparison=None))
    assert table[[c.EDGE_TYPE, c.VERDICT]].values.tolist() == [["carbide_insert", "better"]]
    assert table[c.QUESTION].iloc[0] == noise_words.NOISE_QUESTION
    assert "95% interval" in table[c.RULE].iloc[0]


@pytest.mark.parametrize(
    ("low", "high", "p_holm", "none", "verdict"),
    [
        (-3, -1, 0.01, 0.0, "better"),
        (1, 3, 0.01, 0.0, "worse"),
        (-1, 1, 0.9, 0.0, "not_shown"),
        (-3, -0.1, 0.06, 0.0, "not_shown"),
        (0.5, 0.9, 0.02, 1.0, "better"),
        (1.1, 1.3, 0.02, 1.0, "worse"),
        (1.1, 1.3, 0.06, 1.0, "not_shown"),
        (float("nan"), float("nan"), float("nan"), 0.0, "not_enough_data"),
    ],
)
def test_verdicts(low, high, p_holm, none, verdict):
    row = pd.Series({c.ESTIMATE: (low + high) / 2, c.CONF_LOW: low, c.CONF_HIGH: high, c.P_HOLM: p_holm})
    assert noise_words.verdict_of(row, none, 0.95) == verdict


def test_nothing_to_compare_is_said(tmp_path):
    alone = noise_of(tmp_path / "alone", [("T1", DOWN, 86), ("T3", DOWN, 85)])
    (finding,) = noise_words.difference_findings(alone)
    assert "cannot be compared" in finding.sentence and finding.verdict == ""
    other = noise_of(tmp_path / "other", [("T2", DOWN, 86), ("T4", DOWN, 85)])
    assert "No sample could be used with Plain steel" in noise_words.difference_findings(other)[0].sentence
    _, shaking = studies(tmp_path / "axis", vibration=vibration([("T1", "z", 0.5), ("T2", "z", 0.4)]))
    assert "all three axes" in noise_words.vibration_findings(shaking)[0].sentence


# ---------------------------------------------------------------- vibration
def test_vibration_beside_action_and_limit_value(tmp_path):
    # three trucks' worth of spread would be wide with two trucks; the same value on both leaves no interval
    rows = [(truck, axis, 1.3 if axis == "z" else 0.2) for truck in ("T1", "T3") for axis in "xyz"]
    rows += [
        (truck, axis, value)
        for truck, z in (("T2", 0.300), ("T4", 0.301))
        for axis, value in (("x", 0.1), ("y", 0.1), ("z", z))
    ]
    _, shaking = studies(tmp_path, vibration=vibration(rows))
    finding = noise_words.daily_vibration_finding(shaking)
    # by hand, 12 h: 1.3 sqrt(1.5) = 1.59; 0.3005 sqrt(1.5) = 0.368
    assert "1.59 m/s² (no interval) with Plain steel (axis z)" in finding.sentence
    assert "0.368" in finding.sentence or "0.37" in finding.sentence
    assert "That stays below the EU action value of 0.5 m/s² with Carbide insert." in finding.detail
    assert noise_words.HOURS_LIKE_SAMPLES in finding.detail


def test_vibration_verdict(tmp_path):
    noise, shaking = studies(tmp_path, vibration=vibration())
    (finding,) = noise_words.vibration_findings(shaking)
    assert finding.verdict == "not_shown"
    table = noise_words.verdicts(noise, shaking)
    assert table[[c.QUESTION, c.EDGE_TYPE]].values.tolist() == [
        [noise_words.VIBRATION_QUESTION, "carbide_insert"]
    ]


# ---------------------------------------------------------------- the council
def test_council_hears_differences_then_the_shift_then_vibration(tmp_path):
    noise, shaking = studies(tmp_path, sound=sound(MANY), vibration=vibration(), shifts=half_down())
    found = noise_words.council_findings(noise, shaking)
    starts = [finding.sentence[:24] for finding in found]
    assert starts == [
        "In the cab with the blad", "At the levels sampled, a", "In the largest axis of w", "Over 12 hours a day the ",
    ]  # fmt: skip
    assert noise_words.MAY_REACH in found[1].detail
    assert found[1].detail.count("8-hour average") == 3


def test_council_hears_what_was_not_studied(tmp_path):
    noise, shaking = studies(tmp_path / "none")
    found = noise_words.council_findings(noise, shaking)
    assert [finding.sentence for finding in found] == [noise_words.NEITHER_MEASURED]
    assert noise_words.council_notes(noise, shaking) == []
    noise, shaking = studies(tmp_path / "sound", sound=sound(BASIC_SOUND))
    assert not any("not studied" in one.sentence for one in noise_words.council_findings(noise, shaking))
    assert noise_words.cautions(noise, shaking) == list(NOISE_CAUTIONS)
    noise, shaking = studies(tmp_path / "vibration", vibration=vibration())
    assert not any("not studied" in one.sentence for one in noise_words.council_findings(noise, shaking))
    assert noise_words.cautions(noise, shaking) == list(VIBRATION_CAUTIONS)


def test_samples_that_cannot_be_placed_are_told_where_noise_is(tmp_path):
    noise, shaking = studies(tmp_path, sound=sound([("T1", DOWN, 85.0)]).replace("2030-12-02", "2030-01-02"))
    assert noise.levels is None and noise.is_recorded
    assert [one.sentence for one in noise_words.council_findings(noise, shaking)] == [noise.not_studied]


def test_the_front_of_a_report_has_a_short_line_for_each_type(tmp_path):
    noise, _ = studies(tmp_path, sound=sound(MANY))
    long, short = noise_words.difference_findings(noise), noise_words.front_findings(noise)
    assert [one.verdict for one in short] == [one.verdict for one in long]
    assert all(len(one.sentence) < 140 and not one.detail for one in short)
    assert noise_words.front_findings(studies(tmp_path / "none")[0]) == []


@pytest.mark.parametrize(
    ("estimate", "low", "high", "p_holm", "said"),
    [
        (3.04, 1.2, 4.88, 0.01, "Insert was louder in the cab than steel by 3.0 dB (95% interval 1.2 to 4.9)."),
        (-3.04, -4.88, -1.2, 0.01, "Insert was quieter in the cab than steel by 3.0 dB (95% interval 1.2 to 4.9)."),
        (-1.1, -3.1, 1.0, 0.3, "No difference in cab noise between insert and steel is shown (95% interval 3.1 dB quieter to 1.0 dB louder)."),
        (-1.1, -2.1, -0.1, 0.07, "No difference in cab noise between insert and steel is shown (95% interval 2.1 dB quieter to 0.1 dB quieter), since several edge types were compared and one may stand out by chance."),
        (3.04, math.nan, math.nan, math.nan, "Insert was 3.0 dB louder in the cab than steel in the samples (no interval)."),
    ],
)  # fmt: skip
def test_short_sentences_about_a_difference(estimate, low, high, p_holm, said):
    names = [c.EDGE_TYPE, c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.P_HOLM]
    row = pd.Series(["insert", "steel", estimate, low, high, p_holm], index=names, dtype=object)
    assert noise_comparison.short_sentence(row, str, 0.95) == said


@pytest.mark.parametrize(
    ("p_holm", "clause"),
    [
        (0.03, "insert had less vibration than steel by 20% (5 to 35%)"),
        (0.06, "no difference between insert and steel is shown (0.80 times its vibration in the samples, interval 0.65 to 0.95), since several edge types were compared and one may stand out by chance"),
    ],
)  # fmt: skip
def test_vibration_counts_the_types_that_were_compared(p_holm, clause):
    names = [c.EDGE_TYPE, c.REFERENCE, c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH, c.P_HOLM]
    row = pd.Series(["insert", "steel", 0.8, 0.65, 0.95, p_holm], index=names, dtype=object)
    assert vibration_comparison.ratio_clause(row, str, 0.95) == clause


def test_council_notes_name_uneven_radios_and_the_cautions(tmp_path):
    rows = [(t, DOWN, x, 3, "on" if t in ("T1", "T3") else "off") for t, _, x in BASIC_SOUND[:4]]
    noise, shaking = studies(tmp_path, sound=sound(rows), vibration=vibration())
    notes = noise_words.council_notes(noise, shaking)
    assert "The radio was on for 0% of the time sampled with the blade down with Carbide insert" in notes[0]
    assert noise_words.QUIET_SAMPLES in notes
    assert notes[-4:] == [*NOISE_CAUTIONS, *VIBRATION_CAUTIONS]
    said = " ".join(notes)
    for word in (
        "risk management",
        "occupational hygienist",
        "hands on wheel",
        "duties may start",
        "differs from state",
    ):
        assert word in said


def test_criteria_without_a_threshold_need_no_word_about_quiet_samples(tmp_path):
    settings = 'criteria = ["eu_limit"]'
    noise, shaking = studies(tmp_path, settings, sound=sound(BASIC_SOUND))
    assert noise_words.QUIET_SAMPLES not in noise_words.council_notes(noise, shaking)


def test_nothing_is_called_safe_or_in_keeping_with_a_rule(tmp_path):
    noise, shaking = studies(tmp_path, sound=sound(MANY), vibration=vibration(), shifts=half_down())
    found = noise_words.council_findings(noise, shaking)
    said = [
        *(f"{finding.sentence} {finding.detail}" for finding in [*found, *noise_words.shift_findings(noise)]),
        *noise_words.council_notes(noise, shaking), *noise_words.level_sentences(noise), *noise.notes, *shaking.notes,
    ]  # fmt: skip
    assert not [sentence for sentence in said if JUDGMENT.search(sentence)]


def test_cells_of_tables():
    row = {c.DOSE_PCT: 41.6, c.DOSE_LOW_PCT: 21.5, c.DOSE_HIGH_PCT: 77.6, c.REACHED: "unclear"}
    assert noise_words.dose_cell(row) == "42%\u00a0(22\u00a0to\u00a078%)"
    assert noise_words.reached_cell(row) == "may be reached"
    bare = row | {c.DOSE_LOW_PCT: float("nan")}
    assert noise_words.dose_cell(bare) == "42%\u00a0(no\u00a0interval)"
    assert noise_words.reached_cell(bare) == "no interval"


def test_every_task_is_worded(tmp_path):
    rows = [("T1", UP, 78), ("T3", UP, 77)]
    assert "with the blade up" in noise_words.gaps(noise_of(tmp_path, rows))[0]
