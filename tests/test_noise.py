"""Noise: levels, a shift's exposure, and how edge types differ."""

import math

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit.cab import noise, noise_comparison, noise_exposure, task_shares
from trialkit.cab.criteria import NOISE_CAUTIONS, NoiseCriterion
from trialkit.cab.noise import BLADE_DOWN, BLADE_UP, IDLE, WHOLE_SHIFT
from trialkit.cab.noise_conditions import fit_conditions
from trialkit.cab.noise_exposure import NOT_KNOWN, UNCLEAR
from trialkit.cab.task_shares import REST
from trialkit.errors import NotEnoughDataError, TrialDataError, UsageError
from trialkit.table_parts import NO, YES

TYPES = ["steel", "carbide", "rubber"]
ALL_TASKS = {BLADE_DOWN: 0.5, BLADE_UP: 0.3, IDLE: 0.2}


def sample(truck, edge, level, task=BLADE_DOWN, minutes=30.0, **cells):
    usual = {
        c.TRUCK_ID: truck,
        c.EDGE_TYPE: edge,
        c.TASK: task,
        c.DURATION_MIN: minutes,
        c.LEVEL_DBA: float(level),
        c.EXCHANGE_RATE_DB: 3.0,
        c.INSTRUMENT: "dosimeter",
        c.RADIO: "off",
        c.WINDOW: "closed",
        c.SPEED_MPH: 20.0,
    }
    return usual | cells


def sound_table(*rows):
    frame = pd.DataFrame(rows).assign(**{c.SOUND_ID: [f"N{i + 1}" for i in range(len(rows))]})
    return frame.assign(**{c.EDGE_TYPE: pd.Categorical(frame[c.EDGE_TYPE], TYPES, ordered=True)})


def two_trucks(level_a=86, level_b=84, edge="steel", task=BLADE_DOWN):
    return [
        sample(f"{edge}-{i}", edge, level + d, task)
        for i, level in enumerate((level_a, level_b))
        for d in (-1, 0, 1)
    ]


def every_task(edge="steel", down=86):
    return [
        row
        for task, level in ((BLADE_DOWN, down), (BLADE_UP, 80), (IDLE, 66))
        for row in two_trucks(level, level - 1, edge, task)
    ]


def line(table, edge="steel", task=BLADE_DOWN, criterion=None, rate=3):
    rows = table[(table[c.EDGE_TYPE] == edge) & (table[c.TASK] == task) & (table[c.EXCHANGE_RATE_DB] == rate)]
    rows = rows if criterion is None else rows[rows[c.CRITERION] == criterion]
    assert len(rows) == 1
    return rows.iloc[0]


# ---------------------------------------------------------------- levels
def test_level_is_the_energy_average_by_duration_and_no_mean():
    levels = noise.estimate_levels(
        sound_table(sample("A", "steel", 80, minutes=360), sample("B", "steel", 92, minutes=120))
    )
    # by hand: 10 log10((6 * 10^8 + 2 * 10^9.2) / 8) = 86.73; the mean is 86, weighted 83
    assert line(levels.table)[c.LEVEL_DBA] == pytest.approx(86.73, abs=0.005)
    assert line(levels.table)[c.DURATION_H] == 8


def test_levels_by_truck():
    levels = noise.estimate_levels(sound_table(*two_trucks()))
    assert levels.by_truck[c.TRUCK_ID].tolist() == ["steel-0", "steel-1"]
    # by hand: 10 log10((10^8.5 + 10^8.6 + 10^8.7) / 3) = 86.08
    assert levels.by_truck[c.LEVEL_DBA].iloc[0] == pytest.approx(86.08, abs=0.005)


def test_interval_is_students_over_trucks():
    row = line(noise.estimate_levels(sound_table(*two_trucks(86, 84))).table)
    # by hand: two trucks 2 dB apart, s = 1.414, t(1) = 12.706: half-width 12.706
    assert (row[c.CONF_HIGH] - row[c.CONF_LOW]) / 2 == pytest.approx(12.706, abs=5e-4)
    assert (row[c.DF], row[c.N_TRUCKS], row[c.N_SAMPLES]) == (1, 2, 6)


def test_interval_is_wider_when_one_truck_has_most_of_the_time():
    uneven = [
        sample("A", "steel", 86, minutes=90),
        sample("B", "steel", 84, minutes=30),
        sample("B", "steel", 84, minutes=0.5),
    ]
    row = line(noise.estimate_levels(sound_table(*uneven)).table)
    assert (row[c.CONF_HIGH] - row[c.CONF_LOW]) / 2 > 12.706 * 1.1


def test_expanded_uncertainty_is_that_of_iso_9612():
    row = line(noise.estimate_levels(sound_table(*two_trucks(86, 86))).table)
    # by hand: six samples 85, 86, 87 twice: u1a = sqrt(4 / 30) = 0.365; 1.65 sqrt(0.365^2 + 1.5^2 + 1) = 3.035
    assert row[c.EXPANDED_DB] == pytest.approx(3.035, abs=5e-4)


def test_instrument_decides_its_part_of_the_uncertainty():
    table = sound_table(*two_trucks(86, 86)).assign(**{c.INSTRUMENT: "class_1"})
    # by hand: 1.65 sqrt(0.365^2 + 0.7^2 + 1) = 2.102
    assert line(noise.estimate_levels(table).table)[c.EXPANDED_DB] == pytest.approx(2.102, abs=5e-4)
    unknown = [
        noise.estimate_levels(frame).table
        for frame in (table.assign(**{c.INSTRUMENT: None}), table.drop(columns=c.INSTRUMENT))
    ]
    assert [line(frame)[c.EXPANDED_DB] for frame in unknown] == pytest.approx([3.035] * 2, abs=5e-4)


