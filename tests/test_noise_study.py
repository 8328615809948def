"""From a trial to noise and vibration: what each analysis is given, and why there may be nothing."""

from dataclasses import replace

import pytest
from cab_trial import BASIC_SOUND, DOWN, LEVELS, cab_trial, half_down, sound, vibration

from trialkit import columns as c
from trialkit.cab.criteria import NOISE_CAUTIONS, NOISE_CRITERIA, VIBRATION_CAUTIONS
from trialkit.report import noise_study
from trialkit.settings import NOISE_CRITERIA as NAMES
from trialkit.settings import Noise

OWN = {
    "name": "town_limit",
    "criterion_level_dba": 84,
    "exchange_rate_db": 3,
    "threshold_dba": 70,
    "citation": "Town safety manual, 4.2",
}


# ---------------------------------------------------------------- criteria
def test_settings_know_the_criteria_by_the_same_names():
    assert tuple(NOISE_CRITERIA) == NAMES


def test_all_criteria_are_reported_where_none_is_chosen():
    reported, brief = noise_study.reported_criteria(Noise())
    assert tuple(criterion.name for criterion in reported) == NAMES
    assert [criterion.name for criterion in brief] == ["osha_action", "niosh_rel", "osha_pel"]


def test_chosen_criteria_keep_their_order_and_a_council_hears_of_three():
    chosen = ("eu_limit", "niosh_rel", "osha_pel", "osha_action")
    reported, brief = noise_study.reported_criteria(Noise(criteria=chosen))
    assert tuple(criterion.name for criterion in reported) == chosen
    assert tuple(criterion.name for criterion in brief) == chosen[:3]


def test_a_criterion_of_ones_own_comes_before_the_usual_ones_for_the_council():
    reported, brief = noise_study.reported_criteria(Noise.model_validate({"criterion": [OWN]}))
    assert [criterion.name for criterion in brief] == ["town_limit", "osha_action", "niosh_rel"]
    town = reported[-1]
    assert (town.name, town.label, town.level_dba, town.exchange_rate_db, town.threshold_dba, town.citation) == (
        "town_limit", "town limit", 84, 3, 70, "Town safety manual, 4.2",
    )  # fmt: skip


# ---------------------------------------------------------------- noise
def test_tables_and_settings_reach_the_analyses(tmp_path):
    settings = 'shift_length_h = 10.0\ncriteria = ["niosh_rel", "osha_action"]'
    trial = cab_trial(tmp_path, settings, sound=sound(BASIC_SOUND), shifts=half_down())
    found = noise_study.noise_in_cab(trial)
    assert (found.not_studied, found.not_compared, found.unplaced) == ("", "", ())
    assert found.exposure.shift_length_h == 10
    assert set(found.exposure.table[c.CRITERION]) == {"niosh_rel", "osha_action"}
    assert found.shares.by_task == pytest.approx({"blade_down": 0.5, "rest": 0.5})
    row = found.exposure.levels.table.iloc[0]
    # by hand: 10 log10((3.98107e8 + 2.51189e8) / 2) = 85.114
    assert (row[c.EDGE_TYPE], row[c.TASK]) == ("plain_steel", "blade_down")
    assert row[c.LEVEL_DBA] == pytest.approx(85.114, abs=0.0005)
    difference = found.comparison.primary().iloc[0]
    # by hand: (82 + 81) / 2 - (86 + 84) / 2
    assert (difference[c.EDGE_TYPE], difference[c.ESTIMATE]) == ("carbide_insert", pytest.approx(-3.5))


def test_confidence_level_of_the_trial_is_used(tmp_path):
    text = (tmp_path / "a", tmp_path / "b")
    trials = [cab_trial(folder, sound=sound(BASIC_SOUND)) for folder in text]
    wide = noise_study.noise_in_cab(trials[0])
    narrow = noise_study.noise_in_cab(replace(trials[1], confidence_level=0.8))
    assert narrow.comparison.primary()[c.CONF_LOW].iloc[0] > wide.comparison.primary()[c.CONF_LOW].iloc[0] + 2
    assert narrow.exposure.confidence_level == 0.8


def test_cautions_stand_apart_from_the_notes(tmp_path):
    trial = cab_trial(tmp_path, sound=sound(BASIC_SOUND), vibration=vibration())
    notes = [*noise_study.noise_in_cab(trial).notes, *noise_study.vibration_at_seat(trial).notes]
    assert notes and not set(notes) & {*NOISE_CAUTIONS, *VIBRATION_CAUTIONS}