def test_averages_with_five_and_three_decibels_stand_apart():
    mixed = sound_table(*two_trucks(), *[row | {c.EXCHANGE_RATE_DB: 5.0} for row in two_trucks(83, 81)])
    levels = noise.estimate_levels(mixed)
    assert levels.table[c.EXCHANGE_RATE_DB].tolist() == [3, 5]
    assert line(levels.table, rate=5)[c.LEVEL_DBA] < 83.5
    assert any("5 dB and some with 3 dB" in note for note in levels.notes)


def test_order_is_that_of_the_edge_types_and_tasks():
    table = noise.estimate_levels(sound_table(*every_task("rubber"), *every_task("steel"))).table
    assert table[c.EDGE_TYPE].tolist() == ["steel"] * 3 + ["rubber"] * 3
    assert table[c.TASK].tolist() == [BLADE_DOWN, BLADE_UP, IDLE] * 2


def test_one_sample_has_neither_interval_nor_uncertainty():
    levels = noise.estimate_levels(sound_table(sample("A", "steel", 85)))
    row = line(levels.table)
    assert row[c.LEVEL_DBA] == 85
    assert all(math.isnan(row[name]) for name in (c.CONF_LOW, c.CONF_HIGH, c.EXPANDED_DB))
    assert any("one sample for steel with the blade down" in note for note in levels.notes)
    assert "85.0 dBA (no interval) with steel" in levels.sentence()


def test_one_truck_has_no_interval():
    levels = noise.estimate_levels(sound_table(sample("A", "steel", 85), sample("A", "steel", 86)))
    assert math.isnan(line(levels.table)[c.CONF_LOW])
    assert any("one truck" in note for note in levels.notes)


def test_trucks_that_agree_to_the_digit_give_no_interval():
    levels = noise.estimate_levels(sound_table(sample("A", "steel", 85), sample("B", "steel", 85)))
    assert math.isnan(line(levels.table)[c.CONF_LOW])
    assert any("the same level" in note for note in levels.notes)


@pytest.mark.parametrize(
    ("spread", "thin"), [((84.0, 85.0, 86.9), False), ((84.0, 85.0, 87.0), True), ((84.0, 85.0), True)]
)
def test_three_samples_and_more_if_they_span_three_decibels(spread, thin):
    # ISO 9612:2009, 9.3
    levels = noise.estimate_levels(sound_table(*[sample("A", "steel", level) for level in spread]))
    assert any("ISO 9612:2009 asks" in note for note in levels.notes) is thin


def test_sentence_names_the_levels():
    # by hand: steel 86.08 and 84.08 average 85.19, half-width 12.706; rubber 83.08 and 82.08 average 82.61, 6.353
    assert noise.estimate_levels(
        sound_table(*two_trucks(86, 84), *two_trucks(83, 82, "rubber"))
    ).sentence() == (
        "The average level in the cab with the blade down was 85 dBA (72 to 98) with steel and 82.6 dBA (76.3 to 89.0) with rubber."
    )


def test_sentence_takes_the_task_there_is():
    assert "idling was 66" in noise.estimate_levels(sound_table(*two_trucks(66, 66, task=IDLE))).sentence()


def test_impossible_samples_stop_everything():
    with pytest.raises(TrialDataError, match="145"):
        noise.estimate_levels(sound_table(sample("A", "steel", 145)))
    with pytest.raises(TrialDataError, match="3 or 5"):
        noise.estimate_levels(sound_table(sample("A", "steel", 85, **{c.EXCHANGE_RATE_DB: 4.0})))
    with pytest.raises(NotEnoughDataError, match="1 sound sample"):
        noise.estimate_levels(sound_table(sample(None, "steel", 85)))


def test_summary_shows_headings_and_cautions():
    text = str(noise.estimate_levels(sound_table(*two_trucks())))
    assert "Edge type" in text and "Expanded uncertainty, dB" in text
    assert f"Note: {NOISE_CAUTIONS[0]}" in text


# ---------------------------------------------------------------- exposure
def test_dose_of_a_task_is_hours_times_rate():
    exposure = noise_exposure.estimate_exposure(
        sound_table(*two_trucks(85, 85)).assign(**{c.LEVEL_DBA: 85.0}),
        {BLADE_DOWN: 0.5, IDLE: 0.5},
        criteria=["niosh_rel"],
    )
    row = line(exposure.table, criterion="niosh_rel")
    # by hand: 6 of 12 h at 85 dBA, 8 h permitted: 75 %; 85 + 9.966 log10(0.75) = 83.75
    assert (row[c.DURATION_H], row[c.SHIFT_LENGTH_H]) == (6, 12)
    assert row[c.DOSE_PCT] == pytest.approx(75)
    assert row[c.TWA_DBA] == pytest.approx(83.75, abs=0.005)
    assert row[c.PERMISSIBLE_H] == pytest.approx(8)


def test_whole_shift_adds_its_tasks():
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS, shift_length_h=16)
    for criterion in exposure.criteria:
        whole = line(exposure.table, task=WHOLE_SHIFT, criterion=criterion.name)
        tasks = exposure.table[
            (exposure.table[c.TASK] != WHOLE_SHIFT) & (exposure.table[c.CRITERION] == criterion.name)
        ]
        assert whole[c.DOSE_PCT] == pytest.approx(tasks[c.DOSE_PCT].sum())
        assert whole[c.DURATION_H] == 16
        assert whole[c.N_SAMPLES] == 18


def test_whole_shift_level_is_the_energy_average_over_its_hours():
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS)
    levels = [line(exposure.levels.table, task=task)[c.LEVEL_DBA] for task in ALL_TASKS]
    # by hand: 10 log10(sum of share * 10^(L/10))
    expected = 10 * math.log10(
        sum(share * 10 ** (level / 10) for share, level in zip(ALL_TASKS.values(), levels, strict=True))
    )
    assert line(exposure.table, task=WHOLE_SHIFT, criterion="niosh_rel")[c.LEVEL_DBA] == pytest.approx(
        expected
    )


def test_equal_energy_dose_is_that_of_the_level():
    # EU values have no threshold, so 8-hour average = level + 10 log10(shift / 8)
    exposure = noise_exposure.estimate_exposure(
        sound_table(*every_task()), ALL_TASKS, criteria=["eu_limit"], shift_length_h=12
    )
    row = line(exposure.table, task=WHOLE_SHIFT, criterion="eu_limit")
    assert row[c.TWA_DBA] == pytest.approx(row[c.LEVEL_DBA] + 10 * math.log10(12 / 8))


def test_threshold_acts_on_samples_not_on_their_average():
    # by hand, 6 h at 80 and 2 h at 92 dBA in an 8 h shift: OSHA 2/6.0629 = 33.0 % and 51.7 % with 80 dBA counted;
    # their energy average, 86.7 dBA, alone would give 0 and 63 %
    table = sound_table(sample("A", "steel", 80, minutes=360), sample("B", "steel", 92, minutes=120))
    exposure = noise_exposure.estimate_exposure(table, shift_length_h=8)
    assert line(exposure.table, criterion="osha_pel")[c.DOSE_PCT] == pytest.approx(33.0, abs=0.05)
    assert line(exposure.table, criterion="osha_action")[c.DOSE_PCT] == pytest.approx(51.7, abs=0.05)
    assert any("(from 90 dBA)" in note for note in exposure.notes)


def test_without_shares_each_task_lasts_the_whole_shift():
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task()), shift_length_h=10)
    assert set(exposure.table[c.TASK]) == {BLADE_DOWN, BLADE_UP, IDLE}
    assert (exposure.table[c.DURATION_H] == 10).all()
    assert any("as if it lasted the whole 10-hour shift" in note for note in exposure.notes)
    assert "a 10-hour shift with the blade down throughout" in exposure.sentence()


def test_columns_of_the_exported_table():
    table = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS).table
    first = "edge_type task criterion level_dba conf_low conf_high twa_dba dose_pct permissible_h n_samples"
    assert table.columns.tolist()[:10] == first.split()


def test_five_decibel_averages_are_held_against_osha_only():
    five = [row | {c.EXCHANGE_RATE_DB: 5.0} for row in every_task()]
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task(), *five), ALL_TASKS)
    by_rate = exposure.table.groupby(c.EXCHANGE_RATE_DB)[c.CRITERION].unique()
    assert set(by_rate[5.0]) == {"osha_pel", "osha_action"}
    assert len(by_rate[3.0]) == 6
    assert any(
        "no energy averages and were not held against NIOSH recommended limit" in note
        for note in exposure.notes
    )
    assert {(WHOLE_SHIFT, 3.0), (WHOLE_SHIFT, 5.0)} <= set(
        zip(exposure.table[c.TASK], exposure.table[c.EXCHANGE_RATE_DB], strict=True)
    )


def test_own_criterion_stands_beside_the_others():
    own = NoiseCriterion("town", "Town value", 82.0, 4.0, None, "Town policy 7")
    exposure = noise_exposure.estimate_exposure(sound_table(*two_trucks(85, 85)), criteria=["niosh_rel", own])
    assert exposure.table[c.CRITERION].tolist() == ["niosh_rel", "town"]
    assert any("Town value: worked out from energy averages" in note for note in exposure.notes)


def test_limits_for_every_shift_length():
    exposure = noise_exposure.estimate_exposure(
        sound_table(*two_trucks()), criteria=["osha_action"], shift_length_h=14
    )
    assert exposure.limits[c.SHIFT_LENGTH_H].tolist() == [8, 12, 14, 16]
    # published (OSHA Technical Manual, Section III Chapter 5): 85.0, 82.1, ..., 80.0
    assert exposure.limits[c.LEVEL_DBA].iloc[[0, 1, 3]].tolist() == pytest.approx([85, 82.1, 80], abs=0.05)


def shares_of(**hours):
    start = pd.Timestamp("2031-01-10T18:00")
    frame = pd.DataFrame(
        {c.SHIFT_ID: ["H1"], c.START: [start], c.END: [start + pd.Timedelta(hours=16)], c.BLADE_DOWN_H: [8.0]}
    )
    return task_shares.estimate_task_shares(frame)