def test_nothing_recorded(tmp_path):
    trial = cab_trial(tmp_path)
    noise, shaking = noise_study.noise_in_cab(trial), noise_study.vibration_at_seat(trial)
    assert noise.not_studied == "Noise in the cab was not studied: no sound level sample was recorded."
    assert shaking.not_studied == "Shaking of the seat was not studied: no vibration sample was recorded."
    assert (
        noise.levels is noise.exposure is noise.comparison is shaking.exposure is shaking.comparison is None
    )
    tables = noise.tables | shaking.tables
    assert list(tables) == ["noise", "noise_differences", "vibration", "vibration_differences"]
    assert all(table.empty for table in tables.values())
    assert list(tables["noise"])[:10] == [
        c.EDGE_TYPE, c.TASK, c.CRITERION, c.LEVEL_DBA, c.CONF_LOW, c.CONF_HIGH, c.TWA_DBA, c.DOSE_PCT, c.PERMISSIBLE_H,
        c.N_SAMPLES,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("n", "said"),
    [
        (1, "1 sound level sample was recorded, but it could not be given both"),
        (2, "2 sound level samples were recorded, but none of them could be given both"),
    ],
)
def test_samples_of_which_none_can_be_placed(tmp_path, n, said):
    text = sound([("T1", DOWN, 85.0)] * n).replace("2030-12-02", "2030-01-02")
    found = noise_study.noise_in_cab(cab_trial(tmp_path, sound=text))
    assert said in found.not_studied and found.levels is None


def test_some_samples_that_cannot_be_placed_are_said(tmp_path):
    text = sound(BASIC_SOUND) + "N99,T1,2030-01-02,,blade_down,30,90,3,closed,off,20\n"
    found = noise_study.noise_in_cab(cab_trial(tmp_path, sound=text))
    (unplaced,) = found.unplaced
    assert unplaced.startswith("1 sample could not be given an edge type")
    assert unplaced in found.notes
    assert found.exposure.levels.table[c.N_SAMPLES].sum() == len(BASIC_SOUND)


def test_reference_without_samples_is_not_compared(tmp_path):
    trial = cab_trial(
        tmp_path,
        sound=sound([("T2", DOWN, 82.0), ("T4", DOWN, 81.0)]),
        vibration=vibration([("T2", "z", 0.5)]),
    )
    for found in (noise_study.noise_in_cab(trial), noise_study.vibration_at_seat(trial)):
        assert found.comparison is None and found.exposure is not None
        assert found.not_compared.startswith("No sample could be used with Plain steel")
        assert all(table.empty for name, table in found.tables.items() if name.endswith("differences"))


def test_shifts_that_do_not_show_their_tasks(tmp_path):
    trial = cab_trial(
        tmp_path,
        sound=sound(BASIC_SOUND),
        shifts=half_down().replace(",3.25", ","),
    )
    found = noise_study.noise_in_cab(trial)
    assert found.shares is None
    assert any("none has a start, an end and blade-down hours" in note for note in found.notes)


# ---------------------------------------------------------------- vibration
def test_vibration_lasts_as_long_as_the_shift(tmp_path):
    trial = cab_trial(tmp_path, "shift_length_h = 8.0", vibration=vibration())
    found = noise_study.vibration_at_seat(trial)
    z = found.exposure.governing().set_index(c.EDGE_TYPE)
    # by hand, 8 h: A(8) = sqrt((0.6^2 + 0.66^2) / 2) = 0.6307
    assert z.loc["plain_steel", c.A8_M_S2] == pytest.approx(0.6307, abs=5e-5)
    assert found.comparison.table[c.REFERENCE].unique().tolist() == ["plain_steel"]
    assert len(found.tables["vibration"]) == 2 * 3 * 2


def test_levels_are_those_of_the_trucks(tmp_path):
    found = noise_study.noise_in_cab(cab_trial(tmp_path, sound=sound(BASIC_SOUND)))
    down = found.levels.by_truck[found.levels.by_truck[c.TASK] == DOWN]
    assert dict(zip(down[c.TRUCK_ID], down[c.LEVEL_DBA], strict=True)) == pytest.approx(LEVELS)