def test_rest_of_the_shift_counts_at_the_louder_task():
    exposure = noise_exposure.estimate_exposure(
        sound_table(*every_task()), shares_of(), criteria=["eu_limit"]
    )
    whole = line(exposure.table, task=WHOLE_SHIFT, criterion="eu_limit")
    assert whole[c.DURATION_H] == 12
    assert whole[c.N_SAMPLES] == 12
    assert any(
        "counted at the louder of the two that was sampled (with the blade up)" in note
        for note in exposure.notes
    )
    # by hand: the longest shift took 16 h, the table is for 12
    assert any("longest shift recorded took 16.0 h" in note for note in exposure.notes)
    up = line(exposure.table, task=BLADE_UP, criterion="eu_limit")
    assert math.isnan(up[c.DOSE_PCT])
    assert up[c.REACHED] == NOT_KNOWN


def test_task_without_samples_of_its_own_borrows_those_of_other_types():
    exposure = noise_exposure.estimate_exposure(
        sound_table(*every_task("steel"), *two_trucks(83, 82, "rubber")), ALL_TASKS, criteria=["niosh_rel"]
    )
    assert line(exposure.table, "rubber", WHOLE_SHIFT, "niosh_rel")[c.N_SAMPLES] == 18
    assert any(note.startswith("rubber has no samples idling") for note in exposure.notes)
    assert exposure.table[exposure.table[c.EDGE_TYPE] == "rubber"][c.TASK].tolist() == [
        BLADE_DOWN,
        WHOLE_SHIFT,
    ]


def test_borrowed_samples_have_intervals_of_the_level_asked_for():
    table = sound_table(*every_task("steel"), *two_trucks(83, 82, "rubber"))
    half = {}
    for level in (0.8, 0.95):
        exposure = noise_exposure.estimate_exposure(
            table, {BLADE_DOWN: 0.001, BLADE_UP: 0.999}, criteria=["niosh_rel"], confidence_level=level
        )
        kinds = [line(exposure.table, kind, WHOLE_SHIFT, "niosh_rel") for kind in ("rubber", "steel")]
        half[level] = [float(row[c.CONF_HIGH] - row[c.LEVEL_DBA]) for row in kinds]
    # nearly the whole shift is with the blade up, where the one borrows all samples of the other
    assert half[0.8][0] == pytest.approx(half[0.8][1], rel=0.02)
    # tables of Student's t: 3.078 against 12.706 with one degree of freedom
    assert half[0.8][0] / half[0.95][0] == pytest.approx(3.078 / 12.706, rel=0.02)


def test_no_whole_shift_without_blade_down():
    table = sound_table(*every_task("steel"), *two_trucks(80, 79, "rubber", BLADE_UP))
    exposure = noise_exposure.estimate_exposure(table, ALL_TASKS, criteria=["niosh_rel"])
    assert set(exposure.table.loc[exposure.table[c.TASK] == WHOLE_SHIFT, c.EDGE_TYPE]) == {"steel"}
    assert any(
        "with the blade down, so no whole shift can be put together for rubber" in note
        for note in exposure.notes
    )


def test_no_sentence_about_a_shift_without_blade_down():
    exposure = noise_exposure.estimate_exposure(sound_table(*two_trucks(80, 79, task=BLADE_UP)))
    assert exposure.sentence() == exposure.levels.sentence()


@pytest.mark.parametrize(("level", "word"), [(100, YES), (70, NO), (83.2, UNCLEAR)])
def test_whether_a_criterion_is_reached(level, word):
    rows = [
        sample(truck, "steel", level + d) for truck, d in (("A", 0.0), ("B", 0.1), ("C", -0.1), ("D", 0.0))
    ]
    exposure = noise_exposure.estimate_exposure(sound_table(*rows), criteria=["niosh_rel"], shift_length_h=12)
    row = line(exposure.table, criterion="niosh_rel")
    assert row[c.REACHED] == word
    if level == 70:
        # NIOSH 98-126, section 1.1: sound counts from 80 dBA on, which 70 dBA with its uncertainty does not come to
        assert row[c.EXPANDED_DB] < 9.5
        assert (row[c.DOSE_PCT], row[c.DOSE_HIGH_PCT]) == (0, 0)
    else:
        # the expanded uncertainty is far wider than the interval here, and it is what the range of the dose shows
        expected = row[c.DOSE_PCT] * 2 ** (row[c.EXPANDED_DB] / 3)
        assert row[c.DOSE_HIGH_PCT] == pytest.approx(expected, rel=1e-3)


def test_without_an_interval_it_is_unclear():
    exposure = noise_exposure.estimate_exposure(
        sound_table(sample("A", "steel", 100)), criteria=["niosh_rel"]
    )
    row = line(exposure.table, criterion="niosh_rel")
    assert row[c.REACHED] == UNCLEAR
    assert math.isnan(row[c.DOSE_LOW_PCT])
    assert row[c.DOSE_PCT] > 1000


def test_quiet_task_without_an_interval_does_not_spoil_the_shift():
    table = sound_table(*two_trucks(90, 89), sample("steel-0", "steel", 60, IDLE))
    exposure = noise_exposure.estimate_exposure(table, {BLADE_DOWN: 0.7, IDLE: 0.3}, criteria=["niosh_rel"])
    assert math.isfinite(line(exposure.table, task=WHOLE_SHIFT, criterion="niosh_rel")[c.CONF_LOW])
    assert any("steel idling: no interval, but less than 5%" in note for note in exposure.notes)


def test_loud_task_without_an_interval_does():
    table = sound_table(*two_trucks(86, 85), sample("steel-0", "steel", 86, BLADE_UP))
    exposure = noise_exposure.estimate_exposure(
        table, {BLADE_DOWN: 0.7, BLADE_UP: 0.3}, criteria=["niosh_rel"]
    )
    assert math.isnan(line(exposure.table, task=WHOLE_SHIFT, criterion="niosh_rel")[c.CONF_LOW])


def test_interval_of_the_shift_adds_half_widths_by_energy():
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS, criteria=["niosh_rel"])
    rows = [line(exposure.levels.table, task=task) for task in ALL_TASKS]
    energy = np.array(
        [share * 10 ** (row[c.LEVEL_DBA] / 10) for share, row in zip(ALL_TASKS.values(), rows, strict=True)]
    )
    halves = np.array([(row[c.CONF_HIGH] - row[c.CONF_LOW]) / 2 for row in rows])
    whole = line(exposure.table, task=WHOLE_SHIFT, criterion="niosh_rel")
    assert (whole[c.CONF_HIGH] - whole[c.CONF_LOW]) / 2 == pytest.approx(energy @ halves / energy.sum())


@pytest.mark.parametrize(
    ("shares", "said"),
    [
        ({BLADE_DOWN: 0.5}, "blade_down 0.5"),
        ({BLADE_DOWN: 1.2, IDLE: -0.2}, "idle -0.2"),
        ({"parking": 1.0}, '"parking"'),
        ({}, "found none"),
    ],
)
def test_impossible_shares(shares, said):
    with pytest.raises(UsageError, match=said):
        noise_exposure.estimate_exposure(sound_table(*two_trucks()), shares)


def test_a_share_of_nothing_needs_no_samples():
    exposure = noise_exposure.estimate_exposure(
        sound_table(*two_trucks()), {BLADE_DOWN: 1.0, REST: 0.0}, criteria=["eu_limit"]
    )
    assert line(exposure.table, task=WHOLE_SHIFT, criterion="eu_limit")[c.N_SAMPLES] == 6


def test_doses_of_other_shift_lengths_are_in_proportion():
    table = sound_table(*every_task("steel", 86), *every_task("carbide", 84))
    exposure = noise_exposure.estimate_exposure(table, ALL_TASKS, criteria=["niosh_rel"])
    found = exposure.by_shift_length((6.0, 12.0)).set_index([c.EDGE_TYPE, c.SHIFT_LENGTH_H])
    whole = line(exposure.table, "steel", WHOLE_SHIFT, "niosh_rel")
    for name in (c.DOSE_PCT, c.DOSE_LOW_PCT, c.DOSE_HIGH_PCT):
        assert found.loc[("steel", 12.0), name] == pytest.approx(whole[name], nan_ok=True)
        assert found.loc[("steel", 6.0), name] == pytest.approx(whole[name] / 2, nan_ok=True)
    direct = noise_exposure.estimate_exposure(table, ALL_TASKS, criteria=["niosh_rel"], shift_length_h=6.0)
    half = line(direct.table, "steel", WHOLE_SHIFT, "niosh_rel")
    assert found.loc[("steel", 6.0), c.DOSE_PCT] == pytest.approx(half[c.DOSE_PCT])
    assert found.loc[("steel", 6.0), c.REACHED] == half[c.REACHED]


def test_what_the_rows_of_a_shift_are_about():
    down = sound_table(*two_trucks(), *two_trucks(84, 82, "carbide"))
    throughout = noise_exposure.estimate_exposure(down)
    assert throughout.shift_words == "a 12-hour shift with the blade down throughout"
    assert not throughout.is_whole
    part = noise_exposure.estimate_exposure(down, {BLADE_DOWN: 0.5, IDLE: 0.5})
    assert part.shift_words == "the blade-down part of a 12-hour shift (6.0 h)"
    assert part.shift_words in part.sentence()
    whole = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS)
    assert whole.is_whole and whole.shift_words == "a 12-hour shift"
    idle = noise_exposure.estimate_exposure(sound_table(sample("A", "steel", 70, IDLE)))
    assert idle.shift_rows().empty and idle.shift_words == "a 12-hour shift"


def test_rows_of_a_shift_take_energy_averages_where_there_are_any():
    rows = two_trucks()
    five = [row | {c.EXCHANGE_RATE_DB: 5.0} for row in (*rows, *two_trucks(84, 82, "carbide"))]
    found = noise_exposure.estimate_exposure(sound_table(*rows, *five)).shift_rows()
    osha = found[found[c.CRITERION] == "osha_action"].set_index(c.EDGE_TYPE)
    assert osha[c.EXCHANGE_RATE_DB].to_dict() == {"steel": 3, "carbide": 5}
    assert found[found[c.CRITERION] == "niosh_rel"][c.EDGE_TYPE].tolist() == ["steel"]


def test_impossible_shift_length():
    with pytest.raises(UsageError, match="25 h"):
        noise_exposure.estimate_exposure(sound_table(*two_trucks()), shift_length_h=25)


def test_exposure_sentence_groups_the_criteria():
    rows = [row for edge, level in (("steel", 89), ("rubber", 78)) for row in two_trucks(level, level, edge)]
    loud = [row | {c.LEVEL_DBA: row[c.LEVEL_DBA] + i / 100} for i, row in enumerate(rows)]
    exposure = noise_exposure.estimate_exposure(
        sound_table(*loud),
        {BLADE_DOWN: 1.0},
        criteria=["osha_pel", "niosh_rel", "eu_upper_action"],
        shift_length_h=10.5,
    )
    assert exposure.sentence() == (
        "At the levels sampled, a 10.5-hour shift may reach the OSHA permissible limit with steel and stays below the OSHA "
        "permissible limit with rubber; reaches the NIOSH recommended limit and the EU upper action value with steel and stays below "
        "the NIOSH recommended limit and the EU upper action value with rubber."
    )


def test_cautions_stand_once_and_last():
    notes = noise_exposure.estimate_exposure(sound_table(*two_trucks())).notes
    assert notes[-2:] == NOISE_CAUTIONS
    assert len(notes) == len(set(notes))


def test_nothing_says_that_anything_is_in_order():
    exposure = noise_exposure.estimate_exposure(sound_table(*every_task()), ALL_TASKS)
    words = " ".join([str(exposure), exposure.sentence(), exposure.method]).lower()
    assert not any(word in words for word in ("safe", "complian", "within the law", "!"))


# ---------------------------------------------------------------- comparison
def fleet(
    rng,
    *,
    pairs=False,
    trucks=4,
    difference_db=-3.0,
    radio_db=2.8,
    loud=(0.8, 0.3),
    samples_n=4,
    tasks=(BLADE_DOWN,),
):
    """Samples of a fleet with a known difference, radio effect and 0.1 dB per mph."""
    names = [f"A{i}" for i in range(trucks)]
    others = names if pairs else [f"B{i}" for i in range(trucks)]
    offset = {name: rng.normal(0, 1.0) for name in {*names, *others}}
    rows = []
    for edge, group, share, extra in (
        ("steel", names, loud[0], 0.0),
        ("carbide", others, loud[1], difference_db),
    ):
        for truck in group:
            for task in tasks:
                for _ in range(samples_n):
                    on, speed = rng.random() < share, rng.uniform(15, 30)
                    level = 86 if task == BLADE_DOWN else 79
                    level += (
                        (extra if task == BLADE_DOWN else 0)
                        + offset[truck]
                        + radio_db * on
                        + 0.1 * (speed - 20)
                        + rng.normal(0, 1)
                    )
                    radio = {c.RADIO: "on" if on else "off", c.SPEED_MPH: speed}
                    rows.append(sample(truck, edge, level, task, rng.integers(10, 60), **radio))
    return sound_table(*rows)


def rows_of(compared, basis=None, task=BLADE_DOWN):
    rows = compared.table[compared.table[c.TASK] == task]
    return rows if basis is None else rows[rows[c.BASIS] == basis]


def test_paired_runs_are_compared_truck_by_truck():
    table = sound_table(
        *[
            sample(truck, edge, level)
            for truck, a, b in (("A", 86, 84), ("B", 83, 80.5), ("C", 89, 87.5))
            for edge, level in (("steel", a), ("carbide", b))
        ]
    )
    compared = noise_comparison.compare_edge_types(table)
    row = rows_of(compared, noise_comparison.AS_MEASURED).iloc[0]
    # by hand: differences -2, -2.5, -1.5: mean -2, s = 0.5, t(2) = 4.303: half-width 4.303 * 0.5 / sqrt(3) = 1.242
    assert row[c.ESTIMATE] == pytest.approx(-2)
    assert (row[c.CONF_LOW], row[c.CONF_HIGH]) == pytest.approx((-3.242, -0.758), abs=5e-4)
    assert (row[c.N_TRUCKS], row[c.N_PAIRS], row[c.N_SAMPLES], row[c.UNIT]) == (3, 3, 6, "dB")
    assert (
        compared.sentence()
        == "In the cab with the blade down, carbide was quieter than steel by 2.0 dB (0.8 to 3.2)."
    )


def test_energy_average_comes_before_the_comparison():
    table = sound_table(
        *[
            sample(f"S{i}", "steel", level, minutes=m)
            for i in range(2)
            for level, m in ((80 + i, 360), (92 + i, 120))
        ],
        *[sample(f"C{i}", "carbide", 80 + i) for i in range(2)],
    )
    row = rows_of(noise_comparison.compare_edge_types(table, adjust_for=())).iloc[0]
    # by hand: 86.73 against 80 dBA on each truck
    assert row[c.ESTIMATE] == pytest.approx(-6.73, abs=0.005)


def test_louder_and_not_shown_and_without_interval():
    levels = {"A": 85.0, "B": 85.4, "C": 84.8}
    steel = [sample(truck, "steel", level) for truck, level in levels.items()]
    louder = [sample(truck + "x", "carbide", level + 4) for truck, level in levels.items()]
    same = [sample(truck + "x", "carbide", level + 0.1) for truck, level in levels.items()]
    one = [sample("Z", "carbide", 83.0)]
    said = [
        noise_comparison.compare_edge_types(sound_table(*steel, *other)).sentence()
        for other in (louder, same, one)
    ]
    assert "carbide was louder than steel by 4.0 dB (3.3 to 4.7)" in said[0]
    assert (
        "no difference between carbide and steel is shown (0.1 dB louder in the samples, interval 0.6 dB quieter to 0.8 dB "
        "louder)" in said[1]
    )
    assert "carbide was 2.1 dB quieter than steel in the samples (no interval)" in said[2]


def test_adjustment_recovers_the_truth_that_the_radio_hides():
    rng = np.random.default_rng(11)
    hits, raw = [], []
    for _ in range(40):
        table = noise_comparison.compare_edge_types(fleet(rng)).table
        adjusted, measured = (
            table[table[c.BASIS] != "as measured"].iloc[0],
            table[table[c.BASIS] == "as measured"].iloc[0],
        )
        hits.append(adjusted[c.CONF_LOW] <= -3 <= adjusted[c.CONF_HIGH])
        raw.append(measured[c.ESTIMATE])
    # known truth: -3 dB; 95 % of 40 intervals, less three standard errors, is 0.85
    assert np.mean(hits) >= 0.85
    assert np.mean(raw) < -3.8  # the radio, on more often with steel, makes the difference look larger


def test_truck_loudness_comes_out_with_the_blade_up():
    rng = np.random.default_rng(3)
    hits, width, plain = [], [], []
    for _ in range(25):
        compared = noise_comparison.compare_edge_types(fleet(rng, tasks=(BLADE_DOWN, BLADE_UP)))
        own, main = compared.above_own().iloc[0], compared.primary().iloc[0]
        hits.append(own[c.CONF_LOW] <= -3 <= own[c.CONF_HIGH])
        width.append(own[c.CONF_HIGH] - own[c.CONF_LOW])
        plain.append(main[c.CONF_HIGH] - main[c.CONF_LOW])
    # known truth: -3 dB; 95 % of 25 intervals, less three standard errors, is 0.82
    assert np.mean(hits) >= 0.82
    assert np.median(width) < np.median(plain)
    assert "Taken above each truck's own level with the blade up" in compared.sentence()
    assert compared.table[c.BASIS].iloc[2].endswith(noise_comparison.ABOVE_OWN)


def test_effects_are_estimated_within_trucks():
    compared = noise_comparison.compare_edge_types(fleet(np.random.default_rng(5), samples_n=40))
    effects = compared.effects.set_index(c.TERM)
    # known truth: radio 2.8 dB, 0.1 dB per mph; windows were never open
    assert effects[c.ESTIMATE].to_dict() == pytest.approx({"radio": 2.8, "speed_mph": 0.1}, abs=0.5)
    assert abs(effects.loc["radio", c.ESTIMATE] - 2.8) < 4 * effects.loc["radio", c.STD_ERROR]


def test_least_squares_of_the_conditions_agree_with_other_software():
    table = fleet(np.random.default_rng(8), trucks=3, samples_n=5)
    fit = fit_conditions(table, [c.RADIO, c.SPEED_MPH])
    import statsmodels.formula.api as smf

    # other software: statsmodels OLS with an intercept for each truck and edge type
    numbers = table.assign(
        cell=table[c.TRUCK_ID] + table[c.EDGE_TYPE].astype(str), on=(table[c.RADIO] == "on").astype(float)
    )
    other = smf.ols("level_dba ~ C(cell) + on + speed_mph", data=numbers).fit()
    assert fit.effect.tolist() == pytest.approx(other.params[["on", c.SPEED_MPH]].tolist())
    assert np.sqrt(np.diag(fit.covariance)).tolist() == pytest.approx(other.bse[["on", c.SPEED_MPH]].tolist())
    assert fit.df == other.df_resid


def test_restricted_to_conditions():
    quiet = [
        sample(t, e, level)
        for t, e, level in (
            ("A", "steel", 86),
            ("B", "steel", 85),
            ("C", "carbide", 83),
            ("D", "carbide", 82.5),
        )
    ]
    noisy = [row | {c.LEVEL_DBA: 95.0, c.RADIO: "on"} for row in quiet[:2]]
    fast = [row | {c.LEVEL_DBA: 95.0, c.SPEED_MPH: 40.0} for row in quiet[:1]]
    blank = [row | {c.LEVEL_DBA: 95.0, c.RADIO: None} for row in quiet[:1]]
    compared = noise_comparison.compare_edge_types(
        sound_table(*quiet, *noisy, *fast, *blank),
        only={c.RADIO: "off", c.SPEED_MPH: (15, 25)},
        adjust_for=(),
    )
    assert rows_of(compared)[c.ESTIMATE].tolist() == pytest.approx([-2.75])
    assert "Restricted to radio off and 15 to 25 mph: 4 samples of 8 left out." in compared.notes


def test_unbalanced_conditions_are_noted():
    rows = [sample(f"{e}{i}", e, 85 + i, **{c.RADIO: radio, c.WINDOW: window, c.SPEED_MPH: mph})
            for e, radio, window, mph in (("steel", "on", "open", 18), ("carbide", "off", "closed", 24)) for i in range(2)]  # fmt: skip
    compared = noise_comparison.compare_edge_types(sound_table(*rows))
    notes = " ".join(compared.notes)
    assert len(compared.uneven) == 3 and set(compared.uneven) < set(compared.notes)
    assert (
        "The radio was on for 0% of the time sampled with the blade down with carbide and 100% with steel"
        in notes
    )
    assert "The window was open for 0%" in notes
    assert "Seshagiri 1998" in notes
    assert "24 mph with carbide and 18 mph with steel" in notes
    assert "radio never changed within a truck and edge type with the blade down" in notes


def test_unrecorded_conditions_are_noted_and_not_adjusted_for():
    rows = two_trucks(86, 84) + two_trucks(83, 82, "carbide")
    bare = sound_table(*rows).assign(**{c.RADIO: None}).drop(columns=[c.WINDOW, c.SPEED_MPH])
    compared = noise_comparison.compare_edge_types(bare)
    (note,) = compared.uneven
    assert note in compared.notes
    assert note.startswith("Radio and window were not recorded with the blade down")
    assert note.endswith("the radio added 2.8 dB and an open window 1.3 dB (Seshagiri 1998).")
    assert compared.table[c.BASIS].tolist() == ["as measured"]
    assert compared.effects.empty


def test_samples_without_a_record_count_as_measured_only():
    table = fleet(np.random.default_rng(2), samples_n=5)
    table.loc[0, c.RADIO] = None
    compared = noise_comparison.compare_edge_types(table)
    assert rows_of(compared)[c.N_SAMPLES].tolist() == [40, 39]
    assert any("1 sample with the blade down without a record of radio" in note for note in compared.notes)


def test_reference_without_any_record_is_compared_as_measured():
    table = fleet(np.random.default_rng(2), samples_n=5)
    table.loc[table[c.EDGE_TYPE] == "steel", c.RADIO] = None
    compared = noise_comparison.compare_edge_types(table)
    assert compared.table[c.BASIS].tolist() == ["as measured"]
    assert any("20 samples with the blade down without a record" in note for note in compared.notes)


def test_too_few_samples_for_an_adjustment():
    rows = [
        sample(t, e, level, **{c.RADIO: radio})
        for t, e in (("A", "steel"), ("B", "carbide"))
        for level, radio in ((86, "on"), (84, "off"))
    ]
    compared = noise_comparison.compare_edge_types(sound_table(*rows))
    assert any("too few samples with the blade down to adjust for radio" in note for note in compared.notes)
    assert set(compared.table[c.BASIS]) == {"as measured"}


def test_five_decibel_samples_are_compared_among_themselves():
    rows = two_trucks(86, 84) + two_trucks(83, 82, "carbide")
    five = [row | {c.EXCHANGE_RATE_DB: 5.0, c.LEVEL_DBA: row[c.LEVEL_DBA] - 10} for row in rows]
    compared = noise_comparison.compare_edge_types(sound_table(*rows, *five))
    measured = rows_of(compared, "as measured")
    assert measured[c.EXCHANGE_RATE_DB].tolist() == [3, 5]
    assert measured[c.ESTIMATE].iloc[0] == pytest.approx(measured[c.ESTIMATE].iloc[1])
    assert len(compared.primary()) == 1


def test_only_one_edge_type():
    compared = noise_comparison.compare_edge_types(sound_table(*two_trucks()))
    assert compared.table.empty
    assert compared.table.columns.tolist()[:3] == [c.EDGE_TYPE, c.REFERENCE, c.TASK]
    assert "cannot be compared" in compared.sentence()
    assert any("nothing can be compared" in note for note in compared.notes)


def test_all_samples_on_one_truck():
    rows = [sample("A", edge, level) for edge, level in (("steel", 86), ("carbide", 84))]
    compared = noise_comparison.compare_edge_types(sound_table(*rows))
    assert math.isnan(rows_of(compared)[c.CONF_LOW].iloc[0])
    assert any("All samples come from one truck" in note for note in compared.notes)


def test_reference_and_order():
    rows = two_trucks(81, 80, "rubber") + two_trucks(86, 84) + two_trucks(83, 82, "carbide")
    assert rows_of(noise_comparison.compare_edge_types(sound_table(*rows)))[c.EDGE_TYPE].tolist() == [
        "carbide",
        "rubber",
    ]
    other = noise_comparison.compare_edge_types(sound_table(*rows), reference="rubber")
    assert rows_of(other)[c.EDGE_TYPE].tolist() == ["steel", "carbide"]
    with pytest.raises(UsageError, match=r'"ruber".*Did you mean "rubber"'):
        noise_comparison.compare_edge_types(sound_table(*rows), reference="ruber")


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        ({"only": {c.RADIO: "loud"}}, NotEnoughDataError, "None of 6 samples has radio loud"),
        ({"only": {"fan": "on"}}, UsageError, '"fan" is not a condition'),
        ({"adjust_for": ("surface",)}, UsageError, '"surface" is not a condition'),
    ],
)
def test_impossible_conditions(options, error, said):
    with pytest.raises(error, match=said):
        noise_comparison.compare_edge_types(sound_table(*two_trucks()), **options)


def test_restriction_by_a_column_that_is_not_there():
    with pytest.raises(UsageError, match="no column radio"):
        noise_comparison.compare_edge_types(
            sound_table(*two_trucks()).drop(columns=c.RADIO), only={c.RADIO: "off"}
        )


def test_names_of_edge_types_are_those_of_the_report():
    labels = {"steel": "plain steel edges"}
    table = sound_table(*two_trucks(90, 89), *two_trucks(83, 82, "rubber"))
    exposure = noise_exposure.estimate_exposure(table, {BLADE_DOWN: 0.5, IDLE: 0.5}, labels=labels)
    compared = noise_comparison.compare_edge_types(table, labels=labels)
    said = [exposure.levels.sentence(), exposure.sentence(), compared.sentence(), " ".join(exposure.notes)]
    assert all("plain steel edges" in words for words in said)
    assert compared.table[c.REFERENCE].unique().tolist() == ["steel"]
    plain = noise.estimate_levels(table.assign(**{c.EDGE_TYPE: "plain_steel"}))
    assert "with plain steel." in plain.sentence()
